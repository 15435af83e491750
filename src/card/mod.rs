//! The card: several arts stamped onto one panel, in front of and behind each other, and pieces on card of their own.
//!
//! Panel and pieces lie side by side in one working frame, so that every later stage sees one drawing: one number, one
//! pass, whatever they color. The drawn lines of all images are composed before cells are found; where an image lies
//! behind, its lines are hidden by what is solid in front of it. Every cell knows which image it belongs to, and which
//! cell of that image's art it is.

mod lay;
mod nest;
mod order;
mod shape;
mod stack;
mod told;

pub use nest::{Spot, nest};
pub use order::{EXACT, StampOrder, Step, masks_of, order};
pub use shape::{Edge, Rings};
pub use told::told;

use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use std::path::Path;

use kurbo::{Affine, ParamCurve, ParamCurveArclen, Point, Rect};
use rayon::prelude::*;

use crate::art::{Cells, Lines, Page, Threshold, find_cells, find_lines, load_page, with_openings};
use crate::error::{Error, Result};
use crate::files::Files;
use crate::frame::{Frame, MM_PER_PX};
use crate::grid::Grid;
use crate::job::CardChoices;
use crate::length::round2;

use lay::lay;
use stack::{Inked, Stacked, check_shown, front_to_back, px_rect, untold};

/// So far under the edge of a glued piece the panel is colored, in millimeters; from memory.
const UNDER_EDGE_MM: f64 = 1.0;
/// A sheet of card in the working frame: the panel, or one that pieces are stamped on.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    /// Left, top, width and height, in millimeters of the working frame.
    pub rect: Rect,
}

/// An art as it lies upright.
#[derive(Debug)]
pub struct Art {
    pub frame: Frame,
    pub lines: Lines,
    pub cells: Cells,
    /// What hides things behind it.
    pub solid: Grid<bool>,
    /// The outline of that, in millimeters of the art.
    pub outline: Rings,
    /// The same with line ends that stick out.
    pub whole: Rings,
}

/// One art as it is stamped once.
#[derive(Debug, Clone, PartialEq)]
pub struct Image {
    /// Index in the job: stamps, then pieces.
    pub entry: usize,
    pub name: String,
    /// Index in the arts.
    pub art: usize,
    /// Index in the grounds.
    pub ground: usize,
    /// From millimeters of the art to those of the working frame.
    pub to_frame: Affine,
    /// Where a piece is cut, in millimeters of the art.
    pub cut: Option<Rings>,
    /// Where a piece is glued: from millimeters of the art to those of the panel.
    pub glued: Option<Affine>,
}

/// Which cell of which image a cell of the frame is.
pub type CellSource = Option<(usize, u16)>;

/// Everything that is stamped, and what of it shows.
#[derive(Debug)]
pub struct Card {
    /// The panel, then the sheets of pieces.
    pub grounds: Vec<Ground>,
    pub arts: Vec<Art>,
    /// Stamps in the order of the job, then pieces.
    pub images: Vec<Image>,
    /// Index of the image plus 1 per pixel of the frame, 0 where none is solid.
    pub owner: Grid<u8>,
    /// Index of the piece plus 1 that is glued over a pixel of the panel, its edge aside.
    pub cover: Grid<u8>,
    /// By the cell's number; 0 is no cell.
    pub sources: Vec<CellSource>,
    /// Pairs of an image and one behind it whose ink would show on it.
    pub hides: Vec<(usize, usize)>,
    /// What is wholly hidden by what lies in front of it, by image: it is not stamped at all.
    pub hidden: Vec<bool>,
    /// What a person should know of how things lie.
    pub warnings: Vec<String>,
}

impl Card {
    /// The sheet of card under a pixel of the frame, if there is one.
    pub fn ground_at(&self, x: usize, y: usize) -> Option<usize> {
        let at = middle(x, y);
        self.grounds.iter().position(|g| g.rect.contains(at))
    }

    /// Left, top, right and bottom of every sheet of card, in pixels of the frame.
    pub fn extents(&self, frame: Frame) -> Vec<(usize, usize, usize, usize)> {
        let grounds = self.grounds.iter();
        let extents = grounds.map(|g| px_rect(g.rect, frame).into());
        extents.collect()
    }

    /// Marks the pixels of the frame along which pieces are cut.
    pub fn mark_cuts(&self, marked: &mut Grid<bool>) {
        for image in &self.images {
            let Some(cut) = &image.cut else { continue };
            let path = cut.placed(image.to_frame).path();
            for segment in path.segments() {
                // Twice in every pixel.
                let steps = (segment.arclen(0.1) / MM_PER_PX * 2.0).ceil().max(1.0);
                for k in 0..=steps as usize {
                    let at = segment.eval(k as f64 / steps);
                    let (x, y) = (at.x / MM_PER_PX, at.y / MM_PER_PX);
                    let inside = x >= 0.0 && y >= 0.0;
                    if inside && (x as usize) < marked.width && (y as usize) < marked.height {
                        marked.data[y as usize * marked.width + x as usize] = true;
                    }
                }
            }
        }
    }
}

