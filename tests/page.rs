//! The page: its module makes the plan that the command line makes, and everything a person does there works in real
//! browsers. Needs `cargo page` first, Node.js and Chromium (and Firefox for a smoke run).

mod common;

use std::path::{Path, PathBuf};
use std::process::Command;

use common::{facts, files, has, penstrata, root};

/// The built page's folder; where something is missing, says so, and fails under CI.
fn built() -> Option<PathBuf> {
    let page = root().join("target/page");
    let packages = root().join("tests/guide/node_modules/playwright-core");
    let missing = [
        (page.join("penstrata.html").exists(), "cargo page"),
        (has("node"), "Node.js"),
        (has("chromium"), "chromium"),
        (packages.exists(), "npm ci in tests/guide"),
    ];
    let missing: Vec<&str> = missing.iter().filter(|m| !m.0).map(|m| m.1).collect();
    if missing.is_empty() {
        return Some(page);
    }
    let missing = missing.join(", ");
    assert!(
        std::env::var_os("CI").is_none(),
        "missing: {missing}; this test is mandatory in CI"
    );
    println!("skipped: needs {missing}");
    None
}

fn node(script: &str, args: &[&Path], more: &[String]) -> String {
    facts(
        Command::new("node")
            .arg(root().join("tests/page").join(script))
            .args(args)
            .args(more),
    )
}

/// A job's folder, made by the module under Node.js and by the command line: every file has the same bytes.
fn same_folder(name: &str, job: &str, given: &[(&str, &str)]) {
    let Some(page) = built() else { return };
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    for (name, file) in given {
        std::fs::copy(root().join(file), at(name)).unwrap();
    }
    std::fs::write(at("job.toml"), job).unwrap();
    let run = penstrata(&["plan", at("job.toml").to_str().unwrap()]);
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );

    let value: toml::Value = toml::from_str(job).unwrap();
    std::fs::write(at("job.json"), serde_json::to_string(&value).unwrap()).unwrap();
    let named: Vec<String> = given
        .iter()
        .map(|(name, _)| format!("{name}={}", at(name).display()))
        .collect();
    let paths = [&page.join("work"), &at("job.json"), &at("wasm")];
    println!(
        "{name}: {}",
        node("node.mjs", &paths.map(PathBuf::as_path), &named).trim()
    );

    let (native, wasm) = (files(&at("plan")), files(&at("wasm")));
    let names = |all: &[(String, Vec<u8>)]| all.iter().map(|f| f.0.clone()).collect::<Vec<_>>();
    assert_eq!(names(&native), names(&wasm));
    let other: Vec<&str> = native
        .iter()
        .zip(&wasm)
        .filter(|(a, b)| a.1 != b.1)
        .map(|(a, _)| a.0.as_str())
        .collect();
    assert!(other.is_empty(), "{name}: not the same bytes: {other:?}");
}

#[test]
fn the_demo_is_the_same_under_node() {
    same_folder(
        "demo",
        include_str!("../demo/job.toml"),
        &[
            ("reference.jpg", "demo/reference.jpg"),
            ("outline.svg", "demo/outline.svg"),
            ("pens.csv", "demo/pens.csv"),
        ],
    );
}

#[test]
fn a_photo_of_a_panel_and_a_photo_without_a_drawing_are_the_same_under_node() {
    same_folder(
        "panel",
        "reference = \"coffee.png\"\nart = \"panel.jpg\"\npens = \"pens.csv\"\npanel = \"A6\"\nout = \"plan\"\n",
        &[
            ("coffee.png", "tests/data/coffee.png"),
            ("panel.jpg", "tests/data/apple-panel.jpg"),
            ("pens.csv", "demo/pens.csv"),
        ],
    );
    same_folder(
        "coffee",
        "reference = \"coffee.png\"\npens = \"pens.csv\"\nwidth = \"110mm\"\nout = \"plan\"\n",
        &[
            ("coffee.png", "tests/data/coffee.png"),
            ("pens.csv", "demo/pens.csv"),
        ],
    );
}

#[test]
fn colors_without_a_photo_are_the_same_under_node() {
    same_folder(
        "light",
        &include_str!("../demo/light.toml").replace("light-plan", "plan"),
        &[
            ("snail.svg", "demo/snail.svg"),
            ("pens.csv", "demo/pens.csv"),
        ],
    );
}

#[test]
fn a_card_of_stamps_and_pieces_is_the_same_under_node() {
    same_folder(
        "card",
        &include_str!("../demo/card.toml").replace("card-plan", "plan"),
        &[
            ("mushroom.svg", "demo/mushroom.svg"),
            ("lantern.svg", "demo/lantern.svg"),
            ("fern.svg", "demo/fern.svg"),
            ("moth.svg", "demo/moth.svg"),
            ("pens.csv", "demo/pens.csv"),
            ("accents.csv", "demo/accents.csv"),
        ],
    );
}

/// Everything that a person does on the page, in Chromium.
#[test]
fn the_page_works_in_chromium() {
    let Some(page) = built() else { return };
    let folder = tempfile::tempdir().unwrap();
    let told = node(
        "check.mjs",
        &[&page.join("penstrata.html"), root(), folder.path()],
        &[],
    );
    println!("{told}");
    // What was saved there is what the command line makes of the job inside it.
    for name in ["demo", "random", "panel", "card"] {
        let card = folder.path().join(name);
        let saved = files(&card.join("plan"));
        let job = card.join("job.toml");
        let run = penstrata(&["plan", job.to_str().unwrap()]);
        assert!(
            run.status.success(),
            "{}",
            String::from_utf8_lossy(&run.stderr)
        );
        let made = files(&card.join("plan"));
        let names = |all: &[(String, Vec<u8>)]| all.iter().map(|f| f.0.clone()).collect::<Vec<_>>();
        assert_eq!(names(&saved), names(&made));
        for (a, b) in saved.iter().zip(&made) {
            assert!(a.1 == b.1, "{name}: {} has other bytes", a.0);
        }
    }
}

/// The example, a section and the guide in Firefox.
#[test]
fn the_page_works_in_firefox() {
    let Some(page) = built() else { return };
    if Command::new("firefox-esr")
        .arg("--version")
        .output()
        .is_err()
    {
        assert!(
            std::env::var_os("CI").is_none(),
            "firefox-esr is missing, and this test is mandatory in CI"
        );
        println!("skipped: firefox-esr is not installed");
        return;
    }
    let firefox = Command::new("which").arg("firefox-esr").output().unwrap();
    let firefox = String::from_utf8(firefox.stdout).unwrap();
    let more = [firefox.trim().to_owned()];
    println!(
        "{}",
        node(
            "firefox.mjs",
            &[&page.join("penstrata.html"), root()],
            &more
        )
    );
}
