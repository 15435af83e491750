//! A single file.

use std::fs;
use std::io;
use std::path::Path;

use crate::error::{Error, Result};

use super::disk::{FRESH, parent_and_name, place_of, sync_folder};

/// Refuses a file that is there already, unless it may be replaced.
///
/// # Errors
/// If `path` exists.
pub fn check_new(path: &Path, replace: bool) -> Result<()> {
    let here = path.symlink_metadata();
    match here {
        Ok(found) if found.is_dir() => Err(Error::file(
            path,
            "is a folder, expected the name of a file",
            "Give the file a name of its own.",
        )),
        Ok(_) if !replace => Err(Error::file(
            path,
            "is there already and stays as it is",
            "Give another name, or --replace to write over it.",
        )),
        _ => Ok(()),
    }
}

/// Writes one file beside `path` and renames it into place; over a file that is there only with `replace`, and where
/// that is a link, over what it leads to.
///
/// # Errors
/// If it cannot be written, or is there and must not be replaced. What was there before is then still there.
pub fn write_file(path: &Path, bytes: &[u8], replace: bool) -> Result<()> {
    let failed = |e: io::Error| {
        Error::file(
            path,
            e,
            "Check that the folder can be written to and that the disk is not full.",
        )
    };
    check_new(path, replace)?;
    let place = place_of(path).map_err(failed)?;
    let (parent, _) = parent_and_name(&place);
    let mut builder = tempfile::Builder::new();
    builder.prefix(FRESH);
    // A temporary file is private; this one gets the permissions any new file would have.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    let mut fresh = builder.tempfile_in(parent).map_err(failed)?;
    io::Write::write_all(&mut fresh, bytes).map_err(failed)?;
    fresh.as_file().sync_all().map_err(failed)?;
    let put = if replace {
        fresh.persist(&place)
    } else {
        fresh.persist_noclobber(&place)
    };
    if let Err(e) = put {
        // Someone may have put a file there just now.
        check_new(path, replace)?;
        return Err(failed(e.error));
    }
    sync_folder(parent);
    Ok(())
}
