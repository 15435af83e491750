//! Bands against pens: how many bands there are, and which pen each is given.

use crate::FIELD_MM_PER_PX;
use crate::color::{Lab, color_name, difference};
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::job::Job;
use crate::pens::{
    ANOTHER_COLOR, Choice, Chosen, Condition, Effort, Pen, Pick, Unserved, Wishes, choose,
};
use crate::sections::{self, Band, Detail, Group, Ladder, touching};

/// A band fewer must bring the expected difference below this part of what it is, so that no step goes for nothing.
const GAIN: f32 = 0.98;

/// Hue groups and their bands, each with its pen.
pub struct Tones {
    pub groups: Vec<Group>,
    pub ladders: Vec<Ladder>,
    /// In groups, lightest first within each.
    pub bands: Vec<Band>,
    pub choices: Vec<Choice>,
    /// No other choice costs less.
    pub proven: bool,
    /// Names of the bands: the word for their group, and a number from light to dark.
    pub names: Vec<String>,
    pub warnings: Vec<String>,
}

/// Finds groups and bands and gives every band a pen; where the pens are too few for the steps, takes bands away and
/// says so.
pub fn choose_tones(
    lab: &Grid<Lab>,
    cells: &Grid<u16>,
    job: &Job,
    detail: Detail,
    pens: &[Pen],
) -> Result<Tones> {
    let samples = sections::samples(lab, cells);
    if samples.is_empty() {
        return Err(Error::new(
            "nothing is left to color: every cell is bare or outside",
            "Take points out of bare, or color the outside, too, with --background.",
        ));
    }
    let groups = sections::find_groups(&samples, detail.hue_gain);
    let ladders = sections::ladders(&samples, &groups, 4);
    let mut counts: Vec<usize> = ladders
        .iter()
        .map(|l| {
            if l.share > 0.0 {
                l.bands_that_read_well(detail.band_gain)
                    .min(usize::from(job.bands))
            } else {
                0
            }
        })
        .collect();
    let area_px = cells.data.iter().filter(|&&c| c > 0).count();
    let matching = Matching {
        ladders: &ladders,
        job,
        pens,
        area_mm2: (area_px as f64 * FIELD_MM_PER_PX * FIELD_MM_PER_PX) as f32,
    };
    // The other half is for the settled bands.
    let mut effort = Effort::of_a_plan().halved();
    // Bands given up for want of pens.
    let mut lost = vec![0; counts.len()];
    loop {
        let Attempt {
            bands,
            names,
            outcome,
        } = matching.attempt(&counts, &mut effort)?;
        let one_band = counts.iter().sum::<usize>() <= 1;
        match outcome {
            Ok(chosen) => {
                if let Some(shed) =
                    matching.better_without(&counts, &bands, &chosen, &mut effort)?
                {
                    counts[shed] -= 1;
                    lost[shed] += 1;
                    continue;
                }
                if let Some(lost) = job.pinned.iter().find(|p| !names.contains(&p.band)) {
                    return Err(Error::new(
                        format!(
                            "there is no band \"{}\" for the pen {} (bands: {})",
                            lost.band,
                            lost.name,
                            names.join(", ")
                        ),
                        "Take a band's name from the summary or from plan.json.",
                    ));
                }
                let warnings = (0..counts.len())
                    .filter(|&g| lost[g] > 0)
                    .map(|g| told_lost(group_name(&ladders[g]), counts[g], counts[g] + lost[g]))
                    .collect();
                return Ok(Tones {
                    names,
                    groups,
                    ladders,
                    bands,
                    choices: chosen.choices,
                    proven: chosen.proven,
                    warnings,
                });
            }
            Err(Unserved::MostPens(most)) if one_band => {
                return Err(Error::new(
                    format!("more than {most} pens are needed"),
                    "Raise most_pens.",
                ));
            }
            Err(Unserved::MostPens(_)) => {
                let shed = least_missed(&ladders, &counts);
                counts[shed] -= 1;
            }
            Err(Unserved::Group(_)) if one_band => {
                return Err(Error::file(
                    &job.pens,
                    "holds no pen that fits",
                    "Add pens that are not dry.",
                ));
            }
            Err(Unserved::Group(group)) => {
                let shed = gives_way(group, &ladders, &counts);
                counts[shed] -= 1;
                lost[shed] += 1;
            }
        }
    }
}

