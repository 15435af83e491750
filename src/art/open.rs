//! Open outlines: places where a drawn line breaks off and goes on, or should have met another, by more than the gap
//! that is closed anyway, so that what it was to enclose runs into what lies around it.
//!
//! A narrow place between two lines says nothing: petals, legs and handles are full of them. What an open outline has is
//! an end of a line that points at another end, or at another line, close by. So lines are thinned to their middles, their
//! ends are joined by short strokes with what they point at, and the spaces are found again between these lines: an
//! opening is where a stroke now parts what was one space, and closes off something that is large against the stroke. What
//! only sticks out (whiskers, antennae) parts nothing when it is made longer, or points at nothing. A vein or a fold that
//! ends short of an outline would part its leaf: between cells only two ends of a broken line count.

use std::f64::consts::PI;
use std::ops::RangeInclusive;

use crate::error::Error;
use crate::grid::{Grid, along, squared_distance, thinned, ways_at};

use super::cells::{Cells, parted_spaces};

/// Wider breaks are no slip of a pen or a stamp but drawn so, in millimeters; from memory.
const WIDEST_MM: f64 = 7.0;
/// The same between an end and the side of another line, which says less; from memory.
const WIDEST_TO_SIDE_MM: f64 = 4.0;
/// How far off its direction an end may be from the end it is joined with, as a cosine (65 degrees): outlines bend across
/// a break. From memory.
const FACING: f64 = 0.42;
/// The same for both ends together, as the sum of their angles in radians (100 degrees); from memory.
const FACING_BOTH: f64 = 100.0 / 180.0 * PI;
/// How far off its direction another line's side may lie, in radians (35 degrees); from memory.
const AHEAD: f64 = 35.0 / 180.0 * PI;
/// The direction of an end is that of so much of its line, in millimeters; from memory.
const REACH_MM: f64 = 2.0;
/// Solid ink wider than this has no ends, in millimeters; from memory.
const STROKE_MM: f64 = 4.0;
/// Branches of a thinned line up to so many times half the line's width are none; from memory.
const SPUR: f64 = 1.3;
/// An end that sticks out of other lines by less than so many times half its line's width points at nothing by itself: two
/// lines at an angle of 23 degrees run into one over that length. From memory.
const STUB: f64 = 5.0;
/// Thinned lines and tips are so sure, in pixels of half the resolution; from memory.
const UNSURE_PX: f64 = 2.0;
/// What is closed off must be so large, in square millimeters; from memory.
const LEAST_MM2: f64 = 6.0;
/// ... and so wide, in millimeters: the default nib.
const LEAST_WIDTH_MM: f64 = 1.5;
/// Openings make up at most this part of the line around what they leave open; from memory.
const SHARE_OPEN: f64 = 0.16;
/// A line between two cells that breaks off more often is meant so; from memory.
const MOST_BREAKS: usize = 4;
/// Ends are looked at one with each other up to so many: a drawing of a thousand loose strokes is hatched, not open.
const MOST_ENDS: usize = 2000;
/// Gaps are advised in steps of this, in millimeters; from memory.
const GAP_STEP_MM: f64 = 0.5;
/// Most openings that are named one by one.
const NAMED: usize = 6;

/// The least gap that may close an opening, as a part of its width: ends may be nearer at their corners. From memory.
const TRIED_BELOW: f64 = 0.8;
/// The most by which a gap that closes an opening is wider, in millimeters: a ball of that size still rests on round
/// ends. From memory.
const TRIED_ABOVE_MM: f64 = 0.8;

/// A place where an outline is open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Opening {
    /// Where the line breaks off and where it goes on, in millimeters from the top left of the art.
    pub from_mm: [f64; 2],
    pub to_mm: [f64; 2],
    /// How far these are apart, in millimeters.
    pub width_mm: f64,
    /// What lies within is taken as outside; else two cells are one.
    pub to_outside: bool,
    /// The gap that closes it, in millimeters, if there is one.
    pub gap_mm: Option<f64>,
}

impl Opening {
    /// Its middle, in millimeters from the top left of the art.
    pub fn point_mm(&self) -> [f64; 2] {
        [0, 1].map(|k| (self.from_mm[k] + self.to_mm[k]) / 2.0)
    }
}

