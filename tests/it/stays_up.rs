//! The service while its database dies, cannot be started, is full, goes away or is busy: no answer is a fault of ours, what
//! was acknowledged is there once, what was typed is given back, and all is well again without anybody's help.

use crate::support::private_directory;
use crate::support::site::{PASSWORD, TestSite, Visitor, between, header};
use borewright::db::cluster::{Cluster, ServerSocket, is_root};
use borewright::db::migrate;
use reqwest::StatusCode;
use sqlx::{ConnectOptions, Connection, query_scalar};
use std::collections::HashSet;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// How long until all is well again. A server that was killed first brings every file of its data to the disk, which a
/// busy disk makes long.
const AGAIN: Duration = Duration::from_secs(30);

fn program(verb: &[&str], data: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_borewright"));
    command.args(verb).arg("--data-dir").arg(data);
    for (name, _) in std::env::vars_os() {
        let name = name.to_string_lossy().into_owned();
        if name.starts_with("BOREWRIGHT_") || name.ends_with("DATABASE_URL") {
            command.env_remove(name);
        }
    }
    command
}

/// The program as it is run, with a shop whose owner is signed in.
pub struct Running {
    /// Its process.
    pub child: Child,
    log: Option<std::thread::JoinHandle<String>>,
    /// Of the shop "quay".
    pub owner: Visitor,
}

impl Drop for Running {
    /// A test that failed leaves no program behind.
    fn drop(&mut self) {
        let _ = self.child.kill();
    }
}

impl Running {
    pub async fn start(data: &Path) -> Self {
        let mut child = program(&["serve", "--port", "0"], data)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap())
            .read_line(&mut line)
            .unwrap();
        let address = line.trim().rsplit(' ').next().unwrap().to_owned();
        assert!(address.starts_with("http://"), "{line}");
        let mut said = child.stderr.take().unwrap();
        let log = std::thread::spawn(move || {
            let mut log = String::new();
            said.read_to_string(&mut log).unwrap();
            log
        });
        let shop =
            "shop add --short-name quay --name Quay --currency GBP --time-zone Europe/London";
        let words: Vec<&str> = shop.split(' ').collect();
        assert!(program(&words, data).output().unwrap().status.success());
        let mut add = program(
            &[
                "user",
                "add",
                "--name",
                "Edda Marsh",
                "--sign-in",
                "edda",
                "--role",
                "owner",
            ],
            data,
        )
        .stdin(Stdio::piped())
        .spawn()
        .unwrap();
        writeln!(add.stdin.take().unwrap(), "{PASSWORD}").unwrap();
        assert!(add.wait().unwrap().success());
        let owner = Visitor::signed_in_at(&address, "edda").await;
        Self {
            child,
            log: Some(log),
            owner,
        }
    }

    /// Stops it in order, and gives what it logged.
    pub fn stop(mut self) -> String {
        let id = self.child.id().to_string();
        assert!(
            Command::new("kill")
                .args(["-TERM", &id])
                .status()
                .unwrap()
                .success()
        );
        assert!(self.child.wait().unwrap().success());
        self.log.take().unwrap().join().unwrap()
    }
}

/// The process of the database's server.
fn server_of(data: &Path) -> Option<String> {
    let file = std::fs::read_to_string(data.join("postgres/postmaster.pid")).ok()?;
    file.lines().next().map(str::to_owned)
}

fn kill_server(data: &Path) {
    let id = server_of(data).unwrap();
    assert!(
        Command::new("kill")
            .args(["-KILL", &id])
            .status()
            .unwrap()
            .success()
    );
}

async fn readiness(visitor: &Visitor) -> StatusCode {
    let answer = visitor.get("/health/ready").await;
    if answer.status() == 503 {
        assert_eq!(header(answer.headers(), "retry-after"), "1");
    }
    answer.status()
}

