//! The order of work with a card: pictures of what is stamped when, and every step in words.

use crate::card::Card;
use crate::plan::{self, Does, Plan};
use crate::sheets::Sheet;
use crate::sheets::ground::rect_of;
use crate::sheets::key::minutes;
use crate::sheets::lettering::Letters;
use crate::sheets::page::{FRAME_GRAY, LINE_GRAY, MARGIN_MM, NUMBER_BLUE, Pages};
use crate::sheets::preview::Finished;
use crate::sheets::svg::{Mm, Svg, path_data};

use super::here;

/// Letters of the order of work; further lines of a step stand this far to the right.
const STEP: Letters = Letters::regular(3.1);
const INDENT_MM: f64 = 6.0;
/// Room between steps, and before a heading.
const STEP_GAP_MM: f64 = 0.9;
const HEADING_GAP_MM: f64 = 3.0;

/// The longer side of a small panel, the least width of what stands below it, and room beside and below it.
const PICTURE_MM: f64 = 42.0;
const CAPTION_MM: f64 = 28.0;
const PICTURE_GAP_MM: f64 = 4.0;
const CAPTION_GAP_MM: f64 = 7.0;
/// More rows of small panels than these would leave the words no room: then there are none.
const MOST_ROWS: usize = 2;
/// What a mask looks like, and how high its letter is on the panel.
const MASK_GRAY: &str = "#d9d6cf";
const MASK_LETTER: Letters = Letters::bold(9.0);

/// What is done before the first pen and after the last, in pictures and in words.
pub fn order_pages(plan: &Plan, told: &plan::Card, card: &Card, finished: &Finished) -> Vec<Sheet> {
    let coloring =
        "Now the turns with the pens, over the panel and the pieces: see guide.html or key.pdf.";
    let mut parts = vec![
        ("Stamping", numbered(&told.stamping)),
        ("Coloring", vec![coloring.to_owned()]),
    ];
    if !told.finishing.is_empty() {
        parts.push(("Cutting and gluing", numbered(&told.finishing)));
    }
    let mut pages = Pages::new(plan.job.page.size_mm());
    begin(&mut pages);
    pictures(&mut pages, told, card, finished);
    for (heading, steps) in parts {
        let bold = Letters::bold(STEP.size_mm);
        write(&mut pages, bold, &[heading.to_owned()], HEADING_GAP_MM);
        for step in steps {
            let lines = STEP.lines(&step, pages.width() - INDENT_MM);
            write(&mut pages, STEP, &lines, STEP_GAP_MM);
        }
    }
    pages.sheets()
}

fn begin(pages: &mut Pages) {
    let line = "What lies in front is stamped first and masked; then what lies behind.";
    pages.begin("The order of work", line);
    pages.y += 4.0;
}

/// Lines that stay together where one page has room for them all, the further ones indented.
fn write(pages: &mut Pages, letters: Letters, lines: &[String], gap_mm: f64) {
    if !pages.has_room(gap_mm + lines.len() as f64 * letters.line_mm()) {
        begin(pages);
    }
    pages.y += gap_mm;
    for (i, line) in lines.iter().enumerate() {
        if !pages.has_room(letters.line_mm()) {
            begin(pages);
        }
        let at = (MARGIN_MM + if i == 0 { 0.0 } else { INDENT_MM }, pages.y);
        pages.svg().text(at, letters).saying(line);
        pages.y += letters.line_mm();
    }
}

/// One small panel after every stamp, and the finished card.
fn pictures(pages: &mut Pages, told: &plan::Card, card: &Card, finished: &Finished) {
    let frames = frames(told);
    let panel = rect_of(&told.grounds[0]).size();
    let scale = PICTURE_MM / panel.max_side();
    let small = panel * scale;
    let across = small.width.max(CAPTION_MM) + PICTURE_GAP_MM;
    let down = small.height + CAPTION_GAP_MM;
    let in_row = ((pages.width() + PICTURE_GAP_MM) / across).max(1.0) as usize;
    if frames.len() + 1 > MOST_ROWS * in_row {
        return;
    }
    let top = pages.y;
    let svg = pages.svg();
    for n in 0..=frames.len() {
        let x = MARGIN_MM + (n % in_row) as f64 * across;
        let y = top + (n / in_row) as f64 * down;
        let (at_x, at_y) = (Mm(x), Mm(y));
        let place = format_args!("translate({at_x} {at_y}) scale({scale:.5})");
        svg.group().set("transform", place).holding(|svg| {
            match frames.get(n) {
                Some(frame) => picture(svg, told, card, frame),
                // Pieces that are glued elsewhere lie below the panel, where the words are.
                None => svg
                    .element("svg")
                    .set("width", panel.width)
                    .set("height", panel.height)
                    .holding(|svg| finished.draw(svg)),
            }
            svg.rect(panel.to_rect()).line(FRAME_GRAY, Mm(0.2 / scale));
        });
        let caption = match frames.get(n) {
            Some(frame) => format!("{} {}", n + 1, told.images[frame.stamped[0]].name),
            None => "colored, cut and glued".to_owned(),
        };
        let letters = Letters::regular(2.6).fitting(&caption, across - 1.0);
        svg.text((x, y + small.height + 3.4), letters)
            .saying(&caption);
    }
    pages.y += (frames.len() / in_row + 1) as f64 * down + 4.0;
}

