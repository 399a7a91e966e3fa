//! Quotes as they are stored: header, lines, and what each rests on.

use super::counters::{self, Counter};
use super::read::{corrupt, money, word};
use super::{DbError, ShopTx};
use crate::enquiry::RelatedDonor;
use crate::enquiry::quote::{CheckedQuote, OfferTerms, Quote, QuoteState};
use crate::estimating::{CostLine, Route};
use crate::units::{Code, Money};
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use serde_json::Value;
use std::collections::HashMap;
use uuid::Uuid;

/// What a quote rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Basis {
    /// The whole answer as it was on the day.
    pub answer: Value,
    /// The route it was costed with.
    pub route: Route,
}

struct Row {
    id: Uuid,
    number: i64,
    enquiry_id: Uuid,
    option_kind: String,
    title: String,
    casting_id: Option<Uuid>,
    valid_until: NaiveDate,
    promised_on: Option<NaiveDate>,
    currency: String,
    net: Decimal,
    tax: Decimal,
    gross: Decimal,
    terms: Option<Value>,
    said: String,
    reason: String,
    conditions: Vec<String>,
    alternative_to: Option<Uuid>,
    related: Option<Value>,
    created_at: DateTime<Utc>,
    created_by: Option<Uuid>,
    state: String,
    decided_at: Option<DateTime<Utc>>,
    lost_why: Option<String>,
    version: i32,
}

/// The donor of another pattern that a quote counts on, as it is stored.
pub(super) fn related_donor(stored: Value) -> Result<RelatedDonor, DbError> {
    serde_json::from_value(stored).map_err(|why| corrupt("related donor of a quote", why))
}

impl TryFrom<Row> for Quote {
    type Error = DbError;
    fn try_from(row: Row) -> Result<Self, DbError> {
        Ok(Self {
            id: row.id,
            number: row.number,
            enquiry_id: row.enquiry_id,
            option_kind: row.option_kind,
            title: row.title,
            casting_id: row.casting_id,
            valid_until: row.valid_until,
            promised_on: row.promised_on,
            net: money("net of a quote", row.net, &row.currency)?,
            tax: money("tax of a quote", row.tax, &row.currency)?,
            gross: money("gross of a quote", row.gross, &row.currency)?,
            offered_on: OfferTerms {
                terms: row
                    .terms
                    .map(serde_json::from_value)
                    .transpose()
                    .map_err(|why| corrupt("terms of a quote", why))?,
                said: row.said,
                reason: row.reason,
                conditions: row.conditions,
                alternative_to: row.alternative_to,
                related: row.related.map(related_donor).transpose()?,
            },
            created_at: row.created_at,
            created_by: row.created_by,
            state: word("state of a quote", &row.state)?,
            decided_at: row.decided_at,
            lost_why: row.lost_why,
            version: row.version,
        })
    }
}

/// Gives a quote on behalf of the transaction's person: number, lines, totals and all it rests on, and marks its
/// enquiry as quoted. Returns its key and number.
///
/// # Errors
/// [`DbError::Database`].
pub async fn create(tx: &mut ShopTx, quote: &CheckedQuote) -> Result<(Uuid, i64), DbError> {
    let quote = quote.quote();
    let route = serde_json::to_value(&quote.route).map_err(|why| corrupt("route", why))?;
    let terms = quote
        .offered_on
        .terms
        .as_ref()
        .map(serde_json::to_value)
        .transpose()
        .map_err(|why| corrupt("terms of a quote", why))?;
    let related = (quote.offered_on.related.as_ref())
        .map(serde_json::to_value)
        .transpose()
        .map_err(|why| corrupt("related donor of a quote", why))?;
    let mut lines = Vec::new();
    flatten(&quote.lines, None, &mut lines);
    let line_count = i32::try_from(lines.len()).map_err(|why| corrupt("count of lines", why))?;
    let number = counters::next(tx, Counter::Quote).await?;
    let id = Uuid::now_v7();
    let currency = quote.net.currency();
    sqlx::query!(
        "insert into quote (shop_id, id, number, enquiry_id, option_kind, title, casting_id, valid_until, promised_on,
                            currency, net, tax, gross, line_count, created_by, terms, said, request_key, reason,
                            conditions, alternative_to, related)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22)",
        tx.shop_id(),
        id,
        number,
        quote.enquiry_id,
        quote.option_kind,
        quote.title,
        quote.casting_id,
        quote.valid_until,
        quote.promised_on,
        currency.code(),
        quote.net.amount(),
        quote.tax.amount(),
        quote.gross.amount(),
        line_count,
        tx.person_id(),
        terms,
        quote.offered_on.said,
        quote.request_key,
        quote.offered_on.reason,
        &quote.offered_on.conditions,
        quote.offered_on.alternative_to,
        related,
    )
    .execute(tx.conn())
    .await?;
    write_lines(tx, id, &lines).await?;
    write_basis(tx, id, &quote.answer, &route).await?;
    sqlx::query!(
        "update enquiry set state = 'quoted', version = version + 1
         where shop_id = $1 and id = $2 and state not in ('quoted', 'won')",
        tx.shop_id(),
        quote.enquiry_id,
    )
    .execute(tx.conn())
    .await?;
    Ok((id, number))
}

