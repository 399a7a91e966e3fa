//! Working time on a real database.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, between};
use crate::support::{TestDatabase, TestShop};
use borewright::db::calendars::{self, Holiday, Owner, ShiftRow, Stop};
use borewright::db::people::Role;
use borewright::db::{DbError, Unique};
use borewright::planning::Shift;
use chrono::{DateTime, NaiveTime, Utc, Weekday};
use fantoccini::key::Key;
use uuid::Uuid;

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn row(owner: Owner, weekday: Weekday, start: u32, end: u32) -> ShiftRow {
    let clock = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap();
    ShiftRow {
        id: Uuid::now_v7(),
        owner,
        shift: Shift {
            weekday,
            start: clock(start),
            end: clock(end),
        },
        version: 1,
    }
}

async fn person(shop: &TestShop, name: &str) -> Uuid {
    let id = Uuid::now_v7();
    let mut tx = shop.begin().await;
    sqlx::query(
        "insert into person (shop_id, id, name, sign_in, role, password_hash) values ($1, $2, $3, $3, 'machinist', '')",
    )
    .bind(shop.id)
    .bind(id)
    .bind(name)
    .execute(tx.conn())
    .await
    .unwrap();
    tx.commit().await.unwrap();
    id
}

#[tokio::test]
async fn a_person_without_shifts_keeps_the_shops_and_own_stops_count_for_them_alone() {
    let db = TestDatabase::new().await;
    let shop = db.shop("hours").await;
    let (wyn, ines) = (person(&shop, "Wyn").await, person(&shop, "Ines").await);
    let mut tx = shop.begin().await;
    for row in [
        row(Owner::Shop, Weekday::Mon, 8, 16),
        row(Owner::Shop, Weekday::Tue, 8, 16),
        row(Owner::Person(ines), Weekday::Mon, 10, 14),
    ] {
        calendars::insert_shift(&mut tx, &row).await.unwrap();
    }
    let holiday = Holiday {
        id: Uuid::now_v7(),
        on: "2026-11-24".parse().unwrap(),
        name: "Founder's day".to_owned(),
        version: 1,
    };
    calendars::insert_holiday(&mut tx, &holiday).await.unwrap();
    let stop = Stop {
        id: Uuid::now_v7(),
        owner: Owner::Person(wyn),
        starts_at: utc("2026-11-23T09:00:00Z"),
        ends_at: utc("2026-11-23T11:00:00Z"),
        why: "dentist".to_owned(),
        version: 1,
    };
    calendars::insert_stop(&mut tx, &stop).await.unwrap();
    tx.commit().await.unwrap();

    let mut tx = shop.begin().await;
    let time = calendars::read(&mut tx).await.unwrap();
    assert_eq!(
        (time.shifts.len(), &time.holidays[..], &time.stops[..]),
        (3, &[holiday][..], &[stop][..])
    );
    let minutes = |owner| {
        time.calendar(
            owner,
            utc("2026-11-23T00:00:00Z"),
            utc("2026-11-25T00:00:00Z"),
        )
        .total()
    };
    // Monday only; Tuesday is the holiday.
    assert_eq!(minutes(Owner::Shop), 8 * 60);
    assert_eq!(minutes(Owner::Person(wyn)), 6 * 60);
    assert_eq!(minutes(Owner::Person(ines)), 4 * 60);
    // A machine nobody gave shifts keeps the shop's.
    assert_eq!(minutes(Owner::Machine(Uuid::now_v7())), 8 * 60);
}

#[tokio::test]
async fn rows_are_changed_by_whoever_saw_them_last_and_not_doubled() {
    let db = TestDatabase::new().await;
    let shop = db.shop("hours").await;
    let mut tx = shop.begin().await;
    let mut monday = row(Owner::Shop, Weekday::Mon, 8, 16);
    calendars::insert_shift(&mut tx, &monday).await.unwrap();
    tx.commit().await.unwrap();

    let mut tx = shop.begin().await;
    let twice = calendars::insert_shift(&mut tx, &row(Owner::Shop, Weekday::Mon, 8, 12)).await;
    assert!(
        matches!(twice, Err(DbError::Duplicate(Unique::ShiftStart))),
        "{twice:?}"
    );
    drop(tx);

    let mut tx = shop.begin().await;
    monday.shift.end = NaiveTime::from_hms_opt(17, 0, 0).unwrap();
    calendars::update_shift(&mut tx, &monday).await.unwrap();
    assert!(matches!(
        calendars::update_shift(&mut tx, &monday).await,
        Err(DbError::Stale(_))
    ));
    assert!(matches!(
        calendars::delete_shift(&mut tx, monday.id, 1).await,
        Err(DbError::Stale(_))
    ));
    let time = calendars::read(&mut tx).await.unwrap();
    assert_eq!(
        (time.shifts[0].version, time.shifts[0].shift),
        (2, monday.shift)
    );
    calendars::delete_shift(&mut tx, monday.id, 2)
        .await
        .unwrap();
    assert!(calendars::read(&mut tx).await.unwrap().shifts.is_empty());
}

