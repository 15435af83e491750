//! What is read from disk, for the command line: the job, and the files that it names.

use std::io::Read;
use std::path::Path;

use crate::art::{Corners, Page, load_page};
use crate::error::{Error, Result};
use crate::files::Files;
use crate::job::Job;
use crate::length::PanelSize;
use crate::made::Made;
use crate::pens::{self, Pen, Record, Table};
use crate::plan::Plan;
use crate::plan_of;
use crate::reference::Photo;

/// Longest file that is read, in bytes: more than any picture the decoders take.
const LARGEST_BYTES: u64 = 2 << 30;

/// What a file holds; `what` names its kind for the person.
///
/// # Errors
/// If it cannot be read, or is longer than two gibibytes.
pub fn read_file(path: &Path, what: &str) -> Result<Vec<u8>> {
    let next = || format!("Check the name of the {what} and that it can be opened.");
    let failed = |e: std::io::Error| Error::file(path, e, next());
    let file = std::fs::File::open(path).map_err(failed)?;
    let size = file.metadata().map_or(0, |m| m.len());
    let mut bytes = Vec::with_capacity(size.min(LARGEST_BYTES) as usize);
    file.take(LARGEST_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    if bytes.len() as u64 > LARGEST_BYTES {
        return Err(Error::file(
            path,
            format!("is longer than {LARGEST_BYTES} bytes"),
            next(),
        ));
    }
    Ok(bytes)
}

/// Every file that the job names.
///
/// # Errors
/// If one of them cannot be read.
pub fn read_files(job: &Job) -> Result<Files> {
    let mut files = Files::default();
    for (path, what) in job.files() {
        files.insert(path.to_owned(), read_file(path, what)?);
    }
    Ok(files)
}

/// A job from a TOML file, or from the `job` entry of a `plan.json`; its paths become relative to where the program
/// runs.
///
/// # Errors
/// If the file cannot be read or is no job.
pub fn read_job(path: &Path) -> Result<Job> {
    let text = std::fs::read_to_string(path).map_err(|e| Error::file(path, e, Job::HELP))?;
    let mut job = Job::parse(path, &text)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    job.rebase(|p| folder.join(p));
    Ok(job)
}

/// The plan in a folder, or in its `plan.json`, and the folder's name; the job's paths become relative to where the
/// program runs.
///
/// # Errors
/// If there is none, or it cannot be read.
pub fn read_plan(path: &Path) -> Result<(Plan, String)> {
    let file = if path.is_dir() {
        path.join("plan.json")
    } else {
        path.to_owned()
    };
    let bytes = read_file(&file, "plan")?;
    let mut plan: Plan = serde_json::from_slice(&bytes).map_err(|e| {
        Error::file(
            &file,
            format!("is not a plan of this version ({e})"),
            "Give the folder of a plan, or plan once more into it.",
        )
    })?;
    let folder = file.parent().unwrap_or(Path::new(""));
    plan.job.rebase(|p| folder.join(p));
    let name = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    let name = name.file_name().unwrap_or_default();
    Ok((plan, name.to_string_lossy().into_owned()))
}

/// The plan of a job, with the files it names read from disk.
///
/// # Errors
/// As [`read_files`] and [`plan_of`].
pub fn make_plan(job: &Job, stage: &dyn Fn(&str)) -> Result<Made> {
    job.check()?;
    plan_of(job, read_files(job)?, stage)
}

/// See [`Photo::decode`].
///
/// # Errors
/// If it cannot be read or is no picture.
pub fn read_photo(path: &Path) -> Result<Photo> {
    Photo::decode(path, &read_file(path, "picture")?)
}

/// See [`load_page`].
///
/// # Errors
/// If it cannot be read or is no drawing.
pub fn read_page(path: &Path, panel: Option<PanelSize>, corners: Option<Corners>) -> Result<Page> {
    load_page(path, &read_file(path, "drawing")?, panel, corners)
}

/// See [`pens::read_pens`].
///
/// # Errors
/// If it cannot be read or is no table of pens.
pub fn read_pens(path: &Path) -> Result<Vec<Pen>> {
    pens::read_pens(path, &read_file(path, "pens file")?)
}

/// See [`Table::read`].
///
/// # Errors
/// If it cannot be read or is no table.
pub fn read_table(path: &Path) -> Result<Table> {
    Table::read(path, &read_file(path, "pens file")?)
}

/// See [`Record::read`]; a missing record is empty.
///
/// # Errors
/// If it is there but cannot be read.
pub fn read_record(path: &Path) -> Result<Record> {
    match path.try_exists() {
        Ok(false) => Ok(Record::default()),
        _ => Ok(Record::read(&read_file(path, "record")?)),
    }
}
