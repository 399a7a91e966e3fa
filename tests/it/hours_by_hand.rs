//! Hours by hand: several lines in one form, complaints beside their fields, all booked or none, and once however often sent.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, between, header};
use borewright::db::people;
use borewright::db::work_list::{self, Waiting};
use chrono::{Days, Utc};

/// Operations of the demo shop that can be begun, of different jobs.
async fn ready(site: &TestSite) -> [Waiting; 2] {
    let mut tx = site.shop.begin().await;
    let mut ready: Vec<Waiting> = work_list::waiting(&mut tx, None, None).await.unwrap();
    ready.retain(|w| w.is_ready());
    ready.dedup_by_key(|w| w.job_number);
    let mut two = ready.into_iter();
    [two.next().unwrap(), two.next().unwrap()]
}

async fn entries(site: &TestSite) -> i64 {
    sqlx::query_scalar("select count(*) from booking where shop_id = $1")
        .bind(site.shop.id)
        .fetch_one(site.shop.begin().await.conn())
        .await
        .unwrap()
}

#[tokio::test]
async fn several_lines_are_booked_together_or_not_at_all() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let everyone = people::list(&mut site.shop.begin().await).await.unwrap();
    let name = |part: &str| everyone.iter().find(|p| p.name.contains(part)).unwrap().id;
    let (col, wyn) = (name("Col").to_string(), name("Wyn").to_string());
    let [one, other] = ready(&site).await;
    let work = |w: &Waiting| format!("{}-{}", w.job_number, w.planned.number);
    let day = (Utc::now().date_naive() - Days::new(20)).to_string();
    let before = entries(&site).await;
    let page = office.get("/jobs/hours").await.text().await.unwrap();
    let key = between(&page, "name=\"key\" value=\"", "\"").to_owned();
    let (first, second) = (work(&one), work(&other));
    // Of three lines, the second names no operation of its job and the third is at the same time as the first.
    let lines = |second: &'_ str, third: &'_ str| -> Vec<(&'static str, String)> {
        let column = |name, values: [&str; 3]| values.map(|value| (name, value.to_owned()));
        [
            column("day", [&day, "", ""]),
            column("person", [&col, &wyn, &col]),
            column("work", [&first, second, &first]),
            column("from", ["09:00", "09:00", third]),
            column("hours", ["1.5", "2:15", "45 min"]),
            column("machine", ["", "", ""]),
            column("then", ["", "", "done"]),
        ]
        .concat()
    };
    let sent = async |lines: Vec<(&'static str, String)>| {
        let common = [("key", key.clone()), ("reason", "Tablet down".to_owned())];
        let all: Vec<(&str, String)> = common.into_iter().chain(lines).collect();
        let all: Vec<(&str, &str)> = all
            .iter()
            .map(|(name, value)| (*name, value.as_str()))
            .collect();
        office.post("/jobs/hours", &all).await
    };
    let wrong = format!("{}-9999", other.job_number);
    let refused = sent(lines(&wrong, "09:30")).await;
    assert_eq!(refused.status(), 422);
    let page = refused.text().await.unwrap();
    assert!(page.contains("id=\"work-1-error\""), "{page}");
    assert!(page.contains("has no operation 9999"), "{page}");
    assert!(page.contains("id=\"from-2-error\""), "{page}");
    assert!(
        page.contains("This is at the same time as line 1"),
        "{page}"
    );
    assert!(page.contains(&format!("value=\"{wrong}\"")) && page.contains("value=\"2:15\""));
    assert_eq!(entries(&site).await, before, "nothing of it is booked");

    // The third follows on from the first; sent twice, as after a lost answer, it is there once.
    for _ in 0..2 {
        let booked = sent(lines(&second, "")).await;
        assert_eq!(booked.status(), 303, "{}", booked.text().await.unwrap());
        assert_eq!(header(booked.headers(), "location"), "/jobs/hours");
    }
    assert_eq!(entries(&site).await, before + 6);
    let minutes: Vec<(String, i64)> = sqlx::query_as(
        "select p.name, (sum(case when b.kind = 'run' then -1 else 1 end * extract(epoch from b.at)) / 60)::bigint
         from booking b join person p on p.shop_id = b.shop_id and p.id = b.person_id
         where b.shop_id = $1 and b.reason = 'Tablet down' group by p.name order by p.name",
    )
    .bind(site.shop.id)
    .fetch_all(site.shop.begin().await.conn())
    .await
    .unwrap();
    let minutes: Vec<i64> = minutes.into_iter().map(|(_, minutes)| minutes).collect();
    assert_eq!(minutes, [135, 135]);
    let machinist = site.signed_in("machinist").await;
    assert_eq!(machinist.get("/jobs/hours").await.status(), 403);
}

#[tokio::test]
async fn hours_are_entered_by_keyboard_on_a_phone() {
    let site = TestSite::demo().await;
    let [one, _] = ready(&site).await;
    let browser = Browser::signed_in(&site, Screen::Phone, "office").await;
    browser.goto("/jobs/hours").await;
    browser.tab_to("#work-0").await;
    browser
        .type_text(&format!("{}-{}", one.job_number, one.planned.number))
        .await;
    browser.tab_to("#hours-0").await;
    browser.type_text("2").await;
    browser.tab_to("form button[type=submit]").await;
    browser.press(fantoccini::key::Key::Enter).await;
    browser.wait_for("#person-0-error").await;
    browser.wait_for("#reason-error").await;
    browser.picture("hours-by-hand").await;
    browser.close().await;
}
