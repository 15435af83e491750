//! A number on the drawing: its text, how large it is, and where it stands.

use kurbo::{Point, Rect};

/// Millimeters in one typographic point: 1/72 inch (ISO 32000-1, 8.3.2.3).
pub const MM_PER_PT: f64 = 25.4 / 72.0;
/// Sizes a number may have, largest first, in points. 6 pt is the smallest that can be read at arm's length; common
/// practice, no source.
pub const SIZES_PT: [f64; 5] = [10.0, 9.0, 8.0, 7.0, 6.0];
pub const SMALLEST_PT: f64 = SIZES_PT[SIZES_PT.len() - 1];
/// Width of a digit, and of the marks for bare paper and a first coat, and height of them all, as parts of the font size
/// (DejaVu Sans Condensed Bold, rounded up).
const DIGIT_WIDTH: f64 = 0.64;
const MARK_WIDTH: f64 = 0.79;
const DIGIT_HEIGHT: f64 = 0.74;
/// Clear space around a number, in millimeters; from memory.
pub const CLEAR_MM: f64 = 0.25;
/// How many times larger than the panel a detail is drawn; from memory.
pub const DETAIL_ZOOM: f64 = 4.0;

/// One number, for one section or for several that share it.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// Section ids.
    pub sections: Vec<u16>,
    pub text: String,
    /// Middle of the text, in millimeters from the top left of the art.
    pub at: Point,
    pub size_pt: f64,
    /// Where a leader ends inside each section, in their order; none if the number stands in its section.
    pub leaders: Vec<Point>,
}

impl Label {
    /// What the text covers, in millimeters where it is drawn `zoom` times larger than the panel.
    pub fn area(&self, zoom: f64) -> Rect {
        around(self.at, half_box(&self.text, self.size_pt, zoom))
    }

    /// Where a leader may begin: a circle around the text, so that no line runs into it; radius in millimeters.
    pub fn clear_mm(&self, zoom: f64) -> f64 {
        let (x, y) = half_box(&self.text, self.size_pt, zoom);
        x.max(y)
    }
}

/// A part of the drawing that is drawn larger, for numbers that find no place on it.
#[derive(Debug, Clone, PartialEq)]
pub struct Detail {
    /// What it shows, in millimeters from the top left of the art.
    pub frame: Rect,
    /// In the same millimeters; their sizes are those on the page, where all is [`DETAIL_ZOOM`] times larger.
    pub labels: Vec<Label>,
}

/// All numbers of a drawing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// In the order of their first sections.
    pub labels: Vec<Label>,
    /// In reading order.
    pub details: Vec<Detail>,
}

/// Half the width and height of a text with its clear space, in millimeters of the panel where that is drawn `zoom`
/// times larger.
pub fn half_box(text: &str, size_pt: f64, zoom: f64) -> (f64, f64) {
    let em = size_pt * MM_PER_PT;
    let width: f64 = text
        .chars()
        .map(|c| {
            if c.is_ascii_digit() {
                DIGIT_WIDTH
            } else {
                MARK_WIDTH
            }
        })
        .sum();
    (
        (width * em / 2.0 + CLEAR_MM) / zoom,
        (DIGIT_HEIGHT * em / 2.0 + CLEAR_MM) / zoom,
    )
}

/// A box by its middle and half its width and height.
pub fn around(middle: Point, half: (f64, f64)) -> Rect {
    Rect::from_center_size(middle, (2.0 * half.0, 2.0 * half.1))
}
