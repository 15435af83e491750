//! Whole jobs at random: whatever the photo, the drawing and the choices, a plan that keeps its promises or an error
//! that says what to do, never a panic.

mod common;

use std::fmt::Write;
use std::path::{Path, PathBuf};

use common::promises::{check, no_labels_overlap};
use penstrata::color::Srgb8;
use penstrata::input::{make_plan, read_files};
use penstrata::job::{Align, Background, CutEntry, Job, Match, PinnedPen, White};
use penstrata::plan::Plan;
use penstrata::plan_of;
use penstrata::planner::Planner;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// A blob of color: center and radius as parts of the picture, and its color.
type Blob = (f64, f64, f64, [u8; 3]);

/// A drawn thing: kind, four places as parts of the page, line width in millimeters.
type Stroke = (u8, [f64; 4], f64);

#[derive(Debug, Clone)]
struct Case {
    size: (u32, u32),
    ground: [u8; 3],
    blobs: Vec<Blob>,
    transparent: bool,
    strokes: Vec<Stroke>,
    page: (u32, u32),
    width_mm: f64,
    detail: u8,
    bands: u8,
    nib_mm: f64,
    gap_mm: f64,
    background: u8,
    white: u8,
    align: u8,
    pens: usize,
    coats: u8,
    most_pens: usize,
}

fn part() -> impl Strategy<Value = f64> {
    0.0..1.0f64
}

fn color() -> impl Strategy<Value = [u8; 3]> {
    proptest::array::uniform3(any::<u8>())
}

fn cases() -> impl Strategy<Value = Case> {
    let picture = (
        (2u32..260, 2u32..220),
        color(),
        proptest::collection::vec((part(), part(), 0.02..0.6f64, color()), 0..7),
        any::<bool>(),
    );
    let drawing = (
        proptest::collection::vec(
            (0u8..3, proptest::array::uniform4(part()), 0.15..2.5f64),
            0..7,
        ),
        (20u32..120, 20u32..120),
    );
    let choices = (
        (15.0..130.0f64, 0u8..7, 0u8..6, 0.4..4.0f64, 0.0..3.0f64),
        (0u8..3, 0u8..3, 0u8..6, 1usize..40, 1u8..3, 1usize..30),
    );
    (picture, drawing, choices).prop_map(|(p, d, (a, b))| Case {
        size: p.0,
        ground: p.1,
        blobs: p.2,
        transparent: p.3,
        strokes: d.0,
        page: d.1,
        width_mm: a.0,
        detail: a.1,
        bands: a.2,
        nib_mm: a.3,
        gap_mm: a.4,
        background: b.0,
        white: b.1,
        align: b.2,
        pens: b.3,
        coats: b.4,
        most_pens: b.5,
    })
}

fn photo(case: &Case) -> Vec<u8> {
    let (w, h) = case.size;
    let mut png = std::io::Cursor::new(Vec::new());
    image::RgbaImage::from_fn(w, h, |x, y| {
        let (x, y) = (f64::from(x) / f64::from(w), f64::from(y) / f64::from(h));
        let hit = case
            .blobs
            .iter()
            .rev()
            .find(|b| (b.0 - x).hypot(b.1 - y) < b.2);
        let (color, alpha) = match hit {
            Some(&(cx, cy, r, color)) => {
                // Shaded, so that there are bands to find.
                let light = 1.0 - 0.6 * (cx + 0.3 * r - x).hypot(cy + 0.3 * r - y) / (2.0 * r);
                (color.map(|v| (f64::from(v) * light) as u8), 255)
            }
            None => (case.ground, if case.transparent { 0 } else { 255 }),
        };
        image::Rgba([color[0], color[1], color[2], alpha])
    })
    .write_to(&mut png, image::ImageFormat::Png)
    .unwrap();
    png.into_inner()
}

