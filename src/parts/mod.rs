//! Parts: what has one local color. From the photo as it lies to cells that belong to parts, and to the form of each.
//!
//! Everything here works at half the working frame's resolution, like the label field.

mod colors;
mod families;
mod flat;
mod focus;
mod form;
mod highlight;
mod owners;
mod pieces;
mod texture;
mod things;
mod vivid;

pub use colors::{Colors, find_colors};
use families::family_of_place;
pub(crate) use families::{Family, family_of, find_families};
pub(crate) use form::fit_form;
pub use form::{Form, Patch};
pub(crate) use vivid::ACCENT_DIFFERENCE;
use vivid::keep_colorful_half;

use std::borrow::Cow;

use rayon::prelude::*;

use crate::color::{Lab, Mean, difference};
use crate::error::{Error, Result};
use crate::grid::{Grid, Window, bounds_of, largest_first, squared_distance_to_rim, within};
use crate::reference::EVIDENT;
use focus::out_of_focus;
use highlight::{Search, restore_highlights};
use owners::own_cells;
use things::families_of_things;

/// How far the colors of two things run into each other in a photo, in millimeters; from memory.
const MIXED_MM: f64 = 0.5;
/// Bounds of a form's scale, in millimeters; from memory.
const SCALE_MM: [f64; 2] = [0.4, 6.0];
/// A highlight or a shadow's edge is at least this many nibs wide.
const RELIEF_NIBS: f64 = 2.0;
/// Smoothing of what the fit leaves over, as a part of its scale; from memory.
const RELIEF_SHARE: f64 = 0.4;
/// Scatter about the form, in L*, at which its scale is the share of the width that the detail says; the scale goes with
/// the scatter between these bounds. From memory.
const CALM_SCATTER: f32 = 0.4;
const LEAST_WIDTH: f64 = 0.5;
const MOST_WIDTH: f64 = 2.0;
/// Within this share of the part's width another hue is pigment, and no change of the part's own; from memory.
const PIGMENT_SHARE: f64 = 0.5;
/// Lit parts nearer to each other than this share a family, in CIEDE2000; from memory.
const SAME_COLOR: f32 = 5.0;
/// Families there may be: their indices plus 1 are bytes in a map.
const MOST_FAMILIES: usize = u8::MAX as usize;
/// Less evidence than this share of a region says nothing about its form; from memory.
const LEAST_EVIDENCE: f64 = 0.03;

/// A piece of the drawing that is labeled by itself: a cell, or one family's share of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Region {
    pub cell: u16,
    /// The families its bands come from: one in a cell closed by drawn lines, all in an open one.
    pub families: Vec<usize>,
    /// Scale at which its borders turn, in millimeters; `None` in an open or a lit cell, where that of the detail holds.
    pub scale_mm: Option<f64>,
    /// Diameter of its largest inscribed circle, in millimeters.
    pub width_mm: f64,
    /// What the photo scatters about its form, in L*; 0 in an open cell.
    pub scatter: f32,
    /// It has a color and no photo: what it shows is nothing but light on its form.
    pub lit: bool,
}

impl Region {
    /// Before it is known how wide it is and how it is lit.
    fn of(cell: u16, families: Vec<usize>) -> Self {
        Self {
            cell,
            families,
            scale_mm: None,
            width_mm: 0.0,
            scatter: 0.0,
            lit: false,
        }
    }
}

/// The parts of a scene, at half resolution.
#[derive(Debug, Clone)]
pub struct Parts {
    pub families: Vec<Family>,
    /// Index of the region plus 1; 0 where nothing is colored.
    pub map: Grid<u16>,
    /// Index of the family plus 1; 0 where nothing is colored.
    pub family: Grid<u8>,
    pub regions: Vec<Region>,
    /// The form of every region; in an open cell the photo itself.
    pub form: Grid<Lab>,
    /// How far it is out of focus, 0 to 1; 0 in closed cells, which show a thing of their own.
    pub vague: Grid<f32>,
    /// Cells for which the photo shows nothing.
    pub bare: Vec<u16>,
    /// Large cells that the photo shows in flat light: their tones are those of their outline's form.
    pub flat: Vec<u16>,
    /// How the photo fits the closed cells that it shows anything of.
    pub fits: Vec<Fit>,
}

/// How much of a cell shows its own part: weighted counts of pixels, less near the drawn lines.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    pub cell: u16,
    pub own: f64,
    pub all: f64,
}

impl Parts {
    /// Whether lightness is that of fitted forms, and not of a photo taken as it is.
    pub fn has_forms(&self) -> bool {
        self.regions.iter().any(|region| region.scale_mm.is_some())
    }

