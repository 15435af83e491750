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
            "name,color,refill,condition\nMoss,green,yes,good\n",
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
        (&[("reference", "empty.png")], &["empty.png", "JPEG, PNG"]),
        (&[("reference", "text.png")], &["text.png", "JPEG, PNG"]),
        (&[("reference", "cut.png")], &["cut.png", "JPEG, PNG"]),
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
            &["bad-color.csv", "line 2", "#rrggbb"],
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
            "reference = \"photo.png\"\npens = \"pens.csv\"\nwidth = \"110mm\"\nout = \"plan\"\nbare = [[500, 500]]\n",
            "bare",
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
