//! The files that the tables of a card name, and what was read off the photos among them.

use std::path::{Path, PathBuf};

use super::{PieceEntry, StampEntry};
use crate::job::parts::PartEntry;
use crate::job::{Align, Match, References, VariantEntry, White};

/// Every path in the tables of a card, with what it is.
pub(in crate::job) fn paths<'a>(
    stamps: &'a [StampEntry],
    pieces: &'a [PieceEntry],
    variants: &'a [VariantEntry],
) -> Vec<(&'a Path, &'static str)> {
    let mut all = Vec::new();
    let photos = |reference: &'a Option<References>, parts: &'a [PartEntry]| {
        let named: Vec<&'a PathBuf> = match reference {
            None => Vec::new(),
            Some(References::One(photo)) => vec![photo],
            Some(References::Several(list)) => list.iter().map(|p| &p.photo).collect(),
        };
        let own = parts.iter().filter_map(|p| p.photo.as_ref());
        named
            .into_iter()
            .chain(own)
            .map(|p| (p.as_path(), "picture"))
    };
    for stamp in stamps {
        all.extend(photos(&stamp.reference, &stamp.parts));
        all.push((stamp.art.as_path(), "drawing"));
    }
    for piece in pieces {
        all.extend(photos(&piece.reference, &piece.parts));
        all.push((piece.art.as_path(), "drawing"));
    }
    for variant in variants {
        all.extend(variant.pens.iter().map(|p| (p.as_path(), "pens file")));
        all.extend(variant.reference.iter().map(|p| (p.as_path(), "picture")));
    }
    all
}

/// The photos of stamps and pieces, to be changed.
pub(in crate::job) fn photos_mut<'a>(
    stamps: &'a mut [StampEntry],
    pieces: &'a mut [PieceEntry],
) -> Vec<&'a mut PathBuf> {
    let mut all = Vec::new();
    for stamp in stamps {
        all.extend(named_mut(&mut stamp.reference, &mut stamp.parts));
    }
    for piece in pieces {
        all.extend(named_mut(&mut piece.reference, &mut piece.parts));
    }
    all
}

/// The photos of a reference and of parts, to be changed.
pub(in crate::job) fn named_mut<'a>(
    reference: &'a mut Option<References>,
    parts: &'a mut [PartEntry],
) -> Vec<&'a mut PathBuf> {
    let mut named: Vec<&mut PathBuf> = match reference {
        None => Vec::new(),
        Some(References::One(photo)) => vec![photo],
        Some(References::Several(list)) => list.iter_mut().map(|p| &mut p.photo).collect(),
    };
    named.extend(parts.iter_mut().filter_map(|p| p.photo.as_mut()));
    named
}

/// What was read off one photo and is true of no other.
pub(in crate::job) struct ReadOff<'a> {
    white: &'a mut Option<White>,
    matches: &'a mut Vec<Match>,
    align: &'a mut Option<Align>,
}

impl ReadOff<'_> {
    /// Takes out which pixel is white, and the points.
    pub(in crate::job) fn forget(self) {
        if matches!(self.white, Some(White::At(..))) {
            *self.white = None;
        }
        forget_points(self.matches, self.align);
    }
}

/// Takes out the points, and that the photo is laid by them.
pub(in crate::job) fn forget_points(matches: &mut Vec<Match>, align: &mut Option<Align>) {
    matches.clear();
    if *align == Some(Align::Points) {
        *align = None;
    }
}

/// What the photos of a reference say of themselves, to be changed.
pub(in crate::job) fn read_off(reference: &mut Option<References>) -> Vec<ReadOff<'_>> {
    let list = match reference {
        Some(References::Several(list)) => &mut list[..],
        _ => &mut [],
    };
    let of_photo = list.iter_mut().map(|part| ReadOff {
        white: &mut part.white,
        matches: &mut part.matches,
        align: &mut part.align,
    });
    of_photo.collect()
}

/// The same of stamps and pieces.
pub(in crate::job) fn read_off_images<'a>(
    stamps: &'a mut [StampEntry],
    pieces: &'a mut [PieceEntry],
) -> Vec<ReadOff<'a>> {
    let mut all = Vec::new();
    for stamp in stamps {
        all.push(ReadOff {
            white: &mut stamp.white,
            matches: &mut stamp.matches,
            align: &mut stamp.align,
        });
        all.extend(read_off(&mut stamp.reference));
    }
    for piece in pieces {
        all.push(ReadOff {
            white: &mut piece.white,
            matches: &mut piece.matches,
            align: &mut piece.align,
        });
        all.extend(read_off(&mut piece.reference));
    }
    all
}

/// Every path in the tables of a card, to be changed.
pub(in crate::job) fn paths_mut<'a>(
    stamps: &'a mut [StampEntry],
    pieces: &'a mut [PieceEntry],
    variants: &'a mut [VariantEntry],
) -> Vec<&'a mut PathBuf> {
    let mut all = Vec::new();
    for stamp in stamps {
        all.extend(named_mut(&mut stamp.reference, &mut stamp.parts));
        all.push(&mut stamp.art);
    }
    for piece in pieces {
        all.extend(named_mut(&mut piece.reference, &mut piece.parts));
        all.push(&mut piece.art);
    }
    for variant in variants {
        all.extend(variant.pens.as_mut());
        all.extend(variant.reference.as_mut());
    }
    all
}
