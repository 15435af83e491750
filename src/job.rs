//! The job: every input and choice of one plan, with defaults, units and bounds.
//!
//! A job is read from TOML, from the `job` entry of a `plan.json`, or from flags; all three fill the same struct.

mod card;
mod edits;

pub use card::{
    CardChoices, CardEntry, CardTables, ImageChoices, Lies, PanelEntry, PieceEntry, SheetEntry,
    Sources, StampEntry, VariantEntry,
};

pub use edits::{CutEntry, PinnedPen, SectionChoices, ShapeChoices};

use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use crate::color::Srgb8;
use crate::duration::Duration;
use crate::error::{Error, Result};
use crate::length::{Length, PanelSize};
use crate::light::{Direction, PartEntry, check_parts};
use crate::passes::Pace;

/// Widest nib and narrowest section unless the job says otherwise. Common practice, no source.
const DEFAULT_NIB: Length = Length::from_mm(1.5);
/// Gaps in drawn lines up to this width are closed. Common practice, no source.
const DEFAULT_GAP: Length = Length::from_mm(0.8);
/// Rest between touching passes; from memory.
const DEFAULT_REST: Duration = Duration::from_seconds(120);
/// A pen may run dry on an area larger than this, in square centimeters; from memory.
const DEFAULT_NO_REFILL_CM2: f64 = 15.0;
/// The light comes from the upper left, as most drawings have it, and from this many degrees above the panel; chosen by
/// looking at fruit, leaves and cups.
const DEFAULT_LIGHT: Direction = Direction { degrees: 315.0 };
const DEFAULT_LIGHT_HEIGHT: f64 = 40.0;
/// Bounds of its height, in degrees.
const LIGHT_HEIGHT: std::ops::RangeInclusive<f64> = 5.0..=90.0;
/// Bounds of what a hand colors on one panel, in millimeters; from memory.
const WIDTH_MM: std::ops::RangeInclusive<f64> = 15.0..=420.0;
/// Bounds of a marker nib, in millimeters; from memory.
const NIB_MM: std::ops::RangeInclusive<f64> = 0.5..=6.0;
/// Bounds of the gaps worth closing, in millimeters; from memory.
const GAP_MM: std::ops::RangeInclusive<f64> = 0.0..=5.0;

