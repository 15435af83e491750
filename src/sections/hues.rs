//! Hue groups: pixels of one hue family, near-neutrals apart.
//!
//! k-means (`kmeans_colors`) in L*a*b* with lightness flattened, so that a shadow stays with the thing it falls on;
//! the number of groups is the smallest from which one more gains little.

use kmeans_colors::{Kmeans, get_kmeans_hamerly};
use rayon::prelude::*;

use crate::color::{Lab, chroma};

/// Chroma below which a color reads as gray on paper, in units of L*a*b*; from memory.
const NEUTRAL_CHROMA: f32 = 9.0;
/// Neutrals, or a hue family, below this share of the picture are not worth a group; from memory.
const LEAST_SHARE: f32 = 0.02;
/// How much lightness still counts against hue; from memory.
const LIGHTNESS_WEIGHT: f32 = 0.12;
/// Chroma beyond which a color counts as no more colorful, in units of L*a*b*; from memory. A highlight or shadow of
/// one thing differs in chroma far more than in hue.
const CHROMA_KNEE: f32 = 30.0;
/// Most hue groups besides the neutrals; from memory.
const MOST_HUES: usize = 6;
/// Passes and movement at which k-means stops, and the starts it is given.
const ITERATIONS: usize = 20;
const CONVERGED: f32 = 0.5;
const SEEDS: [u64; 2] = [1, 2];

/// One hue group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Group {
    /// Center in flattened L*a*b*; unused for the neutrals.
    center: Lab,
    pub neutral: bool,
}

/// Lightness flattened, chroma compressed beyond the knee.
fn flattened(lab: Lab) -> Lab {
    let c = chroma(lab);
    let squeeze = if c > CHROMA_KNEE {
        (CHROMA_KNEE / c).sqrt()
    } else {
        1.0
    };
    Lab::new(lab.l * LIGHTNESS_WEIGHT, lab.a * squeeze, lab.b * squeeze)
}

fn distance(a: Lab, b: Lab) -> f32 {
    ((a.l - b.l).powi(2) + (a.a - b.a).powi(2) + (a.b - b.b).powi(2)).sqrt()
}

/// Finds the hue groups of `samples`. One more group must lower the mean distance to the group's center by at least
/// `gain` (units of L*a*b*, chroma compressed). Never empty, at most seven.
pub fn find_groups(samples: &[Lab], gain: f32) -> Vec<Group> {
    let neutral = Group {
        center: Lab::new(0.0, 0.0, 0.0),
        neutral: true,
    };
    let colorful: Vec<Lab> = samples
        .iter()
        .filter(|&&lab| chroma(lab) >= NEUTRAL_CHROMA)
        .map(|&lab| flattened(lab))
        .collect();
    let least = LEAST_SHARE * samples.len() as f32;
    if (colorful.len() as f32) < least.max(1.0) {
        return vec![neutral];
    }
    let runs: Vec<(Kmeans<Lab>, f32)> = (1..=MOST_HUES)
        .into_par_iter()
        .map(|k| cluster(&colorful, k))
        .collect();
    let chosen = (0..MOST_HUES - 1)
        .find(|&k| runs[k].1 - runs[k + 1].1 < gain)
        .unwrap_or(MOST_HUES - 1);
    let run = &runs[chosen].0;
    let mut sizes = vec![0usize; run.centroids.len()];
    for &i in &run.indices {
        sizes[usize::from(i)] += 1;
    }
    let mut groups: Vec<Group> = run
        .centroids
        .iter()
        .zip(&sizes)
        .filter(|&(_, &size)| size as f32 >= least)
        .map(|(&center, _)| Group {
            center,
            neutral: false,
        })
        .collect();
    if (samples.len() - colorful.len()) as f32 >= least || groups.is_empty() {
        groups.push(neutral);
    }
    groups
}

/// The best of a few starts, and its mean distance.
fn cluster(points: &[Lab], k: usize) -> (Kmeans<Lab>, f32) {
    SEEDS
        .iter()
        .map(|&seed| {
            let run = get_kmeans_hamerly(k, ITERATIONS, CONVERGED, false, points, seed);
            let sum: f32 = points
                .iter()
                .zip(&run.indices)
                .map(|(&p, &i)| distance(p, run.centroids[usize::from(i)]))
                .sum();
            let mean = sum / points.len() as f32;
            (run, mean)
        })
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .expect("at least one seed")
}

/// The group a color belongs to.
pub fn group_of(groups: &[Group], lab: Lab) -> usize {
    if chroma(lab) < NEUTRAL_CHROMA
        && let Some(neutral) = groups.iter().position(|g| g.neutral)
    {
        return neutral;
    }
    let point = flattened(lab);
    (0..groups.len())
        .filter(|&g| !groups[g].neutral)
        .min_by(|&g, &h| {
            distance(point, groups[g].center).total_cmp(&distance(point, groups[h].center))
        })
        .unwrap_or(0)
}
