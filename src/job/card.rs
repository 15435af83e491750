//! The whole card in a job: `[panel]` with its `[[stamp]]` tables, `[pieces]` and `[[piece]]`.
//!
//! Everything that belongs to one art (`cells`, `match`, `bare_cells` of a stamp or a piece) is told in millimeters from the
//! top left of that art as it lies upright, not mirrored, at the width it is stamped; `at` is where the middle of the
//! art comes to lie, in millimeters from the top left of the panel.

mod check;
mod paths;

pub(super) use paths::{
    forget_points, named_mut, paths, paths_mut, photos_mut, read_off, read_off_images,
};

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::duration::Duration;
use crate::length::{Length, PanelSize, Size};

use super::parts::{Names, PartEntry};
use super::{Align, Match, Part, References, White};

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
}
