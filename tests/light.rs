//! Color and light without a photo, against geometry, Lambert's law and SciPy; and what a job can get wrong.

mod common;

use std::path::Path;

use penstrata::art::{Cells, Lines, find_cells, find_lines};
use penstrata::color::Srgb8;
use penstrata::frame::MM_PER_PX;
use penstrata::grid::Grid;
use penstrata::input::make_plan;
use penstrata::job::WhiteShadows;
use penstrata::light::{Lamp, Lit, LitPart, Node, ambient_of, inflate, light_parts};

/// SciPy 1.17.1, spsolve, on a silhouette with a covered side and a held line (tests/scripts/poisson_values.py).
#[test]
fn the_solver_agrees_with_scipys_direct_one() {
    let horse = image::open(common::data("horse.png")).unwrap().into_luma8();
    let mask: Grid<u8> = horse.into();
    let filled = penstrata::reference::fill_holes(&mask.map(|v| v > 127));
    let nodes = Grid {
        width: filled.width,
        height: filled.height,
        data: (0..filled.data.len())
            .map(|i| match (i % filled.width, i / filled.width) {
                _ if !filled.data[i] => Node::Beyond,
                (260.., _) => Node::Covered,
                (120..160, 100) => Node::Held(3.0),
                _ => Node::Form,
            })
            .collect(),
    };
    let u = inflate(&nodes, 0.2);
    let mut rows = 0;
    for row in csv::Reader::from_path(common::data("poisson.csv"))
        .unwrap()
        .records()
    {
        let row = row.unwrap();
        let at = |k: usize| row[k].parse::<usize>().unwrap();
        let expected: f64 = row[2].parse().unwrap();
        let found = u.at(at(0), at(1));
        assert!(
            (found - expected).abs() < 1e-4 * expected.max(1.0),
            "{row:?}: {found}"
        );
        rows += 1;
    }
    assert!(rows > 100);
}

/// A drawing of lines where `on` says so, in millimeters from the top left.
fn drawing(width_mm: f64, height_mm: f64, on: impl Fn(f64, f64) -> bool) -> (Cells, Lines) {
    let (width, height) = (
        (width_mm / MM_PER_PX) as usize,
        (height_mm / MM_PER_PX) as usize,
    );
    let place = |v: usize| (v as f64 + 0.5) * MM_PER_PX;
    let page = Grid {
        width,
        height,
        data: (0..width * height)
            .map(|i| {
                if on(place(i % width), place(i / width)) {
                    0u8
                } else {
                    255
                }
            })
            .collect(),
    };
    let lines = find_lines(page, MM_PER_PX, Path::new("drawing")).unwrap();
    let cells = find_cells(&lines.wall, 0.8, MM_PER_PX, false).unwrap();
    (cells, lines)
}

fn ball(cells: Vec<u16>) -> LitPart {
    LitPart {
        cells,
        pen: None,
        color: Srgb8::new(190, 90, 60),
        roundness: 1.0,
        gloss: 0.0,
        crease: 0.0,
        over: vec![],
        shadow_mm: 0.0,
    }
}

fn lightness(lit: &Lit, i: usize) -> f64 {
    f64::from(Srgb8(lit.picture.data[i]).lab().l)
}

/// Seeds lie on a berry and do not dent it; a line that ends in it does not either, unless it is to crease it.
#[test]
fn what_lies_on_a_form_does_not_dent_it() {
    let ring = |x: f64, y: f64, cx: f64, cy: f64, r: f64| ((x - cx).hypot(y - cy) - r).abs() < 0.2;
    let lamp = Lamp::new(315.0, 45.0);
    let (cells, lines) = drawing(50.0, 50.0, |x, y| ring(x, y, 25.0, 25.0, 20.0));
    let plain = light_parts(
        &[ball(vec![1])],
        &lamp,
        WhiteShadows::Neutral,
        &cells,
        &lines,
        MM_PER_PX,
    );
    let (cells, lines) = drawing(50.0, 50.0, |x, y| {
        let seeds = [(20.0, 20.0), (30.0, 22.0), (26.0, 32.0), (15.0, 30.0)];
        ring(x, y, 25.0, 25.0, 20.0) || seeds.iter().any(|&(cx, cy)| ring(x, y, cx, cy, 1.6))
    });
    assert_eq!(cells.count, 5);
    let berry = cells.cell_at([25.0, 25.0], MM_PER_PX).unwrap();
    let seeded = light_parts(
        &[ball(vec![berry])],
        &lamp,
        WhiteShadows::Neutral,
        &cells,
        &lines,
        MM_PER_PX,
    );
    let mut worst = 0.0f64;
    for i in 0..cells.map.data.len() {
        if cells.map.data[i] == berry {
            worst = worst.max((lightness(&plain, i) - lightness(&seeded, i)).abs());
        }
    }
    assert!(worst < 1.5, "{worst} L*");
}

