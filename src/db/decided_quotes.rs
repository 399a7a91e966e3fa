//! Quotes that were decided, with what they cost, for what they teach.

use super::read::{money, word};
use super::{DbError, ShopTx};
use crate::enquiry::quote::QuoteState;
use crate::units::Money;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// A quote that was won, lost or never answered.
#[derive(Debug, Clone, PartialEq)]
pub struct DecidedQuote {
    /// Key.
    pub id: Uuid,
    /// The code of its kind of option.
    pub option_kind: String,
    /// Its price before tax.
    pub net: Money,
    /// The margin in that; none where its lines name none.
    pub margin: Option<Money>,
    /// What became of it.
    pub state: QuoteState,
    /// Why it was lost.
    pub lost_why: Option<String>,
}

/// The quotes given since a moment that are decided, newest first. One that was lost because another quote of the same
/// enquiry was won is no lost sale, and is left out.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn since(tx: &mut ShopTx, since: DateTime<Utc>) -> Result<Vec<DecidedQuote>, DbError> {
    let rows = sqlx::query!(
        r#"select q.id, q.option_kind, q.currency, q.net, q.state, q.lost_why,
                  (select sum(l.amount) from quote_line l where l.shop_id = q.shop_id and l.quote_id = q.id
                   and l.parent is null and l.label = 'Margin') as margin
           from quote q
           where q.shop_id = $1 and q.created_at >= $2 and q.state <> 'sent'
             and (q.state = 'won' or not exists (
                  select from quote w where w.shop_id = q.shop_id and w.enquiry_id = q.enquiry_id and w.state = 'won'))
           order by q.number desc"#,
        tx.shop_id(),
        since
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(DecidedQuote {
                id: row.id,
                option_kind: row.option_kind,
                net: money("net of a quote", row.net, &row.currency)?,
                margin: row
                    .margin
                    .map(|margin| money("margin of a quote", margin, &row.currency))
                    .transpose()?,
                state: word("state of a quote", &row.state)?,
                lost_why: row.lost_why,
            })
        })
        .collect()
}
