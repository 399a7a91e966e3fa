//! A job put before all others, or back in its turn.

use super::parts::job_mut;
use super::{CannotChange, Entered, Kind, Offer, PlanChange, RowChange, Subject};
use crate::planning::calendar::Calendar;
use crate::planning::floor::{Floor, SlotState, Timetable};
use crate::planning::words::job_words;
use chrono::{DateTime, Days, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use uuid::Uuid;

/// This job's place before all others, the lowest first; `None` for its turn by its due date.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rank {
    /// The job.
    pub job: Uuid,
    /// Its place.
    pub place: Option<i64>,
}

impl Rank {
    /// Before all others, those put first earlier included.
    #[must_use]
    pub fn first(floor: &Floor, job: Uuid) -> Self {
        let lowest = floor.jobs.iter().filter_map(|j| j.put_first).min();
        Self {
            job,
            place: Some(lowest.map_or(1, |place| place.saturating_sub(1))),
        }
    }
}

impl Kind for Rank {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        job_mut(floor, self.job)?.put_first = self.place;
        Ok(())
    }

    fn inverse(&self, floor: &Floor) -> Option<PlanChange> {
        Some(
            Self {
                job: self.job,
                place: floor.job(self.job)?.put_first,
            }
            .into(),
        )
    }

    fn words(&self, floor: &Floor) -> String {
        let job = job_words(floor, self.job);
        match self.place {
            Some(_) => format!("{job} is put first"),
            None => format!("{job} goes back to its turn by due date"),
        }
    }

    fn rows(&self) -> Vec<RowChange> {
        let job = self.job;
        vec![match self.place {
            Some(place) => RowChange::SetRank { job, place },
            None => RowChange::ClearRank { job },
        }]
    }

    /// The work of a job that is put first goes before all that it would meet if nothing were in its way; all other work
    /// keeps its order.
    fn reordered(&self, floor: &Floor, before: &Timetable) -> Option<Timetable> {
        self.place?;
        let job = floor.job(self.job)?;
        let last = before.slots.iter().map(|slot| slot.ends).max()?;
        let calendar = Calendar::build(&floor.hours, floor.now, last);
        let mut ends: BTreeMap<u32, DateTime<Utc>> = BTreeMap::new();
        let mut ordered = before.clone();
        for operation in &job.operations {
            let Some(slot) = ordered
                .slots
                .iter_mut()
                .find(|s| s.operation == operation.id)
            else {
                continue;
            };
            let waits = operation.after.iter().filter_map(|number| ends.get(number));
            let ready = waits.copied().max().unwrap_or(floor.now);
            if slot.state == SlotState::Planned {
                slot.starts = slot.starts.min(ready);
            }
            let minutes = u32::try_from(operation.setup + operation.run).unwrap_or(u32::MAX);
            let end = match operation.outside_days {
                Some(days) => slot.starts.checked_add_days(Days::new(u64::from(days))),
                None if slot.state == SlotState::Planned => {
                    calendar.add_working(slot.starts, minutes)
                }
                None => Some(slot.ends),
            };
            ends.insert(operation.number, end.unwrap_or(slot.ends));
        }
        Some(ordered)
    }

    fn offers(subject: &Subject) -> Vec<Offer> {
        let Some((job, _)) = subject.of_job() else {
            return Vec::new();
        };
        let first = Offer::button("first", format!("Put job {} first", job.number));
        let turn = job
            .put_first
            .map(|_| Offer::button("turn", format!("Put job {} back in turn", job.number)));
        std::iter::once(first).chain(turn).collect()
    }

    fn forms() -> &'static [&'static str] {
        &["first", "turn"]
    }

    fn read(form: &str, entered: &mut Entered) -> Option<PlanChange> {
        let job = entered.operation()?.0.id;
        Some(match form {
            "first" => Self::first(entered.floor, job).into(),
            _ => Self { job, place: None }.into(),
        })
    }
}
