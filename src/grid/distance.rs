//! How far a pixel lies from the rim of its piece.

use imageproc::distance_transform::euclidean_squared_distance_transform;

use super::Grid;

/// Squared distance, in pixels, from every pixel to the nearest pixel on the rim of its piece; 0 on rims and where the
/// piece is 0. A pixel is on the rim if a neighbor belongs to another piece, or the frame ends there.
pub fn squared_distance_to_rim<T: Copy + PartialEq + Default>(pieces: &Grid<T>) -> Vec<f64> {
    let rim: Vec<u8> = (0..pieces.data.len())
        .map(|i| {
            let piece = pieces.data[i];
            let mut neighbors = 0;
            let same = pieces.neighbors(i).all(|j| {
                neighbors += 1;
                pieces.data[j] == piece
            });
            u8::from(piece == T::default() || !same || neighbors < 4)
        })
        .collect();
    let rim = Grid {
        width: pieces.width,
        height: pieces.height,
        data: rim,
    };
    euclidean_squared_distance_transform(&rim.into_image()).into_raw()
}
