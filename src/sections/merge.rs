//! Sections that the person wants to color as one.

use std::collections::BTreeSet;

use crate::error::{Error, Result};
use crate::grid::Grid;

use super::number::{Sections, measured};

/// Gives sections the band of another; those of one band that touch in one cell, with no cut between them, become one. Each
/// of `merged` lists points, in millimeters from the top left, in the section that lends its band and in those that take it.
///
/// # Errors
/// If a point lies in no section.
pub fn merge(sections: &Sections, merged: &[Vec<[f64; 2]>], mm_per_px: f64) -> Result<Sections> {
    let touching = touching(sections);
    let mut bands: Vec<usize> = sections.list.iter().map(|s| s.band).collect();
    for points in merged {
        let places: Vec<usize> = points
            .iter()
            .map(|&point| place(sections, point, mm_per_px))
            .collect::<Result<_>>()?;
        let Some((&first, others)) = places.split_first() else {
            continue;
        };
        let wanted = bands[first];
        for &other in others {
            for s in together(other, &bands, &touching) {
                bands[s] = wanted;
            }
        }
    }
    Ok(joined(sections, &bands, &touching))
}

/// The index of the section at a point.
fn place(sections: &Sections, [x, y]: [f64; 2], mm_per_px: f64) -> Result<usize> {
    let section = sections.at([x, y], mm_per_px).ok_or_else(|| {
        Error::new(
            format!("the point [{x}, {y}] of merge lies in no section"),
            "Give points inside sections, in millimeters from the top left; the guide tells where a tapped one is.",
        )
    })?;
    Ok(usize::from(section.id) - 1)
}

/// Which sections touch inside their cell with no cut between them, by index.
fn touching(sections: &Sections) -> Vec<BTreeSet<usize>> {
    let map = &sections.map;
    let mut touching = vec![BTreeSet::new(); sections.list.len()];
    for i in 0..map.data.len() {
        for j in map.neighbors(i).filter(|&j| j > i) {
            let (a, b) = (usize::from(map.data[i]), usize::from(map.data[j]));
            if a > 0
                && b > 0
                && a != b
                && sections.list[a - 1].cell == sections.list[b - 1].cell
                && !sections.cuts.part(i, j)
            {
                touching[a - 1].insert(b - 1);
                touching[b - 1].insert(a - 1);
            }
        }
    }
    touching
}

/// A section and all it hangs together with by sections of its band.
fn together(section: usize, bands: &[usize], touching: &[BTreeSet<usize>]) -> BTreeSet<usize> {
    let mut found = BTreeSet::from([section]);
    let mut open = vec![section];
    while let Some(s) = open.pop() {
        for &t in &touching[s] {
            if bands[t] == bands[s] && found.insert(t) {
                open.push(t);
            }
        }
    }
    found
}

/// The sections with these bands.
fn joined(sections: &Sections, bands: &[usize], touching: &[BTreeSet<usize>]) -> Sections {
    let mut number = vec![0u32; bands.len()];
    let mut count = 0;
    // Ids are in reading order, and so are those of what hangs together by the first of it.
    for s in 0..bands.len() {
        if number[s] == 0 {
            count += 1;
            for t in together(s, bands, touching) {
                number[t] = count;
            }
        }
    }
    let index = |id: u16| usize::from(id).checked_sub(1);
    let pieces: Grid<u32> = sections.map.map(|id| index(id).map_or(0, |s| number[s]));
    let of = |i: usize| {
        let s = index(sections.map.data[i]).unwrap_or(0);
        (sections.list[s].cell, bands[s])
    };
    measured(&pieces, of, sections.cuts.clone())
}

#[cfg(test)]
mod tests {
    use super::super::number::number_sections;
    use super::*;

    #[test]
    fn a_section_takes_the_band_of_another_and_stops_at_its_cell() {
        // Three bands side by side in one cell, one of them in another cell, too.
        let at = |i: usize| [1u8, 2, 2, 1, 1, 1][i % 12 / 2];
        let label = Grid {
            width: 12,
            height: 4,
            data: (0..48).map(at).collect(),
        };
        let cells = Grid {
            width: 12,
            height: 4,
            data: (0..48).map(|i| [1, 1, 1, 1, 0, 2][i % 12 / 2]).collect(),
        };
        // The same field at half resolution.
        let half = |grid: &Grid<u16>| Grid {
            width: 6,
            height: 2,
            data: (0..12).map(|i| grid.at(i % 6 * 2, i / 6 * 2)).collect(),
        };
        let labels = half(&label.map(u16::from)).map(|l| l as u8);
        let sections = number_sections(&labels, &half(&cells), &cells, 0);
        assert_eq!(sections.list.len(), 4);
        let points = vec![vec![[0.5, 0.5], [5.0, 0.5]]];
        let merged = merge(&sections, &points, 1.0).unwrap();
        let row: Vec<u16> = merged.map.data[..12].to_vec();
        assert_eq!(row, [1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 2, 2]);
        assert!(merged.list.iter().all(|s| s.band == 0));
        for outside in [[8.5, 0.5], [-1.0, 0.0], [0.0, 9.0]] {
            let points = vec![vec![[0.5, 0.5], outside]];
            assert!(merge(&sections, &points, 1.0).is_err());
        }
    }
}
