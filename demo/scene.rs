//! Renders the demo's reference: a persimmon and two plums with leaves on a plate, in soft window light.
//!
//! `cargo run --release --example scene -- demo/reference.jpg` makes the picture again, byte for byte on one machine.
//! Sphere tracing of signed distance fields (Hart 1996), soft shadows and ambient occlusion by sampling the field, a
//! little surface texture, and sensor noise from a fixed seed. All shapes and numbers are invented.

use image::codecs::jpeg::JpegEncoder;
use rayon::prelude::*;

const WIDTH: usize = 1600;
const HEIGHT: usize = 1200;
/// Samples per pixel side.
const SAMPLES: usize = 2;
const FAR: f32 = 20.0;

type V = [f32; 3];

fn add(a: V, b: V) -> V {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}
fn sub(a: V, b: V) -> V {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}
fn scale(a: V, s: f32) -> V {
    a.map(|v| v * s)
}
fn dot(a: V, b: V) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
fn cross(a: V, b: V) -> V {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}
fn length(a: V) -> f32 {
    dot(a, a).sqrt()
}
fn unit(a: V) -> V {
    scale(a, 1.0 / length(a).max(1e-9))
}
fn mix(a: V, b: V, t: f32) -> V {
    add(scale(a, 1.0 - t), scale(b, t))
}
fn smoothstep(low: f32, high: f32, v: f32) -> f32 {
    let t = ((v - low) / (high - low)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

#[derive(Clone, Copy, PartialEq)]
enum Thing {
    Table,
    Plate,
    Persimmon,
    Calyx,
    Stem,
    Plum(u8),
    Leaf(u8),
}

/// Value noise in three dimensions, -1 to 1.
fn noise(p: V) -> f32 {
    let cell = p.map(f32::floor);
    let part = sub(p, cell).map(|t| t * t * (3.0 - 2.0 * t));
    let corner = |dx: i32, dy: i32, dz: i32| {
        let [x, y, z] = [
            cell[0] as i32 + dx,
            cell[1] as i32 + dy,
            cell[2] as i32 + dz,
        ];
        let mut h = (x.wrapping_mul(374_761_393)
            ^ y.wrapping_mul(668_265_263)
            ^ z.wrapping_mul(1_274_126_177)) as u32;
        h = (h ^ (h >> 13)).wrapping_mul(1_103_515_245);
        ((h ^ (h >> 16)) & 0xffff) as f32 / 32767.5 - 1.0
    };
    let mut sum = 0.0;
    for i in 0..8 {
        let (dx, dy, dz) = (i & 1, i >> 1 & 1, i >> 2);
        let w = |d: i32, t: f32| if d == 1 { t } else { 1.0 - t };
        sum += corner(dx, dy, dz) * w(dx, part[0]) * w(dy, part[1]) * w(dz, part[2]);
    }
    sum
}

const PERSIMMON: V = [-0.62, 0.78, 0.05];
const PLUMS: [(V, f32); 2] = [([0.78, 0.60, 0.34], 0.50), ([0.55, 0.64, -0.72], 0.53)];
/// Middle, direction on the table, length, width, lift of the tip.
const LEAVES: [(V, f32, f32, f32, f32); 2] = [
    ([-0.35, 0.16, 1.12], 2.85, 1.25, 0.30, 0.16),
    ([1.38, 0.18, -0.35], 0.75, 1.15, 0.30, 0.34),
];

fn persimmon(p: V) -> f32 {
    let q = sub(p, PERSIMMON);
    let angle = q[2].atan2(q[0]);
    let around = q[0].hypot(q[2]);
    // Four soft lobes, flattened, with a dimple under the calyx.
    let lobes = 1.0 + 0.022 * (4.0 * angle + 0.6).cos() * smoothstep(0.1, 0.5, around);
    let dimple = 0.10 * (-(around / 0.22).powi(2)).exp() * f32::from(u8::from(q[1] > 0.0));
    let squashed = [q[0] / lobes, (q[1] + dimple) * 1.22, q[2] / lobes];
    (length(squashed) - 0.82) * 0.8
}

fn calyx(p: V) -> f32 {
    let q = sub(p, PERSIMMON);
    let around = q[0].hypot(q[2]);
    let angle = q[2].atan2(q[0]);
    let reach = 0.25 + 0.20 * (2.0 * angle + 0.35).cos().abs().powf(0.7);
    // A curled skin a little above the fruit.
    let curl = 0.03 + 0.10 * (around / 0.45).powi(3);
    let skin = (persimmon(p) - curl).abs() - 0.018;
    let edge = around - reach;
    if q[1] < 0.2 {
        0.3 + around * 0.0
    } else {
        skin.max(edge) * 0.6
    }
}

fn stem(p: V) -> f32 {
    let (a, b) = (
        add(PERSIMMON, [0.0, 0.52, 0.0]),
        add(PERSIMMON, [0.07, 0.86, -0.03]),
    );
    let (pa, ba) = (sub(p, a), sub(b, a));
    let t = (dot(pa, ba) / dot(ba, ba)).clamp(0.0, 1.0);
    length(sub(pa, scale(ba, t))) - 0.055 - 0.02 * (t - 0.5).abs()
}

fn plum(p: V, which: usize) -> f32 {
    let (center, radius) = PLUMS[which];
    let q = sub(p, center);
    let turn = if which == 0 { 0.5f32 } else { -0.4 };
    let (x, z) = (
        q[0] * turn.cos() - q[2] * turn.sin(),
        q[0] * turn.sin() + q[2] * turn.cos(),
    );
    let crease = 0.03 * (-(x / 0.05).powi(2)).exp() * smoothstep(-0.2, 0.4, z + q[1]);
    (length([x * 1.04, q[1] * 0.98, z]) - radius + crease) * 0.85
}

/// Along and across the leaf, and height above its blade.
fn leaf_frame(p: V, which: usize) -> (f32, f32, f32) {
    let (middle, direction, long, _, lift) = LEAVES[which];
    let q = sub(p, middle);
    let along = (q[0] * direction.cos() + q[2] * direction.sin()) / long + 0.5;
    let across = -q[0] * direction.sin() + q[2] * direction.cos();
    let blade = lift * (along - 0.2).max(0.0).powi(2) + 0.35 * across.abs() * across.abs().min(0.3);
    (along, across, q[1] - blade)
}

fn leaf(p: V, which: usize) -> f32 {
    let (along, across, height) = leaf_frame(p, which);
    let (_, _, long, wide, _) = LEAVES[which];
    let half = wide
        * (std::f32::consts::PI * along.clamp(0.0, 1.0).powf(0.85))
            .sin()
            .max(0.0);
    let stalk = if along < 0.02 && along > -0.14 {
        0.02
    } else {
        0.0
    };
    let beyond = ((along - 0.5).abs() - if stalk > 0.0 { 0.64 } else { 0.5 }) * long;
    (across.abs() - half.max(stalk))
        .max(height.abs() - 0.014)
        .max(beyond)
        * 0.55
}

fn plate(p: V) -> f32 {
    let r = p[0].hypot(p[2]);
    let rim = 0.09 * smoothstep(1.35, 1.95, r);
    ((p[1] - 0.05 - rim).abs() - 0.035).max(r - 2.05) * 0.8
}

fn field(p: V) -> (f32, Thing) {
    let things = [
        (p[1], Thing::Table),
        (plate(p), Thing::Plate),
        (persimmon(p), Thing::Persimmon),
        (calyx(p), Thing::Calyx),
        (stem(p), Thing::Stem),
        (plum(p, 0), Thing::Plum(0)),
        (plum(p, 1), Thing::Plum(1)),
        (leaf(p, 0), Thing::Leaf(0)),
        (leaf(p, 1), Thing::Leaf(1)),
    ];
    things
        .into_iter()
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .expect("there are things")
}

fn normal(p: V) -> V {
    let e = 0.0015;
    let d = |axis: usize| {
        let (mut a, mut b) = (p, p);
        a[axis] += e;
        b[axis] -= e;
        field(a).0 - field(b).0
    };
    unit([d(0), d(1), d(2)])
}

fn march(from: V, along: V) -> Option<(V, Thing)> {
    let mut t = 0.02;
    for _ in 0..220 {
        let p = add(from, scale(along, t));
        let (d, thing) = field(p);
        if d < 0.0006 * t.max(0.5) {
            return Some((p, thing));
        }
        t += d;
        if t > FAR {
            break;
        }
    }
    None
}

/// Share of a broad light that is seen (Quilez's penumbra estimate by the closest miss).
fn shadow(from: V, along: V) -> f32 {
    let (mut seen, mut t) = (1.0f32, 0.03);
    for _ in 0..70 {
        let d = field(add(from, scale(along, t))).0;
        seen = seen.min(0.5 + 0.5 * d / (0.16 * t));
        if seen <= 0.0 || t > 6.0 {
            break;
        }
        t += d.clamp(0.015, 0.25);
    }
    let seen = seen.clamp(0.0, 1.0);
    seen * seen * (3.0 - 2.0 * seen)
}

fn occlusion(p: V, n: V) -> f32 {
    let mut sum = 0.0;
    for i in 1..=5 {
        let h = 0.06 * i as f32;
        sum += (h - field(add(p, scale(n, h))).0).max(0.0) / 1.6f32.powi(i);
    }
    (1.0 - 1.9 * sum).clamp(0.0, 1.0)
}

/// Linear color, gloss (0 to 1) and sharpness of the highlight.
fn surface(p: V, thing: Thing) -> (V, f32, f32) {
    let grain = noise(scale(p, 38.0));
    let broad = noise(scale(p, 3.1));
    match thing {
        Thing::Table => (
            scale([0.62, 0.50, 0.37], 1.0 + 0.05 * broad + 0.02 * grain),
            0.0,
            1.0,
        ),
        Thing::Plate => (scale([0.66, 0.76, 0.80], 1.0 + 0.012 * grain), 0.12, 60.0),
        Thing::Persimmon => {
            let height = (p[1] - PERSIMMON[1]) / 0.65;
            let ripe = mix(
                [0.86, 0.15, 0.02],
                [0.92, 0.27, 0.03],
                smoothstep(-0.6, 0.8, height + 0.3 * broad),
            );
            (scale(ripe, 1.0 + 0.03 * grain), 0.34, 55.0)
        }
        Thing::Calyx => (
            scale(
                mix([0.16, 0.30, 0.06], [0.30, 0.40, 0.12], 0.5 + 0.5 * broad),
                1.0 + 0.10 * grain,
            ),
            0.05,
            15.0,
        ),
        Thing::Stem => (scale([0.22, 0.13, 0.06], 1.0 + 0.2 * grain), 0.02, 10.0),
        Thing::Plum(which) => {
            let (center, radius) = PLUMS[usize::from(which)];
            let up = (p[1] - center[1]) / radius;
            let flesh = mix(
                [0.09, 0.015, 0.06],
                [0.22, 0.03, 0.10],
                smoothstep(-0.2, 0.9, noise(scale(p, 2.3)) + 0.2),
            );
            let bloom = 0.42 * smoothstep(-0.5, 0.9, up + 0.35 * noise(scale(p, 4.0)));
            (
                scale(mix(flesh, [0.30, 0.26, 0.48], bloom), 1.0 + 0.05 * grain),
                0.22,
                30.0,
            )
        }
        Thing::Leaf(which) => {
            let (along, across, _) = leaf_frame(p, usize::from(which));
            let rib = (-(across / 0.018).powi(2)).exp();
            let side =
                (-(((along * 9.0 - across.abs() * 9.0).fract() - 0.5) / 0.09).powi(2)).exp() * 0.35;
            let green = mix([0.07, 0.20, 0.04], [0.16, 0.33, 0.07], 0.5 + 0.5 * broad);
            (
                scale(
                    mix(green, [0.34, 0.46, 0.18], (rib + side).min(1.0) * 0.6),
                    1.0 + 0.05 * grain,
                ),
                0.10,
                22.0,
            )
        }
    }
}

fn shade(from: V, along: V) -> V {
    let Some((p, thing)) = march(from, along) else {
        return [0.62, 0.55, 0.45];
    };
    let n = normal(p);
    let (color, gloss, sharp) = surface(p, thing);
    let key = unit([-0.62, 1.0, 0.42]);
    let start = add(p, scale(n, 0.004));
    let lit = shadow(start, key);
    let wrap = if matches!(thing, Thing::Table | Thing::Plate) {
        0.0
    } else {
        0.12
    };
    let diffuse = ((dot(n, key) + wrap) / (1.0 + wrap)).max(0.0) * lit;
    let open = occlusion(p, n);
    let sky = 0.5 + 0.5 * n[1];
    let bounce = (0.5 - 0.5 * n[1]) * open;
    let light = add(
        add(
            scale([1.06, 0.99, 0.88], 1.02 * diffuse),
            scale([0.26, 0.29, 0.34], sky * open),
        ),
        scale([0.17, 0.13, 0.09], bounce),
    );
    let mut out = [
        color[0] * light[0],
        color[1] * light[1],
        color[2] * light[2],
    ];
    let half = unit(sub(key, along));
    let mirror = sub(along, scale(n, 2.0 * dot(along, n)));
    let fresnel = (1.0 + dot(along, n)).clamp(0.0, 1.0).powi(5);
    let glint = gloss * dot(n, half).max(0.0).powf(sharp) * lit * 2.2;
    let sheen = gloss * fresnel * (0.5 + 0.5 * mirror[1]).max(0.0) * open * 0.8;
    out = add(out, scale([1.0, 0.98, 0.94], glint + sheen));
    out
}

fn encode(linear: f32) -> f32 {
    // A soft shoulder, then the sRGB transfer function (IEC 61966-2-1).
    let v = linear * 1.28;
    let v = if v > 0.7 {
        0.7 + 0.3 * (1.0 - (-(v - 0.7) / 0.3).exp())
    } else {
        v
    };
    if v <= 0.003_130_8 {
        12.92 * v
    } else {
        1.055 * v.powf(1.0 / 2.4) - 0.055
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("usage: scene OUT.jpg")?;
    let eye = [0.1, 3.35, 5.0];
    let target = [0.02, 0.34, 0.0];
    let forward = unit(sub(target, eye));
    let right = unit(cross(forward, [0.0, 1.0, 0.0]));
    let up = cross(right, forward);
    let mut pixels = vec![0u8; WIDTH * HEIGHT * 3];
    pixels
        .par_chunks_mut(WIDTH * 3)
        .enumerate()
        .for_each(|(y, row)| {
            let mut state =
                0x9e37_79b9_7f4a_7c15u64 ^ (y as u64).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            let mut random = move || {
                state ^= state << 13;
                state ^= state >> 7;
                state ^= state << 17;
                (state >> 40) as f32 / (1u64 << 24) as f32
            };
            for x in 0..WIDTH {
                let mut sum = [0.0; 3];
                for s in 0..SAMPLES * SAMPLES {
                    let (sx, sy) = ((s % SAMPLES) as f32, (s / SAMPLES) as f32);
                    let u = (x as f32 + (sx + 0.5) / SAMPLES as f32) / WIDTH as f32 - 0.5;
                    let v = 0.5 - (y as f32 + (sy + 0.5) / SAMPLES as f32) / HEIGHT as f32;
                    let aspect = WIDTH as f32 / HEIGHT as f32;
                    let ray = unit(add(
                        forward,
                        add(scale(right, u * aspect * 0.67), scale(up, v * 0.67)),
                    ));
                    sum = add(sum, shade(eye, ray));
                }
                let mean = scale(sum, 1.0 / (SAMPLES * SAMPLES) as f32);
                // Sensor noise: a sum of four uniform values is close to normal.
                for c in 0..3 {
                    let noise = (0..4).map(|_| random()).sum::<f32>() - 2.0;
                    row[3 * x + c] = (encode(mean[c]) * 255.0 + 3.2 * noise)
                        .round()
                        .clamp(0.0, 255.0) as u8;
                }
            }
        });
    let file = std::io::BufWriter::new(std::fs::File::create(path)?);
    JpegEncoder::new_with_quality(file, 90).encode(
        &pixels,
        WIDTH as u32,
        HEIGHT as u32,
        image::ExtendedColorType::Rgb8,
    )?;
    Ok(())
}
