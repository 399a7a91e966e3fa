//! Enquiries: a call, saved at every step of the answer.

use super::counters::{self, Counter};
use super::read::word;
use super::{DbError, ShopTx};
use crate::enquiry::{Condition, EnquiryState, Purpose};
use crate::units::Code;
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use serde::Serialize;
use uuid::Uuid;

/// What the caller said.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct EnquiryDetails {
    /// Who is calling.
    pub caller: String,
    /// How to reach them.
    pub contact: String,
    /// What they want.
    pub wanted_variant_id: Option<Uuid>,
    /// By when, the shop's calendar day.
    pub wanted_by: Option<NaiveDate>,
    /// The casting of their own that they bring.
    pub brings_variant_id: Option<Uuid>,
    /// Its condition, as far as it is known.
    pub brings_note: String,
    /// Codes of the elements that casting needs to be sound again.
    pub repairs: Vec<String>,
    /// Codes of the elements wanted as extra work, whichever casting is used.
    pub also: Vec<String>,
    /// Anything else.
    pub note: String,
    /// The most they would pay in all for a search, before tax.
    pub search_most: Option<Decimal>,
    /// The day on which a search ends.
    pub search_ends_on: Option<NaiveDate>,
    /// What it is for.
    pub purpose: Purpose,
    /// How their own casting is.
    pub condition: Condition,
}

/// An enquiry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Enquiry {
    /// Key.
    pub id: Uuid,
    /// Number.
    pub number: i64,
    /// What the caller said.
    pub details: EnquiryDetails,
    /// How far it has come.
    pub state: EnquiryState,
    /// When they called.
    pub created_at: DateTime<Utc>,
    /// Who took the call.
    pub created_by: Option<Uuid>,
    /// Counts edits.
    pub version: i32,
}

struct Row {
    id: Uuid,
    number: i64,
    caller: String,
    contact: String,
    wanted_variant_id: Option<Uuid>,
    wanted_by: Option<NaiveDate>,
    brings_variant_id: Option<Uuid>,
    brings_note: String,
    repairs: Vec<String>,
    also: Vec<String>,
    note: String,
    search_most: Option<Decimal>,
    search_ends_on: Option<NaiveDate>,
    purpose: String,
    condition: String,
    state: String,
    created_at: DateTime<Utc>,
    created_by: Option<Uuid>,
    version: i32,
}

impl TryFrom<Row> for Enquiry {
    type Error = DbError;
    fn try_from(row: Row) -> Result<Self, DbError> {
        Ok(Self {
            id: row.id,
            number: row.number,
            details: EnquiryDetails {
                caller: row.caller,
                contact: row.contact,
                wanted_variant_id: row.wanted_variant_id,
                wanted_by: row.wanted_by,
                brings_variant_id: row.brings_variant_id,
                brings_note: row.brings_note,
                repairs: row.repairs,
                also: row.also,
                note: row.note,
                search_most: row.search_most,
                search_ends_on: row.search_ends_on,
                purpose: word("purpose", &row.purpose)?,
                condition: word("condition", &row.condition)?,
            },
            state: word("state of an enquiry", &row.state)?,
            created_at: row.created_at,
            created_by: row.created_by,
            version: row.version,
        })
    }
}

/// Opens an enquiry on behalf of the transaction's person and gives it its number.
///
/// # Errors
/// [`DbError::Database`].
pub async fn create(tx: &mut ShopTx, details: &EnquiryDetails) -> Result<(Uuid, i64), DbError> {
    let number = counters::next(tx, Counter::Enquiry).await?;
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into enquiry (shop_id, id, number, caller, contact, wanted_variant_id, wanted_by, brings_variant_id,
                              brings_note, note, created_by, repairs, also, search_most, search_ends_on, purpose,
                              condition)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)",
        tx.shop_id(),
        id,
        number,
        details.caller,
        details.contact,
        details.wanted_variant_id,
        details.wanted_by,
        details.brings_variant_id,
        details.brings_note,
        details.note,
        tx.person_id(),
        &details.repairs,
        &details.also,
        details.search_most,
        details.search_ends_on,
        details.purpose.code(),
        details.condition.code(),
    )
    .execute(tx.conn())
    .await?;
    Ok((id, number))
}

