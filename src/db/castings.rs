//! Patterns and variants, each a whole: a pattern with its outlines and bosses, a variant with its features.

use super::read::{count, stored_count, word};
use super::rows::{Touched, broken, changed, still_needed};
use super::{DbError, ShopTx, measured_records};
use crate::castings::measured::Sizes;
use crate::castings::{Boss, Feature, Outline, Pattern, Place, Point, Variant};
use crate::units::{Code, Length};
use std::collections::HashMap;
use uuid::Uuid;

/// All patterns, by name.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn patterns(tx: &mut ShopTx) -> Result<Vec<Pattern>, DbError> {
    read_patterns(tx, None).await
}

/// One pattern.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn pattern(tx: &mut ShopTx, id: Uuid) -> Result<Pattern, DbError> {
    let found = these_patterns(tx, &[id]).await?.into_iter().next();
    found.ok_or(DbError::NotFound("the pattern"))
}

/// Those of these patterns that there are, by name.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn these_patterns(tx: &mut ShopTx, ids: &[Uuid]) -> Result<Vec<Pattern>, DbError> {
    read_patterns(tx, Some(ids)).await
}

async fn read_patterns(tx: &mut ShopTx, only: Option<&[Uuid]>) -> Result<Vec<Pattern>, DbError> {
    let shop = tx.shop_id();
    let mut outlines: HashMap<Uuid, Vec<Outline>> = HashMap::new();
    let rows = sqlx::query!(
        "select pattern_id, face, width_mm, height_mm from outline
         where shop_id = $1 and ($2::uuid[] is null or pattern_id = any ($2))",
        shop,
        only as _
    )
    .fetch_all(tx.conn())
    .await?;
    for row in rows {
        outlines.entry(row.pattern_id).or_default().push(Outline {
            face: word("face", &row.face)?,
            width: Length::from_mm(row.width_mm),
            height: Length::from_mm(row.height_mm),
        });
    }
    let mut bosses: HashMap<Uuid, Vec<Boss>> = HashMap::new();
    let rows = sqlx::query!(
        "select pattern_id, face, label, largest_mm, deepest_mm, through from boss
         where shop_id = $1 and ($2::uuid[] is null or pattern_id = any ($2))",
        shop,
        only as _
    )
    .fetch_all(tx.conn())
    .await?;
    for row in rows {
        bosses.entry(row.pattern_id).or_default().push(Boss {
            place: Place::new(word("face", &row.face)?, row.label),
            largest: Length::from_mm(row.largest_mm),
            deepest: row.deepest_mm.map(Length::from_mm),
            through: row.through,
        });
    }
    let rows = sqlx::query!(
        r#"select p.id, p.name, p.cylinders, p.mains, p.marks, p.metal, p.weight_kg, p.version, s.sizes as "sizes?"
           from pattern p left join pattern_sizes s on s.shop_id = p.shop_id and s.id = p.id
           where p.shop_id = $1 and ($2::uuid[] is null or p.id = any ($2)) order by lower(p.name)"#,
        shop,
        only as _
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            let mut outlines = outlines.remove(&row.id).unwrap_or_default();
            outlines.sort_by_key(|outline| outline.face);
            let mut bosses = bosses.remove(&row.id).unwrap_or_default();
            bosses.sort_by(|a, b| a.place.cmp(&b.place));
            Ok(Pattern {
                id: row.id,
                name: row.name,
                cylinders: count("cylinders", row.cylinders)?,
                mains: count("mains", row.mains)?,
                outlines,
                bosses,
                marks: row.marks,
                metal: word("metal", &row.metal)?,
                weight_kg: row.weight_kg,
                sizes: row
                    .sizes
                    .map(measured_records::read_sizes)
                    .transpose()?
                    .unwrap_or_default(),
                version: row.version,
            })
        })
        .collect()
}

/// Adds a pattern; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when the name is taken, [`DbError::Database`].
pub async fn insert_pattern(tx: &mut ShopTx, pattern: &Pattern) -> Result<(), DbError> {
    sqlx::query!(
        "insert into pattern (shop_id, id, name, cylinders, mains, marks, metal, weight_kg) values ($1, $2, $3, $4, $5, $6, $7, $8)",
        tx.shop_id(),
        pattern.id,
        pattern.name,
        stored_count("cylinders", pattern.cylinders)?,
        stored_count("mains", pattern.mains)?,
        pattern.marks,
        pattern.metal.code(),
        pattern.weight_kg,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    insert_faces(tx, pattern).await
}

/// Changes a pattern, its outlines and bosses to what is given; `pattern.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update_pattern(tx: &mut ShopTx, pattern: &Pattern) -> Result<(), DbError> {
    let shop = tx.shop_id();
    let done = sqlx::query!(
        "update pattern set name = $3, cylinders = $4, mains = $5, marks = $6, metal = $8, weight_kg = $9, version = version + 1
         where shop_id = $1 and id = $2 and version = $7",
        shop,
        pattern.id,
        pattern.name,
        stored_count("cylinders", pattern.cylinders)?,
        stored_count("mains", pattern.mains)?,
        pattern.marks,
        pattern.version,
        pattern.metal.code(),
        pattern.weight_kg,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "the pattern", self::pattern(tx, pattern.id)).await?;
    sqlx::query!(
        "delete from outline where shop_id = $1 and pattern_id = $2",
        shop,
        pattern.id
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "delete from boss where shop_id = $1 and pattern_id = $2",
        shop,
        pattern.id
    )
    .execute(tx.conn())
    .await?;
    insert_faces(tx, pattern).await
}

