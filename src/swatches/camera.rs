//! What a camera and the light did to a sheet, fitted to its gray steps and bare paper.
//!
//! All unknowns of the model are found together by Gauss-Newton with Cauchy weights and normal priors (maximum a
//! posteriori). A curve from many lights on one unknown gray is the idea of Debevec and Malik (1997); as there, one thing
//! stays open, how contrasty everything is, and what is known besides settles it: printed grays are roughly what they
//! should be, glare adds light and is local, and a camera's curve is a bent sRGB curve. How well is in the equations
//! themselves: their inverse is the covariance of the unknowns.

use nalgebra::{Cholesky, DVector, Dyn, Matrix3, SMatrix};

use super::curve::{BENDS, Curve};
use super::model::{LAMP, MIX, MIX_PRIOR, Model, Purpose, Sight, Usual, VEIL_ERROR};
use super::stacks::bare;
use super::view::Sample;

/// With gray steps, which tell, everything is wide: a curve of 20 % more contrast needs up to 0.09 of lift and 0.06 of a
/// wave, and a narrow range of glare would have the curve explain it. From memory.
const WITH_GRAYS: Usual = Usual {
    curve: [0.06, 0.2, 0.2, 0.15, 0.1, 0.05],
    veil: 0.2,
};
/// Without any, cameras are about as sRGB says: contrast of 20 % is a wave of 0.03, raised blacks are up to 0.03; and a
/// phone over a table mirrors a little of the room. From memory.
const USUAL: Usual = Usual {
    curve: [0.02, 0.03, 0.03, 0.01, 0.005, 0.02],
    veil: ROOM,
};
/// A phone over a table mirrors a little of the room, as a part of the light; from memory.
const ROOM: f64 = 0.01;
/// What a color is off by for noise alone, in code values.
const LEAST_NOISE: f64 = 0.003;
/// Where light is cut off, as much of it is there as not: halfway, and as far as everything in between is as likely.
const CUT: f64 = 0.5;
const CUT_ERROR: f64 = 0.29;
const ROUNDS: i32 = 25;
/// Glare looks like a fault before it is known: at first things may be off by so much more before they count less
/// (graduated non-convexity, Blake and Zisserman 1987).
const WIDE: f64 = 8.0;
/// Steps of the curve below this, in code values, change no color.
const SETTLED: f64 = 2e-5;

/// What a photo's camera and light did.
pub struct Camera {
    model: Option<(Model, Cholesky<f64, Dyn>)>,
    /// What a gray step is off by after the fit, in code values.
    noise: f64,
    /// What bare paper is off by after the fit, as a part of the light.
    paper_noise: f64,
}

/// What was found for one place, in one row: the curve's bends, the glare of red and blue beside that of green, what
/// each channel takes of the others, the cut, and the glare on the paper around the place and on itself, as parts of the
/// light.
#[derive(Debug, Clone, Copy)]
pub struct Found(pub [f64; FOUND]);

const MIX_AT: usize = BENDS + 2;
const CUT_AT: usize = MIX_AT + 6;
const FOUND: usize = CUT_AT + 3;
const AROUND_AT: usize = CUT_AT + 1;
const INSIDE_AT: usize = CUT_AT + 2;

impl Found {
    pub fn curve(&self) -> Curve {
        Curve {
            bends: std::array::from_fn(|k| self.0[k]),
            cut: self.0[CUT_AT].clamp(0.0, 1.0),
        }
    }

    /// Glare per channel on the paper around the place and on itself.
    pub fn veils(&self) -> [[f64; 3]; 2] {
        let lamp = [1.0 + self.0[BENDS], 1.0, 1.0 + self.0[BENDS + 1]];
        [self.0[AROUND_AT], self.0[INSIDE_AT]].map(|v| lamp.map(|l| v * l))
    }

    /// From light as people see it to light as the camera does; white stays white.
    pub fn mix(&self) -> Matrix3<f64> {
        let mut mix = Matrix3::identity();
        for c in 0..3 {
            for k in 0..2 {
                let part = self.0[MIX_AT + 2 * c + k];
                mix[(c, (c + k + 1) % 3)] = part;
                mix[(c, c)] -= part;
            }
        }
        mix
    }

    pub fn moved(&self, by: &[f64; FOUND]) -> Self {
        Self(std::array::from_fn(|i| self.0[i] + by[i]))
    }
}

/// What is known of the camera and the light at one place.
pub struct Here {
    pub found: Found,
    /// Columns that, added to what was found one at a time, are one standard deviation of what is not known of it.
    pub doubt: Vec<[f64; FOUND]>,
    /// What a code value is off by.
    pub noise: f64,
}

impl Camera {
    /// A camera of which nothing is known.
    fn unknown() -> Self {
        Self {
            model: None,
            noise: LEAST_NOISE,
            paper_noise: 0.0,
        }
    }

