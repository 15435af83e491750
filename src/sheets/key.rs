//! The key: what every number is, with a box to try the pen, and the order of work.

use kurbo::Rect;

use crate::plan::{Number, Plan, Turn};

use super::Sheet;
use super::lettering::Letters;
use super::page::{FRAME_GRAY, LINE_GRAY, MARGIN_MM, NUMBER_BLUE, PALER_TEXT, Pages};
use super::svg::segment;

/// The least height of a line of the table of pens, and from turn to turn in the order of work.
const ROW_MM: f64 = 12.5;
const TURN_MM: f64 = 4.6;
const HEAD_MM: f64 = 5.0;
/// Swatch and scrap box.
const BOX_MM: (f64, f64) = (17.0, 9.5);
/// Width of the column of names, and the letters in it.
const NAME_MM: f64 = 57.0;
const NAME: Letters = Letters::bold(3.6);
const BELOW: Letters = Letters::regular(2.7).colored(PALER_TEXT);
/// Number of a pen, the facts beside its name, and what stands over a column.
const NUMBER: Letters = Letters::bold(6.0).colored(NUMBER_BLUE);
const FACT: Letters = Letters::regular(3.2);
const COLUMN: Letters = Letters::regular(2.6).colored(PALER_TEXT);
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
/// What a turn's line means by that, below the turns.
const ACROSS: &str = "\"Wet across a line\": only a drawn line between, so keep off it.";
/// A shorter wait is not told, in seconds: that long it takes to cap one pen and open the next. From memory.
pub const SHORT_WAIT_S: u32 = 10;
/// Further lines of a turn stand this far to the right.
const INDENT_MM: f64 = 6.0;

/// The pages of the key, on the job's paper, upright.
pub fn key_pages(plan: &Plan) -> Vec<Sheet> {
    let mut pages = Pages::new(plan.job.page.size_mm());
    let line = if plan.numbers.iter().any(|n| n.over.is_some()) {
        "In the order of work; \u{25d0} is a first coat. Try each pen in its scrap box first, on the same card, both coats where there are two: the cap lies."
    } else {
        "In the order of work. Try each pen in its scrap box first, on the same card: the cap lies."
    };
    for number in &plan.numbers {
        let row = Row::of(plan, number);
        if !pages.has_room(row.height) {
            pages.begin("Key", line);
            table_head(&mut pages);
        }
        row.draw(&mut pages, plan, number);
    }
    note(&mut pages, plan);
    order(&mut pages, plan);
    pages.sheets()
}

/// Every turn in a line, and how long they take.
fn order(pages: &mut Pages, plan: &Plan) {
    if pages.has_room(3.0 * TURN_MM + 10.0) {
        let at = (MARGIN_MM, pages.y + 7.0);
        let heading = Letters::bold(3.6);
        pages.svg().text(at, heading).saying("Order of work");
        pages.y += 9.0;
    } else {
        pages.begin("Order of work", TURNS);
    }
    let s = &plan.schedule;
    let stamped = (s.stamp_rest_s > 0).then(|| {
        format!(
            "First let the stamped ink rest for {}.",
            minutes(s.stamp_rest_s)
        )
    });
    let turns = (0..s.turns.len()).map(|k| turn_line(plan, k));
    let waiting = match s.waiting_s {
        0 => "without a wait".to_owned(),
        s => format!("and {} of waiting", minutes(s)),
    };
    let mut all = format!(
        "In all about {} of coloring {waiting}.",
        minutes(s.coloring_s)
    );
    if (0..s.turns.len()).any(|k| !s.wet_across(k).is_empty()) {
        // On the same line: one line more may be a page more.
        all = format!("{all} {ACROSS}");
    }
    let lines = stamped.into_iter().chain(turns).chain([all]);
    for line in lines {
        let lines = TURN.lines(&line, pages.width() - INDENT_MM);
        for (i, line) in lines.iter().enumerate() {
            if !pages.has_room(TURN_MM) {
                pages.begin("Order of work", TURNS);
            }
            pages.y += TURN_MM;
            let at = (MARGIN_MM + if i == 0 { 0.0 } else { INDENT_MM }, pages.y);
            pages.svg().text(at, TURN).saying(line);
        }
    }
}

