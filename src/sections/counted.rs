//! The colors of the parts, counted: every pixel has its say, so that a photo moved by a pixel has the same tones.

use rayon::prelude::*;

use crate::color::{Lab, Mean};
use crate::parts::Parts;

use super::bands::{BINS, bin};

/// Side of the squares of a*b* that colors of one lightness and family are counted together in, in units of L*a*b*; from
/// memory: hardly seen.
const SQUARE: f32 = 2.0;
/// Squares to a side of all: a* and b* from -128 to 128.
const SIDE: u32 = 128;

/// A color of one hue group, and how many pixels have it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counted {
    pub group: usize,
    /// Mean of the pixels.
    pub lab: Lab,
    pub pixels: usize,
}

/// The colors of the parts' forms by family, in bins of lightness and squares of a*b*.
pub fn count_colors(parts: &Parts) -> Vec<Counted> {
    let square = |v: f32| ((v / SQUARE + SIDE as f32 / 2.0).max(0.0) as u32).min(SIDE - 1);
    let key = |i: usize| {
        let color = parts.form.data[i];
        let of_lightness = u32::from(parts.family.data[i]) * BINS as u32 + bin(color.l) as u32;
        (of_lightness * SIDE + square(color.a)) * SIDE + square(color.b)
    };
    let mut pixels: Vec<(u32, usize)> = (0..parts.family.data.len())
        .into_par_iter()
        .filter(|&i| parts.family.data[i] > 0)
        .map(|i| (key(i), i))
        .collect();
    pixels.par_sort_unstable();
    let counted = |alike: &[(u32, usize)]| {
        let mean: Mean = alike.iter().map(|&(_, i)| parts.form.data[i]).collect();
        Some(Counted {
            group: usize::from(parts.family.data[alike[0].1]) - 1,
            lab: mean.color()?,
            pixels: mean.pixels,
        })
    };
    let alike = pixels.chunk_by(|p, q| p.0 == q.0);
    alike.filter_map(counted).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Grid;
    use crate::parts::Family;
    use crate::sections::ladders;

    const WIDE: usize = 240;

    /// Two families, one on either side, of colors that differ from pixel to pixel; nothing in the corners.
    fn parts(color: impl Fn(usize, usize) -> Lab) -> Parts {
        let picture = |of: &dyn Fn(usize, usize) -> Lab| Grid {
            width: WIDE,
            height: WIDE,
            data: (0..WIDE * WIDE).map(|i| of(i % WIDE, i / WIDE)).collect(),
        };
        let form = picture(&color);
        let family = Grid {
            width: WIDE,
            height: WIDE,
            data: (0..WIDE * WIDE)
                .map(|i| match (i % WIDE, i / WIDE) {
                    (x, y) if x.min(WIDE - 1 - x) + y.min(WIDE - 1 - y) < 24 => 0,
                    (x, _) => 1 + (2 * x / WIDE) as u8,
                })
                .collect(),
        };
        Parts {
            families: [Lab::new(60.0, 40.0, 30.0), Lab::new(60.0, -40.0, 30.0)]
                .map(Family::of)
                .to_vec(),
            map: family.map(u16::from),
            family,
            regions: Vec::new(),
            vague: Grid::filled(0, 0, 0.0),
            form,
            bare: Vec::new(),
            flat: Vec::new(),
            fits: Vec::new(),
        }
    }

    fn busy(x: usize, y: usize) -> Lab {
        let off = |of: usize| (((x * 37 + y * 101) * of) % 97) as f32;
        Lab::new(
            20.0 + 0.7 * off(13),
            30.0 - 0.2 * off(29),
            20.0 + 0.1 * off(7),
        )
    }

    #[test]
    fn every_pixel_of_a_part_counts_once() {
        let parts = parts(busy);
        let counted = count_colors(&parts);
        for family in 1..=2u8 {
            let mine: Vec<&Counted> = counted
                .iter()
                .filter(|c| c.group + 1 == usize::from(family))
                .collect();
            let pixels: usize = mine.iter().map(|c| c.pixels).sum();
            let inside = (0..WIDE * WIDE).filter(|&i| parts.family.data[i] == family);
            let known: Vec<Lab> = inside.map(|i| parts.form.data[i]).collect();
            assert_eq!(pixels, known.len());
            assert!(mine.len() < pixels / 4, "{}", mine.len());
            let mean = |of: fn(Lab) -> f32| {
                let sum: f32 = mine.iter().map(|c| c.pixels as f32 * of(c.lab)).sum();
                let sum_of_all: f32 = known.iter().copied().map(of).sum();
                (sum - sum_of_all).abs() / pixels as f32
            };
            assert!(mean(|c| c.l) < 1e-2 && mean(|c| c.a) < 1e-2 && mean(|c| c.b) < 1e-2);
        }
    }

    #[test]
    fn a_picture_upside_down_has_the_same_tones() {
        let tones = |parts: &Parts| ladders(&count_colors(parts), 2, 4, true);
        let upright = tones(&parts(busy));
        let turned = tones(&parts(|x, y| busy(x, WIDE - 1 - y)));
        for (one, other) in upright.iter().zip(&turned) {
            for n in 1..=4 {
                for (a, b) in one.bands(0, n).zip(other.bands(0, n)) {
                    assert_eq!(a.share, b.share);
                    let off = a.lab - b.lab;
                    assert!(off.l.hypot(off.a).hypot(off.b) < 1e-2, "{a:?} {b:?}");
                }
            }
        }
    }
}
