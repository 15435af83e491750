//! Tones: hue groups split into bands, as few as read well, and what one band more or fewer would change.

use rayon::prelude::*;

use crate::color::{Lab, difference};

use super::bands::{BINS, BINS_PER_L, Limits, bin, optimal_split};
use super::counted::Counted;

/// Smallest step between the mean lightness of neighboring bands, in L*. Common practice, no source.
pub const LEAST_STEP: f32 = 8.0;
/// A band below this share of its group is not worth a pen; from memory.
const LEAST_SHARE: f32 = 0.015;

/// What a split must keep to, in the histogram's units.
const READS_WELL: Limits = Limits {
    step: LEAST_STEP as f64 * BINS_PER_L,
    share: LEAST_SHARE as f64,
};
/// Fractional powers are kept to this part of a unit.
const FORM_SCALE: f64 = 256.0;

/// One lightness step of one hue group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    pub group: usize,
    /// Mean color.
    pub lab: Lab,
    /// Share of the colored area, 0 to 1.
    pub share: f32,
}

/// A hue group, its colors and its splits into one to four bands.
#[derive(Debug, Clone)]
pub struct Ladder {
    /// `splits[n - 1]`: the mean colors of `n` bands, lightest first, with their shares of all pixels. As many as read
    /// well: steps of [`LEAST_STEP`], and no band below a fair share.
    splits: Vec<Vec<(Lab, f32)>>,
    /// Mean CIEDE2000 between the group's pixels and their bands, for one, two, ... bands.
    pub mean_difference: Vec<f32>,
    /// Root mean square distance in lightness (L*), weighted as for the split, for one, two, ... bands.
    spread: Vec<f32>,
    /// Share of the group in all pixels.
    pub share: f32,
}

/// Splits every one of `groups` groups into one to `most` bands, exactly. Pixels of forms count by their area to the power
/// 3/4, so that a highlight, which is small, is not lost in what is around it: it is what shows the form. (Chosen by
/// looking at the demo and at chestnuts: at 1 the highlight is lost, at 1/2 the middle tones.)
pub fn ladders(colors: &[Counted], groups: usize, most: usize, of_forms: bool) -> Vec<Ladder> {
    let all: usize = colors.iter().map(|color| color.pixels).sum();
    let mut members = vec![Vec::new(); groups];
    for color in colors {
        members[color.group].push(*color);
    }
    let ladder = |members: &Vec<Counted>| ladder(members, all, most, of_forms);
    members.par_iter().map(ladder).collect()
}

/// Splits one group; `all` is the number of all groups' pixels.
fn ladder(members: &[Counted], all: usize, most: usize, of_forms: bool) -> Ladder {
    let mut counts = vec![0u64; BINS];
    for color in members {
        counts[bin(color.lab.l)] += color.pixels as u64;
    }
    let histogram = weights(&counts, of_forms);
    let weight: u64 = histogram.iter().sum();
    let share = |pixels: f32| pixels / all.max(1) as f32;
    let pixels: usize = members.iter().map(|color| color.pixels).sum();
    let mut ladder = Ladder {
        splits: Vec::new(),
        mean_difference: Vec::new(),
        spread: Vec::new(),
        share: share(pixels as f32),
    };
    for n in 1..=most {
        let Some((bounds, squares)) = optimal_split(&histogram, &counts, n, READS_WELL) else {
            break;
        };
        let band_of = |lab: Lab| bounds.iter().filter(|&&b| bin(lab.l) >= b).count();
        let mut sums = vec![(Lab::new(0.0, 0.0, 0.0), 0.0f32); n];
        for color in members {
            let (sum, count) = &mut sums[band_of(color.lab)];
            *sum += color.lab * color.pixels as f32;
            *count += color.pixels as f32;
        }
        let means: Vec<Lab> = sums.iter().map(|&(sum, count)| sum / count).collect();
        let off = |color: &Counted| {
            color.pixels as f32 * difference(color.lab, means[band_of(color.lab)])
        };
        let total: f32 = members.iter().map(off).sum();
        ladder.mean_difference.push(total / pixels as f32);
        let spread = (squares / weight.max(1) as f64).sqrt() / BINS_PER_L;
        ladder.spread.push(spread as f32);
        let bands = means.iter().zip(&sums).rev();
        let bands = bands.map(|(&mean, &(_, count))| (mean, share(count)));
        ladder.splits.push(bands.collect());
    }
    ladder
}

/// What every bin of lightness counts for when its group is split.
fn weights(counts: &[u64], of_forms: bool) -> Vec<u64> {
    let weight = |&count: &u64| {
        if of_forms {
            let root = (count as f64).sqrt();
            (FORM_SCALE * root * root.sqrt()) as u64
        } else {
            count
        }
    };
    counts.iter().map(weight).collect()
}

impl Ladder {
    /// The fewest bands that read well: the second, the third and the fourth must bring the pixels closer to their band by
    /// at least their `gain` (L*).
    pub fn bands_that_read_well(&self, gain: [f32; 3]) -> usize {
        let one_more = self.spread.windows(2).zip(gain);
        let enough = |(pair, gain): &(&[f32], f32)| pair[0] - pair[1] >= *gain;
        1 + one_more.take_while(enough).count()
    }

    /// How far the group's own lightness spreads about its mean, in L* (root mean square).
    pub fn spread(&self) -> f32 {
        self.spread.first().copied().unwrap_or(0.0)
    }

    /// The mean color of the whole group; `None` where it has no pixels.
    pub fn mean(&self) -> Option<Lab> {
        let one = self.splits.first().and_then(|split| split.first());
        one.map(|band| band.0)
    }

    /// The bands of this group, lightest first, when split into `n`.
    pub fn bands(&self, group: usize, n: usize) -> impl Iterator<Item = Band> {
        self.splits[n - 1]
            .iter()
            .map(move |&(lab, share)| Band { group, lab, share })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sections::Detail;

    /// How many tones a form has at every level of detail, if its lightness is spread evenly.
    fn tones_of_even_lightness(from: f32, to: f32) -> [usize; 3] {
        let lightness = |k: usize| from + (to - from) * k as f32 / 4000.0;
        let colors: Vec<Counted> = (0..=4000)
            .map(|k| Counted {
                group: 0,
                lab: Lab::new(lightness(k), 40.0, 30.0),
                pixels: 1,
            })
            .collect();
        let ladder = &ladders(&colors, 1, 4, true)[0];
        let gains = |level: u8| Detail::of(level).form_gain.map(|g| g * ladder.spread());
        [1, 2, 3].map(|level| ladder.bands_that_read_well(gains(level)))
    }

    /// n bands of an even spread leave 1/n of it, so that one more gains 1 / (n (n + 1)).
    #[test]
    fn a_form_has_the_same_tones_in_strong_and_in_weak_light() {
        assert_eq!(tones_of_even_lightness(10.0, 90.0), [2, 3, 4]);
        assert_eq!(tones_of_even_lightness(30.0, 72.0), [2, 3, 4]);
        // No room for a step of 8 L*.
        assert_eq!(tones_of_even_lightness(50.0, 65.0), [1, 1, 1]);
    }
}
