//! Where the numbers stand: inside the section at its roomiest point where they fit, else beside it with a leader.
//!
//! Leaders cross neither each other nor a number. Small sections of one number that lie near each other share it, each
//! with a leader of its own. Where a number finds no place all the same, that part of the drawing is numbered once more
//! in a [`Detail`], drawn larger.

use kurbo::{Line, Point, Rect, Vec2};

use crate::grid::{Grid, squared_distance_to_rim};
use crate::sections::Sections;

/// Millimeters in one typographic point: 1/72 inch (ISO 32000-1, 8.3.2.3).
pub const MM_PER_PT: f64 = 25.4 / 72.0;
/// Sizes a number may have, largest first, in points. 6 pt is the smallest that can be read at arm's length; common
/// practice, no source.
const SIZES_PT: [f64; 5] = [10.0, 9.0, 8.0, 7.0, 6.0];
const SMALLEST_PT: f64 = SIZES_PT[SIZES_PT.len() - 1];
/// Width of a digit, and of the marks for bare paper and a first coat, and height of them all, as parts of the font size
/// (DejaVu Sans Condensed Bold, rounded up).
const DIGIT_WIDTH: f64 = 0.64;
const MARK_WIDTH: f64 = 0.79;
const DIGIT_HEIGHT: f64 = 0.74;
/// Clear space around a number, in millimeters; from memory.
const CLEAR_MM: f64 = 0.25;
/// How far a leader may reach, and the grid of places tried, in millimeters; from memory.
const LEADER_MM: f64 = 30.0;
const LEADER_STEP_MM: f64 = 0.8;
/// Two leaders, and a leader and another's end, stay so far apart, in millimeters; from memory.
const APART_MM: f64 = 0.35;
/// How much farther a place outside the drawing may be than one in another section; from memory.
const OUTSIDE_BONUS: f64 = 2.5;
/// Sections of one number may share it when each lies within this of another, in millimeters, and so many at most; from
/// memory.
const SHARE_MM: f64 = 9.0;
const SHARED: usize = 6;
/// So often what found no place is placed before all others.
const TRIES: usize = 6;
/// Side of what a detail shows, in millimeters, and how many times larger it is drawn; from memory. Two stand side by
/// side on A4.
const DETAIL_MM: f64 = 22.0;
pub const DETAIL_ZOOM: f64 = 4.0;

/// One number, for one section or for several that share it.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// Section ids.
    pub sections: Vec<u16>,
    pub text: String,
    /// Middle of the text, in millimeters from the top left of the art.
    pub at: Point,
    pub size_pt: f64,
    /// Where a leader ends inside each section, in their order; none if the number stands in its section.
    pub leaders: Vec<Point>,
}

impl Label {
    /// What the text covers, in millimeters where it is drawn `zoom` times larger than the panel.
    pub fn area(&self, zoom: f64) -> Rect {
        around(self.at, half_box(&self.text, self.size_pt, zoom))
    }

    /// Where a leader may begin: a circle around the text, so that no line runs into it; radius in millimeters.
    pub fn clear_mm(&self, zoom: f64) -> f64 {
        let (x, y) = half_box(&self.text, self.size_pt, zoom);
        x.max(y)
    }
}

/// A part of the drawing that is drawn larger, for numbers that find no place on it.
#[derive(Debug, Clone, PartialEq)]
pub struct Detail {
    /// What it shows, in millimeters from the top left of the art.
    pub frame: Rect,
    /// In the same millimeters; their sizes are those on the page, where all is [`DETAIL_ZOOM`] times larger.
    pub labels: Vec<Label>,
}

/// All numbers of a drawing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Labels {
    /// In the order of their first sections.
    pub labels: Vec<Label>,
    /// In reading order.
    pub details: Vec<Detail>,
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

/// Half the width and height of a text with its clear space, in millimeters of the panel where that is drawn `zoom`
/// times larger.
fn half_box(text: &str, size_pt: f64, zoom: f64) -> (f64, f64) {
    let em = size_pt * MM_PER_PT;
    let width: f64 = text
        .chars()
        .map(|c| {
            if c.is_ascii_digit() {
                DIGIT_WIDTH
            } else {
                MARK_WIDTH
            }
        })
        .sum();
    (
        (width * em / 2.0 + CLEAR_MM) / zoom,
        (DIGIT_HEIGHT * em / 2.0 + CLEAR_MM) / zoom,
    )
}