    /// Share of the closed cells on which the photo shows their own part, 0 to 1; `None` without such cells.
    pub fn agreement(&self) -> Option<f64> {
        let sum = |of: fn(&Fit) -> f64| self.fits.iter().map(of).sum::<f64>();
        let all = sum(|fit| fit.all);
        (all > 0.0).then(|| sum(|fit| fit.own) / all)
    }

    /// The parts without these cells. What is left is as it was: leaving a cell bare changes nothing around it.
    pub fn without(&self, cells: &[u16]) -> Self {
        let gone = |region: &Region| cells.contains(&region.cell);
        let mut last = 0;
        let mut number = vec![0u16; self.regions.len() + 1];
        for (region, number) in self.regions.iter().zip(&mut number[1..]) {
            if !gone(region) {
                last += 1;
                *number = last;
            }
        }
        let left = |from: &[u16]| {
            from.iter()
                .copied()
                .filter(|c| !cells.contains(c))
                .collect()
        };
        let map = self.map.map(|r| number[usize::from(r)]);
        let mut family = self.family.clone();
        for (family, &r) in family.data.iter_mut().zip(&map.data) {
            *family *= u8::from(r > 0);
        }
        Self {
            map,
            family,
            regions: self.regions.iter().filter(|r| !gone(r)).cloned().collect(),
            bare: left(&self.bare),
            flat: left(&self.flat),
            fits: self
                .fits
                .iter()
                .copied()
                .filter(|fit| !cells.contains(&fit.cell))
                .collect(),
            ..self.clone()
        }
    }
}

/// What parts must keep to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PartRules {
    /// What one more family must gain.
    pub hue_gain: f32,
    /// Scale of a form, as a share of the part's inscribed width.
    pub share: f64,
    pub nib_mm: f64,
    /// Least step between two bands, in L*.
    pub step: f32,
    pub mm_per_px: f64,
}

/// What the photo shows, at half resolution: pictures of one frame, or of one window of it.
struct View<'a> {
    lab: Cow<'a, Grid<Lab>>,
    /// Its finest grain smoothed.
    calm: Cow<'a, Grid<Lab>>,
    /// Index of every pixel's family plus 1; 0 where it is too dark to tell.
    shown: Grid<u8>,
    /// How likely the subject is there, of 255.
    evidence: Cow<'a, Grid<u8>>,
}

impl View<'_> {
    fn cut_out(&self, window: Window) -> View<'static> {
        View {
            lab: Cow::Owned(self.lab.cut_out(window)),
            calm: Cow::Owned(self.calm.cut_out(window)),
            shown: self.shown.cut_out(window),
            evidence: Cow::Owned(self.evidence.cut_out(window)),
        }
    }
}

/// Finds the parts of a photo of these colors. A cell that `open` names is no thing of its own but all that the photo
/// shows in it; one for which `lit` gives a part (by its number) shows nothing but form, and has the family of that part.
///
/// # Errors
/// If lit parts have more colors than a map can tell apart.
pub fn find_parts(
    lab: &Grid<Lab>,
    cells: &Grid<u16>,
    colors: &Colors,
    open: &(impl Fn(u16) -> bool + Sync),
    lit: &(impl Fn(u16) -> Option<usize> + Sync),
    rules: PartRules,
) -> Result<Parts> {
    let nib_px = rules.nib_mm / rules.mm_per_px;
    let known = find_families(colors, rules.hue_gain, nib_px);
    let family = |&lab: &Lab| family_of(&known, lab).map_or(0, |f| f as u8 + 1);
    let shown = Grid {
        width: lab.width,
        height: lab.height,
        data: colors.calm.data.par_iter().map(family).collect(),
    };
    let mut view = View {
        lab: Cow::Borrowed(lab),
        calm: Cow::Borrowed(&colors.calm),
        shown,
        evidence: Cow::Borrowed(&colors.evidence),
    };
    let mut owned = own_cells(&view, &colors.around, cells, &known, open, rules);
    let is_thing = |region: &Region| {
        let accent = matches!(region.families[..], [f] if known[f].accent);
        (accent || !open(region.cell)) && lit(region.cell).is_none()
    };
    let in_open_cell = cells.map(|cell| cell > 0 && open(cell));
    let (depth, vague) = rayon::join(
        || squared_distance_to_rim(&owned.map),
        || out_of_focus(lab, &in_open_cell, rules.mm_per_px),
    );
    let mut families = match owned.regions.iter().any(|region| !open(region.cell)) {
        true => families_of_things(&mut owned, &mut view, &known, &depth, &is_thing, rules),
        false => known.clone(),
    };
    give_lit_families(&mut owned, &mut families, lab, cells, lit);
    if families.len() > MOST_FAMILIES {
        return Err(Error::new(
            format!(
                "the parts have {} different colors, expected at most {MOST_FAMILIES}",
                families.len()
            ),
            "Give parts that look alike the same color.",
        ));
    }
    let mut parts = Parts {
        family: family_map(&owned.map, &owned.regions, &view.shown, &families, lab),
        form: lab.clone(),
        vague,
        families,
        map: owned.map,
        regions: owned.regions,
        bare: owned.bare,
        flat: Vec::new(),
        fits: owned.fits,
    };
    measure_widths(&mut parts, &depth, rules);
    fit_regions(&mut parts, &view, open, lit, rules);
    flat::shade_flat_things(&mut parts, &depth, rules);
    Ok(parts)
}

