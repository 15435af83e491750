//! The regular label field: every pixel of a cell gets one band, with borders a hand can follow.
//!
//! Threshold dynamics (Merriman, Bence and Osher 1994; for many labels Esedoglu and Otto 2015): repeat "blur each
//! label's indicator, subtract from the data cost, take the smallest". Every cell is a world of its own: blurs are
//! normalized inside it, so that nothing leaks through a drawn line. In an open cell borders meet its rim squarely; a
//! form goes on beyond it (`beyond.rs`).

use std::collections::BTreeSet;

use rayon::prelude::*;

use crate::color::Lab;
use crate::grid::{Blur, Grid, Window, bounds_of};

use super::beyond::carry_on;
use super::metric::Metric;

/// The field has settled when fewer than one in this many pixels changed.
const SETTLED: usize = 700;
/// Squared color distance beyond which a pixel is no worse, so that one glint cannot hold a section open.
const FARTHEST: f32 = 2500.0;

/// One region cut out of the frame.
pub struct Place {
    pub window: Window,
    /// Pixels of the window that belong to the region.
    pub mask: Grid<bool>,
}

impl Place {
    /// The places of all regions of `map`, from 1, each with so many pixels around it; those without a pixel at this scale
    /// have an empty one.
    pub fn of_regions(map: &Grid<u16>, around: &[usize]) -> Vec<Self> {
        let place = |(r, window): (usize, Window)| {
            let window = window.widened(around[r], map);
            Self {
                window,
                mask: map.cut_out(window).map(|v| usize::from(v) == r + 1),
            }
        };
        let windows = bounds_of(map, around.len()).into_iter();
        windows.enumerate().map(place).collect()
    }

    /// The index in the window of every pixel of the region, with that in the frame.
    pub fn pixels<'a, T>(
        &'a self,
        frame: &'a Grid<T>,
    ) -> impl Iterator<Item = (usize, usize)> + 'a {
        let inside = (0..self.mask.data.len()).filter(|&i| self.mask.data[i]);
        inside.map(|i| (i, self.window.index_in(frame, i)))
    }
}

/// How one region is labeled.
#[derive(Debug, Clone, PartialEq)]
pub struct Turn {
    /// Standard deviation of the field's blur, in pixels.
    pub blur_px: f32,
    /// Weight of the blurred indicator against the squared color distance: a border is worth moving for a pixel that is
    /// the square root of this, in units of L*a*b* as its [`Metric`] counts them, closer to one band than to the other.
    pub weight: f32,
    /// Smoothing of the colors before the first labels, as a part of the blur.
    pub presmooth: f32,
    /// Standard deviation of the blur that borders are drawn calmly with in the end, in pixels; 0 leaves them.
    pub hand_px: f32,
    /// The bands it may have.
    pub bands: Vec<u8>,
    /// These are tones of one local color, and its form goes on beyond the region.
    pub tones: bool,
    /// What is drawn in the region parts its tones: the form does not go on from one side to the other.
    pub lines_part: bool,
}

impl Turn {
    /// How far beyond the region its form goes on, in pixels: as far as the field sees.
    pub fn reach(&self) -> usize {
        match self.tones {
            true => Blur::new(self.blur_px).reach(),
            false => 0,
        }
    }
}

/// One region made ready for labeling.
pub struct Cell {
    pub place: Place,
    /// Pixels of the window that the field lives on: the region, and where its form goes on.
    world: Vec<bool>,
    bands: Vec<u8>,
    tones: bool,
    /// The reference, slightly smoothed inside the cell, per window pixel.
    smoothed: Vec<Lab>,
    blur: Blur,
    /// What a blurred indicator count weighs, per window pixel: more where the blur reaches beyond the cell.
    pull: Vec<f32>,
    hand_px: f32,
}

