//! The pens a person owns, and which of them goes where.

mod check;
mod choose;
mod coats;
mod file;
mod record;

pub use check::{Family, Report, check_pens};
pub use choose::Choice;
pub(crate) use choose::{
    ANOTHER_COLOR, Chosen, Effort, STAND_IN, Unserved, Wishes, breaks_order, choose, explain_drift,
    out_of_order,
};
pub use coats::Pick;
pub use file::{Condition, Pen, Table, read_pens};
pub use record::{Colored, FILLING_CM2, Record, Use, due_with, record_path, to_add};
