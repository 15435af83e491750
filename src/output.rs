//! What is written, the plan's folder and single files: beside, then renamed into place, so that there is always a
//! whole one or none.

use std::fs;
use std::path::{Path, PathBuf};

use crate::error::{Error, Result};
use crate::files::File;
use crate::plan::{Plan, SCHEMA};

/// How what is being written is named until it is whole.
const FRESH: &str = ".penstrata-new-";
/// What is named so and older than this was left by a run that was killed.
const LEFT_BEHIND: std::time::Duration = std::time::Duration::from_secs(3600);

/// Refuses an output folder that holds anything but a plan of ours.
///
/// # Errors
/// If `out` is a file, or a folder with anything that is not listed in its own `plan.json`.
pub fn check_free(out: &Path) -> Result<()> {
    let next = "Give another folder with --out, or move what is in it.";
    if !out.exists() {
        return Ok(());
    }
    if !out.is_dir() {
        return Err(Error::file(
            out,
            "is a file, expected a folder for the plan",
            next,
        ));
    }
    let found = entries(out, out).map_err(|e| Error::file(out, e, next))?;
    if found.is_empty() {
        return Ok(());
    }
    let ours: Option<Plan> = fs::read(out.join("plan.json"))
        .ok()
        .and_then(|bytes| serde_json::from_slice(&bytes).ok());
    let Some(ours) = ours.filter(|p| p.schema == SCHEMA) else {
        return Err(Error::file(
            out,
            "holds other things and is no plan; it stays as it is",
            next,
        ));
    };
    if let Some(foreign) = found.iter().find(|name| !ours.files.contains(name)) {
        return Err(Error::file(
            out,
            format!("holds {foreign}, which is not part of the plan; it stays as it is"),
            next,
        ));
    }
    Ok(())
}