/// The drawing of a card: frame, lines, cells, and where they come from.
pub struct Composed {
    pub frame: Frame,
    pub lines: Lines,
    pub cells: Cells,
    pub card: Card,
}

/// An art's page besides, for stamping it turned.
struct Read {
    art: Art,
    page: Page,
    flat: Grid<u8>,
    threshold: Threshold,
}

/// Lays all images of a card into one working frame. With `background` the panel around its stamps is a cell, or several,
/// to be colored, too. `gaps_mm` are the gap that is closed, and the widest that could be.
///
/// # Errors
/// If an art is missing or no drawing, a piece is larger than its sheet, or a stamp or a glued piece does not lie on the
/// panel.
pub fn compose(
    files: &Files,
    choices: &CardChoices,
    gaps_mm: &RangeInclusive<f64>,
    background: bool,
) -> Result<Composed> {
    let gap_mm = *gaps_mm.start();
    let (art_of, read) = read_arts(files, choices, gaps_mm)?;
    let arts: Vec<&Art> = read.iter().map(|r| &r.art).collect();
    let (grounds, images) = lay(choices, &art_of, &arts)?;
    check_glued(&images, &arts, grounds[0].rect)?;
    let size = grounds.iter().fold(Rect::ZERO, |all, g| all.union(g.rect));
    let frame = Frame::of([size.x1, size.y1]);
    let inked: Vec<Inked> = images
        .par_iter()
        .map(|image| Inked::of(&read[image.art], image))
        .collect();
    let front = front_to_back(&choices.images, &images);
    let stacked = Stacked::of(&front, &images, &inked, &read, &grounds, frame);
    let mut warnings = Vec::new();
    check_shown(&images, &stacked, &mut warnings)?;

    let lines = Lines {
        wall: stacked.wall,
        dots: stacked.dots,
    };
    let cells = find_cells(&lines.wall, gap_mm, frame.mm_per_px, true)?;
    let open = background.then(|| px_rect(grounds[0].rect, frame));
    let cells = cells.parted(&stacked.owner, &lines.wall, open, frame.mm_per_px);
    if cells.count == 0 {
        return Err(Error::new(
            "the stamps close off no area that could be colored",
            "Close the outlines of the arts, or raise --gap.",
        ));
    }
    let sources = sources(&cells, &stacked.owner, &images, &read);
    warnings.extend(untold(&choices.images, &images, &stacked.hides));
    let cover = cover(&images, frame);
    let arts = read.into_iter().map(|r| r.art).collect();
    Ok(Composed {
        frame,
        lines,
        cells,
        card: Card {
            grounds,
            arts,
            images,
            owner: stacked.owner,
            cover,
            sources,
            hides: stacked.hides,
            hidden: stacked.hidden,
            warnings,
        },
    })
}

/// Every art once for every width it is stamped at, and which of them every entry of the job is.
fn read_arts(
    files: &Files,
    choices: &CardChoices,
    gaps_mm: &RangeInclusive<f64>,
) -> Result<(Vec<usize>, Vec<Read>)> {
    let mut keys: Vec<(&Path, f64)> = Vec::new();
    let art_of = choices
        .images
        .iter()
        .map(|image| {
            let key = (image.art.as_path(), image.width.mm());
            keys.iter().position(|k| *k == key).unwrap_or_else(|| {
                keys.push(key);
                keys.len() - 1
            })
        })
        .collect();
    let read: Vec<Result<Read>> = keys
        .par_iter()
        .map(|&(name, width_mm)| read_art(files, name, width_mm, gaps_mm))
        .collect();
    Ok((art_of, read.into_iter().collect::<Result<_>>()?))
}

fn read_art(
    files: &Files,
    name: &Path,
    width_mm: f64,
    gaps_mm: &RangeInclusive<f64>,
) -> Result<Read> {
    let page = load_page(name, files.get(name)?, None, None)?;
    let size_mm = page.size_mm(Some(width_mm)).unwrap_or([width_mm; 2]);
    let frame = Frame::of(size_mm);
    let flat = page.flatten(frame.width, frame.height, frame.mm_per_px)?;
    let threshold = Threshold::of(&flat, name)?;
    let lines = find_lines(flat.clone(), frame.mm_per_px, name)?;
    let cells = find_cells(&lines.wall, *gaps_mm.start(), frame.mm_per_px, false)
        .map_err(|e| with_openings(e, &lines.wall, gaps_mm, frame.mm_per_px))
        .map_err(|e| e.about(&name.display().to_string()))?;
    let solid = cells.solid(&lines.wall, frame.mm_per_px);
    let edge = Edge {
        page: &flat,
        level: threshold.edge(),
    };
    let outline = Rings::around(&solid, edge, frame.mm_per_px);
    let whole = Rings::around(&cells.outside.map(|o| !o), edge, frame.mm_per_px);
    Ok(Read {
        art: Art {
            frame,
            lines,
            cells,
            solid,
            outline,
            whole,
        },
        page,
        flat,
        threshold,
    })
}

