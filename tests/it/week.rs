//! The week on a screen: what is refused over HTTP; the picture, the keys and every change by hand in a browser at three
//! widths; and one sheet of paper.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, between};
use borewright::app::current_plan;
use borewright::app::planner::{Ended, Settings, replan};
use borewright::db::{floor, plans};
use chrono::{Days, Utc};
use fantoccini::key::Key;
use serde_json::json;
use std::time::Duration;

/// Hidden field of a form.
fn hidden(page: &str, name: &str) -> String {
    let value = between(page, &format!(r#"name="{name}" value=""#), "\"");
    value.replace("&quot;", "\"").replace("&amp;", "&")
}

/// The demo shop with a plan that is kept, as it is a moment after the service began: pages need not make one each.
async fn planned() -> TestSite {
    let site = TestSite::demo().await;
    let settings = Settings {
        improve_for: Duration::ZERO,
        futures: 200,
        ..Settings::default()
    };
    let ended = replan(&site.database.pool, site.shop.id, settings).await;
    assert_eq!(ended.unwrap(), Ended::Improved);
    site
}

/// The first working day after the next two, far enough that nothing of it has begun.
fn a_day_to_come() -> String {
    let day = |n| Utc::now().date_naive() + Days::new(n);
    use chrono::{Datelike, Weekday};
    let found = (3..9)
        .map(day)
        .find(|d| d.weekday() != Weekday::Sat && d.weekday() != Weekday::Sun);
    found.unwrap().to_string()
}

#[tokio::test]
async fn what_is_typed_wrong_is_said_beside_it_and_a_change_is_taken_once() {
    let site = planned().await;
    let office = site.signed_in("office").await;
    let get = async |path: String| {
        let answer = office.get(&path).await;
        (answer.status().as_u16(), answer.text().await.unwrap())
    };
    let (_, week) = get("/week".into()).await;
    // Something that has not begun: it can be moved.
    let mut operation = String::new();
    for part in week.split("data-block=\"").skip(1) {
        let id = part.split('"').next().unwrap();
        let (_, page) = get(format!("/week?operation={id}")).await;
        if page.contains("id=\"place\"") {
            operation = id.to_owned();
            break;
        }
    }
    assert!(!operation.is_empty(), "nothing in the week can be moved");

    let (status, page) = get(format!(
        "/week/preview?kind=hold&operation={operation}&reason="
    ))
    .await;
    assert_eq!(status, 422);
    assert!(page.contains("id=\"hold-reason-error\""), "{page}");
    let wrong = format!("/week/preview?kind=place&operation={operation}&day=2026-13-01&time=25:00");
    let (status, page) = get(wrong).await;
    assert_eq!(status, 422);
    assert!(page.contains("id=\"place-day-error\"") && page.contains("id=\"place-time-error\""));
    assert!(page.contains("value=\"2026-13-01\"") && page.contains("value=\"25:00\""));
    let (status, page) = get("/week?from=soon".into()).await;
    assert_eq!((status, page.contains("value=\"soon\"")), (422, true));
    let (status, _) = get("/week/preview?change=%7B%22change%22%3A%22nothing%22%7D".into()).await;
    assert_eq!(status, 422);

    // A job is held: first what would come of it, then once and not twice.
    let hold =
        format!("/week/preview?kind=hold&operation={operation}&reason=the+deposit+is+not+here");
    let (status, tried) = get(hold).await;
    assert_eq!(status, 200);
    assert!(
        tried.contains("is put on hold (the deposit is not here)"),
        "{tried}"
    );
    let (change, version) = (hidden(&tried, "change"), hidden(&tried, "plan_seen"));
    let fields = [("change", change.as_str()), ("plan_seen", version.as_str())];
    assert_eq!(office.post("/week/apply", &fields).await.status(), 303);
    let again = office.post("/week/apply", &fields).await;
    assert_eq!(again.status(), 422, "it is held already");
    let (_, week) = get("/week".into()).await;
    assert!(week.contains("on hold: the deposit is not here"));
    assert!(week.contains("Last change: job "));

    // What somebody saw before the floor changed is not taken, but shown anew.
    let (_, first) = get(format!("/week/preview?kind=first&operation={operation}")).await;
    let stale = [
        ("change", hidden(&first, "change")),
        ("plan_seen", version.clone()),
    ];
    let stale: Vec<(&str, &str)> = stale.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let refused = office.post("/week/apply", &stale).await;
    assert_eq!(refused.status(), 409);
    let refused = refused.text().await.unwrap();
    assert!(refused.contains("The plan has changed meanwhile"));
    let anew = hidden(&refused, "plan_seen");
    assert_ne!(anew, version);

    // Nor what they saw of another plan of the same floor: what comes of it may be something else.
    let (_, first) = get(format!("/week/preview?kind=first&operation={operation}")).await;
    sqlx::query("update plan set made_at = made_at + interval '1 second'")
        .execute(&mut site.database.owner().await)
        .await
        .unwrap();
    let replanned = [
        ("change", hidden(&first, "change")),
        ("plan_seen", hidden(&first, "plan_seen")),
    ];
    let replanned: Vec<(&str, &str)> = replanned.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let refused = office.post("/week/apply", &replanned).await;
    assert_eq!(refused.status(), 409);
    let refused = refused.text().await.unwrap();
    assert!(refused.contains("The plan has changed meanwhile"));
    let anew = hidden(&refused, "plan_seen");

    // Undone, shown first like anything else; then nothing is left to undo.
    let undo = between(&week, "href=\"/week/undo/", "\"").to_owned();
    let (status, back) = get(format!("/week/undo/{undo}")).await;
    assert_eq!(status, 200);
    assert!(back.contains("is released"), "{back}");
    let fields = [("undoes", undo.as_str()), ("plan_seen", anew.as_str())];
    assert_eq!(office.post("/week/apply", &fields).await.status(), 303);
    let (_, week) = get("/week".into()).await;
    assert!(!week.contains("on hold: the deposit is not here") && !week.contains("Last change"));
    let (status, _) = get(format!("/week/undo/{undo}")).await;
    assert_eq!(status, 422);

    // At the bench it can be looked at, and not changed.
    let machinist = site.signed_in("machinist").await;
    let page = machinist.get(&format!("/week?operation={operation}")).await;
    assert_eq!(page.status(), 200);
    assert!(!page.text().await.unwrap().contains("id=\"place\""));
    assert_eq!(
        machinist
            .get(&format!("/week/preview?kind=first&operation={operation}"))
            .await
            .status(),
        403
    );

    let news = office.get("/week/freshness").await;
    let news: serde_json::Value = news.json().await.unwrap();
    assert!(news["words"].as_str().unwrap().len() > 10 && news["busy"].is_boolean());
}

#[tokio::test]
async fn a_day_to_twelve_weeks_with_keys_and_on_one_sheet() {
    let site = planned().await;
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "owner").await;
        for (path, name) in [
            ("/week?days=1", "week-day"),
            ("/week?days=14", "week-2"),
            ("/week?days=28", "week-4"),
            ("/week?days=84", "week-12"),
            ("/week/risk", "week-risk"),
            ("/week/combine", "week-together"),
            ("/week", "week"),
        ] {
            browser.goto(path).await;
            browser.picture(name).await;
        }
        if screen == Screen::Desktop {
            // Arrow keys go from box to box; Enter opens the panel, which leads to the job.
            browser.tab_to(".week-plot a.block").await;
            let focused = "return document.activeElement.dataset.block";
            let first = browser.script(focused, vec![]).await;
            browser.press(Key::Right).await;
            let second = browser.script(focused, vec![]).await;
            assert!(first.is_string() && second.is_string() && first != second);
            browser.press(Key::Down).await;
            assert_ne!(browser.script(focused, vec![]).await, second);
            // The same work on its person's row is the same link, which Tab passes over.
            let again = "const [box, again] = document.querySelectorAll(`a.block[data-block='${arguments[0]}']`);
                return again === undefined || box.getAttribute('href') === again.getAttribute('href')
                    && box.textContent.startsWith(again.querySelector('title').textContent) && again.tabIndex === -1;";
            assert_eq!(browser.script(again, vec![second]).await, true);
            let shapes = "return document.querySelectorAll('.week-plot g[data-again]').length";
            assert_eq!(browser.script(shapes, vec![]).await, 0);
            browser.press(Key::Enter).await;
            browser
                .wait_for("section#operation a[href^='/jobs/']")
                .await;
            for days in [1, 7, 14, 28, 84] {
                browser.goto(&format!("/week?days={days}")).await;
                assert_eq!(browser.sheets().await, 1, "{days} days");
            }
        }
        browser.close().await;
    }
}

