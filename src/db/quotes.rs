//! Quotes: frozen on the day they are given. All that may still happen to one is a single decision.

use super::counters::{self, Counter};
use super::jobs::{self, NewJob};
use super::needs::{self, DonorNeed};
use super::read::{corrupt, money, word};
use super::{DbError, ShopTx, castings_on_shelf, decisions, plans};
use crate::enquiry::OptionKind;
use crate::estimating::{CostLine, Route};
use crate::units::{Code, Money};
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use serde_json::Value;
use std::collections::HashMap;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What became of a quote.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum QuoteState {
    /// Given, and waiting for an answer.
    Sent,
    /// Taken up: there is a job.
    Won,
    /// Turned down.
    Lost,
    /// Run out before there was an answer.
    Lapsed,
}

/// A quote to be given.
#[derive(Debug, Clone)]
pub struct NewQuote {
    /// The enquiry it answers.
    pub enquiry_id: Uuid,
    /// The kind of option, in a word.
    pub option_kind: String,
    /// What is offered, in a line.
    pub title: String,
    /// The donor it counts on, when that is on the shelf.
    pub casting_id: Option<Uuid>,
    /// The last day it holds.
    pub valid_until: NaiveDate,
    /// The day promised, if one is.
    pub promised_on: Option<NaiveDate>,
    /// Before tax.
    pub net: Money,
    /// Tax.
    pub tax: Money,
    /// What the customer pays: `net` and `tax`.
    pub gross: Money,
    /// What `net` is made of.
    pub lines: Vec<CostLine>,
    /// The whole answer as it stood.
    pub answer: Value,
    /// What the job will be when the quote is won.
    pub route: Route,
}

/// A quote as it was given, and what became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quote {
    /// Key.
    pub id: Uuid,
    /// Number.
    pub number: i64,
    /// The enquiry it answers.
    pub enquiry_id: Uuid,
    /// The kind of option, in a word.
    pub option_kind: String,
    /// What is offered.
    pub title: String,
    /// The donor it counts on, when that is on the shelf.
    pub casting_id: Option<Uuid>,
    /// The last day it holds.
    pub valid_until: NaiveDate,
    /// The day promised, if one was.
    pub promised_on: Option<NaiveDate>,
    /// Before tax.
    pub net: Money,
    /// Tax.
    pub tax: Money,
    /// What the customer pays.
    pub gross: Money,
    /// When it was given.
    pub created_at: DateTime<Utc>,
    /// By whom.
    pub created_by: Option<Uuid>,
    /// What became of it.
    pub state: QuoteState,
    /// When that was decided.
    pub decided_at: Option<DateTime<Utc>>,
    /// Why it was lost.
    pub lost_why: Option<String>,
    /// Counts edits.
    pub version: i32,
}

/// What a quote stood on.
#[derive(Debug, Clone, PartialEq)]
pub struct Basis {
    /// The whole answer as it was on the day.
    pub answer: Value,
    /// The route it was reckoned with.
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
    created_at: DateTime<Utc>,
    created_by: Option<Uuid>,
    state: String,
    decided_at: Option<DateTime<Utc>>,
    lost_why: Option<String>,
    version: i32,
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
            created_at: row.created_at,
            created_by: row.created_by,
            state: word("state of a quote", &row.state)?,
            decided_at: row.decided_at,
            lost_why: row.lost_why,
            version: row.version,
        })
    }
}

/// Gives a quote on behalf of the transaction's person: number, lines, totals and all it stands on, and marks its
/// enquiry as quoted.
///
/// # Errors
/// [`DbError::Refused`] when its sums do not agree with each other, [`DbError::Database`].
pub async fn create(tx: &mut ShopTx, quote: &NewQuote) -> Result<(Uuid, i64), DbError> {
    check_sums(quote)?;
    let route = serde_json::to_value(&quote.route).map_err(|why| corrupt("route", why))?;
    let mut lines = Vec::new();
    flatten(&quote.lines, None, &mut lines);
    let line_count = i32::try_from(lines.len()).map_err(|why| corrupt("count of lines", why))?;
    let number = counters::next(tx, Counter::Quote).await?;
    let id = Uuid::now_v7();
    let currency = quote.net.currency();
    sqlx::query!(
        "insert into quote (shop_id, id, number, enquiry_id, option_kind, title, casting_id, valid_until, promised_on,
                            currency, net, tax, gross, line_count, created_by)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)",
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
    )
    .execute(tx.conn())
    .await?;
    let positions: Vec<i32> = (0..line_count).collect();
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
    sqlx::query!(
        "insert into quote_basis (shop_id, quote_id, answer, route) values ($1, $2, $3, $4)",
        tx.shop_id(),
        id,
        quote.answer,
        route,
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "update enquiry set state = 'quoted', version = version + 1
         where shop_id = $1 and id = $2 and state <> 'quoted'",
        tx.shop_id(),
        quote.enquiry_id,
    )
    .execute(tx.conn())
    .await?;
    Ok((id, number))
}

