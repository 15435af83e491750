//! Every photo of the job laid onto its cells, and every part with a color lit on its own.

mod card;
mod drawn;
mod entry;

pub use card::lay_card;

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::art::{Cells, Lines, places};
use crate::color::Srgb8;
use crate::error::{Error, Result};
use crate::frame::Frame;
use crate::grid::Grid;
use crate::job::{LayingChoices, Part, White};
use crate::light::{Lamp, Lit, LitPart, ambient_of, light_parts};
use crate::pens::Pen;
use crate::plan;
use crate::reference::{self, Alignment, Found, Lay, Photo, Reference, Silhouette, Target};
use entry::lit_parts;

/// A photo stretched by more than this factor looks wrong; from memory.
const STRETCH_SEEN: f64 = 1.1;

/// Most cells without a source that are named one by one.
const NAMED: usize = 6;

/// A decoded photo, and what stands out in it.
pub struct Seen {
    /// As the job calls it.
    pub name: PathBuf,
    pub photo: Photo,
    pub subject: Found,
}

/// The reference in the working frame, and how it came there.
pub struct Laid {
    pub reference: Reference,
    /// The lit part that every cell belongs to, by the cell's number (0 is no cell); empty without lit parts.
    pub lit_part_of_cell: Vec<Option<usize>>,
    /// The pen that is the middle tone of a cell's part, likewise.
    pub pen_of_cell: Vec<Option<String>>,
    /// Cells that no photo and no part is for.
    pub without_source: Vec<u16>,
    /// Cells that a stamp's or a piece's own tables leave bare.
    pub meant_bare: Vec<u16>,
    pub alignments: Vec<plan::LaidPhoto>,
    pub warnings: Vec<String>,
}

/// What lies outside the subject, flat, in the color of one pen. A name that no pen has is told where pens are given.
fn background_part(name: &str, cells: &Cells, pens: &[Pen]) -> LitPart {
    let pen = pens.iter().find(|p| p.name == name);
    let outside = cells.outside_cells();
    LitPart {
        cells: (1..=cells.count as u16)
            .filter(|&cell| outside[usize::from(cell)])
            .collect(),
        color: pen.map_or(Srgb8::new(128, 128, 128), |p| p.color),
        pen: None,
        roundness: 0.0,
        gloss: 0.0,
        crease: 0.0,
        over: Vec::new(),
        shadow_mm: 0.0,
    }
}

/// Paints a part's cells in its plain color: no light falls on a background.
fn fill(picture: &mut Grid<[u8; 3]>, cells: &Cells, part: &LitPart) {
    for (pixel, cell) in picture.data.iter_mut().zip(&cells.map.data) {
        if part.cells.contains(cell) {
            *pixel = part.color.0;
        }
    }
}

