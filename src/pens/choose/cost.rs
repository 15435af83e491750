//! What a choice costs, in CIEDE2000 units: every band by itself, every step of a ramp, and the order of lightness where
//! parts touch.
//!
//! A band by itself: its color difference; hue and chroma that run away from it; gray for a color; a worn pen; a pen
//! without refill, by area and coats; what a coat must be better by than bare paper, and a second one than a single; a
//! pen that another group has. A band weighs half evenly, half by its share of the area.
//!
//! A step, from a band to the next darker one of its ramp: a pen misses its band by some way in lightness, chroma and
//! hue, and where two neighbors miss theirs by the same way the step between them is the photo's. So a step costs
//! [`STEP_COST`] times the length of the difference of both misses, in the units of CIE94 (CIE 116:1995: chroma counts
//! less the more there is, hue a little less). A ramp that is lighter than the photo as a whole costs no step, one whose
//! shadow turns to another hue than the photo's does. It weighs as its two bands on average.
//!
//! Order: where two parts touch and the photo is clearly lighter on one side, so must be the pens: a choice that keeps
//! that comes before every one that does not. So does one by which every border shows that no drawn line marks. Below
//! that the cost grows gradually, so that nothing hangs on a threshold.

use crate::color::{Lab, chroma, difference, hue_difference, hue_toward};
use crate::pens::{Condition, Pen, Pick};
use crate::sections::{Band, Touching};

/// Hue difference (H*ab) a pen may have from its band before it shows as another hue; from memory.
const HUE_TOLERANCE: f32 = 9.0;
/// Chroma a pen may have beyond or below its band's before it shows as too strong or too dull; from memory.
const CHROMA_TOLERANCE: f32 = 14.0;
/// Cost per unit of hue beyond the tolerance, and of chroma: a shadow that is too strong is still of its family. From
/// memory.
const HUE_DRIFT_COST: f32 = 0.5;
const CHROMA_DRIFT_COST: f32 = 0.2;
/// Cost of gray for what reads as colored; half a color's chroma is enough to read as the color. Below the first chroma
/// nothing does, from the second on all does. From memory.
const GRAY_COST: f32 = 8.0;
const COLORED_CHROMA: [f32; 2] = [6.0, 12.0];
/// Cost of a worn pen; from memory.
const WORN_COST: f32 = 3.0;
/// Cost of a pen without refill on a band of this area (square millimeters) or more; in proportion below. From memory.
const NO_REFILL_COST: f32 = 4.0;
const LARGE_AREA_MM2: f32 = 1500.0;
/// A coat must be better than bare paper by this much, in CIEDE2000: white things stay white, and a large pale coat shows
/// its strokes. Common practice; the value is from memory.
pub const COAT_GAIN: f32 = 2.0;
/// A second coat must be better than any single coat by this much, in CIEDE2000: it takes a rest, ink and a steady
/// hand. More where it is not measured but expected. From memory.
const MEASURED_COAT_GAIN: f32 = 3.0;
const EXPECTED_COAT_GAIN: f32 = 5.0;
/// The same for a coat over a gray; from memory.
pub const OVER_GAIN: f32 = 12.0;
/// Cost of a pen that lies on top in another group, too: things of different colors had better not share one. From memory.
pub const SHARED_COST: f32 = 4.0;
/// Every band matters this much, however small, beside its share of the area; from memory.
const EVEN_WEIGHT: f32 = 0.5;
/// Cost per unit (CIE94) by which a step differs from the photo's; from memory.
const STEP_COST: f32 = 0.25;
/// From this on, in L*, one side of a border is clearly lighter; common practice, no source.
pub const CLEARLY_LIGHTER: f32 = 3.0;
/// Cost per L* that is missing of what the photo is lighter by, up to [`CLEARLY_LIGHTER`]; from memory.
const ORDER_COST: f32 = 1.0;
/// A border of this length, in millimeters, counts half of what an endless one would; from memory.
const SHORT_BORDER_MM: f32 = 10.0;
/// Cost of an order that is not kept, and of a border that does not show: above everything else a choice may cost.
const BROKEN_ORDER_COST: f32 = 1000.0;

/// What each band weighs; all together 1.
pub fn weights(bands: &[Band]) -> Vec<f32> {
    let even = EVEN_WEIGHT / bands.len() as f32;
    let weight = |band: &Band| even + (1.0 - EVEN_WEIGHT) * band.share;
    bands.iter().map(weight).collect()
}

