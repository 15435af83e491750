//! The key: what every number is, with a box to try the pen, and the order of work.

use std::fmt::Write;

use unicode_segmentation::UnicodeSegmentation;

use crate::plan::{Number, Plan, Turn};

use super::Sheet;
use super::page::{
    FOOTER_MM, FRAME_GRAY, HEADER_MM, LINE_GRAY, MARGIN_MM, NUMBER_BLUE, close, footer, header,
    open, text,
};

/// One line of the table of pens, and of the order of work.
const ROW_MM: f64 = 12.5;
const TURN_MM: f64 = 4.6;
const HEAD_MM: f64 = 5.0;
/// Swatch and scrap box.
const BOX_MM: [f64; 2] = [17.0, 9.5];
/// Longest pen name, in characters, by the width of its column.
const NAME: usize = 32;
/// The same for how its coat lies with others, in smaller letters behind the number of sections.
const COAT: usize = 34;
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
        "Color the scrap box of each pen first, on the same card, both coats where one lies over another: the cap lies."
    } else {
        "Color the scrap box of each pen first, on the same card: the cap lies."
    };
    for number in &plan.numbers {
        if pages.y + ROW_MM > bottom {
            pages.turn("Key", line);
            table_head(&mut pages);
        }
        row(&mut pages, plan, number);
    }
    if pages.y + 3.0 * TURN_MM + 10.0 > bottom {
        pages.turn("Order of work", "");
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
        if pages.y + TURN_MM > bottom {
            pages.turn("Order of work", "");
        }
        pages.y += TURN_MM;
        text(&mut pages.svg, MARGIN_MM, pages.y, 2.9, "", &line);
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
        header(&mut self.svg, title, line);
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

fn row(pages: &mut Pages, plan: &Plan, number: &Number) {
    let (x, y) = (MARGIN_MM, pages.y);
    let column = |k: usize| x + COLUMNS[k].0;
    let svg = &mut pages.svg;
    let bold = format!(" font-weight=\"bold\" fill=\"{NUMBER_BLUE}\"");
    text(
        svg,
        column(0),
        y + 7.2,
        6.0,
        &bold,
        &Plan::number_text(number.number),
    );
    let [w, h] = BOX_MM;
    let _ = writeln!(
        svg,
        "<rect x=\"{:.2}\" y=\"{y:.2}\" width=\"{w}\" height=\"{h}\" fill=\"{}\" stroke=\"{LINE_GRAY}\" stroke-width=\"0.15\"/>",
        column(1),
        number.color
    );
    let middle = y + 6.2;
    let Some(pen) = &number.pen else {
        text(svg, column(3), middle, 3.6, "", "leave the paper bare");
        pages.y += ROW_MM;
        return;
    };
    let _ = writeln!(
        svg,
        "<rect x=\"{:.2}\" y=\"{y:.2}\" width=\"{w}\" height=\"{h}\" fill=\"none\" stroke=\"{LINE_GRAY}\" \
         stroke-width=\"0.3\" stroke-dasharray=\"1.2 0.8\"/>",
        column(2)
    );
    text(
        svg,
        column(3),
        y + 4.4,
        3.6,
        " font-weight=\"bold\"",
        &shortened(&pen.name, NAME),
    );
    let sections = match number.sections {
        1 => "1 section".to_owned(),
        n => format!("{n} sections"),
    };
    let line = match plan.coat_text(number) {
        None => sections,
        Some(coat) => format!("{sections}; {}", shortened(&coat, COAT)),
    };
    text(svg, column(3), y + 8.6, 2.7, " fill=\"#555555\"", &line);
    let area = format!("{:.1} cm²", number.area_mm2 / 100.0);
    text(svg, column(4), middle, 3.2, "", &area);
    let coat = if number.over.is_some() { "2nd" } else { "1st" };
    text(svg, column(5), middle, 3.2, "", coat);
    text(
        svg,
        column(6),
        middle,
        3.2,
        "",
        &minutes(plan.schedule.rest_s),
    );
    let refill = if pen.refill { "at hand" } else { "none" };
    text(svg, column(7), middle, 3.2, "", refill);
    let _ = writeln!(
        svg,
        "<path d=\"M{x:.2} {:.2}H{:.2}\" stroke=\"{FRAME_GRAY}\" stroke-width=\"0.15\"/>",
        y + ROW_MM - 1.5,
        pages.size.0 - MARGIN_MM
    );
    pages.y += ROW_MM;
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
    format!(
        "{}. {wait}number {}, {}{}{}: about {}",
        k + 1,
        turn.number,
        shortened(&pen_name(plan, turn.number), NAME),
        coat_in_brackets(plan, turn.number),
        part(plan, k),
        minutes(turn.work_s)
    )
}

/// " (second coat, over 3)" where a coat does not lie alone.
fn coat_in_brackets(plan: &Plan, number: usize) -> String {
    plan.number(number)
        .and_then(|n| plan.coat_text(n))
        .map_or_else(String::new, |coat| format!(" ({})", shortened(&coat, COAT)))
}

/// The name of a number's pen.
pub fn pen_name(plan: &Plan, number: usize) -> String {
    plan.number(number)
        .and_then(|n| n.pen.as_ref())
        .map_or_else(|| "bare paper".to_owned(), |pen| pen.name.clone())
}

/// " (part 1 of 2)" for a turn that is only a part of its pass.
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

/// At most `most` characters as a reader counts them (Unicode Standard Annex 29), the last of them an ellipsis if
/// something is missing: no accent is cut from its letter.
pub fn shortened(name: &str, most: usize) -> String {
    if name.graphemes(true).count() <= most {
        return name.to_owned();
    }
    name.graphemes(true).take(most - 1).chain(["…"]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_cut_between_letters_never_inside_one() {
        // e with a combining accent; a family of three joined faces; a flag of two letters.
        let letters = ["e\u{301}", "👩\u{200d}👩\u{200d}👧", "🇫🇷", "x"];
        let name = letters.concat();
        assert_eq!(shortened(&name, 4), name);
        for most in 1..4 {
            assert_eq!(shortened(&name, most), letters[..most - 1].concat() + "…");
        }
    }
}
