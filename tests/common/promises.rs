//! What every plan promises, checked on the finished data.

use std::collections::{BTreeMap, BTreeSet};

use penstrata::Made;
use penstrata::plan::Plan;

/// The promises of every plan, checked on the finished data.
pub fn check(made: &Made) {
    assert!(!made.plan.sections.is_empty());
    sections(made);
    pens(&made.plan);
    numbers(&made.plan);
    coats(made);
    steps(&made.plan);
    ink(&made.plan);
    every_section_has_its_number(made);
    numbers_stay_on_their_card(made);
    no_labels_overlap(made);
    outlines_are_closed(made);
}

/// Every section is one connected piece, inside one cell, of the area the plan says, with the pen of its band, and wide
/// enough for the nib where the plan has drawn it.
fn sections(made: &Made) {
    let plan = &made.plan;
    let (area, pieces) = (areas(made), pieces(made));
    let (touched, cut) = touched_in_their_cells(made);
    for s in &plan.sections {
        assert_eq!(pieces.get(&s.id), Some(&1), "section {} is in pieces", s.id);
        let mm2 = area[&s.id] as f64 * plan.mm_per_px * plan.mm_per_px;
        assert!((mm2 - s.area_mm2).abs() < 0.02);
        assert!(
            s.width_mm >= plan.nib_mm || !touched.contains(&s.id) || cut.contains(&s.id),
            "section {} is {} mm wide",
            s.id,
            s.width_mm
        );
        if !s.by_hand && s.covered.is_none() {
            assert_eq!(s.pen, plan.bands[s.band].pen);
            assert!(s.number == 0 || plan.number(s.number).unwrap().bands.contains(&s.band));
        }
        assert_eq!(s.number == 0, s.pen.is_none());
    }
}

/// Pixels of every section, each in the section's cell and on no drawn line.
fn areas(made: &Made) -> BTreeMap<u16, usize> {
    let map = &made.sections.map;
    let mut area = BTreeMap::<u16, usize>::new();
    for (i, &id) in map.data.iter().enumerate() {
        if id > 0 {
            *area.entry(id).or_default() += 1;
            assert_eq!(
                made.cells.map.data[i],
                made.sections.list[usize::from(id) - 1].cell
            );
            assert!(
                !made.lines.wall.data[i],
                "section {id} lies on a drawn line"
            );
        }
    }
    area
}

/// Connected pieces of every section.
fn pieces(made: &Made) -> BTreeMap<u16, usize> {
    let map = &made.sections.map;
    let mut reached = vec![false; map.data.len()];
    let mut pieces = BTreeMap::<u16, usize>::new();
    for start in 0..map.data.len() {
        let id = map.data[start];
        if id == 0 || reached[start] {
            continue;
        }
        *pieces.entry(id).or_default() += 1;
        let mut open = vec![start];
        reached[start] = true;
        while let Some(i) = open.pop() {
            for j in map.neighbors(i) {
                if map.data[j] == id && !reached[j] {
                    reached[j] = true;
                    open.push(j);
                }
            }
        }
    }
    pieces
}

/// Sections that touch others of their cell: the shape of all others is the drawing's or the subject's. And of these,
/// those that a person cut: their width is theirs.
fn touched_in_their_cells(made: &Made) -> (BTreeSet<u16>, BTreeSet<u16>) {
    let map = &made.sections.map;
    let (mut touched, mut cut) = (BTreeSet::new(), BTreeSet::new());
    for i in 0..map.data.len() {
        for j in map.neighbors(i) {
            let (a, b) = (map.data[i], map.data[j]);
            if a > 0 && b > 0 && a != b && made.cells.map.data[i] == made.cells.map.data[j] {
                touched.insert(a);
                if made.sections.cuts.part(i, j) {
                    cut.insert(a);
                }
            }
        }
    }
    (touched, cut)
}

/// Nobody has wished a pen for a band.
fn bands_are_free(plan: &Plan) -> bool {
    plan.job.pinned.iter().all(|pin| pin.band.is_none())
}

/// No pen is dry; what serves two bands serves one of a group, unless the person wants it so.
fn pens(plan: &Plan) {
    let free = bands_are_free(plan);
    let passes: Vec<_> = plan.numbers.iter().filter(|n| n.number > 0).collect();
    for n in passes.iter().filter(|_| free) {
        let groups: BTreeSet<_> = n.bands.iter().map(|&b| plan.bands[b].group).collect();
        assert_eq!(groups.len(), n.bands.len(), "number {}", n.number);
    }
    assert!(
        passes
            .iter()
            .all(|n| n.pen.as_ref().unwrap().condition != penstrata::pens::Condition::Dry)
    );
    let used: BTreeSet<_> = passes
        .iter()
        .map(|n| &n.pen.as_ref().unwrap().name)
        .collect();
    assert!(plan.job.most_pens.is_none_or(|most| used.len() <= most));
}

