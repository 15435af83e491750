//! The colors that the photo shows in the drawing's cells, before it is known how many families they are.
//!
//! Under the dichromatic reflection model (Shafer 1985) a surface shows its body color, scaled by shading, plus gloss
//! in the color of the light. Scaling a color in linear light scales a* and b* with L* + 16 (CIE 15, above L* 8), so
//! that a*/(L* + 16) and b*/(L* + 16) know no shading; gloss moves them straight toward gray, which changes no hue.
//! They are clustered by k-means (`kmeans_colors`) there.

use std::cmp::Reverse;

use kmeans_colors::get_kmeans_hamerly;
use rayon::prelude::*;

use crate::color::{Lab, unshaded};
use crate::grid::{Blur, Grid};
use crate::reference::EVIDENT;

/// Smoothing that takes out the finest grain before colors are told apart, in millimeters; from memory.
const CALM_MM: f64 = 0.6;
/// Darker than this, the photo's noise is all the hue there is, in L*; from memory.
const DARK_L: f32 = 12.0;
/// Chroma at middle lightness below which a color reads as gray on paper, in units of L*a*b*; from memory.
pub const NEUTRAL_CHROMA: f32 = 8.0;
/// Chroma beyond which a color counts as hardly more colorful, and what a unit beyond counts; from memory. Gloss and
/// texture change the chroma of one thing far more than its hue.
const CHROMA_KNEE: f32 = 30.0;
const BEYOND_KNEE: f32 = 0.2;
/// Most families besides neutrals and accents; from memory.
const MOST_HUES: usize = 6;
/// Passes and movement at which k-means stops, and the starts it is given.
const ITERATIONS: usize = 20;
const CONVERGED: f32 = 0.5;
const SEEDS: [u64; 6] = [1, 2, 3, 4, 5, 6];
/// Samples the clustering looks at; more change nothing a pen could show.
const SAMPLES: usize = 4000;
/// Colors are counted in squares of compressed a*b*, a unit wide: a difference that nobody sees. No color of sRGB is
/// farther from gray than [`REACH`] of them.
const REACH: usize = 64;

/// The colors of what is seen.
#[derive(Debug, Clone)]
pub struct Colors {
    /// The photo with its finest grain smoothed.
    pub calm: Grid<Lab>,
    /// How likely the photo shows the subject there, of 255; 255 everywhere if it shows it in no cell.
    pub evidence: Grid<u8>,
    /// Where it shows what lies around the drawn things; nowhere where that is not known.
    pub around: Grid<bool>,
    /// Evidence in a cell.
    pub seen: Grid<bool>,
    /// How many samples were taken of what is seen and bright enough to tell: points of compressed a*b*, each for as many
    /// pixels as another.
    pub samples: usize,
    /// How many of the samples are gray.
    pub neutral: usize,
    /// The others in one, two, ... clusters; empty if there are none.
    pub clusterings: Vec<Clustering>,
}

/// Colors in so many clusters.
#[derive(Debug, Clone)]
pub struct Clustering {
    /// Centers in compressed a*b*, and how many samples belong to each; the largest first.
    pub clusters: Vec<([f32; 2], usize)>,
    /// Mean distance to the center.
    pub distance: f32,
}

