//! Whose a folder is: a plan may replace a plan, and nothing else.

use std::fs;
use std::io;
use std::path::Path;

use serde::Deserialize;

use crate::error::{Error, Result};
use crate::plan::SCHEMA;

/// Files that file managers put into every folder they show, without asking; in lower case. From memory.
const LITTER: [&str; 4] = [".ds_store", "thumbs.db", "desktop.ini", ".directory"];

/// What a folder's `plan.json` must say for the folder to be ours: plans of older and newer versions are ours, too.
#[derive(Deserialize)]
pub struct Ownership {
    schema: String,
    files: Vec<String>,
}

/// Refuses an output folder that holds anything but a plan of ours.
///
/// # Errors
/// If `out` is a file, a link to nothing, or a folder with anything that is not listed in its own `plan.json`. What
/// file managers leave everywhere (`.DS_Store` and the like) does not count.
pub fn check_free(out: &Path) -> Result<()> {
    let next = "Give another folder with --out, or move what is in it.";
    if !out.exists() {
        if out.is_symlink() {
            return Err(Error::file(out, "is a link to nothing", next));
        }
        return Ok(());
    }
    if !out.is_dir() {
        return Err(Error::file(
            out,
            "is a file, expected a folder for the plan",
            next,
        ));
    }
    match foreign(out) {
        Err(e) => Err(Error::file(out, e, next)),
        Ok(Some(found)) => Err(Error::file(
            out,
            format!("{found}; it stays as it is"),
            next,
        )),
        Ok(None) => Ok(()),
    }
}

/// What `folder` holds that is not ours, if anything, for a sentence that begins with the folder.
pub fn foreign(folder: &Path) -> io::Result<Option<String>> {
    let mut found = entries(folder, folder)?;
    found.retain(|name| !is_litter(name));
    if found.is_empty() {
        return Ok(None);
    }
    let Some(ours) = ownership(folder) else {
        return Ok(Some("holds other things and is no plan".to_owned()));
    };
    Ok(found
        .iter()
        .find(|name| !ours.files.contains(name))
        .map(|name| format!("holds {name}, which is not part of the plan")))
}

pub fn ownership(folder: &Path) -> Option<Ownership> {
    let bytes = fs::read(folder.join("plan.json")).ok()?;
    let said: Ownership = serde_json::from_slice(&bytes).ok()?;
    (said.schema == SCHEMA).then_some(said)
}

fn is_litter(name: &str) -> bool {
    let last = name.rsplit('/').next().unwrap_or(name).to_lowercase();
    // "._name" holds what a Mac knows about a file on a disk of another system.
    LITTER.contains(&last.as_str()) || last.starts_with("._")
}

/// All files below `folder`, as `/`-separated paths inside `base`, in order.
fn entries(base: &Path, folder: &Path) -> io::Result<Vec<String>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() && !path.is_symlink() {
            let inside = entries(base, &path)?;
            // An empty folder is something, too, and not ours.
            if inside.is_empty() {
                found.push(inner_name(base, &path));
            }
            found.extend(inside);
        } else {
            found.push(inner_name(base, &path));
        }
    }
    found.sort();
    Ok(found)
}

fn inner_name(base: &Path, path: &Path) -> String {
    let inner = path.strip_prefix(base).unwrap_or(path);
    inner
        .components()
        .map(|c| c.as_os_str().to_string_lossy())
        .collect::<Vec<_>>()
        .join("/")
}
