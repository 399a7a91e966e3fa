//! The JSON interface as a whole: what it says of itself, tokens, keys that make nothing twice, versions.

use crate::routes::table;
use crate::support::site::{PASSWORD, TestSite, Visitor, between, header};
use borewright::db::people::{self, Role};
use reqwest::Response;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// The document of the interface.
async fn document(visitor: &Visitor) -> Value {
    let answer = visitor.get("/api/v1/openapi.json").await;
    assert_eq!(answer.status(), 200);
    answer.json().await.unwrap()
}

#[tokio::test]
async fn the_document_has_every_route_and_every_path_in_it_is_a_route() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let document = document(&owner).await;
    assert_eq!(document["openapi"], "3.1.0");
    let routes: BTreeSet<String> = table()
        .await
        .into_iter()
        .filter(|route| route.starts_with("/api/"))
        .collect();
    let paths = document["paths"].as_object().unwrap();
    let described: BTreeSet<String> = paths.keys().cloned().collect();
    assert_eq!(described, routes);
    assert!(described.len() > 15, "{described:?}");
    let mut names = BTreeMap::new();
    for (path, item) in paths {
        for (method, operation) in item.as_object().unwrap() {
            let name = operation["operationId"].as_str().unwrap();
            let before = names.insert(name.to_owned(), path);
            assert_eq!(before, None, "{name} names two operations");
            // The parameters of the path are those that are described.
            let described: BTreeSet<&str> = operation["parameters"]
                .as_array()
                .into_iter()
                .flatten()
                .filter(|parameter| parameter["in"] == "path")
                .map(|parameter| parameter["name"].as_str().unwrap())
                .collect();
            let named: BTreeSet<&str> = path
                .split('/')
                .filter_map(|part| part.strip_prefix('{')?.strip_suffix('}'))
                .collect();
            assert_eq!(described, named, "{method} {path}");
            assert!(
                operation["responses"]["default"].is_object(),
                "{method} {path} does not say how it refuses"
            );
            let asked = filled_in(path);
            let mut request = owner.request(&method.to_uppercase(), &asked);
            if method != "get" {
                request = request.json(&json!({}));
            }
            let answer = request.send().await.unwrap();
            let status = answer.status().as_u16();
            assert!(status != 405 && status < 500, "{method} {path}: {status}");
        }
        assert_takes_what_is_described(&owner, path, item).await;
    }
    // Whatever a description points to is there.
    let text = document.to_string();
    for pointer in text.split("\"$ref\":\"#").skip(1) {
        let pointer = pointer.split('"').next().unwrap();
        assert!(document.pointer(pointer).is_some(), "{pointer}");
    }
}

/// A header is described alike wherever it is taken, and the longest key that is described is the longest that is taken.
#[tokio::test]
async fn headers_are_described_alike_and_as_they_are_taken() {
    let site = TestSite::new().await;
    let variant = site.shop.variant("Tarn 4/90 marine").await;
    let owner = site.owner().await;
    let document = document(&owner).await;
    let operations = document["paths"].as_object().unwrap().values();
    let parameters: Vec<&Value> = operations
        .flat_map(|item| item.as_object().unwrap().values())
        .flat_map(|operation| operation["parameters"].as_array().into_iter().flatten())
        .collect();
    for (name, least, said) in [
        ("Idempotency-Key", 35, "pattern"),
        ("If-Match", 60, "pattern"),
        ("limit", 20, "maximum"),
        ("offset", 20, "maximum"),
    ] {
        let found: Vec<&&Value> = parameters.iter().filter(|p| p["name"] == name).collect();
        assert!(found.len() >= least, "{name}: {}", found.len());
        assert!(found.iter().all(|one| *one == found[0]), "{found:?}");
        assert!(found[0]["description"].is_string(), "{name}");
        assert!(!found[0]["schema"][said].is_null(), "{name}");
    }
    let key = parameters.iter().find(|h| h["name"] == "Idempotency-Key");
    let schema = &key.unwrap()["schema"];
    assert_eq!(schema["minLength"], 1);
    let longest = usize::try_from(schema["maxLength"].as_u64().unwrap()).unwrap();
    for (length, status) in [(longest, 201), (longest + 1, 422)] {
        let answer = owner
            .request("POST", "/api/v1/sightings")
            .header("idempotency-key", "k".repeat(length))
            .json(&sighting(variant))
            .send()
            .await
            .unwrap();
        assert_eq!(answer.status(), status, "{length}");
    }
}