/// The open outlines of a drawing whose cells were found between these walls, from the top left on. `gaps_mm` are the gap
/// that they were found with, and the widest that can be asked for.
pub fn find_openings(
    wall: &Grid<bool>,
    cells: &Cells,
    gaps_mm: &RangeInclusive<f64>,
    mm_per_px: f64,
) -> Vec<Opening> {
    // Half the resolution shows ends as well.
    let half = wall.halved(|block| block.contains(&true));
    let side = 2.0 * mm_per_px;
    let strokes = strokes(&half, &ends(&half, side), side);
    // An end before a side leaves a space open to the outside only: veins and folds need no search.
    let may_open = |stroke: &Stroke| {
        let [x, y] = [0, 1].map(|k| (stroke.from[k] + stroke.to[k]).max(0.0) as usize);
        let (x, y) = (x.min(wall.width - 1), y.min(wall.height - 1));
        !stroke.to_side || cells.outside.at(x, y)
    };
    if !strokes.iter().any(may_open) {
        return Vec::new();
    }
    let parted = Parted::by(&half, &strokes, cells, *gaps_mm.start(), side);
    let found = parted.openings(&strokes, side);
    let mm = |[x, y]: [f64; 2]| [(x + 0.5) * side, (y + 0.5) * side];
    let mut openings: Vec<Opening> = found
        .iter()
        .map(|found| Opening {
            from_mm: mm(strokes[found.stroke].from),
            to_mm: mm(strokes[found.stroke].to),
            // Half the resolution makes ink thicker by half a pixel of the frame on either side, more or less.
            width_mm: strokes[found.stroke].length() * side + mm_per_px,
            to_outside: found.to_outside,
            gap_mm: None,
        })
        .collect();
    let sides: Vec<[usize; 2]> = found
        .iter()
        .map(|found| [found.within, found.around].map(|l| parted.middle(l, wall)))
        .collect();
    find_gaps(&mut openings, &sides, wall, gaps_mm, mm_per_px);
    openings
}

/// Tells of open outlines by place. `bare` says that the outside is not colored.
pub fn told_openings(openings: &[Opening], bare: bool) -> Vec<String> {
    let within = match bare {
        true => "what lies within is left bare as outside",
        false => "what lies within is colored as the outside",
    };
    let told = |what: &str, within: &str, to_outside: bool| {
        let mine = openings.iter().filter(|o| o.to_outside == to_outside);
        let mine: Vec<&Opening> = mine.collect();
        let named = mine.iter().take(NAMED).map(|o| {
            let [x, y] = o.point_mm();
            format!("[{x:.1}, {y:.1}] by {:.1} mm", o.width_mm)
        });
        let mut named: Vec<String> = named.collect();
        if mine.len() > named.len() {
            named.push(format!("{} more", mine.len() - named.len()));
        }
        let last = named.pop()?;
        let places = match named.is_empty() {
            true => last,
            false => format!("{} and {last}", named.join(", ")),
        };
        Some(format!(
            "{what} near {places} (millimeters from the top left): {within}. Close it with a pencil or \
             pen{}.",
            told_gap(&mine)
        ))
    };
    let outside = told("The outline is open", within, true);
    let between = told(
        "A line is broken",
        "the cells on its two sides are one",
        false,
    );
    outside.into_iter().chain(between).collect()
}

/// The gap that closes these openings, or how many of them.
fn told_gap(openings: &[&Opening]) -> String {
    let gaps: Vec<f64> = openings.iter().filter_map(|o| o.gap_mm).collect();
    let widest = gaps.iter().copied().fold(0.0, f64::max);
    match gaps.len() {
        0 => String::new(),
        n if n == openings.len() => format!(", or give --gap {widest}mm"),
        n => format!(
            ", or give --gap {widest}mm, which closes {n} of {}",
            openings.len()
        ),
    }
}

/// The error that these walls close off nothing, with the places where their outlines are open.
pub fn with_openings(
    error: Error,
    wall: &Grid<bool>,
    gaps_mm: &RangeInclusive<f64>,
    mm_per_px: f64,
) -> Error {
    let openings = find_openings(wall, &Cells::none(wall), gaps_mm, mm_per_px);
    told_openings(&openings, true)
        .iter()
        .rev()
        .fold(error, |error, told| error.first(told))
}

/// Where a line ends, in pixels.
#[derive(Debug, Clone, Copy)]
struct End {
    /// The tip of its ink, ...
    tip: [f64; 2],
    /// ... and where it points, a unit vector.
    ahead: [f64; 2],
    /// It sticks out of other lines by little: a corner drawn beyond itself, or two lines that run into one tip.
    stub: bool,
}

