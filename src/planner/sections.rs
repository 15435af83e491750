//! The sections on their way.

use crate::error::Result;
use crate::job::ShapeChoices;
use crate::sections::{Band, Rules, Sections};
use crate::stages::{self, Field, Scene, Shape, Tones};

use super::kept::{Kept, Same};

type FromBands = (Same<Tones>, Vec<Band>, Rules);
type FromLabels = (Same<Scene>, Same<Tones>, Same<Shape>, Rules);
type FromFound = (Same<Sections>, ShapeChoices, f64);
type FromEdited = (Same<Sections>, Same<Field>);

/// The sections on their way: their shape, numbered, cut and merged by hand, and with the bands that are left in the end.
#[derive(Default)]
pub struct SectionsKept {
    shape: Kept<FromBands, Shape>,
    found: Kept<FromLabels, Sections>,
    edited: Kept<FromFound, Sections>,
    settled: Kept<FromEdited, Sections>,
}

impl SectionsKept {
    pub fn shape(
        &mut self,
        tones: &Same<Tones>,
        bands: &[Band],
        rules: Rules,
    ) -> Result<Same<Shape>> {
        let from = (tones.clone(), bands.to_vec(), rules);
        self.shape.made(from, |(tones, bands, rules)| {
            Ok(stages::shape_bands(tones, bands, *rules))
        })
    }

    pub fn number(
        &mut self,
        scene: &Same<Scene>,
        tones: &Same<Tones>,
        shape: &Same<Shape>,
        rules: Rules,
    ) -> Result<Same<Sections>> {
        let from = (scene.clone(), tones.clone(), shape.clone(), rules);
        self.found.made(from, |(scene, tones, shape, rules)| {
            Ok(stages::number_sections(scene, tones, shape, *rules))
        })
    }

    pub fn edit(
        &mut self,
        found: &Same<Sections>,
        choices: ShapeChoices,
        mm_per_px: f64,
    ) -> Result<Same<Sections>> {
        if choices == ShapeChoices::default() {
            return Ok(found.clone());
        }
        let from = (found.clone(), choices, mm_per_px);
        self.edited.made(from, |(found, choices, mm_per_px)| {
            stages::edit_sections(found, choices, *mm_per_px)
        })
    }

    pub fn settled(
        &mut self,
        edited: &Same<Sections>,
        field: &Same<Field>,
    ) -> Result<Same<Sections>> {
        let from = (edited.clone(), field.clone());
        self.settled.made(from, |(edited, field)| {
            Ok(edited.with_bands(|b| field.place_of(b)))
        })
    }
}
