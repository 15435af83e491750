//! Evidence: where the photo shows the drawn things themselves, and not what lies behind them.
//!
//! The drawing says where to look. What its closed cells show is the things, but for what the photo lacks and for where
//! it lies askew; what lies around is the background. So a color that is shown more often around than in the cells, as
//! shares of both, is the background's (the ratio histogram of Swain and Ballard 1991, "Color indexing"). What stands
//! out in the photo has a say, as far as it agrees with the drawing.

use rayon::prelude::*;

use crate::art::Cells;
use crate::color::{Lab, Srgb8};
use crate::grid::{Blur, Grid, Window, blocks, squared_distance};
use crate::reference::{EVIDENT, LEAST_SEEN, Reference};

/// Side of the blocks of pixels that are looked at, in millimeters; from memory.
const BLOCK_MM: f64 = 0.4;
/// Every second column and row of pixels tells as much as all.
const PIXEL_STEP: usize = 2;
/// What lies so far from the cells is their background, nearer it is mixed with them: in millimeters, and where the
/// cells are large up to this share of the side of a square as large. From memory.
const BEYOND_MM: f64 = 1.0;
const AROUND_MM: f64 = 10.0;
const AROUND_SHARE: f64 = 0.5;
/// Less background than this says nothing, as a share of what the cells are; from memory.
const LEAST_AROUND: f64 = 0.05;
/// Sides of the boxes in which colors are counted, in L*, a* and b*; a color counts for the boxes beside its own, too.
/// From memory.
const BOX: [f32; 3] = [10.0, 6.0, 6.0];
const BOXES: [usize; 3] = [11, 40, 40];
const LEAST: [f32; 3] = [0.0, -110.0, -120.0];
/// So rare a color, as a share of all, says nothing; from memory.
const RARE: f32 = 1e-3;
/// A cell that hardly seems to show a thing shows the background if the colors of both are alike to this part (their
/// histograms intersect so far): a gap does, an eye that has one of its colors does not. From memory.
const ALIKE: f32 = 0.45;
/// What stands out in the photo is so many times likelier the thing, and what does not the background, if all of it
/// agrees with the drawing: what it encloses may be as white as the background, and what it leaves out may be the
/// thing's shaded side. From memory.
const STANDS_OUT: f32 = 20.0;
const LIES_BACK: f32 = 2.7;
/// Smoothing of that, in millimeters; from memory.
const CALM_MM: f64 = 0.6;

/// Tells in the closed cells that are `mine` how likely the photo shows the thing: `reference.evidence` is where the
/// subject was found in it, which agrees with the drawing by `agreement`, 0 to 1 (`None` where none was found). What
/// lies around the cells stays as it is, and is told in `reference.around`; all stays where hardly anything does.
pub fn look_for_drawn_things(
    reference: &mut Reference,
    cells: &Cells,
    mine: impl Fn(u16) -> bool + Sync,
    agreement: Option<f64>,
    mm_per_px: f64,
) {
    let outside = cells.outside_cells();
    let is_thing = |cell: u16| cell > 0 && !outside[usize::from(cell)] && mine(cell);
    let width = cells.map.width;
    let side = ((BLOCK_MM / mm_per_px).round() as usize).max(1);
    let block_mm = side as f64 * mm_per_px;
    let windows = blocks(width, cells.map.height, side);
    let blocks = Grid {
        width: windows.width,
        height: windows.height,
        data: (windows.data.par_iter())
            .map(|&window| Block::of(reference, cells, &is_thing, window))
            .collect(),
    };
    let surroundings = surroundings(&blocks, block_mm);
    if surroundings.is_empty() {
        return;
    }
    let colors = Counted::of(&blocks, &surroundings);
    // Half an agreement is none: any mask has it with some other.
    let trust = agreement.map_or(0.0, |a| (2.0 * a - 1.0).max(0.0)) as f32;
    let [thing, background] = [STANDS_OUT, LIES_BACK].map(|says| 1.0 + trust * (says - 1.0));
    let chance = |block: &Block| {
        let says = if block.stands_out {
            thing
        } else {
            1.0 / background
        };
        let odds = colors.odds(block.color) * says;
        odds / (1.0 + odds)
    };
    let blur = Blur::new((CALM_MM / block_mm) as f32);
    let summed = |value: &(dyn Fn(&Block) -> f32 + Sync)| -> Vec<f32> {
        let of_thing = |block: &Block| if block.thing > 0.0 { value(block) } else { 0.0 };
        let mut values: Vec<f32> = blocks.data.par_iter().map(of_thing).collect();
        blur.sum(&mut values, blocks.width, blocks.height);
        values
    };
    let (mut chances, counts) = rayon::join(|| summed(&chance), || summed(&|_| 1.0));
    let is_evident = |i: usize| chances[i] * 255.0 >= f32::from(EVIDENT) * counts[i];
    for i in of_other_colors(&blocks, &colors, cells.count, is_evident) {
        chances[i] = counts[i];
    }
    for &block in &surroundings {
        for i in windows.data[block].indices(width) {
            reference.around.data[i] = true;
        }
    }
    let rows = reference.evidence.data.par_chunks_mut(width).enumerate();
    rows.for_each(|(y, row)| {
        for (x, evidence) in row.iter_mut().enumerate() {
            let i = y * width + x;
            if is_thing(cells.map.data[i]) && reference.subject.data[i] {
                let block = y / side * blocks.width + x / side;
                *evidence = (255.0 * chances[block] / counts[block].max(1.0)).round() as u8;
            }
        }
    });
}

