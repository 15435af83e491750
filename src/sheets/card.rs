//! The sheets of a card: the layout of its stamps, masks to cut, pieces to cut out, and what these cover.

use std::fmt::Write;

use kurbo::{Affine, BezPath, Point, Rect, Shape};

use crate::borders::Outlines;
use crate::card::{Card, Image, Rings, nest};
use crate::job::Job;
use crate::plan::{self, Plan};

use super::Sheet;
use super::ground::{View, rect_of, subpaths};
use super::key::minutes;
use super::lettering::Letters;
use super::page::{
    DRAFTING_BLUE, FOOTER_MM, FRAME_GRAY, HEADER_MM, LINE_GRAY, MARGIN_MM, NUMBER_BLUE, TEXT,
    close, footer, header, open, text,
};
use super::preview::colored;
use super::svg::{escape, path_data};

/// Where scissors and blades go.
const CUT_RED: &str = "#d3302f";
/// A cutting line: thin enough for a machine, wide enough to be seen.
const CUT_MM: f64 = 0.2;
/// Pale enough not to be taken for ink.
const PALE: &str = "#b9c6d2";
/// Length of a registration corner, and its distance from the panel's.
const CORNER_MM: f64 = 6.0;
/// Below a mask: its name, what it is for, and where it lies.
const CAPTION_MM: f64 = 26.0;
/// Width of these words, beside the little panel.
const WORDS_MM: f64 = 26.0;
/// Smallest width of a mask with its words.
const BLOCK_MM: f64 = 46.0;
/// Room between masks, for scissors.
const ROOM_MM: f64 = 6.0;
/// A mask reaches so far over the panel's edge and no farther.
const BEYOND_MM: f64 = 3.0;
/// Height of the little panel that shows where a mask lies.
const MARK_MM: f64 = 19.0;
/// A line of the order of stamping.
const STEP_MM: f64 = 4.4;
/// Room around pieces in the preview that are glued elsewhere.
const LOOSE_MM: f64 = 5.0;
/// Characters of one line of it.
const STEP_LETTERS: usize = 112;

/// Where a page may be drawn on.
fn room(page: (f64, f64)) -> (f64, f64) {
    (
        page.0 - 2.0 * MARGIN_MM,
        page.1 - 2.0 * MARGIN_MM - HEADER_MM - FOOTER_MM,
    )
}

/// The page upright, or turned where only that has room.
fn page_for(size_mm: [f64; 2], job: &Job) -> (f64, f64) {
    let (w, h) = job.page.size_mm();
    let upright = room((w, h));
    if size_mm[0] <= upright.0 && size_mm[1] <= upright.1 {
        (w, h)
    } else {
        (h, w)
    }
}

/// The outline of an image where it is stamped, in millimeters of its ground.
fn stamped(card: &Card, image: &Image) -> Rings {
    let origin = card.grounds[image.ground].rect.origin().to_vec2();
    let here = Affine::translate(-origin) * image.to_frame;
    card.arts[image.art].outline.placed(here)
}

fn cut_path(rings: &Rings) -> String {
    format!(
        "<path d=\"{}\" fill=\"none\" stroke=\"{CUT_RED}\" stroke-width=\"{CUT_MM}\" stroke-linejoin=\"round\"/>\n",
        path_data(&rings.path())
    )
}

/// Cut lines of the pieces on a ground, in its millimeters.
fn cuts(card: &Card, ground: usize) -> impl Iterator<Item = Rings> {
    let origin = card.grounds[ground].rect.origin().to_vec2();
    let here = card.images.iter().filter(move |i| i.ground == ground);
    here.filter_map(move |image| {
        let cut = image.cut.as_ref()?;
        Some(cut.placed(Affine::translate(-origin) * image.to_frame))
    })
}

