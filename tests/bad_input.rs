//! Bad input gets one clear error and leaves nothing behind.

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::{data, pens, penstrata};

/// A folder with a good photo, drawing and pens file, and bad ones of every kind.
struct Desk {
    dir: tempfile::TempDir,
}

impl Desk {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let at = |name: &str| dir.path().join(name);
        fs::copy(data("coffee.png"), at("photo.png")).unwrap();
        fs::copy(pens(), at("pens.csv")).unwrap();
        fs::write(at("empty.png"), b"").unwrap();
        fs::write(at("text.png"), b"Dear diary, this is no picture.").unwrap();
        let photo = fs::read(at("photo.png")).unwrap();
        fs::write(at("cut.png"), &photo[..photo.len() / 3]).unwrap();
        fs::write(at("broken.svg"), b"<svg><path d='M0 0").unwrap();
        image::GrayImage::from_pixel(200, 100, image::Luma([255]))
            .save(at("blank.png"))
            .unwrap();
        image::GrayImage::from_pixel(200, 100, image::Luma([0]))
            .save(at("black.png"))
            .unwrap();
        fs::write(
            at("bad-color.csv"),
            "name,color,refill,condition\nMoss,mossy,yes,good\n",
        )
        .unwrap();
        fs::write(
            at("twice.csv"),
            "name,color,refill,condition\nMoss,#446622,yes,good\nMoss,#446622,yes,good\n",
        )
        .unwrap();
        fs::write(
            at("dry.csv"),
            "name,color,refill,condition\nMoss,#446622,yes,dry\n",
        )
        .unwrap();
        fs::create_dir(at("holiday")).unwrap();
        fs::write(at("holiday/beach.jpg"), b"precious").unwrap();
        Self { dir }
    }

    fn at(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    /// Runs the program with some good values replaced; returns what it said.
    fn fails(&self, changes: &[(&str, &str)]) -> String {
        let mut values = vec![
            ("reference", "photo.png"),
            ("pens", "pens.csv"),
            ("width", "110mm"),
            ("out", "plan"),
        ];
        for &(flag, value) in changes {
            values.retain(|v| v.0 != flag);
            values.push((flag, value));
        }
        let args: Vec<String> = std::iter::once("plan".to_owned())
            .chain(values.iter().flat_map(|&(flag, value)| {
                let path = self.at(value).to_string_lossy().into_owned();
                let is_path = ["reference", "art", "pens", "out"].contains(&flag);
                [
                    format!("--{flag}"),
                    if is_path { path } else { value.to_owned() },
                ]
            }))
            .collect();
        let before = common::files(self.dir.path());
        let run = penstrata(&args.iter().map(String::as_str).collect::<Vec<_>>());
        let said = String::from_utf8(run.stderr).unwrap();
        assert!(!run.status.success(), "{changes:?} was accepted");
        assert_eq!(
            run.status.code(),
            Some(if said.starts_with("error:") { 2 } else { 1 }),
            "{said}"
        );
        assert!(run.stdout.is_empty());
        assert!(!said.contains("panicked"), "{said}");
        assert_eq!(
            common::files(self.dir.path()),
            before,
            "{changes:?} left something behind"
        );
        said
    }
}

