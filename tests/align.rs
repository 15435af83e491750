//! The reference laid onto the drawing: points, outline, several photos, lines that win over hues.

mod common;

use std::path::{Path, PathBuf};

use penstrata::Made;
use penstrata::frame::MM_PER_PX;
use penstrata::grid::Grid;
use penstrata::input::make_plan;
use penstrata::job::{Align, Job, Match, Part, References, White};
use penstrata::reference::{Photo, Silhouette, Target, Warp, align, find_subject, warp_onto};

/// A round thing's radius in direction `angle`, as a part of its mean: a berry with a few bumps.
fn berry(angle: f64, bumps: f64) -> f64 {
    1.0 + bumps * ((2.0 * angle + 0.4).cos() + 0.6 * (3.0 * angle - 0.9).sin())
}

/// A shaded round thing on a grainy table, turned and off the middle.
fn photo_of_berry(folder: &Path, turn: f64, bumps: f64, table: [f64; 3]) -> PathBuf {
    let (w, h) = (900u32, 700u32);
    let (cx, cy, radius) = (400.0, 380.0, 210.0);
    let picture = image::RgbImage::from_fn(w, h, |x, y| {
        let (dx, dy) = (f64::from(x) + 0.5 - cx, f64::from(y) + 0.5 - cy);
        let edge = radius * berry(dy.atan2(dx) - turn, bumps);
        let r = dx.hypot(dy) / edge;
        // A grain no one would call an edge.
        let grain = 5.0 * ((f64::from(x) * 0.7).sin() * (f64::from(y) * 0.9 + 1.0).sin());
        let color = if r < 1.0 {
            let light = 0.35 + 0.65 * (1.0 - r * r).sqrt() * (0.6 - 0.4 * dx / edge);
            [205.0 * light, 48.0 * light, 70.0 * light]
        } else {
            table.map(|v| v + grain)
        };
        image::Rgb(color.map(|v| v.clamp(0.0, 255.0) as u8))
    });
    let path = folder.join("berry.png");
    picture.save(&path).unwrap();
    path
}

/// What a drawing of such a thing encloses, in a frame of 800 x 800.
fn silhouette(bumps: f64, stretch: f64) -> Silhouette {
    let side = 400;
    let inside = |i: usize| {
        let (x, y) = ((i % side) as f64 - 199.5, (i / side) as f64 - 199.5);
        let (x, y) = (x / stretch, y * stretch);
        x.hypot(y) < 130.0 * berry(y.atan2(x), bumps)
    };
    Silhouette {
        mask: Grid {
            width: side,
            height: side,
            data: (0..side * side).map(inside).collect(),
        },
        scale: 2.0,
    }
}

fn laid(
    photo: &Photo,
    silhouette: &Silhouette,
    choice: Option<Align>,
    matches: &[Match],
) -> penstrata::error::Result<penstrata::reference::Alignment> {
    let target = Target {
        frame: (800, 800),
        silhouette: Some(silhouette),
        drawn: None,
        mm_per_px: MM_PER_PX,
    };
    align(photo, find_subject(photo), &target, choice, matches)
}

/// The same with drawn lines.
fn laid_with_lines(
    photo: &Photo,
    (drawn, silhouette): &(Grid<bool>, Silhouette),
    choice: Option<Align>,
) -> penstrata::reference::Alignment {
    let target = Target {
        frame: (800, 800),
        silhouette: Some(silhouette),
        drawn: Some(drawn),
        mm_per_px: MM_PER_PX,
    };
    align(photo, find_subject(photo), &target, choice, &[]).unwrap()
}

fn warp_of(alignment: &penstrata::reference::Alignment) -> &Warp {
    match &alignment.lay {
        penstrata::reference::Lay::Warped(warp, _) => warp,
        other => panic!("expected a warp, got {other:?} ({})", alignment.told),
    }
}

