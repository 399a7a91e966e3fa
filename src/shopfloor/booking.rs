//! What an entry meets when it arrives, and what follows from it for its operation.

use super::{Clock, Entry, Kind, OperationState, Phase, corrected, state};
use chrono::{DateTime, TimeDelta, Utc};
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What an entry was in conflict with when it arrived. It counts all the same until somebody has looked at it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Conflict {
    /// Somebody had finished the operation.
    OperationDone,
    /// The job was closed.
    JobClosed,
    /// The job was on hold.
    OnHold,
    /// An operation that comes before was not done.
    Waits,
}

/// Why an entry is not booked, however often it is sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BookingRefusal {
    /// Its key was used for another entry.
    #[error("the key was used for another entry")]
    KeyUsed,
    /// It corrects an entry, and that is not one of its operation.
    #[error("the corrected entry is not of this operation")]
    CorrectsOtherOperation,
    /// It is a correction and does not name the entry it corrects.
    #[error("a correction must name the entry it corrects")]
    CorrectsNothing,
}

/// The operation of an entry, as the entry finds it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Situation {
    /// Whether the job is open.
    pub job_is_open: bool,
    /// The state of the operation.
    pub state: OperationState,
    /// Whether the job is on hold.
    pub on_hold: bool,
    /// Whether an operation that comes before is not done.
    pub waits: bool,
}

/// What an entry is in conflict with. Only starting and finishing can be: a pause or a correction never is.
#[must_use]
pub fn conflict(kind: Kind, found: Situation) -> Option<Conflict> {
    if !(kind.starts() || kind == Kind::Done) {
        None
    } else if !found.job_is_open {
        Some(Conflict::JobClosed)
    } else if found.state == OperationState::Done {
        Some(Conflict::OperationDone)
    } else if found.on_hold {
        Some(Conflict::OnHold)
    } else if found.waits {
        Some(Conflict::Waits)
    } else {
        None
    }
}

/// What the entries of an operation say of it: its state, when it was first begun, and where and by whom it was last
/// begun.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Course {
    /// Its state.
    pub state: OperationState,
    /// When it was first begun.
    pub started_at: Option<DateTime<Utc>>,
    /// The machine it was last begun at.
    pub machine: Option<Uuid>,
    /// Who began it last.
    pub person: Option<Uuid>,
}

/// The course of one operation from all its entries.
#[must_use]
pub fn course(entries: &[Entry]) -> Course {
    let happened = corrected(entries);
    let mut starts = happened.iter().filter(|e| e.kind.starts());
    let first = starts.clone().next();
    let last = starts.next_back();
    Course {
        state: state(entries),
        started_at: first.map(|e| e.at),
        machine: last.and_then(|e| e.machine),
        person: last.map(|e| e.person),
    }
}

/// The other operations a person attends when they begin one. A machine that runs unattended is none of them.
#[must_use]
pub fn attended_elsewhere(clocks: &[Clock], person: Uuid, operation: Uuid) -> Vec<Uuid> {
    clocks
        .iter()
        .filter(|c| c.until.is_none() && c.person == person && c.phase != Phase::Alone)
        .filter(|c| c.operation != operation)
        .map(|c| c.operation)
        .collect()
}

/// Whether beginning one operation pauses another that the same person attends: a person attends one setup at a time,
/// and operations with the same setup key are in the same setup. `None` for an operation that is not known any more.
#[must_use]
pub fn pauses(begun: Option<&str>, attended: Option<&str>) -> bool {
    attended.is_none() || attended != begun
}

/// An entry may be this much outside the sign-on it was made under, for clocks that differ and for the last press before
/// signing off.
const TOLERANCE: TimeDelta = TimeDelta::minutes(5);

