//! Highlights that texture breaks into glints.
//!
//! A rough surface is made of facets, and shines where many of them face halfway between the eye and the lamp (Torrance
//! and Sparrow 1967): the highlight of the smooth form is where glints crowd, and as light as they are. A robust fit takes
//! every one of them for an outlier; what they are together is put back here. Grain that is lighter here and there
//! crowds nowhere.

use imageproc::union_find::DisjointSetForest;

use crate::color::Lab;
use crate::grid::{Blur, Grid, within};

use super::form::{Patch, median};

/// What is lighter than the fit by more than this many median residuals is a glint: two standard deviations of a normal
/// distribution.
const GLINT: f32 = 3.0;
/// A median residual of the fit below this, in L*, is no texture, and whatever shines there shows in the form. From memory.
const LEAST_RESIDUAL: f32 = 0.7;
/// What glints must add to the part where they crowd most, in L* on average over the scale; from memory.
const LEAST_CROWD: f32 = 0.6;
/// A highlight is no more than this share of its part: what is lighter than that all over is no gloss. From memory.
const MOST_SHARE: f64 = 0.2;
/// What a single glint covers, smoothed, where it has half its peak or more, per squared standard deviation: 2 pi ln 2.
/// A crowd is half as wide as the scale, and so covers more by a quarter.
const OF_ONE_GLINT: f64 = std::f64::consts::TAU * std::f64::consts::LN_2;
const CROWD: f64 = 1.25;
/// The share of its peak at which a highlight begins; from memory. It is full at the peak.
const BEGINS: f32 = 0.5;

/// Height between two points of light that are just told apart, as a share of their own (Rayleigh's criterion for a round
/// aperture; Born and Wolf, Principles of Optics, 8.6.2).
const RAYLEIGH: f32 = 0.735;

/// Where glints are looked for, and how.
pub struct Search {
    /// Scale over which they are counted together, in pixels.
    pub sigma_px: f64,
    /// Smallest highlight, in square pixels.
    pub least_px2: f64,
    /// Colors nearer than this to what is no evidence are mixed with it, in pixels.
    pub mixed_px: f64,
}

/// Puts the highlights that its glints tell of onto the form of a part, `color` per pixel of the patch. Glints are what is
/// lighter than `fitted`, the fit alone: a relief may have half of them already, smeared.
pub fn restore_highlights(color: &mut [Lab], fitted: &[Lab], patch: &Patch, search: &Search) {
    let glint = glints(fitted, patch, search.mixed_px);
    if glint.iter().all(|&g| g == 0.0) {
        return;
    }
    let crowd = crowd(&glint, patch, search.sigma_px);
    let peak = crowd.iter().copied().fold(0.0, f32::max);
    if peak < LEAST_CROWD {
        return;
    }
    let crowd: Vec<f32> = crowd.iter().map(|c| c / peak).collect();
    let share = highlight(&crowd, patch, search);
    let there: Vec<usize> = (0..share.len()).filter(|&i| share[i] > 0.0).collect();
    let part = patch.mask.iter().filter(|&&inside| inside).count();
    if there.len() as f64 > MOST_SHARE * part as f64 {
        return;
    }
    let zero = (Lab::new(0.0, 0.0, 0.0), 0.0f32);
    let (sum, count) = there
        .into_iter()
        .filter(|&i| glint[i] > 0.0)
        .fold(zero, |(sum, n), i| (sum + patch.lab[i], n + 1.0));
    let gloss = sum / count.max(1.0);
    for (color, share) in color.iter_mut().zip(share) {
        if gloss.l > color.l {
            *color += (gloss - *color) * share;
        }
    }
}

/// By how much every pixel is lighter than what the part's texture explains, in L*; 0 where it is not.
fn glints(fitted: &[Lab], patch: &Patch, mixed_px: f64) -> Vec<f32> {
    let elsewhere = Grid {
        width: patch.width,
        height: patch.height,
        data: patch.evidence.iter().map(|own| !own).collect(),
    };
    let mixed = within(&elsewhere, mixed_px * mixed_px);
    let lighter: Vec<Option<f32>> = (0..fitted.len())
        .map(|i| (patch.evidence[i] && !mixed[i]).then(|| patch.lab[i].l - fitted[i].l))
        .collect();
    let residual = median(lighter.iter().flatten().map(|l| l.abs())).unwrap_or(0.0);
    let glint = |l: f32| {
        if residual < LEAST_RESIDUAL {
            0.0
        } else {
            (l - GLINT * residual).max(0.0)
        }
    };
    let all = lighter.iter();
    all.map(|l| l.map_or(0.0, glint)).collect()
}

