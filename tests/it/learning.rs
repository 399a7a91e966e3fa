//! What bookings teach, from the booking to the owner's decision.

use crate::support::site::{TestSite, between};
use borewright::db::bookings::{self, NewBooking};
use borewright::db::calendars::{self, Owner, ShiftRow, Stop};
use borewright::db::jobs::{self, NewJob, OperationState};
use borewright::db::people::Role;
use borewright::db::{history, machines, settings, standards};
use borewright::estimating::element::OUTSIDE;
use borewright::estimating::{
    Element, Machine, MachineRate, OrderOfWork, Route, cutting_data, starting,
};
use borewright::planning::{Shift, local_instant};
use borewright::shopfloor::Kind;
use borewright::units::{Currency, Minutes, Money, plain};
use chrono::{DateTime, Days, NaiveTime, TimeDelta, Utc, Weekday};
use rust_decimal::{Decimal, dec};
use uuid::Uuid;

/// A flat element that takes a third longer than its standard in every job, and one that is right; each with setups as they
/// should be. Booked day after day by one person, with a little chance in it.
async fn booked(site: &TestSite, person: Uuid) -> [Element; 2] {
    let mut tx = site.shop.begin().await;
    let pounds = settings::get(&mut tx).await.unwrap().currency;
    let elements = starting::elements(pounds, Uuid::now_v7).unwrap();
    for element in &elements {
        standards::insert(&mut tx, element).await.unwrap();
    }
    let mut flat = elements.iter().filter(|e| {
        e.recipe.is_none()
            && e.machine_kind != OUTSIDE
            && e.setup >= Minutes(dec!(5))
            && e.owner_figure >= Minutes(dec!(20))
    });
    let short = flat.next().unwrap().clone();
    let right = flat
        .find(|e| (&e.machine_kind, e.stage) != (&short.machine_kind, short.stage))
        .unwrap()
        .clone();
    let start = Utc::now() - Days::new(200);
    for n in 0..40_u32 {
        let count = 1 + n % 3;
        let route = Route::for_part(
            "crank",
            &[(short.code.clone(), count), (right.code.clone(), 1 + n % 2)],
            &elements,
            (
                &cutting_data::starting_points().remove(0),
                &OrderOfWork::default(),
            ),
        )
        .unwrap();
        let job = NewJob {
            quote_id: None,
            title: format!("Crank {n}"),
            due_on: Utc::now().date_naive(),
            promised_on: None,
        };
        let (job, _) = jobs::create(&mut tx, &job, &route).await.unwrap();
        let mut at = start + Days::new(u64::from(n) * 4);
        for operation in jobs::operations(&mut tx, job).await.unwrap() {
            let is_short = operation.planned.steps[0].code == short.code;
            // Between 12 % under and 12 % over, by a rule that favours neither.
            let luck = 0.88 + 0.03 * f64::from((n * 7 + u32::from(is_short) * 4) % 9);
            let mean = operation.planned.steps[0].spread.mean();
            let run = plain(operation.planned.run.0)
                * mean
                * luck
                * if is_short { 4.0 / 3.0 } else { 1.0 };
            let setup = plain(operation.planned.setup.0) * mean * luck;
            for (kind, minutes) in [(Kind::Setup, setup), (Kind::Run, run), (Kind::Done, 1.0)] {
                book(&mut tx, operation.id, person, kind, at).await;
                at += TimeDelta::minutes(minutes.round() as i64);
            }
            jobs::set_operation_state(
                &mut tx,
                operation.id,
                operation.version,
                OperationState::Done,
            )
            .await
            .unwrap();
        }
    }
    tx.commit().await.unwrap();
    [short, right]
}

async fn book(
    tx: &mut borewright::db::ShopTx,
    operation_id: Uuid,
    person: Uuid,
    kind: Kind,
    at: DateTime<Utc>,
) {
    let booking = NewBooking {
        id: Uuid::now_v7(),
        kind,
        operation_id,
        machine_id: None,
        person_id: person,
        entered_by: person,
        device_id: None,
        at,
        device_at: at,
        received_at: at,
        corrects: None,
        reason: None,
    };
    bookings::insert(tx, &booking, None).await.unwrap();
}

