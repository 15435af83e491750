//! Things in flat light: a large one still wants two tones. Where the photo shows too small a step between a light and a
//! dark side, its shading is made stronger. Where even twice as strong it makes no step, the form is shaded as its outline
//! would be under the photo's own light, as deep as two tones need and no deeper, over what faint shading the photo has.

use std::collections::BTreeMap;

use image::GrayImage;
use imageproc::contrast::otsu_level;
use imageproc::distance_transform::Norm;
use imageproc::morphology::close;
use rayon::prelude::*;

use crate::color::Lab;
use crate::grid::{Grid, Window, bounds_of, squared_distance_to_rim};
use crate::job::{DEFAULT_LIGHT, DEFAULT_LIGHT_HEIGHT, DEFAULT_ROUNDNESS};
use crate::light::{Lamp, Node, dot, inflate, nodes_of, normals};

use super::form::median;
use super::{PartRules, Parts};

/// A thing is large from so many nibs on: two tones of two strokes each.
const LARGE_NIBS: f64 = 4.0;
/// Narrower than so many nibs, a thing is not looked at; from memory.
const LEAST_NIBS: f64 = LARGE_NIBS / 3.0;
/// The step that a flat thing is given, as a multiple of the least one between bands: so it stays one when the bands of
/// its family, which other things have a say in, lie a little off. From memory.
const STEP: f32 = 1.25;
/// Up to so many times as strong, a photo's shading is still what the photo shows; from memory.
const MOST_STRETCH: f32 = 2.0;
/// The outline's shade is laid on in so many parts, until there is a step.
const SHARES: usize = 16;
/// Neutral things lighter than this are paper, in L*: what is white stays white. From memory.
const WHITE_L: f32 = 80.0;
/// Drawn lines within a thing are closed over up to this width, in millimeters: a stamped line with its soft rims. From
/// memory.
const LINE_MM: f64 = 1.2;
/// By how much the slopes of all things must agree to tell where the light comes from, 0 (they cancel out) to 1 (all one
/// way). From memory.
const AGREED: f64 = 0.5;
/// And how much lighter one side must be than the other, over all things, in L*; from memory.
const LEAST_RISE: f64 = 1.0;

/// Gives the large flat things among the regions that have a form a step, and notes the cells of those whose shade is
/// their outline's. `depth` is the squared distance of every pixel to the rim of its region, in pixels.
pub fn shade_flat_things(parts: &mut Parts, depth: &[f64], rules: PartRules) {
    let things = things(parts, depth, rules);
    let wanted = STEP * rules.step;
    let flat: Vec<(&Thing, f32)> = things
        .iter()
        .map(|thing| (thing, wanted / thing.step(&parts.form)))
        .filter(|&(_, stretch)| stretch > 1.0)
        .collect();
    if flat.is_empty() {
        return;
    }
    let from = light_from(&things, &parts.form).unwrap_or(DEFAULT_LIGHT.degrees);
    let lamp = Lamp::new(from, DEFAULT_LIGHT_HEIGHT);
    let windows = bounds_of(&parts.map, parts.regions.len());
    let toned: Vec<Vec<(usize, Lab)>> = flat
        .par_iter()
        .map(|&(thing, stretch)| {
            let outline = Outline::of_large_one(parts, thing, windows[thing.region], rules);
            outline.map_or_else(Vec::new, |outline| match stretch <= MOST_STRETCH {
                true => outline.stretched(parts, stretch),
                false => outline.shaded(parts, thing, &lamp, rules),
            })
        })
        .collect();
    for ((thing, stretch), colors) in flat.into_iter().zip(toned) {
        if stretch > MOST_STRETCH && !colors.is_empty() {
            parts.flat.push(parts.regions[thing.region].cell);
        }
        for (i, color) in colors {
            parts.form.data[i] = color;
        }
    }
}

/// A region that may be a thing of its own.
struct Thing {
    region: usize,
    /// Pixels that a pen can follow: half a nib and more from the rim.
    inner: Vec<usize>,
}

