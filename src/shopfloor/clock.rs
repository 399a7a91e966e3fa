//! From entries to clocks: who was at which operation from when until when.

use chrono::{DateTime, TimeDelta, Utc};
use std::collections::{BTreeMap, HashMap, HashSet};
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What an entry says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Kind {
    /// The person begins to set up.
    Setup,
    /// The person begins to run the operation and attends it.
    Run,
    /// The machine runs by itself from now on; the person is free for something else.
    RunAlone,
    /// The person stops; the operation is not done.
    Pause,
    /// The operation is done.
    Done,
    /// Correction: the entry it points at happened at this time instead.
    Moved,
    /// Correction: the entry it points at never happened.
    Struck,
    /// The entry it points at was looked at and is right as it stands.
    Stands,
}

impl Kind {
    /// Whether it starts a clock.
    #[must_use]
    pub fn starts(self) -> bool {
        matches!(self, Self::Setup | Self::Run | Self::RunAlone)
    }

    /// Whether it says something of another entry and must point at it.
    #[must_use]
    pub fn corrects(self) -> bool {
        matches!(self, Self::Moved | Self::Struck | Self::Stands)
    }
}

/// One entry, as it was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Entry {
    /// Key, made where it was entered.
    pub id: Uuid,
    /// What it says.
    pub kind: Kind,
    /// The operation of a job.
    pub operation: Uuid,
    /// Whose time it is.
    pub person: Uuid,
    /// At which machine; none for work that needs none.
    pub machine: Option<Uuid>,
    /// When it happened.
    pub at: DateTime<Utc>,
    /// Order of arrival; the later of two entries of one moment counts as the later.
    pub sequence: i64,
    /// The entry it corrects or confirms.
    pub corrects: Option<Uuid>,
}

/// What is being done while a clock runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Phase {
    /// Setting up, attended.
    Setup,
    /// Running, attended.
    Run,
    /// Running by itself.
    Alone,
}

impl Phase {
    /// Whether it keeps a person.
    #[must_use]
    pub fn is_attended(self) -> bool {
        self != Self::Alone
    }
}

/// A stretch of time at one operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Clock {
    /// The entry that started it.
    pub start: Uuid,
    /// The operation.
    pub operation: Uuid,
    /// Who attends it, or set it going.
    pub person: Uuid,
    /// At which machine.
    pub machine: Option<Uuid>,
    /// What is being done.
    pub phase: Phase,
    /// From.
    pub from: DateTime<Utc>,
    /// Until; `None` while it runs.
    pub until: Option<DateTime<Utc>>,
}

/// The state of an operation, which follows from its entries.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum OperationState {
    /// Nothing was begun.
    Queued,
    /// Begun and not done.
    Started,
    /// Done.
    Done,
}

/// When an entry happened by the server's clock: the device's time, put right by how far its clock was off when it sent
/// the entry (Cristian's algorithm with the travelling time left out, which is seconds where minutes count). A clock
/// within a minute is believed. Nothing is later than its arrival.
#[must_use]
pub fn true_time(
    device_at: DateTime<Utc>,
    sent_at: DateTime<Utc>,
    received_at: DateTime<Utc>,
) -> DateTime<Utc> {
    let off = received_at - sent_at;
    let believed = if off.abs() <= TimeDelta::minutes(1) {
        device_at
    } else {
        device_at.checked_add_signed(off).unwrap_or(device_at)
    };
    believed.min(received_at)
}

/// The entries that say what happened, with all corrections applied, in the order of time. The latest correction of an
/// entry counts; a correction that was itself struck does not.
#[must_use]
pub fn corrected(entries: &[Entry]) -> Vec<Entry> {
    let mut corrections: Vec<&Entry> = entries
        .iter()
        .filter(|e| matches!(e.kind, Kind::Moved | Kind::Struck))
        .collect();
    corrections.sort_by_key(|e| std::cmp::Reverse(e.sequence));
    let mut struck = HashSet::new();
    let mut moved = HashMap::new();
    for correction in corrections {
        let Some(target) = correction.corrects else {
            continue;
        };
        // Newest first: what already stands is newer than this.
        if struck.contains(&correction.id)
            || struck.contains(&target)
            || moved.contains_key(&target)
        {
            continue;
        }
        if correction.kind == Kind::Struck {
            struck.insert(target);
        } else {
            moved.insert(target, correction.at);
        }
    }
    let mut happened: Vec<Entry> = entries
        .iter()
        .filter(|e| !matches!(e.kind, Kind::Moved | Kind::Struck | Kind::Stands))
        .filter(|e| !struck.contains(&e.id))
        .map(|e| Entry {
            at: moved.get(&e.id).copied().unwrap_or(e.at),
            ..*e
        })
        .collect();
    happened.sort_by_key(|e| (e.at, e.sequence));
    happened
}

