//! The families once more, as the colors of things. Clusters of pixels tell which hues a photo has; a thing has one color,
//! though its pixels are often of several clusters: fur is orange and cream, a petal yellow and green. So every cell is
//! asked for its own color, and things of like color become one family, however their pixels were split.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::color::Lab;
use crate::grid::Grid;
use crate::reference::EVIDENT;

use super::colors::{NEUTRAL_CHROMA, body, distance};
use super::families::ACCENT_APART;
use super::owners::Owned;
use super::{Family, PartRules, Region, View};

/// What is farther than this from a thing's color is another thing's, in units of compressed a*b*; from memory.
const REACH: f32 = 14.0;
/// Things whose colors differ by less than so many times what one more family must gain are one, in units of CIE94 at
/// middle lightness; from memory.
const ALIKE_GAINS: f32 = 3.0;
/// Colors in one square of this side, in compressed a*b*, are one from the beginning: far less than what is alike.
const SQUARE: f32 = 2.0;
/// What is narrower than so many nibs founds no family unless it is unlike all others, as an accent is; from memory.
const LEAST_NIBS: f64 = 2.0;
/// A thing is black if less than this share of it is bright enough to tell a hue; from memory.
const LEAST_TOLD: f64 = 0.2;
/// Black things are of the grayest family that has this share of pixels as dark as this, in L*: it has a pen for them. From
/// memory.
const LEAST_DARK: f64 = 0.03;
const AS_DARK: f32 = 20.0;

/// A thing, or several of like color.
#[derive(Debug, Clone, Copy)]
struct Kind {
    /// Compressed a* and b*.
    color: [f32; 2],
    pixels: f64,
    /// How many of them are dark.
    dark: f64,
    /// That of the widest, in pixels.
    width: f64,
    accent: bool,
}

impl Kind {
    /// Both in one, with their mean color.
    fn with(self, other: Self) -> Self {
        let all = self.pixels + other.pixels;
        let share = (other.pixels / all) as f32;
        let mean = |c: usize| self.color[c] + share * (other.color[c] - self.color[c]);
        Self {
            color: [mean(0), mean(1)],
            pixels: all,
            dark: self.dark + other.dark,
            width: self.width.max(other.width),
            accent: self.accent && other.accent,
        }
    }
}

/// Gives every region that is a thing, as `is_thing` tells of its cell and family, the family of its own color, all families
/// to the others, and every pixel the family it shows; `depth` are squared distances to the regions' rims, in pixels. Returns
/// the families: first those of things, then what else the pixels show.
pub fn families_of_things(
    owned: &mut Owned,
    view: &mut View,
    families: &[Family],
    depth: &[f64],
    is_thing: &impl Fn(&Region) -> bool,
    rules: PartRules,
) -> Vec<Family> {
    let mut things = things(owned, view, families, depth);
    for (thing, region) in things.iter_mut().zip(&owned.regions) {
        thing.counts = is_thing(region);
    }
    let least_px = LEAST_NIBS * rules.nib_mm / rules.mm_per_px;
    let mut kinds = kinds_of(&things, ALIKE_GAINS * rules.hue_gain, least_px);
    let for_black = grayest_with_dark(&kinds).unwrap_or(kinds.len());
    if for_black == kinds.len() {
        let blacks = (things.iter())
            .filter(|thing| thing.counts && thing.is_black)
            .map(|thing| Kind {
                color: [0.0; 2],
                ..thing.kind
            });
        kinds.extend(blacks.reduce(Kind::with));
    }
    if kinds.is_empty() {
        return families.to_vec();
    }
    let found = with_what_else_is_shown(&kinds, families);
    for (region, thing) in owned.regions.iter_mut().zip(&things) {
        region.families = match thing {
            thing if !thing.counts => (0..found.len()).collect(),
            thing if thing.is_black => vec![for_black],
            thing => vec![nearest(&kinds, thing.kind.color)],
        };
    }
    let shows = |lab: &Lab| body(*lab).map_or(0, |p| shown_by(p, &found) as u8 + 1);
    view.shown = Grid {
        width: view.shown.width,
        height: view.shown.height,
        data: view.calm.data.par_iter().map(shows).collect(),
    };
    found
}

