//! What is kept on forms, by the JSON interface: every kind reads, lists, changes and refuses alike.

use crate::support::requests::{ask, fields, look, patch, post, send};
use crate::support::site::{PASSWORD, TestSite, Visitor, header};
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// Records of a kind that are tried.
const TRIED: usize = 4;

/// Paths of the description with a method.
async fn paths_with(visitor: &Visitor, method: &str) -> Vec<String> {
    let document = look(visitor, "/api/v1/openapi.json").await.body;
    let paths = document["paths"].as_object().unwrap().iter();
    paths
        .filter(|(_, item)| item[method].is_object())
        .map(|(path, _)| path.clone())
        .collect()
}

/// Some keys of what is listed at an address, whatever the list calls its rows.
async fn some_keys(visitor: &Visitor, list: &str) -> Vec<String> {
    let listed = look(visitor, list).await.body;
    let rows = match &listed {
        Value::Array(rows) => rows.clone(),
        _ => listed
            .as_object()
            .unwrap()
            .values()
            .find_map(Value::as_array)
            .unwrap()
            .clone(),
    };
    let keys = rows.iter().filter_map(|row| row["id"].as_str());
    keys.map(ToOwned::to_owned).take(TRIED).collect()
}

/// Addresses of some records of each kind, by the path that describes them.
async fn some_records(visitor: &Visitor) -> BTreeMap<String, Vec<String>> {
    let lists = paths_with(visitor, "get").await;
    let mut found = BTreeMap::new();
    for one in paths_with(visitor, "patch").await {
        // The list above it, which is one of records, of something that tells more, or of what they belong to.
        let Some((base, rest)) = one.split_once("/{") else {
            found.insert(one.clone(), vec![one]);
            continue;
        };
        let base = if base.ends_with("customers") {
            format!("{base}?q=a")
        } else {
            base.to_owned()
        };
        let mut addresses = Vec::new();
        if base.ends_with("related-patterns") {
            let all = look(visitor, "/api/v1/related-patterns").await.body;
            let all = all.as_array().cloned().unwrap_or_default();
            addresses.extend(
                all.iter()
                    .map(|one| format!("{base}/{}", one["id"].as_str().unwrap())),
            );
        } else {
            for key in some_keys(visitor, &base).await {
                let base = base.split('?').next().unwrap();
                let (_, rest) = rest.split_once('}').unwrap();
                match rest.split_once("/{") {
                    None => addresses.push(format!("{base}/{key}{rest}")),
                    Some((middle, _)) => {
                        let list = format!("{base}/{key}{middle}");
                        let described = lists.iter().any(|path| one.starts_with(path.as_str()));
                        assert!(described, "{one} has no list");
                        let listed = look(visitor, &list).await.body;
                        let records = listed["records"].as_array().unwrap().iter().take(TRIED);
                        addresses
                            .extend(records.map(|r| r["address"].as_str().unwrap().to_owned()));
                    }
                }
            }
        }
        found.insert(one, addresses);
    }
    found
}

