//! What numbers are placed on: what is free on it, and what is in the way.

use image::{GrayImage, ImageBuffer, Luma};
use imageproc::integral_image::{integral_image, sum_image_pixels};
use kurbo::{Line, ParamCurveNearest, Point, Rect, Vec2};
use rayon::prelude::*;

use crate::grid::{Grid, squared_distance_to_rim};
use crate::sections::Sections;

use super::label::{CLEAR_MM, Label, SIZES_PT, SMALLEST_PT, around, half_box};

/// How far a leader may reach, and the grid of places tried, in millimeters; from memory.
const LEADER_MM: f64 = 30.0;
const LEADER_STEP_MM: f64 = 0.8;
/// Two leaders, and a leader and another's end, stay so far apart, in millimeters; from memory.
const APART_MM: f64 = 0.35;
/// How much farther a place outside the drawing may be than one in another section; from memory.
const OUTSIDE_BONUS: f64 = 2.5;
/// So often what found no place is placed before all others.
const TRIES: usize = 6;
/// Sections of one number may share it when each lies within this of another, in millimeters, and so many at most; from
/// memory.
const SHARE_MM: f64 = 9.0;
const SHARED: usize = 6;

/// What is to be numbered.
#[derive(Debug, Clone)]
pub struct Named {
    pub section: u16,
    pub text: String,
    /// Middle of its widest place, in millimeters.
    pub target: Point,
}

/// Marked pixels, to be looked for in rectangles (summed-area table; Crow 1984).
struct Marked(ImageBuffer<Luma<u32>, Vec<u32>>);

impl Marked {
    fn new(width: usize, height: usize, marked: impl Fn(usize, usize) -> bool) -> Self {
        let image = GrayImage::from_fn(width as u32, height as u32, |x, y| {
            Luma([marked(x as usize, y as usize).into()])
        });
        Self(integral_image(&image))
    }

    /// Whether no marked pixel lies in the rectangle around (`x`, `y`) reaching `rx`, `ry` pixels, and it lies inside.
    fn is_free(&self, x: usize, y: usize, rx: usize, ry: usize) -> bool {
        // The table is one pixel larger.
        let (width, height) = (self.0.width() as usize - 1, self.0.height() as usize - 1);
        if x < rx || y < ry || x + rx >= width || y + ry >= height {
            return false;
        }
        let [x0, y0, x1, y1] = [x - rx, y - ry, x + rx, y + ry].map(|v| v as u32);
        sum_image_pixels(&self.0, x0, y0, x1, y1) == [0]
    }
}

/// What numbers are placed on.
pub struct Ground {
    /// Section ids; 0 is ink or outside.
    pub ids: Grid<u16>,
    ink: Grid<bool>,
    /// Squared distance to the rim of what has the same id, in pixels.
    room: Vec<f64>,
    /// Millimeters per pixel, and where the first pixel lies.
    mm: f64,
    origin: Point,
}

/// Left, top, right and bottom in pixels, the last two exclusive.
pub type Extent = (usize, usize, usize, usize);

impl Ground {
    /// What lies in `part`, with one pixel for every `step` by `step`, 1 or 2.
    pub fn new(
        sections: &Sections,
        ink: &Grid<bool>,
        part: Extent,
        step: usize,
        mm_per_px: f64,
    ) -> Self {
        let map = &sections.map;
        let (x0, y0, x1, y1) = part;
        let (width, height) = ((x1 - x0).div_ceil(step), (y1 - y0).div_ceil(step));
        let first = |i: usize| (x0 + step * (i % width), y0 + step * (i / width));
        let ink_at = |i: usize| {
            let (x, y) = first(i);
            let (x1, y1) = (
                (x + step - 1).min(ink.width - 1),
                (y + step - 1).min(ink.height - 1),
            );
            ink.at(x, y) || ink.at(x1, y1) || ink.at(x1, y) || ink.at(x, y1)
        };
        let ink: Vec<bool> = (0..width * height).map(ink_at).collect();
        let id_at = |i: usize| {
            let (x, y) = first(i);
            map.at(x, y)
        };
        let ids = (0..width * height).map(|i| if ink[i] { 0 } else { id_at(i) });
        let ids = Grid {
            width,
            height,
            data: ids.collect(),
        };
        Self {
            room: squared_distance_to_rim(&ids),
            ids,
            ink: Grid {
                width,
                height,
                data: ink,
            },
            mm: step as f64 * mm_per_px,
            origin: Point::new(x0 as f64 * mm_per_px, y0 as f64 * mm_per_px),
        }
    }

