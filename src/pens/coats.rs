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

    /// In words, by the names of the pens.
    pub fn told(self, pens: &[Pen]) -> String {
        match self {
            Self::Paper => "bare paper".to_owned(),
            Self::Pen(p) => pens[p].name.clone(),
            Self::Twice(p) => format!("{} in two coats", pens[p].name),
            Self::Over { under, pen } => format!("{} over {}", pens[pen].name, pens[under].name),
        }
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

#[cfg(test)]
mod tests {
    use super::super::Condition;
    use super::*;

    fn pen(color: [u8; 3], two_coats: Option<[u8; 3]>) -> Pen {
        Pen {
            name: String::new(),
            color: Srgb8(color),
            refill: true,
            condition: Condition::Good,
            two_coats: two_coats.map(Srgb8),
            note: String::new(),
        }
    }

    #[test]
    fn another_coat_is_never_lighter_than_any_coat_alone_on_any_paper() {
        let levels = [0u8, 40, 130, 200, 255];
        let colors = |k: usize| [levels[k % 5], levels[k / 5 % 5], levels[k / 25 % 5]];
        for paper in [[255, 255, 255], [245, 232, 200], [60, 80, 60]].map(Srgb8) {
            for k in 0..125 {
                let measured = (k % 3 == 0).then(|| colors(k * 7));
                let pens = [pen(colors(k), measured), pen(colors(k * 11 + 3), None)];
                for pick in [
                    Pick::Twice(0),
                    Pick::Over { under: 0, pen: 1 },
                    Pick::Over { under: 1, pen: 0 },
                ] {
                    let seen = pick.color(&pens, paper);
                    for p in pick.pens() {
                        let alone = pens[p].color;
                        let darker = seen.0.iter().zip(alone.0).all(|(s, a)| *s <= a);
                        assert!(darker, "{pick:?} {seen} {alone} on {paper}");
                    }
                }
            }
        }
    }

    #[test]
    fn coats_are_told_from_the_top_down_to_the_paper() {
        let over = Pick::Over { under: 4, pen: 2 };
        assert_eq!(over.below(), Some(Pick::Pen(4)));
        assert_eq!(Pick::Twice(3).below(), Some(Pick::Pen(3)));
        assert_eq!(Pick::Pen(4).below(), Some(Pick::Paper));
        assert_eq!(Pick::Paper.below(), None);
        assert_eq!(over.pens().collect::<Vec<_>>(), [4, 2]);
        assert_eq!(Pick::Twice(3).pens().collect::<Vec<_>>(), [3, 3]);
        assert_eq!(Pick::Paper.pens().count(), 0);
    }
}
