//! Masks: what covers a stamp while what lies behind it is stamped.

use kurbo::{Point, Rect};

use crate::card::{Card, Rings, nest};
use crate::plan::{self, Plan};
use crate::sheets::Sheet;
use crate::sheets::ground::rect_of;
use crate::sheets::lettering::Letters;
use crate::sheets::page::{HEADER_MM, LINE_GRAY, MARGIN_MM, footer, header, open};
use crate::sheets::svg::{Mm, Svg, path_data};

use super::{PALE, cut_line, here, room};

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
/// The letter on a mask.
const LETTER: Letters = Letters::bold(7.0).colored(LINE_GRAY);
/// Height of the little panel that shows where a mask lies.
const MARK_MM: f64 = 19.0;

/// The outlines of all masks as they lie on the panel, cut as far inside the stamped line as the job says. What serves
/// several images is whole: another may lie on the panel where the first does not.
pub fn mask_outlines(plan: &Plan, told: &plan::Card, card: &Card) -> Vec<Rings> {
    let inside = plan.job.card().map_or(0.0, |c| c.panel.mask.mm());
    let panel = rect_of(&told.grounds[0]).inflate(BEYOND_MM, BEYOND_MM);
    let outline = |image: usize| {
        let image = &card.images[image];
        let outline = &card.arts[image.art].outline;
        outline.offset(-inside).placed(here(card, image))
    };
    told.masks
        .iter()
        .map(|mask| match mask.images[..] {
            [] => Rings::default(),
            [image] => outline(image).clipped(panel),
            [first, ..] => outline(first),
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
                mask(&mut svg, told, &outlines[m], m, Point::new(x, y));
            }
            footer(&mut svg, size.1);
            svg.sheet()
        })
        .collect()
}

/// A mask with its letter and which way is up, and its caption below; `at` is its top left.
fn mask(svg: &mut Svg, told: &plan::Card, outline: &Rings, m: usize, at: Point) {
    let bounds = outline.bounds();
    let to = at - bounds.origin();
    let place = format_args!("translate({} {})", Mm(to.x), Mm(to.y));
    svg.group()
        .set("transform", place)
        .holding(|svg| cut_line(svg, outline));
    let center = (bounds + to).center();
    svg.text((center.x, center.y + 2.5), LETTER)
        .middle()
        .saying(&told.masks[m].name);
    let (x, y) = (Mm(center.x), Mm(center.y - 5.0));
    svg.path(format_args!("M{x} {y}v-5m-1.2 1.6l1.2 -1.6l1.2 1.6"))
        .line(LINE_GRAY, 0.3);
    caption(svg, told, outline, m, (at.x, at.y + bounds.height() + 3.0));
}

/// Name, what it is laid on, and a little panel that shows where.
fn caption(svg: &mut Svg, told: &plan::Card, outline: &Rings, m: usize, (x, y): (f64, f64)) {
    let mask = &told.masks[m];
    let panel = rect_of(&told.grounds[0]);
    let scale = MARK_MM / panel.height().max(panel.width());
    let place = format_args!("translate({} {}) scale({scale:.5})", Mm(x), Mm(y));
    svg.group().set("transform", place).holding(|svg| {
        svg.path(path_data(&outline.clipped(panel).path()))
            .fill(PALE);
        svg.rect(panel).line(LINE_GRAY, Mm(0.2 / scale));
    });
    let x = x + panel.width() * scale + 2.5;
    let title = format!("Mask {}", mask.name);
    svg.text((x, y + 3.2), Letters::bold(3.2)).saying(&title);
    let names: Vec<&str> = mask
        .images
        .iter()
        .map(|&i| told.images[i].name.as_str())
        .collect();
    for (i, name) in names.iter().take(4).enumerate() {
        let word = if i == 0 { "for" } else { "then for" };
        let line = format!("{word} {name}");
        let letters = Letters::regular(2.6).fitting(&line, WORDS_MM);
        svg.text((x, y + 7.0 + 3.4 * i as f64), letters)
            .saying(&line);
    }
}