/// All files below `folder`, as `/`-separated paths inside `base`, in order.
fn entries(base: &Path, folder: &Path) -> std::io::Result<Vec<String>> {
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

/// Writes all files into a new folder beside `out` and renames it into place; a plan that was there goes only then.
///
/// # Errors
/// If something cannot be written. What was in `out` before is then still there.
pub fn write(out: &Path, files: &[File]) -> Result<()> {
    check_free(out)?;
    let next = "Check that the folder can be written to and that the disk is not full, or give another with --out.";
    let failed = |path: &Path, e: std::io::Error| Error::file(path, e, next);
    let out = std::path::absolute(out).map_err(|e| failed(out, e))?;
    // "plan/." and "plan/.." have no name to rename to.
    let out: PathBuf = out.components().collect();
    let parent = out.parent().unwrap_or(Path::new("/"));
    fs::create_dir_all(parent).map_err(|e| failed(parent, e))?;
    sweep(parent);
    let fresh = tempfile::Builder::new()
        .prefix(FRESH)
        .tempdir_in(parent)
        .map_err(|e| failed(parent, e))?;
    for (name, bytes) in files {
        let path = fresh.path().join(name);
        let write = || {
            fs::create_dir_all(path.parent().unwrap_or(fresh.path()))?;
            let mut file = fs::File::create(&path)?;
            std::io::Write::write_all(&mut file, bytes)
        };
        write().map_err(|e| failed(&out.join(name), e))?;
    }
    open_to_all(fresh.path()).map_err(|e| failed(&out, e))?;
    if out.exists() && exchange(fresh.path(), &out) {
        // What was there is in the temporary folder now, and goes with it.
        return Ok(());
    }
    let old = if out.exists() {
        let old = tempfile::Builder::new()
            .prefix(".penstrata-old-")
            .tempdir_in(parent)
            .map_err(|e| failed(parent, e))?;
        fs::rename(&out, old.path().join("plan")).map_err(|e| failed(&out, e))?;
        Some(old)
    } else {
        None
    };
    if let Err(e) = fs::rename(fresh.path(), &out) {
        if let Some(old) = old {
            // Keep the old plan at any cost: back into place, or where it is now.
            if fs::rename(old.path().join("plan"), &out).is_err() {
                let kept = old.keep();
                return Err(failed(&kept, e));
            }
        }
        return Err(failed(&out, e));
    }
    // It is a plan now, not a temporary folder.
    let _ = fresh.keep();
    Ok(())
}

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

/// Writes one file beside `path` and renames it into place.
///
/// # Errors
/// If it cannot be written. What was there before is then still there.
pub fn write_file(path: &Path, bytes: &[u8]) -> Result<()> {
    let failed = |e: std::io::Error| {
        Error::file(
            path,
            e,
            "Check that the folder can be written to and that the disk is not full.",
        )
    };
    let parent = match path.parent() {
        Some(parent) if parent != Path::new("") => parent,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(FRESH);
    // A temporary file is private; this one gets the permissions any new file would have.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    let mut fresh = builder.tempfile_in(parent).map_err(failed)?;
    std::io::Write::write_all(&mut fresh, bytes).map_err(failed)?;
    fresh.as_file().sync_all().map_err(failed)?;
    fresh.persist(path).map_err(|e| failed(e.error))?;
    Ok(())
}

/// Takes away what killed runs left in `parent`. What cannot be taken away stays: it does no harm.
fn sweep(parent: &Path) {
    let Ok(entries) = fs::read_dir(parent) else {
        return;
    };
    for entry in entries.flatten() {
        let ours = entry.file_name().to_string_lossy().starts_with(FRESH);
        let old = entry
            .metadata()
            .and_then(|m| m.modified())
            .ok()
            .and_then(|t| t.elapsed().ok())
            .is_some_and(|age| age > LEFT_BEHIND);
        if ours && old {
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

/// Swaps two folders in one step, so that there is no moment without a plan; false where the system cannot.
fn exchange(one: &Path, other: &Path) -> bool {
    #[cfg(target_os = "linux")]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE).is_ok()
    }
    #[cfg(not(target_os = "linux"))]
    {
        let _ = (one, other);
        false
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_with_other_things_is_never_touched() {
        let base = tempfile::tempdir().unwrap();
        let out = base.path().join("photos");
        fs::create_dir(&out).unwrap();
        fs::write(out.join("holiday.jpg"), b"x").unwrap();
        assert!(write(&out, &[("a".into(), vec![1])]).is_err());
        assert_eq!(fs::read(out.join("holiday.jpg")).unwrap(), b"x");
        assert_eq!(fs::read_dir(base.path()).unwrap().count(), 1);
        assert!(check_free(&out.join("holiday.jpg")).is_err());
    }

    #[cfg(unix)]
    #[test]
    fn what_a_killed_run_left_goes_after_an_hour_and_not_before() {
        let base = tempfile::tempdir().unwrap();
        for (name, hours) in [("old", 2), ("young", 0)] {
            let path = base.path().join(format!("{FRESH}{name}"));
            fs::create_dir(&path).unwrap();
            let when = std::time::SystemTime::now() - std::time::Duration::from_secs(3600 * hours);
            fs::File::open(&path).unwrap().set_modified(when).unwrap();
        }
        write(&base.path().join("plan"), &[("a".into(), vec![1])]).unwrap();
        let mut left: Vec<String> = fs::read_dir(base.path())
            .unwrap()
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        left.sort();
        assert_eq!(left, [format!("{FRESH}young"), "plan".to_owned()]);
    }

    #[test]
    fn an_empty_or_missing_folder_is_filled() {
        let base = tempfile::tempdir().unwrap();
        let out = base.path().join("deep/plan");
        write(&out, &[("a".into(), vec![1]), ("steps/b".into(), vec![2])]).unwrap();
        assert_eq!(fs::read(out.join("steps/b")).unwrap(), [2]);
        assert_eq!(fs::read_dir(out.parent().unwrap()).unwrap().count(), 1);
    }
}