/// One enquiry.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<Enquiry, DbError> {
    sqlx::query_as!(
        Row,
        "select id, number, caller, contact, wanted_variant_id, wanted_by, brings_variant_id, brings_note, repairs, also,
                note, search_most, search_ends_on, purpose, condition, state, created_at, created_by, version
         from enquiry where shop_id = $1 and id = $2",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this enquiry"))?
    .try_into()
}

/// At most `limit` enquiries in any of these states, newest first; those numbered below `before` when it is given.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(
    tx: &mut ShopTx,
    states: &[EnquiryState],
    before: Option<i64>,
    limit: u16,
) -> Result<Vec<Enquiry>, DbError> {
    let states: Vec<String> = states.iter().map(|s| s.code().to_owned()).collect();
    sqlx::query_as!(
        Row,
        r#"select e.id as "id!", e.number as "number!", e.caller as "caller!", e.contact as "contact!", e.wanted_variant_id,
                  e.wanted_by, e.brings_variant_id, e.brings_note as "brings_note!", e.repairs as "repairs!", e.also as "also!",
                  e.note as "note!", e.search_most, e.search_ends_on, e.purpose as "purpose!", e.condition as "condition!",
                  e.state as "state!", e.created_at as "created_at!", e.created_by, e.version as "version!"
           from unnest($2::text[]) s cross join lateral (
               select * from enquiry where shop_id = $1 and state = s and number < $3 order by number desc limit $4) e
           order by e.number desc limit $4"#,
        tx.shop_id(),
        &states,
        before.unwrap_or(i64::MAX),
        i64::from(limit)
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(Enquiry::try_from)
    .collect()
}

/// Saves what the caller said by now and returns the new version.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn update(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    details: &EnquiryDetails,
) -> Result<i32, DbError> {
    let version = sqlx::query_scalar!(
        "update enquiry set caller = $4, contact = $5, wanted_variant_id = $6, wanted_by = $7, brings_variant_id = $8,
                brings_note = $9, note = $10, repairs = $11, also = $12, search_most = $13, search_ends_on = $14,
                purpose = $15, condition = $16, version = version + 1
         where shop_id = $1 and id = $2 and version = $3 returning version",
        tx.shop_id(),
        id,
        version,
        details.caller,
        details.contact,
        details.wanted_variant_id,
        details.wanted_by,
        details.brings_variant_id,
        details.brings_note,
        details.note,
        &details.repairs,
        &details.also,
        details.search_most,
        details.search_ends_on,
        details.purpose.code(),
        details.condition.code(),
    )
    .fetch_optional(tx.conn())
    .await?;
    match version {
        Some(version) => Ok(version),
        None => Err(stale(tx, id).await),
    }
}

/// Saves over whatever is stored when nobody but the transaction's person has changed it since: a screen that saves as
/// it is typed may overtake itself, and nobody is stale against themselves. Returns the new version.
///
/// # Errors
/// As [`update`].
pub async fn save(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    details: &EnquiryDetails,
) -> Result<i32, DbError> {
    match update(tx, id, version, details).await {
        Err(DbError::Stale(what)) => {
            let others = sqlx::query_scalar!(
                r#"select count(*) as "count!" from history
                   where shop_id = $1 and table_name = 'enquiry' and row_id = $2
                         and (after ->> 'version')::int > $3 and person_id is distinct from $4"#,
                tx.shop_id(),
                id,
                version,
                tx.person_id(),
            )
            .fetch_one(tx.conn())
            .await?;
            if others > 0 {
                return Err(DbError::Stale(what));
            }
            let stored = get(tx, id).await?.version;
            update(tx, id, stored, details).await
        }
        other => other,
    }
}

/// Writes how far an enquiry has come.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn set_state(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    state: EnquiryState,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update enquiry set state = $4, version = version + 1
         where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
        state.code(),
    )
    .execute(tx.conn())
    .await?;
    match done.rows_affected() {
        0 => Err(stale(tx, id).await),
        _ => Ok(()),
    }
}

/// One enquiry, which nobody else changes before this transaction ends.
///
/// # Errors
/// As [`get`].
pub async fn lock(tx: &mut ShopTx, id: Uuid) -> Result<Enquiry, DbError> {
    sqlx::query!(
        "select from enquiry where shop_id = $1 and id = $2 for update",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?;
    get(tx, id).await
}

/// Why an update with a version found no row.
async fn stale(tx: &mut ShopTx, id: Uuid) -> DbError {
    get(tx, id)
        .await
        .err()
        .unwrap_or(DbError::Stale("this enquiry"))
}