/// Where all lines end, but for those that run off the frame.
fn ends(wall: &Grid<bool>, mm_per_px: f64) -> Vec<End> {
    let mut thin = thinned(wall, (STROKE_MM / 2.0 / mm_per_px) as usize);
    if tips(&thin).is_empty() {
        return Vec::new();
    }
    let room = squared_distance(&wall.map(|wall| !wall));
    let reach = (REACH_MM / mm_per_px).round() as usize;
    // Spurs that thinning leaves at blunt ends and rough edges are no lines: they are hardly longer than the line is wide.
    for i in tips(&thin) {
        let (way, joins) = way_back(&thin, i, reach);
        let spur = way
            .last()
            .is_some_and(|&last| (way.len() as f64) < SPUR * room[last].sqrt() + UNSURE_PX);
        if joins && spur {
            way.iter().for_each(|&i| thin.data[i] = false);
        }
    }
    // Where a spur joined a line some pixels too many are left.
    thin = thinned(&thin, 2);
    let at = |i: usize| [(i % wall.width) as f64, (i / wall.width) as f64];
    let end = |i: usize| {
        let (way, _) = way_back(&thin, i, reach);
        let last = at(*way.last()?);
        // The line thins out toward its tip.
        let thick = way.iter().fold(0.0f64, |most, &i| most.max(room[i])).sqrt();
        let (_, stub) = way_back(&thin, i, reach.max((STUB * thick) as usize));
        let edge = thick + UNSURE_PX;
        let middle = at(i);
        let [dx, dy] = minus(middle, last);
        let length = dx.hypot(dy);
        let within = |v: f64, size: usize| v >= edge && v < size as f64 - 1.0 - edge;
        if length < UNSURE_PX || !within(middle[0], wall.width) || !within(middle[1], wall.height) {
            return None;
        }
        let ahead = [dx / length, dy / length];
        let mut tip = middle;
        while is_wall(wall, plus(tip, ahead, 0.5)) && distance(tip, middle) < 2.0 * edge {
            tip = plus(tip, ahead, 0.5);
        }
        Some(End { tip, ahead, stub })
    };
    tips(&thin)
        .into_iter()
        .filter_map(end)
        .take(MOST_ENDS)
        .collect()
}

/// The last pixels of thinned lines.
fn tips(thin: &Grid<bool>) -> Vec<usize> {
    let is_tip = |&i: &usize| ways_at(thin, i) == 1 && along(thin, i).count() <= 2;
    (0..thin.data.len())
        .filter(|&i| thin.data[i])
        .filter(is_tip)
        .collect()
}

/// The way from the tip of a thinned line back along it, up to so many pixels or to where it joins others, that place
/// left out; and whether it does: where pixels equally far from the tip do not touch each other.
fn way_back(thin: &Grid<bool>, tip: usize, most: usize) -> (Vec<usize>, bool) {
    let (mut way, mut front, mut seen) = (vec![tip], vec![tip], vec![tip]);
    // So much of the way is one pixel wide: where lines meet some more belong to it.
    let mut single = 1;
    while way.len() < most {
        let mut next = Vec::new();
        for j in front.iter().flat_map(|&i| along(thin, i)) {
            if !seen.contains(&j) {
                seen.push(j);
                next.push(j);
            }
        }
        let Some(&first) = next.first() else {
            return (way, false);
        };
        let touch = |i: usize, j: usize| {
            let width = thin.width;
            (i % width).abs_diff(j % width) <= 1 && (i / width).abs_diff(j / width) <= 1
        };
        if next.iter().any(|&i| next.iter().any(|&j| !touch(i, j))) {
            way.truncate((single - 1).max(1));
            return (way, true);
        }
        way.push(first);
        if next.len() == 1 {
            single = way.len();
        }
        front = next;
    }
    (way, false)
}

/// A stroke that would close an opening, in pixels.
#[derive(Debug, Clone, Copy)]
struct Stroke {
    from: [f64; 2],
    to: [f64; 2],
    /// It goes to the side of another line, not to an end.
    to_side: bool,
}

impl Stroke {
    fn length(&self) -> f64 {
        distance(self.from, self.to)
    }

