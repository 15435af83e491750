//! One folder in the place of another.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::disk::parent_and_name;

/// How the folder is named that holds the plan before, where two folders cannot be swapped in one step.
pub const ASIDE: &str = ".penstrata-old-";

/// Takes away a plan that was swapped out. What cannot be taken away does no harm.
pub fn remove(old: &Path) {
    let _ = fs::remove_dir_all(old);
    remove_aside(old);
}

/// Takes away the folder a plan was kept aside in, if it is empty now.
pub fn remove_aside(old: &Path) {
    let (parent, _) = parent_and_name(old);
    let (_, name) = parent_and_name(parent);
    if name.to_string_lossy().starts_with(ASIDE) {
        let _ = fs::remove_dir(parent);
    }
}

/// Puts the folder `fresh` to `out`, and what is there aside; returns where that is now.
pub fn swap(fresh: &Path, out: &Path) -> io::Result<PathBuf> {
    if exchange(fresh, out) {
        return Ok(fresh.to_owned());
    }
    swap_by_renaming(fresh, out)
}

/// Swaps two folders in one step, so that there is no moment without a plan; false where the system cannot.
fn exchange(one: &Path, other: &Path) -> bool {
    #[cfg(any(target_os = "linux", target_vendor = "apple"))]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE).is_ok()
    }
    #[cfg(not(any(target_os = "linux", target_vendor = "apple")))]
    {
        let _ = (one, other);
        false
    }
}

/// The same in two steps: between them there is no plan at `out`, and [`super::recover`] finds the old one.
pub fn swap_by_renaming(fresh: &Path, out: &Path) -> io::Result<PathBuf> {
    let (parent, name) = parent_and_name(out);
    let aside = tempfile::Builder::new().prefix(ASIDE).tempdir_in(parent)?;
    let old = aside.path().join(name);
    fs::rename(out, &old)?;
    let aside = aside.keep();
    if let Err(e) = fs::rename(fresh, out) {
        // If this fails, too, the plan is put back by the next run.
        fs::rename(&old, out)?;
        let _ = fs::remove_dir(aside);
        return Err(e);
    }
    Ok(old)
}
