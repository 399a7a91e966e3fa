//! What is done with the work by the JSON interface, as on the screens: booked, checked, decided, planned by hand, taken in,
//! counted, ordered.

use crate::support::site::{TestSite, Visitor};
use rust_decimal::{Decimal, dec};
use serde_json::{Value, json};
use std::collections::BTreeSet;

struct Answered {
    status: u16,
    tag: String,
    body: Value,
}

async fn ask(visitor: &Visitor, method: &str, path: &str, tag: &str, body: Value) -> Answered {
    send(visitor, (method, path), &[("if-match", tag)], body).await
}

async fn keyed(visitor: &Visitor, path: &str, key: &str, body: Value) -> Answered {
    send(visitor, ("POST", path), &[("idempotency-key", key)], body).await
}

async fn send(
    visitor: &Visitor,
    (method, path): (&str, &str),
    headers: &[(&str, &str)],
    body: Value,
) -> Answered {
    let mut request = visitor.request(method, path);
    for (name, value) in headers.iter().filter(|(_, value)| !value.is_empty()) {
        request = request.header(*name, *value);
    }
    if !body.is_null() {
        request = request.json(&body);
    }
    let answer = request.send().await.unwrap();
    let tag = answer.headers().get("etag");
    Answered {
        status: answer.status().as_u16(),
        tag: tag.map_or("", |tag| tag.to_str().unwrap()).to_owned(),
        body: answer.json().await.unwrap_or_default(),
    }
}

async fn read(visitor: &Visitor, path: &str) -> Answered {
    let read = ask(visitor, "GET", path, "", Value::Null).await;
    assert_eq!(read.status, 200, "{path}: {}", read.body);
    read
}

fn id(of: &Value) -> &str {
    of["id"].as_str().unwrap()
}

fn number(text: &Value) -> Decimal {
    text.as_str().unwrap().parse().unwrap()
}

fn fields(refused: &Value) -> BTreeSet<&str> {
    let errors = refused["errors"].as_array().into_iter().flatten();
    errors
        .map(|error| error["field"].as_str().unwrap())
        .collect()
}

/// A job entered by hand with work that two people can begin.
async fn entered(office: &Visitor, key: &str) -> Value {
    let work = read(office, "/api/v1/standards?limit=500").await.body;
    let asked = work["records"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| &r["values"]);
    let code = |kind: &str| {
        let mut of = asked
            .clone()
            .filter(|v| v["machine_kind"] == kind && v["basis"] == "once");
        of.next().unwrap()["code"].as_str().unwrap().to_owned()
    };
    let body = json!({"title": "Small end bushes", "customer": "Harbour Marine", "part": "rods",
        "work": [code("bench"), code("line borer")], "count": ["1", "1"], "due_on": "2027-06-30", "due_confirmed": "yes"});
    let made = keyed(office, "/api/v1/jobs", key, body.clone()).await;
    assert_eq!(made.status, 201, "{}", made.body);
    let again = keyed(office, "/api/v1/jobs", key, body).await;
    assert_eq!((again.status, &again.body), (201, &made.body));
    read(office, &format!("/api/v1/jobs/{}", id(&made.body)))
        .await
        .body
}

