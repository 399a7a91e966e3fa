//! How every form is done: what was typed is kept as typed, parsed once at the edge, complained about beside its field.
//!
//! A form is a struct of `String`s (and `Vec<String>`s for repeated fields) with `#[serde(default)]`, so that a missing
//! field is an empty one. [`CheckedForm`] hands it to the handler after the session's token was checked; [`FormErrors`]
//! reads the strings into types and collects every complaint; [`Field`] draws a field with its value and complaint.

mod errors;
mod field;

pub use crate::web::shell::body::{CheckedForm, FORM_LIMIT, Live, csrf_field};
pub use crate::web::shell::upload;
pub use errors::FormErrors;
pub(in crate::web) use errors::spoken;
pub use field::{Choice, Field};