/// A ring lies across the rim of a disk: what shows of the disk in its hole is lit about as without the ring.
#[test]
fn what_shows_through_a_hole_of_something_in_front_keeps_its_form() {
    let circle = |x: f64, cx: f64, y: f64, r: f64| ((x - cx).hypot(y - 25.0) - r).abs() < 0.2;
    let lamp = Lamp::new(315.0, 45.0);
    let lit = |parts: &[LitPart], (cells, lines): &(Cells, Lines)| {
        light_parts(parts, &lamp, WhiteShadows::Neutral, cells, lines, MM_PER_PX)
    };
    let disk = drawing(50.0, 50.0, |x, y| circle(x, 25.0, y, 20.0));
    let plain = lit(&[ball(vec![1])], &disk);
    let ringed = drawing(50.0, 50.0, |x, y| {
        let in_front = (x - 37.5).hypot(y - 25.0) < 8.5;
        (!in_front && circle(x, 25.0, y, 20.0)) || [5.0, 8.5].iter().any(|&r| circle(x, 37.5, y, r))
    });
    let [disk, hole, ring] = [[15.0, 25.0], [37.5, 25.0], [37.5, 18.2]]
        .map(|at| ringed.0.cell_at(at, MM_PER_PX).unwrap());
    let behind = ball(vec![disk, hole]);
    let in_front = LitPart {
        over: vec![0],
        ..ball(vec![ring])
    };
    let seen = lit(&[behind, in_front], &ringed);
    // A part's middle tone is that of what shows of it, so all of it may be a little lighter or darker.
    let lighter: Vec<f64> = (0..ringed.0.map.data.len())
        .filter(|&i| ringed.0.map.data[i] == hole)
        .map(|i| lightness(&seen, i) - lightness(&plain, i))
        .collect();
    let mean = lighter.iter().sum::<f64>() / lighter.len() as f64;
    let worst = lighter.iter().map(|l| (l - mean).abs()).fold(0.0, f64::max);
    assert!(worst < 4.0 && mean.abs() < 4.0, "{worst} and {mean} L*");
}

/// A heart lit from above, on a frame of an even number of pixels, is its own mirror image.
#[test]
fn a_symmetric_drawing_lit_from_above_is_lit_symmetrically() {
    // Two disks and a triangle; ink along the rim.
    let inside = |x: f64, y: f64| {
        let (x, y) = ((x - 30.0).abs(), y - 20.0);
        (x - 10.0).hypot(y) < 12.0 || (y > 0.0 && x / 21.0 + y / 30.0 < 1.0)
    };
    let rim = |x: f64, y: f64| {
        let near = (0..8).map(|k| {
            let (sin, cos) = (f64::from(k) * std::f64::consts::FRAC_PI_4).sin_cos();
            inside(x + 0.25 * cos, y + 0.25 * sin)
        });
        let near: Vec<bool> = near.collect();
        near.contains(&true) && near.contains(&false)
    };
    let (cells, lines) = drawing(60.0, 60.0, rim);
    let lit = light_parts(
        &[ball(vec![1])],
        &Lamp::new(0.0, 40.0),
        WhiteShadows::Neutral,
        &cells,
        &lines,
        MM_PER_PX,
    );
    // Within 1 L* of what is mirrored, at most 0.2 mm away.
    let is_like = |x: usize, y: usize, l: f64| {
        (y - 2..=y + 2)
            .any(|y| (x - 2..=x + 2).any(|x| (lightness(&lit, y * 600 + x) - l).abs() < 1.0))
    };
    let (mut off, mut counted) = (0, 0);
    for y in 2..598 {
        for x in 2..300 {
            if cells.map.data[y * 600 + x] > 0 {
                counted += 1;
                off += usize::from(!is_like(599 - x, y, lightness(&lit, y * 600 + x)));
            }
        }
    }
    assert!(counted > 30_000 && off == 0, "{off} of {counted}");
}

