//! A second simulation of photos of swatch sheets, built apart from the first and kept away while the reader was
//! written: other curves (powers, logarithms, hyperbolic tangents), lamps near and far, glare as panes, tubes and wide
//! tails with a color of its own, light that leaks between channels, photon noise that a denoiser has smeared, a
//! printer that tints its grays, a sheet that lies in waves.

use std::path::Path;

use image::codecs::jpeg::JpegEncoder;
use imageproc::geometric_transformations::Projection;
use rayon::prelude::*;

use super::camera::noise;

const SIZE: [usize; 2] = [2250, 3000];

/// A field over the sheet, from millimeters to red, green, blue.
type Field = fn([f64; 2]) -> [f64; 3];

#[derive(Clone, Copy)]
pub struct Lens {
    pub name: &'static str,
    /// The sheet's corners in the photo, clockwise from its own top left, in pixels.
    pub corners: [[f32; 2]; 4],
    /// From light to code value, both 0 to 1.
    tone: fn(f64) -> f64,
    /// Light on the sheet, and glare that is added to it.
    lamp: Field,
    glare: Field,
    /// How far the sheet seems shifted where it lies in waves, in millimeters.
    wave: f64,
    /// Photons that white paper would send to a pixel, in thousands.
    photons: f64,
    quality: u8,
    /// What the printer makes of gray: more ink in the middle, and more of one color of it.
    printer: [f64; 3],
}

/// Light per channel and code value.
type Tables = [Vec<f64>; 3];

/// What is slow about a place: how far the sheet seems shifted, in millimeters, the light on it, and glare.
struct Here {
    shift: [f64; 2],
    lamp: [f64; 3],
    glare: [f64; 3],
}

fn decode(v: f64) -> f64 {
    if v <= 0.040_45 {
        v / 12.92
    } else {
        ((v + 0.055) / 1.055).powf(2.4)
    }
}

impl Lens {
    /// Takes a photo of a sheet of `mm`.
    pub fn take(&self, sheet: &image::RgbImage, mm: [f64; 2], path: &Path) {
        let [w, h] = SIZE;
        let flat = [[0.0, 0.0], [mm[0], 0.0], mm, [0.0, mm[1]]];
        let back = Projection::from_control_points(
            self.corners.map(|[x, y]| (x, y)),
            flat.map(|[x, y]| (x as f32, y as f32)),
        )
        .unwrap();
        let [gray, ink] = self.printed();
        let mut light = vec![0f64; w * h * 3];
        light
            .par_chunks_mut(3 * w)
            .enumerate()
            .for_each(|(y, row)| {
                for x in 0..w {
                    // Within a pixel, only what is printed changes: waves and light are slow.
                    let (mx, my) = back * (x as f32 + 0.5, y as f32 + 0.5);
                    let middle = self.here([f64::from(mx), f64::from(my)], mm);
                    let mut sum = [0.0; 3];
                    // Nine rays to a pixel, over an area a little larger than it.
                    for k in 0..9 {
                        let (u, v) = ((k % 3) as f32 * 0.5, (k / 3) as f32 * 0.5);
                        let (mx, my) = back * (x as f32 + u, y as f32 + v);
                        let seen = self.surface(
                            sheet,
                            mm,
                            [f64::from(mx), f64::from(my)],
                            &middle,
                            [&gray, &ink],
                        );
                        sum = [0, 1, 2].map(|c| sum[c] + seen[c] / 9.0);
                    }
                    row[3 * x..3 * x + 3].copy_from_slice(&sum);
                }
            });
        let mut pixels = vec![0u8; w * h * 3];
        pixels
            .par_chunks_mut(3 * w)
            .enumerate()
            .for_each(|(y, row)| {
                for x in 0..w {
                    let at = 3 * (y * w + x);
                    // A little of every channel leaks into the others.
                    let sum = (0..3).map(|c| light[at + c]).sum::<f64>();
                    for c in 0..3 {
                        let clean = 0.985 * light[at + c] + 0.005 * sum;
                        // The denoiser smears grain over two by two pixels.
                        let grain = noise((x / 2) as u64, (y / 2) as u64, 40 + c as u64) * 0.7
                            + noise(x as u64, y as u64, 50 + c as u64) * 0.5;
                        let noisy =
                            clean + grain * (clean.max(0.0) / (1000.0 * self.photons)).sqrt();
                        let code = (self.tone)(noisy.clamp(0.0, 1.0));
                        row[3 * x + c] = (255.0 * code).round().clamp(0.0, 255.0) as u8;
                    }
                }
            });
        let file = std::io::BufWriter::new(std::fs::File::create(path).unwrap());
        JpegEncoder::new_with_quality(file, self.quality)
            .encode(&pixels, w as u32, h as u32, image::ExtendedColorType::Rgb8)
            .unwrap();
    }

