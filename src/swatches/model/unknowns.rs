//! Which unknown stands where in the row.

use super::super::curve::BENDS;
use super::super::field::{PLANE, Row, SLOW, slow};
use super::super::layout::STEPS;

pub const GAIN: usize = BENDS;
pub const BLACK: usize = GAIN + 1;
pub const GRAYS: usize = BLACK + 1;
pub const LAMP: usize = GRAYS + 3 * STEPS.len();
pub const MIX: usize = LAMP + 2;
pub const STRAY: usize = MIX + 6;
pub const PLANES: usize = STRAY + 1;
pub const SHARED: usize = PLANES + 3 * PLANE;
pub const VEIL: usize = SHARED + SLOW - PLANE;

/// Which unknown is how much of the glare a channel has; green has all.
pub fn lamp(channel: usize) -> Option<usize> {
    match channel {
        0 => Some(LAMP),
        2 => Some(LAMP + 1),
        _ => None,
    }
}

/// Weights of the unknowns whose sum is the logarithm of the light at a place.
pub fn light_row(at: [f64; 2], channel: usize, mm: [f64; 2]) -> Row {
    let of = |(k, w)| match k {
        0..PLANE => (PLANES + PLANE * channel + k, w),
        _ => (SHARED + k - PLANE, w),
    };
    slow(at, mm).into_iter().enumerate().map(of).collect()
}

/// Which unknown is the code value of a gray step in a channel.
pub fn gray(step: usize, channel: usize) -> usize {
    GRAYS + 3 * step + channel
}

/// Which unknowns say how much a channel takes for its own of the two others, and these.
pub fn mixed(channel: usize) -> [(usize, usize); 2] {
    [1, 2].map(|k| (MIX + 2 * channel + k - 1, (channel + k) % 3))
}
