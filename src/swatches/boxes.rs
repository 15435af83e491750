//! One box of a sheet: its color, or what is wrong with it.

use crate::color::{Srgb8, difference};

use super::camera::Camera;
use super::faults::Fault;
use super::layout::Place;
use super::stacks::BRIGHTEST;
use super::value::{UNMEASURED, Value, value};
use super::view::{Code, PAPER_MM, Paper, Sample, View, parts, ring};

/// Above this, in CIEDE2000, it is no value: a color read off a cap is as near.
const NO_VALUE: f32 = UNMEASURED;
/// A box that differs from the paper by less than this, in CIEDE2000, was left empty; from memory.
const EMPTY: f32 = 1.6;
/// Part of a box that is measured: its middle, clear of wobbly edges.
const MIDDLE: f64 = 0.6;
/// A box should be colored this far from its edges, in millimeters.
const FILLED_MM: f64 = 1.6;
/// Paper darker than this code value is lost in noise.
const DARKEST: f64 = 0.06;
/// Glare above this part of the light is not calculated away; from memory.
const GLARE: f64 = 0.12;
/// Glare above this part of the light is named as the reason of an uncertain value.
const SOME_GLARE: f64 = 0.02;
/// Parts of the paper around a box, and of a box, that may be otherwise; from memory.
const PAPER_OFF: f64 = 0.18;
const BARE: f64 = 0.08;
/// Code values that are surely apart: more than noise and streaks; from memory.
pub const APART: f64 = 0.06;

/// What a photo says of a box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seen {
    Empty,
    Color(Value),
    Fault(Fault),
}

/// The color of a box on paper of the color `paper`, or what is wrong with it.
pub fn read_box(view: &View, place: Place, camera: &Camera, paper: Srgb8) -> Seen {
    let [x, y, w, h] = place;
    let white = Paper::fit(&view.around(place, PAPER_MM));
    if let Some(fault) = too_bright_or_dark(white.at([x + w / 2.0, y + h / 2.0])) {
        return Seen::Fault(fault);
    }
    let inner = middle_of(place);
    let middle = |[x, y, w, h]: Place| [x + w / 2.0, y + h / 2.0];
    let points: Vec<[f64; 2]> = parts(inner, [4, 3]).into_iter().map(middle).collect();
    let here = camera.here(&view.means(&ring(place, PAPER_MM)), &points);
    let (value, lighter) = value(&here, &view.over(inner), &white, paper);
    let veil = here.found.veils()[1][1];
    if lighter > value.uncertainty {
        return Seen::Fault(Fault::LighterThanPaper);
    }
    if difference(value.color.lab(), paper.lab()) < EMPTY {
        // Where the light is uneven, a light color and none look alike.
        let untold = value.uncertainty > EMPTY && veil > GLARE;
        return if untold {
            Seen::Fault(Fault::Glare)
        } else {
            Seen::Empty
        };
    }
    let [fx, fy] = [x + FILLED_MM, y + FILLED_MM];
    let filled = view.over([fx, fy, w - 2.0 * FILLED_MM, h - 2.0 * FILLED_MM]);
    let fault = around(&white)
        .or_else(|| inside(&filled, &white))
        .or_else(|| told_badly(&value, veil));
    fault.map_or(Seen::Color(value), Seen::Fault)
}

/// The part of a box that is measured.
pub fn middle_of([x, y, w, h]: Place) -> Place {
    let inset = (1.0 - MIDDLE) / 2.0;
    [x + inset * w, y + inset * h, MIDDLE * w, MIDDLE * h]
}

/// Paper at an end of what the file can tell.
fn too_bright_or_dark(bright: Code) -> Option<Fault> {
    if bright.iter().any(|&v| v > BRIGHTEST) {
        Some(Fault::TooBright)
    } else if bright.iter().any(|&v| v < DARKEST) {
        Some(Fault::TooDark)
    } else {
        None
    }
}

/// What is on the paper around a box: gray where a shadow ends, light where a lamp is mirrored, colored where ink
/// strayed.
fn around(white: &Paper) -> Option<Fault> {
    if white.off <= PAPER_OFF {
        return None;
    }
    let [r, g, b] = white.off_color;
    let (low, high) = (r.min(g).min(b), r.max(g).max(b));
    Some(if high - low >= 0.08 || low <= 0.3 {
        Fault::StrayInk
    } else if low > 1.0 {
        Fault::Glare
    } else {
        Fault::ShadowEdge
    })
}

/// What is in a box besides its ink: bare paper, or a mirrored lamp, which lifts all channels where paper does not show.
fn inside(filled: &[Sample], white: &Paper) -> Option<Fault> {
    let far = |a: Code, b: Code| (0..3).map(|c| (a[c] - b[c]).powi(2)).sum::<f64>().sqrt();
    let from_paper: Vec<f64> = filled.iter().map(|s| far(s.code, white.at(s.at))).collect();
    let mut sorted = from_paper.clone();
    sorted.sort_by(f64::total_cmp);
    let ink = sorted[sorted.len() * 3 / 4];
    // Of a color as light as noise there is nothing to tell.
    if ink < APART {
        return None;
    }
    let part = |count: usize| count as f64 / filled.len() as f64;
    if part(from_paper.iter().filter(|&&d| d < ink / 3.0).count()) > BARE {
        return Some(Fault::HalfColored);
    }
    let usual: Code = std::array::from_fn(|c| {
        let mut all: Vec<f64> = filled.iter().map(|s| s.code[c]).collect();
        all.sort_by(f64::total_cmp);
        all[all.len() / 4]
    });
    let lifted = |s: &&Sample| {
        let by = [0, 1, 2].map(|c| s.code[c] - usual[c]);
        by.iter().all(|&v| v > APART / 3.0) && by.iter().sum::<f64>() > 3.0 * APART
    };
    (part(filled.iter().filter(lifted).count()) > BARE).then_some(Fault::Glare)
}

/// A value that the photo does not tell well enough.
fn told_badly(value: &Value, veil: f64) -> Option<Fault> {
    let untold = value.uncertainty > NO_VALUE;
    if veil > GLARE || (veil > SOME_GLARE && (untold || value.uncertain())) {
        Some(Fault::Glare)
    } else if untold {
        Some(Fault::TooUncertain)
    } else {
        None
    }
}
