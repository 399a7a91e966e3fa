//! From a plan in times of day to what is drawn on the sheet.

use super::axis::Span;
use super::keys::Keys;
use super::picture::{self, Block, BlockState, Flag, Group, Layer, Picture, Row};
use super::words::{job_href, long_number, percent, short_number, slack_words, slot_title};
use crate::planning::floor::{
    Floor, FloorJob, FloorMachine, FloorOperation, FloorPerson, Order, Progress, PromiseStatus,
    Resource, Slot, SlotState, Timetable,
};
use crate::planning::words::moment;
use crate::planning::{Calendar, Hours, local_instant};
use crate::web::ui::show;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, Utc};
use chrono_tz::Tz;
use std::collections::BTreeSet;
use uuid::Uuid;

/// The days a sheet shows.
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

    /// In the address; a week needs no saying.
    #[must_use]
    pub fn query(self) -> String {
        match self.days {
            7 => format!("from={}", self.from),
            days => format!("from={}&days={days}", self.from),
        }
    }

    /// How much there is room to say about each operation.
    #[must_use]
    pub fn detail(self) -> Detail {
        match self.days {
            ..=14 => Detail::Full,
            15..=28 => Detail::Brief,
            _ => Detail::Least,
        }
    }
}

/// How much is said about an operation: the more days are shown, the less, since there are the more of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detail {
    /// Everything.
    Full,
    /// The job, what is done, when.
    Brief,
    /// The same in as few words as will do; people's rows are drawn and lead nowhere.
    Least,
}

/// The day it is by the shop's clock.
#[must_use]
pub fn today(zone: Tz) -> NaiveDate {
    Utc::now().with_timezone(&zone).date_naive()
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
    let people: Vec<Vec<Span>> = floor
        .people
        .iter()
        .map(|p| open(&p.hours, within))
        .collect();
    // The shop is open when somebody is there, or the shop's own hours say so. A machine that could run all night does
    // not keep the night on the sheet.
    let shop = open(&floor.hours, within);
    let axis = picture::axis(shop.iter().chain(people.iter().flatten()).copied(), within)?;
    let rows = Rows {
        keys: Keys::of(floor),
        floor,
        timetable,
        stretch,
        within,
        chosen,
        before: beside.map(|beside| beside.before),
        moved: beside
            .iter()
            .flat_map(|b| b.moved.iter().copied())
            .collect(),
    };
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
    let late = flags
        .iter()
        .filter(|f| f.status == PromiseStatus::Late)
        .count();
    Some(Picture {
        axis,
        zone: floor.zone,
        days: i64::from(stretch.days),
        now: floor.now,
        title: format!(
            "The plan from {}",
            show::day(stretch.from, today(floor.zone))
        ),
        desc: format!(
            "{count} operations on {} machines, with {} jobs due, {late} of them late. The lists below say the same.",
            floor.machines.len(),
            flags.len()
        ),
        groups: rows.groups(people),
        flags,
    })
}

/// What the rows of a sheet are made from.
struct Rows<'a> {
    keys: Keys,
    floor: &'a Floor,
    timetable: &'a Timetable,
    stretch: Stretch,
    within: Span,
    chosen: Option<Uuid>,
    before: Option<&'a Timetable>,
    /// Operations that are not where they were before.
    moved: BTreeSet<Uuid>,
}