/// Lambert (1760): over a disk of radius r the light is that of a half sphere, `n = (x, y, sqrt(r² - x² - y²)) / r`, so
/// every border of the plan keeps to one value of the cosine between `n` and the lamp: an arc of an ellipse.
#[test]
fn borders_on_a_lit_disk_are_the_ellipses_of_lamberts_law() {
    let dir = tempfile::tempdir().unwrap();
    let art = dir.path().join("disk.svg");
    std::fs::write(
        &art,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 100 100\"><circle cx=\"50\" cy=\"50\" r=\"40\" \
         fill=\"none\" stroke=\"#000\" stroke-width=\"0.6\"/></svg>",
    )
    .unwrap();
    let mut job = common::job(Path::new("none"), dir.path());
    job.reference = None;
    job.art = Some(art);
    job.width = Some("100mm".parse().unwrap());
    job.parts = parts("[[part]]\ncolor = \"#b98247\"\nroundness = 1");
    let made = make_plan(&job, &|_| {}).unwrap();

    let lamp = Lamp::new(job.light.degrees, job.light_height).toward;
    let r = 40.0;
    let cosine = |x: f64, y: f64| {
        let (x, y) = (x - 50.0, y - 50.0);
        (x * lamp[0] + y * lamp[1] + (r * r - x * x - y * y).max(0.0).sqrt() * lamp[2]) / r
    };
    let map = &made.sections.map;
    // Per pair of bands: the light at every place of their border, and how far one unit of it is, in millimeters.
    let mut borders = std::collections::BTreeMap::<(usize, usize), Vec<(f64, f64)>>::new();
    let band = |id: u16| made.sections.list[usize::from(id) - 1].band;
    for i in 0..map.data.len() {
        let (x, y) = ((i % map.width) as f64 * 0.1, (i / map.width) as f64 * 0.1);
        for (j, dx, dy) in [(i + 1, 0.1, 0.05), (i + map.width, 0.05, 0.1)] {
            let (Some(&a), Some(&b)) = (map.data.get(i), map.data.get(j)) else {
                continue;
            };
            // The rule of the nib and the rim bend the last two nibs before the outline.
            let (x, y) = (x + dx, y + dy);
            if a > 0 && b > 0 && band(a) != band(b) && (x - 50.0).hypot(y - 50.0) < r - 3.0 {
                let h = 0.01;
                let across = (cosine(x + h, y) - cosine(x - h, y)) / (2.0 * h);
                let along = (cosine(x, y + h) - cosine(x, y - h)) / (2.0 * h);
                let pair = (band(a).min(band(b)), band(a).max(band(b)));
                borders
                    .entry(pair)
                    .or_default()
                    .push((cosine(x, y), 1.0 / across.hypot(along)));
            }
        }
    }
    assert!(!borders.is_empty());
    for (pair, places) in borders {
        let mut values: Vec<f64> = places.iter().map(|p| p.0).collect();
        values.sort_by(f64::total_cmp);
        let middle = values[values.len() / 2];
        let mut off: Vec<f64> = places
            .iter()
            .map(|(v, mm)| (v - middle).abs() * mm)
            .collect();
        off.sort_by(f64::total_cmp);
        let most = off[off.len() * 95 / 100];
        println!(
            "{pair:?}: 95 % within {most:.3} mm, all within {:.3} mm",
            off[off.len() - 1]
        );
        assert!(most < 0.2, "{pair:?}: {most} mm");
    }
}

#[derive(serde::Deserialize)]
struct Entries {
    #[serde(rename = "part")]
    parts: Vec<penstrata::job::PartEntry>,
}

fn parts(text: &str) -> Vec<penstrata::job::PartEntry> {
    toml::from_str::<Entries>(text).unwrap().parts
}

