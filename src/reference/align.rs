//! Laying the photo onto the art: which place of the photo is seen at which place of the frame.

use kurbo::{Affine, Point};

use crate::error::{Error, Result};
use crate::grid::Grid;
use crate::job::{Align, Match};

use super::lines::LinesOnEdges;
use super::outline::{Similarity, best_similarity, warp_onto};
use super::points::{PointMap, STIFFNESS, Spline};
use super::shape::Silhouette;
use super::subject::{Overlap, Subject};
use super::{Photo, Warp};

/// Agreement of subject and silhouette from which the photo's frame already lies right; from memory.
const FRAME_FITS: f64 = 0.9;
/// Agreement beyond which lines are not even held against edges; from memory.
const SURELY_FITS: f64 = 0.95;
/// Photo and drawing of the same proportions (within this ratio) were most likely made over one another; then this
/// agreement is enough. From memory.
const SAME_SHAPE: f64 = 1.01;
const SAME_SHAPE_FITS: f64 = 0.6;
/// A silhouette that fills this part of the frame is a scene, and the photo's frame its frame; from memory.
const SCENE: f64 = 0.85;
/// Agreement the warp must reach, or the shapes are not alike.
const WARP_FITS: f64 = 0.97;
/// Outlines that are only turned, scaled and placed, and agree by less, hardly do; from memory.
const OUTLINES_AGREE: f64 = 0.75;
/// What a similarity must gain over the frame where the warp fails; from memory.
const SIMILARITY_GAIN: f64 = 0.1;
/// Lines must lie better on the photo's edges by this factor for the photo to be moved, or not to be bent; from memory.
const LINES_GAIN: f64 = 1.06;
/// A subject of which less than this lies in a drawing whose lines lie on edges is another thing; from memory.
const LEAST_INSIDE: f64 = 0.6;
/// Mesh of a point map, in frame pixels.
const NODE_PX: f64 = 8.0;
/// Places along the silhouette that hold it where points and outline are combined.
const RIM_PAIRS: usize = 60;

/// A part of the photo as stored (left, top, width, height in its pixels) and the part of the art's frame it is
/// stretched to (left, top, width, height in working pixels).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placement {
    pub crop: [usize; 4],
    pub target: [usize; 4],
}

impl Placement {
    /// How much wider (above 1) or higher (below 1) the photo becomes by being stretched.
    pub fn stretch(&self, photo: &Photo) -> f64 {
        let whole = self.crop == [0, 0, photo.width, photo.height];
        let (w, h) = if whole {
            photo.upright_size()
        } else {
            (self.crop[2], self.crop[3])
        };
        (self.target[2] as f64 / self.target[3] as f64) / (w as f64 / h as f64)
    }
}

/// How the photo lies.
#[derive(Debug, Clone)]
pub enum Lay {
    /// Stretched along its sides.
    Stretched(Placement),
    /// Seen through a warp; with a subject, only that is seen.
    Warped(Warp, Option<Subject>),
}

/// How the photo lies, and how well.
#[derive(Debug, Clone)]
pub struct Alignment {
    pub lay: Lay,
    /// What stands out in the photo, if it could be told: there it is evidence.
    pub subject: Option<Subject>,
    /// Drawn lines lie on the photo's edges, and what stands out lies elsewhere: it is not told.
    pub subject_is_other: bool,
    /// Agreement (intersection over union) of the subject's outline and the drawing's, 0 to 1; `None` where no
    /// subject could be told.
    pub agreement: Option<f64>,
    /// A sentence for the summary.
    pub told: String,
    /// Something asked for could not be done.
    pub fell_back: bool,
}

/// The subject of a photo, or why none could be told.
pub type Found = std::result::Result<Subject, &'static str>;

/// What the photo is laid onto.
pub struct Target<'a> {
    /// Width and height of the frame, in pixels.
    pub frame: (usize, usize),
    /// What the outermost drawn lines enclose; `None` without art.
    pub silhouette: Option<&'a Silhouette>,
    /// Where lines are drawn, in the frame; `None` without art.
    pub drawn: Option<&'a Grid<bool>>,
    pub mm_per_px: f64,
}

