//! What lies on the desk: the files of one card, its planner, and the plan made last.

use std::path::Path;
use std::sync::Arc;

use penstrata::Made;
use penstrata::art::{Corners, Page as Drawn, find_corners, load_page, places};
use penstrata::borders::{Outlines, trace_mask};
use penstrata::color::Srgb8;
use penstrata::error::{Error, Result};
use penstrata::files::{File, Files};
use penstrata::grid::Grid;
use penstrata::job::{Background, Job, PageSize};
use penstrata::length::PanelSize;
use penstrata::nearest::{Offer, nearest, section_color};
use penstrata::pens::{Pen, Table, read_pens};
use penstrata::plan::Backdrop;
use penstrata::planner::Planner;
use penstrata::reference::Photo;
use penstrata::sheets::{self, Fonts, compact_path_data};
use penstrata::swatches::{
    Measured, Places, Seen, Tap, believed, known_of, read_scrap, read_swatches, sheets_for,
    write_down,
};
use serde::{Deserialize, Serialize};

use crate::pen_table::{self, PenRow};
use crate::picture::Picture;
use crate::view::View;

/// The folder of the plan, beside the job.
const FOLDER: &str = "plan";

pub struct Desk {
    planner: Planner,
    made: Option<Made>,
    /// The curves that the page has.
    shown: Option<Arc<Outlines>>,
}

/// A cell of the drawing; lengths in millimeters.
#[derive(Serialize)]
pub struct Cell {
    pub cell: u16,
    pub point: [f64; 2],
    pub width_mm: f64,
    pub area_mm2: f64,
    /// SVG path data in hundredths of a millimeter.
    pub path: String,
}

#[derive(Serialize)]
pub struct Cells {
    pub size_mm: [f64; 2],
    pub cells: Vec<Cell>,
    pub ink: String,
}

#[derive(Serialize)]
pub struct Backgrounds {
    pub list: Vec<Backdrop>,
    /// What lies around the drawing, as SVG path data in hundredths of a millimeter.
    pub outside: String,
}

impl Default for Desk {
    fn default() -> Self {
        Self {
            planner: Planner::new(Files::default()),
            made: None,
            shown: None,
        }
    }
}

impl Desk {
    /// Lays a file on the desk, in place of one of the same name.
    pub fn put(&mut self, name: &str, bytes: Vec<u8>) {
        self.planner.set_file(name.into(), bytes);
    }

    fn get(&self, name: &str) -> Result<&[u8]> {
        self.planner.files().get(Path::new(name))
    }

