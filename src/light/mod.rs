//! Color and light without a photo: parts of the drawing with a color each, given a form and lit.
//!
//! The outline gives the form (`inflate`), the lamp the light on it (`shade`), as deep as in the photos beside it
//! (`ambient`), and what lies in front its shadow (`shadow`). The picture that comes out enters the flow where a laid photo does.
//!
//! Like the label field, all of it works at half the working frame's resolution.

mod ambient;
mod inflate;
mod shade;
mod shadow;

pub use ambient::ambient_of;
pub use inflate::{Node, inflate};
pub(crate) use shade::Paint;
pub use shade::{Lamp, dot, normals};
pub(crate) use shadow::cast;

use std::collections::VecDeque;

use imageproc::region_labelling::Connectivity;
use rayon::prelude::*;

use crate::art::{Cells, Lines};
use crate::color::Srgb8;
use crate::grid::{Blur, Grid, Window, halves, squared_distance};
use crate::job::WhiteShadows;

/// What a part encloses lies on its form (seeds, eyes, dots) if it is at most this share as wide; wider, it is a hole.
/// From memory.
const LIES_ON: f64 = 0.45;
/// Nearer to the rim than this, ink belongs to the outline and is no crease, in millimeters; from memory.
const OUTLINE_MM: f64 = 0.8;
/// Lines within a part that are shorter than this share of its width lie on its form (a bird's toes on a branch); longer
/// ones can crease it. From memory.
const SHORT_LINE: f64 = 0.6;
/// The edge of a cast shadow is blurred by this, so that it goes over into the form's own shadow without a corner, in
/// millimeters; chosen by looking at a bear, flowers and a snail, at 0, 0.6 and 1.
const PENUMBRA_MM: f64 = 1.0;

/// Cells that are one thing of one color.
#[derive(Debug, Clone, PartialEq)]
pub struct LitPart {
    pub cells: Vec<u16>,
    /// Its middle tone.
    pub color: Srgb8,
    /// The pen that is its middle tone, if the job says so.
    pub pen: Option<String>,
    /// 0 to 1, see [`normals`].
    pub roundness: f64,
    /// 0 (matte) to 1 (the middle of its highlight is white).
    pub gloss: f64,
    /// How deep drawn lines within it cut its form, 0 (not at all) to 1 (down to the rim).
    pub crease: f64,
    /// Parts that lie behind it, by index.
    pub over: Vec<usize>,
    /// Length of the shadow it casts on them, in millimeters on the panel.
    pub shadow_mm: f64,
}

/// The lit parts in the working frame.
#[derive(Debug, Clone)]
pub struct Lit {
    /// sRGB; white where no part is.
    pub picture: Grid<[u8; 3]>,
    /// True where a part is, half of the drawn lines around it included.
    pub subject: Grid<bool>,
    /// The part that every cell belongs to, by the cell's number (0 is no cell).
    pub part_of_cell: Vec<Option<usize>>,
}

/// Gives every part its form and lights it.
pub fn light_parts(
    parts: &[LitPart],
    lamp: &Lamp,
    white_shadows: WhiteShadows,
    cells: &Cells,
    lines: &Lines,
    mm_per_px: f64,
) -> Lit {
    let mut part_of_cell = vec![None; cells.count + 1];
    for (p, part) in parts.iter().enumerate() {
        for &cell in &part.cells {
            part_of_cell[usize::from(cell)] = Some(p);
        }
    }
    let cell = nearest_cells(cells);
    let owner = cell.map(|c| part_of_cell[usize::from(c)]);
    let wall = lines.wall.halved(|[wall, ..]| wall);
    let shown: Vec<Vec<(usize, Srgb8)>> = (0..parts.len())
        .into_par_iter()
        .map(|p| {
            lit_pixels(
                p,
                parts,
                (lamp, white_shadows),
                &owner,
                &cell,
                &wall,
                2.0 * mm_per_px,
            )
        })
        .collect();

    let mut half: Grid<Option<Srgb8>> = Grid::filled(owner.width, owner.height, None);
    for (i, color) in shown.into_iter().flatten() {
        half.data[i] = Some(color);
    }
    let (width, height) = (cells.map.width, cells.map.height);
    let at = |i: usize| half.at(i % width / 2, i / width / 2);
    Lit {
        picture: Grid {
            width,
            height,
            data: (0..width * height)
                .map(|i| at(i).map_or([255; 3], |c| c.0))
                .collect(),
        },
        subject: Grid {
            width,
            height,
            data: (0..width * height).map(|i| at(i).is_some()).collect(),
        },
        part_of_cell,
    }
}

