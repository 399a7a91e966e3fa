//! Who comes in, for how long, and what is kept of it.

use crate::support::site::{PASSWORD, TestSite, Visitor, header};
use borewright::app::password;
use borewright::db::devices;
use borewright::db::feeds::{self, Whose};
use borewright::db::people::{self, Role};
use chrono::{TimeDelta, Utc};
use reqwest::Response;
use sqlx::{PgConnection, query, query_scalar};
use uuid::Uuid;

async fn fails(visitor: &Visitor, name: &str) -> u16 {
    visitor.try_sign_in(name, "wrong").await.status().as_u16()
}

#[tokio::test]
async fn the_slow_down_cannot_be_turned_against_whom_it_protects() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let attacker = site.stranger();
    let mut came = Vec::new();
    for _ in 0..6 {
        came.push(fails(&attacker, "edda").await);
    }
    assert_eq!(came, [401, 401, 401, 429, 429, 429]);
    // From the same address, a browser the owner has signed in from before is let through.
    assert_eq!(owner.try_sign_in("edda", PASSWORD).await.status(), 303);
    // It is known for that person only, and has tries of its own to lose.
    assert_eq!(fails(&owner, "edda").await, 401);
    site.person("Ines Hollin", "ines", Role::Office).await;
    for _ in 0..3 {
        assert_eq!(fails(&attacker, "ines").await, 401);
    }
    assert_eq!(owner.try_sign_in("ines", PASSWORD).await.status(), 429);
    // A success elsewhere does not give the attacker new tries.
    assert_eq!(fails(&attacker, "edda").await, 429);
}

#[tokio::test]
async fn a_clock_that_jumps_shuts_nobody_out() {
    let site = TestSite::new().await;
    let visitor = site.stranger();
    let move_failures = async |minutes: f64| {
        query("update sign_in_failure set at = at + make_interval(secs => $1)")
            .bind(minutes * 60.0)
            .execute(&mut site.database.owner().await)
            .await
            .unwrap();
    };
    for _ in 0..3 {
        assert_eq!(fails(&visitor, "edda").await, 401);
    }
    // The clock was set back by four minutes: the wait is that of three failures now, not four minutes more.
    move_failures(4.0).await;
    let waits = visitor.try_sign_in("edda", PASSWORD).await;
    assert_eq!(waits.status(), 429);
    let seconds: u64 = header(waits.headers(), "retry-after").parse().unwrap();
    assert!(seconds <= 3, "{seconds}");
    // By a day: what lies so far ahead is not counted.
    move_failures(24.0 * 60.0).await;
    assert_eq!(visitor.try_sign_in("edda", PASSWORD).await.status(), 303);
}

#[tokio::test]
async fn a_shop_that_does_not_exist_answers_as_one_that_does() {
    let site = TestSite::new().await;
    site.database.shop("second-shop").await;
    let stranger = site.stranger();
    let at = async |shop: &str| -> Response {
        let fields = [("shop", shop), ("sign_in", "edda"), ("password", "wrong")];
        stranger.post_bare("/sign-in", &fields).await
    };
    let (mut there, mut nowhere) = (Vec::new(), Vec::new());
    for _ in 0..5 {
        there.push(at("second-shop").await.status().as_u16());
        nowhere.push(at("no-such-shop").await.status().as_u16());
    }
    assert_eq!(there, [401, 401, 401, 429, 429]);
    assert_eq!(there, nowhere);
    let (one, other) = (at("second-shop").await, at("no-such-shop").await);
    let (one, other) = (one.text().await.unwrap(), other.text().await.unwrap());
    assert_eq!(
        one.replace("second-shop", "no-such-shop").len(),
        other.len()
    );
}

#[tokio::test]
async fn the_owner_sees_sessions_and_ends_them() {
    let site = TestSite::new().await;
    site.person("Col Brannick", "col", Role::Machinist).await;
    let (owner, col) = (site.owner().await, site.signed_in("col").await);
    assert_eq!(col.get("/shop/people/sessions").await.status(), 403);
    let page = owner
        .get("/shop/people/sessions")
        .await
        .text()
        .await
        .unwrap();
    assert!(
        page.contains("Col Brannick") && page.contains("127.0.0.1"),
        "{page}"
    );
    assert!(page.contains("This one"), "{page}");
    let ends: Vec<&str> = page
        .split("action=\"/shop/people/sessions/")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect();
    assert_eq!(ends.len(), 1, "one’s own is not ended here: {page}");
    let path = format!("/shop/people/sessions/{}", ends[0]);
    assert_eq!(col.post(&path, &[]).await.status(), 403);
    assert_eq!(owner.post(&path, &[]).await.status(), 303);
    assert_eq!(
        header(col.get("/jobs").await.headers(), "location"),
        "/sign-in?next=%2Fjobs"
    );
    assert_eq!(owner.post(&path, &[]).await.status(), 404);
}