    /// Its pixels, from somewhat before its beginning to somewhat behind its end.
    fn pixels(&self, beyond: f64) -> impl Iterator<Item = [f64; 2]> + use<> {
        let (from, length) = (self.from, self.length());
        let step = minus(self.to, from).map(|v| v / length.max(f64::MIN_POSITIVE));
        let (first, last) = ((-2.0 * beyond) as i32, (2.0 * (length + beyond)) as i32);
        (first..=last).map(move |half| plus(from, step, f64::from(half) / 2.0))
    }
}

/// Every end joined with the end that it faces, or with the line it points at.
fn strokes(wall: &Grid<bool>, ends: &[End], mm_per_px: f64) -> Vec<Stroke> {
    let widest = WIDEST_MM / mm_per_px;
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for (a, one) in ends.iter().enumerate() {
        for (b, other) in ends.iter().enumerate().skip(a + 1) {
            let length = distance(one.tip, other.tip);
            if length > widest || length < 1.0 || (one.stub && other.stub) {
                continue;
            }
            let turns = [
                turn(one.ahead, minus(other.tip, one.tip)),
                turn(other.ahead, minus(one.tip, other.tip)),
            ];
            let turned = turns[0] + turns[1];
            if turns.iter().all(|t| t.cos() >= FACING)
                && turned <= FACING_BOTH
                && is_free(wall, one.tip, other.tip)
            {
                // A nearer end may be farther around the corner.
                pairs.push((length * (1.0 + turned), a, b));
            }
        }
    }
    pairs.sort_by(|x, y| x.0.total_cmp(&y.0).then((x.1, x.2).cmp(&(y.1, y.2))));
    let mut joined = vec![false; ends.len()];
    let mut strokes = Vec::new();
    for (_, a, b) in pairs {
        if !joined[a] && !joined[b] {
            (joined[a], joined[b]) = (true, true);
            strokes.push(Stroke {
                from: ends[a].tip,
                to: ends[b].tip,
                to_side: false,
            });
        }
    }
    let alone = ends
        .iter()
        .zip(&joined)
        .filter(|(end, joined)| !**joined && !end.stub);
    strokes.extend(alone.filter_map(|(end, _)| {
        Some(Stroke {
            from: end.tip,
            to: pointed_at(wall, end, WIDEST_TO_SIDE_MM / mm_per_px)?,
            to_side: true,
        })
    }));
    strokes
}

/// The nearest ink that an end points at.
fn pointed_at(wall: &Grid<bool>, end: &End, farthest: f64) -> Option<[f64; 2]> {
    let reach = farthest as i32;
    let [x, y] = end.tip.map(|v| v.round() as i32);
    let mut best: Option<(f64, [f64; 2])> = None;
    for down in -reach..=reach {
        for right in -reach..=reach {
            let at = [f64::from(x + right), f64::from(y + down)];
            let away = minus(at, end.tip);
            let length = away[0].hypot(away[1]);
            // The line's own blunt end lies beside its tip.
            if length <= UNSURE_PX || length > farthest || !is_wall(wall, at) {
                continue;
            }
            let turned = turn(end.ahead, away);
            let far = length * (1.0 + turned);
            if turned <= AHEAD
                && best.is_none_or(|(least, _)| far < least)
                && is_free(wall, end.tip, at)
            {
                best = Some((far, at));
            }
        }
    }
    best.map(|(_, at)| at)
}

/// Whether no ink lies between two places, but for what is beside them.
fn is_free(wall: &Grid<bool>, from: [f64; 2], to: [f64; 2]) -> bool {
    let stroke = Stroke {
        from,
        to,
        to_side: false,
    };
    let between = stroke.pixels(0.0);
    let mut between = between.filter(|&at| distance(at, from) > 1.5 && distance(at, to) > 1.5);
    between.all(|at| !is_wall(wall, at))
}

/// The spaces between the drawn lines and the strokes, at half the resolution.
struct Parted {
    label: Grid<u32>,
    /// By label.
    spaces: Vec<Space>,
    /// The cell that a pixel belongs to without the strokes.
    cells: Grid<u16>,
}

#[derive(Debug, Clone, Copy, Default)]
struct Space {
    pixels: usize,
    /// Those beside a line or another space.
    rim: usize,
    /// Squared distance to the lines at its widest place, and that pixel.
    room: f64,
    widest: usize,
    outside: bool,
    /// Pixels that are outside without the strokes.
    was_outside: usize,
}

