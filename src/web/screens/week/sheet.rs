//! From a plan in times of day to what stands on the sheet.

use super::axis::Span;
use super::picture::{self, Block, Flag, Group, Keeping, Picture, Row, Side, Standing};
use crate::planning::floor::{Floor, FloorJob, Order, Slot, SlotState, Timetable};
use crate::planning::what_if::{hours, moment};
use crate::planning::{Calendar, Hours, local_instant};
use chrono::{DateTime, Days, NaiveDate, NaiveTime, Utc};
use std::collections::BTreeSet;
use uuid::Uuid;

/// The stretch of days a sheet shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stretch {
    /// First day.
    pub from: NaiveDate,
    /// How many.
    pub days: u32,
}

impl Stretch {
    /// What may be asked for: a day, one, two, four, twelve weeks.
    pub const DAYS: [u32; 5] = [1, 7, 14, 28, 84];

    /// The same so many stretches further on, or back.
    #[must_use]
    pub fn moved(self, times: i64) -> Self {
        let days = chrono::Duration::days(i64::from(self.days) * times);
        Self {
            from: self.from.checked_add_signed(days).unwrap_or(self.from),
            ..self
        }
    }

    /// The days.
    pub fn days(self) -> impl Iterator<Item = NaiveDate> {
        self.from.iter_days().take(self.days as usize)
    }

    /// From midnight to midnight by the shop's clock.
    #[must_use]
    pub fn span(self, floor: &Floor) -> Span {
        let midnight = |day: NaiveDate| local_instant(floor.zone, day.and_time(NaiveTime::MIN));
        let until = self.from.checked_add_days(Days::new(u64::from(self.days)));
        (midnight(self.from), midnight(until.unwrap_or(self.from)))
    }

    /// In the address.
    #[must_use]
    pub fn query(self) -> String {
        format!("from={}&days={}", self.from, self.days)
    }
}

/// How a job stands against its promise.
#[must_use]
pub fn keeping(floor: &Floor, timetable: &Timetable, job: &FloorJob) -> Option<Keeping> {
    let dates = timetable.job(job.id)?;
    let due = job.due?;
    Some(if dates.ready_at > due {
        Keeping::Late
    } else if dates.chance.is_some_and(|chance| chance < floor.confidence) {
        Keeping::AtRisk
    } else {
        Keeping::Holds
    })
}

/// What is to spare, in words.
#[must_use]
pub fn slack_words(minutes: Option<i64>) -> String {
    match minutes {
        None => "no promise".to_owned(),
        Some(0) => "nothing to spare".to_owned(),
        Some(late) if late < 0 => format!("late by {}", hours(late)),
        Some(spare) => format!("{} to spare", hours(spare)),
    }
}

/// `214`, or `Q31` for a slot held for a quote.
#[must_use]
pub fn short_number(job: &FloorJob) -> String {
    match job.order {
        Order::Job => job.number.to_string(),
        Order::HeldSlot { .. } => format!("Q{}", job.number),
    }
}

/// `Job 214`, or `Slot held for quote 31`.
#[must_use]
pub fn long_number(job: &FloorJob) -> String {
    match job.order {
        Order::Job => format!("Job {}", job.number),
        Order::HeldSlot { .. } => format!("Slot held for quote {}", job.number),
    }
}

/// The page of a job, or of the quote that holds the slot.
#[must_use]
pub fn job_href(job: &FloorJob) -> String {
    match job.order {
        Order::Job => format!("/jobs/{}", job.id),
        Order::HeldSlot { quote_id, .. } => format!("/quotes/{quote_id}"),
    }
}

/// What stands of an operation's place, in words.
#[must_use]
pub fn state_words(state: SlotState) -> Option<&'static str> {
    match state {
        SlotState::Planned => None,
        SlotState::Pinned => Some("pinned"),
        SlotState::Started => Some("being worked on"),
        SlotState::HalfDone => Some("standing half done"),
    }
}

