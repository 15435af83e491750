//! What a person changes by hand: where sections are parted or merged, and which pen they get.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};

/// A pen that a band, or single sections, must have: exactly one of `band` and `at`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PinnedPen {
    /// The band's name in the summary and in plan.json, such as "orange 65": the word for its hue group, and how light
    /// it is, from 0 to 100. It finds the nearest band there is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub band: Option<String>,
    /// Any point inside each of the sections, in millimeters from the top left of the art; other sections of their bands
    /// keep theirs. Of several wishes for one section the last stands.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub at: Vec<[f64; 2]>,
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

impl PinnedPen {
    /// A pen for a band.
    pub fn for_band(band: impl Into<String>, name: impl Into<String>) -> Self {
        Self {
            band: Some(band.into()),
            name: name.into(),
            ..Self::default()
        }
    }

    /// A pen for the section around a point, in millimeters.
    pub fn for_section(at: [f64; 2], name: impl Into<String>) -> Self {
        Self {
            at: vec![at],
            name: name.into(),
            ..Self::default()
        }
    }

    /// Where it is wished for, in words.
    pub fn place(&self) -> String {
        match (&self.band, self.at.first()) {
            (Some(band), _) => band.clone(),
            (None, Some([x, y])) => format!("the section around [{x}, {y}]"),
            (None, None) => "nothing".to_owned(),
        }
    }

    /// # Errors
    /// If it is not clear what it is for.
    pub fn check(&self) -> Result<()> {
        if self.band.is_some() != self.at.is_empty()
            || self.at.iter().flatten().any(|v| !v.is_finite())
        {
            return Err(Error::new(
                format!(
                    "the pen {} is not wished for one band, or at points inside sections",
                    self.name
                ),
                "Write [[pen]] with name, and either band = \"orange 65\" or at = [[12.5, 40.0]] in millimeters.",
            ));
        }
        Ok(())
    }
}

/// What a job says about single sections, whatever band they have.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionChoices {
    /// The pens file's name, for telling about it.
    pub pens: PathBuf,
    /// Points inside those left bare.
    pub bare: Vec<[f64; 2]>,
    /// Only pens for sections.
    pub pinned: Vec<PinnedPen>,
    /// The pen for every section outside the subject.
    pub background: Option<PinnedPen>,
    pub forbid: Vec<String>,
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