/// The middle of a pixel of the frame, in millimeters.
pub fn middle(x: usize, y: usize) -> Point {
    Point::new((x as f64 + 0.5) * MM_PER_PX, (y as f64 + 0.5) * MM_PER_PX)
}

/// The value at a place in millimeters; `None` beyond the grid.
pub fn sampled<T: Copy>(grid: &Grid<T>, at: Point) -> Option<T> {
    let (x, y) = (at.x / MM_PER_PX, at.y / MM_PER_PX);
    let inside = x >= 0.0 && y >= 0.0 && x < grid.width as f64 && y < grid.height as f64;
    inside.then(|| grid.at(x as usize, y as usize))
}

/// What of the outside lies on the panel; all of it without a card.
pub fn panel_outside(outside: &Grid<bool>, card: Option<&Card>) -> Grid<bool> {
    let Some(card) = card else {
        return outside.clone();
    };
    let (width, height) = (outside.width, outside.height);
    let panel = card.grounds[0].rect;
    let data = (0..width * height)
        .map(|i| outside.data[i] && panel.contains(middle(i % width, i / width)));
    Grid {
        width,
        height,
        data: data.collect(),
    }
}

/// Refuses a piece that is glued beside the panel.
fn check_glued(images: &[Image], arts: &[&Art], panel: Rect) -> Result<()> {
    for image in images {
        let (Some(cut), Some(glued)) = (&image.cut, image.glued) else {
            continue;
        };
        // What lies beyond all bounds has no outline that could be held against the panel.
        let near = glued.transform_rect_bbox(cut.bounds()).overlaps(panel);
        if !near || cut.placed(glued).clipped(panel).0.is_empty() {
            let [w, h] = arts[image.art].frame.size_mm;
            let at = glued * Point::new(w / 2.0, h / 2.0);
            return Err(Error::new(
                format!(
                    "the piece {} is glued at {:?}, beside the panel of {:.0} x {:.0} mm",
                    image.name,
                    [at.x, at.y].map(round2),
                    panel.width(),
                    panel.height()
                ),
                "Write in at where the middle of each comes to lie, in millimeters from the top left of the panel, or \
                 leave it out.",
            ));
        }
    }
    Ok(())
}

/// Which piece is glued over every pixel of the panel; of several the last. What lies under a piece's edge is colored all
/// the same: a piece is never glued to the hair.
fn cover(images: &[Image], frame: Frame) -> Grid<u8> {
    let mut cover = Grid::filled(frame.width, frame.height, 0u8);
    for (k, image) in images.iter().enumerate() {
        let (Some(cut), Some(glued)) = (&image.cut, image.glued) else {
            continue;
        };
        let inside = cut.offset(-UNDER_EDGE_MM).placed(glued).mask(frame);
        for (c, inside) in cover.data.iter_mut().zip(inside.data) {
            if inside {
                *c = k as u8 + 1;
            }
        }
    }
    cover
}

/// Which cell of which image every cell is: the one that most of its pixels show.
fn sources(cells: &Cells, owner: &Grid<u8>, images: &[Image], read: &[Read]) -> Vec<CellSource> {
    let back: Vec<Affine> = images.iter().map(|i| i.to_frame.inverse()).collect();
    let mut votes: Vec<BTreeMap<(usize, u16), usize>> = vec![BTreeMap::new(); cells.count + 1];
    let width = owner.width;
    for (i, &cell) in cells.map.data.iter().enumerate() {
        let (Some(k), true) = (usize::from(owner.data[i]).checked_sub(1), cell > 0) else {
            continue;
        };
        let at = back[k] * middle(i % width, i / width);
        let shown = sampled(&read[images[k].art].art.cells.map, at).unwrap_or(0);
        if shown > 0 {
            *votes[usize::from(cell)].entry((k, shown)).or_default() += 1;
        }
    }
    let most = |votes: &BTreeMap<(usize, u16), usize>| {
        let best = votes
            .iter()
            .max_by_key(|(key, n)| (**n, std::cmp::Reverse(**key)));
        best.map(|(key, _)| *key)
    };
    votes.iter().map(most).collect()
}