/// Everything that decides a plan. Paths are as written, relative to the folder the job was read from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Job {
    /// Photo of the real thing, or several, each for its cells; none where every part has a color of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<References>,
    /// Cells of the drawing that are one thing, and where their color comes from.
    #[serde(default, rename = "part", skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<PartEntry>,
    /// Where the light on parts with a color comes from.
    #[serde(default = "default_light")]
    pub light: Direction,
    /// How high it stands, in degrees: 90 is straight above the panel.
    #[serde(default = "default_light_height")]
    pub light_height: f64,
    /// Line drawing; without one the borders of the sections are the drawing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub art: Option<PathBuf>,
    /// Pens owned, as CSV.
    pub pens: PathBuf,
    /// Folder the plan is written to.
    pub out: PathBuf,
    /// Width of the whole art (or reference) on the panel; without it the art is a photo of a `panel`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width: Option<Length>,
    /// Size of the panel that the art is a phone photo of; or, as a table, the panel that stamps lie on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub panel: Option<PanelEntry>,
    /// Arts stamped onto the panel, instead of `art`.
    #[serde(default, rename = "stamp", skip_serializing_if = "Vec::is_empty")]
    pub stamps: Vec<StampEntry>,
    /// Arts colored on card of their own, cut out and glued on.
    #[serde(default, rename = "piece", skip_serializing_if = "Vec::is_empty")]
    pub pieces: Vec<PieceEntry>,
    /// The card that pieces are stamped on.
    #[serde(default, rename = "pieces", skip_serializing_if = "Option::is_none")]
    pub piece_sheet: Option<SheetEntry>,
    /// The same sections with other pens.
    #[serde(default, rename = "variant", skip_serializing_if = "Vec::is_empty")]
    pub variants: Vec<VariantEntry>,
    /// A table of thread, gems, ribbon, card and the like that may go with the plan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accents: Option<PathBuf>,
    /// The panel's corners in the upright photo, in its pixels, clockwise from the top left; found if not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corners: Option<[[f64; 2]; 4]>,
    /// Where the photo's white comes from.
    #[serde(default)]
    pub white: White,
    /// How the reference is laid onto the art.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub align: Option<Align>,
    /// Places of the photo and of the art that belong together.
    #[serde(default, rename = "match", skip_serializing_if = "Vec::is_empty")]
    pub matches: Vec<Match>,
    /// A table with more of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub match_file: Option<PathBuf>,
    /// Gaps in drawn lines up to this width are closed.
    #[serde(default = "default_gap")]
    pub gap: Length,
    /// Nib width, also the narrowest section.
    #[serde(default = "default_nib")]
    pub nib: Length,
    /// 1 (few large sections) to 5 (many small ones).
    #[serde(default = "default_detail")]
    pub detail: u8,
    /// Most bands per hue group, 1 to 4.
    #[serde(default = "default_bands")]
    pub bands: u8,
    /// Color what lies outside the subject, too.
    #[serde(default)]
    pub background: Background,
    /// Cells left bare: any point inside each, in millimeters from the top left of the art.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bare_cells: Vec<[f64; 2]>,
    /// Sections left bare: any point inside each, in millimeters from the top left of the art.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bare: Vec<[f64; 2]>,
    /// Sections to be colored as others: any point inside the section that lends its band, then inside those that take
    /// it, in millimeters from the top left of the art.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub merge: Vec<Vec<[f64; 2]>>,
    /// Lines that the person drew to part sections.
    #[serde(default, rename = "cut", skip_serializing_if = "Vec::is_empty")]
    pub cuts: Vec<CutEntry>,
    /// Color of the bare card.
    #[serde(default = "default_paper")]
    pub paper: Srgb8,
    /// Paper in the printer.
    #[serde(default)]
    pub page: Page,
    /// How long ink rests before what touches it is colored.
    #[serde(default = "default_rest")]
    pub rest: Duration,
    /// How often the drawing was stamped: its ink rests longer after two times; 0 if it is printed or dry.
    #[serde(default = "default_stamped")]
    pub stamped: u8,
    /// How fast the person colors.
    #[serde(default)]
    pub pace: Pace,
    /// Pens for bands and sections, as the person wants them.
    #[serde(default, rename = "pen", skip_serializing_if = "Vec::is_empty")]
    pub pinned: Vec<PinnedPen>,
    /// Names of pens not to be used.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub forbid: Vec<String>,
    /// Most coats on one place, 1 or 2: with 2, a second coat and a pen over a gray are tones, too, where they come
    /// clearly nearer than one coat of any pen.
    #[serde(default = "default_coats")]
    pub coats: u8,
    /// Most pens.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub most_pens: Option<usize>,
    /// A pen without refill gets no larger area than this, in square centimeters, if another can stand in.
    #[serde(default = "default_no_refill_cm2")]
    pub no_refill_cm2: f64,
    /// The day, as the person writes it, for the record of what was used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    /// Overlay mirrored, for tracing from the back.
    #[serde(default)]
    pub mirror: bool,
}

fn default_no_refill_cm2() -> f64 {
    DEFAULT_NO_REFILL_CM2
}
fn default_light() -> Direction {
    DEFAULT_LIGHT
}
fn default_light_height() -> f64 {
    DEFAULT_LIGHT_HEIGHT
}
fn default_coats() -> u8 {
    2
}
fn default_rest() -> Duration {
    DEFAULT_REST
}
fn default_stamped() -> u8 {
    1
}
fn default_gap() -> Length {
    DEFAULT_GAP
}
fn default_nib() -> Length {
    DEFAULT_NIB
}
fn default_detail() -> u8 {
    3
}
fn default_bands() -> u8 {
    4
}
fn default_paper() -> Srgb8 {
    Srgb8::new(255, 255, 255)
}

/// Where the white of the reference comes from.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum White {
    /// The photo is taken as it is.
    #[default]
    None,
    /// The color of the light is estimated from the whole photo.
    Auto,
    /// The pixel (column, row) of the upright photo shows something white or gray.
    At(u32, u32),
}