#[tokio::test]
async fn a_machinist_books_a_job_by_requests_and_the_office_puts_an_entry_right() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let bench = site.signed_in("machinist").await;
    let job = entered(&office, "a job").await;
    let operations = job["operations"].as_array().unwrap();
    assert!(operations.len() >= 2, "{job}");
    let (one, two) = (id(&operations[0]), id(&operations[1]));
    let path = format!("/api/v1/jobs/{}/bookings", id(&job));

    let begin = |operation: &str| json!({"kind": "run", "operation_id": operation});
    let first = keyed(&bench, "/api/v1/bookings", "first", begin(one)).await;
    assert_eq!(first.status, 201, "{}", first.body);
    // Sent again it is the same entry of the same moment; for something else the key is refused.
    let again = keyed(&bench, "/api/v1/bookings", "first", begin(one)).await;
    assert_eq!((again.status, &again.body), (201, &first.body));
    let other = keyed(&bench, "/api/v1/bookings", "first", begin(two)).await;
    assert_eq!(other.status, 422, "{}", other.body);
    let odd = json!({"kind": "struck", "operation_id": one});
    assert_eq!(
        fields(&keyed(&bench, "/api/v1/bookings", "", odd).await.body),
        BTreeSet::from(["kind"])
    );
    // What is attended elsewhere in another setup is paused, once.
    for _ in 0..2 {
        let second = keyed(&bench, "/api/v1/bookings", "second", begin(two)).await;
        assert_eq!(second.status, 201, "{}", second.body);
    }
    let booked = read(&office, &path).await.body;
    let said: Vec<(&str, &str)> = booked
        .as_array()
        .unwrap()
        .iter()
        .map(|e| {
            (
                e["kind"].as_str().unwrap(),
                e["operation_id"].as_str().unwrap(),
            )
        })
        .collect();
    assert_eq!(
        said,
        [("run", one), ("pause", one), ("run", two)],
        "{booked}"
    );
    assert!(
        booked
            .as_array()
            .unwrap()
            .iter()
            .all(|e| e["person"] == "Bram Tully")
    );
    let state = |job: &Value, n: usize| job["operations"][n]["state"].as_str().unwrap().to_owned();
    let now = read(&office, &format!("/api/v1/jobs/{}", id(&job)))
        .await
        .body;
    assert_eq!(
        (state(&now, 0), state(&now, 1)),
        ("started".to_owned(), "started".to_owned())
    );

    let entry = format!("{path}/{}/correction", id(&booked[2]));
    let never = json!({"kind": "struck", "reason": "Wrong job"});
    assert_eq!(keyed(&bench, &entry, "", never.clone()).await.status, 403);
    let late = json!({"kind": "moved", "reason": "x", "at": "2999-01-01T00:00:00Z"});
    assert_eq!(
        fields(&keyed(&office, &entry, "", late).await.body),
        BTreeSet::from(["at"])
    );
    for _ in 0..2 {
        let struck = keyed(&office, &entry, "struck", never.clone()).await;
        assert_eq!(struck.status, 204, "{}", struck.body);
    }
    let booked = read(&office, &path).await.body;
    assert_eq!(booked.as_array().unwrap().len(), 4);
    let now = read(&office, &format!("/api/v1/jobs/{}", id(&job)))
        .await
        .body;
    assert_eq!(
        (state(&now, 0), state(&now, 1)),
        ("started".to_owned(), "queued".to_owned())
    );
}

#[tokio::test]
async fn a_job_is_given_up_and_opened_again_for_a_reason_and_needs_what_is_written_down() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let bench = site.signed_in("machinist").await;
    let job = entered(&office, "a job").await;
    let path = format!("/api/v1/jobs/{}", id(&job));
    let needs = format!("{path}/needs");
    let body = json!({"kind": "part", "what": "Bush blanks", "quantity": "8", "unit": "each", "arrival": "wanted"});
    assert_eq!(keyed(&bench, &needs, "", body.clone()).await.status, 403);
    let odd = json!({"kind": "part", "what": "Bush blanks", "quantity": "8", "unit": "each", "arrival": "wanted", "colour": "red"});
    assert_eq!(
        fields(&keyed(&office, &needs, "", odd).await.body),
        BTreeSet::from(["colour"])
    );
    let need = keyed(&office, &needs, "blanks", body.clone()).await;
    assert_eq!(
        (need.status, &need.body["has_a_day"]),
        (201, &json!(false)),
        "{}",
        need.body
    );
    let again = keyed(&office, &needs, "blanks", body.clone()).await;
    assert_eq!((again.status, again.body), (201, need.body.clone()));
    let one = format!("{needs}/{}", id(&need.body));
    let mut ordered = body;
    ordered["arrival"] = json!("ordered");
    ordered["expected_on"] = json!("2027-02-01");
    let changed = ask(&office, "PUT", &one, &need.tag, ordered.clone()).await;
    assert_eq!(
        (changed.status, &changed.body["has_a_day"]),
        (200, &json!(true)),
        "{}",
        changed.body
    );
    assert_eq!(
        ask(&office, "PUT", &one, &need.tag, ordered).await.status,
        412
    );
    let step = format!("{one}/step");
    assert_eq!(
        fields(
            &ask(&bench, "POST", &step, &changed.tag, json!({"step": "eat"}))
                .await
                .body
        ),
        BTreeSet::from(["step"])
    );
    let here = ask(
        &bench,
        "POST",
        &step,
        &changed.tag,
        json!({"step": "arrived"}),
    )
    .await;
    assert_eq!(
        (here.status, &here.body["arrival"]),
        (200, &json!("here")),
        "{}",
        here.body
    );
    assert_eq!(
        ask(&office, "DELETE", &one, &here.tag, Value::Null)
            .await
            .status,
        204
    );
    assert_eq!(
        read(&office, &needs)
            .await
            .body
            .as_array()
            .unwrap()
            .iter()
            .filter(|n| n["what"] == "Bush blanks")
            .count(),
        0
    );

    let seen = read(&office, &path).await;
    let undone = ask(
        &office,
        "POST",
        &format!("{path}/closed"),
        &seen.tag,
        Value::Null,
    )
    .await;
    assert_eq!(undone.status, 422, "its work is not done: {}", undone.body);
    let cancel = format!("{path}/cancelled");
    assert_eq!(
        fields(
            &ask(&office, "POST", &cancel, &seen.tag, json!({"reason": " "}))
                .await
                .body
        ),
        BTreeSet::from(["reason"])
    );
    let gone = ask(
        &office,
        "POST",
        &cancel,
        &seen.tag,
        json!({"reason": "The boat was sold"}),
    )
    .await;
    assert_eq!(
        (gone.status, &gone.body["state"]),
        (200, &json!("cancelled")),
        "{}",
        gone.body
    );
    assert_eq!(
        ask(
            &office,
            "POST",
            &cancel,
            &seen.tag,
            json!({"reason": "Twice"})
        )
        .await
        .status,
        422
    );
    let back = ask(
        &office,
        "POST",
        &format!("{path}/reopened"),
        &gone.tag,
        json!({"reason": "It was not"}),
    )
    .await;
    assert_eq!(
        (back.status, &back.body["state"]),
        (200, &json!("open")),
        "{}",
        back.body
    );
}

