//! Time booked at the bench or entered by the office: an entry is booked once however often it arrives, checked for
//! conflicts, and the state of its operation follows from it.

use super::{Actor, AppError, Refusal, once};
use crate::db::api_requests::Keyed;
use crate::db::bookings::{self, NewBooking};
use crate::db::people::{self, Role};
use crate::db::{DbError, ShopTx, devices, jobs, work_list};
use crate::shopfloor::{self, BookingRefusal, Conflict, Kind};
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

/// What became of an entry that arrived.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Recorded {
    /// It is booked.
    Taken(Option<Conflict>),
    /// It had arrived before.
    Again(Option<Conflict>),
}

impl Recorded {
    /// What it was in conflict with when it first arrived.
    #[must_use]
    pub fn conflict(self) -> Option<Conflict> {
        let (Self::Taken(conflict) | Self::Again(conflict)) = self;
        conflict
    }
}

/// Books an entry, once however often it arrives, and brings the state of its operation up to date. Entries of a closed
/// job are booked with their conflict, and the job stays as it is.
///
/// # Errors
/// [`Refusal::Booking`] when the key was used for something else or the entry corrects nothing of its operation;
/// [`AppError::Db`], as [`DbError::NotFound`] when there is no such operation or machine.
pub async fn book(actor: &Actor, new: &NewBooking) -> Result<Recorded, AppError> {
    actor
        .transact(Role::Machinist, async |tx| book_within(tx, new).await)
        .await
}

/// The same within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`book`].
pub async fn book_within(tx: &mut ShopTx, new: &NewBooking) -> Result<Recorded, AppError> {
    let found = bookings::situation(tx, new.operation_id).await?;
    if let Some(earlier) = bookings::earlier(tx, new.id).await? {
        let same = earlier.kind == new.kind
            && earlier.operation_id == new.operation_id
            && earlier.person_id == new.person_id
            && (earlier.device_at - new.device_at).abs() < TimeDelta::milliseconds(1);
        if !same {
            return Err(Refusal::from(BookingRefusal::KeyUsed).into());
        }
        return Ok(Recorded::Again(earlier.conflict));
    }
    match new.corrects {
        Some(corrects) if !bookings::is_of_operation(tx, corrects, new.operation_id).await? => {
            return Err(Refusal::from(BookingRefusal::CorrectsOtherOperation).into());
        }
        None if new.kind.corrects() => {
            return Err(Refusal::from(BookingRefusal::CorrectsNothing).into());
        }
        Some(_) | None => {}
    }
    let conflict = shopfloor::conflict(new.kind, found);
    bookings::insert(tx, new, conflict).await?;
    if found.job_is_open {
        follow(tx, new.operation_id).await?;
    }
    Ok(Recorded::Taken(conflict))
}

/// Brings the state of an operation up to date with its entries.
async fn follow(tx: &mut ShopTx, operation_id: Uuid) -> Result<(), DbError> {
    let booked = bookings::of_operations(tx, &[operation_id]).await?;
    let entries: Vec<_> = booked.into_iter().map(|booking| booking.entry).collect();
    bookings::set_course(tx, operation_id, &shopfloor::course(&entries)).await
}

/// Books an entry and, when it starts something, pauses first what its person attends elsewhere in another setup. The
/// script of a device says the same with entries of its own.
///
/// # Errors
/// As [`book`].
pub async fn book_and_pause_others(actor: &Actor, new: &NewBooking) -> Result<Recorded, AppError> {
    actor
        .transact(Role::Machinist, async |tx| pausing_others(tx, new).await)
        .await
}

async fn pausing_others(tx: &mut ShopTx, new: &NewBooking) -> Result<Recorded, AppError> {
    if new.kind.starts() {
        pause_others(tx, new).await?;
    }
    book_within(tx, new).await
}

/// An entry that a program makes, and when it happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Entered {
    /// Its key.
    pub id: Uuid,
    /// When it happened.
    pub at: DateTime<Utc>,
    /// What it does not agree with.
    pub conflict: Option<Conflict>,
}

/// The same, once under a key. Sent again, it happened when it was sent first.
///
/// # Errors
/// As [`book`]; [`AppError::KeyUsed`].
pub async fn book_once(
    actor: &Actor,
    new: &NewBooking,
    keyed: Option<&Keyed>,
) -> Result<Entered, AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            if let Some(id) = once::claim(tx, new.id, keyed).await? {
                let earlier = bookings::earlier(tx, id).await?;
                let earlier = earlier.ok_or(DbError::NotFound("this booking"))?;
                return Ok(Entered {
                    id,
                    at: earlier.device_at,
                    conflict: earlier.conflict,
                });
            }
            let recorded = pausing_others(tx, new).await?;
            Ok(Entered {
                id: new.id,
                at: new.at,
                conflict: recorded.conflict(),
            })
        })
        .await
}

