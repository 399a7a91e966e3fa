//! A customer bargains: another price, work left out, two options on one paper; and what would make the day.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between};
use borewright::db::enquiries::{self, EnquiryDetails};
use borewright::db::{castings, quotes};
use borewright::enquiry::EnquiryState;
use borewright::enquiry::quote::QuoteState;
use chrono::{Days, Utc};
use serde_json::Value;
use uuid::Uuid;

/// A call for the marine block, wanted sooner than it can be made.
async fn call(site: &TestSite) -> Uuid {
    let mut tx = site.shop.begin().await;
    let names = castings::variant_names(&mut tx).await.unwrap();
    let marine = names.iter().find(|v| v.name == "Tarn 4/90 marine").unwrap();
    let details = EnquiryDetails {
        caller: "Asa Pemberly".to_owned(),
        wanted_variant_id: Some(marine.id),
        wanted_by: Some(Utc::now().date_naive() + Days::new(14)),
        ..EnquiryDetails::default()
    };
    let (id, _) = enquiries::create(&mut tx, &details).await.unwrap();
    tx.commit().await.unwrap();
    id
}

/// The answer's key and the key of the recommended option.
async fn answered(who: &Visitor, id: Uuid) -> (String, String) {
    let answer = who.get(&format!("/api/v1/enquiries/{id}/answer")).await;
    let answer: Value = answer.json().await.unwrap();
    let text = |key: &str| answer[key].as_str().unwrap().to_owned();
    (text("id"), text("recommended"))
}