#[tokio::test]
async fn the_week_is_changed_on_the_plan_that_was_seen_and_changed_back() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let bench = site.signed_in("machinist").await;
    let seen = read(&office, "/api/v1/plan").await;
    let slots = seen.body["slots"].as_array().unwrap();
    let slot = slots
        .iter()
        .rev()
        .find(|slot| slot["state"] == "planned" && !slot["person"].is_null())
        .unwrap();
    let person = &slot["person"];
    let place = json!({"change": "place", "operation": slot["operation"], "machine": slot["machine"], "person": person, "starts": slot["starts"]});
    let preview = send(
        &office,
        ("POST", "/api/v1/plan/preview"),
        &[],
        place.clone(),
    )
    .await;
    assert_eq!(
        (preview.status, &preview.tag),
        (200, &seen.tag),
        "{}",
        preview.body
    );
    assert!(preview.body["sentence"].as_str().unwrap().len() > 10);
    assert_eq!(read(&office, "/api/v1/plan/changes").await.body, json!([]));
    for odd in [json!({"change": "dance"}), json!({"change": "place"})] {
        let refused = send(&office, ("POST", "/api/v1/plan/preview"), &[], odd).await;
        assert_eq!(
            (refused.status, fields(&refused.body)),
            (422, BTreeSet::from(["change"]))
        );
    }
    let path = "/api/v1/plan/changes";
    assert_eq!(
        ask(&bench, "POST", path, &seen.tag, place.clone())
            .await
            .status,
        403
    );
    assert_eq!(
        ask(&office, "POST", path, "", place.clone()).await.status,
        428
    );
    let made = ask(&office, "POST", path, &seen.tag, place.clone()).await;
    assert_eq!(made.status, 200, "{}", made.body);
    // The plan that was seen is not the present one any more.
    assert_eq!(
        ask(&office, "POST", path, &seen.tag, place).await.status,
        412
    );
    let now = read(&office, "/api/v1/plan").await;
    assert_ne!(now.tag, seen.tag);
    let same = now.body["slots"]
        .as_array()
        .unwrap()
        .iter()
        .find(|s| s["operation"] == slot["operation"])
        .unwrap();
    assert_eq!(
        (&same["state"], &same["person"]),
        (&json!("pinned"), person)
    );
    let changes = read(&office, path).await.body;
    let undo = format!("{path}/{}", id(&changes[0]));
    assert_eq!(
        ask(&office, "DELETE", &undo, &seen.tag, Value::Null)
            .await
            .status,
        412
    );
    let undone = ask(&office, "DELETE", &undo, &now.tag, Value::Null).await;
    assert_eq!(undone.status, 200, "{}", undone.body);
    let changes = read(&office, path).await.body;
    assert_eq!(
        (&changes[0]["is_undo"], &changes[1]["undone"]),
        (&json!(true), &json!(true))
    );
}