/// What is drawn over the overlay of a ground: the cut lines of its pieces, and on the panel where pieces are glued.
pub fn over_overlay(plan: &Plan, card: &Card, ground: usize) -> String {
    let [w, h] = plan.size_mm;
    // For tracing from the back everything is mirrored but its words.
    let flip = if plan.job.mirror {
        Affine::new([-1.0, 0.0, 0.0, 1.0, w, 0.0])
    } else {
        Affine::IDENTITY
    };
    let mut svg: String = cuts(card, ground)
        .map(|rings| cut_path(&rings.placed(flip)))
        .collect();
    if ground > 0 {
        return svg;
    }
    for (k, image) in card.images.iter().enumerate() {
        let (Some(cut), Some(glued)) = (&image.cut, image.glued) else {
            continue;
        };
        let placed = cut.placed(flip * glued);
        let covers = plan.sections.iter().any(|s| s.covered == Some(k));
        let _ = writeln!(
            svg,
            "<path d=\"{}\" fill=\"none\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.2\" stroke-dasharray=\"1.6 1.2\"/>",
            path_data(&placed.path())
        );
        let words = if covers {
            format!("{} covers ×", image.name)
        } else {
            image.name.clone()
        };
        let bounds = placed.bounds();
        let y = if bounds.y0 > 3.0 {
            bounds.y0 - 0.8
        } else {
            (bounds.y1 + 2.6).min(h - 0.5)
        };
        let middle = " text-anchor=\"middle\" fill=\"#555555\"";
        let x = bounds.center().x;
        let letters = Letters::regular(2.2).fitting(&words, 2.0 * x.min(w - x).max(1.0));
        text(&mut svg, x, y, letters.size_mm, middle, &words);
    }
    svg
}

/// The cut lines of a sheet of pieces and nothing else, for a cutting machine: millimeters, one closed path a piece.
pub fn cut_lines(plan: &Plan, card: &Card, ground: usize) -> String {
    let rect = card.grounds[ground].rect;
    let (w, h) = (rect.width(), rect.height());
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w:.2}mm\" height=\"{h:.2}mm\" viewBox=\"0 0 {w:.2} {h:.2}\">\n\
         <title>{}</title>\n",
        escape(&ground_name(plan, ground))
    );
    svg.extend(cuts(card, ground).map(|rings| cut_path(&rings)));
    svg + "</svg>\n"
}

fn ground_name(plan: &Plan, ground: usize) -> String {
    let card = plan.card.as_ref();
    let found = card.and_then(|c| c.grounds.get(ground));
    found.map_or_else(|| "panel".to_owned(), |g| g.name.clone())
}

/// The layout: every ground empty and at true size, with a pale outline of every stamp and corners to lay it by; then
/// the order of stamping.
pub fn layout_pages(plan: &Plan, told: &plan::Card, card: &Card) -> Vec<Sheet> {
    let mut pages = Vec::new();
    for (g, ground) in told.grounds.iter().enumerate() {
        let rect = rect_of(ground);
        let (w, h) = (rect.width(), rect.height());
        let size = page_for([w, h], &plan.job);
        let mut svg = open(size);
        let line = format!(
            "{w:.0} x {h:.0} mm. Lay your card into the corners; every stamp goes where its pale outline is."
        );
        header(
            &mut svg,
            size.0,
            &format!("Layout of the {}, true size", ground.name),
            &line,
        );
        let (x, y) = ((size.0 - w) / 2.0, MARGIN_MM + HEADER_MM + 3.0);
        let _ = writeln!(svg, "<g transform=\"translate({x:.2} {y:.2})\">");
        corners(&mut svg, w, h);
        for image in card.images.iter().filter(|i| i.ground == g) {
            let outline = stamped(card, image);
            let _ = writeln!(
                svg,
                "<path d=\"{}\" fill=\"none\" stroke=\"{PALE}\" stroke-width=\"0.3\"/>",
                path_data(&outline.path())
            );
            block(&mut svg, card, image);
        }
        for image in card.images.iter().filter(|i| i.ground == g) {
            let at = inside(stamped(card, image).bounds(), w, h);
            let middle = format!(" text-anchor=\"middle\" fill=\"{NUMBER_BLUE}\"");
            let room = 2.0 * at.x.min(w - at.x).max(1.0);
            let letters = Letters::regular(2.8).fitting(&image.name, room);
            text(
                &mut svg,
                at.x,
                at.y - 1.2,
                letters.size_mm,
                &middle,
                &image.name,
            );
        }
        svg.push_str("</g>\n");
        footer(&mut svg, size.1);
        pages.push(close(svg, size));
    }
    pages.extend(order_pages(plan, told));
    pages
}

/// The middle of what lies on the ground.
fn inside(bounds: Rect, w: f64, h: f64) -> Point {
    bounds.intersect(Rect::new(0.0, 0.0, w, h)).center()
}

