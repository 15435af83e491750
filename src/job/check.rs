//! Every number of a job against its bounds, and what does not go together.

use std::ops::RangeInclusive;

use super::*;

/// Bounds of its height, in degrees.
const LIGHT_HEIGHT: RangeInclusive<f64> = 5.0..=90.0;
/// Bounds of what a hand colors on one panel, in millimeters; from memory.
pub const WIDTH_MM: RangeInclusive<f64> = 15.0..=420.0;
/// Bounds of a marker nib, in millimeters; from memory.
const NIB_MM: RangeInclusive<f64> = 0.5..=6.0;
/// Bounds of the gaps worth closing, in millimeters; from memory.
pub const GAP_MM: RangeInclusive<f64> = 0.0..=5.0;

impl Job {
    fn check_references(&self) -> Result<()> {
        if let Some(References::Several(parts)) = &self.reference
            && parts.is_empty()
        {
            return Err(Error::new(
                "reference lists no photo",
                "Write reference = \"photo.jpg\", or [[reference]] tables with photo = ... and cells = [[x, y]].",
            ));
        }
        check_parts(&self.parts)?;
        self.check_sources()?;
        self.check_light()?;
        if matches!(&self.reference, None | Some(References::One(_)))
            && (self.reference.is_some() || (self.matches.is_empty() && self.match_file.is_none()))
        {
            return Ok(());
        }
        if !self.has_art() {
            return Err(Error::new(
                "several photos are given, but no drawing whose cells they could fill",
                "Give the drawing with --art, or one photo only.",
            ));
        }
        if !self.matches.is_empty() || self.match_file.is_some() {
            return Err(Error::new(
                "matching points are given for the job, but it has several photos or none",
                "Put them behind the photo they belong to, as [[reference.match]].",
            ));
        }
        Ok(())
    }

    /// Whether there is a source of color, and cells for it.
    fn check_sources(&self) -> Result<()> {
        let photos = self.photos();
        let images = self.card().map_or_else(Vec::new, |card| card.sources());
        let own = images.iter().any(|sources| !sources.is_none());
        if photos.is_empty() && self.parts.is_empty() && !own {
            return Err(Error::new(
                "there is neither a photo nor a color",
                "Give the photo with --reference, or write [[part]] tables with cells = [[x, y]] and color = \"#c2452d\" \
                 into the job; penstrata cells lists the cells of a drawing.",
            ));
        }
        if self.card().is_some() && self.background == Background::Photo && photos.is_empty() {
            return Err(Error::new(
                "background is true, to be colored as in the photo, but no photo is for the whole panel",
                "Write background = { pen = \"Harbor Mist\" } for a pen of yours, background = \"auto\" to see which would do, \
                 or reference = \"photo.jpg\" before [panel].",
            ));
        }
        if !self.has_art() && !self.parts.is_empty() {
            return Err(Error::new(
                "parts are given, but no drawing whose cells they could be",
                "Give the drawing with --art.",
            ));
        }
        let colored = self.parts.iter().filter(|p| p.photo.is_none());
        let all = photos.iter().map(|p| &p.cells);
        let all = all.chain(colored.map(|p| &p.cells));
        if all.filter(|cells| cells.is_empty()).count() > 1 {
            return Err(Error::new(
                "more than one [[reference]] or [[part]] is without cells",
                "Give each its cells = [[x, y]], but at most one, which gets all the others.",
            ));
        }
        Ok(())
    }

    /// The light on colored parts, and the white that tells a photo's.
    fn check_light(&self) -> Result<()> {
        if !LIGHT_HEIGHT.contains(&self.light_height) {
            return Err(Error::new(
                format!(
                    "light_height is {}, expected {} to {} degrees",
                    self.light_height,
                    LIGHT_HEIGHT.start(),
                    LIGHT_HEIGHT.end()
                ),
                "Use 90 for a light straight above the panel, 30 for one that stands low.",
            ));
        }
        check_white(self.white, &self.all_photos())
    }

