//! Castings on the shelf: what could be a donor, whose it is, what it cost, and whether it was found good.

use super::casting_records::{Origin, another_customers};
use super::counters::{self, Counter};
use super::read::{money, word};
use super::{DbError, Refusal, ShopTx};
use crate::sourcing::Inspected;
pub use crate::stock::{Outcome, Ownership, ShelfState};
use crate::units::{Code, Money};
use chrono::NaiveDate;
use uuid::Uuid;

/// What is written down about a casting.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CastingDetails {
    /// How it was machined.
    pub variant_id: Uuid,
    /// Whose it is.
    pub ownership: Ownership,
    /// What it stands in the books for; nothing for a customer's own.
    pub cost: Money,
    /// Its condition in words.
    pub condition: String,
}

/// A casting.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Casting {
    /// Key.
    pub id: Uuid,
    /// Number on its tag.
    pub number: i64,
    /// What is written down about it.
    pub details: CastingDetails,
    /// What the inspection found and on which day, once there was one.
    pub inspection: Option<(Outcome, NaiveDate)>,
    /// Where it stands.
    pub state: ShelfState,
    /// The job it is reserved for or was used in.
    pub job_id: Option<Uuid>,
    /// The number of that job.
    pub job_number: Option<i64>,
    /// Counts edits.
    pub version: i32,
}

struct Row {
    id: Uuid,
    number: i64,
    variant_id: Uuid,
    ownership: String,
    cost: rust_decimal::Decimal,
    currency: String,
    condition: String,
    outcome: Option<String>,
    inspected_on: Option<NaiveDate>,
    state: String,
    job_id: Option<Uuid>,
    job_number: Option<i64>,
    version: i32,
}

impl TryFrom<Row> for Casting {
    type Error = DbError;
    fn try_from(row: Row) -> Result<Self, DbError> {
        let inspection = match (row.outcome, row.inspected_on) {
            (Some(outcome), Some(on)) => Some((word("inspection outcome", &outcome)?, on)),
            _ => None,
        };
        Ok(Self {
            id: row.id,
            number: row.number,
            details: CastingDetails {
                variant_id: row.variant_id,
                ownership: word("ownership", &row.ownership)?,
                cost: money("cost of a casting", row.cost, &row.currency)?,
                condition: row.condition,
            },
            inspection,
            state: word("state of a casting", &row.state)?,
            job_id: row.job_id,
            job_number: row.job_number,
            version: row.version,
        })
    }
}

/// Puts a casting on the shelf and gives it its number.
///
/// # Errors
/// [`DbError::Database`].
pub async fn create(tx: &mut ShopTx, details: &CastingDetails) -> Result<(Uuid, i64), DbError> {
    let number = counters::next(tx, Counter::Casting).await?;
    let id = Uuid::now_v7();
    let currency = details.cost.currency();
    sqlx::query!(
        "insert into casting (shop_id, id, number, variant_id, ownership, cost, currency, condition)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        tx.shop_id(),
        id,
        number,
        details.variant_id,
        details.ownership.code(),
        details.cost.amount(),
        currency.code(),
        details.condition,
    )
    .execute(tx.conn())
    .await?;
    Ok((id, number))
}

/// A casting that a job has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct JobCasting {
    /// Key.
    pub id: Uuid,
    /// Number on its tag.
    pub number: i64,
    /// The job.
    pub job_id: Uuid,
}

/// The castings of some jobs, by number.
///
/// # Errors
/// [`DbError::Database`].
pub async fn of_jobs(tx: &mut ShopTx, job_ids: &[Uuid]) -> Result<Vec<JobCasting>, DbError> {
    Ok(sqlx::query_as!(
        JobCasting,
        r#"select id, number, job_id as "job_id!" from casting where shop_id = $1 and job_id = any ($2) order by number"#,
        tx.shop_id(),
        job_ids
    )
    .fetch_all(tx.conn())
    .await?)
}

