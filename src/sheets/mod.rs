//! Sheets: each is described once as an SVG drawing; PNG and PDF are renderings of it.

mod accents;
mod box_of_pens;
mod card;
mod cards;
mod cells;
mod curves;
mod ground;
mod guide;
mod key;
mod lettering;
mod overlay;
mod page;
mod pictures;
mod preview;
mod render;
mod svg;
mod swatches;

pub use box_of_pens::pen_pages;
pub use card::mask_outlines;
pub use cells::numbered_cells;
pub use guide::guide;
pub(crate) use key::key_pages;
pub use overlay::{overlay_pages, pale_page};
pub use preview::backdrops;
pub(crate) use preview::{Finished, side_by_side};

pub use render::{Fonts, encode_rgb, pdf, png};
use render::{Layer, png_below};
pub use svg::compact_path_data;
pub use swatches::swatch_pages;

use std::path::{Path, PathBuf};
use std::sync::{LazyLock, OnceLock};

use rayon::prelude::*;

use crate::card::{Card, panel_outside};
use crate::error::{Error, Result};
use crate::files::File;
use crate::made::Made;
use crate::plan::{self, Plan};
use curves::Curves;
use ground::View;

/// Resolution of overlay.png, in dots per inch: a number of 6 pt is 17 pixels high.
pub const OVERLAY_DPI: f64 = 200.0;
/// Resolution of preview.png: that of the working frame.
const PREVIEW_DPI: f64 = 254.0;

/// Resolution of backgrounds.png: three panels side by side, to be looked at on a screen.
const BACKDROP_DPI: f64 = 110.0;

/// The plan as data, in its folder.
pub const PLAN_JSON: &str = "plan.json";

/// A drawing in millimeters.
#[derive(Debug, Clone)]
pub struct Sheet {
    pub width_mm: f64,
    pub height_mm: f64,
    pub svg: String,
}

/// The plan's folder: every file, `plan.json` included; with `steps` also the pictures of the stages. `name` tells how
/// `plan.json` calls the job's files, as seen from the folder.
///
/// # Errors
/// If a sheet cannot be rendered, which would be a fault of ours.
pub fn folder(made: &Made, steps: bool, name: impl Fn(&Path) -> PathBuf) -> Result<Vec<File>> {
    let mut files = render_all(made, steps)?;
    let names: Vec<String> = files.iter().map(|(name, _)| name.clone()).collect();
    files.extend(plan_files(made, &names, name)?);
    Ok(files)
}

/// Every `plan.json` of a folder that holds the files `sheets` besides: the variants' first, the plan's own last; `name` as
/// for [`folder`].
///
/// # Errors
/// If one cannot be written as JSON, which would be a fault of ours.
pub fn plan_files(
    made: &Made,
    sheets: &[String],
    name: impl Fn(&Path) -> PathBuf,
) -> Result<Vec<File>> {
    let mut plans = Vec::new();
    for (variant, own) in &made.variants {
        let start = format!("variants/{variant}/");
        let inner = sheets.iter().filter_map(|file| file.strip_prefix(&start));
        let inner = inner.map(str::to_owned).collect();
        let from_inside = |path: &Path| match name(path) {
            path if path.is_absolute() => path,
            path => Path::new("../..").join(path),
        };
        let json = plan_json(&own.plan, inner, from_inside)?;
        plans.push((start + PLAN_JSON, json));
    }
    let inner = plans.iter().map(|(name, _)| name).chain(sheets).cloned();
    let json = plan_json(&made.plan, inner.collect(), name)?;
    plans.push((PLAN_JSON.to_owned(), json));
    Ok(plans)
}

fn plan_json(plan: &Plan, files: Vec<String>, name: impl Fn(&Path) -> PathBuf) -> Result<Vec<u8>> {
    let mut plan = plan.clone();
    plan.job.rebase(name);
    plan.files = files;
    plan.files.push(PLAN_JSON.to_owned());
    plan.files.sort();
    let json = serde_json::to_string_pretty(&plan).map_err(fault)?;
    Ok((json + "\n").into_bytes())
}

/// Renders every file of the plan but `plan.json`; with `steps` also the pictures of the stages.
///
/// # Errors
/// If a sheet cannot be rendered, which would be a fault of ours.
pub fn render_all(made: &Made, steps: bool) -> Result<Vec<File>> {
    let sheets = Sheets::of(made);
    sheets
        .all(steps)
        .into_par_iter()
        // One takes much longer than another: what is left goes to whoever is free.
        .with_max_len(1)
        .map(|(name, what)| Ok((name, sheets.render(what)?)))
        .collect()
}

/// One file of the folder, and the variant whose it is, if it is one's.
type Address = (Option<usize>, What);

