//! Swatch sheets: printed through poppler, colored by us, photographed by a simulated phone, and read.

mod common;

use std::path::{Path, PathBuf};
use std::process::Command;

use common::{has, penstrata};
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use palette::{LinSrgb, Srgb};
use penstrata::color::{Srgb8, difference};
use penstrata::input::read_pens;
use penstrata::job::Page;
use penstrata::pens::Pen;
use penstrata::pens::swatches::Sheet;
use rayon::prelude::*;

const DPI: f64 = 200.0;

/// The sheets of a pens file as pictures, as poppler renders them.
fn printed(pens: &Path, page: Page, folder: &Path) -> Vec<RgbImage> {
    let pdf = folder.join("sheet.pdf");
    let name = if page == Page::A4 { "A4" } else { "Letter" };
    let run = penstrata(&[
        "swatches",
        "sheet",
        "--pens",
        pens.to_str().unwrap(),
        "--page",
        name,
        "-o",
        pdf.to_str().unwrap(),
        "--replace",
    ]);
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    let stem = folder.join("sheet");
    let run = Command::new("pdftoppm")
        .args([
            "-r",
            &DPI.to_string(),
            "-png",
            pdf.to_str().unwrap(),
            stem.to_str().unwrap(),
        ])
        .output()
        .unwrap();
    assert!(run.status.success());
    let mut pages: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "png"))
        .collect();
    pages.sort();
    pages
        .into_iter()
        .map(|p| {
            let picture = image::open(&p).unwrap().into_rgb8();
            std::fs::remove_file(p).unwrap();
            picture
        })
        .collect()
}

/// Fills a pen's boxes, not quite to the edge and a little unevenly, as a hand does.
fn color_in(sheet: &mut RgbImage, places: Sheet, k: usize, coats: [Option<Srgb8>; 2]) {
    let px = |mm: f64| mm / 25.4 * DPI;
    for ([x, y, w, h], color) in places.entry(k).boxes.into_iter().zip(coats) {
        let Some(Srgb8(color)) = color else { continue };
        for v in px(y + 0.5) as u32..px(y + h - 0.5) as u32 {
            for u in px(x + 0.5) as u32..px(x + w - 0.5) as u32 {
                // Streaks along the box.
                let streak = if v % 17 == 0 { 0.985 } else { 1.0 };
                sheet.put_pixel(
                    u,
                    v,
                    image::Rgb(color.map(|c| (f64::from(c) * streak) as u8)),
                );
            }
        }
    }
}

/// A phone above the sheet: 8 megapixels, light that falls off two to one across the page, a cast, noise, JPEG.
struct Phone {
    tilt: f64,
    toward: f64,
    turn: f64,
    cast: [f64; 3],
}