/// Lays every photo onto the cells it is for and lights the parts that have a color; `drawing` is `None` without art.
///
/// # Errors
/// If points do not lie in cells, a cell is given twice, a photo's points do not say how it lies, or it shows nothing
/// there; if a part wants a pen that is not there.
pub fn lay_references(
    choices: &LayingChoices,
    parts: &[Part],
    photos: &[Seen],
    drawing: Option<(&Cells, &Lines)>,
    pens: &[Pen],
    frame: Frame,
) -> Result<Laid> {
    let photos: Vec<&Seen> = parts
        .iter()
        .map(|part| seen(photos, &part.photo))
        .collect::<Result<_>>()?;
    let (cells, lines) = drawing.unzip();
    let Sources { owners, colored } = sources(choices, parts, cells, pens, frame)?;
    let ground = Ground {
        cells,
        drawn: lines.map(|lines| &lines.wall),
        owners: owners.as_deref(),
        has_lit: !colored.is_empty(),
        frame,
        white: choices.white,
    };
    let laid: Vec<Result<(Alignment, Reference)>> = parts
        .par_iter()
        .zip(&photos)
        .enumerate()
        .map(|(p, (part, seen))| ground.lay(p, part, seen))
        .collect();
    // Of several photos that cannot be laid the first is told, whichever thread was faster.
    let laid = laid.into_iter().collect::<Result<Vec<_>>>()?;

    let (alignments, warnings) = told_alignments(&laid, parts, &photos);
    let mut all: Vec<Reference> = laid.into_iter().map(|(_, reference)| reference).collect();
    let part_of_cell = match (drawing, &owners) {
        (Some(drawing), Some(owners)) if !colored.is_empty() => {
            let lit = light(choices, &colored, (&all, owners), drawing, frame);
            all.push(Reference {
                picture: lit.picture,
                evidence: lit.subject.map(|s| u8::from(s) * u8::MAX),
                around: lit.subject.map(|_| false),
                subject: lit.subject,
            });
            lit.part_of_cell
        }
        _ => Vec::new(),
    };
    let by_cell = owners.iter().flatten().zip(0..).skip(1);
    let without_source = by_cell.filter(|(owner, _)| owner.is_none());
    Ok(Laid {
        without_source: without_source.map(|(_, cell)| cell).collect(),
        pen_of_cell: part_of_cell
            .iter()
            .map(|part| part.and_then(|p| colored[p].pen.clone()))
            .collect(),
        lit_part_of_cell: part_of_cell,
        reference: match (cells, owners) {
            _ if all.is_empty() => {
                return Err(Error::new(
                    "no photo is given",
                    "Give the photo with --reference.",
                ));
            }
            (Some(cells), Some(owners)) => patched(&all, cells, &owners),
            _ => all.swap_remove(0),
        },
        meant_bare: Vec::new(),
        alignments,
        warnings,
    })
}

/// Where the cells have their colors from.
struct Sources {
    /// The source that every cell belongs to, by the cell's number: a photo, or behind them the lit picture; `None` if all
    /// belong to the one photo.
    owners: Option<Vec<Option<usize>>>,
    /// What the lit picture is made of.
    colored: Vec<LitPart>,
}

fn sources(
    choices: &LayingChoices,
    parts: &[Part],
    cells: Option<&Cells>,
    pens: &[Pen],
    frame: Frame,
) -> Result<Sources> {
    let whole = parts.len() == 1
        && parts[0].cells.is_empty()
        && choices.parts.is_empty()
        && choices.background_pen.is_none();
    let Some(cells) = cells.filter(|_| !whole) else {
        return Ok(Sources {
            owners: None,
            colored: Vec::new(),
        });
    };
    let mut owners = owners(parts, cells, frame.mm_per_px)?;
    let colored = colored_parts(choices, parts, cells, pens, frame)?;
    for &cell in colored.iter().flat_map(|part| &part.cells) {
        owners[usize::from(cell)] = Some(parts.len());
    }
    Ok(Sources {
        owners: Some(owners),
        colored,
    })
}

/// The parts that have a color; the background is the last if it has a pen.
fn colored_parts(
    choices: &LayingChoices,
    photos: &[Part],
    cells: &Cells,
    pens: &[Pen],
    frame: Frame,
) -> Result<Vec<LitPart>> {
    let mut taken = named(photos, cells, frame.mm_per_px);
    let background = choices.background_pen.as_ref();
    let outside = background.map(|name| background_part(name, cells, pens));
    for &cell in outside.iter().flat_map(|part| &part.cells) {
        taken[usize::from(cell)] = true;
    }
    let mut colored = lit_parts(&choices.parts, cells, pens, taken)?;
    colored.extend(outside);
    Ok(colored)
}

/// Lights the parts that have a color, in shade as deep as that of the photos, which `owners` tells the cells of, and
/// fills the background if it has a pen.
fn light(
    choices: &LayingChoices,
    colored: &[LitPart],
    (photos, owners): (&[Reference], &[Option<usize>]),
    (cells, lines): (&Cells, &Lines),
    frame: Frame,
) -> Lit {
    let mut lamp = Lamp::new(choices.light.degrees, choices.light_height);
    if let Some(ambient) = ambient_of(photos, owners, cells, &lamp, frame.mm_per_px) {
        lamp.ambient = ambient;
    }
    let white_shadows = choices.white_shadows;
    let mut lit = light_parts(colored, &lamp, white_shadows, cells, lines, frame.mm_per_px);
    if let (Some(_), Some(outside)) = (&choices.background_pen, colored.last()) {
        fill(&mut lit.picture, cells, outside);
    }
    lit
}