/// The regions that have a form and their outline drawn (no other shares the cell), wide enough for large things that a
/// line divides, and not white.
fn things(parts: &Parts, depth: &[f64], rules: PartRules) -> Vec<Thing> {
    let stroke = (rules.nib_mm / 2.0 / rules.mm_per_px).powi(2);
    let mut inner = vec![Vec::new(); parts.regions.len() + 1];
    for (i, &r) in parts.map.data.iter().enumerate() {
        if depth[i] >= stroke {
            inner[usize::from(r)].push(i);
        }
    }
    let mut in_cell: BTreeMap<u16, usize> = BTreeMap::new();
    for region in &parts.regions {
        *in_cell.entry(region.cell).or_default() += 1;
    }
    let is_thing = |thing: &Thing| {
        let region = &parts.regions[thing.region];
        let alone = in_cell[&region.cell] == 1;
        let wide = region.width_mm >= LEAST_NIBS * rules.nib_mm;
        let neutral = region.families.iter().any(|&f| parts.families[f].neutral);
        let middle = median(thing.inner.iter().map(|&i| parts.form.data[i].l));
        let white = neutral && middle.is_none_or(|l| l > WHITE_L);
        region.scale_mm.is_some() && alone && wide && !white
    };
    let inner = inner.into_iter().skip(1).enumerate();
    inner
        .map(|(region, inner)| Thing { region, inner })
        .filter(is_thing)
        .collect()
}

impl Thing {
    /// Between its light and its dark side, in L*.
    fn step(&self, form: &Grid<Lab>) -> f32 {
        step_between(self.inner.iter().map(|&i| form.data[i].l))
    }

    /// How its lightness rises to the right and downward, in L* from one side to the other, times its area: the plane of
    /// least squares.
    fn slope(&self, form: &Grid<Lab>) -> [f64; 2] {
        let n = self.inner.len() as f64;
        let values = self.inner.iter().map(|&i| {
            let (x, y) = (i % form.width, i / form.width);
            [x as f64, y as f64, f64::from(form.data[i].l)]
        });
        let mean = values.clone().fold([0.0; 3], |sum, v| {
            std::array::from_fn(|c| sum[c] + v[c] / n)
        });
        let [mut xx, mut xy, mut yy, mut xl, mut yl] = [0.0; 5];
        for v in values {
            let [x, y, l]: [f64; 3] = std::array::from_fn(|c| v[c] - mean[c]);
            xx += x * x;
            xy += x * y;
            yy += y * y;
            xl += x * l;
            yl += y * l;
        }
        let det = xx * yy - xy * xy;
        if det <= 0.0 {
            return [0.0; 2];
        }
        let weight = n * n.sqrt() / det;
        [weight * (xl * yy - yl * xy), weight * (yl * xx - xl * xy)]
    }
}

/// A thing cut out of the frame.
struct Outline {
    window: Window,
    mask: Grid<bool>,
    /// The same with the drawn lines within.
    whole: Grid<bool>,
}

impl Outline {
    /// `None` if the thing is not large.
    fn of_large_one(
        parts: &Parts,
        thing: &Thing,
        window: Window,
        rules: PartRules,
    ) -> Option<Self> {
        let line = (LINE_MM / 2.0 / rules.mm_per_px).ceil() as u8;
        let window = window.widened(usize::from(line) + 1, &parts.map);
        let mask = parts
            .map
            .cut_out(window)
            .map(|m| usize::from(m) == thing.region + 1);
        let ink = mask.map(|m| 255 * u8::from(m)).into_image();
        let whole = Grid {
            width: mask.width,
            height: mask.height,
            data: close(&ink, Norm::L2, line).into_raw(),
        }
        .map(|v| v > 0);
        let widest = squared_distance_to_rim(&whole)
            .into_iter()
            .fold(0.0, f64::max);
        let large = 2.0 * widest.sqrt() * rules.mm_per_px >= LARGE_NIBS * rules.nib_mm;
        large.then_some(Self {
            window,
            mask,
            whole,
        })
    }

