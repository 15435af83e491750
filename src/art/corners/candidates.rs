//! Four edges that face each other, and how much they look like a panel.

use imageproc::filter::gaussian_blur_f32;

use crate::grid::Grid;

use super::Corners;
use super::edges::{Edge, LEAST_SIDE, LEAST_STEP, strongest_edges};
use super::shape::shape_of;

/// Smoothing before gradients are taken, in pixels of the search.
const SMOOTHING: f32 = 1.2;
/// Sides of a panel meet at angles between these in a photo taken at up to about 40 degrees, in degrees.
const MEETING: std::ops::RangeInclusive<f64> = 48.0..=132.0;
/// Distance from the rim at which desk and paper are compared, in pixels of the search.
const STEP_PX: f64 = 4.0;
/// Part of every side that must step from desk to paper.
const LEAST_SUPPORT: f64 = 0.7;
/// How far the shape may be from the panel's, as a ratio. A strong perspective changes it by less.
const SHAPE: f64 = 1.25;

/// The best four edges of `picture`, with their score: corners clockwise, in its pixels.
pub fn best_quad(picture: &Grid<f32>, ratio: f64) -> Option<(f64, Corners)> {
    let (w, h) = (picture.width, picture.height);
    if w < 32 || h < 32 {
        return None;
    }
    let smooth: Grid<f32> = gaussian_blur_f32(&picture.clone().into_image(), SMOOTHING).into();
    let lighter_inside = strongest_edges(&smooth);
    let darker_inside: Vec<Edge> = lighter_inside.iter().map(|e| e.turned()).collect();
    let mut best: Option<(f64, Corners)> = None;
    for (edges, sign) in [(lighter_inside, 1.0), (darker_inside, -1.0)] {
        let mut edges = edges;
        let angle = |e: &Edge| e.normal[1].atan2(e.normal[0]).to_degrees();
        edges.sort_by(|a, b| angle(a).total_cmp(&angle(b)));
        let meet =
            |a: &Edge, b: &Edge| MEETING.contains(&((angle(b) - angle(a)).rem_euclid(360.0)));
        let n = edges.len();
        for i in 0..n {
            for j in (i + 1..n).filter(|&j| meet(&edges[i], &edges[j])) {
                for k in (j + 1..n).filter(|&k| meet(&edges[j], &edges[k])) {
                    for l in k + 1..n {
                        if !(meet(&edges[k], &edges[l]) && meet(&edges[l], &edges[i])) {
                            continue;
                        }
                        let four = [edges[i], edges[j], edges[k], edges[l]];
                        let Some((score, corners)) = rate(&smooth, &four, sign, ratio) else {
                            continue;
                        };
                        if best.as_ref().is_none_or(|b| score > b.0) {
                            best = Some((score, corners));
                        }
                    }
                }
            }
        }
    }
    best
}

/// How good a panel four edges make, and its corners; `None` if none.
fn rate(smooth: &Grid<f32>, four: &[Edge; 4], sign: f32, ratio: f64) -> Option<(f64, Corners)> {
    let (w, h) = (smooth.width as f64, smooth.height as f64);
    let mut corners = [[0.0; 2]; 4];
    for i in 0..4 {
        // Side i runs from corner i to corner i + 1.
        let [x, y] = four[i].meets(&four[(i + 3) % 4])?;
        corners[i] = [x + w / 2.0, y + h / 2.0];
        if !(-1.0..=w + 1.0).contains(&corners[i][0]) || !(-1.0..=h + 1.0).contains(&corners[i][1])
        {
            return None;
        }
    }
    for (i, edge) in four.iter().enumerate() {
        let far = [corners[(i + 2) % 4], corners[(i + 3) % 4]];
        if far
            .iter()
            .any(|p| edge.height_of([p[0] - w / 2.0, p[1] - h / 2.0]) < LEAST_SIDE * w.min(h))
        {
            return None;
        }
    }
    let shape = shape_of(&corners, w, h);
    let off = (shape / ratio)
        .max(ratio / shape)
        .min((shape * ratio).max(1.0 / (shape * ratio)));
    if off.is_nan() || off > SHAPE {
        return None;
    }
    let (mut weighed, mut around) = (0.0, 0.0);
    for i in 0..4 {
        let (p, q) = (corners[i], corners[(i + 1) % 4]);
        let length = (q[0] - p[0]).hypot(q[1] - p[1]);
        let support = support(smooth, p, q, four[i].normal, sign);
        if support < LEAST_SUPPORT {
            return None;
        }
        weighed += support * length;
        around += length;
    }
    let area: f64 = (0..4)
        .map(|i| {
            let (p, q) = (corners[i], corners[(i + 1) % 4]);
            (p[0] * q[1] - p[1] * q[0]) / 2.0
        })
        .sum();
    // Of two that are equally well seen, the larger is the panel and the smaller a frame drawn on it.
    let score = weighed / around * (1.0 + 0.3 * area / (w * h)) / off;
    Some((score, corners))
}

/// The part of the side from `p` to `q` along which the picture steps up toward `normal` (down for `sign` -1).
fn support(smooth: &Grid<f32>, p: [f64; 2], q: [f64; 2], normal: [f64; 2], sign: f32) -> f64 {
    let count = 48;
    let inside = |x: f64, y: f64| {
        let (x, y) = (
            x.clamp(0.0, smooth.width as f64 - 1.0) as usize,
            y.clamp(0.0, smooth.height as f64 - 1.0) as usize,
        );
        smooth.at(x, y)
    };
    let steps: Vec<f32> = (0..count)
        .map(|k| {
            let t = 0.04 + 0.92 * (k as f64 + 0.5) / count as f64;
            let (x, y) = (p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]));
            let (dx, dy) = (STEP_PX * normal[0], STEP_PX * normal[1]);
            sign * (inside(x + dx, y + dy) - inside(x - dx, y - dy))
        })
        .collect();
    let mut sorted = steps.clone();
    sorted.sort_by(f32::total_cmp);
    let least = LEAST_STEP.max(0.3 * sorted[count / 2]);
    steps.iter().filter(|&&s| s >= least).count() as f64 / count as f64
}
