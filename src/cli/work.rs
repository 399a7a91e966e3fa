//! The verb `work`: a planner alone, beside services on this machine or others.

use super::database::Database;
use super::serve::stop;
use super::settings::{DatabaseSettings, PlannerSettings};
use borewright::app::planner::keep_planning;
use clap::Args;

#[derive(Debug, Args)]
pub(super) struct WorkSettings {
    #[command(flatten)]
    database: DatabaseSettings,
    #[command(flatten)]
    planner: PlannerSettings,
}

/// Takes runs of the planner from the queue until a signal.
pub(super) fn work(settings: &WorkSettings) -> anyhow::Result<()> {
    let database = Database::beside_service(&settings.database)?;
    let worked = super::runtime()
        .map_err(Into::into)
        .and_then(|runtime| runtime.block_on(take_runs(&database, &settings.planner)));
    let closed = database.close();
    worked.and(closed)
}

async fn take_runs(database: &Database, settings: &PlannerSettings) -> anyhow::Result<()> {
    database.migrate().await?;
    let pool = database.pool().await?;
    let at_once = usize::from(settings.planners.max(1));
    let stop = stop()?;
    say!("Planning what changes, {at_once} at a time. Stop it with Ctrl-C.");
    keep_planning(&pool, at_once, settings.settings(), stop).await;
    pool.close().await;
    Ok(())
}
