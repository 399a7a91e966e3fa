//! The edge over HTTP: what is open, what is refused and in which words, headers, sign-in and its brake.

use crate::support::site::{PASSWORD, TestSite, Visitor, between, encoded, header};
use borewright::db::people::Role;
use borewright::web::server::Config;
use reqwest::Response;
use serde_json::Value;
use std::time::{Duration, Instant};

async fn problem(answer: Response) -> Value {
    assert_eq!(
        header(answer.headers(), "content-type"),
        "application/problem+json"
    );
    let status = answer.status().as_u16();
    let document: Value = answer.json().await.unwrap();
    assert_eq!(document["status"], status, "{document}");
    document
}

#[tokio::test]
async fn nothing_is_open_but_the_way_in() {
    let site = TestSite::new().await;
    let stranger = site.stranger();
    // Registered or not, deep or shallow: only whoever is signed in learns which.
    for path in [
        "/",
        "/enquiries",
        "/jobs",
        "/castings",
        "/market",
        "/shop",
        "/shop/people",
        "/password",
        "/no-such-page",
        "/static",
        "/sign-in/",
        "/health/",
        "/sign-in/../shop",
        "/%73hop",
    ] {
        let answer = stranger.get(path).await;
        assert_eq!(answer.status(), 303, "{path}");
        assert!(
            header(answer.headers(), "location").starts_with("/sign-in"),
            "{path}"
        );
        assert_eq!(answer.text().await.unwrap(), "", "{path}");
    }
    for method in ["POST", "PUT", "PATCH", "DELETE"] {
        for path in ["/shop/people", "/sign-out", "/password", "/no-such-page"] {
            let answer = stranger.request(method, path).send().await.unwrap();
            assert_eq!(answer.status(), 401, "{method} {path}");
        }
    }
    let answer = stranger.get("/api/anything").await;
    assert_eq!(answer.status(), 401);
    assert_eq!(problem(answer).await["detail"], "Sign in first.");

    assert_eq!(stranger.get("/sign-in").await.status(), 200);
    assert_eq!(stranger.get("/health").await.status(), 200);
}

#[tokio::test]
async fn every_answer_carries_the_security_headers_and_no_page_an_inline_style_or_script() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    for path in [
        "/sign-in",
        "/shop",
        "/health",
        "/no-such-page",
        "/static/x/y",
    ] {
        let answer = owner.get(path).await;
        let headers = answer.headers().clone();
        let policy = header(&headers, "content-security-policy");
        assert!(policy.contains("default-src 'none'"), "{path}: {policy}");
        assert!(policy.contains("frame-ancestors 'none'"), "{path}");
        assert!(!policy.contains("unsafe"), "{path}");
        assert_eq!(header(&headers, "x-content-type-options"), "nosniff");
        assert_eq!(header(&headers, "referrer-policy"), "same-origin");
        assert_eq!(header(&headers, "strict-transport-security"), "");
        if header(&headers, "content-type").starts_with("text/html") {
            assert_eq!(header(&headers, "cache-control"), "no-store", "{path}");
            let page = answer.text().await.unwrap();
            assert!(
                !page.contains("<style") && !page.contains(" style="),
                "{path}"
            );
            assert!(
                !page.contains("<script>") && !page.contains(" onclick="),
                "{path}"
            );
        }
    }
}

#[tokio::test]
async fn behind_https_the_cookie_is_bound_to_the_host() {
    let site = TestSite::with(Config {
        secure_cookies: true,
        ..Config::default()
    })
    .await;
    let answer = site.stranger().try_sign_in("edda", PASSWORD).await;
    assert_eq!(answer.status(), 303);
    let cookie = header(answer.headers(), "set-cookie").to_owned();
    assert!(cookie.starts_with("__Host-borewright="), "{cookie}");
    for part in [
        "HttpOnly",
        "Secure",
        "SameSite=Lax",
        "Path=/",
        "Max-Age=604800",
    ] {
        assert!(cookie.contains(part), "{part} in {cookie}");
    }
    assert!(!cookie.contains("Domain"), "{cookie}");
    assert!(header(answer.headers(), "strict-transport-security").contains("max-age="));
}

