//! The schema and the connections: migrations run as the owner, the service as a role that owns nothing.

use sqlx::migrate::{MigrateError, Migrator};
use sqlx::postgres::{PgConnectOptions, PgPool, PgPoolOptions};
use sqlx::{ConnectOptions, Connection};
use std::str::FromStr;
use std::time::Duration;

/// Every migration, embedded in the program.
static MIGRATIONS: Migrator = sqlx::migrate!();

/// The newest version of the schema that this program knows.
#[must_use]
pub fn newest() -> i64 {
    MIGRATIONS.iter().map(|m| m.version).max().unwrap_or(0)
}

/// The role the service works as. It owns nothing, so row-level security binds it.
pub const SERVICE_ROLE: &str = "borewright_service";

/// What can go wrong between the program and its database at the start.
#[derive(Debug, thiserror::Error)]
pub enum SetupError {
    /// A migration could not be applied.
    #[error("the database schema could not be brought up to date: {0}")]
    Migrate(#[from] MigrateError),
    /// The tables of the queue could not be brought up to date.
    #[error("the queue's tables could not be brought up to date: {0}")]
    Queue(#[from] graphile_worker_migrations::MigrateError),
    /// The database cannot be reached.
    #[error("the database cannot be reached: {0}")]
    Database(#[from] sqlx::Error),
    /// The service would work as a role that row-level security does not bind.
    #[error(
        "the service must not work as the database role “{role}”: {why}. With such a role the walls between shops \
         would not hold. Let it connect as {SERVICE_ROLE}, or leave SERVICE_DATABASE_URL unset"
    )]
    UnsafeRole {
        /// The role.
        role: String,
        /// What is wrong with it.
        why: &'static str,
    },
}

/// Makes the database of these options when the server has none of that name.
///
/// # Errors
/// [`SetupError::Database`].
pub async fn create_database(owner: &PgConnectOptions) -> Result<(), SetupError> {
    let name = owner.get_database().unwrap_or("borewright").to_owned();
    let mut conn = owner.clone().database("postgres").connect().await?;
    let there: bool =
        sqlx::query_scalar("select exists(select from pg_database where datname = $1)")
            .bind(&name)
            .fetch_one(&mut conn)
            .await?;
    if !there {
        // A database's name cannot be a parameter; quote_ident is PostgreSQL's own way to quote one.
        let quoted: String = sqlx::query_scalar("select quote_ident($1)")
            .bind(&name)
            .fetch_one(&mut conn)
            .await?;
        sqlx::raw_sql(sqlx::AssertSqlSafe(format!("create database {quoted}")))
            .execute(&mut conn)
            .await?;
    }
    conn.close().await?;
    Ok(())
}

/// The schema of the queue library's tables. They hold keys of shops and nothing else of theirs.
pub const QUEUE_SCHEMA: &str = "graphile_worker";

/// Brings the schema up to date as its owner, ours and the queue's. Several processes may do so at once; one works and
/// the others wait.
///
/// # Errors
/// [`SetupError`].
pub async fn migrate(owner: &PgConnectOptions) -> Result<(), SetupError> {
    let mut conn = owner.connect().await?;
    MIGRATIONS.run(&mut conn).await?;
    // Ours wait for each other by a lock of their own; the queue's do under this one.
    sqlx::query("select pg_advisory_lock(hashtextextended('queue', 0))")
        .execute(&mut conn)
        .await?;
    let queue = PgPoolOptions::new()
        .max_connections(1)
        .connect_with(owner.clone())
        .await?;
    let done = graphile_worker_migrations::migrate(queue.clone(), QUEUE_SCHEMA).await;
    queue.close().await;
    done?;
    sqlx::raw_sql(OPEN_QUEUE).execute(&mut conn).await?;
    conn.close().await?;
    Ok(())
}

/// Lets the service use the queue. Its tables belong to no shop: a run is taken by whichever worker is free, and sets
/// the shop it is for, so that the walls between shops stand while it works.
const OPEN_QUEUE: &str = "
do $$
declare
    t record;
begin
    grant usage on schema graphile_worker to borewright_service;
    grant usage on all sequences in schema graphile_worker to borewright_service;
    grant select, insert, update, delete on all tables in schema graphile_worker to borewright_service;
    for t in
        select c.oid::regclass as name from pg_class c
        where c.relnamespace = 'graphile_worker'::regnamespace and c.relkind = 'r' and c.relrowsecurity
            and not exists (select from pg_policy where polrelid = c.oid and polname = 'service')
    loop
        execute format('create policy service on %s to borewright_service using (true) with check (true)', t.name);
    end loop;
end
$$";

/// Prepared statements that a connection keeps: the pages that are open all day have some two hundred, and one that is put out
/// has to be parsed and planned again.
pub(super) const STATEMENTS: usize = 500;

/// The options that a URL says. What it leaves open is as the program needs it.
///
/// # Errors
/// When it does not read.
pub fn options_of(url: &str) -> Result<PgConnectOptions, sqlx::Error> {
    let options = PgConnectOptions::from_str(url)?.application_name("borewright");
    // A pool in front may carry no statements from one connection to the next: then the URL says so.
    Ok(if url.contains("statement-cache-capacity") {
        options
    } else {
        options.statement_cache_capacity(STATEMENTS)
    })
}

/// The owner's options turned into the service's: every session works as [`SERVICE_ROLE`] from its first statement.
#[must_use]
pub fn as_service(owner: &PgConnectOptions) -> PgConnectOptions {
    owner.clone().options([("role", SERVICE_ROLE)])
}

/// How long a connection that was found well is believed to be so.
const UNTESTED: Duration = Duration::from_secs(1);

/// The service's pool of at most `size` connections, after a look that its role is bound by row-level security.
///
/// # Errors
/// [`SetupError::UnsafeRole`], [`SetupError::Database`].
pub async fn service_pool(service: PgConnectOptions, size: u32) -> Result<PgPool, SetupError> {
    let pool = PgPoolOptions::new()
        .max_connections(size)
        .acquire_timeout(Duration::from_secs(5))
        // Every connection is looked at when it comes back to the pool. Asked again before each transaction, the server would
        // be asked once too often; only one that has lain there for a while may have died since.
        .test_before_acquire(false)
        .before_acquire(|connection, lain| {
            Box::pin(async move {
                if lain.idle_for > UNTESTED {
                    connection.ping().await?;
                }
                Ok(true)
            })
        })
        .connect_with(service)
        .await?;
    let mut tx = pool.begin().await?;
    let role = sqlx::query!(
        r#"select rolname::text as "role!",
                  rolsuper as "superuser!",
                  rolbypassrls as "bypasses!",
                  exists(select from pg_class where relowner = pg_roles.oid and relkind in ('r', 'p', 'v', 'm', 'S'))
                      as "owns!"
           from pg_roles where rolname = current_user"#
    )
    .fetch_one(&mut *tx)
    .await?;
    tx.commit().await?;
    let why = if role.superuser {
        "it is a superuser"
    } else if role.bypasses {
        "it bypasses row-level security"
    } else if role.owns {
        "it owns tables"
    } else {
        return Ok(pool);
    };
    Err(SetupError::UnsafeRole {
        role: role.role,
        why,
    })
}
