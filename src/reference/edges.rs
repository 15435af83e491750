//! How well drawn lines lie on the edges of a photo.
//!
//! An edge is where colors change: the structure tensor of the channels of L*a*b* together (Di Zenzo 1986, "A note on
//! the gradient of a multi-image"). It is held against what the photo changes by around, so that a stroke of fur or a
//! blade of grass is none. A drawn line lies on an edge if colors change across it; along which it runs counts, so that
//! the edge of a shadow is no match for a line that crosses it.

use std::borrow::Cow;
use std::f64::consts::FRAC_PI_4;

use imageproc::filter::gaussian_blur_f32;
use kurbo::{Affine, Point, Vec2};
use rayon::prelude::*;

use crate::color::{Lab, Srgb8, on_white};
use crate::grid::{Grid, within};

use super::Photo;
use super::shape::Silhouette;

/// Smoothing of the photo before its edges are looked for, in pixels of its small copy; from memory.
const CALM_PX: f32 = 0.9;
/// What is around a place, and how far from an edge a line is still drawn to it, from coarse to fine; in such pixels,
/// from memory.
const AROUND_PX: f32 = 8.0;
pub const DRAWN_TO_PX: [f32; 3] = [4.0, 2.0, 1.0];
/// Pixels along the longer side of the drawing where its lines are looked at, at least; their smoothing in such pixels,
/// before and after the direction is told; how far outside what they enclose lines lie; and how much of a line must run
/// in one direction. From memory.
const DRAWING_PX: f64 = 200.0;
const LINE_PX: [f32; 2] = [1.0, 1.2];
const RIM_PX: f64 = 3.0;
const ONE_DIRECTION: f32 = 0.5;
/// Places on lines that are looked at, finely and coarsely; from memory.
const MARKS: [usize; 2] = [600, 150];

/// The edges of a photo.
pub struct Edges {
    /// The tensor's three numbers (xx, xy, yy), blurred from coarse to fine.
    levels: [Grid<[f32; 3]>; 3],
    /// Pixels of the upright photo per pixel of the levels, across and down.
    pub scale: [f64; 2],
}

impl Edges {
    pub fn of(photo: &Photo) -> Self {
        let small = &photo.small;
        let lab: Grid<Lab> = small.map(|color| Srgb8(on_white(color)).lab());
        let channels: [fn(Lab) -> f32; 3] = [|c| c.l, |c| c.a, |c| c.b];
        let channels: Vec<Grid<f32>> = channels
            .par_iter()
            .map(|channel| blurred(lab.map(channel), CALM_PX))
            .collect();
        let mut tensor = small.map(|_| [0.0f32; 3]);
        for channel in &channels {
            add_tensor(&mut tensor, channel);
        }
        let change = tensor.map(|[xx, _, yy]| xx + yy);
        let mean = change.data.iter().sum::<f32>() / change.data.len().max(1) as f32;
        let around = blurred(change, AROUND_PX);
        for (tensor, around) in tensor.data.iter_mut().zip(&around.data) {
            *tensor = tensor.map(|v| v / (around + mean).max(f32::MIN_POSITIVE));
        }
        let (width, height) = photo.upright_size();
        let levels = DRAWN_TO_PX.map(|sigma| blurred_tensor(&tensor, sigma));
        Self {
            levels,
            scale: [
                width as f64 / small.width as f64,
                height as f64 / small.height as f64,
            ],
        }
    }

    /// How well the lines lie on edges, 0 to 1, on a level of [`DRAWN_TO_PX`]. `map_at` takes what is around
    /// a place from frame pixels to photo pixels.
    pub fn score(&self, level: usize, strokes: &Strokes, map_at: impl Fn(Point) -> Affine) -> f64 {
        let field = &self.levels[level];
        let (width, height) = (field.width as f64, field.height as f64);
        let [across, down] = self.scale;
        let on_edge = |mark: &Mark| {
            let map = map_at(mark.at).then_scale_non_uniform(1.0 / across, 1.0 / down);
            let at = map * mark.at;
            if !(at.x >= 0.0 && at.y >= 0.0 && at.x <= width && at.y <= height) {
                return 0.0;
            }
            // What lies across a line goes the way of a plane's normal.
            let ([a, b, c, d, ..], n) = (map.as_coeffs(), mark.across);
            let n = Vec2::new(d * n.x - b * n.y, a * n.y - c * n.x);
            let length = n.hypot2().max(f64::MIN_POSITIVE);
            let factor = [n.x * n.x, 2.0 * n.x * n.y, n.y * n.y].map(|v| v / length);
            let value = |t: [f32; 3]| (0..3).map(|k| factor[k] * f64::from(t[k])).sum::<f64>();
            let around = field.around(at.x, at.y);
            let energy: f64 = around.iter().map(|&(t, share)| share * value(t)).sum();
            // What is on an edge is hardly more so on a stronger one: else few strong edges made up for many lines on
            // none.
            let change = energy.max(0.0).sqrt();
            change / (change + 1.0)
        };
        strokes.marks.iter().map(on_edge).sum::<f64>() / strokes.marks.len() as f64
    }
}

