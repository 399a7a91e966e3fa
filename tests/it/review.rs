//! The review: the same figures on the page, in the file and for programs; who may see them; what an empty shop is told.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between};
use rust_decimal::Decimal;
use serde_json::Value;

const GROUPINGS: [&str; 8] = [
    "operation",
    "element",
    "kind",
    "machine",
    "person",
    "pattern",
    "customer",
    "job",
];

async fn text(visitor: &Visitor, path: &str) -> String {
    let answer = visitor.get(path).await;
    assert_eq!(answer.status(), 200, "{path}");
    answer.text().await.unwrap()
}

fn amount(figures: &Value, field: &str) -> Decimal {
    figures[field].as_str().unwrap().parse().unwrap()
}

#[tokio::test]
async fn every_grouping_comes_to_the_same_total_on_the_page_in_the_file_and_for_programs() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let mut totals = Vec::new();
    for by in GROUPINGS {
        let asked = format!("period=year&by={by}");
        let told: Value =
            serde_json::from_str(&text(&owner, &format!("/api/v1/review?{asked}")).await).unwrap();
        let groups = told["groups"].as_array().unwrap();
        for field in [
            "people_minutes",
            "machine_minutes",
            "cost",
            "cost_estimated",
            "variance",
        ] {
            let sum: Decimal = groups.iter().map(|group| amount(group, field)).sum();
            // Each group is rounded to two places.
            let off = (sum - amount(&told["total"], field)).abs();
            assert!(
                off < Decimal::from(groups.len()) / Decimal::from(100),
                "{by} {field}: {off}"
            );
        }
        let split =
            amount(&told["total"], "rate_variance") + amount(&told["total"], "efficiency_variance");
        assert!((split - amount(&told["total"], "variance")).abs() < Decimal::new(2, 2));
        let file = text(&owner, &format!("/review/figures.csv?{asked}")).await;
        let rows: Vec<&str> = file.lines().collect();
        assert_eq!(rows.len(), groups.len() + 2, "{by}");
        let last: Vec<&str> = rows.last().unwrap().split(',').collect();
        let cost: Decimal = last[5].parse().unwrap();
        assert!(
            (cost - amount(&told["total"], "cost")).abs() < Decimal::new(2, 2),
            "{by}"
        );
        let page = text(&owner, &format!("/review?{asked}")).await;
        // Each group opens to its bookings, which come to its cost.
        let link = page
            .split("href=\"/review/bookings")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap();
        let opened = text(
            &owner,
            &format!("/review/bookings{}", link.replace("&amp;", "&")),
        )
        .await;
        assert!(opened.contains("/jobs/"), "{by}");
        totals.push(told["total"].clone());
    }
    assert!(
        totals.windows(2).all(|pair| pair[0] == pair[1]),
        "{totals:#?}"
    );

    // Rates were raised in the year, after some of the work had been quoted.
    assert!(amount(&totals[0], "rate_variance") > Decimal::ZERO);

    let promises = text(&owner, "/review/promises").await;
    assert!(promises.contains("promised at 80"), "{promises}");
    let month = text(&owner, "/review/month").await;
    assert!(month.contains("What to change") && month.contains("Vertical mill"));
    let first = month.matches("<li>").count();
    assert!(first <= 5 + 16, "{first} items");
}

/// The decisions of the demo's year are the same for programs and in the file; margins add up; and every job that has
/// another way was a conversion that could have been a hunt.
#[tokio::test]
async fn a_finished_job_is_held_against_the_way_not_taken() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let told: Value =
        serde_json::from_str(&text(&owner, "/api/v1/review/decisions").await).unwrap();
    let decisions = told["decisions"].as_array().unwrap();
    let with: Vec<&Value> = decisions
        .iter()
        .filter(|d| !d["other_way"].is_null())
        .collect();
    assert!(with.len() > 20 && with.len() < decisions.len());
    assert_eq!(told["with_another_way"], with.len());
    let over =
        |d: &Value| amount(&d["other_way"], "came_to") - amount(&d["other_way"], "price_likely");
    for d in &with {
        assert!(d["kind"].as_str().unwrap().starts_with("convert"));
        assert_eq!(d["other_way"]["kind"], "hunt");
    }
    // What came dearest against the other way stands first.
    assert!(with.windows(2).all(|pair| over(pair[0]) >= over(pair[1])));
    let cheaper = with.iter().filter(|d| over(d) <= Decimal::ZERO).count();
    assert_eq!(told["cheaper"], cheaper);
    let planned = decisions.iter().filter(|d| !d["margin_planned"].is_null());
    let made: Decimal = planned.map(|d| amount(d, "margin_made")).sum();
    assert_eq!(made, amount(&told, "margin_made"));

    let file = text(&owner, "/review/decisions.csv").await;
    assert_eq!(file.lines().count(), decisions.len() + 1);
    let page = text(&owner, "/review/decisions").await;
    let said = format!("{cheaper} of {} came out cheaper", with.len());
    assert!(page.contains(&said), "{said}");
    for path in ["standards", "spread", "quotes"] {
        let file = text(&owner, &format!("/review/{path}.csv")).await;
        assert!(file.lines().count() > 3, "{path}: {file}");
        let told = text(&owner, &format!("/api/v1/review/{path}")).await;
        assert!(serde_json::from_str::<Value>(&told).is_ok(), "{path}");
    }
}

