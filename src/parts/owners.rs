//! Which cell belongs to which part: decided for all cells together, with tolerance for a photo that fits only roughly.

use imageproc::region_labelling::Connectivity;
use rayon::prelude::*;

use crate::color::{Lab, Mean, difference};
use crate::grid::{Blur, Grid, bounds_of, squared_distance, squared_distance_to_rim};
use crate::reference::{EVIDENT, LEAST_SEEN};

use super::families::family_like;
use super::pieces::Pieces;
use super::vivid::{ACCENT_NIBS, vivid_things};
use super::{ACCENT_DIFFERENCE, Family, Fit, PartRules, Region, View};

/// How far photo and drawing may miss each other, in millimeters: what lies nearer to a drawn line speaks less for its
/// cell. From memory.
const MISFIT_MM: f64 = 3.0;
/// Least share of all pixels a family counts with, so that a rare one does not win by a handful; from memory.
const LEAST_TOTAL: f64 = 0.02;
/// A family with a smaller share of what lies around the cells is not the background's; from memory.
const COMMON_AROUND: f64 = 0.2;
/// A second family stays in a cell if a piece of it holds this share of the cell, ...
const LARGE_SHARE: f64 = 0.15;
/// ... what is most often gloss this one, ...
const LARGE_GLOSS: f64 = 0.3;
/// ... and is as wide as so many nibs and so large a part of the cell's own width; from memory.
const COMPACT_NIBS: f64 = 2.5;
const COMPACT_SHARE: f64 = 0.4;
/// A large piece is clearly bounded by this share of what makes an accent, looked at so many nibs from its outline on
/// both sides; from memory.
const LARGE_STEP: f32 = 0.5;
const BESIDE_NIBS: [f64; 2] = [1.0 / 3.0, 2.0];
/// Its outline is a step of color by this much at least, in CIEDE2000 at one lightness; from memory.
const COLOR_STEP: f32 = 10.0;
/// A piece that goes on beyond the drawn line, along this share of its touch with it, is a misfit; from memory.
const GOES_ON: f64 = 0.4;
/// What lies so near beyond the line, as a part of the piece, or less: then it hardly touches the line, and is inside.
/// From memory.
const TOUCHES: f64 = 0.1;
/// Scale at which the outline of a second family turns, in millimeters, and the rounds it takes; from memory.
const OUTLINE_MM: f64 = 0.8;
const OUTLINE_ROUNDS: usize = 6;
/// Light neutral pieces with more than this share of their outline on the part's own rim are what lies behind it, not
/// its gloss; from memory.
const BEHIND: f64 = 0.4;

/// Cells with their parts.
pub struct Owned {
    /// Index of the region plus 1; 0 where nothing is colored.
    pub map: Grid<u16>,
    pub regions: Vec<Region>,
    /// Cells without evidence.
    pub bare: Vec<u16>,
    /// How the photo fits the closed cells that it shows anything of.
    pub fits: Vec<Fit>,
}

/// What one cell shows.
struct Shown {
    /// Weighted count of the pixels of every family, too dark ones left out.
    shown: Vec<f64>,
    /// The same, less where the background is likelier.
    likely: Vec<f64>,
    /// Weighted count of all pixels, and of those that show the subject.
    all: f64,
    seen: f64,
    /// Largest squared distance to the rim, in pixels.
    depth: f64,
    pixels: usize,
}

