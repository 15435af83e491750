//! What a person wishes of the choice of pens, and what the plan says of it.

mod common;

use penstrata::Made;
use penstrata::input::make_plan;
use penstrata::job::{Job, PinnedPen};

fn demo() -> Job {
    penstrata::input::read_job(&common::root().join("demo/job.toml")).unwrap()
}

fn made(job: &Job) -> Made {
    make_plan(job, &|_| {}).unwrap_or_else(|e| panic!("{e}"))
}

fn refused(job: &Job) -> String {
    make_plan(job, &|_| {}).err().expect("refused").to_string()
}

/// The n-th orange band of the demo.
fn orange(n: usize) -> String {
    static PLAN: std::sync::OnceLock<penstrata::plan::Plan> = std::sync::OnceLock::new();
    common::nth_band(PLAN.get_or_init(|| made(&demo()).plan), "orange", n)
}

fn pen_of(made: &Made, band: &str) -> Option<String> {
    made.plan
        .bands
        .iter()
        .find(|b| b.name == band)
        .unwrap()
        .pen
        .clone()
}

#[test]
fn every_band_has_a_name_and_says_why_it_has_its_pen() {
    let made = made(&demo());
    let mut names: Vec<&str> = made.plan.bands.iter().map(|b| b.name.as_str()).collect();
    assert!(
        made.plan
            .bands
            .iter()
            .all(|b| !b.why.is_empty() && !b.why.contains('\n'))
    );
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), made.plan.bands.len());
}

#[test]
fn a_pinned_pen_is_used_and_read_from_a_job_file() {
    let mut job = demo();
    job.pinned = vec![PinnedPen::for_band(orange(2), "Copper Kettle")];
    let first = made(&job);
    assert_eq!(pen_of(&first, &orange(2)).as_deref(), Some("Copper Kettle"));
    assert!(
        first
            .plan
            .bands
            .iter()
            .any(|b| b.why == "wished in the job")
    );
    // It stands in plan.json, and reads back.
    let toml = toml::to_string(&job).unwrap();
    assert!(toml.contains("[[pen]]"), "{toml}");
    assert_eq!(toml::from_str::<Job>(&toml).unwrap(), job);

    job.pinned[0].band = Some("orange 9".into());
    // It may have been there with another detail: the plan is made without it, and says so.
    let without = made(&job).plan;
    let told = |w: &String| w.contains("orange 9") && w.contains(&orange(1));
    assert!(without.warnings.iter().any(told), "{:?}", without.warnings);
    job.pinned.clear();
    assert_eq!(without.bands, made(&job).plan.bands);
    job.pinned = vec![PinnedPen::for_band("orange 9", "Copper Kettle")];
    job.pinned[0] = PinnedPen::for_band(orange(2), "No Such Pen");
    assert!(refused(&job).contains("No Such Pen"));
    job.pinned[0].name = "Old Ink Well".into();
    assert!(refused(&job).contains("is dry"));
    job.pinned[0].name = "Copper Kettle".into();
    job.forbid = vec!["Copper Kettle".into()];
    assert!(refused(&job).contains("both forbidden"));
}

#[test]
fn of_wishes_for_bands_that_are_one_with_fewer_tones_the_last_holds_and_the_other_is_told() {
    let mut job = demo();
    job.bands = 1;
    let band = common::nth_band(&made(&job).plan, "orange", 1);
    let lightness: f32 = band.rsplit(' ').next().unwrap().parse().unwrap();
    let near = |by: f32| band.replace(&lightness.to_string(), &(lightness + by).to_string());
    let wish = |by: f32, pen: &str| PinnedPen::for_band(near(by), pen);
    let told = |job: &Job| {
        let plan = made(job).plan;
        let found = plan.bands.iter().find(|b| b.name == band).unwrap();
        let told = plan.warnings.iter().any(|w| w.contains("is one with"));
        (found.pen.clone().unwrap(), told)
    };
    job.pinned = vec![wish(4.0, "Paprika"), wish(-4.0, "Copper Kettle")];
    assert_eq!(told(&job), ("Copper Kettle".to_owned(), true));
    // What is called by the very name goes before.
    job.pinned.insert(0, wish(0.0, "Paprika"));
    assert_eq!(told(&job), ("Paprika".to_owned(), true));
    job.pinned = vec![wish(0.0, "Paprika"), wish(0.0, "Copper Kettle")];
    assert!(refused(&job).contains("has another pen already"));
    job.pinned = vec![wish(4.0, "Paprika"), wish(0.0, "Paprika")];
    assert_eq!(told(&job), ("Paprika".to_owned(), false));
}

