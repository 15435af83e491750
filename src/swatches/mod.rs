//! Swatch sheets: every pen as a box colored once and a box colored twice, printed, colored by hand, photographed, and
//! measured from the photo.
//!
//! `layout` says where everything lies on a sheet, for the one who draws it and for the one who reads it. `marks` finds
//! the sheet in a photo, `view` looks at places of it. `camera` fits what the camera and the light did: one tone curve,
//! and glare from place to place. `read` puts it together; `faults` is what can be wrong with a box, in words for the
//! person who took the photo; `measured` writes what was found into the owner's table. `scrap` reads a few pens on any piece of card, without a sheet.

mod camera;
mod faults;
mod layout;
mod marks;
mod measured;
mod read;
mod scrap;
mod view;

pub use faults::Fault;
pub use layout::{
    CELL_MM, Entry, MARK_MM, Place, STEP_MM, STEPS, Sheet, names_on, sheets_for, strip,
};
pub use measured::write_down;
pub use read::{LIMIT, Measured, Reading, Seen, Value, read_swatches};
pub use scrap::{Tap, read_scrap};
