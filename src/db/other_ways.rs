//! The ways that were open when a quote was given, beside the one that was quoted.

use super::read::{corrupt, money};
use super::{DbError, ShopTx};
use crate::enquiry::bargain::Percentiles;
use crate::enquiry::range::PriceRange;
use crate::units::Money;
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// A way that was open.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenWay {
    /// The job that came of the quote.
    pub job_id: Uuid,
    /// Code of its kind of option.
    pub kind: String,
    /// Its title.
    pub title: String,
    /// Its price before tax, as it was forecast.
    pub price: PriceRange,
    /// Percentiles of the day it would have been ready.
    pub ready: Vec<Option<NaiveDate>>,
}

/// The ways that could have been taken instead, of the jobs that came of quotes given since a moment: other kinds of option
/// than the quoted one.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn since(tx: &mut ShopTx, since: DateTime<Utc>) -> Result<Vec<OpenWay>, DbError> {
    let rows = sqlx::query!(
        r#"select j.id, o ->> 'kind' as "kind!", o ->> 'title' as "title!",
                  o -> 'outcome' -> 'price' as "price!", o -> 'outcome' -> 'percentiles' as percentiles
           from job j
           join quote q on q.shop_id = j.shop_id and q.id = j.quote_id
           join quote_basis a on a.shop_id = q.shop_id and a.quote_id = q.id
           cross join lateral jsonb_array_elements(a.answer -> 'options') o
           where j.shop_id = $1 and j.state <> 'cancelled' and q.created_at >= $2
             and o ->> 'kind' <> q.option_kind and o -> 'outcome' ->> 'outcome' = 'possible'
           order by j.number"#,
        tx.shop_id(),
        since,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            let price = serde_json::from_value(row.price);
            let percentiles = row.percentiles.map(serde_json::from_value::<Percentiles>);
            Ok(OpenWay {
                job_id: row.id,
                kind: row.kind,
                title: row.title,
                price: price.map_err(|why| corrupt("price of an answer", why))?,
                ready: percentiles
                    .transpose()
                    .map_err(|why| corrupt("percentiles of an answer", why))?
                    .unwrap_or_default()
                    .ready,
            })
        })
        .collect()
}

/// The margin that each of those quotes was given with, by its job; none where its lines name none.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn margins(tx: &mut ShopTx, since: DateTime<Utc>) -> Result<Vec<(Uuid, Money)>, DbError> {
    let rows = sqlx::query!(
        r#"select j.id, q.currency, l.margin as "margin!"
           from job j
           join quote q on q.shop_id = j.shop_id and q.id = j.quote_id
           cross join lateral (select sum(l.amount) as margin from quote_line l
                               where l.shop_id = q.shop_id and l.quote_id = q.id and l.parent is null
                                 and l.label = 'Margin') l
           where j.shop_id = $1 and j.state <> 'cancelled' and q.created_at >= $2 and l.margin is not null"#,
        tx.shop_id(),
        since,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok((
                row.id,
                money("margin of a quote", row.margin, &row.currency)?,
            ))
        })
        .collect()
}
