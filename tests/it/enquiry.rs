//! The phone: from the first key to a saved quote and a job, by keyboard at both widths; and what is refused on the way.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between, header};
use borewright::db::enquiries::{self, EnquiryDetails};
use borewright::db::{castings, castings_on_shelf, decisions, jobs, quotes};
use borewright::enquiry::EnquiryState;
use borewright::enquiry::quote::QuoteState;
use borewright::enquiry::say::spoken;
use borewright::units::{Currency, Money};
use chrono::{Days, Utc};
use fantoccini::key::Key;
use uuid::Uuid;

#[tokio::test]
async fn from_the_first_key_to_a_job_by_keyboard() {
    let site = TestSite::demo().await;
    let began = Utc::now();
    for screen in Screen::ALL {
        let browser = Browser::signed_in(&site, screen, "office").await;
        browser.goto("/enquiries").await;
        browser.picture("enquiries").await;
        browser.type_text("n").await;
        browser.wait_for("#call").await;
        // Nothing is chosen yet, and the keyboard is where the first word goes.
        browser
            .wait_for_text("#answer", "Choose what the customer wants")
            .await;
        browser.type_text("Asa Pemberly").await;
        browser.press(Key::Tab).await;
        browser.type_text("01632 960 144").await;
        browser.press(Key::Tab).await;
        browser.type_text("Tarn 4/90 m").await;
        browser
            .wait_for_text(".sentence", "We can make you a Tarn 4/90 marine")
            .await;
        browser.wait_for_text(".live-status", "Up to date").await;
        browser
            .wait_for_text(".option.recommended", "Best option")
            .await;
        browser.picture("enquiry").await;

        // All of it is saved already, before any button.
        let mut tx = site.shop.begin().await;
        let newest = enquiries::list(&mut tx, &[EnquiryState::Open], None, 1)
            .await
            .unwrap();
        assert_eq!(newest[0].details.caller, "Asa Pemberly");
        assert_eq!(newest[0].details.contact, "01632 960 144");
        assert!(newest[0].details.wanted_variant_id.is_some());
        drop(tx);

        browser.tab_to(".option.recommended form button").await;
        let sentence = browser.text(".sentence").await;
        browser.press(Key::Enter).await;
        browser.wait_for(".paper").await;
        browser.wait_for_text("[role=status]", "saved").await;
        let net = browser.text(".totals dd").await;
        let pounds = Currency::from_code("GBP").unwrap();
        let spoken = spoken(Money::parse(&net, pounds).unwrap());
        assert!(
            sentence.contains(&spoken),
            "{sentence} is not the {net} that is quoted"
        );
        browser.picture("quote").await;

        browser.tab_to("#due_on").await;
        browser.press(Key::Enter).await;
        browser.wait_for_text("h1", "Job").await;
        browser.wait_for_text("[role=status]", "opened").await;
        browser.picture("job").await;
        browser.goto("/jobs").await;
        browser.picture("jobs").await;
        browser.close().await;
    }
    let mut tx = site.shop.begin().await;
    let mut won = quotes::list(&mut tx, &[QuoteState::Won], None, None, 10)
        .await
        .unwrap();
    // The demo shop has won others before.
    won.retain(|quote| quote.created_at >= began);
    assert_eq!(won.len(), Screen::ALL.len());
    for quote in won {
        let job = jobs::of_quote(&mut tx, quote.id).await.unwrap().unwrap();
        let route = quotes::basis(&mut tx, quote.id).await.unwrap().route;
        let operations = jobs::operations(&mut tx, job.id).await.unwrap();
        assert_eq!(operations.len(), route.operations.len());
        // The donor it counted on is set aside for it.
        let casting = castings_on_shelf::get(&mut tx, quote.casting_id.unwrap())
            .await
            .unwrap();
        assert_eq!(casting.job_id, Some(job.id));
    }
}

/// A call for the marine block, and the office's visitor.
async fn call(site: &TestSite) -> (Visitor, Uuid) {
    let office = site.signed_in("office").await;
    let mut tx = site.shop.begin().await;
    let names = castings::variant_names(&mut tx).await.unwrap();
    let marine = names.iter().find(|v| v.name == "Tarn 4/90 marine").unwrap();
    let details = EnquiryDetails {
        caller: "Asa Pemberly".to_owned(),
        wanted_variant_id: Some(marine.id),
        ..EnquiryDetails::default()
    };
    let (id, _) = enquiries::create(&mut tx, &details).await.unwrap();
    tx.commit().await.unwrap();
    (office, id)
}

#[tokio::test]
async fn on_a_phone_the_answer_comes_before_the_tail_of_the_form() {
    let site = TestSite::demo().await;
    let (_, id) = call(&site).await;
    for (screen, folds) in [(Screen::Phone, true), (Screen::Desktop, false)] {
        let browser = Browser::signed_in(&site, screen, "office").await;
        browser.goto(&format!("/enquiries/{id}")).await;
        browser.wait_for(".sentence").await;
        let notes = "return document.querySelector('[name=note]').checkVisibility()";
        assert_eq!(browser.script(notes, vec![]).await, !folds);
        if folds {
            let down =
                "return document.querySelector('#answer').getBoundingClientRect().top + scrollY";
            let down = browser.script(down, vec![]).await.as_f64().unwrap();
            assert!(down < 1.5 * 844.0, "{down}");
            browser
                .script("document.querySelector('.tail .unfold').click()", vec![])
                .await;
            assert_eq!(browser.script(notes, vec![]).await, true);
        }
    }
}

async fn text(response: reqwest::Response) -> (u16, String) {
    (response.status().as_u16(), response.text().await.unwrap())
}

