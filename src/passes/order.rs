//! The order of turns with the least total time.
//!
//! One person colors one turn at a time; a turn may begin when everything it touches and that comes before it has
//! rested. This is single-machine scheduling with precedence delays (1 | prec(l) | Cmax; Balas, Lenstra and Vazacopoulos
//! 1995), hard in general. Up to [`EXACT`] turns every order is looked at that could still be best; beyond that a beam
//! of the most promising ones is followed.

use std::collections::HashMap;

/// Up to so many turns the order found is the best there is.
pub const EXACT: usize = 12;
/// Orders followed side by side where there are more.
const BEAM: usize = 300;
/// The same where an order is only to be compared with others.
const NARROW_BEAM: usize = 20;

/// What is to be ordered; times in seconds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Turns {
    /// Time each takes.
    pub work: Vec<u32>,
    /// Those that must have rested before each may begin.
    pub after: Vec<Vec<usize>>,
    pub rest: u32,
}

/// An order, and when its last turn ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Order {
    pub turns: Vec<usize>,
    pub end: u32,
}

/// An order begun.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Begun {
    done: Vec<bool>,
    now: u32,
    /// When each turn has rested; 0 before it is done.
    rested: Vec<u32>,
    turns: Vec<usize>,
}

impl Turns {
    /// The start of every turn, in the order given.
    pub fn starts(&self, order: &[usize]) -> Vec<u32> {
        let mut begun = Begun::new(self.work.len());
        order
            .iter()
            .map(|&turn| {
                let start = begun.earliest(self, turn);
                begun.add(self, turn);
                start
            })
            .collect()
    }

    /// When the last turn ends.
    pub fn end(&self, order: &[usize]) -> u32 {
        let mut begun = Begun::new(self.work.len());
        for &turn in order {
            begun.add(self, turn);
        }
        begun.now
    }

    /// An order that is hardly worse than the best, found soon.
    pub fn good(&self) -> Order {
        self.beam(&self.tails(), NARROW_BEAM)
    }

    /// The best order; `after` must have no circle.
    pub fn best(&self) -> Order {
        let tails = self.tails();
        let beam = self.beam(&tails, BEAM);
        if self.work.len() > EXACT {
            return beam;
        }
        let mut search = Search {
            turns: self,
            tails,
            best: beam,
            seen: HashMap::new(),
        };
        search.descend(&Begun::new(self.work.len()));
        search.best
    }

    /// The least time from the start of each turn to the end of all that wait for it.
    fn tails(&self) -> Vec<u32> {
        let n = self.work.len();
        let mut tails = self.work.clone();
        // At most n rounds reach the longest chain.
        for _ in 0..n {
            for turn in 0..n {
                for &before in &self.after[turn] {
                    let through = self.work[before] + self.rest + tails[turn];
                    tails[before] = tails[before].max(through);
                }
            }
        }
        tails
    }

    fn beam(&self, tails: &[u32], width: usize) -> Order {
        let n = self.work.len();
        let mut front = vec![Begun::new(n)];
        for _ in 0..n {
            let mut next: Vec<(u32, u32, Begun)> = Vec::new();
            for begun in &front {
                for turn in (0..n).filter(|&t| begun.may_follow(self, t)) {
                    let mut more = begun.clone();
                    more.add(self, turn);
                    next.push((more.bound(self, tails), more.now, more));
                }
            }
            next.sort_by(|a, b| {
                (a.0, a.1)
                    .cmp(&(b.0, b.1))
                    .then_with(|| a.2.turns.cmp(&b.2.turns))
            });
            next.dedup_by(|a, b| a.2.done == b.2.done && a.2.rested == b.2.rested);
            next.truncate(width);
            front = next.into_iter().map(|(_, _, begun)| begun).collect();
        }
        front
            .into_iter()
            .map(|begun| Order {
                end: begun.now,
                turns: begun.turns,
            })
            .min_by(|a, b| a.end.cmp(&b.end).then_with(|| a.turns.cmp(&b.turns)))
            .unwrap_or(Order {
                turns: Vec::new(),
                end: 0,
            })
    }
}

impl Begun {
    fn new(n: usize) -> Self {
        Self {
            done: vec![false; n],
            now: 0,
            rested: vec![0; n],
            turns: Vec::new(),
        }
    }

    fn has(&self, turn: usize) -> bool {
        self.done[turn]
    }

    fn may_follow(&self, turns: &Turns, turn: usize) -> bool {
        !self.has(turn) && turns.after[turn].iter().all(|&b| self.has(b))
    }

    /// When `turn` could begin, as far as is known.
    fn earliest(&self, turns: &Turns, turn: usize) -> u32 {
        let rested = turns.after[turn].iter().map(|&b| self.rested[b]);
        rested.max().unwrap_or(0).max(self.now)
    }

    fn add(&mut self, turns: &Turns, turn: usize) {
        self.now = self.earliest(turns, turn) + turns.work[turn];
        self.rested[turn] = self.now + turns.rest;
        self.done[turn] = true;
        self.turns.push(turn);
    }

    /// No way to go on ends sooner.
    fn bound(&self, turns: &Turns, tails: &[u32]) -> u32 {
        let open = (0..turns.work.len()).filter(|&t| !self.has(t));
        let work: u32 = open.clone().map(|t| turns.work[t]).sum();
        let chains = open.map(|t| self.earliest(turns, t) + tails[t]).max();
        (self.now + work).max(chains.unwrap_or(0))
    }
}

