//! The strongest straight edges of a picture.

use crate::grid::Grid;

/// Cells of the vote: degrees of direction and pixels of distance.
const DIRECTIONS: usize = 360;
const DISTANCE_PX: f64 = 2.0;
/// How far a gradient's direction may be off, in degrees.
const SPREAD: isize = 3;
/// Straight edges that are tried; the panel's four are among the strongest.
const EDGES: usize = 28;
/// A side is at least this part of the photo's shorter side.
pub const LEAST_SIDE: f64 = 0.15;
/// Least step from desk to paper, in gray levels of 255.
pub const LEAST_STEP: f32 = 2.0;

/// A straight edge: `x cos + y sin = distance`, measured from the picture's middle; the normal (`cos`, `sin`) points
/// to the lighter side.
#[derive(Clone, Copy)]
pub struct Edge {
    pub normal: [f64; 2],
    pub distance: f64,
}

impl Edge {
    pub fn turned(self) -> Self {
        Self {
            normal: [-self.normal[0], -self.normal[1]],
            distance: -self.distance,
        }
    }

    pub fn meets(&self, other: &Self) -> Option<[f64; 2]> {
        let ([a, b], [c, d]) = (self.normal, other.normal);
        let det = a * d - b * c;
        (det.abs() > 1e-9).then(|| {
            [
                (self.distance * d - other.distance * b) / det,
                (a * other.distance - c * self.distance) / det,
            ]
        })
    }

    pub fn height_of(&self, p: [f64; 2]) -> f64 {
        self.normal[0] * p[0] + self.normal[1] * p[1] - self.distance
    }
}

/// The strongest straight edges, normals toward the lighter side.
pub fn strongest_edges(smooth: &Grid<f32>) -> Vec<Edge> {
    let (w, h) = (smooth.width, smooth.height);
    let (cx, cy) = (w as f64 / 2.0, h as f64 / 2.0);
    let gradient: Vec<[f32; 2]> = (0..w * h)
        .map(|i| {
            let (x, y) = (i % w, i / w);
            if x == 0 || y == 0 || x + 1 == w || y + 1 == h {
                return [0.0; 2];
            }
            [
                smooth.at(x + 1, y) - smooth.at(x - 1, y),
                smooth.at(x, y + 1) - smooth.at(x, y - 1),
            ]
        })
        .collect();
    let mut sizes: Vec<f32> = gradient.iter().map(|g| g[0].hypot(g[1])).collect();
    let middle = sizes.len() / 2;
    let noise = sizes.select_nth_unstable_by(middle, f32::total_cmp).1;
    // Twice the usual gradient is an edge; four times that is as good as any.
    let least = (2.0 * *noise).max(LEAST_STEP / 2.0);
    let full = 4.0 * least;
    let reach = cx.hypot(cy);
    let distances = (2.0 * reach / DISTANCE_PX) as usize + 2;
    let mut votes = vec![0.0f32; DIRECTIONS * distances];
    let directions: Vec<[f64; 2]> = (0..DIRECTIONS)
        .map(|d| {
            let (sin, cos) = (d as f64).to_radians().sin_cos();
            [cos, sin]
        })
        .collect();
    for (i, g) in gradient.iter().enumerate() {
        let size = g[0].hypot(g[1]);
        if size < least {
            continue;
        }
        let (x, y) = ((i % w) as f64 + 0.5 - cx, (i / w) as f64 + 0.5 - cy);
        let toward = f64::from(g[1]).atan2(f64::from(g[0])).to_degrees().round() as isize;
        for d in toward - SPREAD..=toward + SPREAD {
            let d = d.rem_euclid(DIRECTIONS as isize) as usize;
            let r = directions[d][0] * x + directions[d][1] * y;
            votes[d * distances + ((r + reach) / DISTANCE_PX) as usize] += size.min(full) / full;
        }
    }
    let mut edges = Vec::new();
    while edges.len() < EDGES {
        let (at, &most) = votes
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)))
            .expect("there are votes");
        if most < LEAST_SIDE as f32 * w.min(h) as f32 / 8.0 {
            break;
        }
        let (d, r) = (at / distances, at % distances);
        edges.push(Edge {
            normal: directions[d],
            distance: (r as f64 + 0.5) * DISTANCE_PX - reach,
        });
        // Take away what is nearly the same edge.
        for near in -5..=5isize {
            let d = (d as isize + near).rem_euclid(DIRECTIONS as isize) as usize;
            for r in r.saturating_sub(3)..(r + 4).min(distances) {
                votes[d * distances + r] = 0.0;
            }
        }
    }
    edges
}
