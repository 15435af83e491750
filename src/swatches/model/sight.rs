//! What was seen in one place, and how far it is from what is expected there.

use super::super::curve::{Curve, encode};

/// A gray step or bare paper that was seen, in one channel.
#[derive(Debug, Clone, Copy)]
pub struct Sight {
    /// Where, in millimeters of the sheet.
    pub at: [f64; 2],
    pub channel: usize,
    /// Its code value, 0 to 1.
    pub seen: f64,
    pub of: Of,
}

/// What a sight is of.
#[derive(Debug, Clone, Copy)]
pub enum Of {
    Paper,
    /// A gray step: which, and the code value of the paper there.
    Gray {
        step: usize,
        paper: f64,
    },
    /// Ink of which it is known how much light it gives back beside paper, per channel, but for an error in code
    /// values; and the code value of the paper there.
    Anchor {
        part: [f64; 3],
        error: f64,
        paper: f64,
    },
}

/// What one sight hangs on.
#[derive(Clone, Copy)]
pub struct Local {
    pub curve: Curve,
    /// Light of print or ink beside that of paper, as this channel sees it.
    pub print: f64,
    /// Glare as a part of the light, and this channel's part of it.
    pub veil: f64,
    pub lamp: f64,
    /// Stray light.
    pub stray: f64,
    /// The logarithm of the light.
    pub light: f64,
}

impl Local {
    /// Glare and stray light, as a part of the light.
    pub fn added(&self) -> f64 {
        self.veil * self.lamp + self.stray * (-self.light).exp()
    }
}

impl Sight {
    /// What it is off by, as a part of the code value of paper: in code values, where noise is the same whatever the
    /// curve, so that a flat curve gains nothing by making all of it small.
    pub fn off(&self, l: &Local) -> f64 {
        let veil = l.added().max(-0.5);
        match self.of {
            Of::Gray { paper, .. } | Of::Anchor { paper, .. } => {
                let bright = l.curve.light(paper).max(1e-4);
                let expected = encode((l.print + veil) / (1.0 + veil));
                let slope = l.curve.slope(self.seen, |v| encode(v / bright)).max(1e-3);
                (encode(l.curve.light(self.seen) / bright) - expected) / slope / paper
            }
            Of::Paper => {
                let ln = |v: f64| v.max(1e-4).ln();
                let slope = l.curve.slope(self.seen, ln).max(1e-3);
                (ln(l.curve.light(self.seen)) - l.light - veil.ln_1p()) / slope / self.seen
            }
        }
    }
}