#[tokio::test]
async fn a_price_below_the_floor_is_the_owners_and_every_difference_has_its_reason() {
    let site = TestSite::demo().await;
    let id = call(&site).await;
    let office = site.signed_in("office").await;
    let owner = site.signed_in("owner").await;
    let (answer, option) = answered(&office, id).await;
    let path = format!("/enquiries/{id}/bargain");
    let asked = |price: &str, reason: &str, left_out: &str| -> Vec<(String, String)> {
        [
            ("answer", answer.as_str()),
            ("option", &option),
            ("price", price),
            ("reason", reason),
            ("left_out", left_out),
        ]
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
        .to_vec()
    };
    let send = async |who: &Visitor, path: &str, form: Vec<(String, String)>| {
        let form: Vec<(&str, &str)> = form.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        let sent = who.post(path, &form).await;
        (sent.status().as_u16(), sent.text().await.unwrap())
    };

    let (status, page) = send(&office, &path, asked("900", "", "")).await;
    assert_eq!(status, 422);
    assert!(page.contains("reason-error") && page.contains("Enter why"));
    assert!(page.contains(r#"value="900""#), "what was typed stays");
    let (status, page) = send(&office, &path, asked("900", "an old customer", "")).await;
    assert_eq!(status, 422);
    assert!(page.contains("Only the owner may quote below"));
    let (status, page) = send(&office, &path, asked("lots", "x", "")).await;
    assert_eq!(status, 422);
    assert!(page.contains("price-error"));
    // The crack-test stands second or third on every route, and is always done.
    let (status, page) = send(&office, &path, asked("", "in a hurry", "30")).await;
    assert_eq!(status, 422);
    assert!(page.contains("is always done"), "{page}");

    let look = format!("{path}/look");
    let (status, page) = send(&office, &look, asked("900", "an old customer", "")).await;
    assert_eq!(status, 200);
    assert!(page.contains("Chance of a loss") && page.contains("only the owner can quote"));

    let sent = owner
        .post(
            &path,
            &[
                ("answer", answer.as_str()),
                ("option", &option),
                ("price", "900"),
                ("reason", "an old customer"),
            ],
        )
        .await;
    assert_eq!(sent.status(), 303);
    let mut tx = site.shop.begin().await;
    let given = quotes::list(&mut tx, &[QuoteState::Sent], Some(id), None, 5)
        .await
        .unwrap();
    drop(tx);
    assert_eq!(given[0].net.amount(), 900.into());
    assert_eq!(given[0].offered_on.reason, "an old customer");
    let wyn = site.signed_in("machinist").await;
    let look = format!("{path}?answer={answer}&option={option}");
    assert_eq!(wyn.get(&look).await.status(), 403);
}

/// Two options stand on one paper; when one is taken the other is declined, and the enquiry is won.
#[tokio::test]
async fn of_two_options_on_one_quote_one_is_taken() {
    let site = TestSite::demo().await;
    let id = call(&site).await;
    let office = site.signed_in("office").await;
    let (answer, option) = answered(&office, id).await;
    let path = format!("/enquiries/{id}/bargain");
    let base = [("answer", answer.as_str()), ("option", option.as_str())];
    let first = office.post(&path, &base).await;
    assert_eq!(first.status(), 303, "{}", first.text().await.unwrap());
    let listed = async |state| {
        let mut tx = site.shop.begin().await;
        quotes::list(&mut tx, &[state], Some(id), None, 5)
            .await
            .unwrap()
    };
    let first = listed(QuoteState::Sent).await.remove(0);
    let beside = first.id.to_string();
    let mut other = base.to_vec();
    other.extend([
        ("alternative_to", beside.as_str()),
        ("price", "2400"),
        ("reason", "with a spare set of caps"),
    ]);
    assert_eq!(office.post(&path, &other).await.status(), 303);
    let page = office.get(&format!("/quotes/{}", first.id)).await;
    assert!(
        page.text()
            .await
            .unwrap()
            .contains("The other options of this quote")
    );
    let due = (Utc::now().date_naive() + Days::new(60)).to_string();
    let won = [
        ("version", "1"),
        ("due_on", due.as_str()),
        ("confirmed", "yes"),
    ];
    let won = office
        .post(&format!("/quotes/{}/won", first.id), &won)
        .await;
    assert_eq!(won.status(), 303);
    let lost = listed(QuoteState::Lost).await;
    assert_eq!(lost.len(), 1);
    assert!(
        lost[0]
            .lost_why
            .as_deref()
            .unwrap()
            .contains("other option")
    );
    let mut tx = site.shop.begin().await;
    assert_eq!(
        enquiries::get(&mut tx, id).await.unwrap().state,
        EnquiryState::Won
    );
}

/// What would make the day is tried on the plan, and nothing is changed by looking.
#[tokio::test]
async fn what_would_make_the_day_is_tried_and_looks_right() {
    let site = TestSite::demo().await;
    let id = call(&site).await;
    let office = site.signed_in("office").await;
    let (answer, option) = answered(&office, id).await;
    let path = format!("/enquiries/{id}/sooner?answer={answer}&option={option}");
    let page = office.get(&path).await;
    assert_eq!(page.status(), 200);
    let page = page.text().await.unwrap();
    assert!(page.contains("What would make"), "{page}");
    let tried = [
        "Makes the day",
        "Nearer, not there",
        "Nothing that was tried",
    ];
    assert!(tried.iter().any(|said| page.contains(said)), "{page}");
    assert!(!page.contains("learns"), "nobody learns a trade by the day");
    // A way that makes it leads on to a bargain with the day, the reason and a price that has its overtime in it.
    assert_eq!(
        page.matches("Makes the day").count(),
        page.matches("Agree this day at").count()
    );
    if page.contains("Agree this day at") {
        let link = between(&page, r#"<a class="button" href=""#, "\"").replace("&amp;", "&");
        let agreed = office.get(&link).await;
        assert_eq!(agreed.status(), 200, "{link}");
        let agreed = agreed.text().await.unwrap();
        let value = |name: &str| between(&agreed, &format!(r#"name="{name}""#), ">").to_owned();
        for field in ["price", "promised_on", "reason"] {
            assert!(
                value(field).contains("value=\"") && !value(field).contains("value=\"\""),
                "{field}"
            );
        }
    }
    let enquiry = office
        .get(&format!("/enquiries/{id}"))
        .await
        .text()
        .await
        .unwrap();
    assert!(enquiry.contains("can you wait?") && enquiry.contains("What would make the day?"));

    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "office").await;
        browser.goto(&path).await;
        browser.picture("enquiry-sooner").await;
        browser
            .goto(&format!(
                "/enquiries/{id}/bargain?answer={answer}&option={option}"
            ))
            .await;
        browser.tab_to("#price").await;
        browser.type_text("900").await;
        browser.wait_for_text("#outcome", "only the owner").await;
        browser.picture("enquiry-bargain").await;
        browser.goto(&format!("/enquiries/{id}")).await;
        browser.picture("enquiry-late").await;
        browser.goto("/shop/terms").await;
        browser.picture("shop-terms").await;
        browser.goto("/castings/rules").await;
        browser.picture("castings-rules").await;
        browser.close().await;
    }
}
