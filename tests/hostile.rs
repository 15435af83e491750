//! Damaged and odd input: an error or a plan, never a panic.

mod common;

use std::panic::catch_unwind;
use std::path::Path;

use image::{GrayImage, ImageFormat, Luma, Rgb, RgbImage};
use penstrata::frame::MM_PER_PX;
use penstrata::input::make_plan;
use penstrata::reference::Photo;

/// Cuts after and flips a bit at every 50th byte.
fn damaged(bytes: &[u8]) -> impl Iterator<Item = Vec<u8>> {
    (0..bytes.len()).step_by(50).flat_map(move |at| {
        let mut flipped = bytes.to_vec();
        flipped[at] ^= 0x55;
        [bytes[..at].to_vec(), flipped]
    })
}

#[test]
fn a_damaged_photo_never_panics() {
    let picture = RgbImage::from_fn(48, 36, |x, y| {
        Rgb([(5 * x) as u8, (7 * y) as u8, ((x * y) % 251) as u8])
    });
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("photo");
    for format in [
        ImageFormat::Jpeg,
        ImageFormat::Png,
        ImageFormat::WebP,
        ImageFormat::Tiff,
        ImageFormat::Bmp,
    ] {
        picture.save_with_format(&path, format).unwrap();
        let bytes = std::fs::read(&path).unwrap();
        for bad in damaged(&bytes) {
            std::fs::write(&path, bad).unwrap();
            let read = catch_unwind(|| {
                if let Ok(photo) = penstrata::input::read_photo(&path) {
                    photo.resample([0, 0, photo.width, photo.height], 20, 20);
                }
            });
            assert!(read.is_ok(), "{format:?}");
        }
    }
}

#[test]
fn a_damaged_drawing_never_panics() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("art.svg");
    let bytes = std::fs::read(common::data("apple.svg")).unwrap();
    for bad in damaged(&bytes) {
        std::fs::write(&path, bad).unwrap();
        let read = catch_unwind(|| {
            if let Ok(page) = penstrata::input::read_page(&path, None, None) {
                let _ = page.flatten(60, 60, MM_PER_PX);
            }
        });
        assert!(read.is_ok());
    }
}

#[test]
fn entities_that_multiply_and_groups_without_end_are_refused_or_drawn() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("art.svg");
    let laughs: String = (1..12)
        .map(|i| format!("<!ENTITY a{i} \"{}\">", format!("&a{};", i - 1).repeat(10)))
        .collect();
    let deep = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'>{}{}</svg>",
        "<g>".repeat(20_000),
        "</g>".repeat(20_000)
    );
    for text in [
        format!(
            "<?xml version='1.0'?><!DOCTYPE svg [<!ENTITY a0 \"ha\">{laughs}]><svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'><text>&a11;</text></svg>"
        ),
        deep,
        "<svg xmlns='http://www.w3.org/2000/svg' width='1e30' height='1e-30'/>".to_owned(),
        "<svg xmlns='http://www.w3.org/2000/svg' width='-4' height='0'/>".to_owned(),
    ] {
        std::fs::write(&path, text).unwrap();
        let mut job = common::job(&common::data("coffee.png"), dir.path());
        job.art = Some(path.clone());
        assert!(make_plan(&job, &|_| {}).is_err());
    }
}

/// Photos of phones: cut, or any one byte changed, they give a picture or an error.
#[test]
fn a_damaged_photo_of_a_phone_never_panics() {
    let bytes = std::fs::read(common::data("turned.heic")).unwrap();
    let mut read = 0;
    for bad in damaged(&bytes).chain((0..bytes.len()).map(|at| {
        let mut bad = bytes.clone();
        bad[at] = bad[at].wrapping_add(1 + (at % 251) as u8);
        bad
    })) {
        let photo = catch_unwind(|| Photo::decode(Path::new("photo.heic"), &bad).map(|_| ()));
        match photo.expect("no panic") {
            Ok(()) => read += 1,
            Err(e) => {
                let said = e.to_string();
                assert!(said.contains("JPEG") || said.contains("million"), "{said}");
            }
        }
    }
    println!("{read} of the damaged photos were read all the same");
    let cut = Photo::decode(Path::new("photo.heic"), &bytes[..bytes.len() / 2]);
    assert!(cut.err().unwrap().to_string().contains("Get it as JPEG"));
}

