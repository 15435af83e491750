//! Shapes as rings of points: outlines of masks and pieces, grown and shrunk.
//!
//! Offsets are those of `i_overlay`, with round corners.

use i_overlay::core::fill_rule::FillRule as Rule;
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::float::simplify::SimplifyShape;
use i_overlay::float::single::SingleFloatOverlay;
use i_overlay::mesh::float::outline::offset::OutlineOffset;
use i_overlay::mesh::float::style::{LineJoin, OutlineStyle};
use imageproc::geometry::approximate_polygon_dp;
use kurbo::{Affine, BezPath, PathEl, Point, Rect, Shape, flatten};
use resvg::tiny_skia::{FillRule, Mask, PathBuilder, Transform};

use crate::borders::{mask_rings, smooth_curve};
use crate::frame::Frame;
use crate::grid::Grid;

/// How far chords may lie from their curve, in millimeters: a twentieth of what a hand can cut.
const CHORD_MM: f64 = 0.01;
/// Angle between the points of a round corner, in radians.
const ROUND: f64 = 0.1;
/// So far from a pixel's crack the edge of the ink is looked for on the page, in pixels.
const REACH: i64 = 2;
/// Blur along an edge so found, in pixel cracks (0.1 mm): what is left of the raster goes, corners stay.
const SIGMA: f64 = 0.5;
/// Points nearer than this to the line through their neighbors are left out, in millimeters.
const STRAIGHT_MM: f64 = 0.004;

/// Where the ink on a page ends, finer than its pixels.
#[derive(Debug, Clone, Copy)]
pub struct Edge<'a> {
    /// Gray levels of the page that the mask was found on.
    pub page: &'a Grid<u8>,
    /// The gray halfway from ink to paper.
    pub level: f32,
}

impl Edge<'_> {
    /// Where the edge runs along the row or column of pixels that a crack between two of them parts, in pixel corners;
    /// the crack's own middle where the page shows no edge there.
    fn at(self, from: (i64, i64), to: (i64, i64)) -> Point {
        let level = from.1 == to.1;
        // The pixel behind the crack, in a row of pixels across it.
        let (left, top) = (from.0.min(to.0), from.1.min(to.1));
        let gray = |k: i64| {
            let (x, y) = if level {
                (left, top + k)
            } else {
                (left + k, top)
            };
            let (w, h) = (self.page.width as i64, self.page.height as i64);
            let inside = (0..w).contains(&x) && (0..h).contains(&y);
            inside.then(|| f32::from(self.page.at(x as usize, y as usize)))
        };
        let crossing = |k: i64| {
            let (a, b) = (gray(k)?, gray(k + 1)?);
            let crosses = (a < self.level) != (b < self.level);
            crosses.then(|| k as f64 + 0.5 + f64::from((self.level - a) / (b - a)))
        };
        let nearest = (-REACH..REACH)
            .filter_map(crossing)
            .min_by(|a, b| a.abs().total_cmp(&b.abs()));
        let off = nearest.unwrap_or(0.0);
        let middle = |a: i64, b: i64| (a + b) as f64 / 2.0;
        let (x, y) = (middle(from.0, to.0), middle(from.1, to.1));
        if level {
            Point::new(x, y + off)
        } else {
            Point::new(x + off, y)
        }
    }
}

/// Closed rings of points in millimeters; none lies in another.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Rings(pub Vec<Vec<[f64; 2]>>);

impl Rings {
    /// The outer outlines of a mask, as exact as the page it was found on is; holes are filled.
    pub fn around(mask: &Grid<bool>, edge: Edge, mm_per_px: f64) -> Self {
        let ring = |corners: &Vec<(i64, i64)>| {
            let n = corners.len();
            let points: Vec<Point> = (0..n)
                .map(|k| edge.at(corners[k], corners[(k + 1) % n]))
                .collect();
            thinned(smooth_curve(&points, true, SIGMA, 1, 0.0), mm_per_px)
        };
        Self(mask_rings(mask).iter().map(ring).collect()).filled()
    }

    /// Grown by so many millimeters, with round corners; shrunk by less than nothing. Holes are filled.
    pub fn offset(&self, by_mm: f64) -> Self {
        if by_mm == 0.0 || self.0.is_empty() {
            return self.clone();
        }
        let style = OutlineStyle::new(by_mm).line_join(LineJoin::Round(ROUND));
        let shapes = self.0.outline(&style);
        Self::outer(shapes)
    }

    /// With inner corners no sharper than a circle of this radius.
    pub fn rounded_inside(&self, radius_mm: f64) -> Self {
        self.offset(radius_mm).offset(-radius_mm)
    }

    /// What of it lies in a rectangle.
    pub fn clipped(&self, rect: Rect) -> Self {
        let window = vec![
            [rect.x0, rect.y0],
            [rect.x1, rect.y0],
            [rect.x1, rect.y1],
            [rect.x0, rect.y1],
        ];
        Self::outer(
            self.0
                .overlay(&window, OverlayRule::Intersect, Rule::NonZero),
        )
    }

