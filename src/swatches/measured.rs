//! What photos of swatches say, written into the owner's table, and told.

use crate::color::difference;
use crate::pens::{Pen, Table};

use super::boxes::Seen;
use super::faults::Fault;
use super::read::Measured;
use super::value::{Known, UNMEASURED, Value};

/// A pen that moved by this more than both measurements are uncertain, in CIEDE2000, is not what it was; from memory.
const MOVED: f32 = 2.0;
/// A color that more pens than this have was filled in to be measured.
const FILLED_IN: usize = 2;
/// The columns of one coat and of two: the color, and how uncertain it is.
const COLUMNS: [[&str; 2]; 2] = [
    ["color", "uncertainty"],
    ["two_coats", "two_coats_uncertainty"],
];

/// What the table says was measured of the pens, in their order.
pub fn known_of(table: &Table, pens: &[Pen]) -> Vec<Known> {
    let value = |(i, pen): (usize, &Pen)| {
        let colors = [Some(pen.color), pen.two_coats];
        std::array::from_fn(|coat| {
            let uncertainty = table.get(i, COLUMNS[coat][1])?.parse().ok()?;
            let color = colors[coat]?;
            Some(Value { color, uncertainty })
        })
    };
    pens.iter().enumerate().map(value).collect()
}

/// What the table says of one coat of each pen, measured or read off a cap; `None` where a color was only filled in.
pub fn believed(table: &Table, pens: &[Pen]) -> Vec<Option<Value>> {
    let known = known_of(table, pens);
    let cap = |pen: &Pen| {
        (!filled_in(pen, pens)).then_some(Value {
            color: pen.color,
            uncertainty: UNMEASURED,
        })
    };
    let one = |(pen, known): (&Pen, Known)| known[0].or_else(|| cap(pen));
    pens.iter().zip(known).map(one).collect()
}

/// Was its color only filled in, to be measured?
fn filled_in(pen: &Pen, pens: &[Pen]) -> bool {
    pens.iter().filter(|p| p.color == pen.color).count() > FILLED_IN
}

/// Writes what was found into the table, the best value of every box, and tells a line for every pen. What a `scrap` says
/// counts only where less was known.
pub fn write_down(table: &mut Table, pens: &[Pen], found: &[Measured], scrap: bool) -> Vec<String> {
    let mut measured: Vec<Option<Measured>> = vec![None; pens.len()];
    for &m in found {
        let best = measured[m.pen].get_or_insert(m);
        for (best, new) in best.coats.iter_mut().zip(m.coats) {
            *best = better(*best, new);
        }
    }
    let mut lines = Vec::new();
    for (pen, m) in pens.iter().zip(measured) {
        let Some(m) = m.map(Measured::possible) else {
            if !scrap {
                lines.push(format!("{}: on no photo, left as it was", &pen.name));
            }
            continue;
        };
        let before = Before {
            pen,
            uncertainty: COLUMNS.map(|[_, u]| table.get(m.pen, u).and_then(|v| v.parse().ok())),
            filled_in: filled_in(pen, pens),
        };
        // A scrap tells less than a sheet.
        if let (true, Some(known), Seen::Color(new)) = (scrap, before.uncertainty[0], m.coats[0])
            && known <= new.uncertainty
        {
            let name = &pen.name;
            lines.push(format!(
                "{name}: about {} on the scrap; left as it was, it is known better (\u{b1} {known:.1})",
                new.color
            ));
            continue;
        }
        let m = before.possible(m);
        for (seen, [column, uncertainty]) in m.coats.iter().zip(COLUMNS) {
            if let Seen::Color(value) = seen {
                table.set(m.pen, column, &value.color.to_string());
                table.set(m.pen, uncertainty, &format!("{:.1}", value.uncertainty));
            }
        }
        lines.push(told(&before, &m));
    }
    lines
}

/// The better of what two photos say of one box.
fn better(a: Seen, b: Seen) -> Seen {
    match (a, b) {
        (Seen::Color(x), Seen::Color(y)) if y.uncertainty < x.uncertainty => b,
        (Seen::Color(_), _) | (Seen::Fault(_), Seen::Empty | Seen::Fault(_)) => a,
        _ => b,
    }
}

