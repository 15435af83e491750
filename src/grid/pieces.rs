//! What hangs together.

use image::Luma;
use imageproc::region_labelling::{Connectivity, connected_components};

use super::{Grid, Window};

impl<T: Copy + Into<u32>> Grid<T> {
    /// The connected pieces of equal values, numbered from 1 in reading order, and how many there are; 0 where the value
    /// is 0 (or false).
    pub fn pieces(&self, by: Connectivity) -> (Grid<u32>, usize) {
        let mut all = Grid::filled(self.width, self.height, 0);
        // A drawing leaves much of its page empty.
        let Some(window) = Window::around(self, |v| v.into() > 0) else {
            return (all, 0);
        };
        // With an empty row below: the crate has a label too few where every pixel is a piece of its own.
        let Window { width, height, .. } = window;
        let height = height + 1;
        let mut data: Vec<u32> = Vec::with_capacity(width * height);
        for row in self.rows_of(window) {
            data.extend(row.iter().map(|&v| v.into()));
        }
        data.resize(width * height, 0);
        let values = Grid {
            width,
            height,
            data,
        };
        let pieces = connected_components(&values.into_image(), by, Luma([0u32]));
        let pieces: Grid<u32> = pieces.into();
        let count = pieces.data.iter().copied().max().unwrap_or(0) as usize;
        all.put_back(window, &pieces);
        (all, count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_of_one_value_are_counted_apart_and_corners_join_only_where_asked() {
        let map = Grid {
            width: 4,
            height: 2,
            data: vec![7u8, 7, 0, 9, 0, 0, 7, 9],
        };
        let (four, count) = map.pieces(Connectivity::Four);
        assert_eq!((four.data, count), (vec![1, 1, 0, 2, 0, 0, 3, 2], 3));
        let (eight, count) = map.pieces(Connectivity::Eight);
        assert_eq!((eight.data, count), (vec![1, 1, 0, 2, 0, 0, 1, 2], 2));
    }

    #[test]
    fn every_pixel_may_be_a_piece_of_its_own_and_none_at_all() {
        for side in 1..4 {
            let own: Vec<u32> = (1..=side * side).collect();
            let map = Grid {
                width: side as usize,
                height: side as usize,
                data: own.iter().map(|v| v + 7).collect::<Vec<u32>>(),
            };
            let (pieces, count) = map.pieces(Connectivity::Four);
            assert_eq!((pieces.data, count), (own.clone(), own.len()));
            let (pieces, count) = map.map(|_| 0u32).pieces(Connectivity::Four);
            assert_eq!((pieces.data, count), (vec![0; own.len()], 0));
        }
    }
}
