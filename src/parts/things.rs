//! The families once more, as the colors of things. Clusters of pixels tell which hues a photo has; a thing has one color,
//! though its pixels are often of several clusters: fur is orange and cream, a petal yellow and green. So every cell is
//! asked for its own color, and things of like color become one family, however their pixels were split.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::grid::Grid;
use crate::reference::EVIDENT;

use super::colors::{NEUTRAL_CHROMA, body, distance, stretched};
use super::families::{LEAST_SHARE, nearest_of};
use super::owners::Owned;
use super::{Family, PartRules, Region, View};

/// What is farther than this from a thing's color is another thing's, in units of compressed a*b*; from memory.
const REACH: f32 = 14.0;
/// What pixels show farther than this from every thing's color is a color of its own, in the same units; from memory.
const OTHER: f32 = 14.0;
/// Things whose colors differ by less than so many times what one more family must gain are one, in units of CIE94 at
/// middle lightness; from memory.
const ALIKE_GAINS: f32 = 3.6;
/// Colors in one square of this part of that are one from the beginning; from memory.
const SQUARE: f32 = 0.25;
/// What is narrower than so many nibs and too rare for a group founds no family, ...
const LEAST_NIBS: f64 = 2.0;
/// ... unless it differs from all others by so many times what is alike; from memory.
const UNLIKE: f32 = 2.0;
/// Most families of things, as many as a card maker would keep apart in one drawing: the nearest are joined beyond. From
/// memory.
const MOST_KINDS: usize = 12;
/// A thing is black if less than this share of it is bright enough to tell a hue; from memory.
const LEAST_TOLD: f64 = 0.2;
/// Black things are of a gray family that has this share of pixels as dark as this, in L*: it has a pen for them. From
/// memory.
const LEAST_DARK: f64 = 0.03;
const AS_DARK: f32 = 20.0;

/// A thing, or several of like color.
#[derive(Debug, Clone, Copy)]
struct Kind {
    /// Compressed a* and b*.
    color: [f32; 2],
    pixels: f64,
    /// How many of them show the subject, and how many of these are dark.
    seen: f64,
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
            seen: self.seen + other.seen,
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
    let points: Vec<Option<[f32; 2]>> = view.calm.data.par_iter().map(|&c| body(c)).collect();
    let things = things(owned, view, &points, families, depth, is_thing);
    let least_px = LEAST_NIBS * rules.nib_mm / rules.mm_per_px;
    let mut kinds = kinds_of(&things, ALIKE_GAINS * rules.hue_gain, least_px);
    let for_black = gray_with_dark(&kinds).unwrap_or(kinds.len());
    if for_black == kinds.len() {
        let blacks = (things.iter())
            .filter(|thing| thing.is_one && thing.is_black)
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
            thing if !thing.is_one => (0..found.len()).collect(),
            thing if thing.is_black => vec![for_black],
            thing => vec![nearest(&kinds, thing.kind.color)],
        };
    }
    let shows = |point: &Option<[f32; 2]>| point.map_or(0, |p| shown_by(p, &found) as u8 + 1);
    view.shown = Grid {
        width: view.shown.width,
        height: view.shown.height,
        data: points.par_iter().map(shows).collect(),
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
        let far = |k: &Kind| distance(f.center(), k.color) >= OTHER;
        kinds.iter().all(far) || (f.neutral && !gray_is_there)
    };
    found.extend(families.iter().filter(is_another));
    found
}

/// The family of a pixel's compressed a*b*: gray is what is so and has less than half the color of the nearest family.
fn shown_by(p: [f32; 2], families: &[Family]) -> usize {
    let nearest = |neutral: bool| nearest_of(families, p, |f| f.neutral == neutral);
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
    /// One color is all of it, and the photo's.
    is_one: bool,
}

/// A pixel that shows the subject and is bright enough to tell its color, in compressed a*b*.
struct Told {
    pixel: usize,
    region: usize,
    color: [f32; 2],
    /// How far it lies inside its region.
    weight: f64,
}

/// Weighted sum of such colors.
#[derive(Clone, Copy, Default)]
struct Sum {
    weight: f64,
    color: [f64; 2],
}

