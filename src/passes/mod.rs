//! Passes: one coat of one pen over its sections, in the order of work, with the rests between.
//!
//! Light comes before dark where sections touch, so that a darker pen covers the edge of a lighter one and no light pen
//! drags dark ink (common practice, no source), and ink rests before its neighbor is colored. Everything else is free:
//! while one part dries, another is colored. The order of least total time is found in `order.rs`.
//!
//! What gets two coats is colored in two passes: the first together with what gets only that one. A coat never makes
//! lighter what it lies on, so that light before dark keeps coats in their order, too.

mod order;
mod places;

pub use order::Order;
pub(crate) use order::{EXACT, Turns};

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use crate::color::Srgb8;
use crate::job::Pace;
use crate::pens::{Choice, Pen, Pick};
use crate::sections::Section;

use places::{islands, splits};

/// What every turn more must save, in seconds: picking a pen up twice is a nuisance. From memory.
const SPLIT_GAIN_S: u32 = 30;
/// Most splits in one plan; from memory.
const SPLITS: usize = 4;

/// One coat of one pen and what it colors.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pass {
    /// From 1, in the order of work; the number on the overlay. First coats that finish no section come behind the
    /// last number that stands there.
    pub number: usize,
    /// The coats there are after it; the last of them is its own.
    pub pick: Pick,
    /// Indices of the bands it finishes.
    pub bands: Vec<usize>,
    /// Indices of the bands that get another coat later.
    pub under: Vec<usize>,
}

impl Pass {
    fn colors(&self, band: usize) -> bool {
        self.bands.contains(&band) || self.under.contains(&band)
    }
}

/// One pass, or a part of it, from taking the pen to laying it down; as it stands in `plan.json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Turn {
    /// Number of the pass.
    pub number: usize,
    /// Section ids.
    pub sections: Vec<u16>,
    /// Indices of the turns that must have rested before, all of them earlier.
    pub after: Vec<usize>,
    /// Indices of further turns, all earlier and of other coats, that color what only a thin drawn line parts from these
    /// sections: wet on both sides, ink creeps through it. The order does not wait for them.
    #[serde(default)]
    pub beside: Vec<usize>,
    /// Time it takes, in seconds.
    pub work_s: u32,
    /// When it begins after the first turn did, if every turn begins as soon as it may, in seconds.
    pub start_s: u32,
}

/// All turns in the order of work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Schedule {
    pub turns: Vec<Turn>,
    /// Time coloring, and waiting between, in seconds.
    pub coloring_s: u32,
    pub waiting_s: u32,
    /// Time for all of it strictly from light to dark.
    pub light_to_dark_s: u32,
    /// No order is shorter.
    pub exact: bool,
}

/// The number of a band on the overlay, that of the pass which finishes it; 0 if it is left bare.
pub(crate) fn number_of(passes: &[Pass], band: usize) -> usize {
    passes
        .iter()
        .find(|p| p.bands.contains(&band))
        .map_or(0, |p| p.number)
}

/// One pass for everything that is reached by a coat, light to dark. Bare bands have no pass.
fn light_to_dark(choices: &[Choice], pens: &[Pen], paper: Srgb8) -> Vec<Pass> {
    let mut passes: Vec<Pass> = Vec::new();
    for (band, choice) in choices.iter().enumerate() {
        let mut reached = choice.pick;
        while let Some(below) = reached.below() {
            let known = passes.iter().position(|p| p.pick == reached);
            let k = known.unwrap_or_else(|| {
                passes.push(Pass {
                    number: 0,
                    pick: reached,
                    bands: Vec::new(),
                    under: Vec::new(),
                });
                passes.len() - 1
            });
            if reached == choice.pick {
                passes[k].bands.push(band);
            } else {
                passes[k].under.push(band);
            }
            reached = below;
        }
    }
    let lightness = |pass: &Pass| pass.pick.color(pens, paper).lab().l;
    let names = |pass: &Pass| pass.pick.pens().map(|p| &pens[p].name).collect::<Vec<_>>();
    // As light as the coat below it, a coat comes after that.
    passes.sort_by(|a, b| {
        lightness(b)
            .total_cmp(&lightness(a))
            .then_with(|| a.pick.pens().count().cmp(&b.pick.pens().count()))
            .then_with(|| names(a).cmp(&names(b)))
    });
    for (i, pass) in passes.iter_mut().enumerate() {
        pass.number = i + 1;
    }
    passes
}

/// A part of a pass: the pass (light to dark, from 0) and its sections.
type Share = (usize, Vec<u16>);

