//! What jobs need, stock and tooling: what is here, what has a day, what is a hole; who gets what there is.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, between, header};
use crate::support::{TestDatabase, TestShop, operation};
use borewright::app::meet_need::Seen;
use borewright::app::win_quote::{Won, win_within};
use borewright::app::{AppError, Refusal};
use borewright::app::{close_job, meet_need, move_casting};
use borewright::db::castings_on_shelf::{self as shelf, CastingDetails, Outcome, Ownership};
use borewright::db::enquiries::{self, EnquiryDetails};
use borewright::db::jobs::{self, NewJob, OperationState};
use borewright::db::needs::{
    self, Arrival, Availability, Behind, Gate, Need, NeedDetails, NeedKind,
};
use borewright::db::people::Role;
use borewright::db::stock::{self, ItemDetails, OrderDetails};
use borewright::db::tools::{self, ToolDetails};
use borewright::db::{self, DbError, ShopTx, Unique, quotes};
use borewright::enquiry::quote::{CheckedQuote, NewQuote, OfferTerms};
use borewright::estimating::{Material, Route};
use borewright::jobs::Ending;
use borewright::units::{Currency, Money};
use chrono::{Days, NaiveDate, Utc};
use rust_decimal::Decimal;
use serde_json::json;
use sqlx::query;
use uuid::Uuid;

fn day(d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, d).unwrap()
}

