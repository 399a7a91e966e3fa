//! Parts made in the shop: how they are made, in the price, the route and the plan of a job, and what comes out.

use crate::support::operation;
use crate::support::site::{TestSite, Visitor, between, header};
use borewright::app::{Actor, current_plan};
use borewright::db::jobs::{self, JobOperation, NewJob};
use borewright::db::needs::{self, Availability, Behind, Cover, Need, Source};
use borewright::db::people::Role;
use borewright::db::stock::{self, ItemDetails};
use borewright::db::{ShopTx, history};
use borewright::estimating::Route;
use chrono::{Datelike, Days, NaiveDate, Utc, Weekday};
use rust_decimal::Decimal;
use uuid::Uuid;

const DOWEL: &str = "Offset dowel, 12 mm";

async fn text(response: reqwest::Response) -> (u16, String) {
    (response.status().as_u16(), response.text().await.unwrap())
}

fn d(text: &str) -> Decimal {
    text.parse().unwrap()
}

/// A Tuesday some weeks ahead.
fn tuesday() -> NaiveDate {
    let from = Utc::now().date_naive() + Days::new(28);
    let mut days = from.iter_days();
    days.find(|day| day.weekday() == Weekday::Tue).unwrap()
}

/// Opens a job that fits so many offset dowels.
async fn fit(office: &Visitor, dowels: &str) -> Uuid {
    let due = tuesday().to_string();
    let typed = [
        ("part", "Rear plate"),
        ("work", "DOWEL-OFFSET"),
        ("count", dowels),
        ("due_on", &due),
        ("due_confirmed", "yes"),
    ];
    let opened = office.post("/jobs/new", &typed).await;
    assert_eq!(opened.status(), 303, "{}", opened.text().await.unwrap());
    let address = header(opened.headers(), "location");
    address.split('/').nth(2).unwrap().parse().unwrap()
}

fn making(operations: &[JobOperation]) -> Vec<&JobOperation> {
    let making = operations.iter().filter(|o| o.planned.makes.is_some());
    making.collect()
}

/// The need of a job for an item, and how it is covered.
async fn need_for(tx: &mut ShopTx, job: Uuid, name: &str) -> (Need, Cover) {
    let all = needs::of_job(tx, job).await.unwrap();
    let need = all.into_iter().find(|n| n.details.what == name).unwrap();
    let Source::Stock { cover, .. } = need.source.clone() else {
        panic!("{name} is in stock");
    };
    (need, cover)
}

async fn item(tx: &mut ShopTx, name: &str) -> stock::Item {
    let all = stock::items(tx, false).await.unwrap();
    all.into_iter().find(|i| i.details.name == name).unwrap()
}