/// Edges of the card, and marks just outside its corners.
fn corners(svg: &mut String, w: f64, h: f64) {
    let mut marks = String::new();
    for (x, y, dx, dy) in [
        (0.0, 0.0, 1.0, 1.0),
        (w, 0.0, -1.0, 1.0),
        (0.0, h, 1.0, -1.0),
        (w, h, -1.0, -1.0),
    ] {
        let _ = write!(
            marks,
            "M{:.2} {y:.2}H{x:.2}V{:.2}",
            x + CORNER_MM * dx,
            y + CORNER_MM * dy
        );
    }
    let _ = writeln!(
        svg,
        "<rect width=\"{w:.2}\" height=\"{h:.2}\" fill=\"none\" stroke=\"{FRAME_GRAY}\" stroke-width=\"0.15\"/>\n\
         <path d=\"{marks}\" fill=\"none\" stroke=\"{TEXT}\" stroke-width=\"0.35\"/>"
    );
}

/// The corners of the art around an image, and its middle: what the edges of a stamp's block go by.
fn block(svg: &mut String, card: &Card, image: &Image) {
    let [w, h] = card.arts[image.art].frame.size_mm;
    let origin = card.grounds[image.ground].rect.origin().to_vec2();
    let here = Affine::translate(-origin) * image.to_frame;
    let tick = (w.min(h) / 6.0).min(4.0);
    let mut marks = BezPath::new();
    for (x, y) in [(0.0, 0.0), (w, 0.0), (0.0, h), (w, h)] {
        let inward = |v: f64, end: f64| if v == 0.0 { tick } else { end - tick };
        marks.move_to((inward(x, w), y));
        marks.line_to((x, y));
        marks.line_to((x, inward(y, h)));
    }
    marks.move_to((w / 2.0 - 1.0, h / 2.0));
    marks.line_to((w / 2.0 + 1.0, h / 2.0));
    marks.move_to((w / 2.0, h / 2.0 - 1.0));
    marks.line_to((w / 2.0, h / 2.0 + 1.0));
    let _ = writeln!(
        svg,
        "<path d=\"{}\" fill=\"none\" stroke=\"{DRAFTING_BLUE}\" stroke-width=\"0.15\"/>",
        path_data(&(here * marks))
    );
}

/// What is done before the first pen and after the last, in lines.
fn order_pages(plan: &Plan, told: &plan::Card) -> Vec<Sheet> {
    let size = plan.job.page.size_mm();
    let mut lines: Vec<(bool, String)> = vec![(true, "Stamping".to_owned())];
    lines.extend(numbered(&told.stamping));
    lines.push((true, "Coloring".to_owned()));
    lines.push((
        false,
        "Now the turns with the pens, over the panel and the pieces: see guide.html or key.pdf."
            .to_owned(),
    ));
    if !told.finishing.is_empty() {
        lines.push((true, "Cutting and gluing".to_owned()));
        lines.extend(numbered(&told.finishing));
    }
    let per_page = ((room(size).1 - 4.0) / STEP_MM) as usize;
    let wrapped: Vec<(bool, String)> = lines
        .into_iter()
        .flat_map(|(bold, line)| wrap(&line).into_iter().map(move |l| (bold, l)))
        .collect();
    wrapped
        .chunks(per_page.max(1))
        .map(|lines| {
            let mut svg = open(size);
            header(
                &mut svg,
                size.0,
                "The order of work",
                "What lies in front is stamped first and masked.",
            );
            for (i, (bold, line)) in lines.iter().enumerate() {
                let y = MARGIN_MM + HEADER_MM + 6.0 + i as f64 * STEP_MM;
                let weight = if *bold { " font-weight=\"bold\"" } else { "" };
                text(&mut svg, MARGIN_MM, y, 3.1, weight, line);
            }
            footer(&mut svg, size.1);
            close(svg, size)
        })
        .collect()
}

fn numbered(steps: &[plan::CardStep]) -> impl Iterator<Item = (bool, String)> {
    steps.iter().enumerate().map(|(i, step)| {
        let rest = match step.rest_s {
            0 => String::new(),
            s => format!(" Rest: {}.", minutes(s)),
        };
        (false, format!("{}. {}{rest}", i + 1, step.say))
    })
}

