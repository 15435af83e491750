//! Where every cell is: its roomiest point, for naming it in a job.

use crate::grid::squared_distance_to_rim;

use super::Cells;

/// One cell of the drawing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// From 1.
    pub cell: u16,
    /// The center of the largest circle inside it, in millimeters from the top left of the art.
    pub point_mm: [f64; 2],
    /// That circle's diameter, in millimeters.
    pub width_mm: f64,
    pub area_mm2: f64,
}

/// Every cell's place, in the order of their numbers; cells that were cleared are left out.
pub fn places(cells: &Cells, mm_per_px: f64) -> Vec<Place> {
    let map = &cells.map;
    let squared = squared_distance_to_rim(map);
    let mut found = vec![(0usize, -1.0f64, 0usize); cells.count + 1];
    for (i, &cell) in map.data.iter().enumerate().filter(|(_, c)| **c > 0) {
        let depth = squared[i];
        let (pixels, deepest, at) = &mut found[usize::from(cell)];
        *pixels += 1;
        if depth > *deepest {
            (*deepest, *at) = (depth, i);
        }
    }
    (1..=cells.count)
        .filter(|&cell| found[cell].0 > 0)
        .map(|cell| {
            let (pixels, deepest, at) = found[cell];
            let middle = |v: usize| (v as f64 + 0.5) * mm_per_px;
            Place {
                cell: cell as u16,
                point_mm: [middle(at % map.width), middle(at / map.width)],
                width_mm: (2.0 * deepest.sqrt() + 1.0) * mm_per_px,
                area_mm2: pixels as f64 * mm_per_px * mm_per_px,
            }
        })
        .collect()
}
