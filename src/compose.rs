//! Where the stages meet: bands against pens, and everything into one [`Plan`].

use crate::borders::{Label, Outlines};
use crate::color::{Lab, difference};
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::job::Job;
use crate::passes::Pass;
use crate::pens::{Choice, Condition, Pen, Pick, choose, color_name, explain_drift};
use crate::plan;
use crate::sections::{self, Band, Detail, Group, Ladder, Sections};
use crate::{FIELD_MM_PER_PX, MM_PER_PX};

/// Every n-th pixel of the field is enough for the mean color difference.
const DIFFERENCE_STRIDE: usize = 5;
/// A runner-up that comes this much closer without drifting is named as the better shadow, in CIEDE2000; from memory.
const FAR_FROM_PHOTO: f32 = 12.0;

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

fn group_name(ladder: &Ladder) -> &'static str {
    ladder
        .bands(0, 1)
        .next()
        .map_or("other", |b| color_name(b.lab))
}

/// The number of a band on the overlay; 0 if it is left bare.
pub fn number_of(passes: &[Pass], band: usize) -> usize {
    passes
        .iter()
        .find(|p| p.bands.contains(&band))
        .map_or(0, |p| p.number)
}

/// Puts the plan together. `lab` and `label` are the reference and the label field at half resolution.
#[expect(
    clippy::too_many_arguments,
    reason = "the one place where every stage's result meets"
)]
pub fn plan(
    job: &Job,
    size_mm: [f64; 2],
    pens: &[Pen],
    tones: &Tones,
    passes: &[Pass],
    sections: &Sections,
    lab: &Grid<Lab>,
    label: &Grid<u8>,
    outlines: &Outlines,
    labels: &[Label],
) -> plan::Plan {
    let px_mm2 = MM_PER_PX * MM_PER_PX;
    let color_of = |band: usize| match tones.choices[band].pick {
        Pick::Pen(p) => pens[p].color,
        Pick::Paper => job.paper,
    };
    let pen_of = |band: usize| match tones.choices[band].pick {
        Pick::Pen(p) => Some(&pens[p]),
        Pick::Paper => None,
    };
    // How far the panel will be from the photo.
    let panel: Vec<Lab> = (0..tones.bands.len()).map(|b| color_of(b).lab()).collect();
    let seen: Vec<f32> = (0..label.data.len())
        .step_by(DIFFERENCE_STRIDE)
        .filter(|&i| label.data[i] > 0)
        .map(|i| difference(lab.data[i], panel[usize::from(label.data[i]) - 1]))
        .collect();
    let mean_delta_e = seen.iter().sum::<f32>() / seen.len().max(1) as f32;

    let mut area_px = vec![0usize; tones.bands.len()];
    for s in &sections.list {
        area_px[s.band] += s.area_px;
    }
    let bands: Vec<plan::Band> = tones
        .bands
        .iter()
        .enumerate()
        .map(|(b, band)| {
            let mean = band.lab;
            plan::Band {
                group: band.group,
                lab: [mean.l, mean.a, mean.b].map(|v| (v * 100.0).round() / 100.0),
                area_mm2: round2(area_px[b] as f64 * px_mm2),
                pen: pen_of(b).map(|p| p.name.clone()),
                delta_e: round2(f64::from(difference(mean, panel[b]))) as f32,
                runner_ups: tones.choices[b]
                    .runner_ups
                    .iter()
                    .map(|&p| plan::RunnerUp {
                        pen: pens[p].name.clone(),
                        delta_e: round2(f64::from(difference(mean, pens[p].color.lab()))) as f32,
                    })
                    .collect(),
            }
        })
        .collect();

    let listed: Vec<plan::Section> = sections
        .list
        .iter()
        .map(|s| {
            let at = labels
                .iter()
                .find(|l| l.section == s.id)
                .map_or([0.0; 2], |l| [round2(l.at.x), round2(l.at.y)]);
            plan::Section {
                id: s.id,
                number: number_of(passes, s.band),
                band: s.band,
                pen: pen_of(s.band).map(|p| p.name.clone()),
                area_mm2: round2(s.area_px as f64 * px_mm2),
                width_mm: round2(s.width_px * MM_PER_PX),
                label_mm: at,
            }
        })
        .collect();
    let count_and_area = |number: usize| {
        let mine = listed.iter().filter(|s| s.number == number);
        (mine.clone().count(), round2(mine.map(|s| s.area_mm2).sum()))
    };
    let mut numbers: Vec<plan::Number> = passes
        .iter()
        .map(|pass| {
            let (count, area_mm2) = count_and_area(pass.number);
            plan::Number {
                number: pass.number,
                color: pens[pass.pen].color,
                pen: Some(pens[pass.pen].clone()),
                bands: pass.bands.clone(),
                sections: count,
                area_mm2,
            }
        })
        .collect();
    let (count, area_mm2) = count_and_area(0);
    if count > 0 {
        let bare = (0..bands.len())
            .filter(|&b| bands[b].pen.is_none())
            .collect();
        numbers.push(plan::Number {
            number: 0,
            pen: None,
            color: job.paper,
            bands: bare,
            sections: count,
            area_mm2,
        });
    }

    let groups = tones
        .groups
        .iter()
        .zip(&tones.ladders)
        .enumerate()
        .map(|(g, (group, ladder))| plan::Group {
            name: group_name(ladder).to_owned(),
            neutral: group.neutral,
            share: ladder.share,
            bands: tones.bands.iter().filter(|b| b.group == g).count(),
            mean_delta_e_by_bands: ladder
                .mean_difference
                .iter()
                .map(|&d| round2(f64::from(d)) as f32)
                .collect(),
        })
        .collect();
    let mut warnings = tones.warnings.clone();
    warnings.extend(pen_warnings(tones, &bands, &area_px, pens));
    plan::Plan {
        schema: plan::SCHEMA.to_owned(),
        schema_version: plan::SCHEMA_VERSION,
        job: job.clone(),
        mm_per_px: MM_PER_PX,
        nib_mm: job.nib.mm(),
        size_mm: size_mm.map(round2),
        groups,
        bands,
        figures: plan::Figures {
            sections: listed.len(),
            trace_mm: round2(outlines.trace_mm),
            narrowest_mm: listed
                .iter()
                .map(|s| s.width_mm)
                .fold(f64::INFINITY, f64::min),
            mean_delta_e: round2(f64::from(mean_delta_e)) as f32,
        },
        sections: listed,
        numbers,
        warnings,
        files: Vec::new(),
    }
}

