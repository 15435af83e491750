//! The card told as data and in words: what lies where, and in which order it is stamped, masked, cut and glued.

use std::collections::BTreeSet;

use crate::job::{CardChoices, Lies};
use crate::plan;

use super::{Card, Image, Step, order};

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
        finishing: finishing(card),
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
        (0, _) => "panel".to_owned(),
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

fn stamping(
    card: &Card,
    choices: &CardChoices,
    steps: &[Step],
    stamp_rest_s: u32,
) -> Vec<plan::CardStep> {
    let mut told = Vec::new();
    let mut say = |say: String, rest_s: u32| told.push(plan::CardStep { say, rest_s });
    let name = |image: usize| card.images[image].name.as_str();
    let rest = choices.panel.mask_rest.seconds();
    let masking = steps.iter().any(|s| matches!(s, Step::Lay { .. }));
    if masking {
        say(
            "Cut the masks out of masks.pdf: mind the blade, cut away from your hand and on a mat."
                .to_owned(),
            0,
        );
    }
    let mut wet = BTreeSet::new();
    let mut stamped = BTreeSet::new();
    for step in steps {
        match *step {
            Step::Stamp(image) => {
                let front = card
                    .hides
                    .iter()
                    .filter(|(f, b)| *b == image && stamped.contains(f));
                let front: Vec<&str> = front.map(|(f, _)| name(*f)).collect();
                let behind = if front.is_empty() {
                    String::new()
                } else {
                    format!(", behind {}", and(&front))
                };
                say(
                    format!(
                        "Stamp {}{behind}{}.",
                        name(image),
                        lies(choices, card, image)
                    ),
                    0,
                );
                wet.insert(image);
                stamped.insert(image);
            }
            Step::Lay { mask, image } => {
                if wet.contains(&image) {
                    say(
                        format!("Let {} dry before a mask touches it.", name(image)),
                        rest,
                    );
                    wet.clear();
                }
                say(
                    format!(
                        "Lay mask {} on {}, its edge just inside the stamped line all around.",
                        mask_name(mask),
                        name(image)
                    ),
                    0,
                );
            }
            Step::Lift { mask, .. } => say(
                format!(
                    "Lift mask {} straight up: its edge carries wet ink.",
                    mask_name(mask)
                ),
                0,
            ),
        }
    }
    let pieces: Vec<&str> = card
        .images
        .iter()
        .filter(|i| i.cut.is_some())
        .map(|i| i.name.as_str())
        .collect();
    if !pieces.is_empty() {
        say(
            format!(
                "Stamp {} on their own card, as layout.pdf shows.",
                and(&pieces)
            ),
            0,
        );
    }
    if stamp_rest_s > 0 {
        say(
            "Let all stamped ink dry before the first pen touches it.".to_owned(),
            stamp_rest_s,
        );
    }
    told
}

/// Where a stamp lies, in words.
fn lies(choices: &CardChoices, card: &Card, image: usize) -> String {
    let chosen = &choices.images[card.images[image].entry];
    let Lies::Panel { at, .. } = &chosen.lies else {
        return String::new();
    };
    let mirrored = if chosen.mirror { ", mirrored" } else { "" };
    let turn = (chosen.turn + 180.0).rem_euclid(360.0) - 180.0;
    let turned = match turn {
        t if t.abs() < 0.05 => String::new(),
        t if t > 0.0 => format!(", turned {t:.0}° clockwise"),
        t => format!(", turned {:.0}° counterclockwise", -t),
    };
    format!(
        ": its middle {:.0} mm from the left and {:.0} mm from the top{mirrored}{turned}",
        at[0], at[1]
    )
}

fn finishing(card: &Card) -> Vec<plan::CardStep> {
    let pieces: Vec<&Image> = card.images.iter().filter(|i| i.cut.is_some()).collect();
    let mut told = Vec::new();
    if pieces.is_empty() {
        return told;
    }
    let mut say = |say: String| told.push(plan::CardStep { say, rest_s: 0 });
    let names: Vec<&str> = pieces.iter().map(|p| p.name.as_str()).collect();
    say(format!(
        "Cut out {} along the red line: mind scissors and blades, turn the paper rather than your hand.",
        and(&names)
    ));
    for piece in &pieces {
        let Some(glued) = piece.glued else { continue };
        let [w, h] = card.arts[piece.art].frame.size_mm;
        let at = glued * kurbo::Point::new(w / 2.0, h / 2.0);
        say(format!(
            "Glue {} on, flat or on foam: its middle {:.0} mm from the left and {:.0} mm from the top of the panel.",
            piece.name, at.x, at.y
        ));
    }
    told
}

/// "a, b and c".
fn and(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

fn round2(v: f64) -> f64 {
    (v * 100.0).round() / 100.0
}
