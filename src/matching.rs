//! Bands against pens: how many bands there are, and which pen each is given.

use crate::FIELD_MM_PER_PX;
use crate::color::Lab;
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::job::Job;
use crate::pens::{Choice, Pen, choose, color_name};
use crate::sections::{self, Band, Detail, Group, Ladder};

/// Hue groups and their bands, each with its pen.
pub struct Tones {
    pub groups: Vec<Group>,
    pub ladders: Vec<Ladder>,
    /// In groups, lightest first within each.
    pub bands: Vec<Band>,
    pub choices: Vec<Choice>,
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
    let area_mm2 = area_px as f64 * FIELD_MM_PER_PX * FIELD_MM_PER_PX;
    let mut warnings = Vec::new();
    loop {
        let bands: Vec<Band> = ladders
            .iter()
            .zip(&counts)
            .enumerate()
            .filter(|&(_, (_, &n))| n > 0)
            .flat_map(|(g, (ladder, &n))| ladder.bands(g, n))
            .collect();
        match choose(&bands, pens, job.paper, area_mm2 as f32) {
            Ok(choices) => {
                return Ok(Tones {
                    groups,
                    ladders,
                    bands,
                    choices,
                    warnings,
                });
            }
            Err(group) => {
                // The group that cannot be served gives way; if it has one band only, the one with most bands.
                let most = (0..counts.len())
                    .max_by_key(|&g| (counts[g], counts.len() - g))
                    .unwrap_or(group);
                let shed = if counts[group] > 1 {
                    group
                } else if counts[most] > 1 {
                    most
                } else {
                    let kept = (0..counts.len()).filter(|&g| counts[g] > 0);
                    kept.min_by(|&g, &h| ladders[g].share.total_cmp(&ladders[h].share))
                        .unwrap_or(group)
                };
                if counts.iter().sum::<usize>() <= 1 {
                    return Err(Error::file(
                        &job.pens,
                        "holds no pen that fits",
                        "Add pens that are not dry.",
                    ));
                }
                counts[shed] -= 1;
                let name = group_name(&ladders[shed]);
                warnings.push(if counts[shed] == 0 {
                    format!("Too few pens: the {name} parts have no pen of their own and go to the nearest color.")
                } else {
                    format!("Too few pens for the steps of the {name} parts: {} bands instead of {}.", counts[shed], counts[shed] + 1)
                });
            }
        }
    }
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
        if let Ok(choices) = choose(&self.bands, pens, job.paper, area_mm2 as f32) {
            self.choices = choices;
        }
    }
}

/// A plain word for the color of a group.
pub fn group_name(ladder: &Ladder) -> &'static str {
    ladder
        .bands(0, 1)
        .next()
        .map_or("other", |b| color_name(b.lab))
}
