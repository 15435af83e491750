//! What is owned, at a glance: families and their ladders of lightness, near-twins, gaps, and what to see to first.

use std::collections::BTreeMap;

use crate::color::{Lab, chroma, color_name, difference};
use crate::sections::LEAST_STEP;

use super::{Condition, Pen, STAND_IN};

/// Two pens closer than this, in CIEDE2000, cannot be told apart on a card; from memory.
const TWINS: f32 = 3.0;
/// Pairs that are told, the closest: more than anyone reads.
const MOST_TWINS: usize = 500;
/// A difference in L* is never more than so many times that in CIEDE2000: its largest weight `1 + 0.015 (L* - 50)² /
/// sqrt(20 + (L* - 50)²)`, at L* 0 and 100, is 1.7471; what chroma and hue add is never negative, as the factor of their
/// product is at most 1.74 (CIE 142:2001).
const LIGHTNESS_APART: f32 = 1.75;
/// Neighbors in a ladder farther apart than this, in L*, leave a gap; three of the smallest steps between bands.
const GAP: f32 = 3.0 * LEAST_STEP;
/// Rungs every ladder should have: above, between and below these, in L*; from memory.
const LIGHT: f32 = 72.0;
const DARK: f32 = 45.0;

/// The order in which families are shown: around the hue circle, then the neutrals.
const FAMILIES: [&str; 11] = [
    "pink",
    "red",
    "orange",
    "yellow",
    "green",
    "blue-green",
    "blue",
    "violet",
    "white",
    "gray",
    "black",
];

/// Pens of one hue family.
#[derive(Debug, Clone, PartialEq)]
pub struct Family {
    pub name: &'static str,
    /// Indices, lightest first.
    pub pens: Vec<usize>,
    /// What its ladder of lightness lacks, in words.
    pub gaps: Vec<String>,
}

/// What there is to say about a box of pens.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    pub families: Vec<Family>,
    /// Pairs that cannot be told apart, and how far apart they are, closest first.
    pub twins: Vec<(usize, usize, f32)>,
    /// Indices of pens that are dry, worn, or have no refill at hand.
    pub dry: Vec<usize>,
    pub worn: Vec<usize>,
    pub no_refill: Vec<usize>,
    /// What to buy or refill, most needed first.
    pub first: Vec<String>,
}

/// Looks over the pens.
pub fn check_pens(pens: &[Pen]) -> Report {
    let lab: Vec<Lab> = pens.iter().map(|p| p.color.lab()).collect();
    let families: Vec<Family> = FAMILIES
        .iter()
        .map(|&name| family(name, pens, &lab))
        .filter(|f| !f.pens.is_empty())
        .collect();
    let twins = twins(pens, &lab);
    let with = |condition: Condition| -> Vec<usize> {
        (0..pens.len())
            .filter(|&p| pens[p].condition == condition)
            .collect()
    };
    let no_refill: Vec<usize> = (0..pens.len())
        .filter(|&p| !pens[p].refill && pens[p].condition != Condition::Dry)
        .collect();
    let (dry, worn) = (with(Condition::Dry), with(Condition::Worn));
    let first = first_things(pens, &lab, &families, &dry, &worn, &no_refill);
    Report {
        families,
        twins,
        dry,
        worn,
        no_refill,
        first,
    }
}

/// The closest pairs that are closer than [`TWINS`], and how far apart they are; the first in the table before others
/// that are as close.
fn twins(pens: &[Pen], lab: &[Lab]) -> Vec<(usize, usize, f32)> {
    // Whatever is a twin of a pen is one of every pen before it of just its color, too.
    let mut alike: BTreeMap<[u8; 3], usize> = BTreeMap::new();
    let mut order: Vec<usize> = (0..pens.len())
        .filter(|&p| {
            let count = alike.entry(pens[p].color.0).or_default();
            *count += 1;
            *count <= MOST_TWINS + 1
        })
        .collect();
    order.sort_by(|&p, &q| lab[p].l.total_cmp(&lab[q].l));
    let mut twins: Vec<(usize, usize, f32)> = Vec::new();
    // Sorted by lightness, only near neighbors need to be compared: the nearer, the closer the pairs found so far.
    let mut farthest = TWINS;
    for (i, &p) in order.iter().enumerate() {
        for &q in &order[i + 1..] {
            if lab[q].l - lab[p].l > LIGHTNESS_APART * farthest {
                break;
            }
            let d = difference(lab[p], lab[q]);
            if d < TWINS && d <= farthest {
                twins.push((p.min(q), p.max(q), d));
            }
            if twins.len() > 2 * MOST_TWINS {
                keep_closest(&mut twins);
                farthest = twins[MOST_TWINS - 1].2;
            }
        }
    }
    keep_closest(&mut twins);
    twins
}

/// Sorts pairs, the closest first, and leaves out all beyond [`MOST_TWINS`].
fn keep_closest(twins: &mut Vec<(usize, usize, f32)>) {
    twins.sort_by(|a, b| a.2.total_cmp(&b.2).then((a.0, a.1).cmp(&(b.0, b.1))));
    twins.truncate(MOST_TWINS);
}

