//! From a photo of a sheet to the colors of its pens.

use nalgebra::Vector2;
use palette::{FromColor, LinSrgb, Srgb};

use crate::art::{Corners, perspective};
use crate::color::{Lab, Srgb8, difference};
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::pens::Pen;
use crate::reference::Photo;

use super::camera::{Camera, Curve, PRINTER_DOUBT, Stack, decode, encode};
use super::faults::Fault;
use super::layout::{
    CELL_MM, CELLS, Place, STEP_MM, STEPS, Sheet, names_check, names_on, read_strip,
};
use super::marks::find_marks;
use super::view::{Code, PAPER_MM, Paper, Sample, View, middle_mean};

/// Longer side of the picture that is measured, in pixels: 12 per millimeter of a sheet.
const PICTURE_PX: usize = 3600;
/// A value whose uncertainty is above this, in CIEDE2000, is marked uncertain.
pub const LIMIT: f32 = 4.0;
/// Above this, in CIEDE2000, it is no value.
const NO_VALUE: f32 = 6.0;
/// A box that differs from the paper by less than this, in CIEDE2000, was left empty; from memory.
const EMPTY: f32 = 1.6;
/// What no photo tells, in CIEDE2000, one standard deviation: grain of the paper, streaks.
const FLOOR: f32 = 0.35;
/// Part of a box that is measured: its middle, clear of wobbly edges.
const MIDDLE: f64 = 0.6;
/// A box should be colored this far from its edges, in millimeters.
const FILLED_MM: f64 = 1.6;
/// Paper may lie curled: places are looked for this far around where the marks say, in millimeters.
const CURL_MM: f64 = 2.6;
/// The paper beside a stack of gray steps, in millimeters from it.
const BESIDE_MM: [f64; 2] = [0.6, 1.5];
/// How much a stack must look like one (normalized correlation).
const ALIKE: f64 = 0.9;
/// Code values above this are cut off by the file, below it by noise.
const BRIGHTEST: f64 = 0.988;
const DARKEST: f64 = 0.06;
/// A step from gray to paper that takes longer than this, in millimeters (from a tenth of it to nine tenths), mixes a
/// box with the paper that is measured around it; from memory.
const BLUR_MM: f64 = 1.3;
/// Glare above this part of the light is not calculated away; from memory.
const GLARE: f64 = 0.12;
/// Glare above this part of the light is named as the reason of an uncertain value.
const SOME_GLARE: f64 = 0.02;
/// Parts of the paper around a box, and of a box, that may be otherwise; from memory.
const PAPER_OFF: f64 = 0.18;
const BARE: f64 = 0.08;

/// A measured color.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    pub color: Srgb8,
    /// The true color is nearer than this in 19 of 20 cases, in CIEDE2000.
    pub uncertainty: f32,
}

/// What a photo says of a box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seen {
    Empty,
    Color(Value),
    Fault(Fault),
}

/// What a photo says of one pen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Index of the pen.
    pub pen: usize,
    /// One coat and two.
    pub coats: [Seen; 2],
}

/// What a photo of a sheet says.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Number of the sheet, from 0.
    pub sheet: usize,
    pub pens: Vec<Measured>,
}

/// Reads one photo of one sheet. `paper` is the color of the bare paper.
///
/// # Errors
/// If the marks are not found, or the sheet was printed for other pens.
pub fn read_swatches(photo: &Photo, pens: &[Pen], paper: Srgb8) -> Result<Reading> {
    let marks = find_marks(photo)?;
    let picture = photo.thumbnail(PICTURE_PX);
    let scale = picture.width as f64 / photo.upright_size().0 as f64;
    // Which way is up, and which page: the only way the strip makes sense.
    for turn in 0..4 {
        let corners = [0, 1, 2, 3].map(|i| marks[(i + turn) % 4]);
        for page in [crate::job::Page::A4, crate::job::Page::Letter] {
            let sheet = Sheet { page };
            let Some(place) = on_sheet(photo, sheet, &corners, scale) else {
                continue;
            };
            let view = View {
                picture: &picture,
                place: &place,
            };
            let Some(printed) = read_strip(read_cells(&view, sheet)).filter(|p| p.page == page)
            else {
                continue;
            };
            let names = names_on(sheet, pens, printed.number);
            let refused = |what: String, next: &str| Err(Error::file(&photo.path, what, next));
            if printed.old {
                return refused(
                    format!(
                        "sheet {} was printed by an earlier version, without gray steps",
                        printed.number + 1
                    ),
                    "Print the sheets anew.",
                );
            }
            if names.is_empty() || names_check(&names) != printed.check {
                return refused(
                    format!(
                        "sheet {} was printed for other pens than these",
                        printed.number + 1
                    ),
                    "Use the pens file the sheet was printed from, with the same names in the same order, or print a new sheet.",
                );
            }
            return Ok(Reading {
                sheet: printed.number,
                pens: read_boxes(
                    &view,
                    sheet,
                    paper,
                    names.len(),
                    printed.number * sheet.capacity(),
                ),
            });
        }
    }
    Err(Error::file(
        &photo.path,
        "the strip of cells at the top of the sheet cannot be read",
        "Photograph the whole sheet, sharp, with all four round marks in the picture.",
    ))
}

