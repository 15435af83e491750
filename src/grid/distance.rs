//! How far a pixel lies from others.

use imageproc::distance_transform::euclidean_squared_distance_transform;
use rayon::prelude::*;

use super::{Grid, Window};

/// Rows are shared out to threads in lots of at least so many pixels: less is not worth the sharing.
const LOT_PX: usize = 1 << 14;
/// Steps along a column where it has nothing to go to.
const NEVER: u32 = u32::MAX;

/// Squared distance, in pixels, from every pixel to the nearest one where `to` is true; infinite where it is true nowhere.
pub fn squared_distance(to: &Grid<bool>) -> Vec<f64> {
    euclidean_squared_distance_transform(&to.map(u8::from).into_image()).into_raw()
}

/// Where a pixel for which `to` is true lies within so far, as a squared distance in pixels: cheaper than the distances.
pub fn within(to: &Grid<bool>, squared: f64) -> Vec<bool> {
    let width = to.width.max(1);
    // Squared distances are whole numbers.
    let squared = squared.floor();
    let most_steps = (squared.max(0.0).sqrt() as u32).min(to.height as u32);
    // How far along its row a pixel reaches, by its steps along its column.
    let reach: Vec<usize> = (0..=most_steps)
        .filter(|_| squared >= 0.0)
        .map(|steps| ((squared - f64::from(steps).powi(2)).sqrt() as usize).min(width))
        .collect();
    let along = steps_along_columns(to);
    let mut near = vec![false; along.len()];
    near.par_chunks_mut(width)
        .zip(along.par_chunks(width))
        .with_min_len(LOT_PX.div_ceil(width))
        .for_each(|(near, along)| reached_along_row(along, &reach, near));
    near
}

/// Squared distance, in pixels, from every pixel to the nearest pixel on the rim of its piece; see [`rim`].
pub fn squared_distance_to_rim<T: Copy + PartialEq + Default>(pieces: &Grid<T>) -> Vec<f64> {
    let mut all = Grid::filled(pieces.width, pieces.height, 0.0);
    // What is 0 is rim, so that no way to a rim leaves the pieces.
    if let Some(window) = Window::around(pieces, |piece| piece != T::default()) {
        let Window { width, height, .. } = window;
        let data = squared_distance(&rim(&pieces.cut_out(window)));
        all.put_back(
            window,
            &Grid {
                width,
                height,
                data,
            },
        );
    }
    all.data
}

/// The rims of pieces: where a neighbor belongs to another piece, or the frame ends; and where the piece is 0.
pub fn rim<T: Copy + PartialEq + Default>(pieces: &Grid<T>) -> Grid<bool> {
    let (width, height) = (pieces.width, pieces.height);
    let mut rim = Grid::filled(width, height, true);
    let row = |y: usize| &pieces.data[y * width..][..width];
    for y in 1..height.saturating_sub(1) {
        let (above, here, below) = (row(y - 1), row(y), row(y + 1));
        let rim = &mut rim.data[y * width..][..width];
        for x in 1..width.saturating_sub(1) {
            let piece = here[x];
            let around = [above[x], here[x - 1], here[x + 1], below[x]];
            rim[x] = piece == T::default() || around != [piece; 4];
        }
    }
    rim
}

/// Steps from every pixel to the nearest one of its column where `to` is true.
fn steps_along_columns(to: &Grid<bool>) -> Vec<u32> {
    let width = to.width;
    let mut steps: Vec<u32> = to.data.iter().map(|&t| if t { 0 } else { NEVER }).collect();
    for i in width..steps.len() {
        steps[i] = steps[i].min(steps[i - width].saturating_add(1));
    }
    for i in (width..steps.len()).rev() {
        steps[i - width] = steps[i - width].min(steps[i].saturating_add(1));
    }
    steps
}

/// Marks what is reached in a row from the steps `along` its columns: `reach` says how far, and nothing beyond its end.
fn reached_along_row(along: &[u32], reach: &[usize], near: &mut [bool]) {
    let reach_of = |x: usize| reach.get(along[x] as usize);
    // Everything before this is reached from the left.
    let mut end = 0;
    for x in 0..near.len() {
        end = reach_of(x).map_or(end, |reach| end.max(x + reach + 1));
        near[x] = x < end;
    }
    // Everything from here on is reached from the right.
    let mut start = near.len();
    for x in (0..near.len()).rev() {
        start = reach_of(x).map_or(start, |reach| start.min(x.saturating_sub(*reach)));
        near[x] |= x >= start;
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// Against distances, which are those of the imageproc crate.
        #[test]
        fn within_a_distance_is_what_lies_no_farther(
            (width, height, data) in (1usize..40, 1usize..40, 1u32..200).prop_flat_map(|(w, h, rare)| {
                let pixel = prop::bool::weighted(1.0 / f64::from(rare));
                (Just(w), Just(h), prop::collection::vec(pixel, w * h))
            })
        ) {
            let to = Grid { width, height, data };
            let squared = squared_distance(&to);
            for most in [-1.0, 0.0, 0.9, 1.0, 5.0, 24.99, 25.0, 1e6, f64::INFINITY] {
                let near: Vec<bool> = squared.iter().map(|&d| d.is_finite() && d <= most).collect();
                prop_assert_eq!(within(&to, most), near);
            }
        }
    }

    proptest! {
        #[test]
        fn to_the_rim_it_is_as_far_in_the_window_of_the_pieces_as_in_the_frame(
            (width, height, data) in (1usize..30, 1usize..30).prop_flat_map(|(w, h)| {
                (Just(w), Just(h), prop::collection::vec(0u8..3, w * h))
            }),
            empty in 0usize..12,
        ) {
            let mut pieces = Grid { width, height, data };
            let beyond = |i: usize| (i % width).min(i / width) < empty;
            for i in (0..width * height).filter(|&i| beyond(i)) {
                pieces.data[i] = 0;
            }
            prop_assert_eq!(squared_distance_to_rim(&pieces), squared_distance(&rim(&pieces)));
        }
    }

    #[test]
    fn a_row_alone_a_column_alone_and_nothing_at_all_are_measured() {
        let row = |data: Vec<bool>, width: usize| Grid {
            width,
            height: data.len() / width.max(1),
            data,
        };
        let marks = vec![false, false, true, false];
        let squared = [4.0, 1.0, 0.0, 1.0];
        assert_eq!(squared_distance(&row(marks.clone(), 4)), squared);
        assert_eq!(squared_distance(&row(marks, 1)), squared);
        assert_eq!(
            squared_distance(&row(vec![false; 3], 3)),
            [f64::INFINITY; 3]
        );
        assert!(squared_distance(&row(Vec::new(), 0)).is_empty());
        assert!(squared_distance_to_rim(&Grid::filled(0, 3, 1u8)).is_empty());
    }
}
