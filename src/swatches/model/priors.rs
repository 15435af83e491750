//! What is known before anything is seen: of printers, lenses, cameras, lamps and glare.

use nalgebra::{Cholesky, DVector, Dyn};

use super::super::curve::{LIFT, TOE, decode, encode};
use super::super::field::Row;
use super::super::layout::STEPS;
use super::Model;
use super::equations::{Equations, Purpose};
use super::unknowns::{BLACK, GAIN, GRAYS, LAMP, MIX, PLANES, SHARED, STRAY, VEIL};

/// Degrees of freedom of the scale that all that is unusual shares: wide open, as of Cauchy's distribution. From memory.
const UNUSUAL_FREEDOM: f64 = 1.0;
/// Standard deviation of the code value of no light at all: cameras show black as black, or cut it off, or raise it.
const BLACK_PRIOR: f64 = 0.04;
/// Standard deviation of how much darker or lighter a printer makes its middle gray, in code values: 0.026 are the 4 % of
/// tone value that ISO 12647-2 allows its midtones to be off by, two of them.
const GAIN_PRIOR: f64 = 0.013;
/// Standard deviation of the light that a printer's black gives back and the gray should not, as a part of that of paper:
/// black is L* 16 on coated and 31 on uncoated paper (ISO 12647-2), which is 0.02 and 0.07; the darkest step has 0.02. Most
/// printers at home lie between.
const INK_PRIOR: f64 = 0.008;
/// Standard deviation of one gray apart from the others, in code values; and of a channel of it apart from the others: its
/// tint. From memory.
const STEP_PRIOR: f64 = 0.004;
const TINT_PRIOR: f64 = 0.006;
/// Light that strays in the lens, the same all over the picture, as a part of white, beyond what the camera's curve makes
/// up for; a phone's lens has 1 to 2 % of it (veiling glare, measured as in ISO 9358). From memory.
const STRAY_PRIOR: f64 = 0.002;
/// Stray light and a printer's black give light: below nothing they are only by noise, with these standard deviations, as
/// parts of white and of paper.
const NO_STRAY: f64 = 0.0003;
const NO_BLACK: f64 = 0.001;
/// What is not known of something that cannot be below nothing, and is not above: standard deviation of half of a normal
/// distribution, as a part of that of the whole, which is sqrt(1 - 2 / pi); added to a prior of 1, so that both give it.
const HALF: f64 = 0.756;
/// How much of one channel's light is taken for another's, as a part of it: cameras do not see as people do, and what
/// their makers do about it is right only about (Luther 1927). From memory.
pub const MIX_PRIOR: f64 = 0.01;
/// How much one channel has more of the glare than another: a lamp of another color than the light. From memory.
const LAMP_PRIOR: f64 = 0.3;
/// Standard deviations of the light's logarithm: of its mean and slopes, and of what is not straight; wide, as lamps are
/// near and windows far. From memory.
const LIGHT_PRIOR: [f64; 2] = [1.0, 0.2];
/// Second differences of the glare from node to node, as a part of what it may be at one: most are far smaller.
const BENT: f64 = 0.5;
/// Glare adds light: below nothing it is only by noise, with this standard deviation, as a part of the light.
const NOT_BELOW: f64 = 0.01;
/// Most places have no glare: what their mean is off by, as a part of the light, lest the fit take a lift of the curve for
/// haze, which is stray light; and what is more glare than theirs. From memory.
const HAZE_PRIOR: f64 = 0.001;
const SOME_VEIL: f64 = 0.02;
/// Where no glare is, what is not known of it is this part of what it may be anywhere: the fit is not drawn to smooth
/// glare, which would bend the curve instead, but its covariance knows that most places have none. From memory.
const CALM: f64 = 0.1;

impl Model {
    /// How unusual printer, lens and black are, learned from a fit: an inverse gamma prior on the square of the scale that
    /// they share, and one step of expectation and maximization (Dempster, Laird and Rubin 1977), in which what no sight
    /// tells of stays as wide as it was. Where all that can be seen is as it should be, it is unlikely that two things are
    /// not and cancel. Never wider than usual: one thing that is off says little of the others.
    pub fn learn_usual(&mut self, covariance: &Cholesky<f64, Dyn>) {
        let unusual = self.unusual_parts();
        let squares = unusual.iter().map(|(row, error)| {
            let mut weights = DVector::zeros(self.unknowns.len());
            row.iter().for_each(|&(i, w)| weights[i] += w);
            let variance = weights.dot(&covariance.solve(&weights));
            (self.sum(row).powi(2) + variance) / (error * error)
        });
        let sum = UNUSUAL_FREEDOM + squares.sum::<f64>();
        self.unusual = (sum / (UNUSUAL_FREEDOM + unusual.len() as f64))
            .sqrt()
            .min(1.0);
    }

