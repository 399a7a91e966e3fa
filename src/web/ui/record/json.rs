//! A record as programs see it: its values by the names of its fields. A text is as the form has it, nothing where the field
//! is empty; a tick is true or false; a list of rows is a list of objects.

use super::group::Shape;
use super::{Record, Sheet, Typed};
use crate::web::ui::{Field, FormErrors, WebError};
use serde_json::{Map, Value, json};

/// Values by field.
pub(in crate::web) type Values = Map<String, Value>;

/// What is typed in a field, as JSON.
fn shown(field: &Field, text: &str) -> Value {
    if field.is_tick() {
        Value::Bool(text == "yes")
    } else if text.is_empty() {
        Value::Null
    } else {
        Value::from(text)
    }
}

/// What is sent for a field, as it would be typed.
fn typed(field: &Field, value: &Value) -> Result<String, &'static str> {
    match (field.is_tick(), value) {
        (true, Value::Bool(yes)) => Ok(if *yes { "yes" } else { "" }.to_owned()),
        (true, Value::Null) => Ok(String::new()),
        (true, _) => Err("Send true or false"),
        (false, Value::String(text)) => Ok(text.clone()),
        (false, Value::Null) => Ok(String::new()),
        (false, _) => Err("Send text, or null for nothing"),
    }
}

impl Shape {
    fn name(&self) -> &str {
        match self {
            Self::One(field) | Self::Many(field) => field.name(),
            Self::Rows { name, .. } => name,
        }
    }

    fn value(&self, from: &Typed) -> Value {
        match self {
            Self::One(field) => shown(field, from.get(field.name())),
            Self::Many(field) => from.all(field.name()).into(),
            Self::Rows { columns, .. } => {
                let count = columns.iter().map(|column| from.all(column.name()).len());
                let cell = |column: &Field, row: usize| {
                    let text = from.all(column.name()).get(row);
                    shown(column, text.map_or("", String::as_str))
                };
                let rows = (0..count.max().unwrap_or(0)).map(|row| {
                    let cells = columns
                        .iter()
                        .map(|column| (column.name().to_owned(), cell(column, row)));
                    Value::Object(cells.collect())
                });
                rows.collect()
            }
        }
    }

    /// Types what was sent.
    fn type_in(&self, value: &Value, into: &mut Typed, errors: &mut FormErrors) {
        match self {
            Self::One(field) => match typed(field, value) {
                Ok(text) => into.set(field.name(), text),
                Err(why) => errors.add(field.name(), why),
            },
            Self::Many(field) => {
                if value.is_null() {
                    into.set_all(field.name(), Vec::new());
                    return;
                }
                let texts = value.as_array().map(|all| {
                    let texts = all.iter().map(|one| one.as_str().map(ToOwned::to_owned));
                    texts.collect::<Option<Vec<String>>>()
                });
                match texts.flatten() {
                    Some(texts) => into.set_all(field.name(), texts),
                    None => errors.add(field.name(), "Send a list of texts"),
                }
            }
            Self::Rows { name, columns, .. } => type_rows(name, columns, value, into, errors),
        }
    }

    fn schema(&self) -> Value {
        match self {
            Self::One(field) => field.schema(),
            Self::Many(field) => {
                let one = field.clone().schema();
                json!({ "title": one["title"], "type": "array", "items": one })
            }
            Self::Rows { title, columns, .. } => {
                let cells = columns.iter();
                let cells = cells.map(|c| (c.name().to_owned(), c.clone().optional().schema()));
                let cells: Values = cells.collect();
                let row =
                    json!({ "type": "object", "additionalProperties": false, "properties": cells });
                json!({ "title": title, "type": "array", "items": row })
            }
        }
    }
}

