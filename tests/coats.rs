//! Two coats on one place: where they are offered, what they look like, and that they can be switched off.

mod common;

use common::promises::check;
use penstrata::Made;
use penstrata::color::{Srgb8, difference};
use penstrata::input::make_plan;
use penstrata::job::{Job, PinnedPen};
use penstrata::plan::Plan;

/// The demo with few pens.
fn few() -> Job {
    let mut job = penstrata::input::read_job(&common::root().join("demo/job.toml")).unwrap();
    job.pens = common::few_pens();
    job
}

fn made(job: &Job) -> Made {
    let made = make_plan(job, &|_| {}).unwrap_or_else(|e| panic!("{e}"));
    check(&made);
    made
}

fn layered(plan: &Plan) -> Vec<(&str, &str)> {
    plan.bands
        .iter()
        .filter_map(|b| Some((b.under.as_deref()?, b.pen.as_deref()?)))
        .collect()
}

#[test]
fn few_pens_come_nearer_to_the_photo_with_two_coats_and_keep_their_bands() {
    let mut job = few();
    let two = made(&job).plan;
    job.coats = 1;
    let one = made(&job).plan;
    println!(
        "{} and {} bands, mean difference {} and {}",
        two.bands.len(),
        one.bands.len(),
        two.figures.mean_delta_e,
        one.figures.mean_delta_e
    );
    assert!(layered(&one).is_empty() && !layered(&two).is_empty());
    assert!(two.figures.mean_delta_e < 0.9 * one.figures.mean_delta_e);
    assert!(two.bands.len() > one.bands.len());
    // Whoever takes two coats is told why, and that they are an estimate.
    for band in two.bands.iter().filter(|b| b.under.is_some()) {
        assert!(!band.why.is_empty());
        let pen = band.pen.as_deref().unwrap();
        assert!(
            two.warnings
                .iter()
                .any(|w| w.contains(pen) && w.contains("estimate")),
            "{pen}"
        );
    }
}

/// Three greens are wanted and one is owned: the leaf gets it, rather than a far color for the sake of the steps.
#[test]
fn steps_are_given_up_where_the_pens_would_make_them_another_color() {
    let mut job = few();
    job.coats = 1;
    let plan = made(&job).plan;
    let green: Vec<_> = plan
        .bands
        .iter()
        .filter(|b| b.name.starts_with("green"))
        .collect();
    assert_eq!(green.len(), 1);
    assert_eq!(green[0].pen.as_deref(), Some("Spring Pea"));
    assert!(
        plan.warnings
            .iter()
            .any(|w| w.starts_with("Too few pens for the steps of the green parts")),
        "{:?}",
        plan.warnings
    );
}

/// Rules of the offer, recomputed from the plan: one coat of no pen comes within the gain asked for, unless that pen
/// is taken, or would turn the photo's order of lightness upside down.
#[test]
fn a_coat_more_is_only_asked_for_where_it_is_clearly_better() {
    let plan = made(&few()).plan;
    let pens = penstrata::input::read_pens(&plan.job.pens).unwrap();
    let used = |name: &str| plan.bands.iter().any(|b| b.pen.as_deref() == Some(name));
    let color = |b: usize| {
        plan.numbers
            .iter()
            .find(|n| n.bands.contains(&b))
            .map(|n| n.color.lab())
    };
    for band in plan.bands.iter().filter(|b| b.under.is_some()) {
        let lab = penstrata::color::Lab::new(band.lab[0], band.lab[1], band.lab[2]);
        let keeps_order = |l: f32| {
            (0..plan.bands.len())
                .filter_map(|b| Some((lab.l - plan.bands[b].lab[0], color(b)?)))
                .all(|(photo, other)| photo.abs() < 3.0 || photo.signum() == (l - other.l).signum())
        };
        for pen in pens
            .iter()
            .filter(|p| !used(&p.name) && keeps_order(p.color.lab().l))
        {
            assert!(
                difference(lab, pen.color.lab()) > band.delta_e + 3.0,
                "{} for {}",
                pen.name,
                band.name
            );
        }
    }
    // With all the demo's pens there is nothing to gain.
    let all =
        made(&penstrata::input::read_job(&common::root().join("demo/job.toml")).unwrap()).plan;
    assert!(layered(&all).is_empty(), "{:?}", layered(&all));
}

