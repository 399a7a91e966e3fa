//! The week by hand: what was shown before a change is what is kept; a box is moved by keys alone; a place that is refused
//! names what is in the way and offers the nearest; a day's work is printed; the panel is beside the drawing.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, between};
use borewright::app::change_plan::{Applied, Proposal, Tried, apply, preview};
use borewright::app::planner::{Ended, Settings, replan};
use borewright::app::{Actor, current_plan};
use borewright::planning::changes::{Place, PlanChange};
use borewright::planning::floor::{Floor, Progress, Slot, SlotState, Timetable};
use chrono::{DateTime, TimeDelta, Utc};
use fantoccini::key::Key;
use serde_json::json;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

/// The demo shop with a plan that is kept.
async fn planned() -> TestSite {
    let site = TestSite::demo().await;
    assert_eq!(plan_again(&site).await, Ended::Improved);
    site
}

async fn plan_again(site: &TestSite) -> Ended {
    let settings = Settings {
        improve_for: Duration::from_millis(500),
        futures: 100,
        ..Settings::default()
    };
    let ended = replan(&site.database.pool, site.shop.id, settings).await;
    ended.unwrap()
}

async fn current(site: &TestSite, now: DateTime<Utc>) -> Arc<current_plan::CurrentPlan> {
    let actor = Actor::program(site.database.pool.clone(), site.shop.id);
    Arc::new(current_plan::current_plan(&actor, now).await.unwrap())
}

/// The machine and the person of an operation, and when it starts.
type Placed = (Option<Uuid>, Option<Uuid>, DateTime<Utc>);

/// Where everything is that has not begun; what has begun goes on from whenever the plan is looked at.
fn places(timetable: &Timetable) -> BTreeMap<Uuid, Placed> {
    let slots = timetable.slots.iter();
    slots
        .filter(|s| !matches!(s.state, SlotState::Started))
        .map(|s| (s.operation, (s.machine, s.person, s.starts)))
        .collect()
}

fn late(timetable: &Timetable) -> Vec<Uuid> {
    let jobs = timetable.jobs.iter();
    let late = jobs.filter(|job| job.slack_minutes.is_some_and(|slack| slack < 0));
    late.map(|job| job.job).collect()
}

/// Operations of jobs that wait for a machine here and are not pinned, two days ahead and more.
fn movable<'a>(floor: &'a Floor, timetable: &'a Timetable) -> impl Iterator<Item = &'a Slot> {
    timetable.slots.iter().filter(|slot| {
        let waits = floor.operation(slot.operation).is_some_and(|(job, o)| {
            o.progress == Progress::Queued
                && o.pin.is_none()
                && matches!(job.order, borewright::planning::floor::Order::Job)
        });
        waits && slot.machine.is_some() && slot.starts > floor.now + TimeDelta::days(2)
    })
}

