//! What is made of a job: the plan, and the values it was made from.

use std::sync::Arc;

use crate::art::{Cells, Lines};
use crate::borders::{Labels, Outlines};
use crate::card::Card;
use crate::parts::Parts;
use crate::pens::Pen;
use crate::plan::Plan;
use crate::reference::Reference;
use crate::sections::Sections;

/// A plan with everything the sheets draw from.
pub struct Made {
    pub plan: Plan,
    pub outlines: Arc<Outlines>,
    pub labels: Labels,
    pub sections: Arc<Sections>,
    pub reference: Arc<Reference>,
    pub lines: Arc<Lines>,
    pub cells: Arc<Cells>,
    /// The part with a color of its own that every cell belongs to, by the cell's number (0 is no cell); empty without
    /// such parts.
    pub lit_part_of_cell: Vec<Option<usize>>,
    pub parts: Arc<Parts>,
    /// All pens owned.
    pub pens: Arc<Vec<Pen>>,
    /// What the drawing is composed of, if it is a card of stamps and pieces.
    pub card: Option<Arc<Card>>,
    /// The same sections with other pens, by name: those that the pens can serve.
    pub variants: Vec<(String, Made)>,
}