#[tokio::test]
async fn a_shop_cannot_give_hours_to_another_shops_people() {
    let db = TestDatabase::new().await;
    let (ours, theirs) = (db.shop("ours").await, db.shop("theirs").await);
    let col = person(&ours, "Col").await;
    let mut tx = theirs.begin().await;
    let strange =
        calendars::insert_shift(&mut tx, &row(Owner::Person(col), Weekday::Mon, 8, 16)).await;
    assert!(matches!(strange, Err(DbError::NotFound(_))), "{strange:?}");
    drop(tx);

    let mut tx = ours.begin().await;
    calendars::insert_shift(&mut tx, &row(Owner::Shop, Weekday::Mon, 8, 16))
        .await
        .unwrap();
    tx.commit().await.unwrap();
    let mut tx = theirs.begin().await;
    assert!(calendars::read(&mut tx).await.unwrap().shifts.is_empty());
}

#[tokio::test]
async fn a_shift_is_given_for_several_days_and_complained_about_beside_its_fields() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let new = "/shop/hours/shifts/new";
    let days = [("weekday", "1"), ("weekday", "2"), ("weekday", "3")];
    let with = |rest: &[(&'static str, &'static str)]| [&days[..], rest].concat();

    let answer = owner
        .post(
            new,
            &[("owner", "shop"), ("start", "8 am"), ("end", "16:00")],
        )
        .await;
    assert_eq!(answer.status(), 422);
    let page = answer.text().await.unwrap();
    assert!(between(&page, r#"id="weekday-error""#, "</p>").contains("Choose a day"));
    assert!(between(&page, r#"id="start-error""#, "</p>").contains("Enter a time of day"));
    assert!(page.contains(r#"value="8 am""#) && page.contains(r#"value="16:00""#));
    let stranger = format!("machine:{}", Uuid::now_v7());
    let answer = owner
        .post(
            new,
            &[
                ("owner", &stranger),
                ("weekday", "1"),
                ("start", "08:00"),
                ("end", "16:00"),
            ],
        )
        .await;
    assert_eq!(answer.status(), 422);

    let good = with(&[("owner", "shop"), ("start", "08:00"), ("end", "16:00")]);
    assert_eq!(owner.post(new, &good).await.status(), 303);
    // One of the three is there already, so none of them is added.
    let overlapping = [
        ("owner", "shop"),
        ("weekday", "3"),
        ("weekday", "4"),
        ("start", "08:00"),
        ("end", "12:00"),
    ];
    let answer = owner.post(new, &overlapping).await;
    assert_eq!(answer.status(), 422);
    let page = answer.text().await.unwrap();
    assert!(between(&page, r#"id="start-error""#, "</p>").contains("already"));
    let mut tx = site.shop.begin().await;
    let time = calendars::read(&mut tx).await.unwrap();
    assert_eq!(
        (time.shifts.len(), time.hours(Owner::Shop).weekly_minutes()),
        (3, 3 * 480)
    );
    drop(tx);

    let path = format!("/shop/hours/shifts/{}", time.shifts[0].id);
    let change = |version, end| {
        [
            ("weekday", "1"),
            ("start", "08:00"),
            ("end", end),
            ("version", version),
        ]
    };
    assert_eq!(owner.post(&path, &change("1", "17:00")).await.status(), 303);
    let late = owner.post(&path, &change("1", "15:00")).await;
    assert_eq!(late.status(), 409);
    let page = late.text().await.unwrap();
    let notice = between(&page, "stale-title", "</section>");
    assert!(
        notice.contains("17:00") && notice.contains("15:00"),
        "{notice}"
    );
    assert_eq!(owner.post(&path, &change("2", "15:00")).await.status(), 303);
    assert_eq!(
        owner
            .post(&format!("{path}/remove"), &[("version", "2")])
            .await
            .status(),
        409
    );
    assert_eq!(
        owner
            .post(&format!("{path}/remove"), &[("version", "3")])
            .await
            .status(),
        303
    );
    assert_eq!(owner.get(&path).await.status(), 404);
}

#[tokio::test]
async fn holidays_and_stops_are_read_by_the_shops_clock() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let holiday = [("on", "2027-12-25"), ("name", "Christmas <day>")];
    assert_eq!(
        owner
            .post("/shop/hours/holidays/new", &holiday)
            .await
            .status(),
        303
    );
    let twice = owner.post("/shop/hours/holidays/new", &holiday).await;
    assert_eq!(twice.status(), 422);
    let page = twice.text().await.unwrap();
    assert!(between(&page, r#"id="on-error""#, "</p>").contains("already"));
    assert!(page.contains("Christmas &lt;day&gt;"));

    let stop = |until_time| {
        [
            ("owner", "shop"),
            ("why", "crane service"),
            ("from_day", "2027-07-01"),
            ("from_time", "09:00"),
            ("until_day", "2027-07-01"),
            ("until_time", until_time),
        ]
    };
    let backwards = owner.post("/shop/hours/stops/new", &stop("08:00")).await;
    assert_eq!(backwards.status(), 422);
    let page = backwards.text().await.unwrap();
    assert!(between(&page, r#"id="until_time-error""#, "</p>").contains("after the start"));
    assert_eq!(
        owner
            .post("/shop/hours/stops/new", &stop("11:30"))
            .await
            .status(),
        303
    );
    let mut tx = site.shop.begin().await;
    let time = calendars::read(&mut tx).await.unwrap();
    // British Summer Time is an hour ahead.
    assert_eq!(time.stops[0].starts_at, utc("2027-07-01T08:00:00Z"));
    assert_eq!(time.stops[0].ends_at, utc("2027-07-01T10:30:00Z"));
    let page = owner.get("/shop/hours").await.text().await.unwrap();
    assert!(
        page.contains("Thu 1 Jul 2027, 09:00") && page.contains("crane service"),
        "{page}"
    );

    site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    assert_eq!(
        site.signed_in("wyn")
            .await
            .get("/shop/hours")
            .await
            .status(),
        403
    );
}

#[tokio::test]
async fn hours_in_a_browser_by_keyboard() {
    let site = TestSite::new().await;
    let wyn = site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    for screen in Screen::ALL {
        let browser = Browser::signed_in(&site, screen, "edda").await;
        browser.goto("/shop/hours").await;
        if screen == Screen::Desktop {
            browser
                .wait_for_text("main", "nothing can be given a ready date")
                .await;
            browser.picture("hours-empty").await;
            browser.type_text("n").await;
            browser.wait_for("#start").await;
            for day in 1..=5 {
                browser.tab_to(&format!("#weekday-{day}")).await;
                browser.type_text(" ").await;
            }
            browser.picture("hours-shift-new").await;
            browser.press(Key::Enter).await;
            browser.wait_for("#start-error").await;
            browser.picture("hours-shift-wrong").await;
            let mut tx = site.shop.begin().await;
            for day in 0..5_u8 {
                let weekday = Weekday::try_from(day).unwrap();
                for (start, end) in [(8, 12), (13, 17)] {
                    let row = row(Owner::Shop, weekday, start, end);
                    calendars::insert_shift(&mut tx, &row).await.unwrap();
                }
            }
            let night = row(Owner::Person(wyn), Weekday::Thu, 22, 6);
            calendars::insert_shift(&mut tx, &night).await.unwrap();
            let holiday = Holiday {
                id: Uuid::now_v7(),
                on: "2099-12-25".parse().unwrap(),
                name: "Christmas Day".to_owned(),
                version: 1,
            };
            calendars::insert_holiday(&mut tx, &holiday).await.unwrap();
            for (owner, year) in [(Owner::Shop, 2099), (Owner::Person(wyn), 2001)] {
                let stop = Stop {
                    id: Uuid::now_v7(),
                    owner,
                    starts_at: utc(&format!("{year}-07-01T08:00:00Z")),
                    ends_at: utc(&format!("{year}-07-02T08:00:00Z")),
                    why: "power cut announced".to_owned(),
                    version: 1,
                };
                calendars::insert_stop(&mut tx, &stop).await.unwrap();
            }
            tx.commit().await.unwrap();
            browser.goto("/shop/hours").await;
        }
        browser.wait_for_text("main", "40 h a week").await;
        browser.wait_for_text("main", "22:00–06:00 next day").await;
        browser.picture("hours").await;
        let edit = browser
            .script(
                "return document.querySelector('a.shift').getAttribute('href')",
                vec![],
            )
            .await;
        browser.goto(edit.as_str().unwrap()).await;
        browser.picture("hours-shift").await;
        browser.goto("/shop/hours/stops/new").await;
        browser.picture("hours-stop-new").await;
        browser.goto("/shop/hours/holidays/new").await;
        browser.picture("hours-holiday-new").await;
        browser.close().await;
    }
}
