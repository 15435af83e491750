//! White: the color of the light a photo was taken under, and taking it out again; and how bright what is white in it is.
//! L*a*b* tells colors in relation to a white (CIE 15). On a card that is the paper, in a photo what is brightest in it.

use std::ops::Range;

use palette::chromatic_adaptation::adaptation_matrix;
use palette::convert::Convert;
use palette::lms::matrix::Bradford;
use palette::white_point::D65;
use palette::{FromColor, LinSrgb, Srgb, Xyz};
use rayon::prelude::*;

use super::Srgb8;

/// Minkowski norm of the estimate; 6 is the value found best by Finlayson and Trezzi (2004).
const MINKOWSKI_NORM: i32 = 6;

/// Share of a photo that may be brighter than its white: that may be glints, or what the sun shines on. The share at which
/// the "simplest color balance" (Limare, Lisani, Morel, Petro and Sbert 2011) begins; from memory.
const BRIGHTER: f64 = 0.015;
/// A photo's white is the mean of what is brighter than all but this share, glints left out: a share is steadier than its
/// darkest pixel. From memory.
const AS_BRIGHT: f64 = 0.045;
/// As bright as this, in parts of the brightest a file can hold, a photo's brightest is meant to be white; and as dark as
/// this it is not: then nothing in it is. From memory.
const WHITE: f64 = 0.9;
const NO_WHITE: f64 = 0.7;
/// What is white even under a warm lamp: the least of its channels is at least this part of the most. From memory.
const NEUTRAL: f64 = 0.75;

/// The color of the light by "shades of gray" (Finlayson and Trezzi 2004): the Minkowski mean of the linear picture.
/// Returns linear sRGB with the largest channel 1, or `None` for a black picture.
pub fn estimate_light(pixels: &[[u8; 3]]) -> Option<LinSrgb<f32>> {
    let power: [f64; 256] = std::array::from_fn(|v| {
        let linear: LinSrgb<f64> = Srgb::new(v as u8, 0, 0).into_format::<f64>().into_linear();
        linear.red.powi(MINKOWSKI_NORM)
    });
    let mut sum = [0.0; 3];
    for pixel in pixels {
        for c in 0..3 {
            sum[c] += power[usize::from(pixel[c])];
        }
    }
    let light = sum.map(|s| (s / pixels.len().max(1) as f64).powf(1.0 / f64::from(MINKOWSKI_NORM)));
    let most = light.into_iter().fold(0.0, f64::max);
    (most > 0.0).then(|| {
        let [r, g, b] = light.map(|v| (v / most) as f32);
        LinSrgb::new(r, g, b)
    })
}

/// Changes every pixel so that `light` (linear sRGB) becomes white: Bradford adaptation (Lam 1985) to D65.
pub fn adapt_to_white(pixels: &mut [[u8; 3]], light: LinSrgb<f32>) {
    let white: Xyz<D65, f32> = Xyz::from_color(light);
    let matrix = adaptation_matrix::<f32, D65, D65, Bradford>(Some(white), None);
    pixels.par_chunks_mut(4096).for_each(|chunk| {
        for pixel in chunk {
            let [r, g, b] = *pixel;
            let xyz: Xyz<D65, f32> = Xyz::from_color(Srgb::new(r, g, b).into_linear::<f32>());
            let adapted: LinSrgb<f32> = LinSrgb::from_color(matrix.convert(xyz));
            let rgb: Srgb<u8> = Srgb::from_linear(adapted);
            *pixel = Srgb8([rgb.red, rgb.green, rgb.blue]).0;
        }
    });
}

/// Makes `pixels` brighter, in linear light, so that what is white in all that the photo shows becomes the white of paper,
/// as far as nothing else becomes too bright for a file. A photo without white stays as it is; where that can't be told for
/// sure, it changes less.
pub fn brighten_to_paper(pixels: &mut [[u8; 3]], shown: &[[u8; 3]]) {
    let gain = gain_to_paper(shown);
    if gain <= 1.0 {
        return;
    }
    let brighter: [u8; 256] = std::array::from_fn(|v| {
        let light: LinSrgb<f64> = Srgb::new(v as u8, 0, 0).into_linear();
        Srgb::<u8>::from_linear(light * gain).red
    });
    pixels.par_chunks_mut(4096).for_each(|chunk| {
        for channel in chunk.as_flattened_mut() {
            *channel = brighter[usize::from(*channel)];
        }
    });
}

