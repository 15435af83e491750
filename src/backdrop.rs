//! Which pen would do for the outside: how well the subject stands out against each at its silhouette, and how quiet it
//! is.

use kurbo::{ParamCurve, ParamCurveArclen, PathSeg, Point};

use crate::borders::Outlines;
use crate::color::{Lab, STAMPED, chroma, difference, hue_difference};
use crate::grid::Grid;
use crate::pens::{Condition, Pen};
use crate::plan::Backdrop;

/// Length accuracy along the silhouette, in millimeters.
const ACCURACY_MM: f64 = 0.1;
/// It is looked at so often whether the outside lies beside it, in millimeters: as borders are for ink.
const LOOK_MM: f64 = 0.8;
/// So far the outside may lie from a smoothed outline beside it, in millimeters; from memory.
const REACH_MM: f64 = 0.4;
/// Share of the silhouette that may stand out least: the pen is judged by the rest's weakest place, too; from memory.
const WEAKEST: f64 = 0.1;
/// Difference beyond which a thing stands out no better, in CIEDE2000; from memory.
const ENOUGH: f64 = 45.0;
/// Chroma up to which a backdrop keeps quiet, and the cost of every unit above: a loud one draws the eye from the
/// subject. From memory.
const QUIET_CHROMA: f64 = 25.0;
const LOUD: f64 = 0.4;
/// Cost of a worn pen, and of one without refill on an area above the limit; from memory.
const WORN: f64 = 8.0;
const NO_REFILL: f64 = 12.0;
/// Suggestions differ from each other by at least this, in CIEDE2000, or three would be one; from memory.
const APART: f32 = 15.0;
/// Suggestions shown side by side.
pub const SHOWN: usize = 3;

/// Whether a point, in millimeters, of what parts the sections from bare paper lies beside the outside, and not beside a
/// bare cell. `wall` are the drawn lines, under whose middle it runs.
pub fn beside_outside(
    outside: &Grid<bool>,
    wall: &Grid<bool>,
    mm_per_px: f64,
) -> impl Fn(Point) -> bool {
    let mut outside = outside.clone();
    outside.spread(&wall.map(|ink| !ink));
    let reach = (REACH_MM / mm_per_px).round() as usize;
    move |at| {
        let px = |v: f64| (v / mm_per_px).max(0.0) as usize;
        let around = |v: usize, end: usize| v.saturating_sub(reach)..(v + reach + 1).min(end);
        let (x, y) = (px(at.x), px(at.y));
        around(y, outside.height).any(|y| around(x, outside.width).any(|x| outside.at(x, y)))
    }
}

/// What lies along the silhouette: the length of every section's share of it, in millimeters, with its color.
fn silhouette(
    outlines: &Outlines,
    beside_outside: impl Fn(Point) -> bool,
    colors: &[Option<Lab>],
) -> Vec<(f64, Lab)> {
    // A section's edge may run along the outside first, and then along a bare cell.
    let length = |segment: PathSeg| {
        let length = segment.arclen(ACCURACY_MM);
        let steps = (length / LOOK_MM).ceil().max(1.0) as usize;
        let at = |k: usize| segment.eval((k as f64 + 0.5) / steps as f64);
        let seen = (0..steps).filter(|&k| beside_outside(at(k))).count();
        length * seen as f64 / steps as f64
    };
    outlines
        .arcs
        .iter()
        .filter_map(|arc| {
            let section = match (arc.left, arc.right) {
                (0, id) | (id, 0) => id,
                _ => return None,
            };
            // What lies beyond the frame is no section.
            let color = (*colors.get(usize::from(section).checked_sub(1)?)?)?;
            let length: f64 = arc.path.segments().map(length).sum();
            Some((length, color))
        })
        .collect()
}

/// Ranks the pens but those named in `forbid` for an outside of `area_mm2`, best first, each unlike those before it.
/// `beside_outside` says which points of what parts sections from bare paper are the silhouette's, `colors` are the
/// sections' on the finished panel, in the order of their ids; none for those that are not on it. Empty where there is no
/// outside.
pub fn rank_backdrops(
    outlines: &Outlines,
    beside_outside: impl Fn(Point) -> bool,
    colors: &[Option<Lab>],
    pens: &[Pen],
    forbid: &[String],
    area_mm2: f64,
    no_refill_mm2: f64,
) -> Vec<Backdrop> {
    let rim = silhouette(outlines, beside_outside, colors);
    let all: f64 = rim.iter().map(|r| r.0).sum();
    if all <= 0.0 || area_mm2 <= 0.0 {
        return Vec::new();
    }
    let mut rated: Vec<(f64, usize, Backdrop)> = pens
        .iter()
        .enumerate()
        .filter(|(_, pen)| pen.condition != Condition::Dry && !forbid.contains(&pen.name))
        .map(|(p, pen)| {
            let lab = pen.color.lab();
            let mut apart: Vec<(f64, f64)> = rim
                .iter()
                .map(|&(length, color)| (f64::from(difference(color, lab)).min(ENOUGH), length))
                .collect();
            apart.sort_by(|a, b| a.0.total_cmp(&b.0));
            let mean = apart.iter().map(|(d, l)| d * l).sum::<f64>() / all;
            let mut left = WEAKEST * all;
            let weakest = apart
                .iter()
                .find(|(_, l)| {
                    left -= l;
                    left <= 0.0
                })
                .map_or(mean, |a| a.0);
            // The drawn lines, too, have to show.
            let weakest = if outlines.ink.is_empty() {
                weakest
            } else {
                weakest.min(f64::from(difference(STAMPED.lab(), lab)))
            };
            let over =
                |f: &dyn Fn(Lab) -> f64| rim.iter().map(|&(l, c)| l * f(c)).sum::<f64>() / all;
            let worn = if pen.condition == Condition::Worn {
                WORN
            } else {
                0.0
            };
            let runs_dry = !pen.refill && area_mm2 > no_refill_mm2;
            let loud = LOUD * (f64::from(chroma(lab)) - QUIET_CHROMA).max(0.0);
            let score =
                (mean + weakest) / 2.0 - loud - worn - if runs_dry { NO_REFILL } else { 0.0 };
            let backdrop = Backdrop {
                pen: pen.name.clone(),
                color: pen.color,
                score: round1(score),
                lightness: round1(over(&|c| f64::from((c.l - lab.l).abs()))),
                hue: round1(over(&|c| f64::from(hue_difference(c, lab).abs()))),
                refill: pen.refill,
                area_mm2: round1(area_mm2),
            };
            (score, p, backdrop)
        })
        .collect();
    rated.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut chosen: Vec<Backdrop> = Vec::new();
    for (_, _, backdrop) in rated {
        let unlike = chosen
            .iter()
            .all(|c| difference(c.color.lab(), backdrop.color.lab()) >= APART);
        if unlike {
            chosen.push(backdrop);
        }
        if chosen.len() == SHOWN {
            break;
        }
    }
    chosen
}

fn round1(v: f64) -> f64 {
    (v * 10.0).round() / 10.0
}
