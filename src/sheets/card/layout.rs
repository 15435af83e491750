//! The layout: where every stamp goes.

use kurbo::{Affine, BezPath, Point, Rect};

use crate::card::{Card, Image};
use crate::plan::{self, Does, Plan};
use crate::sheets::Sheet;
use crate::sheets::ground::rect_of;
use crate::sheets::lettering::Letters;
use crate::sheets::page::{
    DRAFTING_BLUE, FRAME_GRAY, HEADER_MM, MARGIN_MM, NUMBER_BLUE, TEXT, footer, header, open,
};
use crate::sheets::preview::Finished;
use crate::sheets::svg::{Mm, Svg, path_data};

use super::order::order_pages;
use super::{PALE, here, page_for};

/// Length of a registration corner.
const CORNER_MM: f64 = 6.0;
/// Names of stamps, and the paper left beside them.
const NAME: Letters = Letters::regular(2.8).colored(NUMBER_BLUE);
const CLEAR_MM: f64 = 0.5;
/// Lines that a piece's name takes at full size at most, and the smallest size of its letters; from memory.
const MOST_LINES: usize = 3;
const LEAST_MM: f64 = 1.4;
/// A name stands so far above the mark in the middle of its stamp.
const ABOVE_MM: f64 = 2.0;

/// Every ground empty and at true size, with a pale outline of every stamp and corners to lay it by; then the order of
/// work, with the finished card.
pub fn layout_pages(
    plan: &Plan,
    told: &plan::Card,
    card: &Card,
    finished: &Finished,
) -> Vec<Sheet> {
    let all = 0..told.grounds.len();
    let mut pages: Vec<Sheet> = all.map(|g| ground_page(plan, told, card, g)).collect();
    pages.extend(order_pages(plan, told, card, finished));
    pages
}

fn ground_page(plan: &Plan, told: &plan::Card, card: &Card, g: usize) -> Sheet {
    let ground = &told.grounds[g];
    let rect = rect_of(ground);
    let (w, h) = (rect.width(), rect.height());
    let size = page_for([w, h], &plan.job);
    let mut svg = open(size);
    let line = if g == 0 {
        format!(
            "{w:.0} x {h:.0} mm. Lay your card into the corners; every stamp goes where its pale outline is, in the order \
             of the numbers."
        )
    } else {
        format!(
            "Takes {w:.0} x {h:.0} mm of card: cut it so, or lay a larger one into the top left corner. Blue corners are \
             the edges of a whole drawing."
        )
    };
    let title = format!("Layout of the {}, true size", ground.name);
    header(&mut svg, size.0, &title, &line);
    let (x, y) = ((size.0 - w) / 2.0, MARGIN_MM + HEADER_MM + 3.0);
    let place = format_args!("translate({} {})", Mm(x), Mm(y));
    svg.group().set("transform", place).holding(|svg| {
        corners(svg, w, h);
        let images = card.images.iter().enumerate();
        let mine: Vec<(usize, &Image)> = images
            .filter(|(k, image)| image.ground == g && !card.hidden[*k])
            .collect();
        for (_, image) in &mine {
            let outline = card.arts[image.art].whole.placed(here(card, image));
            svg.path(path_data(&outline.path())).line(PALE, 0.3);
            block(svg, card, image);
        }
        for (k, image) in &mine {
            let words = match turn(told, *k).filter(|_| g == 0) {
                Some(n) => format!("{n} {}", image.name),
                None => image.name.clone(),
            };
            name(svg, card, image, &words, [w, h]);
        }
    });
    footer(&mut svg, size.1);
    svg.sheet()
}

/// The how manieth stamp on the panel an image is, from 1.
fn turn(told: &plan::Card, image: usize) -> Option<usize> {
    let stamps = told.stamping.iter().filter(|step| step.does == Does::Stamp);
    let on_panel = stamps.flat_map(|step| &step.images);
    let mut on_panel = on_panel.filter(|&&k| !told.images[k].piece);
    on_panel.position(|&k| k == image).map(|n| n + 1)
}

/// A name over the middle of its stamp, or of what of it lies on the card; that of a piece is no wider than the piece.
fn name(svg: &mut Svg, card: &Card, image: &Image, words: &str, [w, h]: [f64; 2]) {
    let art = &card.arts[image.art];
    let here = here(card, image);
    let [across, down] = art.frame.size_mm;
    let middle = here * Point::new(across / 2.0, down / 2.0);
    let sheet = Rect::new(0.0, 0.0, w, h);
    let at = if sheet.inflate(-ABOVE_MM, -ABOVE_MM).contains(middle) {
        Point::new(middle.x, middle.y - ABOVE_MM)
    } else {
        art.outline.placed(here).bounds().intersect(sheet).center()
    };
    let room = 2.0 * at.x.min(w - at.x).max(1.0);
    let (letters, lines) = match &image.cut {
        None => (NAME.fitting(words, room), vec![words.to_owned()]),
        // Others lie beside it.
        Some(cut) => {
            let room = room.min(cut.placed(here).bounds().width());
            NAME.in_lines(words, room, MOST_LINES, LEAST_MM)
        }
    };
    for (n, line) in lines.iter().rev().enumerate() {
        let y = at.y - n as f64 * letters.line_mm();
        let (wide, high) = (letters.width(line) / 2.0 + CLEAR_MM, letters.size_mm);
        let behind = Rect::new(at.x - wide, y - 0.8 * high, at.x + wide, y + 0.25 * high);
        svg.rect(behind).fill("#ffffff");
        svg.text((at.x, y), letters).middle().saying(line);
    }
}

/// Edges of the card, and marks just outside its corners.
fn corners(svg: &mut Svg, w: f64, h: f64) {
    let mut marks = BezPath::new();
    for (x, y, dx, dy) in [
        (0.0, 0.0, 1.0, 1.0),
        (w, 0.0, -1.0, 1.0),
        (0.0, h, 1.0, -1.0),
        (w, h, -1.0, -1.0),
    ] {
        marks.move_to((x + CORNER_MM * dx, y));
        marks.line_to((x, y));
        marks.line_to((x, y + CORNER_MM * dy));
    }
    svg.rect(Rect::new(0.0, 0.0, w, h)).line(FRAME_GRAY, 0.15);
    svg.path(path_data(&marks)).line(TEXT, 0.35);
}

/// The corners of the art around an image, and its middle: what the edges of a stamp's block go by.
fn block(svg: &mut Svg, card: &Card, image: &Image) {
    let [w, h] = card.arts[image.art].frame.size_mm;
    let here: Affine = here(card, image);
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
    svg.path(path_data(&(here * marks)))
        .line(DRAFTING_BLUE, 0.15);
}
