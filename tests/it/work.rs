//! Castings on the shelf, enquiries, quotes and jobs: numbers, versions, frozen quotes, one decision each, history.

use crate::support::{TestDatabase, TestShop, operation};
use borewright::app::close_enquiry::close_within;
use borewright::app::close_job::close_within as close_job;
use borewright::app::lose_quote::lose_within;
use borewright::app::win_quote::{Won, win_within};
use borewright::app::{AppError, Refusal, move_casting};
use borewright::db::casting_records;
use borewright::db::castings_on_shelf::{self as shelf, CastingDetails, Ownership, ShelfState};
use borewright::db::counters::{self, Counter};
use borewright::db::enquiries::{self, EnquiryDetails};
use borewright::db::jobs::{self, JobState, OperationState};
use borewright::db::{self, DbError, ShopTx, history, quotes};
use borewright::enquiry::EnquiryState;
use borewright::enquiry::quote::{NewQuote, OfferTerms, QuoteRefusal, QuoteState, Unbalanced};
use borewright::estimating::{CostLine, Route};
use borewright::jobs::{Ending, NotPossible};
use borewright::units::{Code, Currency, Money};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde_json::json;
use sqlx::{AssertSqlSafe, query};
use std::collections::HashSet;
use uuid::Uuid;

fn day(d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, d).unwrap()
}

fn pounds(amount: &str) -> Money {
    Money::new(amount.parse().unwrap(), Currency::from_code("GBP").unwrap())
}

fn line(label: &str, amount: &str, lines: Vec<CostLine>) -> CostLine {
    CostLine {
        label: label.to_owned(),
        how: format!("how {label}"),
        amount: pounds(amount),
        lines,
    }
}

fn a_quote(enquiry_id: Uuid, casting_id: Option<Uuid>) -> NewQuote {
    NewQuote {
        offered_on: OfferTerms::default(),
        request_key: None,
        enquiry_id,
        option_kind: "convert".to_owned(),
        title: "Convert farm block to marine".to_owned(),
        casting_id,
        valid_until: day(20),
        promised_on: Some(day(27)),
        net: pounds("310.50"),
        tax: pounds("62.10"),
        gross: pounds("372.60"),
        lines: vec![
            line(
                "Labour",
                "210.50",
                vec![
                    line(
                        "Mill",
                        "150.50",
                        vec![
                            line("Setup", "50.50", vec![]),
                            line("Run", "100.00", vec![]),
                        ],
                    ),
                    line("Bench", "60.00", vec![]),
                ],
            ),
            line("Donor", "100.00", vec![]),
        ],
        answer: json!({"options": [{"price": "310.50"}]}),
        route: Route {
            operations: vec![operation(10, "mill", 30, 90), operation(20, "bench", 0, 45)],
        },
    }
}

async fn an_enquiry(shop: &TestShop) -> Uuid {
    let mut tx = shop.begin().await;
    let details = EnquiryDetails {
        caller: "A. Caller".to_owned(),
        ..EnquiryDetails::default()
    };
    let (id, _) = enquiries::create(&mut tx, &details).await.unwrap();
    tx.commit().await.unwrap();
    id
}

async fn a_casting(shop: &TestShop) -> Uuid {
    let details = CastingDetails {
        variant_id: shop.variant("Tarn 4/90 farm").await,
        ownership: Ownership::Shop,
        cost: pounds("100.00"),
        condition: "Sound, dirty".to_owned(),
    };
    let mut tx = shop.begin().await;
    let (id, _) = shelf::create(&mut tx, &details).await.unwrap();
    tx.commit().await.unwrap();
    id
}

async fn give(shop: &TestShop, quote: &NewQuote) -> Uuid {
    let mut tx = shop.begin().await;
    let quote = quote.clone().checked().unwrap();
    let (id, _) = quotes::create(&mut tx, &quote).await.unwrap();
    tx.commit().await.unwrap();
    id
}

/// Wins a quote on a day and gives the key of its job.
async fn win(
    tx: &mut ShopTx,
    quote_id: Uuid,
    version: i32,
    today: NaiveDate,
    due_on: NaiveDate,
) -> Result<Uuid, AppError> {
    let won = Won {
        quote_id,
        version,
        due_on,
        confirmed: true,
    };
    Ok(win_within(tx, won, today).await?.0)
}

/// The rule on quotes that a use case was refused by.
fn refusal<T: std::fmt::Debug>(refused: Result<T, AppError>) -> QuoteRefusal {
    match refused {
        Err(AppError::Refused(Refusal::Quote { why, .. })) => why,
        other => panic!("not refused by a rule on quotes: {other:?}"),
    }
}

