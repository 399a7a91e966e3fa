//! The bench screen, in a real browser and over HTTP: known devices, PINs, a day's work with one thumb, and no network.

use crate::bench_store::{booking, checked_job, job, person};
use crate::support::TestDatabase;
use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between};
use borewright::app::{book_time, password};
use borewright::db::bookings::{self, Booking, NewBooking};
use borewright::db::devices;
use borewright::db::jobs::{self, OperationState};
use borewright::db::{calendars, machines};
use borewright::estimating::{Machine, MachineRate};
use borewright::shopfloor::Kind;
use borewright::units::{Currency, Money};
use chrono::{DateTime, Datelike, Days, NaiveTime, TimeDelta, Utc};
use serde_json::{Value, json};
use sqlx::ConnectOptions;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use uuid::Uuid;

/// A PIN of whoever signs on in a test.
pub const PIN: &str = "4071";

/// A shop with a mill, two jobs for it, and Col, who has a PIN.
struct Floor {
    col: Uuid,
    mill: Uuid,
    /// The operations of the first job and of the second.
    first: [Uuid; 2],
    second: [Uuid; 2],
    jobs: [Uuid; 2],
}

async fn floor(site: &TestSite) -> Floor {
    let gbp = Currency::from_code("GBP").unwrap();
    let mill = Machine {
        id: Uuid::now_v7(),
        kind: "mill".to_owned(),
        name: "Big mill".to_owned(),
        active: true,
        worksheet: MachineRate::blank(gbp),
        agreed_rate: Some(Money::new(40.into(), gbp)),
        version: 1,
    };
    let mut tx = site.shop.begin().await;
    machines::insert(&mut tx, &mill).await.unwrap();
    let col = person(&mut tx, "Col Brannick").await;
    devices::set_pin(&mut tx, col, &password::hash(PIN).unwrap(), Utc::now())
        .await
        .unwrap();
    let (one, first) = job(&mut tx, [30, 20]).await;
    let (two, second) = job(&mut tx, [30, 20]).await;
    tx.commit().await.unwrap();
    Floor {
        col,
        mill: mill.id,
        first,
        second,
        jobs: [one, two],
    }
}

async fn booked(site: &TestSite, job: Uuid) -> Vec<Booking> {
    let mut tx = site.shop.begin().await;
    bookings::of_job(&mut tx, job).await.unwrap()
}

fn kinds(bookings: &[Booking]) -> Vec<Kind> {
    bookings.iter().map(|b| b.entry.kind).collect()
}

/// Makes the browser a bench device, as the owner does it on the tablet, and signs Col on.
async fn at_the_bench(site: &TestSite, screen: Screen) -> Browser {
    let browser = Browser::signed_in(site, screen, "edda").await;
    browser.goto("/shop/devices").await;
    browser.tap("#name").await;
    browser
        .type_text(&format!("Device {}", &Uuid::now_v7().to_string()[24..]))
        .await;
    browser.tap("form[action='/shop/devices'] button").await;
    browser.wait_for(".bench-people").await;
    sign_on(&browser, screen).await;
    browser
}

async fn sign_on(browser: &Browser, screen: Screen) {
    if screen == Screen::Phone {
        browser.picture("bench-people").await;
    }
    browser.tap(".bench-people a").await;
    browser.wait_for(".bench-keypad:not([hidden])").await;
    for digit in PIN.chars() {
        browser
            .tap(&format!(".bench-keypad [data-digit='{digit}']"))
            .await;
    }
    if screen == Screen::Phone {
        browser.picture("bench-pin").await;
    }
    browser.tap(".bench-pin [type=submit]").await;
    browser.wait_for("#bench").await;
}

/// The operation's card.
fn card(operation: Uuid) -> String {
    format!(".bench-card[data-op='{operation}']")
}

fn button(operation: Uuid, kind: &str) -> String {
    format!("{} [data-book='{kind}'] button", card(operation))
}

/// Presses Done; where checks are not made, that is asked about first.
async fn done(browser: &Browser, operation: Uuid) {
    let asks = format!("{} .bench-unmade", card(operation));
    let script = "return document.querySelector(arguments[0]) !== null";
    let asked = browser.script(script, vec![json!(asks)]).await;
    if asked == json!(true) {
        browser.tap(&format!("{asks} summary")).await;
        browser
            .wait_for_text(&asks, "the office has to enter them")
            .await;
    }
    browser.tap(&button(operation, "done")).await;
}

