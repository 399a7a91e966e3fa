//! Bookings in the store: added to once and for ever, corrected by later entries, and what follows from them.

use crate::support::{TestDatabase, TestShop, operation};
use borewright::bench::Kind;
use borewright::estimating::Route;
use borewright::planning::Shift;
use borewright::store::bookings::{self, Conflict, NewBooking, Recorded};
use borewright::store::calendars::{self, Owner, ShiftRow};
use borewright::store::jobs::{self, NewJob, OperationState};
use borewright::store::people::{self, NewPerson, Role};
use borewright::store::{Scope, ShopTx, StoreError};
use chrono::{DateTime, NaiveTime, Utc, Weekday};
use sqlx::{AssertSqlSafe, query};
use uuid::Uuid;

pub fn at(text: &str) -> DateTime<Utc> {
    format!("2026-11-{text}:00Z").parse().unwrap()
}

pub async fn person(tx: &mut ShopTx, name: &str) -> Uuid {
    let person = NewPerson {
        name: name.to_owned(),
        sign_in: name.to_lowercase().replace(' ', "-"),
        role: Role::Machinist,
        skills: vec!["milling".to_owned()],
        password_hash: String::new(),
    };
    people::insert(tx, &person).await.unwrap()
}

/// A job with two operations on the mill, the second after the first; gives the job and their keys.
pub async fn job(tx: &mut ShopTx, setups: [i64; 2]) -> (Uuid, [Uuid; 2]) {
    let mut second = operation(20, "mill", setups[1], 60);
    second.after = vec![10];
    let route = Route {
        operations: vec![operation(10, "mill", setups[0], 60), second],
    };
    let new = NewJob {
        quote_id: None,
        title: "A block".to_owned(),
        due_on: at("30T00:00").date_naive(),
        promised_on: None,
    };
    let (id, _) = jobs::create(tx, &new, &route).await.unwrap();
    let operations = jobs::operations(tx, id).await.unwrap();
    (id, [operations[0].id, operations[1].id])
}

pub fn booking(kind: Kind, operation_id: Uuid, person_id: Uuid, when: &str) -> NewBooking {
    NewBooking {
        id: Uuid::now_v7(),
        kind,
        operation_id,
        machine_id: None,
        person_id,
        entered_by: person_id,
        device_id: None,
        at: at(when),
        device_at: at(when),
        received_at: at(when),
        corrects: None,
        reason: None,
    }
}

async fn states(tx: &mut ShopTx, job: Uuid) -> Vec<OperationState> {
    let operations = jobs::operations(tx, job).await.unwrap();
    operations.iter().map(|o| o.state).collect()
}

async fn shop() -> (TestDatabase, TestShop) {
    let db = TestDatabase::new().await;
    let shop = db.shop("harrow-quay").await;
    (db, shop)
}

#[tokio::test]
async fn an_entry_is_booked_once_and_the_operation_follows() {
    let (_db, shop) = shop().await;
    let mut tx = shop.begin().await;
    let col = person(&mut tx, "Col").await;
    let (job, [first, second]) = job(&mut tx, [30, 30]).await;
    let setup = booking(Kind::Setup, first, col, "26T08:00");
    let taken = bookings::record(&mut tx, &setup).await.unwrap();
    assert_eq!(taken, Recorded::Taken(None));
    let again = bookings::record(&mut tx, &setup).await.unwrap();
    assert_eq!(again, Recorded::Again(None));
    assert_eq!(bookings::of_job(&mut tx, job).await.unwrap().len(), 1);
    use OperationState::{Done, Queued, Started};
    assert_eq!(states(&mut tx, job).await, [Started, Queued]);

    // The same key for something else is refused, and nothing is booked.
    let other = NewBooking {
        kind: Kind::Done,
        ..setup.clone()
    };
    let refused = bookings::record(&mut tx, &other).await.unwrap_err();
    assert!(matches!(refused, StoreError::Refused(_)), "{refused}");

    // Out of turn: booked, and marked.
    let early = booking(Kind::Setup, second, col, "26T08:10");
    let early = bookings::record(&mut tx, &early).await.unwrap();
    assert_eq!(early, Recorded::Taken(Some(Conflict::Waits)));

    let done = booking(Kind::Done, first, col, "26T09:00");
    bookings::record(&mut tx, &done).await.unwrap();
    assert_eq!(states(&mut tx, job).await, [Done, Started]);
    // Somebody else comes late with a start: kept, counted, and marked.
    let wyn = person(&mut tx, "Wyn").await;
    let late = booking(Kind::Run, first, wyn, "26T08:40");
    let late = bookings::record(&mut tx, &late).await.unwrap();
    assert_eq!(late, Recorded::Taken(Some(Conflict::OperationDone)));
    let spent = bookings::of_job(&mut tx, job).await.unwrap();
    let spent = bookings::hours_of_job(&mut tx, &spent, at("26T09:00"))
        .await
        .unwrap();
    // Col alone to 8:10, then shared with the other setup, in equal parts as the standards are equal: 10 + 25 minutes;
    // Wyn's twenty until it was done.
    assert_eq!((spent[&first].setup, spent[&first].attended), (35, 20));
    assert_eq!(spent[&second].setup, 25);

    // A correction says why, and the operation follows it.
    let struck = NewBooking {
        corrects: Some(done.id),
        reason: Some("wrong job".to_owned()),
        ..booking(Kind::Struck, first, col, "26T09:05")
    };
    bookings::record(&mut tx, &struck).await.unwrap();
    assert_eq!(states(&mut tx, job).await, [Started, Started]);
    let nothing = booking(Kind::Struck, first, col, "26T09:06");
    assert!(bookings::record(&mut tx, &nothing).await.is_err());
}

