//! Which pen for which band: all bands together, at the least total cost.
//!
//! Cost of a pen for a band, in CIEDE2000 units, weighted by how much the band matters:
//! color difference + a penalty for hue or chroma that runs away + a penalty for a worn pen + a penalty for a pen
//! without refill that grows with the area. What the person wishes ([`Wishes`]) comes before all of that. Otherwise not
//! negotiable: within a group lightness falls by [`LEAST_STEP`] from band
//! to band, no pen serves two bands, no dry pen is used, and a pen without refill gets no large area another could color
//! as well. Bare paper may serve the lightest band of any group.
//!
//! The least total is found by depth-first search with bounds (branch and bound; Land and Doig 1960).

use std::collections::HashMap;

use crate::color::{Lab, Srgb8, chroma, difference, hue_difference};
use crate::sections::{Band, LEAST_STEP};

use super::{Condition, Pen};

/// Hue difference (H*ab) a pen may have from its band before it shows as another hue; from memory.
const HUE_TOLERANCE: f32 = 9.0;
/// Chroma a pen may have beyond or below its band's before it shows as too strong or too dull; from memory.
const CHROMA_TOLERANCE: f32 = 14.0;
/// Cost per unit of hue or chroma beyond the tolerance.
const DRIFT_COST: f32 = 0.5;
/// Cost of a worn pen.
const WORN_COST: f32 = 3.0;
/// Cost of a pen without refill on a band of this area (square millimeters) or more; in proportion below. From memory.
const NO_REFILL_COST: f32 = 4.0;
const LARGE_AREA_MM2: f32 = 1500.0;
/// Chroma below which a color is called gray; from memory.
const GRAY_CHROMA: f32 = 9.0;
/// How far around the hue circle the next hue is looked for, in degrees; from memory.
const NEXT_HUE: f32 = 32.0;
/// Every band matters this much, however small, beside its share of the area.
const EVEN_WEIGHT: f32 = 0.5;
/// Steps of the search after which the best found so far stands; never reached in practice.
const MOST_STEPS: usize = 3_000_000;

/// What a band is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pick {
    /// The card is left bare.
    Paper,
    /// Index of the pen.
    Pen(usize),
}

/// The choice for one band.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    pub pick: Pick,
    /// The next best pens for this band alone, best first, at most two.
    pub runner_ups: Vec<usize>,
}

/// What the person wants of the choice.
#[derive(Debug, Clone, PartialEq)]
pub struct Wishes {
    /// The pen each band must have, if any; a pen may be wished for several bands, and steps do not bind it.
    pub pinned: Vec<Option<usize>>,
    /// Pens that must not be used.
    pub forbidden: Vec<bool>,
    /// A pen without refill gets no larger area than this, in square millimeters, if one with refill is within
    /// [`STAND_IN`] of it.
    pub no_refill_mm2: f32,
}

/// A pen within this of another, in CIEDE2000, can color a large area in its stead; from memory.
pub const STAND_IN: f32 = 8.0;

impl Wishes {
    /// No wishes for so many bands and pens.
    pub fn none(bands: usize, pens: usize) -> Self {
        Self {
            pinned: vec![None; bands],
            forbidden: vec![false; pens],
            no_refill_mm2: f32::INFINITY,
        }
    }
}

struct Candidate {
    pick: Pick,
    pinned: bool,
    cost: f32,
    lightness: f32,
}

