//! Sections that the person wants to color as one.

use crate::color::Lab;
use crate::error::{Error, Result};
use crate::grid::Grid;

use super::Band;

/// Gives sections the band of another. `label` holds the index of the band plus 1 for every pixel of `cells`, 0
/// elsewhere; each of `merged` lists points, in millimeters, in the section that lends its band and in those that take
/// it. They take its color in `lab`, too, so that it stays what it was.
///
/// # Errors
/// If a point lies in no section.
pub fn merge(
    label: &mut Grid<u8>,
    lab: &mut Grid<Lab>,
    cells: &Grid<u16>,
    bands: &[Band],
    merged: &[Vec<[f64; 2]>],
    mm_per_px: f64,
) -> Result<()> {
    for points in merged {
        let places: Vec<usize> = points
            .iter()
            .map(|&point| place(label, point, mm_per_px))
            .collect::<Result<_>>()?;
        let Some((&first, others)) = places.split_first() else {
            continue;
        };
        let wanted = label.data[first];
        for &other in others {
            let (was, cell) = (label.data[other], cells.data[other]);
            if was == wanted {
                continue;
            }
            label.data[other] = wanted;
            let mut open = vec![other];
            while let Some(i) = open.pop() {
                lab.data[i] = bands[usize::from(wanted) - 1].lab;
                for j in label.neighbors(i) {
                    if label.data[j] == was && cells.data[j] == cell {
                        label.data[j] = wanted;
                        open.push(j);
                    }
                }
            }
        }
    }
    Ok(())
}

/// The pixel of a section at a point.
fn place(label: &Grid<u8>, [x, y]: [f64; 2], mm_per_px: f64) -> Result<usize> {
    let (i, j) = ((x / mm_per_px).floor(), (y / mm_per_px).floor());
    let inside = i >= 0.0 && j >= 0.0 && i < label.width as f64 && j < label.height as f64;
    inside
        .then(|| j as usize * label.width + i as usize)
        .filter(|&p| label.data[p] > 0)
        .ok_or_else(|| {
            Error::new(
                format!("the point [{x}, {y}] of merge lies in no section"),
                "Give points inside sections, in millimeters from the top left; the guide tells where a tapped one is.",
            )
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_piece_takes_the_band_of_another_and_stops_at_its_cell() {
        let grid = |data: &[u8]| Grid {
            width: 6,
            height: 1,
            data: data.to_vec(),
        };
        let gray = |l: f32| Lab::new(l, 0.0, 0.0);
        let bands = [80.0, 40.0].map(|l| Band {
            group: 0,
            lab: gray(l),
            share: 0.5,
        });
        let mut label = grid(&[1, 2, 2, 2, 0, 2]);
        let cells = grid(&[1, 1, 1, 2, 0, 2]).map(u16::from);
        let mut lab = Grid::filled(6, 1, gray(50.0));
        let points = vec![vec![[0.5, 0.5], [2.5, 0.5]]];
        merge(&mut label, &mut lab, &cells, &bands, &points, 1.0).unwrap();
        assert_eq!(label.data, [1, 1, 1, 2, 0, 2]);
        assert_eq!(lab.data[2], gray(80.0));
        assert_eq!(lab.data[3], gray(50.0));
        for outside in [[4.5, 0.5], [-1.0, 0.0], [0.0, 9.0]] {
            let points = vec![vec![[0.5, 0.5], outside]];
            assert!(merge(&mut label, &mut lab, &cells, &bands, &points, 1.0).is_err());
        }
    }
}