async fn number(owner: &mut PgConnection, sql: &'static str, id: Uuid) -> i64 {
    query_scalar(sql).bind(id).fetch_one(owner).await.unwrap()
}

const SESSIONS: &str = "select count(*) from session where person_id = $1";
const KNOWN: &str = "select count(*) from known_browser where person_id = $1";
const SIGN_ONS: &str = "select count(*) from sign_on where person_id = $1 and ended_at is null";
const FEEDS: &str = "select count(*) from feed where person_id = $1 and revoked_at is null";
const DEVICE: &str = "select count(*) from device where id = $1 and revoked_at is null";

#[tokio::test]
async fn what_opens_something_for_a_person_ends_when_they_leave_or_their_secret_changes() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let mut look = site.database.owner().await;
    let edda: Uuid = query_scalar("select id from person")
        .fetch_one(&mut look)
        .await
        .unwrap();
    let col = site.person("Col Brannick", "col", Role::Machinist).await;
    let wyn = site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let mut tx = site.shop.begin_as(Some(edda)).await;
    let now = Utc::now() - TimeDelta::minutes(5);
    let mut device = async |name: &str, mark: u8| {
        let token = [mark; 32];
        devices::register(&mut tx, name, None, &token, now)
            .await
            .unwrap()
    };
    let phone = device("Col’s phone", 1).await;
    let tablet = device("Mill tablet", 2).await;
    tx.commit().await.unwrap();
    let again = async || {
        site.signed_in("col").await;
        let mut tx = site.shop.begin_as(Some(edda)).await;
        for id in [phone, tablet] {
            devices::sign_on(&mut tx, id, col, now).await.unwrap();
        }
        let secret = password::hash("x").unwrap();
        let mut mark = [0; 32];
        mark.copy_from_slice(&secret.as_bytes()[secret.len() - 32..]);
        feeds::make(&mut tx, Whose::Person(col), "telephone", &mark)
            .await
            .unwrap();
        tx.commit().await.unwrap();
    };
    let mut tx = site.shop.begin_as(Some(edda)).await;
    devices::sign_on(&mut tx, tablet, wyn, now).await.unwrap();
    tx.commit().await.unwrap();

    // A new PIN ends sign-ons and feeds.
    again().await;
    let pin = format!("/shop/devices/pins/{col}");
    assert_eq!(owner.post(&pin, &[("pin", "4071")]).await.status(), 303);
    assert_eq!(number(&mut look, SIGN_ONS, col).await, 0);
    assert_eq!(number(&mut look, FEEDS, col).await, 0);
    assert_eq!(number(&mut look, SESSIONS, col).await, 1);

    // A new password ends sessions and known browsers too.
    again().await;
    let reset = format!("/shop/people/{col}/password");
    let typed = [("password", "another good password")];
    assert_eq!(owner.post(&reset, &typed).await.status(), 303);
    for sql in [SESSIONS, KNOWN, SIGN_ONS, FEEDS] {
        assert_eq!(number(&mut look, sql, col).await, 0, "{sql}");
    }
    assert_eq!(number(&mut look, DEVICE, phone).await, 1);

    // Whoever leaves leaves nothing open; a tablet that others use stays.
    let typed = [("password", PASSWORD)];
    assert_eq!(owner.post(&reset, &typed).await.status(), 303);
    again().await;
    let mut tx = site.shop.begin_as(Some(edda)).await;
    let mut person = people::get(&mut tx, col).await.unwrap();
    person.active = false;
    people::update(&mut tx, &person).await.unwrap();
    tx.commit().await.unwrap();
    for sql in [SESSIONS, KNOWN, SIGN_ONS, FEEDS] {
        assert_eq!(number(&mut look, sql, col).await, 0, "{sql}");
    }
    assert_eq!(number(&mut look, DEVICE, phone).await, 0);
    assert_eq!(number(&mut look, DEVICE, tablet).await, 1);

    // A device that nobody uses is known no more.
    let mut tx = site.shop.begin().await;
    let later = Utc::now() + devices::UNUSED;
    assert!(
        devices::find(&mut tx, &[2; 32], later - TimeDelta::hours(1))
            .await
            .unwrap()
            .is_some()
    );
    let later = later + TimeDelta::days(91);
    assert!(
        devices::find(&mut tx, &[2; 32], later)
            .await
            .unwrap()
            .is_none()
    );
}

