//! Whole jobs: what every plan promises.

mod common;

use std::collections::BTreeSet;
use std::fs;

use common::promises::{check, no_labels_overlap};
use common::{data, job, penstrata, root};
use penstrata::Made;
use penstrata::input::make_plan;
use penstrata::job::Job;
use penstrata::plan::Plan;

fn made(job: &Job) -> Made {
    make_plan(job, &|_| {}).unwrap()
}

#[test]
fn the_numbers_of_the_demo_stand_clear_of_each_other() {
    let job = penstrata::input::read_job(&common::root().join("demo/job.toml")).unwrap();
    no_labels_overlap(&make_plan(&job, &|_| {}).unwrap());
}

#[test]
fn a_photo_without_art_keeps_every_promise() {
    let dir = tempfile::tempdir().unwrap();
    for detail in [1, 3, 5] {
        let mut job = job(&data("coffee.png"), dir.path());
        job.detail = detail;
        let made = made(&job);
        check(&made);
        assert!(made.plan.figures.narrowest_mm >= made.plan.nib_mm);
        println!("detail {detail}: {:?}", made.plan.figures);
    }
}

#[test]
fn more_detail_gives_more_sections_and_more_line_to_trace() {
    let dir = tempfile::tempdir().unwrap();
    let figures: Vec<_> = [1, 3, 5]
        .map(|detail| {
            let mut job = job(&data("coffee.png"), dir.path());
            job.detail = detail;
            made(&job).plan.figures
        })
        .into();
    assert!(
        figures
            .windows(2)
            .all(|f| f[0].sections < f[1].sections && f[0].trace_mm < f[1].trace_mm)
    );
}

#[test]
fn the_demo_keeps_every_promise() {
    let job = penstrata::input::read_job(&root().join("demo/job.toml")).unwrap();
    let made = made(&job);
    check(&made);
    let names: BTreeSet<_> = made.plan.groups.iter().map(|g| g.name.as_str()).collect();
    assert!(
        names.contains("orange") && names.contains("green") && names.contains("violet"),
        "{names:?}"
    );
    // The background is bare, the gap in the plate's edge does not leak.
    let map = &made.sections.map;
    assert!((0..map.width).all(|x| map.at(x, 0) == 0 && map.at(x, map.height - 1) == 0));
    assert!(
        (20..60).contains(&made.plan.figures.sections),
        "{:?}",
        made.plan.figures
    );
}

#[test]
fn the_same_job_gives_the_same_bytes_on_one_thread_and_on_two() {
    let job = penstrata::input::read_job(&root().join("demo/job.toml")).unwrap();
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| {
            let made = made(&job);
            let mut files = penstrata::sheets::render_all(&made, true).unwrap();
            files.push(("plan.json".into(), serde_json::to_vec(&made.plan).unwrap()));
            files
        })
    };
    let (one, two, again) = (run(1), run(2), run(2));
    for ((a, b), c) in one.iter().zip(&two).zip(&again) {
        assert_eq!(a.0, b.0);
        assert!(a.1 == b.1 && b.1 == c.1, "{} differs", a.0);
    }
}

#[test]
fn plan_json_runs_again_to_the_same_plan() {
    let dir = tempfile::tempdir().unwrap();
    let first = dir.path().join("first");
    let out = |p: &std::path::Path| p.to_str().unwrap().to_owned();
    let run = penstrata(&[
        "plan",
        root().join("demo/job.toml").to_str().unwrap(),
        "--out",
        &out(&first),
        "--steps",
    ]);
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    let second = dir.path().join("second");
    let json = first.join("plan.json");
    let run = penstrata(&[
        "plan",
        json.to_str().unwrap(),
        "--out",
        &out(&second),
        "--steps",
    ]);
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    for (a, b) in common::files(&first).iter().zip(&common::files(&second)) {
        assert!(a == b, "{} and {} differ", a.0, b.0);
    }

    let plan: Plan = serde_json::from_slice(&fs::read(json).unwrap()).unwrap();
    let names: Vec<String> = common::files(&first).into_iter().map(|f| f.0).collect();
    assert_eq!(names, plan.files);
    for name in [
        "overlay.svg",
        "overlay.png",
        "overlay.pdf",
        "preview.png",
        "sections.png",
        "steps/flat.png",
    ] {
        assert!(names.iter().any(|n| n == name), "{name}");
    }
    // All pictures of the working frame have one size, and sections.png holds the ids.
    let map = image::open(first.join("sections.png"))
        .unwrap()
        .into_luma16();
    for step in ["reference", "lines", "cells", "hues", "bands", "flat"] {
        assert_eq!(
            image::image_dimensions(first.join(format!("steps/{step}.png"))).unwrap(),
            map.dimensions()
        );
    }
    let found: BTreeSet<u16> = map.pixels().map(|p| p.0[0]).filter(|&v| v > 0).collect();
    let listed: BTreeSet<u16> = plan
        .sections
        .iter()
        .filter(|s| s.number > 0)
        .map(|s| s.id)
        .collect();
    assert_eq!(found, listed);
}

#[test]
fn too_few_pens_give_fewer_bands_and_say_so() {
    let dir = tempfile::tempdir().unwrap();
    let few = dir.path().join("few.csv");
    fs::write(&few, "name,color,refill,condition\nCoal,#302420,yes,good\n").unwrap();
    let mut job = job(&data("coffee.png"), dir.path());
    job.pens = few;
    job.coats = 1;
    let made = made(&job);
    check(&made);
    assert!(
        made.plan
            .warnings
            .iter()
            .any(|w| w.contains("Too few pens")),
        "{:?}",
        made.plan.warnings
    );
}

#[test]
fn a_warm_lamp_does_not_turn_every_pen_orange() {
    use penstrata::job::White;
    let dir = tempfile::tempdir().unwrap();
    // A gray ramp and a white card under a lamp: linear light times (1, 0.75, 0.45).
    let photo = dir.path().join("lamp.png");
    let srgb = |v: f64| {
        (if v <= 0.003_130_8 {
            12.92 * v
        } else {
            1.055 * v.powf(1.0 / 2.4) - 0.055
        } * 255.0)
            .round() as u8
    };
    image::RgbImage::from_fn(300, 200, |x, _| {
        let v = [0.9, 0.55, 0.3, 0.12, 0.03][x as usize / 60];
        image::Rgb([1.0, 0.75, 0.45].map(|lamp| srgb(v * lamp)))
    })
    .save(&photo)
    .unwrap();
    let most_chroma = |white: White| {
        let mut job = job(&photo, dir.path());
        job.white = white;
        made(&job)
            .plan
            .bands
            .iter()
            .map(|b| b.lab[1].hypot(b.lab[2]))
            .fold(0.0, f32::max)
    };
    assert!(most_chroma(White::None) > 20.0);
    assert!(most_chroma(White::Auto) < 4.0);
    assert!(most_chroma(White::At(20, 100)) < 4.0);
}
