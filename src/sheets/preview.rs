//! The finished panel as it will look with these pens on this paper.

use std::fmt::Write;

use crate::borders::Outlines;
use crate::color::Srgb8;
use crate::plan::Plan;

use super::Sheet;
use super::svg::path_data;

/// Stamped ink, dry: not quite black. From memory.
const INK: &str = "#26242a";
/// Every color reaches this far under its neighbors, as ink does, so that no paper shows between; millimeters.
const BLEED_MM: f64 = 0.12;

/// Draws every section in its pen's color, the drawn lines on top.
pub fn preview(plan: &Plan, outlines: &Outlines) -> Sheet {
    let [w, h] = plan.size_mm;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\">\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"{}\"/>\n",
        plan.job.paper
    );
    // Light to dark, as on the card.
    for number in &plan.numbers {
        if number.number > 0 {
            fill(&mut svg, plan, outlines, number.number, number.color);
        }
    }
    // Bare paper was never touched by its neighbors.
    fill(&mut svg, plan, outlines, 0, plan.job.paper);
    let _ = writeln!(
        svg,
        "<path d=\"{}\" fill=\"{INK}\" fill-rule=\"evenodd\"/>\n</svg>",
        path_data(&outlines.ink)
    );
    Sheet {
        width_mm: w,
        height_mm: h,
        svg,
    }
}

fn fill(svg: &mut String, plan: &Plan, outlines: &Outlines, number: usize, color: Srgb8) {
    let data: String = plan
        .sections
        .iter()
        .filter(|s| s.number == number)
        .map(|s| path_data(&outlines.sections[usize::from(s.id) - 1]))
        .collect();
    if !data.is_empty() {
        let _ = writeln!(
            svg,
            "<path d=\"{data}\" fill=\"{color}\" stroke=\"{color}\" stroke-width=\"{BLEED_MM}\" fill-rule=\"evenodd\"/>"
        );
    }
}