/// What glints add to the part around every pixel of it, in L*; 0 outside.
fn crowd(glint: &[f32], patch: &Patch, sigma_px: f64) -> Vec<f32> {
    let (width, height) = (patch.width, patch.height);
    let blur = Blur::new(sigma_px as f32);
    let mut sum = glint.to_vec();
    blur.sum(&mut sum, width, height);
    let mut area: Vec<u32> = patch.mask.iter().map(|&m| u32::from(m)).collect();
    blur.sum(&mut area, width, height);
    (0..sum.len())
        .map(|i| match patch.mask[i] {
            true => (sum[i] / area[i].max(1) as f32).max(0.0),
            false => 0.0,
        })
        .collect()
}

/// How much of every pixel is highlight, 0 to 1; `crowd` is 1 at its peak.
///
/// Smoothing makes a normal hill wider by its own variance, and every normal hill is a narrower one to a power: that
/// takes the smoothing out again. How wide a hill is, its area at half its peak tells.
fn highlight(crowd: &[f32], patch: &Patch, search: &Search) -> Vec<f32> {
    let hills = hills(&Grid {
        width: patch.width,
        height: patch.height,
        data: crowd.to_vec(),
    });
    let mut area = vec![0.0; crowd.len()];
    let is_high = |i: usize, peak: usize| crowd[i] >= BEGINS * crowd[peak];
    for (i, peak) in hills.iter().enumerate() {
        if let Some(peak) = peak.filter(|&peak| is_high(i, peak)) {
            area[peak] += 1.0;
        }
    }
    let one = OF_ONE_GLINT * search.sigma_px.powi(2);
    let least = (CROWD * one).max(search.least_px2);
    let share = |(i, peak): (usize, Option<usize>)| {
        let Some(peak) = peak.filter(|&peak| is_high(i, peak) && area[peak] >= least) else {
            return 0.0;
        };
        let height = crowd[peak];
        let narrower = (crowd[i] / height).powf((area[peak] / (area[peak] - one)) as f32);
        height * ((narrower - BEGINS) / (1.0 - BEGINS)).max(0.0)
    };
    hills.into_iter().enumerate().map(share).collect()
}

