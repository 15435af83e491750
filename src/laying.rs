//! Every photo of the job laid onto its cells.

use std::path::Path;

use rayon::prelude::*;

use crate::art::Cells;
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::job::{Job, Part};
use crate::plan;
use crate::reference::{self, Alignment, Found, Lay, Photo, Reference, Target};
use crate::{MM_PER_PX, STRETCH_SEEN};

/// The reference in the working frame, and how it came there.
pub struct Laid {
    pub reference: Reference,
    /// Cells that no photo is for.
    pub without_photo: Vec<u16>,
    pub alignments: Vec<plan::Alignment>,
    pub warnings: Vec<String>,
}

/// Lays every photo onto the cells it is for; `cells` is `None` without art.
///
/// # Errors
/// If a photo's points do not lie in cells or do not say how it lies, or it shows nothing there.
pub fn lay_references(
    job: &Job,
    parts: &[Part],
    photos: Vec<(Photo, Found)>,
    cells: Option<&Cells>,
    (width, height): (usize, usize),
) -> Result<Laid> {
    let owners = match cells {
        Some(cells) if parts.len() > 1 || !parts[0].cells.is_empty() => Some(owners(parts, cells)?),
        _ => None,
    };
    let laid: Vec<(Photo, Alignment, Reference)> = parts
        .par_iter()
        .zip(photos)
        .enumerate()
        .map(|(p, (part, (photo, subject)))| {
            let mine = |cell: u16| {
                owners
                    .as_ref()
                    .is_none_or(|o| o[usize::from(cell)] == Some(p))
            };
            let silhouette = cells.map(|cells| match owners {
                Some(_) => cells.silhouette_of(mine, MM_PER_PX),
                None => cells.silhouette(MM_PER_PX),
            });
            let target = Target {
                frame: (width, height),
                silhouette: silhouette.as_ref(),
                mm_per_px: MM_PER_PX,
            };
            let alignment = reference::align(&photo, subject, &target, part.align, &part.matches)?;
            let sampled = reference::sample(&photo, &alignment.lay, width, height, job.white)?;
            Ok((photo, alignment, sampled))
        })
        .collect::<Result<_>>()?;

    let mut alignments = Vec::new();
    let mut warnings = Vec::new();
    for ((photo, alignment, _), part) in laid.iter().zip(parts) {
        let name = file_name(&part.photo);
        alignments.push(plan::Alignment {
            photo: name.clone(),
            told: alignment.told.clone(),
            agreement: alignment.agreement.map(|a| (a * 1000.0).round() / 1000.0),
        });
        if alignment.fell_back {
            warnings.push(format!(
                "{name} could not be laid as asked; it lies by {}.",
                alignment.told
            ));
        }
        if let Lay::Stretched(placement) = &alignment.lay {
            let stretch = placement.stretch(photo);
            if !(1.0 / STRETCH_SEEN..STRETCH_SEEN).contains(&stretch) {
                warnings.push(format!(
                    "{name} was stretched to {:.0} % of its width to fit the drawing; crop it to the drawing's shape.",
                    100.0 * stretch
                ));
            }
        }
    }
    let without_photo: Vec<u16> = match &owners {
        Some(owners) => (1..owners.len())
            .filter(|&cell| owners[cell].is_none())
            .map(|cell| cell as u16)
            .collect(),
        None => Vec::new(),
    };
    if !without_photo.is_empty() {
        warnings.push(format!(
            "{} of the drawing's {} cells are for no photo and stay bare; a [[reference]] without cells takes them all.",
            without_photo.len(),
            owners.as_ref().map_or(0, |o| o.len() - 1)
        ));
    }
    let mut references = laid.into_iter().map(|(_, _, reference)| reference);
    let first = references
        .next()
        .ok_or_else(|| Error::new("no photo is given", "Give the photo with --reference."))?;
    let reference = match (cells, owners) {
        (Some(cells), Some(owners)) => {
            let all: Vec<Reference> = std::iter::once(first).chain(references).collect();
            joined(&all, cells, &owners)
        }
        _ => first,
    };
    Ok(Laid {
        reference,
        without_photo,
        alignments,
        warnings,
    })
}

/// The part that every cell belongs to, by the cell's number (0 for none).
fn owners(parts: &[Part], cells: &Cells) -> Result<Vec<Option<usize>>> {
    let rest = parts.iter().position(|p| p.cells.is_empty());
    let mut owners = vec![rest; cells.count + 1];
    owners[0] = None;
    for (p, part) in parts.iter().enumerate() {
        for &[x, y] in &part.cells {
            let cell = cells.cell_at([x, y], MM_PER_PX).ok_or_else(|| {
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

/// Every cell from its own photo. Cells of no photo show nothing.
fn joined(all: &[Reference], cells: &Cells, owners: &[Option<usize>]) -> Reference {
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
    }
}

fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |n| n.to_string_lossy().into_owned(),
    )
}