/// The blocks of cells of which hardly any is evident, though they are not of the background's colors.
fn of_other_colors(
    blocks: &Grid<Block>,
    colors: &Counted,
    cells: usize,
    is_evident: impl Fn(usize) -> bool + Sync,
) -> Vec<usize> {
    let mut blocks_of_cell = vec![Vec::new(); cells + 1];
    for (i, block) in blocks.data.iter().enumerate() {
        blocks_of_cell[usize::from(block.cell)].push(i);
    }
    let is_of_other_colors = |mine: &Vec<usize>| {
        let evident = mine.iter().filter(|&&i| is_evident(i)).count();
        (evident as f64) < LEAST_SEEN * mine.len() as f64
            && colors.alike(mine.iter().map(|&i| &blocks.data[i])) < ALIKE
    };
    let of_cells = blocks_of_cell.into_par_iter().skip(1);
    let found: Vec<Vec<usize>> = of_cells.filter(is_of_other_colors).collect();
    found.into_iter().flatten().collect()
}

/// A few pixels of the frame, looked at as one.
struct Block {
    color: Lab,
    /// The thing's cell in it; 0 where there is none.
    cell: u16,
    /// How much of it shows a thing's cell, and how much what lies around, 0 to 1.
    thing: f32,
    around: f32,
    /// Whether what stands out in the photo holds most of it.
    stands_out: bool,
}

impl Block {
    fn of(
        reference: &Reference,
        cells: &Cells,
        is_thing: &impl Fn(u16) -> bool,
        window: Window,
    ) -> Self {
        let mut sum = [0u32; 3];
        let [mut all, mut thing, mut around, mut out] = [0u32; 4];
        let mut cell = 0;
        let [columns, rows] = [(window.left, window.width), (window.top, window.height)]
            .map(|(from, count)| (from..from + count).step_by(PIXEL_STEP));
        let places = rows.flat_map(|y| columns.clone().map(move |x| y * cells.map.width + x));
        for i in places {
            for (sum, v) in sum.iter_mut().zip(reference.picture.data[i]) {
                *sum += u32::from(v);
            }
            let shown = reference.subject.data[i];
            all += 1;
            if shown && is_thing(cells.map.data[i]) {
                thing += 1;
                cell = cells.map.data[i];
            }
            around += u32::from(shown && cells.outside.data[i]);
            out += u32::from(reference.evidence.data[i] >= EVIDENT);
        }
        Self {
            color: Srgb8(sum.map(|s| ((s + all / 2) / all) as u8)).lab(),
            cell,
            thing: thing as f32 / all as f32,
            around: around as f32 / all as f32,
            stands_out: 2 * out >= all,
        }
    }
}

