//! The route of a job under way, changed by hand: previewed with what it does to the promises, kept as it was shown, and
//! refused where something has begun, was booked, or somebody else was quicker.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, between};
use borewright::app::change_plan::{Applied, Proposal, apply};
use borewright::app::edit_route::{Edited, RouteChange, Wanted, edit_route, preview_route};
use borewright::app::planner::{Ended, Settings, replan};
use borewright::app::{Actor, AppError, Refusal, current_plan};
use borewright::db::jobs::{self, Job, JobOperation, JobState, OperationState};
use borewright::db::{DbError, bookings, job_changes, standards};
use borewright::jobs::RouteRefusal;
use borewright::planning::changes::{HandOver, PlanChange};
use borewright::planning::floor::{Progress, SlotState, Timetable};
use borewright::shopfloor::Course;
use borewright::units::{Currency, Money};
use chrono::{DateTime, Utc};
use std::time::Duration;
use uuid::Uuid;

async fn planned() -> TestSite {
    let site = TestSite::demo().await;
    let settings = Settings {
        improve_for: Duration::ZERO,
        futures: 100,
        ..Settings::default()
    };
    let ended = replan(&site.database.pool, site.shop.id, settings).await;
    assert_eq!(ended.unwrap(), Ended::Improved);
    site
}

/// An open job with at least three operations that wait, one behind the other.
async fn waiting_job(site: &TestSite) -> (Job, Vec<JobOperation>) {
    let mut tx = site.shop.begin().await;
    let floor = borewright::db::floor::read(&mut tx, Utc::now())
        .await
        .unwrap()
        .0;
    for job in jobs::list(&mut tx, &[JobState::Open], None, 100)
        .await
        .unwrap()
    {
        let all = jobs::operations(&mut tx, job.id).await.unwrap();
        let waits = all
            .iter()
            .filter(|o| o.state == OperationState::Queued)
            .count();
        let scheduled = floor
            .job(job.id)
            .is_some_and(|job| job.hold.is_none() && job.gates.is_empty());
        if waits >= 3 && scheduled {
            let waiting = all
                .into_iter()
                .filter(|o| o.state == OperationState::Queued);
            return (job, waiting.collect());
        }
    }
    panic!("no open job of the demo has three operations that wait");
}

fn places(timetable: &Timetable) -> Vec<(Option<Uuid>, Option<Uuid>, DateTime<Utc>)> {
    let slots = timetable.slots.iter();
    let mut places: Vec<_> = slots
        .filter(|s| !matches!(s.state, SlotState::Started))
        .map(|s| (s.machine, s.person, s.starts))
        .collect();
    places.sort_unstable();
    places
}

