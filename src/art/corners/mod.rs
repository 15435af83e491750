//! The four corners of a panel in a photo of it.
//!
//! Straight edges are voted for by gradient direction (Hough transform in the form of Ballard 1981), four of them that
//! face each other make a candidate, and a candidate counts by how much of its rim really steps from desk to paper.
//! The winner's sides are then fitted to the steepest places across them, to a fraction of a pixel.

mod candidates;
mod edges;
mod fit;
mod shape;

use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::reference::Photo;

pub use shape::shape_of;

use candidates::best_quad;
use fit::fitted;

/// Corners in pixels of the upright photo, clockwise from the panel's top left.
pub type Corners = [[f64; 2]; 4];

/// Longer side of the picture the candidates are looked for in, and of the one they are fitted in, in pixels.
const SEARCH_PX: usize = 640;
const FIT_PX: usize = 1600;
/// Distance across a side within which it is fitted: first, and once it is nearly right, in pixels of the fit.
const REACH: [f64; 2] = [14.0, 6.0];

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
