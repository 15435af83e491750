//! Which pen for which band: all bands together, at the least total cost ([`cost`]).
//!
//! What the person wishes ([`Wishes`]) comes before all of that. Otherwise not negotiable: within a group lightness falls
//! by [`LEAST_STEP`] from band to band, no dry pen is used, and a pen without refill gets no large area another could
//! color as well. Bare paper may serve the lightest band of any group. The order of lightness where groups touch is kept
//! wherever any choice can keep it.
//!
//! [`LEAST_STEP`]: crate::sections::LEAST_STEP

mod bound;
mod cost;
mod offers;
mod search;

use rayon::prelude::*;

use crate::color::{Srgb8, difference};
use crate::sections::{Band, Touching};

use super::{Pen, Pick};

use bound::{Ramps, cheapest};
use offers::{Candidate, Offers};
use search::{Bounds, Ended, search};

pub use cost::{breaks_order, explain_drift};
pub use search::Effort;

/// From this difference on, in CIEDE2000, a pen shows as another color; from memory.
pub const ANOTHER_COLOR: f32 = 12.0;
/// A pen within this of another, in CIEDE2000, can color a large area in its stead; from memory.
pub const STAND_IN: f32 = 8.0;
/// Candidates that are tried for one band, those cheapest by themselves; from memory, for the time it takes.
const MOST_CANDIDATES: usize = 1000;
/// Candidates that a first choice is sought among: what it costs rules out most others.
const FIRST_CANDIDATES: usize = 12;
/// Sums of costs are that exact.
const ROUNDING: f32 = 1e-4;

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
    /// Pairs of touching bands of which the first is clearly lighter in the photo, but not with any pens.
    pub out_of_order: Vec<[usize; 2]>,
}

/// What the person wants of the choice.
#[derive(Debug, Clone, PartialEq)]
pub struct Wishes {
    /// What each band must have, if anything; a pen may be wished for several bands, and steps do not bind it.
    pub pinned: Vec<Option<Pick>>,
    /// What each band is given otherwise, if anything; it stays clearly lighter or darker than its neighbors.
    pub given: Vec<Option<Pick>>,
    /// Pens that are used anyway, and count among the most there may be.
    pub also: Vec<usize>,
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

impl Wishes {
    /// No wishes for so many bands and pens, and single coats only.
    pub fn none(bands: usize, pens: usize) -> Self {
        Self {
            pinned: vec![None; bands],
            given: vec![None; bands],
            also: Vec::new(),
            forbidden: vec![false; pens],
            no_refill_mm2: f32::INFINITY,
            most_pens: None,
            two_coats: false,
        }
    }
}

/// Why there is no choice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unserved {
    /// This group cannot be served with steps of [`crate::sections::LEAST_STEP`] from the pens left.
    Group(usize),
    /// There are more bands than so few pens can serve.
    MostPens(usize),
}

/// Gives every band a pen. `bands` are in groups, lightest first within each group; `touching` are bands of different
/// groups with a common border; `area_mm2` is the colored area.
///
/// # Errors
/// What cannot be served.
pub fn choose(
    bands: &[Band],
    touching: &[Touching],
    pens: &[Pen],
    paper: Srgb8,
    area_mm2: f32,
    wishes: &Wishes,
    effort: &mut Effort,
) -> Result<Chosen, Unserved> {
    let offers = Offers::new(pens, paper, area_mm2, wishes);
    let free = least_cost(bands, touching, &offers, None, effort).map_err(Unserved::Group)?;
    let Some(most) = wishes.most_pens else {
        return Ok(free);
    };
    let mut used: Vec<usize> = free.choices.iter().flat_map(|c| c.pick.pens()).collect();
    used.extend(&wishes.also);
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
    least_cost(bands, touching, &offers, Some(&limit), effort).map_err(|_| Unserved::MostPens(most))
}

/// A limit of pens, and how far, in CIEDE2000, each band may be left for it.
struct Limit {
    most_pens: usize,
    reach: Vec<f32>,
}

