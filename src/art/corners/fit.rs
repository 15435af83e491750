//! The sides of a candidate, fitted to a fraction of a pixel.

use crate::grid::Grid;

use super::edges::{Edge, LEAST_STEP};
use super::{Channel, Corners};

/// Places along a side that are fitted.
const PLACES: usize = 120;
/// Part of the fitted places that must lie on the line, and how close, in pixels of the fit.
const LEAST_ON_LINE: f64 = 0.5;
const ON_LINE_PX: f64 = 1.5;

/// Fits every side to the steepest places across it within `reach` pixels; `None` if too few lie on a line.
pub fn fitted(
    picture: &Grid<[u8; 4]>,
    channel: Channel,
    corners: Corners,
    reach: f64,
) -> Option<Corners> {
    let middle = [0, 1].map(|c| corners.iter().map(|p| p[c]).sum::<f64>() / 4.0);
    let mut sides = Vec::new();
    for i in 0..4 {
        let (p, q) = (corners[i], corners[(i + 1) % 4]);
        let length = (q[0] - p[0]).hypot(q[1] - p[1]);
        let mut normal = [-(q[1] - p[1]) / length, (q[0] - p[0]) / length];
        if normal[0] * (middle[0] - p[0]) + normal[1] * (middle[1] - p[1]) < 0.0 {
            normal = normal.map(|v| -v);
        }
        let steps = steepest_across(picture, channel, [p, q], normal, reach);
        let (offset, tilt) = robust_line(&steps)?;
        let on_line = |&&(s, d): &&(f64, f64)| (d - offset - tilt * s).abs() < ON_LINE_PX;
        if (steps.iter().filter(on_line).count() as f64) < LEAST_ON_LINE * PLACES as f64 {
            return None;
        }
        let place = |s: f64| {
            let d = offset + tilt * s;
            let t = s / length;
            [0, 1].map(|c| p[c] + t * (q[c] - p[c]) + d * normal[c])
        };
        let (a, b) = (place(0.0), place(length));
        let l = (b[0] - a[0]).hypot(b[1] - a[1]);
        let normal = [-(b[1] - a[1]) / l, (b[0] - a[0]) / l];
        sides.push(Edge {
            normal,
            distance: normal[0] * a[0] + normal[1] * a[1],
        });
    }
    let mut fitted = [[0.0; 2]; 4];
    for i in 0..4 {
        fitted[i] = sides[i].meets(&sides[(i + 3) % 4])?;
    }
    Some(fitted)
}

/// Where the channel changes most across the side from `p` to `q`, at [`PLACES`] along it: pixels from `p`, and along
/// `normal`, within `reach`. Places without a step are left out.
fn steepest_across(
    picture: &Grid<[u8; 4]>,
    channel: Channel,
    [p, q]: [[f64; 2]; 2],
    normal: [f64; 2],
    reach: f64,
) -> Vec<(f64, f64)> {
    let length = (q[0] - p[0]).hypot(q[1] - p[1]);
    let n = (2.0 * reach) as usize + 5;
    let middle = (n - 1) as f64 / 2.0;
    let profiles: Vec<(f64, Vec<f32>)> = (0..PLACES)
        .map(|k| {
            let t = 0.03 + 0.94 * (k as f64 + 0.5) / PLACES as f64;
            let (x, y) = (p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]));
            let at = |m: usize| {
                let d = m as f64 - middle;
                let around = picture.around(x + d * normal[0], y + d * normal[1]);
                around.map(|(p, w)| channel.of(p) * w as f32).iter().sum()
            };
            (t * length, (0..n).map(at).collect())
        })
        .collect();
    // Whether the panel is lighter or darker than the desk along this side.
    let rise = |(_, v): &(f64, Vec<f32>)| v[n - 1] + v[n - 2] - v[0] - v[1];
    let sign = profiles.iter().map(rise).sum::<f32>().signum();
    let steepest = |(s, v): &(f64, Vec<f32>)| {
        let slope: Vec<f32> = (2..n - 2)
            .map(|m| sign * (v[m + 2] + 2.0 * v[m + 1] - 2.0 * v[m - 1] - v[m - 2]))
            .collect();
        let (m, &steepest) = slope.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1))?;
        let at = m as f64 + 2.0 - middle + peak_shift(&slope, m);
        (steepest >= LEAST_STEP).then_some((*s, at))
    };
    profiles.iter().filter_map(steepest).collect()
}

/// How far the top of the parabola through a value and its two neighbors is from the value, at most half a step.
fn peak_shift(values: &[f32], at: usize) -> f64 {
    if at == 0 || at + 1 >= values.len() {
        return 0.0;
    }
    let [before, here, after] = [at - 1, at, at + 1].map(|i| f64::from(values[i]));
    let curve = before - 2.0 * here + after;
    if curve < 0.0 {
        (0.5 * (before - after) / curve).clamp(-0.5, 0.5)
    } else {
        0.0
    }
}

/// The line `y = offset + tilt x` through most of `points`: the median of slopes (Theil 1950, Sen 1968), then least
/// squares over what lies near it.
fn robust_line(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    if points.len() < 8 {
        return None;
    }
    let median = |mut values: Vec<f64>| {
        let middle = values.len() / 2;
        *values.select_nth_unstable_by(middle, f64::total_cmp).1
    };
    let slopes: Vec<f64> = (0..points.len())
        .flat_map(|i| (i + 1..points.len()).map(move |j| (i, j)))
        .map(|(i, j)| (points[j].1 - points[i].1) / (points[j].0 - points[i].0))
        .collect();
    let mut tilt = median(slopes);
    let mut offset = median(points.iter().map(|(x, y)| y - tilt * x).collect());
    for _ in 0..3 {
        let near: Vec<&(f64, f64)> = points
            .iter()
            .filter(|(x, y)| (y - offset - tilt * x).abs() < ON_LINE_PX)
            .collect();
        if near.len() < 4 {
            break;
        }
        let n = near.len() as f64;
        let (mx, my) = near
            .iter()
            .fold((0.0, 0.0), |s, p| (s.0 + p.0 / n, s.1 + p.1 / n));
        let (xx, xy) = near.iter().fold((0.0, 0.0), |s, p| {
            (s.0 + (p.0 - mx).powi(2), s.1 + (p.0 - mx) * (p.1 - my))
        });
        if xx <= 0.0 {
            break;
        }
        tilt = xy / xx;
        offset = my - tilt * mx;
    }
    Some((offset, tilt))
}
