//! Windows: what lies in one place is looked at without the rest of the frame.

use std::cmp::Reverse;

use rayon::prelude::*;

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
    /// Around all pixels whose values count; `None` where there is none.
    pub fn around<T: Copy>(grid: &Grid<T>, counts: impl Fn(T) -> bool) -> Option<Self> {
        let rows = grid.data.chunks(grid.width.max(1)).enumerate();
        let ends = |(y, row): (usize, &[T])| {
            let first = row.iter().position(|&v| counts(v))?;
            Some((y, first, row.iter().rposition(|&v| counts(v))?))
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

    /// Wider by so many pixels on every side, as far as the frame goes; an empty one stays empty.
    pub fn widened<T>(self, by: usize, frame: &Grid<T>) -> Self {
        if self.width == 0 || self.height == 0 {
            return self;
        }
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
        let mut data = Vec::with_capacity(window.width * window.height);
        for row in self.rows_of(window) {
            data.extend_from_slice(row);
        }
        Self {
            width: window.width,
            height: window.height,
            data,
        }
    }

    /// What a window shows of every row.
    pub fn rows_of<'a>(&'a self, window: Window) -> impl Iterator<Item = &'a [T]> {
        let rows = self.data.chunks(self.width.max(1)).skip(window.top);
        let row = move |row: &'a [T]| &row[window.left..][..window.width];
        rows.take(window.height).map(row)
    }

    /// Puts the values of a window to their places; rows beyond it are left out.
    pub fn put_back(&mut self, window: Window, values: &Self) {
        let rows = self.data.chunks_mut(self.width).skip(window.top);
        let values = values.data.chunks(window.width).take(window.height);
        for (row, values) in rows.zip(values) {
            row[window.left..window.left + window.width].copy_from_slice(values);
        }
    }
}

/// What `of` makes of every window by its index, several at once: the largest first, so that no thread begins with one of
/// them when the others are done.
pub fn largest_first<T: Send>(windows: &[Window], of: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let mut order: Vec<usize> = (0..windows.len()).collect();
    order.sort_by_key(|&w| Reverse(windows[w].width * windows[w].height));
    // One after the other is handed out; halves of the list would be one thread's each.
    let next = order.into_iter().par_bridge();
    let mut made: Vec<(usize, T)> = next.map(|w| (w, of(w))).collect();
    made.sort_unstable_by_key(|(w, _)| *w);
    made.into_iter().map(|(_, made)| made).collect()
}

/// The window that holds each of the pieces 1 to `count` of a map, without size where there is none of it.
pub fn bounds_of(map: &Grid<u16>, count: usize) -> Vec<Window> {
    let mut extent = vec![[usize::MAX, usize::MAX, 0, 0]; count + 1];
    for (y, row) in map.data.chunks(map.width.max(1)).enumerate() {
        let mut x = 0;
        for run in row.chunk_by(PartialEq::eq) {
            let end = x + run.len();
            let e = &mut extent[usize::from(run[0])];
            *e = [e[0].min(x), e[1].min(y), e[2].max(end), e[3].max(y + 1)];
            x = end;
        }
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
        assert_eq!(two.widened(1, &map), two);
        assert_eq!(Window::around(&map, |v| v == 1), Some(one));
        assert_eq!(Window::around(&map, |v| v == 2), None);
        assert_eq!(three.index_in(&map, 0), 8);
        let wide = three.widened(1, &map);
        assert_eq!(map.cut_out(wide).data, [0, 1, 3, 0]);
        let mut empty = Grid::filled(4, 3, 0);
        empty.put_back(one, &map.cut_out(one));
        assert_eq!(empty.data, [0, 0, 1, 0, 0, 1, 1, 0, 0, 0, 0, 0]);
        for i in 0..4 {
            assert_eq!(map.data[wide.index_in(&map, i)], map.cut_out(wide).data[i]);
        }
    }

    #[test]
    fn what_is_made_of_windows_comes_in_their_order() {
        let window = |width| Window {
            left: 0,
            top: 0,
            width,
            height: 1,
        };
        let windows = [3, 9, 0, 9, 4].map(window);
        let widths = largest_first(&windows, |w| windows[w].width);
        assert_eq!(widths, [3, 9, 0, 9, 4]);
    }
}
