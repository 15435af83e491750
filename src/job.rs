//! The job: every input and choice of one plan, with defaults, units and bounds.
//!
//! A job is read from TOML, from the `job` entry of a `plan.json`, or from flags; all three fill the same struct.

mod card;
mod check;
mod choices;
mod edits;
mod parts;
mod photos;
mod values;
mod variants;

pub use card::{
    CardChoices, CardEntry, ImageChoices, Lies, PanelEntry, PieceEntry, SheetEntry, StampEntry,
};
pub(crate) use card::{CardTables, Sources};
pub(crate) use check::GAP_MM;

pub use choices::{DrawingChoices, LayingChoices, PenChoices, VariantChoices, WorkChoices};
pub use edits::{CutEntry, PinnedPen, SectionChoices, ShapeChoices};
pub(crate) use parts::check_parts;
pub use parts::{DEFAULT_ROUNDNESS, Direction, Names, PartEntry, called, circle};
pub use photos::{Match, Part, References};
pub use values::{Align, Background, BackgroundPen, Pace, PageSize, White, WhiteShadows};
pub use variants::VariantEntry;

use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use crate::color::Srgb8;
use crate::duration::Duration;
use crate::error::{Error, Result};
use crate::length::{Length, PanelSize};

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
pub const DEFAULT_LIGHT: Direction = Direction { degrees: 315.0 };
pub const DEFAULT_LIGHT_HEIGHT: f64 = 40.0;

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
    /// Which grays shade what is white.
    #[serde(default, skip_serializing_if = "WhiteShadows::is_neutral")]
    pub white_shadows: WhiteShadows,
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
    /// What of the photo is white.
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
    /// Cells left bare, on a colored background, too: any point inside each, in millimeters from the top left of the art.
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
    pub page: PageSize,
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

/// What is read of a plan to have its job.
#[derive(Deserialize)]
struct OfPlan {
    job: Job,
}

impl Job {
    /// A job with only what has no default.
    pub fn new(reference: PathBuf, pens: PathBuf, width: Option<Length>, out: PathBuf) -> Self {
        Self {
            reference: Some(References::One(reference)),
            parts: Vec::new(),
            light: DEFAULT_LIGHT,
            light_height: DEFAULT_LIGHT_HEIGHT,
            white_shadows: WhiteShadows::Neutral,
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
            page: PageSize::default(),
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
            // As bytes, like whole plans: every kind of source makes its own copy of the code that reads a job.
            let plan: serde_json::Result<OfPlan> = serde_json::from_slice(text.as_bytes());
            plan.map(|plan| plan.job).map_err(|e| wrong(&e))
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

    /// Every photo with its cells, those of stamps and pieces included.
    fn all_photos(&self) -> Vec<Part> {
        let images = self.card().map_or_else(Vec::new, |card| card.sources());
        let own = images.into_iter().flat_map(|sources| sources.photos);
        self.photos().into_iter().chain(own).collect()
    }

    /// The names of all photos, those of stamps, pieces and variants included, each once.
    pub fn photo_names(&self) -> Vec<PathBuf> {
        let all = self.all_photos().into_iter().map(|part| part.photo);
        let mut names: Vec<PathBuf> = Vec::new();
        for photo in all.chain(self.variants.iter().filter_map(|v| v.reference.clone())) {
            if !names.contains(&photo) {
                names.push(photo);
            }
        }
        names
    }

    /// The same with another photo in place of all. Which pixel shows white in theirs, and the points that were read in
    /// them, say nothing of it.
    pub fn with_photo(&self, photo: &Path) -> Self {
        let mut job = self.clone();
        if matches!(job.white, White::At(..)) {
            job.white = White::default();
        }
        card::forget_points(&mut job.matches, &mut job.align);
        job.match_file = None;
        let own = card::read_off(&mut job.reference);
        let of_images = card::read_off_images(&mut job.stamps, &mut job.pieces);
        for read in own.into_iter().chain(of_images) {
            read.forget();
        }
        let own = card::named_mut(&mut job.reference, &mut job.parts);
        let all = card::photos_mut(&mut job.stamps, &mut job.pieces);
        for name in own.into_iter().chain(all) {
            *name = photo.to_owned();
        }
        job
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
}