#[tokio::test]
async fn numbers_run_per_shop_and_neither_repeat_nor_leave_gaps_under_concurrency() {
    let db = TestDatabase::new().await;
    let (a, b) = (db.shop("a-shop").await, db.shop("b-shop").await);
    let draws = (0..40).map(|i| {
        let (pool, shop_id) = (db.pool.clone(), a.id);
        tokio::spawn(async move {
            let scope = borewright::db::Scope {
                shop_id,
                person_id: None,
            };
            let mut tx = borewright::db::ShopTx::begin(&pool, scope).await.unwrap();
            let number = counters::next(&mut tx, Counter::Quote).await.unwrap();
            // Every fourth changes its mind; its number must go to someone else.
            if i % 4 == 0 {
                return None;
            }
            tx.commit().await.unwrap();
            Some(number)
        })
    });
    let mut drawn = Vec::new();
    for draw in draws.collect::<Vec<_>>() {
        drawn.extend(draw.await.unwrap());
    }
    let distinct: HashSet<i64> = drawn.iter().copied().collect();
    assert_eq!(distinct, (1..=30).collect());
    assert_eq!(drawn.len(), 30);
    let mut tx = b.begin().await;
    assert_eq!(counters::next(&mut tx, Counter::Quote).await.unwrap(), 1);
    assert_eq!(counters::next(&mut tx, Counter::Job).await.unwrap(), 1);
}

#[tokio::test]
async fn an_enquiry_is_saved_step_by_step_and_a_stale_save_is_refused() {
    let db = TestDatabase::new().await;
    let shop = db.shop("shop").await;
    let wanted = shop.variant("Tarn 4/90 marine").await;
    let id = an_enquiry(&shop).await;
    let mut tx = shop.begin().await;
    let first = enquiries::get(&mut tx, id).await.unwrap();
    let details = EnquiryDetails {
        wanted_variant_id: Some(wanted),
        wanted_by: Some(day(30)),
        ..first.details.clone()
    };
    let version = enquiries::update(&mut tx, id, first.version, &details)
        .await
        .unwrap();
    assert_eq!(version, first.version + 1);
    let stale = enquiries::update(&mut tx, id, first.version, &first.details).await;
    assert!(matches!(stale, Err(DbError::Stale(_))), "{stale:?}");
    assert_eq!(enquiries::get(&mut tx, id).await.unwrap().details, details);
    let missing = enquiries::update(&mut tx, Uuid::now_v7(), 1, &details).await;
    assert!(matches!(missing, Err(DbError::NotFound(_))), "{missing:?}");
    let stale = close_within(&mut tx, id, version - 1, true).await;
    assert!(
        matches!(stale, Err(AppError::Db(DbError::Stale(_)))),
        "{stale:?}"
    );
    close_within(&mut tx, id, version, true).await.unwrap();
    let closed = enquiries::list(&mut tx, &[EnquiryState::Closed], None, 10)
        .await
        .unwrap();
    assert_eq!(closed.len(), 1);
}

#[tokio::test]
async fn a_quote_reads_as_it_was_given() {
    let db = TestDatabase::new().await;
    let shop = db.shop("shop").await;
    let new = a_quote(an_enquiry(&shop).await, None);
    let id = give(&shop, &new).await;
    let mut tx = shop.begin().await;
    let quote = quotes::get(&mut tx, id).await.unwrap();
    assert_eq!(
        (quote.net, quote.tax, quote.gross),
        (new.net, new.tax, new.gross)
    );
    assert_eq!((quote.number, quote.state), (1, QuoteState::Sent));
    assert_eq!(quotes::lines(&mut tx, id).await.unwrap(), new.lines);
    let basis = quotes::basis(&mut tx, id).await.unwrap();
    assert_eq!(
        (basis.answer, basis.route),
        (new.answer.clone(), new.route.clone())
    );
    let enquiry = enquiries::get(&mut tx, new.enquiry_id).await.unwrap();
    assert_eq!(enquiry.state, EnquiryState::Quoted);

    let mut wrong = a_quote(new.enquiry_id, None);
    wrong.lines.pop();
    let refused = wrong.checked();
    assert!(
        matches!(refused, Err(Unbalanced::Lines { .. })),
        "{refused:?}"
    );
}

