//! What a person wants to know at the end of a plan.

use std::borrow::Cow;
use std::path::Path;

use textwrap::core::display_width;

use crate::accents::Suggestions;
use crate::color::Srgb8;
use crate::pens::FILLING_CM2;
use crate::plan::{Band, Card, CardStep, Does, LaidPhoto, Plan};

use super::clean;

/// Columns of a terminal before the names in the table of passes, and for them at most: with the others, 80 or so.
const BEFORE_NAME: usize = 15;
const LONGEST_NAME: usize = 30;

/// The table of passes, the figures, the choices, and what to look out for. `due` are the pens that will have used up a
/// filling, and what they then have colored in square centimeters; `color` adds swatches for a terminal.
pub fn summary(plan: &Plan, due: &[(String, f64)], out: &Path, color: bool) -> String {
    let mut lines = passes(plan, color);
    lines.push(String::new());
    lines.push(figures(plan));
    lines.push(times(plan));
    lines.extend(plan.alignment.iter().map(laid));
    let from = if plan.alignment.is_empty() {
        "off"
    } else {
        "from the photo"
    };
    let groups = 0..plan.groups.len();
    lines.extend(groups.filter_map(|group| bands_of(plan, group, from)));
    let colored = plan.bands.iter().filter(|band| band.area_mm2 > 0.0);
    lines.extend(colored.map(|band| format!("  {}", choice(band))));
    lines.push(String::new());
    lines.push(without_refill(plan));
    lines.extend(used_up(due));
    lines.extend(outside(plan, color));
    if !plan.warnings.is_empty() {
        lines.push(String::new());
    }
    let notes = plan.warnings.iter();
    lines.extend(notes.map(|warning| format!("Note: {}", clean(warning))));
    lines.push(String::new());
    if let Some(card) = &plan.card {
        lines.push(stamping(card));
        lines.push(String::new());
    }
    lines.extend(sheets(plan, out));
    lines.join("\n") + "\n"
}

/// So many pieces are named in the order of stamping; from memory.
const MOST_NAMED: usize = 6;

/// The order of stamping, in short.
fn stamping(card: &Card) -> String {
    let names = |step: &CardStep| {
        let names = step.images.iter().map(|&i| clean(&card.images[i].name));
        names.collect::<Vec<_>>().join(" and ")
    };
    let masked = |image: usize| {
        let mut masks = card.masks.iter();
        masks
            .find(|mask| mask.images.contains(&image))
            .map_or("", |mask| &mask.name)
    };
    let mut told: Vec<String> = Vec::new();
    for step in &card.stamping {
        let own = step.images.iter().any(|&i| card.images[i].piece);
        match step.does {
            Does::Stamp if own => {
                let pieces = match step.images.len() {
                    n if n > MOST_NAMED => format!("{n} pieces"),
                    _ => names(step),
                };
                told.push(format!("{pieces} on their own card"));
            }
            Does::Stamp => told.push(names(step)),
            Does::LayMask => told.push(format!(
                "mask {} over {}",
                masked(step.images[0]),
                names(step)
            )),
            _ => {}
        }
    }
    format!("Stamp in this order: {}.", told.join(", "))
}