#[tokio::test]
async fn every_record_reads_back_as_it_was_sent_and_a_stale_change_changes_nothing() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let records = some_records(&owner).await;
    assert!(records.len() >= 26, "{:?}", records.keys());
    let empty: Vec<&String> = records
        .iter()
        .filter(|(_, some)| some.is_empty())
        .map(|(kind, _)| kind)
        .collect();
    assert!(empty.len() <= 1, "nothing of {empty:?} was tried");
    // A list shows each as it is read by itself.
    for list in paths_with(&owner, "get").await {
        let listed = match list.contains('{') {
            true => continue,
            false => look(&owner, &list).await.body,
        };
        let all = listed["records"].as_array().into_iter().flatten();
        for record in all.take(TRIED) {
            let address = record["address"].as_str().unwrap();
            assert_eq!(look(&owner, address).await.body, *record, "{address}");
        }
    }
    for address in records.values().flatten() {
        let seen = look(&owner, address).await;
        assert_eq!(seen.status, 200, "{address}: {}", seen.body);
        let (tag, values) = (seen.tag, seen.body["values"].clone());
        assert_eq!(tag, format!("\"{}\"", seen.body["version"]), "{address}");
        assert_eq!(seen.body["address"], json!(address));
        assert!(!values.as_object().unwrap().is_empty(), "{address}");
        for (body, tag, status) in [
            (json!({}), "\"999999\"", 412),
            (json!({"no_such_field": null}), tag.as_str(), 422),
            (json!([]), tag.as_str(), 422),
        ] {
            let answer = patch(&owner, address, tag, &body).await;
            assert_eq!(answer.status, status, "{address} {body}: {}", answer.body);
        }
        let without = ask(&owner, "PATCH", address, "", json!({})).await;
        assert_eq!(without.status, 428, "{address}");
        // What nobody has entered yet may ask for more than nothing.
        if seen.body["version"] == 0 {
            continue;
        }
        // Nothing changes what is not sent, and all of it may be sent.
        let mut tag = tag;
        for body in [json!({}), values.clone()] {
            let answer = patch(&owner, address, &tag, &body).await;
            assert_eq!(answer.status, 200, "{address} {body}: {}", answer.body);
            assert_eq!(answer.body["values"], values, "{address}");
            tag = answer.tag;
        }
    }
}

#[tokio::test]
async fn what_a_new_record_takes_is_said_and_each_field_that_must_be_sent_is_asked_for() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let bench = site.signed_in("machinist").await;
    let mut tried = 0;
    for path in paths_with(&owner, "get").await {
        let Some(all) = path.strip_suffix("/new") else {
            continue;
        };
        let all = match all.split_once("/{") {
            None => all.to_owned(),
            Some((base, rest)) => {
                let key = some_keys(&owner, base).await.remove(0);
                format!("{base}/{key}{}", rest.split_once('}').unwrap().1)
            }
        };
        let start = look(&owner, &format!("{all}/new")).await;
        assert_eq!(start.status, 200, "{all}: {}", start.body);
        let (values, schema) = (&start.body["values"], &start.body["schema"]);
        let named: BTreeSet<&String> = values.as_object().unwrap().keys().collect();
        let properties: &Map<String, Value> = schema["properties"].as_object().unwrap();
        assert_eq!(named, properties.keys().collect(), "{all}");
        let required: BTreeSet<&str> = schema["required"]
            .as_array()
            .unwrap()
            .iter()
            .map(|r| r.as_str().unwrap())
            .collect();
        let refused = post(&owner, &all, &json!({})).await;
        assert_eq!(refused.status, 422, "{all}: {}", refused.body);
        let asked_for = fields(&refused.body);
        assert!(
            required.is_subset(&asked_for),
            "{all}: {required:?} of which {asked_for:?}"
        );
        let odd = post(&owner, &all, &json!({"no_such_field": "x"})).await;
        assert!(fields(&odd.body).contains("no_such_field"), "{all}");
        let refused = post(&bench, &all, &json!({})).await;
        assert_eq!(refused.status, 403, "{all}");
        tried += 1;
    }
    assert!(tried >= 20, "{tried}");
}