#[test]
fn a_pen_is_pinned_by_a_flag_which_wins_over_the_job_file() {
    let dir = tempfile::tempdir().unwrap();
    let mut job = demo();
    job.rebase(|p| std::path::absolute(p).unwrap());
    job.out = dir.path().join("plan");
    job.pinned = vec![PinnedPen::for_band(orange(2), "Paprika")];
    let file = dir.path().join("job.toml");
    std::fs::write(&file, toml::to_string(&job).unwrap()).unwrap();
    let file = file.to_str().unwrap();
    let pen = &format!("{} = Copper Kettle", orange(2));
    let run = common::penstrata(&["plan", file, "--pen", pen]);
    let said = String::from_utf8_lossy(&run.stdout);
    assert!(run.status.success(), "{run:?}");
    assert!(
        said.contains(&format!("{}: Copper Kettle", orange(2)))
            && said.contains("wished in the job"),
        "{said}"
    );
    let run = common::penstrata(&["plan", file, "--pen", "Copper Kettle"]);
    assert!(String::from_utf8_lossy(&run.stderr).contains("orange 65=Copper Kettle"));
}

#[test]
fn a_forbidden_pen_is_not_used_and_the_next_says_so() {
    let mut job = demo();
    // One band, so that the pens that are left cannot ask for another number of them.
    job.bands = 1;
    let first = made(&job);
    let band = common::nth_band(&first.plan, "orange", 1);
    let pen = pen_of(&first, &band).unwrap();
    job.forbid = vec![pen.clone()];
    let made = made(&job);
    assert!(made.plan.bands.iter().all(|b| b.pen.as_ref() != Some(&pen)));
    let found = made.plan.bands.iter().find(|b| b.name == band);
    let why = &found.unwrap().why;
    assert!(why.contains("forbidden"), "{why}");
}

#[test]
fn a_limit_of_pens_is_kept_and_costs_as_little_as_it_can() {
    let mut job = demo();
    let free = made(&job);
    let pens = |m: &Made| {
        let names = m.plan.numbers.iter().filter_map(|n| n.pen.as_ref());
        let names: std::collections::BTreeSet<_> = names.map(|p| &p.name).collect();
        names.len()
    };
    for most in [8, 5, 3, 1] {
        job.most_pens = Some(most);
        let m = made(&job);
        assert!(pens(&m) <= most, "{} pens for {most}", pens(&m));
        assert!(pens(&m) > most / 2);
        assert!(m.plan.figures.mean_delta_e >= free.plan.figures.mean_delta_e - 0.2);
    }
    job.most_pens = Some(0);
    assert!(refused(&job).contains("most_pens"));
}

#[test]
fn a_pen_without_refill_gets_no_large_area_another_could_color() {
    let dir = tempfile::tempdir().unwrap();
    let photo = dir.path().join("flat.png");
    image::RgbImage::from_pixel(200, 150, image::Rgb([200, 80, 60]))
        .save(&photo)
        .unwrap();
    let pens = dir.path().join("pens.csv");
    std::fs::write(
        &pens,
        "name,color,refill,condition\nExact,#c8503c,no,good\nNear,#c2553f,yes,good\n",
    )
    .unwrap();
    let mut job = common::job(&photo, dir.path());
    job.pens = pens;
    // 110 x 82 mm are 91 square centimeters.
    let m = made(&job);
    assert_eq!(m.plan.bands[0].pen.as_deref(), Some("Near"));
    assert!(
        m.plan.bands[0].why.contains("no refill"),
        "{}",
        m.plan.bands[0].why
    );
    job.no_refill_cm2 = 500.0;
    job.width = Some("20mm".parse().unwrap());
    assert_eq!(made(&job).plan.bands[0].pen.as_deref(), Some("Exact"));
}

