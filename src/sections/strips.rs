//! Strips between a drawn line and a hue border that runs with it.
//!
//! The drawing and the photo never fit to the millimeter. Where the photo's hues change beside a drawn line, the line
//! is what the person who drew it meant: the calyx of a berry is the drawn calyx. So a strip of another hue along a
//! line takes the color that lies beyond it.

use std::collections::VecDeque;

use image::Luma;
use imageproc::distance_transform::euclidean_squared_distance_transform;
use imageproc::region_labelling::{Connectivity, connected_components};

use crate::color::Lab;
use crate::grid::Grid;

use super::regular::squared_distance_to_rim;

/// A hue border no farther than this from a drawn line is moved onto it, in millimeters.
const WITHIN_MM: f64 = 3.0;
/// How far the photo's colors run into each other at a hue border, in millimeters; from memory.
const MIXED_MM: f64 = 0.6;

/// True on the strips: what is narrower than [`WITHIN_MM`] of one hue group (`group`, from 1; 0 where nothing is) and
/// lies wholly within that distance of the edge of its cell. Cells that are that narrow all over have none.
pub fn find_strips(group: &Grid<u8>, cells: &Grid<u16>, mm_per_px: f64) -> Grid<bool> {
    let (width, height) = (group.width, group.height);
    let grid = |data: Vec<u8>| Grid {
        width,
        height,
        data,
    };
    let key = Grid {
        width,
        height,
        data: (0..group.data.len())
            .map(|i| match group.data[i] {
                0 => 0,
                g => u32::from(cells.data[i]) << 8 | u32::from(g),
            })
            .collect::<Vec<u32>>(),
    };
    // What a disk of that width reaches is no strip.
    let reach = WITHIN_MM / mm_per_px / 2.0 - 0.5;
    let core: Vec<u8> = squared_distance_to_rim(&key)
        .iter()
        .zip(&key.data)
        .map(|(&d, &k)| u8::from(k > 0 && d >= reach * reach))
        .collect();
    let cell_count = usize::from(cells.data.iter().copied().max().unwrap_or(0));
    let mut roomy = vec![false; cell_count + 1];
    for (&c, &cell) in core.iter().zip(&cells.data) {
        roomy[usize::from(cell)] |= c > 0;
    }
    if !core.contains(&1) {
        return Grid::filled(width, height, false);
    }
    let to_core = euclidean_squared_distance_transform(&grid(core).into_image()).into_raw();
    let narrow = Grid {
        width,
        height,
        data: (0..key.data.len())
            .map(|i| {
                let reached = to_core[i] <= reach * reach || !roomy[usize::from(cells.data[i])];
                if reached { 0 } else { key.data[i] }
            })
            .collect::<Vec<u32>>(),
    };
    let pieces: Grid<u32> =
        connected_components(&narrow.into_image(), Connectivity::Four, Luma([0])).into();
    let to_line = squared_distance_to_rim(cells);
    let within = (WITHIN_MM / mm_per_px + 1.0).powi(2);
    let count = pieces.data.iter().copied().max().unwrap_or(0) as usize;
    let mut runs_with_line = vec![true; count + 1];
    runs_with_line[0] = false;
    for (&p, &d) in pieces.data.iter().zip(&to_line) {
        runs_with_line[p as usize] &= d <= within;
    }
    pieces.map(|p| runs_with_line[p as usize])
}

/// Gives every strip, and the colors mixed at its edge, the color that lies beyond it in its cell.
pub fn recolor(lab: &mut Grid<Lab>, cells: &Grid<u16>, strips: &Grid<bool>, mm_per_px: f64) {
    let mask = strips.map(u8::from).into_image();
    let squared = euclidean_squared_distance_transform(&mask).into_raw();
    let mixed = (MIXED_MM / mm_per_px).powi(2);
    let mut open: Vec<bool> = (0..squared.len())
        .map(|i| cells.data[i] > 0 && squared[i] <= mixed)
        .collect();
    let same = |i: usize, j: usize| cells.data[i] == cells.data[j];
    let mut queue: VecDeque<usize> = (0..open.len())
        .filter(|&i| cells.data[i] > 0 && !open[i])
        .filter(|&i| lab.neighbors(i).any(|j| open[j] && same(i, j)))
        .collect();
    while let Some(i) = queue.pop_front() {
        for j in lab.neighbors(i) {
            if open[j] && same(i, j) {
                open[j] = false;
                lab.data[j] = lab.data[i];
                queue.push_back(j);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MM_PER_PX: f64 = 0.2;

    /// One cell of 40 x 20 mm, hues by `hue` of the place in millimeters.
    fn strips(hue: impl Fn(f64, f64) -> u8) -> Grid<bool> {
        let (width, height) = (202, 102);
        let inside = |i: usize| {
            let (x, y) = (i % width, i / width);
            x > 0 && y > 0 && x + 1 < width && y + 1 < height
        };
        let cells = Grid {
            width,
            height,
            data: (0..width * height).map(|i| u16::from(inside(i))).collect(),
        };
        let group = Grid {
            width,
            height,
            data: (0..width * height)
                .map(|i| {
                    let at = |v: usize| (v as f64 - 0.5) * MM_PER_PX;
                    if inside(i) {
                        hue(at(i % width), at(i / width))
                    } else {
                        0
                    }
                })
                .collect(),
        };
        find_strips(&group, &cells, MM_PER_PX)
    }

    #[test]
    fn a_strip_of_two_millimeters_along_a_line_is_found_whole() {
        let found = strips(|_, y| if y < 2.0 { 2 } else { 1 });
        for y in 1..10 {
            for x in 10..190 {
                assert!(found.at(x, y), "{x} {y}");
            }
        }
        assert!((20..80).all(|y| (20..180).all(|x| !found.at(x, y))));
    }

    #[test]
    fn a_wide_band_a_stripe_across_and_a_spot_inside_are_no_strips() {
        let none = |found: Grid<bool>| (15..85).all(|y| (15..185).all(|x| !found.at(x, y)));
        assert!(none(strips(|_, y| if y < 5.0 { 2 } else { 1 })));
        assert!(none(strips(|x, _| if (18.0..20.0).contains(&x) {
            2
        } else {
            1
        })));
        assert!(none(strips(|x, y| {
            if (x - 20.0).hypot(y - 10.0) < 1.3 {
                2
            } else {
                1
            }
        })));
    }
}
