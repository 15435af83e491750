//! The whole card: stamps in front of each other, masks, pieces, variants, and what goes with it.

mod common;

use std::fmt::Write;
use std::path::Path;
use std::process::Command;

use common::promises::check;
use kurbo::{ParamCurve, ParamCurveNearest, Point, Rect, Shape};
use penstrata::card::{Rings, masks_of, nest, order};
use penstrata::grid::Grid;
use penstrata::input::{make_plan, read_files};
use penstrata::job::Job;
use penstrata::planner::Planner;
use penstrata::sheets::{folder, mask_outlines};
use penstrata::{Made, plan_of};
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// The blob of `tests/scripts/card_values.py`, as path data.
fn blob() -> String {
    let point = |k: i32| {
        let t = std::f64::consts::TAU * f64::from(k) / 720.0;
        let r = 13.0 + 2.5 * (3.0 * t + 0.4).cos() + 1.2 * (2.0 * t).sin();
        format!("{:.5} {:.5}", 20.0 + r * t.cos(), 20.0 + r * t.sin())
    };
    let points: Vec<String> = (0..720).map(point).collect();
    format!("M{}Z", points.join("L"))
}

const ELL: &str = "M6 5L19 5L19 22L34 22L34 35L6 35Z";

/// An art of 40 x 40 mm with one closed line of 0.6 mm.
fn art(path: &str) -> String {
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='40mm' height='40mm' viewBox='0 0 40 40'>\
         <path d='{path}' fill='none' stroke='#000' stroke-width='0.6' stroke-linejoin='round'/></svg>"
    )
}

/// A job in a folder with a blob and an L.
fn job(folder: &Path, tables: &str) -> Job {
    std::fs::write(folder.join("blob.svg"), art(&blob())).unwrap();
    std::fs::write(folder.join("ell.svg"), art(ELL)).unwrap();
    std::fs::copy(common::pens(), folder.join("pens.csv")).unwrap();
    let text = format!("pens = \"pens.csv\"\nout = \"plan\"\n{tables}");
    let mut job = Job::parse(Path::new("card.toml"), &text).unwrap_or_else(|e| panic!("{e}"));
    job.rebase(|p| folder.join(p));
    job
}

fn made(folder: &Path, tables: &str) -> Result<Made, String> {
    make_plan(&job(folder, tables), &|_| {}).map_err(|e| e.to_string())
}

fn stamp(name: &str, art: &str, at: [f64; 2], more: &str) -> String {
    format!(
        "[[stamp]]\nname = \"{name}\"\nart = \"{art}.svg\"\nwidth = \"40mm\"\nat = [{}, {}]\n{more}\n\
         [[stamp.part]]\ncolor = \"#c2452d\"\n",
        at[0], at[1]
    )
}

const PANEL: &str = "[panel]\nsize = \"100x130mm\"\n";

fn rows(name: &str) -> Vec<Vec<f64>> {
    let mut reader = csv::Reader::from_path(common::data(name)).unwrap();
    let number = |r: csv::StringRecord| r.iter().map(|v| v.parse().unwrap()).collect();
    reader.records().map(|r| number(r.unwrap())).collect()
}

/// Shapely 2.2.0, buffer with round joins.
#[test]
fn masks_are_cut_where_shapely_says() {
    let dir = tempfile::tempdir().unwrap();
    for (shape, name) in ["blob", "ell"].into_iter().enumerate() {
        let tables = format!(
            "{PANEL}{}{}",
            stamp("front", name, [20.0, 20.0], "over = \"behind\""),
            stamp("behind", "ell", [35.0, 30.0], "")
        );
        let made = made(dir.path(), &tables).unwrap();
        let told = made.plan.card.as_ref().unwrap();
        let masks = mask_outlines(&made.plan, told, made.card.as_ref().unwrap());
        assert_eq!(masks.len(), 1);
        let path = masks[0].path();
        // The worst along smooth edges, and within a millimeter of a right corner.
        let corners = [
            [6.0, 5.0],
            [19.0, 5.0],
            [19.0, 22.0],
            [34.0, 22.0],
            [34.0, 35.0],
            [6.0, 35.0],
        ];
        let mut worst = [0.0f64; 2];
        for row in rows("masks.csv").iter().filter(|r| r[0] as usize == shape) {
            let p = Point::new(row[1], row[2]);
            let near = path.segments().map(|s| s.nearest(p, 1e-6).distance_sq);
            let off = near.fold(f64::INFINITY, f64::min).sqrt();
            let corner = shape == 1
                && corners
                    .iter()
                    .any(|&[x, y]| p.distance(Point::new(x, y)) < 1.0);
            let worst = &mut worst[usize::from(corner)];
            *worst = worst.max(off);
        }
        println!(
            "{name}: at most {:.3} mm off, {:.3} mm at right corners",
            worst[0], worst[1]
        );
        assert!(worst.iter().all(|&off| off <= 0.05), "{name}: {worst:?}");
    }
}

/// Shapely 2.2.0, difference and union.
#[test]
fn what_shows_of_stamps_on_each_other_is_what_shapely_says() {
    let dir = tempfile::tempdir().unwrap();
    let tables = format!(
        "{PANEL}{}{}{}",
        stamp("back", "ell", [50.0, 80.0], "turn = 158"),
        stamp(
            "middle",
            "blob",
            [58.0, 62.0],
            "turn = -70\nover = \"back\""
        ),
        stamp(
            "front",
            "ell",
            [42.0, 50.0],
            "turn = 33\nmirror = true\nover = [\"middle\", \"back\"]"
        ),
    );
    let made = made(dir.path(), &tables).unwrap();
    check(&made);
    let owner = &made.card.as_ref().unwrap().owner;
    for row in rows("visible.csv") {
        let image = [2u8, 1, 0][row[0] as usize];
        let seen = owner.data.iter().filter(|&&o| o == image + 1).count() as f64 * 0.01;
        // Half a pixel along an edge of 120 mm is 6 mm²; errors on both sides cancel.
        assert!((seen - row[1]).abs() < 1.5, "{row:?}: {seen}");
    }
}

/// Pixels of `a` farther than a tenth of a millimeter from any of `b`.
fn beyond(a: &Grid<bool>, b: &Grid<bool>) -> usize {
    let near = |i: usize| {
        let (x, y) = ((i % a.width) as i64, (i / a.width) as i64);
        [(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1)]
            .iter()
            .any(|(dx, dy)| {
                let (x, y) = (x + dx, y + dy);
                let inside = x >= 0 && y >= 0 && x < b.width as i64 && y < b.height as i64;
                inside && b.at(x as usize, y as usize)
            })
    };
    (0..a.data.len()).filter(|&i| a.data[i] && !near(i)).count()
}

