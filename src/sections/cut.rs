//! Cuts: borders that the person drew. A section that a line crosses from rim to rim becomes two, of the same band.
//!
//! A line runs between the middles of pixels: two neighbors whose middles lie on both sides of it are parted. So it can be
//! of any shape, closed, or crossed by others.

use std::collections::BTreeMap;

use kurbo::Point;

use crate::error::{Error, Result};
use crate::grid::Grid;

use super::number::{Cuts, MOST_SECTIONS, Sections, measured};

/// An end that stops so short of a section's rim is carried on to it, in millimeters; from memory.
const REACH_MM: f64 = 1.0;
/// A piece that no square of this side fits into cannot be colored with any marker, in millimeters, and stays with the
/// other side; from memory.
const HAIR_MM: f64 = 0.5;
/// Lines are moved by this part of a pixel, so that none runs through the middle of a pixel.
const NUDGE: (f64, f64) = (1.37e-4, 7.1e-5);

/// Parts the sections that lines cross; each line lists points in millimeters from the top left.
///
/// # Errors
/// If a line parts nothing.
pub fn cut(sections: &Sections, lines: &[Vec<[f64; 2]>], mm_per_px: f64) -> Result<Sections> {
    let map = &sections.map;
    let mut drawn = Vec::new();
    let mut crossed: Vec<Vec<[usize; 2]>> = Vec::new();
    for line in lines {
        let nudged =
            |&[x, y]: &[f64; 2]| Point::new(x / mm_per_px + NUDGE.0, y / mm_per_px + NUDGE.1);
        let points: Vec<Point> = line.iter().map(nudged).collect();
        let (points, mut pairs) = carried_on(map, points, REACH_MM / mm_per_px);
        pairs.retain(|&[i, j]| map.data[i] > 0 && map.data[i] == map.data[j]);
        drawn.push(points);
        crossed.push(pairs);
    }
    let mut fence: Vec<[usize; 2]> = crossed.concat();
    fence.sort_unstable();
    fence.dedup();
    let least_px = (HAIR_MM / mm_per_px).round().max(1.0) as usize;
    let pieces = pieces(map, &fence, least_px);
    let parts = |&[i, j]: &[usize; 2]| pieces.data[i] != pieces.data[j];
    if let Some(idle) = crossed.iter().position(|pairs| !pairs.iter().any(parts)) {
        let [[x, y], [u, v]] = [lines[idle][0], lines[idle][lines[idle].len() - 1]];
        return Err(Error::new(
            format!("the cut from [{x}, {y}] to [{u}, {v}] parts no section"),
            "Draw it right across a section, from border to border or drawn line, or around what is to be cut out; points \
             are millimeters from the top left.",
        ));
    }
    fence.retain(parts);
    if pieces.data.iter().any(|&p| p as usize > MOST_SECTIONS) {
        return Err(Error::new(
            "the cuts make more sections than can be numbered",
            "Take some of the cuts out.",
        ));
    }
    let of = |i: usize| {
        let section = &sections.list[usize::from(map.data[i]) - 1];
        (section.cell, section.band)
    };
    Ok(measured(
        &pieces,
        of,
        Cuts {
            lines: drawn,
            parted: fence,
        },
    ))
}

/// The line with its ends carried on by at most `reach` pixels inside the section where each lies, or closed if they lie
/// that near; and the neighboring pixels it runs between.
fn carried_on(map: &Grid<u16>, points: Vec<Point>, reach: f64) -> (Vec<Point>, Vec<[usize; 2]>) {
    let [first, last] = [points[0], points[points.len() - 1]];
    let mut line = points;
    let mut pairs = crossings(map, &line);
    if line.len() > 2 && first.distance(last) <= reach {
        pairs.extend(crossings(map, &[last, first]));
        line.push(first);
        return (line, pairs);
    }
    let beyond = |end: Point, mut inward: Box<dyn Iterator<Item = &Point> + '_>| {
        let from = inward.find(|p| p.distance(end) > 0.0)?;
        Some(end + (end - *from).normalize() * reach)
    };
    let start = beyond(first, Box::new(line.iter()));
    let end = beyond(last, Box::new(line.iter().rev()));
    for (at, to) in [(first, start), (last, end)] {
        let Some(to) = to else { continue };
        let inside =
            at.x >= 0.0 && at.y >= 0.0 && at.x < map.width as f64 && at.y < map.height as f64;
        if inside {
            let home = map.at(at.x as usize, at.y as usize);
            let own = |&[i, j]: &[usize; 2]| map.data[i] == home && map.data[j] == home;
            pairs.extend(crossings(map, &[at, to]).into_iter().filter(own));
        }
    }
    line.splice(0..0, start);
    line.extend(end);
    (line, pairs)
}

