//! Light on a form: how bright each place is, and which color that makes.

use palette::{LinSrgb, Srgb};

use crate::color::Srgb8;
use crate::grid::Grid;
use crate::job::WhiteShadows;

/// Share of the light that reaches every place from all around, on things that are black, and on things that are white:
/// pale things light each other's shadows. Chosen by looking at an apple, a cup, a lantern,
/// flowers and a snail. Where photos lie beside them, the first is theirs (`ambient`).
const AMBIENT: f64 = 0.22;
pub(super) const AMBIENT_ON_WHITE: f64 = 0.55;
/// A highlight lies where the form faces halfway between the lamp and the eye (Blinn 1977), whole to this many degrees
/// off and gone beyond these, on a ball: a spot with an edge, as it is left bare with a pen. Flatter forms turn less, and
/// have it as much narrower. From memory.
const HIGHLIGHT_DEG: f64 = 8.0;
const HIGHLIGHT_END_DEG: f64 = 12.0;
/// Light between places of one part takes on its color once more, so that its shadows keep about the chroma of the
/// middle tone, as those of a colorist do: the color's exponent in the deepest shadow is larger by this. Chosen by
/// looking at a bird, a bear, flowers and a snail, at 0, 0.2, 0.35 and 0.5.
const BOUNCE: f64 = 0.35;
/// Linear color, of luminance 1, that shadows on white have per unit of light that is missing: L*a*b* hues of 75 and 255
/// degrees with a chroma of 5 at L* 86. From memory.
const WARM: [f64; 3] = [1.247, 0.955, 0.721];
const COOL: [f64; 3] = [0.771, 1.033, 1.352];
/// Relative luminance of linear sRGB (IEC 61966-2-1).
const LUMINANCE: [f64; 3] = [0.2126, 0.7152, 0.0722];

/// Luminance below which a color is black, of white's 1.
const DARKEST: f64 = 1e-6;

/// A distant light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lamp {
    /// Unit vector toward the light: to the right, down, and up from the panel.
    pub toward: [f64; 3],
    /// Share of the light on things that are black that comes from all around, 0 to 1.
    pub ambient: f64,
}

impl Lamp {
    /// A light seen from the panel's middle in the direction `clock_deg`, clockwise from the top, `height_deg` above the
    /// panel (90 is straight above), with as much light from all around as looks well without a photo.
    pub fn new(clock_deg: f64, height_deg: f64) -> Self {
        let (sin, cos) = clock_deg.to_radians().sin_cos();
        let (up, flat) = height_deg.to_radians().sin_cos();
        Self {
            toward: [flat * sin, -flat * cos, up],
            ambient: AMBIENT,
        }
    }
}

/// Unit normals (to the right, down, up from the panel) of the form `u` of `inflate`, where `inside` says so; level
/// elsewhere. `roundness` is the sine of the form's tilt at its rim: 1 makes a disk a half sphere, 0.3 the
/// shallow cap of a larger one, 0 a flat disk.
pub fn normals(
    u: &Grid<f64>,
    inside: &Grid<bool>,
    roundness: f64,
    mm_per_px: f64,
) -> Vec<[f64; 3]> {
    // A disk of radius R has u = R² - r² and the normal (x, y, sqrt(u)) / R; adding R² (1 / roundness² - 1) to u makes
    // the sphere 1 / roundness times as large.
    let highest = u.data.iter().copied().fold(0.0, f64::max);
    let lift = highest * (1.0 / (roundness * roundness) - 1.0);
    let slope = |i: usize, back: Option<usize>, ahead: Option<usize>| {
        let known = |j: Option<usize>| j.filter(|&j| inside.data[j]);
        match (known(back), known(ahead)) {
            (Some(b), Some(a)) => (u.data[a] - u.data[b]) / (2.0 * mm_per_px),
            (None, Some(a)) => (u.data[a] - u.data[i]) / mm_per_px,
            (Some(b), None) => (u.data[i] - u.data[b]) / mm_per_px,
            (None, None) => 0.0,
        }
    };
    (0..u.data.len())
        .map(|i| {
            if !inside.data[i] || highest <= 0.0 || roundness <= 0.0 {
                return [0.0, 0.0, 1.0];
            }
            let (x, y) = (i % u.width, i / u.width);
            let across = slope(
                i,
                (x > 0).then(|| i - 1),
                (x + 1 < u.width).then_some(i + 1),
            );
            let along = slope(
                i,
                (y > 0).then(|| i - u.width),
                (y + 1 < u.height).then_some(i + u.width),
            );
            let n = [
                -across / 2.0,
                -along / 2.0,
                (u.data[i].max(0.0) + lift).sqrt(),
            ];
            let length = n.iter().map(|v| v * v).sum::<f64>().sqrt();
            if length > 0.0 {
                n.map(|v| v / length)
            } else {
                [0.0, 0.0, 1.0]
            }
        })
        .collect()
}

