//! The photo's subject brought onto the drawing's silhouette.
//!
//! First a similarity (turn, scale, place) that makes the two overlap most; then a smooth warp: demons registration
//! (Thirion 1998) of the two signed distance fields, composed of small smoothed steps so that it stays one-to-one
//! (Vercauteren et al. 2009, "Diffeomorphic demons"), from coarse to fine.

use imageproc::filter::gaussian_blur_f32;
use kurbo::Affine;
use rayon::prelude::*;

use crate::grid::Grid;

use super::shape::{Silhouette, signed_distance};
use super::subject::Subject;
use super::warp::Warp;

/// Nodes along the longer side of the silhouette, and rounds, level by level.
const LEVELS: [(usize, usize); 3] = [(32, 40), (64, 30), (128, 16)];
/// Room around the silhouette in which the warp fades out, as a part of its longer side.
const MARGIN: f64 = 0.25;
/// Distances beyond this many nodes of the coarsest level pull no more.
const PULL_WITHIN: f32 = 7.0;
/// Smoothing of every step, in nodes.
const STEP_SMOOTHING: f32 = 2.0;
/// Longest step, in nodes: below half a node a step cannot fold.
const LONGEST_STEP: f32 = 0.45;
/// Longer side of the silhouette's distance field, in pixels.
const FIELD_PX: usize = 300;
/// Directions tried first, in degrees, and how much agreement a turn by 180 degrees must gain to be believed; from
/// memory. Round things agree at any turn.
const TURN_STEP: usize = 10;
const TURN_COST: f64 = 0.12;
/// A photo whose subject overlaps the silhouette less than this is of another shape; from memory.
const LEAST_OVERLAP: f64 = 0.6;

/// A turn, a scale and a shift, from frame pixels to photo pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Similarity {
    /// Scale times cosine and sine of the turn.
    pub a: f64,
    pub b: f64,
    pub shift: [f64; 2],
}

impl Similarity {
    pub fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [
            self.a * x - self.b * y + self.shift[0],
            self.b * x + self.a * y + self.shift[1],
        ]
    }

    /// Photo pixels per frame pixel.
    pub fn scale(&self) -> f64 {
        self.a.hypot(self.b)
    }

    /// The same as a map of points.
    pub fn affine(&self) -> Affine {
        let [x, y] = self.shift;
        Affine::new([self.a, self.b, -self.b, self.a, x, y])
    }

    /// Takes `from` to `to`, with a scale and a turn in radians.
    fn around(from: [f64; 2], to: [f64; 2], scale: f64, turn: f64) -> Self {
        let (sin, cos) = turn.sin_cos();
        let (a, b) = (scale * cos, scale * sin);
        Self {
            a,
            b,
            shift: [
                to[0] - a * from[0] + b * from[1],
                to[1] - b * from[0] - a * from[1],
            ],
        }
    }
}

