//! Everything on the floor that waits for the office: forgotten clocks, conflicting bookings, holds, calls to customers,
//! and what a device sent that could not be booked.

use super::booked_hours::{self, Question};
use crate::db::bookings::{self, Booking, SetAside};
use crate::db::checks::{self, Hold};
use crate::db::holds::{self, Call};
use crate::db::{DbError, ShopTx};
use chrono::{DateTime, Utc};

/// What waits for the office.
#[derive(Debug, Clone, PartialEq)]
pub struct Open {
    /// Clocks that ran past the end of a shift.
    pub questions: Vec<Question>,
    /// Bookings with a conflict that nobody has looked at.
    pub conflicts: Vec<Booking>,
    /// What a device sent that could not be booked.
    pub aside: Vec<SetAside>,
    /// Holds to be decided.
    pub holds: Vec<Hold>,
    /// Customers to be called.
    pub calls: Vec<Call>,
}

impl Open {
    /// How many things wait.
    #[must_use]
    pub fn count(&self) -> usize {
        self.questions.len()
            + self.conflicts.len()
            + self.aside.len()
            + self.holds.len()
            + self.calls.len()
    }
}

/// Everything that waits for the office now.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn open(tx: &mut ShopTx, now: DateTime<Utc>) -> Result<Open, DbError> {
    let mut live = bookings::live(tx).await?;
    let questions = booked_hours::questions(tx, &live, now).await?;
    live.retain(|b| b.conflict.is_some() && !b.settled);
    Ok(Open {
        questions,
        conflicts: live,
        aside: bookings::set_aside_open(tx).await?,
        holds: checks::holds(tx, None).await?,
        calls: holds::calls(tx, None).await?,
    })
}
