//! Errors for people: what is wrong with which file, and what to do about it.

use std::fmt;
use std::path::Path;

/// One sentence naming the file or choice, what was found and what was expected, and one saying what to do next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    what: String,
    next: String,
}

pub type Result<T> = std::result::Result<T, Error>;

impl Error {
    /// `what` is wrong with the job as a whole; `next` is what the person can do.
    pub fn new(what: impl Into<String>, next: impl Into<String>) -> Self {
        Self {
            what: what.into(),
            next: next.into(),
        }
    }

    /// The same with what it is about, such as a stamp's name, at the head of the sentence.
    #[must_use]
    pub fn about(mut self, name: &str) -> Self {
        self.what = format!("{name}: {}", self.what);
        self
    }

    /// The same with something that is better done before the rest.
    #[must_use]
    pub fn first(mut self, next: &str) -> Self {
        self.next = format!("{next} {}", self.next);
        self
    }

    /// What is wrong.
    pub fn what(&self) -> &str {
        &self.what
    }

    /// What to do about it.
    pub fn next(&self) -> &str {
        &self.next
    }

    /// Like [`Error::new`], with the file at the head of the sentence.
    pub fn file(path: &Path, what: impl fmt::Display, next: impl Into<String>) -> Self {
        Self::new(format!("{}: {what}", path.display()), next)
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}\n  What to do: {}",
            printable(&self.what),
            printable(&self.next)
        )
    }
}

/// An error quotes files; control characters in them must not reach a terminal. Lines stay lines.
fn printable(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() && c != '\n' { ' ' } else { c })
        .collect()
}

impl std::error::Error for Error {}
