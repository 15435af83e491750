//! The card told as data and in words: what lies where, and in which order it is stamped, masked, cut and glued.

use std::collections::BTreeSet;

use crate::job::{CardChoices, Lies};
use crate::length::round2;
use crate::plan::{self, Does};

use super::{Card, Image, Step, order};

/// How a mirrored image comes onto the card. Common practice, no source.
const MIRRORED: &str =
    "stamp it onto a smooth sheet of plastic, and press that onto the card at once";

/// What `plan.json` holds of a card. `stamp_rest_s` is how long stamped ink rests before the first pen.
pub fn told(card: &Card, choices: &CardChoices, stamp_rest_s: u32) -> plan::Card {
    let stamps = card.images.iter().filter(|i| i.cut.is_none()).count();
    let shape = mask_shapes(card, choices);
    let found = order(stamps, &card.hides, &shape[..stamps]);
    let mut masks: Vec<plan::Mask> = found
        .masks
        .iter()
        .enumerate()
        .map(|(m, _)| plan::Mask {
            name: mask_name(m),
            images: Vec::new(),
        })
        .collect();
    for step in &found.steps {
        if let Step::Lay { mask, image } = *step {
            masks[mask].images.push(image);
        }
    }
    plan::Card {
        grounds: grounds(card),
        images: card
            .images
            .iter()
            .map(|i| image(i, card, choices))
            .collect(),
        stamping: stamping(card, choices, &found.steps, stamp_rest_s),
        finishing: finishing(card, choices),
        masks,
        fewest_masks: found.exact,
    }
}

/// Letters, then letters with a number: A to Z, A2 ...
fn mask_name(m: usize) -> String {
    let letter = char::from(b'A' + (m % 26) as u8);
    match m / 26 {
        0 => letter.to_string(),
        round => format!("{letter}{}", round + 1),
    }
}

/// Images of one art, one width and one side up need masks of one shape.
fn mask_shapes(card: &Card, choices: &CardChoices) -> Vec<usize> {
    let mut known: Vec<(usize, bool)> = Vec::new();
    card.images
        .iter()
        .map(|i| {
            let key = (i.art, choices.images[i.entry].mirror);
            known.iter().position(|k| *k == key).unwrap_or_else(|| {
                known.push(key);
                known.len() - 1
            })
        })
        .collect()
}

fn grounds(card: &Card) -> Vec<plan::Ground> {
    let sheets = card.grounds.len() - 1;
    let name = |g: usize| match (g, sheets) {
        (0, _) => plan::Ground::PANEL.to_owned(),
        (_, 1) => "pieces".to_owned(),
        (g, _) => format!("pieces {g}"),
    };
    let rect = |r: kurbo::Rect| [r.x0, r.y0, r.width(), r.height()].map(round2);
    let all = card.grounds.iter().enumerate();
    all.map(|(g, ground)| plan::Ground {
        name: name(g),
        rect_mm: rect(ground.rect),
    })
    .collect()
}

fn image(image: &Image, card: &Card, choices: &CardChoices) -> plan::Image {
    let size_mm = card.arts[image.art].frame.size_mm;
    let middle = kurbo::Point::new(size_mm[0] / 2.0, size_mm[1] / 2.0);
    let point = |a: kurbo::Affine| {
        let p = a * middle;
        [p.x, p.y].map(round2)
    };
    let chosen = &choices.images[image.entry];
    let art = chosen.art.file_name().unwrap_or_default();
    plan::Image {
        name: image.name.clone(),
        art: art.to_string_lossy().into_owned(),
        width_mm: chosen.width.mm(),
        piece: image.cut.is_some(),
        ground: image.ground,
        at_mm: point(image.to_frame),
        turn: chosen.turn,
        mirror: chosen.mirror,
        glued_mm: image.glued.map(point),
    }
}

/// What is done before the first pen.
fn stamping(
    card: &Card,
    choices: &CardChoices,
    steps: &[Step],
    stamp_rest_s: u32,
) -> Vec<plan::CardStep> {
    let mut telling = Telling {
        card,
        choices,
        told: Vec::new(),
        wet: BTreeSet::new(),
        stamped: BTreeSet::new(),
    };
    if steps.iter().any(|s| matches!(s, Step::Lay { .. })) {
        let how =
            "Cut the masks out of masks.pdf: mind the blade, cut away from your hand and on a mat.";
        telling.say(Does::CutMasks, Vec::new(), how);
    }
    // Pieces first: they dry while the panel is stamped.
    telling.stamp_pieces();
    for step in steps {
        match *step {
            Step::Stamp(image) if card.hidden[image] => {}
            Step::Stamp(image) => telling.stamp(image),
            Step::Lay { mask, image } => telling.lay(mask, image),
            Step::Lift { mask, image } => telling.say(
                Does::LiftMask,
                vec![image],
                format!(
                    "Lift mask {} straight up: its edge carries wet ink.",
                    mask_name(mask)
                ),
            ),
        }
    }
    if stamp_rest_s > 0 {
        let all = "Let all stamped ink dry before the first pen touches it.";
        telling.rest(Vec::new(), all, stamp_rest_s);
    }
    telling.told
}

/// Steps as they are told one after the other.
struct Telling<'a> {
    card: &'a Card,
    choices: &'a CardChoices,
    told: Vec<plan::CardStep>,
    /// Stamps whose ink has not rested yet.
    wet: BTreeSet<usize>,
    stamped: BTreeSet<usize>,
}