    /// Checks every number against its bounds.
    ///
    /// # Errors
    /// The first that is wrong, and what to write instead.
    pub fn check(&self) -> Result<()> {
        self.check_size()?;
        if let Some(card) = self.card() {
            card.check()?;
        }
        variants::check_variants(&self.variants)?;
        self.check_variant_photos()?;
        self.check_references()?;
        self.check_points()?;
        within("nib", self.nib, &NIB_MM)?;
        within("gap", self.gap, &GAP_MM)?;
        self.check_sections()?;
        self.check_pens()?;
        self.check_work()
    }

    /// A variant's photo takes the place of one.
    fn check_variant_photos(&self) -> Result<()> {
        let Some(variant) = self.variants.iter().find(|v| v.reference.is_some()) else {
            return Ok(());
        };
        let mut plain = self.clone();
        plain.variants.clear();
        let photos = plain.photo_names().len();
        if photos == 1 {
            return Ok(());
        }
        Err(Error::new(
            format!(
                "the variant \"{}\" is to be colored as another photo, but the job has {photos} photos",
                variant.name
            ),
            "A variant with a photo wants a job with one photo, whose place it takes.",
        ))
    }
    /// How large the art is, told in one way.
    fn check_size(&self) -> Result<()> {
        if self.card().is_some() {
            return self.check_card_alone();
        }
        if !(self.stamps.is_empty() && self.pieces.is_empty()) {
            return Err(Error::new(
                "stamps or pieces are given, but no size of the panel they lie on",
                "Write a table [panel] with size = \"A6\".",
            ));
        }
        match (self.width, self.photographed_panel()) {
            (Some(width), None) => within("width", width, &WIDTH_MM)?,
            (None, Some(panel)) => {
                for side in panel.sides_mm() {
                    within("panel", Length::from_mm(side), &WIDTH_MM)?;
                }
            }
            (Some(_), Some(_)) => {
                return Err(Error::new(
                    "both width and panel are given",
                    "Give panel for a phone photo of the panel, or width for a scan or a drawing file.",
                ));
            }
            (None, None) => {
                return Err(Error::new(
                    "neither width nor panel is given",
                    "Give --width for a drawing, scan or photo, or --panel for a phone photo of the panel.",
                ));
            }
        }
        if self.panel.is_some() && self.art.is_none() {
            return Err(Error::new(
                "panel is given, but no art",
                "Give the phone photo of the panel with --art.",
            ));
        }
        if self.corners.is_some() && self.panel.is_none() {
            return Err(Error::new(
                "corners are given, but no panel",
                "Give the size of the panel, too, for example --panel A6.",
            ));
        }
        if self
            .corners
            .iter()
            .flatten()
            .flatten()
            .any(|v| !v.is_finite())
        {
            return Err(Error::new(
                "a corner is not a number",
                "Write corners = [[380, 300], [2860, 420], [2780, 2180], [520, 2090]] in photo pixels.",
            ));
        }
        Ok(())
    }

    /// A card of stamps has no drawing besides.
    fn check_card_alone(&self) -> Result<()> {
        let other = [
            (self.art.is_some(), "art"),
            (self.width.is_some(), "width"),
            (self.corners.is_some(), "corners"),
        ];
        match other.iter().find(|(given, _)| *given) {
            None => Ok(()),
            Some((_, name)) => Err(Error::new(
                format!("[panel] is a table for stamps, but {name} is given, too"),
                "Give the drawing as one more [[stamp]] with art, width and at; a phone photo of the whole panel wants \
                 panel = \"A6\" instead of the table.",
            )),
        }
    }

