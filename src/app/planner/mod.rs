//! The planner that works beside the service: whenever the floor changes, a run is queued, and a worker makes a new plan.
//!
//! The queue is PostgreSQL's, by way of the `graphile_worker` library, so any number of workers may take runs, in the
//! service or alone. What asks for a run, and how a burst of changes becomes one, is in the database
//! (`ask_for_a_plan`): one run a shop waits at most, and runs of one shop come one after another. A worker that is
//! killed is missed within seconds, and its run is taken over.
//!
//! A run has two stages. The first makes a plan that can be used at once: the old one carried over to the floor as it
//! is, mended where that pays. The second improves it for a set time. Each is kept only while the floor is still the one
//! the run started from; otherwise the run ends, for the change that overtook it has queued another.

mod replan;

use crate::app::{Actor, AppError, lapse};
use crate::db::{answers, migrate, planner_queue, plans, settings, shops};
use crate::planning::Freshness;
use chrono::{TimeDelta, Utc};
use graphile_worker::{
    Cron, IntoTaskHandlerResult, TaskHandler, Worker, WorkerContext, WorkerOptions,
};
use serde::{Deserialize, Serialize};
use sqlx::PgPool;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use uuid::Uuid;

pub use replan::{Ended, replan};

/// How a worker plans.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settings {
    /// How long a plan is improved after the first usable one.
    pub improve_for: Duration,
    /// Futures drawn for the chances of promises.
    pub futures: usize,
    /// How often a worker gives a sign of life; one that was silent for five times as long is taken for dead, and its
    /// runs are taken over.
    pub heartbeat: Duration,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            improve_for: Duration::from_secs(5),
            futures: 1_000,
            heartbeat: Duration::from_secs(2),
        }
    }
}

/// What can go wrong with a worker.
#[derive(Debug, thiserror::Error)]
pub enum WorkerError {
    /// It could not be set up.
    #[error("the worker could not be set up: {0}")]
    Setup(#[from] graphile_worker::WorkerBuildError),
    /// It came to an end by itself.
    #[error("the worker stopped: {0}")]
    Run(#[from] graphile_worker::runner::WorkerRuntimeError),
}

/// A worker that takes runs from the queue.
pub struct Planner {
    worker: Worker,
}

impl Planner {
    /// A worker with `at_once` runs at a time, of different shops; nothing is taken before [`Self::run_until`]. The
    /// connections are the service's, so row-level security binds it.
    ///
    /// # Errors
    /// [`WorkerError::Setup`].
    pub async fn new(
        pool: PgPool,
        at_once: usize,
        settings: Settings,
    ) -> Result<Self, WorkerError> {
        let beat = settings.heartbeat;
        let worker = WorkerOptions::default()
            .pg_pool(pool)
            .schema(migrate::QUEUE_SCHEMA)
            .concurrency(at_once)
            .poll_interval(Duration::from_millis(500))
            .heartbeat_interval(beat)
            .sweep_interval(beat * 2)
            .sweep_threshold(beat * 5)
            .recovery_delay(Duration::ZERO)
            .listen_os_shutdown_signals(false)
            .shutdown_interrupted_job_retry_delay(Duration::ZERO)
            .shutdown_grace_period(Duration::from_secs(2))
            .add_extension(settings)
            .define_job::<Replan>()
            .define_job::<LookRound>()
            .with_cron(Cron::every_minute::<LookRound>())
            .init()
            .await?;
        Ok(Self { worker })
    }

    /// Takes runs until `stop` resolves; a run under way is given two seconds and then back to the queue.
    ///
    /// # Errors
    /// [`WorkerError::Run`].
    pub async fn run_until(&self, stop: impl Future<Output = ()>) -> Result<(), WorkerError> {
        let mut run = std::pin::pin!(self.worker.run());
        tokio::select! {
            done = &mut run => return Ok(done?),
            () = stop => self.worker.request_shutdown(),
        }
        Ok(run.await?)
    }
}

/// Takes runs until `stop` resolves. A worker that fails, for example because the database went away, is set up anew a
/// moment later.
pub async fn keep_planning(
    pool: &PgPool,
    at_once: usize,
    settings: Settings,
    stop: impl Future<Output = ()>,
) {
    let stopped = AtomicBool::new(false);
    let mut stop = std::pin::pin!(async {
        stop.await;
        stopped.store(true, Ordering::Relaxed);
    });
    loop {
        let done = match Planner::new(pool.clone(), at_once, settings).await {
            Ok(planner) => planner.run_until(&mut stop).await,
            Err(why) => Err(why),
        };
        let Err(why) = done else { return };
        if stopped.load(Ordering::Relaxed) {
            tracing::error!(%why, "planning stopped");
            return;
        }
        tracing::error!(%why, "planning stopped; it begins again in a moment");
        tokio::select! {
            () = &mut stop => return,
            () = tokio::time::sleep(Duration::from_secs(5)) => {}
        }
    }
}

/// A run: plan this shop.
#[derive(Debug, Serialize, Deserialize)]
struct Replan {
    shop_id: Uuid,
}

impl TaskHandler for Replan {
    const IDENTIFIER: &'static str = "replan";

    async fn run(self, ctx: WorkerContext) -> impl IntoTaskHandlerResult {
        let settings = ctx.get_ext::<Settings>().copied().unwrap_or_default();
        match replan(ctx.pg_pool(), self.shop_id, settings).await {
            Ok(ended) => {
                tracing::info!(shop = %self.shop_id, ?ended, "planned");
                Ok(())
            }
            Err(why) => {
                tracing::error!(shop = %self.shop_id, %why, "planning");
                Err(why.to_string())
            }
        }
    }
}

/// Once a minute: what time itself changes. Quotes and held slots lapse, and a plan that the clock has overtaken is made
/// again.
#[derive(Debug, Default, Serialize, Deserialize)]
struct LookRound;

impl TaskHandler for LookRound {
    const IDENTIFIER: &'static str = "look_round";

    async fn run(self, ctx: WorkerContext) -> impl IntoTaskHandlerResult {
        let pool = ctx.pg_pool();
        let shops = shops::list(pool).await.map_err(|why| why.to_string())?;
        for (name, shop_id) in shops {
            // One shop's trouble is not the others'.
            if let Err(why) = look_round(pool, shop_id).await {
                tracing::error!(shop = %name, %why, "looking round");
            }
        }
        Ok::<(), String>(())
    }
}

/// How long answers that were read out are kept; quotes keep theirs for good.
const ANSWERS_KEPT: TimeDelta = TimeDelta::days(14);

/// Lets lapse what has run out in a shop, and asks for a run when its plan is not of the floor as it is now.
///
/// # Errors
/// [`AppError::Db`].
pub async fn look_round(pool: &PgPool, shop_id: Uuid) -> Result<(), AppError> {
    let now = Utc::now();
    let mut tx = Actor::program(pool.clone(), shop_id).begin().await?;
    let zone = settings::get(&mut tx).await?.time_zone;
    let today = now.with_timezone(&zone).date_naive();
    lapse::lapse(&mut tx, today).await?;
    answers::clear_before(&mut tx, now - ANSWERS_KEPT).await?;
    let age = plans::age(&mut tx, now).await?;
    if matches!(age.freshness, Freshness::Stale { .. }) {
        planner_queue::ask(&mut tx).await?;
    }
    tx.commit().await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The clock's jobs come without a payload.
    #[test]
    fn what_is_done_once_a_minute_needs_no_payload() {
        let read: Result<LookRound, _> = serde_json::from_value(serde_json::Value::Null);
        assert!(read.is_ok(), "{read:?}");
    }
}
