//! The verbs `backup` and `restore`.

use super::database::Database;
use super::settings::DatabaseSettings;
use anyhow::anyhow;
use borewright::db::backup::{self, BackupKey, Server, Tools};
use chrono::{SecondsFormat, Utc};
use clap::Args;
use std::path::PathBuf;

/// Said where the owner's connection is wanted and only the service's is named.
const OWNER_NEEDED: &str =
    "this needs DATABASE_URL, the owner's; SERVICE_DATABASE_URL alone is not enough";

#[derive(Debug, Args)]
pub(super) struct BackupSettings {
    #[command(flatten)]
    database: DatabaseSettings,
    /// The file to write; it must be new.
    #[arg(long, value_name = "FILE")]
    to: PathBuf,
    #[command(flatten)]
    key: KeySettings,
}

#[derive(Debug, Args)]
pub(super) struct RestoreSettings {
    #[command(flatten)]
    database: DatabaseSettings,
    /// The file that `backup` wrote.
    #[arg(long, value_name = "FILE")]
    from: PathBuf,
    #[command(flatten)]
    key: KeySettings,
    /// Restore although there are shops in the database. It is kept beside under another name, which is printed.
    #[arg(long)]
    overwrite: bool,
    /// Only look whether the file is whole and opens with the key; no database is touched.
    #[arg(long, conflicts_with = "overwrite")]
    check: bool,
}

#[derive(Debug, Args)]
struct KeySettings {
    /// A file with a random key of at least 32 characters to encrypt with, made once by:
    /// head -c 32 /dev/urandom | base64 > FILE. Keep a copy of it apart from the backups: without it they are worthless.
    #[arg(long, env = "BOREWRIGHT_BACKUP_KEY_FILE", value_name = "FILE")]
    key_file: Option<PathBuf>,
}

impl KeySettings {
    fn key(&self) -> anyhow::Result<Option<BackupKey>> {
        Ok(self.key_file.as_deref().map(BackupKey::read).transpose()?)
    }
}

/// The verb `backup`.
pub(super) fn backup(settings: &BackupSettings) -> anyhow::Result<()> {
    let key = settings.key.key()?;
    let taken = with_server(&settings.database, async |server, tools| {
        Ok(backup::take(server, tools, &settings.to, key.as_ref(), Utc::now()).await?)
    })?;
    say!(
        "{} holds the whole database ({}, {} bytes{}).",
        settings.to.display(),
        shops(taken.shops),
        taken.bytes,
        if key.is_some() { ", encrypted" } else { "" }
    );
    if taken.photographs_elsewhere > 0 {
        say!(
            "{} photographs are not in it: copy the folder given by --photo-folder too.",
            taken.photographs_elsewhere
        );
    }
    Ok(())
}

/// The verb `restore`.
pub(super) fn restore(settings: &RestoreSettings) -> anyhow::Result<()> {
    let key = settings.key.key()?;
    if settings.check {
        let made_at = backup::check(&settings.from, key.as_ref())?;
        say!(
            "{} is whole. It was made at {}.",
            settings.from.display(),
            made_at.to_rfc3339_opts(SecondsFormat::Secs, true)
        );
        return Ok(());
    }
    let restored = with_server(&settings.database, async |server, tools| {
        let now = Utc::now();
        Ok(backup::restore(
            server,
            tools,
            &settings.from,
            key.as_ref(),
            settings.overwrite,
            now,
        )
        .await?)
    })?;
    say!(
        "The database is as it was at {} ({}).",
        restored.made_at.to_rfc3339_opts(SecondsFormat::Secs, true),
        shops(restored.shops)
    );
    if let Some(name) = restored.kept_as {
        say!("The database that was there before is kept as “{name}”; drop it when you are sure.");
    }
    Ok(())
}

fn shops(count: i64) -> String {
    match count {
        1 => "1 shop".to_owned(),
        count => format!("{count} shops"),
    }
}

/// Runs a verb's work on the database as its owner reaches it, with the programs of its version.
fn with_server<T>(
    settings: &DatabaseSettings,
    work: impl AsyncFnOnce(&Server, &Tools) -> anyhow::Result<T>,
) -> anyhow::Result<T> {
    let data = match &settings.database_url {
        Some(_) => None,
        None => settings.data_dir().map(|dir| dir.join("postgres")),
    };
    let database = Database::beside_service(settings)?;
    let done = super::runtime()
        .map_err(anyhow::Error::from)
        .and_then(|runtime| {
            runtime.block_on(async {
                let server = database.server().ok_or_else(|| anyhow!(OWNER_NEEDED))?;
                let tools = Tools::find(data.as_deref(), settings.postgres_bin.as_deref())?;
                work(server, &tools).await
            })
        });
    let closed = database.close();
    let done = done?;
    closed?;
    Ok(done)
}
