//! A rectangular field of values, row by row from the top left: the one picture type of the pipeline.

mod blur;
mod distance;
mod pieces;
mod sample;
mod thin;
mod window;

pub use blur::Blur;
pub use distance::{rim, squared_distance, squared_distance_to_rim, within};
pub(crate) use sample::{blocks, halves};
pub use thin::{along, thinned, ways_at};
pub(crate) use window::{Window, bounds_of, largest_first};

use std::collections::VecDeque;

use image::{ImageBuffer, Luma, Primitive};

/// `width * height` values; the value of column `x`, row `y` is `data[y * width + x]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid<T> {
    pub width: usize,
    pub height: usize,
    pub data: Vec<T>,
}

impl<T: Copy> Grid<T> {
    pub fn filled(width: usize, height: usize, value: T) -> Self {
        Self {
            width,
            height,
            data: vec![value; width * height],
        }
    }

    #[inline]
    pub fn at(&self, x: usize, y: usize) -> T {
        self.data[y * self.width + x]
    }

    pub fn map<U>(&self, f: impl Fn(T) -> U) -> Grid<U> {
        Grid {
            width: self.width,
            height: self.height,
            data: self.data.iter().map(|&v| f(v)).collect(),
        }
    }

    /// The indices of the up to four pixels that share an edge with pixel `i`.
    #[inline]
    pub fn neighbors(&self, i: usize) -> impl Iterator<Item = usize> + use<T> {
        let (w, n) = (self.width, self.data.len());
        let x = i % w;
        [
            (i >= w).then(|| i - w),
            (x > 0).then(|| i - 1),
            (x + 1 < w).then(|| i + 1),
            (i + w < n).then(|| i + w),
        ]
        .into_iter()
        .flatten()
    }
}

impl<T: Copy> Grid<T> {
    /// Spreads the values of the `known` pixels over all others, nearest first.
    pub fn spread(&mut self, known: &Grid<bool>) {
        let mut known = known.data.clone();
        let mut queue = VecDeque::new();
        let (w, n) = (self.width, known.len());
        for (x, i) in (0..n)
            .step_by(w.max(1))
            .flat_map(|row| (0..w).map(move |x| (x, row + x)))
        {
            let is_rim = i >= w && !known[i - w]
                || x > 0 && !known[i - 1]
                || x + 1 < w && !known[i + 1]
                || i + w < n && !known[i + w];
            if known[i] && is_rim {
                queue.push_back(i);
            }
        }
        while let Some(i) = queue.pop_front() {
            for j in self.neighbors(i) {
                if !known[j] {
                    known[j] = true;
                    self.data[j] = self.data[i];
                    queue.push_back(j);
                }
            }
        }
    }
}

impl<T: Copy + Primitive> Grid<T> {
    /// The same values as a one-channel picture of the `image` crate.
    pub fn into_image(self) -> ImageBuffer<Luma<T>, Vec<T>>
    where
        Luma<T>: image::Pixel<Subpixel = T>,
    {
        ImageBuffer::from_raw(self.width as u32, self.height as u32, self.data)
            .expect("a grid holds width * height values")
    }
}

impl<T: Copy + Primitive> From<ImageBuffer<Luma<T>, Vec<T>>> for Grid<T>
where
    Luma<T>: image::Pixel<Subpixel = T>,
{
    fn from(image: ImageBuffer<Luma<T>, Vec<T>>) -> Self {
        Self {
            width: image.width() as usize,
            height: image.height() as usize,
            data: image.into_raw(),
        }
    }
}
