//! Fields over a sheet: smooth functions of the place with few unknowns, each a sum of unknowns with weights.

/// Weights of the unknowns that a place hangs on.
pub type Row = Vec<(usize, f64)>;

/// Cubic B-splines on an even grid (P-splines, Eilers and Marx 1996): what is local, such as glare.
#[derive(Debug, Clone)]
pub struct Spline {
    from: [f64; 2],
    spacing: [f64; 2],
    count: [usize; 2],
}

impl Spline {
    /// A grid over the rectangle `from` to `to`, its nodes about `spacing` apart.
    pub fn over(from: [f64; 2], to: [f64; 2], spacing: [f64; 2]) -> Self {
        let pieces = [0, 1].map(|c| (((to[c] - from[c]) / spacing[c]).ceil()).max(1.0));
        Self {
            from,
            spacing: [0, 1].map(|c| ((to[c] - from[c]) / pieces[c]).max(1e-6)),
            count: pieces.map(|n| n as usize + 3),
        }
    }

    pub fn unknowns(&self) -> usize {
        self.count[0] * self.count[1]
    }

    /// The weights at a place; outside the grid those of its rim.
    pub fn at(&self, place: [f64; 2]) -> Row {
        let [(i, across), (j, down)] = [0, 1].map(|c| {
            let pieces = (self.count[c] - 3) as f64;
            let t = ((place[c] - self.from[c]) / self.spacing[c]).clamp(0.0, pieces);
            let piece = t.min(pieces - 1.0).floor();
            (piece as usize, cubic(t - piece))
        });
        (0..16)
            .map(|k| {
                let (a, b) = (k % 4, k / 4);
                ((j + b) * self.count[0] + i + a, across[a] * down[b])
            })
            .collect()
    }

    /// Second differences along both directions and across: how bent the field is, node by node.
    pub fn bends(&self) -> Vec<Row> {
        let [nx, ny] = self.count;
        let node = |i: usize, j: usize| j * nx + i;
        let mut rows = Vec::new();
        for (i, j) in (0..nx * ny).map(|k| (k % nx, k / nx)) {
            if i + 2 < nx {
                rows.push(vec![
                    (node(i, j), 1.0),
                    (node(i + 1, j), -2.0),
                    (node(i + 2, j), 1.0),
                ]);
            }
            if j + 2 < ny {
                rows.push(vec![
                    (node(i, j), 1.0),
                    (node(i, j + 1), -2.0),
                    (node(i, j + 2), 1.0),
                ]);
            }
            if i + 1 < nx && j + 1 < ny {
                rows.push(vec![
                    (node(i, j), 1.0),
                    (node(i + 1, j), -1.0),
                    (node(i, j + 1), -1.0),
                    (node(i + 1, j + 1), 1.0),
                ]);
            }
        }
        rows
    }
}

/// The four cubic B-splines of a piece, at `t` from 0 to 1 in it.
fn cubic(t: f64) -> [f64; 4] {
    let u = 1.0 - t;
    [
        u * u * u,
        3.0 * t * t * t - 6.0 * t * t + 4.0,
        3.0 * u * u * u - 6.0 * u * u + 4.0,
        t * t * t,
    ]
    .map(|v| v / 6.0)
}

/// Highest degree of what changes slowly.
const DEGREE: usize = 4;
/// Unknowns of what changes slowly.
pub const SLOW: usize = (DEGREE + 1) * (DEGREE + 2) / 2;
/// The first of them that are a plane: 1, and along both directions.
pub const PLANE: usize = 3;

/// Products of Legendre's polynomials up to the fourth degree, the plane first: what changes slowly over a page of `mm`,
/// such as the light of a lamp or a window, and what a lens loses toward the corners.
pub fn slow(place: [f64; 2], mm: [f64; 2]) -> [f64; SLOW] {
    let [x, y] = [0, 1].map(|c| legendre(2.0 * place[c] / mm[c] - 1.0));
    let mut products = (0..=DEGREE).flat_map(|d| (0..=d).map(move |i| (i, d - i)));
    std::array::from_fn(|_| products.next().map_or(0.0, |(i, j)| x[i] * y[j]))
}

fn legendre(t: f64) -> [f64; DEGREE + 1] {
    let square = t * t;
    [
        1.0,
        t,
        (3.0 * square - 1.0) / 2.0,
        t * (5.0 * square - 3.0) / 2.0,
        ((35.0 * square - 30.0) * square + 3.0) / 8.0,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn splines_sum_to_one_and_a_plane_has_no_bends() {
        let spline = Spline::over([10.0, 30.0], [200.0, 270.0], [15.0, 10.0]);
        for at in [[10.0, 30.0], [200.0, 270.0], [93.1, 77.7], [0.0, 400.0]] {
            let row = spline.at(at);
            assert!((row.iter().map(|r| r.1).sum::<f64>() - 1.0).abs() < 1e-12);
            assert!(row.iter().all(|&(i, w)| i < spline.unknowns() && w >= 0.0));
        }
        // Unknowns on a plane give that plane.
        let plane = |i: usize| {
            let (a, b) = (i % spline.count[0], i / spline.count[0]);
            0.3 + 0.02 * a as f64 - 0.01 * b as f64
        };
        let value = |at| {
            spline
                .at(at)
                .iter()
                .map(|&(i, w)| w * plane(i))
                .sum::<f64>()
        };
        let middle = value([105.0, 150.0]);
        assert!((value([120.0, 150.0]) + value([90.0, 150.0]) - 2.0 * middle).abs() < 1e-12);
        for row in spline.bends() {
            assert!(row.iter().map(|&(i, w)| w * plane(i)).sum::<f64>().abs() < 1e-12);
        }
    }

    #[test]
    fn slow_fields_begin_with_a_plane() {
        let mm = [210.0, 297.0];
        let [one, y, x] = slow([210.0, 0.0], mm)[..PLANE] else {
            unreachable!()
        };
        assert_eq!([one, x, y], [1.0, 1.0, -1.0]);
    }
}
