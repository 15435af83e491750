//! What hangs together.

use std::ops::Range;

use imageproc::region_labelling::Connectivity;

use super::Grid;

impl<T: Copy + PartialEq + Default> Grid<T> {
    /// The connected pieces of equal values, numbered from 1 in reading order, and how many there are; 0 where the value
    /// is 0 (or false).
    ///
    /// Equal values side by side are a run; runs that touch in the next row are joined in a forest whose roots are the
    /// first run of each piece (He, Chao and Suzuki 2008, "A run-based two-scan labeling algorithm").
    pub fn pieces(&self, by: Connectivity) -> (Grid<u32>, usize) {
        let runs = self.runs();
        let mut forest = Forest::of(runs.len());
        self.join_rows(&runs, by, &mut forest);
        let mut pieces = Grid::filled(self.width, self.height, 0u32);
        let (number, count) = forest.numbered();
        for (run, number) in runs.into_iter().zip(number) {
            pieces.data[run].fill(number);
        }
        (pieces, count)
    }

    /// Stretches of one value inside a row, in reading order, but for those of 0.
    fn runs(&self) -> Vec<Range<usize>> {
        let mut runs = Vec::new();
        let mut start = 0;
        for row in self.data.chunks(self.width.max(1)) {
            for run in row.chunk_by(|a, b| a == b) {
                let end = start + run.len();
                if run[0] != T::default() {
                    runs.push(start..end);
                }
                start = end;
            }
        }
        runs
    }

    /// Joins each run to those of its value that it touches in the row above.
    fn join_rows(&self, runs: &[Range<usize>], by: Connectivity, forest: &mut Forest) {
        let corner = usize::from(by == Connectivity::Eight);
        // The first run above that does not end before what comes next begins.
        let mut first = 0;
        for (i, run) in runs.iter().enumerate() {
            let (x, row) = (run.start % self.width, run.start / self.width);
            if row == 0 {
                continue;
            }
            let above = run.start - self.width;
            let from = above - corner.min(x);
            let to = (above + run.len() + corner).min(row * self.width);
            while runs[first].end <= from {
                first += 1;
            }
            for (k, other) in runs.iter().enumerate().skip(first) {
                if other.start >= to {
                    break;
                }
                if self.data[other.start] == self.data[run.start] {
                    forest.join(i, k);
                }
            }
        }
    }
}

/// Trees of runs, each known by its first.
struct Forest {
    /// An earlier run of the same tree, or the run itself.
    earlier: Vec<u32>,
}

impl Forest {
    fn of(count: usize) -> Self {
        let earlier = (0..count as u32).collect();
        Self { earlier }
    }

    /// The first run of a tree; the way there is shortened.
    fn first(&mut self, of: usize) -> usize {
        let mut at = of;
        while self.earlier[at] as usize != at {
            self.earlier[at] = self.earlier[self.earlier[at] as usize];
            at = self.earlier[at] as usize;
        }
        at
    }

    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.first(a), self.first(b));
        self.earlier[a.max(b)] = a.min(b) as u32;
    }

    /// The number of every run's tree, from 1 in the order of their first runs, and how many trees there are.
    fn numbered(mut self) -> (Vec<u32>, usize) {
        let mut number = vec![0u32; self.earlier.len()];
        let mut count = 0;
        for i in 0..number.len() {
            let first = self.first(i);
            if first == i {
                count += 1;
                number[i] = count;
            }
            number[i] = number[first];
        }
        (number, count as usize)
    }
}

#[cfg(test)]
mod tests {
    use image::Luma;
    use imageproc::region_labelling::connected_components;
    use proptest::prelude::*;

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

    proptest! {
        /// Another's labeling: that of the imageproc crate, which has no room for as many pieces as pixels; a row of 0 below
        /// makes some.
        #[test]
        fn pieces_are_those_of_imageproc(
            (width, height, data) in (1usize..30, 1usize..30, 1u8..4).prop_flat_map(|(w, h, most)| {
                (Just(w), Just(h), prop::collection::vec(0..=most, w * h))
            })
        ) {
            let map = Grid { width, height, data };
            for by in [Connectivity::Four, Connectivity::Eight] {
                let mut roomy = map.clone();
                roomy.height += 1;
                roomy.data.resize(width * (height + 1), 0);
                let theirs = connected_components(&roomy.into_image(), by, Luma([0]));
                let (own, count) = map.pieces(by);
                prop_assert_eq!(count as u32, theirs.iter().copied().max().unwrap_or(0));
                prop_assert_eq!(&own.data[..], &theirs.as_raw()[..width * height]);
            }
        }
    }
}
