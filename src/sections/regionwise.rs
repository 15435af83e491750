//! Regions are worlds of their own: what is done to the labels of one is done without the others, several at once.

use crate::grid::{Grid, Window, bounds_of, largest_first};

/// One region's labels, cut out of the frame.
pub struct Own {
    /// The region's value in `regions`.
    pub region: usize,
    pub window: Window,
    /// 0 beyond the region.
    pub label: Grid<u8>,
}

impl Own {
    /// Whether there is nothing between labels to look at: the region has but one, or none.
    pub fn has_one_label(&self) -> bool {
        let mut labels = self.label.data.iter().filter(|l| **l > 0);
        let first = labels.next();
        labels.all(|l| Some(l) == first)
    }
}

/// The labels that `of` makes of every region's own, which it is given with `around` pixels on every side, as far as the
/// frame goes; 0 beyond all `regions` (from 1).
pub fn regionwise(
    label: &Grid<u8>,
    regions: &Grid<u16>,
    around: usize,
    of: impl Fn(Own) -> Grid<u8> + Sync,
) -> Grid<u8> {
    let count = usize::from(regions.data.iter().copied().max().unwrap_or(0));
    let windows: Vec<Window> = bounds_of(regions, count)
        .into_iter()
        .map(|window| window.widened(around, regions))
        .collect();
    let made = largest_first(&windows, |w| {
        let window = windows[w];
        let mut own = label.cut_out(window);
        for (l, r) in own.data.iter_mut().zip(regions.cut_out(window).data) {
            if usize::from(r) != w + 1 {
                *l = 0;
            }
        }
        of(Own {
            region: w + 1,
            window,
            label: own,
        })
    });
    let mut all = Grid::filled(label.width, label.height, 0u8);
    for (window, made) in windows.into_iter().zip(made) {
        for (i, &l) in made.data.iter().enumerate().filter(|(_, l)| **l > 0) {
            all.data[window.index_in(regions, i)] = l;
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_region_is_given_its_own_labels_and_gets_them_back() {
        let regions = Grid {
            width: 5,
            height: 3,
            data: vec![1, 1, 0, 4, 4, 1, 2, 2, 4, 4, 1, 1, 2, 0, 4u16],
        };
        let label = Grid {
            width: 5,
            height: 3,
            data: vec![1, 2, 0, 1, 1, 2, 3, 3, 2, 2, 1, 1, 4, 0, 1u8],
        };
        for around in 0..4 {
            let seen = regionwise(&label, &regions, around, |own| {
                let region = |i: usize| regions.data[own.window.index_in(&regions, i)];
                for (i, &l) in own.label.data.iter().enumerate() {
                    assert_eq!(l > 0, usize::from(region(i)) == own.region);
                }
                own.label
                    .map(|l| if l > 0 { l + own.region as u8 } else { 0 })
            });
            let expected = label
                .data
                .iter()
                .zip(&regions.data)
                .map(|(&l, &r)| l + r as u8);
            assert_eq!(seen.data, expected.collect::<Vec<u8>>());
        }
    }
}
