//! The card: several arts stamped onto one panel, in front of and behind each other, and pieces on card of their own.
//!
//! Panel and pieces lie side by side in one working frame, so that every later stage sees one drawing: one number, one
//! pass, whatever they color. The drawn lines of all images are composed before cells are found; where an image lies
//! behind, its lines are hidden by what is solid in front of it. Every cell knows which image it belongs to, and which
//! cell of that image's art it is.

mod nest;
mod order;
mod shape;
mod told;

pub use nest::{Spot, nest};
pub use order::{EXACT, StampOrder, Step, masks_of, order};
pub use shape::Rings;
pub use told::told;

use std::collections::BTreeMap;
use std::path::Path;

use kurbo::{Affine, Point, Rect};
use rayon::prelude::*;

use crate::art::{Cells, Lines, Page, Threshold, find_cells, find_lines, load_page, trace_lines};
use crate::error::{Error, Result};
use crate::files::Files;
use crate::frame::{Frame, MM_PER_PX};
use crate::grid::Grid;
use crate::job::{CardChoices, ImageChoices, Lies};

/// Room between panel and pieces in the working frame, in millimeters: more than a border's blur reaches.
const APART_MM: f64 = 4.0;
/// Pieces lie on multiples of this, in millimeters: the coarsest pixels of the label field, so that equal pieces get
/// equal sections.
const RASTER_MM: f64 = 0.4;
/// Room between the cut line of a piece and the edge of its sheet, in millimeters; from memory.
const EDGE_MM: f64 = 4.0;
/// Inner corners of a cut line are rounded to this radius, in millimeters: what small scissors turn; from memory.
const SCISSORS_MM: f64 = 1.5;
/// So far under the edge of a glued piece the panel is colored, in millimeters; from memory.
const UNDER_EDGE_MM: f64 = 1.0;
/// Ink of an image on what is solid in front of it shows from this area on, in square millimeters; from memory.
const SHOWS_MM2: f64 = 0.05;

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
    /// What a person should know of how things lie.
    pub warnings: Vec<String>,
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

/// Lays all images of a card into one working frame.
///
/// # Errors
/// If an art is missing or no drawing, a piece is larger than its sheet, or a stamp does not lie on the panel.
pub fn compose(files: &Files, choices: &CardChoices, gap_mm: f64) -> Result<Composed> {
    let mut keys: Vec<(&Path, f64)> = Vec::new();
    let art_of: Vec<usize> = choices
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
        .map(|&(name, width_mm)| read_art(files, name, width_mm, gap_mm))
        .collect();
    let read = read.into_iter().collect::<Result<Vec<Read>>>()?;

    let (grounds, images) = laid_out(choices, &art_of, &read)?;
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
    let cells = cells.parted(&stacked.owner, &lines.wall, frame.mm_per_px);
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
            warnings,
        },
    })
}

fn read_art(files: &Files, name: &Path, width_mm: f64, gap_mm: f64) -> Result<Read> {
    let page = load_page(name, files.get(name)?, None, None)?;
    let size_mm = page.size_mm(Some(width_mm)).unwrap_or([width_mm; 2]);
    let frame = Frame::of(size_mm);
    let flat = page.flatten(frame.width, frame.height, frame.mm_per_px)?;
    let threshold = Threshold::of(&flat, name)?;
    let lines = find_lines(flat.clone(), frame.mm_per_px, name)?;
    let cells = find_cells(&lines.wall, gap_mm, frame.mm_per_px, false)
        .map_err(|e| e.about(&name.display().to_string()))?;
    let solid = cells.solid(&lines.wall, frame.mm_per_px);
    let outline = Rings::around(&solid, frame.mm_per_px);
    Ok(Read {
        art: Art {
            frame,
            lines,
            cells,
            solid,
            outline,
        },
        page,
        flat,
        threshold,
    })
}

/// From millimeters of an art of this size to where its middle lies at `at`, turned and mirrored about it.
pub fn placement(size_mm: [f64; 2], at: [f64; 2], turn: f64, mirror: bool) -> Affine {
    let [w, h] = size_mm;
    let across = if mirror { -1.0 } else { 1.0 };
    Affine::translate((at[0], at[1]))
        * Affine::rotate(turn.to_radians())
        * Affine::scale_non_uniform(across, 1.0)
        * Affine::translate((-w / 2.0, -h / 2.0))
}

