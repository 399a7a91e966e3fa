//! What the shop does about cracks, by where they are.

use super::read::word;
use super::rows::{Touched, broken, changed};
use super::{DbError, ShopTx};
use crate::enquiry::CrackRepair;
use crate::units::Code;
use uuid::Uuid;

/// All of them, by place.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(tx: &mut ShopTx) -> Result<Vec<CrackRepair>, DbError> {
    read(tx, None).await
}

/// One of them.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<CrackRepair, DbError> {
    let found = read(tx, Some(id)).await?.into_iter().next();
    found.ok_or(DbError::NotFound("the crack repair"))
}

async fn read(tx: &mut ShopTx, only: Option<Uuid>) -> Result<Vec<CrackRepair>, DbError> {
    let rows = sqlx::query!(
        "select id, place, repaired, elements, say, version from crack_repair
         where shop_id = $1 and ($2::uuid is null or id = $2) order by place",
        tx.shop_id(),
        only
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(CrackRepair {
                id: row.id,
                place: word("place of a crack", &row.place)?,
                repaired: row.repaired,
                elements: row.elements,
                say: row.say,
                version: row.version,
            })
        })
        .collect()
}

/// Adds one; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when there is one for the place, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, repair: &CrackRepair) -> Result<(), DbError> {
    sqlx::query!(
        "insert into crack_repair (shop_id, id, place, repaired, elements, say) values ($1, $2, $3, $4, $5, $6)",
        tx.shop_id(),
        repair.id,
        repair.place.code(),
        repair.repaired,
        &repair.elements,
        repair.say,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes one; `repair.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, repair: &CrackRepair) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update crack_repair set place = $3, repaired = $4, elements = $5, say = $6, version = version + 1
         where shop_id = $1 and id = $2 and version = $7",
        tx.shop_id(),
        repair.id,
        repair.place.code(),
        repair.repaired,
        &repair.elements,
        repair.say,
        repair.version,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "the crack repair", get(tx, repair.id)).await
}

/// Removes one.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn delete(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from crack_repair where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("the crack repair")
}
