//! The panel as curves: borders to trace, the outline of every section, and the ink of the drawing.

use std::collections::BTreeSet;

use kurbo::{Affine, BezPath, Line, ParamCurve, ParamCurveNearest, PathSeg, Point};
use rayon::prelude::*;

use crate::grid::Grid;
use crate::sections::{Cuts, Sections};

use super::arcs::{BEYOND, Chain, trace_chains};
use super::parted;
use super::smooth::smooth_curve;

/// Blur along borders, in pixel cracks of the working frame (0.1 mm): a hand traces no detail below a millimeter.
const BORDER_SIGMA: f64 = 10.0;
/// Nodes along borders, in pixel cracks.
const BORDER_SPACING: usize = 8;
/// The same along what a hand drew, which stays within 0.3 mm of it.
const HAND_SIGMA: f64 = 2.5;
const HAND_SPACING: usize = 4;
/// How far, in pixels, the cracks along a cut may lie from it.
const HAND_REACH: f64 = 2.0;
/// Blur along the edges of ink: only the staircase goes.
const INK_SIGMA: f64 = 1.2;
/// Nodes along the edges of ink, in pixel cracks.
const INK_SPACING: usize = 3;
/// How far a curve may pass beside nodes that are left out, in pixel cracks: half a dot of a printer of 600 dpi.
const TOLERANCE: f64 = 0.2;
/// A border is looked at for ink at least so often, in millimeters.
const LOOK_MM: f64 = 0.8;
/// Accuracy of curve lengths, in millimeters.
const LENGTH_ACCURACY: f64 = 1e-3;

/// What an arc is there for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// A drawn line lies there already.
    Drawn,
    /// Two cells meet through a gap in a drawn line.
    Gap,
    /// Two bands meet in the label field; or, without art, the subject ends.
    Field,
    /// A cut that the person drew.
    Hand,
    /// The frame ends.
    Frame,
}

/// One shared arc between two sections (0: not colored; [`u16::MAX`]: beyond the frame).
#[derive(Debug, Clone)]
pub struct Arc {
    pub left: u16,
    pub right: u16,
    /// In millimeters from the top left of the art.
    pub path: BezPath,
    pub origin: Origin,
}

impl Arc {
    /// Whether this is a border, which has to be traced, and at which wet ink meets.
    pub fn is_border(&self) -> bool {
        matches!(self.origin, Origin::Gap | Origin::Field | Origin::Hand)
    }
}

/// The panel as curves, in millimeters from the top left of the art.
#[derive(Debug, Clone)]
pub struct Outlines {
    pub arcs: Vec<Arc>,
    /// Closed outline of every section, in the order of their ids, made of the arcs; it reaches under the drawn
    /// lines. Filled by the even-odd rule.
    pub sections: Vec<BezPath>,
    /// Drawn lines and stipple dots, filled by the even-odd rule.
    pub ink: BezPath,
    /// Length of all borders.
    pub trace_mm: f64,
    /// The pairs of sections that a thin drawn line parts, along more than a corner, each once, in order.
    pub parted: Vec<(u16, u16)>,
}

impl Outlines {
    /// The pairs of sections with a border between them, each once, in order. Sections that a drawn line parts do not
    /// touch.
    pub fn touching(&self) -> Vec<(u16, u16)> {
        let mut pairs: Vec<(u16, u16)> = self
            .arcs
            .iter()
            .filter(|a| a.is_border() && a.left != a.right)
            .filter(|a| ![a.left, a.right].iter().any(|&id| id == 0 || id == BEYOND))
            .map(|a| (a.left.min(a.right), a.left.max(a.right)))
            .collect();
        pairs.sort_unstable();
        pairs.dedup();
        pairs
    }
}

/// Turns the section map into curves. `wall` are the drawn lines, `ink` is their outline with that of the dots
/// ([`trace_mask`]); without art (`has_art` false) the edge of the subject is a border, too. Where `beyond` is true for a
/// pixel there is no card, as beyond the frame.
pub fn draw_outlines(
    sections: &Sections,
    wall: &Grid<bool>,
    ink: BezPath,
    has_art: bool,
    mm_per_px: f64,
    beyond: impl Fn(usize) -> bool,
) -> Outlines {
    // Sections and what is not colored spread under the drawn lines and meet in their middle.
    let mut map = sections.map.clone();
    map.spread(&wall.map(|ink| !ink));
    for (i, id) in map.data.iter_mut().enumerate() {
        if beyond(i) {
            *id = BEYOND;
        }
    }
    let lined = parted::parted(&map, wall, mm_per_px);
    let scale = Affine::scale(mm_per_px);
    let arcs: Vec<Arc> = trace_chains(&map)
        .into_iter()
        .flat_map(|chain| with_origins(chain, sections, &map, wall, has_art))
        .collect::<Vec<_>>()
        .into_par_iter()
        .map(|(chain, origin)| Arc {
            left: chain.left,
            right: chain.right,
            origin,
            path: scale * curve(&chain, origin, &sections.cuts),
        })
        .collect();
    // Only what shows beside the ink is traced; summed in one order, whatever the threads did.
    let lengths: Vec<f64> = arcs
        .par_iter()
        .filter(|a| a.is_border())
        .map(|a| visible_length(&a.path, wall, mm_per_px))
        .collect();
    let trace_mm = lengths.iter().fold(0.0, |sum, length| sum + length);
    Outlines {
        sections: closed_outlines(&arcs, sections.list.len()),
        arcs,
        ink,
        trace_mm,
        parted: lined,
    }
}