/// An address with a key of nothing in each of its places.
fn filled_in(path: &str) -> String {
    let parts = path.split('/').map(|part| match part.starts_with('{') {
        true => Uuid::nil().to_string(),
        false => part.to_owned(),
    });
    parts.collect::<Vec<_>>().join("/")
}

/// What an address says it takes when it is asked for what it does not is what is described.
async fn assert_takes_what_is_described(visitor: &Visitor, path: &str, item: &Value) {
    let asked = filled_in(path);
    let answer = visitor.request("TRACE", &asked).send().await.unwrap();
    assert_eq!(answer.status(), 405, "{path}");
    let taken: BTreeSet<String> = header(answer.headers(), "allow")
        .split(", ")
        .map(str::to_lowercase)
        .collect();
    let described: BTreeSet<String> = item.as_object().unwrap().keys().cloned().collect();
    assert_eq!(taken, described, "{path}");
}

/// A token as its page shows it once.
async fn token(owner: &Visitor, role: &str, scope: &str) -> String {
    let fields = [
        ("note", "a program"),
        ("role", role),
        ("scope", scope),
        ("days", "30"),
    ];
    let page = owner.post("/shop/tokens", &fields).await;
    assert_eq!(page.status(), 200);
    let page = page.text().await.unwrap();
    between(&page, "id=\"token\" type=\"text\" readonly value=\"", "\"").to_owned()
}

/// Asks with a token and nothing else.
async fn with(site: &TestSite, token: &str, method: &str, path: &str, body: &Value) -> Response {
    let mut request = site
        .stranger()
        .request(method, path)
        .header("authorization", format!("Bearer {token}"));
    if method != "GET" {
        request = request.json(body);
    }
    request.send().await.unwrap()
}

fn sighting(variant: Uuid) -> Value {
    json!({"variant_id": variant, "seen_on": "2026-01-05", "place": "Slip yard", "acceptable": true,
           "asked": {"amount": "450", "currency": "GBP"}})
}

#[tokio::test]
async fn a_token_opens_what_it_is_for_and_no_more_until_it_is_revoked() {
    let site = TestSite::new().await;
    let variant = site.shop.variant("Tarn 4/90 marine").await;
    let owner = site.owner().await;
    let none = json!({});
    let reads = token(&owner, "owner", "read").await;
    let writes = token(&owner, "office", "write").await;
    let bench = token(&owner, "machinist", "write").await;
    let path = "/api/v1/sightings";
    for token in [&reads, &writes, &bench] {
        let answer = with(&site, token, "GET", path, &none).await;
        assert_eq!(answer.status(), 200);
        // A page is no part of the interface, and a session is not made.
        let page = with(&site, token, "GET", "/jobs", &none).await;
        assert_eq!(page.status(), 303);
        assert_eq!(header(page.headers(), "location"), "/sign-in?next=%2Fjobs");
    }
    let body = sighting(variant);
    assert_eq!(with(&site, &reads, "POST", path, &body).await.status(), 403);
    assert_eq!(with(&site, &bench, "POST", path, &body).await.status(), 403);
    assert_eq!(
        with(&site, &writes, "POST", path, &body).await.status(),
        201
    );
    let customers = "/api/v1/customers?q=a";
    assert_eq!(
        with(&site, &bench, "GET", customers, &none).await.status(),
        403
    );
    for wrong in ["", "x", &reads[..reads.len() - 1], &reads.replace('.', "")] {
        let answer = with(&site, wrong, "GET", path, &none).await;
        assert_eq!(answer.status(), 401, "{wrong}");
    }

    // Whoever finds it makes nobody who stays when it is revoked.
    let everything = token(&owner, "owner", "write").await;
    let people = "/api/v1/people";
    let ines = json!({"name": "Ines", "sign_in": "ines", "role": "owner", "password": PASSWORD});
    let refused = with(&site, &everything, "POST", people, &ines).await;
    assert_eq!(refused.status(), 403);
    let listed = with(&site, &everything, "GET", people, &none).await;
    let listed: Value = listed.json().await.unwrap();
    let address = listed["records"][0]["address"].as_str().unwrap();
    let refused = with(
        &site,
        &everything,
        "PATCH",
        address,
        &json!({"active": false}),
    )
    .await;
    assert_eq!(refused.status(), 403);

    // Only its hash is kept, and who made and ended it is in the history without it.
    let mut direct = site.database.owner().await;
    let secret = reads.split('.').nth(1).unwrap();
    let kept: i64 = sqlx::query_scalar(
        "select count(*) from (select t::text as x from api_token t union all select h::text from history h) x
         where position($1 in x) > 0",
    )
    .bind(secret)
    .fetch_one(&mut direct)
    .await
    .unwrap();
    assert_eq!(kept, 0);

    let page = owner.get("/shop/tokens").await.text().await.unwrap();
    let ends: Vec<String> = page
        .split("action=\"/shop/tokens/")
        .skip(1)
        .map(|rest| format!("/shop/tokens/{}", rest.split('"').next().unwrap()))
        .collect();
    assert_eq!(ends.len(), 4);
    for end in &ends {
        assert_eq!(owner.post(end, &[]).await.status(), 303);
    }
    assert_eq!(owner.post(&ends[0], &[]).await.status(), 404);
    for token in [&reads, &writes, &bench, &everything] {
        let answer = with(&site, token, "GET", path, &none).await;
        assert_eq!(answer.status(), 401);
    }
    let entered: i64 =
        sqlx::query_scalar("select count(*) from history where table_name = 'api_token'")
            .fetch_one(&mut direct)
            .await
            .unwrap();
    assert_eq!(entered, 8, "four made and four revoked");
}

