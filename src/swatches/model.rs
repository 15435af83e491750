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

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::curve::{BENDS, Curve, LIFT, TOE, decode, encode};
use super::field::{PLANE, Row, SLOW, Spline, slow};
use super::layout::STEPS;

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
/// What gray steps and bare paper are off by, in parts of the code value of paper: noise, print, the grain of the
/// paper. What is seen of paper beside one box is off together, so that it counts less. From memory.
const GRAY_ERROR: f64 = 0.005;
const PAPER_ERROR: f64 = 0.02;
/// Paper's error is at least so many times what half of it is off by. From memory.
const UNSTEADY: f64 = 4.0;
/// Half of what is normally distributed is nearer than this part of a standard deviation.
const NORMAL_MEDIAN: f64 = 0.674_5;
/// Glare is smooth, and as strong on print as on paper, only about: by this part of it. From memory.
pub const VEIL_ERROR: f64 = 0.1;
/// Glare adds light: below nothing it is only by noise, with this standard deviation, as a part of the light.
const NOT_BELOW: f64 = 0.01;
/// Most places have no glare: what their mean is off by, as a part of the light, lest the fit take a lift of the curve for
/// haze, which is stray light; and what is more glare than theirs. From memory.
const HAZE_PRIOR: f64 = 0.001;
const SOME_VEIL: f64 = 0.02;
/// Where no glare is, what is not known of it is this part of what it may be anywhere: the fit is not drawn to smooth
/// glare, which would bend the curve instead, but its covariance knows that most places have none. From memory.
const CALM: f64 = 0.1;
/// Distance of the nodes of the glare, in millimeters: about half a box.
const NODES_MM: [f64; 2] = [15.5, 10.5];

/// A gray step or bare paper that was seen, in one channel.
#[derive(Debug, Clone, Copy)]
pub struct Sight {
    /// Where, in millimeters of the sheet.
    pub at: [f64; 2],
    pub channel: usize,
    /// Its code value, 0 to 1.
    pub seen: f64,
    pub of: Of,
}

