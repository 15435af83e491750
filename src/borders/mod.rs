//! Borders: the lines between sections, each traced once and drawn as one smooth curve on every sheet.

mod arcs;
mod ground;
mod label;
mod numbers;
mod outlines;
mod parted;
mod smooth;

pub use label::{DETAIL_ZOOM, Detail, Label, Labels, MM_PER_PT};
pub(crate) use numbers::Unnumbered;
pub use outlines::{Arc, Origin, Outlines, trace_mask};
pub(crate) use outlines::{draw_outlines, mask_rings};
pub(crate) use smooth::smooth_curve;
