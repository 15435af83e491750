//! The plan's folder.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::error::{Error, Result};
use crate::files::File;

use super::disk::{FRESH, parent_and_name, place_of, sync_folder, sync_folders, write_synced};
use super::left::{recover, sweep};
use super::ours::{check_free, foreign};
use super::swap::{remove, remove_aside, swap};

/// Writes all files into a new folder beside `out` and renames it into place; a plan that was there goes only then,
/// and only if nothing was added to it meanwhile.
///
/// # Errors
/// If something cannot be written. What was in `out` before is then still there.
pub fn write(out: &Path, files: &[File]) -> Result<()> {
    recover(out);
    check_free(out)?;
    let failed = |path: &Path, e: io::Error| Error::file(path, e, CANNOT_WRITE);
    let out = place_of(out).map_err(|e| failed(out, e))?;
    let (parent, _) = parent_and_name(&out);
    fs::create_dir_all(parent).map_err(|e| failed(parent, e))?;
    sweep(parent);
    let fresh = tempfile::Builder::new()
        .prefix(FRESH)
        .tempdir_in(parent)
        .map_err(|e| failed(parent, e))?;
    let written: Vec<io::Result<()>> = files
        .par_iter()
        .map(|(name, bytes)| write_synced(&fresh.path().join(name), bytes))
        .collect();
    for ((name, _), written) in files.iter().zip(written) {
        written.map_err(|e| failed(&out.join(name), e))?;
    }
    open_to_all(fresh.path()).map_err(|e| failed(&out, e))?;
    sync_folders(fresh.path());
    put_in_place(fresh, &out, swap)
}

const CANNOT_WRITE: &str = "Check that the folder can be written to and that the disk is not full, or give another with --out.";

/// Puts the folder `fresh` to `out`, a sibling of it, by `swap` if there is a plan already.
pub fn put_in_place(
    fresh: tempfile::TempDir,
    out: &Path,
    swap: impl Fn(&Path, &Path) -> io::Result<PathBuf>,
) -> Result<()> {
    let failed = |e: io::Error| Error::file(out, e, CANNOT_WRITE);
    let (parent, _) = parent_and_name(out);
    if !out.exists() {
        fs::rename(fresh.path(), out).map_err(failed)?;
        // It is a plan now, not a temporary folder.
        let _ = fresh.keep();
        sync_folder(parent);
        return Ok(());
    }
    let old = swap(fresh.path(), out).map_err(failed)?;
    // What is in the temporary folder now is the old plan, and not thrown away unseen.
    let _ = fresh.keep();
    sync_folder(parent);
    let added = match foreign(&old) {
        Ok(None) => {
            remove(&old);
            return Ok(());
        }
        Ok(Some(found)) => format!("{found}; it stays as it is"),
        Err(e) => e.to_string(),
    };
    let next = "Move what was added while the plan was made, or give another folder with --out.";
    let back = swap(&old, out);
    remove_aside(&old);
    let told = match back {
        Ok(unused) if matches!(foreign(&unused), Ok(None)) => {
            remove(&unused);
            added
        }
        Ok(unused) => format!("{added}; the new plan is in {}", unused.display()),
        Err(_) => format!("{added}, in {}", old.display()),
    };
    sync_folder(parent);
    Err(Error::file(out, told, next))
}

/// Temporary folders are private; a plan gets the permissions any new folder would have.
fn open_to_all(folder: &Path) -> std::io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let probe = folder.join(".probe");
        fs::create_dir(&probe)?;
        let usual = fs::metadata(&probe)?.permissions().mode();
        fs::remove_dir(&probe)?;
        fs::set_permissions(folder, fs::Permissions::from_mode(usual))?;
    }
    let _ = folder;
    Ok(())
}
