//! Small vivid things: accents, as far as a hand can color them. Where no drawn line closes one, it is a thing all the same,
//! with what lies on it.

use image::{GrayImage, Luma};
use imageproc::drawing::draw_polygon_mut;
use imageproc::geometry::convex_hull;
use imageproc::point::Point;

use crate::color::{Lab, Mean, chroma, difference};
use crate::grid::{Grid, squared_distance};

use super::form::median;
use super::pieces::Pieces;

/// An accent is at least this many nibs wide, or as large as a square of that side.
pub const ACCENT_NIBS: f64 = 2.0;
/// Least chroma of an accent, in units of L*a*b*; from memory.
const VIVID_CHROMA: f32 = 25.0;
/// Least difference of an accent from what surrounds it, in CIEDE2000.
pub const ACCENT_DIFFERENCE: f32 = 25.0;
/// A thing is all that its convex hull holds if its vivid pixels are at least this share of that; from memory.
const MOST_OF_HULL: f64 = 0.5;

/// Whether a color may be an accent's.
pub fn is_vivid(color: Lab) -> bool {
    chroma(color) >= VIVID_CHROMA
}

/// The numbers of the pieces a hand can color: as wide as two nibs, or at least one and as large as a square of two, like a
/// beetle's red wings around its black back.
pub fn colorable(pieces: &Pieces, nib_px: f64) -> impl Iterator<Item = usize> {
    let wide = ACCENT_NIBS * nib_px;
    (1..pieces.size.len()).filter(move |&p| {
        let large = pieces.size[p] as f64 >= wide * wide;
        pieces.width_px[p] >= if large { nib_px } else { wide }
    })
}

/// Whether what lies around a piece, within its least width, is of clearly another color.
pub fn stands_out(calm: &Grid<Lab>, pieces: &Grid<u32>, piece: u32, mean: Lab, reach: f64) -> bool {
    let near = squared_distance(&pieces.map(|p| p == piece));
    // The edge itself is mixed.
    let (from, to) = ((reach / 4.0).powi(2), reach * reach);
    let around = near.iter().zip(&calm.data);
    let around = around.filter(|&(&d, _)| d > from && d <= to);
    let around: Mean = around.map(|(_, &lab)| lab).collect();
    around
        .color()
        .is_some_and(|around| difference(around, mean) >= ACCENT_DIFFERENCE)
}

/// The things of one accent where no drawn line closes them, the pixels of each in one cell: the vivid pieces of `mine`, which
/// has its hue, and what lies on them.
pub fn vivid_things(
    mine: &Grid<bool>,
    cells: &Grid<u16>,
    calm: &Grid<Lab>,
    nib_px: f64,
) -> Vec<Vec<usize>> {
    let pieces = Pieces::of(mine);
    let mut own = vec![Vec::new(); pieces.size.len()];
    for (i, &p) in pieces.map.data.iter().enumerate().filter(|(_, p)| **p > 0) {
        own[p as usize].push(i);
    }
    let is_vivid = |own: &&Vec<usize>| {
        let mean: Mean = own.iter().map(|&i| calm.data[i]).collect();
        mean.color().is_some_and(is_vivid)
    };
    let whole = |own: &Vec<usize>| {
        let cell = cells.data[own[0]];
        let mut whole = whole_of(own, cells.width);
        whole.retain(|&i| cells.data[i] == cell);
        whole
    };
    let large = colorable(&pieces, nib_px).map(|p| &own[p]);
    large.filter(is_vivid).map(whole).collect()
}

/// The pixels within the convex hull of some, where these are most of it: a beetle with its spots. What is bent or branched
/// stays as it is.
fn whole_of(own: &[usize], width: usize) -> Vec<usize> {
    let place = |&i: &usize| Point::new((i % width) as i32, (i / width) as i32);
    let hull = convex_hull(own.iter().map(place).collect::<Vec<_>>());
    if hull.len() < 3 {
        return own.to_vec();
    }
    let end = |of: fn(&Point<i32>) -> i32| hull.iter().map(of).max().unwrap_or(0) as u32 + 1;
    let mut drawn = GrayImage::new(end(|p| p.x), end(|p| p.y));
    draw_polygon_mut(&mut drawn, &hull, Luma([1]));
    let inside = drawn.enumerate_pixels().filter(|(.., v)| v[0] > 0);
    let inside: Vec<usize> = inside
        .map(|(x, y, _)| y as usize * width + x as usize)
        .collect();
    match own.len() as f64 >= MOST_OF_HULL * inside.len() as f64 {
        true => inside,
        false => own.to_vec(),
    }
}

