//! Working time of the shop, its machines and its people: weekly shifts, holidays, stops.

use super::read::corrupt;
use super::rows::{Touched, broken};
use super::{DbError, ShopTx};
use crate::planning::{Calendar, Hours, Shift};
use chrono::{DateTime, NaiveDate, Utc, Weekday};
use chrono_tz::Tz;
use uuid::Uuid;

/// Whose time it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Owner {
    /// The shop: everyone and everything without shifts of its own.
    Shop,
    /// One machine.
    Machine(Uuid),
    /// One person.
    Person(Uuid),
}

impl Owner {
    fn from_columns(machine_id: Option<Uuid>, person_id: Option<Uuid>) -> Self {
        match (machine_id, person_id) {
            (Some(id), _) => Self::Machine(id),
            (None, Some(id)) => Self::Person(id),
            (None, None) => Self::Shop,
        }
    }

    fn machine_id(self) -> Option<Uuid> {
        match self {
            Self::Machine(id) => Some(id),
            _ => None,
        }
    }

    fn person_id(self) -> Option<Uuid> {
        match self {
            Self::Person(id) => Some(id),
            _ => None,
        }
    }
}

/// A weekly shift as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShiftRow {
    /// Key.
    pub id: Uuid,
    /// Whose.
    pub owner: Owner,
    /// When.
    pub shift: Shift,
    /// Grows by one with every edit.
    pub version: i32,
}

/// A day on which the shop does not work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holiday {
    /// Key.
    pub id: Uuid,
    /// The day.
    pub on: NaiveDate,
    /// Its name.
    pub name: String,
    /// Grows by one with every edit.
    pub version: i32,
}

/// A stretch without work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stop {
    /// Key.
    pub id: Uuid,
    /// Whose; the shop's stops stop everything.
    pub owner: Owner,
    /// From.
    pub starts_at: DateTime<Utc>,
    /// Until.
    pub ends_at: DateTime<Utc>,
    /// Why, in the shop's words.
    pub why: String,
    /// Grows by one with every edit.
    pub version: i32,
}

/// A stretch in which work is done whatever shifts and holidays say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Overtime {
    /// Key.
    pub id: Uuid,
    /// Whose. A person's opens the machines too, for somebody is there to run them; the shop's is everyone's.
    pub owner: Owner,
    /// From.
    pub starts_at: DateTime<Utc>,
    /// Until.
    pub ends_at: DateTime<Utc>,
    /// Why, in the shop's words.
    pub why: String,
    /// Grows by one with every edit.
    pub version: i32,
}

/// All working time of a shop, read at once: every calendar comes from it without another question to the database.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorkingTime {
    /// The shop's clock.
    pub zone: Tz,
    /// Shifts by weekday and start.
    pub shifts: Vec<ShiftRow>,
    /// Holidays by day.
    pub holidays: Vec<Holiday>,
    /// Stops by start.
    pub stops: Vec<Stop>,
    /// Overtime by start.
    pub overtime: Vec<Overtime>,
}

impl WorkingTime {
    /// The hours of an owner: its own shifts if it has any, else the shop's; the shop's holidays; the shop's stops and
    /// its own.
    #[must_use]
    pub fn hours(&self, owner: Owner) -> Hours {
        let of = |owner| -> Vec<Shift> {
            let own = self.shifts.iter().filter(|row| row.owner == owner);
            own.map(|row| row.shift).collect()
        };
        let mut shifts = of(owner);
        if shifts.is_empty() {
            shifts = of(Owner::Shop);
        }
        Hours {
            zone: self.zone,
            shifts,
            holidays: self.holidays.iter().map(|holiday| holiday.on).collect(),
            overtime: self
                .overtime
                .iter()
                .filter(|extra| match extra.owner {
                    Owner::Shop => true,
                    Owner::Person(_) => extra.owner == owner || matches!(owner, Owner::Machine(_)),
                    Owner::Machine(_) => extra.owner == owner,
                })
                .map(|extra| (extra.starts_at, extra.ends_at))
                .collect(),
            stops: self
                .stops
                .iter()
                .filter(|stop| stop.owner == owner || stop.owner == Owner::Shop)
                .map(|stop| (stop.starts_at, stop.ends_at))
                .collect(),
        }
    }

    /// The calendar of an owner over a horizon.
    #[must_use]
    pub fn calendar(&self, owner: Owner, from: DateTime<Utc>, until: DateTime<Utc>) -> Calendar {
        Calendar::build(&self.hours(owner), from, until)
    }
}

/// Everything about the shop's working time.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn read(tx: &mut ShopTx) -> Result<WorkingTime, DbError> {
    let shop = tx.shop_id();
    let zone = sqlx::query_scalar!("select time_zone from shop where shop_id = $1", shop)
        .fetch_one(tx.conn())
        .await?;
    let shifts = sqlx::query!(
        "select id, machine_id, person_id, weekday, starts, ends, version from shift
         where shop_id = $1 order by weekday, starts, id",
        shop
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(ShiftRow {
            id: row.id,
            owner: Owner::from_columns(row.machine_id, row.person_id),
            shift: Shift {
                weekday: weekday(row.weekday)?,
                start: row.starts,
                end: row.ends,
            },
            version: row.version,
        })
    })
    .collect::<Result<_, DbError>>()?;
    let holidays = sqlx::query_as!(
        Holiday,
        r#"select id, on_day as "on", name, version from holiday where shop_id = $1 order by on_day"#,
        shop
    )
    .fetch_all(tx.conn())
    .await?;
    let stops = sqlx::query!(
        "select id, machine_id, person_id, starts_at, ends_at, why, version from stop
         where shop_id = $1 order by starts_at, id",
        shop
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| Stop {
        id: row.id,
        owner: Owner::from_columns(row.machine_id, row.person_id),
        starts_at: row.starts_at,
        ends_at: row.ends_at,
        why: row.why,
        version: row.version,
    })
    .collect();
    let overtime = sqlx::query!(
        "select id, machine_id, person_id, starts_at, ends_at, why, version from overtime
         where shop_id = $1 order by starts_at, id",
        shop
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| Overtime {
        id: row.id,
        owner: Owner::from_columns(row.machine_id, row.person_id),
        starts_at: row.starts_at,
        ends_at: row.ends_at,
        why: row.why,
        version: row.version,
    })
    .collect();
    Ok(WorkingTime {
        zone: zone.parse().map_err(|why| corrupt("time zone", why))?,
        shifts,
        holidays,
        stops,
        overtime,
    })
}

