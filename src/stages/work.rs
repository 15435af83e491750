//! The work: sections and borders to trace, passes in their order, a number in every section.

use kurbo::{BezPath, Vec2};

use crate::borders::{Detail, Label, Labels, Outlines, Unnumbered, draw_outlines};
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::job::{SectionChoices, ShapeChoices, WorkChoices};
use crate::passes::{self, Pass, Schedule, ToColor};
use crate::pens::{Choice, Pen, Pick};
use crate::plan::{Plan, section_text};
use crate::sections::{self, Cuts, Rules, Section, Sections};
use crate::wishes::pick_of;

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

/// The borders and outlines of the sections.
pub fn draw_borders(scene: &Scene, sections: &Sections) -> Outlines {
    let width = scene.frame.width;
    let beyond = |i: usize| match &scene.card {
        None => false,
        Some(card) => card.ground_at(i % width, i / width).is_none(),
    };
    draw_outlines(
        sections,
        &scene.lines.wall,
        BezPath::clone(&scene.ink),
        scene.has_art,
        scene.frame.mm_per_px,
        beyond,
    )
}

/// What is done with which pen, and when.
#[derive(Debug)]
pub struct Work {
    /// What sections are colored as: first what every band gets, then what the person wants for single ones.
    pub tones: Vec<Choice>,
    /// The index in `tones` of every section, in the order of their ids.
    pub tone_of: Vec<usize>,
    pub passes: Vec<Pass>,
    pub schedule: Schedule,
    /// A number for every section.
    pub labels: Labels,
    /// The piece glued over every section, in the order of their ids: what is wholly covered needs no coloring.
    pub covered: Vec<Option<usize>>,
}

/// Orders the passes of the chosen pens and numbers the sections.
///
/// # Errors
/// If a point that the person names lies in no section, or a pen of theirs is missing, dry or forbidden.
pub fn order_work(
    scene: &Scene,
    sections: &Sections,
    outlines: &Outlines,
    pens: &[Pen],
    picked: &[Choice],
    hand: &SectionChoices,
    choices: &WorkChoices,
) -> Result<Work> {
    let mm_per_px = scene.frame.mm_per_px;
    let covered = covered(scene, sections);
    let outside = scene.cells.outside_cells();
    let is_outside: Vec<bool> = sections
        .list
        .iter()
        .map(|s| outside[usize::from(s.cell)])
        .collect();
    let (tones, tone_of) = tones(
        sections,
        &covered,
        &is_outside,
        pens,
        picked,
        hand,
        mm_per_px,
    )?;
    let mut colored = sections.list.clone();
    for (section, &tone) in colored.iter_mut().zip(&tone_of) {
        section.band = tone;
    }
    let to_color = ToColor {
        choices: &tones,
        pens,
        paper: choices.paper,
        sections: &colored,
        touching: &outlines.touching(),
        parted: &outlines.parted,
        mm2_per_px: mm_per_px * mm_per_px,
        pace: &choices.pace,
        rest_s: choices.rest.seconds(),
    };
    let sheets = Sheet::all(scene, sections, &taken(scene, sections, &covered));
    let ((passes, schedule), unnumbered) = rayon::join(
        || to_color.plan_passes(),
        || {
            let sheets = sheets.iter();
            sheets
                .map(|s| Unnumbered::new(&s.sections, s.taken.clone(), mm_per_px))
                .collect::<Vec<_>>()
        },
    );
    let number_of = |id: u16| {
        let at = usize::from(id) - 1;
        let two = |p: &Pass| p.bands.contains(&tone_of[at]) && p.pick.under().is_some();
        match covered[at] {
            Some(_) => Plan::COVERED.to_owned(),
            None => section_text(
                passes::number_of(&passes, tone_of[at]),
                passes.iter().any(two),
            ),
        }
    };
    let mut labels = Labels::default();
    for (sheet, unnumbered) in sheets.iter().zip(unnumbered) {
        let local = unnumbered.numbered(|id| number_of(sheet.ids[usize::from(id) - 1]));
        sheet.add(local, &mut labels, mm_per_px);
    }
    labels.labels.sort_by_key(|l| l.sections[0]);
    Ok(Work {
        labels,
        tones,
        tone_of,
        passes,
        schedule,
        covered,
    })
}

/// One sheet of card by itself, for its numbers: none stands where there is no card, or on another sheet.
struct Sheet {
    /// Where its top left lies in the frame, in pixels.
    at: (usize, usize),
    /// What is on it, with ids from 1 of its own, ...
    sections: Sections,
    /// ... and their ids among all sections.
    ids: Vec<u16>,
    taken: Grid<bool>,
}

impl Sheet {
    fn all(scene: &Scene, sections: &Sections, taken: &Grid<bool>) -> Vec<Self> {
        let sheets = scene.sheets().into_iter();
        sheets.map(|px| Self::of(px, sections, taken)).collect()
    }