#[tokio::test]
async fn a_token_ends_with_its_time_and_with_the_access_of_whoever_made_it() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let id = site.person("Ada Reef", "ada", Role::Owner).await;
    let ada = site.signed_in("ada").await;
    let hers = token(&ada, "owner", "read").await;
    let path = "/api/v1/customers?q=a";
    let status = async |token: &str| {
        with(&site, token, "GET", path, &json!({}))
            .await
            .status()
            .as_u16()
    };
    assert_eq!(status(&hers).await, 200);
    let mut direct = site.database.owner().await;
    // Her role falls, and her token with it.
    sqlx::query("update person set role = 'machinist' where id = $1")
        .bind(id)
        .execute(&mut direct)
        .await
        .unwrap();
    assert_eq!(status(&hers).await, 403);
    sqlx::query("update person set active = false where id = $1")
        .bind(id)
        .execute(&mut direct)
        .await
        .unwrap();
    assert_eq!(status(&hers).await, 401);
    let short = token(&owner, "office", "read").await;
    assert_eq!(status(&short).await, 200);
    sqlx::query(
        "update api_token set expires_at = now() - interval '1 second' where expires_at > now()",
    )
    .execute(&mut direct)
    .await
    .unwrap();
    assert_eq!(status(&short).await, 401);
    site.person("Fenn Alder", "fenn", Role::Office).await;
    // With a second shop here, whoever signs in must say which.
    let office = site.signed_in("fenn").await;
    // A token of one shop opens nothing of another.
    let mut tx = site.shop.begin().await;
    assert!(people::list(&mut tx).await.unwrap().len() > 1);
    drop(tx);
    let elsewhere = site.database.shop("elsewhere").await;
    let mine = token(&owner, "owner", "read").await;
    let forged = format!(
        "{}.{}",
        elsewhere.id.simple(),
        mine.split('.').nth(1).unwrap()
    );
    assert_eq!(status(&mine).await, 200);
    assert_eq!(status(&forged).await, 401);
    // Only the owner makes them, and only of what is offered.
    assert_eq!(office.get("/shop/tokens").await.status(), 403);
    assert_eq!(office.post("/shop/tokens", &[]).await.status(), 403);
    let odd = [
        ("note", "x"),
        ("role", "god"),
        ("scope", "read"),
        ("days", "99999"),
    ];
    assert_eq!(owner.post("/shop/tokens", &odd).await.status(), 422);
}

async fn keyed(visitor: &Visitor, path: &str, key: &str, body: &Value) -> (u16, Value) {
    let request = visitor
        .request("POST", path)
        .header("idempotency-key", key)
        .json(body);
    let answer = request.send().await.unwrap();
    (answer.status().as_u16(), answer.json().await.unwrap())
}