/// Lays the photo onto the target in the way chosen, or else in the best that applies: by the matching points; by its
/// frame, where the subject lies on the drawing already; by its edges, where the drawn lines lie on them; by its
/// outline; and where that fails, turned and scaled only, or by its frame.
///
/// # Errors
/// If the matching points do not say how the photo lies, mirror it, or fold it.
pub fn align(
    photo: &Photo,
    subject: Found,
    target: &Target,
    choice: Option<Align>,
    matches: &[Match],
) -> Result<Alignment> {
    let told = subject.as_ref().ok().cloned();
    let alignment = laid(photo, subject, target, choice, matches)?;
    Ok(Alignment {
        subject: told.filter(|_| !alignment.subject_is_other),
        ..alignment
    })
}

fn laid(
    photo: &Photo,
    subject: Found,
    target: &Target,
    choice: Option<Align>,
    matches: &[Match],
) -> Result<Alignment> {
    if choice == Some(Align::Points) && matches.is_empty() {
        return Err(Error::new(
            "the photo is to be laid by matching points, but there are none",
            "Add [[match]] entries to the job, or give a table of them with --matches.",
        ));
    }
    let Some(silhouette) = target.silhouette else {
        return Ok(frame(photo, target, None));
    };
    let by_points = match choice {
        Some(Align::Frame | Align::Subject | Align::Lines) => None,
        _ if matches.is_empty() => None,
        _ => Some(through_points(photo, target, silhouette, matches)?),
    };
    match (choice, by_points) {
        (None | Some(Align::Points), Some((map, warp))) => {
            return Ok(Alignment {
                subject: None,
                subject_is_other: false,
                agreement: None,
                told: format!("{} by {} matching points", map.name(), matches.len()),
                lay: Lay::Warped(warp, None),
                fell_back: false,
            });
        }
        (Some(Align::Outline), Some((map, _))) => {
            return outline_and_points(photo, subject, target, silhouette, matches, &map);
        }
        _ => {}
    }
    let by_frame = match &subject {
        Ok(subject) => frame(photo, target, Some((silhouette, subject))),
        Err(why) => {
            let lay = frame(photo, target, None);
            let told = format!("{} ({why})", lay.told);
            Alignment { told, ..lay }
        }
    };
    let fits = |least: f64| by_frame.agreement.is_some_and(|a| a >= least);
    let is_scene = silhouette.share() >= SCENE;
    let stays = is_scene || fits(FRAME_FITS);
    Ok(match (choice, &subject) {
        (Some(Align::Frame), _) => by_frame,
        (None, _) if is_scene || fits(SURELY_FITS) => by_frame,
        (None | Some(Align::Lines), subject) => {
            let (w, h) = photo.upright_size();
            let ratio = (w as f64 / h as f64) / (target.frame.0 as f64 / target.frame.1 as f64);
            let same_shape = ratio.max(1.0 / ratio) < SAME_SHAPE;
            let subject = subject.as_ref().ok();
            let found = subject.and_then(|subject| best_similarity(subject, silhouette));
            let other = match subject {
                Some(subject) if !(stays || same_shape && fits(SAME_SHAPE_FITS)) => {
                    by_outline(photo, target, silhouette, subject, found, &by_frame, false)
                }
                _ => by_frame.clone(),
            };
            let asked = choice == Some(Align::Lines);
            let seen = (subject, found);
            by_lines(photo, target, silhouette, seen, &by_frame, other, asked)
        }
        (_, Err(_)) => Alignment {
            fell_back: true,
            ..by_frame
        },
        (Some(Align::Subject), Ok(subject)) => boxed(photo, target, silhouette, subject),
        (Some(Align::Outline | Align::Points), Ok(subject)) => {
            let found = best_similarity(subject, silhouette);
            by_outline(photo, target, silhouette, subject, found, &by_frame, true)
        }
    })
}