/// What inspections found of the shop's own castings of a variant, but for those whose worth its sightings say already.
///
/// # Errors
/// [`DbError::Database`].
pub async fn inspected(tx: &mut ShopTx, variant_id: Uuid) -> Result<Inspected, DbError> {
    let row = sqlx::query!(
        r#"select count(*) filter (where c.outcome = 'good') as "good!",
                  count(*) filter (where c.outcome = 'failed') as "bad!"
           from casting c left join sighting s on s.shop_id = $1 and s.id = c.sighting_id
           where c.shop_id = $1 and c.variant_id = $2 and c.ownership = 'shop'
                 and (s.id is null or s.fate not in ('bought_good', 'bought_scrap'))"#,
        tx.shop_id(),
        variant_id
    )
    .fetch_one(tx.conn())
    .await?;
    let count = |n: i64| u32::try_from(n).unwrap_or(u32::MAX);
    Ok(Inspected {
        good: count(row.good),
        bad: count(row.bad),
    })
}

/// One casting.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<Casting, DbError> {
    sqlx::query_as!(
        Row,
        r#"select c.id, c.number, c.variant_id, c.ownership, c.cost, c.currency, c.condition, c.outcome, c.inspected_on,
                  c.state, c.job_id, j.number as "job_number?", c.version
           from casting c left join job j on j.shop_id = c.shop_id and j.id = c.job_id
           where c.shop_id = $1 and c.id = $2"#,
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this casting"))?
    .try_into()
}

/// Castings in any of these states, by number; of one variant when one is named. The first 65 535.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(
    tx: &mut ShopTx,
    states: &[ShelfState],
    variant_id: Option<Uuid>,
) -> Result<Vec<Casting>, DbError> {
    page(tx, states, variant_id, 0, u16::MAX).await
}

/// At most `limit` castings in any of these states, by number, those numbered above `after`; of one variant when one is named.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn page(
    tx: &mut ShopTx,
    states: &[ShelfState],
    variant_id: Option<Uuid>,
    after: i64,
    limit: u16,
) -> Result<Vec<Casting>, DbError> {
    let states: Vec<String> = states.iter().map(|s| s.code().to_owned()).collect();
    let rows = match variant_id {
        Some(variant_id) => {
            sqlx::query_as!(
                Row,
                r#"select c.id, c.number, c.variant_id, c.ownership, c.cost, c.currency, c.condition, c.outcome,
                          c.inspected_on, c.state, c.job_id,
                          (select j.number from job j where j.shop_id = c.shop_id and j.id = c.job_id) as "job_number?",
                          c.version
                   from casting c
                   where c.shop_id = $1 and c.variant_id = $2 and c.state = any ($3) and c.number > $4
                   order by c.number limit $5"#,
                tx.shop_id(),
                variant_id,
                &states,
                after,
                i64::from(limit)
            )
            .fetch_all(tx.conn())
            .await?
        }
        None => {
            sqlx::query_as!(
                Row,
                r#"select c.id as "id!", c.number as "number!", c.variant_id as "variant_id!", c.ownership as "ownership!",
                          c.cost as "cost!", c.currency as "currency!", c.condition as "condition!", c.outcome,
                          c.inspected_on, c.state as "state!", c.job_id,
                          (select j.number from job j where j.shop_id = c.shop_id and j.id = c.job_id) as "job_number?",
                          c.version as "version!"
                   from (select c.* from unnest($2::text[]) s cross join lateral (
                             select * from casting where shop_id = $1 and state = s and number > $3
                             order by number limit $4) c
                         order by c.number limit $4) c
                   order by c.number"#,
                tx.shop_id(),
                &states,
                after,
                i64::from(limit)
            )
            .fetch_all(tx.conn())
            .await?
        }
    };
    rows.into_iter().map(Casting::try_from).collect()
}

/// The castings of these keys.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub(super) async fn these(tx: &mut ShopTx, keys: &[Uuid]) -> Result<Vec<Casting>, DbError> {
    let rows = sqlx::query_as!(
        Row,
        r#"select c.id, c.number, c.variant_id, c.ownership, c.cost, c.currency, c.condition, c.outcome,
                  c.inspected_on, c.state, c.job_id,
                  (select j.number from job j where j.shop_id = c.shop_id and j.id = c.job_id) as "job_number?",
                  c.version
           from casting c where c.shop_id = $1 and c.id = any ($2)"#,
        tx.shop_id(),
        keys,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter().map(Casting::try_from).collect()
}

