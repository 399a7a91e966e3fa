//! Borewright: job costing, quoting and scheduling for a small engine-machining shop.
//!
//! The map of the house. Imports run downward only; `tests/it/rooms.rs` fails when they do not.
//!
//! | room | what is in it |
//! | --- | --- |
//! | [`web`] | the screens and the JSON interface, the page shell, sign-in |
//! | [`worker`] | the planner beside the service: takes runs from the queue in PostgreSQL |
//! | `demo` | the invented demo scenario, written into the store |
//! | [`store`] | PostgreSQL: the only SQL, the private cluster, the per-transaction shop |
//! | [`enquiry`] | options side by side; the answer to the phone; the quote |
//! | [`documents`] | what is printed: the route card as PDF, with a QR code for each operation |
//! | [`mod@bench`] | entries of work really done: hours, what was forgotten, forecast at completion |
//! | [`planning`] | working calendars, ready dates, and the planning engine |
//! | [`sourcing`] | sightings to price and wait distributions; hunting |
//! | [`estimating`] | cutting time, elements, routes, cost build-up, rates |
//! | [`castings`] | patterns, variants, features, differences, remedies |
//! | [`units`] | money, length, thread and fit designations, minutes, spread |
//!
//! The eight lower rooms are pure: no SQL, no HTTP, no clock, no randomness they were not handed.

pub mod bench;
pub mod castings;
pub mod demo;
pub mod documents;
pub mod enquiry;
pub mod estimating;
pub mod planning;
pub mod sourcing;
pub mod store;
pub mod units;
pub mod web;
pub mod worker;
