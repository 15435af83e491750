//! Plans, files and records in folders of their own, and what else may happen to those meanwhile.

use std::fs;
use std::path::Path;

use crate::files::File;
use crate::pens::Use;
use crate::plan::SCHEMA;

use super::disk::FRESH;
use super::folder::put_in_place;
use super::swap::{ASIDE, swap, swap_by_renaming};
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
    // Killed right after the swap: what was added to the plan before is not ours to take away.
    let added = at(&format!("{FRESH}added"));
    write(&added, &plan("old")).unwrap();
    fs::write(added.join("notes.txt"), "mine").unwrap();
    aged(&added, 2);
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
        format!("{FRESH}added"),
        format!("{FRESH}young"),
        format!("{ASIDE}other"),
        "plan".to_owned(),
    ];
    left.sort();
    assert_eq!(names(base.path()), left);
    assert_eq!(fs::read(added.join("notes.txt")).unwrap(), b"mine");
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
        for litter in [
            ".DS_Store",
            "Thumbs.db",
            "desktop.ini",
            ".directory",
            "._page",
        ] {
            fs::write(out.join(litter), "x").unwrap();
            fs::create_dir_all(out.join("cards")).unwrap();
            fs::write(out.join("cards").join(litter), "x").unwrap();
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
fn the_next_run_finds_the_plan_that_a_killed_one_put_aside() {
    let base = tempfile::tempdir().unwrap();
    let out = base.path().join("plan");
    let put_aside = || {
        let aside = base.path().join(format!("{ASIDE}x"));
        fs::create_dir(&aside).unwrap();
        fs::rename(&out, aside.join("plan")).unwrap();
    };
    write(&out, &plan("old")).unwrap();
    put_aside();
    write(&out, &plan("new")).unwrap();
    assert_eq!(page(&out), "new");
    assert_eq!(names(base.path()), ["plan"]);
    // What must not be replaced is back, too.
    fs::write(out.join("notes.txt"), "mine").unwrap();
    put_aside();
    assert!(write(&out, &plan("newest")).is_err());
    assert_eq!(page(&out), "new");
    assert_eq!(names(&out), ["notes.txt", "page", "plan.json"]);
}

/// Where two folders can be swapped there is no moment without a plan; temporary folders lie where they can.
#[cfg(any(target_os = "linux", target_vendor = "apple"))]
#[test]
fn a_plan_is_swapped_in_one_step() {
    let base = tempfile::tempdir().unwrap();
    let (out, fresh) = (base.path().join("plan"), base.path().join("fresh"));
    write(&out, &plan("old")).unwrap();
    write(&fresh, &plan("new")).unwrap();
    assert_eq!(swap(&fresh, &out).unwrap(), fresh);
    assert_eq!((page(&out), page(&fresh)), ("new".into(), "old".into()));
}

#[test]
fn a_plan_that_cannot_be_swapped_stays_where_it_is() {
    for swap in [swap, swap_by_renaming] {
        let base = tempfile::tempdir().unwrap();
        let out = base.path().join("plan");
        write(&out, &plan("old")).unwrap();
        assert!(swap(&base.path().join("gone"), &out).is_err());
        assert_eq!(page(&out), "old");
        assert_eq!(names(base.path()), ["plan"]);
    }
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

#[test]
fn of_many_that_write_one_new_file_one_wins_and_it_is_whole() {
    const WRITERS: usize = 16;
    for _ in 0..20 {
        let base = tempfile::tempdir().unwrap();
        let path = base.path().join("flat.png");
        let start = std::sync::Barrier::new(WRITERS);
        let written: Vec<bool> = std::thread::scope(|scope| {
            let (path, start) = (&path, &start);
            let write = move |writer: usize| {
                start.wait();
                write_file(path, &vec![writer as u8; 100_000], false).is_ok()
            };
            let writers: Vec<_> = (0..WRITERS)
                .map(|writer| scope.spawn(move || write(writer)))
                .collect();
            writers.into_iter().map(|w| w.join().unwrap()).collect()
        });
        let winners: Vec<usize> = (0..WRITERS).filter(|&w| written[w]).collect();
        assert_eq!(winners.len(), 1, "{winners:?}");
        assert!(fs::read(&path).unwrap() == vec![winners[0] as u8; 100_000]);
        assert_eq!(names(base.path()), ["flat.png"]);
    }
}

#[test]
fn of_many_that_record_at_once_every_turn_is_added_once() {
    const WRITERS: usize = 16;
    let used: Vec<Use> = (0..WRITERS)
        .map(|turn| Use {
            date: "2026-11-25".into(),
            plan: format!("plum-plan turn {turn}"),
            pen: "Plum".into(),
            cm2: 1.0,
            coats: 1,
        })
        .collect();
    for _ in 0..20 {
        let base = tempfile::tempdir().unwrap();
        let path = base.path().join("pens-record.csv");
        let start = std::sync::Barrier::new(WRITERS);
        let added: usize = std::thread::scope(|scope| {
            let (path, start, used) = (&path, &start, &used);
            let record = move || {
                start.wait();
                add_to_record(path, used).unwrap().len()
            };
            let writers: Vec<_> = (0..WRITERS).map(|_| scope.spawn(record)).collect();
            writers.into_iter().map(|w| w.join().unwrap()).sum()
        });
        assert_eq!(added, WRITERS);
        let record = crate::pens::Record::read(&fs::read(&path).unwrap());
        assert_eq!(record.used["Plum"], WRITERS as f64);
        assert!(record.damaged.is_empty());
    }
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
