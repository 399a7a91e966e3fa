//! Calendar feeds, read by a parser that had no part in writing them, and holidays from a file.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between, header};
use borewright::app::current_plan;
use borewright::db::calendars::{self, Holiday};
use borewright::db::feeds::{self, Whose};
use borewright::db::people::{self, Role};
use borewright::db::plans::{self, Kept};
use calcard::icalendar::{ICalendar, ICalendarComponentType, ICalendarProperty, ICalendarValue};
use chrono::{Datelike, NaiveDate, TimeDelta, Utc};
use sqlx::query;
use std::collections::BTreeMap;
use std::time::Duration;
use uuid::Uuid;

/// Makes a plan of the demo shop at once and keeps it.
async fn plan(site: &TestSite) {
    let mut tx = site.shop.begin().await;
    let inputs = current_plan::read(&mut tx, Utc::now()).await.unwrap();
    let current = inputs.current().unwrap();
    let kept = Kept {
        floor_version: current.age.floor_version,
        made_at: Utc::now(),
        took: Duration::ZERO,
        moves: 0,
        improved: false,
        by_hand: false,
        timetable: current.timetable,
    };
    assert!(plans::keep(&mut tx, &kept).await.unwrap());
    tx.commit().await.unwrap();
}

/// UID to summary, start and sequence of every entry.
fn entries(text: &str) -> BTreeMap<String, (String, String, i64)> {
    let calendar = ICalendar::parse(text).unwrap_or_else(|entry| panic!("{entry:?} in\n{text}"));
    let events = calendar
        .components
        .iter()
        .filter(|c| c.component_type == ICalendarComponentType::VEvent);
    let all: Vec<_> = events
        .map(|event| {
            let value = |name: &ICalendarProperty| {
                let found = event.entries.iter().find(|e| e.name == *name).unwrap();
                found.values[0].clone()
            };
            let text = |name: &ICalendarProperty| match value(name) {
                ICalendarValue::Text(text) => text,
                other => panic!("{name:?} is {other:?}"),
            };
            let ICalendarValue::Integer(sequence) = value(&ICalendarProperty::Sequence) else {
                panic!("no sequence");
            };
            let start = format!("{:?}", value(&ICalendarProperty::Dtstart));
            let summary = text(&ICalendarProperty::Summary);
            (text(&ICalendarProperty::Uid), (summary, start, sequence))
        })
        .collect();
    let count = all.len();
    let by_uid: BTreeMap<_, _> = all.into_iter().collect();
    assert_eq!(by_uid.len(), count, "a UID stands twice");
    by_uid
}

/// Makes a feed on the screen and gives its path.
async fn make(visitor: &Visitor, whose: &str) -> String {
    let fields = [("whose", whose), ("note", "My telephone")];
    let made = visitor.post("/feeds", &fields).await;
    assert_eq!(made.status(), 200);
    let html = made.text().await.unwrap();
    let address = between(
        &html,
        "id=\"address\" type=\"text\" readonly value=\"",
        "\"",
    );
    let path = address.strip_prefix(&visitor.address).unwrap().to_owned();
    assert!(html.contains(&format!("href=\"webcal://{}", &address["http://".len()..])));
    path
}

