//! What there is of castings of some variants, and what is known of getting more: read for all of them at once, because an
//! answer asks for every variant of a pattern and of those related to it.

use super::read::{money, word};
use super::{DbError, ShopTx};
use crate::sourcing::Inspected;
use crate::stock::Outcome;
use crate::units::Money;
use std::collections::HashMap;
use uuid::Uuid;

/// One of the shop's own castings that is free on the shelf.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FreeCasting {
    /// Key.
    pub id: Uuid,
    /// Number on its tag.
    pub number: i64,
    /// How it was machined.
    pub variant_id: Uuid,
    /// What it stands in the books for.
    pub cost: Money,
    /// What the inspection found, once there was one.
    pub outcome: Option<Outcome>,
}

/// The shop's own castings of these variants that are free on the shelf, by number.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn free(tx: &mut ShopTx, variants: &[Uuid]) -> Result<Vec<FreeCasting>, DbError> {
    // The state stands in the statement, so that the index of what is on the shelf serves: most castings are long used.
    let rows = sqlx::query!(
        "select id, number, variant_id, cost, currency, outcome from casting
         where shop_id = $1 and variant_id = any ($2) and state = 'on_shelf' and ownership = 'shop' order by number",
        tx.shop_id(),
        variants,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(FreeCasting {
                id: row.id,
                number: row.number,
                variant_id: row.variant_id,
                cost: money("cost of a casting", row.cost, &row.currency)?,
                outcome: row
                    .outcome
                    .map(|code| word("inspection outcome", &code))
                    .transpose()?,
            })
        })
        .collect()
}

/// What inspections found of the shop's own castings of these variants, but for those whose worth their sightings say
/// already. A variant of which none was inspected is left out.
///
/// # Errors
/// [`DbError::Database`].
pub async fn inspected(
    tx: &mut ShopTx,
    variants: &[Uuid],
) -> Result<HashMap<Uuid, Inspected>, DbError> {
    let rows = sqlx::query!(
        r#"select c.variant_id, count(*) filter (where c.outcome = 'good') as "good!",
                  count(*) filter (where c.outcome = 'failed') as "bad!"
           from casting c left join sighting s on s.shop_id = $1 and s.id = c.sighting_id
           where c.shop_id = $1 and c.variant_id = any ($2) and c.ownership = 'shop' and c.outcome is not null
                 and (s.id is null or s.fate not in ('bought_good', 'bought_scrap'))
           group by c.variant_id"#,
        tx.shop_id(),
        variants,
    )
    .fetch_all(tx.conn())
    .await?;
    let count = |n: i64| u32::try_from(n).unwrap_or(u32::MAX);
    let found = rows.into_iter().map(|row| {
        let found = Inspected {
            good: count(row.good),
            bad: count(row.bad),
        };
        (row.variant_id, found)
    });
    Ok(found.collect())
}