impl Phone {
    fn take(&self, sheet: &RgbImage, page: Page, path: &Path) {
        let (w, h) = (2448usize, 3264usize);
        let (pw, ph) = page.size_mm();
        let focal = 0.75 * h as f64;
        let see = |x: f64, y: f64| -> (f32, f32) {
            let (x, y) = (x - pw / 2.0, y - ph / 2.0);
            let (s, c) = self.turn.to_radians().sin_cos();
            let (x, y) = (c * x - s * y, s * x + c * y);
            let (sd, cd) = self.toward.to_radians().sin_cos();
            let (along, across) = (cd * x + sd * y, cd * y - sd * x);
            let (st, ct) = self.tilt.to_radians().sin_cos();
            let (along, depth) = (ct * along, st * along);
            let z = 330.0 + depth;
            let (x, y) = (cd * along - sd * across, sd * along + cd * across);
            (
                (w as f64 / 2.0 + focal * x / z) as f32,
                (h as f64 / 2.0 + focal * y / z) as f32,
            )
        };
        let corners = [see(0.0, 0.0), see(pw, 0.0), see(pw, ph), see(0.0, ph)];
        let flat = [(0.0, 0.0), (pw, 0.0), (pw, ph), (0.0, ph)].map(|(x, y)| (x as f32, y as f32));
        let back =
            imageproc::geometric_transformations::Projection::from_control_points(corners, flat)
                .unwrap();
        let linear: Vec<LinSrgb<f32>> = sheet
            .pixels()
            .map(|p| Srgb::new(p.0[0], p.0[1], p.0[2]).into_linear())
            .collect();
        let (sw, sh) = sheet.dimensions();
        let mut pixels = vec![0u8; w * h * 3];
        pixels
            .par_chunks_mut(3 * w)
            .enumerate()
            .for_each(|(y, row)| {
                let mut state = y as u32 * 2_654_435_761 + 1;
                let mut noise = || {
                    // The sum of four uniform values, about normal.
                    (0..4)
                        .map(|_| {
                            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                            f64::from(state >> 8) / f64::from(1u32 << 24) - 0.5
                        })
                        .sum::<f64>()
                        * 1.7
                };
                for x in 0..w {
                    let mut sum = LinSrgb::new(0.0f32, 0.0, 0.0);
                    for k in 0..4 {
                        let (u, v) = (
                            x as f32 + 0.25 + 0.5 * (k % 2) as f32,
                            y as f32 + 0.25 + 0.5 * (k / 2) as f32,
                        );
                        let (mx, my) = back * (u, v);
                        let (px, py) = (f64::from(mx) / 25.4 * DPI, f64::from(my) / 25.4 * DPI);
                        sum += if px >= 0.0 && py >= 0.0 && px < f64::from(sw) && py < f64::from(sh)
                        {
                            linear[py as usize * sw as usize + px as usize] * 0.9
                        } else {
                            LinSrgb::new(0.06, 0.05, 0.045)
                        } / 4.0;
                    }
                    // Twice as light at the right as at the left.
                    let light = 0.5 + 0.5 * x as f64 / w as f64;
                    let lit = [sum.red, sum.green, sum.blue];
                    for c in 0..3 {
                        let value = f64::from(lit[c]) * light * self.cast[c];
                        let coded: f32 =
                            Srgb::<f32>::from_linear(LinSrgb::new(value as f32, 0.0, 0.0)).red;
                        row[3 * x + c] = (f64::from(coded) * 255.0 + 2.5 * noise())
                            .round()
                            .clamp(0.0, 255.0) as u8;
                    }
                }
            });
        let file = std::io::BufWriter::new(std::fs::File::create(path).unwrap());
        JpegEncoder::new_with_quality(file, 88)
            .encode(&pixels, w as u32, h as u32, image::ExtendedColorType::Rgb8)
            .unwrap();
    }
}

/// What two coats of a pen look like: each channel once more as dark.
fn twice(Srgb8(color): Srgb8) -> Srgb8 {
    let [r, g, b] = color.map(|v| (f64::from(v) * f64::from(v) / 255.0) as u8);
    Srgb8::new(r, g, b)
}

fn demo_pens() -> Vec<Pen> {
    read_pens(&common::pens()).unwrap()
}

