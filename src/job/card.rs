//! The whole card in a job: `[panel]` with its `[[stamp]]` tables, `[[piece]]`, `[[variant]]`.
//!
//! Everything that belongs to one art (`cells`, `match`, `bare_cells` of a stamp or a piece) is told in millimeters from the
//! top left of that art as it lies upright, not mirrored, at the width it is stamped; `at` is where the middle of the
//! art comes to lie, in millimeters from the top left of the panel.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::duration::Duration;
use crate::error::{Error, Result};
use crate::length::{Length, PanelSize, Size};

use super::check::{WIDTH_MM, within};
use super::parts::{Names, PartEntry, check_parts};
use super::{Align, Match, Part, PinnedPen, References, White};

/// A mask is cut this far inside the stamped line, so that what is stamped behind leaves no halo. Common practice, no
/// source.
const DEFAULT_MASK: Length = Length::from_mm(0.5);
/// Stamped ink rests so long before a mask is laid on it; from memory.
const DEFAULT_MASK_REST: Duration = Duration::from_seconds(5 * 60);
/// A piece is cut this far outside its drawn line; common practice, no source.
const DEFAULT_CUT: Length = Length::from_mm(1.0);
/// Room between the cut lines of two pieces, for fingers and scissors; from memory.
const DEFAULT_ROOM: Length = Length::from_mm(6.0);
const DEFAULT_SHEET: &str = "A5";

/// Bounds of a mask's distance inside the line, in millimeters; from memory.
const MASK_MM: RangeInclusive<f64> = 0.0..=2.0;
/// Bounds of a piece's cut outside the line, in millimeters.
const CUT_MM: RangeInclusive<f64> = 0.3..=2.0;
/// Bounds of the room between pieces, in millimeters; from memory.
const ROOM_MM: RangeInclusive<f64> = 0.0..=30.0;
/// Bounds of a stamp's width, in millimeters; from memory.
const STAMP_MM: RangeInclusive<f64> = 5.0..=420.0;
/// Most stamps and pieces on one card: more are more than a person would stamp.
const MOST_IMAGES: usize = 100;
/// Most variants of one plan; from memory.
const MOST_VARIANTS: usize = 12;

/// What a job calls its panel: a size alone belongs to a phone photo of it, a table to stamps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(
    untagged,
    expecting = "panel is a size such as \"A6\" (for a phone photo of a panel), or a [panel] table with size = \"A6\" \
                 and no entries but mask and mask_rest (for [[stamp]] tables)"
)]
pub enum PanelEntry {
    Photo(PanelSize),
    Card(CardEntry),
}

impl std::str::FromStr for PanelEntry {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<Self, String> {
        text.parse().map(Self::Photo)
    }
}

/// The panel that stamps lie on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CardEntry {
    /// `A6` stands upright, `148x105mm` lies.
    pub size: Size,
    /// How far inside the outermost drawn line a mask is cut.
    #[serde(default = "default_mask")]
    pub mask: Length,
    /// How long stamped ink rests before a mask is laid on it.
    #[serde(default = "default_mask_rest")]
    pub mask_rest: Duration,
}

/// One art stamped once onto the panel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StampEntry {
    /// What the person calls it; the art's name if not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    pub art: PathBuf,
    /// Width of the whole art, upright.
    pub width: Length,
    /// Where its middle lies, in millimeters from the top left of the panel.
    pub at: [f64; 2],
    /// Degrees it is turned about its middle, clockwise.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub turn: f64,
    /// Mirrored left to right, before it is turned.
    #[serde(default, skip_serializing_if = "is_false")]
    pub mirror: bool,
    /// Names of the stamps it lies in front of.
    #[serde(default, skip_serializing_if = "Names::is_none")]
    pub over: Names,
    /// Where its colors come from; without any those of the first stamp or piece of the same art that has some.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<References>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub align: Option<Align>,
    #[serde(default, rename = "match", skip_serializing_if = "Vec::is_empty")]
    pub matches: Vec<Match>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub white: Option<White>,
    #[serde(default, rename = "part", skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<PartEntry>,
    /// Cells of the art that stay bare.
    #[serde(default, rename = "bare_cells", skip_serializing_if = "Vec::is_empty")]
    pub bare_cells: Vec<[f64; 2]>,
}