#[tokio::test]
async fn every_change_by_hand_is_tried_then_taken() {
    let site = planned().await;
    for screen in [Screen::Desktop, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "owner").await;
        let name = |what: &str| format!("week-{what}");
        let click = async |css: &str| {
            let element = browser.wait_for(css).await;
            element.click().await.unwrap();
        };
        let set = async |css: &str, value: &str| {
            let script = "const e = document.querySelector(arguments[0]); e.value = arguments[1];";
            browser.script(script, vec![json!(css), json!(value)]).await;
        };
        let day = a_day_to_come();

        // A machine stands still on a morning.
        browser.goto("/week").await;
        let machine = "return document.querySelector('.week-names a').getAttribute('href')";
        let machine = browser.script(machine, vec![]).await;
        browser.goto(machine.as_str().unwrap()).await;
        click("#away summary").await;
        set("#away-day", &day).await;
        set("#away-time", "08:00").await;
        set("#away-until", "12:00").await;
        click("#away button").await;
        browser.wait_for("#away-reason-error").await;
        browser.picture(&name("refused")).await;
        set("#away-reason", "spindle service").await;
        click("#away button").await;
        browser.wait_for_text(".week-effect", "is down").await;
        browser.picture(&name("what-if")).await;
        click(".week-effect button[type=submit]").await;
        browser.wait_for_text(".week-taken", "is down").await;
        let mut tx = site.shop.begin().await;
        let inputs = current_plan::read(&mut tx, Utc::now()).await.unwrap();
        drop(tx);
        let standing = inputs.current().unwrap();
        let away = standing
            .floor
            .machines
            .iter()
            .find(|m| !m.hours.stops.is_empty())
            .unwrap();
        let (from, until) = *away.hours.stops.last().unwrap();
        for slot in standing
            .timetable
            .slots
            .iter()
            .filter(|s| s.machine == Some(away.id))
        {
            assert!(slot.starts < from || slot.starts >= until, "{slot:?}");
        }
        click(".week-taken a").await;
        browser.wait_for_text("h1", "Undo?").await;
        click(".week-effect button[type=submit]").await;
        browser.wait_for_text(".notice.good", "ndone").await;

        // An operation that has not begun, where nothing is begun or pinned: pinned where it is, put first, moved.
        let held = |slot: &borewright::planning::floor::Slot| {
            let operation = standing.floor.operation(slot.operation);
            slot.state == borewright::planning::floor::SlotState::Started
                || operation.is_some_and(|(_, o)| o.pin.is_some())
        };
        let slots = standing.timetable.slots.iter();
        let held: Vec<_> = slots.filter(|s| held(s)).map(|s| s.machine).collect();
        let waiting = standing.timetable.slots.iter().find(|slot| {
            let operation = standing.floor.operation(slot.operation);
            slot.state == borewright::planning::floor::SlotState::Planned
                && operation.is_some_and(|(_, o)| o.pin.is_none())
                && slot.machine.is_some()
                && !held.contains(&slot.machine)
                // Not one that begins while this is being clicked.
                && slot.starts > Utc::now() + chrono::TimeDelta::days(1)
        });
        let waiting = waiting.unwrap();
        // When all that comes before it is done.
        let a_week_later = (waiting.starts.date_naive() + Days::new(7)).to_string();
        let panel = format!("/week?operation={}", waiting.operation);
        browser.goto(&panel).await;
        browser.picture(&name("panel")).await;
        click("#operation form:has(input[value=pin]) button").await;
        browser.wait_for_text(".week-effect", "goes on").await;
        click(".week-effect button[type=submit]").await;
        browser.wait_for(".week-taken").await;
        browser.goto(&panel).await;
        browser.wait_for_text("#operation", "pinned").await;
        click("#operation form:has(input[value=unpin]) button").await;
        browser.wait_for_text(".week-effect", "is unpinned").await;
        click(".week-effect button[type=submit]").await;
        browser.wait_for(".week-taken").await;
        browser.goto(&panel).await;
        click("#operation form:has(input[value=first]) button").await;
        browser.wait_for_text(".week-effect", "is put first").await;
        click(".week-effect a.button").await; // dropped
        browser.goto(&panel).await;
        browser.wait_for("#place[open]").await;
        set("#place-day", &a_week_later).await;
        set("#place-time", "09:30").await;
        click("#place button").await;
        browser.wait_for_text("main", "goes on").await;
        browser.picture(&name("move")).await;

        if screen == Screen::Phone {
            // The rest is the same forms at another width.
            browser.close().await;
            continue;
        }

        // A day off, and overtime.
        let person = standing
            .floor
            .people
            .iter()
            .find(|p| p.skills.len() > 1)
            .unwrap();
        let panel = format!("/week?person={}", person.id);
        browser.goto(&panel).await;
        click("#away summary").await;
        set("#away-day", &day).await;
        set("#away-reason", "a wedding").await;
        click("#away button").await;
        browser.wait_for_text(".week-effect", "is away on").await;
        browser.goto(&panel).await;
        click("#overtime summary").await;
        set("#overtime-day", &day).await;
        set("#overtime-time", "18:00").await;
        set("#overtime-until", "20:00").await;
        click("#overtime button").await;
        browser
            .wait_for_text(".week-effect", "ith overtime for")
            .await;

        // What would help a promise, and setups that could be shared, are tried by a button.
        browser.goto("/week/risk").await;
        let tries = "return document.querySelectorAll('.helps a.button').length";
        if browser.script(tries, vec![]).await.as_i64().unwrap() > 0 {
            click(".helps a.button").await;
            browser.wait_for(".week-effect").await;
        }
        browser.goto("/week/combine").await;
        let tries = "return document.querySelectorAll('.week-together a.button').length";
        if browser.script(tries, vec![]).await.as_i64().unwrap() > 0 {
            click(".week-together a.button").await;
            browser
                .wait_for_text(".week-effect", "straight after")
                .await;
            // Taken, it is a decision that the next plan keeps, and can be undone.
            click(".week-effect button[type=submit]").await;
            browser.wait_for_text(".week-taken", "straight after").await;
            let orders = async || {
                let floor = floor::read(&mut site.shop.begin().await, Utc::now()).await;
                let jobs = floor.unwrap().0.jobs;
                let all = jobs.iter().flat_map(|job| &job.operations);
                all.flat_map(|o| o.behind.iter().map(|behind| (*behind, o.id)))
                    .collect::<Vec<_>>()
            };
            let kept = orders().await;
            assert_eq!(kept.len(), 1);
            let (first, second) = kept[0];
            let settings = Settings {
                improve_for: Duration::from_secs(1),
                futures: 10,
                ..Settings::default()
            };
            replan(&site.database.pool, site.shop.id, settings)
                .await
                .unwrap();
            let plan = plans::kept(&mut site.shop.begin().await).await.unwrap();
            let plan = plan.unwrap().timetable;
            let slot = |id| plan.slot(id).unwrap();
            assert!(slot(first).ends <= slot(second).starts);
            browser.goto(&format!("/week?operation={second}")).await;
            browser.wait_for_text("#operation", "No longer after").await;
            click(".week-taken a").await;
            browser.wait_for_text("h1", "Undo?").await;
            click(".week-effect button[type=submit]").await;
            browser.wait_for_text(".notice.good", "ndone").await;
            assert_eq!(orders().await, vec![]);
        }
        browser.goto("/week/changes").await;
        browser.wait_for_text(".week-changes", "is down").await;
        browser.wait_for_text(".week-changes", "Una Flint").await;
        browser.picture(&name("changes")).await;
        browser.close().await;
    }
}
