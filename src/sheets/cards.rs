//! Pass cards: one picture per turn, the size of a phone's screen.

use std::fmt::Write;

use kurbo::{Rect, Shape};
use unicode_segmentation::UnicodeSegmentation;

use crate::borders::Outlines;
use crate::color::{STAMPED, Srgb8};
use crate::plan::{Plan, Turn};

use super::Sheet;
use super::key::{minutes, part, pen_name, shortened};
use super::page::{LINE_GRAY, close, open, text};
use super::svg::path_data;

/// A card is 1080 x 1920 pixels at this resolution, in dots per inch.
pub const CARD_DPI: f64 = 254.0;
/// Width and height of a card, in its own millimeters.
const CARD_MM: (f64, f64) = (108.0, 192.0);
const SIDE_MM: f64 = 5.0;
/// The pictures begin here.
const TOP_MM: f64 = 66.0;
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
/// Characters that fit a line of 4 mm letters.
const LINE: usize = 46;

/// One card per turn, in the order of work.
pub fn cards(plan: &Plan, outlines: &Outlines) -> Vec<Sheet> {
    let curves = Curves::of(outlines);
    (0..plan.schedule.turns.len())
        .map(|k| card(plan, outlines, &curves, k))
        .collect()
}

fn card(plan: &Plan, outlines: &Outlines, curves: &Curves, k: usize) -> Sheet {
    let turns = &plan.schedule.turns;
    let turn = &turns[k];
    let mut svg = open(CARD_MM);
    let body = drawing(plan, curves, k);
    let [w, h] = plan.size_mm;
    let room = Rect::new(SIDE_MM, TOP_MM, CARD_MM.0 - SIDE_MM, CARD_MM.1 - FOOT_MM);
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
    let color = color_of(plan, turn.number);
    let _ = writeln!(
        svg,
        "<rect x=\"{SIDE_MM}\" y=\"5\" width=\"44\" height=\"25\" fill=\"{color}\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.3\"/>"
    );
    text(
        &mut svg,
        54.0,
        28.0,
        31.0,
        " font-weight=\"bold\"",
        &turn.number.to_string(),
    );
    let name = pen_name(plan, turn.number);
    let letters = name.graphemes(true).count().max(1) as f64;
    // Bold letters are about 0.6 of their size wide.
    let size = (98.0 / (0.62 * letters)).clamp(4.6, 7.5);
    text(
        &mut svg,
        SIDE_MM,
        39.0,
        size,
        " font-weight=\"bold\"",
        &shortened(&name, 34),
    );
    let sections = match turn.sections.len() {
        1 => "1 section".to_owned(),
        n => format!("{n} sections"),
    };
    let area: f64 = turn
        .sections
        .iter()
        .map(|&id| plan.sections[usize::from(id) - 1].area_mm2)
        .sum();
    let line = format!(
        "Turn {} of {}{}: {sections}, {:.1} cm², about {}",
        k + 1,
        turns.len(),
        part(plan, k),
        area / 100.0,
        minutes(turn.work_s)
    );
    text(&mut svg, SIDE_MM, 46.5, 4.0, "", &line);
    let coat = plan.number(turn.number).and_then(|n| plan.coat_text(n));
    let coat = coat.map_or_else(String::new, |coat| capitalized(&coat) + ". ");
    for (i, line) in wrapped(&format!("{coat}{}", before(plan, turn, k)), LINE)
        .iter()
        .take(3)
        .enumerate()
    {
        text(&mut svg, SIDE_MM, 52.3 + 5.0 * i as f64, 4.0, "", line);
    }

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

/// What must be dry before.
fn before(plan: &Plan, turn: &Turn, k: usize) -> String {
    if turn.after.is_empty() {
        let stamp = plan.schedule.stamp_rest_s;
        return if k == 0 && stamp > 0 {
            format!("Must be dry before: the stamped ink, {}.", minutes(stamp))
        } else {
            "Touches nothing that is wet.".to_owned()
        };
    }
    let list: Vec<String> = numbers_before(&plan.schedule.turns, turn)
        .into_iter()
        .map(|n| format!("{n} {}", shortened(&pen_name(plan, n), 20)))
        .collect();
    format!("Must be dry before: {}.", list.join(", "))
}

/// The numbers of the passes that must be dry before, each once: a pass may be split into several turns.
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

/// The panel at turn `k`, in its own millimeters: done pale, now in full color with an outline, the rest white.
fn drawing(plan: &Plan, curves: &Curves, k: usize) -> String {
    let [w, h] = plan.size_mm;
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
         <path d=\"{}\" fill=\"{STAMPED}\" fill-rule=\"evenodd\"/>\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"none\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.2\"/>",
        curves.borders,
        curves.joined(turns[k].sections.iter().copied()),
        color_of(plan, turns[k].number),
        curves.ink
    );
    svg
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

/// Breaks a sentence into lines of at most `most` characters, between words.
fn wrapped(sentence: &str, most: usize) -> Vec<String> {
    let letters = |text: &str| text.graphemes(true).count();
    let mut lines: Vec<String> = Vec::new();
    for word in sentence.split_whitespace() {
        match lines.last_mut() {
            Some(line) if letters(line) + 1 + letters(word) <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
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