#[test]
fn a_round_thing_is_bent_onto_a_round_drawing_without_folding() {
    let folder = tempfile::tempdir().unwrap();
    for (turn, photo_bumps, drawn_bumps, stretch, table) in [
        (0.0, 0.0, 0.0, 1.0, [150.0, 140.0, 120.0]),
        (0.3, 0.06, 0.06, 1.0, [225.0, 222.0, 215.0]),
        (-0.5, 0.05, 0.02, 1.08, [60.0, 70.0, 90.0]),
        (0.2, 0.0, 0.07, 0.94, [150.0, 140.0, 120.0]),
    ] {
        let photo =
            penstrata::input::read_photo(&photo_of_berry(folder.path(), turn, photo_bumps, table))
                .unwrap();
        let drawn = silhouette(drawn_bumps, stretch);
        let alignment = laid(&photo, &drawn, Some(Align::Outline), &[]).unwrap();
        assert!(!alignment.fell_back, "{}", alignment.told);
        let warp = warp_of(&alignment);
        assert!(warp.least_jacobian(|_, _| true) > 0.0);
        // Against the truth, not against what was found in the photo.
        let (mut both, mut any) = (0, 0);
        for i in 0..drawn.mask.data.len() {
            let at = [i % 400, i / 400].map(|v| (v as f64 + 0.5) * 2.0);
            let [x, y] = warp.at(at);
            let (dx, dy) = (x - 400.0, y - 380.0);
            let seen = dx.hypot(dy) < 210.0 * berry(dy.atan2(dx) - turn, photo_bumps);
            both += usize::from(seen && drawn.mask.data[i]);
            any += usize::from(seen || drawn.mask.data[i]);
        }
        let agreement = both as f64 / any as f64;
        println!(
            "turn {turn}, bumps {photo_bumps} onto {drawn_bumps}: {agreement:.3}, {}",
            alignment.told
        );
        assert!(agreement >= 0.97, "{agreement}");
    }
}

#[test]
fn a_drawing_of_another_shape_falls_back_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let photo = penstrata::input::read_photo(&photo_of_berry(
        folder.path(),
        0.0,
        0.02,
        [150.0, 140.0, 120.0],
    ))
    .unwrap();
    // A ring of five leaves, far from round.
    let mut star = silhouette(0.0, 1.0);
    for i in 0..star.mask.data.len() {
        let (x, y) = ((i % 400) as f64 - 199.5, (i / 400) as f64 - 199.5);
        star.mask.data[i] = x.hypot(y) < 60.0 + 110.0 * (2.5 * y.atan2(x)).cos().powi(8);
    }
    let alignment = laid(&photo, &star, Some(Align::Outline), &[]).unwrap();
    assert!(alignment.fell_back);
    println!("{}", alignment.told);
    // A photo of nothing in particular falls back to its frame.
    let flat = folder.path().join("flat.png");
    image::RgbImage::from_pixel(300, 300, image::Rgb([120, 130, 90]))
        .save(&flat)
        .unwrap();
    let alignment = laid(
        &penstrata::input::read_photo(&flat).unwrap(),
        &star,
        Some(Align::Outline),
        &[],
    )
    .unwrap();
    assert!(
        alignment.fell_back && alignment.told.contains("frame"),
        "{}",
        alignment.told
    );
}

#[test]
fn a_subject_of_several_pieces_is_found_and_one_that_runs_off_is_not_trusted() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("two.png");
    let two = |x: u32, y: u32| {
        let (x, y) = (f64::from(x), f64::from(y));
        (x - 150.0).hypot(y - 150.0) < 80.0 || (x - 400.0).hypot(y - 200.0) < 90.0
    };
    image::RgbImage::from_fn(560, 360, |x, y| {
        image::Rgb(if two(x, y) {
            [90, 60, 130]
        } else {
            [200, 205, 190]
        })
    })
    .save(&path)
    .unwrap();
    let subject = find_subject(&penstrata::input::read_photo(&path).unwrap()).unwrap();
    let (mut both, mut any) = (0, 0);
    for (x, y) in (0..360).flat_map(|y| (0..560).map(move |x| (x, y))) {
        let found = subject.depth_at([f64::from(x) + 0.5, f64::from(y) + 0.5]) > 0.0;
        both += usize::from(found && two(x, y));
        any += usize::from(found || two(x, y));
    }
    assert!(both as f64 / any as f64 > 0.97, "{both} of {any}");
    image::RgbImage::from_fn(560, 360, |_, y| {
        image::Rgb(if y > 120 {
            [90, 60, 130]
        } else {
            [200, 205, 190]
        })
    })
    .save(&path)
    .unwrap();
    assert!(find_subject(&penstrata::input::read_photo(&path).unwrap()).is_err());
}

