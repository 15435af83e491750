//! What is seen of a sheet as a function of what is not known: one tone curve for all channels, the grays as this
//! printer made them, the light on the sheet, and a veil of glare.
//!
//! The same gray steps stand in many places, each beside bare paper. The light on a step and on the paper beside it is
//! the same, so the ratio of the two, once the camera's curve is undone, is the gray itself wherever it stands; glare
//! adds the same to both and lifts the dark steps most. Bare paper is nearly everywhere: what the light on it does
//! slowly is the lamp's, what is added to it in one place is glare.
//!
//! Some things cancel in what is seen: a printer that is too dark and a camera that is too light, a black that gives back
//! light and one that the camera lowers. How far they may, the photo tells by how far printer, lens and black are from the
//! usual in what can be seen of them: one scale for all of them is found with the fit.

mod equations;
mod priors;
mod residuals;
mod sight;
mod unknowns;

use nalgebra::DVector;

use super::curve::{BENDS, Curve, decode};
use super::field::{Row, Spline};
use super::layout::STEPS;

pub use equations::{Equations, Purpose};
pub use priors::MIX_PRIOR;
pub use sight::{Of, Sight};
pub use unknowns::{LAMP, MIX, STRAY, mixed};

use sight::Local;
use unknowns::{GRAYS, VEIL, gray, lamp, light_row};

/// What gray steps are off by, in parts of the code value of paper: noise and print. From memory.
const GRAY_ERROR: f64 = 0.005;
/// Glare is smooth, and as strong on print as on paper, only about: by this part of it. From memory.
pub const VEIL_ERROR: f64 = 0.1;
/// Distance of the nodes of the glare, in millimeters: about half a box.
const NODES_MM: [f64; 2] = [15.5, 10.5];

/// What is known before anything is seen.
#[derive(Debug, Clone, Copy)]
pub struct Usual {
    /// Standard deviations of the curve's parameters, in code values: how far it lifts black, the weights of one, two and
    /// three half waves, the toe.
    pub curve: [f64; BENDS],
    /// Standard deviation of glare at a node, as a part of the light.
    pub veil: f64,
}

/// The unknowns in one row: the curve, the printer's gain, the grays per channel in code values, how much of the glare red
/// and blue have beside green, the logarithm of the light (a plane per channel, the rest for all), the glare.
pub struct Model {
    pub unknowns: DVector<f64>,
    spline: Spline,
    /// Size of the page.
    mm: [f64; 2],
    usual: Usual,
    /// How far printer, lens and black are from the usual, in the standard deviations of the usual ones.
    unusual: f64,
}

/// A sight and the unknowns it hangs on.
struct Placed {
    sight: Sight,
    veil: Row,
    light: Row,
}

impl Placed {
    fn on(spline: &Spline, mm: [f64; 2], sight: Sight) -> Self {
        let veil = spline.at(sight.at).into_iter();
        Self {
            veil: veil.map(|(i, w)| (VEIL + i, w)).collect(),
            light: light_row(sight.at, sight.channel, mm),
            sight,
        }
    }
}

/// The sights as the model needs them.
pub struct Sights(Vec<Placed>);

impl Model {
    /// A model that knows nothing yet, and the sights on a page of `mm`; `None` without any.
    /// What is known before anything is seen is `usual`.
    pub fn start(sights: &[Sight], mm: [f64; 2], usual: Usual) -> Option<(Self, Sights)> {
        let edge = |c: usize, of: fn(f64, f64) -> f64| sights.iter().map(|s| s.at[c]).reduce(of);
        let from = [edge(0, f64::min)?, edge(1, f64::min)?];
        let to = [edge(0, f64::max)?, edge(1, f64::max)?];
        let spline = Spline::over(from, to, NODES_MM);
        let mut unknowns = DVector::zeros(VEIL + spline.unknowns());
        for (j, step) in STEPS.into_iter().enumerate() {
            unknowns
                .rows_mut(GRAYS + 3 * j, 3)
                .fill(f64::from(step) / 255.0);
        }
        let placed = sights.iter().map(|&sight| Placed::on(&spline, mm, sight));
        let sights = Sights(placed.collect());
        Some((
            Self {
                unknowns,
                spline,
                mm,
                usual,
                unusual: 1.0,
            },
            sights,
        ))
    }

