//! Loading the art as a flat gray page in the working frame: from a drawing file, a flat scan, or a photo of the panel.

use std::borrow::Cow;
use std::io::{Cursor, Read};
use std::path::Path;
use std::sync::Arc;

use flate2::read::GzDecoder;

use image::{DynamicImage, GrayImage, ImageReader};
use kurbo::{Affine, Point};
use rayon::prelude::*;
use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg;

use crate::color::on_white;
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::length::PanelSize;
use crate::reference::{LARGEST_MEGAPIXELS, Photo};

use super::corners::{Corners, find_corners, looks_like_a_panel};
use super::flatten::{even_light, flatten, lying};

/// Longest SVG drawing that is read, unpacked, in bytes: some fifty times a detailed one. From memory.
const LARGEST_SVG_BYTES: u64 = 32 << 20;
/// How packed data begins (RFC 1952, 2.3.1).
const GZIP: [u8; 2] = [0x1f, 0x8b];

/// The art as read, before it is brought to the working frame.
pub enum Page {
    Scan(Box<Photo>),
    /// A photo of the panel; width and height of the panel as it lies there, in millimeters.
    Panel(Box<Photo>, Corners, [f64; 2]),
    Vector(Box<usvg::Tree>),
}

/// What is told of a picture taken for a flat scan that looks like a photo of a panel.
const NO_SCAN: &str = "The drawing looks like a photo of a panel on a desk, but was taken for a flat scan, desk and all: say \
    how large the panel is (--panel A6 in place of --width), and it is found and made flat.";

impl Page {
    /// What looks wrong with it, for the person.
    pub fn doubt(&self) -> Option<&'static str> {
        match self {
            Self::Scan(photo) if looks_like_a_panel(photo) => Some(NO_SCAN),
            _ => None,
        }
    }
}

/// Reads the art: any picture format of the reference, or SVG. Nothing outside the file is ever read. With `panel`
/// the picture is a photo of a panel of that size; its corners are found unless given.
///
/// # Errors
/// If the file is neither a picture nor an SVG drawing, or the panel cannot be found in it.
pub fn load_page(
    path: &Path,
    bytes: &[u8],
    panel: Option<PanelSize>,
    corners: Option<Corners>,
) -> Result<Page> {
    let unpacked = unpacked(path, bytes)?;
    let is_svg = path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("svg") || e.eq_ignore_ascii_case("svgz"))
        || unpacked.trim_ascii_start().starts_with(b"<?xml")
        || unpacked.trim_ascii_start().starts_with(b"<svg");
    if !is_svg {
        let photo = Box::new(Photo::decode(path, bytes)?);
        let Some(panel) = panel else {
            return Ok(Page::Scan(photo));
        };
        let sides = panel.sides_mm();
        let corners = corners.map_or_else(|| find_corners(&photo, sides), Ok)?;
        let size = lying(&corners, &photo, sides);
        return Ok(Page::Panel(photo, corners, size));
    }
    if unpacked.len() as u64 > LARGEST_SVG_BYTES {
        return Err(Error::file(
            path,
            format!("is a drawing of more than {LARGEST_SVG_BYTES} bytes"),
            "Simplify its paths in a drawing program, or export a PNG.",
        ));
    }
    if panel.is_some() {
        return Err(Error::file(
            path,
            "is a drawing, but --panel says it is a photo of a panel",
            "Give its width with --width instead of --panel.",
        ));
    }
    let options = usvg::Options {
        image_href_resolver: usvg::ImageHrefResolver {
            resolve_string: Box::new(|_, _| None),
            resolve_data: Box::new(|mime, data, options| {
                let read = usvg::ImageHrefResolver::default_data_resolver();
                may_be_inside(&data).then(|| read(mime, data, options))?
            }),
        },
        fontdb: Arc::new(usvg::fontdb::Database::new()),
        ..Default::default()
    };
    let tree = usvg::Tree::from_data(&unpacked, &options).map_err(|e| {
        Error::file(
            path,
            format!("cannot be read as an SVG drawing ({e})"),
            "Open it in a drawing program and save it again as plain SVG, or export a PNG.",
        )
    })?;
    Ok(Page::Vector(Box::new(tree)))
}

/// Whether a picture inside a drawing may be unpacked: a picture of a size that we take ourselves, or a plain drawing.
fn may_be_inside(data: &[u8]) -> bool {
    match ImageReader::new(Cursor::new(data)).with_guessed_format() {
        Ok(reader) if reader.format().is_some() => reader
            .into_dimensions()
            .is_ok_and(|(w, h)| u64::from(w) * u64::from(h) <= LARGEST_MEGAPIXELS * 1_000_000),
        // Packed, it would be unpacked without limit.
        _ => !data.starts_with(&GZIP),
    }
}