/// The choice of the least cost, or the group that none gets past.
fn least_cost(
    bands: &[Band],
    touching: &[Touching],
    offers: &Offers,
    limit: Option<&Limit>,
    effort: &mut Effort,
) -> Result<Chosen, usize> {
    let weights = cost::weights(bands);
    let mut candidates: Vec<Vec<Candidate>> = (0..bands.len())
        .into_par_iter()
        .map(|b| {
            let mut list = offers.of(bands, b, weights[b]);
            list.retain(|c| {
                let Wishes { pinned, given, .. } = offers.wishes;
                let wished = pinned.contains(&Some(c.pick)) || given.contains(&Some(c.pick));
                let far = limit.is_some_and(|limit| c.difference > limit.reach[b]);
                c.pinned || given[b] == Some(c.pick) || !far && !wished
            });
            list
        })
        .collect();
    let runner_ups: Vec<Vec<usize>> = candidates.iter().map(|list| single_pens(list)).collect();
    let left_out = leave_out(&mut candidates);
    let ramps = Ramps::new(bands, &weights, candidates);
    let bounds = Bounds {
        bands,
        weights: &weights,
        touching,
        offers,
        most_pens: limit.map_or(usize::MAX, |limit| limit.most_pens),
    };
    let Ended {
        best,
        complete,
        stuck,
    } = narrowed_search(bounds, &ramps, effort)?;
    let (total, picks) = best.ok_or(stuck)?;
    let choices = picks
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
        proven: complete && total <= left_out,
        out_of_order: out_of_order(
            touching,
            &picks,
            &offers.wishes.pinned,
            offers.pens,
            offers.paper,
        ),
    })
}

/// The single pens cheapest for a band, one more than are told: the best may be the one that is chosen.
fn single_pens(candidates: &[Candidate]) -> Vec<usize> {
    let single = |c: &Candidate| match c.pick {
        Pick::Pen(p) => Some(p),
        _ => None,
    };
    candidates.iter().filter_map(single).take(3).collect()
}

/// Leaves out candidates beyond the cheapest [`MOST_CANDIDATES`] of a band. Returns what a choice with any of them costs
/// at least.
fn leave_out(candidates: &mut [Vec<Candidate>]) -> f32 {
    let first = |list: &[Candidate]| list.first().map_or(0.0, |c| c.cost);
    let all: f32 = candidates.iter().map(|list| first(list)).sum();
    cheapest(candidates.iter_mut().filter_map(|list| {
        let cost = list.get(MOST_CANDIDATES)?.cost;
        list.truncate(MOST_CANDIDATES);
        Some(all - first(list) + cost)
    }))
}

/// Searches first among few candidates of each band, then among all that are not ruled out by what that found.
///
/// # Errors
/// The group that cannot be served.
fn narrowed_search(bounds: Bounds, ramps: &Ramps, effort: &mut Effort) -> Result<Ended, usize> {
    let through = ramps.through();
    let mut all = 0.0;
    for span in &ramps.spans {
        let least = cheapest(through[span.start].iter().copied());
        if least.is_infinite() {
            return Err(bounds.bands[span.start].group);
        }
        all += least;
    }
    // By how much a candidate raises the least total.
    let raised: Vec<Vec<f32>> = through
        .iter()
        .map(|through| {
            let least = cheapest(through.iter().copied());
            through.iter().map(|cost| cost - least).collect()
        })
        .collect();
    let few: Vec<f32> = raised
        .iter()
        .map(|raised| {
            let mut sorted = raised.clone();
            sorted.sort_by(f32::total_cmp);
            sorted[FIRST_CANDIDATES.min(sorted.len()) - 1].min(f32::MAX)
        })
        .collect();
    let among_few = ramps.kept(|b, c| raised[b][c] <= few[b]);
    let first = search(bounds, &among_few, None, effort).best;
    let most = first.as_ref().map_or(f32::MAX, |(total, _)| total - all);
    let among_all = ramps.kept(|b, c| raised[b][c] <= most + ROUNDING);
    Ok(search(bounds, &among_all, first, effort))
}

/// The touching bands whose coats do not keep the photo's order, lighter one first. No order binds what is `pinned`.
pub fn out_of_order(
    touching: &[Touching],
    picks: &[Pick],
    pinned: &[Option<Pick>],
    pens: &[Pen],
    paper: Srgb8,
) -> Vec<[usize; 2]> {
    let lightness = |b: usize| picks[b].color(pens, paper).lab().l;
    let is_bound = |b: usize| pinned[b].is_none();
    touching
        .iter()
        .filter(|t| t.bands.into_iter().all(is_bound))
        .filter(|t| {
            let [l, other] = t.bands.map(lightness);
            breaks_order(t.lighter_by, l - other)
        })
        .map(|t| match t.bands {
            [a, b] if t.lighter_by < 0.0 => [b, a],
            bands => bands,
        })
        .collect()
}

#[cfg(test)]
mod tests;
