//! Where everything lies in the working frame: stamps on the panel, pieces on sheets of card of their own.

use kurbo::{Affine, Rect};

use crate::error::{Error, Result};
use crate::job::{CardChoices, Lies};

use super::{Art, Ground, Image, nest};

/// Room between panel and pieces in the working frame, in millimeters: more than a border's blur reaches.
const APART_MM: f64 = 4.0;
/// Pieces lie on multiples of this, in millimeters: the coarsest pixels of the label field, so that equal pieces get
/// equal sections.
const RASTER_MM: f64 = 0.4;
/// Room between the cut line of a piece and the edge of its sheet, in millimeters; from memory.
const EDGE_MM: f64 = 4.0;
/// Inner corners of a cut line are rounded to this radius, in millimeters: what small scissors turn; from memory.
const SCISSORS_MM: f64 = 1.5;

/// From millimeters of an art of this size to where its middle lies at `at`, turned and mirrored about it.
pub fn placement(size_mm: [f64; 2], at: [f64; 2], turn: f64, mirror: bool) -> Affine {
    let [w, h] = size_mm;
    let across = if mirror { -1.0 } else { 1.0 };
    Affine::translate((at[0], at[1]))
        * Affine::rotate(turn.to_radians())
        * Affine::scale_non_uniform(across, 1.0)
        * Affine::translate((-w / 2.0, -h / 2.0))
}

/// The panel with its stamps, and pieces on sheets beside it. `art_of` says which of the arts every entry of the job is.
///
/// # Errors
/// If a piece is larger than its sheet.
pub fn lay(
    choices: &CardChoices,
    art_of: &[usize],
    arts: &[&Art],
) -> Result<(Vec<Ground>, Vec<Image>)> {
    let (mut images, mut pieces) = images(choices, art_of, arts);
    let bounds: Vec<Rect> = pieces.iter().map(bounds_of_cut).collect();
    let sizes: Vec<[f64; 2]> = bounds
        .iter()
        .map(|b| [b.width(), b.height()].map(|side| raster(side) + RASTER_MM))
        .collect();
    let sheet = choices.sheet.size.mm();
    let inside = sheet.map(|side| side - 2.0 * EDGE_MM);
    let Some(spots) = nest(&sizes, inside, raster(choices.sheet.room.mm())) else {
        let too_large = |s: &&[f64; 2]| s[0] > inside[0] || s[1] > inside[1];
        let p = sizes.iter().position(|s| too_large(&s)).unwrap_or(0);
        return Err(Error::new(
            format!(
                "the piece {} is {:.0} x {:.0} mm with its cut line, but a sheet of {} has room for {:.0} x {:.0} mm",
                pieces[p].name, sizes[p][0], sizes[p][1], choices.sheet.size, inside[0], inside[1]
            ),
            "Write [pieces] with a larger size, or make the piece smaller.",
        ));
    };
    // Only as much of every sheet as is used.
    let sheets = spots.iter().map(|s| s.sheet + 1).max().unwrap_or(0);
    let used: Vec<[f64; 2]> = (0..sheets)
        .map(|n| {
            let mine = spots.iter().zip(&sizes).filter(|(s, _)| s.sheet == n);
            mine.fold([0.0; 2], |[w, h]: [f64; 2], (s, size)| {
                [w.max(s.at[0] + size[0]), h.max(s.at[1] + size[1])]
            })
            .map(|v| raster(v + 2.0 * EDGE_MM))
        })
        .collect();
    let grounds = grounds(choices.panel.size.mm(), &used);
    for ((piece, spot), bounds) in pieces.iter_mut().zip(&spots).zip(&bounds) {
        piece.ground = spot.sheet + 1;
        let origin = grounds[piece.ground].rect;
        let snapped = |v: f64| (v / RASTER_MM).round() * RASTER_MM;
        let x = snapped(origin.x0 + EDGE_MM + spot.at[0] - bounds.x0 + RASTER_MM / 2.0);
        let y = snapped(origin.y0 + EDGE_MM + spot.at[1] - bounds.y0 + RASTER_MM / 2.0);
        piece.to_frame = Affine::translate((x, y)) * piece.to_frame;
    }
    images.extend(pieces);
    Ok((grounds, images))
}

/// Up to a multiple of the raster.
fn raster(v: f64) -> f64 {
    (v / RASTER_MM).ceil() * RASTER_MM
}

/// The stamps where they lie on the panel, and the pieces upright, not on any sheet yet.
fn images(choices: &CardChoices, art_of: &[usize], arts: &[&Art]) -> (Vec<Image>, Vec<Image>) {
    let (mut stamps, mut pieces) = (Vec::new(), Vec::new());
    for (entry, chosen) in choices.images.iter().enumerate() {
        let art = arts[art_of[entry]];
        let lying = |at| placement(art.frame.size_mm, at, chosen.turn, chosen.mirror);
        let image = |name: String, to_frame, cut, glued| Image {
            entry,
            name,
            art: art_of[entry],
            ground: 0,
            to_frame,
            cut,
            glued,
        };
        match &chosen.lies {
            Lies::Panel { at, .. } => {
                stamps.push(image(chosen.name.clone(), lying(*at), None, None));
            }
            Lies::Apart { count, at, cut } => {
                // Pieces are cut with everything that sticks out.
                let cut = art.whole.offset(cut.mm()).rounded_inside(SCISSORS_MM);
                let across = if chosen.mirror { -1.0 } else { 1.0 };
                let upright = Affine::scale_non_uniform(across, 1.0);
                for n in 0..*count {
                    let name = match count {
                        1 => chosen.name.clone(),
                        _ => format!("{} {}", chosen.name, n + 1),
                    };
                    let glued = at.get(n).map(|&at| lying(at));
                    pieces.push(image(name, upright, Some(cut.clone()), glued));
                }
            }
        }
    }
    (stamps, pieces)
}

fn bounds_of_cut(piece: &Image) -> Rect {
    let cut = piece.cut.as_ref();
    cut.map_or(Rect::ZERO, |cut| cut.placed(piece.to_frame).bounds())
}

/// The panel, and the used parts of the sheets below or beside it, whichever takes less of the frame.
fn grounds([w, h]: [f64; 2], used: &[[f64; 2]]) -> Vec<Ground> {
    let rect = Rect::new(0.0, 0.0, w, h);
    let mut grounds = vec![Ground { rect }];
    let high: f64 = used.iter().map(|s| s[1] + APART_MM).sum();
    let wide = used.iter().map(|s| s[0]).fold(0.0, f64::max);
    let below = w.max(wide) * (h + high);
    let beside = (w + APART_MM + wide) * h.max(high);
    let mut at = if below <= beside {
        [0.0, raster(h + APART_MM)]
    } else {
        [raster(w + APART_MM), 0.0]
    };
    for &[w, h] in used {
        let rect = Rect::new(at[0], at[1], at[0] + w, at[1] + h);
        grounds.push(Ground { rect });
        at[1] = raster(rect.y1 + APART_MM);
    }
    grounds
}