/// Everything about a slot in a sentence.
#[must_use]
pub fn slot_words(floor: &Floor, slot: &Slot) -> String {
    let Some((job, operation)) = floor.operation(slot.operation) else {
        return String::new();
    };
    let mut words = format!(
        "{}, {} {}",
        long_number(job),
        operation.number,
        operation.what
    );
    if let Some(machine) = slot.machine.and_then(|id| floor.machine(id)) {
        words += &format!(", {}", machine.name);
    }
    if operation.outside_days.is_some() {
        words += ", sent out";
    }
    if let Some(person) = slot.person.and_then(|id| floor.person(id)) {
        words += &format!(", {}", person.name);
    }
    words += &format!(
        ": {} to {}",
        moment(slot.starts, floor.zone),
        moment(slot.ends, floor.zone)
    );
    if slot.setup_minutes > 0 {
        words += &format!(", setup {}", hours(slot.setup_minutes));
    }
    words += &format!("; {}", slack_words(slot.slack_minutes));
    if let Some(state) = state_words(slot.state) {
        words += &format!("; {state}");
    }
    words
}

/// Open stretches of somebody's hours.
#[must_use]
pub fn open(hours: &Hours, within: Span) -> Vec<Span> {
    Calendar::build(hours, within.0, within.1)
        .intervals()
        .collect()
}

/// The plan that a change would replace, shown in outline behind the new one.
#[derive(Debug, Clone, Copy)]
pub struct Beside<'a> {
    /// The plan before.
    pub before: &'a Timetable,
    /// The operations that are moved.
    pub moved: &'a [Uuid],
}

