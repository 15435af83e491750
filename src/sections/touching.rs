//! Which bands of different groups touch in the label field, how far, and which side the photo shows lighter there.

use std::collections::BTreeMap;
use std::f32::consts::FRAC_PI_4;

use imageproc::region_labelling::Connectivity;

use super::Band;
use crate::color::Lab;
use crate::grid::Grid;

/// Two bands of different groups that touch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Touching {
    /// Their indices, ascending.
    pub bands: [usize; 2],
    /// Length of their common border, in millimeters.
    pub border_mm: f32,
    /// No drawn line lies between them, along a border that counts: it shows by their colors alone.
    pub undivided: bool,
    /// What the first is lighter by in the photo, in L*, on the pieces of the field that touch; negative where it is
    /// darker.
    pub lighter_by: f32,
}

impl Touching {
    /// The same where every band has another index, as `place` says.
    pub fn with_bands(&self, place: impl Fn(usize) -> usize) -> Self {
        let [first, second] = self.bands.map(place);
        match first < second {
            true => Self {
                bands: [first, second],
                ..*self
            },
            false => Self {
                bands: [second, first],
                lighter_by: -self.lighter_by,
                ..*self
            },
        }
    }
}

/// Pixel edges between two bands.
#[derive(Default)]
struct Border {
    edges: usize,
    /// Those within a cell.
    undivided: usize,
    /// Sum of what the first band is lighter by.
    lighter: f64,
}

/// The bands of different groups with a common border of at least `least_mm` in `label` (band + 1; 0: none), in order.
/// `cells` are the drawing's, and `lab` is the photo.
///
/// The length of a border is that of its pixel edges times pi / 4, right on average over all directions (Cauchy and
/// Crofton).
pub fn touching(
    label: &Grid<u8>,
    cells: &Grid<u16>,
    lab: &Grid<Lab>,
    bands: &[Band],
    least_mm: f32,
    mm_per_px: f32,
) -> Vec<Touching> {
    let (pieces, count) = label.pieces(Connectivity::Four);
    let mut lightness = vec![(0.0f64, 0usize); count + 1];
    for (&piece, lab) in pieces.data.iter().zip(&lab.data) {
        let (sum, n) = &mut lightness[piece as usize];
        *sum += f64::from(lab.l);
        *n += 1;
    }
    let mean = |piece: u32| {
        let (sum, n) = lightness[piece as usize];
        (sum / n as f64) as f32
    };
    let mut borders: BTreeMap<[usize; 2], Border> = BTreeMap::new();
    let group = |l: u8| bands[usize::from(l) - 1].group;
    for i in 0..label.data.len() {
        let right = (i % label.width + 1 < label.width).then_some(i + 1);
        let below = (i + label.width < label.data.len()).then_some(i + label.width);
        for j in right.into_iter().chain(below) {
            let (l, m) = (label.data[i], label.data[j]);
            if l == 0 || m == 0 || l == m || group(l) == group(m) {
                continue;
            }
            let (i, j) = if l < m { (i, j) } else { (j, i) };
            let bands = [i, j].map(|i| usize::from(label.data[i]) - 1);
            let border = borders.entry(bands).or_default();
            border.edges += 1;
            border.undivided += usize::from(cells.data[i] == cells.data[j]);
            border.lighter += f64::from(mean(pieces.data[i]) - mean(pieces.data[j]));
        }
    }
    let length_mm = |edges: usize| edges as f32 * FRAC_PI_4 * mm_per_px;
    borders
        .into_iter()
        .map(|(bands, border)| Touching {
            bands,
            border_mm: length_mm(border.edges),
            undivided: length_mm(border.undivided) >= least_mm,
            lighter_by: (border.lighter / border.edges as f64) as f32,
        })
        .filter(|touching| touching.border_mm >= least_mm)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_that_change_places_keep_their_order_of_lightness() {
        let touching = Touching {
            bands: [1, 3],
            border_mm: 12.0,
            undivided: true,
            lighter_by: 5.0,
        };
        let swapped = touching.with_bands(|band| [0, 4, 3, 2][band]);
        assert_eq!((swapped.bands, swapped.lighter_by), ([2, 4], -5.0));
        let kept = touching.with_bands(|band| band - 1);
        assert_eq!((kept.bands, kept.lighter_by), ([0, 2], 5.0));
    }

    #[test]
    fn touching_bands_are_told_with_their_border_and_the_lighter_side() {
        // A gray disk of 20 mm across in a lighter red, a second red band at the frame, on which nothing gray lies.
        let (side, mm_per_px) = (150usize, 0.2f32);
        let of = |i: usize| {
            let (x, y) = ((i % side) as f32 - 74.5, (i / side) as f32 - 74.5);
            match x.hypot(y) * mm_per_px {
                r if r < 10.0 => 3,
                _ if i < side * 10 => 2,
                _ => 1u8,
            }
        };
        let label = Grid {
            width: side,
            height: side,
            data: (0..side * side).map(of).collect(),
        };
        let lab = label.map(|l| Lab::new([0.0, 70.0, 40.0, 62.0][usize::from(l)], 0.0, 0.0));
        let bands = [0, 0, 1].map(|group| Band {
            group,
            lab: Lab::new(50.0, 0.0, 0.0),
            share: 0.3,
        });
        let one_cell = label.map(|_| 1u16);
        let cells = label.map(u16::from);
        let divided = touching(&label, &cells, &lab, &bands, 1.5, mm_per_px);
        assert!(!divided[0].undivided);
        let [one] = touching(&label, &one_cell, &lab, &bands, 1.5, mm_per_px)[..] else {
            panic!("the two reds are one group, and the dark one touches no gray")
        };
        assert_eq!(one.bands, [0, 2]);
        assert!(one.undivided);
        assert!((one.lighter_by - 8.0).abs() < 1e-3);
        // The edges of a disk's pixels are 8 r, so the length comes out as 2 pi r.
        assert!((one.border_mm - 62.8).abs() < 1.0, "{}", one.border_mm);
        assert!(touching(&label, &cells, &lab, &bands, 70.0, mm_per_px).is_empty());
    }
}
