//! Evidence: where the photo shows the subject. What stands out in the photo tells that; where it did not find a drawn
//! thing, or lost its light side on light ground, the drawing does: if the photo changes along the drawn line, or shows
//! another color in the cell than what lies around it.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::color::{Lab, Mean, difference, unshaded};
use crate::grid::{Grid, Window, bounds_of, largest_first, squared_distance, within};

/// A cell less than this part of which shows the subject has no evidence; from memory.
pub const LEAST_SEEN: f64 = 0.3;
/// What lies so far around a cell is what it is held against, beyond a drawn line with its soft rims; in millimeters,
/// from memory.
const AROUND_MM: [f64; 2] = [0.6, 4.0];
/// Less of that than this says nothing, in square millimeters; from memory.
const LEAST_AROUND_MM2: f64 = 10.0;
/// So far from the mean color around it a color is another, whatever the shading: in units of a*b* at L* 50; from
/// memory.
const APART: f32 = 8.0;

/// A cell this part of which shows no subject may have lost it; from memory.
const LEAST_LOST: f64 = 0.03;
/// Along the drawn line the photo is looked at in squares of this side, in millimeters, if it shows so much of both
/// sides there, in square millimeters; and so many of them tell something. From memory.
const STRETCH_MM: f64 = 4.0;
const LEAST_SIDE_MM2: f64 = 1.5;
const LEAST_STRETCHES: usize = 4;
/// The photo changes there by this much at least, in CIEDE2000, and by this many times what the background changes by
/// along the line; and does so along this share of it, where a thing is drawn. From memory.
const LEAST_CHANGE: f32 = 3.0;
const BACKGROUND_TIMES: f32 = 2.0;
const OUTLINED: f64 = 0.7;

/// `evidence`, and what the drawn things show that it leaves out: in cells that are `closed` all of it where the photo
/// changes along their outline, and where there is none the pixels that no shading makes out of the background's color
/// around, if they are more of the cell than of what is around. A thing that the photo lacks stays without evidence,
/// and so does a shadow that lies there, unless it has the very outline that is drawn.
pub fn with_drawn_things(
    lab: &Grid<Lab>,
    cells: &Grid<u16>,
    evidence: &Grid<bool>,
    closed: &(impl Fn(u16) -> bool + Sync),
    mm_per_px: f64,
) -> Grid<bool> {
    let count = usize::from(cells.data.iter().copied().max().unwrap_or(0));
    let mut seen = vec![[0usize; 2]; count + 1];
    for (&cell, &shown) in cells.data.iter().zip(&evidence.data) {
        let [all, of_subject] = &mut seen[usize::from(cell)];
        *all += 1;
        *of_subject += usize::from(shown);
    }
    let shows_less_than = |cell: usize, share: f64| {
        let [all, of_subject] = seen[cell];
        closed(cell as u16) && (of_subject as f64) < share * all as f64
    };
    let reach = (AROUND_MM[1] / mm_per_px).ceil() as usize;
    let windows: Vec<Window> = bounds_of(cells, count)
        .into_iter()
        .map(|window| window.widened(reach, cells))
        .collect();
    let is_background = |i: usize| {
        let cell = cells.data[i];
        !evidence.data[i] && (cell == 0 || !closed(cell))
    };
    let found = largest_first(&windows, |w| {
        let cell = w as u16 + 1;
        if !shows_less_than(w + 1, 1.0 - LEAST_LOST) {
            return Vec::new();
        }
        let around = Around::of(cells, cell, windows[w], is_background, mm_per_px);
        if around.is_outlined(lab, mm_per_px) {
            around.inside
        } else if shows_less_than(w + 1, LEAST_SEEN) {
            around.shown_inside(lab, mm_per_px)
        } else {
            Vec::new()
        }
    });
    let mut evidence = evidence.clone();
    for i in found.into_iter().flatten() {
        evidence.data[i] = true;
    }
    evidence
}

/// A cell and the background around it, as indices of pixels.
struct Around {
    inside: Vec<usize>,
    around: Vec<usize>,
    /// Those of `inside` that lie as near to the background.
    rim: Vec<usize>,
    /// Pixels in a row of the frame.
    across: usize,
}