/// The neighboring pixels whose middles a line runs between.
fn crossings(map: &Grid<u16>, line: &[Point]) -> Vec<[usize; 2]> {
    let mut pairs = Vec::new();
    for ends in line.windows(2) {
        let (a, b) = (ends[0], ends[1]);
        for (x, y) in crossed_rows((a.x, a.y), (b.x, b.y), map.height) {
            if let Some(x) = left_of(x, map.width) {
                let i = y * map.width + x;
                pairs.push([i, i + 1]);
            }
        }
        for (y, x) in crossed_rows((a.y, a.x), (b.y, b.x), map.width) {
            if let Some(y) = left_of(y, map.height) {
                let i = y * map.width + x;
                pairs.push([i, i + map.width]);
            }
        }
    }
    pairs
}

/// The rows whose middles the line from `a` to `b` crosses, each with where.
fn crossed_rows(a: (f64, f64), b: (f64, f64), height: usize) -> impl Iterator<Item = (f64, usize)> {
    let (low, high) = (a.1.min(b.1), a.1.max(b.1));
    let row = |v: f64| ((v - 0.5).ceil().max(0.0) as usize).min(height);
    (row(low)..row(high)).map(move |y| {
        let t = (y as f64 + 0.5 - a.1) / (b.1 - a.1);
        (a.0 + t * (b.0 - a.0), y)
    })
}

/// The pixel whose middle is the last before `x`, if there is one after it, too.
fn left_of(x: f64, width: usize) -> Option<usize> {
    let left = (x - 0.5).floor();
    (left >= 0.0 && left + 1.0 < width as f64).then_some(left as usize)
}

/// The pieces of all sections, from 1 in reading order, if nothing crosses the `fence`. What is too small stays with the
/// piece it has the longest cut with.
fn pieces(map: &Grid<u16>, fence: &[[usize; 2]], least_px: usize) -> Grid<u32> {
    let mut touched = vec![false; usize::from(u16::MAX) + 1];
    for &[i, _] in fence {
        touched[usize::from(map.data[i])] = true;
    }
    let closed = |i: usize, j: usize| fence.binary_search(&[i.min(j), i.max(j)]).is_ok();
    // Sections that no line touches keep their ids for now; pieces of the others come behind.
    let mut piece = map.map(u32::from);
    let first = u32::from(u16::MAX) + 1;
    let mut next = first;
    for start in 0..map.data.len() {
        let id = map.data[start];
        if !touched[usize::from(id)] || piece.data[start] >= first {
            continue;
        }
        piece.data[start] = next;
        let mut open = vec![start];
        while let Some(i) = open.pop() {
            for j in map.neighbors(i) {
                if map.data[j] == id && piece.data[j] < first && !closed(i, j) {
                    piece.data[j] = next;
                    open.push(j);
                }
            }
        }
        next += 1;
    }
    let root = homes(&piece, fence, first, (next - first) as usize, least_px);
    // In reading order.
    let mut number = vec![0u32; next as usize];
    let mut count = 0;
    for p in &mut piece.data {
        if *p >= first {
            *p = root[(*p - first) as usize];
        }
        if *p > 0 && number[*p as usize] == 0 {
            count += 1;
            number[*p as usize] = count;
        }
    }
    piece.map(|p| number[p as usize])
}

