//! Swatch sheets: every pen as a box colored once and a box colored twice, printed, colored by hand, photographed, and
//! measured from the photo.
//!
//! Four bull's-eyes in the corners say how the sheet lies in the photo; a strip of cells says which way is up, which
//! sheet it is and whose names stand on it. The bare paper around every box is its white: uneven light and a warm lamp
//! fall on both and cancel.

use std::path::Path;

use image::Luma;
use imageproc::region_labelling::{Connectivity, connected_components};
use palette::{LinSrgb, Srgb};

use crate::art::{Corners, even_light, on_white, perspective};
use crate::color::{Srgb8, difference};
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::job::Page;
use crate::reference::Photo;

use super::Pen;

/// Distance of the bull's-eyes' middles from the edges of the page, in millimeters.
const MARK_INSET_MM: f64 = 17.0;
/// Diameters of a bull's-eye: black disk, white disk on it, black dot, in millimeters.
pub const MARK_MM: [f64; 3] = [10.0, 6.4, 3.4];
/// The strip of cells: its top and the size of a cell, in millimeters.
const STRIP_TOP_MM: f64 = 14.5;
pub const CELL_MM: f64 = 5.0;
/// Cells: one black, the page, five for the sheet, eight for the names, one that makes the black ones even, one white.
const CELLS: usize = 17;
/// The boxes begin here, and end this far above the lower edge, in millimeters.
const TOP_MM: f64 = 34.0;
const BOTTOM_MM: f64 = 30.0;
const SIDE_MM: f64 = 12.0;
/// One pen: name above two boxes.
const COLUMNS: usize = 3;
const ROW_MM: f64 = 21.0;
pub const BOX_MM: [f64; 2] = [22.0, 11.0];
const BETWEEN_MM: f64 = 6.0;
const NAME_MM: f64 = 4.5;
/// Part of a box that is measured: its middle, clear of wobbly edges.
const MIDDLE: f64 = 0.6;
/// The bare paper around a box lies this far from it, in millimeters: from and to.
const PAPER_MM: [f64; 2] = [1.2, 2.8];
/// Samples per millimeter along each side.
const PER_MM: f64 = 4.0;
/// A box that differs from the paper by less than this, in CIEDE2000, was left empty; from memory.
const EMPTY: f32 = 1.6;
/// Longer side of the picture in which the marks are looked for, in pixels.
const SEARCH_PX: usize = 1800;

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
pub struct Sheet {
    pub page: Page,
}

impl Sheet {
    /// Pens that fit one sheet.
    pub fn capacity(self) -> usize {
        let (_, height) = self.page.size_mm();
        COLUMNS * ((height - TOP_MM - BOTTOM_MM) / ROW_MM) as usize
    }