/// The families of the kinds; after them those of the others, which no thing has but pixels show: other kinds of color
/// behind or on a thing, and gray, which is its gloss.
fn with_what_else_is_shown(kinds: &[Kind], families: &[Family]) -> Vec<Family> {
    let of_kind = |kind: &Kind| Family::at(kind.color, kind.accent);
    let mut found: Vec<Family> = kinds.iter().map(of_kind).collect();
    let gray_is_there = found.iter().any(|family| family.neutral);
    let is_another = |f: &&Family| {
        let far = |k: &Kind| distance(f.center(), k.color) >= REACH;
        kinds.iter().all(far) || (f.neutral && !gray_is_there)
    };
    found.extend(families.iter().filter(is_another));
    found
}

/// The family of a pixel's compressed a*b*: gray is what is so and has less than half the color of the nearest family.
fn shown_by(p: [f32; 2], families: &[Family]) -> usize {
    let nearest = |neutral: bool| {
        let to = |f: &usize| distance(p, families[*f].center());
        (0..families.len())
            .filter(|&f| families[f].neutral == neutral)
            .min_by(|f, g| to(f).total_cmp(&to(g)))
    };
    match (nearest(false), nearest(true)) {
        (Some(colored), Some(neutral)) => {
            let half = chroma(families[colored].center()) / 2.0;
            if chroma(p) < NEUTRAL_CHROMA.min(half) {
                neutral
            } else {
                colored
            }
        }
        (one, other) => one.or(other).unwrap_or(0),
    }
}

/// One region by itself.
struct Thing {
    kind: Kind,
    is_black: bool,
    /// It has a color of its own, and the photo shows it.
    counts: bool,
}

/// Sums over a region's pixels that show the subject, which count by how far they lie inside.
#[derive(Clone, Copy, Default)]
struct Sum {
    weight: f64,
    color: [f64; 2],
}

/// The own color of every region: the mean of its pixels around the mean of those that have its family (a step of mean
/// shift with a flat kernel, Fukunaga and Hostetler 1975), so that no bound between clusters cuts it.
fn things(owned: &Owned, view: &View, families: &[Family], depth: &[f64]) -> Vec<Thing> {
    let family = |region: &Region| families[region.families[0]];
    let begin = |region: &Region| Thing {
        kind: Kind {
            color: family(region).center(),
            pixels: 0.0,
            dark: 0.0,
            width: 0.0,
            accent: family(region).accent,
        },
        is_black: false,
        counts: true,
    };
    let mut things: Vec<Thing> = owned.regions.iter().map(begin).collect();
    let point: Vec<Option<[f32; 2]>> = view.calm.data.par_iter().map(|&c| body(c)).collect();
    let mut seen = vec![[0.0f64; 2]; things.len()];
    for (i, r) in regions(&owned.map) {
        let kind = &mut things[r].kind;
        kind.pixels += 1.0;
        kind.width = kind.width.max(2.0 * depth[i].sqrt());
        if view.evidence.data[i] >= EVIDENT {
            kind.dark += f64::from(u8::from(view.calm.data[i].l < AS_DARK));
            seen[r][usize::from(point[i].is_some())] += depth[i].sqrt();
        }
    }
    for (thing, [dark, told]) in things.iter_mut().zip(seen) {
        thing.is_black = told < LEAST_TOLD * (dark + told);
    }
    let mut look = |mine: &dyn Fn(&Thing, usize, usize, [f32; 2]) -> bool| {
        let mut sums = vec![Sum::default(); things.len()];
        for (i, r) in regions(&owned.map) {
            let Some(p) = point[i].filter(|_| view.evidence.data[i] >= EVIDENT) else {
                continue;
            };
            if mine(&things[r], i, r, p) {
                let weight = depth[i].sqrt();
                sums[r].weight += weight;
                for (sum, p) in sums[r].color.iter_mut().zip(p) {
                    *sum += weight * f64::from(p);
                }
            }
        }
        for (thing, sum) in things.iter_mut().zip(sums) {
            if sum.weight > 0.0 {
                thing.kind.color = sum.color.map(|c| (c / sum.weight) as f32);
            }
        }
    };
    look(&|_, i, r, _| usize::from(view.shown.data[i]) == owned.regions[r].families[0] + 1);
    look(&|thing, _, _, p| distance(p, thing.kind.color) < REACH);
    things
}

