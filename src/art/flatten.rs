//! A panel photographed askew, made flat: perspective taken out and the light evened.

use imageproc::filter::gaussian_blur_f32;
use imageproc::geometric_transformations::Projection;
use rayon::prelude::*;

use crate::color::on_white;
use crate::error::{Error, Result};
use crate::grid::{Grid, blocks};
use crate::reference::{Photo, Warp};

use super::corners::{Corners, shape_of};

/// Distance of the mesh nodes between which the perspective is taken as straight, in millimeters. Between them it is
/// off by less than a hundredth of a pixel.
const NODE_MM: f64 = 0.8;
/// Resolution at which the light is looked at, in millimeters per pixel.
const LIGHT_MM: f64 = 0.4;
/// Half the side of the square within which paper must be seen to tell its light, in millimeters: more than half the
/// width of any drawn line.
const PAPER_WITHIN_MM: f64 = 6.0;
/// The light falls nowhere below this part of its median; what is darker is a black area of the drawing. From memory.
const DEEPEST_SHADOW: f32 = 0.35;
/// Smoothing of the light, in millimeters.
const LIGHT_BLUR_MM: f64 = 0.5;
/// What is dark along the panel's rim no farther in than this is the desk, in millimeters: the precision to which
/// corners are found, doubled.
const RIM_MM: f64 = 1.0;
/// Darker than this part of the paper is dark.
const RIM_DARK: u8 = 190;

/// Width and height of a panel in millimeters as it lies in the photo: its longer side across or upright.
pub fn lying(corners: &Corners, photo: &Photo, sides_mm: [f64; 2]) -> [f64; 2] {
    let (w, h) = photo.upright_size();
    let [short, long] = sides_mm;
    if shape_of(corners, w as f64, h as f64) >= 1.0 {
        [long, short]
    } else {
        [short, long]
    }
}

/// The perspective that takes a frame of `width * height` pixels to `corners`, as a function from frame pixels to
/// photo pixels.
///
/// # Errors
/// If the corners do not span a convex quadrilateral, clockwise from the top left.
pub fn perspective(
    photo: &Photo,
    corners: &Corners,
    width: f64,
    height: f64,
) -> Result<impl Fn([f64; 2]) -> [f64; 2] + Sync + use<>> {
    let turns_right = |i: usize| {
        let [p, q, r] = [0, 1, 2].map(|k| corners[(i + k) % 4]);
        (q[0] - p[0]) * (r[1] - q[1]) - (q[1] - p[1]) * (r[0] - q[0]) > 0.0
    };
    let single = |v: f64| v as f32;
    let to = corners.map(|[x, y]| (single(x), single(y)));
    let (w, h) = (single(width), single(height));
    let from = [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)];
    (0..4)
        .all(turns_right)
        .then(|| Projection::from_control_points(from, to))
        .flatten()
        .map(|projection| {
            move |[x, y]: [f64; 2]| {
                let (u, v) = projection * (x as f32, y as f32);
                [f64::from(u), f64::from(v)]
            }
        })
        .ok_or_else(|| {
            Error::file(
                &photo.path,
                "the corners given do not go around a panel",
                "Give them in photo pixels, clockwise from the panel's top left: --corners 380,300 2860,420 2780,2180 520,2090.",
            )
        })
}

/// The panel between `corners`, flat, in `width * height` pixels of sRGB, its paper evened to white.
///
/// # Errors
/// As [`perspective`].
pub fn flatten(
    photo: &Photo,
    corners: &Corners,
    width: usize,
    height: usize,
    mm_per_px: f64,
) -> Result<Grid<[u8; 3]>> {
    let to_photo = perspective(photo, corners, width as f64, height as f64)?;
    let warp = Warp::new(width, height, NODE_MM / mm_per_px, to_photo);
    let mut picture = warp.sample(photo, width, height).map(on_white);
    even_light(&mut picture, mm_per_px);
    clear_rim(&mut picture, mm_per_px);
    Ok(picture)
}