/// The panel with its stamps, and pieces on sheets beside it.
fn laid_out(
    choices: &CardChoices,
    art_of: &[usize],
    read: &[Read],
) -> Result<(Vec<Ground>, Vec<Image>)> {
    let [w, h] = choices.panel.size.mm();
    let panel = Rect::new(0.0, 0.0, w, h);
    let mut images = Vec::new();
    let mut pieces = Vec::new();
    for (entry, image) in choices.images.iter().enumerate() {
        let art = &read[art_of[entry]].art;
        let lying = |at| placement(art.frame.size_mm, at, image.turn, image.mirror);
        let stamped = |name: String, to_frame, cut, glued| Image {
            entry,
            name,
            art: art_of[entry],
            ground: 0,
            to_frame,
            cut,
            glued,
        };
        match &image.lies {
            Lies::Panel { at, .. } => {
                images.push(stamped(image.name.clone(), lying(*at), None, None));
            }
            Lies::Apart { count, at, cut } => {
                // Pieces are cut with everything that sticks out.
                let whole = Rings::around(&art.cells.outside.map(|o| !o), art.frame.mm_per_px);
                let across = if image.mirror { -1.0 } else { 1.0 };
                let cut = whole.offset(cut.mm()).rounded_inside(SCISSORS_MM);
                for n in 0..*count {
                    let name = match count {
                        1 => image.name.clone(),
                        _ => format!("{} {}", image.name, n + 1),
                    };
                    let upright = Affine::scale_non_uniform(across, 1.0);
                    let glued = at.get(n).map(|&at| lying(at));
                    pieces.push(stamped(name, upright, Some(cut.clone()), glued));
                }
            }
        }
    }
    let mut grounds = vec![Ground { rect: panel }];
    let raster = |v: f64| (v / RASTER_MM).ceil() * RASTER_MM;
    let bounds: Vec<Rect> = pieces
        .iter()
        .map(|p| {
            let cut = p.cut.as_ref().map(|cut| cut.placed(p.to_frame).bounds());
            cut.unwrap_or(Rect::ZERO)
        })
        .collect();
    let sizes: Vec<[f64; 2]> = bounds
        .iter()
        .map(|b| {
            [
                raster(b.width()) + RASTER_MM,
                raster(b.height()) + RASTER_MM,
            ]
        })
        .collect();
    let room = raster(choices.sheet.room.mm());
    let sheet = choices.sheet.size.mm();
    let inside = sheet.map(|side| side - 2.0 * EDGE_MM);
    let Some(spots) = nest(&sizes, inside, room) else {
        let too_large = |s: &&[f64; 2]| s[0] > inside[0] || s[1] > inside[1];
        let p = sizes.iter().position(|s| too_large(&s)).unwrap_or(0);
        return Err(Error::new(
            format!(
                "the piece {} is {:.0} x {:.0} mm with its cut line, but a sheet of {} has room for {:.0} x {:.0} mm",
                pieces[p].name, sizes[p][0], sizes[p][1], choices.sheet.size, inside[0], inside[1]
            ),
            "Write [pieces] with a larger size, or make the piece smaller.",
        ));
    };
    // Only as much of every sheet as is used, side by side with the panel where that takes less of the frame.
    let sheets = spots.iter().map(|s| s.sheet + 1).max().unwrap_or(0);
    let used: Vec<[f64; 2]> = (0..sheets)
        .map(|n| {
            let mine = spots.iter().zip(&sizes).filter(|(s, _)| s.sheet == n);
            mine.fold([0.0; 2], |[w, h]: [f64; 2], (s, size)| {
                [w.max(s.at[0] + size[0]), h.max(s.at[1] + size[1])]
            })
            .map(|v| raster(v + 2.0 * EDGE_MM))
        })
        .collect();
    let stacked = |sizes: &[[f64; 2]], k: usize| sizes.iter().map(|s| s[k] + APART_MM).sum::<f64>();
    let widest = |k: usize| used.iter().map(|s| s[k]).fold(0.0, f64::max);
    let below = w.max(widest(0)) * (h + stacked(&used, 1));
    let beside = (w + APART_MM + widest(0)) * h.max(stacked(&used, 1));
    let mut at = if below <= beside {
        [0.0, raster(h + APART_MM)]
    } else {
        [raster(w + APART_MM), 0.0]
    };
    for [w, h] in used {
        let rect = Rect::new(at[0], at[1], at[0] + w, at[1] + h);
        grounds.push(Ground { rect });
        at[1] = raster(rect.y1 + APART_MM);
    }
    for ((piece, spot), bounds) in pieces.iter_mut().zip(&spots).zip(&bounds) {
        piece.ground = spot.sheet + 1;
        let origin = grounds[piece.ground].rect;
        let snapped = |v: f64| (v / RASTER_MM).round() * RASTER_MM;
        let x = snapped(origin.x0 + EDGE_MM + spot.at[0] - bounds.x0 + RASTER_MM / 2.0);
        let y = snapped(origin.y0 + EDGE_MM + spot.at[1] - bounds.y0 + RASTER_MM / 2.0);
        piece.to_frame = Affine::translate((x, y)) * piece.to_frame;
    }
    images.extend(pieces);
    Ok((grounds, images))
}

