//! A panel in a phone photo: its corners, the flat page, the drawn lines.

mod common;

use common::camera::Shot;
use penstrata::art::{Corners, find_corners, find_lines, flatten, lying, perspective};
use penstrata::frame::MM_PER_PX;
use penstrata::grid::Grid;
use penstrata::grid::squared_distance_to_rim;
use penstrata::reference::Photo;

/// A plum on a twig with a leaf, lines of `width` mm: our own drawing.
fn plum(width: f64) -> String {
    format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" width="148" height="105" viewBox="0 0 148 105"
        fill="none" stroke="#111" stroke-width="{width}">
        <path d="M 74 32 C 52 24 38 42 42 62 C 46 84 62 96 78 92 C 98 88 110 70 104 50 C 100 36 86 28 74 32 Z"/>
        <path d="M 74 32 C 70 46 68 66 72 90"/>
        <path d="M 74 32 C 74 24 78 16 86 10"/>
        <path d="M 84 14 C 96 4 114 8 122 20 C 108 28 94 26 84 14 Z M 84 14 C 96 18 108 20 122 20"/>
        </svg>"##
    )
}

/// Ink against ink, both ways, `reach_mm` apart at most: the share of all ink pixels that have a partner.
fn agreement(found: &Grid<bool>, expected: &Grid<bool>, reach_mm: f64) -> f64 {
    let near = |other: &Grid<bool>| -> Vec<bool> {
        // The distance to the other's ink is that to the rim of everything else.
        let away = other.map(|ink| u32::from(!ink));
        squared_distance_to_rim(&away)
            .iter()
            .zip(&other.data)
            .map(|(&d, &ink)| ink || (d.sqrt() + 0.5) * MM_PER_PX <= reach_mm)
            .collect()
    };
    let (by_found, by_expected) = (near(found), near(expected));
    let mut met = 0;
    let mut all = 0;
    for i in 0..found.data.len() {
        all += usize::from(found.data[i]) + usize::from(expected.data[i]);
        met += usize::from(found.data[i] && by_expected[i])
            + usize::from(expected.data[i] && by_found[i]);
    }
    met as f64 / all as f64
}

/// Distance on the panel between corners found and true, in millimeters; the largest of the four.
fn corner_error_mm(found: &Corners, truth: &Corners, size_mm: [f64; 2], photo: &Photo) -> f64 {
    // The found corner is seen at this place of the true panel.
    let to_photo = perspective(photo, truth, size_mm[0], size_mm[1]).unwrap();
    let [w, h] = size_mm;
    [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]]
        .iter()
        .zip(found)
        .map(|(&[x, y], f)| {
            // Newton's method on the perspective, from the true corner.
            let (mut x1, mut y1) = (x, y);
            for _ in 0..5 {
                let p = to_photo([x1, y1]);
                let (px, py) = (to_photo([x1 + 0.5, y1]), to_photo([x1, y1 + 0.5]));
                let j = [
                    [2.0 * (px[0] - p[0]), 2.0 * (py[0] - p[0])],
                    [2.0 * (px[1] - p[1]), 2.0 * (py[1] - p[1])],
                ];
                let det = j[0][0] * j[1][1] - j[0][1] * j[1][0];
                let (ex, ey) = (f[0] - p[0], f[1] - p[1]);
                x1 += (ex * j[1][1] - ey * j[0][1]) / det;
                y1 += (ey * j[0][0] - ex * j[1][0]) / det;
            }
            (x1 - x).hypot(y1 - y)
        })
        .fold(0.0, f64::max)
}

fn frame(size_mm: [f64; 2]) -> (usize, usize) {
    let [w, h] = size_mm.map(|mm| (mm / MM_PER_PX).round() as usize);
    (w, h)
}

fn ink_of(page: Grid<u8>) -> Grid<bool> {
    let lines = find_lines(page, MM_PER_PX, "panel".as_ref()).unwrap();
    Grid {
        width: lines.wall.width,
        height: lines.wall.height,
        data: (0..lines.wall.data.len())
            .map(|i| lines.wall.data[i] || lines.dots.data[i])
            .collect(),
    }
}

fn luma(picture: &Grid<[u8; 3]>) -> Grid<u8> {
    picture.map(|[r, g, b]| ((u32::from(r) + 2 * u32::from(g) + u32::from(b)) / 4) as u8)
}

/// The ink of the art itself: darker than half.
fn true_ink(drawing: &Grid<u8>) -> Grid<bool> {
    drawing.map(|v| v < 128)
}

