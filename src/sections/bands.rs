//! Bands: the lightness steps of one hue group.
//!
//! Lightness is one-dimensional, so the split with the least squared error can be found exactly, by dynamic
//! programming over a histogram (Fisher 1958, "On grouping for maximum homogeneity"; Wang and Song 2011); here among the
//! splits that read well only: with a step from band to band, and no band too small.

/// Bins per unit of L*.
pub const BINS_PER_L: f64 = 2.0;
/// Bins of the histogram: L* from 0 to 100.
pub const BINS: usize = 201;

/// The histogram bin of a lightness (L*, clamped to 0 to 100).
pub fn bin(l: f32) -> usize {
    ((f64::from(l.clamp(0.0, 100.0)) * BINS_PER_L).round() as usize).min(BINS - 1)
}

/// What every run of a split must keep to.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Least distance between the means of neighboring runs, in bins.
    pub step: f64,
    /// Least share of all pixels in a run, 0 to 1.
    pub share: f64,
}

/// Weight, weighted position and weighted squared position of all bins before each.
struct Moments(Vec<[f64; 3]>);

impl Moments {
    fn of(weights: &[u64]) -> Self {
        let mut sum = [0.0; 3];
        let mut before = vec![sum];
        for (i, &weight) in weights.iter().enumerate() {
            let (w, x) = (weight as f64, i as f64);
            sum = [sum[0] + w, sum[1] + w * x, sum[2] + w * x * x];
            before.push(sum);
        }
        Self(before)
    }

    fn between(&self, from: usize, to: usize) -> [f64; 3] {
        std::array::from_fn(|c| self.0[to][c] - self.0[from][c])
    }

    fn weight(&self, from: usize, to: usize) -> f64 {
        self.0[to][0] - self.0[from][0]
    }

    fn mean(&self, from: usize, to: usize) -> f64 {
        let [w, s, _] = self.between(from, to);
        s / w
    }

    /// Sum of squared distances to the mean.
    fn squares(&self, from: usize, to: usize) -> f64 {
        let [w, s, q] = self.between(from, to);
        if w > 0.0 {
            (q - s * s / w).max(0.0)
        } else {
            0.0
        }
    }
}

