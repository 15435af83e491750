//! The same sections with other pens: hues turned, lighter or darker, from another photo, or other pens owned.
//!
//! What is traced stays as it is; only the color that every band is meant to have changes, and with it the pens, the
//! passes and their order. What the job wishes of pens holds for every variant, too, unless the variant wishes for another
//! pen there, forbids the pen, or has a pens file without it. Bands are not given up for want of pens, as sections would merge then: a variant that the pens
//! cannot serve says which part fails, and which pen would help.

mod wishes;

use crate::borders::Outlines;
use crate::choosing::{self, PenChoice};
use crate::color::{Lab, Mean, Srgb8};
use crate::error::Result;
use crate::grid::Grid;
use crate::job::{PenChoices, VariantChoices, VariantEntry, WorkChoices};
use crate::naming::{band_names, group_words};
use crate::pens::{Condition, Pen, Unserved};
use crate::sections::{self, Band, LEAST_STEP, Rules, Sections};
use crate::stages::{self, Field, Scene, Work};

use wishes::{Scope, Wished};

/// A variant with its pens.
pub struct Varied {
    pub pens: Vec<Pen>,
    /// Bands in the variant's colors; the labels are those of the plan but for their order.
    pub field: Field,
    pub sections: Sections,
    pub choice: PenChoice,
    /// What the hue groups are called in these colors.
    pub words: Vec<String>,
    /// What the panel is held against, at half resolution.
    pub lab: Grid<Lab>,
    pub work: Work,
    /// What the person wishes in it.
    pub wanted: PenChoices,
    /// Wishes of the job that do not hold in it, in words.
    pub told: Vec<String>,
}

/// What a variant is made from, besides its entry in the job.
pub struct Base<'a> {
    pub scene: &'a Scene,
    /// The cells at the field's resolution.
    pub half_cells: &'a Grid<u16>,
    pub field: &'a Field,
    pub sections: &'a Sections,
    pub outlines: &'a Outlines,
    pub rules: Rules,
    /// What the bands are called in the job's own colors.
    pub names: &'a [String],
    pub work: &'a WorkChoices,
}

/// Makes a variant; in words why it cannot be made. `photo` is the scene in another photo, if it has one.
///
/// # Errors
/// If a wish of its own names a pen that is not in its pens file, is dry or forbidden, or a band that is not there.
pub fn vary(
    base: &Base,
    entry: &VariantEntry,
    photo: Option<&Scene>,
    pens: &[Pen],
    choices: &VariantChoices,
) -> Result<std::result::Result<Varied, String>> {
    let turned = |lab: Lab| {
        let (sin, cos) = (entry.hue as f32).to_radians().sin_cos();
        Lab::new(
            (lab.l + entry.lighter as f32).clamp(0.0, 100.0),
            cos * lab.a - sin * lab.b,
            sin * lab.a + cos * lab.b,
        )
    };
    let seen = photo.map_or(&base.scene.lab, |scene| &scene.lab);
    let lab = seen.map(turned);
    let (field, place) = recolored(base, photo.map(|_| &lab), turned);
    let mut sections = base.sections.clone();
    for section in &mut sections.list {
        section.band = place[section.band];
    }
    let words = words(&field.bands);
    let names = band_names(&field.bands, &words);
    let scope = Scope {
        base_names: base.names,
        place: &place,
        names: &names,
        pens,
        choices,
    };
    let Wished { wanted, hand, told } = scope.wished()?;
    let served = choosing::serve(&field, &names, pens, &wanted)?;
    let choice = match served {
        Ok(choice) => choice,
        Err(unserved) => {
            return Ok(Err(why(&unserved, &field, &words, &names, pens, &wanted)));
        }
    };
    let work = stages::order_work(
        base.scene,
        &sections,
        base.outlines,
        pens,
        &choice.choices,
        &hand,
        base.work,
    )?;
    Ok(Ok(Varied {
        pens: pens.to_vec(),
        field,
        sections,
        choice,
        words,
        lab,
        work,
        wanted,
        told,
    }))
}

