//! What all printed pages share: margins, header, check ruler, cautions.

use std::fmt::Write;

use kurbo::Rect;

use crate::job::PageSize;

use super::Sheet;
use super::lettering::Letters;
use super::svg::{Mm, Svg};

pub const MARGIN_MM: f64 = PageSize::MARGIN_MM;
pub const HEADER_MM: f64 = PageSize::HEADER_MM;
pub const FOOTER_MM: f64 = PageSize::FOOTER_MM;
/// The check ruler.
const RULER_MM: usize = 50;

pub const LINE_GRAY: &str = "#8c8c8c";
pub const FRAME_GRAY: &str = "#c8c8c8";
pub const DRAFTING_BLUE: &str = "#6fb1e2";
pub const NUMBER_BLUE: &str = "#24527d";
pub const TEXT: &str = "#2b2b2b";
/// Text that stands back.
pub const PALER_TEXT: &str = "#555555";

/// Letters of cautions.
pub const CAUTION: Letters = Letters::regular(2.1).colored(PALER_TEXT);
/// The usual cautions, for every sheet that lies on the table.
pub const CAUTIONS: [&str; 2] = [
    "Let every coat dry before the next one touches it. Try each pen on a scrap of the same card first.",
    "Alcohol-based ink: work in fresh air, away from flames and heat tools while wet; mind blades and hot tools. The pen maker's label and local rules come first.",
];

/// A white sheet of `w * h` millimeters.
pub fn open((w, h): (f64, f64)) -> Svg {
    let mut svg = Svg::new((w, h));
    svg.set(
        "font-family",
        "'DejaVu Sans', 'DejaVu Sans Condensed', sans-serif",
    );
    svg.set("font-stretch", "condensed");
    svg.set("fill", TEXT);
    svg.rect(Rect::new(0.0, 0.0, w, h)).fill("#ffffff");
    svg
}

/// Title and one line below it, no wider than the page of `width` millimeters.
pub fn header(svg: &mut Svg, width: f64, title: &str, line: &str) {
    let at = (MARGIN_MM, MARGIN_MM + 4.2);
    svg.text(at, Letters::bold(4.6)).saying(title);
    let letters = Letters::regular(2.9).fitting(line, width - 2.0 * MARGIN_MM);
    let at = (MARGIN_MM, MARGIN_MM + 8.4);
    svg.text(at, letters).saying(line);
}

/// The check ruler, and the usual cautions.
pub fn footer(svg: &mut Svg, height: f64) {
    let (x, y) = (MARGIN_MM, height - MARGIN_MM - FOOTER_MM + 5.0);
    let mut ticks = format!("M{} {}h{RULER_MM}", Mm(x), Mm(y));
    for mm in 0..=RULER_MM {
        let height = match mm % 10 {
            0 => 2.6,
            5 => 1.9,
            _ => 1.2,
        };
        let _ = write!(ticks, "M{} {}v-{height}", Mm(x + mm as f64), Mm(y));
    }
    svg.path(ticks).line("#000000", 0.12);
    let beside = x + RULER_MM as f64 + 3.0;
    let check = format!("Check: this ruler must measure {RULER_MM} mm.");
    svg.text((beside, y - 0.8), Letters::bold(2.6))
        .saying(&check);
    svg.text((beside, y + 2.4), Letters::regular(2.3))
        .saying("If not, print again at 100 % (\"actual size\"), without fitting to the page.");
    for (i, line) in CAUTIONS.iter().enumerate() {
        let at = (x, y + 6.6 + 3.0 * i as f64);
        svg.text(at, CAUTION).saying(line);
    }
}

/// Pages that fill up, one after the other.
pub struct Pages {
    size: (f64, f64),
    all: Vec<Svg>,
    /// Where what comes next goes on the last page.
    pub y: f64,
}

impl Pages {
    /// None yet, of `w * h` millimeters.
    pub fn new(size: (f64, f64)) -> Self {
        Self {
            size,
            all: Vec::new(),
            y: f64::INFINITY,
        }
    }

    /// Begins a page, with header and footer.
    pub fn begin(&mut self, title: &str, line: &str) {
        let mut svg = open(self.size);
        header(&mut svg, self.size.0, title, line);
        footer(&mut svg, self.size.1);
        self.all.push(svg);
        self.y = MARGIN_MM + HEADER_MM;
    }

    /// Between the margins.
    pub fn width(&self) -> f64 {
        self.size.0 - 2.0 * MARGIN_MM
    }

    /// Whether the last page has room for so many millimeters more; without a page there is none.
    pub fn has_room(&self, height: f64) -> bool {
        self.y + height <= self.size.1 - MARGIN_MM - FOOTER_MM
    }

    /// The last page.
    pub fn svg(&mut self) -> &mut Svg {
        self.all.last_mut().expect("a page was begun")
    }

    pub fn sheets(self) -> Vec<Sheet> {
        self.all.into_iter().map(Svg::sheet).collect()
    }
}
