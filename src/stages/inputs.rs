//! What is read: pens, photos, the drawing, matching points. From bytes to what they say, nothing decided yet.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use kurbo::BezPath;
use rayon::prelude::*;

use crate::art::{
    Cells, Lines, Opening, find_cells, find_lines, find_openings, load_page, with_openings,
};
use crate::borders::trace_mask;
use crate::card::{Card, compose};
use crate::error::{Error, Result};
use crate::files::Files;
use crate::frame::Frame;
use crate::job::{CardChoices, DrawingChoices, GAP_MM, Match};
use crate::laying::Seen;
use crate::length::Length;
use crate::pens::{self, Pen};
use crate::reference::{self, Photo, find_subject};

/// The art of a job, in its frame.
#[derive(Debug)]
pub struct Drawing {
    pub frame: Frame,
    pub lines: Lines,
    /// The outline of all that is drawn, in millimeters.
    pub ink: Arc<BezPath>,
    /// All cells of the drawing, none left bare.
    pub cells: Cells,
    /// Where its outlines are open.
    pub openings: Vec<Opening>,
    /// What looks wrong with its file.
    pub doubt: Option<&'static str>,
    /// What it is composed of, if it is a card of stamps and pieces.
    pub card: Option<Arc<Card>>,
}

/// The pens owned.
///
/// # Errors
/// If the table is missing or wrong.
pub fn read_pens(files: &Files, name: &Path) -> Result<Vec<Pen>> {
    pens::read_pens(name, files.get(name)?)
}

/// The table of matching points, if the job has one.
///
/// # Errors
/// If it is missing or wrong.
pub fn read_matches(files: &Files, name: Option<&Path>) -> Result<Vec<Match>> {
    name.map_or(Ok(Vec::new()), |name| {
        reference::read_matches(name, files.get(name)?)
    })
}

/// The photos by these names. Their subjects are looked for only where there is a drawing (`has_art`).
///
/// # Errors
/// If one is missing or no picture; of several the first is told.
pub fn decode_photos(files: &Files, names: &[PathBuf], has_art: bool) -> Result<Vec<Seen>> {
    let decoded: Vec<Result<Seen>> = names
        .par_iter()
        .map(|name| {
            let photo = Photo::decode(name, files.get(name)?)?;
            let subject = if has_art {
                find_subject(&photo)
            } else {
                Err("there is no drawing to lay it onto")
            };
            Ok(Seen {
                name: name.clone(),
                photo,
                subject,
            })
        })
        .collect();
    decoded.into_iter().collect()
}

/// The drawing with its lines and cells, if the job has one.
///
/// # Errors
/// If it is missing or no drawing, its size is not known, or it closes off nothing.
pub fn read_drawing(files: &Files, choices: &DrawingChoices) -> Result<Option<Drawing>> {
    if let Some(card) = &choices.card {
        return compose_card(files, card, choices).map(Some);
    }
    let Some(name) = &choices.art else {
        return Ok(None);
    };
    let page = load_page(name, files.get(name)?, choices.panel, choices.corners)?;
    let size_mm = page
        .size_mm(choices.width.map(Length::mm))
        .ok_or_else(width_missing)?;
    choices.page.check_fits(size_mm)?;
    let frame = Frame::of(size_mm);
    let flat = page.flatten(frame.width, frame.height, frame.mm_per_px)?;
    let lines = find_lines(flat, frame.mm_per_px, name)?;
    let (gap_mm, mm_per_px) = (choices.gap.mm(), frame.mm_per_px);
    let (cells, ink) = rayon::join(
        || {
            let gaps_mm = gap_mm..=*GAP_MM.end();
            let cells = find_cells(&lines.wall, gap_mm, mm_per_px, choices.color_outside)
                .map_err(|e| with_openings(e, &lines.wall, &gaps_mm, mm_per_px))?;
            let openings = find_openings(&lines.wall, &cells, &gaps_mm, mm_per_px);
            Ok((cells, openings))
        },
        || trace_mask(&lines.ink(), frame.mm_per_px),
    );
    let (cells, openings) = cells?;
    Ok(Some(Drawing {
        frame,
        lines,
        ink: Arc::new(ink),
        cells,
        openings,
        doubt: page.doubt(),
        card: None,
    }))
}

/// The drawing that stamps and pieces make together.
fn compose_card(files: &Files, card: &CardChoices, choices: &DrawingChoices) -> Result<Drawing> {
    choices.page.check_fits(card.panel.size.mm())?;
    choices.page.check_fits(card.sheet.size.mm())?;
    let gaps_mm = choices.gap.mm()..=*GAP_MM.end();
    let composed = compose(files, card, &gaps_mm, choices.color_outside)?;
    let mm_per_px = composed.frame.mm_per_px;
    Ok(Drawing {
        frame: composed.frame,
        openings: find_openings(&composed.lines.wall, &composed.cells, &gaps_mm, mm_per_px),
        ink: Arc::new(trace_mask(&composed.lines.ink(), composed.frame.mm_per_px)),
        lines: composed.lines,
        cells: composed.cells,
        doubt: None,
        card: Some(Arc::new(composed.card)),
    })
}

/// The size of the art on the panel cannot be told.
pub fn width_missing() -> Error {
    Error::new(
        "how large the drawing is on the panel is missing",
        "Give --width for a drawing, scan or photo, or --panel for a phone photo of the panel.",
    )
}