impl Rows<'_> {
    /// Machines, then people, then work sent out if there is any.
    fn groups(&self, people_hours: Vec<Vec<Span>>) -> Vec<Group> {
        let least = self.stretch.detail() == Detail::Least;
        let group = |name, rows, tab_stops: bool| Group {
            name,
            rows,
            tab_stops,
            drawn_only: least && !tab_stops,
        };
        let machines = self.machines();
        let people = self.people(people_hours);
        let away = Row {
            name: "Sent out".to_owned(),
            href: None,
            whose: None,
            open: None,
            blocks: self.blocks(&|slot| slot.machine.is_none().then_some(slot.ends)),
        };
        let mut groups = vec![
            group("Machines", machines, true),
            group("People", people, false),
        ];
        if !away.blocks.is_empty() {
            groups.push(group("Outside", vec![away], true));
        }
        groups
    }

    fn machines(&self) -> Vec<Row> {
        let row = |machine: &FloorMachine| Row {
            name: machine.name.clone(),
            href: Some(self.panel("machine", machine.id)),
            whose: Some(Resource::Machine(machine.id)),
            open: Some(open(&machine.hours, self.within)),
            blocks: self.blocks(&|slot| (slot.machine == Some(machine.id)).then_some(slot.ends)),
        };
        self.floor.machines.iter().map(row).collect()
    }

    /// Only those who are given work: the office has no row.
    fn people(&self, hours: Vec<Vec<Span>>) -> Vec<Row> {
        let works = |person: &FloorPerson| {
            let slots = &self.timetable.slots;
            !person.skills.is_empty() || slots.iter().any(|s| s.person == Some(person.id))
        };
        let people = self.floor.people.iter().zip(hours);
        people
            .filter(|(person, _)| works(person))
            .map(|(person, open)| Row {
                name: person.name.clone(),
                href: Some(self.panel("person", person.id)),
                whose: Some(Resource::Person(person.id)),
                open: Some(open),
                blocks: self.blocks(&|slot| {
                    (slot.person == Some(person.id)).then_some(slot.attended_until)
                }),
            })
            .collect()
    }

    fn panel(&self, about: &str, id: Uuid) -> String {
        format!("/week?{}&{about}={id}#panel", self.stretch.query())
    }

    /// The blocks of a row; `until` says when a slot ends on it, if it is on it.
    fn blocks(&self, until: &dyn Fn(&Slot) -> Option<DateTime<Utc>>) -> Vec<Block> {
        let layer = |slot: &Slot| {
            if self.moved.contains(&slot.operation) {
                Layer::After
            } else {
                Layer::Plain
            }
        };
        let after = self
            .timetable
            .slots
            .iter()
            .filter_map(|slot| self.block(slot, layer(slot), until(slot)?));
        let before = self
            .before
            .iter()
            .flat_map(|before| &before.slots)
            .filter(|slot| {
                self.moved.contains(&slot.operation)
                    || self.timetable.slot(slot.operation).is_none()
            })
            .filter_map(|slot| self.block(slot, Layer::Before, until(slot)?));
        after.chain(before).collect()
    }

    fn block(&self, slot: &Slot, layer: Layer, until: DateTime<Utc>) -> Option<Block> {
        let (job, operation) = self.floor.operation(slot.operation)?;
        if slot.starts >= self.within.1 || until <= self.within.0 || until <= slot.starts {
            return None;
        }
        let key = self.keys.key(slot.operation);
        Some(Block {
            href: self.keys.href(self.floor, self.stretch, slot.operation),
            key,
            label: (short_number(job), bar_words(job, operation)),
            words: slot_title(self.floor, slot, self.stretch.detail()),
            times: [slot.starts, slot.setup_until.min(until), until],
            state: match (&job.order, slot.state) {
                (_, SlotState::Started | SlotState::HalfDone) => BlockState::Started,
                (_, SlotState::Pinned) => BlockState::Pinned,
                (Order::HeldSlot { .. } | Order::Wish, _) => BlockState::Reserved,
                _ if operation.pin.is_some() => BlockState::Pinned,
                _ => BlockState::Queued,
            },
            late: slot.slack_minutes.is_some_and(|slack| slack < 0),
            layer,
            chosen: self.chosen == Some(slot.operation),
            rows: match self.before {
                None => self.rows_for(job, operation),
                Some(_) => Vec::new(),
            },
        })
    }

    /// The machines and people an operation of a job may be moved to; none once it has begun, or when it is sent out.
    fn rows_for(&self, job: &FloorJob, operation: &FloorOperation) -> Vec<Uuid> {
        let waits = operation.progress == Progress::Queued && operation.outside_days.is_none();
        if !waits || !matches!(job.order, Order::Job) {
            return Vec::new();
        }
        let machines = self.floor.machines.iter();
        let machines = machines.filter(|m| m.kind == operation.machine_kind);
        let people = self.floor.people.iter();
        let people = people.filter(|p| !operation.skill.is_empty() && p.can(&operation.skill));
        let machines = machines.map(|m| m.id);
        machines.chain(people.map(|p| p.id)).collect()
    }
}

/// What a bar says behind the job's number: the customer, and what is done.
fn bar_words(job: &FloorJob, operation: &FloorOperation) -> String {
    if job.customer.is_empty() {
        operation.what.clone()
    } else {
        format!("{}: {}", job.customer, operation.what)
    }
}

fn flag(floor: &Floor, timetable: &Timetable, job: &FloorJob, within: Span) -> Option<Flag> {
    let due = job.due.filter(|due| (within.0..within.1).contains(due))?;
    let dates = timetable.job(job.id)?;
    let status = timetable.promise(floor, job)?;
    let number = short_number(job);
    let slack = slack_words(floor, dates.slack_minutes);
    let label = match (status, dates.chance) {
        (PromiseStatus::Late, _) => format!("{number} {slack}"),
        (PromiseStatus::AtRisk, Some(chance)) => format!("{number} {}", percent(chance)),
        _ => number,
    };
    let promised = if job.promised { "promised" } else { "due" };
    let chance = dates
        .chance
        .map(|chance| format!("; {} chance of being on time", percent(chance)))
        .unwrap_or_default();
    Some(Flag {
        href: job_href(job),
        label,
        words: format!(
            "{} {promised} {}: {slack}{chance}",
            long_number(job),
            moment(due, floor.zone),
        ),
        at: due,
        status,
    })
}
