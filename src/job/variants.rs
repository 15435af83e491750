//! Variants in a job: the same sections with other pens.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};

use super::PinnedPen;

/// Most variants of one plan; from memory.
const MOST_VARIANTS: usize = 12;

/// The same sections with other pens. What the job wishes (`pen`, `forbid`, `bare`, the background's pen) holds here, too,
/// but for what the variant says itself: its own `pen` for the same band or section, its own `forbid`, and pens that its
/// own file does not list or that are dry there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VariantEntry {
    /// Also the name of its folder.
    pub name: String,
    /// Another pens file; the job's if not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pens: Option<PathBuf>,
    /// Pens not to be used, besides those that the job forbids.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub forbid: Vec<String>,
    /// Pens for bands and sections, in place of those that the job wishes for the same ones. A band may be called as in
    /// the variant's own key.
    #[serde(default, rename = "pen", skip_serializing_if = "Vec::is_empty")]
    pub pinned: Vec<PinnedPen>,
    /// Degrees by which every hue is turned, from red toward yellow (CIE L*a*b* hue angle).
    #[serde(default, skip_serializing_if = "is_zero")]
    pub hue: f64,
    /// How much lighter everything is, in L*; negative is darker.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub lighter: f64,
    /// Colors from another photo, laid as the job's one photo is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<PathBuf>,
}

fn is_zero(v: &f64) -> bool {
    *v == 0.0
}

/// Checks the variants of a job.
///
/// # Errors
/// If a name is no folder's or there twice, or a number is out of bounds.
pub fn check_variants(variants: &[VariantEntry]) -> Result<()> {
    if variants.len() > MOST_VARIANTS {
        return Err(Error::new(
            format!(
                "{} variants are asked for, expected {MOST_VARIANTS} at most",
                variants.len()
            ),
            "Make several jobs of them.",
        ));
    }
    for (v, variant) in variants.iter().enumerate() {
        let name = &variant.name;
        let plain = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_');
        let fits = !name.is_empty() && name.len() <= 60 && name.trim() == name;
        if !fits || !name.chars().all(plain) {
            return Err(Error::new(
                format!("the variant \"{name}\" has a name that cannot be a folder's"),
                "Use letters, digits, spaces, - and _, at most 60.",
            ));
        }
        let same = |other: &VariantEntry| other.name.to_lowercase() == name.to_lowercase();
        if variants[..v].iter().any(same) {
            return Err(Error::new(
                format!("two variants are called \"{name}\""),
                "Give every one a name of its own.",
            ));
        }
        for pin in &variant.pinned {
            pin.check().map_err(|e| e.about(name))?;
        }
        if !(-360.0..=360.0).contains(&variant.hue) || !(-100.0..=100.0).contains(&variant.lighter)
        {
            return Err(Error::new(
                format!("hue or lighter of the variant \"{name}\" is out of bounds"),
                "Write hue from -360 to 360 degrees, lighter from -100 to 100 L*.",
            ));
        }
    }
    Ok(())
}