/// The blocks that show what lies around the things; none where that is hardly anything.
fn surroundings(blocks: &Grid<Block>, block_mm: f64) -> Vec<usize> {
    let things = Grid {
        width: blocks.width,
        height: blocks.height,
        data: blocks.data.iter().map(|b| b.thing > 0.0).collect(),
    };
    let size = things.data.iter().filter(|&&t| t).count() as f64;
    let reach = AROUND_MM.max(AROUND_SHARE * size.sqrt() * block_mm);
    let [from, to] = [BEYOND_MM, reach].map(|mm| (mm / block_mm).powi(2));
    let away = squared_distance(&things);
    let is_around = |&i: &usize| blocks.data[i].around == 1.0 && (from..=to).contains(&away[i]);
    let found: Vec<usize> = (0..blocks.data.len()).filter(is_around).collect();
    match size > 0.0 && found.len() as f64 >= LEAST_AROUND * size {
        true => found,
        false => Vec::new(),
    }
}

/// How often every color is shown in the cells and around them, as shares of both.
struct Counted {
    inside: Vec<f32>,
    around: Vec<f32>,
}

impl Counted {
    fn of(blocks: &Grid<Block>, surroundings: &[usize]) -> Self {
        // Whole blocks only: what a drawn line runs through is mixed.
        Self {
            inside: shares(blocks.data.iter().filter(|b| b.thing == 1.0)),
            around: shares(surroundings.iter().map(|&i| &blocks.data[i])),
        }
    }

    /// How far the colors of these blocks are those around, 0 to 1: the intersection of both histograms (Swain and
    /// Ballard 1991).
    fn alike<'a>(&self, blocks: impl Iterator<Item = &'a Block>) -> f32 {
        let own = shares(blocks);
        own.iter().zip(&self.around).map(|(&a, &b)| a.min(b)).sum()
    }

    /// How many times as often as around a color is shown in the cells.
    fn odds(&self, color: Lab) -> f32 {
        let place = index(boxes_of(color));
        (self.inside[place] + RARE) / (self.around[place] + RARE)
    }
}

/// The share of every box in the colors of these blocks.
fn shares<'a>(blocks: impl Iterator<Item = &'a Block>) -> Vec<f32> {
    let mut counts = vec![0.0f32; BOXES.iter().product()];
    let mut all = 0.0f32;
    for block in blocks {
        counts[index(boxes_of(block.color))] += 1.0;
        all += 1.0;
    }
    for count in &mut counts {
        *count /= all.max(1.0);
    }
    spread_to_neighbors(counts)
}

fn boxes_of(color: Lab) -> [usize; 3] {
    let v = [color.l, color.a, color.b];
    [0, 1, 2].map(|k| (((v[k] - LEAST[k]) / BOX[k]).max(0.0) as usize).min(BOXES[k] - 1))
}

fn index([l, a, b]: [usize; 3]) -> usize {
    (l * BOXES[1] + a) * BOXES[2] + b
}

/// Every count shared with the boxes beside, one axis after the other: half stays, a quarter goes to each side.
fn spread_to_neighbors(mut counts: Vec<f32>) -> Vec<f32> {
    for (step, count) in [
        (BOXES[1] * BOXES[2], BOXES[0]),
        (BOXES[2], BOXES[1]),
        (1, BOXES[2]),
    ] {
        let before = counts.clone();
        for (i, to) in counts.iter_mut().enumerate() {
            let at = i / step % count;
            let left = if at > 0 { before[i - step] } else { 0.0 };
            let right = if at + 1 < count {
                before[i + step]
            } else {
                0.0
            };
            *to = 0.5 * before[i] + 0.25 * (left + right);
        }
    }
    counts
}

#[cfg(test)]
mod tests {
    use super::*;

    const MM_PER_PX: f64 = 0.2;
    const SIZE: [usize; 2] = [320, 240];

    /// A drawing of closed cells, `drawn` by number, with no line between them and the outside.
    fn cells(drawn: impl Fn(f64, f64) -> u16) -> Cells {
        let map = Grid {
            width: SIZE[0],
            height: SIZE[1],
            data: all_places().map(|[x, y]| drawn(x, y)).collect::<Vec<u16>>(),
        };
        Cells {
            count: usize::from(map.data.iter().copied().max().unwrap_or(0)),
            outside: map.map(|c| c == 0),
            map,
            cut_at_edge: false,
        }
    }

    /// The middles of all pixels, in millimeters.
    fn all_places() -> impl Iterator<Item = [f64; 2]> {
        let [width, height] = SIZE;
        (0..width * height)
            .map(move |i| [i % width, i / width].map(|v| (v as f64 + 0.5) * MM_PER_PX))
    }

