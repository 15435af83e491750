//! The families once more, as the colors of things. The clusters tell which hues a photo's pixels have; a thing has one
//! color, and most have pixels of several clusters: fur is orange and cream, a petal yellow and green. So every cell's own
//! color is asked for, and things of like color become one family, however their pixels were split.

use crate::reference::EVIDENT;

use super::colors::{NEUTRAL_CHROMA, body, distance};
use super::owners::Owned;
use super::families::ACCENT_APART;
use super::{Family, PartRules, View};

/// What is farther than this from a thing's color is another thing's, in units of compressed a*b*; from memory.
const REACH: f32 = 14.0;
/// Things whose colors are nearer to each other than this are one family, in units of CIE94 at middle lightness; from memory.
const ALIKE: f32 = 5.5;
/// What is narrower than so many nibs founds no family unless it is unlike all others: farther than an accent is. From
/// memory.
const LEAST_NIBS: f64 = 2.0;
/// A thing is black if less than this share of its pixels is bright enough to tell a hue; from memory.
const LEAST_TOLD: f64 = 0.2;
/// Black things are of a family that has this share of pixels as dark as this, in L*: it has a pen for them. From memory.
const LEAST_DARK: f64 = 0.03;
const AS_DARK: f32 = 20.0;

/// A thing's own color.
#[derive(Clone, Copy)]
struct Thing {
    /// Compressed a* and b*; `None` for a black one.
    color: Option<[f32; 2]>,
    pixels: f64,
    /// How many of them are dark.
    dark: f64,
    /// In pixels.
    width: f64,
    accent: bool,
}

/// Things of like color.
#[derive(Clone, Copy)]
struct Kind {
    color: [f32; 2],
    pixels: f64,
    dark: f64,
    /// That of its widest thing.
    width: f64,
    accent: bool,
}

/// The families of the regions, of which every one has one of `families`; `depth` are squared distances to the regions'
/// rims, in pixels. What the pixels show besides stays, behind them.
pub fn families_of_things(
    owned: &mut Owned,
    view: &mut View,
    families: &[Family],
    depth: &[f64],
    rules: PartRules,
) -> Vec<Family> {
    let things = things(owned, view, families, depth);
    let mut kinds = kinds_of(&things, LEAST_NIBS * rules.nib_mm / rules.mm_per_px);
    let has_dark = |kind: &Kind| kind.dark >= LEAST_DARK * kind.pixels;
    let for_black = (0..kinds.len())
        .filter(|&k| has_dark(&kinds[k]))
        .min_by(|&a, &b| chroma(kinds[a].color).total_cmp(&chroma(kinds[b].color)));
    let for_black = for_black.unwrap_or(kinds.len());
    if for_black == kinds.len() && things.iter().any(|thing| thing.color.is_none()) {
        kinds.push(Kind {
            color: [0.0; 2],
            pixels: 0.0,
            dark: 0.0,
            width: 0.0,
            accent: false,
        });
    }
    for (region, thing) in owned.regions.iter_mut().zip(&things) {
        let family = thing.color.map_or(for_black, |color| nearest(&kinds, color));
        region.families = vec![family];
    }
    let mut found: Vec<Family> = kinds
        .iter()
        .map(|kind| Family::at(kind.color, kind.accent))
        .collect();
    let gray_is_there = found.iter().any(|family| family.neutral);
    let unlike = |f: &&Family| {
        let far = |k: &Kind| distance(f.center(), k.color) >= REACH;
        kinds.iter().all(far) || (f.neutral && !gray_is_there)
    };
    let others: Vec<Family> = families.iter().filter(unlike).copied().collect();
    found.extend(others);
    for (shown, &lab) in view.shown.data.iter_mut().zip(&view.calm.data) {
        *shown = body(lab).map_or(0, |p| shown_by(p, &found) as u8 + 1);
    }
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
            let [a, b] = families[colored].center();
            let chroma = distance(p, [0.0; 2]);
            if chroma < NEUTRAL_CHROMA.min(a.hypot(b) / 2.0) {
                neutral
            } else {
                colored
            }
        }
        (Some(only), None) | (None, Some(only)) => only,
        (None, None) => 0,
    }
}

