//! Data as earlier versions kept them, brought up to date. `tests/reference/upgrades/NNNN.data` holds the rows of a shop with
//! work in every state as of migration NNNN, written by the program of that time; DEVELOPERS.md says how one is made. The
//! schema they belong to is made from the migrations themselves, which never change.

use crate::cluster::programs;
use crate::support::TestDatabase;
use crate::support::crawl::{kind_of, links};
use crate::support::site::{TestSite, Visitor};
use borewright::db::migrate::{self, QUEUE_SCHEMA};
use sqlx::migrate::Migrator;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, PgConnection, query_scalar};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Of the invented people of the demo.
const DEMO_PASSWORD: &str = "harrow-quay-demo";

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Each file of data with the migration it is as of.
fn kept_data() -> Vec<(i64, PathBuf)> {
    std::fs::read_dir(root().join("tests/reference/upgrades"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|path| {
            (
                path.file_stem().unwrap().to_str().unwrap().parse().unwrap(),
                path,
            )
        })
        .collect()
}

/// How many rows each table of a shop has.
async fn rows(conn: &mut PgConnection) -> BTreeMap<String, i64> {
    let tables: Vec<String> = query_scalar(
        "select relname::text from pg_class where relnamespace = 'public'::regnamespace and relkind = 'r'
         and relname <> '_sqlx_migrations'",
    )
    .fetch_all(&mut *conn)
    .await
    .unwrap();
    let mut rows = BTreeMap::new();
    for table in tables {
        let count = query_scalar(AssertSqlSafe(format!("select count(*) from {table}")))
            .fetch_one(&mut *conn)
            .await
            .unwrap();
        rows.insert(table, count);
    }
    rows
}

/// A database as the program of that time left it: schema, queue and rows.
async fn as_of(version: i64, data: &Path, options: &PgConnectOptions) -> PgConnection {
    let mut conn = options.connect().await.unwrap();
    let migrations = Migrator::new(root().join("migrations")).await.unwrap();
    migrations.run_to(version, &mut conn).await.unwrap();
    let queue = PgPoolOptions::new()
        .max_connections(1)
        .connect_with(options.clone())
        .await
        .unwrap();
    graphile_worker_migrations::migrate(queue.clone(), QUEUE_SCHEMA)
        .await
        .unwrap();
    queue.close().await;
    let filled = Command::new(programs().join("pg_restore"))
        .args([
            "--data-only",
            "--disable-triggers",
            "--exit-on-error",
            "--no-password",
            "--dbname",
        ])
        .arg(options.get_database().unwrap())
        .arg("--host")
        .arg(options.get_socket().unwrap())
        .arg("--username")
        .arg(options.get_username())
        .arg(data)
        .output()
        .unwrap();
    assert!(
        filled.status.success(),
        "{}",
        String::from_utf8_lossy(&filled.stderr)
    );
    conn
}

#[tokio::test]
async fn data_of_every_earlier_version_are_there_and_can_be_worked_with() {
    let kept = kept_data();
    assert!(!kept.is_empty());
    for (version, data) in kept {
        assert!(
            version < migrate::newest(),
            "{version} is not of an earlier version"
        );
        let options = TestDatabase::without_schema_options().await;
        let mut conn = as_of(version, &data, &options).await;
        let before = rows(&mut conn).await;
        assert!(before["booking"] > 500 && before["job"] > 20, "{before:?}");
        conn.close().await.unwrap();

        migrate::migrate(&options).await.unwrap();
        let mut conn = options.connect().await.unwrap();
        let after = rows(&mut conn).await;
        for (table, count) in &before {
            // A list of imports took the place of that of imported customers.
            let now = after.get(table).copied();
            let gone = now.is_none() && table == "customer_import";
            assert!(
                gone || now.is_some_and(|now| now >= *count),
                "{table}: {count} before, {now:?} after"
            );
        }
        conn.close().await.unwrap();

        let service = migrate::as_service(&options);
        let pool = migrate::service_pool(service, 8).await.unwrap();
        let address = TestSite::on(&pool);
        let owner = Visitor::signed_in_with(&address, "edda", DEMO_PASSWORD).await;
        let mut seen = BTreeSet::from([kind_of("/sign-out")]);
        let mut ahead = vec!["/".to_owned(), "/jobs".to_owned(), "/enquiries".to_owned()];
        // One page of each kind that the first pages lead to.
        let mut depth = 0;
        while depth < 2 {
            let mut next = Vec::new();
            for path in ahead {
                if !seen.insert(kind_of(&path)) {
                    continue;
                }
                let answer = owner.get(&path).await;
                let status = answer.status().as_u16();
                assert!(status < 400, "{path} of {version}: {status}");
                let html = answer.text().await.unwrap();
                let pages = links(&html, &path)
                    .into_iter()
                    .filter(|link| !link.document);
                next.extend(pages.map(|link| link.path));
            }
            ahead = next;
            depth += 1;
        }
        assert!(seen.len() > 15, "{seen:?}");
    }
}
