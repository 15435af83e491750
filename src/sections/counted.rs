//! The colors of the parts, counted: every pixel has its say, so that a photo moved by a pixel has the same tones.

use crate::color::Lab;
use crate::parts::Parts;

use super::bands::{BINS, bin};

/// Side of the squares of a*b* that colors of one lightness and family are counted together in, in units of L*a*b*: tones
/// of one local color hardly leave one. From memory.
const SQUARE: f32 = 8.0;
/// Squares to a side of all: a* and b* from -128 to 128.
const SIDE: usize = 32;

/// A color of one hue group, and how many pixels have it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counted {
    pub group: usize,
    /// Mean of the pixels.
    pub lab: Lab,
    pub pixels: usize,
}

/// The colors of the parts' forms by family, in bins of lightness and squares of a*b*, in the order of their first
/// pixels.
pub fn count_colors(parts: &Parts) -> Vec<Counted> {
    let square = |v: f32| ((v / SQUARE + SIDE as f32 / 2.0).max(0.0) as usize).min(SIDE - 1);
    // By bin and square: the number in `counted` plus 1, 0 for what was not seen yet.
    let mut numbers = vec![0u32; parts.families.len() * BINS * SIDE * SIDE];
    let mut counted: Vec<Counted> = Vec::new();
    for (&family, &lab) in parts.family.data.iter().zip(&parts.form.data) {
        let Some(group) = usize::from(family).checked_sub(1) else {
            continue;
        };
        let row = (group * BINS + bin(lab.l)) * SIDE + square(lab.a);
        let number = &mut numbers[row * SIDE + square(lab.b)];
        if *number == 0 {
            counted.push(Counted {
                group,
                lab: Lab::new(0.0, 0.0, 0.0),
                pixels: 0,
            });
            *number = counted.len() as u32;
        }
        let color = &mut counted[*number as usize - 1];
        color.lab += lab;
        color.pixels += 1;
    }
    for color in &mut counted {
        color.lab /= color.pixels as f32;
    }
    counted
}
