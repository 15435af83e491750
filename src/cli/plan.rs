//! `penstrata plan`: flags to a job, the plan, and its folder.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

use clap::Args;

use crate::art::Corners;
use crate::color::Srgb8;
use crate::duration::Duration;
use crate::error::{Error, Result};
use crate::job::{
    Align, Background, CutEntry, Job, PageSize, PanelEntry, PinnedPen, References, White,
};
use crate::length::{Length, PanelSize};
use crate::pens::{Use, due_with, record_path};
use crate::plan::Plan;
use crate::{input, output, sheets};

use super::point;
use super::progress::Progress;
use super::summary::summary;

/// Shown below the help.
pub const EXAMPLES: &str = "\
Examples:
  The job written down in a file:
    penstrata plan demo/job.toml
  Everything by flags:
    penstrata plan --reference plum.jpg --art plum-stamp.png --width 110mm --pens my-pens.csv --out plum-plan
  No drawing, only a photo; few large sections, on Letter paper:
    penstrata plan --reference barn.jpg --width 4.25in --pens my-pens.csv --detail 1 --page Letter --out barn-plan
  The same job again with another nib (flags win over the file):
    penstrata plan plum-plan/plan.json --nib 2mm

Print overlay.pdf at 100 % and check its ruler before you trace.";

#[derive(Args)]
pub struct PlanArgs {
    /// Job file (TOML), or the plan.json of an earlier plan
    job: Option<PathBuf>,
    /// Photo of the real thing: JPEG, HEIC, PNG, WebP, TIFF or BMP
    #[arg(long, value_name = "PHOTO")]
    reference: Option<PathBuf>,
    /// Your line drawing: a flat scan or an SVG file. Without one, the borders of the sections are the drawing
    #[arg(long, value_name = "DRAWING")]
    art: Option<PathBuf>,
    /// Width of the whole drawing (or photo) on the panel, such as 110mm, 11cm or 4.25in
    #[arg(long, value_name = "LENGTH")]
    width: Option<Length>,
    /// Instead of --width: the drawing is a phone photo of a panel of this size, such as A6, 148x105mm or 4.25x5.5in
    #[arg(long, value_name = "SIZE", conflicts_with = "width")]
    panel: Option<PanelSize>,
    /// The panel's corners in its photo, in pixels, clockwise from the top left; found if not given
    #[arg(long, value_name = "X,Y", num_args = 4, value_parser = point)]
    corners: Vec<[f64; 2]>,
    /// Your pens, as a table saved as CSV: name,color,refill,condition
    #[arg(long, value_name = "CSV")]
    pens: Option<PathBuf>,
    /// Folder for the plan
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// What is white in the photo: paper makes its brightest as bright as your card [default]; auto takes out the color of
    /// the light, too; none takes the photo as it is; or the photo pixel X,Y of something white
    #[arg(long, value_name = "paper|auto|none|X,Y")]
    white: Option<White>,
    /// Lay the photo onto the drawing by its frame, its subject's bounding box, its outline, its edges on the drawn lines,
    /// or by matching points [default: the best that applies]
    #[arg(long)]
    align: Option<Align>,
    /// Table of matching points: reference_x,reference_y (photo pixels),art_x,art_y (millimeters)
    #[arg(long, value_name = "CSV")]
    matches: Option<PathBuf>,
    /// Close gaps in the drawn lines up to this width [default: 0.8mm]
    #[arg(long, value_name = "LENGTH")]
    gap: Option<Length>,
    /// Width of your pens' nibs; no section is narrower [default: 1.5mm]
    #[arg(long, value_name = "LENGTH")]
    nib: Option<Length>,
    /// 1 for few large sections, to 5 for many small ones [default: 3]
    #[arg(long, value_name = "1-5")]
    detail: Option<u8>,
    /// Most lightness steps of one hue, 1 to 4 [default: 4; fewer are used where they read well]
    #[arg(long, value_name = "1-4")]
    bands: Option<u8>,
    /// Color what lies outside the drawing, too: as in the photo; with a pen of this name ("Harbor Mist", or "Harbor
    /// Mist x2" for two coats); or, with auto, leave it bare and show which of your pens would do for it
    #[arg(long, value_name = "photo|auto|PEN", num_args = 0..=1, default_missing_value = "photo")]
    background: Option<Background>,
    /// Leave the section around this point bare: millimeters from the top left of the drawing; may be repeated
    #[arg(long, value_name = "X,Y", value_parser = point)]
    bare: Vec<[f64; 2]>,
    /// Leave the whole cell of the drawing around this point bare, whatever is colored around it; may be repeated
    #[arg(long, value_name = "X,Y", value_parser = point)]
    bare_cell: Vec<[f64; 2]>,
    /// Color the section around the second point as the one around the first: millimeters from the top left of the
    /// drawing; may be repeated
    #[arg(long, value_name = "X,Y", num_args = 2, value_parser = point)]
    merge: Vec<[f64; 2]>,
    /// Part sections along a line: two or more points from rim to rim, or around what is to be cut out, such as
    /// "12,40 20,41.5 31,38"; millimeters from the top left of the drawing; may be repeated
    #[arg(long, value_name = "X,Y X,Y ...", value_parser = cut)]
    cut: Vec<CutEntry>,
    /// Color of your card [default: #ffffff]
    #[arg(long, value_name = "#rrggbb")]
    paper: Option<Srgb8>,
    /// Paper in your printer [default: A4]
    #[arg(long)]
    page: Option<PageSize>,
    /// How long ink rests before what touches it is colored, such as 2min or 90s [default: 2min]
    #[arg(long, value_name = "TIME")]
    rest: Option<Duration>,
    /// How often the drawing was stamped: 1, 2, or 0 for a printed or dry one [default: 1]
    #[arg(long, value_name = "0-2")]
    stamped: Option<u8>,
    /// Give a band this pen, both by their names in the summary, such as "orange 65=Copper Kettle"; or only the section
    /// around a point, such as "12.5,40=Copper Kettle"; may be repeated
    #[arg(long, value_name = "BAND|X,Y=NAME", value_parser = pinned)]
    pen: Vec<PinnedPen>,
    /// Do not use this pen; may be repeated
    #[arg(long, value_name = "NAME")]
    forbid: Vec<String>,
    /// Most coats on one place: 1, or 2 to let a second coat and a pen over a gray serve where no single pen comes near
    /// [default: 2]
    #[arg(long, value_name = "1-2")]
    coats: Option<u8>,
    /// Use at most so many pens
    #[arg(long, value_name = "N")]
    most_pens: Option<usize>,
    /// Mirror the overlay, for tracing from the back
    #[arg(long)]
    mirror: bool,
    /// Also write the pictures of the stages
    #[arg(long)]
    steps: bool,
}

