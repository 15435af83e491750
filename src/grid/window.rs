//! A rectangle cut out of a frame, so that work on a small thing costs what the thing is large.

use super::Grid;

/// A rectangle of a frame, in its pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    left: usize,
    top: usize,
    width: usize,
    height: usize,
    frame_width: usize,
}

impl Window {
    /// Around all pixels of `grid` that are `value`, with so many pixels more to each side where the frame has them;
    /// `None` if no pixel is.
    pub fn around<T: Copy + PartialEq>(grid: &Grid<T>, value: T, margin: usize) -> Option<Self> {
        let (mut left, mut top, mut right, mut bottom) = (usize::MAX, usize::MAX, 0, 0);
        for (y, row) in grid.data.chunks(grid.width.max(1)).enumerate() {
            let Some(first) = row.iter().position(|&v| v == value) else {
                continue;
            };
            let last = row.iter().rposition(|&v| v == value).unwrap_or(first);
            (left, right) = (left.min(first), right.max(last));
            (top, bottom) = (top.min(y), y);
        }
        if left == usize::MAX {
            return None;
        }
        let (left, top) = (left.saturating_sub(margin), top.saturating_sub(margin));
        Some(Self {
            left,
            top,
            width: (right + margin).min(grid.width - 1) + 1 - left,
            height: (bottom + margin).min(grid.height - 1) + 1 - top,
            frame_width: grid.width,
        })
    }

    /// Where pixel `i` of the window is in the frame.
    pub fn index(&self, i: usize) -> usize {
        (self.top + i / self.width) * self.frame_width + self.left + i % self.width
    }

    /// What the window shows of a picture of its frame.
    pub fn cut<T: Copy>(&self, grid: &Grid<T>) -> Grid<T> {
        let row = |y: usize| {
            let start = y * self.frame_width + self.left;
            &grid.data[start..start + self.width]
        };
        Grid {
            width: self.width,
            height: self.height,
            data: (self.top..self.top + self.height)
                .flat_map(row)
                .copied()
                .collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_holds_all_of_a_thing_its_margin_and_nothing_beyond_the_frame() {
        let mut grid = Grid::filled(9, 7, 0u8);
        for i in [9 + 2, 2 * 9 + 4] {
            grid.data[i] = 5;
        }
        let window = Window::around(&grid, 5, 2).unwrap();
        let cut = window.cut(&grid);
        assert_eq!((cut.width, cut.height), (7, 5));
        for i in 0..cut.data.len() {
            assert_eq!(cut.data[i], grid.data[window.index(i)]);
        }
        assert_eq!(cut.data.iter().filter(|&&v| v == 5).count(), 2);
        assert_eq!(Window::around(&grid, 6, 2), None);
    }
}
