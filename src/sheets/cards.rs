//! Cards: one picture per turn, the size of a phone's screen.

use crate::borders::Outlines;
use crate::color::{STAMPED, Srgb8};
use crate::plan::{Number, Plan, Turn};
use kurbo::{Rect, Shape};

use super::Sheet;
use super::curves::{Curve, Curves};
use super::ground::rect_of;
use super::key::{called, marks, minutes, part, pen_name};
use super::lettering::Letters;
use super::page::{LINE_GRAY, open};
use super::svg::Svg;

/// A card is 1080 x 1920 pixels at this resolution, in dots per inch.
pub const CARD_DPI: f64 = 254.0;
/// Width and height of a card, in its own millimeters.
const CARD_MM: (f64, f64) = (108.0, 192.0);
const SIDE_MM: f64 = 5.0;
const WIDTH_MM: f64 = CARD_MM.0 - 2.0 * SIDE_MM;
/// The pictures begin here, or below the words if there are many.
const TOP_MM: f64 = 66.0;
/// Baseline of the pen's name, in how many lines it stands, and how small it may get for them.
const NAME_Y_MM: f64 = 39.0;
const NAME: Letters = Letters::bold(7.5);
const NAME_LINES: usize = 2;
const SMALLEST_NAME_MM: f64 = 4.6;
const WORDS: Letters = Letters::regular(4.0);
/// Lines that name every pen that must be dry; where it takes more, only their numbers are named. From memory.
const BEFORE_LINES: usize = 4;
const FOOT_MM: f64 = 15.0;
const FOOT: Letters = Letters::regular(3.3);
/// Outline of what this turn colors: dark enough to be seen on any color and in grayscale.
const NOW: &str = "#b3005e";
const NOW_MM: f64 = 0.6;
/// Share of its color that a section keeps once it is done.
const DONE_SHARE: f64 = 0.45;
/// A close-up shows at least this part of the panel's width or height, or there is none.
const CLOSE_UP: std::ops::Range<f64> = 0.3..0.72;
/// A close-up shows things at least so many times larger than the whole panel does; from memory.
const CLOSER: f64 = 1.4;
/// Room around the sections in a close-up, in millimeters of the panel.
const AROUND_MM: f64 = 6.0;

/// A card.
pub struct Card {
    pub sheet: Sheet,
    /// Whether the drawn lines are still missing on it: [`ink`] lies on top.
    pub is_below_ink: bool,
}

/// The card of turn `k` in the order of work, from 0; `curves` are those of the outlines.
pub fn card(plan: &Plan, outlines: &Outlines, curves: &Curves, k: usize) -> Card {
    let turn = &plan.schedule.turns[k];
    let (words, end) = words(plan, k);
    let mut svg = open(CARD_MM);
    let room = room_from(end.max(TOP_MM));
    let whole = whole(plan);
    let shown = room.width() * whole.height() / whole.width();
    let below = Rect::new(room.x0, room.y0 + shown + 4.0, room.x1, room.y1);
    let near = close_up(outlines, turn, whole).filter(|near| {
        shown <= 0.7 * room.height() && fit(*near, below) >= CLOSER * fit(whole, room)
    });
    // The whole panel on top, a close-up below where there is room and need for one. What hangs over the close-up's
    // frame is covered before anything else is drawn: that is far cheaper than a clip path.
    if let Some(near) = near {
        let placing = Placing::of(near, below);
        placing.show(&mut svg, |svg| {
            drawing(svg, plan, curves, k, near);
            drawn_lines(svg, plan, curves, near);
        });
        cover_around(&mut svg, placing.frame(near));
    }
    let placing = Placing::of(whole, room);
    let is_below_ink = placing == usual_placing(plan);
    placing.show(&mut svg, |svg| {
        drawing(svg, plan, curves, k, whole);
        if !is_below_ink {
            drawn_lines(svg, plan, curves, whole);
        }
    });
    head(&mut svg, plan, turn.number);
    for (y, letters, lines) in &words {
        svg.paragraph((SIDE_MM, *y), *letters, lines);
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
        svg.text((SIDE_MM, CARD_MM.1 - y), FOOT).saying(line);
    }
    Card {
        sheet: svg.sheet(),
        is_below_ink,
    }
}

