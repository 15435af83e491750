//! Cards: one picture per turn, the size of a phone's screen.

use std::fmt::Write;

use crate::borders::Outlines;
use crate::color::{STAMPED, Srgb8};
use crate::plan::{Number, Plan, Turn};
use kurbo::{Rect, Shape};

use super::Sheet;
use super::ground::rect_of;
use super::key::{called, minutes, part, pen_name};
use super::lettering::Letters;
use super::page::{LINE_GRAY, close, open, paragraph, text};
use super::svg::path_data;

/// A card is 1080 x 1920 pixels at this resolution, in dots per inch.
pub const CARD_DPI: f64 = 254.0;
/// Width and height of a card, in its own millimeters.
const CARD_MM: (f64, f64) = (108.0, 192.0);
const SIDE_MM: f64 = 5.0;
const WIDTH_MM: f64 = CARD_MM.0 - 2.0 * SIDE_MM;
/// The pictures begin here, or below the words if there are many.
const TOP_MM: f64 = 66.0;
/// The pen's name, in how many lines, and how small it may get for them.
const NAME: Letters = Letters::bold(7.5);
const NAME_LINES: usize = 2;
const SMALLEST_NAME_MM: f64 = 4.6;
const WORDS: Letters = Letters::regular(4.0);
/// Lines that name every pen that must be dry; where it takes more, only their numbers are named. From memory.
const BEFORE_LINES: usize = 4;
const FOOT_MM: f64 = 15.0;
/// Outline of what this turn colors: dark enough to be seen on any color and in grayscale.
const NOW: &str = "#b3005e";
/// Share of its color that a section keeps once it is done.
const DONE_SHARE: f64 = 0.45;
/// A close-up shows at least this part of the panel's width or height, or there is none.
const CLOSE_UP: std::ops::Range<f64> = 0.3..0.72;
/// A close-up shows things at least so many times larger than the whole panel does; from memory.
const CLOSER: f64 = 1.4;
/// Room around the sections in a close-up, in millimeters of the panel.
const AROUND_MM: f64 = 6.0;

/// One card per turn, in the order of work.
pub fn cards(plan: &Plan, outlines: &Outlines) -> Vec<Sheet> {
    let curves = Curves::of(outlines);
    (0..plan.schedule.turns.len())
        .map(|k| card(plan, outlines, &curves, k))
        .collect()
}

fn card(plan: &Plan, outlines: &Outlines, curves: &Curves, k: usize) -> Sheet {
    let turn = &plan.schedule.turns[k];
    let mut words = String::new();
    let end = head(&mut words, plan, k);
    let mut svg = open(CARD_MM);
    let body = drawing(plan, curves, k);
    let [w, h] = plan.size_mm;
    let room = Rect::new(
        SIDE_MM,
        end.max(TOP_MM),
        CARD_MM.0 - SIDE_MM,
        CARD_MM.1 - FOOT_MM,
    );
    let whole = Rect::new(0.0, 0.0, w, h);
    let shown = room.width() * h / w;
    let below = Rect::new(room.x0, room.y0 + shown + 4.0, room.x1, room.y1);
    let near = close_up(outlines, turn, whole).filter(|near| {
        shown <= 0.7 * room.height() && fit(*near, below) >= CLOSER * fit(whole, room)
    });
    // The whole panel on top, a close-up below where there is room and need for one. What hangs over the close-up's
    // frame is covered before anything else is drawn: that is far cheaper than a clip path.
    let top = match near {
        Some(near) => {
            let frame = place(&mut svg, &body, near, below);
            cover_around(&mut svg, frame);
            Rect::new(room.x0, room.y0, room.x1, room.y0 + shown)
        }
        None => room,
    };
    place(&mut svg, &body, whole, top);
    svg.push_str(&words);
    let rest = format!(
        "Rest: {} before anything it touches.",
        minutes(plan.schedule.rest_s)
    );
    for (y, line) in [
        (10.4, rest.as_str()),
        (6.4, "Fresh air, no flames or heat tools; mind blades."),
        (2.6, "The pen maker's label and local rules come first."),
    ] {
        text(&mut svg, SIDE_MM, CARD_MM.1 - y, 3.3, "", line);
    }
    close(svg, CARD_MM)
}

