//! `penstrata record`: what was colored is added to the record of the pens.

use std::path::{Path, PathBuf};

use clap::Args;

use crate::error::{Error, Result};
use crate::input::{read_file, read_plan, read_record};
use crate::output::add_to_record;
use crate::pens::{Colored, FILLING_CM2, Use, record_path};
use crate::plan::Plan;

use super::clean;

/// Shown below the help.
pub const EXAMPLES: &str = "\
Examples:
  The code that the guide shows under \"What you colored\", or the file it saves:
    penstrata record plum-plan 3f9a01c2-3ff-h2k9d1-5d
    penstrata record plum-plan colored.txt
  Colored to the end without the guide, on four cards:
    penstrata record plum-plan --all --cards 4

The record stands beside your pens; penstrata pens check tells which pens are due. When you refill one, add a line with
\"refilled\" in place of the area. Nothing is counted twice.";

#[derive(Args)]
pub struct RecordArgs {
    /// The plan's folder
    plan: PathBuf,
    /// The guide's code, or a file with it
    #[arg(conflicts_with = "all")]
    code: Option<String>,
    /// Every turn was colored
    #[arg(long)]
    all: bool,
    /// On so many cards
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=1000))]
    cards: u32,
    /// The day it was colored, such as 2026-11-26 [default: the day the guide began, or today]
    #[arg(long, value_name = "DATE")]
    date: Option<jiff::civil::Date>,
}

/// Adds to the record, and tells.
///
/// # Errors
/// What is wrong and what to do, ready to be printed.
pub fn run(args: &RecordArgs) -> Result<()> {
    let (plan, folder) = read_plan(&args.plan)?;
    let colored: Option<Colored> = match &args.code {
        Some(code) => Some(text_of(code)?.parse()?),
        None if args.all => None,
        None => {
            return Err(Error::new(
                "it is not said what was colored",
                "Give the code that the guide shows under \"What you colored\", or --all if every turn was.",
            ));
        }
    };
    if let Some(colored) = &colored {
        check(&plan, colored, &args.plan)?;
    }
    let began = |colored: &Colored| {
        let minutes = i64::try_from(colored.began_min).ok()?;
        let span = jiff::Span::new().try_minutes(minutes).ok()?;
        let start = jiff::civil::datetime(1970, 1, 1, 0, 0, 0, 0);
        start.checked_add(span).ok().map(|at| at.date())
    };
    let date = args
        .date
        .or_else(|| colored.as_ref().and_then(began))
        .map(|date| date.to_string())
        .or_else(|| plan.job.date.clone())
        .unwrap_or_else(|| jiff::ZonedDateTime::now().date().to_string());
    let turns = match &colored {
        Some(colored) => colored.turns.clone(),
        None => (0..plan.schedule.turns.len()).collect(),
    };
    let run = colored.map_or_else(|| date.clone(), |colored| colored.run);
    let uses = uses(&plan, &folder, &turns, &date, &run, args.cards);
    let path = record_path(&plainly(&plan.job.pens));
    let before = earlier(&path, &plan, &folder, &run)?;
    let added = add_to_record(&path, &uses)?;
    let cm2: f64 = added.iter().map(|u| u.cm2).sum();
    if added.is_empty() {
        println!(
            "Nothing new: {} has all of it already. Another card of the same day? Give it with --cards.",
            path.display()
        );
    } else {
        println!(
            "Added to {}: {} turn{}, {cm2:.1} cm2, on {}.",
            path.display(),
            added.len(),
            if added.len() == 1 { "" } else { "s" },
            clean(&date)
        );
        if let Some(day) = before {
            println!(
                "This plan was recorded on {}, too, and counts as another card now. The same card? Take the new lines out of {}.",
                clean(&day),
                path.display()
            );
        }
    }
    for (pen, cm2) in read_record(&path)?.due() {
        println!(
            "{} has colored {cm2:.0} cm2; a filling covers about {FILLING_CM2:.0}: see whether it needs a refill.",
            clean(pen)
        );
    }
    Ok(())
}

/// The day on which turns of this plan were recorded before as of another coloring.
fn earlier(path: &Path, plan: &Plan, folder: &str, run: &str) -> Result<Option<String>> {
    let (all, mine) = (
        format!("{folder} {} ", plan.id()),
        format!("{folder} {} {run} ", plan.id()),
    );
    let record = read_record(path)?;
    let other = |(plan, _): &&(String, String)| plan.starts_with(&all) && !plan.starts_with(&mine);
    Ok(record.plans.iter().rfind(other).map(|(_, day)| day.clone()))
}

/// The path without links and dots, as short as it is from here.
fn plainly(path: &Path) -> PathBuf {
    let real = path.canonicalize().unwrap_or_else(|_| path.to_owned());
    let here = std::env::current_dir().unwrap_or_default();
    real.strip_prefix(here).map(Path::to_owned).unwrap_or(real)
}

/// The code itself, or what the file of this name holds.
fn text_of(code: &str) -> Result<String> {
    if Path::new(code).is_file() {
        let bytes = read_file(Path::new(code), "code")?;
        return Ok(String::from_utf8_lossy(&bytes[..bytes.len().min(200)]).into_owned());
    }
    Ok(code.to_owned())
}

/// Refuses a code of another plan.
fn check(plan: &Plan, colored: &Colored, folder: &Path) -> Result<()> {
    let last = colored.turns.last().copied().unwrap_or(0);
    if colored.plan != plan.id() || last >= plan.schedule.turns.len() {
        return Err(Error::file(
            folder,
            "is another plan than the one whose guide made this code",
            "Give the folder that this guide.html came from. If it was planned anew since, and all was colored, say --all.",
        ));
    }
    Ok(())
}

/// What turns used of their pens.
fn uses(plan: &Plan, folder: &str, turns: &[usize], date: &str, run: &str, cards: u32) -> Vec<Use> {
    let id = plan.id();
    turns
        .iter()
        .filter_map(|&k| {
            let turn = &plan.schedule.turns[k];
            let pen = plan.number(turn.number)?.pen.as_ref()?;
            let sections = plan
                .sections
                .iter()
                .filter(|s| turn.sections.contains(&s.id));
            let mm2: f64 = sections.map(|s| s.area_mm2).sum();
            Some(Use {
                date: date.to_owned(),
                plan: format!("{folder} {id} {run} turn {}", k + 1),
                pen: pen.name.clone(),
                cm2: f64::from(cards) * mm2 / 100.0,
                coats: 1,
            })
        })
        .collect()
}
