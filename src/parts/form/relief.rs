//! What the fit leaves over: how far the photo scatters about it, and what is form after all.

use imageproc::region_labelling::Connectivity;
use rayon::prelude::*;

use crate::color::Lab;
use crate::grid::{Grid, squared_distance_to_rim};

use super::blocks::Blocks;
use super::quadric::kernels;
use super::robust::{median, size};

/// What is left over belongs to the form where it reaches the second, in L*, as far as it is more than the first; from
/// memory.
const FAINT_RELIEF: f32 = 4.0;
const CLEAR_RELIEF: f32 = 10.0;
/// ... and where the photo scatters about the form by more than this part of that, clear is what stands out as far
/// from the scatter: a stripe of bark is no shadow. From memory.
const RELIEF_OVER_SCATTER: f32 = 4.0;
/// Less evidence around a block than this, in weights of the Gaussian around it, says nothing of what is left over; from
/// memory.
const LEAST_SUM: f32 = 0.3;

/// The median of what is left over of the blocks when what they share with those around (a Gaussian of `sigma` blocks)
/// is taken out, in L*.
pub fn scatter(blocks: &Blocks, fitted: &[Lab], sigma: f64) -> f32 {
    let smooth = smoothed_residuals(blocks, fitted, sigma);
    let off = |b: usize| size(blocks.color[b] - fitted[b] - smooth[b]);
    median(blocks.shown().map(off)).unwrap_or(0.0)
}

/// Puts back what the quadric leaves over where that is large: a highlight, the edge of a cast shadow, a crease. The
/// residuals are smoothed by a Gaussian of `sigma` blocks; a piece of one sign counts where it is clear and as wide as
/// `least` blocks.
pub fn restore_relief(blocks: &Blocks, fitted: &mut [Lab], scatter: f32, sigma: f64, least: f64) {
    let (w, h) = (blocks.width, blocks.height);
    let clear = CLEAR_RELIEF.max(RELIEF_OVER_SCATTER * scatter);
    let rest = smoothed_residuals(blocks, fitted, sigma);
    for sign in [1.0f32, -1.0] {
        let there = Grid {
            width: w,
            height: h,
            data: rest.iter().map(|r| sign * r.l >= FAINT_RELIEF).collect(),
        };
        if !there.data.contains(&true) {
            continue;
        }
        let (pieces, count) = there.pieces(Connectivity::Four);
        let depth = squared_distance_to_rim(&pieces);
        let mut found = vec![(0.0f64, 0.0f32); count + 1];
        for (i, &p) in pieces.data.iter().enumerate() {
            let f = &mut found[p as usize];
            *f = (f.0.max(depth[i]), f.1.max(sign * rest[i].l));
        }
        for (i, &p) in pieces.data.iter().enumerate() {
            let (depth, most) = found[p as usize];
            if p > 0 && most >= clear && 2.0 * depth.sqrt() + 1.0 >= least {
                let share = ((sign * rest[i].l - FAINT_RELIEF) / FAINT_RELIEF).clamp(0.0, 1.0);
                fitted[i] += rest[i] * share;
            }
        }
    }
}

/// What the photo differs from the fit, smoothed over the evidence; 0 where there is none.
fn smoothed_residuals(blocks: &Blocks, fitted: &[Lab], sigma: f64) -> Vec<Lab> {
    let (w, h) = (blocks.width, blocks.height);
    let kernels = kernels(sigma);
    let reach = kernels.reach;
    let by = |k: usize| kernels.powers[k][0];
    let zero = (Lab::new(0.0, 0.0, 0.0), 0.0f32);
    let along_row = |b: usize| {
        let (x, row) = (b % w, b / w * w);
        let mut sum = zero;
        for u in x.saturating_sub(reach)..=(x + reach).min(w - 1) {
            let j = row + u;
            let weight = blocks.weight[j] * by(u + reach - x);
            if weight > 0.0 && blocks.needed[j] {
                sum.0 += (blocks.color[j] - fitted[j]) * weight;
                sum.1 += weight;
            }
        }
        sum
    };
    let rows: Vec<(Lab, f32)> = (0..fitted.len()).into_par_iter().map(along_row).collect();
    (0..fitted.len())
        .into_par_iter()
        .map(|b| {
            if !blocks.needed[b] {
                return zero.0;
            }
            let (x, y) = (b % w, b / w);
            let (mut sum, mut all) = zero;
            for v in y.saturating_sub(reach)..=(y + reach).min(h - 1) {
                let (part, weight) = rows[v * w + x];
                let by = by(v + reach - y);
                sum += part * by;
                all += weight * by;
            }
            if all > LEAST_SUM { sum / all } else { zero.0 }
        })
        .collect()
}
