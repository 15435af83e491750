//! The photo brought under the drawn lines: the affine map under which they lie best on its edges.
//!
//! Looked for on a coarse grid of places with wide edges, and climbed from there with ever narrower ones, as in chamfer
//! matching from coarse to fine (Borgefors 1988, "Hierarchical chamfer matching").

use kurbo::{Affine, Point, Vec2};
use rayon::prelude::*;

use crate::grid::Grid;

use super::Photo;
use super::edges::{DRAWN_TO_PX, Edges, Strokes};
use super::shape::Silhouette;

/// How well lines lie that lie on edges, near their place and wherever they may be: the first, and the second for every
/// time that the drawing's longer side goes into their length. A plain outline comes to 0.4 and more on anything round,
/// a detailed drawing hardly to 0.35 but on what is drawn. From memory, seen on photos of animals and things.
const NEAR_FITS: [f64; 2] = [0.3, 0.42];
const ANYWHERE_FITS: [f64; 2] = [0.315, 0.42];
/// A photo is too narrow to look for lines in it if its small copy has fewer pixels across than this; from memory.
const LEAST_SIDE_PX: usize = 40;
/// Where a search near a place begins: turns in degrees, natural logarithms of scales, and shifts along both axes as
/// parts of the drawing's longer side. From memory: farther off nobody calls it fitting.
const TURNS: [f64; 7] = [-12.0, -8.0, -4.0, 0.0, 4.0, 8.0, 12.0];
const SCALES: [f64; 5] = [-0.12, -0.06, 0.0, 0.06, 0.12];
const SHIFTS: [f64; 7] = [-0.12, -0.08, -0.04, 0.0, 0.04, 0.08, 0.12];
/// Where a search anywhere begins: turns, the natural logarithms of the least and the largest scale at which a drawing
/// is looked for (at 0 it just lies in the photo) and of the steps between, and the step of shifts. From memory: small
/// enough, a drawing of anything lies on something.
const TURNS_ANYWHERE: [f64; 3] = [-8.0, 0.0, 8.0];
const SCALES_ANYWHERE: [f64; 3] = [-0.84, 0.12, 0.12];
const SHIFT_ANYWHERE: f64 = 0.06;
/// So many of the most promising places are climbed from, which differ by this in shift or in the logarithm of scale.
const CLIMBS: usize = 6;
const OTHER_PLACE: f64 = 0.15;
/// By how much photo and drawing usually miss each other, in the units of [`Misfit`], and what a misfit of that size in
/// all of it costs, as a part of the score; from memory.
const USUAL: Misfit = [0.1, 0.08, 0.05, 0.05, 0.06, 0.06];
const LEAN: f64 = 0.05;
/// The first step of a climb, as a part of what edges are drawn to; what it is more for all but shifts, which move
/// every place as far; and the rounds of halved steps with the most tries in each. From memory.
const STEP: f64 = 0.7;
const TURN_STEP: f64 = 2.0;
const ROUNDS: usize = 5;
const TRIES: usize = 15;

/// The level of the narrowest edges.
const FINEST: usize = DRAWN_TO_PX.len() - 1;

/// A turn in radians, natural logarithms of a scale and of a stretch, a shear, and a shift in parts of the drawing's
/// longer side.
type Misfit = [f64; 6];

/// Drawn lines held against the edges of a photo.
pub struct LinesOnEdges {
    edges: Edges,
    strokes: Strokes,
    /// Of the upright photo, in pixels.
    photo_size: (usize, usize),
}

impl LinesOnEdges {
    /// The lines that enclose a silhouette or lie in it, against the photo; `None` where none are drawn, or it is too
    /// narrow.
    pub fn new(photo: &Photo, drawn: &Grid<bool>, silhouette: &Silhouette) -> Option<Self> {
        let small = &photo.small;
        if small.width.min(small.height) < LEAST_SIDE_PX {
            return None;
        }
        Some(Self {
            strokes: Strokes::of(drawn, silhouette)?,
            edges: Edges::of(photo),
            photo_size: photo.upright_size(),
        })
    }

    /// How well the lines lie on edges, 0 to 1. `map_at` takes what is around a place from frame pixels to photo
    /// pixels.
    pub fn score(&self, map_at: impl Fn(Point) -> Affine) -> f64 {
        self.edges.score(FINEST, &self.strokes, map_at)
    }

    /// The map (frame pixels to photo pixels) under which the lines lie best near one of `starts`, or else anywhere in
    /// the photo, and how well they lie there; `None` where they lie on edges nowhere.
    pub fn best_map(&self, starts: impl Iterator<Item = Affine>) -> Option<(Affine, f64)> {
        let Self { edges, strokes, .. } = self;
        let nearest = starts.map(|start| near(edges, strokes, start)).collect();
        let found = best_of(nearest).filter(|&(_, score)| self.fits(score));
        found.or_else(|| {
            let found = anywhere(edges, strokes, self.photo_size);
            Some(found).filter(|(_, score)| *score >= self.least(ANYWHERE_FITS))
        })
    }

    /// Whether lines that lie so well near their place lie on edges.
    pub fn fits(&self, score: f64) -> bool {
        score >= self.least(NEAR_FITS)
    }

    fn least(&self, [detailed, plain]: [f64; 2]) -> f64 {
        detailed + plain / self.strokes.length
    }
}