/// Drawn lines: places on them, and what lies across.
pub struct Strokes {
    marks: Vec<Mark>,
    /// Middle and longer side of what they span, in frame pixels.
    pub middle: Point,
    pub size: f64,
    /// How often the longer side goes into the length of the lines; measured along both sides of them by counting pixel
    /// edges, which are longer than the line by 4 / pi on average.
    pub length: f64,
}

#[derive(Clone, Copy)]
struct Mark {
    /// In frame pixels.
    at: Point,
    across: Vec2,
}

impl Strokes {
    /// Those among `drawn` lines that enclose a silhouette or lie in it; `None` where there are none.
    pub fn of(drawn: &Grid<bool>, silhouette: &Silhouette) -> Option<Self> {
        let [left, top, width, height] = silhouette.bounds()?;
        let size = width.max(height);
        let mut coarse: Cow<Grid<bool>> = Cow::Borrowed(drawn);
        let mut frame_px = 1.0;
        while size / frame_px >= 2.0 * DRAWING_PX {
            coarse = Cow::Owned(coarse.halved(|block| block.contains(&true)));
            frame_px *= 2.0;
        }
        let mask = &silhouette.mask;
        let middle = |i: usize| {
            let (x, y) = (i % coarse.width, i / coarse.width);
            Point::new((x as f64 + 0.5) * frame_px, (y as f64 + 0.5) * frame_px)
        };
        let inside = |i: usize| {
            let at = middle(i);
            let [x, y] = [at.x, at.y].map(|v| (v / silhouette.scale) as usize);
            mask.at(x.min(mask.width - 1), y.min(mask.height - 1))
        };
        let inside = Grid {
            width: coarse.width,
            height: coarse.height,
            data: (0..coarse.data.len()).map(inside).collect(),
        };
        let near = within(&inside, RIM_PX.powi(2));
        let is_ours = |i: usize| coarse.data[i] && near[i];
        let mut tensor = coarse.map(|_| [0.0f32; 3]);
        let ink = coarse.map(|line| if line { 1.0 } else { 0.0 });
        add_tensor(&mut tensor, &blurred(ink, LINE_PX[0]));
        let tensor = blurred_tensor(&tensor, LINE_PX[1]);
        let mark = |i: usize| {
            let [xx, xy, yy] = tensor.data[i];
            let directed = (xx - yy).hypot(2.0 * xy);
            if !is_ours(i) || directed <= ONE_DIRECTION * (xx + yy) {
                return None;
            }
            Some(Mark {
                at: middle(i),
                across: Vec2::from_angle(f64::from((2.0 * xy).atan2(xx - yy)) / 2.0),
            })
        };
        let edges = (0..coarse.data.len()).filter(|&i| is_ours(i));
        let edges = edges.map(|i| coarse.neighbors(i).filter(|&j| !coarse.data[j]).count());
        let length_px = edges.sum::<usize>() as f64 * FRAC_PI_4 / 2.0;
        let marks: Vec<Mark> = (0..tensor.data.len()).filter_map(mark).collect();
        (!marks.is_empty()).then(|| Self {
            marks: evenly(&marks, MARKS[0]),
            middle: Point::new(left + width / 2.0, top + height / 2.0),
            size,
            length: length_px * frame_px / size,
        })
    }

    /// Fewer of them, to look coarsely.
    pub fn few(&self) -> Self {
        Self {
            marks: evenly(&self.marks, MARKS[1]),
            ..*self
        }
    }
}

/// At most so many of them, spread evenly.
fn evenly(marks: &[Mark], most: usize) -> Vec<Mark> {
    let count = marks.len().min(most);
    (0..count).map(|k| marks[k * marks.len() / count]).collect()
}

fn blurred(grid: Grid<f32>, sigma: f32) -> Grid<f32> {
    gaussian_blur_f32(&grid.into_image(), sigma).into()
}

fn blurred_tensor(tensor: &Grid<[f32; 3]>, sigma: f32) -> Grid<[f32; 3]> {
    let channels: Vec<Grid<f32>> = (0..3)
        .into_par_iter()
        .map(|k| blurred(tensor.map(|t| t[k]), sigma))
        .collect();
    Grid {
        width: tensor.width,
        height: tensor.height,
        data: (0..tensor.data.len())
            .map(|i| [0, 1, 2].map(|k| channels[k].data[i]))
            .collect(),
    }
}

/// Adds the products of a channel's central differences.
fn add_tensor(tensor: &mut Grid<[f32; 3]>, channel: &Grid<f32>) {
    let (w, h) = (channel.width, channel.height);
    for (i, t) in tensor.data.iter_mut().enumerate() {
        let (x, y) = (i % w, i / w);
        let dx = (channel.at((x + 1).min(w - 1), y) - channel.at(x.saturating_sub(1), y)) / 2.0;
        let dy = (channel.at(x, (y + 1).min(h - 1)) - channel.at(x, y.saturating_sub(1))) / 2.0;
        *t = [t[0] + dx * dx, t[1] + dx * dy, t[2] + dy * dy];
    }
}
