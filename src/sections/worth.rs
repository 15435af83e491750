//! Sections must earn their place: each costs a person a line to trace, a number to look up and one more thing to do.
//!
//! What a section shows is by how much the form lies nearer to its own band than to a neighbor's, squared and summed
//! over its area. It stays as long as that is more than what it costs; the costs are stated here and nowhere else.
//! Texture leaves lumps in a form, as large as its scale: in a textured part a section must show more than such a lump.

use std::collections::BTreeMap;

use imageproc::region_labelling::Connectivity;

use crate::color::{Lab, Mean};
use crate::grid::Grid;

use super::metric::Metric;
use super::regionwise::regionwise;

/// Cost of one more section, in squared units of L*a*b* over the smallest area that the detail allows: a section of
/// that area stays if it is 11 away from what is around it. From memory.
const SECTION: f64 = 120.0;
/// Cost of a millimeter of border, in squared units of L*a*b* times square millimeters; from memory.
const BORDER_MM: f64 = 25.0;
/// Cost of one more section where the photo scatters about the form, per squared unit of scatter (L*) over the square of
/// the form's scale: the scatter is a median of what is left when all that neighbors share is taken out, so that lumps
/// are several times as high. From memory.
const DOUBT: f64 = 200.0;
/// What a section costs more, as a multiple, where the photo is out of focus: it shows nothing of the subject. From
/// memory.
const OUT_OF_FOCUS: f64 = 3.0;
/// Length of a smooth border per crack between pixels, in pixels: the mean over all directions.
const PER_CRACK: f64 = std::f64::consts::FRAC_PI_4;

/// How the sections of one region are judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// What one must show more, see [`doubt`].
    pub doubt: f64,
    /// How its bands are told from each other.
    pub metric: Metric,
}

/// What a section must be worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worth {
    /// Smallest section, whatever it shows, in square millimeters.
    pub least_mm2: f64,
    pub mm_per_px: f64,
}

/// What a section must show more where the photo scatters so far (L*) about a form of that scale, in squared units of
/// L*a*b* times square millimeters.
pub fn doubt(scatter: f32, scale_mm: f64) -> f64 {
    DOUBT * (f64::from(scatter) * scale_mm).powi(2)
}

/// One connected piece of a label.
#[derive(Clone)]
struct Piece {
    label: u8,
    colors: Mean,
    /// Sums of the squares of L*, and of a* and b*.
    squares: [f64; 2],
    /// Sum of how far its pixels are out of focus.
    vague: f64,
    /// Cracks shared with each neighboring piece.
    around: BTreeMap<u32, usize>,
}

impl Piece {
    /// What it costs, as a multiple of what one in focus does.
    fn times_dearer(&self) -> f64 {
        1.0 + OUT_OF_FOCUS * self.vague / self.colors.pixels.max(1) as f64
    }

    /// Sum of the squared distances of its pixels to a color.
    fn away(&self, color: Lab, metric: Metric) -> f64 {
        let sums = self.colors.sums();
        let color = [color.l, color.a, color.b].map(f64::from);
        let n = self.colors.pixels as f64;
        // Beside the sums of the squares.
        let off = |c: usize| color[c] * (n * color[c] - 2.0 * sums[c]);
        let [light, rest] = self.squares;
        f64::from(metric.light) * (light + off(0))
            + f64::from(metric.color) * (rest + off(1) + off(2))
    }
}

/// Gives every piece of a label (from 1; 0 is unlabeled) that does not earn its place, or is too small, to the
/// neighboring label of its region that shows it best. A region of one piece keeps it, however small. `judged` says how,
/// by the region's value in `regions`, and `vague` how far every pixel is out of focus, 0 to 1.
pub fn keep_what_earns_its_place(
    label: &mut Grid<u8>,
    regions: &Grid<u16>,
    form: &Grid<Lab>,
    colors: &[Lab],
    judged: &[Judged],
    vague: &Grid<f32>,
    worth: Worth,
) {
    *label = regionwise(label, regions, 0, |mut own| {
        if own.has_one_label() {
            return own.label;
        }
        let (form, vague) = (form.cut_out(own.window), vague.cut_out(own.window));
        // Each round takes away at least one piece; rounds stop when none is left to go.
        while share_out(
            &mut own.label,
            &form,
            colors,
            judged[own.region],
            &vague,
            worth,
        ) {}
        own.label
    });
}

