//! Making labels regular at the scale of the nib: nothing narrower than the nib.

use std::collections::BTreeSet;

use imageproc::region_labelling::Connectivity;

use crate::grid::{Grid, rim, within};

use super::regionwise::regionwise;

/// The disk that opens the labels, in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disk {
    pub radius: f64,
    /// By how much it may lie over the rim of a cell, where the drawn line is.
    pub over_rim: f64,
}

/// How often the labels are opened: a tip that the disk cannot reach is shared out to both sides of it, so that half of
/// its length is left. Twice leave a quarter.
const OPENINGS: usize = 2;
/// In pixels.
const HALF_PIXEL: f64 = 0.5;
/// Share of a piece that disks wholly inside its cell must reach: a band along a drawn line that is narrower than the disk
/// over most of its length goes. From memory.
const HELD: f64 = 0.5;

/// Opens every label (from 1; 0 is unlabeled) by a disk, inside its cell; what the disk cannot reach goes to the labels
/// around it. The disk keeps clear of other labels, but may lie a little over the cell's rim, so that a border runs into
/// a drawn line as it comes and does not turn around the disk to meet it. A cell the disk does not fit into gets its
/// commonest label.
pub fn open_by_disk(label: &mut Grid<u8>, cells: &Grid<u16>, disk: Disk) {
    let around = disk.radius.ceil() as usize + 1;
    for _ in 0..OPENINGS {
        let mut opened = regionwise(label, cells, around, |own| opened(&own.label, disk));
        fill_from_neighbors(&mut opened, cells);
        let commonest = commonest_labels(label, cells);
        for (i, &cell) in cells.data.iter().enumerate() {
            if cell > 0 {
                label.data[i] = match opened.data[i] {
                    0 => commonest[usize::from(cell)],
                    l => l,
                };
            }
        }
    }
}

/// The labels of one cell (0 beyond it) where the disk reaches.
///
/// Distances serve all labels at once: a pixel that is at least the radius away from where labels meet is so
/// for its own label only, so the disks around such pixels never overlap another label.
fn opened(label: &Grid<u8>, disk: Disk) -> Grid<u8> {
    let labels: BTreeSet<u8> = label.data.iter().copied().filter(|&l| l > 0).collect();
    if labels.len() < 2 {
        return label.clone();
    }
    let reach = (disk.radius - HALF_PIXEL).max(0.0);
    let inside = label.map(|l| l > 0);
    // Labels meet under drawn lines, too, or a disk could lie over a line that ends in the cell and on what is beyond.
    let mut all = label.clone();
    all.spread(&inside);
    let at_meeting = nearer(&rim(&all), reach);
    let rim = rim(&inside);
    let reached = |from_rim: f64| {
        let at_rim = nearer(&rim, from_rim);
        let middle = |i: usize| inside.data[i] && !at_meeting[i] && !at_rim[i];
        covered(
            (0..label.data.len()).map(middle).collect(),
            label.width,
            reach,
        )
    };
    let held = reached(reach);
    let mut opened = label.clone();
    for (l, in_reach) in opened
        .data
        .iter_mut()
        .zip(reached((reach - disk.over_rim).max(0.0)))
    {
        if !in_reach {
            *l = 0;
        }
    }
    let (pieces, count) = opened.pieces(Connectivity::Four);
    let mut size = vec![(0usize, 0usize); count + 1];
    for (&piece, &held) in pieces.data.iter().zip(&held) {
        size[piece as usize].0 += usize::from(held);
        size[piece as usize].1 += 1;
    }
    for (l, &piece) in opened.data.iter_mut().zip(&pieces.data) {
        let (held, all) = size[piece as usize];
        if (held as f64) < HELD * all as f64 {
            *l = 0;
        }
    }
    opened
}

/// Where a pixel lies within `reach` of one of the `middles`, in rows of `width`; half a pixel beyond, so that the steps of
/// a border on the grid are no corners.
fn covered(middles: Vec<bool>, width: usize, reach: f64) -> Vec<bool> {
    if !middles.contains(&true) {
        return middles;
    }
    let middles = Grid {
        width,
        height: middles.len() / width,
        data: middles,
    };
    within(&middles, (reach + HALF_PIXEL).powi(2))
}

