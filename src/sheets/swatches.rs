//! The swatch sheet, to be printed and colored by hand.

use kurbo::Rect;

use crate::color::Srgb8;
use crate::job::PageSize;
use crate::pens::Pen;
use crate::swatches::{CELL_MM, Entry, MARK_MM, Places, STEP_MM, STEPS, names_on, strip};

use super::Sheet;
use super::lettering::Letters;
use super::page::{LINE_GRAY, open};
use super::svg::Svg;

/// The name over a pair of boxes, in one line, or smaller in two; and what to mind.
const NAME: Letters = Letters::regular(2.9);
const SMALL_NAME: Letters = Letters::regular(1.9);
const CAUTION: Letters = Letters::regular(2.4);

/// One page for every sheet the pens need.
pub fn swatch_pages(pens: &[Pen], page: PageSize) -> Vec<Sheet> {
    let places = Places { page };
    let count = pens.len().div_ceil(places.capacity());
    (0..count)
        .map(|number| swatch_page(pens, places, number, count))
        .collect()
}

fn swatch_page(pens: &[Pen], places: Places, number: usize, count: usize) -> Sheet {
    let names = names_on(places, pens, number);
    let mut svg = open(places.page.size_mm());
    signs(&mut svg, places, number, &names);
    words(&mut svg, places.page, number, count);
    for (k, name) in names.iter().enumerate() {
        entry(&mut svg, &places.entry(k), name);
    }
    svg.sheet()
}

/// What a photo of the sheet is read by: marks in its corners, its number, steps of gray.
fn signs(svg: &mut Svg, places: Places, number: usize, names: &[&str]) {
    for [x, y] in places.marks() {
        for (diameter, color) in MARK_MM.into_iter().zip(["#000000", "#ffffff", "#000000"]) {
            svg.circle((x, y), diameter / 2.0).fill(color);
        }
    }
    let strip = strip(places.page, number, names);
    for ([x, y], black) in places.cells().into_iter().zip(strip) {
        if black {
            svg.rect(Rect::new(x, y, x + CELL_MM, y + CELL_MM))
                .fill("#000000");
        }
    }
    let [width, height] = STEP_MM;
    for [x, y, ..] in places.stacks() {
        for (j, gray) in STEPS.into_iter().enumerate() {
            let y = y + j as f64 * height;
            svg.rect(Rect::new(x, y, x + width, y + height))
                .fill(Srgb8::new(gray, gray, gray));
        }
    }
}

/// What to do, above the boxes and below them.
fn words(svg: &mut Svg, page: PageSize, number: usize, count: usize) {
    let (w, h) = page.size_mm();
    let title = format!(
        "Sheet {} of {count}: color the left box of each pen once; both coats on the right one, the first dry.",
        number + 1
    );
    for (y, letters, line) in [
        (25.0, NAME, title.as_str()),
        (
            29.0,
            NAME,
            "Fill a box evenly, keep the paper around it bare, let all dry, then photograph the whole sheet, sharp, the lamp to one side.",
        ),
        (
            h - 19.0,
            CAUTION,
            "Alcohol-based ink: work in fresh air, away from flames and heat tools while wet.",
        ),
        (
            h - 15.6,
            CAUTION,
            "The pen maker's label and local rules come first.",
        ),
    ] {
        svg.text((w / 2.0, y), letters).middle().saying(line);
    }
}

/// A pen's name over its two boxes.
fn entry(svg: &mut Svg, entry: &Entry, name: &str) {
    let [x, y] = entry.name;
    let width = entry.boxes[1][0] + entry.boxes[1][2] - x;
    let (letters, lines) = match NAME.lines(name, width) {
        one if one.len() <= 1 => (NAME, one),
        _ => SMALL_NAME.in_lines(name, width, 2, 1.5),
    };
    // The last line keeps its distance to the boxes.
    let above = lines.len().saturating_sub(1) as f64 * letters.line_mm();
    svg.paragraph((x, y - above), letters, &lines);
    for [x, y, w, h] in entry.boxes {
        svg.rect(Rect::new(x, y, x + w, y + h))
            .line(LINE_GRAY, 0.15);
    }
}
