//! `penstrata swatches`: measuring pens on the owner's paper.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use crate::color::{Srgb8, difference};
use crate::error::{Error, Result};
use crate::job::Page;
use crate::pens::Pen;
use crate::sheets::{self, Fonts};
use crate::swatches::{
    Fault, LIMIT, Measured, Seen, Sheet, Tap, Value, read_scrap, read_swatches, sheets_for,
};
use crate::{input, output};

use super::clean;

/// A pen that moved by this more than both measurements are uncertain, in CIEDE2000, is not what it was; from memory.
const MOVED: f32 = 2.0;
/// How uncertain a color is that nobody measured, in CIEDE2000: read off a cap or a maker's chart; from memory.
const UNMEASURED: f32 = 8.0;
/// A color that more pens than this have was filled in to be measured.
const FILLED_IN: usize = 2;

#[derive(Subcommand)]
pub enum SwatchesCommand {
    /// Make sheets to print: two boxes for every pen
    #[command(
        after_help = "Example:\n  penstrata swatches sheet --pens my-pens.csv -o swatches.pdf\n\nPrint it at 100 % on the paper you color on."
    )]
    Sheet(SheetArgs),
    /// Read photos of colored sheets, and write the pens file with the colors measured
    #[command(
        after_help = "Example:\n  penstrata swatches read sheet-1.jpg sheet-2.jpg --pens my-pens.csv -o measured.csv\n\nOne photo for every sheet or several of it, in any order and lying any way; of several, the best value of every box counts.\n\nA few pens on a scrap of the same card, without a sheet (less certain, and marked so):\n  penstrata swatches read scrap.jpg --scrap --tap \"Dark Plum=1210,840\" --tap \"Moss=1630,835\" --pens my-pens.csv -o measured.csv\n\nThe numbers are pixels from the photo's top left corner, across and down. Leave bare card around every patch."
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
    let places = Sheet { page: args.page };
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
    let mut measured: Vec<Option<Measured>> = vec![None; pens.len()];
    for path in &args.photos {
        let photo = input::read_photo(path)?;
        let found = if args.scrap {
            let taps = taps(args, &pens)?;
            let seen = read_scrap(&photo, &taps, args.paper)?;
            let measured = |(tap, seen): (&Tap, Seen)| Measured {
                pen: tap.pen,
                coats: [seen, Seen::Empty],
            };
            taps.iter().zip(seen).map(measured).collect()
        } else {
            read_swatches(&photo, &pens, args.paper)?.pens
        };
        for m in found {
            let best = measured[m.pen].get_or_insert(m);
            for (best, new) in best.coats.iter_mut().zip(m.coats) {
                *best = better(*best, new);
            }
        }
    }
    let mut lines = Vec::new();
    for (pen, m) in pens.iter().zip(&measured) {
        let Some(m) = m else {
            if !args.scrap {
                lines.push(format!("{}: on no photo, left as it was", clean(&pen.name)));
            }
            continue;
        };
        let alike = pens.iter().filter(|p| p.color == pen.color).count();
        let before = Before {
            pen,
            uncertainty: table.get(m.pen, COLUMNS[0][1]).and_then(|v| v.parse().ok()),
            filled_in: alike > FILLED_IN,
        };
        // A scrap tells less than a sheet.
        if let (true, Some(known), Seen::Color(new)) = (args.scrap, before.uncertainty, m.coats[0])
            && known <= new.uncertainty
        {
            let name = clean(&pen.name);
            lines.push(format!(
                "{name}: about {} on the scrap; left as it was, it is known better (\u{b1} {known:.1})",
                new.color
            ));
            continue;
        }
        for (seen, [column, uncertainty]) in m.coats.iter().zip(COLUMNS) {
            if let Seen::Color(value) = seen {
                table.set(m.pen, column, &value.color.to_string());
                table.set(m.pen, uncertainty, &format!("{:.1}", value.uncertainty));
            }
        }
        lines.push(told(&before, m));
    }
    output::write_file(&args.out, &table.to_csv(), args.replace)?;
    for line in lines {
        println!("{line}");
    }
    println!(
        "\nThe measured pens are in {}. \u{b1} is how far the true color may be (CIEDE2000, 19 times of 20).",
        args.out.display()
    );
    Ok(())
}

