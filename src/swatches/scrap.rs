//! A few pens on a scrap of any card, without a sheet: each named by a place in the photo.
//!
//! No gray steps tell the camera's curve here, only what is believed of the pens, about, from their caps or from an earlier
//! measurement, and how cameras usually are: the values are uncertain by nature and say so.

use rayon::prelude::*;

use crate::color::Srgb8;
use crate::error::{Error, Result};
use crate::reference::Photo;

use super::anchors::anchor;
use super::boxes::Seen;
use super::camera::Camera;
use super::faults::Fault;
use super::model::Sight;
use super::read::own_picture;
use super::stacks::{BRIGHTEST, bare};
use super::value::{LIMIT, Value, value};
use super::view::{Paper, Sample, View, middle_mean};

/// Half the side of the square that is measured around a place, as a part of the photo's longer side.
const AROUND: f64 = 0.006;
/// The bare card is looked for up to this far around it, as a part of the photo's longer side.
const FAR: f64 = 0.15;
/// Directions in which it is looked for.
const RAYS: usize = 32;
/// Samples of it along each of them.
const PER_RAY: usize = 6;
/// A tapped place whose samples differ by more than this, in code values, is no even patch of ink; from memory.
const UNEVEN: f64 = 0.06;

/// Length of the photo's longer side in the units of a sheet, about those of a sheet in a photo.
const LONG_MM: f64 = 300.0;

/// A place in a photo.
#[derive(Debug, Clone, PartialEq)]
pub struct Tap {
    /// Index of the pen.
    pub pen: usize,
    /// From the photo's top left, in pixels of the upright photo.
    pub at: [f64; 2],
}

/// A patch of ink and the card around it.
struct Patch {
    ink: Vec<Sample>,
    card: Vec<Sample>,
    white: Paper,
}

/// Reads the color at every place, against the bare card around it. `paper` is the color of the bare card; what is
/// `believed` of the pens, in their order, helps to tell what the camera did.
///
/// # Errors
/// If a place lies outside the photo.
pub fn read_scrap(
    photo: &Photo,
    taps: &[Tap],
    believed: &[Option<Value>],
    paper: Srgb8,
) -> Result<Vec<Seen>> {
    let (w, h) = photo.upright_size();
    for [x, y] in taps.iter().map(|tap| tap.at) {
        if !(x >= 0.0 && y >= 0.0 && x < w as f64 && y < h as f64) {
            return Err(Error::file(
                &photo.path,
                format!("the place {x},{y} lies outside the photo of {w} x {h} pixels"),
                "Give pixels from the photo's top left corner, across and down.",
            ));
        }
    }
    let (picture, scale) = own_picture(photo);
    // In units of which the photo is as long as a sheet.
    let unit = w.max(h) as f64 / LONG_MM;
    let place = move |[x, y]: [f64; 2]| [x * scale * unit, y * scale * unit];
    let view = View {
        picture: &picture,
        place: &place,
    };
    let patches: Vec<std::result::Result<Patch, Fault>> = taps
        .iter()
        .map(|tap| patch(&view, tap.at.map(|v| v / unit)))
        .collect();
    let read = || {
        taps.iter()
            .zip(&patches)
            .filter_map(|(tap, patch)| Some((tap, patch.as_ref().ok()?)))
    };
    // What lies on the plane, once along every ray: shadows and the desk stay out.
    let card: Vec<Sight> = read()
        .flat_map(|(_, patch)| {
            let card = patch.card.iter().step_by(PER_RAY);
            card.flat_map(|s| bare(s.at, patch.white.at(s.at)))
        })
        .collect();
    // The belief in a pen tells of the camera, but not of that pen, or what is measured would lean on it.
    let others = |pen: usize| {
        read()
            .filter(move |(tap, _)| tap.pen != pen)
            .flat_map(|(tap, patch)| {
                let Some(mut value) = believed.get(tap.pen).copied().flatten() else {
                    return Vec::new();
                };
                // Without gray steps the curve is known too little for more.
                value.uncertainty = value.uncertainty.max(LIMIT);
                let ink = Sample {
                    at: tap.at.map(|v| v / unit),
                    code: middle_mean(&patch.ink),
                };
                anchor(ink, patch.white.at(ink.at), value, paper, 1.0)
            })
    };
    let color = |tap: &Tap, patch: &Patch| {
        let sights: Vec<Sight> = card.iter().cloned().chain(others(tap.pen)).collect();
        let camera = Camera::guess(&sights, [w as f64 / unit, h as f64 / unit]);
        let at = [tap.at.map(|v| v / unit)];
        let code = patch.white.at(at[0]);
        let beside = [Sample { at: at[0], code }];
        value(&camera.here(&beside, &at), &patch.ink, &patch.white, paper).0
    };
    let seen = |(tap, patch): (&Tap, &std::result::Result<Patch, Fault>)| match patch {
        Ok(patch) => Seen::Color(color(tap, patch)),
        Err(fault) => Seen::Fault(*fault),
    };
    Ok(taps.par_iter().zip(&patches).map(seen).collect())
}

/// The patch of ink at a place.
fn patch(view: &View, [x, y]: [f64; 2]) -> std::result::Result<Patch, Fault> {
    let half = AROUND * LONG_MM;
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
        return Err(Fault::HalfColored);
    }
    // The lightest along every ray is card, unless the ray meets none.
    let light = |s: &Sample| s.code.iter().sum::<f64>();
    let card: Vec<Sample> = (0..RAYS)
        .flat_map(|k| {
            let (sin, cos) = (k as f64 / RAYS as f64 * std::f64::consts::TAU).sin_cos();
            let mut ray: Vec<Sample> = (1..=60)
                .map(|i| {
                    let far = f64::from(i) / 60.0 * FAR * LONG_MM;
                    sample([x + far * cos, y + far * sin])
                })
                .collect();
            ray.sort_by(|a, b| light(b).total_cmp(&light(a)));
            // Not the very lightest, which is noise.
            ray.into_iter().skip(3).take(PER_RAY)
        })
        .collect();
    let white = Paper::fit(&card);
    if white.at([x, y]).iter().any(|&v| v > BRIGHTEST) {
        return Err(Fault::TooBright);
    }
    Ok(Patch { ink, card, white })
}
