//! Which pen for which band: all bands together, at the least total cost.
//!
//! Cost of a pen for a band, in CIEDE2000 units, weighted by how much the band matters:
//! color difference + a penalty for hue or chroma that runs away + a penalty for a worn pen + a penalty for a pen
//! without refill that grows with the area and the coats + what two coats must be better by than one. What the person
//! wishes ([`Wishes`]) comes before all of that. Otherwise not negotiable: within a group lightness falls by
//! [`LEAST_STEP`] from band to band, no pen lies on top in two groups, no two bands are given the same, no dry pen is
//! used, and a pen without refill gets no large area another could color as well. Bare paper may serve the lightest band
//! of any group.
//!
//! The least total is found by depth-first search with bounds (branch and bound; Land and Doig 1960).

use std::sync::OnceLock;

use rayon::prelude::*;

use crate::color::{Lab, Srgb8, chroma, difference, hue_difference};
use crate::sections::{Band, LEAST_STEP};

use super::{Condition, Pen, Pick};

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
/// A second coat must be better than any single coat by this much, in CIEDE2000: it takes a rest, ink and a steady
/// hand. More where it is not measured but expected. From memory.
const MEASURED_COAT_GAIN: f32 = 3.0;
const EXPECTED_COAT_GAIN: f32 = 5.0;
/// The same for a coat over a gray; from memory.
const OVER_GAIN: f32 = 8.0;
/// A color over a gray darker than this, in L*, hardly shows, and drags the gray along; from memory.
const DARKEST_GRAY: f32 = 40.0;
/// Grays that are tried under other pens, and pens tried over them, those of the nearest hue first.
const MOST_GRAYS: usize = 30;
const MOST_OVER_GRAY: usize = 120;
/// Best ways of a coat over a gray that are offered for one band.
const OVER_OFFERS: usize = 8;
/// From this difference on, in CIEDE2000, a pen shows as another color; from memory.
pub const ANOTHER_COLOR: f32 = 12.0;
/// Chroma below which a color is called gray; from memory.
const GRAY_CHROMA: f32 = 9.0;
/// How far around the hue circle the next hue is looked for, in degrees; from memory.
const NEXT_HUE: f32 = 32.0;
/// Every band matters this much, however small, beside its share of the area.
const EVEN_WEIGHT: f32 = 0.5;
/// Steps of the search after which the best found so far stands.
const MOST_STEPS: usize = 20_000_000;

/// The choice for one band.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    pub pick: Pick,
    /// The next best single pens for this band alone, best first, at most two.
    pub runner_ups: Vec<usize>,
}

/// The choice for all bands.
#[derive(Debug, Clone, PartialEq)]
pub struct Chosen {
    pub choices: Vec<Choice>,
    /// No other choice costs less; otherwise there were too many to try.
    pub proven: bool,
}

/// What the person wants of the choice.
#[derive(Debug, Clone, PartialEq)]
pub struct Wishes {
    /// What each band must have, if anything; a pen may be wished for several bands, and steps do not bind it.
    pub pinned: Vec<Option<Pick>>,
    /// Pens that must not be used.
    pub forbidden: Vec<bool>,
    /// A pen without refill gets no larger area than this, in square millimeters and coats, if one with refill is
    /// within [`STAND_IN`] of it.
    pub no_refill_mm2: f32,
    /// Most pens. No band gets another color ([`ANOTHER_COLOR`]) for the sake of it.
    pub most_pens: Option<usize>,
    /// Two coats on one place may be offered.
    pub two_coats: bool,
}

/// A pen within this of another, in CIEDE2000, can color a large area in its stead; from memory.
pub const STAND_IN: f32 = 8.0;

impl Wishes {
    /// No wishes for so many bands and pens, and single coats only.
    pub fn none(bands: usize, pens: usize) -> Self {
        Self {
            pinned: vec![None; bands],
            forbidden: vec![false; pens],
            no_refill_mm2: f32::INFINITY,
            most_pens: None,
            two_coats: false,
        }
    }
}