#[tokio::test]
async fn what_was_shown_is_what_is_kept() {
    let site = planned().await;
    let actor = Actor::program(site.database.pool.clone(), site.shop.id);
    let now = Utc::now();
    let before = current(&site, now).await;
    let late_before = late(&before.timetable);
    let mut applied = 0;
    let some: Vec<Uuid> = movable(&before.floor, &before.timetable)
        .step_by(23)
        .map(|slot| slot.operation)
        .take(12)
        .collect();
    for operation in some {
        let before = current(&site, now).await;
        let Some(slot) = before.timetable.slot(operation) else {
            continue;
        };
        let change = PlanChange::from(Place {
            operation,
            machine: slot.machine,
            person: None,
            starts: Some(slot.starts + TimeDelta::days(7)),
        });
        let shown = match preview(&actor, before.clone(), change.clone())
            .await
            .unwrap()
        {
            Tried::Works(shown) => shown,
            Tried::Cannot(no) => {
                // What is offered instead can be done.
                if let Some(nearest) = no.nearest {
                    let tried = preview(&actor, before, nearest).await.unwrap();
                    assert!(matches!(tried, Tried::Works(_)), "{tried:?}");
                }
                continue;
            }
        };
        let seen = before.age.seen();
        let done = apply(&actor, Proposal::Change(change), seen, now).await;
        assert!(matches!(done.unwrap(), Applied::Done(_)));
        let kept = current(&site, now).await;
        assert_eq!(places(&kept.timetable), places(&shown.what.after));
        assert_eq!(late(&kept.timetable), late(&shown.what.after));
        // The run of the planner that follows leaves it so, unless it saves a promise.
        assert_eq!(plan_again(&site).await, Ended::Improved);
        let then = current(&site, now).await;
        let (still_late, late_when_kept) = (late(&then.timetable), late(&kept.timetable));
        let without = |of: &[Uuid], others: &[Uuid]| {
            let left = of.iter().filter(|job| !others.contains(job));
            left.count()
        };
        let broken = without(&still_late, &late_when_kept);
        let saved = without(&late_when_kept, &still_late);
        assert!(
            broken <= saved,
            "{broken} promises are broken that were shown to hold, and {saved} saved"
        );
        if late(&kept.timetable).is_empty() {
            let moved = places(&kept.timetable)
                .iter()
                .filter(|(id, place)| places(&then.timetable).get(id) != Some(place))
                .count();
            assert_eq!(moved, 0);
        }
        applied += 1;
    }
    assert!(
        applied > 1,
        "{applied} changes were applied; late before: {late_before:?}"
    );
}

#[tokio::test]
async fn a_refused_place_names_what_is_in_the_way_and_offers_the_nearest() {
    let site = planned().await;
    let office = site.signed_in("office").await;
    let plan = current(&site, Utc::now()).await;
    let zone = plan.floor.zone;
    // One is pinned where it is, another of the same machine is wanted there too.
    let all: Vec<&Slot> = movable(&plan.floor, &plan.timetable).collect();
    let pair = all.iter().find_map(|first| {
        let minutes = (first.ends - first.starts).num_minutes();
        let later = |other: &&&Slot| {
            other.machine == first.machine && other.job != first.job && other.starts > first.ends
        };
        (minutes >= 60).then(|| Some((*first, *all.iter().find(later)?)))?
    });
    let (first, second) = pair.unwrap();
    let local = first.starts.with_timezone(&zone);
    let place = |slot: &Slot| {
        format!(
            "/week/preview?kind=place&operation={}&on={}&day={}&time={}",
            slot.operation,
            slot.machine.unwrap(),
            local.format("%Y-%m-%d"),
            local.format("%H:%M"),
        )
    };
    let hidden = |page: &str, name: &str| {
        let value = between(page, &format!(r#"name="{name}" value=""#), "\"");
        value.replace("&quot;", "\"").replace("&amp;", "&")
    };
    let answer = office.get(&place(first)).await;
    assert_eq!(answer.status(), 200);
    let shown = answer.text().await.unwrap();
    let fields = [
        ("change", hidden(&shown, "change")),
        ("plan_seen", hidden(&shown, "plan_seen")),
    ];
    let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (*k, v.as_str())).collect();
    assert_eq!(office.post("/week/apply", &fields).await.status(), 303);

    let answer = office.get(&place(second)).await;
    assert_eq!(answer.status(), 422);
    let page = answer.text().await.unwrap();
    let (job, _) = plan.floor.operation(first.operation).unwrap();
    assert!(page.contains("This time is taken by op "), "{page}");
    assert!(page.contains(&format!("of job {}", job.number)), "{page}");
    let href = between(&page, "<div class=\"week-nearest\">", "</div>");
    let href = between(href, "href=\"", "\"").replace("&amp;", "&");
    let answer = office.get(&href).await;
    assert_eq!(answer.status(), 200, "the nearest place can be had");
    assert!(answer.text().await.unwrap().contains("If op "));
}

#[tokio::test]
async fn the_panel_is_beside_the_drawing_and_a_day_is_printed() {
    let site = planned().await;
    let plan = current(&site, Utc::now()).await;
    let mut slots = movable(&plan.floor, &plan.timetable);
    let slot = slots.find(|slot| slot.person.is_some()).unwrap();
    let (job, _) = plan.floor.operation(slot.operation).unwrap();
    let day = slot.starts.with_timezone(&plan.floor.zone).date_naive();
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "owner").await;
        let path = format!("/week?operation={}&from={day}", slot.operation);
        browser.goto(&path).await;
        browser.picture("week-beside").await;
        browser.wait_for_text("#operation", &job.customer).await;
        browser.wait_for("#place[open]").await;
        let boxes = "const box = (css) => document.querySelector(css).getBoundingClientRect(); \
                     const [a, b] = [box('.week-sheet'), box('#operation')]; \
                     return [a.right <= b.left, a.top < b.bottom && b.top < a.bottom, a.bottom <= b.top];";
        let expected = match screen {
            Screen::Desktop => json!([true, true, false]),
            _ => json!([false, false, true]),
        };
        assert_eq!(browser.script(boxes, vec![]).await, expected, "{screen:?}");
        browser.goto(&format!("/week/day/{day}")).await;
        browser.wait_for_text("main", "By machine").await;
        browser.tap("main a[href$='by=person']").await;
        browser
            .wait_for("main a[aria-current][href$='by=person']")
            .await;
        // On a phone the end of a long list is behind a button.
        let listed = "return document.querySelector('main').textContent.includes(arguments[0])";
        let listed = browser.script(listed, vec![json!(job.customer)]).await;
        assert_eq!(listed, json!(true), "{screen:?}");
        browser.picture("week-day-list").await;
        browser.close().await;
    }
    let machinist = site.signed_in("machinist").await;
    let list = machinist.get(&format!("/week/day/{day}")).await;
    assert_eq!(list.status(), 200);
    assert_eq!(machinist.get("/week/day/tomorrow").await.status(), 404);
}

