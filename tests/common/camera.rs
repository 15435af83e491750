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
pub fn noise(x: u64, y: u64, kind: u64) -> f64 {
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

/// What a camera makes of light: from linear 0 to 1 to a code value 0 to 1.
#[derive(Debug, Clone, Copy)]
pub enum Tone {
    /// As IEC 61966-2-1.
    Srgb,
    /// A logistic curve over sRGB's code values, of this steepness; 3.15 has a slope of 1.2 in the middle.
    Logistic(f64),
    /// Code values drawn apart about the middle by this factor, and cut off.
    Straight(f64),
    /// A part of `3 v^2 - 2 v^3` over sRGB's code values; 0.4 of it has a slope of 1.2 in the middle.
    Smooth(f64),
    /// Light with a shoulder, `x (1 + a) / (x + a)`, and then as sRGB.
    Shoulder(f64),
    /// As ITU-R BT.709.
    Video,
}

impl Tone {
    fn code(self, light: f64) -> f64 {
        let srgb = |l: f64| {
            if l <= 0.003_130_8 {
                12.92 * l
            } else {
                1.055 * l.powf(1.0 / 2.4) - 0.055
            }
        };
        let v = srgb(light.clamp(0.0, 1.0));
        match self {
            Self::Srgb => v,
            Self::Logistic(a) => {
                let s = |x: f64| 1.0 / (1.0 + (-x).exp());
                (s(a * (v - 0.5)) - s(-a / 2.0)) / (s(a / 2.0) - s(-a / 2.0))
            }
            Self::Straight(k) => 0.5 + k * (v - 0.5),
            Self::Smooth(part) => v + part * (v * v * (3.0 - 2.0 * v) - v),
            Self::Shoulder(a) => srgb((light * (1.0 + a) / (light + a)).clamp(0.0, 1.0)),
            Self::Video => {
                let l = light.clamp(0.0, 1.0);
                if l < 0.018 {
                    4.5 * l
                } else {
                    1.099 * l.powf(0.45) - 0.099
                }
            }
        }
    }
}

/// A phone above a printed sheet: 8 megapixels.
#[derive(Debug, Clone, Copy)]
pub struct Phone {
    /// Tilt from straight above, where to, and turn of the sheet, in degrees.
    pub tilt: f64,
    pub toward: f64,
    pub turn: f64,
    pub tone: Tone,
    /// Color of the lamp, linear, as the camera balances it.
    pub lamp: [f64; 3],
    /// What white paper would give in the lightest place, linear.
    pub exposure: f64,
    /// Light at the left edge of the photo as a part of that at the right edge: a window at one side.
    pub dim: f64,
    /// Part of the light that is lost in the corners of the photo.
    pub vignette: f64,
    /// Middle on the sheet and standard deviation in millimeters, and part of the light: a lamp that is mirrored.
    pub glare: Option<([f64; 2], f64, f64)>,
    /// Where a shadow ends, in millimeters from the left edge of the sheet, and what light is left in it.
    pub shadow: Option<(f64, f64)>,
    /// How high the sheet rises in its middle, in millimeters.
    pub curl: f64,
    /// Standard deviation of the blur, in pixels.
    pub blur: f64,
    pub quality: u8,
    /// Exponent of what the printer makes of grays, in code values.
    pub printer: f64,
}

impl Phone {
    /// A camera and a light that do nothing but what cannot be helped.
    pub fn ideal() -> Self {
        Self {
            tilt: 8.0,
            toward: 60.0,
            turn: 2.0,
            tone: Tone::Srgb,
            lamp: [1.0, 1.0, 1.0],
            exposure: 0.8,
            dim: 0.85,
            vignette: 0.0,
            glare: None,
            shadow: None,
            curl: 0.0,
            blur: 0.0,
            quality: 95,
            printer: 1.0,
        }
    }

    const SIZE: [usize; 2] = [2448, 3264];
    /// Height of the camera above the middle of the sheet, in millimeters.
    const HIGH: f64 = 330.0;

    /// From a sheet of `mm` (millimeters from its top left) to the photo (pixels).
    pub fn see(&self, mm: [f64; 2], [x, y]: [f64; 2]) -> [f64; 2] {
        let [w, h] = Self::SIZE.map(|v| v as f64);
        let focal = 0.75 * h;
        let (sin, cos) = self.turn.to_radians().sin_cos();
        let (sd, cd) = self.toward.to_radians().sin_cos();
        let (st, ct) = self.tilt.to_radians().sin_cos();
        let (x, y) = (x - mm[0] / 2.0, y - mm[1] / 2.0);
        let (x, y) = (cos * x - sin * y, sin * x + cos * y);
        let (along, across) = (cd * x + sd * y, cd * y - sd * x);
        let (along, depth) = (ct * along, st * along);
        let z = Self::HIGH + depth;
        let (x, y) = (cd * along - sd * across, sd * along + cd * across);
        [w / 2.0 + focal * x / z, h / 2.0 + focal * y / z]
    }

    /// Light on a place of the sheet, in millimeters, and what is mirrored there; the sheet curls by half a wave of `arch`
    /// per millimeter.
    fn light(&self, at: [f64; 2], arch: f64) -> (f64, f64) {
        // A slope toward the light from the right is lighter.
        let slope = self.curl * arch * (arch * at[0]).cos();
        let dark = self.shadow.map_or(1.0, |(end, left)| {
            // Two millimeters soft.
            let out = ((at[0] - end) / 2.0 + 0.5).clamp(0.0, 1.0);
            left + (1.0 - left) * out
        });
        let spot = self.glare.map_or(0.0, |([gx, gy], wide, strength)| {
            let far = (at[0] - gx).powi(2) + (at[1] - gy).powi(2);
            strength * (-far / (2.0 * wide * wide)).exp()
        });
        ((1.0 - 0.7 * slope) * dark, spot)
    }

    /// Takes a photo of a sheet of `mm`.
    pub fn take(&self, sheet: &image::RgbImage, mm: [f64; 2], path: &Path) {
        const HIGH: f64 = Phone::HIGH;
        let [w, h] = Self::SIZE;
        let [pw, ph] = mm;
        let (sin, cos) = self.turn.to_radians().sin_cos();
        let (sd, cd) = self.toward.to_radians().sin_cos();
        let (st, ct) = self.tilt.to_radians().sin_cos();
        // The camera above the sheet: its foot and its height.
        let foot = {
            let (x, y) = (-HIGH * st * cd, -HIGH * st * sd);
            [cos * x + sin * y + pw / 2.0, cos * y - sin * x + ph / 2.0]
        };
        let flat = [[0.0, 0.0], [pw, 0.0], [pw, ph], [0.0, ph]];
        let corners = flat
            .map(|p| self.see(mm, p))
            .map(|[x, y]| (x as f32, y as f32));
        let flat = flat.map(|[x, y]| (x as f32, y as f32));
        let back =
            imageproc::geometric_transformations::Projection::from_control_points(corners, flat)
                .unwrap();
        let decoded: Vec<f32> = (0..256)
            .map(|v| {
                let v = f64::from(v) / 255.0;
                let l = if v <= 0.040_45 {
                    v / 12.92
                } else {
                    ((v + 0.055) / 1.055).powf(2.4)
                };
                l as f32
            })
            .collect();
        let printed: Vec<[f32; 3]> = sheet
            .pixels()
            .map(|p| {
                let [r, g, b] = p.0;
                if r == g && g == b {
                    let v = (f64::from(r) / 255.0).powf(self.printer);
                    [decoded[(v * 255.0).round() as usize]; 3]
                } else {
                    p.0.map(|v| decoded[usize::from(v)])
                }
            })
            .collect();
        let (sw, sh) = sheet.dimensions();
        let px_per_mm = f64::from(sw) / pw;
        let arch = std::f64::consts::PI / pw;
        let mut light = vec![0f32; w * h * 3];
        light
            .par_chunks_mut(3 * w)
            .enumerate()
            .for_each(|(y, row)| {
                for x in 0..w {
                    // Within a pixel, only what is printed changes: curl and light are slow.
                    let (mx, my) = back * (x as f32 + 0.5, y as f32 + 0.5);
                    let flat = [f64::from(mx), f64::from(my)];
                    // Where the ray meets the curled sheet.
                    let mut at = flat;
                    for _ in 0..3 {
                        let rise = self.curl * (arch * at[0].clamp(0.0, pw)).sin() / (HIGH * ct);
                        at = [0, 1].map(|c| flat[c] + (foot[c] - flat[c]) * rise);
                    }
                    let (lit, spot) = self.light(at, arch);
                    let mut sum = [0f64; 3];
                    for k in 0..4 {
                        let (u, v) = (
                            x as f32 + 0.25 + 0.5 * (k % 2) as f32,
                            y as f32 + 0.25 + 0.5 * (k / 2) as f32,
                        );
                        let (mx, my) = back * (u, v);
                        let (px, py) = (
                            (f64::from(mx) + at[0] - flat[0]) * px_per_mm,
                            (f64::from(my) + at[1] - flat[1]) * px_per_mm,
                        );
                        if px < 0.0 || py < 0.0 || px >= f64::from(sw) || py >= f64::from(sh) {
                            sum = [0, 1, 2].map(|c| sum[c] + [0.06, 0.05, 0.045][c] / 4.0);
                            continue;
                        }
                        let surface = printed[py as usize * sw as usize + px as usize];
                        for c in 0..3 {
                            sum[c] += (f64::from(surface[c]) * lit + spot) / 4.0;
                        }
                    }
                    let side = self.dim + (1.0 - self.dim) * x as f64 / w as f64;
                    let (rx, ry) = (
                        2.0 * x as f64 / w as f64 - 1.0,
                        2.0 * y as f64 / h as f64 - 1.0,
                    );
                    let corner = 1.0 - self.vignette * (rx * rx + ry * ry) / 2.0;
                    for c in 0..3 {
                        row[3 * x + c] =
                            (sum[c] * side * corner * self.lamp[c] * self.exposure) as f32;
                    }
                }
            });
        if self.blur > 0.0 {
            light = blurred(&blurred(&light, w, h, self.blur, 3), w, h, self.blur, 3 * w);
        }
        let mut pixels = vec![0u8; w * h * 3];
        pixels
            .par_chunks_mut(3 * w)
            .enumerate()
            .for_each(|(y, row)| {
                for (i, v) in row.iter_mut().enumerate() {
                    let code = self.tone.code(f64::from(light[y * 3 * w + i])) * 255.0;
                    let grain = 2.0 * noise((i / 3) as u64, y as u64, (i % 3) as u64);
                    *v = (code + grain).round().clamp(0.0, 255.0) as u8;
                }
            });
        let file = std::io::BufWriter::new(std::fs::File::create(path).unwrap());
        JpegEncoder::new_with_quality(file, self.quality)
            .encode(&pixels, w as u32, h as u32, image::ExtendedColorType::Rgb8)
            .unwrap();
    }
}

/// A Gauss filter along one direction of an interleaved picture: `stride` is the distance of neighbors in the data.
fn blurred(light: &[f32], w: usize, h: usize, sigma: f64, stride: usize) -> Vec<f32> {
    let reach = (3.0 * sigma).ceil() as isize;
    let weights: Vec<f32> = (-reach..=reach)
        .map(|k| (-(k * k) as f64 / (2.0 * sigma * sigma)).exp() as f32)
        .collect();
    let total: f32 = weights.iter().sum();
    let mut out = vec![0f32; light.len()];
    out.par_chunks_mut(3 * w).enumerate().for_each(|(y, row)| {
        for (i, v) in row.iter_mut().enumerate() {
            let (at, count) = if stride == 3 { (i / 3, w) } else { (y, h) };
            let here = y * 3 * w + i;
            *v = weights
                .iter()
                .zip(-reach..)
                .map(|(weight, k)| {
                    let to = (at as isize + k).clamp(0, count as isize - 1) - at as isize;
                    weight * light[(here as isize + to * stride as isize) as usize]
                })
                .sum::<f32>()
                / total;
        }
    });
    out
}

/// Ten cameras, each with another curve, lamp and light: what phones do over a kitchen table. None of the curves is
/// the family that is fitted.
pub fn ten_phones() -> [(&'static str, Phone); 10] {
    let phone = Phone {
        curl: 2.0,
        vignette: 0.25,
        blur: 1.5,
        quality: 85,
        ..Phone::ideal()
    };
    let spot = |x: f64, y: f64, wide: f64| Some(([x, y], wide, 0.3));
    [
        (
            "logistic, cold light, glare",
            Phone {
                tone: Tone::Logistic(3.15),
                lamp: [0.92, 0.97, 1.0],
                glare: spot(70.0, 100.0, 25.0),
                ..phone
            },
        ),
        (
            "straight, warm lamp, glare",
            Phone {
                tone: Tone::Straight(1.2),
                lamp: [1.0, 0.9, 0.74],
                glare: spot(150.0, 200.0, 20.0),
                exposure: 0.72,
                ..phone
            },
        ),
        (
            "smooth, window to the right",
            Phone {
                tone: Tone::Smooth(0.4),
                dim: 0.5,
                tilt: 15.0,
                toward: 200.0,
                glare: spot(120.0, 60.0, 30.0),
                ..phone
            },
        ),
        (
            "shoulder, wide glare",
            Phone {
                tone: Tone::Shoulder(2.0),
                exposure: 0.6,
                glare: spot(60.0, 230.0, 40.0),
                lamp: [1.0, 0.95, 0.86],
                ..phone
            },
        ),
        (
            "video, tilted",
            Phone {
                tone: Tone::Video,
                tilt: 25.0,
                toward: 120.0,
                glare: spot(30.0, 150.0, 25.0),
                ..phone
            },
        ),
        (
            "logistic, dark",
            Phone {
                tone: Tone::Logistic(3.15),
                exposure: 0.45,
                lamp: [1.0, 0.93, 0.8],
                glare: spot(100.0, 150.0, 15.0),
                ..phone
            },
        ),
        (
            "smooth, more blur, upside down",
            Phone {
                tone: Tone::Smooth(0.4),
                blur: 2.5,
                turn: 182.0,
                glare: spot(180.0, 120.0, 25.0),
                ..phone
            },
        ),
        (
            "straight, little contrast, a printer too dark",
            Phone {
                tone: Tone::Straight(0.9),
                printer: 1.05,
                glare: spot(90.0, 90.0, 25.0),
                ..phone
            },
        ),
        (
            "srgb, window, a printer too light",
            Phone {
                dim: 0.5,
                printer: 0.96,
                vignette: 0.35,
                glare: spot(140.0, 250.0, 25.0),
                ..phone
            },
        ),
        (
            "logistic, window, tilted, warm",
            Phone {
                tone: Tone::Logistic(3.15),
                dim: 0.6,
                tilt: 20.0,
                toward: 300.0,
                lamp: [1.0, 0.86, 0.66],
                glare: spot(50.0, 60.0, 25.0),
                exposure: 0.7,
                ..phone
            },
        ),
    ]
}
