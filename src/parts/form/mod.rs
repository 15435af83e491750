//! Form: the light and shade that the shape of a part gives it, texture and gloss aside.
//!
//! Around every place a quadric is fitted to the colors that are evidence for the part (locally weighted regression,
//! Cleveland 1979; moving least squares, Lancaster and Salkauskas 1981): a second-order fit follows a rounded form to
//! the rim without flattening it, where a blur of the same width would. What lies far off the fit counts less in the
//! next one (bisquare weights, Cleveland 1979), so that seeds, glints and fuzz drop out and the edge of a cast shadow
//! stays one edge. Where there is no evidence the fit carries on from what is near.
//!
//! The scale is a share of the part's width, and the fit is made on a grid as coarse as that scale allows: a large
//! part costs no more than a small one.

mod blocks;
mod quadric;
mod relief;
mod robust;

use crate::color::Lab;
use crate::grid::Grid;

pub use robust::{BISQUARE, bisquare, median};

use blocks::Blocks;
use relief::{restore_relief, scatter};
use robust::fit;

/// Steps of the coarse grid in one standard deviation of the weights.
const STEPS: f64 = 3.0;
/// Rounds of fitting, the first with all weights equal.
const ROUNDS: usize = 4;
/// The same for a fit that only tells what departs from it.
const WIDE_ROUNDS: usize = 2;

/// The form of one part.
pub struct Form {
    /// Color per pixel of the window, smooth.
    pub color: Vec<Lab>,
    /// What the photo scatters about the form, at the scale of the coarse grid, in L*: the median of what differs from
    /// one block to the next. What departs from the fit smoothly is form that it is too wide for.
    pub scatter: f32,
}

/// A part cut out of the frame, `width * height` pixels.
pub struct Patch<'a> {
    pub width: usize,
    pub height: usize,
    /// Colors of the photo.
    pub lab: &'a [Lab],
    /// Which pixels show the part.
    pub evidence: &'a [bool],
    /// Which pixels are the part.
    pub mask: &'a [bool],
}

/// Fits the form of a part. `body` is its color without pigment (see `texture.rs`), `sigma_px` the scale. What is
/// left over of the photo and as wide as `least_px`, smoothed by `relief_px`, stays. Some pixel must be evidence. Returns
/// the form, and the colors of the fit alone, without what stayed.
pub fn fit_form(
    patch: &Patch,
    body: &[Lab],
    sigma_px: f64,
    relief_px: f64,
    least_px: f64,
) -> (Form, Vec<Lab>) {
    let block = block_of(sigma_px);
    let mut blocks = Blocks::of_patch(patch, body, block);
    let mut fitted = fit(&blocks, sigma_px / block as f64, ROUNDS);
    let scatter = scatter(&blocks, &fitted, relief_px / block as f64);
    let smooth = spread_out(&blocks, fitted.clone(), block, patch);
    blocks.color = Blocks::of_patch(patch, patch.lab, block).color;
    restore_relief(
        &blocks,
        &mut fitted,
        scatter,
        relief_px / block as f64,
        least_px / block as f64,
    );
    let color = spread_out(&blocks, fitted, block, patch);
    (Form { color, scatter }, smooth)
}

/// What the photo scatters about a form of that scale, in L*; see [`Form::scatter`].
pub fn scatter_about_form(patch: &Patch, body: &[Lab], sigma_px: f64, relief_px: f64) -> f32 {
    let block = block_of(sigma_px);
    let blocks = Blocks::of_patch(patch, body, block);
    let fitted = fit(&blocks, sigma_px / block as f64, WIDE_ROUNDS);
    scatter(&blocks, &fitted, relief_px / block as f64)
}

/// Side of the blocks for a scale, in pixels.
fn block_of(sigma_px: f64) -> usize {
    ((sigma_px / STEPS).round() as usize).max(1)
}

/// The fit alone, of the photo as it is.
pub fn wide_fit(patch: &Patch, sigma_px: f64) -> Vec<Lab> {
    let block = block_of(sigma_px);
    let blocks = Blocks::of_patch(patch, patch.lab, block);
    let fitted = fit(&blocks, sigma_px / block as f64, WIDE_ROUNDS);
    spread_out(&blocks, fitted, block, patch)
}

