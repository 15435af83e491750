//! The finished panel as it will look with these pens on this paper.

use kurbo::{BezPath, Rect};

use crate::borders::{Outlines, trace_mask};
use crate::color::{STAMPED, Srgb8};
use crate::grid::Grid;
use crate::plan::{Plan, Section};

use super::Sheet;
use super::lettering::Letters;
use super::page::{FRAME_GRAY, open};
use super::svg::{Mm, Svg, path_data};

/// Every color reaches this far under its neighbors, as ink does, so that no paper shows between; millimeters.
const BLEED_MM: f64 = 0.12;

/// Room between previews side by side, and for what stands below them, in millimeters.
const GAP_MM: f64 = 6.0;
const CAPTION_MM: f64 = 18.0;

/// The finished card, to be drawn by itself or among other things.
pub struct Finished<'a> {
    /// Width and height, in its own millimeters.
    pub size_mm: (f64, f64),
    draw: Box<dyn Fn(&mut Svg) + 'a>,
}

impl<'a> Finished<'a> {
    pub fn new(size_mm: (f64, f64), draw: impl Fn(&mut Svg) + 'a) -> Self {
        let draw = Box::new(draw);
        Self { size_mm, draw }
    }

    /// The panel by itself: every section in its pen's color, the drawn lines on top.
    pub fn panel(plan: &'a Plan, outlines: &'a Outlines) -> Self {
        let [w, h] = plan.size_mm;
        Self::new((w, h), move |svg| {
            svg.rect(Rect::new(0.0, 0.0, w, h)).fill(plan.job.paper);
            colored(svg, plan, outlines);
        })
    }

    pub fn draw(&self, svg: &mut Svg) {
        (self.draw)(svg);
    }

    pub fn sheet(&self) -> Sheet {
        let mut svg = Svg::new(self.size_mm);
        self.draw(&mut svg);
        svg.sheet()
    }
}

/// The finished panel once for every backdrop of the plan, side by side; `outside` is what they color, in the working
/// frame. `None` without any.
pub fn backdrops(plan: &Plan, outlines: &Outlines, outside: &Grid<bool>) -> Option<Sheet> {
    let [w, h] = plan.size_mm;
    let count = plan.backdrops.len() as f64;
    if plan.backdrops.is_empty() {
        return None;
    }
    let size = (count * (w + GAP_MM) - GAP_MM, h + CAPTION_MM);
    let mut svg = open(size);
    let outside = path_data(&trace_mask(outside, plan.mm_per_px));
    for (i, backdrop) in plan.backdrops.iter().enumerate() {
        let x = i as f64 * (w + GAP_MM);
        let place = format_args!("translate({} 0)", Mm(x));
        svg.group().set("transform", place).holding(|svg| {
            svg.rect(Rect::new(0.0, 0.0, w, h)).fill(plan.job.paper);
            svg.path(&outside).fill_between(backdrop.color);
            colored(svg, plan, outlines);
        });
        let name = format!("{}. {}", i + 1, backdrop.pen);
        let refill = if backdrop.refill {
            "refill at hand"
        } else {
            "no refill"
        };
        let area = format!("{:.0} cm², {refill}", backdrop.area_mm2 / 100.0);
        let apart = format!(
            "apart by {:.0} in lightness, {:.0} in hue",
            backdrop.lightness, backdrop.hue
        );
        for (y, letters, words) in [
            (6.5, Letters::bold(5.0), name),
            (11.5, Letters::regular(3.6), area),
            (16.0, Letters::regular(3.6), apart),
        ] {
            // What is too long for a narrow panel is written smaller.
            let letters = letters.fitting(&words, w);
            svg.text((x, h + y), letters).saying(&words);
        }
    }
    Some(svg.sheet())
}

/// Finished cards side by side, each with its name below.
pub fn side_by_side(names: &[&str], cards: &[Finished]) -> Sheet {
    let width: f64 = cards.iter().map(|c| c.size_mm.0 + GAP_MM).sum::<f64>() + GAP_MM;
    let height = cards.iter().map(|c| c.size_mm.1).fold(0.0, f64::max) + 2.0 * GAP_MM + 8.0;
    let mut svg = open((width, height));
    let mut x = GAP_MM;
    for (name, card) in names.iter().zip(cards) {
        let (w, h) = card.size_mm;
        // A drawing inside a drawing: nothing is seen beyond its edges.
        svg.element("svg")
            .set("x", Mm(x))
            .set("y", GAP_MM)
            .set("width", w)
            .set("height", h)
            .set("viewBox", format_args!("0 0 {w} {h}"))
            .holding(|svg| card.draw(svg));
        svg.rect(Rect::new(x, GAP_MM, x + w, GAP_MM + h))
            .line(FRAME_GRAY, 0.3);
        let letters = Letters::bold(5.0).fitting(name, w);
        svg.text((x, GAP_MM + h + 7.0), letters).saying(name);
        x += w + GAP_MM;
    }
    svg.sheet()
}

/// Every section in its pen's color, light to dark as on the card, and the ink.
pub fn colored(svg: &mut Svg, plan: &Plan, outlines: &Outlines) {
    colored_part(svg, plan, outlines, |_| true, &outlines.ink);
}

/// The same with some of the sections, and the `ink` on them.
pub fn colored_part(
    svg: &mut Svg,
    plan: &Plan,
    outlines: &Outlines,
    is_part: impl Fn(&Section) -> bool,
    ink: &BezPath,
) {
    let sections: Vec<&Section> = plan.sections.iter().filter(|s| is_part(s)).collect();
    // Light to dark, as on the card.
    for number in &plan.numbers {
        if number.number > 0 {
            fill(svg, &sections, outlines, number.number, number.color);
        }
    }
    // Bare paper was never touched by its neighbors.
    fill(svg, &sections, outlines, 0, plan.job.paper);
    svg.path(path_data(ink)).fill_between(STAMPED);
}

fn fill(svg: &mut Svg, sections: &[&Section], outlines: &Outlines, number: usize, color: Srgb8) {
    let data: String = sections
        .iter()
        .filter(|s| s.number == number)
        .map(|s| path_data(&outlines.sections[usize::from(s.id) - 1]))
        .collect();
    if !data.is_empty() {
        svg.path(data).fill_between(color).stroke(color, BLEED_MM);
    }
}
