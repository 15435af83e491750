//! Sections: what a person colors without lifting the thought. From colors to a regular label field.
//!
//! Everything here works at half the working frame's resolution: five pixels per millimeter still show a nib of
//! 1.5 mm as seven pixels, and cost a quarter. The borders are brought to the full frame at the end.

mod bands;
mod beyond;
mod counted;
mod cut;
mod field;
mod highlights;
mod merge;
mod metric;
mod number;
mod regionwise;
mod regular;
mod tones;
mod touching;
mod worth;

pub use counted::{Counted, count_colors};
pub use cut::cut;
pub use merge::merge;
pub use number::{Cuts, Section, Sections, number_sections};
pub use tones::{Band, LEAST_STEP, Ladder, ladders};
pub use touching::{Touching, touching};

use rayon::prelude::*;

use crate::color::{Lab, Mean};
use crate::grid::Grid;
use crate::parts::{Parts, Region};
use field::{Cell, Place, Turn};
use highlights::round_highlights;
use metric::Metric;
use regular::{Disk, fill_from_neighbors, open_by_disk};
use worth::{Judged, Worth, doubt, keep_what_earns_its_place};

/// Weight of a border in an open cell: worth moving for a pixel that is 20 units of L*a*b* closer to one band than to
/// the other; from memory.
const BORDER_WEIGHT: f32 = 400.0;
/// Smoothing of the photo in an open cell before the first labels, as a part of the field's blur.
const PRESMOOTH: f32 = 0.4;
/// The field's blur in a part, as a share of its form's scale, and its least value in millimeters; from memory.
const FIELD_SHARE: f64 = 0.5;
const LEAST_BLUR_MM: f64 = 0.4;
/// The same as a share of the part's width, up to a bound in millimeters: a hand draws large things with long lines.
/// It is drawn once more with that in the end. Chosen by looking at plans of textured and of clean things, at 0, 0.03,
/// 0.04 and 0.05.
const HAND_SHARE: f64 = 0.05;
const MOST_HAND_MM: f64 = 2.0;
/// The same for a lit part, whose form has no texture: less would do, and more moves borders off the form's. Chosen by
/// looking at the drawings of the tests, at 0.05, 0.07 and 0.1.
const LIT_HAND_SHARE: f64 = 0.1;
const MOST_LIT_HAND_MM: f64 = 1.0;
/// Weight of a border in a part per squared unit of scatter (L*): as in any Markov random field, smoothing is worth
/// what the noise is; from memory. And its least value.
const SCATTER_WEIGHT: f32 = 250.0;
const LEAST_WEIGHT: f32 = 40.0;
/// What is narrower than this many nibs shares the tone of its kind; from memory. A lit part's light and dark side are
/// each a stroke of the nib and a border that wanders: a stem is one tone or two clear ones.
const NARROW_NIBS: f64 = 2.0;
const NARROW_LIT_NIBS: f64 = 3.0;
/// Rounds of threshold dynamics before each settling of the bands' colors, and for the final labels (the prototype
/// of the method settled in 12).
const ROUNDS: [usize; 3] = [3, 3, 12];
/// The same at full resolution, from where the field came to rest at half of it.
const FINE_ROUNDS: usize = 4;
/// How far beyond the nib the opening goes, in millimeters, so that bringing the borders to the full frame cannot
/// make a section narrower than the nib.
const OPENING_MARGIN_MM: f64 = 0.15;
/// How far a pen may lie over a drawn line that it colors up to, in millimeters: less than half of a stamped line. From
/// memory.
const OVER_LINE_MM: f64 = 0.3;

/// What the detail setting (1 to 5) stands for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Detail {
    /// Standard deviation of the field's blur, in millimeters.
    pub blur_mm: f64,
    /// Smallest section, in square millimeters.
    pub least_mm2: f64,
    /// What one more band must gain, in L* (root mean square).
    pub band_gain: f32,
    /// The same where the drawing closes its cells, and lightness is form without texture: for the second, the third and the
    /// fourth band, as a share of how far the group's lightness spreads. Texture, light and camera make a form's tones lie
    /// farther apart or nearer, but leave their order; evenly spread ones gain 1/2, 1/6 and 1/12.
    pub form_gain: [f32; 3],
    /// What one more family must gain, in units of compressed a*b* (mean).
    pub hue_gain: f32,
    /// Scale of a form, as a share of the part's inscribed width.
    pub form_share: f64,
}