/// Gives every band a pen. `bands` are in groups, lightest first within each group; `area_mm2` is the colored area.
///
/// # Errors
/// The group that cannot be served with steps of [`LEAST_STEP`] from the pens left, as `Err(group)`.
pub fn choose(
    bands: &[Band],
    pens: &[Pen],
    paper: Srgb8,
    area_mm2: f32,
    wishes: &Wishes,
) -> Result<Vec<Choice>, usize> {
    let colors: Vec<Lab> = pens.iter().map(|p| p.color.lab()).collect();
    let paper = paper.lab();
    let is_lightest: Vec<bool> = (0..bands.len())
        .map(|b| b == 0 || bands[b - 1].group != bands[b].group)
        .collect();
    let candidates: Vec<Vec<Candidate>> = bands
        .iter()
        .zip(&is_lightest)
        .zip(&wishes.pinned)
        .map(|((band, &lightest), &pinned)| {
            let weight = EVEN_WEIGHT / bands.len() as f32 + (1.0 - EVEN_WEIGHT) * band.share;
            let mut list: Vec<Candidate> = (0..pens.len())
                .filter(|&p| match pinned {
                    Some(wished) => p == wished,
                    None => pens[p].condition != Condition::Dry && !wishes.forbidden[p],
                })
                .map(|p| Candidate {
                    pick: Pick::Pen(p),
                    pinned: pinned.is_some(),
                    cost: weight * pen_cost(band, &pens[p], colors[p], area_mm2),
                    lightness: colors[p].l,
                })
                .collect();
            if lightest && pinned.is_none() {
                let cost = weight * (difference(band.lab, paper) + drift_cost(band.lab, paper));
                list.push(Candidate {
                    pick: Pick::Paper,
                    pinned: false,
                    cost,
                    lightness: paper.l,
                });
            }
            list.sort_by(|a, b| a.cost.total_cmp(&b.cost));
            list
        })
        .collect();

    let mut search = Search {
        bands,
        candidates: &candidates,
        // Least cost of the bands from each one on, each taken alone.
        least_from: {
            let mut rest = vec![0.0; bands.len() + 1];
            for b in (0..bands.len()).rev() {
                rest[b] = rest[b + 1] + candidates[b].first().map_or(f32::INFINITY, |c| c.cost);
            }
            rest
        },
        // A pen that is wished for one band is no other's.
        used: (0..pens.len())
            .map(|p| wishes.pinned.contains(&Some(p)))
            .collect(),
        path: Vec::new(),
        best: None,
        deepest: 0,
        steps: 0,
        runs_dry: &|b, p| would_run_dry(&bands[b], p, pens, &colors, area_mm2, wishes),
        known_dry: HashMap::new(),
    };
    search.descend(0, 0.0, f32::INFINITY);
    let deepest = search.deepest;
    let Some((_, best)) = search.best else {
        return Err(bands[deepest.min(bands.len() - 1)].group);
    };
    Ok(best
        .iter()
        .enumerate()
        .map(|(b, &pick)| Choice {
            pick,
            runner_ups: candidates[b]
                .iter()
                .filter_map(|c| match c.pick {
                    Pick::Pen(p) if c.pick != pick => Some(p),
                    _ => None,
                })
                .take(2)
                .collect(),
        })
        .collect())
}

/// Whether a pen without refill would get a larger area than the person wants it to, while one with refill is close.
fn would_run_dry(
    band: &Band,
    p: usize,
    pens: &[Pen],
    colors: &[Lab],
    area_mm2: f32,
    wishes: &Wishes,
) -> bool {
    !pens[p].refill
        && band.share * area_mm2 > wishes.no_refill_mm2
        && (0..pens.len()).any(|q| {
            pens[q].refill
                && pens[q].condition == Condition::Good
                && !wishes.forbidden[q]
                && difference(colors[p], colors[q]) < STAND_IN
        })
}

fn pen_cost(band: &Band, pen: &Pen, color: Lab, area_mm2: f32) -> f32 {
    let worn = if pen.condition == Condition::Worn {
        WORN_COST
    } else {
        0.0
    };
    let large = (band.share * area_mm2 / LARGE_AREA_MM2).min(1.0);
    let no_refill = if pen.refill {
        0.0
    } else {
        NO_REFILL_COST * large
    };
    difference(band.lab, color) + drift_cost(band.lab, color) + worn + no_refill
}

/// How far hue and chroma lie beyond their tolerances.
fn drift(band: Lab, color: Lab) -> (f32, f32) {
    let hue = (hue_difference(band, color).abs() - HUE_TOLERANCE).max(0.0);
    let strength = ((chroma(color) - chroma(band)).abs() - CHROMA_TOLERANCE).max(0.0);
    (hue, strength)
}

fn drift_cost(band: Lab, color: Lab) -> f32 {
    let (hue, strength) = drift(band, color);
    DRIFT_COST * (hue + strength)
}

