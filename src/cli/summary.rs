//! What a person wants to know at the end of a plan.

use std::path::Path;

use crate::color::Srgb8;
use crate::pens::FILLING_CM2;
use crate::plan::{Band, Plan};

use super::clean;

/// The table of passes, the figures, the choices, and what to look out for. `due` are the pens that will have used up a
/// filling, and what they then have colored in square centimeters; `color` adds swatches for a terminal.
pub fn summary(plan: &Plan, due: &[(String, f64)], out: &Path, color: bool) -> String {
    use std::fmt::Write;
    let mut text = String::new();
    let swatch = |c: Srgb8| {
        let [r, g, b] = c.0;
        if color {
            format!("\x1b[48;2;{r};{g};{b}m      \x1b[0m")
        } else {
            c.to_string()
        }
    };
    let width = plan
        .numbers
        .iter()
        .filter_map(|n| n.pen.as_ref())
        .map(|p| p.name.chars().count())
        .max()
        .unwrap_or(0)
        .clamp(10, 30);
    let _ = writeln!(
        text,
        "pass  color    {:<width$}  sections      area  refill",
        "pen"
    );
    for n in &plan.numbers {
        let (name, refill) = match &n.pen {
            Some(pen) => (clean(&pen.name), if pen.refill { "yes" } else { "no" }),
            None => ("bare paper".to_owned(), ""),
        };
        let _ = writeln!(
            text,
            "{:>4}  {}  {name:<width$}  {:>8}  {:>4.1} cm2  {refill:<6}  {}",
            Plan::number_text(n.number),
            swatch(n.color),
            n.sections,
            n.area_mm2 / 100.0,
            clean(&plan.coat_text(n).unwrap_or_default()),
        );
    }
    let f = &plan.figures;
    let _ = writeln!(
        text,
        "\n{} sections, {:.0} cm to trace, narrowest {:.1} mm; mean color difference to the photo {:.1} (CIEDE2000).",
        f.sections,
        f.trace_mm / 10.0,
        f.narrowest_mm,
        f.mean_delta_e
    );
    let s = &plan.schedule;
    let minutes = |seconds: u32| format!("{:.0}", f64::from(seconds) / 60.0);
    let saved = s.light_to_dark_s.saturating_sub(s.coloring_s + s.waiting_s);
    let _ = writeln!(
        text,
        "About {} min of coloring and {} of waiting, in {} turns{}{}.",
        minutes(s.coloring_s),
        minutes(s.waiting_s),
        s.turns.len(),
        if saved >= 30 {
            format!(
                "; strictly from light to dark it would take {} min more",
                minutes(saved)
            )
        } else {
            String::new()
        },
        if s.stamp_rest_s > 0 {
            format!(
                "; the stamped ink rests {} min first",
                minutes(s.stamp_rest_s)
            )
        } else {
            String::new()
        }
    );
    for alignment in &plan.alignment {
        let _ = writeln!(
            text,
            "  {} lies by {}{}.",
            clean(&alignment.photo),
            alignment.told,
            alignment
                .agreement
                .map(|a| format!("; subject and drawing agree by {a:.2}"))
                .unwrap_or_default()
        );
    }
    for group in plan.groups.iter().filter(|g| g.bands > 0) {
        let at = |n: usize| group.mean_delta_e_by_bands.get(n - 1).copied();
        let (Some(now), n) = (at(group.bands), group.bands) else {
            continue;
        };
        let mut others = Vec::new();
        if n > 1
            && let Some(fewer) = at(n - 1)
        {
            others.push(format!("with {}: {fewer:.1}", n - 1));
        }
        if let Some(more) = at(n + 1) {
            others.push(format!("with {}: {more:.1}", n + 1));
        }
        let _ = writeln!(
            text,
            "  {:<10} {:>3.0} % of the area in {n} band{} ({now:.1} from the photo; {})",
            group.name,
            group.share * 100.0,
            if n == 1 { "" } else { "s" },
            others.join(", ")
        );
    }
    for band in plan.bands.iter().filter(|b| b.area_mm2 > 0.0) {
        let _ = writeln!(text, "  {}", choice_line(band));
    }
    let mut without: Vec<(&str, f64)> = Vec::new();
    for ink in plan.ink_used().iter().filter(|ink| !ink.pen.refill) {
        let inked = ink.area_mm2 * f64::from(ink.coats);
        match without.iter_mut().find(|(name, _)| *name == ink.pen.name) {
            Some((_, area)) => *area += inked,
            None => without.push((&ink.pen.name, inked)),
        }
    }
    let without: Vec<String> = without
        .iter()
        .map(|(name, area)| format!("{} ({:.0} cm2)", clean(name), area / 100.0))
        .collect();
    if without.is_empty() {
        let _ = writeln!(text, "\nEvery pen used has a refill at hand.");
    } else {
        let _ = writeln!(
            text,
            "\nWithout a refill: {}. A pen that runs dry inside a section leaves a seam: refill it before you start.",
            without.join(", ")
        );
    }
    if !due.is_empty() {
        let due: Vec<String> = due
            .iter()
            .map(|(pen, cm2)| format!("{} ({cm2:.0} cm2)", clean(pen)))
            .collect();
        let _ = writeln!(
            text,
            "By the record, with this plan, a filling (about {FILLING_CM2:.0} cm2) is used up: {}. Refill before you start.",
            due.join(", ")
        );
    }
    if !plan.backdrops.is_empty() {
        let _ = writeln!(
            text,
            "\nFor the outside ({:.0} cm2), see backgrounds.png:",
            plan.backdrops[0].area_mm2 / 100.0
        );
    }
    for (i, b) in plan.backdrops.iter().enumerate() {
        let _ = writeln!(
            text,
            "  {}. {} {}: along the silhouette apart by {:.0} in lightness and {:.0} in hue{}",
            i + 1,
            swatch(b.color),
            clean(&b.pen),
            b.lightness,
            b.hue,
            if b.refill { "" } else { "; no refill" }
        );
    }
    if !plan.warnings.is_empty() {
        text.push('\n');
    }
    for warning in &plan.warnings {
        let _ = writeln!(text, "Note: {}", clean(warning));
    }
    let _ = writeln!(
        text,
        "\nThe plan is in {}: print overlay.pdf at 100 %, look at preview.png.",
        out.display()
    );
    text
}

/// What a band is given, how far off that is, why, and what would come next.
fn choice_line(band: &Band) -> String {
    let given = match (&band.pen, &band.under) {
        (None, _) => "bare paper".to_owned(),
        (Some(pen), None) => clean(pen),
        (Some(pen), Some(under)) if under == pen => format!("{} in two coats", clean(pen)),
        (Some(pen), Some(under)) => format!("{} over {}", clean(pen), clean(under)),
    };
    let next: Vec<String> = band
        .runner_ups
        .iter()
        .map(|r| format!("{} ({:.1})", clean(&r.pen), r.delta_e))
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