/// What a chain between two sections is there for, cut where that changes. `map` are the sections, spread under the
/// drawn lines.
fn with_origins(
    chain: Chain,
    sections: &Sections,
    map: &Grid<u16>,
    wall: &Grid<bool>,
    has_art: bool,
) -> Vec<(Chain, Origin)> {
    let cell_of = |id: u16| match id {
        0 | BEYOND => 0,
        id => sections.list[usize::from(id) - 1].cell,
    };
    let (left, right) = (chain.left, chain.right);
    if left == BEYOND || right == BEYOND {
        vec![(chain, Origin::Frame)]
    } else if cell_of(left) == cell_of(right) && !sections.cuts.lines.is_empty() {
        cut_off(chain, &sections.cuts, map, wall)
    } else if !has_art || cell_of(left) == cell_of(right) {
        vec![(chain, Origin::Field)]
    } else if left == 0 || right == 0 {
        vec![(chain, Origin::Drawn)]
    } else {
        parted(chain, wall)
    }
}

/// The curve along a chain of pixel corners, in pixels.
fn curve(chain: &Chain, origin: Origin, cuts: &Cuts) -> BezPath {
    let points = corners(chain);
    match origin {
        Origin::Frame => straight(&points, chain.closed),
        Origin::Hand => {
            let drawn = on_lines(&points, chain.closed, &cuts.lines);
            smooth_curve(&drawn, chain.closed, HAND_SIGMA, HAND_SPACING, TOLERANCE)
        }
        _ => smooth_curve(
            &points,
            chain.closed,
            BORDER_SIGMA,
            BORDER_SPACING,
            TOLERANCE,
        ),
    }
}

/// The outlines of so many sections, each made of its arcs.
fn closed_outlines(arcs: &[Arc], count: usize) -> Vec<BezPath> {
    let mut of_section: Vec<Vec<(usize, bool)>> = vec![Vec::new(); count + 1];
    for (i, arc) in arcs.iter().enumerate() {
        for (id, forward) in [(arc.left, true), (arc.right, false)] {
            if id != 0 && id != BEYOND {
                of_section[usize::from(id)].push((i, forward));
            }
        }
    }
    of_section[1..]
        .par_iter()
        .map(|parts| chained(arcs, parts))
        .collect()
}

/// The outline of a mask in the working frame, in millimeters, smoothed no more than the staircase asks for; filled by
/// the even-odd rule.
pub fn trace_mask(mask: &Grid<bool>, mm_per_px: f64) -> BezPath {
    let mut path = BezPath::new();
    if !mask.data.contains(&true) {
        return path;
    }
    let curves: Vec<BezPath> = mask_rings(mask)
        .par_iter()
        .map(|ring| {
            let points: Vec<Point> = ring
                .iter()
                .map(|&(x, y)| Point::new(x as f64, y as f64))
                .collect();
            Affine::scale(mm_per_px)
                * smooth_curve(&points, true, INK_SIGMA, INK_SPACING, TOLERANCE)
        })
        .collect();
    for curve in curves {
        path.extend(curve);
    }
    path
}

/// The edges of a mask as closed rings of pixel corners, which pixels that touch at a corner only do not share.
pub fn mask_rings(mask: &Grid<bool>) -> Vec<Vec<(i64, i64)>> {
    let unframed = |&(x, y): &(u32, u32)| (i64::from(x) - 1, i64::from(y) - 1);
    trace_chains(&framed(mask))
        .iter()
        .map(|chain| chain.points.iter().map(unframed).collect())
        .collect()
}

