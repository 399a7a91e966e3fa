//! A job held back for a reason; and released.

use super::parts::{LONGEST_REASON, job_mut, short};
use super::{
    CannotChange, Entered, FormField, Input, Kind, Offer, PlanChange, RowChange, Subject, cannot,
};
use crate::planning::floor::Floor;
use crate::planning::words::job_words;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Nothing more is started of this job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hold {
    /// The job.
    pub job: Uuid,
    /// Why.
    pub reason: String,
}

/// A held job goes on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Release {
    /// The job.
    pub job: Uuid,
}

impl Kind for Hold {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        let job = job_mut(floor, self.job)?;
        short(&self.reason)?;
        if self.reason.trim().is_empty() {
            return cannot("reason", "Enter why, for whoever asks");
        }
        if job.hold.is_some() {
            return cannot("job", "This job is on hold already");
        }
        job.hold = Some(self.reason.trim().to_owned());
        Ok(())
    }

    fn inverse(&self, _floor: &Floor) -> Option<PlanChange> {
        Some(Release { job: self.job }.into())
    }

    fn words(&self, floor: &Floor) -> String {
        let job = job_words(floor, self.job);
        format!("{job} is put on hold ({})", self.reason.trim())
    }

    fn leaves_the_rest(&self) -> bool {
        true
    }

    fn rows(&self) -> Vec<RowChange> {
        vec![RowChange::SetHold {
            job: self.job,
            reason: self.reason.clone(),
        }]
    }

    fn offers(subject: &Subject) -> Vec<Offer> {
        match subject.of_job() {
            Some((job, _)) if job.hold.is_none() => {
                let reason = FormField::new("reason", "Why", Input::Text);
                vec![Offer::form("hold", "Put the job on hold", vec![reason])]
            }
            _ => Vec::new(),
        }
    }

    fn forms() -> &'static [&'static str] {
        &["hold"]
    }

    fn read(_form: &str, entered: &mut Entered) -> Option<PlanChange> {
        let job = entered.operation()?.0.id;
        let reason = entered.required("reason", LONGEST_REASON)?;
        Some(Self { job, reason }.into())
    }
}

impl Kind for Release {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        match job_mut(floor, self.job)?.hold.take() {
            Some(_) => Ok(()),
            None => cannot("job", "This job is not on hold"),
        }
    }

    fn inverse(&self, floor: &Floor) -> Option<PlanChange> {
        Some(
            Hold {
                job: self.job,
                reason: floor.job(self.job)?.hold.clone()?,
            }
            .into(),
        )
    }

    fn words(&self, floor: &Floor) -> String {
        format!("{} is released", job_words(floor, self.job))
    }

    fn leaves_the_rest(&self) -> bool {
        true
    }

    fn rows(&self) -> Vec<RowChange> {
        vec![RowChange::ClearHold { job: self.job }]
    }

    fn offers(subject: &Subject) -> Vec<Offer> {
        let held = subject
            .of_job()
            .and_then(|(job, _)| Some((job, job.hold.as_ref()?)));
        match held {
            Some((job, reason)) => {
                let label = format!("Release job {} (on hold: {reason})", job.number);
                vec![Offer::button("release", label)]
            }
            None => Vec::new(),
        }
    }

    fn forms() -> &'static [&'static str] {
        &["release"]
    }

    fn read(_form: &str, entered: &mut Entered) -> Option<PlanChange> {
        let job = entered.operation()?.0.id;
        Some(Self { job }.into())
    }
}
