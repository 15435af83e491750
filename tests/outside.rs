//! The main job against sources outside the project; tests/data/README.md lists them.

mod common;

use penstrata::art::{even_light, find_lines, perspective};
use penstrata::color::{Lab, Srgb8, difference};
use penstrata::frame::MM_PER_PX;
use penstrata::grid::Grid;
use penstrata::job::Match;
use penstrata::reference::{Spline, fill_holes};

fn rows(name: &str) -> Vec<Vec<f64>> {
    let path = common::data(name);
    csv::Reader::from_path(path)
        .unwrap()
        .records()
        .map(|r| r.unwrap().iter().map(|v| v.parse().unwrap()).collect())
        .collect()
}

/// Sharma, Wu and Dalal (2005), table 1. The table gives four decimals; single precision keeps three of them.
#[test]
fn ciede2000_agrees_with_the_34_published_pairs() {
    let rows = rows("sharma2005.csv");
    assert_eq!(rows.len(), 34);
    for r in rows {
        let lab = |at: usize| Lab::new(r[at] as f32, r[at + 1] as f32, r[at + 2] as f32);
        let found = f64::from(difference(lab(0), lab(3)));
        assert!((found - r[6]).abs() < 1e-3, "{r:?}: {found}");
    }
}

/// scikit-image 0.26.0, rgb2lab.
#[test]
fn srgb_to_lab_agrees_with_scikit_image() {
    for r in rows("lab.csv") {
        let lab = Srgb8::new(r[0] as u8, r[1] as u8, r[2] as u8).lab();
        for (found, expected) in [(lab.l, r[3]), (lab.a, r[4]), (lab.b, r[5])] {
            assert!((f64::from(found) - expected).abs() < 0.02, "{r:?}: {lab:?}");
        }
    }
}

/// A matte sphere lit from where it is seen reflects the cosine of the angle to its normal (Lambert 1760), so equal
/// lightness lies on circles. The best split of its lightness is found here by Lloyd's iteration (Lloyd 1982), apart
/// from the program's own; the borders of the plan must be those circles to 0.2 mm.
#[test]
fn borders_on_a_sphere_lit_by_lamberts_law_are_its_circles() {
    let size = 900usize;
    let (middle, radius) = (450.0, 400.0);
    let code = |linear: f64| {
        let v = if linear <= 0.003_130_8 {
            12.92 * linear
        } else {
            1.055 * linear.powf(1.0 / 2.4) - 0.055
        };
        (v * 255.0).round() as u8
    };
    let light = |distance: f64| (1.0 - (distance / radius).powi(2)).max(0.0).sqrt() * 0.85;
    let mut picture = image::RgbaImage::new(size as u32, size as u32);
    let mut lightness = Vec::new();
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let d = (f64::from(x) + 0.5 - middle).hypot(f64::from(y) + 0.5 - middle);
        if d < radius {
            let v = code(light(d));
            *pixel = image::Rgba([v, v, v, 255]);
            lightness.push(f64::from(Srgb8::new(v, v, v).lab().l));
        }
    }
    let dir = tempfile::tempdir().unwrap();
    let photo = dir.path().join("sphere.png");
    picture.save(&photo).unwrap();
    let mut job = common::job(&photo, dir.path());
    job.width = Some("90mm".parse().unwrap());
    // The bands are held against the lightness that the photo has.
    job.white = penstrata::job::White::None;
    let made = penstrata::input::make_plan(&job, &|_| {}).unwrap();

    let bands = made.plan.bands.len();
    assert!((2..=4).contains(&bands), "{bands} bands");
    let mut means: Vec<f64> = (0..bands)
        .map(|b| 100.0 * (b as f64 + 0.5) / bands as f64)
        .collect();
    for _ in 0..200 {
        let mut sums = vec![(0.0, 0usize); bands];
        for &l in &lightness {
            let nearest = (0..bands)
                .min_by(|&a, &b| (l - means[a]).abs().total_cmp(&(l - means[b]).abs()))
                .unwrap();
            sums[nearest].0 += l;
            sums[nearest].1 += 1;
        }
        means = sums.iter().map(|s| s.0 / s.1 as f64).collect();
    }
    // The radius where L* passes the middle between two means.
    let circles: Vec<f64> = means
        .windows(2)
        .map(|m| {
            let l = (m[0] + m[1]) / 2.0;
            let linear = ((l + 16.0) / 116.0).powi(3) / 0.85;
            radius / 10.0 * (1.0 - linear * linear).sqrt()
        })
        .collect();
    let mut worst = vec![0.0f64; circles.len()];
    let mut seen = vec![0; circles.len()];
    for arc in made
        .outlines
        .arcs
        .iter()
        .filter(|a| a.is_border() && a.left > 0 && a.right > 0)
    {
        for segment in arc.path.segments() {
            for t in [0.0, 0.5] {
                let p = kurbo::ParamCurve::eval(&segment, t);
                let d = (p.x - middle / 10.0).hypot(p.y - middle / 10.0);
                let (k, off) = circles
                    .iter()
                    .enumerate()
                    .map(|(k, c)| (k, (d - c).abs()))
                    .min_by(|a, b| a.1.total_cmp(&b.1))
                    .unwrap();
                seen[k] += 1;
                worst[k] = worst[k].max(off);
            }
        }
    }
    let found: Vec<f32> = made.plan.bands.iter().rev().map(|b| b.lab[0]).collect();
    println!(
        "{bands} bands at {found:?}, expected {means:?}; circles {circles:?} mm, worst {worst:?} mm"
    );
    assert!(
        seen.iter().all(|&n| n > 10),
        "a border is missing: {seen:?}"
    );
    assert!(worst.iter().all(|&w| w < 0.2), "{worst:?} mm");
}