#[tokio::test]
async fn a_check_that_fails_holds_the_job_until_the_office_decides() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let bench = site.signed_in("machinist").await;
    let checked = read(&office, "/api/v1/standards?limit=500").await.body;
    let with_check = checked["records"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| &r["values"])
        .filter(|v| v["basis"] == "once" && v["outside_price"].is_null())
        .find(|v| {
            v["checks"]
                .as_array()
                .is_some_and(|checks| !checks.is_empty())
        })
        .expect("a standard time with a check");
    let body = json!({"title": "Checked", "work": [with_check["code"]], "count": ["1"], "due_on": "2027-06-30", "due_confirmed": "yes"});
    let made = keyed(&office, "/api/v1/jobs", "checked", body).await;
    assert_eq!(made.status, 201, "{}", made.body);
    let path = format!("/api/v1/jobs/{}", id(&made.body));
    let job = read(&office, &path).await.body;
    let operation = id(&job["operations"][0]);
    let nothing = json!({"operation_id": operation, "place": 0});
    assert_eq!(
        fields(&keyed(&bench, "/api/v1/checks", "", nothing).await.body),
        BTreeSet::from(["measured"])
    );
    let ways = [
        json!({"operation_id": operation, "place": 0, "goes": false, "note": "It sticks"}),
        json!({"operation_id": operation, "place": 0, "measured": "987654"}),
        json!({"operation_id": operation, "place": 0, "readings": ["987654"]}),
    ];
    let mut found = None;
    for (at, way) in ways.into_iter().enumerate() {
        let key = format!("check {at}");
        let sent = keyed(&bench, "/api/v1/checks", &key, way.clone()).await;
        if sent.status == 201 {
            let again = keyed(&bench, "/api/v1/checks", &key, way).await;
            assert_eq!((again.status, &again.body), (201, &sent.body));
            found = Some(sent.body);
            break;
        }
        assert_eq!(sent.status, 422, "{}", sent.body);
    }
    assert_eq!(found.unwrap()["passed"], false);
    let holds = read(&office, &format!("{path}/holds")).await.body;
    assert_eq!(
        (holds.as_array().unwrap().len(), &holds[0]["decision"]),
        (1, &Value::Null)
    );
    let waits = read(&office, "/api/v1/attention").await.body;
    let waiting = waits["holds"].as_array().unwrap().iter();
    assert_eq!(
        waiting.filter(|hold| hold["id"] == holds[0]["id"]).count(),
        1
    );
    let hold = format!("{path}/holds/{}", id(&holds[0]));
    let seen = read(&office, &hold).await;
    let concession =
        json!({"decision": "concession", "note": "It will do", "said_by": "Una Flint"});
    assert_eq!(
        ask(&bench, "PUT", &hold, &seen.tag, concession.clone())
            .await
            .status,
        403
    );
    let without = json!({"decision": "concession", "note": "It will do"});
    assert_eq!(
        fields(&ask(&office, "PUT", &hold, &seen.tag, without).await.body),
        BTreeSet::from(["said_by"])
    );
    let decided = ask(&office, "PUT", &hold, &seen.tag, concession.clone()).await;
    assert_eq!(
        (decided.status, &decided.body["decision"]),
        (200, &json!("concession")),
        "{}",
        decided.body
    );
    assert_eq!(
        ask(&office, "PUT", &hold, &seen.tag, concession)
            .await
            .status,
        412
    );
}

