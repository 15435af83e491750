//! Families: the local colors that the photo's pixels show, with shading and gloss taken out: clusters of its `colors`, until
//! `things` tells whose they are. What is rare and far from all of them, but as large as a hand can color, is an accent and
//! becomes a family of its own.

use crate::color::{Lab, Mean, unshaded};
use crate::grid::Grid;

use super::colors::{Clustering, Colors, NEUTRAL_CHROMA, body, distance, stretched};
use super::pieces::Pieces;
use super::vivid::{ACCENT_NIBS, colorable, is_vivid, stands_out};

/// Neutrals, or a family, below this share of the picture are not worth a group, unless they are an accent; from
/// memory.
pub const LEAST_SHARE: f32 = 0.02;
/// Most accents; from memory.
const MOST_ACCENTS: usize = 6;

/// How far an accent's hue is from every family, in units of compressed a*b*; from memory.
const ACCENT_APART: f32 = 16.0;

/// One local color.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Family {
    /// Compressed a* and b* at middle lightness; 0 for the neutrals of a clustering.
    center: [f32; 2],
    pub neutral: bool,
    pub accent: bool,
}

impl Family {
    /// The family of things of this compressed a* and b*.
    pub fn at(center: [f32; 2], accent: bool) -> Self {
        Self {
            center,
            neutral: center[0].hypot(center[1]) < NEUTRAL_CHROMA,
            accent,
        }
    }

    /// Compressed a* and b*.
    pub fn center(&self) -> [f32; 2] {
        self.center
    }

    /// The family of one given color.
    pub fn of(color: Lab) -> Self {
        Self::at(body(color).unwrap_or([0.0; 2]), false)
    }

    /// Whether a color is more than half as colorful as the family. Where a photo mixes it with the gray around it, that
    /// is the line between them: a hue shows far beyond.
    pub fn is_nearer_than_gray(&self, color: Lab) -> bool {
        let [a, b] = unshaded(color);
        2.0 * a.hypot(b) > stretched(self.center[0].hypot(self.center[1]))
    }

    /// Whether its color lies on the straight way from another family's to gray, where the other's gloss does.
    pub fn may_be_gloss_of(&self, other: &Self) -> bool {
        let [a, b] = other.center;
        let own = self.center;
        let square = a * a + b * b;
        if self.neutral || square == 0.0 {
            return self.neutral;
        }
        let along = (own[0] * a + own[1] * b) / square;
        let aside = distance(own, [along * a, along * b]);
        (0.0..1.0).contains(&along) && aside < NEUTRAL_CHROMA
    }
}

/// The families of what is seen. One more of them must lower the mean distance to the family's center by at least `gain`
/// (units of compressed a*b*). Accents are as large as a hand can color with a nib of `nib_px`. Never empty.
pub fn find_families(colors: &Colors, gain: f32, nib_px: f64) -> Vec<Family> {
    let neutral = Family {
        center: [0.0; 2],
        neutral: true,
        accent: false,
    };
    let least = LEAST_SHARE * colors.samples as f32;
    let mut families = Vec::new();
    if (colors.samples - colors.neutral) as f32 >= least.max(1.0) {
        let runs = &colors.clusterings;
        let gains_little = |pair: &[Clustering]| pair[0].distance - pair[1].distance < gain;
        let chosen = runs.windows(2).position(gains_little);
        let large = runs[chosen.unwrap_or(runs.len() - 1)]
            .clusters
            .iter()
            .filter(|&&(_, size)| size as f32 >= least);
        families.extend(large.map(|&(center, _)| Family {
            center,
            neutral: false,
            accent: false,
        }));
    }
    if colors.neutral as f32 >= least || families.is_empty() {
        families.push(neutral);
    }
    families.extend(accents(&colors.calm, &colors.seen, &families, nib_px));
    families
}

