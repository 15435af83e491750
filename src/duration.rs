//! Times as people write them: `2min`, `90s`, `1.5 min`.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// A time span, kept in whole seconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Duration {
    seconds: u32,
}

impl Duration {
    pub const fn from_seconds(seconds: u32) -> Self {
        Self { seconds }
    }

    pub const fn seconds(self) -> u32 {
        self.seconds
    }
}

impl FromStr for Duration {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let refuse = || format!("\"{text}\" is not a time; write for example 2min, 90s or 1h");
        let trimmed = text.trim();
        let unit_at = trimmed.find(char::is_alphabetic).ok_or_else(refuse)?;
        let (number, unit) = trimmed.split_at(unit_at);
        let factor = match unit {
            "s" | "sec" => 1.0,
            "min" | "m" => 60.0,
            "h" => 3600.0,
            _ => return Err(refuse()),
        };
        let number: f64 = number.trim().parse().map_err(|_| refuse())?;
        let seconds = (number * factor).round();
        // A day is longer than any ink takes.
        if !(0.0..=86_400.0).contains(&seconds) {
            return Err(refuse());
        }
        Ok(Self {
            seconds: seconds as u32,
        })
    }
}

impl fmt::Display for Duration {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.seconds {
            s if s > 0 && s % 60 == 0 => write!(f, "{}min", s / 60),
            s => write!(f, "{s}s"),
        }
    }
}

impl TryFrom<String> for Duration {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<Duration> for String {
    fn from(duration: Duration) -> Self {
        duration.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_with_their_unit_and_print_as_they_are_read() {
        let seconds = |text: &str| text.parse::<Duration>().map(Duration::seconds);
        assert_eq!(seconds("2min"), Ok(120));
        assert_eq!(seconds(" 1.5 min"), Ok(90));
        assert_eq!(seconds("0s"), Ok(0));
        for wrong in ["", "2", "-1s", "2 weeks", "1e9h", "min"] {
            assert!(seconds(wrong).is_err(), "{wrong}");
        }
        for text in ["2min", "90s", "0s"] {
            assert_eq!(text.parse::<Duration>().unwrap().to_string(), text);
        }
    }
}