/// The same transform as an attribute of SVG (SVG 1.1, 7.6), rendered by resvg as one drawing.
#[test]
fn a_turned_and_mirrored_stamp_lies_where_an_svg_renderer_draws_it() {
    let dir = tempfile::tempdir().unwrap();
    for (turn, mirror) in [(0.0, false), (33.0, false), (-117.5, true), (90.0, true)] {
        let tables = format!(
            "{PANEL}{}",
            stamp(
                "one",
                "blob",
                [47.3, 61.8],
                &format!("turn = {turn:.1}\nmirror = {mirror}")
            )
        );
        let stamped = made(dir.path(), &tables).unwrap();
        let across = if mirror { -1 } else { 1 };
        let drawn = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='100mm' height='130mm' viewBox='0 0 100 130'>\
             <g transform='translate(47.3 61.8) rotate({turn}) scale({across} 1) translate(-20 -20)'>\
             <path d='{}' fill='none' stroke='#000' stroke-width='0.6' stroke-linejoin='round'/></g></svg>",
            blob()
        );
        std::fs::write(dir.path().join("drawn.svg"), drawn).unwrap();
        let text = "pens = \"pens.csv\"\nout = \"plan\"\nart = \"drawn.svg\"\nwidth = \"100mm\"\n[[part]]\ncolor = \"#c2452d\"\n";
        let mut job = Job::parse(Path::new("card.toml"), text).unwrap();
        job.rebase(|p| dir.path().join(p));
        let drawn = make_plan(&job, &|_| {}).unwrap();
        let (a, b) = (&stamped.lines.wall, &drawn.lines.wall);
        assert_eq!((a.width, a.height), (b.width, b.height));
        assert_eq!(
            beyond(a, b) + beyond(b, a),
            0,
            "turned by {turn}, mirrored: {mirror}"
        );
    }
}

/// The blob's line as a scan at about 300 dots per inch: gray where the edge runs through a pixel.
fn scan() -> image::GrayImage {
    const SIDE: u32 = 472;
    let path = kurbo::BezPath::from_svg(&blob()).unwrap();
    let mm = 40.0 / f64::from(SIDE);
    image::GrayImage::from_fn(SIDE, SIDE, |x, y| {
        let at = Point::new((f64::from(x) + 0.5) * mm, (f64::from(y) + 0.5) * mm);
        let near = path.segments().map(|s| s.nearest(at, 1e-4).distance_sq);
        let outside = (near.fold(f64::INFINITY, f64::min).sqrt() - 0.3) / mm;
        image::Luma([((outside + 0.5).clamp(0.0, 1.0) * 255.0) as u8])
    })
}

/// Shapely 2.2.0, affinity and buffer: a drawing and a scan of it, turned and mirrored.
#[test]
fn a_turned_and_mirrored_stamp_lies_where_shapely_says_drawn_or_scanned() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("drawn.svg"), art(&blob())).unwrap();
    scan().save(dir.path().join("scanned.png")).unwrap();
    let all = rows("turned.csv");
    for (turn, mirror) in [(0.0, false), (33.0, false), (-117.5, true), (90.0, true)] {
        let mut line = kurbo::BezPath::new();
        let mine = all
            .iter()
            .filter(|r| r[0] == turn && (r[1] == 1.0) == mirror);
        let points: Vec<(u8, Point)> = mine.map(|r| (r[2] as u8, Point::new(r[3], r[4]))).collect();
        for ring in [0, 1] {
            let mut of_ring = points.iter().filter(|p| p.0 == ring).map(|p| p.1);
            line.move_to(of_ring.next().unwrap());
            of_ring.for_each(|p| line.line_to(p));
            line.close_path();
        }
        for art in ["drawn.svg", "scanned.png"] {
            let tables = format!(
                "{PANEL}[[stamp]]\nart = \"{art}\"\nwidth = \"40mm\"\nat = [47.3, 61.8]\nturn = {turn:.1}\n\
                 mirror = {mirror}\n[[stamp.part]]\ncolor = \"#c2452d\"\n"
            );
            let ink = made(dir.path(), &tables).unwrap().outlines.ink.clone();
            let off = |p: Point, path: &kurbo::BezPath| {
                let near = path.segments().map(|s| s.nearest(p, 1e-6).distance_sq);
                near.fold(f64::INFINITY, f64::min).sqrt()
            };
            let drawn = ink.segments().map(|s| off(s.eval(0.5), &line));
            let there = drawn.fold(0.0, f64::max);
            let back = points.iter().map(|p| off(p.1, &ink)).fold(0.0, f64::max);
            println!("{art} turned by {turn}, mirrored {mirror}: {there:.3} and {back:.3} mm");
            assert!(there <= 0.1 && back <= 0.1, "{art} {turn}: {there} {back}");
        }
    }
}

/// Pairs of front and behind without a circle, and which images are of one art.
fn scenes(most: usize) -> impl Strategy<Value = (usize, Vec<(usize, usize)>, Vec<usize>)> {
    (1..=most).prop_flat_map(|n| {
        let pairs = proptest::collection::vec(proptest::bool::weighted(0.35), n * n);
        let shapes = proptest::collection::vec(0..3usize, n);
        let ranks = Just((0..n).collect::<Vec<usize>>()).prop_shuffle();
        (pairs, shapes, ranks).prop_map(move |(pairs, shapes, ranks)| {
            let hides = (0..n * n)
                .filter(|&i| pairs[i] && ranks[i / n] < ranks[i % n])
                .map(|i| (i / n, i % n))
                .collect();
            (n, hides, shapes)
        })
    })
}

fn runner(cases: u32) -> TestRunner {
    let config = Config {
        cases,
        failure_persistence: None,
        ..Config::default()
    };
    TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha))
}

fn orders(n: usize) -> Vec<Vec<usize>> {
    if n == 0 {
        return vec![Vec::new()];
    }
    let mut all = Vec::new();
    for shorter in orders(n - 1) {
        for at in 0..n {
            let mut order = shorter.clone();
            order.insert(at, n - 1);
            all.push(order);
        }
    }
    all
}

/// Against every order that stamps the front first.
#[test]
fn no_order_of_up_to_six_stamps_needs_fewer_masks() {
    let all: Vec<Vec<Vec<usize>>> = (0..=6).map(orders).collect();
    runner(300)
        .run(&scenes(6), |(n, hides, shapes)| {
            let found = order(n, &hides, &shapes);
            prop_assert!(found.exact);
            let place = |order: &[usize], i: usize| order.iter().position(|&o| o == i);
            let fewest = all[n]
                .iter()
                .filter(|o| hides.iter().all(|&(f, b)| place(o, f) < place(o, b)))
                .map(|o| masks_of(o, &hides, &shapes))
                .min()
                .unwrap();
            prop_assert_eq!(found.masks.len(), fewest);
            let stamped: Vec<usize> = found
                .steps
                .iter()
                .filter_map(|s| match s {
                    penstrata::card::Step::Stamp(i) => Some(*i),
                    _ => None,
                })
                .collect();
            prop_assert_eq!(stamped.len(), n);
            prop_assert!(
                hides
                    .iter()
                    .all(|&(f, b)| place(&stamped, f) < place(&stamped, b))
            );
            Ok(())
        })
        .unwrap();
}

/// The shelf packing of etagere 0.3.0, the highest things first; room to the right and below goes with everything.
fn shelves(sizes: &[[f64; 2]], sheet: [f64; 2], room: f64) -> usize {
    let px = |v: f64| (v * 10.0).round() as i32;
    let mut order: Vec<&[f64; 2]> = sizes.iter().collect();
    order.sort_by(|a, b| b[1].total_cmp(&a[1]));
    let mut sheets: Vec<etagere::AtlasAllocator> = Vec::new();
    for [w, h] in order {
        let size = etagere::size2(px(w + room), px(h + room));
        if sheets.iter_mut().any(|s| s.allocate(size).is_some()) {
            continue;
        }
        let whole = etagere::size2(px(sheet[0] + room), px(sheet[1] + room));
        let mut fresh = etagere::AtlasAllocator::new(whole);
        assert!(fresh.allocate(size).is_some());
        sheets.push(fresh);
    }
    sheets.len()
}

