//! The fit made again and again, with less trust in what lies far off it.

use crate::color::Lab;

use super::blocks::Blocks;
use super::quadric::{fit_once, kernels};

/// A round that moves no place by more than this, in L*, is the last; from memory.
const AT_REST: f32 = 0.2;
/// Bisquare weights reach zero at this many times the median residual (Cleveland 1979), ...
pub const BISQUARE: f32 = 6.0;
/// ... which counts as no less than this, in L*, so that a clean fit is not split by rounding; from memory.
const LEAST_RESIDUAL: f32 = 0.7;
/// What the square of a difference in color counts beside one in lightness: half as far. From memory.
const COLOR_COUNTS: f32 = 0.25;

/// The fitted color of every needed block.
pub fn fit(blocks: &Blocks, sigma: f64, rounds: usize) -> Vec<Lab> {
    let kernels = kernels(sigma);
    let mut robust = vec![1.0f32; blocks.color.len()];
    let mut fitted = Vec::new();
    for round in 0..rounds {
        let weight = blocks
            .weight
            .iter()
            .zip(&robust)
            .map(|(w, r)| w * r)
            .collect();
        let trusted = Blocks {
            weight,
            ..blocks.clone()
        };
        let before = std::mem::replace(&mut fitted, fit_once(trusted, &kernels));
        let moved = |b: usize| size(fitted[b] - before[b]) > AT_REST;
        if round > 0 && !blocks.shown().any(moved) {
            break;
        }
        let off = |b: usize| size(blocks.color[b] - fitted[b]);
        let Some(residual) = median(blocks.shown().map(off)) else {
            break;
        };
        if round + 1 < rounds {
            let far = BISQUARE * residual.max(LEAST_RESIDUAL);
            for (b, robust) in robust.iter_mut().enumerate() {
                *robust = bisquare(off(b) / far);
            }
        }
    }
    fitted
}

/// How far two colors of one part lie apart, in L*.
pub fn size(d: Lab) -> f32 {
    // Lightness makes the bands; hue is one all over the part.
    (d.l * d.l + COLOR_COUNTS * (d.a * d.a + d.b * d.b)).sqrt()
}

/// Tukey's bisquare weight; `t` is 1 where it reaches zero.
pub fn bisquare(t: f32) -> f32 {
    if t < 1.0 { (1.0 - t * t).powi(2) } else { 0.0 }
}

/// `None` of nothing.
pub fn median(values: impl Iterator<Item = f32>) -> Option<f32> {
    let mut all: Vec<f32> = values.collect();
    let middle = all.len() / 2;
    (!all.is_empty()).then(|| *all.select_nth_unstable_by(middle, f32::total_cmp).1)
}
