//! What is out of focus: surroundings that the photographer left vague.

use rayon::prelude::*;

use crate::color::Lab;
use crate::grid::{Grid, squared_distance};

/// An edge in focus changes by so much, in units of L*a*b* per millimeter: two tones a hand keeps apart, within the width of
/// a drawn line. From memory.
const SHARP: f32 = 30.0;
/// Nearer than the first to such an edge, in millimeters, a place is in focus, and beyond the second it is not; from
/// memory.
const NEAR_MM: f64 = 1.0;
const FAR_MM: f64 = 4.0;

/// How far every pixel is out of focus where `here`, 0 to 1; 0 elsewhere, and everywhere in a photo without one sharp edge.
pub fn out_of_focus(lab: &Grid<Lab>, here: &Grid<bool>, mm_per_px: f64) -> Grid<f32> {
    let nowhere = || lab.map(|_| 0.0);
    if !here.data.contains(&true) {
        return nowhere();
    }
    let width = lab.width;
    let least = (SHARP * 2.0 * mm_per_px as f32).powi(2);
    let step = |p: usize, q: usize| match here.data[p] && here.data[q] {
        true => {
            let off = lab.data[p] - lab.data[q];
            off.l * off.l + off.a * off.a + off.b * off.b
        }
        false => 0.0,
    };
    let is_sharp = |i: usize| {
        let inner = |v: usize, size: usize| v > 0 && v + 1 < size;
        here.data[i]
            && inner(i % width, width)
            && inner(i / width, lab.height)
            && step(i - 1, i + 1) + step(i - width, i + width) >= least
    };
    let sharp = Grid {
        width,
        height: lab.height,
        data: (0..lab.data.len()).into_par_iter().map(is_sharp).collect(),
    };
    if !sharp.data.contains(&true) {
        return nowhere();
    }
    let share = |(&away, &here): (&f64, &bool)| {
        let beyond = away.sqrt() * mm_per_px - NEAR_MM;
        let share = (beyond / (FAR_MM - NEAR_MM)).clamp(0.0, 1.0);
        if here { share as f32 } else { 0.0 }
    };
    let away = squared_distance(&sharp);
    Grid {
        width,
        height: lab.height,
        data: away.iter().zip(&here.data).map(share).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: usize = 200;
    const MM_PER_PX: f64 = 0.2;

    /// Dark on the left and light on the right of a border that runs through the middle, as an aperture of this radius (in
    /// millimeters; 0 in focus) shows it: what a disk over the place has of each side (geometrical optics; Born and Wolf,
    /// Principles of Optics, 4.8).
    fn border(circle_mm: f64) -> Grid<Lab> {
        let light = |i: usize| {
            let mm = ((i % SIDE) as f64 + 0.5 - SIDE as f64 / 2.0) * MM_PER_PX;
            let x = match circle_mm > 0.0 {
                true => (mm / circle_mm).clamp(-1.0, 1.0),
                false => mm.signum(),
            };
            0.5 + (x * (1.0 - x * x).sqrt() + x.asin()) / std::f64::consts::PI
        };
        let color = |i: usize| Lab::new(30.0 + 40.0 * light(i) as f32, 0.0, 0.0);
        Grid {
            width: SIDE,
            height: SIDE,
            data: (0..SIDE * SIDE).map(color).collect(),
        }
    }

    /// At so many millimeters right of the middle.
    fn at(vague: &Grid<f32>, mm: f64) -> f32 {
        vague.at((SIDE as f64 / 2.0 + mm / MM_PER_PX) as usize, SIDE / 2)
    }

    #[test]
    fn a_sharp_border_is_in_focus_and_what_is_far_from_it_is_not() {
        let lab = border(0.0);
        let vague = out_of_focus(&lab, &lab.map(|_| true), MM_PER_PX);
        assert_eq!([0.0, -0.9, 0.7].map(|mm| at(&vague, mm)), [0.0; 3]);
        assert_eq!([5.0, -6.0, 15.0].map(|mm| at(&vague, mm)), [1.0; 3]);
        assert!((at(&vague, 2.5) - 0.5).abs() < 0.1);
    }

    #[test]
    fn a_blurred_border_is_not_in_focus_beside_a_sharp_one() {
        let (mut lab, sharp) = (border(3.0), border(0.0));
        lab.data[..SIDE * 50].copy_from_slice(&sharp.data[..SIDE * 50]);
        let vague = out_of_focus(&lab, &lab.map(|_| true), MM_PER_PX);
        assert_eq!(at(&vague, 0.0), 1.0);
        assert_eq!(vague.at(SIDE / 2, 20), 0.0);
    }

    #[test]
    fn nothing_is_told_of_a_photo_without_an_edge_nor_of_closed_cells() {
        let everywhere = |circle: f64, here: bool| {
            let lab = border(circle);
            out_of_focus(&lab, &lab.map(|_| here), MM_PER_PX)
        };
        assert!(everywhere(3.0, true).data.iter().all(|&v| v == 0.0));
        assert!(everywhere(0.0, false).data.iter().all(|&v| v == 0.0));
    }
}
