//! What a person should know of a plan, in words: notes, and why a band has its pen.

use crate::art::told_openings;
use crate::color::{Lab, Srgb8, difference};
use crate::job::Background;
use crate::pens::{ANOTHER_COLOR, Condition, Pen, Pick, breaks_order, explain_drift};
use crate::plan;
use crate::sections::LEAST_STEP;
use crate::wishes::band_of;

use super::{Stages, round2_f32};

/// A photo that shows no more than this part of the outside is cut out: its rim may be soft. From memory.
const SHOWN_OUTSIDE: f64 = 0.02;

/// Pens that get a second coat of which it is not known how it looks, and coats over a gray, in words.
#[derive(Default)]
struct Expected {
    twice: Vec<String>,
    over: Vec<String>,
}

impl Expected {
    /// A note for each, whichever and however many pens there are.
    fn told(self) -> impl Iterator<Item = String> {
        let twice = (!self.twice.is_empty()).then(|| {
            format!(
                "How dark a second coat gets is an estimate for {}: try it on a scrap, or measure it with penstrata \
                 swatches.",
                plan::listed(&self.twice)
            )
        });
        let over = (!self.over.is_empty()).then(|| {
            format!(
                "How a coat over a gray looks is an estimate for {}: try it on a scrap, both coats dry. The nib may pick up \
                 some of the gray: wipe it on a scrap afterwards.",
                plan::listed(&self.over)
            )
        });
        twice.into_iter().chain(over)
    }
}