    /// The thing's pixels by their place in the frame.
    fn inside(&self, parts: &Parts) -> impl Iterator<Item = (usize, usize)> + Clone {
        let map = &parts.map;
        (0..self.mask.data.len())
            .filter(|&i| self.mask.data[i])
            .map(move |i| (i, self.window.index_in(map, i)))
    }

    /// The colors of the thing's pixels with its own shading so many times as strong, about its middle.
    fn stretched(&self, parts: &Parts, stretch: f32) -> Vec<(usize, Lab)> {
        let color = |at: usize| parts.form.data[at];
        let inside = self.inside(parts);
        let Some(middle) = median(inside.clone().map(|(_, at)| color(at).l)) else {
            return Vec::new();
        };
        let toned = |(_, at)| {
            let l = color(at).l;
            // No darker than black, or the hue would turn to its opposite.
            let by = (middle + stretch * (l - middle) + 16.0).max(0.0) / (l + 16.0);
            (at, scaled(color(at), by))
        };
        inside.map(toned).collect()
    }

    /// The colors of the thing's pixels with as much of its outline's shade as makes a step, or all of it.
    fn shaded(
        &self,
        parts: &Parts,
        thing: &Thing,
        lamp: &Lamp,
        rules: PartRules,
    ) -> Vec<(usize, Lab)> {
        let nodes = nodes_of(&self.whole, &self.whole.map(|_| None), &[]);
        let form = nodes.map(|n| n == Node::Form);
        let u = inflate(&nodes, rules.mm_per_px);
        let normals = normals(&u, &form, DEFAULT_ROUNDNESS, rules.mm_per_px);
        let open = 1.0 - lamp.ambient;
        let light = |i: usize| lamp.ambient + open * dot(normals[i], lamp.toward).max(0.0);
        let inside: Vec<(usize, f64, Lab)> = self
            .inside(parts)
            .map(|(i, at)| (at, light(i), parts.form.data[at]))
            .collect();
        let middle = median(inside.iter().map(|pixel| pixel.1 as f32)).unwrap_or(1.0);
        // The cube root in twice the precision, so that the last digit, which is each platform's own, is rounded away.
        let toned = |&(at, light, color): &(usize, f64, Lab), share: f64| {
            let by = (1.0 + share * ((light / f64::from(middle)).cbrt() - 1.0)) as f32;
            (at, scaled(color, by))
        };
        let inner: Vec<(usize, f64, Lab)> = inside
            .iter()
            .filter(|pixel| thing.inner.binary_search(&pixel.0).is_ok())
            .copied()
            .collect();
        let step_with = |share: f64| step_between(inner.iter().map(|p| toned(p, share).1.l));
        // Shading that goes against what the photo has makes the step smaller first.
        let share = (0..=SHARES)
            .map(|k| k as f64 / SHARES as f64)
            .find(|&share| step_with(share) >= STEP * rules.step)
            .unwrap_or(1.0);
        inside.iter().map(|pixel| toned(pixel, share)).collect()
    }
}

/// A color in more or less light: linear colors scale with it, and L* + 16, a* and b* with its cube root, which is `by`
/// (CIE 15, above L* 8).
fn scaled(Lab { l, a, b, .. }: Lab, by: f32) -> Lab {
    let l = (l + 16.0) * by - 16.0;
    Lab::new(l.clamp(0.0, 100.0), a * by, b * by)
}

/// How far the means of the lighter and the darker of these lie apart, in L*, parted where that parts them best (Otsu
/// 1979).
fn step_between(lightness: impl Iterator<Item = f32> + Clone) -> f32 {
    let level = |l: f32| (l * 2.55).round().clamp(0.0, 255.0) as u8;
    let levels: Vec<u8> = lightness.clone().map(level).collect();
    let Some(levels) = GrayImage::from_raw(levels.len() as u32, 1, levels) else {
        return 0.0;
    };
    if levels.is_empty() {
        return 0.0;
    }
    let bound = otsu_level(&levels);
    let mean = |light: bool| {
        let side = lightness.clone().filter(|&l| (level(l) > bound) == light);
        let (sum, n) = side.fold((0.0, 0.0f32), |(sum, n), l| (sum + l, n + 1.0));
        (n > 0.0).then(|| sum / n)
    };
    match (mean(true), mean(false)) {
        (Some(light), Some(dark)) => light - dark,
        _ => 0.0,
    }
}