#[tokio::test]
async fn a_machine_is_added_once_under_its_key_changed_in_one_field_and_stands_on_its_page() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let begun = look(&owner, "/api/v1/machines/new").await.body;
    let body = json!({"name": "Knee mill", "kind": "Mill", "capital": "18000", "residual": "4000", "life_years": "12",
        "interest_percent": "6", "power_kw": "4", "power_price": "0.31", "maintenance_a_year": "900",
        "insurance_a_year": "150", "space_m2": "9", "space_price": "70", "hours_a_year": "1100"});
    for name in body.as_object().unwrap().keys() {
        assert!(begun["values"].get(name).is_some(), "{name}");
    }
    let keyed = [("idempotency-key", "the mill")];
    let made = send(&owner, ("POST", "/api/v1/machines"), &keyed, body.clone()).await;
    assert_eq!(made.status, 201, "{}", made.body);
    assert_eq!(made.body["values"]["kind"], "mill");
    assert_eq!(made.body["values"]["active"], true);
    let again = send(&owner, ("POST", "/api/v1/machines"), &keyed, body.clone()).await;
    assert_eq!((again.status, &again.body), (201, &made.body));
    let other = json!({"name": "Another", "kind": "mill"});
    let other = send(&owner, ("POST", "/api/v1/machines"), &keyed, other.clone()).await;
    assert!(
        fields(&other.body).contains("idempotency-key"),
        "{}",
        other.body
    );
    // Its name is taken, unless the same request made it.
    let twice = post(&owner, "/api/v1/machines", &body).await;
    assert_eq!(
        (twice.status, fields(&twice.body)),
        (422, BTreeSet::from(["name"]))
    );
    let listed = look(&owner, "/api/v1/machines").await.body;
    assert_eq!(listed["all"], 1);
    assert_eq!(listed["records"][0], made.body);

    let address = made.body["address"].as_str().unwrap();
    let changed = patch(
        &owner,
        address,
        &made.tag,
        &json!({"agreed_rate": "41.50", "active": false}),
    )
    .await;
    assert_eq!(changed.status, 200, "{}", changed.body);
    let mut expected = made.body["values"].clone();
    expected["agreed_rate"] = json!("41.50");
    expected["active"] = json!(false);
    assert_eq!(changed.body["values"], expected);
    let page = owner
        .get(&address.replace("/api/v1", "/shop"))
        .await
        .text()
        .await
        .unwrap();
    assert!(page.contains("value=\"41.50\"") && page.contains("Knee mill"));
    // Several requests under one key at the same time make one.
    let body = json!({"name": "Old lathe", "kind": "lathe", "agreed_rate": "30"});
    let mut worksheet = expected;
    worksheet
        .as_object_mut()
        .unwrap()
        .extend(body.as_object().unwrap().clone());
    let keyed = [("idempotency-key", "the lathe")];
    let all = (0..6).map(|_| {
        send(
            &owner,
            ("POST", "/api/v1/machines"),
            &keyed,
            worksheet.clone(),
        )
    });
    let all = futures_util::future::join_all(all).await;
    let made: BTreeSet<String> = all
        .iter()
        .map(|one| {
            assert_eq!(one.status, 201, "{}", one.body);
            one.body["id"].to_string()
        })
        .collect();
    assert_eq!(made.len(), 1);
    // One of an amount is no number, and a field of yes or no takes no words.
    let address = all[0].body["address"].as_str().unwrap();
    let odd = json!({"agreed_rate": 30, "active": "yes", "capital": "many"});
    let refused = patch(&owner, address, "\"1\"", &odd).await;
    assert_eq!(
        (refused.status, fields(&refused.body)),
        (422, BTreeSet::from(["active", "agreed_rate", "capital"]))
    );
}

