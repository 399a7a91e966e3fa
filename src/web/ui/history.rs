//! The history of a row, as its page shows it: who changed what, and when.

use crate::db::history::{Change, FieldChange, SHOWN};
use crate::db::people::Role;
use crate::units::Code;
use crate::web::ui::SignedIn;
use crate::web::ui::show::{count, moment};
use maud::{Markup, html};
use serde_json::Value;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// Changes, newest first, folded away until they are asked for. Nothing where there are none.
pub fn section(who: &SignedIn, changes: &[Change]) -> Markup {
    folded(who, changes, None)
}

/// The same, with the way to the page that has all of them, for those who may see it.
pub fn section_of(who: &SignedIn, kept: Kept, id: Uuid, changes: &[Change]) -> Markup {
    folded(who, changes, who.may(Role::Office).then(|| kept.path(id)))
}

fn folded(who: &SignedIn, changes: &[Change], all: Option<String>) -> Markup {
    let count_of = i64::try_from(changes.len()).unwrap_or(i64::MAX);
    html! {
        @if !changes.is_empty() {
            details.history {
                summary {
                    "History: "
                    @if count_of < SHOWN { (count(count_of, "change", "changes")) } @else { "the last " (count_of) " changes" }
                }
                (lines(who, changes))
                @if let Some(all) = all { p { a href=(all) { "The whole history" } } }
            }
        }
    }
}

/// Changes, one below the other.
pub fn lines(who: &SignedIn, changes: &[Change]) -> Markup {
    html! {
        ol {
            @for change in changes {
                li {
                    p {
                        strong { (moment(change.at, who.shop.time_zone, who.today())) } ", "
                        (by(change)) ": " (done(change))
                    }
                    @if change.action == "update" {
                        ul { @for field in &change.fields { (field_line(field)) } }
                    }
                }
            }
        }
    }
}

/// Who made a change.
#[must_use]
pub fn by(change: &Change) -> &str {
    change.person.as_deref().unwrap_or("the program")
}

/// What a change did.
#[must_use]
pub fn done(change: &Change) -> &'static str {
    match change.action.as_str() {
        "insert" => "entered",
        "delete" => "deleted",
        _ => "changed",
    }
}

/// What has a page with its whole history, under the name of its table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Kept {
    /// A casting on the shelf.
    Casting,
    /// A customer.
    Customer,
    /// A job.
    Job,
    /// A quote.
    Quote,
    /// An item of stock.
    StockItem,
    /// A set of tooling.
    Tool,
}

impl Kept {
    /// Where its history is.
    #[must_use]
    pub fn path(self, id: Uuid) -> String {
        format!("/history/{}/{id}", self.code())
    }

    /// Where its own page is.
    #[must_use]
    pub fn page(self, id: Uuid) -> String {
        let below = match self {
            Self::Casting => "castings/shelf",
            Self::Customer => "customers",
            Self::Job => "jobs",
            Self::Quote => "quotes",
            Self::StockItem => "stock/items",
            Self::Tool => "stock/tools",
        };
        format!("/{below}/{id}")
    }

    /// What it is called.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Casting => "casting",
            Self::Customer => "customer",
            Self::Job => "job",
            Self::Quote => "quote",
            Self::StockItem => "stock item",
            Self::Tool => "tooling",
        }
    }
}

fn field_line(field: &FieldChange) -> Markup {
    html! {
        li {
            (field.field.replace('_', " ")) ": "
            del { span.visually-hidden { "from " } (words(&field.before)) }
            " → "
            ins { span.visually-hidden { "to " } (words(&field.after)) }
        }
    }
}

/// A stored value as a person reads it: lists and their parts are stored as JSON.
#[must_use]
pub fn words(stored: &Option<String>) -> String {
    let Some(text) = stored else {
        return "nothing".to_owned();
    };
    match serde_json::from_str(text) {
        Ok(value @ (Value::Bool(_) | Value::Array(_) | Value::Object(_))) => plain(&value),
        _ if text.is_empty() => "nothing".to_owned(),
        _ => text.clone(),
    }
}

fn plain(value: &Value) -> String {
    match value {
        Value::Null => "nothing".to_owned(),
        Value::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        Value::String(text) => text.clone(),
        Value::Number(number) => number.to_string(),
        Value::Array(items) if items.is_empty() => "nothing".to_owned(),
        Value::Array(items) => items.iter().map(plain).collect::<Vec<_>>().join("; "),
        Value::Object(fields) => {
            let fields = fields.iter().filter(|(_, value)| !value.is_null());
            fields
                .map(|(name, value)| format!("{} {}", name.replace('_', " "), plain(value)))
                .collect::<Vec<_>>()
                .join(", ")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stored_values_are_readable() {
        let read = |text: &str| words(&Some(text.to_owned()));
        assert_eq!(words(&None), "nothing");
        assert_eq!(read("[]"), "nothing");
        assert_eq!(read("true"), "yes");
        assert_eq!(read("12.50"), "12.50");
        assert_eq!(
            read(r#"[{"limits": "2 thou", "what": "nip"}, "x"]"#),
            "limits 2 thou, what nip; x"
        );
    }
}