    /// The place of the `k`-th pen of a sheet.
    pub fn entry(self, k: usize) -> Entry {
        let (width, _) = self.page.size_mm();
        let column_mm = (width - 2.0 * SIDE_MM) / COLUMNS as f64;
        let x = SIDE_MM
            + (k % COLUMNS) as f64 * column_mm
            + (column_mm - 2.0 * BOX_MM[0] - BETWEEN_MM) / 2.0;
        let y = TOP_MM + (k / COLUMNS) as f64 * ROW_MM;
        let top = y + NAME_MM;
        let place = |left: f64| [left, top, BOX_MM[0], BOX_MM[1]];
        Entry {
            // Above the paper that is measured.
            name: [x, y + 1.2],
            boxes: [place(x), place(x + BOX_MM[0] + BETWEEN_MM)],
        }
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
pub fn strip(page: Page, number: usize, names: &[&str]) -> [bool; CELLS] {
    let bits = u32::from(page == Page::Letter) << 13
        | (number as u32 & 31) << 8
        | u32::from(names_check(names));
    let mut cells = [false; CELLS];
    cells[0] = true;
    for (i, cell) in cells[1..15].iter_mut().enumerate() {
        *cell = bits >> (13 - i) & 1 == 1;
    }
    cells[15] = cells.iter().filter(|&&c| c).count() % 2 == 1;
    cells
}

/// Page, number and check of a strip; `None` if it is none.
fn read_strip(cells: [bool; CELLS]) -> Option<(Page, usize, u8)> {
    let even = cells.iter().filter(|&&c| c).count() % 2 == 0;
    if !cells[0] || cells[16] || !even {
        return None;
    }
    let bits = cells[1..15]
        .iter()
        .fold(0u32, |v, &c| v << 1 | u32::from(c));
    let page = if bits >> 13 & 1 == 1 {
        Page::Letter
    } else {
        Page::A4
    };
    Some((page, (bits >> 8 & 31) as usize, (bits & 255) as u8))
}

/// A check over the names of a sheet: a sheet is only read with the pens it was printed for (Fletcher 1982, 8 bits of
/// it).
fn names_check(names: &[&str]) -> u8 {
    let (mut a, mut b) = (1u32, 0u32);
    for byte in names.iter().flat_map(|n| n.bytes().chain([0])) {
        a = (a + u32::from(byte)) % 251;
        b = (b + a) % 251;
    }
    (a ^ b) as u8
}

/// The names on sheet `number`.
pub fn names_on(sheet: Sheet, pens: &[Pen], number: usize) -> Vec<&str> {
    pens.iter()
        .skip(number * sheet.capacity())
        .take(sheet.capacity())
        .map(|p| p.name.as_str())
        .collect()
}

/// What a photo says of one pen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Index of the pen.
    pub pen: usize,
    /// One coat and two; `None` where the box is empty.
    pub coats: [Option<Srgb8>; 2],
}

/// Reads one photo of one sheet: its number, from 0, and every pen on it.
///
/// # Errors
/// If the marks are not found, or the sheet was printed for other pens.
pub fn read_swatches(photo: &Photo, pens: &[Pen], paper: Srgb8) -> Result<(usize, Vec<Measured>)> {
    let marks = find_marks(photo)?;
    let picture = photo.thumbnail(2 * SEARCH_PX);
    let (width, _) = photo.upright_size();
    let scale = picture.width as f64 / width as f64;
    let lost = || {
        Error::file(
            &photo.path,
            "the strip of cells at the top of the sheet cannot be read",
            "Photograph the whole sheet, sharp, with all four round marks in the picture.",
        )
    };
    // Which way is up, and which page: the only way the strip makes sense.
    let mut found = None;
    'ways: for turn in 0..4 {
        let corners = [0, 1, 2, 3].map(|i| marks[(i + turn) % 4]);
        for page in [Page::A4, Page::Letter] {
            let sheet = Sheet { page };
            let Some(place) = on_sheet(photo, sheet, &corners) else {
                continue;
            };
            let cells = read_cells(&picture, scale, sheet, &place);
            if let Some((printed, number, check)) = read_strip(cells)
                && printed == page
            {
                found = Some((sheet, place, number, check));
                break 'ways;
            }
        }
    }
    let (sheet, place, number, check) = found.ok_or_else(lost)?;
    let names = names_on(sheet, pens, number);
    if names.is_empty() || names_check(&names) != check {
        return Err(Error::file(
            &photo.path,
            format!("sheet {} was printed for other pens than these", number + 1),
            "Use the pens file the sheet was printed from, with the same names in the same order, or print a new sheet.",
        ));
    }
    let first = number * sheet.capacity();
    let at = |p: [f64; 2]| {
        let [x, y] = place(p);
        linear_at(&picture, x * scale, y * scale)
    };
    let measured = (0..names.len())
        .map(|k| Measured {
            pen: first + k,
            coats: sheet.entry(k).boxes.map(|b| measure_box(b, &at, paper)),
        })
        .collect();
    Ok((number, measured))
}

/// From the sheet (millimeters) to the photo (pixels), by the four marks.
fn on_sheet(
    photo: &Photo,
    sheet: Sheet,
    corners: &Corners,
) -> Option<impl Fn([f64; 2]) -> [f64; 2] + use<>> {
    let [[x0, y0], _, [x1, y1], _] = sheet.marks();
    let inner = perspective(photo, corners, x1 - x0, y1 - y0).ok()?;
    Some(move |[x, y]: [f64; 2]| inner([x - x0, y - y0]))
}

/// Which cells of the strip are black, each against the paper beside it.
fn read_cells(
    picture: &Grid<[u8; 4]>,
    scale: f64,
    sheet: Sheet,
    place: &impl Fn([f64; 2]) -> [f64; 2],
) -> [bool; CELLS] {
    let light = |x: f64, y: f64| {
        let [u, v] = place([x, y]);
        let c = linear_at(picture, u * scale, v * scale);
        c.red + c.green + c.blue
    };
    sheet.cells().map(|[x, y]| {
        let middle = CELL_MM / 2.0;
        let inside = light(x + middle, y + middle);
        let above = light(x + middle, y - 2.0).max(light(x + middle, y + CELL_MM + 2.0));
        inside < 0.4 * above
    })
}

