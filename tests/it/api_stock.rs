//! What is done besides by the JSON interface: stock, castings, calls, orders of work, what is learned.

use crate::api_floor::entered;
use crate::support::requests::{ask, fields, id, keyed, number, read, send};
use crate::support::site::TestSite;
use rust_decimal::dec;
use serde_json::{Value, json};
use std::collections::BTreeSet;

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
        keyed(&office, &orders, "twenty", order.clone()).await.body,
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
    // Sent again when it has come, it is the same order still.
    let again = keyed(&office, &orders, "twenty", order).await;
    assert_eq!((again.status, id(&again.body)), (201, id(&made.body)));
    assert_eq!(
        (&again.body["open"], &again.body["come"]),
        (&json!(false), &json!("15"))
    );
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
    let odd = ask(&owner, "POST", path, "", with("delete")).await;
    let complaints = fields(&odd.body);
    assert_eq!((odd.status, complaints), (422, BTreeSet::from(["change"])));
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
