//! The photos a job names, for the whole drawing or for some of its cells.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::values::{Align, White};

/// One photo for the whole drawing, or several.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(
    untagged,
    expecting = "reference is a photo's name, or [[reference]] tables with photo, cells, align and match"
)]
pub enum References {
    One(PathBuf),
    Several(Vec<Part>),
}

/// A photo for some cells of the drawing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    pub photo: PathBuf,
    /// Any point inside each of its cells, in millimeters from the top left of the art; none for all cells that no
    /// other photo has.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cells: Vec<[f64; 2]>,
    /// How this photo is laid; the job's `align` if not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub align: Option<Align>,
    #[serde(default, rename = "match", skip_serializing_if = "Vec::is_empty")]
    pub matches: Vec<Match>,
    /// What of this photo is white; the job's `white` if not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub white: Option<White>,
}

/// A place of the photo and the place of the art that shows the same.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Match {
    /// Column and row in the upright photo, in pixels.
    pub reference: [f64; 2],
    /// Millimeters from the top left of the art.
    pub art: [f64; 2],
}