/// The columns of one coat and of two: the color, and how uncertain it is.
const COLUMNS: [[&str; 2]; 2] = [
    ["color", "uncertainty"],
    ["two_coats", "two_coats_uncertainty"],
];

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

/// The better of what two photos say of one box.
fn better(a: Seen, b: Seen) -> Seen {
    match (a, b) {
        (Seen::Color(x), Seen::Color(y)) if y.uncertainty < x.uncertainty => b,
        (Seen::Color(_), _) | (Seen::Fault(_), Seen::Empty | Seen::Fault(_)) => a,
        _ => b,
    }
}

/// What was known of a pen.
struct Before<'a> {
    pen: &'a Pen,
    /// Of its color, if it was measured.
    uncertainty: Option<f32>,
    /// Its color was only filled in.
    filled_in: bool,
}

/// What changed for one pen.
fn told(before: &Before, measured: &Measured) -> String {
    let pen = before.pen;
    let name = clean(&pen.name);
    let [one, two] = measured.coats;
    if let [Seen::Empty, Seen::Empty] = measured.coats {
        return format!("{name}: boxes empty, left as it was");
    }
    let mut flag = "";
    let first = match one {
        Seen::Empty => "first box empty".to_owned(),
        Seen::Fault(fault) => left(fault, &name, &pen.color.to_string()),
        Seen::Color(value) => {
            let moved = difference(pen.color.lab(), value.color.lab());
            let known = before.uncertainty.unwrap_or(UNMEASURED);
            if !before.filled_in && moved > MOVED + known + value.uncertainty {
                flag = "; it was another color: a dying nib, running dry, or over-inked?";
            }
            format!(
                "{} is now {} (moved by {moved:.1}, {})",
                pen.color,
                value.color,
                give(value)
            )
        }
    };
    let second = match two {
        Seen::Empty => "second box empty".to_owned(),
        Seen::Fault(fault) => left(
            fault,
            &name,
            &pen.two_coats
                .map_or("no color of two coats".into(), |c| c.to_string()),
        ),
        Seen::Color(value) => format!("two coats {} ({})", value.color, give(value)),
    };
    format!("{name}: {first}, {second}{flag}")
}

/// How far a value may be off.
fn give(value: Value) -> String {
    let mark = if value.uncertainty > LIMIT {
        ", uncertain"
    } else {
        ""
    };
    format!("\u{b1} {:.1}{mark}", value.uncertainty)
}

/// A box that keeps what it was.
fn left(fault: Fault, name: &str, old: &str) -> String {
    format!("{fault} on {name}: {} (stays {old})", fault.remedy())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_for_a_pen_is_what_is_told() {
        let pen = Pen {
            name: "Moss".into(),
            color: Srgb8::new(90, 110, 60),
            refill: true,
            condition: crate::pens::Condition::Good,
            two_coats: None,
            note: String::new(),
        };
        let color = Seen::Color(Value {
            color: Srgb8::new(70, 90, 40),
            uncertainty: 1.0,
        });
        let before = Before {
            pen: &pen,
            uncertainty: None,
            filled_in: false,
        };
        for (coats, said, unsaid) in [
            ([Seen::Empty, Seen::Empty], "left as it was", "#465a28"),
            ([Seen::Empty, color], "two coats #465a28", "left as it was"),
            ([color, Seen::Empty], "is now #465a28", "left as it was"),
            ([color, color], "two coats #465a28", "left as it was"),
        ] {
            let told = told(&before, &Measured { pen: 0, coats });
            assert!(told.contains(said) && !told.contains(unsaid), "{told}");
        }
    }
}
