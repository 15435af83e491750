//! Cells: the areas that drawn lines close off, gaps in the lines included.
//!
//! Gap closing is the trapped-ball fill of Zhang et al. (2009, "Vectorizing cartoon animations") in the form of a
//! watershed: a ball as wide as the widest gap cannot roll from one cell into the next, so the places its center can
//! reach are the cores of the cells; the cores then grow toward the lines, widest places first, and meet in the gaps
//! where those are narrowest (Meyer 1994, "Topographic distance and watershed lines").

use std::collections::{BTreeMap, VecDeque};

use imageproc::region_labelling::Connectivity;

use crate::error::{Error, Result};
use crate::grid::{Grid, squared_distance, within};
use crate::reference::{Silhouette, fill_holes};

/// Cells smaller than this are flecks between lines and stay bare, in square millimeters; from memory.
const FLECK_MM2: f64 = 0.6;
/// Cells narrower than this cannot be colored with any marker and stay bare, in millimeters; from memory.
const HAIR_MM: f64 = 0.5;
/// Two cells are one if the smaller is at most this many times as wide as the place they meet at; from memory.
const CORRIDOR: f64 = 1.8;
/// Where ink runs off the frame, a cell cut by the frame for less than this is no part of the outside but a shape
/// that grazes the edge, in millimeters; from memory.
const GRAZE_MM: f64 = 3.0;

/// Line ends thinner than this that stick out of the drawing are no part of its silhouette, in millimeters; from
/// memory.
const WHISKER_MM: f64 = 1.2;
/// Lines up to this width part cells of one silhouette, in millimeters; from memory.
const STOUT_LINE_MM: f64 = 2.4;

/// The cells of the art in the working frame.
#[derive(Debug, Clone)]
pub struct Cells {
    /// 0 on drawn lines and where nothing is colored (outside, flecks), else the cell, from 1.
    pub map: Grid<u16>,
    /// Number of cells.
    pub count: usize,
    /// True where the pixel lies outside the subject.
    pub outside: Grid<bool>,
    /// The frame cuts off something that the drawing encloses; it was taken as outside.
    pub cut_at_edge: bool,
}

impl Cells {
    /// One cell, the whole subject: a job without art.
    pub fn single(subject: &Grid<bool>) -> Self {
        Self {
            map: subject.map(u16::from),
            count: 1,
            outside: subject.map(|s| !s),
            cut_at_edge: false,
        }
    }

    /// No cell: a drawing that closes off nothing.
    pub(super) fn none(wall: &Grid<bool>) -> Self {
        Self {
            map: wall.map(|_| 0),
            count: 0,
            outside: wall.map(|wall| !wall),
            cut_at_edge: false,
        }
    }

    /// What the outermost drawn lines enclose, at half resolution and without line ends that stick out.
    pub fn silhouette(&self, mm_per_px: f64) -> Silhouette {
        let inside = self.outside.halved(|[outside, ..]| !outside);
        let radius = WHISKER_MM / 2.0 / (2.0 * mm_per_px);
        let kept = grown(&inside.map(|i| !i), radius).map(|near| !near);
        let mut opened = grown(&kept, radius);
        for (o, &i) in opened.data.iter_mut().zip(&inside.data) {
            *o &= i;
        }
        Silhouette {
            mask: opened,
            scale: 2.0,
        }
    }

    /// What the drawn lines around the chosen cells enclose, at half resolution.
    pub fn silhouette_of(&self, chosen: impl Fn(u16) -> bool + Sync, mm_per_px: f64) -> Silhouette {
        let inside = self.map.halved(|[cell, ..]| cell > 0 && chosen(cell));
        let others = self.map.halved(|[cell, ..]| cell > 0 && !chosen(cell));
        // Closing by half the width of a stout line joins what such lines part.
        let radius = STOUT_LINE_MM / 2.0 / (2.0 * mm_per_px);
        let around = grown(&inside, radius).map(|near| !near);
        let mut closed = grown(&around, radius).map(|near| !near);
        for i in 0..closed.data.len() {
            closed.data[i] = (closed.data[i] || inside.data[i]) && !others.data[i];
        }
        Silhouette {
            mask: fill_holes(&closed),
            scale: 2.0,
        }
    }

    /// The cell at a point in millimeters from the top left; `None` on lines and outside.
    pub fn cell_at(&self, [x, y]: [f64; 2], mm_per_px: f64) -> Option<u16> {
        let (px, py) = (x / mm_per_px, y / mm_per_px);
        let inside =
            px >= 0.0 && py >= 0.0 && px < self.map.width as f64 && py < self.map.height as f64;
        let cell = if inside {
            self.map.at(px as usize, py as usize)
        } else {
            0
        };
        (cell > 0).then_some(cell)
    }