/// The own color of every region: the mean of its pixels around the mean of those that have its family (a step of mean
/// shift with a flat kernel, Fukunaga and Hostetler 1975), so that no bound between clusters cuts it.
/// `points` are the colors of all pixels, compressed.
fn things(
    owned: &Owned,
    view: &View,
    points: &[Option<[f32; 2]>],
    families: &[Family],
    depth: &[f64],
    is_thing: &impl Fn(&Region) -> bool,
) -> Vec<Thing> {
    let family = |region: &Region| families[region.families[0]];
    let begin = |region: &Region| Thing {
        kind: Kind {
            color: family(region).center(),
            pixels: 0.0,
            seen: 0.0,
            dark: 0.0,
            width: 0.0,
            accent: family(region).accent,
        },
        is_black: false,
        is_one: is_thing(region),
    };
    let mut things: Vec<Thing> = owned.regions.iter().map(begin).collect();
    let mut seen = vec![[0.0f64; 2]; things.len()];
    for (i, r) in regions(&owned.map) {
        let kind = &mut things[r].kind;
        kind.pixels += 1.0;
        kind.width = kind.width.max(2.0 * depth[i].sqrt());
        if view.evidence.data[i] >= EVIDENT {
            kind.seen += 1.0;
            kind.dark += f64::from(u8::from(view.calm.data[i].l < AS_DARK));
            seen[r][usize::from(points[i].is_some())] += depth[i].sqrt();
        }
    }
    for (thing, [dark, told]) in things.iter_mut().zip(seen) {
        thing.is_black = told < LEAST_TOLD * (dark + told);
    }
    let told: Vec<Told> = regions(&owned.map)
        .filter(|&(i, _)| view.evidence.data[i] >= EVIDENT)
        .filter_map(|(pixel, region)| {
            Some(Told {
                pixel,
                region,
                color: points[pixel]?,
                weight: depth[pixel].sqrt(),
            })
        })
        .collect();
    let of_its_family = |told: &Told| {
        usize::from(view.shown.data[told.pixel]) == owned.regions[told.region].families[0] + 1
    };
    move_to_mean(&mut things, told.iter().filter(|told| of_its_family(told)));
    let own: Vec<[f32; 2]> = things.iter().map(|thing| thing.kind.color).collect();
    let near = |told: &&Told| distance(told.color, own[told.region]) < REACH;
    move_to_mean(&mut things, told.iter().filter(near));
    things
}

/// Gives every thing that has some of these pixels their mean color.
fn move_to_mean<'a>(things: &mut [Thing], pixels: impl Iterator<Item = &'a Told>) {
    let mut sums = vec![Sum::default(); things.len()];
    for told in pixels {
        let sum = &mut sums[told.region];
        sum.weight += told.weight;
        for (sum, color) in sum.color.iter_mut().zip(told.color) {
            *sum += told.weight * f64::from(color);
        }
    }
    for (thing, sum) in things.iter_mut().zip(sums) {
        if sum.weight > 0.0 {
            thing.kind.color = sum.color.map(|c| (c / sum.weight) as f32);
        }
    }
}

/// Every pixel of a region, and the region's index.
fn regions(map: &Grid<u16>) -> impl Iterator<Item = (usize, usize)> {
    let in_one = |(i, &r): (usize, &u16)| Some((i, usize::from(r).checked_sub(1)?));
    map.data.iter().enumerate().filter_map(in_one)
}

