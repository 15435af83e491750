//! What the tests share.
#![allow(dead_code, reason = "every test file uses a part of it")]

pub mod camera;
pub mod lens;
pub mod promises;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use penstrata::job::Job;

pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

pub fn data(name: &str) -> PathBuf {
    root().join("tests/data").join(name)
}

pub fn pens() -> PathBuf {
    root().join("demo/pens.csv")
}

/// Too few pens for the demo.
pub fn few_pens() -> PathBuf {
    root().join("demo/few-pens.csv")
}

/// A job on one photo, with the demo's pens, into `folder/plan`.
pub fn job(photo: &Path, folder: &Path) -> Job {
    Job::new(
        photo.to_owned(),
        pens(),
        Some("110mm".parse().unwrap()),
        folder.join("plan"),
    )
}

/// The name of the n-th band of a hue group, from light to dark, from 1.
pub fn nth_band(plan: &penstrata::plan::Plan, group: &str, n: usize) -> String {
    let of_group = |b: &&penstrata::plan::Band| plan.groups[b.group].name == group;
    let band = plan.bands.iter().filter(of_group).nth(n - 1);
    band.expect("the demo has these bands").name.clone()
}

/// Runs the program.
pub fn penstrata(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_penstrata"))
        .args(args)
        .output()
        .unwrap()
}

/// Runs a script that prints one fact a line, "ok" before those that hold; what it said.
pub fn facts(script: &mut Command) -> String {
    let run = script.output().unwrap();
    let told = String::from_utf8_lossy(&run.stdout).into_owned();
    assert!(
        run.status.success(),
        "{}{}",
        told.lines()
            .filter(|l| !l.starts_with("ok"))
            .collect::<Vec<_>>()
            .join("\n"),
        String::from_utf8_lossy(&run.stderr)
    );
    told
}

/// Whether an outside program is here; where it is not, says so, and fails under CI.
pub fn has(program: &str) -> bool {
    let found = Command::new(program).arg("-v").output().is_ok();
    if !found {
        assert!(
            std::env::var_os("CI").is_none(),
            "{program} is missing, and this test is mandatory in CI"
        );
        println!("skipped: {program} is not installed");
    }
    found
}

/// All files below `folder`, with their content.
pub fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_owned()];
    while let Some(at) = open.pop() {
        for entry in std::fs::read_dir(at).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path
                    .strip_prefix(folder)
                    .unwrap()
                    .to_string_lossy()
                    .into_owned();
                found.push((name, std::fs::read(&path).unwrap()));
            }
        }
    }
    found.sort();
    found
}
