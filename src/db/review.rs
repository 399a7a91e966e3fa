//! What the review looks at: entries of a period, the operations they are on, rates as they were, promises and what came of
//! them. Read lean, because there are many.

use super::bookings::EntryRow;
use super::read::{corrupt, count, money, planned, stored_count, word};
use super::{DbError, ShopTx, bookings, machines, settings};
use crate::enquiry::bargain::Percentiles;
use crate::estimating::rates_over_time::Before;
use crate::estimating::{LabourRate, Machine, MachineRate, Operation, RatesError, RatesOverTime};
use crate::jobs::OperationState;
use crate::shopfloor::Entry;
use crate::units::Money;
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use uuid::Uuid;

/// All entries of every operation on which something was booked between two moments, in the order of arrival.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn entries(
    tx: &mut ShopTx,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Result<Vec<Entry>, DbError> {
    // In two steps, so that how it is read does not depend on the table's statistics.
    let operations = bookings::operations_between(tx, from, until).await?;
    let rows = sqlx::query_as!(
        EntryRow,
        "select id, kind, operation_id, person_id, machine_id, at, sequence, corrects
         from booking where shop_id = $1 and operation_id = any ($2) order by sequence",
        tx.shop_id(),
        &operations,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter().map(EntryRow::read).collect()
}

/// An operation with its job, as far as the review asks.
#[derive(Debug, Clone, PartialEq)]
pub struct Facts {
    /// Key.
    pub id: Uuid,
    /// As it was planned.
    pub planned: Operation,
    /// Its state.
    pub state: OperationState,
    /// The job.
    pub job_id: Uuid,
    /// Its number.
    pub job_number: i64,
    /// What it is.
    pub job_title: String,
    /// For whom; empty when nobody is named.
    pub customer: String,
    /// When it was quoted, or entered where there is no quote.
    pub quoted_at: DateTime<Utc>,
    /// The kind of the quoted option.
    pub kind: Option<String>,
    /// Whether it does a finished operation again, because a casting was scrap.
    pub again: bool,
    /// The pattern of the casting, where it is known.
    pub pattern: Option<(Uuid, String)>,
}

/// These operations with their jobs.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn facts(tx: &mut ShopTx, operations: &[Uuid]) -> Result<Vec<Facts>, DbError> {
    // Row by row on purpose: joined in one list, a database without statistics (a shop just filled) pairs every quote with
    // every enquiry and takes more than a minute.
    let rows = sqlx::query!(
        r#"with touched as materialized (
               select j.id, j.number, j.title, j.customer, coalesce(q.created_at, j.created_at) as quoted_at, q.option_kind,
                      coalesce(wanted.id, used.id) as pattern_id, coalesce(wanted.name, used.name) as pattern
               from job j
               left join lateral (
                   select q.created_at, q.option_kind, q.enquiry_id from quote q
                   where q.shop_id = j.shop_id and q.id = j.quote_id limit 1
               ) q on true
               left join lateral (
                   select e.wanted_variant_id from enquiry e
                   where e.shop_id = j.shop_id and e.id = q.enquiry_id limit 1
               ) e on true
               left join lateral (
                   select p.id, p.name from variant v join pattern p on p.shop_id = v.shop_id and p.id = v.pattern_id
                   where v.shop_id = j.shop_id and v.id = e.wanted_variant_id limit 1
               ) wanted on true
               left join lateral (
                   select p.id, p.name from casting c
                   join variant v on v.shop_id = c.shop_id and v.id = c.variant_id
                   join pattern p on p.shop_id = v.shop_id and p.id = v.pattern_id
                   where wanted.id is null and c.shop_id = j.shop_id and c.job_id = j.id order by c.number limit 1
               ) used on true
               where j.shop_id = $1
                 and j.id in (select o.job_id from job_operation o where o.shop_id = $1 and o.id = any ($2))
           )
           select o.id, o.planned::text as "planned!", o.state, o.job_id, o.again_for is not null as "again!", t.number as "number!", t.title as "title!",
                  t.customer as "customer!", t.quoted_at as "quoted_at!", t.option_kind as "kind?",
                  t.pattern_id as "pattern_id?", t.pattern as "pattern?"
           from touched t
           join job_operation o on o.shop_id = $1 and o.job_id = t.id
           where o.id = any ($2)
           order by t.number, o.number"#,
        tx.shop_id(),
        operations,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Facts {
                id: row.id,
                planned: planned(&row.planned)?,
                state: word("state of an operation", &row.state)?,
                job_id: row.job_id,
                job_number: row.number,
                job_title: row.title,
                customer: row.customer,
                quoted_at: row.quoted_at,
                kind: row.kind,
                again: row.again,
                pattern: row.pattern_id.zip(row.pattern),
            })
        })
        .collect()
}