/// The photo's edges on the drawn lines, from its frame or from where a similarity lays its subject; but its frame
/// itself, or what an `other` way bends, where the lines lie about as well there. Where they lie on edges nowhere it is
/// the other way, or the frame if two outlines hardly agree in that and the lines lie better in this.
fn by_lines(
    photo: &Photo,
    target: &Target,
    silhouette: &Silhouette,
    (subject, similarity): (Option<&Subject>, Option<(Similarity, f64)>),
    by_frame: &Alignment,
    other: Alignment,
    asked: bool,
) -> Alignment {
    let (width, height) = target.frame;
    let (w, h) = photo.upright_size();
    let across = Affine::scale_non_uniform(w as f64 / width as f64, h as f64 / height as f64);
    let on_none = |other: Alignment| match asked {
        false => other,
        true => Alignment {
            fell_back: true,
            told: format!("{} (the drawn lines lie on no edges of it)", other.told),
            ..other
        },
    };
    let drawn = target.drawn;
    let Some(on_edges) = drawn.and_then(|drawn| LinesOnEdges::new(photo, drawn, silhouette)) else {
        return on_none(other);
    };
    let of_frame = on_edges.score(|_| across);
    let starts = [Some(across), similarity.map(|(s, _)| s.affine())];
    let Some((map, score)) = on_edges.best_map(starts.into_iter().flatten()) else {
        // What stands out may be more or less than the thing. Two outlines that hardly agree move no photo under whose
        // frame the lines lie better.
        let hardly_agrees =
            photo.subject_box().is_none() && other.agreement.is_some_and(|a| a < OUTLINES_AGREE);
        return on_none(match &other.lay {
            Lay::Warped(warp, None)
                if hardly_agrees && on_edges.score(|at| warp.affine_at(at)) < of_frame =>
            {
                by_frame.clone()
            }
            _ => other,
        });
    };
    let shown = |map: Affine| {
        move |[x, y]: [f64; 2]| {
            let at = map * Point::new(x, y);
            [at.x, at.y]
        }
    };
    let overlap = |map: Affine| subject.map(|s| s.overlap(silhouette, shown(map)));
    if !asked {
        if on_edges.fits(of_frame) && score < LINES_GAIN * of_frame {
            return on_lines(by_frame.clone(), overlap(across));
        }
        if let Lay::Warped(warp, Some(_)) = &other.lay
            && score < LINES_GAIN * on_edges.score(|at| warp.affine_at(at))
        {
            return other;
        }
    }
    let overlap = overlap(map);
    let lay = Alignment {
        subject: None,
        subject_is_other: false,
        agreement: overlap.map(Overlap::agreement),
        told: "its edges on the drawn lines, turned, scaled, stretched and placed".to_owned(),
        lay: Lay::Warped(Warp::new(width, height, NODE_PX, shown(map)), None),
        fell_back: false,
    };
    on_lines(lay, overlap)
}

/// An alignment whose drawn lines lie on edges: what stands out in the photo but hardly lies in the drawing is not what
/// is drawn.
fn on_lines(alignment: Alignment, overlap: Option<Overlap>) -> Alignment {
    if overlap.is_none_or(|overlap| overlap.inside() >= LEAST_INSIDE) {
        return alignment;
    }
    Alignment {
        subject_is_other: true,
        agreement: None,
        told: format!(
            "{} (what stands out in the photo lies elsewhere)",
            alignment.told
        ),
        ..alignment
    }
}

/// The photo's frame on the art's.
fn frame(photo: &Photo, target: &Target, seen: Option<(&Silhouette, &Subject)>) -> Alignment {
    let (width, height) = target.frame;
    let (w, h) = photo.upright_size();
    let agreement = seen.map(|(silhouette, subject)| {
        subject.agreement(silhouette, |[x, y]| {
            [x / width as f64 * w as f64, y / height as f64 * h as f64]
        })
    });
    Alignment {
        subject: None,
        subject_is_other: false,
        lay: Lay::Stretched(Placement {
            crop: [0, 0, photo.width, photo.height],
            target: [0, 0, width, height],
        }),
        agreement,
        told: "its frame on the drawing's frame".to_owned(),
        fell_back: false,
    }
}

