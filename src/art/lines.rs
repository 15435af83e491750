//! Drawn lines: which pixels of the page are ink.

use std::path::Path;

use imageproc::contrast::otsu_level;
use imageproc::region_labelling::Connectivity;

use crate::error::{Error, Result};
use crate::grid::Grid;

/// Ink must be darker than paper by this much of the 255 gray levels, or there is no drawing; from memory.
const LEAST_CONTRAST: u8 = 40;
/// Where from the threshold (0) to the paper (1) a pixel still belongs to the line it touches; from memory.
const FAINT: f32 = 0.45;
/// Ink specks smaller than this are dust, in square millimeters; from memory.
const DUST_MM2: f64 = 0.03;
/// Pieces of ink that fit a square of this side are stipple dots, in millimeters; from memory.
const DOT_MM: f64 = 1.6;

/// The ink of the art in the working frame.
#[derive(Debug, Clone)]
pub struct Lines {
    /// Drawn lines and solid black areas: walls that no section crosses.
    pub wall: Grid<bool>,
    /// Stipple dots: printed with the drawing, but colored across.
    pub dots: Grid<bool>,
}

impl Lines {
    /// No ink at all: a job without art.
    pub fn none(width: usize, height: usize) -> Self {
        Self {
            wall: Grid::filled(width, height, false),
            dots: Grid::filled(width, height, false),
        }
    }

    /// Lines and dots.
    pub fn ink(&self) -> Grid<bool> {
        let both = self.wall.data.iter().zip(&self.dots.data);
        Grid {
            width: self.wall.width,
            height: self.wall.height,
            data: both.map(|(&wall, &dot)| wall || dot).collect(),
        }
    }
}

/// From which gray on a page is ink.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Threshold {
    /// Up to here it surely is.
    sure: u8,
    /// Below this it is where it touches ink.
    faint: f32,
    /// Halfway from ink to paper: where the edge of a stroke runs through a pixel.
    edge: f32,
}

impl Threshold {
    /// Otsu's threshold (Otsu 1979) of a page, and the paler one of its faint strokes.
    ///
    /// # Errors
    /// If the page is blank or black all over.
    pub fn of(page: &Grid<u8>, path: &Path) -> Result<Self> {
        let (dark, light) = (quantile(&page.data, 0.002), quantile(&page.data, 0.98));
        if light.saturating_sub(dark) < LEAST_CONTRAST {
            let what = if light < 100 {
                "is black all over"
            } else {
                "shows no lines"
            };
            return Err(Error::file(
                path,
                format!("{what}: its grays go only from {dark} to {light} of 255"),
                "Give a drawing with dark lines on light paper; scan it with more contrast if it is faint.",
            ));
        }
        let sure = otsu_level(&page.clone().into_image());
        let faint = f32::from(sure) + FAINT * (f32::from(light) - f32::from(sure));
        let edge = (f32::from(dark) + f32::from(light)) / 2.0;
        Ok(Self { sure, faint, edge })
    }

    /// The gray halfway from ink to paper.
    pub fn edge(self) -> f32 {
        self.edge
    }
}

/// Finds the ink of a page by its [`Threshold`].
///
/// # Errors
/// If the page is blank or black all over.
pub fn find_lines(page: Grid<u8>, mm_per_px: f64, path: &Path) -> Result<Lines> {
    let lines = trace_lines(&page, Threshold::of(&page, path)?, mm_per_px);
    if !lines.wall.data.contains(&true) {
        return Err(Error::file(
            path,
            "shows no lines, only specks",
            "Give a drawing with dark lines on light paper.",
        ));
    }
    if !lines.wall.data.contains(&false) {
        return Err(Error::file(
            path,
            "is black all over",
            "Give a drawing with dark lines on light paper.",
        ));
    }
    Ok(lines)
}

/// The ink of a page, with hysteresis: a paler pixel joins the line it touches, so that thin gray strokes hold together
/// while paper grain and JPEG noise stay out.
pub fn trace_lines(page: &Grid<u8>, threshold: Threshold, mm_per_px: f64) -> Lines {
    let (width, height) = (page.width, page.height);
    let Threshold { sure, faint, .. } = threshold;
    // Hysteresis: flood from the sure ink through the faint.
    let mut ink: Vec<bool> = page.data.iter().map(|&v| v <= sure).collect();
    let mut open: Vec<usize> = (0..ink.len()).filter(|&i| ink[i]).collect();
    while let Some(i) = open.pop() {
        for j in page.neighbors(i) {
            if !ink[j] && f32::from(page.data[j]) < faint {
                ink[j] = true;
                open.push(j);
            }
        }
    }

    let mask = Grid {
        width,
        height,
        data: ink,
    };
    let (pieces, count) = mask.pieces(Connectivity::Eight);
    // Per piece: pixels, left, top, right, bottom.
    let mut extent = vec![(0usize, usize::MAX, usize::MAX, 0usize, 0usize); count + 1];
    for (i, &piece) in pieces.data.iter().enumerate().filter(|(_, p)| **p > 0) {
        let e = &mut extent[piece as usize];
        let (x, y) = (i % width, i / width);
        *e = (e.0 + 1, e.1.min(x), e.2.min(y), e.3.max(x), e.4.max(y));
    }
    let dust = DUST_MM2 / (mm_per_px * mm_per_px);
    let dot = DOT_MM / mm_per_px;
    let is_dust = |e: &(usize, usize, usize, usize, usize)| (e.0 as f64) < dust;
    let is_dot = |e: &(usize, usize, usize, usize, usize)| {
        (e.3 - e.1) as f64 + 1.0 <= dot && (e.4 - e.2) as f64 + 1.0 <= dot
    };
    let kind: Vec<u8> = extent
        .iter()
        .enumerate()
        .map(|(piece, e)| match piece {
            0 => 0,
            _ if is_dust(e) => 0,
            _ if is_dot(e) => 1,
            _ => 2,
        })
        .collect();
    let wall = pieces.map(|piece| kind[piece as usize] == 2);
    let dots = pieces.map(|piece| kind[piece as usize] == 1);
    Lines { wall, dots }
}

/// The gray level below which `share` of the pixels lie.
fn quantile(pixels: &[u8], share: f64) -> u8 {
    let mut histogram = [0usize; 256];
    for &v in pixels {
        histogram[usize::from(v)] += 1;
    }
    let mut left = (share * pixels.len() as f64) as usize;
    for (v, &n) in histogram.iter().enumerate() {
        if n > left {
            return v as u8;
        }
        left -= n;
    }
    255
}