impl Detail {
    /// All from memory; chosen by looking at plans of photos of food, plants and buildings.
    pub fn of(level: u8) -> Self {
        let pick = |values: [f64; 5]| values[usize::from(level.clamp(1, 5)) - 1];
        Self {
            blur_mm: pick([1.6, 1.2, 0.85, 0.75, 0.65]),
            least_mm2: pick([60.0, 25.0, 12.0, 8.0, 5.0]),
            band_gain: pick([3.2, 2.5, 1.8, 1.2, 0.8]) as f32,
            form_gain: [
                pick([0.17, 0.12, 0.1, 0.08, 0.05]) as f32,
                pick([0.17, 0.12, 0.1, 0.08, 0.05]) as f32,
                pick([0.17, 0.12, 0.06, 0.055, 0.05]) as f32,
            ],
            hue_gain: pick([3.0, 2.3, 1.8, 1.3, 0.9]) as f32,
            form_share: pick([0.16, 0.13, 0.10, 0.075, 0.055]),
        }
    }
}

/// The cells at half resolution: the first cell found in every block of 2 x 2.
pub fn halved_cells(cells: &Grid<u16>) -> Grid<u16> {
    cells.halved(|block| block.into_iter().find(|&c| c > 0).unwrap_or(0))
}

/// What a label field must keep to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rules {
    pub detail: Detail,
    pub nib_mm: f64,
    pub mm_per_px: f64,
}

/// The regular label field: index of the band plus 1 for every pixel of the parts' regions (half resolution), 0
/// elsewhere. The field comes to rest at half that resolution first, where it costs a quarter, and then only settles.
pub fn label_field(parts: &Parts, bands: &[Band], rules: Rules) -> Grid<u8> {
    let (colors, start) = come_to_rest(parts, bands, rules);
    let work = prepared(&parts.form, &parts.map, &parts.regions, bands, rules);
    let mut label = refined(&start, &work, &parts.map, &colors);
    let disk = Disk {
        radius: (rules.nib_mm / 2.0 + OPENING_MARGIN_MM) / rules.mm_per_px,
        over_rim: (OVER_LINE_MM + OPENING_MARGIN_MM) / rules.mm_per_px,
    };
    open_by_disk(&mut label, &parts.map, disk);
    let worth = Worth {
        least_mm2: rules.detail.least_mm2,
        mm_per_px: rules.mm_per_px,
    };
    let of_region = |(region, cell): (&Region, &Cell)| Judged {
        doubt: doubt(region.scatter, region.scale_mm.unwrap_or(0.0)),
        metric: cell.metric(&colors),
    };
    let nowhere = Judged {
        doubt: 0.0,
        metric: Metric::WHOLE,
    };
    let judged: Vec<Judged> = std::iter::once(nowhere)
        .chain(parts.regions.iter().zip(&work).map(of_region))
        .collect();
    keep_what_earns_its_place(
        &mut label,
        &parts.map,
        &parts.form,
        &colors,
        &judged,
        &parts.vague,
        worth,
    );
    one_tone_for_small_ones(&mut label, parts, bands, rules.nib_mm);
    let lightness: Vec<f32> = colors.iter().map(|color| color.l).collect();
    let has_form = |region: usize| parts.regions[region - 1].scale_mm.is_some();
    let clear_px = rules.nib_mm / rules.mm_per_px;
    round_highlights(&mut label, &parts.map, &lightness, has_form, clear_px);
    label
}

/// Gives everything narrow of one family (seeds, petals' eyes, toes, stems) the tone that most of it has.
fn one_tone_for_small_ones(label: &mut Grid<u8>, parts: &Parts, bands: &[Band], nib_mm: f64) {
    let is_small = |region: &Region| match (region.lit, region.scale_mm) {
        (true, _) => region.width_mm < NARROW_LIT_NIBS * nib_mm,
        (false, Some(_)) => region.width_mm < NARROW_NIBS * nib_mm,
        (false, None) => false,
    };
    let small: Vec<bool> = std::iter::once(false)
        .chain(parts.regions.iter().map(is_small))
        .collect();
    let pixels: Vec<usize> = (0..label.data.len())
        .filter(|&i| small[usize::from(parts.map.data[i])] && label.data[i] > 0)
        .collect();
    let mut area = vec![0usize; bands.len()];
    for &i in &pixels {
        area[usize::from(label.data[i]) - 1] += 1;
    }
    // By the band: that of its group with the largest area.
    let commonest = |band: &Band| {
        let of_group = (0..bands.len()).filter(|&b| bands[b].group == band.group);
        let most = of_group.max_by_key(|&b| (area[b], bands.len() - b));
        most.map_or(0, |b| b as u8 + 1)
    };
    let commonest: Vec<u8> = bands.iter().map(commonest).collect();
    for i in pixels {
        label.data[i] = commonest[usize::from(label.data[i]) - 1];
    }
}