/// The subject's bounding box on the silhouette's.
fn boxed(photo: &Photo, target: &Target, silhouette: &Silhouette, subject: &Subject) -> Alignment {
    let (Some([x, y, w, h]), Some(from)) = (silhouette.bounds(), subject_box(photo, subject))
    else {
        return frame(photo, target, None);
    };
    let to_photo = move |[px, py]: [f64; 2]| {
        [
            from[0] + (px - x) / w * from[2],
            from[1] + (py - y) / h * from[3],
        ]
    };
    let (width, height) = target.frame;
    let agreement = subject.agreement(silhouette, to_photo);
    Alignment {
        subject: None,
        subject_is_other: false,
        lay: Lay::Warped(Warp::new(width, height, NODE_PX, to_photo), None),
        agreement: Some(agreement),
        told: "its subject's bounding box on the drawing's".to_owned(),
        fell_back: false,
    }
}

/// The bounding box of the subject in upright photo pixels: exact where transparency tells.
fn subject_box(photo: &Photo, subject: &Subject) -> Option<[f64; 4]> {
    photo.subject_box().or_else(|| subject.bounds())
}

/// Outline on outline; where the shapes are not alike, the similarity alone or what else is better.
fn by_outline(
    photo: &Photo,
    target: &Target,
    silhouette: &Silhouette,
    subject: &Subject,
    similarity: Option<(Similarity, f64)>,
    by_frame: &Alignment,
    asked: bool,
) -> Alignment {
    let Some((similarity, before)) = similarity else {
        let mut lay = by_frame.clone();
        lay.told = format!(
            "{} (the photo's subject has another shape than the drawing)",
            lay.told
        );
        lay.fell_back = asked;
        return lay;
    };
    let warp = warp_onto(
        subject,
        silhouette,
        |at| similarity.at(at),
        similarity.scale(),
        target.frame,
    );
    let (width, height) = target.frame;
    let mut why = "the drawing encloses nothing".to_owned();
    if let Some(warp) = warp {
        let reached = subject.agreement(silhouette, |at| warp.at(at));
        let folds = warp.least_jacobian(|_, _| true) <= 0.0;
        why = if folds {
            "their shapes differ so much that bending would fold the photo".to_owned()
        } else {
            format!("bent onto the drawing they agree by {reached:.2} only, {WARP_FITS} is needed")
        };
        if reached >= WARP_FITS && !folds {
            return Alignment {
                subject: None,
                subject_is_other: false,
                lay: Lay::Warped(warp, Some(subject.clone())),
                agreement: Some(reached),
                told: format!(
                    "its outline on the drawing's: turned, scaled and placed they agree by {before:.2}, bent by {reached:.2}"
                ),
                fell_back: false,
            };
        }
    }
    let frame_agrees = by_frame.agreement.unwrap_or(0.0);
    // A photo cut out by hand shows nothing but the subject: its box is sure.
    let boxed = boxed(photo, target, silhouette, subject);
    let box_agrees = boxed.agreement.unwrap_or(0.0);
    if photo.subject_box().is_some() && box_agrees >= before {
        return Alignment {
            told: format!("{} ({why})", boxed.told),
            fell_back: asked,
            ..boxed
        };
    }
    if before < frame_agrees + SIMILARITY_GAIN {
        return Alignment {
            told: format!("{} ({why})", by_frame.told),
            fell_back: asked,
            ..by_frame.clone()
        };
    }
    Alignment {
        subject: None,
        subject_is_other: false,
        lay: Lay::Warped(
            Warp::new(width, height, NODE_PX, |at| similarity.at(at)),
            None,
        ),
        agreement: Some(before),
        told: format!(
            "its outline on the drawing's, turned, scaled and placed but not bent ({why})"
        ),
        fell_back: asked,
    }
}

