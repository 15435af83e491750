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
mod choosing;
mod compose;
mod laying;
mod made;
mod naming;
mod stages;
mod variants;
mod wishes;

use error::Result;
use files::Files;
use job::Job;
use planner::Planner;

pub use made::Made;
pub use stages::{Drawing, read_drawing};

/// Makes the plan of a job from the files it names. `stage` is told what begins.
///
/// # Errors
/// Everything that is wrong with an input or a choice.
pub fn plan_of(job: &Job, files: Files, stage: &dyn Fn(&str)) -> Result<Made> {
    Planner::new(files).plan(job, stage)
}
