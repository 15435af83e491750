//! What a person changes by hand: cuts, merged sections, pens and bare paper for single sections.

mod common;

use std::path::Path;

use kurbo::{BezPath, ParamCurve, ParamCurveNearest, PathSeg, Point};
use penstrata::Made;
use penstrata::borders::Origin;
use penstrata::input::make_plan;
use penstrata::job::{CutEntry, Job, PinnedPen};

fn made(job: &Job) -> Made {
    make_plan(job, &|_| {}).unwrap_or_else(|e| panic!("{e}"))
}

fn refused(job: &Job) -> String {
    make_plan(job, &|_| {}).err().expect("refused").to_string()
}

fn demo() -> Job {
    penstrata::input::read_job(&common::root().join("demo/job.toml")).unwrap()
}

fn cut(line: &[[f64; 2]]) -> CutEntry {
    CutEntry {
        line: line.to_vec(),
    }
}

/// Radius of the disk inside the drawn circle, in millimeters; its center is (30, 30).
const RADIUS: f64 = 20.0;

/// A circle drawn around one flat color.
fn disk(folder: &Path) -> Job {
    let (photo, art) = (folder.join("p.png"), folder.join("a.svg"));
    image::RgbImage::from_pixel(60, 60, image::Rgb([200, 80, 60]))
        .save(&photo)
        .unwrap();
    let circle = "<svg xmlns='http://www.w3.org/2000/svg' width='60' height='60'>\
                  <circle cx='30' cy='30' r='20.25' fill='none' stroke='#000' stroke-width='.5'/></svg>";
    std::fs::write(&art, circle).unwrap();
    let mut job = common::job(&photo, folder);
    job.art = Some(art);
    job.width = Some("60mm".parse().unwrap());
    // One tone: a large thing in flat light would get a light and a dark side.
    job.bands = 1;
    job
}

/// The curves along the borders that a hand drew.
fn by_hand(made: &Made) -> impl Iterator<Item = PathSeg> {
    let arcs = made.outlines.arcs.iter();
    let by_hand = arcs.filter(|a| a.origin == Origin::Hand);
    by_hand.flat_map(|a| a.path.segments())
}

/// Points along these curves, eleven on each.
fn drawn_by_hand(made: &Made) -> Vec<Point> {
    by_hand(made)
        .flat_map(|segment| (0..=10).map(move |k| segment.eval(f64::from(k) / 10.0)))
        .collect()
}

fn line_of(points: &[[f64; 2]]) -> BezPath {
    let mut path = BezPath::new();
    path.move_to((points[0][0], points[0][1]));
    for p in &points[1..] {
        path.line_to((p[0], p[1]));
    }
    path
}

fn distance(path: &BezPath, point: Point) -> f64 {
    let near = path.segments().map(|s| s.nearest(point, 1e-4).distance_sq);
    near.fold(f64::INFINITY, f64::min).sqrt()
}

/// The area of a circular segment, R² / 2 (t - sin t), and the length of its chord, 2 sqrt(R² - d²) (Bronshtein and
/// Semendyayev, Handbook of Mathematics, plane geometry).
#[test]
fn a_chord_cuts_a_disk_into_the_segments_of_the_handbook() {
    let dir = tempfile::tempdir().unwrap();
    let mut job = disk(dir.path());
    let whole = made(&job).plan;
    assert_eq!(whole.sections.len(), 1);
    for d in [0.0f64, 6.0, 14.0] {
        job.cuts = vec![cut(&[[5.0, 30.0 + d], [55.0, 30.0 + d]])];
        let m = made(&job);
        common::promises::check(&m);
        let t = 2.0 * (d / RADIUS).acos();
        let smaller = RADIUS * RADIUS / 2.0 * (t - t.sin());
        let all = std::f64::consts::PI * RADIUS * RADIUS;
        let [a, b] = &m.plan.sections[..] else {
            panic!("{} sections", m.plan.sections.len())
        };
        assert!(
            (a.area_mm2 - (all - smaller)).abs() < 0.01 * all,
            "{}",
            a.area_mm2
        );
        assert!((b.area_mm2 - smaller).abs() < 0.01 * all, "{}", b.area_mm2);
        // Both keep the band, the pen and the number, and touch along what has to be traced now.
        assert_eq!((a.band, &a.pen, a.number), (b.band, &b.pen, b.number));
        assert_eq!(m.outlines.touching(), [(1, 2)]);
        let chord = 2.0 * (RADIUS * RADIUS - d * d).sqrt();
        assert!(
            (m.plan.figures.trace_mm - chord).abs() < 0.5,
            "{}",
            m.plan.figures.trace_mm
        );
        let lengths: f64 = drawn_by_hand(&m)
            .windows(2)
            .map(|p| p[0].distance(p[1]))
            .sum();
        assert!((lengths - chord).abs() < 1.2, "{lengths} {chord}");
    }
}