impl Around {
    fn of(
        cells: &Grid<u16>,
        cell: u16,
        window: Window,
        is_background: impl Fn(usize) -> bool,
        mm_per_px: f64,
    ) -> Self {
        let mine = cells.cut_out(window).map(|c| c == cell);
        let away = squared_distance(&mine);
        let [from, to] = AROUND_MM.map(|mm| (mm / mm_per_px).powi(2));
        let in_frame = |i: usize| window.index_in(cells, i);
        let is_around = |i: usize| (from..=to).contains(&away[i]) && is_background(in_frame(i));
        let around = Grid {
            width: mine.width,
            height: mine.height,
            data: (0..mine.data.len()).map(is_around).collect(),
        };
        let near = within(&around, to);
        let frame = |counts: &dyn Fn(usize) -> bool| {
            let counted = (0..mine.data.len()).filter(|&i| counts(i));
            counted.map(in_frame).collect()
        };
        Self {
            inside: frame(&|i| mine.data[i]),
            around: frame(&|i| around.data[i]),
            rim: frame(&|i| mine.data[i] && near[i]),
            across: cells.width,
        }
    }

    /// Whether the photo changes along most of the line between the cell and the background, and more than the
    /// background does along it: then the line is the outline of something that it shows.
    fn is_outlined(&self, lab: &Grid<Lab>, mm_per_px: f64) -> bool {
        let side = STRETCH_MM / mm_per_px;
        let stretch =
            |i: usize| [i % self.across, i / self.across].map(|v| (v as f64 / side) as usize);
        let mut sides: BTreeMap<[usize; 2], [Mean; 2]> = BTreeMap::new();
        for (pixels, which) in [(&self.rim, 0), (&self.around, 1)] {
            for &i in pixels {
                sides.entry(stretch(i)).or_default()[which].add(lab.data[i]);
            }
        }
        let enough = (LEAST_SIDE_MM2 / (mm_per_px * mm_per_px)) as usize;
        let color = |mean: &Mean| mean.color().filter(|_| mean.pixels >= enough);
        let outside = |at: [usize; 2]| color(&sides.get(&at)?[1]);
        let (mut changes, mut along) = (Vec::new(), Vec::new());
        for (&at, [rim, _]) in &sides {
            let Some(around) = outside(at) else { continue };
            for next in [[at[0] + 1, at[1]], [at[0], at[1] + 1]] {
                if let Some(next) = outside(next) {
                    along.push(difference(around, next));
                }
            }
            if let Some(rim) = color(rim) {
                changes.push(difference(rim, around));
            }
        }
        let usual = along.iter().sum::<f32>() / along.len().max(1) as f32;
        let least = LEAST_CHANGE.max(BACKGROUND_TIMES * usual);
        let clear = changes.iter().filter(|&&change| change >= least).count();
        changes.len() >= LEAST_STRETCHES && clear as f64 >= OUTLINED * changes.len() as f64
    }