/// From the sheet (millimeters) to the picture (pixels), by the four marks.
fn on_sheet(
    photo: &Photo,
    sheet: Sheet,
    corners: &Corners,
    scale: f64,
) -> Option<impl Fn([f64; 2]) -> [f64; 2] + Sync + use<>> {
    let [[x0, y0], _, [x1, y1], _] = sheet.marks();
    let inner = perspective(photo, corners, x1 - x0, y1 - y0).ok()?;
    Some(move |[x, y]: [f64; 2]| inner([x - x0, y - y0]).map(|v| v * scale))
}

/// Which cells of the strip are black, each against the paper beside it.
fn read_cells(view: &View, sheet: Sheet) -> [bool; CELLS] {
    let light = |x: f64, y: f64| view.at([x, y]).map(decode).iter().sum::<f64>();
    sheet.cells().map(|[x, y]| {
        let middle = CELL_MM / 2.0;
        let inside = light(x + middle, y + middle);
        let beside = light(x + middle, y - 2.0).max(light(x + middle, y + CELL_MM + 2.0));
        inside < 0.5 * beside
    })
}

/// All boxes of a sheet whose first pen has index `first`.
fn read_boxes(
    view: &View,
    sheet: Sheet,
    paper: Srgb8,
    count: usize,
    first: usize,
) -> Vec<Measured> {
    let stacks: Vec<Option<Found>> = sheet
        .stacks()
        .iter()
        .map(|&s| find_stack(view, s))
        .collect();
    let camera = Camera::fit(
        &stacks
            .iter()
            .map(|s| s.as_ref().filter(|s| s.usable).map(|s| s.stack))
            .collect::<Vec<_>>(),
    );
    (0..count)
        .map(|k| {
            let boxes = sheet.entry(k).boxes;
            let mut coats = [0, 1].map(|b| {
                let beside = sheet.beside(k, b);
                let near = beside.map(|s| stacks[s].as_ref());
                let shift = near
                    .into_iter()
                    .flatten()
                    .map(|s| s.shift)
                    .fold((0.0, Vector2::zeros()), |(n, sum), s| (n + 1.0, sum + s));
                let shift = shift.1 / f64::max(shift.0, 1.0);
                let [x, y, w, h] = boxes[b];
                let place = [x + shift.x, y + shift.y, w, h];
                if near.into_iter().flatten().any(|s| s.blur > BLUR_MM) {
                    return Seen::Fault(Fault::Blur);
                }
                read_box(view, place, &camera, Some(beside), paper)
            });
            if let [Seen::Color(one), Seen::Color(two)] = coats {
                let lighter = two.color.lab().l - one.color.lab().l;
                if lighter > one.uncertainty.hypot(two.uncertainty) {
                    coats[1] = Seen::Fault(Fault::LighterThanOneCoat);
                }
            }
            Measured {
                pen: first + k,
                coats,
            }
        })
        .collect()
}

/// A stack of gray steps in the picture.
struct Found {
    /// From where the marks say it is, in millimeters.
    shift: Vector2<f64>,
    stack: Stack,
    /// How long a step from gray to paper takes, in millimeters.
    blur: f64,
    /// Neither cut off nor blurred.
    usable: bool,
}