    /// Makes the plan of a job and keeps it.
    ///
    /// # Errors
    /// Everything that is wrong with a file or a choice.
    pub fn plan(&mut self, job: &Job, stage: &dyn Fn(&str)) -> Result<View<'_>> {
        let made = self.made.insert(self.planner.plan(job, stage)?);
        let known = self
            .shown
            .as_ref()
            .is_some_and(|shown| Arc::ptr_eq(shown, &made.outlines));
        self.shown = Some(Arc::clone(&made.outlines));
        Ok(View::of(made, known))
    }

    /// A job file, TOML or a `plan.json`.
    ///
    /// # Errors
    /// If it is none.
    pub fn read_job(&self, name: &str) -> Result<Job> {
        let text = String::from_utf8_lossy(self.get(name)?);
        Job::parse(Path::new(name), &text)
    }

    fn made(&self) -> Result<&Made> {
        self.made.as_ref().ok_or_else(|| {
            Error::new(
                "there is no plan yet",
                "Give a photo or a drawing, and pens.",
            )
        })
    }

    /// Names of the plan's files, as paths inside its folder.
    ///
    /// # Errors
    /// If there is no plan.
    pub fn names(&self) -> Result<Vec<String>> {
        let mut names = sheets::Sheets::of(self.made()?).names(false);
        names.extend(self.plans(&names)?.into_iter().map(|(name, _)| name));
        Ok(names)
    }

    /// Every `plan.json`, as of a folder beside the job file.
    fn plans(&self, sheets: &[String]) -> Result<Vec<File>> {
        sheets::plan_files(self.made()?, sheets, |path| {
            if path == Path::new(FOLDER) {
                Path::new(".").to_owned()
            } else {
                Path::new("..").join(path)
            }
        })
    }

    /// One file of the plan's folder: that of the command line, for a job file beside the folder.
    ///
    /// # Errors
    /// If there is no plan, or no such file in it.
    pub fn file(&self, name: &str) -> Result<Vec<u8>> {
        let sheets = sheets::Sheets::of(self.made()?);
        if let Some(bytes) = sheets.file(name)? {
            return Ok(bytes);
        }
        let plans = self.plans(&sheets.names(false))?;
        let found = plans.into_iter().find(|(known, _)| known == name);
        found.map(|(_, bytes)| bytes).ok_or_else(|| {
            Error::file(
                Path::new(name),
                "is no file of the plan",
                "This is a fault in penstrata; please report it with the job.",
            )
        })
    }

    /// The owned pens that come nearest to what a section should look like, nearest first, at most `count`.
    ///
    /// # Errors
    /// If there is no plan, or no such section in it.
    pub fn offers(&self, section: u16, count: usize) -> Result<Vec<Offer>> {
        let made = self.made()?;
        let wanted = section_color(made, section).ok_or_else(|| {
            Error::new(
                format!("there is no section {section}"),
                "Tap a section of the drawing.",
            )
        })?;
        Ok(nearest(made, wanted, count))
    }

    /// The pens that would do for what lies around the drawing, best first, with its outline. The plan on the desk stays
    /// as it is.
    ///
    /// # Errors
    /// If there is no plan.
    pub fn backgrounds(&mut self) -> Result<Backgrounds> {
        let own = self.made()?.plan.job.clone();
        let job = Job {
            background: Background::Auto,
            ..own
        };
        let made = self.planner.plan(&job, &|_| ())?;
        Ok(Backgrounds {
            list: made.plan.backdrops,
            outside: compact_path_data(&trace_mask(&made.cells.outside, made.plan.mm_per_px)),
        })
    }

    /// A picture, upright, its longer side at most `longest` pixels.
    ///
    /// # Errors
    /// If it is no picture.
    pub fn photo(&self, name: &str, longest: usize) -> Result<Picture> {
        let photo = Photo::decode(Path::new(name), self.get(name)?)?;
        Ok(Picture::of(photo.thumbnail(longest), photo.upright_size()))
    }

    /// The corners of a panel in a photo, clockwise from the top left, in its pixels.
    ///
    /// # Errors
    /// If they cannot be told.
    pub fn corners(&self, name: &str, panel: &str) -> Result<Corners> {
        let panel: PanelSize = panel
            .parse()
            .map_err(|e: String| Error::new(e, "Write for example A6, or 148 x 105 mm."))?;
        let photo = Photo::decode(Path::new(name), self.get(name)?)?;
        find_corners(&photo, panel.sides_mm())
    }

    /// The job's drawing, flat, in the working frame.
    ///
    /// # Errors
    /// If there is none, or it cannot be read.
    pub fn page(&self, job: &Job) -> Result<Picture> {
        /// As the working frame, in millimeters per pixel.
        const MM_PER_PX: f64 = 0.1;
        let Some(art) = &job.art else {
            return Err(Error::new("there is no drawing", "Give one."));
        };
        let bytes = self.get(&art.to_string_lossy())?;
        let page: Drawn = load_page(art, bytes, job.photographed_panel(), job.corners)?;
        let size = page
            .size_mm(job.width.map(|w| w.mm()))
            .ok_or_else(|| Error::new("the drawing has no size", "Give its width."))?;
        let [width, height] = size.map(|mm| (mm / MM_PER_PX).round().max(1.0) as usize);
        let gray = page.flatten(width, height, MM_PER_PX)?;
        let rgba: Grid<[u8; 4]> = gray.map(|v| [v, v, v, 255]);
        Ok(Picture::of(rgba, (width, height)))
    }

    /// The photos as they lie on the drawing.
    ///
    /// # Errors
    /// If there is no plan.
    pub fn laid(&self) -> Result<Picture> {
        let reference = &self.made()?.reference;
        let picture = &reference.picture;
        let rgba = picture.map(|[r, g, b]| [r, g, b, 255]);
        let size = (rgba.width, rgba.height);
        Ok(Picture::of(rgba, size))
    }

    /// The cells of the job's drawing.
    ///
    /// # Errors
    /// If there is none, or it cannot be read.
    pub fn cells(&self, job: &Job) -> Result<Cells> {
        let drawing = penstrata::read_drawing(self.planner.files(), &job.drawing())?
            .ok_or_else(|| Error::new("there is no drawing", "Give one."))?;
        let mm = drawing.frame.mm_per_px;
        let map = &drawing.cells.map;
        let cells = places(&drawing.cells, mm)
            .into_iter()
            .map(|place| Cell {
                cell: place.cell,
                point: place.point_mm,
                width_mm: place.width_mm,
                area_mm2: place.area_mm2,
                path: compact_path_data(&trace_mask(&map.map(|c| c == place.cell), mm)),
            })
            .collect();
        Ok(Cells {
            size_mm: [map.width as f64 * mm, map.height as f64 * mm],
            cells,
            ink: compact_path_data(&drawing.ink),
        })
    }

    /// The rows of a table of pens; none if there is no such table yet.
    ///
    /// # Errors
    /// If the file is no table.
    pub fn pens(&self, name: &str) -> Result<Vec<PenRow>> {
        Ok(pen_table::rows(&self.table(name)?))
    }

    fn table(&self, name: &str) -> Result<Table> {
        let path = Path::new(name);
        match self.get(name) {
            Ok(bytes) => Table::read(path, bytes),
            Err(_) => pen_table::empty(path),
        }
    }

    /// A table of these pens that keeps the other columns of `name`.
    ///
    /// # Errors
    /// If the pens are none, for example two of one name.
    pub fn pens_csv(&self, name: &str, rows: &[PenRow]) -> Result<Vec<u8>> {
        let bytes = pen_table::with_rows(&self.table(name)?, rows)?;
        read_pens(Path::new(name), &bytes)?;
        Ok(bytes)
    }

    /// Sheets to measure pens with, PDF.
    ///
    /// # Errors
    /// If the table holds no pens, or too many.
    pub fn swatch_sheets(&self, name: &str, page: PageSize) -> Result<Vec<u8>> {
        let path = Path::new(name);
        let pens = read_pens(path, self.get(name)?)?;
        sheets_for(Places { page }, &pens, path)?;
        sheets::pdf(&sheets::swatch_pages(&pens, page), &Fonts::load())
    }
}