    /// What lies between left, top, right and bottom, in pixels.
    fn of(px: (usize, usize, usize, usize), all: &Sections, taken: &Grid<bool>) -> Self {
        let (x0, y0, x1, y1) = px;
        let mut own = vec![0u16; all.list.len() + 1];
        let mut ids = Vec::new();
        let mut list = Vec::new();
        for section in &all.list {
            let (x, y) = section.center;
            if (x0..x1).contains(&x) && (y0..y1).contains(&y) {
                ids.push(section.id);
                own[usize::from(section.id)] = ids.len() as u16;
                list.push(Section {
                    id: ids.len() as u16,
                    center: (x - x0, y - y0),
                    ..*section
                });
            }
        }
        Self {
            at: (x0, y0),
            sections: Sections {
                map: part(&all.map, px).map(|id| own[usize::from(id)]),
                list,
                cuts: Cuts::none(),
            },
            ids,
            taken: part(taken, px),
        }
    }

    /// Adds its numbers to those of the frame.
    fn add(&self, local: Labels, all: &mut Labels, mm_per_px: f64) {
        let by = Vec2::new(self.at.0 as f64, self.at.1 as f64) * mm_per_px;
        let moved = |mut label: Label| {
            for id in &mut label.sections {
                *id = self.ids[usize::from(*id) - 1];
            }
            label.at += by;
            label.leaders.iter_mut().for_each(|p| *p += by);
            label
        };
        all.labels.extend(local.labels.into_iter().map(moved));
        all.details
            .extend(local.details.into_iter().map(|d| Detail {
                frame: d.frame + by,
                labels: d.labels.into_iter().map(moved).collect(),
            }));
    }
}

/// What of a grid lies between left, top, right and bottom, in pixels.
fn part<T: Copy>(grid: &Grid<T>, (x0, y0, x1, y1): (usize, usize, usize, usize)) -> Grid<T> {
    let rows = (y0..y1).map(|y| &grid.data[y * grid.width + x0..y * grid.width + x1]);
    Grid {
        width: x1 - x0,
        height: y1 - y0,
        data: rows.flatten().copied().collect(),
    }
}

/// What every section is colored as: its band, or as the person wants it; what is wholly covered needs no color.
fn tones(
    sections: &Sections,
    covered: &[Option<usize>],
    is_outside: &[bool],
    pens: &[Pen],
    picked: &[Choice],
    hand: &SectionChoices,
    mm_per_px: f64,
) -> Result<(Vec<Choice>, Vec<usize>)> {
    let mut by_hand: Vec<Option<Pick>> = vec![None; sections.list.len()];
    let place = |point: [f64; 2], what: &str| {
        let section = sections.at(point, mm_per_px).ok_or_else(|| {
            Error::new(
                format!("the point [{}, {}] of {what} lies in no section", point[0], point[1]),
                "Give points inside sections, in millimeters from the top left; the guide tells where a tapped one is. A \
                 whole cell of the drawing is left bare with bare_cells.",
            )
        })?;
        Ok(usize::from(section.id) - 1)
    };
    if let Some(wish) = &hand.background {
        let pick = pick_of(wish, pens, &hand.pens, &hand.forbid)?;
        for (own, _) in by_hand.iter_mut().zip(is_outside).filter(|(_, o)| **o) {
            *own = Some(pick);
        }
    }
    for pin in &hand.pinned {
        let pick = pick_of(pin, pens, &hand.pens, &hand.forbid)?;
        for &point in &pin.at {
            by_hand[place(point, &format!("the pen {}", pin.name))?] = Some(pick);
        }
    }
    for &point in &hand.bare {
        let at = place(point, "bare")?;
        let wish = &mut by_hand[at];
        // The background's pen is no wish for this section.
        let by_point = !is_outside[at];
        if let Some(pen) = wish.and_then(Pick::pen).filter(|_| by_point) {
            let [x, y] = point;
            return Err(Error::new(
                format!(
                    "the section around [{x}, {y}] is wished both bare and with {}",
                    pens[pen].name
                ),
                "Take the point out of bare, or out of [[pen]].",
            ));
        }
        *wish = Some(Pick::Paper);
    }
    for (wish, _) in by_hand.iter_mut().zip(covered).filter(|(_, c)| c.is_some()) {
        *wish = Some(Pick::Paper);
    }
    let mut tones = picked.to_vec();
    let tone_of = sections
        .list
        .iter()
        .zip(by_hand)
        .map(|(section, wish)| {
            let Some(pick) = wish else {
                return section.band;
            };
            let known = (picked.len()..tones.len()).find(|&t| tones[t].pick == pick);
            known.unwrap_or_else(|| {
                tones.push(Choice {
                    pick,
                    runner_ups: Vec::new(),
                });
                tones.len() - 1
            })
        })
        .collect();
    Ok((tones, tone_of))
}

/// Where no number may stand: on the drawing, on what is cut, and under a piece, unless that covers the section wholly.
fn taken(scene: &Scene, sections: &Sections, covered: &[Option<usize>]) -> Grid<bool> {
    let mut taken = scene.lines.ink();
    if let Some(card) = &scene.card {
        card.mark_cuts(&mut taken);
        let hidden = sections.map.data.iter().zip(&card.cover.data);
        for (taken, (&id, &piece)) in taken.data.iter_mut().zip(hidden) {
            let shows = id > 0 && covered[usize::from(id) - 1].is_none();
            *taken |= shows && piece > 0;
        }
    }
    taken
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
