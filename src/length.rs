//! Lengths as people write them: `110mm`, `11 cm`, `4.25in`.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// Millimeters in one inch, exact by the international yard and pound agreement of 1959.
pub const MM_PER_INCH: f64 = 25.4;

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
}
