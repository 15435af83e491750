//! What is written. The plan's folder and single files: beside, then renamed into place, so that there is always a whole
//! one or none. The record: behind what it holds.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use serde::Deserialize;

use crate::error::{Error, Result};
use crate::files::File;
use crate::pens::{self, Use};
use crate::plan::SCHEMA;

/// How what is being written is named until it is whole.
const FRESH: &str = ".penstrata-new-";
/// How the folder is named that holds the plan before, where two folders cannot be swapped in one step.
const ASIDE: &str = ".penstrata-old-";
/// What is named so and older than this was left by a run that was killed.
const LEFT_BEHIND: std::time::Duration = std::time::Duration::from_secs(3600);

/// Files that file managers put into every folder they show, without asking; in lower case. From memory.
const LITTER: [&str; 4] = [".ds_store", "thumbs.db", "desktop.ini", ".directory"];

/// What a folder's `plan.json` must say for the folder to be ours: plans of older and newer versions are ours, too.
#[derive(Deserialize)]
struct Ownership {
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
fn foreign(folder: &Path) -> io::Result<Option<String>> {
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

fn ownership(folder: &Path) -> Option<Ownership> {
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

/// Where `out` is, without links and dots: a link stays one, and what it leads to is replaced.
fn place_of(out: &Path) -> io::Result<PathBuf> {
    if out.exists() {
        return out.canonicalize();
    }
    Ok(std::path::absolute(out)?.components().collect())
}

/// The folder `path` lies in, and its name there.
fn parent_and_name(path: &Path) -> (&Path, &std::ffi::OsStr) {
    let parent = path.parent().unwrap_or(Path::new("/"));
    (parent, path.file_name().unwrap_or_default())
}

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
fn put_in_place(
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

/// Takes away a plan that was swapped out. What cannot be taken away does no harm.
fn remove(old: &Path) {
    let _ = fs::remove_dir_all(old);
    remove_aside(old);
}

/// Takes away the folder a plan was kept aside in, if it is empty now.
fn remove_aside(old: &Path) {
    let (parent, _) = parent_and_name(old);
    let (_, name) = parent_and_name(parent);
    if name.to_string_lossy().starts_with(ASIDE) {
        let _ = fs::remove_dir(parent);
    }
}

/// Puts the folder `fresh` to `out`, and what is there aside; returns where that is now.
fn swap(fresh: &Path, out: &Path) -> io::Result<PathBuf> {
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

/// The same in two steps: between them there is no plan at `out`, and [`recover`] finds the old one.
fn swap_by_renaming(fresh: &Path, out: &Path) -> io::Result<PathBuf> {
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

/// Writes a new file and waits until it is on the disk.
fn write_synced(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    let mut file = fs::File::create_new(path)?;
    io::Write::write_all(&mut file, bytes)?;
    file.sync_all()
}

/// The names in `folder` reach the disk before a rename that makes it the plan; where a system has no such thing,
/// nothing is done.
fn sync_folder(folder: &Path) {
    #[cfg(unix)]
    let _ = fs::File::open(folder).and_then(|folder| folder.sync_all());
    #[cfg(not(unix))]
    let _ = folder;
}

fn sync_folders(folder: &Path) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
            sync_folders(&entry.path());
        }
    }
    sync_folder(folder);
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
fn sweep(parent: &Path) {
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

    /// A plan's folder with one more file.
    fn plan(page: &str) -> Vec<File> {
        let json = format!("{{\"schema\":\"{SCHEMA}\",\"files\":[\"page\",\"plan.json\"]}}");
        vec![
            ("page".into(), page.into()),
            ("plan.json".into(), json.into()),
        ]
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    fn page(out: &Path) -> String {
        fs::read_to_string(out.join("page")).unwrap()
    }

    #[test]
    fn a_folder_with_other_things_is_never_touched() {
        let base = tempfile::tempdir().unwrap();
        let out = base.path().join("photos");
        fs::create_dir(&out).unwrap();
        fs::write(out.join("holiday.jpg"), b"x").unwrap();
        assert!(write(&out, &[("a".into(), vec![1])]).is_err());
        assert_eq!(fs::read(out.join("holiday.jpg")).unwrap(), b"x");
        assert_eq!(names(base.path()), ["photos"]);
        assert!(check_free(&out.join("holiday.jpg")).is_err());
    }

    #[cfg(unix)]
    #[test]
    fn what_a_killed_run_left_goes_after_an_hour_and_not_before() {
        let base = tempfile::tempdir().unwrap();
        let at = |name: &str| base.path().join(name);
        let aged = |path: &Path, hours: u64| {
            let when = std::time::SystemTime::now() - std::time::Duration::from_secs(3600 * hours);
            fs::File::open(path).unwrap().set_modified(when).unwrap();
        };
        for (name, hours) in [("old", 2), ("young", 0)] {
            let path = at(&format!("{FRESH}{name}"));
            fs::create_dir(&path).unwrap();
            aged(&path, hours);
        }
        fs::write(at(&format!("{FRESH}file")), "half").unwrap();
        aged(&at(&format!("{FRESH}file")), 2);
        // Killed after the new plan was in place; another one's plan is not in place yet.
        for name in ["plan", "other"] {
            write(&at(&format!("{ASIDE}{name}/{name}")), &plan("old")).unwrap();
            aged(&at(&format!("{ASIDE}{name}")), 2);
        }
        write(&at("plan"), &plan("first")).unwrap();
        write(&at("plan"), &plan("second")).unwrap();
        let mut left = [
            format!("{FRESH}young"),
            format!("{ASIDE}other"),
            "plan".to_owned(),
        ];
        left.sort();
        assert_eq!(names(base.path()), left);
    }

    #[test]
    fn an_empty_or_missing_folder_is_filled() {
        let base = tempfile::tempdir().unwrap();
        let out = base.path().join("deep/plan");
        write(&out, &[("a".into(), vec![1]), ("steps/b".into(), vec![2])]).unwrap();
        assert_eq!(fs::read(out.join("steps/b")).unwrap(), [2]);
        assert_eq!(names(&base.path().join("deep")), ["plan"]);
        let out = base.path().join("empty");
        fs::create_dir(&out).unwrap();
        write(&out, &plan("new")).unwrap();
        assert_eq!(page(&out), "new");
    }

    #[test]
    fn a_plan_of_another_version_is_ours() {
        let base = tempfile::tempdir().unwrap();
        let out = base.path().join("plan");
        // Nothing of a plan but whose it is.
        write(&out, &plan("old")).unwrap();
        write(&out, &plan("new")).unwrap();
        assert_eq!(page(&out), "new");
        assert_eq!(names(base.path()), ["plan"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_stays_a_link_and_one_to_nothing_is_refused() {
        let base = tempfile::tempdir().unwrap();
        let (real, link) = (base.path().join("real"), base.path().join("link"));
        fs::create_dir(&real).unwrap();
        std::os::unix::fs::symlink("real", &link).unwrap();
        write(&link, &plan("first")).unwrap();
        write(&link, &plan("second")).unwrap();
        assert!(link.is_symlink());
        assert_eq!(page(&real), "second");
        fs::remove_dir_all(&real).unwrap();
        let error = write(&link, &plan("third")).unwrap_err().to_string();
        assert!(error.contains("a link to nothing"), "{error}");
        assert!(link.is_symlink() && !real.exists());

        let file = base.path().join("file");
        fs::write(&file, "old").unwrap();
        let link = base.path().join("link to file");
        std::os::unix::fs::symlink("file", &link).unwrap();
        write_file(&link, b"new", true).unwrap();
        assert!(link.is_symlink());
        assert_eq!(fs::read(&file).unwrap(), b"new");
    }

    #[test]
    fn what_file_managers_leave_everywhere_is_no_hindrance() {
        let base = tempfile::tempdir().unwrap();
        let out = base.path().join("plan");
        for round in ["first", "second"] {
            fs::create_dir_all(&out).unwrap();
            for litter in [".DS_Store", "Thumbs.db", "desktop.ini", "._page"] {
                fs::write(out.join(litter), "x").unwrap();
            }
            write(&out, &plan(round)).unwrap();
            assert_eq!(page(&out), round);
        }
        fs::write(out.join("desktop.ini.txt"), "mine").unwrap();
        assert!(check_free(&out).is_err());
    }

    #[test]
    fn a_plan_put_aside_by_a_killed_run_comes_back() {
        let base = tempfile::tempdir().unwrap();
        let out = base.path().join("plan");
        write(&out, &plan("old")).unwrap();
        // Killed between the two renames.
        let aside = base.path().join(format!("{ASIDE}x"));
        fs::create_dir(&aside).unwrap();
        fs::rename(&out, aside.join("plan")).unwrap();
        recover(&base.path().join("another"));
        assert!(!out.exists());
        recover(&out);
        assert_eq!(page(&out), "old");
        assert_eq!(names(base.path()), ["plan"]);
        // What is aside never takes the place of what is there.
        fs::create_dir(&aside).unwrap();
        write(&aside.join("plan"), &plan("older")).unwrap();
        recover(&out);
        assert_eq!(page(&out), "old");
    }

    #[test]
    fn what_is_added_in_the_last_moment_stays() {
        for swap in [swap, swap_by_renaming] {
            let base = tempfile::tempdir().unwrap();
            let out = base.path().canonicalize().unwrap().join("plan");
            let fresh = || {
                let fresh = tempfile::Builder::new()
                    .prefix(FRESH)
                    .tempdir_in(&base)
                    .unwrap();
                for (name, bytes) in plan("new") {
                    fs::write(fresh.path().join(name), bytes).unwrap();
                }
                fresh
            };
            write(&out, &plan("old")).unwrap();
            // After the check, before the swap.
            fs::write(out.join("notes.txt"), "mine").unwrap();
            let error = put_in_place(fresh(), &out, swap).unwrap_err().to_string();
            assert!(error.contains("notes.txt"), "{error}");
            assert_eq!(page(&out), "old");
            assert_eq!(fs::read(out.join("notes.txt")).unwrap(), b"mine");
            assert_eq!(names(base.path()), ["plan"]);
            fs::remove_file(out.join("notes.txt")).unwrap();
            put_in_place(fresh(), &out, swap).unwrap();
            assert_eq!(page(&out), "new");
            assert_eq!(names(base.path()), ["plan"]);
        }
    }

    #[test]
    fn a_file_is_replaced_only_when_it_may_be() {
        let base = tempfile::tempdir().unwrap();
        let path = base.path().join("flat.png");
        write_file(&path, b"first", false).unwrap();
        assert!(write_file(&path, b"second", false).is_err());
        assert_eq!(fs::read(&path).unwrap(), b"first");
        write_file(&path, b"third", true).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"third");
        assert_eq!(names(base.path()), ["flat.png"]);
    }

    /// A disk that fills up in the middle of a line, played by a limit on the size of files in a process of its own.
    #[cfg(target_os = "linux")]
    #[test]
    fn on_a_full_disk_a_record_stays_as_it_was() {
        const RECORD: &str = "PENSTRATA_TEST_RECORD";
        let many: Vec<Use> = (0..40)
            .map(|i| Use {
                date: "2026-11-25".into(),
                plan: format!("plum-plan turn {i}"),
                pen: format!("Pen {i}"),
                cm2: 1.0,
                coats: 1,
            })
            .collect();
        if let Some(path) = std::env::var_os(RECORD) {
            assert!(add_to_record(Path::new(&path), &many).is_err());
            return;
        }
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("pens-record.csv");
        add_to_record(&path, &many[..5]).unwrap();
        let before = fs::read(&path).unwrap();
        // Blocks of 1024 bytes; with the signal ignored, writing beyond fails after a part is written.
        let run = std::process::Command::new("bash")
            .args(["-c", "trap '' XFSZ; ulimit -f 1; exec \"$@\"", "bash"])
            .arg(std::env::current_exe().unwrap())
            .arg("on_a_full_disk_a_record_stays_as_it_was")
            .env(RECORD, &path)
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&run.stdout);
        assert!(run.status.success() && said.contains("1 passed"), "{said}");
        assert_eq!(fs::read(&path).unwrap(), before);
    }
}
