//! The demo scenario in a real store: made once, whole, and left alone after.

use crate::support::*;
use borewright::app::password;
use borewright::db::people::{self, Role};
use borewright::db::review as rows;
use borewright::db::{
    Scope, ShopTx, calendars, castings, castings_on_shelf, jobs, machines, quotes,
    related_patterns, remedy_rules, shops, sightings, standards,
};
use borewright::demo::{self, Demo, Seed};
use borewright::enquiry::quote::QuoteState;
use borewright::shopfloor;
use borewright::units::{Code, plain};
use chrono::{DateTime, Days, Utc};
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

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
    assert_eq!(castings::patterns(&mut tx).await.unwrap().len(), 4);
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
    // Days off sick of the past year stand beside what is still to come.
    let ahead = working_time.stops.iter().filter(|s| s.ends_at > day());
    assert_eq!(ahead.count(), seed.calendars.stop.len());

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

/// Whoever was given a day was given it on a quote; what others asked for meanwhile waits for them or was lost.
#[tokio::test]
async fn live_jobs_come_from_the_calls_of_the_last_weeks() {
    let database = TestDatabase::new().await;
    let demo = demo::run(&database.pool, day()).await.unwrap();
    let mut tx = begin(&database, &demo).await;
    let open = jobs::list(&mut tx, &[jobs::JobState::Open], None, 200)
        .await
        .unwrap();
    let (given, by_hand): (Vec<_>, Vec<_>) =
        open.into_iter().partition(|job| job.promised_on.is_some());
    assert!(given.len() > 35 && by_hand.len() > 5);
    for job in &by_hand {
        assert_eq!(job.quote_id, None, "job {}", job.number);
    }
    for job in &given {
        let quote = quotes::get(&mut tx, job.quote_id.unwrap()).await.unwrap();
        assert_eq!(quote.promised_on, job.promised_on, "job {}", job.number);
        assert_eq!(quote.state, QuoteState::Won, "job {}", job.number);
        assert!(quote.net.amount() > Decimal::from(50), "job {}", job.number);
        let made = related_patterns::wanted_of_job(&mut tx, job.id)
            .await
            .unwrap();
        assert!(made.is_some(), "nothing to draw for job {}", job.number);
    }
    // What was begun is in the shop and can be measured.
    let all: Vec<Uuid> = given.iter().chain(&by_hand).map(|job| job.id).collect();
    let castings = castings_on_shelf::of_jobs(&mut tx, &all).await.unwrap();
    let mut begun = 0;
    for job in given.iter().chain(&by_hand) {
        let operations = jobs::operations(&mut tx, job.id).await.unwrap();
        if operations
            .iter()
            .any(|o| o.state != jobs::OperationState::Queued)
        {
            begun += 1;
            let has = castings.iter().any(|casting| casting.job_id == job.id);
            assert!(has, "job {} was begun on nothing", job.number);
        }
    }
    assert!(begun > 15, "{begun} jobs were begun");
    let (waiting, ahead): (i64, i64) = sqlx::query_as(
        "select count(*) filter (where state = 'sent'), count(*) filter (where decided_at > $1 or created_at > $1)
         from quote where shop_id = $2",
    )
    .bind(day())
    .bind(tx.shop_id())
    .fetch_one(tx.conn())
    .await
    .unwrap();
    assert!((2..=20).contains(&waiting), "{waiting} quotes are open");
    assert_eq!(ahead, 0, "nothing was decided or given after today");
}

/// The year before: jobs that are done, with people who were never in two places at once nor at work outside their hours,
/// and times that are those of the simulation.
#[tokio::test]
async fn the_past_year_was_worked_by_people_in_their_hours_and_took_what_the_simulation_says() {
    let database = TestDatabase::new().await;
    let began = std::time::Instant::now();
    let demo = demo::run(&database.pool, day()).await.unwrap();
    println!(
        "the demo was made in {:.1} s",
        began.elapsed().as_secs_f64()
    );
    let mut tx = begin(&database, &demo).await;
    let done = jobs::list(&mut tx, &[jobs::JobState::Done], None, 1_000)
        .await
        .unwrap();
    assert!((150..=250).contains(&done.len()), "{} jobs", done.len());
    // Past papers have the lower numbers.
    let open = jobs::list(&mut tx, &[jobs::JobState::Open], None, 200)
        .await
        .unwrap();
    let newest = done.iter().map(|job| job.number).max().unwrap();
    assert!(open.iter().all(|job| job.number > newest));

    let from = day().checked_sub_days(Days::new(400)).unwrap();
    let entries = rows::entries(&mut tx, from, day()).await.unwrap();
    let clocks = shopfloor::clocks(&entries);
    let working_time = calendars::read(&mut tx).await.unwrap();
    type Stretches = Vec<(DateTime<Utc>, DateTime<Utc>)>;
    let mut by_person: BTreeMap<Uuid, Stretches> = BTreeMap::new();
    for clock in clocks.iter().filter(|clock| clock.phase.is_attended()) {
        let until = clock.until.unwrap_or(day());
        by_person
            .entry(clock.person)
            .or_default()
            .push((clock.from, until));
    }
    assert_eq!(by_person.len(), 3);
    let past_ended = day().checked_sub_days(Days::new(16)).unwrap();
    for (person, mut stretches) in by_person {
        stretches.sort_unstable();
        assert!(
            stretches.windows(2).all(|pair| pair[0].1 <= pair[1].0),
            "{person} was in two places at once"
        );
        let calendar = working_time.calendar(calendars::Owner::Person(person), from, day());
        for (from, until) in stretches.iter().filter(|(_, until)| *until < past_ended) {
            let worked = (*until - *from).num_minutes();
            assert_eq!(
                calendar.working_between(*from, *until),
                worked,
                "{person} at {from}"
            );
        }
    }

    // A deck is faced in an operation of its own: setups and runs are those of the truth, but for the shop, the person, the
    // job and chance.
    let operations: Vec<Uuid> = entries.iter().map(|entry| entry.operation).collect();
    let facts = rows::facts(&mut tx, &operations).await.unwrap();
    let hours = shopfloor::hours(&clocks, &shopfloor::Standards::new());
    let ratio = |code: &str| {
        let of = facts.iter().filter(|f| {
            f.state == jobs::OperationState::Done
                && f.planned.steps.len() == 1
                && f.planned.steps[0].code == code
        });
        let ratios: Vec<f64> = of
            .filter_map(|f| {
                hours
                    .get(&f.id)
                    .map(|h| (h.attended + h.alone) as f64 / plain(f.planned.run.0))
            })
            .collect();
        assert!(ratios.len() > 20, "{code}: {}", ratios.len());
        let mut sorted = ratios;
        sorted.sort_by(f64::total_cmp);
        sorted[sorted.len() / 2]
    };
    // Wyn grinds and hones, at 1.07.
    for (code, truth) in [
        ("DECK-FACE", 1.22 * 1.07),
        ("HONE-CYLINDER", 1.16 * 1.07),
        ("MAINS-LINE-BORE", 0.84 * 0.94),
    ] {
        let found = ratio(code);
        assert!(
            (found / truth).ln().abs() < 0.10,
            "{code}: {found}, not {truth}"
        );
    }
}