#[test]
fn pens_for_the_outside_are_ranked_by_how_well_the_subject_stands_out() {
    use penstrata::job::Background;
    let mut job = demo();
    job.background = Background::Auto;
    let m = made(&job);
    let backdrops = &m.plan.backdrops;
    assert_eq!(backdrops.len(), 3);
    assert!(backdrops.windows(2).all(|b| b[0].score >= b[1].score));
    // A forbidden pen is none for the outside, either.
    job.forbid = vec![backdrops[0].pen.clone()];
    let without = made(&job).plan.backdrops;
    assert!(without.iter().all(|b| b.pen != backdrops[0].pen));
    job.forbid.clear();
    // The plan itself is the one without: the outside stays bare.
    job.background = Background::Bare;
    let bare = made(&job);
    assert_eq!(bare.plan.sections, m.plan.sections);
    assert!(bare.plan.backdrops.is_empty());
    // Recomputed on the section map: no pen of the box keeps farther from what lies along the outside than the first
    // by more than what refill and weakest place are worth.
    let files = penstrata::sheets::render_all(&m, false).unwrap();
    let picture = &files.iter().find(|f| f.0 == "backgrounds.png").unwrap().1;
    let picture = image::load_from_memory(picture).unwrap().into_rgb8();
    let third = picture.width() / 3;
    for (i, b) in backdrops.iter().enumerate() {
        // A corner of the panel lies outside the subject.
        assert_eq!(
            picture.get_pixel(i as u32 * third + 12 * i as u32 + 8, 8).0,
            b.color.0,
            "{}",
            b.pen
        );
    }
    // In a job file it is written as true, false or "auto".
    for (text, expected) in [
        ("true", Background::Photo),
        ("false", Background::Bare),
        ("\"auto\"", Background::Auto),
    ] {
        let toml = format!(
            "reference = \"a\"\npens = \"b\"\nout = \"c\"\nwidth = \"110mm\"\nbackground = {text}\n"
        );
        let read: Job = toml::from_str(&toml).unwrap();
        assert_eq!(read.background, expected);
        assert_eq!(
            toml::from_str::<Job>(&toml::to_string(&read).unwrap()).unwrap(),
            read
        );
    }
    let wrong = "reference = \"a\"\npens = \"b\"\nout = \"c\"\nbackground = \"blue\"\n";
    assert!(
        toml::from_str::<Job>(wrong)
            .unwrap_err()
            .to_string()
            .contains("background is true, false")
    );
}

#[test]
fn a_dark_thing_gets_a_light_backdrop_and_a_light_one_a_dark() {
    use penstrata::job::Background;
    let dir = tempfile::tempdir().unwrap();
    let (photo, art) = (dir.path().join("p.png"), dir.path().join("a.svg"));
    let pens = dir.path().join("pens.csv");
    std::fs::write(&pens, "name,color,refill,condition\nPale,#e8e4da,yes,good\nMiddle,#8a8f94,yes,good\nDeep,#23262b,yes,good\nThing A,#3a2a30,yes,good\nThing B,#efe6d0,yes,good\n").unwrap();
    std::fs::write(&art, "<svg xmlns='http://www.w3.org/2000/svg' width='60' height='60'><circle cx='30' cy='30' r='18' fill='none' stroke='#000'/></svg>").unwrap();
    for (gray, first) in [(45u8, "Pale"), (215, "Deep")] {
        image::RgbImage::from_pixel(60, 60, image::Rgb([gray; 3]))
            .save(&photo)
            .unwrap();
        let mut job = common::job(&photo, dir.path());
        job.pens = pens.clone();
        job.art = Some(art.clone());
        job.width = Some("60mm".parse().unwrap());
        // All that this photo shows is the thing: its gray is no paper in weak light.
        job.white = penstrata::job::White::None;
        job.background = Background::Auto;
        let m = made(&job);
        assert!(
            m.plan.backdrops[0].pen == first || m.plan.backdrops[0].pen.starts_with("Thing"),
            "{:?}",
            m.plan.backdrops
        );
        assert!(m.plan.backdrops[0].lightness > 40.0);
    }
}