/// The drawn lines on their usual place, the same on nearly every card.
pub fn ink(plan: &Plan, curves: &Curves) -> Sheet {
    let mut svg = Svg::new(CARD_MM);
    usual_placing(plan).show(&mut svg, |svg| drawn_lines(svg, plan, curves, whole(plan)));
    svg.sheet()
}

/// Where the whole panel lies below no more words than most cards have.
fn usual_placing(plan: &Plan) -> Placing {
    Placing::of(whole(plan), room_from(TOP_MM))
}

fn whole(plan: &Plan) -> Rect {
    let [w, h] = plan.size_mm;
    Rect::new(0.0, 0.0, w, h)
}

/// What is left for pictures below `y`.
fn room_from(y: f64) -> Rect {
    Rect::new(SIDE_MM, y, CARD_MM.0 - SIDE_MM, CARD_MM.1 - FOOT_MM)
}

/// Color and number, over everything.
fn head(svg: &mut Svg, plan: &Plan, number: usize) {
    svg.rect(Rect::new(SIDE_MM, 5.0, SIDE_MM + 44.0, 30.0))
        .fill(color_of(plan, number))
        .stroke(LINE_GRAY, 0.3);
    let mark = plan.number(number).map(Number::mark).unwrap_or_default();
    svg.text((54.0, 28.0), Letters::bold(31.0)).saying(&mark);
}

/// Lines of words and the baseline of the first of them.
type Paragraph = (f64, Letters, Vec<String>);

/// The pen and what to know of turn `k`, below the head; and where that ends, in millimeters from the top.
fn words(plan: &Plan, k: usize) -> ([Paragraph; 3], f64) {
    let turns = &plan.schedule.turns;
    let turn = &turns[k];
    let name = pen_name(plan, turn.number);
    let (letters, name) = NAME.in_lines(&name, WIDTH_MM, NAME_LINES, SMALLEST_NAME_MM);
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
    let coat = plan.number(turn.number).and_then(|n| plan.coat_text(n));
    let coat = coat.map_or_else(String::new, |coat| capitalized(&coat) + ". ");
    let all =
        |named: bool| WORDS.lines(&format!("{coat}{}", before(plan, turn, k, named)), WIDTH_MM);
    let mut notes = all(true);
    if notes.len() > BEFORE_LINES {
        notes = all(false);
    }
    let facts = WORDS.lines(&facts, WIDTH_MM);
    let below = |y: f64, lines: &[String]| y + lines.len() as f64 * WORDS.line_mm() + 0.9;
    let y = NAME_Y_MM + name.len().saturating_sub(1) as f64 * letters.line_mm() + 7.5;
    let after = below(y, &facts);
    let end = below(after, &notes);
    let all = [
        (NAME_Y_MM, letters, name),
        (y, WORDS, facts),
        (after, WORDS, notes),
    ];
    (all, end)
}

/// What must be dry before: the pens `named`, or only their numbers.
fn before(plan: &Plan, turn: &Turn, k: usize, named: bool) -> String {
    let across = across(plan, k);
    if turn.after.is_empty() {
        let stamp = plan.schedule.stamp_rest_s;
        return match (k, across.is_empty()) {
            (0, _) if stamp > 0 => {
                format!("Must be dry before: the stamped ink, {}.", minutes(stamp))
            }
            (_, true) => "Touches nothing that is wet.".to_owned(),
            (_, false) => across,
        };
    }
    let numbers = numbers_before(&plan.schedule.turns, turn);
    let list = if named {
        let call = |&n: &usize| called(plan, n);
        numbers.iter().map(call).collect::<Vec<_>>().join(", ")
    } else {
        marks(plan, &numbers)
    };
    format!("Must be dry before: {list}. {across}")
        .trim_end()
        .to_owned()
}

