//! The verbs of the command line and their settings. Every setting is a flag and an environment variable.

/// Prints a line on standard output. A reader who has gone away is no reason to stop: the service goes on.
macro_rules! say {
    ($($what:tt)*) => {{
        use std::io::Write;
        let mut out = std::io::stdout().lock();
        if let Err(why) = writeln!(out, $($what)*).and_then(|()| out.flush()) {
            tracing::debug!(%why, "standard output");
        }
    }};
}

mod admin;
mod backup;
mod database;
mod man;
mod plan;
mod serve;
mod settings;
mod traces;
mod upgrade_postgres;
mod work;

use clap::{Parser, Subcommand};
use settings::{DatabaseSettings, LogSettings};
use std::io::Write;
use std::process::ExitCode;

/// Job costing, quoting and scheduling for a small engine-machining shop.
#[derive(Debug, Parser)]
#[command(version, about, propagate_version = true)]
struct Cli {
    #[command(flatten)]
    log: LogSettings,
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Start the service and answer until Ctrl-C or SIGTERM.
    Serve(serve::ServeSettings),
    /// Start the service with an invented demo shop in it, made the first time.
    Demo(serve::ServeSettings),
    /// Make plans whenever something changes, beside a service that leaves it to others (`--planners 0`) or helps it.
    Work(work::WorkSettings),
    /// Bring the database schema up to date and end. `serve` does so by itself.
    Migrate(DatabaseSettings),
    /// Write everything in the database to one file, beside a running service or without one.
    Backup(backup::BackupSettings),
    /// Restore the database from a file that `backup` wrote. Stop the service first.
    Restore(backup::RestoreSettings),
    /// Move the private server's data to the newest installed major version of PostgreSQL. Stop the service first.
    UpgradePostgres(upgrade_postgres::UpgradeSettings),
    /// Shops: add one, list them.
    #[command(subcommand)]
    Shop(admin::ShopVerb),
    /// The people of a shop: add one, list them, set a password.
    #[command(subcommand)]
    User(admin::UserVerb),
    /// Print the manual page, for `borewright man | man -l -`.
    Man,
    /// The planning engine by itself: published instances, or a shop from a file.
    #[command(subcommand)]
    Plan(plan::PlanVerb),
}

/// Does what the command line asks.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    let done = cli.log.start().and_then(|_traces| {
        keep_pages_small();
        cli.verb.run()
    });
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            // Without a reader the exit code says it alone.
            let _ = writeln!(std::io::stderr(), "borewright: {error:#}");
            ExitCode::FAILURE
        }
    }
}

/// Keeps the kernel from giving huge pages unasked, to this program and the server it starts: what is used of them is little, and
/// 300 sign-ins left 194 MB resident with them and 125 MB without.
fn keep_pages_small() {
    #[cfg(target_os = "linux")]
    if let Err(why) = rustix::thread::disable_transparent_huge_pages(true) {
        tracing::warn!(%why, "huge pages stay as the system has them");
    }
}

impl Verb {
    fn run(self) -> anyhow::Result<()> {
        match self {
            Self::Serve(settings) => serve::serve(&settings),
            Self::Demo(settings) => serve::demo(&settings),
            Self::Work(settings) => work::work(&settings),
            Self::Migrate(settings) => database::migrate(&settings),
            Self::Backup(settings) => backup::backup(&settings),
            Self::Restore(settings) => backup::restore(&settings),
            Self::UpgradePostgres(settings) => upgrade_postgres::upgrade(&settings),
            Self::Shop(verb) => admin::shop(verb),
            Self::User(verb) => admin::user(verb),
            Self::Man => man::man::<Cli>(),
            Self::Plan(verb) => plan::plan(&verb),
        }
    }
}

/// A runtime for the async parts; the private database is started and stopped outside it.
fn runtime() -> std::io::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(1)
        .enable_all()
        .build()
}