    fn photo(color: impl Fn(f64, f64) -> [u8; 3], found: impl Fn(f64, f64) -> bool) -> Reference {
        let grid = |data| Grid {
            width: SIZE[0],
            height: SIZE[1],
            data,
        };
        let picture = grid(all_places().map(|[x, y]| color(x, y)).collect());
        let of_subject = |[x, y]: [f64; 2]| u8::from(found(x, y)) * u8::MAX;
        Reference {
            subject: picture.map(|_| true),
            around: picture.map(|_| false),
            evidence: Grid {
                width: SIZE[0],
                height: SIZE[1],
                data: all_places().map(of_subject).collect(),
            },
            picture,
        }
    }

    /// The share of every cell that is evidence, of the first on.
    fn seen(
        drawn: impl Fn(f64, f64) -> u16,
        mut reference: Reference,
        agreement: Option<f64>,
    ) -> Vec<f64> {
        let cells = cells(drawn);
        let before = reference.evidence.clone();
        look_for_drawn_things(&mut reference, &cells, |_| true, agreement, MM_PER_PX);
        let mut counts = vec![[0.0f64; 2]; cells.count + 1];
        for (i, &cell) in cells.map.data.iter().enumerate() {
            if cell == 0 {
                assert_eq!(reference.evidence.data[i], before.data[i]);
            }
            let [all, evident] = &mut counts[usize::from(cell)];
            *all += 1.0;
            *evident += f64::from(u8::from(reference.evidence.data[i] >= EVIDENT));
        }
        counts[1..]
            .iter()
            .map(|[all, evident]| evident / all)
            .collect()
    }

    fn disk(x: f64, y: f64, [u, v]: [f64; 2], radius: f64) -> bool {
        (x - u).hypot(y - v) < radius
    }

    /// A wall with a pattern.
    fn wall(x: f64, y: f64) -> [u8; 3] {
        match ((x / 0.6) as usize + (y / 0.6) as usize) % 5 {
            0 => [196, 128, 96],
            _ => [206, 204, 166],
        }
    }

    const GREEN: [u8; 3] = [84, 122, 62];

    /// Two leaves before the wall.
    fn leaves(x: f64, y: f64) -> u16 {
        match () {
            () if disk(x, y, [18.0, 24.0], 10.0) => 1,
            () if disk(x, y, [46.0, 24.0], 6.0) => 2,
            () => 0,
        }
    }

    #[test]
    fn a_thing_that_the_search_for_the_subject_missed_is_evidence_and_one_that_lacks_is_none() {
        let first = |x, y| leaves(x, y) == 1;
        let both = |x, y| if leaves(x, y) > 0 { GREEN } else { wall(x, y) };
        let one = |x, y| if first(x, y) { GREEN } else { wall(x, y) };
        for agreement in [None, Some(0.7), Some(0.97)] {
            let all = |_, _| agreement.is_none();
            let found = |x, y| all(x, y) || first(x, y);
            let shown = seen(leaves, photo(both, found), agreement);
            assert!(
                shown[0] > 0.97 && shown[1] > 0.97,
                "{agreement:?} {shown:?}"
            );
            let shown = seen(leaves, photo(one, found), agreement);
            assert!(
                shown[0] > 0.97 && shown[1] < 0.05,
                "{agreement:?} {shown:?}"
            );
        }
    }

    /// The drawing lies 3 mm beside the leaf: what the cell shows of the wall is none, but for as much along the leaf's
    /// rim as is smoothed.
    #[test]
    fn where_the_drawing_lies_askew_the_background_is_no_evidence() {
        let drawn = |x, y| u16::from(disk(x, y, [33.0, 24.0], 12.0));
        let leaf = |x, y| disk(x, y, [30.0, 24.0], 12.0);
        let color = |x, y| if leaf(x, y) { GREEN } else { wall(x, y) };
        let shown = seen(drawn, photo(color, |_, _| true), None)[0];
        // Two circles of radius r whose middles lie d apart share 2 r^2 acos(d / 2r) - d / 2 sqrt(4 r^2 - d^2).
        let (r, d) = (12.0f64, 3.0f64);
        let shared = 2.0 * r * r * (d / (2.0 * r)).acos() - d / 2.0 * (4.0 * r * r - d * d).sqrt();
        let rim = r * (std::f64::consts::PI - 2.0 * (d / (2.0 * r)).asin());
        let area = std::f64::consts::PI * r * r;
        let expected = shared / area..(shared + CALM_MM * rim) / area;
        assert!(expected.contains(&shown), "{shown} {expected:?}");
    }

