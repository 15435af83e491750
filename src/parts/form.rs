//! Form: the light and shade that the shape of a part gives it, texture and gloss aside.
//!
//! Around every place a quadric is fitted to the colors that are evidence for the part (locally weighted regression,
//! Cleveland 1979; moving least squares, Lancaster and Salkauskas 1981): a second-order fit follows a rounded form to
//! the rim without flattening it, where a blur of the same width would. What lies far off the fit counts less in the
//! next one (bisquare weights, Cleveland 1979), so that seeds, glints and fuzz drop out and the edge of a cast shadow
//! stays one edge. Where there is no evidence the fit carries on from what is near.
//!
//! The scale is a share of the part's width, and the fit is made on a grid as coarse as that scale allows: a large
//! part costs no more than a small one.

use imageproc::region_labelling::Connectivity;
use nalgebra::{Cholesky, SMatrix, SVector};
use rayon::prelude::*;
use simba::simd::{SimdValue, WideF32x8 as f32x8};
use wide::f32x4;

use crate::color::Lab;
use crate::grid::{Grid, squared_distance_to_rim};

/// Steps of the coarse grid in one standard deviation of the weights.
const STEPS: f64 = 3.0;
/// Reach of the weights, in standard deviations.
const REACH: f64 = 2.2;
/// Rounds of fitting, the first with all weights equal.
const ROUNDS: usize = 4;
/// The same for a fit that only tells what departs from it.
const WIDE_ROUNDS: usize = 2;
/// A round that moves no place by more than this, in L*, is the last; from memory.
const AT_REST: f32 = 0.2;
/// Bisquare weights reach zero at this many times the median residual (Cleveland 1979), ...
pub const BISQUARE: f32 = 6.0;
/// ... which counts as no less than this, in L*, so that a clean fit is not split by rounding; from memory.
const LEAST_RESIDUAL: f32 = 0.7;
/// Ridge on the slope and curvature, as a share of the weight: where evidence lies to one side only, the fit carries
/// on level rather than steep. From memory.
const RIDGE: f32 = 0.02;
/// Evidence below this many places' weight asks for a wider fit; from memory. And what is taken for evidence at all in
/// the widest.
const LEAST_PLACES: f32 = 9.0;
const LEAST_SHOWN: f32 = 1e-3;
/// What is left over belongs to the form where it reaches the second, in L*, as far as it is more than the first; from
/// memory.
const FAINT_RELIEF: f32 = 4.0;
const CLEAR_RELIEF: f32 = 10.0;
/// ... and where the photo scatters about the form by more than this part of that, clear is what stands out as far
/// from the scatter: a stripe of bark is no shadow. From memory.
const RELIEF_OVER_SCATTER: f32 = 4.0;
/// How often the blocks may double to find evidence.
const WIDENINGS: usize = 6;

/// The form of one part.
pub struct Form {
    /// Color per pixel of the window, smooth.
    pub color: Vec<Lab>,
    /// What the photo scatters about the form, at the scale of the coarse grid, in L*: the median of what differs from
    /// one block to the next. What departs from the fit smoothly is form that it is too wide for.
    pub scatter: f32,
}

/// A part cut out of the frame, `width * height` pixels.
pub struct Patch<'a> {
    pub width: usize,
    pub height: usize,
    /// Colors of the photo.
    pub lab: &'a [Lab],
    /// Which pixels show the part.
    pub evidence: &'a [bool],
    /// Which pixels are the part.
    pub mask: &'a [bool],
}

/// Colors averaged over the evidence in blocks.
#[derive(Clone)]
struct Blocks {
    width: usize,
    height: usize,
    color: Vec<Lab>,
    /// Share of the block that is evidence, 0 to 1.
    weight: Vec<f32>,
    /// Any pixel of the part lies in the block, or in one beside it.
    needed: Vec<bool>,
}

