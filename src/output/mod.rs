//! What is written. The plan's folder and single files: beside, then renamed into place, so that there is always a whole
//! one or none. The record: behind what it holds.

mod disk;
mod file;
mod folder;
mod left;
mod ours;
mod record;
mod swap;
#[cfg(test)]
mod tests;

pub use file::{check_new, write_file};
pub use folder::write;
pub use left::recover;
pub use ours::check_free;
pub use record::add_to_record;