fn family(name: &'static str, pens: &[Pen], lab: &[Lab]) -> Family {
    let mut mine: Vec<usize> = (0..pens.len())
        .filter(|&p| color_name(lab[p]) == name)
        .collect();
    mine.sort_by(|&p, &q| {
        lab[q]
            .l
            .total_cmp(&lab[p].l)
            .then(pens[p].name.cmp(&pens[q].name))
    });
    let neutral = matches!(name, "white" | "gray" | "black");
    // The ladder is what can be used; all neutrals are one ladder, told with the grays.
    let usable: Vec<usize> = if neutral {
        let mut all: Vec<usize> = (0..pens.len())
            .filter(|&p| matches!(color_name(lab[p]), "white" | "gray" | "black"))
            .collect();
        all.sort_by(|&p, &q| lab[q].l.total_cmp(&lab[p].l));
        all
    } else {
        mine.clone()
    }
    .into_iter()
    .filter(|&p| pens[p].condition != Condition::Dry)
    .collect();
    // A second coat fills a gap, where it was measured.
    let filled = |lightness: &dyn Fn(f32) -> bool| -> String {
        usable
            .iter()
            .find(|&&p| pens[p].two_coats.is_some_and(|two| lightness(two.lab().l)))
            .map(|&p| format!(", but {} in two coats", pens[p].name))
            .unwrap_or_default()
    };
    let mut gaps = Vec::new();
    if !mine.is_empty() && (!neutral || name == "gray") {
        if usable.iter().all(|&p| lab[p].l < LIGHT) {
            gaps.push(format!("no light {name}"));
        }
        if usable.iter().all(|&p| lab[p].l >= DARK) {
            gaps.push(format!("no dark {name}{}", filled(&|l| l < DARK)));
        }
        for pair in usable.windows(2) {
            let [p, q] = [pair[0], pair[1]];
            if lab[p].l - lab[q].l > GAP {
                let between = |l: f32| (lab[q].l + LEAST_STEP..lab[p].l - LEAST_STEP).contains(&l);
                gaps.push(format!(
                    "nothing between {} (lightness {:.0}) and {} ({:.0}){}",
                    pens[p].name,
                    lab[p].l,
                    pens[q].name,
                    lab[q].l,
                    filled(&between)
                ));
            }
        }
    }
    Family {
        name,
        pens: mine,
        gaps,
    }
}