    /// Everything the outermost drawn lines enclose, with these lines, at full resolution: what hides things behind it.
    /// Line ends that stick out hide nothing.
    pub fn solid(&self, ink: &Grid<bool>, mm_per_px: f64) -> Grid<bool> {
        let inside = self.outside.map(|o| !o);
        let radius = WHISKER_MM / 2.0 / mm_per_px;
        let kept = grown(&inside.map(|i| !i), radius).map(|near| !near);
        let opened = grown(&kept, radius);
        let enclosed = Grid {
            width: ink.width,
            height: ink.height,
            data: inside
                .data
                .iter()
                .zip(&ink.data)
                .map(|(&i, &ink)| i && !ink)
                .collect(),
        };
        // Opening rounds the tips of leaves; the ink around what is enclosed keeps them.
        let beside = grown(&enclosed, 2.0 * radius);
        Grid {
            width: ink.width,
            height: ink.height,
            data: (0..ink.data.len())
                .map(|i| inside.data[i] && (!ink.data[i] || opened.data[i] || beside.data[i]))
                .collect(),
        }
    }

    /// The same cells parted between the images that own them: `owner` is 0 where nothing lies, which becomes the
    /// outside. It is colored, too, in the rectangle `open` (left, top, right and bottom in pixels), if there is one.
    /// What is too small to be colored stays bare.
    pub fn parted(
        &self,
        owner: &Grid<u8>,
        wall: &Grid<bool>,
        open: Option<[usize; 4]>,
        mm_per_px: f64,
    ) -> Self {
        let (width, height) = (owner.width, owner.height);
        let is_open = |i: usize| {
            let (x, y) = (i % width, i / width);
            open.is_some_and(|[x0, y0, x1, y1]| (x0..x1).contains(&x) && (y0..y1).contains(&y))
        };
        // Connected pieces of one cell and one owner.
        let n = width * height;
        let mut piece = vec![0u32; n];
        let mut sizes = vec![0usize];
        let mut left = Vec::new();
        let key = |i: usize| (self.map.data[i], owner.data[i], is_open(i));
        for start in 0..n {
            let owned = owner.data[start] > 0 || is_open(start);
            if piece[start] > 0 || !owned || self.map.data[start] == 0 {
                continue;
            }
            let label = sizes.len() as u32;
            sizes.push(0);
            piece[start] = label;
            left.push(start);
            while let Some(i) = left.pop() {
                sizes[label as usize] += 1;
                for j in owner.neighbors(i) {
                    if piece[j] == 0 && key(j) == key(start) {
                        piece[j] = label;
                        left.push(j);
                    }
                }
            }
        }
        let least = FLECK_MM2 / (mm_per_px * mm_per_px);
        let mut number = vec![0u16; sizes.len()];
        let mut count = 0usize;
        for (label, &size) in sizes.iter().enumerate().skip(1) {
            if size as f64 >= least && count < usize::from(u16::MAX) {
                count += 1;
                number[label] = count as u16;
            }
        }
        Self {
            map: Grid {
                width,
                height,
                data: piece.iter().map(|&p| number[p as usize]).collect(),
            },
            count,
            outside: Grid {
                width,
                height,
                data: (0..n)
                    .map(|i| owner.data[i] == 0 && !wall.data[i])
                    .collect(),
            },
            cut_at_edge: false,
        }
    }

    /// Which cells, by number, lie outside the subject; those that are colored all the same.
    pub fn outside_cells(&self) -> Vec<bool> {
        let mut outside = vec![false; self.count + 1];
        for (&cell, &o) in self.map.data.iter().zip(&self.outside.data) {
            outside[usize::from(cell)] |= o && cell > 0;
        }
        outside
    }

    /// The cell under each of `bare` (millimeters from the top left).
    ///
    /// # Errors
    /// If a point lies on no cell.
    pub fn cells_at(&self, bare: &[[f64; 2]], mm_per_px: f64) -> Result<Vec<u16>> {
        let found = |&[x, y]: &[f64; 2]| {
            self.cell_at([x, y], mm_per_px).ok_or_else(|| {
                Error::new(
                    format!("the point [{x}, {y}] of bare_cells lies in no cell of the drawing"),
                    "Give a point inside the cell, in millimeters from the top left; steps/cells.png (--steps) shows the cells.",
                )
            })
        };
        bare.iter().map(found).collect()
    }

    /// Leaves these cells bare.
    pub fn clear(&mut self, bare: &[u16]) {
        if bare.is_empty() {
            return;
        }
        clear_cells(&mut self.map, bare);
    }
}

