//! All images on top of each other: what of their ink shows, which image every place belongs to, and who hides whom.

use kurbo::{Affine, Rect};

use crate::art::{Lines, trace_lines};
use crate::error::{Error, Result};
use crate::frame::{Frame, MM_PER_PX};
use crate::grid::Grid;
use crate::job::{ImageChoices, Lies};

use super::{Ground, Image, Read, middle, sampled};

/// Ink of an image on what is solid in front of it shows from this area on, in square millimeters; from memory.
const SHOWS_MM2: f64 = 0.05;

/// The ink of one image where it lies.
pub struct Inked {
    /// Left and top in the frame, in pixels; may lie outside of it.
    left: i64,
    top: i64,
    lines: Lines,
}

impl Inked {
    pub fn of(read: &Read, image: &Image) -> Self {
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
pub fn front_to_back(choices: &[ImageChoices], images: &[Image]) -> Vec<usize> {
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
pub struct Stacked {
    pub wall: Grid<bool>,
    pub dots: Grid<bool>,
    /// Index of the image plus 1 per pixel of the frame, 0 where none is solid.
    pub owner: Grid<u8>,
    /// Pairs of an image and one behind it whose ink would show on it.
    pub hides: Vec<(usize, usize)>,
    /// What is wholly hidden, by image.
    pub hidden: Vec<bool>,
    /// Pixels of ink on its ground, by image.
    ink: Vec<usize>,
}

impl Stacked {
    /// `front` are the images from front to back.
    pub fn of(
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
            hidden: vec![true; images.len()],
            ink: vec![0; images.len()],
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
                    stacked.ink[k] += usize::from(ink);
                    let before = stacked.owner.data[i];
                    if before > 0 {
                        if ink && !stacked.wall.data[i] {
                            harm[usize::from(before) - 1] += 1;
                        }
                        continue;
                    }
                    stacked.hidden[k] &= !ink;
                    stacked.wall.data[i] |= lines.wall.data[c];
                    stacked.dots.data[i] |= lines.dots.data[c];
                    if sampled(solid, back * middle(x as usize, y as usize)).unwrap_or(false) {
                        stacked.owner.data[i] = k as u8 + 1;
                    }
                }
            }
            let least = SHOWS_MM2 / (MM_PER_PX * MM_PER_PX);
            let harmed = (0..images.len()).filter(|&f| harm[f] as f64 >= least);
            // What is wholly hidden is not stamped: nothing is masked for it.
            if !stacked.hidden[k] {
                stacked.hides.extend(harmed.map(|f| (f, k)));
            }
        }
        stacked
    }
}

/// Left, top, right and bottom in pixels of the frame.
pub fn px_rect(rect: Rect, frame: Frame) -> [usize; 4] {
    let px = |v: f64, most: usize| ((v / frame.mm_per_px).round() as usize).min(most);
    [
        px(rect.x0, frame.width),
        px(rect.y0, frame.height),
        px(rect.x1, frame.width),
        px(rect.y1, frame.height),
    ]
}

/// Refuses a stamp beside the panel, and tells of what is wholly hidden.
pub fn check_shown(images: &[Image], stacked: &Stacked, warnings: &mut Vec<String>) -> Result<()> {
    for (k, image) in images.iter().enumerate() {
        if stacked.ink[k] == 0 {
            return Err(Error::new(
                format!("the stamp {} lies beside the panel", image.name),
                "Write at = [x, y], where its middle lies, in millimeters from the top left of the panel.",
            ));
        }
        if stacked.hidden[k] {
            warnings.push(format!(
                "{} is wholly hidden by what lies in front of it: it need not be stamped.",
                image.name
            ));
        }
    }
    Ok(())
}

/// Tells of stamps that overlap though nothing says which lies in front.
pub fn untold(choices: &[ImageChoices], images: &[Image], hides: &[(usize, usize)]) -> Vec<String> {
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
