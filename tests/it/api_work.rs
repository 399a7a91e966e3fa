//! The work of the shop by the JSON interface: jobs and their days, quotes and what became of them, the plan, what stands on
//! the shelf and in the stock.

use crate::support::site::{TestSite, Visitor, header};
use chrono::{DateTime, Days, NaiveDate, Utc};
use serde_json::{Value, json};
use std::collections::BTreeSet;

async fn read(visitor: &Visitor, path: &str) -> (u16, Value) {
    let answer = visitor.get(path).await;
    let status = answer.status().as_u16();
    (status, answer.json().await.unwrap())
}

async fn send(
    visitor: &Visitor,
    (method, path): (&str, &str),
    tag: Option<&str>,
    body: &Value,
) -> (u16, Value) {
    let mut request = visitor.request(method, path).json(body);
    if let Some(tag) = tag {
        request = request.header("if-match", tag);
    }
    let answer = request.send().await.unwrap();
    let status = answer.status().as_u16();
    (status, answer.json().await.unwrap())
}

fn rows<'a>(listed: &'a Value, what: &str) -> &'a Vec<Value> {
    listed[what].as_array().unwrap()
}

#[tokio::test]
async fn jobs_are_listed_read_and_moved_for_a_reason() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let bench = site.signed_in("machinist").await;

    let (status, open) = read(&office, "/api/v1/jobs").await;
    assert_eq!(status, 200, "{open}");
    let all = open["all"].as_i64().unwrap();
    assert!(all >= 50, "{all}");
    assert_eq!(i64::try_from(rows(&open, "jobs").len()).unwrap(), all);
    let (_, some) = read(&office, "/api/v1/jobs?limit=3&offset=2").await;
    assert_eq!(rows(&some, "jobs")[..], rows(&open, "jobs")[2..5]);
    let (_, late) = read(&office, "/api/v1/jobs?view=late").await;
    assert!(late["all"].as_i64().unwrap() < all);
    for (path, field) in [
        ("/api/v1/jobs?view=nonsense", "view"),
        ("/api/v1/jobs?limit=0", "limit"),
        ("/api/v1/jobs?offset=3000000000", "offset"),
    ] {
        let (status, refused) = read(&office, path).await;
        assert_eq!(status, 422, "{path}");
        assert_eq!(refused["errors"][0]["field"], field, "{refused}");
    }
    // What is paid is for the office, and so is what is to be invoiced.
    assert!(
        rows(&open, "jobs")
            .iter()
            .any(|job| job["value"].is_object())
    );
    let (_, theirs) = read(&bench, "/api/v1/jobs").await;
    assert!(
        rows(&theirs, "jobs")
            .iter()
            .all(|job| job["value"].is_null())
    );
    assert_eq!(read(&bench, "/api/v1/jobs?view=to_invoice").await.0, 403);

    let last = &rows(&open, "jobs")[0];
    let path = format!("/api/v1/jobs/{}", last["id"].as_str().unwrap());
    let (_, job) = read(&office, &path).await;
    let operations = rows(&job, "operations");
    assert_eq!(
        i64::try_from(operations.len()).unwrap(),
        last["operations"].as_i64().unwrap()
    );
    let numbers: BTreeSet<i64> = operations
        .iter()
        .map(|o| o["number"].as_i64().unwrap())
        .collect();
    let after = operations.iter().flat_map(|o| rows(o, "after"));
    assert!(
        after
            .into_iter()
            .all(|n| numbers.contains(&n.as_i64().unwrap()))
    );

    let due = format!("{path}/due");
    let day: NaiveDate = job["due_on"].as_str().unwrap().parse().unwrap();
    let later = day + Days::new(7);
    let moved = json!({"due_on": later, "reason": "The customer is away", "confirmed": true});
    let tag = format!("\"{}\"", job["version"]);
    let put = ("PUT", due.as_str());
    assert_eq!(send(&office, put, None, &moved).await.0, 428);
    assert_eq!(send(&office, put, Some("\"999\""), &moved).await.0, 412);
    assert_eq!(send(&bench, put, Some(&tag), &moved).await.0, 403);
    let (status, refused) = send(
        &office,
        put,
        Some(&tag),
        &json!({"due_on": "someday", "reason": ""}),
    )
    .await;
    assert_eq!(status, 422);
    let fields: BTreeSet<&str> = rows(&refused, "errors")
        .iter()
        .map(|e| e["field"].as_str().unwrap())
        .collect();
    assert_eq!(fields, BTreeSet::from(["due_on", "reason"]), "{refused}");
    let (status, now) = send(&office, put, Some(&tag), &moved).await;
    assert_eq!(status, 200, "{now}");
    assert_eq!(now["due_on"], later.to_string());
    assert_eq!(
        now["promised_on"], job["promised_on"],
        "what was promised stays"
    );
    let page = office.get(path.trim_start_matches("/api/v1")).await;
    assert!(page.text().await.unwrap().contains("The customer is away"));
}

