//! What is shown when somebody else changed a record first.

use maud::{Markup, html};

/// One value that two people set differently.
#[derive(Debug, Clone)]
pub struct Changed {
    /// The field's label.
    pub label: String,
    /// As it is stored now.
    pub stored: String,
    /// As this person wanted it.
    pub wanted: String,
}

impl Changed {
    /// A value, unless both are the same.
    #[must_use]
    pub fn if_differs(label: &str, stored: &str, wanted: &str) -> Option<Self> {
        (stored != wanted).then(|| Self {
            label: label.to_owned(),
            stored: stored.to_owned(),
            wanted: wanted.to_owned(),
        })
    }
}

/// Tells of a stale edit, with both values of what differs. Show it above the form, which keeps what was typed and
/// carries the version now stored, so that saving again is a decision: `page.status(StatusCode::CONFLICT)`.
#[must_use]
pub fn stale_notice(what: &str, changed: &[Changed]) -> Markup {
    html! {
        section.notice.warn role="alert" aria-labelledby="stale-title" tabindex="-1" {
            h2 #stale-title { "Someone else changed this: " (what) }
            p { "Your changes are not saved. They are still in the form: save again to keep yours, or change them first." }
            @if !changed.is_empty() {
                table.cells {
                    thead { tr { th scope="col" { "Field" } th scope="col" { "Stored now" } th scope="col" { "Yours" } } }
                    tbody {
                        @for change in changed {
                            tr {
                                th scope="row" { (change.label) }
                                td data-label="Stored now" { (change.stored) }
                                td data-label="Yours" { (change.wanted) }
                            }
                        }
                    }
                }
            }
        }
    }
}