/// The state of an operation; the entries are those of one operation.
#[must_use]
pub fn state(entries: &[Entry]) -> OperationState {
    let happened = corrected(entries);
    if happened.iter().any(|e| e.kind == Kind::Done) {
        OperationState::Done
    } else if happened
        .iter()
        .any(|e| matches!(e.kind, Kind::Setup | Kind::Run | Kind::RunAlone))
    {
        OperationState::Started
    } else {
        OperationState::Queued
    }
}

/// The clocks of one operation while its entries are read in order.
#[derive(Default)]
struct Running {
    attended: BTreeMap<Uuid, Clock>,
    alone: Option<Clock>,
}

/// Every stretch that the entries make, of all their operations and people. Entries may be those of many operations,
/// in any order, corrections among them.
///
/// A person has one clock at an operation: setting up, running, or none; a new start ends the one before. A machine
/// left to run by itself has a clock that belongs to the operation, and ends when somebody attends, pauses or finishes
/// it. When an operation is done all its clocks end.
#[must_use]
pub fn clocks(entries: &[Entry]) -> Vec<Clock> {
    let mut running: BTreeMap<Uuid, Running> = BTreeMap::new();
    let mut ended = Vec::new();
    for entry in corrected(entries) {
        let here = running.entry(entry.operation).or_default();
        let mut end = |clock: Option<Clock>| {
            if let Some(clock) = clock {
                ended.push(Clock {
                    until: Some(entry.at),
                    ..clock
                });
            }
        };
        let started = |phase| Clock {
            start: entry.id,
            operation: entry.operation,
            person: entry.person,
            machine: entry.machine,
            phase,
            from: entry.at,
            until: None,
        };
        match entry.kind {
            Kind::Setup | Kind::Run => {
                end(here.attended.remove(&entry.person));
                end(here.alone.take());
                let phase = if entry.kind == Kind::Setup {
                    Phase::Setup
                } else {
                    Phase::Run
                };
                here.attended.insert(entry.person, started(phase));
            }
            Kind::RunAlone => {
                end(here.attended.remove(&entry.person));
                end(here.alone.take());
                here.alone = Some(started(Phase::Alone));
            }
            Kind::Pause => match here.attended.remove(&entry.person) {
                Some(clock) => end(Some(clock)),
                None => end(here.alone.take()),
            },
            Kind::Done => {
                for clock in std::mem::take(&mut here.attended).into_values() {
                    end(Some(clock));
                }
                end(here.alone.take());
            }
            Kind::Moved | Kind::Struck | Kind::Stands => {}
        }
    }
    for here in running.into_values() {
        ended.extend(here.attended.into_values().chain(here.alone));
    }
    ended.sort_by_key(|clock| (clock.from, clock.start));
    ended
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::minutes(minute)
    }

    fn entry(sequence: i64, kind: Kind, person: u128, minute: i64) -> Entry {
        Entry {
            id: Uuid::from_u128(1_000 + sequence.unsigned_abs() as u128),
            kind,
            operation: Uuid::from_u128(1),
            person: Uuid::from_u128(person),
            machine: Some(Uuid::from_u128(7)),
            at: at(minute),
            sequence,
            corrects: None,
        }
    }

    fn correcting(sequence: i64, kind: Kind, target: i64, minute: i64) -> Entry {
        Entry {
            corrects: Some(Uuid::from_u128(1_000 + target.unsigned_abs() as u128)),
            ..entry(sequence, kind, 10, minute)
        }
    }

    fn stretches(entries: &[Entry]) -> Vec<(Phase, i64, Option<i64>)> {
        let minute = |at: DateTime<Utc>| at.timestamp() / 60;
        clocks(entries)
            .into_iter()
            .map(|c| (c.phase, minute(c.from), c.until.map(minute)))
            .collect()
    }

    #[test]
    fn what_starts_a_clock_what_corrects_and_what_keeps_a_person() {
        use crate::units::Code;
        let such = |is: fn(Kind) -> bool| {
            Kind::ALL
                .iter()
                .copied()
                .filter(|kind| is(*kind))
                .collect::<Vec<_>>()
        };
        assert_eq!(such(Kind::starts), [Kind::Setup, Kind::Run, Kind::RunAlone]);
        assert_eq!(
            such(Kind::corrects),
            [Kind::Moved, Kind::Struck, Kind::Stands]
        );
        let attended = [Phase::Setup, Phase::Run, Phase::Alone].map(Phase::is_attended);
        assert_eq!(attended, [true, true, false]);
    }

    #[test]
    fn a_day_at_one_operation() {
        let entries = [
            entry(1, Kind::Setup, 10, 0),
            entry(2, Kind::Run, 10, 30),
            entry(3, Kind::Pause, 10, 60),
            entry(4, Kind::RunAlone, 10, 90),
            entry(5, Kind::Run, 10, 150),
            entry(6, Kind::Done, 10, 160),
        ];
        assert_eq!(
            stretches(&entries),
            [
                (Phase::Setup, 0, Some(30)),
                (Phase::Run, 30, Some(60)),
                (Phase::Alone, 90, Some(150)),
                (Phase::Run, 150, Some(160)),
            ]
        );
        assert_eq!(state(&entries), OperationState::Done);
        assert_eq!(state(&entries[..3]), OperationState::Started);
        assert_eq!(state(&[]), OperationState::Queued);
    }

    #[test]
    fn what_came_late_is_put_in_its_place() {
        // The pause was made without a network and arrives after the second start.
        let entries = [
            entry(1, Kind::Run, 10, 0),
            entry(2, Kind::Run, 10, 100),
            entry(3, Kind::Pause, 10, 40),
        ];
        assert_eq!(
            stretches(&entries),
            [(Phase::Run, 0, Some(40)), (Phase::Run, 100, None)]
        );
    }

    #[test]
    fn the_latest_correction_counts_and_a_struck_one_does_not() {
        let mut entries = vec![
            entry(1, Kind::Run, 10, 0),
            entry(2, Kind::Done, 10, 60),
            correcting(3, Kind::Moved, 2, 50),
        ];
        assert_eq!(stretches(&entries), [(Phase::Run, 0, Some(50))]);
        entries.push(correcting(4, Kind::Moved, 2, 45));
        assert_eq!(stretches(&entries), [(Phase::Run, 0, Some(45))]);
        entries.push(correcting(5, Kind::Struck, 4, 0));
        assert_eq!(stretches(&entries), [(Phase::Run, 0, Some(50))]);
        entries.push(correcting(6, Kind::Struck, 2, 0));
        assert_eq!(stretches(&entries), [(Phase::Run, 0, None)]);
        assert_eq!(state(&entries), OperationState::Started);
    }

    #[test]
    fn another_person_has_a_clock_of_their_own_until_it_is_done() {
        let entries = [
            entry(1, Kind::Run, 10, 0),
            entry(2, Kind::Run, 11, 20),
            entry(3, Kind::Done, 11, 30),
        ];
        assert_eq!(
            stretches(&entries),
            [(Phase::Run, 0, Some(30)), (Phase::Run, 20, Some(30))]
        );
    }

    #[test]
    fn a_device_whose_clock_is_off_is_put_right() {
        // Seven minutes fast, entered an hour before it was sent.
        assert_eq!(true_time(at(67), at(127), at(120)), at(60));
        // Half a minute off is believed, but nothing is later than its arrival.
        let half = TimeDelta::seconds(30);
        assert_eq!(true_time(at(60), at(120) + half, at(120)), at(60));
        assert_eq!(true_time(at(120) + half, at(120) + half, at(120)), at(120));
    }
}