/// The ink with a rim of paper one pixel wide, so that all its edges are closed; pixels that touch at a corner only
/// are joined, so that no junction is left.
fn framed(ink: &Grid<bool>) -> Grid<u16> {
    let (w, h) = (ink.width + 2, ink.height + 2);
    let mut out = Grid::filled(w, h, false);
    for (y, row) in ink.data.chunks(ink.width.max(1)).enumerate() {
        out.data[(y + 1) * w + 1..][..ink.width].copy_from_slice(row);
    }
    join_corners(&mut out);
    // The rim of paper may have been filled at its inner edge; the outermost ring stays paper.
    for x in 0..w {
        out.data[x] = false;
        out.data[(h - 1) * w + x] = false;
    }
    for y in 0..h {
        out.data[y * w] = false;
        out.data[y * w + w - 1] = false;
    }
    // Beyond the frame counts as paper.
    out.map(|ink| if ink { 1 } else { BEYOND })
}

/// Fills a pixel where two touch at a corner only, block of four by block in reading order. That can make a new such
/// corner above or to the left, for the next round.
fn join_corners(ink: &mut Grid<bool>) {
    let (w, h) = (ink.width, ink.height);
    let block = |ink: &Grid<bool>, i: usize| [0, 1, w, w + 1].map(|step| ink.data[i + step]);
    let is_inside = |i: usize| i % w >= 1 && i % w < w - 1 && i / w >= 1 && i / w < h - 1;
    let mut next: BTreeSet<usize> = (w..(h - 1) * w - 1)
        .filter(|&i| {
            let [a, b, c, d] = block(ink, i);
            a == d && b == c && a != b && is_inside(i)
        })
        .collect();
    while !next.is_empty() {
        let mut round = std::mem::take(&mut next);
        while let Some(i) = round.pop_first() {
            let filled = match block(ink, i) {
                [true, false, false, true] => i + 1,
                [false, true, true, false] => i,
                _ => continue,
            };
            ink.data[filled] = true;
            let touched = [w + 1, w, 1, 0].map(|step| filled - step);
            for other in touched.into_iter().filter(|&other| is_inside(other)) {
                let goes_into = if other > i { &mut round } else { &mut next };
                goes_into.insert(other);
            }
        }
    }
}

/// The edge of the frame: straight, with its corners.
fn straight(points: &[Point], closed: bool) -> BezPath {
    let mut path = BezPath::new();
    let n = points.len();
    for (i, &p) in points.iter().enumerate() {
        let turns = || {
            let (before, after) = (points[(i + n - 1) % n], points[(i + 1) % n]);
            (p - before).cross(after - p) != 0.0
        };
        if i == 0 {
            path.move_to(p);
        } else if (!closed && i + 1 == n) || turns() {
            path.line_to(p);
        }
    }
    if closed {
        path.close_path();
    }
    path
}

fn corners(chain: &Chain) -> Vec<Point> {
    chain
        .points
        .iter()
        .map(|&(x, y)| Point::new(x.into(), y.into()))
        .collect()
}

/// The chain between two cells, parted where it leaves the drawn line for a gap and where it comes back.
fn parted(chain: Chain, wall: &Grid<bool>) -> Vec<(Chain, Origin)> {
    let origins: Vec<Origin> = cracks(&chain)
        .map(|pixels| match pixels.iter().any(|&(x, y)| wall.at(x, y)) {
            true => Origin::Drawn,
            false => Origin::Gap,
        })
        .collect();
    by_origin(chain, &origins)
}

/// The chain between two sections of one cell, parted where it leaves a cut for the field's own border and where it comes
/// back. Below ink it goes on as it came.
fn cut_off(chain: Chain, cuts: &Cuts, map: &Grid<u16>, wall: &Grid<bool>) -> Vec<(Chain, Origin)> {
    let mut origins: Vec<Option<Origin>> = cracks(&chain)
        .map(|[(x, y), (u, v)]| {
            let hidden = wall.at(x, y) || wall.at(u, v);
            (!hidden).then(|| match cuts.part(y * map.width + x, v * map.width + u) {
                true => Origin::Hand,
                false => Origin::Field,
            })
        })
        .collect();
    let first = origins.iter().flatten().next().copied();
    let mut last = first.unwrap_or(Origin::Field);
    for origin in &mut origins {
        last = *origin.get_or_insert(last);
    }
    let origins: Vec<Origin> = origins.into_iter().flatten().collect();
    by_origin(chain, &origins)
}

/// The pixels on both sides of every crack of a chain inside the frame.
fn cracks(chain: &Chain) -> impl Iterator<Item = [(usize, usize); 2]> {
    let n = chain.points.len();
    let count = if chain.closed { n } else { n - 1 };
    (0..count).map(move |k| beside(chain.points[k], chain.points[(k + 1) % n]))
}