    /// A photo of which only the thing is left, and a drawing that fills its frame: nothing is known to lie around.
    #[test]
    fn where_nothing_lies_around_all_stays_as_it_was() {
        let orange = |x: f64, _: f64| {
            if x < 32.0 {
                [60, 90, 160]
            } else {
                [225, 130, 40]
            }
        };
        let disk = |x, y| u16::from(disk(x, y, [32.0, 24.0], 14.0));
        let all = |x: f64, _: f64| if x < 40.0 { 1 } else { 2 };
        let cut_out = |x, y| disk(x, y) == 1;
        for (cells, shown) in [
            (
                cells(disk),
                all_places().map(|[x, y]| cut_out(x, y)).collect(),
            ),
            (cells(all), vec![true; SIZE[0] * SIZE[1]]),
        ] {
            let mut reference = photo(orange, |_, _| true);
            reference.subject.data = shown;
            let before = reference.evidence.clone();
            look_for_drawn_things(&mut reference, &cells, |_| true, Some(1.0), MM_PER_PX);
            assert_eq!(reference.evidence, before);
            assert!(!reference.around.data.contains(&true));
        }
    }

    #[test]
    fn what_lies_around_is_told_and_no_cell_is_in_it() {
        let mut reference = photo(wall, |_, _| true);
        let cells = cells(leaves);
        look_for_drawn_things(&mut reference, &cells, |_| true, None, MM_PER_PX);
        let around = reference.around.data.iter().filter(|&&a| a).count();
        assert!(around > 10_000, "{around}");
        for (i, &around) in reference.around.data.iter().enumerate() {
            assert!(!around || cells.outside.data[i]);
        }
    }

    /// A cream egg on white paper, of which the search found the shaded side.
    #[test]
    fn the_light_side_of_a_pale_thing_is_evidence() {
        let drawn = |x, y| u16::from(disk(x, y, [32.0, 24.0], 14.0));
        let light = |x: f64, y: f64| (1.0 - (x + y - 36.0) / 40.0).clamp(0.0, 1.0);
        let color = |x, y| match drawn(x, y) {
            1 => [244.0, 232.0, 212.0].map(|v| (v * (0.45 + 0.55 * light(x, y))) as u8),
            _ => [251, 251, 249],
        };
        let found = |x, y| drawn(x, y) == 1 && light(x, y) < 0.5;
        let shown = seen(drawn, photo(color, found), Some(0.6))[0];
        assert!(shown > 0.97, "{shown}");
    }

    /// A fence of which the drawing closes the gap: what it shows is the meadow. White letters on a red tin before a white
    /// wall stay: what stands out encloses them.
    #[test]
    fn a_gap_shows_what_lies_behind_and_a_letter_does_not() {
        let ring = |x, y| match () {
            () if disk(x, y, [32.0, 24.0], 4.0) => 2,
            () if disk(x, y, [32.0, 24.0], 14.0) => 1,
            () => 0,
        };
        let fence = |x, y| {
            if ring(x, y) == 1 {
                [120, 84, 60]
            } else {
                [110, 150, 60]
            }
        };
        let shown = seen(ring, photo(fence, |_, _| true), None);
        // Less than 0.3 is none; smoothing over the gap's rim leaves some.
        assert!(shown[0] > 0.97 && shown[1] < 0.3, "{shown:?}");
        let tin = |x, y| {
            if ring(x, y) == 1 {
                [190, 40, 30]
            } else {
                [240, 238, 232]
            }
        };
        let shown = seen(ring, photo(tin, |x, y| ring(x, y) > 0), Some(1.0));
        assert!(shown[0] > 0.97 && shown[1] > 0.97, "{shown:?}");
    }

    #[test]
    fn counts_are_shared_with_the_boxes_beside_and_none_is_lost() {
        let middle = index([5, 20, 20]);
        let mut counts = vec![0.0; BOXES.iter().product()];
        counts[middle] = 1.0;
        let spread = spread_to_neighbors(counts);
        assert_eq!(spread[middle], 0.125);
        assert_eq!(spread[index([6, 20, 19])], 0.03125);
        assert_eq!(spread.iter().sum::<f32>(), 1.0);
    }
}