async fn insert_faces(tx: &mut ShopTx, pattern: &Pattern) -> Result<(), DbError> {
    let shop = tx.shop_id();
    for outline in &pattern.outlines {
        sqlx::query!(
            "insert into outline (shop_id, pattern_id, face, width_mm, height_mm) values ($1, $2, $3, $4, $5)",
            shop,
            pattern.id,
            outline.face.code(),
            outline.width.mm(),
            outline.height.mm(),
        )
        .execute(tx.conn())
        .await?;
    }
    for boss in &pattern.bosses {
        sqlx::query!(
            "insert into boss (shop_id, pattern_id, face, label, largest_mm, deepest_mm, through) values ($1, $2, $3, $4, $5, $6, $7)",
            shop,
            pattern.id,
            boss.place.face.code(),
            boss.place.label,
            boss.largest.mm(),
            boss.deepest.map(|depth| depth.mm()),
            boss.through,
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(())
}

/// Copies a pattern with its outlines, bosses and sizes, without its variants, under a new key and name.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Duplicate`] when the name is taken, [`DbError::Database`].
pub async fn copy_pattern(
    tx: &mut ShopTx,
    id: Uuid,
    new_id: Uuid,
    name: &str,
) -> Result<(), DbError> {
    let copy = Pattern {
        id: new_id,
        name: name.to_owned(),
        ..pattern(tx, id).await?
    };
    insert_pattern(tx, &copy).await?;
    if copy.sizes == Sizes::default() {
        return Ok(());
    }
    let sizes = Sizes {
        pattern_id: new_id,
        version: 0,
        ..copy.sizes
    };
    measured_records::set_sizes(tx, &sizes).await
}

/// Deletes a pattern that has no variants.
///
/// # Errors
/// [`DbError::InUse`], [`DbError::Stale`], [`DbError::Database`].
pub async fn delete_pattern(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from pattern where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await
    .map_err(still_needed)?
    .or_stale("the pattern")
}

/// All variants with their features, by pattern name, then by name.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn variants(tx: &mut ShopTx) -> Result<Vec<Variant>, DbError> {
    read_variants(tx, None, None).await
}

/// A variant by name, for choosing from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VariantName {
    /// Key.
    pub id: Uuid,
    /// Name.
    pub name: String,
}

/// The names of all variants, by pattern name, then by name.
///
/// # Errors
/// [`DbError::Database`].
pub async fn variant_names(tx: &mut ShopTx) -> Result<Vec<VariantName>, DbError> {
    Ok(sqlx::query_as!(
        VariantName,
        "select v.id, v.name from variant v join pattern p on p.shop_id = v.shop_id and p.id = v.pattern_id
         where v.shop_id = $1 order by lower(p.name), lower(v.name)",
        tx.shop_id()
    )
    .fetch_all(tx.conn())
    .await?)
}

/// The variants of these patterns, by pattern name, then by name.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn variants_of(tx: &mut ShopTx, patterns: &[Uuid]) -> Result<Vec<Variant>, DbError> {
    read_variants(tx, None, Some(patterns)).await
}

/// One variant with its features.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn variant(tx: &mut ShopTx, id: Uuid) -> Result<Variant, DbError> {
    let found = read_variants(tx, Some(id), None).await?.into_iter().next();
    found.ok_or(DbError::NotFound("the variant"))
}