/// A stroke that closes an opening, and the labels of the spaces that it parts: what is closed off first.
#[derive(Debug, Clone, Copy)]
struct Found {
    stroke: usize,
    within: u32,
    around: u32,
    to_outside: bool,
}

impl Parted {
    fn by(
        wall: &Grid<bool>,
        strokes: &[Stroke],
        cells: &Cells,
        gap_mm: f64,
        mm_per_px: f64,
    ) -> Self {
        let mut closed = wall.clone();
        for at in strokes.iter().flat_map(|stroke| stroke.pixels(2.0)) {
            if let Some(i) = pixel(wall, at) {
                closed.data[i] = true;
            }
        }
        let squared = squared_distance(&closed);
        let (label, outside) = parted_spaces(&closed, &squared, gap_mm, mm_per_px);
        let was_outside = cells.outside.halved(|[outside, ..]| outside);
        let mut spaces = vec![Space::default(); outside.len()];
        for (i, &l) in label.data.iter().enumerate() {
            let space = &mut spaces[l as usize];
            space.pixels += 1;
            space.outside = outside[l as usize];
            space.was_outside += usize::from(was_outside.data[i]);
            space.rim += usize::from(label.neighbors(i).any(|j| label.data[j] != l));
            if squared[i] > space.room {
                (space.room, space.widest) = (squared[i], i);
            }
        }
        Self {
            label,
            spaces,
            cells: cells.map.halved(|[cell, ..]| cell),
        }
    }

    fn space(&self, label: u32) -> &Space {
        &self.spaces[label as usize]
    }

    /// The pixel of the full frame at a space's widest place.
    fn middle(&self, label: u32, full: &Grid<bool>) -> usize {
        let widest = self.space(label).widest;
        let (x, y) = (widest % self.label.width, widest / self.label.width);
        2 * y * full.width + 2 * x
    }

    fn was_outside(&self, label: u32) -> bool {
        2 * self.space(label).was_outside > self.space(label).pixels
    }

    /// The strokes that close something off.
    fn openings(&self, strokes: &[Stroke], mm_per_px: f64) -> Vec<Found> {
        let parting = strokes.iter().enumerate();
        let (inner, mut found): (Vec<Found>, Vec<Found>) = parting
            .filter_map(|(s, stroke)| self.parts(s, stroke))
            .partition(|f| f.to_outside && !self.space(f.around).outside);
        // What strokes part within a thing, such as a vein made longer, hangs together.
        let mut whole: Vec<u32> = (0..self.spaces.len() as u32).collect();
        for f in inner {
            let [one, other] = [f.within, f.around].map(|l| whole[l as usize]);
            let joined = whole.iter_mut().filter(|w| **w == other);
            joined.for_each(|w| *w = one);
        }
        let mut open = vec![0.0; self.spaces.len()];
        for f in &found {
            open[whole[f.within as usize] as usize] += strokes[f.stroke].length();
        }
        found.retain(|f| {
            let own = whole[f.within as usize];
            let mine = self.spaces.iter().zip(&whole).filter(|(_, w)| **w == own);
            let [pixels, rim] = mine.clone().fold([0; 2], |[pixels, rim], (space, _)| {
                [pixels + space.pixels, rim + space.rim]
            });
            let room = mine.fold(0.0f64, |room, (space, _)| room.max(space.room));
            pixels as f64 * mm_per_px * mm_per_px >= LEAST_MM2
                && 2.0 * room.sqrt() * mm_per_px >= LEAST_WIDTH_MM
                && open[own as usize] <= SHARE_OPEN * rim as f64
        });
        // A line that breaks off again and again between the same two spaces is dashed, such as a stitched edge.
        let pair = |f: &Found| (f.within.min(f.around), f.within.max(f.around));
        let all = found.clone();
        let often = |f: &Found| all.iter().filter(|g| pair(g) == pair(f)).count() > MOST_BREAKS;
        found.retain(|f| f.to_outside || !often(f));
        let top_left = |f: &Found| {
            let [x, y] = strokes[f.stroke].from;
            [y, x]
        };
        found.sort_by(|f, g| {
            let ([fy, fx], [gy, gx]) = (top_left(f), top_left(g));
            fy.total_cmp(&gy).then(fx.total_cmp(&gx))
        });
        found
    }