struct Candidate {
    pick: Pick,
    pinned: bool,
    /// From its band, in CIEDE2000.
    difference: f32,
    cost: f32,
    /// This and what its group costs at least from here on.
    least: f32,
    lightness: f32,
}

/// Why there is no choice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unserved {
    /// This group cannot be served with steps of [`LEAST_STEP`] from the pens left.
    Group(usize),
    /// There are more bands than so few pens can serve.
    MostPens(usize),
}

/// Gives every band a pen. `bands` are in groups, lightest first within each group; `area_mm2` is the colored area.
pub fn choose(
    bands: &[Band],
    pens: &[Pen],
    paper: Srgb8,
    area_mm2: f32,
    wishes: &Wishes,
) -> Result<Chosen, Unserved> {
    let offers = Offers::new(pens, paper, area_mm2, wishes);
    let free = least_cost(bands, &offers, None).map_err(Unserved::Group)?;
    let Some(most) = wishes.most_pens else {
        return Ok(free);
    };
    let mut used: Vec<usize> = free.choices.iter().flat_map(|c| c.pick.pens()).collect();
    used.sort_unstable();
    used.dedup();
    if used.len() <= most {
        return Ok(free);
    }
    let reach = free.choices.iter().zip(bands).map(|(choice, band)| {
        let color = choice.pick.color(pens, paper);
        difference(band.lab, color.lab()).max(ANOTHER_COLOR)
    });
    let limit = Limit {
        most_pens: most,
        reach: reach.collect(),
    };
    least_cost(bands, &offers, Some(&limit)).map_err(|_| Unserved::MostPens(most))
}

/// A limit of pens, and how far, in CIEDE2000, each band may be left for it.
struct Limit {
    most_pens: usize,
    reach: Vec<f32>,
}

/// The choice of the least cost, or the group that none gets past.
fn least_cost(bands: &[Band], offers: &Offers, limit: Option<&Limit>) -> Result<Chosen, usize> {
    let mut candidates: Vec<Vec<Candidate>> = (0..bands.len())
        .into_par_iter()
        .map(|b| {
            let mut list = offers.of(bands, b);
            if let Some(limit) = limit {
                list.retain(|c| c.pinned || c.difference <= limit.reach[b]);
            }
            list
        })
        .collect();
    let runner_ups: Vec<Vec<usize>> = candidates
        .iter()
        .map(|list| {
            let single = |c: &Candidate| match c.pick {
                Pick::Pen(p) => Some(p),
                _ => None,
            };
            // One more than are told: the best may be the one that is chosen.
            list.iter().filter_map(single).take(3).collect()
        })
        .collect();
    let after_group = bound(bands, &mut candidates)?;
    let mut search = Search {
        bands,
        candidates: &candidates,
        after_group,
        offers,
        most_pens: limit.map_or(usize::MAX, |limit| limit.most_pens),
        on_top: reserved(bands, offers.pens.len(), offers.wishes),
        used: vec![Used::default(); offers.pens.len()],
        pens_used: 0,
        path: Vec::new(),
        best: None,
        deepest: 0,
        steps: 0,
    };
    search.descend(0, 0.0, f32::INFINITY);
    let (deepest, steps) = (search.deepest, search.steps);
    let Some((_, best)) = search.best else {
        return Err(bands[deepest.min(bands.len() - 1)].group);
    };
    let choices = best
        .iter()
        .zip(&runner_ups)
        .map(|(&pick, runner_ups)| Choice {
            pick,
            runner_ups: runner_ups
                .iter()
                .copied()
                .filter(|&p| pick != Pick::Pen(p))
                .take(2)
                .collect(),
        })
        .collect();
    Ok(Chosen {
        choices,
        proven: steps <= MOST_STEPS,
    })
}

