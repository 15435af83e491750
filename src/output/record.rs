//! The record of what was colored.

use std::fs;
use std::io;
use std::path::Path;

use crate::error::{Error, Result};
use crate::pens::{self, Use};

/// Adds to the record what does not stand there yet, all of it and onto the disk, or none. Runs that end at the same
/// time wait for each other. Returns what was added.
///
/// # Errors
/// If the record cannot be written.
pub fn add_to_record(path: &Path, uses: &[Use]) -> Result<Vec<Use>> {
    let failed = |e: io::Error| {
        Error::file(
            path,
            e,
            "Check that the record beside the pens file can be written to.",
        )
    };
    let mut file = fs::OpenOptions::new()
        .create(true)
        .read(true)
        .append(true)
        .open(path)
        .map_err(failed)?;
    // Some file systems know no locks; there two runs in the same moment must do without.
    let _ = file.lock();
    let mut record = Vec::new();
    io::Read::read_to_end(&mut file, &mut record).map_err(failed)?;
    let (new, lines) = pens::to_add(&record, uses);
    if !new.is_empty() {
        append(&mut file, record.len() as u64, &lines).map_err(failed)?;
    }
    Ok(new)
}

/// Writes `lines` behind the `length` bytes there are; if that fails, what was written is taken back.
fn append(file: &mut fs::File, length: u64, lines: &[u8]) -> io::Result<()> {
    let written = io::Write::write_all(file, lines).and_then(|()| file.sync_all());
    if written.is_err() {
        file.set_len(length)?;
    }
    written
}
