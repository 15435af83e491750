//! The minimum cut of a grid of pixels between two terminals: which side every pixel falls on when what is cut costs
//! least (Boykov and Jolly 2001), found as a maximum flow by blocking flows (Dinic 1970).

use std::collections::VecDeque;

/// The eight neighbors; the opposite of direction `d` is `7 - d`.
const AROUND: [(isize, isize); 8] = [
    (-1, -1),
    (0, -1),
    (1, -1),
    (-1, 0),
    (1, 0),
    (-1, 1),
    (0, 1),
    (1, 1),
];

/// A grid of `width * height` pixels with capacities. It is kept with a rim of one pixel to which nothing flows, so that
/// every pixel has eight neighbors, each as far ahead or behind as any other's.
#[derive(Clone)]
pub struct GridCut {
    width: usize,
    height: usize,
    /// How far ahead in the rimmed grid each of the eight neighbors is.
    ahead: [isize; 8],
    /// What may still flow from the source into the pixel (above 0), or from the pixel into the sink (below 0).
    terminal: Vec<i64>,
    /// What may still flow to each of the eight neighbors.
    link: Vec<[i32; 8]>,
}

impl GridCut {
    pub fn new(width: usize, height: usize) -> Self {
        let rimmed = (width + 2) * (height + 2);
        Self {
            width,
            height,
            ahead: AROUND.map(|(dx, dy)| dy * (width as isize + 2) + dx),
            terminal: vec![0; rimmed],
            link: vec![[0; 8]; rimmed],
        }
    }

    /// Where pixel (`x`, `y`) is in the rimmed grid.
    fn place(&self, x: usize, y: usize) -> usize {
        (y + 1) * (self.width + 2) + x + 1
    }

    /// What it costs to leave pixel `i` on the sink's side less what it costs to leave it on the source's.
    pub fn prefer_source(&mut self, i: usize, by: i32) {
        let place = self.place(i % self.width, i / self.width);
        self.terminal[place] = i64::from(by);
    }

    /// What it costs to part pixel `i` from each of its neighbors `j > i`, as `cost(i, j)`, not below 0.
    pub fn link_all(&mut self, cost: impl Fn(usize, usize) -> i32) {
        let (width, height) = (self.width, self.height);
        for (y, x) in (0..height).flat_map(|y| (0..width).map(move |x| (y, x))) {
            let place = self.place(x, y);
            for d in 4..8 {
                let (dx, dy) = AROUND[d];
                let (u, v) = (x.wrapping_add_signed(dx), y.wrapping_add_signed(dy));
                if u < width && v < height {
                    let cost = cost(y * width + x, v * width + u);
                    self.link[place][d] = cost;
                    self.link[place.wrapping_add_signed(self.ahead[d])][7 - d] = cost;
                }
            }
        }
    }

    /// The neighbor in direction `d` of a pixel that is not on the rim.
    fn neighbor(&self, place: usize, d: usize) -> usize {
        place.wrapping_add_signed(self.ahead[d])
    }

    /// Cuts; true where the pixel stays on the source's side. Of several minimum cuts, the one with fewest pixels
    /// there.
    pub fn cut(mut self) -> Vec<bool> {
        let mut level = Vec::new();
        while self.find_levels(&mut level) {
            let mut arc = vec![0u8; level.len()];
            for start in 0..level.len() {
                while self.terminal[start] > 0 && self.push(start, &level, &mut arc) {}
            }
        }
        let rows = level.chunks(self.width + 2).skip(1).take(self.height);
        rows.flat_map(|row| row[1..=self.width].iter().map(|&l| l != u32::MAX))
            .collect()
    }

    /// Distance from the source over links that still have room; whether the sink is reached. If it is, no farther pixel is
    /// opened.
    fn find_levels(&self, level: &mut Vec<u32>) -> bool {
        level.clear();
        level.resize(self.terminal.len(), u32::MAX);
        let mut queue: VecDeque<usize> = (0..self.terminal.len())
            .filter(|&i| self.terminal[i] > 0)
            .collect();
        for &i in &queue {
            level[i] = 0;
        }
        while let Some(i) = queue.pop_front() {
            if self.terminal[i] < 0 {
                return true;
            }
            for d in 0..8 {
                let j = self.neighbor(i, d);
                if self.link[i][d] > 0 && level[j] == u32::MAX {
                    level[j] = level[i] + 1;
                    queue.push_back(j);
                }
            }
        }
        false
    }

    /// Sends flow from `start` along one path to the sink; false if there is none left.
    fn push(&mut self, start: usize, level: &[u32], arc: &mut [u8]) -> bool {
        let mut path: Vec<(usize, usize)> = Vec::new();
        let mut at = start;
        loop {
            if self.terminal[at] < 0 {
                let room = path
                    .iter()
                    .map(|&(i, d)| i64::from(self.link[i][d]))
                    .min()
                    .unwrap_or(i64::MAX)
                    .min(self.terminal[start])
                    .min(-self.terminal[at]);
                self.terminal[start] -= room;
                self.terminal[at] += room;
                for &(i, d) in &path {
                    let j = self.neighbor(i, d);
                    self.link[i][d] -= room as i32;
                    self.link[j][7 - d] += room as i32;
                }
                return true;
            }
            let d = usize::from(arc[at]);
            if d == 8 {
                // A dead end: step back and past it.
                let Some((back, _)) = path.pop() else {
                    return false;
                };
                arc[back] += 1;
                at = back;
                continue;
            }
            let next = self.neighbor(at, d);
            if self.link[at][d] > 0 && level[next] == level[at] + 1 {
                path.push((at, d));
                at = next;
            } else {
                arc[at] += 1;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The cut against every one of the 2^12 ways to part a grid of 4 x 3 pixels.
    #[test]
    fn the_cut_costs_as_little_as_the_best_of_all_partings() {
        let (w, h) = (4, 3);
        let mut state = 7u32;
        let mut random = |most: u32| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 16) % most
        };
        for _ in 0..40 {
            let prefer: Vec<i32> = (0..w * h).map(|_| random(41) as i32 - 20).collect();
            let part: Vec<i32> = (0..w * h * w * h).map(|_| random(12) as i32).collect();
            let cost_of = |i: usize, j: usize| part[i * w * h + j];
            let found = {
                let mut grid = GridCut::new(w, h);
                for (i, &p) in prefer.iter().enumerate() {
                    grid.prefer_source(i, p);
                }
                grid.link_all(cost_of);
                grid.cut()
            };
            let cost = |side: &dyn Fn(usize) -> bool| -> i32 {
                let mut sum = 0;
                for i in 0..w * h {
                    sum += if side(i) {
                        -prefer[i].min(0)
                    } else {
                        prefer[i].max(0)
                    };
                    for j in i + 1..w * h {
                        let beside = (i % w).abs_diff(j % w) <= 1 && (i / w).abs_diff(j / w) <= 1;
                        if beside && side(i) != side(j) {
                            sum += cost_of(i, j);
                        }
                    }
                }
                sum
            };
            let best = (0u32..1 << (w * h))
                .map(|bits| cost(&|i| bits >> i & 1 == 1))
                .min();
            assert_eq!(Some(cost(&|i| found[i])), best);
        }
    }
}