/// The parts that lie over each other in a circle, see [`crate::job::circle`].
pub(crate) fn circle_of(parts: &[LitPart]) -> Option<Vec<usize>> {
    let over: Vec<Vec<usize>> = parts.iter().map(|p| p.over.clone()).collect();
    crate::job::circle(&over)
}

/// The nearest cell of every pixel, so that cells meet in the middle of drawn lines; 0 outside. Half resolution.
fn nearest_cells(cells: &Cells) -> Grid<u16> {
    // A block that a line runs through is neither cell nor outside, or lines would be nearer to one than the other.
    let known = halves(cells.map.width, cells.map.height, |block| {
        let found = block.map(|i| (cells.map.data[i], cells.outside.data[i]));
        let (cell, is_outside) = found[0];
        (found.iter().all(|f| *f == found[0]) && (cell > 0 || is_outside)).then_some(cell)
    });
    let mut cell = known.map(|c| c.unwrap_or(0));
    if known.data.iter().any(Option::is_some) {
        cell.spread(&known.map(|c| c.is_some()));
    }
    cell
}

/// The pixels of part `p` and their colors.
fn lit_pixels(
    p: usize,
    parts: &[LitPart],
    (lamp, white_shadows): (&Lamp, WhiteShadows),
    owner: &Grid<Option<usize>>,
    cell: &Grid<u16>,
    wall: &Grid<bool>,
    mm_per_px: f64,
) -> Vec<(usize, Srgb8)> {
    let part = &parts[p];
    let casters: Vec<usize> = (0..parts.len())
        .filter(|&q| parts[q].over.contains(&p))
        .collect();
    let margin = casters
        .iter()
        .map(|&q| (parts[q].shadow_mm / mm_per_px).ceil() as usize)
        .max()
        .unwrap_or(0);
    let Some(window) = Window::around(owner, |o| o == Some(p)) else {
        return Vec::new();
    };
    let (frame, window) = (owner, window.widened(margin + 2, owner));
    let owner = frame.cut_out(window);
    let mine = owner.map(|o| o == Some(p));
    let nodes = nodes_of(&mine, &owner, &casters);
    let (cell, wall) = (cell.cut_out(window), wall.cut_out(window));
    let u = creased(&nodes, part.crease, &cell, &mine, &wall, mm_per_px);
    let form = nodes.map(|n| n == Node::Form);
    let normals = normals(&u, &form, part.roundness, mm_per_px);
    let shadowed = shadow_of(&casters, parts, &owner, lamp, mm_per_px);
    let paint = Paint::new(part.color, part.gloss, part.roundness, white_shadows);
    let inside: Vec<usize> = (0..mine.data.len()).filter(|&i| mine.data[i]).collect();
    let mut open: Vec<f64> = inside
        .iter()
        .map(|&i| paint.light(normals[i], lamp, 0.0))
        .collect();
    let middle = open.len() / 2;
    let middle = *open.select_nth_unstable_by(middle, f64::total_cmp).1;
    inside
        .into_iter()
        .map(|i| {
            let light = paint.light(normals[i], lamp, shadowed.data[i]);
            let highlight = (1.0 - shadowed.data[i]) * paint.highlight(normals[i], lamp);
            (
                window.index_in(frame, i),
                paint.shade(light / middle, highlight),
            )
        })
        .collect()
}

/// The form `u` of `inflate`, cut along the drawn lines within it, by `depth` of its height where they are deepest.
fn creased(
    nodes: &Grid<Node>,
    depth: f64,
    cell: &Grid<u16>,
    mine: &Grid<bool>,
    wall: &Grid<bool>,
    mm_per_px: f64,
) -> Grid<f64> {
    let u = inflate(nodes, mm_per_px);
    if depth <= 0.0 {
        return u;
    }
    let creases = creases(nodes, cell, mine, wall, mm_per_px);
    if creases.data.iter().all(|&crease| crease <= 0.0) {
        return u;
    }
    let mut held = nodes.clone();
    for (i, &crease) in creases.data.iter().enumerate() {
        if crease > 0.0 {
            // The depth is a share of the height, u is its square.
            held.data[i] = Node::Held(u.data[i] * (1.0 - depth * crease).powi(2));
        }
    }
    inflate(&held, mm_per_px)
}

