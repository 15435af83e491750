//! The sheets of a card: the layout of its stamps, masks to cut, pieces to cut out, and what these cover.

mod finished;
mod layout;
mod masks;
mod order;

pub use finished::{finished, piece_ink};
pub use layout::layout_pages;
pub use masks::{mask_outlines, mask_pages};

use kurbo::Affine;

use crate::card::{Card, Image, Rings};
use crate::job::{Job, PageSize};
use crate::plan::{Ground, Plan};

use super::lettering::Letters;
use super::page::{LINE_GRAY, PALER_TEXT};
use super::svg::{Svg, path_data};

/// Where scissors and blades go.
const CUT_RED: &str = "#d3302f";
/// A cutting line: thin enough for a machine, wide enough to be seen.
const CUT_MM: f64 = 0.2;
/// Pale enough not to be taken for ink.
const PALE: &str = "#b9c6d2";

/// The page upright, or turned where only that has room.
fn page_for(size_mm: [f64; 2], job: &Job) -> (f64, f64) {
    let (w, h) = job.page.size_mm();
    let upright = PageSize::room((w, h));
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

fn cut_line(svg: &mut Svg, rings: &Rings) {
    svg.path(path_data(&rings.path()))
        .line(CUT_RED, CUT_MM)
        .set("stroke-linejoin", "round");
}

/// Cut lines of the pieces on a ground, in its millimeters.
fn cuts(card: &Card, ground: usize) -> impl Iterator<Item = Rings> {
    let pieces = card.images.iter().filter(move |i| i.ground == ground);
    pieces.filter_map(move |image| Some(image.cut.as_ref()?.placed(here(card, image))))
}

/// What is drawn over the overlay of a ground: the cut lines of its pieces, and on the panel where pieces are glued.
pub fn over_overlay(svg: &mut Svg, plan: &Plan, card: &Card, ground: usize) {
    let [w, h] = plan.size_mm;
    // For tracing from the back everything is mirrored but its words.
    let flip = if plan.job.mirror {
        Affine::new([-1.0, 0.0, 0.0, 1.0, w, 0.0])
    } else {
        Affine::IDENTITY
    };
    for rings in cuts(card, ground) {
        cut_line(svg, &rings.placed(flip));
    }
    if ground > 0 {
        return;
    }
    for (k, image) in card.images.iter().enumerate() {
        let (Some(cut), Some(glued)) = (&image.cut, image.glued) else {
            continue;
        };
        let placed = cut.placed(flip * glued);
        let covers = plan.sections.iter().any(|s| s.covered == Some(k));
        svg.path(path_data(&placed.path()))
            .line(LINE_GRAY, 0.2)
            .set("stroke-dasharray", "1.6 1.2");
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
        let x = bounds.center().x;
        let letters = Letters::regular(2.2).fitting(&words, 2.0 * x.min(w - x).max(1.0));
        svg.text((x, y), letters.colored(PALER_TEXT))
            .middle()
            .saying(&words);
    }
}

/// The cut lines of a sheet of pieces and nothing else, for a cutting machine: millimeters, one closed path a piece.
pub fn cut_lines(plan: &Plan, card: &Card, ground: usize) -> String {
    let rect = card.grounds[ground].rect;
    let mut svg = Svg::new((rect.width(), rect.height()));
    svg.element("title").saying(&ground_name(plan, ground));
    for rings in cuts(card, ground) {
        cut_line(&mut svg, &rings);
    }
    svg.written()
}

fn ground_name(plan: &Plan, ground: usize) -> String {
    let card = plan.card.as_ref();
    let found = card.and_then(|c| c.grounds.get(ground));
    found.map_or_else(|| Ground::PANEL.to_owned(), |g| g.name.clone())
}
