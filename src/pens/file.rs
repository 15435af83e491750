//! The pens file: CSV as spreadsheets save it.

use std::path::{Path, PathBuf};

use csv::StringRecord;
use serde::{Deserialize, Serialize};
use unicode_segmentation::UnicodeSegmentation;

use crate::color::Srgb8;
use crate::error::{Error, Result};

/// Longest pens file that is read, in bytes; a hundred thousand pens fit.
const LARGEST_BYTES: usize = 16 << 20;

/// Longest name of a pen, in letters: longer ones could not be told apart on a sheet. From memory.
const LONGEST_NAME: usize = 80;

/// What to do about a pens file that is none.
const HEADER: &str = "The first line names the columns: name,color,refill,condition (and two_coats and note, if you like).";

/// One marker the person owns.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pen {
    pub name: String,
    /// One dry coat on the owner's paper.
    pub color: Srgb8,
    /// A refill is at hand.
    pub refill: bool,
    pub condition: Condition,
    /// Two dry coats on the owner's paper, if measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub two_coats: Option<Srgb8>,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Condition {
    Good,
    /// Writes, but gives an uneven color; suggested only where no good pen comes near.
    Worn,
    /// Never suggested.
    Dry,
}

/// A table as a spreadsheet saved it: columns and lines, whatever they hold.
pub struct Table {
    path: PathBuf,
    columns: StringRecord,
    /// With their line numbers; lines without anything in them are left out.
    rows: Vec<(u64, StringRecord)>,
}

impl Table {
    /// Reads UTF-8, UTF-16 or Windows-1252, commas, semicolons or tabs, a byte-order mark, quoted fields, blank lines.
    ///
    /// # Errors
    /// If the file is too large, or is no table.
    pub fn read(path: &Path, bytes: &[u8]) -> Result<Self> {
        let next = HEADER;
        let size = bytes.len();
        if size > LARGEST_BYTES {
            return Err(Error::file(
                path,
                format!("is {size} bytes, expected at most {LARGEST_BYTES}"),
                next,
            ));
        }
        // A byte-order mark decides; else what is not UTF-8 is taken for what older spreadsheets save.
        let (text, _, had_errors) = encoding_rs::UTF_8.decode(bytes);
        let text = if had_errors {
            encoding_rs::WINDOWS_1252.decode(bytes).0
        } else {
            text
        };
        if text.contains('\0') {
            return Err(Error::file(path, "is not a text file", next));
        }
        let header = text
            .lines()
            .find(|line| !line.trim().is_empty())
            .unwrap_or("");
        let delimiter = [b';', b'\t']
            .into_iter()
            .find(|&d| header.contains(char::from(d)))
            .unwrap_or(b',');
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let columns = reader
            .headers()
            .map_err(|e| Error::file(path, e, next))?
            .clone();
        let mut rows = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|e| Error::file(path, e, next))?;
            if !record.iter().all(str::is_empty) {
                rows.push((record.position().map_or(0, csv::Position::line), record));
            }
        }
        Ok(Self {
            path: path.to_owned(),
            columns,
            rows,
        })
    }

    /// Number of lines with something in them.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Nothing but column names.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Whether there is a column of this name.
    pub fn has(&self, column: &str) -> bool {
        self.column(column).is_some()
    }

    fn column(&self, name: &str) -> Option<usize> {
        self.columns
            .iter()
            .position(|c| c.eq_ignore_ascii_case(name))
    }

    fn needed(&self, name: &str) -> Result<usize> {
        self.column(name).ok_or_else(|| {
            let found = self.columns.iter().collect::<Vec<_>>().join(", ");
            Error::file(
                &self.path,
                format!("has no column \"{name}\" (found: {found})"),
                HEADER,
            )
        })
    }

    /// A field of a row, counted without blank lines; `None` if there is no such column or nothing in it.
    pub fn get(&self, row: usize, name: &str) -> Option<&str> {
        let (_, record) = self.rows.get(row)?;
        record.get(self.column(name)?).filter(|f| !f.is_empty())
    }

    /// Sets a field of a row, counted without blank lines; adds the column if there is none.
    pub fn set(&mut self, row: usize, name: &str, value: &str) {
        let at = self.column(name).unwrap_or_else(|| {
            self.columns.push_field(name);
            self.columns.len() - 1
        });
        let (_, record) = &mut self.rows[row];
        let mut fields: Vec<&str> = record.iter().collect();
        fields.resize(fields.len().max(at + 1), "");
        fields[at] = value;
        *record = fields.into();
    }

    /// The table with these of its rows, in this order; `None` is an empty row.
    ///
    /// # Panics
    /// If a row is none of the table's.
    #[must_use]
    pub fn with_rows(&self, rows: &[Option<usize>]) -> Self {
        let row = |row: &Option<usize>| match *row {
            Some(row) => self.rows[row].clone(),
            None => (0, StringRecord::from(vec![""; self.columns.len()])),
        };
        Self {
            path: self.path.clone(),
            columns: self.columns.clone(),
            rows: rows.iter().map(row).collect(),
        }
    }

    /// The table as UTF-8 with commas, every column as it was read.
    pub fn to_csv(&self) -> Vec<u8> {
        let mut writer = csv::WriterBuilder::new()
            .flexible(true)
            .from_writer(Vec::new());
        let records = std::iter::once(&self.columns).chain(self.rows.iter().map(|(_, r)| r));
        for record in records {
            let mut fields: Vec<&str> = record.iter().collect();
            fields.resize(fields.len().max(self.columns.len()), "");
            writer
                .write_record(&fields)
                .expect("memory takes every record");
        }
        writer.into_inner().expect("memory takes every record")
    }
}

