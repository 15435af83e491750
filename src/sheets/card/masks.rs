//! Masks: what covers a stamp while what lies behind it is stamped.

use kurbo::{Point, Size, Vec2};

use crate::card::{Card, Rings, nest};
use crate::job::PageSize;
use crate::plan::{self, Plan};
use crate::sheets::Sheet;
use crate::sheets::ground::rect_of;
use crate::sheets::lettering::Letters;
use crate::sheets::page::{HEADER_MM, LINE_GRAY, MARGIN_MM, footer, header, open};
use crate::sheets::svg::{Mm, Svg, path_data};

use super::{PALE, cut_line, here};

/// Height of a mask's name, what it is for, and where it lies, with the gap to the mask.
const CAPTION_MM: f64 = GAP_MM + 23.0;
const GAP_MM: f64 = 3.0;
/// Width of these words, beside the little panel.
const WORDS_MM: f64 = 26.0;
/// Width of both.
const BLOCK_MM: f64 = 46.0;
/// Height of the words of a mask that is larger than a page.
const ALONE_MM: f64 = CAPTION_MM + 4.0 * LINE_MM;
/// Letters below a mask's name, and from one line to the next.
const LINE: Letters = Letters::regular(2.6);
const LINE_MM: f64 = 3.4;
/// So many stamps of a mask are named.
const MOST_NAMES: usize = 4;
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
    let inside = inside_mm(plan);
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

/// How far inside the stamped line masks are cut, in millimeters.
fn inside_mm(plan: &Plan) -> f64 {
    plan.job.card().map_or(0.0, |c| c.panel.mask.mm())
}

/// Where the words of a mask stand.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Words {
    Below,
    Beside,
    Inside,
    /// Without the mask, which is larger than a page.
    Alone,
}

impl Words {
    /// Width and height of a mask of this size with its words.
    fn around(self, size: Size) -> [f64; 2] {
        let Size { width, height } = size;
        match self {
            Self::Below => [width.max(BLOCK_MM), height + CAPTION_MM],
            Self::Beside => [width + GAP_MM + BLOCK_MM, height.max(CAPTION_MM)],
            Self::Inside => [width.max(BLOCK_MM), height.max(CAPTION_MM)],
            Self::Alone => [BLOCK_MM, ALONE_MM],
        }
    }

    /// Their top left, from that of a mask of this size.
    fn at(self, size: Size) -> Vec2 {
        let Size { width, height } = size;
        match self {
            Self::Below => Vec2::new(0.0, height + GAP_MM),
            Self::Beside => Vec2::new(width + GAP_MM, 0.0),
            // Below the letter.
            Self::Inside => Vec2::new((width - BLOCK_MM) / 2.0, height / 2.0 + 6.0),
            Self::Alone => Vec2::ZERO,
        }
    }
}

/// Every mask at true size, with its name and where it lies; of those that are larger than a page only the words.
pub fn mask_pages(plan: &Plan, told: &plan::Card, card: &Card) -> Vec<Sheet> {
    let outlines = mask_outlines(plan, told, card);
    let (w, h) = plan.job.page.size_mm();
    let pages = [(w, h), (h, w)];
    let room = |page: usize| {
        let (width, height) = PageSize::room(pages[page]);
        [width, height - 2.0]
    };
    // The first place for its words that lets a mask fit a page, upright or turned.
    let ways: Vec<(usize, Words)> = outlines
        .iter()
        .map(|outline| {
            let size = outline.bounds().size();
            let words = [Words::Below, Words::Beside, Words::Inside].into_iter();
            let mut ways = words.flat_map(|words| [(0, words), (1, words)]);
            let fits = |&(page, words): &(usize, Words)| {
                let ([width, height], [across, down]) = (words.around(size), room(page));
                width <= across && height <= down
            };
            ways.find(fits).unwrap_or((0, Words::Alone))
        })
        .collect();
    let inside = inside_mm(plan);
    let line = format!(
        "Cut along the red line, {inside:.1} mm inside the stamped one; thin paper, or paper with a low-tack back."
    );
    let mut sheets = Vec::new();
    for (page, &size) in pages.iter().enumerate() {
        let mine: Vec<usize> = (0..ways.len()).filter(|&m| ways[m].0 == page).collect();
        let around = |&m: &usize| ways[m].1.around(outlines[m].bounds().size());
        let blocks: Vec<[f64; 2]> = mine.iter().map(around).collect();
        let spots = nest(&blocks, room(page), ROOM_MM).unwrap_or_default();
        let count = spots.iter().map(|s| s.sheet + 1).max().unwrap_or(0);
        for sheet in 0..count {
            let mut svg = open(size);
            header(&mut svg, size.0, "Masks, true size", &line);
            for (&m, spot) in mine.iter().zip(&spots).filter(|(_, s)| s.sheet == sheet) {
                let (x, y) = (
                    MARGIN_MM + spot.at[0],
                    MARGIN_MM + HEADER_MM + 2.0 + spot.at[1],
                );
                let (at, words) = (Point::new(x, y), ways[m].1);
                if words != Words::Alone {
                    mask(&mut svg, told, &outlines[m], m, at);
                }
                let at = at + words.at(outlines[m].bounds().size());
                caption(&mut svg, told, &outlines[m], m, at);
                if words == Words::Alone {
                    too_large(&mut svg, inside, at);
                }
            }
            footer(&mut svg, size.1);
            sheets.push(svg.sheet());
        }
    }
    sheets
}

/// A mask with its letter and which way is up; `at` is its top left.
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
}

/// Name, what it is laid on, and a little panel that shows where; `at` is their top left.
fn caption(svg: &mut Svg, told: &plan::Card, outline: &Rings, m: usize, Point { x, y }: Point) {
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
    let named = mask.images.iter().take(MOST_NAMES).enumerate();
    let mut lines: Vec<String> = named
        .map(|(n, &image)| {
            let word = if n == 0 { "for" } else { "then for" };
            format!("{word} {}", told.images[image].name)
        })
        .collect();
    if mask.images.len() > MOST_NAMES {
        lines.push(format!("and {} more", mask.images.len() - MOST_NAMES));
    }
    for (n, line) in lines.iter().enumerate() {
        let letters = LINE.fitting(line, WORDS_MM);
        svg.text((x, y + 7.0 + LINE_MM * n as f64), letters)
            .saying(line);
    }
}

/// What to do about a mask that no page holds, below its caption; `at` is the top left of that.
fn too_large(svg: &mut Svg, inside: f64, at: Point) {
    let words = format!(
        "This mask is larger than a page: stamp it on thin paper, and cut {inside:.1} mm inside the line."
    );
    for (n, line) in LINE.lines(&words, BLOCK_MM).iter().enumerate() {
        let y = at.y + CAPTION_MM + LINE_MM * n as f64;
        svg.text((at.x, y), LINE).saying(line);
    }
}
