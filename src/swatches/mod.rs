//! Swatch sheets: every pen as a box colored once and a box colored twice, printed, colored by hand, photographed, and
//! measured from the photo.
//!
//! `layout` says where everything lies on a sheet, for the one who draws it and for the one who reads it. `marks` finds
//! the sheet in a photo, `view` looks at places of it, `stacks` finds the gray steps. `model` says what is seen as a
//! function of what is not known: one tone `curve`, the printer's grays, and two `field`s over the sheet, the light and the
//! glare; `camera` fits it, to `anchors`, too: pens that were measured before. `value` is a color and how far it may be off, `boxes` reads one box, `read` a whole sheet;
//! `faults` is what can be wrong with a box, in words for the person who took the photo; `measured` writes what was found
//! into the owner's table. `scrap` reads a few pens on any piece of card, without a sheet.

mod anchors;
mod boxes;
mod camera;
mod curve;
mod faults;
mod field;
mod layout;
mod marks;
mod measured;
mod model;
mod read;
mod scrap;
mod stacks;
mod value;
mod view;

pub use boxes::Seen;
pub use faults::Fault;
pub(crate) use layout::{CELL_MM, MARK_MM, STEP_MM, STEPS, names_on};
pub use layout::{Entry, Place, Places, sheets_for, strip};
pub use measured::{believed, known_of, write_down};
pub use read::{Measured, Reading, read_swatches};
pub use scrap::{Tap, read_scrap};
pub use value::{Known, LIMIT, Value};