fn pens(case: &Case) -> String {
    let mut table = "name,color,refill,condition\n".to_owned();
    for i in 0..case.pens {
        // Every fourth is a gray.
        let v = |k: usize| (i * 67 + if i % 4 == 0 { 0 } else { k * 91 } + i * i * 13) % 256;
        let refill = if i % 3 == 0 { "no" } else { "yes" };
        let condition = ["good", "good", "worn", "good", "dry"][i % 5];
        let _ = writeln!(
            table,
            "Pen {i},#{:02x}{:02x}{:02x},{refill},{condition}",
            v(0),
            v(1),
            v(2)
        );
    }
    table
}

fn drawing(case: &Case) -> String {
    let (pw, ph) = case.page;
    let mut svg = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='{pw}' height='{ph}' fill='none' stroke='#000'>"
    );
    for &(kind, [a, b, c, d], width) in &case.strokes {
        let (x, y) = (a * f64::from(pw), b * f64::from(ph));
        let (u, v) = (c * f64::from(pw), d * f64::from(ph));
        let _ = match kind {
            0 => write!(
                svg,
                "<circle cx='{x}' cy='{y}' r='{}' stroke-width='{width}'/>",
                u / 2.0
            ),
            1 => write!(svg, "<path d='M{x} {y}L{u} {v}' stroke-width='{width}'/>"),
            _ => write!(
                svg,
                "<rect x='{x}' y='{y}' width='{u}' height='{v}' stroke-width='{width}'/>"
            ),
        };
    }
    svg + "</svg>"
}

/// Writes photo, drawing and pens into `folder`.
fn job(case: &Case, folder: &Path) -> Job {
    let names = ["photo.png", "pens.csv", "art.svg"].map(|name| folder.join(name));
    std::fs::write(&names[0], photo(case)).unwrap();
    std::fs::write(&names[1], pens(case)).unwrap();
    std::fs::write(&names[2], drawing(case)).unwrap();
    let [photo, pens, art] = names;
    let mut job = Job::new(photo, pens, None, folder.join("plan"));
    job.width = format!("{:.2}mm", case.width_mm).parse().ok();
    job.detail = case.detail;
    job.coats = case.coats;
    job.most_pens = (case.most_pens < 15).then_some(case.most_pens);
    job.bands = case.bands;
    job.nib = format!("{:.2}mm", case.nib_mm).parse().unwrap();
    job.gap = format!("{:.2}mm", case.gap_mm).parse().unwrap();
    job.background = [Background::Bare, Background::Photo, Background::Auto]
        [usize::from(case.background)]
    .clone();
    job.white = [White::None, White::Auto, White::At(1, 1)][usize::from(case.white)];
    if !case.strokes.is_empty() {
        job.art = Some(art);
        job.align = [
            None,
            Some(Align::Frame),
            Some(Align::Subject),
            Some(Align::Outline),
            Some(Align::Lines),
            Some(Align::Points),
        ][usize::from(case.align)];
        if job.align == Some(Align::Points) {
            let pair = |x: f64, y: f64| Match {
                reference: [x, y],
                art: [x / 2.0 + 1.0, y / 2.0],
            };
            job.matches = vec![pair(2.0, 3.0), pair(90.0, 20.0), pair(40.0, 70.0)];
        }
    }
    job
}

/// Everything but the pictures of a plan, for comparing.
fn told(made: &penstrata::Made) -> String {
    serde_json::to_string(&made.plan).unwrap()
}

