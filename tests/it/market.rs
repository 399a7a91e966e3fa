//! Sightings and watches on a real database.

use crate::support::TestDatabase;
use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, between, header};
use borewright::db::lists::{self, MarketSort, MarketView, Part};
use borewright::db::people::Role;
use borewright::db::sightings::Watched;
use borewright::db::{DbError, ShopTx, sightings};
use borewright::sourcing::{Fate, Sighting, Watch};
use borewright::units::{Currency, Money};
use chrono::{Days, NaiveDate, Utc};
use fantoccini::key::Key;
use serde_json::{Value, json};
use sqlx::Row;
use uuid::Uuid;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn money(amount: i64, code: &str) -> Money {
    Money::new(amount.into(), Currency::from_code(code).unwrap())
}

/// Every variant with what was seen of it.
async fn overview(tx: &mut ShopTx) -> Vec<Watched> {
    let part = Part {
        descending: true,
        skip: 0,
        rows: 100,
    };
    let sort = MarketSort::LastSeen;
    let listed = lists::market(tx, MarketView::All, "", sort, part).await;
    listed.unwrap().0
}

#[tokio::test]
async fn a_sighting_is_kept_corrected_and_its_past_remembered() {
    let db = TestDatabase::new().await;
    let shop = db.shop("market").await;
    let marine = shop.variant("Tarn 4/90 marine").await;
    let mut tx = shop.begin().await;
    let mut sighting = Sighting {
        place: "breaker on the coast".to_owned(),
        asked: Some(money(950, "EUR")),
        condition: "complete, rusty".to_owned(),
        ..Sighting::new(Uuid::now_v7(), marine, day("2026-03-02"))
    };
    sightings::insert(&mut tx, &sighting).await.unwrap();
    assert_eq!(
        sightings::get(&mut tx, sighting.id).await.unwrap(),
        sighting
    );

    sighting.fate = Fate::BoughtGood;
    sighting.asked = None;
    sightings::update(&mut tx, &sighting).await.unwrap();
    let again = sightings::update(&mut tx, &sighting).await;
    assert!(matches!(again, Err(DbError::Stale(_))), "{again:?}");
    sighting.version = 2;
    assert_eq!(
        sightings::of_variant(&mut tx, marine).await.unwrap(),
        [sighting.clone()]
    );

    let seen = overview(&mut tx).await;
    assert_eq!(
        (seen.len(), seen[0].sightings, seen[0].open, seen[0].watched),
        (1, 1, 0, false)
    );

    sightings::delete(&mut tx, sighting.id, 2).await.unwrap();
    let gone = sightings::get(&mut tx, sighting.id).await;
    assert!(matches!(gone, Err(DbError::NotFound(_))), "{gone:?}");
    let row = sqlx::query(
        "select count(*) as n from history where table_name = 'sighting' and row_id = $1",
    )
    .bind(sighting.id)
    .fetch_one(tx.conn())
    .await
    .unwrap();
    assert_eq!(row.get::<i64, _>("n"), 3, "made, corrected and taken out");

    sighting.variant_id = Uuid::now_v7();
    let nowhere = sightings::insert(&mut tx, &sighting).await;
    assert!(
        matches!(nowhere, Err(DbError::NotFound("the variant"))),
        "{nowhere:?}"
    );
}

#[tokio::test]
async fn the_latest_come_first_and_in_portions() {
    let db = TestDatabase::new().await;
    let shop = db.shop("market").await;
    let (marine, farm) = (shop.variant("marine").await, shop.variant("farm").await);
    let mut tx = shop.begin().await;
    for (variant, on) in [
        (marine, "2026-01-01"),
        (farm, "2026-01-02"),
        (marine, "2026-01-03"),
    ] {
        let sighting = Sighting::new(Uuid::now_v7(), variant, day(on));
        sightings::insert(&mut tx, &sighting).await.unwrap();
    }
    let mut days = async |variant, limit, offset| -> Vec<String> {
        let latest = sightings::latest(&mut tx, variant, limit, offset)
            .await
            .unwrap();
        latest.iter().map(|s| s.seen_on.to_string()).collect()
    };
    assert_eq!(days(None, 2, 0).await, ["2026-01-03", "2026-01-02"]);
    assert_eq!(days(None, 2, 2).await, ["2026-01-01"]);
    assert_eq!(days(Some(marine), 9, 0).await, ["2026-01-03", "2026-01-01"]);
}