    /// A part of a step farther.
    pub fn moved(&self, step: &DVector<f64>, part: f64) -> Self {
        Self {
            unknowns: &self.unknowns + step * part,
            spline: self.spline.clone(),
            mm: self.mm,
            usual: self.usual,
            unusual: self.unusual,
        }
    }

    fn sum(&self, row: &Row) -> f64 {
        row.iter().map(|&(i, w)| w * self.unknowns[i]).sum()
    }

    pub fn curve(&self) -> Curve {
        Curve {
            bends: std::array::from_fn(|k| self.unknowns[k]),
            cut: 0.0,
        }
    }

    /// Weights of the unknowns that give the mean of glare and stray light over some places, as a part of the light there.
    pub fn veil_over(&self, places: &[[f64; 2]]) -> DVector<f64> {
        let mut row = DVector::zeros(self.unknowns.len());
        let part = 1.0 / places.len() as f64;
        for &place in places {
            for (i, w) in self.spline.at(place) {
                row[VEIL + i] += w * part;
            }
            let light: f64 = light_row(place, 1, self.mm)
                .iter()
                .map(|&(i, w)| w * self.unknowns[i])
                .sum();
            row[STRAY] += part * (-light).exp();
        }
        row
    }

    fn local(&self, placed: &Placed, curve: Curve) -> Local {
        let channel = placed.sight.channel;
        Local {
            curve,
            print: match placed.sight.of {
                Of::Gray { step, .. } => decode(self.unknowns[gray(step, channel)]),
                Of::Anchor { part, .. } => {
                    let other =
                        |(i, d): (usize, usize)| self.unknowns[i] * (part[d] - part[channel]);
                    part[channel] + mixed(channel).map(other).iter().sum::<f64>()
                }
                Of::Paper => 1.0,
            },
            veil: self.sum(&placed.veil),
            lamp: 1.0 + lamp(channel).map_or(0.0, |i| self.unknowns[i]),
            stray: self.unknowns[STRAY],
            light: self.sum(&placed.light),
        }
    }
    /// Normal equations of one Gauss-Newton step.
    pub fn equations(&self, sights: &Sights, purpose: Purpose) -> Equations {
        let mut equations = Equations::empty(self.unknowns.len(), purpose);
        let curve = self.curve();
        let paper_error = self.paper_error(sights, curve);
        for placed in &sights.0 {
            let (value, row, blind) = self.row(placed, curve);
            let error = match placed.sight.of {
                Of::Gray { .. } => GRAY_ERROR,
                Of::Anchor { error, .. } => GRAY_ERROR.hypot(error),
                Of::Paper => paper_error,
            };
            let error = error.hypot(blind);
            equations.add(&row, value, error, true);
        }
        self.unusual_priors(&mut equations, purpose);
        self.curve_priors(&mut equations);
        self.light_priors(&mut equations);
        self.veil_priors(&mut equations, purpose);
        equations
    }

    /// What a sight is off by, its slopes along the unknowns, and what glare alone may make of it.
    fn row(&self, placed: &Placed, curve: Curve) -> (f64, Row, f64) {
        const STEP: f64 = 1e-5;
        let (sight, here) = (&placed.sight, self.local(placed, curve));
        let value = sight.off(&here);
        let slope = |change: &dyn Fn(&mut Local)| {
            let mut near = here;
            change(&mut near);
            (sight.off(&near) - value) / STEP
        };
        let mut row: Row = (0..BENDS)
            .map(|k| (k, slope(&|l| l.curve.bends[k] += STEP)))
            .collect();
        if let Some(i) = lamp(sight.channel) {
            row.push((i, slope(&|l| l.lamp += STEP)));
        }
        let veil = slope(&|l| l.veil += STEP);
        row.extend(placed.veil.iter().map(|&(i, w)| (i, veil * w)));
        match sight.of {
            Of::Gray { step, .. } => {
                let at = gray(step, sight.channel);
                let code = self.unknowns[at];
                row.push((at, slope(&|l| l.print = decode(code + STEP))));
            }
            Of::Anchor { part, .. } => {
                let print = slope(&|l| l.print += STEP);
                let other = |(i, d): (usize, usize)| (i, print * (part[d] - part[sight.channel]));
                row.extend(mixed(sight.channel).map(other));
            }
            Of::Paper => {}
        }
        row.push((STRAY, slope(&|l| l.stray += STEP)));
        let light = slope(&|l| l.light += STEP);
        row.extend(placed.light.iter().map(|&(i, w)| (i, light * w)));
        (value, row, veil * here.veil * VEIL_ERROR)
    }
}