#[tokio::test]
async fn stock_is_counted_ordered_and_received_and_tooling_goes_out_and_comes_back() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let bench = site.signed_in("machinist").await;
    let item = json!({"name": "Test seals", "unit": "each"});
    let item = send(&office, ("POST", "/api/v1/stock"), &[], item).await;
    assert_eq!(item.status, 201, "{}", item.body);
    let path = format!("/api/v1/stock/{}", id(&item.body));
    let on_hand = async || {
        let listed = read(&office, "/api/v1/stock?q=Test%20seals").await.body;
        number(&listed["items"][0]["on_hand"])
    };
    let count = json!({"seen": "0", "counted": "12", "why": "Found in a drawer"});
    let counted = ask(&bench, "POST", &format!("{path}/counts"), "", count.clone()).await;
    assert_eq!(
        (counted.status, &counted.body),
        (200, &json!({"differed": true}))
    );
    assert_eq!(
        ask(&bench, "POST", &format!("{path}/counts"), "", count)
            .await
            .status,
        409
    );
    let spoilt = json!({"quantity": "2", "why": "Cut in fitting"});
    for _ in 0..2 {
        let off = keyed(
            &bench,
            &format!("{path}/write-offs"),
            "spoilt",
            spoilt.clone(),
        )
        .await;
        assert_eq!(off.status, 204, "{}", off.body);
    }
    assert_eq!(on_hand().await, dec!(10), "written off once");
    let orders = format!("{path}/orders");
    let order = json!({"quantity": "20", "supplier": "Quay Bearings"});
    assert_eq!(keyed(&bench, &orders, "", order.clone()).await.status, 403);
    let made = keyed(&office, &orders, "twenty", order.clone()).await;
    assert_eq!(made.status, 201, "{}", made.body);
    assert_eq!(
        keyed(&office, &orders, "twenty", order).await.body,
        made.body
    );
    assert_eq!(
        read(&office, &orders).await.body.as_array().unwrap().len(),
        1
    );
    let one = format!("{orders}/{}", id(&made.body));
    let past = json!({"expected_on": "2020-01-01"});
    assert_eq!(
        fields(&ask(&office, "PUT", &one, &made.tag, past).await.body),
        BTreeSet::from(["expected_on"])
    );
    let day = ask(
        &office,
        "PUT",
        &one,
        &made.tag,
        json!({"expected_on": "2027-03-01"}),
    )
    .await;
    assert_eq!(
        (day.status, &day.body["expected_on"]),
        (200, &json!("2027-03-01")),
        "{}",
        day.body
    );
    let came = ask(
        &bench,
        "POST",
        &format!("{one}/received"),
        &day.tag,
        json!({"quantity": "15", "last": true}),
    )
    .await;
    assert_eq!(came.status, 204, "{}", came.body);
    assert_eq!(on_hand().await, dec!(25));
    assert_eq!(
        ask(&office, "DELETE", &one, &day.tag, Value::Null)
            .await
            .status,
        412
    );

    let tool = json!({"name": "Test arbor"});
    let tool = send(&office, ("POST", "/api/v1/tooling"), &[], tool).await;
    let loan = format!("/api/v1/tooling/{}/loan", id(&tool.body));
    let job = entered(&office, "a job").await;
    let out = json!({"job_id": job["id"], "back_on": "2027-05-01"});
    for _ in 0..2 {
        assert_eq!(ask(&bench, "PUT", &loan, "", out.clone()).await.status, 204);
    }
    let other = entered(&office, "another").await;
    let taken = ask(&bench, "PUT", &loan, "", json!({"job_id": other["id"]})).await;
    assert_eq!(taken.status, 422, "it is out with another: {}", taken.body);
    for _ in 0..2 {
        assert_eq!(
            ask(&bench, "DELETE", &loan, "", Value::Null).await.status,
            204
        );
    }
    assert_eq!(
        ask(&bench, "PUT", &loan, "", json!({"job_id": other["id"]}))
            .await
            .status,
        204
    );
}

#[tokio::test]
async fn a_casting_is_taken_in_described_inspected_and_written_off() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let bench = site.signed_in("machinist").await;
    let variants = read(&office, "/api/v1/variants").await.body;
    let variant = variants
        .as_array()
        .unwrap_or_else(|| variants["variants"].as_array().unwrap())[0]["id"]
        .clone();
    let body = json!({"variant": variant, "ownership": "shop", "source": "bought", "came_from": "Slip yard", "cost": "180",
        "condition": "Rusty, two studs broken"});
    let made = keyed(&office, "/api/v1/castings", "a block", body.clone()).await;
    assert_eq!(made.status, 201, "{}", made.body);
    assert_eq!(
        keyed(&office, "/api/v1/castings", "a block", body.clone())
            .await
            .body,
        made.body
    );
    assert_eq!(
        keyed(&bench, "/api/v1/castings", "", body.clone())
            .await
            .status,
        403
    );
    let path = format!("/api/v1/castings/{}", id(&made.body));
    let mut dearer = body;
    dearer["cost"] = json!("200");
    let changed = ask(&office, "PUT", &path, &made.tag, dearer).await;
    assert_eq!(
        (changed.status, &changed.body["cost"]["amount"]),
        (200, &json!("200")),
        "{}",
        changed.body
    );

    let mark = json!({"mark_kind": "stamped", "mark_place": "rear, left", "mark_text": "H 7"});
    for _ in 0..2 {
        assert_eq!(
            keyed(&bench, &format!("{path}/marks"), "h7", mark.clone())
                .await
                .status,
            204
        );
    }
    let marks = read(&bench, &format!("{path}/marks")).await.body;
    assert_eq!(
        (marks.as_array().unwrap().len(), &marks[0]["text"]),
        (1, &json!("H 7"))
    );
    let measured = json!({"measured_what": "Deck height", "measured_value": "301.25 mm", "measured_with": "Height gauge"});
    assert_eq!(
        keyed(&bench, &format!("{path}/measurements"), "", measured)
            .await
            .status,
        204
    );
    let all = read(&bench, &format!("{path}/measurements")).await.body;
    assert_eq!(number(&all[0]["measured"]), dec!(301.25));
    let gone = format!("{path}/marks/{}", id(&marks[0]));
    assert_eq!(
        ask(&bench, "DELETE", &gone, "", Value::Null).await.status,
        204
    );

    let inspection = format!("{path}/inspection");
    let later = json!({"outcome": "good", "inspected_on": "2999-01-01"});
    assert_eq!(
        fields(
            &ask(&bench, "PUT", &inspection, &changed.tag, later)
                .await
                .body
        ),
        BTreeSet::from(["inspected_on"])
    );
    let good = json!({"outcome": "good", "inspected_on": "2026-01-05"});
    let good = ask(&bench, "PUT", &inspection, &changed.tag, good).await;
    assert_eq!(
        (good.status, &good.body["outcome"]),
        (200, &json!("good")),
        "{}",
        good.body
    );
    let state = format!("{path}/state");
    assert_eq!(
        ask(
            &bench,
            "PUT",
            &state,
            &good.tag,
            json!({"state": "scrapped"})
        )
        .await
        .status,
        403
    );
    let scrapped = ask(
        &office,
        "PUT",
        &state,
        &good.tag,
        json!({"state": "scrapped"}),
    )
    .await;
    assert_eq!(
        (scrapped.status, &scrapped.body["state"]),
        (200, &json!("scrapped")),
        "{}",
        scrapped.body
    );
}

