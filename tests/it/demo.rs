//! The demo scenario in a real store: made once, whole, and left alone after.

use crate::support::*;
use borewright::app::password;
use borewright::db::people::{self, Role};
use borewright::db::{
    Scope, ShopTx, calendars, castings, castings_on_shelf, jobs, machines, remedy_rules, shops,
    sightings, standards,
};
use borewright::demo::{self, Demo, Seed};
use borewright::units::Code;
use chrono::{DateTime, Days, Utc};
use rust_decimal::Decimal;
use std::collections::BTreeSet;

fn day() -> DateTime<Utc> {
    "2026-11-25T09:00:00Z".parse().unwrap()
}

async fn begin(database: &TestDatabase, demo: &Demo) -> ShopTx {
    let shop_id = shops::find(&database.pool, &demo.short_name)
        .await
        .unwrap()
        .unwrap();
    let scope = Scope {
        shop_id,
        person_id: None,
    };
    ShopTx::begin(&database.pool, scope).await.unwrap()
}

#[tokio::test]
async fn the_demo_is_made_whole_and_a_second_run_leaves_it() {
    let database = TestDatabase::new().await;
    let demo = demo::run(&database.pool, day()).await.unwrap();
    assert!(demo.made);
    assert_eq!(demo.shop, "Harrow Quay Engine Works");
    let seed = Seed::read().unwrap();
    let mut tx = begin(&database, &demo).await;

    // What was written reads back the same, whatever the keys.
    let stored = castings::variants(&mut tx).await.unwrap();
    for variant in &seed.variants {
        let twin = stored.iter().find(|v| v.name == variant.name).unwrap();
        let by_place = |features: &[borewright::castings::Feature]| {
            let mut features = features.to_vec();
            features.sort_by(|a, b| a.place.cmp(&b.place));
            features
        };
        assert_eq!(by_place(&twin.features), by_place(&variant.features));
    }
    assert_eq!(castings::patterns(&mut tx).await.unwrap().len(), 3);
    assert_eq!(
        remedy_rules::list(&mut tx).await.unwrap().len(),
        seed.rules.len()
    );

    // Every element a rule asks for is there, and every machine kind and skill has its rate.
    let elements = standards::list(&mut tx).await.unwrap();
    let codes: BTreeSet<&str> = elements.iter().map(|e| e.code.as_str()).collect();
    for rule in &seed.rules {
        for code in &rule.elements {
            assert!(
                codes.contains(code.as_str()),
                "{} asks for {code}",
                rule.name
            );
        }
    }
    let machines = machines::machines(&mut tx).await.unwrap();
    let rates = machines::rates(&mut tx, &machines).await.unwrap().unwrap();
    for element in &elements {
        assert!(
            element.machine_kind == "outside" || rates.machine.contains_key(&element.machine_kind),
            "{} has no rate",
            element.machine_kind
        );
    }
    assert!(
        rates
            .machine
            .values()
            .all(|rate| rate.amount() > Decimal::ZERO)
    );

    // Every skill an element needs is somebody's.
    let people = people::list(&mut tx).await.unwrap();
    assert_eq!(people.len(), 4);
    for element in &elements {
        let known = people.iter().any(|p| p.skills.contains(&element.skill));
        assert!(known, "nobody can do {}", element.skill);
    }

    assert_eq!(
        jobs::list(&mut tx, &[jobs::JobState::Open], None, 200)
            .await
            .unwrap()
            .len(),
        60
    );
    let load = jobs::machine_load(&mut tx).await.unwrap();
    for kind in ["mill", "line borer", "bench", "wash tank"] {
        let waiting = load
            .iter()
            .find(|l| l.machine_kind == kind)
            .map(|l| l.minutes.hours());
        assert!(
            waiting.is_some_and(|hours| hours > Decimal::from(38)),
            "{kind}: {waiting:?} h"
        );
    }

    // Everyone who works has hours, and Col's are his own.
    let working_time = calendars::read(&mut tx).await.unwrap();
    let week_on = day().checked_add_days(Days::new(7)).unwrap();
    let hours_of = |owner| {
        let calendar = working_time.calendar(owner, day(), week_on);
        calendar.total() / 60
    };
    assert_eq!(hours_of(calendars::Owner::Shop), 42);
    let col = people.iter().find(|p| p.sign_in == "col").unwrap();
    assert_eq!(hours_of(calendars::Owner::Person(col.id)), 38);
    assert_eq!(working_time.stops.len(), seed.calendars.stop.len());

    let watched = &seed.market.sightings.variant;
    let marine = stored.iter().find(|v| v.name == *watched).unwrap();
    assert_eq!(
        sightings::of_variant(&mut tx, marine.id)
            .await
            .unwrap()
            .len(),
        10
    );
    assert!(
        sightings::watch(&mut tx, marine.id)
            .await
            .unwrap()
            .is_some()
    );
    assert_eq!(
        castings_on_shelf::list(&mut tx, &[castings_on_shelf::ShelfState::OnShelf], None)
            .await
            .unwrap()
            .len(),
        seed.market.shelf.len()
    );

    // One sign-in for each role, with the published password.
    let roles: BTreeSet<&str> = demo.sign_ins.iter().map(|s| s.role.code()).collect();
    assert_eq!(roles.len(), Role::ALL.len());
    for sign_in in &demo.sign_ins {
        let credentials = people::credentials(&mut tx, &sign_in.sign_in)
            .await
            .unwrap()
            .unwrap();
        assert!(password::verify(&demo.password, &credentials.password_hash).unwrap());
    }
    tx.commit().await.unwrap();

    let again = demo::run(&database.pool, day()).await.unwrap();
    assert!(!again.made);
    let mut tx = begin(&database, &again).await;
    assert_eq!(
        jobs::list(&mut tx, &[jobs::JobState::Open], None, 200)
            .await
            .unwrap()
            .len(),
        60
    );
}

#[tokio::test]
async fn a_demo_that_fails_leaves_nothing_behind() {
    let database = TestDatabase::new().await;
    // Whatever goes wrong late must take the shop with it.
    sqlx::raw_sql("alter table job add constraint never check (false)")
        .execute(&mut database.owner().await)
        .await
        .unwrap();
    demo::run(&database.pool, day()).await.unwrap_err();
    assert_eq!(
        shops::find(&database.pool, "harrow-quay").await.unwrap(),
        None
    );
}
