//! Choices of a job that are one of several words.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};

use super::PinnedPen;

/// What of the reference is white.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum White {
    /// The photo's brightest is as bright as the paper, where it is nearly that anyhow.
    #[default]
    Paper,
    /// The photo is taken as it is.
    None,
    /// The color of the light is estimated from the whole photo and taken out; then as with `Paper`.
    Auto,
    /// The pixel (column, row) of the upright photo shows something white or gray.
    At(u32, u32),
}

impl std::str::FromStr for White {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<Self, String> {
        match text.trim() {
            "paper" => Ok(Self::Paper),
            "none" => Ok(Self::None),
            "auto" => Ok(Self::Auto),
            point => point
                .split_once(',')
                .and_then(|(x, y)| Some(Self::At(x.trim().parse().ok()?, y.trim().parse().ok()?)))
                .ok_or_else(|| {
                    format!("\"{point}\" is not a white point; write paper, auto, none, or the photo pixel X,Y of something white")
                }),
        }
    }
}

impl std::fmt::Display for White {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Paper => write!(f, "paper"),
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

/// Which grays shade what is white, as far as the pens have them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum WhiteShadows {
    /// Those that lean nowhere.
    #[default]
    Neutral,
    /// Leaning to yellow, as in the light of a lamp.
    Warm,
    /// Leaning to blue, as on snow.
    Cool,
}

impl WhiteShadows {
    /// Whether nothing else is asked for.
    pub fn is_neutral(&self) -> bool {
        *self == Self::Neutral
    }
}

/// What becomes of what lies outside the subject. In a job file: `false`, `true` or `"auto"`, or a pen,
/// `{ pen = "Harbor Mist" }`, with `coats = 2` for two coats.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(try_from = "BackgroundText", into = "BackgroundText")]
pub enum Background {
    /// It stays bare.
    #[default]
    Bare,
    /// It is colored as in the photo.
    Photo,
    /// It stays bare, and the pens that would do for it are ranked and shown.
    Auto,
    /// It gets this pen.
    Pen(BackgroundPen),
}

/// A pen for what lies outside.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BackgroundPen {
    /// Its name in the pens file.
    pub pen: String,
    /// Coats of it, 1 or 2.
    #[serde(default = "one_coat")]
    pub coats: u8,
}

fn one_coat() -> u8 {
    1
}

impl Background {
    /// Whether sections lie outside.
    pub fn is_colored(&self) -> bool {
        matches!(self, Self::Photo | Self::Pen(_))
    }

    /// The pen it gets.
    pub fn pen(&self) -> Option<&BackgroundPen> {
        match self {
            Self::Pen(pen) => Some(pen),
            _ => None,
        }
    }
}

impl BackgroundPen {
    /// As a wish for a section.
    pub fn wish(&self) -> PinnedPen {
        PinnedPen {
            name: self.pen.clone(),
            under: (self.coats == 2).then(|| self.pen.clone()),
            ..PinnedPen::default()
        }
    }
}

impl std::str::FromStr for Background {
    type Err = String;

    /// As a flag: `photo`, `auto`, or a pen's name, with ` x2` behind it for two coats.
    fn from_str(text: &str) -> std::result::Result<Self, String> {
        match text.trim() {
            "photo" => Ok(Self::Photo),
            "auto" => Ok(Self::Auto),
            "" => Err("write photo, auto, or the name of a pen".to_owned()),
            name => {
                let (pen, coats) = name.strip_suffix(" x2").map_or((name, 1), |pen| (pen, 2));
                Ok(Self::Pen(BackgroundPen {
                    pen: pen.trim().to_owned(),
                    coats,
                }))
            }
        }
    }
}

/// A background as it is written.
#[derive(Serialize, Deserialize)]
#[serde(
    untagged,
    expecting = "background is true, false, \"auto\", or a pen: { pen = \"its name\" }"
)]
enum BackgroundText {
    Photo(bool),
    Word(BackgroundWord),
    Pen(BackgroundPen),
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum BackgroundWord {
    Auto,
}

impl TryFrom<BackgroundText> for Background {
    type Error = String;

