//! What really happens at the bench. Somebody sets a block up, machines it, leaves the machine running by itself, goes
//! home; each of these is an entry with its time. From the entries alone follow the hours a job has really had, how far
//! each operation has come, and what must be asked because somebody forgot to stop. Entries are never changed: a
//! mistake is put right by a later entry that points at it.
//!
//! ```
//! use borewright::shopfloor::{Entry, Kind, Standards, clocks, hours};
//! use chrono::{DateTime, Utc};
//! use uuid::Uuid;
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let at = |text: &str| text.parse::<DateTime<Utc>>();
//! let [col, mill, bore, face] = [1, 2, 3, 4].map(Uuid::from_u128);
//! let entry = |sequence: i64, kind, operation, time| Entry {
//!     id: Uuid::from_u128(100 + sequence as u128), kind, operation, person: col, machine: Some(mill), at: time, sequence,
//!     corrects: None,
//! };
//! // Two jobs set up as one, for 45 minutes. The standard setups are 40 and 20 minutes, so they bear 30 and 15. Then
//! // one of them is machined for twenty minutes and left to run by itself for an hour.
//! let entries = [
//!     entry(1, Kind::Setup, bore, at("2026-11-26T08:00:00Z")?),
//!     entry(2, Kind::Setup, face, at("2026-11-26T08:00:00Z")?),
//!     entry(3, Kind::Pause, face, at("2026-11-26T08:45:00Z")?),
//!     entry(4, Kind::Run, bore, at("2026-11-26T08:45:00Z")?),
//!     entry(5, Kind::RunAlone, bore, at("2026-11-26T09:05:00Z")?),
//!     entry(6, Kind::Done, bore, at("2026-11-26T10:05:00Z")?),
//! ];
//! let standards = Standards::from([(bore, 40.into()), (face, 20.into())]);
//! let spent = hours(&clocks(&entries), &standards);
//! assert_eq!((spent[&bore].setup, spent[&bore].attended, spent[&bore].alone), (30, 20, 60));
//! assert_eq!(spent[&face].setup, 15);
//! # Ok(())
//! # }
//! ```

mod booking;
mod by_hand;
mod clock;
mod forgotten;
mod hours;

pub use booking::{
    BookingRefusal, Conflict, Course, Situation, attended_elsewhere, conflict, course, pauses,
    while_signed_on,
};
pub use by_hand::{Named, Row, RowFault, fits, lay};
pub use clock::{Clock, Entry, Kind, OperationState, Phase, clocks, corrected, state, true_time};
pub use forgotten::{Forgotten, forgotten, shift_end};
pub use hours::{Hours, Piece, Standards, by_day, hours, pieces, share};

#[cfg(test)]
pub(crate) mod tests {
    use crate::estimating::{Operation, element::Stage};
    use crate::units::{Minutes, Spread};
    use rust_decimal::Decimal;

    /// An operation that waits for others.
    pub(crate) fn operation(number: u32, after: &[u32]) -> Operation {
        Operation {
            number,
            title: format!("Operation {number}"),
            stage: Stage::Hole,
            machine_kind: "mill".to_owned(),
            skill: "milling".to_owned(),
            face: None,
            setup_key: "mill".to_owned(),
            setup: Minutes::ZERO,
            setup_spread: Spread::NONE,
            run: Minutes(Decimal::TEN),
            attended_share: Decimal::ONE,
            steps: Vec::new(),
            after: after.to_vec(),
            checks: Vec::new(),
            cautions: Vec::new(),
            materials: Vec::new(),
            tools: Vec::new(),
            can_fail: false,
            outside: None,
            makes: None,
        }
    }
}