/// The best map near `start`, and how well the lines lie there.
fn near(edges: &Edges, strokes: &Strokes, start: Affine) -> (Affine, f64) {
    let mut starts = Vec::new();
    for turn in TURNS {
        for scale in SCALES {
            for x in SHIFTS {
                starts.extend(SHIFTS.map(|y| [turn.to_radians(), scale, 0.0, 0.0, x, y]));
            }
        }
    }
    let few = strokes.few();
    let ratings: Vec<f64> = starts
        .par_iter()
        .map(|misfit| rating(edges, 0, &few, start, misfit))
        .collect();
    let best = by_rating(&ratings)[0];
    climbed(edges, strokes, start, starts[best])
}

/// The best map wherever the drawing may lie in the photo of this size, and how well the lines lie there.
fn anywhere(edges: &Edges, strokes: &Strokes, photo_size: (usize, usize)) -> (Affine, f64) {
    let size = Vec2::new(photo_size.0 as f64, photo_size.1 as f64);
    let whole = size.x.min(size.y) / strokes.size;
    let [least, most, step] = SCALES_ANYWHERE;
    let mut starts = Vec::new();
    for k in 0..=((most - least) / step).round() as usize {
        let scale = least + step * k as f64;
        let photo_px = whole * scale.exp();
        let apart = SHIFT_ANYWHERE * strokes.size * photo_px;
        // Its middle lies in the photo.
        let [columns, rows] = [size.x, size.y].map(|v| (v / apart).floor() as usize + 1);
        for place in 0..columns * rows {
            let at = Vec2::new((place % columns) as f64, (place / columns) as f64) * apart;
            starts.extend(TURNS_ANYWHERE.map(|turn| (scale, at, turn.to_radians())));
        }
    }
    let map = |&(scale, at, turn): &(f64, Vec2, f64)| {
        Affine::translate(at)
            * Affine::rotate(turn)
            * Affine::scale(whole * scale.exp())
            * Affine::translate(-strokes.middle.to_vec2())
    };
    let few = strokes.few();
    let ratings: Vec<f64> = starts
        .par_iter()
        .map(|start| edges.score(0, &few, |_| map(start)))
        .collect();
    let mut kept: Vec<(f64, Vec2, f64)> = Vec::new();
    for i in by_rating(&ratings) {
        let (scale, at, _) = starts[i];
        let drawn = OTHER_PLACE * strokes.size * whole * scale.exp();
        let is_other =
            |k: &(f64, Vec2, f64)| (k.0 - scale).abs() > OTHER_PLACE || (k.1 - at).hypot() > drawn;
        if kept.iter().all(is_other) {
            kept.push(starts[i]);
        }
        if kept.len() == CLIMBS {
            break;
        }
    }
    let found: Vec<(Affine, f64)> = kept
        .par_iter()
        .map(|start| climbed(edges, strokes, map(start), [0.0; 6]))
        .collect();
    best_of(found).expect("there is a place in every photo")
}

/// The first of those with the best score.
fn best_of(found: Vec<(Affine, f64)>) -> Option<(Affine, f64)> {
    found
        .into_iter()
        .reduce(|a, b| if b.1 > a.1 { b } else { a })
}

/// The indices from the best rating down; the first of equals first, so that no order of threads decides.
fn by_rating(ratings: &[f64]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..ratings.len()).collect();
    order.sort_by(|&a, &b| ratings[b].total_cmp(&ratings[a]).then(a.cmp(&b)));
    order
}

/// `start` with the drawing moved about its middle before.
fn moved(strokes: &Strokes, start: Affine, misfit: &Misfit) -> Affine {
    let &[turn, scale, stretch, shear, x, y] = misfit;
    let [across, down] = [scale + stretch, scale - stretch].map(f64::exp);
    let shape = Affine::new([across, 0.0, shear, down, 0.0, 0.0]);
    let middle: Point = strokes.middle;
    let shift = Affine::translate(middle.to_vec2() + Vec2::new(x, y) * strokes.size);
    start * shift * Affine::rotate(turn) * shape * Affine::translate(-middle.to_vec2())
}

/// The score, less for what is far off.
fn rating(edges: &Edges, level: usize, strokes: &Strokes, start: Affine, misfit: &Misfit) -> f64 {
    let map = moved(strokes, start, misfit);
    let squares = misfit
        .iter()
        .zip(USUAL)
        .map(|(v, usual)| (v / usual).powi(2));
    let off = squares.sum::<f64>() / USUAL.len() as f64;
    edges.score(level, strokes, |_| map) * (1.0 - LEAN * off)
}

/// Every number in turn moved while the lines lie better, in ever smaller steps and on ever narrower edges.
fn climbed(edges: &Edges, strokes: &Strokes, start: Affine, from: Misfit) -> (Affine, f64) {
    let mut misfit = from;
    let edge_px = start.determinant().abs().sqrt() / edges.scale[0];
    for (level, sigma) in DRAWN_TO_PX.iter().enumerate() {
        let step = STEP * f64::from(*sigma) / (edge_px * strokes.size);
        let turn = TURN_STEP * step;
        let mut steps = [turn, turn, turn, turn, step, step];
        let rate = |misfit: &Misfit| rating(edges, level, strokes, start, misfit);
        let mut best = rate(&misfit);
        for _ in 0..ROUNDS {
            for _ in 0..TRIES {
                let before = best;
                for (k, sign) in (0..misfit.len()).flat_map(|k| [(k, -1.0), (k, 1.0)]) {
                    let mut tried = misfit;
                    tried[k] += sign * steps[k];
                    let found = rate(&tried);
                    if found > best {
                        (misfit, best) = (tried, found);
                    }
                }
                if best == before {
                    break;
                }
            }
            steps = steps.map(|s| s / 2.0);
        }
    }
    let map = moved(strokes, start, &misfit);
    (map, edges.score(FINEST, strokes, |_| map))
}
