//! Which sections only a thin drawn line parts: ink creeps through it where both sides are wet.
//!
//! Looked for between pixels, in the map in which sections meet in the middle of the drawn lines. A border of pixel edges
//! is, on average over all directions, 4 / pi times as long as it looks (Cauchy and Crofton).

use std::collections::BTreeMap;
use std::f64::consts::FRAC_PI_4;

use crate::grid::{Grid, within};

use super::arcs::BEYOND;

/// Widest drawn line that wet ink comes through, in millimeters: it creeps about half a millimeter into damp card from
/// either side. From memory.
const WIDEST_MM: f64 = 1.0;
/// Least length along which two sections must lie beside each other, in millimeters: less is where corners meet. From
/// memory.
const LEAST_MM: f64 = 1.0;

/// The pairs of sections that lie along a thin drawn line from each other, each once, in order. `map` are the sections,
/// spread under the drawn lines `wall`.
pub fn parted(map: &Grid<u16>, wall: &Grid<bool>, mm_per_px: f64) -> Vec<(u16, u16)> {
    // From the middle of a thin line it is not far to paper.
    let reach_px = WIDEST_MM / 2.0 / mm_per_px;
    let near = within(&wall.map(|ink| !ink), reach_px * reach_px);
    let is_section = |id: u16| id != 0 && id != BEYOND;
    let mut edges: BTreeMap<(u16, u16), usize> = BTreeMap::new();
    for (i, &id) in map.data.iter().enumerate() {
        let right = (i % map.width + 1 < map.width).then_some(i + 1);
        let below = (i + map.width < map.data.len()).then_some(i + map.width);
        for j in right.into_iter().chain(below) {
            let other = map.data[j];
            let drawn = (wall.data[i] || wall.data[j]) && near[i] && near[j];
            if other != id && drawn && is_section(id) && is_section(other) {
                *edges.entry((id.min(other), id.max(other))).or_default() += 1;
            }
        }
    }
    edges
        .into_iter()
        .filter(|&(_, edges)| edges as f64 * FRAC_PI_4 * mm_per_px >= LEAST_MM)
        .map(|(pair, _)| pair)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Four sections around a cross of drawn lines, 20 mm across, the upright one `wide_mm` wide.
    fn cross(wide_mm: f64) -> Vec<(u16, u16)> {
        const MM_PER_PX: f64 = 0.1;
        let side = 200usize;
        let from_middle = |v: usize| (v as f64 + 0.5 - side as f64 / 2.0) * MM_PER_PX;
        let mut map = Grid::filled(side, side, 0u16);
        let mut wall = Grid::filled(side, side, false);
        for i in 0..side * side {
            let (x, y) = (from_middle(i % side), from_middle(i / side));
            map.data[i] = 1 + u16::from(x > 0.0) + 2 * u16::from(y > 0.0);
            wall.data[i] = x.abs() < wide_mm / 2.0 || y.abs() < 0.2;
        }
        parted(&map, &wall, MM_PER_PX)
    }

    #[test]
    fn a_thin_drawn_line_lies_between_and_a_corner_does_not() {
        assert_eq!(cross(0.4), [(1, 2), (1, 3), (2, 4), (3, 4)]);
    }

    #[test]
    fn no_ink_comes_through_a_wide_line() {
        assert_eq!(cross(3.0), [(1, 3), (2, 4)]);
    }

    #[test]
    fn what_meets_beside_no_ink_or_beyond_the_card_is_not_parted_by_a_line() {
        let map = Grid {
            width: 40,
            height: 40,
            data: (0..1600).map(|i| [1, 2, 0, BEYOND][i % 40 / 10]).collect(),
        };
        assert!(parted(&map, &map.map(|_| false), 0.1).is_empty());
        let at_three_borders = Grid {
            width: 40,
            height: 40,
            data: (0..1600)
                .map(|i| matches!(i % 40, 9 | 10 | 19 | 20 | 29 | 30))
                .collect(),
        };
        assert_eq!(parted(&map, &at_three_borders, 0.1), [(1, 2)]);
    }
}
