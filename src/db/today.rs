//! What a day begins with: quotes to follow up, what came in, what can be collected; and what a new shop still lacks.

use super::read::{money, word};
use super::{DbError, ShopTx};
use crate::units::Money;
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// A call that waits for a price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CallWaiting {
    /// Key.
    pub id: Uuid,
    /// Number.
    pub number: i64,
    /// Who called; empty when nobody was named.
    pub caller: String,
    /// What is wanted; empty when it was not said.
    pub wanted: String,
    /// By when.
    pub wanted_by: Option<NaiveDate>,
    /// Since when.
    pub at: DateTime<Utc>,
}

/// The oldest calls that wait for a price, and how many wait in all.
///
/// # Errors
/// [`DbError::Database`].
pub async fn calls(tx: &mut ShopTx, limit: i64) -> Result<(Vec<CallWaiting>, i64), DbError> {
    let rows = sqlx::query!(
        r#"select e.id, e.number, e.caller, coalesce(v.name, w.part, '') as "wanted!", e.wanted_by, e.created_at,
                  (select count(*) from enquiry o where o.shop_id = $1 and o.state = 'open') as "in_all!"
           from enquiry e
           left join variant v on v.shop_id = $1 and v.id = e.wanted_variant_id
           left join quick_work w on w.shop_id = $1 and w.id = e.id
           where e.shop_id = $1 and e.state = 'open' order by e.number limit $2"#,
        tx.shop_id(),
        limit,
    )
    .fetch_all(tx.conn())
    .await?;
    let in_all = rows.first().map_or(0, |row| row.in_all);
    let calls = rows.into_iter().map(|row| CallWaiting {
        id: row.id,
        number: row.number,
        caller: row.caller,
        wanted: row.wanted,
        wanted_by: row.wanted_by,
        at: row.created_at,
    });
    Ok((calls.collect(), in_all))
}

/// A quote that nobody has decided.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuoteWaiting {
    /// Key.
    pub id: Uuid,
    /// Number.
    pub number: i64,
    /// For whom; empty when nobody was named.
    pub caller: String,
    /// How to reach them.
    pub contact: String,
    /// What was offered.
    pub title: String,
    /// Before tax.
    pub net: Money,
    /// The last day it holds.
    pub valid_until: NaiveDate,
    /// When it was given.
    pub at: DateTime<Utc>,
}

/// Undecided quotes that were given before a moment or run out by a day, those that run out first first; and how many there
/// are in all.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn quotes(
    tx: &mut ShopTx,
    given_before: DateTime<Utc>,
    runs_out_by: NaiveDate,
    limit: i64,
) -> Result<(Vec<QuoteWaiting>, i64), DbError> {
    let rows = sqlx::query!(
        r#"select q.id, q.number, e.caller, e.contact, q.title, q.net, q.currency, q.valid_until, q.created_at,
                  count(*) over () as "in_all!"
           from quote q join enquiry e on e.shop_id = $1 and e.id = q.enquiry_id
           where q.shop_id = $1 and q.state = 'sent' and (q.created_at < $2 or q.valid_until <= $3)
           order by q.valid_until, q.number limit $4"#,
        tx.shop_id(),
        given_before,
        runs_out_by,
        limit,
    )
    .fetch_all(tx.conn())
    .await?;
    let in_all = rows.first().map_or(0, |row| row.in_all);
    let quotes = rows.into_iter().map(|row| {
        Ok(QuoteWaiting {
            id: row.id,
            number: row.number,
            caller: row.caller,
            contact: row.contact,
            title: row.title,
            net: money("net", row.net, &row.currency)?,
            valid_until: row.valid_until,
            at: row.created_at,
        })
    });
    Ok((quotes.collect::<Result<_, DbError>>()?, in_all))
}

/// What came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Arrived {
    /// A casting.
    Casting,
    /// An item of stock.
    Item,
}

/// Something that came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CameIn {
    /// What sort.
    pub what: Arrived,
    /// Key of the casting or the item.
    pub id: Uuid,
    /// The number on a casting's tag.
    pub number: Option<i64>,
    /// The variant, or the item.
    pub name: String,
    /// How much of an item, with its unit.
    pub quantity: Option<(Decimal, String)>,
}

