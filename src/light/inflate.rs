//! Form from an outline: Poisson's equation, zero at the rim.
//!
//! With `-(u_xx + u_yy) = 4` inside and `u = 0` at the rim, `sqrt(u)` over a disk is exactly a half sphere, and over an
//! ellipse a half ellipsoid; `u` is, but for a factor, Prandtl's stress function of a twisted bar, whose solutions for
//! ellipse, triangle and rectangle are tabulated (Timoshenko and Goodier, "Theory of Elasticity", chapter on torsion).
//!
//! Five-point differences with the rim on the edges of pixels, solved by conjugate gradients; the preconditioner is a
//! W-cycle of multigrid over aggregates of 2 x 2 pixels with overcorrection (Braess 1995, "Towards algebraic multigrid
//! for elliptic problems of second order"), which copes with any outline.

use imageproc::region_labelling::Connectivity;

use crate::grid::Grid;

/// What a pixel is to the form.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Node {
    /// Beyond the rim: the form is zero at the edge toward it. So is what lies beyond the grid.
    Beyond,
    /// Part of the form.
    Form,
    /// Covered by something in front: the form goes on under it, level across the edge.
    Covered,
    /// Part of the form, held at this value of `u` in square millimeters.
    Held(f64),
}

/// Stops when the residual has fallen by this factor: far below what eight bits of lightness show.
const RESIDUAL: f64 = 1e-7;
/// The iteration takes 10 to 30 rounds on drawings; this only bounds it.
const MOST_ROUNDS: usize = 500;
/// Overcorrection of a constant interpolation (Braess 1995).
const OVERCORRECTION: f64 = 1.8;
/// Below this many unknowns a level is swept to the end.
const COARSEST: usize = 32;
/// Sweeps that solve the coarsest level.
const COARSEST_SWEEPS: usize = 24;

/// The function `u` of the form in square millimeters, zero outside it; its square root is the height in millimeters.
///
/// What is seen of a form through a hole of what covers it has no rim of its own: under the cover it goes over into what
/// is seen elsewhere, and is no larger than both and the cover. A form without any rim is flat: zero.
pub fn inflate(nodes: &Grid<Node>, mm_per_px: f64) -> Grid<f64> {
    let rimless = rimless(nodes);
    let mut apart = nodes.clone();
    for (node, &rimless) in apart.data.iter_mut().zip(&rimless.data) {
        if rimless {
            *node = Node::Covered;
        }
    }
    let mut u = solved(&apart, mm_per_px);
    if let Some(under) = under_cover(&apart, &rimless, &u) {
        let under = solved(&under, mm_per_px);
        for i in (0..u.data.len()).filter(|&i| rimless.data[i]) {
            u.data[i] = under.data[i];
        }
    }
    u
}

/// Pieces of the form that are covered all around: nothing says how high they are.
fn rimless(nodes: &Grid<Node>) -> Grid<bool> {
    let form = nodes.map(|n| n == Node::Form);
    let (pieces, count) = form.pieces(Connectivity::Four);
    let mut has_rim = vec![false; count + 1];
    has_rim[0] = true;
    for (i, &piece) in pieces.data.iter().enumerate() {
        let ends = |j: usize| matches!(nodes.data[j], Node::Beyond | Node::Held(_));
        has_rim[piece as usize] |= form.neighbors(i).count() < 4 || form.neighbors(i).any(ends);
    }
    pieces.map(|piece| !has_rim[piece as usize])
}

