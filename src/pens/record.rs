//! The record of what was colored: plain text beside the pens file, one line for every turn, only ever added to.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use crate::error::{Error, Result};
use crate::files::fnv1a;

/// A filling of a marker covers about this, in square centimeters; from memory. Marker and paper differ: the record
/// shows which pens to look at, no more.
pub const FILLING_CM2: f64 = 400.0;
/// The first line of a record.
const HEAD: &str =
    "# what was colored: date,plan,pen,cm2,coats (write \"refilled\" for cm2 when a pen was)";

/// What a turn used of its pen, or what a plan will.
#[derive(Debug, Clone, PartialEq)]
pub struct Use {
    /// Year, month and day.
    pub date: String,
    /// What was colored: the plan's folder and, for a turn, which it was of which coloring. What stands in the record
    /// already is not added again.
    pub plan: String,
    pub pen: String,
    pub cm2: f64,
    pub coats: u32,
}

/// What a record says.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Record {
    /// Square centimeters per pen since it was last refilled, coats counted.
    pub used: BTreeMap<String, f64>,
    /// What its lines are of, as in [`Use::plan`], with their dates.
    pub plans: BTreeSet<(String, String)>,
    /// Numbers of lines that are not understood, and were skipped.
    pub damaged: Vec<usize>,
}

impl Record {
    /// Reads what a record holds; lines that are not understood are skipped.
    pub fn read(bytes: &[u8]) -> Self {
        let text = String::from_utf8_lossy(bytes);
        let mut record = Self::default();
        for (i, line) in text.lines().enumerate() {
            if line.trim().is_empty() || line.starts_with('#') {
                continue;
            }
            if let Some(fields) = fields(line) {
                record
                    .plans
                    .insert((fields[1].to_owned(), fields[0].to_owned()));
            }
            match read_line(line) {
                Some((pen, Some(cm2))) => *record.used.entry(pen).or_default() += cm2,
                Some((pen, None)) => {
                    record.used.insert(pen, 0.0);
                }
                None => record.damaged.push(i + 1),
            }
        }
        record
    }

    /// Pens that have used up a filling, most used first.
    pub fn due(&self) -> Vec<(&str, f64)> {
        let mut due: Vec<(&str, f64)> = self
            .used
            .iter()
            .filter(|&(_, &cm2)| cm2 >= FILLING_CM2)
            .map(|(pen, &cm2)| (pen.as_str(), cm2))
            .collect();
        due.sort_by(|a, b| b.1.total_cmp(&a.1));
        due
    }
}

/// The pens of a plan that will have used up a filling with it, as far as the record tells, and what they then have
/// colored, in square centimeters and coats.
pub fn due_with(record: &Record, uses: &[Use]) -> Vec<(String, f64)> {
    let mut after: Vec<(String, f64)> = Vec::new();
    for u in uses {
        let cm2 = u.cm2 * f64::from(u.coats);
        match after.iter_mut().find(|(pen, _)| *pen == u.pen) {
            Some((_, sum)) => *sum += cm2,
            None => {
                let before = record.used.get(&u.pen).copied().unwrap_or(0.0);
                after.push((u.pen.clone(), before + cm2));
            }
        }
    }
    after.retain(|&(_, cm2)| cm2 >= FILLING_CM2);
    after
}

/// Turns of a plan that were colored, as the guide hands them over: the plan, the turns as bits of a hexadecimal number,
/// the minute it began in base 36, and a check, as in `3f9a01c2-3ff-h2k9d1-5d`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Colored {
    /// See [`crate::plan::Plan::id`].
    pub plan: String,
    /// Indices, ascending.
    pub turns: Vec<usize>,
    /// When it began, in minutes since the beginning of 1970 where it was colored.
    pub began_min: u64,
    /// Tells this coloring of the plan from another.
    pub run: String,
}

