//! Backup of a whole database to one file, and its restoration.
//!
//! A backup is what `pg_dump` writes, everything as of one moment while the service goes on, in a file of our own that
//! shows damage and can be encrypted (`file.rs`). It is restored into an empty database in one transaction. Where there are
//! tables already, the file is restored beside them, and the two databases change names when everything is there, so
//! that nothing is lost by a restoration that fails.

mod error;
mod file;
mod tools;

pub use error::BackupError;
pub use file::BackupKey;
pub use tools::{Server, Tools};

use super::migrate::{self, SERVICE_ROLE};
use chrono::{DateTime, Utc};
use sqlx::postgres::PgConnection;
use sqlx::{ConnectOptions, Connection};
use std::fs::OpenOptions;
use std::io::{self, BufWriter, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

/// The migration that made the table of photographs: a backup may be made before an older schema is brought up to date.
const PHOTOGRAPHS_SINCE: i64 = 15;

/// What was backed up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// Shops in it.
    pub shops: i64,
    /// Photographs that are kept in a folder and so are not in it.
    pub photographs_elsewhere: i64,
    /// Size of the file in bytes.
    pub bytes: u64,
}

/// What was restored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restored {
    /// When the backup was made.
    pub made_at: DateTime<Utc>,
    /// Shops in it.
    pub shops: i64,
    /// The name under which the database is kept that was there before.
    pub kept_as: Option<String>,
}

/// Backs a database up to a new file, encrypted if a key is given. The service may go on meanwhile. The file gets its name
/// when it is whole and on the disk; only its owner may read it.
///
/// # Errors
/// [`BackupError`].
pub async fn take(
    server: &Server,
    tools: &Tools,
    to: &Path,
    key: Option<&BackupKey>,
    now: DateTime<Utc>,
) -> Result<Taken, BackupError> {
    if to.exists() {
        return Err(BackupError::Exists(to.to_owned()));
    }
    let mut conn = server.options().connect().await?;
    let schema = schema_of(&mut conn)
        .await?
        .ok_or_else(|| BackupError::Nothing(server.database().to_owned()))?;
    let bound: Option<String> = sqlx::query_scalar(
        "select rolname::text from pg_roles where rolname = current_user and not (rolsuper or rolbypassrls)",
    )
    .fetch_optional(&mut conn)
    .await?;
    if let Some(role) = bound {
        return Err(BackupError::BoundRole(role));
    }
    let shops = shops_in(&mut conn).await?;
    let photographs_elsewhere = if schema < PHOTOGRAPHS_SINCE {
        0
    } else {
        sqlx::query_scalar("select count(*) from casting_photo where body is null")
            .fetch_one(&mut conn)
            .await?
    };
    conn.close().await?;

    let (server, tools) = (server.clone(), tools.clone());
    let (to, key) = (to.to_owned(), key.cloned());
    let bytes = off_the_runtime(move || {
        let mut part = to.clone().into_os_string();
        part.push(".part");
        let part = PathBuf::from(part);
        let written = write_file(&server, &tools, &part, key.as_ref(), now, schema)
            .and_then(|bytes| put_in_place(&part, &to).map(|()| bytes));
        if written.is_err() && !matches!(&written, Err(BackupError::Exists(path)) if *path == part)
        {
            // The first complaint is the one to read.
            drop(std::fs::remove_file(&part));
        }
        written
    })
    .await?;
    Ok(Taken {
        shops,
        photographs_elsewhere,
        bytes,
    })
}

fn write_file(
    server: &Server,
    tools: &Tools,
    part: &Path,
    key: Option<&BackupKey>,
    now: DateTime<Utc>,
    schema: i64,
) -> Result<u64, BackupError> {
    let failed = |why| BackupError::file(part, why);
    let file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(part)
        .map_err(failed)?;
    let mut writer = file::Writer::new(BufWriter::new(file), now, schema, key)?;
    tools.dump(server, &mut writer)?;
    let mut out = writer.finish().map_err(failed)?;
    out.flush().map_err(failed)?;
    out.get_ref().sync_all().map_err(failed)?;
    Ok(out.get_ref().metadata().map_err(failed)?.len())
}