fn pinned(text: &str) -> std::result::Result<PinnedPen, String> {
    let (band, name) = text.split_once('=').ok_or(
        "write the band's name or a point, = and the pen's name, such as \"orange 65=Copper Kettle\"",
    )?;
    let at: Option<Vec<_>> = band.split_whitespace().map(|p| point(p).ok()).collect();
    let at = at.unwrap_or_default();
    Ok(PinnedPen {
        band: at.is_empty().then(|| band.trim().to_owned()),
        at,
        name: name.trim().to_owned(),
        under: None,
    })
}

fn cut(text: &str) -> std::result::Result<CutEntry, String> {
    let line = text
        .split_whitespace()
        .map(point)
        .collect::<std::result::Result<Vec<_>, _>>()?;
    Ok(CutEntry { line })
}

impl PlanArgs {
    fn corners(&self) -> Option<Corners> {
        self.corners.as_slice().try_into().ok()
    }

    /// The job of the file, with the flags laid over it.
    fn job(&self) -> Result<Job> {
        let needed = |what: &str| {
            Error::new(
                format!("--{what} is missing"),
                "Give a job file, or at least --reference, --width, --pens and --out (penstrata plan --help).",
            )
        };
        let mut job = match &self.job {
            Some(path) => input::read_job(path)?,
            None => Job::new(
                self.reference.clone().ok_or_else(|| needed("reference"))?,
                self.pens.clone().ok_or_else(|| needed("pens"))?,
                self.width,
                self.out.clone().ok_or_else(|| needed("out"))?,
            ),
        };
        fn lay<T: Clone>(flag: &Option<T>, entry: &mut T) {
            if let Some(value) = flag {
                *entry = value.clone();
            }
        }
        job.reference = self
            .reference
            .clone()
            .map(References::One)
            .or(job.reference);
        lay(&self.pens, &mut job.pens);
        lay(&self.out, &mut job.out);
        lay(&self.white, &mut job.white);
        lay(&self.gap, &mut job.gap);
        lay(&self.nib, &mut job.nib);
        lay(&self.detail, &mut job.detail);
        lay(&self.bands, &mut job.bands);
        lay(&self.coats, &mut job.coats);
        lay(&self.paper, &mut job.paper);
        lay(&self.page, &mut job.page);
        lay(&self.rest, &mut job.rest);
        lay(&self.stamped, &mut job.stamped);
        // One of the two says how large the drawing is; a flag replaces either.
        if self.width.is_some() || self.panel.is_some() {
            (job.width, job.panel) = (self.width, self.panel.map(PanelEntry::Photo));
        }
        job.corners = self.corners().or(job.corners);
        job.art = self.art.clone().or(job.art);
        job.align = self.align.or(job.align);
        job.match_file = self.matches.clone().or(job.match_file);
        job.bare.extend(&self.bare);
        job.bare_cells.extend(&self.bare_cell);
        job.cuts.extend(self.cut.iter().cloned());
        job.merge.extend(self.merge.chunks(2).map(<[_]>::to_vec));
        job.pinned.retain(|old| {
            !self
                .pen
                .iter()
                .any(|new| (&new.band, &new.at) == (&old.band, &old.at))
        });
        job.pinned.extend(self.pen.iter().cloned());
        job.forbid.extend(self.forbid.iter().cloned());
        job.most_pens = self.most_pens.or(job.most_pens);
        lay(&self.background, &mut job.background);
        job.mirror |= self.mirror;
        Ok(job)
    }
}