impl std::str::FromStr for Colored {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self> {
        let wrong = || {
            Error::new(
                format!("\"{}\" is not a code of the guide", text.trim()),
                "Copy it whole from the guide, where it stands under \"What you colored\"; it looks like 3f9a01c2-3ff-h2k9d1-5d.",
            )
        };
        let plain: String = text
            .chars()
            .filter(|c| !c.is_whitespace())
            .collect::<String>()
            .to_ascii_lowercase();
        let (told, check) = plain.rsplit_once('-').ok_or_else(wrong)?;
        let [plan, bits, run] = told.split('-').collect::<Vec<_>>()[..] else {
            return Err(wrong());
        };
        let turns = ones(bits).filter(|turns| !turns.is_empty());
        let turns = turns.ok_or_else(wrong)?;
        let began_min = u64::from_str_radix(run, 36).map_err(|_| wrong())?;
        if check != format!("{:02x}", fnv1a(told.as_bytes()) & 0xff) {
            return Err(wrong());
        }
        Ok(Self {
            plan: plan.to_owned(),
            turns,
            began_min,
            run: run.to_owned(),
        })
    }
}

/// The places of the ones in a hexadecimal number, of any length: a plan may have more turns than a machine word has bits.
fn ones(hexadecimal: &str) -> Option<Vec<usize>> {
    let mut ones = Vec::new();
    for (place, digit) in hexadecimal.chars().rev().enumerate() {
        let digit = digit.to_digit(16)?;
        ones.extend(
            (0..4)
                .filter(|k| digit >> k & 1 == 1)
                .map(|k| 4 * place + k),
        );
    }
    Some(ones)
}

/// The record of a pens file: beside it, with its name and `-record.csv`.
pub fn record_path(pens: &Path) -> PathBuf {
    let stem = pens.file_stem().unwrap_or_default().to_string_lossy();
    pens.with_file_name(format!("{stem}-record.csv"))
}

/// What does not stand yet in a record that holds these bytes, and the bytes that add it.
pub fn to_add(record: &[u8], uses: &[Use]) -> (Vec<Use>, Vec<u8>) {
    let text = String::from_utf8_lossy(record);
    let known: BTreeSet<(String, String)> = text
        .lines()
        .filter_map(fields)
        .map(|f| (f[1].to_owned(), f[2].to_owned()))
        .collect();
    let new: Vec<Use> = uses
        .iter()
        .filter(|u| !known.contains(&(one_line(&u.plan), one_line(&u.pen))))
        .cloned()
        .collect();
    let mut lines = Vec::new();
    match record.last() {
        None => lines.extend(format!("{HEAD}\n").bytes()),
        // A line that a power cut broke off is ended first, so that it spoils no other.
        Some(last) if *last != b'\n' => lines.push(b'\n'),
        Some(_) => {}
    }
    let mut writer = csv::WriterBuilder::new().from_writer(&mut lines);
    for u in &new {
        writer
            .write_record([
                &one_line(&u.date),
                &one_line(&u.plan),
                &one_line(&u.pen),
                &format!("{:.2}", u.cm2),
                &u.coats.to_string(),
            ])
            .expect("memory takes every record");
    }
    drop(writer);
    (new, lines)
}

