//! Whether a JPEG file is whole: its decoder fills what is missing with gray and says nothing.

/// Markers of ITU-T T.81, table B.1.
const START_OF_IMAGE: u8 = 0xd8;
const END_OF_IMAGE: u8 = 0xd9;
const START_OF_SCAN: u8 = 0xda;

/// Whether `bytes` begin as a JPEG and end before its end-of-image marker. Follows the segments (ITU-T T.81, B.1.1): a
/// small picture inside the Exif data has an end of its own.
pub fn is_cut_off(bytes: &[u8]) -> bool {
    if !bytes.starts_with(&[0xff, START_OF_IMAGE]) {
        return false;
    }
    let mut at = 2;
    loop {
        match bytes.get(at..) {
            // Bytes before a marker may be filled up with 0xff.
            Some([0xff, 0xff, ..]) => at += 1,
            Some([0xff, END_OF_IMAGE, ..]) => return false,
            Some([0xff, marker, high, low, ..]) => {
                at += 2 + usize::from(u16::from_be_bytes([*high, *low]));
                if *marker == START_OF_SCAN {
                    at = end_of_scan(bytes, at);
                }
            }
            // Something that is no marker is left to the decoder.
            Some([first, _, ..]) if *first != 0xff => return false,
            _ => return true,
        }
    }
}

/// Where the next marker after the coded data that begin at `at` is; a coded 0xff is followed by 0, and restart markers
/// (0xd0 to 0xd7) belong to the data.
fn end_of_scan(bytes: &[u8], at: usize) -> usize {
    let rest = bytes.get(at..).unwrap_or_default();
    let is_end = |pair: &[u8]| pair[0] == 0xff && !matches!(pair[1], 0 | 0xd0..=0xd7 | 0xff);
    let length = rest.windows(2).position(is_end).unwrap_or(rest.len());
    at + length
}

#[cfg(test)]
mod tests {
    use super::*;

    fn small() -> Vec<u8> {
        let mut bytes = std::io::Cursor::new(Vec::new());
        let picture =
            image::RgbImage::from_fn(40, 30, |x, y| image::Rgb([x as u8 * 6, y as u8 * 8, 90]));
        picture
            .write_to(&mut bytes, image::ImageFormat::Jpeg)
            .unwrap();
        bytes.into_inner()
    }

    #[test]
    fn a_jpeg_is_cut_off_wherever_it_ends_too_early() {
        let whole = small();
        assert!(!is_cut_off(&whole));
        for end in 2..whole.len() {
            assert!(is_cut_off(&whole[..end]), "cut at {end} of {}", whole.len());
        }
    }

    #[test]
    fn what_follows_the_picture_and_a_small_one_inside_do_not_count() {
        let whole = small();
        let after = [whole.as_slice(), b"a film of the moment"].concat();
        assert!(!is_cut_off(&after));
        let mut exif = vec![0xff, 0xd8, 0xff, 0xe1];
        exif.extend(u16::try_from(whole.len() + 2).unwrap().to_be_bytes());
        exif.extend(&whole);
        exif.extend(&whole[2..]);
        assert!(!is_cut_off(&exif));
        assert!(is_cut_off(&exif[..exif.len() - 2]));
        assert!(!is_cut_off(b"no picture"));
    }
}