#[tokio::test]
async fn a_given_quote_cannot_be_changed_by_anyone() {
    let db = TestDatabase::new().await;
    let shop = db.shop("shop").await;
    let id = give(&shop, &a_quote(an_enquiry(&shop).await, None)).await;
    let mut owner = db.owner().await;
    for change in [
        "update quote set net = 1, gross = 63.1",
        "update quote set valid_until = valid_until + 30",
        "update quote set title = 'another'",
        "delete from quote",
        "update quote_line set amount = amount + 1",
        "update quote_line set label = 'x'",
        "delete from quote_line",
        "insert into quote_line (shop_id, quote_id, position, label, how, amount)
            select shop_id, quote_id, max(position) + 1, 'x', 'x', 1 from quote_line group by shop_id, quote_id",
        "update quote_basis set answer = '{}'",
        "delete from quote_basis",
    ] {
        let mut tx = shop.begin().await;
        let by_service = query(AssertSqlSafe(change)).execute(tx.conn()).await;
        assert!(by_service.is_err(), "the service could: {change}");
        drop(tx);
        let by_owner = query(AssertSqlSafe(change)).execute(&mut owner).await;
        assert!(by_owner.is_err(), "even the owner must not: {change}");
    }
    let mut tx = shop.begin().await;
    lose_within(&mut tx, id, 1, "too dear").await.unwrap();
    let undone = query("update quote set state = 'sent', lost_why = null, decided_at = null")
        .execute(tx.conn())
        .await;
    assert!(undone.is_err(), "a decision must stand");
}

#[tokio::test]
async fn a_won_quote_becomes_one_job_with_its_route_and_takes_its_donor() {
    let db = TestDatabase::new().await;
    let shop = db.shop("shop").await;
    let enquiry = an_enquiry(&shop).await;
    let casting = a_casting(&shop).await;
    let new = a_quote(enquiry, Some(casting));
    let (first, second) = (give(&shop, &new).await, give(&shop, &new).await);

    let mut tx = shop.begin().await;
    let early = win(&mut tx, first, 7, day(2), day(26)).await;
    assert!(
        matches!(early, Err(AppError::Db(DbError::Stale(_)))),
        "{early:?}"
    );
    drop(tx);
    let mut tx = shop.begin().await;
    let job_id = win(&mut tx, first, 1, day(20), day(26)).await.unwrap();
    tx.commit().await.unwrap();

    let mut tx = shop.begin().await;
    let job = jobs::get(&mut tx, job_id).await.unwrap();
    assert_eq!(
        (job.quote_id, job.due_on, job.promised_on),
        (Some(first), day(26), Some(day(27)))
    );
    let operations = jobs::operations(&mut tx, job_id).await.unwrap();
    let planned: Vec<_> = operations.iter().map(|o| o.planned.clone()).collect();
    assert_eq!(planned, new.route.operations);
    let donor = shelf::get(&mut tx, casting).await.unwrap();
    assert_eq!(
        (donor.state, donor.job_id),
        (ShelfState::Reserved, Some(job_id))
    );
    let again = win(&mut tx, first, 2, day(3), day(26)).await;
    assert_eq!(refusal(again), QuoteRefusal::Decided(QuoteState::Won));
    drop(tx);

    // The other quote counted on the same donor: nothing of it may stay.
    let mut tx = shop.begin().await;
    let gone = win(&mut tx, second, 1, day(3), day(26)).await;
    assert!(
        matches!(
            &gone,
            Err(AppError::Refused(Refusal::Stored(
                db::Refusal::CastingNotFree { .. }
            )))
        ),
        "{gone:?}"
    );
    drop(tx);
    let mut tx = shop.begin().await;
    assert_eq!(
        quotes::get(&mut tx, second).await.unwrap().state,
        QuoteState::Sent
    );
    assert_eq!(
        jobs::list(&mut tx, JobState::ALL, None, 10)
            .await
            .unwrap()
            .len(),
        1
    );
}

#[tokio::test]
async fn a_quote_won_twice_at_once_makes_one_job() {
    let db = TestDatabase::new().await;
    let shop = db.shop("shop").await;
    let id = give(&shop, &a_quote(an_enquiry(&shop).await, None)).await;
    let win = async || {
        let mut tx = shop.begin().await;
        let job = win(&mut tx, id, 1, day(2), day(26)).await?;
        tx.commit().await?;
        Ok::<_, AppError>(job)
    };
    let (one, other) = tokio::join!(win(), win());
    assert!(one.is_ok() != other.is_ok(), "{one:?} {other:?}");
}

#[tokio::test]
async fn a_quote_past_its_day_cannot_be_won_and_lapses() {
    let db = TestDatabase::new().await;
    let shop = db.shop("shop").await;
    let id = give(&shop, &a_quote(an_enquiry(&shop).await, None)).await;
    let mut tx = shop.begin().await;
    let late = win(&mut tx, id, 1, day(21), day(26)).await;
    assert_eq!(refusal(late), QuoteRefusal::Expired(day(20)));
    assert_eq!(
        quotes::lapse(&mut tx, day(20)).await.unwrap(),
        0,
        "it holds on its last day"
    );
    assert_eq!(quotes::lapse(&mut tx, day(21)).await.unwrap(), 1);
    let lapsed = quotes::get(&mut tx, id).await.unwrap();
    assert_eq!(lapsed.state, QuoteState::Lapsed);
    let lost = lose_within(&mut tx, id, lapsed.version, "late").await;
    assert_eq!(refusal(lost), QuoteRefusal::Decided(QuoteState::Lapsed));
}