impl std::str::FromStr for White {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<Self, String> {
        match text.trim() {
            "none" => Ok(Self::None),
            "auto" => Ok(Self::Auto),
            point => point
                .split_once(',')
                .and_then(|(x, y)| Some(Self::At(x.trim().parse().ok()?, y.trim().parse().ok()?)))
                .ok_or_else(|| {
                    format!("\"{point}\" is not a white point; write auto, none, or the photo pixel X,Y of something white")
                }),
        }
    }
}

impl std::fmt::Display for White {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::None => write!(f, "none"),
            Self::Auto => write!(f, "auto"),
            Self::At(x, y) => write!(f, "{x},{y}"),
        }
    }
}

impl TryFrom<String> for White {
    type Error = String;

    fn try_from(text: String) -> std::result::Result<Self, String> {
        text.parse()
    }
}

impl From<White> for String {
    fn from(white: White) -> Self {
        white.to_string()
    }
}

/// One photo for the whole drawing, or several.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(
    untagged,
    expecting = "reference is a photo's name, or [[reference]] tables with photo, cells, align and match"
)]
pub enum References {
    One(PathBuf),
    Several(Vec<Part>),
}

/// A photo for some cells of the drawing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    pub photo: PathBuf,
    /// Any point inside each of its cells, in millimeters from the top left of the art; none for all cells that no
    /// other photo has.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cells: Vec<[f64; 2]>,
    /// How this photo is laid; the job's `align` if not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub align: Option<Align>,
    #[serde(default, rename = "match", skip_serializing_if = "Vec::is_empty")]
    pub matches: Vec<Match>,
    /// Where this photo's white comes from; the job's `white` if not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub white: Option<White>,
}

/// A place of the photo and the place of the art that shows the same.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Match {
    /// Column and row in the upright photo, in pixels.
    pub reference: [f64; 2],
    /// Millimeters from the top left of the art.
    pub art: [f64; 2],
}

/// What becomes of what lies outside the subject. In a job file: `false`, `true` or `"auto"`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(from = "BackgroundText", into = "BackgroundText")]
pub enum Background {
    /// It stays bare.
    #[default]
    Bare,
    /// It is colored as in the photo.
    Photo,
    /// It stays bare, and the pens that would do for it are ranked and shown.
    Auto,
}

/// A background as it is written.
#[derive(Serialize, Deserialize)]
#[serde(untagged, expecting = "background is true, false or \"auto\"")]
enum BackgroundText {
    Photo(bool),
    Word(BackgroundWord),
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum BackgroundWord {
    Auto,
}

impl From<BackgroundText> for Background {
    fn from(text: BackgroundText) -> Self {
        match text {
            BackgroundText::Photo(false) => Self::Bare,
            BackgroundText::Photo(true) => Self::Photo,
            BackgroundText::Word(BackgroundWord::Auto) => Self::Auto,
        }
    }
}

impl From<Background> for BackgroundText {
    fn from(background: Background) -> Self {
        match background {
            Background::Bare => Self::Photo(false),
            Background::Photo => Self::Photo(true),
            Background::Auto => Self::Word(BackgroundWord::Auto),
        }
    }
}

/// How the reference is laid onto the art.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(rename_all = "lowercase")]
pub enum Align {
    /// The photo's frame is stretched to the art's frame.
    Frame,
    /// The subject's bounding box is stretched to the drawing's.
    Subject,
    /// The subject's outline is bent onto the drawing's.
    Outline,
    /// Matching points of photo and drawing are laid onto each other.
    Points,
}

/// Paper in the printer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
pub enum Page {
    /// 210 x 297 mm (ISO 216).
    #[default]
    #[cfg_attr(feature = "cli", value(name = "A4"))]
    A4,
    /// 8.5 x 11 in (ANSI/ASME Y14.1, size A).
    #[cfg_attr(feature = "cli", value(name = "Letter"))]
    Letter,
}

impl Page {
    /// Width and height in millimeters, upright.
    pub fn size_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }
}

/// What a job says about the drawing; see [`Job`].
#[derive(Debug, Clone, PartialEq)]
pub struct DrawingChoices {
    pub art: Option<PathBuf>,
    pub width: Option<Length>,
    pub panel: Option<PanelSize>,
    pub corners: Option<[[f64; 2]; 4]>,
    pub gap: Length,
    pub page: Page,
    /// What lies outside is colored, too.
    pub color_outside: bool,
    /// Stamps and pieces, where these take the art's place.
    pub card: Option<CardChoices>,
}

