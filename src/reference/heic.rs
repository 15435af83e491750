//! HEIC (ISO/IEC 23008-12), what phones save unless told otherwise. The decoder behind this is young: it is asked for
//! the size before it may take memory, and a panic of it becomes an error.

use std::panic::catch_unwind;
use std::path::Path;

use heic_decoder::{HeifError, Metadata, decode, probe};
use moxcms::ColorProfile;

use crate::error::{Error, Result};

use super::refuse_if_too_large;

/// What to do about a picture of a phone that cannot be read.
const GET_A_JPEG: &str = "Get it as JPEG: export it so with a photo program, choose JPEG where the phone shares or \
                          sends it, or set the phone's camera to save JPEG (\"most compatible\").";
/// Code of the Display P3 primaries (ITU-T H.273, table 2).
const DISPLAY_P3: u16 = 12;

/// A kind of picture told by the brands in its first box (ISO/IEC 14496-12, `ftyp`).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Heic,
    Avif,
}

/// What is in a HEIC file, upright.
pub struct Decoded {
    pub width: usize,
    pub height: usize,
    /// Bytes per pixel: 3 (RGB) or 4 (RGBA, straight alpha).
    pub channels: usize,
    pub pixels: Vec<u8>,
    pub profile: Option<ColorProfile>,
}

/// The kind of picture, if it is one of these.
pub fn kind(bytes: &[u8]) -> Option<Kind> {
    let (size, rest) = bytes.split_first_chunk::<4>()?;
    let brands = rest.strip_prefix(b"ftyp")?;
    let length = (u32::from_be_bytes(*size) as usize).checked_sub(8)?;
    let brands = &brands[..length.min(brands.len())];
    let has = |wanted: &[&[u8; 4]]| {
        brands
            .as_chunks::<4>()
            .0
            .iter()
            .any(|b| wanted.contains(&b))
    };
    if has(&[b"avif", b"avis"]) {
        return Some(Kind::Avif);
    }
    has(&[
        b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1",
    ])
    .then_some(Kind::Heic)
}

/// AVIF: there is no decoder for it here.
pub fn refuse_avif(path: &Path) -> Error {
    Error::file(path, "is an AVIF picture, which cannot be read", GET_A_JPEG)
}

/// Reads a HEIC picture: turned and cropped as the file says, 8 bits a channel.
///
/// # Errors
/// If it is damaged, too large, or of a kind that the decoder does not know.
pub fn read_heic(path: &Path, bytes: &[u8]) -> Result<Decoded> {
    let failed = |e: String| {
        let what = format!("is a HEIC picture that cannot be read ({e})");
        Error::file(path, what, GET_A_JPEG)
    };
    let info = caught(|| probe(bytes)).map_err(failed)?;
    for [width, height] in [
        [info.width, info.height],
        [info.coded_width, info.coded_height],
    ] {
        let [width, height] = [width, height].map(|v| u32::try_from(v).unwrap_or(u32::MAX));
        refuse_if_too_large(path, width, height)?;
    }
    caught(|| pixels(bytes, info.alpha_bit_depth.is_some())).map_err(failed)
}

fn pixels(bytes: &[u8], alpha: bool) -> std::result::Result<Decoded, HeifError> {
    let image = decode(bytes)?;
    let profile = profile(&image.metadata);
    if !alpha {
        let rgb = image.to_rgb8()?;
        return Ok(Decoded {
            width: rgb.width,
            height: rgb.height,
            channels: 3,
            pixels: rgb.data,
            profile,
        });
    }
    let mut rgba = image.to_rgba8()?;
    if rgba.premultiplied {
        for [r, g, b, a] in rgba.data.as_chunks_mut::<4>().0 {
            for v in [r, g, b] {
                *v = (u32::from(*v) * 255 / u32::from(*a).max(1)).min(255) as u8;
            }
        }
    }
    Ok(Decoded {
        width: rgba.width,
        height: rgba.height,
        channels: 4,
        pixels: rgba.data,
        profile,
    })
}

/// The color profile of the file, or the one that its color codes name.
fn profile(metadata: &Metadata) -> Option<ColorProfile> {
    let icc = metadata.icc_profile.as_deref();
    if let Some(profile) = icc.and_then(|icc| ColorProfile::new_from_slice(icc).ok()) {
        return Some(profile);
    }
    metadata
        .color_info
        .filter(|info| info.color_primaries == DISPLAY_P3)
        .map(|_| ColorProfile::new_display_p3())
}

/// The result of `f`, in words if it is none. The decoder promises never to panic; that is not relied on.
fn caught<T>(
    f: impl FnOnce() -> std::result::Result<T, HeifError> + std::panic::UnwindSafe,
) -> std::result::Result<T, String> {
    match catch_unwind(f) {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(e)) => Err(e.to_string()),
        Err(_) => Err("its decoder gave up".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_are_told_by_their_brands_and_a_panic_is_an_error() {
        let file = |brands: &[u8]| {
            let mut file = ((8 + brands.len()) as u32).to_be_bytes().to_vec();
            file.extend(b"ftyp");
            file.extend(brands);
            file.extend(b"\0\0\0\x08avif");
            file
        };
        assert_eq!(kind(&file(b"heic\0\0\0\0mif1heic")), Some(Kind::Heic));
        assert_eq!(kind(&file(b"mif1\0\0\0\0mif1avif")), Some(Kind::Avif));
        assert_eq!(kind(&file(b"isom\0\0\0\0mp41")), None);
        for cut in 0..16 {
            assert_eq!(kind(&file(b"isom")[..cut]), None);
        }
        let panicking: std::result::Result<(), String> = caught(|| panic!("as a test"));
        assert_eq!(panicking, Err("its decoder gave up".to_owned()));
    }
}
