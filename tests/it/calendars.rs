//! Working time on a real database.

use crate::support::{TestDatabase, TestShop};
use borewright::planning::Shift;
use borewright::store::StoreError;
use borewright::store::calendars::{self, Holiday, Owner, ShiftRow, Stop};
use chrono::{DateTime, NaiveTime, Utc, Weekday};
use uuid::Uuid;

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn row(owner: Owner, weekday: Weekday, start: u32, end: u32) -> ShiftRow {
    let clock = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap();
    ShiftRow {
        id: Uuid::now_v7(),
        owner,
        shift: Shift {
            weekday,
            start: clock(start),
            end: clock(end),
        },
        version: 1,
    }
}

async fn person(shop: &TestShop, name: &str) -> Uuid {
    let id = Uuid::now_v7();
    let mut tx = shop.begin().await;
    sqlx::query(
        "insert into person (shop_id, id, name, sign_in, role, password_hash) values ($1, $2, $3, $3, 'machinist', '')",
    )
    .bind(shop.id)
    .bind(id)
    .bind(name)
    .execute(tx.conn())
    .await
    .unwrap();
    tx.commit().await.unwrap();
    id
}

#[tokio::test]
async fn a_person_without_shifts_keeps_the_shops_and_own_stops_count_for_them_alone() {
    let db = TestDatabase::new().await;
    let shop = db.shop("hours").await;
    let (wyn, ines) = (person(&shop, "Wyn").await, person(&shop, "Ines").await);
    let mut tx = shop.begin().await;
    for row in [
        row(Owner::Shop, Weekday::Mon, 8, 16),
        row(Owner::Shop, Weekday::Tue, 8, 16),
        row(Owner::Person(ines), Weekday::Mon, 10, 14),
    ] {
        calendars::insert_shift(&mut tx, &row).await.unwrap();
    }
    let holiday = Holiday {
        id: Uuid::now_v7(),
        on: "2026-11-24".parse().unwrap(),
        name: "Founder's day".to_owned(),
        version: 1,
    };
    calendars::insert_holiday(&mut tx, &holiday).await.unwrap();
    let stop = Stop {
        id: Uuid::now_v7(),
        owner: Owner::Person(wyn),
        starts_at: utc("2026-11-23T09:00:00Z"),
        ends_at: utc("2026-11-23T11:00:00Z"),
        why: "dentist".to_owned(),
        version: 1,
    };
    calendars::insert_stop(&mut tx, &stop).await.unwrap();
    tx.commit().await.unwrap();

    let mut tx = shop.begin().await;
    let time = calendars::read(&mut tx).await.unwrap();
    assert_eq!(
        (time.shifts.len(), &time.holidays[..], &time.stops[..]),
        (3, &[holiday][..], &[stop][..])
    );
    let minutes = |owner| {
        time.calendar(
            owner,
            utc("2026-11-23T00:00:00Z"),
            utc("2026-11-25T00:00:00Z"),
        )
        .total()
    };
    // Monday only; Tuesday is the holiday.
    assert_eq!(minutes(Owner::Shop), 8 * 60);
    assert_eq!(minutes(Owner::Person(wyn)), 6 * 60);
    assert_eq!(minutes(Owner::Person(ines)), 4 * 60);
    // A machine nobody gave shifts keeps the shop's.
    assert_eq!(minutes(Owner::Machine(Uuid::now_v7())), 8 * 60);
}

#[tokio::test]
async fn rows_are_changed_by_whoever_saw_them_last_and_not_doubled() {
    let db = TestDatabase::new().await;
    let shop = db.shop("hours").await;
    let mut tx = shop.begin().await;
    let mut monday = row(Owner::Shop, Weekday::Mon, 8, 16);
    calendars::insert_shift(&mut tx, &monday).await.unwrap();
    tx.commit().await.unwrap();

    let mut tx = shop.begin().await;
    let twice = calendars::insert_shift(&mut tx, &row(Owner::Shop, Weekday::Mon, 8, 12)).await;
    assert!(
        matches!(twice, Err(StoreError::Duplicate { field: "start", .. })),
        "{twice:?}"
    );
    drop(tx);

    let mut tx = shop.begin().await;
    monday.shift.end = NaiveTime::from_hms_opt(17, 0, 0).unwrap();
    calendars::update_shift(&mut tx, &monday).await.unwrap();
    assert!(matches!(
        calendars::update_shift(&mut tx, &monday).await,
        Err(StoreError::Stale(_))
    ));
    assert!(matches!(
        calendars::delete_shift(&mut tx, monday.id, 1).await,
        Err(StoreError::Stale(_))
    ));
    let time = calendars::read(&mut tx).await.unwrap();
    assert_eq!(
        (time.shifts[0].version, time.shifts[0].shift),
        (2, monday.shift)
    );
    calendars::delete_shift(&mut tx, monday.id, 2)
        .await
        .unwrap();
    assert!(calendars::read(&mut tx).await.unwrap().shifts.is_empty());
}

#[tokio::test]
async fn a_shop_cannot_give_hours_to_another_shops_people() {
    let db = TestDatabase::new().await;
    let (ours, theirs) = (db.shop("ours").await, db.shop("theirs").await);
    let col = person(&ours, "Col").await;
    let mut tx = theirs.begin().await;
    let strange =
        calendars::insert_shift(&mut tx, &row(Owner::Person(col), Weekday::Mon, 8, 16)).await;
    assert!(
        matches!(strange, Err(StoreError::NotFound(_))),
        "{strange:?}"
    );
    drop(tx);

    let mut tx = ours.begin().await;
    calendars::insert_shift(&mut tx, &row(Owner::Shop, Weekday::Mon, 8, 16))
        .await
        .unwrap();
    tx.commit().await.unwrap();
    let mut tx = theirs.begin().await;
    assert!(calendars::read(&mut tx).await.unwrap().shifts.is_empty());
}
