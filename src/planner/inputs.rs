//! What is read from files, and what of it the scene is laid out from.

use std::path::{Path, PathBuf};

use crate::error::Result;
use crate::files::Files;
use crate::job::{DrawingChoices, Job, LayingChoices, Match};
use crate::laying::Seen;
use crate::pens::Pen;
use crate::stages::{self, Drawing, Scene};

use super::kept::{Kept, Same};

/// What is read.
pub struct Inputs {
    pub pens: Same<Vec<Pen>>,
    matches: Same<Vec<Match>>,
    photos: Same<Vec<Seen>>,
    drawing: Same<Option<Drawing>>,
}

/// What the scene is laid out from.
#[derive(PartialEq)]
pub struct ToLay {
    /// Only those that color a part.
    pens: Vec<Pen>,
    /// If they are this photo's.
    matches: Option<Same<Vec<Match>>>,
    photos: Same<Vec<Seen>>,
    drawing: Same<Option<Drawing>>,
}

impl Inputs {
    /// The scene of these choices.
    ///
    /// # Errors
    /// If a photo cannot be laid, or a choice does not fit the drawing.
    pub fn lay_out(
        &self,
        kept: &mut Kept<FromInputs, Scene>,
        choices: LayingChoices,
    ) -> Result<Same<Scene>> {
        let from = (self.to_lay(&choices), choices);
        kept.made(from, |(laid, choices)| {
            let ToLay {
                pens,
                matches,
                photos,
                drawing,
            } = laid;
            let matches = matches.as_ref().map_or(&[][..], |matches| matches);
            stages::lay_out(photos, drawing, matches, pens, choices)
        })
    }

    fn to_lay(&self, choices: &LayingChoices) -> ToLay {
        let images = choices.images.iter().flat_map(|own| &own.parts);
        let parts = choices.parts.iter().chain(images);
        let of_parts = parts.filter_map(|part| part.pen.as_ref());
        let names: Vec<&String> = of_parts.chain(&choices.background_pen).collect();
        let named = self.pens.iter().filter(|pen| names.contains(&&pen.name));
        ToLay {
            pens: named.cloned().collect(),
            matches: choices.match_file.as_ref().map(|_| self.matches.clone()),
            photos: self.photos.clone(),
            drawing: self.drawing.clone(),
        }
    }
}

pub type FromInputs = (ToLay, LayingChoices);

/// Only the files that are read, and what is said of them.
type FromFiles<T> = (Files, T);

#[derive(Default)]
pub struct InputsKept {
    pens: Kept<FromFiles<PathBuf>, Vec<Pen>>,
    matches: Kept<FromFiles<Option<PathBuf>>, Vec<Match>>,
    photos: Kept<FromFiles<(Vec<PathBuf>, bool)>, Vec<Seen>>,
    drawing: Kept<FromFiles<DrawingChoices>, Option<Drawing>>,
}

impl InputsKept {
    /// # Errors
    /// If a file is missing or not what it should be.
    pub fn read(&mut self, files: &Files, job: &Job) -> Result<Inputs> {
        let from = (files.only([job.pens.as_path()]), job.pens.clone());
        let pens = self
            .pens
            .made(from, |(files, name)| stages::read_pens(files, name))?;
        let from = (
            files.only(job.match_file.as_deref()),
            job.match_file.clone(),
        );
        let matches = self.matches.made(from, |(files, name)| {
            stages::read_matches(files, name.as_deref())
        })?;
        let names = job.photo_names();
        let photos = files.only(names.iter().map(PathBuf::as_path));
        let from_photos = (photos, (names, job.has_art()));
        let drawing = job.drawing();
        let arts: Vec<&Path> = drawing.arts().collect();
        let from_drawing = (files.only(arts), drawing.clone());
        // The photo's decoder leaves one core free for the drawing.
        let (photos, drawing) = rayon::join(
            || {
                self.photos.made(from_photos, |(files, (names, has_art))| {
                    stages::decode_photos(files, names, *has_art)
                })
            },
            || {
                self.drawing.made(from_drawing, |(files, choices)| {
                    stages::read_drawing(files, choices)
                })
            },
        );
        Ok(Inputs {
            pens,
            matches,
            photos: photos?,
            drawing: drawing?,
        })
    }
}
