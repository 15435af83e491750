//! `penstrata cells`: the cells of a drawing, numbered, for naming them in a job.

use std::path::PathBuf;

use clap::Args;

use crate::art::{places, told_openings};
use crate::error::{Error, Result};
use crate::files::Files;
use crate::job::{Job, PanelEntry};
use crate::length::{Length, PanelSize};
use crate::stages::read_drawing;
use crate::{input, output, sheets};

use super::point;

/// Shown below the help.
pub const EXAMPLES: &str = "\
Examples:
  penstrata cells demo/lantern.svg --width 100mm -o cells.png
  penstrata cells plum-stamp.png --width 110mm --gap 1.2mm -o cells.png

Copy a point into a job: bare = [[12.5, 40.0]], or [[part]] with cells = [[12.5, 40.0]].";

#[derive(Args)]
pub struct CellsArgs {
    /// Your line drawing: a flat scan, an SVG file, or a phone photo of the panel
    art: PathBuf,
    /// Width of the whole drawing on the panel, such as 110mm, 11cm or 4.25in
    #[arg(long, value_name = "LENGTH")]
    width: Option<Length>,
    /// Instead of --width: the drawing is a phone photo of a panel of this size, such as A6, 148x105mm or 4.25x5.5in
    #[arg(long, value_name = "SIZE", conflicts_with = "width")]
    panel: Option<PanelSize>,
    /// The panel's corners in its photo, in pixels, clockwise from the top left; found if not given
    #[arg(long, value_name = "X,Y", num_args = 4, value_parser = point)]
    corners: Vec<[f64; 2]>,
    /// Close gaps in the drawn lines up to this width [default: 0.8mm]
    #[arg(long, value_name = "LENGTH")]
    gap: Option<Length>,
    /// The picture with a number in every cell, PNG
    #[arg(short, long, value_name = "PNG")]
    out: PathBuf,
    /// Replace the picture if there is one
    #[arg(long)]
    replace: bool,
}

/// Finds the cells, writes the picture, and lists them.
///
/// # Errors
/// What is wrong and what to do, ready to be printed.
pub fn run(args: &CellsArgs) -> Result<()> {
    output::check_new(&args.out, args.replace)?;
    // Only how the drawing is read matters of it.
    let mut job = Job::new(PathBuf::new(), PathBuf::new(), args.width, PathBuf::new());
    job.art = Some(args.art.clone());
    job.panel = args.panel.map(PanelEntry::Photo);
    job.corners = args.corners.as_slice().try_into().ok();
    job.gap = args.gap.unwrap_or(job.gap);
    job.check()?;
    let mut files = Files::default();
    files.insert(args.art.clone(), input::read_file(&args.art, "drawing")?);
    let drawing = read_drawing(&files, &job.drawing())?
        .ok_or_else(|| Error::file(&args.art, "holds no drawing", "Give the drawing."))?;
    let mm_per_px = drawing.frame.mm_per_px;
    let places = places(&drawing.cells, mm_per_px);
    let sheet = sheets::numbered_cells(&drawing.lines.ink(), &places, mm_per_px);
    let picture = sheets::png(&sheet, sheets::OVERLAY_DPI, &sheets::Fonts::load())?;
    output::write_file(&args.out, &picture, args.replace)?;
    println!("cell  point (mm)       width (mm)  area (cm2)");
    for place in &places {
        let [x, y] = place.point_mm;
        println!(
            "{:>4}  {:<16} {:>10.1}  {:>10.2}",
            place.cell,
            format!("[{x:.1}, {y:.1}]"),
            place.width_mm,
            place.area_mm2 / 100.0
        );
    }
    for told in told_openings(&drawing.openings, true) {
        println!("Note: {told}");
    }
    println!("{} shows where they are.", args.out.display());
    Ok(())
}
