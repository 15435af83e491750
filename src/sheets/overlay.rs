//! The overlay: the true-size sheet to trace from, with the key.

use kurbo::Rect;

use crate::borders::{DETAIL_ZOOM, Detail, Label, Labels, MM_PER_PT, Outlines};
use crate::job::PageSize;
use crate::plan::{Number, Plan};

use super::Sheet;
use super::curves::{Curve, Curves};
use super::key::{BARE, below};
use super::lettering::Letters;
use super::page::{
    DRAFTING_BLUE, FRAME_GRAY, HEADER_MM, LINE_GRAY, MARGIN_MM, NUMBER_BLUE, footer, header, open,
};
use super::svg::{Mm, Svg, path_data, segment};

const GAP_MM: f64 = 6.0;
/// The least height of an entry of the key, the width of a column, and where its words begin and how wide they are.
const KEY_ROW_MM: f64 = 5.6;
const KEY_COLUMN_MM: f64 = 62.0;
const KEY_TEXT_MM: f64 = 15.8;
const KEY_WIDTH_MM: f64 = KEY_COLUMN_MM - KEY_TEXT_MM - 2.5;
const KEY_NAME: Letters = Letters::regular(2.9);
const KEY_LINE: Letters = Letters::regular(2.1).colored("#666666");
const KEY_MARK: Letters = Letters::bold(3.4).colored(NUMBER_BLUE);
/// Width of a border line, in millimeters: a sharp pencil's.
const BORDER_MM: f64 = 0.25;

/// Lines that marker ink covers; from memory.
const PALE_LINE: &str = "#dcdcdc";

/// Where everything goes on the page.
struct Layout {
    width: f64,
    height: f64,
    art: (f64, f64),
    /// Left and top of the key, and its columns of entries; `None`: the key has pages of its own.
    key: Option<(f64, f64, Vec<Vec<usize>>)>,
}

impl Layout {
    fn size(&self) -> (f64, f64) {
        (self.width, self.height)
    }
}

