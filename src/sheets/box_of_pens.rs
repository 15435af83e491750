//! The box of pens as a picture: families one below the other, each from light to dark.

use std::fmt::Write;

use crate::job::Page;
use crate::pens::{Condition, Family, Pen, Report};

use super::Sheet;
use super::lettering::Letters;
use super::page::{CAUTIONS, LINE_GRAY, MARGIN_MM, close, header, open, paragraph, text};

/// One pen: a swatch with its name below.
const CHIP_MM: [f64; 2] = [22.0, 9.0];
/// From a swatch to the row below the last line of its name.
const BELOW_MM: f64 = 4.0;
const FAMILY_MM: f64 = 7.0;
/// The name below a swatch, what is missing in a family, and what to see to.
const NAME: Letters = Letters::regular(2.5);
const LINE: Letters = Letters::regular(2.7);
const GAPS_X_MM: f64 = 24.0;
const BOTTOM_MM: f64 = 20.0;

/// The pages, on the paper given.
pub fn pen_pages(pens: &[Pen], report: &Report, page: Page) -> Vec<Sheet> {
    let mut pages = Pages::new(page.size_mm());
    for family in &report.families {
        pages.add_family(family, pens);
    }
    let told_twin = |&(p, q, d): &(usize, usize, f32)| {
        let (p, q) = (&pens[p].name, &pens[q].name);
        format!("{p} and {q} can hardly be told apart ({d:.1}).")
    };
    let mut lines: Vec<String> = report.twins.iter().map(told_twin).collect();
    lines.extend(report.first.iter().cloned());
    pages.add_list("To see to, most needed first", &lines);
    pages.closed()
}

/// Pages that are filled from the top, one after the other.
struct Pages {
    size: (f64, f64),
    open: Vec<String>,
    /// Where the next line goes on the last page.
    y: f64,
}

impl Pages {
    fn new(size: (f64, f64)) -> Self {
        Self {
            size,
            open: Vec::new(),
            y: f64::INFINITY,
        }
    }

    fn width(&self) -> f64 {
        self.size.0 - 2.0 * MARGIN_MM
    }

    /// Where there is room for so many millimeters, and on which page.
    fn with_room(&mut self, needed: f64) -> (f64, &mut String) {
        if self.y + needed > self.size.1 - BOTTOM_MM {
            let mut svg = open(self.size);
            header(
                &mut svg,
                self.size.0,
                "Pens",
                "Every family from light to dark. Ring: no refill at hand. Slash: worn. Cross: dry.",
            );
            self.open.push(svg);
            self.y = MARGIN_MM + 15.0;
        }
        (self.y, self.open.last_mut().expect("a page was opened"))
    }

    fn add_family(&mut self, family: &Family, pens: &[Pen]) {
        let across = (self.width() / (CHIP_MM[0] + 2.0)) as usize;
        let gaps = LINE.lines(&family.gaps.join("; "), self.width() - GAPS_X_MM);
        let more = gaps.len().saturating_sub(1) as f64 * LINE.line_mm();
        let (y, svg) = self.with_room(FAMILY_MM + more + 2.0 * CHIP_MM[1]);
        text(svg, MARGIN_MM, y, 3.4, " font-weight=\"bold\"", family.name);
        let brown = " fill=\"#7a3b00\"";
        paragraph(svg, (MARGIN_MM + GAPS_X_MM, y), LINE, brown, &gaps);
        self.y += more + FAMILY_MM - 4.0;
        for row in family.pens.chunks(across) {
            self.add_row(row, pens);
        }
        self.y += FAMILY_MM - 3.0;
    }

    fn add_row(&mut self, row: &[usize], pens: &[Pen]) {
        let names: Vec<Vec<String>> = row
            .iter()
            .map(|&p| NAME.lines(&pens[p].name, CHIP_MM[0] + 1.0))
            .collect();
        let lines = names.iter().map(Vec::len).max().unwrap_or(0);
        let high = CHIP_MM[1] + lines as f64 * NAME.line_mm() + BELOW_MM;
        let (y, svg) = self.with_room(high);
        for (i, (&p, name)) in row.iter().zip(&names).enumerate() {
            let x = MARGIN_MM + i as f64 * (CHIP_MM[0] + 2.0);
            chip(svg, &pens[p], x, y);
            paragraph(svg, (x, y + CHIP_MM[1] + 3.2), NAME, "", name);
        }
        self.y += high;
    }

    fn add_list(&mut self, title: &str, lines: &[String]) {
        for (i, line) in lines.iter().enumerate() {
            let broken = LINE.lines(line, self.width());
            let high = broken.len() as f64 * LINE.line_mm();
            let (mut y, svg) = self.with_room(high + 5.0);
            if i == 0 {
                text(svg, MARGIN_MM, y, 3.4, " font-weight=\"bold\"", title);
                y += 5.0;
            }
            self.y = paragraph(svg, (MARGIN_MM, y), LINE, "", &broken) + 0.9;
        }
    }

    fn closed(self) -> Vec<Sheet> {
        let (size, gray) = (self.size, " fill=\"#555555\"");
        let closed = |mut svg: String| {
            text(&mut svg, MARGIN_MM, size.1 - 9.0, 2.1, gray, CAUTIONS[1]);
            close(svg, size)
        };
        self.open.into_iter().map(closed).collect()
    }
}

fn chip(svg: &mut String, pen: &Pen, x: f64, y: f64) {
    let [w, h] = CHIP_MM;
    let _ = writeln!(
        svg,
        "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{w}\" height=\"{h}\" rx=\"1\" fill=\"{}\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.15\"/>",
        pen.color
    );
    if let Some(two) = pen.two_coats {
        let _ = writeln!(
            svg,
            "<rect x=\"{:.2}\" y=\"{y:.2}\" width=\"{}\" height=\"{h}\" rx=\"1\" fill=\"{two}\"/>",
            x + 0.6 * w,
            0.4 * w
        );
    }
    // Marks stand on white, so that they are seen on any color.
    let (cx, cy) = (x + w - 3.0, y + h / 2.0);
    let mark = match pen.condition {
        Condition::Dry => "M-1.1 -1.1L1.1 1.1M-1.1 1.1L1.1 -1.1",
        Condition::Worn => "M-1.1 1.1L1.1 -1.1",
        Condition::Good if !pen.refill => "M-1.1 0a1.1 1.1 0 1 0 2.2 0a1.1 1.1 0 1 0 -2.2 0",
        Condition::Good => "",
    };
    if !mark.is_empty() {
        let _ = writeln!(
            svg,
            "<g transform=\"translate({cx:.2} {cy:.2})\"><circle r=\"2\" fill=\"#ffffff\"/><path d=\"{mark}\" fill=\"none\" stroke=\"#000000\" stroke-width=\"0.45\"/></g>"
        );
    }
}
