//! Borders: the lines between sections, each traced once and drawn as one smooth curve on every sheet.

mod arcs;
mod ground;
mod label;
mod numbers;
mod outlines;
mod smooth;

pub use arcs::{Chain, trace_chains};
pub use label::{DETAIL_ZOOM, Detail, Label, Labels, MM_PER_PT};
pub use numbers::place_labels;
pub use outlines::{Arc, Origin, Outlines, draw_outlines, mask_rings, trace_mask};
pub use smooth::smooth_curve;