/// What was known of a pen.
struct Before<'a> {
    pen: &'a Pen,
    /// Of one coat and of two, where they were measured.
    uncertainty: [Option<f32>; 2],
    /// Its color was only filled in.
    filled_in: bool,
}

impl Before<'_> {
    /// Without a second coat that is lighter than the first one that stays, by more than both may be off.
    fn possible(&self, mut m: Measured) -> Measured {
        if let [Seen::Empty | Seen::Fault(_), Seen::Color(two)] = m.coats {
            let known = self.uncertainty[0].unwrap_or(UNMEASURED);
            let lighter = two.color.lab().l - self.pen.color.lab().l;
            if !self.filled_in && lighter > known.hypot(two.uncertainty) {
                m.coats[1] = Seen::Fault(Fault::LighterThanOneCoat);
            }
        }
        m
    }

    /// Are the two coats that stay lighter than the one coat that is new?
    fn outdated(&self, m: &Measured) -> bool {
        let ([Seen::Color(one), Seen::Empty | Seen::Fault(_)], Some(two)) =
            (m.coats, self.pen.two_coats)
        else {
            return false;
        };
        let known = self.uncertainty[1].unwrap_or(UNMEASURED);
        two.lab().l - one.color.lab().l > known.hypot(one.uncertainty)
    }
}

/// What changed for one pen.
fn told(before: &Before, measured: &Measured) -> String {
    let pen = before.pen;
    let name = &pen.name;
    let [one, two] = measured.coats;
    if let [Seen::Empty, Seen::Empty] = measured.coats {
        return format!("{name}: boxes empty, left as it was");
    }
    let mut flag = "";
    let first = match one {
        Seen::Empty => "first box empty".to_owned(),
        Seen::Fault(fault) => left(fault, name, &pen.color.to_string()),
        Seen::Color(value) => {
            let moved = difference(pen.color.lab(), value.color.lab());
            let known = before.uncertainty[0].unwrap_or(UNMEASURED);
            if !before.filled_in && moved > MOVED + known + value.uncertainty {
                flag = "; it was another color: a dying nib, running dry, or over-inked?";
            }
            format!(
                "{} is now {} (moved by {moved:.1}, {})",
                pen.color,
                value.color,
                give(value)
            )
        }
    };
    let second = match two {
        Seen::Empty => "second box empty".to_owned(),
        Seen::Fault(fault) => left(
            fault,
            name,
            &pen.two_coats
                .map_or("no color of two coats".into(), |c| c.to_string()),
        ),
        Seen::Color(value) => format!("two coats {} ({})", value.color, give(value)),
    };
    let outdated = if before.outdated(measured) {
        "; the two coats in the list are lighter than that, color the second box, too"
    } else {
        ""
    };
    format!("{name}: {first}, {second}{outdated}{flag}")
}

/// How far a value may be off.
fn give(value: Value) -> String {
    let mark = if value.uncertain() { ", uncertain" } else { "" };
    format!("\u{b1} {:.1}{mark}", value.uncertainty)
}

/// A box that keeps what it was.
fn left(fault: Fault, name: &str, old: &str) -> String {
    format!("{fault} on {name}: {} (stays {old})", fault.remedy())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::Srgb8;

    #[test]
    fn what_is_written_for_a_pen_is_what_is_told() {
        let pen = Pen {
            name: "Moss".into(),
            color: Srgb8::new(90, 110, 60),
            refill: true,
            condition: crate::pens::Condition::Good,
            two_coats: None,
            note: String::new(),
        };
        let color = Seen::Color(Value {
            color: Srgb8::new(70, 90, 40),
            uncertainty: 1.0,
        });
        let before = Before {
            pen: &pen,
            uncertainty: [None; 2],
            filled_in: false,
        };
        for (coats, said, unsaid) in [
            ([Seen::Empty, Seen::Empty], "left as it was", "#465a28"),
            ([Seen::Empty, color], "two coats #465a28", "left as it was"),
            ([color, Seen::Empty], "is now #465a28", "left as it was"),
            ([color, color], "two coats #465a28", "left as it was"),
        ] {
            let told = told(&before, &Measured { pen: 0, coats });
            assert!(told.contains(said) && !told.contains(unsaid), "{told}");
        }
    }
}