/// Divides every channel by the light on the paper, so that paper is white from the lit corner to the dim one.
///
/// The light is what a morphological closing leaves (Serra 1982): the lightest around every pixel, taken back to
/// where it came from. It follows a shadow's edge exactly and forgets lines.
pub fn even_light(picture: &mut Grid<[u8; 3]>, mm_per_px: f64) {
    let (width, height) = (picture.width, picture.height);
    let block = (LIGHT_MM / mm_per_px).round().max(1.0) as usize;
    let blocks = blocks(width, height, block);
    let (bw, bh) = (blocks.width, blocks.height);
    let radius = (PAPER_WITHIN_MM / LIGHT_MM).round() as usize;
    let light: Vec<Grid<f32>> = (0..3)
        .into_par_iter()
        .map(|c| {
            let light = blocks.map(|block| {
                let values = block.indices(width).map(|i| u32::from(picture.data[i][c]));
                values.sum::<u32>() as f32 / (block.width * block.height) as f32
            });
            let around = padded(&light, radius);
            let closed = extreme(&extreme(&around, radius, f32::max), radius, f32::min);
            let closed = Grid {
                width: bw,
                height: bh,
                data: (0..bw * bh)
                    .map(|i| closed.at(i % bw + radius, i / bw + radius))
                    .collect(),
            };
            let blur = (LIGHT_BLUR_MM / LIGHT_MM) as f32;
            let mut light: Grid<f32> = gaussian_blur_f32(&closed.into_image(), blur).into();
            let mut sorted = light.data.clone();
            let middle = sorted.len() / 2;
            let floor = DEEPEST_SHADOW * *sorted.select_nth_unstable_by(middle, f32::total_cmp).1;
            light
                .data
                .iter_mut()
                .for_each(|v| *v = v.max(floor).max(1.0));
            light
        })
        .collect();
    picture
        .data
        .par_chunks_mut(width)
        .enumerate()
        .for_each(|(y, row)| {
            let at = |v: usize| (v as f64 + 0.5) / block as f64;
            for (x, p) in row.iter_mut().enumerate() {
                for c in 0..3 {
                    let here = light[c].interpolated(at(x), at(y));
                    p[c] = (f32::from(p[c]) / here * 255.0 + 0.5).min(255.0) as u8;
                }
            }
        });
}

/// The light with `margin` more blocks on every side, where it goes on as it is at the edge: a closing must not fetch
/// its light from farther in. The edge is taken three blocks wide, so that a line along it does not go on as a shadow.
fn padded(light: &Grid<f32>, margin: usize) -> Grid<f32> {
    let lifted = extreme(light, 1, f32::max);
    let (width, height) = (light.width + 2 * margin, light.height + 2 * margin);
    let inner = |v: usize, n: usize| {
        let at = v as isize - margin as isize;
        let inside = (0..n as isize).contains(&at);
        (
            at.clamp(1.min(n as isize - 1), (n as isize - 2).max(0)) as usize,
            inside,
        )
    };
    let data = (0..width * height)
        .map(|i| {
            let ((x, x_in), (y, y_in)) = (
                inner(i % width, light.width),
                inner(i / width, light.height),
            );
            if x_in && y_in {
                light.at(i % width - margin, i / width - margin)
            } else {
                lifted.at(x, y)
            }
        })
        .collect();
    Grid {
        width,
        height,
        data,
    }
}

/// The extreme of the square of `radius` around every value.
fn extreme(values: &Grid<f32>, radius: usize, pick: impl Fn(f32, f32) -> f32) -> Grid<f32> {
    let (w, h) = (values.width, values.height);
    let mut rows = values.clone();
    for y in 0..h {
        for x in 0..w {
            let window =
                &values.data[y * w + x.saturating_sub(radius)..y * w + (x + radius + 1).min(w)];
            rows.data[y * w + x] = window.iter().copied().reduce(&pick).expect("not empty");
        }
    }
    let mut both = rows.clone();
    for y in 0..h {
        let (y0, y1) = (y.saturating_sub(radius), (y + radius + 1).min(h));
        let out = &mut both.data[y * w..(y + 1) * w];
        out.copy_from_slice(&rows.data[y0 * w..(y0 + 1) * w]);
        for v in y0 + 1..y1 {
            for (out, &value) in out.iter_mut().zip(&rows.data[v * w..(v + 1) * w]) {
                *out = pick(*out, value);
            }
        }
    }
    both
}

/// Whitens what is dark along the rim but reaches no farther in: a sliver of the desk.
fn clear_rim(picture: &mut Grid<[u8; 3]>, mm_per_px: f64) {
    let (w, h) = (picture.width, picture.height);
    let ring = (RIM_MM / mm_per_px).round() as usize;
    let depth = |i: usize| {
        let (x, y) = (i % w, i / w);
        x.min(y).min(w - 1 - x).min(h - 1 - y)
    };
    let dark = |p: [u8; 3]| p.iter().min().is_some_and(|&v| v < RIM_DARK);
    let mut seen = vec![false; w * h];
    let rim: Vec<usize> = (0..w * h).filter(|&i| depth(i) == 0).collect();
    for start in rim {
        if seen[start] || !dark(picture.data[start]) {
            continue;
        }
        seen[start] = true;
        let mut piece = vec![start];
        let mut next = 0;
        let mut reaches_in = false;
        while next < piece.len() {
            let i = piece[next];
            next += 1;
            for j in picture.neighbors(i) {
                if !seen[j] && dark(picture.data[j]) {
                    if depth(j) > ring {
                        reaches_in = true;
                    } else {
                        seen[j] = true;
                        piece.push(j);
                    }
                }
            }
        }
        if !reaches_in {
            for i in piece {
                picture.data[i] = [255; 3];
            }
        }
    }
}
