//! Bands against pens: how many bands there are, and which pen each is given.

use crate::color::{Lab, difference};
use crate::error::{Error, Result};
use crate::job::{PenChoices, PinnedPen};
use crate::naming::{band_names, group_words};
use crate::pens::{
    ANOTHER_COLOR, Choice, Chosen, Effort, Pen, Pick, Unserved, Wishes, choose, out_of_order,
};
use crate::sections::{Band, Detail, Ladder};
use crate::stages::{Field, Tones};
use crate::wishes::{band_of, held, keep_middle_pens, wishes};

/// Bands there may be: their indices plus 1 are bytes in a map.
const MOST_BANDS: usize = u8::MAX as usize;
/// A band fewer must bring the expected difference of its group below this part of what it is, so that no step goes for
/// nothing.
const GAIN: f32 = 0.98;
/// The same where all pens keep to the hues, but one misses its band by as much as another color. From memory.
const MISSED_GAIN: f32 = 0.9;
/// The same where it is the last step that goes, and with it all form. From memory.
const LAST_GAIN: f32 = 0.85;

/// A first choice of pens, which says how many bands every group gets.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// In groups, lightest first within each.
    pub bands: Vec<Band>,
    /// What the bands are called, see [`crate::naming`].
    pub names: Vec<String>,
    choices: Vec<Choice>,
    proven: bool,
    middle_pens: Vec<(usize, String)>,
    /// Of bands given up for want of pens.
    warnings: Vec<String>,
}

/// A pen for every band of the field.
#[derive(Debug, Clone, PartialEq)]
pub struct PenChoice {
    /// In the order of the field's bands.
    pub choices: Vec<Choice>,
    pub names: Vec<String>,
    /// No other choice costs less.
    pub proven: bool,
    pub warnings: Vec<String>,
}

/// Gives every band of the groups a pen, at most `most_bands` in each group; where the pens are too few for the steps,
/// takes bands away.
///
/// # Errors
/// If a pen or band that the job names is missing, no pen serves, or there are too many tones.
pub fn draft(
    tones: &Tones,
    detail: Detail,
    most_bands: usize,
    pens: &[Pen],
    wanted: &PenChoices,
) -> Result<Draft> {
    let ladders = &tones.ladders;
    let counts = counts_that_read_well(tones, detail, most_bands);
    let bands: usize = counts.iter().sum();
    if bands > MOST_BANDS {
        return Err(Error::new(
            format!("there are {bands} tones to color, expected at most {MOST_BANDS}"),
            "Give parts that look alike the same color, or write a smaller number of bands.",
        ));
    }
    let choosing = Choosing {
        ladders,
        words: words(ladders),
        wanted,
        pens,
        middle_pens: &tones.middle_pens,
        area_mm2: tones.area_mm2,
    };
    // The other half is for the settled bands.
    choosing.draft(counts, &mut Effort::of_a_plan().halved())
}

/// How many bands every group gets if there are pens for all.
fn counts_that_read_well(tones: &Tones, detail: Detail, most: usize) -> Vec<usize> {
    let has_forms = tones.parts.has_forms();
    let gain = |ladder: &Ladder| match has_forms {
        true => detail.form_gain.map(|gain| gain * ladder.spread()),
        false => [detail.band_gain; 3],
    };
    let count = |ladder: &Ladder| {
        if ladder.share > 0.0 {
            ladder.bands_that_read_well(gain(ladder)).min(most)
        } else {
            0
        }
    };
    tones.ladders.iter().map(count).collect()
}

/// Why not even one band can be given a pen.
fn no_pens(unserved: &Unserved, wanted: &PenChoices) -> Error {
    match unserved {
        Unserved::MostPens(most) => Error::new(
            format!("more than {most} pens are needed"),
            "Raise most_pens.",
        ),
        Unserved::Group(_) => Error::file(
            &wanted.pens,
            "holds no pen that fits",
            "Add pens that are not dry.",
        ),
    }
}

/// What numbers of bands are tried on.
struct Choosing<'a> {
    ladders: &'a [Ladder],
    words: Vec<String>,
    wanted: &'a PenChoices,
    pens: &'a [Pen],
    middle_pens: &'a [(usize, String)],
    area_mm2: f32,
}

