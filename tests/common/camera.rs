//! A pinhole camera over a desk with a panel on it: photos whose geometry is known.

use image::codecs::jpeg::JpegEncoder;
use penstrata::grid::Grid;
use rayon::prelude::*;
use std::path::{Path, PathBuf};

/// What is photographed, and from where.
pub struct Shot<'a> {
    /// SVG that fills the panel.
    pub art: &'a str,
    /// Width and height of the panel, in millimeters.
    pub panel_mm: [f64; 2],
    /// Tilt of the camera from straight above, in degrees, and the direction it is tilted to.
    pub tilt: f64,
    pub toward: f64,
    /// Turn of the panel on the desk, in degrees.
    pub turn: f64,
    pub desk: [f64; 3],
    pub paper: [f64; 3],
    /// Light at the left edge of the photo, as a part of that at the right edge.
    pub dim: f64,
    /// Light inside a shadow across the panel, as a part of that beside it; 1 for none.
    pub shadow: f64,
    /// Standard deviation of the sensor's noise, in gray levels.
    pub noise: f64,
}

impl Shot<'_> {
    pub const SIZE: [usize; 2] = [3000, 2250];

    pub fn straight(art: &str) -> Shot<'_> {
        Shot {
            art,
            panel_mm: [148.0, 105.0],
            tilt: 12.0,
            toward: 60.0,
            turn: 3.0,
            desk: [96.0, 82.0, 70.0],
            paper: [240.0, 238.0, 230.0],
            dim: 0.7,
            shadow: 1.0,
            noise: 3.0,
        }
    }

    /// From the panel (millimeters from its top left) to the photo (pixels).
    fn see(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [w, h] = Self::SIZE.map(|v| v as f64);
        let focal = 0.75 * w;
        let (sin, cos) = self.turn.to_radians().sin_cos();
        let (x, y) = (x - self.panel_mm[0] / 2.0, y - self.panel_mm[1] / 2.0);
        let (x, y) = (cos * x - sin * y, sin * x + cos * y);
        // Tilt about the axis across `toward`.
        let (sd, cd) = self.toward.to_radians().sin_cos();
        let (along, across) = (cd * x + sd * y, cd * y - sd * x);
        let (st, ct) = self.tilt.to_radians().sin_cos();
        let (along, depth) = (ct * along, st * along);
        let (x, y) = (cd * along - sd * across, sd * along + cd * across);
        let z = 165.0 + depth;
        [w / 2.0 + focal * x / z, h / 2.0 + focal * y / z]
    }

    /// The panel's corners in the photo, clockwise from its own top left.
    pub fn corners(&self) -> [[f64; 2]; 4] {
        let [w, h] = self.panel_mm;
        [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]].map(|p| self.see(p))
    }

    /// The art in `px_per_mm`, as luminance.
    pub fn drawing(&self, px_per_mm: f64) -> Grid<u8> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("art.svg");
        std::fs::write(&path, self.art).unwrap();
        let [w, h] = self.panel_mm.map(|v| (v * px_per_mm).round() as usize);
        penstrata::input::read_page(&path, None, None)
            .unwrap()
            .flatten(w, h, 1.0 / px_per_mm)
            .unwrap()
    }

    /// Takes the photo.
    pub fn take(&self, folder: &Path) -> PathBuf {
        let [w, h] = Self::SIZE;
        let px_per_mm = 24.0;
        let drawing = self.drawing(px_per_mm);
        let [pw, ph] = self.panel_mm;
        // From the photo to the panel, by the corners.
        let corners = self.corners().map(|[x, y]| (x as f32, y as f32));
        let panel = [(0.0, 0.0), (pw, 0.0), (pw, ph), (0.0, ph)].map(|(x, y)| (x as f32, y as f32));
        let to_panel =
            imageproc::geometric_transformations::Projection::from_control_points(corners, panel)
                .unwrap();
        let mut pixels = vec![0u8; w * h * 3];
        pixels
            .par_chunks_mut(3 * w)
            .enumerate()
            .for_each(|(y, row)| {
                for x in 0..w {
                    let mut sum = [0.0; 3];
                    for k in 0..4 {
                        let (u, v) = (
                            x as f64 + 0.25 + 0.5 * (k % 2) as f64,
                            y as f64 + 0.25 + 0.5 * (k / 2) as f64,
                        );
                        let (mx, my) = to_panel * (u as f32, v as f32);
                        let (mx, my) = (f64::from(mx), f64::from(my));
                        let on_panel = mx >= 0.0 && my >= 0.0 && mx < pw && my < ph;
                        // Light falls off across the photo; the shadow's edge runs askew and is 3 mm soft.
                        let mut light = self.dim + (1.0 - self.dim) * u / w as f64;
                        let into_shadow = (0.8 * mx + 0.6 * my - 0.5 * pw) / 3.0 + 0.5;
                        light *= 1.0 - (1.0 - self.shadow) * into_shadow.clamp(0.0, 1.0);
                        for c in 0..3 {
                            let surface = if on_panel {
                                let (px, py) =
                                    ((mx * px_per_mm) as usize, (my * px_per_mm) as usize);
                                let ink = f64::from(
                                    drawing
                                        .at(px.min(drawing.width - 1), py.min(drawing.height - 1)),
                                ) / 255.0;
                                let grain = 3.0 * noise(px as u64 / 6, py as u64 / 6, 9);
                                28.0 + (self.paper[c] - 28.0 + grain) * ink
                            } else {
                                // A desk has a grain, too: streaks along one direction.
                                let streak =
                                    noise((my * 1.5 + 900.0) as u64, (mx * 0.2 + 900.0) as u64, 5);
                                self.desk[c] + 4.0 * streak
                            };
                            sum[c] += surface * light / 4.0;
                        }
                    }
                    for c in 0..3 {
                        let noisy = sum[c] + self.noise * noise(x as u64, y as u64, c as u64);
                        row[3 * x + c] = noisy.round().clamp(0.0, 255.0) as u8;
                    }
                }
            });
        let path = folder.join("panel.jpg");
        let mut file = std::io::BufWriter::new(std::fs::File::create(&path).unwrap());
        JpegEncoder::new_with_quality(&mut file, 90)
            .encode(&pixels, w as u32, h as u32, image::ExtendedColorType::Rgb8)
            .unwrap();
        path
    }
}

/// About normal noise of standard deviation 1, the same for the same place (SplitMix64, Steele et al. 2014).
fn noise(x: u64, y: u64, kind: u64) -> f64 {
    let mut state = x
        .wrapping_mul(0x9e37_79b9_7f4a_7c15)
        .wrapping_add(y.wrapping_mul(0xc2b2_ae3d_27d4_eb4f))
        .wrapping_add(kind.wrapping_mul(0x1656_67b1_9e37_79f9));
    let mut sum = 0.0;
    for _ in 0..4 {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        sum += (z ^ (z >> 31)) as f64 / u64::MAX as f64 - 0.5;
    }
    // Four uniform values of variance 1/12 each.
    sum * 3f64.sqrt()
}
