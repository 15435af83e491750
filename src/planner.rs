//! A planner keeps the value of every stage, with what it was made from. After an edit of the job it makes only the
//! stages again whose own slice of the job, or a stage they are made from, is another. A stage sees nothing but what is
//! compared, so that the result is that of a fresh plan, byte for byte.

mod choice;
mod inputs;
mod kept;
mod sections;
mod tones;
mod variants;

use std::path::PathBuf;
use std::sync::Arc;

use crate::accents::{Accent, read_accents};
use crate::borders::Outlines;
use crate::choosing::{self, PenChoice};
use crate::color::Lab;
use crate::compose::Stages;
use crate::error::Result;
use crate::files::Files;
use crate::grid::Grid;
use crate::job::{Job, SectionChoices, WorkChoices};
use crate::made::Made;
use crate::pens::Pen;
use crate::sections::{Detail, Rules, Sections};
use crate::stages::{self, Field, Scene, Tones, Work};

use choice::{ChoiceKept, ToChoose};
use inputs::{FromInputs, Inputs, InputsKept};
use kept::{Kept, Same};
use sections::SectionsKept;
use tones::TonesKept;
use variants::{Shared, VariantKept, add_variant};

/// Plans again and again as the job and its files change.
#[derive(Default)]
pub struct Planner {
    files: Files,
    inputs: InputsKept,
    scene: Kept<FromInputs, Scene>,
    tones: TonesKept,
    sections: SectionsKept,
    outlines: Kept<FromSections, Outlines>,
    choice: ChoiceKept,
    work: Kept<FromChoice, Work>,
    /// In the order of the job's.
    variants: Vec<VariantKept>,
}

type FromSections = (Same<Scene>, Same<Sections>);
type FromChoice = (
    Same<Scene>,
    Same<Sections>,
    Same<Outlines>,
    Same<Vec<Pen>>,
    Same<PenChoice>,
    SectionChoices,
    WorkChoices,
);

impl Planner {
    /// For jobs that name these files.
    pub fn new(files: Files) -> Self {
        Self {
            files,
            ..Self::default()
        }
    }

    /// Gives a file these bytes, in place of those it had. What was not made from it is kept.
    pub fn set_file(&mut self, name: PathBuf, bytes: Vec<u8>) {
        self.files.insert(name, bytes);
    }

    /// The files as they are now.
    pub fn files(&self) -> &Files {
        &self.files
    }

    /// Makes the plan of a job. `stage` is told what begins.
    ///
    /// # Errors
    /// Everything that is wrong with an input or a choice.
    pub fn plan(&mut self, job: &Job, stage: &dyn Fn(&str)) -> Result<Made> {
        job.check()?;

        stage("reading the photo and the drawing");
        let inputs = self.inputs.read(&self.files, job)?;
        let pens = &inputs.pens;

        stage("aligning the reference");
        let scene = inputs.lay_out(&mut self.scene, job.laying())?;

        stage("finding colors and their bands");
        let tones = self.tones.find(&scene, job)?;
        let draft = self.tones.draft(&tones, pens, job)?;

        stage("shaping sections");
        let rules = Rules {
            detail: Detail::of(job.detail),
            nib_mm: job.nib.mm(),
            mm_per_px: scene.frame.field_mm_per_px(),
        };
        let shape = self.sections.shape(&tones, &draft.bands, rules)?;
        let found = self.sections.number(&scene, &tones, &shape, rules)?;
        let by_hand = job.shape_choices();
        let edited = self.sections.edit(&found, by_hand, scene.frame.mm_per_px)?;

        stage("drawing borders");
        let from = (scene.clone(), edited.clone());
        let to_choose = ToChoose {
            tones: &tones,
            shape: &shape,
            draft: &draft,
            pens,
            rules,
            wanted: job.pen_choices(),
            found: &found,
            edited: &edited,
        };
        let (outlines, field, choice) = self.draw_and_choose(from, to_choose)?;
        let sections = self.sections.settled(&edited, &field)?;
        let work = self.order_work(job, &scene, &sections, &outlines, pens, &choice)?;

        let accents = self.read_accents(job)?;
        let mut made = Finished {
            scene: &scene,
            tones: &tones,
            field: &field,
            choice: &choice,
            sections: Arc::clone(&sections.0),
            outlines: &outlines,
            work: &work,
            pens: Arc::clone(&pens.0),
            lab: &scene.lab,
            words: choosing::words(&tones.ladders),
        }
        .made(job, accents.as_deref());
        if !job.variants.is_empty() {
            stage("choosing pens for the variants");
            let shared = Shared {
                scene,
                tones,
                field,
                sections,
                outlines,
                rules,
                names: choice.names.clone(),
            };
            self.vary(job, &inputs, &shared, accents.as_deref(), &mut made)?;
        }
        Ok(made)
    }