/// A record is read line by line, so that one damaged line spoils no other.
fn one_line(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

/// The five fields of a line; `None` if it is a remark or not understood.
fn fields(line: &str) -> Option<csv::StringRecord> {
    if line.starts_with('#') || line.contains('\u{fffd}') {
        return None;
    }
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .trim(csv::Trim::All)
        .from_reader(line.as_bytes());
    let fields = reader.records().next()?.ok()?;
    (fields.len() == 5 && !fields[2].is_empty()).then_some(fields)
}

/// The pen, and what it used (`None`: it was refilled).
fn read_line(line: &str) -> Option<(String, Option<f64>)> {
    let fields = fields(line)?;
    let pen = fields[2].to_owned();
    if fields[3].eq_ignore_ascii_case("refilled") {
        return Some((pen, None));
    }
    let cm2: f64 = fields[3].parse().ok()?;
    let coats: u32 = fields[4].parse().ok()?;
    (cm2.is_finite() && cm2 >= 0.0 && coats <= 9).then(|| (pen, Some(cm2 * f64::from(coats))))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every call is of another turn.
    fn used(pen: &str, cm2: f64, coats: u32) -> Use {
        static TURN: std::sync::atomic::AtomicUsize = std::sync::atomic::AtomicUsize::new(1);
        let turn = TURN.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        Use {
            date: "2026-11-25".into(),
            plan: format!("plum-plan turn {turn}"),
            pen: pen.into(),
            cm2,
            coats,
        }
    }

    #[test]
    fn a_pen_is_due_with_the_plan_that_uses_it_up() {
        let mut record = Record::default();
        record.used.insert("Near".into(), FILLING_CM2 - 10.0);
        record
            .used
            .insert("Not used here".into(), 2.0 * FILLING_CM2);
        let uses = [
            used("Near", 3.0, 1),
            used("Near", 3.5, 2),
            used("Far", 20.0, 2),
        ];
        assert_eq!(due_with(&record, &uses), [("Near".to_owned(), FILLING_CM2)]);
        assert!(due_with(&record, &uses[..1]).is_empty());
    }

    /// What the record is after these uses.
    fn with(record: &[u8], uses: &[Use]) -> Vec<u8> {
        [record, &to_add(record, uses).1].concat()
    }

    #[test]
    fn what_is_added_is_read_back_and_refills_count_from_zero() {
        let path = record_path(Path::new("desk/my-pens.csv"));
        assert_eq!(path, Path::new("desk/my-pens-record.csv"));
        assert_eq!(Record::read(b""), Record::default());
        let first = [used("Moss, \"deep\"", 250.0, 1), used("Plum", 3.5, 2)];
        let bytes = with(b"", &first);
        let mut bytes = with(&bytes, &[used("Moss, \"deep\"", 180.0, 1)]);
        let record = Record::read(&bytes);
        assert_eq!(record.used["Plum"], 7.0);
        assert_eq!(record.due(), [("Moss, \"deep\"", 430.0)]);
        bytes.extend(b"2026-12-01,-,\"Moss, \"\"deep\"\"\",refilled,1\n");
        assert!(Record::read(&bytes).due().is_empty());
    }

    #[test]
    fn what_stands_there_is_not_added_again() {
        let uses = [used("Moss, \"deep\"", 2.0, 1), used("Plum", 3.0, 1)];
        let (added, bytes) = to_add(b"", &uses[..1]);
        assert_eq!(added, uses[..1]);
        let (added, more) = to_add(&bytes, &uses);
        assert_eq!(added, uses[1..]);
        let nothing = (vec![], vec![]);
        assert_eq!(to_add(&[bytes, more].concat(), &uses), nothing);
    }

    #[test]
    fn a_code_of_the_guide_is_read_however_it_was_copied_and_a_wrong_letter_is_noticed() {
        // Made by the guide's own script in Node.js.
        let code = "3f9a01c2-10000000207-h9kjk-a3";
        let colored: Colored = code.parse().unwrap();
        assert_eq!(colored.plan, "3f9a01c2");
        assert_eq!(colored.turns, [0, 1, 2, 9, 40]);
        assert_eq!(colored.began_min, 29_000_000);
        let spaced = format!("  {} \n", code.to_uppercase().replace('-', " - "));
        assert_eq!(spaced.parse::<Colored>().unwrap(), colored);
        // More turns than a machine word has bits; the check as the guide computes it.
        let told = "3f9a01c2-1000000000000000080000001-h9kjk";
        let code = format!("{told}-{:02x}", fnv1a(told.as_bytes()) & 0xff);
        let long: Colored = code.parse().unwrap();
        assert_eq!(long.turns, [0, 31, 96]);
        let none = "3f9a01c2-0-h9kjk";
        let none = format!("{none}-{:02x}", fnv1a(none.as_bytes()) & 0xff);
        for wrong in [
            &none,
            "",
            "-",
            "a-b-c-d",
            "3f9a01c2",
            &code[1..],
            &code.replace('9', "8"),
        ] {
            assert!(wrong.parse::<Colored>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn damaged_lines_are_skipped_and_spoil_no_other() {
        let mut bytes = with(b"", &[used("Plum", 3.5, 1)]);
        // The power went in the middle of a line.
        bytes.extend(b"2026-11-26,plum-plan,Pl\xff");
        let bytes = with(&bytes, &[used("Plum", 1.5, 1), used("Moss", 2.0, 1)]);
        let record = Record::read(&bytes);
        assert_eq!(record.damaged, [3]);
        assert_eq!(record.used["Plum"], 5.0);
        assert_eq!(record.used["Moss"], 2.0);
        for line in [
            "a,b,c,d,e",
            "a,b,,1,1",
            "a,b,c,-1,1",
            "a,b,c,1e400,1",
            "a,b,c,1",
        ] {
            assert_eq!(read_line(line), None, "{line}");
        }
    }
}