/// What a pick of this color costs for a band by itself; `area_mm2` is the area of all bands.
pub fn of_band(band: &Band, pick: Pick, color: Lab, pens: &[Pen], area_mm2: f32) -> f32 {
    let worn = pick.pens().any(|p| pens[p].condition == Condition::Worn);
    let no_refill = pick.pens().filter(|&p| !pens[p].refill).count() as f32;
    let large = (no_refill * band.share * area_mm2 / LARGE_AREA_MM2).min(1.0);
    let gain = match pick {
        Pick::Paper => 0.0,
        Pick::Pen(_) => COAT_GAIN,
        Pick::Twice(p) if pens[p].two_coats.is_some() => COAT_GAIN + MEASURED_COAT_GAIN,
        Pick::Twice(_) => COAT_GAIN + EXPECTED_COAT_GAIN,
        Pick::Over { .. } => COAT_GAIN + OVER_GAIN,
    };
    let (hue, strength) = drift(band.lab, color);
    difference(band.lab, color)
        + HUE_DRIFT_COST * hue
        + CHROMA_DRIFT_COST * strength
        + GRAY_COST * grayed(band.lab, color)
        + if worn { WORN_COST } else { 0.0 }
        + NO_REFILL_COST * large
        + gain
}

/// A step of a ramp as the photo has it.
#[derive(Debug, Clone, Copy)]
pub struct Step {
    bands: [Lab; 2],
    /// Direction of the bands' mean hue, and what a unit of lightness, of chroma along it and of hue across costs.
    along: [f32; 2],
    cost: [f32; 3],
}

impl Step {
    /// From `light` to `dark`, each with its weight.
    pub fn new(light: (Lab, f32), dark: (Lab, f32)) -> Self {
        let ((light, w), (dark, v)) = (light, dark);
        let (a, b) = ((light.a + dark.a) / 2.0, (light.b + dark.b) / 2.0);
        let c = a.hypot(b);
        let along = if c > 0.0 { [a / c, b / c] } else { [1.0, 0.0] };
        let cost = STEP_COST * (w + v) / 2.0;
        Self {
            bands: [light, dark],
            along,
            cost: [cost, cost / (1.0 + 0.045 * c), cost / (1.0 + 0.015 * c)],
        }
    }

    /// What it costs to take it with these two colors.
    pub fn of_colors(&self, light: Lab, dark: Lab) -> f32 {
        let missed = (light - self.bands[0]) - (dark - self.bands[1]);
        let [x, y] = self.along;
        let parts = [
            missed.l,
            missed.a * x + missed.b * y,
            missed.b * x - missed.a * y,
        ];
        let squares = parts.iter().zip(self.cost).map(|(d, c)| (d * c).powi(2));
        squares.sum::<f32>().sqrt()
    }
}

/// The order of two bands that touch, seen from one of them.
#[derive(Debug, Clone, Copy)]
pub struct Order {
    /// What it is lighter by in the photo, in L*.
    photo: f32,
    /// What a missing L* costs.
    cost: f32,
    /// Their border shows by their colors alone.
    undivided: bool,
}

impl Order {
    /// Seen from the first band; `weights` are those of all bands.
    pub fn new(touching: &Touching, weights: &[f32]) -> Self {
        let [a, b] = touching.bands;
        let long = touching.border_mm / (touching.border_mm + SHORT_BORDER_MM);
        Self {
            photo: touching.lighter_by,
            cost: ORDER_COST * weights[a].min(weights[b]) * long,
            undivided: touching.undivided,
        }
    }

    /// Seen from the other band.
    pub fn reversed(self) -> Self {
        Self {
            photo: -self.photo,
            ..self
        }
    }

    /// What it costs that a color is lighter than the other by so much, in L*.
    pub fn of_colors(self, lighter_by: f32) -> f32 {
        let wanted = self.photo.abs().min(CLEARLY_LIGHTER);
        let missing = (wanted - lighter_by * self.photo.signum()).min(wanted);
        let broken = if breaks_order(self.photo, lighter_by) {
            BROKEN_ORDER_COST
        } else {
            0.0
        };
        self.cost * missing.max(0.0) + broken
    }

    /// What it costs to give both the same.
    pub fn of_same_pick(self) -> f32 {
        match self.undivided {
            true => BROKEN_ORDER_COST,
            false => 0.0,
        }
    }
}

/// Whether the photo is clearly lighter on one side, by `photo` L*, and colors of which the first is lighter by `colors` are
/// not.
pub fn breaks_order(photo: f32, colors: f32) -> bool {
    photo.abs() >= CLEARLY_LIGHTER && colors * photo.signum() <= 0.0
}

