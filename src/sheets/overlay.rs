//! The overlay: the true-size sheet to trace from, with the key.

use std::fmt::Write;

use crate::borders::{Label, MM_PER_PT, Outlines};
use crate::error::{Error, Result};
use crate::job::Page;
use crate::plan::Plan;

use super::Sheet;
use super::key::shortened;
use super::page::{
    DRAFTING_BLUE, FOOTER_MM, FRAME_GRAY, HEADER_MM, LINE_GRAY, MARGIN_MM, NUMBER_BLUE, close,
    footer, header, open, text,
};
use super::svg::path_data;

const GAP_MM: f64 = 6.0;
/// One entry of the key.
const KEY_ROW_MM: f64 = 5.6;
const KEY_COLUMN_MM: f64 = 62.0;
/// Longest pen name in the key, in characters; the rest is in plan.json.
const KEY_NAME: usize = 24;
/// The same for the line below it.
const KEY_LINE: usize = 46;
/// Width of a border line, in millimeters: a sharp pencil's.
const BORDER_MM: f64 = 0.25;

/// Lines that marker ink covers; from memory.
const PALE_LINE: &str = "#dcdcdc";

/// Where everything goes on the page.
struct Layout {
    width: f64,
    height: f64,
    art: (f64, f64),
    /// Left, top and number of columns; `None`: the key has a page of its own.
    key: Option<(f64, f64, usize)>,
}

impl Layout {
    fn size(&self) -> (f64, f64) {
        (self.width, self.height)
    }
}

fn room(page: (f64, f64)) -> (f64, f64) {
    (
        page.0 - 2.0 * MARGIN_MM,
        page.1 - 2.0 * MARGIN_MM - HEADER_MM - FOOTER_MM,
    )
}

/// Refuses art larger than the page, upright or turned.
///
/// # Errors
/// Says how large the art may be.
pub fn check_fits(size_mm: [f64; 2], page: Page) -> Result<()> {
    let (w, h) = page.size_mm();
    let (upright, turned) = (room((w, h)), room((h, w)));
    let fits = |room: (f64, f64)| size_mm[0] <= room.0 && size_mm[1] <= room.1;
    if fits(upright) || fits(turned) {
        return Ok(());
    }
    Err(Error::new(
        format!(
            "the panel is {:.0} x {:.0} mm, but a sheet of {page:?} has room for {:.0} x {:.0} mm, or {:.0} x {:.0} mm turned",
            size_mm[0], size_mm[1], upright.0, upright.1, turned.0, turned.1
        ),
        "Give a smaller --width, or cut the drawing into two jobs.",
    ))
}

fn layout(plan: &Plan) -> Layout {
    let [art_w, art_h] = plan.size_mm;
    let (w, h) = plan.job.page.size_mm();
    let entries = plan.numbers.len();
    let top = MARGIN_MM + HEADER_MM;
    let centered = |width: f64| (width - art_w) / 2.0;
    for (width, height) in [(w, h), (h, w)] {
        let room = room((width, height));
        if art_w > room.0 || art_h > room.1 {
            continue;
        }
        let columns = ((room.0 / KEY_COLUMN_MM) as usize).max(1);
        let rows = entries.div_ceil(columns);
        if art_h + GAP_MM + rows as f64 * KEY_ROW_MM <= room.1 {
            let key = Some((MARGIN_MM, top + art_h + GAP_MM, columns));
            return Layout {
                width,
                height,
                art: (centered(width), top),
                key,
            };
        }
        if art_w + GAP_MM + KEY_COLUMN_MM <= room.0 && entries as f64 * KEY_ROW_MM <= room.1 {
            let key = Some((MARGIN_MM + art_w + GAP_MM, top, 1));
            return Layout {
                width,
                height,
                art: (MARGIN_MM, top),
                key,
            };
        }
    }
    let upright = room((w, h));
    let (width, height) = if art_w <= upright.0 && art_h <= upright.1 {
        (w, h)
    } else {
        (h, w)
    };
    Layout {
        width,
        height,
        art: (centered(width), top),
        key: None,
    }
}

