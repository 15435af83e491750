//! Where the numbers stand: inside the section at its roomiest point where they fit, else beside it with a leader.
//!
//! Leaders cross neither each other nor a number. Small sections of one number that lie near each other share it, each
//! with a leader of its own. Where a number finds no place all the same, that part of the drawing is numbered once more
//! in a [`Detail`], drawn larger.

use kurbo::{Point, Rect, Vec2};

use crate::grid::{Grid, squared_distance_to_rim};
use crate::sections::{Section, Sections};

use super::ground::{Extent, Ground, Named};
use super::label::{DETAIL_ZOOM, Detail, Label, Labels, SMALLEST_PT};

/// Side of what a detail shows, in millimeters; from memory. Drawn larger, two stand side by side on A4.
const DETAIL_MM: f64 = 22.0;

/// A drawing made ready for its numbers, which need not be known for that.
pub struct Unnumbered<'a> {
    sections: &'a Sections,
    /// Everything drawn.
    ink: Grid<bool>,
    ground: Ground,
    mm_per_px: f64,
}

impl<'a> Unnumbered<'a> {
    pub fn new(sections: &'a Sections, ink: Grid<bool>, mm_per_px: f64) -> Self {
        // Half the resolution of the sections is enough for text.
        let ground = Ground::new(sections, &ink, whole(&ink), 2, mm_per_px);
        Self {
            sections,
            ink,
            ground,
            mm_per_px,
        }
    }

    /// Places a number for every section; `text` gives it by section id.
    pub fn numbered(&self, text: impl Fn(u16) -> String) -> Labels {
        let (sections, ink, mm_per_px) = (self.sections, &self.ink, self.mm_per_px);
        let named = |section: &Section| {
            let (x, y) = section.center;
            Named {
                section: section.id,
                text: text(section.id),
                target: Point::new((x as f64 + 0.5) * mm_per_px, (y as f64 + 0.5) * mm_per_px),
            }
        };
        let named: Vec<Named> = sections.list.iter().map(named).collect();
        let (mut labels, homeless) = self.ground.place(named, 1.0);
        labels.sort_by_key(|l| l.sections[0]);
        let size = Vec2::new(ink.width as f64, ink.height as f64) * mm_per_px;
        let details = frames(&homeless, size)
            .into_iter()
            .map(|frame| detail(sections, ink, &text, frame, mm_per_px))
            .collect();
        Labels { labels, details }
    }
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

#[cfg(test)]
mod tests {
    use kurbo::Line;

    use super::*;
    use crate::borders::ground::{crosses, meet};

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
        let placed = Unnumbered::new(&sections, ink.clone(), 0.1).numbered(|_| "12".into());
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
            let placed = Unnumbered::new(&sections, ink.clone(), 0.1).numbered(text);
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