#[tokio::test]
async fn the_session_is_stored_by_hash_rotates_and_ends() {
    let site = TestSite::new().await;
    let visitor = site.stranger();
    let cookie = |answer: &Response| {
        let cookie = header(answer.headers(), "set-cookie");
        between(cookie, "borewright=", ";").to_owned()
    };
    let first = cookie(&visitor.try_sign_in("edda", PASSWORD).await);
    let second = cookie(&visitor.try_sign_in("Edda", PASSWORD).await);
    assert_ne!(first, second);
    let (shop, _) = second.split_once('.').unwrap();
    assert_eq!(shop, site.shop.id.simple().to_string());

    let with = |value: String| {
        site.stranger()
            .request("GET", "/shop")
            .header("cookie", format!("borewright={value}"))
    };
    let status = async |value: &str| {
        with(value.to_owned())
            .send()
            .await
            .unwrap()
            .status()
            .as_u16()
    };
    assert_eq!(status(&second).await, 200);
    // Signing in again ended the first; another shop's name opens nothing; nonsense is no fault of ours.
    assert_eq!(status(&first).await, 303);
    let elsewhere = uuid::Uuid::now_v7().simple().to_string();
    assert_eq!(status(&second.replace(shop, &elsewhere)).await, 303);
    for nonsense in [
        "",
        ".",
        "x.y",
        &format!("{shop}."),
        &format!("{shop}.AAAA"),
        &second[..40],
    ] {
        assert_eq!(status(nonsense).await, 303, "{nonsense}");
    }

    let mut owner = site.database.owner().await;
    let row: (Vec<u8>, i64) =
        sqlx::query_as("select min(token_hash::text)::bytea, count(*) from session")
            .fetch_one(&mut owner)
            .await
            .unwrap();
    assert_eq!((row.0.len(), row.1), (32, 1));
    sqlx::raw_sql("update session set last_seen_at = now() - interval '12 hours 1 second'")
        .execute(&mut owner)
        .await
        .unwrap();
    assert_eq!(status(&second).await, 303, "idle too long");
    sqlx::raw_sql(
        "update session set last_seen_at = now(), expires_at = now() - interval '1 second'",
    )
    .execute(&mut owner)
    .await
    .unwrap();
    assert_eq!(status(&second).await, 303, "too old");
    // What was typed into a form meanwhile is given back.
    let answer = visitor
        .post_bare(
            "/shop/people",
            &[("name", "<Col>"), ("password", "secret words")],
        )
        .await;
    assert_eq!(answer.status(), 401);
    let page = answer.text().await.unwrap();
    assert!(
        page.contains("You were signed out") && page.contains("<dd>&lt;Col&gt;</dd>"),
        "{page}"
    );
    assert!(!page.contains("secret words"), "{page}");
}

#[tokio::test]
async fn a_form_without_the_sessions_token_does_nothing() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let other = site.owner().await;
    let fields = [
        ("name", "Col Brannick"),
        ("sign_in", "col"),
        ("role", "machinist"),
        ("password", "graphite and swarf"),
    ];
    let mut foreign = fields.to_vec();
    foreign.push(("csrf", &other.csrf));
    let mut cut = fields.to_vec();
    cut.push(("csrf", &owner.csrf[..42]));
    for body in [&fields[..], &foreign, &cut] {
        let answer = owner.post_bare("/shop/people", body).await;
        assert_eq!(answer.status(), 403);
        let page = answer.text().await.unwrap();
        assert!(
            page.contains("signed in again") && page.contains("<dd>Col Brannick</dd>"),
            "{page}"
        );
        assert!(!page.contains("graphite"), "a password is never sent back");
    }
    // The right token from another site's page, by either header, and sign-in from there too.
    for (name, value) in [
        ("origin", "https://elsewhere.example"),
        ("origin", "null"),
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
    ] {
        for path in ["/shop/people", "/sign-in", "/sign-out"] {
            let answer = owner
                .request("POST", path)
                .header(name, value)
                .header("content-type", "application/x-www-form-urlencoded")
                .body(encoded(&[("csrf", &owner.csrf)]))
                .send()
                .await
                .unwrap();
            assert_eq!(answer.status(), 403, "{path} {name}: {value}");
            assert!(answer.text().await.unwrap().contains("another site"));
        }
    }
    let people = owner.get("/shop/people").await.text().await.unwrap();
    assert!(!people.contains("Col Brannick"));
    let answer = owner.post("/shop/people", &fields).await;
    assert_eq!(answer.status(), 303);
    let people = owner.get("/shop/people").await.text().await.unwrap();
    assert!(people.contains("Col Brannick can sign in now."), "{people}");
    let people = owner.get("/shop/people").await.text().await.unwrap();
    assert!(!people.contains("can sign in now"), "told once");
}