/// Places a number for every section; `text` gives it by section id. `ink` is everything drawn.
pub fn place_labels(
    sections: &Sections,
    ink: &Grid<bool>,
    text: impl Fn(u16) -> String,
    mm_per_px: f64,
) -> Labels {
    // Half the resolution of the sections is enough for text.
    let ground = Ground::new(sections, ink, whole(ink), 2, mm_per_px);
    let named: Vec<Named> = sections
        .list
        .iter()
        .map(|section| {
            let (x, y) = section.center;
            Named {
                section: section.id,
                text: text(section.id),
                target: Point::new((x as f64 + 0.5) * mm_per_px, (y as f64 + 0.5) * mm_per_px),
            }
        })
        .collect();
    let (mut labels, homeless) = ground.place(named, 1.0);
    labels.sort_by_key(|l| l.sections[0]);
    let size = Vec2::new(ink.width as f64, ink.height as f64) * mm_per_px;
    let details = frames(&homeless, size)
        .into_iter()
        .map(|frame| detail(sections, ink, &text, frame, mm_per_px))
        .collect();
    Labels { labels, details }
}

/// The whole of a grid, as pixels.
fn whole(ink: &Grid<bool>) -> Extent {
    (0, 0, ink.width, ink.height)
}

/// What details have to show so that all of these are seen; the panel is `size` millimeters large.
fn frames(homeless: &[Named], size: Vec2) -> Vec<Rect> {
    let side = |all: f64| DETAIL_MM.min(all);
    let mut frames: Vec<Rect> = Vec::new();
    let mut left: Vec<Point> = homeless.iter().map(|n| n.target).collect();
    left.sort_by(|a, b| a.y.total_cmp(&b.y).then(a.x.total_cmp(&b.x)));
    while let Some(&first) = left.first() {
        // Down from the first, and around the middle of what lies near.
        let near: Vec<Point> = left
            .iter()
            .copied()
            .filter(|p| (p.x - first.x).abs() < DETAIL_MM / 2.0 && p.y - first.y < DETAIL_MM / 2.0)
            .collect();
        let mean = |of: fn(&Point) -> f64| near.iter().map(of).sum::<f64>() / near.len() as f64;
        // The first is never at the rim.
        let within = |v: f64, first: f64| v.clamp(first - DETAIL_MM / 3.0, first + DETAIL_MM / 3.0);
        let (x, y) = (
            within(mean(|p| p.x), first.x),
            within(mean(|p| p.y), first.y),
        );
        let (w, h) = (side(size.x), side(size.y));
        let x0 = (x - w / 2.0).clamp(0.0, size.x - w);
        let y0 = (y - h / 2.0).clamp(0.0, size.y - h);
        let frame = Rect::new(x0, y0, x0 + w, y0 + h);
        // What lies at the very rim of a frame is not seen well, but what it was made for always is.
        let inner = frame.inset(-1.0);
        left.retain(|p| *p != first && !inner.contains(*p));
        frames.push(frame);
    }
    frames
}

/// The numbers of everything in a frame, where it is drawn larger.
fn detail(
    sections: &Sections,
    ink: &Grid<bool>,
    text: impl Fn(u16) -> String,
    frame: Rect,
    mm_per_px: f64,
) -> Detail {
    let px = |mm: f64| (mm / mm_per_px).round() as usize;
    let (x0, y0) = (px(frame.x0), px(frame.y0));
    let (x1, y1) = (px(frame.x1).min(ink.width), px(frame.y1).min(ink.height));
    let ground = Ground::new(sections, ink, (x0, y0, x1, y1), 1, mm_per_px);
    let room = squared_distance_to_rim(&ground.ids);
    let mut widest: std::collections::BTreeMap<u16, (f64, usize)> = Default::default();
    for (i, (&id, &d)) in ground.ids.data.iter().zip(&room).enumerate() {
        let best = widest.entry(id).or_insert((d, i));
        if id > 0 && d > best.0 {
            *best = (d, i);
        }
    }
    widest.remove(&0);
    let named: Vec<Named> = widest
        .into_iter()
        // Slivers at the edge belong to what lies beside.
        .filter(|&(id, (d, _))| {
            let whole = sections.list[usize::from(id) - 1].width_px / 2.0;
            d.sqrt() >= whole.min(SLIVER_MM / mm_per_px) - 1.0
        })
        .map(|(section, (_, i))| Named {
            section,
            text: text(section),
            target: ground.to_mm(i % ground.ids.width, i / ground.ids.width),
        })
        .collect();
    let (mut labels, homeless) = ground.place(named, DETAIL_ZOOM);
    // Closer than this no hand can color; the number stands on its section.
    labels.extend(homeless.into_iter().map(|n| Label {
        sections: vec![n.section],
        text: n.text,
        at: n.target,
        size_pt: SMALLEST_PT,
        leaders: Vec::new(),
    }));
    labels.sort_by_key(|l| l.sections[0]);
    Detail { frame, labels }
}

