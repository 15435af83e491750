//! penstrata plans flat, unblended alcohol-marker coloring: from a reference photo, a line drawing and the pens owned
//! to sections a hand can trace, a pen for each, and a true-size overlay.
//!
//! A plan is a pure function of the job and the bytes of the files it names: [`plan_of`] makes it, [`sheets::folder`] its
//! folder. Files, clock and environment belong to the command line alone (feature `cli`).

pub mod art;
pub mod borders;
#[cfg(feature = "cli")]
pub mod cli;
pub mod color;
pub mod duration;
pub mod error;
pub mod files;
pub mod grid;
#[cfg(feature = "cli")]
pub mod input;
pub mod job;
pub mod length;
pub mod light;
#[cfg(feature = "cli")]
pub mod output;
pub mod passes;
pub mod pens;
pub mod plan;
pub mod reference;
pub mod sections;
pub mod sheets;
pub mod swatches;

mod backdrop;
mod compose;
mod laying;
mod matching;

use std::path::Path;

use art::{Cells, Lines, find_cells, find_lines, load_page};
use borders::{Label, Outlines, draw_outlines, place_labels, trace_mask};
use color::{Lab, halved_lab};
use compose::Stages;
use error::{Error, Result};
use files::Files;
use grid::Grid;
use job::{Background, Job, Part};
use laying::{Laid, lay_references};
use length::Length;
use pens::read_pens;
use plan::Plan;
use rayon::prelude::*;
use reference::{Found, Photo, Reference, find_subject};
use sections::{Detail, Rules, Sections};

/// The working frame: 10 pixels per millimeter show what a hand can trace.
pub const MM_PER_PX: f64 = 0.1;
/// The label field works at half that resolution.
const FIELD_MM_PER_PX: f64 = 2.0 * MM_PER_PX;

/// A photo that shows no more than this part of the outside is cut out: its rim may be soft. From memory.
const SHOWN_OUTSIDE: f64 = 0.02;
/// A photo stretched by more than this factor looks wrong; from memory.
const STRETCH_SEEN: f64 = 1.1;

/// A plan with everything the sheets draw from.
pub struct Made {
    pub plan: Plan,
    pub outlines: Outlines,
    pub labels: Vec<Label>,
    pub sections: Sections,
    pub reference: Reference,
    pub lines: Lines,
    pub cells: Cells,
    /// The part with a color of its own that every cell belongs to, by the cell's number (0 is no cell); empty without
    /// such parts.
    pub lit_part_of_cell: Vec<Option<usize>>,
}

/// The art of a job, in the working frame.
struct Drawing {
    size_mm: [f64; 2],
    lines: Lines,
    cells: Cells,
}

fn read_drawing(job: &Job, files: &Files, path: &Path) -> Result<Drawing> {
    let page = load_page(path, files.get(path)?, job.panel, job.corners)?;
    let size_mm = page
        .size_mm(job.width.map(Length::mm))
        .ok_or_else(width_missing)?;
    sheets::check_fits(size_mm, job.page)?;
    let (width, height) = frame_of(size_mm);
    let lines = find_lines(page.flatten(width, height, MM_PER_PX)?, MM_PER_PX, path)?;
    let cells = find_cells(
        &lines.wall,
        job.gap.mm(),
        MM_PER_PX,
        job.background == Background::Photo,
    )?;
    Ok(Drawing {
        size_mm,
        lines,
        cells,
    })
}

fn width_missing() -> Error {
    Error::new(
        "how large the drawing is on the panel is missing",
        "Give --width for a drawing, scan or photo, or --panel for a phone photo of the panel.",
    )
}

/// Width and height of the working frame, in pixels.
fn frame_of(size_mm: [f64; 2]) -> (usize, usize) {
    let [width, height] = size_mm.map(|mm| ((mm / MM_PER_PX).round() as usize).max(1));
    (width, height)
}