/// Says in plain words how a pen leaves the color of its band beyond the tolerances; `None` if it does not.
pub fn explain_drift(band: Lab, color: Lab) -> Option<String> {
    let (hue, strength) = drift(band, color);
    if hue == 0.0 && strength == 0.0 {
        return None;
    }
    let mut said = Vec::new();
    if hue > 0.0 {
        said.push(format!(
            "its hue runs away toward {} (by {:.0}, tolerance {HUE_TOLERANCE:.0})",
            toward(band, color),
            hue + HUE_TOLERANCE
        ));
    }
    if strength > 0.0 {
        let how = if chroma(color) > chroma(band) {
            "stronger"
        } else {
            "duller"
        };
        said.push(format!(
            "it is {how} in color than the photo (by {:.0}, tolerance {CHROMA_TOLERANCE:.0})",
            strength + CHROMA_TOLERANCE
        ));
    }
    Some(said.join(" and "))
}

/// The hue a pen leaves its band toward: its own, or the next one on where that is the band's.
fn toward(band: Lab, pen: Lab) -> &'static str {
    if hue_name(pen) != hue_name(band) {
        return hue_name(pen);
    }
    let turn = NEXT_HUE.to_radians().copysign(hue_difference(band, pen));
    let (sin, cos) = turn.sin_cos();
    hue_name(Lab::new(
        pen.l,
        pen.a * cos - pen.b * sin,
        pen.a * sin + pen.b * cos,
    ))
}

/// A plain word for a color: its hue, or gray where it has little.
pub fn color_name(lab: Lab) -> &'static str {
    match lab.l {
        _ if chroma(lab) >= GRAY_CHROMA => hue_name(lab),
        l if l > 85.0 => "white",
        l if l < 20.0 => "black",
        _ => "gray",
    }
}

/// A plain word for a hue, by the CIE hue angle of L*a*b*; from memory.
fn hue_name(lab: Lab) -> &'static str {
    let angle = lab.b.atan2(lab.a).to_degrees().rem_euclid(360.0);
    match angle {
        a if a < 20.0 => "pink",
        a if a < 48.0 => "red",
        a if a < 75.0 => "orange",
        a if a < 105.0 => "yellow",
        a if a < 170.0 => "green",
        a if a < 220.0 => "blue-green",
        a if a < 290.0 => "blue",
        a if a < 335.0 => "violet",
        _ => "pink",
    }
}

struct Search<'a> {
    bands: &'a [Band],
    candidates: &'a [Vec<Candidate>],
    least_from: Vec<f32>,
    used: Vec<bool>,
    path: Vec<Pick>,
    best: Option<(f32, Vec<Pick>)>,
    /// The first band no way has got past.
    deepest: usize,
    steps: usize,
    /// Whether a pen would run dry on a band, and what is known of that already: asked only of pens that are tried.
    runs_dry: &'a dyn Fn(usize, usize) -> bool,
    known_dry: HashMap<(usize, usize), bool>,
}

