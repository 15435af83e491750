//! Color differences.

use palette::color_difference::Ciede2000;
use palette::white_point::D65;

use super::Lab;

/// CIEDE2000 color difference with kL = kC = kH = 1 (CIE 142:2001; Sharma, Wu and Dalal 2005). 1 is about the
/// smallest difference seen side by side. Calculated in twice the precision: the last digit of its powers and sines is
/// each platform's own, and a plan has the same bytes everywhere.
pub fn difference(a: Lab, b: Lab) -> f32 {
    let precise =
        |c: Lab| palette::Lab::<D65, f64>::new(f64::from(c.l), f64::from(c.a), f64::from(c.b));
    Ciede2000::difference(precise(a), precise(b)) as f32
}

/// CIE 1976 chroma, C*ab.
pub fn chroma(lab: Lab) -> f32 {
    lab.a.hypot(lab.b)
}

/// CIE 1976 metric hue difference, H*ab, in units of L*a*b* (CIE 15:2004, section 8.2.1.4), signed: positive where
/// `to` lies counterclockwise of `from` (from red toward yellow).
pub fn hue_difference(from: Lab, to: Lab) -> f32 {
    let (c1, c2) = (chroma(from), chroma(to));
    let cross = from.a * to.b - from.b * to.a;
    let cos_gap = (c1 * c2 - from.a * to.a - from.b * to.b).max(0.0);
    (2.0 * cos_gap).sqrt().copysign(cross)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition: the squares of the L*, C* and H* differences add up to that of the L*a*b* difference.
    #[test]
    fn hue_and_chroma_differences_add_up_to_the_whole() {
        let (p, q) = (Lab::new(50.0, 30.0, 40.0), Lab::new(50.0, 10.0, 45.0));
        let whole = (p.a - q.a).powi(2) + (p.b - q.b).powi(2);
        let parts = (chroma(p) - chroma(q)).powi(2) + hue_difference(p, q).powi(2);
        assert!((whole - parts).abs() < 1e-2);
        assert!(hue_difference(p, q) > 0.0 && hue_difference(q, p) < 0.0);
    }
}