/// Quotes the recommended option and gives the quote's address.
async fn quote(office: &Visitor, id: Uuid) -> String {
    let page = office
        .get(&format!("/enquiries/{id}"))
        .await
        .text()
        .await
        .unwrap();
    let option = between(&page, r#"name="option" value=""#, "\"").to_owned();
    let answer = between(&page, r#"name="answer" value=""#, "\"").to_owned();
    let given = office
        .post(
            &format!("/enquiries/{id}/quotes"),
            &[("option", &option), ("answer", &answer)],
        )
        .await;
    assert_eq!(given.status(), 303);
    header(given.headers(), "location").to_owned()
}

#[tokio::test]
async fn bad_input_is_told_beside_the_field_and_nothing_typed_is_lost() {
    let site = TestSite::demo().await;
    let (office, id) = call(&site).await;
    let path = format!("/enquiries/{id}");
    let typed = [
        ("caller", "Asa <Pemberly>"),
        ("wanted_by", "some time"),
        ("note", "rings back"),
        ("version", "1"),
    ];
    let (status, page) = text(office.post(&path, &typed).await).await;
    assert_eq!(status, 422);
    assert!(
        page.contains("wanted_by-error"),
        "no message beside the field"
    );
    assert!(page.contains(r#"value="some time""#));
    assert!(page.contains("Asa &lt;Pemberly&gt;") && page.contains("rings back"));

    let strange = Uuid::now_v7().to_string();
    let (status, page) = text(
        office
            .post(&path, &[("wanted", &strange), ("version", "1")])
            .await,
    )
    .await;
    assert_eq!(status, 422);
    assert!(page.contains("wanted-error"));

    let (_, page) = text(office.get(&path).await).await;
    let answer = between(&page, r#"name="answer" value=""#, "\"").to_owned();
    let wish = [("option", "a wish"), ("answer", &answer)];
    let (status, page) = text(office.post(&format!("{path}/quotes"), &wish).await).await;
    assert_eq!(status, 422);
    assert!(page.contains("can no longer be quoted"));
}

#[tokio::test]
async fn a_call_that_someone_else_changed_shows_both_values_and_ones_own_typing_does_not() {
    let site = TestSite::demo().await;
    let (office, id) = call(&site).await;
    let path = format!("/enquiries/{id}");
    // The same person twice over version 1: a screen that overtook itself.
    for note in ["ring", "rings back"] {
        let answer = office
            .post(&path, &[("note", note), ("version", "1")])
            .await;
        assert_eq!(answer.status(), 303);
    }
    site.person("Ola Reeve", "other", borewright::db::people::Role::Office)
        .await;
    let other = site.signed_in("other").await;
    let (status, page) = text(
        other
            .post(&path, &[("note", "wants it by May"), ("version", "1")])
            .await,
    )
    .await;
    assert_eq!(status, 409);
    assert!(page.contains("rings back") && page.contains("wants it by May"));
    let mut tx = site.shop.begin().await;
    assert_eq!(
        enquiries::get(&mut tx, id).await.unwrap().details.note,
        "rings back"
    );
}

#[tokio::test]
async fn a_quote_is_decided_once_and_money_is_not_for_the_bench() {
    let site = TestSite::demo().await;
    let (office, id) = call(&site).await;
    let address = quote(&office, id).await;
    let machinist = site.signed_in("machinist").await;
    for path in [
        address.as_str(),
        &format!("/enquiries/{id}"),
        "/enquiries",
        "/quotes",
    ] {
        assert_eq!(machinist.get(path).await.status(), 403, "{path}");
    }
    // A slot past its day is shown as released, and a look at the page writes nothing.
    let key = Uuid::parse_str(address.rsplit('/').next().unwrap()).unwrap();
    let mut tx = site.shop.begin().await;
    let past = Utc::now().date_naive() - Days::new(2);
    decisions::hold_slot(&mut tx, key, past).await.unwrap();
    tx.commit().await.unwrap();
    let page = office.get(&address).await.text().await.unwrap();
    assert!(page.contains("Not reserved"), "{page}");
    office.get("/quotes").await;
    let mut tx = site.shop.begin().await;
    let held = decisions::slot_held_until(&mut tx, key).await.unwrap();
    assert_eq!(held, Some(past));
    drop(tx);
    let (status, page) = text(
        office
            .post(
                &format!("{address}/lost"),
                &[("version", "1"), ("why", " ")],
            )
            .await,
    )
    .await;
    assert_eq!(status, 422);
    assert!(page.contains("why-error"));
    let lost = [("version", "1"), ("why", "Found one in a barn")];
    assert_eq!(
        office
            .post(&format!("{address}/lost"), &lost)
            .await
            .status(),
        303
    );
    let page = office.get(&address).await.text().await.unwrap();
    assert!(page.contains("Found one in a barn"));
    let due = Utc::now()
        .date_naive()
        .checked_add_days(Days::new(40))
        .unwrap()
        .to_string();
    let (status, page) = text(
        office
            .post(
                &format!("{address}/won"),
                &[("version", "2"), ("due_on", &due)],
            )
            .await,
    )
    .await;
    assert_eq!(status, 422, "{page}");
    let mut tx = site.shop.begin().await;
    assert_eq!(
        quotes::list(&mut tx, &[QuoteState::Lost], Some(id), None, 5)
            .await
            .unwrap()
            .len(),
        1
    );
    // An enquiry with quotes does not come to nothing behind their backs.
    let version = enquiries::get(&mut tx, id)
        .await
        .unwrap()
        .version
        .to_string();
    let close = [("version", version.as_str()), ("closed", "yes")];
    assert_eq!(
        office
            .post(&format!("/enquiries/{id}/close"), &close)
            .await
            .status(),
        422
    );
}
