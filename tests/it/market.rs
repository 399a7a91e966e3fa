//! Sightings and watches on a real database.

use crate::support::{TestDatabase, TestShop};
use borewright::castings::{Pattern, Variant};
use borewright::sourcing::{Fate, Sighting, Watch};
use borewright::store::{StoreError, castings, sightings};
use borewright::units::{Currency, Money};
use chrono::NaiveDate;
use sqlx::Row;
use uuid::Uuid;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn money(amount: i64, code: &str) -> Money {
    Money::new(amount.into(), Currency::from_code(code).unwrap())
}

/// A variant of a pattern in a shop.
async fn variant(shop: &TestShop, name: &str) -> Uuid {
    let mut tx = shop.begin().await;
    let pattern = Pattern {
        id: Uuid::now_v7(),
        name: format!("{name} pattern"),
        cylinders: 4,
        mains: 5,
        outlines: vec![],
        bosses: vec![],
        marks: String::new(),
        version: 1,
    };
    castings::insert_pattern(&mut tx, &pattern).await.unwrap();
    let variant = Variant {
        id: Uuid::now_v7(),
        pattern_id: pattern.id,
        name: name.to_owned(),
        gearbox_under: true,
        features: vec![],
        note: String::new(),
        version: 1,
    };
    castings::insert_variant(&mut tx, &variant).await.unwrap();
    tx.commit().await.unwrap();
    variant.id
}

#[tokio::test]
async fn a_sighting_is_kept_corrected_and_its_past_remembered() {
    let db = TestDatabase::new().await;
    let shop = db.shop("market").await;
    let marine = variant(&shop, "Tarn 4/90 marine").await;
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
    assert!(matches!(again, Err(StoreError::Stale(_))), "{again:?}");
    sighting.version = 2;
    assert_eq!(
        sightings::of_variant(&mut tx, marine).await.unwrap(),
        [sighting.clone()]
    );

    let seen = sightings::overview(&mut tx).await.unwrap();
    assert_eq!(
        (seen.len(), seen[0].sightings, seen[0].open, seen[0].watched),
        (1, 1, 0, false)
    );

    sightings::delete(&mut tx, sighting.id, 2).await.unwrap();
    let gone = sightings::get(&mut tx, sighting.id).await;
    assert!(matches!(gone, Err(StoreError::NotFound(_))), "{gone:?}");
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
        matches!(nowhere, Err(StoreError::NotFound("the variant"))),
        "{nowhere:?}"
    );
}

#[tokio::test]
async fn the_latest_come_first_and_in_portions() {
    let db = TestDatabase::new().await;
    let shop = db.shop("market").await;
    let (marine, farm) = (variant(&shop, "marine").await, variant(&shop, "farm").await);
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
    let marine = variant(&shop, "Tarn 4/90 marine").await;
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
    assert!(matches!(twice, Err(StoreError::Stale(_))), "{twice:?}");

    watch.good_percent = 60;
    watch.likely_price = None;
    sightings::keep_watch(&mut tx, &watch, Some(1))
        .await
        .unwrap();
    let late = sightings::keep_watch(&mut tx, &watch, Some(1)).await;
    assert!(matches!(late, Err(StoreError::Stale(_))), "{late:?}");
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
    let marine = variant(&ours, "Tarn 4/90 marine").await;
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
    assert!(sightings::overview(&mut tx).await.unwrap().is_empty());
    assert!(matches!(
        sightings::update(&mut tx, &sighting).await,
        Err(StoreError::NotFound(_))
    ));
    assert!(matches!(
        sightings::delete(&mut tx, sighting.id, 1).await,
        Err(StoreError::NotFound(_))
    ));
    let own = Sighting::new(Uuid::now_v7(), marine, day("2026-01-01"));
    assert!(matches!(
        sightings::insert(&mut tx, &own).await,
        Err(StoreError::NotFound(_))
    ));
}