/// Finds for every candidate the least its group can cost from there on, steps kept but pens taken as often as liked;
/// drops those that lead nowhere, and puts the most promising first. Returns for every band what all groups after its
/// own cost at least.
///
/// # Errors
/// The group that cannot be served.
fn bound(bands: &[Band], candidates: &mut [Vec<Candidate>]) -> Result<Vec<f32>, usize> {
    let mut after_group = vec![0.0; bands.len()];
    for b in (0..bands.len()).rev() {
        let (here, next) = candidates[b..].split_at_mut(1);
        let (here, next) = (&mut here[0], next.first());
        let goes_on = b + 1 < bands.len() && bands[b + 1].group == bands[b].group;
        let first_of_next = next.and_then(|next| next.first()).map_or(0.0, |c| c.least);
        if goes_on {
            after_group[b] = after_group[b + 1];
            let next: &[Candidate] = next.map_or(&[], Vec::as_slice);
            // By lightness, and the least there is up to each.
            let mut by_lightness: Vec<(f32, f32)> =
                next.iter().map(|c| (c.lightness, c.least)).collect();
            by_lightness.sort_by(|a, b| a.0.total_cmp(&b.0));
            let mut least = f32::INFINITY;
            for entry in &mut by_lightness {
                least = least.min(entry.1);
                entry.1 = least;
            }
            let unbound = next.first().is_some_and(|c| c.pinned);
            for c in here.iter_mut() {
                let rest = if unbound || c.pinned {
                    first_of_next
                } else {
                    let below = by_lightness.partition_point(|e| e.0 <= c.lightness - LEAST_STEP);
                    below
                        .checked_sub(1)
                        .map_or(f32::INFINITY, |i| by_lightness[i].1)
                };
                c.least = c.cost + rest;
            }
            here.retain(|c| c.least.is_finite());
            here.sort_by(|a, b| a.least.total_cmp(&b.least));
        } else if b + 1 < bands.len() {
            after_group[b] = after_group[b + 1] + first_of_next;
        }
        if here.is_empty() {
            return Err(bands[b].group);
        }
    }
    Ok(after_group)
}

/// The group in which each pen may lie on top, as far as the pinned ones decide.
fn reserved(bands: &[Band], pens: usize, wishes: &Wishes) -> Vec<Option<usize>> {
    let mut on_top = vec![None; pens];
    for (band, pinned) in bands.iter().zip(&wishes.pinned) {
        if let Some(p) = pinned.and_then(Pick::pen) {
            // Wished in several groups it is left to those wishes.
            on_top[p] = match on_top[p] {
                Some(group) if group != band.group => Some(usize::MAX),
                _ => Some(band.group),
            };
        }
    }
    on_top
}

/// What could be offered to a band, and at what cost.
struct Offers<'a> {
    pens: &'a [Pen],
    paper: Srgb8,
    area_mm2: f32,
    wishes: &'a Wishes,
    /// Pens that may be used, and their colors in one coat and in two.
    usable: Vec<usize>,
    once: Vec<Lab>,
    twice: Vec<Lab>,
    /// Usable grays, spread over the lightnesses.
    grays: Vec<usize>,
    /// Whether another pen can color a large area in a pen's stead; found when it is first asked.
    has_stand_in: Vec<OnceLock<bool>>,
}

impl<'a> Offers<'a> {
    fn new(pens: &'a [Pen], paper: Srgb8, area_mm2: f32, wishes: &'a Wishes) -> Self {
        let usable: Vec<usize> = (0..pens.len())
            .filter(|&p| pens[p].condition != Condition::Dry && !wishes.forbidden[p])
            .collect();
        let lab = |pick: Pick| pick.color(pens, paper).lab();
        let once: Vec<Lab> = (0..pens.len()).map(|p| lab(Pick::Pen(p))).collect();
        let mut grays: Vec<usize> = usable
            .iter()
            .copied()
            .filter(|&p| chroma(once[p]) < GRAY_CHROMA && once[p].l > DARKEST_GRAY)
            .collect();
        grays.sort_by(|&p, &q| once[p].l.total_cmp(&once[q].l));
        if grays.len() > MOST_GRAYS {
            let last = grays.len() - 1;
            grays = (0..MOST_GRAYS)
                .map(|i| grays[i * last / (MOST_GRAYS - 1)])
                .collect();
        }
        Self {
            pens,
            paper,
            area_mm2,
            wishes,
            twice: if wishes.two_coats {
                (0..pens.len()).map(|p| lab(Pick::Twice(p))).collect()
            } else {
                Vec::new()
            },
            usable,
            once,
            grays,
            has_stand_in: vec![OnceLock::new(); pens.len()],
        }
    }

