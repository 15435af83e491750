//! Loading the art as a flat gray page in the working frame.

use std::path::Path;
use std::sync::Arc;

use image::{DynamicImage, GrayImage};
use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg;

use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::reference::Photo;

/// The art as read, before it is brought to the working frame.
pub enum Page {
    Scan(Box<Photo>),
    Vector(Box<usvg::Tree>),
}

/// Reads the art: any picture format of the reference, or SVG. Nothing outside the file is ever read.
///
/// # Errors
/// If the file cannot be read or is neither a picture nor an SVG drawing.
pub fn load_page(path: &Path) -> Result<Page> {
    let head = std::fs::read(path).map_err(|e| {
        Error::file(
            path,
            e,
            "Check the name of the drawing and that it can be opened.",
        )
    })?;
    let is_svg = path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("svg"))
        || head.trim_ascii_start().starts_with(b"<?xml")
        || head.trim_ascii_start().starts_with(b"<svg");
    if !is_svg {
        return Ok(Page::Scan(Box::new(Photo::load(path)?)));
    }
    let options = usvg::Options {
        image_href_resolver: usvg::ImageHrefResolver {
            resolve_string: Box::new(|_, _| None),
            ..Default::default()
        },
        fontdb: Arc::new(usvg::fontdb::Database::new()),
        ..Default::default()
    };
    let tree = usvg::Tree::from_data(&head, &options).map_err(|e| {
        Error::file(
            path,
            format!("cannot be read as an SVG drawing ({e})"),
            "Open it in a drawing program and save it again as plain SVG, or export a PNG.",
        )
    })?;
    Ok(Page::Vector(Box::new(tree)))
}

/// Height divided by width.
pub fn page_aspect(page: &Page) -> f64 {
    match page {
        Page::Scan(scan) => {
            let (w, h) = scan.upright_size();
            h as f64 / w as f64
        }
        Page::Vector(tree) => f64::from(tree.size().height() / tree.size().width()),
    }
}

impl Page {
    /// The page in `width * height` pixels as luminance (0 black, 255 white), on white where it is transparent.
    pub fn flatten(&self, width: usize, height: usize) -> Grid<u8> {
        let rgba: Vec<[u8; 4]> = match self {
            Self::Scan(scan) => {
                let mut patch = scan
                    .resample([0, 0, scan.width, scan.height], width, height)
                    .data;
                for p in &mut patch {
                    let alpha = u16::from(p[3]);
                    for c in 0..3 {
                        p[c] = ((u16::from(p[c]) * alpha + 255 * (255 - alpha)) / 255) as u8;
                    }
                }
                patch
            }
            Self::Vector(tree) => {
                let mut pixmap =
                    Pixmap::new(width as u32, height as u32).expect("the frame has pixels");
                pixmap.fill(Color::WHITE);
                let scale = Transform::from_scale(
                    width as f32 / tree.size().width(),
                    height as f32 / tree.size().height(),
                );
                resvg::render(tree, scale, &mut pixmap.as_mut());
                pixmap.data().as_chunks::<4>().0.to_vec()
            }
        };
        let image = image::RgbaImage::from_raw(width as u32, height as u32, rgba.into_flattened())
            .expect("width * height pixels");
        let gray: GrayImage = DynamicImage::ImageRgba8(image).into_luma8();
        gray.into()
    }
}