impl DrawingChoices {
    /// The files that the drawing is read from.
    pub fn arts(&self) -> impl Iterator<Item = &Path> {
        let images = self.card.iter().flat_map(|card| &card.images);
        self.art
            .iter()
            .chain(images.map(|image| &image.art))
            .map(PathBuf::as_path)
    }
}

/// What a job says about how the photos lie, and what is colored without one.
#[derive(Debug, Clone, PartialEq)]
pub struct LayingChoices {
    pub photos: Vec<Part>,
    /// Parts with a color of their own, and the light on them.
    pub parts: Vec<PartEntry>,
    pub light: Direction,
    pub light_height: f64,
    pub width: Option<Length>,
    pub white: White,
    pub page: Page,
    /// Where the colors of every stamp and piece come from.
    pub images: Vec<Sources>,
}

/// What a job says about pens.
#[derive(Debug, Clone, PartialEq)]
pub struct PenChoices {
    /// The pens file's name, for telling about it.
    pub pens: PathBuf,
    pub paper: Srgb8,
    /// Only pens for bands.
    pub pinned: Vec<PinnedPen>,
    /// Pens for sections, where they count: if there may be only so many pens.
    pub also: Vec<PinnedPen>,
    pub forbid: Vec<String>,
    pub coats: u8,
    pub most_pens: Option<usize>,
    pub no_refill_cm2: f64,
}

/// What a job says about the order of work.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkChoices {
    pub paper: Srgb8,
    pub rest: Duration,
    pub pace: Pace,
}

impl Job {
    /// A job with only what has no default.
    pub fn new(reference: PathBuf, pens: PathBuf, width: Option<Length>, out: PathBuf) -> Self {
        Self {
            reference: Some(References::One(reference)),
            parts: Vec::new(),
            light: DEFAULT_LIGHT,
            light_height: DEFAULT_LIGHT_HEIGHT,
            art: None,
            pens,
            out,
            width,
            panel: None,
            stamps: Vec::new(),
            pieces: Vec::new(),
            piece_sheet: None,
            variants: Vec::new(),
            accents: None,
            corners: None,
            white: White::default(),
            align: None,
            matches: Vec::new(),
            match_file: None,
            gap: DEFAULT_GAP,
            nib: DEFAULT_NIB,
            detail: default_detail(),
            bands: default_bands(),
            background: Background::Bare,
            bare_cells: Vec::new(),
            bare: Vec::new(),
            merge: Vec::new(),
            cuts: Vec::new(),
            paper: default_paper(),
            page: Page::default(),
            rest: DEFAULT_REST,
            stamped: default_stamped(),
            pace: Pace::default(),
            pinned: Vec::new(),
            forbid: Vec::new(),
            coats: default_coats(),
            most_pens: None,
            no_refill_cm2: DEFAULT_NO_REFILL_CM2,
            date: None,
            mirror: false,
        }
    }

    /// What to do about a job file that is none.
    pub const HELP: &str =
        "See the README for a job file, or give everything by flags (penstrata plan --help).";

