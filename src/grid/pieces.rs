//! What hangs together.

use image::Luma;
use imageproc::region_labelling::{Connectivity, connected_components};

use super::Grid;

impl<T: Copy + Into<u32>> Grid<T> {
    /// The connected pieces of equal values, numbered from 1 in reading order, and how many there are; 0 where the value
    /// is 0 (or false).
    pub fn pieces(&self, by: Connectivity) -> (Grid<u32>, usize) {
        let image = self.map(Into::into).into_image();
        let pieces: Grid<u32> = connected_components(&image, by, Luma([0u32])).into();
        let count = pieces.data.iter().copied().max().unwrap_or(0) as usize;
        (pieces, count)
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
}
