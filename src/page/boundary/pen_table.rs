//! The owner's table of pens, row by row; columns that the page does not know stay as they are.

use std::path::Path;

use penstrata::error::{Error, Result};
use penstrata::pens::Table;
use serde::{Deserialize, Serialize};

/// The columns that are edited. Whatever the owner wrote stays text until it is checked.
const COLUMNS: [&str; 6] = ["name", "color", "refill", "condition", "two_coats", "note"];

/// One row of the table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PenRow {
    /// The row it was in the table as it was read, from 0; `None` for a new pen.
    #[serde(default)]
    pub row: Option<usize>,
    pub name: String,
    pub color: String,
    pub refill: String,
    pub condition: String,
    #[serde(default)]
    pub two_coats: String,
    #[serde(default)]
    pub note: String,
}

impl PenRow {
    fn field(&self, column: &str) -> &str {
        match column {
            "name" => &self.name,
            "color" => &self.color,
            "refill" => &self.refill,
            "condition" => &self.condition,
            "two_coats" => &self.two_coats,
            _ => &self.note,
        }
    }
}

/// Every row of a table.
pub fn rows(table: &Table) -> Vec<PenRow> {
    let field = |row, name| table.get(row, name).unwrap_or("").to_owned();
    (0..table.len())
        .map(|row| PenRow {
            row: Some(row),
            name: field(row, "name"),
            color: field(row, "color"),
            refill: field(row, "refill"),
            condition: field(row, "condition"),
            two_coats: field(row, "two_coats"),
            note: field(row, "note"),
        })
        .collect()
}

/// The table with these rows in their order.
///
/// # Errors
/// If a row is none of the table's.
pub fn with_rows(table: &Table, rows: &[PenRow]) -> Result<Vec<u8>> {
    if rows.iter().any(|r| r.row.is_some_and(|r| r >= table.len())) {
        return Err(Error::new(
            "a row of the pens is not in the table it came from",
            "Undo the last change.",
        ));
    }
    let kept: Vec<Option<usize>> = rows.iter().map(|r| r.row).collect();
    let mut changed = table.with_rows(&kept);
    for (at, row) in rows.iter().enumerate() {
        for column in COLUMNS {
            let value = row.field(column);
            // A column that nothing stands in is not added.
            if changed.get(at, column).unwrap_or("") != value {
                changed.set(at, column, value);
            }
        }
    }
    Ok(changed.to_csv())
}

/// A table without pens.
///
/// # Errors
/// None that could be met.
pub fn empty(path: &Path) -> Result<Table> {
    Table::read(path, b"name,color,refill,condition\n")
}