/// Corners and lines of one synthetic photo; `quarter_turns` of the panel are left in the flat page.
fn check(name: &str, shot: &Shot, quarter_turns: usize) {
    let folder = tempfile::tempdir().unwrap();
    let photo = penstrata::input::read_photo(&shot.take(folder.path())).unwrap();
    let found = find_corners(&photo, [105.0, 148.0]).unwrap_or_else(|e| panic!("{name}: {e}"));
    let truth = shot.corners();
    let truth = [0, 1, 2, 3].map(|i| truth[(i + 4 - quarter_turns) % 4]);
    let size_mm = lying(&found, &photo, [105.0, 148.0]);
    let upright = quarter_turns % 2 == 1;
    assert_eq!(
        size_mm,
        if upright {
            [105.0, 148.0]
        } else {
            [148.0, 105.0]
        },
        "{name}"
    );
    let error = corner_error_mm(&found, &truth, size_mm, &photo);
    let (w, h) = frame(size_mm);
    let flat = flatten(&photo, &found, w, h, MM_PER_PX).unwrap();
    let ink = ink_of(luma(&flat));
    let mut expected = true_ink(&shot.drawing(1.0 / MM_PER_PX));
    for _ in 0..quarter_turns {
        let (w, h) = (expected.width, expected.height);
        expected = Grid {
            width: h,
            height: w,
            data: (0..w * h)
                .map(|i| expected.at(i / h, h - 1 - i % h))
                .collect(),
        };
    }
    let iou = agreement(&ink, &expected, 0.2);
    println!("{name}: corners within {error:.2} mm, lines agree {iou:.3}");
    assert!(error <= 0.5, "{name}: corners off by {error:.2} mm");
    assert!(iou >= 0.85, "{name}: lines agree by {iou:.3}");
}

#[test]
fn corners_and_lines_hold_at_35_degrees_from_two_sides() {
    let art = plum(0.6);
    for toward in [90.0, 10.0] {
        let shot = Shot {
            tilt: 35.0,
            toward,
            ..Shot::straight(&art)
        };
        check(&format!("35 degrees toward {toward}"), &shot, 0);
    }
}

#[test]
fn corners_and_lines_hold_on_a_dark_desk_and_on_one_close_to_the_paper() {
    let art = plum(0.6);
    let dark = Shot {
        desk: [30.0, 28.0, 27.0],
        ..Shot::straight(&art)
    };
    check("dark desk", &dark, 0);
    let light = Shot {
        desk: [226.0, 224.0, 218.0],
        tilt: 20.0,
        ..Shot::straight(&art)
    };
    check("light desk", &light, 0);
}

#[test]
fn corners_and_lines_hold_under_a_shadow_and_a_dim_lamp() {
    let art = plum(0.6);
    let shadow = Shot {
        shadow: 0.5,
        ..Shot::straight(&art)
    };
    check("shadow", &shadow, 0);
    let dim = Shot {
        dim: 0.35,
        noise: 6.0,
        ..Shot::straight(&art)
    };
    check("dim", &dim, 0);
}

#[test]
fn a_panel_may_lie_turned() {
    let art = plum(0.6);
    check(
        "turned 20",
        &Shot {
            turn: 20.0,
            ..Shot::straight(&art)
        },
        0,
    );
    check(
        "turned 90",
        &Shot {
            turn: 90.0,
            ..Shot::straight(&art)
        },
        1,
    );
}

#[test]
fn lines_of_a_quarter_millimeter_are_kept() {
    let art = plum(0.25);
    check(
        "0.25 mm",
        &Shot {
            tilt: 20.0,
            ..Shot::straight(&art)
        },
        0,
    );
    let art = plum(0.2);
    check(
        "0.2 mm",
        &Shot {
            noise: 4.0,
            ..Shot::straight(&art)
        },
        0,
    );
}

#[test]
fn a_frame_drawn_on_the_panel_is_not_taken_for_the_panel() {
    let art = plum(0.6).replace(
        "</svg>",
        r#"<rect x="6" y="6" width="136" height="93" stroke-width="1.6"/></svg>"#,
    );
    check("framed", &Shot::straight(&art), 0);
}

/// The photo with known corners that was rendered by someone else.
#[test]
fn the_apple_panel_is_found_where_it_is() {
    let photo = penstrata::input::read_photo(&common::data("apple-panel.jpg")).unwrap();
    let truth = [
        [380.0, 300.0],
        [2860.0, 420.0],
        [2780.0, 2180.0],
        [520.0, 2090.0],
    ];
    let found = find_corners(&photo, [105.0, 148.0]).unwrap();
    let size_mm = lying(&found, &photo, [105.0, 148.0]);
    assert_eq!(size_mm, [148.0, 105.0]);
    let error = corner_error_mm(&found, &truth, size_mm, &photo);
    let (w, h) = frame(size_mm);
    let ink = ink_of(luma(&flatten(&photo, &found, w, h, MM_PER_PX).unwrap()));

    // The drawing lies in this box of the panel: left, top, width, height in millimeters.
    let [x0, y0, bw, bh] = [34.3, 8.5, 79.4, 88.0];
    let apple = penstrata::input::read_page(&common::data("apple.svg"), None, None).unwrap();
    let (aw, ah) = frame([bw, bh]);
    let apple = true_ink(&apple.flatten(aw, ah, MM_PER_PX).unwrap());
    let mut expected = Grid::filled(w, h, false);
    for y in 0..ah {
        for x in 0..aw {
            expected.data[(y + (y0 / MM_PER_PX) as usize) * w + x + (x0 / MM_PER_PX) as usize] =
                apple.at(x, y);
        }
    }
    let bounds = |ink: &Grid<bool>| {
        let mut b = [f64::MAX, f64::MAX, 0.0f64, 0.0];
        for i in (0..ink.data.len()).filter(|&i| ink.data[i]) {
            let (x, y) = ((i % w) as f64 * MM_PER_PX, (i / w) as f64 * MM_PER_PX);
            b = [b[0].min(x), b[1].min(y), b[2].max(x), b[3].max(y)];
        }
        b
    };
    let iou = agreement(&ink, &expected, 0.2);
    let (got, want) = (bounds(&ink), bounds(&expected));
    println!(
        "apple panel: corners within {error:.2} mm, box {got:.2?} for {want:.2?}, lines agree {iou:.3}"
    );
    assert!(error <= 0.5, "{error}");
    for (g, e) in got.iter().zip(want) {
        assert!((g - e).abs() <= 0.5, "{got:?} for {want:?}");
    }
    assert!(iou >= 0.85, "{iou}");
}

