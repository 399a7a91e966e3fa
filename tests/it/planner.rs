//! The plan that is kept, the workers that make it, and the slots that quotes hold in it.

use crate::support::{TestDatabase, TestShop, operation};
use borewright::app::answer_enquiry::{Simulator, answer_enquiry};
use borewright::app::current_plan::current_plan;
use borewright::app::planner::{Ended, Planner, Settings, look_round, replan};
use borewright::app::reserve_slot::reserve_slot;
use borewright::app::shared_plans::SharedPlans;
use borewright::app::win_quote::{Won, win_quote};
use borewright::app::{Actor, AppError, Refusal};
use borewright::db::enquiries::{self, EnquiryDetails};
use borewright::db::jobs::{self, NewJob, OperationState};
use borewright::db::plans::{self, Kept};
use borewright::db::{self, DbError, castings, decisions, floor, people, quotes};
use borewright::enquiry::quote::{NewQuote, OfferTerms, QuoteRefusal};
use borewright::enquiry::{Answer, PlanState};
use borewright::estimating::{CostLine, Route};
use borewright::planning::Freshness;
use borewright::planning::engine::model::validator::validate;
use borewright::planning::floor::{Floor, Order, Pin, SlotState};
use borewright::units::{Currency, Money};
use chrono::{Days, NaiveDate, TimeDelta, Utc};
use futures_util::future::join_all;
use sqlx::{ConnectOptions, query_scalar};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};
use uuid::Uuid;

fn quick(seconds: u64) -> Settings {
    Settings {
        improve_for: Duration::from_secs(seconds),
        futures: 200,
        heartbeat: Duration::from_millis(200),
    }
}

async fn age(shop: &TestShop) -> plans::Age {
    plans::age(&mut shop.begin().await, Utc::now())
        .await
        .unwrap()
}

async fn kept(shop: &TestShop) -> Option<Kept> {
    plans::kept(&mut shop.begin().await).await.unwrap()
}