/// Makes the plan, writes its folder, and tells.
///
/// # Errors
/// What is wrong and what to do, ready to be printed.
pub fn run(args: &PlanArgs) -> Result<()> {
    // The job of a plan may be in the folder that a killed run put aside.
    if let Some(folder) = args.job.as_deref().and_then(Path::parent) {
        output::recover(folder);
    }
    let job = args.job()?;
    job.check()?;
    output::check_free(&job.out)?;
    let base = real_path(&job.out);
    check_names(&job, &base)?;
    let progress = Progress::start();
    let made = input::make_plan(&job, &|stage| progress.stage(stage))?;
    progress.stage("drawing the sheets");
    let files = sheets::folder(&made, args.steps, |path| relative(path, &base))?;
    progress.stage("writing the folder");
    output::write(&job.out, &files)?;
    let uses = uses(&made.plan);
    // Without a record that can be read nothing is known; `penstrata record` says what is wrong.
    let due = due_with(
        &input::read_record(&record_path(&job.pens)).unwrap_or_default(),
        &uses,
    );
    progress.done();
    print!(
        "{}",
        summary(&made.plan, &due, &job.out, std::io::stdout().is_terminal())
    );
    Ok(())
}

/// What a plan will use of each pen.
fn uses(plan: &Plan) -> Vec<Use> {
    plan.ink_used()
        .into_iter()
        .map(|ink| Use {
            date: String::new(),
            plan: String::new(),
            pen: ink.pen.name.clone(),
            cm2: ink.area_mm2 / 100.0,
            coats: ink.coats,
        })
        .collect()
}

/// Refuses files that `plan.json` could not name: it is UTF-8.
fn check_names(job: &Job, base: &Path) -> Result<()> {
    for (path, what) in job.files() {
        if relative(path, base).to_str().is_none() {
            return Err(Error::file(
                path,
                "has a name, or lies in a folder with a name, that is not valid UTF-8",
                format!("Rename it, or copy the {what} to a plain name."),
            ));
        }
    }
    Ok(())
}

/// The path as seen from the folder `base`, which is without links and dots.
fn relative(path: &Path, base: &Path) -> PathBuf {
    let path = real_path(path);
    match pathdiff::diff_paths(&path, base) {
        Some(relative) if relative.as_os_str().is_empty() => PathBuf::from("."),
        Some(relative) => relative,
        None => path,
    }
}

/// The path without links and dots, also where its last parts do not exist yet.
fn real_path(path: &Path) -> PathBuf {
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    for ancestor in path.ancestors() {
        if let (Ok(real), Ok(rest)) = (ancestor.canonicalize(), path.strip_prefix(ancestor)) {
            return real.join(rest).components().collect();
        }
    }
    path
}
