//! The swatch sheet, to be printed and colored by hand.

use std::fmt::Write;

use crate::job::Page;
use crate::pens::Pen;
use crate::swatches::{CELL_MM, MARK_MM, STEP_MM, STEPS, Sheet as Places, names_on, strip};

use super::Sheet;
use super::lettering::Letters;
use super::page::{LINE_GRAY, close, open, paragraph, text};

/// The name over a pair of boxes: in one line, or smaller in two.
const NAME: Letters = Letters::regular(2.9);
const SMALL_NAME: Letters = Letters::regular(1.9);

/// One page for every sheet the pens need.
pub fn swatch_pages(pens: &[Pen], page: Page) -> Vec<Sheet> {
    let places = Places { page };
    let count = pens.len().div_ceil(places.capacity());
    (0..count)
        .map(|number| swatch_page(pens, places, number, count))
        .collect()
}

fn swatch_page(pens: &[Pen], places: Places, number: usize, count: usize) -> Sheet {
    let (w, h) = places.page.size_mm();
    let names = names_on(places, pens, number);
    let mut svg = open((w, h));
    for [x, y] in places.marks() {
        for (diameter, color) in MARK_MM.into_iter().zip(["#000000", "#ffffff", "#000000"]) {
            let _ = writeln!(
                svg,
                "<circle cx=\"{x}\" cy=\"{y}\" r=\"{}\" fill=\"{color}\"/>",
                diameter / 2.0
            );
        }
    }
    let cells = places
        .cells()
        .into_iter()
        .zip(strip(places.page, number, &names));
    for ([x, y], _) in cells.filter(|(_, black)| *black) {
        let _ = writeln!(
            svg,
            "<rect x=\"{x:.3}\" y=\"{y}\" width=\"{CELL_MM}\" height=\"{CELL_MM}\" fill=\"#000000\"/>"
        );
    }
    let [width, height] = STEP_MM;
    for [x, y, ..] in places.stacks() {
        for (j, gray) in STEPS.into_iter().enumerate() {
            let y = y + j as f64 * height;
            let _ = writeln!(
                svg,
                "<rect x=\"{x:.3}\" y=\"{y:.3}\" width=\"{width}\" height=\"{height}\" fill=\"#{gray:02x}{gray:02x}{gray:02x}\"/>"
            );
        }
    }
    let middle = " text-anchor=\"middle\"";
    let title = format!(
        "Sheet {} of {count}: color the left box of each pen once; both coats on the right one, the first dry.",
        number + 1
    );
    text(&mut svg, w / 2.0, 25.0, 2.9, middle, &title);
    text(
        &mut svg,
        w / 2.0,
        29.0,
        2.9,
        middle,
        "Fill a box evenly, keep the paper around it bare, let all dry, then photograph the whole sheet, sharp, the lamp to one side.",
    );
    for (k, name) in names.iter().enumerate() {
        let entry = places.entry(k);
        let [x, y] = entry.name;
        let width = entry.boxes[1][0] + entry.boxes[1][2] - x;
        let (letters, lines) = match NAME.lines(name, width) {
            one if one.len() <= 1 => (NAME, one),
            _ => SMALL_NAME.in_lines(name, width, 2, 1.5),
        };
        // The last line keeps its distance to the boxes.
        let above = lines.len().saturating_sub(1) as f64 * letters.line_mm();
        paragraph(&mut svg, (x, y - above), letters, "", &lines);
        for [x, y, w, h] in entry.boxes {
            let _ = writeln!(
                svg,
                "<rect x=\"{x:.3}\" y=\"{y:.3}\" width=\"{w}\" height=\"{h}\" fill=\"none\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.15\"/>"
            );
        }
    }
    let cautions = [
        "Alcohol-based ink: work in fresh air, away from flames and heat tools while wet.",
        "The pen maker's label and local rules come first.",
    ];
    for (i, line) in cautions.iter().enumerate() {
        text(
            &mut svg,
            w / 2.0,
            h - 19.0 + 3.4 * i as f64,
            2.4,
            middle,
            line,
        );
    }
    close(svg, (w, h))
}