#[tokio::test]
async fn a_watch_is_begun_once_and_changed_by_whoever_saw_it_last() {
    let db = TestDatabase::new().await;
    let shop = db.shop("market").await;
    let marine = shop.variant("Tarn 4/90 marine").await;
    let mut tx = shop.begin().await;
    assert_eq!(sightings::watch(&mut tx, marine).await.unwrap(), None);
    let mut watch = Watch {
        likely_price: Some(money(900, "GBP")),
        ..Watch::new(
            marine,
            day("2026-01-01"),
            Currency::from_code("GBP").unwrap(),
        )
    };
    sightings::keep_watch(&mut tx, &watch, None).await.unwrap();
    assert_eq!(
        sightings::watch(&mut tx, marine).await.unwrap(),
        Some(watch.clone())
    );
    let twice = sightings::keep_watch(&mut tx, &watch, None).await;
    assert!(matches!(twice, Err(DbError::Stale(_))), "{twice:?}");

    watch.good_percent = 60;
    watch.likely_price = None;
    sightings::keep_watch(&mut tx, &watch, Some(1))
        .await
        .unwrap();
    let late = sightings::keep_watch(&mut tx, &watch, Some(1)).await;
    assert!(matches!(late, Err(DbError::Stale(_))), "{late:?}");
    watch.version = 2;
    assert_eq!(
        sightings::watch(&mut tx, marine).await.unwrap(),
        Some(watch)
    );
}

#[tokio::test]
async fn another_shop_sees_no_sightings_and_cannot_hang_one_on_a_strange_variant() {
    let db = TestDatabase::new().await;
    let (ours, theirs) = (db.shop("ours").await, db.shop("theirs").await);
    let marine = ours.variant("Tarn 4/90 marine").await;
    let sighting = Sighting::new(Uuid::now_v7(), marine, day("2026-01-01"));
    let mut tx = ours.begin().await;
    sightings::insert(&mut tx, &sighting).await.unwrap();
    tx.commit().await.unwrap();

    let mut tx = theirs.begin().await;
    assert!(
        sightings::latest(&mut tx, None, 9, 0)
            .await
            .unwrap()
            .is_empty()
    );
    assert!(overview(&mut tx).await.is_empty());
    assert!(matches!(
        sightings::update(&mut tx, &sighting).await,
        Err(DbError::NotFound(_))
    ));
    assert!(matches!(
        sightings::delete(&mut tx, sighting.id, 1).await,
        Err(DbError::NotFound(_))
    ));
    let own = Sighting::new(Uuid::now_v7(), marine, day("2026-01-01"));
    assert!(matches!(
        sightings::insert(&mut tx, &own).await,
        Err(DbError::NotFound(_))
    ));
}

/// The fields of a sighting form, with some changed.
fn form<'a>(changed: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let mut fields = vec![
        ("seen_on", "2026-03-02"),
        ("place", "breaker on the coast"),
        ("asked", "950"),
        ("currency", "GBP"),
        ("condition", ""),
        ("acceptable", "yes"),
        ("fate", "open"),
        ("version", "1"),
    ];
    for &(name, value) in changed {
        fields.retain(|(field, _)| *field != name);
        fields.push((name, value));
    }
    fields
}