/// The pale half of something small is nearer to the paper than to anything of the subject, but of a color that no
/// shadow on the paper has.
#[test]
fn a_pale_half_is_the_subjects_and_a_shadow_the_papers() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pale.png");
    let within =
        |x: u32, y: u32, [u, v, r]: [f64; 3]| (f64::from(x) - u).hypot(f64::from(y) - v) < r;
    let (ball, petal, shadow) = (
        [160.0, 160.0, 110.0],
        [440.0, 120.0, 40.0],
        [200.0, 190.0, 110.0],
    );
    image::RgbImage::from_fn(560, 360, |x, y| {
        image::Rgb(match () {
            _ if within(x, y, ball) => [40, 90, 50],
            _ if within(x, y, petal) && y < 120 => [171, 187, 250],
            _ if within(x, y, petal) => [70, 80, 120],
            _ if within(x, y, shadow) => [196, 194, 190],
            _ => [244, 242, 238],
        })
    })
    .save(&path)
    .unwrap();
    let subject = find_subject(&penstrata::input::read_photo(&path).unwrap()).unwrap();
    let inside = |x: f64, y: f64| subject.depth_at([x, y]) > 0.0;
    assert!(inside(440.0, 95.0) && inside(440.0, 140.0) && inside(160.0, 160.0));
    assert!(!inside(270.0, 270.0) && !inside(440.0, 200.0));
}

/// A shaded aubergine on grass with the long shadow of a low sun, in a photo of 900 x 900 pixels: what stands out there
/// is as much shadow as thing, and lies elsewhere.
fn photo_of_aubergine(folder: &Path) -> PathBuf {
    let mut state = 1u32;
    let mut noise = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 16) / 65536.0 - 0.5
    };
    // Blades are some pixels wide.
    let blades: Vec<f64> = (0..300 * 300).map(|_| noise()).collect();
    let picture = image::RgbImage::from_fn(900, 900, |x, y| {
        let at = [f64::from(x) + 0.5, f64::from(y) + 0.5];
        let blade = 60.0 * blades[(y / 3 * 300 + x / 3) as usize];
        let shadow = [at[0] - 190.0, at[1] - 120.0];
        let color = match aubergine(at) {
            Some(0) => {
                let light = 0.5 + (at[0] - 300.0) / 900.0 + (at[1] - 300.0) / 2400.0;
                [120.0 / light, 40.0 / light, 110.0 / light]
            }
            Some(_) => [110.0, 150.0, 60.0],
            None if aubergine(shadow).is_some() => [20.0, 28.0, 18.0].map(|v| v + 0.2 * blade),
            None => [120.0, 150.0, 70.0].map(|v| v + blade),
        };
        image::Rgb(color.map(|v| v.clamp(0.0, 255.0) as u8))
    });
    let path = folder.join("aubergine.png");
    picture.save(&path).unwrap();
    path
}

/// Its body (0) and its cap (1) in photo pixels: longer than wide, and of another width at either end.
fn aubergine([x, y]: [f64; 2]) -> Option<u8> {
    let (u, v) = (
        (x - 400.0) * 0.8 + (y - 420.0) * 0.6,
        (y - 420.0) * 0.8 - (x - 400.0) * 0.6,
    );
    let body = (u / 210.0).powi(2) + (v / (110.0 + 0.2 * u)).powi(2) < 1.0;
    let cap = ((u + 190.0) / 60.0).powi(2) + (v / 75.0).powi(2) < 1.0;
    let stalk = (-300.0..-230.0).contains(&u) && v.abs() < 22.0;
    match (cap || stalk, body) {
        (true, _) => Some(1),
        (_, true) => Some(0),
        _ => None,
    }
}

