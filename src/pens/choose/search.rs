//! The search for the least total: depth first, ramp by ramp, with bounds (branch and bound; Land and Doig 1960).
//!
//! Before a ramp is begun, the candidates of all that are left are weighed anew: what is no longer free is out, and what
//! touches a band that has its pen knows what their order costs. The cheapest way through each of them ([`bound`]) is
//! what it costs at least.
//!
//! [`bound`]: super::bound

use crate::pens::Pick;
use crate::sections::{Band, Touching};

use super::bound::{Ramps, cheapest};
use super::cost::{Order, SHARED_COST};
use super::offers::{Candidate, Offers};

/// Steps between candidates that may be weighed for one plan; from memory: about a second.
const MOST_WEIGHED: usize = 200_000_000;
/// Part of that which a search without any choice so far may still use when all is used up.
const RESERVE: usize = 20;

/// How much may still be tried. All choices of one plan share it.
#[derive(Debug, Clone)]
pub struct Effort {
    left: usize,
}

impl Effort {
    /// What a plan may take.
    pub fn of_a_plan() -> Self {
        Self { left: MOST_WEIGHED }
    }

    /// Half of what is left.
    pub fn halved(&self) -> Self {
        Self {
            left: self.left / 2,
        }
    }
}

/// The best there is so far: its total, and what each band gets.
pub type Best = Option<(f32, Vec<Pick>)>;

/// How a search ended.
pub struct Ended {
    pub best: Best,
    /// Everything that could be better was tried.
    pub complete: bool,
    /// The group that no way gets past, if there is no best.
    pub stuck: usize,
}

/// What binds the choice beside the costs.
#[derive(Clone, Copy)]
pub struct Bounds<'a> {
    pub bands: &'a [Band],
    pub weights: &'a [f32],
    pub touching: &'a [Touching],
    pub offers: &'a Offers<'a>,
    pub most_pens: usize,
}

/// Finds the cheapest choice among the candidates of `ramps`, if it costs less than `best`.
pub fn search(bounds: Bounds, ramps: &Ramps, best: Best, effort: &mut Effort) -> Ended {
    let pens = bounds.offers.pens.len();
    let reserve = if best.is_none() {
        MOST_WEIGHED / RESERVE
    } else {
        0
    };
    let mut used = vec![Used::default(); pens];
    for &p in &bounds.offers.wishes.also {
        used[p].coats = 1;
    }
    let mut search = Search {
        bounds,
        ramps,
        touched: touched(bounds),
        on_top: reserved(bounds, pens),
        pens_used: used.iter().filter(|used| used.coats > 0).count(),
        used,
        path: Vec::new(),
        best,
        left: effort.left,
        reserve,
        cut: false,
        stuck: (0, 0),
    };
    search.begin(0, 0.0);
    effort.left = search.left;
    Ended {
        complete: !search.cut,
        stuck: ramps
            .spans
            .get(search.stuck.1)
            .map_or(0, |span| bounds.bands[span.start].group),
        best: search.best,
    }
}

/// For every band, what it touches, and their order seen from it.
fn touched(bounds: Bounds) -> Vec<Vec<(usize, Order)>> {
    let mut touched = vec![Vec::new(); bounds.bands.len()];
    for touching in bounds.touching {
        let [a, b] = touching.bands;
        let order = Order::new(touching, bounds.weights);
        touched[a].push((b, order));
        touched[b].push((a, order.reversed()));
    }
    touched
}

/// The group whose pen each is, as far as the wishes decide.
fn reserved(bounds: Bounds, pens: usize) -> Vec<Option<usize>> {
    let mut on_top = vec![None; pens];
    let wishes = bounds.offers.wishes;
    let wished = wishes.pinned.iter().zip(&wishes.given);
    for (band, (pinned, given)) in bounds.bands.iter().zip(wished) {
        if let Some(p) = pinned.or(*given).and_then(Pick::pen) {
            // Wished in several groups it is left to those wishes.
            on_top[p] = match on_top[p] {
                Some(group) if group != band.group => Some(usize::MAX),
                _ => Some(band.group),
            };
        }
    }
    on_top
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

/// A ramp's candidates as they stand when it is begun.
struct Weighed {
    /// By band and candidate: what it costs by itself and against what it touches; infinite where it is not free.
    own: Vec<Vec<f32>>,
    /// And with the least that the rest of the ramp costs.
    least: Vec<Vec<f32>>,
}

impl Weighed {
    fn total(&self) -> f32 {
        cheapest(self.least[0].iter().copied())
    }
}

struct Search<'a> {
    bounds: Bounds<'a>,
    ramps: &'a Ramps,
    touched: Vec<Vec<(usize, Order)>>,
    /// The group whose pen each is: the first in which it lies on top.
    on_top: Vec<Option<usize>>,
    used: Vec<Used>,
    pens_used: usize,
    /// What the bands so far are given.
    path: Vec<&'a Candidate>,
    best: Best,
    left: usize,
    /// What may be used beyond that while there is no best.
    reserve: usize,
    /// Not everything was tried.
    cut: bool,
    /// The ramp begun last of all, and the one it failed at.
    stuck: (usize, usize),
}

impl<'a> Search<'a> {
    /// Whether nothing more may be tried; otherwise counts what is about to be.
    fn is_over(&mut self, weighed: usize) -> bool {
        let short = weighed.saturating_sub(self.left);
        self.left = self.left.saturating_sub(weighed);
        if short > 0 && (self.best.is_some() || short > self.reserve) {
            self.cut = true;
        } else {
            self.reserve -= short;
        }
        self.cut
    }

    fn is_beaten(&self, total: f32) -> bool {
        total.is_infinite() || self.best.as_ref().is_some_and(|(least, _)| total >= *least)
    }

