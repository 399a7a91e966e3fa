//! What a form sent, as typed.

use serde::Deserialize;
use std::collections::BTreeMap;

/// The values of a form by field name, in the order they were sent. A field that was not sent is empty.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(from = "Vec<(String, String)>")]
pub(in crate::web) struct Typed(BTreeMap<String, Vec<String>>);

impl From<Vec<(String, String)>> for Typed {
    fn from(pairs: Vec<(String, String)>) -> Self {
        let mut typed = Self::default();
        for (name, value) in pairs {
            typed.0.entry(name).or_default().push(value);
        }
        typed
    }
}

impl Typed {
    /// The first value of a field, or nothing.
    pub(in crate::web) fn get(&self, name: &str) -> &str {
        self.all(name).first().map_or("", String::as_str)
    }

    /// Every value of a repeated field.
    pub(in crate::web) fn all(&self, name: &str) -> &[String] {
        self.0.get(name).map_or(&[], Vec::as_slice)
    }

    /// Puts one value in place of those of a field.
    pub(in crate::web) fn set(&mut self, name: &str, value: impl Into<String>) {
        self.0.insert(name.to_owned(), vec![value.into()]);
    }

    /// Puts a list in place of the values of a field.
    pub(in crate::web) fn set_all(&mut self, name: &str, values: Vec<String>) {
        self.0.insert(name.to_owned(), values);
    }

    /// The version the editor saw; `None` where the form says none.
    pub(in crate::web) fn version(&self) -> Option<i32> {
        let version = self.get("version").trim();
        (!version.is_empty()).then(|| version.parse().unwrap_or_default())
    }
}
