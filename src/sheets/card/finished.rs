//! The finished card: pieces laid on.

use std::fmt::Write;

use kurbo::{Affine, BezPath, Rect, Shape};

use crate::borders::Outlines;
use crate::card::{Card, Image, Rings, nest};
use crate::plan::Plan;
use crate::sheets::Sheet;
use crate::sheets::ground::{View, subpaths};
use crate::sheets::page::LINE_GRAY;
use crate::sheets::preview::colored;
use crate::sheets::svg::path_data;

/// Room around pieces in the preview that are glued elsewhere.
const LOOSE_MM: f64 = 5.0;

/// The finished card: the panel with its pieces laid on, and below it those that are glued elsewhere.
pub fn finished(panel: &View, plan: &Plan, outlines: &Outlines, card: &Card) -> Sheet {
    let [w, h] = panel.plan.size_mm;
    let loose: Vec<usize> = (0..card.images.len())
        .filter(|&k| card.images[k].cut.is_some() && card.images[k].glued.is_none())
        .collect();
    let sizes: Vec<[f64; 2]> = loose
        .iter()
        .map(|&k| {
            let b = upright_cut(&card.images[k]).bounds();
            [b.width(), b.height()]
        })
        .collect();
    let spots = nest(&sizes, [w.max(widest(&sizes)), 1e6], LOOSE_MM).unwrap_or_default();
    let below = spots
        .iter()
        .zip(&sizes)
        .map(|(s, size)| s.at[1] + size[1])
        .fold(0.0, f64::max);
    let height = if spots.is_empty() {
        h
    } else {
        h + below + 2.0 * LOOSE_MM
    };
    let width = w.max(widest(&sizes));
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" viewBox=\"0 0 {width} {height}\">\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"{}\"/>\n",
        plan.job.paper
    );
    colored(&mut svg, &panel.plan, &panel.outlines);
    for (k, image) in card.images.iter().enumerate() {
        let Some(cut) = &image.cut else { continue };
        let to = match (image.glued, loose.iter().position(|&l| l == k)) {
            (Some(glued), _) => glued,
            (None, Some(n)) => {
                let upright = linear(image.to_frame);
                let b = upright_cut(image).bounds();
                let [x, y] = spots[n].at;
                Affine::translate((x - b.x0, h + LOOSE_MM + y - b.y0)) * upright
            }
            (None, None) => continue,
        };
        let [a, b, c, d, e, f] = (to * image.to_frame.inverse()).as_coeffs();
        let _ = writeln!(
            svg,
            "<path d=\"{}\" fill=\"{}\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.15\"/>\n\
             <g transform=\"matrix({a:.6} {b:.6} {c:.6} {d:.6} {e:.4} {f:.4})\">",
            path_data(&cut.placed(to).path()),
            plan.job.paper
        );
        let (mine, drawn) = only(plan, outlines, image, k);
        colored(&mut svg, &mine, &drawn);
        svg.push_str("</g>\n");
    }
    svg.push_str("</svg>\n");
    Sheet {
        width_mm: width,
        height_mm: height,
        svg,
    }
}

fn widest(sizes: &[[f64; 2]]) -> f64 {
    sizes.iter().map(|s| s[0]).fold(0.0, f64::max)
}

/// A piece's cut line as it is stamped, wherever its sheet lies.
fn upright_cut(image: &Image) -> Rings {
    let cut = image.cut.as_ref();
    cut.map_or_else(Rings::default, |cut| cut.placed(linear(image.to_frame)))
}

/// The same without its move.
fn linear(affine: Affine) -> Affine {
    affine.with_translation(kurbo::Vec2::ZERO)
}

/// What is drawn on one piece.
fn only(plan: &Plan, outlines: &Outlines, image: &Image, k: usize) -> (Plan, Outlines) {
    let mut mine = plan.clone();
    mine.sections.retain(|s| s.image == Some(k));
    let drawn = Outlines {
        ink: piece_ink(outlines, image),
        ..outlines.clone()
    };
    (mine, drawn)
}

/// The ink of one piece where it is stamped.
pub fn piece_ink(outlines: &Outlines, image: &Image) -> BezPath {
    let around = image
        .cut
        .as_ref()
        .map_or(Rect::ZERO, |cut| cut.placed(image.to_frame).bounds());
    let ink = subpaths(&outlines.ink).filter(|p| around.contains(p.bounding_box().center()));
    ink.flatten().collect()
}