/// Leaves the more colorful half of the evidence for an accent: no drawn line covers its rim, where the photo mixes it with
/// what surrounds it.
pub fn keep_colorful_half(own: &mut [bool], lab: &Grid<Lab>) {
    let colorful = |i: usize| chroma(lab.data[i]);
    let all = (0..own.len()).filter(|&i| own[i]).map(colorful);
    let least = median(all).unwrap_or(0.0);
    for (i, own) in own.iter_mut().enumerate() {
        *own &= colorful(i) >= least;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WIDTH: usize = 150;
    const NIB_PX: f64 = 7.5;

    fn where_it(is: impl Fn(f64, f64) -> bool) -> Grid<bool> {
        let at = |i: usize| {
            (
                (i % WIDTH) as f64 + 0.5 - 75.0,
                (i / WIDTH) as f64 + 0.5 - 50.0,
            )
        };
        let data = (0..WIDTH * 100).map(|i| {
            let (x, y) = at(i);
            is(x, y)
        });
        Grid {
            width: WIDTH,
            height: 100,
            data: data.collect(),
        }
    }

    /// How many pixels the things have whose vivid pixels these are, in a cell that ends at this x.
    fn sizes(mine: &Grid<bool>, color: Lab, end: f64) -> Vec<usize> {
        let cells = where_it(|x, _| x < end).map(u16::from);
        let calm = mine.map(|_| color);
        let things = vivid_things(mine, &cells, &calm, NIB_PX);
        things.iter().map(Vec::len).collect()
    }

    const RED: Lab = Lab::new(50.0, 55.0, 40.0);

    #[test]
    fn a_beetles_back_is_its_own_with_the_spots_on_it() {
        // Half a ring of 10 mm around a black back, 2 mm wide: too narrow for two nibs, and large enough.
        let ring = |x: f64, y: f64| y < 0.0 && (15.0..25.0).contains(&x.hypot(y));
        let half_disk = std::f64::consts::PI * 25.0 * 25.0 / 2.0;
        let [size] = sizes(&where_it(ring), RED, 75.0)[..] else {
            panic!("one thing");
        };
        assert!(
            (size as f64 / half_disk - 1.0).abs() < 0.05,
            "{size} {half_disk}"
        );
        // What lies beyond the cell is none of it.
        assert!(sizes(&where_it(ring), RED, 12.0)[0] < size);
    }

    #[test]
    fn what_is_dull_or_small_is_no_thing_and_what_is_bent_keeps_its_shape() {
        let disk = |radius: f64| where_it(move |x, y| x.hypot(y) < radius);
        assert_eq!(sizes(&disk(9.0), RED, 75.0).len(), 1);
        assert!(sizes(&disk(9.0), Lab::new(40.0, 15.0, 12.0), 75.0).is_empty());
        assert!(sizes(&disk(6.0), RED, 75.0).is_empty());
        // A stem, long and half a nib wide.
        assert!(sizes(&where_it(|x, y| x.abs() < 40.0 && y.abs() < 2.0), RED, 75.0).is_empty());
        let bow = where_it(|x, y| y < 0.0 && (34.0..44.0).contains(&x.hypot(y)));
        let own = bow.data.iter().filter(|&&b| b).count();
        assert_eq!(sizes(&bow, RED, 75.0), [own]);
    }

    #[test]
    fn the_colorful_half_leaves_out_what_is_mixed() {
        let chromas = [10.0, 50.0, 52.0, 20.0, 54.0, 56.0, 90.0];
        let lab = Grid {
            width: 7,
            height: 1,
            data: chromas.map(|a| Lab::new(50.0, a, 0.0)).to_vec(),
        };
        let mut own = [true, true, true, true, true, true, false];
        keep_colorful_half(&mut own, &lab);
        assert_eq!(own, [false, false, true, false, true, true, false]);
    }
}
