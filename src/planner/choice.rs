//! The field that is left of the bands, and the pens chosen for it.

use crate::choosing::{self, Draft, PenChoice};
use crate::error::Result;
use crate::job::PenChoices;
use crate::pens::Pen;
use crate::sections::{Band, Rules, Sections};
use crate::stages::{self, Field, Shape, Tones};

use super::kept::{Kept, Same};

type FromShape = (
    Same<Tones>,
    Same<Shape>,
    Same<Sections>,
    Same<Sections>,
    Vec<Band>,
    Rules,
);
type FromDraft = (Same<Draft>, Same<Field>, Same<Vec<Pen>>, PenChoices);
type FromChosen = (Same<Draft>, Same<PenChoice>, Same<Field>, Same<Field>);

/// What pens are chosen from.
pub struct ToChoose<'a> {
    pub tones: &'a Same<Tones>,
    pub shape: &'a Same<Shape>,
    pub draft: &'a Same<Draft>,
    pub pens: &'a Same<Vec<Pen>>,
    pub rules: Rules,
    pub wanted: PenChoices,
    /// The sections as they were found, and as a hand cut and merged them.
    pub found: &'a Same<Sections>,
    pub edited: &'a Same<Sections>,
}

/// Fields with their pens: for the sections as they were found, and after cuts and merges by hand.
#[derive(Default)]
pub struct ChoiceKept {
    field: Kept<FromShape, Field>,
    choice: Kept<FromDraft, PenChoice>,
    edited_field: Kept<FromShape, Field>,
    edited_choice: Kept<FromChosen, PenChoice>,
}

impl ChoiceKept {
    /// Pens are chosen for the sections as they were found: what a hand merges changes no other pen.
    ///
    /// # Errors
    /// None of its own.
    pub fn choose(&mut self, from: ToChoose) -> Result<(Same<Field>, Same<PenChoice>)> {
        let ToChoose {
            tones,
            shape,
            draft,
            pens,
            rules,
            wanted,
            found,
            edited,
        } = from;
        let of = |sections: &Same<Sections>| {
            let (tones, shape, found) = (tones.clone(), shape.clone(), found.clone());
            let bands = draft.bands.clone();
            (tones, shape, found, sections.clone(), bands, rules)
        };
        let settle = |(tones, shape, found, edited, bands, rules): &FromShape| {
            Ok(stages::settle(tones, shape, found, edited, bands, *rules))
        };
        let field = self.field.made_or_same(of(found), settle)?;
        let from = (draft.clone(), field.clone(), pens.clone(), wanted);
        let choice = self.choice.made(from, |(draft, field, pens, wanted)| {
            Ok(choosing::choose_pens(draft, field, pens, wanted))
        })?;
        if edited == found {
            return Ok((field, choice));
        }
        let left = self.edited_field.made_or_same(of(edited), settle)?;
        let from = (draft.clone(), choice, field, left.clone());
        let choice = self
            .edited_choice
            .made(from, |(draft, choice, found, left)| {
                Ok(choosing::left_of(draft, choice, found, left))
            })?;
        Ok((left, choice))
    }
}