/// What a sight is of.
#[derive(Debug, Clone, Copy)]
pub enum Of {
    Paper,
    /// A gray step: which, and the code value of the paper there.
    Gray {
        step: usize,
        paper: f64,
    },
    /// Ink of which it is known how much light it gives back beside paper, per channel, but for an error in code
    /// values; and the code value of the paper there.
    Anchor {
        part: [f64; 3],
        error: f64,
        paper: f64,
    },
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

const GAIN: usize = BENDS;
const BLACK: usize = GAIN + 1;
const GRAYS: usize = BLACK + 1;
pub const LAMP: usize = GRAYS + 3 * STEPS.len();
pub const MIX: usize = LAMP + 2;
pub const STRAY: usize = MIX + 6;
const PLANES: usize = STRAY + 1;
const SHARED: usize = PLANES + 3 * PLANE;
const VEIL: usize = SHARED + SLOW - PLANE;

/// What one sight hangs on.
#[derive(Clone, Copy)]
struct Local {
    curve: Curve,
    /// Light of print or ink beside that of paper, as this channel sees it.
    print: f64,
    /// Glare as a part of the light, and this channel's part of it.
    veil: f64,
    lamp: f64,
    /// Stray light.
    stray: f64,
    /// The logarithm of the light.
    light: f64,
}

impl Local {
    /// Glare and stray light, as a part of the light.
    fn added(&self) -> f64 {
        self.veil * self.lamp + self.stray * (-self.light).exp()
    }
}

impl Sight {
    /// What it is off by, as a part of the code value of paper: in code values, where noise is the same whatever the
    /// curve, so that a flat curve gains nothing by making all of it small.
    fn off(&self, l: &Local) -> f64 {
        let veil = l.added().max(-0.5);
        match self.of {
            Of::Gray { paper, .. } | Of::Anchor { paper, .. } => {
                let bright = l.curve.light(paper).max(1e-4);
                let expected = encode((l.print + veil) / (1.0 + veil));
                let slope = l.curve.slope(self.seen, |v| encode(v / bright)).max(1e-3);
                (encode(l.curve.light(self.seen) / bright) - expected) / slope / paper
            }
            Of::Paper => {
                let ln = |v: f64| v.max(1e-4).ln();
                let slope = l.curve.slope(self.seen, ln).max(1e-3);
                (ln(l.curve.light(self.seen)) - l.light - veil.ln_1p()) / slope / self.seen
            }
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

    /// What the gray steps are off by, as a part of the code value of paper: root of the mean square, the worst tenth aside;
    /// `None` without any.
    pub fn noise(&self, sights: &Sights) -> Option<f64> {
        let curve = self.curve();
        let grays = sights
            .0
            .iter()
            .filter(|p| matches!(p.sight.of, Of::Gray { .. }));
        let mut off: Vec<f64> = grays
            .map(|p| p.sight.off(&self.local(p, curve)).powi(2))
            .collect();
        off.sort_by(f64::total_cmp);
        off.truncate(off.len() * 9 / 10);
        (!off.is_empty()).then(|| (off.iter().sum::<f64>() / off.len() as f64).sqrt())
    }

    /// What bare paper is off by in this photo, as a part of the light: one standard deviation, whatever is far off.
    pub fn paper_noise(&self, sights: &Sights) -> f64 {
        let papers = sights.0.iter().filter(|p| matches!(p.sight.of, Of::Paper));
        let mut off: Vec<f64> = papers.map(|p| self.unexplained(p)[0].abs()).collect();
        off.sort_by(f64::total_cmp);
        off.get(off.len() / 2).map_or(0.0, |v| v / NORMAL_MEDIAN)
    }

    /// How far the glare that was found is from the glare that bare `paper` shows, as a part of the light: root of the mean
    /// square. What the light does fast, too, counts as glare where it adds light; glare that is not there cannot be
    /// missing, so that a shadow says nothing of it.
    pub fn missed_glare(&self, paper: impl Iterator<Item = Sight>) -> f64 {
        let missed = paper.map(|sight| {
            let [more, found] = self.unexplained(&Placed::on(&self.spline, self.mm, sight));
            more.max(-found.max(0.0)).powi(2)
        });
        let (n, sum) = missed.fold((0, 0.0), |(n, sum), v| (n + 1, sum + v));
        (sum / f64::from(n.max(1))).sqrt()
    }

    /// How much more light bare paper gives back than was found, and what was found of glare there, as parts of the light.
    fn unexplained(&self, paper: &Placed) -> [f64; 2] {
        let here = self.local(paper, self.curve());
        let seen = here.curve.light(paper.sight.seen) * (-here.light).exp();
        let added = here.added();
        [seen - 1.0 - added, added]
    }

    /// What paper is off by in this photo: where shadows end, the light is not slow, and what is bright is not glare.
    fn paper_error(&self, sights: &Sights, curve: Curve) -> f64 {
        let papers = sights.0.iter().filter(|p| matches!(p.sight.of, Of::Paper));
        let mut off: Vec<f64> = papers
            .map(|p| p.sight.off(&self.local(p, curve)).abs())
            .collect();
        off.sort_by(f64::total_cmp);
        let usual = off.get(off.len() / 2).copied().unwrap_or(0.0);
        PAPER_ERROR.max(UNSTEADY * usual)
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

    fn unusual_priors(&self, equations: &mut Equations, purpose: Purpose) {
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

    fn curve_priors(&self, equations: &mut Equations) {
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

    fn light_priors(&self, equations: &mut Equations) {
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

    fn veil_priors(&self, equations: &mut Equations, purpose: Purpose) {
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

/// Which unknown is how much of the glare a channel has; green has all.
fn lamp(channel: usize) -> Option<usize> {
    match channel {
        0 => Some(LAMP),
        2 => Some(LAMP + 1),
        _ => None,
    }
}

/// Weights of the unknowns whose sum is the logarithm of the light at a place.
fn light_row(at: [f64; 2], channel: usize, mm: [f64; 2]) -> Row {
    let of = |(k, w)| match k {
        0..PLANE => (PLANES + PLANE * channel + k, w),
        _ => (SHARED + k - PLANE, w),
    };
    slow(at, mm).into_iter().enumerate().map(of).collect()
}

/// Which unknown is the code value of a gray step in a channel.
fn gray(step: usize, channel: usize) -> usize {
    GRAYS + 3 * step + channel
}

/// Which unknowns say how much a channel takes for its own of the two others, and these.
pub fn mixed(channel: usize) -> [(usize, usize); 2] {
    [1, 2].map(|k| (MIX + 2 * channel + k - 1, (channel + k) % 3))
}

/// What the equations are for.
#[derive(Debug, Clone, Copy)]
pub enum Purpose {
    /// A step; things may be off by `wide` times more than usual before they count less.
    Fit {
        wide: f64,
    },
    Covariance,
}

/// Normal equations: the lower half of a matrix, and the right side.
pub struct Equations {
    pub normal: DMatrix<f64>,
    pub right: DVector<f64>,
    /// By how much more than usual something may be off before it counts less.
    wide: f64,
}

impl Equations {
    fn empty(n: usize, purpose: Purpose) -> Self {
        Self {
            wide: match purpose {
                Purpose::Fit { wide } => wide,
                Purpose::Covariance => 1.0,
            },
            normal: DMatrix::zeros(n, n),
            right: DVector::zeros(n),
        }
    }

    /// Adds that `value`, with these slopes, should be nothing but for a standard `error`; what is `robust` may be far
    /// off now and then (Cauchy's weights, Holland and Welsch 1977).
    fn add(&mut self, row: &[(usize, f64)], value: f64, error: f64, robust: bool) {
        let far = if robust {
            (value / (2.0 * error * self.wide)).powi(2)
        } else {
            0.0
        };
        let weight = 1.0 / (error * error * (1.0 + far));
        for &(i, a) in row {
            self.right[i] -= weight * a * value;
            for &(j, b) in row.iter().filter(|r| r.0 <= i) {
                self.normal[(i, j)] += weight * a * b;
            }
        }
    }
}