/// The disk that fits a section against the largest disk found by trying every center (the definition).
#[test]
fn widths_agree_with_the_definition() {
    let map = Grid {
        width: 40,
        height: 30,
        data: (0..1200)
            .map(|i| {
                u16::from(
                    (i % 40usize).abs_diff(20).pow(2) * 2 + (i / 40usize).abs_diff(14).pow(2) * 5
                        < 500,
                )
            })
            .collect::<Vec<u16>>(),
    };
    let squared = penstrata::grid::squared_distance_to_rim(&map);
    let outside: Vec<(f64, f64)> = (0..1200)
        .filter(|&i| map.data[i] == 0)
        .map(|i| ((i % 40) as f64, (i / 40) as f64))
        .collect();
    for i in (0..1200).filter(|&i| map.data[i] == 1) {
        let (x, y) = ((i % 40) as f64, (i / 40) as f64);
        let nearest = outside
            .iter()
            .map(|o| (o.0 - x).hypot(o.1 - y))
            .fold(f64::INFINITY, f64::min);
        let found = squared[i].sqrt() + 1.0;
        // The rim is the last pixel inside: at most one step from the nearest pixel outside, and that step brings it
        // nearer by 1 along an axis and by the square root of 2 less 1 at the least (for a diagonal neighbor).
        let most = nearest + 2.0 - 2.0f64.sqrt();
        assert!(
            found >= nearest - 1e-9 && found <= most + 1e-9,
            "{found} {nearest}"
        );
    }
}

/// OpenCV 5.0.0, getPerspectiveTransform.
#[test]
fn perspective_agrees_with_opencv() {
    let photo = penstrata::input::read_photo(&common::data("coffee.png")).unwrap();
    for r in rows("perspective.csv") {
        let corners = [[r[0], r[1]], [r[2], r[3]], [r[4], r[5]], [r[6], r[7]]];
        let [x, y] = perspective(&photo, &corners, r[8], r[9]).unwrap()([r[10], r[11]]);
        assert!((x - r[12]).hypot(y - r[13]) < 0.02, "{r:?}: {x} {y}");
    }
}

/// SciPy 1.17.1, RBFInterpolator with the kernel thin_plate_spline.
#[test]
fn thin_plate_splines_agree_with_scipy() {
    let rows = rows("spline.csv");
    for case in 0..4 {
        let of = |kind: f64| {
            rows.iter()
                .filter(move |r| r[0] == f64::from(case) && r[2] == kind)
        };
        let pairs: Vec<Match> = of(0.0)
            .map(|r| Match {
                art: [r[3], r[4]],
                reference: [r[5], r[6]],
            })
            .collect();
        let stiffness = vec![of(0.0).next().unwrap()[1]; pairs.len()];
        let spline = Spline::through(&pairs, &stiffness).unwrap();
        assert!(of(1.0).count() == 15);
        for r in of(1.0) {
            let [x, y] = spline.at([r[3], r[4]]);
            assert!(
                (x - r[5]).abs() < 1e-3 && (y - r[6]).abs() < 1e-3,
                "{r:?}: {x} {y}"
            );
        }
    }
}

fn gray(name: &str) -> Grid<u8> {
    image::open(common::data(name)).unwrap().into_luma8().into()
}

/// scikit-image 0.26.0, threshold_local, on a page under uneven light. The two methods differ; the ink must not.
#[test]
fn ink_under_uneven_light_agrees_with_a_local_threshold_of_scikit_image() {
    let page = gray("page.png");
    let expected = gray("page_local.png").map(|v| v == 0);
    let mut picture = page.map(|v| [v; 3]);
    even_light(&mut picture, MM_PER_PX);
    let lines = find_lines(picture.map(|[v, _, _]| v), MM_PER_PX, "page".as_ref()).unwrap();
    let (mut both, mut any) = (0, 0);
    let (w, h) = (page.width, page.height);
    for i in 0..w * h {
        // Where the window of the local threshold hangs over the edge, it sees paper that is not there.
        if i % w < 17 || i % w + 17 >= w || i / w < 17 || i / w + 17 >= h {
            continue;
        }
        let found = lines.wall.data[i] || lines.dots.data[i];
        both += usize::from(found && expected.data[i]);
        any += usize::from(found || expected.data[i]);
    }
    let agreement = both as f64 / any as f64;
    println!("ink agrees by {agreement:.3}");
    assert!(agreement > 0.8, "{agreement}");
}

/// SciPy 1.17.1, ndimage.binary_fill_holes and distance_transform_edt, on a silhouette of scikit-image.
#[test]
fn hole_filling_and_distances_agree_with_scipy() {
    let filled = fill_holes(&gray("horse.png").map(|v| v > 0));
    let rows = rows("horse.csv");
    assert_eq!(
        filled.data.iter().filter(|&&m| m).count() as f64,
        rows[0][2]
    );
    // Distance to the outside is one pixel more than the distance to the rim, along rows and columns; the transform
    // itself is checked on the outside.
    let squared = penstrata::grid::squared_distance(&filled.map(|m| !m));
    for r in &rows[1..] {
        let found = squared[r[1] as usize * filled.width + r[0] as usize];
        assert_eq!(found, r[2], "{r:?}");
        assert!(filled.at(r[0] as usize, r[1] as usize));
    }
}
