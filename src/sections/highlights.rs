//! Highlights drawn as a hand draws them: round. What a photo leaves of one has the outline of its glints.

use std::collections::BTreeSet;

use imageproc::region_labelling::Connectivity;
use nalgebra::{Matrix2, SymmetricEigen, Vector2};

use crate::grid::Grid;

use super::regionwise::regionwise;

/// Share of the pixels of a highlight and of its ellipse together that both have, from which on the ellipse takes its
/// place: what has a shape of its own keeps it. From memory.
const NEARLY_ROUND: f64 = 0.8;

/// Makes the pieces of a label (from 1; 0 is unlabeled) round that lie within one other label of their region and are
/// lighter: an ellipse of the same middle, area and axes takes the place of one that nearly is one, where `clear_px`
/// around it nothing else lies in the region. `lightness` is that of the labels in L*; only regions for which `is_form` is
/// true (by their number in `regions`) have highlights.
pub fn round_highlights(
    label: &mut Grid<u8>,
    regions: &Grid<u16>,
    lightness: &[f32],
    is_form: impl Fn(usize) -> bool + Sync,
    clear_px: f64,
) {
    // With a pixel around it, so that every piece at the region's rim has a neighbor there.
    *label = regionwise(label, regions, 1, |mut own| {
        if is_form(own.region) && !own.has_one_label() {
            round_in_region(&mut own.label, lightness, clear_px);
        }
        own.label
    });
}

/// The same in one region, 0 beyond it.
fn round_in_region(label: &mut Grid<u8>, lightness: &[f32], clear_px: f64) {
    let (pieces, count) = label.pieces(Connectivity::Four);
    let mut own = vec![Vec::new(); count + 1];
    let mut around = vec![BTreeSet::new(); count + 1];
    for (i, &p) in pieces.data.iter().enumerate().filter(|(_, p)| **p > 0) {
        own[p as usize].push(i);
        let beside = pieces.neighbors(i).map(|j| pieces.data[j]);
        around[p as usize].extend(beside.filter(|&q| q != p));
    }
    let label_of = |p: u32| own[p as usize].first().map(|&i| label.data[i]);
    let mut rounded = Vec::new();
    for (p, around) in around.iter().enumerate().skip(1) {
        let surround = match around.first() {
            Some(&only) if around.len() == 1 && only > 0 => only,
            _ => continue,
        };
        let (Some(inner), Some(outer)) = (label_of(p as u32), label_of(surround)) else {
            continue;
        };
        let light = |l: u8| lightness[usize::from(l) - 1];
        if light(inner) <= light(outer) {
            continue;
        }
        let ellipse = Ellipse::of(&own[p], pieces.width);
        let inside: Vec<usize> = ellipse.pixels(&pieces, 0.0).collect();
        let is_own = |&&i: &&usize| pieces.data[i] == p as u32;
        let both = inside.iter().filter(is_own).count();
        let either = own[p].len() + inside.len() - both;
        let is_clear = || {
            let mut near = ellipse.pixels(&pieces, clear_px).map(|i| pieces.data[i]);
            near.all(|q| [0, surround, p as u32].contains(&q))
                && inside.iter().all(|&i| pieces.data[i] > 0)
        };
        if both as f64 >= NEARLY_ROUND * either as f64 && is_clear() {
            rounded.push((p, inner, outer, inside));
        }
    }
    for (p, inner, outer, inside) in rounded {
        for &i in &own[p] {
            label.data[i] = outer;
        }
        for i in inside {
            label.data[i] = inner;
        }
    }
}

/// In pixels.
struct Ellipse {
    middle: Vector2<f64>,
    /// Unit vectors along the axes, and half the lengths of these.
    along: Matrix2<f64>,
    half: Vector2<f64>,
}

impl Ellipse {
    /// With the middle and the area of the pixels, and axes in the proportion of theirs: the variance of an even ellipse
    /// along an axis is a quarter of half of it, squared.
    fn of(pixels: &[usize], width: usize) -> Self {
        let n = pixels.len() as f64;
        let place = |&i: &usize| Vector2::new((i % width) as f64, (i / width) as f64);
        let middle = pixels.iter().map(place).sum::<Vector2<f64>>() / n;
        let off = pixels.iter().map(|i| place(i) - middle);
        let variance = off.map(|d| d * d.transpose()).sum::<Matrix2<f64>>() / n;
        // A pixel has an extent of its own.
        let axes = SymmetricEigen::new(variance + Matrix2::identity() / 12.0);
        let half = axes.eigenvalues.map(|v| 2.0 * v.sqrt());
        let area = std::f64::consts::PI * half.product();
        Self {
            middle,
            along: axes.eigenvectors,
            half: half * (n / area).sqrt(),
        }
    }