#[test]
fn nested_pieces_never_overlap_and_take_no_more_sheets_than_shelves() {
    let one =
        (50u32..900, 50u32..900).prop_map(|(w, h)| [f64::from(w) / 10.0, f64::from(h) / 10.0]);
    let sets = (proptest::collection::vec(one, 1..40), 0u32..100);
    let fewer = std::cell::Cell::new(0);
    runner(500)
        .run(&sets, |(sizes, room)| {
            let (sheet, room) = ([140.0, 202.0], f64::from(room) / 10.0);
            let spots = nest(&sizes, sheet, room).unwrap();
            let rects: Vec<(usize, Rect)> = spots
                .iter()
                .zip(&sizes)
                .map(|(s, [w, h])| {
                    (
                        s.sheet,
                        Rect::new(s.at[0], s.at[1], s.at[0] + w, s.at[1] + h),
                    )
                })
                .collect();
            for (i, (sheet_a, a)) in rects.iter().enumerate() {
                prop_assert!(
                    a.x0 >= 0.0 && a.y0 >= 0.0 && a.x1 <= 140.0 + 1e-6 && a.y1 <= 202.0 + 1e-6
                );
                for (sheet_b, b) in &rects[..i] {
                    let apart = (a.x0 - b.x1)
                        .max(b.x0 - a.x1)
                        .max(a.y0 - b.y1)
                        .max(b.y0 - a.y1);
                    prop_assert!(sheet_a != sheet_b || apart >= room - 1e-6, "{a:?} {b:?}");
                }
            }
            let (ours, theirs) = (
                spots.iter().map(|s| s.sheet + 1).max().unwrap(),
                shelves(&sizes, sheet, room),
            );
            prop_assert!(ours <= theirs, "{ours} sheets, shelves {theirs}");
            fewer.set(fewer.get() + usize::from(ours < theirs));
            Ok(())
        })
        .unwrap();
    println!("fewer sheets than shelves in {} of 500", fewer.get());
}

/// Panels at random: stamps anywhere, partly off, turned by anything, over each other or not.
#[test]
fn random_panels_keep_every_promise_or_say_what_is_wrong() {
    let one = (
        any::<bool>(),
        (-6.0..86.0f64, -6.0..86.0f64),
        -400.0..400.0f64,
        any::<bool>(),
        12.0..42.0f64,
        0u32..0xff_ffff,
    );
    let panels = (
        proptest::collection::vec(one, 1..=8),
        any::<u32>(),
        0usize..3,
        proptest::bool::weighted(0.3),
    );
    let plans = std::cell::Cell::new(0);
    runner(40)
        .run(&panels, |(stamps, over, pieces, background)| {
            let dir = tempfile::tempdir().unwrap();
            let mut tables = String::new();
            if background {
                tables += "background = { pen = \"Harbor Mist\" }\n";
            }
            tables += "[panel]\nsize = \"80x80mm\"\n";
            for (k, (ell, at, turn, mirror, width, color)) in stamps.iter().enumerate() {
                let art = if *ell { "ell" } else { "blob" };
                let behind: Vec<String> = (k + 1..stamps.len())
                    .filter(|b| over >> ((k * 5 + b) % 32) & 1 == 1)
                    .map(|b| format!("\"s{b}\""))
                    .collect();
                let _ = write!(
                    tables,
                    "[[stamp]]\nname = \"s{k}\"\nart = \"{art}.svg\"\nwidth = \"{width:.1}mm\"\nat = [{:.2}, {:.2}]\n\
                     turn = {turn:.2}\nmirror = {mirror}\nover = [{}]\n[[stamp.part]]\ncolor = \"#{color:06x}\"\n",
                    at.0,
                    at.1,
                    behind.join(", ")
                );
            }
            for p in 0..pieces {
                let _ = write!(
                    tables,
                    "[[piece]]\nname = \"p{p}\"\nart = \"blob.svg\"\nwidth = \"20mm\"\nat = [[{}, 40]]\nturn = 30\n\
                     [[piece.part]]\ncolor = \"#7f9c46\"\n",
                    20 + 30 * p
                );
            }
            let made = match made(dir.path(), &tables) {
                Ok(made) => made,
                Err(error) => {
                    prop_assert!(error.contains("What to do:"), "{error}");
                    return Ok(());
                }
            };
            plans.set(plans.get() + 1);
            check(&made);
            let card = made.card.as_ref().unwrap();
            for s in &made.plan.sections {
                let ground = match s.image {
                    Some(image) => card.images[image].ground,
                    None => {
                        prop_assert!(background, "a section is nobody's");
                        prop_assert_eq!(s.pen.as_deref(), Some("Harbor Mist"));
                        0
                    }
                };
                let rect = card.grounds[ground].rect;
                let path = &made.outlines.sections[usize::from(s.id) - 1];
                prop_assert!(rect.inflate(0.2, 0.2).contains(path.bounding_box().center()));
            }
            let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
            let job = job(dir.path(), &tables);
            let one = pool.install(|| make_plan(&job, &|_| {})).unwrap();
            prop_assert_eq!(&made.plan, &one.plan);
            prop_assert!(
                folder(&made, false, Path::to_owned).unwrap() == folder(&one, false, Path::to_owned).unwrap()
            );
            Ok(())
        })
        .unwrap();
    println!("{} of 40 panels gave a plan", plans.get());
    assert!(plans.get() >= 25);
}

#[test]
fn stamps_of_one_art_share_numbers_and_one_part() {
    let dir = tempfile::tempdir().unwrap();
    let second = "[[stamp]]\nname = \"two\"\nart = \"blob.svg\"\nwidth = \"30mm\"\nat = [70, 100]\nturn = 40\n";
    let made = made(
        dir.path(),
        &format!("{PANEL}{}{second}", stamp("one", "blob", [22.0, 22.0], "")),
    )
    .unwrap();
    let of = |image: usize| {
        let mine = made
            .plan
            .sections
            .iter()
            .filter(move |s| s.image == Some(image));
        mine.map(|s| s.number)
            .collect::<std::collections::BTreeSet<_>>()
    };
    assert!(!of(0).is_empty());
    assert_eq!(of(0), of(1));
    assert_eq!(made.plan.groups.iter().filter(|g| g.bands > 0).count(), 1);
}

#[test]
fn what_a_piece_covers_needs_no_coloring_and_says_so() {
    let dir = tempfile::tempdir().unwrap();
    let piece = "[[piece]]\nname = \"patch\"\nart = \"blob.svg\"\nwidth = \"90mm\"\nat = [[30, 30]]\n\
                 [[piece.part]]\ncolor = \"#5f86b3\"\n";
    let tables = format!("{PANEL}{}{piece}", stamp("under", "ell", [30.0, 30.0], ""));
    let made = made(dir.path(), &tables).unwrap();
    check(&made);
    let card = made.plan.card.as_ref().unwrap();
    let covered: Vec<_> = made
        .plan
        .sections
        .iter()
        .filter(|s| s.image == Some(0))
        .collect();
    assert!(!covered.is_empty());
    for s in covered {
        assert_eq!((s.number, s.covered), (0, Some(1)));
        assert!(
            made.plan
                .schedule
                .turns
                .iter()
                .all(|t| !t.sections.contains(&s.id))
        );
        let label = made
            .labels
            .labels
            .iter()
            .find(|l| l.sections.contains(&s.id))
            .unwrap();
        assert_eq!(label.text, "×");
    }
    assert!(
        card.finishing
            .iter()
            .any(|step| step.say.contains("Glue patch"))
    );
    let files = folder(&made, false, Path::to_owned).unwrap();
    let overlay = files
        .iter()
        .find(|(name, _)| name == "overlay.svg")
        .unwrap();
    assert!(String::from_utf8_lossy(&overlay.1).contains("patch covers"));
}

