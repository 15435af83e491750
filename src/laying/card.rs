//! Colors for a card: every image gets its own in its own art, upright, and takes them along to where it lies.
//!
//! Laid upright, a photo fits however the image is turned, and a form is whole where something hides a part of it; the
//! lamp is turned the other way instead. Images of one art, one source and one turn share what is laid.

use rayon::prelude::*;

use crate::art::{Cells, Lines};
use crate::card::{Card, Image, middle, sampled};
use crate::error::{Error, Result};
use crate::frame::Frame;
use crate::grid::Grid;
use crate::job::{Direction, LayingChoices, Part, Sources};
use crate::pens::Pen;
use crate::reference::Reference;

use super::{Laid, Seen, lay_references};

/// An image's colors in its art's frame.
struct Own {
    laid: Laid,
    /// Cells of the art that stay bare, by number.
    bare: Vec<bool>,
}

/// What decides an image's colors.
#[derive(PartialEq)]
struct Key<'a> {
    art: usize,
    sources: &'a Sources,
    light: Direction,
}

/// Lays what the job says of the whole panel (`parts` are its photos), and over it what every image has of its own.
///
/// # Errors
/// As [`lay_references`]; what is wrong with an image's tables is told with its name.
pub fn lay_card(
    choices: &LayingChoices,
    parts: &[Part],
    photos: &[Seen],
    card: &Card,
    (cells, lines): (&Cells, &Lines),
    pens: &[Pen],
    frame: Frame,
) -> Result<Laid> {
    let mut keys: Vec<(Key, &str)> = Vec::new();
    let key_of: Vec<Option<usize>> = card
        .images
        .iter()
        .map(|image| {
            let sources = &choices.images[image.entry];
            if sources.is_none() {
                return None;
            }
            // No lamp shines on what only photos color: however an image lies turned, they are laid once.
            let lit = sources.parts.iter().any(|part| part.photo.is_none());
            let light = match lit {
                true => lamp_for(image, choices.light),
                false => choices.light,
            };
            let key = Key {
                art: image.art,
                sources,
                light,
            };
            Some(keys.iter().position(|(k, _)| *k == key).unwrap_or_else(|| {
                keys.push((key, &image.name));
                keys.len() - 1
            }))
        })
        .collect();
    let own: Vec<Result<Own>> = keys
        .par_iter()
        .map(|(key, name)| lay_own(key, choices, photos, card, pens).map_err(|e| e.about(name)))
        .collect();
    let own = own.into_iter().collect::<Result<Vec<_>>>()?;

    // What the job says of the whole panel, for images without colors of their own.
    let nothing = parts.is_empty() && choices.parts.is_empty() && choices.background_pen.is_none();
    let mut laid = if nothing {
        let (width, height) = (frame.width, frame.height);
        Laid {
            reference: Reference {
                picture: Grid::filled(width, height, [255; 3]),
                subject: Grid::filled(width, height, false),
                evidence: Grid::filled(width, height, 0),
                around: Grid::filled(width, height, false),
            },
            lit_part_of_cell: Vec::new(),
            pen_of_cell: Vec::new(),
            without_source: (1..=cells.count as u16).collect(),
            meant_bare: Vec::new(),
            alignments: Vec::new(),
            warnings: Vec::new(),
        }
    } else {
        lay_references(choices, parts, photos, Some((cells, lines)), pens, frame)?
    };
    paint(&mut laid.reference, card, &key_of, &own);
    give_cells(&mut laid, card, cells, &key_of, &own, choices);
    for Own { laid: own, .. } in own {
        for alignment in own.alignments {
            if !laid.alignments.contains(&alignment) {
                laid.alignments.push(alignment);
            }
        }
        for warning in own.warnings {
            if !laid.warnings.contains(&warning) {
                laid.warnings.push(warning);
            }
        }
    }
    laid.warnings.extend(card.warnings.iter().cloned());
    Ok(laid)
}

/// Where the light comes from as an image sees it that lies turned, or is glued so.
fn lamp_for(image: &Image, light: Direction) -> Direction {
    let lies = image.glued.unwrap_or(image.to_frame);
    let [a, b, c, d, ..] = lies.as_coeffs();
    let turn = b.atan2(a).to_degrees();
    let degrees = if a * d - b * c < 0.0 {
        // Mirrored first: its own left side lies to the right, and the turn is that of the mirrored axis.
        let turn = (-b).atan2(-a).to_degrees();
        turn - light.degrees
    } else {
        light.degrees - turn
    };
    // To a thousandth, so that equal turns are equal whatever they were reckoned from.
    Direction {
        degrees: (degrees.rem_euclid(360.0) * 1000.0).round() / 1000.0,
    }
}