/// Castings taken in and goods received since a moment, the last first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn came_in(
    tx: &mut ShopTx,
    since: DateTime<Utc>,
    limit: i64,
) -> Result<Vec<CameIn>, DbError> {
    // Keys are UUIDv7, which begin with the milliseconds since 1970 (RFC 9562, section 5.7).
    let millis = u128::try_from(since.timestamp_millis()).unwrap_or(0);
    let from = Uuid::from_u128(millis << 80);
    sqlx::query!(
        r#"select what as "what!", id as "id!", number, name as "name!", quantity, unit from (
               (select 'casting' as what, c.id, c.number, v.name, null::numeric as quantity, null::text as unit, c.id as at
                from casting c join variant v on v.shop_id = $1 and v.id = c.variant_id
                where c.shop_id = $1 and c.id >= $2 order by c.id desc limit $3)
               union all
               (select 'item', i.id, null, i.name, m.quantity, i.unit, m.id
                from stock_movement m join stock_item i on i.shop_id = $1 and i.id = m.item_id
                where m.shop_id = $1 and m.id >= $2 and m.reason = 'received' order by m.id desc limit $3)
           ) as came order by at desc limit $3"#,
        tx.shop_id(),
        from,
        limit,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(CameIn {
            what: word("what came in", &row.what)?,
            id: row.id,
            number: row.number,
            name: row.name,
            quantity: row.quantity.zip(row.unit),
        })
    })
    .collect()
}

/// A job with nothing left to do in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToCollect {
    /// Key.
    pub id: Uuid,
    /// Number.
    pub number: i64,
    /// What was done.
    pub title: String,
    /// For whom; empty when nobody is named.
    pub customer: String,
    /// The day the shop worked to.
    pub due_on: NaiveDate,
}

/// Open jobs whose every operation is done and which nothing holds, and jobs that are done, due from a day on, and not
/// collected.
///
/// # Errors
/// [`DbError::Database`].
pub async fn to_collect(
    tx: &mut ShopTx,
    due_from: NaiveDate,
    limit: i64,
) -> Result<Vec<ToCollect>, DbError> {
    Ok(sqlx::query_as!(
        ToCollect,
        r#"select id as "id!", number as "number!", title as "title!", customer as "customer!", due_on as "due_on!" from (
               select j.id, j.number, j.title, j.customer, j.due_on from job j
               where j.shop_id = $1 and j.state = 'open'
                     and not exists (select from job_operation o
                                     where o.shop_id = $1 and o.job_id = j.id and o.state <> 'done')
                     and not exists (select from job_hold h where h.shop_id = $1 and h.id = j.id)
               union all
               (select id, number, title, customer, due_on from job
                where shop_id = $1 and state = 'done' and collected_on is null and due_on >= $3
                order by due_on, number limit $2)
           ) as job order by due_on, number limit $2"#,
        tx.shop_id(),
        limit,
        due_from,
    )
    .fetch_all(tx.conn())
    .await?)
}

/// What a shop has of all that a first quote, a first plan and a first booking need.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SetUp {
    /// Overhead and margin are above nought.
    pub earns: bool,
    /// Tax is above nought.
    pub taxed: bool,
    /// A labour rate.
    pub labour_rate: bool,
    /// A machine in use.
    pub machine: bool,
    /// A standard time.
    pub standard_time: bool,
    /// A pattern with two variants to convert between.
    pub variants: bool,
    /// A quote.
    pub quote: bool,
    /// Working hours.
    pub hours: bool,
    /// Somebody with a skill.
    pub skilled: bool,
    /// A job.
    pub job: bool,
    /// A bench device.
    pub device: bool,
    /// Somebody with a PIN.
    pub pin: bool,
    /// A booking.
    pub booking: bool,
}

/// Reads it.
///
/// # Errors
/// [`DbError::Database`].
pub async fn set_up(tx: &mut ShopTx) -> Result<SetUp, DbError> {
    Ok(sqlx::query_as!(
        SetUp,
        r#"select s.overhead_percent > 0 and s.margin_percent > 0 as "earns!", s.tax_percent > 0 as "taxed!",
                  exists (select from labour_rate where shop_id = $1) as "labour_rate!",
                  exists (select from machine where shop_id = $1 and active) as "machine!",
                  exists (select from element where shop_id = $1) as "standard_time!",
                  exists (select from variant v where v.shop_id = $1 and exists (
                      select from variant o where o.shop_id = $1 and o.pattern_id = v.pattern_id and o.id <> v.id)) as "variants!",
                  (select number from quote where shop_id = $1 order by number limit 1) is not null as "quote!",
                  exists (select from shift where shop_id = $1) as "hours!",
                  exists (select from person where shop_id = $1 and active and skills <> '{}') as "skilled!",
                  (select number from job where shop_id = $1 order by number limit 1) is not null as "job!",
                  exists (select from device where shop_id = $1 and revoked_at is null) as "device!",
                  exists (select from bench_pin where shop_id = $1) as "pin!",
                  (select id from booking where shop_id = $1 order by id limit 1) is not null as "booking!"
           from shop s where s.shop_id = $1"#,
        tx.shop_id(),
    )
    .fetch_one(tx.conn())
    .await?)
}