/// Changes what is written down about a casting, where it came from and whose it is, and returns its new version.
///
/// # Errors
/// [`DbError::Refused`] when a job of somebody else has it that would become a customer's, [`DbError::Stale`],
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn update(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    details: &CastingDetails,
    origin: &Origin,
) -> Result<i32, DbError> {
    let currency = details.cost.currency();
    let version = sqlx::query_scalar!(
        "update casting set variant_id = $4, ownership = $5, cost = $6, currency = $7, condition = $8,
                source = $9, sighting_id = $10, came_from = $11, owner = $12, version = version + 1
         where shop_id = $1 and id = $2 and version = $3 returning version",
        tx.shop_id(),
        id,
        version,
        details.variant_id,
        details.ownership.code(),
        details.cost.amount(),
        currency.code(),
        details.condition,
        origin.source.code(),
        origin.sighting.as_ref().map(|(id, ..)| *id),
        origin.came_from,
        origin.owner,
    )
    .fetch_optional(tx.conn())
    .await
    .map_err(another_customers)?;
    match version {
        Some(version) => Ok(version),
        None => Err(stale(tx, id).await),
    }
}

/// Records what crack test and measuring found on a day, and where the casting is after it; `version` is the version the
/// editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn set_inspection(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    (outcome, on): (Outcome, NaiveDate),
    state: ShelfState,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update casting set outcome = $4, inspected_on = $5, state = $6, version = version + 1
         where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
        outcome.code(),
        on,
        state.code(),
    )
    .execute(tx.conn())
    .await?;
    one(done.rows_affected())
}

/// Sets where a casting is, free of any job when it is on the shelf; `version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn set_state(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    state: ShelfState,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update casting set state = $4, job_id = case when $4 = 'on_shelf' then null else job_id end,
                version = version + 1
         where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
        state.code(),
    )
    .execute(tx.conn())
    .await?;
    one(done.rows_affected())
}

fn one(rows: u64) -> Result<(), DbError> {
    if rows == 0 {
        return Err(DbError::Stale("this casting"));
    }
    Ok(())
}

/// Sets a casting aside for a job.
///
/// # Errors
/// [`DbError::Refused`] when it is no longer free, or is a customer's and the job another's,
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn reserve(tx: &mut ShopTx, id: Uuid, job_id: Uuid) -> Result<(), DbError> {
    let foreign = sqlx::query!(
        "select c.number, c.owner, j.number as job_number, j.customer
         from casting c join job j on j.shop_id = c.shop_id and j.id = $3
         where c.shop_id = $1 and c.id = $2 and c.owner_key is not null and c.owner_key is distinct from j.customer_key",
        tx.shop_id(),
        id,
        job_id,
    )
    .fetch_optional(tx.conn())
    .await?;
    if let Some(casting) = foreign {
        return Err(Refusal::CastingOfAnother {
            casting: casting.number,
            owner: casting.owner,
            job: casting.job_number,
            customer: casting.customer,
        }
        .into());
    }
    let done = sqlx::query!(
        "update casting set state = 'reserved', job_id = $3, version = version + 1
         where shop_id = $1 and id = $2 and state = 'on_shelf'",
        tx.shop_id(),
        id,
        job_id,
    )
    .execute(tx.conn())
    .await
    .map_err(another_customers)?;
    if done.rows_affected() == 0 {
        let casting = get(tx, id).await?;
        return Err(Refusal::CastingNotFree {
            casting: casting.number,
        }
        .into());
    }
    Ok(())
}

/// Puts a casting that is set aside for a job back on the shelf. One that the job does not have stays as it is.
///
/// # Errors
/// [`DbError::Database`].
pub async fn free(tx: &mut ShopTx, id: Uuid, job_id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "update casting set state = 'on_shelf', job_id = null, version = version + 1
         where shop_id = $1 and id = $2 and job_id = $3 and state = 'reserved'",
        tx.shop_id(),
        id,
        job_id,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Ends the reservations of a job: used when the job is done, free again when it is not.
///
/// # Errors
/// [`DbError::Database`].
pub async fn end_reservations(tx: &mut ShopTx, job_id: Uuid, used: bool) -> Result<(), DbError> {
    sqlx::query!(
        "update casting set state = case when $3 then 'used' else 'on_shelf' end,
                job_id = case when $3 then job_id end, version = version + 1
         where shop_id = $1 and job_id = $2 and state = 'reserved'",
        tx.shop_id(),
        job_id,
        used,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Why an update with a version found no row.
async fn stale(tx: &mut ShopTx, id: Uuid) -> DbError {
    get(tx, id)
        .await
        .err()
        .unwrap_or(DbError::Stale("this casting"))
}