/// The kinds of things, the largest first: the two nearest are joined as long as they are `alike` (agglomerative
/// clustering with centroid linkage, Sokal and Michener 1958), and beyond [`MOST_KINDS`]. What is rare, narrower than
/// `least_px` and not unlike all others is none. Black things have no color to tell.
fn kinds_of(things: &[Thing], alike: f32, least_px: f64) -> Vec<Kind> {
    let mut squares: BTreeMap<[i32; 2], Kind> = BTreeMap::new();
    let colored = things
        .iter()
        .filter(|thing| thing.is_one && !thing.is_black);
    for kind in colored.map(|thing| thing.kind) {
        let place = kind.color.map(|c| (c / (SQUARE * alike)).floor() as i32);
        let joined = squares.get(&place).map_or(kind, |known| known.with(kind));
        squares.insert(place, joined);
    }
    let mut kinds: Vec<Kind> = squares.into_values().collect();
    let join = |kinds: &mut Vec<Kind>, (a, b): (usize, usize)| {
        let gone = kinds.remove(a);
        kinds[b] = kinds[b].with(gone);
    };
    while let Some(pair) = nearest_pair(&kinds, alike) {
        join(&mut kinds, pair);
    }
    let least = f64::from(LEAST_SHARE) * kinds.iter().map(|kind| kind.pixels).sum::<f64>();
    let founds = |kind: &Kind| kind.width >= least_px || kind.pixels >= least || kind.accent;
    let large: Vec<Kind> = kinds.iter().copied().filter(founds).collect();
    let is_unlike = |kind: &Kind| {
        let far = |other: &Kind| unlikeness(kind.color, other.color) >= UNLIKE * alike;
        large.iter().all(far)
    };
    kinds.retain(|kind| founds(kind) || is_unlike(kind));
    while kinds.len() > MOST_KINDS
        && let Some(pair) = nearest_pair(&kinds, f32::INFINITY)
    {
        join(&mut kinds, pair);
    }
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

/// The gray kind with the largest share of dark pixels, if it has enough of them for a band of black.
fn gray_with_dark(kinds: &[Kind]) -> Option<usize> {
    let share = |k: &usize| kinds[*k].dark / kinds[*k].seen.max(1.0);
    (0..kinds.len())
        .filter(|k| chroma(kinds[*k].color) < NEUTRAL_CHROMA && share(k) >= LEAST_DARK)
        .max_by(|a, b| share(a).total_cmp(&share(b)))
}

fn chroma(color: [f32; 2]) -> f32 {
    distance(color, [0.0; 2])
}

/// The difference of two colors of one lightness by CIE94 (CIE 116:1995), with the geometric mean of both as their chroma;
/// for what chroma they have before it is compressed.
fn unlikeness(p: [f32; 2], q: [f32; 2]) -> f32 {
    let (of_p, of_q) = (chroma(p), chroma(q));
    let turn = distance(p, q).powi(2) - (of_p - of_q).powi(2);
    // The square of 2 sin(h / 2), for the angle h between them.
    let turn = turn.max(0.0) / (of_p * of_q).max(1.0);
    let (of_p, of_q) = (stretched(of_p), stretched(of_q));
    let mean = (of_p * of_q).sqrt();
    let strength = (of_p - of_q) / (1.0 + 0.045 * mean);
    let hue = turn.sqrt() * mean / (1.0 + 0.015 * mean);
    strength.hypot(hue)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::{Lab, unshaded};
    use crate::grid::squared_distance_to_rim;
    use std::borrow::Cow;

    const RULES: PartRules = PartRules {
        hue_gain: 1.8,
        share: 0.1,
        nib_mm: 1.5,
        step: 8.0,
        mm_per_px: 0.2,
    };
    const CREAM: Lab = Lab::new(78.0, 7.0, 20.0);
    const GINGER: Lab = Lab::new(62.0, 12.0, 26.0);
    const GREEN: Lab = Lab::new(50.0, -20.0, 24.0);
    const GOLD: Lab = Lab::new(70.0, 3.0, 40.0);
    const RED: Lab = Lab::new(45.0, 50.0, 30.0);
    const GRAY: Lab = Lab::new(60.0, 1.0, 2.0);
    const BLACK: Lab = Lab::new(5.0, 0.5, 0.5);

    fn family_of(color: Lab) -> Family {
        Family::at(unshaded(color), false)
    }

    /// The families of cells as stripes of these widths in pixels, all 100 high, each owned by one of `families`, that show
    /// what `color` says of their number and of a pixel: every region's, and all.
    fn found(
        stripes: &[(usize, usize)],
        families: &[Family],
        color: impl Fn(usize, usize) -> Lab,
    ) -> (Vec<usize>, Vec<Family>, Vec<u8>) {
        let width = stripes.iter().map(|s| s.0 + 2).sum();
        let row: Vec<u16> = (stripes.iter().enumerate())
            .flat_map(|(r, &(w, _))| [vec![0; 2], vec![r as u16 + 1; w]].concat())
            .collect();
        let mut map = Grid::filled(width, 100, 0u16);
        for y in 1..99 {
            map.data[y * width..][..width].copy_from_slice(&row);
        }
        let lab = Grid {
            width,
            height: 100,
            data: (map.data.iter().enumerate())
                .map(|(i, &r)| color(usize::from(r).saturating_sub(1), i))
                .collect(),
        };
        let shown = lab.map(|lab| body(lab).map_or(0, |p| shown_by(p, families) as u8 + 1));
        let evidence = map.map(|_| u8::MAX);
        let depth = squared_distance_to_rim(&map);
        let region =
            |(r, &(_, family)): (usize, &(usize, usize))| Region::of(r as u16, vec![family]);
        let mut owned = Owned {
            map,
            regions: stripes.iter().enumerate().map(region).collect(),
            bare: Vec::new(),
            fits: Vec::new(),
        };
        let mut view = View {
            lab: Cow::Borrowed(&lab),
            calm: Cow::Borrowed(&lab),
            shown,
            evidence: Cow::Borrowed(&evidence),
        };
        let all = families_of_things(&mut owned, &mut view, families, &depth, &|_| true, RULES);
        let own = owned.regions.iter().map(|r| r.families[0]).collect();
        (own, all, view.shown.data)
    }

    #[test]
    fn fur_of_two_colors_is_of_one_family_whichever_is_more_frequent() {
        let families = [family_of(CREAM), family_of(GINGER)];
        let fur = |r: usize, i: usize| match (i * 7919) % 10 < [6, 4][r] {
            true => CREAM,
            false => GINGER,
        };
        let (own, all, shown) = found(&[(80, 0), (80, 1)], &families, fur);
        assert_eq!(own, [0, 0]);
        // All of it shows that family, so that its form is of all of it.
        assert_eq!(all.len(), 1, "{all:?}");
        assert!(shown.iter().all(|&s| s == 1));
    }

    #[test]
    fn things_of_unlike_color_part_though_their_pixels_were_one_cluster() {
        let one = [Family::at([-10.0, 30.0], false)];
        let color = |r: usize, _| [GREEN, GOLD][r];
        let (own, ..) = found(&[(60, 0), (40, 0)], &one, color);
        assert_eq!(own, [0, 1]);
    }

    /// Two nibs are 15 pixels, and a fiftieth of all is 16 to 17.
    #[test]
    fn what_is_rare_and_narrow_joins_its_kind_unless_it_is_unlike_all() {
        let near = Lab::new(50.0, -8.0, 22.0);
        let families = [family_of(GREEN), family_of(near), family_of(GOLD)];
        let color = |r: usize, _| [GREEN, near, RED][r];
        let alike = ALIKE_GAINS * RULES.hue_gain;
        let unlike = unlikeness(unshaded(GREEN), unshaded(near));
        assert!((alike..UNLIKE * alike).contains(&unlike), "{unlike}");
        let own = |width: usize| found(&[(800, 0), (width, 1), (width, 2)], &families, color).0;
        assert_eq!(own(10), [0, 0, 1]);
        assert_eq!(own(20), [0, 1, 2]);
        // Many narrow ones are not rare: leaves, petals.
        let leaves = [&[(200, 0)][..], &[(10, 1); 20]].concat();
        let (own, ..) = found(&leaves, &families, |r, _| [GREEN, near][r.min(1)]);
        assert_eq!(own, [&[0][..], &[1; 20]].concat());
    }

    #[test]
    fn an_eye_is_black_whatever_is_around_it() {
        let pair = |around: Lab, shade: Lab| {
            let families = [family_of(around)];
            let color = |r: usize, i: usize| match (r, i % 10) {
                (0, 0) => shade,
                (r, _) => [around, BLACK][r],
            };
            let (own, all, _) = found(&[(80, 0), (20, 0)], &families, color);
            (own[0] == own[1], all[own[1]].neutral)
        };
        assert_eq!(pair(GINGER, GINGER), (false, true));
        // A red thing's shadow lends it no pen, a gray one's does.
        assert_eq!(pair(RED, Lab::new(15.0, 18.0, 12.0)), (false, true));
        assert_eq!(pair(GRAY, Lab::new(15.0, 0.0, 1.0)), (true, true));
        // Nothing but black is a family, too.
        let families = [family_of(GRAY)];
        assert_eq!(found(&[(80, 0)], &families, |_, _| BLACK).0, [0]);
    }

    #[test]
    fn a_rainbow_has_no_more_families_than_a_hand_keeps_apart() {
        let color = |r: usize, _| {
            let turn = r as f32 / 40.0 * std::f32::consts::TAU;
            Lab::new(60.0, 45.0 * turn.cos(), 45.0 * turn.sin())
        };
        let families = [family_of(GREEN)];
        let (own, all, _) = found(&[(20, 0); 40], &families, color);
        assert_eq!(all.len(), MOST_KINDS);
        // Neighbors on the circle hang together.
        let changes = own.windows(2).filter(|pair| pair[0] != pair[1]).count();
        assert!((MOST_KINDS - 1..=MOST_KINDS).contains(&changes), "{own:?}");
    }

    /// CIE 116:1995, worked by hand: 30 and 13.3 of chroma, whose mean is 20, over 1 + 0.045 * 20, a quarter turn at chroma 20 over
    /// 1 + 0.015 * 20, and chroma 80, which is compressed to 40, beside 20.
    #[test]
    fn unlikeness_is_that_of_cie94() {
        let is = |p, q, d: f32| assert!((unlikeness(p, q) - d).abs() < 1e-3, "{p:?} {q:?}");
        is([30.0, 0.0], [40.0 / 3.0, 0.0], (30.0 - 40.0 / 3.0) / 1.9);
        is([20.0, 0.0], [0.0, 20.0], 800f32.sqrt() / 1.3);
        is([40.0, 0.0], [20.0, 0.0], 60.0 / 2.8);
    }
}