/// What photos are laid onto.
struct Ground<'a> {
    cells: Option<&'a Cells>,
    /// Where lines are drawn; `None` without art.
    drawn: Option<&'a Grid<bool>>,
    /// The source that every cell belongs to, by the cell's number; `None` if all belong to the one photo.
    owners: Option<&'a [Option<usize>]>,
    has_lit: bool,
    frame: Frame,
    white: White,
}

impl Ground<'_> {
    /// Lays photo `p` onto its cells.
    fn lay(&self, p: usize, part: &Part, seen: &Seen) -> Result<(Alignment, Reference)> {
        let frame = self.frame;
        let align = |silhouette: Option<Silhouette>| {
            let target = Target {
                frame: (frame.width, frame.height),
                silhouette: silhouette.as_ref(),
                drawn: self.drawn,
                mm_per_px: frame.mm_per_px,
            };
            let subject = seen.subject.clone();
            reference::align(&seen.photo, subject, &target, part.align, &part.matches)
        };
        let mine = |cell: u16| {
            self.owners
                .is_none_or(|owners| owners[usize::from(cell)] == Some(p))
        };
        let whole = self.cells.map(|cells| cells.silhouette(frame.mm_per_px));
        let alignment = match (self.cells, self.owners) {
            (Some(cells), Some(_)) => {
                let own = align(Some(cells.silhouette_of(mine, frame.mm_per_px)))?;
                // A photo that takes what is left may show only that, or all of the drawing.
                if part.cells.is_empty() && self.has_lit {
                    let whole = align(whole)?;
                    if whole.agreement > own.agreement {
                        whole
                    } else {
                        own
                    }
                } else {
                    own
                }
            }
            _ => align(whole)?,
        };
        let white = part.white.unwrap_or(self.white);
        let mut sampled =
            reference::sample(&seen.photo, &alignment, frame.width, frame.height, white)?;
        if let Some(cells) = self.cells
            && !seen.photo.is_cut_out()
        {
            // One that is laid by points tells of none.
            let agreement = alignment.subject.as_ref().map(|subject| {
                alignment.agreement.unwrap_or_else(|| match &alignment.lay {
                    Lay::Warped(warp, _) => {
                        subject.agreement(&cells.silhouette(frame.mm_per_px), |at| warp.at(at))
                    }
                    Lay::Stretched(_) => 0.0,
                })
            });
            drawn::look_for_drawn_things(&mut sampled, cells, mine, agreement, frame.mm_per_px);
        }
        Ok((alignment, sampled))
    }
}

/// How every photo lies, and what a person should know of it.
fn told_alignments(
    laid: &[(Alignment, Reference)],
    parts: &[Part],
    photos: &[&Seen],
) -> (Vec<plan::LaidPhoto>, Vec<String>) {
    let mut alignments = Vec::new();
    let mut warnings = Vec::new();
    for (((alignment, _), part), seen) in laid.iter().zip(parts).zip(photos) {
        let name = file_name(&part.photo);
        alignments.push(plan::LaidPhoto {
            photo: name.clone(),
            told: alignment.told.clone(),
            agreement: alignment.agreement.map(|a| (a * 1000.0).round() / 1000.0),
        });
        if alignment.fell_back {
            warnings.push(format!(
                "{name} could not be laid just as asked; it lies by {}.",
                alignment.told
            ));
        }
        if let Lay::Stretched(placement) = &alignment.lay {
            let stretch = placement.stretch(&seen.photo);
            if !(1.0 / STRETCH_SEEN..STRETCH_SEEN).contains(&stretch) {
                warnings.push(format!(
                    "{name} was stretched to {:.0} % of its width to fit the drawing; crop it to the drawing's shape.",
                    100.0 * stretch
                ));
            }
        }
    }
    (alignments, warnings)
}

