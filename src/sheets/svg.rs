//! Writing SVG: elements and their attributes, numbers, paths.

use std::fmt::{self, Display, Write};

use kurbo::{BezPath, PathEl, Point, Rect};
use xmlwriter::{Indent, Options, XmlWriter};

use super::Sheet;
use super::lettering::{Letters, drawn};

/// A drawing as it is written, in millimeters: what comes later lies on top.
pub struct Svg {
    size_mm: (f64, f64),
    xml: XmlWriter,
}

impl Svg {
    /// Nothing yet on `w * h` millimeters.
    pub fn new((w, h): (f64, f64)) -> Self {
        let mut svg = Self::scaled((w, h));
        svg.set("width", format_args!("{}mm", Mm(w)));
        svg.set("height", format_args!("{}mm", Mm(h)));
        svg
    }

    /// Nothing yet on `w * h` units; how large they are is left to what shows the drawing.
    pub fn scaled((w, h): (f64, f64)) -> Self {
        // An element a line, so that a person can read the file.
        let mut xml = XmlWriter::new(Options {
            indent: Indent::Spaces(0),
            ..Options::default()
        });
        xml.start_element("svg");
        let mut svg = Self {
            size_mm: (w, h),
            xml,
        };
        svg.set("xmlns", "http://www.w3.org/2000/svg");
        svg.set("viewBox", format_args!("0 0 {} {}", Mm(w), Mm(h)));
        svg
    }

    /// An attribute of the element that was begun last. Words of a person's go into [`Element::saying`], never here: the
    /// crate escapes quotes only.
    pub fn set(&mut self, name: &str, value: impl Display) {
        self.xml.write_attribute(name, &value);
    }

    /// Begins an element of this name.
    pub fn element(&mut self, name: &str) -> Element<'_> {
        self.xml.start_element(name);
        Element(self)
    }

    pub fn group(&mut self) -> Element<'_> {
        self.element("g")
    }

    pub fn rect(&mut self, rect: Rect) -> Element<'_> {
        let mut element = self.element("rect");
        if rect.origin() != Point::ZERO {
            element = element.set("x", Mm(rect.x0)).set("y", Mm(rect.y0));
        }
        let (width, height) = (Mm(rect.width()), Mm(rect.height()));
        element.set("width", width).set("height", height)
    }

    pub fn circle(&mut self, (x, y): (f64, f64), radius: f64) -> Element<'_> {
        let circle = self.element("circle");
        circle.set("cx", Mm(x)).set("cy", Mm(y)).set("r", radius)
    }

    /// `data` is path data.
    pub fn path(&mut self, data: impl Display) -> Element<'_> {
        self.element("path").set("d", data)
    }

    /// A line of text that begins at `x`, or has its middle there ([`Element::middle`]), on the baseline `y`.
    pub fn text(&mut self, (x, y): (f64, f64), letters: Letters) -> Element<'_> {
        let text = self.element("text").set("x", Mm(x)).set("y", Mm(y));
        let text = text.set("font-size", format_args!("{:.2}", letters.size_mm));
        let text = match letters.bold {
            true => text.set("font-weight", "bold"),
            false => text,
        };
        match letters.color {
            Some(color) => text.fill(color),
            None => text,
        }
    }

    /// Text in lines, the baseline of the first at `y`; the baseline of what may follow.
    pub fn paragraph(&mut self, at: (f64, f64), letters: Letters, lines: &[String]) -> f64 {
        let (x, mut y) = at;
        for line in lines {
            self.text((x, y), letters).saying(line);
            y += letters.line_mm();
        }
        y
    }

    /// The drawing as text.
    pub fn written(self) -> String {
        self.xml.end_document()
    }

    /// The drawing as a sheet.
    pub fn sheet(self) -> Sheet {
        let (width_mm, height_mm) = self.size_mm;
        Sheet {
            width_mm,
            height_mm,
            svg: self.written(),
        }
    }
}