    /// The pixels of a grid in it, or at most so far from it (along its axes).
    fn pixels(&self, grid: &Grid<u32>, beyond: f64) -> impl Iterator<Item = usize> {
        let half = self.half.add_scalar(beyond);
        let reach = half.max();
        let span = |c: usize, size: usize| {
            let first = (self.middle[c] - reach).ceil().max(0.0) as usize;
            first..((self.middle[c] + reach).floor() as usize + 1).min(size)
        };
        let (xs, ys, width) = (span(0, grid.width), span(1, grid.height), grid.width);
        ys.flat_map(move |y| xs.clone().map(move |x| (x, y)))
            .filter(move |&(x, y)| {
                let off = Vector2::new(x as f64, y as f64) - self.middle;
                let by_axis = (self.along.transpose() * off).component_div(&half);
                by_axis.norm_squared() <= 1.0
            })
            .map(move |(x, y)| y * width + x)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: usize = 80;
    const CLEAR_PX: f64 = 5.0;

    /// A region 72 pixels wide with label 1 of this lightness, 2 of L* 70 where `shape` says, 3 of L* 30 in the rows from
    /// `dark` on; before and after.
    fn rounded(l: f32, shape: impl Fn(f64, f64) -> bool, dark: usize) -> [Grid<u8>; 2] {
        let inside = |i: usize| (4..76).contains(&(i % SIDE)) && (4..76).contains(&(i / SIDE));
        let whole = Grid {
            width: SIDE,
            height: SIDE,
            data: (0..SIDE * SIDE).collect::<Vec<_>>(),
        };
        let regions = whole.map(|i| u16::from(inside(i)));
        let before = whole.map(|i| {
            let (x, y) = ((i % SIDE) as f64 - 40.0, (i / SIDE) as f64 - 40.0);
            match inside(i) {
                false => 0,
                true if shape(x, y) => 2,
                true if i / SIDE >= dark => 3,
                true => 1,
            }
        });
        let mut after = before.clone();
        let lightness = [l, 70.0, 30.0];
        round_highlights(&mut after, &regions, &lightness, |_| true, CLEAR_PX);
        [before, after]
    }

    /// An ellipse, three to two, with an outline that is off by up to this share of its radius.
    fn wobbly(off: f64) -> impl Fn(f64, f64) -> bool {
        move |x, y| {
            let (u, v) = (x / 18.0, y / 12.0);
            u.hypot(v) < 1.0 + off * (5.0 * v.atan2(u)).sin()
        }
    }

    #[test]
    fn a_highlight_that_is_nearly_round_gets_round() {
        let [before, after] = rounded(50.0, wobbly(0.12), 76);
        let size = |of: &Grid<u8>| of.data.iter().filter(|&&l| l == 2).count() as f64;
        assert!((size(&after) / size(&before) - 1.0).abs() < 0.02);
        // An ellipse of the same area: a wave of 12 % swells it by half its square.
        let radius = (1.0f64 + 0.12 * 0.12 / 2.0).sqrt();
        let (x, y) = (
            |i: usize| (i % SIDE) as f64 - 40.0,
            |i: usize| (i / SIDE) as f64 - 40.0,
        );
        for (i, _) in after.data.iter().enumerate().filter(|(_, l)| **l > 0) {
            let from_middle = (x(i) / 18.0).hypot(y(i) / 12.0) / radius;
            // A pixel and a half, along the short axis.
            if (from_middle - 1.0).abs() > 1.5 / 12.0 {
                assert_eq!(after.data[i] == 2, from_middle < 1.0, "{from_middle}");
            }
        }
        assert_ne!(before, after);
    }

    #[test]
    fn what_has_a_shape_of_its_own_is_no_highlight_or_lies_close_stays() {
        let is_as_it_was = |[before, after]: [Grid<u8>; 2]| before == after;
        assert!(is_as_it_was(rounded(50.0, wobbly(0.5), 76)), "a star");
        assert!(is_as_it_was(rounded(90.0, wobbly(0.12), 76)), "a hollow");
        assert!(
            is_as_it_was(rounded(50.0, wobbly(0.12), 54)),
            "close to another"
        );
        assert!(
            !is_as_it_was(rounded(50.0, wobbly(0.12), 62)),
            "clear of it"
        );
        let at_the_line = |x: f64, y: f64| wobbly(0.12)(x - 26.0, y);
        assert!(is_as_it_was(rounded(50.0, at_the_line, 76)), "at a line");
    }
}
