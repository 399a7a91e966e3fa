//! What the pages tell, by the JSON interface: calls, histories, figures of jobs, what would help, the month, promises, the
//! market, papers.

use crate::support::requests::{ask, fields, id, keyed, look, number, read, send};
use crate::support::site::{TestSite, header};
use rust_decimal::Decimal;
use serde_json::{Value, json};
use std::collections::BTreeSet;

fn rows(of: &Value) -> &Vec<Value> {
    of.as_array().unwrap_or_else(|| panic!("{of}"))
}

fn amount(money: &Value) -> Decimal {
    number(&money["amount"])
}

#[tokio::test]
async fn calls_are_listed_by_number_and_who_changed_what_is_told() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let bench = site.signed_in("machinist").await;
    let path = "/api/v1/enquiries";
    let first = read(&office, &format!("{path}?limit=3")).await.body;
    let numbers = |listed: &Value| -> Vec<i64> {
        let calls = rows(&listed["enquiries"]).iter();
        calls.map(|call| call["number"].as_i64().unwrap()).collect()
    };
    let mut seen = numbers(&first);
    let older = format!("{path}?limit=3&before={}", first["older_than"]);
    seen.extend(numbers(&read(&office, &older).await.body));
    assert_eq!(seen.len(), 6);
    assert!(seen.is_sorted_by(|a, b| a > b), "{seen:?}");
    let open = read(&office, &format!("{path}?limit=500")).await.body;
    assert!(
        rows(&open["enquiries"])
            .iter()
            .all(|e| e["state"] != "closed")
    );
    let call = keyed(&office, path, "", json!({"caller": "A. Caller"})).await;
    let closed = format!("{path}/{}/closed", id(&call.body));
    let shut = ask(&office, "PUT", &closed, &call.tag, json!({"closed": true})).await;
    assert_eq!(shut.status, 204);
    let newest = async |view: &str| {
        let listed = read(&office, &format!("{path}?limit=1{view}")).await.body;
        id(&listed["enquiries"][0]).to_owned()
    };
    assert_eq!(newest("&view=all").await, id(&call.body));
    assert_ne!(newest("").await, id(&call.body));
    let odd = look(&office, &format!("{path}?view=lost")).await;
    assert_eq!(
        (odd.status, fields(&odd.body)),
        (422, BTreeSet::from(["view"]))
    );
    assert_eq!(look(&bench, path).await.status, 403);

    let jobs = read(&office, "/api/v1/jobs?limit=1").await.body;
    let job = id(&jobs["jobs"][0]);
    let seen = read(&office, &format!("/api/v1/jobs/{job}")).await;
    let moved = json!({"due_on": "2027-06-30", "reason": "They are at sea", "confirmed": true});
    let due = format!("/api/v1/jobs/{job}/due");
    assert_eq!(
        ask(&office, "PUT", &due, &seen.tag, moved).await.status,
        200
    );
    let history = format!("/api/v1/history/job/{job}");
    let told = read(&office, &history).await.body;
    let last = &told["changes"][0];
    let field = rows(&last["fields"])
        .iter()
        .find(|f| f["field"] == "due_on");
    assert_eq!(field.unwrap()["after"], "2027-06-30", "{last}");
    assert_eq!(last["action"], "update");
    assert!(told["all"].as_u64().unwrap() >= 2);
    assert_eq!(look(&bench, &history).await.status, 403);
    let odd = format!("/api/v1/history/person/{job}");
    assert_eq!(look(&office, &odd).await.status, 404);
}

#[tokio::test]
async fn a_job_tells_its_hours_to_all_and_its_money_to_the_office() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let bench = site.signed_in("machinist").await;
    let jobs = read(&office, "/api/v1/jobs?limit=100").await.body;
    let (mut begun, mut checked) = (0, 0);
    let done = read(&office, "/api/v1/jobs?view=done&limit=10").await.body;
    for job in rows(&jobs["jobs"]).iter().chain(rows(&done["jobs"])) {
        let path = format!("/api/v1/jobs/{}/figures", id(job));
        let told = read(&office, &path).await.body;
        let money = &told["money"];
        let operations = rows(&told["operations"]);
        // Each is rounded to the penny, so that their sum may be off by half a penny for each.
        let lines: Decimal = operations.iter().map(|o| amount(&o["actual"])).sum();
        let scrapped: Decimal = rows(&told["scrapped"])
            .iter()
            .map(|c| amount(&c["amount"]))
            .sum();
        let off = (amount(&money["actual"]) - lines - scrapped).abs();
        let half = Decimal::new(5, 3) * Decimal::from(operations.len() + 1);
        assert!(off <= half, "{off}: {told}");
        let people: i64 = operations
            .iter()
            .map(|o| o["people_minutes"].as_i64().unwrap())
            .sum();
        assert_eq!(told["people_minutes"], people);
        begun += i32::from(people > 0);
        let hours = read(&bench, &path).await.body;
        assert_eq!(hours["people_minutes"], people);
        assert_eq!(
            (&hours["money"], &hours["price"]),
            (&Value::Null, &Value::Null)
        );
        assert!(hours["scrapped"] == json!([]) && hours["operations"][0]["actual"].is_null());
        let checks = read(&bench, &format!("/api/v1/jobs/{}/checks", id(job)))
            .await
            .body;
        for check in rows(&checks) {
            let known = |o: &&Value| o["operation_id"] == check["operation_id"];
            assert!(operations.iter().any(|o| known(&o)), "{check}");
            checked += 1;
        }
    }
    assert!(begun > 3 && checked > 3, "{begun} {checked}");

    let job = id(&jobs["jobs"][0]);
    for paper in ["card/a4", "card/a5", "fitting-sheet/a4"] {
        let answer = bench.get(&format!("/api/v1/jobs/{job}/{paper}")).await;
        assert_eq!(header(answer.headers(), "content-type"), "application/pdf");
        assert!(answer.bytes().await.unwrap().starts_with(b"%PDF-"));
    }
    assert_eq!(
        look(&bench, &format!("/api/v1/jobs/{job}/card/a0"))
            .await
            .status,
        404
    );
}