/// Fits the form of a part. `body` is its color without pigment (see `texture.rs`), `sigma_px` the scale. What is
/// left over of the photo and as wide as `least_px`, smoothed by `relief_px`, stays. Some pixel must be evidence.
pub fn fit_form(patch: &Patch, body: &[Lab], sigma_px: f64, relief_px: f64, least_px: f64) -> Form {
    let block = block_of(sigma_px);
    let mut blocks = blocks(patch, body, block);
    let mut fitted = fit(&blocks, sigma_px / block as f64, ROUNDS);
    let scatter = scatter(&blocks, &fitted, relief_px / block as f64);
    blocks.color = self::blocks(patch, patch.lab, block).color;
    restore_relief(
        &blocks,
        &mut fitted,
        scatter,
        relief_px / block as f64,
        least_px / block as f64,
    );
    Form {
        color: spread_out(&blocks, &fitted, block, patch),
        scatter,
    }
}

/// What the photo scatters about a form of that scale, in L*; see [`Form::scatter`].
pub fn scatter_about_form(patch: &Patch, body: &[Lab], sigma_px: f64, relief_px: f64) -> f32 {
    let block = block_of(sigma_px);
    let blocks = blocks(patch, body, block);
    let fitted = fit(&blocks, sigma_px / block as f64, WIDE_ROUNDS);
    scatter(&blocks, &fitted, relief_px / block as f64)
}

/// Side of the blocks for a scale, in pixels.
fn block_of(sigma_px: f64) -> usize {
    ((sigma_px / STEPS).round() as usize).max(1)
}

/// The fit alone, of the photo as it is.
pub fn wide_fit(patch: &Patch, sigma_px: f64) -> Vec<Lab> {
    let block = block_of(sigma_px);
    let blocks = blocks(patch, patch.lab, block);
    let fitted = fit(&blocks, sigma_px / block as f64, WIDE_ROUNDS);
    spread_out(&blocks, &fitted, block, patch)
}

fn blocks(patch: &Patch, lab: &[Lab], block: usize) -> Blocks {
    let &Patch {
        width,
        height,
        evidence,
        mask,
        ..
    } = patch;
    let (w, h) = (width.div_ceil(block), height.div_ceil(block));
    let zero = Lab::new(0.0, 0.0, 0.0);
    let mut color = vec![zero; w * h];
    let mut weight = vec![0.0f32; w * h];
    let mut inside = vec![false; w * h];
    for i in 0..width * height {
        let b = i / width / block * w + i % width / block;
        inside[b] |= mask[i];
        if evidence[i] {
            color[b] += lab[i];
            weight[b] += 1.0;
        }
    }
    for (color, &n) in color.iter_mut().zip(&weight) {
        *color /= n.max(1.0);
    }
    let full = (block * block) as f32;
    for weight in &mut weight {
        *weight /= full;
    }
    let beside = |b: usize| {
        let (x, y) = (b % w, b / w);
        (y.saturating_sub(1)..=(y + 1).min(h - 1))
            .any(|v| (x.saturating_sub(1)..=(x + 1).min(w - 1)).any(|u| inside[v * w + u]))
    };
    let needed = (0..w * h).map(beside).collect();
    Blocks {
        width: w,
        height: h,
        color,
        weight,
        needed,
    }
}

