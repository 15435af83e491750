//! A planner keeps the value of every stage, with what it was made from. After an edit of the job it makes only the
//! stages again whose own slice of the job, or a stage they are made from, is another. A stage sees nothing but what is
//! compared, so that the result is that of a fresh plan, byte for byte.

use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use kurbo::BezPath;

use crate::Made;
use crate::accents::{Accent, read_accents};
use crate::borders::Outlines;
use crate::compose::Stages;
use crate::error::{Error, Result};
use crate::files::Files;
use crate::job::{
    DrawingChoices, Job, LayingChoices, Match, PenChoices, SectionChoices, ShapeChoices,
    VariantChoices, VariantEntry, WorkChoices,
};
use crate::laying::Seen;
use crate::matching::{self, Draft, PenChoice};
use crate::parts::Parts;
use crate::pens::Pen;
use crate::plan;
use crate::sections::{Band, Detail, Rules, Sections};
use crate::stages::{self, Drawing, Field, Scene, Shape, Tones, Work};
use crate::variants::{self, Base, Varied};

/// A value of an earlier stage: equal only if it is the very same one.
struct Same<T>(Arc<T>);

impl<T> Clone for Same<T> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0))
    }
}

impl<T> PartialEq for Same<T> {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

impl<T> Deref for Same<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

/// What a stage was made from last, and what it was.
struct Kept<K, V>(Option<(K, Same<V>)>);

impl<K, V> Default for Kept<K, V> {
    fn default() -> Self {
        Self(None)
    }
}

impl<K: PartialEq, V> Kept<K, V> {
    /// The value made from `from`. `make` is a plain function: it can see nothing that is not compared.
    fn made(&mut self, from: K, make: fn(&K) -> Result<V>) -> Result<Same<V>> {
        if let Some((before, value)) = &self.0
            && *before == from
        {
            return Ok(value.clone());
        }
        let value = Same(Arc::new(make(&from)?));
        self.0 = Some((from, value.clone()));
        Ok(value)
    }

    /// The same, but what comes out as it was is the one before, so that nothing made from it is made again.
    fn made_or_same(&mut self, from: K, make: fn(&K) -> Result<V>) -> Result<Same<V>>
    where
        V: PartialEq,
    {
        let before = self.0.as_ref().map(|(_, value)| value.clone());
        let mut value = self.made(from, make)?;
        if let (Some(before), Some((_, kept))) = (before, &mut self.0)
            && *before == *value
        {
            *kept = before.clone();
            value = before;
        }
        Ok(value)
    }
}

/// Plans again and again as the job and its files change.
pub struct Planner {
    files: Files,
    inputs: InputsKept,
    scene: Kept<FromInputs, Scene>,
    parts: Kept<FromScene, Parts>,
    tones: Kept<FromParts, Tones>,
    draft: Kept<FromTones, Draft>,
    sections: SectionsKept,
    field: Kept<FromShape, Field>,
    choice: Kept<FromDraft, PenChoice>,
    /// After cuts and merges by hand.
    edited_field: Kept<FromShape, Field>,
    edited_choice: Kept<FromChosen, PenChoice>,
    ink: Kept<Same<Scene>, BezPath>,
    outlines: Kept<FromSections, Outlines>,
    work: Kept<FromChoice, Work>,
    /// In the order of the job's.
    variants: Vec<VariantKept>,
}

type FromInputs = (ToLay, LayingChoices);
type FromScene = (Same<Scene>, Detail, f64);
type FromParts = (Same<Scene>, Same<Parts>, Vec<[f64; 2]>);
type FromTones = (Same<Tones>, Same<Vec<Pen>>, Detail, u8, PenChoices);
type FromShape = (
    Same<Shape>,
    Same<Sections>,
    Same<Sections>,
    Vec<Band>,
    Rules,
);
type FromChosen = (Same<Draft>, Same<PenChoice>, Same<Field>, Same<Field>);
type FromDraft = (Same<Draft>, Same<Field>, Same<Vec<Pen>>, PenChoices);
type FromSections = (Same<Scene>, Same<Sections>, Same<BezPath>);
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
            inputs: InputsKept::default(),
            scene: Kept::default(),
            parts: Kept::default(),
            tones: Kept::default(),
            draft: Kept::default(),
            sections: SectionsKept::default(),
            field: Kept::default(),
            choice: Kept::default(),
            edited_field: Kept::default(),
            edited_choice: Kept::default(),
            ink: Kept::default(),
            outlines: Kept::default(),
            work: Kept::default(),
            variants: Vec::new(),
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
        let (detail, wanted) = (Detail::of(job.detail), job.pen_choices());