#[tokio::test]
async fn a_part_that_the_shelf_lacks_is_in_the_price_the_route_and_the_plan() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    site.person("Ada Pell", "ada", Role::Machinist).await;
    let ada = site.signed_in("ada").await;

    // On the phone: the making is in the price, line by line.
    let call = office.post("/enquiries/quick", &[]).await;
    let call = header(call.headers(), "location").to_owned();
    let work = [
        ("caller", "Asa Pemberly"),
        ("work", "DOWEL-OFFSET"),
        ("count", "2"),
        ("version", "1"),
    ];
    assert_eq!(office.post(&call, &work).await.status(), 303);
    let (_, page) = text(office.get(&call).await).await;
    for line in [
        "Offset dowel, 12 mm × 2: grind both diameters",
        "2 made in this job",
        "Silver steel bar, 16 mm, operation",
    ] {
        assert!(page.contains(line), "{line}: {page}");
    }

    let job = fit(&office, "2").await;
    let mut tx = site.shop.begin().await;
    let operations = jobs::operations(&mut tx, job).await.unwrap();
    let made = making(&operations);
    assert_eq!(made.len(), 2);
    let fitting = operations
        .iter()
        .find(|o| o.planned.makes.is_none())
        .unwrap();
    assert!(fitting.planned.after.contains(&made[1].planned.number));
    let (need, cover) = need_for(&mut tx, job, DOWEL).await;
    assert_eq!((cover, need.details.quantity), (Cover::Made, d("2")));
    let (bar, _) = need_for(&mut tx, job, "Silver steel bar, 16 mm").await;
    assert_eq!(bar.details.quantity, d("0.1"));
    assert_eq!(
        item(&mut tx, DOWEL).await.wanted,
        d("0"),
        "nobody else waits for it"
    );
    drop(tx);

    // The plan does not begin the fitting before the last step of the making has ended.
    let program = Actor::program(site.database.pool.clone(), site.shop.id);
    let plan = current_plan::current_plan(&program, Utc::now())
        .await
        .unwrap();
    let slot = |o: &JobOperation| plan.timetable.slot(o.id).unwrap();
    assert!(slot(made[0]).ends <= slot(made[1]).starts);
    assert!(slot(made[1]).ends <= slot(fitting).starts);

    // What came out goes to the job, and the rest to the shelf; whoever made it says so, once.
    let (_, page) = text(ada.get(&format!("/jobs/{job}")).await).await;
    let here = between(&page, "id=\"made\"", "</section>");
    let action = between(here, "action=\"", "\"").to_owned();
    let (status, refused) =
        text(ada.post(&action, &[("came", "-1"), ("version", "1")]).await).await;
    assert_eq!(status, 422);
    assert!(
        refused.contains("-error\"") && refused.contains("value=\"-1\""),
        "{refused}"
    );
    let three = [("came", "3"), ("version", "1")];
    assert_eq!(ada.post(&action, &three).await.status(), 303);
    let (status, late) = text(ada.post(&action, &three).await).await;
    assert_eq!(status, 409);
    assert!(
        late.contains("Someone else changed this") || late.contains("stale-title"),
        "{late}"
    );
    let mut tx = site.shop.begin().await;
    assert_eq!(need_for(&mut tx, job, DOWEL).await.1, Cover::Taken);
    let dowels = item(&mut tx, DOWEL).await;
    assert_eq!((dowels.on_hand, dowels.being_made), (d("1"), d("0")));
    let moved = stock::movements(&mut tx, dowels.id, 5).await.unwrap();
    let moved: Vec<(Decimal, stock::Reason)> =
        moved.iter().map(|m| (m.quantity, m.reason)).collect();
    let expected = [
        (d("-2"), stock::Reason::Issued),
        (d("3"), stock::Reason::Made),
    ];
    assert_eq!(moved, expected);
    drop(tx);

    // One is on the shelf now: a job that needs one takes it, the next finds none.
    let (first, second) = (fit(&office, "1").await, fit(&office, "1").await);
    let mut tx = site.shop.begin().await;
    assert_eq!(need_for(&mut tx, first, DOWEL).await.1, Cover::OnHand);
    assert!(making(&jobs::operations(&mut tx, first).await.unwrap()).is_empty());
    assert_eq!(need_for(&mut tx, second, DOWEL).await.1, Cover::Made);
}