#[test]
fn random_jobs_keep_every_promise_or_say_what_is_wrong() {
    // The same cases every time; a failure prints the smallest case that fails.
    let config = Config {
        cases: 100,
        failure_persistence: None,
        max_shrink_iters: 200,
        ..Config::default()
    };
    let rng = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
    let mut runner = TestRunner::new_with_rng(config, rng);
    let plans = std::cell::Cell::new(0);
    runner
        .run(&cases(), |case| {
            let folder = tempfile::tempdir().unwrap();
            let job = job(&case, folder.path());
            let run = |threads: usize| {
                let pool = rayon::ThreadPoolBuilder::new()
                    .num_threads(threads)
                    .build()
                    .unwrap();
                pool.install(|| make_plan(&job, &|_| {}))
            };
            let made = match run(2) {
                Ok(made) => made,
                Err(error) => {
                    // An error for people, not a fault of ours.
                    let error = error.to_string();
                    prop_assert!(error.contains("What to do:"), "{error}");
                    prop_assert!(!error.contains("fault in penstrata"), "{error}");
                    return Ok(());
                }
            };
            plans.set(plans.get() + 1);
            check(&made);
            no_labels_overlap(&made);
            let (one, again) = (run(1).unwrap(), run(2).unwrap());
            prop_assert_eq!(told(&made), told(&one));
            prop_assert_eq!(told(&made), told(&again));
            prop_assert_eq!(&made.sections.map.data, &one.sections.map.data);
            let files =
                |made: &penstrata::Made| penstrata::sheets::render_all(made, false).unwrap();
            prop_assert!(files(&made) == files(&one), "the files differ");
            let read: Plan = serde_json::from_str(&told(&made)).unwrap();
            prop_assert_eq!(&read, &made.plan);
            Ok(())
        })
        .unwrap();
    println!("{} of 100 jobs gave a plan", plans.get());
    assert!(plans.get() >= 15, "only {} jobs gave a plan", plans.get());
}

/// One edit of a job: what, and two numbers that say how.
type Edit = (u8, usize, f64);

/// Changes the job; what a point or a name must be is taken from the plan as it stands.
fn edited(mut job: Job, plan: &Plan, (what, n, part): Edit) -> Job {
    let section = &plan.sections[n % plan.sections.len()];
    let other = &plan.sections[(n / 7) % plan.sections.len()];
    let pen = plan
        .numbers
        .iter()
        .filter_map(|k| k.pen.as_ref())
        .nth(n % 3);
    match what {
        0 => job.detail = 1 + (n % 5) as u8,
        1 => job.bands = 1 + (n % 4) as u8,
        2 => job.bare.push(section.inside_mm),
        3 => job.bare.clear(),
        4 => job.merge.push(vec![section.inside_mm, other.inside_mm]),
        5 => job.merge.clear(),
        6 => job.forbid.extend(pen.map(|p| p.name.clone())),
        7 => job.forbid.clear(),
        8 => {
            let band = &plan.bands[n % plan.bands.len()].name;
            let pin = pen.map(|p| PinnedPen::for_band(band, &p.name));
            job.pinned.extend(pin);
        }
        9 => job.pinned.clear(),
        10 => job.nib = format!("{:.2}mm", 0.6 + part).parse().unwrap(),
        11 => job.gap = format!("{:.2}mm", 2.0 * part).parse().unwrap(),
        12 => job.coats = 1 + (n % 2) as u8,
        13 => job.white = [White::None, White::Auto][n % 2],
        14 => {
            job.background = [Background::Bare, Background::Photo, Background::Auto][n % 3].clone()
        }
        15 => job.align = [None, Some(Align::Frame), Some(Align::Subject)][n % 3],
        16 => job.paper = [Srgb8::new(255, 255, 255), Srgb8::new(250, 240, 215)][n % 2],
        17 => job.rest = format!("{}s", 30 + n % 200).parse().unwrap(),
        18 => job.pace.seconds_per_cm2 = 5.0 + 10.0 * part,
        19 => job.most_pens = [None, Some(2 + n % 6)][n % 2],
        20 => job.width = format!("{:.1}mm", 30.0 + 60.0 * part).parse().ok(),
        21 => job.no_refill_cm2 = 20.0 * part,
        22 => job.stamped = (n % 3) as u8,
        23 => {
            // Through a section, at any angle.
            let ([x, y], t) = (section.inside_mm, part * std::f64::consts::TAU);
            let end = |far: f64| [x + far * t.cos(), y + far * t.sin()];
            let line = vec![end(-30.0), [x, y], end(30.0)];
            job.cuts.push(CutEntry { line });
        }
        24 => job.cuts.clear(),
        25 => {
            let pin = pen.map(|p| PinnedPen::for_section(section.inside_mm, &p.name));
            job.pinned.extend(pin);
        }
        26 => job.bare_cells.push(section.inside_mm),
        27 => job.bare_cells.clear(),
        _ => job.mirror = !job.mirror,
    }
    job
}

