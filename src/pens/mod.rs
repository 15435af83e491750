//! The pens a person owns, and which of them goes where.

mod choose;
mod file;
pub mod swatches;

pub use choose::{Choice, Pick, choose, color_name, explain_drift};
pub use file::{Condition, Pen, Table, read_pens};