/// The bands there are with so many in each group, and their pens.
struct Attempt {
    bands: Vec<Band>,
    names: Vec<String>,
    outcome: std::result::Result<Chosen, Unserved>,
}

impl Choosing<'_> {
    /// From so many bands in each group down to as many as there are pens for. All attempts share one effort.
    fn draft(&self, mut counts: Vec<usize>, effort: &mut Effort) -> Result<Draft> {
        // Bands given up for want of pens.
        let mut lost = vec![0; counts.len()];
        loop {
            let Attempt {
                bands,
                names,
                outcome,
            } = self.attempt(&counts, effort)?;
            let unserved = match outcome {
                Err(unserved) => unserved,
                Ok(chosen) => {
                    let now = (&bands[..], &names[..], &chosen);
                    if let Some(shed) = self.better_without(&counts, now, effort) {
                        counts[shed] -= 1;
                        lost[shed] += 1;
                        continue;
                    }
                    let mut warnings = self.told_lost(&counts, &lost);
                    warnings.extend(self.told_left_out(&names));
                    return Ok(Draft {
                        names,
                        bands,
                        choices: chosen.choices,
                        proven: chosen.proven,
                        middle_pens: self.middle_pens.to_vec(),
                        warnings,
                    });
                }
            };
            if counts.iter().sum::<usize>() <= 1 {
                return Err(no_pens(&unserved, self.wanted));
            }
            match unserved {
                Unserved::MostPens(_) => {
                    let shed = least_missed(self.ladders, &counts);
                    counts[shed] -= 1;
                }
                Unserved::Group(group) => {
                    let shed = gives_way(group, self.ladders, &counts);
                    counts[shed] -= 1;
                    lost[shed] += 1;
                }
            }
        }
    }

    /// Words for the wishes that do not hold for the bands there are: with another detail, or more tones, they may have.
    fn told_left_out(&self, names: &[String]) -> Vec<String> {
        let held = held(&self.wanted.pinned, names);
        let without = |lost: &&PinnedPen| {
            format!(
                "{} is wished for {}, but no band is called that (bands: {}): the wish is left out. Take a band's name \
                 from the key, the guide or the summary.",
                lost.name,
                lost.place(),
                names.join(", ")
            )
        };
        let given_up = |&(band, lost): &(usize, &PinnedPen)| {
            format!(
                "{} is wished for {}, which is one with {} here, and that has a wish of its own: the wish is left out.",
                lost.name,
                lost.place(),
                names[band]
            )
        };
        let without = held.without_band.iter().map(without);
        without.chain(held.given_up.iter().map(given_up)).collect()
    }

    /// Words for the bands that were given up.
    fn told_lost(&self, counts: &[usize], lost: &[usize]) -> Vec<String> {
        (0..counts.len())
            .filter(|&g| lost[g] > 0)
            .map(|g| told_lost(&self.words[g], counts[g], counts[g] + lost[g]))
            .collect()
    }

    fn attempt(&self, counts: &[usize], effort: &mut Effort) -> Result<Attempt> {
        let bands: Vec<Band> = self
            .ladders
            .iter()
            .zip(counts)
            .enumerate()
            .filter(|&(_, (_, &n))| n > 0)
            .flat_map(|(g, (ladder, &n))| ladder.bands(g, n))
            .collect();
        let names = band_names(&bands, &self.words);
        let mut wishes = wishes(self.wanted, &names, self.pens)?;
        keep_middle_pens(&mut wishes, self.middle_pens, &bands, self.pens);
        // What touches is known when the bands have settled.
        let outcome = choose(
            &bands,
            &[],
            self.pens,
            self.wanted.paper,
            self.area_mm2,
            &wishes,
            effort,
        );
        Ok(Attempt {
            bands,
            names,
            outcome,
        })
    }

    /// The group that comes nearer to the photo, with the pens there are, with one band fewer, if any: where a band
    /// would get another hue, or of three one a pen that is far off, too many steps are worse than too few. Where all
    /// pens keep to it, the last step stays even if one tone would be nearer on average: it shows the form.
    fn better_without(
        &self,
        counts: &[usize],
        (bands, names, chosen): (&[Band], &[String], &Chosen),
        effort: &mut Effort,
    ) -> Option<usize> {
        let all = |bands: &[Band], counts: &[usize], chosen: &Chosen| -> f32 {
            let of_group = |g| self.expected_difference(g, counts, bands, chosen);
            (0..counts.len()).map(of_group).sum()
        };
        let now = all(bands, counts, chosen);
        let mut least = (now, None);
        for g in (0..counts.len()).filter(|&g| counts[g] > 1) {
            // A pen that is wished for is no want of pens.
            let wished = |b: usize| {
                self.wanted
                    .pinned
                    .iter()
                    .any(|p| band_of(names, p) == Some(b))
            };
            let any_is_far = |away: fn(&Self, &[Band], &Chosen, usize) -> f32| {
                (0..bands.len())
                    .filter(|&b| bands[b].group == g && !wished(b))
                    .any(|b| away(self, bands, chosen, b) > ANOTHER_COLOR)
            };
            let has_another_hue = any_is_far(Self::hue_away);
            let may_be_too_many = has_another_hue || (counts[g] > 2 && any_is_far(Self::away));
            if !may_be_too_many {
                continue;
            }
            let own_now = self.expected_difference(g, counts, bands, chosen);
            let mut fewer = counts.to_vec();
            fewer[g] -= 1;
            // Two wishes may fall on one band then: not for the sake of one band fewer.
            let Ok(Attempt {
                bands,
                names: fewer_names,
                outcome,
            }) = self.attempt(&fewer, effort)
            else {
                continue;
            };
            // A wish that has its band keeps it.
            let mut held = self
                .wanted
                .pinned
                .iter()
                .filter(|p| band_of(names, p).is_some());
            if let Ok(chosen) = outcome
                && held.all(|p| band_of(&fewer_names, p).is_some())
            {
                let then = all(&bands, &fewer, &chosen);
                let own = self.expected_difference(g, &fewer, &bands, &chosen);
                let gain = match fewer[g] {
                    1 => LAST_GAIN,
                    _ if has_another_hue => GAIN,
                    _ => MISSED_GAIN,
                };
                if then < least.0 && own < gain * own_now {
                    least = (then, Some(g));
                }
            }
        }
        least.1
    }

    /// CIEDE2000 between a band and what it is given.
    fn away(&self, bands: &[Band], chosen: &Chosen, b: usize) -> f32 {
        difference(bands[b].lab, self.given(chosen, b))
    }

    /// The same at the band's lightness: a tone too light or too dark still shows the form, one of another hue does not.
    fn hue_away(&self, bands: &[Band], chosen: &Chosen, b: usize) -> f32 {
        let l = bands[b].lab.l;
        difference(
            bands[b].lab,
            Lab {
                l,
                ..self.given(chosen, b)
            },
        )
    }

    fn given(&self, chosen: &Chosen, b: usize) -> Lab {
        let color = chosen.choices[b].pick.color(self.pens, self.wanted.paper);
        color.lab()
    }

    /// About what a group adds to the mean CIEDE2000 between photo and panel: what the photo differs from its bands and
    /// these from their pens, as if at right angles.
    fn expected_difference(
        &self,
        group: usize,
        counts: &[usize],
        bands: &[Band],
        chosen: &Chosen,
    ) -> f32 {
        let inside = self.ladders[group]
            .mean_difference
            .get(counts[group].saturating_sub(1));
        let of_band = |b: usize| {
            let away = self.away(bands, chosen, b);
            bands[b].share * inside.copied().unwrap_or(0.0).hypot(away)
        };
        let mine = (0..bands.len()).filter(|&b| bands[b].group == group);
        mine.map(of_band).sum()
    }
}

