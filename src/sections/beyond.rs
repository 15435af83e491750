//! What lies beyond a region, as if its form went on there: borders run into a drawn line as they come, and do not turn
//! to meet it squarely. On a ball they taper to the rim, as a colorist draws them.

use rayon::prelude::*;

use crate::color::Lab;
use crate::grid::{Grid, squared_distance};

/// How far beyond the nearest pixel of a region is looked for it along the way there, in pixels: the way is rounded to
/// the grid.
const ROUNDED: f32 = 1.0;

/// Carries colors on beyond the `region` as far as `reach` pixels, by odd reflection at its rim: twice the rim's color less
/// that which lies as far within as the pixel does beyond (numpy.pad, mode "reflect" with reflect_type "odd"; what is linear
/// goes on as it is). Returns where there are colors now. Where the region is not as wide as that, its rim's color goes on.
/// With `lines_part` nothing is carried on where the region lies on the other side, too, within that reach: what is drawn in
/// it parts its tones.
pub fn carry_on(
    region: &Grid<bool>,
    colors: &mut [Lab],
    reach: usize,
    lines_part: bool,
) -> Vec<bool> {
    let (width, height) = (region.width, region.height);
    let from_region: Vec<f32> = squared_distance(region)
        .into_iter()
        .map(|squared| squared.sqrt() as f32)
        .collect();
    let carried: Vec<Option<Lab>> = (0..colors.len())
        .into_par_iter()
        .map(|i| {
            let far = from_region[i];
            if far == 0.0 || far > reach as f32 {
                return None;
            }
            let (x, y) = (i % width, i / width);
            let away = |x: usize, y: usize| from_region[y * width + x];
            let across = away((x + 1).min(width - 1), y) - away(x.saturating_sub(1), y);
            let down = away(x, (y + 1).min(height - 1)) - away(x, y.saturating_sub(1));
            let slope = across.hypot(down);
            // In the middle between two pieces there is no way to the nearer one.
            if slope == 0.0 {
                return None;
            }
            let within = |steps: f32| {
                let x = (x as f32 - steps * across / slope).round();
                let y = (y as f32 - steps * down / slope).round();
                let in_window = x >= 0.0 && y >= 0.0 && x < width as f32 && y < height as f32;
                let at = in_window.then(|| y as usize * width + x as usize)?;
                region.data[at].then(|| colors[at])
            };
            if lines_part && (1..=reach).any(|steps| within(-(steps as f32)).is_some()) {
                return None;
            }
            let rim = within(far).or_else(|| within(far + ROUNDED))?;
            let mirrored = within(2.0 * far).unwrap_or(rim);
            Some(rim + (rim - mirrored))
        })
        .collect();
    for (color, carried) in colors.iter_mut().zip(&carried) {
        *color = carried.unwrap_or(*color);
    }
    region
        .data
        .iter()
        .zip(&carried)
        .map(|(&inside, carried)| inside || carried.is_some())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gray(l: f32) -> Lab {
        Lab::new(l, 0.0, 0.0)
    }

    /// The example in numpy's manual: pad([1, 2, 3, 4, 5], (2, 3), 'reflect', reflect_type='odd').
    #[test]
    fn a_row_is_carried_on_as_numpy_pads_it() {
        let region = Grid {
            width: 10,
            height: 1,
            data: (0..10).map(|x| (2..7).contains(&x)).collect(),
        };
        let mut row: Vec<Lab> = [0, 0, 1, 2, 3, 4, 5, 0, 0, 0]
            .map(|l| gray(l as f32))
            .to_vec();
        assert_eq!(carry_on(&region, &mut row, 3, false), [true; 10]);
        let expected = [-1, 0, 1, 2, 3, 4, 5, 6, 7, 8].map(|l| gray(l as f32));
        assert_eq!(row, expected);
    }

    #[test]
    fn a_slope_goes_on_around_a_disk_as_far_as_it_reaches() {
        let from_middle = |i: usize| ((i % 101) as f32 - 50.0).hypot((i / 101) as f32 - 50.0);
        let slope = |i: usize| gray((i % 101) as f32 + 0.5 * (i / 101) as f32);
        let region = Grid {
            width: 101,
            height: 101,
            data: (0..101 * 101).map(|i| from_middle(i) < 30.0).collect(),
        };
        let mut colors: Vec<Lab> = (0..101 * 101)
            .map(|i| if region.data[i] { slope(i) } else { gray(0.0) })
            .collect();
        let known = carry_on(&region, &mut colors, 10, false);
        for i in 0..colors.len() {
            let far = from_middle(i);
            assert!(known[i] || far > 38.0, "{i}");
            assert!(!known[i] || far < 41.5, "{i}");
            // The ways to the rim, twice, and to what is mirrored are rounded by up to 0.7 px each, of 1.1 L*.
            assert!(!known[i] || (colors[i].l - slope(i).l).abs() < 3.0, "{i}");
        }
    }

    #[test]
    fn what_is_drawn_in_a_region_parts_it_where_asked() {
        // Two columns of the region on either side of a line of two.
        let region = Grid {
            width: 8,
            height: 1,
            data: [0, 1, 1, 0, 0, 1, 1, 0].map(|v| v > 0).to_vec(),
        };
        let known = |reach: usize, lines_part: bool| {
            let mut row = vec![gray(7.0); 8];
            carry_on(&region, &mut row, reach, lines_part)
        };
        assert_eq!(known(2, false), [true; 8]);
        let outside = [true, true, true, false, false, true, true, true];
        assert_eq!(known(2, true), outside);
        assert_eq!(
            known(1, true),
            [true; 8],
            "the other side is farther than that"
        );
    }

    #[test]
    fn a_sliver_and_nothing_at_all_are_carried_on_without_harm() {
        let mut region = Grid::filled(5, 5, false);
        let mut colors = vec![gray(7.0); 25];
        assert_eq!(carry_on(&region, &mut colors, 2, false), [false; 25]);
        region.data[12] = true;
        let known = carry_on(&region, &mut colors, 1, false);
        assert_eq!(known.iter().filter(|k| **k).count(), 5);
        assert!(colors.iter().all(|&c| c == gray(7.0)));
        assert!(carry_on(&Grid::filled(0, 0, true), &mut [], 3, true).is_empty());
    }
}
