//! What every screen uses: the page, forms with their fields and complaints, values as they are written, the history of
//! a record, the notice of a stale edit. A screen takes everything from here.

pub mod csv;
pub mod error_page;
pub(in crate::web) mod face_points;
pub mod floor_words;
pub mod forms;
pub mod history;
pub mod list;
pub mod page;
pub(in crate::web) mod record;
pub mod show;
pub mod stale;
pub mod words;
pub(in crate::web) mod work_lines;

pub use super::shell::body::{CheckedForm, Live, csrf_field, once_field};
pub use super::shell::error::WebError;
pub use super::shell::gate::SignedIn;
pub use forms::{Choice, Field, FormErrors};
pub use list::{List, ListQuery};
pub use page::{Answer, Page, Reply, Section};