/// A patch of ink on a scrap of card.
#[derive(Deserialize)]
pub struct Patch {
    /// The pen's name.
    pub pen: String,
    /// From the photo's top left, in pixels of the upright photo.
    pub at: [f64; 2],
}

/// What photos of ink on card say.
#[derive(Serialize)]
pub struct Measurement {
    /// The table with the colors measured.
    pub csv: String,
    /// A line for every pen.
    pub told: Vec<String>,
}

impl Desk {
    /// Reads photos of swatch sheets of the pens in the table `name`; `paper` is the color of the bare card.
    ///
    /// # Errors
    /// If a photo shows no sheet, or one of other pens.
    pub fn measure(&self, name: &str, photos: &[String], paper: Srgb8) -> Result<Measurement> {
        self.measured(name, false, |pens, table| {
            let known = known_of(table, pens);
            let mut found = Vec::new();
            for photo in photos {
                let photo = Photo::decode(Path::new(photo), self.get(photo)?)?;
                found.extend(read_swatches(&photo, pens, &known, paper)?.pens);
            }
            Ok(found)
        })
    }

    /// Reads a photo of a scrap of card with patches of some of the pens in the table `name` on it.
    ///
    /// # Errors
    /// If there is no such pen, or a patch lies outside the photo.
    pub fn measure_scrap(
        &self,
        name: &str,
        photo: &str,
        patches: &[Patch],
        paper: Srgb8,
    ) -> Result<Measurement> {
        self.measured(name, true, |pens, table| {
            let taps = patches
                .iter()
                .map(|patch| patch.tap(pens))
                .collect::<Result<Vec<Tap>>>()?;
            let photo = Photo::decode(Path::new(photo), self.get(photo)?)?;
            let seen = read_scrap(&photo, &taps, &believed(table, pens), paper)?;
            let once = |(tap, seen): (&Tap, Seen)| Measured {
                pen: tap.pen,
                coats: [seen, Seen::Empty],
            };
            Ok(taps.iter().zip(seen).map(once).collect())
        })
    }

    /// The table `name` with what `read` finds of its pens.
    fn measured(
        &self,
        name: &str,
        scrap: bool,
        read: impl FnOnce(&[Pen], &Table) -> Result<Vec<Measured>>,
    ) -> Result<Measurement> {
        let path = Path::new(name);
        let bytes = self.get(name)?;
        let pens = read_pens(path, bytes)?;
        let mut table = Table::read(path, bytes)?;
        let found = read(&pens, &table)?;
        let told = write_down(&mut table, &pens, &found, scrap);
        Ok(Measurement {
            csv: String::from_utf8_lossy(&table.to_csv()).into_owned(),
            told,
        })
    }
}

impl Patch {
    fn tap(&self, pens: &[Pen]) -> Result<Tap> {
        let pen = pens.iter().position(|pen| pen.name == self.pen);
        let pen = pen.ok_or_else(|| {
            Error::new(
                format!("no pen is called \"{}\"", self.pen),
                "Choose one of the table.",
            )
        })?;
        Ok(Tap { pen, at: self.at })
    }
}

/// A job as TOML, to be run by the command line.
///
/// # Errors
/// If a value has no way to be written, which would be a fault of ours.
pub fn job_toml(job: &Job) -> Result<String> {
    toml::to_string_pretty(job).map_err(|e| {
        Error::new(
            format!("the job cannot be written: {e}"),
            "Please report it.",
        )
    })
}