    /// Where it comes to lie.
    pub fn placed(&self, affine: Affine) -> Self {
        let placed = |ring: &Vec<[f64; 2]>| {
            let points = ring.iter().map(|&[x, y]| {
                let p = affine * Point::new(x, y);
                [p.x, p.y]
            });
            points.collect()
        };
        // A mirror turns rings around.
        Self(self.0.iter().map(placed).collect()).filled()
    }

    /// Whatever lies inside, wherever rings cross.
    fn filled(&self) -> Self {
        let outer = Self::outer(self.0.simplify_shape(Rule::EvenOdd));
        // What lies in a hole of another is inside it now.
        Self::outer(outer.0.simplify_shape(Rule::NonZero))
    }

    fn outer(shapes: Vec<Vec<Vec<[f64; 2]>>>) -> Self {
        Self(
            shapes
                .into_iter()
                .filter_map(|shape| shape.into_iter().next())
                .collect(),
        )
    }

    /// The smallest upright rectangle around it; empty at the origin without rings.
    pub fn bounds(&self) -> Rect {
        let mut points = self.0.iter().flatten().map(|&[x, y]| Point::new(x, y));
        let Some(first) = points.next() else {
            return Rect::ZERO;
        };
        points.fold(Rect::from_points(first, first), |all, p| all.union_pt(p))
    }

    /// The pixels of a frame whose middle lies inside.
    pub fn mask(&self, frame: Frame) -> Grid<bool> {
        let (width, height) = (frame.width, frame.height);
        let mut builder = PathBuilder::new();
        for ring in &self.0 {
            for (i, &[x, y]) in ring.iter().enumerate() {
                let (x, y) = ((x / frame.mm_per_px) as f32, (y / frame.mm_per_px) as f32);
                match i {
                    0 => builder.move_to(x, y),
                    _ => builder.line_to(x, y),
                }
            }
            builder.close();
        }
        let mut filled = Grid::filled(width, height, false);
        let (Some(path), Some(mut mask)) =
            (builder.finish(), Mask::new(width as u32, height as u32))
        else {
            return filled;
        };
        mask.fill_path(&path, FillRule::Winding, false, Transform::identity());
        for (inside, &v) in filled.data.iter_mut().zip(mask.data()) {
            *inside = v > 127;
        }
        filled
    }

    pub fn area_mm2(&self) -> f64 {
        self.path().area().abs()
    }

    pub fn path(&self) -> BezPath {
        let mut path = BezPath::new();
        for ring in &self.0 {
            for (i, &[x, y]) in ring.iter().enumerate() {
                match i {
                    0 => path.move_to((x, y)),
                    _ => path.line_to((x, y)),
                }
            }
            path.close_path();
        }
        path
    }
}

/// A closed curve in pixels as few points, in millimeters.
fn thinned(curve: BezPath, mm_per_px: f64) -> Vec<[f64; 2]> {
    let mut points: Vec<imageproc::point::Point<f64>> = Vec::new();
    flatten(curve, CHORD_MM / mm_per_px, |element| match element {
        PathEl::MoveTo(p) | PathEl::LineTo(p) => {
            points.push(imageproc::point::Point::new(
                p.x * mm_per_px,
                p.y * mm_per_px,
            ));
        }
        _ => {}
    });
    // Douglas and Peucker (1973) want two ends: the ring is taken in halves.
    let (first, second) = points.split_at(points.len() / 2 + 1);
    let back: Vec<_> = first
        .last()
        .into_iter()
        .chain(second)
        .chain(points.first())
        .copied()
        .collect();
    let mut kept = approximate_polygon_dp(first, STRAIGHT_MM, false);
    kept.pop();
    kept.extend(approximate_polygon_dp(&back, STRAIGHT_MM, false));
    kept.pop();
    kept.into_iter().map(|p| [p.x, p.y]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(side: f64) -> Rings {
        Rings(vec![vec![
            [0.0, 0.0],
            [side, 0.0],
            [side, side],
            [0.0, side],
        ]])
        .filled()
    }

    /// A square grown by r has the area s² + 4 s r + pi r², shrunk (s - 2 r)² (Steiner's formula).
    #[test]
    fn squares_grow_and_shrink_as_steiner_says() {
        let grown = square(10.0).offset(1.0).area_mm2();
        let expected = 100.0 + 40.0 + std::f64::consts::PI;
        assert!((grown - expected).abs() < 0.02, "{grown} {expected}");
        assert!((square(10.0).offset(-1.0).area_mm2() - 64.0).abs() < 0.01);
        assert!(square(1.0).offset(-1.0).0.is_empty());
        let mirrored = square(10.0).placed(Affine::scale_non_uniform(-1.0, 1.0));
        assert!((mirrored.offset(1.0).area_mm2() - expected).abs() < 0.02);
    }
}