/// The peak of the hill that every pixel is on, for hills at least [`BEGINS`] high and above that share of their own
/// height: flooded from the peaks down (watershed, Vincent and Soille 1991). Two are one where what lies between them is
/// higher than between two points that are just told apart.
fn hills(crowd: &Grid<f32>) -> Vec<Option<usize>> {
    let height = |i: usize| crowd.data[i];
    let higher = |&p: &usize, &q: &usize| height(p).total_cmp(&height(q)).then(q.cmp(&p));
    let pixels = 0..crowd.data.len();
    let mut order: Vec<usize> = pixels
        .clone()
        .filter(|&i| height(i) >= BEGINS * BEGINS)
        .collect();
    order.sort_by(|p, q| higher(q, p));
    let mut forest = DisjointSetForest::new(crowd.data.len());
    // By the root of a hill, its peak.
    let mut peak: Vec<usize> = pixels.clone().collect();
    let mut flooded = vec![false; crowd.data.len()];
    for i in order {
        flooded[i] = true;
        let mut around: Vec<usize> = crowd.neighbors(i).filter(|&j| flooded[j]).collect();
        for j in &mut around {
            *j = peak[forest.root(*j)];
        }
        let Some(highest) = around.iter().copied().max_by(higher) else {
            continue;
        };
        around.retain(|&lower| height(i) >= RAYLEIGH * height(lower));
        for j in around.into_iter().chain([i]) {
            forest.union(j, highest);
            peak[forest.root(j)] = highest;
        }
    }
    pixels
        .map(|i| flooded[i].then(|| peak[forest.root(i)]))
        .map(|peak| peak.filter(|&peak| height(peak) >= BEGINS))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: usize = 200;
    const RADIUS: f32 = 90.0;
    const MIDDLE: f32 = 99.5;
    const SEARCH: Search = Search {
        sigma_px: 12.0,
        least_px2: 100.0,
        mixed_px: 2.0,
    };

    /// Numbers between 0 and 1, the same in every run.
    fn random(i: usize, of: u64) -> f32 {
        let mixed = (i as u64 * 4 + of + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let mixed = (mixed ^ (mixed >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        ((mixed ^ (mixed >> 32)) & 0xFFFF) as f32 / 65536.0
    }

    /// Normal of a ball at a pixel, x to the right, y down, z toward the eye; `None` beside it.
    fn normal(i: usize) -> Option<[f32; 3]> {
        let (x, y) = (
            ((i % SIDE) as f32 - MIDDLE) / RADIUS,
            ((i / SIDE) as f32 - MIDDLE) / RADIUS,
        );
        let z = 1.0 - x * x - y * y;
        (z > 0.0).then(|| [x, y, z.sqrt()])
    }

    /// A ball with some grain, lighter by 40 L* where `shines`; its form without that, and what is found.
    fn restored(grain: f32, shines: impl Fn(usize, [f32; 3]) -> bool) -> (Vec<Lab>, Vec<Lab>) {
        restored_beside(|_| 0.0, grain, shines)
    }

    /// The same where the form has a relief of so much L* already.
    fn restored_beside(
        relief: impl Fn(usize) -> f32,
        grain: f32,
        shines: impl Fn(usize, [f32; 3]) -> bool,
    ) -> (Vec<Lab>, Vec<Lab>) {
        let mask: Vec<bool> = (0..SIDE * SIDE).map(|i| normal(i).is_some()).collect();
        let form = vec![Lab::new(40.0, 50.0, 30.0); SIDE * SIDE];
        let seen = |i: usize| {
            let off = grain * (random(i, 0) - 0.5);
            let gloss = match normal(i).is_some_and(|n| shines(i, n)) {
                true => Lab::new(40.0, -40.0, -25.0),
                false => Lab::new(0.0, 0.0, 0.0),
            };
            form[i] + Lab::new(off, 0.0, 0.0) + gloss
        };
        let lab: Vec<Lab> = (0..SIDE * SIDE).map(seen).collect();
        let patch = Patch {
            width: SIDE,
            height: SIDE,
            lab: &lab,
            evidence: &mask,
            mask: &mask,
        };
        let mut color: Vec<Lab> = (0..form.len())
            .map(|i| form[i] + Lab::new(relief(i), 0.0, 0.0))
            .collect();
        restore_highlights(&mut color, &form, &patch, &SEARCH);
        (form, color)
    }

    /// Halfway between the eye and the lamp.
    const HALF: [f32; 3] = [-0.35, -0.45, 0.8216];

    /// Facets tilted from the ball by normally distributed slopes (Beckmann and Spizzichino 1963) shine where they face
    /// halfway between eye and lamp; most of them do where the ball itself does (Torrance and Sparrow 1967).
    fn facet_shines(i: usize, n: [f32; 3]) -> bool {
        let slope = |of: u64| {
            // Box and Muller 1958.
            let (u, v) = (random(i, 2 * of).max(1e-6), random(i, 2 * of + 1));
            0.16 * (-2.0 * u.ln()).sqrt() * (std::f32::consts::TAU * v).cos()
        };
        let facet = [n[0] + slope(1), n[1] + slope(2), n[2]];
        let length = facet.iter().map(|c| c * c).sum::<f32>().sqrt();
        let toward: f32 = facet.iter().zip(HALF).map(|(f, h)| f * h).sum();
        toward / length > 0.995
    }

    #[test]
    fn facets_that_shine_are_a_highlight_where_the_smooth_ball_has_it() {
        let known = [MIDDLE + RADIUS * HALF[0], MIDDLE + RADIUS * HALF[1]];
        let from_it = |i: usize| ((i % SIDE) as f32 - known[0]).hypot((i / SIDE) as f32 - known[1]);
        let (form, color) = restored(8.0, facet_shines);
        let lit: Vec<usize> = (0..form.len())
            .filter(|&i| color[i].l > form[i].l + 20.0)
            .collect();
        assert!((200..3000).contains(&lit.len()), "{}", lit.len());
        let mean = |of: &dyn Fn(usize) -> usize| {
            lit.iter().map(|&i| of(i) as f32).sum::<f32>() / lit.len() as f32
        };
        let at = [mean(&|i| i % SIDE), mean(&|i| i / SIDE)];
        assert!(
            (at[0] - known[0]).hypot(at[1] - known[1]) < 6.0,
            "{at:?} {known:?}"
        );
        let most = lit.iter().map(|&i| color[i].l).fold(0.0, f32::max);
        assert!((75.0..85.0).contains(&most), "{most}");
        // A relief may have most of it already, smeared: nothing gets darker by that.
        let relief = |i: usize| 33.0 * (-0.5 * (from_it(i) / 20.0).powi(2)).exp();
        let (_, beside) = restored_beside(relief, 8.0, facet_shines);
        assert!((0..form.len()).all(|i| beside[i].l >= color[i].l));
    }

    /// The sum of two normal distributions' variances is that of one smoothed by the other.
    #[test]
    fn a_highlight_is_as_wide_as_it_was_before_its_glints_were_smoothed() {
        for sigma in [12.0f32, 16.0, 24.0] {
            let squared = |i: usize| {
                let (x, y) = ((i % SIDE) as f32 - MIDDLE, (i / SIDE) as f32 - MIDDLE);
                x * x + y * y
            };
            let smoothed = sigma * sigma + (SEARCH.sigma_px * SEARCH.sigma_px) as f32;
            let crowd: Vec<f32> = (0..SIDE * SIDE)
                .map(|i| (-0.5 * squared(i) / smoothed).exp())
                .collect();
            let all = vec![true; SIDE * SIDE];
            let patch = Patch {
                width: SIDE,
                height: SIDE,
                lab: &[],
                evidence: &all,
                mask: &all,
            };
            let share = highlight(&crowd, &patch, &SEARCH);
            let reached = (0..share.len()).filter(|&i| share[i] > 0.0).map(squared);
            let radius = reached.fold(0.0, f32::max).sqrt();
            let half = sigma * (2.0 * std::f32::consts::LN_2).sqrt();
            assert!((radius - half).abs() < 1.0, "{radius} {half}");
        }
    }

    #[test]
    fn two_highlights_are_two_and_one_of_many_hills_is_one() {
        let hill = |i: usize, x: f32, y: f32, sigma: f32| {
            let (u, v) = ((i % SIDE) as f32 - x, (i / SIDE) as f32 - y);
            (-0.5 * (u * u + v * v) / (sigma * sigma)).exp()
        };
        let peaks_of = |height: &dyn Fn(usize) -> f32| {
            let data: Vec<f32> = (0..SIDE * SIDE).map(height).collect();
            let most = data.iter().copied().fold(0.0, f32::max);
            let mut peaks: Vec<usize> = hills(&Grid {
                width: SIDE,
                height: SIDE,
                data: data.iter().map(|h| h / most).collect(),
            })
            .into_iter()
            .flatten()
            .collect();
            peaks.sort_unstable();
            peaks.dedup();
            peaks
                .iter()
                .map(|p| (p % SIDE, p / SIDE))
                .collect::<Vec<_>>()
        };
        // Two equal normal hills have one peak up to two standard deviations apart; between them lies 0.735 of it at 2.8.
        let pair = |apart: f32| {
            peaks_of(&|i| hill(i, 60.0, 90.0, 16.0) + hill(i, 60.0 + apart * 16.0, 90.0, 16.0))
        };
        assert_eq!(pair(3.2).len(), 2);
        assert_eq!(pair(2.4).len(), 1);
        // A weaker one beside it is one, too, and a fainter one is none.
        let beside = |share: f32| {
            peaks_of(&|i| hill(i, 50.0, 60.0, 14.0) + share * hill(i, 140.0, 120.0, 14.0))
        };
        assert_eq!(beside(0.7), [(50, 60), (140, 120)]);
        assert_eq!(beside(0.4), [(50, 60)]);
        let ripples = |i: usize| 0.05 * ((i % SIDE) as f32 * 0.9).sin();
        assert_eq!(
            peaks_of(&|i| hill(i, 100.0, 100.0, 20.0) + ripples(i)).len(),
            1
        );
    }

    #[test]
    fn what_glints_everywhere_or_once_or_on_a_clean_thing_is_no_highlight() {
        let found = |grain: f32, shines: &dyn Fn(usize) -> bool| {
            let (form, color) = restored(grain, |i, _| shines(i));
            form != color
        };
        let near =
            |i: usize, x: usize, y: usize| (i % SIDE).abs_diff(x) < 5 && (i / SIDE).abs_diff(y) < 5;
        let some = |i: usize| near(i, 70, 70) || near(i, 90, 72) || near(i, 78, 88);
        assert!(found(8.0, &some), "three beside each other are one");
        assert!(!found(8.0, &|i| random(i, 1) < 0.08), "everywhere");
        assert!(!found(8.0, &|i| near(i, 70, 70)), "once");
        assert!(!found(0.0, &some), "on a clean thing");
    }
}
