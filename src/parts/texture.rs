//! Texture that has a color of its own: what is told apart from shading by its hue is taken out before the form is
//! fitted.
//!
//! Shading changes how much light there is and not its color (Funt, Drew and Brockington 1992, "Recovering shading from
//! color images"). In L*a*b* that means: L* + 16, a* and b* all go with the same factor (CIE 15, from the cube roots in
//! its definition), so that a*/(L* + 16) and b*/(L* + 16) stay. Where they do not stay, within the scale of the part,
//! there is another pigment: streaks, mottles, veins. How much lighter or darker that pigment is, is learned over the
//! whole part by regression, and taken away.

use nalgebra::{Matrix2, Vector2};

use crate::color::Lab;

use super::form::{BISQUARE, Patch, bisquare, median, wide_fit};

/// Offset of L* in the definition of CIE 1976 L*a*b*.
const OFFSET_L: f32 = 16.0;
/// Deviations up to this, in units of L*a*b*, may be noise of the camera; from memory.
const NOISE: f32 = 1.5;

/// The colors of a patch without what differs from shading within `wide_px`. What lies far off (gloss, seeds, another
/// thing) is left as it is: the fit's weights deal with that.
pub fn without_pigment(patch: &Patch, wide_px: f64) -> Vec<Lab> {
    let wide = wide_fit(patch, wide_px);
    let departs = |i: usize| {
        let (seen, fitted) = (patch.lab[i], wide[i]);
        let light = seen.l - fitted.l;
        let share = light / (fitted.l + OFFSET_L).max(1.0);
        let pigment = Vector2::new(
            seen.a - fitted.a * (1.0 + share),
            seen.b - fitted.b * (1.0 + share),
        );
        (light, pigment)
    };
    let all: Vec<(f32, Vector2<f32>)> = (0..patch.lab.len())
        .filter(|&i| patch.evidence[i])
        .map(departs)
        .collect();
    let middle = |of: fn(&(f32, Vector2<f32>)) -> f32| median(all.iter().map(of)).unwrap_or(0.0);
    let far_pigment = BISQUARE * middle(|d| d.1.norm()).max(NOISE);
    let far_light = BISQUARE * middle(|d| d.0.abs()).max(NOISE);
    // Lightness that goes with the pigment: weighted least squares with a ridge as large as the noise.
    let (mut square, mut mixed, mut sum) = (Matrix2::zeros(), Vector2::zeros(), 0.0f32);
    for &(light, pigment) in &all {
        let weight = bisquare(pigment.norm() / far_pigment) * bisquare(light.abs() / far_light);
        square += pigment * pigment.transpose() * weight;
        mixed += pigment * (light * weight);
        sum += weight;
    }
    let slope = (square + Matrix2::identity() * (NOISE * NOISE * sum))
        .try_inverse()
        .map_or(Vector2::zeros(), |inverse| inverse * mixed);
    (0..patch.lab.len())
        .map(|i| {
            if !patch.mask[i] {
                return patch.lab[i];
            }
            let (_, pigment) = departs(i);
            let taken = pigment * bisquare(pigment.norm() / far_pigment);
            patch.lab[i] - Lab::new(slope.dot(&taken), taken.x, taken.y)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use palette::{FromColor, LinSrgb};

    use super::*;

    const SIZE: usize = 160;

    /// A ball in linear light under a lamp from the upper left, with a glint where `glint`; its surface reflects
    /// a brown times what `pigment` gives for a place.
    fn ball(glint: bool, pigment: impl Fn(f32, f32) -> [f32; 3]) -> (Vec<Lab>, Vec<bool>) {
        (0..SIZE * SIZE)
            .map(|i| {
                let (x, y) = (
                    (i % SIZE) as f32 / 80.0 - 1.0,
                    (i / SIZE) as f32 / 80.0 - 1.0,
                );
                let z = (1.0 - x * x - y * y).max(0.0).sqrt();
                let light = 0.15 + 0.85 * (0.8 * z - 0.4 * (x + y)).max(0.0);
                let shine = if glint && (x + 0.4).hypot(y + 0.4) < 0.15 {
                    0.5
                } else {
                    0.0
                };
                let [r, g, b] = pigment(x, y);
                let seen = LinSrgb::new(0.5 * r, 0.2 * g, 0.1 * b) * light
                    + LinSrgb::new(shine, shine, shine);
                (Lab::from_color(palette::Xyz::from_color(seen)), z > 0.0)
            })
            .unzip()
    }

    fn taken_out(lab: &[Lab], mask: &[bool]) -> Vec<Lab> {
        let patch = Patch {
            width: SIZE,
            height: SIZE,
            lab,
            evidence: mask,
            mask,
        };
        without_pigment(&patch, 80.0)
    }

    fn mean_off(one: &[Lab], other: &[Lab], mask: &[bool]) -> f32 {
        let inside = (0..mask.len()).filter(|&i| mask[i]);
        let off: Vec<f32> = inside.map(|i| (one[i].l - other[i].l).abs()).collect();
        off.iter().sum::<f32>() / off.len() as f32
    }

    #[test]
    fn mottles_of_another_hue_go_and_the_form_stays() {
        let mottled = |x: f32, y: f32| {
            let m = (9.0 * x).sin() * (8.0 * y + 1.0).cos();
            [1.0 + 0.1 * m, 1.0 - 0.35 * m, 1.0 + 0.05 * m]
        };
        let (truth, mask) = ball(false, |_, _| [1.0; 3]);
        let (seen, _) = ball(false, mottled);
        let before = mean_off(&seen, &truth, &mask);
        let after = mean_off(&taken_out(&seen, &mask), &truth, &mask);
        assert!(after < 0.4 * before, "{before} {after}");
    }

    #[test]
    fn shading_and_a_glint_are_no_pigment() {
        let (seen, mask) = ball(true, |_, _| [1.0; 3]);
        let off = mean_off(&taken_out(&seen, &mask), &seen, &mask);
        assert!(off < 0.5, "{off}");
    }
}
