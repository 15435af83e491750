//! The subject of a photo: what stands against its background.
//!
//! Where the photo has transparency, that tells. Otherwise the colors along the photo's rim are the background's, the
//! colors unlike them the subject's, and a minimum cut parts the two where colors change most (in the way of Rother,
//! Kolmogorov and Blake 2004, "GrabCut", with clusters in L*a*b* instead of Gaussian mixtures, and without a hand).

use imageproc::region_labelling::Connectivity;
use kmeans_colors::get_kmeans_hamerly;
use rayon::prelude::*;

use crate::color::{Lab, Srgb8, unshaded};
use crate::grid::Grid;

use super::Photo;
use super::mincut::GridCut;
use super::shape::{Silhouette, fill_holes, signed_distance};

/// Width of the rim, as a part of the photo's shorter side; from memory.
const RIM: f64 = 0.04;
/// Clusters of background and of subject.
const CLUSTERS: usize = 4;
/// A smaller cluster, as a share of all, is none; the passes and the movement at which k-means stops, and its start.
/// From memory.
const LEAST_SHARE: f32 = 0.02;
const PASSES: usize = 12;
const CONVERGED: f32 = 1.0;
const SEED: u64 = 1;
/// A cluster of the rim with a smaller share may be the subject running off the photo; from memory.
const LEAST_RIM_SHARE: f32 = 0.08;
/// How far from the background's clusters a color is the subject's to begin with, in units of L*a*b*; from memory.
const APART: f32 = 18.0;
/// The same where lightness says nothing, since a shadow on the background has its color: in units of a*b* at L* 50,
/// and how much such a color speaks for the subject at least; from memory.
const APART_IN_COLOR: f32 = 15.0;
const OTHER_COLOR: f32 = 100.0;
/// Rounds of learning colors and cutting.
const ROUNDS: usize = 3;
/// Most a pixel's color can speak for one side, in squared units of L*a*b*.
const FARTHEST: f32 = 900.0;
/// What it costs to part two neighbors of the same color; from memory.
const PARTING: f32 = 250.0;
/// What parting costs however much colors change, so that an outline is short; and the least square of a contrast at
/// which it gets cheap, in squared units of L*a*b*: in a picture of next to none it is noise. From memory.
const LEAST_COST: f32 = 4.0;
const LEAST_CONTRAST: f64 = 4.0;
/// Costs are whole numbers of this part of a unit.
const UNIT: f32 = 0.25;
/// Pieces smaller than this part of the largest are specks.
const SPECK: f64 = 0.03;
/// A subject is between these shares of the photo; from memory.
const SHARE: std::ops::RangeInclusive<f64> = 0.03..=0.85;
/// Share of the rim that a subject may cover before it counts as cut off; from memory.
const ON_RIM: f64 = 0.12;
/// Deeper than this, in pixels of the mask, all four pixels that a place is read between are on one side of its edge:
/// two of them differ by 2.83 - 1 at most, where each lies within 1.41 - 0.5 of an edge between them. Smoothing keeps
/// that.
const SURE_PX: f32 = 2.0;
/// Least mean difference of color across the subject's edge, in units of L*a*b*; from memory.
const EDGE: f64 = 10.0;
/// Share of the edge that must differ by half of that.
const EDGE_SHARE: f64 = 0.75;

/// The subject in a small copy of the upright photo.
#[derive(Debug, Clone)]
pub struct Subject {
    pub mask: Grid<bool>,
    /// Distance to the mask's edge, in its pixels, above 0 inside.
    distance: Grid<f32>,
    /// Photo pixels per pixel of the mask.
    pub scale: f64,
}

impl Subject {
    pub fn new(mask: Grid<bool>, scale: f64) -> Self {
        let distance = signed_distance(&mask);
        Self {
            mask,
            distance,
            scale,
        }
    }

    /// Distance of a photo pixel to the subject's edge, in photo pixels, above 0 inside.
    pub fn depth_at(&self, [x, y]: [f64; 2]) -> f64 {
        let (x, y) = (x / self.scale, y / self.scale);
        let beyond = |v: f64, end: usize| (-v).max(v - end as f64).max(0.0);
        let away = match (beyond(x, self.mask.width), beyond(y, self.mask.height)) {
            (0.0, 0.0) => 0.0,
            (x, y) => x.hypot(y),
        };
        (f64::from(self.distance.interpolated(x, y)) - away) * self.scale
    }