/// What to see to, most needed first: dry and worn pens nothing can stand in for, then the same without refill, then
/// the gaps of the fuller families.
fn first_things(
    pens: &[Pen],
    lab: &[Lab],
    families: &[Family],
    dry: &[usize],
    worn: &[usize],
    no_refill: &[usize],
) -> Vec<String> {
    let mut first = Vec::new();
    for (list, with_refill, what) in [
        (
            dry,
            false,
            "is dry, and nothing like it is left: refill or replace it",
        ),
        (
            worn,
            false,
            "is worn, and nothing like it is good: a new nib or a new pen",
        ),
        (
            no_refill,
            true,
            "has no refill, and nothing like it has: get one before a large section",
        ),
    ] {
        // None of these is in the list itself.
        let stands_in =
            |pen: &Pen| pen.condition == Condition::Good && (pen.refill || !with_refill);
        let mut others: Vec<Lab> = (0..pens.len())
            .filter(|&q| stands_in(&pens[q]))
            .map(|q| lab[q])
            .collect();
        others.sort_by(|a, b| a.l.total_cmp(&b.l));
        let alone = |p: usize| {
            let reach = LIGHTNESS_APART * STAND_IN;
            let from = others.partition_point(|q| q.l < lab[p].l - reach);
            let mut near = others[from..]
                .iter()
                .take_while(|q| q.l <= lab[p].l + reach);
            !near.any(|&q| difference(lab[p], q) < STAND_IN)
        };
        let mut needed: Vec<usize> = list.iter().copied().filter(|&p| alone(p)).collect();
        // Strong colors are missed most.
        needed.sort_by(|&p, &q| chroma(lab[q]).total_cmp(&chroma(lab[p])));
        first.extend(needed.iter().map(|&p| format!("{} {what}.", pens[p].name)));
    }
    let mut with_gaps: Vec<&Family> = families.iter().filter(|f| !f.gaps.is_empty()).collect();
    with_gaps.sort_by_key(|f| usize::MAX - f.pens.len());
    first.extend(
        with_gaps
            .iter()
            .map(|f| format!("In the {} family: {}.", f.name, f.gaps.join("; "))),
    );
    first
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::Srgb8;

    fn pen(name: &str, l: f32, a: f32, b: f32, refill: bool, condition: Condition) -> Pen {
        Pen {
            name: name.into(),
            color: Srgb8::from_lab(Lab::new(l, a, b)),
            refill,
            condition,
            two_coats: None,
            note: String::new(),
        }
    }

    #[test]
    fn a_measured_second_coat_fills_a_gap() {
        let good = |l: f32, a, b| pen("Leaf", l, a, b, true, Condition::Good);
        let mut pens = [good(75.0, -30.0, 40.0)];
        let gaps = |pens: &[Pen]| check_pens(pens).families[0].gaps.clone();
        assert_eq!(gaps(&pens), ["no dark green"]);
        pens[0].two_coats = Some(good(60.0, -30.0, 40.0).color);
        assert_eq!(gaps(&pens), ["no dark green"]);
        pens[0].two_coats = Some(good(40.0, -30.0, 40.0).color);
        assert_eq!(gaps(&pens), ["no dark green, but Leaf in two coats"]);
    }

    #[test]
    fn a_missing_light_green_twins_and_a_dry_pen_are_told() {
        use Condition::{Dry, Good, Worn};
        let pens = [
            pen("Moss", 55.0, -30.0, 35.0, true, Good),
            pen("Moss again", 55.5, -30.5, 35.0, true, Good),
            pen("Forest", 25.0, -20.0, 15.0, false, Good),
            pen("Spring", 85.0, -30.0, 40.0, true, Dry),
            pen("Rose", 80.0, 20.0, 2.0, true, Good),
            pen("Brick", 40.0, 40.0, 30.0, true, Worn),
            pen("Cloud", 90.0, 0.0, 0.0, true, Good),
            pen("Coal", 20.5, 0.0, 0.0, true, Good),
        ];
        let report = check_pens(&pens);
        assert_eq!(report.twins.len(), 1);
        assert_eq!((report.twins[0].0, report.twins[0].1), (0, 1));
        let green = report.families.iter().find(|f| f.name == "green").unwrap();
        assert_eq!(green.pens, [3, 1, 0, 2]);
        assert!(
            green.gaps.iter().any(|g| g == "no light green"),
            "{:?}",
            green.gaps
        );
        assert!(
            green
                .gaps
                .iter()
                .any(|g| g.contains("Moss (lightness 55) and Forest")),
            "{:?}",
            green.gaps
        );
        assert_eq!(
            (report.dry, report.worn, report.no_refill),
            (vec![3], vec![5], vec![2])
        );
        assert!(
            report.first[0].starts_with("Spring is dry"),
            "{:?}",
            report.first
        );
        assert!(report.first[1].starts_with("Brick is worn"));
        assert!(report.first[2].starts_with("Forest has no refill"));
        // White and black are rungs of the gray ladder.
        let gray = report.families.iter().find(|f| f.name == "gray").unwrap();
        assert!(
            gray.gaps
                .iter()
                .any(|g| g.starts_with("nothing between Cloud")),
            "{:?}",
            gray.gaps
        );
        let every: usize = report.families.iter().map(|f| f.pens.len()).sum();
        assert_eq!(every, pens.len());
    }

    #[test]
    fn a_pen_without_refill_stands_in_for_a_dry_one_but_not_for_refills() {
        use Condition::{Dry, Good, Worn};
        let sky = |name: &str, refill, condition| pen(name, 60.0, -10.0, -35.0, refill, condition);
        let first = |pens: &[Pen]| -> Vec<String> {
            let first = check_pens(pens).first.into_iter();
            first.filter(|what| !what.starts_with("In the")).collect()
        };
        let fresh = || sky("Fresh Sky", false, Good);
        let no_refill =
            "Fresh Sky has no refill, and nothing like it has: get one before a large section.";
        assert_eq!(first(&[sky("Dry Sky", true, Dry), fresh()]), [no_refill]);
        assert_eq!(first(&[sky("Worn Sky", true, Worn), fresh()]), [no_refill]);
        let refill = sky("Other Sky", true, Good);
        assert!(first(&[sky("Dry Sky", true, Dry), fresh(), refill]).is_empty());
    }

    /// Every pair of a large box compared; the same with many pens of just one color.
    #[test]
    fn the_closest_twins_are_those_that_comparing_all_finds() {
        let scattered = |k: u32| {
            let n = k.wrapping_mul(2_654_435_761) >> 8;
            [n as u8, (n >> 8) as u8, (n >> 16) as u8]
        };
        let boxes: [Vec<[u8; 3]>; 4] = [
            (0..300).map(scattered).collect(),
            (0..1500).map(scattered).collect(),
            (0..1200).map(|k| scattered(k % 2)).collect(),
            (0..1200)
                .map(|k| [(k % 40) as u8, 0, (k / 40) as u8])
                .collect(),
        ];
        for colors in boxes {
            let pens: Vec<Pen> = colors
                .iter()
                .map(|&color| Pen {
                    color: Srgb8(color),
                    ..pen("Any", 50.0, 0.0, 0.0, true, Condition::Good)
                })
                .collect();
            let lab: Vec<Lab> = pens.iter().map(|p| p.color.lab()).collect();
            let mut all = Vec::new();
            for q in 0..pens.len() {
                all.extend((0..q).map(|p| (p, q, difference(lab[p], lab[q]))));
            }
            all.retain(|pair| pair.2 < TWINS);
            keep_closest(&mut all);
            assert_eq!(twins(&pens, &lab), all);
        }
    }
}
