//! Windows: what lies in one place is looked at without the rest of the frame.

use super::Grid;

/// A rectangle of pixels, from the left and the top.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    pub left: usize,
    pub top: usize,
    pub width: usize,
    pub height: usize,
}

impl Window {
    /// Around all pixels of `value`; `None` where there is none.
    pub fn around<T: Copy + PartialEq>(grid: &Grid<T>, value: T) -> Option<Self> {
        let rows = grid.data.chunks(grid.width.max(1)).enumerate();
        let ends = |(y, row): (usize, &[T])| {
            let first = row.iter().position(|&v| v == value)?;
            Some((y, first, row.iter().rposition(|&v| v == value)?))
        };
        let ends: Vec<(usize, usize, usize)> = rows.filter_map(ends).collect();
        let (top, bottom) = (ends.first()?.0, ends.last()?.0);
        let left = ends.iter().map(|e| e.1).min()?;
        let right = ends.iter().map(|e| e.2).max()?;
        Some(Self {
            left,
            top,
            width: right + 1 - left,
            height: bottom + 1 - top,
        })
    }

    /// Wider by so many pixels on every side, as far as the frame goes.
    pub fn widened<T>(self, by: usize, frame: &Grid<T>) -> Self {
        let (left, top) = (self.left.saturating_sub(by), self.top.saturating_sub(by));
        let right = (self.left + self.width + by).min(frame.width);
        let bottom = (self.top + self.height + by).min(frame.height);
        Self {
            left,
            top,
            width: right - left,
            height: bottom - top,
        }
    }

    /// The indices of its pixels in a frame with `across` pixels in a row, row by row.
    pub fn indices(self, across: usize) -> impl Iterator<Item = usize> {
        let rows = self.top..self.top + self.height;
        rows.flat_map(move |y| (0..self.width).map(move |x| y * across + self.left + x))
    }

    /// The index in the frame of pixel `i` of the window.
    #[inline]
    pub fn index_in<T>(self, frame: &Grid<T>, i: usize) -> usize {
        (self.top + i / self.width) * frame.width + self.left + i % self.width
    }
}

impl<T: Copy> Grid<T> {
    /// The values in a window.
    pub fn cut_out(&self, window: Window) -> Self {
        let rows = (window.top..window.top + window.height).map(|y| y * self.width + window.left);
        Self {
            width: window.width,
            height: window.height,
            data: rows
                .flat_map(|from| &self.data[from..from + window.width])
                .copied()
                .collect(),
        }
    }
}

/// The window that holds each of the pieces 1 to `count` of a map, without size where there is none of it.
pub fn bounds_of(map: &Grid<u16>, count: usize) -> Vec<Window> {
    let mut extent = vec![[usize::MAX, usize::MAX, 0, 0]; count + 1];
    for (i, &piece) in map.data.iter().enumerate() {
        let e = &mut extent[usize::from(piece)];
        let (x, y) = (i % map.width, i / map.width);
        *e = [e[0].min(x), e[1].min(y), e[2].max(x + 1), e[3].max(y + 1)];
    }
    let window = |&[left, top, right, bottom]: &[usize; 4]| Window {
        left: left.min(right),
        top: top.min(bottom),
        width: right.saturating_sub(left),
        height: bottom.saturating_sub(top),
    };
    extent[1..].iter().map(window).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_holds_its_piece_and_finds_the_way_back() {
        let map = Grid {
            width: 4,
            height: 3,
            data: vec![0, 0, 1, 0, 0, 1, 1, 0, 3, 0, 0, 0],
        };
        let [one, two, three] = bounds_of(&map, 3)[..] else {
            panic!()
        };
        assert_eq!(map.cut_out(one).data, [0, 1, 1, 1]);
        assert_eq!((two.width, two.height), (0, 0));
        assert_eq!(Window::around(&map, 1), Some(one));
        assert_eq!(Window::around(&map, 2), None);
        assert_eq!(three.index_in(&map, 0), 8);
        let wide = three.widened(1, &map);
        assert_eq!(map.cut_out(wide).data, [0, 1, 3, 0]);
        for i in 0..4 {
            assert_eq!(map.data[wide.index_in(&map, i)], map.cut_out(wide).data[i]);
        }
    }
}
