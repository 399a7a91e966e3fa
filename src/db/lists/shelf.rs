//! Castings that could be donors.

use super::{Part, capped, in_all, in_order};
use crate::db::castings_on_shelf::{self as castings, Casting};
use crate::db::{DbError, ShopTx, like};
use crate::stock::ShelfState;
use crate::units::Code;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// Which castings are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ShelfView {
    /// Those that are there, allocated or not.
    #[default]
    Here,
    /// Those that are there and free.
    Free,
    /// Those used and gone too.
    All,
}

impl ShelfView {
    fn states(self) -> Vec<String> {
        let states: &[ShelfState] = match self {
            Self::Here => &[ShelfState::OnShelf, ShelfState::Reserved],
            Self::Free => &[ShelfState::OnShelf],
            Self::All => ShelfState::ALL,
        };
        states.iter().map(|s| s.code().to_owned()).collect()
    }
}

/// By what castings are sorted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ShelfSort {
    /// The number on the tag.
    #[default]
    Number,
    /// The variant.
    Variant,
    /// What it cost.
    Cost,
    /// The day it was inspected.
    Inspected,
}

/// Castings; of one variant when one is named. All of them by number come from an index; everything else looks at each
/// casting in these states.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn shelf(
    tx: &mut ShopTx,
    view: ShelfView,
    variant_id: Option<Uuid>,
    words: &str,
    sort: ShelfSort,
    part: Part,
) -> Result<(Vec<Casting>, i64), DbError> {
    let states = view.states();
    let (keys, all) = match (like::as_typed(words), variant_id) {
        (None, None) if sort == ShelfSort::Number => by_number(tx, &states, part).await?,
        (like, _) => found(tx, &states, variant_id, like, words, sort, part).await?,
    };
    let rows = castings::these(tx, &keys).await?;
    Ok((in_order(&keys, rows, |casting| casting.id), all))
}

async fn by_number(
    tx: &mut ShopTx,
    states: &[String],
    part: Part,
) -> Result<(Vec<Uuid>, i64), DbError> {
    let reach = part.skip.saturating_add(part.rows);
    let keys = if part.descending {
        sqlx::query_scalar!(
            r#"select c.id as "id!" from unnest($2::text[]) s cross join lateral (
                   select id, number from casting where shop_id = $1 and state = s order by number desc limit $3) c
               order by c.number desc offset $4 limit $5"#,
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
            r#"select c.id as "id!" from unnest($2::text[]) s cross join lateral (
                   select id, number from casting where shop_id = $1 and state = s order by number limit $3) c
               order by c.number offset $4 limit $5"#,
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
                   select 1 from casting where shop_id = $1 and state = s order by number limit $3) c limit $3) c"#,
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
    variant_id: Option<Uuid>,
    like: Option<String>,
    words: &str,
    sort: ShelfSort,
    part: Part,
) -> Result<(Vec<Uuid>, i64), DbError> {
    let found = sqlx::query!(
        r#"select c.id, count(*) over () as "all!"
           from casting c
           join variant v on v.shop_id = c.shop_id and v.id = c.variant_id
           where c.shop_id = $1 and c.state = any ($2) and ($3::uuid is null or c.variant_id = $3)
             and ($4::text is null or c.number = $5 or c.condition ilike $4 or v.name ilike $4 or c.owner ilike $4)
           order by
             case when $6 = 'variant' and not $7 then lower(v.name) end,
             case when $6 = 'variant' and $7 then lower(v.name) end desc,
             case when $6 = 'cost' and not $7 then c.cost end,
             case when $6 = 'cost' and $7 then c.cost end desc,
             case when $6 = 'inspected' and not $7 then c.inspected_on end nulls last,
             case when $6 = 'inspected' and $7 then c.inspected_on end desc nulls last,
             case when $6 = 'number' and $7 then c.number end desc,
             c.number
           offset $8 limit $9"#,
        tx.shop_id(),
        states,
        variant_id,
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
