//! The command line.

mod cells;
mod flatten;
mod pens;
mod plan;
mod progress;
mod record;
mod summary;
mod swatches;

use clap::{CommandFactory, Parser, Subcommand};

use crate::error::Result;

#[derive(Parser)]
#[command(
    name = "penstrata",
    version,
    about = "Plans flat, unblended alcohol-marker coloring from a photo, a line drawing and the pens you own."
)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Make the plan: a true-size overlay to trace, a preview, and which pen goes where
    #[command(after_help = plan::EXAMPLES)]
    Plan(Box<plan::PlanArgs>),
    /// Make a flat, evenly lit picture of a panel from a phone photo of it
    #[command(after_help = flatten::EXAMPLES)]
    Flatten(flatten::FlattenArgs),
    /// List the cells of a drawing, with a numbered picture, for naming them in a job
    #[command(after_help = cells::EXAMPLES)]
    Cells(cells::CellsArgs),
    /// Add what you colored to the record of your pens
    #[command(after_help = record::EXAMPLES)]
    Record(record::RecordArgs),
    /// Look over your pens
    #[command(subcommand)]
    Pens(pens::PensCommand),
    /// Measure your pens: sheets to color, and reading them from photos
    #[command(subcommand)]
    Swatches(swatches::SwatchesCommand),
}

/// The program as a command line, for man pages and shell completions.
pub fn command() -> clap::Command {
    Cli::command()
}

/// Runs the program.
///
/// # Errors
/// What is wrong and what to do, ready to be printed.
pub fn run() -> Result<()> {
    match Cli::parse().command {
        Command::Plan(args) => plan::run(&args),
        Command::Flatten(args) => flatten::run(&args),
        Command::Cells(args) => cells::run(&args),
        Command::Record(args) => record::run(&args),
        Command::Pens(command) => pens::run(&command),
        Command::Swatches(command) => swatches::run(&command),
    }
}

/// Text from files on one line: control characters must not reach a terminal.
fn clean(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

/// Two numbers, as in `52,30.5`.
fn point(text: &str) -> std::result::Result<[f64; 2], String> {
    text.split_once(',')
        .and_then(|(x, y)| Some([x.trim().parse().ok()?, y.trim().parse().ok()?]))
        .ok_or_else(|| format!("\"{text}\" is not a point; write X,Y for example 52,30.5"))
}
