//! A warp: for every place of a frame, the place of the photo that is shown there.
//!
//! Kept as coordinates at the nodes of a square mesh and interpolated bilinearly between them. A bilinear patch is
//! one-to-one if its Jacobian is positive at its four corners (the determinant is an affine function inside the
//! patch), so that folding can be ruled out everywhere by looking at the nodes alone.

use kurbo::{Affine, Point};
use rayon::prelude::*;

use crate::grid::Grid;

use super::Photo;

/// The photo is first averaged to this many pixels per pixel of the frame, so that bilinear sampling neither skips
/// pixels nor blurs more than they allow; from memory.
const OVERSAMPLING: f64 = 1.2;

/// A mesh of photo coordinates over a frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Warp {
    /// Distance of the nodes, in pixels of the frame, 1 or more; the first node lies on the frame's top left corner.
    pub step: f64,
    /// Pixels of the upright photo (its top left corner is 0, 0), per node. The mesh covers the whole frame.
    pub nodes: Grid<[f64; 2]>,
}

impl Warp {
    /// The warp `f` (frame pixels to photo pixels) over a frame of `width * height`, with a node every `step` pixels,
    /// but not more of them than pixels: a small cell asks for a fine mesh, and the frame may be a whole sheet.
    pub fn new(
        width: usize,
        height: usize,
        step: f64,
        f: impl Fn([f64; 2]) -> [f64; 2] + Sync,
    ) -> Self {
        let step = step.max(1.0);
        let nodes_along = |length: usize| (length as f64 / step).ceil() as usize + 1;
        let (columns, rows) = (nodes_along(width), nodes_along(height));
        let data = (0..columns * rows)
            .into_par_iter()
            .map(|i| f([(i % columns) as f64 * step, (i / columns) as f64 * step]))
            .collect();
        Self {
            step,
            nodes: Grid {
                width: columns,
                height: rows,
                data,
            },
        }
    }

    /// The photo's place shown at `at` (pixels of the frame).
    pub fn at(&self, at: [f64; 2]) -> [f64; 2] {
        let nodes = &self.nodes;
        let (x, y) = (at[0] / self.step, at[1] / self.step);
        let i = (x.max(0.0) as usize).min(nodes.width - 2);
        let j = (y.max(0.0) as usize).min(nodes.height - 2);
        let (u, v) = (x - i as f64, y - j as f64);
        let row = |j: usize, c: usize| {
            nodes.at(i, j)[c] + u * (nodes.at(i + 1, j)[c] - nodes.at(i, j)[c])
        };
        [0, 1].map(|c| row(j, c) + v * (row(j + 1, c) - row(j, c)))
    }

    /// The affine map that it is around a place.
    pub fn affine_at(&self, at: Point) -> Affine {
        let reach = self.step / 2.0;
        let shown = |x: f64, y: f64| Point::from(<(f64, f64)>::from(self.at([at.x + x, at.y + y])));
        let here = shown(0.0, 0.0);
        let [u, v] = [shown(reach, 0.0), shown(0.0, reach)].map(|p| (p - here) / reach);
        let shape = Affine::new([u.x, u.y, v.x, v.y, 0.0, 0.0]);
        Affine::translate(here.to_vec2()) * shape * Affine::translate(-at.to_vec2())
    }

    /// The photo's places shown in the middles of all pixels of a row of the frame: those between the nodes of a column
    /// are found once for it.
    pub fn row(&self, y: usize) -> impl Fn(usize) -> [f64; 2] + use<> {
        let (line, step) = (self.nodes_at(y as f64 + 0.5), self.step);
        move |x| {
            let along = (x as f64 + 0.5) / step;
            let i = (along as usize).min(line.len() - 2);
            let t = along - i as f64;
            let ([a, b], [c, d]) = (line[i], line[i + 1]);
            [a + t * (c - a), b + t * (d - b)]
        }
    }

    /// The photo's places at every column of nodes, on the row of the frame at `y`.
    fn nodes_at(&self, y: f64) -> Vec<[f64; 2]> {
        let nodes = &self.nodes;
        let along = y / self.step;
        let j = (along as usize).min(nodes.height - 2);
        let t = along - j as f64;
        (0..nodes.width)
            .map(|i| {
                let (p, q) = (nodes.at(i, j), nodes.at(i, j + 1));
                [0, 1].map(|c| p[c] + t * (q[c] - p[c]))
            })
            .collect()
    }

    /// The smallest Jacobian determinant anywhere in the patches of which `counts` (left, top in pixels of the frame)
    /// is true, in photo pixels per frame pixel, squared. Above 0 nothing folds.
    pub fn least_jacobian(&self, counts: impl Fn(f64, f64) -> bool) -> f64 {
        self.jacobians(counts)
            .map(|(_, least)| least)
            .fold(f64::INFINITY, f64::min)
    }

