//! The stacks of gray steps of a sheet, found in a photo.

use nalgebra::Vector2;

use super::layout::{Place, STEP_MM, STEPS};
use super::model::{Of, Sight};
use super::view::{Code, Paper, View, middle_mean};

/// Paper may lie curled: stacks are looked for this far around where the marks say, in millimeters.
const CURL_MM: f64 = 2.6;
/// The paper beside a stack, in millimeters from it.
const BESIDE_MM: [f64; 2] = [0.6, 1.5];
/// How much a stack must look like one (normalized correlation).
const ALIKE: f64 = 0.9;
/// Part of the paper beside a stack that may be otherwise; from memory.
const PAPER_OFF: f64 = 0.4;
/// A step from gray to paper that takes longer than this, in millimeters (from a tenth of it to nine tenths), mixes a
/// box with the paper that is measured around it; from memory.
const BLUR_MM: f64 = 1.3;
/// Code values above this are cut off by the file, below the other they may be.
pub const BRIGHTEST: f64 = 0.988;
const DARKEST: f64 = 0.025;

/// A stack of gray steps in the picture.
pub struct Stack {
    /// From where the marks say it is, in millimeters.
    pub shift: Vector2<f64>,
    pub blurred: bool,
    /// What its steps and the paper beside them say of the camera; nothing where that is blurred or dirty.
    pub sights: Vec<Sight>,
}

/// Looks for a stack around where it should be; `None` if nothing there looks like one.
pub fn find_stack(view: &View, place: Place) -> Option<Stack> {
    let shift = Pattern::of(place).find(view)?;
    let [x, y, w, h] = place;
    let place = [x + shift.x, y + shift.y, w, h];
    let [x, y, ..] = place;
    let blurred = rise(view, [x + w / 2.0, y + STEP_MM[1] / 2.0]) > BLUR_MM;
    let paper = Paper::fit(&view.around(place, BESIDE_MM));
    let usable = !blurred && paper.off < PAPER_OFF;
    let sights = if usable {
        look(view, place, &paper)
    } else {
        Vec::new()
    };
    Some(Stack {
        shift,
        blurred,
        sights,
    })
}

/// What a stack and the paper beside it show.
fn look(view: &View, [x, y, w, _]: Place, paper: &Paper) -> Vec<Sight> {
    let mut sights = Vec::new();
    for j in 0..STEPS.len() {
        let top = y + j as f64 * STEP_MM[1];
        let at = [x + w / 2.0, top + STEP_MM[1] / 2.0];
        let inner = [
            x + w / 4.0,
            top + STEP_MM[1] / 4.0,
            w / 2.0,
            STEP_MM[1] / 2.0,
        ];
        let (seen, beside) = (middle_mean(&view.over(inner)), paper.at(at));
        let gray = |c: usize| Sight {
            at,
            channel: c,
            seen: seen[c],
            of: Of::Gray {
                step: j,
                paper: beside[c],
            },
        };
        let whole = |c: &usize| seen[*c] > DARKEST && beside[*c] < BRIGHTEST;
        sights.extend((0..3).filter(whole).map(gray));
        if j == 0 || j + 1 == STEPS.len() {
            sights.extend(bare(at, beside));
        }
    }
    sights
}

/// What bare paper shows.
pub fn bare(at: [f64; 2], code: Code) -> impl Iterator<Item = Sight> {
    (0..3)
        .filter(move |&c| code[c] < BRIGHTEST && code[c] > DARKEST)
        .map(move |channel| Sight {
            at,
            channel,
            seen: code[channel],
            of: Of::Paper,
        })
}

/// What a stack looks like: code values at points, gray steps with paper to all sides.
struct Pattern {
    points: Vec<([f64; 2], f64)>,
    mean: f64,
    spread: f64,
}

impl Pattern {
    fn of([x, y, w, _]: Place) -> Self {
        // Four points across and down a step.
        let mut points = Vec::new();
        for row in -4i32..(STEPS.len() as i32 * 4 + 4) {
            for column in -2i32..6 {
                let at = [
                    x + (f64::from(column) + 0.5) / 4.0 * w,
                    y + (f64::from(row) + 0.5) / 4.0 * STEP_MM[1],
                ];
                let inside = row >= 0 && (0..4).contains(&column);
                let step = STEPS.get(row.div_euclid(4) as usize).filter(|_| inside);
                points.push((at, step.map_or(1.0, |&s| f64::from(s) / 255.0)));
            }
        }
        let mean = points.iter().map(|p| p.1).sum::<f64>() / points.len() as f64;
        let spread = points.iter().map(|p| (p.1 - mean).powi(2)).sum();
        Self {
            points,
            mean,
            spread,
        }
    }

    /// How much what is seen at a shift looks like it.
    fn alike(&self, view: &View, shift: Vector2<f64>) -> f64 {
        let (mut sum, mut square, mut with) = (0.0, 0.0, 0.0);
        for &([u, v], expected) in &self.points {
            let seen = view.at([u + shift.x, v + shift.y]).iter().sum::<f64>();
            sum += seen;
            square += seen * seen;
            with += seen * (expected - self.mean);
        }
        let spread = square - sum * sum / self.points.len() as f64;
        with / (spread * self.spread).sqrt().max(1e-9)
    }

    /// The best shift: first in coarse steps all around, then in fine ones.
    fn find(&self, view: &View) -> Option<Vector2<f64>> {
        const STEP: f64 = 0.2;
        let mut best = (f64::NEG_INFINITY, Vector2::zeros());
        let coarse = (CURL_MM / (3.0 * STEP)) as i32;
        for (reach, step) in [(coarse, 3.0 * STEP), (3, STEP)] {
            let around = best.1;
            for (i, j) in (-reach..=reach).flat_map(|j| (-reach..=reach).map(move |i| (i, j))) {
                let shift = around + Vector2::new(f64::from(i), f64::from(j)) * step;
                let score = self.alike(view, shift);
                if score > best.0 {
                    best = (score, shift);
                }
            }
        }
        (best.0 >= ALIKE).then_some(best.1)
    }
}

/// How long the step from the middle of a dark field to paper takes, in millimeters: from a tenth of it to nine tenths,
/// the shorter of left and right.
fn rise(view: &View, [x, y]: [f64; 2]) -> f64 {
    const STEP: f64 = 0.05;
    let side = |sign: f64| {
        let profile: Vec<f64> = (0..=60)
            .map(|i| {
                (-2..=2)
                    .map(|k| {
                        let at = [x + sign * STEP * f64::from(i), y + 0.3 * f64::from(k)];
                        view.at(at)[1]
                    })
                    .sum()
            })
            .collect();
        let low = profile.iter().copied().fold(f64::INFINITY, f64::min);
        let high = profile[profile.len() * 3 / 4..]
            .iter()
            .copied()
            .fold(0.0, f64::max);
        let first = |part: f64| {
            profile
                .iter()
                .position(|&v| v > low + part * (high - low))
                .unwrap_or(0) as f64
        };
        (first(0.9) - first(0.1)) * STEP
    };
    side(-1.0).min(side(1.0))
}
