//! The key: what every number is, with a box to try the pen, and the order of work.

use std::fmt::Write;

use crate::plan::{Number, Plan, Turn};

use super::Sheet;
use super::lettering::Letters;
use super::page::{
    FOOTER_MM, FRAME_GRAY, HEADER_MM, LINE_GRAY, MARGIN_MM, NUMBER_BLUE, close, footer, header,
    open, paragraph, text,
};

/// The least height of a line of the table of pens, and from turn to turn in the order of work.
const ROW_MM: f64 = 12.5;
const TURN_MM: f64 = 4.6;
const HEAD_MM: f64 = 5.0;
/// Swatch and scrap box.
const BOX_MM: [f64; 2] = [17.0, 9.5];
/// Width of the column of names, and the letters in it.
const NAME_MM: f64 = 57.0;
const NAME: Letters = Letters::bold(3.6);
const BELOW: Letters = Letters::regular(2.7);
/// Letters of the order of work.
const TURN: Letters = Letters::regular(2.9);
/// Left edges of the columns: number, swatch, scrap box, name, area, coat, rest, refill.
const COLUMNS: [(f64, &str); 8] = [
    (0.0, "no."),
    (12.0, "color"),
    (32.0, "your scrap"),
    (53.0, "pen"),
    (113.0, "area"),
    (134.0, "coat"),
    (146.0, "rest"),
    (163.0, "refill"),
];

/// What a key says of a section without a pen.
pub const BARE: &str = "leave the paper bare";
/// What a turn is, over the order of work.
const TURNS: &str = "A turn is from picking a pen up to laying it down.";
/// Further lines of a turn stand this far to the right.
const INDENT_MM: f64 = 6.0;

/// The pages of the key, on the job's paper, upright.
pub fn key_pages(plan: &Plan) -> Vec<Sheet> {
    let size = plan.job.page.size_mm();
    let bottom = size.1 - MARGIN_MM - FOOTER_MM;
    let mut pages = Pages {
        size,
        done: Vec::new(),
        svg: String::new(),
        y: f64::INFINITY,
    };
    let line = if plan.numbers.iter().any(|n| n.over.is_some()) {
        "In the order of work; \u{25d0} is a first coat. Try each pen in its scrap box first, on the same card, both coats where there are two: the cap lies."
    } else {
        "In the order of work. Try each pen in its scrap box first, on the same card: the cap lies."
    };
    for number in &plan.numbers {
        let row = Row::of(plan, number);
        if pages.y + row.height > bottom {
            pages.turn("Key", line);
            table_head(&mut pages);
        }
        row.draw(&mut pages, plan, number);
    }
    note(&mut pages, plan, bottom);
    if pages.y + 3.0 * TURN_MM + 10.0 > bottom {
        pages.turn("Order of work", TURNS);
    } else {
        pages.y += 7.0;
        text(
            &mut pages.svg,
            MARGIN_MM,
            pages.y,
            3.6,
            " font-weight=\"bold\"",
            "Order of work",
        );
        pages.y += 2.0;
    }
    let s = &plan.schedule;
    let mut lines = Vec::new();
    if s.stamp_rest_s > 0 {
        lines.push(format!(
            "First let the stamped ink rest for {}.",
            minutes(s.stamp_rest_s)
        ));
    }
    lines.extend((0..s.turns.len()).map(|k| turn_line(plan, k)));
    lines.push(format!(
        "In all about {} of coloring and {} of waiting.",
        minutes(s.coloring_s),
        minutes(s.waiting_s)
    ));
    for line in lines {
        for (i, line) in TURN
            .lines(&line, size.0 - 2.0 * MARGIN_MM - INDENT_MM)
            .iter()
            .enumerate()
        {
            if pages.y + TURN_MM > bottom {
                pages.turn("Order of work", TURNS);
            }
            pages.y += TURN_MM;
            let x = MARGIN_MM + if i == 0 { 0.0 } else { INDENT_MM };
            text(&mut pages.svg, x, pages.y, TURN.size_mm, "", line);
        }
    }
    pages.finish()
}

/// Pages as they fill up.
struct Pages {
    size: (f64, f64),
    done: Vec<Sheet>,
    svg: String,
    y: f64,
}

impl Pages {
    /// Ends the page, if there is one, and begins another.
    fn turn(&mut self, title: &str, line: &str) {
        self.end();
        self.svg = open(self.size);
        header(&mut self.svg, self.size.0, title, line);
        self.y = MARGIN_MM + HEADER_MM;
    }

    fn end(&mut self) {
        if !self.svg.is_empty() {
            let mut svg = std::mem::take(&mut self.svg);
            footer(&mut svg, self.size.1);
            self.done.push(close(svg, self.size));
        }
    }

    fn finish(mut self) -> Vec<Sheet> {
        self.end();
        self.done
    }
}

fn table_head(pages: &mut Pages) {
    for (x, name) in COLUMNS {
        text(
            &mut pages.svg,
            MARGIN_MM + x,
            pages.y + 3.2,
            2.6,
            " fill=\"#555555\"",
            name,
        );
    }
    pages.y += HEAD_MM;
}

/// One line of the table, its words broken into lines that fit.
struct Row {
    name: Vec<String>,
    below: Vec<String>,
    height: f64,
}

impl Row {
    fn of(plan: &Plan, number: &Number) -> Self {
        let name = match &number.pen {
            Some(pen) => NAME.lines(&pen.name, NAME_MM),
            None => NAME.lines(BARE, NAME_MM),
        };
        let below = BELOW.lines(&below(plan, number), NAME_MM);
        let text = name.len() as f64 * NAME.line_mm() + below.len() as f64 * BELOW.line_mm();
        Self {
            name,
            below,
            height: (text + 4.0).max(ROW_MM),
        }
    }