    fn check_points(&self) -> Result<()> {
        let images = self.card().map_or_else(Vec::new, |card| card.sources());
        let photos = images.into_iter().flat_map(|sources| sources.photos);
        let points = photos.chain(self.photos()).flat_map(|p| {
            let pairs = p.matches.into_iter().flat_map(|m| [m.reference, m.art]);
            pairs.chain(p.cells).collect::<Vec<_>>()
        });
        if points.flatten().any(|v| !v.is_finite()) {
            return Err(Error::new(
                "a point of match or cells is not a number",
                "Write points as [12.5, 40.0].",
            ));
        }
        for (name, points) in [("bare", &self.bare), ("bare_cells", &self.bare_cells)] {
            if points.iter().flatten().any(|v| !v.is_finite()) {
                return Err(Error::new(
                    format!("a point of {name} is not a number"),
                    format!("Write {name} = [[12.5, 40.0]] in millimeters."),
                ));
            }
        }
        for pin in &self.pinned {
            pin.check()?;
        }
        self.shape_choices().check()
    }

    fn check_sections(&self) -> Result<()> {
        if !(1..=5).contains(&self.detail) {
            return Err(Error::new(
                format!("detail is {}, expected 1 to 5", self.detail),
                "Use 1 for few large sections, 5 for many small ones.",
            ));
        }
        if !(1..=4).contains(&self.bands) {
            return Err(Error::new(
                format!("bands is {}, expected 1 to 4", self.bands),
                "Two or three lightness bands read well; four is the most.",
            ));
        }
        Ok(())
    }

    fn check_pens(&self) -> Result<()> {
        if !(1..=2).contains(&self.coats) {
            return Err(Error::new(
                format!("coats is {}, expected 1 or 2", self.coats),
                "Use 1 for single coats only, 2 to let one coat lie over another.",
            ));
        }
        if self.most_pens == Some(0) {
            return Err(Error::new(
                "most_pens is 0, expected 1 or more",
                "Leave it out to use as many pens as read well.",
            ));
        }
        // JSON knows no infinity, and plan.json could not be read again.
        if !(0.0..f64::INFINITY).contains(&self.no_refill_cm2) {
            return Err(Error::new(
                format!(
                    "no_refill_cm2 is {}, expected a number, 0 or more",
                    self.no_refill_cm2
                ),
                "Write for example no_refill_cm2 = 15.",
            ));
        }
        Ok(())
    }

    fn check_work(&self) -> Result<()> {
        if self.stamped > 2 {
            return Err(Error::new(
                format!("stamped is {}, expected 0, 1 or 2", self.stamped),
                "Use 0 for a printed or dry drawing, 1 for one stamped once, 2 for twice.",
            ));
        }
        let pace = [
            self.pace.seconds_per_cm2,
            self.pace.seconds_per_section,
            self.pace.seconds_per_pen,
        ];
        if !pace.iter().all(|v| (0.0..=3600.0).contains(v)) {
            return Err(Error::new(
                "a number of pace is not between 0 and 3600 seconds",
                "Write for example [pace] with seconds_per_cm2 = 10.",
            ));
        }
        Ok(())
    }
}

/// A pixel that shows white shows it in one photo: it says nothing of others.
pub fn check_white(white: White, photos: &[Part]) -> Result<()> {
    let White::At(x, y) = white else {
        return Ok(());
    };
    if photos.iter().all(|other| other.photo == photos[0].photo) {
        return Ok(());
    }
    Err(Error::new(
        format!("white {x},{y} is a pixel of one photo, but there are several"),
        format!(
            "Write white = \"{x},{y}\" in the [[reference]], [[stamp]] or [[piece]] of the photo that it belongs to."
        ),
    ))
}

pub fn within(name: &str, value: Length, bounds: &RangeInclusive<f64>) -> Result<()> {
    if bounds.contains(&value.mm()) {
        return Ok(());
    }
    Err(Error::new(
        format!(
            "{name} is {value}, expected {}mm to {}mm",
            bounds.start(),
            bounds.end()
        ),
        format!("Change {name} in the job, or give --{name}."),
    ))
}