#[test]
fn a_job_without_a_photo_is_planned_and_the_middle_tone_is_the_color() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("plan");
    let demo = common::root().join("demo/light.toml");
    let run = common::penstrata(&[
        "plan",
        demo.to_str().unwrap(),
        "--out",
        out.to_str().unwrap(),
    ]);
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    let plan: serde_json::Value =
        serde_json::from_slice(&std::fs::read(out.join("plan.json")).unwrap()).unwrap();
    // The pen that a part names is among those used.
    for pen in [
        "Copper Kettle",
        "Apricot Jam",
        "Moss Stone",
        "Oat Milk",
        "Denim",
    ] {
        assert!(plan["numbers"].to_string().contains(pen), "{pen}");
    }
    // The job in plan.json is the job.
    let again = dir.path().join("again");
    let json = out.join("plan.json");
    let run = common::penstrata(&[
        "plan",
        json.to_str().unwrap(),
        "--out",
        again.to_str().unwrap(),
    ]);
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    for file in ["overlay.svg", "preview.png", "guide.html"] {
        assert!(
            std::fs::read(out.join(file)).unwrap() == std::fs::read(again.join(file)).unwrap(),
            "{file}"
        );
    }
}

#[test]
fn a_pen_that_a_part_names_is_used_even_where_its_twin_would_be_chosen() {
    let dir = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(dir.path().join(name), text).unwrap();
    write(
        "disk.svg",
        "<svg xmlns='http://www.w3.org/2000/svg' width='60mm' height='60mm' viewBox='0 0 60 60'>\
         <circle cx='30' cy='30' r='24' fill='none' stroke='black'/></svg>",
    );
    // The twin has a refill and is as near as can be.
    write(
        "pens.csv",
        "name,color,refill,condition\nRed Barn,#b5402a,yes,good\nOld Barn,#b5412b,no,good\n\
         Pale Barn,#d98a78,yes,good\nDark Barn,#7a2317,yes,good\n",
    );
    for (named, other) in [("Old Barn", "Red Barn"), ("Red Barn", "Old Barn")] {
        let job = format!(
            "art = \"disk.svg\"\npens = \"pens.csv\"\nwidth = \"60mm\"\nout = \"{named}\"\n\
             [[part]]\ncells = [[30.0, 30.0]]\npen = \"{named}\"\n"
        );
        write("job.toml", &job);
        let read = penstrata::input::read_job(&dir.path().join("job.toml")).unwrap();
        let plan = make_plan(&read, &|_| {}).unwrap().plan;
        let used: Vec<&str> = plan
            .sections
            .iter()
            .filter_map(|s| s.pen.as_deref())
            .collect();
        assert!(used.contains(&named), "{named}: {used:?}");
        assert!(!used.contains(&other), "{named}: {used:?}");
    }
}

