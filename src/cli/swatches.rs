//! `penstrata swatches`: measuring pens on the owner's paper.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use crate::color::Srgb8;
use crate::error::{Error, Result};
use crate::job::PageSize;
use crate::pens::Pen;
use crate::sheets::{self, Fonts};
use crate::swatches::{
    Measured, Places, Seen, Tap, believed, known_of, read_scrap, read_swatches, sheets_for,
    write_down,
};
use crate::{input, output};

use super::clean;

#[derive(Subcommand)]
pub enum SwatchesCommand {
    /// Make sheets to print: two boxes for every pen
    #[command(
        after_help = "Example:\n  penstrata swatches sheet --pens my-pens.csv -o swatches.pdf\n\nPrint it at 100 % on the paper you color on."
    )]
    Sheet(SheetArgs),
    /// Read photos of colored sheets, and write the pens file with the colors measured
    #[command(
        after_help = "Example:\n  penstrata swatches read sheet-1.jpg sheet-2.jpg --pens my-pens.csv -o measured.csv\n\nOne photo for every sheet or several of it, in any order and lying any way; of several, every box counts with the mean of its values, the more certain ones most.\n\nA few pens on a scrap of the same card, without a sheet (less certain, and marked so):\n  penstrata swatches read scrap.jpg --scrap --tap \"Dark Plum=1210,840\" --tap \"Moss=1630,835\" --pens my-pens.csv -o measured.csv\n\nThe numbers are pixels from the photo's top left corner, across and down. Leave bare card around every patch."
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
    page: PageSize,
    /// Replace the file if there is one
    #[arg(long)]
    replace: bool,
}

#[derive(Args)]
pub struct ReadArgs {
    /// Photos of the colored sheets
    #[arg(required = true, value_name = "PHOTO")]
    photos: Vec<PathBuf>,
    /// The photo shows a scrap of card with a few pens on it, not a sheet
    #[arg(long, requires = "tap")]
    scrap: bool,
    /// Which pen is where on the scrap; once for every pen
    #[arg(long, requires = "scrap", value_name = "PEN=X,Y")]
    tap: Vec<String>,
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
    let places = Places { page: args.page };
    let count = sheets_for(places, &pens, &args.pens)?;
    let pages = sheets::swatch_pages(&pens, args.page);
    output::write_file(
        &args.out,
        &sheets::pdf(&pages, &Fonts::load())?,
        args.replace,
    )?;
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
    let mut table = input::read_table(&args.pens)?;
    let known = known_of(&table, &pens);
    let mut found = Vec::new();
    for path in &args.photos {
        let photo = input::read_photo(path)?;
        found.extend(if args.scrap {
            let taps = taps(args, &pens)?;
            let seen = read_scrap(&photo, &taps, &believed(&table, &pens), args.paper)?;
            let measured = |(tap, seen): (&Tap, Seen)| Measured {
                pen: tap.pen,
                coats: [seen, Seen::Empty],
            };
            taps.iter().zip(seen).map(measured).collect()
        } else {
            read_swatches(&photo, &pens, &known, args.paper)?.pens
        });
    }
    let lines = write_down(&mut table, &pens, &found, args.scrap);
    output::write_file(&args.out, &table.to_csv(), args.replace)?;
    for line in lines {
        println!("{}", clean(&line));
    }
    println!(
        "\nThe measured pens are in {}. \u{b1} is how far the true color may be (CIEDE2000, 19 times of 20).",
        args.out.display()
    );
    Ok(())
}

/// The places named with `--tap`.
fn taps(args: &ReadArgs, pens: &[Pen]) -> Result<Vec<Tap>> {
    args.tap
        .iter()
        .map(|text| {
            let wrong = |what: String| {
                Error::new(
                    what,
                    "Write the pen as in the pens file, and pixels from the photo's top left: --tap \"Dark Plum=1210,840\".",
                )
            };
            let parts = text.rsplit_once('=').and_then(|(name, at)| {
                let (x, y) = at.split_once(',')?;
                let number = |v: &str| v.trim().parse::<f64>().ok().filter(|v| v.is_finite());
                Some((name.trim(), [number(x)?, number(y)?]))
            });
            let (name, at) =
                parts.ok_or_else(|| wrong(format!("--tap \"{}\" names no place", clean(text))))?;
            let pen = pens
                .iter()
                .position(|p| p.name.eq_ignore_ascii_case(name))
                .ok_or_else(|| wrong(format!("no pen is called \"{}\"", clean(name))))?;
            Ok(Tap { pen, at })
        })
        .collect()
}
