//! What a band can be given: bare paper, one coat of a pen, a second coat of the same pen, or a coat over a gray.

use crate::color::{Ink, Srgb8};

use super::Pen;

/// The coats on the sections of a band. Pens are indices.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Pick {
    /// The card is left bare.
    Paper,
    /// One coat.
    Pen(usize),
    /// A coat, a rest, and another coat of the same pen.
    Twice(usize),
    /// A coat of `under`, a rest, and one of `pen`.
    Over { under: usize, pen: usize },
}

impl Pick {
    /// The pen of the last coat.
    pub fn pen(self) -> Option<usize> {
        match self {
            Self::Paper => None,
            Self::Pen(pen) | Self::Twice(pen) | Self::Over { pen, .. } => Some(pen),
        }
    }

    /// What lies below the last coat, before it.
    pub fn below(self) -> Option<Self> {
        match self {
            Self::Paper => None,
            Self::Pen(_) => Some(Self::Paper),
            Self::Twice(under) | Self::Over { under, .. } => Some(Self::Pen(under)),
        }
    }

    /// The pen of the first of two coats.
    pub fn under(self) -> Option<usize> {
        self.below().and_then(Self::pen)
    }

    /// The pens of all coats, in the order they are laid.
    pub fn pens(self) -> impl Iterator<Item = usize> {
        self.under().into_iter().chain(self.pen())
    }

    /// The dry color on `paper`: as measured for one coat and, if there, for two; else by the model of [`Ink`]. Another
    /// coat never makes it lighter.
    pub fn color(self, pens: &[Pen], paper: Srgb8) -> Srgb8 {
        let ink = |p: usize| Ink::of(pens[p].color, paper);
        match self {
            Self::Paper => paper,
            Self::Pen(p) => pens[p].color,
            Self::Twice(p) => match pens[p].two_coats {
                Some(two) => darker(two, pens[p].color),
                None => darker(ink(p).twice().on(paper), pens[p].color),
            },
            Self::Over { under, pen } => {
                let once = darker(pens[under].color, pens[pen].color);
                darker(ink(under).under(ink(pen)).on(paper), once)
            }
        }
    }
}

/// The darker of two colors in every channel.
fn darker(a: Srgb8, b: Srgb8) -> Srgb8 {
    let [r, g, b] = [0, 1, 2].map(|c| a.0[c].min(b.0[c]));
    Srgb8::new(r, g, b)
}
