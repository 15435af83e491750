//! A plan as the page draws it: the plan's data, and the curves that every sheet is drawn from.

use kurbo::Shape;
use penstrata::Made;
use penstrata::borders::{Arc, DETAIL_ZOOM, Label, Labels, Origin, Outlines};
use penstrata::plan::Plan;
use penstrata::sheets::compact_path_data;
use serde::Serialize;

/// Accuracy of curve lengths, in millimeters.
const LENGTH_ACCURACY: f64 = 0.05;

#[derive(Serialize)]
pub struct View<'a> {
    pub plan: &'a Plan,
    /// `None` if they are those of the view before.
    pub curves: Option<Curves>,
    pub labels: Vec<Number<'a>>,
    /// Coloring and waiting.
    pub minutes: f64,
}

/// Paths are SVG path data in hundredths of a millimeter from the top left of the art.
#[derive(Serialize)]
pub struct Curves {
    /// By section id, from 1.
    pub sections: Vec<String>,
    pub borders: Vec<Border>,
    /// Filled by the even-odd rule.
    pub ink: String,
}

#[derive(Serialize)]
pub struct Border {
    pub left: u16,
    pub right: u16,
    pub path: String,
    pub length_mm: f64,
    /// It has to be traced; else a drawn line lies there.
    pub traced: bool,
    pub origin: &'static str,
}

/// A section's number, as the overlay has it, in millimeters.
#[derive(Serialize)]
pub struct Number<'a> {
    pub sections: &'a [u16],
    pub text: &'a str,
    pub at: [f64; 2],
    pub size_pt: f64,
    /// Where its lines end, if it stands beside its sections.
    pub leaders: Vec<[f64; 2]>,
}

impl<'a> View<'a> {
    /// Of a plan; the curves are left out if `known`.
    pub fn of(made: &'a Made, known: bool) -> Self {
        Self {
            plan: &made.plan,
            curves: (!known).then(|| Curves::of(&made.outlines)),
            labels: numbers(&made.labels),
            minutes: f64::from(made.plan.schedule.coloring_s + made.plan.schedule.waiting_s) / 60.0,
        }
    }
}

impl Curves {
    fn of(outlines: &Outlines) -> Self {
        Self {
            sections: outlines.sections.iter().map(compact_path_data).collect(),
            borders: outlines.arcs.iter().filter_map(Border::of).collect(),
            ink: compact_path_data(&outlines.ink),
        }
    }
}

impl Border {
    /// What lies between two sections, or has to be traced.
    fn of(arc: &Arc) -> Option<Self> {
        let traced = arc.is_border();
        let between = arc.left > 0 && arc.right > 0 && arc.origin != Origin::Frame;
        (traced || between).then(|| Self {
            left: arc.left,
            right: arc.right,
            path: compact_path_data(&arc.path),
            length_mm: arc.path.perimeter(LENGTH_ACCURACY),
            traced,
            origin: match arc.origin {
                Origin::Drawn => "drawn",
                Origin::Gap => "gap",
                Origin::Field => "field",
                Origin::Frame => "frame",
                Origin::Hand => "hand",
            },
        })
    }
}

/// Every number: what sheets show in a larger detail stands small in its place, where a screen can come closer.
fn numbers(labels: &Labels) -> Vec<Number<'_>> {
    let plain = labels.labels.iter().map(|label| Number::of(label, 1.0));
    let details = labels.details.iter().flat_map(|d| &d.labels);
    plain
        .chain(details.map(|label| Number::of(label, DETAIL_ZOOM)))
        .collect()
}

impl<'a> Number<'a> {
    /// `zoom` is how many times larger the page shows it than the panel is.
    fn of(label: &'a Label, zoom: f64) -> Self {
        Self {
            sections: &label.sections,
            text: &label.text,
            at: [label.at.x, label.at.y],
            size_pt: label.size_pt / zoom,
            leaders: label.leaders.iter().map(|p| [p.x, p.y]).collect(),
        }
    }
}