#[tokio::test]
async fn every_change_to_a_route_is_kept_as_it_was_shown() {
    let site = planned().await;
    let actor = Actor::program(site.database.pool.clone(), site.shop.id);
    let now = Utc::now();
    let (job, waiting) = waiting_job(&site).await;
    let element = {
        let mut tx = site.shop.begin().await;
        let all = standards::list(&mut tx).await.unwrap();
        all.into_iter()
            .find(|e| e.machine_kind == waiting[0].planned.machine_kind)
    };
    let element = element.unwrap();
    let pounds = Currency::from_code("GBP").unwrap();
    let last = waiting.last().unwrap();
    let changes = [
        Wanted::Add {
            code: element.code.clone(),
            count: 2,
            behind: Some(waiting[0].planned.number),
        },
        Wanted::Swap(waiting[0].id, waiting[1].id),
        Wanted::SendOut(last.id, Money::new(85.into(), pounds), 4),
        Wanted::BringBack(last.id),
        Wanted::Skip(waiting[1].id),
    ];
    for wanted in changes {
        let version = {
            let mut tx = site.shop.begin().await;
            jobs::get(&mut tx, job.id).await.unwrap().version
        };
        let change = RouteChange {
            job_id: job.id,
            version,
            what: wanted.clone(),
        };
        let swap_apart = matches!(wanted, Wanted::Swap(..));
        let shown = match preview_route(&actor, &change, now).await {
            // What was added stands between the two now.
            Err(AppError::Refused(Refusal::Route(RouteRefusal::Between))) if swap_apart => continue,
            shown => shown.unwrap(),
        };
        let what = &shown.what;
        assert!(
            what.effect
                .sentence
                .starts_with(&format!("If in job {} ", job.number))
        );
        let seen = shown.plan.age.seen();
        let missing = edit_route(&actor, &change, (seen, " "), now).await;
        assert!(matches!(missing.unwrap(), Edited::ReasonMissing(_)));
        let done = edit_route(&actor, &change, (seen, "the customer asked"), now).await;
        assert!(matches!(done.unwrap(), Edited::Done(_)), "{wanted:?}");
        // The operations are stored as shown, and the plan that is kept is the one that was shown.
        let kept = current_plan::current_plan(&actor, now).await.unwrap();
        // An operation that is added gets its key when it is: places are compared without keys.
        assert_eq!(places(&kept.timetable), places(&what.after), "{wanted:?}");
        let mut tx = site.shop.begin().await;
        let stored = jobs::operations(&mut tx, job.id).await.unwrap();
        let stored: Vec<_> = stored
            .into_iter()
            .map(|o| (o.planned, o.state, o.added))
            .collect();
        let expected = shown
            .after
            .iter()
            .map(|o| (o.planned.clone(), o.state, o.added));
        assert_eq!(stored, expected.collect::<Vec<_>>());
        let steps = job_changes::steps(&mut tx, job.id).await.unwrap();
        assert!(
            steps[0].reason.ends_with(": the customer asked"),
            "{:?}",
            steps[0]
        );
        drop(tx);
        // Seen before it was changed, it is not changed again.
        let stale = edit_route(&actor, &change, (seen, "again"), now).await;
        assert!(
            matches!(stale, Err(AppError::Db(DbError::Stale(_)))),
            "{stale:?}"
        );
    }
}

#[tokio::test]
async fn a_route_is_changed_on_the_screen() {
    let site = planned().await;
    let (job, waiting) = waiting_job(&site).await;
    let office = site.signed_in("office").await;
    let page = async |path: String| {
        let answer = office.get(&path).await;
        (answer.status().as_u16(), answer.text().await.unwrap())
    };
    let path = format!("/jobs/{}/route", job.id);
    let (status, route) = page(path.clone()).await;
    assert_eq!(status, 200);
    let version = between(&route, "name=\"version\" value=\"", "\"").to_owned();
    let skip = waiting[1].id;
    let (status, shown) = page(format!(
        "{path}/preview?what=skip&operation={skip}&version={version}"
    ))
    .await;
    assert_eq!(status, 200);
    assert!(
        shown.contains("is skipped") && shown.contains("Ready after"),
        "{shown}"
    );
    let seen = between(&shown, "name=\"plan_seen\" value=\"", "\"").to_owned();
    let id = skip.to_string();
    let with = |reason: &'static str| {
        [
            ("what", "skip".to_owned()),
            ("operation", id.clone()),
            ("version", version.clone()),
            ("plan_seen", seen.clone()),
            ("reason", reason.to_owned()),
        ]
    };
    let post = async |fields: [(&str, String); 5]| {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (*k, v.as_str())).collect();
        let answer = office.post(&path, &fields).await;
        (answer.status().as_u16(), answer.text().await.unwrap())
    };
    let (status, refused) = post(with("")).await;
    assert_eq!(status, 422);
    assert!(refused.contains("id=\"reason-error\""), "{refused}");
    assert_eq!(post(with("it was done elsewhere")).await.0, 303);
    let (_, after) = page(format!("/jobs/{}", job.id)).await;
    assert!(after.contains("is skipped: it was done elsewhere"));
    assert_eq!(post(with("it was done elsewhere")).await.0, 409);
    // What does not read is said beside its field.
    let out = waiting[2].id;
    let wrong = format!("{path}/preview?what=send_out&operation={out}&price=x&days=0&version=1");
    let (status, wrong) = page(wrong).await;
    assert_eq!(status, 422);
    for field in ["price", "days"] {
        assert!(
            wrong.contains(&format!("id=\"send_out-{out}-{field}-error\"")),
            "{field}"
        );
    }
    let machinist = site.signed_in("machinist").await;
    assert_eq!(machinist.get(&path).await.status(), 403);

    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "office").await;
        browser.goto(&format!("/jobs/{}", job.id)).await;
        browser.tap(&format!("a[href='{path}']")).await;
        browser.wait_for_text("h1", "Route of job").await;
        browser.tap(&format!("#op-{out} summary")).await;
        browser.picture("job-route").await;
        browser
            .tap(&format!("#op-{out} form:has([value=skip]) button"))
            .await;
        browser.wait_for_text(".week-effect", "is skipped").await;
        browser.picture("job-route-preview").await;
        browser.close().await;
    }
}