#[tokio::test]
async fn quotes_are_accepted_or_declined_once() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let bench = site.signed_in("machinist").await;
    assert_eq!(read(&bench, "/api/v1/quotes").await.0, 403);
    let (_, open) = read(&office, "/api/v1/quotes").await;
    let open = rows(&open, "quotes");
    assert_eq!(open.len(), 2, "the demo waits for two customers");
    let (_, all) = read(&office, "/api/v1/quotes?view=all&limit=1").await;
    assert!(all["all"].as_i64().unwrap() > 100 && rows(&all, "quotes").len() == 1);

    let path = |quote: &Value| format!("/api/v1/quotes/{}", quote["id"].as_str().unwrap());
    let first = office.get(&path(&open[0])).await;
    let tag = header(first.headers(), "etag").to_owned();
    let accepted = format!("{}/accepted", path(&open[0]));
    let take = ("POST", accepted.as_str());
    let due = open[0]["promised_on"].as_str().unwrap();
    let body = json!({"due_on": due, "confirmed": true});
    assert_eq!(send(&office, take, None, &body).await.0, 428);
    assert_eq!(send(&office, take, Some("\"77\""), &body).await.0, 412);
    let under_key = async || {
        let request = office.request("POST", &accepted).json(&body);
        let request = request.header("if-match", &tag);
        let answer = request.header("idempotency-key", "they take it");
        let answer = answer.send().await.unwrap();
        (
            answer.status().as_u16(),
            answer.json::<Value>().await.unwrap(),
        )
    };
    let (status, job) = under_key().await;
    assert_eq!(status, 201, "{job}");
    assert_eq!(
        under_key().await,
        (201, job.clone()),
        "sent again, it is the same job"
    );
    let (_, read_back) = read(
        &office,
        &format!("/api/v1/jobs/{}", job["id"].as_str().unwrap()),
    )
    .await;
    assert_eq!(read_back["quote_id"], open[0]["id"]);
    assert_eq!(read_back["due_on"], due);
    let (status, again) = send(&office, take, Some(&tag), &body).await;
    assert!((400..500).contains(&status), "{again}");
    let (_, won) = read(&office, &path(&open[0])).await;
    assert_eq!(won["state"], "won");

    let declined = format!("{}/declined", path(&open[1]));
    let lose = ("POST", declined.as_str());
    let tag = format!("\"{}\"", open[1]["version"]);
    let (status, refused) = send(&office, lose, Some(&tag), &json!({"why": " "})).await;
    assert_eq!(
        (status, &refused["errors"][0]["field"]),
        (422, &json!("why"))
    );
    let (status, lost) = send(&office, lose, Some(&tag), &json!({"why": "Too dear"})).await;
    assert_eq!(
        (status, &lost["state"], &lost["why"]),
        (200, &json!("lost"), &json!("Too dear"))
    );
}

#[tokio::test]
async fn the_plan_says_when_each_operation_and_each_job_is_done() {
    let site = TestSite::demo().await;
    let bench = site.signed_in("machinist").await;
    let (status, plan) = read(&bench, "/api/v1/plan").await;
    assert_eq!(status, 200);
    let at = |value: &Value| -> DateTime<Utc> { value.as_str().unwrap().parse().unwrap() };
    let (slots, jobs) = (rows(&plan, "slots"), rows(&plan, "jobs"));
    assert!(slots.len() > 100 && jobs.len() > 30);
    assert!(
        slots
            .windows(2)
            .all(|two| at(&two[0]["starts"]) <= at(&two[1]["starts"]))
    );
    // A job is ready when its last operation ends.
    for job in jobs {
        let own = slots.iter().filter(|slot| slot["job"] == job["job"]);
        let last = own.map(|slot| at(&slot["ends"])).max();
        assert_eq!(last, Some(at(&job["ready_at"])), "{job}");
    }
}