/// How much brighter a photo must be for that, 1 or more.
fn gain_to_paper(shown: &[[u8; 3]]) -> f64 {
    let (mut all, mut neutral) = ([0usize; 256], [0usize; 256]);
    for &[r, g, b] in shown {
        let most = r.max(g).max(b);
        all[usize::from(most)] += 1;
        if f64::from(r.min(g).min(b)) >= NEUTRAL * f64::from(most) {
            neutral[usize::from(most)] += 1;
        }
    }
    let share = |of: f64| (of * shown.len() as f64) as usize;
    let ranks = share(BRIGHTER)..share(AS_BRIGHT).max(share(BRIGHTER) + 1);
    let sure = (mean_of_brightest(&neutral, &ranks) - NO_WHITE) / (WHITE - NO_WHITE);
    if sure <= 0.0 {
        return 1.0;
    }
    let white = mean_of_brightest(&all, &ranks);
    let white: LinSrgb<f64> = Srgb::new(white, white, white).into_linear();
    white.red.powf(-sure.min(1.0))
}

/// The mean of those values that have these ranks from the brightest on, from 0 to 1; what there is too little of counts as
/// black. (A quantile would be a whole number, and plans change with less than one.)
fn mean_of_brightest(count: &[usize; 256], ranks: &Range<usize>) -> f64 {
    let (mut sum, mut brighter) = (0, 0);
    for v in (0..256).rev() {
        let (from, to) = (
            brighter.max(ranks.start),
            (brighter + count[v]).min(ranks.end),
        );
        sum += v * to.saturating_sub(from);
        brighter += count[v];
    }
    sum as f64 / (255 * ranks.len()) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gray_card_under_a_warm_lamp_becomes_gray() {
        let lamp = [[230, 180, 120], [115, 88, 57]];
        let light = estimate_light(&lamp).unwrap();
        let mut pixels = lamp;
        adapt_to_white(&mut pixels, light);
        for [r, g, b] in pixels {
            assert!(r.abs_diff(g) <= 3 && g.abs_diff(b) <= 3, "{r} {g} {b}");
        }
        assert_eq!(estimate_light(&[[0, 0, 0]]), None);
    }

    /// A photo of something brown and dark on paper that is not quite white in it.
    fn brown_on_paper(bright: f64) -> Vec<[u8; 3]> {
        let of = |color: [f64; 3]| color.map(|v| (v * bright).round() as u8);
        let mut all = vec![of([244.0; 3]); 600];
        all.extend([of([160.0, 110.0, 60.0]); 390]);
        all.extend([of([30.0, 26.0, 24.0]); 100]);
        all
    }

    #[test]
    fn a_photo_taken_darker_shows_the_same_colors_on_paper() {
        let lit = |bright: f64| {
            let shown = brown_on_paper(bright);
            let mut pixels = shown.clone();
            brighten_to_paper(&mut pixels, &shown);
            pixels
        };
        let (plain, darker) = (lit(1.0), lit(0.95));
        assert_eq!(plain[0], [255; 3]);
        for (p, q) in plain.iter().zip(&darker) {
            for c in 0..3 {
                // The toe of sRGB's curve is no power, and files hold whole numbers.
                assert!(p[c].abs_diff(q[c]) <= 2, "{p:?} {q:?}");
            }
        }
    }

    #[test]
    fn glints_are_no_paper_and_what_has_no_white_stays_as_it_is() {
        let red = vec![[225, 40, 30]; 1000];
        for shown in [brown_on_paper(0.5), red, Vec::new()] {
            let mut pixels = shown.clone();
            brighten_to_paper(&mut pixels, &shown);
            assert_eq!(pixels, shown);
        }
        // One pixel in a hundred is brighter than the paper.
        let mut shown = brown_on_paper(0.95);
        let mut plain = shown.clone();
        brighten_to_paper(&mut plain, &shown);
        shown.extend([[255; 3]; 10]);
        let mut glinting = shown.clone();
        brighten_to_paper(&mut glinting, &shown);
        assert_eq!(plain, glinting[..plain.len()]);
    }
}
