//! Changes, places and times in words.

use super::{Change, Side, Whose};
use crate::planning::calendar::{in_reach, local_instant};
use crate::planning::engine::model::Minute;
use crate::planning::floor::{Floor, Order};
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use chrono_tz::Tz;
use uuid::Uuid;

impl Change {
    /// What is done, as a clause that goes on: "the borer stands still …".
    #[must_use]
    pub fn words(&self, floor: &Floor) -> String {
        let zone = floor.zone;
        match self {
            Self::Place {
                operation,
                machine,
                person,
                starts,
            } => {
                let mut words = operation_words(floor, *operation);
                if let Some(machine) = machine {
                    words += &format!(" goes on {}", machine_name(floor, *machine));
                } else {
                    words += " is pinned";
                }
                if let Some(person) = person {
                    words += &format!(" with {}", person_name(floor, *person));
                }
                if let Some(starts) = starts {
                    words += &format!(" on {}", moment(*starts, zone));
                }
                words
            }
            Self::Order {
                operation,
                other,
                side,
                ..
            } => format!(
                "{} goes {} {}",
                operation_words(floor, *operation),
                match side {
                    Side::Before => "before",
                    Side::Behind => "directly behind",
                },
                operation_words(floor, *other)
            ),
            Self::NoOrder {
                operation, other, ..
            } => format!(
                "{} and {} go in the order the plan puts them",
                operation_words(floor, *operation),
                operation_words(floor, *other)
            ),
            Self::Unpin { operation } => format!(
                "{} goes where the plan puts it",
                operation_words(floor, *operation)
            ),
            Self::Rank {
                job,
                place: Some(_),
            } => format!("{} is put first", job_words(floor, *job)),
            Self::Rank { job, place: None } => {
                format!("{} takes its turn by its promise", job_words(floor, *job))
            }
            Self::Hold { job, reason } => {
                format!("{} is held ({})", job_words(floor, *job), reason.trim())
            }
            Self::Release { job } => format!("{} goes on", job_words(floor, *job)),
            Self::Away {
                whose,
                from,
                until,
                why,
            } => format!(
                "{} {} ({why})",
                match whose {
                    Whose::Machine(id) => format!("{} stands still", machine_name(floor, *id)),
                    Whose::Person(id) => format!("{} is away", person_name(floor, *id)),
                },
                stretch(*from, *until, zone)
            ),
            Self::Back {
                whose, from, until, ..
            } => format!(
                "{} {} after all",
                match whose {
                    Whose::Machine(id) => format!("{} runs", machine_name(floor, *id)),
                    Whose::Person(id) => format!("{} is there", person_name(floor, *id)),
                },
                stretch(*from, *until, zone)
            ),
            Self::Overtime {
                whose, from, until, ..
            } => format!(
                "overtime for {} {}",
                names(floor, whose),
                stretch(*from, *until, zone)
            ),
            Self::NoOvertime {
                whose, from, until, ..
            } => format!(
                "no overtime for {} {}",
                names(floor, whose),
                stretch(*from, *until, zone)
            ),
            Self::Train { person, skill } => {
                format!("{} learns {skill}", person_name(floor, *person))
            }
            Self::Untrain { person, skill } => {
                format!("{} is not asked for {skill}", person_name(floor, *person))
            }
            Self::SecondMachine { like } => {
                format!("there is a second {}", machine_name(floor, *like))
            }
        }
    }
}

/// Midnight to midnight of a day by the shop's clock: a day off.
#[must_use]
pub fn whole_day(zone: Tz, day: NaiveDate) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
    let midnight = |day: NaiveDate| local_instant(zone, day.and_time(NaiveTime::MIN));
    Some((midnight(day), midnight(day.succ_opt()?)))
}

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
fn stretch(from: DateTime<Utc>, until: DateTime<Utc>, zone: Tz) -> String {
    let (a, b) = (local(from, zone), local(until, zone));
    if whole_day(zone, a.date_naive()) == Some((from, until)) {
        return a.format("on %a %-d %b").to_string();
    }
    if a.date_naive() == b.date_naive() {
        return format!("on {} to {}", moment(from, zone), b.format("%H:%M"));
    }
    format!("from {} to {}", moment(from, zone), moment(until, zone))
}

fn machine_name(floor: &Floor, id: Uuid) -> String {
    floor
        .machine(id)
        .map_or_else(|| "a machine".to_owned(), |m| m.name.clone())
}

fn person_name(floor: &Floor, id: Uuid) -> String {
    floor
        .person(id)
        .map_or_else(|| "somebody".to_owned(), |p| p.name.clone())
}

fn names(floor: &Floor, whose: &[Whose]) -> String {
    let names: Vec<String> = whose
        .iter()
        .map(|whose| match whose {
            Whose::Machine(id) => machine_name(floor, *id),
            Whose::Person(id) => person_name(floor, *id),
        })
        .collect();
    match names.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => "nobody".to_owned(),
    }
}

/// `job 214`, or `the slot held for quote 31`.
#[must_use]
pub fn job_words(floor: &Floor, id: Uuid) -> String {
    match floor.job(id) {
        Some(job) => match job.order {
            Order::Job => format!("job {}", job.number),
            Order::HeldSlot { .. } => {
                format!("the slot held for quote {}", job.number)
            }
        },
        None => "a job".to_owned(),
    }
}

pub(super) fn operation_words(floor: &Floor, id: Uuid) -> String {
    match floor.operation(id) {
        Some((job, operation)) => {
            format!("{} of {}", operation.number, job_words(floor, job.id))
        }
        None => "an operation".to_owned(),
    }
}

/// Working time in words: `45 min`, `6 h`, `6 h 30 min`.
#[must_use]
pub fn hours(minutes: Minute) -> String {
    crate::units::Minutes(rust_decimal::Decimal::from(minutes.abs())).to_string()
}
