//! The four corners of a panel in a photo of it.
//!
//! Straight edges are voted for by gradient direction (Hough transform in the form of Ballard 1981), four of them that
//! face each other make a candidate, and a candidate counts by how much of its rim really steps from desk to paper.
//! The winner's sides are then fitted to the steepest places across them, to a fraction of a pixel.

use imageproc::filter::gaussian_blur_f32;

use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::reference::Photo;

/// Corners in pixels of the upright photo, clockwise from the panel's top left.
pub type Corners = [[f64; 2]; 4];

/// Longer side of the picture the candidates are looked for in, and of the one they are fitted in, in pixels.
const SEARCH_PX: usize = 640;
const FIT_PX: usize = 1600;
/// Smoothing before gradients are taken, in pixels of the search.
const SMOOTHING: f32 = 1.2;
/// Cells of the vote: degrees of direction and pixels of distance.
const DIRECTIONS: usize = 360;
const DISTANCE_PX: f64 = 2.0;
/// How far a gradient's direction may be off, in degrees.
const SPREAD: isize = 3;
/// Straight edges that are tried; the panel's four are among the strongest.
const EDGES: usize = 28;
/// Sides of a panel meet at angles between these in a photo taken at up to about 40 degrees, in degrees.
const MEETING: std::ops::RangeInclusive<f64> = 48.0..=132.0;
/// A side is at least this part of the photo's shorter side.
const LEAST_SIDE: f64 = 0.15;
/// Distance from the rim at which desk and paper are compared, in pixels of the search.
const STEP_PX: f64 = 4.0;
/// Least step from desk to paper, in gray levels of 255.
const LEAST_STEP: f32 = 2.0;
/// Part of every side that must step from desk to paper.
const LEAST_SUPPORT: f64 = 0.7;
/// How far the shape may be from the panel's, as a ratio. A strong perspective changes it by less.
const SHAPE: f64 = 1.25;
/// Distance across a side within which it is fitted: first, and once it is nearly right, in pixels of the fit.
const REACH: [f64; 2] = [14.0, 6.0];
/// Places along a side that are fitted.
const PLACES: usize = 120;
/// Part of the fitted places that must lie on the line, and how close, in pixels of the fit.
const LEAST_ON_LINE: f64 = 0.5;
const ON_LINE_PX: f64 = 1.5;
/// Focal length of a phone's main camera, as a part of the photo's longer side (26 mm on 36 mm of film); from memory.
const FOCAL: f64 = 0.72;

/// What a camera looks for paper by: a gray value per color.
#[derive(Clone, Copy)]
enum Channel {
    /// How light it is (the luma of ITU-R BT.601).
    Lightness,
    /// How far it is from the desk's color.
    Apart([f32; 3]),
}

impl Channel {
    fn of(self, [r, g, b, _]: [u8; 4]) -> f32 {
        let [r, g, b] = [f32::from(r), f32::from(g), f32::from(b)];
        match self {
            Self::Lightness => 0.299 * r + 0.587 * g + 0.114 * b,
            Self::Apart(desk) => {
                ((r - desk[0]).powi(2) + (g - desk[1]).powi(2) + (b - desk[2]).powi(2)).sqrt()
            }
        }
    }
}

/// A straight edge: `x cos + y sin = distance`, measured from the picture's middle; the normal (`cos`, `sin`) points
/// to the lighter side.
#[derive(Clone, Copy)]
struct Edge {
    normal: [f64; 2],
    distance: f64,
}

impl Edge {
    fn turned(self) -> Self {
        Self {
            normal: [-self.normal[0], -self.normal[1]],
            distance: -self.distance,
        }
    }

    fn meets(&self, other: &Self) -> Option<[f64; 2]> {
        let ([a, b], [c, d]) = (self.normal, other.normal);
        let det = a * d - b * c;
        (det.abs() > 1e-9).then(|| {
            [
                (self.distance * d - other.distance * b) / det,
                (a * other.distance - c * self.distance) / det,
            ]
        })
    }

    fn height_of(&self, p: [f64; 2]) -> f64 {
        self.normal[0] * p[0] + self.normal[1] * p[1] - self.distance
    }
}

