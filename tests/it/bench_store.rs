//! Bookings in the store: added to once and for ever, corrected by later entries, and what follows from them.

use crate::support::{TestDatabase, TestShop, operation};
use borewright::app::book_time::Recorded;
use borewright::app::decide_hold::Deciding;
use borewright::app::{AppError, Refusal, book_time, booked_hours, decide_hold, record_check};
use borewright::db::bookings::{self, NewBooking};
use borewright::db::calendars::{self, Owner, ShiftRow};
use borewright::db::castings_on_shelf::{CastingDetails, Ownership, ShelfState};
use borewright::db::checks::{self, Hold, NewResult};
use borewright::db::jobs::{self, NewJob, OperationState};
use borewright::db::people::{self, NewPerson, Role};
use borewright::db::{DbError, Scope, ShopTx, castings_on_shelf, enquiries, holds, work_list};
use borewright::estimating::{Check, CheckKind, Gauge, Route};
use borewright::planning::Shift;
use borewright::quality::{CallReason, Decision, Found, Rework};
use borewright::shopfloor::{Conflict, Kind};
use borewright::units::{Currency, Minutes, Money};
use chrono::{DateTime, NaiveTime, Utc, Weekday};
use rust_decimal::{Decimal, dec};
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
    let taken = book_time::book_within(&mut tx, &setup).await.unwrap();
    assert_eq!(taken, Recorded::Taken(None));
    let again = book_time::book_within(&mut tx, &setup).await.unwrap();
    assert_eq!(again, Recorded::Again(None));
    assert_eq!(bookings::of_job(&mut tx, job).await.unwrap().len(), 1);
    use OperationState::{Done, Queued, Started};
    assert_eq!(states(&mut tx, job).await, [Started, Queued]);

    // The same key for something else is refused, and nothing is booked.
    let other = NewBooking {
        kind: Kind::Done,
        ..setup.clone()
    };
    let refused = book_time::book_within(&mut tx, &other).await.unwrap_err();
    assert!(
        matches!(refused, AppError::Refused(Refusal::Booking(_))),
        "{refused}"
    );

    // Out of turn: booked, and marked.
    let early = booking(Kind::Setup, second, col, "26T08:10");
    let early = book_time::book_within(&mut tx, &early).await.unwrap();
    assert_eq!(early, Recorded::Taken(Some(Conflict::Waits)));

    let done = booking(Kind::Done, first, col, "26T09:00");
    book_time::book_within(&mut tx, &done).await.unwrap();
    assert_eq!(states(&mut tx, job).await, [Done, Started]);
    // Somebody else comes late with a start: kept, counted, and marked.
    let wyn = person(&mut tx, "Wyn").await;
    let late = booking(Kind::Run, first, wyn, "26T08:40");
    let late = book_time::book_within(&mut tx, &late).await.unwrap();
    assert_eq!(late, Recorded::Taken(Some(Conflict::OperationDone)));
    let spent = bookings::of_job(&mut tx, job).await.unwrap();
    let spent = booked_hours::of_job(&mut tx, &spent, at("26T09:00"))
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
    book_time::book_within(&mut tx, &struck).await.unwrap();
    assert_eq!(states(&mut tx, job).await, [Started, Started]);
    let nothing = booking(Kind::Struck, first, col, "26T09:06");
    assert!(book_time::book_within(&mut tx, &nothing).await.is_err());
}