/// The colors of the blocks brought to the pixels of the part, bilinearly between the middles of the blocks.
fn spread_out(blocks: &Blocks, fitted: Vec<Lab>, block: usize, patch: &Patch) -> Vec<Lab> {
    let (width, height) = (patch.width, patch.height);
    let fitted = Grid {
        width: blocks.width,
        height: blocks.height,
        data: fitted,
    };
    let at = |v: usize| (v as f64 + 0.5) / block as f64;
    let mut color = vec![Lab::new(0.0, 0.0, 0.0); width * height];
    for (i, color) in color.iter_mut().enumerate().filter(|(i, _)| patch.mask[*i]) {
        *color = fitted.interpolated(at(i % width), at(i / width));
    }
    color
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::difference;

    /// A ball of radius 100 pixels under a lamp, its lightness by the eye, with seeds where `seeds`.
    fn ball(seeds: bool) -> (Vec<Lab>, Vec<f32>, Vec<bool>) {
        let size = 200;
        let mut lab = Vec::new();
        let mut truth = Vec::new();
        let mut mask = Vec::new();
        for i in 0..size * size {
            let (x, y) = ((i % size) as f32 - 99.5, (i / size) as f32 - 99.5);
            let q = 1.0 - (x * x + y * y) / 1e4;
            let lit = 0.3 + 0.6 * (q.max(0.0).sqrt() * 0.6 - (x + y) / 100.0 * 0.5).max(0.0);
            let l = 116.0 * lit.cbrt() - 16.0;
            let seed = seeds && (x + 1000.0) % 25.0 < 4.0 && (y + 1000.0) % 25.0 < 5.0;
            truth.push(l);
            lab.push(Lab::new(if seed { l + 25.0 } else { l }, 40.0, 30.0));
            mask.push(q > 0.0);
        }
        (lab, truth, mask)
    }

    fn patch<'a>(lab: &'a [Lab], evidence: &'a [bool], mask: &'a [bool]) -> Patch<'a> {
        Patch {
            width: 200,
            height: 200,
            lab,
            evidence,
            mask,
        }
    }

    #[test]
    fn a_ball_keeps_its_form_and_loses_its_seeds() {
        for (seeds, most) in [(false, 0.8), (true, 1.2)] {
            let (lab, truth, mask) = ball(seeds);
            let (form, _) = fit_form(&patch(&lab, &mask, &mask), &lab, 14.0, 5.0, 15.0);
            let inside = (0..mask.len()).filter(|&i| mask[i]);
            let (sum, n) = inside.fold((0.0, 0), |(s, n), i| {
                (s + (form.color[i].l - truth[i]).abs(), n + 1)
            });
            assert!(sum / (n as f32) < most, "{seeds}: {}", sum / n as f32);
        }
    }

    #[test]
    fn a_ridge_is_form_and_grain_is_scatter() {
        let mask = vec![true; 200 * 200];
        let made = |l: &dyn Fn(usize, usize) -> f32| -> Vec<Lab> {
            let pixel = |i: usize| Lab::new(l(i % 200, i / 200), 40.0, 30.0);
            (0..mask.len()).map(pixel).collect()
        };
        // Both depart from the wide fit by up to 12 L*: one over 25 px, the other from one patch of 5 px to the next.
        let ridges = made(&|x, _| 50.0 + 12.0 * (x as f32 / 25.0).sin());
        let grain = made(&|x, y| {
            50.0 + if (x / 5 * 7 + y / 5 * 13) % 3 == 0 {
                12.0
            } else {
                -6.0
            }
        });
        let scatter = |lab: &[Lab]| {
            fit_form(&patch(lab, &mask, &mask), lab, 14.0, 5.6, 15.0)
                .0
                .scatter
        };
        assert!(scatter(&ridges) < 1.0, "{}", scatter(&ridges));
        assert!(scatter(&grain) > 3.0, "{}", scatter(&grain));
    }

    #[test]
    fn where_the_photo_shows_something_else_the_form_carries_on() {
        let (lab, truth, mask) = ball(false);
        let evidence: Vec<bool> = (0..mask.len()).map(|i| mask[i] && i % 200 < 150).collect();
        let (form, _) = fit_form(&patch(&lab, &evidence, &mask), &lab, 14.0, 5.0, 15.0);
        for i in (0..mask.len()).filter(|&i| mask[i]) {
            assert!((form.color[i].l - truth[i]).abs() < 25.0);
            assert!(form.color[i].l.is_finite());
        }
    }

    /// A stem of which the photo shows the first third: the fit on wider and wider blocks must reach its far end.
    #[test]
    fn a_long_thin_part_carries_on_to_its_end() {
        for width in [3, 8] {
            let length = 750;
            let mask = vec![true; width * length];
            let evidence: Vec<bool> = (0..mask.len()).map(|i| i / width < length / 3).collect();
            let lab = vec![Lab::new(60.0, -30.0, 25.0); mask.len()];
            let stem = Patch {
                width,
                height: length,
                lab: &lab,
                evidence: &evidence,
                mask: &mask,
            };
            let (form, _) = fit_form(&stem, &lab, 2.5, 1.0, 3.0);
            for (i, color) in form.color.iter().enumerate() {
                let off = difference(*color, lab[0]);
                assert!(off < 0.5, "{off} at {}", i / width);
            }
        }
    }

    /// A disk, lighter by 30 L* and too small for the fit to follow: it stays in the form and is not in the fit alone.
    #[test]
    fn a_relief_is_in_the_form_and_not_in_the_fit_alone() {
        let mask = vec![true; 200 * 200];
        let from_middle = |i: usize| ((i % 200) as f32 - 99.5).hypot((i / 200) as f32 - 99.5);
        let lab: Vec<Lab> = (0..mask.len())
            .map(|i| Lab::new(if from_middle(i) < 12.0 { 80.0 } else { 50.0 }, 40.0, 30.0))
            .collect();
        let (form, fitted) = fit_form(&patch(&lab, &mask, &mask), &lab, 24.0, 5.0, 15.0);
        let middle = 100 * 200 + 100;
        assert!(form.color[middle].l > 72.0, "{}", form.color[middle].l);
        assert!(fitted[middle].l < 58.0, "{}", fitted[middle].l);
        assert!((form.color[0].l - fitted[0].l).abs() < 0.1);
    }
}