/// The chain parted where the origin of its cracks changes.
fn by_origin(chain: Chain, origins: &[Origin]) -> Vec<(Chain, Origin)> {
    let (n, cracks) = (chain.points.len(), origins.len());
    // A closed chain begins where its origin changes.
    let Some(turn) = (0..cracks).find(|&k| origins[k] != origins[(k + cracks - 1) % cracks]) else {
        let origin = origins[0];
        return vec![(chain, origin)];
    };
    let first = if chain.closed { turn } else { 0 };
    let order: Vec<usize> = (0..cracks).map(|k| (first + k) % cracks).collect();
    order
        .chunk_by(|&a, &b| origins[a] == origins[b])
        .map(|run| {
            let points = run.iter().map(|&k| chain.points[k]);
            let end = chain.points[(run[run.len() - 1] + 1) % n];
            let part = Chain {
                left: chain.left,
                right: chain.right,
                closed: false,
                points: points.chain([end]).collect(),
            };
            (part, origins[run[0]])
        })
        .collect()
}

/// The points moved onto the lines they follow, in pixels; ends stay where they are.
fn on_lines(points: &[Point], closed: bool, lines: &[Vec<Point>]) -> Vec<Point> {
    let segments: Vec<Line> = lines
        .iter()
        .flat_map(|line| line.windows(2).map(|ends| Line::new(ends[0], ends[1])))
        .collect();
    let last = points.len() - 1;
    let moved = |(k, &point): (usize, &Point)| {
        if !closed && (k == 0 || k == last) {
            return point;
        }
        let nearest = segments
            .iter()
            .map(|segment| (segment, segment.nearest(point, 0.0)))
            .min_by(|a, b| a.1.distance_sq.total_cmp(&b.1.distance_sq));
        match nearest {
            Some((segment, near)) if near.distance_sq <= HAND_REACH * HAND_REACH => {
                segment.eval(near.t)
            }
            _ => point,
        }
    };
    points.iter().enumerate().map(moved).collect()
}

/// The pixels on both sides of a crack inside the frame, from one pixel corner to the next.
fn beside((x, y): (u32, u32), (u, v): (u32, u32)) -> [(usize, usize); 2] {
    let (left, top) = (x.min(u) as usize, y.min(v) as usize);
    if y == v {
        [(left, top - 1), (left, top)]
    } else {
        [(left - 1, top), (left, top)]
    }
}

/// Chains arcs into closed outlines. Any pairing at a junction gives the same even-odd fill.
fn chained(arcs: &[Arc], parts: &[(usize, bool)]) -> BezPath {
    let key = |p: Point| (p.x.to_bits(), p.y.to_bits());
    let mut path = BezPath::new();
    let directed: Vec<BezPath> = parts
        .iter()
        .map(|&(i, forward)| {
            if forward {
                arcs[i].path.clone()
            } else {
                arcs[i].path.reverse_subpaths()
            }
        })
        .collect();
    let ends: Vec<Option<(Point, Point)>> = directed
        .iter()
        .map(|p| {
            let first = p.segments().next()?.start();
            let last = p.segments().last()?.end();
            (!matches!(p.elements().last(), Some(kurbo::PathEl::ClosePath)))
                .then_some((first, last))
        })
        .collect();
    let mut used = vec![false; parts.len()];
    for start in 0..parts.len() {
        if used[start] {
            continue;
        }
        used[start] = true;
        let Some((first, mut at)) = ends[start] else {
            path.extend(directed[start].iter());
            continue;
        };
        path.extend(directed[start].iter());
        while key(at) != key(first) {
            let next = (0..parts.len())
                .find(|&k| !used[k] && ends[k].is_some_and(|(s, _)| key(s) == key(at)));
            let Some(next) = next else { break };
            used[next] = true;
            path.extend(directed[next].iter().skip(1));
            at = ends[next].expect("open arcs have ends").1;
        }
        path.close_path();
    }
    path
}

/// The length of the part of a border that does not lie on ink, in millimeters.
fn visible_length(path: &BezPath, wall: &Grid<bool>, mm_per_px: f64) -> f64 {
    use kurbo::ParamCurveArclen;
    let of_piece = |piece: PathSeg| {
        let middle = piece.eval(0.5);
        let (x, y) = (
            (middle.x / mm_per_px) as usize,
            (middle.y / mm_per_px) as usize,
        );
        let on_ink = x < wall.width && y < wall.height && wall.at(x, y);
        if on_ink {
            0.0
        } else {
            piece.arclen(LENGTH_ACCURACY)
        }
    };
    let pieces = |segment: PathSeg| {
        let count = (segment.arclen(LENGTH_ACCURACY) / LOOK_MM).ceil().max(1.0);
        let share = move |k: u32| f64::from(k) / count;
        (0..count as u32).map(move |k| segment.subsegment(share(k)..share(k + 1)))
    };
    path.segments().flat_map(pieces).map(of_piece).sum()
}