#[tokio::test]
async fn what_would_help_is_told_as_changes_that_can_be_previewed() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let variants = read(&office, "/api/v1/variants").await.body;
    let marine = rows(&variants)
        .iter()
        .find(|v| v["name"] == "Tarn 4/90 marine");
    let today = chrono::Utc::now().date_naive();
    let wanted_by = (today + chrono::Days::new(7)).to_string();
    let call = json!({"caller": "A. Caller", "wanted_variant_id": marine.unwrap()["id"], "wanted_by": wanted_by});
    let call = keyed(&office, "/api/v1/enquiries", "", call).await;
    let path = format!("/api/v1/enquiries/{}", id(&call.body));
    let said = read(&office, &format!("{path}/answer")).await.body;
    let options = rows(&said["options"]).iter();
    let mut keys = options.filter_map(|option| option["key"].as_str());
    let key = keys
        .find(|key| key.starts_with("convert-shelf"))
        .unwrap_or_else(|| panic!("{said}"));
    let asked = format!("{path}/sooner?answer={}&option={key}", id(&said));
    let found = read(&office, &asked).await.body;
    assert_eq!(found["wanted_by"], wanted_by);
    for way in rows(&found["ways"]) {
        assert!(!rows(&way["changes"]).is_empty() && amount(&way["price"]) > Decimal::ZERO);
    }

    let mut tried = 0;
    for path in ["/api/v1/plan/risks", "/api/v1/plan/setups"] {
        let told = read(&office, path).await.body;
        let changes = rows(&told).iter().flat_map(|one| {
            let helps = one["helps"].as_array().into_iter().flatten();
            helps.map(|help| &help["change"]).chain(one.get("change"))
        });
        for change in changes.take(3) {
            let preview = ("POST", "/api/v1/plan/preview");
            let preview = send(&office, preview, &[], change.clone()).await;
            assert_eq!(preview.status, 200, "{change}: {}", preview.body);
            tried += 1;
        }
    }
    assert!(tried > 2, "{tried}");
}

#[tokio::test]
async fn the_month_promises_and_the_market_are_told_and_parts_are_made() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let bench = site.signed_in("machinist").await;
    let path = "/api/v1/review/month";
    let month = read(&office, path).await.body;
    let mut jobs = 0;
    for made in rows(&month["by_kind"]).iter().chain([&month["made"]]) {
        let left = amount(&made["quoted"]) - amount(&made["cost"]) - amount(&made["aftercare"]);
        let off = (amount(&made["left"]) - left).abs();
        assert!(off <= Decimal::new(15, 3), "{made}");
        jobs += made["jobs"].as_i64().unwrap();
    }
    assert_eq!(jobs, 2 * month["made"]["jobs"].as_i64().unwrap());
    let odd = look(&office, &format!("{path}?month=1999-01")).await;
    assert_eq!(
        (odd.status, fields(&odd.body)),
        (422, BTreeSet::from(["month"]))
    );
    assert_eq!(look(&bench, path).await.status, 403);

    let path = "/api/v1/review/promises";
    let told = read(&office, path).await.body;
    let known = rows(&told["promises"]);
    let dated = known.iter().filter(|p| !p["day_kept"].is_null()).count();
    let given: u64 = rows(&told["days"])
        .iter()
        .map(|k| k["given"].as_u64().unwrap())
        .sum();
    assert!(given > 0 && given <= dated as u64, "{given} of {dated}");
    let odd = look(
        &office,
        &format!("{path}?period=days&from=x&until=2026-01-01"),
    )
    .await;
    assert_eq!(
        (odd.status, fields(&odd.body)),
        (422, BTreeSet::from(["from"]))
    );
    assert_eq!(look(&bench, path).await.status, 403);

    let market = read(&bench, "/api/v1/market").await.body;
    let seen: Vec<&str> = rows(&market["variants"])
        .iter()
        .filter_map(|v| v["last_seen"].as_str())
        .collect();
    assert!(
        seen.len() > 2 && seen.is_sorted_by(|a, b| a >= b),
        "{seen:?}"
    );

    let mut direct = site.database.owner().await;
    let item: String = sqlx::query_scalar("select id::text from making limit 1")
        .fetch_one(&mut direct)
        .await
        .unwrap();
    let path = format!("/api/v1/stock/{item}/batches");
    let batch = json!({"pieces": 4, "due_on": "2027-06-30"});
    let made = keyed(&office, &path, "four", batch.clone()).await;
    assert_eq!(made.status, 201, "{}", made.body);
    let again = keyed(&office, &path, "four", batch.clone()).await;
    assert_eq!(again.body, made.body);
    let batches = format!("/api/v1/jobs/{}/batches", id(&made.body));
    assert_eq!(rows(&read(&office, &batches).await.body).len(), 1);
    assert_eq!(keyed(&bench, &path, "", batch).await.status, 403);
    let none = json!({"pieces": 0, "due_on": "soon"});
    let refused = keyed(&office, &path, "", none).await;
    assert_eq!(fields(&refused.body), BTreeSet::from(["due_on", "pieces"]));
}
