//! A button is pressed twice, as with cold hands on a phone: what it makes is made once, and another one is made when something
//! was changed before.

use crate::support::site::{TestSite, Visitor, between, header};
use sqlx::PgConnection;
use std::collections::BTreeSet;

/// What is kept with its pattern is one of it, and is asked for again from a page that is older than itself.
#[tokio::test]
async fn a_boss_is_added_once() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let mut direct = site.database.owner().await;
    let pattern: String = sqlx::query_scalar("select id::text from pattern order by name limit 1")
        .fetch_one(&mut direct)
        .await
        .unwrap();
    let page = format!("/castings/patterns/{pattern}/bosses/new");
    let text = office.get(&page).await.text().await.unwrap();
    let form = between(&text, "name=\"once\" value=\"", "\"").to_owned();
    let version = between(&text, "name=\"version\" value=\"", "\"").to_owned();
    let sent = [
        ("once", form.as_str()),
        ("version", version.as_str()),
        ("face", "rear"),
        ("label", "R77"),
        ("largest", "14"),
    ];
    let mut to = BTreeSet::new();
    for _ in 0..3 {
        let answer = office.post(&page, &sent).await;
        assert_eq!(answer.status(), 303);
        to.insert(header(answer.headers(), "location").to_owned());
    }
    assert_eq!(to.len(), 1, "{to:?}");
}

/// The key with which the form of an action was shown.
async fn key(visitor: &Visitor, page: &str, action: &str) -> String {
    let text = visitor.get(page).await.text().await.unwrap();
    let mark = format!("action=\"{action}\"");
    let (_, form) = text
        .split_once(&mark)
        .unwrap_or_else(|| panic!("{page} has no form for {action}"));
    let (form, _) = form.split_once("</form>").unwrap();
    between(form, "name=\"once\" value=\"", "\"").to_owned()
}

async fn count(direct: &mut PgConnection, table: &str) -> i64 {
    sqlx::query_scalar(sqlx::AssertSqlSafe(format!("select count(*) from {table}")))
        .fetch_one(direct)
        .await
        .unwrap()
}

#[tokio::test]
async fn what_a_button_makes_is_made_once_however_often_it_is_pressed() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let variant = site.shop.variant("Test block").await.to_string();
    let mut direct = site.database.owner().await;
    let one = "select id::text from stock_item where on_hand > 10 order by name limit 1";
    let item: String = sqlx::query_scalar(one)
        .fetch_one(&mut direct)
        .await
        .unwrap();
    let item = format!("/stock/items/{item}");
    let work: String = sqlx::query_scalar(
        "select code from element where machine_kind = 'bench' and basis = 'once' limit 1",
    )
    .fetch_one(&mut direct)
    .await
    .unwrap();
    let table = "Variant\tCost\nTest block\t120\n";
    let job = [
        ("work", work.as_str()),
        ("count", "1"),
        ("due_on", "2027-06-30"),
    ];
    let casting = [
        ("variant", variant.as_str()),
        ("ownership", "shop"),
        ("cost", "180"),
    ];
    let (orders, write_off) = (format!("{item}/orders"), format!("{item}/write-off"));
    // Page, action, table, what is typed, and the field that is changed for another one.
    type Form<'a> = (
        &'a str,
        &'a str,
        &'a str,
        &'a [(&'a str, &'a str)],
        (&'a str, &'a str),
    );
    let forms: [Form<'_>; 9] = [
        (
            "/enquiries",
            "/enquiries",
            "enquiry",
            &[],
            ("caller", "A. Caller"),
        ),
        (
            "/enquiries",
            "/enquiries/quick",
            "enquiry",
            &[],
            ("caller", "A. Caller"),
        ),
        ("/jobs/new", "/jobs/new", "job", &job, ("title", "Another")),
        (
            "/castings/shelf/new",
            "/castings/shelf",
            "casting",
            &casting,
            ("condition", "Rusty"),
        ),
        (
            "/customers/new",
            "/customers",
            "customer",
            &[("name", "Fen Row Boats")],
            ("name", "Lock Boats"),
        ),
        (
            &item,
            &orders,
            "stock_order",
            &[("order_quantity", "5"), ("order_supplier", "Quay Bearings")],
            ("order_expected", "2027-06-30"),
        ),
        (
            &item,
            &write_off,
            "stock_movement",
            &[("off_quantity", "1"), ("off_why", "Spoilt")],
            ("off_why", "Lost"),
        ),
        (
            "/import/castings",
            "/import/castings",
            "casting",
            &[("table", table), ("take", "yes")],
            ("dates", "day_first"),
        ),
        (
            "/import/customers",
            "/import/customers",
            "customer",
            &[("table", "Name\nPound Lane Garage\n"), ("take", "yes")],
            ("table", "Name\nStaithe Garage\n"),
        ),
    ];
    for (page, action, made, typed, (field, other)) in forms {
        let key = key(&office, page, action).await;
        let before = count(&mut direct, made).await;
        let mut sent = vec![("once", key.as_str())];
        sent.extend(typed);
        let (first, second) = tokio::join!(office.post(action, &sent), office.post(action, &sent));
        for answer in [&first, &second] {
            assert_eq!(answer.status(), 303, "{action}");
        }
        let to = |answer| header(reqwest::Response::headers(answer), "location").to_owned();
        assert_eq!(to(&first), to(&second), "{action}");
        assert_eq!(count(&mut direct, made).await, before + 1, "{action}");
        // Once more when it has been done long since.
        let late = office.post(action, &sent).await;
        assert_eq!((late.status().as_u16(), to(&late)), (303, to(&first)));
        assert_eq!(count(&mut direct, made).await, before + 1, "{action}");
        // Somebody who went back and changed it wants another one.
        sent.retain(|(name, _)| *name != field);
        sent.push((field, other));
        assert_eq!(office.post(action, &sent).await.status(), 303, "{action}");
        assert_eq!(count(&mut direct, made).await, before + 2, "{action}");
    }
}