    /// Fits a camera to what is seen of gray steps and bare paper on a page of `mm`.
    pub fn fit(sights: &[Sight], mm: [f64; 2]) -> Self {
        Self::of(sights, mm, WITH_GRAYS)
    }

    /// What can be said of a camera without gray steps, on a card of `mm`.
    pub fn guess(sights: &[Sight], mm: [f64; 2]) -> Self {
        Self::of(sights, mm, USUAL)
    }

    fn of(sights: &[Sight], mm: [f64; 2], usual: Usual) -> Self {
        let Some((mut model, sights)) = Model::start(sights, mm, usual) else {
            return Self::unknown();
        };
        for round in 0..ROUNDS {
            let wide = (WIDE / f64::from(round + 1)).max(1.0);
            let equations = model.equations(&sights, Purpose::Fit { wide });
            let Some(factor) = equations.normal.cholesky() else {
                return Self::unknown();
            };
            let step = factor.solve(&equations.right);
            let mut part = 1.0;
            while part > 1e-3 && !model.moved(&step, part).curve().rises() {
                part /= 2.0;
            }
            model = model.moved(&step, part);
            model.learn_usual(&factor);
            if wide <= 1.0 && step.rows(0, BENDS).amax() < SETTLED {
                break;
            }
        }
        let factor = model
            .equations(&sights, Purpose::Covariance)
            .normal
            .cholesky();
        let noise = model.noise(&sights).unwrap_or(0.0).max(LEAST_NOISE);
        Self {
            paper_noise: model.paper_noise(&sights),
            model: factor.map(|f| (model, f)),
            noise,
        }
    }

    /// What is known at a place, from what the paper around it shows and points of itself.
    pub fn here(&self, around: &[Sample], inside: &[[f64; 2]]) -> Here {
        let mut here = Here {
            found: Found([0.0; FOUND]),
            doubt: vec![column(&[(CUT_AT, CUT_ERROR)])],
            noise: self.noise,
        };
        match &self.model {
            Some((model, factor)) => {
                let paper = around.iter().flat_map(|s| bare(s.at, s.code));
                let missed = model.missed_glare(paper).powi(2) - self.paper_noise.powi(2);
                let around: Vec<[f64; 2]> = around.iter().map(|s| s.at).collect();
                here.learn(model, factor, [&around, inside], missed.max(0.0));
            }
            None => {
                let curve = USUAL.curve.into_iter().enumerate();
                let room = [(AROUND_AT, ROOM), (INSIDE_AT, ROOM)];
                let mix = (0..6).map(|k| (MIX_AT + k, MIX_PRIOR));
                here.doubt
                    .extend(curve.chain(room).chain(mix).map(|one| column(&[one])));
            }
        }
        here.found.0[CUT_AT] = CUT;
        here
    }
}

impl Here {
    /// What the model found, and the root of its covariance. Glare may change faster from place to place than the model
    /// can: how far off it is on the paper around the place (`missed`, a variance), it may be on the place, too.
    fn learn(
        &mut self,
        model: &Model,
        factor: &Cholesky<f64, Dyn>,
        [around, inside]: [&[[f64; 2]]; 2],
        missed: f64,
    ) {
        let one = |i: usize| {
            let mut row = DVector::zeros(model.unknowns.len());
            row[i] = 1.0;
            row
        };
        // Everything but the cut, each as a sum of unknowns.
        let mut rows: Vec<(usize, DVector<f64>)> = (0..BENDS).map(|k| (k, one(k))).collect();
        rows.extend((0..2).map(|k| (BENDS + k, one(LAMP + k))));
        rows.extend((0..6).map(|k| (MIX_AT + k, one(MIX + k))));
        rows.push((AROUND_AT, model.veil_over(around)));
        rows.push((INSIDE_AT, model.veil_over(inside)));
        let solved: Vec<DVector<f64>> = rows.iter().map(|(_, row)| factor.solve(row)).collect();
        let mut covariance = SMatrix::<f64, { FOUND - 1 }, { FOUND - 1 }>::zeros();
        for (a, (at, row)) in rows.iter().enumerate() {
            self.found.0[*at] = row.dot(&model.unknowns);
            for (b, other) in solved.iter().enumerate() {
                covariance[(a, b)] = row.dot(other);
            }
            covariance[(a, a)] += 1e-12;
            if *at > CUT_AT {
                covariance[(a, a)] += (VEIL_ERROR * self.found.0[*at]).powi(2) + missed;
            }
        }
        if let Some(root) = covariance.cholesky() {
            let l = root.l();
            self.doubt.extend((0..FOUND - 1).map(|b| {
                let of = |(a, (at, _)): (usize, &(usize, DVector<f64>))| (*at, l[(a, b)]);
                column(&rows.iter().enumerate().map(of).collect::<Vec<_>>())
            }));
        }
    }
}

/// A column with these entries, 0 elsewhere.
fn column(entries: &[(usize, f64)]) -> [f64; FOUND] {
    let mut column = [0.0; FOUND];
    for &(at, value) in entries {
        column[at] = value;
    }
    column
}