/// Leaves these cells of a map bare.
pub fn clear_cells(map: &mut Grid<u16>, bare: &[u16]) {
    let last = bare.iter().copied().max().unwrap_or(0);
    let mut is_bare = vec![false; usize::from(last) + 1];
    for &cell in bare {
        is_bare[usize::from(cell)] = true;
    }
    for v in &mut map.data {
        if is_bare.get(usize::from(*v)) == Some(&true) {
            *v = 0;
        }
    }
}

/// True within `radius` pixels of where `mask` is.
fn grown(mask: &Grid<bool>, radius: f64) -> Grid<bool> {
    Grid {
        width: mask.width,
        height: mask.height,
        data: within(mask, radius * radius),
    }
}

/// Finds the cells between the walls; gaps up to `gap_mm` are closed. The outside is left uncolored unless
/// `background`.
///
/// # Errors
/// If the walls close off nothing that could be colored.
pub fn find_cells(
    wall: &Grid<bool>,
    gap_mm: f64,
    mm_per_px: f64,
    background: bool,
) -> Result<Cells> {
    let squared = squared_distance(wall);
    let (label, outside) = parted_spaces(wall, &squared, gap_mm, mm_per_px);
    let count = outside.len() - 1;
    let mut pixels = vec![0usize; count + 1];
    let mut roomiest = vec![0.0f64; count + 1];
    for (&l, &d) in label.data.iter().zip(&squared) {
        pixels[l as usize] += 1;
        roomiest[l as usize] = roomiest[l as usize].max(d);
    }
    let fleck = |l: usize| (pixels[l] as f64) * mm_per_px * mm_per_px < FLECK_MM2;
    let mut number = vec![0u16; count + 1];
    let mut next = 0usize;
    for l in 1..=count {
        let hair = 2.0 * roomiest[l].sqrt() * mm_per_px < HAIR_MM;
        if !fleck(l) && !hair && (background || !outside[l]) && next < usize::from(u16::MAX) {
            next += 1;
            number[l] = next as u16;
        }
    }
    if next == 0 {
        return Err(Error::new(
            "the drawing closes off no area that could be colored",
            "Close the outlines, raise --gap, or color the outside, too, with --background.",
        ));
    }
    Ok(Cells {
        map: label.map(|l| number[l as usize]),
        count: next,
        outside: label.map(|l| l > 0 && outside[l as usize]),
        cut_at_edge: is_cut_at_edge(&label, |l| outside[l] && !fleck(l)),
    })
}

/// The spaces between the walls, from 1, gaps up to `gap_mm` closed, and which of them are the outside (0 is none).
/// `squared` are squared distances to the walls.
pub(super) fn parted_spaces(
    wall: &Grid<bool>,
    squared: &[f64],
    gap_mm: f64,
    mm_per_px: f64,
) -> (Grid<u32>, Vec<bool>) {
    let (width, height) = (wall.width, wall.height);
    let mut label = spaces(width, height, squared, gap_mm / mm_per_px / 2.0);
    merge_corridors(&mut label, squared);
    let count = label.data.iter().copied().max().unwrap_or(0) as usize;
    let ink_at_edge = edge_pixels(width, height).any(|i| wall.data[i]);
    let outside = outside_cells(&label, ink_at_edge, count, mm_per_px);
    (label, outside)
}

/// The spaces between the walls that a ball of this radius, in pixels, cannot leave, and those that it does not fit
/// into; from 1, 0 on the walls. `squared` are squared distances to the walls.
fn spaces(width: usize, height: usize, squared: &[f64], ball: f64) -> Grid<u32> {
    let components = |inside: Vec<bool>| {
        let inside = Grid {
            width,
            height,
            data: inside,
        };
        inside.pieces(Connectivity::Four)
    };
    // Cores: where the ball's center can go. Spaces no ball fits into are cores of their own.
    let open = squared.iter().map(|&d| d > 0.0 && d > ball * ball);
    let (mut label, cores) = components(open.collect());
    flood(&mut label, squared);
    let left = squared.iter().zip(&label.data);
    let (narrow, _) = components(left.map(|(&d, &l)| d > 0.0 && l == 0).collect());
    for (l, &space) in label.data.iter_mut().zip(&narrow.data) {
        if space > 0 {
            *l = cores as u32 + space;
        }
    }
    label
}

