//! What it means when a statement touched no row, or broke a constraint.

use super::DbError;
use sqlx::postgres::PgQueryResult;

/// What a statement that names one row and its version did.
pub(super) trait Touched {
    /// [`DbError::Stale`] when it touched no row: somebody else changed it first, or it is gone.
    fn or_stale(self, what: &'static str) -> Result<(), DbError>;
    /// [`DbError::NotFound`] when it touched no row.
    fn or_missing(self, what: &'static str) -> Result<(), DbError>;
}

impl Touched for PgQueryResult {
    fn or_stale(self, what: &'static str) -> Result<(), DbError> {
        match self.rows_affected() {
            0 => Err(DbError::Stale(what)),
            _ => Ok(()),
        }
    }

    fn or_missing(self, what: &'static str) -> Result<(), DbError> {
        match self.rows_affected() {
            0 => Err(DbError::NotFound(what)),
            _ => Ok(()),
        }
    }
}

/// When an update touched no row, the row is read again: [`DbError::NotFound`] from that when it is gone, else
/// [`DbError::Stale`].
pub(super) async fn changed<T>(
    done: PgQueryResult,
    what: &'static str,
    read_again: impl Future<Output = Result<T, DbError>>,
) -> Result<(), DbError> {
    if done.rows_affected() == 0 {
        read_again.await?;
    }
    done.or_stale(what)
}

/// Unique indexes: the form field that is complained about, and the complaint.
const TAKEN: [(&str, &str, &str); 13] = [
    (
        "device_name",
        "name",
        "There is another device with this name already",
    ),
    (
        "element_code",
        "code",
        "There is an element with this code already",
    ),
    ("holiday_once", "on", "This day is a holiday already"),
    (
        "labour_rate_skill",
        "skill",
        "There is a rate for this skill already",
    ),
    (
        "machine_name",
        "name",
        "There is a machine with this name already",
    ),
    (
        "pattern_name",
        "name",
        "There is a pattern with this name already",
    ),
    (
        "crack_repair_place",
        "place",
        "There is one for this place already",
    ),
    (
        "person_sign_in",
        "sign_in",
        "Someone signs in with this name already",
    ),
    (
        "remedy_rule_name",
        "name",
        "There is a rule with this name already",
    ),
    (
        "shift_once",
        "start",
        "There is a shift starting at this time already",
    ),
    (
        "stock_item_name",
        "name",
        "There is an item with this name already",
    ),
    (
        "tool_name",
        "name",
        "There is tooling with this name already",
    ),
    (
        "variant_name",
        "name",
        "There is a variant with this name already",
    ),
    (
        "work_material_name",
        "name",
        "There is a material with this name already",
    ),
];

/// Parts of a foreign key's name: the column, and what was not found when it points nowhere.
const MISSING: [(&str, &str); 7] = [
    ("_machine_id_", "the machine"),
    ("_person_id_", "the person"),
    ("_variant_id_", "the variant"),
    ("_pattern_id_", "the pattern"),
    ("_work_material_id_", "the work material"),
    ("_item_id_", "this item of stock"),
    ("_job_id_", "this job"),
];

/// A broken constraint as what it means: [`DbError::Duplicate`] beside the field that is taken, [`DbError::NotFound`] for
/// a key that points nowhere. Anything else stays what it was.
pub(super) fn broken(error: sqlx::Error) -> DbError {
    let Some((name, foreign)) = error.as_database_error().and_then(|db| {
        let name = db.constraint()?.to_owned();
        Some((name, db.is_foreign_key_violation()))
    }) else {
        return error.into();
    };
    if let Some((_, field, message)) = TAKEN.iter().find(|(index, ..)| *index == name) {
        return DbError::Duplicate {
            field,
            message: (*message).to_owned(),
        };
    }
    if foreign {
        let found = MISSING.iter().find(|(column, _)| name.contains(column));
        return DbError::NotFound(found.map_or("what it names", |(_, what)| what));
    }
    error.into()
}

/// A row that cannot be deleted because another names it: [`DbError::InUse`] says what does.
pub(super) fn still_needed(error: sqlx::Error, what: &str) -> DbError {
    match error.as_database_error() {
        Some(db) if db.is_foreign_key_violation() => {
            let by = db.table().map_or_else(
                || "something else".to_owned(),
                |table| format!("at least one {}", table.replace('_', " ")),
            );
            DbError::InUse(format!(
                "{what} is still needed by {by}. Delete or change that first."
            ))
        }
        _ => error.into(),
    }
}
