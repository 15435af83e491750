//! Reading a photo: decoding, color profile, orientation.

use std::io::Cursor;
use std::path::{Path, PathBuf};

use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::U8x3;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageReader, Limits};
use moxcms::{ColorProfile, Layout, TransformOptions};
use palette::{LinSrgb, Srgb};
use rayon::prelude::*;

use crate::error::{Error, Result};
use crate::grid::Grid;

use super::{heic, jpeg};

/// Pictures beyond this are refused before memory is taken, in millions of pixels. Twice the largest phone cameras
/// of today; from memory.
pub const LARGEST_MEGAPIXELS: u64 = 120;
/// Bytes one decoder may take: the largest picture at 8 bytes a pixel (four channels of 16 bits).
const DECODER_BYTES: u64 = LARGEST_MEGAPIXELS * 1_000_000 * 8;
/// Half the side of the square around a white point that is averaged, in photo pixels; from memory.
const WHITE_RADIUS: usize = 3;
/// Rows that one thread makes of a photo at once; from memory.
const BAND_ROWS: usize = 32;
/// Longer side of the small copy of a photo, in pixels: enough to find its subject and its white. From memory.
const SMALL_PX: usize = 200;

/// A decoded photo, as stored: before its orientation and its color profile are applied, which is cheaper after
/// sampling.
pub struct Photo {
    pub path: PathBuf,
    pub width: usize,
    pub height: usize,
    /// 3 (RGB) or 4 (RGBA, straight alpha) bytes per pixel.
    channels: usize,
    pixels: Vec<u8>,
    orientation: Orientation,
    profile: Option<ColorProfile>,
    /// All of it, upright, in sRGB with straight alpha, at most 200 pixels along its longer side.
    pub small: Grid<[u8; 4]>,
}

/// Refuses a picture of too many pixels.
pub fn refuse_if_too_large(path: &Path, width: u32, height: u32) -> Result<()> {
    let pixels = u64::from(width) * u64::from(height);
    if pixels == 0 || pixels > LARGEST_MEGAPIXELS * 1_000_000 {
        return Err(Error::file(
            path,
            format!(
                "is {width} x {height} pixels, expected 1 to {LARGEST_MEGAPIXELS} million pixels in all"
            ),
            "Save it smaller with any photo program; 12 megapixels are plenty.",
        ));
    }
    Ok(())
}

fn is_rgb(profile: &ColorProfile) -> bool {
    profile.color_space == moxcms::DataColorSpace::Rgb
}

/// Less of a photo than this that is transparent cuts nothing out; from memory.
const LEAST_CLEAR: f64 = 0.05;

impl Photo {
    /// Whether much of it is transparent, so that it says itself what it shows; the rounded corners of a screenshot do
    /// not.
    pub fn is_cut_out(&self) -> bool {
        let clear = self.small.data.iter().filter(|p| p[3] < 128).count();
        clear as f64 >= LEAST_CLEAR * self.small.data.len() as f64
    }

    /// Reads JPEG, HEIC, PNG, WebP, TIFF or BMP; the format is told from the content, not from the name. `path` is for
    /// telling about it.
    ///
    /// # Errors
    /// If the picture is not one of these formats, is damaged, or is larger than
    /// [`LARGEST_MEGAPIXELS`]. A damaged color profile is ignored.
    pub fn decode(path: &Path, bytes: &[u8]) -> Result<Self> {
        let mut photo = Self::decode_stored(path, bytes)?;
        photo.small = photo.thumbnail(SMALL_PX);
        Ok(photo)
    }