/// Waits until something holds of a shop's plan, at most half a minute.
async fn until(shop: &TestShop, what: &str, holds: impl Fn(&plans::Age) -> bool) -> plans::Age {
    let since = Instant::now();
    loop {
        let age = age(shop).await;
        if holds(&age) {
            return age;
        }
        assert!(since.elapsed() < Duration::from_secs(30), "{what}: {age:?}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// Puts a job of the demo's first title first, which changes the floor.
async fn change_the_floor(shop: &TestShop) -> Uuid {
    let mut tx = shop.begin().await;
    let (floor, _) = floor::read(&mut tx, Utc::now()).await.unwrap();
    let job = floor.jobs.last().unwrap().id;
    decisions::put_first(&mut tx, job).await.unwrap();
    tx.commit().await.unwrap();
    job
}

async fn waiting_runs(db: &TestDatabase) -> i64 {
    query_scalar("select count(*) from graphile_worker.jobs where task_identifier = 'replan'")
        .fetch_one(&mut db.owner().await)
        .await
        .unwrap()
}

#[tokio::test]
async fn the_demo_shop_has_a_plan_that_keeps_every_rule_and_stands_as_it_is_kept() {
    let (db, shop) = TestDatabase::demo().await;
    assert!(matches!(
        age(&shop).await.freshness,
        Freshness::Stale { .. }
    ));
    assert_eq!(
        replan(&db.pool, shop.id, quick(2)).await.unwrap(),
        Ended::Improved
    );
    let now = age(&shop).await;
    assert_eq!(now.freshness, Freshness::Fresh);
    assert!(now.improved);

    let kept = kept(&shop).await.unwrap();
    let program = Actor::program(db.pool.clone(), shop.id);
    let current = current_plan(&program, kept.timetable.origin).await.unwrap();
    assert_eq!(validate(&current.model.model, &current.plan), vec![]);
    assert_eq!(current.timetable.slots, kept.timetable.slots);
    assert_eq!(current.timetable.value, kept.timetable.value);
    // What is not planned says why: a few donors without a day.
    let out: Vec<Uuid> = current.model.issues.iter().map(|issue| issue.job).collect();
    assert!(out.len() <= 4, "{:?}", current.model.issues);
    let planned = current.floor.jobs.iter().filter(|j| !out.contains(&j.id));
    let open: usize = planned.map(|j| j.operations.len()).sum();
    // What was begun goes on even in a job that is not planned.
    let slots = kept.timetable.slots.iter();
    assert_eq!(slots.filter(|slot| !out.contains(&slot.job)).count(), open);

    // A week like a real one: work under way, nearly every promise in reach, and a few that are not.
    let promised = current
        .floor
        .jobs
        .iter()
        .filter(|j| j.promised && !out.contains(&j.id));
    let chances: Vec<f64> = promised
        .map(|j| {
            kept.timetable
                .job(j.id)
                .and_then(|dates| dates.chance)
                .unwrap()
        })
        .collect();
    let at_risk = chances.iter().filter(|chance| **chance < 0.8).count();
    println!(
        "{at_risk} of {} promises at risk, {:?}",
        chances.len(),
        kept.timetable.value
    );
    assert!(chances.len() >= 40);
    // A quarter at most; how many depends on the day and hour as well as on the plan.
    assert!((1..=chances.len() / 4).contains(&at_risk), "{chances:?}");
    let under_way = |state| kept.timetable.slots.iter().any(|slot| slot.state == state);
    assert!(under_way(SlotState::Started) && under_way(SlotState::Planned));
}

#[tokio::test]
async fn a_change_makes_the_plan_stale_and_a_burst_of_changes_is_one_run() {
    let (db, shop) = TestDatabase::demo().await;
    replan(&db.pool, shop.id, quick(0)).await.unwrap();
    assert_eq!(
        waiting_runs(&db).await,
        1,
        "making the demo asked for one run"
    );
    let before = age(&shop).await;
    assert_eq!(before.freshness, Freshness::Fresh);
    for _ in 0..10 {
        change_the_floor(&shop).await;
    }
    let after = age(&shop).await;
    assert!(matches!(after.freshness, Freshness::Stale { .. }));
    assert_eq!(after.floor_version, before.floor_version + 10);
    assert_eq!(waiting_runs(&db).await, 1, "ten changes asked for one run");
    // Saving something as it is changes nothing.
    let mut tx = shop.begin().await;
    let job = jobs::list(&mut tx, &[jobs::JobState::Open], None, 1)
        .await
        .unwrap()
        .remove(0);
    sqlx::query("update job set title = title where shop_id = $1 and id = $2")
        .bind(shop.id)
        .bind(job.id)
        .execute(tx.conn())
        .await
        .unwrap();
    tx.commit().await.unwrap();
    assert_eq!(age(&shop).await.floor_version, after.floor_version);
    // A plan of the floor as it was is not kept over the floor as it is.
    let old = kept(&shop).await.unwrap();
    let mut tx = shop.begin().await;
    assert!(!plans::keep(&mut tx, &old).await.unwrap());
}

#[tokio::test]
async fn a_run_is_not_kept_over_a_floor_that_changed_meanwhile_and_can_be_stopped() {
    let (db, shop) = TestDatabase::demo().await;
    let run = {
        let (pool, id) = (db.pool.clone(), shop.id);
        tokio::spawn(async move { replan(&pool, id, quick(20)).await })
    };
    let first = until(&shop, "a usable plan", |age| {
        matches!(age.freshness, Freshness::Planning { usable: true, .. })
    })
    .await;
    change_the_floor(&shop).await;
    assert_eq!(run.await.unwrap().unwrap(), Ended::Overtaken);
    let after = age(&shop).await;
    assert_eq!(after.plan_version, first.plan_version);
    assert!(!after.improved);
    assert!(matches!(after.freshness, Freshness::Stale { .. }));

    let run = {
        let (pool, id) = (db.pool.clone(), shop.id);
        tokio::spawn(async move { replan(&pool, id, quick(20)).await })
    };
    until(&shop, "progress", |age| {
        matches!(age.freshness, Freshness::Planning { usable: true, progress } if progress > 0.0)
    })
    .await;
    let mut tx = shop.begin().await;
    plans::cancel_run(&mut tx).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(run.await.unwrap().unwrap(), Ended::Cancelled);
    assert_eq!(age(&shop).await.freshness, Freshness::Fresh);
}

#[tokio::test]
async fn a_run_makes_room_for_shops_that_wait_for_a_plan_they_can_use() {
    let (db, shop) = TestDatabase::demo().await;
    let run = {
        let (pool, id) = (db.pool.clone(), shop.id);
        tokio::spawn(async move { replan(&pool, id, quick(120)).await })
    };
    until(&shop, "a usable plan", |age| {
        matches!(age.freshness, Freshness::Planning { usable: true, .. })
    })
    .await;
    let other = Uuid::now_v7();
    let mut owner = db.owner().await;
    query_scalar::<_, ()>("select ask_for_a_plan($1)")
        .bind(other)
        .fetch_one(&mut owner)
        .await
        .unwrap();
    let ended = tokio::time::timeout(Duration::from_secs(30), run).await;
    // The demo has promises that cannot be kept.
    let ended = ended.expect("the run goes on").unwrap().unwrap();
    assert_eq!(ended, Ended::CutShort { late: true });
    let now = age(&shop).await;
    assert_eq!(now.freshness, Freshness::Fresh);
    assert!(!now.improved);

    let queued: Vec<(String, i16)> = sqlx::query_as(
        "select key, priority from graphile_worker._private_jobs where key in ($1, $2) order by priority, run_at",
    )
    .bind(format!("replan {other}"))
    .bind(format!("improve {}", shop.id))
    .fetch_all(&mut owner)
    .await
    .unwrap();
    let expected = [
        (format!("replan {other}"), 0),
        (format!("improve {}", shop.id), 50),
    ];
    assert_eq!(queued, expected);

    sqlx::query("select graphile_worker.remove_job($1)")
        .bind(format!("replan {other}"))
        .execute(&mut owner)
        .await
        .unwrap();
    let ended = replan(&db.pool, shop.id, quick(1)).await.unwrap();
    assert_eq!(ended, Ended::Improved);
}

/// A worker is a process of its own here, and is killed as the kernel kills: nothing of it runs any more.
#[tokio::test]
async fn a_killed_workers_run_is_taken_over_by_another() {
    let (db, shop) = TestDatabase::demo().await;
    let mut worker = Command::new(env!("CARGO_BIN_EXE_borewright"))
        .args(["work", "--improve-for", "600", "--log", "warn"])
        .env("DATABASE_URL", db.owner_options().to_url_lossy().as_str())
        .env_remove("SERVICE_DATABASE_URL")
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    until(&shop, "the first worker plans", |age| {
        matches!(age.freshness, Freshness::Planning { usable: true, progress } if progress > 0.0)
    })
    .await;
    worker.kill().unwrap();
    worker.wait().unwrap();

    let planner = Planner::new(db.pool.clone(), 1, quick(1)).await.unwrap();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let running = tokio::spawn(async move {
        planner
            .run_until(async { stopped.await.unwrap_or(()) })
            .await
    });
    let age = until(&shop, "another takes the run over", |age| {
        age.improved && age.freshness == Freshness::Fresh
    })
    .await;
    assert_eq!(age.plan_version, Some(age.floor_version));
    // And it goes on to plan what changes next.
    let job = change_the_floor(&shop).await;
    until(&shop, "the change is planned", |later| {
        later.improved
            && later.plan_version > age.plan_version
            && later.freshness == Freshness::Fresh
    })
    .await;
    let plan = kept(&shop).await.unwrap().timetable;
    assert!(plan.job(job).is_some());
    stop.send(()).unwrap();
    running.await.unwrap().unwrap();
}

#[tokio::test]
async fn a_quote_holds_its_slot_until_its_day_and_the_job_it_becomes_takes_it() {
    let (db, shop) = TestDatabase::demo().await;
    let gbp = |amount: i64| Money::new(amount.into(), Currency::from_code("GBP").unwrap());
    let mut route = Route {
        operations: vec![operation(10, "mill", 30, 90), operation(20, "bench", 0, 45)],
    };
    route.operations[1].after = vec![10];
    route.operations[1].skill = "fitting".to_owned();
    let today = Utc::now().date_naive();
    let mut tx = shop.begin().await;
    let (enquiry_id, _) = enquiries::create(&mut tx, &Default::default())
        .await
        .unwrap();
    let (quote, _) = quotes::create(
        &mut tx,
        &NewQuote {
            offered_on: OfferTerms::default(),
            request_key: None,
            enquiry_id,
            option_kind: "convert".to_owned(),
            title: "Convert".to_owned(),
            casting_id: None,
            valid_until: today + Days::new(30),
            promised_on: Some(today + Days::new(90)),
            net: gbp(100),
            tax: gbp(0),
            gross: gbp(100),
            lines: vec![CostLine {
                label: "Work".to_owned(),
                how: String::new(),
                amount: gbp(100),
                lines: vec![],
            }],
            answer: serde_json::json!({}),
            route,
        }
        .checked()
        .unwrap(),
    )
    .await
    .unwrap();
    tx.commit().await.unwrap();
    let program = Actor::program(db.pool.clone(), shop.id);
    let beyond = reserve_slot(&program, quote, Some(today + Days::new(31)), today).await;
    let last = QuoteRefusal::SlotBeyond(today + Days::new(30));
    assert!(
        matches!(beyond, Err(AppError::Refused(Refusal::Quote { why, .. })) if why == last),
        "{beyond:?}"
    );
    let hold = async |until: NaiveDate| {
        let mut tx = shop.begin().await;
        decisions::hold_slot(&mut tx, quote, until).await.unwrap();
        tx.commit().await.unwrap();
    };
    hold(today + Days::new(3)).await;
    replan(&db.pool, shop.id, quick(0)).await.unwrap();
    let (read, _) = floor::read(&mut shop.begin().await, Utc::now())
        .await
        .unwrap();
    let held = read.job(quote).unwrap();
    assert_eq!(
        held.order,
        Order::HeldSlot {
            quote_id: quote,
            until: today + Days::new(3)
        }
    );
    let plan = plans::kept(&mut shop.begin().await)
        .await
        .unwrap()
        .unwrap()
        .timetable;
    let mut slots: Vec<_> = plan
        .slots
        .iter()
        .filter(|s| s.job == quote)
        .cloned()
        .collect();
    assert_eq!(slots.len(), 2);

    // Four days on it has lapsed: first out of the floor by its date, then off the books by the look round.
    let later = Utc::now() + TimeDelta::days(4);
    let (read, _) = floor::read(&mut shop.begin().await, later).await.unwrap();
    assert!(read.job(quote).is_none());
    hold(today - Days::new(1)).await;
    look_round(&db.pool, shop.id).await.unwrap();
    let mut tx = shop.begin().await;
    assert_eq!(
        decisions::slot_held_until(&mut tx, quote).await.unwrap(),
        None
    );
    drop(tx);

    // Held again and won: the job stands where the slot stood.
    hold(today + Days::new(3)).await;
    let won = Won {
        quote_id: quote,
        version: 1,
        due_on: today + Days::new(90),
        confirmed: true,
    };
    let (job, _) = win_quote(&program, won, today, None).await.unwrap();
    let mut tx = shop.begin().await;
    let ids: Vec<Uuid> = jobs::operations(&mut tx, job)
        .await
        .unwrap()
        .iter()
        .map(|o| o.id)
        .collect();
    drop(tx);
    let plan = plans::kept(&mut shop.begin().await)
        .await
        .unwrap()
        .unwrap()
        .timetable;
    slots.sort_by_key(|slot| slot.starts);
    for (slot, id) in slots.iter().zip(ids) {
        let taken = plan.slot(id).unwrap();
        assert_eq!(
            (taken.job, taken.starts, taken.machine),
            (job, slot.starts, slot.machine)
        );
    }
    let current = current_plan(&program, Utc::now()).await.unwrap();
    assert!(current.floor.job(quote).is_none());
    assert!(current.timetable.job(job).is_some());
}

#[tokio::test]
async fn ten_callers_at_once_have_the_plan_drawn_once_until_the_floor_changes() {
    let (db, shop) = TestDatabase::demo().await;
    replan(&db.pool, shop.id, quick(0)).await.unwrap();
    let mut tx = shop.begin().await;
    let names = castings::variant_names(&mut tx).await.unwrap();
    let marine = names.iter().find(|v| v.name == "Tarn 4/90 marine").unwrap();
    let details = EnquiryDetails {
        wanted_variant_id: Some(marine.id),
        ..EnquiryDetails::default()
    };
    let (id, _) = enquiries::create(&mut tx, &details).await.unwrap();
    tx.commit().await.unwrap();

    let simulator = Simulator::new(100);
    let program = Actor::program(db.pool.clone(), shop.id);
    let at = Utc::now();
    let ten = (0..10).map(|_| answer_enquiry(&program, &simulator, id, at));
    let answers: Vec<Answer> = join_all(ten)
        .await
        .into_iter()
        .map(|answered| answered.unwrap().answer.unwrap().answer)
        .collect();
    assert_eq!(simulator.plans.draws(), 1);
    assert!(answers.iter().all(|answer| *answer == answers[0]));
    assert_eq!(answers[0].plan, Some(PlanState::Current));

    change_the_floor(&shop).await;
    let changed = answer_enquiry(&program, &simulator, id, at).await.unwrap();
    assert_eq!(simulator.plans.draws(), 2);
    assert_eq!(
        changed.answer.unwrap().answer.plan,
        Some(PlanState::Outdated)
    );
}

#[tokio::test]
async fn decisions_by_hand_are_kept_and_refused_where_they_make_no_sense() {
    let (_db, shop) = TestDatabase::demo().await;
    let mut tx = shop.begin().await;
    let new = NewJob {
        quote_id: None,
        title: "Deck a block".to_owned(),
        due_on: Utc::now().date_naive() + Days::new(30),
        promised_on: None,
    };
    let route = Route {
        operations: vec![operation(10, "mill", 10, 60)],
    };
    let (job, _) = jobs::create(&mut tx, &new, &route).await.unwrap();
    let first = jobs::operations(&mut tx, job).await.unwrap().remove(0);
    let col = people::list(&mut tx)
        .await
        .unwrap()
        .into_iter()
        .find(|p| p.name == "Col Brannick")
        .unwrap();
    let pin = Pin {
        machine: None,
        person: Some(col.id),
        start: None,
    };
    decisions::pin(&mut tx, first.id, &pin).await.unwrap();
    decisions::hold(&mut tx, job, "waits for the customer")
        .await
        .unwrap();
    decisions::put_first(&mut tx, job).await.unwrap();
    let of = |floor: &Floor| floor.job(job).cloned().unwrap();
    let (read, _) = floor::read(&mut tx, Utc::now()).await.unwrap();
    let seen = of(&read);
    assert_eq!(seen.operations[0].pin, Some(pin));
    assert_eq!((seen.operations[0].setup, seen.operations[0].run), (10, 60));
    assert_eq!(seen.hold.as_deref(), Some("waits for the customer"));
    assert_eq!(seen.put_first, Some(0));
    decisions::unpin(&mut tx, first.id).await.unwrap();
    decisions::release(&mut tx, job).await.unwrap();
    decisions::not_first(&mut tx, job).await.unwrap();
    let (read, _) = floor::read(&mut tx, Utc::now()).await.unwrap();
    assert_eq!(
        (
            of(&read).hold,
            of(&read).put_first,
            of(&read).operations[0].pin
        ),
        (None, None, None)
    );

    jobs::set_operation_state(&mut tx, first.id, first.version, OperationState::Started)
        .await
        .unwrap();
    let refused = decisions::pin(&mut tx, first.id, &pin).await.unwrap_err();
    assert!(
        matches!(refused, DbError::Refused(db::Refusal::Begun)),
        "{refused}"
    );
    let nobody = decisions::hold(&mut tx, Uuid::now_v7(), "why")
        .await
        .unwrap_err();
    assert_eq!(nobody.to_string(), "this job was not found");
}

#[tokio::test]
async fn whoever_looks_at_the_week_within_a_minute_sees_one_plan_until_the_floor_changes() {
    let (db, shop) = TestDatabase::demo().await;
    let program = Actor::program(db.pool.clone(), shop.id);
    let plans = SharedPlans::default();
    let now = Utc::now();
    let looks = join_all((0..5).map(|_| plans.now(&program, now))).await;
    let looks: Vec<_> = looks.into_iter().map(Result::unwrap).collect();
    assert!(looks.iter().all(|look| Arc::ptr_eq(look, &looks[0])));
    let later = now + TimeDelta::minutes(1);
    let look = plans.now(&program, later).await.unwrap();
    assert!(!Arc::ptr_eq(&look, &looks[0]));
    let job = change_the_floor(&shop).await;
    let changed = plans.now(&program, later).await.unwrap();
    assert!(!Arc::ptr_eq(&changed, &look));
    assert_ne!(changed.age.floor_version, look.age.floor_version);
    assert!(changed.floor.job(job).is_some());
}
