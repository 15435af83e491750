//! Looking at places of a sheet in a photo.

use crate::grid::Grid;

use super::layout::Place;

/// The bare paper around a box lies this far from it, in millimeters: from and to.
pub const PAPER_MM: [f64; 2] = [1.0, 2.4];
/// Samples per millimeter along each side: somewhat fewer than a phone's pixels on a sheet.
const PER_MM: f64 = 4.0;

/// Code values of a photo, 0 to 1, per channel.
pub type Code = [f64; 3];

/// A photo, and how the sheet lies in it.
pub struct View<'a> {
    pub picture: &'a Grid<[u8; 4]>,
    /// From millimeters on the sheet to pixels of the picture.
    pub place: &'a (dyn Fn([f64; 2]) -> [f64; 2] + Sync),
}

/// Where something was looked at, in millimeters, and what was seen.
#[derive(Clone, Copy)]
pub struct Sample {
    pub at: [f64; 2],
    pub code: Code,
}

impl View<'_> {
    /// The code values at a place, bilinear.
    pub fn at(&self, at: [f64; 2]) -> Code {
        let [x, y] = (self.place)(at);
        let around = self.picture.around(x, y);
        let channel = |c: usize| around.iter().map(|(p, w)| f64::from(p[c]) * w).sum::<f64>();
        std::array::from_fn(|c| channel(c) / 255.0)
    }

    /// Samples all over a rectangle, row by row.
    pub fn over(&self, [x, y, w, h]: Place) -> Vec<Sample> {
        let (columns, rows) = ((w * PER_MM).ceil() as usize, (h * PER_MM).ceil() as usize);
        (0..columns * rows)
            .map(|i| {
                let at = [
                    x + ((i % columns) as f64 + 0.5) / columns as f64 * w,
                    y + ((i / columns) as f64 + 0.5) / rows as f64 * h,
                ];
                Sample {
                    at,
                    code: self.at(at),
                }
            })
            .collect()
    }

    /// Samples of the paper around a rectangle, from `near` to `far` millimeters away from it.
    pub fn around(&self, place: Place, reach: [f64; 2]) -> Vec<Sample> {
        ring(place, reach)
            .into_iter()
            .flat_map(|part| self.over(part))
            .collect()
    }

    /// The mean over every rectangle, as one sample in its middle.
    pub fn means(&self, places: &[Place]) -> Vec<Sample> {
        let middle = |&[x, y, w, h]: &Place| [x + w / 2.0, y + h / 2.0];
        let mean = |p: &Place| Sample {
            at: middle(p),
            code: middle_mean(&self.over(*p)),
        };
        places.iter().map(mean).collect()
    }
}

/// The paper around a rectangle, from `near` to `far` millimeters away from it: four pieces above and below, two at
/// each side.
pub fn ring([x, y, w, h]: Place, [near, far]: [f64; 2]) -> Vec<Place> {
    let thick = far - near;
    let mut pieces = parts([x, y - far, w, thick], [4, 1]);
    pieces.extend(parts([x, y + h + near, w, thick], [4, 1]));
    pieces.extend(parts([x - far, y, thick, h], [1, 2]));
    pieces.extend(parts([x + w + near, y, thick, h], [1, 2]));
    pieces
}

/// A rectangle cut into columns and rows.
pub fn parts([x, y, w, h]: Place, [columns, rows]: [usize; 2]) -> Vec<Place> {
    let size = [w / columns as f64, h / rows as f64];
    (0..columns * rows)
        .map(|i| {
            let (a, b) = ((i % columns) as f64, (i / columns) as f64);
            [x + a * size[0], y + b * size[1], size[0], size[1]]
        })
        .collect()
}

/// The light on bare paper about a place: a plane of code values per channel, and what does not lie on it.
pub struct Paper {
    middle: [f64; 2],
    /// Value in the middle, and slopes per millimeter, per channel.
    plane: [[f64; 3]; 3],
    /// Samples off it, of all.
    pub off: f64,
    /// What is off it, as a part of what the paper would be there, per channel; the median.
    pub off_color: Code,
}

/// What is farther from the plane than this part of it is no bare evenly lit paper; from memory.
const OFF: f64 = 0.05;
const ROUNDS: usize = 8;