/// Where the light comes from, in degrees clockwise from the top: on things that bulge the mean slope of the shading
/// points to it (Lee and Rosenfeld 1985). `None` where the things do not agree.
fn light_from(things: &[Thing], form: &Grid<Lab>) -> Option<f64> {
    let slopes: Vec<[f64; 2]> = things.iter().map(|thing| thing.slope(form)).collect();
    let sum = |c: usize| slopes.iter().map(|s| s[c]).sum::<f64>();
    let (x, y) = (sum(0), sum(1));
    let all: f64 = slopes.iter().map(|[x, y]| x.hypot(*y)).sum();
    let area: usize = things.iter().map(|thing| thing.inner.len()).sum();
    let least = (AGREED * all).max(LEAST_RISE * area as f64);
    (x.hypot(y) > least).then(|| x.atan2(-y).to_degrees())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parts::{find_colors, find_parts};

    const SIDE: usize = 150;
    const MM_PER_PX: f64 = 0.2;

    /// A photo of two disks of 24 mm, each its own cell: the first with `l` by the place on the disk (-1 to 1 to the
    /// right and downward), the second evenly of L* 60 with this a* and b*.
    fn two_disks(l: impl Fn(f32, f32) -> f32, second: Lab) -> (Grid<Lab>, Grid<u16>) {
        let mut lab = Grid::filled(2 * SIDE, SIDE, Lab::new(98.0, 0.0, 0.0));
        let mut cells = Grid::filled(2 * SIDE, SIDE, 0);
        for i in 0..lab.data.len() {
            let (x, y) = (i % lab.width, i / lab.width);
            let place = |v: usize| (v as f32 + 0.5 - 75.0) / 60.0;
            let (u, v) = (place(x % SIDE), place(y));
            if u * u + v * v < 1.0 {
                cells.data[i] = if x < SIDE { 1 } else { 2 };
                lab.data[i] = if x < SIDE {
                    Lab::new(l(u, v), 50.0, 30.0)
                } else {
                    second
                };
            }
        }
        (lab, cells)
    }

    fn parts_of(lab: &Grid<Lab>, cells: &Grid<u16>) -> Parts {
        let rules = PartRules {
            hue_gain: 1.4,
            share: 0.1,
            nib_mm: 1.5,
            step: 8.0,
            mm_per_px: MM_PER_PX,
        };
        let seen = cells.map(|c| u8::from(c > 0) * u8::MAX);
        let colors = find_colors(
            lab,
            cells,
            &seen,
            cells.map(|_| false),
            &|_| false,
            MM_PER_PX,
        );
        find_parts(lab, cells, &colors, &|_| false, &|_| None, rules).unwrap()
    }

    /// Mean lightness of the right, the left, the upper and the lower half of the second disk.
    fn halves(parts: &Parts, cells: &Grid<u16>) -> [f32; 4] {
        let mean = |half: &dyn Fn(usize, usize) -> bool| {
            let of =
                |i: &usize| cells.data[*i] == 2 && half(i % cells.width - SIDE, i / cells.width);
            let l = (0..cells.data.len())
                .filter(of)
                .map(|i| parts.form.data[i].l);
            let (sum, n) = l.fold((0.0, 0.0), |(sum, n), l| (sum + l, n + 1.0f32));
            sum / n
        };
        [
            mean(&|x, _| x >= SIDE / 2),
            mean(&|x, _| x < SIDE / 2),
            mean(&|_, y| y < SIDE / 2),
            mean(&|_, y| y >= SIDE / 2),
        ]
    }

    #[test]
    fn a_flat_thing_is_lit_as_what_lies_beside_it() {
        let green = Lab::new(60.0, -40.0, 35.0);
        for (toward_right, toward_top) in [(1.0, 0.0), (-0.7, 0.7), (0.0, -1.0)] {
            let (lab, cells) = two_disks(
                |u, v| 50.0 + 20.0 * (toward_right * u - toward_top * v),
                green,
            );
            let parts = parts_of(&lab, &cells);
            assert_eq!(parts.flat, [2]);
            let [right, left, top, bottom] = halves(&parts, &cells);
            for (toward, light, dark) in [(toward_right, right, left), (toward_top, top, bottom)] {
                let rise = light - dark;
                assert!((rise - 10.0 * toward).abs() < 4.0, "{rise} toward {toward}");
            }
        }
    }

    #[test]
    fn where_nothing_tells_the_light_comes_from_the_upper_left() {
        let (lab, cells) = two_disks(|_, _| 50.0, Lab::new(60.0, -40.0, 35.0));
        let parts = parts_of(&lab, &cells);
        assert_eq!(parts.flat, [1, 2]);
        let [right, left, top, bottom] = halves(&parts, &cells);
        let [across, down] = [left - right, top - bottom];
        assert!(across > 4.0 && down > 4.0, "{across}, {down}");
        assert!((across - down).abs() < 0.5, "{across}, {down}");
    }

    #[test]
    fn faint_shade_that_goes_against_the_light_does_not_keep_a_thing_flat() {
        let (mut lab, cells) = two_disks(|u, _| 50.0 + 20.0 * u, Lab::new(60.0, -40.0, 35.0));
        for i in (0..lab.data.len()).filter(|&i| cells.data[i] == 2) {
            let across = (i % cells.width - SIDE) as f32 / SIDE as f32 - 0.5;
            lab.data[i].l -= 8.0 * across;
        }
        let parts = parts_of(&lab, &cells);
        assert_eq!(parts.flat, [2]);
        let inside = (0..cells.data.len()).filter(|&i| cells.data[i] == 2);
        let step = step_between(inside.map(|i| parts.form.data[i].l));
        assert!(step >= 8.0, "{step}");
    }

    /// Halves of a disk of radius r have their middles 8 r / 3 pi apart: the shade is a plane.
    #[test]
    fn shading_that_makes_half_a_step_is_made_stronger_and_stays_as_it_lies() {
        let (mut lab, cells) = two_disks(|u, _| 50.0 + 20.0 * u, Lab::new(60.0, -40.0, 35.0));
        let apart = 8.0 * 60.0 / 3.0 / std::f32::consts::PI;
        // The step of 10 that is wanted is one where a pen can follow: half a nib of 1.5 mm from the rim.
        let whole = 10.0 * 60.0 / (60.0 - 0.75 / MM_PER_PX as f32);
        for step in [6.0, 7.0, 9.0] {
            for i in (0..lab.data.len()).filter(|&i| cells.data[i] == 2) {
                let across = (i % cells.width) as f32 + 0.5 - SIDE as f32 * 1.5;
                lab.data[i].l = 60.0 - step * across / apart;
            }
            let parts = parts_of(&lab, &cells);
            assert!(parts.flat.is_empty());
            let [right, left, top, bottom] = halves(&parts, &cells);
            assert!((left - right - whole).abs() < 0.4, "{step}: {left} {right}");
            assert!((top - bottom).abs() < 0.5, "{step}: {top} {bottom}");
        }
    }

    #[test]
    fn what_is_shaded_stays_and_so_does_what_is_white() {
        let (lab, cells) = two_disks(|u, _| 50.0 + 20.0 * u, Lab::new(92.0, 0.5, 1.0));
        let parts = parts_of(&lab, &cells);
        assert!(parts.flat.is_empty());
        for i in (0..lab.data.len()).filter(|&i| cells.data[i] > 0) {
            let off = (parts.form.data[i].l - lab.data[i].l).abs();
            assert!(off < 2.0, "{off} at {i}");
        }
    }
}
