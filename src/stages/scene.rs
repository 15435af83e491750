//! The scene: frame, drawn lines, cells, and the photos as they lie in them; and the colors of what is colored.

use std::sync::Arc;

use kurbo::BezPath;

use crate::art::{Cells, Lines, Opening, clear_cells};
use crate::card::{Card, panel_outside};
use crate::color::{Lab, halved_lab};
use crate::error::{Error, Result};
use crate::frame::Frame;
use crate::grid::{Grid, squared_distance_to_rim};
use crate::job::{LayingChoices, Match};
use crate::laying::{Laid, Seen, lay_card, lay_references, told_bare};
use crate::parts::{self, Colors, PartRules, Parts};
use crate::pens::Pen;
use crate::plan;
use crate::reference::Reference;
use crate::sections::{self, Detail, Ladder};

use super::inputs::{Drawing, width_missing};

/// Below this share of the drawing's parts on their own color, photo and drawing do not fit; from memory.
const PARTS_FIT: f64 = 0.6;
/// Most bands a hue group is split into.
const MOST_BANDS: usize = 4;

/// Everything in the working frame, before anything is chosen.
#[derive(Debug)]
pub struct Scene {
    pub frame: Frame,
    pub has_art: bool,
    /// What the drawing is composed of, if it is a card of stamps and pieces.
    pub card: Option<Arc<Card>>,
    pub lines: Arc<Lines>,
    /// The outline of all that is drawn, in millimeters.
    pub ink: Arc<BezPath>,
    /// All cells of the drawing.
    pub cells: Cells,
    /// Where the drawing's outlines are open.
    pub openings: Vec<Opening>,
    /// The lit part that every cell belongs to, by the cell's number (0 is no cell); empty without lit parts.
    pub lit_part_of_cell: Vec<Option<usize>>,
    /// The pen that is the middle tone of a cell's part, likewise.
    pub pen_of_cell: Vec<Option<String>>,
    /// Those cells that have a source, ...
    sourced: Cells,
    /// ... and their map at half resolution.
    half_sourced: Grid<u16>,
    /// Those that no photo and no part is for.
    pub without_source: Vec<u16>,
    pub reference: Arc<Reference>,
    /// The reference at half resolution.
    pub lab: Grid<Lab>,
    pub alignments: Vec<plan::LaidPhoto>,
    pub warnings: Vec<String>,
}

impl Scene {
    /// What lies around the subject on the panel; sheets of pieces have no background.
    pub fn panel_outside(&self) -> Grid<bool> {
        panel_outside(&self.cells.outside, self.card.as_deref())
    }

    /// The sheets of card in the frame: left, top, right and bottom in pixels. Without pieces there is one.
    pub fn sheets(&self) -> Vec<(usize, usize, usize, usize)> {
        let whole = (0, 0, self.frame.width, self.frame.height);
        let card = self.card.as_ref();
        card.map_or_else(|| vec![whole], |card| card.extents(self.frame))
    }

    /// The lit part that a cell belongs to, if any.
    fn lit_part(&self, cell: u16) -> Option<usize> {
        let part = self.lit_part_of_cell.get(usize::from(cell));
        part.copied().flatten()
    }
}

