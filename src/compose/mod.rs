//! Every stage's result put together into one [`plan::Plan`].

mod told;

use crate::accents::{Accent, Shown, Suggestions, suggest};
use crate::backdrop::{beside_outside, rank_backdrops};
use crate::borders::{Label, Outlines};
use crate::card::told;
use crate::choosing::PenChoice;
use crate::color::{Lab, Srgb8, difference};
use crate::grid::Grid;
use crate::job::{Background, Job};
use crate::length::round2;
use crate::passes::number_of;
use crate::pens::{Pen, Pick};
use crate::plan;
use crate::sections::Sections;
use crate::stages::{Field, Scene, Tones, Work};

/// Every n-th pixel of the field is enough for the mean color difference.
const DIFFERENCE_STRIDE: usize = 5;

/// Rest of stamped ink before alcohol ink touches it, in seconds; common practice, no source.
const STAMP_REST_S: u32 = 10 * 60;
/// The same after stamping twice; from memory.
const DOUBLE_STAMP_REST_S: u32 = 15 * 60;

/// What the stages found.
pub struct Stages<'a> {
    pub job: &'a Job,
    pub pens: &'a [Pen],
    pub scene: &'a Scene,
    pub tones: &'a Tones,
    pub field: &'a Field,
    pub choice: &'a PenChoice,
    pub sections: &'a Sections,
    pub outlines: &'a Outlines,
    pub work: &'a Work,
    /// What the panel is held against, at half resolution.
    pub lab: &'a Grid<Lab>,
    /// What the hue groups are called.
    pub words: Vec<String>,
    /// Things owned, where the job has a table of them.
    pub accents: Option<&'a [Accent]>,
}

