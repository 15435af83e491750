//! The sheets of a card: the layout of its stamps, masks to cut, pieces to cut out, and what these cover.

mod finished;
mod layout;
mod masks;
mod order;

pub use finished::{finished, piece_ink};
pub use layout::layout_pages;
pub use masks::{mask_outlines, mask_pages};

use std::fmt::Write;

use kurbo::Affine;

use crate::card::{Card, Image, Rings};
use crate::job::Job;
use crate::plan::{Ground, Plan};

use super::lettering::Letters;
use super::page::{FOOTER_MM, HEADER_MM, LINE_GRAY, MARGIN_MM, text};
use super::svg::{escape, path_data};

/// Where scissors and blades go.
const CUT_RED: &str = "#d3302f";
/// A cutting line: thin enough for a machine, wide enough to be seen.
const CUT_MM: f64 = 0.2;
/// Pale enough not to be taken for ink.
const PALE: &str = "#b9c6d2";

/// Where a page may be drawn on.
fn room(page: (f64, f64)) -> (f64, f64) {
    (
        page.0 - 2.0 * MARGIN_MM,
        page.1 - 2.0 * MARGIN_MM - HEADER_MM - FOOTER_MM,
    )
}

/// The page upright, or turned where only that has room.
fn page_for(size_mm: [f64; 2], job: &Job) -> (f64, f64) {
    let (w, h) = job.page.size_mm();
    let upright = room((w, h));
    if size_mm[0] <= upright.0 && size_mm[1] <= upright.1 {
        (w, h)
    } else {
        (h, w)
    }
}

/// From millimeters of an image's art to those of the ground it is stamped on.
fn here(card: &Card, image: &Image) -> Affine {
    let origin = card.grounds[image.ground].rect.origin().to_vec2();
    Affine::translate(-origin) * image.to_frame
}

fn cut_path(rings: &Rings) -> String {
    format!(
        "<path d=\"{}\" fill=\"none\" stroke=\"{CUT_RED}\" stroke-width=\"{CUT_MM}\" stroke-linejoin=\"round\"/>\n",
        path_data(&rings.path())
    )
}

/// Cut lines of the pieces on a ground, in its millimeters.
fn cuts(card: &Card, ground: usize) -> impl Iterator<Item = Rings> {
    let pieces = card.images.iter().filter(move |i| i.ground == ground);
    pieces.filter_map(move |image| Some(image.cut.as_ref()?.placed(here(card, image))))
}

/// What is drawn over the overlay of a ground: the cut lines of its pieces, and on the panel where pieces are glued.
pub fn over_overlay(plan: &Plan, card: &Card, ground: usize) -> String {
    let [w, h] = plan.size_mm;
    // For tracing from the back everything is mirrored but its words.
    let flip = if plan.job.mirror {
        Affine::new([-1.0, 0.0, 0.0, 1.0, w, 0.0])
    } else {
        Affine::IDENTITY
    };
    let mut svg: String = cuts(card, ground)
        .map(|rings| cut_path(&rings.placed(flip)))
        .collect();
    if ground > 0 {
        return svg;
    }
    for (k, image) in card.images.iter().enumerate() {
        let (Some(cut), Some(glued)) = (&image.cut, image.glued) else {
            continue;
        };
        let placed = cut.placed(flip * glued);
        let covers = plan.sections.iter().any(|s| s.covered == Some(k));
        let _ = writeln!(
            svg,
            "<path d=\"{}\" fill=\"none\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.2\" stroke-dasharray=\"1.6 1.2\"/>",
            path_data(&placed.path())
        );
        let words = if covers {
            format!("{} covers ×", image.name)
        } else {
            image.name.clone()
        };
        let bounds = placed.bounds();
        let y = if bounds.y0 > 3.0 {
            bounds.y0 - 0.8
        } else {
            (bounds.y1 + 2.6).min(h - 0.5)
        };
        let middle = " text-anchor=\"middle\" fill=\"#555555\"";
        let x = bounds.center().x;
        let letters = Letters::regular(2.2).fitting(&words, 2.0 * x.min(w - x).max(1.0));
        text(&mut svg, x, y, letters.size_mm, middle, &words);
    }
    svg
}

/// The cut lines of a sheet of pieces and nothing else, for a cutting machine: millimeters, one closed path a piece.
pub fn cut_lines(plan: &Plan, card: &Card, ground: usize) -> String {
    let rect = card.grounds[ground].rect;
    let (w, h) = (rect.width(), rect.height());
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w:.2}mm\" height=\"{h:.2}mm\" viewBox=\"0 0 {w:.2} {h:.2}\">\n\
         <title>{}</title>\n",
        escape(&ground_name(plan, ground))
    );
    svg.extend(cuts(card, ground).map(|rings| cut_path(&rings)));
    svg + "</svg>\n"
}

fn ground_name(plan: &Plan, ground: usize) -> String {
    let card = plan.card.as_ref();
    let found = card.and_then(|c| c.grounds.get(ground));
    found.map_or_else(|| Ground::PANEL.to_owned(), |g| g.name.clone())
}
