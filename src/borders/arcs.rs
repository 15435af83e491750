//! Shared arcs: the cracks between pixels of different sections, chained from junction to junction.

use crate::grid::Grid;

/// What lies beyond the frame.
pub const BEYOND: u16 = u16::MAX;

/// Cracks in a row between the same two sections. Runs from junction to junction, or around and back (`closed`, the
/// first point then is not repeated).
#[derive(Debug, Clone, PartialEq)]
pub struct Chain {
    /// Section to the left and to the right of travel; `u16::MAX` outside the frame.
    pub left: u16,
    pub right: u16,
    pub closed: bool,
    /// Pixel corners, in pixels from the top left of the frame.
    pub points: Vec<(u32, u32)>,
}

/// Steps to the right, down, left, up, in pixel corners.
const STEPS: [(isize, isize); 4] = [(1, 0), (0, 1), (-1, 0), (0, -1)];

/// Chains all cracks of `map`. Every crack is in exactly one chain.
pub fn trace_chains(map: &Grid<u16>) -> Vec<Chain> {
    let (w, h) = (map.width as isize, map.height as isize);
    let at = |x: isize, y: isize| {
        if x < 0 || y < 0 || x >= w || y >= h {
            BEYOND
        } else {
            map.data[(y * w + x) as usize]
        }
    };
    // Left and right pixel of the crack that leaves corner (x, y) in direction d.
    let sides = |x: isize, y: isize, d: usize| match d {
        0 => (at(x, y - 1), at(x, y)),
        1 => (at(x, y), at(x - 1, y)),
        2 => (at(x - 1, y), at(x - 1, y - 1)),
        _ => (at(x - 1, y - 1), at(x, y - 1)),
    };
    let cw = (w + 1) as usize;
    let corner = |x: isize, y: isize| y as usize * cw + x as usize;
    // Bit d of a corner: a crack leaves it in direction d. Bits are cleared as cracks are chained.
    let mut cracks = vec![0u8; cw * (h + 1) as usize];
    let mut degree = vec![0u8; cracks.len()];
    for y in 0..=h {
        let (mut nw, mut sw) = (BEYOND, BEYOND);
        for x in 0..=w {
            let (ne, se) = (at(x, y - 1), at(x, y));
            let bits = u8::from(ne != se)
                | u8::from(se != sw) << 1
                | u8::from(sw != nw) << 2
                | u8::from(nw != ne) << 3;
            cracks[corner(x, y)] = bits;
            degree[corner(x, y)] = bits.count_ones() as u8;
            (nw, sw) = (ne, se);
        }
    }
    let mut chains = Vec::new();
    let mut walk = |cracks: &mut Vec<u8>, x: isize, y: isize, first: usize| {
        let (left, right) = sides(x, y, first);
        let mut points = vec![(x as u32, y as u32)];
        let (mut px, mut py, mut d) = (x, y, first);
        loop {
            cracks[corner(px, py)] &= !(1 << d);
            (px, py) = (px + STEPS[d].0, py + STEPS[d].1);
            cracks[corner(px, py)] &= !(1 << ((d + 2) % 4));
            if (px, py) == (x, y) && degree[corner(x, y)] == 2 {
                chains.push(Chain {
                    left,
                    right,
                    closed: true,
                    points,
                });
                return;
            }
            points.push((px as u32, py as u32));
            let rest = cracks[corner(px, py)];
            if degree[corner(px, py)] != 2 {
                chains.push(Chain {
                    left,
                    right,
                    closed: false,
                    points,
                });
                return;
            }
            d = rest.trailing_zeros() as usize;
        }
    };
    // First everything that hangs on a junction, then the loops that hang on none.
    for junctions in [true, false] {
        for start in 0..cracks.len() {
            if cracks[start] == 0 || (degree[start] != 2) != junctions {
                continue;
            }
            let (x, y) = ((start % cw) as isize, (start / cw) as isize);
            while cracks[start] != 0 {
                let d = cracks[start].trailing_zeros() as usize;
                walk(&mut cracks, x, y, d);
            }
        }
    }
    chains
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(rows: &[&[u16]]) -> Grid<u16> {
        Grid {
            width: rows[0].len(),
            height: rows.len(),
            data: rows.concat(),
        }
    }

    #[test]
    fn every_crack_is_chained_once_and_keeps_its_two_sides() {
        let map = grid(&[&[1, 1, 2, 2], &[1, 3, 3, 2], &[1, 3, 3, 2], &[1, 1, 2, 2]]);
        let chains = trace_chains(&map);
        let cracks: usize = chains
            .iter()
            .map(|c| c.points.len() - usize::from(!c.closed))
            .sum();
        // 16 around the frame, 2 between 1 and 2, 8 around 3.
        assert_eq!(cracks, 26);
        let around_3: usize = chains
            .iter()
            .filter(|c| c.left == 3 || c.right == 3)
            .map(|c| c.points.len() - 1)
            .sum();
        assert_eq!(around_3, 8);
    }

    #[test]
    fn an_island_is_one_closed_chain() {
        let chains = trace_chains(&grid(&[&[1, 1, 1], &[1, 2, 1], &[1, 1, 1]]));
        let island: Vec<_> = chains
            .iter()
            .filter(|c| c.left == 2 || c.right == 2)
            .collect();
        assert_eq!(island.len(), 1);
        assert!(island[0].closed && island[0].points.len() == 4);
    }
}
