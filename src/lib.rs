//! Borewright: job costing, quoting and scheduling for a small engine-machining shop.
//!
//! Layers, from the top; imports run downward only, and `tests/it/layers.rs` fails when they do not.
//!
//! | module | what is in it |
//! | --- | --- |
//! | [`web`] | the screens and the JSON interface, the page, sessions |
//! | `demo` | the invented demo shop, written through the use cases |
//! | [`app`] | use cases, one file each: transactions, caches, background work |
//! | [`db`] | PostgreSQL: the only SQL, the private cluster, the shop of a transaction |
//! | [`documents`] | what is printed: the route card as PDF, with a QR code for each operation |
//! | [`enquiry`] | options side by side; the answer to the phone; the quote |
//! | [`planning`] | working calendars, ready dates, and the planning engine |
//! | [`quality`] | checks with limits and gauges; what is done again after scrap |
//! | [`jobs`] | a job's cost so far and its forecast at completion |
//! | [`shopfloor`] | hours from entries of work, what was forgotten |
//! | [`stock`] | what jobs need, what covers it, castings on the shelf |
//! | [`review`] | what work took and cost against what was said before |
//! | [`sourcing`] | sightings to price and wait distributions; hunting |
//! | [`estimating`] | cutting time, elements, routes, cost build-up, rates |
//! | [`castings`] | patterns, variants, features, differences, remedies |
//! | [`units`] | money, length, thread and fit designations, minutes, spread |
//!
//! From [`documents`] down everything is pure: no SQL, no HTTP, no clock, no randomness that was not handed in. Clippy's
//! `disallowed-methods` hold it to that.

#[expect(
    clippy::disallowed_methods,
    reason = "use cases know what time it is and make keys"
)]
pub mod app;
pub mod castings;
#[expect(clippy::disallowed_methods, reason = "rows get their keys here")]
pub mod db;
#[expect(
    clippy::disallowed_methods,
    reason = "the demo shop is made from today on"
)]
pub mod demo;
pub mod documents;
pub mod enquiry;
pub mod estimating;
pub mod jobs;
pub mod planning;
pub mod quality;
pub mod review;
pub mod shopfloor;
pub mod sourcing;
pub mod stock;
pub mod units;
#[expect(clippy::disallowed_methods, reason = "requests come at a time of day")]
pub mod web;
