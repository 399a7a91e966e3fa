//! How jobs, slots and chances are written on the week.

use super::sheet::Detail;
use crate::planning::floor::{Floor, FloorJob, Order, PromiseStatus, Slot, SlotState};
use crate::planning::words::{hours, moment, working_time};
use crate::units::text::capitalised;

/// What is left before a job or an operation makes it late.
#[must_use]
pub fn slack_words(floor: &Floor, minutes: Option<i64>) -> String {
    match minutes {
        None => "no due date".to_owned(),
        Some(0) => "no slack".to_owned(),
        Some(late) if late < 0 => format!("{} late", working_time(floor, late)),
        Some(slack) => format!("{} slack", working_time(floor, slack)),
    }
}

/// The same in a column that says it is slack.
#[must_use]
pub fn slack_cell(floor: &Floor, minutes: Option<i64>) -> String {
    match minutes {
        Some(slack) if slack > 0 => working_time(floor, slack),
        Some(0) => "none".to_owned(),
        other => slack_words(floor, other),
    }
}

/// `214`, or `Q31` for a slot reserved for a quote.
#[must_use]
pub fn short_number(job: &FloorJob) -> String {
    match job.order {
        Order::Job => job.number.to_string(),
        Order::HeldSlot { .. } => format!("Q{}", job.number),
        Order::Wish => "?".to_owned(),
    }
}

/// `Job 214`, or `Slot reserved for quote 31`.
#[must_use]
pub fn long_number(job: &FloorJob) -> String {
    match job.order {
        Order::Job => format!("Job {}", job.number),
        Order::HeldSlot { .. } => format!("Slot reserved for quote {}", job.number),
        Order::Wish => "A wish".to_owned(),
    }
}

/// `Job 214 for Asa Pemberly`.
#[must_use]
pub fn for_whom(job: &FloorJob) -> String {
    if job.customer.is_empty() {
        long_number(job)
    } else {
        format!("{} for {}", long_number(job), job.customer)
    }
}

/// The page of a job, or of the quote that reserves the slot.
#[must_use]
pub fn job_href(job: &FloorJob) -> String {
    match job.order {
        Order::Job => format!("/jobs/{}", job.id),
        Order::HeldSlot { quote_id, .. } => format!("/quotes/{quote_id}"),
        Order::Wish => "/enquiries".to_owned(),
    }
}

/// Why an operation's place may not change, if it may not.
#[must_use]
pub fn state_words(state: SlotState) -> Option<&'static str> {
    match state {
        SlotState::Planned => None,
        SlotState::Pinned => Some("pinned"),
        SlotState::Started => Some("running"),
        SlotState::HalfDone => Some("part done"),
    }
}

/// How a job stands against the day it is wanted.
#[must_use]
pub fn status_words(status: PromiseStatus) -> &'static str {
    match status {
        PromiseStatus::OnTime => "on time",
        PromiseStatus::AtRisk => "at risk",
        PromiseStatus::Late => "late",
    }
}

/// A chance as people write it: `85 %`.
#[must_use]
pub fn percent(chance: f64) -> String {
    format!("{:.0} %", (chance * 100.0).clamp(0.0, 100.0))
}

/// Everything about a slot in a sentence.
#[must_use]
pub fn slot_words(floor: &Floor, slot: &Slot) -> String {
    slot_parts(floor, slot).map_or_else(String::new, |(what, where_and_when)| {
        format!("{what}, {where_and_when}")
    })
}

/// The same in two lines: what, then where and when; with less detail only the job, what is done, and when.
#[must_use]
pub fn slot_title(floor: &Floor, slot: &Slot, detail: Detail) -> String {
    let lines = match detail {
        Detail::Full => slot_parts(floor, slot),
        Detail::Brief => floor.operation(slot.operation).map(|(job, operation)| {
            let what = shortened(&operation.what, 32);
            let what = format!("{}, {} {what}", long_number(job), operation.number);
            (what, from_to(floor, slot))
        }),
        Detail::Least => floor.operation(slot.operation).map(|(job, operation)| {
            let what = shortened(&operation.what, 24);
            let what = format!("{} {} {what}", short_number(job), operation.number);
            (what, moment(slot.starts, floor.zone))
        }),
    };
    lines.map_or_else(String::new, |(what, then)| format!("{what}\n{then}"))
}

/// The beginning of a text that is longer than so many characters.
fn shortened(text: &str, most: usize) -> String {
    let beginning: String = text.chars().take(most).collect();
    if beginning.len() < text.len() {
        format!("{beginning}…")
    } else {
        beginning
    }
}

/// `Thu 3 Dec, 09:51 to 12:07`.
fn from_to(floor: &Floor, slot: &Slot) -> String {
    let [from, to] = [slot.starts, slot.ends].map(|at| at.with_timezone(&floor.zone));
    let until = if from.date_naive() == to.date_naive() {
        to.format("%H:%M").to_string()
    } else {
        moment(slot.ends, floor.zone)
    };
    format!("{} to {until}", moment(slot.starts, floor.zone))
}

fn slot_parts(floor: &Floor, slot: &Slot) -> Option<(String, String)> {
    let (job, operation) = floor.operation(slot.operation)?;
    let what = format!("{}, {} {}", for_whom(job), operation.number, operation.what);
    let machine = slot.machine.and_then(|id| floor.machine(id));
    let person = slot.person.and_then(|id| floor.person(id));
    let away = operation.outside_days.map(|_| "sent out");
    let places: Vec<&str> = machine
        .map(|machine| machine.name.as_str())
        .into_iter()
        .chain(away)
        .chain(person.map(|person| person.name.as_str()))
        .collect();
    let mut words = if places.is_empty() {
        from_to(floor, slot)
    } else {
        format!("{}: {}", places.join(", "), from_to(floor, slot))
    };
    if slot.setup_minutes > 0 {
        words += &format!(", setup {}", hours(slot.setup_minutes));
    }
    words += &format!("; {}", slack_words(floor, slot.slack_minutes));
    if let Some(state) = state_words(slot.state) {
        words += &format!("; {state}");
    }
    Some((what, words))
}

/// As a sentence of its own.
#[must_use]
pub fn as_sentence(words: &str) -> String {
    format!("{}.", capitalised(words))
}