/// Lays the photos onto the drawing.
///
/// # Errors
/// If there is no room for the art on the page, or a photo cannot be laid.
pub fn lay_out(
    photos: &[Seen],
    drawing: &Option<Drawing>,
    matches: &[Match],
    pens: &[Pen],
    choices: &LayingChoices,
) -> Result<Scene> {
    let frame = match (drawing, choices.width) {
        (Some(drawing), _) => drawing.frame,
        (None, Some(width)) => {
            let first = photos.first().ok_or_else(width_missing)?;
            let (w, h) = first.photo.upright_size();
            Frame::of([width.mm(), width.mm() * h as f64 / w as f64])
        }
        (None, None) => return Err(width_missing()),
    };
    if drawing.as_ref().is_none_or(|d| d.card.is_none()) {
        choices.page.check_fits(frame.size_mm)?;
    }
    let mut parts = choices.photos.clone();
    if let Some(first) = parts.first_mut() {
        first.matches.extend(matches);
    }
    let Laid {
        reference,
        lit_part_of_cell,
        pen_of_cell,
        without_source,
        meant_bare,
        alignments,
        mut warnings,
    } = match drawing {
        Some(Drawing {
            card: Some(card),
            cells,
            lines,
            ..
        }) => lay_card(choices, &parts, photos, card, (cells, lines), pens, frame)?,
        _ => lay_references(
            choices,
            &parts,
            photos,
            drawing.as_ref().map(|d| (&d.cells, &d.lines)),
            pens,
            frame,
        )?,
    };
    let doubt = drawing.as_ref().and_then(|d| d.doubt);
    warnings.extend(doubt.map(str::to_owned));
    let cells = match drawing {
        Some(drawing) => drawing.cells.clone(),
        None => Cells::single(&reference.subject),
    };
    let mut sourced = cells.clone();
    sourced.clear(&without_source);
    sourced.clear(&meant_bare);
    let (half_sourced, lab) = rayon::join(
        || sections::halved_cells(&sourced.map),
        || halved_lab(&reference.picture, &reference.subject),
    );
    Ok(Scene {
        frame,
        has_art: drawing.is_some(),
        card: drawing.as_ref().and_then(|d| d.card.clone()),
        lines: Arc::new(match drawing {
            Some(drawing) => drawing.lines.clone(),
            None => Lines::none(frame.width, frame.height),
        }),
        ink: drawing.as_ref().map(|d| d.ink.clone()).unwrap_or_default(),
        cells,
        openings: drawing.as_ref().map_or(Vec::new(), |d| d.openings.clone()),
        lit_part_of_cell,
        pen_of_cell,
        sourced,
        half_sourced,
        without_source,
        lab,
        reference: Arc::new(reference),
        alignments,
        warnings,
    })
}

/// The hue groups of what is colored, and how each splits into one to four bands. Knows no pens.
#[derive(Debug)]
pub struct Tones {
    /// The scene's cells but for those left bare or without a source.
    pub cells: Arc<Cells>,
    /// Their map at half resolution.
    pub half_cells: Grid<u16>,
    pub parts: Arc<Parts>,
    /// One for each family of the parts.
    pub ladders: Vec<Ladder>,
    /// Families with the pen that is their middle tone, as the job says.
    pub middle_pens: Vec<(usize, String)>,
    /// Area of what is colored.
    pub area_mm2: f32,
    /// Tells of cells that stay bare though nobody said so, and of parts that do not fit.
    pub warnings: Vec<String>,
}

/// The colors that the photo shows in all cells that have a source.
pub fn find_colors(scene: &Scene) -> Colors {
    parts::find_colors(
        &scene.lab,
        &scene.half_sourced,
        &scene
            .reference
            .evidence
            .halved(|block| block.into_iter().fold(0, u8::max)),
        scene.reference.around.halved(|block| block.contains(&true)),
        &|cell| scene.lit_part(cell).is_some(),
        scene.frame.field_mm_per_px(),
    )
}

/// Which cells are no things of their own, by their numbers: all without art, else those around the drawing that no part
/// has.
fn open_cells(scene: &Scene) -> Vec<bool> {
    let outside = scene.sourced.outside_cells();
    let is_lit = |cell: usize| scene.lit_part(cell as u16).is_some();
    (0..outside.len())
        .map(|cell| !scene.has_art || (outside[cell] && !is_lit(cell)))
        .collect()
}

/// The parts of all cells that have a source.
///
/// # Errors
/// If colored parts have too many colors.
pub fn find_parts(scene: &Scene, colors: &Colors, detail: Detail, nib_mm: f64) -> Result<Parts> {
    let open = open_cells(scene);
    parts::find_parts(
        &scene.lab,
        &scene.half_sourced,
        colors,
        &|cell| open[usize::from(cell)],
        &|cell| scene.lit_part(cell),
        PartRules {
            hue_gain: detail.hue_gain,
            share: detail.form_share,
            nib_mm,
            step: sections::LEAST_STEP,
            mm_per_px: scene.frame.field_mm_per_px(),
        },
    )
}

