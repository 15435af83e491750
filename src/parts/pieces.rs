//! Connected pieces, and how large and wide they are.

use imageproc::region_labelling::Connectivity;

use crate::grid::{Grid, squared_distance_to_rim};

/// The connected pieces of equal values; 0 is none.
pub struct Pieces {
    /// The piece's number from 1; 0 where nothing is.
    pub map: Grid<u32>,
    /// By the piece's number: pixels, and width in pixels.
    pub size: Vec<usize>,
    pub width_px: Vec<f64>,
}

impl Pieces {
    pub fn of<T: Copy + Into<u32>>(grid: &Grid<T>) -> Self {
        let (map, count) = grid.pieces(Connectivity::Four);
        let depth = squared_distance_to_rim(&map);
        let mut size = vec![0usize; count + 1];
        let mut deepest = vec![0.0f64; count + 1];
        for (&p, &d) in map.data.iter().zip(&depth) {
            size[p as usize] += 1;
            deepest[p as usize] = deepest[p as usize].max(d);
        }
        Self {
            map,
            size,
            width_px: deepest.iter().map(|d| 2.0 * d.sqrt() + 1.0).collect(),
        }
    }
}
