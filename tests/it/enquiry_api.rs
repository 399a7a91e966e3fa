//! Enquiries over JSON: made, answered, quoted; every refusal a problem document.

use crate::support::site::{TestSite, Visitor, header};
use borewright::db::people::Role;
use borewright::db::{castings, machines, quotes};
use borewright::units::Money;
use reqwest::Response;
use rust_decimal::Decimal;
use serde_json::{Value, json};
use uuid::Uuid;

/// Sends JSON.
pub async fn send(visitor: &Visitor, path: &str, body: &Value) -> Response {
    let request = visitor.request("POST", path).json(body);
    request.send().await.unwrap()
}

/// Asks for JSON that must be there.
pub async fn fetch(visitor: &Visitor, path: &str) -> Value {
    let answer = visitor.get(path).await;
    assert_eq!(answer.status(), 200, "{path}");
    answer.json().await.unwrap()
}

/// The key of a variant by its name.
pub async fn variant(site: &TestSite, name: &str) -> Uuid {
    let mut tx = site.shop.begin().await;
    let names = castings::variant_names(&mut tx).await.unwrap();
    names.iter().find(|v| v.name == name).unwrap().id
}

/// The path of a new enquiry for a variant.
pub async fn enquiry(visitor: &Visitor, wanted: Uuid) -> String {
    let body = json!({"caller": "A. Caller", "wanted_variant_id": wanted});
    let made = send(visitor, "/api/v1/enquiries", &body).await;
    assert_eq!(made.status(), 201);
    header(made.headers(), "location").to_owned()
}

/// A refusal must be a problem document; gives it.
async fn problem(refused: Response, status: u16) -> Value {
    assert_eq!(refused.status(), status);
    let kind = header(refused.headers(), "content-type");
    assert_eq!(kind, "application/problem+json");
    let document: Value = refused.json().await.unwrap();
    assert_eq!(document["status"], status);
    assert!(document["title"].is_string(), "{document}");
    document
}

fn fields(problem: &Value) -> Vec<&str> {
    let errors = problem["errors"].as_array().unwrap();
    errors
        .iter()
        .map(|error| error["field"].as_str().unwrap())
        .collect()
}

#[tokio::test]
async fn an_enquiry_is_made_and_read_back_as_it_was_said() {
    let site = TestSite::new().await;
    let wanted = site.shop.variant("Tarn 4/90 marine").await;
    let owner = site.owner().await;
    let said = json!({
        "caller": "  A. Caller ", "contact": "at the slip", "wanted_variant_id": wanted,
        "wanted_by": "2031-03-01", "brings_variant_id": wanted, "brings_note": "stood outside",
        "repairs": [], "also": [], "note": "rings back on Friday",
    });
    let made = send(&owner, "/api/v1/enquiries", &said).await;
    assert_eq!(made.status(), 201);
    let path = header(made.headers(), "location").to_owned();
    let stored = fetch(&owner, &path).await;
    assert_eq!(made.json::<Value>().await.unwrap(), stored);
    for field in [
        "contact",
        "wanted_variant_id",
        "wanted_by",
        "brings_variant_id",
        "brings_note",
        "note",
    ] {
        assert_eq!(stored[field], said[field], "{field}");
    }
    assert_eq!(stored["caller"], "A. Caller");
    assert_eq!(
        (&stored["state"], &stored["number"]),
        (&json!("open"), &json!(1))
    );
    // The same call is on the screen.
    let page = owner.get(path.strip_prefix("/api/v1").unwrap()).await;
    assert!(page.text().await.unwrap().contains("rings back on Friday"));
}

#[tokio::test]
async fn what_is_wrong_is_told_by_field_in_a_problem_document() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let body = json!({
        "caller": "x".repeat(121), "wanted_variant_id": Uuid::now_v7(), "wanted_by": "some day",
        "brings_variant_id": "that one", "repairs": ["no-such-work"],
    });
    let told = problem(send(&owner, "/api/v1/enquiries", &body).await, 422).await;
    assert_eq!(
        fields(&told),
        [
            "caller",
            "wanted_variant_id",
            "wanted_by",
            "brings_variant_id",
            "repairs"
        ]
    );
    for (body, word) in [
        (json!({"colour": "red"}), "colour"),
        (json!({"also": 4}), "sequence"),
    ] {
        let told = problem(send(&owner, "/api/v1/enquiries", &body).await, 422).await;
        assert!(told["detail"].as_str().unwrap().contains(word), "{told}");
    }
    let broken = owner
        .request("POST", "/api/v1/enquiries")
        .header("content-type", "application/json")
        .body("{");
    problem(broken.send().await.unwrap(), 422).await;

    let nowhere = format!("/api/v1/enquiries/{}", Uuid::now_v7());
    for path in [
        &nowhere,
        &format!("{nowhere}/answer"),
        &"/api/v1/enquiries/seven".to_owned(),
    ] {
        problem(owner.get(path).await, 404).await;
    }
    let quote = send(
        &owner,
        &format!("{nowhere}/quotes"),
        &json!({"option": "hunt"}),
    )
    .await;
    problem(quote, 404).await;
}