/// The photo of this name.
fn seen<'a>(photos: &'a [Seen], name: &Path) -> Result<&'a Seen> {
    let found = photos.iter().find(|seen| seen.name == name);
    found.ok_or_else(|| Error::file(name, "was not read", "This is a fault in penstrata."))
}

/// Tells of cells that stay bare because nothing colors them, by place.
pub fn told_bare(cells: &Cells, bare: &[u16], mm_per_px: f64) -> String {
    let points: Vec<String> = places(cells, mm_per_px)
        .iter()
        .filter(|place| bare.contains(&place.cell))
        .take(NAMED)
        .map(|place| format!("[{:.1}, {:.1}]", place.point_mm[0], place.point_mm[1]))
        .collect();
    let more = bare.len() - points.len();
    format!(
        "{} of the drawing's {} cells have neither photo nor color and stay bare, around: {}{}. A [[part]] or \
         [[reference]] without cells takes them all; points in bare_cells say that it is meant so.",
        bare.len(),
        cells.count,
        points.join(", "),
        if more > 0 {
            format!(" and {more} more")
        } else {
            String::new()
        }
    )
}

/// Which cells a photo is given by name, by the cell's number.
fn named(parts: &[Part], cells: &Cells, mm_per_px: f64) -> Vec<bool> {
    let mut named = vec![false; cells.count + 1];
    for &point in parts.iter().flat_map(|part| &part.cells) {
        if let Some(cell) = cells.cell_at(point, mm_per_px) {
            named[usize::from(cell)] = true;
        }
    }
    named
}

/// The photo that every cell belongs to, by the cell's number (0 for none).
fn owners(parts: &[Part], cells: &Cells, mm_per_px: f64) -> Result<Vec<Option<usize>>> {
    let rest = parts.iter().position(|p| p.cells.is_empty());
    let mut owners = vec![rest; cells.count + 1];
    owners[0] = None;
    for (p, part) in parts.iter().enumerate() {
        for &[x, y] in &part.cells {
            let cell = cells.cell_at([x, y], mm_per_px).ok_or_else(|| {
                Error::file(
                    &part.photo,
                    format!("the point [{x}, {y}] of its cells lies in no cell of the drawing"),
                    "Give a point inside the cell, in millimeters from the top left; steps/cells.png (--steps) shows the cells.",
                )
            })?;
            let owner = &mut owners[usize::from(cell)];
            if owner.is_some_and(|o| o != p && Some(o) != rest) {
                return Err(Error::file(
                    &part.photo,
                    format!("the cell around [{x}, {y}] is given to two photos"),
                    "Give every cell to one photo.",
                ));
            }
            *owner = Some(p);
        }
    }
    Ok(owners)
}

/// Every cell from its own source. Cells without one show nothing.
fn patched(all: &[Reference], cells: &Cells, owners: &[Option<usize>]) -> Reference {
    let (width, height) = (cells.map.width, cells.map.height);
    // A drawn line goes with the nearest cell: pixels are averaged across its edge later.
    let mut nearest = cells.map.clone();
    nearest.spread(&cells.map.map(|c| c > 0));
    let owner = nearest.map(|cell| owners[usize::from(cell)]);
    let pick = |i: usize| owner.data[i].unwrap_or(0);
    let n = width * height;
    Reference {
        picture: Grid {
            width,
            height,
            data: (0..n).map(|i| all[pick(i)].picture.data[i]).collect(),
        },
        subject: Grid {
            width,
            height,
            data: (0..n)
                .map(|i| owner.data[i].is_some() && all[pick(i)].subject.data[i])
                .collect(),
        },
        evidence: Grid {
            width,
            height,
            data: (0..n)
                .map(|i| u8::from(owner.data[i].is_some()) * all[pick(i)].evidence.data[i])
                .collect(),
        },
        around: Grid {
            width,
            height,
            data: (0..n)
                .map(|i| owner.data[i].is_some() && all[pick(i)].around.data[i])
                .collect(),
        },
    }
}

fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |n| n.to_string_lossy().into_owned(),
    )
}