fn lay_own(
    key: &Key,
    choices: &LayingChoices,
    photos: &[Seen],
    card: &Card,
    pens: &[Pen],
) -> Result<Own> {
    let art = &card.arts[key.art];
    let own = LayingChoices {
        photos: key.sources.photos.clone(),
        parts: key.sources.parts.clone(),
        light: key.light,
        images: Vec::new(),
        background_pen: None,
        ..choices.clone()
    };
    let drawing = Some((&art.cells, &art.lines));
    let laid = lay_references(&own, &own.photos, photos, drawing, pens, art.frame)?;
    let mut bare = vec![false; art.cells.count + 1];
    for &[x, y] in &key.sources.bare {
        let cell = art.cells.cell_at([x, y], art.frame.mm_per_px).ok_or_else(|| {
            Error::new(
                format!("the point [{x}, {y}] of bare_cells lies in no cell of the art"),
                "Give a point inside the cell, in millimeters from the top left of the art as it lies upright; \
                 penstrata cells lists them.",
            )
        })?;
        bare[usize::from(cell)] = true;
    }
    Ok(Own { laid, bare })
}

/// Every pixel that an image with colors of its own covers.
fn paint(reference: &mut Reference, card: &Card, key_of: &[Option<usize>], own: &[Own]) {
    let width = card.owner.width;
    let back: Vec<_> = card.images.iter().map(|i| i.to_frame.inverse()).collect();
    let Reference {
        picture,
        subject,
        evidence,
        // Around a stamp lies the panel.
        around: _,
    } = reference;
    picture
        .data
        .par_chunks_mut(width)
        .zip(subject.data.par_chunks_mut(width))
        .zip(evidence.data.par_chunks_mut(width))
        .enumerate()
        .for_each(|(y, ((picture, subject), evidence))| {
            for x in 0..width {
                let Some(k) = usize::from(card.owner.at(x, y)).checked_sub(1) else {
                    continue;
                };
                let Some(key) = key_of[k] else { continue };
                let Reference {
                    picture: shown,
                    subject: seen,
                    evidence: sure,
                    around: _,
                } = &own[key].laid.reference;
                let at = back[k] * middle(x, y);
                subject[x] = sampled(seen, at).unwrap_or(false);
                evidence[x] = sampled(sure, at).unwrap_or(0);
                if let Some(color) = sampled(shown, at) {
                    picture[x] = color;
                }
            }
        });
}

/// Which lit part every cell belongs to, which have no source, and which stay bare.
fn give_cells(
    laid: &mut Laid,
    card: &Card,
    cells: &Cells,
    key_of: &[Option<usize>],
    own: &[Own],
    choices: &LayingChoices,
) {
    // Lit parts of the whole panel come first, then those of every kin.
    let panel = laid.lit_part_of_cell.iter().flatten().max();
    let mut first = panel.map_or(0, |last| last + 1);
    let starts: Vec<usize> = choices
        .images
        .iter()
        .map(|sources| {
            let start = first;
            first += sources.parts.len();
            start
        })
        .collect();
    laid.lit_part_of_cell.resize(cells.count + 1, None);
    laid.pen_of_cell.resize(cells.count + 1, None);
    for cell in 1..=cells.count {
        let number = cell as u16;
        let shown = card.sources[cell];
        let owner = shown
            .map(|(k, _)| k)
            .and_then(|k| key_of[k].map(|key| (k, key)));
        let (Some((k, key)), Some((_, art_cell))) = (owner, shown) else {
            // A cell of an image with colors that is no cell of its art lies between its lines.
            continue;
        };
        laid.without_source.retain(|&c| c != number);
        let Own { laid: mine, bare } = &own[key];
        let kin = choices.images[card.images[k].entry].kin;
        let part = mine
            .lit_part_of_cell
            .get(usize::from(art_cell))
            .copied()
            .flatten();
        laid.lit_part_of_cell[cell] = part.map(|part| starts[kin] + part);
        laid.pen_of_cell[cell] = mine
            .pen_of_cell
            .get(usize::from(art_cell))
            .cloned()
            .flatten();
        if bare[usize::from(art_cell)] {
            laid.meant_bare.push(number);
        } else if mine.without_source.contains(&art_cell) {
            laid.without_source.push(number);
        }
    }
    // Slivers that are no cell of their art are nobody's to color; what lies around the stamps is the background.
    let outside = cells.outside_cells();
    let sliver =
        |cell: u16| card.sources[usize::from(cell)].is_none() && !outside[usize::from(cell)];
    laid.meant_bare
        .extend(laid.without_source.iter().copied().filter(|&c| sliver(c)));
    laid.without_source.retain(|&c| !sliver(c));
    if laid.lit_part_of_cell.iter().all(Option::is_none) {
        laid.lit_part_of_cell.clear();
    }
}