#[test]
fn every_bad_input_is_named_with_what_to_do() {
    let desk = Desk::new();
    for (changes, words) in [
        (
            &[("reference", "nowhere.jpg")][..],
            &["nowhere.jpg", "What to do"][..],
        ),
        (
            &[("reference", "empty.png")],
            &["empty.png", "JPEG, HEIC, PNG"],
        ),
        (
            &[("reference", "text.png")],
            &["text.png", "JPEG, HEIC, PNG"],
        ),
        (&[("reference", "cut.png")], &["cut.png", "JPEG, HEIC, PNG"]),
        (&[("reference", ".")], &["What to do"]),
        (&[("art", "broken.svg")], &["broken.svg", "SVG"]),
        (&[("art", "text.png")], &["text.png"]),
        (&[("art", "blank.png")], &["blank.png", "no lines"]),
        (&[("art", "black.png")], &["black.png", "black all over"]),
        (&[("pens", "nowhere.csv")], &["nowhere.csv"]),
        (
            &[("pens", "photo.png")],
            &["photo.png", "name,color,refill,condition"],
        ),
        (
            &[("pens", "bad-color.csv")],
            &["bad-color.csv", "line 2", "six digits"],
        ),
        (&[("pens", "twice.csv")], &["twice.csv", "Moss", "already"]),
        (&[("pens", "dry.csv")], &["dry.csv", "dry"]),
        (&[("width", "0mm")], &["width", "0mm"]),
        (&[("width", "1000000mm")], &["width"]),
        (&[("width", "300mm")], &["A4"]),
        (&[("width", "110")], &["unit"]),
        (&[("nib", "0mm")], &["nib"]),
        (&[("detail", "9")], &["detail", "1 to 5"]),
        (&[("white", "9000,9000")], &["9000,9000", "600 x 400"]),
        (&[("white", "bluish")], &["bluish"]),
        (&[("out", "holiday")], &["holiday", "other things"]),
        (&[("out", "photo.png")], &["photo.png", "is a file"]),
    ] {
        let said = desk.fails(changes);
        for word in words {
            assert!(
                said.contains(word),
                "{changes:?} said:\n{said}\nwithout {word:?}"
            );
        }
    }
}

#[test]
fn a_job_file_with_a_mistake_is_explained() {
    let desk = Desk::new();
    for (text, word) in [
        (
            "reference = \"photo.png\"\npens = \"pens.csv\"\nwidth = \"110mm\"\nout = \"plan\"\ncolour = 3\n",
            "colour",
        ),
        (
            "reference = \"photo.png\"\npens = \"pens.csv\"\nwidth = 110\nout = \"plan\"\n",
            "width",
        ),
        ("reference = \"photo.png\"\n", "pens"),
        ("reference = [", "line 1"),
        (
            "reference = \"photo.png\"\npens = \"pens.csv\"\nwidth = \"110mm\"\nout = \"plan\"\nbare_cells = [[500, 500]]\n",
            "bare",
        ),
        (
            "reference = \"photo.png\"\npens = \"pens.csv\"\nwidth = \"110mm\"\nout = \"plan\"\nno_refill_cm2 = inf\n",
            "no_refill_cm2",
        ),
    ] {
        fs::write(desk.at("job.toml"), text).unwrap();
        let run = penstrata(&["plan", desk.at("job.toml").to_str().unwrap()]);
        let said = String::from_utf8(run.stderr).unwrap();
        assert!(
            !run.status.success() && said.contains(word),
            "{text}:\n{said}"
        );
        assert!(!desk.at("plan").exists());
    }
}

/// Photos are read and laid side by side, here with a thread for each; the error does not depend on which is faster.
#[test]
fn of_two_bad_photos_the_first_is_told() {
    let desk = Desk::new();
    // The first is found bad only at its end, the second at once.
    let large = image::RgbImage::from_fn(1500, 1500, |x, y| image::Rgb([x as u8, y as u8, 7]));
    large.save(desk.at("large.png")).unwrap();
    let bytes = fs::read(desk.at("large.png")).unwrap();
    fs::write(desk.at("large.png"), &bytes[..bytes.len() - 200]).unwrap();
    fs::copy(data("apple.svg"), desk.at("art.svg")).unwrap();
    let read = ["photo = \"large.png\"", "photo = \"text.png\""];
    // Laying the first takes longer.
    let laid = [
        "photo = \"photo.png\"\nwhite = \"9000,1\"\nalign = \"outline\"",
        "photo = \"photo.png\"\nwhite = \"9000,2\"\nalign = \"frame\"",
    ];
    for ([first, second], told) in [(read, "large.png"), (laid, "9000,1")] {
        let text = format!(
            "art = \"art.svg\"\npens = \"pens.csv\"\nwidth = \"60mm\"\nout = \"plan\"\n\
             [[reference]]\n{first}\n[[reference]]\n{second}\ncells = [[30, 30]]\n"
        );
        fs::write(desk.at("job.toml"), text).unwrap();
        for _ in 0..3 {
            let run = std::process::Command::new(env!("CARGO_BIN_EXE_penstrata"))
                .arg("plan")
                .arg(desk.at("job.toml"))
                .env("RAYON_NUM_THREADS", "8")
                .output()
                .unwrap();
            let said = String::from_utf8(run.stderr).unwrap();
            assert!(!run.status.success() && said.contains(told), "{said}");
        }
    }
}