    /// What is slow about a place on a sheet of `mm`.
    fn here(&self, at: [f64; 2], mm: [f64; 2]) -> Here {
        let phase = at[1] / mm[1] * std::f64::consts::TAU;
        let right = self.wave * phase.sin();
        let down = 0.6 * self.wave * (2.0 * at[0] / mm[0] + 0.3).sin();
        let at = [at[0] + right, at[1] + down];
        // Bellows in the waves are a little lighter.
        let slope = 1.0 + 0.02 * self.wave * phase.cos();
        Here {
            shift: [right, down],
            lamp: (self.lamp)(at).map(|v| v * slope),
            glare: (self.glare)(at),
        }
    }

    /// The light that comes from a place on the sheet or the desk.
    fn surface(
        &self,
        sheet: &image::RgbImage,
        mm: [f64; 2],
        at: [f64; 2],
        here: &Here,
        [grays, inks]: [&Tables; 2],
    ) -> [f64; 3] {
        let at = [at[0] + here.shift[0], at[1] + here.shift[1]];
        let per_mm = f64::from(sheet.width()) / mm[0];
        let (px, py) = (at[0] * per_mm, at[1] * per_mm);
        if px < 0.0 || py < 0.0 || px >= f64::from(sheet.width()) || py >= f64::from(sheet.height())
        {
            return [0.02, 0.03, 0.04];
        }
        let color = sheet.get_pixel(px as u32, py as u32).0;
        let gray = color[0] == color[1] && color[1] == color[2];
        let table = if gray { grays } else { inks };
        [0, 1, 2].map(|c| table[c][usize::from(color[c])] * here.lamp[c] + here.glare[c])
    }

    /// Light of what is printed gray, and of ink, per channel and code value.
    fn printed(&self) -> [Tables; 2] {
        let table = |more: f64| {
            let light = |v: usize| {
                let v = v as f64 / 255.0;
                decode(v + more * v * (1.0 - v))
            };
            (0..256).map(light).collect::<Vec<f64>>()
        };
        [self.printer.map(table), [0.0; 3].map(table)]
    }
}

/// Light falling off with the square of the distance to a lamp so high above a place, all in millimeters.
fn near(at: [f64; 2], over: [f64; 2], high: f64) -> f64 {
    let far = (at[0] - over[0]).powi(2) + (at[1] - over[1]).powi(2);
    (1.0 + far / (high * high)).powf(-1.5)
}

/// 1 inside, 0 outside, `soft` millimeters between.
fn edge(inside: f64, soft: f64) -> f64 {
    (inside / soft + 0.5).clamp(0.0, 1.0)
}

fn power(x: f64, exponent: f64) -> f64 {
    x.powf(exponent)
}