#[tokio::test]
async fn nobody_rewrites_what_was_booked() {
    let (db, shop) = shop().await;
    let mut tx = shop.begin().await;
    let col = person(&mut tx, "Col").await;
    let (_, [first, _]) = job(&mut tx, [30, 30]).await;
    let entry = booking(Kind::Setup, first, col, "26T08:00");
    book_time::book_within(&mut tx, &entry).await.unwrap();
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
    book_time::book_within(&mut tx, &start).await.unwrap();
    let live = bookings::live(&mut tx).await.unwrap();
    let asked = |now| {
        let live = live.clone();
        let shop = &shop;
        async move {
            let mut tx = shop.begin().await;
            booked_hours::questions(&mut tx, &live, at(now))
                .await
                .unwrap()
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
        let spent = booked_hours::of_job(tx, &own, at("27T09:00"))
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
    book_time::book_within(&mut tx, &answer).await.unwrap();
    assert_eq!(minutes(&mut tx).await, 130);
    let live = bookings::live(&mut tx).await.unwrap();
    let left = booked_hours::questions(&mut tx, &live, at("27T09:00"))
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
        let recorded = book_time::book_within(&mut tx, &entry).await.unwrap();
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

/// A job like [`job`]'s whose first operation has three checks: a dowel hole to be gauged or measured, a thread to be
/// gauged, a run-out to be measured.
pub async fn checked_job(tx: &mut ShopTx) -> (Uuid, [Uuid; 2]) {
    let mut first = operation(10, "mill", 30, 60);
    first.title = "Mill: rear face".to_owned();
    first.checks = vec![
        Check {
            nominal: Some(dec!(12)),
            fit: "H7".to_owned(),
            gauge: Gauge::Plug,
            ..Check::range(
                "dowel hole at rear A1",
                dec!(12.000),
                dec!(12.018),
                "plug gauge",
            )
        },
        Check::yes_no(
            "Thread",
            "go enters by hand, no-go does not beyond two turns",
            "thread plug gauge",
        ),
        Check {
            kind: CheckKind::TwoSided,
            ..Check::range(
                "Position of the hole",
                dec!(-0.05),
                dec!(0.05),
                "dial indicator",
            )
        },
    ];
    let mut second = operation(20, "mill", 20, 60);
    second.after = vec![10];
    let new = NewJob {
        quote_id: None,
        title: "A block with dowels".to_owned(),
        due_on: at("30T00:00").date_naive(),
        promised_on: Some(at("30T00:00").date_naive()),
    };
    let route = Route {
        operations: vec![first, second],
    };
    let (id, _) = jobs::create(tx, &new, &route).await.unwrap();
    let operations = jobs::operations(tx, id).await.unwrap();
    (id, [operations[0].id, operations[1].id])
}

pub fn check(operation_id: Uuid, person_id: Uuid, place: u32, found: Found) -> NewResult {
    NewResult {
        id: Uuid::now_v7(),
        operation_id,
        place,
        found,
        note: String::new(),
        person_id,
        entered_by: person_id,
        device_id: None,
        at: at("26T10:00"),
        device_at: at("26T10:00"),
        received_at: at("26T10:00"),
    }
}

async fn held(tx: &mut ShopTx, job: Uuid) -> Option<String> {
    let waiting = work_list::waiting(tx, Some("mill"), None).await.unwrap();
    let of_job = waiting.into_iter().find(|w| w.job_id == job).unwrap();
    of_job.held
}

async fn the_hold(tx: &mut ShopTx, job: Uuid) -> Hold {
    let holds = checks::holds(tx, Some(job)).await.unwrap();
    holds.into_iter().next_back().unwrap()
}

/// Four readings of a scroll seal's clearance: one at the bottom is too small, so the check fails with that reading, and
/// all of them are kept with their places.
#[tokio::test]
async fn several_readings_are_kept_by_place_and_the_worst_decides() {
    let (_db, shop) = shop().await;
    let mut tx = shop.begin().await;
    let col = person(&mut tx, "Col").await;
    let places = ["top", "right", "bottom", "left"];
    let mut seal = operation(10, "mill", 10, 45);
    seal.checks = vec![Check {
        kind: CheckKind::TwoSided,
        nominal: Some(dec!(0.10)),
        places: places.map(str::to_owned).into(),
        ..Check::range("Clearance", dec!(0.08), dec!(0.13), "feeler gauges")
    }];
    let new = NewJob {
        quote_id: None,
        title: "A block with a scroll seal".to_owned(),
        due_on: at("30T00:00").date_naive(),
        promised_on: None,
    };
    let route = Route {
        operations: vec![seal],
    };
    let (job, _) = jobs::create(&mut tx, &new, &route).await.unwrap();
    let operation = jobs::operations(&mut tx, job).await.unwrap()[0].id;
    let taken = Found::Readings(vec![dec!(0.10), dec!(0.11), dec!(0.06), dec!(0.12)]);
    let bad = check(operation, col, 0, taken);
    let recorded = record_check::record_within(&mut tx, &bad).await.unwrap();
    assert!(!recorded.passed);
    let again = record_check::record_within(&mut tx, &bad).await.unwrap();
    assert!(again.again, "sent twice, recorded once");
    let kept = checks::of_operations(&mut tx, &[operation]).await.unwrap();
    assert_eq!(kept.len(), 1);
    assert_eq!(kept[0].measured, Some(dec!(0.06)));
    let read: Vec<(&str, Decimal)> = (kept[0].readings.iter())
        .map(|r| (r.at.as_str(), r.measured))
        .collect();
    assert_eq!(read[2], ("bottom", dec!(0.06)));
    assert_eq!(read.len(), 4);
    let why = the_hold(&mut tx, job).await.why;
    assert!(why.contains("0.06 mm is too small"), "{why}");
    let short = check(operation, col, 0, Found::Readings(vec![dec!(0.10)]));
    let refused = record_check::record_within(&mut tx, &short)
        .await
        .unwrap_err();
    assert!(refused.to_string().contains("4 readings"), "{refused}");
}

#[tokio::test]
async fn a_check_out_of_limits_stops_the_job_until_somebody_decides() {
    let (db, shop) = shop().await;
    let mut tx = shop.begin().await;
    let col = person(&mut tx, "Col").await;
    let (job, [first, second]) = checked_job(&mut tx).await;
    book_time::book_within(&mut tx, &booking(Kind::Run, first, col, "26T09:00"))
        .await
        .unwrap();
    let good = check(first, col, 0, Found::Measured("12.018".parse().unwrap()));
    assert!(
        record_check::record_within(&mut tx, &good)
            .await
            .unwrap()
            .passed
    );
    assert!(
        record_check::record_within(&mut tx, &good)
            .await
            .unwrap()
            .again
    );
    for wrong in [
        check(first, col, 2, Found::Gauged(true)),
        check(first, col, 1, Found::Measured(Decimal::ONE)),
        check(first, col, 3, Found::Gauged(true)),
    ] {
        let refused = record_check::record_within(&mut tx, &wrong)
            .await
            .unwrap_err();
        assert!(
            matches!(refused, AppError::Refused(Refusal::Check(_))),
            "{refused}"
        );
    }
    // A plug gauge says go or no-go about a hole that has limits.
    let gauged = check(first, col, 0, Found::Gauged(true));
    assert!(
        record_check::record_within(&mut tx, &gauged)
            .await
            .unwrap()
            .passed
    );
    assert_eq!(held(&mut tx, job).await, None);

    let bad = check(first, col, 0, Found::Measured("12.019".parse().unwrap()));
    assert!(
        !record_check::record_within(&mut tx, &bad)
            .await
            .unwrap()
            .passed
    );
    let why = held(&mut tx, job).await.unwrap();
    assert!(why.contains("12.019 mm is too large"), "{why}");
    let start = booking(Kind::Setup, second, col, "26T10:05");
    let taken = book_time::book_within(&mut tx, &start).await.unwrap();
    assert_eq!(taken, Recorded::Taken(Some(Conflict::OnHold)));

    // Measured again: only once it passes.
    let hold = the_hold(&mut tx, job).await;
    let decide = async |tx: &mut ShopTx, hold: &Hold, decision: Decision| {
        let deciding = Deciding {
            hold_id: hold.id,
            version: hold.version,
            decision: &decision,
            note: "as seen",
        };
        decide_hold::decide_within(tx, col, deciding, at("26T11:00")).await
    };
    tx.commit().await.unwrap();
    let mut tx = shop.begin_as(Some(col)).await;
    let refused = decide(&mut tx, &hold, Decision::MeasuredAgain).await;
    assert!(
        matches!(refused, Err(AppError::Refused(Refusal::StillFails))),
        "{refused:?}"
    );
    drop(tx);
    let mut tx = shop.begin_as(Some(col)).await;
    let better = check(first, col, 0, Found::Measured("12.010".parse().unwrap()));
    record_check::record_within(&mut tx, &better).await.unwrap();
    decide(&mut tx, &hold, Decision::MeasuredAgain)
        .await
        .unwrap();
    assert_eq!(held(&mut tx, job).await, None);
    let twice = decide(&mut tx, &hold, Decision::MeasuredAgain).await;
    let stale = matches!(twice, Err(AppError::Db(DbError::Stale(_))));
    assert!(stale, "{twice:?}");

    // The thread fails: rework comes between, and is checked again.
    let thread = check(first, col, 1, Found::Gauged(false));
    record_check::record_within(&mut tx, &thread).await.unwrap();
    let hold = the_hold(&mut tx, job).await;
    let rework = Rework {
        title: "fit a thread insert".to_owned(),
        machine_kind: "mill".to_owned(),
        setup: Minutes(Decimal::TEN),
        run: Minutes(Decimal::from(20)),
    };
    decide(&mut tx, &hold, Decision::Rework(rework))
        .await
        .unwrap();
    let operations = jobs::operations(&mut tx, job).await.unwrap();
    let added = &operations[1];
    assert_eq!((added.planned.number, added.added), (11, true));
    assert_eq!(added.planned.after, [10]);
    assert_eq!(added.planned.checks[0].what, "Thread");
    assert_eq!(operations[2].planned.after, [10, 11]);
    assert_eq!(held(&mut tx, job).await, None);

    // A concession names who allowed it.
    let long = check(first, col, 0, Found::Measured("12.030".parse().unwrap()));
    record_check::record_within(&mut tx, &long).await.unwrap();
    let hold = the_hold(&mut tx, job).await;
    let by = "the customer, by telephone".to_owned();
    decide(&mut tx, &hold, Decision::Concession(by.clone()))
        .await
        .unwrap();
    let decided = the_hold(&mut tx, job).await;
    assert_eq!(decided.said_by, Some(by));
    assert_eq!(held(&mut tx, job).await, None);
    tx.commit().await.unwrap();
    let mut owner = db.owner().await;
    let rewritten = query("update check_result set passed = true")
        .execute(&mut owner)
        .await;
    assert!(rewritten.is_err());
}

#[tokio::test]
async fn scrap_is_written_off_on_the_job_and_its_work_is_done_again_on_another_casting() {
    let (_db, shop) = shop().await;
    let variant = shop.variant("Tarn 4/90 marine").await;
    let mut tx = shop.begin().await;
    let col = person(&mut tx, "Col").await;
    tx.commit().await.unwrap();
    let mut tx = shop.begin_as(Some(col)).await;
    let gbp = Currency::from_code("GBP").unwrap();
    let mut castings = Vec::new();
    for cost in [350, 280] {
        let details = CastingDetails {
            variant_id: variant,
            ownership: Ownership::Shop,
            cost: Money::new(cost.into(), gbp),
            condition: "clean".to_owned(),
        };
        let (id, _) = castings_on_shelf::create(&mut tx, &details).await.unwrap();
        castings.push(id);
    }
    let (job, [first, second]) = checked_job(&mut tx).await;
    castings_on_shelf::reserve(&mut tx, castings[0], job)
        .await
        .unwrap();
    book_time::book_within(&mut tx, &booking(Kind::Run, first, col, "26T08:00"))
        .await
        .unwrap();
    book_time::book_within(&mut tx, &booking(Kind::Done, first, col, "26T09:00"))
        .await
        .unwrap();
    let bad = check(first, col, 0, Found::Measured("12.500".parse().unwrap()));
    record_check::record_within(&mut tx, &bad).await.unwrap();
    let hold = the_hold(&mut tx, job).await;
    let decision = Decision::Scrap {
        donor: Some(castings[1]),
        again: vec![10, 20],
        requote: false,
    };
    let deciding = Deciding {
        hold_id: hold.id,
        version: hold.version,
        decision: &decision,
        note: "drill wandered",
    };
    decide_hold::decide_within(&mut tx, col, deciding, at("26T11:00"))
        .await
        .unwrap();

    let scrapped = castings_on_shelf::get(&mut tx, castings[0]).await.unwrap();
    assert_eq!(scrapped.state, ShelfState::Scrapped);
    let other = castings_on_shelf::get(&mut tx, castings[1]).await.unwrap();
    assert_eq!(
        (other.state, other.job_id),
        (ShelfState::Reserved, Some(job))
    );
    let costs = holds::costs(&mut tx, job).await.unwrap();
    assert_eq!(costs.len(), 1);
    assert_eq!(costs[0].amount, Money::new(350.into(), gbp));
    let number = castings_on_shelf::get(&mut tx, castings[0])
        .await
        .unwrap()
        .number;
    assert_eq!(costs[0].casting, number);
    // Only what was done is done again, and the rest waits for it.
    let operations = jobs::operations(&mut tx, job).await.unwrap();
    let again: Vec<(u32, Option<u32>, Vec<u32>)> = operations
        .iter()
        .map(|o| (o.planned.number, o.again_for, o.planned.after.clone()))
        .collect();
    assert_eq!(
        again,
        [
            (10, None, vec![]),
            (20, None, vec![10, 110]),
            (110, Some(10), vec![])
        ]
    );
    assert_eq!(operations[1].id, second);
    let calls = holds::calls(&mut tx, Some(job)).await.unwrap();
    assert_eq!(calls.len(), 1);
    assert_eq!(calls[0].reason, CallReason::StartsAgain);
    holds::call_made(
        &mut tx,
        calls[0].id,
        col,
        "rang, agreed to Friday",
        at("26T12:00"),
    )
    .await
    .unwrap();
    assert!(holds::calls(&mut tx, None).await.unwrap().is_empty());
    // Quoted anew: an enquiry is opened, and the job stays on hold.
    let bad = check(operations[2].id, col, 0, Found::Measured(Decimal::TEN));
    record_check::record_within(&mut tx, &bad).await.unwrap();
    let hold = the_hold(&mut tx, job).await;
    let decision = Decision::Scrap {
        donor: None,
        again: vec![],
        requote: true,
    };
    let deciding = Deciding {
        hold_id: hold.id,
        version: hold.version,
        decision: &decision,
        note: "cracked",
    };
    decide_hold::decide_within(&mut tx, col, deciding, at("26T13:00"))
        .await
        .unwrap();
    let hold = the_hold(&mut tx, job).await;
    let enquiry = enquiries::get(&mut tx, hold.enquiry_id.unwrap())
        .await
        .unwrap();
    assert!(enquiry.details.note.contains("quoted again"));
    assert!(held(&mut tx, job).await.unwrap().contains("quoted again"));
}
