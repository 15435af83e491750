//! What can be offered to each band: every usable pen in one coat and in two, coats over grays, and bare paper.

use std::sync::OnceLock;

use crate::color::{GRAY_CHROMA, Lab, Srgb8, chroma, difference, hue_difference};
use crate::pens::{Condition, Pen, Pick};
use crate::sections::{Band, LEAST_STEP};

use super::cost::{CLEARLY_LIGHTER, COAT_GAIN, OVER_GAIN, of_band};
use super::{STAND_IN, Wishes};

/// A color over a gray darker than this, in L*, hardly shows, and drags the gray along; from memory.
pub const DARKEST_GRAY: f32 = 40.0;
/// Grays that are tried under other pens, and pens tried over them, those of the nearest hue first.
const MOST_GRAYS: usize = 30;
const MOST_OVER_GRAY: usize = 120;
/// Best ways of a coat over a gray that are offered for one band.
const OVER_OFFERS: usize = 8;

/// One thing a band can be given.
#[derive(Debug, Clone)]
pub struct Candidate {
    pub pick: Pick,
    /// Wished for: no step or order binds it.
    pub pinned: bool,
    /// Least fall in lightness to and from its neighbors, in L*.
    pub step: f32,
    pub color: Lab,
    /// From its band, in CIEDE2000.
    pub difference: f32,
    /// What it costs by itself, by the weight of its band.
    pub cost: f32,
}

/// What could be offered to a band, and at what cost.
pub struct Offers<'a> {
    pub pens: &'a [Pen],
    pub paper: Srgb8,
    pub area_mm2: f32,
    pub wishes: &'a Wishes,
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
    pub fn new(pens: &'a [Pen], paper: Srgb8, area_mm2: f32, wishes: &'a Wishes) -> Self {
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

    /// Everything band `b`, of this weight, can be given, cheapest by itself first.
    pub fn of(&self, bands: &[Band], b: usize, weight: f32) -> Vec<Candidate> {
        let band = &bands[b];
        let offer = |pick: Pick, color: Lab, pinned: bool| Candidate {
            pick,
            pinned,
            step: LEAST_STEP,
            color,
            difference: difference(band.lab, color),
            cost: weight * of_band(band, pick, color, self.pens, self.area_mm2),
        };
        if let Some(pick) = self.wishes.pinned[b] {
            let color = pick.color(self.pens, self.paper).lab();
            return vec![offer(pick, color, true)];
        }
        if let Some(pick) = self.wishes.given[b] {
            let color = pick.color(self.pens, self.paper).lab();
            // A pen that was asked for may lie nearer to its neighbors than the program would choose.
            let step = CLEARLY_LIGHTER;
            return vec![Candidate {
                step,
                ..offer(pick, color, false)
            }];
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
            if nearest > weight * (COAT_GAIN + OVER_GAIN) {
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

    /// Whether a pen without refill had better not color so much: more than the person wants it to, while one with
    /// refill is close.
    pub fn runs_dry(&self, p: usize, inked_mm2: f32) -> bool {
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