    /// Whether the subject is at a photo pixel: its depth is above 0.
    pub fn is_at(&self, [x, y]: [f64; 2]) -> bool {
        let (column, row) = (x / self.scale, y / self.scale);
        let inside = |v: f64, end: usize| v >= 0.0 && v < end as f64;
        if inside(column, self.mask.width) && inside(row, self.mask.height) {
            let depth = self.distance.at(column as usize, row as usize);
            if depth.abs() > SURE_PX {
                return depth > 0.0;
            }
        }
        self.depth_at([x, y]) > 0.0
    }

    /// Left, top, width and height of the subject, in photo pixels.
    pub fn bounds(&self) -> Option<[f64; 4]> {
        let silhouette = Silhouette {
            mask: self.mask.clone(),
            scale: self.scale,
        };
        silhouette.bounds()
    }

    /// Agreement (intersection over union) of the subject with a silhouette from which it is seen through `to_photo`
    /// (frame pixels to photo pixels).
    pub fn agreement(
        &self,
        silhouette: &Silhouette,
        to_photo: impl Fn([f64; 2]) -> [f64; 2] + Sync,
    ) -> f64 {
        self.overlap(silhouette, to_photo).agreement()
    }

    /// How the subject lies on a silhouette from which it is seen through `to_photo`.
    pub fn overlap(
        &self,
        silhouette: &Silhouette,
        to_photo: impl Fn([f64; 2]) -> [f64; 2] + Sync,
    ) -> Overlap {
        let (mask, scale) = (&silhouette.mask, silhouette.scale);
        let in_row = |y: usize| {
            let mut counts = [0usize; 3];
            for x in 0..mask.width {
                let at = [(x as f64 + 0.5) * scale, (y as f64 + 0.5) * scale];
                let (drawn, seen) = (mask.at(x, y), self.is_at(to_photo(at)));
                for (count, is) in counts.iter_mut().zip([drawn && seen, drawn, seen]) {
                    *count += usize::from(is);
                }
            }
            counts
        };
        let rows = (0..mask.height).into_par_iter().map(in_row);
        let [both, drawn, seen] = rows.reduce(|| [0; 3], |a, b| [0, 1, 2].map(|k| a[k] + b[k]));
        Overlap { both, drawn, seen }
    }
}

/// Pixels of a silhouette's grid in the silhouette, in the subject and in both.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Overlap {
    both: usize,
    drawn: usize,
    seen: usize,
}

impl Overlap {
    /// Intersection over union, 0 to 1.
    pub fn agreement(self) -> f64 {
        self.both as f64 / (self.drawn + self.seen - self.both).max(1) as f64
    }

    /// The part of the subject, as far as the grid shows it, that lies in the silhouette, 0 to 1; 1 where none is shown.
    pub fn inside(self) -> f64 {
        match self.seen {
            0 => 1.0,
            seen => self.both as f64 / seen as f64,
        }
    }
}