#[tokio::test]
async fn how_it_is_made_is_said_on_its_page_and_some_are_made_for_the_shelf() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let wyn = site.signed_in("wyn").await;
    let mut tx = site.shop.begin().await;
    let details = ItemDetails {
        name: "Adaptor plate".to_owned(),
        unit: "each".to_owned(),
        kept_at: String::new(),
        supplier: String::new(),
        minimum: Some(d("2")),
        active: true,
    };
    let plate = stock::insert(&mut tx, &details).await.unwrap();
    let new = NewJob {
        quote_id: None,
        title: "Fit an adaptor plate".to_owned(),
        due_on: tuesday(),
        promised_on: None,
    };
    let route = Route {
        operations: vec![operation(10, "mill", 30, 90), operation(20, "bench", 0, 45)],
    };
    let (job, _) = jobs::create(&mut tx, &new, &route).await.unwrap();
    let operations = jobs::operations(&mut tx, job).await.unwrap();
    let wants = needs::NeedDetails {
        what: "Adaptor plate".to_owned(),
        operation_id: Some(operations[1].id),
        ..crate::needs::wants(Behind::Item(plate), "1.5")
    };
    let need = needs::insert(&mut tx, job, &wants).await.unwrap();
    tx.commit().await.unwrap();
    let page = format!("/stock/items/{plate}");
    let path = format!("{page}/making");
    let make = format!("/jobs/{job}/needs/{need}/make");

    // Nobody has said how it is made.
    let (status, refused) = text(owner.post(&make, &[("version", "1")]).await).await;
    assert_eq!(status, 422);
    assert!(refused.contains("is not made here"), "{refused}");
    let (_, html) = text(owner.get(&page).await).await;
    assert!(html.contains(&path), "{html}");
    assert_eq!(wyn.get(&path).await.status(), 403);

    let step = |kind: &'static str, each: &'static str, material: &'static str| {
        vec![
            ("version", "0"),
            ("step_code", ""),
            ("step_what", "Mill and drill"),
            ("step_kind", kind),
            ("step_skill", "Milling"),
            ("step_setup", "30"),
            ("step_each", each),
            ("material_name", material),
            ("material_quantity", "1"),
            ("material_price", "48"),
        ]
    };
    for (typed, field, said) in [
        (
            step("", "75", "Plate"),
            "step_kind-0",
            "Enter the kind of machine",
        ),
        (
            step("mill", "", "Plate"),
            "step_each-0",
            "Enter the time for each piece",
        ),
        (step("mill", "soon", "Plate"), "step_each-0", ""),
        (
            step("mill", "75", "ADAPTOR plate"),
            "material_name-0",
            "not the part itself",
        ),
        (vec![("version", "0")], "steps", "at least one operation"),
    ] {
        let (status, html) = text(owner.post(&path, &typed).await).await;
        assert_eq!(status, 422, "{field}");
        assert!(
            html.contains(said) && html.contains(field),
            "{field}: {html}"
        );
        assert!(
            typed.len() == 1 || html.contains("Mill and drill"),
            "what was typed is kept"
        );
    }
    let sound = step("Mill", "75", "Plate");
    assert_eq!(owner.post(&path, &sound).await.status(), 303);
    assert_eq!(
        owner.post(&path, &sound).await.status(),
        409,
        "somebody said it already"
    );
    let (_, html) = text(owner.get(&page).await).await;
    assert!(
        html.contains("Mill and drill") && html.contains("setup 30 min"),
        "{html}"
    );

    // Some for the shelf: a job by itself, which is something to come.
    let past = (Utc::now().date_naive() - Days::new(7)).to_string();
    let more = [("make_pieces", "5"), ("make_due", past.as_str())];
    let (status, asked) = text(owner.post(&format!("{page}/make"), &more).await).await;
    assert_eq!(status, 422, "a day that is past is questioned");
    assert!(
        asked.contains("due_confirmed") && asked.contains("make_due-error"),
        "{asked}"
    );
    let due = tuesday().to_string();
    let more = [("make_pieces", "5"), ("make_due", due.as_str())];
    assert_eq!(wyn.post(&format!("{page}/make"), &more).await.status(), 403);
    let opened = owner.post(&format!("{page}/make"), &more).await;
    assert_eq!(opened.status(), 303);
    let shelf = header(opened.headers(), "location");
    let shelf: Uuid = shelf.split('/').nth(2).unwrap().parse().unwrap();
    let mut tx = site.shop.begin().await;
    let title = jobs::get(&mut tx, shelf).await.unwrap().title;
    assert_eq!(title, "Adaptor plate × 5, for the shelf");
    let now = stock::item(&mut tx, plate).await.unwrap();
    assert_eq!((now.being_made, now.level().short_by()), (d("5"), None));
    let (waits, cover) = need_for(&mut tx, job, "Adaptor plate").await;
    assert_eq!(cover, Cover::OnOrder(tuesday()), "when that job is due");
    drop(tx);
    // None of them is good: nothing covers the need any more.
    let mut tx = site.shop.begin().await;
    let batch = stock::batches_of_job(&mut tx, shelf)
        .await
        .unwrap()
        .remove(0);
    drop(tx);
    // Counted by a program of the machinist's, once and as it was seen.
    let listed = wyn.get(&format!("/api/v1/jobs/{shelf}/batches")).await;
    let listed: serde_json::Value = listed.json().await.unwrap();
    assert_eq!(
        (&listed[0]["pieces"], &listed[0]["came"]),
        (&5.into(), &serde_json::Value::Null)
    );
    let count = async |tag: &str, came: &str| {
        let request = wyn.request("PUT", &format!("/api/v1/jobs/{shelf}/batches/{}", batch.id));
        let request = request.header("if-match", tag);
        let answer = request.json(&serde_json::json!({"came": came}));
        answer.send().await.unwrap().status().as_u16()
    };
    assert_eq!(count("\"9\"", "0").await, 412);
    assert_eq!(count("\"1\"", "many").await, 422);
    assert_eq!(count("\"1\"", "0").await, 200);
    assert_eq!(count("\"1\"", "5").await, 412);
    let mut tx = site.shop.begin().await;
    assert_eq!(
        need_for(&mut tx, job, "Adaptor plate").await.1,
        Cover::Short
    );
    drop(tx);

    // Made in the job that needs it: whole pieces, before the operation that needs them.
    let (_, html) = text(owner.get(&format!("/jobs/{job}")).await).await;
    assert!(
        html.contains("Make it here") && html.contains("1 item has no date"),
        "{html}"
    );
    let version = waits.version.to_string();
    assert_eq!(
        wyn.post(&make, &[("version", &version)]).await.status(),
        403
    );
    assert_eq!(
        owner.post(&make, &[("version", &version)]).await.status(),
        303
    );
    assert_eq!(
        owner.post(&make, &[("version", &version)]).await.status(),
        409
    );
    let mut tx = site.shop.begin().await;
    let operations = jobs::operations(&mut tx, job).await.unwrap();
    let made = making(&operations);
    let makes = made[0].planned.makes.as_ref().unwrap();
    assert_eq!((made[0].planned.number, makes.pieces), (15, 2));
    let bench = operations.iter().find(|o| o.planned.number == 20).unwrap();
    assert!(bench.planned.after.contains(&15) && made[0].planned.after.is_empty());
    assert_eq!(made[0].planned.machine_kind, "mill");
    let (waits, cover) = need_for(&mut tx, job, "Adaptor plate").await;
    assert_eq!(cover, Cover::Made);
    assert_eq!(waits.availability(tuesday()), Availability::Here);
    let kept = history::of_row(&mut tx, "making", plate).await.unwrap();
    assert_eq!(kept.len(), 1);
    drop(tx);
    // What is made is not changed by hand; once its making is left out of the route, stock has to cover it again.
    let edit = format!("/jobs/{job}/needs/{need}/remove");
    let version = waits.version.to_string();
    assert_eq!(
        owner.post(&edit, &[("version", &version)]).await.status(),
        422
    );
    let mut tx = site.shop.begin().await;
    let gone = sqlx::query("delete from job_operation where id = $1")
        .bind(made[0].id)
        .execute(tx.conn())
        .await;
    assert_eq!(gone.unwrap().rows_affected(), 1);
    assert_eq!(
        need_for(&mut tx, job, "Adaptor plate").await.1,
        Cover::Short
    );
    drop(tx);

    // No longer made here: the button and the word are gone.
    let stop = [("version", "1")];
    assert_eq!(
        owner.post(&format!("{path}/delete"), &stop).await.status(),
        303
    );
    let (_, html) = text(owner.get(&page).await).await;
    assert!(html.contains("Say how it is made"), "{html}");
}
