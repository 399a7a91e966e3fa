//! Moves a shop from one cluster to another, with everything of it, while people work.
//!
//! Whoever works in the shop holds a lock of it, shared, until the end of the transaction ([`super::ShopTx::begin`]). The move
//! takes the same lock alone, so it waits for what is under way, and what comes after waits for it. Then, in this order: every
//! row is copied and compared; the copy is made to last, not open yet; the rows are removed where they were, and the
//! directory there says where they are now; the copy is opened. Whatever is written in between is refused and sent again.
//! Interrupted before the third step, the shop is where it was; after it, the same verb opens the copy.

use super::DbError;
use super::migrate::{QUEUE_SCHEMA, SetupError};
use futures_util::TryStreamExt;
use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, query, query_as, query_scalar, raw_sql};
use uuid::Uuid;

/// What the directory calls a copy that is not open yet.
const ARRIVING: &str = "arriving";

/// Why a shop was not moved.
#[derive(Debug, thiserror::Error)]
pub enum MoveError {
    /// No such shop there.
    #[error("there is no shop “{0}” in the cluster it is to be moved from")]
    NoShop(String),
    /// It lies in a third cluster.
    #[error("the shop lies in the cluster “{0}” already")]
    Elsewhere(String),
    /// The short name is taken there.
    #[error("the cluster it is to be moved to has a shop of that short name")]
    NameTaken,
    /// The schemas differ.
    #[error(
        "the schemas differ: migration {from} in the cluster it lies in, {to} in the other; run borewright migrate in both"
    )]
    Schema {
        /// Of the source.
        from: i64,
        /// Of the target.
        to: i64,
    },
    /// The role may not write rows without their triggers.
    #[error(
        "the role of the URL may not copy rows as they are. Use a superuser, or let a superuser say: grant set on parameter \
         session_replication_role to {0}; alter role {0} bypassrls"
    )]
    Role(String),
    /// The copy is not what was copied.
    #[error("the rows of {0} differ after copying, so nothing was changed")]
    Differs(String),
    /// A database.
    #[error(transparent)]
    Db(#[from] DbError),
    /// A database could not be reached.
    #[error(transparent)]
    Setup(#[from] SetupError),
}

impl From<sqlx::Error> for MoveError {
    fn from(error: sqlx::Error) -> Self {
        Self::Db(error.into())
    }
}

/// What was moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MovedShop {
    /// Key.
    pub shop_id: Uuid,
    /// Rows; none when an interrupted move was ended.
    pub rows: u64,
}

/// A table with the columns that are copied: all but those the database computes.
struct Table {
    name: String,
    columns: String,
}

/// Moves a shop. `from` and `to` connect as owners; `called` is what the directory of `from` says afterwards.
///
/// # Errors
/// [`MoveError`].
pub async fn move_shop(
    from: &PgConnectOptions,
    to: &PgConnectOptions,
    short_name: &str,
    called: &str,
) -> Result<MovedShop, MoveError> {
    let mut source = from.connect().await?;
    let mut target = to.connect().await?;
    check_role(&mut source, from).await?;
    check_role(&mut target, to).await?;
    let versions = (schema(&mut source).await?, schema(&mut target).await?);
    if versions.0 != versions.1 {
        return Err(MoveError::Schema {
            from: versions.0,
            to: versions.1,
        });
    }
    let (shop_id, cluster) = listed(&mut source, short_name)
        .await?
        .ok_or_else(|| MoveError::NoShop(short_name.to_owned()))?;
    let there = listed(&mut target, short_name).await?;
    if !cluster.is_empty() {
        // The third step was done, the last one was not.
        return match there {
            Some((id, state)) if id == shop_id && cluster == called && !state.is_empty() => {
                open(&mut target, shop_id).await?;
                Ok(MovedShop { shop_id, rows: 0 })
            }
            _ => Err(MoveError::Elsewhere(cluster)),
        };
    }
    if there.is_some_and(|(id, state)| id != shop_id || state.is_empty()) {
        return Err(MoveError::NameTaken);
    }
    let tables = tables(&mut source).await?;
    begin(&mut target).await?;
    begin(&mut source).await?;
    query("select pg_advisory_xact_lock(hashtextextended('shop ' || $1, 0))")
        .bind(shop_id)
        .execute(&mut source)
        .await?;
    let mut rows = 0;
    for table in &tables {
        // What an interrupted move left behind; nobody has worked with it.
        remove(&mut target, table, shop_id).await?;
        rows += copy(&mut source, &mut target, table, shop_id).await?;
        if digest(&mut source, table, shop_id).await? != digest(&mut target, table, shop_id).await?
        {
            return Err(MoveError::Differs(table.name.clone()));
        }
    }
    advance_sequences(&mut target).await?;
    query(
        "insert into shop_directory (short_name, shop_id, cluster) values ($1, $2, $3)
         on conflict (short_name) do nothing",
    )
    .bind(short_name)
    .bind(shop_id)
    .bind(ARRIVING)
    .execute(&mut target)
    .await?;
    raw_sql("commit").execute(&mut target).await?;
    for table in &tables {
        remove(&mut source, table, shop_id).await?;
    }
    query(AssertSqlSafe(format!(
        "delete from {QUEUE_SCHEMA}._private_jobs where payload ->> 'shop_id' = $1::text"
    )))
    .bind(shop_id.to_string())
    .execute(&mut source)
    .await?;
    query("update shop_directory set cluster = $2 where shop_id = $1")
        .bind(shop_id)
        .bind(called)
        .execute(&mut source)
        .await?;
    raw_sql("commit").execute(&mut source).await?;
    open(&mut target, shop_id).await?;
    source.close().await?;
    target.close().await?;
    Ok(MovedShop { shop_id, rows })
}

