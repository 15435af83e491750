//! The field: which band every pixel of the label field belongs to.

use std::borrow::Cow;

use crate::color::Mean;
use crate::grid::Grid;
use crate::sections::{self, Band, Rules, Sections, Touching};

use super::scene::Tones;

/// The bands as the photo gives them, before anything is cut or merged by hand.
#[derive(Debug)]
pub struct Shape {
    /// Index of the band plus 1 per pixel of the field, 0 where nothing is colored.
    pub label: Grid<u8>,
}

/// Shapes the bands.
pub fn shape_bands(tones: &Tones, bands: &[Band], rules: Rules) -> Shape {
    Shape {
        label: sections::label_field(&tones.parts, bands, rules),
    }
}

/// Every band as it ended up in the label field.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Index in `bands` plus 1 per pixel of the field, 0 where nothing is colored.
    pub label: Grid<u8>,
    /// Colors and shares are those of where each band lies now.
    pub bands: Vec<Band>,
    /// The index each had before; bands that got nothing are gone.
    pub kept: Vec<usize>,
    /// Bands of different groups with a common border.
    pub touching: Vec<Touching>,
    pub area_mm2: f32,
}

impl Field {
    /// The index in `bands` of the one that had this index before.
    pub fn place_of(&self, before: usize) -> usize {
        self.kept.iter().position(|&k| k == before).unwrap_or(0)
    }
}

/// Takes every band's color and share from where it lies: the figures are held against the photo as it is, the bands take
/// the form of the parts. `found` are the sections of the field, `edited` the same with some
/// merged: these have the bands' own colors, so that no band changes by what was merged into it.
pub fn settle(
    tones: &Tones,
    shape: &Shape,
    found: &Sections,
    edited: &Sections,
    bands: &[Band],
    rules: Rules,
) -> Field {
    let (mut label, mut meant) = (
        Cow::Borrowed(&shape.label),
        Cow::Borrowed(&tones.parts.form),
    );
    if found != edited {
        let (label, meant) = (label.to_mut(), meant.to_mut());
        for i in 0..label.data.len() {
            let Some(band) = label.data[i].checked_sub(1).map(usize::from) else {
                continue;
            };
            let now = band_now(found, edited, [i % label.width, i / label.width], band);
            if now != band {
                label.data[i] = now as u8 + 1;
                meant.data[i] = bands[now].lab;
            }
        }
    }
    let mut means = vec![Mean::default(); bands.len()];
    for (&l, &color) in label.data.iter().zip(&meant.data) {
        if l > 0 {
            means[usize::from(l) - 1].add(color);
        }
    }
    let total: usize = means.iter().map(|mean| mean.pixels).sum();
    let has_section = |b: usize| edited.list.iter().any(|s| s.band == b);
    let settled_band = |b: usize| Band {
        group: bands[b].group,
        lab: means[b].color().unwrap_or(bands[b].lab),
        share: means[b].pixels as f32 / total as f32,
    };
    let mut kept: Vec<usize> = (0..means.len())
        .filter(|&b| means[b].pixels > 0 || has_section(b))
        .collect();
    // Two bands that lie close may have changed places.
    kept.sort_by(|&b, &c| {
        let (b, c) = (settled_band(b), settled_band(c));
        b.group.cmp(&c.group).then(c.lab.l.total_cmp(&b.lab.l))
    });
    let settled: Vec<Band> = kept.iter().map(|&b| settled_band(b)).collect();
    let place = |b: usize| kept.iter().position(|&k| k == b);
    let label = label.map(|l| match l {
        0 => 0,
        l => place(usize::from(l) - 1).map_or(0, |b| b as u8 + 1),
    });
    let touching = sections::touching(
        &label,
        &tones.half_cells,
        &meant,
        &settled,
        rules.nib_mm as f32,
        rules.mm_per_px as f32,
    );
    Field {
        label,
        bands: settled,
        kept,
        touching,
        area_mm2: (total as f64 * rules.mm_per_px * rules.mm_per_px) as f32,
    }
}

/// The band that a pixel of the field has after merging, if it had this one before.
fn band_now(found: &Sections, edited: &Sections, [x, y]: [usize; 2], band: usize) -> usize {
    let map = &found.map;
    let of = |sections: &Sections, i: usize| {
        let section = usize::from(sections.map.data[i]).checked_sub(1)?;
        Some(sections.list[section].band)
    };
    let block = [0, 1]
        .into_iter()
        .flat_map(|v| [0, 1].map(|u| (2 * x + u, 2 * y + v)));
    block
        .filter(|&(x, y)| x < map.width && y < map.height)
        .map(|(x, y)| y * map.width + x)
        .find(|&i| of(found, i) == Some(band))
        .and_then(|i| of(edited, i))
        .unwrap_or(band)
}
