//! How machines, people, jobs, times of day and stretches of working time are written.

use super::calendar::{in_reach, whole_day};
use super::engine::model::Minute;
use super::floor::{Floor, Order, Resource};
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use uuid::Uuid;

/// `Thu 3 Dec, 14:05` by the shop's clock.
#[must_use]
pub fn moment(at: DateTime<Utc>, zone: Tz) -> String {
    local(at, zone).format("%a %-d %b, %H:%M").to_string()
}

/// By the shop's clock; what no shop plans for is shown as the start of 1970, so that no local time overflows.
fn local(at: DateTime<Utc>, zone: Tz) -> DateTime<Tz> {
    let at = if in_reach(at) {
        at
    } else {
        DateTime::UNIX_EPOCH
    };
    at.with_timezone(&zone)
}

/// A stretch of time: `on Thu 3 Dec`, `on Thu 3 Dec, 10:00 to 12:00`, `from … to …`.
#[must_use]
pub fn stretch(from: DateTime<Utc>, until: DateTime<Utc>, zone: Tz) -> String {
    let (a, b) = (local(from, zone), local(until, zone));
    if whole_day(zone, a.date_naive()) == Some((from, until)) {
        return a.format("on %a %-d %b").to_string();
    }
    if a.date_naive() == b.date_naive() {
        return format!("on {} to {}", moment(from, zone), b.format("%H:%M"));
    }
    format!("from {} to {}", moment(from, zone), moment(until, zone))
}

/// The machine's name.
#[must_use]
pub fn machine_name(floor: &Floor, id: Uuid) -> String {
    floor
        .machine(id)
        .map_or_else(|| "a machine".to_owned(), |m| m.name.clone())
}

/// The person's name.
#[must_use]
pub fn person_name(floor: &Floor, id: Uuid) -> String {
    floor
        .person(id)
        .map_or_else(|| "somebody".to_owned(), |p| p.name.clone())
}

/// Names in a row: `the mill, Ines and Wyn`.
#[must_use]
pub fn names(floor: &Floor, whose: &[Resource]) -> String {
    let names: Vec<String> = whose
        .iter()
        .map(|whose| match whose {
            Resource::Machine(id) => machine_name(floor, *id),
            Resource::Person(id) => person_name(floor, *id),
        })
        .collect();
    match names.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => "nobody".to_owned(),
    }
}

/// `job 214`, or `the slot reserved for quote 31`.
#[must_use]
pub fn job_words(floor: &Floor, id: Uuid) -> String {
    match floor.job(id) {
        Some(job) => match job.order {
            Order::Job => format!("job {}", job.number),
            Order::Wish => "this job".to_owned(),
            Order::HeldSlot { .. } => format!("the slot reserved for quote {}", job.number),
        },
        None => "a job".to_owned(),
    }
}

/// `op 20 of job 214`.
#[must_use]
pub fn operation_words(floor: &Floor, id: Uuid) -> String {
    match floor.operation(id) {
        Some((job, operation)) => {
            format!("op {} of {}", operation.number, job_words(floor, job.id))
        }
        None => "an operation".to_owned(),
    }
}

/// Minutes in words: `45 min`, `6 h`, `6 h 30 min`.
#[must_use]
pub fn hours(minutes: Minute) -> String {
    crate::units::Minutes(rust_decimal::Decimal::from(minutes.abs())).to_string()
}

/// Working time of the shop in words: as [`hours`] up to a working day, in whole days beyond.
#[must_use]
pub fn working_time(floor: &Floor, minutes: Minute) -> String {
    let day = floor.hours.usual_day();
    let minutes = minutes.abs();
    if minutes <= day {
        return hours(minutes);
    }
    match (minutes + day / 2) / day {
        1 => "1 day".to_owned(),
        days => format!("{days} days"),
    }
}