/// A pale ring around a dark one around nothing: only the pale one is seen before the outside.
#[test]
fn the_edge_of_a_hole_is_no_silhouette() {
    use penstrata::job::Background;
    let dir = tempfile::tempdir().unwrap();
    let circle = |x: u32, r: u32| format!("<circle cx='{x}' cy='50' r='{r}'/>");
    let svg = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='100mm' height='100mm' viewBox='0 0 100 100'>\
         <g fill='none' stroke='#000' stroke-width='0.6'>{}{}{}</g></svg>",
        circle(50, 44),
        circle(62, 20),
        circle(62, 12)
    );
    std::fs::write(dir.path().join("rings.svg"), svg).unwrap();
    let text = "pens = \"pens.csv\"\nout = \"plan\"\nart = \"rings.svg\"\nwidth = \"100mm\"\n\
                [[part]]\ncells = [[15, 50]]\ncolor = \"#f4ecd0\"\nroundness = 0\n\
                [[part]]\ncells = [[46, 50]]\ncolor = \"#151515\"\nroundness = 0\n";
    let mut job = Job::parse(std::path::Path::new("job.toml"), text).unwrap();
    job.rebase(|p| dir.path().join(p));
    job.pens = common::pens();
    job.bare_cells = vec![[62.0, 50.0]];
    job.background = Background::Auto;
    let plan = made(&job).plan;
    let used = plan.numbers.iter().filter(|n| n.sections > 0);
    let pale = used.map(|n| n.color.lab().l).fold(0.0, f32::max);
    for b in &plan.backdrops {
        let apart = f64::from((pale - b.color.lab().l).abs());
        assert!(
            (b.lightness - apart).abs() < 0.2,
            "{}: {} {apart}",
            b.pen,
            b.lightness
        );
    }
    assert_eq!(plan.backdrops.len(), 3);
}

#[test]
fn a_section_is_colored_as_another_and_the_pens_stay() {
    let mut job = demo();
    let before = made(&job).plan;
    // The darkest part of the persimmon goes to its neighbor in the same cell.
    let largest = |band: &str| {
        let b = before.bands.iter().position(|b| b.name == band).unwrap();
        before
            .sections
            .iter()
            .filter(|s| s.band == b)
            .max_by(|s, t| s.area_mm2.total_cmp(&t.area_mm2))
            .unwrap()
    };
    let (middle, dark) = (largest(&orange(3)), largest(&orange(4)));
    job.merge = vec![vec![middle.inside_mm, dark.inside_mm]];
    let merged = made(&job);
    common::promises::check(&merged);
    let plan = &merged.plan;
    assert_eq!(plan.sections.len(), before.sections.len() - 1);
    assert_eq!(pen_of(&merged, &orange(3)), middle.pen);
    let together = middle.area_mm2 + dark.area_mm2;
    assert!(
        plan.sections
            .iter()
            .any(|s| (s.area_mm2 - together).abs() < 0.05 * together)
    );
    assert!(plan.figures.trace_mm < before.figures.trace_mm - 20.0);
    // It is an entry of the job, in a file and by flags.
    let toml = toml::to_string(&job).unwrap();
    assert_eq!(toml::from_str::<Job>(&toml).unwrap(), job);
    job.merge = vec![vec![middle.inside_mm, [0.5, 0.5]]];
    assert!(refused(&job).contains("merge lies in no section"));
    job.merge = vec![vec![middle.inside_mm]];
    assert!(refused(&job).contains("two or more points"));
}