/// Six photos that are not ideal.
pub fn six_lenses() -> [Lens; 6] {
    let straight = [
        [180.0, 130.0],
        [2080.0, 160.0],
        [2100.0, 2840.0],
        [150.0, 2860.0],
    ];
    let leaning = [
        [330.0, 420.0],
        [1930.0, 330.0],
        [2170.0, 2800.0],
        [90.0, 2700.0],
    ];
    let turned = [
        [2120.0, 2800.0],
        [170.0, 2870.0],
        [110.0, 180.0],
        [2090.0, 110.0],
    ];
    let one = Lens {
        name: "power of 1/2.4, near lamp, pane of glare",
        corners: straight,
        tone: |x| power(x, 1.0 / 2.4),
        lamp: |at| [0.82, 0.8, 0.74].map(|v| v * near(at, [60.0, 80.0], 450.0)),
        // A window: a pane with a bar.
        glare: |[x, y]| {
            let pane = edge(18.0 - (x - 140.0).abs(), 12.0) * edge(30.0 - (y - 110.0).abs(), 14.0);
            [0.13, 0.15, 0.18].map(|v| v * pane * edge((x - 140.0).abs() - 2.0, 6.0))
        },
        wave: 0.5,
        photons: 4.0,
        quality: 88,
        printer: [-0.02, -0.02, -0.03],
    };
    [
        one,
        Lens {
            name: "logarithm, tube of glare, leaning",
            corners: leaning,
            tone: |x| (1.0 + 18.0 * x).ln() / 19f64.ln(),
            lamp: |[x, y]| [0.6, 0.57, 0.5].map(|v| v * (1.0 - 0.0012 * x - 0.0004 * y)),
            glare: |[x, y]| {
                let off = (0.8 * (x - 90.0) + 0.6 * (y - 160.0)) / 14.0;
                [0.1, 0.09, 0.08].map(|v| v / (1.0 + off.powi(4)))
            },
            printer: [0.03, 0.03, 0.03],
            ..one
        },
        Lens {
            name: "hyperbolic tangent, wide tail of glare, upside down",
            corners: turned,
            tone: |x| {
                let v = power(x, 1.0 / 2.2);
                let s = |t: f64| (1.3 * (t - 0.45)).tanh();
                (s(v) - s(0.0)) / (s(1.0) - s(0.0))
            },
            lamp: |at| [0.7, 0.75, 0.8].map(|v| v * near(at, [150.0, 200.0], 600.0)),
            glare: |[x, y]| {
                let far = ((x - 60.0).powi(2) + (y - 220.0).powi(2)) / 500.0;
                [0.2, 0.2, 0.2].map(|v| v / (1.0 + far).powf(1.5))
            },
            wave: 1.2,
            ..one
        },
        Lens {
            name: "crushed black, warm lamp, no glare, dark",
            tone: |x| (1.06 * power(x, 1.0 / 2.2) - 0.06).max(0.0),
            lamp: |[x, y]| [0.5, 0.44, 0.33].map(|v| v * (1.0 - 0.001 * y + 0.0005 * x)),
            glare: |_| [0.0; 3],
            photons: 1.5,
            printer: [0.02, 0.0, -0.02],
            ..one
        },
        Lens {
            name: "raised black, window from the left, haze",
            corners: leaning,
            tone: |x| 0.04 + 0.94 * power(x, 1.0 / 1.9),
            lamp: |[x, _]| [0.72, 0.74, 0.78].map(|v| v * (-x / 260.0).exp()),
            glare: |_| [0.006, 0.006, 0.007],
            quality: 80,
            ..one
        },
        Lens {
            name: "soft shoulder, two small lamps",
            tone: |x| power(1.25 * x / (0.25 + x), 1.0 / 1.6).min(1.0) * 0.98,
            lamp: |at| {
                let both = near(at, [20.0, 20.0], 380.0) + near(at, [190.0, 260.0], 420.0);
                [0.4, 0.38, 0.34].map(|v| v * both)
            },
            glare: |[x, y]| {
                let spot = |a: f64, b: f64| (-((x - a).hypot(y - b) / 11.0).powi(3)).exp();
                [0.2, 0.18, 0.14].map(|v| v * (spot(50.0, 90.0) + spot(170.0, 180.0)))
            },
            wave: 0.9,
            printer: [0.0, 0.0, 0.0],
            ..one
        },
    ]
}