/// Gives every lit cell the family of its part; parts of the same color share one.
fn give_lit_families(
    owned: &mut owners::Owned,
    families: &mut Vec<Family>,
    lab: &Grid<Lab>,
    cells: &Grid<u16>,
    lit: &impl Fn(u16) -> Option<usize>,
) {
    let count = usize::from(cells.data.iter().copied().max().unwrap_or(0));
    let part_of: Vec<Option<usize>> = (0..=count).map(|cell| lit(cell as u16)).collect();
    let Some(last) = part_of.iter().flatten().max() else {
        return;
    };
    let mut means = vec![Mean::default(); last + 1];
    for (&cell, &color) in cells.data.iter().zip(&lab.data) {
        if let Some(part) = part_of[usize::from(cell)] {
            means[part].add(color);
        }
    }
    // The first part of the same color, and its family.
    let mut known: Vec<(Lab, usize)> = Vec::new();
    let mut family_of_part = vec![0usize; last + 1];
    for (part, mean) in means.iter().enumerate() {
        let Some(mean) = mean.color() else { continue };
        let same = known
            .iter()
            .find(|(other, _)| difference(mean, *other) < SAME_COLOR);
        family_of_part[part] = match same {
            Some(&(_, family)) => family,
            None => {
                families.push(Family::of(mean));
                known.push((mean, families.len() - 1));
                families.len() - 1
            }
        };
    }
    for region in &mut owned.regions {
        if let Some(part) = part_of[usize::from(region.cell)] {
            region.families = vec![family_of_part[part]];
            region.lit = true;
        }
    }
}

/// The family of every pixel: its region's, or where that has several the one its color belongs to.
fn family_map(
    map: &Grid<u16>,
    regions: &[Region],
    shown: &Grid<u8>,
    families: &[Family],
    lab: &Grid<Lab>,
) -> Grid<u8> {
    Grid {
        width: map.width,
        height: map.height,
        data: (0..map.data.len())
            .map(|i| match map.data[i] {
                0 => 0,
                r => match regions[usize::from(r) - 1].families[..] {
                    [one] => one as u8 + 1,
                    _ => match family_of_place(families, lab.data[i]) {
                        Some(f) => f as u8 + 1,
                        None => shown.data[i].max(1),
                    },
                },
            })
            .collect(),
    }
}

/// Tells how wide every region is, from the squared distances to their rims.
fn measure_widths(parts: &mut Parts, depth: &[f64], rules: PartRules) {
    let mut widest = vec![0.0f64; parts.regions.len() + 1];
    for (&r, &d) in parts.map.data.iter().zip(depth) {
        widest[usize::from(r)] = widest[usize::from(r)].max(d);
    }
    for (region, widest) in parts.regions.iter_mut().zip(&widest[1..]) {
        region.width_mm = (2.0 * widest.sqrt() + 1.0) * rules.mm_per_px;
    }
}

/// Replaces the photo by its form in every region of one family, but for lit ones, and in open cells for all but accents.
fn fit_regions(
    parts: &mut Parts,
    view: &View,
    open: &(impl Fn(u16) -> bool + Sync),
    lit: &(impl Fn(u16) -> Option<usize> + Sync),
    rules: PartRules,
) {
    let windows = bounds_of(&parts.map, parts.regions.len());
    let fits: Vec<Option<(f64, Form)>> = largest_first(&windows, |r| {
        let (region, window) = (&parts.regions[r], windows[r]);
        let [family] = region.families[..] else {
            return None;
        };
        let is_form = !open(region.cell) || parts.families[family].accent;
        if window.width == 0 || !is_form || lit(region.cell).is_some() {
            return None;
        }
        let mask = parts.map.cut_out(window).map(|m| usize::from(m) == r + 1);
        let view = view.cut_out(window);
        let mut own = own_evidence(&view, &mask, family, &parts.families, rules.mm_per_px);
        if open(region.cell) {
            keep_colorful_half(&mut own, &view.lab);
        }
        let patch = Patch {
            width: window.width,
            height: window.height,
            lab: &view.lab.data,
            evidence: &own,
            mask: &mask.data,
        };
        Some(form_of(&patch, region.width_mm, rules))
    });
    for (r, fit) in fits.into_iter().enumerate() {
        let Some((scale_mm, form)) = fit else {
            continue;
        };
        let region = &mut parts.regions[r];
        if !open(region.cell) {
            region.scale_mm = Some(scale_mm);
            region.scatter = form.scatter;
        }
        for (i, &color) in form.color.iter().enumerate() {
            let f = windows[r].index_in(&parts.map, i);
            if usize::from(parts.map.data[f]) == r + 1 {
                parts.form.data[f] = color;
            }
        }
    }
}