    /// The middle of a pixel, in millimeters.
    pub fn to_mm(&self, x: usize, y: usize) -> Point {
        self.origin + Vec2::new(x as f64 + 0.5, y as f64 + 0.5) * self.mm
    }

    /// How far a box of this half width and height (millimeters) reaches, in pixels.
    fn reach(&self, half: (f64, f64)) -> (usize, usize) {
        let px = |mm: f64| (mm / self.mm).ceil() as usize;
        (px(half.0), px(half.1))
    }

    /// The box around every section, by its id; one that has no pixel left is empty.
    fn extents(&self, largest: u16) -> Vec<Extent> {
        let mut extents = vec![(usize::MAX, usize::MAX, 0, 0); usize::from(largest) + 1];
        for (i, &id) in self.ids.data.iter().enumerate() {
            let Some(e) = extents.get_mut(usize::from(id)) else {
                continue;
            };
            let (x, y) = (i % self.ids.width, i / self.ids.width);
            *e = (e.0.min(x), e.1.min(y), e.2.max(x + 1), e.3.max(y + 1));
        }
        extents
    }

    /// A number for each, where all is drawn `zoom` times larger; and what found no place.
    pub fn place(&self, named: Vec<Named>, zoom: f64) -> (Vec<Label>, Vec<Named>) {
        let largest = named.iter().map(|n| n.section).max().unwrap_or(0);
        let extents = self.extents(largest);
        let place = |n: &Named| self.inside(n, extents[usize::from(n.section)], zoom);
        let places: Vec<Option<(Point, f64)>> = named.par_iter().map(place).collect();
        let mut inside = Vec::new();
        let mut homeless = Vec::new();
        for (n, place) in named.into_iter().zip(places) {
            match place {
                Some((at, size_pt)) => inside.push(Label {
                    sections: vec![n.section],
                    text: n.text,
                    at,
                    size_pt,
                    leaders: Vec::new(),
                }),
                None => homeless.push(n),
            }
        }
        if homeless.is_empty() {
            return (inside, homeless);
        }
        let busy = self.busy();
        let targets: Vec<Point> = homeless.iter().map(|n| n.target).collect();
        // What finds no place comes first in the next try; the try that leaves the least homeless counts.
        let mut order = shared(homeless);
        let mut best: Option<(Vec<Label>, Vec<Named>)> = None;
        for _ in 0..TRIES {
            let (mut placed, mut failed, mut kept) = (inside.clone(), Vec::new(), Vec::new());
            for crowd in order {
                match self.beside(&crowd, &targets, &placed, &busy, zoom) {
                    Some(label) => {
                        placed.push(label);
                        kept.push(crowd);
                    }
                    // A crowd that fits nowhere together may do one by one.
                    None => failed.extend(crowd.into_iter().map(|n| vec![n])),
                }
            }
            let mut left = Vec::new();
            for one in &failed {
                match self.beside(one, &targets, &placed, &busy, zoom) {
                    Some(label) => placed.push(label),
                    None => left.extend(one.iter().cloned()),
                }
            }
            let done = left.is_empty();
            if best.as_ref().is_none_or(|b| left.len() < b.1.len()) {
                best = Some((placed, left));
            }
            if done {
                break;
            }
            order = failed.into_iter().chain(kept).collect();
        }
        best.unwrap_or_default()
    }

