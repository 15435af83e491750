//! Lengths and panel sizes as people write them: `110mm`, `11 cm`, `4.25in`; `A6`, `148x105mm`, `5 x 7 in`.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// Millimeters in one inch, exact by the international yard and pound agreement of 1959.
pub const MM_PER_INCH: f64 = 25.4;

/// To a hundredth, as plan.json holds lengths in millimeters and areas in square millimeters.
pub fn round2(v: f64) -> f64 {
    (v * 100.0).round() / 100.0
}

/// A length on the panel. Written with its unit (`mm`, `cm`, `in`), kept in millimeters, printed in millimeters.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Length {
    mm: f64,
}

impl Length {
    pub const fn from_mm(mm: f64) -> Self {
        Self { mm }
    }

    pub const fn mm(self) -> f64 {
        self.mm
    }
}

impl FromStr for Length {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let unit_at = text
            .find(|c: char| c.is_alphabetic() || c == '"')
            .ok_or_else(|| {
                format!("\"{text}\" has no unit; write for example 110mm, 11cm or 4.25in")
            })?;
        let (number, unit) = text.split_at(unit_at);
        let mm_per_unit = match unit {
            "mm" => 1.0,
            "cm" => 10.0,
            "in" | "\"" => MM_PER_INCH,
            other => {
                return Err(format!(
                    "\"{other}\" is not a unit known here; use mm, cm or in"
                ));
            }
        };
        let number: f64 = number.trim().parse().map_err(|_| {
            format!("\"{text}\" is not a length; write for example 110mm, 11cm or 4.25in")
        })?;
        if !number.is_finite() {
            return Err(format!("\"{text}\" is not a length"));
        }
        // To a nanometer, so that 4.25in is 107.95mm and not a rounding step below.
        let mm = (number * mm_per_unit * 1e6).round() / 1e6;
        Ok(Self { mm })
    }
}

impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}mm", self.mm)
    }
}

impl TryFrom<String> for Length {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<Length> for String {
    fn from(length: Length) -> Self {
        length.to_string()
    }
}

/// Sizes of ISO 216, shorter side first, in millimeters.
const ISO_216: [(&str, [f64; 2]); 4] = [
    ("A4", [210.0, 297.0]),
    ("A5", [148.0, 210.0]),
    ("A6", [105.0, 148.0]),
    ("A7", [74.0, 105.0]),
];

/// A width and a height as written: `A6` stands upright, `148x105mm` lies.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Size {
    mm: [f64; 2],
}

impl Size {
    /// Width and height, in millimeters.
    pub const fn mm(self) -> [f64; 2] {
        self.mm
    }
}

impl FromStr for Size {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        if let Some((_, sides)) = ISO_216.iter().find(|(n, _)| n.eq_ignore_ascii_case(text)) {
            return Ok(Self { mm: *sides });
        }
        let refuse = || {
            format!(
                "\"{text}\" is not a panel size; write for example A6, A5, 148x105mm, 4.25x5.5in or 5x7in"
            )
        };
        let (first, second) = text.split_once(['x', 'X', '×']).ok_or_else(refuse)?;
        let second: Length = second.parse().map_err(|_| refuse())?;
        // The unit may be written once, behind both.
        let unit =
            text.trim_start_matches(|c: char| !c.is_alphabetic() || matches!(c, 'x' | 'X' | '×'));
        let first: Length = first
            .parse()
            .or_else(|_| format!("{first}{unit}").parse())
            .map_err(|_| refuse())?;
        if first.mm.min(second.mm) <= 0.0 {
            return Err(refuse());
        }
        Ok(Self {
            mm: [first.mm, second.mm],
        })
    }
}

impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match ISO_216.iter().find(|(_, sides)| *sides == self.mm) {
            Some((name, _)) => f.write_str(name),
            None => write!(f, "{}x{}mm", self.mm[0], self.mm[1]),
        }
    }
}

impl TryFrom<String> for Size {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<Size> for String {
    fn from(size: Size) -> Self {
        size.to_string()
    }
}

/// The size of a card panel. Which side lies across is told by the picture of the panel, not here.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct PanelSize {
    /// Shorter and longer side, in millimeters.
    sides: [f64; 2],
}

impl PanelSize {
    /// Shorter and longer side, in millimeters.
    pub fn sides_mm(self) -> [f64; 2] {
        self.sides
    }
}

impl FromStr for PanelSize {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let [a, b] = text.parse::<Size>()?.mm;
        Ok(Self {
            sides: [a.min(b), a.max(b)],
        })
    }
}

impl fmt::Display for PanelSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Size { mm: self.sides }.fmt(f)
    }
}

impl TryFrom<String> for PanelSize {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<PanelSize> for String {
    fn from(size: PanelSize) -> Self {
        size.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_read_and_a_missing_or_unknown_unit_is_refused() {
        assert_eq!("110mm".parse(), Ok(Length::from_mm(110.0)));
        assert_eq!(" 11 cm".parse(), Ok(Length::from_mm(110.0)));
        assert_eq!("4.25in".parse(), Ok(Length::from_mm(107.95)));
        assert!("110".parse::<Length>().is_err());
        assert!("110px".parse::<Length>().is_err());
        assert!("1e999mm".parse::<Length>().is_err());
        assert!("mm".parse::<Length>().is_err());
    }

    #[test]
    fn panel_sizes_are_read_by_name_and_by_sides_and_print_as_they_are_read() {
        let sides = |text: &str| text.parse::<PanelSize>().map(PanelSize::sides_mm);
        assert_eq!(sides("a6"), Ok([105.0, 148.0]));
        assert_eq!(sides("148x105mm"), Ok([105.0, 148.0]));
        assert_eq!(sides("10.5 x 14.8 cm"), Ok([105.0, 148.0]));
        assert_eq!(sides("4.25in x 5.5in"), Ok([107.95, 139.7]));
        assert_eq!(sides("5x7in"), Ok([127.0, 177.8]));
        for wrong in ["", "A66", "148mm", "148x105", "0x10mm", "-3x10mm", "x"] {
            assert!(sides(wrong).is_err(), "{wrong}");
        }
        for size in ["A5", "107.95x139.7mm"] {
            assert_eq!(size.parse::<PanelSize>().unwrap().to_string(), size);
        }
    }

    #[test]
    fn a_sizes_are_those_of_iso_216() {
        // ISO 216:2007, clause 3 and table 1: A0 is 841 x 1189 mm; each size is the one before halved across its
        // longer side, broken millimeters dropped.
        let mut size = [841u32, 1189];
        for n in 1..=7 {
            size = [size[1] / 2, size[0]];
            if let Some((_, sides)) = ISO_216.iter().find(|(name, _)| *name == format!("A{n}")) {
                assert_eq!(*sides, size.map(f64::from), "A{n}");
            }
        }
    }
}