impl Search<'_> {
    /// Tries every pen for band `b`; the pens before it cost `sum`, the one just before has the lightness `above`.
    fn descend(&mut self, b: usize, sum: f32, above: f32) {
        self.deepest = self.deepest.max(b);
        if b == self.bands.len() {
            if self.best.as_ref().is_none_or(|(cost, _)| sum < *cost) {
                self.best = Some((sum, self.path.clone()));
            }
            return;
        }
        let above = if b > 0 && self.bands[b - 1].group == self.bands[b].group {
            above
        } else {
            f32::INFINITY
        };
        for c in &self.candidates[b] {
            let total = sum + c.cost;
            if self
                .best
                .as_ref()
                .is_some_and(|(cost, _)| total + self.least_from[b + 1] >= *cost)
            {
                return;
            }
            if self.best.is_some() && self.steps > MOST_STEPS || self.steps > 4 * MOST_STEPS {
                return;
            }
            if c.lightness > above - LEAST_STEP && !c.pinned {
                continue;
            }
            let mut taken = None;
            if let Pick::Pen(p) = c.pick {
                let runs_dry = self.runs_dry;
                let dry = *self
                    .known_dry
                    .entry((b, p))
                    .or_insert_with(|| runs_dry(b, p));
                if dry && !c.pinned {
                    continue;
                }
                if self.used[p] && !c.pinned {
                    continue;
                }
                if !self.used[p] {
                    self.used[p] = true;
                    taken = Some(p);
                }
            }
            self.steps += 1;
            self.path.push(c.pick);
            // Nor do steps bind the band after a pinned one.
            let above = if c.pinned { f32::INFINITY } else { c.lightness };
            self.descend(b + 1, total, above);
            self.path.pop();
            if let Some(p) = taken {
                self.used[p] = false;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pen(l: f32, a: f32, b: f32, refill: bool) -> Pen {
        Pen {
            name: format!("{l} {a} {b}"),
            color: Srgb8::from_lab(Lab::new(l, a, b)),
            refill,
            condition: Condition::Good,
            two_coats: None,
            note: String::new(),
        }
    }

    fn band(group: usize, l: f32, a: f32, b: f32, share: f32) -> Band {
        Band {
            group,
            lab: Lab::new(l, a, b),
            share,
        }
    }

    /// All assignments, one by one.
    fn exhaustive(bands: &[Band], pens: &[Pen], paper: Srgb8, area: f32) -> Option<f32> {
        fn go(
            b: usize,
            above: f32,
            used: &mut Vec<bool>,
            bands: &[Band],
            pens: &[Pen],
            paper: Srgb8,
            area: f32,
        ) -> Option<f32> {
            if b == bands.len() {
                return Some(0.0);
            }
            let lightest = b == 0 || bands[b - 1].group != bands[b].group;
            let above = if lightest { f32::INFINITY } else { above };
            let weight = EVEN_WEIGHT / bands.len() as f32 + (1.0 - EVEN_WEIGHT) * bands[b].share;
            let mut best: Option<f32> = None;
            for p in 0..pens.len() {
                let lab = pens[p].color.lab();
                if used[p] || pens[p].condition == Condition::Dry || lab.l > above - LEAST_STEP {
                    continue;
                }
                used[p] = true;
                let rest = go(b + 1, lab.l, used, bands, pens, paper, area);
                used[p] = false;
                if let Some(rest) = rest {
                    let sum = rest + weight * pen_cost(&bands[b], &pens[p], lab, area);
                    best = Some(best.map_or(sum, |v: f32| v.min(sum)));
                }
            }
            if lightest {
                let lab = paper.lab();
                if let Some(rest) = go(b + 1, lab.l, used, bands, pens, paper, area) {
                    let sum = rest
                        + weight * (difference(bands[b].lab, lab) + drift_cost(bands[b].lab, lab));
                    best = Some(best.map_or(sum, |v: f32| v.min(sum)));
                }
            }
            best
        }
        go(
            0,
            f32::INFINITY,
            &mut vec![false; pens.len()],
            bands,
            pens,
            paper,
            area,
        )
    }

    fn cost_of(choices: &[Choice], bands: &[Band], pens: &[Pen], paper: Srgb8, area: f32) -> f32 {
        choices
            .iter()
            .zip(bands)
            .map(|(c, band)| {
                let weight = EVEN_WEIGHT / bands.len() as f32 + (1.0 - EVEN_WEIGHT) * band.share;
                weight
                    * match c.pick {
                        Pick::Pen(p) => pen_cost(band, &pens[p], pens[p].color.lab(), area),
                        Pick::Paper => {
                            difference(band.lab, paper.lab()) + drift_cost(band.lab, paper.lab())
                        }
                    }
            })
            .sum()
    }

    #[test]
    fn the_choice_is_the_cheapest_of_all_choices() {
        let paper = Srgb8::new(255, 255, 255);
        let mut state = 3u64;
        let mut next = |n: u64| {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            ((state >> 33) % n) as f32
        };
        for _ in 0..40 {
            let pens: Vec<Pen> = (0..6)
                .map(|i| {
                    pen(
                        20.0 + next(75),
                        next(80) - 40.0,
                        next(80) - 40.0,
                        i % 2 == 0,
                    )
                })
                .collect();
            let bands = [
                band(0, 85.0, next(20), next(20), 0.3),
                band(0, 60.0, next(40), next(40), 0.3),
                band(1, 70.0, -next(40), next(40), 0.2),
                band(1, 40.0, -next(40), next(40), 0.2),
            ];
            let found = choose(&bands, &pens, paper, 3000.0, &Wishes::none(4, 6))
                .ok()
                .map(|c| cost_of(&c, &bands, &pens, paper, 3000.0));
            let best = exhaustive(&bands, &pens, paper, 3000.0);
            match (found, best) {
                (Some(f), Some(b)) => assert!((f - b).abs() < 1e-3, "{f} {b}"),
                (None, None) => {}
                other => panic!("{other:?}"),
            }
        }
    }

    #[test]
    fn dry_pens_are_never_used_and_a_refill_decides_on_a_large_area() {
        let mut pens = vec![pen(50.0, 40.0, 30.0, false), pen(50.0, 40.0, 28.0, true)];
        let bands = [band(0, 50.0, 40.0, 30.0, 1.0)];
        let paper = Srgb8::new(255, 255, 255);
        assert_eq!(
            choose(&bands, &pens, paper, 10.0, &Wishes::none(1, 2)).unwrap()[0].pick,
            Pick::Pen(0)
        );
        assert_eq!(
            choose(&bands, &pens, paper, 5000.0, &Wishes::none(1, 2)).unwrap()[0].pick,
            Pick::Pen(1)
        );
        pens[1].condition = Condition::Dry;
        let choice = &choose(&bands, &pens, paper, 5000.0, &Wishes::none(1, 2)).unwrap()[0];
        assert_eq!(choice.pick, Pick::Pen(0));
        assert!(choice.runner_ups.is_empty());
    }

    #[test]
    fn wishes_come_before_everything_else() {
        let pens = [
            pen(80.0, 20.0, 40.0, true),
            pen(60.0, 35.0, 45.0, true),
            pen(40.0, 40.0, 35.0, false),
            pen(38.0, 38.0, 33.0, true),
        ];
        let bands = [
            band(0, 80.0, 20.0, 40.0, 0.5),
            band(0, 40.0, 40.0, 35.0, 0.5),
        ];
        let paper = Srgb8::new(255, 255, 255);
        let picks = |wishes: &Wishes| -> Vec<Pick> {
            let chosen = choose(&bands, &pens, paper, 4000.0, wishes).unwrap();
            chosen.into_iter().map(|c| c.pick).collect()
        };
        let none = Wishes::none(2, 4);
        // A refill decides softly; a limit decides for good, but only where there is a stand-in.
        let limited = Wishes {
            no_refill_mm2: 1000.0,
            ..none.clone()
        };
        assert_eq!(picks(&limited), [Pick::Pen(0), Pick::Pen(3)]);
        let forbidden = Wishes {
            forbidden: vec![true, false, false, true],
            ..limited
        };
        assert_eq!(picks(&forbidden), [Pick::Pen(1), Pick::Pen(2)]);
        // A pinned pen may break the steps, and serves no other band unless wished there, too.
        let pinned = Wishes {
            pinned: vec![Some(3), None],
            ..none.clone()
        };
        assert_eq!(picks(&pinned)[0], Pick::Pen(3));
        assert_ne!(
            picks(&Wishes {
                pinned: vec![None, Some(0)],
                ..none.clone()
            })[0],
            Pick::Pen(0)
        );
        let both = Wishes {
            pinned: vec![Some(1), Some(1)],
            ..none
        };
        assert_eq!(picks(&both), [Pick::Pen(1), Pick::Pen(1)]);
    }

    #[test]
    fn a_group_without_enough_steps_is_named() {
        let pens = [pen(50.0, 40.0, 30.0, true), pen(46.0, 40.0, 30.0, true)];
        let bands = [
            band(0, 90.0, 5.0, 5.0, 0.4),
            band(0, 52.0, 40.0, 30.0, 0.3),
            band(0, 30.0, 40.0, 30.0, 0.3),
        ];
        assert_eq!(
            choose(
                &bands,
                &pens,
                Srgb8::new(255, 255, 255),
                100.0,
                &Wishes::none(3, 2)
            ),
            Err(0)
        );
    }

    #[test]
    fn a_shadow_that_turns_orange_is_explained() {
        let shadow = Lab::new(35.0, 40.0, 20.0);
        let said = explain_drift(shadow, Lab::new(45.0, 40.0, 60.0)).unwrap();
        assert!(said.contains("orange"), "{said}");
        assert_eq!(explain_drift(shadow, Lab::new(33.0, 38.0, 20.0)), None);
    }
}