    /// All but the small copy.
    fn decode_stored(path: &Path, bytes: &[u8]) -> Result<Self> {
        match heic::kind(bytes) {
            Some(heic::Kind::Avif) => return Err(heic::refuse_avif(path)),
            Some(heic::Kind::Heic) => return Self::decode_heic(path, bytes),
            None if jpeg::is_cut_off(bytes) => {
                return Err(Error::file(
                    path,
                    "ends before its picture does: a part of the file is missing",
                    "Copy it again from the phone or camera; if it is damaged there, too, open and save it in a photo program and look at what is left.",
                ));
            }
            None => {}
        }
        let broken = |e: image::ImageError| {
            Error::file(
                path,
                format!("cannot be read as a picture ({e})"),
                "Give a JPEG, HEIC, PNG, WebP, TIFF or BMP file; opening and saving it in a photo program often mends it.",
            )
        };
        let mut reader = ImageReader::new(Cursor::new(bytes))
            .with_guessed_format()
            .map_err(|e| broken(e.into()))?;
        let mut limits = Limits::default();
        limits.max_alloc = Some(DECODER_BYTES);
        reader.limits(limits);
        let mut decoder = reader.into_decoder().map_err(broken)?;
        let (width, height) = decoder.dimensions();
        refuse_if_too_large(path, width, height)?;
        let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
        let profile = decoder
            .icc_profile()
            .ok()
            .flatten()
            .and_then(|icc| ColorProfile::new_from_slice(&icc).ok());
        let decoded = DynamicImage::from_decoder(decoder).map_err(broken)?;
        let (channels, pixels) = if decoded.color().has_alpha() {
            (4, decoded.into_rgba8().into_raw())
        } else {
            (3, decoded.into_rgb8().into_raw())
        };
        Ok(Self {
            path: path.to_owned(),
            width: width as usize,
            height: height as usize,
            channels,
            pixels,
            orientation,
            profile: profile.filter(is_rgb),
            small: Grid::filled(0, 0, [0; 4]),
        })
    }

    fn decode_heic(path: &Path, bytes: &[u8]) -> Result<Self> {
        let decoded = heic::read_heic(path, bytes)?;
        Ok(Self {
            path: path.to_owned(),
            width: decoded.width,
            height: decoded.height,
            channels: decoded.channels,
            pixels: decoded.pixels,
            // Turned by the decoder; an Exif entry beside says the same again and does not count (ISO/IEC 23008-12).
            orientation: Orientation::NoTransforms,
            profile: decoded.profile.filter(is_rgb),
            small: Grid::filled(0, 0, [0; 4]),
        })
    }

    fn is_turned(&self) -> bool {
        matches!(
            self.orientation,
            Orientation::Rotate90
                | Orientation::Rotate270
                | Orientation::Rotate90FlipH
                | Orientation::Rotate270FlipH
        )
    }

    /// Width and height in pixels as a person sees the photo.
    pub fn upright_size(&self) -> (usize, usize) {
        if self.is_turned() {
            (self.height, self.width)
        } else {
            (self.width, self.height)
        }
    }

    /// The bounding box (left, top, width, height in upright pixels) of what is not transparent; `None` for a photo
    /// without transparency or with nothing but.
    pub fn subject_box(&self) -> Option<[f64; 4]> {
        if self.channels < 4 {
            return None;
        }
        let opaque = |row: &[u8]| {
            let first = row.chunks_exact(4).position(|p| p[3] >= 128)?;
            Some((first, row.chunks_exact(4).rposition(|p| p[3] >= 128)?))
        };
        let (mut x0, mut x1, mut y0, mut y1) = (usize::MAX, 0, usize::MAX, 0);
        for (y, row) in self.pixels.chunks_exact(4 * self.width).enumerate() {
            if let Some((first, last)) = opaque(row) {
                (x0, x1, y0, y1) = (x0.min(first), x1.max(last), y0.min(y), y);
            }
        }
        let all = [0, 0, self.width - 1, self.height - 1];
        if y0 == usize::MAX || [x0, y0, x1, y1] == all {
            return None;
        }
        let (p, q) = (self.upright(x0, y0), self.upright(x1, y1));
        let near = |c: usize| p[c].min(q[c]) as f64;
        let size = |c: usize| (p[c].abs_diff(q[c]) + 1) as f64;
        Some([near(0), near(1), size(0), size(1)])
    }