/// An element of a drawing: attributes first, then what it holds. It ends when it is dropped.
pub struct Element<'a>(&'a mut Svg);

impl Element<'_> {
    pub fn set(self, name: &str, value: impl Display) -> Self {
        self.0.set(name, value);
        self
    }

    pub fn fill(self, color: impl Display) -> Self {
        self.set("fill", color)
    }

    /// Filled between its curves, whichever way they run.
    pub fn fill_between(self, color: impl Display) -> Self {
        self.fill(color).set("fill-rule", "evenodd")
    }

    pub fn stroke(self, color: impl Display, width: impl Display) -> Self {
        self.set("stroke", color).set("stroke-width", width)
    }

    /// A line and nothing inside it.
    pub fn line(self, color: impl Display, width: impl Display) -> Self {
        self.fill("none").stroke(color, width)
    }

    /// Text stands with its middle at its place.
    pub fn middle(self) -> Self {
        self.set("text-anchor", "middle")
    }

    /// The words of a text, whoever has written them.
    pub fn saying(self, words: &str) {
        let xml = &mut self.0.xml;
        // A line break would be a space before the first word.
        xml.set_preserve_whitespaces(true);
        xml.write_text(&escape(&drawn(words)));
    }

    /// What `draw` draws, in this element.
    pub fn holding(self, draw: impl FnOnce(&mut Svg)) {
        draw(self.0);
    }
}

impl Drop for Element<'_> {
    fn drop(&mut self) {
        self.0.xml.end_element();
        self.0.xml.set_preserve_whitespaces(false);
    }
}

/// Text as XML holds it, in full: the crate escapes only the `<` of it. Control characters, which XML cannot hold, become
/// spaces.
fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// Millimeters to a hundredth, without trailing zeros.
#[derive(Debug, Clone, Copy)]
pub struct Mm(pub f64);

impl Display for Mm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let hundredths = (self.0 * 100.0).round() as i64;
        if hundredths < 0 {
            f.write_char('-')?;
        }
        let (whole, part) = (
            hundredths.unsigned_abs() / 100,
            hundredths.unsigned_abs() % 100,
        );
        write!(f, "{whole}")?;
        match part {
            0 => Ok(()),
            p if p % 10 == 0 => write!(f, ".{}", p / 10),
            p => write!(f, ".{p:02}"),
        }
    }
}

/// A straight line as SVG path data.
pub fn segment((x0, y0): (f64, f64), (x1, y1): (f64, f64)) -> String {
    format!("M{} {}L{} {}", Mm(x0), Mm(y0), Mm(x1), Mm(y1))
}

/// The path as SVG path data in millimeters, to a hundredth.
pub fn path_data(path: &BezPath) -> String {
    let mut out = String::with_capacity(path.elements().len() * 40);
    let point = |out: &mut String, p: Point| {
        let _ = write!(out, "{} {}", Mm(p.x), Mm(p.y));
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_rounded() {
        assert_eq!(
            [1.0, -0.5, 12.345, 0.004, -0.004, 3.07].map(|v| Mm(v).to_string()),
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
        let name = "<b a=\"1\">&amp;' ]]>\u{1}x";
        let mut svg = Svg::new((9.0, 9.0));
        let letters = Letters::bold(2.0);
        svg.text((1.0, 2.5), letters).middle().saying(name);
        let small = Rect::new(0.0, 0.0, 1.0, 2.0);
        svg.group().holding(|svg| {
            svg.rect(small).line("#000", 0.5);
        });
        let text = svg.written();
        let read = resvg::usvg::roxmltree::Document::parse(&text).expect("not well-formed");
        let words = read.descendants().find(|n| n.has_tag_name("text"));
        assert_eq!(
            words.unwrap().text(),
            Some(name.replace('\u{1}', " ").as_str())
        );
        assert_eq!(
            read.root_element()
                .children()
                .filter(|n| n.is_element())
                .count(),
            2
        );
    }
}