#[tokio::test]
async fn a_request_sent_again_under_its_key_makes_nothing_twice() {
    let site = TestSite::new().await;
    let variant = site.shop.variant("Tarn 4/90 marine").await;
    let owner = site.owner().await;
    let call = json!({"caller": "A. Caller", "wanted_variant_id": variant});
    for (path, table, body, other) in [
        (
            "/api/v1/sightings",
            "sighting",
            sighting(variant),
            json!({"variant_id": variant, "seen_on": "2026-01-06", "place": "Slip yard", "acceptable": true}),
        ),
        (
            "/api/v1/enquiries",
            "enquiry",
            call,
            json!({"caller": "B. Other"}),
        ),
    ] {
        // A key is one of the sender's, whatever it is sent to.
        let (one, two) = (format!("{table}-1"), format!("{table}-2"));
        let (status, made) = keyed(&owner, path, &one, &body).await;
        assert_eq!(status, 201, "{made}");
        assert_eq!(keyed(&owner, path, &one, &body).await, (201, made.clone()));
        // The same key for something else is a mistake of the sender's.
        let (status, refused) = keyed(&owner, path, &one, &other).await;
        assert_eq!(status, 422, "{refused}");
        assert_eq!(refused["errors"][0]["field"], "idempotency-key");
        // Many at once make one.
        let sent = (0..6).map(|_| keyed(&owner, path, &two, &body));
        let all = futures_util::future::join_all(sent).await;
        let ids: BTreeSet<String> = all
            .iter()
            .map(|(status, made)| {
                assert_eq!(*status, 201, "{made}");
                made["id"].as_str().unwrap().to_owned()
            })
            .collect();
        assert_eq!(ids.len(), 1);
        let mut direct = site.database.owner().await;
        let rows: i64 =
            sqlx::query_scalar(sqlx::AssertSqlSafe(format!("select count(*) from {table}")))
                .fetch_one(&mut direct)
                .await
                .unwrap();
        assert_eq!(rows, 2, "{table}");
        for wrong in ["", &"x".repeat(201)] {
            assert_eq!(keyed(&owner, path, wrong, &body).await.0, 422);
        }
    }
    // Keys are each person's own.
    site.person("Fenn Alder", "fenn", Role::Office).await;
    let office = site.signed_in("fenn").await;
    let (status, made) = keyed(
        &office,
        "/api/v1/sightings",
        "sighting-1",
        &sighting(variant),
    )
    .await;
    let (_, first) = keyed(
        &owner,
        "/api/v1/sightings",
        "sighting-1",
        &sighting(variant),
    )
    .await;
    assert_eq!(status, 201);
    assert_ne!(made["id"], first["id"]);
}

#[tokio::test]
async fn a_change_says_which_version_it_saw() {
    let site = TestSite::new().await;
    let variant = site.shop.variant("Tarn 4/90 marine").await;
    let owner = site.owner().await;
    let call =
        |note: &str| json!({"caller": "A. Caller", "wanted_variant_id": variant, "note": note});
    let seen = |place: &str| json!({"variant_id": variant, "seen_on": "2026-01-05", "place": place, "acceptable": true});
    for (path, first, second, field) in [
        ("/api/v1/enquiries", call("one"), call("two"), "note"),
        ("/api/v1/sightings", seen("one"), seen("two"), "place"),
    ] {
        let made = owner
            .request("POST", path)
            .json(&first)
            .send()
            .await
            .unwrap();
        assert_eq!(made.status(), 201);
        let at = header(made.headers(), "location").to_owned();
        let tag = header(made.headers(), "etag").to_owned();
        assert_eq!(tag, "\"1\"");
        let put = async |tag: Option<&str>| {
            let mut request = owner.request("PUT", &at).json(&second);
            if let Some(tag) = tag {
                request = request.header("if-match", tag);
            }
            request.send().await.unwrap()
        };
        assert_eq!(put(None).await.status(), 428);
        for passed in ["\"0\"", "\"2\"", "1", "*", "W/\"1\""] {
            assert_eq!(put(Some(passed)).await.status(), 412, "{passed}");
        }
        let changed = put(Some(&tag)).await;
        assert_eq!(changed.status(), 200);
        assert_eq!(header(changed.headers(), "etag"), "\"2\"");
        // The version that was seen has passed, though it was oneself who changed it.
        assert_eq!(put(Some(&tag)).await.status(), 412);
        let now = owner.get(&at).await;
        assert_eq!(header(now.headers(), "etag"), "\"2\"");
        let now: Value = now.json().await.unwrap();
        assert_eq!(now[field], "two");
    }
}
