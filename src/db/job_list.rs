//! The list of jobs: filtered, sorted and by pages, with what a row says.

use super::lists::{Part, capped, in_all};
use super::read::{money, word};
use super::{DbError, ShopTx, like};
use crate::jobs::JobState;
use crate::units::{Code, Money};
use chrono::{DateTime, NaiveDate, Utc};
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// By what a list is sorted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Sort {
    /// Number.
    #[default]
    Number,
    /// The day promised, or else the day the shop works to.
    Due,
    /// The day the plan has it ready.
    Ready,
    /// Title.
    Title,
    /// Customer.
    Customer,
    /// Value before tax.
    Value,
}

/// Which jobs are asked for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Filter {
    /// In any of these states.
    pub states: Vec<JobState>,
    /// Number, or a part of title or customer.
    pub words: String,
    /// Only those that are late on this day: past their day, or ready after it by the plan.
    pub late_on: Option<NaiveDate>,
    /// Only those done and not invoiced.
    pub to_invoice: bool,
    /// Only these.
    pub only: Option<Vec<Uuid>>,
}

/// A job as a row of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListedJob {
    /// Key.
    pub id: Uuid,
    /// Number.
    pub number: i64,
    /// What is to be done.
    pub title: String,
    /// For whom; may be empty.
    pub customer: String,
    /// Its state.
    pub state: JobState,
    /// The day the shop works to.
    pub due_on: NaiveDate,
    /// The day the customer was promised.
    pub promised_on: Option<NaiveDate>,
    /// When the plan has it ready.
    pub ready_at: Option<DateTime<Utc>>,
    /// What is paid for it before tax, where a quote or an agreement says it.
    pub value: Option<Money>,
    /// Operations.
    pub operations: i64,
    /// Of these, done.
    pub done: i64,
    /// Of these, begun or done.
    pub begun: i64,
    /// The operation it is at: one that is begun, else the first that is not done.
    pub current: Option<CurrentOperation>,
    /// Whether it is held.
    pub held: bool,
    /// The day it was collected.
    pub collected_on: Option<NaiveDate>,
    /// The day it was invoiced.
    pub invoiced_on: Option<NaiveDate>,
}

/// An operation as a row names it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CurrentOperation {
    /// Key.
    pub id: Uuid,
    /// Its number in the route.
    pub number: i32,
    /// Its title.
    pub title: String,
}

/// The jobs that are asked for, and how many there are in all. All of them by number come from an index; everything else
/// looks at each job in these states. Days are those of `zone`, a name of the time zone database.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(
    tx: &mut ShopTx,
    filter: &Filter,
    sort: Sort,
    part: Part,
    zone: &str,
) -> Result<(Vec<ListedJob>, i64), DbError> {
    let states: Vec<String> = filter.states.iter().map(|s| s.code().to_owned()).collect();
    let whole = Filter {
        states: filter.states.clone(),
        ..Filter::default()
    };
    let (keys, all) = if sort == Sort::Number && *filter == whole {
        by_number(tx, &states, part).await?
    } else {
        found(tx, filter, &states, sort, part, zone).await?
    };
    Ok((rows(tx, &keys).await?, all))
}

/// All jobs in these states by number, from an index; no more are counted than [`super::lists::COUNTED`] and one.
async fn by_number(
    tx: &mut ShopTx,
    states: &[String],
    part: Part,
) -> Result<(Vec<Uuid>, i64), DbError> {
    let reach = part.skip.saturating_add(part.rows);
    let keys = if part.descending {
        sqlx::query_scalar!(
            r#"select j.id as "id!" from unnest($2::text[]) s cross join lateral (
                   select id, number from job where shop_id = $1 and state = s order by number desc limit $3) j
               order by j.number desc offset $4 limit $5"#,
            tx.shop_id(),
            states,
            reach,
            part.skip,
            part.rows,
        )
        .fetch_all(tx.conn())
        .await?
    } else {
        sqlx::query_scalar!(
            r#"select j.id as "id!" from unnest($2::text[]) s cross join lateral (
                   select id, number from job where shop_id = $1 and state = s order by number limit $3) j
               order by j.number offset $4 limit $5"#,
            tx.shop_id(),
            states,
            reach,
            part.skip,
            part.rows,
        )
        .fetch_all(tx.conn())
        .await?
    };
    let counted = sqlx::query_scalar!(
        r#"select count(*) as "all!" from (
               select 1 from unnest($2::text[]) s cross join lateral (
                   select 1 from job where shop_id = $1 and state = s order by number limit $3) j limit $3) j"#,
        tx.shop_id(),
        states,
        capped(),
    )
    .fetch_one(tx.conn())
    .await?;
    let all = in_all(counted, part, keys.len());
    Ok((keys, all))
}

