//! Bands: the lightness steps of one hue group.
//!
//! Lightness is one-dimensional, so the split with the least squared error can be found exactly, by dynamic
//! programming over a histogram (Fisher 1958, "On grouping for maximum homogeneity"; Wang and Song 2011).

/// Bins per unit of L*.
pub const BINS_PER_L: f64 = 2.0;
/// Bins of the histogram: L* from 0 to 100.
pub const BINS: usize = 201;

/// The histogram bin of a lightness (L*, clamped to 0 to 100).
pub fn bin(l: f32) -> usize {
    ((f64::from(l.clamp(0.0, 100.0)) * BINS_PER_L).round() as usize).min(BINS - 1)
}

/// Splits the bins of `histogram` into `k` consecutive runs with the least sum of squared distances (in bins) from
/// each pixel to the mean of its run. Returns the first bin of every run but the first, ascending, and that sum.
/// With fewer than `k` bins in use, some runs are empty of pixels.
pub fn optimal_split(histogram: &[u64], k: usize) -> (Vec<usize>, f64) {
    let n = histogram.len();
    assert!((1..=n).contains(&k), "cannot split {n} bins into {k} runs");
    // Prefix sums of weight, weighted position and weighted squared position.
    let mut prefix = vec![[0.0f64; 3]; n + 1];
    for (i, &weight) in histogram.iter().enumerate() {
        let (w, x) = (weight as f64, i as f64);
        prefix[i + 1] = [
            prefix[i][0] + w,
            prefix[i][1] + w * x,
            prefix[i][2] + w * x * x,
        ];
    }
    let cost = |from: usize, to: usize| {
        let [w, s, q] = std::array::from_fn(|c| prefix[to][c] - prefix[from][c]);
        if w > 0.0 {
            (q - s * s / w).max(0.0)
        } else {
            0.0
        }
    };
    // best[end]: least cost of the first `end` bins in as many runs as laid so far; start[run][end]: where the last begins.
    let mut best: Vec<f64> = (0..=n).map(|end| cost(0, end)).collect();
    let mut start = vec![vec![0usize; n + 1]];
    for run in 1..k {
        let mut next = vec![f64::INFINITY; n + 1];
        let mut from = vec![0usize; n + 1];
        for end in run + 1..=n {
            for begin in run..end {
                let sum = best[begin] + cost(begin, end);
                if sum < next[end] {
                    (next[end], from[end]) = (sum, begin);
                }
            }
        }
        best = next;
        start.push(from);
    }
    let mut bounds = vec![0; k - 1];
    let mut end = n;
    for run in (1..k).rev() {
        end = start[run][end];
        bounds[run - 1] = end;
    }
    (bounds, best[n])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every way to lay `k - 1` bounds, by recursion.
    fn brute_force(histogram: &[u64], k: usize) -> f64 {
        fn squares(part: &[u64]) -> f64 {
            let w: u64 = part.iter().sum();
            if w == 0 {
                return 0.0;
            }
            let mean = part
                .iter()
                .enumerate()
                .map(|(i, &n)| i as f64 * n as f64)
                .sum::<f64>()
                / w as f64;
            part.iter()
                .enumerate()
                .map(|(i, &n)| n as f64 * (i as f64 - mean).powi(2))
                .sum()
        }
        if k == 1 {
            return squares(histogram);
        }
        (1..=histogram.len() + 1 - k)
            .map(|cut| squares(&histogram[..cut]) + brute_force(&histogram[cut..], k - 1))
            .fold(f64::INFINITY, f64::min)
    }

    #[test]
    fn the_split_is_the_best_of_all_splits() {
        let mut state = 7u64;
        for _ in 0..60 {
            let histogram: Vec<u64> = (0..13)
                .map(|_| {
                    state = state
                        .wrapping_mul(6364136223846793005)
                        .wrapping_add(1442695040888963407);
                    (state >> 60) * (state >> 40 & 1)
                })
                .collect();
            for k in 1..=4 {
                let (bounds, cost) = optimal_split(&histogram, k);
                assert!(
                    (cost - brute_force(&histogram, k)).abs() < 1e-6,
                    "{histogram:?} into {k}"
                );
                assert_eq!(bounds.len(), k - 1);
                assert!(bounds.windows(2).all(|b| b[0] < b[1]));
            }
        }
    }
}