#[tokio::test]
async fn rows_places_and_passwords_go_in_as_on_their_forms() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let pattern = json!({"name": "Tarn 4", "cylinders": "4", "mains": "5", "width-rear": "400", "height-rear": "300"});
    let pattern = post(&owner, "/api/v1/patterns", &pattern).await;
    assert_eq!(pattern.status, 201, "{}", pattern.body);
    let pattern = pattern.body["id"].as_str().unwrap().to_owned();
    // Rows, with a complaint where it belongs.
    let rows = json!({"name": "Harbour Marine", "contact": [{"contact_name": "Jo", "contact_phone": "0123"},
                      {"contact_role": "yard", "contact_shoe": "9"}]});
    let refused = post(&owner, "/api/v1/customers", &rows).await;
    assert_eq!(refused.status, 422);
    assert_eq!(
        fields(&refused.body),
        BTreeSet::from(["contact.1.contact_name", "contact.1.contact_shoe"]),
        "{}",
        refused.body
    );
    let rows = json!({"name": "Harbour Marine", "contact": [{"contact_name": "Jo", "contact_phone": "0123"}, {"contact_name": "Al"}]});
    let made = post(&owner, "/api/v1/customers", &rows).await;
    assert_eq!(made.status, 201, "{}", made.body);
    let nothing = Value::Null;
    assert_eq!(
        made.body["values"]["contact"][0],
        json!({"contact_name": "Jo", "contact_role": nothing, "contact_phone": "0123", "contact_email": nothing})
    );
    assert_eq!(made.body["values"]["machine"], json!([]));
    let address = made.body["address"].as_str().unwrap();
    let less = patch(
        &owner,
        address,
        &made.tag,
        &json!({"contact": [{"contact_name": "Al"}]}),
    )
    .await;
    assert_eq!(
        less.body["values"]["contact"].as_array().unwrap().len(),
        1,
        "{}",
        less.body
    );

    // A place is its address, whatever its label is written with.
    let all = format!("/api/v1/patterns/{pattern}/bosses");
    let boss = json!({"face": "rear", "label": "R 7/%2", "largest": "14", "through": true});
    let made = post(&owner, &all, &boss).await;
    assert_eq!(made.status, 201, "{}", made.body);
    let address = made.body["address"].as_str().unwrap().to_owned();
    let (tag, values) = (made.tag, &made.body["values"]);
    assert_eq!(
        (&values["label"], &values["deepest"]),
        (&json!("R 7/%2"), &nothing)
    );
    let moved = patch(&owner, &address, &tag, &json!({"label": "R8"})).await;
    assert_eq!(moved.status, 200, "{}", moved.body);
    assert_eq!(look(&owner, &address).await.status, 404);
    let address = moved.body["address"].as_str().unwrap();
    assert!(address.ends_with("/rear/R8"), "{address}");
    let stale = ask(&owner, "DELETE", address, &tag, Value::Null).await;
    assert_eq!(stale.status, 412);
    let gone = ask(&owner, "DELETE", address, &moved.tag, Value::Null).await;
    assert_eq!(
        (gone.status, look(&owner, address).await.status),
        (204, 404)
    );

    // A person comes in with the first password, which nobody is told again.
    let ines =
        json!({"name": "Ines Coll", "sign_in": "ines", "role": "office", "password": PASSWORD});
    let keyed = [("idempotency-key", "ines")];
    let made = send(&owner, ("POST", "/api/v1/people"), &keyed, ines.clone()).await;
    assert_eq!(made.status, 201, "{}", made.body);
    // No password is in what is kept of the key, so another one is no other request.
    let mut same = ines.clone();
    same["password"] = json!("another horse, another staple");
    let again = send(&owner, ("POST", "/api/v1/people"), &keyed, same).await;
    assert_eq!((again.status, &again.body), (201, &made.body));
    let mut other = ines;
    other["role"] = json!("machinist");
    let refused = send(&owner, ("POST", "/api/v1/people"), &keyed, other).await;
    assert_eq!(refused.status, 422, "{}", refused.body);
    assert!(!made.body.to_string().contains(PASSWORD));
    let ines = site.signed_in("ines").await;
    assert_eq!(ines.get("/jobs").await.status(), 200);
    assert_eq!(look(&ines, "/api/v1/people").await.status, 403);

    // A sighting that was a mistake is deleted by whoever saw it as it is.
    let variant = site.shop.variant("Tarn 4/90 marine").await;
    let seen = json!({"variant_id": variant, "seen_on": "2026-01-05", "place": "Slip yard", "acceptable": true});
    let made = post(&owner, "/api/v1/sightings", &seen).await;
    let address = format!("/api/v1/sightings/{}", made.body["id"].as_str().unwrap());
    for (tag, status) in [("\"7\"", 412), (made.tag.as_str(), 204)] {
        let answer = ask(&owner, "DELETE", &address, tag, Value::Null).await;
        assert_eq!(answer.status, status);
    }
    assert_eq!(look(&owner, &address).await.status, 404);
}

