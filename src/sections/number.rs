//! The label field in the full frame, and its connected pieces: the sections.

use imageproc::region_labelling::Connectivity;
use kurbo::Point;
use rayon::prelude::*;

use crate::grid::{Grid, squared_distance_to_rim};

use super::regular::fill_from_neighbors;

/// Standard deviation, in half-resolution pixels, of the weights that bring the labels to the full frame.
const UPSAMPLE_SIGMA: f32 = 1.2;
/// Reach of those weights, in half-resolution pixels.
const UPSAMPLE_REACH: isize = 2;
/// Sections that can be numbered: in a map of 16 bits 0 is none, and the last value is what lies beyond the frame (see
/// `borders`).
pub const MOST_SECTIONS: usize = u16::MAX as usize - 1;

/// One connected piece of one band inside one cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// From 1, in reading order of the topmost pixels.
    pub id: u16,
    pub cell: u16,
    /// Index of the band.
    pub band: usize,
    pub area_px: usize,
    /// Diameter of the largest inscribed circle, in pixels.
    pub width_px: f64,
    /// Center of that circle, in pixels.
    pub center: (usize, usize),
}

/// What cuts part.
#[derive(Debug, Clone, PartialEq)]
pub struct Cuts {
    /// The lines as drawn, in pixels.
    pub lines: Vec<Vec<Point>>,
    /// Neighboring pixels of one section that are of two now, lesser index first, in order.
    pub parted: Vec<[usize; 2]>,
}

impl Cuts {
    pub fn none() -> Self {
        Self {
            lines: Vec::new(),
            parted: Vec::new(),
        }
    }

    /// Whether a cut runs between two neighboring pixels.
    pub fn part(&self, i: usize, j: usize) -> bool {
        self.parted.binary_search(&[i.min(j), i.max(j)]).is_ok()
    }
}

/// The sections in the working frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Sections {
    /// Section id per pixel; 0 on drawn lines and where nothing is colored.
    pub map: Grid<u16>,
    pub list: Vec<Section>,
    /// What parts sections of one cell and band, or did before one was merged.
    pub cuts: Cuts,
}

impl Sections {
    /// The section at a point in millimeters from the top left; `None` on lines and where nothing is colored.
    pub fn at(&self, [x, y]: [f64; 2], mm_per_px: f64) -> Option<&Section> {
        let (px, py) = ((x / mm_per_px).floor(), (y / mm_per_px).floor());
        let (width, height) = (self.map.width as f64, self.map.height as f64);
        let inside = px >= 0.0 && py >= 0.0 && px < width && py < height;
        let id = inside.then(|| self.map.at(px as usize, py as usize))?;
        self.list.get(usize::from(id).checked_sub(1)?)
    }

    /// The same with another band for each.
    pub fn with_bands(&self, band: impl Fn(usize) -> usize) -> Self {
        let mut other = self.clone();
        for section in &mut other.list {
            section.band = band(section.band);
        }
        other
    }
}

/// Brings the labels to the full frame and numbers their connected pieces. `cells` is the full frame; pieces smaller
/// than `least_px` that are not alone in their cell are given to their neighbors.
pub fn number_sections(
    label: &Grid<u8>,
    half_cells: &Grid<u16>,
    cells: &Grid<u16>,
    least_px: usize,
) -> Sections {
    let mut full = upsampled(label, half_cells, cells);
    fill_from_neighbors(&mut full, cells);

    // Crumbs that the finer grid broke off go to their neighbors; the largest piece of a cell always stays.
    let (mut found, count, mut squared) = pieces_and_rims(&keys(&full, cells));
    let mut size = vec![0usize; count + 1];
    let mut cell_of = vec![0u16; count + 1];
    for (&p, &c) in found.data.iter().zip(&cells.data) {
        size[p as usize] += 1;
        cell_of[p as usize] = c;
    }
    let cell_count = usize::from(cells.data.iter().copied().max().unwrap_or(0));
    let mut largest = vec![0usize; cell_count + 1];
    for p in 1..=count {
        let best = &mut largest[usize::from(cell_of[p])];
        if *best == 0 || size[p] > size[*best] {
            *best = p;
        }
    }
    let crumb = |p: usize| p > 0 && size[p] < least_px && largest[usize::from(cell_of[p])] != p;
    if (1..=count).any(crumb) {
        for (l, &p) in full.data.iter_mut().zip(&found.data) {
            if crumb(p as usize) {
                *l = 0;
            }
        }
        fill_from_neighbors(&mut full, cells);
        (found, _, squared) = pieces_and_rims(&keys(&full, cells));
    }
    listed(
        &found,
        &squared,
        |i| (cells.data[i], usize::from(full.data[i]) - 1),
        Cuts::none(),
    )
}

/// The sections of connected pieces that are numbered from 1 in reading order (0: not colored). `of` gives the cell and
/// the band at a pixel.
pub fn measured(pieces: &Grid<u32>, of: impl Fn(usize) -> (u16, usize), cuts: Cuts) -> Sections {
    listed(pieces, &squared_distance_to_rim(pieces), of, cuts)
}

/// The connected pieces of equal keys, how many there are, and the squared distances to their rims: neighbors of one key
/// are of one piece, so that neither waits for the other.
fn pieces_and_rims(key: &Grid<u32>) -> (Grid<u32>, usize, Vec<f64>) {
    let ((pieces, count), squared) = rayon::join(
        || key.pieces(Connectivity::Four),
        || squared_distance_to_rim(key),
    );
    (pieces, count, squared)
}

