//! The line drawing on the panel: the page, its drawn lines, and the cells they close off.

mod cells;
mod lines;
mod page;

pub use cells::{Cells, find_cells};
pub use lines::{Lines, find_lines};
pub use page::{load_page, page_aspect};