/// Waits until so many entries of a job are booked.
async fn until_booked(site: &TestSite, job: Uuid, count: usize) -> Vec<Booking> {
    for _ in 0..600 {
        let bookings = booked(site, job).await;
        if bookings.len() >= count {
            return bookings;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    panic!("{count} entries were never booked");
}

#[tokio::test]
async fn a_day_at_the_mill_with_one_thumb() {
    let site = TestSite::new().await;
    let floor = floor(&site).await;
    for screen in [Screen::Phone, Screen::Tablet, Screen::Desktop] {
        let browser = at_the_bench(&site, screen).await;
        browser.wait_for_text("#bench", "Next here").await;
        browser.picture("bench").await;
        // Every target is 56 pixels at least.
        let small = browser
            .script(
                "return [...document.querySelectorAll('#bench :is(a, button, summary, input:not([type=hidden]))')]
                 .filter(e => e.getClientRects().length && e.getBoundingClientRect().height < 55.5).map(e => e.outerHTML)",
                vec![],
            )
            .await;
        assert_eq!(small, json!([]));
        browser.close().await;
    }
    let browser = at_the_bench(&site, Screen::Tablet).await;
    let [mill, next] = floor.first;
    browser.tap(&button(mill, "setup")).await;
    browser.wait_for_text(&card(mill), "setting up since").await;
    until_booked(&site, floor.jobs[0], 1).await;
    browser
        .wait_for(&format!("{}[data-clock=setup]", card(mill)))
        .await;
    browser.tap(&button(mill, "run")).await;
    until_booked(&site, floor.jobs[0], 2).await;
    browser
        .wait_for(&format!("{}[data-clock=run]", card(mill)))
        .await;
    browser.picture("bench-running").await;
    // Left to run by itself, it lets Col set up the other job, in the same setup or not.
    browser.tap(&button(mill, "run_alone")).await;
    until_booked(&site, floor.jobs[0], 3).await;
    browser
        .wait_for(&format!("{}[data-clock=alone]", card(mill)))
        .await;
    let other = floor.second[0];
    browser.tap(&button(other, "setup")).await;
    until_booked(&site, floor.jobs[1], 1).await;
    browser
        .wait_for(&format!("{}[data-clock=setup]", card(other)))
        .await;
    done(&browser, mill).await;
    let entries = until_booked(&site, floor.jobs[0], 4).await;
    assert_eq!(
        kinds(&entries),
        [Kind::Setup, Kind::Run, Kind::RunAlone, Kind::Done]
    );
    assert!(entries.iter().all(|b| b.conflict.is_none()
        && b.entry.person == floor.col
        && b.entry.machine == Some(floor.mill)));
    // What came after it can be begun now.
    browser.wait_for(&button(next, "setup")).await;
    browser.close().await;
}

#[tokio::test]
async fn no_network_then_it_is_back() {
    let site = TestSite::new().await;
    let floor = floor(&site).await;
    let [mill, _] = floor.first;
    let browser = at_the_bench(&site, Screen::Phone).await;
    browser.wait_for(&button(mill, "setup")).await;
    browser.offline(true).await;
    for (press, clock) in [("setup", "setup"), ("run", "run"), ("pause", "none")] {
        browser.tap(&button(mill, press)).await;
        browser
            .wait_for(&format!("{}[data-clock={clock}]", card(mill)))
            .await;
    }
    browser.wait_for_text("#bench-state", "No network").await;
    browser.wait_for_text("#bench-queue", "Set up").await;
    assert!(booked(&site, floor.jobs[0]).await.is_empty());
    // Meanwhile somebody else finishes the operation.
    let mut tx = site.shop.begin().await;
    let wyn = person(&mut tx, "Wyn Tarrant").await;
    let now = Utc::now();
    let done = NewBooking {
        at: now,
        device_at: now,
        received_at: now,
        ..booking(Kind::Done, mill, wyn, "26T08:00")
    };
    book_time::book_within(&mut tx, &done).await.unwrap();
    tx.commit().await.unwrap();
    browser.offline(false).await;
    let entries = until_booked(&site, floor.jobs[0], 4).await;
    assert_eq!(
        kinds(&entries),
        [Kind::Done, Kind::Setup, Kind::Run, Kind::Pause]
    );
    let conflicts: Vec<bool> = entries.iter().map(|b| b.conflict.is_some()).collect();
    assert_eq!(conflicts, [false, true, true, false]);
    // The conflict is shown; nothing waits on the device any more.
    browser.wait_for_text("#bench", "already finished").await;
    browser.wait_for("#bench-queue[hidden]").await;
    browser.picture("bench-conflict").await;
    browser.close().await;
}

/// The program in a process of its own, on a database of the test's.
fn serve(database: &TestDatabase, port: u16) -> (Child, u16) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_borewright"));
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("BOREWRIGHT_") {
            command.env_remove(name);
        }
    }
    let mut child = command
        .args(["serve", "--log", "error", "--port", &port.to_string()])
        .env(
            "DATABASE_URL",
            database.owner_options().to_url_lossy().as_str(),
        )
        .env_remove("SERVICE_DATABASE_URL")
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap())
        .read_line(&mut line)
        .unwrap();
    let port = line.trim().rsplit(':').next().unwrap().parse().unwrap();
    (child, port)
}

