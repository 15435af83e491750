//! `penstrata flatten`: a phone photo of a panel made flat.

use std::path::PathBuf;

use clap::Args;

use crate::art::{find_corners, flatten, lying};
use crate::error::Result;
use crate::frame::Frame;
use crate::length::PanelSize;
use crate::sheets;
use crate::{input, output};

use super::point;

/// Shown below the help.
pub const EXAMPLES: &str = "\
Examples:
  penstrata flatten panel.jpg -o flat.png --panel A6
  penstrata flatten panel.jpg -o flat.png --panel 148x105mm --corners 380,300 2860,420 2780,2180 520,2090

The picture has 10 pixels per millimeter; use it as --art with the panel's --width.";

#[derive(Args)]
pub struct FlattenArgs {
    /// Photo of the panel, with some of the desk around it
    photo: PathBuf,
    /// The flat picture, PNG
    #[arg(short, long, value_name = "PNG")]
    out: PathBuf,
    /// Size of the panel, such as A6, 148x105mm or 4.25x5.5in; which side lies across is told from the photo
    #[arg(long, value_name = "SIZE")]
    panel: PanelSize,
    /// The panel's corners in photo pixels, clockwise from the top left; found if not given
    #[arg(long, value_name = "X,Y", num_args = 4, value_parser = point)]
    corners: Vec<[f64; 2]>,
    /// Replace the picture if there is one
    #[arg(long)]
    replace: bool,
}

/// Finds the panel, makes it flat, and writes the picture.
///
/// # Errors
/// What is wrong and what to do, ready to be printed.
pub fn run(args: &FlattenArgs) -> Result<()> {
    output::check_new(&args.out, args.replace)?;
    let photo = input::read_photo(&args.photo)?;
    let sides = args.panel.sides_mm();
    let corners = match args.corners.as_slice().try_into() {
        Ok(given) => given,
        Err(_) => find_corners(&photo, sides)?,
    };
    let size_mm = lying(&corners, &photo, sides);
    let Frame {
        width,
        height,
        mm_per_px,
        ..
    } = Frame::of(size_mm);
    let flat = flatten(&photo, &corners, width, height, mm_per_px)?;
    output::write_file(&args.out, &sheets::encode_rgb(&flat)?, args.replace)?;
    let [p, q, r, s] = corners.map(|[x, y]| format!("{x:.0},{y:.0}"));
    println!(
        "The panel lies at {p} {q} {r} {s} in the photo.\n{} is {} x {} mm, {width} x {height} pixels; use it with --width {}mm.",
        args.out.display(),
        size_mm[0],
        size_mm[1],
        size_mm[0]
    );
    Ok(())
}
