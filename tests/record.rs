//! What is kept of the pens, and what `pens check` tells.

mod common;

use common::penstrata;

#[test]
fn plans_are_recorded_on_request_only_and_pens_come_due() {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    std::fs::copy(common::data("coffee.png"), at("photo.png")).unwrap();
    std::fs::copy(common::pens(), at("pens.csv")).unwrap();
    let plan = |more: &[&str]| {
        let (photo, pens, out) = (at("photo.png"), at("pens.csv"), at("plan"));
        let args = [
            "plan",
            "--reference",
            &photo,
            "--pens",
            &pens,
            "--width",
            "150mm",
            "--out",
            &out,
        ];
        let run = penstrata(&[&args[..], more].concat());
        assert!(
            run.status.success(),
            "{}",
            String::from_utf8_lossy(&run.stderr)
        );
        String::from_utf8(run.stdout).unwrap()
    };
    let check = || {
        let run = penstrata(&["pens", "check", &at("pens.csv")]);
        assert!(
            run.status.success(),
            "{}",
            String::from_utf8_lossy(&run.stderr)
        );
        String::from_utf8(run.stdout).unwrap()
    };
    assert!(!plan(&[]).contains("Refill before you start"));
    assert!(!std::fs::exists(at("pens-record.csv")).unwrap());
    for _ in 0..12 {
        plan(&["--record", "--date", "2026-11-25"]);
    }
    let text = std::fs::read_to_string(at("pens-record.csv")).unwrap();
    assert!(
        text.starts_with("# ") && text.contains("2026-11-25,plan,"),
        "{text}"
    );
    let said = check();
    assert!(said.contains("Due by the record"), "{said}");
    // Before the next plan is colored, its pens are told.
    assert!(plan(&[]).contains("Refill before you start"));
    // The most used pen covers some 35 cm2 of this photo.
    std::fs::write(at("pens-record.csv"), text + "half a line").unwrap();
    let said = check();
    assert!(
        said.contains("is not understood and was skipped") && said.contains("Due by the record"),
        "{said}"
    );
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
