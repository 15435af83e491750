//! Pixel pictures in the working frame: the section map and the stages.

use kurbo::{Line, ParamCurveNearest, Point};

use crate::color::{Mean, Srgb8};
use crate::error::Result;
use crate::grid::Grid;
use crate::made::Made;
use crate::plan::{OpenOutline, Plan};

use super::render::{encode_gray8, encode_gray16, encode_rgb};

/// The drawing in `fit`: a color that neither food nor flowers have.
const FIT_LINE: [u8; 3] = [20, 40, 200];

/// Hatching of cells that stay bare, and its distance in pixels.
const FIT_BARE: [u8; 3] = [250, 120, 200];
const HATCH_PX: usize = 16;

/// Places where an outline is open have a ring of this inner radius around them, and so wide a line, in millimeters.
const RING_MM: f64 = 3.0;
const RING_LINE_MM: f64 = 0.6;

type Picture = fn(&Made) -> Result<Vec<u8>>;

/// The pictures of the stages, by name.
pub const STEPS: [(&str, Picture); 9] = [
    ("reference", |made| encode_rgb(&made.reference.picture)),
    ("fit", fit),
    ("lines", |made| {
        encode_gray8(&made.lines.wall.map(|wall| if wall { 255 } else { 0 }))
    }),
    ("cells", |made| encode_gray16(&made.cells.map)),
    ("parts", parts),
    ("form", |made| encode_rgb(&form(made))),
    ("hues", hues),
    ("bands", bands),
    ("flat", flat),
];

/// Section id per pixel; 0 on drawn lines, outside and where the paper stays bare.
pub fn sections(made: &Made) -> Result<Vec<u8>> {
    let shown = per_section(&made.plan, 0, |s| if s.number == 0 { 0 } else { s.id });
    encode_gray16(&made.sections.map.map(|id| shown[usize::from(id)]))
}

/// A value per section id, `none` for 0.
fn per_section<T: Copy>(
    plan: &Plan,
    none: T,
    value: impl Fn(&crate::plan::Section) -> T,
) -> Vec<T> {
    std::iter::once(none)
        .chain(plan.sections.iter().map(value))
        .collect()
}

/// The drawing over the reference, which is paled where the drawing is outside.
fn fit(made: &Made) -> Result<Vec<u8>> {
    let mut picture = made.reference.picture.clone();
    let width = picture.width;
    for (i, p) in picture.data.iter_mut().enumerate() {
        if made.lines.wall.data[i] || made.lines.dots.data[i] {
            *p = FIT_LINE;
        } else if made.cells.outside.data[i] {
            *p = p.map(|v| 255 - (255 - v) / 3);
        } else if made.cells.map.data[i] == 0 && (i % width + i / width) % HATCH_PX < HATCH_PX / 4 {
            // Nothing is colored here, though the drawing encloses it.
            *p = FIT_BARE;
        }
    }
    for open in &made.plan.open_outlines {
        ring(&mut picture, open, made.plan.mm_per_px);
    }
    encode_rgb(&picture)
}

/// Marks a place where an outline is open: the stroke that is missing there, and a ring around it.
fn ring(picture: &mut Grid<[u8; 3]>, open: &OpenOutline, mm_per_px: f64) {
    let [from, to] = [open.from_mm, open.to_mm].map(|[x, y]| Point::new(x, y));
    let (middle, missing) = (from.midpoint(to), Line::new(from, to));
    let inner = RING_MM + open.width_mm / 2.0;
    let outer = inner + RING_LINE_MM;
    let px = |mm: f64, size: usize| ((mm / mm_per_px).max(0.0) as usize).min(size);
    let columns = px(middle.x - outer, picture.width)..px(middle.x + outer, picture.width);
    for y in px(middle.y - outer, picture.height)..px(middle.y + outer, picture.height) {
        for x in columns.clone() {
            let at = Point::new((x as f64 + 0.5) * mm_per_px, (y as f64 + 0.5) * mm_per_px);
            let near = missing.nearest(at, mm_per_px).distance_sq.sqrt();
            if (inner..outer).contains(&at.distance(middle)) || near < RING_LINE_MM / 2.0 {
                picture.data[y * picture.width + x] = FIT_BARE;
            }
        }
    }
}

fn colored(made: &Made, color: impl Fn(&crate::plan::Section) -> Srgb8) -> Result<Vec<u8>> {
    let colors = per_section(&made.plan, [255; 3], |s| color(s).0);
    let picture: Grid<[u8; 3]> = made.sections.map.map(|id| colors[usize::from(id)]);
    encode_rgb(&picture)
}

fn mean_color(bands: &[&crate::plan::Band]) -> Srgb8 {
    let area: f64 = bands.iter().map(|b| b.area_mm2).sum();
    let mean = |c: usize| {
        (bands
            .iter()
            .map(|b| f64::from(b.lab[c]) * b.area_mm2)
            .sum::<f64>()
            / area.max(f64::MIN_POSITIVE)) as f32
    };
    Srgb8::from_lab(crate::color::Lab::new(mean(0), mean(1), mean(2)))
}

/// Every region in the mean color of its form, so that it shows which cell belongs to which part.
fn parts(made: &Made) -> Result<Vec<u8>> {
    let parts = &made.parts;
    let mut means = vec![Mean::default(); parts.families.len() + 1];
    for (&family, &lab) in parts.family.data.iter().zip(&parts.form.data) {
        means[usize::from(family)].add(lab);
    }
    let color = |mean: &Mean| {
        mean.color()
            .map_or([255; 3], |mean| Srgb8::from_lab(mean).0)
    };
    let mut colors: Vec<[u8; 3]> = means.iter().map(color).collect();
    colors[0] = [255; 3];
    encode_rgb(&doubled(made, |i| {
        colors[usize::from(parts.family.data[i])]
    }))
}

/// The form of every part; white where nothing is colored.
fn form(made: &Made) -> Grid<[u8; 3]> {
    let parts = &made.parts;
    doubled(made, |i| match parts.map.data[i] {
        0 => [255; 3],
        _ => Srgb8::from_lab(parts.form.data[i]).0,
    })
}

/// A picture of the parts' half resolution in the working frame; `color` takes a pixel of the parts.
fn doubled(made: &Made, color: impl Fn(usize) -> [u8; 3]) -> Grid<[u8; 3]> {
    let (width, height) = (made.cells.map.width, made.cells.map.height);
    let across = made.parts.map.width;
    Grid {
        width,
        height,
        data: (0..width * height)
            .map(|i| color(i / width / 2 * across + i % width / 2))
            .collect(),
    }
}

/// Every section in the mean color of its hue group.
fn hues(made: &Made) -> Result<Vec<u8>> {
    let plan = &made.plan;
    colored(made, |s| {
        let group = plan.bands[s.band].group;
        mean_color(
            &plan
                .bands
                .iter()
                .filter(|b| b.group == group)
                .collect::<Vec<_>>(),
        )
    })
}

/// Every section in the mean color of its band.
fn bands(made: &Made) -> Result<Vec<u8>> {
    colored(made, |s| mean_color(&[&made.plan.bands[s.band]]))
}

/// Every section in its pen's color.
fn flat(made: &Made) -> Result<Vec<u8>> {
    let plan = &made.plan;
    colored(made, |s| {
        plan.numbers
            .iter()
            .find(|n| n.number == s.number)
            .map_or(plan.job.paper, |n| n.color)
    })
}