    /// Tries everything from this ramp on; what is before it costs `sum`.
    fn begin(&mut self, ramp: usize, sum: f32) {
        let ramps = self.ramps.spans.len();
        if ramp == ramps {
            if !self.is_beaten(sum) {
                self.best = Some((sum, self.path.iter().map(|c| c.pick).collect()));
            }
            return;
        }
        if self.is_over((ramp..ramps).map(|r| self.ramps.size(r)).sum()) {
            return;
        }
        if ramp > self.stuck.0 {
            self.stuck = (ramp, ramp);
        }
        let weighed = self.weigh(ramp);
        let mut rest = 0.0;
        for later in ramp + 1..ramps {
            rest += self.weigh(later).total();
            if rest.is_infinite() {
                if self.stuck.0 == ramp {
                    self.stuck.1 = later;
                }
                return;
            }
        }
        self.walk(ramp, &weighed, None, sum, rest);
    }

    /// What the candidates of a ramp cost now.
    fn weigh(&self, ramp: usize) -> Weighed {
        let own: Vec<Vec<f32>> = self.ramps.spans[ramp]
            .clone()
            .map(|b| {
                let orders = self.orders(b);
                let cost = |c: &Candidate| match self.is_free(b, c) {
                    true if c.pinned => c.cost,
                    true => {
                        let against = |&(taken, order): &(&Candidate, Order)| {
                            let same = if taken.pick == c.pick {
                                order.of_same_pick()
                            } else {
                                0.0
                            };
                            order.of_colors(c.color.l - taken.color.l) + same
                        };
                        c.cost + orders.iter().map(against).sum::<f32>() + self.shared(b, c)
                    }
                    false => f32::INFINITY,
                };
                self.ramps.candidates[b].iter().map(cost).collect()
            })
            .collect();
        let least = self.ramps.least(ramp, &own);
        Weighed { own, least }
    }

    /// What already touches band `b`, and its order seen from the band. No order binds what is wished for.
    fn orders(&self, b: usize) -> Vec<(&'a Candidate, Order)> {
        let of = |&(other, order): &(usize, Order)| {
            let other = *self.path.get(other).filter(|o| !o.pinned)?;
            Some((other, order))
        };
        self.touched[b].iter().filter_map(of).collect()
    }

    /// Goes on in a ramp, from candidate `above` of the band before; what is before costs `sum`, all later ramps at
    /// least `rest`.
    fn walk(&mut self, ramp: usize, weighed: &Weighed, above: Option<usize>, sum: f32, rest: f32) {
        let span = self.ramps.spans[ramp].clone();
        let b = self.path.len();
        if b == span.end {
            return self.begin(ramp + 1, sum);
        }
        let i = b - span.start;
        let step = |c: usize| above.map_or(0.0, |above| self.ramps.step(b - 1, above, c));
        let mut ways: Vec<(f32, f32, usize)> = (0..weighed.own[i].len())
            .map(|c| {
                let total = sum + step(c) + weighed.least[i][c] + rest;
                (total, step(c), c)
            })
            .filter(|way| !self.is_beaten(way.0))
            .collect();
        ways.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (total, step, c) in ways {
            if self.is_beaten(total) || self.is_over(weighed.own[i].len()) {
                return;
            }
            let candidate = &self.ramps.candidates[b][c];
            // What the ramp has taken by now is not free any more.
            if self.is_free(b, candidate) {
                let before = self.take(b, candidate);
                self.walk(ramp, weighed, Some(c), sum + step + weighed.own[i][c], rest);
                self.give_back(&before);
            }
        }
    }

    /// What it costs that a band's pen lies on top in another group, too.
    fn shared(&self, b: usize, c: &Candidate) -> f32 {
        let group = self.bounds.bands[b].group;
        let owner = c.pick.pen().and_then(|top| self.on_top[top]);
        match owner.is_some_and(|owner| owner != group) {
            true => SHARED_COST * self.bounds.weights[b],
            false => 0.0,
        }
    }

    /// Whether band `b` may still be given this.
    fn is_free(&self, b: usize, c: &Candidate) -> bool {
        let share = self.bounds.bands[b].share;
        let top = c.pick.pen();
        let below = c.pick.under().filter(|&under| top != Some(under));
        let new = |p: &usize| self.used[*p].coats == 0;
        let pens_used = self.pens_used + top.into_iter().chain(below).filter(new).count();
        if pens_used > self.bounds.most_pens {
            return false;
        }
        let Some(top) = top.filter(|_| !c.pinned) else {
            return true;
        };
        let area_mm2 = share * self.bounds.offers.area_mm2;
        let dry = |p: usize| {
            let coats = c.pick.pens().filter(|&q| q == p).count() as f32;
            let inked_mm2 = self.used[p].inked_mm2 + coats * area_mm2;
            self.bounds.offers.runs_dry(p, inked_mm2)
        };
        self.on_top[top] != Some(usize::MAX) && !c.pick.pens().any(dry)
    }

    /// Gives band `b` its coats. Returns what [`Self::give_back`] needs.
    fn take(&mut self, b: usize, c: &'a Candidate) -> Before {
        let Band { group, share, .. } = self.bounds.bands[b];
        let mut before = Before::default();
        for (p, before) in c.pick.pens().zip(&mut before.used) {
            *before = Some((p, self.used[p]));
            self.pens_used += usize::from(self.used[p].coats == 0);
            self.used[p].coats += 1;
            self.used[p].inked_mm2 += share * self.bounds.offers.area_mm2;
        }
        if let Some(top) = c.pick.pen()
            && self.on_top[top].is_none()
        {
            self.on_top[top] = Some(group);
            before.free = Some(top);
        }
        self.path.push(c);
        before
    }

    fn give_back(&mut self, before: &Before) {
        self.path.pop();
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