/// The colors of a photo in the frame: `evidence` is how likely it shows the subject, of 255, and `around` where it shows
/// what lies around the drawn things. Cells that are `lit` have a color of their own, which says nothing of the photo's;
/// they count where there is no photo.
pub fn find_colors(
    lab: &Grid<Lab>,
    cells: &Grid<u16>,
    evidence: &Grid<u8>,
    around: Grid<bool>,
    lit: &impl Fn(u16) -> bool,
    mm_per_px: f64,
) -> Colors {
    let calm = calmed(lab, (CALM_MM / mm_per_px) as f32);
    let in_a_cell = |evidence: &Grid<u8>| Grid {
        width: cells.width,
        height: cells.height,
        data: (cells.data.iter().zip(&evidence.data))
            .map(|(&cell, &chance)| cell > 0 && chance >= EVIDENT)
            .collect(),
    };
    // Where nothing is evidence the photo is taken at its word.
    let any = in_a_cell(evidence).data.contains(&true);
    let evidence = match any {
        true => evidence.clone(),
        false => evidence.map(|_| u8::MAX),
    };
    let mut seen = in_a_cell(&evidence);
    let of_photo = |i: usize| seen.data[i] && !lit(cells.data[i]);
    if (0..seen.data.len()).any(of_photo) {
        seen.data = (0..seen.data.len()).map(of_photo).collect();
    }
    let samples = samples(&calm, &seen);
    let colorful: Vec<Lab> = samples
        .iter()
        .filter(|&&p| distance(p, [0.0; 2]) >= NEUTRAL_CHROMA)
        .map(|&[a, b]| Lab::new(0.0, a, b))
        .collect();
    let most = if colorful.is_empty() { 0 } else { MOST_HUES };
    Colors {
        calm,
        evidence,
        around,
        seen,
        samples: samples.len(),
        neutral: samples.len() - colorful.len(),
        clusterings: (1..=most)
            .into_par_iter()
            .map(|k| cluster(&colorful, k))
            .collect(),
    }
}

/// The photo with its finest grain smoothed; the mean inside the frame.
fn calmed(lab: &Grid<Lab>, sigma_px: f32) -> Grid<Lab> {
    let blur = Blur::new(sigma_px);
    let channels: [fn(&Lab) -> f32; 4] = [|_| 1.0, |c| c.l, |c| c.a, |c| c.b];
    let summed = |of: fn(&Lab) -> f32| {
        let mut channel: Vec<f32> = lab.data.iter().map(of).collect();
        blur.sum(&mut channel, lab.width, lab.height);
        channel
    };
    let sums: Vec<Vec<f32>> = channels.into_par_iter().map(summed).collect();
    let mean = |i: usize| {
        let of = |channel: usize| sums[channel][i] / sums[0][i];
        Lab::new(of(1), of(2), of(3))
    };
    Grid {
        width: lab.width,
        height: lab.height,
        data: (0..lab.data.len()).into_par_iter().map(mean).collect(),
    }
}

/// Compressed a* and b* of a color at middle lightness; `None` where it is too dark to tell.
pub fn body(lab: Lab) -> Option<[f32; 2]> {
    if lab.l < DARK_L {
        return None;
    }
    let [a, b] = unshaded(lab);
    let chroma = (a * a + b * b).sqrt();
    let squeeze = if chroma > CHROMA_KNEE {
        (CHROMA_KNEE + BEYOND_KNEE * (chroma - CHROMA_KNEE)) / chroma
    } else {
        1.0
    };
    Some([a * squeeze, b * squeeze])
}

/// The chroma of a compressed one.
pub fn stretched(chroma: f32) -> f32 {
    chroma + (chroma - CHROMA_KNEE).max(0.0) * (1.0 / BEYOND_KNEE - 1.0)
}

/// Distance in compressed a*b*. (Not by `hypot`: nothing here is so large or small, and a root is as exact everywhere.)
pub fn distance(p: [f32; 2], q: [f32; 2]) -> f32 {
    let [a, b] = [p[0] - q[0], p[1] - q[1]];
    (a * a + b * b).sqrt()
}

/// As many points as there are pixels seen, at most [`SAMPLES`]. Every color is taken as often as its share says, by
/// counting along at even steps (systematic resampling, Kitagawa 1996): which pixels a color is in makes no difference,
/// so that a photo moved by a pixel has the same samples.
fn samples(calm: &Grid<Lab>, seen: &Grid<bool>) -> Vec<[f32; 2]> {
    const SIDE: usize = 2 * REACH;
    let mut squares = vec![([0.0f64; 2], 0usize); SIDE * SIDE];
    // Below 0 all are the first square.
    let place = |v: f32| ((v + REACH as f32) as usize).min(SIDE - 1);
    for (&lab, _) in calm.data.iter().zip(&seen.data).filter(|&(_, &seen)| seen) {
        if let Some([a, b]) = body(lab) {
            let (sum, count) = &mut squares[place(b) * SIDE + place(a)];
            *sum = [sum[0] + f64::from(a), sum[1] + f64::from(b)];
            *count += 1;
        }
    }
    // A large panel's pixels times the samples are more than 32 bits, as a browser's sizes have, can hold.
    let all: u64 = squares.iter().map(|s| s.1 as u64).sum();
    let wanted = all.min(SAMPLES as u64);
    let mut taken = Vec::with_capacity(wanted as usize);
    let mut before = 0;
    for (sum, count) in squares.into_iter().filter(|s| s.1 > 0) {
        before += count as u64;
        let mean = sum.map(|s| (s / count as f64) as f32);
        taken.resize((before * wanted / all) as usize, mean);
    }
    taken
}

