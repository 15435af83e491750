//! Between pixels, and at half the resolution.

use super::Grid;

impl<T: Copy> Grid<T> {
    /// The four pixels around a place and what each counts for there, bilinear: the upper two, then the lower two.
    /// `x` and `y` are measured from the top left corner, so that pixels have their middles at halves; beyond the
    /// outermost middles the picture goes on as it ends.
    #[inline]
    pub fn around(&self, x: f64, y: f64) -> [(T, f64); 4] {
        let (right, bottom) = (self.width - 1, self.height - 1);
        let x = (x - 0.5).clamp(0.0, right as f64);
        let y = (y - 0.5).clamp(0.0, bottom as f64);
        let (i, j) = (x as usize, y as usize);
        let (u, v) = (x - i as f64, y - j as f64);
        let (i1, j1) = ((i + 1).min(right), (j + 1).min(bottom));
        [
            (self.at(i, j), (1.0 - u) * (1.0 - v)),
            (self.at(i1, j), u * (1.0 - v)),
            (self.at(i, j1), (1.0 - u) * v),
            (self.at(i1, j1), u * v),
        ]
    }

    /// At half the resolution: `of` makes one of every block of 2 x 2, the upper two first. An odd last column or row
    /// counts twice.
    pub fn halved<U>(&self, of: impl Fn([T; 4]) -> U) -> Grid<U> {
        let (width, height) = (self.width.div_ceil(2), self.height.div_ceil(2));
        let block = |i: usize| {
            let (x, y) = (i % width * 2, i / width * 2);
            let (x1, y1) = ((x + 1).min(self.width - 1), (y + 1).min(self.height - 1));
            of([(x, y), (x1, y), (x, y1), (x1, y1)].map(|(x, y)| self.at(x, y)))
        };
        Grid {
            width,
            height,
            data: (0..width * height).map(block).collect(),
        }
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
            numbers()
                .around(x, y)
                .map(|(v, w)| v * w)
                .iter()
                .sum::<f64>()
        };
        for (x, y, is) in [
            (0.5, 0.5, 0.0),
            (1.25, 0.75, 3.25),
            (2.5, 1.5, 12.0),
            (-4.0, 1.0, 5.0),
            (9.0, 9.0, 12.0),
        ] {
            assert!((value(x, y) - is).abs() < 1e-12, "{x} {y}");
        }
    }

    #[test]
    fn halves_are_made_of_blocks_and_the_last_column_counts_twice() {
        let half = numbers().halved(|block| block);
        assert_eq!((half.width, half.height), (2, 1));
        assert_eq!(half.data, [[0.0, 1.0, 10.0, 11.0], [2.0, 2.0, 12.0, 12.0]]);
    }
}