#[tokio::test]
async fn the_server_is_killed_while_it_books_and_every_entry_is_booked_once() {
    let mut site = TestSite::new().await;
    let (mut child, port) = serve(&site.database, 0);
    site.address = format!("http://127.0.0.1:{port}");
    let floor = floor(&site).await;
    let browser = at_the_bench(&site, Screen::Phone).await;
    let ([one, _], [two, _]) = (floor.first, floor.second);
    browser.wait_for(&button(one, "setup")).await;
    // The copies for when there is no network are made.
    for _ in 0..200 {
        let kept = "return caches.match('/bench').then(kept => Boolean(kept))";
        if browser.script(kept, vec![]).await == json!(true) {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    browser.offline(true).await;
    browser.tap(&button(one, "setup")).await;
    browser
        .wait_for(&format!("{}[data-clock=setup]", card(one)))
        .await;
    browser.tap(&button(two, "setup")).await;
    browser
        .wait_for(&format!("{}[data-clock=setup]", card(two)))
        .await;
    browser.tap(&button(one, "run")).await;
    browser
        .wait_for(&format!("{}[data-clock=run]", card(one)))
        .await;

    // The second job's row is locked, so of the three entries the first is booked and the second hangs: the server dies
    // there.
    let mut owner = site.database.owner().await;
    sqlx::raw_sql(sqlx::AssertSqlSafe(format!(
        "begin; select from job where id = '{}' for update",
        floor.jobs[1]
    )))
    .execute(&mut owner)
    .await
    .unwrap();
    browser.offline(false).await;
    assert_eq!(until_booked(&site, floor.jobs[0], 1).await.len(), 1);
    child.kill().unwrap();
    child.wait().unwrap();
    sqlx::raw_sql("rollback").execute(&mut owner).await.unwrap();

    // Without a server the page comes from the device, with all that was entered, and more can be entered.
    browser.goto("/bench").await;
    browser
        .wait_for(&format!("{}[data-clock=run]", card(one)))
        .await;
    browser
        .wait_for(&format!("{}[data-clock=setup]", card(two)))
        .await;
    browser.wait_for_text("#bench-queue", "Run").await;
    done(&browser, one).await;
    browser
        .wait_for(&format!("{}[data-clock=done]", card(one)))
        .await;

    let (mut child, _) = serve(&site.database, port);
    let first = until_booked(&site, floor.jobs[0], 3).await;
    assert_eq!(kinds(&first), [Kind::Setup, Kind::Run, Kind::Done]);
    let second = booked(&site, floor.jobs[1]).await;
    assert_eq!(kinds(&second), [Kind::Setup]);
    browser.wait_for("#bench-queue[hidden]").await;
    browser.close().await;
    child.kill().unwrap();
    child.wait().unwrap();
}

/// A device that talks to the server itself.
async fn device(site: &TestSite, name: &str) -> Visitor {
    device_of(site.owner().await, name).await
}

/// The browser of an owner who makes it a bench device.
pub async fn device_of(owner: Visitor, name: &str) -> Visitor {
    let answer = owner.post("/shop/devices", &[("name", name)]).await;
    assert_eq!(answer.status(), 303, "{}", answer.text().await.unwrap());
    owner
}

/// Signs a person on; the key of it.
pub async fn signed_on(device: &Visitor, person: Uuid) -> String {
    let path = format!("/bench/sign-on/{person}");
    let answer = device.post_bare(&path, &[("pin", PIN)]).await;
    assert_eq!(answer.status(), 303, "{}", answer.text().await.unwrap());
    let page = device.get("/bench").await.text().await.unwrap();
    between(&page, "data-sign-on=\"", "\"").to_owned()
}

async fn send(device: &Visitor, entries: &[Value]) -> reqwest::Response {
    let body = json!({ "sent_at": Utc::now(), "entries": entries });
    device
        .request("POST", "/bench/entries")
        .header("accept", "application/json")
        .json(&body)
        .send()
        .await
        .unwrap()
}

#[tokio::test]
async fn only_known_devices_come_in_and_wrong_pins_lock_them() {
    let site = TestSite::new().await;
    let floor = floor(&site).await;
    assert_eq!(site.stranger().get("/bench").await.status(), 401);
    // Being signed in is not being at the bench.
    assert_eq!(site.owner().await.get("/bench").await.status(), 401);
    let tablet = device(&site, "Mill tablet").await;
    assert_eq!(tablet.get("/bench").await.status(), 200);
    // Whoever registered it is signed out there.
    assert_eq!(tablet.get("/shop/devices").await.status(), 303);

    let path = format!("/bench/sign-on/{}", floor.col);
    let mut answers = Vec::new();
    let mut tx = site.shop.begin().await;
    for _ in 0..devices::LOCKED_AFTER {
        answers.push(
            tablet
                .post_bare(&path, &[("pin", "0000")])
                .await
                .status()
                .as_u16(),
        );
        // The brake lets a fourth try wait; time is turned back instead of waited for.
        sqlx::query("delete from sign_in_failure where shop_id = $1")
            .bind(site.shop.id)
            .execute(tx.conn())
            .await
            .unwrap();
        tx.commit().await.unwrap();
        tx = site.shop.begin().await;
    }
    assert_eq!(answers, [401; 10]);
    let right = tablet.post_bare(&path, &[("pin", PIN)]).await;
    assert_eq!(right.status(), 423, "a locked device takes no PIN");
    let found = devices::list(&mut tx).await.unwrap();
    drop(tx);
    let owner = site.owner().await;
    let unlock = format!("/shop/devices/{}/unlock", found[0].id);
    assert_eq!(owner.post(&unlock, &[]).await.status(), 303);
    signed_on(&tablet, floor.col).await;

    // After three tries in a row the next has to wait.
    let phone = device(&site, "Col’s phone").await;
    for _ in 0..3 {
        let wrong = phone.post_bare(&path, &[("pin", "0000")]).await;
        assert_eq!(wrong.status(), 401);
    }
    assert_eq!(phone.post_bare(&path, &[("pin", PIN)]).await.status(), 429);

    let revoke = format!("/shop/devices/{}/revoke", found[0].id);
    assert_eq!(owner.post(&revoke, &[]).await.status(), 303);
    assert_eq!(tablet.get("/bench").await.status(), 401);
    assert_eq!(send(&tablet, &[]).await.status(), 401);
    // Machinists hand out neither devices nor PINs.
    site.person(
        "Wyn Tarrant",
        "wyn",
        borewright::db::people::Role::Machinist,
    )
    .await;
    let wyn = site.signed_in("wyn").await;
    assert_eq!(wyn.get("/shop/devices").await.status(), 403);
    let easy = format!("/shop/devices/pins/{}", floor.col);
    assert_eq!(wyn.post(&easy, &[("pin", "4072")]).await.status(), 403);
    assert_eq!(owner.post(&easy, &[("pin", "1234")]).await.status(), 422);
}

#[tokio::test]
async fn a_device_is_given_another_name_and_machine_without_being_registered_again() {
    let site = TestSite::new().await;
    let floor = floor(&site).await;
    let tablet = device(&site, "Mill tablet").await;
    let mut tx = site.shop.begin().await;
    let known = devices::list(&mut tx).await.unwrap().remove(0);
    drop(tx);
    let owner = site.owner().await;
    let path = format!("/shop/devices/{}/edit", known.id);
    let list = owner.get("/shop/devices").await.text().await.unwrap();
    assert!(list.contains(&path));
    let machine = floor.mill.to_string();
    let edit = [
        ("name", "Borer tablet"),
        ("machine", machine.as_str()),
        ("version", "1"),
    ];
    assert_eq!(owner.post(&path, &edit).await.status(), 303);
    assert_eq!(owner.post(&path, &edit).await.status(), 409, "stale");
    let nameless = [("name", ""), ("version", "2")];
    assert_eq!(owner.post(&path, &nameless).await.status(), 422);
    let mut tx = site.shop.begin().await;
    let now = devices::list(&mut tx).await.unwrap().remove(0);
    drop(tx);
    assert_eq!(
        (now.name.as_str(), now.machine_id),
        ("Borer tablet", Some(floor.mill))
    );
    assert_eq!(tablet.get("/bench").await.status(), 200, "its token stays");
    let revoke = format!("/shop/devices/{}/revoke", known.id);
    assert_eq!(owner.post(&revoke, &[]).await.status(), 303);
    assert_eq!(owner.get(&path).await.status(), 404);
}

/// The wrong button is taken back by whoever pressed it, with what it paused elsewhere, for a minute and no longer; nothing
/// that was booked on it since is left hanging.
#[tokio::test]
async fn a_press_is_taken_back_for_a_minute() {
    let site = TestSite::new().await;
    let floor = floor(&site).await;
    let tablet = device(&site, "Mill tablet").await;
    let sign_on = signed_on(&tablet, floor.col).await;
    let entry = |kind: &str, operation: Uuid, at: DateTime<Utc>| {
        json!({ "key": Uuid::now_v7(), "sign_on": sign_on, "kind": kind, "operation": operation,
                "machine": floor.mill, "at": at })
    };
    let states = async || {
        let mut tx = site.shop.begin().await;
        let mut states = Vec::new();
        for operation in [floor.first[0], floor.second[0]] {
            let (_, operation) = jobs::operation(&mut tx, operation).await.unwrap();
            states.push(operation.state);
        }
        states
    };
    let clocks = async || {
        let mut tx = site.shop.begin().await;
        let live: Vec<_> = bookings::live(&mut tx).await.unwrap();
        let entries: Vec<_> = live.iter().map(|b| b.entry).collect();
        let running = borewright::shopfloor::clocks(&entries).into_iter();
        let running = running.filter(|clock| clock.until.is_none());
        running.map(|clock| clock.operation).collect::<Vec<_>>()
    };
    let undo = async |entry: &str| {
        let fields = [("sign_on", sign_on.as_str()), ("corrects", entry)];
        let answer = tablet.post_bare("/bench/undo", &fields).await;
        assert_eq!(answer.status(), 303);
        tablet.get("/bench").await.text().await.unwrap()
    };
    // At work on the first job since half an hour ago; then the wrong card: it pauses the first and begins the second.
    let now = Utc::now();
    let mut tx = site.shop.begin().await;
    let device_id = devices::list(&mut tx).await.unwrap()[0].id;
    let earlier = |kind, ago| NewBooking {
        device_id: Some(device_id),
        at: now - ago,
        device_at: now - ago,
        received_at: now - ago,
        ..booking(kind, floor.first[0], floor.col, "23T08:00")
    };
    let first = earlier(Kind::Setup, TimeDelta::minutes(30));
    book_time::book_within(&mut tx, &first).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(clocks().await, [floor.first[0]]);
    let page = tablet.get("/bench").await.text().await.unwrap();
    assert!(!page.contains("bench-undo"), "half an hour ago");
    let wrong = [
        entry("pause", floor.first[0], now),
        entry("setup", floor.second[0], now),
    ];
    assert_eq!(send(&tablet, &wrong).await.status(), 200);
    assert_eq!(clocks().await, [floor.second[0]]);
    let page = tablet.get("/bench").await.text().await.unwrap();
    let offered = between(&page, "name=\"corrects\" value=\"", "\"").to_owned();
    assert_eq!(json!(offered), wrong[1]["key"]);
    let page = undo(&offered).await;
    assert!(page.contains("Taken back"), "{page}");
    assert_eq!(clocks().await, [floor.first[0]]);
    assert_eq!(
        states().await,
        [OperationState::Started, OperationState::Queued]
    );
    // Once is enough, and nobody takes back what they did not press.
    assert!(undo(&offered).await.contains("Too late"));
    assert!(undo(&Uuid::now_v7().to_string()).await.contains("Too late"));

    // Finished by mistake: it is being worked on again.
    let done = entry("done", floor.first[0], now + TimeDelta::milliseconds(5));
    let key = done["key"].as_str().unwrap().to_owned();
    assert_eq!(send(&tablet, &[done]).await.status(), 200);
    assert_eq!(states().await[0], OperationState::Done);
    assert!(undo(&key).await.contains("Taken back"));
    assert_eq!(states().await[0], OperationState::Started);

    // What was pressed more than a minute ago stays.
    let old = earlier(Kind::Pause, TimeDelta::seconds(90));
    let mut tx = site.shop.begin().await;
    book_time::book_within(&mut tx, &old).await.unwrap();
    tx.commit().await.unwrap();
    assert!(undo(&old.id.to_string()).await.contains("Too late"));
    // History keeps all of it: two presses of two entries and one, each struck by an entry of its own.
    let all = booked(&site, floor.jobs[0]).await;
    assert_eq!(
        all.iter().filter(|b| b.entry.kind == Kind::Struck).count(),
        2
    );
}

#[tokio::test]
async fn what_cannot_be_booked_is_kept_for_somebody_to_look_at() {
    let site = TestSite::new().await;
    let floor = floor(&site).await;
    let tablet = device(&site, "Mill tablet").await;
    let sign_on = signed_on(&tablet, floor.col).await;
    let entry = |kind: &str, operation: Uuid, at: DateTime<Utc>| {
        json!({ "key": Uuid::now_v7(), "sign_on": sign_on, "kind": kind, "operation": operation,
                "machine": floor.mill, "at": at })
    };
    let now = Utc::now();
    let good = entry("setup", floor.first[0], now);
    let nowhere = entry("setup", Uuid::now_v7(), now);
    let old = entry("setup", floor.first[0], now - TimeDelta::days(2));
    let mut other = good.clone();
    other["sign_on"] = json!(Uuid::now_v7());
    other["key"] = json!(Uuid::now_v7());
    let sent = [
        good.clone(),
        nowhere,
        old,
        other,
        json!({ "kind": 3 }),
        entry("dance", floor.first[0], now),
    ];
    let answer: Value = send(&tablet, &sent).await.json().await.unwrap();
    let outcomes: Vec<&str> = answer["outcomes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|o| o["outcome"].as_str().unwrap())
        .collect();
    let aside = "set_aside";
    assert_eq!(outcomes, ["booked", aside, aside, aside, aside, aside]);
    // Sent again after a lost answer: booked once, set aside once (but for the one without a key).
    let again: Value = send(&tablet, &sent).await.json().await.unwrap();
    assert_eq!(again["outcomes"][0]["outcome"], "booked");
    assert_eq!(booked(&site, floor.jobs[0]).await.len(), 1);
    let mut tx = site.shop.begin().await;
    let kept = bookings::set_aside_open(&mut tx).await.unwrap();
    assert_eq!(kept.len(), 6);
    assert!(kept.iter().any(|k| k.body["kind"] == "dance"));
    drop(tx);
    assert_eq!(send(&tablet, &vec![good; 201]).await.status(), 413);
    let garbled = tablet
        .request("POST", "/bench/entries")
        .header("content-type", "application/json")
        .header("accept", "application/json")
        .body("{")
        .send()
        .await
        .unwrap();
    assert_eq!(garbled.status(), 422);
}

/// Whatever is wrong with one entry of a queue, it is kept for the office and the rest is booked.
#[tokio::test]
async fn no_entry_blocks_the_queue_of_its_device() {
    let site = TestSite::new().await;
    let floor = floor(&site).await;
    let tablet = device(&site, "Mill tablet").await;
    let sign_on = signed_on(&tablet, floor.col).await;
    let now = Utc::now();
    let entry = |kind: &str| {
        json!({ "key": Uuid::now_v7(), "sign_on": sign_on, "kind": kind, "operation": floor.first[0],
                "machine": floor.mill, "at": now })
    };
    let with = |field: &str, value: Value| {
        let mut entry = entry("pause");
        entry[field] = value;
        entry
    };
    let unknown_machine = with("machine", json!(Uuid::now_v7()));
    let nul = with("reason", json!("cutter\0 broke"));
    let first = entry("setup");
    let sent = [
        first.clone(),
        unknown_machine.clone(),
        nul,
        with("kind", json!("pau\0se")),
        with("no\0te", json!({ "a": ["b", "\0"] })),
        with("at", json!("-262143-01-01T00:00:00Z")),
        with("at", json!("+262142-12-31T23:59:59Z")),
        json!("\0"),
        // It corrects an entry and does not say why.
        with("corrects", first["key"].clone()),
        entry("run"),
    ];
    let answer = send(&tablet, &sent).await;
    assert_eq!(answer.status(), 200, "{}", answer.text().await.unwrap());
    let answer: Value = answer.json().await.unwrap();
    let outcomes: Vec<&str> = answer["outcomes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|o| o["outcome"].as_str().unwrap())
        .collect();
    let aside = "set_aside";
    assert_eq!(
        outcomes,
        [
            "booked", aside, aside, aside, "booked", aside, aside, aside, aside, "booked"
        ]
    );
    let bookings = booked(&site, floor.jobs[0]).await;
    assert_eq!(kinds(&bookings), [Kind::Setup, Kind::Pause, Kind::Run]);
    let mut tx = site.shop.begin().await;
    let kept = bookings::set_aside_open(&mut tx).await.unwrap();
    assert_eq!(kept.len(), 7);
    let of = |entry: &Value| kept.iter().find(|k| k.body["key"] == entry["key"]).unwrap();
    // Word for word, and what could not be kept is said.
    assert_eq!(of(&unknown_machine).body, unknown_machine);
    assert_eq!(of(&unknown_machine).why, "this machine was not found");
    assert_eq!(of(&sent[2]).body["reason"], "cutter broke");
    assert!(of(&sent[2]).why.contains("NUL"), "{}", of(&sent[2]).why);
    assert_eq!(of(&sent[3]).body["kind"], "pause");
    assert!(of(&sent[3]).why.contains("NUL"), "{}", of(&sent[3]).why);
    assert_eq!(of(&sent[5]).body, sent[5]);
    drop(tx);
    // Half of a surrogate pair cannot be kept either: that entry is set aside, and those around it are booked.
    let half = entry("pause");
    let whole = entry("setup");
    let body = json!({ "sent_at": Utc::now(), "entries": [&half, &whole] }).to_string();
    let body = body.replacen("\"kind\"", r#""reason":"cutter \ud800 broke","kind""#, 1);
    let answer = tablet
        .request("POST", "/bench/entries")
        .header("content-type", "application/json")
        .header("accept", "application/json")
        .body(body)
        .send()
        .await
        .unwrap();
    assert_eq!(answer.status(), 200, "{}", answer.text().await.unwrap());
    let answer: Value = answer.json().await.unwrap();
    assert_eq!(answer["outcomes"][0]["outcome"], aside, "{answer}");
    assert_eq!(answer["outcomes"][1]["outcome"], "booked", "{answer}");
    let mut tx = site.shop.begin().await;
    let kept = bookings::set_aside_open(&mut tx).await.unwrap();
    let kept = kept.iter().find(|k| k.body["key"] == half["key"]).unwrap();
    assert_eq!(kept.body["reason"], "cutter \u{FFFD} broke");
    drop(tx);
    // The same from a form without a script: refused in words, and nothing booked.
    let bare = |machine: &str, at: &str| {
        [
            ("key", Uuid::now_v7().to_string()),
            ("sign_on", sign_on.clone()),
            ("kind", "pause".to_owned()),
            ("operation", floor.first[0].to_string()),
            ("machine", machine.to_owned()),
            ("corrects", bookings[2].entry.id.to_string()),
            ("reason", "It was left running".to_owned()),
            ("at", at.to_owned()),
        ]
    };
    let (mill, nowhere) = (floor.mill.to_string(), Uuid::now_v7().to_string());
    for (machine, at, status) in [
        (&nowhere, "2026-11-28T08:00", 404),
        (&mill, "-262143-01-01T00:00", 422),
        (&mill, "soon", 422),
    ] {
        let fields = bare(machine, at);
        let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (*k, v.as_str())).collect();
        let answer = tablet.post_bare("/bench/book", &fields).await;
        assert_eq!(answer.status(), status, "{machine} {at}");
    }
    assert_eq!(booked(&site, floor.jobs[0]).await.len(), 4);
}

#[tokio::test]
async fn whoever_forgot_to_stop_is_asked_on_the_screen() {
    let site = TestSite::new().await;
    let floor = floor(&site).await;
    let zone = chrono_tz::Europe::London;
    let yesterday = Utc::now()
        .with_timezone(&zone)
        .date_naive()
        .checked_sub_days(Days::new(1))
        .unwrap();
    let clock = |hour, minute| NaiveTime::from_hms_opt(hour, minute, 0).unwrap();
    let mut tx = site.shop.begin().await;
    let shift = calendars::ShiftRow {
        id: Uuid::now_v7(),
        owner: calendars::Owner::Shop,
        shift: borewright::planning::Shift {
            weekday: yesterday.weekday(),
            start: clock(8, 0),
            end: clock(16, 30),
        },
        version: 1,
    };
    calendars::insert_shift(&mut tx, &shift).await.unwrap();
    let began = borewright::planning::local_instant(zone, yesterday.and_time(clock(14, 0)));
    let start = NewBooking {
        at: began,
        device_at: began,
        received_at: began,
        machine_id: Some(floor.mill),
        ..booking(Kind::Run, floor.first[0], floor.col, "26T08:00")
    };
    book_time::book_within(&mut tx, &start).await.unwrap();
    tx.commit().await.unwrap();
    let browser = at_the_bench(&site, Screen::Phone).await;
    browser
        .wait_for_text(".bench-question", "When did you stop?")
        .await;
    browser.picture("bench-question").await;
    browser
        .tap(".bench-question .bench-buttons [data-book=pause] button")
        .await;
    let entries = until_booked(&site, floor.jobs[0], 2).await;
    let ended = borewright::planning::local_instant(zone, yesterday.and_time(clock(16, 30)));
    assert_eq!(entries[1].entry.at, ended);
    assert_eq!(entries[1].entry.corrects, Some(start.id));
    assert!(entries[1].reason.is_some());
    for _ in 0..200 {
        let asked = "return document.querySelectorAll('.bench-question:not([hidden])').length";
        if browser.script(asked, vec![]).await == json!(0) {
            return browser.close().await;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    panic!("the question is still asked");
}

#[tokio::test]
async fn a_measurement_out_of_limits_is_said_at_once_and_stops_the_job() {
    let site = TestSite::new().await;
    floor(&site).await;
    let mut tx = site.shop.begin().await;
    let (job, [mill, _]) = checked_job(&mut tx).await;
    tx.commit().await.unwrap();
    let browser = at_the_bench(&site, Screen::Phone).await;
    browser.tap(&button(mill, "run")).await;
    until_booked(&site, job, 1).await;
    let running = format!("{}[data-clock=run]", card(mill));
    browser.wait_for(&running).await;
    let reading = format!("#check-{mill}-0");
    let found = format!("{} .bench-checks li:first-child .bench-found", card(mill));
    // What is no number is refused where it stands.
    browser.offline(true).await;
    let first = format!("{} .bench-checks li:first-child", card(mill));
    let enter = format!("{first} form[data-lower] button");
    browser
        .wait_for_text(&first, "go 12.001 to 12.004 mm")
        .await;
    browser.tap(&format!("{first} summary")).await;
    browser.tap(&reading).await;
    browser.type_text("twelve").await;
    browser.tap(&enter).await;
    let refused = "return document.querySelector(arguments[0]).validationMessage";
    let refused = browser.script(refused, vec![json!(reading)]).await;
    assert!(
        refused.as_str().unwrap().contains("Enter a number"),
        "{refused}"
    );
    browser
        .script(
            "document.querySelector(arguments[0]).value = ''",
            vec![json!(reading)],
        )
        .await;
    browser.tap(&reading).await;
    browser.type_text("12,018").await;
    browser.tap(&enter).await;
    browser
        .wait_for_text(&found, "✓ 12,018: within limits")
        .await;
    browser.tap(&reading).await;
    browser.type_text("12.019").await;
    browser.tap(&enter).await;
    browser
        .wait_for_text(&found, "✗ 12.019: out of limits")
        .await;
    browser.wait_for_text(&card(mill), "On hold").await;
    browser.offline(false).await;
    browser.wait_for("#bench-queue[hidden]").await;
    let mut tx = site.shop.begin().await;
    let holds = borewright::db::checks::holds(&mut tx, Some(job))
        .await
        .unwrap();
    assert_eq!(holds.len(), 1);
    assert_eq!(holds[0].opened_by, "Col Brannick");
    drop(tx);
    browser.wait_for_text(&card(mill), "too large").await;
    browser.picture("bench-hold").await;
    browser.close().await;
}

#[tokio::test]
async fn the_job_says_where_it_stands_and_the_office_settles_what_waits() {
    let site = TestSite::demo().await;
    let mut tx = site.shop.begin().await;
    let holds = borewright::db::checks::holds(&mut tx, None).await.unwrap();
    let hold = &holds[0];
    drop(tx);
    let job = format!("/jobs/{}", hold.job_id);
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "office").await;
        for (path, name) in [
            ("/jobs/settle".to_owned(), "jobs-settle"),
            (job.clone(), "job-under-way"),
            (format!("{job}/holds/{}", hold.id), "job-hold"),
        ] {
            browser.goto(&path).await;
            browser.wait_for("main h1").await;
            browser.picture(name).await;
        }
        browser.close().await;
    }
    let office = site.signed_in("office").await;
    let page = office.get(&job).await.text().await.unwrap();
    for words in [
        "Cost to date",
        "Forecast cost at this rate",
        "On hold since",
        "Time bookings",
    ] {
        assert!(page.contains(words), "{words}");
    }
    // Machinists see hours and no money, and decide nothing.
    let machinist = site.signed_in("machinist").await;
    let page = machinist.get(&job).await.text().await.unwrap();
    assert!(page.contains("Labour hours to date") && !page.contains("Cost to date"));
    let path = format!("{job}/holds/{}", hold.id);
    assert_eq!(machinist.get(&path).await.status(), 403);

    let nothing = office.post(&path, &[("version", "1"), ("note", "x")]).await;
    assert_eq!(nothing.status(), 422);
    let rework = [
        ("version", "1"),
        ("decision", "rework"),
        ("note", "bore was tight"),
        ("title", "hone to size"),
        ("machine_kind", "bench"),
        ("setup", "10"),
        ("run", "0:25"),
    ];
    let none = [&rework[..6], &[("run", "0")]].concat();
    assert_eq!(office.post(&path, &none).await.status(), 422);
    assert_eq!(office.post(&path, &rework).await.status(), 303);
    assert_eq!(office.post(&path, &rework).await.status(), 409);
    let page = office.get(&job).await.text().await.unwrap();
    assert!(page.contains("Rework: hone to size"));

    // An entry is put right by another.
    let entries = booked(&site, hold.job_id).await;
    let entry = &entries[0];
    let path = format!("{job}/entries/{}", entry.entry.id);
    assert_eq!(machinist.get(&path).await.status(), 403);
    assert_eq!(office.get(&path).await.status(), 200);
    let no_reason = [("kind", "struck"), ("reason", "")];
    assert_eq!(office.post(&path, &no_reason).await.status(), 422);
    let moved = [
        ("kind", "moved"),
        ("date", "2026-01-05"),
        ("time", "08:15"),
        ("reason", "wrong day"),
    ];
    assert_eq!(office.post(&path, &moved).await.status(), 303);
    let now = booked(&site, hold.job_id).await;
    assert_eq!(now.len(), entries.len() + 1);
    assert_eq!(now[0], entries[0], "the entry itself stays as it was");
    let page = office.get(&job).await.text().await.unwrap();
    assert!(page.contains("wrong day"));
}

#[tokio::test]
async fn a_check_that_was_made_and_not_entered_is_entered_later_with_time_and_reason() {
    let site = TestSite::new().await;
    let floor = floor(&site).await;
    let mut tx = site.shop.begin().await;
    let (job, [mill, _]) = checked_job(&mut tx).await;
    let done = NewBooking {
        at: Utc::now(),
        ..booking(Kind::Done, mill, floor.col, "26T08:00")
    };
    book_time::book_within(&mut tx, &done).await.unwrap();
    tx.commit().await.unwrap();
    let owner = site.owner().await;
    let page = owner.get(&format!("/jobs/{job}")).await;
    let html = page.text().await.unwrap();
    let gauged = format!("/jobs/{job}/checks/{mill}/0");
    let measured = format!("/jobs/{job}/checks/{mill}/2");
    assert!(html.contains(&gauged) && html.contains(&measured));
    let form = owner.get(&gauged).await.text().await.unwrap();
    assert!(form.contains("no-go 12.0165 to 12.0195 mm"), "{form}");

    let col = floor.col.to_string();
    let filled = [
        ("goes", "yes"),
        ("person", &col),
        ("date", "2026-01-05"),
        ("time", "08:15"),
        ("reason", "the tablet was flat"),
    ];
    for missing in ["goes", "person", "date", "reason"] {
        let mut typed = filled.to_vec();
        typed.retain(|(name, _)| *name != missing);
        let answer = owner.post(&gauged, &typed).await;
        assert_eq!(answer.status(), 422, "{missing}");
        let html = answer.text().await.unwrap();
        assert!(missing == "reason" || html.contains("value=\"the tablet was flat\""));
    }
    let wrong = [&filled[1..], &[("measured", "twelve")]].concat();
    let answer = owner.post(&gauged, &wrong).await;
    assert_eq!(answer.status(), 422);
    let html = answer.text().await.unwrap();
    assert!(html.contains("id=\"measured-error\"") && html.contains("value=\"twelve\""));

    assert_eq!(owner.post(&gauged, &filled).await.status(), 303);
    let out = [&filled[1..], &[("measured", "0.06")]].concat();
    assert_eq!(owner.post(&measured, &out).await.status(), 303);
    let mut tx = site.shop.begin().await;
    let results = borewright::db::checks::of_operations(&mut tx, &[mill])
        .await
        .unwrap();
    let told: Vec<_> = results
        .iter()
        .map(|r| {
            (
                r.place,
                r.passed,
                r.person.as_str(),
                r.entered_by.as_deref(),
            )
        })
        .collect();
    let edda = Some("Edda Marsh");
    assert_eq!(
        told,
        [
            (0, true, "Col Brannick", edda),
            (2, false, "Col Brannick", edda)
        ]
    );
    assert_eq!(results[0].at.to_rfc3339(), "2026-01-05T08:15:00+00:00");
    let holds = borewright::db::checks::holds(&mut tx, Some(job))
        .await
        .unwrap();
    assert_eq!(holds.len(), 1);
    drop(tx);
    let html = owner
        .get(&format!("/jobs/{job}"))
        .await
        .text()
        .await
        .unwrap();
    assert!(html.contains("entered later by Edda Marsh: the tablet was flat"));
    assert!(!html.contains(&gauged));
}

#[tokio::test]
async fn what_the_bench_cannot_read_comes_back_without_a_script_too() {
    let site = TestSite::new().await;
    let floor = floor(&site).await;
    let mut tx = site.shop.begin().await;
    let (job, [mill, _]) = checked_job(&mut tx).await;
    tx.commit().await.unwrap();
    let tablet = device(&site, "Mill tablet").await;
    let sign_on = signed_on(&tablet, floor.col).await;
    let (key, operation, machine) = (
        Uuid::now_v7().to_string(),
        mill.to_string(),
        floor.mill.to_string(),
    );
    let typed = [
        ("key", key.as_str()),
        ("sign_on", &sign_on),
        ("kind", "check"),
        ("operation", &operation),
        ("machine", &machine),
        ("place", "2"),
        ("measured", "about \"nothing\""),
    ];
    let answer = tablet.post_bare("/bench/check", &typed).await;
    assert_eq!(answer.status(), 422);
    let html = answer.text().await.unwrap();
    let field = between(&html, &format!("id=\"check-{mill}-2\""), ">");
    assert!(
        field.contains("value=\"about &quot;nothing&quot;\""),
        "{field}"
    );
    assert!(
        field.contains(&format!("aria-describedby=\"check-{mill}-2-error\"")),
        "{field}"
    );
    assert!(html.contains("Enter a number in the unit of the limits"));
    let mut right = typed.to_vec();
    right[6].1 = "0.04";
    assert_eq!(tablet.post_bare("/bench/check", &right).await.status(), 303);
    let mut tx = site.shop.begin().await;
    let checked = borewright::db::checks::of_operations(&mut tx, &[mill])
        .await
        .unwrap();
    assert_eq!(checked.len(), 1);
    assert_eq!(
        borewright::db::checks::holds(&mut tx, Some(job))
            .await
            .unwrap(),
        []
    );
}

#[tokio::test]
async fn signing_on_says_when_there_is_no_network() {
    let site = TestSite::new().await;
    floor(&site).await;
    let browser = at_the_bench(&site, Screen::Phone).await;
    browser.wait_for("#bench").await;
    browser.offline(true).await;
    browser.tap("form[action='/bench/sign-off'] button").await;
    browser.wait_for("#bench-offline:not([hidden])").await;
    // Whoever is signed on goes on.
    browser.wait_for("#bench").await;
    browser.offline(false).await;
    browser.tap("form[action='/bench/sign-off'] button").await;
    browser.wait_for(".bench-people").await;
    browser.offline(true).await;
    browser.tap(".bench-people a").await;
    browser
        .wait_for_text("#bench-offline", "You cannot sign on or off now")
        .await;
    browser.picture("bench-no-network").await;
    browser.offline(false).await;
    browser.wait_for("#bench-offline[hidden]").await;
    sign_on(&browser, Screen::Tablet).await;
    browser.close().await;
}