/// Makes the plan of a job from the files it names. `stage` is told what begins.
///
/// # Errors
/// Everything that is wrong with an input or a choice.
pub fn plan_of(job: &Job, files: &Files, stage: &dyn Fn(&str)) -> Result<Made> {
    job.check()?;
    stage("reading the photo and the drawing");
    let pens = read_pens(&job.pens, files.get(&job.pens)?)?;
    let mut parts = job.photos();
    if let (Some(path), Some(first)) = (&job.match_file, parts.first_mut()) {
        first
            .matches
            .extend(reference::read_matches(path, files.get(path)?)?);
    }
    // The photo's decoder leaves one core free for the drawing.
    let (photos, drawing) = rayon::join(
        || {
            let load = |part: &Part| {
                let photo = Photo::decode(&part.photo, files.get(&part.photo)?)?;
                let subject = match job.art {
                    Some(_) => find_subject(&photo),
                    None => Err("there is no drawing to lay it onto"),
                };
                Ok((photo, subject))
            };
            parts
                .par_iter()
                .map(load)
                .collect::<Vec<Result<(Photo, Found)>>>()
        },
        || {
            job.art
                .as_deref()
                .map(|path| read_drawing(job, files, path))
                .transpose()
        },
    );
    // Of several bad photos the first is told, whichever thread was faster.
    let photos = photos.into_iter().collect::<Result<Vec<_>>>()?;
    let drawing = drawing?;
    let size_mm = match (&drawing, job.width) {
        (Some(drawing), _) => drawing.size_mm,
        (None, Some(width)) => {
            // Without a drawing there is a photo: the job was checked.
            let (w, h) = photos
                .first()
                .map_or((1, 1), |photo| photo.0.upright_size());
            [width.mm(), width.mm() * h as f64 / w as f64]
        }
        (None, None) => return Err(width_missing()),
    };
    sheets::check_fits(size_mm, job.page)?;
    let (width, height) = frame_of(size_mm);

    stage("aligning the reference");
    let has_art = drawing.is_some();
    let (lines, cells) = drawing.map_or_else(
        || (Lines::none(width, height), None),
        |drawing| (drawing.lines, Some(drawing.cells)),
    );
    let Laid {
        reference,
        lit_part_of_cell,
        without_source,
        alignments,
        warnings,
    } = lay_references(
        job,
        &parts,
        photos,
        cells.as_ref().map(|cells| (cells, &lines)),
        &pens,
        (width, height),
    )?;
    let mut cells = cells.unwrap_or_else(|| Cells::single(&reference.subject));
    cells.leave_bare(&job.bare, MM_PER_PX)?;
    cells.clear(&without_source);

    stage("finding hue groups and bands");
    let lab: Grid<Lab> = halved_lab(&reference.picture, &reference.subject);
    let half_cells = sections::halved_cells(&cells.map);
    let detail = Detail::of(job.detail);
    let mut tones = matching::choose_tones(&lab, &half_cells, job, detail, &pens)?;

    stage("shaping sections");
    // The figures are held against the photo as it lies, the sections take it as the drawing means it.
    let mut meant = lab.clone();
    let rules = Rules {
        detail,
        nib_mm: job.nib.mm(),
        mm_per_px: FIELD_MM_PER_PX,
        closed_cells: has_art,
    };
    let mut label =
        sections::label_field(&mut meant, &half_cells, &tones.groups, &tones.bands, rules);
    sections::merge(
        &mut label,
        &mut meant,
        &half_cells,
        &tones.bands,
        &job.merge,
        FIELD_MM_PER_PX,
    )?;
    tones.settle(&mut label, &meant, job, &pens);
    let crumb_px = (detail.least_mm2 / 2.0 / (MM_PER_PX * MM_PER_PX)) as usize;
    let ink = lines.ink();
    // The ink is traced meanwhile: numbering leaves one core free.
    let (sections, ink_path) = rayon::join(
        || sections::number_sections(&label, &half_cells, &cells.map, crumb_px),
        || trace_mask(&ink, MM_PER_PX),
    );

    stage("drawing borders");
    let outlines = draw_outlines(&sections, &lines.wall, ink_path, has_art, MM_PER_PX);
    let (passes, schedule) = passes::plan_passes(
        &tones.choices,
        &pens,
        job.paper,
        &sections.list,
        &outlines.touching(),
        MM_PER_PX * MM_PER_PX,
        &job.pace,
        job.rest.seconds(),
    );
    let number_of = |id: u16| {
        Plan::number_text(passes::number_of(
            &passes,
            sections.list[usize::from(id) - 1].band,
        ))
    };
    let labels = place_labels(&sections, &ink, number_of, MM_PER_PX);

    let mut plan = Stages {
        job,
        size_mm,
        pens: &pens,
        tones: &tones,
        passes: &passes,
        schedule: &schedule,
        sections: &sections,
        lab: &lab,
        label: &label,
        outlines: &outlines,
        labels: &labels,
    }
    .plan();
    if job.background == Background::Auto {
        let outside_px = cells.outside.data.iter().filter(|&&o| o).count();
        plan.backdrops = backdrop::rank_backdrops(
            &outlines,
            &plan.section_colors(),
            &pens,
            &job.forbid,
            outside_px as f64 * MM_PER_PX * MM_PER_PX,
            job.no_refill_cm2 * 100.0,
        );
        if plan.backdrops.is_empty() {
            plan.warnings.push(
                "There is no outside to suggest a pen for: the subject fills the panel.".to_owned(),
            );
        }
    }
    if job.background == Background::Photo {
        let outside = cells.outside.data.iter().zip(&reference.subject.data);
        let (all, shown) = outside.fold((0, 0), |(all, shown), (&outside, &subject)| {
            (
                all + usize::from(outside),
                shown + usize::from(outside && subject),
            )
        });
        if shown as f64 <= SHOWN_OUTSIDE * all as f64 && all > 0 {
            plan.warnings.push(
                "The photo is cut out: it shows no background that the outside could be colored as \
                 (--background auto shows pens that would do for it)."
                    .to_owned(),
            );
        }
    }
    plan.alignment = alignments;
    plan.warnings.extend(warnings);
    if cells.ink_at_edge && job.background != Background::Photo {
        plan.warnings.push(
            "The drawing reaches the edge of its file; what the edge cuts was taken as outside and left bare \
             (--background colors it)."
                .to_owned(),
        );
    }
    Ok(Made {
        plan,
        outlines,
        labels,
        sections,
        reference,
        lines,
        cells,
        lit_part_of_cell,
    })
}
