//! One sheet of card at a time: a plan's panel or a sheet of its pieces by itself, as if it were all there is.

use kurbo::{Affine, BezPath, Rect, Shape, Vec2};

use crate::borders::{Arc, Detail, Label, Labels, Outlines};
use crate::length::round2;
use crate::plan::{self, Plan};

/// A ground by itself: places are told from its own top left.
pub struct View {
    pub plan: Plan,
    pub outlines: Outlines,
    pub labels: Labels,
}

/// A rectangle of the frame.
pub fn rect_of(ground: &plan::Ground) -> Rect {
    let [x, y, w, h] = ground.rect_mm;
    Rect::new(x, y, x + w, y + h)
}

impl View {
    /// One for every ground of a card; the plan as it is if it has none.
    pub fn all(plan: &Plan, outlines: &Outlines, labels: &Labels) -> Vec<Self> {
        match &plan.card {
            None => vec![Self {
                plan: plan.clone(),
                outlines: outlines.clone(),
                labels: labels.clone(),
            }],
            Some(card) => (0..card.grounds.len())
                .map(|g| Self::of(plan, card, g, outlines, labels))
                .collect(),
        }
    }

    fn of(plan: &Plan, card: &plan::Card, g: usize, outlines: &Outlines, labels: &Labels) -> Self {
        let rect = rect_of(&card.grounds[g]);
        let here = Affine::translate(-rect.origin().to_vec2());
        let inside = |path: &BezPath| {
            !path.elements().is_empty() && rect.contains(path.bounding_box().center())
        };
        let moved = |path: &BezPath| here * path.clone();
        let sections: Vec<BezPath> = outlines
            .sections
            .iter()
            .map(|path| {
                if inside(path) {
                    moved(path)
                } else {
                    BezPath::new()
                }
            })
            .collect();
        let held = |id: u16| !sections[usize::from(id) - 1].elements().is_empty();
        let arcs = outlines.arcs.iter().filter(|arc| inside(&arc.path));
        let shift = |p: kurbo::Point| p - Vec2::new(rect.x0, rect.y0);
        let of_ground = |label: &Label| {
            let mut label = label.clone();
            let held: Vec<bool> = label.sections.iter().map(|&id| held(id)).collect();
            let mut keep = held.iter();
            label.sections.retain(|_| keep.next() == Some(&true));
            let mut keep = held.iter();
            label.leaders.retain(|_| keep.next() == Some(&true));
            label.at = shift(label.at);
            label.leaders.iter_mut().for_each(|p| *p = shift(*p));
            (!label.sections.is_empty()).then_some(label)
        };
        View {
            plan: reduced(plan, card, g, held),
            labels: Labels {
                labels: labels.labels.iter().filter_map(of_ground).collect(),
                details: labels
                    .details
                    .iter()
                    .filter(|detail| rect.contains(detail.frame.center()))
                    .map(|detail| Detail {
                        frame: detail.frame - rect.origin().to_vec2(),
                        labels: detail.labels.iter().filter_map(of_ground).collect(),
                    })
                    .collect(),
            },
            outlines: Outlines {
                arcs: arcs
                    .map(|arc| Arc {
                        path: moved(&arc.path),
                        ..arc.clone()
                    })
                    .collect(),
                ink: subpaths(&outlines.ink)
                    .filter(inside)
                    .flat_map(|p| moved(&p))
                    .collect(),
                trace_mm: outlines.trace_mm,
                parted: outlines.parted.clone(),
                sections,
            },
        }
    }
}

/// The plan with what `held` says lies on one ground; all numbers stay on the panel's key.
fn reduced(plan: &Plan, card: &plan::Card, g: usize, held: impl Fn(u16) -> bool) -> Plan {
    let mut all = plan.clone();
    all.size_mm = [card.grounds[g].rect_mm[2], card.grounds[g].rect_mm[3]];
    all.sections.retain(|s| held(s.id));
    all.figures.sections = all.sections.len();
    for number in &mut all.numbers {
        let mine = all
            .sections
            .iter()
            .filter(|s| s.number == number.number || number.under.contains(&s.number));
        number.sections = mine.clone().count();
        number.area_mm2 = round2(mine.map(|s| s.area_mm2).sum());
    }
    all.numbers.retain(|n| n.sections > 0);
    all.card = Some(plan::Card {
        grounds: vec![card.grounds[g].clone()],
        ..card.clone()
    });
    all
}

/// The closed curves of a path, one by one.
pub fn subpaths(path: &BezPath) -> impl Iterator<Item = BezPath> {
    let mut all: Vec<BezPath> = Vec::new();
    for &element in path.elements() {
        if matches!(element, kurbo::PathEl::MoveTo(_)) {
            all.push(BezPath::new());
        }
        if let Some(last) = all.last_mut() {
            last.push(element);
        }
    }
    all.into_iter()
}
