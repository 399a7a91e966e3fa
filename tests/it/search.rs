//! Search: what is found by number, word, part of a word, mark and misspelling; what is not another shop's or another role's.

use crate::support::TestShop;
use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor};
use borewright::castings::identify::{Mark, MarkKind};
use borewright::db::casting_records;
use borewright::db::castings_on_shelf::{self as shelf, CastingDetails, Ownership};
use borewright::db::customer_links;
use borewright::db::customers::{self, Contact, Customer, Owned};
use borewright::db::enquiries::{self, EnquiryDetails};
use borewright::db::jobs::{self, NewJob};
use borewright::db::people::Role;
use borewright::db::quick_work::{self, QuickWork};
use borewright::estimating::Route;
use borewright::units::{Currency, Money};
use chrono::Utc;
use fantoccini::key::Key;
use serde_json::Value;
use uuid::Uuid;

async fn found(visitor: &Visitor, words: &str) -> Value {
    let query = form_urlencoded::Serializer::new(String::new())
        .append_pair("q", words)
        .finish();
    let answer = visitor.get(&format!("/api/v1/search?{query}")).await;
    assert_eq!(answer.status(), 200);
    answer.json().await.unwrap()
}

/// What was found of a kind: names, or numbers.
fn of<'a>(found: &'a Value, kind: &str, field: &str) -> Vec<&'a Value> {
    let groups = found["groups"].as_array().unwrap().iter();
    groups
        .filter(|group| group["kind"] == kind)
        .flat_map(|group| group["hits"].as_array().unwrap())
        .map(|hit| &hit[field])
        .collect()
}

async fn job(shop: &TestShop, title: &str, customer: &str) -> (Uuid, i64) {
    let mut tx = shop.begin().await;
    let new = NewJob {
        quote_id: None,
        title: title.to_owned(),
        due_on: Utc::now().date_naive(),
        promised_on: None,
    };
    let route = Route {
        operations: vec![crate::support::operation(10, "mill", 20, 60)],
    };
    let made = jobs::create(&mut tx, &new, &route).await.unwrap();
    casting_records::set_customer_of_job(&mut tx, made.0, customer)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    made
}

#[tokio::test]
async fn jobs_and_castings_are_found_by_number_word_mark_and_misspelling_within_the_shop() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let other = site.database.shop("other").await;
    let (_, first) = job(&site.shop, "Line bore mains, Tarn 4/90", "Hale Boats").await;
    let (_, second) = job(&site.shop, "Face deck, Ousel twin", "Hale Boats").await;
    job(&other, "Line bore mains of another", "Secretive Ltd").await;
    let variant = site.shop.variant("Tarn 4/90 marine").await;
    let mut tx = site.shop.begin().await;
    let details = CastingDetails {
        variant_id: variant,
        ownership: Ownership::Shop,
        cost: Money::zero(Currency::from_code("GBP").unwrap()),
        condition: "rusty deck".to_owned(),
    };
    let (casting, number) = shelf::create(&mut tx, &details).await.unwrap();
    let mark = Mark {
        kind: MarkKind::Stamped,
        place: "flange".to_owned(),
        text: "T490-1187".to_owned(),
    };
    casting_records::add_mark(&mut tx, casting, &mark)
        .await
        .unwrap();
    tx.commit().await.unwrap();

    let jobs_of = async |words: &str| {
        let found = found(&owner, words).await;
        of(&found, "job", "number")
            .iter()
            .map(|n| n.as_i64().unwrap())
            .collect::<Vec<_>>()
    };
    assert_eq!(jobs_of("hale").await, [second, first], "the newest first");
    assert_eq!(jobs_of("hale bore").await, [first], "every word");
    assert_eq!(jobs_of("boring").await, [first], "by its stem");
    assert_eq!(jobs_of("4/90").await, [first]);
    assert_eq!(jobs_of("ous").await, [second], "by a beginning");
    assert_eq!(jobs_of("usel").await, [second], "by a part");
    assert_eq!(jobs_of(&format!("job {first}")).await, [first]);
    assert_eq!(jobs_of("secretive").await, [] as [i64; 0]);
    assert_eq!(jobs_of("hale nowhere-at-all").await, [] as [i64; 0]);
    let misspelt = found(&owner, "ouzel").await;
    assert_eq!(misspelt["near"], serde_json::json!(["ouzel"]));
    assert_eq!(of(&misspelt, "job", "number"), [&Value::from(second)]);
    for words in [
        "T490-1187",
        "t4901187",
        "1187",
        "490-11",
        &format!("casting {number}"),
        "rusty",
    ] {
        let found = found(&owner, words).await;
        assert_eq!(
            of(&found, "casting", "number"),
            [&Value::from(number)],
            "{words}: {found}"
        );
    }
    assert_eq!(
        of(&found(&owner, "marine").await, "variant", "name"),
        ["Tarn 4/90 marine"]
    );

    // What is not so any more is not found by it.
    let mut tx = site.shop.begin().await;
    let marks = casting_records::marks(&mut tx, casting).await.unwrap();
    casting_records::remove_mark(&mut tx, casting, marks[0].id)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    assert!(of(&found(&owner, "1187").await, "casting", "number").is_empty());
    assert_eq!(
        of(&found(&owner, "rusty").await, "casting", "number").len(),
        1
    );
    // Nothing typed is not everything, and no character of a pattern has a meaning.
    for words in ["", " ", "%", "_", "\\", "'", "()!:*&|", "☃"] {
        assert_eq!(
            found(&owner, words).await["groups"],
            serde_json::json!([]),
            "{words}"
        );
    }
}