/// The warp through matching points.
fn through_points(
    photo: &Photo,
    target: &Target,
    silhouette: &Silhouette,
    matches: &[Match],
) -> Result<(PointMap, Warp)> {
    let next =
        "Check the pairs: reference in photo pixels, art in millimeters, both from the top left.";
    let map = PointMap::through(matches).ok_or_else(|| {
        Error::file(
            &photo.path,
            format!(
                "{} matching points do not say how the photo lies; expected two or more, apart and not on one line",
                matches.len()
            ),
            next,
        )
    })?;
    refuse_outside(photo, target, matches)?;
    let warp = bent(target, &map);
    refuse_folding(photo, target, silhouette, &warp, matches, next)?;
    Ok((map, warp))
}

/// The warp of a map over the whole frame.
fn bent(target: &Target, map: &PointMap) -> Warp {
    let (width, height) = target.frame;
    let mm = target.mm_per_px;
    Warp::new(width, height, NODE_PX, |[x, y]| map.at([x * mm, y * mm]))
}

/// Refuses a pair one of whose places is not in its picture.
fn refuse_outside(photo: &Photo, target: &Target, matches: &[Match]) -> Result<()> {
    let (w, h) = target.frame;
    let art = [w, h].map(|v| v as f64 * target.mm_per_px);
    let picture = <[usize; 2]>::from(photo.upright_size()).map(|v| v as f64);
    let inside = |at: [f64; 2], size: [f64; 2]| {
        (0..2).all(|c| (-EDGE_SLACK..=size[c] + EDGE_SLACK).contains(&at[c]))
    };
    for (i, pair) in matches.iter().enumerate() {
        let wrong = if !inside(pair.reference, picture) {
            Some(("reference", pair.reference, picture, "pixels, the photo"))
        } else if !inside(pair.art, art) {
            Some(("art", pair.art, art, "millimeters, the drawing"))
        } else {
            None
        };
        if let Some((what, [x, y], [w, h], unit)) = wrong {
            return Err(Error::file(
                &photo.path,
                format!(
                    "{what} = [{x}, {y}] of the matching point number {} lies outside: in {unit} is {w:.0} x {h:.0}",
                    i + 1
                ),
                "Write reference in pixels of the upright photo and art in millimeters on the drawing, both from the top left.",
            ));
        }
    }
    Ok(())
}

/// The pairs, as a person counts them, that fold the photo: those without any one of which nothing folds, or else those
/// beside the place where it is worst; at most [`MOST_NAMED`], nearest to that place first.
fn folding(matches: &[Match], worst: [f64; 2], without: impl Fn(&[Match]) -> bool) -> Vec<usize> {
    let far = |i: usize| {
        let [x, y] = matches[i].art;
        (x - worst[0]).hypot(y - worst[1])
    };
    let mut nearest: Vec<usize> = (0..matches.len()).collect();
    nearest.sort_by(|&a, &b| far(a).total_cmp(&far(b)));
    let cures = |i: &usize| {
        let mut rest = matches.to_vec();
        rest.remove(*i);
        rest.len() > 2 && without(&rest)
    };
    let tried = nearest.iter().copied().take(MOST_TRIED);
    let mut named: Vec<usize> = tried.filter(cures).take(MOST_NAMED).collect();
    if named.is_empty() {
        named = nearest;
        named.truncate(MOST_NAMED);
    }
    named.sort_unstable();
    named.into_iter().map(|i| i + 1).collect()
}

/// A point on the very edge may be a rounding step outside, in pixels or millimeters.
const EDGE_SLACK: f64 = 0.5;
/// Pairs that are named as folding the photo: which of two neighbors is wrong, only a person can tell.
const MOST_NAMED: usize = 2;
/// Pairs that are left out by turns to find the one that folds the photo.
const MOST_TRIED: usize = 40;

