//! The photo of the real thing: loading it, and laying it onto the art.

mod align;
mod edges;
mod heic;
mod jpeg;
mod lines;
mod load;
mod mincut;
mod outline;
mod points;
mod shape;
mod subject;
mod warp;

pub use align::{Alignment, Found, Lay, Placement, Target, align};
pub(crate) use load::refuse_if_too_large;
pub use load::{LARGEST_MEGAPIXELS, Photo};
pub use outline::{Similarity, warp_onto};
pub(crate) use points::read_matches;
pub use points::{PointMap, Spline};
pub use shape::{Silhouette, fill_holes};
pub use subject::{Subject, find_subject};
pub use warp::Warp;

use palette::LinSrgb;
use rayon::prelude::*;

use crate::color::{adapt_to_white, brighten_to_paper, estimate_light};
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::job::White;

/// Width of the rim of a found subject that is mixed with the background, in pixels of the picture it was found in.
const RIM_PX: f64 = 0.7;

/// The reference in the art's frame.
#[derive(Debug, Clone)]
pub struct Reference {
    /// sRGB in the art's frame; where the photo does not show the subject, the color of the subject's nearest pixel,
    /// so that a drawing a little larger than the cut-out photo gets no rim.
    pub picture: Grid<[u8; 3]>,
    /// True where the photo shows the subject: inside its frame and not transparent.
    pub subject: Grid<bool>,
    /// How likely that is the thing itself and not what is around it, of 255; 255 where they cannot be told apart.
    pub evidence: Grid<u8>,
    /// True where the photo shows what lies around the drawn things; nowhere where that is not known.
    pub around: Grid<bool>,
}

/// From here on what the photo shows counts as the thing itself, of 255: in the cells that a drawing closes a fifth may
/// be background, and a color that is shown more than 2.5 times as often around as in them then most likely is. From
/// memory.
pub const EVIDENT: u8 = 73;
/// A cell less than this part of which shows the thing itself has no evidence; from memory.
pub const LEAST_SEEN: f64 = 0.3;

/// Samples the photo once, by area averaging, into a frame of `width * height` pixels, takes out the color of the light
/// where asked, and makes its white that of the paper, unless it is to be taken as it is.
///
/// # Errors
/// If the white point lies outside the photo, or is black, or if the photo shows nothing in the frame.
pub fn sample(
    photo: &Photo,
    alignment: &Alignment,
    width: usize,
    height: usize,
    white: White,
) -> Result<Reference> {
    let lay = &alignment.lay;
    let mut picture = Grid::filled(width, height, [255; 3]);
    let mut subject = Grid::filled(width, height, false);
    let ([x0, y0, w, h], patch) = match lay {
        Lay::Stretched(placement) => {
            let [_, _, w, h] = placement.target;
            (placement.target, photo.resample(placement.crop, w, h))
        }
        Lay::Warped(warp, _) => ([0, 0, width, height], warp.sample(photo, width, height)),
    };
    for y in 0..h.min(height.saturating_sub(y0)) {
        for x in 0..w.min(width.saturating_sub(x0)) {
            let [r, g, b, alpha] = patch.at(x, y);
            let i = (y0 + y) * width + x0 + x;
            // Half covered or more counts as the subject.
            if alpha >= 128 {
                picture.data[i] = [r, g, b];
                subject.data[i] = true;
            }
        }
    }
    if let Lay::Warped(warp, Some(found)) = lay {
        leave_out_the_rim(&mut subject, warp, found);
    }
    if !subject.data.contains(&true) {
        return Err(Error::file(
            &photo.path,
            "shows nothing where the drawing is",
            "Give a photo that is not transparent all over, and check how it lies (--align, matching points).",
        ));
    }
    picture.spread(&subject);
    let light = light_of(photo, &picture, &subject, white)?;
    if let Some(light) = light {
        adapt_to_white(&mut picture.data, light);
    }
    if matches!(white, White::Paper | White::Auto) {
        // All that the photo shows tells, also what lies around the drawing: often it is paper.
        let opaque = photo.small.data.iter().filter(|p| p[3] >= 128);
        let mut shown: Vec<[u8; 3]> = opaque.map(|&[r, g, b, _]| [r, g, b]).collect();
        if let Some(light) = light {
            adapt_to_white(&mut shown, light);
        }
        brighten_to_paper(&mut picture.data, &shown);
    }
    let evidence = match (&alignment.subject, lay) {
        // What does not stand out has been left out already.
        (None, _) | (_, Lay::Warped(_, Some(_))) => subject.map(|s| u8::from(s) * u8::MAX),
        (Some(found), _) => evidence(photo, lay, found, &subject),
    };
    Ok(Reference {
        around: subject.map(|_| false),
        picture,
        subject,
        evidence,
    })
}

/// The outermost pixel of the subject is mixed with the background.
fn leave_out_the_rim(subject: &mut Grid<bool>, warp: &Warp, found: &Subject) {
    let least = RIM_PX * found.scale;
    let width = subject.width;
    let rows = subject.data.par_chunks_mut(width).enumerate();
    rows.for_each(|(y, row)| {
        let at = warp.row(y);
        for (x, is_subject) in row.iter_mut().enumerate() {
            *is_subject = *is_subject && found.depth_at(at(x)) > least;
        }
    });
}

/// The color of the light on the subject, where it is to be taken out and can be told.
fn light_of(
    photo: &Photo,
    picture: &Grid<[u8; 3]>,
    subject: &Grid<bool>,
    white: White,
) -> Result<Option<LinSrgb<f32>>> {
    let (x, y) = match white {
        White::Paper | White::None => return Ok(None),
        White::Auto => {
            let seen: Vec<[u8; 3]> = (0..picture.data.len())
                .filter(|&i| subject.data[i])
                .map(|i| picture.data[i])
                .collect();
            return Ok(estimate_light(&seen));
        }
        White::At(x, y) => (x, y),
    };
    let light = photo.light_at(x, y).ok_or_else(|| {
        let (w, h) = photo.upright_size();
        Error::file(
            &photo.path,
            format!("the white point {x},{y} is black or outside the photo of {w} x {h} pixels"),
            "Give --white the column and row of a pixel that shows something white or gray.",
        )
    })?;
    Ok(Some(light))
}

/// Where the frame shows what stands out in the photo.
fn evidence(photo: &Photo, lay: &Lay, found: &Subject, subject: &Grid<bool>) -> Grid<u8> {
    let (w, h) = photo.upright_size();
    let to_photo = |[x, y]: [f64; 2]| match lay {
        Lay::Warped(warp, _) => warp.at([x, y]),
        Lay::Stretched(placement) => {
            let [left, top, across, down] = placement.target.map(|v| v as f64);
            [(x - left) / across * w as f64, (y - top) / down * h as f64]
        }
    };
    let mut evidence = subject.map(|s| u8::from(s) * u8::MAX);
    let rows = evidence.data.par_chunks_mut(subject.width).enumerate();
    rows.for_each(|(y, row)| {
        for (x, evidence) in row.iter_mut().enumerate() {
            let at = [x, y].map(|v| v as f64 + 0.5);
            *evidence *= u8::from(found.is_at(to_photo(at)));
        }
    });
    evidence
}
