//! A fast blur: two box sums in a row, close to a Gaussian (Wells 1986) at a cost that does not grow with its width.
//! (`imageproc`'s integral images and box filter take 8 bits a pixel; here are lightness, weights and counts of counts.)

use std::ops::{AddAssign, SubAssign};

/// A box blur of a given width, applied twice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blur {
    radius: usize,
}

impl Blur {
    /// As close as boxes come to a Gaussian of standard deviation `sigma` pixels.
    pub fn new(sigma: f32) -> Self {
        // A box of 2r + 1 pixels has the variance r (r + 1) / 3; two of them must add up to sigma squared.
        let radius = (((1.0 + 6.0 * sigma * sigma).sqrt() - 1.0) / 2.0).round() as usize;
        Self { radius }
    }

    /// How far from a pixel what it sums lies at most, in pixels.
    pub fn reach(self) -> usize {
        2 * self.radius
    }

    /// Replaces `data` (`width * height` values) by its twofold box sums; what lies outside counts as 0. Counts in
    /// whole numbers are exact and fastest; they stay below (2r + 1)^4.
    pub fn sum<T: Copy + Default + AddAssign + SubAssign>(
        self,
        data: &mut [T],
        width: usize,
        height: usize,
    ) {
        if self.radius == 0 || data.is_empty() {
            return;
        }
        let mut other = vec![T::default(); data.len()];
        for _ in 0..2 {
            rows(data, &mut other, width, self.radius);
            columns(&other, data, width, height, self.radius);
        }
    }
}

/// Running sum along every row.
fn rows<T: Copy + Default + AddAssign + SubAssign>(
    from: &[T],
    to: &mut [T],
    width: usize,
    r: usize,
) {
    for (from, to) in from.chunks_exact(width).zip(to.chunks_exact_mut(width)) {
        let mut sum = T::default();
        for &v in from.iter().take(r) {
            sum += v;
        }
        // Left edge, middle and right edge, so that the middle has no case to decide.
        let inner = width.saturating_sub(r);
        let edge = r.min(inner);
        for x in 0..edge {
            sum += from[x + r];
            to[x] = sum;
        }
        for ((to, &enter), &leave) in to[edge..inner]
            .iter_mut()
            .zip(&from[(edge + r).min(width)..])
            .zip(from)
        {
            sum += enter;
            *to = sum;
            sum -= leave;
        }
        for x in inner..width {
            to[x] = sum;
            if x >= r {
                sum -= from[x - r];
            }
        }
    }
}

/// Running sum along every column, a whole row at a time.
fn columns<T: Copy + Default + AddAssign + SubAssign>(
    from: &[T],
    to: &mut [T],
    width: usize,
    height: usize,
    r: usize,
) {
    let mut sum = vec![T::default(); width];
    let row = |y: usize| &from[y * width..(y + 1) * width];
    for y in 0..r.min(height) {
        for (s, &v) in sum.iter_mut().zip(row(y)) {
            *s += v;
        }
    }
    for y in 0..height {
        if y + r < height {
            for (s, &v) in sum.iter_mut().zip(row(y + r)) {
                *s += v;
            }
        }
        to[y * width..(y + 1) * width].copy_from_slice(&sum);
        if y >= r {
            for (s, &v) in sum.iter_mut().zip(row(y - r)) {
                *s -= v;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_spreads_with_the_variance_asked_for_and_keeps_its_sum() {
        let (w, h, sigma) = (61, 51, 5.0);
        let mut data = vec![0u32; w * h];
        data[25 * w + 30] = 1;
        let blur = Blur::new(sigma);
        blur.sum(&mut data, w, h);
        let scale = ((2 * blur.radius + 1) as f32).powi(-4);
        let means = data.iter().map(|&v| v as f32 * scale);
        let sum: f32 = means.clone().sum();
        let variance: f32 = means
            .enumerate()
            .map(|(i, v)| v * ((i % w) as f32 - 30.0).powi(2))
            .sum();
        assert!((sum - 1.0).abs() < 1e-4);
        assert!((variance.sqrt() - sigma).abs() < 0.5, "{}", variance.sqrt());
    }

    /// The definition: the sum over the box, twice.
    #[test]
    fn sums_are_those_of_the_definition_at_every_size() {
        for (w, h) in [(1, 1), (3, 9), (4, 4), (5, 3), (9, 8), (20, 7)] {
            let start: Vec<u32> = (0..w * h).map(|i| (i * 7 % 5) as u32).collect();
            let blur = Blur::new(2.4);
            let r = blur.radius as isize;
            let once = |data: &[u32]| -> Vec<u32> {
                (0..(w * h) as isize)
                    .map(|i| {
                        let (x, y) = (i % w as isize, i / w as isize);
                        let mut sum = 0;
                        for v in (y - r).max(0)..=(y + r).min(h as isize - 1) {
                            for u in (x - r).max(0)..=(x + r).min(w as isize - 1) {
                                sum += data[(v * w as isize + u) as usize];
                            }
                        }
                        sum
                    })
                    .collect()
            };
            let mut found = start.clone();
            blur.sum(&mut found, w, h);
            assert_eq!(found, once(&once(&start)), "{w} x {h}");
        }
    }
}