#[tokio::test]
async fn a_call_is_closed_a_slot_is_kept_and_a_standard_is_decided() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let office = site.signed_in("office").await;
    let call = send(
        &office,
        ("POST", "/api/v1/enquiries"),
        &[],
        json!({"caller": "A. Caller"}),
    )
    .await;
    assert_eq!(call.status, 201, "{}", call.body);
    let closed = format!("/api/v1/enquiries/{}/closed", id(&call.body));
    let shut = ask(&office, "PUT", &closed, &call.tag, json!({"closed": true})).await;
    assert_eq!(shut.status, 204, "{}", shut.body);
    assert_eq!(
        ask(&office, "PUT", &closed, &call.tag, json!({"closed": false}))
            .await
            .status,
        412
    );

    let quotes = read(&office, "/api/v1/quotes").await.body;
    let quote = quotes["quotes"]
        .as_array()
        .unwrap()
        .iter()
        .find(|q| q["state"] == "sent");
    let quote = quote.unwrap_or_else(|| panic!("{quotes}"));
    let slot = format!("/api/v1/quotes/{}/slot", id(quote));
    assert_eq!(
        ask(&office, "PUT", &slot, "", json!({"until": "2999-01-01"}))
            .await
            .status,
        422
    );
    assert_eq!(
        ask(&office, "PUT", &slot, "", json!({"until": null}))
            .await
            .status,
        204
    );

    let standards = read(&owner, "/api/v1/review/standards").await.body;
    let proposed = standards["standards"]
        .as_array()
        .unwrap()
        .iter()
        .find(|s| s["verdict"] == "change");
    let one = proposed.expect("the demo has a standard that is off");
    let path = format!(
        "/api/v1/review/standards/{}/{}",
        one["element"].as_str().unwrap(),
        one["part"].as_str().unwrap()
    );
    let tag = format!("\"{}\"", one["version"]);
    let figure = one["by_bookings"]
        .as_str()
        .map_or_else(|| one["by_bookings"].to_string(), ToOwned::to_owned);
    let take = json!({"decision": "accepted", "proposed": figure});
    assert_eq!(
        ask(&office, "PUT", &path, &tag, take.clone()).await.status,
        403
    );
    let never = json!({"decision": "refused", "proposed": figure});
    assert_eq!(
        fields(&ask(&owner, "PUT", &path, &tag, never).await.body),
        BTreeSet::from(["reason"])
    );
    let taken = ask(&owner, "PUT", &path, &tag, take.clone()).await;
    assert_eq!(taken.status, 204, "{}", taken.body);
    assert_ne!(
        ask(&owner, "PUT", &path, &tag, take).await.status,
        204,
        "decided already"
    );
}