#[test]
fn every_mistake_in_parts_is_told_with_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    let art = common::root().join("demo/snail.svg");
    for (text, words) in [
        ("", &["neither a photo nor a color", "penstrata cells"][..]),
        (
            "[[part]]\ncells = [[59.2, 46.7]]",
            &["part 1", "none of photo, color and pen"],
        ),
        (
            "[[part]]\ncolor = \"#c2452d\"\npen = \"Paprika\"",
            &["more than one"],
        ),
        ("[[part]]\ncolor = \"reddish\"", &["six digits"]),
        (
            "[[part]]\nname = \"shell\"\npen = \"No Such\"",
            &["\"shell\"", "No Such"],
        ),
        (
            "[[part]]\ncells = [[1.0, 1.0]]\npen = \"Paprika\"",
            &["[1, 1]", "no cell", "penstrata cells"],
        ),
        (
            "[[part]]\ncells = [[9000.0, -4.0]]\npen = \"Paprika\"",
            &["no cell"],
        ),
        (
            "[[part]]\ncells = [[nan, 1.0]]\npen = \"Paprika\"",
            &["not a number"],
        ),
        (
            "[[part]]\ncells = [[59.2, 46.7]]\npen = \"Paprika\"\n[[part]]\nname = \"b\"\ncells = [[60.0, 47.0]]\npen = \"Denim\"",
            &["[60, 47]", "\"b\"", "already"],
        ),
        (
            "[[part]]\npen = \"Paprika\"\n[[part]]\npen = \"Denim\"",
            &["without cells"],
        ),
        (
            "[[part]]\npen = \"Paprika\"\nroundness = 2",
            &["roundness", "0 to 1"],
        ),
        ("[[part]]\npen = \"Paprika\"\ngloss = nan", &["gloss"]),
        (
            "[[part]]\npen = \"Paprika\"\nshadow = \"90mm\"",
            &["shadow", "30mm"],
        ),
        (
            "[[part]]\npen = \"Paprika\"\nover = \"sky\"",
            &["\"sky\"", "no part"],
        ),
        (
            "[[part]]\nname = \"a\"\ncells = [[59.2, 46.7]]\npen = \"Paprika\"\nover = \"b\"\n\
             [[part]]\nname = \"b\"\npen = \"Denim\"\nover = \"a\"",
            &["circle", "\"a\" over \"b\""],
        ),
        (
            "[[part]]\nname = \"a\"\ncells = [[59.2, 46.7]]\npen = \"Paprika\"\n[[part]]\nname = \"a\"\npen = \"Denim\"",
            &["two parts are called \"a\""],
        ),
        ("[[part]]\npen = \"Paprika\"\ncolr = 1", &["colr"]),
    ] {
        let job = format!(
            "art = {:?}\npens = {:?}\nwidth = \"118mm\"\nout = \"plan\"\n{text}",
            art,
            common::pens()
        );
        let path = dir.path().join("job.toml");
        std::fs::write(&path, job).unwrap();
        let run = common::penstrata(&["plan", path.to_str().unwrap()]);
        let said = String::from_utf8_lossy(&run.stderr).into_owned();
        assert_eq!(run.status.code(), Some(1), "{text}\n{said}");
        assert!(!dir.path().join("plan").exists());
        for word in words {
            assert!(
                said.contains(word),
                "{text}\nsaid:\n{said}\nwithout {word:?}"
            );
        }
    }
    for (more, word) in [
        ("light = \"25:00\"", "clock face"),
        ("light_height = 0", "light_height"),
        ("white_shadows = \"pink\"", "warm"),
    ] {
        let path = dir.path().join("job.toml");
        let job = format!(
            "art = {art:?}\npens = {:?}\nwidth = \"118mm\"\nout = \"plan\"\n{more}\n[[part]]\npen = \"Paprika\"",
            common::pens()
        );
        std::fs::write(&path, job).unwrap();
        let run = common::penstrata(&["plan", path.to_str().unwrap()]);
        let said = String::from_utf8_lossy(&run.stderr).into_owned();
        assert!(
            run.status.code() == Some(1) && said.contains(word),
            "{more}\n{said}"
        );
    }
}

#[test]
fn the_cells_of_a_drawing_are_listed_with_points_inside_them() {
    let dir = tempfile::tempdir().unwrap();
    let picture = dir.path().join("cells.png");
    let art = common::root().join("demo/snail.svg");
    let args = [
        "cells",
        art.to_str().unwrap(),
        "--width",
        "118mm",
        "-o",
        picture.to_str().unwrap(),
    ];
    let run = common::penstrata(&args);
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    assert!(image::open(&picture).unwrap().width() > 500);
    let told = String::from_utf8(run.stdout).unwrap();
    let shell = told.lines().filter(|l| l.contains("[59.2, 46.7]")).count();
    assert_eq!(shell, 1, "{told}");
    // An existing picture is not replaced unasked.
    assert_eq!(common::penstrata(&args).status.code(), Some(1));
}