/// The overlay, and a second page for the key where it does not fit beside the art.
/// `over` is drawn over the art, in its millimeters.
pub fn overlay_pages(plan: &Plan, outlines: &Outlines, labels: &[Label], over: &str) -> Vec<Sheet> {
    let layout = layout(plan);
    let mut svg = open(layout.size());
    let mirrored = if plan.job.mirror {
        ", mirrored for tracing from the back"
    } else {
        ""
    };
    let [w, h] = plan.size_mm;
    let ground = plan.card.as_ref().map_or("panel", |c| &c.grounds[0].name);
    header(
        &mut svg,
        &format!("Overlay, true size{mirrored}"),
        &format!(
            "{w:.0} x {h:.0} mm {ground}, {} sections, {} passes. Trace the blue lines lightly; color 1 first.",
            plan.figures.sections,
            plan.numbers.iter().filter(|n| n.number > 0).count()
        ),
    );
    panel(&mut svg, &layout, plan, outlines, labels, over);
    footer(&mut svg, layout.height);
    let mut pages = Vec::new();
    match layout.key {
        Some((x, y, columns)) => {
            key(&mut svg, plan, x, y, columns);
            pages.push(close(svg, layout.size()));
        }
        None => {
            pages.push(close(svg, layout.size()));
            let mut svg = open(layout.size());
            header(&mut svg, "Key", "Numbers are the order of work.");
            let columns = ((layout.width - 2.0 * MARGIN_MM) / KEY_COLUMN_MM) as usize;
            key(
                &mut svg,
                plan,
                MARGIN_MM,
                MARGIN_MM + HEADER_MM,
                columns.max(1),
            );
            footer(&mut svg, layout.height);
            pages.push(close(svg, layout.size()));
        }
    }
    pages
}

/// The overlay without numbers or key, in lines so pale that marker ink covers them: to be printed onto the card
/// itself, and so never mirrored.
pub fn pale_page(plan: &Plan, outlines: &Outlines) -> Sheet {
    let layout = layout(plan);
    let mut svg = open(layout.size());
    header(
        &mut svg,
        "Pale lines, true size",
        "To be printed onto the card itself instead of tracing; try on a scrap whether your ink covers the lines.",
    );
    let look = Look {
        border: PALE_LINE,
        ink: PALE_LINE,
        mirrored: false,
    };
    art(&mut svg, &layout, plan, outlines, &look);
    svg.push_str("</g>\n");
    footer(&mut svg, layout.height);
    close(svg, layout.size())
}

/// The drawing: ink gray over blue borders, numbers, leaders.
fn panel(
    svg: &mut String,
    layout: &Layout,
    plan: &Plan,
    outlines: &Outlines,
    labels: &[Label],
    over: &str,
) {
    let look = Look {
        border: DRAFTING_BLUE,
        ink: LINE_GRAY,
        mirrored: plan.job.mirror,
    };
    art(svg, layout, plan, outlines, &look);
    let w = plan.size_mm[0];
    let place = |at: kurbo::Point| {
        if plan.job.mirror {
            (w - at.x, at.y)
        } else {
            (at.x, at.y)
        }
    };
    for label in labels {
        let (lx, ly) = place(label.at);
        let size = label.size_pt * MM_PER_PT;
        if let Some(to) = label.leader_to {
            let (tx, ty) = place(to);
            // The leader starts where the number's own clear space ends.
            let start = size * 0.62;
            let far = (tx - lx).hypot(ty - ly).max(1e-6);
            let (sx, sy) = (lx + (tx - lx) * start / far, ly + (ty - ly) * start / far);
            let _ = writeln!(
                svg,
                "<path d=\"M{sx:.2} {sy:.2}L{tx:.2} {ty:.2}\" stroke=\"{NUMBER_BLUE}\" stroke-width=\"0.12\" fill=\"none\"/>\
                 <circle cx=\"{tx:.2}\" cy=\"{ty:.2}\" r=\"0.3\" fill=\"{NUMBER_BLUE}\"/>"
            );
        }
        // Digits are 0.73 em high: half of that below the middle is the baseline.
        let attributes =
            format!(" text-anchor=\"middle\" font-weight=\"bold\" fill=\"{NUMBER_BLUE}\"");
        text(svg, lx, ly + size * 0.365, size, &attributes, &label.text);
    }
    svg.push_str(over);
    svg.push_str("</g>\n");
}