#[tokio::test]
async fn the_shelf_and_the_stock_are_listed_as_on_their_pages() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let (status, shelf) = read(&office, "/api/v1/castings").await;
    assert_eq!(status, 200, "{shelf}");
    let castings = rows(&shelf, "castings");
    assert!(!castings.is_empty());
    let number = castings[0]["number"].as_i64().unwrap();
    let (_, found) = read(&office, &format!("/api/v1/castings?q={number}&view=all")).await;
    assert!(
        rows(&found, "castings")
            .iter()
            .any(|c| c["id"] == castings[0]["id"])
    );
    let (status, stock) = read(&office, "/api/v1/stock").await;
    assert_eq!(status, 200, "{stock}");
    let items = rows(&stock, "items");
    assert!(!items.is_empty());
    for item in items {
        assert!(
            item["on_hand"]
                .as_str()
                .unwrap()
                .parse::<rust_decimal::Decimal>()
                .is_ok()
        );
    }
    assert_eq!(read(&office, "/api/v1/stock?view=nonsense").await.0, 422);
}

#[tokio::test]
async fn hours_are_booked_once_all_or_none() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let (_, plan) = read(&office, "/api/v1/plan").await;
    // The last operation of the plan is waiting, and somebody is to do it.
    let slot = rows(&plan, "slots")
        .iter()
        .rfind(|slot| slot["person"].is_string() && slot["state"] == "planned")
        .unwrap();
    let row = |from: i64, until: i64| {
        let at = |minutes| Utc::now() - chrono::TimeDelta::minutes(minutes);
        json!({"operation_id": slot["operation"], "person_id": slot["person"], "machine_id": slot["machine"],
               "from": at(from), "until": at(until)})
    };
    let count = async || -> i64 {
        let mut owner = site.database.owner().await;
        sqlx::query_scalar("select count(*) from booking where operation_id = $1")
            .bind(
                slot["operation"]
                    .as_str()
                    .unwrap()
                    .parse::<uuid::Uuid>()
                    .unwrap(),
            )
            .fetch_one(&mut owner)
            .await
            .unwrap()
    };
    let post = async |key: &str, body: &Value| {
        let request = office.request("POST", "/api/v1/hours").json(body);
        let answer = request.header("idempotency-key", key).send().await.unwrap();
        let status = answer.status().as_u16();
        (status, answer.json::<Value>().await.unwrap())
    };
    let mut long_ago = row(60, 30);
    long_ago["from"] = json!("0001-01-01T08:00:00Z");
    long_ago["until"] = json!("0001-01-01T10:00:00Z");
    for (rows_sent, field) in [
        (json!([]), "rows"),
        (json!([row(30, 60)]), "rows.0.until"),
        (json!([row(60, -60)]), "rows.0.until"),
        (json!([row(3_000, 60)]), "rows.0.until"),
        (json!([row(240, 120), row(180, 60)]), "rows.1.from"),
        (json!([long_ago]), "rows.0.from"),
    ] {
        let (status, refused) =
            post("wrong", &json!({"reason": "From paper", "rows": rows_sent})).await;
        assert_eq!(status, 422, "{refused}");
        assert_eq!(refused["errors"][0]["field"], field, "{refused}");
    }
    assert_eq!(count().await, 0);
    let sent = json!({"reason": "Tablet down", "rows": [row(240, 180), row(120, 60)]});
    let (status, booked) = post("paper-1", &sent).await;
    assert_eq!((status, &booked["booked"]), (201, &json!(2)), "{booked}");
    assert_eq!(count().await, 4);
    assert_eq!(post("paper-1", &sent).await.0, 201);
    assert_eq!(count().await, 4, "the same rows again are not booked again");
    let other = json!({"reason": "Tablet down", "rows": [row(50, 40)]});
    assert_eq!(
        post("paper-1", &other).await.0,
        422,
        "the key is that of other rows"
    );
    assert_eq!(count().await, 4);
}
