//! Normal equations with robust weights.

use nalgebra::{DMatrix, DVector};

/// What the equations are for.
#[derive(Debug, Clone, Copy)]
pub enum Purpose {
    /// A step; things may be off by `wide` times more than usual before they count less.
    Fit {
        wide: f64,
    },
    Covariance,
}

/// Normal equations: the lower half of a matrix, and the right side.
pub struct Equations {
    pub normal: DMatrix<f64>,
    pub right: DVector<f64>,
    /// By how much more than usual something may be off before it counts less.
    wide: f64,
}

impl Equations {
    pub fn empty(n: usize, purpose: Purpose) -> Self {
        Self {
            wide: match purpose {
                Purpose::Fit { wide } => wide,
                Purpose::Covariance => 1.0,
            },
            normal: DMatrix::zeros(n, n),
            right: DVector::zeros(n),
        }
    }

    /// Adds that `value`, with these slopes, should be nothing but for a standard `error`; what is `robust` may be far
    /// off now and then (Cauchy's weights, Holland and Welsch 1977).
    pub fn add(&mut self, row: &[(usize, f64)], value: f64, error: f64, robust: bool) {
        let far = if robust {
            (value / (2.0 * error * self.wide)).powi(2)
        } else {
            0.0
        };
        let weight = 1.0 / (error * error * (1.0 + far));
        for &(i, a) in row {
            self.right[i] -= weight * a * value;
            for &(j, b) in row.iter().filter(|r| r.0 <= i) {
                self.normal[(i, j)] += weight * a * b;
            }
        }
    }
}
