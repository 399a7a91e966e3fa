//! The shop's remedy table: rules in the order they are tried.

use super::read::word;
use super::rows::{Touched, broken, changed};
use super::{DbError, ShopTx};
use crate::castings::{Face, FeatureKind, RemedyRule};
use crate::units::{Code, Length};
use uuid::Uuid;

/// All rules, in the order they are tried.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(tx: &mut ShopTx) -> Result<Vec<RemedyRule>, DbError> {
    read(tx, None).await
}

/// One rule.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<RemedyRule, DbError> {
    let found = read(tx, Some(id)).await?.into_iter().next();
    found.ok_or(DbError::NotFound("the rule"))
}

async fn read(tx: &mut ShopTx, only: Option<Uuid>) -> Result<Vec<RemedyRule>, DbError> {
    let rows = sqlx::query!(
        "select id, priority, name, applies_when, kind, face, smallest_mm, largest_mm, gearbox_under, action, elements, say, version
         from remedy_rule where shop_id = $1 and ($2::uuid is null or id = $2) order by priority, lower(name)",
        tx.shop_id(),
        only
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(RemedyRule {
                id: row.id,
                priority: row.priority,
                name: row.name,
                when: word("case of a rule", &row.applies_when)?,
                kind: row
                    .kind
                    .map(|kind| word("kind of feature", &kind))
                    .transpose()?,
                face: row.face.map(|face| word("face", &face)).transpose()?,
                smallest: row.smallest_mm.map(Length::from_mm),
                largest: row.largest_mm.map(Length::from_mm),
                gearbox_under: row.gearbox_under,
                action: word("action", &row.action)?,
                elements: row.elements,
                say: row.say,
                version: row.version,
            })
        })
        .collect()
}

/// Adds a rule; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when the name is taken, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, rule: &RemedyRule) -> Result<(), DbError> {
    sqlx::query!(
        "insert into remedy_rule (shop_id, id, priority, name, applies_when, kind, face, smallest_mm, largest_mm,
                                  gearbox_under, action, elements, say)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
        tx.shop_id(),
        rule.id,
        rule.priority,
        rule.name,
        rule.when.code(),
        rule.kind.map(FeatureKind::code),
        rule.face.map(Face::code),
        rule.smallest.map(|size| size.mm()),
        rule.largest.map(|size| size.mm()),
        rule.gearbox_under,
        rule.action.code(),
        &rule.elements,
        rule.say,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes a rule; `rule.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, rule: &RemedyRule) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update remedy_rule set priority = $3, name = $4, applies_when = $5, kind = $6, face = $7, smallest_mm = $8,
                largest_mm = $9, gearbox_under = $10, action = $11, elements = $12, say = $13, version = version + 1
         where shop_id = $1 and id = $2 and version = $14",
        tx.shop_id(),
        rule.id,
        rule.priority,
        rule.name,
        rule.when.code(),
        rule.kind.map(FeatureKind::code),
        rule.face.map(Face::code),
        rule.smallest.map(|size| size.mm()),
        rule.largest.map(|size| size.mm()),
        rule.gearbox_under,
        rule.action.code(),
        &rule.elements,
        rule.say,
        rule.version,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "the rule", get(tx, rule.id)).await
}

/// Puts the rules in this order and numbers them 10, 20, 30 …; rules not named keep their order after them.
///
/// # Errors
/// [`DbError::Database`].
pub async fn reorder(tx: &mut ShopTx, in_order: &[Uuid]) -> Result<(), DbError> {
    sqlx::query!(
        "update remedy_rule r set priority = n.priority, version = version + 1
         from (select id, 10 * row_number() over (order by array_position($2::uuid[], id), priority, lower(name)) as priority
               from remedy_rule where shop_id = $1) n
         where r.shop_id = $1 and r.id = n.id and r.priority <> n.priority",
        tx.shop_id(),
        in_order,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Copies a rule under a new key and name; it is tried right after the one it was copied from, where priorities tie by name.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Duplicate`] when the name is taken, [`DbError::Database`].
pub async fn copy(tx: &mut ShopTx, id: Uuid, new_id: Uuid, name: &str) -> Result<(), DbError> {
    let copy = RemedyRule {
        id: new_id,
        name: name.to_owned(),
        ..get(tx, id).await?
    };
    insert(tx, &copy).await
}

/// Deletes a rule.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn delete(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from remedy_rule where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("the rule")
}