/// Every region made ready for labeling with the bands of its families.
fn prepared(
    form: &Grid<Lab>,
    map: &Grid<u16>,
    regions: &[Region],
    bands: &[Band],
    rules: Rules,
) -> Vec<Cell> {
    let turns: Vec<Turn> = regions.iter().map(|r| turn(r, bands, rules)).collect();
    let around: Vec<usize> = turns.iter().map(Turn::reach).collect();
    let places = Place::of_regions(map, &around);
    let work: Vec<(Place, Turn)> = places.into_iter().zip(turns).collect();
    work.into_par_iter()
        .map(|(place, turn)| Cell::new(place, form, turn))
        .collect()
}

/// How a region's borders turn: at its form's scale, and the more the texture scatters the calmer; in a lit part and an
/// open cell as the detail says. A lit part's form knows nothing of the lines drawn in it: they part its tones.
fn turn(region: &Region, bands: &[Band], rules: Rules) -> Turn {
    let of_families = |b: &usize| region.families.contains(&bands[*b].group);
    let mut own: Vec<u8> = (0..bands.len())
        .filter(of_families)
        .map(|b| b as u8)
        .collect();
    // What else changes in a fitted form is gloss and the photo's light; a lit part is of one color, an open cell as it is.
    let tones = (region.lit || region.scale_mm.is_some()) && !own.is_empty();
    if own.is_empty() {
        // All bands of its family went for want of pens.
        own = (0..bands.len() as u8).collect();
    }
    let (blur_mm, weight, presmooth, hand_mm) = match region.scale_mm {
        Some(scale_mm) => {
            let scatter = SCATTER_WEIGHT * region.scatter * region.scatter;
            let weight = scatter.clamp(LEAST_WEIGHT, BORDER_WEIGHT);
            let hand = (HAND_SHARE * region.width_mm).min(MOST_HAND_MM);
            (
                (FIELD_SHARE * scale_mm).max(hand).max(LEAST_BLUR_MM),
                weight,
                0.0,
                hand,
            )
        }
        None if region.lit => {
            let hand = (LIT_HAND_SHARE * region.width_mm).min(MOST_LIT_HAND_MM);
            (
                rules.detail.blur_mm.max(hand),
                BORDER_WEIGHT,
                PRESMOOTH,
                hand,
            )
        }
        None => (rules.detail.blur_mm, BORDER_WEIGHT, PRESMOOTH, 0.0),
    };
    Turn {
        blur_px: (blur_mm / rules.mm_per_px) as f32,
        weight,
        presmooth,
        hand_px: (hand_mm / rules.mm_per_px) as f32,
        tones,
        lines_part: region.lit,
        bands: own,
    }
}

/// Runs the field at half the resolution until it rests, from the bands' colors and again from those they settle on.
/// Returns these colors and the labels, from 1; 0 in regions too narrow for the coarse field.
fn come_to_rest(parts: &Parts, bands: &[Band], rules: Rules) -> (Vec<Lab>, Grid<u8>) {
    let map = &parts.map;
    let coarse_map = halved_cells(map);
    let coarse_rules = Rules {
        mm_per_px: 2.0 * rules.mm_per_px,
        ..rules
    };
    let coarse_form = halved_colors(&parts.form, map, &coarse_map);
    let work = prepared(
        &coarse_form,
        &coarse_map,
        &parts.regions,
        bands,
        coarse_rules,
    );
    let mut colors: Vec<Lab> = bands.iter().map(|b| b.lab).collect();
    let mut label = Grid::filled(map.width, map.height, 0);
    for (run, rounds) in ROUNDS.into_iter().enumerate() {
        if run > 0 {
            recolor(&mut colors, bands, &parts.family, &label, &parts.form);
        }
        let labels: Vec<Vec<u8>> = work
            .par_iter()
            .map(|cell| cell.label(&colors, rounds))
            .collect();
        let coarse = in_frame(&work, &labels, &coarse_map);
        label = doubled(&coarse, &coarse_map, map);
        fill_from_neighbors(&mut label, map);
    }
    (colors, label)
}