    /// The job in the text of a TOML file, or in the `job` entry of a `plan.json`, as the ending of its name tells.
    ///
    /// # Errors
    /// If an entry is missing, unknown or not understood.
    pub fn parse(name: &Path, text: &str) -> Result<Self> {
        let wrong =
            |e: &dyn std::fmt::Display| Error::file(name, e.to_string().trim_end(), Self::HELP);
        let json = name
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("json"));
        if json {
            let plan: serde_json::Value = serde_json::from_str(text).map_err(|e| wrong(&e))?;
            serde_json::from_value(plan["job"].clone()).map_err(|e| wrong(&e))
        } else {
            toml::from_str(text).map_err(|e| wrong(&e))
        }
    }

    /// The files that the job names, and what each is, in words.
    pub fn files(&self) -> Vec<(&Path, &'static str)> {
        let photos = match &self.reference {
            None => Vec::new(),
            Some(References::One(photo)) => vec![photo],
            Some(References::Several(parts)) => parts.iter().map(|p| &p.photo).collect(),
        };
        let own = self.parts.iter().filter_map(|p| p.photo.as_ref());
        std::iter::once((self.pens.as_path(), "pens file"))
            .chain(
                self.match_file
                    .iter()
                    .map(|p| (p.as_path(), "table of points")),
            )
            .chain(
                photos
                    .into_iter()
                    .chain(own)
                    .map(|p| (p.as_path(), "picture")),
            )
            .chain(self.art.iter().map(|p| (p.as_path(), "drawing")))
            .chain(card::paths(&self.stamps, &self.pieces, &self.variants))
            .chain(
                self.accents
                    .iter()
                    .map(|p| (p.as_path(), "table of accents")),
            )
            .collect()
    }

    /// Replaces every path of the job by `f` of it.
    pub fn rebase(&mut self, f: impl Fn(&Path) -> PathBuf) {
        let photos: Vec<&mut PathBuf> = match &mut self.reference {
            None => Vec::new(),
            Some(References::One(photo)) => vec![photo],
            Some(References::Several(parts)) => parts.iter_mut().map(|p| &mut p.photo).collect(),
        };
        let own = self.parts.iter_mut().filter_map(|p| p.photo.as_mut());
        for path in [&mut self.pens, &mut self.out]
            .into_iter()
            .chain(photos)
            .chain(own)
            .chain(self.art.as_mut())
            .chain(self.match_file.as_mut())
            .chain(card::paths_mut(
                &mut self.stamps,
                &mut self.pieces,
                &mut self.variants,
            ))
            .chain(self.accents.as_mut())
        {
            *path = f(path);
        }
    }

    /// What it says about the drawing.
    pub fn drawing(&self) -> DrawingChoices {
        DrawingChoices {
            art: self.art.clone(),
            width: self.width,
            panel: self.photographed_panel(),
            corners: self.corners,
            gap: self.gap,
            page: self.page,
            color_outside: self.background == Background::Photo,
            card: self.card().map(|card| card.choices()),
        }
    }

    /// What it says about how the photos lie, and what is colored without one.
    pub fn laying(&self) -> LayingChoices {
        LayingChoices {
            photos: self.photos(),
            parts: self.parts.clone(),
            light: self.light,
            light_height: self.light_height,
            width: self.width,
            white: self.white,
            page: self.page,
            images: self.card().map_or_else(Vec::new, |card| card.sources()),
        }
    }

    /// What it says about the shape of sections.
    pub fn shape_choices(&self) -> ShapeChoices {
        ShapeChoices {
            cuts: self.cuts.clone(),
            merge: self.merge.clone(),
        }
    }

    /// What it says about pens.
    pub fn pen_choices(&self) -> PenChoices {
        PenChoices {
            pens: self.pens.clone(),
            paper: self.paper,
            pinned: self
                .pinned
                .iter()
                .filter(|pin| pin.band.is_some())
                .cloned()
                .collect(),
            also: match self.most_pens {
                Some(_) => self.section_choices().pinned,
                None => Vec::new(),
            },
            forbid: self.forbid.clone(),
            coats: self.coats,
            most_pens: self.most_pens,
            no_refill_cm2: self.no_refill_cm2,
        }
    }

    /// What it says about single sections.
    pub fn section_choices(&self) -> SectionChoices {
        let pinned = self.pinned.iter().filter(|pin| pin.band.is_none());
        SectionChoices {
            pens: self.pens.clone(),
            bare: self.bare.clone(),
            pinned: pinned.cloned().collect(),
            forbid: self.forbid.clone(),
        }
    }

    /// What it says about the order of work.
    pub fn work(&self) -> WorkChoices {
        WorkChoices {
            paper: self.paper,
            rest: self.rest,
            pace: self.pace,
        }
    }

    /// Every photo that is not a stamp's or a piece's, with its cells, and how it is laid.
    pub fn photos(&self) -> Vec<Part> {
        card::photos_of(
            self.reference.as_ref(),
            &self.parts,
            self.align,
            &self.matches,
            None,
        )
    }

    /// The names of all photos, those of stamps and pieces included, each once.
    pub fn photo_names(&self) -> Vec<PathBuf> {
        let images = self.card().map_or_else(Vec::new, |card| card.sources());
        let own = images.into_iter().flat_map(|sources| sources.photos);
        let all = self.photos().into_iter().chain(own).map(|part| part.photo);
        let mut names: Vec<PathBuf> = Vec::new();
        for photo in all.chain(self.variants.iter().filter_map(|v| v.reference.clone())) {
            if !names.contains(&photo) {
                names.push(photo);
            }
        }
        names
    }

    /// The same with another photo in place of all.
    pub fn with_photo(&self, photo: &Path) -> Self {
        let mut job = self.clone();
        let own = card::named_mut(&mut job.reference, &mut job.parts);
        let all = card::photos_mut(&mut job.stamps, &mut job.pieces);
        for name in own.into_iter().chain(all) {
            *name = photo.to_owned();
        }
        job
    }

    /// What a variant says about pens: wishes for bands are for the job's own colors.
    pub fn variant_pens(&self, variant: &VariantEntry) -> PenChoices {
        let mut forbid = match &variant.pens {
            // Another pens file need not list them.
            Some(_) => Vec::new(),
            None => self.forbid.clone(),
        };
        forbid.extend(variant.forbid.iter().cloned());
        PenChoices {
            pens: variant.pens.clone().unwrap_or_else(|| self.pens.clone()),
            pinned: Vec::new(),
            also: Vec::new(),
            forbid,
            ..self.pen_choices()
        }
    }

    /// What a variant keeps of what the person wants for single sections: those left bare.
    pub fn variant_sections(&self, wanted: &PenChoices) -> SectionChoices {
        SectionChoices {
            pens: wanted.pens.clone(),
            bare: self.bare.clone(),
            pinned: Vec::new(),
            forbid: wanted.forbid.clone(),
        }
    }

    /// A variant's photo takes the place of one.
    fn check_variant_photos(&self) -> Result<()> {
        let Some(variant) = self.variants.iter().find(|v| v.reference.is_some()) else {
            return Ok(());
        };
        let mut plain = self.clone();
        plain.variants.clear();
        let photos = plain.photo_names().len();
        if photos == 1 {
            return Ok(());
        }
        Err(Error::new(
            format!(
                "the variant \"{}\" is to be colored as another photo, but the job has {photos} photos",
                variant.name
            ),
            "A variant with a photo wants a job with one photo, whose place it takes.",
        ))
    }

    /// Size of the panel that the art is a phone photo of.
    pub fn photographed_panel(&self) -> Option<PanelSize> {
        match &self.panel {
            Some(PanelEntry::Photo(size)) => Some(*size),
            _ => None,
        }
    }

    /// What it says about a card of stamps and pieces, if it is one.
    pub fn card(&self) -> Option<CardTables<'_>> {
        static SHEET: LazyLock<SheetEntry> = LazyLock::new(SheetEntry::default);
        let Some(PanelEntry::Card(panel)) = &self.panel else {
            return None;
        };
        Some(CardTables {
            panel,
            stamps: &self.stamps,
            pieces: &self.pieces,
            sheet: self.piece_sheet.as_ref().unwrap_or(&SHEET),
        })
    }

    /// Whether there is a drawing: an art, or stamps and pieces.
    pub fn has_art(&self) -> bool {
        self.art.is_some() || self.card().is_some()
    }

    fn check_references(&self) -> Result<()> {
        if let Some(References::Several(parts)) = &self.reference
            && parts.is_empty()
        {
            return Err(Error::new(
                "reference lists no photo",
                "Write reference = \"photo.jpg\", or [[reference]] tables with photo = ... and cells = [[x, y]].",
            ));
        }
        check_parts(&self.parts)?;
        let photos = self.photos();
        let images = self.card().map_or_else(Vec::new, |card| card.sources());
        let own = images.iter().any(|sources| !sources.is_none());
        if photos.is_empty() && self.parts.is_empty() && !own {
            return Err(Error::new(
                "there is neither a photo nor a color",
                "Give the photo with --reference, or write [[part]] tables with cells = [[x, y]] and color = \"#c2452d\" \
                 into the job; penstrata cells lists the cells of a drawing.",
            ));
        }
        if !self.has_art() && !self.parts.is_empty() {
            return Err(Error::new(
                "parts are given, but no drawing whose cells they could be",
                "Give the drawing with --art.",
            ));
        }
        let without = |cells: &Vec<[f64; 2]>| cells.is_empty();
        let colored = self.parts.iter().filter(|p| p.photo.is_none());
        let rest = photos
            .iter()
            .map(|p| &p.cells)
            .chain(colored.map(|p| &p.cells));
        if rest.filter(|cells| without(cells)).count() > 1 {
            return Err(Error::new(
                "more than one [[reference]] or [[part]] is without cells",
                "Give each its cells = [[x, y]], but at most one, which gets all the others.",
            ));
        }
        if !LIGHT_HEIGHT.contains(&self.light_height) {
            return Err(Error::new(
                format!(
                    "light_height is {}, expected {} to {} degrees",
                    self.light_height,
                    LIGHT_HEIGHT.start(),
                    LIGHT_HEIGHT.end()
                ),
                "Use 90 for a light straight above the panel, 30 for one that stands low.",
            ));
        }
        if let White::At(x, y) = self.white
            && photos.len() > 1
        {
            return Err(Error::new(
                format!("white {x},{y} is a pixel of one photo, but the job has several"),
                format!(
                    "Write white = \"{x},{y}\" in the [[reference]] of the photo that it belongs to."
                ),
            ));
        }
        if matches!(&self.reference, None | Some(References::One(_)))
            && (self.reference.is_some() || (self.matches.is_empty() && self.match_file.is_none()))
        {
            return Ok(());
        }
        if !self.has_art() {
            return Err(Error::new(
                "several photos are given, but no drawing whose cells they could fill",
                "Give the drawing with --art, or one photo only.",
            ));
        }
        if !self.matches.is_empty() || self.match_file.is_some() {
            return Err(Error::new(
                "matching points are given for the job, but it has several photos or none",
                "Put them behind the photo they belong to, as [[reference.match]].",
            ));
        }
        Ok(())
    }

    /// Checks every number against its bounds.
    ///
    /// # Errors
    /// The first that is wrong, and what to write instead.
    pub fn check(&self) -> Result<()> {
        self.check_size()?;
        if let Some(card) = self.card() {
            card.check()?;
        }
        card::check_variants(&self.variants)?;
        self.check_variant_photos()?;
        self.check_references()?;
        self.check_points()?;
        within("nib", self.nib, &NIB_MM)?;
        within("gap", self.gap, &GAP_MM)?;
        self.check_sections()?;
        self.check_pens()?;
        self.check_work()
    }

    /// How large the art is, told in one way.
    fn check_size(&self) -> Result<()> {
        if self.card().is_some() {
            return self.check_card_alone();
        }
        if !(self.stamps.is_empty() && self.pieces.is_empty()) {
            return Err(Error::new(
                "stamps or pieces are given, but no size of the panel they lie on",
                "Write a table [panel] with size = \"A6\".",
            ));
        }
        match (self.width, self.photographed_panel()) {
            (Some(width), None) => within("width", width, &WIDTH_MM)?,
            (None, Some(panel)) => {
                for side in panel.sides_mm() {
                    within("panel", Length::from_mm(side), &WIDTH_MM)?;
                }
            }
            (Some(_), Some(_)) => {
                return Err(Error::new(
                    "both width and panel are given",
                    "Give panel for a phone photo of the panel, or width for a scan or a drawing file.",
                ));
            }
            (None, None) => {
                return Err(Error::new(
                    "neither width nor panel is given",
                    "Give --width for a drawing, scan or photo, or --panel for a phone photo of the panel.",
                ));
            }
        }
        if self.panel.is_some() && self.art.is_none() {
            return Err(Error::new(
                "panel is given, but no art",
                "Give the phone photo of the panel with --art.",
            ));
        }
        if self.corners.is_some() && self.panel.is_none() {
            return Err(Error::new(
                "corners are given, but no panel",
                "Give the size of the panel, too, for example --panel A6.",
            ));
        }
        if self
            .corners
            .iter()
            .flatten()
            .flatten()
            .any(|v| !v.is_finite())
        {
            return Err(Error::new(
                "a corner is not a number",
                "Write corners = [[380, 300], [2860, 420], [2780, 2180], [520, 2090]] in photo pixels.",
            ));
        }
        Ok(())
    }

    /// A card of stamps has no drawing besides.
    fn check_card_alone(&self) -> Result<()> {
        let other = [
            (self.art.is_some(), "art"),
            (self.width.is_some(), "width"),
            (self.corners.is_some(), "corners"),
        ];
        match other.iter().find(|(given, _)| *given) {
            None => Ok(()),
            Some((_, name)) => Err(Error::new(
                format!("[panel] is a table for stamps, but {name} is given, too"),
                "Give the drawing as one more [[stamp]] with art, width and at; a phone photo of the whole panel wants \
                 panel = \"A6\" instead of the table.",
            )),
        }
    }

    fn check_points(&self) -> Result<()> {
        let images = self.card().map_or_else(Vec::new, |card| card.sources());
        let photos = images.into_iter().flat_map(|sources| sources.photos);
        let points = photos.chain(self.photos()).flat_map(|p| {
            let pairs = p.matches.into_iter().flat_map(|m| [m.reference, m.art]);
            pairs.chain(p.cells).collect::<Vec<_>>()
        });
        if points.flatten().any(|v| !v.is_finite()) {
            return Err(Error::new(
                "a point of match or cells is not a number",
                "Write points as [12.5, 40.0].",
            ));
        }
        for (name, points) in [("bare", &self.bare), ("bare_cells", &self.bare_cells)] {
            if points.iter().flatten().any(|v| !v.is_finite()) {
                return Err(Error::new(
                    format!("a point of {name} is not a number"),
                    format!("Write {name} = [[12.5, 40.0]] in millimeters."),
                ));
            }
        }
        for pin in &self.pinned {
            pin.check()?;
        }
        self.shape_choices().check()
    }

    fn check_sections(&self) -> Result<()> {
        if !(1..=5).contains(&self.detail) {
            return Err(Error::new(
                format!("detail is {}, expected 1 to 5", self.detail),
                "Use 1 for few large sections, 5 for many small ones.",
            ));
        }
        if !(1..=4).contains(&self.bands) {
            return Err(Error::new(
                format!("bands is {}, expected 1 to 4", self.bands),
                "Two or three lightness bands read well; four is the most.",
            ));
        }
        Ok(())
    }

    fn check_pens(&self) -> Result<()> {
        if !(1..=2).contains(&self.coats) {
            return Err(Error::new(
                format!("coats is {}, expected 1 or 2", self.coats),
                "Use 1 for single coats only, 2 to let one coat lie over another.",
            ));
        }
        if self.most_pens == Some(0) {
            return Err(Error::new(
                "most_pens is 0, expected 1 or more",
                "Leave it out to use as many pens as read well.",
            ));
        }
        // JSON knows no infinity, and plan.json could not be read again.
        if !(0.0..f64::INFINITY).contains(&self.no_refill_cm2) {
            return Err(Error::new(
                format!(
                    "no_refill_cm2 is {}, expected a number, 0 or more",
                    self.no_refill_cm2
                ),
                "Write for example no_refill_cm2 = 15.",
            ));
        }
        Ok(())
    }

    fn check_work(&self) -> Result<()> {
        if self.stamped > 2 {
            return Err(Error::new(
                format!("stamped is {}, expected 0, 1 or 2", self.stamped),
                "Use 0 for a printed or dry drawing, 1 for one stamped once, 2 for twice.",
            ));
        }
        let pace = [
            self.pace.seconds_per_cm2,
            self.pace.seconds_per_section,
            self.pace.seconds_per_pen,
        ];
        if !pace.iter().all(|v| (0.0..=3600.0).contains(v)) {
            return Err(Error::new(
                "a number of pace is not between 0 and 3600 seconds",
                "Write for example [pace] with seconds_per_cm2 = 10.",
            ));
        }
        Ok(())
    }
}

fn within(name: &str, value: Length, bounds: &std::ops::RangeInclusive<f64>) -> Result<()> {
    if bounds.contains(&value.mm()) {
        return Ok(());
    }
    Err(Error::new(
        format!(
            "{name} is {value}, expected {}mm to {}mm",
            bounds.start(),
            bounds.end()
        ),
        format!("Change {name} in the job, or give --{name}."),
    ))
}
