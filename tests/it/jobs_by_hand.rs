//! Jobs entered, changed, ended and opened again by hand: what is kept, what is freed, what is questioned, who may.

use crate::bench_store::booking;
use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, header};
use crate::support::{TestShop, operation};
use borewright::app::book_time;
use borewright::db::castings_on_shelf::{self as shelf, CastingDetails, Ownership, ShelfState};
use borewright::db::jobs::{self, JobState, NewJob, OperationState};
use borewright::db::needs::{self, Arrival, Behind, NeedDetails, NeedKind};
use borewright::db::people::Role;
use borewright::db::{bookings, decisions, floor, history, job_changes};
use borewright::estimating::Route;
use borewright::jobs::StepKind;
use borewright::shopfloor::Kind;
use borewright::units::{Currency, Money};
use chrono::{Datelike, Days, NaiveDate, Utc, Weekday};
use rust_decimal::Decimal;
use uuid::Uuid;

async fn text(response: reqwest::Response) -> (u16, String) {
    (response.status().as_u16(), response.text().await.unwrap())
}

fn key(path: &str) -> Uuid {
    path.split('/').nth(2).unwrap().parse().unwrap()
}

/// The first day of the week asked for that lies ahead by some weeks.
fn ahead(weekday: Weekday) -> NaiveDate {
    let from = Utc::now().date_naive() + Days::new(21);
    from.iter_days().find(|d| d.weekday() == weekday).unwrap()
}

async fn floor_version(shop: &TestShop) -> i64 {
    let mut tx = shop.begin().await;
    floor::version(&mut tx).await.unwrap()
}

async fn state(shop: &TestShop, job: Uuid) -> (JobState, i32) {
    let mut tx = shop.begin().await;
    let job = jobs::get(&mut tx, job).await.unwrap();
    (job.state, job.version)
}

async fn steps(shop: &TestShop, job: Uuid) -> Vec<(StepKind, String)> {
    let mut tx = shop.begin().await;
    let steps = job_changes::steps(&mut tx, job).await.unwrap();
    steps.into_iter().map(|s| (s.kind, s.reason)).collect()
}