/// Drawn lines in a frame of 800 x 800, and what they enclose, of the aubergine that lies there as `to_photo` says.
fn drawn_aubergine(to_photo: kurbo::Affine) -> (Grid<bool>, Silhouette) {
    let of = |x: f64, y: f64| {
        let at = to_photo * kurbo::Point::new(x, y);
        aubergine([at.x, at.y])
    };
    let at = |i: usize, side: usize, px: f64| [i % side, i / side].map(|v| (v as f64 + 0.5) * px);
    let line = |i: usize| {
        let [x, y] = at(i, 800, 1.0);
        let corners = [(-3.0, 0.0), (3.0, 0.0), (0.0, -3.0), (0.0, 3.0)];
        corners
            .iter()
            .any(|(dx, dy)| of(x + dx, y + dy) != of(x, y))
    };
    let inside = |i: usize| {
        let [x, y] = at(i, 400, 2.0);
        of(x, y).is_some()
    };
    let grid = |side: usize, of: &dyn Fn(usize) -> bool| Grid {
        width: side,
        height: side,
        data: (0..side * side).map(of).collect(),
    };
    let mask = grid(400, &inside);
    (grid(800, &line), Silhouette { mask, scale: 2.0 })
}

#[test]
fn drawn_lines_find_their_edges_beside_a_shadow_and_on_grass() {
    let folder = tempfile::tempdir().unwrap();
    let photo = penstrata::input::read_photo(&photo_of_aubergine(folder.path())).unwrap();
    let frame = kurbo::Affine::scale(900.0 / 800.0);
    let middle = kurbo::Point::new(450.0, 450.0);
    // By how far the drawing is off; the last knows nothing of the photo's frame.
    for (name, off) in [
        ("exact", kurbo::Affine::IDENTITY),
        ("moved", kurbo::Affine::translate((-40.0, 30.0))),
        ("turned", kurbo::Affine::rotate_about(0.12, middle)),
        ("smaller", kurbo::Affine::scale_about(1.08, middle)),
        ("wider", kurbo::Affine::scale_non_uniform(0.94, 1.04)),
        (
            "elsewhere",
            kurbo::Affine::translate((110.0, 140.0)) * kurbo::Affine::scale(0.66),
        ),
    ] {
        let true_map = off * frame;
        let drawing = drawn_aubergine(true_map);
        let alignment = laid_with_lines(&photo, &drawing, None);
        println!("{name}: {}", alignment.told);
        if name == "exact" {
            assert!(
                alignment
                    .told
                    .starts_with("its frame on the drawing's frame")
            );
            continue;
        }
        assert!(
            alignment.told.starts_with("its edges"),
            "{name}: {}",
            alignment.told
        );
        let warp = warp_of(&alignment);
        let lines = (0..800 * 800).filter(|&i| drawing.0.data[i]);
        let apart: Vec<f64> = lines
            .map(|i| {
                let at = [i % 800, i / 800].map(|v| v as f64 + 0.5);
                let [x, y] = warp.at(at);
                (true_map * kurbo::Point::from((at[0], at[1]))).distance((x, y).into())
            })
            .collect();
        let mean = apart.iter().sum::<f64>() / apart.len() as f64;
        println!("{mean:.1} px of 900 off the truth");
        assert!(mean < 9.0, "{name}: {mean}");
        assert!(!alignment.fell_back);
    }
}

#[test]
fn what_stands_out_beside_the_drawn_thing_is_no_evidence() {
    let folder = tempfile::tempdir().unwrap();
    // The thing that is drawn, with and without a larger red box below.
    let seen = |box_px: u32| {
        let picture = image::RgbImage::from_fn(900, 900, |x, y| {
            let at = [f64::from(x) + 0.5, f64::from(y) + 0.5];
            let in_box = (40..40 + box_px * 2).contains(&x) && (640..640 + box_px / 2).contains(&y);
            image::Rgb(match aubergine(at) {
                Some(0) => [110, 40, 100],
                Some(_) => [110, 150, 60],
                None if in_box => [200, 40, 30],
                None => [232, 230, 224],
            })
        });
        let path = folder.path().join("thing.png");
        picture.save(&path).unwrap();
        let photo = penstrata::input::read_photo(&path).unwrap();
        let drawing = drawn_aubergine(kurbo::Affine::scale(900.0 / 800.0));
        laid_with_lines(&photo, &drawing, None)
    };
    let alone = seen(0);
    assert!(alone.subject.is_some() && alone.agreement.unwrap() > 0.9);
    let beside = seen(400);
    println!("{}", beside.told);
    assert!(beside.subject.is_none() && beside.agreement.is_none());
    assert!(beside.told.contains("lies elsewhere"), "{}", beside.told);
}

