//! When work can be done. A job is ready when its last operation is, and each operation waits for four things: the one
//! before it, the machine, somebody who can do it, and the hours in which both are there. Working time is what the
//! shop's clock and shifts say ([`Calendar`]); the shop floor in the shop's own terms is a [`floor`]; the [`engine`]
//! finds a plan. Whoever asks for the date of a job that is not in the plan yet asks [`ReadyDates`].
//!
//! ```
//! use borewright::estimating::{Recalibration, Variation};
//! use borewright::planning::engine::{promise::PlannedDates, solve::first_plan};
//! use borewright::planning::floor::{Floor, FloorMachine, FloorPerson};
//! use borewright::planning::{Candidate, CandidateOperation, Hours, ReadyDates, Shift};
//! use chrono::{DateTime, NaiveTime, Utc, Weekday};
//! use rand::SeedableRng;
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let at = |text: &str| text.parse::<DateTime<Utc>>();
//! let clock = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or_default();
//! let hours = Hours {
//!     zone: chrono_tz::Europe::London,
//!     shifts: [Weekday::Thu, Weekday::Fri, Weekday::Mon]
//!         .map(|weekday| Shift { weekday, start: clock(8), end: clock(16) })
//!         .to_vec(),
//!     holidays: Default::default(),
//!     overtime: vec![],
//!     stops: vec![],
//! };
//! let floor = Floor {
//!     zone: hours.zone,
//!     now: at("2026-11-26T14:00:00Z")?, // a Thursday
//!     hours: hours.clone(),
//!     confidence: 0.8,
//!     days: Recalibration::none(),
//!     variation: Variation::none(),
//!     machines: vec![FloorMachine {
//!         id: uuid::Uuid::from_u128(1),
//!         name: "Vertical mill".into(),
//!         kind: "mill".into(),
//!         hours: hours.clone(),
//!     }],
//!     people: vec![FloorPerson {
//!         id: uuid::Uuid::from_u128(2),
//!         name: "Wyn Tarrant".into(),
//!         skills: vec!["milling".into()],
//!         hours,
//!     }],
//!     jobs: vec![],
//! };
//! // Nothing is planned yet: eleven hours of milling take the last two of Thursday, Friday, and one on Monday.
//! let model = floor.model();
//! let plan = first_plan(&model.model)?;
//! let mut rng = rand_pcg::Pcg64::seed_from_u64(1);
//! let dates =
//!     PlannedDates::new(&model.model, &plan, model.origin, model.kinds, model.skills, 1, &mut rng)?;
//! let job = Candidate {
//!     operations: vec![CandidateOperation {
//!         number: 10,
//!         machine_kind: "mill".into(),
//!         skill: "milling".into(),
//!         setup_key: "rear".into(),
//!         after: vec![],
//!         attended_share: 1.0,
//!         outside_days: None,
//!     }],
//! };
//! assert_eq!(dates.ready(&job, &[floor.now], &[660.0]), [Some(at("2026-11-30T09:00:00Z")?)]);
//! # Ok(())
//! # }
//! ```

pub mod calendar;
pub mod changes;
pub mod engine;
pub mod floor;
pub mod freshness;
pub mod ics;
pub mod ready;
pub mod what_if;
pub mod words;

pub use calendar::{Calendar, Hours, Shift, in_reach, local_instant};
pub use freshness::Freshness;
pub use ready::{Candidate, CandidateOperation, ReadyDates};