/// One art colored on card of its own, cut out and glued on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceEntry {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    pub art: PathBuf,
    pub width: Length,
    /// How many are made; as many as places in `at` if not given, and one without these.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count: Option<usize>,
    /// Where the middle of each is glued, in millimeters from the top left of the panel; later ones lie on top.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub at: Vec<[f64; 2]>,
    /// Degrees it is glued turned, clockwise.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub turn: f64,
    #[serde(default, skip_serializing_if = "is_false")]
    pub mirror: bool,
    /// How far outside the drawn line it is cut.
    #[serde(default = "default_cut")]
    pub cut: Length,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<References>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub align: Option<Align>,
    #[serde(default, rename = "match", skip_serializing_if = "Vec::is_empty")]
    pub matches: Vec<Match>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub white: Option<White>,
    #[serde(default, rename = "part", skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<PartEntry>,
    #[serde(default, rename = "bare_cells", skip_serializing_if = "Vec::is_empty")]
    pub bare_cells: Vec<[f64; 2]>,
}

impl PieceEntry {
    /// How many are made.
    pub fn count(&self) -> usize {
        self.count.unwrap_or(self.at.len().max(1))
    }
}

/// The card that pieces are stamped on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct SheetEntry {
    pub size: Size,
    /// Room between the cut lines of two pieces.
    pub room: Length,
}

impl Default for SheetEntry {
    fn default() -> Self {
        Self {
            size: DEFAULT_SHEET.parse().expect("a size of ISO 216"),
            room: DEFAULT_ROOM,
        }
    }
}

/// The same sections with other pens.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VariantEntry {
    /// Also the name of its folder.
    pub name: String,
    /// Another pens file; the job's if not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pens: Option<PathBuf>,
    /// Pens not to be used, besides those that the job forbids.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub forbid: Vec<String>,
    /// Pens for bands and sections, in place of those that the job wishes for the same ones. A band may be called as in
    /// the variant's own key.
    #[serde(default, rename = "pen", skip_serializing_if = "Vec::is_empty")]
    pub pinned: Vec<PinnedPen>,
    /// Degrees by which every hue is turned, from red toward yellow (CIE L*a*b* hue angle).
    #[serde(default, skip_serializing_if = "is_zero")]
    pub hue: f64,
    /// How much lighter everything is, in L*; negative is darker.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub lighter: f64,
    /// Colors from another photo, laid as the job's one photo is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<PathBuf>,
}

fn default_mask() -> Length {
    DEFAULT_MASK
}
fn default_mask_rest() -> Duration {
    DEFAULT_MASK_REST
}
fn default_cut() -> Length {
    DEFAULT_CUT
}
fn is_zero(v: &f64) -> bool {
    *v == 0.0
}
fn is_false(v: &bool) -> bool {
    !*v
}

/// What a job says about how stamps and pieces lie, but not about their colors.
#[derive(Debug, Clone, PartialEq)]
pub struct CardChoices {
    pub panel: CardEntry,
    pub sheet: SheetEntry,
    /// The stamps, then one for every `[[piece]]`.
    pub images: Vec<ImageChoices>,
}

/// One `[[stamp]]` or `[[piece]]`.
#[derive(Debug, Clone, PartialEq)]
pub struct ImageChoices {
    pub name: String,
    pub art: PathBuf,
    pub width: Length,
    pub turn: f64,
    pub mirror: bool,
    pub lies: Lies,
}

/// Where it is stamped.
#[derive(Debug, Clone, PartialEq)]
pub enum Lies {
    /// On the panel, with its middle there, over these other images, by index.
    Panel { at: [f64; 2], over: Vec<usize> },
    /// So many times on card of its own, cut so far outside its line, some glued with their middle on the panel.
    Apart {
        count: usize,
        at: Vec<[f64; 2]>,
        cut: Length,
    },
}

/// Where the colors of an image come from; points in millimeters from the top left of its art, upright.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sources {
    pub photos: Vec<Part>,
    pub parts: Vec<PartEntry>,
    pub bare: Vec<[f64; 2]>,
    /// The image whose tables these are, by index: things of one kin are one in color.
    pub kin: usize,
}

impl Sources {
    /// Nothing says where colors come from.
    pub fn is_none(&self) -> bool {
        self.photos.is_empty() && self.parts.is_empty()
    }