/// Splits bins into `k` consecutive runs that keep to `limits`, with the least sum of squared distances (in bins) from
/// each pixel to the mean of its run, where a bin's pixels count for `weights`. Steps and shares are those of the pixels
/// themselves, `counts`. Returns the first bin of every run but the first, ascending, and that sum; `None` where no split
/// keeps to the limits.
///
/// Dynamic programming over the last run of what is split so far: the next one must begin where it ends, and be lighter
/// by a step. Where a run ends, those before it that are dark enough are a longer part of a list the lighter the next one
/// is, so that every pair of bounds is looked at once.
pub fn optimal_split(
    weights: &[u64],
    counts: &[u64],
    k: usize,
    limits: Limits,
) -> Option<(Vec<usize>, f64)> {
    let n = weights.len();
    assert!((1..=n).contains(&k), "cannot split {n} bins into {k} runs");
    let (weighted, pixels) = (Moments::of(weights), Moments::of(counts));
    let least = (limits.share * pixels.weight(0, n)).max(1.0);
    let is_run = |from: usize, to: usize| pixels.weight(from, to) >= least;
    // cost[to][from]: least cost of the first `to` bins in as many runs as laid so far, the last of which is from..to.
    let mut cost = vec![vec![f64::INFINITY; n + 1]; n + 1];
    for (to, cost) in cost.iter_mut().enumerate().filter(|&(to, _)| is_run(0, to)) {
        cost[0] = weighted.squares(0, to);
    }
    let mut before = Vec::new();
    for _ in 1..k {
        let mut next = vec![vec![f64::INFINITY; n + 1]; n + 1];
        let mut start = vec![vec![0; n + 1]; n + 1];
        for middle in 1..n {
            let mut least = (f64::INFINITY, 0);
            let mut from = 0;
            for to in (middle + 1..=n).filter(|&to| is_run(middle, to)) {
                let darkest = pixels.mean(middle, to) - limits.step;
                while from < middle && is_run(from, middle) && pixels.mean(from, middle) <= darkest
                {
                    if cost[middle][from] < least.0 {
                        least = (cost[middle][from], from);
                    }
                    from += 1;
                }
                next[to][middle] = least.0 + weighted.squares(middle, to);
                start[to][middle] = least.1;
            }
        }
        cost = next;
        before.push(start);
    }
    let (mut from, &least) = cost[n]
        .iter()
        .enumerate()
        .min_by(|a, b| a.1.total_cmp(b.1))
        .filter(|(_, cost)| cost.is_finite())?;
    let mut bounds = Vec::new();
    let mut to = n;
    for start in before.iter().rev() {
        bounds.push(from);
        (to, from) = (from, start[to][from]);
    }
    bounds.reverse();
    Some((bounds, least))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The least cost of all ways to lay `k - 1` bounds that keep to the limits, by recursion.
    fn brute_force(weights: &[u64], counts: &[u64], k: usize, limits: Limits) -> f64 {
        fn of(
            (weights, counts): (&[u64], &[u64]),
            k: usize,
            limits: Limits,
            least: f64,
            darker: Option<f64>,
        ) -> f64 {
            let mut best = f64::INFINITY;
            let last = if k == 1 { weights.len() } else { 1 };
            for cut in last..=weights.len() {
                let mean = |w: &[u64]| {
                    let sum: u64 = w.iter().sum();
                    let moment: f64 = w
                        .iter()
                        .enumerate()
                        .map(|(i, &n)| i as f64 * n as f64)
                        .sum();
                    moment / sum as f64
                };
                let at = (100 - weights.len()) as f64;
                let pixels: u64 = counts[..cut].iter().sum();
                let here = at + mean(&counts[..cut]);
                if pixels == 0
                    || (pixels as f64) < least
                    || darker.is_some_and(|d| here - d < limits.step - 1e-9)
                {
                    continue;
                }
                let middle = mean(&weights[..cut]);
                let squares: f64 = weights[..cut]
                    .iter()
                    .enumerate()
                    .map(|(i, &n)| n as f64 * (i as f64 - middle).powi(2))
                    .sum();
                let rest = (&weights[cut..], &counts[cut..]);
                let after = match k {
                    1 => 0.0,
                    _ => of(rest, k - 1, limits, least, Some(here)),
                };
                best = best.min(squares + after);
            }
            best
        }
        let least = limits.share * counts.iter().sum::<u64>() as f64;
        of((weights, counts), k, limits, least, None)
    }

    #[test]
    fn the_split_is_the_best_of_all_that_keep_to_the_limits() {
        let mut state = 7u64;
        let mut random = || {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            state
        };
        let mut refused = 0;
        for case in 0..200 {
            let counts: Vec<u64> = (0..13)
                .map(|_| random())
                .map(|r| (r >> 60) * (r >> 40 & 1))
                .collect();
            let weights: Vec<u64> = counts.iter().map(|&n| n * n).collect();
            let limits = Limits {
                step: [0.0, 2.5, 4.0][case % 3],
                share: [0.0, 0.1][case % 2],
            };
            for k in 1..=4 {
                let least = brute_force(&weights, &counts, k, limits);
                match optimal_split(&weights, &counts, k, limits) {
                    Some((bounds, cost)) => {
                        assert!((cost - least).abs() < 1e-6, "{counts:?} into {k}");
                        assert_eq!(bounds.len(), k - 1);
                        assert!(bounds.windows(2).all(|b| b[0] < b[1]));
                    }
                    None => {
                        assert!(least.is_infinite(), "{counts:?} into {k}: {least}");
                        refused += 1;
                    }
                }
            }
        }
        assert!((50..750).contains(&refused), "{refused}");
    }
}