/// Within a group every band is clearly darker than the one before; a part's own pen may lie nearer to its neighbors,
/// but is lighter or darker.
fn steps(plan: &Plan) {
    let free = bands_are_free(plan);
    for pair in plan
        .bands
        .windows(2)
        .filter(|pair| pair[0].group == pair[1].group)
    {
        assert!(
            pair[0].lab[0] >= pair[1].lab[0],
            "{} {}",
            pair[0].name,
            pair[1].name
        );
    }
    let number = |b: usize| plan.numbers.iter().find(|n| n.bands.contains(&b));
    let color = |b: usize| number(b).map(|n| n.color.lab().l);
    let own = |b: usize| {
        let pen = number(b).and_then(|n| n.pen.as_ref());
        pen.is_some_and(|pen| {
            plan.job
                .parts
                .iter()
                .any(|p| p.pen.as_ref() == Some(&pen.name))
        })
    };
    for b in 1..plan.bands.len() {
        // A band all of whose sections have pens of their own has no number.
        let colors = color(b - 1).zip(color(b));
        let same_group = plan.bands[b].group == plan.bands[b - 1].group;
        if let Some((light, dark)) = colors.filter(|_| same_group && free) {
            let least = if own(b - 1) || own(b) {
                0.0
            } else {
                penstrata::sections::LEAST_STEP
            };
            let step = light - dark;
            assert!(step >= least - 0.01, "bands {} and {b}", b - 1);
        }
    }
}

/// The ink that is used up covers what the passes color.
fn ink(plan: &Plan) {
    let passes = plan.numbers.iter().filter(|n| n.number > 0);
    let inked: f64 = plan
        .ink_used()
        .iter()
        .map(|ink| ink.area_mm2 * f64::from(ink.coats))
        .sum();
    let passed: f64 = passes.map(|n| n.area_mm2).sum();
    assert!((inked - passed).abs() < 0.5, "{inked} {passed}");
}

/// Every section has a number, at least 6 pt, inside it or with a leader into it.
fn every_section_has_its_number(made: &Made) {
    let plan = &made.plan;
    let map = &made.sections.map;
    let at = |p: kurbo::Point| {
        map.at(
            (p.x / plan.mm_per_px) as usize,
            (p.y / plan.mm_per_px) as usize,
        )
    };
    let mut numbered = BTreeSet::new();
    let details = made.labels.details.iter().flat_map(|d| &d.labels);
    for l in made.labels.labels.iter().chain(details) {
        assert!(l.size_pt >= 6.0);
        let ends = if l.leaders.is_empty() {
            vec![l.at]
        } else {
            l.leaders.clone()
        };
        let reached: Vec<u16> = ends.into_iter().map(at).collect();
        assert_eq!(reached, l.sections, "label {l:?}");
        for &id in &l.sections {
            let section = &plan.sections[usize::from(id) - 1];
            if section.covered.is_some() {
                assert_eq!(l.text, Plan::COVERED);
                continue;
            }
            let number = section.number;
            let two = plan.number(number).is_some_and(|n| n.over.is_some());
            assert_eq!(l.text, penstrata::plan::section_text(number, two));
        }
        numbered.extend(l.sections.iter().copied());
    }
    assert_eq!(numbered.len(), plan.sections.len());
}

/// Every number stands on the panel or sheet of pieces that its sections are on, and so does what a detail shows.
fn numbers_stay_on_their_card(made: &Made) {
    let Some(card) = &made.card else {
        return;
    };
    let on_one = |id: u16, area: kurbo::Rect| {
        let [x, y] = made.plan.sections[usize::from(id) - 1].inside_mm;
        let mut grounds = card.grounds.iter().map(|ground| ground.rect);
        let ground = grounds.find(|rect| rect.contains((x, y))).unwrap();
        // A panel may end within a pixel.
        ground.inflate(0.1, 0.1).contains_rect(area)
    };
    for l in &made.labels.labels {
        let area = l.area(1.0);
        assert!(l.sections.iter().all(|&id| on_one(id, area)), "{l:?}");
    }
    for detail in &made.labels.details {
        for l in &detail.labels {
            let mut sections = l.sections.iter();
            assert!(sections.all(|&id| on_one(id, detail.frame)), "{detail:?}");
        }
    }
}

/// Outlines are closed.
fn outlines_are_closed(made: &Made) {
    let sections = &made.plan.sections;
    for (outline, s) in made.outlines.sections.iter().zip(sections) {
        let ends = outline
            .elements()
            .iter()
            .filter(|e| matches!(e, kurbo::PathEl::ClosePath))
            .count();
        let starts = outline
            .elements()
            .iter()
            .filter(|e| matches!(e, kurbo::PathEl::MoveTo(_)))
            .count();
        assert_eq!(starts, ends, "outline of {} is open", s.id);
    }
}

