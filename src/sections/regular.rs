//! Making labels regular at the scale of the nib: nothing narrower than the nib, no specks.

use std::collections::{BTreeMap, VecDeque};

use image::Luma;
use imageproc::distance_transform::euclidean_squared_distance_transform;
use imageproc::region_labelling::{Connectivity, connected_components};

use crate::color::{Lab, difference};
use crate::grid::Grid;

/// Squared distance, in pixels, from every pixel to the nearest pixel on the rim of its piece; 0 on rims and where the
/// piece is 0. A pixel is on the rim if a neighbor belongs to another piece, or the frame ends there.
pub fn squared_distance_to_rim<T: Copy + PartialEq + Default>(pieces: &Grid<T>) -> Vec<f64> {
    let rim: Vec<u8> = (0..pieces.data.len())
        .map(|i| {
            let piece = pieces.data[i];
            let mut neighbors = 0;
            let same = pieces.neighbors(i).all(|j| {
                neighbors += 1;
                pieces.data[j] == piece
            });
            u8::from(piece == T::default() || !same || neighbors < 4)
        })
        .collect();
    let rim = Grid {
        width: pieces.width,
        height: pieces.height,
        data: rim,
    };
    euclidean_squared_distance_transform(&rim.into_image()).into_raw()
}

/// One key per cell and label; 0 where either is 0.
fn keys(label: &Grid<u8>, cells: &Grid<u16>) -> Grid<u32> {
    Grid {
        width: label.width,
        height: label.height,
        data: label
            .data
            .iter()
            .zip(&cells.data)
            .map(|(&l, &c)| {
                if l == 0 || c == 0 {
                    0
                } else {
                    u32::from(c) << 8 | u32::from(l)
                }
            })
            .collect(),
    }
}

/// Opens every label (from 1; 0 is unlabeled) by a disk of `radius` pixels, inside its cell; what the disk cannot
/// reach goes to the labels around it. A cell the disk does not fit into gets its commonest label.
///
/// One distance transform serves all labels at once: a pixel that is at least the radius away from its rim is so for
/// its own label only, so the disks around such pixels never overlap another label.
pub fn open_by_disk(label: &mut Grid<u8>, cells: &Grid<u16>, radius: f64) {
    let key = keys(label, cells);
    let reach = (radius - 0.5).max(0.0);
    let inner: Vec<u8> = squared_distance_to_rim(&key)
        .iter()
        .zip(&key.data)
        .map(|(&d, &k)| u8::from(k > 0 && d >= reach * reach))
        .collect();
    let mut opened = Grid::filled(label.width, label.height, 0u8);
    if inner.contains(&1) {
        let inner = Grid {
            width: label.width,
            height: label.height,
            data: inner,
        };
        let to_inner = euclidean_squared_distance_transform(&inner.into_image()).into_raw();
        for i in 0..to_inner.len() {
            if key.data[i] > 0 && to_inner[i] <= reach * reach {
                opened.data[i] = label.data[i];
            }
        }
    }
    fill_from_neighbors(&mut opened, cells);
    let commonest = commonest_labels(label, cells);
    for i in 0..label.data.len() {
        if cells.data[i] > 0 {
            label.data[i] = match opened.data[i] {
                0 => commonest[usize::from(cells.data[i])],
                l => l,
            };
        }
    }
}

/// The commonest label of every cell (index: cell).
fn commonest_labels(label: &Grid<u8>, cells: &Grid<u16>) -> Vec<u8> {
    let count = usize::from(cells.data.iter().copied().max().unwrap_or(0)) + 1;
    let mut votes = vec![BTreeMap::<u8, usize>::new(); count];
    for (&l, &c) in label.data.iter().zip(&cells.data) {
        if l > 0 && c > 0 {
            *votes[usize::from(c)].entry(l).or_default() += 1;
        }
    }
    votes
        .iter()
        .map(|v| {
            v.iter()
                .max_by_key(|&(&l, &n)| (n, u8::MAX - l))
                .map_or(0, |(&l, _)| l)
        })
        .collect()
}

/// Grows labels over unlabeled pixels of the same cell, nearest first.
pub fn fill_from_neighbors(label: &mut Grid<u8>, cells: &Grid<u16>) {
    let mut queue: VecDeque<usize> = (0..label.data.len())
        .filter(|&i| {
            label.data[i] > 0
                && label
                    .neighbors(i)
                    .any(|j| label.data[j] == 0 && cells.data[j] == cells.data[i])
        })
        .collect();
    while let Some(i) = queue.pop_front() {
        for j in label.neighbors(i) {
            if label.data[j] == 0 && cells.data[j] == cells.data[i] {
                label.data[j] = label.data[i];
                queue.push_back(j);
            }
        }
    }
}