        stage("reading the photo and the drawing");
        let inputs = self.inputs.read(&self.files, job)?;
        let pens = inputs.pens.clone();

        stage("aligning the reference");
        let choices = job.laying();
        let from = (inputs.to_lay(&choices), choices);
        let scene = self.scene.made(from, |(laid, choices)| {
            let ToLay {
                pens,
                matches,
                photos,
                drawing,
            } = laid;
            stages::lay_out(photos, drawing, matches, pens, choices)
        })?;

        stage("finding colors and their bands");
        let from = (scene.clone(), detail, job.nib.mm());
        let parts = self.parts.made(from, |(scene, detail, nib_mm)| {
            Ok(stages::find_parts(scene, *detail, *nib_mm))
        })?;
        let from = (scene.clone(), parts, job.bare_cells.clone());
        let tones = self.tones.made(from, |(scene, parts, bare)| {
            stages::find_tones(scene, parts, bare)
        })?;
        let from = (
            tones.clone(),
            pens.clone(),
            detail,
            job.bands,
            wanted.clone(),
        );
        let draft = self
            .draft
            .made(from, |(tones, pens, detail, most, wanted)| {
                matching::draft(tones, *detail, usize::from(*most), pens, wanted)
            })?;

        stage("shaping sections");
        let rules = Rules {
            detail,
            nib_mm: job.nib.mm(),
            mm_per_px: scene.frame.field_mm_per_px(),
        };
        let shape = self.sections.shape(&tones, &draft.bands, rules)?;
        // The ink is traced meanwhile: numbering leaves one core free.
        let (found, ink) = rayon::join(
            || self.sections.number(&scene, &tones, &shape, rules),
            || {
                self.ink
                    .made(scene.clone(), |scene| Ok(stages::trace_ink(scene)))
            },
        );
        let (found, ink) = (found?, ink?);
        let edited = self
            .sections
            .edit(&found, job.shape_choices(), scene.frame.mm_per_px)?;