/// The key is in the order in which the pens are first picked up, bare paper last. What stands on a section is a number
/// of this order, none left out; a first coat that stands on none has a mark of its own.
fn numbers(plan: &Plan) {
    let first = |n: &penstrata::plan::Number| {
        let mut turns = plan.schedule.turns.iter();
        turns
            .position(|t| t.number == n.number)
            .unwrap_or(usize::MAX)
    };
    assert!(plan.numbers.is_sorted_by_key(first));
    let shown: Vec<usize> = plan
        .numbers
        .iter()
        .filter(|n| n.number > 0 && !n.is_first_coat())
        .map(|n| n.number)
        .collect();
    assert_eq!(shown, (1..=shown.len()).collect::<Vec<_>>());
    for n in &plan.numbers {
        let on = plan
            .sections
            .iter()
            .filter(|s| s.number == n.number)
            .count();
        assert_eq!(n.finished, on);
        let mark = if n.number == 0 || on == 0 {
            n.mark().parse::<usize>().is_err()
        } else {
            n.mark() == n.number.to_string()
        };
        assert!(mark, "{}", n.mark());
        assert!(n.sections > 0);
    }
}

/// Every section is colored by its number's pass, and by the pass that one lies on, each once; every later coat waits
/// for the one below it to rest.
fn coats(made: &Made) {
    let plan = &made.plan;
    let rest = plan.schedule.rest_s;
    let turns = &plan.schedule.turns;
    for s in &plan.sections {
        let mine: Vec<_> = turns
            .iter()
            .filter(|t| t.sections.contains(&s.id))
            .collect();
        let colored: Vec<usize> = mine.iter().map(|t| t.number).collect();
        let expected: Vec<usize> = match plan.number(s.number) {
            None | Some(penstrata::plan::Number { number: 0, .. }) => vec![],
            Some(n) => n.over.into_iter().chain([n.number]).collect(),
        };
        assert_eq!(colored, expected, "section {}", s.id);
        for pair in mine.windows(2) {
            assert!(pair[1].start_s >= pair[0].start_s + pair[0].work_s + rest);
        }
    }
    for n in &plan.numbers {
        let mine = plan
            .sections
            .iter()
            .filter(|s| s.number == n.number || n.under.contains(&s.number));
        assert_eq!(n.sections, mine.clone().count());
        let area: f64 = mine.map(|s| s.area_mm2).sum();
        assert!((n.area_mm2 - area).abs() < 0.02);
        for above in &n.under {
            let above = plan.number(*above).unwrap();
            assert_eq!(above.over, Some(n.number));
            // Ink never makes lighter.
            assert!(above.color.lab().l <= n.color.lab().l + 0.01);
        }
        assert!(plan.job.coats > 1 || n.over.is_none() && n.under.is_empty());
    }
}

/// Digits of DejaVu Sans Condensed Bold are 0.63 em wide and 0.73 em high, a half disk 0.79 em wide. Numbers lie neither
/// on each other nor on a leader, and no two leaders cross.
pub fn no_labels_overlap(made: &Made) {
    let boxed = |l: &penstrata::borders::Label| {
        let em = l.size_pt * penstrata::borders::MM_PER_PT;
        let wide = |c: char| if c.is_ascii_digit() { 0.63 } else { 0.79 };
        let size = (em * l.text.chars().map(wide).sum::<f64>(), 0.73 * em);
        kurbo::Rect::from_center_size(l.at, size)
    };
    let side = |a: kurbo::Line, p: kurbo::Point| (a.p1 - a.p0).cross(p - a.p0);
    let cross = |a: kurbo::Line, b: kurbo::Line| {
        side(a, b.p0) * side(a, b.p1) < 0.0 && side(b, a.p0) * side(b, a.p1) < 0.0
    };
    let all = &made.labels.labels;
    for (i, a) in all.iter().enumerate() {
        for b in &all[..i] {
            assert!(boxed(a).intersect(boxed(b)).area() == 0.0, "{a:?} {b:?}");
        }
        let corners = boxed(a);
        let diagonals = [
            kurbo::Line::new((corners.x0, corners.y0), (corners.x1, corners.y1)),
            kurbo::Line::new((corners.x1, corners.y0), (corners.x0, corners.y1)),
        ];
        for b in all.iter().filter(|b| *b != a) {
            for &to in &b.leaders {
                let leader = kurbo::Line::new(b.at, to);
                let through = diagonals.iter().any(|d| cross(*d, leader));
                assert!(!through, "{b:?} runs through {a:?}");
                for &other in &a.leaders {
                    let crossed = cross(kurbo::Line::new(a.at, other), leader);
                    assert!(!crossed, "{a:?} crosses {b:?}");
                }
            }
        }
    }
}