#[tokio::test]
async fn a_job_is_entered_without_a_quote_and_a_closed_day_is_questioned() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let before = floor_version(&site.shop).await;
    let sunday = ahead(Weekday::Sun).to_string();
    let typed = [
        ("customer", "Asa Pemberly"),
        ("part", "Crankshaft"),
        ("work", "CRANK-GRIND"),
        ("count", "1"),
        ("mains", "5"),
        ("due_on", &sunday),
        ("value", "310.50"),
    ];
    let (status, page) = text(office.post("/jobs/new", &typed).await).await;
    assert_eq!(status, 422);
    assert!(page.contains("is a day on which nobody works"), "{page}");
    assert!(
        page.contains(r#"name="due_confirmed""#),
        "no tick to confirm it"
    );
    assert!(page.contains(r#"value="310.50""#) && page.contains("due_on-error"));

    let mut confirmed = typed.to_vec();
    confirmed.push(("due_confirmed", "yes"));
    let opened = office.post("/jobs/new", &confirmed).await;
    assert_eq!(opened.status(), 303, "{}", opened.text().await.unwrap());
    let address = header(opened.headers(), "location").to_owned();
    let id = key(&address);
    let mut tx = site.shop.begin().await;
    let job = jobs::get(&mut tx, id).await.unwrap();
    assert_eq!(job.title, "Crankshaft: Grind crankshaft journal × 5");
    assert_eq!((job.quote_id, job.state), (None, JobState::Open));
    let value = job_changes::value(&mut tx, id).await.unwrap();
    let pounds = Currency::from_code("GBP").unwrap();
    assert_eq!(value, Some(Money::parse("310.50", pounds).unwrap()));
    let operations = jobs::operations(&mut tx, id).await.unwrap();
    assert_eq!(operations[0].planned.steps[0].count, 5);
    drop(tx);
    assert!(floor_version(&site.shop).await > before, "the plan is told");
    let steps = steps(&site.shop, id).await;
    assert_eq!(steps, [(StepKind::Entered, String::new())]);
    let (_, page) = text(office.get(&address).await).await;
    assert!(page.contains("£310.50 before tax") && page.contains("entered without a quote"));

    // The same work again, by the number of the job.
    let monday = ahead(Weekday::Mon).to_string();
    let number = job.number.to_string();
    let same = [
        ("same_as", number.as_str()),
        ("due_on", &monday),
        ("title", "Once more"),
    ];
    let opened = office.post("/jobs/new", &same).await;
    assert_eq!(opened.status(), 303, "{}", opened.text().await.unwrap());
    let copy = key(header(opened.headers(), "location"));
    let mut tx = site.shop.begin().await;
    let copied = jobs::operations(&mut tx, copy).await.unwrap();
    assert_eq!(copied[0].planned, operations[0].planned);
    assert_eq!(copied[0].state, OperationState::Queued);
}

#[tokio::test]
async fn what_makes_no_job_is_told_beside_its_field() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let monday = ahead(Weekday::Mon).to_string();
    type Case<'a> = (&'a [(&'a str, &'a str)], &'a str, &'a str);
    let refused: [Case; 6] = [
        (&[("due_on", &monday)], "work-1-error", "Choose the work"),
        (
            &[("due_on", &monday), ("work", "CRANK-GRIND"), ("count", "1")],
            "mains-error",
            "Enter the main bearings",
        ),
        (
            &[("due_on", &monday), ("same_as", "99999")],
            "same_as-error",
            "We cannot find a job with this number",
        ),
        (
            &[
                ("due_on", &monday),
                ("same_as", "1"),
                ("work", "DECK-FACE"),
                ("count", "1"),
            ],
            "same_as-error",
            "one or the other",
        ),
        (
            &[("work", "DECK-FACE"), ("count", "1")],
            "due_on-error",
            "Enter a date",
        ),
        (
            &[
                ("due_on", "2020-01-06"),
                ("work", "DECK-FACE"),
                ("count", "1"),
            ],
            "due_on-error",
            "is in the past",
        ),
    ];
    for (typed, field, words) in refused {
        let (status, page) = text(office.post("/jobs/new", typed).await).await;
        assert_eq!(status, 422, "{typed:?}");
        assert!(page.contains(field) && page.contains(words), "{typed:?}");
    }
    // As it is typed, nothing is opened; more rows are given.
    let more = [
        ("more", "yes"),
        ("work", "DECK-FACE"),
        ("work", "DECK-FACE"),
        ("work", "DECK-FACE"),
        ("work", "DECK-FACE"),
        ("due_on", &monday),
    ];
    let (status, page) = text(office.post("/jobs/new", &more).await).await;
    assert_eq!(status, 200);
    assert!(page.contains(r#"id="work-6""#));
    let live = office
        .request("POST", "/jobs/new")
        .header("x-live", "1")
        .header("content-type", "application/x-www-form-urlencoded")
        .body(format!(
            "csrf={}&work=DECK-FACE&count=1&due_on={monday}",
            office.csrf
        ));
    assert_eq!(live.send().await.unwrap().status(), 200);
}

#[tokio::test]
async fn a_job_moves_for_a_reason_that_is_kept() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let mut tx = site.shop.begin().await;
    let open = jobs::list(&mut tx, &[JobState::Open], None, 50)
        .await
        .unwrap();
    // A customer's own block goes to nobody else.
    let job = open
        .iter()
        .find(|job| job.quote_id.is_none() && job.title.contains(" converted to "))
        .unwrap()
        .clone();
    drop(tx);
    let address = format!("/jobs/{}/edit", job.id);
    let (status, page) = text(office.get(&address).await).await;
    assert_eq!(status, 200);
    assert!(page.contains(&job.title));
    let due = ahead(Weekday::Tue).to_string();
    let version = job.version.to_string();
    let typed = |reason: &'static str| {
        [
            ("title", "Another title".to_owned()),
            ("customer", "Asa Pemberly".to_owned()),
            ("due_on", due.clone()),
            ("promised_on", due.clone()),
            ("reason", reason.to_owned()),
            ("version", version.clone()),
        ]
    };
    let send = async |fields: &[(&'static str, String)]| {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (*k, v.as_str())).collect();
        text(office.post(&address, &fields).await).await
    };
    let (status, page) = send(&typed(" ")).await;
    assert_eq!(status, 422);
    assert!(page.contains("reason-error") && page.contains("Another title"));
    let before = floor_version(&site.shop).await;
    let (status, page) = send(&typed("Boat away until then")).await;
    assert_eq!(status, 303, "{page}");
    let mut tx = site.shop.begin().await;
    let now = jobs::get(&mut tx, job.id).await.unwrap();
    assert_eq!(
        (now.title.as_str(), now.due_on),
        ("Another title", ahead(Weekday::Tue))
    );
    assert_eq!(now.promised_on, Some(ahead(Weekday::Tue)));
    let changes = history::of_row(&mut tx, "job", job.id).await.unwrap();
    assert!(changes[0].fields.iter().any(|f| f.field == "due_on"));
    drop(tx);
    assert!(floor_version(&site.shop).await > before, "the plan is told");
    let kept = (StepKind::Rescheduled, "Boat away until then".to_owned());
    assert_eq!(steps(&site.shop, job.id).await, [kept]);
    // A page from before the change does not overwrite it.
    let (status, page) = send(&typed("Boat away until then")).await;
    assert_eq!(status, 409);
    assert!(page.contains("Someone else changed this"));
}

/// A job of two operations that has a casting on the shelf set aside, and the casting.
async fn with_casting(shop: &TestShop, variant: Uuid) -> (Uuid, [Uuid; 2], Uuid) {
    let mut tx = shop.begin().await;
    let details = CastingDetails {
        variant_id: variant,
        ownership: Ownership::Shop,
        cost: Money::new(Decimal::from(100), Currency::from_code("GBP").unwrap()),
        condition: "Sound, dirty".to_owned(),
    };
    let (casting, _) = shelf::create(&mut tx, &details).await.unwrap();
    let route = Route {
        operations: vec![operation(10, "mill", 30, 60), operation(20, "mill", 30, 60)],
    };
    let new = NewJob {
        quote_id: None,
        title: "A block".to_owned(),
        due_on: ahead(Weekday::Mon),
        promised_on: None,
    };
    let (id, _) = jobs::create(&mut tx, &new, &route).await.unwrap();
    shelf::reserve(&mut tx, casting, id).await.unwrap();
    let need = NeedDetails {
        operation_id: None,
        kind: NeedKind::Donor,
        what: "Casting from the shelf".to_owned(),
        quantity: Decimal::ONE,
        unit: "each".to_owned(),
        behind: Behind::Casting(casting),
        arrival: Arrival::Wanted,
        expected_on: None,
    };
    needs::insert(&mut tx, id, &need).await.unwrap();
    let operations = jobs::operations(&mut tx, id).await.unwrap();
    tx.commit().await.unwrap();
    (id, [operations[0].id, operations[1].id], casting)
}

async fn casting_state(shop: &TestShop, casting: Uuid) -> (ShelfState, Option<Uuid>) {
    let mut tx = shop.begin().await;
    let casting = shelf::get(&mut tx, casting).await.unwrap();
    (casting.state, casting.job_id)
}

async fn end(visitor: &Visitor, job: Uuid, how: &str, version: i32, reason: &str) -> (u16, String) {
    let version = version.to_string();
    let fields = [("version", version.as_str()), ("reason", reason)];
    text(visitor.post(&format!("/jobs/{job}/{how}"), &fields).await).await
}

#[tokio::test]
async fn a_cancelled_job_frees_what_it_had_and_keeps_its_hours() {
    let site = TestSite::new().await;
    let office = site.owner().await;
    let col = site.person("Col Brannick", "col", Role::Machinist).await;
    let variant = site.shop.variant("Tarn 4/90 farm").await;
    let (job, [first, _], casting) = with_casting(&site.shop, variant).await;
    let mut tx = site.shop.begin().await;
    decisions::put_first(&mut tx, job).await.unwrap();
    decisions::hold(&mut tx, job, "waits").await.unwrap();
    let setup = booking(Kind::Setup, first, col, "26T08:00");
    book_time::book_within(&mut tx, &setup).await.unwrap();
    tx.commit().await.unwrap();

    // Not under somebody's hands, and not without a reason.
    let (open, version) = state(&site.shop, job).await;
    assert_eq!(open, JobState::Open);
    let (status, page) = end(&office, job, "cancel", version, "Sold the boat").await;
    assert_eq!(status, 422);
    assert!(page.contains("A clock is running on it"), "{page}");
    let (status, page) = text(office.get(&format!("/jobs/{job}/cancel")).await).await;
    assert_eq!(status, 200);
    assert!(page.contains("A clock is running on it") && !page.contains("name=\"reason\""));
    let mut tx = site.shop.begin().await;
    let pause = booking(Kind::Pause, first, col, "26T09:00");
    book_time::book_within(&mut tx, &pause).await.unwrap();
    tx.commit().await.unwrap();
    let (status, page) = text(office.get(&format!("/jobs/{job}/cancel")).await).await;
    assert_eq!(status, 200);
    assert!(page.contains("goes back on the shelf"));
    let (status, page) = end(&office, job, "cancel", version, " ").await;
    assert_eq!(status, 422);
    assert!(page.contains("reason-error"));

    let before = floor_version(&site.shop).await;
    let (status, page) = end(&office, job, "cancel", version, "Sold the boat").await;
    assert_eq!(status, 303, "{page}");
    assert_eq!(state(&site.shop, job).await.0, JobState::Cancelled);
    assert_eq!(
        casting_state(&site.shop, casting).await,
        (ShelfState::OnShelf, None)
    );
    assert!(floor_version(&site.shop).await > before, "the plan is told");
    let mut tx = site.shop.begin().await;
    assert_eq!(bookings::of_job(&mut tx, job).await.unwrap().len(), 2);
    let (floor, _) = floor::read(&mut tx, Utc::now()).await.unwrap();
    assert!(floor.jobs.iter().all(|j| j.id != job));
    drop(tx);
    let cancelled = (StepKind::Cancelled, "Sold the boat".to_owned());
    assert_eq!(
        steps(&site.shop, job).await,
        std::slice::from_ref(&cancelled)
    );
    let (status, _) = end(&office, job, "cancel", version + 1, "again").await;
    assert_eq!(status, 422);

    // Opened again, it has its casting again and what is left to do, and nothing that was decided about its place.
    let version = state(&site.shop, job).await.1;
    let (status, page) = end(&office, job, "reopen", version, "Bought it back").await;
    assert_eq!(status, 303, "{page}");
    assert_eq!(
        casting_state(&site.shop, casting).await,
        (ShelfState::Reserved, Some(job))
    );
    let mut tx = site.shop.begin().await;
    let (floor, _) = floor::read(&mut tx, Utc::now()).await.unwrap();
    let again = floor.jobs.iter().find(|j| j.id == job).unwrap();
    assert_eq!((again.put_first, again.hold.as_deref()), (None, None));
    assert_eq!(again.operations.len(), 2);
    drop(tx);
    let reopened = (StepKind::Reopened, "Bought it back".to_owned());
    assert_eq!(steps(&site.shop, job).await, [reopened, cancelled]);
    let version = state(&site.shop, job).await.1;
    assert_eq!(end(&office, job, "reopen", version, "again").await.0, 422);

    // Cancelled once more, its casting goes to another job; opened again, that is told.
    assert_eq!(
        end(&office, job, "cancel", version, "Sold again").await.0,
        303
    );
    let (other, ..) = with_casting(&site.shop, variant).await;
    let mut tx = site.shop.begin().await;
    shelf::reserve(&mut tx, casting, other).await.unwrap();
    tx.commit().await.unwrap();
    let version = state(&site.shop, job).await.1;
    let fields = [
        ("version", version.to_string()),
        ("reason", "Bought it back".to_owned()),
    ];
    let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let answer = office.post(&format!("/jobs/{job}/reopen"), &fields).await;
    assert_eq!(answer.status(), 303);
    let (_, page) = text(office.get(&format!("/jobs/{job}")).await).await;
    assert!(page.contains("No longer free: casting 1"), "{page}");
    assert_eq!(
        casting_state(&site.shop, casting).await,
        (ShelfState::Reserved, Some(other))
    );
}

#[tokio::test]
async fn a_job_is_closed_when_its_work_is_done_and_only_by_the_office() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    site.person("Col Brannick", "col", Role::Machinist).await;
    let variant = site.shop.variant("Tarn 4/90 farm").await;
    let (job, operations, casting) = with_casting(&site.shop, variant).await;
    let (status, page) = end(&owner, job, "close", 1, "").await;
    assert_eq!(status, 422);
    assert!(page.contains("2 of its operations are not done"), "{page}");
    let mut tx = site.shop.begin().await;
    for operation in operations {
        jobs::set_operation_state(&mut tx, operation, 1, OperationState::Done)
            .await
            .unwrap();
    }
    tx.commit().await.unwrap();
    let (_, page) = text(owner.get(&format!("/jobs/{job}")).await).await;
    assert!(page.contains("Close job"));

    // A machinist is told why not, and nothing happens.
    let machinist = site.signed_in("col").await;
    for path in ["edit", "cancel", "reopen"] {
        let (status, page) = text(machinist.get(&format!("/jobs/{job}/{path}")).await).await;
        assert_eq!(status, 403, "{path}");
        assert!(page.contains("This is for the office and the owner"));
    }
    for how in ["close", "cancel", "reopen", "edit"] {
        assert_eq!(end(&machinist, job, how, 1, "No").await.0, 403, "{how}");
    }
    assert_eq!(machinist.get("/jobs/new").await.status(), 403);
    assert_eq!(machinist.post("/jobs/new", &[]).await.status(), 403);
    let (_, page) = text(machinist.get(&format!("/jobs/{job}")).await).await;
    assert!(!page.contains("Close job") && !page.contains("Cancel job"));
    assert_eq!(state(&site.shop, job).await, (JobState::Open, 1));

    assert_eq!(
        end(&owner, job, "close", 7, "").await.0,
        409,
        "a stale page"
    );
    assert_eq!(end(&owner, job, "close", 1, "").await.0, 303);
    assert_eq!(state(&site.shop, job).await.0, JobState::Done);
    assert_eq!(
        casting_state(&site.shop, casting).await,
        (ShelfState::Used, Some(job))
    );
    assert_eq!(owner.get(&format!("/jobs/{job}/edit")).await.status(), 422);
    let version = state(&site.shop, job).await.1;
    assert_eq!(end(&owner, job, "reopen", version, "Leaks").await.0, 303);
    assert_eq!(
        casting_state(&site.shop, casting).await,
        (ShelfState::Reserved, Some(job))
    );
}