/// plan.json is UTF-8, and so must be what it names; that is told before any work is done.
#[cfg(target_os = "linux")]
#[test]
fn a_photo_whose_name_is_not_utf8_is_refused_by_name() {
    use std::os::unix::ffi::OsStrExt;
    let desk = Desk::new();
    let photo = desk
        .at("")
        .join(std::ffi::OsStr::from_bytes(b"plum\xff.png"));
    // It is no picture, either; nothing has looked into it yet.
    fs::copy(desk.at("text.png"), &photo).unwrap();
    let run = std::process::Command::new(env!("CARGO_BIN_EXE_penstrata"))
        .args(["plan", "--width", "60mm", "--reference"])
        .arg(&photo)
        .arg("--pens")
        .arg(desk.at("pens.csv"))
        .arg("--out")
        .arg(desk.at("plan"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&run.stderr);
    assert!(!run.status.success() && !desk.at("plan").exists());
    assert!(
        said.contains("plum") && said.contains("Rename it"),
        "{said}"
    );
    // In a folder of such a name, together with its plan, nothing stands in the way.
    let folder = desk.at("").join(std::ffi::OsStr::from_bytes(b"card\xff"));
    fs::create_dir(&folder).unwrap();
    for name in ["photo.png", "pens.csv"] {
        fs::copy(desk.at(name), folder.join(name)).unwrap();
    }
    let run = std::process::Command::new(env!("CARGO_BIN_EXE_penstrata"))
        .args(["plan", "--width", "60mm", "--reference", "photo.png"])
        .args(["--pens", "pens.csv", "--out", "plan"])
        .current_dir(&folder)
        .output()
        .unwrap();
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
}

#[test]
fn a_plan_that_someone_added_to_is_not_replaced() {
    let desk = Desk::new();
    let out = desk.at("plan");
    let run = |out: &Path| {
        penstrata(&[
            "plan",
            "--reference",
            desk.at("photo.png").to_str().unwrap(),
            "--pens",
            desk.at("pens.csv").to_str().unwrap(),
            "--width",
            "60mm",
            "--out",
            out.to_str().unwrap(),
        ])
    };
    assert!(run(&out).status.success());
    assert!(run(&out).status.success(), "a plan of ours is replaced");
    fs::write(out.join("notes.txt"), "keep me").unwrap();
    let again = run(&out);
    assert!(!again.status.success());
    assert!(
        String::from_utf8(again.stderr)
            .unwrap()
            .contains("notes.txt")
    );
    assert_eq!(
        fs::read_to_string(out.join("notes.txt")).unwrap(),
        "keep me"
    );
    let names: Vec<_> = fs::read_dir(desk.dir.path())
        .unwrap()
        .map(|e| e.unwrap().file_name())
        .collect();
    assert!(
        names
            .iter()
            .all(|n| !n.to_string_lossy().starts_with(".penstrata")),
        "{names:?}"
    );
}

/// The job of a plan stands in the folder that is missing.
#[test]
fn a_plan_put_aside_by_a_killed_run_is_made_again_from_its_own_job() {
    let desk = Desk::new();
    let (out, aside) = (desk.at("plan"), desk.at(".penstrata-old-x"));
    let text = "reference = \"photo.png\"\npens = \"pens.csv\"\nwidth = \"60mm\"\nout = \"plan\"\n";
    fs::write(desk.at("job.toml"), text).unwrap();
    let plan = |job: &Path| {
        let run = penstrata(&["plan", job.to_str().unwrap()]);
        let said = String::from_utf8(run.stderr).unwrap();
        assert!(run.status.success(), "{said}");
    };
    plan(&desk.at("job.toml"));
    fs::create_dir(&aside).unwrap();
    fs::rename(&out, aside.join("plan")).unwrap();
    plan(&out.join("plan.json"));
    assert!(out.join("overlay.pdf").exists() && !aside.exists());
}

/// Names are shown by the summary, by the check of the pens, and in errors.
#[test]
fn what_a_pen_is_called_never_commands_a_terminal() {
    let desk = Desk::new();
    let named = "name,color,refill,condition\nMo\u{1b}[2Jss,#446622,no,worn\nR\u{9b}5mose,#c2452d,yes,good\n";
    fs::write(desk.at("pens.csv"), named).unwrap();
    let at = |name: &str| desk.at(name).to_str().unwrap().to_owned();
    let (photo, pens, out) = (at("photo.png"), at("pens.csv"), at("plan"));
    let plan = [
        "plan",
        "--width",
        "60mm",
        "--reference",
        &photo,
        "--pens",
        &pens,
        "--out",
        &out,
    ];
    for (args, told) in [
        (&plan[..], "Mo [2Jss"),
        (&["record", &out, "--all"], "turn"),
        (&["pens", "check", &pens], "Mo [2Jss"),
        (
            &[&plan[..], &["--pen", "all=Mo\u{1b}[2J"]].concat(),
            "Mo [2J",
        ),
    ] {
        let run = penstrata(args);
        let said = String::from_utf8([run.stdout, run.stderr].concat()).unwrap();
        assert!(said.contains(told), "{said:?}");
        assert!(
            !said.contains(|c: char| c.is_control() && c != '\n'),
            "{said:?}"
        );
    }
}

/// Killed at any moment, the folder holds a whole plan: the old one or the new one.
#[cfg(target_os = "linux")]
#[test]
fn a_killed_run_leaves_the_old_plan_or_the_new_one() {
    let desk = Desk::new();
    let out = desk.at("plan");
    let command = |width: &str| {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_penstrata"));
        command
            .args(["plan", "--width", width, "--reference"])
            .arg(desk.at("photo.png"));
        command
            .arg("--pens")
            .arg(desk.at("pens.csv"))
            .arg("--out")
            .arg(&out);
        command.stdout(std::process::Stdio::null());
        command
    };
    let start = std::time::Instant::now();
    assert!(command("60mm").status().unwrap().success());
    let whole = start.elapsed();
    for step in 0..24 {
        let mut child = command("60mm").spawn().unwrap();
        // Mostly near the end, where the folder is written.
        std::thread::sleep(whole.mul_f64(0.6 + 0.025 * f64::from(step)));
        let _ = child.kill();
        child.wait().unwrap();
        let plan: penstrata::plan::Plan =
            serde_json::from_slice(&fs::read(out.join("plan.json")).unwrap()).unwrap();
        let names: Vec<String> = common::files(&out).into_iter().map(|f| f.0).collect();
        assert_eq!(names, plan.files, "after {step} steps");
        image::open(out.join("preview.png")).unwrap();
    }
}

/// A disk that is full, played by a limit on the size of files: the old plan stays whole, and the error says so.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_leaves_the_old_plan() {
    let desk = Desk::new();
    let out = desk.at("plan");
    let args = |width: &str| -> Vec<String> {
        [
            "plan",
            "--reference",
            desk.at("photo.png").to_str().unwrap(),
            "--pens",
            desk.at("pens.csv").to_str().unwrap(),
            "--out",
            out.to_str().unwrap(),
            "--width",
            width,
        ]
        .map(str::to_owned)
        .into()
    };
    let first = std::process::Command::new(env!("CARGO_BIN_EXE_penstrata"))
        .args(args("60mm"))
        .output()
        .unwrap();
    assert!(first.status.success());
    let before = common::files(&out);
    // `ulimit -f` counts blocks; the signal is ignored, so that writing fails as on a full disk.
    let full = std::process::Command::new("bash")
        .arg("-c")
        .arg("trap '' XFSZ; ulimit -f 8; exec \"$@\"")
        .arg("bash")
        .arg(env!("CARGO_BIN_EXE_penstrata"))
        .args(args("70mm"))
        .output()
        .unwrap();
    assert!(!full.status.success());
    let said = String::from_utf8_lossy(&full.stderr);
    assert!(said.contains("disk is not full"), "{said}");
    assert!(common::files(&out) == before, "the old plan changed");
    // Nothing half-written is left beside it.
    let beside = fs::read_dir(desk.at(""))
        .unwrap()
        .filter(|e| {
            e.as_ref()
                .unwrap()
                .file_name()
                .to_string_lossy()
                .starts_with(".penstrata")
        })
        .count();
    assert_eq!(beside, 0);
}