#[tokio::test]
async fn a_wrong_form_comes_back_with_words_beside_its_fields_and_nothing_lost() {
    let site = TestSite::new().await;
    let marine = site.shop.variant("Tarn 4/90 marine").await;
    let owner = site.owner().await;
    let path = format!("/market/{marine}");
    let tomorrow = (Utc::now().date_naive() + Days::new(2)).to_string();
    for (field, typed, said) in [
        ("seen_on", "Thursday", "Enter a date"),
        ("seen_on", tomorrow.as_str(), "today or an earlier day"),
        ("place", "", "Enter the place"),
        ("asked", "about <900>", "is not an amount of money"),
        ("asked", "0", "or leave it empty"),
        ("asked", "99999999999999999999", "too large"),
        ("currency", "POUND", "is not a currency code"),
        ("acceptable", "perhaps", "Choose one"),
        ("fate", "melted", "Choose one"),
    ] {
        let answer = owner.post(&path, &form(&[(field, typed)])).await;
        assert_eq!(answer.status(), 422, "{field}={typed}");
        let page = answer.text().await.unwrap();
        // Radio buttons hang the complaint on their fieldset; all others describe the field itself.
        assert!(
            page.contains(&format!("id=\"{field}-error\"")),
            "{field}={typed}: {page}"
        );
        let complaint = between(&page, &format!("id=\"{field}-error\""), "</p>");
        assert!(complaint.contains(said), "{field}={typed}: {complaint}");
        assert!(page.contains(r#"value="breaker on the coast""#) || field == "place");
        if !["acceptable", "fate"].contains(&field) && !typed.is_empty() {
            let kept = typed.replace('<', "&lt;").replace('>', "&gt;");
            assert!(
                page.contains(&format!("value=\"{kept}\"")),
                "{field} lost {typed}"
            );
        }
    }
    let watch = format!("{path}/watch");
    let answer = owner
        .post(
            &watch,
            &[
                ("since", "2026-01-01"),
                ("price_factor", "1"),
                ("good_percent", "100"),
                ("carriage", "-5"),
            ],
        )
        .await;
    assert_eq!(answer.status(), 422);
    let page = answer.text().await.unwrap();
    for field in [
        "price_factor",
        "good_percent",
        "carriage",
        "likely_wait_days",
        "search_hours_a_week",
    ] {
        assert!(page.contains(&format!("id=\"{field}-error\"")), "{field}");
    }
    let mut tx = site.shop.begin().await;
    assert!(
        sightings::of_variant(&mut tx, marine)
            .await
            .unwrap()
            .is_empty()
    );
    assert_eq!(sightings::watch(&mut tx, marine).await.unwrap(), None);
}

#[tokio::test]
async fn a_stale_correction_shows_both_values_and_saves_only_when_sent_again() {
    let site = TestSite::new().await;
    let marine = site.shop.variant("Tarn 4/90 marine").await;
    let owner = site.owner().await;
    let made = owner.post(&format!("/market/{marine}"), &form(&[])).await;
    assert_eq!(made.status(), 303);
    let mut tx = site.shop.begin().await;
    let id = sightings::of_variant(&mut tx, marine).await.unwrap()[0].id;
    drop(tx);
    let path = format!("/market/sightings/{id}");
    let first = owner.post(&path, &form(&[("fate", "bought_good")])).await;
    assert_eq!(first.status(), 303);

    let late = owner
        .post(
            &path,
            &form(&[("fate", "sold_elsewhere"), ("asked", "900")]),
        )
        .await;
    assert_eq!(late.status(), 409);
    let page = late.text().await.unwrap();
    let notice = between(&page, "stale-title", "</section>");
    for words in ["bought, and good", "sold to someone else", "950", "900"] {
        assert!(notice.contains(words), "{words}: {notice}");
    }
    assert!(page.contains(r#"name="version" value="2""#));
    let again = owner
        .post(
            &path,
            &form(&[
                ("fate", "sold_elsewhere"),
                ("asked", "900"),
                ("version", "2"),
            ]),
        )
        .await;
    assert_eq!(again.status(), 303);
    let stale = owner
        .post(&format!("{path}/remove"), &[("version", "2")])
        .await;
    assert_eq!(stale.status(), 409);
    let gone = owner
        .post(&format!("{path}/remove"), &[("version", "3")])
        .await;
    assert_eq!(gone.status(), 303);
    assert_eq!(owner.get(&path).await.status(), 404);
}

#[tokio::test]
async fn machinists_may_look_but_not_write() {
    let site = TestSite::new().await;
    site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let marine = site.shop.variant("Tarn 4/90 marine").await;
    let wyn = site.signed_in("wyn").await;
    let path = format!("/market/{marine}");
    assert_eq!(wyn.get(&path).await.status(), 200);
    assert_eq!(wyn.post(&path, &form(&[])).await.status(), 403);
    assert_eq!(wyn.get(&format!("{path}/watch")).await.status(), 403);
    let body =
        json!({"variant_id": marine, "seen_on": "2026-03-02", "place": "x", "acceptable": true});
    let answer = wyn
        .request("POST", "/api/v1/sightings")
        .json(&body)
        .send()
        .await
        .unwrap();
    assert_eq!(answer.status(), 403);
}

#[tokio::test]
async fn sightings_as_json() {
    let site = TestSite::new().await;
    let marine = site.shop.variant("Tarn 4/90 marine").await;
    let owner = site.owner().await;
    let post = async |body: Value| {
        let answer = owner
            .request("POST", "/api/v1/sightings")
            .json(&body)
            .send()
            .await
            .unwrap();
        let (status, headers) = (answer.status().as_u16(), answer.headers().clone());
        let document: Value = answer.json().await.unwrap();
        if status >= 400 {
            assert_eq!(header(&headers, "content-type"), "application/problem+json");
            assert_eq!(document["status"], status);
        }
        (status, header(&headers, "location").to_owned(), document)
    };
    let good = json!({
        "variant_id": marine, "seen_on": "2026-03-02", "place": "breaker on the coast",
        "asked": {"amount": "950.50", "currency": "EUR"}, "acceptable": true,
    });
    let (status, location, made) = post(good.clone()).await;
    assert_eq!(
        (status, &made["asked"]["amount"], &made["fate"]),
        (201, &json!("950.5"), &json!("open"))
    );
    let read: Value = owner.get(&location).await.json().await.unwrap();
    assert_eq!(read, made);
    let list: Value = owner
        .get(&format!("/api/v1/sightings?variant_id={marine}"))
        .await
        .json()
        .await
        .unwrap();
    assert_eq!(list["sightings"], json!([made]));

    let with = |field: &str, value: Value| {
        let mut body = good.clone();
        body[field] = value;
        body
    };
    let (status, _, problem) = post(with("seen_on", json!("2226-01-01"))).await;
    assert_eq!(
        (status, &problem["errors"][0]["field"]),
        (422, &json!("seen_on"))
    );
    let (status, _, problem) =
        post(with("asked", json!({"amount": "9,5", "currency": "QQQ"}))).await;
    assert_eq!(
        (status, &problem["errors"][0]["field"]),
        (422, &json!("currency"))
    );
    let (status, ..) = post(with("variant_id", json!("marine"))).await;
    assert_eq!(status, 422);
    let (status, ..) = post(with("variant_id", json!(Uuid::now_v7()))).await;
    assert_eq!(status, 404);
    let (status, ..) = post(with("surprise", json!(1))).await;
    assert_eq!(status, 422);
    for path in ["/api/v1/sightings?limit=0", "/api/v1/sightings?limit=501"] {
        assert_eq!(owner.get(path).await.status(), 422, "{path}");
    }
    assert_eq!(
        owner.get("/api/v1/sightings?limit=many").await.status(),
        400
    );
    assert_eq!(
        owner
            .get(&format!("/api/v1/sightings/{}", Uuid::now_v7()))
            .await
            .status(),
        404
    );
}

/// Two years of sightings as a shop might have written them down.
async fn two_years(site: &TestSite, variant: Uuid) {
    let today = Utc::now().date_naive();
    let mut tx = site.shop.begin().await;
    let watch = Watch {
        likely_price: Some(money(900, "GBP")),
        carriage: money(60, "GBP"),
        ..Watch::new(
            variant,
            today - Days::new(700),
            Currency::from_code("GBP").unwrap(),
        )
    };
    sightings::keep_watch(&mut tx, &watch, None).await.unwrap();
    for (ago, asked, acceptable, fate, place) in [
        (
            660,
            Some(850),
            true,
            Fate::SoldElsewhere,
            "boat jumble, north quay",
        ),
        (
            590,
            Some(2400),
            false,
            Fate::PassedOver,
            "advertised as rare",
        ),
        (480, Some(1100), true, Fate::BoughtGood, "farm sale"),
        (
            400,
            Some(950),
            true,
            Fate::BoughtScrap,
            "breaker on the coast",
        ),
        (310, None, true, Fate::SoldElsewhere, "word of mouth"),
        (
            150,
            Some(780),
            true,
            Fate::BoughtGood,
            "estate of a boatbuilder",
        ),
        (6, Some(1250), true, Fate::Open, "breaker inland"),
    ] {
        let sighting = Sighting {
            place: place.to_owned(),
            asked: asked.map(|amount| money(amount, "GBP")),
            condition: "complete, some rust".to_owned(),
            acceptable,
            fate,
            ..Sighting::new(Uuid::now_v7(), variant, today - Days::new(ago))
        };
        sightings::insert(&mut tx, &sighting).await.unwrap();
    }
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn the_market_in_a_browser_by_keyboard() {
    let site = TestSite::new().await;
    let marine = site.shop.variant("Tarn 4/90 marine").await;
    let farm = site.shop.variant("Tarn 4/90 farm").await;
    two_years(&site, marine).await;
    for screen in Screen::ALL {
        let browser = Browser::signed_in(&site, screen, "edda").await;
        browser.goto("/market").await;
        browser.wait_for_text("table", "Tarn 4/90 marine").await;
        browser.picture("market").await;

        browser.goto(&format!("/market/{marine}")).await;
        browser.wait_for_text("main", "still for sale").await;
        browser.wait_for_text("main", "half of the time").await;
        browser.picture("market-variant").await;

        // Nothing is known of the farm block, and it is said.
        browser.goto(&format!("/market/{farm}")).await;
        browser.wait_for_text("main", "very wide").await;
        browser
            .wait_for_text("main", "No watch is kept, so nobody can say how rare it is")
            .await;
        browser.wait_for_text("main", "No price yet").await;
        browser.picture("market-nothing-known").await;

        browser.type_text("w").await;
        browser.wait_for("#since").await;
        browser.tab_to("#likely_price").await;
        browser.type_text("lots").await;
        browser.press(Key::Enter).await;
        browser
            .wait_for_text("#likely_price-error", "“lots” is not an amount of money")
            .await;
        browser.picture("market-watch-wrong").await;
        browser.goto(&format!("/market/{farm}/new")).await;
        browser.tab_to("#place").await;
        browser.type_text("breaker on the coast").await;
        browser.tab_to("#asked").await;
        browser.type_text("£1,150").await;
        browser.picture("market-new").await;
        browser.press(Key::Enter).await;
        browser
            .wait_for_text("[role=status]", "The sighting is recorded.")
            .await;
        browser.wait_for_text("table", "£1,150.00").await;
        let mut tx = site.shop.begin().await;
        for sighting in sightings::of_variant(&mut tx, farm).await.unwrap() {
            browser
                .goto(&format!("/market/sightings/{}", sighting.id))
                .await;
            browser.picture("market-sighting").await;
            sightings::delete(&mut tx, sighting.id, sighting.version)
                .await
                .unwrap();
        }
        tx.commit().await.unwrap();
        browser.close().await;
    }
}

/// Carriage is offered by weight once the terms of sale say what it costs: 25 + 96 kg × 0.45 = 68.20.
#[tokio::test]
async fn carriage_of_one_is_offered_by_the_weight_of_its_pattern() {
    let site = crate::support::site::TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let text = async |path: &str| owner.get(path).await.text().await.unwrap();
    let variant = crate::enquiry_api::variant(&site, "Tarn 4/90 farm").await;
    let watch = format!("/market/{variant}/watch");
    assert!(!text(&watch).await.contains("By the terms of sale"));
    let terms = text("/shop/terms").await;
    let form = crate::support::crawl::forms(&terms, "/shop/terms")
        .into_iter()
        .find(|form| form.action == "/shop/terms")
        .unwrap();
    let mut fields: Vec<(&str, &str)> = form
        .fields
        .iter()
        .map(|field| (field.name.as_str(), field.value.as_str()))
        .filter(|(name, _)| !name.starts_with("carriage"))
        .collect();
    fields.extend([("carriage_base", "25"), ("carriage_per_kg", "0.45")]);
    let saved = owner.post_bare("/shop/terms", &fields).await;
    assert_eq!(saved.status(), 303, "{}", saved.text().await.unwrap());
    let offered = text(&watch).await;
    assert!(
        offered.contains("By the terms of sale, for 96 kg: £68.20"),
        "{offered}"
    );
}