#[test]
fn a_border_stays_as_the_hand_drew_it() {
    let dir = tempfile::tempdir().unwrap();
    let mut job = disk(dir.path());
    let wave: Vec<[f64; 2]> = (0..=80)
        .map(|k| f64::from(k) / 2.0)
        .map(|x| [10.0 + x, 30.0 + 4.0 * (x / 3.0).sin()])
        .collect();
    let corners = [
        [9.0, 25.0],
        [25.0, 25.0],
        [25.0, 36.0],
        [33.0, 24.0],
        [52.0, 31.5],
    ]
    .to_vec();
    for line in [wave, corners] {
        job.cuts = vec![cut(&line)];
        let m = made(&job);
        assert_eq!(m.plan.sections.len(), 2);
        let drawn = line_of(&line);
        let border = drawn_by_hand(&m);
        for &p in &border {
            let inside = p.distance(Point::new(30.0, 30.0)) < RADIUS - 0.3;
            let off = distance(&drawn, p);
            assert!(!inside || off <= 0.3, "{off} at {p:?}");
        }
        // And none of the line is left out.
        for segment in drawn.segments() {
            for k in 0..=20 {
                let p = segment.eval(f64::from(k) / 20.0);
                let inside = p.distance(Point::new(30.0, 30.0)) < RADIUS - 0.3;
                // To the curves themselves: points of long ones lie far apart.
                let near = by_hand(&m)
                    .map(|curve| curve.nearest(p, 1e-6).distance_sq)
                    .fold(f64::INFINITY, f64::min)
                    .sqrt();
                assert!(!inside || near <= 0.3, "{near} at {p:?}");
            }
        }
    }
}

#[test]
fn one_side_of_a_cut_takes_another_band_and_the_rest_stays() {
    let mut job = demo();
    let before = made(&job);
    // The largest section with a pen, cut in two through its roomiest place.
    let largest = before
        .plan
        .sections
        .iter()
        .filter(|s| s.pen.is_some())
        .max_by(|a, b| a.area_mm2.total_cmp(&b.area_mm2))
        .unwrap();
    let [x, y] = largest.inside_mm;
    let neighbor = before
        .outlines
        .touching()
        .into_iter()
        .filter_map(|(a, b)| match (a == largest.id, b == largest.id) {
            (true, _) => Some(b),
            (_, true) => Some(a),
            _ => None,
        })
        .map(|id| &before.plan.sections[usize::from(id) - 1])
        .find(|s| s.pen.is_some())
        .unwrap();
    job.cuts = vec![cut(&[[x, y - 60.0], [x, y + 60.0]])];
    let halves = made(&job);
    common::promises::check(&halves);
    let side = |dx: f64| {
        let at = |s: &&penstrata::plan::Section| {
            s.band == largest.band && {
                let id = halves.sections.at([x + dx, y], 0.1).map(|s| s.id);
                id == Some(s.id)
            }
        };
        halves.plan.sections.iter().find(at).unwrap()
    };
    let (left, right) = (side(-0.5), side(0.5));
    assert_ne!(left.id, right.id);
    assert_eq!(left.number, right.number);
    assert_eq!(
        halves.plan.bands, before.plan.bands,
        "a cut changes no band"
    );

    job.merge = vec![vec![neighbor.inside_mm, left.inside_mm]];
    let merged = made(&job);
    common::promises::check(&merged);
    let id = |p: [f64; 2]| merged.sections.at(p, 0.1).unwrap();
    let (one, other) = (id([x - 0.5, y]), id([x + 0.5, y]));
    assert_ne!(one.id, other.id);
    assert_eq!(
        (
            merged.plan.sections[usize::from(one.id) - 1].number,
            &merged.plan.sections[usize::from(one.id) - 1].pen
        ),
        {
            let n = &merged.plan.sections[usize::from(id(neighbor.inside_mm).id) - 1];
            (n.number, &n.pen)
        }
    );
    // The border between them is still the hand's, and ink rests on one side before the other is colored.
    let pair = (one.id.min(other.id), one.id.max(other.id));
    let by_hand = |a: &&penstrata::borders::Arc| a.origin == Origin::Hand;
    assert!(
        merged
            .outlines
            .arcs
            .iter()
            .filter(by_hand)
            .any(|a| (a.left.min(a.right), a.left.max(a.right)) == pair)
    );
    assert!(merged.outlines.touching().contains(&pair));
    let turns = &merged.plan.schedule.turns;
    let turn = |id: u16| turns.iter().find(|t| t.sections.contains(&id)).unwrap();
    let [mut a, mut b] = [turn(one.id), turn(other.id)];
    if a.start_s > b.start_s {
        (a, b) = (b, a);
    }
    assert!(b.start_s >= a.start_s + a.work_s + merged.plan.schedule.rest_s);
}