/// What lies on the panel right after a stamp.
struct Frame {
    /// This stamp, then those before it.
    stamped: Vec<usize>,
    /// Masks that lie there: their names, and on what.
    masked: Vec<(String, usize)>,
}

/// One frame for every stamp on the panel, in the order of work.
fn frames(told: &plan::Card) -> Vec<Frame> {
    let mut frames: Vec<Frame> = Vec::new();
    let mut masked: Vec<(String, usize)> = Vec::new();
    for step in &told.stamping {
        for &image in step.images.iter().filter(|&&i| !told.images[i].piece) {
            match step.does {
                Does::LayMask => {
                    let mut masks = told.masks.iter();
                    let mask = masks.find(|mask| mask.images.contains(&image));
                    masked.extend(mask.map(|mask| (mask.name.clone(), image)));
                }
                Does::LiftMask => masked.retain(|&(_, on)| on != image),
                Does::Stamp => {
                    let before = frames.last().map_or(&[][..], |frame| &frame.stamped);
                    frames.push(Frame {
                        stamped: [&[image], before].concat(),
                        masked: masked.clone(),
                    });
                }
                _ => {}
            }
        }
    }
    frames
}

/// Outlines of all that is stamped, the last one blue; masks gray, with their names.
fn picture(svg: &mut Svg, told: &plan::Card, card: &Card, frame: &Frame) {
    let panel = rect_of(&told.grounds[0]);
    let outline = |k: usize| {
        let image = &card.images[k];
        card.arts[image.art]
            .outline
            .placed(here(card, image))
            .clipped(panel)
    };
    // What was stamped first lies in front.
    for (n, &k) in frame.stamped.iter().enumerate() {
        let color = if n == 0 { NUMBER_BLUE } else { LINE_GRAY };
        let masked = frame.masked.iter().any(|m| m.1 == k);
        let fill = if masked { MASK_GRAY } else { "#ffffff" };
        svg.path(path_data(&outline(k).path()))
            .fill(fill)
            .stroke(color, 0.9)
            .set("stroke-linejoin", "round");
    }
    for (name, k) in &frame.masked {
        let at = outline(*k).bounds().center();
        svg.text((at.x, at.y + 3.0), MASK_LETTER)
            .middle()
            .saying(name);
    }
}

fn numbered(steps: &[plan::CardStep]) -> Vec<String> {
    let step = |(i, step): (usize, &plan::CardStep)| {
        let rest = match step.rest_s {
            0 => String::new(),
            s => format!(" Rest: {}.", minutes(s)),
        };
        format!("{}. {}{rest}", i + 1, step.say)
    };
    steps.iter().enumerate().map(step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheets::page::FOOTER_MM;

    #[test]
    fn what_no_page_has_room_for_goes_on_over_the_next() {
        let mut pages = Pages::new((210.0, 297.0));
        begin(&mut pages);
        let all: Vec<String> = (0..150).map(|n| format!("line {n} of 150")).collect();
        write(&mut pages, STEP, &all[..3], STEP_GAP_MM);
        write(&mut pages, STEP, &all, STEP_GAP_MM);
        let sheets = pages.sheets();
        let mut seen = 0;
        for sheet in &sheets {
            for line in sheet.svg.split("<text").filter(|t| t.contains("of 150")) {
                let y = line.split("y=\"").nth(1).unwrap();
                let y: f64 = y.split('"').next().unwrap().parse().unwrap();
                assert!(y <= 297.0 - MARGIN_MM - FOOTER_MM, "{line}");
                seen += 1;
            }
        }
        // The lines that stay together do, on the page before; nothing is lost.
        assert_eq!((sheets.len(), seen), (4, 153));
    }
}