/// One file of the folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    /// A page of the overlay, from 0.
    OverlayPng(usize),
    OverlaySvg(usize),
    OverlayPdf,
    Preview,
    /// The plan and its variants side by side.
    Variants,
    /// Things owned that go with it.
    Accents,
    Backgrounds,
    /// The card of a turn, from 0.
    Card(usize),
    /// Where stamps go, and the masks for them.
    Layout,
    Masks,
    /// The cut lines of a sheet of pieces, as an index in the grounds.
    Cut(usize),
    KeyPdf,
    Guide,
    Sections,
    /// A picture of a stage, as an index in [`pictures::STEPS`].
    Step(usize),
}

/// The files of a plan's folder, each made when it is asked for.
pub struct Sheets<'a> {
    made: &'a Made,
    fonts: LazyLock<Fonts>,
    views: OnceLock<Vec<View>>,
    overlay: OnceLock<Vec<Sheet>>,
    curves: OnceLock<Curves>,
    ink: OnceLock<Result<Layer>>,
    /// In the order of the plan's.
    variants: Vec<Sheets<'a>>,
}

impl<'a> Sheets<'a> {
    /// Of this plan; nothing is drawn yet.
    pub fn of(made: &'a Made) -> Self {
        Self {
            made,
            fonts: LazyLock::new(Fonts::load),
            views: OnceLock::new(),
            overlay: OnceLock::new(),
            curves: OnceLock::new(),
            ink: OnceLock::new(),
            variants: made.variants.iter().map(|(_, m)| Self::of(m)).collect(),
        }
    }

    /// What there is, but for `plan.json`, which lists it; with `steps` also the pictures of the stages.
    pub fn names(&self, steps: bool) -> Vec<String> {
        self.all(steps).into_iter().map(|(name, _)| name).collect()
    }

    /// The file of this name; `None` if there is none.
    ///
    /// # Errors
    /// If it cannot be rendered, which would be a fault of ours.
    pub fn file(&self, name: &str) -> Result<Option<Vec<u8>>> {
        let all = self.all(true);
        let found = all.into_iter().find(|(known, _)| known == name);
        found.map(|(_, what)| self.render(what)).transpose()
    }

    /// Every file with its name; those of a variant in its folder.
    fn all(&self, steps: bool) -> Vec<(String, Address)> {
        let own = self.own(steps).into_iter();
        let mut all: Vec<(String, Address)> =
            own.map(|(name, what)| (name, (None, what))).collect();
        for (v, ((name, _), sheets)) in self.made.variants.iter().zip(&self.variants).enumerate() {
            let inner = sheets.own(false).into_iter();
            all.extend(
                inner.map(|(file, what)| (format!("variants/{name}/{file}"), (Some(v), what))),
            );
        }
        all
    }

    fn own(&self, steps: bool) -> Vec<(String, What)> {
        let mut all = Vec::new();
        for i in 0..self.overlay().len() {
            let stem = match i {
                0 => "overlay".to_owned(),
                i => format!("overlay-{}", i + 1),
            };
            all.push((format!("{stem}.png"), What::OverlayPng(i)));
            all.push((format!("{stem}.svg"), What::OverlaySvg(i)));
        }
        all.push(("preview.png".to_owned(), What::Preview));
        if !self.variants.is_empty() {
            all.push(("variants.png".to_owned(), What::Variants));
        }
        if self.made.plan.accents.is_some() {
            all.push(("accents.png".to_owned(), What::Accents));
        }
        if !self.made.plan.backdrops.is_empty() {
            all.push(("backgrounds.png".to_owned(), What::Backgrounds));
        }
        for i in 0..self.made.plan.schedule.turns.len() {
            all.push((format!("turns/{:02}.png", i + 1), What::Card(i)));
        }
        if let Some(card) = &self.made.plan.card {
            all.push(("layout.pdf".to_owned(), What::Layout));
            if !card.masks.is_empty() {
                all.push(("masks.pdf".to_owned(), What::Masks));
            }
            for ground in 1..card.grounds.len() {
                all.push((format!("cut-{ground}.svg"), What::Cut(ground)));
            }
        }
        for (name, what) in [
            ("overlay.pdf", What::OverlayPdf),
            ("key.pdf", What::KeyPdf),
            ("guide.html", What::Guide),
            ("sections.png", What::Sections),
        ] {
            all.push((name.to_owned(), what));
        }
        if steps {
            for (i, (name, _)) in pictures::STEPS.iter().enumerate() {
                all.push((format!("steps/{name}.png"), What::Step(i)));
            }
        }
        all
    }

    /// The panel, and every sheet of pieces, by itself.
    fn views(&self) -> &[View] {
        let Made {
            plan,
            outlines,
            labels,
            ..
        } = self.made;
        self.views.get_or_init(|| View::all(plan, outlines, labels))
    }

    fn overlay(&self) -> &[Sheet] {
        let pages = |(g, view): (usize, &View)| {
            let plan = &view.plan;
            overlay_pages(plan, &view.outlines, &view.labels, |svg| {
                if let Some((_, card)) = self.card_told() {
                    card::over_overlay(svg, plan, card, g);
                }
            })
        };
        self.overlay
            .get_or_init(|| self.views().iter().enumerate().flat_map(pages).collect())
    }

