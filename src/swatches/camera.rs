//! What a camera and the light did to a sheet: one tone curve for all channels, and a veil of glare from place to place.
//!
//! The same gray steps stand in many places of a sheet, each beside bare paper. The light on a step and on the paper
//! beside it is the same, so the ratio of the two, once the camera's curve is undone, is the gray itself wherever it
//! stands; glare adds the same to both and lifts the dark steps most. Found together by Gauss-Newton with Cauchy
//! weights and normal priors (maximum a posteriori): the curve, the grays as this printer made them, and the glare at
//! every stack. A curve from many lights on one unknown gray is the idea of Debevec and Malik (1997); as there, one
//! thing stays open, how contrasty everything is, and the priors settle it: printed grays are roughly what they should
//! be, most places have no glare, and a camera's curve is a bent sRGB curve.

use nalgebra::{DMatrix, DVector, Matrix4};

use super::layout::STEPS;
use super::view::Code;

/// Parameters of the curve.
const CURVE: usize = 4;
/// Standard deviations of the curve's parameters, in code values: how far it lifts black, and the weights of one, two
/// and three half waves. Wide: a curve of 20 % more contrast needs up to 0.09 of lift and 0.06 of a wave. From memory.
const CURVE_PRIOR: [f64; CURVE] = [0.06, 0.2, 0.2, 0.15];
/// Standard deviation of how much darker or lighter a printer makes its middle gray, in code values; of one gray apart
/// from the others; and of a channel of it apart from the others: its tint. Narrower than printers are: what is not the
/// printer's is the camera's, and cameras bend far more. What a printer may truly add is in [`PRINTER_DOUBT`]. Weighed
/// over simulated cameras and printers.
const GAIN_PRIOR: f64 = 0.006;
const STEP_PRIOR: f64 = 0.004;
const TINT_PRIOR: f64 = 0.006;
/// How far a printer's middle gray may be off unseen, one standard deviation in code values; from memory.
pub const PRINTER_DOUBT: f64 = 0.008;
/// What is not known of a curve without any gray steps: cameras' curves about sRGB, in code values; from memory.
const UNKNOWN: [f64; CURVE] = [0.02, 0.03, 0.03, 0.01];
/// Glare that most places stay below, as a part of the light.
const VEIL_PRIOR: f64 = 0.01;
/// What a step may be off, in code values: less than a hundredth by noise, the rest by print and paper. From memory.
const STEP_ERROR: f64 = 0.01;
const ROUNDS: usize = 25;
/// A curve rises everywhere by at least this part of sRGB's.
const LEAST_SLOPE: f64 = 0.25;

/// A camera's tone curve, undone: from code values to light. sRGB's decoding (IEC 61966-2-1) of a code value that was
/// bent by a lift of black and three half waves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve(pub [f64; CURVE]);

impl Curve {
    /// Relative light of a code value from 0 to 1; a little below 0 where black is clipped.
    pub fn light(&self, code: f64) -> f64 {
        decode(self.bent(code))
    }

    pub fn lights(&self, code: Code) -> [f64; 3] {
        code.map(|v| self.light(v))
    }

    fn bent(&self, code: f64) -> f64 {
        let [lift, one, two, three] = self.0;
        let (sin, cos) = (std::f64::consts::PI * code).sin_cos();
        // Sines of the double and threefold angle.
        let (double, triple) = (2.0 * sin * cos, sin * (3.0 - 4.0 * sin * sin));
        code + lift * (1.0 - code) + one * sin + two * double + three * triple
    }