/// How much of the lamp's light the parts `casters` keep away, 0 to 1.
fn shadow_of(
    casters: &[usize],
    parts: &[LitPart],
    owner: &Grid<Option<usize>>,
    lamp: &Lamp,
    mm_per_px: f64,
) -> Grid<f64> {
    let mut shadowed = Grid::filled(owner.width, owner.height, false);
    for &q in casters {
        let caster = owner.map(|o| o == Some(q));
        let shadow = cast(&caster, lamp, parts[q].shadow_mm, mm_per_px);
        for (s, more) in shadowed.data.iter_mut().zip(shadow.data) {
            *s |= more;
        }
    }
    softened(&shadowed, PENUMBRA_MM / mm_per_px)
}

/// A mask with its edges blurred by this standard deviation, 0 to 1.
fn softened(mask: &Grid<bool>, sigma_px: f64) -> Grid<f64> {
    let mut sum: Vec<f32> = mask.data.iter().map(|&m| f32::from(u8::from(m))).collect();
    let mut weight = vec![1.0f32; sum.len()];
    let blur = Blur::new(sigma_px as f32);
    blur.sum(&mut sum, mask.width, mask.height);
    blur.sum(&mut weight, mask.width, mask.height);
    Grid {
        width: mask.width,
        height: mask.height,
        data: sum
            .iter()
            .zip(&weight)
            .map(|(s, w)| f64::from(s / w).clamp(0.0, 1.0))
            .collect(),
    }
}

/// What every pixel is to the form of the part that `mine` marks: small things that it encloses lie on it, and what
/// covers it ends it nowhere.
pub(crate) fn nodes_of(
    mine: &Grid<bool>,
    owner: &Grid<Option<usize>>,
    casters: &[usize],
) -> Grid<Node> {
    let mut nodes = Grid {
        width: mine.width,
        height: mine.height,
        data: (0..mine.data.len())
            .map(|i| {
                if mine.data[i] {
                    Node::Form
                } else if owner.data[i].is_some_and(|o| casters.contains(&o)) {
                    Node::Covered
                } else {
                    Node::Beyond
                }
            })
            .collect(),
    };
    let rest = mine.map(|m| !m);
    let rest_depth = depth(&rest);
    let (pieces, count) = rest.pieces(Connectivity::Four);
    let mut deepest = vec![0.0f64; count + 1];
    let mut at_edge = vec![false; count + 1];
    for (i, &piece) in pieces.data.iter().enumerate() {
        let (x, y) = (i % mine.width, i / mine.width);
        let d = &mut deepest[piece as usize];
        *d = d.max(rest_depth[i]);
        at_edge[piece as usize] |= x == 0 || y == 0 || x + 1 == mine.width || y + 1 == mine.height;
    }
    // As wide as the part would be without anything on it.
    let whole = pieces.map(|piece| piece == 0 || !at_edge[piece as usize]);
    let widest = depth(&whole).into_iter().fold(0.0, f64::max);
    for (node, &piece) in nodes.data.iter_mut().zip(&pieces.data) {
        let piece = piece as usize;
        if piece > 0 && !at_edge[piece] && deepest[piece] <= LIES_ON * widest {
            *node = Node::Form;
        }
    }
    nodes
}