#[test]
fn a_photo_without_a_panel_and_a_panel_that_fills_the_photo_are_refused() {
    let photo = penstrata::input::read_photo(&common::data("coffee.png")).unwrap();
    let error = find_corners(&photo, [105.0, 148.0])
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("coffee.png") && error.contains("--corners"),
        "{error}"
    );

    let folder = tempfile::tempdir().unwrap();
    let art = plum(0.6);
    let shot = Shot {
        panel_mm: [400.0, 283.0],
        tilt: 0.0,
        turn: 0.0,
        ..Shot::straight(&art)
    };
    let photo = penstrata::input::read_photo(&shot.take(folder.path())).unwrap();
    let error = find_corners(&photo, [105.0, 148.0])
        .unwrap_err()
        .to_string();
    assert!(error.contains("fill the photo"), "{error}");
}

#[test]
fn flatten_writes_a_flat_picture_with_its_scale_and_never_over_another_file() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("flat.png");
    let photo = common::data("apple-panel.jpg");
    let run = |more: &[&str]| {
        let args = [
            "flatten",
            photo.to_str().unwrap(),
            "--panel",
            "148x105mm",
            "-o",
            out.to_str().unwrap(),
        ];
        common::penstrata(&[&args[..], more].concat())
    };
    assert!(run(&[]).status.success());
    let bytes = std::fs::read(&out).unwrap();
    let reader = png::Decoder::new(std::io::Cursor::new(&bytes))
        .read_info()
        .unwrap();
    let info = reader.info();
    assert_eq!((info.width, info.height), (1480, 1050));
    assert_eq!(info.pixel_dims.unwrap().xppu, 10_000);
    let again = run(&[]);
    assert!(!again.status.success());
    assert!(String::from_utf8_lossy(&again.stderr).contains("--replace"));
    // Corners by hand, turned by a quarter: the panel stands upright then.
    let turned = run(&[
        "--replace",
        "--corners",
        "520,2090",
        "380,300",
        "2860,420",
        "2780,2180",
    ]);
    assert!(turned.status.success());
    let flat = image::open(&out).unwrap();
    assert_eq!((flat.width(), flat.height()), (1050, 1480));
    let crossed = run(&[
        "--replace",
        "--corners",
        "380,300",
        "2780,2180",
        "2860,420",
        "520,2090",
    ]);
    assert!(String::from_utf8_lossy(&crossed.stderr).contains("clockwise"));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn a_phone_photo_of_a_panel_becomes_a_plan_of_its_true_size() {
    let folder = tempfile::tempdir().unwrap();
    let mut job = common::job(&common::data("coffee.png"), folder.path());
    job.width = None;
    job.panel = Some("A6".parse().unwrap());
    job.art = Some(common::data("apple-panel.jpg"));
    let made = penstrata::input::make_plan(&job, &|_| {}).unwrap();
    assert_eq!(made.plan.size_mm, [148.0, 105.0]);
    assert!(made.plan.sections.len() >= 4);
    job.width = Some("148mm".parse().unwrap());
    assert!(
        penstrata::input::make_plan(&job, &|_| {}).is_err(),
        "two sizes contradict each other"
    );
    job.panel = None;
    job.width = None;
    assert!(
        penstrata::input::make_plan(&job, &|_| {}).is_err(),
        "no size at all"
    );
}

#[test]
fn a_photo_of_a_panel_given_as_a_scan_is_noticed_and_other_pictures_are_not() {
    let doubt = |name: &str| {
        penstrata::input::read_page(&common::data(name), None, None)
            .unwrap()
            .doubt()
    };
    assert!(doubt("apple-panel.jpg").unwrap().contains("--panel"));
    for flat in ["page.png", "coffee.png", "horse.png", "apple.svg"] {
        assert_eq!(doubt(flat), None, "{flat}");
    }
    // With its size it is what it looks like.
    let size = Some("A6".parse().unwrap());
    let page = penstrata::input::read_page(&common::data("apple-panel.jpg"), size, None).unwrap();
    assert_eq!(page.doubt(), None);
}
