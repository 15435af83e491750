//! The finished panel as it will look with these pens on this paper.

use std::fmt::Write;

use crate::borders::{Outlines, trace_mask};
use crate::color::{STAMPED, Srgb8};
use crate::grid::Grid;
use crate::plan::Plan;

use super::Sheet;
use super::lettering::Letters;
use super::page::{FRAME_GRAY, close, open, text};
use super::svg::path_data;

/// Every color reaches this far under its neighbors, as ink does, so that no paper shows between; millimeters.
const BLEED_MM: f64 = 0.12;

/// Room between previews side by side, and for what stands below them, in millimeters.
const GAP_MM: f64 = 6.0;
const CAPTION_MM: f64 = 18.0;

/// Draws every section in its pen's color, the drawn lines on top.
pub fn preview(plan: &Plan, outlines: &Outlines) -> Sheet {
    let [w, h] = plan.size_mm;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\">\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"{}\"/>\n",
        plan.job.paper
    );
    colored(&mut svg, plan, outlines);
    svg.push_str("</svg>\n");
    Sheet {
        width_mm: w,
        height_mm: h,
        svg,
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
        let _ = writeln!(
            svg,
            "<g transform=\"translate({x:.2} 0)\">\n<rect width=\"{w}\" height=\"{h}\" fill=\"{}\"/>\n\
             <path d=\"{outside}\" fill=\"{}\" fill-rule=\"evenodd\"/>",
            plan.job.paper, backdrop.color
        );
        colored(&mut svg, plan, outlines);
        svg.push_str("</g>\n");
        let name = format!("{}. {}", i + 1, backdrop.pen);
        // What is too long for a narrow panel is written smaller.
        let fitting = |size: f64, words: &str| Letters::regular(size).fitting(words, w).size_mm;
        let size = Letters::bold(5.0).fitting(&name, w).size_mm;
        text(&mut svg, x, h + 6.5, size, " font-weight=\"bold\"", &name);
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
        text(&mut svg, x, h + 11.5, fitting(3.6, &area), "", &area);
        text(&mut svg, x, h + 16.0, fitting(3.6, &apart), "", &apart);
    }
    Some(close(svg, size))
}

/// Pictures of cards side by side, each with its name below.
pub fn side_by_side(names: &[&str], cards: &[Sheet]) -> Sheet {
    let width: f64 = cards.iter().map(|c| c.width_mm + GAP_MM).sum::<f64>() + GAP_MM;
    let height = cards.iter().map(|c| c.height_mm).fold(0.0, f64::max) + 2.0 * GAP_MM + 8.0;
    let size = (width, height);
    let mut svg = open(size);
    let mut x = GAP_MM;
    for (name, card) in names.iter().zip(cards) {
        let (w, h) = (card.width_mm, card.height_mm);
        // A drawing inside a drawing lies where its x and y say.
        let inner = card
            .svg
            .replacen("<svg ", &format!("<svg x=\"{x:.2}\" y=\"{GAP_MM}\" "), 1);
        svg.push_str(&inner.replacen(
            &format!("width=\"{w}mm\" height=\"{h}mm\""),
            &format!("width=\"{w}\" height=\"{h}\""),
            1,
        ));
        let _ = writeln!(
            svg,
            "<rect x=\"{x:.2}\" y=\"{GAP_MM}\" width=\"{w}\" height=\"{h}\" fill=\"none\" stroke=\"{FRAME_GRAY}\" stroke-width=\"0.3\"/>"
        );
        let size = Letters::bold(5.0).fitting(name, w).size_mm;
        text(
            &mut svg,
            x,
            GAP_MM + h + 7.0,
            size,
            " font-weight=\"bold\"",
            name,
        );
        x += w + GAP_MM;
    }
    close(svg, size)
}

/// Every section in its pen's color, light to dark as on the card, and the ink.
pub fn colored(svg: &mut String, plan: &Plan, outlines: &Outlines) {
    // Light to dark, as on the card.
    for number in &plan.numbers {
        if number.number > 0 {
            fill(svg, plan, outlines, number.number, number.color);
        }
    }
    // Bare paper was never touched by its neighbors.
    fill(svg, plan, outlines, 0, plan.job.paper);
    let _ = writeln!(
        svg,
        "<path d=\"{}\" fill=\"{STAMPED}\" fill-rule=\"evenodd\"/>",
        path_data(&outlines.ink)
    );
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