/// Looks for a stack around where it should be; `None` if nothing there looks like one.
fn find_stack(view: &View, place: Place) -> Option<Found> {
    const STEP: f64 = 0.2;
    let [x, y, w, h] = place;
    let light = |at: [f64; 2]| view.at(at).iter().sum::<f64>();
    // What is expected where: the steps, and paper to all sides.
    let mut pattern: Vec<([f64; 2], f64)> = Vec::new();
    for row in -4i32..(STEPS.len() as i32 * 4 + 4) {
        for column in -2i32..6 {
            let at = [
                x + (f64::from(column) + 0.5) / 4.0 * w,
                y + (f64::from(row) + 0.5) / 4.0 * STEP_MM[1],
            ];
            let inside = (0..4).contains(&column);
            let step = STEPS
                .get((row.div_euclid(4)) as usize)
                .filter(|_| inside && row >= 0);
            pattern.push((at, step.map_or(1.0, |&s| f64::from(s) / 255.0)));
        }
    }
    let n = pattern.len() as f64;
    let mean = pattern.iter().map(|p| p.1).sum::<f64>() / n;
    let spread = pattern.iter().map(|p| (p.1 - mean).powi(2)).sum::<f64>();
    let alike = |dx: f64, dy: f64| {
        let (mut sum, mut square, mut with) = (0.0, 0.0, 0.0);
        for &([u, v], expected) in &pattern {
            let seen = light([u + dx, v + dy]);
            sum += seen;
            square += seen * seen;
            with += seen * (expected - mean);
        }
        let seen = square - sum * sum / n;
        with / (seen * spread).sqrt().max(1e-9)
    };
    let mut best = (f64::NEG_INFINITY, 0.0, 0.0);
    let coarse = (CURL_MM / (3.0 * STEP)) as i32;
    for j in -coarse..=coarse {
        for i in -coarse..=coarse {
            let (dx, dy) = (f64::from(i) * 3.0 * STEP, f64::from(j) * 3.0 * STEP);
            let score = alike(dx, dy);
            if score > best.0 {
                best = (score, dx, dy);
            }
        }
    }
    let (_, cx, cy) = best;
    for j in -3..=3 {
        for i in -3..=3 {
            let (dx, dy) = (cx + f64::from(i) * STEP, cy + f64::from(j) * STEP);
            let score = alike(dx, dy);
            if score > best.0 {
                best = (score, dx, dy);
            }
        }
    }
    let (score, dx, dy) = best;
    if score < ALIKE {
        return None;
    }
    let shifted = [x + dx, y + dy, w, h];
    let paper = Paper::fit(&view.around(shifted, BESIDE_MM));
    let step_at = |j: usize| y + dy + j as f64 * STEP_MM[1];
    let middle = |j: usize| [x + dx + w / 2.0, step_at(j) + STEP_MM[1] / 2.0];
    let stack = Stack {
        seen: std::array::from_fn(|j| {
            let inner = [
                x + dx + w / 4.0,
                step_at(j) + STEP_MM[1] / 4.0,
                w / 2.0,
                STEP_MM[1] / 2.0,
            ];
            middle_mean(&view.over(inner))
        }),
        paper: std::array::from_fn(|j| paper.at(middle(j))),
    };
    let blur = rise(view, [x + dx + w / 2.0, step_at(0) + STEP_MM[1] / 2.0]);
    let bright = stack.paper.iter().flatten().any(|&v| v > BRIGHTEST);
    Some(Found {
        shift: Vector2::new(dx, dy),
        stack,
        blur,
        usable: !bright && blur <= BLUR_MM && paper.off < 0.4,
    })
}

/// How long the step from the middle of a dark field to paper takes, in millimeters: from a tenth of it to nine tenths,
/// the shorter of left and right.
fn rise(view: &View, [x, y]: [f64; 2]) -> f64 {
    const STEP: f64 = 0.05;
    let side = |sign: f64| {
        let profile: Vec<f64> = (0..=60)
            .map(|i| {
                (-2..=2)
                    .map(|k| {
                        let at = [x + sign * STEP * f64::from(i), y + 0.3 * f64::from(k)];
                        view.at(at)[1]
                    })
                    .sum()
            })
            .collect();
        let low = profile.iter().copied().fold(f64::INFINITY, f64::min);
        let high = profile[profile.len() * 3 / 4..]
            .iter()
            .copied()
            .fold(0.0, f64::max);
        let first = |part: f64| {
            profile
                .iter()
                .position(|&v| v > low + part * (high - low))
                .unwrap_or(0) as f64
        };
        (first(0.9) - first(0.1)) * STEP
    };
    side(-1.0).min(side(1.0))
}