/// The form under what covers it, between its pieces without rim and the others, which are held at `u`; `None` if there
/// is none. What is seen of it nowhere else but without rim is left out.
fn under_cover(apart: &Grid<Node>, rimless: &Grid<bool>, u: &Grid<f64>) -> Option<Grid<Node>> {
    let covered = apart.map(|n| n == Node::Covered);
    let (pieces, count) = covered.pieces(Connectivity::Four);
    let (mut holds_rimless, mut is_tied) = (vec![false; count + 1], vec![false; count + 1]);
    for (i, &piece) in pieces.data.iter().enumerate() {
        let seen = |j: usize| matches!(apart.data[j], Node::Form | Node::Held(_));
        holds_rimless[piece as usize] |= rimless.data[i];
        is_tied[piece as usize] |= covered.neighbors(i).any(seen);
    }
    let is_under = |piece: u32| {
        let piece = piece as usize;
        piece > 0 && holds_rimless[piece] && is_tied[piece]
    };
    if !pieces.data.iter().any(|&piece| is_under(piece)) {
        return None;
    }
    let mut under = apart.clone();
    for (i, node) in under.data.iter_mut().enumerate() {
        if is_under(pieces.data[i]) {
            *node = Node::Form;
        } else if *node == Node::Form {
            *node = Node::Held(u.data[i]);
        }
    }
    Some(under)
}

/// The same for a form whose every piece has a rim.
fn solved(nodes: &Grid<Node>, mm_per_px: f64) -> Grid<f64> {
    let (width, height) = (nodes.width, nodes.height);
    let mut top = Level::empty(width, height);
    let mut rhs = vec![0.0; width * height];
    for i in 0..rhs.len() {
        if nodes.data[i] != Node::Form {
            continue;
        }
        rhs[i] = 4.0 * mm_per_px * mm_per_px;
        let (x, y) = (i % width, i / width);
        let around = [
            (x + 1 < width).then_some(i + 1),
            (y + 1 < height).then_some(i + width),
            x.checked_sub(1).map(|_| i.wrapping_sub(1)),
            y.checked_sub(1).map(|_| i.wrapping_sub(width)),
        ];
        for (side, j) in around.into_iter().enumerate() {
            match j.map_or(Node::Beyond, |j| nodes.data[j]) {
                Node::Form => {
                    top.diagonal[i] += 1.0;
                    match side {
                        0 => top.right[i] = 1.0,
                        1 => top.down[i] = 1.0,
                        _ => {}
                    }
                }
                // The rim is half a pixel away.
                Node::Beyond => top.diagonal[i] += 2.0,
                Node::Held(u) => {
                    top.diagonal[i] += 1.0;
                    rhs[i] += u;
                }
                Node::Covered => {}
            }
        }
    }
    let mut u = solve(top, &rhs);
    for (u, node) in u.iter_mut().zip(&nodes.data) {
        if let Node::Held(value) = node {
            *u = *value;
        }
    }
    Grid {
        width,
        height,
        data: u,
    }
}

/// A symmetric five-point operator: its diagonal, and how strongly each pixel is tied to the next one to the right and
/// below. Zero on the diagonal marks what is no unknown.
struct Level {
    width: usize,
    height: usize,
    diagonal: Vec<f64>,
    right: Vec<f64>,
    down: Vec<f64>,
}

impl Level {
    fn empty(width: usize, height: usize) -> Self {
        let zeros = vec![0.0; width * height];
        Self {
            width,
            height,
            diagonal: zeros.clone(),
            right: zeros.clone(),
            down: zeros,
        }
    }

    /// What the neighbors of pixel `i` contribute.
    #[inline]
    fn around(&self, x: &[f64], i: usize) -> f64 {
        let w = self.width;
        let mut sum = 0.0;
        if i + 1 < x.len() {
            sum += self.right[i] * x[i + 1];
        }
        if i + w < x.len() {
            sum += self.down[i] * x[i + w];
        }
        if i >= 1 {
            sum += self.right[i - 1] * x[i - 1];
        }
        if i >= w {
            sum += self.down[i - w] * x[i - w];
        }
        sum
    }

    /// `A x`.
    fn times(&self, x: &[f64]) -> Vec<f64> {
        (0..x.len())
            .map(|i| self.diagonal[i] * x[i] - self.around(x, i))
            .collect()
    }

    /// One sweep of Gauss and Seidel over the pixels in the given order.
    fn sweep(&self, x: &mut [f64], b: &[f64], order: impl Iterator<Item = usize>) {
        for i in order {
            if self.diagonal[i] > 0.0 {
                x[i] = (b[i] + self.around(x, i)) / self.diagonal[i];
            }
        }
    }

