//! `/api/v1/plan`: when, where and by whom each operation is done, and when each job is ready.

use super::versions;
use crate::planning::floor::{JobDates, Slot, SlotState};
use crate::planning::freshness::Freshness;
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, SignedIn};
use actix_web::web;
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/plan`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/plan").get(show));
}

#[derive(OpenApi)]
#[openapi(paths(show))]
pub(super) struct Doc;

/// The plan as it can be carried out now.
#[derive(Debug, Serialize, ToSchema)]
struct PlanShown {
    /// The moment it is of.
    at: DateTime<Utc>,
    /// `fresh`; `planning` while a run is under way; `stale` when the floor has changed and no run is under way.
    state: &'static str,
    slots: Vec<SlotShown>,
    jobs: Vec<DatesShown>,
}

/// When, where and by whom one operation is done.
#[derive(Debug, Serialize, ToSchema)]
struct SlotShown {
    operation: Uuid,
    /// Its job, or the quote whose slot is held.
    job: Uuid,
    /// None for work sent out.
    machine: Option<Uuid>,
    /// Who attends it.
    person: Option<Uuid>,
    starts: DateTime<Utc>,
    /// When the person is free again.
    attended_until: DateTime<Utc>,
    ends: DateTime<Utc>,
    /// Setup, in working minutes.
    setup_minutes: i64,
    /// `planned`, `pinned`, `started` or `half_done`.
    state: &'static str,
}

/// When a job is ready, and how sure that is.
#[derive(Debug, Serialize, ToSchema)]
struct DatesShown {
    /// The job, or the quote whose slot is held.
    job: Uuid,
    ready_at: DateTime<Utc>,
    /// When it is ready at the shop's confidence.
    sure_by: Option<DateTime<Utc>>,
    /// Working minutes of the shop until its day runs out; negative when it is late by so many. None without a day.
    slack_minutes: Option<i64>,
    /// The chance that its day holds, from 0 to 1.
    chance: Option<f64>,
}

impl From<&Slot> for SlotShown {
    fn from(slot: &Slot) -> Self {
        Self {
            operation: slot.operation,
            job: slot.job,
            machine: slot.machine,
            person: slot.person,
            starts: slot.starts,
            attended_until: slot.attended_until,
            ends: slot.ends,
            setup_minutes: slot.setup_minutes,
            state: match slot.state {
                SlotState::Planned => "planned",
                SlotState::Pinned => "pinned",
                SlotState::Started => "started",
                SlotState::HalfDone => "half_done",
            },
        }
    }
}

impl From<&JobDates> for DatesShown {
    fn from(dates: &JobDates) -> Self {
        Self {
            job: dates.job,
            ready_at: dates.ready_at,
            sure_by: dates.sure_by,
            slack_minutes: dates.slack_minutes,
            chance: dates.chance,
        }
    }
}

/// The current plan.
#[utoipa::path(get, path = "/api/v1/plan", operation_id = "read_plan", tag = "Plan",
    responses((status = 200, description = "Operations by their start, and jobs with their days; the version in ETag", body = PlanShown)))]
async fn show(who: SignedIn, site: web::Data<Site>) -> Answer {
    let plan = site.plans.now(&who.actor(), Utc::now()).await?;
    let shown = PlanShown {
        at: plan.timetable.origin,
        state: match plan.age.freshness {
            Freshness::Fresh => "fresh",
            Freshness::Planning { .. } => "planning",
            Freshness::Stale { .. } => "stale",
        },
        slots: plan.timetable.slots.iter().map(SlotShown::from).collect(),
        jobs: plan.timetable.jobs.iter().map(DatesShown::from).collect(),
    };
    Ok(versions::tagged(plan.age.seen(), shown))
}
