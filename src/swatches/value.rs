//! A color and how far it may be off, from ink and the paper around it.

use nalgebra::Vector3;
use palette::convert::FromColorUnclamped;
use palette::{LinSrgb, Srgb};

use crate::color::{Lab, Srgb8, difference};

use super::camera::{Found, Here};
use super::curve::{decode, encode};
use super::view::{Code, Paper, Sample, middle_mean};

/// A value whose uncertainty is above this, in CIEDE2000, is marked uncertain.
pub const LIMIT: f32 = 4.0;
/// How uncertain a color is that nobody measured, in CIEDE2000: read off a cap or a maker's chart; from memory.
pub const UNMEASURED: f32 = 8.0;
/// What no photo tells, in CIEDE2000, one standard deviation: grain of the paper, streaks.
const FLOOR: f32 = 0.35;
/// How far a curve that is none of the fitted family may be off in its middle, one standard deviation in code values;
/// from memory.
const CURVE_DOUBT: f64 = 0.006;
/// Patches of a box that are compared.
const PATCHES: usize = 6;

/// A measured color.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    pub color: Srgb8,
    /// The true color is nearer than this in 19 of 20 cases, in CIEDE2000.
    pub uncertainty: f32,
}

impl Value {
    /// Is it to be marked as uncertain?
    pub fn uncertain(&self) -> bool {
        self.uncertainty > LIMIT
    }
}

/// What was measured of a pen before: of one coat and of two.
pub type Known = [Option<Value>; 2];

/// The color of ink beside the paper of `white`, which is `paper`; and how much lighter than paper it seems, in L*.
///
/// Its variance is the sum of what comes of everything that is not known, one at a time (propagation of uncertainty, JCGM
/// 100:2008): the camera and the light here, noise, and what the patches of the box are apart.
pub fn value(here: &Here, ink: &[Sample], white: &Paper, paper: Srgb8) -> (Value, f32) {
    let code = middle_mean(ink);
    let bright = white.at(middle(ink));
    let own = Own(paper);
    let part = part(&here.found, code, bright);
    let lab = own.lab(part);
    let apart = |other: [f64; 3]| difference(lab, own.lab(other)).powi(2);
    // Darker than black cannot be: what is missing is an error, too.
    let mut square = FLOOR.powi(2) + apart(part.map(|v| v.max(0.0)));
    for column in &here.doubt {
        // Both ways: what is cut off at black moves one way only.
        let both = [1.0, -1.0].map(|sign| {
            let moved = here.found.moved(&column.map(|v| sign * v));
            apart(self::part(&moved, code, bright))
        });
        square += both[0].max(both[1]);
    }
    for c in 0..3 {
        let mut near = code;
        near[c] += here.noise;
        square += apart(self::part(&here.found, near, bright));
    }
    square += apart(part.map(|v| {
        let code = encode(v);
        decode(code + CURVE_DOUBT * 4.0 * code * (1.0 - code))
    }));
    let chunk = ink.len().div_ceil(PATCHES).max(1);
    let patches: Vec<f32> = ink
        .chunks(chunk)
        .map(|p| apart(self::part(&here.found, middle_mean(p), white.at(middle(p)))))
        .collect();
    square += patches.iter().sum::<f32>() / patches.len() as f32 / 4.0;
    let value = Value {
        color: own.color(part),
        // Two standard deviations.
        uncertainty: 2.0 * square.sqrt(),
    };
    (value, lab.l - own.lab([1.0; 3]).l)
}

/// How much of the light ink gives back, as a part of what paper does.
fn part(found: &Found, code: Code, bright: Code) -> [f64; 3] {
    let curve = found.curve();
    let [around, on_ink] = found.veils();
    let (dark, light) = (curve.lights(code), curve.lights(bright));
    let seen = Vector3::from_fn(|c, _| {
        let seen = dark[c] / light[c].max(1e-4) * (1.0 + around[c]);
        (seen - on_ink[c]).min(2.0)
    });
    let part = found.mix().try_inverse().map_or(seen, |m| m * seen);
    part.into()
}

fn middle(samples: &[Sample]) -> [f64; 2] {
    [0, 1].map(|c| samples.iter().map(|s| s.at[c]).sum::<f64>() / samples.len() as f64)
}

/// The paper as its owner knows it.
struct Own(Srgb8);

impl Own {
    fn linear(&self, part: [f64; 3]) -> LinSrgb<f32> {
        let own = self.0.0.map(|v| decode(f64::from(v) / 255.0));
        let [r, g, b] = [0, 1, 2].map(|c| (part[c] * own[c]) as f32);
        LinSrgb::new(r, g, b)
    }

    fn lab(&self, part: [f64; 3]) -> Lab {
        // Not brought back into the range of L*: what is lighter than paper must show.
        Lab::from_color_unclamped(self.linear(part))
    }

    /// Ink takes light away in every channel.
    fn color(&self, part: [f64; 3]) -> Srgb8 {
        let rgb: Srgb<u8> = Srgb::from_linear(self.linear(part.map(|v| v.clamp(0.0, 1.0))));
        Srgb8::new(rgb.red, rgb.green, rgb.blue)
    }
}