/// Gives the finished file its name, which must be free, for good.
fn put_in_place(part: &Path, to: &Path) -> Result<(), BackupError> {
    let failed = |why| BackupError::file(to, why);
    if to.exists() {
        return Err(BackupError::Exists(to.to_owned()));
    }
    std::fs::rename(part, to).map_err(failed)?;
    let folder = match to.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    // Some file systems of sticks and networks cannot do this; the file itself is on the disk.
    if let Err(why) = std::fs::File::open(folder).and_then(|folder| folder.sync_all()) {
        tracing::warn!(%why, folder = %folder.display(), "the folder of the backup cannot be synchronised");
    }
    Ok(())
}

/// Looks whether a backup is whole and opens with the key, without a database.
///
/// # Errors
/// [`BackupError`].
pub fn check(from: &Path, key: Option<&BackupKey>) -> Result<DateTime<Utc>, BackupError> {
    heading(from, key).map(|heading| heading.made_at)
}

fn heading(from: &Path, key: Option<&BackupKey>) -> Result<file::Heading, BackupError> {
    let heading = file::read(from, key, &mut io::sink())?;
    let known = migrate::newest();
    if heading.schema > known {
        return Err(BackupError::Newer {
            path: from.to_owned(),
            of_file: heading.schema,
            known,
        });
    }
    Ok(heading)
}

/// Restores a backup into the server's database, which is made when it is not there, and brings its schema up to date. The
/// file is read to its end before anything is written.
///
/// # Errors
/// [`BackupError`]; the database is then as it was.
pub async fn restore(
    server: &Server,
    tools: &Tools,
    from: &Path,
    key: Option<&BackupKey>,
    overwrite: bool,
    now: DateTime<Utc>,
) -> Result<Restored, BackupError> {
    let file = Arc::new((from.to_owned(), key.cloned()));
    let checked = Arc::clone(&file);
    let heading = off_the_runtime(move || heading(&checked.0, checked.1.as_ref())).await?;

    migrate::create_database(server.options()).await?;
    let mut conn = server.options().connect().await?;
    let tables: bool = sqlx::query_scalar(
        "select exists (select from pg_class c join pg_namespace n on n.oid = c.relnamespace
                        where c.relkind in ('r', 'p', 'v', 'm', 'S') and n.nspname !~ '^(pg_|information_schema)')",
    )
    .fetch_one(&mut conn)
    .await?;
    let kept_as = if tables {
        let shops = match schema_of(&mut conn).await? {
            Some(_) => shops_in(&mut conn).await?,
            None => 0,
        };
        conn.close().await?;
        if shops > 0 && !overwrite {
            return Err(BackupError::Filled {
                database: server.database().to_owned(),
                shops,
            });
        }
        restore_beside(server, tools, file, now, shops > 0).await?
    } else {
        make_role(&mut conn).await?;
        conn.close().await?;
        load(server, tools, file).await?;
        None
    };

    migrate::migrate(server.options()).await?;
    let mut conn = server.options().connect().await?;
    // A database just filled has no statistics, and queries would be planned without any.
    sqlx::raw_sql("analyze").execute(&mut conn).await?;
    let shops = shops_in(&mut conn).await?;
    conn.close().await?;
    Ok(Restored {
        made_at: heading.made_at,
        shops,
        kept_as,
    })
}

type BackupFile = Arc<(PathBuf, Option<BackupKey>)>;

async fn load(server: &Server, tools: &Tools, file: BackupFile) -> Result<(), BackupError> {
    let (server, tools) = (server.clone(), tools.clone());
    off_the_runtime(move || {
        tools.load(&server, |out| {
            file::read(&file.0, file.1.as_ref(), out).map(|_| ())
        })
    })
    .await
}