/// Reads `name,color,refill,condition[,two_coats][,note]` in any order of columns, as [`Table::read`] does; headers may
/// be capital.
///
/// # Errors
/// If a column is missing, a value is not understood (with its line), a name stands twice or
/// is empty, or there is no pen at all.
pub fn read_pens(path: &Path, bytes: &[u8]) -> Result<Vec<Pen>> {
    let table = Table::read(path, bytes)?;
    let next = HEADER;
    let (name, color) = (table.needed("name")?, table.needed("color")?);
    let (refill, condition) = (table.needed("refill")?, table.needed("condition")?);
    let (note, two_coats) = (table.column("note"), table.column("two_coats"));

    let mut pens: Vec<Pen> = Vec::new();
    let mut lines = std::collections::HashMap::new();
    for &(line, ref record) in &table.rows {
        let wrong =
            |what: String, next: &str| Error::file(path, format!("line {line}: {what}"), next);
        let field = |at: usize| record.get(at).unwrap_or("");
        let pen = Pen {
            name: field(name).to_owned(),
            color: field(color)
                .parse()
                .map_err(|e| wrong(e, "Write the dry color as six digits 0-9, a-f, for example #d94f2b, or as a color name of CSS."))?,
            refill: match field(refill).to_lowercase().as_str() {
                "yes" | "y" | "true" | "1" => true,
                "no" | "n" | "false" | "0" | "" => false,
                other => {
                    return Err(wrong(
                        format!("refill is \"{other}\", expected yes or no"),
                        "Write yes or no.",
                    ));
                }
            },
            condition: match field(condition).to_lowercase().as_str() {
                "good" | "" => Condition::Good,
                "worn" => Condition::Worn,
                "dry" => Condition::Dry,
                other => {
                    let what = format!("condition is \"{other}\", expected good, worn or dry");
                    return Err(wrong(what, "Write good, worn or dry."));
                }
            },
            two_coats: match two_coats.map_or("", field) {
                "" => None,
                text => Some(
                    text.parse()
                        .map_err(|e| wrong(e, "Write the color of two dry coats as # and six digits 0-9, a-f, or leave it empty."))?,
                ),
            },
            note: note.map_or("", field).to_owned(),
        };
        if pen.name.is_empty() {
            return Err(wrong(
                "the pen has no name".into(),
                "Give every pen the name on your own label.",
            ));
        }
        let letters = pen.name.graphemes(true).count();
        if letters > LONGEST_NAME {
            return Err(wrong(
                format!("the pen's name has {letters} letters, expected at most {LONGEST_NAME}"),
                "Shorten the name; what else there is to say goes into the column note.",
            ));
        }
        if let Some(first) = lines.insert(pen.name.clone(), line) {
            let what = format!("the pen \"{}\" stands in line {first} already", pen.name);
            return Err(wrong(
                what,
                "Give every pen a name of its own, or remove one of the two lines.",
            ));
        }
        pens.push(pen);
    }
    if pens.is_empty() {
        return Err(Error::file(path, "lists no pen", next));
    }
    if pens.iter().all(|p| p.condition == Condition::Dry) {
        return Err(Error::file(
            path,
            "lists only dry pens",
            "Refill one, or mark those that work as good or worn.",
        ));
    }
    Ok(pens)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(bytes: &[u8]) -> Result<Vec<Pen>> {
        read_pens("pens.csv".as_ref(), bytes)
    }

    #[test]
    fn files_as_spreadsheets_save_them_are_read() {
        let plain = read(b"name,color,refill,condition\nMoss,#446622,yes,good\n").unwrap();
        let semicolons = read(
            "\u{feff}Name;COLOR;Refill;Condition\r\n\r\n\"Moss\";#446622;Yes;Good\r\n;;;\r\n"
                .as_bytes(),
        )
        .unwrap();
        assert_eq!(plain, semicolons);
        let note = read(b"name,color,refill,condition,note\n\"Moss, deep\",#446622,no,worn,\"says \"\"soft\"\"\"\n").unwrap();
        assert_eq!(
            (note[0].name.as_str(), note[0].note.as_str()),
            ("Moss, deep", "says \"soft\"")
        );
        let latin = read(b"name,color,refill,condition\nCr\xe8me,#fff4dd,no,good\n").unwrap();
        assert_eq!(latin[0].name, "Cr\u{e8}me");
        let utf16: Vec<u8> = std::iter::once(0xfeffu16)
            .chain("name\tcolor\trefill\tcondition\nMoss\t#446622\tyes\tgood\n".encode_utf16())
            .flat_map(u16::to_le_bytes)
            .collect();
        assert_eq!(read(&utf16).unwrap(), plain);
    }

    #[test]
    fn what_a_table_holds_never_commands_a_terminal() {
        for field in ["color", "refill", "condition", "two_coats"] {
            let fields = ["name", "color", "refill", "condition", "two_coats"];
            let values = ["Moss", "#446622", "yes", "good", "#223311"];
            let bad = fields.map(|f| f == field).into_iter().zip(values);
            let line: Vec<String> = bad
                .map(|(bad, value)| {
                    if bad {
                        "\u{1b}]0;x\u{7}\u{9b}2J".into()
                    } else {
                        value.into()
                    }
                })
                .collect();
            let text = format!("{}\n{}\n", fields.join(","), line.join(","));
            let error = read(text.as_bytes()).unwrap_err().to_string();
            assert!(error.contains("line 2"), "{error}");
            assert!(
                !error.contains(|c: char| c.is_control() && c != '\n'),
                "{error:?}"
            );
        }
        let twice = read(b"name,color,refill,condition\nM\x1b[2J,#446622,,\nM\x1b[2J,#446622,,\n");
        assert!(!twice.unwrap_err().to_string().contains('\u{1b}'));
    }

    #[test]
    fn what_is_wrong_is_said_with_its_line() {
        for (text, said) in [
            (
                "name,color,refill,condition\nMoss,#44662,yes,good\n",
                "line 2",
            ),
            (
                "name,color,refill,condition\nMoss,#446622,maybe,good\n",
                "maybe",
            ),
            (
                "name,color,refill,condition\nMoss,#446622,yes,fine\n",
                "fine",
            ),
            (
                "name,color,refill,condition\nMoss,#446622,yes,good\nMoss,#446623,yes,good\n",
                "line 2 already",
            ),
            (
                "name,color,refill,condition\n,#446622,yes,good\n",
                "no name",
            ),
            ("name,color,refill\nMoss,#446622,yes\n", "\"condition\""),
            (
                "name,color,refill,condition\nMoss,#446622,yes,dry\n",
                "only dry",
            ),
            ("name,color,refill,condition\n", "no pen"),
            ("", "no column"),
        ] {
            let error = read(text.as_bytes()).unwrap_err().to_string();
            assert!(error.contains(said), "{text:?}: {error}");
        }
    }
}