/// Gives every connected piece smaller than `least` pixels to the neighboring label of its cell that is closest in
/// color, smallest pieces first. A cell of one piece keeps it, however small.
pub fn absorb_small(
    label: &mut Grid<u8>,
    cells: &Grid<u16>,
    lab: &Grid<Lab>,
    colors: &[Lab],
    least: usize,
) {
    // Each round at least halves the number of small pieces that have a neighbor; rounds stop when none is left.
    loop {
        let key = keys(label, cells);
        let pieces: Grid<u32> =
            connected_components(&key.into_image(), Connectivity::Four, Luma([0])).into();
        let count = pieces.data.iter().copied().max().unwrap_or(0) as usize;
        let mut size = vec![0usize; count + 1];
        let mut sum = vec![Lab::new(0.0, 0.0, 0.0); count + 1];
        let mut of_label = vec![0u8; count + 1];
        for (i, &p) in pieces.data.iter().enumerate() {
            size[p as usize] += 1;
            sum[p as usize] += lab.data[i];
            of_label[p as usize] = label.data[i];
        }
        // Neighbors inside the same cell.
        let mut around: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
        for (i, &p) in pieces.data.iter().enumerate() {
            if p > 0 && size[p as usize] < least {
                for j in pieces.neighbors(i) {
                    let q = pieces.data[j];
                    if q > 0 && q != p && cells.data[i] == cells.data[j] {
                        let list = around.entry(p).or_default();
                        if !list.contains(&q) {
                            list.push(q);
                        }
                    }
                }
            }
        }
        let mut moved: BTreeMap<u32, u8> = BTreeMap::new();
        let mut order: Vec<u32> = around.keys().copied().collect();
        order.sort_by_key(|&p| (size[p as usize], p));
        let mut frozen = vec![false; count + 1];
        for p in order {
            if frozen[p as usize] {
                continue;
            }
            let mean = sum[p as usize] / size[p as usize] as f32;
            let target = around[&p]
                .iter()
                .map(|&q| of_label[q as usize])
                .min_by(|&a, &b| {
                    let to = |l: u8| difference(mean, colors[usize::from(l) - 1]);
                    to(a).total_cmp(&to(b)).then(a.cmp(&b))
                })
                .expect("listed pieces have neighbors");
            moved.insert(p, target);
            // What it joins must not move away in the same round.
            for &q in &around[&p] {
                frozen[q as usize] = true;
            }
        }
        if moved.is_empty() {
            return;
        }
        for (i, p) in pieces.data.iter().enumerate() {
            if let Some(&l) = moved.get(p) {
                label.data[i] = l;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_strip_narrower_than_the_disk_goes_and_a_wider_one_stays() {
        let cells = Grid::filled(60, 60, 1u16);
        let mut label = Grid::filled(60, 60, 1u8);
        for y in 0..60 {
            for x in 10..14 {
                label.data[y * 60 + x] = 2;
            }
            for x in 30..42 {
                label.data[y * 60 + x] = 3;
            }
        }
        open_by_disk(&mut label, &cells, 4.0);
        assert!(!label.data.contains(&2));
        assert_eq!(label.data[30 * 60 + 35], 3);
        assert_eq!(label.data[30 * 60 + 30], 3);
        assert_eq!(label.data[30 * 60 + 29], 1);
    }

    #[test]
    fn a_cell_too_narrow_for_the_disk_keeps_its_commonest_label() {
        let cells = Grid::filled(3, 20, 1u16);
        let mut label = Grid::filled(3, 20, 1u8);
        label.data[0] = 2;
        open_by_disk(&mut label, &cells, 4.0);
        assert!(label.data.iter().all(|&l| l == 1));
    }

    #[test]
    fn a_speck_joins_the_neighbor_closest_in_color() {
        let cells = Grid::filled(20, 20, 1u16);
        let mut label = Grid::filled(20, 20, 1u8);
        for y in 0..20 {
            for x in 10..20 {
                label.data[y * 20 + x] = 2;
            }
        }
        for i in [9, 10] {
            label.data[5 * 20 + i] = 3;
        }
        let colors = [
            Lab::new(20.0, 0.0, 0.0),
            Lab::new(80.0, 0.0, 0.0),
            Lab::new(70.0, 0.0, 0.0),
        ];
        let lab = Grid {
            width: 20,
            height: 20,
            data: label
                .data
                .iter()
                .map(|&l| colors[usize::from(l) - 1])
                .collect(),
        };
        absorb_small(&mut label, &cells, &lab, &colors, 5);
        assert_eq!(label.data[5 * 20 + 9], 2);
    }
}