#[tokio::test]
async fn a_week_is_followed_without_signing_in_until_it_is_revoked() {
    let site = TestSite::demo().await;
    plan(&site).await;
    let office = site.signed_in("office").await;
    let mut tx = site.shop.begin().await;
    let machines = borewright::db::machines::machines(&mut tx).await.unwrap();
    let mill = machines.iter().find(|m| m.kind == "mill").unwrap();
    let week = Utc::now() - TimeDelta::days(7);
    let slots = feeds::slots(&mut tx, Whose::Machine(mill.id), week)
        .await
        .unwrap();
    drop(tx);
    assert!(slots.len() > 5, "{} slots", slots.len());

    let path = make(&office, &format!("machine:{}", mill.id)).await;
    let listed = office.get("/feeds").await.text().await.unwrap();
    assert!(listed.contains("My telephone") && listed.contains(&mill.name));
    let secret = between(&path, "/feeds/", ".ics").to_owned();
    assert!(!listed.contains(&secret), "an address is shown once");
    let mut owner = site.database.owner().await;
    let kept: i64 =
        sqlx::query_scalar("select count(*) from feed where feed::text like '%' || $1 || '%'")
            .bind(&secret)
            .fetch_one(&mut owner)
            .await
            .unwrap();
    assert_eq!(kept, 0);

    let stranger = site.stranger();
    let answer = stranger.get(&path).await;
    assert_eq!(answer.status(), 200);
    assert_eq!(
        header(answer.headers(), "content-type"),
        "text/calendar; charset=utf-8"
    );
    assert_eq!(
        header(answer.headers(), "x-content-type-options"),
        "nosniff"
    );
    assert_eq!(header(answer.headers(), "set-cookie"), "");
    let tag = header(answer.headers(), "etag").to_owned();
    let text = answer.text().await.unwrap();
    let first = entries(&text);
    for slot in &slots {
        let uid = format!("{}-machine@borewright", slot.operation_id);
        let (summary, start, sequence) = &first[&uid];
        let words = format!(
            "Job {} · {} {}",
            slot.job_number, slot.operation_number, slot.operation_title
        );
        assert_eq!((summary, *sequence), (&words, 0));
        assert!(!start.is_empty());
    }
    assert!(
        first
            .values()
            .any(|(summary, ..)| summary.starts_with("Holiday: ")),
        "{text}"
    );

    // Nothing changed: the same text, and no need to send it.
    let again = stranger
        .request("GET", &path)
        .header("if-none-match", &tag)
        .send()
        .await
        .unwrap();
    assert_eq!(again.status(), 304);
    assert_eq!(
        stranger
            .request("HEAD", &path)
            .send()
            .await
            .unwrap()
            .status(),
        200
    );

    // One slot moves by an hour: that entry is revised and keeps its UID, no other is.
    query("update plan_slot set starts_at = starts_at + interval '1 hour', setup_until = setup_until + interval '1 hour', attended_until = attended_until + interval '1 hour', ends_at = ends_at + interval '1 hour' where operation_id = $1")
        .bind(slots[2].operation_id)
        .execute(&mut owner)
        .await
        .unwrap();
    let second = entries(&stranger.get(&path).await.text().await.unwrap());
    let moved = format!("{}-machine@borewright", slots[2].operation_id);
    for (uid, (_, start, sequence)) in &second {
        assert_eq!(*sequence, i64::from(*uid == moved), "{uid}");
        assert_eq!(*start != first[uid].1, *uid == moved, "{uid}");
    }

    // Read, it says so; revoked, its address is like any that never was.
    let listed = office.get("/feeds").await.text().await.unwrap();
    assert!(between(&listed, "data-label=\"Last read\"", "</td>").contains("today"));
    let revoke = format!(
        "/feeds/{}/revoke",
        between(&listed, "action=\"/feeds/", "/revoke\"")
    );
    assert_eq!(office.post(&revoke, &[]).await.status(), 303);
    let gone = stranger.get(&path).await;
    assert_eq!(gone.status(), 404);
    let never = stranger
        .get(&format!("/feeds/{}.ics", "A".repeat(64)))
        .await;
    assert_eq!(never.status(), 404);
    assert_eq!(office.post(&revoke, &[]).await.status(), 404);
}

#[tokio::test]
async fn a_person_sees_their_own_hours_and_no_one_elses() {
    let site = TestSite::demo().await;
    plan(&site).await;
    let mut tx = site.shop.begin().await;
    let everyone = people::list(&mut tx).await.unwrap();
    let mut weeks = Vec::new();
    for person in &everyone {
        let slots = feeds::slots(&mut tx, Whose::Person(person.id), Utc::now());
        weeks.push((person.id, slots.await.unwrap()));
    }
    let (person, slots) = weeks.into_iter().max_by_key(|(_, s)| s.len()).unwrap();
    let time = calendars::read(&mut tx).await.unwrap();
    drop(tx);
    let office = site.signed_in("office").await;
    let path = make(&office, &format!("person:{person}")).await;
    let text = site.stranger().get(&path).await.text().await.unwrap();
    let found = entries(&text);
    for slot in &slots {
        let uid = format!("{}-person-0@borewright", slot.operation_id);
        assert!(found.contains_key(&uid), "{uid}");
    }
    // Attended work stands inside the person's hours, night by night.
    let zone = time.zone;
    for line in text.lines().filter(|l| l.starts_with("DTSTART:")) {
        let at = chrono::NaiveDateTime::parse_from_str(line, "DTSTART:%Y%m%dT%H%M%SZ").unwrap();
        let hour = at.and_utc().with_timezone(&zone).time();
        let hours = time.hours(calendars::Owner::Person(person));
        let earliest = hours.shifts.iter().map(|s| s.start).min().unwrap();
        assert!(hour >= earliest, "{line} is before {earliest}");
    }

    // A machinist makes feeds of machines and of their own week only, and does not see the others'.
    let bram = site.signed_in("machinist").await;
    let theirs = [
        ("whose", format!("person:{person}")),
        ("note", "Mine".to_owned()),
    ];
    let theirs: Vec<(&str, &str)> = theirs.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let refused = bram.post("/feeds", &theirs).await;
    assert_eq!(refused.status(), 422);
    assert!(refused.text().await.unwrap().contains("id=\"whose-error\""));
    let listed = office.get("/feeds").await.text().await.unwrap();
    let revoke = format!(
        "/feeds/{}/revoke",
        between(&listed, "action=\"/feeds/", "/revoke\"")
    );
    assert!(
        !bram
            .get("/feeds")
            .await
            .text()
            .await
            .unwrap()
            .contains("/revoke")
    );
    assert_eq!(bram.post(&revoke, &[]).await.status(), 404);

    // Someone who has left is followed no more.
    let mut tx = site.shop.begin().await;
    let mut left = people::get(&mut tx, person).await.unwrap();
    left.active = false;
    people::update(&mut tx, &left).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(site.stranger().get(&path).await.status(), 404);
}