fn table_head(pages: &mut Pages) {
    let y = pages.y + 3.2;
    for (x, name) in COLUMNS {
        pages.svg().text((MARGIN_MM + x, y), COLUMN).saying(name);
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
        let (x, y, end) = (MARGIN_MM, pages.y, MARGIN_MM + pages.width());
        let column = |k: usize| x + COLUMNS[k].0;
        let in_column = |k: usize| Rect::from_origin_size((column(k), y), BOX_MM);
        pages.y += self.height;
        let svg = pages.svg();
        svg.text((column(0), y + 7.2), NUMBER)
            .saying(&number.mark());
        svg.rect(in_column(1))
            .fill(number.color)
            .stroke(LINE_GRAY, 0.15);
        let next = svg.paragraph((column(3), y + 3.9), NAME, &self.name);
        svg.paragraph((column(3), next - 0.4), BELOW, &self.below);
        let under = y + self.height - 1.5;
        svg.path(segment((x, under), (end, under)))
            .stroke(FRAME_GRAY, 0.15);
        let mut fact = |k: usize, words: &str| svg.text((column(k), y + 6.2), FACT).saying(words);
        fact(4, &format!("{:.1} cm²", number.area_mm2 / 100.0));
        let Some(pen) = &number.pen else { return };
        fact(5, if number.over.is_some() { "2nd" } else { "1st" });
        fact(6, &minutes(plan.schedule.rest_s));
        fact(7, if pen.refill { "at hand" } else { "none" });
        svg.rect(in_column(2))
            .line(LINE_GRAY, 0.3)
            .set("stroke-dasharray", "1.2 0.8");
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
fn note(pages: &mut Pages, plan: &Plan) {
    let Some(band) = plan.bands.iter().find(|b| b.pen.is_some()) else {
        return;
    };
    let line = format!(
        "\"{0}\" names a band, one step of light and dark of one color: a wish for another pen calls it so \
         (--pen \"{0}=Name of a pen\").",
        band.name
    );
    let lines = BELOW.lines(&line, pages.width());
    if !pages.has_room(lines.len() as f64 * BELOW.line_mm()) {
        pages.begin("Key", "");
    }
    let at = (MARGIN_MM, pages.y + 2.0);
    pages.y = pages.svg().paragraph(at, BELOW, &lines);
}

/// One line of the order of work.
fn turn_line(plan: &Plan, k: usize) -> String {
    let turn = &plan.schedule.turns[k];
    let wait = match plan.schedule.wait_s(k) {
        s if s < SHORT_WAIT_S => String::new(),
        s => format!("wait {}, then ", minutes(s)),
    };
    let wet = match marks(plan, &plan.schedule.wet_across(k)) {
        wet if wet.is_empty() => String::new(),
        wet => format!("; wet across a line: {wet}"),
    };
    let coat = plan
        .number(turn.number)
        .and_then(|n| plan.coat_text(n))
        .map_or_else(String::new, |coat| format!(", {coat}"));
    format!(
        "Turn {}: {wait}{}{coat}{}; about {}{wet}",
        k + 1,
        called(plan, turn.number),
        part(plan, k),
        minutes(turn.work_s)
    )
}

/// Numbers in a list, by their marks; a first coat has none that it is known by, and is called by its pen.
pub fn marks(plan: &Plan, numbers: &[usize]) -> String {
    let call = |&n: &usize| match plan.number(n) {
        Some(number) if !number.is_first_coat() => number.mark(),
        _ => called(plan, n),
    };
    numbers.iter().map(call).collect::<Vec<_>>().join(", ")
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