/// The ink of one image where it lies.
struct Inked {
    /// Left and top in the frame, in pixels; may lie outside of it.
    left: i64,
    top: i64,
    lines: Lines,
}

impl Inked {
    fn of(read: &Read, image: &Image) -> Self {
        let art = &read.art;
        let to_px = Affine::scale(1.0 / MM_PER_PX) * image.to_frame;
        let [a, b, c, d, e, f] = to_px.as_coeffs();
        let unit = 1.0 / MM_PER_PX;
        let near = |v: f64, to: f64| (v - to).abs() < 1e-6;
        let upright = near(a, unit) && near(b, 0.0) && near(c, 0.0) && near(d, unit);
        if upright && near(e, e.round()) && near(f, f.round()) {
            return Self {
                left: e.round() as i64,
                top: f.round() as i64,
                lines: art.lines.clone(),
            };
        }
        let [w, h] = art.frame.size_mm;
        let around = to_px.transform_rect_bbox(Rect::new(0.0, 0.0, w, h));
        let (left, top) = (around.x0.floor() as i64, around.y0.floor() as i64);
        let size = (
            (around.x1.ceil() as i64 - left).max(1) as usize,
            (around.y1.ceil() as i64 - top).max(1) as usize,
        );
        let to_canvas = Affine::translate((-left as f64, -top as f64)) * to_px;
        let flat = &read.flat;
        let page = read.page.placed(
            flat,
            art.frame.size_mm,
            art.frame.mm_per_px,
            to_canvas,
            size,
        );
        Self {
            left,
            top,
            lines: trace_lines(&page, read.threshold, MM_PER_PX),
        }
    }
}

/// Images from front to back: as `over` says, and else in the order of the job.
fn front_to_back(choices: &[ImageChoices], images: &[Image]) -> Vec<usize> {
    let over = |front: usize, behind: usize| match &choices[images[front].entry].lies {
        Lies::Panel { over, .. } => over.contains(&images[behind].entry),
        Lies::Apart { .. } => false,
    };
    let mut left: Vec<usize> = (0..images.len()).collect();
    let mut order = Vec::new();
    while !left.is_empty() {
        // A circle was refused by the job's check.
        let free = left.iter().position(|&i| !left.iter().any(|&f| over(f, i)));
        order.push(left.remove(free.unwrap_or(0)));
    }
    order
}

/// All images on top of each other.
struct Stacked {
    wall: Grid<bool>,
    dots: Grid<bool>,
    owner: Grid<u8>,
    hides: Vec<(usize, usize)>,
    /// Pixels of ink on the ground, and of those that show, of every image.
    ink: Vec<[usize; 2]>,
}