#[tokio::test]
async fn guessing_is_braked_and_nothing_else_is_open() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let person = site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let path = make(&owner, &format!("person:{person}")).await;
    let stranger = site.stranger();
    for closed in [
        "/feeds",
        "/feeds/x.ics",
        &format!("{path}/x"),
        &path.replace(".ics", ""),
    ] {
        let answer = stranger.get(closed).await;
        assert_eq!(answer.status(), 303, "{closed}");
    }
    assert_eq!(stranger.get(&path).await.status(), 200);
    let statuses = async || {
        let guess = format!("/feeds/{}.ics", "B".repeat(64));
        stranger.get(&guess).await.status().as_u16()
    };
    let mut all = Vec::new();
    for _ in 0..12 {
        all.push(statuses().await);
    }
    assert_eq!(all[..8], [404; 8]);
    assert_eq!(all[11], 429);
    let waits = stranger.get(&path).await;
    assert_eq!(waits.status(), 429);
    assert!(!header(waits.headers(), "retry-after").is_empty());
}

/// A form with a file in it, as a browser sends it.
async fn upload(visitor: &Visitor, csrf: &str, name: &str, bytes: &[u8]) -> reqwest::Response {
    let mut body = format!(
        "--mark\r\nContent-Disposition: form-data; name=\"csrf\"\r\n\r\n{csrf}\r\n--mark\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\nContent-Type: text/calendar\r\n\r\n"
    )
    .into_bytes();
    body.extend_from_slice(bytes);
    body.extend_from_slice(b"\r\n--mark--\r\n");
    visitor
        .request("POST", "/shop/hours/holidays/file")
        .header("content-type", "multipart/form-data; boundary=mark")
        .body(body)
        .send()
        .await
        .unwrap()
}

fn holidays_file(year: i32) -> String {
    format!(
        "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//test//EN\r\n\
         BEGIN:VEVENT\r\nUID:1\r\nDTSTART;VALUE=DATE:20150101\r\nRRULE:FREQ=YEARLY\r\nSUMMARY:New Year <first>\r\nEND:VEVENT\r\n\
         BEGIN:VEVENT\r\nUID:2\r\nDTSTART;VALUE=DATE:{year}0501\r\nDTEND;VALUE=DATE:{year}0503\r\nSUMMARY:Spring days\r\nEND:VEVENT\r\n\
         BEGIN:VEVENT\r\nUID:3\r\nDTSTART:{year}1224T120000Z\r\nSUMMARY:Half day\r\nEND:VEVENT\r\n\
         END:VCALENDAR\r\n"
    )
}

