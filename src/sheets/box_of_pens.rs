//! The box of pens as a picture: families one below the other, each from light to dark.

use kurbo::Rect;

use crate::job::PageSize;
use crate::pens::{Condition, Family, Pen, Report};

use super::Sheet;
use super::lettering::Letters;
use super::page::{CAUTION, CAUTIONS, LINE_GRAY, MARGIN_MM, header, open};
use super::svg::{Mm, Svg};

/// One pen: a swatch with its name below.
const CHIP_MM: [f64; 2] = [22.0, 9.0];
/// From a swatch to the row below the last line of its name.
const BELOW_MM: f64 = 4.0;
const FAMILY_MM: f64 = 7.0;
/// The name below a swatch, what is missing in a family, and what to see to.
const NAME: Letters = Letters::regular(2.5);
const LINE: Letters = Letters::regular(2.7);
const GAPS: Letters = LINE.colored("#7a3b00");
const HEADING: Letters = Letters::bold(3.4);
const GAPS_X_MM: f64 = 24.0;
const BOTTOM_MM: f64 = 20.0;

/// The pages, on the paper given.
pub fn pen_pages(pens: &[Pen], report: &Report, page: PageSize) -> Vec<Sheet> {
    let mut pages = PenPages::new(page.size_mm());
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

/// PenPages that are filled from the top, one after the other.
struct PenPages {
    size: (f64, f64),
    open: Vec<Svg>,
    /// Where the next line goes on the last page.
    y: f64,
}

impl PenPages {
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
    fn with_room(&mut self, needed: f64) -> (f64, &mut Svg) {
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
        let gaps = GAPS.lines(&family.gaps.join("; "), self.width() - GAPS_X_MM);
        let more = gaps.len().saturating_sub(1) as f64 * GAPS.line_mm();
        let (y, svg) = self.with_room(FAMILY_MM + more + 2.0 * CHIP_MM[1]);
        svg.text((MARGIN_MM, y), HEADING).saying(family.name);
        svg.paragraph((MARGIN_MM + GAPS_X_MM, y), GAPS, &gaps);
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
            svg.paragraph((x, y + CHIP_MM[1] + 3.2), NAME, name);
        }
        self.y += high;
    }

    fn add_list(&mut self, title: &str, lines: &[String]) {
        for (i, line) in lines.iter().enumerate() {
            let broken = LINE.lines(line, self.width());
            let high = broken.len() as f64 * LINE.line_mm();
            let (mut y, svg) = self.with_room(high + 5.0);
            if i == 0 {
                svg.text((MARGIN_MM, y), HEADING).saying(title);
                y += 5.0;
            }
            self.y = svg.paragraph((MARGIN_MM, y), LINE, &broken) + 0.9;
        }
    }

    fn closed(self) -> Vec<Sheet> {
        let at = (MARGIN_MM, self.size.1 - 9.0);
        let closed = |mut svg: Svg| {
            svg.text(at, CAUTION).saying(CAUTIONS[1]);
            svg.sheet()
        };
        self.open.into_iter().map(closed).collect()
    }
}

fn chip(svg: &mut Svg, pen: &Pen, x: f64, y: f64) {
    let [w, h] = CHIP_MM;
    let chip = Rect::new(x, y, x + w, y + h);
    svg.rect(chip)
        .set("rx", 1)
        .fill(pen.color)
        .stroke(LINE_GRAY, 0.15);
    if let Some(two) = pen.two_coats {
        let right = Rect::new(x + 0.6 * w, y, chip.x1, chip.y1);
        svg.rect(right).set("rx", 1).fill(two);
    }
    let mark = match pen.condition {
        Condition::Dry => "M-1.1 -1.1L1.1 1.1M-1.1 1.1L1.1 -1.1",
        Condition::Worn => "M-1.1 1.1L1.1 -1.1",
        Condition::Good if !pen.refill => "M-1.1 0a1.1 1.1 0 1 0 2.2 0a1.1 1.1 0 1 0 -2.2 0",
        Condition::Good => return,
    };
    let (cx, cy) = (Mm(chip.x1 - 3.0), Mm(chip.center().y));
    let place = svg
        .group()
        .set("transform", format_args!("translate({cx} {cy})"));
    place.holding(|svg| {
        // Marks stand on white, so that they are seen on any color.
        svg.circle((0.0, 0.0), 2.0).fill("#ffffff");
        svg.path(mark).line("#000000", 0.45);
    });
}