/// Finds the subject.
///
/// # Errors
/// Why there is none that could be trusted, in a few words.
pub fn find_subject(photo: &Photo) -> Result<Subject, &'static str> {
    let picture = &photo.small;
    let scale = photo.upright_size().0 as f64 / picture.width as f64;
    let clear = picture.data.iter().filter(|p| p[3] < 128).count();
    if clear > 0 {
        if clear == picture.data.len() {
            return Err("the photo is transparent all over");
        }
        let mask = picture.map(|p| p[3] >= 128);
        return Ok(Subject::new(mask, scale));
    }
    let (w, h) = (picture.width, picture.height);
    if w < 16 || h < 16 {
        return Err("the photo is too small");
    }
    let lab: Grid<Lab> = picture.map(|[r, g, b, _]| Srgb8::new(r, g, b).lab());
    let rim = ((RIM * w.min(h) as f64).round() as usize).max(2);
    let depth = |i: usize| {
        let (x, y) = (i % w, i / w);
        x.min(y).min(w - 1 - x).min(h - 1 - y)
    };
    let on_rim: Vec<Lab> = (0..w * h)
        .filter(|&i| depth(i) < rim)
        .map(|i| lab.data[i])
        .collect();
    let (background, parting) = rayon::join(
        || centers(&on_rim, LEAST_RIM_SHARE),
        || cost_of_parting(&lab),
    );
    let mut inside: Vec<bool> = lab
        .data
        .iter()
        .enumerate()
        .map(|(i, &p)| depth(i) >= rim && nearest(&background, p) > APART * APART)
        .collect();
    for _ in 0..ROUNDS {
        let of = |side: bool| -> Vec<Lab> {
            (0..w * h)
                .filter(|&i| inside[i] == side)
                .map(|i| lab.data[i])
                .collect()
        };
        let (fore, back) = (of(true), of(false));
        if (fore.len() as f64) < SHARE.start() * (w * h) as f64 {
            return Err("nothing stands out against the photo's rim");
        }
        let (subject, background) = rayon::join(
            || centers(&fore, LEAST_SHARE),
            || centers(&back, LEAST_SHARE),
        );
        inside = cut(parting.clone(), &lab, &background, &subject, |i| {
            depth(i) == 0
        });
    }
    let mask = whole_pieces(&Grid {
        width: w,
        height: h,
        data: inside,
    });
    trusted(&mask, &lab, depth).map(|()| Subject::new(mask, scale))
}

/// Centers of the color clusters of `points` that hold at least `least` of them.
fn centers(points: &[Lab], least: f32) -> Vec<Lab> {
    if points.is_empty() {
        return Vec::new();
    }
    let run = get_kmeans_hamerly(CLUSTERS, PASSES, CONVERGED, false, points, SEED);
    let mut count = vec![0usize; run.centroids.len()];
    for &i in &run.indices {
        count[usize::from(i)] += 1;
    }
    run.centroids
        .iter()
        .zip(count)
        .filter(|&(c, n)| n as f32 >= least * points.len() as f32 && c.l.is_finite())
        .map(|(&c, _)| c)
        .collect()
}

/// Squared distance to the nearest of `centers`.
fn nearest(centers: &[Lab], p: Lab) -> f32 {
    centers
        .iter()
        .map(|c| (p.l - c.l).powi(2) + (p.a - c.a).powi(2) + (p.b - c.b).powi(2))
        .fold(f32::INFINITY, f32::min)
}

/// Whether no shading makes one of the background's colors, which are `unshaded`, out of `p`.
fn is_of_another_color(p: Lab, background: &[[f32; 2]]) -> bool {
    let [a, b] = unshaded(p);
    let far = |&[x, y]: &[f32; 2]| {
        (a - x) * (a - x) + (b - y) * (b - y) > APART_IN_COLOR * APART_IN_COLOR
    };
    background.iter().all(far)
}

fn apart(p: Lab, q: Lab) -> f32 {
    (p.l - q.l).powi(2) + (p.a - q.a).powi(2) + (p.b - q.b).powi(2)
}

/// The picture's pixels with what it costs to part each from its neighbors: less where colors change more.
fn cost_of_parting(lab: &Grid<Lab>) -> GridCut {
    let (w, h) = (lab.width, lab.height);
    // The contrast at which parting gets cheap: the mean over the picture.
    let pairs = (0..lab.data.len()).filter(|i| i % w + 1 < w);
    let (sum, count) = pairs.fold((0.0f64, 0usize), |(s, n), i| {
        (s + f64::from(apart(lab.data[i], lab.data[i + 1])), n + 1)
    });
    let soft = (2.0 * sum / count.max(1) as f64).max(LEAST_CONTRAST) as f32;
    let mut grid = GridCut::new(w, h);
    grid.link_all(|i, j| {
        let straight = i % w == j % w || i / w == j / w;
        let length = if straight {
            1.0
        } else {
            std::f32::consts::SQRT_2
        };
        let cost = PARTING * (-apart(lab.data[i], lab.data[j]) / soft).exp() / length;
        ((cost + LEAST_COST) / UNIT) as i32
    });
    grid
}

