//! Pens that were measured before, as what tells of the camera: where the printer's grays leave open how contrasty
//! everything is, and say nothing of how the camera mixes colors, ink of a known color does.

use crate::color::{Srgb8, chroma};

use super::boxes::{APART, middle_of};
use super::curve::decode;
use super::layout::Place;
use super::model::{Of, Sight};
use super::value::Value;
use super::view::{Code, PAPER_MM, Paper, Sample, View, middle_mean};

/// Values more uncertain than this, in CIEDE2000, tell nothing that the gray steps do not tell better; from memory.
const CERTAIN: f32 = 3.0;
/// Code values per unit of CIEDE2000, of grays: L* runs to 100 as code values run to 1, nearly alike.
const CODE: f64 = 0.01;
/// Of colors, by how much more for each unit of chroma, about (the weight of chroma in CIE94).
const PER_CHROMA: f64 = 0.045;

/// What is seen of boxes whose color is known on paper of the color `paper`.
///
/// Colors measured from one photo may all be off together, so that many tell no more than one of them does.
pub fn anchors(
    view: &View,
    known: impl Iterator<Item = (Place, Value)>,
    paper: Srgb8,
) -> Vec<Sight> {
    let certain: Vec<(Place, Value)> = known.filter(|(_, v)| v.uncertainty <= CERTAIN).collect();
    let together = (certain.len() as f64).sqrt();
    let seen = |&(place, value): &(Place, Value)| {
        let [x, y, w, h] = place;
        let seen = Sample {
            at: [x + w / 2.0, y + h / 2.0],
            code: middle_mean(&view.over(middle_of(place))),
        };
        let beside = Paper::fit(&view.around(place, PAPER_MM)).at(seen.at);
        anchor(seen, beside, value, paper, together)
    };
    certain.iter().flat_map(seen).collect()
}

/// What is `seen` of ink whose color is known to be `value` on the paper `beside` it, which is `paper`; its error counts
/// `together` times.
pub fn anchor(seen: Sample, beside: Code, value: Value, paper: Srgb8, together: f64) -> Vec<Sight> {
    // Left empty, as it seems.
    if (0..3).all(|c| beside[c] - seen.code[c] < APART) {
        return Vec::new();
    }
    let light = |v: u8| decode(f64::from(v) / 255.0);
    let part = [0, 1, 2].map(|c| light(value.color.0[c]) / light(paper.0[c]).max(1e-4));
    // Half of what 19 of 20 are nearer than is a standard deviation.
    let one = f64::from(value.uncertainty) / 2.0;
    let error = CODE * one * (1.0 + PER_CHROMA * f64::from(chroma(value.color.lab())));
    let sight = |channel: usize| Sight {
        at: seen.at,
        channel,
        seen: seen.code[channel],
        of: Of::Anchor {
            part,
            error: error * together,
            paper: beside[channel],
        },
    };
    (0..3).map(sight).collect()
}