/// Gives every cell its part: the family that is frequent in it and rarer elsewhere, and a second one where it is
/// large, compact and clearly bounded inside the cell, or an accent.
pub fn own_cells(
    view: &View,
    around: &Grid<bool>,
    cells: &Grid<u16>,
    families: &[Family],
    open: &impl Fn(u16) -> bool,
    rules: PartRules,
) -> Owned {
    let count = usize::from(cells.data.iter().copied().max().unwrap_or(0));
    let depth = squared_distance_to_rim(cells);
    let told = tell(view, cells, &depth, count, families, rules);
    let common = how_common(&told, view, around, families);
    let mut owned = Owned {
        map: Grid::filled(cells.width, cells.height, 0),
        regions: Vec::new(),
        bare: Vec::new(),
        fits: Vec::new(),
    };
    let mut region_of = vec![0u16; count + 1];
    let mut second = Vec::new();
    for cell in 1..=count {
        let t = &told[cell];
        if t.pixels == 0 {
            continue;
        }
        if !open(cell as u16) && t.seen < LEAST_SEEN * t.all {
            owned.bare.push(cell as u16);
            continue;
        }
        let kept = if open(cell as u16) {
            (0..families.len()).collect()
        } else {
            let main = main_family(t, &common);
            // Gloss and what is too dark to tell speak for no other part.
            let other = (0..families.len()).filter(|&f| f != main && !families[f].neutral);
            owned.fits.push(Fit {
                cell: cell as u16,
                own: t.seen - other.map(|f| t.shown[f]).sum::<f64>(),
                all: t.all,
            });
            second.extend(
                (0..families.len())
                    .filter(|&f| f != main && t.shown[f] > 0.0)
                    .map(|family| Guest {
                        cell: cell as u16,
                        main,
                        family,
                        is_around: common[family].is_around,
                    }),
            );
            vec![main]
        };
        owned.regions.push(Region::of(cell as u16, kept));
        region_of[cell] = owned.regions.len() as u16;
    }
    for (region, &cell) in owned.map.data.iter_mut().zip(&cells.data) {
        *region = region_of[usize::from(cell)];
    }
    add_second_pieces(&mut owned, &second, &told, view, cells, families, rules);
    add_accents(&mut owned, view, cells, families, open, rules);
    owned
}

/// A second family that a cell may have beside its main one.
#[derive(Clone, Copy)]
struct Guest {
    cell: u16,
    main: usize,
    family: usize,
    /// The family is more common around the cells than in them.
    is_around: bool,
}

/// Adds the regions of second families where they stay.
fn add_second_pieces(
    owned: &mut Owned,
    second: &[Guest],
    told: &[Shown],
    view: &View,
    cells: &Grid<u16>,
    families: &[Family],
    rules: PartRules,
) {
    // What a second piece is judged by lies in its cell, or near it.
    let reach = (MISFIT_MM.max(2.0 * rules.nib_mm) / rules.mm_per_px).ceil() as usize + 1;
    let windows = bounds_of(cells, told.len() - 1);
    let found: Vec<Option<Vec<usize>>> = second
        .par_iter()
        .map(|&guest| {
            let window = windows[usize::from(guest.cell) - 1].widened(reach, cells);
            let piece = Second {
                cells: cells.cut_out(window),
                view: view.cut_out(window),
                families,
                guest,
                rules,
            };
            let inside = piece.pixels(&told[usize::from(guest.cell)])?;
            let in_frame = |i| window.index_in(cells, i);
            Some(inside.into_iter().map(in_frame).collect())
        })
        .collect();
    for (guest, pixels) in second.iter().zip(found) {
        let Some(pixels) = pixels else { continue };
        owned
            .regions
            .push(Region::of(guest.cell, vec![guest.family]));
        let number = owned.regions.len() as u16;
        for i in pixels {
            owned.map.data[i] = number;
        }
    }
}

/// Adds the regions of accents in open cells.
fn add_accents(
    owned: &mut Owned,
    view: &View,
    cells: &Grid<u16>,
    families: &[Family],
    open: &impl Fn(u16) -> bool,
    rules: PartRules,
) {
    for family in (0..families.len()).filter(|&f| families[f].accent) {
        let shown = cells.data.iter().zip(&view.shown.data);
        let mine = Grid {
            width: cells.width,
            height: cells.height,
            data: shown
                .map(|(&cell, &shown)| cell > 0 && usize::from(shown) == family + 1 && open(cell))
                .collect(),
        };
        let nib_px = rules.nib_mm / rules.mm_per_px;
        for thing in vivid_things(&mine, cells, &view.calm, nib_px) {
            let cell = cells.data[thing[0]];
            owned.regions.push(Region::of(cell, vec![family]));
            for i in thing {
                owned.map.data[i] = owned.regions.len() as u16;
            }
        }
    }
}

