//! How far a job has come, as a workshop says it.

use super::JobState;
use chrono::NaiveDate;
use strum::{EnumString, IntoStaticStr, VariantArray};

/// How far a job has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Stage {
    /// Nothing of it is begun.
    BookedIn,
    /// It has been begun.
    Running,
    /// Something that it needs is not here.
    Waiting,
    /// It is held: a check failed, or somebody said so.
    OnHold,
    /// All its work is done; it stands in the shop.
    Done,
    /// The customer has it.
    Collected,
    /// Collected and invoiced.
    Closed,
    /// Given up.
    Cancelled,
}

/// What a stage is told from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Standing {
    /// Operations that are begun or done.
    pub begun: i64,
    /// Whether it is held.
    pub held: bool,
    /// Whether something that it needs is not here.
    pub waits: bool,
    /// The day it was collected.
    pub collected_on: Option<NaiveDate>,
    /// The day it was invoiced.
    pub invoiced_on: Option<NaiveDate>,
}

impl Stage {
    /// The stage of a job. What keeps an open job from going on is said before how far it has come.
    #[must_use]
    pub fn of(state: JobState, standing: Standing) -> Self {
        match state {
            JobState::Cancelled => Self::Cancelled,
            JobState::Done if standing.collected_on.is_none() => Self::Done,
            JobState::Done if standing.invoiced_on.is_none() => Self::Collected,
            JobState::Done => Self::Closed,
            JobState::Open if standing.held => Self::OnHold,
            JobState::Open if standing.waits => Self::Waiting,
            JobState::Open if standing.begun > 0 => Self::Running,
            JobState::Open => Self::BookedIn,
        }
    }
}

/// How a job stands to its day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lateness {
    /// So many days before it.
    InHand(i64),
    /// So many days after it.
    Late(i64),
    /// Its day has passed and nobody can say when it will be ready.
    Overdue(i64),
    /// Nobody can say when it will be ready.
    NoDay,
}

/// How an open job stands to the day it is due, when the plan has it ready on a day.
#[must_use]
pub fn lateness(due: NaiveDate, ready: Option<NaiveDate>, today: NaiveDate) -> Lateness {
    let past = (today - due).num_days();
    match ready.map(|ready| (ready.max(today) - due).num_days()) {
        Some(after) if after > 0 => Lateness::Late(after),
        Some(before) => Lateness::InHand(-before),
        None if past > 0 => Lateness::Overdue(past),
        None => Lateness::NoDay,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_keeps_a_job_is_said_before_how_far_it_has_come() {
        let day = NaiveDate::from_ymd_opt(2027, 3, 1);
        let begun = Standing {
            begun: 2,
            ..Standing::default()
        };
        let stage = |state, standing| Stage::of(state, standing);
        assert_eq!(stage(JobState::Open, Standing::default()), Stage::BookedIn);
        assert_eq!(stage(JobState::Open, begun), Stage::Running);
        let waits = Standing {
            waits: true,
            ..begun
        };
        assert_eq!(stage(JobState::Open, waits), Stage::Waiting);
        let held = Standing {
            held: true,
            ..waits
        };
        assert_eq!(stage(JobState::Open, held), Stage::OnHold);
        assert_eq!(stage(JobState::Done, begun), Stage::Done);
        let collected = Standing {
            collected_on: day,
            ..begun
        };
        assert_eq!(stage(JobState::Done, collected), Stage::Collected);
        // Invoiced before it is collected: it still stands in the shop.
        let invoiced = Standing {
            invoiced_on: day,
            ..begun
        };
        assert_eq!(stage(JobState::Done, invoiced), Stage::Done);
        let both = Standing {
            invoiced_on: day,
            ..collected
        };
        assert_eq!(stage(JobState::Done, both), Stage::Closed);
        assert_eq!(stage(JobState::Cancelled, held), Stage::Cancelled);
    }

    #[test]
    fn lateness_is_counted_from_the_day_that_was_said() {
        let day = |d| NaiveDate::from_ymd_opt(2027, 3, d).unwrap();
        let of = |ready: Option<u32>, today| lateness(day(10), ready.map(day), day(today));
        assert_eq!(of(Some(8), 1), Lateness::InHand(2));
        assert_eq!(of(Some(10), 1), Lateness::InHand(0));
        assert_eq!(of(Some(13), 1), Lateness::Late(3));
        // A plan of yesterday cannot have it ready before today.
        assert_eq!(of(Some(9), 12), Lateness::Late(2));
        assert_eq!(of(None, 12), Lateness::Overdue(2));
        assert_eq!(of(None, 10), Lateness::NoDay);
    }
}