async fn found(
    tx: &mut ShopTx,
    filter: &Filter,
    states: &[String],
    sort: Sort,
    part: Part,
    zone: &str,
) -> Result<(Vec<Uuid>, i64), DbError> {
    let words = filter.words.trim();
    let number = words.parse::<i64>().ok();
    let found = sqlx::query!(
        r#"select j.id, count(*) over () as "all!"
           from job j
           left join plan_job p on p.shop_id = j.shop_id and p.job_id = j.id and j.state = 'open'
           left join quote q on q.shop_id = j.shop_id and q.id = j.quote_id and $8 = 'value'
           where j.shop_id = $1 and j.state = any ($2)
             and ($3::text is null or j.number = $4 or j.title ilike $3 or j.customer ilike $3)
             and ($5::date is null or (j.state = 'open'
                  and greatest($5, (p.ready_at at time zone $6)::date) > coalesce(j.promised_on, j.due_on)))
             and (not $7 or (j.state = 'done' and j.invoiced_on is null))
             and ($10::uuid[] is null or j.id = any ($10))
           order by
             case when $8 = 'due' and not $9 then coalesce(j.promised_on, j.due_on) end,
             case when $8 = 'due' and $9 then coalesce(j.promised_on, j.due_on) end desc,
             case when $8 = 'ready' and not $9 then p.ready_at end nulls last,
             case when $8 = 'ready' and $9 then p.ready_at end desc nulls last,
             case when $8 = 'title' and not $9 then lower(j.title) end,
             case when $8 = 'title' and $9 then lower(j.title) end desc,
             case when $8 = 'customer' and not $9 then nullif(lower(j.customer), '') end nulls last,
             case when $8 = 'customer' and $9 then nullif(lower(j.customer), '') end desc nulls last,
             case when $8 = 'value' and not $9 then coalesce(q.net, j.value) end nulls last,
             case when $8 = 'value' and $9 then coalesce(q.net, j.value) end desc nulls last,
             case when not $9 then j.number end, j.number desc
           offset $11 limit $12"#,
        tx.shop_id(),
        states,
        like::as_typed(words),
        number,
        filter.late_on,
        zone,
        filter.to_invoice,
        sort.code(),
        part.descending,
        filter.only.as_deref(),
        part.skip,
        part.rows,
    )
    .fetch_all(tx.conn())
    .await?;
    let all = found.first().map_or(0, |row| row.all);
    Ok((found.into_iter().map(|row| row.id).collect(), all))
}

/// The rows of these jobs, in this order.
async fn rows(tx: &mut ShopTx, keys: &[Uuid]) -> Result<Vec<ListedJob>, DbError> {
    let rows = sqlx::query!(
        r#"select j.id, j.number, j.title, j.customer, j.state, j.due_on, j.promised_on, j.collected_on, j.invoiced_on,
                  p.ready_at as "ready_at?", coalesce(q.net, j.value) as value,
                  coalesce(q.currency, j.value_currency) as currency,
                  o.operations as "operations!", o.done as "done!", o.begun as "begun!",
                  c.id as "current_id?", c.number as "current_number?", c.title as "current_title?",
                  (exists (select from job_hold h where h.shop_id = j.shop_id and h.id = j.id)
                   or exists (select from quality_hold h
                              where h.shop_id = j.shop_id and h.job_id = j.id and h.decision is null)) as "held!"
           from unnest($2::uuid[]) with ordinality k (id, place)
           join job j on j.shop_id = $1 and j.id = k.id
           left join plan_job p on p.shop_id = j.shop_id and p.job_id = j.id and j.state = 'open'
           left join quote q on q.shop_id = j.shop_id and q.id = j.quote_id
           cross join lateral (
               select count(*) as operations, count(*) filter (where state = 'done') as done,
                      count(*) filter (where state in ('started', 'done')) as begun
               from job_operation o where o.shop_id = j.shop_id and o.job_id = j.id) o
           left join lateral (
               select o.id, o.number, o.planned ->> 'title' as title from job_operation o
               where o.shop_id = j.shop_id and o.job_id = j.id and o.state <> 'done'
               order by (o.state = 'started') desc, o.number limit 1) c on true
           order by k.place"#,
        tx.shop_id(),
        keys,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            let value = row.value.zip(row.currency);
            Ok(ListedJob {
                id: row.id,
                number: row.number,
                title: row.title,
                customer: row.customer,
                state: word("state of a job", &row.state)?,
                due_on: row.due_on,
                promised_on: row.promised_on,
                ready_at: row.ready_at,
                value: value
                    .map(|(amount, currency)| money("value of a job", amount, &currency))
                    .transpose()?,
                operations: row.operations,
                done: row.done,
                begun: row.begun,
                current: row
                    .current_id
                    .zip(row.current_number)
                    .zip(row.current_title)
                    .map(|((id, number), title)| CurrentOperation { id, number, title }),
                held: row.held,
                collected_on: row.collected_on,
                invoiced_on: row.invoiced_on,
            })
        })
        .collect()
}