/// A part's color under a lamp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Paint {
    color: [f64; 3],
    /// Linear color that its shadows take on, per unit of light that is missing.
    shadow: [f64; 3],
    /// Its luminance, 0 (black) to 1: how much it lights its own shadows.
    pale: f64,
    /// Strength of the highlight, 0 (matte) to 1 (its center is white).
    gloss: f64,
    /// How wide it is beside that on a ball.
    spread: f64,
}

impl Paint {
    /// `roundness` is that of the form it covers; the whiter it is, the more its shadows are as `white_shadows` says.
    pub fn new(color: Srgb8, gloss: f64, roundness: f64, white_shadows: WhiteShadows) -> Self {
        let [r, g, b] = color.0;
        let linear: LinSrgb<f64> = Srgb::new(r, g, b).into_linear();
        let color = [linear.red, linear.green, linear.blue];
        // How white it is.
        let white = color.iter().copied().fold(1.0, f64::min);
        let tint = match white_shadows {
            WhiteShadows::Neutral => [1.0; 3],
            WhiteShadows::Warm => WARM,
            WhiteShadows::Cool => COOL,
        };
        let y = luminance(color).max(DARKEST);
        let shadow =
            std::array::from_fn(|c| (color[c] / y).powf(BOUNCE) * f64::powf(tint[c], white));
        Self {
            color,
            shadow,
            pale: luminance(color),
            gloss,
            spread: roundness,
        }
    }

    /// Light that a place with this normal gives back, by Lambert's law; 1 facing the lamp. Of the
    /// direct light the share `shadowed` is missing, 0 to 1: 1 is in a cast shadow.
    pub fn light(&self, normal: [f64; 3], lamp: &Lamp, shadowed: f64) -> f64 {
        let direct = (1.0 - shadowed) * dot(normal, lamp.toward).max(0.0);
        let ambient = lamp.ambient + (AMBIENT_ON_WHITE - lamp.ambient) * self.pale;
        ambient + (1.0 - ambient) * direct
    }

    /// How much of the highlight (Blinn 1977) a place shows, 0 to 1; seen from straight above.
    pub fn highlight(&self, normal: [f64; 3], lamp: &Lamp) -> f64 {
        if self.gloss <= 0.0 || self.spread <= 0.0 {
            return 0.0;
        }
        let [x, y, z] = lamp.toward;
        let between = [x, y, z + 1.0];
        let length = dot(between, between).sqrt();
        let cosine = dot(normal, between.map(|v| v / length)).clamp(-1.0, 1.0);
        let off = cosine.acos().to_degrees() / self.spread;
        let fall = (HIGHLIGHT_END_DEG - off) / (HIGHLIGHT_END_DEG - HIGHLIGHT_DEG);
        self.gloss * fall.clamp(0.0, 1.0)
    }

    /// The color at `light` times the light of the middle tone. What is brighter than paper pales toward white.
    pub fn shade(&self, light: f64, highlight: f64) -> Srgb8 {
        let missing = (1.0 - light).max(0.0);
        let tinted = std::array::from_fn(|c| self.color[c] * self.shadow[c].powf(missing));
        let dimmed = light * luminance(self.color) / luminance(tinted).max(DARKEST);
        let mut linear = tinted.map(|c| c * dimmed);
        let most = linear.iter().copied().fold(0.0, f64::max);
        if most > 1.0 {
            let y = luminance(linear).min(1.0);
            let keep = (1.0 - y) / (most - y);
            linear = linear.map(|c| (y + keep * (c - y)).clamp(0.0, 1.0));
        }
        let [r, g, b] = linear.map(|c| c + (1.0 - c) * highlight);
        let rgb: Srgb<u8> = Srgb::from_linear(LinSrgb::new(r, g, b));
        Srgb8([rgb.red, rgb.green, rgb.blue])
    }
}

pub fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