        stage("drawing borders");
        let from_sections = (scene.clone(), edited.clone(), ink);
        let is_edited = edited != found;
        let bands = draft.bands.clone();
        let from_shape = (
            shape.clone(),
            found.clone(),
            found.clone(),
            bands.clone(),
            rules,
        );
        let from_edited = (shape, found, edited.clone(), bands, rules);
        let (outlines, chosen) = rayon::join(
            || {
                self.outlines.made(from_sections, |(scene, sections, ink)| {
                    Ok(stages::draw_borders(scene, sections, ink))
                })
            },
            || {
                let settle = |(shape, found, edited, bands, rules): &FromShape| {
                    Ok(stages::settle(shape, found, edited, bands, *rules))
                };
                // Pens are chosen for the sections as they were found: what a hand merges changes no other pen.
                let found = self.field.made_or_same(from_shape, settle)?;
                let from = (draft.clone(), found.clone(), pens.clone(), wanted);
                let choice = self.choice.made(from, |(draft, field, pens, wanted)| {
                    Ok(matching::choose_pens(draft, field, pens, wanted))
                })?;
                if !is_edited {
                    return Ok((found, choice));
                }
                let field = self.edited_field.made_or_same(from_edited, settle)?;
                let from = (draft, choice, found, field.clone());
                let choice = self
                    .edited_choice
                    .made(from, |(draft, choice, found, field)| {
                        Ok(matching::left_of(draft, choice, found, field))
                    })?;
                Ok((field, choice))
            },
        );
        let outlines = outlines?;
        let (field, choice) = chosen?;
        let sections = self.sections.settled(&edited, &field)?;
        let from = (
            scene.clone(),
            sections.clone(),
            outlines.clone(),
            pens.clone(),
            choice.clone(),
            job.section_choices(),
            job.work(),
        );
        let work = self.work.made(
            from,
            |(scene, sections, outlines, pens, choice, hand, work)| {
                let picked = &choice.choices;
                stages::order_work(scene, sections, outlines, pens, picked, hand, work)
            },
        )?;
        let accents = self.read_accents(job)?;
        let plan = Stages {
            job,
            pens: &pens,
            scene: &scene,
            tones: &tones,
            field: &field,
            choice: &choice,
            sections: &sections,
            outlines: &outlines,
            work: &work,
            lab: &scene.lab,
            words: matching::words(&tones.ladders),
            accents: accents.as_deref(),
        }
        .plan();
        let mut made = Made {
            plan,
            outlines: outlines.0.clone(),
            labels: work.labels.clone(),
            sections: sections.0.clone(),
            reference: Arc::clone(&scene.reference),
            lines: Arc::clone(&scene.lines),
            cells: Arc::clone(&tones.cells),
            lit_part_of_cell: scene.lit_part_of_cell.clone(),
            parts: Arc::clone(&tones.parts),
            pens: pens.0.clone(),
            card: scene.card.clone(),
            variants: Vec::new(),
        };
        if !job.variants.is_empty() {
            stage("choosing pens for the variants");
            let names = choice.names.clone();
            let from = (scene, tones, field, sections, outlines, rules, names);
            self.vary(job, &inputs, from, &mut made)?;
        }
        Ok(made)
    }

    /// The table of things that may go with the plan, if the job has one.
    fn read_accents(&self, job: &Job) -> Result<Option<Vec<Accent>>> {
        let read = |name: &PathBuf| read_accents(name, self.files.get(name)?);
        job.accents.as_ref().map(read).transpose()
    }

    /// The variants of a job, added to its plan.
    fn vary(&mut self, job: &Job, inputs: &Inputs, base: FromPlan, made: &mut Made) -> Result<()> {
        let accents = self.read_accents(job)?;
        self.variants
            .resize_with(job.variants.len(), Default::default);
        for (kept, entry) in self.variants.iter_mut().zip(&job.variants) {
            let wanted = job.variant_choices(entry);
            let pens = stages::read_pens(&self.files, &wanted.pens)?;
            let photo = match &entry.reference {
                None => None,
                Some(photo) => {
                    let choices = job.with_photo(photo).laying();
                    let from = (inputs.to_lay(&choices), choices);
                    let scene = kept.scene.made(from, |(laid, choices)| {
                        let drawing = &laid.drawing;
                        stages::lay_out(&laid.photos, drawing, &laid.matches, &laid.pens, choices)
                    })?;
                    Some(scene)
                }
            };
            let entry = entry.clone();
            let from = (base.clone(), entry.clone(), photo, pens, wanted, job.work());
            let varied = kept.varied.made(from, |from| {
                let (base, entry, photo, pens, wanted, work) = from;
                let (scene, _, field, sections, outlines, rules, names) = base;
                let base = Base {
                    scene,
                    field,
                    sections,
                    outlines,
                    rules: *rules,
                    names,
                    work,
                };
                let about = |e: Error| e.about(&format!("variant {}", entry.name));
                variants::vary(&base, entry, photo.as_deref(), pens, wanted).map_err(about)
            })?;
            add_variant(job, &entry, &base, &varied, accents.as_deref(), made);
        }
        Ok(())
    }
}

