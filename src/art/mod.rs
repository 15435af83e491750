//! The line drawing on the panel: the page, its drawn lines, and the cells they close off.

mod cells;
mod corners;
mod flatten;
mod lines;
mod open;
mod page;
mod places;

pub(crate) use cells::clear_cells;
pub use cells::{Cells, find_cells};
pub use corners::{Corners, find_corners};
pub use flatten::{even_light, flatten, lying, perspective};
pub(crate) use lines::trace_lines;
pub use lines::{Lines, Threshold, find_lines};
pub use open::{Opening, find_openings, told_openings, with_openings};
pub use page::{Page, load_page};
pub use places::{Place, places};
