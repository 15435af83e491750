//! What goes with a plan, in small pictures.

use kurbo::{Rect, Vec2};

use crate::accents::{Suggestion, Suggestions};

use super::Sheet;
use super::lettering::Letters;
use super::page::{FRAME_GRAY, LINE_GRAY, PALER_TEXT, open};
use super::preview::Finished;
use super::svg::{Mm, Svg};

/// A small picture of the card, and what stands below it, in millimeters.
const PICTURE_MM: f64 = 38.0;
const CAPTION_MM: f64 = 18.0;
/// Lines of what speaks for a thing: as many as there is room for.
const CAPTION_LINES: usize = 4;
const GAP_MM: f64 = 7.0;
const TITLE_MM: f64 = 9.0;
/// How far card stands out around the panel, as a share of the picture.
const MAT: f64 = 0.09;

/// Rows of pictures: what matches, what stands out, and card to mount it on.
pub fn accents(found: &Suggestions, card: &Finished) -> Sheet {
    let rows = [
        ("Matches a color of the card", &found.matching),
        ("Stands out against it", &found.standing_out),
        ("Card to mount it on: in its colors", &found.base_matching),
        (
            "Card to mount it on: standing out",
            &found.base_standing_out,
        ),
    ];
    let rows: Vec<_> = rows.iter().filter(|(_, list)| !list.is_empty()).collect();
    let most = rows
        .iter()
        .map(|(_, list)| list.len())
        .max()
        .unwrap_or(0)
        .max(2);
    let (w, h) = card.size_mm;
    let scale = PICTURE_MM / w.max(h);
    let (w, h) = (w * scale, h * scale);
    let mat = MAT * PICTURE_MM;
    let across = (w + 2.0 * mat).max(44.0) + GAP_MM;
    let down = TITLE_MM + h + 2.0 * mat + CAPTION_MM;
    let size = (
        GAP_MM + most as f64 * across,
        GAP_MM + rows.len().max(1) as f64 * down,
    );
    let mut svg = open(size);
    // The card once, shown again and again.
    svg.element("defs").holding(|svg| {
        let whole = svg.group().set("id", "card");
        whole.holding(|svg| {
            let small = svg
                .group()
                .set("transform", format_args!("scale({scale:.6})"));
            small.holding(|svg| card.draw(svg));
        });
    });
    if rows.is_empty() {
        svg.text((GAP_MM, GAP_MM + 4.0), Letters::regular(3.4))
            .saying("Nothing in the table goes with this card.");
    }
    for (r, (title, list)) in rows.iter().enumerate() {
        let top = GAP_MM + r as f64 * down;
        svg.text((GAP_MM, top + 4.0), Letters::bold(4.2))
            .saying(title);
        for (i, suggestion) in list.iter().enumerate() {
            let x = GAP_MM + i as f64 * across;
            picture(&mut svg, suggestion, (x, top + TITLE_MM), (w, h), mat);
            let y = top + TITLE_MM + h + 2.0 * mat + 4.2;
            caption(&mut svg, suggestion, (x, y), across - 2.0);
        }
    }
    svg.sheet()
}

/// Name, kind and what speaks for it, below its picture.
fn caption(svg: &mut Svg, thing: &Suggestion, (x, y): (f64, f64), width: f64) {
    let name = Letters::bold(3.2).fitting(&thing.name, width);
    svg.text((x, y), name).saying(&thing.name);
    let line = format!("{}, {}", thing.kind, thing.color);
    let kind = Letters::regular(2.6).fitting(&line, width);
    svg.text((x, y + 3.7), kind).saying(&line);
    let letters = Letters::regular(2.2).colored(PALER_TEXT);
    let mut lines = letters.lines(&thing.why, width);
    lines.truncate(CAPTION_LINES);
    svg.paragraph((x, y + 7.0), letters, &lines);
}

/// The card with the thing: mounted on card of its color, with a band of what is tied or glued along it, with three dots of
/// what is set on it; with both where the kind says neither.
fn picture(svg: &mut Svg, thing: &Suggestion, (x, y): (f64, f64), (w, h): (f64, f64), mat: f64) {
    let base = thing.kind.eq_ignore_ascii_case("card");
    let ground = if base {
        thing.color.to_string()
    } else {
        "#ffffff".to_owned()
    };
    let card = Rect::new(0.0, 0.0, w, h) + Vec2::new(x + mat, y + mat);
    svg.rect(card.inflate(mat, mat))
        .fill(ground)
        .stroke(FRAME_GRAY, 0.15);
    svg.element("use")
        .set("href", "#card")
        .set("x", Mm(card.x0))
        .set("y", Mm(card.y0));
    svg.rect(card).line(FRAME_GRAY, 0.1);
    if base {
        return;
    }
    let is = |kinds: &[&str]| {
        let kind = thing.kind.to_lowercase();
        kinds.iter().any(|k| kind.contains(k))
    };
    let (along, set) = (
        is(&["ribbon", "thread", "twine", "cord", "tape"]),
        is(&["gem", "bead", "pearl", "dot", "sequin"]),
    );
    let (along, set) = (along || !set, set || !along);
    let at = card.y0 + h * 0.9;
    if along {
        svg.rect(Rect::new(card.x0, at, card.x1, at + h * 0.055))
            .fill(thing.color);
    }
    for n in 0..if set { 3 } else { 0 } {
        let x = card.x1 - 2.0 - 2.6 * f64::from(n);
        svg.circle((x, at - 1.6), 1.0)
            .fill(thing.color)
            .stroke(LINE_GRAY, 0.08);
    }
}
