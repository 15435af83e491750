//! The plan as data: what `plan.json` holds. The schema is documented here; its version changes whenever a reader
//! could misunderstand a file.

use std::fmt::Write;

use serde::{Deserialize, Serialize};

use crate::accents::Suggestions;
use crate::color::Srgb8;
use crate::files::fnv1a;
use crate::job::Job;
pub use crate::passes::Turn;
use crate::pens::Pen;

/// Marks a `plan.json` as ours.
pub const SCHEMA: &str = "penstrata-plan";
pub const SCHEMA_VERSION: u32 = 3;

/// One plan. Lengths are millimeters on the panel, from the top left of the art; areas square millimeters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Always [`SCHEMA`].
    pub schema: String,
    pub schema_version: u32,
    /// The whole job as understood; paths are relative to the plan's folder, so that `penstrata plan plan.json` runs
    /// it again.
    pub job: Job,
    /// Millimeters per pixel of `sections.png` and of the pictures in `steps/`.
    pub mm_per_px: f64,
    pub nib_mm: f64,
    /// Width and height of the art.
    pub size_mm: [f64; 2],
    /// How each photo lies on the drawing.
    #[serde(default)]
    pub alignment: Vec<LaidPhoto>,
    pub groups: Vec<Group>,
    pub bands: Vec<Band>,
    /// In the order of their ids.
    pub sections: Vec<Section>,
    /// The key, in the order in which the pens are first picked up; bare paper last.
    pub numbers: Vec<Number>,
    /// Pens that would do for the outside, best first; only where the job asks for them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub backdrops: Vec<Backdrop>,
    /// When to color what.
    #[serde(default)]
    pub schedule: Schedule,
    /// Stamps, masks and pieces, where the job has them. Lengths of everything else are then those of the frame in which
    /// panel and pieces lie side by side.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub card: Option<Card>,
    /// The variant that this is the plan of; the job is that of all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub variant: Option<String>,
    /// Things owned that go with it; only where the job has a table of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accents: Option<Suggestions>,
    /// The variants of this plan.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub variants: Vec<Variant>,
    /// Where outlines of the drawing are open; only where some are.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub open_outlines: Vec<OpenOutline>,
    pub figures: Figures,
    pub warnings: Vec<String>,
    /// Every file of the plan's folder, as paths inside it.
    pub files: Vec<String>,
}

/// A place where a drawn line breaks off by more than the gap that is closed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OpenOutline {
    /// Where the line breaks off and where it goes on, in millimeters from the top left.
    pub from_mm: [f64; 2],
    pub to_mm: [f64; 2],
    pub width_mm: f64,
    /// What lies within is taken as outside; else two cells are one.
    pub to_outside: bool,
    /// The `gap` of a job that closes it; left out if none does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gap_mm: Option<f64>,
}

/// The same sections with other pens.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Variant {
    pub name: String,
    /// Its folder inside the plan's; `null` if the pens cannot serve it.
    pub folder: Option<String>,
    /// Why the pens cannot serve it, and which pen would help.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unserved: Option<String>,
}

/// A card of stamps and pieces.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Card {
    /// The panel, then the sheets that pieces are stamped on.
    pub grounds: Vec<Ground>,
    /// Stamps in the order of the job, then pieces.
    pub images: Vec<Image>,
    /// What is done before the first pen, in order.
    pub stamping: Vec<CardStep>,
    /// What is done after the last.
    pub finishing: Vec<CardStep>,
    pub masks: Vec<Mask>,
    /// No order of stamping needs fewer masks.
    pub fewest_masks: bool,
}

/// A sheet of card in the frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ground {
    pub name: String,
    /// Left, top, width and height in the frame.
    pub rect_mm: [f64; 4],
}

impl Ground {
    /// What the panel is called.
    pub const PANEL: &str = "panel";

    /// Pieces lie on the others.
    pub fn is_panel(&self) -> bool {
        self.name == Self::PANEL
    }
}

