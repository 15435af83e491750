//! What a job wishes of pens, by their names, in terms of the pens there are.

use std::path::Path;

use crate::color::difference;
use crate::error::{Error, Result};
use crate::job::{PenChoices, PinnedPen};
use crate::naming::band_called;
use crate::pens::{Condition, Pen, Pick, Wishes};
use crate::sections::Band;

/// What the job wishes, for bands of these names and these pens.
///
/// # Errors
/// If a pen is missing, dry, or both forbidden and wished for, or one band is wished two.
pub fn wishes(wanted: &PenChoices, names: &[String], pens: &[Pen]) -> Result<Wishes> {
    let mut wishes = Wishes::none(names.len(), pens.len());
    wishes.no_refill_mm2 = (wanted.no_refill_cm2 * 100.0) as f32;
    wishes.most_pens = wanted.most_pens;
    wishes.two_coats = wanted.coats > 1;
    for name in &wanted.forbid {
        wishes.forbidden[pen_called(name, pens, &wanted.pens)?] = true;
    }
    for pin in &wanted.also {
        let pick = pick_of(pin, pens, &wanted.pens, &wanted.forbid)?;
        wishes.also.extend(pick.pens());
    }
    // Also what does not hold for these bands must be pens that can be had: it may hold for others.
    for pin in &wanted.pinned {
        pick_of(pin, pens, &wanted.pens, &wanted.forbid)?;
    }
    for (band, pin) in held(&wanted.pinned, names).hold {
        let pick = pick_of(pin, pens, &wanted.pens, &wanted.forbid)?;
        if wishes.pinned[band].is_some_and(|other| other != pick) {
            return Err(Error::new(
                format!(
                    "{} is wished for, but {} has another pen already",
                    pin.name, names[band]
                ),
                "Take one of the two out of [[pen]].",
            ));
        }
        wishes.pinned[band] = Some(pick);
    }
    Ok(wishes)
}

/// Wishes for bands, in terms of the bands there are.
pub struct Held<'a> {
    /// With the index of the band that each is for.
    pub hold: Vec<(usize, &'a PinnedPen)>,
    /// Those for bands that there are not, ...
    pub without_band: Vec<&'a PinnedPen>,
    /// ... and those for bands that are one with another here, which has a wish of its own.
    pub given_up: Vec<(usize, &'a PinnedPen)>,
}

/// Which wishes for bands hold where the bands are called `names`. A wish that calls its band by the very name goes
/// before one that means it by being near, and of those the last counts.
pub fn held<'a>(pinned: &'a [PinnedPen], names: &[String]) -> Held<'a> {
    let mut held = Held {
        hold: Vec::new(),
        without_band: Vec::new(),
        given_up: Vec::new(),
    };
    let exact = |band: usize, pin: &PinnedPen| pin.band.as_ref() == Some(&names[band]);
    for pin in pinned {
        let Some(band) = band_of(names, pin) else {
            held.without_band.push(pin);
            continue;
        };
        let same = |other: &PinnedPen| other.name == pin.name && other.under == pin.under;
        let before = held.hold.iter().position(|&(other, _)| other == band);
        match before.map(|k| (k, held.hold[k].1)) {
            Some((_, other)) if same(other) => {}
            Some((k, other)) if !exact(band, other) => {
                held.hold[k].1 = pin;
                held.given_up.push((band, other));
            }
            Some(_) if !exact(band, pin) => held.given_up.push((band, pin)),
            _ => held.hold.push((band, pin)),
        }
    }
    held
}

/// Farther from the pen than the nearest band by up to this, a band is about as near, in CIEDE2000; from memory.
const AS_NEAR: f32 = 3.0;

/// Gives the pen that is a group's middle tone to the band it comes nearest to, unless that has a wish of its own or the
/// pen cannot be had. Of bands that are about as near it is the lightest: a colorist lays the color first and shades it.
pub fn keep_middle_pens(
    wishes: &mut Wishes,
    middle_pens: &[(usize, String)],
    bands: &[Band],
    pens: &[Pen],
) {
    for (group, name) in middle_pens {
        let Some(pen) = pens.iter().position(|p| p.name == *name) else {
            continue;
        };
        let taken = wishes
            .pinned
            .iter()
            .chain(&wishes.given)
            .flatten()
            .any(|pick| pick.pens().any(|p| p == pen));
        if taken || wishes.forbidden[pen] || pens[pen].condition == Condition::Dry {
            continue;
        }
        let color = pens[pen].color.lab();
        let away = |b: usize| difference(bands[b].lab, color);
        let of_group = || (0..bands.len()).filter(|&b| bands[b].group == *group);
        let least = of_group().map(away).fold(f32::INFINITY, f32::min);
        let lightest = of_group()
            .filter(|&b| away(b) <= least + AS_NEAR)
            .max_by(|&a, &b| bands[a].lab.l.total_cmp(&bands[b].lab.l));
        if let Some(band) = lightest
            && wishes.pinned[band].is_none()
        {
            wishes.given[band] = Some(Pick::Pen(pen));
        }
    }
}

/// The band that a pen is wished for, if it is there.
pub fn band_of(names: &[String], pin: &PinnedPen) -> Option<usize> {
    band_called(names, pin.band.as_deref()?)
}

/// The pen of this name in the pens file `file`.
fn pen_called(name: &str, pens: &[Pen], file: &Path) -> Result<usize> {
    pens.iter().position(|p| p.name == name).ok_or_else(|| {
        Error::file(
            file,
            format!("lists no pen \"{name}\""),
            match named_like(name, pens) {
                None => "Write the pen's name exactly as in the pens file.".to_owned(),
                Some(pen) => format!("Write the name as in the pens file (\"{pen}\", perhaps)."),
            },
        )
    })
}

/// The first pen whose name has all of these words in it, or all of its words in them, whatever their case.
fn named_like<'a>(name: &str, pens: &'a [Pen]) -> Option<&'a str> {
    let words =
        |name: &str| -> Vec<String> { name.split_whitespace().map(str::to_lowercase).collect() };
    let wanted = words(name);
    let holds = |all: &[String], some: &[String]| {
        !some.is_empty() && some.iter().all(|word| all.contains(word))
    };
    let is_like = |pen: &&Pen| {
        let own = words(&pen.name);
        holds(&own, &wanted) || holds(&wanted, &own)
    };
    pens.iter().find(is_like).map(|pen| pen.name.as_str())
}

/// The coats that a wish stands for; `file` is the name of the pens file.
///
/// # Errors
/// If a pen of it is missing, dry, or forbidden.
pub fn pick_of(pin: &PinnedPen, pens: &[Pen], file: &Path, forbid: &[String]) -> Result<Pick> {
    let pen = pen_called(&pin.name, pens, file)?;
    let pick = match &pin.under {
        None => Pick::Pen(pen),
        Some(under) if *under == pin.name => Pick::Twice(pen),
        Some(under) => Pick::Over {
            under: pen_called(under, pens, file)?,
            pen,
        },
    };
    for pen in pick.pens() {
        let name = &pens[pen].name;
        if forbid.contains(name) {
            return Err(Error::new(
                format!("{name} is both forbidden and wished for {}", pin.place()),
                "Take it out of forbid, or out of [[pen]].",
            ));
        }
        if pens[pen].condition == Condition::Dry {
            return Err(Error::new(
                format!("{name} is wished for {}, but it is dry", pin.place()),
                "Refill it and mark it good, or wish for another pen.",
            ));
        }
    }
    Ok(pick)
}
