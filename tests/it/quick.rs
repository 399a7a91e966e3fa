//! Quick quotes: work without a variant, from the list to a job; what is refused on the way; and the page at every width.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between, header};
use borewright::db::enquiries;
use borewright::db::people::Role;
use borewright::db::{decisions, jobs, needs, quick_work, quotes};
use borewright::enquiry::EnquiryState;
use borewright::enquiry::quote::QuoteState;
use borewright::stock::{Arrival, NeedKind};
use chrono::{Days, NaiveDate, Utc};
use fantoccini::key::Key;
use uuid::Uuid;

async fn text(response: reqwest::Response) -> (u16, String) {
    (response.status().as_u16(), response.text().await.unwrap())
}

/// A new call for quick work: its page.
async fn call(office: &Visitor) -> String {
    let opened = office.post("/enquiries/quick", &[]).await;
    assert_eq!(opened.status(), 303);
    header(opened.headers(), "location").to_owned()
}

fn key(path: &str) -> Uuid {
    path.split('/').nth(2).unwrap().parse().unwrap()
}

fn in_days(days: u64) -> NaiveDate {
    let today = Utc::now().date_naive();
    today.checked_add_days(Days::new(days)).unwrap()
}

/// What the page has to send to quote what stands on it.
fn read_out(page: &str) -> [(&'static str, String); 3] {
    let value = |name: &str| between(page, &format!(r#"name="{name}" value=""#), "\"").to_owned();
    [
        ("net", value("net")),
        ("ready_on", value("ready_on")),
        ("at", value("at")),
    ]
}

fn pairs<'a>(fields: &'a [(&'static str, String)]) -> Vec<(&'a str, &'a str)> {
    fields.iter().map(|(k, v)| (*k, v.as_str())).collect()
}

#[tokio::test]
async fn quick_work_is_quoted_as_it_was_read_out_and_becomes_a_job() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let path = call(&office).await;
    let comes = in_days(3).to_string();
    let work = [
        ("caller", "Asa Pemberly"),
        ("part", "Crankshaft, Ousel twin"),
        ("work", "CRANK-GRIND"),
        ("count", ""),
        ("work", ""),
        ("count", ""),
        ("arrives_on", &comes),
        ("version", "1"),
    ];
    assert_eq!(office.post(&path, &work).await.status(), 303);
    let (_, page) = text(office.get(&path).await).await;
    assert!(
        page.contains("Enter the main bearings: “Grind crankshaft journal” is timed for each"),
        "{page}"
    );
    let mut work = work.to_vec();
    work.extend([("mains", "3"), ("version", "2")].iter().copied());
    work.retain(|pair| *pair != ("version", "1"));
    assert_eq!(office.post(&path, &work).await.status(), 303);

    // The page of an enquiry leads to the page of its kind, and the list says what is wanted.
    let enquiry = format!("/enquiries/{}", key(&path));
    assert_eq!(
        header(office.get(&enquiry).await.headers(), "location"),
        path
    );
    let (_, list) = text(office.get("/enquiries").await).await;
    assert!(list.contains("Crankshaft, Ousel twin: Grind crankshaft journal × 3"));

    let (status, page) = text(office.get(&path).await).await;
    assert_eq!(status, 200);
    let sentence = between(&page, r#"<p class="sentence">"#, "</p>").to_owned();
    assert!(
        sentence.starts_with("Crankshaft, Ousel twin, grind crankshaft journal × 3: about £"),
        "{sentence}"
    );
    assert!(sentence.contains(" if we have it on "), "{sentence}");
    let fields = read_out(&page);

    // Another figure than the one on the screen is not quoted: the caller has to hear the new one first.
    let mut wrong = fields.clone();
    wrong[0].1 = "1.00".to_owned();
    let (status, moved) = text(office.post(&format!("{path}/quote"), &pairs(&wrong)).await).await;
    assert_eq!(status, 409);
    assert!(moved.contains("The figures have moved since they were read out"));
    let mut tx = site.shop.begin().await;
    let none = quotes::list(&mut tx, &[QuoteState::Sent], Some(key(&path)), None, 5).await;
    assert!(none.unwrap().is_empty());
    drop(tx);

    let mut hold = fields.to_vec();
    hold.push(("hold", "yes".to_owned()));
    let given = office.post(&format!("{path}/quote"), &pairs(&hold)).await;
    assert_eq!(given.status(), 303, "{}", given.text().await.unwrap());
    let address = header(given.headers(), "location").to_owned();
    let (_, quote_page) = text(office.get(&address).await).await;
    assert!(
        quote_page.contains(&sentence),
        "what the customer was told is kept"
    );

    let mut tx = site.shop.begin().await;
    let quote = quotes::get(&mut tx, key(&address)).await.unwrap();
    assert_eq!(quote.net.amount().to_string(), fields[0].1);
    assert_eq!(quote.promised_on.unwrap().to_string(), fields[1].1);
    assert!(quote.promised_on.unwrap() >= in_days(3));
    let slot = decisions::slot_held_until(&mut tx, quote.id).await.unwrap();
    assert!(slot.is_some());
    let state = enquiries::get(&mut tx, key(&path)).await.unwrap().state;
    assert_eq!(state, EnquiryState::Quoted);
    drop(tx);

    let due = quote.promised_on.unwrap().to_string();
    let won = [("version", "1"), ("due_on", due.as_str())];
    let won = office.post(&format!("{address}/won"), &won).await;
    assert_eq!(won.status(), 303, "{}", won.text().await.unwrap());
    let job = key(header(won.headers(), "location"));
    let mut tx = site.shop.begin().await;
    let operations = jobs::operations(&mut tx, job).await.unwrap();
    let codes: Vec<&str> = operations
        .iter()
        .flat_map(|o| o.planned.steps.iter().map(|s| s.code.as_str()))
        .collect();
    assert_eq!(codes, ["CRANK-GRIND"], "nothing stands in it unasked");
    assert_eq!(operations[0].planned.steps[0].count, 3);
    // The part comes on the day that was said, and the plan waits for it.
    let needs = needs::of_job(&mut tx, job).await.unwrap();
    let part = needs
        .iter()
        .find(|need| need.details.kind == NeedKind::Part)
        .unwrap();
    assert_eq!(
        part.details.what,
        "The customer’s part: Crankshaft, Ousel twin"
    );
    assert_eq!(part.details.arrival, Arrival::Ordered);
    assert_eq!(part.details.expected_on, Some(in_days(3)));
}

#[tokio::test]
async fn what_does_not_read_is_told_beside_its_field_and_kept() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let path = call(&office).await;
    let typed = [
        ("caller", "Asa <Pemberly>"),
        ("work", "CRANK-GRIND"),
        ("count", "some"),
        ("work", "NO-SUCH-WORK"),
        ("count", ""),
        ("work", ""),
        ("count", "4"),
        ("mains", "0"),
        ("wanted_by", "soon"),
        ("version", "1"),
    ];
    let (status, page) = text(office.post(&path, &typed).await).await;
    assert_eq!(status, 422);
    for complaint in [
        "count-1-error",
        "work-2-error",
        "work-3-error",
        "mains-error",
        "wanted_by-error",
    ] {
        assert!(page.contains(complaint), "{complaint}");
    }
    assert!(page.contains(r#"value="some""#) && page.contains("Asa &lt;Pemberly&gt;"));
    let mut tx = site.shop.begin().await;
    let stored = quick_work::get(&mut tx, key(&path)).await.unwrap().unwrap();
    assert!(stored.list.lines.is_empty(), "{stored:?}");
    drop(tx);

    // Someone else's change is shown beside one's own.
    site.person("Ola Reeve", "other", Role::Office).await;
    let other = site.signed_in("other").await;
    let mine = [("work", "DECK-FACE"), ("count", "2"), ("version", "1")];
    assert_eq!(office.post(&path, &mine).await.status(), 303);
    let theirs = [("work", "CRANK-GRIND"), ("count", "1"), ("version", "1")];
    let (status, page) = text(other.post(&path, &theirs).await).await;
    assert_eq!(status, 409);
    assert!(page.contains("DECK-FACE × 2") && page.contains("CRANK-GRIND × 1"));

    // Not for the bench, and not for an enquiry of another kind.
    let machinist = site.signed_in("machinist").await;
    assert_eq!(machinist.get(&path).await.status(), 403);
    assert_eq!(machinist.post("/enquiries/quick", &[]).await.status(), 403);
    let quote = machinist
        .post(&format!("{path}/quote"), &[("net", "1"), ("ready_on", "")])
        .await;
    assert_eq!(quote.status(), 403);
    let usual = office.post("/enquiries", &[]).await;
    let usual = header(usual.headers(), "location").to_owned();
    assert_eq!(office.get(&usual).await.status(), 200);
    assert_eq!(office.get(&format!("{usual}/quick")).await.status(), 404);
}

#[tokio::test]
async fn from_a_key_to_a_quote_at_every_width() {
    let site = TestSite::demo().await;
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "office").await;
        browser.goto("/enquiries").await;
        browser.wait_for("h1").await;
        browser.type_text("q").await;
        browser.wait_for("#call").await;
        browser
            .wait_for_text("#answer", "Choose the work to be done")
            .await;
        browser.type_text("Asa Pemberly").await;
        browser.tab_to("#work-1").await;
        browser.type_text("Grind crank").await;
        // The work is timed per main bearing, so that is asked for as soon as it is chosen.
        browser.wait_for("#mains").await;
        browser.wait_for_text("#answer", "Enter the main").await;
        browser.tab_to("#mains").await;
        browser.type_text("3").await;
        browser
            .wait_for_text(".sentence", "Grind crankshaft journal × 3: about £")
            .await;
        browser.wait_for_text(".live-status", "Up to date").await;
        browser.picture("quick").await;
        browser.tab_to("#answer form button").await;
        browser.press(Key::Enter).await;
        browser.wait_for(".paper").await;
        browser.picture("quick-quote").await;
        browser.close().await;
    }
}
