//! What a person changes by hand: where sections are parted or merged, and which pen they get.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};

/// A pen that a band must have.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PinnedPen {
    /// The band's name in the summary and in plan.json, such as "orange 65": the word for its hue group, and how light
    /// it is, from 0 to 100. It finds the nearest band there is.
    pub band: String,
    /// The pen's name in the pens file.
    pub name: String,
    /// The pen of a first coat, under the pen: the same one for two coats.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub under: Option<String>,
}

/// A line that parts the sections it crosses.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CutEntry {
    /// Two or more points, in millimeters from the top left of the art: from rim to rim of a section, or around what is to
    /// be cut out of it.
    pub line: Vec<[f64; 2]>,
}

/// What a job says about the shape of sections; see [`super::Job`].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ShapeChoices {
    pub cuts: Vec<CutEntry>,
    pub merge: Vec<Vec<[f64; 2]>>,
}

impl ShapeChoices {
    /// # Errors
    /// If a line or a list of points is too short, or not of numbers.
    pub fn check(&self) -> Result<()> {
        let points = |points: &[[f64; 2]]| {
            points.len() > 1 && points.iter().flatten().all(|v| v.is_finite())
        };
        if !self.cuts.iter().all(|cut| points(&cut.line)) {
            return Err(Error::new(
                "the line of a cut is not two or more points",
                "Write line = [[12.5, 40.0], [15.0, 44.0]] in millimeters, right across a section.",
            ));
        }
        if !self.merge.iter().all(|merged| points(merged)) {
            return Err(Error::new(
                "an entry of merge is not two or more points",
                "Write merge = [[[12.5, 40.0], [15.0, 44.0]]] in millimeters: the second is colored as the first.",
            ));
        }
        Ok(())
    }
}