/// A ball as a photo shows it under Lambert's law (1760), with this ambient share and lamp; `pigment` is what its color
/// is multiplied by, by place.
fn photographed_ball(
    cells: &Cells,
    lamp: &Lamp,
    ambient: f64,
    pigment: impl Fn(usize, usize) -> f64,
) -> image::RgbImage {
    let linear = [0.50, 0.09, 0.04];
    let (width, height) = (cells.map.width as u32, cells.map.height as u32);
    image::RgbImage::from_fn(width, height, |x, y| {
        let at = |v: u32| ((f64::from(v) + 0.5) * MM_PER_PX - 25.0) / 20.0;
        let z = 1.0 - at(x).powi(2) - at(y).powi(2);
        if z < 0.0 {
            return image::Rgb([240; 3]);
        }
        let [lx, ly, lz] = lamp.toward;
        let direct = (at(x) * lx + at(y) * ly + z.sqrt() * lz).max(0.0);
        let light = (ambient + (1.0 - ambient) * direct) * pigment(x as usize, y as usize);
        // IEC 61966-2-1.
        let code = |v: f64| match v {
            ..=0.0031308 => 12.92 * v,
            _ => 1.055 * v.powf(1.0 / 2.4) - 0.055,
        };
        image::Rgb(linear.map(|c| (255.0 * code(c * light)).round() as u8))
    })
}

/// What the photo of a ball says of the light is what it was made with, within 0.01 if it is plain, and within 0.03 if it
/// is speckled or was saved as a JPEG. Under a lamp almost straight above only the rim is dark, part of which the drawn
/// line hides: there 0.06 more are missed. The share is that of the ball itself, which is neither black nor white.
#[test]
fn the_ambient_share_of_a_photo_is_found() {
    let (cells, _) = drawing(50.0, 50.0, |x, y| {
        ((x - 25.0).hypot(y - 25.0) - 20.0).abs() < 0.2
    });
    let found = |photo: image::RgbImage, lamp: &Lamp| {
        let (width, height) = (cells.map.width, cells.map.height);
        let picture = photo.pixels().map(|p| p.0).collect();
        let reference = penstrata::reference::Reference {
            picture: Grid {
                width,
                height,
                data: picture,
            },
            subject: Grid::filled(width, height, true),
            evidence: Grid::filled(width, height, u8::MAX),
            around: Grid::filled(width, height, false),
        };
        let owners = [None, Some(0)];
        ambient_of(&[reference], &owners, &cells, lamp, MM_PER_PX).expect("a ball")
    };
    for height in [25.0, 40.0, 60.0, 85.0] {
        for ambient in [0.15, 0.25, 0.4] {
            let lamp = Lamp::new(315.0, height);
            let plain = photographed_ball(&cells, &lamp, ambient, |_, _| 1.0);
            let speckled = photographed_ball(&cells, &lamp, ambient, |x, y| {
                [0.8, 1.0, 1.2][(x / 3 * 7 + y / 3 * 11) % 3]
            });
            let mut bytes = std::io::Cursor::new(Vec::new());
            image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 75)
                .encode_image(&plain)
                .unwrap();
            let jpeg = image::load_from_memory(bytes.get_ref())
                .unwrap()
                .into_rgb8();
            // The share on black that gives the ball, of the photo's own middle luminance, this one.
            for (name, photo, most) in [
                ("plain", plain, 0.01),
                ("speckled", speckled, 0.03),
                ("jpeg", jpeg, 0.03),
            ] {
                let mut lights: Vec<f64> = (0..cells.map.data.len())
                    .filter(|&i| cells.map.data[i] == 1)
                    .map(|i| {
                        let [r, g, b] = photo.as_raw()[3 * i..3 * i + 3] else {
                            unreachable!()
                        };
                        let linear: palette::LinSrgb<f64> =
                            palette::Srgb::new(r, g, b).into_linear();
                        0.2126 * linear.red + 0.7152 * linear.green + 0.0722 * linear.blue
                    })
                    .collect();
                lights.sort_by(f64::total_cmp);
                let most = if height > 80.0 { most + 0.06 } else { most };
                let pale = lights[lights.len() / 2];
                let black = found(photo, &lamp);
                let share = black + (0.55 - black) * pale;
                println!("{name}, lamp at {height}: {ambient} found as {share:.3}");
                assert!(
                    (share - ambient).abs() < most,
                    "{name}, lamp at {height}: {share} for {ambient}"
                );
            }
        }
    }
    // What shows less than a form tells nothing.
    let lamp = Lamp::new(315.0, 40.0);
    let owners = [None, None];
    assert_eq!(ambient_of(&[], &owners, &cells, &lamp, MM_PER_PX), None);
}