/// Begins a transaction in which rows are written as they are: no trigger counts, records or checks them anew.
async fn begin(conn: &mut PgConnection) -> Result<(), MoveError> {
    raw_sql("begin; set local session_replication_role = replica; set local lock_timeout = '60s'")
        .execute(conn)
        .await?;
    Ok(())
}

/// Whether the role sees every row and may write without triggers.
async fn check_role(conn: &mut PgConnection, options: &PgConnectOptions) -> Result<(), MoveError> {
    let refused = || MoveError::Role(options.get_username().to_owned());
    let sees: bool =
        query_scalar("select rolsuper or rolbypassrls from pg_roles where rolname = current_user")
            .fetch_one(&mut *conn)
            .await?;
    let may = raw_sql("begin; set local session_replication_role = replica; rollback")
        .execute(&mut *conn)
        .await;
    if may.is_err() {
        raw_sql("rollback").execute(conn).await?;
        return Err(refused());
    }
    if sees { Ok(()) } else { Err(refused()) }
}

async fn schema(conn: &mut PgConnection) -> Result<i64, MoveError> {
    Ok(
        query_scalar("select max(version) from _sqlx_migrations where success")
            .fetch_one(conn)
            .await?,
    )
}

/// A shop's key, and the cluster in which the directory has it.
async fn listed(
    conn: &mut PgConnection,
    short_name: &str,
) -> Result<Option<(Uuid, String)>, MoveError> {
    Ok(
        query_as("select shop_id, cluster from shop_directory where short_name = $1")
            .bind(short_name)
            .fetch_optional(conn)
            .await?,
    )
}

/// Every table with rows of shops.
async fn tables(conn: &mut PgConnection) -> Result<Vec<Table>, MoveError> {
    let found: Vec<(String, String)> = query_as(
        "select c.oid::regclass::text,
                string_agg(quote_ident(a.attname), ', ' order by a.attnum) filter (where a.attgenerated = '')
         from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attnum > 0 and not a.attisdropped
         where c.relnamespace = 'public'::regnamespace and c.relkind = 'r' and c.relrowsecurity
         group by c.oid order by 1",
    )
    .fetch_all(conn)
    .await?;
    Ok(found
        .into_iter()
        .map(|(name, columns)| Table { name, columns })
        .collect())
}

async fn remove(conn: &mut PgConnection, table: &Table, shop_id: Uuid) -> Result<(), MoveError> {
    let name = &table.name;
    query(AssertSqlSafe(format!(
        "delete from {name} where shop_id = $1"
    )))
    .bind(shop_id)
    .execute(conn)
    .await?;
    Ok(())
}

/// Copies the rows of a table; how many they are.
async fn copy(
    source: &mut PgConnection,
    target: &mut PgConnection,
    table: &Table,
    shop_id: Uuid,
) -> Result<u64, MoveError> {
    let Table { name, columns } = table;
    let out = format!(
        "copy (select {columns} from {name} where shop_id = '{shop_id}') to stdout (format binary)"
    );
    let mut rows = source.copy_out_raw(&out).await?;
    let mut into = target
        .copy_in_raw(&format!(
            "copy {name} ({columns}) from stdin (format binary)"
        ))
        .await?;
    while let Some(part) = rows.try_next().await? {
        into.send(part).await?;
    }
    Ok(into.finish().await?)
}

/// How many rows, and a digest of all of them in an order of their own.
async fn digest(
    conn: &mut PgConnection,
    table: &Table,
    shop_id: Uuid,
) -> Result<(i64, Option<String>), MoveError> {
    let name = &table.name;
    Ok(query_as(AssertSqlSafe(format!(
        "select count(*), md5(string_agg(md5(t::text), '' order by md5(t::text))) from {name} t where shop_id = $1"
    )))
    .bind(shop_id)
    .fetch_one(conn)
    .await?)
}

/// Lets what is numbered across shops go on after the numbers that came.
async fn advance_sequences(conn: &mut PgConnection) -> Result<(), MoveError> {
    let owned: Vec<(String, String, String)> = query_as(
        "select d.objid::regclass::text, d.refobjid::regclass::text, quote_ident(a.attname)
         from pg_depend d join pg_class s on s.oid = d.objid and s.relkind = 'S'
         join pg_attribute a on a.attrelid = d.refobjid and a.attnum = d.refobjsubid
         where d.classid = 'pg_class'::regclass and d.refclassid = 'pg_class'::regclass and d.deptype in ('a', 'i')
           and s.relnamespace = 'public'::regnamespace",
    )
    .fetch_all(&mut *conn)
    .await?;
    for (sequence, table, column) in owned {
        query(AssertSqlSafe(format!(
            "select setval('{sequence}', greatest(s.last_value, (select max({column}) from {table}))) from {sequence} s"
        )))
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// Opens the copy.
async fn open(conn: &mut PgConnection, shop_id: Uuid) -> Result<(), MoveError> {
    query("update shop_directory set cluster = '' where shop_id = $1")
        .bind(shop_id)
        .execute(conn)
        .await?;
    Ok(())
}
