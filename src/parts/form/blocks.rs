//! The photo as the fit sees it: averaged over the evidence in blocks.

use crate::color::Lab;
use crate::grid::{Window, blocks};

use super::Patch;

/// A block shows the part where at least this share of it is evidence.
const MOSTLY: f32 = 0.5;

/// Colors averaged over the evidence in blocks.
#[derive(Clone)]
pub struct Blocks {
    pub width: usize,
    pub height: usize,
    pub color: Vec<Lab>,
    /// Share of the block that is evidence, 0 to 1.
    pub weight: Vec<f32>,
    /// Any pixel of the part lies in the block, or in one beside it.
    pub needed: Vec<bool>,
}

impl Blocks {
    /// The blocks of `side` pixels of a part, whose colors are `lab`.
    pub fn of_patch(patch: &Patch, lab: &[Lab], side: usize) -> Self {
        let seen = |i: usize| patch.evidence[i].then_some((lab[i], 1.0));
        let mut blocks = Self::averaged([patch.width, patch.height], side, seen, patch.mask);
        let (w, h) = (blocks.width, blocks.height);
        let beside = |b: usize| {
            let (x, y) = (b % w, b / w);
            let inside = |u: usize, v: usize| blocks.needed[v * w + u];
            (y.saturating_sub(1)..=(y + 1).min(h - 1))
                .any(|v| (x.saturating_sub(1)..=(x + 1).min(w - 1)).any(|u| inside(u, v)))
        };
        blocks.needed = (0..w * h).map(beside).collect();
        blocks
    }

    /// Blocks of twice the side.
    pub fn halved(&self) -> Self {
        let seen = |b: usize| Some((self.color[b], self.weight[b]));
        Self::averaged([self.width, self.height], 2, seen, &self.needed)
    }

    /// Blocks of `side` x `side` of a frame. `seen` gives a place's color and the evidence it is, 0 to 1; what is not
    /// there at the frame's ends is no evidence.
    fn averaged(
        [width, height]: [usize; 2],
        side: usize,
        seen: impl Fn(usize) -> Option<(Lab, f32)>,
        needed: &[bool],
    ) -> Self {
        let windows = blocks(width, height, side);
        let mean = |window: &Window| {
            let (mut color, mut weight) = (Lab::new(0.0, 0.0, 0.0), 0.0);
            for (here, evidence) in window.indices(width).filter_map(&seen) {
                color += here * evidence;
                weight += evidence;
            }
            let share = weight / (side * side) as f32;
            (color / weight.max(f32::MIN_POSITIVE), share)
        };
        let (color, weight) = windows.data.iter().map(mean).unzip();
        let any = |window: &Window| window.indices(width).any(|i| needed[i]);
        Self {
            width: windows.width,
            height: windows.height,
            color,
            weight,
            needed: windows.data.iter().map(any).collect(),
        }
    }

    /// The mean color of the evidence; black where there is none.
    pub fn mean(&self) -> Lab {
        let (mut sum, mut all) = (Lab::new(0.0, 0.0, 0.0), 0.0);
        for (&color, &weight) in self.color.iter().zip(&self.weight) {
            sum += color * weight;
            all += weight;
        }
        sum / all.max(f32::MIN_POSITIVE)
    }

    /// Those that show the part.
    pub fn shown(&self) -> impl Iterator<Item = usize> {
        (0..self.color.len()).filter(|&b| self.needed[b] && self.weight[b] >= MOSTLY)
    }
}
