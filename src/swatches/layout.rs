//! Where everything lies on a sheet.
//!
//! Four bull's-eyes in the corners say how the sheet lies in the photo; a strip of cells says which way is up, which
//! sheet it is and whose names stand on it. The bare paper around every box is its white. Columns of the same gray
//! steps stand to both sides of every box: they are bright and dim, in glare and out of it, and so tell the camera's
//! tone curve and the glare.

use std::path::Path;

use crate::art::Corners;
use crate::error::{Error, Result};
use crate::job::PageSize;
use crate::pens::Pen;

/// Distance of the bull's-eyes' middles from the edges of the page, in millimeters.
const MARK_INSET_MM: f64 = 17.0;
/// Diameters of a bull's-eye: black disk, white disk on it, black dot, in millimeters.
pub const MARK_MM: [f64; 3] = [10.0, 6.4, 3.4];
/// The strip of cells: its top and the size of a cell, in millimeters.
const STRIP_TOP_MM: f64 = 14.5;
pub const CELL_MM: f64 = 5.0;
/// Cells: one black, the page, five for the sheet, eight for the names, one that makes the black ones even, and one
/// that is black since sheets have gray steps.
pub(super) const CELLS: usize = 17;
/// The rows begin here, and end this far above the lower edge, in millimeters.
const TOP_MM: f64 = 34.0;
const BOTTOM_MM: f64 = 30.0;
const SIDE_MM: f64 = 12.0;
/// One pen: name above two boxes.
const COLUMNS: usize = 3;
const ROW_MM: f64 = 21.0;
const BOX_MM: [f64; 2] = [20.0, 11.0];
const BETWEEN_MM: f64 = 9.0;
const NAME_MM: f64 = 4.5;
/// Lines of gray steps across the page: beside the boxes and between them.
const LINES: usize = 2 * COLUMNS + 1;
/// Width and height of one gray step, in millimeters.
pub const STEP_MM: [f64; 2] = [3.0, 2.8];
/// The gray steps from top to bottom, as sRGB code values: from a gray that any printer makes darker than most inks to
/// one that is just seen. From memory; only that they are the same everywhere on the page is relied upon.
pub const STEPS: [u8; 5] = [40, 88, 136, 184, 224];

/// A rectangle on the page: left, top, width, height in millimeters.
pub type Place = [f64; 4];

/// One pen on a sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entry {
    /// Where its name stands: left end of the baseline.
    pub name: [f64; 2],
    /// The boxes for one coat and for two.
    pub boxes: [Place; 2],
}

/// Places on a page, the same for drawing and for reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Places {
    pub page: PageSize,
}

impl Places {
    fn rows(self) -> usize {
        let (_, height) = self.page.size_mm();
        ((height - TOP_MM - BOTTOM_MM) / ROW_MM) as usize
    }

    fn column_mm(self) -> f64 {
        (self.page.size_mm().0 - 2.0 * SIDE_MM) / COLUMNS as f64
    }

    /// Pens that fit one sheet.
    pub fn capacity(self) -> usize {
        COLUMNS * self.rows()
    }

    /// The place of the `k`-th pen of a sheet.
    pub fn entry(self, k: usize) -> Entry {
        let x = SIDE_MM
            + (k % COLUMNS) as f64 * self.column_mm()
            + (self.column_mm() - 2.0 * BOX_MM[0] - BETWEEN_MM) / 2.0;
        let y = TOP_MM + (k / COLUMNS) as f64 * ROW_MM;
        let place = |left: f64| [left, y + NAME_MM, BOX_MM[0], BOX_MM[1]];
        Entry {
            // Above the paper that is measured.
            name: [x, y + 1.2],
            boxes: [place(x), place(x + BOX_MM[0] + BETWEEN_MM)],
        }
    }

    /// Stacks of gray steps in reading order, `2 * 3 + 1` in every row of pens; of each the place of its steps together.
    pub fn stacks(self) -> Vec<Place> {
        let [width, step] = STEP_MM;
        let height = step * STEPS.len() as f64;
        (0..self.rows() * LINES)
            .map(|i| {
                let x = SIDE_MM + (i % LINES) as f64 * self.column_mm() / 2.0;
                let y = TOP_MM + (i / LINES) as f64 * ROW_MM + NAME_MM + BOX_MM[1] / 2.0;
                [x - width / 2.0, y - height / 2.0, width, height]
            })
            .collect()
    }

    /// The stacks to the left and to the right of box `b` of the `k`-th pen.
    pub fn beside(self, k: usize, b: usize) -> [usize; 2] {
        let left = k / COLUMNS * LINES + 2 * (k % COLUMNS) + b;
        [left, left + 1]
    }

    /// Middles of the bull's-eyes, clockwise from the top left.
    pub fn marks(self) -> Corners {
        let (w, h) = self.page.size_mm();
        let i = MARK_INSET_MM;
        [[i, i], [w - i, i], [w - i, h - i], [i, h - i]]
    }

    /// Left and top of the strip's cells.
    pub fn cells(self) -> [[f64; 2]; CELLS] {
        let (w, _) = self.page.size_mm();
        let left = (w - CELLS as f64 * CELL_MM) / 2.0;
        std::array::from_fn(|i| [left + i as f64 * CELL_MM, STRIP_TOP_MM])
    }
}

