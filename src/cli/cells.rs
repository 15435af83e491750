//! `penstrata cells`: the cells of a drawing, numbered, for naming them in a job.

use std::path::PathBuf;

use clap::Args;

use crate::art::places;
use crate::error::Result;
use crate::job::Job;
use crate::length::Length;
use crate::{MM_PER_PX, output, read_drawing, sheets};

/// Shown below the help.
pub const EXAMPLES: &str = "\
Examples:
  penstrata cells demo/lantern.svg --width 100mm -o cells.png
  penstrata cells plum-stamp.png --width 110mm --gap 1.2mm -o cells.png

Copy a point into a job: bare = [[12.5, 40.0]], or [[part]] with cells = [[12.5, 40.0]].";

#[derive(Args)]
pub struct CellsArgs {
    /// Your line drawing: a flat scan or an SVG file
    art: PathBuf,
    /// Width of the whole drawing on the panel, such as 110mm, 11cm or 4.25in
    #[arg(long, value_name = "LENGTH")]
    width: Length,
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
    let mut job = Job::new(
        PathBuf::new(),
        PathBuf::new(),
        Some(args.width),
        PathBuf::new(),
    );
    job.art = Some(args.art.clone());
    job.gap = args.gap.unwrap_or(job.gap);
    job.check()?;
    let drawing = read_drawing(&job, &args.art)?;
    let places = places(&drawing.cells, MM_PER_PX);
    let sheet = sheets::numbered_cells(&drawing.lines.ink(), &places, MM_PER_PX);
    let picture = sheets::png(&sheet, sheets::OVERLAY_DPI, &sheets::Fonts::load())?;
    output::write_file(&args.out, &picture)?;
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
    println!("{} shows where they are.", args.out.display());
    Ok(())
}