pub(super) fn luminance(linear: [f64; 3]) -> f64 {
    dot(linear, LUMINANCE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::inflate::{Node, inflate};

    /// Geometry: half past ten is up and to the left, at 45 degrees all three parts follow from the sine of 45.
    #[test]
    fn the_lamp_stands_where_the_clock_says() {
        let close = |a: [f64; 3], b: [f64; 3]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-12);
        assert!(close(
            Lamp::new(315.0, 45.0).toward,
            [-0.5, -0.5, 0.5f64.sqrt()]
        ));
        assert!(close(Lamp::new(90.0, 0.0).toward, [1.0, 0.0, 0.0]));
        assert!(close(Lamp::new(0.0, 90.0).toward, [0.0, 0.0, 1.0]));
    }

    /// The normals of a sphere, and of the cap of a sphere twice as large, are its radii: every normal of the form is
    /// found within 0.2 mm of where the sphere has it.
    #[test]
    fn normals_over_a_disk_are_the_radii_of_a_sphere() {
        let (size, r) = (204usize, 20.0);
        let place = |i: usize| {
            let at = |v: usize| (v as f64 + 0.5 - size as f64 / 2.0) * 0.2;
            (at(i % size), at(i / size))
        };
        let inside = Grid {
            width: size,
            height: size,
            data: (0..size * size)
                .map(|i| place(i).0.hypot(place(i).1) < r)
                .collect(),
        };
        let u = inflate(
            &inside.map(|i| if i { Node::Form } else { Node::Beyond }),
            0.2,
        );
        for roundness in [1.0, 0.5] {
            let found = normals(&u, &inside, roundness, 0.2);
            let mut worst = 0.0f64;
            for i in 0..found.len() {
                let (x, y) = place(i);
                // The slope of a sphere has no bound at its rim: the last 3 mm are left out, as in the check of the borders.
                if x.hypot(y) < r - 3.0 {
                    let [nx, ny, _] = found[i].map(|n| n * r / roundness);
                    worst = worst.max((nx - x).hypot(ny - y));
                }
            }
            assert!(worst < 0.2, "roundness {roundness}: {worst} mm off");
        }
    }

    fn plain(color: Srgb8) -> Paint {
        Paint::new(color, 0.0, 1.0, WhiteShadows::Neutral)
    }

    /// Lambert (1760): the direct part goes with the cosine, and is gone beyond 90 degrees.
    #[test]
    fn light_goes_with_the_cosine() {
        let paint = plain(Srgb8::new(0, 0, 0));
        let lamp = Lamp::new(0.0, 90.0);
        for degrees in [0.0f64, 30.0, 60.0, 89.0, 120.0] {
            let (sin, cos) = degrees.to_radians().sin_cos();
            let expected = AMBIENT + (1.0 - AMBIENT) * cos.max(0.0);
            assert!((paint.light([sin, 0.0, cos], &lamp, 0.0) - expected).abs() < 1e-12);
        }
        assert_eq!(paint.light([0.0, 0.0, 1.0], &lamp, 1.0), AMBIENT);
    }

    #[test]
    fn the_middle_tone_is_the_color_itself_and_more_light_pales_it_without_another_hue() {
        for color in [
            Srgb8::new(194, 69, 45),
            Srgb8::new(255, 255, 255),
            Srgb8::new(20, 60, 30),
        ] {
            assert_eq!(plain(color).shade(1.0, 0.0), color);
        }
        let bright = plain(Srgb8::new(230, 60, 40)).shade(2.5, 0.0);
        let [r, g, b] = bright.0;
        assert!(r == 255 && g > 60 && b > 40 && g < 200, "{bright}");
    }

    /// CIE 15, L*a*b*: scaling a color in linear light would lose chroma with lightness; a shadow keeps it within a
    /// tenth, and its hue within 9 degrees, which is what the choice of pens allows.
    #[test]
    fn a_shadow_keeps_chroma_and_hue() {
        for color in [
            Srgb8::new(194, 69, 45),
            Srgb8::new(157, 191, 219),
            Srgb8::new(127, 156, 70),
            Srgb8::new(244, 184, 117),
        ] {
            let (lab, dark) = (color.lab(), plain(color).shade(0.6, 0.0).lab());
            let chroma = |l: crate::color::Lab| l.a.hypot(l.b);
            let hue = |l: crate::color::Lab| l.b.atan2(l.a).to_degrees();
            assert!(dark.l < lab.l - 8.0);
            assert!((chroma(dark) / chroma(lab) - 1.0).abs() < 0.1, "{color}");
            assert!((hue(dark) - hue(lab)).abs() < 9.0, "{color}");
        }
    }

    /// Common practice, no source: warm grays lean to yellow, cool ones to blue; white in full light is bare paper.
    #[test]
    fn shadows_on_white_are_warm_or_cool_as_asked() {
        let white = Srgb8::new(255, 255, 255);
        let shaded = |shadows| Paint::new(white, 0.0, 1.0, shadows).shade(0.7, 0.0).lab();
        let [neutral, warm, cool] = [
            WhiteShadows::Neutral,
            WhiteShadows::Warm,
            WhiteShadows::Cool,
        ]
        .map(shaded);
        assert!(neutral.a.hypot(neutral.b) < 0.5);
        assert!(warm.b > 3.0 && warm.a > 0.0 && cool.b < -3.0 && cool.a < 0.0);
        for gray in [neutral, warm, cool] {
            assert!((gray.l - neutral.l).abs() < 0.5 && gray.a.hypot(gray.b) < 8.0);
        }
        for shadows in [WhiteShadows::Warm, WhiteShadows::Cool] {
            assert_eq!(Paint::new(white, 0.0, 1.0, shadows).shade(1.0, 0.0), white);
            // What is far from white hardly changes.
            let red = Srgb8::new(194, 69, 45);
            let tinted = Paint::new(red, 0.0, 1.0, shadows).shade(0.7, 0.0).lab();
            let own = plain(red).shade(0.7, 0.0).lab();
            assert!(crate::color::difference(tinted, own) < 1.0);
        }
    }
}
