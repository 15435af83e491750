//! Photos for measuring: the demo's reference, enlarged and given sensor noise, as JPEG.
#![allow(dead_code, reason = "every bench uses a part of it")]

use std::path::{Path, PathBuf};

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
    let mut large =
        image::imageops::resize(&small, width, height, image::imageops::FilterType::Triangle);
    let mut state = 1u32;
    for v in large.iter_mut() {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        *v = v.saturating_add_signed(((state >> 28) as i8) - 8);
    }
    let file = std::fs::File::create(&path).unwrap();
    image::codecs::jpeg::JpegEncoder::new_with_quality(std::io::BufWriter::new(file), 92)
        .encode_image(&large)
        .unwrap();
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
