//! Lines thinned to their middles.

use super::Grid;

/// The eight pixels around one, clockwise from the one above, as steps to the right and down.
const AROUND: [(isize, isize); 8] = [
    (0, -1),
    (1, -1),
    (1, 0),
    (1, 1),
    (0, 1),
    (-1, 1),
    (-1, 0),
    (-1, -1),
];

/// What is left of `mask` after up to `rounds` rounds of thinning, each taking a pixel from either side: lines become
/// one pixel wide and keep their ends (Guo and Hall 1989, "Parallel thinning with two-subiteration algorithms"). What is
/// wider than twice the rounds keeps a solid middle. Pixels along the frame stay.
pub fn thinned(mask: &Grid<bool>, rounds: usize) -> Grid<bool> {
    let mut left = mask.clone();
    if mask.width < 3 || mask.height < 3 {
        return left;
    }
    let goes = [goes_in(false), goes_in(true)];
    let steps = AROUND.map(|(x, y)| x + y * mask.width as isize);
    let beside = |i: usize, step: isize| i.wrapping_add_signed(step);
    let inner = |i: usize| {
        let (x, y) = (i % mask.width, i / mask.width);
        x > 0 && y > 0 && x + 1 < mask.width && y + 1 < mask.height
    };
    let around = |left: &Grid<bool>, i: usize| {
        let bits = steps.iter().enumerate();
        bits.fold(0usize, |all, (bit, &step)| {
            all | usize::from(left.data[beside(i, step)]) << bit
        })
    };
    // Only what lies beside something that is not of the mask can go.
    let mut front: Vec<usize> = (0..mask.data.len())
        .filter(|&i| mask.data[i] && inner(i) && around(&left, i) != 255)
        .collect();
    let mut queued = Grid::filled(mask.width, mask.height, false);
    front.iter().for_each(|&i| queued.data[i] = true);
    for _ in 0..rounds {
        let mut gone_in_round = 0;
        for goes in &goes {
            let gone: Vec<usize> = front
                .iter()
                .copied()
                .filter(|&i| goes[around(&left, i)])
                .collect();
            gone.iter().for_each(|&i| left.data[i] = false);
            front.retain(|&i| left.data[i]);
            for &i in &gone {
                for j in steps.map(|step| beside(i, step)) {
                    if left.data[j] && !queued.data[j] && inner(j) {
                        queued.data[j] = true;
                        front.push(j);
                    }
                }
            }
            gone_in_round += gone.len();
        }
        if gone_in_round == 0 {
            break;
        }
    }
    left
}

/// Whether a pixel goes in one of the two parts of a round, by the pixels around it: one bit each, in the order of
/// [`AROUND`].
fn goes_in(second: bool) -> [bool; 256] {
    std::array::from_fn(|bits| {
        let p = |n: usize| bits >> (n % 8) & 1 == 1;
        let count = |by: &dyn Fn(usize) -> bool| (0..8).step_by(2).filter(|&n| by(n)).count();
        let pieces = count(&|n| !p(n) && (p(n + 1) || p(n + 2)));
        let neighbors = count(&|n| p(n + 7) || p(n)).min(count(&|n| p(n) || p(n + 1)));
        let side = if second { 4 } else { 0 };
        let kept_side = (p(side) || p(side + 1) || !p(side + 3)) && p(side + 2);
        pieces == 1 && (2..=3).contains(&neighbors) && !kept_side
    })
}

/// The pixels of a thinned mask around one of them, those that share an edge with it first.
pub fn along(thin: &Grid<bool>, i: usize) -> impl Iterator<Item = usize> + '_ {
    let (x, y) = ((i % thin.width) as isize, (i / thin.width) as isize);
    let straight = AROUND.iter().step_by(2);
    let ordered = straight.chain(AROUND.iter().skip(1).step_by(2));
    ordered.filter_map(move |&(right, down)| {
        let (x, y) = (x + right, y + down);
        let inside = x >= 0 && y >= 0 && x < thin.width as isize && y < thin.height as isize;
        let j = inside.then(|| y as usize * thin.width + x as usize)?;
        thin.data[j].then_some(j)
    })
}

/// How many ways lead away from a pixel of a thinned mask: 1 at an end, 2 along a line, more where lines meet.
pub fn ways_at(thin: &Grid<bool>, i: usize) -> usize {
    let (x, y) = ((i % thin.width) as isize, (i / thin.width) as isize);
    let around = AROUND.map(|(right, down)| {
        let (x, y) = (x + right, y + down);
        let inside = x >= 0 && y >= 0 && x < thin.width as isize && y < thin.height as isize;
        inside && thin.at(x as usize, y as usize)
    });
    (0..8)
        .filter(|&n| !around[n] && around[(n + 1) % 8])
        .count()
}

#[cfg(test)]
mod tests {
    use imageproc::region_labelling::Connectivity;

    use super::*;

    /// Strokes of 1 to 9 pixels at every angle: one piece, no shorter than the stroke without its caps, no more pixels than
    /// it is long but for spurs into the corners of the caps.
    #[test]
    fn a_stroke_becomes_a_line_of_its_length_in_one_piece() {
        for width in 1..=9 {
            for degrees in (0..180).step_by(7) {
                let (sin, cos) = f64::from(degrees).to_radians().sin_cos();
                let half = f64::from(width) / 2.0;
                let data = (0..100 * 100).map(|i| {
                    let (x, y) = (f64::from(i % 100) - 50.0, f64::from(i / 100) - 50.0);
                    let (along, across) = (x * cos + y * sin, y * cos - x * sin);
                    along.abs() <= 35.0 && across.abs() <= half
                });
                let stroke = Grid {
                    width: 100,
                    height: 100,
                    data: data.collect(),
                };
                let thin = thinned(&stroke, 20);
                let (_, pieces) = thin.pieces(Connectivity::Eight);
                let pixels = thin.data.iter().filter(|&&p| p).count() as f64;
                let longest = 70.0 * cos.abs().max(sin.abs());
                assert_eq!(pieces, 1, "{width} px at {degrees} degrees");
                assert!(
                    pixels >= longest - f64::from(width) - 3.0
                        && pixels <= longest + 2.0 * f64::from(width) + 3.0,
                    "{width} px at {degrees} degrees: {pixels} pixels for {longest}"
                );
            }
        }
    }

    #[test]
    fn a_ring_stays_a_ring_and_what_is_wider_than_the_rounds_stays_solid() {
        let disk = |inner: f64, outer: f64| Grid {
            width: 80,
            height: 80,
            data: (0..6400)
                .map(|i| {
                    let r = f64::from(i % 80 - 40).hypot(f64::from(i / 80 - 40));
                    (inner..outer).contains(&r)
                })
                .collect(),
        };
        let ring = thinned(&disk(20.0, 26.0), 20);
        let ends = (0..6400).filter(|&i| ring.data[i] && along(&ring, i).count() == 1);
        assert_eq!(ends.count(), 0);
        assert!(!ring.at(40, 40) && (60..66).any(|x| ring.at(x, 40)));
        let solid = thinned(&disk(0.0, 30.0), 5);
        assert!(solid.at(40, 40) && solid.at(55, 40) && !solid.at(68, 40));
    }
}
