//! A field as programs see it: JSON Schema, draft 2020-12.

use super::{Control, Field};
use serde_json::{Map, Value, json};

impl Field {
    /// Whether it is a yes or no.
    pub(in crate::web) fn is_tick(&self) -> bool {
        matches!(self.control, Control::Checkbox { .. })
    }

    /// Whether it is never shown again, as a password.
    pub(in crate::web) fn is_secret(&self) -> bool {
        matches!(&self.control, Control::Input { kind, .. } if *kind == "password")
    }

    /// Whether something must be entered.
    pub(in crate::web) fn must_be_filled(&self) -> bool {
        !self.optional && !self.is_tick() && !self.takes_nothing()
    }

    /// Whether nothing is one of its choices.
    fn takes_nothing(&self) -> bool {
        match &self.control {
            Control::Select(choices) | Control::Radios(choices) => {
                choices.iter().any(|choice| choice.value.is_empty())
            }
            _ => false,
        }
    }

    /// What may be sent for it: its label as `title`, its hint as `description`, the unit of a bare number as `x-unit`.
    pub(in crate::web) fn schema(&self) -> Value {
        let mut schema = Map::new();
        schema.insert("title".to_owned(), json!(self.label));
        if let Some(hint) = &self.hint {
            schema.insert("description".to_owned(), json!(hint));
        }
        if let Some(unit) = &self.unit {
            schema.insert("x-unit".to_owned(), json!(unit));
        }
        let kind = if self.must_be_filled() {
            json!("string")
        } else {
            json!(["string", "null"])
        };
        match &self.control {
            Control::Checkbox { .. } => {
                schema.insert("type".to_owned(), json!("boolean"));
            }
            Control::Select(choices) | Control::Radios(choices) => {
                let filled = choices.iter().filter(|choice| !choice.value.is_empty());
                let mut one_of: Vec<Value> = filled
                    .map(|choice| json!({ "const": choice.value, "title": choice.label }))
                    .collect();
                if !self.must_be_filled() {
                    let nothing = choices.iter().find(|choice| choice.value.is_empty());
                    let title = nothing.map_or("none", |choice| choice.label.as_str());
                    one_of.push(json!({ "const": null, "title": title }));
                }
                schema.insert("oneOf".to_owned(), json!(one_of));
            }
            Control::Input { kind: typed, .. } => {
                schema.insert("type".to_owned(), kind);
                if *typed == "date" {
                    schema.insert("format".to_owned(), json!("date"));
                }
                if self.is_secret() {
                    schema.insert("writeOnly".to_owned(), json!(true));
                }
            }
            Control::Textarea { .. } => {
                schema.insert("type".to_owned(), kind);
            }
        }
        Value::Object(schema)
    }
}
