//! What a job says about color and light: its `[[part]]` tables and where the light comes from.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::color::Srgb8;
use crate::error::{Error, Result};
use crate::length::Length;

/// Longest cast shadow, in millimeters; from memory.
const LONGEST_SHADOW_MM: f64 = 30.0;
/// A part without `roundness`: nearly a ball. This and the next were chosen by looking at an apple, a cup, a lantern,
/// flowers, a bear, a bird and a snail, at 1, 0.85, 0.6 and 0.3: at 1 the shade creeps along the outline to the lit side,
/// at 0.6 cherries and middles of flowers look like disks, and at 0.3 most parts have one tone.
pub const DEFAULT_ROUNDNESS: f64 = 0.85;
const DEFAULT_CREASE: f64 = 0.3;
/// A shadow that is wide enough for a nib of 1.5 mm across a light from half past ten, too.
const DEFAULT_SHADOW: Length = Length::from_mm(3.0);

/// Cells of the drawing that are one thing, and where its color comes from: exactly one of `photo`, `color` and `pen`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartEntry {
    /// What the person calls it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Any point inside each of its cells, in millimeters from the top left of the art; none for all cells that
    /// nothing else has.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cells: Vec<[f64; 2]>,
    /// Colored as in this photo.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photo: Option<PathBuf>,
    /// Its middle tone; the light makes the others.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub color: Option<Srgb8>,
    /// Name of the pen that is its middle tone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pen: Option<String>,
    /// 1 like a ball, 0.3 like a petal, 0 flat.
    #[serde(default = "default_roundness")]
    pub roundness: f64,
    /// 0 matte, 1 with a white highlight.
    #[serde(default)]
    pub gloss: f64,
    /// How deep drawn lines inside it cut its form: 0 not at all, 1 like its outline.
    #[serde(default = "default_crease")]
    pub crease: f64,
    /// Names of the parts it lies in front of.
    #[serde(default, skip_serializing_if = "Names::is_none")]
    pub over: Names,
    /// Length of the shadow it casts on them.
    #[serde(default = "default_shadow")]
    pub shadow: Length,
}

fn default_roundness() -> f64 {
    DEFAULT_ROUNDNESS
}
fn default_crease() -> f64 {
    DEFAULT_CREASE
}
fn default_shadow() -> Length {
    DEFAULT_SHADOW
}

/// One name, or several.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged, expecting = "over is a part's name, or a list of names")]
pub enum Names {
    One(String),
    Several(Vec<String>),
}

impl Default for Names {
    fn default() -> Self {
        Self::Several(Vec::new())
    }
}

impl Names {
    /// No name at all.
    pub fn is_none(&self) -> bool {
        self.list().is_empty()
    }

    /// The names as a list.
    pub fn list(&self) -> &[String] {
        match self {
            Self::One(name) => std::slice::from_ref(name),
            Self::Several(names) => names,
        }
    }
}

/// Where the light comes from: written as on a clock face, `"10:30"`, or in degrees clockwise from the top.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "DirectionText", into = "DirectionText")]
pub struct Direction {
    /// 0 to 360, clockwise from the top.
    pub degrees: f64,
}

/// A direction as it is written.
#[derive(Serialize, Deserialize)]
#[serde(
    untagged,
    expecting = "light is a clock face's \"10:30\", or degrees clockwise from the top, 0 to 360"
)]
enum DirectionText {
    Degrees(f64),
    Clock(String),
}

impl TryFrom<DirectionText> for Direction {
    type Error = String;

    fn try_from(text: DirectionText) -> std::result::Result<Self, String> {
        let degrees = match &text {
            DirectionText::Degrees(degrees) => Some(*degrees),
            DirectionText::Clock(clock) => clock.split_once(':').and_then(|(hours, minutes)| {
                let hours: u8 = hours.trim().parse().ok().filter(|h| (1..=12).contains(h))?;
                let minutes: u8 = minutes.trim().parse().ok().filter(|m| *m < 60)?;
                Some((f64::from(hours % 12) + f64::from(minutes) / 60.0) * 30.0)
            }),
        };
        let degrees = degrees.filter(|d| (0.0..=360.0).contains(d));
        degrees.map(|degrees| Self { degrees }).ok_or_else(|| {
            let found = match text {
                DirectionText::Degrees(degrees) => degrees.to_string(),
                DirectionText::Clock(clock) => format!("\"{clock}\""),
            };
            format!(
                "light is {found}; write it as on a clock face, \"10:30\" for the upper left, or in degrees clockwise \
                 from the top, 0 to 360"
            )
        })
    }
}

impl From<Direction> for DirectionText {
    fn from(direction: Direction) -> Self {
        Self::Degrees(direction.degrees)
    }
}