impl Cell {
    pub fn new(place: Place, lab: &Grid<Lab>, turn: Turn) -> Self {
        let n = place.mask.data.len();
        let (w, h) = (place.window.width, place.window.height);
        let count: Vec<u32> = place.mask.data.iter().map(|&m| u32::from(m)).collect();
        let mut channels = [
            count.iter().map(|&c| c as f32).collect(),
            vec![0.0; n],
            vec![0.0; n],
            vec![0.0; n],
        ];
        for (i, f) in place.pixels(lab) {
            (channels[1][i], channels[2][i], channels[3][i]) =
                (lab.data[f].l, lab.data[f].a, lab.data[f].b);
        }
        let presmooth = Blur::new(turn.presmooth * turn.blur_px);
        channels.par_iter_mut().for_each(|c| presmooth.sum(c, w, h));
        let [weight, l, a, b] = channels;
        let mut smoothed: Vec<Lab> = (0..n)
            .map(|i| {
                let inverse = 1.0 / weight[i].max(1.0);
                Lab::new(l[i] * inverse, a[i] * inverse, b[i] * inverse)
            })
            .collect();
        let world = match turn.reach() {
            0 => place.mask.data.clone(),
            reach => carry_on(&place.mask, &mut smoothed, reach, turn.lines_part),
        };
        let blur = Blur::new(turn.blur_px);
        let mut around: Vec<u32> = world.iter().map(|&m| u32::from(m)).collect();
        blur.sum(&mut around, w, h);
        let pull = around
            .iter()
            .map(|&c| turn.weight / c.max(1) as f32)
            .collect();
        Self {
            place,
            world,
            bands: turn.bands,
            tones: turn.tones,
            smoothed,
            blur,
            pull,
            hand_px: turn.hand_px,
        }
    }

    /// Labels the pixels of the region with one of its bands each; returns the index of the band per window pixel.
    /// After `rounds` rounds the field stops even if still moving.
    pub fn label(&self, colors: &[Lab], rounds: usize) -> Vec<u8> {
        let mut label = self.nearest(colors, |i| self.world[i]);
        self.come_to_rest(&mut label, colors, rounds);
        label
    }

    /// The index of the band that is nearest to the color of every window pixel beyond the region where its form goes on;
    /// 0 for the others.
    pub fn labels_beyond(&self, colors: &[Lab]) -> Vec<u8> {
        self.nearest(colors, |i| self.world[i] && !self.place.mask.data[i])
    }

    /// The index of the band that is nearest to the color of every window pixel that is `wanted`; 0 for the others.
    fn nearest(&self, colors: &[Lab], wanted: impl Fn(usize) -> bool + Sync) -> Vec<u8> {
        let metric = self.metric(colors);
        let nearest = |i: usize| {
            let mut best = (f32::INFINITY, 0);
            for &k in &self.bands {
                let cost = cost(self.smoothed[i], colors[usize::from(k)], metric);
                if cost < best.0 {
                    best = (cost, k);
                }
            }
            best.1
        };
        let all = (0..self.smoothed.len()).into_par_iter();
        all.map(|i| if wanted(i) { nearest(i) } else { 0 })
            .collect()
    }

    /// Draws the borders once more with a calm hand: a round of threshold dynamics without the colors, which moves
    /// borders by their curvature alone and takes out what is shorter than the blur.
    pub fn calm(&self, label: &mut [u8]) {
        let w = self.place.window.width;
        let inside = label.iter().zip(&self.world).filter(|(_, inside)| **inside);
        let kept: BTreeSet<u8> = inside.map(|(&l, _)| l).collect();
        if kept.len() < 2 || self.hand_px == 0.0 {
            return;
        }
        let hand = Blur::new(self.hand_px);
        let kept: Vec<u8> = kept.into_iter().collect();
        let score: Vec<Vec<f32>> = kept
            .par_iter()
            .map(|&k| {
                let mut count = Vec::new();
                self.count_around(label, k, hand, &mut count);
                count.into_iter().map(|c| -(c as f32)).collect()
            })
            .collect();
        take_smallest(&score, &kept, &self.world, w, label);
    }

    /// How its bands, of these colors, are told from each other.
    pub fn metric(&self, colors: &[Lab]) -> Metric {
        match self.tones {
            true => Metric::of_tones(self.bands.iter().map(|&k| colors[usize::from(k)])),
            false => Metric::WHOLE,
        }
    }

    /// How many pixels around each have the label `k`, in the weights of `blur`.
    fn count_around(&self, label: &[u8], k: u8, blur: Blur, count: &mut Vec<u32>) {
        count.clear();
        let labels = label.iter().zip(&self.world);
        count.extend(labels.map(|(&l, &m)| u32::from(m && l == k)));
        blur.sum(count, self.place.window.width, self.place.window.height);
    }