/// A round of it in one region (0 beyond it): whether anything went.
fn share_out(
    label: &mut Grid<u8>,
    form: &Grid<Lab>,
    colors: &[Lab],
    Judged { doubt, metric }: Judged,
    vague: &Grid<f32>,
    worth: Worth,
) -> bool {
    let mm2 = worth.mm_per_px * worth.mm_per_px;
    let (pieces, count) = label.pieces(Connectivity::Four);
    let list = look_over((&pieces, count), label, form, vague);
    let mut going: Vec<(f64, u32, u8)> = Vec::new();
    for (p, piece) in list.iter().enumerate().skip(1) {
        let times = piece.times_dearer();
        let too_small = (piece.colors.pixels as f64) * mm2 < worth.least_mm2;
        let one_more = SECTION * worth.least_mm2 + doubt;
        let mut cracks: BTreeMap<u8, usize> = BTreeMap::new();
        for (&q, &n) in &piece.around {
            *cracks.entry(list[q as usize].label).or_default() += n;
        }
        let best = cracks
            .iter()
            .map(|(&l, &n)| {
                let away = |l: u8| piece.away(colors[usize::from(l) - 1], metric);
                let shown = mm2 * (away(l) - away(piece.label));
                let length = n as f64 * PER_CRACK * worth.mm_per_px;
                (times * (one_more + BORDER_MM * length) - shown, l)
            })
            .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
        if let Some((gain, l)) = best
            && (too_small || gain > 0.0)
        {
            // The too small ones first.
            let gain = if too_small { f64::MAX } else { gain };
            going.push((gain, p as u32, l));
        }
    }
    if going.is_empty() {
        return false;
    }
    let order = |p: u32| (list[p as usize].colors.pixels, p);
    going.sort_by(|a, b| b.0.total_cmp(&a.0).then(order(a.1).cmp(&order(b.1))));
    // What a piece joins must not move away in the same round.
    let mut frozen = vec![false; list.len()];
    let mut moved = vec![0u8; list.len()];
    for (_, p, l) in going {
        if !frozen[p as usize] {
            moved[p as usize] = l;
            for &q in list[p as usize].around.keys() {
                frozen[q as usize] = true;
            }
        }
    }
    for (l, &p) in label.data.iter_mut().zip(&pieces.data) {
        if moved[p as usize] > 0 {
            *l = moved[p as usize];
        }
    }
    true
}