/// A section that is cut by a detail's edge is numbered there if this much of its width is seen, in millimeters.
const SLIVER_MM: f64 = 1.0;

/// What is to be numbered.
#[derive(Debug, Clone)]
struct Named {
    section: u16,
    text: String,
    /// Middle of its widest place, in millimeters.
    target: Point,
}

/// What numbers are placed on.
struct Ground {
    /// Section ids; 0 is ink or outside.
    ids: Grid<u16>,
    ink: Grid<bool>,
    /// Millimeters per pixel, and where the first pixel lies.
    mm: f64,
    origin: Point,
}

/// Left, top, right and bottom in pixels, the last two exclusive.
type Extent = (usize, usize, usize, usize);

impl Ground {
    /// What lies in `part`, with one pixel for every `step` by `step`, 1 or 2.
    fn new(
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
            mm: step as f64 * mm_per_px,
            origin: Point::new(x0 as f64 * mm_per_px, y0 as f64 * mm_per_px),
        }
    }

    /// The middle of a pixel, in millimeters.
    fn to_mm(&self, x: usize, y: usize) -> Point {
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
    fn place(&self, named: Vec<Named>, zoom: f64) -> (Vec<Label>, Vec<Named>) {
        let room = squared_distance_to_rim(&self.ids);
        let largest = named.iter().map(|n| n.section).max().unwrap_or(0);
        let extents = self.extents(largest);
        let mut inside = Vec::new();
        let mut homeless = Vec::new();
        for n in named {
            let extent = extents[usize::from(n.section)];
            match self.inside(&n, extent, &room, zoom) {
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
    fn inside(
        &self,
        named: &Named,
        (x0, y0, x1, y1): Extent,
        room: &[f64],
        zoom: f64,
    ) -> Option<(Point, f64)> {
        if x0 >= x1 {
            return None;
        }
        let counts = Counts::new(x1 - x0, y1 - y0, |x, y| {
            self.ids.at(x0 + x, y0 + y) != named.section
        });
        SIZES_PT.iter().find_map(|&size_pt| {
            let (rx, ry) = self.reach(half_box(&named.text, size_pt, zoom));
            let mut best: Option<(f64, usize, usize)> = None;
            for y in y0..y1 {
                for x in x0..x1 {
                    let d = room[y * self.ids.width + x];
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
    fn busy(&self) -> Counts {
        let ids = &self.ids;
        Counts::new(ids.width, ids.height, |x, y| {
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
        busy: &Counts,
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
        let mut best: Option<(f64, Point)> = None;
        for y in (0..self.ids.height).step_by(step) {
            for x in (0..self.ids.width).step_by(step) {
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
                let clear = !targets.iter().any(|t| wide.contains(*t))
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

fn around(middle: Point, half: (f64, f64)) -> Rect {
    Rect::from_center_size(middle, (2.0 * half.0, 2.0 * half.1))
}

/// How far a point lies from a line.
fn distance(line: Line, from: Point) -> f64 {
    let along = line.p1 - line.p0;
    let length = along.hypot2();
    let t = if length > 0.0 {
        ((from - line.p0).dot(along) / length).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (line.p0 + along * t).distance(from)
}

/// Whether two lines cross, or come nearer than `apart` at an end.
fn meet(a: Line, b: Line, apart: f64) -> bool {
    let side = |line: Line, p: Point| (line.p1 - line.p0).cross(p - line.p0);
    let parts = |line: Line, other: Line| side(line, other.p0) * side(line, other.p1) < 0.0;
    (parts(a, b) && parts(b, a))
        || [(a, b.p0), (a, b.p1), (b, a.p0), (b, a.p1)]
            .into_iter()
            .any(|(line, p)| distance(line, p) < apart)
}

/// Whether the line passes through the rectangle.
fn crosses(rect: Rect, line: Line) -> bool {
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

    /// A board of squares of `side` pixels of 0.1 mm, with ink between, on a panel with a margin.
    fn board(across: usize, down: usize, side: usize, margin: usize) -> (Sections, Grid<bool>) {
        let pitch = side + 2;
        let (width, height) = (across * pitch + 2 * margin, down * pitch + 2 * margin);
        let mut map = Grid::filled(width, height, 0u16);
        let mut ink = Grid::filled(width, height, false);
        let mut list = Vec::new();
        for id in 1..=across * down {
            let (x0, y0) = (
                margin + (id - 1) % across * pitch,
                margin + (id - 1) / across * pitch,
            );
            for y in 0..pitch {
                for x in 0..pitch {
                    let i = (y0 + y) * width + x0 + x;
                    let inside = x < side && y < side;
                    map.data[i] = if inside { id as u16 } else { 0 };
                    ink.data[i] = !inside;
                }
            }
            list.push(crate::sections::Section {
                id: id as u16,
                cell: id as u16,
                band: 0,
                area_px: side * side,
                width_px: side as f64,
                center: (x0 + side / 2, y0 + side / 2),
            });
        }
        (
            Sections {
                map,
                list,
                cuts: crate::sections::Cuts::none(),
            },
            ink,
        )
    }

    /// No two things of a drawing lie on each other: numbers, leaders, and numbers on leaders that are not their own.
    fn check(labels: &[Label], zoom: f64) {
        for (i, a) in labels.iter().enumerate() {
            for b in labels {
                for &to in &b.leaders {
                    let crossed = a != b && crosses(a.area(zoom), Line::new(b.at, to));
                    assert!(!crossed, "{b:?} runs through {a:?}");
                }
            }
            for b in &labels[..i] {
                let both = a.area(zoom).intersect(b.area(zoom));
                assert!(both.area() == 0.0, "{a:?} lies on {b:?}");
                for &p in &a.leaders {
                    for &q in &b.leaders {
                        let (p, q) = (Line::new(a.at, p), Line::new(b.at, q));
                        assert!(!meet(p, q, 0.0), "{a:?} crosses {b:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_crowd_of_one_number_shares_it() {
        // Six in a row, 1.2 mm each: too narrow for 6 pt with a two-digit number.
        let (sections, ink) = board(6, 1, 12, 80);
        let placed = place_labels(&sections, &ink, |_| "12".into(), 0.1);
        assert_eq!(placed.labels.len(), 1);
        assert_eq!(placed.labels[0].sections, [1, 2, 3, 4, 5, 6]);
        assert_eq!(placed.labels[0].leaders.len(), 6);
        assert!(placed.details.is_empty());
    }

    #[test]
    fn leaders_cross_nothing_and_what_finds_no_place_is_drawn_larger() {
        // From a few to more than could ever have leaders.
        for (across, down, margin) in [(5, 1, 60), (6, 4, 60), (12, 12, 40), (14, 14, 4)] {
            let (sections, ink) = board(across, down, 12, margin);
            let text = |id: u16| (10 + id % 7).to_string();
            let placed = place_labels(&sections, &ink, text, 0.1);
            check(&placed.labels, 1.0);
            let mut seen: Vec<u16> = placed
                .labels
                .iter()
                .flat_map(|l| l.sections.clone())
                .collect();
            for detail in &placed.details {
                check(&detail.labels, DETAIL_ZOOM);
                seen.extend(detail.labels.iter().flat_map(|l| l.sections.clone()));
            }
            seen.sort_unstable();
            seen.dedup();
            let all: Vec<u16> = (1..=(across * down) as u16).collect();
            assert_eq!(seen, all, "{across} x {down}");
            assert_eq!(placed.details.is_empty(), across < 10, "{across} x {down}");
        }
    }
}