/// One art as it is stamped once.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Image {
    pub name: String,
    /// The art's file name.
    pub art: String,
    /// Width of the whole art, upright.
    pub width_mm: f64,
    /// Stamped on card of its own, to be cut out.
    pub piece: bool,
    /// Index in `grounds`.
    pub ground: usize,
    /// Where its middle is stamped, in the frame.
    pub at_mm: [f64; 2],
    /// Degrees clockwise about its middle, as stamped on the panel or glued onto it.
    pub turn: f64,
    /// Mirrored left to right before it is turned.
    pub mirror: bool,
    /// Where the middle of a piece is glued, on the panel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub glued_mm: Option<[f64; 2]>,
}

/// Something to do, in words, and how long to wait after it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CardStep {
    pub say: String,
    /// Seconds.
    pub rest_s: u32,
    #[serde(default)]
    pub does: Does,
    /// What it is done to, as indices in `images`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub images: Vec<usize>,
}

/// What a step is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Does {
    CutMasks,
    #[default]
    Stamp,
    Rest,
    LayMask,
    LiftMask,
    CutOut,
    Glue,
}

/// A mask to cut out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mask {
    pub name: String,
    /// What it is laid on, one after the other, as indices in `images`.
    pub images: Vec<usize>,
}

/// How one photo lies.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LaidPhoto {
    /// The photo's file name.
    pub photo: String,
    /// In words: "its frame on the drawing's frame".
    pub told: String,
    /// Intersection over union of the photo's subject and the drawing's silhouette; `null` where no subject could be
    /// told, or the drawn lines lie on edges elsewhere.
    pub agreement: Option<f64>,
}

/// One hue group.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Group {
    /// Plain word for the hue, with the side it leans to where another group has the same.
    pub name: String,
    pub neutral: bool,
    /// Share of the colored area, 0 to 1.
    pub share: f32,
    /// Number of its bands in this plan.
    pub bands: usize,
    /// Mean CIEDE2000 between photo and bands if the group had 1, 2, 3 or 4 bands.
    pub mean_delta_e_by_bands: Vec<f32>,
}

/// One lightness step of one group.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Band {
    /// What the job calls it: the word for its group and its lightness (L*), such as "orange 65". It means the same
    /// whatever the number of bands.
    #[serde(default)]
    pub name: String,
    /// Why it has its pen, in words.
    #[serde(default)]
    pub why: String,
    /// Index in `groups`.
    pub group: usize,
    /// Mean CIE L*a*b* (D65) of its sections in the photo.
    pub lab: [f32; 3],
    pub area_mm2: f64,
    /// The pen's name, that of the last coat; `null` for bare paper.
    pub pen: Option<String>,
    /// The pen of the coat under it, if there are two: the same one for a second coat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub under: Option<String>,
    /// CIEDE2000 between the band and its finished color.
    pub delta_e: f32,
    /// The next best pens, at most two.
    pub runner_ups: Vec<RunnerUp>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RunnerUp {
    pub pen: String,
    pub delta_e: f32,
}

/// One connected piece of one band inside one cell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Section {
    /// Value in `sections.png` (0 there for sections left bare).
    pub id: u16,
    /// Number on the overlay: the coat that finishes it; 0 is left bare.
    pub number: usize,
    /// Index in `bands`.
    pub band: usize,
    pub pen: Option<String>,
    /// The person wants it so: it has a pen of its own, or is left bare, whatever its band gets.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub by_hand: bool,
    pub area_mm2: f64,
    /// Diameter of the largest inscribed circle.
    pub width_mm: f64,
    /// Middle of its number.
    pub label_mm: [f64; 2],
    /// Middle of its widest place: a point for `merge`, `bare` or a pen of its own.
    #[serde(default)]
    pub inside_mm: [f64; 2],
    /// The stamp or piece it is part of, as an index in the card's `images`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub image: Option<usize>,
    /// The piece that is glued over all of it, as an index in the card's `images`: it needs no coloring.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covered: Option<usize>,
}

/// What stands for a first coat that finishes no section, on every sheet.
const FIRST_COAT: char = '\u{25d0}';
/// The same for bare paper.
const BARE: char = '\u{25cb}';