    /// Column and row in the upright photo of the pixel stored at (`x`, `y`).
    fn upright(&self, x: usize, y: usize) -> [usize; 2] {
        let (w, h) = (self.width, self.height);
        match self.orientation {
            Orientation::NoTransforms => [x, y],
            Orientation::FlipHorizontal => [w - 1 - x, y],
            Orientation::FlipVertical => [x, h - 1 - y],
            Orientation::Rotate180 => [w - 1 - x, h - 1 - y],
            Orientation::Rotate90 => [h - 1 - y, x],
            Orientation::Rotate270 => [y, w - 1 - x],
            Orientation::Rotate90FlipH => [y, x],
            Orientation::Rotate270FlipH => [h - 1 - y, w - 1 - x],
        }
    }

    /// The whole photo in `width * height` pixels; see [`Photo::resample`].
    pub fn whole(&self, width: usize, height: usize) -> Grid<[u8; 4]> {
        self.resample([0, 0, self.width, self.height], width, height)
    }

    /// The whole photo with at most `longest` pixels along its longer side, never larger than it is.
    pub fn thumbnail(&self, longest: usize) -> Grid<[u8; 4]> {
        let (w, h) = self.upright_size();
        let scale = (longest as f64 / w.max(h) as f64).min(1.0);
        let size = |v: usize| ((v as f64 * scale).round() as usize).max(1);
        self.whole(size(w), size(h))
    }

    /// The part `crop` (left, top, width, height, as stored) brought upright and to sRGB in `width * height` pixels,
    /// by area averaging where it shrinks and bilinear interpolation where it grows. Straight alpha.
    pub fn resample(&self, crop: [usize; 4], width: usize, height: usize) -> Grid<[u8; 4]> {
        let (w, h) = if self.is_turned() {
            (height, width)
        } else {
            (width, height)
        };
        let mut rgba: Vec<[u8; 4]> = match self.channels {
            4 => self.resized_by_alpha(crop, w, h),
            _ => {
                let pixels = self.resized(&self.pixels, crop, w, h);
                let opaque = |&[r, g, b]: &[u8; 3]| [r, g, b, 255];
                pixels.as_chunks().0.iter().map(opaque).collect()
            }
        };
        self.to_srgb(&mut rgba);
        let stored = image::RgbaImage::from_raw(w as u32, h as u32, rgba.into_flattened())
            .expect("w * h pixels");
        let mut upright = DynamicImage::ImageRgba8(stored);
        upright.apply_orientation(self.orientation);
        let data = upright.into_rgba8().into_raw().as_chunks::<4>().0.to_vec();
        Grid {
            width,
            height,
            data,
        }
    }

    /// [`Photo::resized`] of a photo of four channels. A pixel counts as much as it covers: colors are
    /// multiplied by alpha, averaged and divided again (Porter and Duff 1984).
    fn resized_by_alpha(&self, crop: [usize; 4], width: usize, height: usize) -> Vec<[u8; 4]> {
        let stored = self.pixels.as_chunks::<4>().0;
        let share = |v: u8, a: u8| ((u32::from(v) * u32::from(a) + 127) / 255) as u8;
        let covering = |&[r, g, b, a]: &[u8; 4]| [r, g, b].map(|v| share(v, a));
        let colors: Vec<[u8; 3]> = stored.iter().map(covering).collect();
        let alphas: Vec<[u8; 3]> = stored.iter().map(|&[.., a]| [a; 3]).collect();
        let [colors, alphas] =
            [colors, alphas].map(|of| self.resized(of.as_flattened(), crop, width, height));
        let (colors, alphas) = (colors.as_chunks().0, alphas.as_chunks().0);
        let divided = |(&[r, g, b], &[a, ..]): (&[u8; 3], &[u8; 3])| {
            let whole = |v: u8| (u32::from(v) * 255 + u32::from(a) / 2) / u32::from(a).max(1);
            let [r, g, b] = [r, g, b].map(|v| whole(v).min(255) as u8);
            [r, g, b, a]
        };
        colors.iter().zip(alphas).map(divided).collect()
    }