/// The own color of every region: the mode of its pixels that the mean of its family's leads to (mean shift with a flat
/// kernel, Fukunaga and Hostetler 1975).
fn things(
    owned: &Owned,
    view: &View,
    families: &[Family],
    depth: &[f64],
) -> Vec<Thing> {
    let count = owned.regions.len();
    let point: Vec<Option<[f32; 2]>> = view.calm.data.iter().map(|&lab| body(lab)).collect();
    let mut told = vec![0.0f64; count];
    let mut all = vec![0.0f64; count];
    let mut pixels = vec![0.0f64; count];
    let mut dark = vec![0.0f64; count];
    let mut deepest = vec![0.0f64; count];
    let mut color: Vec<[f32; 2]> = owned
        .regions
        .iter()
        .map(|region| families[region.families[0]].center())
        .collect();
    for (i, &r) in owned.map.data.iter().enumerate().filter(|(_, r)| **r > 0) {
        let r = usize::from(r) - 1;
        pixels[r] += 1.0;
        deepest[r] = deepest[r].max(depth[i]);
        if view.evidence.data[i] >= EVIDENT {
            dark[r] += f64::from(u8::from(view.calm.data[i].l < AS_DARK));
            all[r] += depth[i].sqrt();
            told[r] += depth[i].sqrt() * f64::from(u8::from(point[i].is_some()));
        }
    }
    for round in 0..2 {
        let mut sums = vec![[0.0f64; 3]; count];
        for (i, &r) in owned.map.data.iter().enumerate().filter(|(_, r)| **r > 0) {
            let r = usize::from(r) - 1;
            let Some(p) = point[i].filter(|_| view.evidence.data[i] >= EVIDENT) else {
                continue;
            };
            let mine = match round {
                0 => usize::from(view.shown.data[i]) == owned.regions[r].families[0] + 1,
                _ => distance(p, color[r]) < REACH,
            };
            if mine {
                let weight = depth[i].sqrt();
                sums[r][0] += weight;
                sums[r][1] += weight * f64::from(p[0]);
                sums[r][2] += weight * f64::from(p[1]);
            }
        }
        for (color, [n, a, b]) in color.iter_mut().zip(sums) {
            if n > 0.0 {
                *color = [(a / n) as f32, (b / n) as f32];
            }
        }
    }
    (0..count)
        .map(|r| Thing {
            color: (told[r] >= LEAST_TOLD * all[r]).then_some(color[r]),
            pixels: pixels[r],
            dark: dark[r],
            width: 2.0 * deepest[r].sqrt(),
            accent: families[owned.regions[r].families[0]].accent,
        })
        .collect()
}

/// The kinds of things: the two nearest are joined as long as they are alike (agglomerative clustering with centroid
/// linkage, Sokal and Michener 1958). What is narrower than `least_px` and hardly unlike another kind is none.
fn kinds_of(things: &[Thing], least_px: f64) -> Vec<Kind> {
    let of_thing = |thing: &Thing| {
        thing.color.map(|color| Kind {
            color,
            pixels: thing.pixels,
            dark: thing.dark,
            width: thing.width,
            accent: thing.accent,
        })
    };
    let mut kinds: Vec<Kind> = things.iter().filter_map(of_thing).collect();
    while let Some((a, b)) = nearest_pair(&kinds) {
        let gone = kinds.remove(a);
        let left = &mut kinds[b];
        let all = left.pixels + gone.pixels;
        for c in 0..2 {
            let sum =
                f64::from(left.color[c]) * left.pixels + f64::from(gone.color[c]) * gone.pixels;
            left.color[c] = (sum / all) as f32;
        }
        left.pixels = all;
        left.dark += gone.dark;
        left.width = left.width.max(gone.width);
        left.accent &= gone.accent;
    }
    let wide: Vec<Kind> = (kinds.iter().copied())
        .filter(|kind| kind.width >= least_px || kind.accent)
        .collect();
    let is_unlike = |kind: &Kind| {
        let far = |other: &Kind| distance(kind.color, other.color) >= ACCENT_APART;
        wide.iter().all(far)
    };
    let stays = |kind: &Kind| kind.width >= least_px || kind.accent || is_unlike(kind);
    kinds.retain(stays);
    kinds
}

/// The two kinds that are the nearest to each other, the later one first; `None` if no two are alike.
fn nearest_pair(kinds: &[Kind]) -> Option<(usize, usize)> {
    let mut nearest = (ALIKE, None);
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
