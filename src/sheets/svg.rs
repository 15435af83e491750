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

/// The path as short SVG path data in hundredths of a millimeter: each point relative to
/// the one before.
pub fn compact_path_data(path: &BezPath) -> String {
    let mut out = String::with_capacity(path.elements().len() * 20);
    let whole = |p: Point| [(p.x * 100.0).round() as i64, (p.y * 100.0).round() as i64];
    let mut at = [0i64; 2];
    let mut start = at;
    let mut last = ' ';
    let mut write = |out: &mut String, command: char, at: [i64; 2], points: &[Point]| {
        // What follows a move without a letter would be a line.
        if command != last || command == 'm' {
            out.push(command);
        }
        last = command;
        for &p in points {
            for (v, from) in whole(p).into_iter().zip(at) {
                // A minus sign parts numbers as well as a space does.
                if v >= from && out.ends_with(|c: char| c.is_ascii_digit()) {
                    out.push(' ');
                }
                let _ = write!(out, "{}", v - from);
            }
        }
        points.last().map_or(at, |&p| whole(p))
    };
    for element in path.elements() {
        at = match *element {
            PathEl::MoveTo(p) => {
                start = write(&mut out, 'm', at, &[p]);
                start
            }
            PathEl::LineTo(p) => write(&mut out, 'l', at, &[p]),
            PathEl::QuadTo(a, p) => write(&mut out, 'q', at, &[a, p]),
            PathEl::CurveTo(a, b, p) => write(&mut out, 'c', at, &[a, b, p]),
            PathEl::ClosePath => {
                write(&mut out, 'z', at, &[]);
                start
            }
        };
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
    fn compact_paths_end_where_the_path_does() {
        let mut path = BezPath::new();
        path.move_to((1.0, 2.0));
        path.curve_to((1.5, 2.0), (2.0, 2.504), (2.0, 3.0));
        path.curve_to((2.0, 3.5), (1.0, 3.0), (0.5, 2.5));
        path.close_path();
        path.move_to((10.0, 10.0));
        path.line_to((9.0, 11.0));
        assert_eq!(
            compact_path_data(&path),
            "m100 200c50 0 100 50 100 100 0 50-100 0-150-50zm900 800l-100 100"
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