/// The widest place of the panel's ground is where a piece will lie: its number stands elsewhere, and shows to the end.
#[test]
fn no_number_of_what_shows_is_hidden_by_a_piece() {
    let dir = tempfile::tempdir().unwrap();
    let piece = "[[piece]]\nname = \"patch\"\nart = \"blob.svg\"\nwidth = \"60mm\"\nat = [[50, 85]]\n\
                 [[piece.part]]\ncolor = \"#5f86b3\"\n";
    let tables = format!(
        "background = {{ pen = \"Harbor Mist\" }}\n{PANEL}{}{piece}",
        stamp("above", "ell", [30.0, 24.0], "")
    );
    let made = made(dir.path(), &tables).unwrap();
    check(&made);
    let cover = &made.card.as_ref().unwrap().cover;
    let mm_per_px = made.plan.mm_per_px;
    let at = |v: f64| (v / mm_per_px) as usize;
    let ground = made
        .plan
        .sections
        .iter()
        .find(|s| s.by_hand && s.number > 0);
    let ground = ground.expect("the ground is colored").id;
    let is_ground = |l: &&penstrata::borders::Label| l.sections == [ground] && l.leaders.is_empty();
    let label = made.labels.labels.iter().find(is_ground).unwrap();
    let area = label.area(1.0);
    for y in at(area.y0)..=at(area.y1) {
        for x in at(area.x0)..=at(area.x1) {
            assert_eq!(cover.at(x, y), 0, "{} at {:?}", label.text, label.at);
        }
    }
    assert!(cover.data.iter().any(|&piece| piece > 0));
}

/// A cut line is never nearer to the drawing than asked, nor farther but where scissors cannot turn.
#[test]
fn pieces_are_cut_as_far_outside_as_asked() {
    let ell = Rings(vec![vec![
        [6.0, 5.0],
        [19.0, 5.0],
        [19.0, 22.0],
        [34.0, 22.0],
        [34.0, 35.0],
        [6.0, 35.0],
    ]]);
    let cut = ell.offset(1.0).rounded_inside(1.5).path();
    for &[x, y] in &ell.0[0] {
        let near = cut
            .segments()
            .map(|s| s.nearest(Point::new(x, y), 1e-6).distance_sq);
        assert!(near.fold(f64::INFINITY, f64::min).sqrt() >= 0.99);
    }
}

#[test]
fn variants_keep_the_sections_and_tell_what_pens_cannot_serve() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(
        dir.path().join("two.csv"),
        "name,color,refill,condition\nA,#e8802b,yes,good\n",
    )
    .unwrap();
    let tables = format!(
        "{PANEL}{}[[variant]]\nname = \"cold\"\nhue = 200\n[[variant]]\nname = \"dim\"\nlighter = -10\n\
         [[variant]]\nname = \"poor\"\npens = \"two.csv\"\nforbid = [\"A\"]\n",
        stamp("one", "blob", [50.0, 60.0], "")
    );
    let job = job(dir.path(), &tables);
    let made = make_plan(&job, &|_| {}).unwrap();
    assert_eq!(
        made.variants
            .iter()
            .map(|v| v.0.as_str())
            .collect::<Vec<_>>(),
        ["cold", "dim"]
    );
    for (_, variant) in &made.variants {
        check(variant);
        assert_eq!(variant.sections.map.data, made.sections.map.data);
        assert_ne!(
            variant
                .plan
                .sections
                .iter()
                .map(|s| &s.pen)
                .collect::<Vec<_>>(),
            made.plan
                .sections
                .iter()
                .map(|s| &s.pen)
                .collect::<Vec<_>>()
        );
    }
    let poor = &made.plan.variants[2];
    let why = poor.unserved.as_ref().unwrap();
    assert!(why.contains("parts") && why.contains('#'), "{why}");
    let names: Vec<String> = folder(&made, false, Path::to_owned)
        .unwrap()
        .into_iter()
        .map(|f| f.0)
        .collect();
    for name in [
        "variants.png",
        "variants/cold/overlay.pdf",
        "variants/dim/plan.json",
    ] {
        assert!(names.iter().any(|n| n == name), "{name}");
    }
    assert!(!names.iter().any(|n| n.starts_with("variants/poor")));
    // A planner gives after an edit what a fresh plan gives.
    let files = read_files(&job).unwrap();
    let mut planner = Planner::new(files.clone());
    planner.plan(&job, &|_| {}).unwrap();
    let mut next = job.clone();
    next.variants[0].hue = 120.0;
    next.variants.pop();
    let kept = planner.plan(&next, &|_| {}).unwrap();
    let fresh = plan_of(&next, files, &|_| {}).unwrap();
    assert_eq!(kept.plan, fresh.plan);
    assert!(
        kept.variants
            .iter()
            .zip(&fresh.variants)
            .all(|(k, f)| k.1.plan == f.1.plan)
    );
}

#[test]
fn what_is_white_in_a_photo_is_not_looked_for_in_a_variants() {
    use penstrata::job::White;
    let dir = tempfile::tempdir().unwrap();
    let image = "art = \"blob.svg\"\nwidth = \"40mm\"\nwhite = \"3,4\"\nat = ";
    let reference = "reference = [{ photo = \"sunny.png\", white = \"3,4\" }]\n";
    let tables = format!(
        "white = \"3,4\"\n{reference}{PANEL}[[stamp]]\n{image}[50, 60]\n{reference}\
         [[piece]]\n{image}[[50, 60]]\n{reference}"
    );
    let before = job(dir.path(), &tables);
    before.check().unwrap();
    let whites = |job: &Job| toml::to_string(job).unwrap().matches("3,4").count();
    assert_eq!(whites(&before), 6);
    let other = before.with_photo(Path::new("shady.png"));
    assert_eq!((whites(&other), other.white), (0, White::default()));
    // Other ways to even a photo hold for another, too.
    let even = Job {
        white: White::Auto,
        ..before
    };
    assert_eq!(even.with_photo(Path::new("shady.png")).white, White::Auto);
}

#[test]
fn points_of_a_photo_are_not_looked_for_in_a_variants() {
    let dir = tempfile::tempdir().unwrap();
    let points = "align = \"points\"\nmatch = [{ reference = [12, 34], art = [5, 6] }]\n";
    let listed = points.trim_end().replace('\n', ", ");
    let reference = format!("reference = [{{ photo = \"sunny.png\", {listed} }}]\n");
    let image = "art = \"blob.svg\"\nwidth = \"40mm\"\nat = ";
    let tables = format!(
        "{points}match_file = \"sunny.csv\"\n{reference}{PANEL}[[stamp]]\n{image}[50, 60]\n{points}{reference}\
         [[piece]]\n{image}[[50, 60]]\n{points}{reference}"
    );
    let said = |job: &Job| {
        let text = serde_json::to_string(job).unwrap();
        ["[12.0,34.0]", "\"points\"", "sunny.csv"].map(|word| text.matches(word).count())
    };
    let before = job(dir.path(), &tables);
    assert_eq!(said(&before), [6, 6, 1]);
    let other = before.with_photo(Path::new("shady.png"));
    assert_eq!(said(&other), [0, 0, 0]);
    // Other ways to lay a photo hold for another, too.
    let framed = Job {
        align: Some(penstrata::job::Align::Frame),
        ..before
    };
    let other = framed.with_photo(Path::new("shady.png"));
    assert_eq!(other.align, framed.align);
}

