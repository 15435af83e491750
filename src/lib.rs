//! penstrata plans flat, unblended alcohol-marker coloring: from a reference photo, a line drawing and the pens owned
//! to sections a hand can trace, a pen for each, and a true-size overlay.
//!
//! A plan is a pure function of the job and the bytes of the files it names: [`plan_of`] makes it, [`sheets::folder`] its
//! folder. Files, clock and environment belong to the command line alone (feature `cli`).

pub mod accents;
pub mod art;
pub mod borders;
pub mod card;
#[cfg(feature = "cli")]
pub mod cli;
pub mod color;
pub mod duration;
pub mod error;
pub mod files;
pub mod frame;
pub mod grid;
#[cfg(feature = "cli")]
pub mod input;
pub mod job;
pub mod length;
pub mod light;
pub mod nearest;
#[cfg(feature = "cli")]
pub mod output;
pub mod parts;
pub mod passes;
pub mod pens;
pub mod plan;
pub mod planner;
pub mod reference;
pub mod sections;
pub mod sheets;
pub mod swatches;

mod backdrop;
mod compose;
mod laying;
mod matching;
mod naming;
mod stages;
mod variants;
mod wishes;

use std::sync::Arc;

use art::{Cells, Lines};
use borders::{Labels, Outlines};
use card::Card;
use error::Result;
use files::Files;
use job::Job;
use parts::Parts;
use pens::Pen;
use plan::Plan;
use planner::Planner;
use reference::Reference;
use sections::Sections;

pub use stages::{Drawing, read_drawing};

/// A plan with everything the sheets draw from.
pub struct Made {
    pub plan: Plan,
    pub outlines: Arc<Outlines>,
    pub labels: Labels,
    pub sections: Arc<Sections>,
    pub reference: Arc<Reference>,
    pub lines: Arc<Lines>,
    pub cells: Arc<Cells>,
    /// The part with a color of its own that every cell belongs to, by the cell's number (0 is no cell); empty without
    /// such parts.
    pub lit_part_of_cell: Vec<Option<usize>>,
    pub parts: Arc<Parts>,
    /// All pens owned.
    pub pens: Arc<Vec<Pen>>,
    /// What the drawing is composed of, if it is a card of stamps and pieces.
    pub card: Option<Arc<Card>>,
    /// The same sections with other pens, by name: those that the pens can serve.
    pub variants: Vec<(String, Made)>,
}

/// Makes the plan of a job from the files it names. `stage` is told what begins.
///
/// # Errors
/// Everything that is wrong with an input or a choice.
pub fn plan_of(job: &Job, files: Files, stage: &dyn Fn(&str)) -> Result<Made> {
    Planner::new(files).plan(job, stage)
}
