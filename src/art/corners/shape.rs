//! The shape of what was photographed, told from its corners.

use super::Corners;

/// Focal length of a phone's main camera, as a part of the photo's longer side (26 mm on 36 mm of film); from memory.
const FOCAL: f64 = 0.72;

/// Width by height of the rectangle that a camera of usual focal length sees as `corners` in a picture of
/// `width * height` pixels (Zhang and He 2007, "Whiteboard scanning and image enhancement", with the focal length
/// known).
pub fn shape_of(corners: &Corners, width: f64, height: f64) -> f64 {
    let focal = FOCAL * width.max(height);
    let [p, q, r, s] =
        corners.map(|[x, y]| [(x - width / 2.0) / focal, (y - height / 2.0) / focal, 1.0]);
    let cross = |a: [f64; 3], b: [f64; 3]| {
        [
            a[1] * b[2] - a[2] * b[1],
            a[2] * b[0] - a[0] * b[2],
            a[0] * b[1] - a[1] * b[0],
        ]
    };
    let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    // Depths of the second and fourth corner, the first one's being 1.
    let k2 = dot(cross(p, r), s) / dot(cross(q, r), s);
    let k3 = dot(cross(p, r), q) / dot(cross(s, r), q);
    let side = |k: f64, far: [f64; 3]| {
        let v = [0, 1, 2].map(|c| k * far[c] - p[c]);
        dot(v, v).sqrt()
    };
    side(k2, q) / side(k3, s)
}