    /// The operator between aggregates of 2 x 2 pixels (Galerkin's, with constant interpolation).
    fn coarser(&self) -> Self {
        let mut coarse = Self::empty(self.width.div_ceil(2), self.height.div_ceil(2));
        for i in 0..self.diagonal.len() {
            let (x, y) = (i % self.width, i / self.width);
            let c = y / 2 * coarse.width + x / 2;
            coarse.diagonal[c] += self.diagonal[i];
            if x % 2 == 1 {
                coarse.right[c] += self.right[i];
            } else {
                coarse.diagonal[c] -= 2.0 * self.right[i];
            }
            if y % 2 == 1 {
                coarse.down[c] += self.down[i];
            } else {
                coarse.diagonal[c] -= 2.0 * self.down[i];
            }
        }
        coarse
    }
}

/// Improves `x` toward `A x = b`, by one W-cycle from the finest of `levels` down.
fn cycle(levels: &[Level], x: &mut [f64], b: &[f64]) {
    let level = &levels[0];
    let n = x.len();
    let [_, coarse, ..] = levels else {
        for _ in 0..COARSEST_SWEEPS {
            level.sweep(x, b, 0..n);
            level.sweep(x, b, (0..n).rev());
        }
        return;
    };
    level.sweep(x, b, 0..n);
    let reached = level.times(x);
    let at = |i: usize| i / level.width / 2 * coarse.width + i % level.width / 2;
    let mut coarse_b = vec![0.0; coarse.diagonal.len()];
    for i in 0..n {
        coarse_b[at(i)] += b[i] - reached[i];
    }
    let mut step = vec![0.0; coarse_b.len()];
    for _ in 0..2 {
        cycle(&levels[1..], &mut step, &coarse_b);
    }
    for i in 0..n {
        if level.diagonal[i] > 0.0 {
            x[i] += OVERCORRECTION * step[at(i)];
        }
    }
    level.sweep(x, b, (0..n).rev());
}

