//! Plain words for colors.

use super::{Lab, chroma, hue_difference};

/// Chroma below which a color is called gray; from memory.
pub const GRAY_CHROMA: f32 = 9.0;
/// How far around the hue circle the next hue is looked for, in degrees; from memory.
const NEXT_HUE: f32 = 32.0;

/// A plain word for a color: its hue, or gray where it has little.
pub fn color_name(lab: Lab) -> &'static str {
    match lab.l {
        _ if chroma(lab) >= GRAY_CHROMA => hue_name(lab),
        l if l > 85.0 => "white",
        l if l < 20.0 => "black",
        _ => "gray",
    }
}

/// The hue `to` leaves `from` toward: its own, or the next one on where both have the same name.
pub fn hue_toward(from: Lab, to: Lab) -> &'static str {
    if hue_name(to) != hue_name(from) {
        return hue_name(to);
    }
    let turn = NEXT_HUE.to_radians().copysign(hue_difference(from, to));
    let (sin, cos) = turn.sin_cos();
    hue_name(Lab::new(
        to.l,
        to.a * cos - to.b * sin,
        to.a * sin + to.b * cos,
    ))
}

/// A plain word for a hue, by the CIE hue angle of L*a*b*; from memory.
fn hue_name(lab: Lab) -> &'static str {
    let angle = lab.b.atan2(lab.a).to_degrees().rem_euclid(360.0);
    match angle {
        a if a < 20.0 => "pink",
        a if a < 48.0 => "red",
        a if a < 75.0 => "orange",
        a if a < 105.0 => "yellow",
        a if a < 170.0 => "green",
        a if a < 220.0 => "blue-green",
        a if a < 290.0 => "blue",
        a if a < 335.0 => "violet",
        _ => "pink",
    }
}
