//! The box of pens as a picture: families one below the other, each from light to dark.

use std::fmt::Write;

use crate::job::Page;
use crate::pens::{Condition, Pen, Report};

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
    let size = page.size_mm();
    let across = ((size.0 - 2.0 * MARGIN_MM) / (CHIP_MM[0] + 2.0)) as usize;
    let mut pages: Vec<String> = Vec::new();
    let mut y = f64::INFINITY;
    let room = |pages: &mut Vec<String>, y: &mut f64, needed: f64| {
        if *y + needed > size.1 - BOTTOM_MM {
            let mut svg = open(size);
            header(
                &mut svg,
                size.0,
                "Pens",
                "Every family from light to dark. Ring: no refill at hand. Slash: worn. Cross: dry.",
            );
            pages.push(svg);
            *y = MARGIN_MM + 15.0;
        }
    };
    for family in &report.families {
        let width = size.0 - 2.0 * MARGIN_MM;
        let gaps = LINE.lines(&family.gaps.join("; "), width - GAPS_X_MM);
        let more = gaps.len().saturating_sub(1) as f64 * LINE.line_mm();
        room(&mut pages, &mut y, FAMILY_MM + more + 2.0 * CHIP_MM[1]);
        let svg = pages.last_mut().expect("a page was opened");
        text(svg, MARGIN_MM, y, 3.4, " font-weight=\"bold\"", family.name);
        let brown = " fill=\"#7a3b00\"";
        paragraph(svg, (MARGIN_MM + GAPS_X_MM, y), LINE, brown, &gaps);
        y += more + FAMILY_MM - 4.0;
        for row in family.pens.chunks(across) {
            let names: Vec<Vec<String>> = row
                .iter()
                .map(|&p| NAME.lines(&pens[p].name, CHIP_MM[0] + 1.0))
                .collect();
            let lines = names.iter().map(Vec::len).max().unwrap_or(0);
            let high = CHIP_MM[1] + lines as f64 * NAME.line_mm() + BELOW_MM;
            room(&mut pages, &mut y, high);
            let svg = pages.last_mut().expect("a page was opened");
            for (i, (&p, name)) in row.iter().zip(&names).enumerate() {
                let x = MARGIN_MM + i as f64 * (CHIP_MM[0] + 2.0);
                chip(svg, &pens[p], x, y);
                paragraph(svg, (x, y + CHIP_MM[1] + 3.2), NAME, "", name);
            }
            y += high;
        }
        y += FAMILY_MM - 3.0;
    }
    let mut lines: Vec<String> = report
        .twins
        .iter()
        .map(|&(p, q, d)| {
            format!(
                "{} and {} can hardly be told apart ({d:.1}).",
                pens[p].name, pens[q].name
            )
        })
        .collect();
    lines.extend(report.first.iter().cloned());
    for (i, line) in lines.iter().enumerate() {
        let broken = LINE.lines(line, size.0 - 2.0 * MARGIN_MM);
        let high = broken.len() as f64 * LINE.line_mm();
        room(&mut pages, &mut y, high + 5.0);
        let svg = pages.last_mut().expect("a page was opened");
        if i == 0 {
            text(
                svg,
                MARGIN_MM,
                y,
                3.4,
                " font-weight=\"bold\"",
                "To see to, most needed first",
            );
            y += 5.0;
        }
        y = paragraph(svg, (MARGIN_MM, y), LINE, "", &broken) + 0.9;
    }
    pages
        .into_iter()
        .map(|mut svg| {
            text(
                &mut svg,
                MARGIN_MM,
                size.1 - 9.0,
                2.1,
                " fill=\"#555555\"",
                CAUTIONS[1],
            );
            close(svg, size)
        })
        .collect()
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