fn d(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn pounds(amount: &str) -> Money {
    Money::new(d(amount), Currency::from_code("GBP").unwrap())
}

async fn job(tx: &mut ShopTx, due: u32) -> Uuid {
    let job = NewJob {
        quote_id: None,
        title: format!("Due on the {due}"),
        due_on: day(due),
        promised_on: None,
    };
    let route = Route {
        operations: vec![operation(10, "mill", 30, 90), operation(20, "bench", 0, 45)],
    };
    jobs::create(tx, &job, &route).await.unwrap().0
}

async fn item(tx: &mut ShopTx, name: &str, on_hand: &str) -> Uuid {
    let details = ItemDetails {
        name: name.to_owned(),
        unit: "each".to_owned(),
        kept_at: String::new(),
        supplier: "Sallow Creek Tools".to_owned(),
        minimum: Some(d("4")),
        active: true,
    };
    let id = stock::insert(tx, &details).await.unwrap();
    stock::count(tx, id, Decimal::ZERO, d(on_hand), "first count")
        .await
        .unwrap();
    id
}

pub fn wants(behind: Behind, quantity: &str) -> NeedDetails {
    NeedDetails {
        operation_id: None,
        kind: match behind {
            Behind::Tool(_) => NeedKind::Tool,
            Behind::Casting(_) => NeedKind::Donor,
            _ => NeedKind::Part,
        },
        what: "Ground dowel".to_owned(),
        quantity: d(quantity),
        unit: "each".to_owned(),
        behind,
        arrival: Arrival::Wanted,
        expected_on: None,
    }
}

async fn availability(tx: &mut ShopTx, job: Uuid, need: Uuid) -> Availability {
    needs::get(tx, job, need)
        .await
        .unwrap()
        .availability(day(1))
}

fn seen(job_id: Uuid, id: Uuid, version: i32) -> Seen {
    Seen {
        job_id,
        id,
        version,
    }
}

async fn order(tx: &mut ShopTx, item: Uuid, quantity: &str, expected: Option<u32>) -> Uuid {
    let details = OrderDetails {
        quantity: d(quantity),
        supplier: "Sallow Creek Tools".to_owned(),
        ordered_on: day(1),
        expected_on: expected.map(day),
    };
    stock::order(tx, item, &details).await.unwrap()
}

#[tokio::test]
async fn stock_serves_the_job_that_is_due_first_and_orders_the_next() {
    let db = TestDatabase::new().await;
    let shop = db.shop("a-shop").await;
    let mut tx = shop.begin().await;
    let dowels = item(&mut tx, "Ground dowel", "5").await;
    // Written down in another order than they are due.
    let late = job(&mut tx, 20).await;
    let soon = job(&mut tx, 10).await;
    let last = job(&mut tx, 30).await;
    let add = async |tx: &mut ShopTx, job, n| {
        meet_need::add_within(tx, job, &wants(Behind::Item(dowels), n))
            .await
            .unwrap()
    };
    let of_late = add(&mut tx, late, "3").await;
    let of_soon = add(&mut tx, soon, "4").await;
    let of_last = add(&mut tx, last, "2.5").await;
    assert_eq!(
        availability(&mut tx, soon, of_soon).await,
        Availability::Here
    );
    assert_eq!(
        availability(&mut tx, late, of_late).await,
        Availability::Unknown
    );

    // 5 on hand and 2 on the 8th cover 4 + 3; what comes without a day covers nobody.
    let first = order(&mut tx, dowels, "2", Some(8)).await;
    order(&mut tx, dowels, "50", None).await;
    assert_eq!(
        availability(&mut tx, late, of_late).await,
        Availability::Expected(day(8))
    );
    assert_eq!(
        availability(&mut tx, last, of_last).await,
        Availability::Unknown
    );
    let second = order(&mut tx, dowels, "3", Some(12)).await;
    assert_eq!(
        availability(&mut tx, last, of_last).await,
        Availability::Expected(day(12))
    );
    let late_need = needs::get(&mut tx, late, of_late).await.unwrap();
    assert_eq!(
        late_need.availability(day(9)),
        Availability::Overdue(day(8))
    );

    let gates = needs::gates(&mut tx, day(1)).await.unwrap();
    let held: Vec<(Uuid, Option<NaiveDate>)> =
        gates.iter().map(|g| (g.job_id, g.not_before())).collect();
    assert_eq!(held, [(late, Some(day(8))), (last, Some(day(12)))]);

    // Taken for the second, there is too little for the first.
    let version = needs::get(&mut tx, late, of_late).await.unwrap().version;
    meet_need::take_within(&mut tx, seen(late, of_late, version))
        .await
        .unwrap();
    assert_eq!(
        availability(&mut tx, late, of_late).await,
        Availability::Here
    );
    assert_eq!(
        availability(&mut tx, soon, of_soon).await,
        Availability::Expected(day(8))
    );
    // A part of an order that comes in covers, the rest is still to come.
    stock::receive(&mut tx, dowels, second, 1, d("2"), false)
        .await
        .unwrap();
    assert_eq!(
        availability(&mut tx, soon, of_soon).await,
        Availability::Here
    );
    let open = stock::orders(&mut tx, dowels).await.unwrap();
    let left: Vec<(Uuid, Decimal)> = open.iter().map(|o| (o.id, o.left())).collect();
    assert_eq!(left[..2], [(first, d("2")), (second, d("1"))]);
    stock::receive(&mut tx, dowels, first, 1, d("2"), false)
        .await
        .unwrap();
    stock::give_up(&mut tx, dowels, second, 2).await.unwrap();
    let now = stock::item(&mut tx, dowels).await.unwrap();
    assert_eq!(
        (now.on_hand, now.wanted, now.on_order),
        (d("6"), d("6.5"), d("50"))
    );

    // A job that is given up wants nothing.
    close_job::close_within(&mut tx, soon, 1, Ending::Cancelled)
        .await
        .unwrap();
    assert_eq!(
        availability(&mut tx, last, of_last).await,
        Availability::Here
    );
    let version = needs::get(&mut tx, late, of_late).await.unwrap().version;
    meet_need::put_back_within(&mut tx, seen(late, of_late, version))
        .await
        .unwrap();
    let now = stock::item(&mut tx, dowels).await.unwrap();
    assert_eq!((now.on_hand, now.wanted), (d("9"), d("5.5")));
    let booked: Vec<Decimal> = stock::movements(&mut tx, dowels, 10)
        .await
        .unwrap()
        .iter()
        .map(|m| m.quantity)
        .collect();
    assert_eq!(booked, [d("3"), d("2"), d("2"), d("-3"), d("5")]);
    assert_eq!(booked.iter().sum::<Decimal>(), now.on_hand);
}

#[tokio::test]
async fn movements_are_appended_and_nothing_goes_below_nothing() {
    let db = TestDatabase::new().await;
    let shop = db.shop("a-shop").await;
    let mut tx = shop.begin().await;
    let dowels = item(&mut tx, "Ground dowel", "5").await;
    let same = ItemDetails {
        name: "GROUND dowel".to_owned(),
        ..stock::item(&mut tx, dowels).await.unwrap().details
    };
    let taken = stock::insert(&mut tx, &same).await;
    assert!(
        matches!(taken, Err(DbError::Duplicate(Unique::ItemName))),
        "{taken:?}"
    );
    drop(tx);

    let mut tx = shop.begin().await;
    let dowels = item(&mut tx, "Ground dowel", "5").await;
    tx.commit().await.unwrap();
    let mut tx = shop.begin().await;
    let more = stock::write_off(&mut tx, dowels, d("5.001"), "lost").await;
    assert!(
        matches!(more, Err(DbError::Refused(db::Refusal::NotOnHand))),
        "{more:?}"
    );
    drop(tx);
    let mut tx = shop.begin().await;
    let late = stock::count(&mut tx, dowels, d("4"), d("9"), "stocktake").await;
    assert!(matches!(late, Err(DbError::Stale(_))), "{late:?}");
    assert!(
        !stock::count(&mut tx, dowels, d("5"), d("5.000"), "stocktake")
            .await
            .unwrap()
    );
    drop(tx);

    // Not even the owner of the tables edits one, and the service is not let near.
    for statement in [
        "update stock_movement set quantity = 50",
        "delete from stock_movement",
    ] {
        let mut owner = db.owner().await;
        let changed = query(statement).execute(&mut owner).await;
        let why = changed.unwrap_err().to_string();
        assert!(why.contains("stays on record"), "{why}");
        let mut tx = shop.begin().await;
        assert!(query(statement).execute(tx.conn()).await.is_err());
    }
}

async fn tool(tx: &mut ShopTx) -> Uuid {
    let details = ToolDetails {
        name: "Temporary bolts".to_owned(),
        kept_at: String::new(),
        note: String::new(),
        active: true,
    };
    tools::insert(tx, &details).await.unwrap()
}

#[tokio::test]
async fn tooling_is_out_with_one_job_at_a_time() {
    let db = TestDatabase::new().await;
    let shop = db.shop("a-shop").await;
    let mut tx = shop.begin().await;
    let bolts = tool(&mut tx).await;
    let (a, b) = (job(&mut tx, 10).await, job(&mut tx, 20).await);
    let need = meet_need::add_within(&mut tx, b, &wants(Behind::Tool(bolts), "1"))
        .await
        .unwrap();
    assert_eq!(availability(&mut tx, b, need).await, Availability::Here);
    tools::take_out(&mut tx, bolts, a).await.unwrap();
    assert_eq!(
        availability(&mut tx, b, need).await,
        Availability::Expected(day(10))
    );
    // Another day is somebody's word; without one it is the job's again.
    for (said, stands) in [(Some(day(14)), day(14)), (None, day(10))] {
        tools::expect_back(&mut tx, bolts, a, said).await.unwrap();
        assert_eq!(
            availability(&mut tx, b, need).await,
            Availability::Expected(stands)
        );
        let out = tools::get(&mut tx, bolts).await.unwrap().out.unwrap();
        assert!(out.is_overdue(day(20)) && !out.is_overdue(stands));
    }
    let again = tools::take_out(&mut tx, bolts, b).await;
    assert!(
        matches!(
            again,
            Err(DbError::Refused(db::Refusal::ToolIsOut { with: Some(1) }))
        ),
        "{again:?}"
    );
    let not_theirs = tools::bring_back(&mut tx, bolts, b).await;
    assert!(matches!(
        not_theirs,
        Err(DbError::Refused(db::Refusal::ToolNotWithJob))
    ));
    tx.commit().await.unwrap();

    // Past every check in the program, the database itself refuses.
    let mut owner = db.owner().await;
    let forced = query(
        "insert into tool_loan (shop_id, id, tool_id, job_id)
         select shop_id, gen_random_uuid(), $1, $2 from tool where id = $1",
    )
    .bind(bolts)
    .bind(b)
    .execute(&mut owner)
    .await;
    assert!(forced.unwrap_err().to_string().contains("tool_out_once"));

    let mut tx = shop.begin().await;
    tools::bring_back(&mut tx, bolts, a).await.unwrap();
    tools::take_out(&mut tx, bolts, b).await.unwrap();
    assert_eq!(availability(&mut tx, b, need).await, Availability::Here);
}

fn quote(enquiry_id: Uuid, kind: &str, casting_id: Option<Uuid>) -> CheckedQuote {
    let mut drilled = operation(10, "mill", 30, 90);
    let material = |name: &str, quantity: &str| Material {
        name: name.to_owned(),
        quantity: d(quantity),
        price: pounds("1.80"),
        smallest: None,
        largest: None,
        made: false,
    };
    drilled.materials = vec![material("ground dowel", "2"), material("Sealant", "0.2")];
    let quote = NewQuote {
        offered_on: OfferTerms::default(),
        request_key: None,
        enquiry_id,
        option_kind: kind.to_owned(),
        title: "Convert farm block to marine".to_owned(),
        casting_id,
        valid_until: day(20),
        promised_on: None,
        net: pounds("10"),
        tax: pounds("2"),
        gross: pounds("12"),
        lines: vec![borewright::estimating::cost::CostLine {
            label: "All".to_owned(),
            how: String::new(),
            amount: pounds("10"),
            lines: Vec::new(),
        }],
        answer: json!({}),
        route: Route {
            operations: vec![drilled, operation(20, "bench", 0, 45)],
        },
    };
    quote.checked().unwrap()
}

async fn won(tx: &mut ShopTx, kind: &str, casting_id: Option<Uuid>) -> (Uuid, Vec<Need>) {
    let (enquiry, _) = enquiries::create(tx, &EnquiryDetails::default())
        .await
        .unwrap();
    let (id, _) = quotes::create(tx, &quote(enquiry, kind, casting_id))
        .await
        .unwrap();
    let won = Won {
        quote_id: id,
        version: 1,
        due_on: day(27),
        confirmed: true,
    };
    let (job, _) = win_within(tx, won, day(2)).await.unwrap();
    let needs = needs::of_job(tx, job).await.unwrap();
    (job, needs)
}

async fn casting(tx: &mut ShopTx, shop: &TestShop) -> Uuid {
    let details = CastingDetails {
        variant_id: shop.variant("Tarn 4/90 farm").await,
        ownership: Ownership::Shop,
        cost: pounds("100"),
        condition: "Sound, dirty".to_owned(),
    };
    shelf::create(tx, &details).await.unwrap().0
}

#[tokio::test]
async fn a_job_that_is_won_knows_what_it_needs() {
    let db = TestDatabase::new().await;
    let shop = db.shop("a-shop").await;
    let mut tx = shop.begin().await;
    item(&mut tx, "Ground dowel", "5").await;
    let donor = casting(&mut tx, &shop).await;
    let (job, needed) = won(&mut tx, "convert_shelf", Some(donor)).await;
    let stands: Vec<(NeedKind, &str, Option<i32>, Availability)> = needed
        .iter()
        .map(|n| {
            let what = n.details.what.as_str();
            (
                n.details.kind,
                what,
                n.operation_number,
                n.availability(day(2)),
            )
        })
        .collect();
    assert_eq!(
        stands,
        [
            (
                NeedKind::Donor,
                "Casting from the shelf",
                None,
                Availability::Here
            ),
            (
                NeedKind::Material,
                "Sealant",
                Some(10),
                Availability::Unknown
            ),
            (
                NeedKind::Material,
                "ground dowel",
                Some(10),
                Availability::Here
            ),
        ]
    );
    assert_eq!(needed[2].details.quantity, d("2"));
    assert_eq!(needed[1].details.quantity, d("0.2"));

    // The donor fails: the job has a hole where it stood.
    let version = shelf::get(&mut tx, donor).await.unwrap().version;
    move_casting::inspect_within(&mut tx, donor, version, Outcome::Failed, day(3))
        .await
        .unwrap();
    let gates = needs::gates(&mut tx, day(3)).await.unwrap();
    let held: Vec<(&str, Option<Uuid>)> = gates
        .iter()
        .map(|g: &Gate| (g.what.as_str(), g.operation_id))
        .collect();
    let operations = jobs::operations(&mut tx, job).await.unwrap();
    assert_eq!(
        held,
        [
            ("Casting from the shelf", None),
            ("Sealant", Some(operations[0].id)),
        ]
    );
    // What is begun is not held any more.
    jobs::set_operation_state(&mut tx, operations[0].id, 1, OperationState::Started)
        .await
        .unwrap();
    assert_eq!(needs::gates(&mut tx, day(3)).await.unwrap().len(), 1);

    for (kind, what) in [
        ("hunt", Some("A casting, to be found and bought")),
        ("convert_bought", Some("A casting, to be found and bought")),
        ("repair", Some("The customer’s own casting")),
        ("convert_own", Some("The customer’s own casting")),
        ("something else", None),
    ] {
        let (_, needed) = won(&mut tx, kind, None).await;
        let donor = needed.iter().find(|n| n.details.kind == NeedKind::Donor);
        assert_eq!(donor.map(|n| n.details.what.as_str()), what, "{kind}");
        assert!(donor.is_none_or(|n| n.availability(day(2)) == Availability::Unknown));
    }
}

#[tokio::test]
async fn a_casting_named_by_a_need_is_set_aside_and_freed_with_it() {
    let db = TestDatabase::new().await;
    let shop = db.shop("a-shop").await;
    let mut tx = shop.begin().await;
    let one = casting(&mut tx, &shop).await;
    let mine = job(&mut tx, 10).await;
    let theirs = job(&mut tx, 20).await;
    let need = meet_need::add_within(&mut tx, mine, &wants(Behind::Casting(one), "1"))
        .await
        .unwrap();
    let taken = meet_need::add_within(&mut tx, theirs, &wants(Behind::Casting(one), "1")).await;
    assert!(
        matches!(
            taken,
            Err(AppError::Refused(Refusal::Stored(
                db::Refusal::CastingNotFree { .. }
            )))
        ),
        "{taken:?}"
    );
    meet_need::remove_within(&mut tx, seen(mine, need, 1))
        .await
        .unwrap();
    meet_need::add_within(&mut tx, theirs, &wants(Behind::Casting(one), "1"))
        .await
        .unwrap();
    assert_eq!(shelf::get(&mut tx, one).await.unwrap().job_id, Some(theirs));
}

#[tokio::test]
async fn the_job_page_says_what_is_missing_and_takes_what_is_typed() {
    let site = TestSite::new().await;
    site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let mut tx = site.shop.begin().await;
    let (mine, dowels) = (
        job(&mut tx, 10).await,
        item(&mut tx, "Ground dowel", "1").await,
    );
    let bolts = tool(&mut tx).await;
    tx.commit().await.unwrap();
    let owner = site.owner().await;
    let wyn = site.signed_in("wyn").await;
    let new = format!("/jobs/{mine}/needs/new");
    let soon = (Utc::now().date_naive() + Days::new(9)).to_string();
    let item_behind = format!("item:{dowels}");
    let fields = |what: &'static str, quantity: &'static str, arrival: &'static str| {
        [
            ("kind", "part"),
            ("what", what),
            ("quantity", quantity),
            ("unit", "set"),
            ("arrival", arrival),
        ]
    };
    // Complaints beside their fields, nothing lost.
    for (field, value, said) in [
        ("quantity", "0", "from 0.001"),
        ("quantity", "lots", "Enter a number"),
        ("what", "", "Required"),
        ("kind", "ship", "Choose one"),
        (
            "operation",
            "0190b5a0-0000-7000-8000-000000000000",
            "an operation of this job",
        ),
        ("expected_on", soon.as_str(), "or clear the expected date"),
        (
            "behind",
            "tool:0190b5a0-0000-7000-8000-000000000000",
            "or tooling",
        ),
    ] {
        let mut typed = fields("Head <gasket>", "1", "wanted").to_vec();
        typed.retain(|(name, _)| *name != field);
        typed.push((field, value));
        let answer = owner.post(&new, &typed).await;
        assert_eq!(answer.status(), 422, "{field} {value}");
        let html = answer.text().await.unwrap();
        let complaint = between(&html, &format!("id=\"{field}-error\""), "</p>");
        assert!(complaint.contains(said), "{field}: {complaint}");
        assert!(field == "what" || html.contains("Head &lt;gasket&gt;"));
    }
    assert_eq!(
        wyn.post(&new, &fields("Gasket", "1", "wanted"))
            .await
            .status(),
        403
    );

    let mut ordered = fields("Head <gasket>", "1", "ordered").to_vec();
    assert_eq!(owner.post(&new, &ordered).await.status(), 303);
    let page = format!("/jobs/{mine}");
    let html = owner.get(&page).await.text().await.unwrap();
    let needs = between(&html, "id=\"needs\"", "</section>");
    assert!(
        needs.contains("1 item has no date") && needs.contains("No date"),
        "{needs}"
    );
    let path = between(needs, "<th scope=\"row\"><a href=\"", "\"").to_owned();
    ordered.extend([("expected_on", soon.as_str()), ("version", "1")]);
    assert_eq!(owner.post(&path, &ordered).await.status(), 303);
    let html = owner.get(&page).await.text().await.unwrap();
    let needs = between(&html, "id=\"needs\"", "</section>");
    assert!(
        !needs.contains("has no date") && needs.contains("expected "),
        "{needs}"
    );
    // A stale change shows both; then the parcel is opened at the bench.
    let late = owner
        .post(
            &path,
            &[
                &fields("Gasket set", "2", "wanted")[..],
                &[("version", "1")],
            ]
            .concat(),
        )
        .await;
    assert_eq!(late.status(), 409);
    let html = late.text().await.unwrap();
    let notice = between(&html, "stale-title", "</section>");
    for value in [
        "Gasket set",
        "Head &lt;gasket&gt;",
        "On order",
        "Not ordered",
    ] {
        assert!(notice.contains(value), "{value}: {notice}");
    }
    let here = wyn
        .post(&format!("{path}/arrived"), &[("version", "2")])
        .await;
    assert_eq!(here.status(), 303);

    // From stock: too much is refused in words, what there is, is taken and put back.
    let mut from_stock = fields("Dowels", "3", "wanted").to_vec();
    from_stock.push(("behind", item_behind.as_str()));
    owner.post(&new, &from_stock).await;
    let html = wyn.get(&page).await.text().await.unwrap();
    let needs = between(&html, "id=\"needs\"", "</section>");
    assert!(needs.contains("out of stock"), "{needs}");
    let take = between(needs, "action=\"", "\"").to_owned();
    assert!(take.ends_with("/take"), "{take}");
    let refused = wyn.post(&take, &[("version", "1")]).await;
    assert_eq!(refused.status(), 422);
    assert!(
        refused
            .text()
            .await
            .unwrap()
            .contains("not that much on hand")
    );
    let counted = [
        ("seen", "1"),
        ("counted", "8"),
        ("counted_why", "stocktake"),
    ];
    let count = format!("/stock/items/{dowels}/count");
    assert_eq!(wyn.post(&count, &counted).await.status(), 303);
    assert_eq!(wyn.post(&count, &counted).await.status(), 409);
    assert_eq!(wyn.post(&take, &[("version", "1")]).await.status(), 303);
    assert_eq!(wyn.post(&take, &[("version", "1")]).await.status(), 409);
    let stocked = wyn
        .get(&format!("/stock/items/{dowels}"))
        .await
        .text()
        .await
        .unwrap();
    for said in ["5 each", "-3", "+7", "stocktake", "Wyn Tarrant", "job 1"] {
        assert!(stocked.contains(said), "{said}");
    }
    let back = take.replace("/take", "/put-back");
    assert_eq!(wyn.post(&back, &[("version", "2")]).await.status(), 303);

    // Tooling goes out with one job, and says with which.
    let mine = mine.to_string();
    let out = format!("/stock/tools/{bolts}/out");
    assert_eq!(wyn.post(&out, &[("job", &mine)]).await.status(), 303);
    let again = wyn.post(&out, &[("job", &mine)]).await;
    assert_eq!(again.status(), 422);
    assert!(again.text().await.unwrap().contains("out with job 1"));
}