/// Types rows in their columns, empty where a row says nothing of one.
fn type_rows(
    name: &str,
    columns: &[Field],
    value: &Value,
    into: &mut Typed,
    errors: &mut FormErrors,
) {
    let none = Vec::new();
    let Some(rows) = value.as_array().or(value.is_null().then_some(&none)) else {
        errors.add(name, "Send a list of rows");
        return;
    };
    let mut texts = vec![vec![String::new(); rows.len()]; columns.len()];
    for (at, row) in rows.iter().enumerate() {
        let Some(row) = row.as_object() else {
            errors.add(&format!("{name}.{at}"), "Send an object for each row");
            continue;
        };
        for (key, value) in row {
            let place = format!("{name}.{at}.{key}");
            let Some(column) = columns.iter().position(|column| column.name() == key) else {
                errors.add(&place, "There is no such field");
                continue;
            };
            match columns.get(column).map(|field| typed(field, value)) {
                Some(Ok(text)) => {
                    if let Some(cell) = texts.get_mut(column).and_then(|rows| rows.get_mut(at)) {
                        *cell = text;
                    }
                }
                Some(Err(why)) => errors.add(&place, why),
                None => {}
            }
        }
    }
    for (column, texts) in columns.iter().zip(texts) {
        into.set_all(column.name(), texts);
    }
}

/// A place of the form by its name in JSON: `contact_name-0` is `contact.0.contact_name`.
fn place(shapes: &[Shape], field: &str) -> String {
    for shape in shapes {
        let Shape::Rows {
            name,
            columns,
            first,
            ..
        } = shape
        else {
            continue;
        };
        for column in columns.iter() {
            let row = field
                .strip_prefix(column.name())
                .and_then(|rest| rest.strip_prefix('-')?.parse::<usize>().ok())
                .and_then(|row| row.checked_sub(*first));
            if let Some(row) = row {
                return format!("{name}.{row}.{}", column.name());
            }
        }
    }
    field.to_owned()
}

impl<R: Record> Sheet<R> {
    /// What the form says, as JSON.
    pub(in crate::web) fn values(&self) -> Values {
        let shapes = self.fields.shapes();
        shapes
            .iter()
            .map(|shape| (shape.name().to_owned(), shape.value(&self.typed)))
            .collect()
    }

    /// What each field takes, as JSON Schema; what must be sent for a new one is `required`.
    pub(in crate::web) fn schema(&self) -> Value {
        let shapes = self.fields.shapes();
        let properties = shapes.iter();
        let properties = properties.map(|shape| (shape.name().to_owned(), shape.schema()));
        let properties: Values = properties.collect();
        let required = shapes.iter().filter_map(|shape| match shape {
            Shape::One(field) if field.must_be_filled() => {
                Some(field.name()).filter(|name| self.typed.get(name).is_empty())
            }
            Shape::Many(field) => Some(field.name()),
            Shape::One(_) | Shape::Rows { .. } => None,
        });
        json!({
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "type": "object",
            "additionalProperties": false,
            "required": required.collect::<Vec<_>>(),
            "properties": properties,
        })
    }

    /// Takes what was sent over what the form says, as a merge patch (RFC 7396): what is not sent stays. `seen` is the version
    /// that was changed; none for a new one.
    pub(in crate::web) fn take(&mut self, sent: &Values, seen: Option<i32>) {
        let shapes = self.fields.shapes();
        let mut typed = self.typed.clone();
        for (name, value) in sent {
            match shapes.iter().find(|shape| shape.name() == name) {
                Some(shape) => shape.type_in(value, &mut typed, &mut self.errors),
                None => self.errors.add(name, "There is no such field"),
            }
        }
        if let Some(seen) = seen {
            typed.set("version", seen.to_string());
        }
        self.fill(typed);
    }

    /// What was sent, but for passwords.
    pub(in crate::web) fn without_secrets(&self, sent: &Values) -> Values {
        let shapes = self.fields.shapes();
        let secret = |name: &str| {
            let shape = shapes.iter().find(|shape| shape.name() == name);
            shape.is_some_and(|shape| matches!(shape, Shape::One(field) if field.is_secret()))
        };
        let kept = sent.iter().filter(|(name, _)| !secret(name));
        kept.map(|(name, value)| (name.clone(), value.clone()))
            .collect()
    }

    /// What does not read, by its names in JSON.
    pub(in crate::web) fn complaints(&self) -> WebError {
        let shapes = self.fields.shapes();
        let complaints = self.errors.iter();
        let complaints = complaints.map(|(field, why)| (place(&shapes, field), why.to_owned()));
        WebError::Invalid(complaints.collect())
    }
}
