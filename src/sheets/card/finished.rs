//! The finished card: pieces laid on.

use kurbo::{Affine, BezPath, Point, Rect, Shape};

use crate::borders::Outlines;
use crate::card::{Card, Image, Rings, Spot, nest};
use crate::plan::Plan;
use crate::sheets::ground::{View, subpaths};
use crate::sheets::page::LINE_GRAY;
use crate::sheets::preview::{Finished, colored, colored_part};
use crate::sheets::svg::{Svg, path_data};

/// Room around pieces in the preview that are glued elsewhere.
const LOOSE_MM: f64 = 5.0;

/// The finished card: the panel with its pieces laid on, and below it those that are glued elsewhere.
pub fn finished<'a>(
    panel: &'a View,
    plan: &'a Plan,
    outlines: &'a Outlines,
    card: &'a Card,
) -> Finished<'a> {
    let [w, h] = panel.plan.size_mm;
    let (size, places) = arranged(card, (w, h));
    Finished::new(size, move |svg| {
        svg.rect(Rect::new(0.0, 0.0, w, h)).fill(plan.job.paper);
        colored(svg, &panel.plan, &panel.outlines);
        for &(k, to) in &places {
            piece(svg, plan, outlines, (k, &card.images[k]), to);
        }
    })
}

/// Every piece as an index in the card's images with the way from its art to where it is shown, and the size of all
/// with a panel of `w * h` millimeters.
fn arranged(card: &Card, (w, h): (f64, f64)) -> ((f64, f64), Vec<(usize, Affine)>) {
    let pieces: Vec<(usize, &Image)> = card
        .images
        .iter()
        .enumerate()
        .filter(|(_, image)| image.cut.is_some())
        .collect();
    let loose = pieces.iter().filter(|(_, image)| image.glued.is_none());
    let bounds: Vec<Rect> = loose
        .map(|(_, image)| upright_cut(image).bounds())
        .collect();
    let sizes: Vec<[f64; 2]> = bounds.iter().map(|b| [b.width(), b.height()]).collect();
    let width = sizes.iter().map(|s| s[0]).fold(w, f64::max);
    let spots = nest(&sizes, [width, 1e6], LOOSE_MM).unwrap_or_default();
    let end = |(spot, size): (&Spot, &[f64; 2])| spot.at[1] + size[1] + 2.0 * LOOSE_MM;
    let below = spots.iter().zip(&sizes).map(end).fold(0.0, f64::max);
    let mut beside = spots.iter().zip(&bounds);
    let place = |&(k, image): &(usize, &Image)| {
        if let Some(glued) = image.glued {
            return Some((k, glued));
        }
        let (spot, bounds) = beside.next()?;
        let to = Point::new(spot.at[0], h + LOOSE_MM + spot.at[1]) - bounds.origin();
        Some((k, Affine::translate(to) * linear(image.to_frame)))
    };
    let places = pieces.iter().filter_map(place).collect();
    ((width, h + below), places)
}

/// A piece with what is drawn on it, taken from its art to where it is shown.
fn piece(svg: &mut Svg, plan: &Plan, outlines: &Outlines, (k, image): (usize, &Image), to: Affine) {
    let cut = image.cut.as_ref().map(|cut| cut.placed(to).path());
    svg.path(path_data(&cut.unwrap_or_default()))
        .fill(plan.job.paper)
        .stroke(LINE_GRAY, 0.15);
    let [a, b, c, d, e, f] = (to * image.to_frame.inverse()).as_coeffs();
    let place = format_args!("matrix({a:.6} {b:.6} {c:.6} {d:.6} {e:.4} {f:.4})");
    svg.group().set("transform", place).holding(|svg| {
        let ink = piece_ink(outlines, image);
        colored_part(svg, plan, outlines, |s| s.image == Some(k), &ink);
    });
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

/// The ink of one piece where it is stamped.
pub fn piece_ink(outlines: &Outlines, image: &Image) -> BezPath {
    let around = image
        .cut
        .as_ref()
        .map_or(Rect::ZERO, |cut| cut.placed(image.to_frame).bounds());
    let ink = subpaths(&outlines.ink).filter(|p| around.contains(p.bounding_box().center()));
    ink.flatten().collect()
}
