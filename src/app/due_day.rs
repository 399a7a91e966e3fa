//! Whether a due date is likely meant: past days, closed days and days after the promise are questioned.

use crate::db::calendars::{self, Owner};
use crate::db::{DbError, ShopTx};
use crate::jobs::{DayInShop, DueDoubt, due_doubts};
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// The doubts about a due date; `today` is the shop's calendar day. A shop that has set no shifts is never closed.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn doubts(
    tx: &mut ShopTx,
    due_on: NaiveDate,
    promised_on: Option<NaiveDate>,
    today: NaiveDate,
) -> Result<Vec<DueDoubt>, DbError> {
    let time = calendars::read(tx).await?;
    let holiday = time.holidays.iter().find(|holiday| holiday.on == due_on);
    let of_shifts = time.shifts.iter().map(|shift| shift.owner);
    let mut owners: BTreeSet<Owner> = of_shifts.collect();
    let says_nothing = owners.is_empty();
    owners.extend(time.overtime.iter().map(|overtime| overtime.owner));
    let worked = says_nothing && holiday.is_none()
        || owners
            .into_iter()
            .any(|owner| time.hours(owner).works_on(due_on));
    let day = DayInShop {
        holiday: holiday.map(|holiday| holiday.name.clone()),
        worked,
    };
    Ok(due_doubts(due_on, promised_on, &day, today))
}