fn tell(
    view: &View,
    cells: &Grid<u16>,
    depth: &[f64],
    count: usize,
    families: &[Family],
    rules: PartRules,
) -> Vec<Shown> {
    let mut told: Vec<Shown> = (0..=count)
        .map(|_| Shown {
            shown: vec![0.0; families.len()],
            likely: vec![0.0; families.len()],
            all: 0.0,
            seen: 0.0,
            depth: 0.0,
            pixels: 0,
        })
        .collect();
    for (&cell, &d) in cells.data.iter().zip(depth) {
        let t = &mut told[usize::from(cell)];
        t.depth = t.depth.max(d);
        t.pixels += 1;
    }
    let misfit_px = MISFIT_MM / rules.mm_per_px;
    for (i, &cell) in cells.data.iter().enumerate() {
        if cell == 0 {
            continue;
        }
        let t = &mut told[usize::from(cell)];
        // A narrow cell is judged by its middle, too.
        let sure = misfit_px.min(t.depth.sqrt() / 2.0).max(1.0);
        let weight = ((depth[i].sqrt() + 0.5) / sure).min(1.0);
        t.all += weight;
        let chance = view.evidence.data[i];
        if chance >= EVIDENT {
            t.seen += weight;
            if let Some(family) = usize::from(view.shown.data[i]).checked_sub(1) {
                // Grays are common to all things: that they are behind them, too, tells little.
                let counts = match families[family].neutral {
                    true => 1.0,
                    false => f64::from(chance) / 255.0,
                };
                t.shown[family] += weight;
                t.likely[family] += weight * counts;
            }
        }
    }
    told
}

/// How common a family is.
struct Common {
    /// Its share of what the cells show, or of what lies around them where that is larger, 0 to 1.
    share: f64,
    /// Whether it is; grays are common to all things and tell nothing.
    is_around: bool,
}

fn how_common(
    told: &[Shown],
    view: &View,
    around: &Grid<bool>,
    families: &[Family],
) -> Vec<Common> {
    let count = |f: usize| told.iter().map(|t| t.likely[f]).sum();
    let inside: Vec<f64> = (0..families.len()).map(count).collect();
    let (mut outside, mut all) = (vec![0.0f64; families.len()], 0.0f64);
    for (&color, _) in (view.calm.data.iter().zip(&around.data)).filter(|&(_, &around)| around) {
        all += 1.0;
        if let Some(family) = family_like(families, color) {
            outside[family] += 1.0;
        }
    }
    let all_inside = inside.iter().sum::<f64>().max(1.0);
    let common = |f: usize| {
        let (inside, around) = (inside[f] / all_inside, outside[f] / all.max(1.0));
        let is_around = !families[f].neutral && around > inside.max(COMMON_AROUND);
        Common {
            share: if is_around { around } else { inside },
            is_around,
        }
    };
    (0..families.len()).map(common).collect()
}

/// The family that is frequent in a cell and rarer elsewhere.
fn main_family(told: &Shown, common: &[Common]) -> usize {
    let sum: f64 = told.likely.iter().sum::<f64>().max(1e-9);
    let score = |f: usize| {
        let share = told.likely[f] / sum;
        share * (share / common[f].share.max(LEAST_TOTAL)).sqrt()
    };
    (0..common.len())
        .max_by(|&f, &g| score(f).total_cmp(&score(g)).then(g.cmp(&f)))
        .unwrap_or(0)
}

