//! The field: which band every pixel of the label field belongs to.

use crate::color::Lab;
use crate::error::Result;
use crate::grid::Grid;
use crate::sections::{self, Band, Rules, Touching};

use super::scene::Tones;

/// The bands as the photo gives them, before sections are merged by hand.
#[derive(Debug)]
pub struct Shape {
    /// Index of the band plus 1 per pixel of the field, 0 where nothing is colored.
    pub label: Grid<u8>,
    /// The form of the parts.
    pub meant: Grid<Lab>,
}

/// Shapes the bands.
pub fn shape_bands(tones: &Tones, bands: &[Band], rules: Rules) -> Shape {
    // The figures are held against the photo as it lies, the sections take its form.
    Shape {
        label: sections::label_field(&tones.parts, bands, rules),
        meant: tones.parts.form.clone(),
    }
}

/// Every band as it ended up in the label field.
#[derive(Debug)]
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

/// Merges sections as the job says (lists of points in millimeters), then takes every band's color and share from where
/// it lies.
///
/// # Errors
/// If a point of `merge` lies in no section.
pub fn settle(
    shape: &Shape,
    half_cells: &Grid<u16>,
    bands: &[Band],
    merge: &[Vec<[f64; 2]>],
    rules: Rules,
) -> Result<Field> {
    let (mut label, mut meant) = (shape.label.clone(), shape.meant.clone());
    sections::merge(
        &mut label,
        &mut meant,
        half_cells,
        bands,
        merge,
        rules.mm_per_px,
    )?;
    let mut sums = vec![(Lab::new(0.0, 0.0, 0.0), 0usize); bands.len()];
    for (&l, &color) in label.data.iter().zip(&meant.data) {
        if l > 0 {
            let (sum, count) = &mut sums[usize::from(l) - 1];
            *sum += color;
            *count += 1;
        }
    }
    let total: usize = sums.iter().map(|s| s.1).sum();
    let kept: Vec<usize> = (0..sums.len()).filter(|&b| sums[b].1 > 0).collect();
    let settled: Vec<Band> = kept
        .iter()
        .map(|&b| Band {
            group: bands[b].group,
            lab: sums[b].0 / sums[b].1 as f32,
            share: sums[b].1 as f32 / total as f32,
        })
        .collect();
    let place = |b: usize| kept.iter().position(|&k| k == b);
    let label = label.map(|l| match l {
        0 => 0,
        l => place(usize::from(l) - 1).map_or(0, |b| b as u8 + 1),
    });
    let touching = sections::touching(
        &label,
        &meant,
        &settled,
        rules.nib_mm as f32,
        rules.mm_per_px as f32,
    );
    Ok(Field {
        label,
        bands: settled,
        kept,
        touching,
        area_mm2: (total as f64 * rules.mm_per_px * rules.mm_per_px) as f32,
    })
}