#[test]
fn a_card_that_cannot_be_is_refused_in_words() {
    let dir = tempfile::tempdir().unwrap();
    let one = stamp("a", "blob", [50.0, 60.0], "over = \"b\"");
    let two = stamp("b", "blob", [55.0, 60.0], "over = \"a\"");
    let of_photo = |kind: &str, photo: &str, more: &str| {
        format!(
            "[[{kind}]]\nname = \"{photo}\"\nart = \"blob.svg\"\nwidth = \"40mm\"\n{more}\nreference = \"{photo}.png\"\n"
        )
    };
    let glued = |at: &str| {
        format!(
            "[[piece]]\nname = \"patch\"\nart = \"blob.svg\"\nwidth = \"20mm\"\nat = [{at}]\n\
             [[piece.part]]\ncolor = \"#5f86b3\"\n"
        )
    };
    let at = "at = [50, 60]";
    let second = "[[stamp.part]]\nphoto = \"other.png\"\ncells = [[20, 20]]\n";
    let white = "white = \"3,4\"\n";
    for (tables, told) in [
        (
            format!(
                "{white}{PANEL}{}{}",
                of_photo("stamp", "sunny", at),
                of_photo("piece", "shady", "")
            ),
            "white 3,4 is a pixel of one photo",
        ),
        (
            format!(
                "{PANEL}{}{second}",
                of_photo("stamp", "sunny", &[at, white].join("\n"))
            ),
            "sunny: white 3,4 is a pixel of one photo",
        ),
        (
            format!(
                "{PANEL}{}{}",
                of_photo("piece", "sunny", white),
                second.replace("stamp", "piece")
            ),
            "sunny: white 3,4 is a pixel of one photo",
        ),
        (format!("{PANEL}{one}{two}"), "a over b over a"),
        (format!("{PANEL}{one}"), "no stamp is called that"),
        (
            format!("{PANEL}{}", stamp("far", "blob", [300.0, 300.0], "")),
            "lies beside the panel",
        ),
        (
            format!("{PANEL}{}", glued("[60, 40], [5000, 5000]")),
            "the piece patch 2 is glued at [5000.0, 5000.0], beside the panel of 100 x 130 mm",
        ),
        (
            format!("{PANEL}{}", glued("[1e300, 5]")),
            "beside the panel",
        ),
        (format!("{PANEL}{}", glued("[-12, 40]")), "beside the panel"),
        (PANEL.to_owned(), "neither a photo nor a color"),
        (stamp("a", "blob", [1.0, 1.0], ""), "no size of the panel"),
        (
            format!(
                "width = \"50mm\"\n{PANEL}{}",
                stamp("a", "blob", [50.0, 60.0], "")
            ),
            "width is given",
        ),
        (
            format!(
                "{PANEL}[[piece]]\nart = \"blob.svg\"\nwidth = \"300mm\"\n[[piece.part]]\ncolor = \"#7f9c46\"\n"
            ),
            "has room for",
        ),
    ] {
        let error = match made(dir.path(), &tables) {
            Ok(_) => panic!("{told}: a plan"),
            Err(error) => error,
        };
        assert!(error.contains("What to do:"), "{error}");
        assert!(
            error.contains(told) || told.starts_with("neither"),
            "{told}: {error}"
        );
    }
}

#[test]
fn no_count_of_pieces_is_too_large_to_be_counted() {
    let dir = tempfile::tempdir().unwrap();
    let piece = |name: &str, count: i64| {
        format!(
            "[[piece]]\nname = \"{name}\"\nart = \"blob.svg\"\nwidth = \"20mm\"\ncount = {count}\n\
             [[piece.part]]\ncolor = \"#5f86b3\"\n"
        )
    };
    let tables = format!(
        "{PANEL}{}{}{}",
        piece("a", i64::MAX),
        piece("b", i64::MAX),
        piece("c", 4)
    );
    let told = job(dir.path(), &tables).check().unwrap_err().to_string();
    assert!(told.contains("expected 100 at most"), "{told}");
}

/// A page of a printed file through poppler, at 600 dots per inch.
struct Printed(image::RgbImage);

impl Printed {
    const MM: f64 = 25.4 / 600.0;

    fn of(folder: &Path, pdf: &[u8], page: usize) -> Self {
        let (file, png) = (folder.join("printed.pdf"), folder.join("page"));
        std::fs::write(&file, pdf).unwrap();
        let page = page.to_string();
        let run = Command::new("pdftoppm")
            .args(["-r", "600", "-f", &page, "-l", &page, "-singlefile", "-png"])
            .args([&file, &png])
            .status()
            .unwrap();
        assert!(run.success());
        Self(image::open(png.with_extension("png")).unwrap().into_rgb8())
    }

    /// Around all marked pixels between header and footer, in millimeters of the page.
    fn around(&self, mark: impl Fn([u8; 3]) -> bool) -> Rect {
        let below = |y: u32| f64::from(y) * Self::MM;
        let pixels = self.0.enumerate_pixels();
        let marked = pixels.filter(|(_, y, p)| {
            (20.0..self.0.height() as f64 * Self::MM - 26.0).contains(&below(*y)) && mark(p.0)
        });
        let rect = |x: u32, y: u32| {
            let at = Point::new(f64::from(x) * Self::MM, f64::from(y) * Self::MM);
            Rect::from_origin_size(at, (Self::MM, Self::MM))
        };
        marked
            .map(|(x, y, _)| rect(x, y))
            .reduce(|a, b| a.union(b))
            .unwrap()
    }
}

/// At least half of a pixel is of this color, the rest white.
fn mostly(color: [u8; 3]) -> impl Fn([u8; 3]) -> bool {
    move |pixel| {
        // Along the way from white to the color, and how far beside it.
        let to = color.map(|c| f64::from(c) - 255.0);
        let at = pixel.map(|c| f64::from(c) - 255.0);
        let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
        let share = dot(at, to) / dot(to, to);
        let beside: f64 = (0..3).map(|k| (at[k] - share * to[k]).powi(2)).sum();
        (0.5..1.3).contains(&share) && beside < 64.0
    }
}