/// What numbers of bands are tried on.
struct Matching<'a> {
    ladders: &'a [Ladder],
    job: &'a Job,
    pens: &'a [Pen],
    area_mm2: f32,
}

/// The bands there are with so many in each group, and their pens.
struct Attempt {
    bands: Vec<Band>,
    names: Vec<String>,
    outcome: std::result::Result<Chosen, Unserved>,
}

impl Matching<'_> {
    fn attempt(&self, counts: &[usize], effort: &mut Effort) -> Result<Attempt> {
        let bands: Vec<Band> = self
            .ladders
            .iter()
            .zip(counts)
            .enumerate()
            .filter(|&(_, (_, &n))| n > 0)
            .flat_map(|(g, (ladder, &n))| ladder.bands(g, n))
            .collect();
        let names = band_names(&bands, self.ladders);
        let wishes = wishes(self.job, &names, self.pens)?;
        // What touches is known when the bands have settled.
        let outcome = choose(
            &bands,
            &[],
            self.pens,
            self.job.paper,
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
    /// would get another color, too many steps are worse than too few.
    fn better_without(
        &self,
        counts: &[usize],
        bands: &[Band],
        chosen: &Chosen,
        effort: &mut Effort,
    ) -> Result<Option<usize>> {
        let now = self.expected_difference(counts, bands, chosen);
        let mut least = (GAIN * now, None);
        for g in (0..counts.len()).filter(|&g| counts[g] > 1) {
            let far = |b: usize| bands[b].group == g && self.away(bands, chosen, b) > ANOTHER_COLOR;
            if !(0..bands.len()).any(far) {
                continue;
            }
            let mut fewer = counts.to_vec();
            fewer[g] -= 1;
            let Attempt {
                bands,
                names,
                outcome,
            } = self.attempt(&fewer, effort)?;
            let mut pinned = self.job.pinned.iter();
            if let Ok(chosen) = outcome
                && pinned.all(|p| names.contains(&p.band))
            {
                let then = self.expected_difference(&fewer, &bands, &chosen);
                if then < least.0 {
                    least = (then, Some(g));
                }
            }
        }
        Ok(least.1)
    }

    /// CIEDE2000 between a band and what it is given.
    fn away(&self, bands: &[Band], chosen: &Chosen, b: usize) -> f32 {
        let color = chosen.choices[b].pick.color(self.pens, self.job.paper);
        difference(bands[b].lab, color.lab())
    }

    /// About the mean CIEDE2000 between photo and panel: what the photo differs from its bands and these from their
    /// pens, as if at right angles.
    fn expected_difference(&self, counts: &[usize], bands: &[Band], chosen: &Chosen) -> f32 {
        let of_band = |b: usize| {
            let Band { group, share, .. } = bands[b];
            let inside = self.ladders[group].mean_difference.get(counts[group] - 1);
            share
                * inside
                    .copied()
                    .unwrap_or(0.0)
                    .hypot(self.away(bands, chosen, b))
        };
        (0..bands.len()).map(of_band).sum()
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

impl Tones {
    /// Takes every band's color and share from where it ended up in the label field, drops bands that got nothing,
    /// and chooses the pens once more for what is really there.
    pub fn settle(&mut self, label: &mut Grid<u8>, lab: &Grid<Lab>, job: &Job, pens: &[Pen]) {
        let mut sums = vec![(Lab::new(0.0, 0.0, 0.0), 0usize); self.bands.len()];
        for (&l, &color) in label.data.iter().zip(&lab.data) {
            if l > 0 {
                let (sum, count) = &mut sums[usize::from(l) - 1];
                *sum += color;
                *count += 1;
            }
        }
        let total: usize = sums.iter().map(|s| s.1).sum();
        let kept: Vec<usize> = (0..sums.len()).filter(|&b| sums[b].1 > 0).collect();
        self.bands = kept
            .iter()
            .map(|&b| Band {
                group: self.bands[b].group,
                lab: sums[b].0 / sums[b].1 as f32,
                share: sums[b].1 as f32 / total as f32,
            })
            .collect();
        self.choices = kept.iter().map(|&b| self.choices[b].clone()).collect();
        self.names = kept.iter().map(|&b| self.names[b].clone()).collect();
        for l in &mut label.data {
            if *l > 0 {
                *l = kept
                    .iter()
                    .position(|&b| b + 1 == usize::from(*l))
                    .map_or(0, |b| b as u8 + 1);
            }
        }
        let area_mm2 = total as f64 * FIELD_MM_PER_PX * FIELD_MM_PER_PX;
        // Where the settled bands lie too close for the steps, the first choice stands: it has them.
        let Ok(wishes) = wishes(job, &self.names, pens) else {
            return;
        };
        let touching = touching(
            label,
            lab,
            &self.bands,
            job.nib.mm() as f32,
            FIELD_MM_PER_PX as f32,
        );
        let mut effort = Effort::of_a_plan().halved();
        if let Ok(chosen) = choose(
            &self.bands,
            &touching,
            pens,
            job.paper,
            area_mm2 as f32,
            &wishes,
            &mut effort,
        ) {
            self.choices = chosen.choices;
            self.proven = chosen.proven;
            let names = |pair: &[usize; 2]| pair.map(|b| self.names[b].as_str());
            let told = chosen
                .out_of_order
                .iter()
                .map(|pair| told_order(names(pair)));
            self.warnings.extend(told);
        }
    }
}

/// What the job wishes, for these bands and pens.
fn wishes(job: &Job, names: &[String], pens: &[Pen]) -> Result<Wishes> {
    let find = |name: &str| {
        pens.iter().position(|p| p.name == name).ok_or_else(|| {
            Error::file(
                &job.pens,
                format!("lists no pen \"{name}\""),
                "Write the pen's name in the job exactly as in the pens file.",
            )
        })
    };
    let mut wishes = Wishes::none(names.len(), pens.len());
    wishes.no_refill_mm2 = (job.no_refill_cm2 * 100.0) as f32;
    wishes.most_pens = job.most_pens;
    wishes.two_coats = job.coats > 1;
    for name in &job.forbid {
        wishes.forbidden[find(name)?] = true;
    }
    for pin in &job.pinned {
        let pen = find(&pin.name)?;
        let pick = match &pin.under {
            None => Pick::Pen(pen),
            Some(under) if *under == pin.name => Pick::Twice(pen),
            Some(under) => Pick::Over {
                under: find(under)?,
                pen,
            },
        };
        for pen in pick.pens() {
            let name = &pens[pen].name;
            if wishes.forbidden[pen] {
                return Err(Error::new(
                    format!("{name} is both forbidden and wished for {}", pin.band),
                    "Take it out of forbid, or out of [[pen]].",
                ));
            }
            if pens[pen].condition == Condition::Dry {
                return Err(Error::new(
                    format!("{name} is wished for {}, but it is dry", pin.band),
                    "Refill it and mark it good, or wish for another pen.",
                ));
            }
        }
        if let Some(band) = names.iter().position(|n| *n == pin.band) {
            wishes.pinned[band] = Some(pick);
        }
    }
    Ok(wishes)
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

/// Names of bands: the word for their group and a number, counted on where two groups have the same word.
fn band_names(bands: &[Band], ladders: &[Ladder]) -> Vec<String> {
    let mut count = std::collections::BTreeMap::new();
    bands
        .iter()
        .map(|band| {
            let word = group_name(&ladders[band.group]);
            let n = count.entry(word).or_insert(0);
            *n += 1;
            format!("{word} {n}")
        })
        .collect()
}

/// A plain word for the color of a group.
pub fn group_name(ladder: &Ladder) -> &'static str {
    ladder
        .bands(0, 1)
        .next()
        .map_or("other", |b| color_name(b.lab))
}
