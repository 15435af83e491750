//! The photo of the real thing: loading it, and laying it onto the art.

mod align;
mod load;
mod warp;

pub use align::{Placement, align};
pub use load::{LARGEST_MEGAPIXELS, Photo, refuse_if_too_large};
pub use warp::Warp;

use crate::color::{adapt_to_white, estimate_light};
use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::job::White;

/// The reference in the art's frame.
#[derive(Debug, Clone)]
pub struct Reference {
    /// sRGB in the art's frame; where the photo does not show the subject, the color of the subject's nearest pixel,
    /// so that a drawing a little larger than the cut-out photo gets no rim.
    pub picture: Grid<[u8; 3]>,
    /// True where the photo shows the subject: inside its frame and not transparent.
    pub subject: Grid<bool>,
}

/// Samples the photo once, by area averaging, into a frame of `width * height` pixels and takes out the color of the
/// light where asked.
///
/// # Errors
/// If the white point lies outside the photo, or is black.
pub fn sample(
    photo: &Photo,
    placement: &Placement,
    width: usize,
    height: usize,
    white: White,
) -> Result<Reference> {
    let [x0, y0, w, h] = placement.target;
    let patch = photo.resample(placement.crop, w, h);
    let mut picture = Grid::filled(width, height, [255; 3]);
    let mut subject = Grid::filled(width, height, false);
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
    if !subject.data.contains(&true) {
        return Err(Error::file(
            &photo.path,
            "is transparent all over",
            "Give a photo that shows something.",
        ));
    }
    picture.spread(&subject);
    let light = match white {
        White::None => None,
        White::Auto => {
            let seen: Vec<[u8; 3]> = (0..picture.data.len())
                .filter(|&i| subject.data[i])
                .map(|i| picture.data[i])
                .collect();
            estimate_light(&seen)
        }
        White::At(x, y) => Some(photo.light_at(x, y).ok_or_else(|| {
            let (w, h) = photo.upright_size();
            Error::file(
                &photo.path,
                format!(
                    "the white point {x},{y} is black or outside the photo of {w} x {h} pixels"
                ),
                "Give --white the column and row of a pixel that shows something white or gray.",
            )
        })?),
    };
    if let Some(light) = light {
        adapt_to_white(&mut picture.data, light);
    }
    Ok(Reference { picture, subject })
}