#[tokio::test]
async fn holidays_are_read_from_a_file_shown_and_added() {
    let site = TestSite::new().await;
    site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let owner = site.owner().await;
    let year = Utc::now().year();
    let on = NaiveDate::from_ymd_opt(year, 5, 1).unwrap();
    let mut tx = site.shop.begin().await;
    let holiday = Holiday {
        id: Uuid::now_v7(),
        on,
        name: "Labour Day".to_owned(),
        version: 1,
    };
    calendars::insert_holiday(&mut tx, &holiday).await.unwrap();
    tx.commit().await.unwrap();
    let file = holidays_file(year);

    let shown = upload(&owner, &owner.csrf, "holidays.ics", file.as_bytes()).await;
    assert_eq!(shown.status(), 200);
    let html = shown.text().await.unwrap();
    assert!(html.contains("4 days would be added"), "{html}");
    assert!(html.contains("New Year &lt;first&gt;"));
    let there = between(&html, "There already", "</ul>");
    assert!(
        there.contains("Spring days") && there.contains("Labour Day"),
        "{there}"
    );
    let left = between(&html, "Left out", "</ul>");
    assert!(
        left.contains("Half day") && left.contains("12:00"),
        "{left}"
    );
    let mut tx = site.shop.begin().await;
    assert_eq!(calendars::read(&mut tx).await.unwrap().holidays.len(), 1);
    drop(tx);

    let days: Vec<String> = html
        .split("name=\"day\" type=\"checkbox\" value=\"")
        .skip(1)
        .map(|rest| {
            rest.split('"')
                .next()
                .unwrap()
                .replace("&lt;", "<")
                .replace("&gt;", ">")
        })
        .collect();
    let mut fields: Vec<(&str, &str)> = days.iter().map(|day| ("day", day.as_str())).collect();
    // One is not ticked, and one has become a holiday since.
    fields.retain(|(_, day)| !day.starts_with(&(year + 2).to_string()));
    let known = format!("{on} Another name");
    fields.push(("day", &known));
    let added = owner.post("/shop/hours/holidays/file/add", &fields).await;
    assert_eq!(added.status(), 303);
    let mut tx = site.shop.begin().await;
    let now: Vec<String> = calendars::read(&mut tx)
        .await
        .unwrap()
        .holidays
        .iter()
        .map(|h| format!("{} {}", h.on, h.name))
        .collect();
    assert_eq!(
        now,
        [
            format!("{year}-01-01 New Year <first>"),
            format!("{year}-05-01 Labour Day"),
            format!("{year}-05-02 Spring days"),
            format!("{}-01-01 New Year <first>", year + 1),
        ]
    );

    for (bytes, said) in [
        (&b"%PDF-1.7 and so on"[..], "not a calendar file"),
        (&file.as_bytes()[..200], "breaks off"),
        (&[0xff, 0xd8, 0xff][..], "not text"),
        (&b""[..], "Choose a file"),
        (&vec![b'x'; 300_000][..], "larger than 256 kB"),
    ] {
        let answer = upload(&owner, &owner.csrf, "x.ics", bytes).await;
        assert_eq!(answer.status(), 422, "{said}");
        let html = answer.text().await.unwrap();
        assert!(
            between(&html, "id=\"file-error\"", "</p>").contains(said),
            "{html}"
        );
    }
    let far_too_large = upload(&owner, &owner.csrf, "x.ics", &vec![b'x'; 3_000_000]).await;
    assert_eq!(far_too_large.status(), 413);
    let forged = upload(&owner, "another's", "x.ics", file.as_bytes()).await;
    assert_eq!(forged.status(), 403);
    let wyn = site.signed_in("wyn").await;
    let not_theirs = upload(&wyn, &wyn.csrf, "x.ics", file.as_bytes()).await;
    assert_eq!(not_theirs.status(), 403);
    let odd = owner
        .post("/shop/hours/holidays/file/add", &[("day", "someday")])
        .await;
    assert_eq!(odd.status(), 400);
}

#[tokio::test]
async fn feeds_and_the_file_are_looked_at() {
    let site = TestSite::demo().await;
    plan(&site).await;
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("holidays.ics");
    std::fs::write(&file, holidays_file(Utc::now().year() + 1)).unwrap();
    for screen in Screen::ALL {
        let browser = Browser::signed_in(&site, screen, "owner").await;
        browser.goto("/feeds").await;
        browser.tab_to("#note").await;
        browser.type_text("My telephone").await;
        browser.press(fantoccini::key::Key::Enter).await;
        browser.wait_for("#address").await;
        browser.picture("feeds").await;
        browser.goto("/shop/hours/holidays/file").await;
        browser.wait_for("#file").await;
        browser.picture("holidays-file").await;
        let chosen = browser.find("#file").await;
        chosen.send_keys(file.to_str().unwrap()).await.unwrap();
        browser.tab_to("form.grid button").await;
        browser.press(fantoccini::key::Key::Enter).await;
        browser.wait_for("fieldset").await;
        browser.picture("holidays-preview").await;
        browser.close().await;
    }
}