    /// Everything band `b` can be given, cheapest first.
    fn of(&self, bands: &[Band], b: usize) -> Vec<Candidate> {
        let band = &bands[b];
        let weight = EVEN_WEIGHT / bands.len() as f32 + (1.0 - EVEN_WEIGHT) * band.share;
        let offer = |pick: Pick, color: Lab, pinned: bool| {
            let cost = weight * self.cost(band, pick, color);
            Candidate {
                pick,
                pinned,
                difference: difference(band.lab, color),
                cost,
                least: cost,
                lightness: color.l,
            }
        };
        if let Some(pick) = self.wishes.pinned[b] {
            let color = pick.color(self.pens, self.paper).lab();
            return vec![offer(pick, color, true)];
        }
        let mut list: Vec<Candidate> = self
            .usable
            .iter()
            .map(|&p| offer(Pick::Pen(p), self.once[p], false))
            .collect();
        if self.wishes.two_coats {
            let nearest = list.iter().map(|c| c.cost).fold(f32::INFINITY, f32::min);
            list.extend(
                self.usable
                    .iter()
                    .map(|&p| offer(Pick::Twice(p), self.twice[p], false)),
            );
            if nearest > weight * OVER_GAIN {
                let mut over: Vec<Candidate> = self
                    .over_grays(band)
                    .map(|(pick, color)| offer(pick, color, false))
                    .filter(|c| c.cost < nearest)
                    .collect();
                over.sort_by(|a, b| a.cost.total_cmp(&b.cost));
                list.extend(over.into_iter().take(OVER_OFFERS));
            }
        }
        if b == 0 || bands[b - 1].group != band.group {
            list.push(offer(Pick::Paper, self.paper.lab(), false));
        }
        list.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        list
    }

    /// Coats over grays that may come near a band where no single pen does.
    fn over_grays(&self, band: &Band) -> impl Iterator<Item = (Pick, Lab)> {
        // Ink only darkens.
        let mut pens: Vec<usize> = self
            .usable
            .iter()
            .copied()
            .filter(|&p| self.once[p].l > band.lab.l && chroma(self.once[p]) >= GRAY_CHROMA)
            .collect();
        pens.sort_by(|&p, &q| {
            let away = |p: usize| hue_difference(band.lab, self.once[p]).abs();
            away(p).total_cmp(&away(q))
        });
        pens.truncate(MOST_OVER_GRAY);
        pens.into_iter().flat_map(move |pen| {
            self.grays.iter().map(move |&under| {
                let pick = Pick::Over { under, pen };
                (pick, pick.color(self.pens, self.paper).lab())
            })
        })
    }

    /// What a pick of this color costs for a band.
    fn cost(&self, band: &Band, pick: Pick, color: Lab) -> f32 {
        let pens = |p: usize| &self.pens[p];
        let worn = pick.pens().any(|p| pens(p).condition == Condition::Worn);
        let no_refill = pick.pens().filter(|&p| !pens(p).refill).count() as f32;
        let large = (no_refill * band.share * self.area_mm2 / LARGE_AREA_MM2).min(1.0);
        let gain = match pick {
            Pick::Paper | Pick::Pen(_) => 0.0,
            Pick::Twice(p) if pens(p).two_coats.is_some() => MEASURED_COAT_GAIN,
            Pick::Twice(_) => EXPECTED_COAT_GAIN,
            Pick::Over { .. } => OVER_GAIN,
        };
        let worn = if worn { WORN_COST } else { 0.0 };
        difference(band.lab, color)
            + drift_cost(band.lab, color)
            + worn
            + NO_REFILL_COST * large
            + gain
    }