/// How long it takes until the service says whether it is ready.
async fn until(visitor: &Visitor, ready: bool) -> Duration {
    let since = Instant::now();
    while (readiness(visitor).await == 200) != ready {
        assert!(since.elapsed() < AGAIN, "ready {ready}: not yet");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    since.elapsed()
}

/// Sends a form whose text must not be lost: it is refused for now, and the page gives it back and sends it again.
async fn is_kept(visitor: &Visitor) {
    let typed = [
        ("name", "Thrust washers, oversize"),
        ("unit", "pair"),
        ("active", "yes"),
    ];
    let refused = visitor.post("/stock/items/new", &typed).await;
    assert_eq!(refused.status(), 503);
    assert_eq!(header(refused.headers(), "retry-after"), "2");
    let page = refused.text().await.unwrap();
    assert!(page.contains("Cannot save now"), "{page}");
    assert!(page.contains("Your text is kept below"), "{page}");
    let form = between(
        &page,
        r#"<form method="post" action="/stock/items/new">"#,
        "</form>",
    );
    assert!(
        form.contains(r#"name="name" value="Thrust washers, oversize""#),
        "{form}"
    );
    assert!(
        form.contains(&format!(r#"name="csrf" value="{}""#, visitor.csrf)),
        "{form}"
    );
    assert!(form.contains("Send again"), "{form}");
}

/// The same form once all is well.
async fn is_taken(visitor: &Visitor) {
    let typed = [
        ("name", "Thrust washers, oversize"),
        ("unit", "pair"),
        ("active", "yes"),
    ];
    let taken = visitor.post("/stock/items/new", &typed).await;
    let status = taken.status();
    assert_eq!(status, 303, "{}", taken.text().await.unwrap());
}

#[tokio::test]
async fn a_killed_server_is_started_again_under_load_and_loses_nothing_acknowledged() {
    let (_keep, data) = private_directory();
    let running = Running::start(&data).await;
    let owner = &running.owner;
    let killed = AtomicBool::new(false);
    let caller = || async {
        let (mut acknowledged, mut refused) = (Vec::new(), 0_usize);
        while !killed.load(Ordering::Relaxed) {
            let answer = owner.post("/enquiries/quick", &[]).await;
            match answer.status().as_u16() {
                303 => {
                    let place = header(answer.headers(), "location");
                    acknowledged.push(place.split('/').nth(2).unwrap().to_owned());
                }
                503 => {
                    assert_eq!(header(answer.headers(), "retry-after"), "2");
                    refused += 1;
                }
                other => panic!("{other}: {}", answer.text().await.unwrap()),
            }
        }
        (acknowledged, refused)
    };
    let killer = async {
        let mut longest = Duration::ZERO;
        for _ in 0..3 {
            tokio::time::sleep(Duration::from_millis(1_500)).await;
            let before = server_of(&data);
            kill_server(&data);
            let since = Instant::now();
            while server_of(&data).is_none() || server_of(&data) == before {
                assert!(since.elapsed() < AGAIN, "not started again");
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
            longest = longest.max(since.elapsed());
            until(owner, true).await;
        }
        killed.store(true, Ordering::Relaxed);
        longest
    };
    let (one, two, three, longest) = tokio::join!(caller(), caller(), caller(), killer);
    // A tenth of a second on an idle machine; this one may be busy with other tests.
    assert!(
        longest < Duration::from_secs(10),
        "started after {longest:?}"
    );
    assert!(until(owner, true).await < AGAIN);

    let socket = ServerSocket::of_running(&data).unwrap();
    let mut conn = socket.owner_options("borewright").connect().await.unwrap();
    let stored: Vec<String> = query_scalar("select id::text from enquiry")
        .fetch_all(&mut conn)
        .await
        .unwrap();
    conn.close().await.unwrap();
    let there: HashSet<&String> = stored.iter().collect();
    let (mut acknowledged, mut refused) = (0, 0);
    for (keys, not) in [&one, &two, &three] {
        for key in keys {
            assert!(there.contains(key), "{key} was acknowledged and is gone");
        }
        acknowledged += keys.len();
        refused += not;
    }
    assert!(acknowledged > 20, "{acknowledged}");
    assert!(
        stored.len() <= acknowledged + refused,
        "{} {acknowledged} {refused}",
        stored.len()
    );

    let log = running.stop();
    // One that is killed again while it still recovers has not started.
    let ended = log.matches("has ended; it is started again").count();
    let not_started = log.matches("cannot be started; it is tried again").count();
    assert!(
        (1..=3).contains(&ended) && ended + not_started >= 3,
        "{ended} ended, {not_started} not started"
    );
    assert!(
        log.contains("database system was not properly shut down"),
        "{log}"
    );
}

#[tokio::test]
async fn a_server_that_cannot_be_started_is_said_and_tried_until_it_can() {
    let (_keep, data) = private_directory();
    let running = Running::start(&data).await;
    let control = data.join("postgres/global/pg_control");
    let aside = data.join("control");
    std::fs::rename(&control, &aside).unwrap();
    kill_server(&data);
    until(&running.owner, false).await;
    let answer = running.owner.get("/health/ready").await;
    assert!(
        answer
            .text()
            .await
            .unwrap()
            .contains(r#""database":"unreachable""#)
    );
    assert_eq!(running.owner.get("/health/live").await.status(), 200);
    is_kept(&running.owner).await;
    let page = running.owner.get("/stock").await;
    assert_eq!(page.status(), 503);
    assert!(page.text().await.unwrap().contains("Not available now"));

    std::fs::rename(&aside, &control).unwrap();
    assert!(until(&running.owner, true).await < AGAIN);
    is_taken(&running.owner).await;
    let log = running.stop();
    assert!(
        log.contains("cannot be started; it is tried again until it can"),
        "{log}"
    );
    assert!(log.contains("pg_control"), "{log}");
}

/// A small file system in memory, for a disk that is full. Making one takes root, who runs the tests in a container.
struct SmallDisk<'a>(&'a Path);

impl<'a> SmallDisk<'a> {
    fn mounted(at: &'a Path) -> Option<Self> {
        let made = is_root()
            && Command::new("mount")
                .args(["-t", "tmpfs", "-o", "size=160m,mode=755", "tmpfs"])
                .arg(at)
                .stderr(Stdio::null())
                .status()
                .is_ok_and(|status| status.success());
        made.then_some(Self(at))
    }
}

impl Drop for SmallDisk<'_> {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.0).status();
    }
}

#[tokio::test]
async fn a_full_disk_is_said_and_all_is_well_when_there_is_room_again() {
    let (keep, data) = private_directory();
    let Some(_disk) = SmallDisk::mounted(keep.path()) else {
        eprintln!("no file system can be mounted here: a full disk was not tried");
        return;
    };
    let running = Running::start(&data).await;
    let filler = keep.path().join("filler");
    let mut file = std::fs::File::create(&filler).unwrap();
    while file.write_all(&[1; 4096]).is_ok() {}
    drop(file);
    // The server's words about a full disk, and its end when it cannot write its log.
    kill_server(&data);
    until(&running.owner, false).await;
    is_kept(&running.owner).await;
    std::fs::remove_file(&filler).unwrap();
    assert!(until(&running.owner, true).await < AGAIN);
    is_taken(&running.owner).await;
    let log = running.stop();
    assert!(log.contains("No space left on device"), "{log}");
}

#[tokio::test]
async fn an_outside_server_that_goes_away_comes_back_unaided() {
    let (_keep, data) = private_directory();
    let start = || Cluster::start(&data, None).unwrap();
    let cluster = start();
    let owner = cluster.socket().owner_options("borewright");
    migrate::create_database(&owner).await.unwrap();
    migrate::migrate(&owner).await.unwrap();
    let pool = migrate::service_pool(migrate::as_service(&owner), 3)
        .await
        .unwrap();
    let site = TestSite::of_shop(&pool, "quay").await;
    let visitor = Visitor::signed_in_at(&site, "edda").await;
    assert_eq!(readiness(&visitor).await, 200);

    cluster.stop().unwrap();
    until(&visitor, false).await;
    is_kept(&visitor).await;
    let _cluster = start();
    assert!(until(&visitor, true).await < AGAIN);
    is_taken(&visitor).await;
}

#[tokio::test]
async fn too_many_at_once_are_asked_to_come_again_and_health_waits_for_nobody() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let mut taken = Vec::new();
    for _ in 0..site.database.pool.options().get_max_connections() {
        taken.push(site.database.pool.begin().await.unwrap());
    }
    let since = Instant::now();
    for path in ["/health", "/health/live", "/health/ready"] {
        assert_eq!(site.stranger().get(path).await.status(), 200, "{path}");
    }
    assert!(
        since.elapsed() < Duration::from_secs(1),
        "{:?}",
        since.elapsed()
    );
    let answer = owner.get("/stock").await;
    assert_eq!(answer.status(), 503);
    assert_eq!(header(answer.headers(), "retry-after"), "2");
    is_kept(&owner).await;
    let program = owner
        .request("GET", "/api/v1/enquiries")
        .header("accept", "application/json")
        .send()
        .await
        .unwrap();
    assert_eq!(program.status(), 503);
    assert_eq!(
        header(program.headers(), "content-type"),
        "application/problem+json"
    );
    drop(taken);
    assert_eq!(owner.get("/stock").await.status(), 200);
    is_taken(&owner).await;
}