#[tokio::test]
async fn nothing_can_be_answered_before_the_shop_and_the_caller_have_said_enough() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let made = send(&owner, "/api/v1/enquiries", &json!({})).await;
    let path = header(made.headers(), "location").to_owned();
    let told = problem(owner.get(&format!("{path}/answer")).await, 422).await;
    assert!(
        told["detail"]
            .as_str()
            .unwrap()
            .starts_with("Choose what the customer wants"),
        "{told}"
    );

    // A shop that has said what nothing costs.
    let wanted = site.shop.variant("Tarn 4/90 marine").await;
    let path = enquiry(&owner, wanted).await;
    let told = problem(owner.get(&format!("{path}/answer")).await, 422).await;
    assert!(
        !told["detail"].as_str().unwrap().starts_with("Choose"),
        "{told}"
    );
    let quoted = send(
        &owner,
        &format!("{path}/quotes"),
        &json!({"option": "hunt"}),
    )
    .await;
    assert_eq!(problem(quoted, 422).await["detail"], told["detail"]);
}

#[tokio::test]
async fn it_is_for_the_office_and_for_no_other_site() {
    let site = TestSite::new().await;
    site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let owner = site.owner().await;
    let made = send(&owner, "/api/v1/enquiries", &json!({})).await;
    let path = header(made.headers(), "location").to_owned();

    let wyn = site.signed_in("wyn").await;
    problem(send(&wyn, "/api/v1/enquiries", &json!({})).await, 403).await;
    problem(wyn.get(&path).await, 403).await;
    problem(wyn.get(&format!("{path}/answer")).await, 403).await;
    let option = json!({"option": "hunt"});
    problem(send(&wyn, &format!("{path}/quotes"), &option).await, 403).await;

    problem(site.stranger().get(&path).await, 401).await;
    let elsewhere = owner
        .request("POST", "/api/v1/enquiries")
        .header("sec-fetch-site", "cross-site")
        .json(&json!({}));
    problem(elsewhere.send().await.unwrap(), 403).await;
}

#[tokio::test]
async fn a_quote_stays_as_it_was_given_when_rates_change() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("office").await;
    let path = enquiry(&owner, variant(&site, "Tarn 4/90 marine").await).await;
    let answer = fetch(&owner, &format!("{path}/answer")).await;
    assert_eq!(answer["futures"], 200);
    let key = answer["recommended"].as_str().unwrap();
    let priced = |answer: &Value| {
        let options = answer["options"].as_array().unwrap();
        let option = options.iter().find(|option| option["key"] == key).unwrap();
        assert_eq!(option["outcome"]["outcome"], "possible");
        option["outcome"]["build_up"].clone()
    };
    let before = priced(&answer);

    let quotes_path = format!("{path}/quotes");
    let unknown = send(&owner, &quotes_path, &json!({"option": "paint-it"})).await;
    problem(unknown, 422).await;
    let body = json!({"option": key, "answer": answer["id"]});
    let keyed = async |body: &Value| {
        let request = owner.request("POST", &quotes_path).json(body);
        let request = request.header("idempotency-key", "the first quote");
        request.send().await.unwrap()
    };
    let made = keyed(&body).await;
    assert_eq!(made.status(), 201);
    let given: Value = made.json().await.unwrap();
    let again: Value = keyed(&body).await.json().await.unwrap();
    assert_eq!(again, given, "under its key it is one quote");
    let other = json!({"option": key, "answer": answer["id"], "hold_until": "2199-12-31"});
    problem(keyed(&other).await, 422).await;
    for total in ["net", "tax", "gross"] {
        assert_eq!(given[total], before[total], "{total}: as it was read out");
    }
    let address = given["address"].as_str().unwrap();
    let page = owner.get(address).await.text().await.unwrap();
    assert!(page.contains(&format!("Quote {}", given["number"])));
    assert_eq!(fetch(&owner, &path).await["state"], "quoted");

    let id: Uuid = given["id"].as_str().unwrap().parse().unwrap();
    let mut tx = site.shop.begin().await;
    let quote = quotes::get(&mut tx, id).await.unwrap();
    let lines = quotes::lines(&mut tx, id).await.unwrap();
    for mut rate in machines::labour_rates(&mut tx).await.unwrap() {
        let dearer = rate.hourly.amount() + Decimal::from(25);
        rate.hourly = Money::new(dearer, rate.hourly.currency());
        machines::update_labour_rate(&mut tx, &rate).await.unwrap();
    }
    tx.commit().await.unwrap();

    let after = priced(&fetch(&owner, &format!("{path}/answer")).await);
    let net = |build_up: &Value| -> Decimal {
        build_up["net"]["amount"].as_str().unwrap().parse().unwrap()
    };
    assert!(
        net(&after) > net(&before),
        "{} {}",
        net(&after),
        net(&before)
    );
    let mut tx = site.shop.begin().await;
    assert_eq!(quotes::get(&mut tx, id).await.unwrap(), quote);
    assert_eq!(quotes::lines(&mut tx, id).await.unwrap(), lines);
    assert_eq!(net(&json!({"net": given["net"]})), quote.net.amount());
}