#[tokio::test]
async fn a_short_standard_is_proposed_and_changed_by_the_owner_alone() {
    let site = TestSite::new().await;
    let machinist = site.person("Col Reed", "col", Role::Machinist).await;
    site.person("Fenn Alder", "fenn", Role::Office).await;
    let (owner, office, floor) = (
        site.owner().await,
        site.signed_in("fenn").await,
        site.signed_in("col").await,
    );
    let empty = owner.get("/review/standards").await.text().await.unwrap();
    assert!(
        empty.contains("No operation with bookings is finished yet."),
        "{empty}"
    );

    let [short, right] = booked(&site, machinist).await;
    for path in ["/review/standards", "/review/spread", "/review/quotes"] {
        assert_eq!(floor.get(path).await.status(), 403, "{path}");
        assert_eq!(office.get(path).await.status(), 200, "{path}");
    }
    let list = owner.get("/review/standards").await.text().await.unwrap();
    let change = between(&list, "id=\"change\"", "</table>");
    assert!(
        change.contains(&short.name) && !change.contains(&right.name),
        "{list}"
    );

    let path = format!("/review/standards/{}/run", short.id);
    assert_eq!(floor.get(&path).await.status(), 403);
    let read = office.get(&path).await.text().await.unwrap();
    assert!(read.contains("The owner decides") && !read.contains("name=\"proposed\""));
    let page = owner.get(&path).await.text().await.unwrap();
    assert!(
        page.contains("took a third longer than the standard"),
        "{page}"
    );
    assert!(page.contains("In 40 finished operations") && page.contains("<svg"));
    let version = between(&page, "name=\"version\" value=\"", "\"").to_owned();
    let proposed = between(&page, "name=\"proposed\" value=\"", "\"").to_owned();
    let expected = short.owner_figure.0 * dec!(4) / dec!(3);
    let off: Decimal = proposed.parse::<Decimal>().unwrap() / expected;
    assert!(
        (dec!(0.96)..=dec!(1.04)).contains(&off),
        "{proposed} for {expected}"
    );

    // No reason, an impossible figure, an old page: nothing is changed, and what was typed is kept.
    let send = async |fields: &[(&str, &str)]| {
        let answer = owner.post(&path, fields).await;
        (answer.status().as_u16(), answer.text().await.unwrap())
    };
    let form = [("version", version.as_str()), ("proposed", &proposed)];
    let (status, text) = send(&[&form[..], &[("decision", "refused")]].concat()).await;
    assert!(status == 422 && text.contains("Error: "), "{status} {text}");
    let (status, text) =
        send(&[&form[..], &[("decision", "changed"), ("figure", "soon")]].concat()).await;
    assert!(
        status == 422 && text.contains("value=\"soon\""),
        "{status} {text}"
    );
    let old = [
        ("version", version.as_str()),
        ("proposed", "1"),
        ("decision", "accepted"),
    ];
    assert_eq!(send(&old).await.0, 409);
    assert_eq!(
        office
            .post(&path, &[("decision", "accepted")])
            .await
            .status(),
        403
    );
    let element = async || {
        let mut tx = site.shop.begin().await;
        standards::get(&mut tx, short.id).await.unwrap()
    };
    assert_eq!(
        (element().await.revised, element().await.version),
        (None, 1)
    );

    let (status, text) = send(
        &[
            &form[..],
            &[("decision", "accepted"), ("reason", "Forty cranks")],
        ]
        .concat(),
    )
    .await;
    assert_eq!(status, 303, "{text}");
    let changed = element().await;
    assert_eq!(
        changed.revised.unwrap().0,
        proposed.parse::<Decimal>().unwrap()
    );
    assert_eq!(
        (changed.owner_figure, changed.version),
        (short.owner_figure, 2)
    );
    let mut tx = site.shop.begin().await;
    let past = history::of_row(&mut tx, "element", short.id).await.unwrap();
    assert_eq!(past[0].person.as_deref(), Some("Edda Marsh"));
    drop(tx);

    // Against the new standard the same bookings propose nothing, and the decision can be read.
    let list = owner.get("/review/standards").await.text().await.unwrap();
    assert!(
        list.contains("Forty cranks") && !list.contains("id=\"change\""),
        "{list}"
    );
    assert_eq!(
        send(&[&form[..], &[("decision", "accepted")]].concat())
            .await
            .0,
        422
    );
}