    /// The borders, and meanwhile a pen for each band.
    fn draw_and_choose(
        &mut self,
        from: FromSections,
        to_choose: ToChoose,
    ) -> Result<(Same<Outlines>, Same<Field>, Same<PenChoice>)> {
        let draw = |(scene, sections): &FromSections| Ok(stages::draw_borders(scene, sections));
        let (outlines, chosen) = rayon::join(
            || self.outlines.made(from, draw),
            || self.choice.choose(to_choose),
        );
        let (field, choice) = chosen?;
        Ok((outlines?, field, choice))
    }

    fn order_work(
        &mut self,
        job: &Job,
        scene: &Same<Scene>,
        sections: &Same<Sections>,
        outlines: &Same<Outlines>,
        pens: &Same<Vec<Pen>>,
        choice: &Same<PenChoice>,
    ) -> Result<Same<Work>> {
        let from = (
            scene.clone(),
            sections.clone(),
            outlines.clone(),
            pens.clone(),
            choice.clone(),
            job.section_choices(),
            job.work(),
        );
        self.work.made(from, |from| {
            let (scene, sections, outlines, pens, choice, hand, work) = from;
            let picked = &choice.choices;
            stages::order_work(scene, sections, outlines, pens, picked, hand, work)
        })
    }

    /// The table of things that may go with the plan, if the job has one.
    fn read_accents(&self, job: &Job) -> Result<Option<Vec<Accent>>> {
        let read = |name: &PathBuf| read_accents(name, self.files.get(name)?);
        job.accents.as_ref().map(read).transpose()
    }

    /// The variants of a job, added to its plan.
    fn vary(
        &mut self,
        job: &Job,
        inputs: &Inputs,
        shared: &Shared,
        accents: Option<&[Accent]>,
        made: &mut Made,
    ) -> Result<()> {
        let (variants, entries) = (&mut self.variants, &job.variants);
        variants.resize_with(entries.len(), Default::default);
        for (kept, entry) in variants.iter_mut().zip(entries) {
            let varied = kept.vary(job, entry, &self.files, inputs, shared)?;
            add_variant(job, &entry.name, shared, &varied, accents, made);
        }
        Ok(())
    }
}

/// The values of all stages, of a plan or of a variant of it.
struct Finished<'a> {
    scene: &'a Same<Scene>,
    tones: &'a Same<Tones>,
    field: &'a Field,
    choice: &'a PenChoice,
    sections: Arc<Sections>,
    outlines: &'a Same<Outlines>,
    work: &'a Work,
    pens: Arc<Vec<Pen>>,
    /// What the panel is held against, at half resolution.
    lab: &'a Grid<Lab>,
    /// What the hue groups are called.
    words: Vec<String>,
}

impl Finished<'_> {
    /// Put together, without variants.
    fn made(self, job: &Job, accents: Option<&[Accent]>) -> Made {
        let plan = Stages {
            job,
            pens: &self.pens,
            scene: self.scene,
            tones: self.tones,
            field: self.field,
            choice: self.choice,
            sections: &self.sections,
            outlines: self.outlines,
            work: self.work,
            lab: self.lab,
            words: self.words,
            accents,
        }
        .plan();
        Made {
            plan,
            outlines: Arc::clone(&self.outlines.0),
            labels: self.work.labels.clone(),
            sections: self.sections,
            reference: Arc::clone(&self.scene.reference),
            lines: Arc::clone(&self.scene.lines),
            cells: Arc::clone(&self.tones.cells),
            lit_part_of_cell: self.scene.lit_part_of_cell.clone(),
            parts: Arc::clone(&self.tones.parts),
            pens: self.pens,
            card: self.scene.card.clone(),
            variants: Vec::new(),
        }
    }
}
