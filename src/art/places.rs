//! Where every cell is: its roomiest point, for naming it in a job.

use image::{GrayImage, Luma};
use imageproc::distance_transform::euclidean_squared_distance_transform;

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
    // A pixel is rim where a neighbor belongs to another cell or to none.
    let rim = GrayImage::from_fn(map.width as u32 + 2, map.height as u32 + 2, |x, y| {
        let at = |x: u32, y: u32| {
            let inside =
                (1..=map.width as u32).contains(&x) && (1..=map.height as u32).contains(&y);
            if inside {
                map.at(x as usize - 1, y as usize - 1)
            } else {
                0
            }
        };
        let own = at(x, y);
        let around = [
            (x.saturating_sub(1), y),
            (x + 1, y),
            (x, y.saturating_sub(1)),
            (x, y + 1),
        ];
        let is_rim = own == 0 || around.iter().any(|&(x, y)| at(x, y) != own);
        Luma([if is_rim { 255 } else { 0 }])
    });
    let squared = euclidean_squared_distance_transform(&rim);
    let mut found = vec![(0usize, -1.0f64, 0usize); cells.count + 1];
    for (i, &cell) in map.data.iter().enumerate().filter(|(_, c)| **c > 0) {
        let depth = squared
            .get_pixel((i % map.width) as u32 + 1, (i / map.width) as u32 + 1)
            .0[0];
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