/// Writes what a quote rests on.
pub(super) async fn write_basis(
    tx: &mut ShopTx,
    id: Uuid,
    answer: &Value,
    route: &Value,
) -> Result<(), DbError> {
    sqlx::query!(
        "insert into quote_basis (shop_id, quote_id, answer, route) values ($1, $2, $3, $4)",
        tx.shop_id(),
        id,
        answer,
        route,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Writes the lines of a quote.
pub(super) async fn write_lines(
    tx: &mut ShopTx,
    id: Uuid,
    lines: &[(Option<i32>, &CostLine)],
) -> Result<(), DbError> {
    let positions: Vec<i32> = (0..).take(lines.len()).collect();
    let parents: Vec<Option<i32>> = lines.iter().map(|(parent, _)| *parent).collect();
    let labels: Vec<String> = lines.iter().map(|(_, line)| line.label.clone()).collect();
    let hows: Vec<String> = lines.iter().map(|(_, line)| line.how.clone()).collect();
    let amounts: Vec<Decimal> = lines.iter().map(|(_, line)| line.amount.amount()).collect();
    sqlx::query!(
        "insert into quote_line (shop_id, quote_id, position, parent, label, how, amount)
         select $1, $2, position, parent, label, how, amount
         from unnest($3::int[], $4::int[], $5::text[], $6::text[], $7::numeric[])
              as line (position, parent, label, how, amount)",
        tx.shop_id(),
        id,
        &positions,
        &parents as &[Option<i32>],
        &labels,
        &hows,
        &amounts,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// A tree of lines in preorder, each with the position of its parent.
pub(super) fn flatten<'a>(
    lines: &'a [CostLine],
    parent: Option<i32>,
    into: &mut Vec<(Option<i32>, &'a CostLine)>,
) {
    for line in lines {
        let position = i32::try_from(into.len()).ok();
        into.push((parent, line));
        flatten(&line.lines, position, into);
    }
}

/// One quote.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<Quote, DbError> {
    sqlx::query_as!(
        Row,
        "select id, number, enquiry_id, option_kind, title, casting_id, valid_until, promised_on, currency, net, tax,
                gross, terms, said, reason, conditions, alternative_to, related, created_at, created_by, state, decided_at, lost_why, version
         from quote where shop_id = $1 and id = $2",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this quote"))?
    .try_into()
}

/// The quotes of these keys.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub(super) async fn these(tx: &mut ShopTx, keys: &[Uuid]) -> Result<Vec<Quote>, DbError> {
    sqlx::query_as!(
        Row,
        "select id, number, enquiry_id, option_kind, title, casting_id, valid_until, promised_on, currency, net, tax,
                gross, terms, said, reason, conditions, alternative_to, related, created_at, created_by, state, decided_at, lost_why, version
         from quote where shop_id = $1 and id = any ($2)",
        tx.shop_id(),
        keys
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(Quote::try_from)
    .collect()
}

/// The quote that was given with a form, if one was.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_request(tx: &mut ShopTx, request_key: Uuid) -> Result<Option<Quote>, DbError> {
    let id = sqlx::query_scalar!(
        "select id from quote where shop_id = $1 and request_key = $2",
        tx.shop_id(),
        request_key
    )
    .fetch_optional(tx.conn())
    .await?;
    match id {
        Some(id) => Ok(Some(get(tx, id).await?)),
        None => Ok(None),
    }
}

/// The quotes that stand on one paper with this one: the first, and its alternatives; itself left out. By number.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn beside(tx: &mut ShopTx, quote: &Quote) -> Result<Vec<Quote>, DbError> {
    let first = quote.offered_on.alternative_to.unwrap_or(quote.id);
    sqlx::query_as!(
        Row,
        "select id, number, enquiry_id, option_kind, title, casting_id, valid_until, promised_on, currency, net, tax,
                gross, terms, said, reason, conditions, alternative_to, related, created_at, created_by, state, decided_at, lost_why, version
         from quote where shop_id = $1 and (id = $2 or alternative_to = $2) and id <> $3 order by number",
        tx.shop_id(),
        first,
        quote.id,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(Quote::try_from)
    .collect()
}

/// Marks the enquiry of a quote as won.
///
/// # Errors
/// [`DbError::Database`].
pub async fn enquiry_is_won(tx: &mut ShopTx, enquiry_id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "update enquiry set state = 'won', version = version + 1 where shop_id = $1 and id = $2 and state <> 'won'",
        tx.shop_id(),
        enquiry_id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// At most `limit` quotes in any of these states, newest first; of one enquiry when it is named; those numbered below
/// `before` when it is given.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(
    tx: &mut ShopTx,
    states: &[QuoteState],
    enquiry_id: Option<Uuid>,
    before: Option<i64>,
    limit: u16,
) -> Result<Vec<Quote>, DbError> {
    let states: Vec<String> = states.iter().map(|s| s.code().to_owned()).collect();
    let before = before.unwrap_or(i64::MAX);
    // Each way to ask is a statement of its own that an index answers, whichever states are asked for: planned for any of them,
    // one statement would go through every quote for the few that are open.
    let keys = match enquiry_id {
        Some(enquiry_id) => {
            sqlx::query_scalar!(
                "select id from quote where shop_id = $1 and enquiry_id = $2 and state = any ($3) and number < $4
                 order by number desc limit $5",
                tx.shop_id(),
                enquiry_id,
                &states,
                before,
                i64::from(limit)
            )
            .fetch_all(tx.conn())
            .await?
        }
        None => {
            sqlx::query_scalar!(
                r#"select q.id as "id!" from unnest($2::text[]) s cross join lateral (
                       select id, number from quote where shop_id = $1 and state = s and number < $3
                       order by number desc limit $4) q
                   order by q.number desc limit $4"#,
                tx.shop_id(),
                &states,
                before,
                i64::from(limit)
            )
            .fetch_all(tx.conn())
            .await?
        }
    };
    if keys.is_empty() {
        return Ok(Vec::new());
    }
    let mut quotes = these(tx, &keys).await?;
    quotes.sort_unstable_by_key(|quote| std::cmp::Reverse(quote.number));
    Ok(quotes)
}

