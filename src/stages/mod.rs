//! The stages of a plan as values: each is made by one function from the values before it and its own slice of the job,
//! and nothing of it changes afterwards.
//!
//! `Inputs -> Scene -> Tones -> Sections -> Field -> Choice -> Work -> Plan`. The pens are chosen twice: how many bands each hue
//! group gets depends on whether there are pens for them, so that a [`crate::choosing::Draft`] of the choice comes
//! before the field.

mod field;
mod inputs;
mod scene;
mod work;

pub use field::{Field, Shape, settle, shape_bands};
pub use inputs::{Drawing, decode_photos, read_drawing, read_matches, read_pens};
pub use scene::{Scene, Tones, find_colors, find_parts, find_tones, lay_out};
pub use work::{Work, draw_borders, edit_sections, number_sections, order_work};