/// Finds the hue groups and their bands in all cells but the `bare` ones, which are told by points in millimeters.
///
/// # Errors
/// If a point lies in no cell, or nothing is left.
pub fn find_tones(scene: &Scene, parts: &Arc<Parts>, bare: &[[f64; 2]]) -> Result<Tones> {
    let (mut cells, mut half_cells) = (scene.sourced.clone(), scene.half_sourced.clone());
    let left_bare = scene.cells.cells_at(bare, scene.frame.mm_per_px)?;
    cells.clear(&left_bare);
    clear_cells(&mut half_cells, &left_bare);
    let parts = match left_bare.is_empty() {
        true => Arc::clone(parts),
        false => Arc::new(parts.without(&left_bare)),
    };
    cells.clear(&parts.bare);
    let colors = sections::count_colors(&parts);
    if colors.is_empty() {
        return Err(Error::new(
            "nothing is left to color: every cell is bare or outside",
            "Take points out of bare_cells, or color the outside, too, with --background.",
        ));
    }
    let ladders = sections::ladders(&colors, parts.families.len(), MOST_BANDS, parts.has_forms());
    let area_px = parts.map.data.iter().filter(|&&r| r > 0).count();
    let side = scene.frame.field_mm_per_px();
    let all = scene.without_source.iter().copied();
    let forgotten: Vec<u16> = all.filter(|cell| !left_bare.contains(cell)).collect();
    let mut warnings = Vec::new();
    if !forgotten.is_empty() {
        warnings.push(told_bare(&scene.cells, &forgotten, scene.frame.mm_per_px));
    }
    warnings.extend(told_parts(&parts, &half_cells, side));
    let middle_pens = middle_pens(scene, &parts);
    Ok(Tones {
        cells: Arc::new(cells),
        half_cells,
        parts,
        ladders,
        middle_pens,
        area_mm2: (area_px as f64 * side * side) as f32,
        warnings,
    })
}

/// Families with the pens that the job gives them for a middle tone; of several the first.
fn middle_pens(scene: &Scene, parts: &Parts) -> Vec<(usize, String)> {
    let mut found: Vec<(usize, String)> = Vec::new();
    for region in &parts.regions {
        let pen = scene.pen_of_cell.get(usize::from(region.cell));
        if let (Some(Some(pen)), [family]) = (pen, &region.families[..])
            && found.iter().all(|(f, _)| f != family)
        {
            found.push((*family, pen.clone()));
        }
    }
    found
}

/// What a person should know of how photo and drawing go together.
fn told_parts(parts: &Parts, half_cells: &Grid<u16>, mm_per_px: f64) -> Vec<String> {
    let mut told = Vec::new();
    if !parts.bare.is_empty() {
        let room = squared_distance_to_rim(half_cells);
        let places: Vec<String> = parts
            .bare
            .iter()
            .map(|&cell| {
                let pixels = (0..room.len()).filter(|&i| half_cells.data[i] == cell);
                let middle = pixels
                    .max_by(|&i, &j| room[i].total_cmp(&room[j]))
                    .unwrap_or(0);
                let mm = |px: usize| (px as f64 + 0.5) * mm_per_px;
                let (x, y) = (middle % half_cells.width, middle / half_cells.width);
                format!("[{:.1}, {:.1}]", mm(x), mm(y))
            })
            .collect();
        told.push(format!(
            "The photo shows nothing of the subject for {} of the drawing's cells, around {} (millimeters from the top \
             left); they stay bare. Another photo for them: [[reference]] with cells.",
            parts.bare.len(),
            places.join(", ")
        ));
    }
    if let Some(agreement) = parts.agreement().filter(|&a| a < PARTS_FIT) {
        told.push(format!(
            "Photo and drawing do not fit well: only {:.0} % of the drawing's parts lie on their own color. Matching points \
             ([[match]]) or a photo taken from the same side help; steps/fit.png (--steps) shows how they lie.",
            100.0 * agreement
        ));
    }
    told
}
