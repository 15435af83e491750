//! What goes with a plan, in small pictures.

use std::fmt::Write;

use crate::accents::{Suggestion, Suggestions};

use super::Sheet;
use super::lettering::Letters;
use super::page::{FRAME_GRAY, LINE_GRAY, close, open, paragraph, text};

/// A small picture of the card, and what stands below it, in millimeters.
const PICTURE_MM: f64 = 38.0;
const CAPTION_MM: f64 = 18.0;
/// Lines of what speaks for a thing: as many as there is room for.
const CAPTION_LINES: usize = 4;
const GAP_MM: f64 = 7.0;
const TITLE_MM: f64 = 9.0;
/// How far card stands out around the panel, as a share of the picture.
const MAT: f64 = 0.09;

/// Rows of pictures: what matches, what stands out, and card to mount it on. `card` is the finished card.
pub fn accents(found: &Suggestions, card: &Sheet) -> Sheet {
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
    let scale = PICTURE_MM / card.width_mm.max(card.height_mm);
    let (w, h) = (card.width_mm * scale, card.height_mm * scale);
    let mat = MAT * PICTURE_MM;
    let across = (w + 2.0 * mat).max(44.0) + GAP_MM;
    let down = TITLE_MM + h + 2.0 * mat + CAPTION_MM;
    let size = (
        GAP_MM + most as f64 * across,
        GAP_MM + rows.len().max(1) as f64 * down,
    );
    let mut svg = open(size);
    // The card once, shown again and again.
    let _ = writeln!(
        svg,
        "<defs><g id=\"card\"><g transform=\"scale({scale:.6})\">{}</g></g></defs>",
        card.inner()
    );
    if rows.is_empty() {
        text(
            &mut svg,
            GAP_MM,
            GAP_MM + 4.0,
            3.4,
            "",
            "Nothing in the table goes with this card.",
        );
    }
    for (r, (title, list)) in rows.iter().enumerate() {
        let top = GAP_MM + r as f64 * down;
        text(
            &mut svg,
            GAP_MM,
            top + 4.0,
            4.2,
            " font-weight=\"bold\"",
            title,
        );
        for (i, suggestion) in list.iter().enumerate() {
            let x = GAP_MM + i as f64 * across;
            picture(&mut svg, suggestion, (x, top + TITLE_MM), (w, h), mat);
            let y = top + TITLE_MM + h + 2.0 * mat + 4.2;
            caption(&mut svg, suggestion, (x, y), across - 2.0);
        }
    }
    close(svg, size)
}

/// Name, kind and what speaks for it, below its picture.
fn caption(svg: &mut String, thing: &Suggestion, (x, y): (f64, f64), width: f64) {
    let name = Letters::bold(3.2).fitting(&thing.name, width).size_mm;
    text(svg, x, y, name, " font-weight=\"bold\"", &thing.name);
    let line = format!("{}, {}", thing.kind, thing.color);
    let kind = Letters::regular(2.6).fitting(&line, width).size_mm;
    text(svg, x, y + 3.7, kind, "", &line);
    let letters = Letters::regular(2.2);
    let mut lines = letters.lines(&thing.why, width);
    lines.truncate(CAPTION_LINES);
    paragraph(svg, (x, y + 7.0), letters, " fill=\"#555555\"", &lines);
}

/// The card with the thing: mounted on card of its color, with a band of what is tied or glued along it, with three dots of
/// what is set on it; with both where the kind says neither.
fn picture(svg: &mut String, thing: &Suggestion, (x, y): (f64, f64), (w, h): (f64, f64), mat: f64) {
    let base = thing.kind.eq_ignore_ascii_case("card");
    let ground = if base {
        thing.color.to_string()
    } else {
        "#ffffff".to_owned()
    };
    let _ = writeln!(
        svg,
        "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{:.2}\" height=\"{:.2}\" fill=\"{ground}\" stroke=\"{FRAME_GRAY}\" stroke-width=\"0.15\"/>\n\
         <use href=\"#card\" x=\"{:.2}\" y=\"{:.2}\"/>\n\
         <rect x=\"{:.2}\" y=\"{:.2}\" width=\"{w:.2}\" height=\"{h:.2}\" fill=\"none\" stroke=\"{FRAME_GRAY}\" stroke-width=\"0.1\"/>",
        w + 2.0 * mat,
        h + 2.0 * mat,
        x + mat,
        y + mat,
        x + mat,
        y + mat
    );
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
    let band = h * 0.055;
    let at = y + mat + h * 0.9;
    if along {
        let _ = writeln!(
            svg,
            "<rect x=\"{:.2}\" y=\"{at:.2}\" width=\"{w:.2}\" height=\"{band:.2}\" fill=\"{}\"/>",
            x + mat,
            thing.color
        );
    }
    for n in 0..if set { 3 } else { 0 } {
        let _ = writeln!(
            svg,
            "<circle cx=\"{:.2}\" cy=\"{:.2}\" r=\"{:.2}\" fill=\"{}\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.08\"/>",
            x + mat + w - 2.0 - 2.6 * f64::from(n),
            at - 1.6,
            1.0,
            thing.color
        );
    }
}