    /// The pixels inside whose color is another than the background's around; none if they are no more than there.
    fn shown_inside(mut self, lab: &Grid<Lab>, mm_per_px: f64) -> Vec<usize> {
        if (self.around.len() as f64) * mm_per_px * mm_per_px < LEAST_AROUND_MM2 {
            return Vec::new();
        }
        let n = self.around.len() as f32;
        let [a, b] = self.around.iter().fold([0.0; 2], |[a, b], &i| {
            let [u, v] = unshaded(lab.data[i]);
            [a + u / n, b + v / n]
        });
        let is_another = |&i: &usize| {
            let [u, v] = unshaded(lab.data[i]);
            (u - a).hypot(v - b) > APART
        };
        let share = |of: &[usize]| {
            let others = of.par_iter().filter(|i| is_another(i)).count();
            others as f64 / of.len().max(1) as f64
        };
        if share(&self.inside) < share(&self.around) + LEAST_SEEN {
            return Vec::new();
        }
        self.inside.retain(is_another);
        self.inside
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MM_PER_PX: f64 = 0.2;

    /// Two leaves on a papered wall, of which `lab` says what the photo shows around the second; evidence is the first.
    fn seen_of_the_second(lab: impl Fn(usize, usize) -> Option<Lab>, closed: bool) -> f64 {
        let (width, height) = (200, 100);
        let leaf = |x: usize, y: usize| match (x, y) {
            (20..60, 30..70) => 1,
            (120..160, 30..70) => 2,
            _ => 0,
        };
        let at = |i: usize| (i % width, i / width);
        let grid = |i: usize| {
            let (x, y) = at(i);
            leaf(x, y)
        };
        let cells = Grid {
            width,
            height,
            data: (0..width * height).map(grid).collect::<Vec<u16>>(),
        };
        let wall = |x: usize, y: usize| match (x / 3 + y / 3) % 5 {
            0 => Lab::new(60.0, 25.0, 30.0),
            _ => Lab::new(80.0, -4.0, 18.0),
        };
        let color = |i: usize| {
            let (x, y) = at(i);
            match (leaf(x, y), lab(x, y)) {
                (1, _) => Lab::new(50.0, -30.0, 30.0),
                (_, Some(shown)) => shown,
                _ => wall(x, y),
            }
        };
        let photo = Grid {
            width,
            height,
            data: (0..width * height).map(color).collect(),
        };
        let evidence = cells.map(|c| c == 1);
        let with = with_drawn_things(&photo, &cells, &evidence, &|_| closed, MM_PER_PX);
        for i in (0..with.data.len()).filter(|&i| cells.data[i] != 2) {
            assert_eq!(with.data[i], evidence.data[i]);
        }
        let second: Vec<bool> = (0..with.data.len())
            .filter(|&i| cells.data[i] == 2)
            .map(|i| with.data[i])
            .collect();
        second.iter().filter(|&&s| s).count() as f64 / second.len() as f64
    }

    /// A color in the second leaf's place, or so many pixels right of it and below.
    fn there(color: Lab, beside: usize) -> impl Fn(usize, usize) -> Option<Lab> {
        move |x, y| {
            let columns = (120 + beside..160 + beside).contains(&x);
            (columns && (30 + beside..70 + beside).contains(&y)).then_some(color)
        }
    }

    #[test]
    fn a_leaf_that_was_missed_is_evidence_and_one_that_is_not_there_is_none() {
        let leaf = Lab::new(45.0, -25.0, 28.0);
        assert!(seen_of_the_second(there(leaf, 0), true) > 0.99);
        assert_eq!(seen_of_the_second(there(leaf, 0), false), 0.0);
        assert_eq!(seen_of_the_second(|_, _| None, true), 0.0);
        // The drawing lies beside it by a fifth of its width: the rest of the cell shows the wall, and some of its
        // flowers.
        let beside = seen_of_the_second(there(leaf, 8), true);
        assert!((0.6..0.75).contains(&beside), "{beside}");
    }

    #[test]
    fn a_shadow_is_no_thing() {
        let shadow = Lab::new(44.0, -2.5, 11.2);
        for beside in [10, 20] {
            assert_eq!(seen_of_the_second(there(shadow, beside), true), 0.0);
        }
        // One with the very outline that is drawn cannot be told from a gray thing.
        assert_eq!(seen_of_the_second(there(shadow, 0), true), 1.0);
    }

    /// A cream egg on white paper, of which the search found the shaded side, and what of it is evidence: it is drawn
    /// `beside` where it lies by so many pixels.
    fn seen_of_an_egg(beside: usize) -> f64 {
        let (width, height) = (160, 160);
        let drawn = |x: usize, y: usize| (x as f64 - 80.0).hypot(y as f64 - 80.0) < 50.0;
        let light = |x: usize, y: usize| 0.5 * (1.0 - (x as f32 + y as f32 - 160.0) / 141.0);
        let color = |x: usize, y: usize| match drawn(x, y) {
            true => Lab::new(45.0 + 47.0 * light(x, y), 2.0, 7.0 + 3.0 * light(x, y)),
            false => Lab::new(98.0, 0.0, 1.0),
        };
        let grid = |i: usize| (i % width, i / width);
        let photo = Grid {
            width,
            height,
            data: (0..width * height)
                .map(grid)
                .map(|(x, y)| color(x, y))
                .collect(),
        };
        let at = |i: usize| (i % width + beside, i / width);
        let cells = Grid {
            width,
            height,
            data: (0..width * height)
                .map(at)
                .map(|(x, y)| u16::from(drawn(x, y)))
                .collect::<Vec<u16>>(),
        };
        let found = photo.map(|c| c.l < 70.0);
        let with = with_drawn_things(&photo, &cells, &found, &|_| true, MM_PER_PX);
        let inside: Vec<bool> = (0..with.data.len())
            .filter(|&i| cells.data[i] == 1)
            .map(|i| with.data[i])
            .collect();
        inside.iter().filter(|&&s| s).count() as f64 / inside.len() as f64
    }

    #[test]
    fn the_light_side_of_a_pale_thing_is_evidence_where_its_outline_is_drawn() {
        assert_eq!(seen_of_an_egg(0), 1.0);
        let beside = seen_of_an_egg(40);
        assert!((0.1..0.7).contains(&beside), "{beside}");
    }
}