struct Search<'a> {
    turns: &'a Turns,
    tails: Vec<u32>,
    best: Order,
    /// For every set of turns done: when it was done and how far each had rested.
    seen: HashMap<Vec<bool>, Vec<(u32, Vec<u32>)>>,
}

impl Search<'_> {
    fn descend(&mut self, begun: &Begun) {
        let n = self.turns.work.len();
        if begun.turns.len() == n {
            if begun.now < self.best.end {
                self.best = Order {
                    turns: begun.turns.clone(),
                    end: begun.now,
                };
            }
            return;
        }
        if begun.bound(self.turns, &self.tails) >= self.best.end {
            return;
        }
        // The same set was done before, no later and with everything rested no later.
        let seen = self.seen.entry(begun.done.clone()).or_default();
        let no_later = |(now, rested): &(u32, Vec<u32>)| {
            *now <= begun.now && rested.iter().zip(&begun.rested).all(|(a, b)| a <= b)
        };
        if seen.iter().any(no_later) {
            return;
        }
        seen.push((begun.now, begun.rested.clone()));
        let mut next: Vec<(u32, usize)> = (0..n)
            .filter(|&t| begun.may_follow(self.turns, t))
            .map(|t| (begun.earliest(self.turns, t), t))
            .collect();
        next.sort_by_key(|&(start, t)| (start, u32::MAX - self.tails[t], t));
        for (_, turn) in next {
            let mut more = begun.clone();
            more.add(self.turns, turn);
            self.descend(&more);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every order there is.
    fn exhaustive(turns: &Turns) -> u32 {
        fn go(turns: &Turns, begun: &Begun) -> u32 {
            let n = turns.work.len();
            if begun.turns.len() == n {
                return begun.now;
            }
            (0..n)
                .filter(|&t| begun.may_follow(turns, t))
                .map(|t| {
                    let mut more = begun.clone();
                    more.add(turns, t);
                    go(turns, &more)
                })
                .min()
                .unwrap()
        }
        go(turns, &Begun::new(turns.work.len()))
    }

    fn random(state: &mut u64, most: u32) -> u32 {
        *state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        ((*state >> 33) % u64::from(most)) as u32
    }

    #[test]
    fn the_order_is_the_best_of_all_orders() {
        let mut state = 3;
        for round in 0..60 {
            let n = 2 + round % 6;
            let turns = Turns {
                work: (0..n).map(|_| 20 + random(&mut state, 200)).collect(),
                after: (0..n)
                    .map(|t| (0..t).filter(|_| random(&mut state, 3) == 0).collect())
                    .collect(),
                rest: 120,
            };
            let best = turns.best();
            assert_eq!(best.end, exhaustive(&turns), "{turns:?}");
            assert_eq!(best.end, turns.end(&best.turns));
        }
    }

    /// Three chains of four have 12! / (4!)^3 = 34 650 orders: few enough to try all.
    #[test]
    fn twelve_turns_in_three_chains_are_ordered_best() {
        let mut state = 11;
        for _ in 0..4 {
            let turns = Turns {
                work: (0..12).map(|_| 15 + random(&mut state, 150)).collect(),
                after: (0..12usize)
                    .map(|t| if t % 4 == 0 { vec![] } else { vec![t - 1] })
                    .collect(),
                rest: 150,
            };
            assert_eq!(turns.best().end, exhaustive(&turns));
        }
    }

    #[test]
    fn beyond_twelve_turns_the_order_is_within_a_few_percent() {
        let mut state = 5;
        for _ in 0..20 {
            let turns = Turns {
                work: (0..12).map(|_| 20 + random(&mut state, 120)).collect(),
                after: (0..12usize)
                    .map(|t| {
                        (t.saturating_sub(3)..t)
                            .filter(|_| random(&mut state, 2) == 0)
                            .collect()
                    })
                    .collect(),
                rest: 120,
            };
            let (beam, best) = (turns.beam(&turns.tails(), BEAM).end, turns.best().end);
            assert!(
                beam >= best && f64::from(beam) <= 1.03 * f64::from(best),
                "{beam} {best}"
            );
        }
        let many = Turns {
            work: vec![60; 40],
            after: (0..40usize)
                .map(|t| if t < 4 { vec![] } else { vec![t - 4] })
                .collect(),
            rest: 120,
        };
        // Four chains of ten fill each other's rests.
        assert_eq!(many.best().end, 40 * 60);
    }

    /// 28 bands in two coats make 56 passes, and splits by place more turns.
    #[test]
    fn more_turns_than_a_machine_word_has_bits_are_all_ordered() {
        let turns = Turns {
            work: vec![60; 130],
            after: (0..130usize)
                .map(|t| if t < 10 { vec![] } else { vec![t - 10] })
                .collect(),
            rest: 120,
        };
        let best = turns.best();
        let mut all = best.turns.clone();
        all.sort_unstable();
        assert!(all.into_iter().eq(0..130));
        assert_eq!(best.end, 130 * 60);
        let place = |turn: usize| best.turns.iter().position(|&t| t == turn);
        assert!((10..130).all(|t| place(t - 10) < place(t)));
    }

    #[test]
    fn an_order_keeps_every_rest() {
        let turns = Turns {
            work: vec![60, 30, 45],
            after: vec![vec![], vec![0], vec![]],
            rest: 120,
        };
        let best = turns.best();
        assert_eq!(best.turns, [0, 2, 1]);
        assert_eq!(turns.starts(&best.turns), [0, 60, 180]);
        assert_eq!(best.end, 210);
    }
}
