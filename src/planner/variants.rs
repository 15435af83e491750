//! The variants of a plan, each kept like the plan itself.

use std::sync::Arc;

use crate::accents::Accent;
use crate::borders::Outlines;
use crate::error::{Error, Result};
use crate::files::Files;
use crate::job::{Job, VariantChoices, VariantEntry, WorkChoices};
use crate::made::Made;
use crate::pens::Pen;
use crate::plan;
use crate::sections::{Rules, Sections};
use crate::stages::{self, Field, Scene, Tones};
use crate::variants::{self, Base, Varied};

use super::Finished;
use super::inputs::{FromInputs, Inputs};
use super::kept::{Kept, Same};

/// Everything of a plan that its variants share.
#[derive(Clone, PartialEq)]
pub struct Shared {
    pub scene: Same<Scene>,
    pub tones: Same<Tones>,
    pub field: Same<Field>,
    pub sections: Same<Sections>,
    pub outlines: Same<Outlines>,
    pub rules: Rules,
    /// What the bands are called.
    pub names: Vec<String>,
}

type FromShared = (
    Shared,
    VariantEntry,
    Option<Same<Scene>>,
    Vec<Pen>,
    VariantChoices,
    WorkChoices,
);

/// What a variant was made from last, and what it was; in words why the pens cannot serve it.
#[derive(Default)]
pub struct VariantKept {
    scene: Kept<FromInputs, Scene>,
    varied: Kept<FromShared, std::result::Result<Varied, String>>,
}

impl VariantKept {
    /// # Errors
    /// If its pens or its photo cannot be read or laid, or it wishes for what is not there.
    pub fn vary(
        &mut self,
        job: &Job,
        entry: &VariantEntry,
        files: &Files,
        inputs: &Inputs,
        shared: &Shared,
    ) -> Result<Same<std::result::Result<Varied, String>>> {
        let wanted = job.variant_choices(entry);
        let pens = stages::read_pens(files, &wanted.pens)?;
        let photo = match &entry.reference {
            None => None,
            Some(photo) => {
                let choices = job.with_photo(photo).laying();
                Some(inputs.lay_out(&mut self.scene, choices)?)
            }
        };
        let from = (
            shared.clone(),
            entry.clone(),
            photo,
            pens,
            wanted,
            job.work(),
        );
        self.varied.made(from, |from| {
            let (shared, entry, photo, pens, wanted, work) = from;
            let base = Base {
                scene: &shared.scene,
                half_cells: &shared.tones.half_cells,
                field: &shared.field,
                sections: &shared.sections,
                outlines: &shared.outlines,
                rules: shared.rules,
                names: &shared.names,
                work,
            };
            let about = |e: Error| e.about(&format!("variant {}", entry.name));
            variants::vary(&base, entry, photo.as_deref(), pens, wanted).map_err(about)
        })
    }
}

/// Adds one variant to a plan: as one of its own, or why the pens cannot serve it.
pub fn add_variant(
    job: &Job,
    name: &str,
    shared: &Shared,
    varied: &std::result::Result<Varied, String>,
    accents: Option<&[Accent]>,
    made: &mut Made,
) {
    let told = match varied {
        Ok(varied) => {
            let variant = made_variant(job, name, shared, varied, accents);
            made.variants.push((name.to_owned(), variant));
            plan::Variant {
                name: name.to_owned(),
                folder: Some(format!("variants/{name}")),
                unserved: None,
            }
        }
        Err(why) => {
            let missing = format!("The variant {name} is missing: {why}.");
            made.plan.warnings.push(missing);
            plan::Variant {
                name: name.to_owned(),
                folder: None,
                unserved: Some(why.clone()),
            }
        }
    };
    made.plan.variants.push(told);
}

fn made_variant(
    job: &Job,
    name: &str,
    shared: &Shared,
    varied: &Varied,
    accents: Option<&[Accent]>,
) -> Made {
    let own = Job {
        pens: varied.wanted.pens.clone(),
        forbid: varied.wanted.forbid.clone(),
        pinned: varied.wanted.pinned.clone(),
        ..job.clone()
    };
    let mut made = Finished {
        scene: &shared.scene,
        tones: &shared.tones,
        field: &varied.field,
        choice: &varied.choice,
        sections: Arc::new(varied.sections.clone()),
        outlines: &shared.outlines,
        work: &varied.work,
        pens: Arc::new(varied.pens.clone()),
        lab: &varied.lab,
        words: varied.words.clone(),
    }
    .made(&own, accents);
    made.plan.job = job.clone();
    made.plan.variant = Some(name.to_owned());
    made.plan.warnings.splice(0..0, varied.told.iter().cloned());
    made
}