/// Changes what one of the job's files holds.
fn edited_file(case: &mut Case, job: &Job, (what, n, part): Edit) -> (PathBuf, Vec<u8>) {
    match (what, &job.art) {
        (30, _) => {
            case.ground = case.ground.map(|v| v.wrapping_add(n as u8));
            if case.blobs.len() > 1 {
                case.blobs.remove(n % case.blobs.len());
            }
            (job.files()[1].0.to_owned(), photo(case))
        }
        (31, Some(art)) => {
            let middle = [0.5, 0.5, 0.3 + part, 0.4];
            case.strokes.push(((n % 3) as u8, middle, 0.5));
            (art.clone(), drawing(case).into_bytes())
        }
        _ => {
            case.pens = 1 + n % 40;
            (job.pens.clone(), pens(case).into_bytes())
        }
    }
}

#[test]
fn a_planner_gives_after_any_edits_what_a_fresh_plan_gives() {
    let config = Config {
        cases: 12,
        failure_persistence: None,
        max_shrink_iters: 60,
        ..Config::default()
    };
    let rng = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
    let mut runner = TestRunner::new_with_rng(config, rng);
    let edits = proptest::collection::vec((0u8..32, 0usize..1000, part()), 10);
    let compared = std::cell::Cell::new(0);
    runner
        .run(&(cases(), edits), |(mut case, edits)| {
            let folder = tempfile::tempdir().unwrap();
            let mut job = job(&case, folder.path());
            let mut files = read_files(&job).unwrap();
            let mut planner = Planner::new(files.clone());
            let Ok(mut last) = planner.plan(&job, &|_| {}) else {
                return Ok(());
            };
            for edit in edits {
                let mut next = job.clone();
                if edit.0 < 29 {
                    next = edited(next, &last.plan, edit);
                } else {
                    let (name, bytes) = edited_file(&mut case, &job, edit);
                    files.insert(name.clone(), bytes.clone());
                    planner.set_file(name, bytes);
                }
                let kept = planner.plan(&next, &|_| {}).map_err(|e| e.to_string());
                let fresh = plan_of(&next, files.clone(), &|_| {}).map_err(|e| e.to_string());
                match (kept, fresh) {
                    (Ok(kept), Ok(fresh)) => {
                        check(&kept);
                        prop_assert_eq!(told(&kept), told(&fresh), "after {:?}", edit);
                        prop_assert_eq!(&kept.sections.map.data, &fresh.sections.map.data);
                        prop_assert_eq!(
                            format!("{:?}{:?}", kept.outlines, kept.labels),
                            format!("{:?}{:?}", fresh.outlines, fresh.labels)
                        );
                        compared.set(compared.get() + 1);
                        (job, last) = (next, kept);
                    }
                    (Err(kept), Err(fresh)) => prop_assert_eq!(kept, fresh),
                    (kept, fresh) => {
                        prop_assert!(false, "{:?}: {} {}", edit, kept.is_ok(), fresh.is_ok());
                    }
                }
            }
            Ok(())
        })
        .unwrap();
    println!("{} plans compared", compared.get());
    assert!(
        compared.get() >= 30,
        "only {} plans compared",
        compared.get()
    );
}

#[test]
fn another_pens_file_leaves_the_photo_as_it_lies() {
    let folder = tempfile::tempdir().unwrap();
    let mut job = common::job(&common::data("coffee.png"), folder.path());
    job.width = "60mm".parse().ok();
    let mut planner = Planner::new(read_files(&job).unwrap());
    let first = planner.plan(&job, &|_| {}).unwrap();
    let few = std::fs::read(common::few_pens()).unwrap();
    planner.set_file(job.pens.clone(), few);
    let other = planner.plan(&job, &|_| {}).unwrap();
    assert_ne!(told(&first), told(&other));
    assert!(std::sync::Arc::ptr_eq(&first.reference, &other.reference));
}
