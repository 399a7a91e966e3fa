//! Which part of a list is asked for.

use crate::db::lists::Part;
use crate::units::Code;
use crate::web::ui::FormErrors;
use serde::Deserialize;
use std::ops::RangeInclusive;

/// How many rows may be asked for.
pub(super) const LIMITS: RangeInclusive<u32> = 1..=500;
/// How many may be left out: 32 bits with a sign, as OpenAPI has it.
pub(super) const OFFSETS: RangeInclusive<u32> = 0..=i32::MAX.unsigned_abs();

/// Rows of a list: so many, after so many that are left out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rows {
    pub(super) limit: u32,
    pub(super) offset: u32,
}

impl Rows {
    /// What is asked for, with what is usual where nothing is said.
    pub(super) fn of(limit: Option<u32>, offset: Option<u32>) -> Self {
        Self {
            limit: limit.unwrap_or(100),
            offset: offset.unwrap_or(0),
        }
    }

    /// The same, if it is within bounds.
    ///
    /// # Errors
    /// Complaints about `limit` and `offset`.
    pub(super) fn check(self) -> Result<Self, FormErrors> {
        let mut errors = FormErrors::default();
        for (field, value, bounds) in [
            ("limit", self.limit, LIMITS),
            ("offset", self.offset, OFFSETS),
        ] {
            if !bounds.contains(&value) {
                let (least, most) = (bounds.start(), bounds.end());
                errors.add(field, format!("This must be from {least} to {most}"));
            }
        }
        if errors.is_empty() {
            Ok(self)
        } else {
            Err(errors)
        }
    }

    /// As a part of a list that begins with the latest.
    pub(super) fn latest_first(self) -> Part {
        Part {
            descending: true,
            skip: self.offset.into(),
            rows: self.limit.into(),
        }
    }
}

/// What a list is asked by: a view by its code, words to find, and which rows.
#[derive(Debug, Deserialize)]
pub(super) struct Which {
    #[serde(default)]
    view: String,
    #[serde(default)]
    pub(super) q: String,
    limit: Option<u32>,
    offset: Option<u32>,
}

impl Which {
    /// The view; the usual one where none is named.
    ///
    /// # Errors
    /// A complaint about `view`.
    pub(super) fn view<V: Code + Default>(&self) -> Result<V, FormErrors> {
        if self.view.is_empty() {
            return Ok(V::default());
        }
        V::from_code(&self.view).ok_or_else(|| {
            let mut errors = FormErrors::default();
            let codes: Vec<&str> = V::ALL.iter().map(|view| view.code()).collect();
            errors.add("view", format!("Send one of: {}", codes.join(", ")));
            errors
        })
    }

    /// The rows.
    ///
    /// # Errors
    /// As [`Rows::check`].
    pub(super) fn rows(&self) -> Result<Rows, FormErrors> {
        Rows::of(self.limit, self.offset).check()
    }
}