impl Paper {
    /// Fits a plane to the samples by iterated reweighting with Tukey's biweight (Beaton and Tukey 1974), beginning
    /// with the median of the lighter half: stray ink, names and shadows are darker than paper.
    ///
    /// `samples` must not be empty.
    pub fn fit(samples: &[Sample]) -> Self {
        let middle = [0, 1].map(|c| mean(samples.iter().map(|s| s.at[c])));
        let start: Code = std::array::from_fn(|c| {
            let mut all: Vec<f64> = samples.iter().map(|s| s.code[c]).collect();
            all.sort_by(f64::total_cmp);
            all[all.len() * 3 / 4]
        });
        let mut plane = start.map(|v| [v, 0.0, 0.0]);
        let predicted = |plane: &[[f64; 3]; 3], at: [f64; 2]| -> Code {
            let (x, y) = (at[0] - middle[0], at[1] - middle[1]);
            std::array::from_fn(|c| plane[c][0] + plane[c][1] * x + plane[c][2] * y)
        };
        let residual = |plane: &[[f64; 3]; 3], s: &Sample| {
            let p = predicted(plane, s.at);
            (0..3)
                .map(|c| (s.code[c] - p[c]).powi(2))
                .sum::<f64>()
                .sqrt()
        };
        for round in 0..ROUNDS {
            let mut residuals: Vec<f64> = samples.iter().map(|s| residual(&plane, s)).collect();
            let each = residuals.clone();
            residuals.sort_by(f64::total_cmp);
            // Wide at first, so that a slope is not taken for a fault.
            let least = if round < 2 { 0.06 } else { 0.012 };
            let reach = (4.0 * residuals[residuals.len() / 2]).clamp(least, 0.15);
            let mut normal = nalgebra::Matrix3::<f64>::zeros();
            let mut right = nalgebra::Matrix3::<f64>::zeros();
            for (s, r) in samples.iter().zip(each) {
                let weight = (1.0 - (r / reach).powi(2)).max(0.0).powi(2);
                let v = nalgebra::Vector3::new(1.0, s.at[0] - middle[0], s.at[1] - middle[1]);
                normal += weight * v * v.transpose();
                right += weight * v * nalgebra::RowVector3::from(s.code);
            }
            // Slopes are weakly drawn to none, for samples in a line.
            normal += nalgebra::Matrix3::from_diagonal(&nalgebra::Vector3::new(1e-9, 1e-3, 1e-3));
            let Some(found) = normal.cholesky().map(|n| n.solve(&right)) else {
                break;
            };
            plane = std::array::from_fn(|c| std::array::from_fn(|k| found[(k, c)]));
        }
        let limit = |s: &Sample| OFF * mean(predicted(&plane, s.at).into_iter()) * 3f64.sqrt();
        let off: Vec<&Sample> = samples
            .iter()
            .filter(|s| residual(&plane, s) > limit(s))
            .collect();
        let off_color = std::array::from_fn(|c| {
            let mut all: Vec<f64> = off
                .iter()
                .map(|s| s.code[c] / predicted(&plane, s.at)[c].max(0.01))
                .collect();
            all.sort_by(f64::total_cmp);
            all.get(all.len() / 2).copied().unwrap_or(1.0)
        });
        Self {
            middle,
            plane,
            off: off.len() as f64 / samples.len() as f64,
            off_color,
        }
    }

    /// The paper's code values at a place.
    pub fn at(&self, at: [f64; 2]) -> Code {
        let (x, y) = (at[0] - self.middle[0], at[1] - self.middle[1]);
        self.plane
            .map(|[v, a, b]| (v + a * x + b * y).clamp(0.0, 1.0))
    }
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (n, sum) = values.fold((0usize, 0.0), |(n, sum), v| (n + 1, sum + v));
    sum / n.max(1) as f64
}

/// The mean of the middle half of the samples, per channel: streaks and dust stay out.
pub fn middle_mean(samples: &[Sample]) -> Code {
    std::array::from_fn(|c| {
        let mut values: Vec<f64> = samples.iter().map(|s| s.code[c]).collect();
        values.sort_by(f64::total_cmp);
        let (from, to) = (values.len() / 4, values.len() - values.len() / 4);
        mean(values[from..to].iter().copied())
    })
}
