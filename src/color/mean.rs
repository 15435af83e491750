//! The mean of many colors.

use super::Lab;

/// Colors summed up to their mean. In double precision: a sum of single precision drifts away when a million pixels have
/// one color.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Mean {
    sum: [f64; 3],
    /// How many colors there are in it.
    pub pixels: usize,
}

impl Mean {
    pub fn add(&mut self, color: Lab) {
        let Lab { l, a, b, .. } = color;
        for (sum, v) in self.sum.iter_mut().zip([l, a, b]) {
            *sum += f64::from(v);
        }
        self.pixels += 1;
    }

    /// That of the colors of both.
    pub fn join(mut self, other: &Self) -> Self {
        for (sum, more) in self.sum.iter_mut().zip(other.sum) {
            *sum += more;
        }
        self.pixels += other.pixels;
        self
    }

    /// Sums of L*, a* and b*.
    pub fn sums(&self) -> [f64; 3] {
        self.sum
    }

    /// `None` of nothing.
    pub fn color(&self) -> Option<Lab> {
        let [l, a, b] = self.sum.map(|sum| (sum / self.pixels as f64) as f32);
        (self.pixels > 0).then(|| Lab::new(l, a, b))
    }
}

impl FromIterator<Lab> for Mean {
    fn from_iter<I: IntoIterator<Item = Lab>>(colors: I) -> Self {
        let mut mean = Self::default();
        for color in colors {
            mean.add(color);
        }
        mean
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_million_pixels_of_one_color_have_that_color() {
        let one = Lab::new(85.3, 3.1, -2.2);
        let mean: Mean = std::iter::repeat_n(one, 1_500_000).collect();
        let off = mean.color().unwrap() - one;
        assert!(off.l.abs().max(off.a.abs()).max(off.b.abs()) < 1e-4);
        assert_eq!(Mean::default().color(), None);
        assert_eq!(mean.join(&mean).pixels, 3_000_000);
    }
}