/// The fitted color of every needed block.
fn fit(blocks: &Blocks, sigma: f64, rounds: usize) -> Vec<Lab> {
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
        if round > 0 && !shown(blocks).any(moved) {
            break;
        }
        let off = |b: usize| size(blocks.color[b] - fitted[b]);
        let Some(residual) = median(shown(blocks).map(off)) else {
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

/// Blocks that show the part.
fn shown(blocks: &Blocks) -> impl Iterator<Item = usize> {
    (0..blocks.color.len()).filter(|&b| blocks.needed[b] && blocks.weight[b] >= 0.5)
}

/// How far two colors of one part lie apart, in L*.
fn size(d: Lab) -> f32 {
    // Lightness makes the bands; hue is one all over the part.
    d.l.hypot(0.5 * d.a.hypot(d.b))
}

/// The median of what is left over of the blocks when what they share with those around (a Gaussian of `sigma` blocks)
/// is taken out, in L*.
fn scatter(blocks: &Blocks, fitted: &[Lab], sigma: f64) -> f32 {
    let smooth = smoothed_residuals(blocks, fitted, sigma);
    let off = |b: usize| size(blocks.color[b] - fitted[b] - smooth[b]);
    median(shown(blocks).map(off)).unwrap_or(0.0)
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

/// Puts back what the quadric leaves over where that is large: a highlight, the edge of a cast shadow, a crease. The
/// residuals are smoothed by a Gaussian of `sigma` blocks; a piece of one sign counts where it is clear and as wide as
/// `least` blocks.
fn restore_relief(blocks: &Blocks, fitted: &mut [Lab], scatter: f32, sigma: f64, least: f64) {
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
            if all > 0.3 { sum / all } else { zero.0 }
        })
        .collect()
}

/// Highest power of a coordinate in the normal equations of a quadric.
const POWERS: usize = 5;
/// Highest power of a coordinate in a quadric, and one more.
const OWN_POWERS: usize = 3;
/// The terms of a quadric in u and v: the powers of each. The last is its value at the middle.
const TERMS: [[usize; 2]; 6] = [[1, 0], [0, 1], [2, 0], [1, 1], [0, 2], [0, 0]];
const MIDDLE: usize = 5;

/// Weights of the places from `-reach` to `reach` steps away, times the powers of their distance in standard deviations.
struct Kernels {
    reach: usize,
    powers: Vec<[f32; POWERS]>,
}

fn kernels(sigma: f64) -> Kernels {
    let reach = ((REACH * sigma).ceil() as usize).max(1);
    let weights = |k: usize| {
        let distance = (k as f64 - reach as f64) / sigma;
        let weight = (-0.5 * distance.powi(2)).exp();
        [0, 1, 2, 3, 4].map(|power| (weight * distance.powi(power)) as f32)
    };
    Kernels {
        reach,
        powers: (0..=2 * reach).map(weights).collect(),
    }
}

/// Sums along a row around a block.
#[derive(Clone, Copy, Default)]
struct RowSums {
    /// Of L*, a*, b* and 1, each weighted, by the powers of u that a quadric has.
    low: [f32x4; OWN_POWERS],
    /// Of the weights, by the two powers beyond.
    high: [f32; POWERS - OWN_POWERS],
}

/// A Gaussian is a product of one along the rows and one along the columns, and so is every term of the fit: what a
/// place asks of all places around it comes in two short sums.
fn row_sums(blocks: &Blocks, kernels: &Kernels) -> Vec<RowSums> {
    let w = blocks.width;
    let along_row = |b: usize| {
        let (x, row) = (b % w, b / w * w);
        let from = x.saturating_sub(kernels.reach);
        let to = (x + kernels.reach).min(w - 1);
        let mut sums = RowSums::default();
        for u in from..=to {
            let weight = blocks.weight[row + u];
            if weight == 0.0 {
                continue;
            }
            let by = &kernels.powers[u + kernels.reach - x];
            let Lab { l, a, b, .. } = blocks.color[row + u];
            let here = f32x4::new([l, a, b, 1.0]) * weight;
            for p in 0..OWN_POWERS {
                sums.low[p] += here * by[p];
            }
            sums.high[0] += weight * by[3];
            sums.high[1] += weight * by[4];
        }
        sums
    };
    (0..blocks.color.len())
        .into_par_iter()
        .map(along_row)
        .collect()
}

/// What the normal equations of the quadric around one block are made of, by the powers of u and v.
struct Moments {
    /// Of L*, a*, b* and 1, each weighted.
    low: [[[f32; 4]; OWN_POWERS]; OWN_POWERS],
    /// Of the weights, where a power is beyond those of a quadric.
    high: [[f32; POWERS]; POWERS],
}

impl Moments {
    fn at(rows: &[RowSums], kernels: &Kernels, b: usize, blocks: &Blocks) -> Self {
        let (w, h) = (blocks.width, blocks.height);
        let (x, y) = (b % w, b / w);
        let from = y.saturating_sub(kernels.reach);
        let to = (y + kernels.reach).min(h - 1);
        let mut low = [[f32x4::ZERO; OWN_POWERS]; OWN_POWERS];
        let mut high = [[0.0; POWERS]; POWERS];
        for v in from..=to {
            let by = &kernels.powers[v + kernels.reach - y];
            let row = &rows[v * w + x];
            for p in 0..OWN_POWERS {
                for q in 0..OWN_POWERS {
                    low[p][q] += row.low[p] * by[q];
                }
            }
            let [one, u, _] = row.low.map(|sums| sums.as_array()[3]);
            high[3][0] += row.high[0] * by[0];
            high[3][1] += row.high[0] * by[1];
            high[4][0] += row.high[1] * by[0];
            high[0][3] += one * by[3];
            high[0][4] += one * by[4];
            high[1][3] += u * by[3];
        }
        Self {
            low: low.map(|sums| sums.map(f32x4::to_array)),
            high,
        }
    }

    fn weight(&self, p: usize, q: usize) -> f32 {
        if p < OWN_POWERS && q < OWN_POWERS {
            self.low[p][q][3]
        } else {
            self.high[p][q]
        }
    }
}

/// The quadrics around up to eight blocks at their middles: their equations are solved side by side. `None` where the
/// evidence lies so that there is no solution.
fn colors_at_middle(moments: &[Moments]) -> impl Iterator<Item = Option<Lab>> {
    let mut weights = [[f32x8::splat(0.0); POWERS]; POWERS];
    for p in 0..POWERS {
        for q in 0..POWERS - p {
            let lane = |k: usize| moments.get(k).map_or(0.0, |m| m.weight(p, q));
            weights[p][q] = f32x8::from(std::array::from_fn(lane));
        }
    }
    let normal = SMatrix::<f32x8, 6, 6>::from_fn(|r, q| {
        let ([a, b], [c, d]) = (TERMS[r], TERMS[q]);
        weights[a + c][b + d]
    });
    let shares = shares_at_middle(normal);
    moments.iter().enumerate().map(move |(lane, moments)| {
        let share = |term: usize| shares[term].extract(lane);
        let [l, a, b] = std::array::from_fn(|c| {
            let of_term = |(term, [p, q]): (usize, [usize; 2])| share(term) * moments.low[p][q][c];
            TERMS.into_iter().enumerate().map(of_term).sum::<f32>()
        });
        (l + a + b).is_finite().then(|| Lab::new(l, a, b))
    })
}

/// What every right side of the normal equations counts for in the value at the middle, with the ridge: the last row of
/// the inverse, which is its last column. Only the second half of solving by Cholesky's factor is left for that.
fn shares_at_middle(mut normal: SMatrix<f32x8, 6, 6>) -> SVector<f32x8, 6> {
    let places = normal[(MIDDLE, MIDDLE)];
    for r in 0..MIDDLE {
        normal[(r, r)] += places * f32x8::splat(RIDGE);
    }
    // What is not positive definite comes out as no number.
    let factor = Cholesky::new_unchecked(normal).unpack_dirty();
    let mut shares = SVector::zeros();
    shares[MIDDLE] = f32x8::splat(1.0) / factor[(MIDDLE, MIDDLE)];
    factor.ad_solve_lower_triangular_unchecked_mut(&mut shares);
    shares
}

/// Fits every needed block once. Where there is too little evidence near one, the fit is made on blocks twice as large,
/// and so on, and read between them: it is only there to carry on from afar.
fn fit_once(blocks: Blocks, kernels: &Kernels) -> Vec<Lab> {
    let (own, needed) = (blocks.color.clone(), blocks.needed.clone());
    let width = blocks.width;
    let mut levels: Vec<(usize, Vec<Option<Lab>>)> = Vec::new();
    let mut blocks = blocks;
    let mut wanted = needed.clone();
    loop {
        let is_last = levels.len() == WIDENINGS;
        let least = if is_last { LEAST_SHOWN } else { LEAST_PLACES };
        let fits = fit_where_seen(&blocks, &wanted, kernels, least);
        let missing: Vec<usize> = (0..fits.len())
            .filter(|&b| wanted[b] && fits[b].is_none())
            .collect();
        levels.push((blocks.width, fits));
        if missing.is_empty() || is_last {
            break;
        }
        let half = halved(&blocks);
        wanted = around(&missing, blocks.width, &half);
        blocks = half;
    }
    let seen = |b: usize| levels[0].1[b];
    let from_afar = |b: usize| {
        (1..levels.len()).find_map(|level| {
            let (w, fits) = &levels[level];
            between(fits, *w, [b % width, b / width], 1 << level)
        })
    };
    let fitted = |b: usize| seen(b).or_else(|| from_afar(b));
    (0..own.len())
        .map(|b| needed[b].then(|| fitted(b)).flatten().unwrap_or(own[b]))
        .collect()
}

/// Those blocks of twice the side that are read where blocks of this side (`width` in a row) are `missing`.
fn around(missing: &[usize], width: usize, half: &Blocks) -> Vec<bool> {
    let mut wanted = vec![false; half.color.len()];
    for b in missing {
        let (x, y) = (b % width / 2, b / width / 2);
        for v in y.saturating_sub(1)..=(y + 1).min(half.height - 1) {
            for u in x.saturating_sub(1)..=(x + 1).min(half.width - 1) {
                wanted[v * half.width + u] = half.needed[v * half.width + u];
            }
        }
    }
    wanted
}

/// Fits every wanted block around which the evidence weighs at least so many places.
fn fit_where_seen(
    blocks: &Blocks,
    wanted: &[bool],
    kernels: &Kernels,
    least: f32,
) -> Vec<Option<Lab>> {
    let rows = row_sums(blocks, kernels);
    let wanted: Vec<usize> = (0..wanted.len()).filter(|&b| wanted[b]).collect();
    let fit_eight = |eight: &[usize]| {
        let of = |&b: &usize| (b, Moments::at(&rows, kernels, b, blocks));
        let (at, moments): (Vec<usize>, Vec<Moments>) = eight
            .iter()
            .map(of)
            .filter(|(_, moments)| moments.weight(0, 0) >= least)
            .unzip();
        let colors = colors_at_middle(&moments);
        at.into_iter().zip(colors).collect::<Vec<_>>()
    };
    let mut fits = vec![None; blocks.color.len()];
    let found: Vec<Vec<(usize, Option<Lab>)>> = wanted.par_chunks(8).map(fit_eight).collect();
    for (b, color) in found.into_iter().flatten() {
        fits[b] = color;
    }
    fits
}

/// Blocks of twice the side.
fn halved(blocks: &Blocks) -> Blocks {
    let (w, h) = (blocks.width.div_ceil(2), blocks.height.div_ceil(2));
    let mut half = Blocks {
        width: w,
        height: h,
        color: vec![Lab::new(0.0, 0.0, 0.0); w * h],
        weight: vec![0.0; w * h],
        needed: vec![false; w * h],
    };
    for (b, &weight) in blocks.weight.iter().enumerate() {
        let into = b / blocks.width / 2 * w + b % blocks.width / 2;
        half.color[into] += blocks.color[b] * weight;
        half.weight[into] += weight;
        half.needed[into] |= blocks.needed[b];
    }
    for (color, weight) in half.color.iter_mut().zip(&mut half.weight) {
        *color /= weight.max(f32::MIN_POSITIVE);
        *weight /= 4.0;
    }
    half
}

/// The fits of blocks `times` as large, `width` in a row, read bilinearly at a block, as far as they are there.
fn between(fits: &[Option<Lab>], width: usize, at: [usize; 2], times: usize) -> Option<Lab> {
    let height = fits.len() / width;
    let along = |at: usize, end: usize| {
        let t = ((at as f32 + 0.5) / times as f32 - 0.5).clamp(0.0, (end - 1) as f32);
        let i = t as usize;
        (i, (i + 1).min(end - 1), t - i as f32)
    };
    let ((i0, i1, u), (j0, j1, v)) = (along(at[0], width), along(at[1], height));
    let corners = [
        (i0, j0, (1.0 - u) * (1.0 - v)),
        (i1, j0, u * (1.0 - v)),
        (i0, j1, (1.0 - u) * v),
        (i1, j1, u * v),
    ];
    let (mut sum, mut all) = (Lab::new(0.0, 0.0, 0.0), 0.0);
    for (i, j, share) in corners {
        if let Some(color) = fits[j * width + i] {
            sum += color * share;
            all += share;
        }
    }
    (all > 0.0).then(|| sum / all)
}

/// The colors of the blocks brought to the pixels of the part, bilinearly between the middles of the blocks.
fn spread_out(blocks: &Blocks, fitted: &[Lab], block: usize, patch: &Patch) -> Vec<Lab> {
    let (width, height) = (patch.width, patch.height);
    let along = |at: usize, end: usize| {
        let t = ((at as f32 + 0.5) / block as f32 - 0.5).clamp(0.0, (end - 1) as f32);
        let i = (t as usize).min(end.saturating_sub(2));
        (i, (i + 1).min(end - 1), t - i as f32)
    };
    let mut color = vec![Lab::new(0.0, 0.0, 0.0); width * height];
    for y in 0..height {
        let (j0, j1, v) = along(y, blocks.height);
        for x in 0..width {
            let i = y * width + x;
            if !patch.mask[i] {
                continue;
            }
            let (i0, i1, u) = along(x, blocks.width);
            let at = |i: usize, j: usize| fitted[j * blocks.width + i];
            let top = at(i0, j0) * (1.0 - u) + at(i1, j0) * u;
            let bottom = at(i0, j1) * (1.0 - u) + at(i1, j1) * u;
            color[i] = top * (1.0 - v) + bottom * v;
        }
    }
    color
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A ball of radius 100 pixels under a lamp, its lightness by the eye, with seeds where `seeds`.
    fn ball(seeds: bool) -> (Vec<Lab>, Vec<f32>, Vec<bool>) {
        let size = 200;
        let mut lab = Vec::new();
        let mut truth = Vec::new();
        let mut mask = Vec::new();
        for i in 0..size * size {
            let (x, y) = ((i % size) as f32 - 99.5, (i / size) as f32 - 99.5);
            let q = 1.0 - (x * x + y * y) / 1e4;
            let lit = 0.3 + 0.6 * (q.max(0.0).sqrt() * 0.6 - (x + y) / 100.0 * 0.5).max(0.0);
            let l = 116.0 * lit.cbrt() - 16.0;
            let seed = seeds && (x + 1000.0) % 25.0 < 4.0 && (y + 1000.0) % 25.0 < 5.0;
            truth.push(l);
            lab.push(Lab::new(if seed { l + 25.0 } else { l }, 40.0, 30.0));
            mask.push(q > 0.0);
        }
        (lab, truth, mask)
    }

    fn patch<'a>(lab: &'a [Lab], evidence: &'a [bool], mask: &'a [bool]) -> Patch<'a> {
        Patch {
            width: 200,
            height: 200,
            lab,
            evidence,
            mask,
        }
    }

    #[test]
    fn a_ball_keeps_its_form_and_loses_its_seeds() {
        for (seeds, most) in [(false, 0.8), (true, 1.2)] {
            let (lab, truth, mask) = ball(seeds);
            let form = fit_form(&patch(&lab, &mask, &mask), &lab, 14.0, 5.0, 15.0);
            let inside = (0..mask.len()).filter(|&i| mask[i]);
            let (sum, n) = inside.fold((0.0, 0), |(s, n), i| {
                (s + (form.color[i].l - truth[i]).abs(), n + 1)
            });
            assert!(sum / (n as f32) < most, "{seeds}: {}", sum / n as f32);
        }
    }

    #[test]
    fn a_ridge_is_form_and_grain_is_scatter() {
        let mask = vec![true; 200 * 200];
        let made = |l: &dyn Fn(usize, usize) -> f32| -> Vec<Lab> {
            let pixel = |i: usize| Lab::new(l(i % 200, i / 200), 40.0, 30.0);
            (0..mask.len()).map(pixel).collect()
        };
        // Both depart from the wide fit by up to 12 L*: one over 25 px, the other from one patch of 5 px to the next.
        let ridges = made(&|x, _| 50.0 + 12.0 * (x as f32 / 25.0).sin());
        let grain = made(&|x, y| {
            50.0 + if (x / 5 * 7 + y / 5 * 13) % 3 == 0 {
                12.0
            } else {
                -6.0
            }
        });
        let scatter =
            |lab: &[Lab]| fit_form(&patch(lab, &mask, &mask), lab, 14.0, 5.6, 15.0).scatter;
        assert!(scatter(&ridges) < 1.0, "{}", scatter(&ridges));
        assert!(scatter(&grain) > 3.0, "{}", scatter(&grain));
    }

    #[test]
    fn where_the_photo_shows_something_else_the_form_carries_on() {
        let (lab, truth, mask) = ball(false);
        let evidence: Vec<bool> = (0..mask.len()).map(|i| mask[i] && i % 200 < 150).collect();
        let form = fit_form(&patch(&lab, &evidence, &mask), &lab, 14.0, 5.0, 15.0);
        for i in (0..mask.len()).filter(|&i| mask[i]) {
            assert!((form.color[i].l - truth[i]).abs() < 25.0);
            assert!(form.color[i].l.is_finite());
        }
    }
}