/// The best of a few starts.
fn cluster(points: &[Lab], k: usize) -> Clustering {
    let (run, distance) = SEEDS
        .iter()
        .map(|&seed| {
            let run = get_kmeans_hamerly(k, ITERATIONS, CONVERGED, false, points, seed);
            let sum: f32 = points
                .iter()
                .zip(&run.indices)
                .map(|(p, &i)| {
                    let c = run.centroids[usize::from(i)];
                    distance([p.a, p.b], [c.a, c.b])
                })
                .sum();
            let mean = sum / points.len() as f32;
            (run, mean)
        })
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .expect("at least one seed");
    let mut clusters: Vec<([f32; 2], usize)> =
        run.centroids.iter().map(|c| ([c.a, c.b], 0)).collect();
    for &i in &run.indices {
        clusters[usize::from(i)].1 += 1;
    }
    // By size, so that a photo that is hardly another one has them in the same order.
    clusters.sort_by_key(|&(_, size)| Reverse(size));
    Clustering { clusters, distance }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: usize = 100;

    fn picture(color: impl Fn(usize, usize) -> Lab) -> Grid<Lab> {
        Grid {
            width: SIDE,
            height: SIDE,
            data: (0..SIDE * SIDE)
                .map(|i| color(i % SIDE, i / SIDE))
                .collect(),
        }
    }

    /// A color that differs from pixel to pixel.
    fn busy(x: usize, y: usize) -> Lab {
        let off = |of: usize| (((x * 37 + y * 101) * of) % 97) as f32 / 4.0;
        Lab::new(60.0, 10.0 + off(13), 30.0 - off(29))
    }

    #[test]
    fn a_moved_picture_has_the_same_samples() {
        let still = picture(busy);
        let moved = picture(|x, y| busy((x + 1) % SIDE, (y + SIDE - 1) % SIDE));
        let seen = still.map(|_| true);
        let [still, moved] = [still, moved].map(|of| samples(&of, &seen));
        assert_eq!((still.len(), moved.len()), (SAMPLES, SAMPLES));
        let farthest = still.iter().zip(&moved).map(|(&p, &q)| distance(p, q));
        assert!(farthest.fold(0.0, f32::max) < 1e-3);
    }

    #[test]
    fn every_color_has_its_share_of_the_samples_and_what_is_too_dark_none() {
        let [red, green] = [Lab::new(50.0, 40.0, 20.0), Lab::new(50.0, -30.0, 20.0)];
        let stripes = picture(|x, _| match x % 10 {
            0 => Lab::new(5.0, 3.0, 2.0),
            1..4 => green,
            _ => red,
        });
        let samples = samples(&stripes, &stripes.map(|_| true));
        let greens = samples.iter().filter(|p| p[0] < 0.0).count();
        assert!(greens.abs_diff(SAMPLES / 3) <= 1, "{greens}");
        let colors = find_colors(
            &stripes,
            &stripes.map(|_| 1),
            &stripes.map(|_| 0),
            stripes.map(|_| false),
            &|_| false,
            10.0,
        );
        // Nowhere evidence: the photo is taken at its word.
        assert_eq!((colors.samples, colors.neutral), (SAMPLES, 0));
        assert_eq!(colors.clusterings[1].clusters[0].1, SAMPLES - greens);
    }
}