/// A plain outline comes near the edges of almost anything, and a narrow photo has room for nothing.
#[test]
fn a_round_outline_is_not_found_in_a_photo_of_something_else() {
    let folder = tempfile::tempdir().unwrap();
    let full = image::open(photo_of_aubergine(folder.path())).unwrap();
    let edge = |i: usize| {
        let (x, y) = ((i % 800) as f64 - 399.5, (i / 800) as f64 - 399.5);
        (x.hypot(y) - 260.0).abs() < 3.0
    };
    let drawn = Grid {
        width: 800,
        height: 800,
        data: (0..800 * 800).map(edge).collect(),
    };
    let drawing = (drawn, silhouette(0.0, 1.0));
    // Nothing but grass in the lower left, and a strip of the whole.
    for (x, y, w, h) in [(0, 600, 300, 300), (0, 400, 900, 12), (400, 0, 3, 900)] {
        let path = folder.path().join("part.png");
        full.crop_imm(x, y, w, h).save(&path).unwrap();
        let photo = penstrata::input::read_photo(&path).unwrap();
        for (choice, fell_back) in [(None, false), (Some(Align::Lines), true)] {
            let alignment = laid_with_lines(&photo, &drawing, choice);
            assert!(
                alignment.told.starts_with("its frame"),
                "{}",
                alignment.told
            );
            assert_eq!(alignment.fell_back, fell_back);
        }
    }
}

#[test]
fn lines_that_lie_on_no_edges_leave_the_photo_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let mut state = 7u32;
    let grain = image::RgbImage::from_fn(600, 600, |_, _| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        image::Rgb([(state >> 24) as u8, (state >> 16) as u8, (state >> 8) as u8])
    });
    let path = folder.path().join("grain.png");
    grain.save(&path).unwrap();
    let photo = penstrata::input::read_photo(&path).unwrap();
    let drawing = drawn_aubergine(kurbo::Affine::scale(900.0 / 800.0));
    for (choice, fell_back) in [(None, false), (Some(Align::Lines), true)] {
        let alignment = laid_with_lines(&photo, &drawing, choice);
        assert!(alignment.told.contains("its frame"), "{}", alignment.told);
        assert_eq!(alignment.fell_back, fell_back);
        let why = alignment.told.contains("lie on no edges");
        assert_eq!(why, fell_back, "{}", alignment.told);
    }
}

fn pair(reference: [f64; 2], art: [f64; 2]) -> Match {
    Match { reference, art }
}

#[test]
fn points_lie_where_they_belong_alone_and_together_with_the_outline() {
    let folder = tempfile::tempdir().unwrap();
    let photo = penstrata::input::read_photo(&photo_of_berry(
        folder.path(),
        0.3,
        0.05,
        [150.0, 140.0, 120.0],
    ))
    .unwrap();
    let drawn = silhouette(0.05, 1.0);
    let pairs = [
        pair([400.0, 380.0], [40.0, 40.0]),
        pair([560.0, 430.0], [60.0, 40.0]),
        pair([352.0, 540.0], [40.0, 60.0]),
        pair([240.0, 330.0], [20.0, 40.5]),
    ];
    for n in 2..=4 {
        let alignment = laid(&photo, &drawn, None, &pairs[..n]).unwrap();
        assert!(
            alignment.told.contains(&format!("{n} matching points")),
            "{}",
            alignment.told
        );
        for p in &pairs[..n] {
            let [x, y] = warp_of(&alignment).at(p.art.map(|v| v / MM_PER_PX));
            let off = (x - p.reference[0]).hypot(y - p.reference[1]);
            // The spline gives way a little; the others pass through.
            assert!(off < if n == 4 { 8.0 } else { 0.6 }, "{n}: {off}");
        }
    }
    let alignment = laid(&photo, &drawn, Some(Align::Outline), &pairs).unwrap();
    assert!(alignment.agreement.unwrap() > 0.97, "{}", alignment.told);
    for p in &pairs {
        let [x, y] = warp_of(&alignment).at(p.art.map(|v| v / MM_PER_PX));
        assert!(
            (x - p.reference[0]).hypot(y - p.reference[1]) < 3.0,
            "{x} {y}"
        );
    }
}