/// A second family in a cell, in a window around it.
struct Second<'a> {
    view: View<'a>,
    cells: Grid<u16>,
    families: &'a [Family],
    guest: Guest,
    rules: PartRules,
}

impl Second<'_> {
    fn is_here(&self, i: usize) -> bool {
        self.cells.data[i] == self.guest.cell
    }

    fn is_mine(&self, i: usize) -> bool {
        let Guest { main, family, .. } = self.guest;
        usize::from(self.view.shown.data[i]) == family + 1
            && (!self.families[main].neutral
                || self.families[family].is_nearer_than_gray(self.view.calm.data[i]))
    }

    fn nib_px(&self) -> f64 {
        self.rules.nib_mm / self.rules.mm_per_px
    }

    /// The pixels of the cell that are the second family's, where it is large, compact and bounded inside the cell, or
    /// an accent. `told` is what the whole cell shows.
    fn pixels(&self, told: &Shown) -> Option<Vec<usize>> {
        let all = 0..self.cells.data.len();
        let count = all.clone().filter(|&i| self.is_here(i) && self.is_mine(i));
        if (count.count() as f64) < self.nib_px().powi(2) {
            return None;
        }
        let pieces = self.pieces();
        let kept: Vec<u32> = (1..pieces.size.len() as u32)
            .filter(|&p| self.stays(&pieces, p, told))
            .collect();
        let pixels = all.filter(|&i| kept.contains(&pieces.map.data[i]));
        (!kept.is_empty()).then(|| pixels.collect())
    }

    /// The connected pieces of the second family.
    fn pieces(&self) -> Pieces {
        let sigma_px = OUTLINE_MM / self.rules.mm_per_px;
        let (here, mine) = (|i| self.is_here(i), |i| self.is_mine(i));
        let smooth = smoothed_mask(&self.cells, here, mine, sigma_px);
        Pieces::of(&smooth)
    }

    fn stays(&self, pieces: &Pieces, piece: u32, told: &Shown) -> bool {
        let (size, width_px) = (
            pieces.size[piece as usize] as f64,
            pieces.width_px[piece as usize],
        );
        let cell_px = 2.0 * told.depth.sqrt() + 1.0;
        let compact_px = (COMPACT_NIBS * self.nib_px()).max(COMPACT_SHARE * cell_px);
        let holds = |share: f64| size >= share * told.pixels as f64 && width_px >= compact_px;
        let wide = width_px >= ACCENT_NIBS * self.nib_px();
        if !(holds(LARGE_SHARE) || wide) {
            return false;
        }
        let away = squared_distance(&pieces.map.map(|p| p == piece));
        let seen = self.inside_and_around(&away);
        let gloss = self.is_gloss(seen);
        let large = holds(if gloss { LARGE_GLOSS } else { LARGE_SHARE });
        if !large && (gloss || !wide) {
            return false;
        }
        let least = ACCENT_DIFFERENCE * if large { LARGE_STEP } else { 1.0 };
        // No misfit is that wide, but fur may be through which the background shows.
        let sure = width_px >= 2.0 * MISFIT_MM / self.rules.mm_per_px && !self.guest.is_around;
        // A step of lightness alone is one of tones.
        let clearly_bounded = |[inside, around]: [Lab; 2]| {
            let as_light = Lab::new(inside.l, around.a, around.b);
            difference(inside, around) >= least && difference(inside, as_light) >= COLOR_STEP
        };
        seen.is_none_or(clearly_bounded) && (sure || !self.goes_on(&away))
    }

    /// Whether a piece most often is the part's gloss: a neutral one, and one that is lighter than what is `seen`
    /// around it, of its hue and paler.
    fn is_gloss(&self, seen: Option<[Lab; 2]>) -> bool {
        let [own, main] = [self.guest.family, self.guest.main].map(|f| &self.families[f]);
        let lighter = || seen.is_none_or(|[inside, around]| inside.l > around.l);
        own.neutral || (!own.accent && own.may_be_gloss_of(main) && lighter())
    }

    /// The mean colors along the outline of a piece in its cell, on both sides of it; `None` where nothing
    /// lies around it. `away` are squared distances from the piece.
    fn inside_and_around(&self, away: &[f64]) -> Option<[Lab; 2]> {
        let is_around = |i: usize| away[i] > 0.0 && self.is_here(i);
        let within = squared_distance(&Grid {
            width: self.cells.width,
            height: self.cells.height,
            data: (0..away.len()).map(is_around).collect(),
        });
        let [mut inner, mut outer] = [Mean::default(); 2];
        let nib_px = self.nib_px();
        let reach = (BESIDE_NIBS[0] * nib_px).powi(2)..(BESIDE_NIBS[1] * nib_px).powi(2);
        for i in 0..away.len() {
            let color = self.view.calm.data[i];
            if away[i] == 0.0 && reach.contains(&within[i]) {
                inner.add(color);
            } else if is_around(i) && reach.contains(&away[i]) {
                outer.add(color);
            }
        }
        Some([inner.color()?, outer.color()?])
    }

    /// Whether a piece goes on beyond the drawn line: then it is another cell's part, or the background, that lies
    /// askew. `away` are squared distances from the piece.
    fn goes_on(&self, away: &[f64]) -> bool {
        let reach = (MISFIT_MM / self.rules.mm_per_px).powi(2);
        let (mut beyond, mut same, mut size) = (0usize, 0usize, 0usize);
        for (i, &away) in away.iter().enumerate() {
            size += usize::from(away == 0.0);
            if !self.is_here(i) && away <= reach {
                beyond += 1;
                same += usize::from(self.is_mine(i));
            }
        }
        beyond as f64 > TOUCHES * size as f64 && same as f64 >= GOES_ON * beyond as f64
    }
}

