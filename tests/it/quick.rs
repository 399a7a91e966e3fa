//! Quick quotes: work without a variant, from the list to a job; what is refused on the way; and the page at every width.

use crate::enquiry_api::{fetch, send};
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
use rust_decimal::Decimal;
use serde_json::{Value, json};
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
        ("option", value("option")),
        ("answer", value("answer")),
        ("form", value("form")),
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

    // When the caller wants something else by now, that is said before it is quoted.
    let more = [
        &work[..work.len() - 1],
        &[("version", "3"), ("work", "DECK-FACE"), ("count", "1")],
    ]
    .concat();
    assert_eq!(office.post(&path, &more).await.status(), 303);
    let quote_path = format!("{enquiry}/quotes");
    let (status, asked) = text(office.post(&quote_path, &pairs(&fields)).await).await;
    assert_eq!(status, 409);
    assert!(
        asked.contains("What the customer wants has been changed since"),
        "{asked}"
    );
    let mut back = work.clone();
    back.retain(|pair| pair.0 != "version");
    back.push(("version", "4"));
    assert_eq!(office.post(&path, &back).await.status(), 303);

    // Sent twice, the form makes one quote.
    let mut hold = fields.to_vec();
    hold.push(("hold", "yes".to_owned()));
    let given = office.post(&quote_path, &pairs(&hold)).await;
    assert_eq!(given.status(), 303, "{}", given.text().await.unwrap());
    let again = office.post(&quote_path, &pairs(&hold)).await;
    let mut tx = site.shop.begin().await;
    let quotes_given = quotes::list(&mut tx, &[QuoteState::Sent], Some(key(&path)), None, 5).await;
    assert_eq!(quotes_given.unwrap().len(), 1);
    drop(tx);
    let address = header(given.headers(), "location").to_owned();
    assert_eq!(header(again.headers(), "location"), address);
    let (_, quote_page) = text(office.get(&address).await).await;
    assert!(
        quote_page.contains(&sentence),
        "what the customer was told is kept"
    );

    let mut tx = site.shop.begin().await;
    let quote = quotes::get(&mut tx, key(&address)).await.unwrap();
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

/// Quick work over JSON, bargained over like any other option.
#[tokio::test]
async fn a_program_asks_for_work_and_bargains_over_it() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let wrong = json!({"quick": {"lines": [{"code": "NO-SUCH-WORK"}]}});
    let refused = send(&office, "/api/v1/enquiries", &wrong).await;
    assert_eq!(refused.status(), 422);
    let call = json!({"caller": "A. Caller", "quick": {"part": "Crankshaft", "mains": 3,
        "lines": [{"code": "CRANK-GRIND"}]}});
    let made = send(&office, "/api/v1/enquiries", &call).await;
    assert_eq!(made.status(), 201);
    let path = header(made.headers(), "location").to_owned();
    let answer = fetch(&office, &format!("{path}/answer")).await;
    let net: Decimal = answer["options"][0]["outcome"]["build_up"]["net"]["amount"]
        .as_str()
        .unwrap()
        .parse()
        .unwrap();

    // Five off the price, with a reason.
    let price = (net - Decimal::from(5)).to_string();
    let bargain = json!({"price": price, "reason": "an old customer"});
    let over = json!({"answer": answer["id"], "option": "work", "bargain": bargain});
    let look = send(&office, &format!("{path}/bargain"), &over).await;
    assert_eq!(look.status(), 200);
    let comes: Value = look.json().await.unwrap();
    assert_eq!(comes["net"]["amount"], json!(price));
    assert!(comes["loss_percent"].as_u64().unwrap() <= 100);
    let given = send(&office, &format!("{path}/quotes"), &over).await;
    assert_eq!(given.status(), 201, "{}", given.text().await.unwrap());
    let quote: Value = given.json().await.unwrap();
    assert_eq!(quote["net"]["amount"], json!(price));

    // Without a reason, or for nothing, there is no bargain.
    for (bargain, status) in [
        (json!({"price": price}), 422),
        (json!({"price": "0", "reason": "x"}), 422),
        (json!({"price": "some", "reason": "x"}), 422),
        (json!({"prize": "5"}), 422),
    ] {
        let over = json!({"answer": answer["id"], "option": "work", "bargain": bargain});
        let refused = send(&office, &format!("{path}/quotes"), &over).await;
        assert_eq!(refused.status(), status, "{over}");
    }
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
    let quotes = format!("/enquiries/{}/quotes", key(&path));
    let fields = [("option", "work"), ("answer", &Uuid::nil().to_string())];
    assert_eq!(machinist.post(&quotes, &fields).await.status(), 403);
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
