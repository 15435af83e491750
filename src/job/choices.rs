//! The slices of a job: what each stage is given, and nothing else, so that it is made again only if that changes.

use std::path::{Path, PathBuf};

use crate::color::Srgb8;
use crate::duration::Duration;
use crate::length::{Length, PanelSize};

use super::*;

/// What a job says about the drawing; see [`Job`].
#[derive(Debug, Clone, PartialEq)]
pub struct DrawingChoices {
    pub art: Option<PathBuf>,
    pub width: Option<Length>,
    pub panel: Option<PanelSize>,
    pub corners: Option<[[f64; 2]; 4]>,
    pub gap: Length,
    pub page: PageSize,
    /// What lies outside is colored, too.
    pub color_outside: bool,
    /// Stamps and pieces, where these take the art's place.
    pub card: Option<CardChoices>,
}

impl DrawingChoices {
    /// The files that the drawing is read from.
    pub fn arts(&self) -> impl Iterator<Item = &Path> {
        let images = self.card.iter().flat_map(|card| &card.images);
        self.art
            .iter()
            .chain(images.map(|image| &image.art))
            .map(PathBuf::as_path)
    }
}

/// What a job says about how the photos lie, and what is colored without one.
#[derive(Debug, Clone, PartialEq)]
pub struct LayingChoices {
    pub photos: Vec<Part>,
    /// The table of the first photo's points.
    pub match_file: Option<PathBuf>,
    /// Parts with a color of their own, and the light on them.
    pub parts: Vec<PartEntry>,
    pub light: Direction,
    pub light_height: f64,
    pub white_shadows: WhiteShadows,
    pub width: Option<Length>,
    pub white: White,
    pub page: PageSize,
    /// Where the colors of every stamp and piece come from.
    pub images: Vec<Sources>,
    /// The pen for what lies outside.
    pub background_pen: Option<String>,
}

/// What a job says about pens.
#[derive(Debug, Clone, PartialEq)]
pub struct PenChoices {
    /// The pens file's name, for telling about it.
    pub pens: PathBuf,
    pub paper: Srgb8,
    /// Only pens for bands.
    pub pinned: Vec<PinnedPen>,
    /// Pens for sections, where they count: if there may be only so many pens.
    pub also: Vec<PinnedPen>,
    pub forbid: Vec<String>,
    pub coats: u8,
    pub most_pens: Option<usize>,
    pub no_refill_cm2: f64,
}

/// What a job says about the order of work.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkChoices {
    pub paper: Srgb8,
    pub rest: Duration,
    pub pace: Pace,
}

/// What is said of a variant's pens: by the job, and by the variant, which goes before.
#[derive(Debug, Clone, PartialEq)]
pub struct VariantChoices {
    /// The pens file.
    pub pens: PathBuf,
    /// The job's wishes for bands, as these are called in the job's own colors, and for sections.
    pub kept: Vec<PinnedPen>,
    /// The variant's.
    pub own: Vec<PinnedPen>,
    /// Pens that the job forbids.
    pub kept_forbid: Vec<String>,
    /// Pens that the variant forbids.
    pub forbid: Vec<String>,
    /// Points inside sections left bare.
    pub bare: Vec<[f64; 2]>,
    /// The job's pen for what lies outside.
    pub background: Option<PinnedPen>,
    /// Coats, number of pens and the like; no wishes.
    pub rules: PenChoices,
}

impl Job {
    /// What it says about the drawing.
    pub fn drawing(&self) -> DrawingChoices {
        DrawingChoices {
            art: self.art.clone(),
            width: self.width,
            panel: self.photographed_panel(),
            corners: self.corners,
            gap: self.gap,
            page: self.page,
            color_outside: self.background.is_colored(),
            card: self.card().map(|card| card.choices()),
        }
    }

    /// What it says about how the photos lie, and what is colored without one.
    pub fn laying(&self) -> LayingChoices {
        LayingChoices {
            photos: self.photos(),
            match_file: self.match_file.clone(),
            parts: self.parts.clone(),
            light: self.light,
            light_height: self.light_height,
            white_shadows: self.white_shadows,
            width: self.width,
            white: self.white,
            page: self.page,
            images: self.card().map_or_else(Vec::new, |card| card.sources()),
            background_pen: self.background.pen().map(|b| b.pen.clone()),
        }
    }

    /// What it says about the shape of sections.
    pub fn shape_choices(&self) -> ShapeChoices {
        ShapeChoices {
            cuts: self.cuts.clone(),
            merge: self.merge.clone(),
        }
    }

    /// What it says about pens.
    pub fn pen_choices(&self) -> PenChoices {
        PenChoices {
            pens: self.pens.clone(),
            paper: self.paper,
            pinned: self
                .pinned
                .iter()
                .filter(|pin| pin.band.is_some())
                .cloned()
                .collect(),
            also: match self.most_pens {
                Some(_) => {
                    let hand = self.section_choices();
                    hand.pinned.into_iter().chain(hand.background).collect()
                }
                None => Vec::new(),
            },
            forbid: self.forbid.clone(),
            coats: self.coats,
            most_pens: self.most_pens,
            no_refill_cm2: self.no_refill_cm2,
        }
    }

    /// What it says about single sections.
    pub fn section_choices(&self) -> SectionChoices {
        let pinned = self.pinned.iter().filter(|pin| pin.band.is_none());
        SectionChoices {
            pens: self.pens.clone(),
            bare: self.bare.clone(),
            pinned: pinned.cloned().collect(),
            forbid: self.forbid.clone(),
            background: self.background.pen().map(BackgroundPen::wish),
        }
    }

    /// What it says about the order of work.
    pub fn work(&self) -> WorkChoices {
        WorkChoices {
            paper: self.paper,
            rest: self.rest,
            pace: self.pace,
        }
    }

    /// What a variant says about pens, and what it has from the job.
    pub fn variant_choices(&self, variant: &VariantEntry) -> VariantChoices {
        VariantChoices {
            pens: variant.pens.clone().unwrap_or_else(|| self.pens.clone()),
            kept: self.pinned.clone(),
            own: variant.pinned.clone(),
            kept_forbid: self.forbid.clone(),
            forbid: variant.forbid.clone(),
            bare: self.bare.clone(),
            background: self.background.pen().map(BackgroundPen::wish),
            rules: PenChoices {
                pinned: Vec::new(),
                also: Vec::new(),
                forbid: Vec::new(),
                ..self.pen_choices()
            },
        }
    }
}