/// What may be wet across a drawn line from turn `k`, if anything: the order of work does not wait for it.
fn across(plan: &Plan, k: usize) -> String {
    match marks(plan, &plan.schedule.wet_across(k)) {
        wet if wet.is_empty() => wet,
        wet => format!("May be wet across a drawn line: {wet}. Keep off that line."),
    }
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

/// The edges of the card: of the panel, and of the sheets of pieces.
fn edges(svg: &mut Svg, plan: &Plan) {
    let [w, h] = plan.size_mm;
    let grounds = match &plan.card {
        None => vec![Rect::new(0.0, 0.0, w, h)],
        Some(card) => card.grounds.iter().map(rect_of).collect(),
    };
    for ground in grounds {
        svg.rect(ground).line(LINE_GRAY, 0.2);
    }
}

/// Part of the panel, or more, at turn `k`, in its own millimeters: done pale, now in full color with an outline, the rest
/// white.
fn drawing(svg: &mut Svg, plan: &Plan, curves: &Curves, k: usize, shown: Rect) {
    // What is drawn is wider than its path.
    let shown = shown.inflate(NOW_MM, NOW_MM);
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
    for number in plan.numbers.iter().filter(|n| n.number > 0) {
        let mine = plan.sections.iter().map(|s| s.id);
        let mine = mine.filter(|&id| done[usize::from(id) - 1] == number.number);
        if let Some(path) = Curve::shown(curves.of_sections(mine), shown) {
            svg.path(path).fill_between(paled(number.color));
        }
    }
    if let Some(path) = Curve::shown(curves.borders.iter(), shown) {
        svg.path(path).line("#c4c4c4", 0.25);
    }
    let now = turns[k].sections.iter().copied();
    if let Some(path) = Curve::shown(curves.of_sections(now), shown) {
        svg.path(path)
            .fill_between(color_of(plan, turns[k].number))
            .stroke(NOW, NOW_MM)
            .set("stroke-linejoin", "round");
    }
}

/// What lies over all colors in a part of the panel: the ink of the drawing, the edges of the card.
fn drawn_lines(svg: &mut Svg, plan: &Plan, curves: &Curves, shown: Rect) {
    if let Some(path) = Curve::shown(curves.ink.iter(), shown) {
        svg.path(path).fill_between(STAMPED);
    }
    edges(svg, plan);
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

/// How the panel's millimeters become the card's.
#[derive(PartialEq)]
struct Placing {
    left: f64,
    top: f64,
    scale: f64,
}

impl Placing {
    /// The panel's part `from` as large as fits into `to`, at its upper edge, in the middle.
    fn of(from: Rect, to: Rect) -> Self {
        let scale = fit(from, to);
        let x = to.x0 + (to.width() - from.width() * scale) / 2.0;
        Self {
            left: x - from.x0 * scale,
            top: to.y0 - from.y0 * scale,
            scale,
        }
    }

    /// Where a part of the panel comes to lie.
    fn frame(&self, part: Rect) -> Rect {
        let Self { left, top, scale } = *self;
        Rect::new(
            left + part.x0 * scale,
            top + part.y0 * scale,
            left + part.x1 * scale,
            top + part.y1 * scale,
        )
    }

    fn show(&self, svg: &mut Svg, body: impl FnOnce(&mut Svg)) {
        let Self { left, top, scale } = self;
        let place = format_args!("translate({left:.4} {top:.4}) scale({scale:.5})");
        svg.group().set("transform", place).holding(body);
    }
}

/// Paints the card white but for what lies in `frame`, and draws its edge.
fn cover_around(svg: &mut Svg, frame: Rect) {
    let (w, h) = CARD_MM;
    let Rect { x0, y0, x1, y1 } = frame;
    let edge = format!("M{x0:.3} {y0:.3}H{x1:.3}V{y1:.3}H{x0:.3}Z");
    svg.path(format_args!("M0 0H{w}V{h}H0Z{edge}"))
        .fill_between("#ffffff");
    svg.path(edge).line(LINE_GRAY, 0.25);
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
            beside: Vec::new(),
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