    /// The spaces on the two sides of a stroke, if they were one without it.
    fn parts(&self, s: usize, stroke: &Stroke) -> Option<Found> {
        let [a, b] = self.beside(stroke)?;
        let smaller = |a: u32, b: u32| match self.space(a).pixels <= self.space(b).pixels {
            true => (a, b),
            false => (b, a),
        };
        let (within, around) = match (self.space(a).outside, self.space(b).outside) {
            (true, true) => return None,
            (true, false) => (b, a),
            (false, true) => (a, b),
            (false, false) => smaller(a, b),
        };
        let to_outside = self.was_outside(within);
        if to_outside != self.was_outside(around) {
            return None;
        }
        let cell = |label: u32| self.cells.data[self.space(label).widest];
        let were_one =
            to_outside || (!stroke.to_side && cell(within) == cell(around) && cell(within) > 0);
        were_one.then_some(Found {
            stroke: s,
            within,
            around,
            to_outside,
        })
    }

    /// The two spaces that most of a stroke's sides belong to.
    fn beside(&self, stroke: &Stroke) -> Option<[u32; 2]> {
        let label = &self.label;
        let [dx, dy] = minus(stroke.to, stroke.from).map(|v| v / stroke.length().max(1.0));
        let most = |sign: f64| {
            let mut seen: Vec<(u32, usize)> = Vec::new();
            for at in stroke.pixels(0.0) {
                let at = plus(at, [-dy * sign, dx * sign], 2.0);
                let Some(l) = pixel(label, at).map(|i| label.data[i]).filter(|&l| l > 0) else {
                    continue;
                };
                match seen.iter_mut().find(|(seen, _)| *seen == l) {
                    Some((_, count)) => *count += 1,
                    None => seen.push((l, 1)),
                }
            }
            seen.into_iter()
                .max_by_key(|&(l, count)| (count, u32::MAX - l))
        };
        let sides = [most(1.0)?.0, most(-1.0)?.0];
        (sides[0] != sides[1]).then_some(sides)
    }
}

/// Tries out which gap closes each opening. `sides` are pixels of the spaces on its two sides, what is closed off first.
fn find_gaps(
    openings: &mut [Opening],
    sides: &[[usize; 2]],
    wall: &Grid<bool>,
    gaps_mm: &RangeInclusive<f64>,
    mm_per_px: f64,
) {
    let untried = |opening: &Opening, gap: f64| {
        let width = opening.width_mm;
        let tried = TRIED_BELOW * width..=width + TRIED_ABOVE_MM;
        opening.gap_mm.is_none() && tried.contains(&gap)
    };
    let steps = 1..=(gaps_mm.end() / GAP_STEP_MM) as usize;
    let gaps = steps.map(|step| step as f64 * GAP_STEP_MM);
    let mut squared = Vec::new();
    for gap in gaps.filter(|gap| gap > gaps_mm.start()) {
        if !openings.iter().any(|opening| untried(opening, gap)) {
            continue;
        }
        if squared.is_empty() {
            squared = squared_distance(wall);
        }
        let (label, outside) = parted_spaces(wall, &squared, gap, mm_per_px);
        for (opening, sides) in openings.iter_mut().zip(sides) {
            let [within, around] = sides.map(|i| label.data[i]);
            let closes = within != around && !(opening.to_outside && outside[within as usize]);
            if untried(opening, gap) && within > 0 && closes {
                opening.gap_mm = Some(gap);
            }
        }
    }
}

fn minus(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] - b[0], a[1] - b[1]]
}

fn plus(a: [f64; 2], way: [f64; 2], far: f64) -> [f64; 2] {
    [a[0] + far * way[0], a[1] + far * way[1]]
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    let [x, y] = minus(a, b);
    x.hypot(y)
}

/// The angle between a unit vector and a way, in radians.
fn turn(ahead: [f64; 2], way: [f64; 2]) -> f64 {
    let across = ahead[0] * way[1] - ahead[1] * way[0];
    let along = ahead[0] * way[0] + ahead[1] * way[1];
    across.abs().atan2(along)
}

/// The pixel at a place whose whole numbers are the middles of pixels.
fn pixel<T: Copy>(grid: &Grid<T>, [x, y]: [f64; 2]) -> Option<usize> {
    let (x, y) = (x.round(), y.round());
    let inside = x >= 0.0 && y >= 0.0 && x < grid.width as f64 && y < grid.height as f64;
    inside.then(|| y as usize * grid.width + x as usize)
}

fn is_wall(wall: &Grid<bool>, at: [f64; 2]) -> bool {
    pixel(wall, at).is_some_and(|i| wall.data[i])
}