/// The color of a box; `beside` are the stacks next to it.
fn read_box(
    view: &View,
    place: Place,
    camera: &Camera,
    beside: Option<[usize; 2]>,
    paper: Srgb8,
) -> Seen {
    let [x, y, w, h] = place;
    let white = Paper::fit(&view.around(place, PAPER_MM));
    let middle = [x + w / 2.0, y + h / 2.0];
    let bright = white.at(middle);
    if bright.iter().any(|&v| v > BRIGHTEST) {
        return Seen::Fault(Fault::TooBright);
    }
    if bright.iter().any(|&v| v < DARKEST) {
        return Seen::Fault(Fault::TooDark);
    }
    let inset = (1.0 - MIDDLE) / 2.0;
    let ink = view.over([x + inset * w, y + inset * h, MIDDLE * w, MIDDLE * h]);
    let (veil, doubt) = beside.map_or((0.0, 0.0), |b| veil_at(camera, b, bright));
    let ratio = Ratio {
        camera,
        veil,
        doubt,
        paper,
    };
    let value = ratio.value(&ink, &white);
    if difference(value.color.lab(), paper.lab()) < EMPTY {
        let untold = value.uncertainty > EMPTY && veil > GLARE;
        return if untold {
            Seen::Fault(Fault::Glare)
        } else {
            Seen::Empty
        };
    }
    if white.off > PAPER_OFF {
        return Seen::Fault(off_paper(&white));
    }
    let filled = view.over([
        x + FILLED_MM,
        y + FILLED_MM,
        w - 2.0 * FILLED_MM,
        h - 2.0 * FILLED_MM,
    ]);
    if bare_part(&filled, &white) > BARE {
        return Seen::Fault(Fault::HalfColored);
    }
    if veil > GLARE {
        return Seen::Fault(Fault::Glare);
    }
    if value.uncertainty > NO_VALUE || (value.uncertainty > LIMIT && veil > SOME_GLARE) {
        return Seen::Fault(if veil > SOME_GLARE {
            Fault::Glare
        } else {
            Fault::TooUncertain
        });
    }
    if value.color.lab().l > paper.lab().l + value.uncertainty {
        return Seen::Fault(Fault::LighterThanPaper);
    }
    Seen::Color(value)
}

/// What is off the paper around a box: gray where a shadow ends, colored where ink strayed.
fn off_paper(white: &Paper) -> Fault {
    let [r, g, b] = white.off_color;
    let (low, high) = (r.min(g).min(b), r.max(g).max(b));
    if high - low < 0.08 && low > 0.3 {
        if low > 1.0 {
            Fault::Glare
        } else {
            Fault::ShadowEdge
        }
    } else {
        Fault::StrayInk
    }
}

/// Part of a box that looks more like the paper than like its ink.
fn bare_part(filled: &[Sample], white: &Paper) -> f64 {
    let apart: Vec<f64> = filled
        .iter()
        .map(|s| {
            let p = white.at(s.at);
            (0..3)
                .map(|c| (s.code[c] - p[c]).powi(2))
                .sum::<f64>()
                .sqrt()
        })
        .collect();
    let mut sorted = apart.clone();
    sorted.sort_by(f64::total_cmp);
    let ink = sorted[sorted.len() * 3 / 4];
    // Of a color as light as noise there is nothing to tell.
    if ink < 0.06 {
        return 0.0;
    }
    apart.iter().filter(|&&d| d < ink / 3.0).count() as f64 / apart.len() as f64
}

/// Glare on a box whose paper is this bright, and its standard deviation, as parts of the light.
///
/// Told twice: from the steps on both sides, and by how much brighter its paper is than the light between the two
/// sides; the light itself changes slowly.
fn veil_at(camera: &Camera, beside: [usize; 2], bright: Code) -> (f64, f64) {
    let sides: Vec<(f64, [f64; 3])> = beside
        .into_iter()
        .filter_map(|s| Some((camera.veil[s]?, camera.light[s]?)))
        .collect();
    if sides.is_empty() {
        // Nothing tells it: as much as a spot is apart from none.
        return (0.0, 0.05);
    }
    let n = sides.len() as f64;
    let between = sides.iter().map(|s| s.0).sum::<f64>() / n;
    let seen = camera.curve.lights(bright);
    let excess = (0..3)
        .map(|c| {
            let light = sides.iter().map(|s| s.1[c].max(1e-4).ln()).sum::<f64>() / n;
            seen[c] / light.exp() - 1.0
        })
        .sum::<f64>()
        / 3.0;
    let gap = (excess - between).abs();
    // The light between two stacks is not quite the mean of theirs.
    const UNEVEN: f64 = 0.02;
    let veil = if gap < UNEVEN {
        between
    } else {
        (between + excess) / 2.0
    };
    let doubt = 0.001 + 0.1 * veil.abs() + 0.5 * (gap - UNEVEN).max(0.0);
    (veil.max(0.0), doubt)
}

