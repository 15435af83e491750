//! Writing SVG: escaping, numbers, paths.

use std::fmt::Write;

use kurbo::{BezPath, PathEl, Point};

/// Text for SVG content and attribute values; control characters, which XML cannot hold, become spaces.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// The path as SVG path data in millimeters, to a hundredth.
pub fn path_data(path: &BezPath) -> String {
    let mut out = String::with_capacity(path.elements().len() * 40);
    let point = |out: &mut String, p: Point| {
        number(out, p.x);
        out.push(' ');
        number(out, p.y);
    };
    for element in path.elements() {
        match *element {
            PathEl::MoveTo(p) => {
                out.push('M');
                point(&mut out, p);
            }
            PathEl::LineTo(p) => {
                out.push('L');
                point(&mut out, p);
            }
            PathEl::QuadTo(a, p) => {
                out.push('Q');
                point(&mut out, a);
                out.push(' ');
                point(&mut out, p);
            }
            PathEl::CurveTo(a, b, p) => {
                out.push('C');
                point(&mut out, a);
                out.push(' ');
                point(&mut out, b);
                out.push(' ');
                point(&mut out, p);
            }
            PathEl::ClosePath => out.push('Z'),
        }
    }
    out
}

/// A number to a hundredth, without trailing zeros.
pub fn number(out: &mut String, v: f64) {
    let hundredths = (v * 100.0).round() as i64;
    if hundredths < 0 {
        out.push('-');
    }
    let (whole, part) = (
        hundredths.unsigned_abs() / 100,
        hundredths.unsigned_abs() % 100,
    );
    let _ = write!(out, "{whole}");
    match part {
        0 => {}
        p if p % 10 == 0 => {
            let _ = write!(out, ".{}", p / 10);
        }
        p => {
            let _ = write!(out, ".{p:02}");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_rounded() {
        let write = |v| {
            let mut out = String::new();
            number(&mut out, v);
            out
        };
        assert_eq!(
            [1.0, -0.5, 12.345, 0.004, -0.004, 3.07].map(write),
            ["1", "-0.5", "12.35", "0", "0", "3.07"]
        );
    }

    #[test]
    fn markup_in_a_name_stays_text() {
        assert_eq!(
            escape("<b a=\"1\">&'\u{1}"),
            "&lt;b a=&quot;1&quot;&gt;&amp;&#39; "
        );
    }
}