/// What every one of the `count` pieces from `first` belongs to in the end.
fn homes(
    piece: &Grid<u32>,
    fence: &[[usize; 2]],
    first: u32,
    count: usize,
    least_px: usize,
) -> Vec<u32> {
    // The largest square that ends at each pixel.
    let mut side = vec![0usize; piece.data.len()];
    let mut roomiest = vec![0usize; count];
    let w = piece.width;
    for (i, &p) in piece.data.iter().enumerate().filter(|(_, p)| **p >= first) {
        let inner = i % w > 0 && i >= w;
        let before = inner.then(|| [i - 1, i - w, i - w - 1]);
        side[i] = 1 + before
            .filter(|before| before.iter().all(|&j| piece.data[j] == p))
            .map_or(0, |before| {
                before.map(|j| side[j]).into_iter().min().unwrap_or(0)
            });
        let roomiest = &mut roomiest[(p - first) as usize];
        *roomiest = side[i].max(*roomiest);
    }
    let mut contacts: BTreeMap<(u32, u32), usize> = BTreeMap::new();
    for &[i, j] in fence {
        let (p, q) = (piece.data[i], piece.data[j]);
        if p != q {
            *contacts.entry((p, q)).or_default() += 1;
            *contacts.entry((q, p)).or_default() += 1;
        }
    }
    let mut root: Vec<u32> = (0..count as u32).map(|k| first + k).collect();
    for k in (0..count).filter(|&k| roomiest[k] < least_px) {
        let own = first + k as u32;
        let longest = contacts
            .range((own, 0)..=(own, u32::MAX))
            .filter(|((_, other), _)| root[(*other - first) as usize] != root[k])
            .max_by_key(|((_, other), length)| (**length, u32::MAX - other));
        if let Some(((_, other), _)) = longest {
            let (from, to) = (root[k], root[(*other - first) as usize]);
            for r in root.iter_mut().filter(|r| **r == from) {
                *r = to;
            }
        }
    }
    root
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sections::number::Section;

    /// One section of 60 x 40 pixels.
    fn field() -> Sections {
        let map = Grid::filled(60, 40, 1u32);
        measured(&map, |_| (1, 0), Cuts::none())
    }

    fn sizes(sections: &Sections) -> Vec<usize> {
        sections.list.iter().map(|s: &Section| s.area_px).collect()
    }

    #[test]
    fn a_line_from_rim_to_rim_makes_two_of_one_band() {
        let halves = cut(&field(), &[vec![[2.0, -1.0], [2.0, 5.0]]], 0.1).unwrap();
        assert_eq!(sizes(&halves), [20 * 40, 40 * 40]);
        assert!(halves.list.iter().all(|s| (s.cell, s.band) == (1, 0)));
        assert!(halves.cuts.part(19, 20) && !halves.cuts.part(20, 21));
        // Slanted, and with ends that stop short.
        let slanted = cut(&field(), &[vec![[0.5, 0.5], [3.7, 3.7]]], 0.1).unwrap();
        assert_eq!(slanted.list.len(), 2);
        let [a, b] = sizes(&slanted)[..] else {
            panic!()
        };
        assert_eq!(a + b, 60 * 40);
        assert!((a.min(b) as f64 - 800.0).abs() < 25.0, "{a} {b}");
    }

    #[test]
    fn a_loop_cuts_out_what_lies_in_it_and_crossing_lines_make_four() {
        // Its ends do not quite meet.
        let around: Vec<[f64; 2]> = (1..60)
            .map(|k| f64::from(k) * std::f64::consts::TAU / 60.0)
            .map(|t| [3.0 + t.cos(), 2.0 + t.sin()])
            .collect();
        let island = cut(&field(), &[around], 0.1).unwrap();
        let inside = sizes(&island)[1] as f64;
        assert!((inside - 314.0).abs() < 6.0, "{inside}");
        let cross = [vec![[3.0, -1.0], [3.0, 5.0]], vec![[-1.0, 2.0], [7.0, 2.0]]];
        assert_eq!(sizes(&cut(&field(), &cross, 0.1).unwrap()), [600; 4]);
        // One that only reaches another.
        let tee = [vec![[3.0, -1.0], [3.0, 5.0]], vec![[-1.0, 2.0], [3.0, 2.0]]];
        assert_eq!(cut(&field(), &tee, 0.1).unwrap().list.len(), 3);
    }

    #[test]
    fn what_is_narrower_than_any_pen_stays_with_the_other_side() {
        let beside_the_rim = vec![[-1.0, 0.3], [3.0, 0.3], [3.0, 5.0]];
        let halves = cut(&field(), &[beside_the_rim], 0.1).unwrap();
        assert_eq!(sizes(&halves), [30 * 40 + 30 * 3, 30 * 37]);
        let hair = vec![[-1.0, 0.3], [7.0, 0.3]];
        assert!(cut(&field(), &[hair], 0.1).is_err());
    }

    #[test]
    fn a_line_that_parts_nothing_is_refused_by_where_it_is() {
        let good = vec![[2.0, -1.0], [2.0, 5.0]];
        for idle in [
            vec![[1.5, 1.5], [4.0, 2.0]],
            vec![[7.0, 0.0], [9.0, 5.0]],
            vec![[1e300, -1e300], [-1e300, -1e300]],
            vec![[3.0, 2.0], [3.0, 2.0]],
        ] {
            let said = cut(&field(), &[good.clone(), idle.clone()], 0.1).unwrap_err();
            let start = format!("[{}, {}]", idle[0][0], idle[0][1]);
            assert!(said.to_string().contains(&start), "{said}");
        }
    }
}