/// A line in several, between words.
fn wrap(line: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in line.split_whitespace() {
        match lines.last_mut() {
            Some(last) if last.chars().count() + 1 + word.chars().count() <= STEP_LETTERS => {
                last.push(' ');
                last.push_str(word);
            }
            Some(_) => lines.push(format!("    {word}")),
            None => lines.push(word.to_owned()),
        }
    }
    lines
}

/// The outlines of all masks as they lie on the panel, cut as far inside the stamped line as the job says.
pub fn mask_outlines(plan: &Plan, told: &plan::Card, card: &Card) -> Vec<Rings> {
    let inside = plan.job.card().map_or(0.0, |c| c.panel.mask.mm());
    let panel = rect_of(&told.grounds[0]).inflate(BEYOND_MM, BEYOND_MM);
    told.masks
        .iter()
        .map(|mask| match mask.images.first() {
            Some(&image) => stamped(card, &card.images[image])
                .offset(-inside)
                .clipped(panel),
            None => Rings::default(),
        })
        .collect()
}

/// Every mask at true size, with its name and where it lies.
pub fn mask_pages(plan: &Plan, told: &plan::Card, card: &Card) -> Vec<Sheet> {
    let outlines = mask_outlines(plan, told, card);
    let bounds: Vec<Rect> = outlines.iter().map(Rings::bounds).collect();
    let blocks: Vec<[f64; 2]> = bounds
        .iter()
        .map(|b| [b.width().max(BLOCK_MM), b.height() + CAPTION_MM])
        .collect();
    let (w, h) = plan.job.page.size_mm();
    let placed = [(w, h), (h, w)].into_iter().find_map(|size| {
        let room = room(size);
        nest(&blocks, [room.0, room.1 - 2.0], ROOM_MM).map(|spots| (size, spots))
    });
    let Some((size, spots)) = placed else {
        return Vec::new();
    };
    let pages = spots.iter().map(|s| s.sheet + 1).max().unwrap_or(0);
    let inside = plan.job.card().map_or(0.0, |c| c.panel.mask.mm());
    (0..pages)
        .map(|page| {
            let mut svg = open(size);
            let line = format!(
                "Cut along the red line, {inside:.1} mm inside the stamped one; thin paper, or paper with a low-tack back."
            );
            header(&mut svg, size.0, "Masks, true size", &line);
            for (m, spot) in spots.iter().enumerate().filter(|(_, s)| s.sheet == page) {
                let (x, y) = (MARGIN_MM + spot.at[0], MARGIN_MM + HEADER_MM + 2.0 + spot.at[1]);
                let b = bounds[m];
                let _ = writeln!(
                    svg,
                    "<g transform=\"translate({:.3} {:.3})\">\n{}</g>",
                    x - b.x0,
                    y - b.y0,
                    cut_path(&outlines[m])
                );
                let name = &told.masks[m].name;
                let center = format!(
                    " text-anchor=\"middle\" font-weight=\"bold\" fill=\"{LINE_GRAY}\""
                );
                let (cx, cy) = (x + b.width() / 2.0, y + b.height() / 2.0);
                text(&mut svg, cx, cy + 2.5, 7.0, &center, name);
                let _ = writeln!(
                    svg,
                    "<path d=\"M{cx:.2} {:.2}v-5m-1.2 1.6l1.2 -1.6l1.2 1.6\" fill=\"none\" stroke=\"{LINE_GRAY}\" \
                     stroke-width=\"0.3\"/>",
                    cy - 5.0
                );
                caption(&mut svg, told, &outlines[m], m, x, y + b.height() + 3.0);
            }
            footer(&mut svg, size.1);
            close(svg, size)
        })
        .collect()
}

/// Name, what it is laid on, and a little panel that shows where.
fn caption(svg: &mut String, told: &plan::Card, outline: &Rings, m: usize, x: f64, y: f64) {
    let mask = &told.masks[m];
    let panel = rect_of(&told.grounds[0]);
    let scale = MARK_MM / panel.height().max(panel.width());
    let _ = writeln!(
        svg,
        "<g transform=\"translate({x:.2} {y:.2}) scale({scale:.5})\">\
         <path d=\"{}\" fill=\"{PALE}\"/>\
         <rect width=\"{:.2}\" height=\"{:.2}\" fill=\"none\" stroke=\"{LINE_GRAY}\" stroke-width=\"{:.2}\"/></g>",
        path_data(&outline.clipped(panel).path()),
        panel.width(),
        panel.height(),
        0.2 / scale
    );
    let x = x + panel.width() * scale + 2.5;
    text(
        svg,
        x,
        y + 3.2,
        3.2,
        " font-weight=\"bold\"",
        &format!("Mask {}", mask.name),
    );
    let names: Vec<&str> = mask
        .images
        .iter()
        .map(|&i| told.images[i].name.as_str())
        .collect();
    for (i, name) in names.iter().take(4).enumerate() {
        let word = if i == 0 { "for" } else { "then for" };
        let line = format!("{word} {name}");
        let letters = Letters::regular(2.6).fitting(&line, WORDS_MM);
        text(svg, x, y + 7.0 + 3.4 * i as f64, letters.size_mm, "", &line);
    }
}

