//! Devices at the bench: tablets and phones the owner has registered, the PINs people sign on with there, and who
//! signed on where.

use super::people::{Role, role};
use super::rows::{Touched, broken};
use super::{DbError, ShopTx};
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

/// Wrong PINs at one device, without a right one between them, after which it is locked: one in a thousand of the
/// shortest PINs has then been tried.
pub const LOCKED_AFTER: i32 = 10;
/// A sign-on lasts this long: the longest working day, so that a device left lying is nobody's the next morning.
pub const SIGN_ON: TimeDelta = TimeDelta::hours(16);

/// A device that nothing was asked from for this long is known no more.
pub const UNUSED: TimeDelta = TimeDelta::days(90);

/// A device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// Key.
    pub id: Uuid,
    /// What the shop calls it.
    pub name: String,
    /// The machine it usually stands at.
    pub machine_id: Option<Uuid>,
    /// When it was registered.
    pub registered_at: DateTime<Utc>,
    /// When it last asked for anything, to the minute.
    pub last_seen_at: DateTime<Utc>,
    /// Since when it is locked because too many PINs were wrong.
    pub locked_at: Option<DateTime<Utc>>,
    /// When it stopped being known.
    pub revoked_at: Option<DateTime<Utc>>,
    /// Counts edits.
    pub version: i32,
}

/// A known device with what a screen must know of its shop.
#[derive(Debug, Clone)]
pub struct Known {
    /// The device.
    pub device: Device,
    /// The shop's name.
    pub shop_name: String,
    /// The shop's IANA time zone name.
    pub time_zone: String,
}

/// A person who can sign on at the bench: active, with a PIN.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BenchPerson {
    /// Key.
    pub id: Uuid,
    /// Name as spoken.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// What they can do, as operations ask for it.
    pub skills: Vec<String>,
    /// Argon2id in PHC string form.
    pub pin_hash: String,
}

/// A person signed on at a device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignOn {
    /// Key; the device sends it with every entry.
    pub id: Uuid,
    /// Who.
    pub person_id: Uuid,
    /// Their name.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// What they can do.
    pub skills: Vec<String>,
    /// Since when.
    pub at: DateTime<Utc>,
}

