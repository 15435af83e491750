//! Color as the eye sees it: sRGB as files hold it, CIE L*a*b* (D65) for everything that compares.

mod difference;
mod ink;
mod mean;
mod white;
mod words;

pub(crate) use difference::hue_difference;
pub use difference::{chroma, difference};
pub use ink::Ink;
pub(crate) use ink::STAMPED;
pub use mean::Mean;
pub(crate) use white::{adapt_to_white, brighten_to_paper, estimate_light};
pub(crate) use words::{GRAY_CHROMA, color_name, hue_toward};

use std::fmt;
use std::str::FromStr;

use palette::white_point::D65;
use palette::{FromColor, IntoColor, LinSrgb, Srgb};
use serde::{Deserialize, Serialize};

use crate::grid::{Grid, halves};

/// CIE L*a*b*, white point D65: L* 0 to 100, a* and b* about -110 to 110 inside sRGB.
pub type Lab = palette::Lab<D65, f32>;

/// One color as files hold it, 8 bits per channel; written `#rrggbb`, and read without the number sign and as a name of
/// CSS, too.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Srgb8(pub [u8; 3]);

impl Srgb8 {
    pub const fn new(red: u8, green: u8, blue: u8) -> Self {
        Self([red, green, blue])
    }

    /// CIE L*a*b* by IEC 61966-2-1 (decoding, primaries) and CIE 15 (L*a*b*). In double precision until the end: cube
    /// roots of single precision differ in their last digit from platform to platform, and plans with them.
    pub fn lab(self) -> Lab {
        let [r, g, b] = self.0;
        let exact = palette::Lab::<D65, f64>::from_color(Srgb::new(r, g, b).into_linear::<f64>());
        Lab::new(exact.l as f32, exact.a as f32, exact.b as f32)
    }

    /// The nearest sRGB color; what lies outside sRGB is clipped per channel.
    pub fn from_lab(lab: Lab) -> Self {
        let linear: LinSrgb<f32> = lab.into_color();
        let rgb: Srgb<u8> = Srgb::from_linear(linear);
        Self([rgb.red, rgb.green, rgb.blue])
    }
}

impl fmt::Display for Srgb8 {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [r, g, b] = self.0;
        write!(f, "#{r:02x}{g:02x}{b:02x}")
    }
}

impl FromStr for Srgb8 {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let plain = text.trim();
        // The names of CSS Color Module Level 4, 6.1, without regard to case.
        if let Some(named) = palette::named::from_str(&plain.to_ascii_lowercase()) {
            return Ok(Self([named.red, named.green, named.blue]));
        }
        let digits = plain.strip_prefix('#').unwrap_or(plain);
        if digits.len() != 6 || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
            return Err(format!(
                "\"{text}\" is not a color; write six digits 0-9, a-f, for example #d94f2b, or a color name of CSS, for \
                 example peru"
            ));
        }
        let channel = |at: usize| {
            u8::from_str_radix(&digits[at..at + 2], 16).expect("two hexadecimal digits")
        };
        Ok(Self([channel(0), channel(2), channel(4)]))
    }
}

impl TryFrom<String> for Srgb8 {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<Srgb8> for String {
    fn from(color: Srgb8) -> Self {
        color.to_string()
    }
}

/// Lightness at which [`unshaded`] compares, in L*.
const MIDDLE_L: f32 = 50.0;

/// a* and b* as the same surface would have them in the light that brings it to L* 50: scaling a color in linear light
/// scales a* and b* with L* + 16 (CIE 15, from the cube roots in its definition, above L* 8).
pub(crate) fn unshaded(lab: Lab) -> [f32; 2] {
    let scale = (MIDDLE_L + 16.0) / (lab.l.max(0.0) + 16.0);
    [lab.a * scale, lab.b * scale]
}

/// The mean of every 2 x 2 block over those of its pixels that `counts` marks (over all, where it marks none), in
/// L*a*b*; an odd last column or row is averaged over what is there.
///
/// The mean is taken in sRGB code values: at this scale neighboring pixels differ little, so the mean in linear
/// light would be the same within a rounding step.
pub fn halved_lab(picture: &Grid<[u8; 3]>, counts: &Grid<bool>) -> Grid<Lab> {
    halves(picture.width, picture.height, |block| {
        let marked = block.map(|i| counts.data[i]);
        let all = !marked.contains(&true);
        let (mut sum, mut n) = ([0u16; 3], 0);
        for (i, marked) in block.into_iter().zip(marked) {
            if marked || all {
                n += 1;
                for (sum, v) in sum.iter_mut().zip(picture.data[i]) {
                    *sum += u16::from(v);
                }
            }
        }
        Srgb8(sum.map(|s| ((s + n / 2) / n) as u8)).lab()
    })
}

/// A color with straight alpha on white paper.
pub fn on_white([r, g, b, alpha]: [u8; 4]) -> [u8; 3] {
    let a = u16::from(alpha);
    [r, g, b].map(|v| ((u16::from(v) * a + 255 * (255 - a)) / 255) as u8)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colors_are_written_as_they_are_read_and_anything_else_is_refused() {
        assert_eq!("#D94f2b".parse::<Srgb8>().unwrap().to_string(), "#d94f2b");
        // Without the number sign, and by two names of CSS Color Module Level 4, 6.1.
        for (written, is) in [
            ("d94f2b", "#d94f2b"),
            ("Peru", "#cd853f"),
            ("rebeccapurple", "#663399"),
            (" white ", "#ffffff"),
        ] {
            assert_eq!(written.parse::<Srgb8>().unwrap().to_string(), is);
        }
        for bad in [
            "#d94f2", "#d94f2bb", "#d94f2g", "", "#é4f2b", "#peru", "perux",
        ] {
            assert!(bad.parse::<Srgb8>().is_err(), "{bad}");
        }
    }
}
