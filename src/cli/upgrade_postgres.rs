//! The verb `upgrade-postgres`.

use super::database::NAME;
use super::settings::DatabaseSettings;
use anyhow::bail;
use borewright::db::major_upgrade::{Move, Moved, finish};
use chrono::Utc;
use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub(super) struct UpgradeSettings {
    #[command(flatten)]
    database: DatabaseSettings,
    /// The directory of initdb and postgres of the version that wrote the data [default: where Debian has it].
    #[arg(long, value_name = "DIRECTORY")]
    old_postgres_bin: Option<PathBuf>,
}

/// Moves the private server's data to the newest version, or ends what was interrupted.
pub(super) fn upgrade(settings: &UpgradeSettings) -> anyhow::Result<()> {
    let database = &settings.database;
    if database.database_url.is_some() || database.service_database_url.is_some() {
        bail!(
            "this is for the private server; an outside one is brought to a new version by whoever runs it (pg_upgrade)"
        );
    }
    let Some(dir) = database.data_dir() else {
        bail!("there is no home directory with data in it; name one with --data-dir");
    };
    let moved = match finish(&dir)? {
        Some(moved) => moved,
        None => {
            let plan = Move::plan(
                &dir,
                settings.old_postgres_bin.as_deref(),
                database.postgres_bin.as_deref(),
            )?;
            super::runtime()?.block_on(plan.run(NAME, Utc::now()))?
        }
    };
    let Moved { from, to, kept } = moved;
    say!(
        "The data are of PostgreSQL {to} now. Those of {from} are kept in {}; delete them when you are sure.",
        kept.display()
    );
    Ok(())
}