    /// Moves the borders between labels until they rest, at most so many rounds. Colors that have no pixel stay out:
    /// where each pixel begins with its nearest, a color that is nearest nowhere could never come in, as a border only
    /// makes the others cheaper.
    pub fn come_to_rest(&self, label: &mut [u8], colors: &[Lab], rounds: usize) {
        let w = self.place.window.width;
        let mut present = vec![false; colors.len()];
        for (&l, &inside) in label.iter().zip(&self.world) {
            present[usize::from(l)] |= inside;
        }
        let kept: Vec<u8> = (0..colors.len() as u8)
            .filter(|&k| present[usize::from(k)])
            .collect();
        if kept.len() < 2 {
            return;
        }
        let metric = self.metric(colors);
        let costs: Vec<Vec<f32>> = kept
            .par_iter()
            .map(|&k| {
                let cost = |&p| cost(p, colors[usize::from(k)], metric);
                self.smoothed.iter().map(cost).collect()
            })
            .collect();
        let mut score = costs.clone();
        for _ in 0..rounds {
            score.par_iter_mut().zip(&costs).zip(&kept).for_each_init(
                Vec::new,
                |count, ((score, cost), &k)| {
                    self.count_around(label, k, self.blur, count);
                    for (((score, cost), pull), &count) in
                        score.iter_mut().zip(cost).zip(&self.pull).zip(&*count)
                    {
                        *score = cost - pull * count as f32;
                    }
                },
            );
            let changed = take_smallest(&score, &kept, &self.world, w, label);
            if changed * SETTLED < label.len() {
                break;
            }
        }
    }
}

/// Squared distance of two colors, as far as it matters.
fn cost(p: Lab, color: Lab, metric: Metric) -> f32 {
    metric.squared(p, color).min(FARTHEST)
}

