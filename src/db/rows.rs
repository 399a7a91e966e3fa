//! What it means when a statement touched no row, or broke a constraint.

use super::{DbError, Needed, Unique};
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

/// Unique indexes, and what each keeps unique.
const TAKEN: [(&str, Unique); 17] = [
    ("crack_repair_place", Unique::CrackPlace),
    ("device_name", Unique::DeviceName),
    ("element_code", Unique::ElementCode),
    ("fitting_text_code", Unique::FittingCode),
    ("holiday_once", Unique::HolidayDay),
    ("labour_rate_skill", Unique::LabourRateSkill),
    ("machine_name", Unique::MachineName),
    ("pattern_name", Unique::PatternName),
    ("person_sign_in", Unique::SignIn),
    ("related_pattern_once", Unique::RelatedPattern),
    ("remedy_rule_name", Unique::RuleName),
    ("shift_once", Unique::ShiftStart),
    ("stock_item_name", Unique::ItemName),
    ("tool_name", Unique::ToolName),
    ("variant_name", Unique::VariantName),
    ("work_material_name", Unique::MaterialName),
    ("work_template_name", Unique::TemplateName),
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

/// A broken constraint as what it means: [`DbError::Duplicate`] for what is taken, [`DbError::NotFound`] for
/// a key that points nowhere. Anything else stays what it was.
pub(super) fn broken(error: sqlx::Error) -> DbError {
    let Some((name, foreign)) = error.as_database_error().and_then(|db| {
        let name = db.constraint()?.to_owned();
        Some((name, db.is_foreign_key_violation()))
    }) else {
        return error.into();
    };
    if let Some((_, what)) = TAKEN.iter().find(|(index, _)| *index == name) {
        return DbError::Duplicate(*what);
    }
    if foreign {
        let found = MISSING.iter().find(|(column, _)| name.contains(column));
        return DbError::NotFound(found.map_or("what it names", |(_, what)| what));
    }
    error.into()
}

/// A row that cannot be deleted because another names it: [`DbError::InUse`] says what does.
pub(super) fn still_needed(error: sqlx::Error) -> DbError {
    match error.as_database_error() {
        Some(db) if db.is_foreign_key_violation() => Needed::By {
            table: db.table().unwrap_or_default().to_owned(),
        }
        .into(),
        _ => error.into(),
    }
}