#[test]
fn points_that_fold_mirror_or_say_nothing_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let photo = penstrata::input::read_photo(&photo_of_berry(
        folder.path(),
        0.0,
        0.0,
        [150.0, 140.0, 120.0],
    ))
    .unwrap();
    let drawn = silhouette(0.0, 1.0);
    let square = [
        [20.0, 20.0],
        [60.0, 20.0],
        [60.0, 60.0],
        [20.0, 60.0],
        [40.0, 40.0],
    ];
    let refused = |pairs: &[Match]| {
        laid(&photo, &drawn, Some(Align::Points), pairs)
            .unwrap_err()
            .to_string()
    };
    // The middle is pulled out beyond a corner.
    let mut folded: Vec<Match> = square
        .iter()
        .map(|&a| pair(a.map(|v| 10.0 * v), a))
        .collect();
    folded[4].reference = [690.0, 690.0];
    let said = refused(&folded);
    let pair_5 = "number 5 (reference [690, 690]";
    assert!(said.contains("fold") && said.contains(pair_5), "{said}");
    // A place that is in no picture.
    let mut far = folded[..4].to_vec();
    far[2].reference = [4000.0, 10.0];
    let said = refused(&far);
    assert!(
        said.contains("reference = [4000, 10]") && said.contains("number 3"),
        "{said}"
    );
    far[2] = pair([600.0, 600.0], [600.0, 60.0]);
    let said = refused(&far);
    assert!(
        said.contains("art = [600, 60]") && said.contains("millimeters"),
        "{said}"
    );
    let mirrored: Vec<Match> = square[..3]
        .iter()
        .map(|&[x, y]| pair([800.0 - 10.0 * x, 10.0 * y], [x, y]))
        .collect();
    assert!(refused(&mirrored).contains("mirror"));
    let line: Vec<Match> = (0..4)
        .map(|k| pair([100.0 * f64::from(k), 50.0], [10.0 * f64::from(k), 5.0]))
        .collect();
    assert!(refused(&line[..3]).contains("one line"));
    assert!(refused(&line).contains("one line"));
    assert!(refused(&[line[0], line[0]]).contains("apart"));
    assert!(refused(&[]).contains("--matches"));
}

/// A round fruit whose upper part is green in the photo down to `photo_mm`, and drawn down to `drawn_mm`, both waving.
fn calyx_job(folder: &Path, photo_mm: f64, drawn_mm: f64) -> Job {
    let edge = |x: f64, at: f64| at + 2.0 * (x / 9.0).sin();
    let photo = folder.join("berry.png");
    image::RgbImage::from_fn(1000, 1000, |x, y| {
        let (x, y) = (f64::from(x) * 0.1, f64::from(y) * 0.1);
        let light = 0.55 + 0.45 * (1.0 - ((x - 42.0).hypot(y - 42.0) / 60.0).min(1.0));
        let color = if (x - 50.0).hypot(y - 50.0) > 42.0 {
            [235.0, 232.0, 225.0]
        } else if y < edge(x, photo_mm) {
            [90.0 * light, 165.0 * light, 70.0 * light]
        } else {
            [225.0 * light, 45.0 * light, 50.0 * light]
        };
        image::Rgb(color.map(|v| v as u8))
    })
    .save(&photo)
    .unwrap();
    let calyx: String = (8..=92)
        .map(|x| {
            format!(
                "{} {:.2}",
                if x == 8 { "M" } else { "L" },
                edge(f64::from(x), drawn_mm)
            )
            .replace("M ", &format!("M{x} "))
            .replace("L ", &format!("L{x} "))
        })
        .collect();
    let art = folder.join("art.svg");
    std::fs::write(
        &art,
        format!(
            r##"<svg xmlns="http://www.w3.org/2000/svg" width="100" height="100" fill="none" stroke="#000" stroke-width="0.6">
            <clipPath id="c"><circle cx="50" cy="50" r="42"/></clipPath>
            <circle cx="50" cy="50" r="42"/><path clip-path="url(#c)" d="{calyx}"/></svg>"##
        ),
    )
    .unwrap();
    let mut job = common::job(&photo, folder);
    job.width = Some("100mm".parse().unwrap());
    job.art = Some(art);
    job
}

