//! What is wished in a variant: what the job wishes, as far as it can be had there, and before it the variant's own.

use crate::error::{Error, Result};
use crate::job::{PenChoices, PinnedPen, SectionChoices, VariantChoices};
use crate::naming::band_called;
use crate::pens::{Condition, Pen};
use crate::wishes::held;

/// A variant's bands and pens.
pub struct Scope<'a> {
    /// What the bands are called in the job's own colors.
    pub base_names: &'a [String],
    /// The index in `names` that each of them has in the variant.
    pub place: &'a [usize],
    pub names: &'a [String],
    pub pens: &'a [Pen],
    pub choices: &'a VariantChoices,
}

/// What is wished in a variant.
pub struct Wished {
    pub wanted: PenChoices,
    pub hand: SectionChoices,
    /// What of the job's wishes does not hold, in words.
    pub told: Vec<String>,
}

impl Scope<'_> {
    /// The wishes that hold.
    ///
    /// # Errors
    /// If the variant wishes for a pen for a band that is not there.
    pub fn wished(&self) -> Result<Wished> {
        let choices = self.choices;
        let mut told = Vec::new();
        let mut bands = self.own_bands()?;
        bands.extend(self.kept_bands(&bands, &mut told));
        let kept = choices.kept.iter().filter(|wish| wish.band.is_none());
        let kept = kept.filter_map(|wish| self.held(wish, &wish.place(), &mut told));
        // Of several wishes for a section the last stands.
        let own = choices.own.iter().filter(|wish| wish.band.is_none());
        let sections: Vec<PinnedPen> = kept
            .collect::<Vec<_>>()
            .into_iter()
            .chain(own.cloned())
            .collect();
        let background = choices.background.as_ref();
        let background = background.and_then(|wish| self.held(wish, "the background", &mut told));
        let forbid = self.forbidden();
        let also = match choices.rules.most_pens {
            Some(_) => sections.iter().chain(&background).cloned().collect(),
            None => Vec::new(),
        };
        Ok(Wished {
            wanted: PenChoices {
                pens: choices.pens.clone(),
                pinned: bands,
                also,
                forbid: forbid.clone(),
                ..choices.rules.clone()
            },
            hand: SectionChoices {
                pens: choices.pens.clone(),
                bare: choices.bare.clone(),
                pinned: sections,
                background,
                forbid,
            },
            told,
        })
    }

    /// The variant's wishes for bands, which may be called as in its own key or as in the job's.
    fn own_bands(&self) -> Result<Vec<PinnedPen>> {
        let mut own = Vec::new();
        for wish in &self.choices.own {
            let Some(called) = wish.band.as_deref() else {
                continue;
            };
            let band = band_called(self.names, called)
                .or_else(|| Some(self.place[band_called(self.base_names, called)?]))
                .ok_or_else(|| {
                    Error::new(
                        format!(
                            "there is no band \"{called}\" for the pen {} (bands: {})",
                            wish.name,
                            self.names.join(", ")
                        ),
                        "Take a band's name from the key of the plan or of the variant.",
                    )
                })?;
            own.push(self.for_band(wish, band));
        }
        Ok(own)
    }

    /// The job's wishes for bands that the variant says nothing of.
    fn kept_bands(&self, own: &[PinnedPen], told: &mut Vec<String>) -> Vec<PinnedPen> {
        let mut kept = Vec::new();
        // Those that do not hold in the job are told there.
        for (band, wish) in held(&self.choices.kept, self.base_names).hold {
            let here = self.for_band(wish, self.place[band]);
            if own.iter().all(|other| other.band != here.band) {
                let place = &self.base_names[band];
                kept.extend(self.held(wish, place, told).map(|_| here));
            }
        }
        kept
    }

    fn for_band(&self, wish: &PinnedPen, band: usize) -> PinnedPen {
        PinnedPen {
            band: Some(self.names[band].clone()),
            ..wish.clone()
        }
    }

    /// A wish of the job, if its pens can be had here; if not, that is told, unless the variant forbids them: then it is
    /// meant so.
    fn held(&self, wish: &PinnedPen, place: &str, told: &mut Vec<String>) -> Option<PinnedPen> {
        for name in wish.under.iter().chain([&wish.name]) {
            if self.choices.forbid.contains(name) {
                return None;
            }
            let why = match self.pens.iter().find(|pen| pen.name == *name) {
                None => "its pens file does not list it",
                Some(pen) if pen.condition == Condition::Dry => "it is dry there",
                Some(_) => continue,
            };
            told.push(format!(
                "{name} is wished for {place}, but {why}: another pen was taken."
            ));
            return None;
        }
        Some(wish.clone())
    }

    /// The pens that the job forbids, as far as there are such here and the variant does not wish for them, and those
    /// that the variant forbids.
    fn forbidden(&self) -> Vec<String> {
        let choices = self.choices;
        let listed = |name: &String| self.pens.iter().any(|pen| pen.name == *name);
        let wished_for = |name: &String| {
            let own = choices.own.iter();
            own.flat_map(|wish| wish.under.iter().chain([&wish.name]))
                .any(|pen| pen == name)
        };
        let kept = choices.kept_forbid.iter();
        kept.filter(|name| listed(name) && !wished_for(name))
            .chain(&choices.forbid)
            .cloned()
            .collect()
    }
}
