//! Laying the photo onto the art: which part of the photo fills which part of the frame.

use crate::job::Align;

use super::Photo;

/// A part of the photo as stored (left, top, width, height in its pixels) and the part of the art's frame it is
/// stretched to (left, top, width, height in working pixels).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placement {
    pub crop: [usize; 4],
    pub target: [usize; 4],
}

impl Placement {
    /// How much wider (above 1) or higher (below 1) the photo becomes by being stretched.
    pub fn stretch(&self, photo: &Photo) -> f64 {
        let whole = self.crop == [0, 0, photo.width, photo.height];
        let (w, h) = if whole {
            photo.upright_size()
        } else {
            (self.crop[2], self.crop[3])
        };
        (self.target[2] as f64 / self.target[3] as f64) / (w as f64 / h as f64)
    }
}

/// Frame onto frame, or the subject's bounding box onto the drawing's (`drawing`: left, top, width, height in working
/// pixels). Without a choice the subject is used where the photo has transparency.
pub fn align(
    photo: &Photo,
    frame: (usize, usize),
    drawing: [usize; 4],
    choice: Option<Align>,
) -> Placement {
    let whole = Placement {
        crop: [0, 0, photo.width, photo.height],
        target: [0, 0, frame.0, frame.1],
    };
    match (choice, photo.subject_box()) {
        (None | Some(Align::Subject), Some(crop)) => Placement {
            crop,
            target: drawing,
        },
        _ => whole,
    }
}