#[test]
fn a_note_recommends_no_forbidden_pen() {
    let dir = tempfile::tempdir().unwrap();
    let photo = dir.path().join("flat.png");
    image::RgbImage::from_pixel(200, 150, image::Rgb([200, 80, 60]))
        .save(&photo)
        .unwrap();
    let pens = dir.path().join("pens.csv");
    let table = "name,color,refill,condition\nExact,#c8503c,yes,good\nAmber,#d08c28,yes,good\n";
    std::fs::write(&pens, table).unwrap();
    let mut job = common::job(&photo, dir.path());
    job.pens = pens;
    job.forbid = vec!["Exact".into()];
    let plan = made(&job).plan;
    assert_eq!(plan.bands[0].pen.as_deref(), Some("Amber"));
    let notes = plan.warnings.join(" ");
    assert!(notes.contains("runs away"), "{notes}");
    assert!(!notes.contains("Exact"), "{notes}");
}

#[test]
fn a_cut_out_says_that_it_has_no_background_to_color_as() {
    use penstrata::job::Background;
    let dir = tempfile::tempdir().unwrap();
    let (photo, art) = (dir.path().join("p.png"), dir.path().join("a.svg"));
    std::fs::write(&art, "<svg xmlns='http://www.w3.org/2000/svg' width='60' height='60'><circle cx='30' cy='30' r='18' fill='none' stroke='#000'/></svg>").unwrap();
    for (around, told) in [(0u8, true), (255, false)] {
        image::RgbaImage::from_fn(120, 120, |x, y| {
            match (f64::from(x) - 59.5).hypot(f64::from(y) - 59.5) < 36.0 {
                true => image::Rgba([180, 60, 50, 255]),
                false => image::Rgba([90, 130, 180, around]),
            }
        })
        .save(&photo)
        .unwrap();
        let mut job = common::job(&photo, dir.path());
        job.art = Some(art.clone());
        job.width = Some("60mm".parse().unwrap());
        job.background = Background::Photo;
        let warnings = made(&job).plan.warnings;
        assert_eq!(
            warnings.iter().any(|w| w.contains("cut out")),
            told,
            "{warnings:?}"
        );
    }
}

/// A pen for what lies outside: one section of it in that pen, the subject as it was; the plan's file can be read again.
#[test]
fn the_background_gets_a_pen_by_name() {
    use penstrata::job::Background;
    let mut job = penstrata::input::read_job(&common::root().join("demo/job.toml")).unwrap();
    let bare = make_plan(&job, &|_| ()).unwrap().plan;
    for (text, coats) in [("Sky Wash", None), ("Sky Wash x2", Some("Sky Wash"))] {
        job.background = text.parse().unwrap();
        let plan = make_plan(&job, &|_| ()).unwrap().plan;
        let outside: Vec<_> = plan
            .sections
            .iter()
            .filter(|s| s.pen.as_deref() == Some("Sky Wash"))
            .collect();
        assert_eq!(outside.len(), 1, "{text}");
        let own: f64 = bare.sections.iter().map(|s| s.area_mm2).sum();
        let all: f64 = plan.sections.iter().map(|s| s.area_mm2).sum();
        assert!(
            (all - outside[0].area_mm2 - own).abs() < 0.01 * own,
            "{text}"
        );
        // What is around it has no say in the subject's colors.
        let pens = |plan: &penstrata::plan::Plan| -> Vec<Option<String>> {
            plan.bands.iter().map(|band| band.pen.clone()).collect()
        };
        assert!(pens(&plan).starts_with(&pens(&bare)), "{text}");
        let number = plan.number(outside[0].number).unwrap();
        let under = number.over.and_then(|n| plan.number(n)?.pen.as_ref());
        assert_eq!(under.map(|p| p.name.as_str()), coats, "{text}");
        let again = serde_json::to_string(&plan.job).unwrap();
        let again: penstrata::job::Job = serde_json::from_str(&again).unwrap();
        assert_eq!(again.background, job.background);
    }
    job.background = "No Such Pen".parse().unwrap();
    let error = make_plan(&job, &|_| ()).err().unwrap().to_string();
    assert!(error.contains("No Such Pen"), "{error}");
    assert!("".parse::<Background>().is_err());
}