/// Everything over the pictures: color, number, pen, and what to know; where that ends, in millimeters from the top.
fn head(svg: &mut String, plan: &Plan, k: usize) -> f64 {
    let turns = &plan.schedule.turns;
    let turn = &turns[k];
    let number = plan.number(turn.number);
    let _ = writeln!(
        svg,
        "<rect x=\"{SIDE_MM}\" y=\"5\" width=\"44\" height=\"25\" fill=\"{}\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.3\"/>",
        color_of(plan, turn.number)
    );
    let mark = number.map(Number::mark).unwrap_or_default();
    text(svg, 54.0, 28.0, 31.0, " font-weight=\"bold\"", &mark);
    let name = pen_name(plan, turn.number);
    let (letters, lines) = NAME.in_lines(&name, WIDTH_MM, NAME_LINES, SMALLEST_NAME_MM);
    let mut y = paragraph(svg, (SIDE_MM, 39.0), letters, "", &lines);
    y += 7.5 - letters.line_mm();
    let sections = match turn.sections.len() {
        1 => "1 section".to_owned(),
        n => format!("{n} sections"),
    };
    let area: f64 = turn
        .sections
        .iter()
        .map(|&id| plan.sections[usize::from(id) - 1].area_mm2)
        .sum();
    let facts = format!(
        "Turn {} of {}{}: {sections}, {:.1} cm², about {}",
        k + 1,
        turns.len(),
        part(plan, k),
        area / 100.0,
        minutes(turn.work_s)
    );
    let coat = number.and_then(|n| plan.coat_text(n));
    let coat = coat.map_or_else(String::new, |coat| capitalized(&coat) + ". ");
    let all =
        |named: bool| WORDS.lines(&format!("{coat}{}", before(plan, turn, k, named)), WIDTH_MM);
    let mut notes = all(true);
    if notes.len() > BEFORE_LINES {
        notes = all(false);
    }
    for lines in [WORDS.lines(&facts, WIDTH_MM), notes] {
        y = paragraph(svg, (SIDE_MM, y), WORDS, "", &lines) + 0.9;
    }
    y
}

/// What must be dry before: the pens `named`, or only their numbers.
fn before(plan: &Plan, turn: &Turn, k: usize, named: bool) -> String {
    if turn.after.is_empty() {
        let stamp = plan.schedule.stamp_rest_s;
        return if k == 0 && stamp > 0 {
            format!("Must be dry before: the stamped ink, {}.", minutes(stamp))
        } else {
            "Touches nothing that is wet.".to_owned()
        };
    }
    let numbers = numbers_before(&plan.schedule.turns, turn);
    let call = |n: usize| match plan.number(n) {
        // A first coat has no number to be known by.
        Some(number) if !named && !number.is_first_coat() => number.mark(),
        _ => called(plan, n),
    };
    let list: Vec<String> = numbers.into_iter().map(call).collect();
    format!("Must be dry before: {}.", list.join(", "))
}

/// The numbers that must be dry before, each once: a coat may be laid in several turns.
fn numbers_before(turns: &[Turn], turn: &Turn) -> Vec<usize> {
    let mut numbers: Vec<usize> = turn.after.iter().map(|&t| turns[t].number).collect();
    numbers.sort_unstable();
    numbers.dedup();
    numbers
}

fn color_of(plan: &Plan, number: usize) -> Srgb8 {
    plan.number(number).map_or(plan.job.paper, |n| n.color)
}

