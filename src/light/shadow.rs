//! Cast shadows: where a part keeps the light from what lies behind it.

use crate::grid::Grid;

use super::shade::Lamp;

/// Where the shadow of `caster` falls that is `length_mm` long, measured on the panel away from the light: everything
/// that `caster` passes over when it is moved by up to that length, from where it touches what lies behind. Nothing
/// without a length, and none under a lamp straight above.
pub fn cast(caster: &Grid<bool>, lamp: &Lamp, length_mm: f64, mm_per_px: f64) -> Grid<bool> {
    let [x, y, _] = lamp.toward;
    let flat = x.hypot(y);
    let length = length_mm / mm_per_px;
    let mut shadow = Grid::filled(caster.width, caster.height, false);
    if flat < 1e-6 || length <= 0.0 {
        return shadow;
    }
    let (dx, dy) = (-x / flat, -y / flat);
    // Half a pixel a step leaves no gap.
    let steps = (2.0 * length).ceil() as usize;
    for step in 0..=steps {
        let t = length * step as f64 / steps as f64;
        let (sx, sy) = ((dx * t).round() as isize, (dy * t).round() as isize);
        for y in 0..caster.height {
            let Some(to_y) = y.checked_add_signed(sy).filter(|&v| v < caster.height) else {
                continue;
            };
            for x in 0..caster.width {
                if caster.at(x, y)
                    && let Some(to_x) = x.checked_add_signed(sx).filter(|&v| v < caster.width)
                {
                    shadow.data[to_y * caster.width + to_x] = true;
                }
            }
        }
    }
    shadow
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Geometry: the shadow of a disk of radius r, length d, is the disk and a band of it: area pi r² + 2 r d, and it
    /// reaches r + d away from the light.
    #[test]
    fn the_shadow_of_a_disk_is_a_stadium() {
        let (size, r, d) = (200usize, 6.0, 4.0);
        let place = |i: usize| {
            let at = |v: usize| (v as f64 + 0.5 - size as f64 / 2.0) * 0.2;
            (at(i % size), at(i / size))
        };
        let disk = Grid {
            width: size,
            height: size,
            data: (0..size * size)
                .map(|i| place(i).0.hypot(place(i).1) < r)
                .collect(),
        };
        for clock in [0.0f64, 315.0, 100.0] {
            let shadow = cast(&disk, &Lamp::new(clock, 40.0), d, 0.2);
            let area = shadow.data.iter().filter(|&&s| s).count() as f64 * 0.04;
            let expected = std::f64::consts::PI * r * r + 2.0 * r * d;
            assert!(
                (area / expected - 1.0).abs() < 0.02,
                "{clock}: {area} for {expected}"
            );
            let (sin, cos) = clock.to_radians().sin_cos();
            let reach = (0..size * size)
                .filter(|&i| shadow.data[i])
                .map(|i| -place(i).0 * sin + place(i).1 * cos)
                .fold(0.0, f64::max);
            assert!((reach - r - d).abs() < 0.2, "{clock}: {reach}");
        }
        assert!(
            !cast(&disk, &Lamp::new(0.0, 90.0), d, 0.2)
                .data
                .contains(&true)
        );
    }
}
