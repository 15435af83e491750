//! What can be told of a card without its arts: bounds, names, and what lies over what.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use crate::error::{Error, Result};
use crate::length::Length;

use super::{CardTables, PieceEntry, StampEntry, photos_of};
use crate::job::check::{WIDTH_MM, check_white, within};
use crate::job::parts::{PartEntry, check_parts, circle};
use crate::job::{References, White};

/// Bounds of a mask's distance inside the line, in millimeters; from memory.
const MASK_MM: RangeInclusive<f64> = 0.0..=2.0;
/// Bounds of a piece's cut outside the line, in millimeters.
const CUT_MM: RangeInclusive<f64> = 0.3..=2.0;
/// Bounds of the room between pieces, in millimeters; from memory.
const ROOM_MM: RangeInclusive<f64> = 0.0..=30.0;
/// Bounds of a stamp's width, in millimeters; from memory.
const STAMP_MM: RangeInclusive<f64> = 5.0..=420.0;
/// Most letters of a stamp's or a piece's name, as for pens.
const LONGEST_NAME: usize = 80;
/// Most stamps and pieces on one card: more are more than a person would stamp.
const MOST_IMAGES: usize = 100;

impl CardTables<'_> {
    /// Checks what can be told without the arts.
    ///
    /// # Errors
    /// If a number is out of bounds, or a name is unknown, there twice, or over itself in a circle.
    pub fn check(&self) -> Result<()> {
        for side in self.panel.size.mm() {
            within("panel", Length::from_mm(side), &WIDTH_MM)?;
        }
        for side in self.sheet.size.mm() {
            within("size of pieces", Length::from_mm(side), &WIDTH_MM)?;
        }
        within("mask", self.panel.mask, &MASK_MM)?;
        within("room", self.sheet.room, &ROOM_MM)?;
        if self.stamps.is_empty() && self.pieces.is_empty() {
            return Err(Error::new(
                "[panel] has a size, but nothing is stamped on it",
                "Write [[stamp]] tables with art = \"leaf.svg\", width = \"38mm\" and at = [52, 74].",
            ));
        }
        let names = self.names();
        for (n, name) in names.iter().enumerate() {
            if names[..n].contains(name) {
                return Err(Error::new(
                    format!("two stamps or pieces are called \"{name}\""),
                    "Give every one a name of its own.",
                ));
            }
        }
        let pieces = self.pieces.iter().map(PieceEntry::count);
        let images = pieces.fold(self.stamps.len(), usize::saturating_add);
        if images > MOST_IMAGES {
            return Err(Error::new(
                format!(
                    "{images} stamps and pieces are on one card, expected {MOST_IMAGES} at most"
                ),
                "Make several jobs of them.",
            ));
        }
        for (stamp, name) in self.stamps.iter().zip(&names) {
            let at = &[stamp.at];
            check_image(name, stamp.width, stamp.turn, at, &stamp.bare_cells)?;
            check_colors(&stamp.reference, &stamp.parts, stamp.white).map_err(|e| e.about(name))?;
            self.check_over(stamp, name, &names)?;
        }
        for (piece, name) in self.pieces.iter().zip(&names[self.stamps.len()..]) {
            check_piece(piece, name)?;
        }
        self.check_circle(&names)
    }

    fn check_over(&self, stamp: &StampEntry, name: &str, names: &[String]) -> Result<()> {
        let stamps = &names[..self.stamps.len()];
        match stamp.over.list().iter().find(|o| !stamps.contains(o)) {
            None => Ok(()),
            Some(other) => Err(Error::new(
                format!("{name} lies over \"{other}\", but no stamp is called that"),
                format!("Write one of: {}.", stamps.join(", ")),
            )),
        }
    }

    /// Refuses stamps that lie over each other in a circle, which it names.
    fn check_circle(&self, names: &[String]) -> Result<()> {
        let index: BTreeMap<&str, usize> = (0..self.stamps.len())
            .map(|s| (names[s].as_str(), s))
            .collect();
        let over: Vec<Vec<usize>> = self
            .stamps
            .iter()
            .map(|s| {
                let list = s.over.list().iter();
                list.filter_map(|o| index.get(o.as_str()).copied())
                    .collect()
            })
            .collect();
        let Some(circle) = circle(&over) else {
            return Ok(());
        };
        let named: Vec<String> = circle
            .iter()
            .chain(circle.first())
            .map(|&s| names[s].clone())
            .collect();
        Err(Error::new(
            format!(
                "stamps lie over each other in a circle: {}",
                named.join(" over ")
            ),
            "Take one over out: what lies in front is over what lies behind.",
        ))
    }
}

fn check_piece(piece: &PieceEntry, name: &str) -> Result<()> {
    check_image(name, piece.width, piece.turn, &piece.at, &piece.bare_cells)?;
    check_colors(&piece.reference, &piece.parts, piece.white).map_err(|e| e.about(name))?;
    within(&format!("cut of {name}"), piece.cut, &CUT_MM)?;
    let count = piece.count();
    if count == 0 || piece.at.len() > count {
        return Err(Error::new(
            format!(
                "count of {name} is {count}, but {} are glued on",
                piece.at.len()
            ),
            "Leave count out to make as many as there are places in at, or raise it.",
        ));
    }
    Ok(())
}

/// What the colors of a stamp or piece come from.
fn check_colors(
    reference: &Option<References>,
    parts: &[PartEntry],
    white: Option<White>,
) -> Result<()> {
    check_parts(parts)?;
    let photos = photos_of(reference.as_ref(), parts, None, &[], white);
    check_white(white.unwrap_or_default(), &photos)
}

fn check_image(
    name: &str,
    width: Length,
    turn: f64,
    at: &[[f64; 2]],
    bare: &[[f64; 2]],
) -> Result<()> {
    let letters = name.chars().count();
    if !(1..=LONGEST_NAME).contains(&letters) || name.chars().any(char::is_control) {
        return Err(Error::new(
            format!(
                "a stamp or piece has a name of {letters} letters, expected 1 to {LONGEST_NAME} on one line"
            ),
            "Give it a shorter name = \"...\".",
        ));
    }
    within(&format!("width of {name}"), width, &STAMP_MM)?;
    let points = at.iter().chain(bare).flatten();
    if !turn.is_finite() || points.clone().any(|v| !v.is_finite()) {
        return Err(Error::new(
            format!("at or turn of {name} is not a number"),
            "Write at = [52.5, 74.0] in millimeters and turn = 15 in degrees.",
        ));
    }
    Ok(())
}