/// What it takes to tell a color from ink and the paper around it.
struct Ratio<'a> {
    camera: &'a Camera,
    veil: f64,
    /// Standard deviation of the veil.
    doubt: f64,
    paper: Srgb8,
}

impl Ratio<'_> {
    /// The color of ink on paper.
    fn value(&self, ink: &[Sample], white: &Paper) -> Value {
        let code = middle_mean(ink);
        let middle = [0, 1].map(|c| ink.iter().map(|s| s.at[c]).sum::<f64>() / ink.len() as f64);
        let bright = white.at(middle);
        let plain = |code: Code, bright: Code, params: &[f64; 4], veil: f64| {
            let curve = Curve(*params);
            let (dark, light) = (curve.lights(code), curve.lights(bright));
            std::array::from_fn::<f64, 3, _>(|c| {
                (dark[c] / light[c].max(1e-4) * (1.0 + veil) - veil).clamp(0.0, 1.1)
            })
        };
        let params = self.camera.curve.0;
        let part = plain(code, bright, &params, self.veil);
        let lab = self.lab(part);
        let apart = |other: [f64; 3]| difference(lab, self.lab(other)).powi(2);
        // The curve, along what is not known of it; the printer's grays; the veil; noise per channel; patches of the box against each other.
        let mut square = FLOOR.powi(2);
        for column in self.camera.doubt {
            let near = std::array::from_fn(|i| params[i] + column[i]);
            square += apart(plain(code, bright, &near, self.veil));
        }
        square += apart(plain(code, bright, &params, self.veil + self.doubt));
        square += apart(part.map(|v| {
            let code = encode(v);
            decode(code + PRINTER_DOUBT * 4.0 * code * (1.0 - code))
        }));
        for c in 0..3 {
            let mut near = part;
            near[c] = decode(encode(near[c]) + self.camera.noise.max(0.003));
            square += apart(near);
        }
        const PATCHES: usize = 6;
        let chunk = ink.len().div_ceil(PATCHES).max(1);
        let patches: Vec<f32> = ink
            .chunks(chunk)
            .map(|patch| {
                let at =
                    [0, 1].map(|c| patch.iter().map(|s| s.at[c]).sum::<f64>() / patch.len() as f64);
                apart(plain(middle_mean(patch), white.at(at), &params, self.veil))
            })
            .collect();
        square += patches.iter().sum::<f32>() / patches.len() as f32 / 4.0;
        Value {
            color: self.color(part),
            // Two standard deviations.
            uncertainty: 2.0 * square.sqrt(),
        }
    }

    fn linear(&self, part: [f64; 3]) -> LinSrgb<f32> {
        let own = self.paper.0.map(|v| decode(f64::from(v) / 255.0));
        let [r, g, b] = [0, 1, 2].map(|c| (part[c] * own[c]) as f32);
        LinSrgb::new(r, g, b)
    }

    fn lab(&self, part: [f64; 3]) -> Lab {
        Lab::from_color(self.linear(part))
    }

    fn color(&self, part: [f64; 3]) -> Srgb8 {
        let rgb: Srgb<u8> = Srgb::from_linear(self.linear(part));
        Srgb8::new(rgb.red, rgb.green, rgb.blue)
    }
}

/// The color of `ink` against the paper of `white` by a camera of which nothing is known.
pub(super) fn against(ink: &[Sample], white: &Paper, paper: Srgb8) -> Value {
    Ratio {
        camera: &Camera::unknown(),
        veil: 0.0,
        // A phone over a table mirrors a little of the room; from memory.
        doubt: 0.01,
        paper,
    }
    .value(ink, white)
}

/// The whole picture in pixels of its own, for what has no sheet.
pub(super) fn own_picture(photo: &Photo) -> (Grid<[u8; 4]>, f64) {
    let picture = photo.thumbnail(PICTURE_PX);
    let scale = picture.width as f64 / photo.upright_size().0 as f64;
    (picture, scale)
}