#[tokio::test]
async fn begun_work_is_handed_over_until_somebody_books_it() {
    let site = planned().await;
    let actor = Actor::program(site.database.pool.clone(), site.shop.id);
    let now = Utc::now();
    let plan = current_plan::current_plan(&actor, now).await.unwrap();
    let floor = &plan.floor;
    let begun = floor
        .jobs
        .iter()
        .flat_map(|job| &job.operations)
        .find_map(|o| {
            let Progress::Started {
                person: Some(at_it),
                ..
            } = o.progress
            else {
                return None;
            };
            let other = floor
                .people
                .iter()
                .find(|p| p.id != at_it && p.can(&o.skill))?;
            Some((o.id, at_it, other.id))
        });
    let (operation, at_it, other) =
        begun.expect("somebody is at work in the demo, and another could be");
    let who = async || {
        let mut tx = site.shop.begin().await;
        let floor = borewright::db::floor::read(&mut tx, now).await.unwrap().0;
        match floor.operation(operation).unwrap().1.progress {
            Progress::Started { person, .. } => person,
            _ => None,
        }
    };
    assert_eq!(who().await, Some(at_it));
    let change = PlanChange::from(HandOver {
        operation,
        person: Some(other),
    });
    let seen = plan.age.seen();
    let done = apply(&actor, Proposal::Change(change), seen, now)
        .await
        .unwrap();
    assert!(matches!(done, Applied::Done(_)), "{done:?}");
    assert_eq!(who().await, Some(other));
    // Booked by whoever it was taken from it stays handed over; once the other has booked it, the bookings hold again.
    for (books, then) in [(at_it, other), (other, other), (at_it, at_it)] {
        let mut tx = site.shop.begin().await;
        let course = Course {
            state: OperationState::Started,
            started_at: Some(now),
            machine: None,
            person: Some(books),
        };
        bookings::set_course(&mut tx, operation, &course)
            .await
            .unwrap();
        tx.commit().await.unwrap();
        assert_eq!(who().await, Some(then));
    }
}

#[tokio::test]
async fn begun_work_says_why_it_is_not_skipped_and_how_the_rest_is_left_out() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let (job, operation): (uuid::Uuid, uuid::Uuid) = sqlx::query_as(
        "select j.id, o.id from job j join job_operation o on o.shop_id = j.shop_id and o.job_id = j.id
         where j.shop_id = $1 and j.state = 'open' and o.state = 'started' order by j.number limit 1",
    )
    .bind(site.shop.id)
    .fetch_one(site.shop.begin().await.conn())
    .await
    .unwrap();
    let page = office.get(&format!("/jobs/{job}/route")).await;
    let page = page.text().await.unwrap();
    assert!(page.contains("it cannot be skipped"), "{page}");
    let link = format!("/jobs/{job}/entries/new?operation={operation}&kind=done");
    assert!(page.contains(&link.replace('&', "&amp;")), "{page}");
    let form = office.get(&link).await.text().await.unwrap();
    assert!(
        form.contains(&format!("value=\"{operation}\" selected")),
        "{form}"
    );
    assert!(form.contains("value=\"done\" selected"), "{form}");
}
