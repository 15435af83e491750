//! A few pens on a scrap of any card, without a sheet: each named by a place in the photo.
//!
//! Nothing tells the camera's curve or the glare here, so that the values are uncertain by nature and say so.

use crate::color::Srgb8;
use crate::error::{Error, Result};
use crate::reference::Photo;

use super::boxes::{Seen, against};
use super::faults::Fault;
use super::read::own_picture;
use super::stacks::BRIGHTEST;
use super::view::{Paper, Sample, View};

/// Half the side of the square that is measured around a place, as a part of the photo's longer side.
const AROUND: f64 = 0.006;
/// The bare card is looked for up to this far around it, as a part of the photo's longer side.
const FAR: f64 = 0.15;
/// Directions in which it is looked for.
const RAYS: usize = 32;
/// A tapped place whose samples differ by more than this, in code values, is no even patch of ink; from memory.
const UNEVEN: f64 = 0.06;

/// A place in a photo.
#[derive(Debug, Clone, PartialEq)]
pub struct Tap {
    /// Index of the pen.
    pub pen: usize,
    /// From the photo's top left, in pixels of the upright photo.
    pub at: [f64; 2],
}

/// Reads the color at every place, against the bare card around it. `paper` is the color of the bare card.
///
/// # Errors
/// If a place lies outside the photo.
pub fn read_scrap(photo: &Photo, taps: &[Tap], paper: Srgb8) -> Result<Vec<Seen>> {
    let (w, h) = photo.upright_size();
    let (picture, scale) = own_picture(photo);
    let place = move |[x, y]: [f64; 2]| [x * scale, y * scale];
    let view = View {
        picture: &picture,
        place: &place,
    };
    let long = w.max(h) as f64;
    taps.iter()
        .map(|tap| {
            let [x, y] = tap.at;
            if !(x >= 0.0 && y >= 0.0 && x < w as f64 && y < h as f64) {
                return Err(Error::file(
                    &photo.path,
                    format!("the place {x},{y} lies outside the photo of {w} x {h} pixels"),
                    "Give pixels from the photo's top left corner, across and down.",
                ));
            }
            Ok(read_place(&view, tap.at, long, paper))
        })
        .collect()
}

fn read_place(view: &View, [x, y]: [f64; 2], long: f64, paper: Srgb8) -> Seen {
    let half = AROUND * long;
    let sample = |at: [f64; 2]| Sample {
        at,
        code: view.at(at),
    };
    let ink: Vec<Sample> = (0..15 * 15)
        .map(|i| {
            let across = |k: usize| (k as f64 - 7.0) / 7.0 * half;
            sample([x + across(i % 15), y + across(i / 15)])
        })
        .collect();
    let mut greens: Vec<f64> = ink.iter().map(|s| s.code[1]).collect();
    greens.sort_by(f64::total_cmp);
    if greens[200] - greens[24] > 2.0 * UNEVEN {
        return Seen::Fault(Fault::HalfColored);
    }
    // The lightest along every ray is card, unless the ray meets none.
    let light = |s: &Sample| s.code.iter().sum::<f64>();
    let card: Vec<Sample> = (0..RAYS)
        .flat_map(|k| {
            let (sin, cos) = (k as f64 / RAYS as f64 * std::f64::consts::TAU).sin_cos();
            let mut ray: Vec<Sample> = (1..=60)
                .map(|i| {
                    let far = f64::from(i) / 60.0 * FAR * long;
                    sample([x + far * cos, y + far * sin])
                })
                .collect();
            ray.sort_by(|a, b| light(b).total_cmp(&light(a)));
            // Not the very lightest, which is noise.
            ray.into_iter().skip(3).take(6)
        })
        .collect();
    let white = Paper::fit(&card);
    if white.at([x, y]).iter().any(|&v| v > BRIGHTEST) {
        return Seen::Fault(Fault::TooBright);
    }
    Seen::Color(against(&ink, &white, paper))
}
