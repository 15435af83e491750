//! Evidence: where the photo shows the subject. What stands out in the photo tells that; where it did not find a drawn
//! thing, the drawing does, if what the photo shows in its cell is of another color than what lies around it.

use rayon::prelude::*;

use crate::color::{Lab, unshaded};
use crate::grid::{Grid, Window, bounds_of, largest_first, squared_distance};

/// A cell less than this part of which shows the subject has no evidence; from memory.
pub const LEAST_SEEN: f64 = 0.3;
/// What lies so far around a cell is what it is held against, beyond a drawn line with its soft rims; in millimeters, from
/// memory.
const AROUND_MM: [f64; 2] = [0.6, 4.0];
/// Less of that than this says nothing, in square millimeters; from memory.
const LEAST_AROUND_MM2: f64 = 10.0;
/// So far from the mean color around it a color is another, whatever the shading: in units of a*b* at L* 50; from memory.
const APART: f32 = 8.0;

/// `evidence`, and what the drawn things show that it leaves out: in every cell that is `closed` and has none, the pixels
/// that no shading makes out of the background's color around it, if they are more of the cell than of what is around.
/// A thing that the photo lacks stays without evidence, and so does a shadow in its place.
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
    let is_missed = |cell: usize| {
        let [all, of_subject] = seen[cell];
        closed(cell as u16) && (of_subject as f64) < LEAST_SEEN * all as f64
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
        match is_missed(w + 1) {
            true => shown_in(lab, cells, cell, windows[w], is_background, mm_per_px),
            false => Vec::new(),
        }
    });
    let mut evidence = evidence.clone();
    for i in found.into_iter().flatten() {
        evidence.data[i] = true;
    }
    evidence
}

/// The pixels of a cell whose color is another than the background's around it; none if they are no more than there.
fn shown_in(
    lab: &Grid<Lab>,
    cells: &Grid<u16>,
    cell: u16,
    window: Window,
    is_background: impl Fn(usize) -> bool,
    mm_per_px: f64,
) -> Vec<usize> {
    let mine = cells.cut_out(window).map(|c| c == cell);
    let away = squared_distance(&mine);
    let [from, to] = AROUND_MM.map(|mm| (mm / mm_per_px).powi(2));
    let in_frame = |i: usize| window.index_in(cells, i);
    let (mut inside, mut around) = (Vec::new(), Vec::new());
    for (i, (&mine, &away)) in mine.data.iter().zip(&away).enumerate() {
        if mine {
            inside.push(in_frame(i));
        } else if (from..=to).contains(&away) && is_background(in_frame(i)) {
            around.push(in_frame(i));
        }
    }
    if (around.len() as f64) * mm_per_px * mm_per_px < LEAST_AROUND_MM2 {
        return Vec::new();
    }
    let n = around.len() as f32;
    let [a, b] = around.iter().fold([0.0; 2], |[a, b], &i| {
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
    if share(&inside) < share(&around) + LEAST_SEEN {
        return Vec::new();
    }
    inside.retain(is_another);
    inside
}

#[cfg(test)]
mod tests {
    use super::*;

    const MM_PER_PX: f64 = 0.2;

    /// Two leaves on a papered wall, of which `lab` says what the photo shows in the second; evidence is the first.
    fn seen_of_the_second(lab: impl Fn(usize, usize) -> Lab, closed: bool) -> f64 {
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
            match leaf(x, y) {
                0 => wall(x, y),
                1 => Lab::new(50.0, -30.0, 30.0),
                _ => {
                    let (shown, own) = (lab(x, y), wall(x, y));
                    if shown.l > 0.0 { shown } else { own }
                }
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

    const NOTHING: Lab = Lab {
        l: 0.0,
        a: 0.0,
        b: 0.0,
        white_point: std::marker::PhantomData,
    };

    #[test]
    fn a_leaf_that_was_missed_is_evidence_and_one_that_is_not_there_is_none() {
        let leaf = Lab::new(45.0, -25.0, 28.0);
        assert!(seen_of_the_second(|_, _| leaf, true) > 0.99);
        assert_eq!(seen_of_the_second(|_, _| leaf, false), 0.0);
        assert_eq!(seen_of_the_second(|_, _| NOTHING, true), 0.0);
        // The drawing lies beside it by half the leaf's width: half of the cell shows the wall, and some of its flowers.
        let beside = seen_of_the_second(|x, _| if x < 140 { leaf } else { NOTHING }, true);
        assert!((0.5..0.65).contains(&beside), "{beside}");
    }

    #[test]
    fn a_shadow_is_no_thing() {
        let shadow = Lab::new(44.0, -2.5, 11.2);
        assert_eq!(seen_of_the_second(|_, _| shadow, true), 0.0);
    }
}
