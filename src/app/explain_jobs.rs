//! Jobs explained: what holds them up, which absences put them off, and what would help. Today and the week ask for the
//! same, in different depth.
//!
//! What a job waits for is read off the plan. Which absences put it off takes a plan for each of them, so that is worked out
//! once for the jobs that are late or at risk and kept for as long as the plan is ([`SharedPlans`]).

use super::AppError;
use super::current_plan::CurrentPlan;
use super::shared_plans::SharedPlans;
use super::week::compute;
use crate::planning::engine::explain::{Explanation, explain};
use crate::planning::floor::PromiseStatus;
use crate::planning::what_if::{Absence, Help, absences, helps};
use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

/// Late jobs whose absences are worked out together.
pub const EXPLAINED: usize = 6;

/// Absences that are tried as what puts jobs off.
const STOPS: usize = 8;

const WHAT: &str = "explaining late jobs";

/// Why a job is ready when it is, and what would help.
#[derive(Debug, Clone)]
pub struct ExplainedJob {
    /// The job.
    pub job: Uuid,
    /// What it waits for.
    pub explanation: Explanation,
    /// Changes to preview, the best first.
    pub helps: Vec<Help>,
    /// Absences that put it off, the one that does so most first.
    pub absences: Vec<Absence>,
}

/// How far to go.
#[derive(Debug, Clone, Copy)]
pub(super) struct Depth {
    /// Changes that would help, for each job; each takes plans of its own.
    pub helps: usize,
    /// How long to wait for the absences when they are not known yet. Those that are not known by then are left out, and
    /// are there for whoever asks next. `None` waits until they are.
    pub patience: Option<Duration>,
}

/// The first jobs that are late or at risk, those least likely to be on time first; at most [`EXPLAINED`].
pub(super) fn late_jobs(plan: &CurrentPlan) -> Vec<Uuid> {
    let open = plan.timetable.open_promises(&plan.floor);
    let late = open.iter().filter(|o| o.status != PromiseStatus::OnTime);
    late.take(EXPLAINED).map(|open| open.job.id).collect()
}

/// Explains jobs of a plan. One that is not in the plan is not in the answer.
///
/// # Errors
/// [`AppError::Failed`] when the floor cannot be planned.
pub(super) async fn explain_jobs(
    (shop_id, plans): (Uuid, &SharedPlans),
    plan: Arc<CurrentPlan>,
    jobs: Vec<Uuid>,
    depth: Depth,
) -> Result<Vec<ExplainedJob>, AppError> {
    if jobs.is_empty() {
        return Ok(Vec::new());
    }
    let late = late_jobs(&plan);
    let asked = if jobs.iter().all(|job| late.contains(job)) {
        late
    } else {
        jobs.clone()
    };
    let away = absences_of(
        (shop_id, plans.clone()),
        plan.clone(),
        asked,
        depth.patience,
    )
    .await?;
    let explain_all = || async {
        let (plan, jobs) = (plan.clone(), jobs.clone());
        let all = compute(WHAT, move || {
            let one = |id: Uuid| {
                let job = plan.model.job(id)?;
                Some((id, explain(&plan.model.model, &plan.plan, job).ok()?))
            };
            jobs.into_iter().filter_map(one).collect()
        });
        Ok(Arc::new(all.await?))
    };
    let explained = plans.explained(shop_id, &plan, &jobs, explain_all).await?;
    let of_each = move |plan: &CurrentPlan| {
        let explained = explained.iter().cloned();
        explained
            .map(|(id, explanation)| ExplainedJob {
                job: id,
                helps: match depth.helps {
                    0 => Vec::new(),
                    most => helps(&plan.floor, &plan.model, id, &explanation, most),
                },
                explanation,
                absences: away.iter().filter(|a| a.job == id).cloned().collect(),
            })
            .collect()
    };
    match depth.helps {
        0 => Ok(of_each(&plan)),
        _ => compute(WHAT, move || of_each(&plan)).await,
    }
}

/// The absences that put jobs off, by a computation that goes on when nobody waits for it any longer.
async fn absences_of(
    (shop_id, plans): (Uuid, SharedPlans),
    plan: Arc<CurrentPlan>,
    jobs: Vec<Uuid>,
    patience: Option<Duration>,
) -> Result<Arc<Vec<Absence>>, AppError> {
    let working = tokio::spawn(async move {
        let compute = || tried(plan.clone(), jobs.clone());
        let found = plans.absences(shop_id, &plan, &jobs, compute).await;
        if let Err(why) = &found {
            tracing::warn!(shop = %shop_id, error = ?why, "absences could not be tried");
        }
        found
    });
    let joined = match patience {
        None => working.await,
        Some(patience) => match tokio::time::timeout(patience, working).await {
            Ok(joined) => joined,
            Err(_) => return Ok(Arc::default()),
        },
    };
    joined.map_err(|why| AppError::failed(WHAT, why))?
}

async fn tried(plan: Arc<CurrentPlan>, jobs: Vec<Uuid>) -> Result<Arc<Vec<Absence>>, AppError> {
    let found = compute(WHAT, move || {
        absences(&plan.floor, &plan.timetable, &jobs, STOPS)
    })
    .await?;
    found
        .map(Arc::new)
        .map_err(|why| AppError::failed(WHAT, why))
}
