//! A quadric around every block: its weights, its normal equations, their solution, and what is done where there is
//! little evidence near.

use nalgebra::{Cholesky, SMatrix, SVector};
use rayon::prelude::*;
use simba::simd::{SimdValue, WideF32x8 as f32x8};
use wide::f32x4;

use crate::color::Lab;
use crate::grid::Grid;

use super::blocks::Blocks;

/// Reach of the weights, in standard deviations.
const REACH: f64 = 2.2;
/// Ridge on the slope and curvature, as a share of the weight: where evidence lies to one side only, the fit carries
/// on level rather than steep. From memory.
const RIDGE: f32 = 0.02;
/// Evidence below this many places' weight asks for a wider fit; from memory. And what is taken for evidence at all once
/// the blocks have doubled so often.
const LEAST_PLACES: f32 = 9.0;
const LEAST_SHOWN: f32 = 1e-3;
const WIDENINGS: usize = 6;

/// Highest power of a coordinate in the normal equations of a quadric.
const POWERS: usize = 5;
/// Highest power of a coordinate in a quadric, and one more.
const OWN_POWERS: usize = 3;
/// The terms of a quadric in u and v: the powers of each. The last is its value at the middle.
const TERMS: [[usize; 2]; 6] = [[1, 0], [0, 1], [2, 0], [1, 1], [0, 2], [0, 0]];
const MIDDLE: usize = 5;

/// Weights of the places from `-reach` to `reach` steps away, times the powers of their distance in standard deviations.
pub struct Kernels {
    pub reach: usize,
    pub powers: Vec<[f32; POWERS]>,
}

pub fn kernels(sigma: f64) -> Kernels {
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
/// and so on, and read between them: it is only there to carry on from afar. Where all of the part is too little evidence,
/// its mean stands.
pub fn fit_once(blocks: Blocks, kernels: &Kernels) -> Vec<Lab> {
    let (own, needed) = (blocks.color.clone(), blocks.needed.clone());
    let mean = blocks.mean();
    let width = blocks.width;
    let mut levels: Vec<Grid<Option<Lab>>> = Vec::new();
    let mut blocks = blocks;
    let mut wanted = needed.clone();
    loop {
        let least = match levels.len() {
            0..WIDENINGS => LEAST_PLACES,
            _ => LEAST_SHOWN,
        };
        let fits = fit_where_seen(&blocks, &wanted, kernels, least);
        let missing: Vec<usize> = (0..fits.data.len())
            .filter(|&b| wanted[b] && fits.data[b].is_none())
            .collect();
        levels.push(fits);
        if missing.is_empty() || blocks.color.len() == 1 {
            break;
        }
        let half = blocks.halved();
        wanted = around(&missing, blocks.width, &half);
        blocks = half;
    }
    let seen = |b: usize| levels[0].data[b];
    let from_afar = |b: usize| {
        (1..levels.len()).find_map(|level| {
            let at = |v: usize| (v as f64 + 0.5) / f64::from(1 << level);
            as_far_as_there(levels[level].around(at(b % width), at(b / width)))
        })
    };
    let fitted = |b: usize| seen(b).or_else(|| from_afar(b));
    (0..own.len())
        .map(|b| match needed[b] {
            true => fitted(b).unwrap_or(mean),
            false => own[b],
        })
        .collect()
}

/// What lies between fits of which not all are there.
fn as_far_as_there(around: [(Option<Lab>, f64); 4]) -> Option<Lab> {
    let (mut sum, mut all) = (Lab::new(0.0, 0.0, 0.0), 0.0);
    for (fit, share) in around {
        if let Some(color) = fit {
            sum += color * share as f32;
            all += share as f32;
        }
    }
    (all > 0.0).then(|| sum / all)
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
) -> Grid<Option<Lab>> {
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
    let mut fits = Grid::filled(blocks.width, blocks.height, None);
    let found: Vec<Vec<(usize, Option<Lab>)>> = wanted.par_chunks(8).map(fit_eight).collect();
    for (b, color) in found.into_iter().flatten() {
        fits.data[b] = color;
    }
    fits
}