/// The linear color at a place, bilinear.
fn linear_at(picture: &Grid<[u8; 4]>, x: f64, y: f64) -> LinSrgb<f32> {
    let (x, y) = (
        (x - 0.5).clamp(0.0, (picture.width - 1) as f64),
        (y - 0.5).clamp(0.0, (picture.height - 1) as f64),
    );
    let (i, j) = (x as usize, y as usize);
    let (u, v) = ((x - i as f64) as f32, (y - j as f64) as f32);
    let at = |i: usize, j: usize| -> LinSrgb<f32> {
        let [r, g, b, _] = picture.at(i.min(picture.width - 1), j.min(picture.height - 1));
        Srgb::new(r, g, b).into_linear()
    };
    let top = at(i, j) * (1.0 - u) + at(i + 1, j) * u;
    let bottom = at(i, j + 1) * (1.0 - u) + at(i + 1, j + 1) * u;
    top * (1.0 - v) + bottom * v
}

/// The color of a box as it would be on white paper; `None` if it is empty.
fn measure_box(
    [x, y, w, h]: Place,
    at: &impl Fn([f64; 2]) -> LinSrgb<f32>,
    paper: Srgb8,
) -> Option<Srgb8> {
    let over = |[x, y, w, h]: Place| -> LinSrgb<f32> {
        let (columns, rows) = ((w * PER_MM).ceil() as usize, (h * PER_MM).ceil() as usize);
        let seen: Vec<LinSrgb<f32>> = (0..columns * rows)
            .map(|i| {
                at([
                    x + ((i % columns) as f64 + 0.5) / columns as f64 * w,
                    y + ((i / columns) as f64 + 0.5) / rows as f64 * h,
                ])
            })
            .collect();
        let middle =
            |channel: fn(&LinSrgb<f32>) -> f32| middle_mean(seen.iter().map(channel).collect());
        LinSrgb::new(middle(|c| c.red), middle(|c| c.green), middle(|c| c.blue))
    };
    let inset = (1.0 - MIDDLE) / 2.0;
    let ink = over([x + inset * w, y + inset * h, MIDDLE * w, MIDDLE * h]);
    let [near, far] = PAPER_MM;
    let thick = far - near;
    // Opposite sides are as far from the middle as each other, so that their mean is the light in the middle.
    let sides = [
        over([x, y - far, w, thick]),
        over([x, y + h + near, w, thick]),
        over([x - far, y, thick, h]),
        over([x + w + near, y, thick, h]),
    ];
    let white = (sides[0] + sides[1] + sides[2] + sides[3]) / 4.0;
    let own: LinSrgb<f32> = Srgb::new(paper.0[0], paper.0[1], paper.0[2]).into_linear();
    let part = |ink: f32, white: f32, paper: f32| (ink / white.max(1e-4) * paper).clamp(0.0, 1.0);
    let color: Srgb<u8> = Srgb::from_linear(LinSrgb::new(
        part(ink.red, white.red, own.red),
        part(ink.green, white.green, own.green),
        part(ink.blue, white.blue, own.blue),
    ));
    let color = Srgb8::new(color.red, color.green, color.blue);
    (difference(color.lab(), paper.lab()) >= EMPTY).then_some(color)
}

/// The mean of the middle half of the values: streaks and dust stay out.
fn middle_mean(mut values: Vec<f32>) -> f32 {
    values.sort_by(f32::total_cmp);
    let (from, to) = (values.len() / 4, values.len() - values.len() / 4);
    values[from..to].iter().sum::<f32>() / (to - from).max(1) as f32
}

/// One dark piece of the picture.
#[derive(Clone, Copy)]
struct Piece {
    pixels: usize,
    sum: [f64; 2],
    bounds: [usize; 4],
}

impl Piece {
    fn middle(&self) -> [f64; 2] {
        self.sum.map(|v| v / self.pixels as f64 + 0.5)
    }

    fn size(&self) -> [f64; 2] {
        let [x0, y0, x1, y1] = self.bounds;
        [x1 + 1 - x0, y1 + 1 - y0].map(|v| v as f64)
    }
}