#[tokio::test]
async fn orders_of_work_and_of_rules_are_changed_and_customers_become_one() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let office = site.signed_in("office").await;
    let path = "/api/v1/order-of-work";
    let seen = read(&office, path).await.body;
    let rule = &seen["rules"][0];
    let with = |change: &str| json!({"change": change, "first": rule["first"], "then": rule["then"], "why": rule["why"]});
    assert_eq!(
        ask(&office, "POST", path, "", with("remove")).await.status,
        403
    );
    assert_eq!(
        ask(&owner, "POST", path, "", with("remove")).await.status,
        204
    );
    let without = read(&office, path).await.body;
    assert_eq!(
        without["rules"].as_array().unwrap().len() + 1,
        seen["rules"].as_array().unwrap().len()
    );
    let same = json!({"change": "add", "first": rule["first"], "then": rule["first"]});
    assert_eq!(
        fields(&ask(&owner, "POST", path, "", same).await.body),
        BTreeSet::from(["then"])
    );
    assert_eq!(ask(&owner, "POST", path, "", with("add")).await.status, 204);
    assert_eq!(read(&office, path).await.body["order"], seen["order"]);

    let keys = async || -> Vec<Value> {
        let rules = read(&office, "/api/v1/rules?limit=500").await.body;
        rules["records"]
            .as_array()
            .unwrap()
            .iter()
            .map(|rule| rule["id"].clone())
            .collect()
    };
    let mut rules = keys().await;
    assert!(rules.len() > 2);
    rules.reverse();
    let sort = "/api/v1/rules/order";
    assert_eq!(
        fields(
            &ask(&office, "PUT", sort, "", json!({"rules": rules[1..]}))
                .await
                .body
        ),
        BTreeSet::from(["rules"])
    );
    assert_eq!(
        ask(&office, "PUT", sort, "", json!({"rules": rules}))
            .await
            .status,
        204
    );
    assert_eq!(keys().await, rules);

    let mut both = Vec::new();
    for name in ["Hale Boats", "Hales Boats"] {
        let made = send(
            &office,
            ("POST", "/api/v1/customers"),
            &[],
            json!({"name": name}),
        )
        .await;
        both.push((id(&made.body).to_owned(), made.tag));
    }
    let [(kept, _), (gone, tag)] = both.as_slice() else {
        panic!()
    };
    let merge = format!("/api/v1/customers/{gone}/merged");
    assert_eq!(
        ask(&office, "POST", &merge, "\"9\"", json!({"into": kept}))
            .await
            .status,
        412
    );
    assert_eq!(
        ask(&office, "POST", &merge, tag, json!({"into": kept}))
            .await
            .status,
        204
    );
    assert_eq!(
        ask(
            &office,
            "GET",
            &format!("/api/v1/customers/{gone}"),
            "",
            Value::Null
        )
        .await
        .status,
        404
    );
    let merges = format!("/api/v1/customers/{kept}/merges");
    let merged = read(&office, &merges).await.body;
    assert_eq!(merged[0]["customer_id"], json!(gone));
    let part = format!("{merges}/{}", id(&merged[0]));
    assert_eq!(
        ask(&office, "DELETE", &part, "", Value::Null).await.status,
        204
    );
    assert_eq!(read(&office, &merges).await.body, json!([]));
    read(&office, &format!("/api/v1/customers/{gone}")).await;
}

