//! Ink on paper: a filter, by the law of Beer (1852) and Lambert (1760).
//!
//! Light goes through the ink, is thrown back by the paper and goes out through the ink again. What is left of it, per
//! channel of linear light, is the ink's transmittance; layers multiply. Real paper drinks a second coat more evenly
//! than the law says, so that the second coat darkens less than the first; where it has not been measured, the first
//! coat's transmittance is raised to [`SECOND_COAT`] instead of 2.

use palette::{LinSrgb, Srgb};

use super::Srgb8;

/// Exponent of the first coat's transmittance that stands for two coats where those were not measured; from memory.
pub const SECOND_COAT: f32 = 1.6;

/// Stamped ink, dry: not quite black. From memory.
pub const STAMPED: Srgb8 = Srgb8::new(0x26, 0x24, 0x2a);

/// What an ink leaves of the light, per channel of linear sRGB, 0 (black) to 1 (no ink).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ink([f32; 3]);

fn linear(color: Srgb8) -> [f32; 3] {
    let [r, g, b] = color.0;
    let c: LinSrgb<f32> = Srgb::new(r, g, b).into_linear();
    [c.red, c.green, c.blue]
}

impl Ink {
    /// The ink that turns `paper` into `color`. It never brightens: a channel lighter than the paper's is taken for the
    /// paper's, and on paper that is black in a channel nothing can be told.
    pub fn of(color: Srgb8, paper: Srgb8) -> Self {
        let (color, paper) = (linear(color), linear(paper));
        Self([0, 1, 2].map(|c| {
            if paper[c] > 0.0 {
                (color[c] / paper[c]).min(1.0)
            } else {
                1.0
            }
        }))
    }

    /// Two coats of an ink of which only one was measured.
    pub fn twice(self) -> Self {
        Self(self.0.map(|t| t.powf(SECOND_COAT)))
    }

    /// This ink with another over it; the order does not matter.
    pub fn under(self, other: Self) -> Self {
        Self([0, 1, 2].map(|c| self.0[c] * other.0[c]))
    }

    /// The color of the ink on `paper`.
    pub fn on(self, paper: Srgb8) -> Srgb8 {
        let paper = linear(paper);
        let [r, g, b] = [0, 1, 2].map(|c| self.0[c] * paper[c]);
        let color: Srgb<u8> = Srgb::from_linear(LinSrgb::new(r, g, b));
        Srgb8::new(color.red, color.green, color.blue)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHITE: Srgb8 = Srgb8::new(255, 255, 255);

    /// A worked example of the law: absorbances add. 0.301 and 0.699 (transmittances 0.5 and 0.2) make 1.0, which leaves
    /// a tenth of the light.
    #[test]
    fn absorbances_of_layers_add() {
        let (half, fifth) = (Ink([0.5; 3]), Ink([0.2; 3]));
        let both = half.under(fifth);
        let absorbance = |ink: Ink| -ink.0[0].log10();
        assert!((absorbance(both) - absorbance(half) - absorbance(fifth)).abs() < 1e-6);
        assert!((absorbance(both) - 1.0).abs() < 1e-6);
        // Linear 0.1 is 89 of 255 in sRGB (IEC 61966-2-1).
        assert_eq!(both.on(WHITE), Srgb8::new(89, 89, 89));
    }

    #[test]
    fn no_ink_leaves_the_paper_and_black_ink_nothing() {
        for paper in [WHITE, Srgb8::new(240, 225, 190), Srgb8::new(0, 40, 0)] {
            assert_eq!(Ink::of(paper, paper).on(paper), paper);
            let black = Ink::of(Srgb8::new(0, 0, 0), WHITE);
            assert_eq!(black.on(paper), Srgb8::new(0, 0, 0));
        }
    }

    #[test]
    fn a_color_comes_back_on_the_paper_it_was_measured_on_and_darker_on_darker_paper() {
        let cream = Srgb8::new(245, 235, 205);
        let color = Srgb8::new(180, 120, 60);
        assert_eq!(Ink::of(color, cream).on(cream), color);
        let on_white = Ink::of(color, cream).on(WHITE);
        assert!(
            on_white.0.iter().zip(color.0).all(|(w, c)| *w >= c),
            "{on_white}"
        );
    }

    #[test]
    fn an_overlay_is_never_lighter_than_what_lies_under_it() {
        let levels = [0u8, 30, 90, 160, 220, 255];
        for &r in &levels {
            for &g in &levels {
                for &b in &levels {
                    let under = Srgb8::new(r, g, b);
                    for over in [Srgb8::new(b, r, g), Srgb8::new(255, g, r), WHITE] {
                        let ink = Ink::of(under, WHITE);
                        let seen = ink.under(Ink::of(over, WHITE)).on(WHITE);
                        assert!(
                            seen.0.iter().zip(under.0).all(|(s, u)| *s <= u),
                            "{under} {over} {seen}"
                        );
                        assert!(seen.lab().l <= under.lab().l + 0.01);
                        assert!(ink.twice().on(WHITE).lab().l <= under.lab().l + 0.01);
                    }
                }
            }
        }
    }
}