/// Lets the field settle from the labels of `start`.
fn refined(start: &Grid<u8>, work: &[Cell], map: &Grid<u16>, colors: &[Lab]) -> Grid<u8> {
    let labels: Vec<Vec<u8>> = work
        .par_iter()
        .map(|cell| {
            let pixels = || cell.place.pixels(map);
            if pixels().any(|(_, f)| start.data[f] == 0) {
                return cell.label(colors, FINE_ROUNDS);
            }
            let mut label = cell.labels_beyond(colors);
            for (i, f) in pixels() {
                label[i] = start.data[f] - 1;
            }
            cell.come_to_rest(&mut label, colors, FINE_ROUNDS);
            cell.calm(&mut label);
            label
        })
        .collect();
    in_frame(work, &labels, map)
}

/// The mean color of the pixels in every block of 2 x 2 that belong to the block's cell.
fn halved_colors(lab: &Grid<Lab>, cells: &Grid<u16>, halved: &Grid<u16>) -> Grid<Lab> {
    let zero = Lab::new(0.0, 0.0, 0.0);
    let mut sums = vec![(zero, 0.0f32); halved.data.len()];
    for (i, (&color, &cell)) in lab.data.iter().zip(&cells.data).enumerate() {
        let block = i / lab.width / 2 * halved.width + i % lab.width / 2;
        if cell > 0 && halved.data[block] == cell {
            sums[block].0 += color;
            sums[block].1 += 1.0;
        }
    }
    Grid {
        width: halved.width,
        height: halved.height,
        data: sums.iter().map(|&(sum, n)| sum / n.max(1.0)).collect(),
    }
}

/// The labels of all cells in the frame, from 1.
fn in_frame(work: &[Cell], labels: &[Vec<u8>], cells: &Grid<u16>) -> Grid<u8> {
    let mut label = Grid::filled(cells.width, cells.height, 0u8);
    for (cell, labels) in work.iter().zip(labels) {
        for (i, f) in cell.place.pixels(cells) {
            label.data[f] = labels[i] + 1;
        }
    }
    label
}

/// Labels of blocks of 2 x 2 brought to the pixels of the block's cell; 0 for the others.
fn doubled(label: &Grid<u8>, blocks: &Grid<u16>, cells: &Grid<u16>) -> Grid<u8> {
    let data = (0..cells.data.len())
        .map(|i| {
            let block = i / cells.width / 2 * blocks.width + i % cells.width / 2;
            if cells.data[i] > 0 && blocks.data[block] == cells.data[i] {
                label.data[block]
            } else {
                0
            }
        })
        .collect();
    Grid {
        width: cells.width,
        height: cells.height,
        data,
    }
}

/// Moves every band's color to the mean of the pixels it was given (Lloyd 1982), over those of its own hue group: a
/// band must not drift into another. `label` counts from 1.
fn recolor(
    colors: &mut [Lab],
    bands: &[Band],
    family: &Grid<u8>,
    label: &Grid<u8>,
    lab: &Grid<Lab>,
) {
    // Summed row by row and then in order, whatever the threads do.
    let rows: Vec<Vec<Mean>> = label
        .data
        .par_chunks(label.width)
        .zip(lab.data.par_chunks(label.width))
        .zip(family.data.par_chunks(label.width))
        .map(|((label, lab), family)| {
            let mut means = vec![Mean::default(); bands.len()];
            for ((&l, &color), &family) in label.iter().zip(lab).zip(family) {
                if l > 0 && usize::from(family) == bands[usize::from(l) - 1].group + 1 {
                    means[usize::from(l) - 1].add(color);
                }
            }
            means
        })
        .collect();
    for (band, color) in colors.iter_mut().enumerate() {
        let all = rows
            .iter()
            .fold(Mean::default(), |all, row| all.join(&row[band]));
        *color = all.color().unwrap_or(*color);
    }
}
