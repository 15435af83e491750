//! The guide: its size, names made of markup, and everything a person does with it, in headless Chromium.

mod common;

use std::path::Path;
use std::process::Command;

use common::{data, facts, job, penstrata, root};

fn chromium() -> Option<&'static str> {
    ["chromium", "chromium-browser", "google-chrome"]
        .into_iter()
        .find(|p| Command::new(p).arg("--version").output().is_ok())
}

/// Drives the guide of a plan by a script, and gives the facts it printed; where Node.js, its packages or Chromium are
/// missing, says so, and fails under CI.
fn driven(plan: &Path, script: &str) -> Option<String> {
    let node = Command::new("node").arg("--version").output().is_ok();
    let packages = root()
        .join("tests/guide/node_modules/playwright-core")
        .exists();
    let (Some(chromium), true, true) = (chromium(), node, packages) else {
        assert!(
            std::env::var_os("CI").is_none(),
            "node, chromium, or tests/guide/node_modules is missing, and this test is mandatory in CI"
        );
        println!("skipped: needs chromium, node, and `npm ci` in tests/guide");
        return None;
    };
    let chromium = Command::new("which").arg(chromium).output().unwrap();
    let told = facts(
        Command::new("node")
            .arg(root().join("tests/guide").join(script))
            .arg(plan.join("guide.html"))
            .arg(plan.join("plan.json"))
            .arg(String::from_utf8(chromium.stdout).unwrap().trim()),
    );
    println!("{told}");
    Some(told)
}

/// The guide from start to end; what it colored is handed over to the record.
fn drive(plan: &Path) {
    let Some(told) = driven(plan, "check.mjs") else {
        return;
    };
    let code = told.lines().find_map(|l| l.strip_prefix("code "));
    // The guide's own code, read by the program: every turn, on the day of the guide's clock.
    let code: penstrata::pens::Colored = code.expect("a code").parse().unwrap();
    let read: penstrata::plan::Plan =
        serde_json::from_slice(&std::fs::read(plan.join("plan.json")).unwrap()).unwrap();
    assert_eq!(code.plan, read.id());
    let all: Vec<usize> = (0..read.schedule.turns.len()).collect();
    assert_eq!(code.turns, all);
    // 2026-01-01 is 20454 days after the beginning of 1970 (GNU date).
    assert_eq!(code.began_min / (24 * 60), 20454);
}

/// The folder of the plan of a demo job.
fn planned(job: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let job = root().join(job);
    let run = penstrata(&[
        "plan",
        job.to_str().unwrap(),
        "--out",
        folder.path().to_str().unwrap(),
    ]);
    assert!(run.status.success());
    folder
}

#[test]
fn the_guide_of_the_demo_works_from_start_to_end() {
    let folder = planned("demo/job.toml");
    drive(folder.path());
}

#[test]
fn the_guide_of_the_demo_card_walks_through_stamping_turns_and_gluing() {
    let folder = planned("demo/card.toml");
    driven(folder.path(), "card.mjs");
}

#[test]
fn the_guide_of_a_plan_with_two_coats_works_from_start_to_end() {
    let folder = tempfile::tempdir().unwrap();
    let (pens, out) = (common::few_pens(), folder.path().join("plan"));
    let run = penstrata(&[
        "plan",
        root().join("demo/job.toml").to_str().unwrap(),
        "--pens",
        pens.to_str().unwrap(),
        "--out",
        out.to_str().unwrap(),
    ]);
    assert!(run.status.success());
    let guide = std::fs::read_to_string(out.join("guide.html")).unwrap();
    assert!(guide.contains("second coat"));
    drive(&out);
}

#[test]
fn names_of_markup_quotes_emoji_and_arabic_appear_as_they_are_and_run_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let names = [
        "<img src=x onerror=\"window.ran=1\">",
        "</script><script>window.ran=1</script>",
        "Rot \"Abend\" & 'Glut'",
        "خوخ ناضج",
        "🍑 {{data}} \u{2028}",
        "]]> --> <!-- Plum",
    ];
    let rows: String = (0..24)
        .map(|i| {
            let name = names[i % 6].replace('"', "\"\"");
            let v = 250 - 9 * i;
            format!(
                "\"{name} {i}\",#{v:02x}{:02x}{:02x},yes,good\n",
                v * 3 / 4,
                v * 3 / 5
            )
        })
        .collect();
    let pens = folder.path().join("pens.csv");
    std::fs::write(&pens, format!("name,color,refill,condition\n{rows}")).unwrap();
    let out = folder.path().join("plan");
    let photo = data("coffee.png");
    let run = penstrata(&[
        "plan",
        "--reference",
        photo.to_str().unwrap(),
        "--width",
        "110mm",
        "--pens",
        pens.to_str().unwrap(),
        "--out",
        out.to_str().unwrap(),
    ]);
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    let guide = std::fs::read_to_string(out.join("guide.html")).unwrap();
    assert_eq!(guide.matches("<script").count(), 2);
    assert!(!guide.contains("<img"));
    drive(&out);
}

/// A drawing of 25 x 14 cells over a photo: more than 300 sections.
#[test]
fn a_plan_of_300_sections_makes_a_guide_below_one_and_a_half_megabytes() {
    let folder = tempfile::tempdir().unwrap();
    let waves: String = (0..=25)
        .map(|i| format!("<path d=\"M{} 0q3 26 0 52t0 52t0 52\"/>", 7 * i + 2))
        .chain((0..=14).map(|j| format!("<path d=\"M0 {}q22 3 45 0t45 0t45 0t45 0\"/>", 9 * j + 2)))
        .collect();
    let art = folder.path().join("art.svg");
    std::fs::write(
        &art,
        format!(
            r##"<svg xmlns="http://www.w3.org/2000/svg" width="180" height="130" viewBox="0 0 180 130" fill="none" stroke="#000" stroke-width="0.5">{waves}</svg>"##
        ),
    )
    .unwrap();
    let mut job = job(&data("coffee.png"), folder.path());
    job.width = Some("180mm".parse().unwrap());
    job.art = Some(art);
    job.detail = 5;
    job.background = penstrata::job::Background::Photo;
    let made = penstrata::input::make_plan(&job, &|_| {}).unwrap();
    assert!(
        made.plan.sections.len() >= 300,
        "{}",
        made.plan.sections.len()
    );
    let size = penstrata::sheets::guide(&made.plan, &made.outlines, None).len();
    println!("{} sections: {size} bytes", made.plan.sections.len());
    assert!(size < 1_500_000, "{size} bytes");
}