#[test]
fn a_cut_is_an_entry_of_the_job_and_a_flag() {
    let dir = tempfile::tempdir().unwrap();
    let mut job = disk(dir.path());
    job.cuts = vec![cut(&[[5.0, 30.0], [55.0, 31.5]])];
    let toml = toml::to_string(&job).unwrap();
    assert!(toml.contains("[[cut]]"), "{toml}");
    assert_eq!(toml::from_str::<Job>(&toml).unwrap(), job);
    for (line, said) in [
        (vec![[5.0, 30.0]], "two or more points"),
        (vec![[5.0, 30.0], [f64::NAN, 3.0]], "two or more points"),
        (
            vec![[28.0, 30.0], [32.0, 30.0]],
            "[28, 30] to [32, 30] parts no section",
        ),
        (vec![[1.0, 1.0], [1.0, 5.0]], "parts no section"),
    ] {
        job.cuts = vec![CutEntry { line }];
        let error = refused(&job);
        assert!(error.contains(said), "{error}");
    }
    job.cuts.clear();
    let file = dir.path().join("job.toml");
    std::fs::write(&file, toml::to_string(&job).unwrap()).unwrap();
    let run = |line: &str| common::penstrata(&["plan", file.to_str().unwrap(), "--cut", line]);
    let done = run("5,30 30,29 55,30");
    assert!(done.status.success(), "{done:?}");
    assert!(String::from_utf8_lossy(&done.stdout).contains("2 sections"));
    let wrong = run("5;30 55,30");
    assert!(String::from_utf8_lossy(&wrong.stderr).contains("is not a point"));
}

#[test]
fn one_section_has_a_pen_of_its_own_and_its_band_keeps_the_other() {
    let mut job = demo();
    let before = made(&job).plan;
    // A band of several sections, and a pen that is used nowhere.
    let band = (0..before.bands.len())
        .find(|&b| {
            before
                .sections
                .iter()
                .filter(|s| s.band == b && s.number > 0)
                .count()
                > 1
        })
        .unwrap();
    let section = before.sections.iter().find(|s| s.band == band).unwrap();
    let pen = "Denim";
    assert!(
        before
            .numbers
            .iter()
            .all(|n| n.pen.as_ref().is_none_or(|p| p.name != pen))
    );
    job.pinned = vec![PinnedPen::for_section(section.inside_mm, pen)];
    let toml = toml::to_string(&job).unwrap();
    assert_eq!(toml::from_str::<Job>(&toml).unwrap(), job);
    let m = made(&job);
    common::promises::check(&m);
    for (was, is) in before.sections.iter().zip(&m.plan.sections) {
        assert_eq!(
            (was.id, was.band, was.area_mm2),
            (is.id, is.band, is.area_mm2)
        );
        if was.id == section.id {
            assert_eq!(is.pen.as_deref(), Some(pen));
            assert!(is.by_hand);
        } else {
            assert_eq!(was.pen, is.pen);
        }
    }
    assert!(
        before
            .bands
            .iter()
            .zip(&m.plan.bands)
            .all(|(a, b)| a.pen == b.pen && a.why == b.why)
    );
    let own = m
        .plan
        .numbers
        .iter()
        .find(|n| n.pen.as_ref().is_some_and(|p| p.name == pen))
        .unwrap();
    assert_eq!(
        (own.sections, own.area_mm2, own.bands.len()),
        (1, section.area_mm2, 0)
    );
    let last = m.plan.bands[band].area_mm2 + section.area_mm2;
    assert!((last - before.bands[band].area_mm2).abs() < 0.02);

    // The pen of another band: they are colored in one pass.
    let other = before
        .sections
        .iter()
        .find(|s| s.number > 0 && s.band != band)
        .unwrap();
    job.pinned = vec![
        PinnedPen::for_section(section.inside_mm, pen),
        // Of two wishes for one section the last stands.
        PinnedPen::for_section(section.inside_mm, other.pen.clone().unwrap()),
    ];
    let shared = made(&job).plan;
    let now = |s: &penstrata::plan::Section| shared.sections[usize::from(s.id) - 1].number;
    assert_eq!(now(section), now(other));
    assert_eq!(shared.numbers.len(), before.numbers.len());
    // Two coats of it.
    job.pinned[1] = PinnedPen {
        under: Some(pen.into()),
        ..PinnedPen::for_section(section.inside_mm, pen)
    };
    let twice = made(&job);
    common::promises::check(&twice);
    let number = twice.plan.sections[usize::from(section.id) - 1].number;
    assert!(twice.plan.number(number).unwrap().over.is_some());
}