/// The group that gives way where `group` cannot be served: itself, or the one with most bands if it has but one, or
/// the smallest if all have.
fn gives_way(group: usize, ladders: &[Ladder], counts: &[usize]) -> usize {
    let most = (0..counts.len())
        .max_by_key(|&g| (counts[g], counts.len() - g))
        .unwrap_or(group);
    if counts[group] > 1 {
        group
    } else if counts[most] > 1 {
        most
    } else {
        let kept = (0..counts.len()).filter(|&g| counts[g] > 0);
        kept.min_by(|&g, &h| ladders[g].share.total_cmp(&ladders[h].share))
            .unwrap_or(group)
    }
}

/// Tells of a group that has fewer bands than it would read well with.
fn told_lost(name: &str, left: usize, wanted: usize) -> String {
    match left {
        0 => format!(
            "Too few pens: the {name} parts have no pen of their own and go to the nearest color."
        ),
        1 => format!("Too few pens for the steps of the {name} parts: 1 band instead of {wanted}."),
        n => format!(
            "Too few pens for the steps of the {name} parts: {n} bands instead of {wanted}."
        ),
    }
}

/// Tells of two bands that touch and cannot have the photo's order of lightness.
fn told_order([lighter, darker]: [&str; 2]) -> String {
    format!(
        "No choice of your pens keeps every band lighter than another where the photo has it so: {lighter} should be \
         lighter than {darker}, which it touches."
    )
}

