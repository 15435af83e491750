//! Sheets: each is described once as an SVG drawing; PNG and PDF are renderings of it.

mod box_of_pens;
mod cards;
mod cells;
mod guide;
mod key;
mod overlay;
mod page;
mod pictures;
mod preview;
mod render;
mod svg;
mod swatches;

pub use box_of_pens::pen_pages;
pub use cards::cards;
pub use cells::numbered_cells;
pub use guide::guide;
pub use key::key_pages;
pub use overlay::{check_fits, overlay_pages, pale_page};
pub use preview::{backdrops, preview};
pub use render::{Fonts, encode_rgb, pdf, png};
pub use swatches::swatch_pages;

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::Made;
use crate::error::{Error, Result};
use crate::files::File;

/// Resolution of overlay.png, in dots per inch: a number of 6 pt is 17 pixels high.
pub const OVERLAY_DPI: f64 = 200.0;
/// Resolution of preview.png: that of the working frame.
const PREVIEW_DPI: f64 = 254.0;

/// Resolution of backgrounds.png: three panels side by side, to be looked at on a screen.
const BACKDROP_DPI: f64 = 110.0;

/// A drawing in millimeters.
#[derive(Debug, Clone)]
pub struct Sheet {
    pub width_mm: f64,
    pub height_mm: f64,
    pub svg: String,
}

/// One file to be rendered.
type Rendering<'a> = Box<dyn Fn() -> Result<File> + Sync + Send + 'a>;

/// The plan's folder: every file, `plan.json` included; with `steps` also the pictures of the stages. `name` tells how
/// `plan.json` calls the job's files, as seen from the folder.
///
/// # Errors
/// If a sheet cannot be rendered, which would be a fault of ours.
pub fn folder(made: &Made, steps: bool, name: impl Fn(&Path) -> PathBuf) -> Result<Vec<File>> {
    let mut files = render_all(made, steps)?;
    let mut plan = made.plan.clone();
    plan.job.rebase(name);
    plan.files = files
        .iter()
        .map(|(name, _)| name.clone())
        .chain(["plan.json".to_owned()])
        .collect();
    plan.files.sort();
    let json = serde_json::to_string_pretty(&plan).map_err(fault)?;
    files.push(("plan.json".to_owned(), (json + "\n").into_bytes()));
    Ok(files)
}

/// Renders every file of the plan but `plan.json`; with `steps` also the pictures of the stages.
///
/// # Errors
/// If a sheet cannot be rendered, which would be a fault of ours.
pub fn render_all(made: &Made, steps: bool) -> Result<Vec<File>> {
    let fonts = Fonts::load();
    let (plan, outlines) = (&made.plan, &made.outlines);
    let overlay = overlay_pages(plan, outlines, &made.labels);
    let printed = with_pale_page(&overlay, pale_page(plan, outlines));
    let key = key_pages(plan);
    let cards = cards(plan, outlines);
    let preview = preview(plan, outlines);
    let backdrops = backdrops(plan, outlines, &made.cells.outside);

    let mut files: Vec<Rendering> = Vec::new();
    let fonts = &fonts;
    for (i, page) in overlay.iter().enumerate() {
        let stem = match i {
            0 => "overlay".to_owned(),
            i => format!("overlay-{}", i + 1),
        };
        files.push(as_png(format!("{stem}.png"), page, OVERLAY_DPI, fonts));
        files.push(Box::new(move || {
            Ok((format!("{stem}.svg"), page.svg.clone().into_bytes()))
        }));
    }
    files.push(as_png("preview.png".into(), &preview, PREVIEW_DPI, fonts));
    if let Some(backdrops) = &backdrops {
        files.push(as_png(
            "backgrounds.png".into(),
            backdrops,
            BACKDROP_DPI,
            fonts,
        ));
    }
    for (i, card) in cards.iter().enumerate() {
        files.push(as_png(
            format!("passes/{:02}.png", i + 1),
            card,
            cards::CARD_DPI,
            fonts,
        ));
    }
    for (name, pages) in [("overlay.pdf", &printed), ("key.pdf", &key)] {
        files.push(Box::new(move || Ok((name.into(), pdf(pages, fonts)?))));
    }
    files.push(Box::new(|| {
        Ok(("guide.html".into(), guide(plan, outlines).into_bytes()))
    }));
    files.push(Box::new(|| {
        Ok(("sections.png".into(), pictures::sections(made)?))
    }));
    if steps {
        for (name, picture) in pictures::STEPS {
            files.push(Box::new(move || {
                Ok((format!("steps/{name}.png"), picture(made)?))
            }));
        }
    }
    files.into_par_iter().map(|render| render()).collect()
}

fn as_png<'a>(name: String, sheet: &'a Sheet, dpi: f64, fonts: &'a Fonts) -> Rendering<'a> {
    Box::new(move || Ok((name.clone(), png(sheet, dpi, fonts)?)))
}

/// The overlay's pages with the pale one as the second.
fn with_pale_page(pages: &[Sheet], pale: Sheet) -> Vec<Sheet> {
    let mut all = pages.to_vec();
    all.insert(1.min(all.len()), pale);
    all
}

/// A sheet of ours that cannot be rendered.
fn fault(what: impl std::fmt::Display) -> Error {
    Error::new(
        format!("a sheet could not be drawn ({what})"),
        "This is a fault in penstrata; please report it with the job.",
    )
}