/// A black picture of so many pixels along its sides, in few bytes: one bit for each, packed.
fn black_png(side: u32) -> Vec<u8> {
    let mut packed = Vec::new();
    let mut encoder = png::Encoder::new(&mut packed, side, side);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    let bits = vec![0; side.div_ceil(8) as usize * side as usize];
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(&bits).unwrap();
    drop(writer);
    packed
}

/// A picture inside a drawing beyond the limit of pixels, and a packed drawing inside a drawing.
#[test]
fn a_bomb_inside_a_drawing_is_not_unpacked() {
    use std::io::Write;
    let base64 = |bytes: &[u8]| {
        const LETTERS: &[u8; 64] =
            b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
        let mut text = String::new();
        for chunk in bytes.chunks(3) {
            let n = (0..3).fold(0u32, |n, i| n << 8 | u32::from(*chunk.get(i).unwrap_or(&0)));
            for i in 0..4 {
                let letter = LETTERS[(n >> (18 - 6 * i) & 63) as usize];
                text.push(if i <= chunk.len() {
                    char::from(letter)
                } else {
                    '='
                });
            }
        }
        text
    };
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    packer
        .write_all(b"<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'><rect width='9' height='9'/></svg>")
        .unwrap();
    let dark = |mime: &str, inside: &[u8]| {
        let text = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'>             <image width='9' height='9' href='data:{mime};base64,{}'/></svg>",
            base64(inside)
        );
        let page = penstrata::art::load_page(Path::new("a.svg"), text.as_bytes(), None, None);
        let page = page.unwrap().flatten(9, 9, MM_PER_PX).unwrap();
        page.at(4, 4) < 128
    };
    assert!(dark("image/png", &black_png(4)), "a small one is drawn");
    assert!(!dark("image/svg+xml", &packer.finish().unwrap()));
    // 121 million pixels, one million too many.
    assert!(!dark("image/png", &black_png(11_000)));
}

/// Packed, spaces take a thousandth of their size; unpacked without limit, a small file takes all memory.
#[test]
fn a_packed_drawing_is_unpacked_up_to_a_limit() {
    use std::io::Write;
    let pack = |text: &[u8], spaces: usize| {
        let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
        packer.write_all(text).unwrap();
        for _ in 0..spaces {
            packer.write_all(&[b' '; 1 << 20]).unwrap();
        }
        packer.finish().unwrap()
    };
    let plain = std::fs::read(common::data("apple.svg")).unwrap();
    let load = |name: &str, bytes: &[u8]| {
        let page = penstrata::art::load_page(Path::new(name), bytes, None, None);
        page.map(|page| page.size_mm(Some(60.0)))
    };
    let size = load("apple.svg", &plain).unwrap();
    for name in ["apple.svgz", "apple.svg", "apple"] {
        assert_eq!(load(name, &pack(&plain, 1)).unwrap(), size);
    }
    let error = load("bomb.svgz", &pack(&plain, 40))
        .unwrap_err()
        .to_string();
    assert!(error.contains("more than 33554432 bytes"), "{error}");
    // Nothing beyond the limit is unpacked: that the rest is missing is not even noticed.
    let bomb = pack(&plain, 40);
    let error = load("bomb.svgz", &bomb[..bomb.len() - 1000])
        .unwrap_err()
        .to_string();
    assert!(error.contains("more than 33554432 bytes"), "{error}");
    assert!(load("bomb", &pack(b"no drawing", 40)).is_err());
    let cut = pack(&plain, 1);
    let error = load("cut.svgz", &cut[..cut.len() / 2])
        .unwrap_err()
        .to_string();
    assert!(error.contains("unpacked"), "{error}");
}

