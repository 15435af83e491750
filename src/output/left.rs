//! What runs that were killed left behind: a plan put aside comes back, the rest goes.

use std::fs;
use std::path::{Path, PathBuf};

use super::disk::{FRESH, parent_and_name, place_of};
use super::ours::{foreign, ownership};
use super::swap::{ASIDE, remove};

/// What is named so and older than this was left by a run that was killed.
const LEFT_BEHIND: std::time::Duration = std::time::Duration::from_secs(3600);

/// Puts a plan back that a run killed at the worst moment left beside `out`: there is none at `out` then.
pub fn recover(out: &Path) {
    if out == Path::new("") || out.exists() || out.is_symlink() {
        return;
    }
    let Ok(out) = place_of(out) else { return };
    let (parent, name) = parent_and_name(&out);
    for aside in beside(parent, ASIDE) {
        // Whatever goes wrong, the plan stays where it is, and nothing else is touched.
        if fs::rename(aside.join(name), &out).is_ok() {
            let _ = fs::remove_dir(aside);
            return;
        }
    }
}

/// What is named so in `parent`, in order.
fn beside(parent: &Path, prefix: &str) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = fs::read_dir(parent)
        .into_iter()
        .flatten()
        .flatten()
        .filter(|entry| entry.file_name().to_string_lossy().starts_with(prefix))
        .map(|entry| entry.path())
        .collect();
    found.sort();
    found
}

/// Takes away what killed runs left in `parent`. What cannot be taken away stays: it does no harm.
pub fn sweep(parent: &Path) {
    let old = |path: &Path| {
        let changed = path.symlink_metadata().and_then(|m| m.modified());
        let age = changed.ok().and_then(|t| t.elapsed().ok());
        age.is_some_and(|age| age > LEFT_BEHIND)
    };
    // A plan that was swapped out may have had something added in the last moment.
    let ours = |folder: &Path| ownership(folder).is_none() || matches!(foreign(folder), Ok(None));
    for path in beside(parent, FRESH).into_iter().filter(|path| old(path)) {
        if !path.is_dir() {
            let _ = fs::remove_file(path);
        } else if ours(&path) {
            let _ = fs::remove_dir_all(path);
        }
    }
    for aside in beside(parent, ASIDE).into_iter().filter(|path| old(path)) {
        // Where there is no plan in its place, `recover` wants it.
        for replaced in fs::read_dir(&aside).into_iter().flatten().flatten() {
            let replaced_by = parent.join(replaced.file_name());
            if replaced_by.exists() && ours(&replaced.path()) {
                remove(&replaced.path());
            }
        }
    }
}