    /// Whether a pen without refill had better not color so much: more than the person wants it to, while one with
    /// refill is close.
    fn runs_dry(&self, p: usize, inked_mm2: f32) -> bool {
        let stand_in = |&q: &usize| {
            self.pens[q].refill
                && self.pens[q].condition == Condition::Good
                && difference(self.once[p], self.once[q]) < STAND_IN
        };
        !self.pens[p].refill
            && inked_mm2 > self.wishes.no_refill_mm2
            && *self.has_stand_in[p].get_or_init(|| self.usable.iter().any(stand_in))
    }
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

/// What a pen is used for on the way.
#[derive(Debug, Clone, Copy, Default)]
struct Used {
    coats: usize,
    inked_mm2: f32,
}

/// What was before a band was given its coats.
#[derive(Default)]
struct Before {
    /// Its pens, and what they were used for.
    used: [Option<(usize, Used)>; 2],
    /// The pen that lay on top in no group.
    free: Option<usize>,
}

struct Search<'a> {
    bands: &'a [Band],
    candidates: &'a [Vec<Candidate>],
    /// What all groups after a band's own cost at least.
    after_group: Vec<f32>,
    offers: &'a Offers<'a>,
    most_pens: usize,
    /// The group in which each pen lies on top.
    on_top: Vec<Option<usize>>,
    used: Vec<Used>,
    pens_used: usize,
    path: Vec<Pick>,
    best: Option<(f32, Vec<Pick>)>,
    /// The first band no way has got past.
    deepest: usize,
    steps: usize,
}

