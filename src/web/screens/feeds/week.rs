//! The entries of a feed: planned work, stops and holidays.

use crate::app::read_feed::FeedContents;
use crate::db::calendars::Owner;
use crate::db::feeds::{Revision, Slot, Whose};
use crate::planning::Calendar;
use crate::planning::ics::feed::{Entry, When, pieces};
use crate::web::ui::show;
use chrono::{DateTime, Utc};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::fmt::Write;

/// The entries of a feed, in order, none revised yet.
pub(super) fn entries(feed: &FeedContents) -> Vec<Entry> {
    let slots = &feed.slots;
    let mut entries: Vec<Entry> = match feed.whose {
        Whose::Machine(_) => slots.iter().map(of_machine).collect(),
        Whose::Person(id) => {
            let last = slots.iter().map(|slot| slot.attended_until).max();
            let first = slots.iter().map(|slot| slot.starts_at).min();
            let calendar = feed.time.calendar(
                Owner::Person(id),
                first.unwrap_or(feed.from).min(feed.from),
                last.unwrap_or(feed.until).max(feed.until),
            );
            slots
                .iter()
                .flat_map(|slot| of_person(slot, &calendar))
                .collect()
        }
    };
    entries.extend(closed(feed));
    entries
}

/// The UID of each entry with a digest of what it says.
pub(super) fn digests(entries: &[Entry]) -> Vec<(String, [u8; 32])> {
    entries
        .iter()
        .map(|entry| (entry.uid.clone(), digest(entry)))
        .collect()
}

/// Marks each entry with how often it has changed.
pub(super) fn revise(entries: &mut [Entry], revisions: &HashMap<String, Revision>) {
    for entry in entries {
        if let Some(revision) = revisions.get(&entry.uid) {
            entry.sequence = revision.sequence;
            entry.revised_at = revision.revised_at;
        }
    }
}

/// All that an entry says, in few bytes.
fn digest(entry: &Entry) -> [u8; 32] {
    let content = format!(
        "{:?}\0{}\0{}\0{}\0{}\0{}",
        entry.when, entry.summary, entry.description, entry.location, entry.certain, entry.busy
    );
    Sha256::digest(content).into()
}

fn entry(uid: String, when: When, summary: String) -> Entry {
    Entry {
        uid,
        sequence: 0,
        revised_at: DateTime::<Utc>::UNIX_EPOCH,
        when,
        summary,
        description: String::new(),
        location: String::new(),
        certain: true,
        busy: true,
    }
}

fn of_slot(slot: &Slot, uid: String, when: When, with: Option<(&str, &str)>) -> Entry {
    let mut description = format!("{}\nSetup: {}", slot.job_title, slot.setup_key);
    if let Some(day) = slot.promised_on {
        // Writing into text does not fail.
        let _ = write!(description, "\nPromised {}", show::full_day(day));
    }
    if let Some((label, name)) = with {
        let _ = write!(description, "\n{label}: {name}");
    }
    Entry {
        description,
        location: slot.machine.clone().unwrap_or_default(),
        certain: slot.certain,
        ..entry(
            uid,
            when,
            format!(
                "Job {} · {} {}",
                slot.job_number, slot.operation_number, slot.operation_title
            ),
        )
    }
}

/// A machine is taken from the setup to the end, nights between included: the block is on its table.
fn of_machine(slot: &Slot) -> Entry {
    let uid = format!("{}-machine@borewright", slot.operation_id);
    let when = When::Between(slot.starts_at, slot.ends_at);
    let with = slot.person.as_deref().map(|name| ("With", name));
    of_slot(slot, uid, when, with)
}

/// A person is there while the work is attended, in their own hours.
fn of_person(slot: &Slot, hours: &Calendar) -> Vec<Entry> {
    let with = slot.machine.as_deref().map(|name| ("On", name));
    pieces(hours, slot.starts_at, slot.attended_until)
        .into_iter()
        .enumerate()
        .map(|(piece, (from, until))| {
            let uid = format!("{}-person-{piece}@borewright", slot.operation_id);
            of_slot(slot, uid, When::Between(from, until), with)
        })
        .collect()
}

/// Stops of the shop and of whoever's week it is, and holidays.
fn closed(feed: &FeedContents) -> Vec<Entry> {
    let (from, until, time) = (feed.from, feed.until, &feed.time);
    let owner = match feed.whose {
        Whose::Machine(id) => Owner::Machine(id),
        Whose::Person(id) => Owner::Person(id),
    };
    let stops = time
        .stops
        .iter()
        .filter(|stop| stop.owner == owner || stop.owner == Owner::Shop)
        .filter(|stop| stop.ends_at > from && stop.starts_at < until)
        .map(|stop| {
            entry(
                format!("{}-stop@borewright", stop.id),
                When::Between(stop.starts_at, stop.ends_at),
                format!("No work: {}", stop.why),
            )
        });
    let local = |at: DateTime<Utc>| at.with_timezone(&time.zone).date_naive();
    let days = local(from)..=local(until);
    let holidays = time
        .holidays
        .iter()
        .filter(|holiday| days.contains(&holiday.on))
        .map(|holiday| Entry {
            busy: false,
            ..entry(
                format!("{}-holiday@borewright", holiday.id),
                When::Day(holiday.on),
                format!("Holiday: {}", holiday.name),
            )
        });
    stops.chain(holidays).collect()
}
