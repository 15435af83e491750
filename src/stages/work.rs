//! The work: sections and borders to trace, passes in their order, a number in every section.

use kurbo::BezPath;

use crate::borders::{Label, Outlines, draw_outlines, place_labels, trace_mask};
use crate::error::Result;
use crate::job::{ShapeChoices, WorkChoices};
use crate::passes::{self, Pass, Schedule};
use crate::pens::{Choice, Pen};
use crate::plan::Plan;
use crate::sections::{self, Rules, Sections};

use super::field::Shape;
use super::scene::{Scene, Tones};

/// The sections as the photo gives them; pieces below half the smallest size are given to their neighbors.
pub fn number_sections(scene: &Scene, tones: &Tones, shape: &Shape, rules: Rules) -> Sections {
    let mm_per_px = scene.frame.mm_per_px;
    let crumb_px = (rules.detail.least_mm2 / 2.0 / (mm_per_px * mm_per_px)) as usize;
    sections::number_sections(&shape.label, &tones.half_cells, &tones.cells.map, crumb_px)
}

/// The sections as the person wants them: first cut, then merged.
///
/// # Errors
/// If a line cuts nothing, or a point of `merge` lies in no section.
pub fn edit_sections(found: &Sections, choices: &ShapeChoices, mm_per_px: f64) -> Result<Sections> {
    let lines: Vec<Vec<[f64; 2]>> = choices.cuts.iter().map(|cut| cut.line.clone()).collect();
    let cut = if lines.is_empty() {
        found.clone()
    } else {
        sections::cut(found, &lines, mm_per_px)?
    };
    if choices.merge.is_empty() {
        return Ok(cut);
    }
    sections::merge(&cut, &choices.merge, mm_per_px)
}

/// The outline of everything drawn, in millimeters.
pub fn trace_ink(scene: &Scene) -> BezPath {
    trace_mask(&scene.lines.ink(), scene.frame.mm_per_px)
}

/// The borders and outlines of the sections.
pub fn draw_borders(scene: &Scene, sections: &Sections, ink: &BezPath) -> Outlines {
    draw_outlines(
        sections,
        &scene.lines.wall,
        ink.clone(),
        scene.has_art,
        scene.frame.mm_per_px,
    )
}

/// What is done with which pen, and when.
#[derive(Debug)]
pub struct Work {
    pub passes: Vec<Pass>,
    pub schedule: Schedule,
    /// A number for every section.
    pub labels: Vec<Label>,
    /// The piece glued over every section, in the order of their ids: what is wholly covered needs no coloring.
    pub covered: Vec<Option<usize>>,
}

/// Orders the passes of the chosen pens and numbers the sections.
pub fn order_work(
    scene: &Scene,
    sections: &Sections,
    outlines: &Outlines,
    pens: &[Pen],
    picked: &[Choice],
    choices: &WorkChoices,
) -> Work {
    let mm_per_px = scene.frame.mm_per_px;
    let covered = covered(scene, sections);
    // What is covered has no band that a pass could color.
    let mut colored = sections.list.clone();
    for (section, covered) in colored.iter_mut().zip(&covered) {
        if covered.is_some() {
            section.band = usize::MAX;
        }
    }
    let (passes, schedule) = passes::plan_passes(
        picked,
        pens,
        choices.paper,
        &colored,
        &outlines.touching(),
        mm_per_px * mm_per_px,
        &choices.pace,
        choices.rest.seconds(),
    );
    let number_of = |id: u16| {
        let at = usize::from(id) - 1;
        match covered[at] {
            Some(_) => Plan::COVERED.to_owned(),
            None => Plan::number_text(passes::number_of(&passes, sections.list[at].band)),
        }
    };
    let labels = place_labels(sections, &scene.lines.ink(), number_of, mm_per_px);
    Work {
        passes,
        schedule,
        labels,
        covered,
    }
}

/// The piece that is glued over all of a section, for every section.
fn covered(scene: &Scene, sections: &Sections) -> Vec<Option<usize>> {
    let mut covered = vec![None; sections.list.len()];
    let Some(card) = &scene.card else {
        return covered;
    };
    let mut shows = vec![false; sections.list.len() + 1];
    for (&id, &piece) in sections.map.data.iter().zip(&card.cover.data) {
        if id > 0 {
            shows[usize::from(id)] |= piece == 0;
            covered[usize::from(id) - 1] = usize::from(piece).checked_sub(1);
        }
    }
    for (covered, shows) in covered.iter_mut().zip(&shows[1..]) {
        if *shows {
            *covered = None;
        }
    }
    covered
}