/// One line of the key: one coat of one pen over all its sections.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Number {
    /// What stands on the sections that it finishes, from 1 in the order in which the pens are first picked up; 0 is
    /// bare paper. First coats that finish no section come behind the last of these, and no sheet shows theirs: see
    /// [`Number::mark`].
    pub number: usize,
    /// Sections that it finishes: those that bear the number.
    #[serde(default)]
    pub finished: usize,
    /// `null` for bare paper.
    pub pen: Option<Pen>,
    /// What is seen after this coat.
    pub color: Srgb8,
    /// The bands it finishes, as indices in `bands`; none where it is only for single sections.
    pub bands: Vec<usize>,
    /// The number of the first coat, if this is a second one; of the same pen or of another.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over: Option<usize>,
    /// Numbers of the second coats that lie on this one: their sections get this coat, too.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub under: Vec<usize>,
    /// Sections that get this coat, and their area.
    pub sections: usize,
    pub area_mm2: f64,
}

/// What one pen gives to the sections that get so many coats of it.
#[derive(Debug, Clone, PartialEq)]
pub struct InkUsed<'a> {
    pub pen: &'a Pen,
    pub coats: u32,
    pub area_mm2: f64,
}

/// A pen for the outside.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Backdrop {
    pub pen: String,
    pub color: Srgb8,
    /// How well the subject stands out, in CIEDE2000 along the silhouette, less for a loud or worn pen or a missing
    /// refill.
    pub score: f64,
    /// Mean difference along the silhouette in lightness (L*) and in hue (H*ab).
    pub lightness: f64,
    pub hue: f64,
    pub refill: bool,
    /// Area of the outside.
    pub area_mm2: f64,
}

/// The order of work. Times are seconds.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Schedule {
    /// Rest of the stamped ink before the first turn; 0 without stamped ink.
    pub stamp_rest_s: u32,
    /// Rest of a turn before what touches it.
    pub rest_s: u32,
    /// In the order of work.
    pub turns: Vec<Turn>,
    /// Time coloring, and waiting between turns.
    pub coloring_s: u32,
    pub waiting_s: u32,
    /// Time for all turns strictly from light to dark.
    pub light_to_dark_s: u32,
    /// No order is shorter.
    pub exact: bool,
}

impl Schedule {
    /// The wait before turn `k` as planned, in seconds.
    pub fn wait_s(&self, k: usize) -> u32 {
        let end = |turn: &Turn| turn.start_s + turn.work_s;
        let before = self.turns[..k].last().map_or(0, end);
        self.turns[k].start_s - before
    }

    /// The numbers whose ink is wet just across a drawn line when turn `k` begins as planned, each once, in order.
    pub fn wet_across(&self, k: usize) -> Vec<usize> {
        let turn = &self.turns[k];
        let beside = turn.beside.iter().map(|&other| &self.turns[other]);
        let mut numbers: Vec<usize> = beside
            .filter(|other| other.start_s + other.work_s + self.rest_s > turn.start_s)
            .map(|other| other.number)
            .collect();
        numbers.sort_unstable();
        numbers.dedup();
        numbers
    }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Figures {
    pub sections: usize,
    /// Length of all borders that have to be traced.
    pub trace_mm: f64,
    /// Narrowest section.
    pub narrowest_mm: f64,
    /// Mean CIEDE2000 between photo and finished panel.
    pub mean_delta_e: f32,
}

impl Plan {
    /// What stands on the overlay in a section that a glued piece covers.
    pub const COVERED: &'static str = "×";

    /// Tells this plan from another, in eight hexadecimal digits: what is colored with which pen, and when.
    pub fn id(&self) -> String {
        let whole = |v: f64| (v * 100.0).round() as i64;
        let mut told = format!("{:?}", self.size_mm.map(whole));
        for s in &self.sections {
            let at = s.inside_mm.map(whole);
            let _ = write!(told, " {} {} {} {at:?}", s.id, s.number, whole(s.area_mm2));
        }
        for n in &self.numbers {
            let pen = n.pen.as_ref().map(|p| p.name.as_str());
            let _ = write!(told, " {} {pen:?} {}", n.number, n.color);
        }
        for t in &self.schedule.turns {
            let _ = write!(told, " {} {:?}", t.number, t.sections);
        }
        let hash = fnv1a(told.as_bytes());
        format!("{:08x}", (hash >> 32) ^ (hash & 0xffff_ffff))
    }