#[tokio::test]
async fn who_may_come_in_and_who_came_in_is_in_the_history_without_secrets() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let mut look = site.database.owner().await;
    let edda: Uuid = query_scalar("select id from person")
        .fetch_one(&mut look)
        .await
        .unwrap();
    let came: i64 = query_scalar(
        "select count(*) from history where table_name = 'session' and action = 'insert' and person_id = $1
             and after ->> 'address' = '127.0.0.1' and after ->> 'person_id' = $1::text",
    )
    .bind(edda)
    .fetch_one(&mut look)
    .await
    .unwrap();
    assert_eq!(came, 1);
    let col = site.person("Col Brannick", "col", Role::Machinist).await;
    let typed = [("password", "another good password")];
    owner
        .post(&format!("/shop/people/{col}/password"), &typed)
        .await;
    owner
        .post(&format!("/shop/devices/pins/{col}"), &[("pin", "4071")])
        .await;
    owner
        .post(&format!("/shop/devices/pins/{col}"), &[("pin", "4072")])
        .await;
    let kept: Vec<String> = query_scalar(
        "select table_name || ' ' || action from history
         where row_id = $1 and person_id is not distinct from $2 order by id",
    )
    .bind(col)
    .bind(edda)
    .fetch_all(&mut look)
    .await
    .unwrap();
    assert_eq!(
        kept,
        ["person update", "bench_pin insert", "bench_pin update"]
    );
    let secrets: i64 = query_scalar(
        "select count(*) from history where coalesce(before, '{}')::text || coalesce(after, '{}')::text ~ 'argon2|\\\\x[0-9a-f]{16}|csrf'",
    )
    .fetch_one(&mut look)
    .await
    .unwrap();
    assert_eq!(secrets, 0);
    let page = owner
        .get(&format!("/shop/people/{col}"))
        .await
        .text()
        .await
        .unwrap();
    assert!(page.contains("History"), "{page}");
    let without: Vec<String> = query_scalar(
        "select t from unnest(array['shop', 'person', 'session', 'device', 'bench_pin', 'sign_on', 'feed', 'machine', 'labour_rate',
                                    'element', 'remedy_rule', 'shift', 'holiday', 'cutting_data']) t
         where not exists (select from pg_trigger where tgrelid = t::regclass and tgname = 'keep_history' and tgenabled = 'O')",
    )
    .fetch_all(&mut look)
    .await
    .unwrap();
    assert_eq!(without, Vec::<String>::new());
}

#[tokio::test]
async fn the_service_cannot_forge_or_back_date_the_history() {
    let site = TestSite::new().await;
    let mut tx = site.shop.begin().await;
    let entry = "insert into history (shop_id, at, table_name, action) values (current_shop(), now() - interval '1 day', 'shop', 'update')";
    for statement in [
        entry,
        "update history set at = at - interval '1 day'",
        "delete from history",
        "truncate history",
        "alter table history disable trigger stamped",
        "select enter_earlier_history('shop', current_shop(), now(), '{}', '{}')",
    ] {
        query("savepoint before").execute(tx.conn()).await.unwrap();
        let done = query(statement).execute(tx.conn()).await;
        assert!(done.is_err(), "{statement}");
        query("rollback to before")
            .execute(tx.conn())
            .await
            .unwrap();
    }
    drop(tx);
    let mut owner = site.database.owner().await;
    let may: Vec<String> = query_scalar(
        "select privilege_type::text from information_schema.table_privileges
         where table_name = 'history' and grantee in ('borewright_service', 'PUBLIC')",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert_eq!(may, ["SELECT"]);
    // Not even its owner rewrites it, or enters anything with another time than its transaction's, but for what was before
    // the shop began.
    assert!(
        query("delete from history")
            .execute(&mut owner)
            .await
            .is_err()
    );
    let stamped: Vec<bool> = query_scalar(
        "insert into history (shop_id, at, table_name, action)
         select shop_id, now() + d * interval '1 day', 'shop', 'update' from shop, unnest(array[1, -1]) d
         returning at = now()",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert_eq!(stamped, [true, false]);
}