/// A gzipped drawing unpacked; anything else as it is.
///
/// # Errors
/// If the packing is damaged. No more than one byte beyond [`LARGEST_SVG_BYTES`] is unpacked.
fn unpacked<'a>(path: &Path, bytes: &'a [u8]) -> Result<Cow<'a, [u8]>> {
    if !bytes.starts_with(&GZIP) {
        return Ok(Cow::Borrowed(bytes));
    }
    let next = "Open it in a drawing program and save it again as plain SVG, or export a PNG.";
    let mut text = Vec::new();
    GzDecoder::new(bytes)
        .take(LARGEST_SVG_BYTES + 1)
        .read_to_end(&mut text)
        .map_err(|e| {
            Error::file(
                path,
                format!("is packed and cannot be unpacked ({e})"),
                next,
            )
        })?;
    Ok(Cow::Owned(text))
}

impl Page {
    /// Width and height on the panel, in millimeters, if the page is `width_mm` wide; a panel has its own size.
    pub fn size_mm(&self, width_mm: Option<f64>) -> Option<[f64; 2]> {
        let aspect = match self {
            Self::Panel(_, _, size) => return Some(*size),
            Self::Scan(scan) => {
                let (w, h) = scan.upright_size();
                h as f64 / w as f64
            }
            Self::Vector(tree) => f64::from(tree.size().height() / tree.size().width()),
        };
        width_mm.map(|width| [width, width * aspect])
    }

    /// The page as it lies in another frame of `width * height` pixels, as luminance, on white. `to_frame` brings
    /// millimeters of the page, which is `size_mm` large, to pixels of that frame; `flat` is the page upright, as
    /// [`Page::flatten`] gives it, at `mm_per_px`.
    pub fn placed(
        &self,
        flat: &Grid<u8>,
        size_mm: [f64; 2],
        mm_per_px: f64,
        to_frame: Affine,
        (width, height): (usize, usize),
    ) -> Grid<u8> {
        if let Self::Vector(tree) = self {
            let mut pixmap =
                Pixmap::new(width as u32, height as u32).expect("the frame has pixels");
            pixmap.fill(Color::WHITE);
            let across = size_mm[0] / f64::from(tree.size().width());
            let down = size_mm[1] / f64::from(tree.size().height());
            let [a, b, c, d, e, f] = (to_frame * Affine::scale_non_uniform(across, down))
                .as_coeffs()
                .map(|v| v as f32);
            let transform = Transform::from_row(a, b, c, d, e, f);
            resvg::render(tree, transform, &mut pixmap.as_mut());
            let data = pixmap.data().as_chunks::<4>().0;
            let rgb = data.iter().flat_map(|&[r, g, b, _]| [r, g, b]).collect();
            return luminance(rgb, width, height);
        }
        let back = to_frame.inverse();
        let data = (0..width * height).into_par_iter().map(|i| {
            let middle = Point::new((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
            let at = back * middle;
            luminance_at(flat, at.x / mm_per_px, at.y / mm_per_px)
        });
        Grid {
            width,
            height,
            data: data.collect(),
        }
    }

    /// The page in `width * height` pixels as luminance (0 black, 255 white), on white where it is transparent; the
    /// light on a scan or photo is evened.
    ///
    /// # Errors
    /// If the corners of a panel are not those of a panel.
    pub fn flatten(&self, width: usize, height: usize, mm_per_px: f64) -> Result<Grid<u8>> {
        let rgb: Grid<[u8; 3]> = match self {
            Self::Scan(scan) => {
                let mut picture = scan.whole(width, height).map(on_white);
                even_light(&mut picture, mm_per_px);
                picture
            }
            Self::Panel(photo, corners, _) => flatten(photo, corners, width, height, mm_per_px)?,
            Self::Vector(tree) => {
                let mut pixmap =
                    Pixmap::new(width as u32, height as u32).expect("the frame has pixels");
                pixmap.fill(Color::WHITE);
                let scale = Transform::from_scale(
                    width as f32 / tree.size().width(),
                    height as f32 / tree.size().height(),
                );
                resvg::render(tree, scale, &mut pixmap.as_mut());
                let data = pixmap.data().as_chunks::<4>().0;
                Grid {
                    width,
                    height,
                    data: data.iter().map(|&[r, g, b, _]| [r, g, b]).collect(),
                }
            }
        };
        Ok(luminance(rgb.data.into_flattened(), width, height))
    }
}

/// The luminance of sRGB pixels.
fn luminance(rgb: Vec<u8>, width: usize, height: usize) -> Grid<u8> {
    let image =
        image::RgbImage::from_raw(width as u32, height as u32, rgb).expect("width * height pixels");
    let gray: GrayImage = DynamicImage::ImageRgb8(image).into_luma8();
    gray.into()
}

/// The luminance at a place of a page, in its pixels from the top left; white beyond it.
fn luminance_at(flat: &Grid<u8>, x: f64, y: f64) -> u8 {
    let within = (0.0..=flat.width as f64).contains(&x) && (0.0..=flat.height as f64).contains(&y);
    if !within {
        return 255;
    }
    let around = flat.around(x, y);
    let sum: f64 = around.iter().map(|&(v, w)| f64::from(v) * w).sum();
    sum.round() as u8
}
