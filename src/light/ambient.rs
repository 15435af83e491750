//! How much ambient light the photos of a job show, so that parts that are lit beside them have as deep a shade.
//!
//! Shading scales the linear color of a thing without turning it (the body reflection of Shafer 1985), so the pixels of
//! a cell whose color points the same way differ by the light on them alone. Their dark and light are held against
//! those of a ball that the job's lamp lights by Lambert's law (1760): with the ambient share `a`, light at a cosine
//! `c` is `a + (1 - a) c`, which is solved for `a`.

use palette::{LinSrgb, Srgb};

use crate::art::Cells;
use crate::reference::{EVIDENT, Reference};

use super::shade::{AMBIENT_ON_WHITE, Lamp, dot, luminance};

/// Shares of a form's area that are darker than its dark and its light; lighter still is gloss, darker the ink and what
/// lies beside. From memory.
const DARK: f64 = 0.05;
const LIGHT: f64 = 0.8;
/// Colors are averaged over squares of this side, which takes out noise and fine texture but no form, in millimeters;
/// from memory.
const SQUARE_MM: f64 = 0.5;
/// Colors that point farther apart than this, in degrees, are gloss or another pigment (the spectral angle of Kruse et
/// al. 1993); from memory.
const SAME_BODY_DEG: f64 = 15.0;
/// Less of one body than this shows no form, in mm²; from memory.
const LEAST_AREA_MM2: f64 = 50.0;
/// What the ambient share on things that are black can be: deeper shade than the lower bound no pens follow, and with
/// more than the upper one forms are flat. From memory.
const BOUNDS: [f64; 2] = [0.02, 0.5];
/// Forms flatter than a ball tell of more ambient light than there is: the share is taken that this share of what is seen
/// stays below. From memory.
const FORMS: f64 = 0.25;
/// Places across the ball that stands for all forms.
const BALL: usize = 200;

/// The ambient share on things that are black (see [`Lamp`]) at which a ball under `lamp` is as dark and as light as the
/// cells that the photos color, as the roundest of these tell; `None` if no cell shows enough of one body. `photos`
/// lie in the frame of `cells`, and `owners` has the photo of every cell, by the cell's number.
pub fn ambient_of(
    photos: &[Reference],
    owners: &[Option<usize>],
    cells: &Cells,
    lamp: &Lamp,
    mm_per_px: f64,
) -> Option<f64> {
    let ball = dark_and_light(&mut ball(lamp));
    let side = ((SQUARE_MM / mm_per_px).round() as usize).max(1);
    let square_mm2 = (side as f64 * mm_per_px).powi(2);
    // The ambient share that each cell's light tells of, and its weight.
    let mut told: Vec<(f64, f64)> = colors_of_cells(photos, owners, cells, side)
        .iter()
        .map(|colors| lights_of_body(colors))
        .filter(|lights| lights.len() as f64 * square_mm2 >= LEAST_AREA_MM2)
        .filter_map(|mut lights| {
            let weight = lights.len() as f64;
            let share = share_between(dark_and_light(&mut lights), ball)?;
            // What is black has less of it than what is white, whose share is fixed and tells nothing.
            let white = quantile(&mut lights, 0.5).min(1.0);
            let black = (share - white * AMBIENT_ON_WHITE) / (1.0 - white);
            (white < 1.0).then_some((black, weight * (1.0 - white)))
        })
        .collect();
    told.sort_by(|a, b| a.0.total_cmp(&b.0));
    let enough = FORMS * told.iter().map(|t| t.1).sum::<f64>();
    let mut sum = 0.0;
    let found = told.iter().find(|(_, weight)| {
        sum += weight;
        sum >= enough
    });
    found.map(|(share, _)| share.clamp(BOUNDS[0], BOUNDS[1]))
}