/// Sets every label inside the mask to the one of `kept` with the smallest score (the first of equals); returns how
/// many changed.
fn take_smallest(
    score: &[Vec<f32>],
    kept: &[u8],
    mask: &[bool],
    width: usize,
    label: &mut [u8],
) -> usize {
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
                changed += usize::from(*label != kept[best]);
                *label = kept[best];
            }
            changed
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: usize = 161;
    const HAND_PX: f32 = 8.0;

    /// A square cell of one color, ready to be drawn calmly.
    fn cell() -> Cell {
        let gray = Grid::filled(SIDE, SIDE, Lab::new(50.0, 0.0, 0.0));
        let map = Grid::filled(SIDE, SIDE, 1u16);
        let place = Place::of_regions(&map, &[0]).remove(0);
        let turn = Turn {
            blur_px: 4.0,
            weight: 100.0,
            presmooth: 0.0,
            hand_px: HAND_PX,
            bands: vec![0, 1],
            tones: false,
            lines_part: false,
        };
        Cell::new(place, &gray, turn)
    }

    /// 1 within a radius from the middle that goes with the angle, 0 beyond; calmed.
    fn calmed(radius: impl Fn(f64) -> f64) -> Vec<u8> {
        let middle = (SIDE / 2) as f64;
        let inside = |i: usize| {
            let (x, y) = ((i % SIDE) as f64 - middle, (i / SIDE) as f64 - middle);
            x.hypot(y) < radius(y.atan2(x))
        };
        let mut label: Vec<u8> = (0..SIDE * SIDE).map(|i| u8::from(inside(i))).collect();
        cell().calm(&mut label);
        label
    }

    /// How far the label 1 reaches from the middle in every direction.
    fn radii(label: &[u8]) -> Vec<f64> {
        let middle = (SIDE / 2) as f64;
        (0..360)
            .map(|deg| {
                let (sin, cos) = f64::from(deg).to_radians().sin_cos();
                let reached = (0..10 * SIDE / 2)
                    .map(|k| f64::from(k as u32) / 10.0)
                    .find(|r| {
                        let (x, y) = ((middle + r * cos).round(), (middle + r * sin).round());
                        label[y as usize * SIDE + x as usize] == 0
                    });
                reached.expect("a border")
            })
            .collect()
    }

    fn mean(values: &[f64]) -> f64 {
        values.iter().sum::<f64>() / values.len() as f64
    }

    /// A circle under motion by mean curvature for the time t has the radius sqrt(R² - 2 t); a blur of standard deviation
    /// s is the heat equation for t = s² / 2 (Merriman, Bence and Osher 1994).
    #[test]
    fn a_circle_shrinks_as_under_mean_curvature() {
        for radius in [30.0f64, 45.0, 60.0] {
            let found = mean(&radii(&calmed(|_| radius)));
            let known = (radius * radius - f64::from(HAND_PX * HAND_PX)).sqrt();
            assert!((found - known).abs() < 0.6, "{found} {known}");
        }
    }

    #[test]
    fn lumps_shorter_than_the_hand_go_and_the_circle_stays() {
        let lumpy = |angle: f64| 45.0 + 3.0 * (12.0 * angle).sin();
        let radii = radii(&calmed(lumpy));
        let middle = mean(&radii);
        assert!((middle - 45.0).abs() < 1.5, "{middle}");
        let off = radii.iter().map(|r| (r - middle).abs()).fold(0.0, f64::max);
        assert!(off < 1.2, "{off}");
    }

    /// Lightness that falls slantwise across a part: its isophotes are straight, and so is the border up to the rim. In an
    /// open cell it turns there, to meet it squarely.
    #[test]
    fn a_border_runs_into_a_drawn_line_as_it_comes() {
        let margin = 30;
        let inner = margin..SIDE - margin;
        let is_part = |i: usize| inner.contains(&(i % SIDE)) && inner.contains(&(i / SIDE));
        let slant = |i: usize| 0.5 * (i % SIDE) as f32 + (i / SIDE) as f32;
        let picture = Grid {
            width: SIDE,
            height: SIDE,
            data: (0..SIDE * SIDE)
                .map(|i| Lab::new(slant(i) / 2.0, 0.0, 0.0))
                .collect(),
        };
        let middle = slant(SIDE * SIDE / 2) / 2.0;
        let colors = [middle + 10.0, middle - 10.0].map(|l| Lab::new(l, 0.0, 0.0));
        let farthest_off = |tones: bool| {
            let turn = Turn {
                blur_px: 8.0,
                weight: 400.0,
                presmooth: 0.0,
                hand_px: 8.0,
                bands: vec![0, 1],
                tones,
                lines_part: false,
            };
            let map = Grid {
                width: SIDE,
                height: SIDE,
                data: (0..SIDE * SIDE).map(|i| u16::from(is_part(i))).collect(),
            };
            let place = Place::of_regions(&map, &[turn.reach()]).remove(0);
            let cell = Cell::new(place, &picture, turn);
            let mut label = cell.label(&colors, 12);
            cell.calm(&mut label);
            let wrong = cell.place.pixels(&map).filter(|&(i, f)| {
                let lighter = slant(f) / 2.0 > middle;
                label[i] != u8::from(!lighter)
            });
            let off = wrong.map(|(_, f)| (slant(f) / 2.0 - middle).abs() * 2.0);
            off.fold(0.0, f32::max)
        };
        // In pixels up or down.
        assert!(farthest_off(true) < 1.5, "{}", farthest_off(true));
        assert!(farthest_off(false) > 2.0, "{}", farthest_off(false));
    }

    /// A part whose right half is duller, not lighter: its bands are tones, and the duller one lies below. Among bands of
    /// several families the duller one is nearer.
    #[test]
    fn what_is_duller_in_a_part_is_no_other_tone() {
        let colors = [Lab::new(60.0, 50.0, 40.0), Lab::new(50.0, 20.0, 15.0)];
        let picture = Grid {
            width: SIDE,
            height: SIDE,
            data: (0..SIDE * SIDE)
                .map(|i| match i % SIDE < SIDE / 2 {
                    true => Lab::new(59.0, 50.0, 40.0),
                    false => Lab::new(59.0, 22.0, 15.0),
                })
                .collect(),
        };
        let labels = |tones: bool| {
            let place = Place::of_regions(&picture.map(|_| 1u16), &[0]).remove(0);
            let turn = Turn {
                blur_px: 4.0,
                weight: 100.0,
                presmooth: 0.0,
                hand_px: 0.0,
                bands: vec![0, 1],
                tones,
                lines_part: false,
            };
            let label = Cell::new(place, &picture, turn).label(&colors, 12);
            [label[SIDE + 20], label[SIDE + SIDE - 20]]
        };
        assert_eq!(labels(true), [0, 0]);
        assert_eq!(labels(false), [0, 1]);
    }
}
