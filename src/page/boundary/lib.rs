//! The boundary between the page and the library. Structured values cross it as JSON, files and pictures as bytes; the
//! page's worker holds one [`Desk`] for the card that lies on the table.

mod desk;
mod pen_table;
mod picture;
mod view;

use serde::Serialize;
use wasm_bindgen::prelude::*;

pub use desk::Desk;
pub use pen_table::PenRow;
pub use picture::Picture;
pub use view::View;

use penstrata::error::{Error, Result};

/// The desk as a browser sees it. What fails is thrown as JSON: `{ "what": ..., "next": ... }`.
#[wasm_bindgen(js_name = Desk)]
pub struct PageDesk(Desk);

type Thrown<T> = std::result::Result<T, JsValue>;

#[derive(Serialize)]
struct Told<'a> {
    what: &'a str,
    next: &'a str,
}

fn thrown<T>(result: Result<T>) -> Thrown<T> {
    result.map_err(|error| {
        let told = Told {
            what: error.what(),
            next: error.next(),
        };
        JsValue::from(json(&told))
    })
}

fn json(value: &impl Serialize) -> String {
    serde_json::to_string(value).expect("plain data is JSON")
}

fn parsed<T: serde::de::DeserializeOwned>(text: &str) -> Result<T> {
    serde_json::from_str(text)
        .map_err(|e| Error::new(format!("the page's choices: {e}"), "Undo the last change."))
}

#[wasm_bindgen(js_class = Desk)]
impl PageDesk {
    /// An empty desk. What a panic says, which would be a fault of ours, reaches the page through `panicked`.
    #[wasm_bindgen(constructor)]
    pub fn new(panicked: js_sys::Function) -> Self {
        struct Heard(js_sys::Function);
        // SAFETY: the module has one thread, the worker's.
        unsafe impl Send for Heard {}
        unsafe impl Sync for Heard {}
        impl Heard {
            fn tell(&self, text: &str) {
                let _ = self.0.call1(&JsValue::NULL, &text.into());
            }
        }
        let heard = Heard(panicked);
        std::panic::set_hook(Box::new(move |info| heard.tell(&info.to_string())));
        Self(Desk::default())
    }

    /// Lays a file on the desk, in place of one of the same name.
    pub fn put(&mut self, name: &str, bytes: Vec<u8>) {
        self.0.put(name, bytes);
    }

    /// Makes the plan of a job (JSON) and keeps it; `stage` is told what begins. The plan and its curves as JSON.
    pub fn plan(&mut self, job: &str, stage: &js_sys::Function) -> Thrown<String> {
        let tell = |name: &str| {
            let _ = stage.call1(&JsValue::NULL, &name.into());
        };
        thrown(parsed(job).and_then(|job| self.0.plan(&job, &tell))).map(|view| json(&view))
    }

    /// A job file (TOML, or a `plan.json`) as JSON.
    pub fn read_job(&self, name: &str) -> Thrown<String> {
        thrown(self.0.read_job(name)).map(|job| json(&job))
    }

    /// A job (JSON) as TOML.
    pub fn job_toml(&self, job: &str) -> Thrown<String> {
        thrown(parsed(job).and_then(|job| desk::job_toml(&job)))
    }

    /// Names of the files of the plan's folder.
    pub fn names(&self) -> Thrown<Vec<String>> {
        thrown(self.0.names())
    }

    /// One file of the plan's folder.
    pub fn file(&self, name: &str) -> Thrown<Vec<u8>> {
        thrown(self.0.file(name))
    }

    /// The owned pens that come nearest to a section, as JSON.
    pub fn offers(&self, section: u16, count: usize) -> Thrown<String> {
        thrown(self.0.offers(section, count)).map(|offers| json(&offers))
    }

    /// The pens that would do for what lies around the drawing, with its outline, as JSON.
    pub fn backgrounds(&mut self) -> Thrown<String> {
        thrown(self.0.backgrounds()).map(|found| json(&found))
    }

    /// A picture, upright, its longer side at most `longest` pixels.
    pub fn photo(&self, name: &str, longest: usize) -> Thrown<Picture> {
        thrown(self.0.photo(name, longest))
    }

    /// The corners of a panel (size as text, such as "A6") in a photo: `[[x, y]; 4]` as JSON, in pixels.
    pub fn corners(&self, name: &str, panel: &str) -> Thrown<String> {
        thrown(self.0.corners(name, panel)).map(|corners| json(&corners))
    }

    /// The drawing as a flat page, as the job (JSON) says, in gray.
    pub fn page(&self, job: &str) -> Thrown<Picture> {
        thrown(parsed(job).and_then(|job| self.0.page(&job)))
    }

    /// The photos as they lie on the drawing of the plan that was made last; transparent where there is none.
    pub fn laid(&self) -> Thrown<Picture> {
        thrown(self.0.laid())
    }

    /// The cells of the job's drawing (JSON): where they are and their outlines, as JSON.
    pub fn cells(&self, job: &str) -> Thrown<String> {
        thrown(parsed(job).and_then(|job| self.0.cells(&job))).map(|cells| json(&cells))
    }

    /// The pens of a table as rows, as JSON.
    pub fn pens(&self, name: &str) -> Thrown<String> {
        thrown(self.0.pens(name)).map(|rows| json(&rows))
    }

    /// A table with these rows (JSON) that keeps the columns of `name` that the page does not know.
    pub fn pens_csv(&self, name: &str, rows: &str) -> Thrown<Vec<u8>> {
        thrown(parsed::<Vec<PenRow>>(rows).and_then(|rows| self.0.pens_csv(name, &rows)))
    }

    /// The table `name` with the colors that photos of its swatch sheets show, and what was found, as JSON.
    pub fn measure(&self, name: &str, photos: Vec<String>, paper: &str) -> Thrown<String> {
        let read = |paper| self.0.measure(name, &photos, paper);
        thrown(parsed(&json(&paper)).and_then(read)).map(|found| json(&found))
    }

    /// The same from a photo of a scrap of card: `patches` (JSON) are `[{ "pen": name, "at": [x, y] }]`, in pixels.
    pub fn measure_scrap(
        &self,
        name: &str,
        photo: &str,
        patches: &str,
        paper: &str,
    ) -> Thrown<String> {
        let read = |patches: Vec<_>| {
            let paper = parsed(&json(&paper))?;
            self.0.measure_scrap(name, photo, &patches, paper)
        };
        thrown(parsed(patches).and_then(read)).map(|found| json(&found))
    }

    /// Sheets to measure the pens of a table with, PDF.
    pub fn swatch_sheets(&self, name: &str, page: &str) -> Thrown<Vec<u8>> {
        thrown(parsed(&json(&page)).and_then(|page| self.0.swatch_sheets(name, page)))
    }
}