/// What is colored, with what and how fast.
pub struct ToColor<'a> {
    /// By band.
    pub choices: &'a [Choice],
    pub pens: &'a [Pen],
    pub paper: Srgb8,
    pub sections: &'a [Section],
    /// The pairs of sections with a border between them.
    pub touching: &'a [(u16, u16)],
    /// The pairs of sections with only a thin drawn line between them.
    pub parted: &'a [(u16, u16)],
    /// Turns the sections' size into an area.
    pub mm2_per_px: f64,
    pub pace: &'a Pace,
    /// How long ink must rest, in seconds.
    pub rest_s: u32,
}

impl ToColor<'_> {
    /// Orders the work.
    pub fn plan_passes(&self) -> (Vec<Pass>, Schedule) {
        let mut passes = light_to_dark(self.choices, self.pens, self.paper);
        let whole: Vec<Share> = (0..passes.len())
            .map(|p| {
                let mine = self.sections.iter().filter(|s| passes[p].colors(s.band));
                (p, mine.map(|s| s.id).collect())
            })
            .filter(|share: &Share| !share.1.is_empty())
            .collect();
        let all: Vec<usize> = (0..whole.len()).collect();
        let light_to_dark_s = self.turns(&whole).end(&all);
        let (order, shares) = self.split_by_place(whole);
        let turns = self.turns(&shares);
        let first = self.number(&mut passes, &order, &shares);
        let coloring_s: u32 = turns.work.iter().sum();
        let schedule = Schedule {
            turns: self.told(&turns, &order, &shares, &passes),
            coloring_s,
            waiting_s: order.end - coloring_s,
            light_to_dark_s,
            exact: shares.len() <= EXACT,
        };
        // Listed in the order in which they are first picked up.
        let mut listed: Vec<(usize, Pass)> = first.into_iter().zip(passes).collect();
        listed.sort_by_key(|(first, pass)| (*first, pass.number));
        let passes = listed.into_iter().map(|(_, pass)| pass).collect();
        (passes, schedule)
    }

    /// Time that a turn takes, in seconds.
    fn work_s(&self, (_, sections): &Share) -> u32 {
        let seconds = |&id: &u16| {
            let area_px = self.sections[usize::from(id) - 1].area_px as f64;
            let cm2 = area_px * self.mm2_per_px / 100.0;
            cm2 * self.pace.seconds_per_cm2 + self.pace.seconds_per_section
        };
        let coloring: f64 = sections.iter().map(seconds).sum();
        (coloring + self.pace.seconds_per_pen).round() as u32
    }

    /// The shares that color each section, by its id, first coat first.
    fn shares_of(&self, shares: &[Share]) -> Vec<Vec<usize>> {
        let mut shares_of = vec![Vec::new(); self.sections.len() + 1];
        for (k, share) in shares.iter().enumerate() {
            for &id in &share.1 {
                shares_of[usize::from(id)].push(k);
            }
        }
        shares_of
    }

    /// The shares as turns: how long each takes, and which come before it.
    fn turns(&self, shares: &[Share]) -> Turns {
        let shares_of = self.shares_of(shares);
        let mut after = vec![Vec::new(); shares.len()];
        let mut light_first = |a: usize, b: usize| {
            if shares[a].0 < shares[b].0 {
                after[b].push(a);
            } else if shares[a].0 > shares[b].0 {
                after[a].push(b);
            }
        };
        for &(a, b) in self.touching {
            for &a in &shares_of[usize::from(a)] {
                for &b in &shares_of[usize::from(b)] {
                    light_first(a, b);
                }
            }
        }
        for coats in &shares_of {
            for pair in coats.windows(2) {
                light_first(pair[0], pair[1]);
            }
        }
        for before in &mut after {
            before.sort_unstable();
            before.dedup();
        }
        Turns {
            work: shares.iter().map(|share| self.work_s(share)).collect(),
            after,
            rest: self.rest_s,
        }
    }

    /// The best order, where a pass may color what lies in one part of the drawing now and the rest later.
    fn split_by_place(&self, mut shares: Vec<Share>) -> (Order, Vec<Share>) {
        let islands = islands(self.sections.len(), self.touching);
        let mut best = self.turns(&shares).best();
        for _ in 0..SPLITS {
            // What it is worth: the time it ends, and a price for every pen taken up once more.
            let mut least = best.end;
            let mut split = None;
            for tried in splits(&shares, &islands, |share| self.work_s(share)) {
                let order = self.turns(&tried).good();
                let more = (tried.len() - shares.len()) as u32;
                let worth = order.end + more * SPLIT_GAIN_S;
                if worth < least {
                    least = worth;
                    split = Some(tried);
                }
            }
            let Some(tried) = split else { break };
            best = self.turns(&tried).best();
            shares = tried;
        }
        (best, shares)
    }

    /// Numbers the passes by their first turn, those first whose number stands on a section; one without sections
    /// comes last. Returns the place of every pass's first turn.
    fn number(&self, passes: &mut [Pass], order: &Order, shares: &[Share]) -> Vec<usize> {
        let mut first = vec![usize::MAX; passes.len()];
        for (place, &turn) in order.turns.iter().enumerate().rev() {
            first[shares[turn].0] = place;
        }
        let finishes = |p: usize| {
            let mut bands = self.sections.iter().map(|s| s.band);
            bands.any(|band| passes[p].bands.contains(&band))
        };
        let mut by_turn: Vec<usize> = (0..passes.len()).collect();
        by_turn.sort_by_key(|&p| (first[p] == usize::MAX, !finishes(p), first[p], p));
        for (n, &p) in by_turn.iter().enumerate() {
            passes[p].number = n + 1;
        }
        first
    }

    /// For every share, the others that color what only a drawn line parts from its sections: of another coat, so that it
    /// shows where they mix.
    fn across(&self, shares: &[Share]) -> Vec<Vec<usize>> {
        let shares_of = self.shares_of(shares);
        let mut across = vec![Vec::new(); shares.len()];
        for &(a, b) in self.parted {
            for &a in &shares_of[usize::from(a)] {
                for &b in &shares_of[usize::from(b)] {
                    if shares[a].0 != shares[b].0 {
                        across[a].push(b);
                        across[b].push(a);
                    }
                }
            }
        }
        across
    }

    /// The turns in the order of work, as they stand in `plan.json`.
    fn told(&self, turns: &Turns, order: &Order, shares: &[Share], passes: &[Pass]) -> Vec<Turn> {
        let mut place = vec![0; shares.len()];
        for (k, &turn) in order.turns.iter().enumerate() {
            place[turn] = k;
        }
        let across = self.across(shares);
        let starts = turns.starts(&order.turns);
        let placed =
            |shares: &[usize]| -> BTreeSet<usize> { shares.iter().map(|&s| place[s]).collect() };
        let told = |(k, (&turn, start_s)): (usize, (&usize, u32))| {
            let after = placed(&turns.after[turn]);
            let beside = placed(&across[turn]);
            let earlier = beside.difference(&after).filter(|&&other| other < k);
            Turn {
                number: passes[shares[turn].0].number,
                sections: shares[turn].1.clone(),
                beside: earlier.copied().collect(),
                after: after.into_iter().collect(),
                work_s: turns.work[turn],
                start_s,
            }
        };
        order
            .turns
            .iter()
            .zip(starts)
            .enumerate()
            .map(told)
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pens::Condition;

    fn pens(grays: &[u8]) -> Vec<Pen> {
        grays
            .iter()
            .map(|&v| Pen {
                name: format!("Gray {v}"),
                color: Srgb8::new(v, v, v),
                refill: true,
                condition: Condition::Good,
                two_coats: None,
                note: String::new(),
            })
            .collect()
    }

    fn choices(picks: &[Pick]) -> Vec<Choice> {
        picks
            .iter()
            .map(|&pick| Choice {
                pick,
                runner_ups: vec![],
            })
            .collect()
    }

    /// Sections of 10 cm2 each, with their bands.
    fn sections(bands: &[usize]) -> Vec<Section> {
        bands
            .iter()
            .enumerate()
            .map(|(i, &band)| Section {
                id: i as u16 + 1,
                cell: 1,
                band,
                area_px: 1000,
                width_px: 10.0,
                center: (0, 0),
            })
            .collect()
    }

    fn plan(bands: &[usize], picks: &[Pick], touching: &[(u16, u16)]) -> (Vec<Pass>, Schedule) {
        plan_of_parted(bands, picks, touching, &[])
    }

    fn plan_of_parted(
        bands: &[usize],
        picks: &[Pick],
        touching: &[(u16, u16)],
        parted: &[(u16, u16)],
    ) -> (Vec<Pass>, Schedule) {
        let pens = pens(&[220, 180, 120, 60]);
        ToColor {
            choices: &choices(picks),
            pens: &pens,
            paper: Srgb8::new(255, 255, 255),
            sections: &sections(bands),
            touching,
            parted,
            mm2_per_px: 1.0,
            pace: &Pace::default(),
            rest_s: 120,
        }
        .plan_passes()
    }

    #[test]
    fn touching_sections_are_colored_light_to_dark_with_a_rest_between() {
        let picks = [Pick::Pen(3), Pick::Paper, Pick::Pen(0)];
        let (passes, schedule) = plan(&[0, 1, 2], &picks, &[(1, 3)]);
        let order: Vec<_> = passes.iter().map(|p| (p.number, p.pick)).collect();
        assert_eq!(order, [(1, Pick::Pen(0)), (2, Pick::Pen(3))]);
        let [light, dark] = &schedule.turns[..] else {
            panic!()
        };
        assert_eq!(dark.after, [0]);
        assert_eq!(dark.start_s, light.work_s + 120);
        assert_eq!(schedule.waiting_s, 120);
        assert_eq!(number_of(&passes, 1), 0);
    }

    #[test]
    fn a_drawn_line_between_is_told_and_changes_no_order() {
        // Two things, each light and dark; the second lies across drawn lines from the first.
        let picks = [Pick::Pen(0), Pick::Pen(3), Pick::Pen(1), Pick::Pen(2)];
        let (bands, touching) = ([0, 1, 2, 3, 0], [(1, 2), (3, 4)]);
        let parted = [(1, 5), (2, 3), (2, 4), (3, 4)];
        let (_, schedule) = plan_of_parted(&bands, &picks, &touching, &parted);
        let (_, without) = plan(&bands, &picks, &touching);
        let turn_of = |id: u16| {
            let turns = schedule.turns.iter();
            let mut mine = turns.enumerate().filter(|(_, t)| t.sections.contains(&id));
            mine.next().unwrap().0
        };
        for (k, turn) in schedule.turns.iter().enumerate() {
            let across = [(2, 3), (2, 4)].map(|(a, b)| [turn_of(a), turn_of(b)]);
            let mut told: Vec<usize> = across
                .into_iter()
                .filter(|pair| pair.iter().max() == Some(&k))
                .map(|pair| pair.into_iter().min().unwrap())
                .collect();
            told.sort_unstable();
            // Neither what is of the same coat, nor what has to dry before anyway.
            assert_eq!(turn.beside, told, "turn {k} of {:?}", schedule.turns);
        }
        let bare = |schedule: &Schedule| {
            let turns = schedule.turns.iter().cloned();
            turns
                .map(|turn| Turn {
                    beside: Vec::new(),
                    ..turn
                })
                .collect::<Vec<_>>()
        };
        assert_eq!(bare(&schedule), without.turns);
    }

    #[test]
    fn another_part_is_colored_while_one_dries() {
        // Two separate things, each light and dark, all four pens different.
        let picks = [Pick::Pen(0), Pick::Pen(3), Pick::Pen(1), Pick::Pen(2)];
        let (_, schedule) = plan(&[0, 1, 2, 3], &picks, &[(1, 2), (3, 4)]);
        // 121 s a pass: the other light pass fills the rest to the second.
        assert_eq!(schedule.waiting_s, 0);
        assert!(schedule.light_to_dark_s >= schedule.coloring_s);
        assert!(schedule.exact);
    }

    #[test]
    fn a_pass_over_two_places_is_split_where_that_saves_a_wait_and_no_section_is() {
        // Two things, each light and dark with the same two pens.
        let picks = [Pick::Pen(0), Pick::Pen(3)];
        let (passes, schedule) = plan(&[0, 0, 1, 1], &picks, &[(1, 3), (2, 4)]);
        assert_eq!(passes.len(), 2);
        assert_eq!(schedule.turns.len(), 4, "{schedule:?}");
        assert!(schedule.coloring_s + schedule.waiting_s < schedule.light_to_dark_s);
        let mut colored: Vec<u16> = schedule
            .turns
            .iter()
            .flat_map(|t| t.sections.clone())
            .collect();
        colored.sort_unstable();
        assert_eq!(colored, [1, 2, 3, 4]);
        // One thing cannot be split.
        let (_, schedule) = plan(&[0, 1], &picks, &[(1, 2)]);
        assert_eq!(schedule.turns.len(), 2);
    }

    #[test]
    fn two_coats_are_two_passes_with_a_rest_and_share_the_first() {
        let picks = [
            Pick::Pen(1),
            Pick::Twice(1),
            Pick::Over { under: 0, pen: 2 },
        ];
        let (passes, schedule) = plan(&[0, 1, 2], &picks, &[(1, 2), (2, 3)]);
        let told: Vec<_> = passes
            .iter()
            .map(|p| (p.pick, p.bands.clone(), p.under.clone()))
            .collect();
        assert_eq!(
            told,
            [
                (Pick::Pen(0), vec![], vec![2]),
                (Pick::Pen(1), vec![0], vec![1]),
                (Pick::Twice(1), vec![1], vec![]),
                (Pick::Over { under: 0, pen: 2 }, vec![2], vec![]),
            ]
        );
        assert_eq!(schedule.turns.len(), 4);
        assert_eq!(schedule.turns[1].sections, [1, 2]);
        // Every coat waits for the one below it, and for lighter ones beside it.
        let starts: Vec<u32> = schedule.turns.iter().map(|t| t.start_s).collect();
        for (k, turn) in schedule.turns.iter().enumerate() {
            for &before in &turn.after {
                let end = starts[before] + schedule.turns[before].work_s;
                assert!(turn.start_s >= end + 120, "turn {k} after {before}");
            }
        }
        assert_eq!(schedule.turns[2].after, [0, 1]);
        assert_eq!(schedule.turns[3].after, [0, 1, 2]);
    }
}