/// What an entry is called in a message.
pub fn called(entry: &PartEntry, index: usize) -> String {
    match &entry.name {
        Some(name) => format!("the part \"{name}\""),
        None => format!("part {}", index + 1),
    }
}

/// Checks everything that can be told without the drawing and the pens.
///
/// # Errors
/// If a number is out of bounds, a source is missing or there are two, or a name is unknown or there twice.
pub fn check_parts(entries: &[PartEntry]) -> Result<()> {
    for (e, entry) in entries.iter().enumerate() {
        let who = called(entry, e);
        check_values(entry, &who)?;
        let twin = entries[..e]
            .iter()
            .find(|other| other.name.is_some() && other.name == entry.name);
        if twin.is_some() {
            return Err(Error::new(
                format!(
                    "two parts are called \"{}\"",
                    entry.name.as_deref().unwrap_or_default()
                ),
                "Give every part a name of its own, or one part the cells of both.",
            ));
        }
        for behind in entry.over.list() {
            let found = entries.iter().find(|p| p.name.as_ref() == Some(behind));
            let Some(found) = found else {
                return Err(Error::new(
                    format!("{who} lies over \"{behind}\", but no part is called that"),
                    "Write the name of another [[part]] of the job.",
                ));
            };
            if found.photo.is_some() || entry.photo.is_some() {
                return Err(Error::new(
                    format!(
                        "{who} lies over \"{behind}\", but one of them is colored from a photo"
                    ),
                    "Leave it out: the photo brings its own shadows. over is for parts with a color or a pen.",
                ));
            }
        }
    }
    Ok(())
}

/// Checks what an entry says of itself.
fn check_values(entry: &PartEntry, who: &str) -> Result<()> {
    let sources = [
        entry.photo.is_some(),
        entry.color.is_some(),
        entry.pen.is_some(),
    ];
    let found = match sources.iter().filter(|&&s| s).count() {
        1 => None,
        0 => Some("none"),
        _ => Some("more than one"),
    };
    if let Some(found) = found {
        return Err(Error::new(
            format!("{who} has {found} of photo, color and pen"),
            "Give it exactly one: photo = \"leaf.jpg\", color = \"#c2452d\", or pen = \"Paprika\".",
        ));
    }
    if entry.cells.iter().flatten().any(|v| !v.is_finite()) {
        return Err(Error::new(
            format!("a point in cells of {who} is not a number"),
            "Write points as [12.5, 40.0].",
        ));
    }
    for (name, value) in [
        ("roundness", entry.roundness),
        ("gloss", entry.gloss),
        ("crease", entry.crease),
    ] {
        if !(0.0..=1.0).contains(&value) {
            return Err(Error::new(
                format!("{name} of {who} is {value}, expected 0 to 1"),
                "Use 0 for none of it, 1 for all.",
            ));
        }
    }
    if !(0.0..=LONGEST_SHADOW_MM).contains(&entry.shadow.mm()) {
        return Err(Error::new(
            format!(
                "shadow of {who} is {}, expected 0mm to {LONGEST_SHADOW_MM}mm",
                entry.shadow
            ),
            "Write for example shadow = \"2.5mm\".",
        ));
    }
    Ok(())
}

/// Things that lie over each other in a circle, in order from each to the one behind it, if there are any; `over` are
/// those that each lies over, by index.
pub fn circle(over: &[Vec<usize>]) -> Option<Vec<usize>> {
    // Whatever lies over nothing that is left is taken away; what stays lies in, or over, a circle.
    let mut left: Vec<bool> = vec![true; over.len()];
    while let Some(p) = (0..over.len()).find(|&p| left[p] && !over[p].iter().any(|&o| left[o])) {
        left[p] = false;
    }
    let mut path = vec![left.iter().position(|&l| l)?];
    loop {
        let last = path[path.len() - 1];
        let next = *over[last].iter().find(|&&o| left[o])?;
        if let Some(start) = path.iter().position(|&p| p == next) {
            return Some(path.split_off(start));
        }
        path.push(next);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A clock face: 30 degrees an hour.
    #[test]
    fn directions_are_read_from_a_clock_face_or_in_degrees() {
        let read = |text: &str| {
            #[derive(Deserialize)]
            struct Entry {
                light: Direction,
            }
            toml::from_str::<Entry>(&format!("light = {text}")).map(|e| e.light.degrees)
        };
        for (text, degrees) in [
            ("\"10:30\"", 315.0),
            ("\"12:00\"", 0.0),
            ("\"3:20\"", 100.0),
            ("45", 45.0),
            ("45.5", 45.5),
        ] {
            assert_eq!(read(text).unwrap(), degrees, "{text}");
        }
        for bad in [
            "\"13:00\"",
            "\"0:30\"",
            "\"10:60\"",
            "\"left\"",
            "400",
            "-1",
            "nan",
            "true",
        ] {
            assert!(read(bad).is_err(), "{bad}");
        }
    }
}
