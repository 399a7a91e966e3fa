//! The history of a row, as its page shows it: who changed what, and when.

use crate::db::history::{Change, FieldChange};
use crate::web::ui::SignedIn;
use crate::web::ui::show::{count, moment};
use maud::{Markup, html};
use serde_json::Value;

/// Changes, newest first, folded away until they are asked for. Nothing where there are none.
pub fn section(who: &SignedIn, changes: &[Change]) -> Markup {
    html! {
        @if !changes.is_empty() {
            details.history {
                summary { "History: " (count(i64::try_from(changes.len()).unwrap_or(i64::MAX), "change", "changes")) }
                ol {
                    @for change in changes {
                        li {
                            p {
                                strong { (moment(change.at, who.shop.time_zone, who.today())) } ", "
                                (change.person.as_deref().unwrap_or("the program")) ": "
                                @match change.action.as_str() {
                                    "insert" => "entered",
                                    "delete" => "deleted",
                                    _ => "changed",
                                }
                            }
                            @if change.action == "update" {
                                ul { @for field in &change.fields { (field_line(field)) } }
                            }
                        }
                    }
                }
            }
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
fn words(stored: &Option<String>) -> String {
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
