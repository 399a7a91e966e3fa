//! Quotes with whoever called.

use super::{Part, capped, in_all, in_order};
use crate::db::{DbError, ShopTx, like, quotes};
use crate::enquiry::quote::{Quote, QuoteState};
use crate::units::Code;
use std::collections::HashMap;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// Which quotes are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum QuoteView {
    /// Those that wait for the customer.
    #[default]
    Open,
    /// Those that became jobs.
    Accepted,
    /// Those that were declined or lapsed.
    NoSale,
    /// All of them.
    All,
}

impl QuoteView {
    fn states(self) -> Vec<String> {
        let states: &[QuoteState] = match self {
            Self::Open => &[QuoteState::Sent],
            Self::Accepted => &[QuoteState::Won],
            Self::NoSale => &[QuoteState::Lost, QuoteState::Lapsed],
            Self::All => QuoteState::ALL,
        };
        states.iter().map(|s| s.code().to_owned()).collect()
    }
}

/// By what quotes are sorted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum QuoteSort {
    /// Number.
    #[default]
    Number,
    /// Before tax.
    Net,
    /// The day promised.
    Promised,
    /// The last day it may be accepted.
    ValidUntil,
}

/// A quote as a row of the list.
#[derive(Debug, Clone, PartialEq)]
pub struct ListedQuote {
    /// The quote.
    pub quote: Quote,
    /// Who called; may be empty.
    pub caller: String,
}

/// Quotes. All of them by number come from an index; everything else looks at each quote in these states.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn quotes(
    tx: &mut ShopTx,
    view: QuoteView,
    words: &str,
    sort: QuoteSort,
    part: Part,
) -> Result<(Vec<ListedQuote>, i64), DbError> {
    let states = view.states();
    let (keys, all) = match like::as_typed(words) {
        None if sort == QuoteSort::Number => by_number(tx, &states, part).await?,
        like => found(tx, &states, like, words, sort, part).await?,
    };
    let callers = sqlx::query!(
        "select q.id, e.caller from unnest($2::uuid[]) k (id)
         join quote q on q.shop_id = $1 and q.id = k.id
         join enquiry e on e.shop_id = q.shop_id and e.id = q.enquiry_id",
        tx.shop_id(),
        &keys,
    )
    .fetch_all(tx.conn())
    .await?;
    let mut callers: HashMap<Uuid, String> = callers
        .into_iter()
        .map(|row| (row.id, row.caller))
        .collect();
    let rows = in_order(&keys, quotes::these(tx, &keys).await?, |quote| quote.id);
    let rows = rows.into_iter().map(|quote| ListedQuote {
        caller: callers.remove(&quote.id).unwrap_or_default(),
        quote,
    });
    Ok((rows.collect(), all))
}

async fn by_number(
    tx: &mut ShopTx,
    states: &[String],
    part: Part,
) -> Result<(Vec<Uuid>, i64), DbError> {
    let reach = part.skip.saturating_add(part.rows);
    let keys = if part.descending {
        sqlx::query_scalar!(
            r#"select q.id as "id!" from unnest($2::text[]) s cross join lateral (
                   select id, number from quote where shop_id = $1 and state = s order by number desc limit $3) q
               order by q.number desc offset $4 limit $5"#,
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
            r#"select q.id as "id!" from unnest($2::text[]) s cross join lateral (
                   select id, number from quote where shop_id = $1 and state = s order by number limit $3) q
               order by q.number offset $4 limit $5"#,
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
                   select 1 from quote where shop_id = $1 and state = s order by number limit $3) q limit $3) q"#,
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
    states: &[String],
    like: Option<String>,
    words: &str,
    sort: QuoteSort,
    part: Part,
) -> Result<(Vec<Uuid>, i64), DbError> {
    let found = sqlx::query!(
        r#"select q.id, count(*) over () as "all!"
           from quote q
           left join enquiry e on e.shop_id = q.shop_id and e.id = q.enquiry_id and $3::text is not null
           where q.shop_id = $1 and q.state = any ($2)
             and ($3::text is null or q.number = $4 or q.title ilike $3 or e.caller ilike $3)
           order by
             case when $5 = 'net' and not $6 then q.net end,
             case when $5 = 'net' and $6 then q.net end desc,
             case when $5 = 'promised' and not $6 then q.promised_on end nulls last,
             case when $5 = 'promised' and $6 then q.promised_on end desc nulls last,
             case when $5 = 'valid_until' and not $6 then q.valid_until end,
             case when $5 = 'valid_until' and $6 then q.valid_until end desc,
             case when not $6 then q.number end, q.number desc
           offset $7 limit $8"#,
        tx.shop_id(),
        states,
        like,
        words.trim().parse::<i64>().ok(),
        sort.code(),
        part.descending,
        part.skip,
        part.rows,
    )
    .fetch_all(tx.conn())
    .await?;
    let all = found.first().map_or(0, |row| row.all);
    Ok((found.into_iter().map(|row| row.id).collect(), all))
}
