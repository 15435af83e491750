//! The regular label field: every pixel of a cell gets one band, with borders a hand can follow.
//!
//! Threshold dynamics (Merriman, Bence and Osher 1994; for many labels Esedoglu and Otto 2015): repeat "blur each
//! label's indicator, subtract from the data cost, take the smallest". Every cell is a world of its own: blurs are
//! normalized inside it, so that nothing leaks through a drawn line and borders meet the lines squarely.

use rayon::prelude::*;

use crate::color::Lab;
use crate::grid::Grid;

use super::blur::box_blur_twice;

/// The field has settled when fewer than one in this many pixels changed.
const SETTLED: usize = 2000;
/// Weight of the blurred indicator against the squared color distance: a border is worth moving for a pixel that is
/// sqrt(400) = 20 units of L*a*b* closer to one band than to the other; from memory.
const BORDER_WEIGHT: f32 = 400.0;
/// Squared color distance beyond which a pixel is no worse, so that one glint cannot hold a section open.
const FARTHEST: f32 = 2500.0;
/// Smoothing of the reference before the first labels, as a part of the field's blur.
const PRESMOOTH: f32 = 0.4;

/// One cell cut out of the frame.
pub struct Window {
    pub x0: usize,
    pub y0: usize,
    pub width: usize,
    pub height: usize,
    /// Pixels of the window that belong to the cell.
    pub mask: Vec<bool>,
}

impl Window {
    /// The windows of all cells of `map`, from 1 to `count`; cells without a pixel at this scale have an empty one.
    pub fn of_cells(map: &Grid<u16>, count: usize) -> Vec<Self> {
        let mut extent = vec![(usize::MAX, usize::MAX, 0usize, 0usize); count + 1];
        for (i, &cell) in map.data.iter().enumerate() {
            let e = &mut extent[usize::from(cell)];
            let (x, y) = (i % map.width, i / map.width);
            *e = (e.0.min(x), e.1.min(y), e.2.max(x + 1), e.3.max(y + 1));
        }
        extent[1..]
            .iter()
            .enumerate()
            .map(|(i, &(x0, y0, x1, y1))| {
                let cell = i as u16 + 1;
                if x0 >= x1 {
                    return Self {
                        x0: 0,
                        y0: 0,
                        width: 0,
                        height: 0,
                        mask: Vec::new(),
                    };
                }
                let mask = (y0..y1)
                    .flat_map(|y| (x0..x1).map(move |x| map.at(x, y) == cell))
                    .collect();
                Self {
                    x0,
                    y0,
                    width: x1 - x0,
                    height: y1 - y0,
                    mask,
                }
            })
            .collect()
    }

    /// Index in the frame of every pixel of the cell, with its index in the window.
    pub fn pixels<'a>(&'a self, frame_width: usize) -> impl Iterator<Item = (usize, usize)> + 'a {
        self.mask
            .iter()
            .enumerate()
            .filter(|&(_, &inside)| inside)
            .map(move |(i, _)| {
                (
                    i,
                    (self.y0 + i / self.width) * frame_width + self.x0 + i % self.width,
                )
            })
    }
}

/// Labels the pixels of one cell with one of `colors` each; returns the index of the color per window pixel.
/// `blur_px` is the standard deviation of the blur; after `rounds` rounds the field stops even if still moving.
pub fn label_cell(
    window: &Window,
    lab: &Grid<Lab>,
    colors: &[Lab],
    blur_px: f32,
    rounds: usize,
) -> Vec<u8> {
    let n = window.mask.len();
    let mut label = vec![0u8; n];
    if colors.len() < 2 || n == 0 {
        return label;
    }
    let (w, h) = (window.width, window.height);
    let mask: Vec<f32> = window
        .mask
        .iter()
        .map(|&m| f32::from(u8::from(m)))
        .collect();

    let mut channels = [mask.clone(), vec![0.0; n], vec![0.0; n], vec![0.0; n]];
    for (i, f) in window.pixels(lab.width) {
        (channels[1][i], channels[2][i], channels[3][i]) =
            (lab.data[f].l, lab.data[f].a, lab.data[f].b);
    }
    channels
        .par_iter_mut()
        .for_each(|c| box_blur_twice(c, w, h, PRESMOOTH * blur_px));
    let [weight, l, a, b] = channels;
    let cost: Vec<Vec<f32>> = colors
        .par_iter()
        .map(|color| {
            (0..n)
                .map(|i| {
                    let inv = 1.0 / weight[i].max(1e-6);
                    let (dl, da, db) = (
                        l[i] * inv - color.l,
                        a[i] * inv - color.a,
                        b[i] * inv - color.b,
                    );
                    (dl * dl + da * da + db * db).min(FARTHEST)
                })
                .collect()
        })
        .collect();
    take_smallest(&cost, &window.mask, w, &mut label);

    let mut around = mask;
    box_blur_twice(&mut around, w, h, blur_px);
    let pull: Vec<f32> = around
        .iter()
        .map(|&m| BORDER_WEIGHT / m.max(1e-6))
        .collect();
    let mut score = cost.clone();
    for _ in 0..rounds {
        score.par_iter_mut().enumerate().for_each(|(k, score)| {
            for i in 0..n {
                score[i] = f32::from(u8::from(window.mask[i] && label[i] == k as u8));
            }
            box_blur_twice(score, w, h, blur_px);
            for i in 0..n {
                score[i] = cost[k][i] - pull[i] * score[i];
            }
        });
        if take_smallest(&score, &window.mask, w, &mut label) * SETTLED < n {
            break;
        }
    }
    label
}

/// Sets every label inside the mask to the index of its smallest score (the first of equals); returns how many changed.
fn take_smallest(score: &[Vec<f32>], mask: &[bool], width: usize, label: &mut [u8]) -> usize {
    label
        .par_chunks_mut(width)
        .enumerate()
        .map(|(y, row)| {
            let mut changed = 0;
            for (x, label) in row.iter_mut().enumerate() {
                let i = y * width + x;
                if !mask[i] {
                    continue;
                }
                let mut best = 0;
                for k in 1..score.len() {
                    if score[k][i] < score[best][i] {
                        best = k;
                    }
                }
                changed += usize::from(*label != best as u8);
                *label = best as u8;
            }
            changed
        })
        .sum()
}
