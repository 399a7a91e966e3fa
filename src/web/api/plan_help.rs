//! What would help the plan: for jobs that are late or at risk, and setups that could be combined. Every change stands as
//! `/api/v1/plan/preview` and `/api/v1/plan/changes` take it.

use super::plan_changes::WhatComes;
use super::versions;
use crate::app::explain_jobs::ExplainedJob;
use crate::app::week::{combined_setups, risks};
use crate::planning::changes::PlanChange;
use crate::planning::floor::Floor;
use crate::planning::what_if::{Combination, Help};
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, SignedIn};
use actix_web::web;
use chrono::Utc;
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/plan`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/plan/risks").get(at_risk))
        .service(web::resource("/api/v1/plan/setups").get(setups));
}

#[derive(OpenApi)]
#[openapi(paths(at_risk, setups))]
pub(super) struct Doc;

/// Which job.
#[derive(Debug, Deserialize)]
struct Which {
    job: Option<Uuid>,
}

/// A change that would help a job.
#[derive(Debug, Serialize, ToSchema)]
struct ChangeThatHelps {
    words: String,
    #[schema(value_type = Object)]
    change: PlanChange,
    /// Minutes by the clock that the job is ready sooner; none where only the preview tells.
    sooner_minutes: Option<i64>,
    /// Weighted lateness that the other jobs gain, in minutes; negative when they are helped too.
    others_lose_minutes: Option<i64>,
}

/// A job that is late or at risk.
#[derive(Debug, Serialize, ToSchema)]
struct JobAtRisk {
    job: Uuid,
    /// The best first.
    helps: Vec<ChangeThatHelps>,
    /// Absences that put it off, in words.
    absences: Vec<String>,
}

impl ChangeThatHelps {
    fn of(help: &Help, floor: &Floor) -> Self {
        Self {
            words: help.change.words(floor),
            change: help.change.clone(),
            sooner_minutes: help.found.map(|found| found.sooner),
            others_lose_minutes: help.found.map(|found| found.others_lose),
        }
    }
}

impl JobAtRisk {
    fn of(explained: &ExplainedJob, floor: &Floor) -> Self {
        let helps = explained.helps.iter();
        let absences = explained.absences.iter();
        Self {
            job: explained.job,
            helps: helps.map(|help| ChangeThatHelps::of(help, floor)).collect(),
            absences: absences.map(|absence| absence.words(floor)).collect(),
        }
    }
}

/// What would help a job, or else the first that are late or at risk.
#[utoipa::path(get, path = "/api/v1/plan/risks", operation_id = "list_risks", tag = "Plan",
    params(("job" = Option<Uuid>, Query, description = "This job only")),
    responses((status = 200, description = "The jobs; the version of the plan in ETag", body = Vec<JobAtRisk>)))]
async fn at_risk(who: SignedIn, site: web::Data<Site>, which: web::Query<Which>) -> Answer {
    let found = risks(&who.actor(), &site.plans, which.job, Utc::now()).await?;
    let floor = &found.plan.floor;
    let jobs = found.explained.iter();
    let shown: Vec<JobAtRisk> = jobs.map(|job| JobAtRisk::of(job, floor)).collect();
    Ok(versions::tagged(found.plan.age.seen(), shown))
}

/// Two operations that could share a setup.
#[derive(Debug, Serialize, ToSchema)]
struct SetupToCombine {
    /// The one that stays, or goes first.
    first: Uuid,
    second: Uuid,
    machine: Uuid,
    /// On the whole plan; what another order costs elsewhere is taken off.
    saves_minutes: i64,
    words: String,
    #[schema(value_type = Object)]
    change: PlanChange,
    comes: WhatComes,
}

impl SetupToCombine {
    fn of(found: &Combination, floor: &Floor) -> Self {
        Self {
            first: found.first,
            second: found.second,
            machine: found.machine,
            saves_minutes: found.saves,
            words: found.change.words(floor),
            change: found.change.clone(),
            comes: WhatComes::of(&found.tried.effect),
        }
    }
}

/// Setups that could be combined, what saves most first.
#[utoipa::path(get, path = "/api/v1/plan/setups", operation_id = "list_setups_to_combine", tag = "Plan",
    responses((status = 200, description = "The pairs; the version of the plan in ETag", body = Vec<SetupToCombine>)))]
async fn setups(who: SignedIn, site: web::Data<Site>) -> Answer {
    let (plan, found) = combined_setups(&who.actor(), &site.plans, Utc::now()).await?;
    let floor = &plan.floor;
    let shown: Vec<SetupToCombine> = found
        .iter()
        .map(|pair| SetupToCombine::of(pair, floor))
        .collect();
    Ok(versions::tagged(plan.age.seen(), shown))
}
