//! Places on a disk, and what is certain to be there.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// How what is being written is named until it is whole.
pub const FRESH: &str = ".penstrata-new-";

/// Where `out` is, without links and dots: a link stays one, and what it leads to is replaced.
pub fn place_of(out: &Path) -> io::Result<PathBuf> {
    if out.exists() {
        return out.canonicalize();
    }
    Ok(std::path::absolute(out)?.components().collect())
}

/// The folder `path` lies in, and its name there.
pub fn parent_and_name(path: &Path) -> (&Path, &std::ffi::OsStr) {
    let parent = path.parent().unwrap_or(Path::new("/"));
    (parent, path.file_name().unwrap_or_default())
}

/// Writes a new file and waits until it is on the disk.
pub fn write_synced(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    let mut file = fs::File::create_new(path)?;
    io::Write::write_all(&mut file, bytes)?;
    file.sync_all()
}

/// The names in `folder` reach the disk before a rename that makes it the plan; where a system has no such thing,
/// nothing is done.
pub fn sync_folder(folder: &Path) {
    #[cfg(unix)]
    let _ = fs::File::open(folder).and_then(|folder| folder.sync_all());
    #[cfg(not(unix))]
    let _ = folder;
}

pub fn sync_folders(folder: &Path) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
            sync_folders(&entry.path());
        }
    }
    sync_folder(folder);
}
