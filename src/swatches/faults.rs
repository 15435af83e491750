//! What can be wrong with a box in a photo, and what the person can do about it.

use std::fmt;

/// Why a box has no value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Fault {
    /// The lamp is mirrored in ink or paper.
    Glare,
    /// A shadow ends beside the box or on it.
    ShadowEdge,
    /// Print near the box is not sharp.
    Blur,
    /// The paper beside it is as bright as the photo can tell.
    TooBright,
    /// The paper beside it, or the ink, is too dark to tell.
    TooDark,
    /// A part of the box is bare.
    HalfColored,
    /// Ink or something else lies on the paper around it.
    StrayInk,
    /// Ink does not make paper lighter.
    LighterThanPaper,
    /// A second coat is not lighter than the first.
    LighterThanOneCoat,
    /// The photo tells too little to say a color.
    TooUncertain,
}

impl Fault {
    /// What to do about it.
    pub fn remedy(self) -> &'static str {
        match self {
            Self::Glare => "photograph again with the lamp to the side",
            Self::ShadowEdge => "photograph again where no shadow ends on the sheet",
            Self::Blur => "photograph again, sharp",
            Self::TooBright => "photograph again, a little darker",
            Self::TooDark => "photograph again in more light",
            Self::HalfColored => "fill the box evenly, let it dry, photograph again",
            Self::StrayInk => "keep the paper around the box bare, or print the sheet anew",
            Self::LighterThanPaper => "photograph again in even light",
            Self::LighterThanOneCoat => "were the boxes swapped? Color them on a new sheet",
            Self::TooUncertain => "photograph again in even light from the side",
        }
    }
}

impl fmt::Display for Fault {
    /// As it stands before " on Dark Plum".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Glare => "glare",
            Self::ShadowEdge => "the edge of a shadow",
            Self::Blur => "blur",
            Self::TooBright => "too bright a light",
            Self::TooDark => "too little light",
            Self::HalfColored => "a half-colored box",
            Self::StrayInk => "ink or dirt around the box",
            Self::LighterThanPaper => "a color lighter than the paper",
            Self::LighterThanOneCoat => "a second coat lighter than the first",
            Self::TooUncertain => "a color that cannot be told well",
        })
    }
}
