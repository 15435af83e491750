//! The working frame: how much of the panel a plan covers, and how finely it looks.

/// 10 pixels per millimeter show what a hand can trace.
pub const MM_PER_PX: f64 = 0.1;

/// The pixels of one panel, from its top left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Width and height of the art on the panel, in millimeters.
    pub size_mm: [f64; 2],
    /// The same in pixels, at least 1.
    pub width: usize,
    pub height: usize,
    pub mm_per_px: f64,
}

impl Frame {
    /// The frame of art of this width and height, in millimeters.
    pub fn of(size_mm: [f64; 2]) -> Self {
        let [width, height] = size_mm.map(|mm| ((mm / MM_PER_PX).round() as usize).max(1));
        Self {
            size_mm,
            width,
            height,
            mm_per_px: MM_PER_PX,
        }
    }

    /// Millimeters per pixel of the label field, which works at half the resolution.
    pub fn field_mm_per_px(&self) -> f64 {
        2.0 * self.mm_per_px
    }
}