/// The form of a part `width_mm` wide, and the scale of its fit in millimeters.
fn form_of(patch: &Patch, width_mm: f64, rules: PartRules) -> (f64, Form) {
    let px = |mm: f64| mm / rules.mm_per_px;
    let share_mm = (rules.share * width_mm).clamp(SCALE_MM[0], SCALE_MM[1]);
    let least_px = px(RELIEF_NIBS * rules.nib_mm);
    let relief_px = px(RELIEF_SHARE * share_mm);
    let body = texture::without_pigment(patch, px(PIGMENT_SHARE * width_mm));
    let scatter = form::scatter_about_form(patch, &body, px(share_mm), relief_px);
    // The more the photo scatters, the wider the fit: a clean one needs hardly any, and keeps its edges.
    let busy = f64::from(scatter / CALM_SCATTER).clamp(LEAST_WIDTH, MOST_WIDTH);
    let scale_mm = (busy * share_mm).max(SCALE_MM[0]);
    let (mut form, fitted) = fit_form(patch, &body, px(scale_mm), relief_px, least_px);
    let search = Search {
        sigma_px: px(share_mm),
        least_px2: least_px * least_px,
        mixed_px: px(MIXED_MM),
    };
    restore_highlights(&mut form.color, &fitted, patch, &search);
    (scale_mm, form)
}

/// Which pixels of a region, which `mask` tells in its window, show its own family: those of its hue, and neutral ones
/// that are its gloss or its deep shadow, away from where the photo goes over into something else. All, where next to
/// none do.
fn own_evidence(
    view: &View,
    mask: &Grid<bool>,
    family: usize,
    families: &[Family],
    mm_per_px: f64,
) -> Vec<bool> {
    let own = &families[family];
    // 0 outside the part or the subject, 1 own, 2 light and toward gray, 3 something else.
    let kind_of = |i: usize| {
        if !mask.data[i] {
            return 0;
        }
        if view.evidence.data[i] < EVIDENT {
            return 3;
        }
        let calm = view.calm.data[i];
        match view.shown.data[i] {
            0 => 1,
            s if usize::from(s) - 1 == family => 1,
            s if families[usize::from(s) - 1].may_be_gloss_of(own) => {
                if calm.l < SHADOW_L {
                    1
                } else {
                    2
                }
            }
            _ if own.neutral && calm.a.hypot(calm.b) < PALE_CHROMA => 1,
            _ => 3,
        }
    };
    let kind: Vec<u8> = (0..mask.data.len()).map(kind_of).collect();
    let kind = owners::gloss(kind, mask.width, mask.height);
    // The rim of what is something else is mixed with it.
    let other = Grid {
        width: mask.width,
        height: mask.height,
        data: (0..kind.len())
            .map(|i| mask.data[i] && matches!(kind[i], 0 | 3))
            .collect(),
    };
    let far = (MIXED_MM / mm_per_px).powi(2);
    let own: Vec<bool> = if other.data.contains(&true) {
        let mixed = within(&other, far);
        (0..kind.len()).map(|i| kind[i] == 1 && !mixed[i]).collect()
    } else {
        kind.iter().map(|&k| k == 1).collect()
    };
    let count = own.iter().filter(|&&o| o).count() as f64;
    let all = mask.data.iter().filter(|&&m| m).count() as f64;
    if count < (LEAST_EVIDENCE * all).max(1.0) {
        return mask.data.clone();
    }
    own
}

/// Pixels toward gray that are darker than this inside a colored part are its deep shadow, in L*; from memory.
const SHADOW_L: f32 = 35.0;
/// Chroma up to which a color may still be a neutral thing's shading, in units of L*a*b*; from memory.
const PALE_CHROMA: f32 = 18.0;
