//! `penstrata swatches`: measuring pens on the owner's paper.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use crate::color::{Srgb8, difference};
use crate::error::{Error, Result};
use crate::job::Page;
use crate::pens::Pen;
use crate::pens::swatches::{Measured, Sheet, read_swatches, sheets_for};
use crate::sheets::{self, Fonts};
use crate::{input, output};

use super::clean;

/// A pen that moved by more than this since it was last measured, in CIEDE2000, is not what it was; from memory.
const MOVED: f32 = 5.0;

#[derive(Subcommand)]
pub enum SwatchesCommand {
    /// Make sheets to print: two boxes for every pen
    #[command(
        after_help = "Example:\n  penstrata swatches sheet --pens my-pens.csv -o swatches.pdf\n\nPrint it at 100 % on the paper you color on."
    )]
    Sheet(SheetArgs),
    /// Read photos of colored sheets, and write the pens file with the colors measured
    #[command(
        after_help = "Example:\n  penstrata swatches read sheet-1.jpg sheet-2.jpg --pens my-pens.csv -o measured.csv\n\nOne photo for every sheet, in any order and lying any way."
    )]
    Read(ReadArgs),
}

#[derive(Args)]
pub struct SheetArgs {
    /// Your pens, as CSV
    #[arg(long, value_name = "CSV")]
    pens: PathBuf,
    /// The sheets, PDF
    #[arg(short, long, value_name = "PDF")]
    out: PathBuf,
    /// Paper in your printer
    #[arg(long, default_value = "A4")]
    page: Page,
    /// Replace the file if there is one
    #[arg(long)]
    replace: bool,
}

#[derive(Args)]
pub struct ReadArgs {
    /// Photos of the colored sheets
    #[arg(required = true, value_name = "PHOTO")]
    photos: Vec<PathBuf>,
    /// The pens file the sheets were printed from
    #[arg(long, value_name = "CSV")]
    pens: PathBuf,
    /// The pens file with the colors measured
    #[arg(short, long, value_name = "CSV")]
    out: PathBuf,
    /// Color of the bare paper
    #[arg(long, default_value = "#ffffff", value_name = "#rrggbb")]
    paper: Srgb8,
    /// Replace the file if there is one
    #[arg(long)]
    replace: bool,
}

/// Runs the command.
///
/// # Errors
/// What is wrong and what to do, ready to be printed.
pub fn run(command: &SwatchesCommand) -> Result<()> {
    match command {
        SwatchesCommand::Sheet(args) => sheet(args),
        SwatchesCommand::Read(args) => read(args),
    }
}

fn sheet(args: &SheetArgs) -> Result<()> {
    output::check_new(&args.out, args.replace)?;
    let pens = input::read_pens(&args.pens)?;
    let places = Sheet { page: args.page };
    let count = sheets_for(places, &pens, &args.pens)?;
    let pages = sheets::swatch_pages(&pens, args.page);
    output::write_file(&args.out, &sheets::pdf(&pages, &Fonts::load())?)?;
    println!(
        "{} pens on {count} sheet{}: print {} at 100 %, color, let dry, photograph each sheet whole.",
        pens.len(),
        if count == 1 { "" } else { "s" },
        args.out.display()
    );
    Ok(())
}

fn read(args: &ReadArgs) -> Result<()> {
    output::check_new(&args.out, args.replace)?;
    let pens = input::read_pens(&args.pens)?;
    let mut measured: Vec<Option<Measured>> = vec![None; pens.len()];
    let mut seen = Vec::new();
    for path in &args.photos {
        let (number, found) = read_swatches(&input::read_photo(path)?, &pens, args.paper)?;
        if seen.contains(&number) {
            return Err(Error::file(
                path,
                format!("shows sheet {} once more", number + 1),
                "Give one photo for every sheet.",
            ));
        }
        seen.push(number);
        for m in found {
            measured[m.pen] = Some(m);
        }
    }
    let mut table = input::read_table(&args.pens)?;
    let mut lines = Vec::new();
    for (pen, m) in pens.iter().zip(&measured) {
        let Some(m) = m else {
            lines.push(format!("{}: on no photo, left as it was", clean(&pen.name)));
            continue;
        };
        if let Some(color) = m.coats[0] {
            table.set(m.pen, "color", &color.to_string());
        }
        if let Some(color) = m.coats[1] {
            table.set(m.pen, "two_coats", &color.to_string());
        }
        lines.push(told(pen, m));
    }
    output::write_file(&args.out, &table.to_csv())?;
    for line in lines {
        println!("{line}");
    }
    println!("\nThe measured pens are in {}.", args.out.display());
    Ok(())
}

/// What changed for one pen.
fn told(pen: &Pen, measured: &Measured) -> String {
    let name = clean(&pen.name);
    let [Some(one), two] = measured.coats else {
        return format!("{name}: box empty, left as it was");
    };
    let moved = difference(pen.color.lab(), one.lab());
    let two = match two {
        Some(two) => format!(", two coats {two}"),
        None => ", second box empty".to_owned(),
    };
    let flag = if moved > MOVED {
        "; it was another color: a dying nib, running dry, or over-inked?"
    } else {
        ""
    };
    format!(
        "{name}: {} is now {one} (moved by {moved:.1}){two}{flag}",
        pen.color
    )
}