/// Where a pixel for which `to` is true lies nearer than so many pixels.
fn nearer(to: &Grid<bool>, than: f64) -> Vec<bool> {
    // Squared distances are whole numbers.
    within(to, (than * than).ceil() - 1.0)
}

/// The commonest label of every cell (index: cell), the lowest of several; 0 where a cell has none.
fn commonest_labels(label: &Grid<u8>, cells: &Grid<u16>) -> Vec<u8> {
    let labels = label.data.iter().copied().max().unwrap_or(0);
    let count = usize::from(cells.data.iter().copied().max().unwrap_or(0)) + 1;
    let mut votes = vec![vec![0usize; usize::from(labels) + 1]; count];
    for (&l, &c) in label.data.iter().zip(&cells.data) {
        votes[usize::from(c)][usize::from(l)] += usize::from(l > 0);
    }
    let commonest = |votes: Vec<usize>| (0..=labels).rev().max_by_key(|&l| votes[usize::from(l)]);
    let found = votes.into_iter().map(commonest);
    found.map(|label| label.unwrap_or(0)).collect()
}

/// Grows labels over unlabeled pixels of the same cell, nearest first; of two that come as near, the lower one, so that
/// what is symmetric stays so.
pub fn fill_from_neighbors(label: &mut Grid<u8>, cells: &Grid<u16>) {
    let lowest_beside = |label: &Grid<u8>, i: usize| {
        let own = label
            .neighbors(i)
            .filter(|&j| cells.data[j] == cells.data[i]);
        own.map(|j| label.data[j]).filter(|&l| l > 0).min()
    };
    let mut rim: Vec<usize> = (0..label.data.len())
        .filter(|&i| label.data[i] == 0 && cells.data[i] > 0)
        .collect();
    while !rim.is_empty() {
        let reached: Vec<(usize, u8)> = rim
            .iter()
            .filter_map(|&i| Some((i, lowest_beside(label, i)?)))
            .collect();
        for &(i, l) in &reached {
            label.data[i] = l;
        }
        let beyond = |&(i, _): &(usize, u8)| {
            let open = label
                .neighbors(i)
                .filter(move |&j| cells.data[j] == cells.data[i]);
            open.filter(|&j| label.data[j] == 0).collect::<Vec<_>>()
        };
        rim = reached.iter().flat_map(beyond).collect();
        rim.sort_unstable();
        rim.dedup();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DISK: Disk = Disk {
        radius: 4.0,
        over_rim: 1.5,
    };

    /// A border runs into the cell's rim at 45 degrees. Geometry: a disk whose middle is m from the rim touches the border a
    /// fixed way farther from it than m, so that where it turns comes nearer to the rim by as much as it may lie over it.
    #[test]
    fn a_border_keeps_its_way_to_the_rim_farther_where_the_disk_may_lie_over_it() {
        let mut cells = Grid::filled(80, 60, 0u16);
        let mut label = Grid::filled(80, 60, 0u8);
        for y in 10..50 {
            for x in 10..70 {
                cells.data[y * 80 + x] = 1;
                label.data[y * 80 + x] = if x > y + 15 { 2 } else { 1 };
            }
        }
        let turned = |over_rim: f64| {
            let mut after = label.clone();
            let radius = 6.0;
            open_by_disk(&mut after, &cells, Disk { radius, over_rim });
            let upper = 10 * 80..30 * 80;
            let changed = upper.filter(|&i| after.data[i] != label.data[i]);
            changed.map(|i| i / 80 - 9).max().unwrap_or(0) as f64
        };
        for over_rim in [2.0, 4.0] {
            let nearer = turned(0.0) - turned(over_rim);
            assert!((nearer - over_rim).abs() <= 1.0, "{over_rim}: {nearer}");
        }
    }

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
        open_by_disk(&mut label, &cells, DISK);
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
        open_by_disk(&mut label, &cells, DISK);
        assert!(label.data.iter().all(|&l| l == 1));
    }
}