fn layout(plan: &Plan, entries: &[Entry]) -> Layout {
    let [art_w, art_h] = plan.size_mm;
    let (w, h) = plan.job.page.size_mm();
    let heights: Vec<f64> = entries.iter().map(|e| e.height).collect();
    let top = MARGIN_MM + HEADER_MM;
    let centered = |width: f64| (width - art_w) / 2.0;
    for (width, height) in [(w, h), (h, w)] {
        let room = PageSize::room((width, height));
        if art_w > room.0 || art_h > room.1 {
            continue;
        }
        let below = in_columns(&heights, columns(room.0), room.1 - art_h - GAP_MM);
        if let Some(columns) = below {
            let key = Some((MARGIN_MM, top + art_h + GAP_MM, columns));
            return Layout {
                width,
                height,
                art: (centered(width), top),
                key,
            };
        }
        if art_w + GAP_MM + KEY_COLUMN_MM <= room.0
            && let Some(columns) = in_columns(&heights, 1, room.1)
        {
            let key = Some((MARGIN_MM + art_w + GAP_MM, top, columns));
            return Layout {
                width,
                height,
                art: (MARGIN_MM, top),
                key,
            };
        }
    }
    let upright = PageSize::room((w, h));
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

/// How many columns of the key fit a width.
fn columns(width: f64) -> usize {
    ((width / KEY_COLUMN_MM) as usize).max(1)
}

/// Entries of these heights in at most `columns` columns, as short as they can be; `None` if they are higher than
/// `most`.
fn in_columns(heights: &[f64], columns: usize, most: f64) -> Option<Vec<Vec<usize>>> {
    let filled = |high: f64| {
        let mut all: Vec<Vec<usize>> = vec![Vec::new()];
        let mut y = 0.0;
        for (i, &height) in heights.iter().enumerate() {
            if y + height > high && y > 0.0 {
                all.push(Vec::new());
                y = 0.0;
            }
            y += height;
            if let Some(last) = all.last_mut() {
                last.push(i);
            }
        }
        all
    };
    let highest = heights.iter().copied().fold(0.0, f64::max);
    let mut high = (heights.iter().sum::<f64>() / columns as f64).max(highest);
    while high <= most {
        let all = filled(high);
        if all.len() <= columns {
            return Some(all);
        }
        high += 1.0;
    }
    None
}

/// The overlay, and further pages for the key where it does not fit beside the art. `over` draws what lies over the art,
/// in its millimeters.
pub fn overlay_pages(
    plan: &Plan,
    outlines: &Outlines,
    labels: &Labels,
    over: impl FnOnce(&mut Svg),
) -> Vec<Sheet> {
    let entries: Vec<Entry> = plan.numbers.iter().map(|n| Entry::of(plan, n)).collect();
    let layout = layout(plan, &entries);
    let mut svg = open(layout.size());
    let mirrored = if plan.job.mirror {
        ", mirrored for tracing from the back"
    } else {
        ""
    };
    let pieces = plan
        .card
        .as_ref()
        .map(|c| &c.grounds[0])
        .filter(|g| !g.is_panel());
    let (title, line) = match pieces {
        None => ("Overlay".to_owned(), panel_line(plan)),
        Some(ground) => (
            format!("Overlay of the {}", ground.name),
            pieces_line(plan, outlines),
        ),
    };
    header(
        &mut svg,
        layout.width,
        &format!("{title}, true size{mirrored}"),
        &line,
    );
    let look = Look {
        border: DRAFTING_BLUE,
        ink: LINE_GRAY,
        mirrored: plan.job.mirror,
    };
    art(&mut svg, &layout, plan, outlines, &look, |svg| {
        numbers(svg, plan, labels);
        over(svg);
    });
    footer(&mut svg, layout.height);
    let mut pages = Vec::new();
    match layout.key {
        Some((x, y, ref columns)) => {
            key(&mut svg, plan, &entries, (x, y), columns);
            pages.push(svg.sheet());
        }
        None => {
            pages.push(svg.sheet());
            pages.extend(key_alone(plan, &entries, layout.size()));
        }
    }
    pages.extend(detail_pages(plan, outlines, &labels.details, layout.size()));
    pages
}

/// Parts of the drawing with sections too small for a number of their own, drawn larger.
fn detail_pages(
    plan: &Plan,
    outlines: &Outlines,
    details: &[Detail],
    size: (f64, f64),
) -> Vec<Sheet> {
    let room = PageSize::room(size);
    let fitting = |room: f64, side: fn(&Rect) -> f64| {
        let side = details.iter().map(|d| side(&d.frame)).fold(1.0, f64::max);
        let pitch = side * DETAIL_ZOOM + GAP_MM;
        (((room + GAP_MM) / pitch) as usize).max(1)
    };
    let (across, down) = (
        fitting(room.0, Rect::width),
        fitting(room.1 - GAP_MM, Rect::height),
    );
    let look = Look {
        border: DRAFTING_BLUE,
        ink: LINE_GRAY,
        mirrored: plan.job.mirror,
    };
    let width = plan.job.mirror.then_some(plan.size_mm[0]);
    let curves = Curves::of(outlines);
    let mut pages = Vec::new();
    for (p, some) in details.chunks(across * down).enumerate() {
        let mut svg = open(size);
        header(
            &mut svg,
            size.0,
            "Details",
            &format!(
                "{DETAIL_ZOOM:.0} times larger than the panel: the numbers of what is too small for them."
            ),
        );
        for (i, detail) in some.iter().enumerate() {
            let frame = mirrored(detail.frame, width);
            let (w, h) = (frame.width() * DETAIL_ZOOM, frame.height() * DETAIL_ZOOM);
            let x = MARGIN_MM + (i % across) as f64 * (w + GAP_MM);
            let y = MARGIN_MM + HEADER_MM + GAP_MM + (i / across) as f64 * (h + GAP_MM);
            let name = format!("Detail {}", p * across * down + i + 1);
            svg.text((x, y - 1.2), Letters::bold(2.9)).saying(&name);
            let shown = Rect::new(x, y, x + w, y + h);
            let id = format!("detail{i}");
            let clip = svg.element("clipPath").set("id", &id);
            clip.holding(|svg| {
                svg.rect(shown);
            });
            let (left, top) = (x - frame.x0 * DETAIL_ZOOM, y - frame.y0 * DETAIL_ZOOM);
            let place = format_args!("translate({left:.3} {top:.3}) scale({DETAIL_ZOOM})");
            let clipped = svg.group().set("clip-path", format_args!("url(#{id})"));
            clipped.holding(|svg| {
                svg.group().set("transform", place).holding(|svg| {
                    // A border is wider than its path.
                    let part = detail.frame.inflate(BORDER_MM, BORDER_MM);
                    let borders = Curve::shown(curves.borders.iter(), part);
                    let ink = Curve::shown(curves.ink.iter(), part);
                    lines(svg, plan, borders, ink, &look);
                    for label in &detail.labels {
                        number(svg, label, DETAIL_ZOOM, width);
                    }
                });
            });
            svg.rect(shown).line(FRAME_GRAY, 0.3);
        }
        footer(&mut svg, size.1);
        pages.push(svg.sheet());
    }
    pages
}

/// The key on pages of its own, where it does not fit beside the art.
fn key_alone(plan: &Plan, entries: &[Entry], size: (f64, f64)) -> Vec<Sheet> {
    let heights: Vec<f64> = entries.iter().map(|e| e.height).collect();
    let room = PageSize::room(size);
    let mut pages = Vec::new();
    let mut from = 0;
    while from < entries.len() {
        // As many as fit the page.
        let fitting = (from + 1..=entries.len())
            .rev()
            .find_map(|to| Some((to, in_columns(&heights[from..to], columns(room.0), room.1)?)));
        let (to, columns) = fitting.unwrap_or((from + 1, vec![vec![0]]));
        let mut svg = open(size);
        header(&mut svg, size.0, "Key", "Numbers are in the order of work.");
        let at = (MARGIN_MM, MARGIN_MM + HEADER_MM);
        let columns: Vec<Vec<usize>> = columns
            .into_iter()
            .map(|column| column.into_iter().map(|i| from + i).collect())
            .collect();
        key(&mut svg, plan, entries, at, &columns);
        footer(&mut svg, size.1);
        pages.push(svg.sheet());
        from = to;
    }
    pages
}

/// What the overlay of the panel is for.
fn panel_line(plan: &Plan) -> String {
    let [w, h] = plan.size_mm;
    format!(
        "{w:.0} x {h:.0} mm panel, {} sections, {} turns. Trace the blue lines lightly{}",
        plan.figures.sections,
        plan.schedule.turns.len(),
        how(plan)
    )
}

/// What the overlay of a sheet of pieces is for.
fn pieces_line(plan: &Plan, outlines: &Outlines) -> String {
    let [w, h] = plan.size_mm;
    let borders = outlines.arcs.iter().any(|arc| arc.is_border());
    let trace = if borders {
        " Trace the blue lines lightly."
    } else {
        ""
    };
    format!(
        "{w:.0} x {h:.0} mm of card, {} sections, colored in the same turns as the panel.{trace} Cut along the red line \
         last, when all is dry.",
        plan.figures.sections
    )
}

/// What is done after tracing, behind "Trace the blue lines lightly".
fn how(plan: &Plan) -> String {
    let first = plan.schedule.turns.first();
    let Some(first) = first.and_then(|t| plan.number(t.number)) else {
        return ".".to_owned();
    };
    if plan.numbers.iter().all(|n| n.over.is_none()) {
        return format!(", then color {} first.", first.mark());
    }
    let start = match plan.coat_text(first).filter(|_| first.is_first_coat()) {
        Some(coat) => format!("{}, the {coat}", first.mark()),
        None => format!("number {}", first.mark()),
    };
    format!("; begin with {start}. \u{25d0} before a number: a first coat goes under it.")
}

/// The overlay without numbers or key, in lines so pale that marker ink covers them: to be printed onto the card
/// itself, and so never mirrored.
pub fn pale_page(plan: &Plan, outlines: &Outlines) -> Sheet {
    let entries: Vec<Entry> = plan.numbers.iter().map(|n| Entry::of(plan, n)).collect();
    let layout = layout(plan, &entries);
    let mut svg = open(layout.size());
    header(
        &mut svg,
        layout.width,
        "Pale lines, true size",
        "To be printed onto the card itself instead of tracing; try on a scrap whether your ink covers the lines.",
    );
    let look = Look {
        border: PALE_LINE,
        ink: PALE_LINE,
        mirrored: false,
    };
    art(&mut svg, &layout, plan, outlines, &look, |_| ());
    footer(&mut svg, layout.height);
    svg.sheet()
}

/// The numbers, and frames around what is drawn larger elsewhere.
fn numbers(svg: &mut Svg, plan: &Plan, labels: &Labels) {
    let width = plan.job.mirror.then_some(plan.size_mm[0]);
    for label in &labels.labels {
        number(svg, label, 1.0, width);
    }
    for (i, detail) in labels.details.iter().enumerate() {
        let frame = mirrored(detail.frame, width);
        svg.rect(frame)
            .line(NUMBER_BLUE, 0.15)
            .set("stroke-dasharray", "0.8 0.6");
        let letters = Letters::bold(1.9).colored(NUMBER_BLUE);
        svg.text((frame.x0 + 0.4, frame.y0 + 2.0), letters)
            .saying(&format!("Detail {}", i + 1));
    }
}

/// A rectangle as it lies on a sheet that is mirrored, if it is, within `width` millimeters.
fn mirrored(rect: Rect, width: Option<f64>) -> Rect {
    match width {
        Some(w) => Rect::new(w - rect.x1, rect.y0, w - rect.x0, rect.y1),
        None => rect,
    }
}

/// A number with its leaders, in millimeters of the panel that is drawn `zoom` times larger.
fn number(svg: &mut Svg, label: &Label, zoom: f64, mirrored: Option<f64>) {
    let place = |at: kurbo::Point| (mirrored.map_or(at.x, |w| w - at.x), at.y);
    let (lx, ly) = place(label.at);
    let size = label.size_pt * MM_PER_PT / zoom;
    for &to in &label.leaders {
        let (tx, ty) = place(to);
        // The leader starts where the number's own clear space ends.
        let far = (tx - lx).hypot(ty - ly).max(1e-6);
        let start = label.clear_mm(zoom).min(0.8 * far);
        let (sx, sy) = (lx + (tx - lx) * start / far, ly + (ty - ly) * start / far);
        svg.path(segment((sx, sy), (tx, ty)))
            .stroke(NUMBER_BLUE, 0.12 / zoom);
        svg.circle((tx, ty), 0.3 / zoom).fill(NUMBER_BLUE);
    }
    // Digits are 0.73 em high: half of that below the middle is the baseline.
    let letters = Letters::bold(size).colored(NUMBER_BLUE);
    svg.text((lx, ly + size * 0.365), letters)
        .middle()
        .saying(&label.text);
}

/// Colors of the lines, and whether they are drawn for the back of the paper.
struct Look {
    border: &'static str,
    ink: &'static str,
    mirrored: bool,
}

/// The art at its place on the page: its frame, the borders and the ink, and what `over` draws over them.
fn art(
    svg: &mut Svg,
    layout: &Layout,
    plan: &Plan,
    outlines: &Outlines,
    look: &Look,
    over: impl FnOnce(&mut Svg),
) {
    let (x, y) = (Mm(layout.art.0), Mm(layout.art.1));
    let [w, h] = plan.size_mm;
    let place = svg
        .group()
        .set("transform", format_args!("translate({x} {y})"));
    place.holding(|svg| {
        svg.rect(Rect::new(0.0, 0.0, w, h)).line(FRAME_GRAY, 0.15);
        let borders = outlines.arcs.iter().filter(|a| a.is_border());
        let borders = borders.map(|a| path_data(&a.path)).collect();
        lines(
            svg,
            plan,
            Some(borders),
            Some(path_data(&outlines.ink)),
            look,
        );
        over(svg);
    });
}

/// The borders and the ink over them as path data, in millimeters of the panel.
fn lines(svg: &mut Svg, plan: &Plan, borders: Option<String>, ink: Option<String>, look: &Look) {
    let mut group = svg.group();
    if look.mirrored {
        let flip = format_args!("matrix(-1 0 0 1 {} 0)", plan.size_mm[0]);
        group = group.set("transform", flip);
    }
    group.holding(|svg| {
        if let Some(borders) = borders {
            svg.path(borders)
                .line(look.border, BORDER_MM)
                .set("stroke-linecap", "round")
                .set("stroke-linejoin", "round");
        }
        if let Some(ink) = ink {
            svg.path(ink).fill_between(look.ink);
        }
    });
}

/// One entry of the key, its words broken into lines that fit.
struct Entry {
    name: Vec<String>,
    line: Vec<String>,
    height: f64,
}

impl Entry {
    fn of(plan: &Plan, number: &Number) -> Self {
        let name = number.pen.as_ref().map_or(BARE, |p| p.name.as_str());
        let name = KEY_NAME.lines(name, KEY_WIDTH_MM);
        let refill = match &number.pen {
            Some(pen) if pen.refill => "; refill",
            Some(_) => "; no refill",
            None => "",
        };
        let area = number.area_mm2 / 100.0;
        let line = format!("{}; {area:.1} cm²{refill}", below(plan, number));
        let line = KEY_LINE.lines(&line, KEY_WIDTH_MM);
        let text = name.len() as f64 * KEY_NAME.line_mm() + line.len() as f64 * KEY_LINE.line_mm();
        Self {
            name,
            line,
            height: (text + 0.5).max(KEY_ROW_MM),
        }
    }
}

/// Mark, swatch, name and what belongs to it, in columns from `at` on.
fn key(svg: &mut Svg, plan: &Plan, entries: &[Entry], at: (f64, f64), columns: &[Vec<usize>]) {
    for (column, mine) in columns.iter().enumerate() {
        let x = at.0 + column as f64 * KEY_COLUMN_MM;
        let mut y = at.1;
        for &i in mine {
            let (number, entry) = (&plan.numbers[i], &entries[i]);
            svg.text((x + 5.0, y + 3.6), KEY_MARK)
                .set("text-anchor", "end")
                .saying(&number.mark());
            svg.rect(Rect::new(x + 6.4, y + 0.3, x + 14.4, y + 4.5))
                .fill(number.color)
                .stroke(LINE_GRAY, 0.12);
            let next = svg.paragraph((x + KEY_TEXT_MM, y + 2.5), KEY_NAME, &entry.name);
            svg.paragraph((x + KEY_TEXT_MM, next - 1.0), KEY_LINE, &entry.line);
            y += entry.height;
        }
    }
}
