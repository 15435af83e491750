//! Parts and tones, and the first choice of pens for them.

use crate::choosing::{self, Draft};
use crate::error::Result;
use crate::job::{Job, PenChoices};
use crate::parts::{Colors, Parts};
use crate::pens::Pen;
use crate::sections::Detail;
use crate::stages::{self, Scene, Tones};

use super::kept::{Kept, Same};

type FromColors = (Same<Scene>, Same<Colors>, Detail, f64);
type FromParts = (Same<Scene>, Same<Parts>, Vec<[f64; 2]>);
type FromTones = (Same<Tones>, Same<Vec<Pen>>, Detail, u8, PenChoices);

/// What has one color, its tones, and how many bands they become.
#[derive(Default)]
pub struct TonesKept {
    colors: Kept<Same<Scene>, Colors>,
    parts: Kept<FromColors, Parts>,
    tones: Kept<FromParts, Tones>,
    draft: Kept<FromTones, Draft>,
}

impl TonesKept {
    /// # Errors
    /// If the photo shows nothing in the drawing's cells, the parts have too many colors, or a point of a bare cell lies in
    /// none.
    pub fn find(&mut self, scene: &Same<Scene>, job: &Job) -> Result<Same<Tones>> {
        let colors = self
            .colors
            .made(scene.clone(), |scene| Ok(stages::find_colors(scene)))?;
        let from = (scene.clone(), colors, Detail::of(job.detail), job.nib.mm());
        let parts = self.parts.made(from, |(scene, colors, detail, nib_mm)| {
            stages::find_parts(scene, colors, *detail, *nib_mm)
        })?;
        let from = (scene.clone(), parts, job.bare_cells.clone());
        self.tones.made(from, |(scene, parts, bare)| {
            stages::find_tones(scene, &parts.0, bare)
        })
    }

    /// # Errors
    /// If a wish cannot be met with these pens.
    pub fn draft(
        &mut self,
        tones: &Same<Tones>,
        pens: &Same<Vec<Pen>>,
        job: &Job,
    ) -> Result<Same<Draft>> {
        let detail = Detail::of(job.detail);
        let wanted = job.pen_choices();
        let from = (tones.clone(), pens.clone(), detail, job.bands, wanted);
        self.draft
            .made(from, |(tones, pens, detail, most, wanted)| {
                choosing::draft(tones, *detail, usize::from(*most), pens, wanted)
            })
    }
}