    /// The roomiest place inside a section for its number, and the largest size that fits there.
    fn inside(&self, named: &Named, (x0, y0, x1, y1): Extent, zoom: f64) -> Option<(Point, f64)> {
        if x0 >= x1 {
            return None;
        }
        let counts = Marked::new(x1 - x0, y1 - y0, |x, y| {
            self.ids.at(x0 + x, y0 + y) != named.section
        });
        SIZES_PT.iter().find_map(|&size_pt| {
            let (rx, ry) = self.reach(half_box(&named.text, size_pt, zoom));
            let mut best: Option<(f64, usize, usize)> = None;
            for y in y0..y1 {
                for x in x0..x1 {
                    let d = self.room[y * self.ids.width + x];
                    if best.is_none_or(|b| d > b.0)
                        && self.ids.at(x, y) == named.section
                        && counts.is_free(x - x0, y - y0, rx, ry)
                    {
                        best = Some((d, x, y));
                    }
                }
            }
            best.map(|(_, x, y)| (self.to_mm(x, y), size_pt))
        })
    }

    /// Where no number may lie that stands beside its section: on ink, and across a border.
    fn busy(&self) -> Marked {
        let ids = &self.ids;
        Marked::new(ids.width, ids.height, |x, y| {
            self.ink.at(x, y)
                || (x + 1 < ids.width && ids.at(x + 1, y) != ids.at(x, y))
                || (y + 1 < ids.height && ids.at(x, y + 1) != ids.at(x, y))
        })
    }

    /// One number for a crowd, beside it: free, in one other section or outside, near, clear of the `placed` numbers and
    /// their leaders; on none of the `targets` that other leaders have to reach, and with leaders that pass these.
    fn beside(
        &self,
        crowd: &[Named],
        targets: &[Point],
        placed: &[Label],
        busy: &Marked,
        zoom: f64,
    ) -> Option<Label> {
        let text = &crowd[0].text;
        let mine: Vec<Point> = crowd.iter().map(|n| n.target).collect();
        let middle = mine.iter().fold(Vec2::ZERO, |sum, p| sum + p.to_vec2()) / mine.len() as f64;
        let middle = middle.to_point();
        let (leader, apart) = (LEADER_MM / zoom, APART_MM / zoom);
        // Only what is within reach can be in the way.
        let far = 2.0 * leader + SHARE_MM * SHARED as f64;
        let near = |p: Point| p.distance(middle) < far;
        let taken: Vec<Rect> = placed
            .iter()
            .filter(|l| near(l.at))
            .map(|l| l.area(zoom))
            .collect();
        let lines: Vec<Line> = placed
            .iter()
            .filter(|l| near(l.at))
            .flat_map(|l| l.leaders.iter().map(|&to| Line::new(l.at, to)))
            .collect();
        let others: Vec<Point> = targets
            .iter()
            .copied()
            .filter(|&t| near(t) && !mine.contains(&t))
            .collect();
        let half = half_box(text, SMALLEST_PT, zoom);
        let (rx, ry) = self.reach(half);
        let step = (LEADER_STEP_MM / zoom / self.mm).round().max(1.0) as usize;
        // On the mean a place is no nearer to them than to their middle. One step more, as numbers are rounded.
        let within = |middle: f64, origin: f64, end: usize| {
            let px = |mm: f64| ((mm - origin) / self.mm / step as f64).max(0.0);
            let first = (px(middle - leader).floor() as usize).saturating_sub(1) * step;
            let last = (px(middle + leader).ceil() as usize + 1) * step;
            (first..end.min(last)).step_by(step)
        };
        let mut best: Option<(f64, Point)> = None;
        for y in within(middle.y, self.origin.y, self.ids.height) {
            for x in within(middle.x, self.origin.x, self.ids.width) {
                let at = self.to_mm(x, y);
                let far = mine.iter().map(|t| t.distance(at)).sum::<f64>() / mine.len() as f64;
                let cost = if self.ids.at(x, y) == 0 {
                    far / OUTSIDE_BONUS
                } else {
                    far
                };
                if far > leader || best.is_some_and(|b| cost >= b.0) || !busy.is_free(x, y, rx, ry)
                {
                    continue;
                }
                let text = around(at, half);
                let wide = text.inflate(CLEAR_MM / zoom, CLEAR_MM / zoom);
                let clear = !mine.iter().chain(&others).any(|t| wide.contains(*t))
                    && taken.iter().all(|t| t.intersect(text).area() == 0.0)
                    && lines.iter().all(|l| !crosses(wide, *l))
                    && mine.iter().all(|&to| {
                        let leader = Line::new(at, to);
                        taken.iter().all(|t| !crosses(*t, leader))
                            && lines.iter().all(|l| !meet(*l, leader, apart))
                            && others.iter().all(|&t| distance(leader, t) > apart)
                    });
                if clear {
                    best = Some((cost, at));
                }
            }
        }
        best.map(|(_, at)| Label {
            sections: crowd.iter().map(|n| n.section).collect(),
            text: text.clone(),
            at,
            size_pt: SMALLEST_PT,
            leaders: mine,
        })
    }
}

