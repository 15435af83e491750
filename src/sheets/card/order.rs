//! The order of work with a card: pictures of what is stamped when, and every step in words.

use std::fmt::Write;

use crate::card::Card;
use crate::plan::{self, Does, Plan};
use crate::sheets::Sheet;
use crate::sheets::ground::rect_of;
use crate::sheets::key::minutes;
use crate::sheets::lettering::Letters;
use crate::sheets::page::{
    FRAME_GRAY, HEADER_MM, LINE_GRAY, MARGIN_MM, NUMBER_BLUE, close, footer, header, open,
    paragraph, text,
};
use crate::sheets::svg::path_data;

use super::{here, room};

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
const MASK_LETTER_MM: f64 = 9.0;

/// What is done before the first pen and after the last, in pictures and in words.
pub fn order_pages(plan: &Plan, told: &plan::Card, card: &Card, finished: &Sheet) -> Vec<Sheet> {
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
    pages.y += pictures(&mut pages.svg, told, card, finished, room(pages.size).0);
    for (heading, steps) in parts {
        let bold = Letters::bold(STEP.size_mm);
        pages.write(bold, &[heading.to_owned()], HEADING_GAP_MM);
        for step in steps {
            let lines = STEP.lines(&step, pages.width() - INDENT_MM);
            pages.write(STEP, &lines, STEP_GAP_MM);
        }
    }
    pages
        .done
        .into_iter()
        .chain([pages.svg])
        .map(|svg| close(svg, pages.size))
        .collect()
}

/// One small panel after every stamp, and the finished card; how high they are together. `width` is that of the page.
fn pictures(svg: &mut String, told: &plan::Card, card: &Card, finished: &Sheet, width: f64) -> f64 {
    let frames = frames(told);
    let panel = rect_of(&told.grounds[0]);
    let scale = PICTURE_MM / panel.width().max(panel.height());
    let (w, h) = (panel.width() * scale, panel.height() * scale);
    let across = w.max(CAPTION_MM) + PICTURE_GAP_MM;
    let in_row = ((width + PICTURE_GAP_MM) / across).max(1.0) as usize;
    if frames.len() + 1 > MOST_ROWS * in_row {
        return 0.0;
    }
    let down = h + CAPTION_GAP_MM;
    for n in 0..=frames.len() {
        let x = MARGIN_MM + (n % in_row) as f64 * across;
        let y = MARGIN_MM + HEADER_MM + 4.0 + (n / in_row) as f64 * down;
        let _ = writeln!(
            svg,
            "<g transform=\"translate({x:.2} {y:.2}) scale({scale:.5})\">"
        );
        let caption = match frames.get(n) {
            Some(frame) => {
                picture(svg, told, card, frame);
                format!("{} {}", n + 1, told.images[frame.stamped[0]].name)
            }
            None => {
                svg.push_str(finished.inner());
                "colored, cut and glued".to_owned()
            }
        };
        let _ = writeln!(
            svg,
            "<rect width=\"{:.2}\" height=\"{:.2}\" fill=\"none\" stroke=\"{FRAME_GRAY}\" stroke-width=\"{:.2}\"/>\n</g>",
            panel.width(),
            panel.height(),
            0.2 / scale
        );
        let size = Letters::regular(2.6)
            .fitting(&caption, across - 1.0)
            .size_mm;
        text(svg, x, y + h + 3.4, size, "", &caption);
    }
    (frames.len() / in_row + 1) as f64 * down + 4.0
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
fn picture(svg: &mut String, told: &plan::Card, card: &Card, frame: &Frame) {
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
        let _ = writeln!(
            svg,
            "<path d=\"{}\" fill=\"{fill}\" stroke=\"{color}\" stroke-width=\"0.9\" stroke-linejoin=\"round\"/>",
            path_data(&outline(k).path())
        );
    }
    for (name, k) in &frame.masked {
        let at = outline(*k).bounds().center();
        let middle = " text-anchor=\"middle\" font-weight=\"bold\"";
        text(svg, at.x, at.y + 3.0, MASK_LETTER_MM, middle, name);
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

/// Pages of words as they fill up.
struct Pages {
    size: (f64, f64),
    done: Vec<String>,
    svg: String,
    y: f64,
}

impl Pages {
    fn new(size: (f64, f64)) -> Self {
        let mut pages = Self {
            size,
            done: Vec::new(),
            svg: String::new(),
            y: 0.0,
        };
        pages.begin();
        pages
    }

    fn begin(&mut self) {
        self.svg = open(self.size);
        let line = "What lies in front is stamped first and masked; then what lies behind.";
        header(&mut self.svg, self.size.0, "The order of work", line);
        footer(&mut self.svg, self.size.1);
        self.y = MARGIN_MM + HEADER_MM + 4.0;
    }

    fn width(&self) -> f64 {
        room(self.size).0
    }

    /// Lines that stay together, the further ones indented.
    fn write(&mut self, letters: Letters, lines: &[String], gap_mm: f64) {
        let bottom = MARGIN_MM + HEADER_MM + room(self.size).1;
        if self.y + gap_mm + lines.len() as f64 * letters.line_mm() > bottom {
            self.done.push(std::mem::take(&mut self.svg));
            self.begin();
        }
        self.y += gap_mm;
        for (i, line) in lines.iter().enumerate() {
            let x = MARGIN_MM + if i == 0 { 0.0 } else { INDENT_MM };
            let line = std::slice::from_ref(line);
            self.y = paragraph(&mut self.svg, (x, self.y), letters, "", line);
        }
    }
}