/// Finds the corners of a panel with sides of `sides_mm` (shorter, longer).
///
/// # Errors
/// If the panel fills the frame, or no four edges can be told with confidence.
pub fn find_corners(photo: &Photo, sides_mm: [f64; 2]) -> Result<Corners> {
    let fit = photo.thumbnail(FIT_PX);
    let search = shrunk(&fit, SEARCH_PX);
    let desk = rim_color(&search);
    let ratio = sides_mm[1] / sides_mm[0];
    let found = [Channel::Lightness, Channel::Apart(desk)]
        .into_iter()
        .filter_map(|channel| {
            let picture = search.map(|p| channel.of(p));
            let (score, corners) = best_quad(&picture, ratio)?;
            let scale = fit.width as f64 / search.width as f64;
            let mut corners = corners.map(|p| p.map(|v| v * scale));
            for reach in REACH {
                corners = fitted(&fit, channel, corners, reach)?;
            }
            Some((score, corners))
        })
        .max_by(|a, b| a.0.total_cmp(&b.0));
    let Some((_, corners)) = found else {
        return Err(Error::file(
            &photo.path,
            "the four edges of the panel cannot be told from what it lies on; the panel may fill the photo, be cut \
             off, or lie on something of its own color",
            "Photograph it whole, on something darker, with some of the desk around it; or give its corners with \
             --corners, in photo pixels. If it is a flat scan, leave out --panel and give --width.",
        ));
    };
    let scale = photo.upright_size().0 as f64 / fit.width as f64;
    Ok(from_top_left(corners.map(|p| p.map(|v| v * scale))))
}

/// The rim of a scan of white card is lighter than this, as a mean of its code values; a desk around a panel is darker.
/// From memory.
const WHITE_RIM: f32 = 215.0;
/// How long panels are for their width: square, a quarter of Letter, ISO 216 (ratio of the sides).
const USUAL_RATIOS: [f64; 3] = [1.0, 5.5 / 4.25, std::f64::consts::SQRT_2];
/// A panel on a desk takes this part of its photo; from memory.
const USUAL_SHARE: std::ops::RangeInclusive<f64> = 0.1..=0.92;

/// Whether a picture that is taken for a flat scan looks like a photo of a panel on a desk: something darker around four
/// straight edges.
pub fn looks_like_a_panel(photo: &Photo) -> bool {
    let search = shrunk(&photo.thumbnail(FIT_PX), SEARCH_PX);
    if rim_color(&search).iter().sum::<f32>() / 3.0 > WHITE_RIM {
        return false;
    }
    let (w, h) = photo.upright_size();
    USUAL_RATIOS.into_iter().any(|ratio| {
        find_corners(photo, [1.0, ratio]).is_ok_and(|c| {
            // Twice the area within the corners (the shoelace formula).
            let twice: f64 = (0..4)
                .map(|i| c[i][0] * c[(i + 1) % 4][1] - c[(i + 1) % 4][0] * c[i][1])
                .sum();
            USUAL_SHARE.contains(&(twice.abs() / 2.0 / (w * h) as f64))
        })
    })
}

/// Starts the corners at the top left: the side that runs most nearly to the right is the top.
fn from_top_left(corners: Corners) -> Corners {
    let run = |i: usize| {
        let (p, q) = (corners[i], corners[(i + 1) % 4]);
        (q[0] - p[0]) / (q[0] - p[0]).hypot(q[1] - p[1])
    };
    let first = (0..4)
        .max_by(|&i, &j| run(i).total_cmp(&run(j)))
        .unwrap_or(0);
    [0, 1, 2, 3].map(|i| corners[(first + i) % 4])
}

/// Width by height of the rectangle that a camera of usual focal length sees as `corners` in a picture of
/// `width * height` pixels (Zhang and He 2007, "Whiteboard scanning and image enhancement", with the focal length
/// known).
pub fn shape_of(corners: &Corners, width: f64, height: f64) -> f64 {
    let focal = FOCAL * width.max(height);
    let [p, q, r, s] =
        corners.map(|[x, y]| [(x - width / 2.0) / focal, (y - height / 2.0) / focal, 1.0]);
    let cross = |a: [f64; 3], b: [f64; 3]| {
        [
            a[1] * b[2] - a[2] * b[1],
            a[2] * b[0] - a[0] * b[2],
            a[0] * b[1] - a[1] * b[0],
        ]
    };
    let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    // Depths of the second and fourth corner, the first one's being 1.
    let k2 = dot(cross(p, r), s) / dot(cross(q, r), s);
    let k3 = dot(cross(p, r), q) / dot(cross(s, r), q);
    let side = |k: f64, far: [f64; 3]| {
        let v = [0, 1, 2].map(|c| k * far[c] - p[c]);
        dot(v, v).sqrt()
    };
    side(k2, q) / side(k3, s)
}

