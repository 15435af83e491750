//! Where the numbers stand: inside the section at its roomiest point where they fit, else beside it with a leader.

use kurbo::{Point, Rect};

use crate::grid::{Grid, squared_distance_to_rim};
use crate::sections::{Section, Sections};

/// Millimeters in one typographic point: 1/72 inch (ISO 32000-1, 8.3.2.3).
pub const MM_PER_PT: f64 = 25.4 / 72.0;
/// Sizes a number may have, largest first, in points. 6 pt is the smallest that can be read at arm's length; common
/// practice, no source.
const SIZES_PT: [f64; 5] = [10.0, 9.0, 8.0, 7.0, 6.0];
const SMALLEST_PT: f64 = SIZES_PT[SIZES_PT.len() - 1];
/// Width of a digit and height of the digits, as parts of the font size (DejaVu Sans Condensed Bold, rounded up).
const DIGIT_WIDTH: f64 = 0.64;
const DIGIT_HEIGHT: f64 = 0.74;
/// Clear space around a number, in millimeters; from memory.
const CLEAR_MM: f64 = 0.25;
/// How far a leader may reach, and the grid of places tried, in millimeters; from memory.
const LEADER_MM: f64 = 30.0;
const LEADER_STEP_MM: f64 = 0.8;
/// How much farther a place outside the drawing may be than one in another section; from memory.
const OUTSIDE_BONUS: f64 = 2.5;

/// The number of one section.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// Section id.
    pub section: u16,
    pub text: String,
    /// Middle of the text, in millimeters from the top left of the art.
    pub at: Point,
    pub size_pt: f64,
    /// Where the leader ends inside the section, if the number stands beside it.
    pub leader_to: Option<Point>,
}

/// Counts marked pixels in rectangles (summed-area table; Crow 1984).
struct Counts {
    width: usize,
    height: usize,
    sums: Vec<u32>,
}

impl Counts {
    fn new(width: usize, height: usize, marked: impl Fn(usize, usize) -> bool) -> Self {
        let mut sums = vec![0u32; (width + 1) * (height + 1)];
        for y in 0..height {
            let mut row = 0;
            for x in 0..width {
                row += u32::from(marked(x, y));
                sums[(y + 1) * (width + 1) + x + 1] = sums[y * (width + 1) + x + 1] + row;
            }
        }
        Self {
            width,
            height,
            sums,
        }
    }

    /// Whether no marked pixel lies in the rectangle around (`x`, `y`) reaching `rx`, `ry` pixels, and it lies inside.
    fn is_free(&self, x: usize, y: usize, rx: usize, ry: usize) -> bool {
        if x < rx || y < ry || x + rx >= self.width || y + ry >= self.height {
            return false;
        }
        let at = |x: usize, y: usize| self.sums[y * (self.width + 1) + x];
        let (x0, y0, x1, y1) = (x - rx, y - ry, x + rx + 1, y + ry + 1);
        at(x1, y1) + at(x0, y0) == at(x1, y0) + at(x0, y1)
    }
}

/// Half the width and height of a text of `digits` digits with its clear space, in millimeters.
fn half_box(digits: usize, size_pt: f64) -> (f64, f64) {
    let em = size_pt * MM_PER_PT;
    (
        digits as f64 * DIGIT_WIDTH * em / 2.0 + CLEAR_MM,
        DIGIT_HEIGHT * em / 2.0 + CLEAR_MM,
    )
}

/// Places one number for every section; `text` gives it by section id. `ink` is everything drawn.
pub fn place_labels(
    sections: &Sections,
    ink: &Grid<bool>,
    text: impl Fn(u16) -> String,
    mm_per_px: f64,
) -> Vec<Label> {
    let ground = Ground::new(sections, ink, mm_per_px);
    let room = squared_distance_to_rim(&ground.ids);
    let extents = ground.extents(sections.list.len());
    let mut labels = Vec::new();
    let mut homeless = Vec::new();
    for section in &sections.list {
        let text = text(section.id);
        let extent = extents[usize::from(section.id)];
        match ground.inside(section.id, text.chars().count(), extent, &room) {
            Some((at, size_pt)) => labels.push(Label {
                section: section.id,
                text,
                at,
                size_pt,
                leader_to: None,
            }),
            None => homeless.push((section, text)),
        }
    }
    if homeless.is_empty() {
        return labels;
    }
    let busy = ground.busy();
    let target_of = |section: &Section| {
        let (x, y) = section.center;
        Point::new((x as f64 + 0.5) * mm_per_px, (y as f64 + 0.5) * mm_per_px)
    };
    let targets: Vec<Point> = homeless.iter().map(|(s, _)| target_of(s)).collect();
    for ((section, text), &target) in homeless.into_iter().zip(&targets) {
        let place = ground.beside(text.chars().count(), target, &targets, &labels, &busy);
        labels.push(Label {
            section: section.id,
            text,
            at: place.unwrap_or(target),
            size_pt: SMALLEST_PT,
            leader_to: place.map(|_| target),
        });
    }
    labels.sort_by_key(|l| l.section);
    labels
}

/// What numbers are placed on. Half the resolution of the sections is enough for text.
struct Ground {
    /// Section ids; 0 is ink or outside.
    ids: Grid<u16>,
    ink: Grid<bool>,
    /// Millimeters per pixel.
    mm: f64,
}

/// Left, top, right and bottom in pixels, the last two exclusive.
type Extent = (usize, usize, usize, usize);