/// How deep every pixel of the form is cut by drawn lines, 0 to 1: lines between two of its cells all along, lines
/// that end inside a cell less and less toward their end.
fn creases(
    nodes: &Grid<Node>,
    cell: &Grid<u16>,
    mine: &Grid<bool>,
    wall: &Grid<bool>,
    mm_per_px: f64,
) -> Grid<f64> {
    let form = nodes.map(|n| n == Node::Form);
    let depth = depth(&form);
    let widest = 2.0 * depth.iter().copied().fold(0.0, f64::max);
    let outline = OUTLINE_MM / mm_per_px;
    let mut crease = Grid::filled(form.width, form.height, 0.0);
    // Between two cells of the part: where the nearest cell changes.
    let between = |i: usize| {
        form.neighbors(i)
            .any(|j| mine.data[j] && cell.data[j] != cell.data[i])
    };
    for i in 0..form.data.len() {
        if mine.data[i] && between(i) {
            crease.data[i] = 1.0;
        }
    }
    // Lines that end inside: pieces of ink that no two cells meet along.
    let ink = Grid {
        width: form.width,
        height: form.height,
        data: (0..form.data.len())
            .map(|i| mine.data[i] && wall.data[i] && depth[i] > outline)
            .collect(),
    };
    let (pieces, count) = ink.pieces(Connectivity::Eight);
    let mut pixels: Vec<Vec<usize>> = vec![Vec::new(); count + 1];
    for (i, &piece) in pieces.data.iter().enumerate() {
        pixels[piece as usize].push(i);
    }
    for piece in &pixels[1..] {
        if piece.iter().any(|&i| crease.data[i] > 0.0) {
            continue;
        }
        // It begins where it comes out of the outline; a line that touches it nowhere lies on the form.
        let starts: Vec<usize> = piece
            .iter()
            .copied()
            .filter(|&i| depth[i] < outline + 2.0)
            .collect();
        let along = steps_from(&starts, piece, &form);
        let longest = along.iter().copied().max().unwrap_or(0) as f64;
        if starts.is_empty() || longest < SHORT_LINE * widest {
            continue;
        }
        for (&i, &step) in piece.iter().zip(&along) {
            crease.data[i] = 1.0 - step as f64 / longest;
        }
    }
    crease
}

/// How many steps from pixel to pixel each of `piece` is from `starts`.
fn steps_from(starts: &[usize], piece: &[usize], grid: &Grid<bool>) -> Vec<usize> {
    let place = |i: usize| piece.binary_search(&i).ok();
    let mut steps = vec![usize::MAX; piece.len()];
    let mut queue: VecDeque<usize> = VecDeque::new();
    for at in starts.iter().filter_map(|&i| place(i)) {
        steps[at] = 0;
        queue.push_back(at);
    }
    while let Some(at) = queue.pop_front() {
        let (x, y) = (piece[at] % grid.width, piece[at] / grid.width);
        for ny in y.saturating_sub(1)..=(y + 1).min(grid.height - 1) {
            for nx in x.saturating_sub(1)..=(x + 1).min(grid.width - 1) {
                if let Some(next) = place(ny * grid.width + nx)
                    && steps[next] == usize::MAX
                {
                    steps[next] = steps[at] + 1;
                    queue.push_back(next);
                }
            }
        }
    }
    steps
        .iter()
        .map(|&s| if s == usize::MAX { 0 } else { s })
        .collect()
}

/// Distance of every marked pixel to the nearest one that is not, in pixels; 0 for those. Beyond the grid nothing is
/// marked.
fn depth(mask: &Grid<bool>) -> Vec<f64> {
    let (width, height) = (mask.width, mask.height);
    let mut beyond = Grid::filled(width + 2, height + 2, true);
    for (y, row) in mask.data.chunks(width.max(1)).enumerate() {
        let at = (y + 1) * beyond.width + 1;
        for (beyond, &marked) in beyond.data[at..].iter_mut().zip(row) {
            *beyond = !marked;
        }
    }
    let squared = squared_distance(&beyond);
    let rows = squared.chunks(width + 2).skip(1).take(height);
    rows.flat_map(|row| row[1..=width].iter().map(|d| d.sqrt()))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(cells: &[u16], over: &[usize]) -> LitPart {
        LitPart {
            cells: cells.to_vec(),
            color: Srgb8::new(190, 70, 50),
            pen: None,
            roundness: 1.0,
            gloss: 0.0,
            crease: 0.0,
            over: over.to_vec(),
            shadow_mm: 0.0,
        }
    }

    #[test]
    fn parts_that_lie_over_each_other_in_a_circle_are_found() {
        let none = [part(&[1], &[1, 2]), part(&[2], &[2]), part(&[3], &[])];
        assert_eq!(circle_of(&none), None);
        let circle = [
            part(&[1], &[2]),
            part(&[2], &[]),
            part(&[3], &[3]),
            part(&[4], &[2, 1]),
        ];
        assert_eq!(circle_of(&circle), Some(vec![2, 3]));
        assert_eq!(circle_of(&[part(&[1], &[0])]), Some(vec![0]));
    }
}