#[tokio::test]
async fn calls_customers_and_their_boats_are_the_offices_to_find() {
    let site = TestSite::new().await;
    site.person("Wyn Tarr", "wyn", Role::Machinist).await;
    let (owner, machinist) = (site.owner().await, site.signed_in("wyn").await);
    let mut tx = site.shop.begin().await;
    let said = EnquiryDetails {
        caller: "Hale Boats".to_owned(),
        ..EnquiryDetails::default()
    };
    let (enquiry, _) = enquiries::create(&mut tx, &said).await.unwrap();
    let mut work = QuickWork::default();
    work.list.part = "Camshaft".to_owned();
    quick_work::save(&mut tx, enquiry, &work).await.unwrap();
    // Saved again, as a call that is typed, it loses no word.
    enquiries::update(
        &mut tx,
        enquiry,
        1,
        &EnquiryDetails {
            note: "urgent".to_owned(),
            ..said
        },
    )
    .await
    .unwrap();
    let make = |name: &str| Customer {
        id: Uuid::now_v7(),
        name: name.to_owned(),
        ..Customer::default()
    };
    let kept = Customer {
        phone: "01304 555 010".to_owned(),
        contacts: vec![Contact {
            name: "Moss Quill".to_owned(),
            ..Contact::default()
        }],
        machines: vec![Owned {
            what: "Workboat Solan".to_owned(),
            serial: "WB-77".to_owned(),
            ..Owned::default()
        }],
        ..make("Hale Boats")
    };
    let gone = make("Old Harbour Hale");
    customers::insert(&mut tx, &kept).await.unwrap();
    customers::insert(&mut tx, &gone).await.unwrap();
    customer_links::merge(&mut tx, gone.id, 1, kept.id)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    for words in [
        "moss",
        "solan",
        "wb-77",
        "01304 555010",
        "old harbour",
        "hale",
    ] {
        let all = found(&owner, words).await;
        assert_eq!(
            of(&all, "customer", "name"),
            ["Hale Boats"],
            "{words}: {all}"
        );
        assert_eq!(
            found(&machinist, words).await["groups"],
            serde_json::json!([]),
            "{words}"
        );
    }
    for words in ["camshaft", "urgent", "camshaft urgent hale"] {
        assert_eq!(
            of(&found(&owner, words).await, "enquiry", "name").len(),
            1,
            "{words}"
        );
    }
}

#[tokio::test]
async fn search_is_reached_by_a_key_from_every_page_and_its_first_answer_by_another() {
    let site = TestSite::demo().await;
    let (_, number) = job(&site.shop, "Xylem pump housing", "").await;
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "office").await;
        browser.goto("/stock").await;
        browser.type_text("/").await;
        if screen != Screen::Desktop {
            browser.wait_for("#search-for:focus").await;
        }
        browser.type_text("xyl").await;
        browser.press(Key::Enter).await;
        browser
            .wait_for_text(".found", &format!("Job {number}: Xylem pump housing"))
            .await;
        browser.picture("search").await;
        browser.wait_for(".found a:focus").await;
        browser.press(Key::Enter).await;
        browser.wait_for_text("h1", &format!("Job {number}")).await;
        browser.close().await;
    }
}
