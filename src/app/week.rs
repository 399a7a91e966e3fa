//! The week as it is looked at: the current plan, why jobs are late and what would help, setups that could be combined.
//! Each is computed after the transaction that read it has ended; the plan itself is shared ([`SharedPlans`]).

use super::current_plan::CurrentPlan;
use super::explain_jobs::{Depth, ExplainedJob, explain_jobs, late_jobs};
use super::shared_plans::SharedPlans;
use super::{Actor, AppError};
use crate::db::plan_changes::{self, AppliedChange};
use crate::db::plans::{self, Age};
use crate::planning::what_if::{Combination, Settings, combinations};
use chrono::{DateTime, Utc};
use std::sync::Arc;
use uuid::Uuid;

/// The current plan with the change to it that can be undone.
#[derive(Debug, Clone)]
pub struct Week {
    /// The plan.
    pub plan: Arc<CurrentPlan>,
    /// How fresh it is at this look.
    pub age: Age,
    /// The change applied last, of those that have not been undone.
    pub newest: Option<AppliedChange>,
}

/// The week of the actor's shop, for anyone in it.
///
/// # Errors
/// [`AppError::Db`]; [`AppError::Failed`] when the floor cannot be planned.
pub async fn week(
    actor: &Actor,
    plans: &SharedPlans,
    now: DateTime<Utc>,
) -> Result<Week, AppError> {
    let mut tx = actor.begin().await?;
    let age = plans::age(&mut tx, now).await?;
    let newest = plan_changes::newest(&mut tx).await?;
    drop(tx);
    let plan = plans.current(actor, &age, now).await?;
    Ok(Week { plan, age, newest })
}

/// Jobs explained when nobody asks for one: the first that are late or at risk.
const EXPLAINED: usize = 3;

/// Changes that would help, for each job.
const HELPS: usize = 5;

/// The current plan with jobs explained.
#[derive(Debug, Clone)]
pub struct Risks {
    /// The plan.
    pub plan: Arc<CurrentPlan>,
    /// The jobs, those least likely to be on time first.
    pub explained: Vec<ExplainedJob>,
}

/// One job of the actor's shop explained, or else the first that are late or at risk. For anyone in the shop. A job that
/// is not in the plan is not in the answer.
///
/// # Errors
/// [`AppError::Db`]; [`AppError::Failed`] when the floor cannot be planned.
pub async fn risks(
    actor: &Actor,
    plans: &SharedPlans,
    which: Option<Uuid>,
    now: DateTime<Utc>,
) -> Result<Risks, AppError> {
    let plan = plans.now(actor, now).await?;
    let jobs = match which {
        Some(job) => vec![job],
        None => late_jobs(&plan).into_iter().take(EXPLAINED).collect(),
    };
    let depth = Depth {
        helps: HELPS,
        patience: None,
    };
    let shop = (actor.shop_id(), plans);
    let explained = explain_jobs(shop, plan.clone(), jobs, depth).await?;
    Ok(Risks { plan, explained })
}

/// Pairs of operations that are tried: each takes a plan of its own.
const PAIRS_TRIED: usize = 10;

/// The current plan with the setups that could be combined, what is best first. For anyone in the shop.
///
/// # Errors
/// [`AppError::Db`]; [`AppError::Failed`] when the floor cannot be planned.
pub async fn combined_setups(
    actor: &Actor,
    plans: &SharedPlans,
    now: DateTime<Utc>,
) -> Result<(Arc<CurrentPlan>, Vec<Combination>), AppError> {
    let plan = plans.now(actor, now).await?;
    let (plan, found) = compute("combining setups", move || {
        // No search and no chances: what is shown is what the new order alone does to the days.
        let settings = Settings {
            moves: 0,
            futures: 0,
            ..Settings::default()
        };
        let found = combinations(&plan.floor, &plan.timetable, PAIRS_TRIED, settings);
        (plan, found)
    })
    .await?;
    let found = found.map_err(|why| AppError::failed("combining setups", why))?;
    Ok((plan, found))
}

/// Computes on a thread of its own.
pub(super) async fn compute<T: Send + 'static>(
    what: &'static str,
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, AppError> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|why| AppError::failed(what, why))
}