/// Share of the colored area that has the hue of the other side of the drawn line.
fn wrong_hue(made: &Made, drawn_mm: f64) -> f64 {
    let red = |section: u16| {
        let band = made.plan.sections[usize::from(section) - 1].band;
        made.plan.bands[band].lab[1] > 0.0
    };
    let (w, mut wrong, mut all) = (made.sections.map.width, 0, 0);
    for (i, &section) in made
        .sections
        .map
        .data
        .iter()
        .enumerate()
        .filter(|(_, s)| **s > 0)
    {
        let (x, y) = ((i % w) as f64 * MM_PER_PX, (i / w) as f64 * MM_PER_PX);
        all += 1;
        wrong += usize::from(red(section) != (y > drawn_mm + 2.0 * (x / 9.0).sin()));
    }
    wrong as f64 / all as f64
}

/// A cell of 3 mm on a whole A4 sheet: a mesh as fine as the cell asks for would take seven gigabytes.
#[test]
fn a_small_cell_laid_by_outline_takes_no_more_nodes_than_pixels() {
    let folder = tempfile::tempdir().unwrap();
    let path = photo_of_berry(folder.path(), 0.0, 0.0, [235.0, 232.0, 225.0]);
    let photo = penstrata::input::read_photo(&path).unwrap();
    let subject = find_subject(&photo).unwrap();
    let (width, height) = (700, 990);
    let small = Silhouette {
        mask: Grid {
            width,
            height,
            data: (0..width * height)
                .map(|i| ((i % width) as f64 - 300.0).hypot((i / width) as f64 - 500.0) < 5.0)
                .collect(),
        },
        scale: 3.0,
    };
    let frame = (3 * width, 3 * height);
    // As matching points would have it: the berry's 210 pixels on the cell's 15.
    let start = |[x, y]: [f64; 2]| [400.0 + 14.0 * (x - 900.0), 380.0 + 14.0 * (y - 1500.0)];
    let warp = warp_onto(&subject, &small, start, 14.0, frame).unwrap();
    assert!(warp.nodes.data.len() <= (frame.0 + 1) * (frame.1 + 1));
}

#[test]
fn a_hue_border_two_millimeters_off_a_drawn_line_is_moved_onto_it() {
    let folder = tempfile::tempdir().unwrap();
    for shift in [-2.0, 2.0] {
        let job = calyx_job(folder.path(), 36.0 + shift, 36.0);
        let made = make_plan(&job, &|_| {}).unwrap();
        let wrong = wrong_hue(&made, 36.0);
        println!("shift {shift}: {:.4} of the area on the wrong side", wrong);
        // Nothing lies between the hue border and the line.
        assert!(wrong < 0.001, "{wrong}");
    }
}

#[test]
fn a_hue_border_far_from_any_line_stays() {
    let folder = tempfile::tempdir().unwrap();
    let job = calyx_job(folder.path(), 46.0, 36.0);
    let made = make_plan(&job, &|_| {}).unwrap();
    let wrong = wrong_hue(&made, 36.0);
    assert!(wrong > 0.05, "a green band of 10 mm was lost: {wrong}");
}

