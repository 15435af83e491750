//! The guide: one HTML file that walks through the turns at the table. It needs no network and no other file.

use std::fmt::Write;

use serde::Serialize;

use crate::borders::Outlines;
use crate::color::STAMPED;
use crate::plan::{CardStep, Plan};

use super::key::{part, pen_name};
use super::page::CAUTIONS;
use super::svg::{compact_path_data, escape};

const PAGE: &str = include_str!("guide/page.html");
const STYLE: &str = include_str!("guide/style.css");
const SCRIPT: &str = include_str!("guide/script.js");

/// What the script works with. Areas are square millimeters, times seconds.
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Data {
    /// Tells this plan's kept progress from another's.
    id: String,
    /// Hundredths of a millimeter.
    size: [u32; 2],
    rest: u32,
    stamp_rest: u32,
    pens: Vec<PenData>,
    turns: Vec<TurnData>,
    /// What is done before the first pen and after the last, in words, and seconds to rest: a card of stamps and pieces.
    before: Vec<(String, u32)>,
    finishing: Vec<(String, u32)>,
    /// Id, number, area, and a place inside, in millimeters.
    sections: Vec<(u16, usize, f64, [f64; 2])>,
}

#[derive(Serialize)]
struct PenData {
    number: usize,
    /// What is shown for it.
    mark: String,
    name: String,
    /// The bands it finishes, as a wish calls them.
    bands: String,
    /// How its coat lies with others, in words.
    coat: String,
    color: String,
    refill: bool,
    area: f64,
}

#[derive(Serialize)]
struct TurnData {
    number: usize,
    part: String,
    sections: Vec<u16>,
    after: Vec<usize>,
    work: u32,
    area: f64,
}

/// The guide of a plan.
pub fn guide(plan: &Plan, outlines: &Outlines) -> String {
    let picture = picture(plan, outlines);
    let data = serde_json::to_string(&data(plan)).unwrap_or_default();
    let cautions: String = CAUTIONS
        .iter()
        .map(|line| format!("<p>{}</p>\n", escape(line)))
        .collect();
    filled(
        PAGE,
        &[
            ("style", STYLE),
            ("picture", &picture),
            ("cautions", &cautions),
            ("data", &in_script(&data)),
            ("script", SCRIPT),
        ],
    )
}

/// The template with every `{{name}}` replaced, in one pass: nothing in a value is taken for a name.
fn filled(template: &str, values: &[(&str, &str)]) -> String {
    let mut out = String::new();
    let mut rest = template;
    while let Some((before, after)) = rest.split_once("{{") {
        let (name, after) = after.split_once("}}").unwrap_or((after, ""));
        out.push_str(before);
        let value = values.iter().find(|(n, _)| *n == name);
        out.push_str(value.map_or("", |(_, v)| v));
        rest = after;
    }
    out + rest
}

/// JSON that no HTML parser takes for markup.
fn in_script(json: &str) -> String {
    json.replace('<', "\\u003c")
        .replace('>', "\\u003e")
        .replace('&', "\\u0026")
}

/// The panel, the same curves as on the overlay, in hundredths of a millimeter.
fn picture(plan: &Plan, outlines: &Outlines) -> String {
    let [w, h] = hundredths(plan);
    let mut svg = format!(
        "<svg id=\"panel\" xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" role=\"img\" \
         aria-label=\"The panel, with the sections of this turn in color\">\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"#fff\"/>\n"
    );
    for section in &plan.sections {
        let _ = writeln!(
            svg,
            "<path class=\"s\" data-id=\"{}\" d=\"{}\"/>",
            section.id,
            compact_path_data(&outlines.sections[usize::from(section.id) - 1])
        );
    }
    let _ = writeln!(
        svg,
        "<path id=\"ink\" fill=\"{STAMPED}\" d=\"{}\"/>\n</svg>",
        compact_path_data(&outlines.ink)
    );
    svg
}

fn hundredths(plan: &Plan) -> [u32; 2] {
    plan.size_mm.map(|v| (v * 100.0).round() as u32)
}

fn data(plan: &Plan) -> Data {
    let turns: Vec<TurnData> = plan
        .schedule
        .turns
        .iter()
        .enumerate()
        .map(|(k, t)| TurnData {
            number: t.number,
            part: part(plan, k),
            sections: t.sections.clone(),
            after: t.after.clone(),
            work: t.work_s,
            area: t
                .sections
                .iter()
                .map(|&id| plan.sections[usize::from(id) - 1].area_mm2)
                .sum(),
        })
        .collect();
    let pens: Vec<PenData> = plan
        .numbers
        .iter()
        .map(|n| PenData {
            number: n.number,
            mark: n.mark(),
            name: pen_name(plan, n.number),
            bands: plan.band_names(n).join(", "),
            coat: plan.coat_text(n).unwrap_or_default(),
            color: n.color.to_string(),
            refill: n.pen.as_ref().is_none_or(|p| p.refill),
            area: n.area_mm2,
        })
        .collect();
    Data {
        id: plan.id(),
        size: hundredths(plan),
        rest: plan.schedule.rest_s,
        stamp_rest: plan.schedule.stamp_rest_s,
        before: stamping(plan),
        finishing: plan
            .card
            .iter()
            .flat_map(|card| steps(&card.finishing))
            .collect(),
        pens,
        turns,
        sections: plan
            .sections
            .iter()
            .map(|s| (s.id, s.number, s.area_mm2, s.inside_mm))
            .collect(),
    }
}

/// What is stamped and masked, but for the last rest, which the guide times by itself.
fn stamping(plan: &Plan) -> Vec<(String, u32)> {
    let Some(card) = &plan.card else {
        return Vec::new();
    };
    let rests = usize::from(plan.schedule.stamp_rest_s > 0);
    let own = card.stamping.len().saturating_sub(rests);
    steps(&card.stamping[..own]).collect()
}

fn steps(all: &[CardStep]) -> impl Iterator<Item = (String, u32)> {
    all.iter().map(|step| (step.say.clone(), step.rest_s))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_that_looks_like_a_placeholder_stays_as_it_is() {
        let out = filled("a{{x}}b{{y}}", &[("x", "{{y}}"), ("y", "1")]);
        assert_eq!(out, "a{{y}}b1");
    }
}
