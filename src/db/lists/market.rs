//! What was seen for sale: by variant, and one by one.

use super::{Part, in_order};
use crate::db::sightings::Watched;
use crate::db::{DbError, ShopTx, like, sightings};
use crate::sourcing::Sighting;
use crate::units::Code;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// Which variants are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum MarketView {
    /// All of them.
    #[default]
    All,
    /// Those of which a usable one is still for sale.
    ForSale,
    /// Those that are tracked.
    Tracked,
}

/// By what the variants are sorted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum MarketSort {
    /// The last day one was seen.
    #[default]
    LastSeen,
    /// Name.
    Name,
    /// Pattern.
    Pattern,
    /// How many were seen.
    Seen,
}

/// Variants with what was seen of them. Those that compare as equal, or were never seen, stand by being tracked and by name.
///
/// # Errors
/// [`DbError::Database`].
pub async fn market(
    tx: &mut ShopTx,
    view: MarketView,
    words: &str,
    sort: MarketSort,
    part: Part,
) -> Result<(Vec<Watched>, i64), DbError> {
    let rows = sqlx::query!(
        r#"select v.id, v.name, p.name as pattern, w.watched as "watched!", s.seen as "seen!", s.open as "open!",
                  s.last_seen, count(*) over () as "all!"
           from variant v
           join pattern p on p.shop_id = v.shop_id and p.id = v.pattern_id
           cross join lateral (
               select exists (select from watch w where w.shop_id = v.shop_id and w.variant_id = v.id) as watched) w
           cross join lateral (
               select count(*) as seen, count(*) filter (where s.acceptable and s.fate = 'open') as open,
                      max(s.seen_on) as last_seen
               from sighting s where s.shop_id = v.shop_id and s.variant_id = v.id) s
           where v.shop_id = $1 and ($2::text is null or v.name ilike $2 or p.name ilike $2)
             and ($3 = 'all' or ($3 = 'for_sale' and s.open > 0) or ($3 = 'tracked' and w.watched))
           order by
             case when $4 = 'last_seen' and not $5 then s.last_seen end nulls last,
             case when $4 = 'last_seen' and $5 then s.last_seen end desc nulls last,
             case when $4 = 'name' and $5 then lower(v.name) end desc,
             case when $4 = 'name' then lower(v.name) end,
             case when $4 = 'pattern' and not $5 then lower(p.name) end,
             case when $4 = 'pattern' and $5 then lower(p.name) end desc,
             case when $4 = 'seen' and not $5 then s.seen end,
             case when $4 = 'seen' and $5 then s.seen end desc,
             w.watched desc, lower(v.name), v.id
           offset $6 limit $7"#,
        tx.shop_id(),
        like::as_typed(words),
        view.code(),
        sort.code(),
        part.descending,
        part.skip,
        part.rows,
    )
    .fetch_all(tx.conn())
    .await?;
    let all = rows.first().map_or(0, |row| row.all);
    let rows = rows.into_iter().map(|row| Watched {
        variant_id: row.id,
        name: row.name,
        pattern: row.pattern,
        watched: row.watched,
        sightings: row.seen,
        open: row.open,
        last_seen: row.last_seen,
    });
    Ok((rows.collect(), all))
}

/// Which sightings of a variant are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum SightingView {
    /// All of them.
    #[default]
    All,
    /// Usable ones.
    Usable,
    /// Usable ones that are still for sale.
    ForSale,
}

/// By what sightings are sorted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum SightingSort {
    /// The day.
    #[default]
    Day,
    /// The price asked.
    Price,
    /// The place.
    Place,
}

/// The sightings of a variant.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn sightings(
    tx: &mut ShopTx,
    variant_id: Uuid,
    view: SightingView,
    words: &str,
    sort: SightingSort,
    part: Part,
) -> Result<(Vec<Sighting>, i64), DbError> {
    let found = sqlx::query!(
        r#"select id, count(*) over () as "all!" from sighting
           where shop_id = $1 and variant_id = $2
             and ($3::text is null or place ilike $3 or condition ilike $3)
             and ($4 = 'all' or (acceptable and ($4 = 'usable' or fate = 'open')))
           order by
             case when $5 = 'day' and not $6 then seen_on end,
             case when $5 = 'day' and $6 then seen_on end desc,
             case when $5 = 'price' and not $6 then asked end nulls last,
             case when $5 = 'price' and $6 then asked end desc nulls last,
             case when $5 = 'place' and not $6 then lower(place) end,
             case when $5 = 'place' and $6 then lower(place) end desc,
             seen_on desc, id desc
           offset $7 limit $8"#,
        tx.shop_id(),
        variant_id,
        like::as_typed(words),
        view.code(),
        sort.code(),
        part.descending,
        part.skip,
        part.rows,
    )
    .fetch_all(tx.conn())
    .await?;
    let all = found.first().map_or(0, |row| row.all);
    let keys: Vec<Uuid> = found.into_iter().map(|row| row.id).collect();
    let rows = sightings::these(tx, &keys).await?;
    Ok((in_order(&keys, rows, |sighting| sighting.id), all))
}