/// Middles of the four bull's-eyes in photo pixels, clockwise.
fn find_marks(photo: &Photo) -> Result<Corners> {
    let small = photo.thumbnail(SEARCH_PX);
    let scale = photo.upright_size().0 as f64 / small.width as f64;
    let mut even = small.map(on_white);
    // The light changes over centimeters; a sheet is some 300 mm long.
    even_light(&mut even, 300.0 / SEARCH_PX as f64);
    let dark = even.map(|p| u8::from(p.iter().map(|&v| u32::from(v)).sum::<u32>() < 3 * 110));
    let pieces: Grid<u32> =
        connected_components(&dark.into_image(), Connectivity::Eight, Luma([0])).into();
    let count = pieces.data.iter().copied().max().unwrap_or(0) as usize;
    let mut found = vec![
        Piece {
            pixels: 0,
            sum: [0.0; 2],
            bounds: [usize::MAX, usize::MAX, 0, 0],
        };
        count + 1
    ];
    for (i, &piece) in pieces.data.iter().enumerate() {
        let (x, y) = (i % pieces.width, i / pieces.width);
        let f = &mut found[piece as usize];
        f.pixels += 1;
        f.sum = [f.sum[0] + x as f64, f.sum[1] + y as f64];
        let [x0, y0, x1, y1] = f.bounds;
        f.bounds = [x0.min(x), y0.min(y), x1.max(x), y1.max(y)];
    }
    let [disk, hole, dot] = MARK_MM.map(|d| d * d);
    let expected = (disk - hole) / dot;
    // A ring around a dot, middle on middle, in the right proportion.
    let marks: Vec<[f64; 2]> = found[1..]
        .iter()
        .filter(|ring| ring.pixels > 60)
        .filter_map(|ring| {
            let [w, h] = ring.size();
            if w > 2.6 * h || h > 2.6 * w || w > small.width as f64 / 6.0 {
                return None;
            }
            let middle = ring.middle();
            let seen = pieces.at(
                (middle[0] as usize).min(pieces.width - 1),
                (middle[1] as usize).min(pieces.height - 1),
            );
            let dot = found[seen as usize];
            let ratio = ring.pixels as f64 / dot.pixels as f64;
            let inside = dot.size()[0] < 0.6 * w && dot.size()[1] < 0.6 * h;
            let centered = (dot.middle()[0] - middle[0]).abs() < 0.1 * w
                && (dot.middle()[1] - middle[1]).abs() < 0.1 * h;
            (seen > 0 && inside && centered && (0.5..2.0).contains(&(ratio / expected)))
                .then(|| dot.middle().map(|v| v * scale))
        })
        .collect();
    if marks.len() != 4 {
        return Err(Error::file(
            &photo.path,
            format!(
                "{} of the four round marks of a swatch sheet are found",
                marks.len()
            ),
            "Photograph the whole sheet, sharp, with a little of the desk around it and nothing on the marks.",
        ));
    }
    let center = [0, 1].map(|c| marks.iter().map(|m| m[c]).sum::<f64>() / 4.0);
    let mut around = [marks[0], marks[1], marks[2], marks[3]];
    let angle = |m: &[f64; 2]| (m[1] - center[1]).atan2(m[0] - center[0]);
    around.sort_by(|a, b| angle(a).total_cmp(&angle(b)));
    Ok(around)
}

/// Refuses more pens than sheets can number.
///
/// # Errors
/// If there are more than 32 sheets of them.
pub fn sheets_for(sheet: Sheet, pens: &[Pen], path: &Path) -> Result<usize> {
    let count = pens.len().div_ceil(sheet.capacity());
    if count > 32 {
        return Err(Error::file(
            path,
            format!(
                "lists {} pens, expected at most {}",
                pens.len(),
                32 * sheet.capacity()
            ),
            "Split the list.",
        ));
    }
    Ok(count)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_strip_reads_back_and_one_wrong_cell_is_noticed() {
        let names = ["Moss", "Plum <b>"];
        for (page, number) in [(Page::A4, 0), (Page::Letter, 31), (Page::A4, 17)] {
            let cells = strip(page, number, &names);
            assert_eq!(read_strip(cells), Some((page, number, names_check(&names))));
            for i in 0..CELLS {
                let mut wrong = cells;
                wrong[i] = !wrong[i];
                assert_eq!(read_strip(wrong), None);
            }
        }
        assert_ne!(
            names_check(&["Moss", "Plum"]),
            names_check(&["Plum", "Moss"])
        );
    }

    #[test]
    fn boxes_keep_clear_of_marks_of_each_other_and_of_the_page() {
        for page in [Page::A4, Page::Letter] {
            let sheet = Sheet { page };
            let (w, h) = page.size_mm();
            let all: Vec<Place> = (0..sheet.capacity())
                .flat_map(|k| sheet.entry(k).boxes)
                .collect();
            assert!(sheet.capacity() >= 27);
            let far = PAPER_MM[1];
            for (i, a) in all.iter().enumerate() {
                assert!(a[0] > far + 5.0 && a[0] + a[2] + far + 5.0 < w && a[1] + a[3] + 20.0 < h);
                for b in &all[..i] {
                    let apart =
                        |c: usize| a[c] + a[c + 2] + far <= b[c] || b[c] + b[c + 2] + far <= a[c];
                    assert!(apart(0) || apart(1), "{a:?} {b:?}");
                }
                for m in sheet.marks() {
                    let out = (a[0] - m[0])
                        .max(m[0] - a[0] - a[2])
                        .max((a[1] - m[1]).max(m[1] - a[1] - a[3]));
                    assert!(out > MARK_MM[0] / 2.0 + far, "{a:?} {m:?}");
                }
            }
        }
    }
}