impl Stages<'_> {
    /// Everything a person should know before starting.
    pub(super) fn warnings(
        &self,
        bands: &[plan::Band],
        backdrops: &[plan::Backdrop],
    ) -> Vec<String> {
        let background = &self.job.background;
        let mut warnings = self.choice.warnings.clone();
        warnings.extend(self.pen_warnings(bands));
        if *background == Background::Auto && backdrops.is_empty() {
            warnings.push(
                "There is no outside to suggest a pen for: the subject fills the panel.".to_owned(),
            );
        }
        if *background == Background::Photo && self.is_cut_out() {
            warnings.push(
                "The photo is cut out: it shows no background that the outside could be colored as \
                 (--background auto shows pens that would do for it)."
                    .to_owned(),
            );
        }
        let bare = !background.is_colored();
        let open = told_openings(&self.scene.openings, bare).into_iter();
        warnings.extend(open.map(|told| format!("{told} steps/fit.png (--steps) marks where.")));
        warnings.extend(self.scene.warnings.iter().cloned());
        warnings.extend(self.tones.warnings.iter().cloned());
        warnings.extend(self.told_flat());
        if self.tones.cells.cut_at_edge && bare {
            warnings.push(
                "The edge of the drawing's file cuts through something that it encloses; that was taken as outside and \
                 left bare (--background colors it)."
                    .to_owned(),
            );
        }
        warnings
    }

    /// Tells of the things that the photo shows in flat light, where they have a light and a dark side all the same.
    fn told_flat(&self) -> Option<String> {
        let widest = |&cell: &u16| {
            let own = self.sections.list.iter().filter(|s| s.cell == cell);
            let widest = own
                .clone()
                .max_by(|s, t| s.width_px.total_cmp(&t.width_px))?;
            let mm = |px: usize| (px as f64 + 0.5) * self.scene.frame.mm_per_px;
            let (x, y) = (mm(widest.center.0), mm(widest.center.1));
            own.clone()
                .any(|s| s.band != widest.band)
                .then(|| format!("[{x:.1}, {y:.1}]"))
        };
        let places: Vec<String> = self.tones.parts.flat.iter().filter_map(widest).collect();
        (!places.is_empty()).then(|| {
            format!(
                "The photo shows hardly any light and shade around {} (millimeters from the top left): light and dark \
                 side there are those of the outline's form, under the light of the other parts.",
                places.join(", ")
            )
        })
    }

    /// What the panel is held against: photos, or the colors of the parts alone.
    fn model(&self) -> &'static str {
        if self.scene.alignments.is_empty() {
            "the part"
        } else {
            "the photo"
        }
    }

    /// The same, as whose hue it is.
    fn models(&self) -> &'static str {
        if self.scene.alignments.is_empty() {
            "the part's"
        } else {
            "the photo's"
        }
    }

    /// Whether the photo shows nothing of the outside.
    fn is_cut_out(&self) -> bool {
        let outside = &self.tones.cells.outside.data;
        let subject = &self.scene.reference.subject.data;
        let all = outside.iter().filter(|&&o| o).count();
        let shown = outside.iter().zip(subject).filter(|&(&o, &s)| o && s);
        all > 0 && shown.count() as f64 <= SHOWN_OUTSIDE * all as f64
    }

    /// Why a band has its pen, in one line.
    pub(super) fn why(&self, b: usize, area_mm2: f64) -> String {
        let band = self.field.bands[b].lab;
        let pick = self.pick(b);
        let wished = |p: usize| {
            let mut pins = self.job.pinned.iter();
            pins.any(|pin| {
                band_of(&self.choice.names, pin) == Some(b) && pin.name == self.pens[p].name
            })
        };
        if pick.pen().is_some_and(wished) {
            return "wished in the job".to_owned();
        }
        let away = |p: usize| difference(band, self.pens[p].color.lab());
        let Some(nearest) = (0..self.pens.len()).min_by(|&p, &q| away(p).total_cmp(&away(q)))
        else {
            return String::new();
        };
        if pick == Pick::Pen(nearest) {
            return "the closest of your pens".to_owned();
        }
        if away(nearest) >= difference(band, self.color(b).lab()) {
            let one = &self.pens[nearest].name;
            let off = round2_f32(away(nearest));
            return match pick {
                Pick::Paper => "closer than any of your pens".to_owned(),
                // Another pen of the very same color.
                Pick::Pen(_) => "the closest of your pens".to_owned(),
                Pick::Twice(_) | Pick::Over { .. } => {
                    format!("one coat of {one}, the closest, is {off:.1} off")
                }
            };
        }
        let reason = self.against(nearest, b, area_mm2);
        match pick.pen() == Some(nearest) {
            true => format!("one coat is closer but {reason}"),
            false => format!("{} is closer but {reason}", self.pens[nearest].name),
        }
    }

    /// What speaks against the pen that is closer to a band than the one it has.
    fn against(&self, closer: usize, b: usize, area_mm2: f64) -> String {
        let pen = &self.pens[closer];
        let bands = &self.field.bands;
        let serves = (0..bands.len()).find(|&o| o != b && self.pick(o).pen() == Some(closer));
        if pen.condition == Condition::Dry {
            "is dry".to_owned()
        } else if self.job.forbid.contains(&pen.name) {
            "is forbidden in the job".to_owned()
        } else if let Some(other) = serves {
            format!("serves {}", self.choice.names[other])
        } else if let Some(order) = self.order_broken_by(closer, b) {
            order
        } else if !pen.refill && area_mm2 > self.job.no_refill_cm2 * 100.0 {
            format!("has no refill for {:.0} cm²", area_mm2 / 100.0)
        } else if pen.condition == Condition::Worn {
            "is worn".to_owned()
        } else if explain_drift(bands[b].lab, pen.color.lab(), self.model()).is_some() {
            format!("leaves {} hue or strength", self.models())
        } else {
            let step = |other: usize| {
                let apart = self.color(other).lab().l - pen.color.lab().l;
                apart.abs() < LEAST_STEP
            };
            let same = |other: usize| bands[other].group == bands[b].group;
            let near = (0..bands.len()).find(|&o| o != b && same(o) && step(o));
            match near {
                Some(other) => format!("is too close to {} in lightness", self.choice.names[other]),
                None if !pen.refill => "has no refill".to_owned(),
                None if self.pick(b) == Pick::Paper => {
                    "not by as much as a coat is worth".to_owned()
                }
                None => "would cost the other bands more".to_owned(),
            }
        }
    }

    /// Which band that it touches a band would not be lighter or darker than with one coat of this pen, as it is in the photo.
    fn order_broken_by(&self, pen: usize, b: usize) -> Option<String> {
        let l = self.pens[pen].color.lab().l;
        self.field.touching.iter().find_map(|touching| {
            let (other, lighter_by) = match touching.bands {
                [one, other] if one == b => (other, touching.lighter_by),
                [other, one] if one == b => (other, -touching.lighter_by),
                _ => return None,
            };
            let so = if lighter_by > 0.0 {
                "lighter"
            } else {
                "darker"
            };
            breaks_order(lighter_by, l - self.color(other).lab().l).then(|| {
                format!(
                    "would not be {so} than {}, which it touches",
                    self.choice.names[other]
                )
            })
        })
    }

    /// What a person should know about the pens before starting.
    fn pen_warnings(&self, bands: &[plan::Band]) -> Vec<String> {
        let mut warnings = Vec::new();
        let mut expected = Expected::default();
        for tone in 0..self.work.tones.len() {
            // A band all of whose sections have pens of their own is not colored as one.
            let is_used = self.work.tone_of.contains(&tone);
            let Some(pen) = self.pen(tone).filter(|_| is_used) else {
                continue;
            };
            for p in self.pick(tone).pens() {
                let pen = &self.pens[p];
                let warning = format!("{} is marked worn: try it on a scrap first.", pen.name);
                if pen.condition == Condition::Worn && !warnings.contains(&warning) {
                    warnings.push(warning);
                }
            }
            self.expect(tone, &mut expected);
            // What the person wants for a section need not be like the photo.
            let (b, Some(band)) = (tone, self.field.bands.get(tone)) else {
                continue;
            };
            let drift = explain_drift(band.lab, self.color(b).lab(), self.model());
            if drift.is_none() && bands[b].delta_e < ANOTHER_COLOR {
                continue;
            }
            let what = drift.unwrap_or_else(|| {
                format!(
                    "it differs from {} by {:.0} ({ANOTHER_COLOR:.0} or more is another color)",
                    self.model(),
                    bands[b].delta_e
                )
            });
            warnings.push(format!(
                "{} for {}: {what}; {}.",
                pen.name,
                self.choice.names[b],
                self.better_pen(band.lab, pen, bands[b].delta_e)
            ));
        }
        warnings.extend(expected.told());
        if !self.choice.proven {
            warnings.push(
                "There are more ways to choose than could be tried: another choice of pens may be a little better."
                    .to_owned(),
            );
        }
        warnings
    }

    /// Adds what is only expected of a band's two coats, not measured.
    fn expect(&self, band: usize, expected: &mut Expected) {
        let name = |p: usize| self.pens[p].name.clone();
        let (of, what) = match self.pick(band) {
            Pick::Twice(p) if self.pens[p].two_coats.is_none() => (&mut expected.twice, name(p)),
            Pick::Over { under, pen } => (
                &mut expected.over,
                format!("{} over {}", name(pen), name(under)),
            ),
            _ => return,
        };
        if !of.contains(&what) {
            of.push(what);
        }
    }

    /// Names a pen that keeps to the hue and chroma of `band`, or the color to look for.
    fn better_pen(&self, band: Lab, chosen: &Pen, delta_e: f32) -> String {
        let better = self
            .pens
            .iter()
            .enumerate()
            .filter(|(_, p)| p.name != chosen.name && p.condition != Condition::Dry)
            .filter(|(_, p)| !self.job.forbid.contains(&p.name))
            .filter(|(_, p)| explain_drift(band, p.color.lab(), self.model()).is_none())
            .map(|(q, p)| (q, difference(band, p.color.lab())))
            .min_by(|x, y| x.1.total_cmp(&y.1))
            .filter(|&(_, d)| d < delta_e + ANOTHER_COLOR / 2.0);
        match better {
            Some((q, _)) if self.choice.choices.iter().any(|c| c.pick.pen() == Some(q)) => {
                format!(
                    "{} keeps closer to {} hue (used for another band here)",
                    self.pens[q].name,
                    self.models()
                )
            }
            Some((q, _)) => format!(
                "{} keeps closer to {} hue",
                self.pens[q].name,
                self.models()
            ),
            None => format!(
                "none of your pens is close; look for one near {}",
                Srgb8::from_lab(band)
            ),
        }
    }
}
