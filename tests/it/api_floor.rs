//! What is done with jobs by the JSON interface, as on the screens: booked, checked, decided, planned and routed by hand.

use crate::support::requests::{ask, fields, id, keyed, read, send};
use crate::support::site::{TestSite, Visitor};
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// A job entered by hand with work that two people can begin.
pub async fn entered(office: &Visitor, key: &str) -> Value {
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
    // A Sunday is asked about.
    let mut sunday = body.clone();
    sunday["due_on"] = json!("2027-06-27");
    sunday["due_confirmed"] = json!("");
    let asked = keyed(office, "/api/v1/jobs", key, sunday).await;
    assert_eq!(asked.status, 409, "{}", asked.body);
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
    // The key is that of this correction, and of no other.
    let first = format!("{path}/{}/correction", id(&booked[0]));
    let taken = keyed(&office, &first, "struck", never.clone()).await;
    assert_eq!(taken.status, 422, "{}", taken.body);
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
    assert_eq!(back.body["castings_gone"], json!([]));
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
    for (field, odd) in [
        (
            "reason",
            json!({"change": "hold", "job": slot["job"], "reason": "Cap\u{1}bolts"}),
        ),
        (
            "reason",
            json!({"change": "hold", "job": slot["job"], "reason": "Cap\u{0}bolts"}),
        ),
        (
            "skill",
            json!({"change": "train", "person": person, "skill": ""}),
        ),
        (
            "skill",
            json!({"change": "train", "person": person, "skill": "Milling"}),
        ),
        (
            "skill",
            json!({"change": "train", "person": person, "skill": "m".repeat(81)}),
        ),
    ] {
        let refused = send(&office, ("POST", "/api/v1/plan/preview"), &[], odd).await;
        let complaints = fields(&refused.body);
        assert_eq!((refused.status, complaints), (422, [field].into()));
    }
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
    // What cannot be taken back is not guessed at.
    for (field, odd) in [
        (
            "requote",
            json!({"decision": "scrap", "note": "Cracked", "requote": "true"}),
        ),
        (
            "again",
            json!({"decision": "scrap", "note": "Cracked", "again": ["10x"]}),
        ),
    ] {
        let refused = ask(&office, "PUT", &hold, &seen.tag, odd).await;
        let complaints = fields(&refused.body);
        assert_eq!((refused.status, complaints), (422, [field].into()));
    }
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
