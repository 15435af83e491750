//! Photos as cameras and programs save them: orientation, color profiles, depth, transparency, formats.

mod common;

use image::{DynamicImage, ImageEncoder, Rgb, RgbImage};

/// Wider than high, with a red corner at the top left and a green one at the top right.
fn upright() -> RgbImage {
    RgbImage::from_fn(60, 40, |x, y| match (x < 20, x >= 40, y < 15) {
        (true, _, true) => Rgb([220, 30, 30]),
        (_, true, true) => Rgb([30, 180, 40]),
        _ => Rgb([200, 200, 190]),
    })
}

fn sampled(path: &std::path::Path, width: usize, height: usize) -> penstrata::grid::Grid<[u8; 4]> {
    let photo = penstrata::input::read_photo(path).unwrap();
    photo.resample([0, 0, photo.width, photo.height], width, height)
}

fn near(a: [u8; 4], b: [u8; 3], tolerance: u8) -> bool {
    (0..3).all(|c| a[c].abs_diff(b[c]) <= tolerance)
}

/// An Exif block with nothing but the orientation (CIPA DC-008, tag 0x0112).
fn exif(orientation: u8) -> Vec<u8> {
    let mut block = b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0".to_vec();
    block.extend([orientation, 0, 0, 0, 0, 0, 0, 0]);
    block
}

/// CIPA DC-008, table 6: what was done to the picture is undone for each of the eight orientations.
#[test]
fn all_eight_orientations_come_out_upright() {
    let dir = tempfile::tempdir().unwrap();
    let u = DynamicImage::ImageRgb8(upright());
    let stored = [
        u.clone(),
        u.fliph(),
        u.rotate180(),
        u.flipv(),
        u.rotate90().fliph(),
        u.rotate270(),
        u.rotate270().fliph(),
        u.rotate90(),
    ];
    for (i, picture) in stored.into_iter().enumerate() {
        let path = dir.path().join("o.jpg");
        let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(
            std::fs::File::create(&path).unwrap(),
            95,
        );
        encoder.set_exif_metadata(exif(i as u8 + 1)).unwrap();
        picture.to_rgb8().write_with_encoder(encoder).unwrap();
        let photo = penstrata::input::read_photo(&path).unwrap();
        assert_eq!(photo.upright_size(), (60, 40), "orientation {}", i + 1);
        let s = sampled(&path, 60, 40);
        assert!(
            near(s.at(8, 6), [220, 30, 30], 12),
            "orientation {}: {:?}",
            i + 1,
            s.at(8, 6)
        );
        assert!(
            near(s.at(52, 6), [30, 180, 40], 12),
            "orientation {}",
            i + 1
        );
        // A white point given on the upright photo finds the same corner.
        let light = photo.light_at(8, 6).unwrap();
        assert!(light.red > 4.0 * light.green, "orientation {}", i + 1);
    }
}

/// Encoded by libheif and x265 (`tests/scripts/phone_picture.py`): in tiles, with a turn that the file asks for.
#[test]
fn a_heic_photo_comes_out_upright_and_in_its_colors() {
    let photo = penstrata::input::read_photo(&common::data("turned.heic")).unwrap();
    assert_eq!(photo.upright_size(), (288, 192));
    let s = sampled(&common::data("turned.heic"), 288, 192);
    for (x, y, color) in [
        (72, 48, [200, 40, 40]),
        (216, 48, [40, 160, 60]),
        (72, 144, [50, 70, 190]),
        (216, 144, [235, 230, 220]),
    ] {
        assert!(near(s.at(x, y), color, 4), "{x} {y}: {:?}", s.at(x, y));
    }
    let cut_out = penstrata::input::read_photo(&common::data("cut-out.heic")).unwrap();
    assert_eq!(cut_out.subject_box(), Some([32.0, 16.0, 48.0, 32.0]));
}

/// There is no decoder for it; the error says what to do.
#[test]
fn an_avif_photo_is_refused_with_a_way_out() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("photo.avif");
    std::fs::write(&path, b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf\0\0\0\0").unwrap();
    let error = penstrata::input::read_photo(&path)
        .err()
        .unwrap()
        .to_string();
    assert!(
        error.contains("AVIF") && error.contains("as JPEG"),
        "{error}"
    );
}

/// sRGB (200, 60, 40) in Display P3 code values, by the profile of the moxcms package: reading must undo it.
#[test]
fn display_p3_is_converted_to_srgb_and_a_broken_profile_is_ignored() {
    use moxcms::{ColorProfile, Layout, TransformOptions};
    let dir = tempfile::tempdir().unwrap();
    let p3 = ColorProfile::new_display_p3();
    let transform = ColorProfile::new_srgb()
        .create_transform_8bit(Layout::Rgb, &p3, Layout::Rgb, TransformOptions::default())
        .unwrap();
    let mut code = [0u8; 3];
    transform.transform(&[200, 60, 40], &mut code).unwrap();
    assert!(code[0] < 195, "the code values differ: {code:?}");
    for (profile, expected) in [
        (p3.encode().unwrap(), [200, 60, 40]),
        (b"not a profile".to_vec(), code),
    ] {
        let path = dir.path().join("p3.png");
        let mut encoder =
            image::codecs::png::PngEncoder::new(std::fs::File::create(&path).unwrap());
        encoder.set_icc_profile(profile).unwrap();
        encoder
            .write_image(&code.repeat(16), 4, 4, image::ExtendedColorType::Rgb8)
            .unwrap();
        let s = sampled(&path, 2, 2);
        assert!(
            near(s.at(0, 0), expected, 2),
            "{:?} for {expected:?}",
            s.at(0, 0)
        );
    }
}