#[test]
fn colors_come_back_from_photos_at_angles_up_to_35_degrees() {
    if !has("pdftoppm") {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    // The pens file knows nothing yet: all gray, with a column of its own.
    let truth = demo_pens();
    let table = dir.path().join("pens.csv");
    let rows: String = truth
        .iter()
        .map(|p| format!("{},#808080,shelf {},yes,good\n", p.name, p.name.len()))
        .collect();
    std::fs::write(&table, format!("name,color,where,refill,condition\n{rows}")).unwrap();
    for (page, tilt, toward, turn) in [
        (Page::A4, 0.0, 0.0, 0.0),
        (Page::A4, 20.0, 70.0, 4.0),
        (Page::A4, 35.0, 200.0, -8.0),
        (Page::A4, 35.0, 90.0, 180.0),
        (Page::Letter, 25.0, 330.0, 10.0),
    ] {
        let places = Sheet { page };
        let mut photos = Vec::new();
        for (number, mut sheet) in printed(&table, page, dir.path()).into_iter().enumerate() {
            for k in 0..places.capacity() {
                if let Some(pen) = truth.get(number * places.capacity() + k) {
                    color_in(
                        &mut sheet,
                        places,
                        k,
                        [Some(pen.color), Some(twice(pen.color))],
                    );
                }
            }
            let photo = dir.path().join(format!("photo-{number}.jpg"));
            Phone {
                tilt,
                toward,
                turn,
                cast: [1.0, 0.88, 0.68],
            }
            .take(&sheet, page, &photo);
            photos.push(photo.to_str().unwrap().to_owned());
        }
        let out = dir.path().join("measured.csv");
        let mut args = vec!["swatches", "read"];
        args.extend(photos.iter().map(String::as_str));
        args.extend([
            "--pens",
            table.to_str().unwrap(),
            "-o",
            out.to_str().unwrap(),
            "--replace",
        ]);
        let run = penstrata(&args);
        assert!(
            run.status.success(),
            "{tilt} {toward}: {}",
            String::from_utf8_lossy(&run.stderr)
        );
        let found = read_pens(&out).unwrap();
        let mut errors: Vec<f32> = Vec::new();
        for (f, t) in found.iter().zip(&truth) {
            errors.push(difference(f.color.lab(), t.color.lab()));
            // Every box is found.
            errors.push(difference(
                f.two_coats
                    .unwrap_or_else(|| panic!("{}: no second coat", t.name))
                    .lab(),
                twice(t.color).lab(),
            ));
        }
        errors.sort_by(f32::total_cmp);
        let (median, high) = (errors[errors.len() / 2], errors[errors.len() * 95 / 100]);
        println!(
            "{page:?} tilted {tilt} toward {toward}, turned {turn}: median {median:.2}, 95th percentile {high:.2}, most {:.2}",
            errors[errors.len() - 1]
        );
        assert!(median <= 1.5 && high <= 3.0, "{median} {high}");
        // Columns it does not know are kept, in their place.
        let text = std::fs::read_to_string(&out).unwrap();
        assert!(
            text.starts_with("name,color,where,refill,condition,two_coats\n"),
            "{text}"
        );
        assert!(text.contains(",shelf 8,yes,good,#"));
    }
}

#[test]
fn empty_boxes_are_left_as_they_were_and_a_pen_that_moved_is_flagged() {
    if !has("pdftoppm") {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let table = dir.path().join("pens.csv");
    std::fs::write(&table, "name,color,refill,condition,two_coats\nSteady,#c04030,yes,good,\nFading,#3060a0,yes,good,\nUntouched,#224422,no,good,#112211\n").unwrap();
    let places = Sheet { page: Page::A4 };
    let mut sheet = printed(&table, Page::A4, dir.path()).remove(0);
    let steady = Srgb8::new(0xc2, 0x42, 0x32);
    color_in(&mut sheet, places, 0, [Some(steady), Some(twice(steady))]);
    color_in(
        &mut sheet,
        places,
        1,
        [Some(Srgb8::new(0x70, 0x90, 0xb8)), None],
    );
    let photo = dir.path().join("photo.jpg");
    Phone {
        tilt: 15.0,
        toward: 120.0,
        turn: 2.0,
        cast: [1.0, 0.95, 0.85],
    }
    .take(&sheet, Page::A4, &photo);
    let out = dir.path().join("measured.csv");
    let args = [
        "swatches",
        "read",
        photo.to_str().unwrap(),
        "--pens",
        table.to_str().unwrap(),
        "-o",
        out.to_str().unwrap(),
    ];
    let run = penstrata(&args);
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    let said = String::from_utf8_lossy(&run.stdout);
    let line = |name: &str| {
        said.lines()
            .find(|l| l.starts_with(name))
            .unwrap()
            .to_owned()
    };
    assert!(
        line("Steady").contains("moved by") && !line("Steady").contains("dying"),
        "{said}"
    );
    assert!(
        line("Fading").contains("dying nib") && line("Fading").contains("second box empty"),
        "{said}"
    );
    assert!(
        line("Untouched").contains("empty, left as it was"),
        "{said}"
    );
    let pens = read_pens(&out).unwrap();
    assert_eq!(pens[2].color, Srgb8::new(0x22, 0x44, 0x22));
    assert_eq!(pens[2].two_coats, Some(Srgb8::new(0x11, 0x22, 0x11)));
    assert_eq!(pens[1].two_coats, None);

    // Never over another file unasked, and not for other pens.
    let again = penstrata(&args);
    assert!(String::from_utf8_lossy(&again.stderr).contains("--replace"));
    let mut other = args;
    let renamed = dir.path().join("renamed.csv");
    std::fs::write(
        &renamed,
        "name,color,refill,condition\nOther,#c04030,yes,good\n",
    )
    .unwrap();
    other[4] = renamed.to_str().unwrap();
    let third = dir.path().join("third.csv");
    other[6] = third.to_str().unwrap();
    let run = penstrata(&other);
    assert!(
        String::from_utf8_lossy(&run.stderr).contains("printed for other pens"),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    // A photo of something else.
    let coffee = common::data("coffee.png");
    let mut wrong = args;
    wrong[2] = coffee.to_str().unwrap();
    wrong[6] = third.to_str().unwrap();
    let run = penstrata(&wrong);
    assert!(String::from_utf8_lossy(&run.stderr).contains("round marks"));
    assert!(!third.exists());
}