    /// The line of the key with this number.
    pub fn number(&self, number: usize) -> Option<&Number> {
        self.numbers.iter().find(|n| n.number == number)
    }

    /// The ink that is used, by pen and coats, in the order of the key.
    pub fn ink_used(&self) -> Vec<InkUsed<'_>> {
        let mut used: Vec<InkUsed> = Vec::new();
        for number in &self.numbers {
            let Some(pen) = &number.pen else { continue };
            let under = number.over.and_then(|n| self.number(n)?.pen.as_ref());
            let finished: f64 = self
                .sections
                .iter()
                .filter(|s| s.number == number.number)
                .map(|s| s.area_mm2)
                .sum();
            let coats = match under {
                Some(under) if under.name == pen.name => vec![(pen, 2)],
                Some(under) => vec![(under, 1), (pen, 1)],
                None => vec![(pen, 1)],
            };
            for (pen, coats) in coats {
                match used
                    .iter_mut()
                    .find(|u| u.pen.name == pen.name && u.coats == coats)
                {
                    Some(same) => same.area_mm2 += finished,
                    None if finished > 0.0 => used.push(InkUsed {
                        pen,
                        coats,
                        area_mm2: finished,
                    }),
                    None => {}
                }
            }
        }
        used
    }

    /// How this number's coat lies with others, in words; `None` if it lies alone.
    pub fn coat_text(&self, number: &Number) -> Option<String> {
        if let Some(below) = number.over.and_then(|n| self.number(n)) {
            return Some(match (&below.pen, &number.pen) {
                (Some(first), Some(second)) if first.name != second.name => {
                    format!("second coat, over {}", first.name)
                }
                _ => "second coat".to_owned(),
            });
        }
        let above: Vec<String> = number.under.iter().map(usize::to_string).collect();
        let also = if number.is_first_coat() { "" } else { "also " };
        (!above.is_empty()).then(|| format!("{also}first coat of {}", listed(&above)))
    }

    /// The names of the bands that this number finishes, such as "orange 65", as a wish for a pen calls them.
    pub fn band_names(&self, number: &Number) -> Vec<&str> {
        number
            .bands
            .iter()
            .filter_map(|&b| Some(self.bands.get(b)?.name.as_str()))
            .collect()
    }
}

impl Number {
    /// A first coat that finishes no section.
    pub fn is_first_coat(&self) -> bool {
        self.number > 0 && self.finished == 0
    }

    /// What stands for it on every sheet: its number, a ring for bare paper, or the half disk of a first coat.
    pub fn mark(&self) -> String {
        if self.is_first_coat() {
            FIRST_COAT.to_string()
        } else {
            section_text(self.number, false)
        }
    }
}

/// What stands on a section of this number: a ring for bare paper, and the mark of the first coat before the number
/// where there are two coats.
pub fn section_text(number: usize, two_coats: bool) -> String {
    match number {
        0 => BARE.to_string(),
        n if two_coats => format!("{FIRST_COAT}{n}"),
        n => n.to_string(),
    }
}

/// "4", "4 and 7", "4, 7 and 9".
pub fn listed(things: &[String]) -> String {
    match things {
        [] => String::new(),
        [one] => one.clone(),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Test values of the FNV reference: the empty string and "a".
    #[test]
    fn the_hash_is_fnv_1a() {
        assert_eq!(fnv1a(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv1a(b"a"), 0xaf63_dc4c_8601_ec8c);
    }

    #[test]
    fn things_are_listed_as_they_are_said() {
        let of = |n: usize| listed(&["4", "7", "9"].map(str::to_owned)[..n]);
        assert_eq!([0, 1, 2, 3].map(of), ["", "4", "4 and 7", "4, 7 and 9"]);
    }

    #[test]
    fn a_section_of_two_coats_bears_the_mark_of_the_first() {
        assert_eq!(section_text(0, false), "○");
        assert_eq!(section_text(12, false), "12");
        assert_eq!(section_text(12, true), "◐12");
    }
}