/// What lies in the folder, and what each sheet is for.
fn sheets(plan: &Plan, out: &Path) -> Vec<String> {
    let out = clean(&out.to_string_lossy());
    if plan.card.is_none() && plan.variants.is_empty() && plan.accents.is_none() {
        return vec![format!(
            "The plan is in {out}: print overlay.pdf at 100 %, look at preview.png."
        )];
    }
    let mut all: Vec<(&str, String)> = Vec::new();
    match &plan.card {
        Some(card) => all.extend(of_card(card)),
        None => all.push(("overlay.pdf", "what to trace, and the numbers".to_owned())),
    }
    all.push((
        "guide.html",
        "walks through it all, on the phone".to_owned(),
    ));
    all.push(("preview.png", "the finished card".to_owned()));
    if !plan.variants.is_empty() {
        let served = plan.variants.iter().filter(|v| v.folder.is_some());
        let names: Vec<String> = served.map(|v| clean(&v.name)).collect();
        let names = match names.len() {
            0 => "none could be made".to_owned(),
            _ => names.join(", "),
        };
        let what = format!("the card in other colors: {names}; a folder for each in variants");
        all.push(("variants.png", what));
    }
    if let Some(found) = &plan.accents {
        all.push(("accents.png", accents(found)));
    }
    let lines = all
        .into_iter()
        .map(|(name, what)| format!("  {name:<14}  {what}"));
    std::iter::once(format!("The plan is in {out}; print at 100 %:"))
        .chain(lines)
        .collect()
}

/// The sheets of a card of stamps and pieces.
fn of_card(card: &Card) -> Vec<(&'static str, String)> {
    let layout = "where everything is stamped, and the order of work with all rests";
    let mut all = vec![("layout.pdf", layout.to_owned())];
    match card.masks.len() {
        0 => {}
        1 => all.push(("masks.pdf", "1 mask to cut out".to_owned())),
        n => all.push(("masks.pdf", format!("{n} masks to cut out"))),
    }
    let sheets = card.grounds.len() - 1;
    let also = if sheets > 0 { ", panel and pieces" } else { "" };
    all.push((
        "overlay.pdf",
        format!("what to trace, and the numbers{also}"),
    ));
    match sheets {
        0 => {}
        1 => all.push((
            "cut-1.svg",
            "cut lines of the pieces, for a cutting machine".to_owned(),
        )),
        n => {
            let what = format!("cut lines of {n} sheets of pieces, for a cutting machine");
            all.push(("cut-1.svg ...", what));
        }
    }
    all
}

/// What of the things owned goes with the card.
fn accents(found: &Suggestions) -> String {
    let rows = [
        ("matching", &found.matching),
        ("standing out", &found.standing_out),
        ("card of its colors", &found.base_matching),
        ("card standing out", &found.base_standing_out),
    ];
    let told: Vec<String> = rows
        .iter()
        .filter(|(_, list)| !list.is_empty())
        .map(|(what, list)| {
            let names: Vec<String> = list.iter().map(|s| clean(&s.name)).collect();
            format!("{what}: {}", names.join(", "))
        })
        .collect();
    if told.is_empty() {
        return "nothing of your table goes with it".to_owned();
    }
    told.join("; ")
}

/// A color as it is, on a terminal, or by its name.
fn swatch(color: Srgb8, on_terminal: bool) -> String {
    let [r, g, b] = color.0;
    if on_terminal {
        format!("\x1b[48;2;{r};{g};{b}m       \x1b[0m")
    } else {
        color.to_string()
    }
}

/// One line for every pass, below a head; a long name goes on below itself.
fn passes(plan: &Plan, color: bool) -> Vec<String> {
    let names = plan.numbers.iter().filter_map(|n| n.pen.as_ref());
    let width = names.map(|pen| display_width(&clean(&pen.name))).max();
    let width = width.unwrap_or(0).clamp(10, LONGEST_NAME);
    let mut lines = vec![format!(
        " no.  color    {:<width$}  sections      area  refill",
        "pen"
    )];
    for n in &plan.numbers {
        let (name, refill) = match &n.pen {
            Some(pen) => (clean(&pen.name), if pen.refill { "yes" } else { "no" }),
            None => ("bare paper".to_owned(), ""),
        };
        let mut names = column(&name, width).into_iter();
        lines.push(format!(
            "{:>4}  {}  {}  {:>8}  {:>4.1} cm2  {refill:<6}  {}",
            n.mark(),
            swatch(n.color, color),
            names.next().unwrap_or_default(),
            n.sections,
            n.area_mm2 / 100.0,
            clean(&plan.coat_text(n).unwrap_or_default()),
        ));
        lines.extend(names.map(|rest| format!("{:BEFORE_NAME$}{}", "", rest.trim_end())));
    }
    lines
}