/// Restores into a new database and lets it take the place of the one that is there, which is kept under another name or
/// dropped. Nobody may be connected to that.
async fn restore_beside(
    server: &Server,
    tools: &Tools,
    file: BackupFile,
    now: DateTime<Utc>,
    keep: bool,
) -> Result<Option<String>, BackupError> {
    let name = server.database();
    let new = server.beside(&format!("{name}_restoring"));
    let kept = format!("{name}_before_{}", now.format("%Y%m%dt%H%M%S"));
    // Names of databases cannot be changed or dropped from inside them.
    let mut conn = server.beside("postgres").options().connect().await?;
    wait_until_unused(&mut conn, name).await?;
    let restoring = new.database();
    // What a restoration left behind that was killed.
    administer(&mut conn, "drop database if exists %I", &[restoring]).await?;
    administer(&mut conn, "create database %I", &[restoring]).await?;
    let loaded = async {
        let mut inside = new.options().connect().await?;
        make_role(&mut inside).await?;
        inside.close().await?;
        load(&new, tools, file).await
    }
    .await;
    if let Err(why) = loaded {
        administer(&mut conn, "drop database if exists %I", &[restoring]).await?;
        return Err(why);
    }
    administer(&mut conn, "alter database %I rename to %I", &[name, &kept])
        .await
        .map_err(|why| in_use(why, name))?;
    if let Err(why) = administer(
        &mut conn,
        "alter database %I rename to %I",
        &[restoring, name],
    )
    .await
    {
        administer(&mut conn, "alter database %I rename to %I", &[&kept, name]).await?;
        return Err(why.into());
    }
    if !keep {
        administer(&mut conn, "drop database %I", &[&kept]).await?;
    }
    conn.close().await?;
    Ok(keep.then_some(kept))
}

/// Waits a moment for connections that are ending; PostgreSQL itself looks again when the name changes.
async fn wait_until_unused(conn: &mut PgConnection, name: &str) -> Result<(), BackupError> {
    for _ in 0..20 {
        let used: bool =
            sqlx::query_scalar("select exists (select from pg_stat_activity where datname = $1)")
                .bind(name)
                .fetch_one(&mut *conn)
                .await?;
        if !used {
            return Ok(());
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    Err(BackupError::InUse(name.to_owned()))
}

/// A statement about databases, whose names cannot be parameters; PostgreSQL itself quotes them.
async fn administer(
    conn: &mut PgConnection,
    statement: &str,
    names: &[&str],
) -> Result<(), sqlx::Error> {
    let statement: String = sqlx::query_scalar("select format($1, variadic $2::text[])")
        .bind(statement)
        .bind(names)
        .fetch_one(&mut *conn)
        .await?;
    sqlx::raw_sql(sqlx::AssertSqlSafe(statement))
        .execute(conn)
        .await?;
    Ok(())
}

/// The SQLSTATE of a database that somebody is connected to (`object_in_use`).
const OBJECT_IN_USE: &str = "55006";

fn in_use(why: sqlx::Error, name: &str) -> BackupError {
    match &why {
        sqlx::Error::Database(said) if said.code().as_deref() == Some(OBJECT_IN_USE) => {
            BackupError::InUse(name.to_owned())
        }
        _ => why.into(),
    }
}

/// Roles belong to a server and not to a database, so a backup does not hold them. This is what the first migration does.
async fn make_role(conn: &mut PgConnection) -> Result<(), sqlx::Error> {
    let there: bool = sqlx::query_scalar("select exists (select from pg_roles where rolname = $1)")
        .bind(SERVICE_ROLE)
        .fetch_one(&mut *conn)
        .await?;
    if !there {
        administer(
            conn,
            "create role %I login noinherit nocreatedb nocreaterole",
            &[SERVICE_ROLE],
        )
        .await?;
    }
    let user: Option<String> =
        sqlx::query_scalar("select current_user::text where not pg_has_role($1, 'member')")
            .bind(SERVICE_ROLE)
            .fetch_optional(&mut *conn)
            .await?;
    if let Some(user) = user {
        administer(conn, "grant %I to %I", &[SERVICE_ROLE, &user]).await?;
    }
    Ok(())
}

/// The newest migration in a database; `None` where there is none.
async fn schema_of(conn: &mut PgConnection) -> Result<Option<i64>, sqlx::Error> {
    let ours: bool = sqlx::query_scalar(
        "select to_regclass('public._sqlx_migrations') is not null and to_regclass('public.shop') is not null",
    )
    .fetch_one(&mut *conn)
    .await?;
    if !ours {
        return Ok(None);
    }
    sqlx::query_scalar("select max(version) from _sqlx_migrations where success")
        .fetch_one(conn)
        .await
}

/// Shops in a database that has our tables. The directory of shops is the one table of them that everybody may count.
async fn shops_in(conn: &mut PgConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("select count(*) from shop_directory")
        .fetch_one(conn)
        .await
}

/// Runs what waits for programs and files where it holds nobody up.
async fn off_the_runtime<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, BackupError> + Send + 'static,
) -> Result<T, BackupError> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|_| BackupError::Internal("the work on the backup was broken off"))?
}
