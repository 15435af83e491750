//! What hangs together.

use image::{Luma, Pixel, Primitive};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::Grid;

impl<T: Copy + Primitive> Grid<T>
where
    Luma<T>: Pixel<Subpixel = T> + Eq,
{
    /// The connected pieces of equal values, numbered from 1 in reading order, and how many there are; 0 where the value
    /// is 0.
    pub fn pieces(self, by: Connectivity) -> (Grid<u32>, usize) {
        let pieces: Grid<u32> =
            connected_components(&self.into_image(), by, Luma([T::zero()])).into();
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
        let (four, count) = map.clone().pieces(Connectivity::Four);
        assert_eq!((four.data, count), (vec![1, 1, 0, 2, 0, 0, 3, 2], 3));
        let (eight, count) = map.pieces(Connectivity::Eight);
        assert_eq!((eight.data, count), (vec![1, 1, 0, 2, 0, 0, 1, 2], 2));
    }
}