/// Colors of the lines, and whether they are drawn for the back of the paper.
struct Look {
    border: &'static str,
    ink: &'static str,
    mirrored: bool,
}

/// Opens a group at the art's place on the page, and draws its frame, the borders and the ink.
fn art(svg: &mut String, layout: &Layout, plan: &Plan, outlines: &Outlines, look: &Look) {
    let Look {
        border,
        ink,
        mirrored,
    } = look;
    let (x, y) = layout.art;
    let [w, h] = plan.size_mm;
    let flip = if *mirrored {
        format!(" transform=\"matrix(-1 0 0 1 {w} 0)\"")
    } else {
        String::new()
    };
    let borders: String = outlines
        .arcs
        .iter()
        .filter(|a| a.is_border())
        .map(|a| path_data(&a.path))
        .collect();
    let _ = writeln!(
        svg,
        "<g transform=\"translate({x:.2} {y:.2})\">\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"none\" stroke=\"{FRAME_GRAY}\" stroke-width=\"0.15\"/>\n\
         <g{flip}>\n\
         <path d=\"{borders}\" fill=\"none\" stroke=\"{border}\" stroke-width=\"{BORDER_MM}\" \
         stroke-linecap=\"round\" stroke-linejoin=\"round\"/>\n\
         <path d=\"{}\" fill=\"{ink}\" fill-rule=\"evenodd\"/>\n</g>",
        path_data(&outlines.ink)
    );
}

/// Number, swatch, name, area and refill of every pen.
fn key(svg: &mut String, plan: &Plan, x: f64, y: f64, columns: usize) {
    let rows = plan.numbers.len().div_ceil(columns);
    for (i, entry) in plan.numbers.iter().enumerate() {
        let (column, row) = (i / rows, i % rows);
        let (x, y) = (
            x + column as f64 * KEY_COLUMN_MM,
            y + row as f64 * KEY_ROW_MM,
        );
        let attributes =
            format!(" text-anchor=\"end\" font-weight=\"bold\" fill=\"{NUMBER_BLUE}\"");
        text(
            svg,
            x + 5.0,
            y + 3.6,
            3.4,
            &attributes,
            &Plan::number_text(entry.number),
        );
        let _ = writeln!(
            svg,
            "<rect x=\"{:.2}\" y=\"{:.2}\" width=\"8\" height=\"4.2\" fill=\"{}\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.12\"/>",
            x + 6.4,
            y + 0.3,
            entry.color
        );
        let name = entry
            .pen
            .as_ref()
            .map_or("leave the paper bare", |p| p.name.as_str());
        text(svg, x + 15.8, y + 2.5, 2.9, "", &shortened(name, KEY_NAME));
        let pieces = if entry.sections == 1 {
            "section"
        } else {
            "sections"
        };
        // How coats lie comes first: it must not be cut off.
        let coat = plan
            .coat_text(entry)
            .map_or_else(String::new, |coat| coat + "; ");
        let refill = match &entry.pen {
            Some(pen) if !pen.refill => ", no refill",
            Some(_) if coat.is_empty() => ", refill at hand",
            _ => "",
        };
        let line = format!(
            "{coat}{:.1} cm², {} {pieces}{refill}",
            entry.area_mm2 / 100.0,
            entry.sections
        );
        let line = shortened(&line, KEY_LINE);
        text(svg, x + 15.8, y + 5.0, 2.1, " fill=\"#666666\"", &line);
    }
}
