//! What photos of swatches say, written into the owner's table, and told.

use crate::color::{Srgb8, difference};
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

/// Writes what was found into the table, the mean of what several photos say of a box, and tells a line for every pen. What
/// a `scrap` says counts only where less was known.
pub fn write_down(table: &mut Table, pens: &[Pen], found: &[Measured], scrap: bool) -> Vec<String> {
    let measured = |k: usize| {
        let of_pen: Vec<&Measured> = found.iter().filter(|m| m.pen == k).collect();
        (!of_pen.is_empty()).then(|| Measured {
            pen: k,
            coats: [0, 1].map(|b| together(&of_pen.iter().map(|m| m.coats[b]).collect::<Vec<_>>())),
        })
    };
    let mut lines = Vec::new();
    for (k, pen) in pens.iter().enumerate() {
        let Some(m) = measured(k).map(Measured::possible) else {
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

/// What several photos say of one box: the mean of their colors, each weighing as it is certain. A fault tells more than
/// nothing does.
///
/// Printer and paper are the same in all of them, so that the mean is no more certain than the best; less so where they are
/// farther apart than they say (the greater of internal and external error, Birge 1932).
fn together(seen: &[Seen]) -> Seen {
    let color = |s: &Seen| match s {
        Seen::Color(value) => Some((*value, f64::from(value.uncertainty).powi(-2))),
        _ => None,
    };
    let values: Vec<(Value, f64)> = seen.iter().filter_map(color).collect();
    if values.len() < 2 {
        let rank = |s: &&Seen| match s {
            Seen::Color(_) => 0,
            Seen::Fault(_) => 1,
            Seen::Empty => 2,
        };
        return seen.iter().min_by_key(rank).copied().unwrap_or(Seen::Empty);
    }
    let all: f64 = values.iter().map(|v| v.1).sum();
    let mean = |of: &dyn Fn(Value) -> f64| values.iter().map(|v| of(v.0) * v.1).sum::<f64>() / all;
    // Code values are about even to the eye.
    let channel = |c: usize| mean(&|v| f64::from(v.color.0[c])).round() as u8;
    let color = Srgb8::new(channel(0), channel(1), channel(2));
    let off = |v: Value| f64::from(difference(v.color.lab(), color.lab())).powi(2);
    let external = 2.0 * (mean(&off) / (values.len() - 1) as f64).sqrt();
    let best = values
        .iter()
        .map(|v| v.0.uncertainty)
        .fold(f32::INFINITY, f32::min);
    Seen::Color(Value {
        color,
        uncertainty: best.max(external as f32),
    })
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

    #[test]
    fn of_several_photos_the_mean_counts_as_each_is_certain() {
        let value = |v: u8, uncertainty: f32| {
            let color = Srgb8::new(v, v, v);
            Seen::Color(Value { color, uncertainty })
        };
        let glare = Seen::Fault(Fault::Glare);
        for (seen, expected) in [
            (vec![Seen::Empty, glare], glare),
            (vec![glare, value(90, 3.0), Seen::Empty], value(90, 3.0)),
            // Weights of 1 and 1/4; no more certain than the best, in any order.
            (vec![value(100, 2.0), value(105, 4.0)], value(101, 2.0)),
            (vec![value(105, 4.0), value(100, 2.0)], value(101, 2.0)),
        ] {
            assert_eq!(together(&seen), expected);
        }
        // Two that are certain and apart are both in doubt: the mean of two is off by half of what they are apart, one
        // standard deviation (Birge 1932).
        let [one, two] = [Srgb8::new(90, 90, 90), Srgb8::new(110, 110, 110)];
        let apart = difference(one.lab(), two.lab());
        let Seen::Color(both) = together(&[value(90, 1.0), value(110, 1.0)]) else {
            unreachable!()
        };
        assert_eq!(both.color, Srgb8::new(100, 100, 100));
        assert!(
            (both.uncertainty / apart - 1.0).abs() < 0.05,
            "{both:?} {apart}"
        );
    }
}