#[test]
fn cells_of_one_drawing_take_their_colors_from_different_photos() {
    let folder = tempfile::tempdir().unwrap();
    let mut job = calyx_job(folder.path(), 36.0, 36.0);
    let berry = folder.path().join("berry.png");
    let blue = folder.path().join("blue.png");
    image::RgbImage::from_fn(500, 400, |x, _| image::Rgb([40, 70, 120 + (x / 5) as u8]))
        .save(&blue)
        .unwrap();
    let part = |photo: &Path, cells: Vec<[f64; 2]>| Part {
        photo: photo.to_owned(),
        cells,
        align: Some(Align::Frame),
        matches: Vec::new(),
        white: None,
    };
    job.reference = Some(References::Several(vec![
        part(&berry, vec![]),
        part(&blue, vec![[50.0, 20.0]]),
    ]));
    let made = make_plan(&job, &|_| {}).unwrap();
    assert_eq!(made.plan.alignment.len(), 2);
    let lab_at = |x: f64, y: f64| {
        let at = |v: f64| (v / MM_PER_PX) as usize;
        let section = made.sections.map.at(at(x), at(y));
        made.plan.bands[made.plan.sections[usize::from(section) - 1].band].lab
    };
    assert!(lab_at(50.0, 20.0)[2] < -20.0, "the calyx is blue");
    assert!(lab_at(50.0, 70.0)[1] > 30.0, "the berry is red");

    // A white point is a pixel of one photo and is read in no other.
    job.white = White::At(10, 10);
    let error = make_plan(&job, &|_| {}).err().unwrap().to_string();
    assert!(error.contains("white 10,10 is a pixel of one"), "{error}");
    job.white = White::default();
    let mut evened = part(&blue, vec![[50.0, 20.0]]);
    evened.white = Some(White::At(10, 10));
    job.reference = Some(References::Several(vec![part(&berry, vec![]), evened]));
    let evened = make_plan(&job, &|_| {}).unwrap();
    let color_at = |made: &Made, x: f64, y: f64| {
        let at = |v: f64| (v / MM_PER_PX) as usize;
        made.reference.picture.at(at(x), at(y))
    };
    let [r, g, b] = color_at(&evened, 50.0, 20.0);
    // The blue is 40 in red and 70 in green everywhere; the white point makes these about the same.
    assert!(r.abs_diff(g) < 10, "no longer blue: {r} {g} {b}");
    assert_eq!(
        color_at(&evened, 50.0, 70.0),
        color_at(&made, 50.0, 70.0),
        "the berry stays as it was"
    );

    // Without the first photo only one cell is left, and the summary says so.
    job.reference = Some(References::Several(vec![part(&blue, vec![[50.0, 20.0]])]));
    let made = make_plan(&job, &|_| {}).unwrap();
    assert!(made.plan.warnings.iter().any(|w| w.contains("stay bare")));
    assert!(made.plan.sections.iter().all(|s| s.label_mm[1] < 40.0));

    job.reference = Some(References::Several(vec![part(&blue, vec![[1.0, 1.0]])]));
    let error = make_plan(&job, &|_| {}).err().unwrap().to_string();
    assert!(error.contains("lies in no cell"), "{error}");
}

#[test]
fn several_photos_and_points_are_read_from_a_job_file_and_from_a_table() {
    let folder = tempfile::tempdir().unwrap();
    let job = calyx_job(folder.path(), 36.0, 36.0);
    let table = folder.path().join("pairs.csv");
    std::fs::write(
        &table,
        "art_x,art_y,reference_x,reference_y\n10,10,100,100\n90,90,900,900\n",
    )
    .unwrap();
    let path = folder.path().join("job.toml");
    std::fs::write(
        &path,
        format!(
            "art = \"art.svg\"\nwidth = \"100mm\"\npens = {:?}\nout = \"plan\"\n\
             [[reference]]\nphoto = \"berry.png\"\ncells = [[50, 70]]\n\
             [[reference.match]]\nreference = [100, 100]\nart = [10, 10]\n\
             [[reference.match]]\nreference = [900, 900]\nart = [90, 90]\n",
            common::pens()
        ),
    )
    .unwrap();
    let read = penstrata::input::read_job(&path).unwrap();
    assert_eq!(read.photos()[0].matches.len(), 2);
    let made = make_plan(&read, &|_| {}).unwrap();
    assert!(made.plan.alignment[0].told.contains("2 matching points"));
    // The job in plan.json reads back as the same job.
    let json = serde_json::to_string(&made.plan).unwrap();
    let again: penstrata::plan::Plan = serde_json::from_str(&json).unwrap();
    assert_eq!(again.job, read);

    let mut job = job;
    job.match_file = Some(table.clone());
    let made = make_plan(&job, &|_| {}).unwrap();
    assert!(made.plan.alignment[0].told.contains("2 matching points"));
    std::fs::write(&table, "reference_x,reference_y,art_x\n1,2,3\n").unwrap();
    let error = make_plan(&job, &|_| {}).err().unwrap().to_string();
    assert!(
        error.contains("pairs.csv") && error.contains("art_y"),
        "{error}"
    );
}