async fn read_variants(
    tx: &mut ShopTx,
    only: Option<Uuid>,
    patterns: Option<&[Uuid]>,
) -> Result<Vec<Variant>, DbError> {
    let shop = tx.shop_id();
    let mut features: HashMap<Uuid, Vec<Feature>> = HashMap::new();
    let rows = sqlx::query!(
        "select f.variant_id, f.face, f.label, f.kind, f.x_mm, f.y_mm, f.size_mm, f.depth_mm, f.thread, f.fit, f.count, f.note
         from feature f join variant v on v.shop_id = f.shop_id and v.id = f.variant_id
         where f.shop_id = $1 and ($2::uuid is null or v.id = $2) and ($3::uuid[] is null or v.pattern_id = any ($3))",
        shop,
        only,
        patterns as _
    )
    .fetch_all(tx.conn())
    .await?;
    for row in rows {
        features.entry(row.variant_id).or_default().push(Feature {
            place: Place::new(word("face", &row.face)?, row.label),
            kind: word("kind of feature", &row.kind)?,
            at: row.x_mm.zip(row.y_mm).map(|(x, y)| Point {
                x: Length::from_mm(x),
                y: Length::from_mm(y),
            }),
            size: Length::from_mm(row.size_mm),
            depth: row.depth_mm.map(Length::from_mm),
            thread: row.thread.map(|text| parsed("thread", &text)).transpose()?,
            fit: row.fit.map(|text| parsed("fit", &text)).transpose()?,
            count: count("count", row.count)?,
            note: row.note,
        });
    }
    let rows = sqlx::query!(
        "select v.id, v.pattern_id, v.name, v.gearbox_under, v.note, v.version
         from variant v join pattern p on p.shop_id = v.shop_id and p.id = v.pattern_id
         where v.shop_id = $1 and ($2::uuid is null or v.id = $2) and ($3::uuid[] is null or v.pattern_id = any ($3))
         order by lower(p.name), lower(v.name)",
        shop,
        only,
        patterns as _
    )
    .fetch_all(tx.conn())
    .await?;
    let variants = rows.into_iter().map(|row| {
        let mut features = features.remove(&row.id).unwrap_or_default();
        features.sort_by(|a, b| a.place.cmp(&b.place));
        Variant {
            id: row.id,
            pattern_id: row.pattern_id,
            name: row.name,
            gearbox_under: row.gearbox_under,
            features,
            note: row.note,
            version: row.version,
        }
    });
    Ok(variants.collect())
}

/// Adds a variant with its features; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when the name is taken, [`DbError::Database`].
pub async fn insert_variant(tx: &mut ShopTx, variant: &Variant) -> Result<(), DbError> {
    sqlx::query!(
        "insert into variant (shop_id, id, pattern_id, name, gearbox_under, note) values ($1, $2, $3, $4, $5, $6)",
        tx.shop_id(),
        variant.id,
        variant.pattern_id,
        variant.name,
        variant.gearbox_under,
        variant.note,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    insert_features(tx, variant).await
}

/// Changes a variant and its features to what is given; `variant.version` is the version the editor saw.
/// The pattern it was cast from stays.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update_variant(tx: &mut ShopTx, variant: &Variant) -> Result<(), DbError> {
    let shop = tx.shop_id();
    let done = sqlx::query!(
        "update variant set name = $3, gearbox_under = $4, note = $5, version = version + 1
         where shop_id = $1 and id = $2 and version = $6",
        shop,
        variant.id,
        variant.name,
        variant.gearbox_under,
        variant.note,
        variant.version,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "the variant", self::variant(tx, variant.id)).await?;
    sqlx::query!(
        "delete from feature where shop_id = $1 and variant_id = $2",
        shop,
        variant.id
    )
    .execute(tx.conn())
    .await?;
    insert_features(tx, variant).await
}

async fn insert_features(tx: &mut ShopTx, variant: &Variant) -> Result<(), DbError> {
    let shop = tx.shop_id();
    for feature in &variant.features {
        sqlx::query!(
            "insert into feature (shop_id, variant_id, face, label, kind, x_mm, y_mm, size_mm, depth_mm, thread, fit, count, note)
             values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
            shop,
            variant.id,
            feature.place.face.code(),
            feature.place.label,
            feature.kind.code(),
            feature.at.map(|at| at.x.mm()),
            feature.at.map(|at| at.y.mm()),
            feature.size.mm(),
            feature.depth.map(|depth| depth.mm()),
            feature.thread.as_ref().map(ToString::to_string),
            feature.fit.as_ref().map(ToString::to_string),
            stored_count("count", feature.count)?,
            feature.note,
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(())
}

/// Copies a variant with its features under a new key and name.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Duplicate`] when the name is taken, [`DbError::Database`].
pub async fn copy_variant(
    tx: &mut ShopTx,
    id: Uuid,
    new_id: Uuid,
    name: &str,
) -> Result<(), DbError> {
    let copy = Variant {
        id: new_id,
        name: name.to_owned(),
        ..variant(tx, id).await?
    };
    insert_variant(tx, &copy).await
}

/// Deletes a variant that nothing refers to.
///
/// # Errors
/// [`DbError::InUse`], [`DbError::Stale`], [`DbError::Database`].
pub async fn delete_variant(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from variant where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await
    .map_err(still_needed)?
    .or_stale("the variant")
}

/// A stored designation.
fn parsed<T>(what: &'static str, text: &str) -> Result<T, DbError>
where
    T: std::str::FromStr,
    T::Err: std::fmt::Display,
{
    text.parse().map_err(|why: T::Err| DbError::Corrupt {
        what,
        why: why.to_string(),
    })
}