#[test]
fn measured_second_coats_are_taken_as_measured() {
    let dir = tempfile::tempdir().unwrap();
    let photo = dir.path().join("photo.png");
    // One hue, from light to dark.
    image::RgbImage::from_fn(200, 150, |x, _| {
        let mixed = |light: u32, dark: u32| ((light * (199 - x) + dark * x) / 199) as u8;
        image::Rgb([mixed(240, 150), mixed(165, 80), mixed(105, 33)])
    })
    .save(&photo)
    .unwrap();
    let mut job = common::job(&photo, dir.path());
    job.bands = 2;
    job.pens = dir.path().join("pens.csv");
    let table = "name,color,refill,condition,two_coats\nOnly One,#e6965a,yes,good,#a55f2d\n";
    std::fs::write(&job.pens, table).unwrap();
    let plan = made(&job).plan;
    assert_eq!(layered(&plan), [("Only One", "Only One")]);
    let [first, second] = &plan.numbers[..] else {
        panic!("{:?}", plan.numbers)
    };
    assert_eq!((first.number, second.number), (1, 2));
    assert_eq!((first.under.as_slice(), second.over), (&[2][..], Some(1)));
    assert_eq!(second.color, Srgb8::new(0xa5, 0x5f, 0x2d));
    assert!((first.area_mm2 - 2.0 * second.area_mm2).abs() < 0.1 * first.area_mm2);
    // The first coat goes over everything, rests, and the second begins.
    let turns = &plan.schedule.turns;
    assert_eq!(turns[0].sections.len(), 2);
    assert_eq!(turns[1].start_s, turns[0].work_s + plan.schedule.rest_s);
    assert!(!plan.warnings.iter().any(|w| w.contains("estimate")));
    assert_eq!(
        plan.coat_text(first).as_deref(),
        Some("also first coat of 2")
    );
    assert_eq!(plan.coat_text(second).as_deref(), Some("second coat"));
    let ink: Vec<_> = plan.ink_used().iter().map(|i| i.coats).collect();
    assert_eq!(ink, [1, 2]);
}

#[test]
fn two_coats_can_be_wished_for_and_are_on_every_sheet() {
    let dir = tempfile::tempdir().unwrap();
    let mut job = penstrata::input::read_job(&common::root().join("demo/job.toml")).unwrap();
    let darkest = common::nth_band(&made(&job).plan, "orange", 4);
    let pin = |under: &str| PinnedPen {
        under: Some(under.into()),
        ..PinnedPen::for_band(&darkest, "Apricot Jam")
    };
    job.pinned = vec![pin("Pebble")];
    job.out = dir.path().join("plan");
    let toml = toml::to_string(&job).unwrap();
    assert_eq!(toml::from_str::<Job>(&toml).unwrap(), job);
    let made = made(&job);
    assert_eq!(layered(&made.plan), [("Pebble", "Apricot Jam")]);
    let number = made.plan.numbers.iter().find(|n| n.over.is_some()).unwrap();
    let said = made.plan.coat_text(number).unwrap();
    let under = made.plan.number(number.over.unwrap()).unwrap();
    let name = &under.pen.as_ref().unwrap().name;
    assert_eq!(said, format!("second coat, over {name}"));
    // By the law of Beer and Lambert, worked by hand: linear 0.309 (#979aa0, red) times 0.905 (#f4b875) is 0.280, which
    // is 144 of 255 in sRGB (IEC 61966-2-1).
    assert_eq!(number.color.0[0], 144, "{}", number.color);
    let files = penstrata::sheets::render_all(&made, false).unwrap();
    for name in ["overlay.svg", "guide.html"] {
        let (_, bytes) = files.iter().find(|f| f.0 == name).unwrap();
        assert!(
            String::from_utf8_lossy(bytes).contains("second coat"),
            "{name}"
        );
    }
    if common::has("pdftotext") {
        let key = dir.path().join("key.pdf");
        let (_, bytes) = files.iter().find(|f| f.0 == "key.pdf").unwrap();
        std::fs::write(&key, bytes).unwrap();
        let run = std::process::Command::new("pdftotext")
            .args(["-layout", key.to_str().unwrap(), "-"])
            .output()
            .unwrap();
        let text = String::from_utf8_lossy(&run.stdout).into_owned();
        for words in ["2nd", "both coats", "Apricot Jam, second coat, over Pebble"] {
            assert!(text.contains(words), "{words}: {text}");
        }
    }
    job.pinned = vec![pin("Old Ink Well")];
    let refused = make_plan(&job, &|_| {}).err().expect("refused").to_string();
    assert!(refused.contains("is dry"), "{refused}");
    job.pinned = vec![pin("No Such Pen")];
    let refused = make_plan(&job, &|_| {}).err().expect("refused").to_string();
    assert!(refused.contains("No Such Pen"), "{refused}");
    job.pinned.clear();
    job.coats = 3;
    let refused = make_plan(&job, &|_| {}).err().expect("refused").to_string();
    assert!(refused.contains("expected 1 or 2"), "{refused}");
}