fn round2(v: f64) -> f64 {
    (v * 100.0).round() / 100.0
}

/// What a person should know about the pens before starting.
fn pen_warnings(
    tones: &Tones,
    bands: &[plan::Band],
    area_px: &[usize],
    pens: &[Pen],
) -> Vec<String> {
    let mut warnings = Vec::new();
    for (b, band) in tones.bands.iter().enumerate() {
        let Pick::Pen(p) = tones.choices[b].pick else {
            continue;
        };
        if area_px[b] == 0 {
            continue;
        }
        let pen = &pens[p];
        if pen.condition == Condition::Worn {
            warnings.push(format!(
                "{} is marked worn: try it on a scrap first.",
                pen.name
            ));
        }
        let color = pen.color.lab();
        let drift = explain_drift(band.lab, color);
        if drift.is_none() && bands[b].delta_e < FAR_FROM_PHOTO {
            continue;
        }
        let steady = |q: &usize| {
            pens[*q].condition != Condition::Dry
                && explain_drift(band.lab, pens[*q].color.lab()).is_none()
        };
        let better = (0..pens.len())
            .filter(|q| *q != p)
            .filter(steady)
            .map(|q| (q, difference(band.lab, pens[q].color.lab())))
            .min_by(|x, y| x.1.total_cmp(&y.1))
            .filter(|&(_, d)| d < bands[b].delta_e + FAR_FROM_PHOTO / 2.0);
        let advice = match better {
            Some((q, _)) => {
                let taken = tones.choices.iter().any(|c| c.pick == Pick::Pen(q));
                let taken = if taken {
                    " (used for another band here)"
                } else {
                    ""
                };
                format!("{} keeps closer to the photo's hue{taken}", pens[q].name)
            }
            None => format!(
                "none of your pens is close; look for one near {}",
                crate::color::Srgb8::from_lab(band.lab)
            ),
        };
        let what = drift.unwrap_or_else(|| {
            format!(
                "it differs from the photo by {:.0} (12 or more is another color)",
                bands[b].delta_e
            )
        });
        let place = if b > 0 && tones.bands[b - 1].group == band.group {
            "shadow"
        } else {
            "band"
        };
        warnings.push(format!(
            "{} for the {} {place}: {what}; {advice}.",
            pen.name,
            color_name(band.lab)
        ));
    }
    warnings
}