impl Stacked {
    fn of(
        front: &[usize],
        images: &[Image],
        inked: &[Inked],
        read: &[Read],
        grounds: &[Ground],
        frame: Frame,
    ) -> Self {
        let (width, height) = (frame.width, frame.height);
        let mut stacked = Self {
            wall: Grid::filled(width, height, false),
            dots: Grid::filled(width, height, false),
            owner: Grid::filled(width, height, 0),
            hides: Vec::new(),
            ink: vec![[0; 2]; images.len()],
        };
        for &k in front {
            let Inked { left, top, lines } = &inked[k];
            let solid = &read[images[k].art].art.solid;
            let back = images[k].to_frame.inverse();
            let ground = px_rect(grounds[images[k].ground].rect, frame);
            // Ink that would show on what lies in front, by image.
            let mut harm = vec![0usize; images.len()];
            let clip = |from: i64, len: usize, low: usize, high: usize| {
                let high = (high as i64).min(from + len as i64).max(low as i64);
                (low as i64).max(from)..high
            };
            for y in clip(*top, lines.wall.height, ground[1], ground[3]) {
                for x in clip(*left, lines.wall.width, ground[0], ground[2]) {
                    let c = (y - top) as usize * lines.wall.width + (x - left) as usize;
                    let i = y as usize * width + x as usize;
                    let ink = lines.wall.data[c] || lines.dots.data[c];
                    stacked.ink[k][0] += usize::from(ink);
                    let before = stacked.owner.data[i];
                    if before > 0 {
                        if ink && !stacked.wall.data[i] {
                            harm[usize::from(before) - 1] += 1;
                        }
                        continue;
                    }
                    stacked.ink[k][1] += usize::from(ink);
                    stacked.wall.data[i] |= lines.wall.data[c];
                    stacked.dots.data[i] |= lines.dots.data[c];
                    if sampled(solid, back * middle(x as usize, y as usize)).unwrap_or(false) {
                        stacked.owner.data[i] = k as u8 + 1;
                    }
                }
            }
            let least = SHOWS_MM2 / (MM_PER_PX * MM_PER_PX);
            let harmed = (0..images.len()).filter(|&f| harm[f] as f64 >= least);
            stacked.hides.extend(harmed.map(|f| (f, k)));
        }
        stacked
    }
}

/// The middle of a pixel of the frame, in millimeters.
pub fn middle(x: usize, y: usize) -> Point {
    Point::new((x as f64 + 0.5) * MM_PER_PX, (y as f64 + 0.5) * MM_PER_PX)
}

/// Left, top, right and bottom in pixels of the frame.
fn px_rect(rect: Rect, frame: Frame) -> [usize; 4] {
    let px = |v: f64, most: usize| ((v / frame.mm_per_px).round() as usize).min(most);
    [
        px(rect.x0, frame.width),
        px(rect.y0, frame.height),
        px(rect.x1, frame.width),
        px(rect.y1, frame.height),
    ]
}

/// The value at a place in millimeters; `None` beyond the grid.
pub fn sampled<T: Copy>(grid: &Grid<T>, at: Point) -> Option<T> {
    let (x, y) = (at.x / MM_PER_PX, at.y / MM_PER_PX);
    let inside = x >= 0.0 && y >= 0.0 && x < grid.width as f64 && y < grid.height as f64;
    inside.then(|| grid.at(x as usize, y as usize))
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

/// Refuses a stamp beside the panel, and tells of what is wholly hidden.
fn check_shown(images: &[Image], stacked: &Stacked, warnings: &mut Vec<String>) -> Result<()> {
    for (image, [on, shown]) in images.iter().zip(&stacked.ink) {
        if *on == 0 {
            return Err(Error::new(
                format!("the stamp {} lies beside the panel", image.name),
                "Write at = [x, y], where its middle lies, in millimeters from the top left of the panel.",
            ));
        }
        if *shown == 0 {
            warnings.push(format!(
                "{} is wholly hidden by what lies in front of it: it need not be stamped.",
                image.name
            ));
        }
    }
    Ok(())
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

/// Tells of stamps that overlap though nothing says which lies in front.
fn untold(choices: &[ImageChoices], images: &[Image], hides: &[(usize, usize)]) -> Vec<String> {
    let over = |entry: usize| match &choices[entry].lies {
        Lies::Panel { over, .. } => over.clone(),
        Lies::Apart { .. } => Vec::new(),
    };
    let said = |front: usize, behind: usize| {
        let mut open = over(front);
        let mut seen = open.clone();
        while let Some(next) = open.pop() {
            let more: Vec<usize> = over(next)
                .into_iter()
                .filter(|o| !seen.contains(o))
                .collect();
            seen.extend(&more);
            open.extend(more);
        }
        seen.contains(&behind)
    };
    hides
        .iter()
        .filter(|(f, b)| !said(images[*f].entry, images[*b].entry))
        .map(|&(f, b)| {
            let (front, behind) = (&images[f].name, &images[b].name);
            format!(
                "{front} and {behind} overlap, and nothing says which lies in front: {front} was taken, which comes \
                 first in the job (over = [\"{behind}\"] says so, or the other way round)."
            )
        })
        .collect()
}