impl Search<'_> {
    /// Tries everything for band `b`; the bands before it cost `sum`, the one just before has the lightness `above`.
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
            let least = sum + c.least + self.after_group[b];
            if self.best.as_ref().is_some_and(|(cost, _)| least >= *cost) {
                return;
            }
            self.steps += 1;
            if self.steps > MOST_STEPS && (self.best.is_some() || self.steps > 4 * MOST_STEPS) {
                return;
            }
            if c.lightness > above - LEAST_STEP && !c.pinned {
                continue;
            }
            let Some(before) = self.take(b, c) else {
                continue;
            };
            self.path.push(c.pick);
            // Nor do steps bind the band after a pinned one.
            let lightness = if c.pinned { f32::INFINITY } else { c.lightness };
            self.descend(b + 1, sum + c.cost, lightness);
            self.path.pop();
            self.give_back(&before);
        }
    }

    /// Gives band `b` its coats, if nothing is against it. Returns what [`Self::give_back`] needs.
    fn take(&mut self, b: usize, c: &Candidate) -> Option<Before> {
        let group = self.bands[b].group;
        let mut before = Before::default();
        let Some(top) = c.pick.pen() else {
            return Some(before);
        };
        if !c.pinned {
            let elsewhere = self.on_top[top].is_some_and(|g| g != group);
            let pinned = &self.offers.wishes.pinned;
            if elsewhere || self.path.contains(&c.pick) || pinned.contains(&Some(c.pick)) {
                return None;
            }
        }
        let area_mm2 = self.bands[b].share * self.offers.area_mm2;
        for (p, before) in c.pick.pens().zip(&mut before.used) {
            *before = Some((p, self.used[p]));
            self.pens_used += usize::from(self.used[p].coats == 0);
            self.used[p].coats += 1;
            self.used[p].inked_mm2 += area_mm2;
        }
        if self.on_top[top].is_none() {
            self.on_top[top] = Some(group);
            before.free = Some(top);
        }
        let too_many = self.pens_used > self.most_pens;
        let dry = |p: usize| self.offers.runs_dry(p, self.used[p].inked_mm2);
        if too_many || !c.pinned && c.pick.pens().any(dry) {
            self.give_back(&before);
            return None;
        }
        Some(before)
    }

    fn give_back(&mut self, before: &Before) {
        // Backward, so that a pen used twice gets back what it had at first.
        for &(p, used) in before.used.iter().rev().flatten() {
            self.used[p] = used;
            self.pens_used -= usize::from(used.coats == 0);
        }
        if let Some(p) = before.free {
            self.on_top[p] = None;
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

    const WHITE: Srgb8 = Srgb8::new(255, 255, 255);

    fn total(picks: &[Pick], bands: &[Band], offers: &Offers) -> f32 {
        picks
            .iter()
            .zip(bands)
            .map(|(&pick, band)| {
                let weight = EVEN_WEIGHT / bands.len() as f32 + (1.0 - EVEN_WEIGHT) * band.share;
                weight * offers.cost(band, pick, pick.color(offers.pens, offers.paper).lab())
            })
            .sum()
    }

    /// Whether these picks keep every rule, told without the search.
    fn allowed(picks: &[Pick], bands: &[Band], offers: &Offers, reach: &[f32]) -> bool {
        let (pens, wishes) = (offers.pens, offers.wishes);
        let l = |pick: Pick| pick.color(pens, offers.paper).lab().l;
        let used: std::collections::BTreeSet<usize> =
            picks.iter().flat_map(|pick| pick.pens()).collect();
        let cost = |band, pick: Pick| offers.cost(band, pick, pick.color(pens, WHITE).lab());
        let each = picks.iter().enumerate().all(|(b, &pick)| {
            let lightest = b == 0 || bands[b - 1].group != bands[b].group;
            let single = (0..pens.len())
                .map(Pick::Pen)
                .map(|p| cost(&bands[b], p))
                .fold(f32::INFINITY, f32::min);
            let lab = |p: usize| pens[p].color.lab();
            let gray = |p: usize| chroma(lab(p)) < GRAY_CHROMA;
            (lightest || l(pick) <= l(picks[b - 1]) - LEAST_STEP)
                && match pick {
                    Pick::Paper => lightest,
                    Pick::Pen(_) => true,
                    Pick::Twice(_) => wishes.two_coats,
                    Pick::Over { under, pen } => {
                        wishes.two_coats
                            && gray(under)
                            && lab(under).l > DARKEST_GRAY
                            && !gray(pen)
                            && cost(&bands[b], pick) < single
                    }
                }
        });
        let together = (0..picks.len()).all(|b| {
            (0..b).all(|a| {
                let same_top = picks[a].pen().is_some() && picks[a].pen() == picks[b].pen();
                !same_top || picks[a] != picks[b] && bands[a].group == bands[b].group
            })
        });
        let inked = |p: usize| -> f32 {
            let mine = |b: usize| picks[b].pens().filter(|&q| q == p).count() as f32;
            (0..picks.len())
                .map(|b| mine(b) * bands[b].share * offers.area_mm2)
                .sum()
        };
        let dry = |p: usize| {
            !pens[p].refill
                && inked(p) > wishes.no_refill_mm2
                && pens
                    .iter()
                    .any(|q| q.refill && difference(q.color.lab(), pens[p].color.lab()) < STAND_IN)
        };
        let near = |b: usize| {
            let color = picks[b].color(pens, offers.paper).lab();
            difference(bands[b].lab, color) <= reach[b]
        };
        let near_all = || (0..picks.len()).all(near);
        each && together
            && near_all()
            && wishes.most_pens.is_none_or(|most| used.len() <= most)
            && !used.iter().any(|&p| dry(p))
    }

    /// The least cost of all there is, one by one.
    fn exhaustive(bands: &[Band], offers: &Offers, reach: &[f32]) -> Option<f32> {
        let n = offers.pens.len();
        let all: Vec<Pick> = [Pick::Paper]
            .into_iter()
            .chain((0..n).flat_map(|p| [Pick::Pen(p), Pick::Twice(p)]))
            .chain((0..n).flat_map(|pen| {
                let over = move |under| Pick::Over { under, pen };
                (0..n).filter(move |&under| under != pen).map(over)
            }))
            .collect();
        let ways = all.len().pow(bands.len() as u32);
        (0..ways)
            .map(|way| -> Vec<Pick> {
                let digit = |b: usize| way / all.len().pow(b as u32) % all.len();
                (0..bands.len()).map(|b| all[digit(b)]).collect()
            })
            .filter(|picks| allowed(picks, bands, offers, reach))
            .map(|picks| total(&picks, bands, offers))
            .min_by(f32::total_cmp)
    }

    #[test]
    fn the_choice_is_the_cheapest_of_all_choices() {
        let mut state = 3u64;
        let mut next = |n: u64| {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            ((state >> 33) % n) as f32
        };
        let (mut twice, mut over) = (0, 0);
        for round in 0..80 {
            let mut pens: Vec<Pen> = (0..3)
                .map(|i| {
                    let (l, a, b) = (35.0 + next(60), next(80) - 40.0, next(80) - 40.0);
                    pen(l, a, b, i % 2 == 0)
                })
                .collect();
            pens.push(pen(30.0 + next(60), next(4), next(4), true));
            if round % 3 == 0 {
                pens[0].two_coats = Some(Pick::Twice(0).color(&pens, Srgb8::new(240, 240, 240)));
            }
            let bands = [
                band(0, 75.0, next(20), next(20), 0.4),
                band(0, 20.0 + next(40), next(40), next(40), 0.3),
                band(1, 20.0 + next(40), -next(40), next(40), 0.3),
            ];
            let wishes = Wishes {
                two_coats: round % 4 != 0,
                most_pens: (round % 5 == 0).then_some(2),
                no_refill_mm2: if round % 2 == 0 {
                    1000.0
                } else {
                    f32::INFINITY
                },
                ..Wishes::none(3, 4)
            };
            let offers = Offers::new(&pens, WHITE, 3000.0, &wishes);
            let found = choose(&bands, &pens, WHITE, 3000.0, &wishes).ok();
            let picks = found.as_ref().map(|found| -> Vec<Pick> {
                assert!(found.proven);
                found.choices.iter().map(|c| c.pick).collect()
            });
            // The limit of pens may not give a band another color.
            let mut reach = vec![f32::INFINITY; 3];
            if wishes.most_pens.is_some() {
                let free = Wishes {
                    most_pens: None,
                    ..wishes.clone()
                };
                let free = choose(&bands, &pens, WHITE, 3000.0, &free).unwrap();
                for (b, choice) in free.choices.iter().enumerate() {
                    let color = choice.pick.color(&pens, WHITE).lab();
                    reach[b] = difference(bands[b].lab, color).max(ANOTHER_COLOR);
                }
            }
            let best = exhaustive(&bands, &offers, &reach);
            match (&picks, best) {
                (Some(picks), Some(best)) => {
                    assert!(allowed(picks, &bands, &offers, &reach), "{picks:?}");
                    let cost = total(picks, &bands, &offers);
                    assert!((cost - best).abs() < 1e-3, "{cost} {best}");
                    let count = |f: fn(&Pick) -> bool| picks.iter().any(f) as i32;
                    twice += count(|p| matches!(p, Pick::Twice(_)));
                    over += count(|p| matches!(p, Pick::Over { .. }));
                }
                (None, None) => {}
                other => panic!("{other:?}"),
            }
        }
        assert!(twice > 5 && over > 5, "every kind was met: {twice} {over}");
    }

    #[test]
    fn dry_pens_are_never_used_and_a_refill_decides_on_a_large_area() {
        let mut pens = vec![pen(50.0, 40.0, 30.0, false), pen(50.0, 40.0, 28.0, true)];
        let bands = [band(0, 50.0, 40.0, 30.0, 1.0)];
        let paper = Srgb8::new(255, 255, 255);
        assert_eq!(
            choose(&bands, &pens, paper, 10.0, &Wishes::none(1, 2))
                .unwrap()
                .choices[0]
                .pick,
            Pick::Pen(0)
        );
        assert_eq!(
            choose(&bands, &pens, paper, 5000.0, &Wishes::none(1, 2))
                .unwrap()
                .choices[0]
                .pick,
            Pick::Pen(1)
        );
        pens[1].condition = Condition::Dry;
        let choice = &choose(&bands, &pens, paper, 5000.0, &Wishes::none(1, 2))
            .unwrap()
            .choices[0];
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
            chosen.choices.into_iter().map(|c| c.pick).collect()
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
            pinned: vec![Some(Pick::Pen(3)), None],
            ..none.clone()
        };
        assert_eq!(picks(&pinned)[0], Pick::Pen(3));
        assert_ne!(
            picks(&Wishes {
                pinned: vec![None, Some(Pick::Pen(0))],
                ..none.clone()
            })[0],
            Pick::Pen(0)
        );
        let both = Wishes {
            pinned: vec![Some(Pick::Pen(1)), Some(Pick::Pen(1))],
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
            Err(Unserved::Group(0))
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
