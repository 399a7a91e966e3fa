//! What people decide about the plan by hand: pins, holds, orders, what comes first, slots held for quotes.

use super::{DbError, Refusal, ShopTx, jobs};
use crate::planning::floor::Pin;
use chrono::NaiveDate;
use uuid::Uuid;

/// Pins an operation that is not done, in place of the pin it has.
///
/// # Errors
/// [`DbError::Refused`] when it is done or its job closed, [`DbError::NotFound`] when it, the machine or the
/// person is not there, [`DbError::Database`].
pub async fn pin(tx: &mut ShopTx, operation_id: Uuid, pin: &Pin) -> Result<(), DbError> {
    let standing = sqlx::query!(
        "select o.state as operation, j.state as job
         from job_operation o join job j on j.shop_id = o.shop_id and j.id = o.job_id
         where o.shop_id = $1 and o.id = $2 for update of o",
        tx.shop_id(),
        operation_id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this operation"))?;
    if standing.operation != "queued" || standing.job != "open" {
        return Err(Refusal::Begun.into());
    }
    sqlx::query!(
        "insert into pin (shop_id, id, machine_id, person_id, starts_at) values ($1, $2, $3, $4, $5)
         on conflict (shop_id, id) do update
         set machine_id = $3, person_id = $4, starts_at = $5, version = pin.version + 1",
        tx.shop_id(),
        operation_id,
        pin.machine,
        pin.person,
        pin.start,
    )
    .execute(tx.conn())
    .await
    .map_err(strange)?;
    Ok(())
}

/// Takes the pin of an operation out; nothing happens when it has none.
///
/// # Errors
/// [`DbError::Database`].
pub async fn unpin(tx: &mut ShopTx, operation_id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "delete from pin where shop_id = $1 and id = $2",
        tx.shop_id(),
        operation_id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Hands work that was begun over to somebody, or back to whoever is at it by the bookings.
///
/// # Errors
/// [`DbError::Refused`] when it has not begun or is done, [`DbError::NotFound`], [`DbError::Database`].
pub async fn hand_over(
    tx: &mut ShopTx,
    operation_id: Uuid,
    person: Option<Uuid>,
) -> Result<(), DbError> {
    let begun = sqlx::query!(
        "select person_id, state from job_operation where shop_id = $1 and id = $2 for update",
        tx.shop_id(),
        operation_id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this operation"))?;
    if begun.state != "started" {
        return Err(Refusal::NotBegun.into());
    }
    match person.filter(|person| begun.person_id != Some(*person)) {
        Some(person) => {
            sqlx::query!(
                "insert into hand_over (shop_id, id, person_id) values ($1, $2, $3)
                 on conflict (shop_id, id) do update set person_id = $3, version = hand_over.version + 1",
                tx.shop_id(),
                operation_id,
                person,
            )
            .execute(tx.conn())
            .await
            .map_err(strange)?;
        }
        None => {
            sqlx::query!(
                "delete from hand_over where shop_id = $1 and id = $2",
                tx.shop_id(),
                operation_id
            )
            .execute(tx.conn())
            .await?;
        }
    }
    Ok(())
}

/// Puts an operation behind another that is still to be done; nothing happens when it is behind it already.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn put_behind(tx: &mut ShopTx, operation_id: Uuid, behind: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "insert into put_behind (shop_id, id, behind_id) values ($1, $2, $3) on conflict do nothing",
        tx.shop_id(),
        operation_id,
        behind,
    )
    .execute(tx.conn())
    .await
    .map_err(|error| match error.as_database_error() {
        Some(db) if db.is_foreign_key_violation() => DbError::NotFound("this operation"),
        _ => error.into(),
    })?;
    Ok(())
}

/// Leaves the order of two operations to the plan again; nothing happens when it was not decided.
///
/// # Errors
/// [`DbError::Database`].
pub async fn not_behind(tx: &mut ShopTx, operation_id: Uuid, behind: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "delete from put_behind where shop_id = $1 and id = $2 and behind_id = $3",
        tx.shop_id(),
        operation_id,
        behind,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Holds an open job back for a reason, in place of the reason it has.
///
/// # Errors
/// [`DbError::Refused`] when it is closed, [`DbError::NotFound`], [`DbError::Database`].
pub async fn hold(tx: &mut ShopTx, job_id: Uuid, reason: &str) -> Result<(), DbError> {
    jobs::open(tx, job_id).await?;
    sqlx::query!(
        "insert into job_hold (shop_id, id, reason) values ($1, $2, $3)
         on conflict (shop_id, id) do update set reason = $3, version = job_hold.version + 1",
        tx.shop_id(),
        job_id,
        reason,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Lets a held job go on; nothing happens when it is not held.
///
/// # Errors
/// [`DbError::Database`].
pub async fn release(tx: &mut ShopTx, job_id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "delete from job_hold where shop_id = $1 and id = $2",
        tx.shop_id(),
        job_id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Puts an open job before all others, those put first earlier included.
///
/// # Errors
/// [`DbError::Refused`] when it is closed, [`DbError::NotFound`], [`DbError::Database`].
pub async fn put_first(tx: &mut ShopTx, job_id: Uuid) -> Result<(), DbError> {
    let before = sqlx::query_scalar!(
        "select min(place) from job_first where shop_id = $1 and id <> $2",
        tx.shop_id(),
        job_id
    )
    .fetch_one(tx.conn())
    .await?;
    put_at(tx, job_id, before.map_or(0, |place| place - 1)).await
}

/// Puts an open job before all others at a stated place among those put first, the lowest before the rest.
///
/// # Errors
/// [`DbError::Refused`] when it is closed, [`DbError::NotFound`], [`DbError::Database`].
pub async fn put_at(tx: &mut ShopTx, job_id: Uuid, place: i64) -> Result<(), DbError> {
    jobs::open(tx, job_id).await?;
    sqlx::query!(
        "insert into job_first (shop_id, id, place) values ($1, $2, $3)
         on conflict (shop_id, id) do update set place = $3, version = job_first.version + 1",
        tx.shop_id(),
        job_id,
        place,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Lets a job take its turn again; nothing happens when it was not put first.
///
/// # Errors
/// [`DbError::Database`].
pub async fn not_first(tx: &mut ShopTx, job_id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "delete from job_first where shop_id = $1 and id = $2",
        tx.shop_id(),
        job_id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Reserves the slot of a quote in the plan until the end of a day, in place of the day it is reserved until. Whether it
/// may be is [`crate::enquiry::quote::Quote::check_slot`]'s to say.
///
/// # Errors
/// [`DbError::Database`].
pub async fn hold_slot(tx: &mut ShopTx, quote_id: Uuid, until: NaiveDate) -> Result<(), DbError> {
    sqlx::query!(
        "insert into held_slot (shop_id, id, until) values ($1, $2, $3)
         on conflict (shop_id, id) do update set until = $3, version = held_slot.version + 1",
        tx.shop_id(),
        quote_id,
        until,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Until when a quote holds its slot.
///
/// # Errors
/// [`DbError::Database`].
pub async fn slot_held_until(
    tx: &mut ShopTx,
    quote_id: Uuid,
) -> Result<Option<NaiveDate>, DbError> {
    Ok(sqlx::query_scalar!(
        "select until from held_slot where shop_id = $1 and id = $2",
        tx.shop_id(),
        quote_id
    )
    .fetch_optional(tx.conn())
    .await?)
}

/// Gives the slot of a quote up; nothing happens when it holds none.
///
/// # Errors
/// [`DbError::Database`].
pub async fn drop_slot(tx: &mut ShopTx, quote_id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "delete from held_slot where shop_id = $1 and id = $2",
        tx.shop_id(),
        quote_id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Gives up the slots that were held until before `today`; says how many.
///
/// # Errors
/// [`DbError::Database`].
pub async fn lapse_slots(tx: &mut ShopTx, today: NaiveDate) -> Result<u64, DbError> {
    Ok(sqlx::query!(
        "delete from held_slot where shop_id = $1 and until < $2",
        tx.shop_id(),
        today
    )
    .execute(tx.conn())
    .await?
    .rows_affected())
}

fn strange(error: sqlx::Error) -> DbError {
    match error.as_database_error() {
        Some(db) if db.is_foreign_key_violation() => {
            DbError::NotFound("the machine or person it is pinned to")
        }
        Some(db) if db.is_check_violation() => DbError::Refused(Refusal::EmptyPin),
        _ => error.into(),
    }
}