/// What was read out is quoted, whatever has changed since; when that is worth a second look, the caller is asked, and the
/// doubts are there for a program to read. The same request twice is one quote.
#[tokio::test]
async fn an_answer_is_quoted_as_it_was_said_once_its_doubts_are_seen() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let path = enquiry(&office, variant(&site, "Tarn 4/90 marine").await).await;
    let answer = fetch(&office, &format!("{path}/answer")).await;
    let again = fetch(&office, &format!("{path}/answer")).await;
    assert_eq!(answer["id"], again["id"], "the same figures are one answer");
    let key = answer["recommended"].as_str().unwrap();
    let said = |answer: &Value| {
        let options = answer["options"].as_array().unwrap();
        let option = options.iter().find(|option| option["key"] == key).unwrap();
        option.clone()
    };
    let quotes_path = format!("{path}/quotes");

    // An hour and more later, at dearer rates.
    let id: Uuid = answer["id"].as_str().unwrap().parse().unwrap();
    let mut tx = site.shop.begin().await;
    sqlx::query("update answer set at = at - interval '90 minutes' where id = $1")
        .bind(id)
        .execute(tx.conn())
        .await
        .unwrap();
    for mut rate in machines::labour_rates(&mut tx).await.unwrap() {
        let dearer = rate.hourly.amount() + Decimal::from(25);
        rate.hourly = Money::new(dearer, rate.hourly.currency());
        machines::update_labour_rate(&mut tx, &rate).await.unwrap();
    }
    tx.commit().await.unwrap();
    let form = Uuid::now_v7();
    let mut body = json!({"option": key, "answer": id, "request_key": form});
    let refused = send(&office, &quotes_path, &body).await;
    assert_eq!(refused.status(), 409);
    let problem: Value = refused.json().await.unwrap();
    assert_eq!(problem["doubts"][0]["doubt"], "old");
    assert_eq!(problem["doubts"][0]["minutes"], 90);

    body["confirmed"] = json!(true);
    let (one, other) = tokio::join!(
        send(&office, &quotes_path, &body),
        send(&office, &quotes_path, &body)
    );
    let (one, other): (Value, Value) = (one.json().await.unwrap(), other.json().await.unwrap());
    assert_eq!(one["id"], other["id"], "two clicks are one quote");
    let option = said(&answer);
    assert_eq!(one["net"], option["outcome"]["build_up"]["net"]);
    let page = office.get(one["address"].as_str().unwrap()).await;
    let page = page.text().await.unwrap();
    let sentence = option["sentence"].as_str().unwrap();
    assert!(page.contains(sentence), "{sentence}");

    // Another call's answer is none of this one's.
    let other = enquiry(&office, variant(&site, "Tarn 4/90 marine").await).await;
    let strange = send(&office, &format!("{other}/quotes"), &body).await;
    assert_eq!(strange.status(), 404);
}