#[tokio::test]
async fn what_something_else_needs_is_not_deleted() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let variants = look(&owner, "/api/v1/patterns").await.body;
    let pattern = variants["records"][0]["address"].as_str().unwrap();
    let seen = look(&owner, pattern).await;
    let answer = ask(&owner, "DELETE", pattern, &seen.tag, Value::Null).await;
    assert_eq!(answer.status, 409, "{}", answer.body);
    let answer = owner.request("DELETE", pattern).send().await.unwrap();
    assert_eq!(answer.status(), 428);
    assert_eq!(
        header(answer.headers(), "content-type"),
        "application/problem+json"
    );
}

/// What the first hour in a new shop enters on forms, entered by a program that reads of each form what it takes.
#[tokio::test]
async fn an_empty_shop_comes_to_its_first_price_by_requests_alone() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let add = async |path: &str, body: Value| {
        let all = format!("/api/v1/{path}");
        let start = look(&owner, &format!("{all}/new")).await;
        for name in body.as_object().unwrap().keys() {
            let known = &start.body["schema"]["properties"][name];
            assert!(known.is_object(), "{path} says nothing of {name}");
        }
        let made = post(&owner, &all, &body).await;
        assert_eq!(made.status, 201, "{path}: {}", made.body);
        made.body["id"].as_str().unwrap().to_owned()
    };
    add(
        "machines",
        json!({"name": "Mill", "kind": "mill", "agreed_rate": "38"}),
    )
    .await;
    add("rates", json!({"hourly": "42"})).await;
    let drill = json!({"code": "DRILL", "name": "Drill and tap a hole", "stage": "hole", "machine_kind": "mill",
        "skill": "milling", "setup": "20", "owner_figure": "6"});
    let stages = look(&owner, "/api/v1/standards/new").await.body;
    let stages = &stages["schema"]["properties"]["stage"]["oneOf"];
    assert!(
        stages
            .as_array()
            .unwrap()
            .iter()
            .any(|stage| stage["const"] == drill["stage"]),
        "{stages}"
    );
    add("standards", drill).await;
    let week = json!({"owner": "shop", "weekday": ["1", "2", "3", "4", "5"], "start": "08:00", "end": "16:30"});
    add("shifts", week).await;
    let smith = json!({"name": "Ada Reef", "sign_in": "ada", "role": "machinist", "skills": "milling", "password": PASSWORD});
    add("people", smith).await;
    let pattern = json!({"name": "Tarn 4", "cylinders": "4", "mains": "5", "width-rear": "400", "height-rear": "300"});
    let pattern = add("patterns", pattern).await;
    let boss = json!({"face": "rear", "label": "R1", "largest": "14", "deepest": "40"});
    add(&format!("patterns/{pattern}/bosses"), boss).await;
    let wanted = add(
        "variants",
        json!({"pattern": pattern, "name": "Tarn 4/90 marine"}),
    )
    .await;
    let common = add(
        "variants",
        json!({"pattern": pattern, "name": "Tarn 4/90 truck"}),
    )
    .await;
    let hole = json!({"face": "rear", "label": "R1", "kind": "tapped_hole", "thread": "M10x1.5", "depth": "25",
        "across": "100", "up": "100"});
    add(&format!("variants/{wanted}/features"), hole).await;
    add("rules", json!({"name": "Drill and tap", "when": "missing_with_metal", "action": "machine", "elements": "DRILL"})).await;
    let donor = json!({"variant": common, "ownership": "shop", "source": "bought", "came_from": "Slip yard", "cost": "180"});
    assert_eq!(post(&owner, "/api/v1/castings", &donor).await.status, 201);

    let call = json!({"caller": "A. Caller", "wanted_variant_id": wanted});
    let call = post(&owner, "/api/v1/enquiries", &call).await;
    let answer = format!(
        "/api/v1/enquiries/{}/answer",
        call.body["id"].as_str().unwrap()
    );
    let answer = look(&owner, &answer).await.body;
    let options = answer["options"].as_array().unwrap();
    assert!(
        options
            .iter()
            .any(|option| option["kind"] == "convert_shelf"),
        "{answer}"
    );
    let said = answer["sentence"].as_str().unwrap();
    assert!(
        said.contains("Tarn 4/90 marine") && said.contains("£"),
        "{said}"
    );
}