    fn try_from(text: BackgroundText) -> std::result::Result<Self, String> {
        match text {
            BackgroundText::Photo(false) => Ok(Self::Bare),
            BackgroundText::Photo(true) => Ok(Self::Photo),
            BackgroundText::Word(BackgroundWord::Auto) => Ok(Self::Auto),
            BackgroundText::Pen(pen) if (1..=2).contains(&pen.coats) => Ok(Self::Pen(pen)),
            BackgroundText::Pen(pen) => Err(format!(
                "the background gets {} coats, expected 1 or 2",
                pen.coats
            )),
        }
    }
}

impl From<Background> for BackgroundText {
    fn from(background: Background) -> Self {
        match background {
            Background::Bare => Self::Photo(false),
            Background::Photo => Self::Photo(true),
            Background::Auto => Self::Word(BackgroundWord::Auto),
            Background::Pen(pen) => Self::Pen(pen),
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
    /// The photo's edges are laid onto the drawn lines: turned, scaled, stretched and placed.
    Lines,
    /// Matching points of photo and drawing are laid onto each other.
    Points,
}

/// Paper in the printer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
pub enum PageSize {
    /// 210 x 297 mm (ISO 216).
    #[default]
    #[cfg_attr(feature = "cli", value(name = "A4"))]
    A4,
    /// 8.5 x 11 in (ANSI/ASME Y14.1, size A).
    #[cfg_attr(feature = "cli", value(name = "Letter"))]
    Letter,
}

impl PageSize {
    /// Left free on all sides: most desktop printers leave about 5 mm unprinted; from memory.
    pub const MARGIN_MM: f64 = 8.0;
    /// Height of the title and one line below it; from memory.
    pub const HEADER_MM: f64 = 11.0;
    /// Height of the check ruler and the cautions; from memory.
    pub const FOOTER_MM: f64 = 17.0;

    /// Width and height in millimeters, upright.
    pub fn size_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }

    /// What a page of this width and height has room for between its margins, header and footer; all in millimeters.
    pub fn room((width, height): (f64, f64)) -> (f64, f64) {
        (
            width - 2.0 * Self::MARGIN_MM,
            height - 2.0 * Self::MARGIN_MM - Self::HEADER_MM - Self::FOOTER_MM,
        )
    }

    /// Refuses art larger than the page, upright or turned; its width and height are in millimeters.
    ///
    /// # Errors
    /// Says how large the art may be.
    pub fn check_fits(self, size_mm: [f64; 2]) -> Result<()> {
        let (w, h) = self.size_mm();
        let (upright, turned) = (Self::room((w, h)), Self::room((h, w)));
        let fits = |room: (f64, f64)| size_mm[0] <= room.0 && size_mm[1] <= room.1;
        if fits(upright) || fits(turned) {
            return Ok(());
        }
        Err(Error::new(
            format!(
                "the panel is {:.0} x {:.0} mm, but a sheet of {self:?} has room for {:.0} x {:.0} mm, or {:.0} x {:.0} mm turned",
                size_mm[0], size_mm[1], upright.0, upright.1, turned.0, turned.1
            ),
            "Give a smaller --width, or cut the drawing into two jobs.",
        ))
    }
}

/// How fast a person colors. All from memory; settable in the job.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Pace {
    /// Seconds for a square centimeter of even color.
    pub seconds_per_cm2: f64,
    /// Seconds more for every section: its edge wants care.
    pub seconds_per_section: f64,
    /// Seconds to take a pen, find its number and try it.
    pub seconds_per_pen: f64,
}

impl Default for Pace {
    fn default() -> Self {
        Self {
            seconds_per_cm2: 10.0,
            seconds_per_section: 6.0,
            seconds_per_pen: 15.0,
        }
    }
}