/// Adds one variant to a plan: as one of its own, or why the pens cannot serve it.
fn add_variant(
    job: &Job,
    entry: &VariantEntry,
    (scene, tones, _, _, outlines, ..): &FromPlan,
    varied: &std::result::Result<Varied, String>,
    accents: Option<&[Accent]>,
    made: &mut Made,
) {
    let name = entry.name.clone();
    let varied = match varied {
        Ok(varied) => varied,
        Err(why) => {
            made.plan
                .warnings
                .push(format!("The variant {name} is missing: {why}."));
            made.plan.variants.push(plan::Variant {
                name,
                folder: None,
                unserved: Some(why.clone()),
            });
            return;
        }
    };
    let own = Job {
        pens: varied.wanted.pens.clone(),
        forbid: varied.wanted.forbid.clone(),
        pinned: varied.wanted.pinned.clone(),
        ..job.clone()
    };
    let plan = Stages {
        job: &own,
        pens: &varied.pens,
        scene,
        tones,
        field: &varied.field,
        choice: &varied.choice,
        sections: &varied.sections,
        outlines,
        work: &varied.work,
        lab: &varied.lab,
        words: varied.words.clone(),
        accents,
    }
    .plan();
    made.plan.variants.push(plan::Variant {
        folder: Some(format!("variants/{name}")),
        name: name.clone(),
        unserved: None,
    });
    let mut plan = plan::Plan {
        job: job.clone(),
        variant: Some(name.clone()),
        ..plan
    };
    plan.warnings.splice(0..0, varied.told.iter().cloned());
    let variant = Made {
        plan,
        outlines: Arc::clone(&made.outlines),
        labels: varied.work.labels.clone(),
        sections: Arc::new(varied.sections.clone()),
        reference: Arc::clone(&made.reference),
        lines: Arc::clone(&made.lines),
        cells: Arc::clone(&made.cells),
        lit_part_of_cell: made.lit_part_of_cell.clone(),
        parts: Arc::clone(&made.parts),
        pens: Arc::new(varied.pens.clone()),
        card: made.card.clone(),
        variants: Vec::new(),
    };
    made.variants.push((name, variant));
}

/// Everything of a plan that its variants share.
type FromPlan = (
    Same<Scene>,
    Same<Tones>,
    Same<Field>,
    Same<Sections>,
    Same<Outlines>,
    Rules,
    // What the bands are called.
    Vec<String>,
);
type FromVariant = (
    FromPlan,
    VariantEntry,
    Option<Same<Scene>>,
    Vec<Pen>,
    VariantChoices,
    WorkChoices,
);

/// What a variant was made from last, and what it was.
#[derive(Default)]
struct VariantKept {
    scene: Kept<FromInputs, Scene>,
    varied: Kept<FromVariant, std::result::Result<Varied, String>>,
}

/// What is read.
struct Inputs {
    pens: Same<Vec<Pen>>,
    matches: Same<Vec<Match>>,
    photos: Same<Vec<Seen>>,
    drawing: Same<Option<Drawing>>,
}

/// What the scene is laid out from.
#[derive(PartialEq)]
struct ToLay {
    /// Only those that color a part.
    pens: Vec<Pen>,
    matches: Same<Vec<Match>>,
    photos: Same<Vec<Seen>>,
    drawing: Same<Option<Drawing>>,
}

impl Inputs {
    fn to_lay(&self, choices: &LayingChoices) -> ToLay {
        let images = choices.images.iter().flat_map(|own| &own.parts);
        let parts = choices.parts.iter().chain(images);
        let names: Vec<&String> = parts.filter_map(|p| p.pen.as_ref()).collect();
        let named = self.pens.iter().filter(|pen| names.contains(&&pen.name));
        ToLay {
            pens: named.cloned().collect(),
            matches: self.matches.clone(),
            photos: self.photos.clone(),
            drawing: self.drawing.clone(),
        }
    }
}

/// Only the files that are read, and what is said of them.
type FromFiles<T> = (Files, T);