/// The pens for the bands of a field, within half of a plan's effort: the other half was for the bands before it.
fn choose_for_field(
    field: &Field,
    pens: &[Pen],
    wanted: &PenChoices,
    wishes: &Wishes,
) -> std::result::Result<Chosen, Unserved> {
    choose(
        &field.bands,
        &field.touching,
        pens,
        wanted.paper,
        field.area_mm2,
        wishes,
        &mut Effort::of_a_plan().halved(),
    )
}

/// Chooses the pens once more, for what the bands really are in the field. Where not all can be served there, the first
/// choice stands.
pub fn choose_pens(draft: &Draft, field: &Field, pens: &[Pen], wanted: &PenChoices) -> PenChoice {
    let kept = |b: &usize| draft.names[*b].clone();
    let names: Vec<String> = field.kept.iter().map(kept).collect();
    // Wishes that cannot be met were told of with the draft.
    let mut wishes = wishes(wanted, &names, pens).ok();
    if let Some(wishes) = &mut wishes {
        keep_middle_pens(wishes, &draft.middle_pens, &field.bands, pens);
    }
    let settled = wishes
        .as_ref()
        .and_then(|wishes| choose_for_field(field, pens, wanted, wishes).ok());
    let (choices, proven, out_of_order) = match settled {
        Some(chosen) => (chosen.choices, chosen.proven, chosen.out_of_order),
        None => {
            let first = |&b: &usize| draft.choices[b].clone();
            let choices: Vec<Choice> = field.kept.iter().map(first).collect();
            let picks: Vec<Pick> = choices.iter().map(|choice| choice.pick).collect();
            let pinned = wishes.map_or_else(|| vec![None; picks.len()], |wishes| wishes.pinned);
            let broken = out_of_order(&field.touching, &picks, &pinned, pens, wanted.paper);
            (choices, draft.proven, broken)
        }
    };
    let named = |pair: &[usize; 2]| told_order(pair.map(|b| names[b].as_str()));
    let mut warnings = draft.warnings.clone();
    warnings.extend(out_of_order.iter().map(named));
    PenChoice {
        choices,
        names,
        proven,
        warnings,
    }
}

/// The pens of the bands that are left after an edit by hand; `chosen` are those of all bands of `found`.
pub fn left_of(draft: &Draft, chosen: &PenChoice, found: &Field, left: &Field) -> PenChoice {
    let choice = |band: &usize| {
        let place = found.kept.iter().position(|b| b == band);
        place.map_or_else(
            || draft.choices[*band].clone(),
            |place| chosen.choices[place].clone(),
        )
    };
    PenChoice {
        choices: left.kept.iter().map(choice).collect(),
        names: left.kept.iter().map(|&b| draft.names[b].clone()).collect(),
        ..chosen.clone()
    }
}