#[tokio::test]
async fn orders_are_written_down_received_and_given_another_day() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let added = owner
        .post(
            "/stock/items/new",
            &[
                ("name", "Cutting oil"),
                ("unit", "litre"),
                ("minimum", "60"),
                ("active", "yes"),
            ],
        )
        .await;
    let path = header(added.headers(), "location").to_owned();
    let low = owner.get("/stock").await.text().await.unwrap();
    assert!(between(&low, "to-order-title", "</section>").contains("60 litre"));
    let past = (Utc::now().date_naive() - Days::new(3)).to_string();
    let order = [
        ("order_quantity", "40"),
        ("order_supplier", "Greywater"),
        ("order_expected", past.as_str()),
    ];
    let answer = owner.post(&format!("{path}/orders"), &order).await;
    assert_eq!(answer.status(), 422);
    let html = answer.text().await.unwrap();
    assert!(
        between(&html, "id=\"order_expected-error\"", "</p>")
            .contains("Enter today or a later day")
    );
    assert_eq!(
        owner
            .post(&format!("{path}/orders"), &order[..2])
            .await
            .status(),
        303
    );
    let html = owner.get(&path).await.text().await.unwrap();
    assert!(html.contains("No date"));
    let receive = format!("{path}/orders/{}", between(&html, "/orders/", "\""));
    assert!(receive.ends_with("/receive"));
    let soon = (Utc::now().date_naive() + Days::new(3)).to_string();
    let moved = owner
        .post(
            &receive.replace("receive", "expect"),
            &[("expected", soon.as_str()), ("version", "1")],
        )
        .await;
    assert_eq!(moved.status(), 303);
    let late = owner
        .post(&receive, &[("came", "40"), ("version", "1")])
        .await;
    assert_eq!(late.status(), 409);
    let none = owner
        .post(&receive, &[("came", "0"), ("version", "2")])
        .await;
    assert_eq!(none.status(), 422);
    let came = owner
        .post(
            &receive,
            &[("came", "15.5"), ("last", "yes"), ("version", "2")],
        )
        .await;
    assert_eq!(came.status(), 303);
    let html = owner.get(&path).await.text().await.unwrap();
    assert!(html.contains("15.5 litre") && html.contains("Nothing is on order"));
    assert!(html.contains("44.5 litre below the minimum"), "{html}");
}