#[tokio::test]
async fn the_load_of_a_machine_is_the_planned_work_of_open_jobs_that_is_not_done() {
    let db = TestDatabase::new().await;
    let shop = db.shop("shop").await;
    let enquiry = an_enquiry(&shop).await;
    let casting = a_casting(&shop).await;
    let quotes_given = [
        give(&shop, &a_quote(enquiry, Some(casting))).await,
        give(&shop, &a_quote(enquiry, None)).await,
    ];
    let mut tx = shop.begin().await;
    let mut made = Vec::new();
    for id in quotes_given {
        made.push(win(&mut tx, id, 1, day(2), day(26)).await.unwrap());
    }
    let load = async |tx: &mut _| {
        jobs::machine_load(tx)
            .await
            .unwrap()
            .into_iter()
            .map(|l| (l.machine_kind, l.operations, l.minutes.0))
            .collect::<Vec<_>>()
    };
    let row = |kind: &str, n, minutes| (kind.to_owned(), n, Decimal::from(minutes));
    assert_eq!(
        load(&mut tx).await,
        [row("bench", 2, 90), row("mill", 2, 240)]
    );

    let first = jobs::operations(&mut tx, made[0]).await.unwrap();
    jobs::set_operation_state(&mut tx, first[0].id, 1, OperationState::Done)
        .await
        .unwrap();
    jobs::set_operation_state(&mut tx, first[1].id, 1, OperationState::Started)
        .await
        .unwrap();
    assert_eq!(
        load(&mut tx).await,
        [row("bench", 2, 90), row("mill", 1, 120)]
    );
    close_job(&mut tx, made[1], 1, Ending::Cancelled)
        .await
        .unwrap();
    assert_eq!(load(&mut tx).await, [row("bench", 1, 45)]);
    tx.commit().await.unwrap();

    let mut tx = shop.begin().await;
    let unfinished = close_job(&mut tx, made[0], 1, Ending::Done).await;
    assert!(
        matches!(
            unfinished,
            Err(AppError::Refused(Refusal::Job(
                NotPossible::OperationsLeft(1)
            )))
        ),
        "{unfinished:?}"
    );
    drop(tx);
    let mut tx = shop.begin().await;
    jobs::set_operation_state(&mut tx, first[1].id, 2, OperationState::Done)
        .await
        .unwrap();
    close_job(&mut tx, made[0], 1, Ending::Done).await.unwrap();
    assert_eq!(load(&mut tx).await, []);
    assert_eq!(
        shelf::get(&mut tx, casting).await.unwrap().state,
        ShelfState::Used
    );
    let closed = jobs::set_operation_state(&mut tx, first[1].id, 3, OperationState::Queued).await;
    assert!(
        matches!(closed, Err(DbError::Refused(db::Refusal::JobClosed { .. }))),
        "{closed:?}"
    );
}

#[tokio::test]
async fn a_casting_that_fails_its_inspection_is_scrap_and_its_history_says_what_changed() {
    let db = TestDatabase::new().await;
    let shop = db.shop("shop").await;
    let id = a_casting(&shop).await;
    let mut tx = shop.begin().await;
    let casting = shelf::get(&mut tx, id).await.unwrap();
    let details = CastingDetails {
        cost: pounds("85.00"),
        ..casting.details.clone()
    };
    let origin = casting_records::origin(&mut tx, id).await.unwrap();
    let version = shelf::update(&mut tx, id, 1, &details, &origin)
        .await
        .unwrap();
    let stale = shelf::update(&mut tx, id, 1, &details, &origin).await;
    assert!(matches!(stale, Err(DbError::Stale(_))), "{stale:?}");
    move_casting::inspect_within(&mut tx, id, version, shelf::Outcome::Failed, day(3))
        .await
        .unwrap();
    let failed = shelf::get(&mut tx, id).await.unwrap();
    assert_eq!(failed.state, ShelfState::Scrapped);
    assert_eq!(failed.inspection, Some((shelf::Outcome::Failed, day(3))));
    assert!(
        shelf::list(&mut tx, &[ShelfState::OnShelf], None)
            .await
            .unwrap()
            .is_empty()
    );

    let told = history::of_row(&mut tx, "casting", id).await.unwrap();
    let actions: Vec<_> = told.iter().map(|c| c.action.as_str()).collect();
    assert_eq!(actions, ["update", "update", "insert"]);
    let cost = history::FieldChange {
        field: "cost".to_owned(),
        before: Some("100.00".to_owned()),
        after: Some("85.00".to_owned()),
    };
    assert_eq!(told[1].fields, [cost]);
}
