//! Shapes as masks: what lines enclose, how far it is to an edge, and what lies in holes. Below both the subject of a
//! photo and the outline of a drawing.

use imageproc::filter::gaussian_blur_f32;

use crate::grid::{Grid, squared_distance};

/// What the outermost drawn lines enclose.
#[derive(Debug, Clone)]
pub struct Silhouette {
    pub mask: Grid<bool>,
    /// Frame pixels per pixel of the mask.
    pub scale: f64,
}

impl Silhouette {
    /// Left, top, width and height of what is inside, in frame pixels; `None` if nothing is.
    pub fn bounds(&self) -> Option<[f64; 4]> {
        let w = self.mask.width;
        let (mut x0, mut y0, mut x1, mut y1) = (usize::MAX, usize::MAX, 0, 0);
        for i in (0..self.mask.data.len()).filter(|&i| self.mask.data[i]) {
            let (x, y) = (i % w, i / w);
            (x0, y0, x1, y1) = (x0.min(x), y0.min(y), x1.max(x + 1), y1.max(y + 1));
        }
        (x0 < x1).then(|| [x0, y0, x1 - x0, y1 - y0].map(|v| v as f64 * self.scale))
    }

    /// The part of the frame that is inside, 0 to 1.
    pub fn share(&self) -> f64 {
        let inside = self.mask.data.iter().filter(|&&m| m).count();
        inside as f64 / self.mask.data.len() as f64
    }

    /// About `count` places evenly spread over the rim, in frame pixels.
    pub fn rim(&self, count: usize) -> Vec<[f64; 2]> {
        let mask = &self.mask;
        let rim: Vec<usize> = (0..mask.data.len())
            .filter(|&i| mask.data[i] && mask.neighbors(i).any(|j| !mask.data[j]))
            .collect();
        // Farthest next (Gonzalez 1985): spreads evenly without walking along the rim.
        let place =
            |i: usize| [i % mask.width, i / mask.width].map(|v| (v as f64 + 0.5) * self.scale);
        let Some(&first) = rim.first() else {
            return Vec::new();
        };
        let mut found = vec![place(first)];
        let mut away = vec![f64::INFINITY; rim.len()];
        while found.len() < count.min(rim.len()) {
            let [x, y] = found[found.len() - 1];
            let mut farthest = 0;
            for (k, &i) in rim.iter().enumerate() {
                let [px, py] = place(i);
                away[k] = away[k].min((px - x).powi(2) + (py - y).powi(2));
                if away[k] > away[farthest] {
                    farthest = k;
                }
            }
            found.push(place(rim[farthest]));
        }
        found
    }
}

/// Distance to the edge of `mask`, in its pixels, above 0 inside; slightly smoothed, so that the edge runs between
/// pixels.
pub fn signed_distance(mask: &Grid<bool>) -> Grid<f32> {
    let to = |side: bool| squared_distance(&mask.map(|m| m == side));
    let (outside, inside) = rayon::join(|| to(false), || to(true));
    let far = (mask.width + mask.height) as f64;
    let distance = |squared: f64| (squared.sqrt().min(far) - 0.5) as f32;
    let signed = Grid {
        width: mask.width,
        height: mask.height,
        data: (0..mask.data.len())
            .map(|i| {
                if mask.data[i] {
                    distance(outside[i])
                } else {
                    -distance(inside[i])
                }
            })
            .collect(),
    };
    gaussian_blur_f32(&signed.into_image(), 0.8).into()
}

/// True also where the mask is false but closed in by it.
pub fn fill_holes(mask: &Grid<bool>) -> Grid<bool> {
    let (w, h) = (mask.width, mask.height);
    let mut open = vec![false; w * h];
    let mut queue: Vec<usize> = (0..w * h)
        .filter(|i| {
            let (x, y) = (i % w, i / w);
            (x == 0 || y == 0 || x + 1 == w || y + 1 == h) && !mask.data[*i]
        })
        .collect();
    for &i in &queue {
        open[i] = true;
    }
    while let Some(i) = queue.pop() {
        for j in mask.neighbors(i) {
            if !open[j] && !mask.data[j] {
                open[j] = true;
                queue.push(j);
            }
        }
    }
    Grid {
        width: w,
        height: h,
        data: open.iter().map(|o| !o).collect(),
    }
}