/// On the demo decks are stood by for longer than their standard says. The owner takes that over, once, as it was shown.
#[tokio::test]
async fn how_much_of_a_run_somebody_stands_by_is_learned_and_taken_over() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let office = site.signed_in("office").await;
    let page = text(&owner, "/review/standards").await;
    let form = page
        .split("action=\"/review/standards/attended\"")
        .nth(1)
        .expect("a proposal");
    let field = |name: &str| between(form, &format!("name=\"{name}\" value=\""), "\"").to_owned();
    let (element, version, share) = (field("element"), field("version"), field("figure"));
    let known: Value =
        serde_json::from_str(&text(&owner, "/api/v1/review/standards").await).unwrap();
    let known = known["attended"].as_array().unwrap();
    let deck = known.iter().find(|a| a["element"] == *element).unwrap();
    assert_eq!(deck["standard"], 0.4);
    let proposed: Decimal = share.parse().unwrap();
    assert!(
        (Decimal::new(5, 1)..=Decimal::new(6, 1)).contains(&proposed),
        "{proposed}"
    );
    // The others are as their standards say.
    assert_eq!(known.iter().filter(|a| !a["proposed"].is_null()).count(), 1);
    let fields = [
        ("element", element.as_str()),
        ("version", version.as_str()),
        ("figure", share.as_str()),
    ];
    let path = "/review/standards/attended";
    assert!(!text(&office, "/review/standards").await.contains(path));
    assert_eq!(office.post(path, &fields).await.status(), 403);
    let other = [fields[0], fields[1], ("figure", "0.95")];
    assert_eq!(owner.post(path, &other).await.status(), 409);
    assert_eq!(owner.post(path, &fields).await.status(), 303);
    assert_eq!(owner.post(path, &fields).await.status(), 409);
    let after = text(&owner, &format!("/shop/standards/{element}")).await;
    assert!(after.contains("Attended"), "{after}");
    let page = text(&owner, "/review/standards").await;
    assert!(!page.contains(path));

    // The spread of an element is taken over in the same way, and then it is right.
    let path = "/review/standards/scatter";
    let proposals = page.matches(&format!("action=\"{path}\"")).count();
    assert!(proposals > 0);
    let form = page.split(&format!("action=\"{path}\"")).nth(1).unwrap();
    let field = |name: &str| between(form, &format!("name=\"{name}\" value=\""), "\"").to_owned();
    let (element, version, figure) = (field("element"), field("version"), field("figure"));
    let fields = [
        ("element", element.as_str()),
        ("version", version.as_str()),
        ("figure", figure.as_str()),
    ];
    assert_eq!(office.post(path, &fields).await.status(), 403);
    assert_eq!(owner.post(path, &fields).await.status(), 303);
    assert_eq!(owner.post(path, &fields).await.status(), 409);
    let page = text(&owner, "/review/standards").await;
    let left = page.matches(&format!("action=\"{path}\"")).count();
    assert_eq!(left, proposals - 1);
}

/// On the demo fewer promises were kept than was said. Once the owner has days follow the record, a call is answered with a
/// later day or a smaller chance, and says why; nobody else decides it, and it can be taken back.
#[tokio::test]
async fn days_follow_the_record_when_the_owner_says_so() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let office = site.signed_in("office").await;
    let said = "By the record of promises kept";
    let list = text(&owner, "/enquiries").await;
    let mut call = None;
    for rest in list.split("href=\"/enquiries/").skip(1) {
        let path = format!("/enquiries/{}", rest.split('"').next().unwrap());
        if path.len() == 47 && text(&owner, &path).await.contains("simulated outcomes") {
            call = Some(path);
            break;
        }
    }
    let call = call.expect("a call with an answer");
    assert!(!text(&owner, &call).await.contains(said));

    let page = text(&owner, "/review/promises").await;
    assert!(page.contains("Let days follow the record"));
    let version = between(&page, "name=\"version\" value=\"", "\"");
    let asked = text(&office, "/review/promises").await;
    assert!(!asked.contains("Let days follow the record"));
    let refused = office
        .post(
            "/review/promises/follow",
            &[("what", "day"), ("follow", "yes"), ("version", version)],
        )
        .await;
    assert_eq!(refused.status(), 403);
    let done = owner
        .post(
            "/review/promises/follow",
            &[("what", "day"), ("follow", "yes"), ("version", version)],
        )
        .await;
    assert_eq!(done.status(), 303);
    // A second window still shows the settings of before.
    let stale = owner
        .post(
            "/review/promises/follow",
            &[("what", "day"), ("follow", "no"), ("version", version)],
        )
        .await;
    assert_eq!(stale.status(), 409);

    let page = text(&owner, "/review/promises").await;
    let share: u32 = between(&page, "80 % sure is given at ", " %")
        .parse()
        .unwrap();
    assert!((81..=99).contains(&share), "{share}");
    assert!(
        text(&owner, &call)
            .await
            .contains(&format!("when it holds in {share} %"))
    );

    // Prices are another matter, decided apart; they cover more futures then, and the plan's runs keep what was learned.
    let covered = async || {
        let mut tx = site.shop.begin().await;
        let settings = borewright::db::settings::get(&mut tx).await.unwrap();
        settings.policy.covered_percent()
    };
    assert_eq!(covered().await, 80);
    let version = between(&page, "name=\"version\" value=\"", "\"");
    let prices = owner
        .post(
            "/review/promises/follow",
            &[("what", "cost"), ("follow", "yes"), ("version", version)],
        )
        .await;
    assert_eq!(prices.status(), 303);
    let more = covered().await;
    assert!((81..=99).contains(&more), "{more}");
    let page = text(&owner, "/review/promises").await;
    assert!(page.contains(&format!("80 % sure is given at {more} % of the futures")));

    let version = between(&page, "name=\"version\" value=\"", "\"");
    let back = owner
        .post(
            "/review/promises/follow",
            &[("what", "day"), ("follow", "no"), ("version", version)],
        )
        .await;
    assert_eq!(back.status(), 303);
    assert!(!text(&owner, &call).await.contains(said));
}