/// Small vivid things of a color that no family has.
fn accents(calm: &Grid<Lab>, seen: &Grid<bool>, families: &[Family], nib_px: f64) -> Vec<Family> {
    let far = |lab: Lab, families: &[Family]| {
        body(lab).is_some_and(|p| {
            is_vivid(lab)
                && families
                    .iter()
                    .all(|f| distance(p, f.center) >= ACCENT_APART)
        })
    };
    let rare = Grid {
        width: calm.width,
        height: calm.height,
        data: (0..calm.data.len())
            .map(|i| seen.data[i] && far(calm.data[i], families))
            .collect(),
    };
    if !rare.data.contains(&true) {
        return Vec::new();
    }
    let pieces = Pieces::of(&rare);
    let mut means = vec![Mean::default(); pieces.size.len()];
    for (&p, &color) in pieces.map.data.iter().zip(&calm.data) {
        means[p as usize].add(color);
    }
    let mut order: Vec<usize> = colorable(&pieces, nib_px).collect();
    order.sort_by_key(|&p| (usize::MAX - means[p].pixels, p));
    let mut found: Vec<Family> = Vec::new();
    for p in order {
        let Some(mean) = means[p].color() else {
            continue;
        };
        let known = |p: [f32; 2]| {
            found
                .iter()
                .any(|f| distance(p, f.center) < ACCENT_APART / 2.0)
        };
        let Some(center) = body(mean).filter(|&c| !known(c)) else {
            continue;
        };
        let reach = ACCENT_NIBS * nib_px;
        if found.len() < MOST_ACCENTS && stands_out(calm, &pieces.map, p as u32, mean, reach) {
            found.push(Family {
                center,
                neutral: false,
                accent: true,
            });
        }
    }
    found
}

/// The family a color belongs to; `None` where it is too dark to tell.
pub fn family_of(families: &[Family], lab: Lab) -> Option<usize> {
    nearest(families, lab, true)
}

/// The same where no line tells what is a thing: what is dull is no accent's, though it may have its hue.
pub fn family_of_place(families: &[Family], lab: Lab) -> Option<usize> {
    nearest(families, lab, is_vivid(lab))
}

/// The family of a color that need not be one of theirs, as a background's is not; `None` where it is none of them, or
/// gray.
pub fn family_like(families: &[Family], lab: Lab) -> Option<usize> {
    let point = body(lab).filter(|&point| distance(point, [0.0; 2]) >= NEUTRAL_CHROMA)?;
    let family = family_of(families, lab)?;
    (distance(point, families[family].center) < ACCENT_APART).then_some(family)
}

fn nearest(families: &[Family], lab: Lab, accents: bool) -> Option<usize> {
    let point = body(lab)?;
    let gray = distance(point, [0.0; 2]) < NEUTRAL_CHROMA;
    let neutral = nearest_of(families, point, |f| f.neutral).filter(|_| gray);
    let colored = || nearest_of(families, point, |f| !f.neutral && (accents || !f.accent));
    neutral.or_else(colored).or(Some(0))
}

