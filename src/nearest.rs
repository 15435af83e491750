//! The pens that would come nearest to a section or a band, for a person who wants another there.

use serde::Serialize;

use crate::color::{Lab, Mean, Srgb8, difference};
use crate::made::Made;
use crate::pens::{Condition, Pen, Pick};

/// What a section could be given; as `[[pen]]` in a job it is had by `pen` and `under`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Offer {
    /// The pen's name, that of the last coat.
    pub pen: String,
    /// The same name if it is two coats.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub under: Option<String>,
    /// What is seen when all is dry.
    pub color: Srgb8,
    /// CIEDE2000 between what is wanted and the finished color.
    pub delta_e: f32,
    /// The finished color is measured, not expected from one coat.
    pub measured: bool,
    pub refill: bool,
    pub condition: Condition,
}

/// The owned pens that come nearest to a color, nearest first, at most `count`: in one coat, and in two where the job allows
/// them. Pens that are dry or forbidden are left out.
pub fn nearest(made: &Made, wanted: Lab, count: usize) -> Vec<Offer> {
    let job = &made.plan.job;
    let usable = |pen: &Pen| pen.condition != Condition::Dry && !job.forbid.contains(&pen.name);
    let mut offers: Vec<Offer> = (0..made.pens.len())
        .filter(|&p| usable(&made.pens[p]))
        .flat_map(|p| [Pick::Pen(p), Pick::Twice(p)])
        .filter(|pick| pick.under().is_none() || job.coats > 1)
        .filter_map(|pick| {
            let pen = &made.pens[pick.pen()?];
            let color = pick.color(&made.pens, job.paper);
            Some(Offer {
                pen: pen.name.clone(),
                under: pick.under().map(|under| made.pens[under].name.clone()),
                color,
                delta_e: difference(wanted, color.lab()),
                measured: pick.under().is_none() || pen.two_coats.is_some(),
                refill: pen.refill,
                condition: pen.condition,
            })
        })
        .collect();
    // Sorted as they stand in the pens file where they are equally near.
    offers.sort_by(|a, b| a.delta_e.total_cmp(&b.delta_e));
    offers.truncate(count);
    offers
}

/// What the photo shows in a section, texture and gloss aside: the mean of its form. `None` if there is no section of this
/// id.
pub fn section_color(made: &Made, id: u16) -> Option<Lab> {
    let (map, form) = (&made.sections.map, &made.parts.form);
    let section = made.sections.list.get(usize::from(id).checked_sub(1)?)?;
    // The form has half the resolution.
    let is_in = |i: usize| map.at(2 * (i % form.width), 2 * (i / form.width)) == id;
    let inside = (0..form.data.len()).filter(|&i| is_in(i));
    let mean: Mean = inside.map(|i| form.data[i]).collect();
    // Too small for it: the color at its middle.
    let middle = || form.at(section.center.0 / 2, section.center.1 / 2);
    Some(mean.color().unwrap_or_else(middle))
}