#[derive(Default)]
struct InputsKept {
    pens: Kept<FromFiles<PathBuf>, Vec<Pen>>,
    matches: Kept<FromFiles<Option<PathBuf>>, Vec<Match>>,
    photos: Kept<FromFiles<(Vec<PathBuf>, bool)>, Vec<Seen>>,
    drawing: Kept<FromFiles<DrawingChoices>, Option<Drawing>>,
}

impl InputsKept {
    fn read(&mut self, files: &Files, job: &Job) -> Result<Inputs> {
        let from = (files.only([job.pens.as_path()]), job.pens.clone());
        let pens = self
            .pens
            .made(from, |(files, name)| stages::read_pens(files, name))?;
        let from = (
            files.only(job.match_file.as_deref()),
            job.match_file.clone(),
        );
        let matches = self.matches.made(from, |(files, name)| {
            stages::read_matches(files, name.as_deref())
        })?;
        let names = job.photo_names();
        let photos = files.only(names.iter().map(PathBuf::as_path));
        let from_photos = (photos, (names, job.has_art()));
        let drawing = job.drawing();
        let arts: Vec<&Path> = drawing.arts().collect();
        let from_drawing = (files.only(arts), drawing.clone());
        // The photo's decoder leaves one core free for the drawing.
        let (photos, drawing) = rayon::join(
            || {
                self.photos.made(from_photos, |(files, (names, has_art))| {
                    stages::decode_photos(files, names, *has_art)
                })
            },
            || {
                self.drawing.made(from_drawing, |(files, choices)| {
                    stages::read_drawing(files, choices)
                })
            },
        );
        Ok(Inputs {
            pens,
            matches,
            photos: photos?,
            drawing: drawing?,
        })
    }
}

type FromBands = (Same<Tones>, Vec<Band>, Rules);
type FromLabels = (Same<Scene>, Same<Tones>, Same<Shape>, Rules);
type FromFound = (Same<Sections>, ShapeChoices, f64);
type FromEdited = (Same<Sections>, Same<Field>);

/// The sections on their way: their shape, numbered, cut and merged by hand, and with the bands that are left in the end.
#[derive(Default)]
struct SectionsKept {
    shape: Kept<FromBands, Shape>,
    found: Kept<FromLabels, Sections>,
    edited: Kept<FromFound, Sections>,
    settled: Kept<FromEdited, Sections>,
}

impl SectionsKept {
    fn shape(&mut self, tones: &Same<Tones>, bands: &[Band], rules: Rules) -> Result<Same<Shape>> {
        let from = (tones.clone(), bands.to_vec(), rules);
        self.shape.made(from, |(tones, bands, rules)| {
            Ok(stages::shape_bands(tones, bands, *rules))
        })
    }

    fn number(
        &mut self,
        scene: &Same<Scene>,
        tones: &Same<Tones>,
        shape: &Same<Shape>,
        rules: Rules,
    ) -> Result<Same<Sections>> {
        let from = (scene.clone(), tones.clone(), shape.clone(), rules);
        self.found.made(from, |(scene, tones, shape, rules)| {
            Ok(stages::number_sections(scene, tones, shape, *rules))
        })
    }

    fn edit(
        &mut self,
        found: &Same<Sections>,
        choices: ShapeChoices,
        mm_per_px: f64,
    ) -> Result<Same<Sections>> {
        if choices == ShapeChoices::default() {
            return Ok(found.clone());
        }
        let from = (found.clone(), choices, mm_per_px);
        self.edited.made(from, |(found, choices, mm_per_px)| {
            stages::edit_sections(found, choices, *mm_per_px)
        })
    }

    fn settled(&mut self, edited: &Same<Sections>, field: &Same<Field>) -> Result<Same<Sections>> {
        let from = (edited.clone(), field.clone());
        self.settled.made(from, |(edited, field)| {
            Ok(edited.with_bands(|b| field.place_of(b)))
        })
    }
}
