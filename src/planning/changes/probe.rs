//! A kind that only the tests know: what a new kind takes is this file and its two lines in the list.

use super::parts::job_mut;
use super::{
    CannotChange, Entered, FormField, Input, Kind, Offer, PlanChange, RowChange, Subject, cannot,
};
use crate::planning::calendar::local_instant;
use crate::planning::floor::Floor;
use crate::planning::words::{job_words, moment};
use chrono::{DateTime, NaiveTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A job's due date moved.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Probe {
    /// The job.
    pub job: Uuid,
    /// Its due date; `None` for none.
    pub due: Option<DateTime<Utc>>,
}

impl Kind for Probe {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        let now = floor.now;
        let job = job_mut(floor, self.job)?;
        if self.due.is_some_and(|due| due < now) {
            return cannot("day", "This day has passed");
        }
        job.due = self.due;
        Ok(())
    }

    fn inverse(&self, floor: &Floor) -> Option<PlanChange> {
        let job = floor.job(self.job)?;
        let (job, due) = (job.id, job.due);
        Some(Self { job, due }.into())
    }

    fn words(&self, floor: &Floor) -> String {
        let job = job_words(floor, self.job);
        match self.due {
            Some(due) => format!("{job} is due on {}", moment(due, floor.zone)),
            None => format!("{job} has no due date"),
        }
    }

    fn times(&self) -> Vec<DateTime<Utc>> {
        self.due.into_iter().collect()
    }

    fn rows(&self) -> Vec<RowChange> {
        Vec::new()
    }

    fn offers(subject: &Subject) -> Vec<Offer> {
        match subject.of_job() {
            Some(_) => {
                let day = FormField::new("day", "Due", Input::Date);
                vec![Offer::form("probe", "Move the due date", vec![day])]
            }
            None => Vec::new(),
        }
    }

    fn forms() -> &'static [&'static str] {
        &["probe"]
    }

    fn read(_form: &str, entered: &mut Entered) -> Option<PlanChange> {
        let job = entered.operation()?.0.id;
        let day = entered.date("day")?;
        let due = local_instant(entered.floor.zone, day.and_time(NaiveTime::MIN));
        let due = Some(due);
        Some(Self { job, due }.into())
    }
}
