//! Outlines as path data, of which a part of the panel takes only what shows in it.

use kurbo::{BezPath, PathEl, Rect};

use crate::borders::Outlines;

use super::svg::path_data;

/// A path, or one closed line of it.
pub struct Curve {
    /// A box around it, in millimeters of the panel.
    around: Rect,
    data: String,
}

impl Curve {
    fn of(path: &BezPath) -> Self {
        Self {
            around: path.control_box(),
            data: path_data(path),
        }
    }

    /// The closed lines of a path: left out where they do not reach, they change no filling elsewhere.
    fn closed_lines(path: &BezPath) -> Vec<Self> {
        let lines = path.elements().split_inclusive(|e| *e == PathEl::ClosePath);
        lines
            .map(|line| Self::of(&BezPath::from_vec(line.to_vec())))
            .collect()
    }

    /// Those that may show in a part of the panel, as one path; `None` if none do.
    pub fn shown<'a>(curves: impl Iterator<Item = &'a Self>, part: Rect) -> Option<String> {
        let shown = curves.filter(|curve| curve.around.overlaps(part));
        let path: String = shown.map(|curve| curve.data.as_str()).collect();
        (!path.is_empty()).then_some(path)
    }
}

/// The panel as path data, the same for every card and detail: every section, all borders, the ink by its closed lines.
pub struct Curves {
    sections: Vec<Curve>,
    pub borders: Vec<Curve>,
    pub ink: Vec<Curve>,
}

impl Curves {
    pub fn of(outlines: &Outlines) -> Self {
        let borders = outlines.arcs.iter().filter(|a| a.is_border());
        Self {
            sections: outlines.sections.iter().map(Curve::of).collect(),
            borders: borders.map(|a| Curve::of(&a.path)).collect(),
            ink: Curve::closed_lines(&outlines.ink),
        }
    }

    /// These sections.
    pub fn of_sections(&self, ids: impl Iterator<Item = u16>) -> impl Iterator<Item = &Curve> {
        ids.map(|id| &self.sections[usize::from(id) - 1])
    }
}

#[cfg(test)]
mod tests {
    use kurbo::{Circle, Line, Shape};

    use super::super::render::{Fonts, png};
    use super::super::svg::Svg;
    use super::*;

    /// Width of the lines, in millimeters, and resolution, in dots per inch: ten pixels are a millimeter.
    const WIDE_MM: f64 = 0.6;
    const DPI: f64 = 254.0;

    #[test]
    fn what_is_left_out_of_a_part_does_not_show_in_it() {
        let part = Rect::new(35.0, 20.0, 60.0, 45.0);
        // Rings of many sizes, some around the part, and a line on its edge.
        let mut path = BezPath::new();
        for k in 0..60 {
            let middle = (f64::from(k * 37 % 100), f64::from(k * 53 % 70));
            let radius = 1.0 + f64::from(k % 9) * 4.0;
            path.extend(Circle::new(middle, radius).path_elements(0.01));
            path.extend(Circle::new(middle, 0.6 * radius).path_elements(0.01));
        }
        path.extend(Line::new((10.0, 45.2), (90.0, 45.2)).path_elements(0.01));
        let curves = Curve::closed_lines(&path);
        let all: String = curves.iter().map(|curve| curve.data.as_str()).collect();
        assert_eq!(all, path_data(&path));
        let near = Curve::shown(curves.iter(), part.inflate(WIDE_MM, WIDE_MM)).unwrap();
        assert!(near.len() < all.len() * 3 / 4);
        assert_eq!(Curve::shown(curves[..1].iter(), part), None);
        let fonts = Fonts::load();
        let drawn = |path: &str| {
            let mut svg = Svg::new((100.0, 70.0));
            svg.path(path)
                .fill_between("#204060")
                .stroke("#b3005e", WIDE_MM);
            let png = png(&svg.sheet(), DPI, &fonts).unwrap();
            image::load_from_memory(&png).unwrap().into_rgb8()
        };
        let [all, near] = [&all, &near].map(|path| drawn(path));
        let differ = |x: u32, y: u32| all.get_pixel(x, y) != near.get_pixel(x, y);
        assert!(!(350..600).any(|x| (200..450).any(|y| differ(x, y))));
        assert!((0..1000).any(|x| (0..700).any(|y| differ(x, y))));
    }
}