/// Text as lines of just so many columns of a terminal.
fn column(text: &str, width: usize) -> Vec<String> {
    let padded = |line: Cow<str>| {
        let missing = width.saturating_sub(display_width(&line));
        format!("{line}{:missing$}", "")
    };
    textwrap::wrap(text, width)
        .into_iter()
        .map(padded)
        .collect()
}

fn figures(plan: &Plan) -> String {
    let f = &plan.figures;
    format!(
        "{} sections, {:.0} cm to trace, narrowest {:.1} mm; mean color difference to {} {:.1} (CIEDE2000).",
        f.sections,
        f.trace_mm / 10.0,
        f.narrowest_mm,
        model(plan),
        f.mean_delta_e
    )
}

/// What the panel is held against.
fn model(plan: &Plan) -> &'static str {
    if plan.alignment.is_empty() {
        "the parts in their light"
    } else {
        "the photo"
    }
}

/// How long coloring and waiting take.
fn times(plan: &Plan) -> String {
    let s = &plan.schedule;
    let minutes = |seconds: u32| format!("{:.0}", f64::from(seconds) / 60.0);
    let mut line = format!(
        "About {} min of coloring and {} of waiting, in {} turns",
        minutes(s.coloring_s),
        minutes(s.waiting_s),
        s.turns.len()
    );
    let saved = s.light_to_dark_s.saturating_sub(s.coloring_s + s.waiting_s);
    if saved >= 30 {
        line += &format!(
            "; strictly from light to dark it would take {} min more",
            minutes(saved)
        );
    }
    if s.stamp_rest_s > 0 {
        line += &format!(
            "; the stamped ink rests {} min first",
            minutes(s.stamp_rest_s)
        );
    }
    line + "."
}

fn laid(photo: &LaidPhoto) -> String {
    let agreement = photo.agreement.map_or_else(String::new, |a| {
        format!("; subject and drawing agree by {a:.2}")
    });
    format!(
        "  {} lies by {}{agreement}.",
        clean(&photo.photo),
        photo.told
    )
}

/// How near a group comes to what it is held against with its bands, and with one fewer or more.
fn bands_of(plan: &Plan, g: usize, from: &str) -> Option<String> {
    let group = &plan.groups[g];
    let n = group.bands;
    let at = |n: usize| group.mean_delta_e_by_bands.get(n.checked_sub(1)?).copied();
    let now = at(n)?;
    let others: Vec<String> = [n - 1, n + 1]
        .into_iter()
        .filter_map(|other| Some(format!("with {other}: {:.1}", at(other)?)))
        .collect();
    let others = match others.is_empty() {
        true => String::new(),
        false => format!("; {}", others.join(", ")),
    };
    Some(format!(
        "  {:<10} {:>3.0} % of the area in {n} band{}{} ({now:.1} {from}{others})",
        group.name,
        group.share * 100.0,
        if n == 1 { "" } else { "s" },
        stays_bare(plan, g),
    ))
}

/// How much of a group stays bare paper; nothing is told of one that is colored all over.
fn stays_bare(plan: &Plan, group: usize) -> String {
    let mine = plan.bands.iter().filter(|band| band.group == group);
    let area = |bare_only: bool| {
        let counted = mine.clone().filter(|b| b.pen.is_none() || !bare_only);
        counted.map(|b| b.area_mm2).sum::<f64>()
    };
    match area(true) / area(false) {
        share if share > 0.0 => format!(", {:.0} % of it bare paper", 100.0 * share),
        _ => String::new(),
    }
}