    /// Where the Jacobian determinant is smallest, in pixels of the frame.
    pub fn worst_place(&self, counts: impl Fn(f64, f64) -> bool) -> [f64; 2] {
        self.jacobians(counts)
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or([0.0; 2], |(place, _)| place)
    }

    /// Left and top of every patch that counts, with the smallest Jacobian determinant in it.
    fn jacobians(
        &self,
        counts: impl Fn(f64, f64) -> bool,
    ) -> impl Iterator<Item = ([f64; 2], f64)> {
        let n = &self.nodes;
        (0..n.data.len()).filter_map(move |k| {
            let (i, j) = (k % n.width, k / n.width);
            let place = [i as f64 * self.step, j as f64 * self.step];
            if i + 1 == n.width || j + 1 == n.height || !counts(place[0], place[1]) {
                return None;
            }
            let [a, b, c, d] = [k, k + 1, k + n.width, k + n.width + 1].map(|k| n.data[k]);
            let edge = |p: [f64; 2], q: [f64; 2]| [q[0] - p[0], q[1] - p[1]];
            let cross = |u: [f64; 2], v: [f64; 2]| u[0] * v[1] - u[1] * v[0];
            let least = [
                cross(edge(a, b), edge(a, c)),
                cross(edge(a, b), edge(b, d)),
                cross(edge(c, d), edge(a, c)),
                cross(edge(c, d), edge(b, d)),
            ]
            .into_iter()
            .fold(f64::INFINITY, f64::min);
            Some((place, least / (self.step * self.step)))
        })
    }

    /// The typical magnification: photo pixels per frame pixel, the median over the mesh.
    pub fn scale(&self) -> f64 {
        let n = &self.nodes;
        let mut steps: Vec<f64> = (0..n.height)
            .flat_map(|j| (0..n.width - 1).map(move |i| (i, j)))
            .map(|(i, j)| {
                let (p, q) = (n.at(i, j), n.at(i + 1, j));
                (q[0] - p[0]).hypot(q[1] - p[1]) / self.step
            })
            .collect();
        let middle = steps.len() / 2;
        *steps.select_nth_unstable_by(middle, f64::total_cmp).1
    }

    /// The photo seen through the warp, `width * height` pixels of sRGB with straight alpha; transparent where the
    /// warp leaves the photo.
    pub fn sample(&self, photo: &Photo, width: usize, height: usize) -> Grid<[u8; 4]> {
        let (w, h) = photo.upright_size();
        let shrink = (self.scale() / OVERSAMPLING).max(1.0);
        let size = |v: usize| ((v as f64 / shrink).round() as usize).max(1);
        let source = photo.whole(size(w), size(h));
        let (sx, sy) = (
            source.width as f64 / w as f64,
            source.height as f64 / h as f64,
        );
        let mut data = vec![[0u8; 4]; width * height];
        data.par_chunks_mut(width).enumerate().for_each(|(y, row)| {
            let at = self.row(y);
            for (x, out) in row.iter_mut().enumerate() {
                let [u, v] = at(x);
                *out = bilinear(&source, u * sx, v * sy);
            }
        });
        Grid {
            width,
            height,
            data,
        }
    }
}

/// The color at (`x`, `y`), measured from the top left corner; transparent outside.
fn bilinear(source: &Grid<[u8; 4]>, x: f64, y: f64) -> [u8; 4] {
    let (w, h) = (source.width, source.height);
    if !(x >= 0.0 && y >= 0.0 && x <= w as f64 && y <= h as f64) {
        return [0; 4];
    }
    let around = source.around(x, y);
    let at = around.map(|(color, _)| color);
    let mut weight = around.map(|(_, weight)| weight as f32);
    let opaque = at[0][3] & at[1][3] & at[2][3] & at[3][3] == 255;
    let mut alpha = 255.0;
    if !opaque {
        // Weighted by alpha, so that what is transparent lends no color.
        for k in 0..4 {
            weight[k] *= f32::from(at[k][3]);
        }
        alpha = weight.iter().sum();
        if alpha < 0.5 {
            return [0; 4];
        }
        weight = weight.map(|w| w / alpha);
    }
    let mut sum = [0.5f32; 3];
    for k in 0..4 {
        for c in 0..3 {
            sum[c] += weight[k] * f32::from(at[k][c]);
        }
    }
    let [r, g, b] = sum.map(|v| v as u8);
    [r, g, b, (alpha + 0.5) as u8]
}