    /// Three channels of the part `crop` of the stored photo in `width * height` pixels, band by band at once. There is
    /// no other kind of pixels here: code for a second one made this crate take a quarter longer to compile.
    fn resized(
        &self,
        of: &[u8],
        [left, top, across, down]: [usize; 4],
        width: usize,
        height: usize,
    ) -> Vec<u8> {
        let source = TypedImageRef::<U8x3>::from_buffer(self.width as u32, self.height as u32, of)
            .expect("the decoder filled every pixel");
        let filter = match across >= width && down >= height {
            true => FilterType::Box,
            false => FilterType::Bilinear,
        };
        let (per_row, end) = (down as f64 / height as f64, (top + down) as f64);
        let band = |(k, rows): (usize, &mut [u8])| {
            let count = rows.len() / (3 * width);
            let top = top as f64 + (k * BAND_ROWS) as f64 * per_row;
            let down = (count as f64 * per_row).min(end - top);
            let options = ResizeOptions::new()
                .resize_alg(ResizeAlg::Convolution(filter))
                .crop(left as f64, top, across as f64, down);
            let mut target = TypedImage::<U8x3>::from_buffer(width as u32, count as u32, rows)
                .expect("as many bytes as these rows have");
            Resizer::new()
                .resize_typed(&source, &mut target, &options)
                .expect("the crop lies inside the photo");
        };
        let mut resized = vec![0; 3 * width * height];
        let bands = resized.par_chunks_mut((3 * width * BAND_ROWS).max(1));
        bands.enumerate().for_each(band);
        resized
    }

    /// From the photo's own color profile to sRGB; left as it is where there is none, or it cannot be used.
    fn to_srgb(&self, rgba: &mut [[u8; 4]]) {
        let Some(profile) = &self.profile else { return };
        let srgb = ColorProfile::new_srgb();
        let Ok(transform) = profile.create_transform_8bit(
            Layout::Rgba,
            &srgb,
            Layout::Rgba,
            TransformOptions::default(),
        ) else {
            return;
        };
        let source = rgba.to_vec();
        if transform
            .transform(source.as_flattened(), rgba.as_flattened_mut())
            .is_err()
        {
            rgba.copy_from_slice(&source);
        }
    }

    /// The mean linear color around pixel (`x`, `y`) of the upright photo; `None` outside it or where it is black.
    pub fn light_at(&self, x: u32, y: u32) -> Option<LinSrgb<f32>> {
        let (w, h) = self.upright_size();
        let (x, y) = (x as usize, y as usize);
        if x >= w || y >= h {
            return None;
        }
        let (sx, sy) = match self.orientation {
            Orientation::NoTransforms => (x, y),
            Orientation::FlipHorizontal => (w - 1 - x, y),
            Orientation::FlipVertical => (x, h - 1 - y),
            Orientation::Rotate180 => (w - 1 - x, h - 1 - y),
            Orientation::Rotate90 => (y, w - 1 - x),
            Orientation::Rotate270 => (h - 1 - y, x),
            Orientation::Rotate90FlipH => (y, x),
            Orientation::Rotate270FlipH => (h - 1 - y, w - 1 - x),
        };
        let (x0, y0) = (
            sx.saturating_sub(WHITE_RADIUS),
            sy.saturating_sub(WHITE_RADIUS),
        );
        let size = |at: usize, start: usize, end: usize| (at + WHITE_RADIUS + 1).min(end) - start;
        let crop = [x0, y0, size(sx, x0, self.width), size(sy, y0, self.height)];
        let [r, g, b, _] = self.resample(crop, 1, 1).at(0, 0);
        let light: LinSrgb<f32> = Srgb::new(r, g, b).into_linear();
        (light.red.min(light.green).min(light.blue) > 0.001).then_some(light)
    }
}