impl Telling<'_> {
    fn say(&mut self, does: Does, images: Vec<usize>, say: impl Into<String>) {
        self.told.push(plan::CardStep {
            say: say.into(),
            rest_s: 0,
            does,
            images,
        });
    }

    fn rest(&mut self, images: Vec<usize>, say: impl Into<String>, rest_s: u32) {
        self.say(Does::Rest, images, say);
        if let Some(step) = self.told.last_mut() {
            step.rest_s = rest_s;
        }
    }

    fn name(&self, image: usize) -> &str {
        &self.card.images[image].name
    }

    fn stamp_pieces(&mut self) {
        let images = self.card.images.iter().enumerate();
        let pieces: Vec<usize> = images
            .filter(|(_, i)| i.cut.is_some())
            .map(|(k, _)| k)
            .collect();
        if pieces.is_empty() {
            return;
        }
        let names = counted(self.card, self.choices, &pieces);
        let mirrored = |&p: &usize| self.choices.images[self.card.images[p].entry].mirror;
        let how = if pieces.iter().any(mirrored) {
            format!(" What is mirrored there: {MIRRORED}.")
        } else {
            String::new()
        };
        let say = format!(
            "Stamp {names} on card of {} own, as layout.pdf shows.{how}",
            if pieces.len() == 1 { "its" } else { "their" }
        );
        self.say(Does::Stamp, pieces, say);
    }

    fn stamp(&mut self, image: usize) {
        let front = self.card.hides.iter();
        let front: Vec<&str> = front
            .filter(|(f, b)| *b == image && self.stamped.contains(f))
            .map(|(f, _)| self.name(*f))
            .collect();
        let behind = if front.is_empty() {
            String::new()
        } else {
            format!(", behind {}", and(&front))
        };
        let say = format!(
            "Stamp {}{behind}: {}.",
            self.name(image),
            lies(self.choices, self.card, image)
        );
        self.say(Does::Stamp, vec![image], say);
        self.wet.insert(image);
        self.stamped.insert(image);
    }

    fn lay(&mut self, mask: usize, image: usize) {
        if self.wet.contains(&image) {
            let say = format!("Let {} dry before a mask touches it.", self.name(image));
            let rest_s = self.choices.panel.mask_rest.seconds();
            self.rest(vec![image], say, rest_s);
            self.wet.clear();
        }
        let say = format!(
            "Lay mask {} on {}, its edge just inside the stamped line all around.",
            mask_name(mask),
            self.name(image)
        );
        self.say(Does::LayMask, vec![image], say);
    }
}

/// Where a stamp lies, in words.
fn lies(choices: &CardChoices, card: &Card, image: usize) -> String {
    let chosen = &choices.images[card.images[image].entry];
    let Lies::Panel { at, .. } = &chosen.lies else {
        return String::new();
    };
    let turn = (chosen.turn + 180.0).rem_euclid(360.0) - 180.0;
    let turned = match turn {
        t if t.abs() < 0.05 => String::new(),
        t if t > 0.0 => format!(", turned {t:.0}° clockwise"),
        t => format!(", turned {:.0}° counterclockwise", -t),
    };
    let mirrored = if chosen.mirror {
        format!(", mirrored: {MIRRORED}")
    } else {
        String::new()
    };
    format!(
        "its middle {:.0} mm from the left and {:.0} mm from the top{turned}{mirrored}",
        at[0], at[1]
    )
}

/// What is done after the last pen.
fn finishing(card: &Card, choices: &CardChoices) -> Vec<plan::CardStep> {
    let pieces: Vec<usize> = (0..card.images.len())
        .filter(|&k| card.images[k].cut.is_some())
        .collect();
    let mut told = Vec::new();
    if pieces.is_empty() {
        return told;
    }
    let mut say = |does, images, say: String| {
        told.push(plan::CardStep {
            say,
            rest_s: 0,
            does,
            images,
        });
    };
    let how = format!(
        "Cut out {} along the red line: mind scissors and blades, turn the paper rather than your hand.",
        counted(card, choices, &pieces)
    );
    say(Does::CutOut, pieces.clone(), how);
    for p in pieces {
        let piece = &card.images[p];
        let Some(glued) = piece.glued else { continue };
        let [w, h] = card.arts[piece.art].frame.size_mm;
        let at = glued * kurbo::Point::new(w / 2.0, h / 2.0);
        let how = format!(
            "Glue {} on, flat or on foam, over its dashed line on the overlay: its middle {:.0} mm from the left and \
             {:.0} mm from the top of the panel.",
            piece.name, at.x, at.y
        );
        say(Does::Glue, vec![p], how);
    }
    told
}

/// Pieces by their entries, in their order: "a, 12 of b and c".
fn counted(card: &Card, choices: &CardChoices, pieces: &[usize]) -> String {
    let entries = pieces.chunk_by(|&p, &q| card.images[p].entry == card.images[q].entry);
    let names: Vec<String> = entries
        .map(|same| match same {
            [one] => card.images[*one].name.clone(),
            [first, ..] => {
                let name = &choices.images[card.images[*first].entry].name;
                format!("{} of {name}", same.len())
            }
            [] => String::new(),
        })
        .collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    and(&names)
}

/// "a, b and c".
fn and(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
