//! What became of quotes, and what wins one.

use super::learn::DAYS_BACK;
use super::{Actor, AppError};
use crate::db::decided_quotes::{self, DecidedQuote};
use crate::db::people::Role;
use crate::enquiry::quote::QuoteState;
use crate::review::wins::{Curve, Offer, curve};
use crate::units::plain;
use chrono::{DateTime, Days, Utc};
use rust_decimal::Decimal;

/// Decided quotes with the curve they make.
#[derive(Debug, Clone, PartialEq)]
pub struct QuotesReview {
    /// The quotes, newest first.
    pub quotes: Vec<DecidedQuote>,
    /// Those whose price over cost is known.
    pub offers: Vec<Offer>,
    /// The chance to win by price; none where too little is known.
    pub curve: Option<Curve>,
}

/// The quotes of the last three years, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn quotes_review(actor: &Actor, now: DateTime<Utc>) -> Result<QuotesReview, AppError> {
    actor.require(Role::Office)?;
    let since = now.checked_sub_days(Days::new(DAYS_BACK)).unwrap_or(now);
    let mut tx = actor.begin().await?;
    let quotes = decided_quotes::since(&mut tx, since).await?;
    drop(tx);
    let offers: Vec<Offer> = quotes
        .iter()
        .filter_map(|q| {
            let cost = q.net.minus(q.margin?).ok()?.amount();
            let over_cost = (cost > Decimal::ZERO).then(|| plain(q.net.amount()) / plain(cost))?;
            Some(Offer {
                over_cost,
                won: q.state == QuoteState::Won,
            })
        })
        .collect();
    Ok(QuotesReview {
        curve: curve(&offers),
        offers,
        quotes,
    })
}