/// The rates over time, from those in force and the history; or why there are none now.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn rates(tx: &mut ShopTx) -> Result<Result<RatesOverTime, RatesError>, DbError> {
    let currency = settings::currency(tx).await?;
    let money = |amount| Money::new(amount, currency);
    let machines = machines::machines(tx).await?;
    let labour = machines::labour_rates(tx).await?;
    let was = sqlx::query!(
        r#"select h.at, m.id as "id!", m.kind as "kind!", m.name as "name!", m.active as "active!", m.capital as "capital!",
                  m.residual as "residual!", m.life_years as "life_years!", m.interest_percent as "interest_percent!",
                  m.power_kw as "power_kw!", m.power_price as "power_price!", m.maintenance_a_year as "maintenance_a_year!",
                  m.space_m2 as "space_m2!", m.space_price as "space_price!", m.insurance_a_year as "insurance_a_year!",
                  m.hours_a_year as "hours_a_year!", m.agreed_rate as "agreed_rate?"
           from history h, jsonb_populate_record(null::machine, h.before) m
           where h.shop_id = $1 and h.table_name = 'machine' and h.before is not null"#,
        tx.shop_id()
    )
    .fetch_all(tx.conn())
    .await?;
    let mut changes: Vec<(DateTime<Utc>, Before)> = was
        .into_iter()
        .map(|row| {
            let machine = Machine {
                id: row.id,
                kind: row.kind,
                name: row.name,
                active: row.active,
                worksheet: MachineRate {
                    capital: money(row.capital),
                    residual: money(row.residual),
                    life_years: row.life_years,
                    interest_percent: row.interest_percent,
                    power_kw: row.power_kw,
                    power_price: money(row.power_price),
                    maintenance_a_year: money(row.maintenance_a_year),
                    space_m2: row.space_m2,
                    space_price: money(row.space_price),
                    insurance_a_year: money(row.insurance_a_year),
                    hours_a_year: row.hours_a_year,
                },
                agreed_rate: row.agreed_rate.map(money),
                version: 1,
            };
            (row.at, Before::Machine(Box::new(machine)))
        })
        .collect();
    let was = sqlx::query!(
        r#"select h.at, r.id as "id!", r.skill as "skill?", r.hourly as "hourly!"
           from history h, jsonb_populate_record(null::labour_rate, h.before) r
           where h.shop_id = $1 and h.table_name = 'labour_rate' and h.before is not null"#,
        tx.shop_id()
    )
    .fetch_all(tx.conn())
    .await?;
    changes.extend(was.into_iter().map(|row| {
        let rate = LabourRate {
            id: row.id,
            skill: row.skill,
            hourly: money(row.hourly),
            version: 1,
        };
        (row.at, Before::Labour(rate))
    }));
    Ok(RatesOverTime::new(machines, labour, changes))
}

/// Whether anything was ever booked in the shop.
///
/// # Errors
/// [`DbError::Database`].
pub async fn anything_booked(tx: &mut ShopTx) -> Result<bool, DbError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select from booking where shop_id = $1) as "any!""#,
        tx.shop_id()
    )
    .fetch_one(tx.conn())
    .await?)
}

/// A promise that was given with a quote, and the job that came of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Promised {
    /// The job.
    pub job_id: Uuid,
    /// Its number.
    pub job_number: i64,
    /// What it is.
    pub title: String,
    /// The kind of the quoted option.
    pub kind: String,
    /// The price before tax.
    pub net: Money,
    /// The day promised.
    pub promised_on: Option<NaiveDate>,
    /// How sure, in per cent; none where the answer does not say.
    pub stated: Option<u32>,
    /// The percentiles of day and cost, where they were kept.
    pub percentiles: Percentiles,
    /// When its last operation was done, once all are; or when it was closed, where nothing was booked.
    pub ready_at: Option<DateTime<Utc>>,
    /// What castings of the shop that were used in it cost.
    pub castings: Decimal,
    /// What it was charged for castings that were scrap.
    pub scrapped: Decimal,
}