#[tokio::test]
async fn a_box_is_moved_by_keys_alone() {
    let site = planned().await;
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "owner").await;
        browser.goto("/week?days=14").await;
        browser.wait_for(".week-plot a.block[data-rows]").await;
        // The last box of the week that may be moved: those before it are reached by the arrow keys.
        browser.tab_to(".week-plot a.block").await;
        let movable = "return document.activeElement.matches('[data-rows]')";
        for _ in 0..60 {
            if browser.script(movable, vec![]).await == json!(true) {
                break;
            }
            browser.press(Key::Right).await;
        }
        assert_eq!(browser.script(movable, vec![]).await, json!(true));
        browser.type_text("m").await;
        browser
            .wait_for_text("#week-moving", "Enter: preview")
            .await;
        browser.press(Key::Escape).await;
        let moving = "return document.getElementById('week-moving') === null";
        assert_eq!(browser.script(moving, vec![]).await, json!(true));
        browser.type_text("m").await;
        let said = browser.text("#week-moving").await;
        for _ in 0..6 {
            browser
                .press_with(&[Key::Shift], char::from(Key::Right))
                .await;
        }
        assert_ne!(browser.text("#week-moving").await, said);
        browser.press(Key::Enter).await;
        browser.wait_for(".week-effect, .error").await;
        assert!(browser.path().await.starts_with("/week/preview?kind=place"));
        let refused = "return document.querySelector('.week-nearest a') !== null";
        if browser.script(refused, vec![]).await == json!(true) {
            browser.tab_to(".week-nearest a").await;
            browser.press(Key::Enter).await;
        }
        browser.wait_for_text(".week-effect", "goes on").await;
        browser.tab_to(".week-effect button[type=submit]").await;
        browser.press(Key::Enter).await;
        browser.wait_for_text(".week-taken", "goes on").await;
        browser.close().await;
    }
}
