//! Patterns with their variants.

use super::{Part, in_order};
use crate::castings::{Pattern, Variant};
use crate::db::{DbError, ShopTx, castings, like};
use std::collections::HashMap;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// By what patterns are sorted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum PatternSort {
    /// Name.
    #[default]
    Name,
}

/// Patterns with their variants, found by the name of either or by the pattern's marks.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn patterns(
    tx: &mut ShopTx,
    words: &str,
    part: Part,
) -> Result<(Vec<(Pattern, Vec<Variant>)>, i64), DbError> {
    let found = sqlx::query!(
        r#"select p.id, count(*) over () as "all!"
           from pattern p
           where p.shop_id = $1
             and ($2::text is null or p.name ilike $2 or p.marks ilike $2
                  or exists (select from variant v where v.shop_id = p.shop_id and v.pattern_id = p.id and v.name ilike $2))
           order by case when $3 then lower(p.name) end desc, lower(p.name), p.id
           offset $4 limit $5"#,
        tx.shop_id(),
        like::as_typed(words),
        part.descending,
        part.skip,
        part.rows,
    )
    .fetch_all(tx.conn())
    .await?;
    let all = found.first().map_or(0, |row| row.all);
    let keys: Vec<Uuid> = found.iter().map(|row| row.id).collect();
    let mut variants: HashMap<Uuid, Vec<Variant>> = HashMap::new();
    for variant in castings::variants_of(tx, &keys).await? {
        variants
            .entry(variant.pattern_id)
            .or_default()
            .push(variant);
    }
    let patterns = in_order(
        &keys,
        castings::these_patterns(tx, &keys).await?,
        |pattern| pattern.id,
    );
    let rows = patterns.into_iter().map(|pattern| {
        let variants = variants.remove(&pattern.id).unwrap_or_default();
        (pattern, variants)
    });
    Ok((rows.collect(), all))
}
