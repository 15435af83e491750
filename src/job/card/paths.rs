//! The files that the tables of a card name, and what shows white in the photos among them.

use std::path::{Path, PathBuf};

use super::{PieceEntry, StampEntry};
use crate::job::parts::PartEntry;
use crate::job::{References, VariantEntry, White};

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

/// What is white in the photos of a reference, to be changed.
pub(in crate::job) fn whites_mut(reference: &mut Option<References>) -> Vec<&mut Option<White>> {
    match reference {
        Some(References::Several(list)) => list.iter_mut().map(|p| &mut p.white).collect(),
        _ => Vec::new(),
    }
}

/// The same of stamps and pieces.
pub(in crate::job) fn image_whites_mut<'a>(
    stamps: &'a mut [StampEntry],
    pieces: &'a mut [PieceEntry],
) -> Vec<&'a mut Option<White>> {
    let mut all = Vec::new();
    for stamp in stamps {
        all.push(&mut stamp.white);
        all.extend(whites_mut(&mut stamp.reference));
    }
    for piece in pieces {
        all.push(&mut piece.white);
        all.extend(whites_mut(&mut piece.reference));
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