    /// What the printer, the lens and the camera's black are off by, as weights of unknowns, and its usual standard
    /// deviation.
    fn unusual_parts(&self) -> [(Row, f64); 4] {
        [
            (vec![(GAIN, 1.0)], GAIN_PRIOR),
            (vec![(BLACK, 1.0)], INK_PRIOR),
            (vec![(STRAY, 1.0)], STRAY_PRIOR),
            (vec![(LIFT, 1.0), (TOE, 1.0)], BLACK_PRIOR),
        ]
    }

    pub(super) fn unusual_priors(&self, equations: &mut Equations, purpose: Purpose) {
        for (row, error) in self.unusual_parts() {
            equations.add(&row, self.sum(&row), self.unusual * error, false);
        }
        let z = &self.unknowns;
        for (i, below, error) in [(STRAY, NO_STRAY, STRAY_PRIOR), (BLACK, NO_BLACK, INK_PRIOR)] {
            if z[i] < 0.0 {
                let error = match purpose {
                    Purpose::Fit { .. } => below,
                    Purpose::Covariance => HALF * self.unusual * error,
                };
                equations.add(&[(i, 1.0)], z[i], error, false);
            }
        }
    }

    pub(super) fn curve_priors(&self, equations: &mut Equations) {
        let z = &self.unknowns;
        for (k, error) in self.usual.curve.into_iter().enumerate() {
            equations.add(&[(k, 1.0)], z[k], error, false);
        }
        for (j, step) in STEPS.into_iter().enumerate() {
            let nominal = f64::from(step) / 255.0;
            // A printer's gain is largest for middle gray, none for paper and full ink.
            let share = 4.0 * nominal * (1.0 - nominal);
            let dark = haze(nominal);
            let at = GRAYS + 3 * j;
            let mean = (0..3).map(|c| z[at + c]).sum::<f64>() / 3.0;
            const THIRD: f64 = 1.0 / 3.0;
            let row = [
                (at, THIRD),
                (at + 1, THIRD),
                (at + 2, THIRD),
                (GAIN, -share),
                (BLACK, -dark),
            ];
            let off = mean - nominal - share * z[GAIN] - dark * z[BLACK];
            equations.add(&row, off, STEP_PRIOR, false);
            for c in 0..3 {
                let row: [(usize, f64); 3] =
                    std::array::from_fn(|k| (at + k, f64::from(u8::from(k == c)) - THIRD));
                equations.add(&row, z[at + c] - mean, TINT_PRIOR, false);
            }
        }
    }

    pub(super) fn light_priors(&self, equations: &mut Equations) {
        let z = &self.unknowns;
        for i in LAMP..MIX {
            equations.add(&[(i, 1.0)], z[i], LAMP_PRIOR, false);
        }
        for i in MIX..STRAY {
            equations.add(&[(i, 1.0)], z[i], MIX_PRIOR, false);
        }
        for i in PLANES..VEIL {
            equations.add(
                &[(i, 1.0)],
                z[i],
                LIGHT_PRIOR[usize::from(i >= SHARED)],
                false,
            );
        }
    }

    pub(super) fn veil_priors(&self, equations: &mut Equations, purpose: Purpose) {
        let z = &self.unknowns;
        let calm = match purpose {
            Purpose::Fit { .. } => 1.0,
            Purpose::Covariance => CALM,
        };
        for i in VEIL..z.len() {
            if z[i] < 0.0 {
                equations.add(&[(i, 1.0)], z[i], NOT_BELOW, false);
            } else {
                equations.add(&[(i, 1.0)], z[i], calm * self.usual.veil, true);
            }
        }
        for mut row in self.spline.bends() {
            for term in &mut row {
                term.0 += VEIL;
            }
            let value = row.iter().map(|&(i, w)| w * z[i]).sum();
            equations.add(&row, value, calm * BENT * self.usual.veil, true);
        }
        // The mean of most places.
        let mut mean: Row = (VEIL..z.len())
            .map(|i| (i, 1.0 / (1.0 + (z[i] / SOME_VEIL).powi(2))))
            .collect();
        let all: f64 = mean.iter().map(|r| r.1).sum();
        mean.iter_mut().for_each(|r| r.1 /= all);
        equations.add(&mean, self.sum(&mean), HAZE_PRIOR, false);
    }
}
/// By how much a gray of this code value grows lighter, in code values, for each part of the light that a printer's black
/// gives back.
fn haze(code: f64) -> f64 {
    const STEP: f64 = 0.02;
    let light = decode(code);
    (encode(light + STEP * (1.0 - light)) - code) / STEP
}
