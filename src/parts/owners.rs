//! Which cell belongs to which part: decided for all cells together, with tolerance for a photo that fits only roughly.

use image::Luma;
use imageproc::distance_transform::euclidean_squared_distance_transform;
use imageproc::region_labelling::{Connectivity, connected_components};
use rayon::prelude::*;

use crate::color::{Lab, difference};
use crate::grid::{Blur, Grid, Window, squared_distance_to_rim};

use super::{ACCENT_DIFFERENCE, Family, Fit, PartRules, Region};

/// How far photo and drawing may miss each other, in millimeters: what lies nearer to a drawn line speaks less for its
/// cell. From memory.
const MISFIT_MM: f64 = 3.0;
/// A cell less than this part of which shows the subject has no evidence; from memory.
const LEAST_SEEN: f64 = 0.3;
/// Least share of all pixels a family counts with, so that a rare one does not win by a handful; from memory.
const LEAST_TOTAL: f64 = 0.02;
/// A second family stays in a cell if a piece of it holds this share of the cell, ...
const LARGE_SHARE: f64 = 0.15;
/// ... neutrals, which are most often gloss, this one, ...
const LARGE_NEUTRAL: f64 = 0.3;
/// ... and is as wide as so many nibs and so large a part of the cell's own width; from memory.
const COMPACT_NIBS: f64 = 2.5;
const COMPACT_SHARE: f64 = 0.4;
/// An accent is at least this many nibs wide.
const ACCENT_NIBS: f64 = 2.0;
/// A piece that goes on beyond the drawn line, along this share of its touch with it, is a misfit; from memory.
const GOES_ON: f64 = 0.4;
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
    families: Vec<f64>,
    /// Weighted count of all pixels, and of those that show the subject.
    all: f64,
    seen: f64,
    /// Largest squared distance to the rim, in pixels.
    depth: f64,
    pixels: usize,
}

/// Gives every cell its part: the family that is frequent in it and rarer elsewhere, and a second one where it is
/// large, compact and clearly bounded inside the cell, or an accent. `shown` holds every pixel's family plus 1, 0
/// where it is too dark to tell.
#[expect(clippy::too_many_arguments, reason = "all are pictures of one frame")]
pub fn own_cells(
    calm: &Grid<Lab>,
    cells: &Grid<u16>,
    shown: &Grid<u8>,
    evidence: &Grid<bool>,
    any_evidence: bool,
    families: &[Family],
    open: &impl Fn(u16) -> bool,
    rules: PartRules,
) -> Owned {
    let count = usize::from(cells.data.iter().copied().max().unwrap_or(0));
    let depth = squared_distance_to_rim(cells);
    let told = tell(cells, shown, evidence, &depth, count, families.len(), rules);
    let sum: f64 = told.iter().map(|t| t.families.iter().sum::<f64>()).sum();
    let total: Vec<f64> = (0..families.len())
        .map(|f| told.iter().map(|t| t.families[f]).sum::<f64>() / sum.max(1.0))
        .collect();
    let mut owned = Owned {
        map: Grid::filled(cells.width, cells.height, 0),
        regions: Vec::new(),
        bare: Vec::new(),
        fits: Vec::new(),
    };
    let mut region_of = vec![0u16; count + 1];
    let mut closed: Vec<(u16, usize)> = Vec::new();
    for cell in 1..=count {
        let t = &told[cell];
        if t.pixels == 0 {
            continue;
        }
        if any_evidence && !open(cell as u16) && t.seen < LEAST_SEEN * t.all {
            owned.bare.push(cell as u16);
            continue;
        }
        let kept = if open(cell as u16) {
            (0..families.len()).collect()
        } else {
            let main = main_family(t, &total);
            // Gloss and what is too dark to tell speak for no other part.
            let other = (0..families.len()).filter(|&f| f != main && !families[f].neutral);
            owned.fits.push(Fit {
                cell: cell as u16,
                own: t.seen - other.map(|f| t.families[f]).sum::<f64>(),
                all: t.all,
            });
            closed.push((cell as u16, main));
            vec![main]
        };
        owned.regions.push(Region {
            cell: cell as u16,
            families: kept,
            scale_mm: None,
            width_mm: 0.0,
            scatter: 0.0,
            lit: false,
        });
        region_of[cell] = owned.regions.len() as u16;
    }
    for (region, &cell) in owned.map.data.iter_mut().zip(&cells.data) {
        *region = region_of[usize::from(cell)];
    }
    let second: Vec<Vec<(usize, Vec<usize>)>> = closed
        .par_iter()
        .map(|&(cell, main)| {
            let told = &told[usize::from(cell)];
            second_pieces(calm, cells, shown, families, (cell, main), told, rules)
        })
        .collect();
    for (&(cell, _), pieces) in closed.iter().zip(second) {
        for (family, pixels) in pieces {
            owned.regions.push(Region {
                cell,
                families: vec![family],
                scale_mm: None,
                width_mm: 0.0,
                scatter: 0.0,
                lit: false,
            });
            let number = owned.regions.len() as u16;
            for i in pixels {
                owned.map.data[i] = number;
            }
        }
    }
    owned
}