#[test]
fn a_section_is_left_bare_and_a_whole_cell_by_another_word() {
    let mut job = demo();
    let before = made(&job);
    let section = before
        .plan
        .sections
        .iter()
        .find(|s| s.number > 0 && s.area_mm2 > 100.0)
        .unwrap();
    job.bare = vec![section.inside_mm];
    let m = made(&job);
    common::promises::check(&m);
    let bare = &m.plan.sections[usize::from(section.id) - 1];
    assert_eq!((bare.number, &bare.pen, bare.by_hand), (0, &None, true));
    assert_eq!(m.plan.sections.len(), before.plan.sections.len());
    assert!(
        m.labels
            .labels
            .iter()
            .any(|l| l.sections.contains(&section.id) && l.text == "○")
    );
    let paper = m.plan.number(0).unwrap();
    assert!(paper.sections >= 1 && paper.color == job.paper);
    assert!(m.plan.figures.mean_delta_e > before.plan.figures.mean_delta_e);
    // Its border is still traced: where the paper stays bare must be seen.
    assert_eq!(m.plan.figures.trace_mm, before.plan.figures.trace_mm);

    // Of what a cut makes, one side.
    let dir = tempfile::tempdir().unwrap();
    let mut half = disk(dir.path());
    half.cuts = vec![cut(&[[5.0, 30.0], [55.0, 30.0]])];
    half.bare = vec![[30.0, 20.0]];
    let halves = made(&half).plan;
    let numbers: Vec<usize> = halves.sections.iter().map(|s| s.number).collect();
    assert_eq!(numbers, [0, 1]);

    // A whole cell has no sections any more.
    job.bare.clear();
    job.bare_cells = vec![section.inside_mm];
    let without = made(&job);
    let at = |m: &Made| m.sections.at(section.inside_mm, 0.1).map(|s| s.cell);
    assert!(at(&before).is_some() && at(&without).is_none());
}

#[test]
fn wishes_for_sections_that_cannot_be_are_told() {
    let dir = tempfile::tempdir().unwrap();
    let mut job = disk(dir.path());
    let inside = [30.0, 30.0];
    job.pinned = vec![PinnedPen::for_section([1.0, 1.0], "Denim")];
    assert!(refused(&job).contains("the point [1, 1] of the pen Denim lies in no section"));
    job.pinned = vec![PinnedPen::for_section(inside, "No Such Pen")];
    assert!(refused(&job).contains("No Such Pen"));
    job.pinned = vec![PinnedPen::for_section(inside, "Old Ink Well")];
    assert!(refused(&job).contains("is dry"));
    job.pinned = vec![PinnedPen::for_section(inside, "Denim")];
    job.bare = vec![inside];
    assert!(refused(&job).contains("both bare and with Denim"));
    job.bare = vec![[1.0, 1.0]];
    let error = refused(&job);
    assert!(
        error.contains("of bare lies in no section") && error.contains("bare_cells"),
        "{error}"
    );
    job.bare.clear();
    job.forbid = vec!["Denim".into()];
    assert!(refused(&job).contains("both forbidden"));
    job.forbid.clear();
    // A pen that is wished for a section counts, too: one is left for the band.
    job.cuts = vec![cut(&[[5.0, 30.0], [55.0, 30.0]])];
    job.pinned[0].at = vec![[30.0, 20.0]];
    job.most_pens = Some(1);
    assert!(refused(&job).contains("more than 1 pens"));
    job.most_pens = Some(2);
    let two = made(&job).plan;
    assert_eq!(two.numbers.len(), 2);
    for (band, at) in [
        (Some("red 50"), vec![inside]),
        (None, vec![]),
        (None, vec![[f64::NAN, 0.0]]),
    ] {
        job.pinned = vec![PinnedPen {
            band: band.map(String::from),
            at,
            ..PinnedPen::for_band("", "Denim")
        }];
        let error = refused(&job);
        assert!(error.contains("not wished for one band"), "{error}");
    }
}

