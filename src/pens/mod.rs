//! The pens a person owns, and which of them goes where.

mod choose;
mod file;

pub use choose::{Choice, Pick, choose, color_name, explain_drift};
pub use file::{Condition, Pen, read_pens};