/// A pen for every band of a field whose bands stay as they are.
///
/// # Errors
/// If a pen that is named is missing; inside, what cannot be served.
pub fn serve(
    field: &Field,
    names: &[String],
    pens: &[Pen],
    wanted: &PenChoices,
) -> Result<std::result::Result<PenChoice, Unserved>> {
    let wishes = wishes(wanted, names, pens)?;
    let chosen = choose_for_field(field, pens, wanted, &wishes);
    let named = |pair: &[usize; 2]| told_order(pair.map(|b| names[b].as_str()));
    Ok(chosen.map(|chosen| PenChoice {
        names: names.to_vec(),
        warnings: chosen.out_of_order.iter().map(named).collect(),
        proven: chosen.proven,
        choices: chosen.choices,
    }))
}

/// The group that loses least with one band fewer: its share times what the color difference grows by. A group's last
/// band counts as its whole color.
fn least_missed(ladders: &[Ladder], counts: &[usize]) -> usize {
    let missed = |g: usize| {
        let ladder = &ladders[g];
        let now = ladder
            .mean_difference
            .get(counts[g] - 1)
            .copied()
            .unwrap_or(0.0);
        let then = match counts[g] {
            1 => 100.0,
            n => ladder.mean_difference.get(n - 2).copied().unwrap_or(now),
        };
        ladder.share * (then - now)
    };
    (0..counts.len())
        .filter(|&g| counts[g] > 0)
        .min_by(|&g, &h| missed(g).total_cmp(&missed(h)))
        .unwrap_or(0)
}

/// The words for the groups.
pub fn words(ladders: &[Ladder]) -> Vec<String> {
    let means: Vec<Option<Lab>> = ladders.iter().map(Ladder::mean).collect();
    group_words(&means)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::Srgb8;
    use crate::job::Job;
    use crate::pens::Condition;
    use crate::sections::{Counted, ladders};

    #[test]
    fn all_attempts_of_a_plan_share_one_limit() {
        let named = |name: String, color: Lab| Pen {
            name,
            color: Srgb8::from_lab(color),
            refill: true,
            condition: Condition::Good,
            two_coats: None,
            note: String::new(),
        };
        // A red and a green group of three tones each, and two pens for all.
        let hues = [(40.0, 20.0), (-30.0, 20.0)];
        let tones = |(a, b): (f32, f32)| [30.0, 55.0, 80.0].map(|l| Lab::new(l, a, b));
        let colors: Vec<Counted> = (0..6)
            .map(|i| Counted {
                group: i % 2,
                lab: tones(hues[i % 2])[i / 2],
                pixels: 100,
            })
            .collect();
        let pens: Vec<Pen> = (0..24)
            .map(|i| {
                let (a, b) = hues[i % 2];
                let l = 25.0 + 2.5 * i as f32;
                named(format!("Pen {i}"), Lab::new(l, a, b))
            })
            .collect();
        let mut job = Job::new("plum.jpg".into(), "pens.csv".into(), None, "plan".into());
        job.most_pens = Some(2);
        job.coats = 1;
        let ladders = ladders(&colors, 2, 3, false);
        let choosing = Choosing {
            ladders: &ladders,
            words: words(&ladders),
            wanted: &job.pen_choices(),
            pens: &pens,
            middle_pens: &[],
            area_mm2: 900.0,
        };
        let draft = |effort: &Effort| choosing.draft(vec![3, 3], &mut effort.clone()).unwrap();
        let whole = draft(&Effort::of_a_plan());
        assert!(whole.proven);
        let in_group = |g: usize| whole.bands.iter().filter(|b| b.group == g).count();
        let counts = [in_group(0), in_group(1)];
        assert!(counts.iter().sum::<usize>() <= 2, "{counts:?}");
        // What is just enough for the last attempt alone is used up by those before it.
        let alone = |effort: &Effort| {
            let last = choosing.attempt(&counts, &mut effort.clone()).unwrap();
            last.outcome.unwrap().proven
        };
        let halves = std::iter::successors(Some(Effort::of_a_plan()), |e| Some(e.halved()));
        let enough = halves.take(30).take_while(alone).last().unwrap();
        assert!(!alone(&enough.halved()));
        assert!(!draft(&enough).proven);
    }
}