/// What the quote's net was made of, as a tree.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn lines(tx: &mut ShopTx, id: Uuid) -> Result<Vec<CostLine>, DbError> {
    let currency = get(tx, id).await?.net.currency();
    let rows = sqlx::query!(
        "select position, parent, label, how, amount from quote_line
         where shop_id = $1 and quote_id = $2 order by position desc",
        tx.shop_id(),
        id
    )
    .fetch_all(tx.conn())
    .await?;
    // Backwards through the preorder every line meets its children, last child first, before its parent.
    let mut below: HashMap<Option<i32>, Vec<CostLine>> = HashMap::new();
    for row in rows {
        let mut lines = below.remove(&Some(row.position)).unwrap_or_default();
        lines.reverse();
        below.entry(row.parent).or_default().push(CostLine {
            label: row.label,
            how: row.how,
            amount: Money::new(row.amount, currency),
            lines,
        });
    }
    let mut top = below.remove(&None).unwrap_or_default();
    top.reverse();
    Ok(top)
}

/// What the quote rests on.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn basis(tx: &mut ShopTx, id: Uuid) -> Result<Basis, DbError> {
    let row = sqlx::query!(
        "select answer, route from quote_basis where shop_id = $1 and quote_id = $2",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this quote"))?;
    Ok(Basis {
        answer: row.answer,
        route: serde_json::from_value(row.route).map_err(|why| corrupt("route of a quote", why))?,
    })
}

/// One quote, which nobody else decides before this transaction ends.
///
/// # Errors
/// As [`get`].
pub async fn lock(tx: &mut ShopTx, id: Uuid) -> Result<Quote, DbError> {
    sqlx::query!(
        "select from quote where shop_id = $1 and id = $2 for update",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?;
    get(tx, id).await
}

/// Writes down what became of a quote read with [`lock`], with the reason when it is lost; `version` is the version the
/// person who decides saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn decide(
    tx: &mut ShopTx,
    quote: &Quote,
    version: i32,
    state: QuoteState,
    lost_why: Option<&str>,
) -> Result<(), DbError> {
    if quote.version != version {
        return Err(DbError::Stale("this quote"));
    }
    sqlx::query!(
        "update quote set state = $3, lost_why = $4, decided_at = now(), version = version + 1
         where shop_id = $1 and id = $2",
        tx.shop_id(),
        quote.id,
        state.code(),
        lost_why,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Makes the caller of an enquiry the customer of a job.
///
/// # Errors
/// [`DbError::Database`].
pub async fn caller_is_customer(
    tx: &mut ShopTx,
    enquiry_id: Uuid,
    job_id: Uuid,
) -> Result<(), DbError> {
    sqlx::query!(
        "update job set customer = e.caller from enquiry e
         where job.shop_id = $1 and job.id = $2 and e.shop_id = $1 and e.id = $3",
        tx.shop_id(),
        job_id,
        enquiry_id,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Marks every undecided quote that held until before `today` as lapsed; says how many.
///
/// # Errors
/// [`DbError::Database`].
pub async fn lapse(tx: &mut ShopTx, today: NaiveDate) -> Result<u64, DbError> {
    Ok(sqlx::query!(
        "update quote set state = 'lapsed', decided_at = now(), version = version + 1
         where shop_id = $1 and state = 'sent' and valid_until < $2",
        tx.shop_id(),
        today
    )
    .execute(tx.conn())
    .await?
    .rows_affected())
}