/// Whether the file's edge cuts something. A line that runs to the edge, and a drawing that fills its file, part the
/// surroundings into areas that hold corners of the file; what the edge cuts lies between two lines along one side.
/// `large_outside` tells of spaces by label.
fn is_cut_at_edge(label: &Grid<u32>, large_outside: impl Fn(usize) -> bool) -> bool {
    let (right, bottom) = (label.width - 1, label.height - 1);
    let corners = [(0, 0), (right, 0), (0, bottom), (right, bottom)];
    let at_corner = corners.map(|(x, y)| label.at(x, y));
    edge_pixels(label.width, label.height)
        .map(|i| label.data[i])
        .any(|l| l > 0 && !at_corner.contains(&l) && large_outside(l as usize))
}

/// Grows labels over unlabeled pixels off the walls, widest places first.
fn flood(label: &mut Grid<u32>, squared: &[f64]) {
    // One queue per squared distance: all are whole numbers up to the square of the ball's radius.
    let unlabeled = squared.iter().zip(&label.data).filter(|(_, l)| **l == 0);
    let deepest = unlabeled.map(|(&d, _)| d as usize).max().unwrap_or(0);
    let mut queues: Vec<VecDeque<(usize, usize)>> = vec![VecDeque::new(); deepest + 1];
    // What lies beside an unlabeled pixel is deeper by a step at most.
    let beside = ((deepest as f64).sqrt() + 1.0).powi(2).ceil();
    for i in 0..squared.len() {
        if label.data[i] > 0 && squared[i] <= beside {
            for j in label.neighbors(i) {
                if label.data[j] == 0 && squared[j] > 0.0 {
                    queues[squared[j] as usize].push_back((j, i));
                }
            }
        }
    }
    for level in (0..queues.len()).rev() {
        while let Some((j, from)) = queues[level].pop_front() {
            if label.data[j] > 0 {
                continue;
            }
            label.data[j] = label.data[from];
            for k in label.neighbors(j) {
                if label.data[k] == 0 && squared[k] > 0.0 {
                    queues[(squared[k] as usize).min(level)].push_back((k, j));
                }
            }
        }
    }
}

/// Merges touching cells where what parts them is no gap in a line but a narrow place in a narrow space: where the
/// smaller of the two is hardly roomier than the place they meet at.
fn merge_corridors(label: &mut Grid<u32>, squared: &[f64]) {
    let count = label.data.iter().copied().max().unwrap_or(0) as usize;
    let mut room = vec![0.0f64; count + 1];
    // The roomiest place where two cells meet.
    let mut passages: BTreeMap<(u32, u32), f64> = BTreeMap::new();
    let (width, pixels) = (label.width, label.data.len());
    for start in (0..pixels).step_by(width.max(1)) {
        for i in start..start + width {
            let a = label.data[i];
            room[a as usize] = room[a as usize].max(squared[i]);
            let right = (i + 1 < start + width).then_some(i + 1);
            let below = (i + width < pixels).then_some(i + width);
            for j in right.into_iter().chain(below) {
                let b = label.data[j];
                if a != b && a > 0 && b > 0 {
                    let passage = passages.entry((a.min(b), a.max(b))).or_default();
                    *passage = passage.max(squared[i].min(squared[j]));
                }
            }
        }
    }
    let mut root: Vec<u32> = (0..=count as u32).collect();
    let find = |root: &[u32], mut l: u32| {
        while root[l as usize] != l {
            l = root[l as usize];
        }
        l
    };
    let mut order: Vec<((u32, u32), f64)> = passages.into_iter().collect();
    order.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    for ((a, b), passage) in order {
        let (a, b) = (find(&root, a), find(&root, b));
        let smaller = room[a as usize].min(room[b as usize]);
        if a != b && smaller < CORRIDOR * CORRIDOR * passage {
            let (low, high) = (a.min(b), a.max(b));
            root[high as usize] = low;
            room[low as usize] = room[a as usize].max(room[b as usize]);
        }
    }
    for l in &mut label.data {
        *l = find(&root, *l);
    }
}

/// Which cells are the outside: all that reach the frame. Where ink runs off the frame, too, a cell may merely graze
/// it and still be part of the subject.
fn outside_cells(label: &Grid<u32>, ink_at_edge: bool, count: usize, mm_per_px: f64) -> Vec<bool> {
    let mut touch = vec![0usize; count + 1];
    for i in edge_pixels(label.width, label.height) {
        touch[label.data[i] as usize] += 1;
    }
    let least = if ink_at_edge {
        (GRAZE_MM / mm_per_px) as usize
    } else {
        0
    };
    (0..=count).map(|l| l > 0 && touch[l] > least).collect()
}

/// The pixels along the frame.
fn edge_pixels(width: usize, height: usize) -> impl Iterator<Item = usize> {
    let rows = (0..width).flat_map(move |x| [x, (height - 1) * width + x]);
    rows.chain((1..height.saturating_sub(1)).flat_map(move |y| [y * width, y * width + width - 1]))
}