/// Whether an entry was made while its person was signed on, from and until. One that `answers` a question is about an
/// earlier shift and may be from before.
#[must_use]
pub fn while_signed_on(
    happened: DateTime<Utc>,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
    answers: bool,
) -> bool {
    happened <= until + TOLERANCE && (answers || happened >= from - TOLERANCE)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(time: &str) -> DateTime<Utc> {
        format!("2026-11-26T{time}:00Z").parse().unwrap()
    }

    #[test]
    fn the_first_reason_a_start_is_in_conflict_is_told_and_a_pause_never_is() {
        let mut found = Situation {
            job_is_open: false,
            state: OperationState::Done,
            on_hold: true,
            waits: true,
        };
        assert_eq!(conflict(Kind::Pause, found), None);
        assert_eq!(conflict(Kind::Moved, found), None);
        assert_eq!(conflict(Kind::Done, found), Some(Conflict::JobClosed));
        found.job_is_open = true;
        assert_eq!(conflict(Kind::Run, found), Some(Conflict::OperationDone));
        found.state = OperationState::Started;
        assert_eq!(conflict(Kind::RunAlone, found), Some(Conflict::OnHold));
        found.on_hold = false;
        assert_eq!(conflict(Kind::Setup, found), Some(Conflict::Waits));
        found.waits = false;
        assert_eq!(conflict(Kind::Setup, found), None);
    }

    #[test]
    fn an_operation_began_at_its_first_start_and_is_where_it_was_begun_last() {
        let [mill, drill, col, wyn] = [1, 2, 3, 4].map(Uuid::from_u128);
        let entry = |sequence: i64, kind, person, machine, time, corrects: Option<i64>| Entry {
            id: Uuid::from_u128(100 + sequence.unsigned_abs() as u128),
            kind,
            operation: Uuid::nil(),
            person,
            machine: Some(machine),
            at: at(time),
            sequence,
            corrects: corrects.map(|n| Uuid::from_u128(100 + n.unsigned_abs() as u128)),
        };
        let mut entries = vec![
            entry(1, Kind::Setup, col, mill, "08:00", None),
            entry(2, Kind::Run, wyn, drill, "09:00", None),
            entry(3, Kind::Done, wyn, drill, "10:00", None),
        ];
        let whole = course(&entries);
        assert_eq!(whole.state, OperationState::Done);
        assert_eq!(whole.started_at, Some(at("08:00")));
        assert_eq!((whole.machine, whole.person), (Some(drill), Some(wyn)));
        // The second start and the finish never happened.
        entries.push(entry(4, Kind::Struck, wyn, drill, "10:05", Some(2)));
        entries.push(entry(5, Kind::Struck, wyn, drill, "10:06", Some(3)));
        let left = course(&entries);
        assert_eq!(left.state, OperationState::Started);
        assert_eq!((left.machine, left.person), (Some(mill), Some(col)));
        assert_eq!(course(&[]).started_at, None);
    }

    #[test]
    fn who_begins_another_setup_pauses_the_first() {
        assert!(pauses(Some("vice / rear"), Some("vice / front")));
        assert!(!pauses(Some("vice / rear"), Some("vice / rear")));
        assert!(pauses(Some("vice / rear"), None));
    }

    /// Col attends the bore; his surfacing runs unattended, his hone has stopped, and the drill is Wyn's.
    #[test]
    fn a_person_attends_what_they_began_and_have_not_left() {
        let [bore, surface, hone, drill, next, col, wyn] =
            [1, 2, 3, 4, 5, 6, 7].map(Uuid::from_u128);
        let clock = |operation, person, phase, until: Option<&str>| Clock {
            start: Uuid::nil(),
            operation,
            person,
            machine: None,
            phase,
            from: at("08:00"),
            until: until.map(at),
        };
        let clocks = [
            clock(bore, col, Phase::Setup, None),
            clock(surface, col, Phase::Alone, None),
            clock(hone, col, Phase::Run, Some("09:00")),
            clock(drill, wyn, Phase::Run, None),
        ];
        assert_eq!(attended_elsewhere(&clocks, col, next), [bore]);
        assert!(attended_elsewhere(&clocks, col, bore).is_empty());
        assert_eq!(attended_elsewhere(&clocks, wyn, next), [drill]);
    }

    #[test]
    fn entries_belong_to_their_sign_on_give_or_take_five_minutes() {
        let (from, until) = (at("08:00"), at("12:00"));
        for (time, answers, ours) in [
            ("07:55", false, true),
            ("07:54", false, false),
            ("07:54", true, true),
            ("12:05", false, true),
            ("12:06", true, false),
        ] {
            assert_eq!(
                while_signed_on(at(time), from, until, answers),
                ours,
                "{time}"
            );
        }
    }
}