/// Through poppler: masks, the layout with what lies on it, and the cut lines of pieces.
#[test]
fn masks_layout_and_cut_lines_print_at_true_size() {
    if !common::has("pdftoppm") {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let tables = format!(
        "{PANEL}{}{}[[piece]]\nname = \"patch\"\nart = \"ell.svg\"\nwidth = \"40mm\"\nturn = 20\n\
         [[piece.part]]\ncolor = \"#5f86b3\"\n",
        stamp(
            "front",
            "blob",
            [40.0, 40.0],
            "over = \"behind\"\nturn = 25"
        ),
        stamp("behind", "ell", [60.0, 60.0], "")
    );
    let made = made(dir.path(), &tables).unwrap();
    let (told, card) = (
        made.plan.card.as_ref().unwrap(),
        made.card.as_ref().unwrap(),
    );
    let files = folder(&made, false, Path::to_owned).unwrap();
    let printed = |name: &str, page: usize| {
        let pdf = &files.iter().find(|(n, _)| n == name).unwrap().1;
        Printed::of(dir.path(), pdf, page)
    };
    let same = |what: &str, found: Rect, expected: Rect, line_mm: f64| {
        let wide = found.width() - expected.width() - line_mm;
        let high = found.height() - expected.height() - line_mm;
        println!("{what}: off by {wide:.3} and {high:.3} mm");
        assert!(
            wide.abs() <= 0.1 && high.abs() <= 0.1,
            "{what}: {found:?} {expected:?}"
        );
    };
    let red = || mostly([0xd3, 0x30, 0x2f]);
    let mask = mask_outlines(&made.plan, told, card)[0].bounds();
    same("mask", printed("masks.pdf", 1).around(red()), mask, 0.2);

    // The panel's corners are 0.35 mm wide, the outlines of stamps 0.3 mm.
    let layout = printed("layout.pdf", 1);
    let corners = layout.around(mostly([0x2b, 0x2b, 0x2b]));
    same("panel", corners, Rect::new(0.0, 0.0, 100.0, 130.0), 0.35);
    let outlines = card.images[..2]
        .iter()
        .map(|i| card.arts[i.art].whole.placed(i.to_frame).bounds());
    let outlines = outlines.reduce(|a, b| a.union(b)).unwrap();
    let found = layout.around(mostly([0xb9, 0xc6, 0xd2]));
    same("stamps", found, outlines, 0.3);
    for (found, expected) in [
        (found.x0 - corners.x0, outlines.x0),
        (found.y0 - corners.y0, outlines.y0),
    ] {
        assert!((found - expected).abs() <= 0.1, "{found} {expected}");
    }

    // The panel and its pale page, the pale page of the pieces, and then these.
    let piece = &card.images[2];
    let cut = piece.cut.as_ref().unwrap().placed(piece.to_frame).bounds();
    same(
        "cut line",
        printed("overlay.pdf", 4).around(red()),
        cut,
        0.2,
    );
    // The same for a machine: one millimeter is one unit.
    let svg = files.iter().find(|(n, _)| n == "cut-1.svg").unwrap();
    let svg = String::from_utf8_lossy(&svg.1).into_owned();
    let drawing = resvg::usvg::roxmltree::Document::parse(&svg).unwrap();
    let root = drawing.root_element();
    let attribute = |name| root.attribute(name).unwrap();
    let sheet = card.grounds[1].rect;
    let size = [sheet.width(), sheet.height()];
    for (name, side) in ["width", "height"].into_iter().zip(size) {
        let mm = attribute(name).strip_suffix("mm").unwrap();
        assert!((mm.parse::<f64>().unwrap() - side).abs() < 0.006, "{mm}");
    }
    let [w, h] = ["width", "height"].map(|name| attribute(name).replace("mm", ""));
    assert_eq!(attribute("viewBox"), format!("0 0 {w} {h}"));
    let path = root.descendants().find_map(|n| n.attribute("d")).unwrap();
    let path = kurbo::BezPath::from_svg(path).unwrap().bounding_box();
    same("cut-1.svg", path, cut, 0.0);
}

#[test]
fn what_is_wholly_hidden_is_neither_stamped_nor_masked_for() {
    let dir = tempfile::tempdir().unwrap();
    let small = "[[stamp]]\nname = \"small\"\nart = \"ell.svg\"\nwidth = \"8mm\"\nat = [50, 60]\nturn = 720\n";
    let tables = format!(
        "{PANEL}{}{small}",
        stamp("large", "blob", [50.0, 60.0], "over = \"small\"")
    );
    let made = made(dir.path(), &tables).unwrap();
    check(&made);
    let card = made.plan.card.as_ref().unwrap();
    assert!(card.masks.is_empty());
    assert!(card.stamping.iter().all(|step| !step.say.contains("small")));
    let mut notes = made.plan.warnings.iter();
    assert!(notes.any(|n| n.contains("small is wholly hidden")));
}

/// What of a mask hangs over the panel is cut off only if nothing else needs it.
#[test]
fn a_mask_for_several_is_whole_though_one_of_them_hangs_over_the_edge() {
    let dir = tempfile::tempdir().unwrap();
    let edge = stamp("edge", "blob", [4.0, 40.0], "over = \"one\"")
        + &stamp("one", "ell", [20.0, 55.0], "");
    let inside = stamp("inside", "blob", [60.0, 100.0], "over = \"two\"")
        + &stamp("two", "ell", [80.0, 110.0], "");
    for (tables, images) in [(format!("{edge}{inside}"), 2), (edge, 1)] {
        let made = made(dir.path(), &format!("{PANEL}{tables}")).unwrap();
        let (told, card) = (
            made.plan.card.as_ref().unwrap(),
            made.card.as_ref().unwrap(),
        );
        assert_eq!(told.masks.len(), 1);
        assert_eq!(told.masks[0].images.len(), images);
        let mask = mask_outlines(&made.plan, told, card)[0].area_mm2();
        let whole = card.arts[card.images[0].art].outline.offset(-0.5);
        let share = mask / whole.area_mm2();
        println!("mask for {images}: {share:.3} of the whole");
        match images {
            1 => assert!(share < 0.9, "{share}"),
            _ => assert!((share - 1.0).abs() < 0.001, "{share}"),
        }
    }
}

/// What poppler reads on the pages of a file of the plan.
fn read(dir: &Path, made: &Made, name: &str) -> String {
    let files = folder(made, false, Path::to_owned).unwrap();
    let pdf = &files.iter().find(|(n, _)| n == name).unwrap().1;
    let file = dir.join(name);
    std::fs::write(&file, pdf).unwrap();
    let told = Command::new("pdftotext")
        .args(["-layout".as_ref(), file.as_os_str(), "-".as_ref()])
        .output()
        .unwrap();
    assert!(told.status.success());
    String::from_utf8(told.stdout).unwrap()
}

/// An art of a bar, `w` by `h` millimeters.
fn bar(folder: &Path, name: &str, [w, h]: [f64; 2]) {
    let svg = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='{w}mm' height='{h}mm' viewBox='0 0 {w} {h}'>\
         <path d='M1 1H{}V{}H1Z' fill='none' stroke='#000' stroke-width='0.6'/></svg>",
        w - 1.0,
        h - 1.0
    );
    std::fs::write(folder.join(name), svg).unwrap();
}

fn bar_stamp(name: &str, [w, x, y]: [f64; 3], over: &str) -> String {
    format!(
        "[[stamp]]\nname = \"{name}\"\nart = \"{name}.svg\"\nwidth = \"{w}mm\"\nat = [{x}, {y}]\n\
         over = \"{over}\"\n[[stamp.part]]\ncolor = \"#c2452d\"\n"
    )
}