#[tokio::test]
async fn needs_and_stock_are_looked_at() {
    let site = TestSite::demo().await;
    let mut tx = site.shop.begin().await;
    let today = Utc::now()
        .with_timezone(&chrono_tz::Europe::London)
        .date_naive();
    let gates = needs::gates(&mut tx, today).await.unwrap();
    let holes: Vec<&Gate> = gates.iter().filter(|g| g.standing.is_hole()).collect();
    assert!(
        !holes.is_empty() && holes.len() < gates.len(),
        "{} of {}",
        holes.len(),
        gates.len()
    );
    let job = holes[0].job_id;
    let item = stock::items(&mut tx, false)
        .await
        .unwrap()
        .into_iter()
        .find(|i| i.details.name == "Ground dowel")
        .unwrap();
    let tool = tools::list(&mut tx, false)
        .await
        .unwrap()
        .into_iter()
        .find(|t| t.out.is_some())
        .unwrap();
    for screen in Screen::ALL {
        let browser = Browser::signed_in(&site, screen, "office").await;
        browser.goto(&format!("/jobs/{job}")).await;
        browser.wait_for("#needs .hole").await;
        browser.picture("needs-job").await;
        browser.type_text("n").await;
        browser.wait_for("#expected_on").await;
        browser.tab_to("#what").await;
        browser.type_text("Head gasket set").await;
        browser.picture("needs-new").await;
        browser.goto("/stock").await;
        browser.wait_for(".to-order").await;
        browser.picture("stock").await;
        browser.goto(&format!("/stock/items/{}", item.id)).await;
        browser.wait_for(".order").await;
        browser.picture("stock-item").await;
        browser.goto(&format!("/stock/tools/{}", tool.id)).await;
        browser.wait_for("dl.figures").await;
        browser.picture("stock-tool").await;
        browser.close().await;
    }
}