    /// The card, as the plan tells it and with its shapes, if there is one.
    fn card_told(&self) -> Option<(&plan::Card, &Card)> {
        self.made.plan.card.as_ref().zip(self.made.card.as_deref())
    }

    fn curves(&self) -> &Curves {
        let outlines = &self.made.outlines;
        self.curves.get_or_init(|| Curves::of(outlines))
    }

    fn card(&self, turn: usize) -> Result<Vec<u8>> {
        let Made { plan, outlines, .. } = self.made;
        let card = cards::card(plan, outlines, self.curves(), turn);
        let ink = match card.is_below_ink {
            true => Some(self.ink()?),
            false => None,
        };
        png_below(&card.sheet, ink, cards::CARD_DPI, &self.fonts)
    }

    /// The drawn lines on the cards.
    fn ink(&self) -> Result<&Layer> {
        let draw = || {
            let sheet = cards::ink(&self.made.plan, self.curves());
            Layer::of(&sheet, cards::CARD_DPI, &self.fonts)
        };
        self.ink.get_or_init(draw).as_ref().map_err(Error::clone)
    }

    /// The finished card.
    fn finished(&self) -> Finished<'_> {
        let Made { plan, outlines, .. } = self.made;
        match self.card_told() {
            None => Finished::panel(plan, outlines),
            Some((_, card)) => card::finished(&self.views()[0], plan, outlines, card),
        }
    }

    fn render(&self, (variant, what): Address) -> Result<Vec<u8>> {
        match variant {
            None => self.render_own(what),
            Some(v) => self.variants[v].render_own(what),
        }
    }

    fn render_own(&self, what: What) -> Result<Vec<u8>> {
        let Made { plan, outlines, .. } = self.made;
        let fonts = &self.fonts;
        match what {
            What::OverlayPng(i) => png(&self.overlay()[i], OVERLAY_DPI, fonts),
            What::OverlaySvg(i) => Ok(self.overlay()[i].svg.clone().into_bytes()),
            What::OverlayPdf => {
                let pale = |view: &View| pale_page(&view.plan, &view.outlines);
                let pale = self.views().iter().map(pale).collect();
                pdf(&with_pale_pages(self.overlay(), pale), fonts)
            }
            What::Preview => png(&self.finished().sheet(), PREVIEW_DPI, fonts),
            What::Accents => {
                let found = plan
                    .accents
                    .as_ref()
                    .ok_or_else(|| fault("there are no accents"))?;
                let sheet = accents::accents(found, &self.finished());
                png(&sheet, BACKDROP_DPI, fonts)
            }
            What::Variants => {
                let named = self.made.variants.iter().map(|(name, _)| name.as_str());
                let names: Vec<&str> = std::iter::once("as planned").chain(named).collect();
                let all = std::iter::once(self).chain(&self.variants);
                let cards: Vec<Finished> = all.map(Self::finished).collect();
                png(&side_by_side(&names, &cards), BACKDROP_DPI, fonts)
            }
            What::Layout => {
                let (told, card) = self.card_told().ok_or_else(|| fault("there is no card"))?;
                let sheets = card::layout_pages(plan, told, card, &self.finished());
                pdf(&sheets, fonts)
            }
            What::Masks => {
                let (told, card) = self.card_told().ok_or_else(|| fault("there is no card"))?;
                pdf(&card::mask_pages(plan, told, card), fonts)
            }
            What::Cut(ground) => {
                let (_, card) = self.card_told().ok_or_else(|| fault("there is no card"))?;
                Ok(card::cut_lines(plan, card, ground).into_bytes())
            }
            What::Backgrounds => {
                // The panel alone; pieces lie on card of their own.
                let View { plan, outlines, .. } = &self.views()[0];
                let outside = panel_outside(&self.made.cells.outside, self.made.card.as_deref());
                let sheet = backdrops(plan, outlines, &outside);
                let sheet = sheet.ok_or_else(|| fault("there are no backgrounds"))?;
                png(&sheet, BACKDROP_DPI, fonts)
            }
            What::Card(i) => self.card(i),
            What::KeyPdf => pdf(&key_pages(plan), fonts),
            What::Guide => Ok(guide(plan, outlines, self.made.card.as_deref()).into_bytes()),
            What::Sections => pictures::sections(self.made),
            What::Step(i) => pictures::STEPS[i].1(self.made),
        }
    }
}

/// The overlay's pages with the pale ones behind the first.
fn with_pale_pages(pages: &[Sheet], pale: Vec<Sheet>) -> Vec<Sheet> {
    let mut all = pages.to_vec();
    let at = 1.min(all.len());
    all.splice(at..at, pale);
    all
}

/// A sheet of ours that cannot be rendered.
fn fault(what: impl std::fmt::Display) -> Error {
    Error::new(
        format!("a sheet could not be drawn ({what})"),
        "This is a fault in penstrata; please report it with the job.",
    )
}
