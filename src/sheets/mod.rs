//! Sheets: each is described once as an SVG drawing; PNG and PDF are renderings of it.

mod overlay;
mod pictures;
mod preview;
mod render;
mod svg;

pub use overlay::{check_fits, overlay_pages};
pub use preview::preview;
pub use render::{Fonts, encode_rgb, pdf, png};

use rayon::prelude::*;

use crate::Made;
use crate::error::{Error, Result};
use crate::output::File;

/// Resolution of overlay.png, in dots per inch: a number of 6 pt is 17 pixels high.
const OVERLAY_DPI: f64 = 200.0;
/// Resolution of preview.png: that of the working frame.
const PREVIEW_DPI: f64 = 254.0;

/// A drawing in millimeters.
pub struct Sheet {
    pub width_mm: f64,
    pub height_mm: f64,
    pub svg: String,
}

/// Renders every file of the plan but `plan.json`; with `steps` also the pictures of the stages.
///
/// # Errors
/// If a sheet cannot be rendered, which would be a fault of ours.
pub fn render_all(made: &Made, steps: bool) -> Result<Vec<File>> {
    let fonts = Fonts::load();
    let pages = overlay_pages(&made.plan, &made.outlines, &made.labels);
    let preview_sheet = preview(&made.plan, &made.outlines);
    let name = |i: usize, ending: &str| match i {
        0 => format!("overlay.{ending}"),
        i => format!("overlay-{}.{ending}", i + 1),
    };
    type Rendering<'a> = Box<dyn Fn() -> Result<File> + Sync + Send + 'a>;
    let mut renderings: Vec<Rendering> = Vec::new();
    for (i, page) in pages.iter().enumerate() {
        let fonts = &fonts;
        renderings.push(Box::new(move || {
            Ok((name(i, "png"), png(page, OVERLAY_DPI, fonts)?))
        }));
        renderings.push(Box::new(move || {
            Ok((name(i, "svg"), page.svg.clone().into_bytes()))
        }));
    }
    renderings.push(Box::new(|| {
        Ok(("overlay.pdf".into(), pdf(&pages, &fonts)?))
    }));
    renderings.push(Box::new(|| {
        Ok((
            "preview.png".into(),
            png(&preview_sheet, PREVIEW_DPI, &fonts)?,
        ))
    }));
    renderings.push(Box::new(|| {
        Ok(("sections.png".into(), pictures::sections(made)?))
    }));
    if steps {
        for (name, picture) in pictures::STEPS {
            renderings.push(Box::new(move || {
                Ok((format!("steps/{name}.png"), picture(made)?))
            }));
        }
    }
    renderings.into_par_iter().map(|render| render()).collect()
}

/// A sheet of ours that cannot be rendered.
fn fault(what: impl std::fmt::Display) -> Error {
    Error::new(
        format!("a sheet could not be drawn ({what})"),
        "This is a fault in penstrata; please report it with the job.",
    )
}