#[tokio::test]
async fn nobody_rewrites_what_was_booked() {
    let (db, shop) = shop().await;
    let mut tx = shop.begin().await;
    let col = person(&mut tx, "Col").await;
    let (_, [first, _]) = job(&mut tx, [30, 30]).await;
    let entry = booking(Kind::Setup, first, col, "26T08:00");
    bookings::record(&mut tx, &entry).await.unwrap();
    tx.commit().await.unwrap();
    for change in [
        "update booking set at = at - interval '1 hour'",
        "delete from booking",
        "truncate booking cascade",
    ] {
        let mut tx = shop.begin().await;
        let service = query(AssertSqlSafe(change)).execute(tx.conn()).await;
        assert!(service.is_err(), "the service may: {change}");
        drop(tx);
        let mut owner = db.owner().await;
        let refused = query(AssertSqlSafe(change))
            .execute(&mut owner)
            .await
            .unwrap_err();
        let code = refused.as_database_error().and_then(|e| e.code());
        assert_eq!(code.as_deref(), Some("23001"), "{change}: {refused}");
    }
}

#[tokio::test]
async fn whoever_forgets_to_stop_is_asked() {
    let (_db, shop) = shop().await;
    let mut tx = shop.begin().await;
    let col = person(&mut tx, "Col").await;
    let (job, [first, _]) = job(&mut tx, [30, 30]).await;
    for weekday in [Weekday::Thu, Weekday::Fri] {
        let shift = Shift {
            weekday,
            start: NaiveTime::from_hms_opt(8, 0, 0).unwrap(),
            end: NaiveTime::from_hms_opt(16, 30, 0).unwrap(),
        };
        let row = ShiftRow {
            id: Uuid::now_v7(),
            owner: Owner::Shop,
            shift,
            version: 1,
        };
        calendars::insert_shift(&mut tx, &row).await.unwrap();
    }
    let start = booking(Kind::Run, first, col, "26T14:00");
    bookings::record(&mut tx, &start).await.unwrap();
    let live = bookings::live(&mut tx).await.unwrap();
    let asked = |now| {
        let live = live.clone();
        let shop = &shop;
        async move {
            let mut tx = shop.begin().await;
            bookings::questions(&mut tx, &live, at(now)).await.unwrap()
        }
    };
    tx.commit().await.unwrap();
    assert!(asked("26T16:29").await.is_empty());
    let questions = asked("27T08:00").await;
    assert_eq!(questions.len(), 1);
    assert_eq!(questions[0].forgotten.shift_ended, at("26T16:30"));
    assert_eq!(questions[0].start.person, "Col");

    // Until it is answered, those hours are nobody's guess; then they are what was answered.
    let mut tx = shop.begin().await;
    let minutes = async |tx: &mut ShopTx| {
        let own = bookings::of_job(tx, job).await.unwrap();
        let spent = bookings::hours_of_job(tx, &own, at("27T09:00"))
            .await
            .unwrap();
        spent.get(&first).map_or(0, |h| h.attended)
    };
    assert_eq!(minutes(&mut tx).await, 0);
    let answer = NewBooking {
        at: at("26T16:10"),
        corrects: Some(start.id),
        reason: Some("forgot to stop".to_owned()),
        ..booking(Kind::Pause, first, col, "27T08:05")
    };
    bookings::record(&mut tx, &answer).await.unwrap();
    assert_eq!(minutes(&mut tx).await, 130);
    let live = bookings::live(&mut tx).await.unwrap();
    let left = bookings::questions(&mut tx, &live, at("27T09:00"))
        .await
        .unwrap();
    assert!(left.is_empty());
}

/// Two devices send the same entries at once, as after a lost answer.
#[tokio::test]
async fn the_same_entry_sent_twice_at_once_is_booked_once() {
    let (db, shop) = shop().await;
    let mut tx = shop.begin().await;
    let col = person(&mut tx, "Col").await;
    let (job, [first, _]) = job(&mut tx, [30, 30]).await;
    tx.commit().await.unwrap();
    let entry = booking(Kind::Setup, first, col, "26T08:00");
    let scope = Scope {
        shop_id: shop.id,
        person_id: Some(col),
    };
    let send = async || {
        let mut tx = ShopTx::begin(&db.pool, scope).await.unwrap();
        let recorded = bookings::record(&mut tx, &entry).await.unwrap();
        tx.commit().await.unwrap();
        recorded
    };
    let (one, two, three) = tokio::join!(send(), send(), send());
    let taken = [one, two, three]
        .iter()
        .filter(|r| matches!(r, Recorded::Taken(_)))
        .count();
    assert_eq!(taken, 1);
    let mut tx = shop.begin().await;
    assert_eq!(bookings::of_job(&mut tx, job).await.unwrap().len(), 1);
}
