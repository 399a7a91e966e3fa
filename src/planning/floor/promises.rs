//! How jobs stand against the days they are wanted.

use super::snapshot::{Floor, FloorJob};
use super::timetable::{JobDates, Timetable};

/// How a job stands against the day it is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PromiseStatus {
    /// It is planned in time, and surely enough.
    OnTime,
    /// It is planned in time, with a chance below the shop's confidence.
    AtRisk,
    /// It is planned later.
    Late,
}

/// A planned job that is wanted by a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpenPromise<'a> {
    /// The job.
    pub job: &'a FloorJob,
    /// When it is ready.
    pub dates: &'a JobDates,
    /// How it stands.
    pub status: PromiseStatus,
}

impl Timetable {
    /// How a job stands against the day it is wanted; `None` when it has none or is not planned.
    #[must_use]
    pub fn promise(&self, floor: &Floor, job: &FloorJob) -> Option<PromiseStatus> {
        let dates = self.job(job.id)?;
        Some(if dates.ready_at > job.due? {
            PromiseStatus::Late
        } else if dates.chance.is_some_and(|chance| chance < floor.confidence) {
            PromiseStatus::AtRisk
        } else {
            PromiseStatus::OnTime
        })
    }

    /// Every planned job that is wanted by a day: those planned late first, then those least likely to be on time.
    #[must_use]
    pub fn open_promises<'a>(&'a self, floor: &'a Floor) -> Vec<OpenPromise<'a>> {
        let mut open: Vec<OpenPromise> = floor
            .jobs
            .iter()
            .filter_map(|job| {
                Some(OpenPromise {
                    job,
                    dates: self.job(job.id)?,
                    status: self.promise(floor, job)?,
                })
            })
            .collect();
        let chance = |o: &OpenPromise| o.dates.chance.unwrap_or(1.0);
        open.sort_by(|a, b| {
            (a.status != PromiseStatus::Late)
                .cmp(&(b.status != PromiseStatus::Late))
                .then(chance(a).total_cmp(&chance(b)))
                .then(a.dates.slack_minutes.cmp(&b.dates.slack_minutes))
        });
        open
    }
}