/// The similarity under which subject and silhouette overlap most, with its agreement.
pub fn best_similarity(subject: &Subject, silhouette: &Silhouette) -> Option<(Similarity, f64)> {
    // Few enough points to try many places.
    let coarse = coarse(silhouette, 56);
    let middle = |mask: &Grid<bool>, scale: f64| -> Option<([f64; 2], f64)> {
        let inside: Vec<usize> = (0..mask.data.len()).filter(|&i| mask.data[i]).collect();
        let n = inside.len() as f64;
        let sum = inside.iter().fold([0.0; 2], |s, &i| {
            [
                s[0] + (i % mask.width) as f64 + 0.5,
                s[1] + (i / mask.width) as f64 + 0.5,
            ]
        });
        (n > 0.0).then(|| (sum.map(|v| v / n * scale), n * scale * scale))
    };
    let (to, photo_area) = middle(&subject.mask, subject.scale)?;
    let (from, frame_area) = middle(&coarse.mask, coarse.scale)?;
    let scale = (photo_area / frame_area).sqrt();
    let inside: Vec<[f64; 2]> = (0..coarse.mask.data.len())
        .filter(|&i| coarse.mask.data[i])
        .map(|i| {
            let (x, y) = (i % coarse.mask.width, i / coarse.mask.width);
            [x, y].map(|v| (v as f64 + 0.5) * coarse.scale)
        })
        .collect();
    let agreement = |s: &Similarity| {
        let both = inside.iter().filter(|&&p| subject.is_at(s.at(p))).count() as f64;
        let subject_points = photo_area / (s.scale() * coarse.scale).powi(2);
        both / (inside.len() as f64 + subject_points - both)
    };
    let rate = |p: &[f64; 4]| {
        let s = Similarity::around(from, [p[2], p[3]], p[1], p[0]);
        agreement(&s) - TURN_COST * p[0].abs() / std::f64::consts::PI
    };
    let mut best = (0..360 / TURN_STEP)
        .map(|k| {
            let turn = (k * TURN_STEP) as f64;
            let turn = if turn > 180.0 { turn - 360.0 } else { turn };
            [turn.to_radians(), scale, to[0], to[1]]
        })
        .map(|p| (p, rate(&p)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    // Then every number in turn, in ever smaller steps.
    let mut steps = [0.1, 0.05 * scale, 0.04, 0.04];
    let size = photo_area.sqrt();
    steps[2] *= size;
    steps[3] *= size;
    for _ in 0..6 {
        let mut moved = true;
        let mut tries = 0;
        while moved && tries < 12 {
            moved = false;
            tries += 1;
            for k in 0..4 {
                for sign in [-1.0, 1.0] {
                    let mut p = best.0;
                    p[k] += sign * steps[k];
                    let rating = rate(&p);
                    if p[1] > 0.0 && rating > best.1 + 1e-9 {
                        best = (p, rating);
                        moved = true;
                    }
                }
            }
        }
        steps = steps.map(|s| s / 2.0);
    }
    let p = best.0;
    let similarity = Similarity::around(from, [p[2], p[3]], p[1], p[0]);
    let agreement = subject.agreement(silhouette, |at| similarity.at(at));
    (agreement >= LEAST_OVERLAP).then_some((similarity, agreement))
}

/// The silhouette with at most `longest` pixels along its longer side: a pixel is inside if its middle is.
fn coarse(silhouette: &Silhouette, longest: usize) -> Silhouette {
    let mask = &silhouette.mask;
    let shrink = (mask.width.max(mask.height) as f64 / longest as f64).max(1.0);
    let size = |v: usize| ((v as f64 / shrink).ceil() as usize).max(1);
    let (width, height) = (size(mask.width), size(mask.height));
    let pick = |i: usize, n: usize| (((i as f64 + 0.5) * shrink) as usize).min(n - 1);
    let data = (0..width * height)
        .map(|i| mask.at(pick(i % width, mask.width), pick(i / width, mask.height)))
        .collect();
    Silhouette {
        mask: Grid {
            width,
            height,
            data,
        },
        scale: silhouette.scale * shrink,
    }
}

/// The warp (over a frame of `width * height` pixels) that starts from `start` (frame pixels to photo pixels, with
/// `photo_px` photo pixels per frame pixel) and brings the subject's edge onto the silhouette's. `None` for an empty
/// silhouette.
pub fn warp_onto(
    subject: &Subject,
    silhouette: &Silhouette,
    start: impl Fn([f64; 2]) -> [f64; 2] + Sync,
    photo_px: f64,
    (width, height): (usize, usize),
) -> Option<Warp> {
    let [x0, y0, w, h] = silhouette.bounds()?;
    let longer = w.max(h);
    let origin = [x0 - MARGIN * longer, y0 - MARGIN * longer];
    let extent = [w, h].map(|v| v + 2.0 * MARGIN * longer);
    let field = coarse(silhouette, FIELD_PX);
    let fixed_distance = signed_distance(&field.mask);

    let mut shift: Option<[Grid<f32>; 2]> = None;
    let mut step = longer;
    let patches = extent.map(|v| (v / longer * LEVELS[0].0 as f64).ceil() as usize);
    for (nodes, rounds) in LEVELS {
        step = longer / nodes as f64;
        // Every node of a coarser level is one of the finer level's.
        let [columns, rows] = patches.map(|n| n * nodes / LEVELS[0].0 + 1);
        let place = |i: usize| {
            [
                origin[0] + (i % columns) as f64 * step,
                origin[1] + (i / columns) as f64 * step,
            ]
        };
        let pull = PULL_WITHIN * nodes as f32 / LEVELS[0].0 as f32;
        let sampled = |value: &(dyn Fn([f64; 2]) -> f64 + Sync)| Grid {
            width: columns,
            height: rows,
            data: (0..columns * rows)
                .into_par_iter()
                .map(|i| (value(place(i)) as f32).clamp(-pull, pull))
                .collect::<Vec<f32>>(),
        };
        let fixed = sampled(&|[x, y]| {
            let d = fixed_distance.interpolated(x / field.scale, y / field.scale);
            f64::from(d) * field.scale / step
        });
        let moving = sampled(&|at| subject.depth_at(start(at)) / photo_px / step);
        let mut u = match shift.take() {
            None => [0, 1].map(|_| Grid::filled(columns, rows, 0.0f32)),
            // The nodes of the coarser level lie twice as far apart.
            Some(coarser) => coarser.map(|c| Grid {
                width: columns,
                height: rows,
                data: (0..columns * rows)
                    .map(|i| {
                        let (x, y) = ((i % columns) as f64 / 2.0, (i / columns) as f64 / 2.0);
                        2.0 * c.interpolated(x + 0.5, y + 0.5)
                    })
                    .collect(),
            }),
        };
        register(&fixed, &moving, &mut u, rounds);
        shift = Some(u);
    }
    let u = shift?;
    Some(Warp::new(width, height, step / 2.0, |[x, y]| {
        let (i, j) = ((x - origin[0]) / step, (y - origin[1]) / step);
        let outside =
            i < 0.0 || j < 0.0 || i > (u[0].width - 1) as f64 || j > (u[0].height - 1) as f64;
        if outside {
            return start([x, y]);
        }
        let [dx, dy] = [0, 1].map(|c| f64::from(u[c].interpolated(i + 0.5, j + 0.5)) * step);
        start([x + dx, y + dy])
    }))
}

/// Moves the shift `u` (in nodes) so that `moving` at the shifted places becomes `fixed`.
fn register(fixed: &Grid<f32>, moving: &Grid<f32>, u: &mut [Grid<f32>; 2], rounds: usize) {
    let (w, h) = (fixed.width, fixed.height);
    // The shift fades to nothing at the rim.
    let fade: Vec<f32> = (0..w * h)
        .map(|i| {
            let (x, y) = (i % w, i / w);
            let depth = x.min(y).min(w - 1 - x).min(h - 1 - y) as f32;
            (depth / (0.5 * MARGIN as f32 * w.max(h) as f32)).min(1.0)
        })
        .collect();
    for _ in 0..rounds {
        let seen = Grid {
            width: w,
            height: h,
            data: (0..w * h)
                .into_par_iter()
                .map(|i| {
                    let x = (i % w) as f32 + u[0].data[i] + 0.5;
                    let y = (i / w) as f32 + u[1].data[i] + 0.5;
                    moving.interpolated(f64::from(x), f64::from(y))
                })
                .collect::<Vec<f32>>(),
        };
        let force = |i: usize| -> [f32; 2] {
            let (x, y) = (i % w, i / w);
            let gx = (seen.at((x + 1).min(w - 1), y) - seen.at(x.saturating_sub(1), y)) / 2.0;
            let gy = (seen.at(x, (y + 1).min(h - 1)) - seen.at(x, y.saturating_sub(1))) / 2.0;
            let off = fixed.data[i] - seen.data[i];
            let weight = gx * gx + gy * gy + 0.25 * off * off;
            if weight < 1e-6 {
                return [0.0; 2];
            }
            [off * gx / weight, off * gy / weight]
        };
        let forces: Vec<[f32; 2]> = (0..w * h).into_par_iter().map(force).collect();
        let smoothed = |c: usize| -> Grid<f32> {
            let data = forces.iter().map(|f| f[c]).collect();
            let grid = Grid {
                width: w,
                height: h,
                data,
            };
            gaussian_blur_f32(&grid.into_image(), STEP_SMOOTHING).into()
        };
        let (mut vx, mut vy) = rayon::join(|| smoothed(0), || smoothed(1));
        let longest = vx
            .data
            .iter()
            .zip(&vy.data)
            .map(|(x, y)| x.hypot(*y))
            .fold(0.0, f32::max);
        if longest < 0.01 {
            break;
        }
        let scale = (LONGEST_STEP / longest).min(1.0);
        for i in 0..w * h {
            vx.data[i] *= scale * fade[i];
            vy.data[i] *= scale * fade[i];
        }
        // First the step, then the shift so far: u(x) becomes v(x) + u(x + v(x)).
        let composed = |u: &Grid<f32>, v: &Grid<f32>| -> Grid<f32> {
            Grid {
                width: w,
                height: h,
                data: (0..w * h)
                    .map(|i| {
                        let x = (i % w) as f32 + vx.data[i] + 0.5;
                        let y = (i / w) as f32 + vy.data[i] + 0.5;
                        v.data[i] + u.interpolated(f64::from(x), f64::from(y))
                    })
                    .collect(),
            }
        };
        let (x, y) = rayon::join(|| composed(&u[0], &vx), || composed(&u[1], &vy));
        *u = [x, y];
    }
}
