//! How far colors are apart where bands are told from each other.

use crate::color::Lab;

/// What a squared unit counts for in the squared distance of two colors: of L*, and of a* and b*.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Metric {
    pub light: f32,
    pub color: f32,
}

impl Metric {
    /// That of L*a*b*.
    pub const WHOLE: Self = Self {
        light: 1.0,
        color: 1.0,
    };

    /// That of the tones of one local color, lightest first: lightness alone, as what is duller in a part is no other
    /// tone. It counts so much that they are as far apart as in L*a*b*: colors change as they get darker.
    pub fn of_tones(tones: impl Iterator<Item = Lab> + Clone) -> Self {
        let (mut light, mut all) = (0.0, 0.0);
        for (lighter, darker) in tones.clone().zip(tones.skip(1)) {
            let step = lighter - darker;
            light += step.l * step.l;
            all += Self::WHOLE.squared(lighter, darker);
        }
        Self {
            light: if light > 0.0 { all / light } else { 1.0 },
            color: 0.0,
        }
    }

    /// The squared distance of two colors.
    pub fn squared(self, p: Lab, q: Lab) -> f32 {
        let off = p - q;
        self.light * off.l * off.l + self.color * (off.a * off.a + off.b * off.b)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tones_are_as_far_apart_by_lightness_as_in_all() {
        let tones = [
            Lab::new(70.0, 30.0, 40.0),
            Lab::new(50.0, 24.0, 32.0),
            Lab::new(30.0, 18.0, 24.0),
        ];
        let metric = Metric::of_tones(tones.into_iter());
        for pair in tones.windows(2) {
            // 20 in L*, 10 in chroma.
            assert!((metric.squared(pair[0], pair[1]) - 500.0).abs() < 1e-2);
        }
        let dull = Lab::new(50.0, 0.0, 0.0);
        assert_eq!(metric.squared(tones[1], dull), 0.0);
        let one = Metric::of_tones(tones[..1].iter().copied());
        assert_eq!((one.light, one.color), (1.0, 0.0));
    }
}
