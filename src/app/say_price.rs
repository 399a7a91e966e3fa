//! Says what a casting costs that nobody has seen for sale: the shop's own opinion, kept with the tracking of its variant.

use super::{Actor, AppError};
use crate::db::people::Role;
use crate::db::{settings, sightings};
use crate::sourcing::{PriceRangeOpinion, Unusable, Watch};
use chrono::NaiveDate;
use uuid::Uuid;

/// What is said.
#[derive(Debug, Clone, Copy)]
pub struct PriceSaid {
    /// Of which variant.
    pub variant_id: Uuid,
    /// The three prices.
    pub opinion: PriceRangeOpinion,
}

/// Keeps the opinion, and begins to track the variant on `today`, the shop's calendar day, when it was not tracked yet; for
/// the office. Prices that make no opinion are not an error, but the reason why.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`crate::db::DbError::Stale`] when the tracking was changed meanwhile; [`AppError::Db`].
pub async fn say_price(
    actor: &Actor,
    said: &PriceSaid,
    today: NaiveDate,
) -> Result<Result<(), Unusable>, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let kept = sightings::watch(&mut tx, said.variant_id).await?;
    let seen = kept.as_ref().map(|watch| watch.version);
    let watch = match kept {
        Some(watch) => watch,
        None => {
            let currency = settings::get(&mut tx).await?.currency;
            Watch::new(said.variant_id, today, currency)
        }
    };
    let watch = match watch.with_price(said.opinion) {
        Ok(watch) => watch,
        Err(why) => return Ok(Err(why)),
    };
    sightings::keep_watch(&mut tx, &watch, seen).await?;
    tx.commit().await?;
    Ok(Ok(()))
}
