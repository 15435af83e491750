//! Passes: one pen's turn over all its sections, in the order of work.

use crate::pens::{Choice, Pen, Pick};

/// One pen's turn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pass {
    /// From 1; the number on the overlay.
    pub number: usize,
    /// Index of the pen.
    pub pen: usize,
    /// Indices of the bands it colors.
    pub bands: Vec<usize>,
}

/// The order of passes: light to dark, so that a darker pen covers the edge of a lighter one and no light pen drags
/// dark ink (common practice, no source). Bare bands have no pass.
pub fn order_passes(choices: &[Choice], pens: &[Pen]) -> Vec<Pass> {
    let mut by_pen: Vec<(usize, Vec<usize>)> = Vec::new();
    for (band, choice) in choices.iter().enumerate() {
        if let Pick::Pen(pen) = choice.pick {
            match by_pen.iter_mut().find(|(p, _)| *p == pen) {
                Some((_, bands)) => bands.push(band),
                None => by_pen.push((pen, vec![band])),
            }
        }
    }
    let lightness = |pen: usize| pens[pen].color.lab().l;
    by_pen.sort_by(|a, b| {
        lightness(b.0)
            .total_cmp(&lightness(a.0))
            .then(pens[a.0].name.cmp(&pens[b.0].name))
    });
    by_pen
        .into_iter()
        .enumerate()
        .map(|(i, (pen, bands))| Pass {
            number: i + 1,
            pen,
            bands,
        })
        .collect()
}

/// The number of a band on the overlay; 0 if it is left bare.
pub fn number_of(passes: &[Pass], band: usize) -> usize {
    passes
        .iter()
        .find(|p| p.bands.contains(&band))
        .map_or(0, |p| p.number)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::Srgb8;
    use crate::pens::Condition;

    #[test]
    fn light_pens_come_first_and_bare_bands_have_no_pass() {
        let pens: Vec<Pen> = [("Ink", 20), ("Mist", 220), ("Stone", 120)]
            .map(|(name, v)| Pen {
                name: name.into(),
                color: Srgb8::new(v, v, v),
                refill: true,
                condition: Condition::Good,
                note: String::new(),
            })
            .into();
        let picks = [Pick::Paper, Pick::Pen(0), Pick::Pen(1)];
        let choices = picks.map(|pick| Choice {
            pick,
            runner_ups: vec![],
        });
        let passes = order_passes(&choices, &pens);
        let order: Vec<_> = passes.iter().map(|p| (p.number, p.pen)).collect();
        assert_eq!(order, [(1, 1), (2, 0)]);
    }
}