#[tokio::test]
async fn repeated_failures_are_slowed_and_told() {
    let site = TestSite::new().await;
    let visitor = site.stranger();
    let wrong = async |name: &str| visitor.try_sign_in(name, "wrong").await;
    for _ in 0..3 {
        let answer = wrong("edda").await;
        assert_eq!(answer.status(), 401);
        let page = answer.text().await.unwrap();
        assert!(page.contains("do not belong together"));
        assert!(
            page.contains(r#"value="edda""#) && !page.contains("wrong"),
            "{page}"
        );
    }
    // The right password is not looked at while the wait lasts, whatever the case of the name.
    let answer = visitor.try_sign_in("EDDA", PASSWORD).await;
    assert_eq!(answer.status(), 429);
    let retry: u64 = header(answer.headers(), "retry-after").parse().unwrap();
    assert!((1..=3).contains(&retry), "{retry}");
    assert!(
        answer
            .text()
            .await
            .unwrap()
            .contains("tried too often. Wait")
    );

    // Another name from the same address is not held back yet; an unknown name waits just the same.
    for _ in 0..3 {
        assert_eq!(wrong("nobody").await.status(), 401);
    }
    assert_eq!(wrong("nobody").await.status(), 429);

    let past = async |seconds: i32| {
        sqlx::query("update sign_in_failure set at = at - make_interval(secs => $1)")
            .bind(f64::from(seconds))
            .execute(&mut site.database.owner().await)
            .await
            .unwrap();
    };
    past(3).await;
    assert_eq!(visitor.try_sign_in("edda", PASSWORD).await.status(), 303);
    // A success forgets what was tried by this name from here, and the browser is known from then on.
    for _ in 0..3 {
        assert_eq!(wrong("edda").await.status(), 401);
    }
    past(3).await;
    assert_eq!(wrong("edda").await.status(), 401);
    past(3).await;
    assert_eq!(wrong("nobody").await.status(), 401);
    assert_eq!(
        wrong("nobody").await.status(),
        429,
        "the fifth waits longer"
    );

    // Many names from one address are slowed as well.
    for n in 0..20 {
        wrong(&format!("name{n}")).await;
    }
    assert_eq!(wrong("yet-another").await.status(), 429);
}

#[tokio::test]
async fn many_tries_at_once_do_not_slip_past_the_brake() {
    let site = TestSite::new().await;
    let tries: Vec<_> = (0..12)
        .map(|_| {
            let visitor = site.stranger();
            tokio::spawn(
                async move { visitor.try_sign_in("edda", "wrong").await.status().as_u16() },
            )
        })
        .collect();
    let mut looked_at = 0;
    for one in tries {
        looked_at += u32::from(one.await.unwrap() == 401);
    }
    assert_eq!(looked_at, 3);
}

#[tokio::test]
async fn with_several_shops_sign_in_asks_which_and_walls_hold() {
    let site = TestSite::new().await;
    let page = site.stranger().get("/sign-in").await.text().await.unwrap();
    assert!(!page.contains(r#"name="shop""#));
    site.database.shop("second-shop").await;
    let page = site.stranger().get("/sign-in").await.text().await.unwrap();
    assert!(page.contains(r#"name="shop""#));
    let try_at = async |shop: &str| {
        let fields = [("shop", shop), ("sign_in", "edda"), ("password", PASSWORD)];
        site.stranger()
            .post_bare("/sign-in", &fields)
            .await
            .status()
            .as_u16()
    };
    assert_eq!(try_at("").await, 422);
    assert_eq!(try_at("second-shop").await, 401);
    assert_eq!(try_at("no-such-shop").await, 401);
    assert_eq!(try_at(" Harrow-Quay ").await, 303);
}

#[tokio::test]
async fn going_on_after_sign_in_stays_here() {
    let site = TestSite::new().await;
    for (next, to) in [
        ("/shop/people?x=1", "/shop/people?x=1"),
        ("https://elsewhere.example/", "/"),
        ("//elsewhere.example/", "/"),
        ("/\\elsewhere.example", "/"),
    ] {
        let fields = [("sign_in", "edda"), ("password", PASSWORD), ("next", next)];
        let answer = site.stranger().post_bare("/sign-in", &fields).await;
        assert_eq!(header(answer.headers(), "location"), to, "{next}");
    }
}

async fn refusal(visitor: &Visitor, body: Vec<u8>, kind: &str) -> (u16, String) {
    let answer = visitor
        .request("POST", "/shop/people")
        .header("content-type", kind)
        .body(body)
        .send()
        .await
        .unwrap();
    (answer.status().as_u16(), answer.text().await.unwrap())
}

#[tokio::test]
async fn refusals_are_pages_with_words_or_problem_documents() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let form = "application/x-www-form-urlencoded";

    let answer = owner.get("/no-such-page").await;
    assert_eq!(answer.status(), 404);
    let page = answer.text().await.unwrap();
    assert!(
        page.contains("We cannot find this page") && page.contains("<nav"),
        "{page}"
    );
    for path in [
        "/shop/people/not-a-key",
        "/shop/people/01890000-0000-7000-8000-000000000000",
        "/static/0000/borewright.css",
    ] {
        assert_eq!(owner.get(path).await.status(), 404, "{path}");
    }
    let document = problem(owner.get("/api/no-such-thing").await).await;
    assert_eq!(document["title"], "Page not found");
    let answer = owner
        .request("GET", "/no-such-page")
        .header("accept", "application/json");
    assert_eq!(problem(answer.send().await.unwrap()).await["status"], 404);

    // A method that the address of a record does not take, with those it takes (RFC 9110, 15.5.6).
    let some = uuid::Uuid::now_v7();
    for (path, methods) in [
        ("/stock/items/new".to_owned(), "GET, POST"),
        (format!("/stock/items/{some}"), "GET, POST"),
        ("/shop/machines/new".to_owned(), "GET"),
        ("/shop/machines".to_owned(), "GET, POST"),
        ("/castings/rules".to_owned(), "GET, POST"),
        (format!("/castings/rules/{some}/delete"), "GET, POST"),
        ("/castings/patterns".to_owned(), "POST"),
        (format!("/castings/patterns/{some}/copy"), "GET, POST"),
        (format!("/market/{some}"), "GET, POST"),
    ] {
        for method in ["PUT", "DELETE"] {
            let answer = owner.request(method, &path).send().await.unwrap();
            assert_eq!(answer.status(), 405, "{method} {path}");
            assert_eq!(header(answer.headers(), "allow"), methods, "{path}");
        }
    }
    // The addresses of the API, by its own description.
    for (path, methods) in [
        ("/api/v1/variants".to_owned(), "GET, POST"),
        ("/api/v1/enquiries".to_owned(), "GET, POST"),
        ("/api/v1/hours".to_owned(), "POST"),
        (format!("/api/v1/sightings/{some}"), "GET, PUT, DELETE"),
        ("/api/v1/machines".to_owned(), "GET, POST"),
        (format!("/api/v1/machines/{some}"), "GET, PATCH"),
        (format!("/api/v1/rates/{some}"), "GET, PATCH, DELETE"),
    ] {
        for method in ["OPTIONS", "TRACE"] {
            let answer = owner.request(method, &path).send().await.unwrap();
            assert_eq!(answer.status(), 405, "{method} {path}");
            assert_eq!(header(answer.headers(), "allow"), methods, "{path}");
            assert_eq!(problem(answer).await["title"], "Not allowed here");
        }
    }
    let nothing = owner.request("PUT", "/api/v1/nothing").send().await;
    assert_eq!(problem(nothing.unwrap()).await["status"], 404);
    assert_eq!(owner.get("/api/v1/nothing").await.status(), 404);
    assert_eq!(owner.get("/castings/rules").await.status(), 200);
    assert_eq!(owner.get("/shop/machines").await.status(), 200);

    let answer = owner.request("DELETE", "/password").send().await.unwrap();
    assert_eq!(answer.status(), 405);
    assert!(
        answer
            .text()
            .await
            .unwrap()
            .contains("does not take that kind of request")
    );
    assert_eq!(owner.get("/shop?x=%00").await.status(), 400);

    let with_token = |rest: &str| format!("csrf={}&{rest}", owner.csrf).into_bytes();
    let (status, page) = refusal(&owner, with_token(&"a".repeat(300_000)), form).await;
    assert_eq!(status, 413);
    assert!(page.contains("more than can be sent at once"));
    let (status, page) = refusal(&owner, with_token("name=a%00b"), form).await;
    assert_eq!((status, page.contains("cannot be kept")), (400, true));
    let (status, page) = refusal(&owner, with_token("name=a&name=b"), form).await;
    assert_eq!(
        (status, page.contains("Enter one value, not several")),
        (422, true),
        "{page}"
    );
    let (status, _) = refusal(&owner, b"{}".to_vec(), "application/json").await;
    assert_eq!(status, 415);
    let (status, _) = refusal(&owner, vec![0xff; 64], form).await;
    assert_eq!(status, 403);
    let (status, page) = refusal(&owner, with_token("name=%ff%fe&role=%00%"), form).await;
    assert_eq!(status, 400, "{page}");

    // A fault of ours: the words of the fault stay in the log; the person gets a number to tell.
    sqlx::raw_sql("alter table person rename to person_away")
        .execute(&mut site.database.owner().await)
        .await
        .unwrap();
    let answer = owner.get("/shop/people").await;
    assert_eq!(answer.status(), 500);
    let page = answer.text().await.unwrap();
    assert!(page.contains("Number in the log"), "{page}");
    assert!(
        !page.contains("relation") && !page.contains("person_away"),
        "{page}"
    );
    let document = problem(owner.get("/api/x").await).await;
    assert!(
        document["instance"]
            .as_str()
            .unwrap()
            .starts_with("urn:uuid:"),
        "{document}"
    );
}

#[tokio::test]
async fn typed_values_come_back_and_a_stale_edit_shows_both() {
    let site = TestSite::new().await;
    let wyn = site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let owner = site.owner().await;
    let fields = [
        ("name", "<b>Ines</b>"),
        ("sign_in", "WYN"),
        ("role", "office"),
        ("skills", "honing"),
        ("password", "graphite and swarf"),
    ];
    let answer = owner.post("/shop/people", &fields).await;
    assert_eq!(answer.status(), 422);
    let page = answer.text().await.unwrap();
    assert!(
        page.contains("Someone signs in with this name already"),
        "{page}"
    );
    assert!(page.contains(r##"href="#sign_in""##));
    assert!(
        page.contains(r#"value="&lt;b&gt;Ines&lt;/b&gt;""#) && page.contains(r#"value="honing""#)
    );
    assert!(!page.contains("graphite"), "a password is never sent back");

    let path = format!("/shop/people/{wyn}");
    let edit = async |name: &str, version: &str| {
        let fields = [
            ("name", name),
            ("sign_in", "wyn"),
            ("role", "machinist"),
            ("active", "yes"),
            ("version", version),
        ];
        owner.post(&path, &fields).await
    };
    assert_eq!(edit("Wyn T.", "1").await.status(), 303);
    let answer = edit("W. Tarrant", "1").await;
    assert_eq!(answer.status(), 409);
    let page = answer.text().await.unwrap();
    assert!(
        page.contains("Wyn T.") && page.contains("W. Tarrant"),
        "{page}"
    );
    assert_eq!(between(&page, r#"name="version" value=""#, "\""), "2");
    assert_eq!(edit("W. Tarrant", "2").await.status(), 303);
}

#[tokio::test]
async fn the_last_owner_stays_and_leaving_ends_sessions() {
    let site = TestSite::new().await;
    let wyn = site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let owner = site.owner().await;
    let worker = site.signed_in("wyn").await;
    for path in ["/shop/people", "/shop/people/new"] {
        assert_eq!(worker.get(path).await.status(), 403, "{path}");
    }
    let answer = worker
        .post(
            &format!("/shop/people/{wyn}/password"),
            &[("password", "mine all mine")],
        )
        .await;
    assert_eq!(answer.status(), 403);

    let people = owner.get("/shop/people").await.text().await.unwrap();
    let edda = people
        .split("/shop/people/")
        .find(|part| {
            part.get(36..)
                .is_some_and(|rest| rest.starts_with("\">Edda Marsh"))
        })
        .map(|part| part[..36].to_owned())
        .unwrap();
    let edit = async |id: &str, role: &str, active: &str, version: &str| {
        let fields = [
            ("name", "X"),
            ("sign_in", &id[..30]),
            ("role", role),
            ("active", active),
            ("version", version),
        ];
        owner.post(&format!("/shop/people/{id}"), &fields).await
    };
    for (role, active) in [("office", "yes"), ("owner", "")] {
        let answer = edit(&edda, role, active, "1").await;
        assert_eq!(answer.status(), 422);
        assert!(answer.text().await.unwrap().contains("only owner"));
    }
    assert_eq!(worker.get("/shop").await.status(), 200);
    assert_eq!(
        edit(&wyn.to_string(), "machinist", "", "1").await.status(),
        303
    );
    assert_eq!(
        worker.get("/shop").await.status(),
        303,
        "signed out by leaving"
    );
}

#[tokio::test]
async fn a_new_password_signs_out_elsewhere() {
    let site = TestSite::new().await;
    let here = site.owner().await;
    let elsewhere = site.owner().await;
    let change = async |current: &str, password: &str| {
        here.post("/password", &[("current", current), ("password", password)])
            .await
            .status()
            .as_u16()
    };
    assert_eq!(change("wrong", "new and long enough").await, 422);
    assert_eq!(change(PASSWORD, "short").await, 422);
    assert_eq!(elsewhere.get("/shop").await.status(), 200);
    assert_eq!(change(PASSWORD, "new and long enough").await, 303);
    assert_eq!(here.get("/shop").await.status(), 200);
    assert_eq!(elsewhere.get("/shop").await.status(), 303);
    assert_eq!(
        site.stranger().try_sign_in("edda", PASSWORD).await.status(),
        401
    );
    assert_eq!(
        site.stranger()
            .try_sign_in("edda", "new and long enough")
            .await
            .status(),
        303
    );
}

#[tokio::test]
async fn assets_are_cached_for_ever_and_compressed_pages_too() {
    let site = TestSite::new().await;
    let stranger = site.stranger();
    let page = stranger.get("/sign-in").await.text().await.unwrap();
    for name in ["borewright.css", "keys.js", "live.js", "mark.svg"] {
        let path = format!(
            "/static/{}/{name}",
            between(&page, "/static/", &format!("/{name}\""))
                .rsplit("/static/")
                .next()
                .unwrap()
        );
        let answer = stranger
            .request("GET", &path)
            .header("accept-encoding", "gzip")
            .send()
            .await
            .unwrap();
        assert_eq!(answer.status(), 200, "{path}");
        assert_eq!(header(answer.headers(), "content-encoding"), "gzip");
        assert!(header(answer.headers(), "cache-control").contains("immutable"));
        assert_eq!(&answer.bytes().await.unwrap()[..2], [0x1f, 0x8b]);
        let plain = stranger.get(&path).await.bytes().await.unwrap();
        if name == "borewright.css" {
            // Joined from the files of its components.
            let text = String::from_utf8(plain.to_vec()).unwrap();
            for part in std::fs::read_dir("static/css").unwrap() {
                let part = std::fs::read_to_string(part.unwrap().path()).unwrap();
                assert!(text.contains(part.trim()), "{part}");
            }
        } else {
            assert_eq!(plain, std::fs::read(format!("static/{name}")).unwrap());
        }
    }
    let answer = stranger
        .request("GET", "/sign-in")
        .header("accept-encoding", "gzip")
        .send()
        .await
        .unwrap();
    assert_eq!(header(answer.headers(), "content-encoding"), "gzip");
}

/// A compressed page leaves in several small writes. None of them waits for the other side to acknowledge the one before,
/// which on a connection that is kept takes some 40 ms.
#[tokio::test]
async fn a_compressed_page_is_not_held_back_on_a_connection_that_is_kept() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    for page in ["/market", "/shop/people"] {
        let mut times = Vec::new();
        for _ in 0..40 {
            let began = Instant::now();
            let answer = owner
                .request("GET", page)
                .header("accept-encoding", "gzip")
                .send()
                .await
                .unwrap();
            assert_eq!(header(answer.headers(), "content-encoding"), "gzip");
            answer.bytes().await.unwrap();
            times.push(began.elapsed());
        }
        times.sort_unstable();
        // Held back, nearly every one takes 40 ms at least, however idle the machine; else some are quicker than that,
        // however busy it is.
        assert!(times[4] < Duration::from_millis(35), "{page}: {times:?}");
    }
}