#[test]
fn pictures_of_one_pixel_and_of_one_row_give_a_plan_or_an_error() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("odd.png");
    let plan = |path: &Path| {
        let job = common::job(path, dir.path());
        catch_unwind(|| make_plan(&job, &|_| {}).map(|made| made.plan.sections.len()))
            .expect("no panic")
    };
    GrayImage::from_pixel(1, 1, Luma([120]))
        .save(&path)
        .unwrap();
    assert_eq!(plan(&path), Ok(1));
    GrayImage::from_fn(20_000, 1, |x, _| Luma([(x / 100) as u8]))
        .save(&path)
        .unwrap();
    assert!(plan(&path).is_ok());
    GrayImage::from_pixel(1, 20_000, Luma([120]))
        .save(&path)
        .unwrap();
    assert!(plan(&path).is_err(), "two kilometers of panel");
}

/// The header promises 60000 x 60000 pixels; nothing of that size may be taken.
#[test]
fn a_picture_beyond_the_limit_is_refused_by_its_header() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("bomb.bmp");
    let mut bytes = b"BM\x36\0\0\0\0\0\0\0\x36\0\0\0\x28\0\0\0".to_vec();
    bytes.extend(60_000u32.to_le_bytes());
    bytes.extend(60_000u32.to_le_bytes());
    bytes.extend(b"\x01\0\x18\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0");
    std::fs::write(&path, bytes).unwrap();
    let error = penstrata::input::read_photo(&path)
        .err()
        .unwrap()
        .to_string();
    assert!(error.contains("120 million"), "{error}");
}

#[test]
fn a_cut_out_photo_smaller_than_the_drawing_leaves_no_white_rim() {
    let dir = tempfile::tempdir().unwrap();
    let photo = dir.path().join("cut.png");
    // A disk, brighter to the left; around it nothing.
    image::RgbaImage::from_fn(300, 300, |x, y| {
        let inside = (f64::from(x) - 150.0).hypot(f64::from(y) - 150.0) < 100.0;
        let v = if x < 150 { 210 } else { 120 };
        image::Rgba([v, v / 3, v / 4, if inside { 255 } else { 0 }])
    })
    .save(&photo)
    .unwrap();
    let art = dir.path().join("art.svg");
    std::fs::write(&art, "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 60 60' width='60' height='60'><rect x='10' y='10' width='40' height='40' fill='none' stroke='#000' stroke-width='0.6'/></svg>").unwrap();
    let mut job = common::job(&photo, dir.path());
    job.art = Some(art);
    job.width = Some("60mm".parse().unwrap());
    let made = make_plan(&job, &|_| {}).unwrap();
    // The corners of the square have no photo: they take the nearest color, not white.
    assert_eq!(made.plan.sections.len(), 2, "{:?}", made.plan.bands);
    assert!(
        made.plan.bands.iter().all(|b| b.lab[0] < 70.0),
        "{:?}",
        made.plan.bands
    );
}

#[test]
fn odd_and_damaged_photos_of_a_panel_give_an_error_and_never_panic() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("panel.png");
    for (w, h) in [(1, 1), (20_000, 1), (1, 300), (40, 40), (300, 200)] {
        GrayImage::from_fn(w, h, |x, y| Luma([((x * 7) ^ (y * 13)) as u8]))
            .save(&path)
            .unwrap();
        let mut job = common::job(&common::data("coffee.png"), dir.path());
        job.width = None;
        job.panel = Some("A6".parse().unwrap());
        job.art = Some(path.clone());
        let run = catch_unwind(|| make_plan(&job, &|_| {}).map(|_| ()));
        assert!(run.expect("no panic").is_err(), "{w} x {h}");
        // Corners by hand that are no corners of a panel, or far outside the photo.
        for corners in [
            [[0.0, 0.0]; 4],
            [[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [3.0, 3.0]],
            [[-1e9, -1e9], [1e9, -1e9], [1e9, 1e9], [-1e9, 1e9]],
            [[1e6, 1e6], [2e6, 1e6], [2e6, 2e6], [1e6, 2e6]],
        ] {
            job.corners = Some(corners);
            let run = catch_unwind(|| make_plan(&job, &|_| {}).map(|_| ()));
            assert!(run.is_ok(), "{w} x {h}, {corners:?}");
        }
    }
}