    fn scaled(&self, by: f64) -> Self {
        let point = |p: &mut [f64; 2]| *p = p.map(|v| v * by);
        let mut all = self.clone();
        all.bare.iter_mut().for_each(point);
        for part in &mut all.parts {
            part.cells.iter_mut().for_each(point);
        }
        for photo in &mut all.photos {
            photo.cells.iter_mut().for_each(point);
            photo.matches.iter_mut().for_each(|m| point(&mut m.art));
        }
        all
    }
}

/// Every photo with its cells, and how it is laid: those of `reference`, then those of parts.
pub(super) fn photos_of(
    reference: Option<&References>,
    parts: &[PartEntry],
    align: Option<Align>,
    matches: &[Match],
    white: Option<White>,
) -> Vec<Part> {
    let mut photos = match reference {
        None => Vec::new(),
        Some(References::One(photo)) => vec![Part {
            photo: photo.clone(),
            cells: Vec::new(),
            align,
            matches: matches.to_vec(),
            white,
        }],
        Some(References::Several(parts)) => parts
            .iter()
            .map(|part| Part {
                align: part.align.or(align),
                white: part.white.or(white),
                ..part.clone()
            })
            .collect(),
    };
    photos.extend(parts.iter().filter_map(|part| {
        Some(Part {
            photo: part.photo.clone()?,
            cells: part.cells.clone(),
            align,
            matches: Vec::new(),
            white,
        })
    }));
    photos
}

/// The card of a job, if it has one: what the `[panel]` table and the lists after it say.
#[derive(Debug, Clone, Copy)]
pub struct CardTables<'a> {
    pub panel: &'a CardEntry,
    pub stamps: &'a [StampEntry],
    pub pieces: &'a [PieceEntry],
    pub sheet: &'a SheetEntry,
}

