//! What a ramp costs at least: the cheapest way through the candidates of its bands, found exactly by dynamic
//! programming from its darkest band up (Bellman 1957). What binds ramps to each other is left to the search.

use std::ops::Range;

use crate::sections::Band;

use super::cost::Step;
use super::offers::Candidate;

/// The candidates of all bands, and the steps between those of neighbors.
pub struct Ramps {
    /// The bands of each ramp, lightest first.
    pub spans: Vec<Range<usize>>,
    pub candidates: Vec<Vec<Candidate>>,
    /// `steps[b][c * n + d]`: from candidate `c` of band `b` to candidate `d` of the `n` of the next band, infinite where
    /// lightness does not fall enough; empty for the last band of a ramp.
    steps: Vec<Vec<f32>>,
    photo: Vec<Option<Step>>,
}

impl Ramps {
    /// `bands` are in groups, lightest first within each, of these weights.
    pub fn new(bands: &[Band], weights: &[f32], candidates: Vec<Vec<Candidate>>) -> Self {
        let mut spans: Vec<Range<usize>> = Vec::new();
        let mut photo = Vec::new();
        for b in 0..bands.len() {
            match spans.last_mut() {
                Some(span) if bands[span.start].group == bands[b].group => span.end = b + 1,
                _ => spans.push(b..b + 1),
            }
            let next = bands.get(b + 1).filter(|next| next.group == bands[b].group);
            photo.push(
                next.map(|next| Step::new((bands[b].lab, weights[b]), (next.lab, weights[b + 1]))),
            );
        }
        let steps = steps(&candidates, &photo);
        Self {
            spans,
            candidates,
            steps,
            photo,
        }
    }

    /// The same with only some candidates.
    pub fn kept(&self, keep: impl Fn(usize, usize) -> bool) -> Self {
        let candidates: Vec<Vec<Candidate>> = self
            .candidates
            .iter()
            .enumerate()
            .map(|(b, list)| {
                let kept = list.iter().enumerate().filter(|&(c, _)| keep(b, c));
                kept.map(|(_, candidate)| candidate.clone()).collect()
            })
            .collect();
        Self {
            spans: self.spans.clone(),
            steps: steps(&candidates, &self.photo),
            candidates,
            photo: self.photo.clone(),
        }
    }

    /// What the step from candidate `c` of band `b` to candidate `d` of the next costs.
    pub fn step(&self, b: usize, c: usize, d: usize) -> f32 {
        self.steps[b][c * self.candidates[b + 1].len() + d]
    }

    /// How many steps there are to weigh in a ramp.
    pub fn size(&self, ramp: usize) -> usize {
        let bands = self.spans[ramp].clone();
        bands
            .map(|b| self.steps[b].len() + self.candidates[b].len())
            .sum()
    }

    /// For every band of a ramp and each of its candidates: what the ramp costs at least from there on, if each candidate
    /// by itself costs `own`.
    pub fn least(&self, ramp: usize, own: &[Vec<f32>]) -> Vec<Vec<f32>> {
        let span = self.spans[ramp].clone();
        let mut least = own.to_vec();
        for i in (0..span.len().saturating_sub(1)).rev() {
            let (here, below) = least.split_at_mut(i + 1);
            let below = &below[0];
            let rows = self.steps[span.start + i].chunks_exact(below.len().max(1));
            for (cost, row) in here[i].iter_mut().zip(rows) {
                if cost.is_finite() {
                    *cost += cheapest(row.iter().zip(below).map(|(step, rest)| step + rest));
                }
            }
            if below.is_empty() {
                here[i].fill(f32::INFINITY);
            }
        }
        least
    }

    /// For every band and each of its candidates: what its ramp costs at least if it is taken.
    pub fn through(&self) -> Vec<Vec<f32>> {
        let cost = |b: usize| self.candidates[b].iter().map(|c| c.cost).collect();
        let mut through = Vec::new();
        for (ramp, span) in self.spans.iter().enumerate() {
            let own: Vec<Vec<f32>> = span.clone().map(cost).collect();
            let below = self.least(ramp, &own);
            // What the bands above cost at least, with the step down to each candidate.
            let mut above = vec![0.0; own[0].len()];
            for (i, below) in below.into_iter().enumerate() {
                let b = span.start + i;
                if b + 1 < span.end {
                    let next = (0..self.candidates[b + 1].len()).map(|d| {
                        let ways = (0..above.len())
                            .map(|c| above[c] + self.candidates[b][c].cost + self.step(b, c, d));
                        cheapest(ways)
                    });
                    let next: Vec<f32> = next.collect();
                    through.push(below.iter().zip(&above).map(|(x, y)| x + y).collect());
                    above = next;
                } else {
                    through.push(below.iter().zip(&above).map(|(x, y)| x + y).collect());
                }
            }
        }
        through
    }
}

/// The least of some costs, infinite if there are none.
pub fn cheapest(costs: impl IntoIterator<Item = f32>) -> f32 {
    costs.into_iter().fold(f32::INFINITY, f32::min)
}

fn steps(candidates: &[Vec<Candidate>], photo: &[Option<Step>]) -> Vec<Vec<f32>> {
    let of = |(b, step): (usize, &Option<Step>)| {
        let Some(step) = step else {
            return Vec::new();
        };
        let (light, dark) = (&candidates[b], &candidates[b + 1]);
        let pairs = light.iter().flat_map(|c| dark.iter().map(move |d| (c, d)));
        pairs
            .map(|(c, d)| match c.color.l - d.color.l {
                _ if c.pinned || d.pinned => 0.0,
                falls if falls < c.step.min(d.step) => f32::INFINITY,
                _ => step.of_colors(c.color, d.color),
            })
            .collect()
    };
    photo.iter().enumerate().map(of).collect()
}
