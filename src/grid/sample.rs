//! Between pixels, and at half the resolution.

use std::ops::{Add, Mul, Sub};

use rayon::prelude::*;

use super::{Grid, Window};

/// The two pixels, of `count` in a row, between whose middles a place lies, and how far it is from the first to the
/// second, 0 to 1. `at` is measured from the beginning of the row, so that pixels have their middles at halves; beyond
/// the outermost middles the row goes on as it ends.
#[inline]
fn between(at: f64, count: usize) -> (usize, usize, f64) {
    let at = (at - 0.5).clamp(0.0, (count - 1) as f64);
    let first = at as usize;
    (first, (first + 1).min(count - 1), at - first as f64)
}

impl<T: Copy> Grid<T> {
    /// The four pixels around a place and what each counts for there, bilinear: the upper two, then the lower two.
    /// `x` and `y` are measured from the top left corner; beyond the outermost middles the picture goes on as it ends.
    #[inline]
    pub fn around(&self, x: f64, y: f64) -> [(T, f64); 4] {
        let ((i, i1, u), (j, j1, v)) = (between(x, self.width), between(y, self.height));
        [
            (self.at(i, j), (1.0 - u) * (1.0 - v)),
            (self.at(i1, j), u * (1.0 - v)),
            (self.at(i, j1), (1.0 - u) * v),
            (self.at(i1, j1), u * v),
        ]
    }

    /// The value at a place, bilinear; places as in [`Grid::around`].
    #[inline]
    pub fn interpolated(&self, x: f64, y: f64) -> T
    where
        T: Add<Output = T> + Sub<Output = T> + Mul<f32, Output = T>,
    {
        let ((i, i1, u), (j, j1, v)) = (between(x, self.width), between(y, self.height));
        let mix = |from: T, to: T, share: f64| from + (to - from) * share as f32;
        let upper = mix(self.at(i, j), self.at(i1, j), u);
        let lower = mix(self.at(i, j1), self.at(i1, j1), u);
        mix(upper, lower, v)
    }

    /// At half the resolution: `of` makes one of every block of 2 x 2, the upper two first. An odd last column or row
    /// counts twice.
    pub fn halved<U: Send>(&self, of: impl Fn([T; 4]) -> U + Sync) -> Grid<U>
    where
        T: Sync,
    {
        halves(self.width, self.height, |block| {
            of(block.map(|i| self.data[i]))
        })
    }
}

/// [`Grid::halved`] for grids of one size that are read together: `of` is given where the four lie in them.
pub fn halves<U: Send>(
    width: usize,
    height: usize,
    of: impl Fn([usize; 4]) -> U + Sync,
) -> Grid<U> {
    let (across, down) = (width.div_ceil(2), height.div_ceil(2));
    let row = |y: usize| {
        let (upper, lower) = (2 * y * width, (2 * y + 1).min(height - 1) * width);
        let block = move |x: usize| {
            let (left, right) = (2 * x, (2 * x + 1).min(width - 1));
            [upper + left, upper + right, lower + left, lower + right]
        };
        (0..across).map(block)
    };
    Grid {
        width: across,
        height: down,
        data: (0..down)
            .into_par_iter()
            .flat_map_iter(|y| row(y).map(&of))
            .collect(),
    }
}

/// The blocks of `side` x `side` pixels that a frame of `width * height` pixels is cut into; those at its right and lower
/// ends are as large as what is left.
pub fn blocks(width: usize, height: usize, side: usize) -> Grid<Window> {
    let (across, down) = (width.div_ceil(side), height.div_ceil(side));
    let block = |i: usize| {
        let (left, top) = (i % across * side, i / across * side);
        Window {
            left,
            top,
            width: side.min(width - left),
            height: side.min(height - top),
        }
    };
    Grid {
        width: across,
        height: down,
        data: (0..across * down).map(block).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers() -> Grid<f64> {
        Grid {
            width: 3,
            height: 2,
            data: vec![0.0, 1.0, 2.0, 10.0, 11.0, 12.0],
        }
    }

    #[test]
    fn a_plane_is_read_exactly_between_pixels_and_goes_on_at_its_ends() {
        let value = |x: f64, y: f64| {
            let around = numbers().around(x, y);
            around.iter().map(|(v, w)| v * w).sum::<f64>()
        };
        let single = numbers().map(|v| v as f32);
        for (x, y, is) in [
            (0.5, 0.5, 0.0),
            (1.25, 0.75, 3.25),
            (2.5, 1.5, 12.0),
            (-4.0, 1.0, 5.0),
            (9.0, 9.0, 12.0),
        ] {
            assert!((value(x, y) - is).abs() < 1e-12, "{x} {y}");
            assert!(
                (single.interpolated(x, y) - is as f32).abs() < 1e-5,
                "{x} {y}"
            );
        }
    }

    #[test]
    fn halves_are_made_of_blocks_and_the_last_column_counts_twice() {
        let half = numbers().halved(|block| block);
        assert_eq!((half.width, half.height), (2, 1));
        assert_eq!(half.data, [[0.0, 1.0, 10.0, 11.0], [2.0, 2.0, 12.0, 12.0]]);
    }

    #[test]
    fn blocks_hold_every_pixel_once() {
        let blocks = blocks(7, 5, 3);
        assert_eq!((blocks.width, blocks.height), (3, 2));
        let mut held: Vec<usize> = blocks.data.iter().flat_map(|b| b.indices(7)).collect();
        held.sort_unstable();
        assert!(held.into_iter().eq(0..7 * 5));
    }
}