    fn rises(&self) -> bool {
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

/// One stack of gray steps in a photo: every step and the paper beside it.
#[derive(Debug, Clone, Copy)]
pub struct Stack {
    pub seen: [Code; STEPS.len()],
    pub paper: [Code; STEPS.len()],
}

/// What a photo's camera and light did.
#[derive(Debug, Clone)]
pub struct Camera {
    pub curve: Curve,
    /// Columns that, added to the curve's parameters one at a time, are one standard deviation of what is not known of
    /// them.
    pub doubt: [[f64; CURVE]; CURVE],
    /// What a gray step is off by after the fit, in code values: root of the mean square, the worst tenth aside.
    pub noise: f64,
    /// Glare at every stack, as a part of the light; `None` where there is none to see.
    pub veil: Vec<Option<f64>>,
    /// The light on white paper without the glare, per channel, at every stack.
    pub light: Vec<Option<[f64; 3]>>,
}

impl Camera {
    /// A camera of which nothing is known.
    pub fn unknown() -> Self {
        let doubt =
            std::array::from_fn(|k| std::array::from_fn(|i| if i == k { UNKNOWN[k] } else { 0.0 }));
        Self {
            curve: Curve([0.0; CURVE]),
            doubt,
            noise: STEP_ERROR,
            veil: Vec::new(),
            light: Vec::new(),
        }
    }

    /// Fits a camera to what is seen of the gray steps.
    pub fn fit(stacks: &[Option<Stack>]) -> Self {
        let known: Vec<&Stack> = stacks.iter().flatten().collect();
        let mut model = Model::start(known.len());
        let mut covariance = None;
        for _ in 0..ROUNDS {
            let (normal, right) = model.equations(&known);
            let Some(factor) = normal.cholesky() else {
                break;
            };
            let step = factor.solve(&right);
            covariance = Some(factor.inverse());
            let mut part = 1.0;
            while part > 1e-3 && !model.moved(&step, part).curve().rises() {
                part /= 2.0;
            }
            model = model.moved(&step, part);
            if step.amax() < 1e-6 {
                break;
            }
        }
        let Some(covariance) = covariance else {
            return Self::unknown();
        };
        let block: Matrix4<f64> = covariance.fixed_view::<CURVE, CURVE>(0, 0).into();
        let doubt = block.cholesky().map_or(Self::unknown().doubt, |c| {
            let l = c.l();
            std::array::from_fn(|k| std::array::from_fn(|i| l[(i, k)]))
        });
        let mut off: Vec<f64> = (0..known.len())
            .flat_map(|s| model.residuals(s, known[s]))
            .map(|r| r * r)
            .collect();
        off.sort_by(f64::total_cmp);
        off.truncate(off.len() * 9 / 10);
        let noise = (off.iter().sum::<f64>() / off.len().max(1) as f64).sqrt();
        let curve = model.curve();
        let mut at = 0;
        let (mut veil, mut light) = (Vec::new(), Vec::new());
        for stack in stacks {
            let Some(stack) = stack else {
                veil.push(None);
                light.push(None);
                continue;
            };
            let here = model.veil(at);
            at += 1;
            veil.push(Some(here));
            let middle = curve.lights(stack.paper[STEPS.len() / 2]);
            light.push(Some(middle.map(|v| v / (1.0 + here))));
        }
        Self {
            curve,
            doubt,
            noise,
            veil,
            light,
        }
    }
}

/// The unknowns in one row: the curve, the printer's gain, the grays per channel in code values, the glare per stack.
#[derive(Clone)]
struct Model(DVector<f64>);

const GAIN: usize = CURVE;
const GRAYS: usize = GAIN + 1;
const VEILS: usize = GRAYS + 3 * STEPS.len();

impl Model {
    fn start(stacks: usize) -> Self {
        let mut values = DVector::zeros(VEILS + stacks);
        for (j, step) in STEPS.into_iter().enumerate() {
            for c in 0..3 {
                values[GRAYS + 3 * j + c] = f64::from(step) / 255.0;
            }
        }
        Self(values)
    }

    fn moved(&self, step: &DVector<f64>, part: f64) -> Self {
        Self(&self.0 + step * part)
    }

    fn curve(&self) -> Curve {
        Curve(std::array::from_fn(|k| self.0[k]))
    }

    fn veil(&self, stack: usize) -> f64 {
        self.0[VEILS + stack].max(-0.01)
    }

    /// What every step of a stack is off by, in code values, channel by channel.
    fn residuals(&self, number: usize, stack: &Stack) -> [f64; 3 * STEPS.len()] {
        let (curve, veil) = (self.curve(), self.veil(number));
        std::array::from_fn(|i| {
            let (j, c) = (i / 3, i % 3);
            let seen = curve.light(stack.seen[j][c]) / curve.light(stack.paper[j][c]).max(1e-4);
            let gray = decode(self.0[GRAYS + i]);
            encode(seen) - encode((gray + veil) / (1.0 + veil))
        })
    }

    /// Normal equations of one Gauss-Newton step.
    fn equations(&self, stacks: &[&Stack]) -> (DMatrix<f64>, DVector<f64>) {
        const STEP: f64 = 1e-5;
        let n = self.0.len();
        let (mut normal, mut right) = (DMatrix::zeros(n, n), DVector::zeros(n));
        let mut add = |row: &[(usize, f64)], value: f64, weight: f64| {
            for &(i, a) in row {
                right[i] -= weight * a * value;
                for &(j, b) in row {
                    normal[(i, j)] += weight * a * b;
                }
            }
        };
        for (number, stack) in stacks.iter().enumerate() {
            let here = self.residuals(number, stack);
            // Which of the unknowns every step hangs on: the curve, the veil here; its own gray comes apart.
            let mut slopes = Vec::new();
            for i in (0..CURVE).chain([VEILS + number]) {
                let mut near = self.clone();
                near.0[i] += STEP;
                let there = near.residuals(number, stack);
                slopes.push((i, there));
            }
            let mut near = self.clone();
            for v in near.0.rows_mut(GRAYS, 3 * STEPS.len()).iter_mut() {
                *v += STEP;
            }
            let grays = near.residuals(number, stack);
            for (k, value) in here.into_iter().enumerate() {
                let mut row: Vec<(usize, f64)> = slopes
                    .iter()
                    .map(|(i, there)| (*i, (there[k] - value) / STEP))
                    .collect();
                row.push((GRAYS + k, (grays[k] - value) / STEP));
                let weight = 1.0 / (1.0 + (value / (2.0 * STEP_ERROR)).powi(2));
                add(&row, value, weight / STEP_ERROR.powi(2));
            }
        }
        for (k, sd) in CURVE_PRIOR.into_iter().chain([GAIN_PRIOR]).enumerate() {
            add(&[(k, 1.0)], self.0[k], sd.powi(-2));
        }
        for (j, step) in STEPS.into_iter().enumerate() {
            let nominal = f64::from(step) / 255.0;
            // A printer's gain is largest for middle gray, none for paper and full ink.
            let share = 4.0 * nominal * (1.0 - nominal);
            let at = GRAYS + 3 * j;
            let mean = (0..3).map(|c| self.0[at + c]).sum::<f64>() / 3.0;
            let third = 1.0 / 3.0;
            add(
                &[
                    (at, third),
                    (at + 1, third),
                    (at + 2, third),
                    (GAIN, -share),
                ],
                mean - nominal - share * self.0[GAIN],
                STEP_PRIOR.powi(-2),
            );
            for c in 0..3 {
                let row: [(usize, f64); 3] =
                    std::array::from_fn(|k| (at + k, f64::from(u8::from(k == c)) - third));
                add(&row, self.0[at + c] - mean, TINT_PRIOR.powi(-2));
            }
        }
        for number in 0..stacks.len() {
            let veil = self.0[VEILS + number];
            let weight = 1.0 / (1.0 + (veil / (2.0 * VEIL_PRIOR)).powi(2));
            add(&[(VEILS + number, 1.0)], veil, weight / VEIL_PRIOR.powi(2));
        }
        (normal, right)
    }
}
