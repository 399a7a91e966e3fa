//! How far a plan is behind the floor it was made from.

use chrono::{DateTime, TimeDelta, Utc};

/// A run that has not been heard of for so long is not counted on: its worker is gone, and another will take it over.
pub const RUN_SILENT_FOR: TimeDelta = TimeDelta::seconds(15);

/// By how much work may begin late before the plan counts as overtaken by time: common practice, no source.
pub const GRACE: TimeDelta = TimeDelta::minutes(15);

/// How far the plan is behind the floor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Freshness {
    /// It was made from the floor as it is.
    Fresh,
    /// The floor has changed since, or time has overtaken the plan.
    Stale {
        /// Since when.
        since: DateTime<Utc>,
    },
    /// A run is under way.
    Planning {
        /// How far it is, from 0 to 1.
        progress: f64,
        /// Whether the plan is that of the floor as it is already, and is only being made better.
        usable: bool,
    },
}

/// A planning run under way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// How far it is, from 0 to 1.
    pub progress: f64,
    /// When its worker last gave a sign of life.
    pub seen_at: DateTime<Utc>,
}

/// What the freshness of a plan follows from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Versions {
    /// The version of the floor.
    pub floor: i64,
    /// When the floor last changed, if it ever did.
    pub changed_at: Option<DateTime<Utc>>,
    /// The version of the floor that the plan was made from; `None` without a plan.
    pub plan: Option<i64>,
    /// The first start in the plan of work that has not started.
    pub first_start: Option<DateTime<Utc>>,
    /// The run under way.
    pub run: Option<Run>,
}

impl Freshness {
    /// How fresh a plan is at a moment. One of another version of the floor is stale, and so is one whose first work
    /// should have begun more than [`GRACE`] ago. While a run is heard of, that is said instead.
    #[must_use]
    pub fn of(versions: &Versions, now: DateTime<Utc>) -> Self {
        let overtaken = versions
            .first_start
            .map(|start| start + GRACE)
            .filter(|late| *late < now);
        let current = versions.plan == Some(versions.floor);
        let run = versions
            .run
            .filter(|run| now - run.seen_at < RUN_SILENT_FOR);
        match (run, overtaken) {
            (Some(run), _) => Self::Planning {
                progress: run.progress,
                usable: current && overtaken.is_none(),
            },
            (None, _) if !current => Self::Stale {
                since: versions.changed_at.unwrap_or(now),
            },
            (None, Some(since)) => Self::Stale { since },
            (None, None) => Self::Fresh,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> DateTime<Utc> {
        DateTime::<Utc>::UNIX_EPOCH + TimeDelta::minutes(minute)
    }

    #[test]
    fn a_plan_is_fresh_until_the_floor_changes_or_time_overtakes_it() {
        let made = Versions {
            floor: 7,
            changed_at: Some(at(3)),
            plan: Some(7),
            first_start: Some(at(60)),
            run: None,
        };
        let of = |versions, minute| Freshness::of(&versions, at(minute));
        assert_eq!(of(made, 75), Freshness::Fresh, "within the grace");
        assert_eq!(of(made, 76), Freshness::Stale { since: at(75) });
        let changed = Versions { floor: 8, ..made };
        assert_eq!(of(changed, 10), Freshness::Stale { since: at(3) });
        let none = Versions { plan: None, ..made };
        assert_eq!(of(none, 10), Freshness::Stale { since: at(3) });
    }

    #[test]
    fn a_run_is_counted_on_while_it_is_heard_of() {
        let run = |floor, seconds| Versions {
            floor,
            changed_at: Some(at(3)),
            plan: Some(7),
            first_start: None,
            run: Some(Run {
                progress: 0.4,
                seen_at: at(10) - TimeDelta::seconds(seconds),
            }),
        };
        let planning = |usable| Freshness::Planning {
            progress: 0.4,
            usable,
        };
        assert_eq!(Freshness::of(&run(7, 14), at(10)), planning(true));
        assert_eq!(Freshness::of(&run(8, 14), at(10)), planning(false));
        assert_eq!(Freshness::of(&run(7, 15), at(10)), Freshness::Fresh);
    }
}