/// Which cells of the strip are black on sheet `number` (from 0) with these names.
pub fn strip(page: PageSize, number: usize, names: &[&str]) -> [bool; CELLS] {
    let bits = u32::from(page == PageSize::Letter) << 13
        | (number as u32 & 31) << 8
        | u32::from(names_check(names));
    let mut cells = [false; CELLS];
    cells[0] = true;
    for (i, cell) in cells[1..15].iter_mut().enumerate() {
        *cell = bits >> (13 - i) & 1 == 1;
    }
    cells[15] = cells.iter().filter(|&&c| c).count() % 2 == 1;
    cells[16] = true;
    cells
}

/// What a strip says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Printed {
    pub page: PageSize,
    pub number: usize,
    pub check: u8,
    /// Printed before sheets had gray steps.
    pub old: bool,
}

/// Reads a strip; `None` if it is none.
pub(super) fn read_strip(cells: [bool; CELLS]) -> Option<Printed> {
    let even = cells[..16].iter().filter(|&&c| c).count() % 2 == 0;
    if !cells[0] || !even {
        return None;
    }
    let bits = cells[1..15]
        .iter()
        .fold(0u32, |v, &c| v << 1 | u32::from(c));
    Some(Printed {
        page: if bits >> 13 & 1 == 1 {
            PageSize::Letter
        } else {
            PageSize::A4
        },
        number: (bits >> 8 & 31) as usize,
        check: (bits & 255) as u8,
        old: !cells[16],
    })
}

/// A check over the names of a sheet: a sheet is only read with the pens it was printed for (Fletcher 1982, 8 bits of
/// it).
pub(super) fn names_check(names: &[&str]) -> u8 {
    let (mut a, mut b) = (1u32, 0u32);
    for byte in names.iter().flat_map(|n| n.bytes().chain([0])) {
        a = (a + u32::from(byte)) % 251;
        b = (b + a) % 251;
    }
    (a ^ b) as u8
}

/// The names on sheet `number`.
pub fn names_on(places: Places, pens: &[Pen], number: usize) -> Vec<&str> {
    pens.iter()
        .skip(number * places.capacity())
        .take(places.capacity())
        .map(|p| p.name.as_str())
        .collect()
}

/// How many sheets the pens of the file `path` need.
///
/// # Errors
/// If there are more than 32 sheets of them.
pub fn sheets_for(places: Places, pens: &[Pen], path: &Path) -> Result<usize> {
    let count = pens.len().div_ceil(places.capacity());
    if count > 32 {
        return Err(Error::file(
            path,
            format!(
                "lists {} pens, expected at most {}",
                pens.len(),
                32 * places.capacity()
            ),
            "Split the list.",
        ));
    }
    Ok(count)
}

#[cfg(test)]
mod tests {
    use super::super::view::PAPER_MM;
    use super::*;

    #[test]
    fn a_strip_reads_back_and_one_wrong_cell_is_noticed() {
        let names = ["Moss", "Plum <b>"];
        for (page, number) in [
            (PageSize::A4, 0),
            (PageSize::Letter, 31),
            (PageSize::A4, 17),
        ] {
            let cells = strip(page, number, &names);
            let printed = Printed {
                page,
                number,
                check: names_check(&names),
                old: false,
            };
            assert_eq!(read_strip(cells), Some(printed));
            for i in 0..16 {
                let mut wrong = cells;
                wrong[i] = !wrong[i];
                assert_eq!(read_strip(wrong), None);
            }
            let mut earlier = cells;
            earlier[16] = false;
            assert!(read_strip(earlier).unwrap().old);
        }
        assert_ne!(
            names_check(&["Moss", "Plum"]),
            names_check(&["Plum", "Moss"])
        );
    }

    #[test]
    fn boxes_keep_clear_of_grays_of_marks_of_each_other_and_of_the_page() {
        for page in [PageSize::A4, PageSize::Letter] {
            let places = Places { page };
            let (w, h) = page.size_mm();
            let all: Vec<Place> = (0..places.capacity())
                .flat_map(|k| places.entry(k).boxes)
                .collect();
            assert!(places.capacity() >= 27);
            let far = PAPER_MM[1];
            let apart = |a: &Place, b: &Place| {
                (0..2).any(|c| a[c] + a[c + 2] + far <= b[c] || b[c] + b[c + 2] + far <= a[c])
            };
            let stacks = places.stacks();
            for (i, a) in all.iter().enumerate() {
                assert!(a[0] > far + 5.0 && a[0] + a[2] + far + 5.0 < w && a[1] + a[3] + 20.0 < h);
                assert!(all[..i].iter().chain(&stacks).all(|b| apart(a, b)), "{a:?}");
                for m in places.marks() {
                    let out = (a[0] - m[0])
                        .max(m[0] - a[0] - a[2])
                        .max((a[1] - m[1]).max(m[1] - a[1] - a[3]));
                    assert!(out > MARK_MM[0] / 2.0 + far, "{a:?} {m:?}");
                }
                // The stacks beside a box are the ones next to it.
                let [left, right] = places.beside(i / 2, i % 2).map(|s| stacks[s]);
                assert!(left[0] < a[0] && a[0] < right[0] && right[0] - left[0] < 36.0);
                assert!((left[1] + left[3] / 2.0 - a[1] - a[3] / 2.0).abs() < 1e-9);
                assert_eq!(left[1], right[1]);
            }
        }
    }
}