#[tokio::test]
async fn the_pages_of_a_job_by_hand_are_whole_at_every_width() {
    let site = TestSite::demo().await;
    let mut tx = site.shop.begin().await;
    let open = jobs::list(&mut tx, &[JobState::Open], None, 50)
        .await
        .unwrap();
    let mut quiet = None;
    for job in &open {
        let clocks = bookings::of_job(&mut tx, job.id).await.unwrap();
        if clocks.is_empty() {
            quiet = Some(job.id);
        }
    }
    let job = quiet.unwrap();
    drop(tx);
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "office").await;
        for (path, name) in [
            ("/jobs/new".to_owned(), "job-new"),
            (format!("/jobs/{job}/edit"), "job-edit"),
            (format!("/jobs/{job}/cancel"), "job-cancel"),
        ] {
            browser.goto(&path).await;
            browser.wait_for("h1").await;
            browser.picture(name).await;
        }
        browser.close().await;
    }
    let office = site.signed_in("office").await;
    let version = state(&site.shop, job).await.1;
    let (status, page) = end(&office, job, "cancel", version, "Sold the boat").await;
    assert_eq!(status, 303, "{page}");
    let browser = Browser::signed_in(&site, Screen::Phone, "office").await;
    browser.goto(&format!("/jobs/{job}")).await;
    browser.wait_for_text("h1", "cancelled").await;
    browser.picture("job-cancelled").await;
    browser.goto(&format!("/jobs/{job}/reopen")).await;
    browser.wait_for("h1").await;
    browser.picture("job-reopen").await;
    browser.close().await;
}