/// See [`measured`]; `squared` are the squared distances to the pieces' rims.
fn listed(
    pieces: &Grid<u32>,
    squared: &[f64],
    of: impl Fn(usize) -> (u16, usize),
    cuts: Cuts,
) -> Sections {
    // That many there cannot be: the largest sheet has room for 64 100 of the smallest cells, see `art::cells`.
    let count = (pieces.data.iter().copied().max().unwrap_or(0) as usize).min(MOST_SECTIONS);
    let mut list: Vec<Section> = (1..=count)
        .map(|p| Section {
            id: p as u16,
            cell: 0,
            band: 0,
            area_px: 0,
            width_px: -1.0,
            center: (0, 0),
        })
        .collect();
    for (i, &p) in pieces.data.iter().enumerate() {
        if p == 0 || p as usize > count {
            continue;
        }
        let s = &mut list[p as usize - 1];
        (s.cell, s.band) = of(i);
        s.area_px += 1;
        if squared[i] > s.width_px {
            s.width_px = squared[i];
            s.center = (i % pieces.width, i / pieces.width);
        }
    }
    for s in &mut list {
        s.width_px = 2.0 * s.width_px.sqrt() + 1.0;
    }
    Sections {
        map: pieces.map(|p| if p as usize > count { 0 } else { p as u16 }),
        list,
        cuts,
    }
}

/// One key per cell and label; 0 where either is 0.
fn keys(label: &Grid<u8>, cells: &Grid<u16>) -> Grid<u32> {
    Grid {
        width: label.width,
        height: label.height,
        data: label
            .data
            .iter()
            .zip(&cells.data)
            .map(|(&l, &c)| {
                if l == 0 || c == 0 {
                    0
                } else {
                    u32::from(c) << 8 | u32::from(l)
                }
            })
            .collect(),
    }
}

/// Where all labels and cells around are equal, so that there is nothing to weigh. Read line after line, so that it is
/// not so at the ends of a row if the next one begins otherwise.
fn calm(label: &Grid<u8>, cells: &Grid<u16>) -> Vec<bool> {
    let key = keys(label, cells).data;
    let (width, across) = (label.width, 2 * UPSAMPLE_REACH as usize);
    let as_next = |step: usize| -> Vec<bool> {
        let pairs = key.iter().zip(key.iter().skip(step));
        pairs.map(|(here, next)| here == next).collect()
    };
    let rows = all_of(&all_of(&as_next(1), 1, across), width, across + 1);
    let columns = all_of(&as_next(width), width, across);
    let (above, before) = (across / 2 * width, across / 2);
    let mut calm = vec![false; key.len()];
    let middles = calm.iter_mut().skip(above + before);
    for (calm, (row, column)) in middles.zip(rows.iter().zip(columns.iter().skip(before))) {
        *calm = row & column;
    }
    calm
}

/// Whether all of `count` flags that lie `step` apart are set, for every first one.
fn all_of(flags: &[bool], step: usize, count: usize) -> Vec<bool> {
    let mut all = flags.to_vec();
    for k in 1..count {
        let later = flags.iter().skip(k * step);
        all.truncate(later.len());
        for (all, later) in all.iter_mut().zip(later) {
            *all &= later;
        }
    }
    all
}

/// Every pixel of the full frame takes the label that weighs most around it, among the pixels of its own cell.
fn upsampled(label: &Grid<u8>, half_cells: &Grid<u16>, cells: &Grid<u16>) -> Grid<u8> {
    let r = UPSAMPLE_REACH;
    let (hw, hh) = (label.width as isize, label.height as isize);
    let calm = calm(label, half_cells);
    // A pixel of the full frame lies a quarter of a half-resolution pixel left or right of that one's middle.
    let kernel: [Vec<f32>; 2] = [-0.25, 0.25].map(|middle: f32| {
        (-r..=r)
            .map(|k| (-(k as f32 - middle).powi(2) / (2.0 * UPSAMPLE_SIGMA.powi(2))).exp())
            .collect()
    });
    let labels = usize::from(label.data.iter().copied().max().unwrap_or(0));
    let mut full = Grid::filled(cells.width, cells.height, 0u8);
    full.data
        .par_chunks_mut(cells.width)
        .enumerate()
        .for_each(|(y, row)| {
            let mut weights = vec![0.0f32; labels + 1];
            for (x, out) in row.iter_mut().enumerate() {
                let cell = cells.at(x, y);
                if cell == 0 {
                    continue;
                }
                let (hx, hy) = ((x / 2) as isize, (y / 2) as isize);
                let home = (hy * hw + hx) as usize;
                if calm[home] && half_cells.data[home] == cell {
                    *out = label.data[home];
                    continue;
                }
                weights.fill(0.0);
                let (wx, wy) = (&kernel[x % 2], &kernel[y % 2]);
                for v in (hy - r).max(0)..=(hy + r).min(hh - 1) {
                    for u in (hx - r).max(0)..=(hx + r).min(hw - 1) {
                        let j = (v * hw + u) as usize;
                        if half_cells.data[j] == cell {
                            weights[usize::from(label.data[j])] +=
                                wx[(u - hx + r) as usize] * wy[(v - hy + r) as usize];
                        }
                    }
                }
                let mut best = 0;
                for l in 1..weights.len() {
                    if weights[l] > weights[best] {
                        best = l;
                    }
                }
                *out = best as u8;
            }
        });
    full
}