#[tokio::test]
async fn what_is_learned_is_taken_over_as_it_was_proposed_and_no_other_way() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let office = site.signed_in("office").await;
    let waits = read(&office, "/api/v1/attention").await.body;
    for kind in ["holds", "calls", "set_aside", "conflicts", "forgotten"] {
        assert!(waits[kind].is_array(), "{waits}");
    }
    let bench = site.signed_in("machinist").await;
    assert_eq!(
        ask(&bench, "GET", "/api/v1/attention", "", Value::Null)
            .await
            .status,
        403
    );
    let nobody = "/api/v1/attention/calls/00000000-0000-0000-0000-000000000000";
    assert_eq!(
        fields(
            &ask(&office, "POST", nobody, "", json!({"said": ""}))
                .await
                .body
        ),
        BTreeSet::from(["said"])
    );
    assert_eq!(
        ask(&office, "POST", nobody, "", json!({"said": "They know"}))
            .await
            .status,
        404
    );

    let spread = read(&owner, "/api/v1/review/spread").await;
    let proposed = spread.body["spread"]
        .as_array()
        .unwrap()
        .iter()
        .find(|line| !line["by_bookings"].is_null());
    let line = proposed.expect("the demo says how work varies");
    let taken = "/api/v1/review/spread/taken";
    let figures = |figure: &Value| json!({"figures": {line["figure"].as_str().unwrap(): figure}});
    assert_eq!(
        ask(
            &office,
            "PUT",
            taken,
            &spread.tag,
            figures(&line["by_bookings"])
        )
        .await
        .status,
        403
    );
    let odd = json!({"figures": {"weather": "3"}});
    assert_eq!(
        fields(&ask(&owner, "PUT", taken, &spread.tag, odd).await.body),
        BTreeSet::from(["figures.weather"])
    );
    // A figure of one's own is entered under the settings; here it is the one that was proposed, or none.
    assert_eq!(
        ask(&owner, "PUT", taken, &spread.tag, figures(&json!("77.7")))
            .await
            .status,
        412
    );
    assert_eq!(
        ask(
            &owner,
            "PUT",
            taken,
            &spread.tag,
            figures(&line["by_bookings"])
        )
        .await
        .status,
        204
    );
    assert_eq!(
        ask(
            &owner,
            "PUT",
            taken,
            &spread.tag,
            figures(&line["by_bookings"])
        )
        .await
        .status,
        412
    );

    let settings = read(&owner, "/api/v1/settings").await;
    let follow = "/api/v1/review/follow/day";
    assert_eq!(
        ask(
            &owner,
            "PUT",
            "/api/v1/review/follow/stars",
            &settings.tag,
            json!({"follow": true})
        )
        .await
        .status,
        404
    );
    assert_eq!(
        ask(&owner, "PUT", follow, "\"0\"", json!({"follow": true}))
            .await
            .status,
        412
    );
    let followed = ask(
        &owner,
        "PUT",
        follow,
        &settings.tag,
        json!({"follow": true}),
    )
    .await;
    assert_eq!(followed.status, 204, "{}", followed.body);

    let shapes = read(&owner, "/api/v1/review/standards").await.body;
    let shaped = ["attended", "scatter"].into_iter().find_map(|shape| {
        let lines = shapes[shape].as_array().unwrap();
        let line = lines.iter().find(|line| !line["proposed"].is_null())?;
        Some((shape, line.clone()))
    });
    let (shape, line) = shaped.expect("a figure that the bookings say is off");
    let path = format!(
        "/api/v1/review/shapes/{}/{shape}",
        line["element"].as_str().unwrap()
    );
    let tag = format!("\"{}\"", line["version"]);
    let another = json!({"proposed": "0.123456"});
    assert_eq!(ask(&owner, "PUT", &path, &tag, another).await.status, 412);
    let taken = ask(
        &owner,
        "PUT",
        &path,
        &tag,
        json!({"proposed": line["proposed"]}),
    )
    .await;
    assert_eq!(taken.status, 204, "{}", taken.body);
}

#[tokio::test]
async fn a_route_is_changed_by_hand_as_it_was_tried_and_for_a_reason() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let job = entered(&office, "a job").await;
    let path = format!("/api/v1/jobs/{}", id(&job));
    let seen = read(&office, &path).await;
    let operation = &job["operations"][0]["id"];
    let skip = json!({"what": "skip", "operation": operation});
    let preview = format!("{path}/route/preview");
    assert_eq!(
        ask(&office, "POST", &preview, "", skip.clone())
            .await
            .status,
        428
    );
    assert_eq!(
        ask(&office, "POST", &preview, "\"99\"", skip.clone())
            .await
            .status,
        412
    );
    let away = json!({"what": "send_out", "operation": operation, "price": "dear", "days": "3"});
    let refused = ask(&office, "POST", &preview, &seen.tag, away).await;
    assert_eq!(
        fields(&refused.body),
        BTreeSet::from(["price"]),
        "{}",
        refused.body
    );
    let tried = ask(&office, "POST", &preview, &seen.tag, skip.clone()).await;
    assert_eq!(tried.status, 200, "{}", tried.body);
    assert!(tried.body["comes"]["sentence"].as_str().unwrap().len() > 10);

    let route = format!("{path}/route");
    let mut change = skip;
    change["plan_seen"] = tried.body["plan_seen"].clone();
    assert_eq!(
        fields(
            &ask(&office, "PUT", &route, &seen.tag, change.clone())
                .await
                .body
        ),
        BTreeSet::from(["reason"])
    );
    change["reason"] = json!("It came stripped");
    let bench = site.signed_in("machinist").await;
    assert_eq!(
        ask(&bench, "PUT", &route, &seen.tag, change.clone())
            .await
            .status,
        403
    );
    let mut other = change.clone();
    other["plan_seen"] = json!("1");
    assert_eq!(
        ask(&office, "PUT", &route, &seen.tag, other).await.status,
        412
    );
    let changed = ask(&office, "PUT", &route, &seen.tag, change.clone()).await;
    assert_eq!(changed.status, 200, "{}", changed.body);
    let left = changed.body["operations"].as_array().unwrap();
    assert_eq!(left.len() + 1, job["operations"].as_array().unwrap().len());
    assert!(left.iter().all(|o| o["id"] != *operation));
    assert_eq!(
        ask(&office, "PUT", &route, &seen.tag, change).await.status,
        412
    );
}