/// The field in the variant's colors, and the new index of every band: lightest first within its group. `shown` is
/// another photo, already turned.
fn recolored(
    base: &Base,
    shown: Option<&Grid<Lab>>,
    turned: impl Fn(Lab) -> Lab,
) -> (Field, Vec<usize>) {
    let old = base.field;
    let mut bands: Vec<Band> = old.bands.clone();
    let seen = match shown {
        None => vec![None; bands.len()],
        Some(lab) => means(&old.label, lab, bands.len()),
    };
    for (band, mean) in bands.iter_mut().zip(seen) {
        band.lab = mean.unwrap_or_else(|| turned(band.lab));
    }
    let mut order: Vec<usize> = (0..bands.len()).collect();
    order.sort_by(|&a, &b| {
        let light = bands[b].lab.l.total_cmp(&bands[a].lab.l);
        bands[a]
            .group
            .cmp(&bands[b].group)
            .then(light)
            .then(a.cmp(&b))
    });
    let mut place = vec![0; bands.len()];
    for (new, &was) in order.iter().enumerate() {
        place[was] = new;
    }
    let sorted: Vec<Band> = order.iter().map(|&b| bands[b]).collect();
    let label = old.label.map(|l| match l {
        0 => 0,
        l => place[usize::from(l) - 1] as u8 + 1,
    });
    let touching = match shown {
        // The same colors turned, or all made lighter, are lighter than each other where they were.
        None => (old.touching.iter())
            .map(|touching| touching.with_bands(|band| place[band]))
            .collect(),
        Some(lab) => sections::touching(
            &label,
            base.half_cells,
            lab,
            &sorted,
            base.rules.nib_mm as f32,
            base.rules.mm_per_px as f32,
        ),
    };
    let field = Field {
        label,
        kept: order.iter().map(|&b| old.kept[b]).collect(),
        bands: sorted,
        touching,
        area_mm2: old.area_mm2,
    };
    (field, place)
}

/// The mean color of every one of so many bands, if it has any place; `label` is the band's index plus 1.
fn means(label: &Grid<u8>, lab: &Grid<Lab>, bands: usize) -> Vec<Option<Lab>> {
    let mut means = vec![Mean::default(); bands];
    for (&l, &color) in label.data.iter().zip(&lab.data) {
        if l > 0 {
            means[usize::from(l) - 1].add(color);
        }
    }
    means.iter().map(Mean::color).collect()
}

/// The words for the groups in these colors.
fn words(bands: &[Band]) -> Vec<String> {
    let groups = bands.iter().map(|b| b.group + 1).max().unwrap_or(0);
    let means: Vec<Option<Lab>> = (0..groups)
        .map(|g| {
            let mine = bands.iter().filter(|b| b.group == g);
            let share: f32 = mine.clone().map(|b| b.share).sum();
            let sum = mine.fold(Lab::new(0.0, 0.0, 0.0), |sum, b| sum + b.lab * b.share);
            (share > 0.0).then(|| sum / share)
        })
        .collect();
    group_words(&means)
}

/// Why a variant cannot be made, and which pen would help.
fn why(
    unserved: &Unserved,
    field: &Field,
    words: &[String],
    names: &[String],
    pens: &[Pen],
    wanted: &PenChoices,
) -> String {
    let group = match unserved {
        Unserved::MostPens(most) => {
            return format!("its sections need more than {most} pens; raise most_pens");
        }
        Unserved::Group(group) => *group,
    };
    let mine: Vec<usize> = (0..field.bands.len())
        .filter(|&b| field.bands[b].group == group)
        .collect();
    // A pen of a band's very color is tried for each of them.
    let helps = mine.iter().find(|&&b| {
        let mut more = pens.to_vec();
        more.push(Pen {
            name: String::new(),
            color: Srgb8::from_lab(field.bands[b].lab),
            refill: true,
            condition: Condition::Good,
            two_coats: None,
            note: String::new(),
        });
        matches!(choosing::serve(field, names, &more, wanted), Ok(Ok(_)))
    });
    let help = match helps {
        Some(&b) => format!(
            "a pen near {} for {} would help",
            Srgb8::from_lab(field.bands[b].lab),
            names[b]
        ),
        None => {
            let colors = mine
                .iter()
                .map(|&b| Srgb8::from_lab(field.bands[b].lab).to_string());
            format!(
                "pens near {} would help",
                colors.collect::<Vec<_>>().join(" and ")
            )
        }
    };
    format!(
        "the pens cannot serve its {} parts, which need {} pens, each darker than the one before by {LEAST_STEP} L*; \
         {help}",
        words[group],
        mine.len()
    )
}
