//! The guide: one HTML file that walks through the turns at the table. It needs no network and no other file.

use serde::Serialize;

use kurbo::{BezPath, Rect};

use crate::borders::Outlines;
use crate::card::{Card, Image};
use crate::color::STAMPED;
use crate::plan::{CardStep, Plan};

use super::card::piece_ink;
use super::ground::{rect_of, subpaths};
use super::key::{SHORT_WAIT_S, part, pen_name};
use super::page::CAUTIONS;
use super::svg::{Svg, compact_path_data};

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
    /// Shorter waits are not told.
    short_wait: u32,
    pens: Vec<PenData>,
    turns: Vec<TurnData>,
    /// What is done before the first pen and after the last: a card of stamps and pieces.
    before: Vec<CardStep>,
    finishing: Vec<CardStep>,
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
    /// The turns, earlier or later ones, that color what only a drawn line parts from it.
    beside: Vec<usize>,
    work: u32,
    area: f64,
}

/// The guide of a plan; `card` are the shapes of its stamps and pieces, if it has some.
pub fn guide(plan: &Plan, outlines: &Outlines, card: Option<&Card>) -> String {
    let picture = picture(plan, outlines, card);
    let data = serde_json::to_string(&data(plan)).unwrap_or_default();
    let cautions: String = CAUTIONS
        .iter()
        .map(|line| format!("<p>{line}</p>\n"))
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

/// The panel, the same curves as on the overlay, in hundredths of a millimeter; every piece is a group that can be laid
/// where it is glued.
fn picture(plan: &Plan, outlines: &Outlines, card: Option<&Card>) -> String {
    let [w, h] = hundredths(plan).map(f64::from);
    let mut svg = Svg::scaled((w, h));
    svg.set("id", "panel");
    svg.set("role", "img");
    svg.set(
        "aria-label",
        "The panel, with the sections of this turn in color",
    );
    svg.rect(Rect::new(0.0, 0.0, w, h)).fill("#fff");
    for ground in plan.card.iter().flat_map(|card| &card.grounds) {
        let edge = rect_of(ground).scale_from_origin(100.0).round();
        svg.rect(edge).set("class", "edge");
    }
    let images = card.map_or(&[][..], |card| &card.images);
    let is_piece = |image: Option<usize>| image.is_some_and(|k| images[k].cut.is_some());
    for on_panel in plan.sections.iter().filter(|s| !is_piece(s.image)) {
        section(&mut svg, outlines, on_panel.id);
    }
    let pieces: Vec<(usize, &Image, BezPath)> = images
        .iter()
        .enumerate()
        .filter(|(_, image)| image.cut.is_some())
        .map(|(k, image)| (k, image, piece_ink(outlines, image)))
        .collect();
    let on_pieces: Vec<BezPath> = pieces.iter().flat_map(|(.., ink)| subpaths(ink)).collect();
    let panel_ink = subpaths(&outlines.ink).filter(|path| !on_pieces.contains(path));
    ink(&mut svg, &panel_ink.flatten().collect());
    for (k, image, ink) in &pieces {
        piece(&mut svg, plan, outlines, (*k, image), ink);
    }
    // What a step of stamping is about.
    for (k, image) in images.iter().enumerate() {
        let outline = card.map(|card| card.arts[image.art].outline.placed(image.to_frame).path());
        let outline = outline.as_ref().map(compact_path_data).unwrap_or_default();
        svg.path(outline).set("class", "image").set("data-k", k);
    }
    svg.written()
}

/// A piece on its sheet, with the way to where it is glued.
fn piece(
    svg: &mut Svg,
    plan: &Plan,
    outlines: &Outlines,
    (k, image): (usize, &Image),
    lines: &BezPath,
) {
    let mut group = svg.group().set("class", "piece").set("data-k", k);
    if let Some(glued) = image.glued {
        let [a, b, c, d, e, f] = (glued * image.to_frame.inverse()).as_coeffs();
        let (e, f) = (e * 100.0, f * 100.0);
        let to = format_args!("matrix({a:.5} {b:.5} {c:.5} {d:.5} {e:.1} {f:.1})");
        group = group.set("data-to", to);
    }
    group.holding(|svg| {
        let cut = image
            .cut
            .as_ref()
            .map(|cut| cut.placed(image.to_frame).path());
        svg.path(compact_path_data(&cut.unwrap_or_default()))
            .set("class", "cut");
        for mine in plan.sections.iter().filter(|s| s.image == Some(k)) {
            section(svg, outlines, mine.id);
        }
        ink(svg, lines);
    });
}

fn ink(svg: &mut Svg, lines: &BezPath) {
    svg.path(compact_path_data(lines))
        .set("class", "ink")
        .fill(STAMPED);
}

fn section(svg: &mut Svg, outlines: &Outlines, id: u16) {
    svg.path(compact_path_data(&outlines.sections[usize::from(id) - 1]))
        .set("class", "s")
        .set("data-id", id);
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
            beside: beside(plan, k),
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
        short_wait: SHORT_WAIT_S,
        before: stamping(plan),
        finishing: plan
            .card
            .iter()
            .flat_map(|card| card.finishing.clone())
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

/// The turns across a drawn line from turn `k`, either way: at the table a later one may come first.
fn beside(plan: &Plan, k: usize) -> Vec<usize> {
    let turns = &plan.schedule.turns;
    let later = (k + 1..turns.len()).filter(|&other| turns[other].beside.contains(&k));
    turns[k].beside.iter().copied().chain(later).collect()
}

/// What is stamped and masked, but for the last rest, which the guide times by itself.
fn stamping(plan: &Plan) -> Vec<CardStep> {
    let Some(card) = &plan.card else {
        return Vec::new();
    };
    let rests = usize::from(plan.schedule.stamp_rest_s > 0);
    let own = card.stamping.len().saturating_sub(rests);
    card.stamping[..own].to_vec()
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
