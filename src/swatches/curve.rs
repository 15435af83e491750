//! A camera's tone curve, undone: from code values to light.

use super::view::Code;

/// Half waves of the curve.
const WAVES: usize = 4;
/// Parameters of the curve: a lift of black, its waves, and a toe.
pub const BENDS: usize = WAVES + 2;
/// Index of the lift and of the toe: together, what code value 0 is.
pub const LIFT: usize = 0;
pub const TOE: usize = WAVES + 1;
/// The toe is a third at this code value.
const TOE_REACH: f64 = 0.07;
/// Below this code value, light may be cut off: noise about 0 has one side only.
const CUT: f64 = 0.024;
/// A curve rises everywhere by at least this part of sRGB's.
const LEAST_SLOPE: f64 = 0.25;

/// sRGB's decoding (IEC 61966-2-1) of a code value that was bent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// How far black is lifted, the weights of one half wave, two and more, and the toe, in code values.
    pub bends: [f64; BENDS],
    /// What is missing of the value where it is cut off, 0 to 1.
    pub cut: f64,
}

impl Curve {
    /// Relative light of a code value from 0 to 1; a little below 0 where black is raised.
    pub fn light(&self, code: f64) -> f64 {
        let bent = self.bent(code);
        decode(bent - self.cut * bent.max(0.0) * (1.0 - code / CUT).max(0.0))
    }

    pub fn lights(&self, code: Code) -> [f64; 3] {
        code.map(|v| self.light(v))
    }

    /// Slope of a function of the light at a code value.
    pub fn slope(&self, code: f64, of: impl Fn(f64) -> f64) -> f64 {
        const STEP: f64 = 1e-3;
        (of(self.light(code + STEP)) - of(self.light(code - STEP))) / (2.0 * STEP)
    }

    fn bent(&self, code: f64) -> f64 {
        let (lift, toe) = (self.bends[LIFT], self.bends[TOE]);
        let (sin, cos) = (std::f64::consts::PI * code).sin_cos();
        // Sines of the multiples of an angle (Chebyshev's recurrence).
        let (mut before, mut wave, mut waves) = (0.0, sin, 0.0);
        for weight in &self.bends[LIFT + 1..TOE] {
            waves += weight * wave;
            (before, wave) = (wave, 2.0 * cos * wave - before);
        }
        code + lift * (1.0 - code) + waves + toe * (-code / TOE_REACH).exp()
    }

    pub fn rises(&self) -> bool {
        (0..50).all(|i| {
            let v = f64::from(i) / 50.0;
            self.bent(v + 0.02) - self.bent(v) >= 0.02 * LEAST_SLOPE
        })
    }
}

/// sRGB decoding, going on straight below 0.
pub fn decode(v: f64) -> f64 {
    if v <= 0.040_45 {
        v / 12.92
    } else {
        ((v + 0.055) / 1.055).powf(2.4)
    }
}

/// sRGB encoding, going on straight below 0.
pub fn encode(v: f64) -> f64 {
    if v <= 0.003_130_8 {
        12.92 * v
    } else {
        1.055 * v.powf(1.0 / 2.4) - 0.055
    }
}
