//! From pixel cracks to one smooth curve.
//!
//! The staircase is smoothed by a Gaussian along its length, with the ends held in place, then drawn as cubic Beziers
//! through evenly spaced points (Catmull and Rom 1974). The blur leaves nothing finer than the spacing, so the curve
//! runs through all it skips. Where fewer points tell the same curve, the others are left out: what is drawn, printed and
//! sent to a phone in every sheet is then a fraction of it.
//!
//! `kurbo::simplify` does not serve for that: ink of a drawing has kept kurbo 0.13 busy for minutes.

use kurbo::{BezPath, CubicBez, ParamCurve, Point, Vec2};

/// A smooth curve along `points`, which are a step apart, blurred by `sigma` steps, with a node every `spacing` steps but
/// those that the curve passes within `tolerance` steps without them. Ends of an open curve stay where they are.
pub fn smooth_curve(
    points: &[Point],
    closed: bool,
    sigma: f64,
    spacing: usize,
    tolerance: f64,
) -> BezPath {
    let n = points.len();
    let mut path = BezPath::new();
    if n < 2 {
        return path;
    }
    let reach = (3.0 * sigma).ceil() as isize;
    let weight: Vec<f64> = (-reach..=reach)
        .map(|k| (-(k as f64).powi(2) / (2.0 * sigma * sigma)).exp())
        .collect();
    let total: f64 = weight.iter().sum();
    let last = n as isize - 1;
    // Beyond an open end the curve is continued by point reflection, which keeps the end in place; beyond that, by
    // the reflection of the other end.
    let at = |i: isize| -> Point {
        if closed {
            points[i.rem_euclid(n as isize) as usize]
        } else if i < 0 {
            let p = points[(-i).min(last) as usize];
            (2.0 * points[0].to_vec2() - p.to_vec2()).to_point()
        } else if i > last {
            let p = points[(2 * last - i).max(0) as usize];
            (2.0 * points[n - 1].to_vec2() - p.to_vec2()).to_point()
        } else {
            points[i as usize]
        }
    };
    let smoothed = |i: usize| -> Point {
        let mut sum = Vec2::ZERO;
        for (k, w) in weight.iter().enumerate() {
            sum += *w * at(i as isize + k as isize - reach).to_vec2();
        }
        (sum / total).to_point()
    };
    let length = if closed { n } else { n - 1 };
    let pieces = length.div_ceil(spacing).max(if closed { 3 } else { 1 });
    // As far apart as each other, or the curve would be passed at an uneven speed.
    let node = |k: usize| {
        let along = (k * length) as f64 / pieces as f64;
        let (i, beyond) = (along as usize, along.fract());
        match beyond {
            0.0 => smoothed(i % n),
            _ => smoothed(i % n).lerp(smoothed((i + 1) % n), beyond),
        }
    };
    let mut nodes: Vec<Point> = (0..pieces).map(node).collect();
    if !closed {
        nodes.push(points[n - 1]);
        nodes[0] = points[0];
    }
    let m = nodes.len() as isize;
    let get = |k: isize| {
        if closed {
            nodes[k.rem_euclid(m) as usize]
        } else {
            nodes[k.clamp(0, m - 1) as usize]
        }
    };
    // The way per piece at a node.
    let speed = |k: isize| 0.5 * (get(k + 1) - get(k - 1));
    path.move_to(nodes[0]);
    let mut from = 0;
    while from < pieces as isize {
        let to = farthest(from, pieces as isize, |to| {
            let curve = hermite([get(from), get(to)], [speed(from), speed(to)], to - from);
            let share = |k: isize| (k - from) as f64 / (to - from) as f64;
            (from + 1..to).all(|k| curve.eval(share(k)).distance(get(k)) <= tolerance)
        });
        let curve = hermite([get(from), get(to)], [speed(from), speed(to)], to - from);
        path.curve_to(curve.p1, curve.p2, curve.p3);
        from = to;
    }
    if closed {
        path.close_path();
    }
    path
}

/// The last of `from + 1 ..= end` up to which all that were looked at hold, one after the other.
fn farthest(from: isize, end: isize, holds: impl Fn(isize) -> bool) -> isize {
    (from + 2..=end)
        .find(|&to| !holds(to))
        .map_or(end, |to| to - 1)
}

/// The cubic between two points that are passed with these speeds, `pieces` of time apart.
fn hermite([a, b]: [Point; 2], [at_a, at_b]: [Vec2; 2], pieces: isize) -> CubicBez {
    let third = pieces as f64 / 3.0;
    CubicBez::new(a, a + third * at_a, b - third * at_b, b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::borders::arcs::trace_chains;
    use crate::grid::Grid;
    use kurbo::ParamCurveNearest;

    #[test]
    fn a_disk_of_pixels_becomes_a_circle_of_the_same_size() {
        let (c, r) = (60.0, 40.0);
        let map = Grid {
            width: 120,
            height: 120,
            data: (0..120 * 120)
                .map(|i| {
                    let (x, y) = ((i % 120) as f64 + 0.5 - c, (i / 120) as f64 + 0.5 - c);
                    u16::from(x.hypot(y) < r)
                })
                .collect(),
        };
        let chain = trace_chains(&map)
            .into_iter()
            .find(|k| k.closed && k.left.max(k.right) == 1)
            .unwrap();
        let points: Vec<Point> = chain
            .points
            .iter()
            .map(|&(x, y)| Point::new(x.into(), y.into()))
            .collect();
        let path = smooth_curve(&points, true, 4.0, 8, 0.2);
        for seg in path.segments() {
            for t in [0.0, 0.5] {
                let p = seg.eval(t);
                let off = (p.x - c).hypot(p.y - c) - r;
                // 0.6 px is 0.06 mm in the working frame.
                assert!(off.abs() < 0.6, "{off}");
            }
        }
    }

    #[test]
    fn open_ends_stay_in_place() {
        let points: Vec<Point> = (0..20)
            .map(|i| Point::new(f64::from(i / 2), f64::from((i + 1) / 2)))
            .collect();
        let path = smooth_curve(&points, false, 4.0, 8, 0.2);
        let start = path.segments().next().unwrap().start();
        let end = path.segments().last().unwrap().end();
        assert_eq!((start, end), (points[0], points[19]));
    }

    #[test]
    fn nodes_are_left_out_where_the_curve_is_the_same_without_them() {
        // A staircase along a straight line that rises by one in four, and a wave; lengths that no spacing divides.
        let steps = |of: fn(f64) -> f64| -> Vec<Point> {
            let rise = |x: u32| of(f64::from(x)).round();
            let corner = |x: u32| {
                [
                    Point::new(x.into(), rise(x)),
                    Point::new((x + 1).into(), rise(x)),
                ]
            };
            (0..481).flat_map(corner).collect()
        };
        let line = steps(|x| 0.25 * x);
        let wave = steps(|x| 20.0 * (x / 40.0).sin());
        for (points, most) in [(line, 8), (wave, 60)] {
            let all = smooth_curve(&points, false, 10.0, 8, 0.0);
            let few = smooth_curve(&points, false, 10.0, 8, 0.2);
            assert!(all.segments().count() > 100);
            assert!(few.segments().count() <= most, "{}", few.segments().count());
            for p in all.segments().map(|s| s.eval(0.5)) {
                let near = |s: kurbo::PathSeg| s.nearest(p, 1e-6).distance_sq.sqrt();
                let off = few.segments().map(near).fold(f64::INFINITY, f64::min);
                assert!(off < 0.25, "{off} at {p:?}");
            }
        }
    }
}
