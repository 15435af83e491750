//! Photos for measuring: the demo's reference, enlarged and given sensor noise, as JPEG.
#![allow(dead_code, reason = "every bench uses a part of it")]

use std::path::{Path, PathBuf};

use penstrata::art::{find_corners, flatten};
use penstrata::frame::MM_PER_PX;
use penstrata::job::Job;

/// Sizes of the photos, in millions of pixels.
pub const MEGAPIXELS: [usize; 2] = [12, 48];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

pub fn pens() -> PathBuf {
    root().join("demo/pens.csv")
}

pub fn art() -> PathBuf {
    root().join("demo/outline.svg")
}

/// A photo of so many megapixels at 4:3; made once, kept in the build folder.
pub fn photo(megapixels: usize) -> PathBuf {
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("photo-{megapixels}.jpg"));
    if path.exists() {
        return path;
    }
    let height = (megapixels as f64 * 1e6 * 0.75).sqrt() as u32;
    let width = height * 4 / 3;
    let small = image::open(root().join("demo/reference.jpg"))
        .unwrap()
        .into_rgb8();
    enlarged(&small, width, height, &path);
    path
}

/// Enlarges a picture, adds sensor noise, and writes it as JPEG.
fn enlarged(small: &image::RgbImage, width: u32, height: u32, path: &Path) {
    let mut large =
        image::imageops::resize(small, width, height, image::imageops::FilterType::Triangle);
    let mut state = 1u32;
    for v in large.iter_mut() {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        *v = v.saturating_add_signed(((state >> 28) as i8) - 8);
    }
    let file = std::fs::File::create(path).unwrap();
    image::codecs::jpeg::JpegEncoder::new_with_quality(std::io::BufWriter::new(file), 92)
        .encode_image(&large)
        .unwrap();
}

/// The phone photo of a panel from the tests, as 12 megapixels.
pub fn panel_photo() -> PathBuf {
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("panel.jpg");
    if !path.exists() {
        let small = image::open(root().join("tests/data/apple-panel.jpg")).unwrap();
        enlarged(&small.into_rgb8(), 4000, 3000, &path);
    }
    path
}

/// The same panel flat, as 12 megapixels.
pub fn panel_scan() -> PathBuf {
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("scan.jpg");
    if !path.exists() {
        let photo = penstrata::input::read_photo(&panel_photo()).unwrap();
        let corners = find_corners(&photo, [105.0, 148.0]).unwrap();
        let flat = flatten(&photo, &corners, 1480, 1050, MM_PER_PX).unwrap();
        let flat = image::RgbImage::from_raw(1480, 1050, flat.data.into_flattened()).unwrap();
        enlarged(&flat, 4112, 2918, &path);
    }
    path
}

/// A shaded berry on a table, 12 megapixels.
pub fn berry() -> PathBuf {
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("berry.jpg");
    if !path.exists() {
        let small = image::RgbImage::from_fn(1000, 750, |x, y| {
            let (dx, dy) = (f64::from(x) - 480.0, f64::from(y) - 400.0);
            let r = dx.hypot(dy) / (230.0 + 14.0 * (2.0 * dy.atan2(dx)).cos());
            let color = if r < 1.0 {
                let light = 0.35 + 0.65 * (1.0 - r * r).sqrt() * (0.6 - 0.4 * dx / 240.0);
                [205.0, 48.0, 70.0].map(|v| v * light)
            } else {
                [150.0, 140.0, 120.0]
            };
            image::Rgb(color.map(|v| v as u8))
        });
        enlarged(&small, 4000, 3000, &path);
    }
    path
}

pub fn job(megapixels: usize, folder: &Path) -> Job {
    Job::new(
        photo(megapixels),
        pens(),
        Some("110mm".parse().unwrap()),
        folder.join("plan"),
    )
}