/// Refuses a warp that folds or mirrors the photo anywhere on the drawing.
fn refuse_folding(
    photo: &Photo,
    target: &Target,
    silhouette: &Silhouette,
    warp: &Warp,
    matches: &[Match],
    next: &str,
) -> Result<()> {
    let (width, height) = target.frame;
    let [x0, y0, w, h] = silhouette
        .bounds()
        .unwrap_or([0.0, 0.0, width as f64, height as f64]);
    let on_drawing =
        |x: f64, y: f64| x + warp.step >= x0 && y + warp.step >= y0 && x <= x0 + w && y <= y0 + h;
    if warp.least_jacobian(on_drawing) > 0.0 {
        return Ok(());
    }
    // Where it is worst, for the person.
    let worst = warp.worst_place(on_drawing).map(|v| v * target.mm_per_px);
    let without = |rest: &[Match]| {
        PointMap::through(rest)
            .is_some_and(|map| bent(target, &map).least_jacobian(on_drawing) > 0.0)
    };
    let pairs: Vec<String> = folding(matches, worst, without)
        .into_iter()
        .map(|i| {
            let ([x, y], [u, v]) = (matches[i - 1].reference, matches[i - 1].art);
            format!("number {i} (reference [{x:.0}, {y:.0}], art [{u:.1}, {v:.1}])")
        })
        .collect();
    Err(Error::file(
        &photo.path,
        format!(
            "the matching points fold or mirror the photo near [{:.0}, {:.0}] mm on the drawing; look at {}",
            worst[0],
            worst[1],
            pairs.join(" and ")
        ),
        next,
    ))
}

/// Points and outline together: the outline starts from the points, and a spline holds both.
fn outline_and_points(
    photo: &Photo,
    subject: Found,
    target: &Target,
    silhouette: &Silhouette,
    matches: &[Match],
    map: &PointMap,
) -> Result<Alignment> {
    let by_points = |why: &str| -> Result<Alignment> {
        let (map, warp) = through_points(photo, target, silhouette, matches)?;
        Ok(Alignment {
            subject: None,
            subject_is_other: false,
            agreement: None,
            told: format!(
                "{} by {} matching points, without its outline ({why})",
                map.name(),
                matches.len()
            ),
            lay: Lay::Warped(warp, None),
            fell_back: true,
        })
    };
    let subject = match subject {
        Ok(subject) => subject,
        Err(why) => return by_points(why),
    };
    let mm = target.mm_per_px;
    let (width, height) = target.frame;
    let start = |[x, y]: [f64; 2]| map.at([x * mm, y * mm]);
    let photo_px = Warp::new(width, height, NODE_PX, start).scale();
    let Some(onto) = warp_onto(&subject, silhouette, start, photo_px, target.frame) else {
        return by_points("the drawing encloses nothing");
    };
    let mut pairs = matches.to_vec();
    let mut stiffness = vec![0.0; pairs.len()];
    for at in silhouette.rim(RIM_PAIRS) {
        pairs.push(Match {
            reference: onto.at(at),
            art: at.map(|v| v * mm),
        });
        stiffness.push(STIFFNESS);
    }
    let Some(spline) = Spline::through(&pairs, &stiffness) else {
        return by_points("the points contradict each other");
    };
    let warp = Warp::new(width, height, NODE_PX, |[x, y]| spline.at([x * mm, y * mm]));
    refuse_folding(
        photo,
        target,
        silhouette,
        &warp,
        matches,
        "Check the pairs, above all those near the outline.",
    )?;
    let agreement = subject.agreement(silhouette, |at| warp.at(at));
    Ok(Alignment {
        subject: None,
        subject_is_other: false,
        agreement: Some(agreement),
        told: format!(
            "its outline on the drawing's and {} matching points in place: outlines agree by {agreement:.2}",
            matches.len()
        ),
        lay: Lay::Warped(warp, (agreement >= WARP_FITS).then_some(subject)),
        fell_back: false,
    })
}