impl Ground {
    fn new(sections: &Sections, ink: &Grid<bool>, mm_per_px: f64) -> Self {
        let map = &sections.map;
        let (width, height) = (map.width.div_ceil(2), map.height.div_ceil(2));
        let ink_at = |i: usize| {
            let (x, y) = (2 * (i % width), 2 * (i / width));
            let (x1, y1) = ((x + 1).min(ink.width - 1), (y + 1).min(ink.height - 1));
            ink.at(x, y) || ink.at(x1, y1) || ink.at(x1, y) || ink.at(x, y1)
        };
        let ink: Vec<bool> = (0..width * height).map(ink_at).collect();
        let id_at = |i: usize| map.at(2 * (i % width), 2 * (i / width));
        let ids = (0..width * height).map(|i| if ink[i] { 0 } else { id_at(i) });
        Self {
            ids: Grid {
                width,
                height,
                data: ids.collect(),
            },
            ink: Grid {
                width,
                height,
                data: ink,
            },
            mm: 2.0 * mm_per_px,
        }
    }

    /// The middle of a pixel, in millimeters.
    fn to_mm(&self, x: usize, y: usize) -> Point {
        Point::new((x as f64 + 0.5) * self.mm, (y as f64 + 0.5) * self.mm)
    }

    /// How far a box of this half width and height (millimeters) reaches, in pixels.
    fn reach(&self, half: (f64, f64)) -> (usize, usize) {
        let px = |mm: f64| (mm / self.mm).ceil() as usize;
        (px(half.0), px(half.1))
    }

    /// The box around every section, by its id; one that has no pixel left is empty.
    fn extents(&self, sections: usize) -> Vec<Extent> {
        let mut extents = vec![(usize::MAX, usize::MAX, 0, 0); sections + 1];
        for (i, &id) in self.ids.data.iter().enumerate() {
            let e = &mut extents[usize::from(id)];
            let (x, y) = (i % self.ids.width, i / self.ids.width);
            *e = (e.0.min(x), e.1.min(y), e.2.max(x + 1), e.3.max(y + 1));
        }
        extents
    }

    /// The roomiest place inside a section for a number of so many digits, and the largest size that fits there.
    fn inside(
        &self,
        section: u16,
        digits: usize,
        (x0, y0, x1, y1): Extent,
        room: &[f64],
    ) -> Option<(Point, f64)> {
        if x0 >= x1 {
            return None;
        }
        let counts = Counts::new(x1 - x0, y1 - y0, |x, y| {
            self.ids.at(x0 + x, y0 + y) != section
        });
        SIZES_PT.iter().find_map(|&size_pt| {
            let (rx, ry) = self.reach(half_box(digits, size_pt));
            let mut best: Option<(f64, usize, usize)> = None;
            for y in y0..y1 {
                for x in x0..x1 {
                    let d = room[y * self.ids.width + x];
                    if best.is_none_or(|b| d > b.0)
                        && self.ids.at(x, y) == section
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
    fn busy(&self) -> Counts {
        let ids = &self.ids;
        Counts::new(ids.width, ids.height, |x, y| {
            self.ink.at(x, y)
                || (x + 1 < ids.width && ids.at(x + 1, y) != ids.at(x, y))
                || (y + 1 < ids.height && ids.at(x, y + 1) != ids.at(x, y))
        })
    }

    /// A place beside a section whose middle is `target`: free, in one other section or outside, near, clear of the
    /// `placed` numbers; and on none of the `targets` that other leaders have to reach.
    fn beside(
        &self,
        digits: usize,
        target: Point,
        targets: &[Point],
        placed: &[Label],
        busy: &Counts,
    ) -> Option<Point> {
        let taken: Vec<Rect> = placed
            .iter()
            .map(|l| around(l.at, half_box(l.text.chars().count(), l.size_pt)))
            .collect();
        let half = half_box(digits, SMALLEST_PT);
        let (rx, ry) = self.reach(half);
        let step = (LEADER_STEP_MM / self.mm).round().max(1.0) as usize;
        let mut best: Option<(f64, Point)> = None;
        for y in (0..self.ids.height).step_by(step) {
            for x in (0..self.ids.width).step_by(step) {
                let at = self.to_mm(x, y);
                let far = at.distance(target);
                let outside = self.ids.at(x, y) == 0;
                let cost = if outside { far / OUTSIDE_BONUS } else { far };
                if far > LEADER_MM
                    || best.is_some_and(|b| cost >= b.0)
                    || !busy.is_free(x, y, rx, ry)
                {
                    continue;
                }
                let text = around(at, half);
                let wide = text.inflate(CLEAR_MM, CLEAR_MM);
                let clear = !targets.iter().any(|t| wide.contains(*t))
                    && taken
                        .iter()
                        .all(|t| t.intersect(text).area() == 0.0 && !crosses(*t, at, target));
                if clear {
                    best = Some((cost, at));
                }
            }
        }
        best.map(|(_, at)| at)
    }
}

fn around(middle: Point, half: (f64, f64)) -> Rect {
    Rect::from_center_size(middle, (2.0 * half.0, 2.0 * half.1))
}

/// Whether the line from `a` to `b` passes through the rectangle.
fn crosses(rect: Rect, a: Point, b: Point) -> bool {
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

    #[test]
    fn a_line_is_found_to_cross_a_box_or_to_miss_it() {
        let rect = Rect::new(1.0, 1.0, 2.0, 2.0);
        assert!(crosses(rect, Point::new(0.0, 0.0), Point::new(3.0, 3.0)));
        assert!(!crosses(rect, Point::new(0.0, 0.0), Point::new(3.0, 0.5)));
        assert!(!crosses(rect, Point::new(0.0, 0.0), Point::new(0.9, 0.9)));
    }
}