impl Stages<'_> {
    /// The plan, but for its list of files.
    pub fn plan(&self) -> plan::Plan {
        let bands = self.bands();
        let sections = self.sections();
        let backdrops = self.backdrops();
        plan::Plan {
            schema: plan::SCHEMA.to_owned(),
            schema_version: plan::SCHEMA_VERSION,
            job: self.job.clone(),
            mm_per_px: self.scene.frame.mm_per_px,
            nib_mm: self.job.nib.mm(),
            size_mm: self.scene.frame.size_mm.map(round2),
            alignment: self.scene.alignments.clone(),
            groups: self.groups(),
            figures: plan::Figures {
                sections: sections.len(),
                trace_mm: round2(self.outlines.trace_mm),
                narrowest_mm: sections
                    .iter()
                    .map(|s| s.width_mm)
                    .fold(f64::INFINITY, f64::min),
                mean_delta_e: self.mean_delta_e(),
            },
            numbers: self.numbers(&sections),
            schedule: self.schedule(),
            card: self.card(),
            accents: self.accents(),
            variant: None,
            variants: Vec::new(),
            open_outlines: self.open_outlines(),
            warnings: self.warnings(&bands, &backdrops),
            backdrops,
            bands,
            sections,
            files: Vec::new(),
        }
    }

    fn open_outlines(&self) -> Vec<plan::OpenOutline> {
        let openings = self.scene.openings.iter();
        openings
            .map(|o| plan::OpenOutline {
                from_mm: o.from_mm.map(round2),
                to_mm: o.to_mm.map(round2),
                width_mm: round2(o.width_mm),
                to_outside: o.to_outside,
                gap_mm: o.gap_mm,
            })
            .collect()
    }

    /// Pens for the outside, where the job asks for them.
    fn backdrops(&self) -> Vec<plan::Backdrop> {
        if self.job.background != Background::Auto {
            return Vec::new();
        }
        let on_panel = |cell: u16| match (&self.scene.card, self.image(cell)) {
            (Some(card), Some(image)) => card.images[image].cut.is_none(),
            _ => true,
        };
        let list = self.sections.list.iter();
        let colors: Vec<Option<Lab>> = list
            .map(|s| on_panel(s.cell).then(|| self.color(self.tone(s.id)).lab()))
            .collect();
        let outside = self.scene.panel_outside();
        let outside_px = outside.data.iter().filter(|&&o| o).count();
        let mm_per_px = self.scene.frame.mm_per_px;
        rank_backdrops(
            self.outlines,
            beside_outside(&outside, &self.scene.lines.wall, mm_per_px),
            &colors,
            self.pens,
            &self.job.forbid,
            outside_px as f64 * mm_per_px * mm_per_px,
            self.job.no_refill_cm2 * 100.0,
        )
    }

    fn area_mm2(&self, pixels: usize) -> f64 {
        let mm_per_px = self.scene.frame.mm_per_px;
        round2(pixels as f64 * mm_per_px * mm_per_px)
    }

    /// What a section is colored as: its band, or a tone behind all bands that the person wants for it.
    fn tone(&self, section: u16) -> usize {
        self.work.tone_of[usize::from(section) - 1]
    }

    fn pick(&self, tone: usize) -> Pick {
        self.work.tones[tone].pick
    }

    /// The pen of the last coat.
    fn pen(&self, tone: usize) -> Option<&Pen> {
        self.pick(tone).pen().map(|p| &self.pens[p])
    }

    fn color(&self, tone: usize) -> Srgb8 {
        self.pick(tone).color(self.pens, self.job.paper)
    }

    fn is_band(&self, tone: usize) -> bool {
        tone < self.field.bands.len()
    }

    fn groups(&self) -> Vec<plan::Group> {
        let tones = self.tones;
        tones
            .parts
            .families
            .iter()
            .zip(&tones.ladders)
            .enumerate()
            .map(|(g, (group, ladder))| plan::Group {
                name: self.words.get(g).cloned().unwrap_or_default(),
                neutral: group.neutral,
                share: ladder.share,
                bands: self.field.bands.iter().filter(|b| b.group == g).count(),
                mean_delta_e_by_bands: ladder
                    .mean_difference
                    .iter()
                    .map(|&d| round2_f32(d))
                    .collect(),
            })
            .collect()
    }

    fn bands(&self) -> Vec<plan::Band> {
        let mut area_px = vec![0usize; self.field.bands.len()];
        for s in &self.sections.list {
            if let Some(area_px) = area_px.get_mut(self.tone(s.id)) {
                *area_px += s.area_px;
            }
        }
        self.field
            .bands
            .iter()
            .enumerate()
            .map(|(b, band)| plan::Band {
                name: self.choice.names[b].clone(),
                why: self.why(b, self.area_mm2(area_px[b])),
                group: band.group,
                lab: [band.lab.l, band.lab.a, band.lab.b].map(round2_f32),
                area_mm2: self.area_mm2(area_px[b]),
                pen: self.pen(b).map(|p| p.name.clone()),
                under: self.pick(b).under().map(|p| self.pens[p].name.clone()),
                delta_e: round2_f32(difference(band.lab, self.color(b).lab())),
                runner_ups: self.choice.choices[b]
                    .runner_ups
                    .iter()
                    .map(|&p| plan::RunnerUp {
                        pen: self.pens[p].name.clone(),
                        delta_e: round2_f32(difference(band.lab, self.pens[p].color.lab())),
                    })
                    .collect(),
            })
            .collect()
    }

    /// The number of every section by its id, on the drawing, or in a detail of it.
    fn labels(&self) -> Vec<Option<&Label>> {
        let labels = &self.work.labels;
        let details = labels.details.iter().flat_map(|d| &d.labels);
        let mut found = vec![None; self.sections.list.len() + 1];
        for label in labels.labels.iter().chain(details) {
            for &section in &label.sections {
                found[usize::from(section)].get_or_insert(label);
            }
        }
        found
    }

    /// The stamp or piece that a cell belongs to, if it does.
    fn image(&self, cell: u16) -> Option<usize> {
        let card = self.scene.card.as_ref()?;
        card.sources[usize::from(cell)].map(|(image, _)| image)
    }

    fn sections(&self) -> Vec<plan::Section> {
        let mm_per_px = self.scene.frame.mm_per_px;
        let labels = self.labels();
        self.sections
            .list
            .iter()
            .zip(&self.work.covered)
            .map(|(s, covered)| plan::Section {
                id: s.id,
                number: number_of(&self.work.passes, self.tone(s.id)),
                band: s.band,
                pen: self.pen(self.tone(s.id)).map(|p| p.name.clone()),
                by_hand: covered.is_none() && !self.is_band(self.tone(s.id)),
                image: self.image(s.cell),
                covered: *covered,
                area_mm2: self.area_mm2(s.area_px),
                width_mm: round2(s.width_px * mm_per_px),
                label_mm: labels[usize::from(s.id)]
                    .map_or([0.0; 2], |l| [round2(l.at.x), round2(l.at.y)]),
                inside_mm: [s.center.0, s.center.1].map(|v| round2((v as f64 + 0.5) * mm_per_px)),
            })
            .collect()
    }

    /// The key: every coat of a pen that colors something, in the order of work, then the bare paper.
    fn numbers(&self, sections: &[plan::Section]) -> Vec<plan::Number> {
        let entry = |number: usize, pick: Pick, tones: &[usize], under: &[usize]| {
            let mine = sections.iter().filter(|s| {
                let tone = self.tone(s.id);
                tones.contains(&tone) || under.contains(&tone)
            });
            let others = self.work.passes.iter();
            plan::Number {
                number,
                finished: mine.clone().filter(|s| s.number == number).count(),
                pen: pick.pen().map(|p| self.pens[p].clone()),
                color: pick.color(self.pens, self.job.paper),
                bands: tones.iter().copied().filter(|&t| self.is_band(t)).collect(),
                over: others
                    .clone()
                    .find(|other| Some(other.pick) == pick.below())
                    .map(|other| other.number),
                under: others
                    .filter(|other| number > 0 && other.pick.below() == Some(pick))
                    .filter(|other| sections.iter().any(|s| s.number == other.number))
                    .map(|other| other.number)
                    .collect(),
                sections: mine.clone().count(),
                area_mm2: round2(mine.map(|s| s.area_mm2).sum()),
            }
        };
        let bare: Vec<usize> = (0..self.work.tones.len())
            .filter(|&tone| self.pen(tone).is_none())
            .collect();
        self.work
            .passes
            .iter()
            .map(|pass| entry(pass.number, pass.pick, &pass.bands, &pass.under))
            .chain((!bare.is_empty()).then(|| entry(0, Pick::Paper, &bare, &[])))
            .filter(|entry| entry.sections > 0)
            .collect()
    }

    /// What of the things owned goes with the colors of the card.
    fn accents(&self) -> Option<Suggestions> {
        let owned = self.accents?;
        let mm2 = |tone: usize| {
            let mine = self.sections.list.iter().zip(&self.work.covered);
            let mine = mine.filter(|(s, covered)| self.tone(s.id) == tone && covered.is_none());
            self.area_mm2(mine.map(|(s, _)| s.area_px).sum())
        };
        let tones = 0..self.work.tones.len();
        let colors: Vec<Shown> = tones
            .map(|t| Shown {
                name: self.pick(t).told(self.pens),
                color: self.color(t),
                area_mm2: mm2(t),
            })
            .collect();
        Some(suggest(owned, &colors))
    }

    /// Rest of the stamped ink, in seconds. Only a drawing has some.
    fn stamp_rest_s(&self) -> u32 {
        match (self.scene.has_art, self.job.stamped) {
            (false, _) | (_, 0) => 0,
            (_, 1) => STAMP_REST_S,
            (_, _) => DOUBLE_STAMP_REST_S,
        }
    }

    fn card(&self) -> Option<plan::Card> {
        let choices = self.job.card()?.choices();
        let card = self.scene.card.as_ref()?;
        Some(told(card, &choices, self.stamp_rest_s()))
    }

    fn schedule(&self) -> plan::Schedule {
        let s = &self.work.schedule;
        plan::Schedule {
            stamp_rest_s: self.stamp_rest_s(),
            rest_s: self.job.rest.seconds(),
            turns: s.turns.clone(),
            coloring_s: s.coloring_s,
            waiting_s: s.waiting_s,
            light_to_dark_s: s.light_to_dark_s,
            exact: s.exact,
        }
    }

    /// How far the panel will be from the photo: the mean CIEDE2000 over all that is colored or left bare, but for what
    /// lies under a piece.
    fn mean_delta_e(&self) -> f32 {
        let panel: Vec<Lab> = (0..self.work.tones.len())
            .map(|tone| self.color(tone).lab())
            .collect();
        let label = &self.field.label;
        let section_at =
            |i: usize| (self.sections.map).at(2 * (i % label.width), 2 * (i / label.width));
        let tone_at = |i: usize| match section_at(i) {
            id if id > 0 && !self.is_band(self.tone(id)) => self.tone(id),
            _ => usize::from(label.data[i]) - 1,
        };
        let covered = |i: usize| match section_at(i) {
            0 => false,
            id => self.work.covered[usize::from(id) - 1].is_some(),
        };
        let seen: Vec<f32> = (0..label.data.len())
            .step_by(DIFFERENCE_STRIDE)
            .filter(|&i| label.data[i] > 0 && !covered(i))
            .map(|i| difference(self.lab.data[i], panel[tone_at(i)]))
            .collect();
        round2_f32(seen.iter().sum::<f32>() / seen.len().max(1) as f32)
    }
}

/// To a hundredth, as plan.json holds differences.
fn round2_f32(v: f32) -> f32 {
    (v * 100.0).round() / 100.0
}