#[test]
fn every_format_is_read_by_content_whatever_its_name() {
    let dir = tempfile::tempdir().unwrap();
    for format in [
        image::ImageFormat::Jpeg,
        image::ImageFormat::Png,
        image::ImageFormat::WebP,
        image::ImageFormat::Tiff,
        image::ImageFormat::Bmp,
    ] {
        let path = dir.path().join("photo.dat");
        upright().save_with_format(&path, format).unwrap();
        assert!(
            near(sampled(&path, 60, 40).at(8, 6), [220, 30, 30], 12),
            "{format:?}"
        );
    }
}

#[test]
fn sixteen_bits_gray_and_transparency_are_read() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("deep.png");
    image::ImageBuffer::<Rgb<u16>, _>::from_pixel(8, 8, Rgb([51400u16, 15420, 10280]))
        .save(&path)
        .unwrap();
    assert!(near(sampled(&path, 4, 4).at(1, 1), [200, 60, 40], 1));
    image::GrayImage::from_pixel(8, 8, image::Luma([99]))
        .save(&path)
        .unwrap();
    assert!(near(sampled(&path, 4, 4).at(1, 1), [99, 99, 99], 1));
    let cut_out = image::RgbaImage::from_fn(40, 30, |x, y| {
        image::Rgba([
            90,
            60,
            30,
            if (10..30).contains(&x) && (5..25).contains(&y) {
                255
            } else {
                0
            },
        ])
    });
    cut_out.save(&path).unwrap();
    assert_eq!(
        penstrata::input::read_photo(&path).unwrap().subject_box(),
        Some([10.0, 5.0, 20.0, 20.0])
    );
}

/// The four quarters of tests/data/cmyk.jpg and animated.webp, made by Pillow (`tests/scripts/odd_pictures.py`).
const QUARTERS: [[u8; 3]; 4] = [[200, 40, 40], [40, 160, 60], [50, 70, 190], [235, 230, 220]];

fn has_quarters(path: &std::path::Path, tolerance: u8) {
    let seen = sampled(path, 64, 64);
    for (i, &color) in QUARTERS.iter().enumerate() {
        let found = seen.at(16 + 32 * (i % 2), 16 + 32 * (i / 2));
        assert!(
            near(found, color, tolerance),
            "{}: {found:?} for {color:?}",
            path.display()
        );
    }
}

#[test]
fn a_cmyk_jpeg_and_the_first_frame_of_an_animated_webp_are_read() {
    has_quarters(&common::data("cmyk.jpg"), 6);
    has_quarters(&common::data("animated.webp"), 0);
}

#[test]
fn gray_jpeg_paletted_png_and_one_bit_png_are_read() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("picture");
    image::GrayImage::from_fn(64, 64, |x, _| image::Luma([if x < 32 { 60 } else { 200 }]))
        .save_with_format(&path, image::ImageFormat::Jpeg)
        .unwrap();
    let seen = sampled(&path, 64, 64);
    assert!(near(seen.at(8, 30), [60; 3], 2) && near(seen.at(56, 30), [200; 3], 2));

    let write =
        |color: png::ColorType, depth: png::BitDepth, palette: Option<Vec<u8>>, rows: &[u8]| {
            let file = std::fs::File::create(&path).unwrap();
            let mut encoder = png::Encoder::new(file, 64, 64);
            encoder.set_color(color);
            encoder.set_depth(depth);
            if let Some(palette) = palette {
                encoder.set_palette(palette);
            }
            encoder
                .write_header()
                .unwrap()
                .write_image_data(rows)
                .unwrap();
        };
    // Two bits a pixel: the quarters by their index.
    let rows: Vec<u8> = (0..64)
        .flat_map(|y| (0..16).map(move |x| [0x00, 0x55, 0xaa, 0xff][2 * (y / 32) + x / 8]))
        .collect();
    write(
        png::ColorType::Indexed,
        png::BitDepth::Two,
        Some(QUARTERS.concat()),
        &rows,
    );
    has_quarters(&path, 0);
    // One bit a pixel: black left, white right.
    let rows: Vec<u8> = (0..64)
        .flat_map(|_| (0..8).map(|x| if x < 4 { 0 } else { 0xff }))
        .collect();
    write(png::ColorType::Grayscale, png::BitDepth::One, None, &rows);
    let seen = sampled(&path, 64, 64);
    assert_eq!((seen.at(5, 5), seen.at(60, 60)), ([0, 0, 0, 255], [255; 4]));
}
