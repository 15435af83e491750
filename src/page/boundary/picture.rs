//! Pictures for a canvas.

use penstrata::grid::Grid;
use wasm_bindgen::prelude::*;

/// A picture as a canvas takes it: red, green, blue and alpha, 8 bits each, sRGB, row by row.
#[wasm_bindgen]
pub struct Picture {
    pub width: usize,
    pub height: usize,
    /// Size of what it shows, in pixels of the upright photo.
    pub full_width: usize,
    pub full_height: usize,
    rgba: Vec<u8>,
}

#[wasm_bindgen]
impl Picture {
    /// The bytes; the picture is empty afterwards.
    pub fn take(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.rgba)
    }
}

impl Picture {
    pub(crate) fn of(grid: Grid<[u8; 4]>, full: (usize, usize)) -> Self {
        Self {
            width: grid.width,
            height: grid.height,
            full_width: full.0,
            full_height: full.1,
            rgba: grid.data.into_flattened(),
        }
    }
}