/// Parts the picture into subject (true) and background, at the cost of `grid`; `rim` pixels lean to the background.
fn cut(
    mut grid: GridCut,
    lab: &Grid<Lab>,
    background: &[Lab],
    subject: &[Lab],
    rim: impl Fn(usize) -> bool,
) -> Vec<bool> {
    let colors: Vec<[f32; 2]> = background.iter().map(|&c| unshaded(c)).collect();
    let speaks = |&p: &Lab| {
        let far = |centers: &[Lab]| nearest(centers, p).min(FARTHEST);
        // What is small among the subject's colors has no cluster there; that it is none of the background's shows.
        let least = if is_of_another_color(p, &colors) {
            OTHER_COLOR
        } else {
            -FARTHEST
        };
        (far(background) - far(subject)).max(least)
    };
    let speaks: Vec<f32> = lab.data.par_iter().map(speaks).collect();
    for (i, speaks) in speaks.into_iter().enumerate() {
        let lean = if rim(i) { FARTHEST } else { 0.0 };
        grid.prefer_source(i, ((speaks - lean) / UNIT) as i32);
    }
    grid.cut()
}

/// The mask without specks and with its holes filled.
fn whole_pieces(mask: &Grid<bool>) -> Grid<bool> {
    let (pieces, count) = mask.pieces(Connectivity::Four);
    let mut size = vec![0usize; count + 1];
    for &p in &pieces.data {
        size[p as usize] += 1;
    }
    let largest = size[1..].iter().copied().max().unwrap_or(0);
    fill_holes(&pieces.map(|p| p > 0 && size[p as usize] as f64 >= SPECK * largest as f64))
}

/// Whether a mask looks like a subject.
fn trusted(
    mask: &Grid<bool>,
    lab: &Grid<Lab>,
    depth: impl Fn(usize) -> usize,
) -> Result<(), &'static str> {
    let n = mask.data.len();
    let share = mask.data.iter().filter(|&&m| m).count() as f64 / n as f64;
    if !SHARE.contains(&share) {
        return Err("nothing stands out against the photo's rim");
    }
    let rim: Vec<usize> = (0..n).filter(|&i| depth(i) <= 1).collect();
    let on_rim = rim.iter().filter(|&&i| mask.data[i]).count() as f64 / rim.len() as f64;
    if on_rim > ON_RIM {
        return Err("what stands out runs off the photo");
    }
    // Colors two pixels in and two pixels out of every step of the edge.
    let (w, h) = (mask.width, mask.height);
    let mut steps = Vec::new();
    for y in 2..h.saturating_sub(3) {
        for x in 2..w.saturating_sub(3) {
            let i = y * w + x;
            if mask.data[i] != mask.data[i + 1] {
                steps.push(f64::from(apart(lab.data[i - 1], lab.data[i + 2]).sqrt()));
            }
            if mask.data[i] != mask.data[i + w] {
                steps.push(f64::from(
                    apart(lab.data[i - w], lab.data[i + 2 * w]).sqrt(),
                ));
            }
        }
    }
    let count = steps.len().max(1) as f64;
    let mean = steps.iter().sum::<f64>() / count;
    let clear = steps.iter().filter(|&&s| s >= EDGE / 2.0).count() as f64 / count;
    if mean < EDGE || clear < EDGE_SHARE {
        return Err("the edge of what stands out is not clear");
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_the_subjects_where_its_depth_is_above_0() {
        let in_a_ring = |i: usize| {
            let (x, y) = ((i % 60) as f64 - 25.0, (i / 60) as f64 - 20.0);
            let striped = (x + 2.0 * y).rem_euclid(11.0) > 2.0;
            (4.0..17.5).contains(&x.hypot(y)) && (x > 0.0 || striped)
        };
        let mask = Grid {
            width: 60,
            height: 45,
            data: (0..60 * 45).map(in_a_ring).collect(),
        };
        let subject = Subject::new(mask, 3.0);
        let depths = &subject.distance.data;
        assert!(depths.iter().any(|&d| d > SURE_PX) && depths.iter().any(|&d| d < -SURE_PX));
        let mut inside = 0;
        for (x, y) in (-20..220).flat_map(|x| (-20..170).map(move |y| (x, y))) {
            let at = [f64::from(x) + 0.3, f64::from(y) + 0.8];
            assert_eq!(subject.is_at(at), subject.depth_at(at) > 0.0, "{at:?}");
            inside += usize::from(subject.is_at(at));
        }
        assert!(inside > 1000, "{inside}");
    }
}