async fn pause_others(tx: &mut ShopTx, new: &NewBooking) -> Result<(), AppError> {
    let live = bookings::live(tx).await?;
    let entries: Vec<_> = live.iter().map(|b| b.entry).collect();
    let clocks = shopfloor::clocks(&entries);
    let attended = shopfloor::attended_elsewhere(&clocks, new.person_id, new.operation_id);
    if attended.is_empty() {
        return Ok(());
    }
    let mut keys = attended.clone();
    keys.push(new.operation_id);
    let waiting = work_list::waiting(tx, None, Some(&keys)).await?;
    let setup = |id| {
        let found = waiting.iter().find(|w| w.id == id);
        found.map(|w| w.planned.setup_key.as_str())
    };
    for operation_id in attended {
        if !shopfloor::pauses(setup(new.operation_id), setup(operation_id)) {
            continue;
        }
        let pause = NewBooking {
            id: Uuid::now_v7(),
            kind: Kind::Pause,
            operation_id,
            corrects: None,
            reason: None,
            ..new.clone()
        };
        book_within(tx, &pause).await?;
    }
    Ok(())
}

/// When and by whom an entry of a device was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Made {
    /// The person who was signed on.
    pub person_id: Uuid,
    /// When it happened, by this server's clock.
    pub at: DateTime<Utc>,
}

/// Why an entry of a device is nobody's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unattended {
    /// Nobody signed on at the device under that sign-on.
    NobodySignedOn,
    /// It is from a time when the person was not signed on there.
    OutsideSignOn,
}

/// The times of an entry by the clock of its device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamps {
    /// When it was made, by the device's clock.
    pub device_at: DateTime<Utc>,
    /// When it was sent, by the device's clock.
    pub sent_at: DateTime<Utc>,
    /// When it arrived, by this server's clock.
    pub received_at: DateTime<Utc>,
}

/// Who made an entry of a device, and when. One that `answers` a question may be from before the sign-on.
///
/// # Errors
/// [`AppError::Db`].
pub async fn made_by(
    actor: &Actor,
    device_id: Uuid,
    sign_on: Uuid,
    stamps: Stamps,
    answers: bool,
) -> Result<Result<Made, Unattended>, AppError> {
    let mut tx = actor.begin().await?;
    let Some((person_id, from, until)) = devices::sign_on_span(&mut tx, device_id, sign_on).await?
    else {
        return Ok(Err(Unattended::NobodySignedOn));
    };
    let at = shopfloor::true_time(stamps.device_at, stamps.sent_at, stamps.received_at);
    if !shopfloor::while_signed_on(at, from, until, answers) {
        return Ok(Err(Unattended::OutsideSignOn));
    }
    Ok(Ok(Made { person_id, at }))
}

/// An entry that the office makes for somebody.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ByHand {
    /// Its key, made with the form.
    pub id: Uuid,
    /// The operation.
    pub operation_id: Uuid,
    /// Whose time it is.
    pub person_id: Uuid,
    /// What it says.
    pub kind: Kind,
    /// When it happened.
    pub at: DateTime<Utc>,
    /// Why it was not entered at the bench.
    pub reason: String,
}

/// Books an entry that the office makes for somebody; returns the job it belongs to.
///
/// # Errors
/// [`AppError::NotAllowed`]; as [`book`]; [`DbError::NotFound`] when there is no such person.
pub async fn add_by_hand(
    actor: &Actor,
    entry: ByHand,
    now: DateTime<Utc>,
) -> Result<Uuid, AppError> {
    let entered_by = actor.person()?;
    actor
        .transact(Role::Office, async |tx| {
            let (job, _) = jobs::operation(tx, entry.operation_id).await?;
            let person = people::get(tx, entry.person_id).await?;
            let new = NewBooking {
                id: entry.id,
                kind: entry.kind,
                operation_id: entry.operation_id,
                machine_id: None,
                person_id: person.id,
                entered_by,
                device_id: None,
                at: entry.at,
                device_at: entry.at,
                received_at: now,
                corrects: None,
                reason: Some(entry.reason),
            };
            book_within(tx, &new).await?;
            Ok(job.id)
        })
        .await
}

/// A correction that the office makes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Correction {
    /// Its key, made with the form.
    pub id: Uuid,
    /// [`Kind::Moved`], [`Kind::Struck`] or [`Kind::Stands`].
    pub kind: Kind,
    /// The right time, for [`Kind::Moved`].
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: String,
}

/// Corrects an entry by another that points at it, for the office; once under a key.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::KeyUsed`]; as [`book`].
pub async fn correct(
    actor: &Actor,
    entry: &shopfloor::Entry,
    correction: Correction,
    now: DateTime<Utc>,
    keyed: Option<&Keyed>,
) -> Result<(), AppError> {
    let new = NewBooking {
        id: correction.id,
        kind: correction.kind,
        operation_id: entry.operation,
        machine_id: entry.machine,
        person_id: entry.person,
        entered_by: actor.person()?,
        device_id: None,
        at: correction.at,
        device_at: correction.at,
        received_at: now,
        corrects: Some(entry.id),
        reason: Some(correction.reason),
    };
    actor
        .transact(Role::Office, async |tx| {
            if once::claim(tx, new.id, keyed).await?.is_none() {
                book_within(tx, &new).await?;
            }
            Ok(())
        })
        .await
}