#[tokio::test]
async fn a_person_s_figures_are_the_owner_s_and_the_review_is_not_the_bench_s() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let page = text(&office, "/review").await;
    assert!(page.contains("href=\"/review\"") && !page.contains("value=\"person\""));
    let told: Value = serde_json::from_str(&text(&office, "/api/v1/review").await).unwrap();
    assert_eq!(told["people"].as_array().unwrap().len(), 0);
    let bench = site.signed_in("machinist").await;
    for path in [
        "/review?by=person",
        "/review/figures.csv?by=person",
        "/review/bookings?by=person&key=x",
        "/api/v1/review?by=person",
    ] {
        assert_eq!(office.get(path).await.status(), 403, "{path}");
    }
    for path in [
        "/review",
        "/review/figures.csv",
        "/review/bookings?key=x",
        "/review/promises",
        "/review/decisions",
        "/review/decisions.csv",
        "/review/standards.csv",
        "/review/spread.csv",
        "/review/quotes.csv",
        "/review/month",
        "/api/v1/review",
        "/api/v1/review/decisions",
        "/api/v1/review/standards",
        "/api/v1/review/spread",
        "/api/v1/review/quotes",
    ] {
        assert_eq!(bench.get(path).await.status(), 403, "{path}");
    }
    assert!(!text(&bench, "/jobs").await.contains("href=\"/review\""));
}

#[tokio::test]
async fn what_cannot_be_read_is_said_beside_its_field_and_an_empty_shop_is_told_how_to_begin() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    for path in [
        "/review",
        "/review/promises",
        "/review/decisions",
        "/review/month",
    ] {
        let page = text(&owner, path).await;
        assert!(
            page.contains("booked") || page.contains("book the work"),
            "{path}: {page}"
        );
        assert!(!page.contains("0 %") && !page.contains("NaN"), "{path}");
    }
    let answer = owner
        .get("/review?period=days&from=2026-05-31&until=May")
        .await;
    assert_eq!(answer.status(), 422);
    let page = answer.text().await.unwrap();
    assert!(page.contains("value=\"2026-05-31\"") && page.contains("value=\"May\""));
    assert_eq!(
        owner
            .get("/review?period=days&from=2026-05-31&until=2026-05-01")
            .await
            .status(),
        422
    );
    assert_eq!(owner.get("/review?by=colour").await.status(), 422);
    assert_eq!(owner.get("/review/month?month=1999-01").await.status(), 422);
    let answer = owner.get("/api/v1/review?period=never").await;
    assert_eq!(answer.status(), 422);
    assert!(
        answer.headers()["content-type"]
            .to_str()
            .unwrap()
            .contains("problem+json")
    );
}

#[tokio::test]
async fn every_page_of_the_review_fits_every_width() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let list = text(&owner, "/review/standards").await;
    let standard = format!(
        "/review/standards/{}",
        between(&list, r#"href="/review/standards/"#, "\"")
    );
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "owner").await;
        for (name, path) in [
            ("review", "/review"),
            ("review-promises", "/review/promises"),
            ("review-month", "/review/month"),
            ("review-decisions", "/review/decisions"),
            ("review-standards", "/review/standards"),
            ("review-standard", &standard),
            ("review-spread", "/review/spread"),
            ("review-quotes", "/review/quotes"),
        ] {
            browser.goto(path).await;
            browser.wait_for("h1").await;
            browser.picture(name).await;
        }
        browser.close().await;
    }
}