/// A mill that is open eight hours a day on every day, with stops of two hours that began at nine, so many days ago. All are
/// entered now: those to come were planned.
async fn stopped(site: &TestSite, days_ago: impl IntoIterator<Item = i64>) {
    let gbp = Currency::from_code("GBP").unwrap();
    let mut tx = site.shop.begin().await;
    let mill = Machine {
        id: Uuid::now_v7(),
        kind: "mill".to_owned(),
        name: "Big mill".to_owned(),
        active: true,
        worksheet: MachineRate::blank(gbp),
        agreed_rate: Some(Money::new(40.into(), gbp)),
        version: 1,
    };
    machines::insert(&mut tx, &mill).await.unwrap();
    let clock = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap();
    for day in 0..7_u8 {
        let row = ShiftRow {
            id: Uuid::now_v7(),
            owner: Owner::Shop,
            shift: Shift {
                weekday: Weekday::try_from(day).unwrap(),
                start: clock(8),
                end: clock(16),
            },
            version: 1,
        };
        calendars::insert_shift(&mut tx, &row).await.unwrap();
    }
    let zone = settings::get(&mut tx).await.unwrap().time_zone;
    let today = Utc::now().with_timezone(&zone).date_naive();
    for ago in days_ago {
        let day = today - TimeDelta::days(ago);
        let at = |hour| local_instant(zone, day.and_time(clock(hour)));
        let stop = Stop {
            id: Uuid::now_v7(),
            owner: Owner::Machine(mill.id),
            starts_at: at(9),
            ends_at: at(11),
            why: "spindle".to_owned(),
            version: 1,
        };
        calendars::insert_stop(&mut tx, &stop).await.unwrap();
    }
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn breakdowns_are_counted_by_the_hours_that_machines_were_open() {
    let site = TestSite::new().await;
    let machinist = site.person("Col Reed", "col", Role::Machinist).await;
    booked(&site, machinist).await;
    stopped(&site, [190, 160, 120, 80, 40, 20, -5, -9]).await;
    let owner = site.owner().await;
    let told = owner
        .get("/api/v1/review/spread")
        .await
        .text()
        .await
        .unwrap();
    let told: serde_json::Value = serde_json::from_str(&told).unwrap();
    let line = |name: &str| {
        let all = told["spread"].as_array().unwrap();
        all.iter().find(|l| l["figure"] == name).unwrap().clone()
    };
    // Six in 200 days of eight hours, less the twelve they stood still.
    let between: Decimal = line("breakdown")["by_bookings"]
        .as_str()
        .unwrap()
        .parse()
        .unwrap();
    assert!((dec!(250)..=dec!(280)).contains(&between), "{between}");
    assert_eq!(line("breakdown")["count"], 6);
    assert_eq!(line("repair")["by_bookings"], "2");
    let page = owner.get("/review/spread").await.text().await.unwrap();
    let version = crate::support::site::between(&page, "name=\"version\" value=\"", "\"");
    let fields = [
        ("version", version),
        ("breakdown", &between.to_string()),
        ("repair", "2"),
    ];
    assert_eq!(owner.post("/review/spread", &fields).await.status(), 303);
    let mut tx = site.shop.begin().await;
    let now = settings::get(&mut tx).await.unwrap().variation;
    assert_eq!((now.breakdown_hours, now.repair_hours), (between, dec!(2)));
}

#[tokio::test]
async fn learned_figures_are_taken_into_the_settings_as_ticked() {
    let site = TestSite::new().await;
    let machinist = site.person("Col Reed", "col", Role::Machinist).await;
    booked(&site, machinist).await;
    let owner = site.owner().await;
    let page = owner.get("/review/spread").await.text().await.unwrap();
    let version = between(&page, "name=\"version\" value=\"", "\"").to_owned();
    let job = between(&page, "name=\"job\" value=\"", "\"").to_owned();
    let nothing = owner.post("/review/spread", &[("version", &version)]).await;
    assert_eq!(nothing.status(), 422);
    let invented = owner
        .post("/review/spread", &[("version", &version), ("job", "77")])
        .await;
    assert_eq!(invented.status(), 409);
    let taken = owner
        .post("/review/spread", &[("version", &version), ("job", &job)])
        .await;
    assert_eq!(taken.status(), 303);
    let mut tx = site.shop.begin().await;
    let now = settings::get(&mut tx).await.unwrap().variation;
    assert_eq!(now.job_percent, job.parse::<Decimal>().unwrap());
    assert_eq!(
        now.person_percent,
        dec!(8),
        "one person teaches nothing of people"
    );
    drop(tx);
    let again = owner
        .post("/review/spread", &[("version", &version), ("job", &job)])
        .await;
    assert_eq!(
        again.status(),
        409,
        "the settings have another version by now"
    );
}