/// The nearest to a compressed a* and b* of those families that `counts` names.
pub fn nearest_of(
    families: &[Family],
    point: [f32; 2],
    counts: impl Fn(&Family) -> bool,
) -> Option<usize> {
    let to = |f: &usize| distance(point, families[*f].center);
    (0..families.len())
        .filter(|&f| counts(&families[f]))
        .min_by(|f, g| to(f).total_cmp(&to(g)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::Srgb8;
    use crate::parts::find_colors;

    /// A color under less light: scaled in linear light.
    fn shaded(color: [f32; 3], light: f32, gloss: f32) -> Lab {
        use palette::{FromColor, LinSrgb};
        let [r, g, b] = color.map(|c| c * light + gloss);
        Lab::from_color(LinSrgb::new(r, g, b))
    }

    /// The colors of a picture all of which is one cell, with pixels too large to be smoothed.
    fn all_of(lab: Grid<Lab>) -> Colors {
        find_colors(
            &lab,
            &lab.map(|_| 1),
            &lab.map(|_| u8::MAX),
            lab.map(|_| false),
            &|_| false,
            10.0,
        )
    }

    #[test]
    fn shading_changes_no_local_color_and_gloss_no_hue() {
        for color in [[0.6, 0.05, 0.04], [0.1, 0.3, 0.05], [0.2, 0.1, 0.4]] {
            let full = body(shaded(color, 1.0, 0.0)).unwrap();
            let half = body(shaded(color, 0.3, 0.0)).unwrap();
            // Below L* 8 of one of X, Y, Z the cube root gives way to a line (CIE 15).
            assert!(distance(full, half) < 4.0, "{full:?} {half:?}");
            let glossy = body(shaded(color, 1.0, 0.1)).unwrap();
            let turn = full[1].atan2(full[0]) - glossy[1].atan2(glossy[0]);
            assert!(turn.abs().to_degrees() < 15.0, "{turn}");
        }
    }

    #[test]
    fn what_lies_between_a_color_and_gray_may_be_its_gloss() {
        let of = |light, gloss| Family::of(shaded([0.2, 0.06, 0.12], light, gloss));
        let berry = of(1.0, 0.0);
        for gloss in [0.1, 0.2, 0.4] {
            assert!(of(1.0, gloss).may_be_gloss_of(&berry), "{gloss}");
            assert!(!berry.may_be_gloss_of(&of(1.0, gloss)), "{gloss}");
        }
        let leaf = Family::of(shaded([0.1, 0.3, 0.05], 1.0, 0.1));
        assert!(!leaf.may_be_gloss_of(&berry) && !berry.may_be_gloss_of(&leaf));
    }

    #[test]
    fn what_a_photo_mixes_with_gray_is_the_colors_up_to_the_middle() {
        for color in [Lab::new(50.0, 20.0, -9.0), Lab::new(50.0, 60.0, 30.0)] {
            let family = Family::of(color);
            let mixed = |share: f32| Lab::new(50.0, share * color.a, share * color.b);
            assert!(family.is_nearer_than_gray(mixed(0.52)));
            assert!(!family.is_nearer_than_gray(mixed(0.48)));
        }
    }

    #[test]
    fn a_shaded_ball_on_gray_has_one_family_and_the_neutrals() {
        let size = 80;
        let ball = |i: usize| {
            let (x, y) = (i % size, i / size);
            let (u, v) = (x as f32 / 40.0 - 1.0, y as f32 / 40.0 - 1.0);
            let z = 1.0 - u * u - v * v;
            (z > 0.0).then(|| (0.6 * z.sqrt() - 0.4 * u - 0.4 * v).max(0.0))
        };
        let calm = Grid {
            width: size,
            height: size,
            data: (0..size * size)
                .map(|i| match ball(i) {
                    Some(light) => shaded([0.6, 0.1, 0.03], 0.1 + light, 0.0),
                    None => Srgb8::new(120, 120, 122).lab(),
                })
                .collect(),
        };
        let families = find_families(&all_of(calm), 1.4, 7.5);
        assert_eq!(families.len(), 2);
        assert_eq!(families.iter().filter(|f| f.neutral).count(), 1);
    }

    #[test]
    fn a_red_disk_in_the_green_is_an_accent_and_specks_are_none() {
        let draw = |radius: f32| Grid {
            width: 200,
            height: 200,
            data: (0..200 * 200)
                .map(|i| {
                    let (x, y) = ((i % 200) as f32 - 90.0, (i / 200) as f32 - 110.0);
                    if x.hypot(y) < radius {
                        Srgb8::new(200, 30, 30).lab()
                    } else {
                        Srgb8::new(60, 110 + (i * 37 % 40) as u8, 50).lab()
                    }
                })
                .collect(),
        };
        let accents = |radius: f32| {
            let families = find_families(&all_of(draw(radius)), 1.4, 7.5);
            families.iter().filter(|f| f.accent).count()
        };
        assert_eq!(accents(12.0), 1);
        assert_eq!(accents(5.0), 0);
    }
}