/// Every pixel of a region, and the region's index.
fn regions(map: &Grid<u16>) -> impl Iterator<Item = (usize, usize)> {
    let in_one = |(i, &r): (usize, &u16)| Some((i, usize::from(r).checked_sub(1)?));
    map.data.iter().enumerate().filter_map(in_one)
}

/// The kinds of things, the largest first: the two nearest are joined as long as they are `alike` (agglomerative
/// clustering with centroid linkage, Sokal and Michener 1958). What is narrower than `least_px` and hardly unlike another
/// kind is none. Black things have no color to tell.
fn kinds_of(things: &[Thing], alike: f32, least_px: f64) -> Vec<Kind> {
    let mut squares: BTreeMap<[i32; 2], Kind> = BTreeMap::new();
    let colored = things
        .iter()
        .filter(|thing| thing.counts && !thing.is_black);
    for kind in colored.map(|thing| thing.kind) {
        let place = kind.color.map(|c| (c / SQUARE).floor() as i32);
        let joined = squares.get(&place).map_or(kind, |known| known.with(kind));
        squares.insert(place, joined);
    }
    let mut kinds: Vec<Kind> = squares.into_values().collect();
    while let Some((a, b)) = nearest_pair(&kinds, alike) {
        let gone = kinds.remove(a);
        kinds[b] = kinds[b].with(gone);
    }
    let counts = |kind: &Kind| kind.width >= least_px || kind.accent;
    let large: Vec<Kind> = kinds.iter().copied().filter(counts).collect();
    let is_unlike = |kind: &Kind| {
        let far = |other: &Kind| distance(kind.color, other.color) >= ACCENT_APART;
        large.iter().all(far)
    };
    kinds.retain(|kind| counts(kind) || is_unlike(kind));
    kinds.sort_by_key(|kind| Reverse(kind.pixels as u64));
    kinds
}

/// The two kinds that are the nearest to each other, the later one first; `None` if no two are alike.
fn nearest_pair(kinds: &[Kind], alike: f32) -> Option<(usize, usize)> {
    let mut nearest = (alike, None);
    for a in 0..kinds.len() {
        for b in 0..a {
            let d = unlikeness(kinds[a].color, kinds[b].color);
            if d < nearest.0 {
                nearest = (d, Some((a, b)));
            }
        }
    }
    nearest.1
}

/// The kind whose color is the nearest.
fn nearest(kinds: &[Kind], color: [f32; 2]) -> usize {
    let to = |k: &usize| unlikeness(color, kinds[*k].color);
    let nearest = (0..kinds.len()).min_by(|a, b| to(a).total_cmp(&to(b)));
    nearest.unwrap_or(0)
}

/// The grayest kind that has dark pixels enough to have a band for black.
fn grayest_with_dark(kinds: &[Kind]) -> Option<usize> {
    let of = |k: &usize| chroma(kinds[*k].color);
    (0..kinds.len())
        .filter(|&k| kinds[k].dark >= LEAST_DARK * kinds[k].pixels)
        .min_by(|a, b| of(a).total_cmp(&of(b)))
}

fn chroma(color: [f32; 2]) -> f32 {
    distance(color, [0.0; 2])
}

/// The difference of two colors of one lightness by CIE94 (CIE 116:1995), with the geometric mean of both as their chroma.
fn unlikeness(p: [f32; 2], q: [f32; 2]) -> f32 {
    let (of_p, of_q) = (chroma(p), chroma(q));
    let strength = of_p - of_q;
    let hue = (distance(p, q).powi(2) - strength * strength).max(0.0);
    let mean = (of_p * of_q).sqrt();
    let strength = strength / (1.0 + 0.045 * mean);
    (strength * strength + hue / (1.0 + 0.015 * mean).powi(2)).sqrt()
}