/// Everything on the sheet; `None` when nobody works in all that time. `chosen` is the operation looked at.
#[must_use]
pub fn sheet(
    floor: &Floor,
    timetable: &Timetable,
    stretch: Stretch,
    chosen: Option<Uuid>,
    beside: Option<Beside>,
) -> Option<Picture> {
    let within = stretch.span(floor);
    let machine_hours: Vec<Vec<Span>> = floor
        .machines
        .iter()
        .map(|m| open(&m.hours, within))
        .collect();
    let people_hours: Vec<Vec<Span>> = floor
        .people
        .iter()
        .map(|p| open(&p.hours, within))
        .collect();
    // The shop is open when somebody is there, or the shop's own hours say so. A machine that could run all night does
    // not keep the night on the sheet.
    let shop = open(&floor.hours, within);
    let axis = picture::axis(
        shop.iter().chain(people_hours.iter().flatten()).copied(),
        within,
    )?;
    let block = |slot: &Slot, side: Side, until: DateTime<Utc>| -> Option<Block> {
        let (job, operation) = floor.operation(slot.operation)?;
        if slot.starts >= within.1 || until <= within.0 || until <= slot.starts {
            return None;
        }
        Some(Block {
            key: slot.operation.to_string(),
            href: format!(
                "/week?{}&operation={}#operation",
                stretch.query(),
                slot.operation
            ),
            label: (short_number(job), operation.what.clone()),
            words: slot_words(floor, slot),
            times: [slot.starts, slot.setup_until.min(until), until],
            standing: match (&job.order, slot.state) {
                (_, SlotState::Started | SlotState::HalfDone) => Standing::Started,
                (_, SlotState::Pinned) => Standing::Pinned,
                (Order::HeldSlot { .. }, _) => Standing::Held,
                _ if operation.pin.is_some() => Standing::Pinned,
                _ => Standing::Queued,
            },
            late: slot.slack_minutes.is_some_and(|slack| slack < 0),
            side,
            chosen: chosen == Some(slot.operation),
        })
    };
    let blocks = |on: &dyn Fn(&Slot) -> Option<DateTime<Utc>>| -> Vec<Block> {
        let moved: BTreeSet<Uuid> = beside
            .iter()
            .flat_map(|b| b.moved.iter().copied())
            .collect();
        let side = |slot: &Slot| {
            if moved.contains(&slot.operation) {
                Side::After
            } else {
                Side::Plain
            }
        };
        let after = timetable
            .slots
            .iter()
            .filter_map(|slot| block(slot, side(slot), on(slot)?));
        let before = beside
            .iter()
            .flat_map(|b| &b.before.slots)
            .filter(|slot| {
                moved.contains(&slot.operation) || timetable.slot(slot.operation).is_none()
            })
            .filter_map(|slot| block(slot, Side::Before, on(slot)?));
        after.chain(before).collect()
    };
    let machines = floor
        .machines
        .iter()
        .zip(machine_hours)
        .map(|(machine, open)| Row {
            name: machine.name.clone(),
            href: Some(format!(
                "/week?{}&machine={}#panel",
                stretch.query(),
                machine.id
            )),
            open: Some(open),
            blocks: blocks(&|slot| (slot.machine == Some(machine.id)).then_some(slot.ends)),
        })
        .collect();
    // Only those who are given work: the office has no row.
    let people = floor
        .people
        .iter()
        .zip(people_hours)
        .filter(|(person, _)| {
            !person.skills.is_empty() || timetable.slots.iter().any(|s| s.person == Some(person.id))
        })
        .map(|(person, open)| Row {
            name: person.name.clone(),
            href: Some(format!(
                "/week?{}&person={}#panel",
                stretch.query(),
                person.id
            )),
            open: Some(open),
            blocks: blocks(&|slot| (slot.person == Some(person.id)).then_some(slot.attended_until)),
        })
        .collect();
    let away = Row {
        name: "Sent out".to_owned(),
        href: None,
        open: None,
        blocks: blocks(&|slot| slot.machine.is_none().then_some(slot.ends)),
    };
    let mut groups = vec![
        Group {
            name: "Machines",
            rows: machines,
            tab_stops: true,
        },
        Group {
            name: "People",
            rows: people,
            tab_stops: false,
        },
    ];
    if !away.blocks.is_empty() {
        groups.push(Group {
            name: "Outside",
            rows: vec![away],
            tab_stops: true,
        });
    }
    let flags: Vec<Flag> = floor
        .jobs
        .iter()
        .filter_map(|job| flag(floor, timetable, job, within))
        .collect();
    let count = timetable
        .slots
        .iter()
        .filter(|s| s.starts < within.1 && s.ends > within.0)
        .count();
    let late = flags.iter().filter(|f| f.keeping == Keeping::Late).count();
    let days = i64::from(stretch.days);
    Some(Picture {
        axis,
        zone: floor.zone,
        days,
        now: floor.now,
        title: format!("The plan from {}", stretch.from.format("%A %-d %B %Y")),
        desc: format!(
            "{count} operations on {} machines, with {} promises due, {late} of them late. The same stands in the lists \
             below.",
            floor.machines.len(),
            flags.len()
        ),
        groups,
        flags,
    })
}

fn flag(floor: &Floor, timetable: &Timetable, job: &FloorJob, within: Span) -> Option<Flag> {
    let due = job.due.filter(|due| (within.0..within.1).contains(due))?;
    let dates = timetable.job(job.id)?;
    let keeping = keeping(floor, timetable, job)?;
    let number = short_number(job);
    let late = slack_words(dates.slack_minutes);
    let label = match (keeping, dates.chance) {
        (Keeping::Late, _) => format!("{number} {late}"),
        (Keeping::AtRisk, Some(chance)) => format!("{number} {}", in_hundred(chance)),
        _ => number,
    };
    Some(Flag {
        href: job_href(job),
        label,
        words: format!(
            "{} {} {}: {}{}",
            long_number(job),
            if job.promised {
                "is promised for"
            } else {
                "is wanted by"
            },
            moment(due, floor.zone),
            late,
            dates
                .chance
                .map(|chance| format!("; holds in {}", in_hundred(chance)))
                .unwrap_or_default()
        ),
        at: due,
        keeping,
    })
}

/// A chance as people say it: `85 in 100`.
#[must_use]
pub fn in_hundred(chance: f64) -> String {
    format!("{:.0} in 100", (chance * 100.0).clamp(0.0, 100.0))
}