#[test]
fn a_pen_and_bare_paper_for_a_section_are_flags_too() {
    let dir = tempfile::tempdir().unwrap();
    let job = disk(dir.path());
    let file = dir.path().join("job.toml");
    std::fs::write(&file, toml::to_string(&job).unwrap()).unwrap();
    let run = |flags: &[&str]| {
        let done = common::penstrata(&[&["plan", file.to_str().unwrap()], flags].concat());
        assert!(done.status.success(), "{done:?}");
        let text = std::fs::read_to_string(job.out.join("plan.json")).unwrap();
        serde_json::from_str::<penstrata::plan::Plan>(&text).unwrap()
    };
    let plan = run(&["--pen", "30,30=Denim"]);
    assert_eq!(plan.sections[0].pen.as_deref(), Some("Denim"));
    assert_eq!(
        plan.job.pinned,
        [PinnedPen::for_section([30.0, 30.0], "Denim")]
    );
    let plan = run(&[
        "--cut",
        "5,30 55,30",
        "--bare",
        "30,20",
        "--pen",
        "30,40 = Denim",
    ]);
    let pens: Vec<Option<&str>> = plan.sections.iter().map(|s| s.pen.as_deref()).collect();
    assert_eq!(pens, [None, Some("Denim")]);
    let cells = common::penstrata(&["plan", file.to_str().unwrap(), "--bare-cell", "30,30"]);
    assert!(String::from_utf8_lossy(&cells.stderr).contains("nothing is left to color"));
}

#[test]
fn the_nearest_pens_are_offered_as_they_will_look() {
    use penstrata::color::{Lab, difference};
    use penstrata::nearest::{nearest, section_color};
    let mut job = demo();
    let m = made(&job);
    let section = m
        .plan
        .sections
        .iter()
        .max_by(|a, b| a.area_mm2.total_cmp(&b.area_mm2))
        .unwrap();
    let band = &m.plan.bands[section.band];
    let [l, a, b] = band.lab;
    let color = section_color(&m, section.id).unwrap();
    // A section's own color is near its band's.
    assert!(difference(color, Lab::new(l, a, b)) < 8.0);
    assert!(section_color(&m, 0).is_none() && section_color(&m, u16::MAX).is_none());
    let offers = nearest(&m, color, 6);
    assert_eq!(offers.len(), 6);
    assert!(
        offers
            .windows(2)
            .all(|pair| pair[0].delta_e <= pair[1].delta_e)
    );
    let all = nearest(&m, color, usize::MAX);
    assert_eq!(all[..6], offers);
    // Every pen that is not dry, in one coat and in two, and none nearer than the first.
    let fresh = m
        .pens
        .iter()
        .filter(|p| p.condition != penstrata::pens::Condition::Dry);
    assert_eq!(all.len(), 2 * fresh.clone().count());
    let least = fresh
        .map(|p| difference(color, p.color.lab()))
        .fold(f32::INFINITY, f32::min);
    assert!(offers[0].delta_e <= least);
    // Wished for, they look as offered.
    for offer in [&offers[0], all.iter().find(|o| o.under.is_some()).unwrap()] {
        job.pinned = vec![PinnedPen {
            under: offer.under.clone(),
            ..PinnedPen::for_section(section.inside_mm, &offer.pen)
        }];
        let plan = made(&job).plan;
        let number = plan.sections[usize::from(section.id) - 1].number;
        assert_eq!(plan.number(number).unwrap().color, offer.color);
    }
    job.pinned.clear();
    job.forbid = vec![offers[0].pen.clone()];
    job.coats = 1;
    let without = nearest(&made(&job), color, usize::MAX);
    assert!(
        without
            .iter()
            .all(|o| o.pen != offers[0].pen && o.under.is_none())
    );
}