/// A mask as high as the page, one as high and as wide, and one larger than the page.
#[test]
fn a_mask_without_room_for_its_words_below_has_them_elsewhere_and_all_others_are_printed() {
    if !common::has("pdftotext") {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    bar(dir.path(), "narrow.svg", [30.0, 235.0]);
    bar(dir.path(), "broad.svg", [160.0, 235.0]);
    bar(dir.path(), "long.svg", [320.0, 20.0]);
    let small = stamp("small", "ell", [170.0, 40.0], "");
    let panel = "[panel]\nsize = \"180x240mm\"\n";
    let narrow = bar_stamp("narrow", [30.0, 100.0, 121.5], "broad");
    let broad = bar_stamp("broad", [160.0, 90.0, 120.0], "small");
    let made = made(dir.path(), &format!("{panel}{narrow}{broad}{small}")).unwrap();
    let masks = &made.plan.card.as_ref().unwrap().masks;
    assert_eq!(masks.len(), 2);
    let told = read(dir.path(), &made, "masks.pdf");
    for words in ["Mask A", "Mask B", "for narrow", "for broad"] {
        assert!(told.contains(words), "{words}: {told}");
    }
    // Both are there at true size.
    for page in [1, 2] {
        let printed = Printed::of(
            dir.path(),
            &std::fs::read(dir.path().join("masks.pdf")).unwrap(),
            page,
        );
        let red = printed.around(mostly([0xd3, 0x30, 0x2f]));
        assert!((red.height() - 232.8).abs() < 0.15, "page {page}: {red:?}");
    }

    // Of one art on both sides of the panel, whole: longer than A4.
    let table = bar_stamp("long", [320.0, 40.0, 60.0], "small");
    let again = "[[stamp]]\nname = \"again\"\nart = \"long.svg\"\nwidth = \"320mm\"\nat = [140, 190]\nover = \"low\"\n";
    let low = stamp("low", "ell", [100.0, 190.0], "");
    let blob = stamp("blob", "blob", [60.0, 120.0], "over = \"low\"\n").replace("190", "120");
    let other = stamp("under", "ell", [70.0, 130.0], "");
    let blob = blob.replace("\"low\"", "\"under\"");
    let tables = format!(
        "{panel}{table}{again}{blob}{}{low}{other}",
        small.replace("170, 40", "150, 60")
    );
    let made = self::made(dir.path(), &tables).unwrap();
    let masks = &made.plan.card.as_ref().unwrap().masks;
    assert_eq!(masks.len(), 2);
    let told = read(dir.path(), &made, "masks.pdf");
    for words in ["Mask A", "Mask B", "for blob", "larger than a page"] {
        assert!(told.contains(words), "{words}: {told}");
    }
}

#[test]
fn a_mask_for_more_stamps_than_its_caption_holds_says_how_many() {
    if !common::has("pdftotext") {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let small = |name: String, art: &str, at: [f64; 2], more: &str| {
        stamp(&name, art, at, more).replace("40mm", "20mm")
    };
    let tables: String = (0..6)
        .map(|k| {
            let (x, y) = (
                22.0 + f64::from(k % 3) * 28.0,
                25.0 + f64::from(k / 3) * 50.0,
            );
            let over = format!("over = \"back {k}\"");
            small(format!("front {k}"), "blob", [x, y], &over)
                + &small(format!("back {k}"), "ell", [x + 5.0, y + 5.0], "")
        })
        .collect();
    let made = made(dir.path(), &format!("{PANEL}{tables}")).unwrap();
    let masks = &made.plan.card.as_ref().unwrap().masks;
    assert_eq!((masks.len(), masks[0].images.len()), (1, 6));
    let told = read(dir.path(), &made, "masks.pdf");
    assert!(told.contains("and 2 more"), "{told}");
}

/// A dark thing under a piece is as far from its color as one that shows: it is not colored at all.
#[test]
fn what_a_piece_covers_is_no_part_of_how_far_the_card_is_from_its_colors() {
    let dir = tempfile::tempdir().unwrap();
    let mean = |at: &str| {
        let piece = format!(
            "[[piece]]\nname = \"patch\"\nart = \"blob.svg\"\nwidth = \"90mm\"\n{at}\n\
             [[piece.part]]\ncolor = \"#5f86b3\"\n"
        );
        let under =
            stamp("under", "ell", [30.0, 30.0], "") + &stamp("beside", "ell", [80.0, 105.0], "");
        let under = under.replace("#c2452d", "#301818");
        let made = made(dir.path(), &format!("{PANEL}{under}{piece}")).unwrap();
        let covered = made.plan.sections.iter().filter(|s| s.covered.is_some());
        (made.plan.figures.mean_delta_e, covered.count() > 0)
    };
    let (loose, glued) = (mean(""), mean("at = [[30, 30]]"));
    println!("{loose:?} {glued:?}");
    assert!(!loose.1 && glued.1);
    assert!((loose.0 - glued.0).abs() < 1.5, "{loose:?} {glued:?}");
}

#[test]
fn pieces_of_one_entry_are_told_by_their_number() {
    let dir = tempfile::tempdir().unwrap();
    let piece = |name: &str, more: &str| {
        format!(
            "[[piece]]\nname = \"{name}\"\nart = \"blob.svg\"\nwidth = \"20mm\"\n{more}\n\
             [[piece.part]]\ncolor = \"#5f86b3\"\n"
        )
    };
    let (leaf, bud) = (
        piece("leaf", "count = 12\nat = [[30, 30]]"),
        piece("bud", ""),
    );
    let made = made(dir.path(), &format!("{PANEL}{leaf}{bud}")).unwrap();
    let card = made.plan.card.as_ref().unwrap();
    let says = |steps: &[penstrata::plan::CardStep], start: &str| {
        steps.iter().any(|step| step.say.starts_with(start))
    };
    assert!(says(
        &card.stamping,
        "Stamp 12 of leaf and bud on card of their own"
    ));
    assert!(says(&card.finishing, "Cut out 12 of leaf and bud along"));
    // What is glued is one of them.
    assert!(says(&card.finishing, "Glue leaf 1 on"));
}

/// A row of small cells along the lower edge of the panel, with pieces below it in the working frame: more numbers than
/// there is room for, and none stands where there is no card, or on another sheet.
#[test]
fn numbers_stay_on_the_sheet_of_their_sections() {
    let dir = tempfile::tempdir().unwrap();
    let mut lines = "M1 1H89V7.4H1ZM1 3.13H89M1 5.26H89".to_owned();
    for k in 1..44 {
        let _ = write!(lines, "M{} 1V7.4", 1 + 2 * k);
    }
    let svg = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='90mm' height='8mm' viewBox='0 0 90 8'>\
         <path d='{lines}' fill='none' stroke='#000' stroke-width='0.5'/></svg>"
    );
    std::fs::write(dir.path().join("strip.svg"), svg).unwrap();
    let colors = [
        "#7f9c46", "#b5362a", "#5f86b3", "#e0b45f", "#8a5a35", "#a88fbf", "#f2b3a4", "#303030",
    ];
    let mut tables =
        "[panel]\nsize = \"105x148mm\"\n[[stamp]]\nname = \"strip\"\nart = \"strip.svg\"\n\
                      width = \"90mm\"\nat = [52, 144.3]\n"
            .to_owned();
    for (n, color) in colors.iter().enumerate() {
        let mine = (0..132).filter(|k| (k % 44 + 3 * (k / 44)) % 8 == n);
        let cells: Vec<String> = mine
            .map(|k| {
                let (x, y) = (2 + 2 * (k % 44), [2.1, 4.2, 6.3][k / 44]);
                format!("[{x}, {y}]")
            })
            .collect();
        let _ = write!(
            tables,
            "[[stamp.part]]\nname = \"k{n}\"\ncolor = \"{color}\"\nroundness = 0\ncells = [{}]\n",
            cells.join(", ")
        );
    }
    tables += "[[piece]]\nname = \"p\"\nart = \"blob.svg\"\nwidth = \"20mm\"\ncount = 3\n\
               [[piece.part]]\ncolor = \"#b5362a\"\n";
    let made = made(dir.path(), &tables).unwrap();
    check(&made);
    assert!(made.labels.labels.iter().any(|l| !l.leaders.is_empty()));
}

#[test]
fn the_panel_around_the_stamps_is_colored_if_wished() {
    let dir = tempfile::tempdir().unwrap();
    let tables = |background: &str| {
        format!(
            "{background}\n{PANEL}{}{}[[piece]]\nname = \"patch\"\nart = \"blob.svg\"\nwidth = \"20mm\"\nat = [[80, 110]]\n\
             [[piece.part]]\ncolor = \"#5f86b3\"\n",
            stamp("one", "blob", [30.0, 30.0], ""),
            stamp("two", "ell", [60.0, 80.0], "turn = 30")
        )
    };
    let bare = made(dir.path(), &tables("")).unwrap();
    let colored = made(
        dir.path(),
        &tables("background = { pen = \"Harbor Mist\" }"),
    )
    .unwrap();
    check(&colored);
    let around: Vec<_> = colored
        .plan
        .sections
        .iter()
        .filter(|s| s.image.is_none())
        .collect();
    assert!(
        !around.is_empty()
            && around
                .iter()
                .all(|s| s.pen.as_deref() == Some("Harbor Mist"))
    );
    // All of the panel that no stamp covers; half a pixel along the edges of 40 x 40 mm and the frame is 20 mm2.
    let card = colored.card.as_ref().unwrap();
    let solid = card.owner.data.iter().zip(0..);
    let width = card.owner.width;
    let on_panel = |i: usize| i % width < 1000 && i / width < 1300;
    let stamped = solid.filter(|&(o, i)| *o > 0 && on_panel(i)).count() as f64 * 0.01;
    let area: f64 = around.iter().map(|s| s.area_mm2).sum();
    assert!((area + stamped - 13000.0).abs() < 20.0, "{area} {stamped}");
    // What is stamped looks as before.
    let pens = |made: &Made| {
        let stamps = made.plan.sections.iter().filter(|s| s.image.is_some());
        stamps.map(|s| s.pen.clone()).collect::<Vec<_>>()
    };
    assert_eq!(pens(&bare), pens(&colored));

    let auto = made(dir.path(), &tables("background = \"auto\"")).unwrap();
    let backdrop = &auto.plan.backdrops[0];
    assert!(
        (backdrop.area_mm2 + stamped - 13000.0).abs() < 20.0,
        "{}",
        backdrop.area_mm2
    );
    let refused = made(dir.path(), &tables("background = true"))
        .err()
        .unwrap();
    assert!(
        refused.contains("no photo is for the whole panel"),
        "{refused}"
    );
}

#[test]
fn a_variant_keeps_the_wishes_of_the_job_and_puts_its_own_before_them() {
    let dir = tempfile::tempdir().unwrap();
    let plain = made(
        dir.path(),
        &format!("{PANEL}{}", stamp("one", "blob", [50.0, 60.0], "")),
    )
    .unwrap();
    let band = &plain.plan.bands[0].name;
    let inside = plain.plan.sections[0].inside_mm;
    std::fs::write(
        dir.path().join("few.csv"),
        "name,color,refill,condition\nA,#e8802b,yes,good\nB,#b04a20,yes,good\nC,#7a2a12,yes,good\nD,#f2b98c,yes,good\n",
    )
    .unwrap();
    let [x, y] = inside;
    let tables = format!(
        "forbid = [\"Ember\"]\n{PANEL}{}[[pen]]\nband = \"{band}\"\nname = \"Denim\"\n\
         [[variant]]\nname = \"kept\"\nhue = 120\n\
         [[variant]]\nname = \"own\"\n[[variant.pen]]\nband = \"{band}\"\nname = \"Moss Stone\"\n\
         [[variant]]\nname = \"section\"\n[[variant.pen]]\nat = [[{x}, {y}]]\nname = \"Ember\"\n\
         [[variant]]\nname = \"forbidden\"\nforbid = [\"Denim\"]\n\
         [[variant]]\nname = \"other pens\"\npens = \"few.csv\"\n",
        stamp("one", "blob", [50.0, 60.0], "")
    );
    let made = made(dir.path(), &tables).unwrap();
    let pens_of = |name: &str| -> Vec<String> {
        let found = made.variants.iter().find(|v| v.0 == name);
        let (_, variant) = found.unwrap_or_else(|| panic!("{name}: {:?}", made.plan.warnings));
        check(variant);
        let sections = variant.plan.sections.iter();
        sections.filter_map(|s| s.pen.clone()).collect()
    };
    let has = |name: &str, pen: &str| pens_of(name).iter().any(|p| p == pen);
    assert!(has("kept", "Denim") && !has("kept", "Ember"));
    assert!(has("own", "Moss Stone") && !has("own", "Denim"));
    assert!(has("section", "Ember"));
    assert!(!has("forbidden", "Denim"));
    assert!(!has("other pens", "Denim"));
    let (_, other) = made.variants.iter().find(|v| v.0 == "other pens").unwrap();
    let mut notes = other.plan.warnings.iter();
    assert!(notes.any(|n| n.contains("Denim is wished for") && n.contains("does not list it")));
    // Its own wishes must hold.
    let wrong = format!(
        "{PANEL}{}[[variant]]\nname = \"v\"\n[[variant.pen]]\nband = \"teal 3\"\nname = \"Denim\"\n",
        stamp("one", "blob", [50.0, 60.0], "")
    );
    let refused = self::made(dir.path(), &wrong).err().unwrap();
    assert!(
        refused.contains("variant v") && refused.contains("teal 3"),
        "{refused}"
    );
}

/// The demo: order of work, masks, pieces, variants and accents are all there.
#[test]
fn the_demo_card_can_be_made_tonight() {
    let text = std::fs::read_to_string(common::root().join("demo/card.toml")).unwrap();
    let mut job = Job::parse(Path::new("card.toml"), &text).unwrap();
    job.rebase(|p| common::root().join("demo").join(p));
    let made = make_plan(&job, &|_| {}).unwrap();
    check(&made);
    let card = made.plan.card.as_ref().unwrap();
    assert_eq!(card.masks.len(), 2);
    assert_eq!(card.images.iter().filter(|i| i.piece).count(), 2);
    assert_eq!(made.variants.len(), 2);
    let said: Vec<&str> = card.stamping.iter().map(|s| s.say.as_str()).collect();
    let at = |start: &str| said.iter().position(|s| s.starts_with(start)).unwrap();
    assert!(at("Stamp mushroom") < at("Lay mask A") && at("Lay mask A") < at("Stamp lantern"));
    assert!(at("Stamp lantern") < at("Lay mask B") && at("Lay mask B") < at("Stamp fern"));
    assert!(
        made.plan
            .accents
            .as_ref()
            .is_some_and(|a| !a.matching.is_empty())
    );
}