fn capitalized(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

/// The panel as path data: every section, all borders, the ink.
struct Curves {
    sections: Vec<String>,
    borders: String,
    ink: String,
}

impl Curves {
    fn of(outlines: &Outlines) -> Self {
        let borders = outlines.arcs.iter().filter(|a| a.is_border());
        Self {
            sections: outlines.sections.iter().map(path_data).collect(),
            borders: borders.map(|a| path_data(&a.path)).collect(),
            ink: path_data(&outlines.ink),
        }
    }

    /// These sections as one path.
    fn joined(&self, sections: impl Iterator<Item = u16>) -> String {
        sections
            .map(|id| self.sections[usize::from(id) - 1].as_str())
            .collect()
    }
}

/// The edges of the card: of the panel, and of the sheets of pieces.
fn edges(plan: &Plan) -> String {
    let [w, h] = plan.size_mm;
    let grounds = match &plan.card {
        None => vec![Rect::new(0.0, 0.0, w, h)],
        Some(card) => card.grounds.iter().map(rect_of).collect(),
    };
    let edge = |r: &Rect| {
        let place = match (r.x0, r.y0) {
            (0.0, 0.0) => String::new(),
            (x, y) => format!(" x=\"{x}\" y=\"{y}\""),
        };
        format!(
            "<rect{place} width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.2\"/>\n",
            r.width(),
            r.height()
        )
    };
    grounds.iter().map(edge).collect()
}

/// The panel at turn `k`, in its own millimeters: done pale, now in full color with an outline, the rest white.
fn drawing(plan: &Plan, curves: &Curves, k: usize) -> String {
    let turns = &plan.schedule.turns;
    // The last coat on every section, if any; 0 is none.
    let mut done = vec![0; plan.sections.len()];
    for turn in &turns[..k] {
        for &id in &turn.sections {
            done[usize::from(id) - 1] = turn.number;
        }
    }
    for &id in &turns[k].sections {
        done[usize::from(id) - 1] = 0;
    }
    // The card is white already.
    let mut svg = String::new();
    for number in plan.numbers.iter().filter(|n| n.number > 0) {
        let mine = plan.sections.iter().map(|s| s.id);
        let path = curves.joined(mine.filter(|&id| done[usize::from(id) - 1] == number.number));
        if !path.is_empty() {
            let color = paled(number.color);
            let _ = writeln!(
                svg,
                "<path d=\"{path}\" fill=\"{color}\" fill-rule=\"evenodd\"/>"
            );
        }
    }
    let _ = writeln!(
        svg,
        "<path d=\"{}\" fill=\"none\" stroke=\"#c4c4c4\" stroke-width=\"0.25\"/>\n\
         <path d=\"{}\" fill=\"{}\" fill-rule=\"evenodd\" stroke=\"{NOW}\" stroke-width=\"0.6\" stroke-linejoin=\"round\"/>\n\
         <path d=\"{}\" fill=\"{STAMPED}\" fill-rule=\"evenodd\"/>",
        curves.borders,
        curves.joined(turns[k].sections.iter().copied()),
        color_of(plan, turns[k].number),
        curves.ink
    );
    svg + &edges(plan)
}

fn paled(color: Srgb8) -> Srgb8 {
    let [r, g, b] = color
        .0
        .map(|v| (255.0 - (255.0 - f64::from(v)) * DONE_SHARE).round() as u8);
    Srgb8::new(r, g, b)
}

/// The part of the panel around the turn's sections; `None` if it is nearly all of it.
fn close_up(outlines: &Outlines, turn: &Turn, whole: Rect) -> Option<Rect> {
    let around = turn
        .sections
        .iter()
        .map(|&id| outlines.sections[usize::from(id) - 1].bounding_box())
        .reduce(|a, b| a.union(b))?
        .inflate(AROUND_MM, AROUND_MM);
    let share = (around.width() / whole.width()).max(around.height() / whole.height());
    if share >= CLOSE_UP.end {
        return None;
    }
    let grow = (CLOSE_UP.start / share).max(1.0);
    let (w, h) = (around.width() * grow, around.height() * grow);
    let inside =
        |middle: f64, size: f64, end: f64| (middle - size / 2.0).clamp(0.0, (end - size).max(0.0));
    let (w, h) = (w.min(whole.width()), h.min(whole.height()));
    let x = inside(around.center().x, w, whole.width());
    let y = inside(around.center().y, h, whole.height());
    Some(Rect::new(x, y, x + w, y + h))
}

/// How much larger `from` may be shown to fit into `to`.
fn fit(from: Rect, to: Rect) -> f64 {
    (to.width() / from.width()).min(to.height() / from.height())
}

/// Shows the panel so that its part `from` is as large as fits into `to`, middle on middle; returns the frame around
/// that part.
fn place(svg: &mut String, body: &str, from: Rect, to: Rect) -> Rect {
    let scale = fit(from, to);
    let (w, h) = (from.width() * scale, from.height() * scale);
    let (x, y) = (to.x0 + (to.width() - w) / 2.0, to.y0);
    let _ = writeln!(
        svg,
        "<g transform=\"translate({:.4} {:.4}) scale({scale:.5})\">\n{body}</g>",
        x - from.x0 * scale,
        y - from.y0 * scale
    );
    Rect::new(x, y, x + w, y + h)
}

/// Paints the card white but for what lies in `frame`, and draws its edge.
fn cover_around(svg: &mut String, frame: Rect) {
    let (w, h) = CARD_MM;
    let _ = writeln!(
        svg,
        "<path d=\"M0 0H{w}V{h}H0ZM{x0:.3} {y0:.3}V{y1:.3}H{x1:.3}V{y0:.3}Z\" fill=\"#ffffff\" fill-rule=\"evenodd\"/>\n\
         <rect x=\"{x0:.3}\" y=\"{y0:.3}\" width=\"{:.3}\" height=\"{:.3}\" fill=\"none\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.25\"/>",
        frame.width(),
        frame.height(),
        x0 = frame.x0,
        y0 = frame.y0,
        x1 = frame.x1,
        y1 = frame.y1
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pass_in_two_turns_is_waited_for_once() {
        let turn = |number: usize, after: &[usize]| Turn {
            number,
            sections: vec![1],
            after: after.to_vec(),
            work_s: 30,
            start_s: 0,
        };
        let turns = [
            turn(1, &[]),
            turn(2, &[]),
            turn(1, &[]),
            turn(3, &[0, 1, 2]),
        ];
        assert_eq!(numbers_before(&turns, &turns[3]), [1, 2]);
    }
}