/// Monday is 1, as in ISO 8601.
fn weekday(number: i32) -> Result<Weekday, DbError> {
    u8::try_from(number - 1)
        .ok()
        .and_then(|from_monday| Weekday::try_from(from_monday).ok())
        .ok_or_else(|| corrupt("weekday", number))
}

fn weekday_number(weekday: Weekday) -> i32 {
    i32::from(weekday.num_days_from_monday() as u8) + 1
}

/// Adds a shift; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when its owner has one starting then, [`DbError::NotFound`] for a strange owner,
/// [`DbError::Database`].
pub async fn insert_shift(tx: &mut ShopTx, row: &ShiftRow) -> Result<(), DbError> {
    sqlx::query!(
        "insert into shift (shop_id, id, machine_id, person_id, weekday, starts, ends)
         values ($1, $2, $3, $4, $5, $6, $7)",
        tx.shop_id(),
        row.id,
        row.owner.machine_id(),
        row.owner.person_id(),
        weekday_number(row.shift.weekday),
        row.shift.start,
        row.shift.end,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes when a shift is; `row.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], also when it is gone, [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update_shift(tx: &mut ShopTx, row: &ShiftRow) -> Result<(), DbError> {
    sqlx::query!(
        "update shift set weekday = $4, starts = $5, ends = $6, version = version + 1
         where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        row.id,
        row.version,
        weekday_number(row.shift.weekday),
        row.shift.start,
        row.shift.end,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?
    .or_stale("the shift")
}

/// Takes a shift out.
///
/// # Errors
/// [`DbError::Stale`], also when it is gone, [`DbError::Database`].
pub async fn delete_shift(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from shift where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("the shift")
}

/// Adds a holiday; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when that day is one already, [`DbError::Database`].
pub async fn insert_holiday(tx: &mut ShopTx, holiday: &Holiday) -> Result<(), DbError> {
    sqlx::query!(
        "insert into holiday (shop_id, id, on_day, name) values ($1, $2, $3, $4)",
        tx.shop_id(),
        holiday.id,
        holiday.on,
        holiday.name,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes a holiday; `holiday.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], also when it is gone, [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update_holiday(tx: &mut ShopTx, holiday: &Holiday) -> Result<(), DbError> {
    sqlx::query!(
        "update holiday set on_day = $4, name = $5, version = version + 1
         where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        holiday.id,
        holiday.version,
        holiday.on,
        holiday.name,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?
    .or_stale("the holiday")
}

/// Takes a holiday out.
///
/// # Errors
/// [`DbError::Stale`], also when it is gone, [`DbError::Database`].
pub async fn delete_holiday(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from holiday where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("the holiday")
}

/// Adds a stop; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::NotFound`] for a strange owner, [`DbError::Database`].
pub async fn insert_stop(tx: &mut ShopTx, stop: &Stop) -> Result<(), DbError> {
    sqlx::query!(
        "insert into stop (shop_id, id, machine_id, person_id, starts_at, ends_at, why)
         values ($1, $2, $3, $4, $5, $6, $7)",
        tx.shop_id(),
        stop.id,
        stop.owner.machine_id(),
        stop.owner.person_id(),
        stop.starts_at,
        stop.ends_at,
        stop.why,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes a stop; `stop.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], also when it is gone, [`DbError::NotFound`] for a strange owner,
/// [`DbError::Database`].
pub async fn update_stop(tx: &mut ShopTx, stop: &Stop) -> Result<(), DbError> {
    sqlx::query!(
        "update stop set machine_id = $4, person_id = $5, starts_at = $6, ends_at = $7, why = $8,
                version = version + 1
         where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        stop.id,
        stop.version,
        stop.owner.machine_id(),
        stop.owner.person_id(),
        stop.starts_at,
        stop.ends_at,
        stop.why,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?
    .or_stale("the stop")
}

/// Takes a stop out.
///
/// # Errors
/// [`DbError::Stale`], also when it is gone, [`DbError::Database`].
pub async fn delete_stop(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from stop where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("the stop")
}

/// Adds overtime; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::NotFound`] for a strange owner, [`DbError::Database`].
pub async fn insert_overtime(tx: &mut ShopTx, overtime: &Overtime) -> Result<(), DbError> {
    sqlx::query!(
        "insert into overtime (shop_id, id, machine_id, person_id, starts_at, ends_at, why)
         values ($1, $2, $3, $4, $5, $6, $7)",
        tx.shop_id(),
        overtime.id,
        overtime.owner.machine_id(),
        overtime.owner.person_id(),
        overtime.starts_at,
        overtime.ends_at,
        overtime.why,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Takes overtime back.
///
/// # Errors
/// [`DbError::Stale`], also when it is gone, [`DbError::Database`].
pub async fn delete_overtime(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from overtime where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("the overtime")
}