/// Conjugate gradients (Hestenes and Stiefel 1952), preconditioned by one cycle.
fn solve(top: Level, b: &[f64]) -> Vec<f64> {
    let mut levels = vec![top];
    while levels[levels.len() - 1].diagonal.len() > COARSEST {
        let next = levels[levels.len() - 1].coarser();
        levels.push(next);
    }
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let precondition = |r: &[f64]| {
        let mut z = vec![0.0; r.len()];
        cycle(&levels, &mut z, r);
        z
    };
    let mut x = vec![0.0; b.len()];
    let mut r = b.to_vec();
    let goal = RESIDUAL * RESIDUAL * dot(b, b);
    let mut z = precondition(&r);
    let mut p = z.clone();
    let mut rz = dot(&r, &z);
    for _ in 0..MOST_ROUNDS {
        if dot(&r, &r) <= goal || rz <= 0.0 {
            break;
        }
        let ap = levels[0].times(&p);
        let step = rz / dot(&p, &ap);
        for i in 0..x.len() {
            x[i] += step * p[i];
            r[i] -= step * ap[i];
        }
        z = precondition(&r);
        let next = dot(&r, &z);
        let keep = next / rz;
        rz = next;
        for i in 0..p.len() {
            p[i] = z[i] + keep * p[i];
        }
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A shape given by what is inside, in millimeters from the middle, on a grid of 0.2 mm.
    fn form(
        width_mm: f64,
        height_mm: f64,
        inside: impl Fn(f64, f64) -> bool,
    ) -> (Grid<Node>, Grid<f64>) {
        let (width, height) = (
            (width_mm / 0.2) as usize + 4,
            (height_mm / 0.2) as usize + 4,
        );
        let place = |i: usize| {
            let x = ((i % width) as f64 + 0.5 - width as f64 / 2.0) * 0.2;
            let y = ((i / width) as f64 + 0.5 - height as f64 / 2.0) * 0.2;
            (x, y)
        };
        let data = (0..width * height)
            .map(|i| {
                let (x, y) = place(i);
                if inside(x, y) {
                    Node::Form
                } else {
                    Node::Beyond
                }
            })
            .collect();
        let nodes = Grid {
            width,
            height,
            data,
        };
        let u = inflate(&nodes, 0.2);
        (nodes, u)
    }

    /// Largest difference from `expected(x, y)` anywhere in the form, as a share of the largest expected value.
    fn off(u: &Grid<f64>, nodes: &Grid<Node>, expected: impl Fn(f64, f64) -> f64) -> f64 {
        let (mut worst, mut most) = (0.0f64, 0.0f64);
        for i in 0..u.data.len() {
            if nodes.data[i] == Node::Form {
                let x = ((i % u.width) as f64 + 0.5 - u.width as f64 / 2.0) * 0.2;
                let y = ((i / u.width) as f64 + 0.5 - u.height as f64 / 2.0) * 0.2;
                let e = expected(x, y);
                worst = worst.max((u.data[i] - e).abs());
                most = most.max(e);
            }
        }
        worst / most
    }

    /// `sqrt(u)` is the half sphere of the same radius: geometry.
    #[test]
    fn a_disk_is_a_sphere() {
        for r in [5.0, 20.0, 45.0] {
            let (nodes, u) = form(2.0 * r, 2.0 * r, |x, y| x.hypot(y) < r);
            let off = off(&u, &nodes, |x, y| r * r - x * x - y * y);
            assert!(off < 0.25 / r, "radius {r}: {off}");
        }
    }

    /// Timoshenko and Goodier, "Theory of Elasticity", torsion of an elliptic bar: the stress function is
    /// `a² b² / (a² + b²) (1 - x²/a² - y²/b²)` for a right side of 2, so twice that for 4.
    #[test]
    fn an_ellipse_is_as_in_the_handbook() {
        let (a, b) = (30.0, 12.0);
        let (nodes, u) = form(60.0, 24.0, |x, y| (x / a).hypot(y / b) < 1.0);
        let k = 2.0 * a * a * b * b / (a * a + b * b);
        let off = off(&u, &nodes, |x, y| {
            k * (1.0 - (x / a).powi(2) - (y / b).powi(2))
        });
        assert!(off < 0.02, "{off}");
    }

    /// The same handbook, equilateral triangle of height `h`: the stress function is the product of the distances to
    /// the three sides, times the right side over `h` (their Laplacian is `-h`, as they always add up to `h`).
    #[test]
    fn a_triangle_is_as_in_the_handbook() {
        let h = 30.0;
        let distances = |x: f64, y: f64| {
            // Base below, its middle at (0, h / 2); y points down.
            let s = 3.0f64.sqrt() / 2.0;
            let up = h / 2.0 - y;
            [
                up,
                s * (h / 3.0f64.sqrt() - x) - 0.5 * up,
                s * (h / 3.0f64.sqrt() + x) - 0.5 * up,
            ]
        };
        let (nodes, u) = form(36.0, 32.0, |x, y| distances(x, y).iter().all(|&d| d > 0.0));
        let off = off(&u, &nodes, |x, y| {
            4.0 * distances(x, y).iter().product::<f64>() / h
        });
        assert!(off < 0.02, "{off}");
    }

    /// The same handbook, rectangles: torque `M = k1 G theta (2a)^3 2b` with k1 of its table, and `M` is twice the
    /// volume under the stress function; for a right side of 4 instead of `2 G theta`, the volume is that of `M`.
    #[test]
    fn rectangles_have_the_volumes_of_the_handbooks_table() {
        for (ratio, k1) in [
            (1.0, 0.1406),
            (1.5, 0.196),
            (2.0, 0.229),
            (3.0, 0.263),
            (5.0, 0.291),
            (10.0, 0.312),
        ] {
            let (short, long) = (12.0, 12.0 * ratio);
            let (_, u) = form(long, short, |x, y| {
                x.abs() < long / 2.0 && y.abs() < short / 2.0
            });
            let volume: f64 = u.data.iter().sum::<f64>() * 0.04;
            let expected = k1 * short.powi(3) * long;
            assert!(
                (volume / expected - 1.0).abs() < 0.01,
                "{ratio}: {volume} for {expected}"
            );
        }
    }

    /// Poisson's equation between two circles, by separation in polar coordinates:
    /// `u = R² - r² + (R² - q²) ln(r / R) / ln(R / q)`.
    #[test]
    fn an_annulus_is_as_by_integration() {
        let (q, r) = (8.0, 24.0);
        let (nodes, u) = form(48.0, 48.0, |x, y| (q..r).contains(&x.hypot(y)));
        let off = off(&u, &nodes, |x, y| {
            let d = x.hypot(y);
            r * r - d * d + (r * r - q * q) * (d / r).ln() / (r / q).ln()
        });
        assert!(off < 0.02, "{off}");
    }

    /// Half a disk covered along its straight side is half of the whole disk, by symmetry.
    #[test]
    fn form_goes_on_under_what_covers_it() {
        let r = 20.0;
        let (mut nodes, _) = form(40.0, 40.0, |x, y| x.hypot(y) < r);
        for (i, node) in nodes.data.iter_mut().enumerate() {
            if i % nodes.width < nodes.width / 2 {
                *node = Node::Covered;
            }
        }
        let off = off(&inflate(&nodes, 0.2), &nodes, |x, y| r * r - x * x - y * y);
        assert!(off < 0.015, "{off}");
    }

    /// A ring across the rim of a disk, a little beyond it: what is seen through its hole is as on the sphere, and what
    /// is seen beside it as without the hole.
    #[test]
    fn what_is_seen_through_a_hole_is_of_one_form_with_the_rest() {
        let r = 20.0;
        let (mut nodes, _) = form(42.0, 42.0, |x, y| x.hypot(y) < r);
        let width = nodes.width;
        let from_ring = |i: usize| {
            let at = |v: usize| (v as f64 + 0.5 - width as f64 / 2.0) * 0.2;
            (at(i % width) - 12.5).hypot(at(i / width))
        };
        for (i, node) in nodes.data.iter_mut().enumerate() {
            if (5.0..8.5).contains(&from_ring(i)) {
                *node = Node::Covered;
            }
        }
        let u = inflate(&nodes, 0.2);
        let (mut hole, mut beside) = (nodes.clone(), nodes.clone());
        for i in 0..u.data.len() {
            if from_ring(i) < 5.0 {
                beside.data[i] = Node::Covered;
            } else {
                hole.data[i] = Node::Beyond;
            }
        }
        let off = off(&u, &hole, |x, y| r * r - x * x - y * y);
        assert!(off < 0.1, "{off}");
        let alone = inflate(&beside, 0.2);
        for i in (0..u.data.len()).filter(|&i| beside.data[i] == Node::Form) {
            assert_eq!(u.data[i], alone.data[i]);
        }
        assert!((0..u.data.len()).all(|i| nodes.data[i] == Node::Form || u.data[i] == 0.0));
    }

    #[test]
    fn a_form_without_rim_is_flat_and_an_empty_one_is_none() {
        let mut nodes = Grid::filled(9, 7, Node::Covered);
        assert!(inflate(&nodes, 0.2).data.iter().all(|&u| u == 0.0));
        nodes.data[20] = Node::Form;
        assert!(inflate(&nodes, 0.2).data.iter().all(|&u| u == 0.0));
        // Something else of it with a rim, elsewhere, says nothing of it.
        for y in 0..7 {
            nodes.data[y * 9 + 5] = Node::Beyond;
            nodes.data[y * 9 + 6] = Node::Form;
        }
        let u = inflate(&nodes, 0.2);
        assert!(u.data[20] == 0.0 && u.at(6, 3) > 0.0);
    }
}