/// How far hue and chroma lie beyond their tolerances.
fn drift(band: Lab, color: Lab) -> (f32, f32) {
    let hue = (hue_difference(band, color).abs() - HUE_TOLERANCE).max(0.0);
    let strength = ((chroma(color) - chroma(band)).abs() - CHROMA_TOLERANCE).max(0.0);
    (hue, strength)
}

/// How far a color that stands for a band loses its color altogether, 0 to 1.
fn grayed(band: Lab, color: Lab) -> f32 {
    let own = chroma(band);
    let [from, to] = COLORED_CHROMA;
    let colored = ((own - from) / (to - from)).clamp(0.0, 1.0);
    colored * (1.0 - 2.0 * chroma(color) / own.max(from)).max(0.0)
}

/// Says in plain words how a pen leaves the color of its band beyond the tolerances; `None` if it does not. `model` is what
/// that color is taken from, such as "the photo".
pub fn explain_drift(band: Lab, color: Lab, model: &str) -> Option<String> {
    let (hue, strength) = drift(band, color);
    if hue == 0.0 && strength == 0.0 {
        return None;
    }
    let mut said = Vec::new();
    if hue > 0.0 {
        said.push(format!(
            "its hue runs away toward {} (by {:.0}, tolerance {HUE_TOLERANCE:.0})",
            hue_toward(band, color),
            hue + HUE_TOLERANCE
        ));
    }
    if strength > 0.0 {
        let how = if chroma(color) > chroma(band) {
            "stronger"
        } else {
            "duller"
        };
        said.push(format!(
            "it is {how} in color than {model} (by {:.0}, tolerance {CHROMA_TOLERANCE:.0})",
            strength + CHROMA_TOLERANCE
        ));
    }
    Some(said.join(" and "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shadow_that_turns_orange_is_explained() {
        let shadow = Lab::new(35.0, 40.0, 20.0);
        let said = explain_drift(shadow, Lab::new(45.0, 40.0, 60.0), "the photo").unwrap();
        assert!(said.contains("orange"), "{said}");
        assert_eq!(
            explain_drift(shadow, Lab::new(33.0, 38.0, 20.0), "the photo"),
            None
        );
    }

    /// The same step from another start costs nothing; the formula of CIE94 (CIE 116:1995), worked by hand, for one that
    /// differs.
    #[test]
    fn a_step_costs_what_it_differs_from_the_photos() {
        let (light, dark) = (Lab::new(70.0, 30.0, 40.0), Lab::new(50.0, 30.0, 40.0));
        let step = Step::new((light, 0.4), (dark, 0.2));
        let off = Lab::new(7.0, -3.0, 2.0);
        assert!(step.of_colors(light + off, dark + off) < 1e-5);
        // Chroma is 50; 6.5 along (0.6, 0.8) over 1 + 0.045 * 50 is 2, and 7 across over 1 + 0.015 * 50 is 4.
        let cost = |l, a, b| step.of_colors(light, dark + Lab::new(l, a, b)) / (STEP_COST * 0.3);
        assert!((cost(0.0, 3.9, 5.2) - 2.0).abs() < 1e-4);
        assert!((cost(0.0, -5.6, 4.2) - 4.0).abs() < 1e-4);
        assert!((cost(4.0, 3.9 - 5.6, 5.2 + 4.2) - 6.0).abs() < 1e-4);
    }

    #[test]
    fn order_costs_gradually_until_the_photo_is_clear() {
        let weights = [0.5, 0.5];
        let cost = |photo: f32, pens: f32| {
            let touching = Touching {
                bands: [0, 1],
                border_mm: 10.0,
                undivided: false,
                lighter_by: photo,
            };
            Order::new(&touching, &weights).of_colors(pens)
        };
        assert_eq!(cost(20.0, 3.0), 0.0);
        assert_eq!(cost(-20.0, -4.0), 0.0);
        assert!(cost(20.0, -0.1) > BROKEN_ORDER_COST && cost(-20.0, 0.1) > BROKEN_ORDER_COST);
        assert!(cost(2.9, -5.0) > cost(1.0, -5.0) && cost(2.9, -5.0) < BROKEN_ORDER_COST);
        assert!((cost(2.9, 0.1) - cost(3.0, 0.1)).abs() < 0.1);
        assert!((cost(0.1, -20.0) - cost(-0.1, -20.0)).abs() < 0.05);
    }
}
