//! From a photo of a sheet to the colors of its pens.

use nalgebra::Vector2;

use crate::art::{Corners, perspective};
use crate::color::Srgb8;
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::pens::Pen;
use crate::reference::Photo;

use super::anchors::anchors;
use super::boxes::{Seen, read_box};
use super::camera::Camera;
use super::curve::decode;
use super::faults::Fault;
use super::layout::{CELL_MM, CELLS, Place, Places, names_check, names_on, read_strip};
use super::marks::find_marks;
use super::model::Sight;
use super::stacks::{Stack, bare, find_stack};
use super::value::{Known, Value};
use super::view::{PAPER_MM, View, ring};

/// Longer side of the picture that is measured, in pixels: 12 per millimeter of a sheet.
const PICTURE_PX: usize = 3600;
/// What a photo says of one pen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Index of the pen.
    pub pen: usize,
    /// One coat and two.
    pub coats: [Seen; 2],
}

impl Measured {
    /// Without what cannot be: a second coat lighter than the first, by more than both may be off. One that is lighter by
    /// less is as dark as the first.
    pub fn possible(mut self) -> Self {
        if let [Seen::Color(one), Seen::Color(two)] = self.coats {
            let [first, second] = [one, two].map(|v| v.color.lab().l);
            if second > first {
                let error = one.uncertainty.hypot(two.uncertainty);
                self.coats[1] = if second - first > error {
                    Seen::Fault(Fault::LighterThanOneCoat)
                } else {
                    Seen::Color(Value {
                        color: one.color,
                        ..two
                    })
                };
            }
        }
        self
    }
}

/// What a photo of a sheet says.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Number of the sheet, from 0.
    pub sheet: usize,
    pub pens: Vec<Measured>,
}

/// Reads one photo of one sheet. `paper` is the color of the bare paper; what is `known` of the pens, in their order, tells
/// of the camera where it is certain.
///
/// # Errors
/// If the marks are not found, or the sheet was printed for other pens.
pub fn read_swatches(
    photo: &Photo,
    pens: &[Pen],
    known: &[Known],
    paper: Srgb8,
) -> Result<Reading> {
    let marks = find_marks(photo)?;
    let picture = photo.thumbnail(PICTURE_PX);
    let scale = picture.width as f64 / photo.upright_size().0 as f64;
    // Which way is up, and which page: the only way the strip makes sense.
    for turn in 0..4 {
        let corners = [0, 1, 2, 3].map(|i| marks[(i + turn) % 4]);
        for page in [crate::job::PageSize::A4, crate::job::PageSize::Letter] {
            let places = Places { page };
            let Some(place) = on_sheet(photo, places, &corners, scale) else {
                continue;
            };
            let view = View {
                picture: &picture,
                place: &place,
            };
            let Some(printed) = read_strip(read_cells(&view, places)).filter(|p| p.page == page)
            else {
                continue;
            };
            let names = names_on(places, pens, printed.number);
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
            let first = printed.number * places.capacity();
            let here = |k: usize| known.get(first + k).copied().unwrap_or_default();
            let known: Vec<Known> = (0..names.len()).map(here).collect();
            return Ok(Reading {
                sheet: printed.number,
                pens: read_boxes(&view, places, paper, &known, first),
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
    places: Places,
    corners: &Corners,
    scale: f64,
) -> Option<impl Fn([f64; 2]) -> [f64; 2] + Sync + use<>> {
    let [[x0, y0], _, [x1, y1], _] = places.marks();
    let inner = perspective(photo, corners, x1 - x0, y1 - y0).ok()?;
    Some(move |[x, y]: [f64; 2]| inner([x - x0, y - y0]).map(|v| v * scale))
}

/// Which cells of the strip are black, each against the paper beside it.
fn read_cells(view: &View, places: Places) -> [bool; CELLS] {
    let light = |x: f64, y: f64| view.at([x, y]).map(decode).iter().sum::<f64>();
    places.cells().map(|[x, y]| {
        let middle = CELL_MM / 2.0;
        let inside = light(x + middle, y + middle);
        let beside = light(x + middle, y - 2.0).max(light(x + middle, y + CELL_MM + 2.0));
        inside < 0.5 * beside
    })
}

/// All boxes of a sheet whose first pen has index `first`; one entry of `known` for each pen on it.
fn read_boxes(
    view: &View,
    places: Places,
    paper: Srgb8,
    known: &[Known],
    first: usize,
) -> Vec<Measured> {
    let stacks: Vec<Option<Stack>> = places
        .stacks()
        .iter()
        .map(|&s| find_stack(view, s))
        .collect();
    // Where the stacks beside a box are, the box is; blurred ones say that it is, too.
    let beside = |k: usize, b: usize| {
        let near: Vec<&Stack> = places
            .beside(k, b)
            .iter()
            .filter_map(|&s| stacks[s].as_ref())
            .collect();
        let sum: Vector2<f64> = near.iter().map(|s| s.shift).sum();
        let shift = sum / near.len().max(1) as f64;
        let [x, y, w, h] = places.entry(k).boxes[b];
        (
            [x + shift.x, y + shift.y, w, h],
            near.iter().any(|s| s.blurred),
        )
    };
    let boxes: Vec<[(Place, bool); 2]> = (0..known.len())
        .map(|k| [beside(k, 0), beside(k, 1)])
        .collect();
    let mut sights: Vec<Sight> = stacks
        .iter()
        .flatten()
        .flat_map(|s| s.sights.clone())
        .collect();
    for (place, _) in boxes.iter().flatten() {
        let around = view.means(&ring(*place, PAPER_MM));
        sights.extend(around.into_iter().flat_map(|s| bare(s.at, s.code)));
    }
    let sharp = boxes.iter().flatten().zip(known.iter().flatten());
    let certain = sharp
        .filter(|((_, blurred), _)| !blurred)
        .filter_map(|((place, _), known)| Some((*place, (*known)?)));
    sights.extend(anchors(view, certain, paper));
    let camera = Camera::fit(&sights, places.page.size_mm().into());
    let seen = |(place, blurred): (Place, bool)| {
        let seen = read_box(view, place, &camera, paper);
        // In too little light nobody can tell what is sharp.
        if blurred && seen != Seen::Fault(Fault::TooDark) {
            Seen::Fault(Fault::Blur)
        } else {
            seen
        }
    };
    boxes
        .into_iter()
        .enumerate()
        .map(|(k, coats)| {
            Measured {
                pen: first + k,
                coats: coats.map(seen),
            }
            .possible()
        })
        .collect()
}

/// The whole picture in pixels of its own, for what has no sheet.
pub(super) fn own_picture(photo: &Photo) -> (Grid<[u8; 4]>, f64) {
    let picture = photo.thumbnail(PICTURE_PX);
    let scale = picture.width as f64 / photo.upright_size().0 as f64;
    (picture, scale)
}
