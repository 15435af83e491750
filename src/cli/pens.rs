//! `penstrata pens check`: what is owned, at a glance.

use std::io::IsTerminal;
use std::path::PathBuf;

use clap::{Args, Subcommand};

use crate::error::Result;
use crate::job::PageSize;
use crate::pens::{Condition, FILLING_CM2, Pen, check_pens, record_path};
use crate::sheets::{self, Fonts};
use crate::{input, output};

use super::clean;

/// Resolution of the picture, in dots per inch.
const PICTURE_DPI: f64 = 150.0;

#[derive(Subcommand)]
pub enum PensCommand {
    /// Show what you own: families from light to dark, twins, gaps, what to buy or refill first
    #[command(after_help = "Example:\n  penstrata pens check my-pens.csv --pdf my-pens.pdf")]
    Check(CheckArgs),
}

#[derive(Args)]
pub struct CheckArgs {
    /// Your pens, as CSV
    pens: PathBuf,
    /// Also a sheet to keep by the pens
    #[arg(long, value_name = "PDF")]
    pdf: Option<PathBuf>,
    /// Also a picture of its first page
    #[arg(long, value_name = "PNG")]
    picture: Option<PathBuf>,
    /// Paper in your printer
    #[arg(long, default_value = "A4")]
    page: PageSize,
    /// Replace files if there are any
    #[arg(long)]
    replace: bool,
}

/// Runs the command.
///
/// # Errors
/// What is wrong and what to do, ready to be printed.
pub fn run(command: &PensCommand) -> Result<()> {
    let PensCommand::Check(args) = command;
    for path in [&args.pdf, &args.picture].into_iter().flatten() {
        output::check_new(path, args.replace)?;
    }
    let pens = input::read_pens(&args.pens)?;
    let report = check_pens(&pens);
    let pages = sheets::pen_pages(&pens, &report, args.page);
    let fonts = Fonts::load();
    if let Some(path) = &args.pdf {
        output::write_file(path, &sheets::pdf(&pages, &fonts)?, args.replace)?;
    }
    if let Some(path) = &args.picture {
        output::write_file(
            path,
            &sheets::png(&pages[0], PICTURE_DPI, &fonts)?,
            args.replace,
        )?;
    }
    let color = std::io::stdout().is_terminal();
    for family in &report.families {
        println!("{}", family.name);
        for &p in &family.pens {
            println!("  {}", line(&pens[p], color));
        }
        for gap in &family.gaps {
            println!("  - {}", clean(gap));
        }
    }
    if !report.twins.is_empty() {
        println!("\nHardly to be told apart:");
        for &(p, q, d) in &report.twins {
            println!(
                "  {} and {} ({d:.1})",
                clean(&pens[p].name),
                clean(&pens[q].name)
            );
        }
    }
    if !report.first.is_empty() {
        println!("\nTo see to, most needed first:");
        for thing in &report.first {
            println!("  {}", clean(thing));
        }
    }
    let path = record_path(&args.pens);
    let record = input::read_record(&path)?;
    let due = record.due();
    if !due.is_empty() {
        println!("\nDue by the record (a filling covers about {FILLING_CM2:.0} cm2):");
        for (pen, cm2) in due {
            println!("  {} has colored {cm2:.0} cm2", clean(pen));
        }
    }
    for line in &record.damaged {
        println!(
            "Note: line {line} of {} is not understood and was skipped.",
            path.display()
        );
    }
    Ok(())
}

fn line(pen: &Pen, color: bool) -> String {
    let [r, g, b] = pen.color.0;
    let swatch = if color {
        format!("\x1b[48;2;{r};{g};{b}m    \x1b[0m")
    } else {
        pen.color.to_string()
    };
    let mut state = match pen.condition {
        Condition::Good => String::new(),
        Condition::Worn => ", worn".to_owned(),
        Condition::Dry => ", dry".to_owned(),
    };
    if !pen.refill {
        state += ", no refill";
    }
    format!(
        "{swatch}  {:>3.0}  {}{state}",
        pen.color.lab().l,
        clean(&pen.name)
    )
}