/// The pens that have no refill, and what they color.
fn without_refill(plan: &Plan) -> String {
    let mut inked: Vec<(&str, f64)> = Vec::new();
    let used = plan.ink_used();
    for ink in used.iter().filter(|ink| !ink.pen.refill) {
        let area = ink.area_mm2 * f64::from(ink.coats);
        match inked.iter_mut().find(|(name, _)| *name == ink.pen.name) {
            Some((_, sum)) => *sum += area,
            None => inked.push((&ink.pen.name, area)),
        }
    }
    if inked.is_empty() {
        return "Every pen used has a refill at hand.".to_owned();
    }
    let inked: Vec<String> = inked
        .iter()
        .map(|(name, area)| format!("{} ({:.1} cm2)", clean(name), area / 100.0))
        .collect();
    format!(
        "Without a refill: {}. A pen that runs dry inside a section leaves a seam: refill it before you start.",
        inked.join(", ")
    )
}

fn used_up(due: &[(String, f64)]) -> Option<String> {
    let pens: Vec<String> = due
        .iter()
        .map(|(pen, cm2)| format!("{} ({cm2:.0} cm2)", clean(pen)))
        .collect();
    (!pens.is_empty()).then(|| {
        format!(
            "By the record, with this plan, a filling (about {FILLING_CM2:.0} cm2) is used up: {}. Refill before you start.",
            pens.join(", ")
        )
    })
}

/// Pens that would do for what lies outside the drawing.
fn outside(plan: &Plan, color: bool) -> Vec<String> {
    let Some(first) = plan.backdrops.first() else {
        return Vec::new();
    };
    let mut lines = vec![
        String::new(),
        format!(
            "For the outside ({:.0} cm2), see backgrounds.png:",
            first.area_mm2 / 100.0
        ),
    ];
    for (i, b) in plan.backdrops.iter().enumerate() {
        lines.push(format!(
            "  {}. {} {}: along the silhouette apart by {:.0} in lightness and {:.0} in hue{}",
            i + 1,
            swatch(b.color, color),
            clean(&b.pen),
            b.lightness,
            b.hue,
            if b.refill { "" } else { "; no refill" }
        ));
    }
    lines
}

/// What a band is given, how far off that is, why, and what would come next.
fn choice(band: &Band) -> String {
    let given = match (&band.pen, &band.under) {
        (None, _) => "bare paper".to_owned(),
        (Some(pen), None) => clean(pen),
        (Some(pen), Some(under)) if under == pen => format!("{} in two coats", clean(pen)),
        (Some(pen), Some(under)) => format!("{} over {}", clean(pen), clean(under)),
    };
    // It may be the very pen, in one coat.
    let name = |pen: &str| match band.pen.as_deref() == Some(pen) {
        true => "one coat of it".to_owned(),
        false => clean(pen),
    };
    let next: Vec<String> = band
        .runner_ups
        .iter()
        .map(|r| format!("{} ({:.1})", name(&r.pen), r.delta_e))
        .collect();
    let next = if next.is_empty() {
        String::new()
    } else {
        format!("; else {}", next.join(" or "))
    };
    format!(
        "{}: {given} ({:.1}), {}{next}",
        band.name,
        band.delta_e,
        clean(&band.why)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_names_keep_to_their_column() {
        let one_word = "Dunkelpflaumenblau".repeat(4);
        let words = "Dark Plum of the Second Box, bought in Spring, with the Broad Nib";
        // Chinese signs are two columns wide each (Unicode Standard Annex 11).
        let wide = "\u{6df1}\u{7d2b}".repeat(20);
        for name in [&one_word, words, &wide, "Moss"] {
            let lines = column(name, LONGEST_NAME);
            assert!(
                lines.iter().all(|l| display_width(l) == LONGEST_NAME),
                "{lines:?}"
            );
            let told: String = lines.concat().split_whitespace().collect();
            assert_eq!(told, name.split_whitespace().collect::<String>());
        }
        assert_eq!(column("Moss", 10), ["Moss      "]);
        assert_eq!(column("", 3), ["   "]);
    }
}