/// The pixels of a cell that are mostly `mine` around, with an outline that turns at the scale of `sigma_px`. The first
/// round takes specks out. An outline that is smoothed draws together, and a small disk would lose half of its area:
/// the rounds after it keep the area of what is left (threshold dynamics that preserve volume, Ruuth and Wetton 2003).
fn smoothed_mask(
    cells: &Grid<u16>,
    here: impl Fn(usize) -> bool,
    mine: impl Fn(usize) -> bool,
    sigma_px: f64,
) -> Grid<u8> {
    let blur = Blur::new(sigma_px as f32);
    let own: Vec<usize> = (0..cells.data.len()).filter(|&i| here(i)).collect();
    let blurred = |mut of: Vec<u32>| {
        blur.sum(&mut of, cells.width, cells.height);
        of
    };
    let around = blurred((0..cells.data.len()).map(|i| u32::from(here(i))).collect());
    let mut mask = cells.map(|_| 0u8);
    for &i in &own {
        mask.data[i] = u8::from(mine(i));
    }
    let (pieces, count) = mask.pieces(Connectivity::Four);
    let area_of_those_left = |mask: &Grid<u8>| {
        let mut left = vec![false; count + 1];
        for &i in own.iter().filter(|&&i| mask.data[i] > 0) {
            left[pieces.data[i] as usize] |= pieces.data[i] > 0;
        }
        let of_left = |&&i: &&usize| left[pieces.data[i] as usize];
        own.iter().filter(of_left).count()
    };
    let mut area = None;
    for _ in 0..OUTLINE_ROUNDS {
        let sum = blurred(mask.data.iter().map(|&m| u32::from(m)).collect());
        let share = |i: usize| sum[i] as f32 / around[i] as f32;
        let mut shares: Vec<f32> = own.iter().map(|&i| share(i)).collect();
        let least = match area {
            None => 0.5,
            Some(0) => break,
            Some(area) => {
                *shares
                    .select_nth_unstable_by(area - 1, |p, q| q.total_cmp(p))
                    .1
            }
        };
        for &i in &own {
            // What is far from all that is left has no share at all, and is not taken to make up the area.
            mask.data[i] = u8::from(share(i) >= least && sum[i] > 0);
        }
        area.get_or_insert_with(|| area_of_those_left(&mask));
    }
    mask
}

