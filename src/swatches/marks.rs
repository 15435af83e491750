//! The four bull's-eyes of a sheet, found in a photo.

use imageproc::region_labelling::Connectivity;

use crate::art::{Corners, even_light};
use crate::color::on_white;
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::reference::Photo;

use super::layout::MARK_MM;

/// Longer side of the picture in which the marks are looked for, in pixels.
const SEARCH_PX: usize = 1800;

/// What is darker than this, from 0 to 255 with paper at 255, may be a mark: glare makes black gray. From memory.
const DARK: [u32; 3] = [110, 150, 75];

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
pub fn find_marks(photo: &Photo) -> Result<Corners> {
    let small = photo.thumbnail(SEARCH_PX);
    let scale = photo.upright_size().0 as f64 / small.width as f64;
    let mut even = small.map(on_white);
    // The light changes over centimeters; a sheet is some 300 mm long.
    even_light(&mut even, 300.0 / SEARCH_PX as f64);
    let mut found = 0;
    for limit in DARK {
        let marks = rings(&even, limit);
        if let Ok([a, b, c, d]) = <[[f64; 2]; 4]>::try_from(marks.clone()) {
            return Ok(clockwise([a, b, c, d].map(|m| m.map(|v| v * scale))));
        }
        found = found.max(marks.len().min(3));
    }
    Err(Error::file(
        &photo.path,
        format!("{found} of the four round marks of a swatch sheet are found"),
        "Photograph the whole sheet, sharp, with a little of the desk around it and nothing on the marks.",
    ))
}

/// Middles of the rings around dots in what is darker than `limit`, in its pixels.
fn rings(even: &Grid<[u8; 3]>, limit: u32) -> Vec<[f64; 2]> {
    let dark = even.map(|p| p.iter().map(|&v| u32::from(v)).sum::<u32>() < 3 * limit);
    let (pieces, count) = dark.pieces(Connectivity::Eight);
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
    found[1..]
        .iter()
        .filter(|ring| ring.pixels > 60)
        .filter_map(|ring| {
            let [w, h] = ring.size();
            if w > 2.6 * h || h > 2.6 * w || w > even.width as f64 / 6.0 {
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
                .then(|| dot.middle())
        })
        .collect()
}

fn clockwise(mut around: Corners) -> Corners {
    let center = [0, 1].map(|c| around.iter().map(|m| m[c]).sum::<f64>() / 4.0);
    let angle = |m: &[f64; 2]| (m[1] - center[1]).atan2(m[0] - center[0]);
    around.sort_by(|a, b| angle(a).total_cmp(&angle(b)));
    around
}
