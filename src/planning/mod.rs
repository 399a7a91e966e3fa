//! When work can be done. A job is ready when its last operation is, and each operation waits for three things: the one
//! before it, the machine, and the hours the machine is manned. Working time is what the shop's clock and shifts say
//! ([`Calendar`]); how long the machine is spoken for is, until there is a plan, a queue of minutes ([`QueueDates`]).
//! Whoever asks for a date asks [`ReadyDates`], whatever answers it.
//!
//! ```
//! use borewright::planning::{Calendar, Candidate, CandidateOperation, Hours, QueueDates, QueuedMachine, ReadyDates, Shift};
//! use chrono::{DateTime, NaiveTime, Utc, Weekday};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let at = |text: &str| text.parse::<DateTime<Utc>>();
//! let clock = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or_default();
//! let hours = Hours {
//!     zone: chrono_tz::Europe::London,
//!     shifts: vec![
//!         Shift { weekday: Weekday::Thu, start: clock(8), end: clock(16) },
//!         Shift { weekday: Weekday::Fri, start: clock(8), end: clock(12) },
//!         Shift { weekday: Weekday::Mon, start: clock(8), end: clock(16) },
//!     ],
//!     holidays: Default::default(),
//!     overtime: vec![],
//!     stops: vec![],
//! };
//! let now = at("2026-11-26T09:00:00Z")?; // a Thursday
//! let calendar = Calendar::build(&hours, now, at("2026-12-31T00:00:00Z")?);
//!
//! // Ten hours are promised on the mill: seven today, three of Friday's four. Three hours of ours then take the
//! // last of Friday and two of Monday.
//! let mill = QueuedMachine { kind: "mill".into(), calendar, from: now, queued_minutes: 600 };
//! let queue = QueueDates::new(vec![mill]);
//! let job = Candidate {
//!     operations: vec![CandidateOperation {
//!         number: 10,
//!         machine_kind: "mill".into(),
//!         skill: "milling".into(),
//!         setup_key: "rear".into(),
//!         after: vec![],
//!         outside_days: None,
//!     }],
//! };
//! assert_eq!(queue.ready(&job, &[now], &[180.0]), [Some(at("2026-11-30T10:00:00Z")?)]);
//! # Ok(())
//! # }
//! ```

pub mod calendar;
pub mod engine;
pub mod floor;
pub mod ics;
pub mod queue;
pub mod ready;
pub mod what_if;

pub use calendar::{Calendar, Hours, Shift, local_instant};
pub use queue::{QueueDates, QueuedMachine};
pub use ready::{Candidate, CandidateOperation, ReadyDates};