fn look_over(
    (pieces, count): (&Grid<u32>, usize),
    label: &Grid<u8>,
    form: &Grid<Lab>,
    vague: &Grid<f32>,
) -> Vec<Piece> {
    let none = Piece {
        label: 0,
        colors: Mean::default(),
        squares: [0.0; 2],
        vague: 0.0,
        around: BTreeMap::new(),
    };
    let mut list = vec![none; count + 1];
    for (i, &p) in pieces.data.iter().enumerate() {
        if p == 0 {
            continue;
        }
        let piece = &mut list[p as usize];
        piece.label = label.data[i];
        piece.colors.add(form.data[i]);
        let [l, a, b] = [form.data[i].l, form.data[i].a, form.data[i].b].map(f64::from);
        piece.squares[0] += l * l;
        piece.squares[1] += a * a + b * b;
        piece.vague += f64::from(vague.data[i]);
        for j in pieces.neighbors(i) {
            let q = pieces.data[j];
            if q > 0 && q != p {
                *piece.around.entry(q).or_default() += 1;
            }
        }
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gray(l: f32) -> Lab {
        Lab::new(l, 0.0, 0.0)
    }

    /// A field of 60 x 60 px, 12 mm wide: label 2 in a square of `side` pixels, 1 around it.
    fn square(side: usize, inner: f32, doubt: f64) -> (Grid<u8>, Grid<u8>) {
        square_in(0.0, side, inner, doubt)
    }

    /// The same so far out of focus.
    fn square_in(vague: f32, side: usize, inner: f32, doubt: f64) -> (Grid<u8>, Grid<u8>) {
        let mut label = Grid::filled(60, 60, 1u8);
        for y in 10..10 + side {
            for x in 10..10 + side {
                label.data[y * 60 + x] = 2;
            }
        }
        let colors = [gray(50.0), gray(inner)];
        let form = label.map(|l| colors[usize::from(l) - 1]);
        let mut kept = label.clone();
        let worth = Worth {
            least_mm2: 12.0,
            mm_per_px: 0.2,
        };
        let regions = Grid::filled(60, 60, 1u16);
        let judged = [0.0, doubt].map(|doubt| Judged {
            doubt,
            metric: Metric::WHOLE,
        });
        let vague = regions.map(|_| vague);
        keep_what_earns_its_place(&mut kept, &regions, &form, &colors, &judged, &vague, worth);
        (label, kept)
    }

    #[test]
    fn a_clear_large_piece_stays_a_faint_or_small_one_goes() {
        let (label, kept) = square(30, 70.0, 0.0);
        assert_eq!(label, kept);
        assert!(square(30, 54.0, 0.0).1.data.iter().all(|&l| l == 1));
        assert!(square(15, 90.0, 0.0).1.data.iter().all(|&l| l == 1));
    }

    #[test]
    fn a_lump_that_texture_leaves_goes_and_a_clear_tone_stays() {
        // 36 square millimeters, 10 and 25 away from what is around them.
        let textured = doubt(1.5, 3.0);
        assert_eq!(square(30, 60.0, 0.0).0, square(30, 60.0, 0.0).1);
        assert!(square(30, 60.0, textured).1.data.iter().all(|&l| l == 1));
        assert_eq!(square(30, 75.0, textured).0, square(30, 75.0, textured).1);
    }

    #[test]
    fn what_is_out_of_focus_must_show_more() {
        // 36 square millimeters: 14 away from what is around them shows 7056, and costs 1440 and 471 of border in focus.
        let stays = |vague: f32, inner: f32| {
            let (label, kept) = square_in(vague, 30, inner, 0.0);
            label == kept
        };
        assert!(stays(0.0, 64.0) && stays(0.5, 64.0) && !stays(1.0, 64.0));
        assert!(stays(1.0, 68.0));
    }

    /// A piece of the lighter tone that is as dull as the darker one around it: by lightness it is the lighter tone's.
    #[test]
    fn a_dull_piece_of_a_tone_is_not_given_to_a_darker_one() {
        let tones = [Lab::new(50.0, 20.0, 15.0), Lab::new(65.0, 50.0, 40.0)];
        let dull = Lab::new(64.0, 22.0, 15.0);
        let (label, _) = square(30, 70.0, 0.0);
        let form = label.map(|l| if l == 2 { dull } else { tones[0] });
        let kept = |metric: Metric| {
            let mut kept = label.clone();
            let regions = Grid::filled(60, 60, 1u16);
            let judged = [Judged { doubt: 0.0, metric }; 2];
            let worth = Worth {
                least_mm2: 12.0,
                mm_per_px: 0.2,
            };
            let sharp = regions.map(|_| 0.0);
            keep_what_earns_its_place(&mut kept, &regions, &form, &tones, &judged, &sharp, worth);
            kept == label
        };
        assert!(kept(Metric::of_tones(tones.into_iter().rev())));
        assert!(!kept(Metric::WHOLE));
    }
}