/// Those of one number that lie near each other, together.
fn shared(homeless: Vec<Named>) -> Vec<Vec<Named>> {
    let mut crowds: Vec<Vec<Named>> = Vec::new();
    for n in homeless {
        let near = |crowd: &Vec<Named>| {
            crowd[0].text == n.text
                && crowd.len() < SHARED
                && crowd
                    .iter()
                    .any(|m| m.target.distance(n.target) <= SHARE_MM)
        };
        match crowds.iter_mut().find(|crowd| near(crowd)) {
            Some(crowd) => crowd.push(n),
            None => crowds.push(vec![n]),
        }
    }
    // The largest have the least choice.
    crowds.sort_by_key(|crowd| std::cmp::Reverse(crowd.len()));
    crowds
}

/// How far a point lies from a line.
fn distance(line: Line, from: Point) -> f64 {
    line.nearest(from, 0.0).distance_sq.sqrt()
}

/// Whether two lines cross, or come nearer than `apart` at an end.
pub fn meet(a: Line, b: Line, apart: f64) -> bool {
    let side = |line: Line, p: Point| (line.p1 - line.p0).cross(p - line.p0);
    let parts = |line: Line, other: Line| side(line, other.p0) * side(line, other.p1) < 0.0;
    (parts(a, b) && parts(b, a))
        || [(a, b.p0), (a, b.p1), (b, a.p0), (b, a.p1)]
            .into_iter()
            .any(|(line, p)| distance(line, p) < apart)
}

/// Whether the line passes through the rectangle.
pub fn crosses(rect: Rect, line: Line) -> bool {
    let (a, b) = (line.p0, line.p1);
    // Clipping by parameter (Liang and Barsky 1984).
    let (mut t0, mut t1) = (0.0f64, 1.0f64);
    for (from, delta, low, high) in [
        (a.x, b.x - a.x, rect.x0, rect.x1),
        (a.y, b.y - a.y, rect.y0, rect.y1),
    ] {
        if delta.abs() < 1e-12 {
            if from < low || from > high {
                return false;
            }
        } else {
            let (u, v) = ((low - from) / delta, (high - from) / delta);
            (t0, t1) = (t0.max(u.min(v)), t1.min(u.max(v)));
        }
    }
    t0 < t1
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(a: (f64, f64), b: (f64, f64)) -> Line {
        Line::new(a, b)
    }

    #[test]
    fn a_line_is_found_to_cross_a_box_or_to_miss_it() {
        let rect = Rect::new(1.0, 1.0, 2.0, 2.0);
        assert!(crosses(rect, line((0.0, 0.0), (3.0, 3.0))));
        assert!(!crosses(rect, line((0.0, 0.0), (3.0, 0.5))));
        assert!(!crosses(rect, line((0.0, 0.0), (0.9, 0.9))));
    }

    #[test]
    fn lines_meet_where_they_cross_or_nearly_touch() {
        let flat = line((0.0, 0.0), (4.0, 0.0));
        assert!(meet(flat, line((1.0, -1.0), (2.0, 1.0)), 0.1));
        assert!(meet(flat, line((1.0, 0.05), (2.0, 1.0)), 0.1));
        assert!(!meet(flat, line((1.0, 0.2), (2.0, 1.0)), 0.1));
        assert!(!meet(flat, line((5.0, -1.0), (5.0, 1.0)), 0.1));
    }
}
