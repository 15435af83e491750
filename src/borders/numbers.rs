//! Where the numbers stand: inside the section at its roomiest point where they fit, else beside it with a leader.

use kurbo::{Point, Rect};

use crate::grid::Grid;
use crate::sections::{Section, Sections, squared_distance_to_rim};

/// Millimeters in one typographic point: 1/72 inch (ISO 32000-1, 8.3.2.3).
pub const MM_PER_PT: f64 = 25.4 / 72.0;
/// Sizes a number may have, largest first, in points. 6 pt is the smallest that can be read at arm's length; common
/// practice, no source.
const SIZES_PT: [f64; 5] = [10.0, 9.0, 8.0, 7.0, 6.0];
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
    // Half resolution is enough for placing text.
    let (w, h) = (
        sections.map.width.div_ceil(2),
        sections.map.height.div_ceil(2),
    );
    let mm = 2.0 * mm_per_px;
    let id_at = |x: usize, y: usize| sections.map.at(2 * x, 2 * y);
    let ink_at = |x: usize, y: usize| {
        let (x1, y1) = (
            (2 * x + 1).min(ink.width - 1),
            (2 * y + 1).min(ink.height - 1),
        );
        ink.at(2 * x, 2 * y) || ink.at(x1, y1) || ink.at(x1, 2 * y) || ink.at(2 * x, y1)
    };
    let ids = Grid {
        width: w,
        height: h,
        data: (0..w * h)
            .map(|i| {
                if ink_at(i % w, i / w) {
                    0
                } else {
                    id_at(i % w, i / w)
                }
            })
            .collect::<Vec<u16>>(),
    };
    let room = squared_distance_to_rim(&ids);
    let mut extent = vec![(usize::MAX, usize::MAX, 0usize, 0usize); sections.list.len() + 1];
    for (i, &id) in ids.data.iter().enumerate() {
        let e = &mut extent[usize::from(id)];
        let (x, y) = (i % w, i / w);
        *e = (e.0.min(x), e.1.min(y), e.2.max(x + 1), e.3.max(y + 1));
    }
    let to_mm = |x: usize, y: usize| Point::new((x as f64 + 0.5) * mm, (y as f64 + 0.5) * mm);
    let reach = |half: (f64, f64)| ((half.0 / mm).ceil() as usize, (half.1 / mm).ceil() as usize);

    let mut labels = Vec::new();
    let mut homeless = Vec::new();
    for section in &sections.list {
        let text = text(section.id);
        let digits = text.chars().count();
        let (x0, y0, x1, y1) = extent[usize::from(section.id)];
        if x0 >= x1 {
            homeless.push((section, text));
            continue;
        }
        let counts = Counts::new(x1 - x0, y1 - y0, |x, y| {
            ids.at(x0 + x, y0 + y) != section.id
        });
        let best = SIZES_PT.iter().find_map(|&size| {
            let (rx, ry) = reach(half_box(digits, size));
            let mut best: Option<(f64, usize, usize)> = None;
            for y in y0..y1 {
                for x in x0..x1 {
                    let d = room[y * w + x];
                    if best.is_none_or(|b| d > b.0)
                        && ids.at(x, y) == section.id
                        && counts.is_free(x - x0, y - y0, rx, ry)
                    {
                        best = Some((d, x, y));
                    }
                }
            }
            best.map(|(_, x, y)| (x, y, size))
        });
        match best {
            Some((x, y, size_pt)) => labels.push(Label {
                section: section.id,
                text,
                at: to_mm(x, y),
                size_pt,
                leader_to: None,
            }),
            None => homeless.push((section, text)),
        }
    }
    if homeless.is_empty() {
        return labels;
    }

    // Beside the section: a free place in one other section or outside, near, and clear of what is placed already.
    let busy = Counts::new(w, h, |x, y| {
        ink_at(x, y)
            || (x + 1 < w && ids.at(x + 1, y) != ids.at(x, y))
            || (y + 1 < h && ids.at(x, y + 1) != ids.at(x, y))
    });
    let size_pt = SIZES_PT[SIZES_PT.len() - 1];
    let step = (LEADER_STEP_MM / mm).round().max(1.0) as usize;
    // No number may cover the place another one's leader has to reach.
    let target_of = |section: &Section| {
        Point::new(
            (section.center.0 as f64 + 0.5) * mm_per_px,
            (section.center.1 as f64 + 0.5) * mm_per_px,
        )
    };
    let targets: Vec<Point> = homeless.iter().map(|(s, _)| target_of(s)).collect();
    for (section, text) in homeless {
        let half = half_box(text.chars().count(), size_pt);
        let (rx, ry) = reach(half);
        let target = target_of(section);
        let taken: Vec<Rect> = labels
            .iter()
            .map(|l| {
                let (hw, hh) = half_box(l.text.chars().count(), l.size_pt);
                Rect::from_center_size(l.at, (2.0 * hw, 2.0 * hh))
            })
            .collect();
        let mut best: Option<(f64, Point)> = None;
        for y in (0..h).step_by(step) {
            for x in (0..w).step_by(step) {
                let at = to_mm(x, y);
                let far = at.distance(target);
                let cost = if ids.at(x, y) == 0 {
                    far / OUTSIDE_BONUS
                } else {
                    far
                };
                if far > LEADER_MM
                    || best.is_some_and(|b| cost >= b.0)
                    || !busy.is_free(x, y, rx, ry)
                {
                    continue;
                }
                let text_box = Rect::from_center_size(at, (2.0 * half.0, 2.0 * half.1));
                let covers = targets
                    .iter()
                    .any(|t| text_box.inflate(CLEAR_MM, CLEAR_MM).contains(*t));
                let clear = !covers
                    && taken
                        .iter()
                        .all(|t| t.intersect(text_box).area() == 0.0 && !crosses(*t, at, target));
                if clear {
                    best = Some((cost, at));
                }
            }
        }
        let at = best.map_or(target, |b| b.1);
        labels.push(Label {
            section: section.id,
            text,
            at,
            size_pt,
            leader_to: best.map(|_| target),
        });
    }
    labels.sort_by_key(|l| l.section);
    labels
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
