//! White point: the color of the light a photo was taken under, and taking it out again.

use palette::chromatic_adaptation::adaptation_matrix;
use palette::convert::Convert;
use palette::lms::matrix::Bradford;
use palette::white_point::D65;
use palette::{FromColor, LinSrgb, Srgb, Xyz};
use rayon::prelude::*;

use super::Srgb8;

/// Minkowski norm of the estimate; 6 is the value found best by Finlayson and Trezzi (2004).
const MINKOWSKI_NORM: i32 = 6;

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
}