/// The finished card: the panel with its pieces laid on, and below it those that are glued elsewhere.
pub fn finished(panel: &View, plan: &Plan, outlines: &Outlines, card: &Card) -> Sheet {
    let [w, h] = panel.plan.size_mm;
    let loose: Vec<usize> = (0..card.images.len())
        .filter(|&k| card.images[k].cut.is_some() && card.images[k].glued.is_none())
        .collect();
    let sizes: Vec<[f64; 2]> = loose
        .iter()
        .map(|&k| {
            let b = upright_cut(&card.images[k]).bounds();
            [b.width(), b.height()]
        })
        .collect();
    let spots = nest(&sizes, [w.max(widest(&sizes)), 1e6], LOOSE_MM).unwrap_or_default();
    let below = spots
        .iter()
        .zip(&sizes)
        .map(|(s, size)| s.at[1] + size[1])
        .fold(0.0, f64::max);
    let height = if spots.is_empty() {
        h
    } else {
        h + below + 2.0 * LOOSE_MM
    };
    let width = w.max(widest(&sizes));
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" viewBox=\"0 0 {width} {height}\">\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"{}\"/>\n",
        plan.job.paper
    );
    colored(&mut svg, &panel.plan, &panel.outlines);
    for (k, image) in card.images.iter().enumerate() {
        let Some(cut) = &image.cut else { continue };
        let to = match (image.glued, loose.iter().position(|&l| l == k)) {
            (Some(glued), _) => glued,
            (None, Some(n)) => {
                let upright = linear(image.to_frame);
                let b = upright_cut(image).bounds();
                let [x, y] = spots[n].at;
                Affine::translate((x - b.x0, h + LOOSE_MM + y - b.y0)) * upright
            }
            (None, None) => continue,
        };
        let [a, b, c, d, e, f] = (to * image.to_frame.inverse()).as_coeffs();
        let _ = writeln!(
            svg,
            "<path d=\"{}\" fill=\"{}\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.15\"/>\n\
             <g transform=\"matrix({a:.6} {b:.6} {c:.6} {d:.6} {e:.4} {f:.4})\">",
            path_data(&cut.placed(to).path()),
            plan.job.paper
        );
        let (mine, drawn) = only(plan, outlines, image, k);
        colored(&mut svg, &mine, &drawn);
        svg.push_str("</g>\n");
    }
    svg.push_str("</svg>\n");
    Sheet {
        width_mm: width,
        height_mm: height,
        svg,
    }
}

fn widest(sizes: &[[f64; 2]]) -> f64 {
    sizes.iter().map(|s| s[0]).fold(0.0, f64::max)
}

/// A piece's cut line as it is stamped, wherever its sheet lies.
fn upright_cut(image: &Image) -> Rings {
    let cut = image.cut.as_ref();
    cut.map_or_else(Rings::default, |cut| cut.placed(linear(image.to_frame)))
}

/// The same without its move.
fn linear(affine: Affine) -> Affine {
    affine.with_translation(kurbo::Vec2::ZERO)
}

/// What is drawn on one piece.
fn only(plan: &Plan, outlines: &Outlines, image: &Image, k: usize) -> (Plan, Outlines) {
    let mut mine = plan.clone();
    mine.sections.retain(|s| s.image == Some(k));
    let around = image
        .cut
        .as_ref()
        .map_or(Rect::ZERO, |cut| cut.placed(image.to_frame).bounds());
    let ink = subpaths(&outlines.ink).filter(|p| around.contains(p.bounding_box().center()));
    let drawn = Outlines {
        ink: ink.flatten().collect(),
        ..outlines.clone()
    };
    (mine, drawn)
}