impl CardTables<'_> {
    /// A name for every stamp and piece: its own, or the art's, numbered where that is there already.
    fn names(&self) -> Vec<String> {
        let stamps = self.stamps.iter().map(|s| (&s.name, &s.art));
        let all: Vec<_> = stamps
            .chain(self.pieces.iter().map(|p| (&p.name, &p.art)))
            .collect();
        let mut taken: Vec<String> = all.iter().filter_map(|(name, _)| (*name).clone()).collect();
        all.into_iter()
            .map(|(name, art)| match name {
                Some(name) => name.clone(),
                None => {
                    let stem = art.file_stem().unwrap_or_default();
                    let stem = stem.to_string_lossy();
                    let mut name = stem.to_string();
                    let mut n = 1;
                    while taken.contains(&name) {
                        n += 1;
                        name = format!("{stem} {n}");
                    }
                    taken.push(name.clone());
                    name
                }
            })
            .collect()
    }

    /// How everything lies.
    pub fn choices(&self) -> CardChoices {
        let names = self.names();
        let index = |name: &String| names[..self.stamps.len()].iter().position(|n| n == name);
        let stamps = self.stamps.iter().map(|s| ImageChoices {
            name: String::new(),
            art: s.art.clone(),
            width: s.width,
            turn: s.turn,
            mirror: s.mirror,
            lies: Lies::Panel {
                at: s.at,
                over: s.over.list().iter().filter_map(index).collect(),
            },
        });
        let pieces = self.pieces.iter().map(|p| ImageChoices {
            name: String::new(),
            art: p.art.clone(),
            width: p.width,
            turn: p.turn,
            mirror: p.mirror,
            lies: Lies::Apart {
                count: p.count(),
                at: p.at.clone(),
                cut: p.cut,
            },
        });
        CardChoices {
            panel: *self.panel,
            sheet: *self.sheet,
            images: stamps
                .chain(pieces)
                .zip(&names)
                .map(|(image, name)| ImageChoices {
                    name: name.clone(),
                    ..image
                })
                .collect(),
        }
    }

    /// Where the colors of every stamp, then of every piece, come from: its own tables, or those of the first of the
    /// same art that has some, at its own width.
    pub fn sources(&self) -> Vec<Sources> {
        let stamps = self.stamps.iter().map(|s| {
            let photos = photos_of(s.reference.as_ref(), &s.parts, s.align, &s.matches, s.white);
            (&s.art, s.width.mm(), photos, &s.parts, &s.bare_cells)
        });
        let pieces = self.pieces.iter().map(|p| {
            let photos = photos_of(p.reference.as_ref(), &p.parts, p.align, &p.matches, p.white);
            (&p.art, p.width.mm(), photos, &p.parts, &p.bare_cells)
        });
        let own: Vec<(&PathBuf, f64, Sources)> = stamps
            .chain(pieces)
            .enumerate()
            .map(|(kin, (art, width, photos, parts, bare))| {
                let (parts, bare) = (parts.clone(), bare.clone());
                let sources = Sources {
                    photos,
                    parts,
                    bare,
                    kin,
                };
                (art, width, sources)
            })
            .collect();
        own.iter()
            .map(|(art, width, sources)| {
                let lender = own
                    .iter()
                    .find(|(other, _, s)| other == art && !s.is_none());
                match lender.filter(|_| sources.is_none()) {
                    Some((_, lent_at, lent)) => {
                        let mut all = lent.scaled(width / lent_at);
                        all.bare.extend(&sources.bare);
                        all
                    }
                    None => sources.clone(),
                }
            })
            .collect()
    }

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
        let images = self.stamps.len() + self.pieces.iter().map(PieceEntry::count).sum::<usize>();
        if images > MOST_IMAGES {
            return Err(Error::new(
                format!(
                    "{images} stamps and pieces are on one card, expected {MOST_IMAGES} at most"
                ),
                "Make several jobs of them.",
            ));
        }
        for (stamp, name) in self.stamps.iter().zip(&names) {
            check_image(
                name,
                stamp.width,
                stamp.turn,
                &[stamp.at],
                &stamp.bare_cells,
            )?;
            check_parts(&stamp.parts).map_err(|e| e.about(name))?;
            self.check_over(stamp, name, &names)?;
        }
        for (piece, name) in self.pieces.iter().zip(&names[self.stamps.len()..]) {
            check_image(name, piece.width, piece.turn, &piece.at, &piece.bare_cells)?;
            check_parts(&piece.parts).map_err(|e| e.about(name))?;
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
        let Some(circle) = super::circle(&over) else {
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

fn check_image(
    name: &str,
    width: Length,
    turn: f64,
    at: &[[f64; 2]],
    bare: &[[f64; 2]],
) -> Result<()> {
    within(&format!("width of {name}"), width, &STAMP_MM)?;
    let points = at.iter().chain(bare).flatten();
    if !turn.is_finite() || points.clone().any(|v| !v.is_finite()) {
        return Err(Error::new(
            format!("a number of {name} is not finite"),
            "Write at = [52.5, 74.0] in millimeters and turn = 15 in degrees.",
        ));
    }
    Ok(())
}

/// Checks the variants of a job.
///
/// # Errors
/// If a name is no folder's or there twice, or a number is out of bounds.
pub fn check_variants(variants: &[VariantEntry]) -> Result<()> {
    if variants.len() > MOST_VARIANTS {
        return Err(Error::new(
            format!(
                "{} variants are asked for, expected {MOST_VARIANTS} at most",
                variants.len()
            ),
            "Make several jobs of them.",
        ));
    }
    for (v, variant) in variants.iter().enumerate() {
        let name = &variant.name;
        let plain = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_');
        let fits = !name.is_empty() && name.len() <= 60 && name.trim() == name;
        if !fits || !name.chars().all(plain) {
            return Err(Error::new(
                format!("the variant \"{name}\" has a name that cannot be a folder's"),
                "Use letters, digits, spaces, - and _, at most 60.",
            ));
        }
        let same = |other: &VariantEntry| other.name.to_lowercase() == name.to_lowercase();
        if variants[..v].iter().any(same) {
            return Err(Error::new(
                format!("two variants are called \"{name}\""),
                "Give every one a name of its own.",
            ));
        }
        for pin in &variant.pinned {
            pin.check().map_err(|e| e.about(name))?;
        }
        if !(-360.0..=360.0).contains(&variant.hue) || !(-100.0..=100.0).contains(&variant.lighter)
        {
            return Err(Error::new(
                format!("hue or lighter of the variant \"{name}\" is out of bounds"),
                "Write hue from -360 to 360 degrees, lighter from -100 to 100 L*.",
            ));
        }
    }
    Ok(())
}

/// Every path in the tables of a card, with what it is.
pub(super) fn paths<'a>(
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
pub(super) fn photos_mut<'a>(
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
pub(super) fn named_mut<'a>(
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

/// The same, to be changed.
pub(super) fn paths_mut<'a>(
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
