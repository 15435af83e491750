//! The cells of a drawing, numbered, so that a person can say which is which.

use crate::art::Place;
use crate::borders::trace_mask;
use crate::grid::Grid;

use super::Sheet;
use super::lettering::Letters;
use super::page::{LINE_GRAY, NUMBER_BLUE, open};
use super::svg::{path_data, segment};

/// Height of the numbers, in millimeters, where there is room, and at least: legible on a screen at 200 dots per inch;
/// from memory.
const LARGEST_MM: f64 = 5.0;
const SMALLEST_MM: f64 = 2.2;
/// Width of a digit as a part of the font size (DejaVu Sans Condensed Bold, rounded up).
const DIGIT_WIDTH: f64 = 0.64;
/// How far beside its cell a number stands that does not fit in, in millimeters.
const BESIDE_MM: f64 = 2.6;

/// The drawing with the number of every cell at its roomiest point, or beside it with a line to it.
pub fn numbered_cells(ink: &Grid<bool>, places: &[Place], mm_per_px: f64) -> Sheet {
    let size = (ink.width as f64 * mm_per_px, ink.height as f64 * mm_per_px);
    let mut svg = open(size);
    let path = path_data(&trace_mask(ink, mm_per_px));
    svg.path(path).fill_between(LINE_GRAY);
    for place in places {
        let number = place.cell.to_string();
        let [x, y] = place.point_mm;
        let room = place.width_mm / (number.len() as f64 * DIGIT_WIDTH).hypot(1.0);
        let em = room.clamp(SMALLEST_MM, LARGEST_MM);
        let (mut at_x, mut at_y) = (x, y);
        if room < SMALLEST_MM {
            at_x = (x + BESIDE_MM).min(size.0 - em);
            at_y = (y - BESIDE_MM).max(em);
            svg.path(segment((x, y), (at_x, at_y)))
                .stroke(NUMBER_BLUE, 0.15);
            svg.circle((x, y), 0.35).fill(NUMBER_BLUE);
        }
        let letters = Letters::bold(em).colored(NUMBER_BLUE);
        svg.text((at_x, at_y + 0.36 * em), letters)
            .middle()
            .stroke("#ffffff", 0.5)
            .set("paint-order", "stroke")
            .saying(&number);
    }
    svg.sheet()
}