/// The families besides its `main` one that a cell shows pieces of, with their pixels in the frame.
fn second_pieces(
    calm: &Grid<Lab>,
    cells: &Grid<u16>,
    shown: &Grid<u8>,
    families: &[Family],
    (cell, main): (u16, usize),
    told: &Shown,
    rules: PartRules,
) -> Vec<(usize, Vec<usize>)> {
    // Beyond a misfit nothing speaks for what goes on over the drawn line.
    let margin = (MISFIT_MM / rules.mm_per_px).ceil() as usize + 1;
    let others: Vec<usize> = (0..families.len())
        .filter(|&f| f != main && told.families[f] > 0.0)
        .collect();
    let Some(window) = Window::around(cells, cell, margin).filter(|_| !others.is_empty()) else {
        return Vec::new();
    };
    let (calm, cells, shown) = (window.cut(calm), window.cut(cells), window.cut(shown));
    let piece = |f: usize| {
        let pixels = second_piece(&calm, &cells, &shown, families, cell, f, told, rules)?;
        Some((f, pixels.into_iter().map(|i| window.index(i)).collect()))
    };
    others.into_iter().filter_map(piece).collect()
}

fn tell(
    cells: &Grid<u16>,
    shown: &Grid<u8>,
    evidence: &Grid<bool>,
    depth: &[f64],
    count: usize,
    families: usize,
    rules: PartRules,
) -> Vec<Shown> {
    let mut told: Vec<Shown> = (0..=count)
        .map(|_| Shown {
            families: vec![0.0; families],
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
        if evidence.data[i] {
            t.seen += weight;
            if shown.data[i] > 0 {
                t.families[usize::from(shown.data[i]) - 1] += weight;
            }
        }
    }
    told
}

/// The family that is frequent in a cell and rarer elsewhere.
fn main_family(told: &Shown, total: &[f64]) -> usize {
    let sum: f64 = told.families.iter().sum::<f64>().max(1e-9);
    let score = |f: usize| {
        let share = told.families[f] / sum;
        share * (share / total[f].max(LEAST_TOTAL)).sqrt()
    };
    (0..total.len())
        .max_by(|&f, &g| score(f).total_cmp(&score(g)).then(g.cmp(&f)))
        .unwrap_or(0)
}

/// The pixels of a cell that are a second family's, where it is large, compact and bounded inside the cell, or an
/// accent.
#[expect(clippy::too_many_arguments, reason = "all are pictures of one frame")]
fn second_piece(
    calm: &Grid<Lab>,
    cells: &Grid<u16>,
    shown: &Grid<u8>,
    families: &[Family],
    cell: u16,
    family: usize,
    told: &Shown,
    rules: PartRules,
) -> Option<Vec<usize>> {
    let here = |i: usize| cells.data[i] == cell;
    let mine = |i: usize| usize::from(shown.data[i]) == family + 1;
    let least_px = (rules.nib_mm / rules.mm_per_px).powi(2);
    let count = (0..cells.data.len())
        .filter(|&i| here(i) && mine(i))
        .count();
    if (count as f64) < least_px {
        return None;
    }
    let smooth = smoothed_mask(cells, here, mine, OUTLINE_MM / rules.mm_per_px);
    let pieces: Grid<u32> =
        connected_components(&smooth.into_image(), Connectivity::Four, Luma([0])).into();
    let pieces_count = pieces.data.iter().copied().max().unwrap_or(0) as usize;
    let depth = squared_distance_to_rim(&pieces);
    let mut size = vec![0usize; pieces_count + 1];
    let mut deepest = vec![0.0f64; pieces_count + 1];
    for (i, &p) in pieces.data.iter().enumerate() {
        size[p as usize] += 1;
        deepest[p as usize] = deepest[p as usize].max(depth[i]);
    }
    let width_px = |p: usize| 2.0 * deepest[p].sqrt() + 1.0;
    let cell_px = 2.0 * told.depth.sqrt() + 1.0;
    let nib_px = rules.nib_mm / rules.mm_per_px;
    let least_share = if families[family].neutral {
        LARGE_NEUTRAL
    } else {
        LARGE_SHARE
    };
    let kept: Vec<u32> = (1..=pieces_count)
        .filter(|&p| {
            let large = size[p] as f64 >= least_share * told.pixels as f64
                && width_px(p) >= (COMPACT_NIBS * nib_px).max(COMPACT_SHARE * cell_px);
            let accent = !families[family].neutral && width_px(p) >= ACCENT_NIBS * nib_px;
            if !(large || accent) {
                return false;
            }
            // A large piece is clearly bounded by half of what makes an accent.
            let least = ACCENT_DIFFERENCE * if large { 0.5 } else { 1.0 };
            let difference = around(calm, &pieces, p as u32, &here, nib_px);
            difference.is_none_or(|d| d >= least)
                && (width_px(p) >= 2.0 * MISFIT_MM / rules.mm_per_px
                    || !goes_on(cells, shown, &pieces, p as u32, cell, family, rules))
        })
        .map(|p| p as u32)
        .collect();
    if kept.is_empty() {
        return None;
    }
    Some(
        (0..pieces.data.len())
            .filter(|&i| kept.contains(&pieces.data[i]))
            .collect(),
    )
}

/// The difference, in CIEDE2000, between the rim of a piece and what lies around it in its cell, within two nibs;
/// `None` where nothing does.
fn around(
    calm: &Grid<Lab>,
    pieces: &Grid<u32>,
    piece: u32,
    here: &impl Fn(usize) -> bool,
    nib_px: f64,
) -> Option<f32> {
    let mask = pieces.map(|p| u8::from(p == piece)).into_image();
    let away = euclidean_squared_distance_transform(&mask).into_raw();
    let zero = Lab::new(0.0, 0.0, 0.0);
    let (mut inner, mut outer) = ((zero, 0usize), (zero, 0usize));
    let (from, to) = ((nib_px / 3.0).powi(2), (2.0 * nib_px).powi(2));
    for i in 0..away.len() {
        if pieces.data[i] == piece {
            inner = (inner.0 + calm.data[i], inner.1 + 1);
        } else if here(i) && away[i] > from && away[i] <= to {
            outer = (outer.0 + calm.data[i], outer.1 + 1);
        }
    }
    (inner.1 > 0 && outer.1 > 0)
        .then(|| difference(inner.0 / inner.1 as f32, outer.0 / outer.1 as f32))
}

/// Whether a piece goes on beyond the drawn line: then it is another cell's part, or the background, that lies askew.
fn goes_on(
    cells: &Grid<u16>,
    shown: &Grid<u8>,
    pieces: &Grid<u32>,
    piece: u32,
    cell: u16,
    family: usize,
    rules: PartRules,
) -> bool {
    let mask = pieces.map(|p| u8::from(p == piece)).into_image();
    let away = euclidean_squared_distance_transform(&mask).into_raw();
    let reach = (MISFIT_MM / rules.mm_per_px).powi(2);
    let (mut beyond, mut same, mut size) = (0usize, 0usize, 0usize);
    for i in 0..away.len() {
        size += usize::from(pieces.data[i] == piece);
        if cells.data[i] != cell && away[i] <= reach {
            beyond += 1;
            same += usize::from(usize::from(shown.data[i]) == family + 1);
        }
    }
    // What hardly touches the line is inside.
    beyond as f64 > 0.1 * size as f64 && same as f64 >= GOES_ON * beyond as f64
}

/// The pixels of a cell that are mostly `mine` around, with an outline that turns at the scale of `sigma_px`.
fn smoothed_mask(
    cells: &Grid<u16>,
    here: impl Fn(usize) -> bool,
    mine: impl Fn(usize) -> bool,
    sigma_px: f64,
) -> Grid<u8> {
    let n = cells.data.len();
    let blur = Blur::new(sigma_px as f32);
    let mut around: Vec<u32> = (0..n).map(|i| u32::from(here(i))).collect();
    blur.sum(&mut around, cells.width, cells.height);
    let mut mask: Vec<u8> = (0..n).map(|i| u8::from(here(i) && mine(i))).collect();
    for _ in 0..OUTLINE_ROUNDS {
        let mut sum: Vec<u32> = mask.iter().map(|&m| u32::from(m)).collect();
        blur.sum(&mut sum, cells.width, cells.height);
        for i in 0..n {
            mask[i] = u8::from(here(i) && 2 * sum[i] > around[i]);
        }
    }
    Grid {
        width: cells.width,
        height: cells.height,
        data: mask,
    }
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
        data: kind.iter().map(|&k| u8::from(k == 2)).collect::<Vec<u8>>(),
    };
    let pieces: Grid<u32> =
        connected_components(&pale.into_image(), Connectivity::Four, Luma([0])).into();
    let count = pieces.data.iter().copied().max().unwrap_or(0) as usize;
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
