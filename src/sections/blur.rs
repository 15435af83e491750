//! A fast blur: two box blurs in a row, close to a Gaussian (Wells 1986) at a cost that does not grow with its width.

/// Blurs `data` (`width * height` values) in place as if by a Gaussian of standard deviation `sigma` pixels; what lies
/// outside counts as 0.
pub fn box_blur_twice(data: &mut [f32], width: usize, height: usize, sigma: f32) {
    // A box of 2r + 1 pixels has the variance r (r + 1) / 3; two of them must add up to sigma squared.
    let r = (((1.0 + 6.0 * sigma * sigma).sqrt() - 1.0) / 2.0).round() as usize;
    if r == 0 {
        return;
    }
    let mut other = vec![0.0; data.len()];
    for _ in 0..2 {
        rows(data, &mut other, width, r);
        columns(&other, data, width, height, r);
    }
}

/// Running mean along every row.
fn rows(from: &[f32], to: &mut [f32], width: usize, r: usize) {
    let scale = 1.0 / (2 * r + 1) as f32;
    for (from, to) in from.chunks_exact(width).zip(to.chunks_exact_mut(width)) {
        let mut sum: f32 = from.iter().take(r).sum();
        for x in 0..width {
            sum += from.get(x + r).copied().unwrap_or(0.0);
            to[x] = sum * scale;
            if x >= r {
                sum -= from[x - r];
            }
        }
    }
}

/// Running mean along every column, a whole row at a time.
fn columns(from: &[f32], to: &mut [f32], width: usize, height: usize, r: usize) {
    let scale = 1.0 / (2 * r + 1) as f32;
    let mut sum = vec![0.0f32; width];
    let row = |y: usize| &from[y * width..(y + 1) * width];
    for y in 0..r.min(height) {
        for (s, v) in sum.iter_mut().zip(row(y)) {
            *s += v;
        }
    }
    for y in 0..height {
        if y + r < height {
            for (s, v) in sum.iter_mut().zip(row(y + r)) {
                *s += v;
            }
        }
        for (t, s) in to[y * width..(y + 1) * width].iter_mut().zip(&sum) {
            *t = s * scale;
        }
        if y >= r {
            for (s, v) in sum.iter_mut().zip(row(y - r)) {
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
        let mut data = vec![0.0; w * h];
        data[25 * w + 30] = 1.0;
        box_blur_twice(&mut data, w, h, sigma);
        let sum: f32 = data.iter().sum();
        let variance: f32 = data
            .iter()
            .enumerate()
            .map(|(i, v)| v * ((i % w) as f32 - 30.0).powi(2))
            .sum();
        assert!((sum - 1.0).abs() < 1e-4);
        assert!((variance.sqrt() - sigma).abs() < 0.5, "{}", variance.sqrt());
    }
}
