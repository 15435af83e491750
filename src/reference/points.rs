//! Matching points: a map through pairs of places on the art and in the photo.

use std::path::Path;

use nalgebra::{DMatrix, Matrix3};
use serde::Deserialize;

use crate::error::{Error, Result};
use crate::job::Match;

use super::outline::Similarity;

/// How far a thin-plate spline gives way at its points, in square millimeters: the diagonal added to the kernel
/// (`smoothing` of SciPy's RBFInterpolator). A pair off by a millimeter among pairs centimeters apart is evened out;
/// from memory.
pub const STIFFNESS: f64 = 1.0;

/// A map from the art (millimeters) to the photo (pixels).
#[derive(Debug, Clone)]
pub enum PointMap {
    Similarity(Similarity),
    /// Rows `[x, y, 1]` are multiplied with, per photo coordinate.
    Affine([[f64; 3]; 2]),
    Spline(Spline),
}

/// A thin-plate spline (Duchon 1977): an affine map plus a sum of `r^2 ln r` around its points.
#[derive(Debug, Clone)]
pub struct Spline {
    points: Vec<[f64; 2]>,
    /// Per photo coordinate: a weight for every point, then the factors of 1, x and y.
    weights: [Vec<f64>; 2],
}

impl PointMap {
    /// Two pairs make a similarity, three an affine map, more a thin-plate spline. `None` if the pairs do not say how
    /// the photo lies: fewer than two, all on one place, or three and more on one line.
    pub fn through(pairs: &[Match]) -> Option<Self> {
        match pairs {
            [] | [_] => None,
            [p, q] => {
                let d = [q.art[0] - p.art[0], q.art[1] - p.art[1]];
                let e = [
                    q.reference[0] - p.reference[0],
                    q.reference[1] - p.reference[1],
                ];
                let n = d[0] * d[0] + d[1] * d[1];
                let (a, b) = (
                    (d[0] * e[0] + d[1] * e[1]) / n,
                    (d[0] * e[1] - d[1] * e[0]) / n,
                );
                let [x, y] = p.art;
                let similarity = Similarity {
                    a,
                    b,
                    shift: [
                        p.reference[0] - a * x + b * y,
                        p.reference[1] - b * x - a * y,
                    ],
                };
                (n > 0.0 && similarity.scale() > 0.0).then_some(Self::Similarity(similarity))
            }
            [p, q, r] => {
                let rows = [p, q, r].map(|m| [m.art[0], m.art[1], 1.0]);
                let inverse = Matrix3::from(rows).transpose().try_inverse()?;
                let factors = |c: usize| {
                    let at = nalgebra::Vector3::new(p.reference[c], q.reference[c], r.reference[c]);
                    let f = inverse * at;
                    [f[0], f[1], f[2]]
                };
                Some(Self::Affine([factors(0), factors(1)]))
            }
            more => {
                let stiffness = vec![STIFFNESS; more.len()];
                Spline::through(more, &stiffness).map(Self::Spline)
            }
        }
    }

    pub fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        match self {
            Self::Similarity(similarity) => similarity.at([x, y]),
            Self::Affine(rows) => rows.map(|r| r[0] * x + r[1] * y + r[2]),
            Self::Spline(spline) => spline.at([x, y]),
        }
    }

    /// What the map is called.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Similarity(_) => "turned, scaled and placed",
            Self::Affine(_) => "slanted, scaled and placed",
            Self::Spline(_) => "bent",
        }
    }
}

impl Spline {
    /// The spline through `pairs`, giving way by `stiffness` (square millimeters, 0 for not at all) at each. `None` if
    /// all lie on one line, or two with stiffness 0 on one place.
    pub fn through(pairs: &[Match], stiffness: &[f64]) -> Option<Self> {
        let n = pairs.len();
        if on_one_line(pairs) {
            return None;
        }
        let mut system = DMatrix::zeros(n + 3, n + 3);
        for (i, p) in pairs.iter().enumerate() {
            for (j, q) in pairs.iter().enumerate() {
                system[(i, j)] = kernel(p.art, q.art);
            }
            system[(i, i)] += stiffness[i];
            for (k, v) in [1.0, p.art[0], p.art[1]].into_iter().enumerate() {
                system[(i, n + k)] = v;
                system[(n + k, i)] = v;
            }
        }
        let mut values = DMatrix::zeros(n + 3, 2);
        for (i, p) in pairs.iter().enumerate() {
            values[(i, 0)] = p.reference[0];
            values[(i, 1)] = p.reference[1];
        }
        let solved = system.lu().solve(&values)?;
        let column = |c: usize| solved.column(c).iter().copied().collect::<Vec<f64>>();
        let weights = [column(0), column(1)];
        weights
            .iter()
            .flatten()
            .all(|v| v.is_finite())
            .then(|| Self {
                points: pairs.iter().map(|p| p.art).collect(),
                weights,
            })
    }

    pub fn at(&self, at: [f64; 2]) -> [f64; 2] {
        let n = self.points.len();
        let mut sum = [0, 1].map(|c| {
            let w = &self.weights[c];
            w[n] + w[n + 1] * at[0] + w[n + 2] * at[1]
        });
        for (i, &p) in self.points.iter().enumerate() {
            let k = kernel(at, p);
            sum[0] += self.weights[0][i] * k;
            sum[1] += self.weights[1][i] * k;
        }
        sum
    }
}

/// Whether the places on the art lie on one line, to a thousandth of their spread.
fn on_one_line(pairs: &[Match]) -> bool {
    let n = pairs.len().max(1) as f64;
    let mean = [0, 1].map(|c| pairs.iter().map(|p| p.art[c]).sum::<f64>() / n);
    let [mut xx, mut xy, mut yy] = [0.0; 3];
    for p in pairs {
        let (x, y) = (p.art[0] - mean[0], p.art[1] - mean[1]);
        (xx, xy, yy) = (xx + x * x, xy + x * y, yy + y * y);
    }
    // The variances along and across the main direction.
    let middle = (xx + yy) / 2.0;
    let off = ((xx - yy) / 2.0).hypot(xy);
    middle - off <= 1e-6 * (middle + off)
}

/// Reads pairs from a CSV table with the columns `reference_x, reference_y` (photo pixels) and `art_x, art_y`
/// (millimeters), in any order.
///
/// # Errors
/// If a line is no pair.
pub fn read_matches(path: &Path, bytes: &[u8]) -> Result<Vec<Match>> {
    #[derive(Deserialize)]
    struct Row {
        reference_x: f64,
        reference_y: f64,
        art_x: f64,
        art_y: f64,
    }
    let next = "Write a table with the columns reference_x,reference_y,art_x,art_y: photo pixels, then millimeters.";
    csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(bytes)
        .into_deserialize()
        .map(|row| {
            let row: Row = row.map_err(|e| Error::file(path, e, next))?;
            Ok(Match {
                reference: [row.reference_x, row.reference_y],
                art: [row.art_x, row.art_y],
            })
        })
        .collect()
}

/// `r^2 ln r` of the distance of two places.
fn kernel(p: [f64; 2], q: [f64; 2]) -> f64 {
    let squared = (p[0] - q[0]).powi(2) + (p[1] - q[1]).powi(2);
    if squared > 0.0 {
        0.5 * squared * squared.ln()
    } else {
        0.0
    }
}