/// Decides for the light neutral pixels (2) of a window whether they are the part's own (1), its gloss, or something
/// else (3) that lies behind it; 0 is outside.
pub fn gloss(mut kind: Vec<u8>, width: usize, height: usize) -> Vec<u8> {
    if !kind.contains(&2) {
        return kind;
    }
    let pale = Grid {
        width,
        height,
        data: kind.iter().map(|&k| k == 2).collect(),
    };
    let (pieces, count) = pale.pieces(Connectivity::Four);
    let mut touch = vec![(0usize, 0usize); count + 1];
    for (i, &p) in pieces.data.iter().enumerate() {
        if p == 0 {
            continue;
        }
        let t = &mut touch[p as usize];
        let mut sides = 0;
        for j in pieces.neighbors(i) {
            sides += 1;
            if pieces.data[j] != p {
                t.0 += 1;
                t.1 += usize::from(kind[j] == 0);
            }
        }
        // The window's edge is the part's rim.
        t.0 += 4 - sides;
        t.1 += 4 - sides;
    }
    for (k, &p) in kind.iter_mut().zip(&pieces.data) {
        if p > 0 {
            let (all, rim) = touch[p as usize];
            *k = if rim as f64 > BEHIND * all as f64 {
                3
            } else {
                1
            };
        }
    }
    kind
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::borrow::Cow;

    const RULES: PartRules = PartRules {
        hue_gain: 1.4,
        share: 0.1,
        nib_mm: 1.5,
        step: 8.0,
        mm_per_px: 0.2,
    };

    /// What is left of a long thin piece is far smaller than it was, and has not so much around it.
    #[test]
    fn an_outline_takes_nothing_that_is_far_from_what_is_left() {
        let cells = Grid::filled(800, 60, 1u16);
        let from = |i: usize| ((i % 800) as f64 - 40.0).hypot((i / 800) as f64 - 30.0);
        let mine = |i: usize| from(i) < 6.0 || (i / 800 == 30 && (40..760).contains(&(i % 800)));
        let mask = smoothed_mask(&cells, |_| true, mine, 4.0);
        let taken: Vec<usize> = (0..mask.data.len()).filter(|&i| mask.data[i] > 0).collect();
        assert!(!taken.is_empty());
        let farthest = taken.iter().map(|&i| from(i)).fold(0.0, f64::max);
        assert!(farthest < 40.0, "{farthest}");
    }

    #[test]
    fn an_outline_keeps_the_area_of_a_small_disk_and_loses_specks() {
        let cells = Grid::filled(120, 100, 1u16);
        let from = |i: usize, x: f64, y: f64| ((i % 120) as f64 - x).hypot((i / 120) as f64 - y);
        for radius in [10.0, 15.0, 25.0] {
            let speck = |i: usize| from(i, 100.0, 10.0) < 2.0 || from(i, 12.0, 80.0) < 2.0;
            let mine = |i: usize| from(i, 60.0, 50.0) < radius || speck(i);
            let mask = smoothed_mask(&cells, |_| true, mine, 4.0);
            let (mut area, mut wrong) = (0, 0);
            for (i, &m) in mask.data.iter().enumerate() {
                area += usize::from(m);
                wrong += usize::from(m > 0 && from(i, 60.0, 50.0) > radius + 1.0);
            }
            let known = std::f64::consts::PI * radius * radius;
            assert!((area as f64 / known - 1.0).abs() < 0.05, "{radius}: {area}");
            assert_eq!(wrong, 0, "{radius}");
        }
    }

    /// Regions of a violet cell with a wide disk in it of the same hue, paler, of this lightness.
    fn regions_with_a_paler_disk(lightness: f32) -> usize {
        let cells = Grid::filled(120, 100, 1u16);
        let [strong, pale] = [Lab::new(45.0, 30.0, -24.0), Lab::new(lightness, 10.0, -8.0)];
        let from = |i: usize| ((i % 120) as f64 - 60.0).hypot((i / 120) as f64 - 50.0);
        let disk = Grid {
            width: 120,
            height: 100,
            data: (0..120 * 100).map(|i| from(i) < 25.0).collect(),
        };
        let lab = disk.map(|pale_here| if pale_here { pale } else { strong });
        let view = View {
            lab: Cow::Borrowed(&lab),
            calm: Cow::Borrowed(&lab),
            shown: disk.map(|pale_here| if pale_here { 2 } else { 1 }),
            evidence: Cow::Owned(disk.map(|_| u8::MAX)),
        };
        let families = [strong, pale].map(Family::of);
        assert!(!families[1].neutral);
        regions_of(&view, &cells, &families)
    }

    /// How many regions closed cells have, around which nothing is known to lie.
    fn regions_of(view: &View, cells: &Grid<u16>, families: &[Family]) -> usize {
        let around = cells.map(|_| false);
        let owned = own_cells(view, &around, cells, families, &|_| false, RULES);
        owned.regions.len()
    }

    const BROWN: Lab = color(42.0, 14.0, 20.0);
    const YELLOW: Lab = color(80.0, 4.0, 75.0);
    const BLUISH: Lab = color(45.0, -0.5, -12.0);
    const LIGHT_GRAY: Lab = color(75.0, 0.0, -3.0);

    const fn color(l: f32, a: f32, b: f32) -> Lab {
        let white_point = std::marker::PhantomData;
        Lab {
            l,
            a,
            b,
            white_point,
        }
    }

    /// Regions of a cell with these colors left and right, and so many pixels from one to the other.
    fn regions_of_halves([left, right]: [Lab; 2], apart: f32) -> usize {
        let cells = Grid::filled(160, 100, 1u16);
        let share = |i: usize| (((i % 160) as f32 - 79.5) / apart + 0.5).clamp(0.0, 1.0);
        let lab = Grid {
            width: 160,
            height: 100,
            data: (0..160 * 100)
                .map(|i| left + (right - left) * share(i))
                .collect(),
        };
        let families = [left, right].map(Family::of);
        let view = View {
            lab: Cow::Borrowed(&lab),
            calm: Cow::Borrowed(&lab),
            shown: Grid {
                width: 160,
                height: 100,
                data: (0..160 * 100)
                    .map(|i| if share(i) < 0.5 { 1 } else { 2 })
                    .collect(),
            },
            evidence: Cow::Owned(cells.map(|_| u8::MAX)),
        };
        regions_of(&view, &cells, &families)
    }

    /// As on a fruit in strong light: where one color goes over into the other no line is to be traced.
    #[test]
    fn a_second_family_is_clearly_bounded_or_none() {
        assert_eq!(regions_of_halves([BROWN, YELLOW], 4.0), 2);
        assert_eq!(regions_of_halves([BROWN, YELLOW], 150.0), 1);
    }

    /// As in the fur of a gray animal's face: the shaded side has a tinge, and is no part of its own.
    #[test]
    fn a_step_of_lightness_alone_parts_no_families() {
        assert!(difference(BLUISH, LIGHT_GRAY) > ACCENT_DIFFERENCE);
        assert_eq!(regions_of_halves([BLUISH, LIGHT_GRAY], 4.0), 1);
    }

    #[test]
    fn what_is_paler_and_lighter_is_gloss_and_what_is_paler_and_darker_is_not() {
        assert_eq!(regions_with_a_paler_disk(80.0), 1);
        assert_eq!(regions_with_a_paler_disk(20.0), 2);
    }
}
