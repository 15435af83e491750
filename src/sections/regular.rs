//! Making labels regular at the scale of the nib: nothing narrower than the nib.

use std::collections::{BTreeMap, VecDeque};

use imageproc::distance_transform::euclidean_squared_distance_transform;

use crate::grid::{Grid, squared_distance_to_rim};

/// One key per cell and label; 0 where either is 0.
pub fn keys(label: &Grid<u8>, cells: &Grid<u16>) -> Grid<u32> {
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
}