/// The lines must add up to the net, and net and tax to the gross: a quote is a paper people hold us to.
fn check_sums(quote: &NewQuote) -> Result<(), DbError> {
    let currency = quote.net.currency();
    let refused = |why: &dyn std::fmt::Display| {
        DbError::Refused(format!("This quote does not add up: {why}"))
    };
    let lines = Money::sum(currency, quote.lines.iter().map(|line| line.amount))
        .map_err(|why| refused(&why))?;
    if lines != quote.net {
        return Err(refused(&"its lines do not make its net"));
    }
    let gross = quote.net.plus(quote.tax).map_err(|why| refused(&why))?;
    if gross != quote.gross {
        return Err(refused(&"net and tax do not make the gross"));
    }
    Ok(())
}

/// A tree of lines in preorder, each with the position of its parent.
fn flatten<'a>(
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
                gross, created_at, created_by, state, decided_at, lost_why, version
         from quote where shop_id = $1 and id = $2",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this quote"))?
    .try_into()
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
    sqlx::query_as!(
        Row,
        "select id, number, enquiry_id, option_kind, title, casting_id, valid_until, promised_on, currency, net, tax,
                gross, created_at, created_by, state, decided_at, lost_why, version
         from quote
         where shop_id = $1 and state = any ($2) and ($3::uuid is null or enquiry_id = $3)
               and ($4::bigint is null or number < $4)
         order by number desc limit $5",
        tx.shop_id(),
        &states,
        enquiry_id,
        before,
        i64::from(limit)
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(Quote::try_from)
    .collect()
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

/// What the quote stood on.
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

/// The customer takes the quote up: it becomes a job with its route, and its donor is set aside, all or nothing.
/// Returns the job's key.
///
/// # Errors
/// [`DbError::Refused`] when it was decided already, has run out by `today` or its donor is gone,
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn win(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    today: NaiveDate,
    due_on: NaiveDate,
) -> Result<Uuid, DbError> {
    let quote = undecided(tx, id).await?;
    if quote.valid_until < today {
        return Err(DbError::Refused(format!(
            "Quote {} held until {}; give a new one at today's rates",
            quote.number, quote.valid_until
        )));
    }
    decide(tx, &quote, version, QuoteState::Won, None).await?;
    let route = basis(tx, id).await?.route;
    let job = NewJob {
        quote_id: Some(id),
        title: quote.title,
        due_on,
        promised_on: quote.promised_on,
    };
    let (job_id, _) = jobs::create(tx, &job, &route).await?;
    // The job is for whoever asked.
    sqlx::query!(
        "update job set customer = e.caller from enquiry e
         where job.shop_id = $1 and job.id = $2 and e.shop_id = $1 and e.id = $3",
        tx.shop_id(),
        job_id,
        quote.enquiry_id,
    )
    .execute(tx.conn())
    .await?;
    if let Some(casting_id) = quote.casting_id {
        castings_on_shelf::reserve(tx, casting_id, job_id).await?;
    }
    let donor = donor_need(&quote.option_kind, quote.casting_id);
    needs::of_route(tx, job_id, &route, donor).await?;
    plans::take_slot(tx, id, job_id).await?;
    Ok(job_id)
}

/// Where the casting of a won job comes from: from the shelf when the quote counts on one there, else as its kind of
/// option has it.
fn donor_need(option_kind: &str, casting_id: Option<Uuid>) -> Option<DonorNeed> {
    if let Some(id) = casting_id {
        return Some(DonorNeed::Shelf(id));
    }
    let is = |kinds: [OptionKind; 2]| kinds.iter().any(|kind| kind.code() == option_kind);
    if is([OptionKind::Repair, OptionKind::ConvertOwn]) {
        Some(DonorNeed::Brought)
    } else if is([OptionKind::ConvertBought, OptionKind::Hunt]) {
        Some(DonorNeed::Hunted)
    } else {
        None
    }
}

/// The customer turns the quote down.
///
/// # Errors
/// [`DbError::Refused`] when it was decided already, [`DbError::Stale`], [`DbError::NotFound`],
/// [`DbError::Database`].
pub async fn lose(tx: &mut ShopTx, id: Uuid, version: i32, why: &str) -> Result<(), DbError> {
    let quote = undecided(tx, id).await?;
    decide(tx, &quote, version, QuoteState::Lost, Some(why)).await?;
    decisions::drop_slot(tx, id).await
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

/// Reads a quote that nothing has become of yet, and keeps others from deciding it until this transaction ends.
async fn undecided(tx: &mut ShopTx, id: Uuid) -> Result<Quote, DbError> {
    sqlx::query!(
        "select from quote where shop_id = $1 and id = $2 for update",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?;
    let quote = get(tx, id).await?;
    if quote.state == QuoteState::Sent {
        Ok(quote)
    } else {
        Err(DbError::Refused(format!(
            "Quote {} is already {}",
            quote.number,
            quote.state.code()
        )))
    }
}

async fn decide(
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