    fn draw(&self, pages: &mut Pages, plan: &Plan, number: &Number) {
        let (x, y) = (MARGIN_MM, pages.y);
        let column = |k: usize| x + COLUMNS[k].0;
        let svg = &mut pages.svg;
        let bold = format!(" font-weight=\"bold\" fill=\"{NUMBER_BLUE}\"");
        text(svg, column(0), y + 7.2, 6.0, &bold, &number.mark());
        let [w, h] = BOX_MM;
        let _ = writeln!(
            svg,
            "<rect x=\"{:.2}\" y=\"{y:.2}\" width=\"{w}\" height=\"{h}\" fill=\"{}\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.15\"/>",
            column(1),
            number.color
        );
        let next = paragraph(svg, (column(3), y + 3.9), NAME, "", &self.name);
        let gray = " fill=\"#555555\"";
        paragraph(svg, (column(3), next - 0.4), BELOW, gray, &self.below);
        let _ = writeln!(
            svg,
            "<path d=\"M{x:.2} {:.2}H{:.2}\" stroke=\"{FRAME_GRAY}\" stroke-width=\"0.15\"/>",
            y + self.height - 1.5,
            pages.size.0 - MARGIN_MM
        );
        pages.y += self.height;
        let middle = y + 6.2;
        let area = format!("{:.1} cm²", number.area_mm2 / 100.0);
        text(svg, column(4), middle, 3.2, "", &area);
        let Some(pen) = &number.pen else { return };
        let _ = writeln!(
            svg,
            "<rect x=\"{:.2}\" y=\"{y:.2}\" width=\"{w}\" height=\"{h}\" fill=\"none\" stroke=\"{LINE_GRAY}\" \
             stroke-width=\"0.3\" stroke-dasharray=\"1.2 0.8\"/>",
            column(2)
        );
        let coat = if number.over.is_some() { "2nd" } else { "1st" };
        text(svg, column(5), middle, 3.2, "", coat);
        let rest = minutes(plan.schedule.rest_s);
        text(svg, column(6), middle, 3.2, "", &rest);
        let refill = if pen.refill { "at hand" } else { "none" };
        text(svg, column(7), middle, 3.2, "", refill);
    }
}

/// What stands below a name: the bands it finishes, how many sections it colors, and how its coat lies with others.
pub fn below(plan: &Plan, number: &Number) -> String {
    let mut parts: Vec<String> = Vec::new();
    let bands = plan.band_names(number);
    if !bands.is_empty() {
        parts.push(bands.join(", "));
    }
    parts.push(match number.sections {
        1 => "1 section".to_owned(),
        n => format!("{n} sections"),
    });
    parts.extend(plan.coat_text(number));
    parts.join("; ")
}

/// How to wish for another pen, below the table.
fn note(pages: &mut Pages, plan: &Plan, bottom: f64) {
    let Some(band) = plan.bands.iter().find(|b| b.pen.is_some()) else {
        return;
    };
    let line = format!(
        "\"{0}\" names a band, one step of light and dark of one color: a wish for another pen calls it so \
         (--pen \"{0}=Name of a pen\").",
        band.name
    );
    let lines = BELOW.lines(&line, pages.size.0 - 2.0 * MARGIN_MM);
    if pages.y + lines.len() as f64 * BELOW.line_mm() > bottom {
        pages.turn("Key", "");
    }
    let at = (MARGIN_MM, pages.y + 2.0);
    pages.y = paragraph(&mut pages.svg, at, BELOW, " fill=\"#555555\"", &lines);
}

/// One line of the order of work.
fn turn_line(plan: &Plan, k: usize) -> String {
    let turn = &plan.schedule.turns[k];
    let before = match k {
        0 => 0,
        k => {
            let last = &plan.schedule.turns[k - 1];
            turn.start_s - (last.start_s + last.work_s)
        }
    };
    let wait = if before > 0 {
        format!("wait {}, then ", minutes(before))
    } else {
        String::new()
    };
    let coat = plan
        .number(turn.number)
        .and_then(|n| plan.coat_text(n))
        .map_or_else(String::new, |coat| format!(", {coat}"));
    format!(
        "Turn {}: {wait}{}{coat}{}; about {}",
        k + 1,
        called(plan, turn.number),
        part(plan, k),
        minutes(turn.work_s)
    )
}

/// What a number is called in a sentence: its mark and its pen.
pub fn called(plan: &Plan, number: usize) -> String {
    let mark = plan.number(number).map(Number::mark).unwrap_or_default();
    format!("{mark} {}", pen_name(plan, number))
}

/// The name of a number's pen.
pub fn pen_name(plan: &Plan, number: usize) -> String {
    plan.number(number)
        .and_then(|n| n.pen.as_ref())
        .map_or_else(|| BARE.to_owned(), |pen| pen.name.clone())
}

/// " (part 1 of 2)" for a turn that does only a part of its coat.
pub fn part(plan: &Plan, k: usize) -> String {
    let turns = &plan.schedule.turns;
    let same = |t: &&Turn| t.number == turns[k].number;
    let all = turns.iter().filter(same).count();
    if all < 2 {
        return String::new();
    }
    let nth = turns[..=k].iter().filter(same).count();
    format!(" (part {nth} of {all})")
}

/// Seconds as a person says them.
pub fn minutes(seconds: u32) -> String {
    match seconds {
        s if s < 90 => format!("{s} s"),
        s if s % 60 == 0 => format!("{} min", s / 60),
        s => format!("{:.1} min", f64::from(s) / 60.0),
    }
}
