//! The parts of a job that have a color or a pen, on the cells of the drawing.

use crate::art::Cells;
use crate::error::{Error, Result};
use crate::frame::MM_PER_PX;
use crate::job::{PartEntry, called};
use crate::pens::Pen;

use crate::light::{LitPart, circle_of};

/// The parts with a color or a pen, on the drawing's cells. A part without cells takes those that `taken` does not
/// mark, if no photo does.
///
/// # Errors
/// If a point lies in no cell, a cell is given twice, a pen is unknown, or parts lie over each other in a circle.
pub fn lit_parts(
    entries: &[PartEntry],
    cells: &Cells,
    pens: &[Pen],
    mut taken: Vec<bool>,
) -> Result<Vec<LitPart>> {
    let entries: Vec<(usize, &PartEntry)> = entries
        .iter()
        .enumerate()
        .filter(|(_, entry)| entry.photo.is_none())
        .collect();
    let index = |name: &String| {
        entries
            .iter()
            .position(|(_, e)| e.name.as_ref() == Some(name))
    };
    let mut parts = Vec::new();
    for &(e, entry) in &entries {
        let who = called(entry, e);
        let mut own = Vec::new();
        for &[x, y] in &entry.cells {
            let cell = cells.cell_at([x, y], MM_PER_PX).ok_or_else(|| {
                Error::new(
                    format!("the point [{x}, {y}] of {who} lies in no cell of the drawing"),
                    "Give a point inside the cell, in millimeters from the top left, not on a line; penstrata cells \
                     lists them.",
                )
            })?;
            if own.contains(&cell) {
                continue;
            }
            if std::mem::replace(&mut taken[usize::from(cell)], true) {
                return Err(Error::new(
                    format!(
                        "the cell around [{x}, {y}] of {who} is already another part's or photo's"
                    ),
                    "Give every cell to one part.",
                ));
            }
            own.push(cell);
        }
        let color = match (&entry.color, &entry.pen) {
            (Some(color), _) => *color,
            (None, Some(name)) => pens.iter().find(|p| p.name == *name).map(|p| p.color).ok_or_else(|| {
                Error::new(
                    format!("{who} wants the pen \"{name}\", but the pens file lists none of that name"),
                    "Write the pen's name exactly as in the pens file.",
                )
            })?,
            (None, None) => continue,
        };
        parts.push(LitPart {
            cells: own,
            color,
            pen: entry.pen.clone(),
            roundness: entry.roundness,
            gloss: entry.gloss,
            crease: entry.crease,
            over: entry.over.list().iter().filter_map(index).collect(),
            shadow_mm: entry.shadow.mm(),
        });
    }
    if let Some(circle) = circle_of(&parts) {
        let names: Vec<String> = circle
            .iter()
            .map(|&p| format!("\"{}\"", entries[p].1.name.as_deref().unwrap_or_default()))
            .collect();
        return Err(Error::new(
            format!(
                "parts lie over each other in a circle: {}",
                names.join(" over ")
            ),
            "Take one over out: what lies in front is over what lies behind.",
        ));
    }
    let rest = parts.iter().position(|p| p.cells.is_empty());
    if let Some(rest) = rest {
        parts[rest].cells = (1..=cells.count as u16)
            .filter(|&cell| !taken[usize::from(cell)])
            .collect();
    }
    Ok(parts)
}
