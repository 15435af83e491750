//! What all printed pages share: margins, header, check ruler, cautions.

use std::fmt::Write;

use super::Sheet;
use super::lettering::{Letters, drawn};
use super::svg::escape;

/// Most desktop printers leave about 5 mm unprinted; from memory.
pub const MARGIN_MM: f64 = 8.0;
pub const HEADER_MM: f64 = 11.0;
pub const FOOTER_MM: f64 = 17.0;
/// The check ruler.
const RULER_MM: usize = 50;

pub const LINE_GRAY: &str = "#8c8c8c";
pub const FRAME_GRAY: &str = "#c8c8c8";
pub const DRAFTING_BLUE: &str = "#6fb1e2";
pub const NUMBER_BLUE: &str = "#24527d";
pub const TEXT: &str = "#2b2b2b";

/// The usual cautions, for every sheet that lies on the table.
pub const CAUTIONS: [&str; 2] = [
    "Let every coat dry before the next one touches it. Try each pen on a scrap of the same card first.",
    "Alcohol-based ink: work in fresh air, away from flames and heat tools while wet; mind blades and hot tools. The pen maker's label and local rules come first.",
];

/// Opens a sheet of `w * h` millimeters.
pub fn open((w, h): (f64, f64)) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\" \
         font-family=\"'DejaVu Sans', 'DejaVu Sans Condensed', sans-serif\" font-stretch=\"condensed\" fill=\"{TEXT}\">\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"#ffffff\"/>\n"
    )
}

/// Closes it.
pub fn close(mut svg: String, (w, h): (f64, f64)) -> Sheet {
    svg.push_str("</svg>\n");
    Sheet {
        width_mm: w,
        height_mm: h,
        svg,
    }
}

/// Text in lines, the baseline of the first at `y`; the baseline of what may follow.
pub fn paragraph(
    svg: &mut String,
    (x, y): (f64, f64),
    letters: Letters,
    more: &str,
    lines: &[String],
) -> f64 {
    let weight = if letters.bold {
        " font-weight=\"bold\""
    } else {
        ""
    };
    let mut y = y;
    for line in lines {
        text(svg, x, y, letters.size_mm, &format!("{weight}{more}"), line);
        y += letters.line_mm();
    }
    y
}

/// A line of text; `more` are further attributes.
pub fn text(svg: &mut String, x: f64, y: f64, size_mm: f64, more: &str, content: &str) {
    let _ = writeln!(
        svg,
        "<text x=\"{x:.2}\" y=\"{y:.2}\" font-size=\"{size_mm:.2}\"{more}>{}</text>",
        escape(&drawn(content))
    );
}

/// Title and one line below it, no wider than the page of `width` millimeters.
pub fn header(svg: &mut String, width: f64, title: &str, line: &str) {
    text(
        svg,
        MARGIN_MM,
        MARGIN_MM + 4.2,
        4.6,
        " font-weight=\"bold\"",
        title,
    );
    let letters = Letters::regular(2.9).fitting(line, width - 2.0 * MARGIN_MM);
    text(svg, MARGIN_MM, MARGIN_MM + 8.4, letters.size_mm, "", line);
}

/// The check ruler, and the usual cautions.
pub fn footer(svg: &mut String, height: f64) {
    let (x, y) = (MARGIN_MM, height - MARGIN_MM - FOOTER_MM + 5.0);
    let mut ticks = format!("M{x} {y}h{RULER_MM}");
    for mm in 0..=RULER_MM {
        let height = match mm % 10 {
            0 => 2.6,
            5 => 1.9,
            _ => 1.2,
        };
        let _ = write!(ticks, "M{} {y}v-{height}", x + mm as f64);
    }
    let _ = writeln!(
        svg,
        "<path d=\"{ticks}\" fill=\"none\" stroke=\"#000000\" stroke-width=\"0.12\"/>"
    );
    text(
        svg,
        x + RULER_MM as f64 + 3.0,
        y - 0.8,
        2.6,
        " font-weight=\"bold\"",
        &format!("Check: this ruler must measure {RULER_MM} mm."),
    );
    text(
        svg,
        x + RULER_MM as f64 + 3.0,
        y + 2.4,
        2.3,
        "",
        "If not, print again at 100 % (\"actual size\"), without fitting to the page.",
    );
    for (i, line) in CAUTIONS.iter().enumerate() {
        text(
            svg,
            x,
            y + 6.6 + 3.0 * i as f64,
            2.1,
            " fill=\"#555555\"",
            line,
        );
    }
}
