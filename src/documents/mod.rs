//! What is printed: sheets of paper as PDF. A sheet is lines, boxes and a QR code, set from the top down; what does not
//! fit goes on to the next page. [`notes`] holds what the program itself notes in records.

pub mod fitting_sheet;
pub mod notes;
pub mod points;
pub mod qr;
pub mod route_card;
mod sheet;
mod typeface;

pub use fitting_sheet::{FittingJob, fitting_sheet};
pub use route_card::{CardFace, CardJob, CardOperation, route_card};
pub use sheet::{Paper, SheetError};