/// Linear colors of what the photos show of every cell, by the cell's number, each the mean of a square of `side` pixels
/// that lies in the cell by half or more.
fn colors_of_cells(
    photos: &[Reference],
    owners: &[Option<usize>],
    cells: &Cells,
    side: usize,
) -> Vec<Vec<[f64; 3]>> {
    let mut colors = vec![Vec::new(); owners.len()];
    let (width, height) = (cells.map.width, cells.map.height);
    for y in (0..height.saturating_sub(side - 1)).step_by(side) {
        for x in (0..width.saturating_sub(side - 1)).step_by(side) {
            let cell = cells.map.at(x + side / 2, y + side / 2);
            let photo = owners[usize::from(cell)].and_then(|p| photos.get(p));
            let Some(photo) = photo.filter(|_| cell > 0) else {
                continue;
            };
            let pixels = (y..y + side).flat_map(|y| (x..x + side).map(move |x| (x, y)));
            let (mut sum, mut count) = ([0.0; 3], 0);
            for (x, y) in pixels {
                if cells.map.at(x, y) == cell && photo.evidence.at(x, y) >= EVIDENT {
                    let [r, g, b] = photo.picture.at(x, y);
                    let linear: LinSrgb<f64> = Srgb::new(r, g, b).into_linear();
                    sum[0] += linear.red;
                    sum[1] += linear.green;
                    sum[2] += linear.blue;
                    count += 1;
                }
            }
            if 2 * count >= side * side {
                colors[usize::from(cell)].push(sum.map(|v| v / f64::from(count as u32)));
            }
        }
    }
    colors
}

/// Luminances of the colors that point where the cell's middle color does.
fn lights_of_body(colors: &[[f64; 3]]) -> Vec<f64> {
    if colors.is_empty() {
        return Vec::new();
    }
    let unit = |color: [f64; 3]| {
        let length = dot(color, color).sqrt();
        (length > 0.0).then(|| color.map(|v| v / length))
    };
    let units: Vec<Option<[f64; 3]>> = colors.iter().map(|&color| unit(color)).collect();
    let middle = std::array::from_fn(|c| {
        let mut values: Vec<f64> = units.iter().flatten().map(|u| u[c]).collect();
        quantile(&mut values, 0.5)
    });
    let Some(body) = unit(middle) else {
        return Vec::new();
    };
    let least = SAME_BODY_DEG.to_radians().cos();
    let same = |u: &Option<[f64; 3]>| u.is_some_and(|u| dot(u, body) >= least);
    let of_body = colors.iter().zip(&units).filter(|(_, u)| same(u));
    of_body.map(|(&color, _)| luminance(color)).collect()
}

/// Cosines between the lamp and a half ball, 0 where it faces away, evenly over the disk that is seen of it.
fn ball(lamp: &Lamp) -> Vec<f64> {
    let at = |k: usize| (2 * k + 1) as f64 / BALL as f64 - 1.0;
    let places = (0..BALL * BALL).map(|i| (at(i % BALL), at(i / BALL)));
    places
        .filter_map(|(x, y)| {
            let z = 1.0 - x * x - y * y;
            (z >= 0.0).then(|| dot([x, y, z.sqrt()], lamp.toward).max(0.0))
        })
        .collect()
}

fn dark_and_light(lights: &mut [f64]) -> [f64; 2] {
    [quantile(lights, DARK), quantile(lights, LIGHT)]
}

/// The ambient share at which light on the cosines of `ball` is as far apart as `seen`; `None` if that is all black.
fn share_between(seen: [f64; 2], ball: [f64; 2]) -> Option<f64> {
    if seen[1] <= 0.0 {
        return None;
    }
    let ratio = seen[0] / seen[1];
    Some((ratio * ball[1] - ball[0]) / (1.0 - ball[0] - ratio * (1.0 - ball[1])))
}

/// The value below which this share of all lies; 0 of none.
fn quantile(values: &mut [f64], share: f64) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let at = (share * (values.len() - 1) as f64).round() as usize;
    *values.select_nth_unstable_by(at, f64::total_cmp).1
}