/// Root may write anywhere; there the program is run as nobody.
#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_cannot_be_written_to_is_named() {
    use std::os::unix::fs::PermissionsExt;
    let desk = Desk::new();
    fs::set_permissions(desk.at(""), fs::Permissions::from_mode(0o755)).unwrap();
    let locked = desk.at("locked");
    fs::create_dir(&locked).unwrap();
    fs::set_permissions(&locked, fs::Permissions::from_mode(0o555)).unwrap();
    // A copy, since the build folder need not be open to others.
    let program = desk.at("program");
    fs::copy(env!("CARGO_BIN_EXE_penstrata"), &program).unwrap();
    let mut command = if fs::write(locked.join("probe"), "x").is_ok() {
        fs::remove_file(locked.join("probe")).unwrap();
        let mut as_nobody = std::process::Command::new("setpriv");
        as_nobody
            .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
            .arg(&program);
        as_nobody
    } else {
        std::process::Command::new(&program)
    };
    let run = command
        .arg("plan")
        .arg("--reference")
        .arg(desk.at("photo.png"))
        .arg("--pens")
        .arg(desk.at("pens.csv"))
        .args(["--width", "60mm", "--out"])
        .arg(locked.join("plan"))
        .output();
    let Ok(run) = run else {
        println!("skipped: root here, and no setpriv");
        return;
    };
    assert!(!run.status.success());
    let said = String::from_utf8_lossy(&run.stderr);
    assert!(
        said.contains("locked") && said.contains("What to do"),
        "{said}"
    );
    assert_eq!(fs::read_dir(&locked).unwrap().count(), 0);
}

#[test]
fn a_hundred_thousand_pens_are_read_and_chosen_from() {
    use std::fmt::Write;
    let desk = Desk::new();
    let mut table = "name,color,refill,condition\n".to_owned();
    for i in 0..100_000u32 {
        let _ = writeln!(
            table,
            "Pen {i},#{:06x},yes,good",
            i.wrapping_mul(2_654_435_761) >> 8
        );
    }
    fs::write(desk.at("pens.csv"), table).unwrap();
    let mut job = common::job(&desk.at("photo.png"), &desk.at(""));
    job.pens = desk.at("pens.csv");
    let made = penstrata::input::make_plan(&job, &|_| {}).unwrap();
    assert!(
        made.plan.bands.iter().all(|b| b.delta_e < 4.0),
        "{:?}",
        made.plan.bands
    );
}