/// Jobs that came of quotes given since a moment, but for cancelled ones, by number.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn promised(tx: &mut ShopTx, since: DateTime<Utc>) -> Result<Vec<Promised>, DbError> {
    let rows = sqlx::query!(
        r#"select j.id, j.number, j.title, q.option_kind, q.net, q.currency, j.promised_on,
                  (a.answer ->> 'confidence_percent')::int as stated,
                  (select o -> 'outcome' -> 'percentiles'
                   from jsonb_array_elements(a.answer -> 'options') o
                   where o ->> 'kind' = q.option_kind and o -> 'outcome' ->> 'outcome' = 'possible'
                   order by (right(q.title, length(o ->> 'title')) = o ->> 'title') desc limit 1) as percentiles,
                  case when not exists (select from job_operation o
                                        where o.shop_id = j.shop_id and o.job_id = j.id and o.state <> 'done')
                       then coalesce(
                           (select max(b.at) from booking b
                            join job_operation o on o.shop_id = b.shop_id and o.id = b.operation_id
                            where o.shop_id = j.shop_id and o.job_id = j.id and b.kind = 'done'),
                           (select max(s.at) from job_step s
                            where s.shop_id = j.shop_id and s.job_id = j.id and s.kind = 'closed'))
                  end as ready_at,
                  (select coalesce(sum(c.cost), 0) from casting c
                   where c.shop_id = j.shop_id and c.job_id = j.id and c.state = 'used' and c.ownership = 'shop'
                     and c.currency = q.currency) as "castings!",
                  (select coalesce(sum(c.amount), 0) from job_cost c
                   where c.shop_id = j.shop_id and c.job_id = j.id and c.currency = q.currency) as "scrapped!"
           from job j
           join quote q on q.shop_id = j.shop_id and q.id = j.quote_id
           join quote_basis a on a.shop_id = q.shop_id and a.quote_id = q.id
           where j.shop_id = $1 and j.state <> 'cancelled' and q.created_at >= $2
           order by j.number"#,
        tx.shop_id(),
        since,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            let percentiles = row.percentiles.map(serde_json::from_value).transpose();
            Ok(Promised {
                job_id: row.id,
                job_number: row.number,
                title: row.title,
                kind: row.option_kind,
                net: money("net of a quote", row.net, &row.currency)?,
                promised_on: row.promised_on,
                stated: row
                    .stated
                    .map(|stated| count("confidence", stated))
                    .transpose()?,
                percentiles: percentiles
                    .map_err(|why| corrupt("percentiles of an answer", why))?
                    .unwrap_or_default(),
                ready_at: row.ready_at,
                castings: row.castings,
                scrapped: row.scrapped,
            })
        })
        .collect()
}

/// A day that was promised, and when the job was ready.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PromisedDay {
    /// The day promised.
    pub promised_on: NaiveDate,
    /// As [`Promised::ready_at`].
    pub ready_at: Option<DateTime<Utc>>,
}

/// The days of the latest jobs that came of quotes given at a confidence in per cent, but for cancelled ones; at most so many.
///
/// # Errors
/// [`DbError::Database`].
pub async fn latest_days(
    tx: &mut ShopTx,
    stated: u32,
    most: i64,
) -> Result<Vec<PromisedDay>, DbError> {
    Ok(sqlx::query_as!(
        PromisedDay,
        r#"select j.promised_on as "promised_on!",
                  case when not exists (select from job_operation o
                                        where o.shop_id = j.shop_id and o.job_id = j.id and o.state <> 'done')
                       then coalesce(
                           (select max(b.at) from job_operation o
                            join booking b on b.shop_id = o.shop_id and b.operation_id = o.id
                            where o.shop_id = j.shop_id and o.job_id = j.id and b.kind = 'done'),
                           (select max(s.at) from job_step s
                            where s.shop_id = j.shop_id and s.job_id = j.id and s.kind = 'closed'))
                  end as ready_at
           from (select * from job
                 where shop_id = $1 and state <> 'cancelled' and promised_on is not null and quote_id is not null
                 order by number desc limit $3) j
           join quote_basis a on a.shop_id = j.shop_id and a.quote_id = j.quote_id
           where (a.answer ->> 'confidence_percent')::int = $2"#,
        tx.shop_id(),
        stored_count("confidence", stated)?,
        most,
    )
    .fetch_all(tx.conn())
    .await?)
}

/// How many jobs that came of quotes are done.
///
/// # Errors
/// [`DbError::Database`].
pub async fn finished_jobs(tx: &mut ShopTx) -> Result<i64, DbError> {
    Ok(sqlx::query_scalar!(
        r#"select count(*) as "all!" from job where shop_id = $1 and state = 'done' and quote_id is not null"#,
        tx.shop_id()
    )
    .fetch_one(tx.conn())
    .await?)
}
