//! The parts of a job that have a color or a pen, on the cells of the drawing.

use crate::art::Cells;
use crate::color::Srgb8;
use crate::error::{Error, Result};
use crate::frame::MM_PER_PX;
use crate::job::{PartEntry, called};
use crate::light::{LitPart, circle_of};
use crate::pens::Pen;

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
    let mut parts = Vec::new();
    let mut lit: Vec<&PartEntry> = Vec::new();
    let without_photo = |(_, entry): &(usize, &PartEntry)| entry.photo.is_none();
    for (e, entry) in entries.iter().enumerate().filter(without_photo) {
        let who = called(entry, e);
        let own = cells_of(entry, &who, cells, &mut taken)?;
        let Some(color) = color_of(entry, &who, pens)? else {
            continue;
        };
        lit.push(entry);
        parts.push(LitPart {
            cells: own,
            color,
            pen: entry.pen.clone(),
            roundness: entry.roundness,
            gloss: entry.gloss,
            crease: entry.crease,
            over: Vec::new(),
            shadow_mm: entry.shadow.mm(),
        });
    }
    let index = |name: &String| lit.iter().position(|e| e.name.as_ref() == Some(name));
    for (part, entry) in parts.iter_mut().zip(&lit) {
        part.over = entry.over.list().iter().filter_map(index).collect();
    }
    not_in_a_circle(&parts, &lit)?;
    if let Some(rest) = parts.iter().position(|p| p.cells.is_empty()) {
        parts[rest].cells = (1..=cells.count as u16)
            .filter(|&cell| !taken[usize::from(cell)])
            .collect();
    }
    Ok(parts)
}

/// The cells that an entry names, each once, which are then taken.
fn cells_of(entry: &PartEntry, who: &str, cells: &Cells, taken: &mut [bool]) -> Result<Vec<u16>> {
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
                format!("the cell around [{x}, {y}] of {who} is already another part's or photo's"),
                "Give every cell to one part.",
            ));
        }
        own.push(cell);
    }
    Ok(own)
}

/// The color of an entry, or of its pen; `None` if it has neither.
fn color_of(entry: &PartEntry, who: &str, pens: &[Pen]) -> Result<Option<Srgb8>> {
    let (None, Some(name)) = (entry.color, &entry.pen) else {
        return Ok(entry.color);
    };
    let pen = pens.iter().find(|p| p.name == *name).ok_or_else(|| {
        Error::new(
            format!("{who} wants the pen \"{name}\", but the pens file lists none of that name"),
            "Write the pen's name exactly as in the pens file.",
        )
    })?;
    Ok(Some(pen.color))
}

/// An error if parts lie over each other in a circle; `lit` are their entries.
fn not_in_a_circle(parts: &[LitPart], lit: &[&PartEntry]) -> Result<()> {
    let Some(circle) = circle_of(parts) else {
        return Ok(());
    };
    let names: Vec<String> = circle
        .iter()
        .map(|&p| format!("\"{}\"", lit[p].name.as_deref().unwrap_or_default()))
        .collect();
    Err(Error::new(
        format!(
            "parts lie over each other in a circle: {}",
            names.join(" over ")
        ),
        "Take one over out: what lies in front is over what lies behind.",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Grid;

    #[test]
    fn what_a_part_lies_over_is_found_behind_one_without_a_color() {
        let entry = |text: &str| toml::from_str::<PartEntry>(text).unwrap();
        let entries = [
            entry("name = 'nothing'"),
            entry("name = 'behind'\ncolor = '#c2452d'"),
            entry("name = 'front'\ncolor = '#2d45c2'\ncells = [[2.0, 2.0]]\nover = 'behind'"),
        ];
        let cells = Cells::single(&Grid::filled(40, 40, true));
        let parts = lit_parts(&entries, &cells, &[], vec![false; cells.count + 1]).unwrap();
        assert_eq!(parts.len(), 2);
        assert_eq!(parts[1].over, [0]);
    }
}