/// Registers a device; only the hash of its token is kept.
///
/// # Errors
/// [`DbError::Duplicate`] on `name`, [`DbError::Database`].
pub async fn register(
    tx: &mut ShopTx,
    name: &str,
    machine_id: Option<Uuid>,
    token_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<Uuid, DbError> {
    let id = Uuid::now_v7();
    let by = tx.person_id();
    sqlx::query!(
        "insert into device (shop_id, id, name, token_hash, machine_id, registered_at, registered_by, last_seen_at)
         values ($1, $2, $3, $4, $5, $6, $7, $6)",
        tx.shop_id(),
        id,
        name,
        token_hash,
        machine_id,
        now,
        by,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(id)
}

/// Every device, those in use first, the newest first.
///
/// # Errors
/// [`DbError::Database`].
pub async fn list(tx: &mut ShopTx) -> Result<Vec<Device>, DbError> {
    Ok(sqlx::query_as!(
        Device,
        "select id, name, machine_id, registered_at, last_seen_at, locked_at, revoked_at, version from device
         where shop_id = $1 order by revoked_at nulls first, registered_at desc, id",
        tx.shop_id()
    )
    .fetch_all(tx.conn())
    .await?)
}

/// The device behind a token, if it is still known and was used within [`UNUSED`]. Notes at most once a minute that it was seen.
///
/// # Errors
/// [`DbError::Database`].
pub async fn find(
    tx: &mut ShopTx,
    token_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<Option<Known>, DbError> {
    let Some(row) = sqlx::query!(
        "select d.id, d.name, d.machine_id, d.registered_at, d.last_seen_at, d.locked_at, d.revoked_at, d.version,
                shop.name as shop_name, shop.time_zone
         from device d join shop on shop.shop_id = d.shop_id
         where d.shop_id = $1 and d.token_hash = $2 and d.revoked_at is null and d.last_seen_at > $3",
        tx.shop_id(),
        token_hash,
        now - UNUSED
    )
    .fetch_optional(tx.conn())
    .await?
    else {
        return Ok(None);
    };
    if now - row.last_seen_at > TimeDelta::minutes(1) {
        sqlx::query!(
            "update device set last_seen_at = $3 where shop_id = $1 and id = $2",
            tx.shop_id(),
            row.id,
            now
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(Some(Known {
        device: Device {
            id: row.id,
            name: row.name,
            machine_id: row.machine_id,
            registered_at: row.registered_at,
            last_seen_at: row.last_seen_at,
            locked_at: row.locked_at,
            revoked_at: row.revoked_at,
            version: row.version,
        },
        shop_name: row.shop_name,
        time_zone: row.time_zone,
    }))
}

/// Gives a known device the name and usual machine that `device` has; `device.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], also when it is known no more; [`DbError::Duplicate`] on `name`; [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, device: &Device) -> Result<(), DbError> {
    sqlx::query!(
        "update device set name = $4, machine_id = $5, version = version + 1
         where shop_id = $1 and id = $2 and version = $3 and revoked_at is null",
        tx.shop_id(),
        device.id,
        device.version,
        device.name,
        device.machine_id,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?
    .or_stale("the device")
}

/// Makes a device a stranger again, and signs off whoever is signed on there.
///
/// # Errors
/// [`DbError::NotFound`] when it is none of the known ones, [`DbError::Database`].
pub async fn revoke(tx: &mut ShopTx, id: Uuid, now: DateTime<Utc>) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update device set revoked_at = $3 where shop_id = $1 and id = $2 and revoked_at is null",
        tx.shop_id(),
        id,
        now
    )
    .execute(tx.conn())
    .await?;
    done.or_missing("this device")?;
    end_sign_ons(tx, id, now).await
}

/// Lets PINs be tried again at a locked device.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn unlock(tx: &mut ShopTx, id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "update device set locked_at = null, pin_failures = 0
         where shop_id = $1 and id = $2 and revoked_at is null",
        tx.shop_id(),
        id
    )
    .execute(tx.conn())
    .await?
    .or_missing("this device")
}

/// Sets a person's PIN.
///
/// # Errors
/// [`DbError::Database`], also when there is no such person.
pub async fn set_pin(
    tx: &mut ShopTx,
    person_id: Uuid,
    pin_hash: &str,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    sqlx::query!(
        "insert into bench_pin (shop_id, person_id, pin_hash, set_at) values ($1, $2, $3, $4)
         on conflict (shop_id, person_id) do update set pin_hash = excluded.pin_hash, set_at = excluded.set_at",
        tx.shop_id(),
        person_id,
        pin_hash,
        now
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// When a person's PIN was set, if they have one.
///
/// # Errors
/// [`DbError::Database`].
pub async fn pin_set_at(
    tx: &mut ShopTx,
    person_id: Uuid,
) -> Result<Option<DateTime<Utc>>, DbError> {
    Ok(sqlx::query_scalar!(
        "select set_at from bench_pin where shop_id = $1 and person_id = $2",
        tx.shop_id(),
        person_id
    )
    .fetch_optional(tx.conn())
    .await?)
}

/// Everyone who can sign on at the bench, by name.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn bench_people(tx: &mut ShopTx) -> Result<Vec<BenchPerson>, DbError> {
    let rows = sqlx::query!(
        "select p.id, p.name, p.role, p.skills, pin.pin_hash
         from person p join bench_pin pin on pin.shop_id = p.shop_id and pin.person_id = p.id
         where p.shop_id = $1 and p.active order by p.name, p.id",
        tx.shop_id()
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(BenchPerson {
                id: row.id,
                name: row.name,
                role: role(&row.role)?,
                skills: row.skills,
                pin_hash: row.pin_hash,
            })
        })
        .collect()
}

/// Counts a try at a PIN before it is looked at, so that many tries at once do not slip past the count. Gives whether
/// it may be tried; at [`LOCKED_AFTER`] the device locks.
///
/// # Errors
/// [`DbError::Database`].
pub async fn count_try(
    tx: &mut ShopTx,
    device_id: Uuid,
    now: DateTime<Utc>,
) -> Result<bool, DbError> {
    let counted = sqlx::query!(
        "update device set pin_failures = pin_failures + 1,
                locked_at = case when pin_failures + 1 >= $3 then $4::timestamptz end
         where shop_id = $1 and id = $2 and locked_at is null and revoked_at is null",
        tx.shop_id(),
        device_id,
        LOCKED_AFTER,
        now
    )
    .execute(tx.conn())
    .await?;
    Ok(counted.rows_affected() == 1)
}

/// Signs a person on whose PIN was right: whoever was signed on at the device is signed off, and its wrong tries are
/// forgotten.
///
/// # Errors
/// [`DbError::Database`].
pub async fn sign_on(
    tx: &mut ShopTx,
    device_id: Uuid,
    person_id: Uuid,
    now: DateTime<Utc>,
) -> Result<Uuid, DbError> {
    unlock(tx, device_id).await?;
    end_sign_ons(tx, device_id, now).await?;
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into sign_on (shop_id, id, device_id, person_id, at, until) values ($1, $2, $3, $4, $5, $6)",
        tx.shop_id(),
        id,
        device_id,
        person_id,
        now,
        now + SIGN_ON
    )
    .execute(tx.conn())
    .await?;
    Ok(id)
}

/// Signs off whoever is signed on at a device.
///
/// # Errors
/// [`DbError::Database`].
pub async fn end_sign_ons(
    tx: &mut ShopTx,
    device_id: Uuid,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    sqlx::query!(
        "update sign_on set ended_at = $3
         where shop_id = $1 and device_id = $2 and ended_at is null and until > $3",
        tx.shop_id(),
        device_id,
        now
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Who is signed on at a device.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn signed_on(
    tx: &mut ShopTx,
    device_id: Uuid,
    now: DateTime<Utc>,
) -> Result<Option<SignOn>, DbError> {
    let row = sqlx::query!(
        "select s.id, s.person_id, s.at, p.name, p.role, p.skills
         from sign_on s join person p on p.shop_id = s.shop_id and p.id = s.person_id
         where s.shop_id = $1 and s.device_id = $2 and s.ended_at is null and s.until > $3 and p.active
         order by s.at desc limit 1",
        tx.shop_id(),
        device_id,
        now
    )
    .fetch_optional(tx.conn())
    .await?;
    row.map(|row| {
        Ok(SignOn {
            id: row.id,
            person_id: row.person_id,
            name: row.name,
            role: role(&row.role)?,
            skills: row.skills,
            at: row.at,
        })
    })
    .transpose()
}

/// Whose entries a sign-on at this device stands for, and from when until when they may have been made: to the end of
/// the sign-on, whenever they arrive.
///
/// # Errors
/// [`DbError::Database`].
pub async fn sign_on_span(
    tx: &mut ShopTx,
    device_id: Uuid,
    id: Uuid,
) -> Result<Option<(Uuid, DateTime<Utc>, DateTime<Utc>)>, DbError> {
    let row = sqlx::query!(
        r#"select person_id, at, coalesce(ended_at, until) as "until!" from sign_on
           where shop_id = $1 and id = $2 and device_id = $3"#,
        tx.shop_id(),
        id,
        device_id
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(row.map(|row| (row.person_id, row.at, row.until)))
}
