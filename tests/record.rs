//! What is kept of the pens, and what `pens check` tells.

mod common;

use common::penstrata;

/// Runs the program; what it said.
fn said(args: &[&str]) -> String {
    let run = penstrata(args);
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    String::from_utf8(run.stdout).unwrap()
}

#[test]
fn what_was_colored_is_recorded_not_what_was_planned_and_pens_come_due() {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    std::fs::copy(common::data("coffee.png"), at("photo.png")).unwrap();
    std::fs::copy(common::pens(), at("pens.csv")).unwrap();
    let (photo, pens, out, record) = (
        at("photo.png"),
        at("pens.csv"),
        at("plan"),
        at("pens-record.csv"),
    );
    let plan = || {
        let width = ["--width", "150mm", "--pens", &pens, "--out", &out];
        said(&[&["plan", "--reference", &photo][..], &width].concat())
    };
    // However often it is planned, nothing was colored.
    plan();
    assert!(!plan().contains("Refill before you start"));
    assert!(!std::fs::exists(&record).unwrap());

    // Some turns, handed over by the guide's code: as much as these turns color, and once only.
    let read: penstrata::plan::Plan =
        serde_json::from_slice(&std::fs::read(at("plan/plan.json")).unwrap()).unwrap();
    let told = format!("{}-5-h9kjk", read.id());
    let check = penstrata::files::fnv1a(told.as_bytes()) & 0xff;
    let code = format!("{told}-{check:02x}");
    let first = said(&["record", &out, &code]);
    // 29 000 000 minutes after the beginning of 1970 is 2025-02-19, 21:20 (GNU date).
    assert!(
        first.contains("2 turns") && first.contains("2025-02-19"),
        "{first}"
    );
    let area = |turns: &[usize]| -> f64 {
        turns
            .iter()
            .flat_map(|&k| &read.schedule.turns[k].sections)
            .map(|&id| read.sections[usize::from(id) - 1].area_mm2 / 100.0)
            .sum()
    };
    let used = || -> f64 {
        let record = penstrata::input::read_record(record.as_ref()).unwrap();
        assert!(record.damaged.is_empty());
        record.used.values().sum()
    };
    assert!((used() - area(&[0, 2])).abs() < 0.05);
    std::fs::write(at("colored.txt"), format!("{code}\n")).unwrap();
    assert!(said(&["record", &out, &at("colored.txt")]).contains("Nothing new"));
    assert!((used() - area(&[0, 2])).abs() < 0.05);

    // The same coloring a little later: only what is new.
    let told = format!("{}-7-h9kjk", read.id());
    let check = penstrata::files::fnv1a(told.as_bytes()) & 0xff;
    said(&["record", &out, &format!("{told}-{check:02x}")]);
    assert!((used() - area(&[0, 1, 2])).abs() < 0.05);

    // All of it without the guide, on many cards.
    let all = said(&[
        "record",
        &out,
        "--all",
        "--cards",
        "12",
        "--date",
        "2026-11-26",
    ]);
    assert!(
        all.contains("2026-11-26") && all.contains("needs a refill"),
        "{all}"
    );
    let everything: Vec<usize> = (0..read.schedule.turns.len()).collect();
    let expected = area(&[0, 1, 2]) + 12.0 * area(&everything);
    assert!((used() - expected).abs() < 0.01 * expected);
    // Some of it stood there as of another day: that may be the same card.
    assert!(all.contains("recorded on 2025-02-19, too"), "{all}");
    assert!(!first.contains("too"), "{first}");
    assert!(said(&["record", &out, "--all", "--date", "2026-11-26"]).contains("Nothing new"));
    // Without a date, today, as the system knows it.
    said(&["record", &out, "--all"]);
    let text = std::fs::read_to_string(&record).unwrap();
    let last = text.lines().last().unwrap();
    let year: i32 = last[..4].parse().unwrap();
    assert!(
        year >= 2026 && &last[4..5] == "-" && text.starts_with("# "),
        "{last}"
    );

    assert!(said(&["pens", "check", &pens]).contains("Due by the record"));
    // Before the next plan is colored, its pens are told.
    assert!(plan().contains("Refill before you start"));
    std::fs::write(&record, text + "half a line").unwrap();
    let check = said(&["pens", "check", &pens]);
    assert!(
        check.contains("is not understood and was skipped") && check.contains("Due by the record"),
        "{check}"
    );
}

#[test]
fn a_code_of_another_plan_or_none_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("plan");
    let job = common::root().join("demo/light.toml");
    let out = out.to_str().unwrap();
    said(&["plan", job.to_str().unwrap(), "--out", out]);
    let refused = |args: &[&str], words: &str| {
        let run = penstrata(args);
        let said = String::from_utf8(run.stderr).unwrap();
        assert!(!run.status.success() && said.contains(words), "{said}");
    };
    refused(
        &["record", out, "3f9a01c2-10000000207-h9kjk-a3"],
        "is another plan",
    );
    refused(
        &["record", out, "3f9a01c2-10000000207-h9kjk-a4"],
        "not a code of the guide",
    );
    refused(
        &["record", dir.path().to_str().unwrap(), "--all"],
        "plan.json",
    );
    refused(&["record", out], "--all");
    refused(
        &["record", out, "--all", "--date", "yesterday"],
        "yesterday",
    );
    // The record beside the demo's pens was never made.
    assert!(!common::root().join("demo/pens-record.csv").exists());
}

#[test]
fn the_check_tells_families_gaps_and_what_comes_first_and_makes_a_sheet() {
    let dir = tempfile::tempdir().unwrap();
    let (pdf, picture) = (dir.path().join("pens.pdf"), dir.path().join("pens.png"));
    let args = [
        "pens",
        "check",
        common::pens().to_str().unwrap(),
        "--pdf",
        pdf.to_str().unwrap(),
        "--picture",
        picture.to_str().unwrap(),
    ]
    .map(str::to_owned);
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let run = penstrata(&args);
    let said = String::from_utf8_lossy(&run.stdout).into_owned();
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    for words in [
        "green",
        "no light pink",
        "Old Ink Well, dry, no refill",
        "Midnight Ink and Old Ink Well",
        "To see to, most needed first",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(image::open(&picture).unwrap().width() > 1000);
    assert!(
        !penstrata(&args).status.success(),
        "never over another file unasked"
    );
    if !common::has("pdftotext") {
        return;
    }
    let text = std::process::Command::new("pdftotext")
        .args(["-layout", pdf.to_str().unwrap(), "-"])
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&text.stdout);
    for pen in penstrata::input::read_pens(&common::pens()).unwrap() {
        let start: String = pen.name.chars().take(14).collect();
        assert!(text.contains(&start), "{start}: {text}");
    }
}