/// `picture` averaged down to at most `longest` pixels along its longer side.
fn shrunk(picture: &Grid<[u8; 4]>, longest: usize) -> Grid<[u8; 4]> {
    let scale = longest as f64 / picture.width.max(picture.height) as f64;
    if scale >= 1.0 {
        return picture.clone();
    }
    let size = |v: usize| ((v as f64 * scale).round() as usize).max(1);
    let (width, height) = (size(picture.width), size(picture.height));
    let cut = |i: usize, n: usize, of: usize| i * of / n..((i + 1) * of / n).max(i * of / n + 1);
    let data = (0..width * height)
        .map(|i| {
            let (x, y) = (i % width, i / width);
            let (mut sum, mut count) = ([0u32; 4], 0);
            for v in cut(y, height, picture.height) {
                for u in cut(x, width, picture.width) {
                    let p = picture.at(u, v);
                    for c in 0..4 {
                        sum[c] += u32::from(p[c]);
                    }
                    count += 1;
                }
            }
            sum.map(|s| (s / count) as u8)
        })
        .collect();
    Grid {
        width,
        height,
        data,
    }
}

/// The median color along the picture's rim, channel by channel.
fn rim_color(picture: &Grid<[u8; 4]>) -> [f32; 3] {
    let (w, h) = (picture.width, picture.height);
    let rim: Vec<[u8; 4]> = (0..w * h)
        .filter(|i| {
            let (x, y) = (i % w, i / w);
            x < 4 || y < 4 || x + 4 >= w || y + 4 >= h
        })
        .map(|i| picture.data[i])
        .collect();
    [0, 1, 2].map(|c| {
        let mut values: Vec<u8> = rim.iter().map(|p| p[c]).collect();
        let middle = values.len() / 2;
        f32::from(*values.select_nth_unstable(middle).1)
    })
}

/// The best four edges of `picture`, with their score: corners clockwise, in its pixels.
fn best_quad(picture: &Grid<f32>, ratio: f64) -> Option<(f64, Corners)> {
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

/// The strongest straight edges, normals toward the lighter side.
fn strongest_edges(smooth: &Grid<f32>) -> Vec<Edge> {
    let (w, h) = (smooth.width, smooth.height);
    let (cx, cy) = (w as f64 / 2.0, h as f64 / 2.0);
    let gradient: Vec<[f32; 2]> = (0..w * h)
        .map(|i| {
            let (x, y) = (i % w, i / w);
            if x == 0 || y == 0 || x + 1 == w || y + 1 == h {
                return [0.0; 2];
            }
            [
                smooth.at(x + 1, y) - smooth.at(x - 1, y),
                smooth.at(x, y + 1) - smooth.at(x, y - 1),
            ]
        })
        .collect();
    let mut sizes: Vec<f32> = gradient.iter().map(|g| g[0].hypot(g[1])).collect();
    let middle = sizes.len() / 2;
    let noise = sizes.select_nth_unstable_by(middle, f32::total_cmp).1;
    // Twice the usual gradient is an edge; four times that is as good as any.
    let least = (2.0 * *noise).max(LEAST_STEP / 2.0);
    let full = 4.0 * least;
    let reach = cx.hypot(cy);
    let distances = (2.0 * reach / DISTANCE_PX) as usize + 2;
    let mut votes = vec![0.0f32; DIRECTIONS * distances];
    let directions: Vec<[f64; 2]> = (0..DIRECTIONS)
        .map(|d| {
            let (sin, cos) = (d as f64).to_radians().sin_cos();
            [cos, sin]
        })
        .collect();
    for (i, g) in gradient.iter().enumerate() {
        let size = g[0].hypot(g[1]);
        if size < least {
            continue;
        }
        let (x, y) = ((i % w) as f64 + 0.5 - cx, (i / w) as f64 + 0.5 - cy);
        let toward = f64::from(g[1]).atan2(f64::from(g[0])).to_degrees().round() as isize;
        for d in toward - SPREAD..=toward + SPREAD {
            let d = d.rem_euclid(DIRECTIONS as isize) as usize;
            let r = directions[d][0] * x + directions[d][1] * y;
            votes[d * distances + ((r + reach) / DISTANCE_PX) as usize] += size.min(full) / full;
        }
    }
    let mut edges = Vec::new();
    while edges.len() < EDGES {
        let (at, &most) = votes
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)))
            .expect("there are votes");
        if most < LEAST_SIDE as f32 * w.min(h) as f32 / 8.0 {
            break;
        }
        let (d, r) = (at / distances, at % distances);
        edges.push(Edge {
            normal: directions[d],
            distance: (r as f64 + 0.5) * DISTANCE_PX - reach,
        });
        // Take away what is nearly the same edge.
        for near in -5..=5isize {
            let d = (d as isize + near).rem_euclid(DIRECTIONS as isize) as usize;
            for r in r.saturating_sub(3)..(r + 4).min(distances) {
                votes[d * distances + r] = 0.0;
            }
        }
    }
    edges
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

/// Fits every side to the steepest places across it within `reach` pixels; `None` if too few lie on a line.
fn fitted(
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
