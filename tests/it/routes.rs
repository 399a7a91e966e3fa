//! The table of routes, as the application has it: no path is hidden behind a pattern registered before it, and every
//! route is reached by a link or a form of some page, or is on the short list of those that are reached otherwise.

use crate::support::crawl::{every_page, first_job, forms, kind_of};
use crate::support::site::{TestSite, Visitor, header};
use actix_web::dev::ResourceDef;
use actix_web::{App, HttpRequest, test, web};
use borewright::db::enquiries::{self, EnquiryDetails};
use borewright::db::{castings, devices};
use chrono::Utc;
use std::collections::BTreeSet;

/// Routes that no page of the office links to: what programs, devices and browsers ask for. They have tests of their own.
const ASKED_OTHERWISE: [&str; 6] = [
    "/api/v1/",           // programs: enquiry_api, castings, market
    "/bench",             // devices that the owner has registered: bench
    "/feeds/{token}.ics", // calendars of other programs: feeds
    "/health",            // and below it: whatever watches the service; web, stays_up
    "/metrics",           // whatever watches the service: metrics
    "/static/",           // style sheet and scripts: web
];

/// Routes of forms and links that stand on a page only in some state: a running clock, a part on its way, an undone change.
/// They are asked for with keys of nothing, and must be answered by a handler of theirs.
const IN_SOME_STATE: [&str; 39] = [
    "/castings/shelf/goods-in/put",
    "/customers/names",
    "/customers/{id}/merges/{merge}/undo",
    "/enquiries/{id}/customer",
    "/enquiries/{id}/price",
    "/enquiries/{id}/sooner",
    "/feeds/{id}/revoke",
    "/import/{kind}/{id}/undo",
    "/jobs/settle/{id}",
    "/jobs/{id}/calls/{call}",
    "/jobs/{id}/checks/{operation}/{place}",
    "/jobs/{id}/close",
    "/jobs/{id}/entries/{entry}",
    "/jobs/{id}/made/{batch}",
    "/jobs/{id}/needs/{need}/arrived",
    "/jobs/{id}/needs/{need}/make",
    "/jobs/{id}/needs/{need}/put-back",
    "/jobs/{id}/points/{file}",
    "/set-up",
    "/shop/cutting/start",
    "/shop/devices/{id}/revoke",
    "/shop/devices/{id}/unlock",
    "/shop/fitting/start",
    "/shop/hours/holidays/file/add",
    "/shop/standards/start",
    "/second-factor/confirm",
    "/second-factor/off",
    "/shop/people/sessions/{id}/end",
    "/shop/starting-set",
    "/shop/tokens/{id}/revoke",
    "/shop/templates/start",
    "/stock/items/{id}/make",
    "/stock/items/{id}/making/delete",
    "/sign-in",
    "/sign-in/code",
    "/stock/tools/{id}/back",
    "/stock/tools/{id}/expect",
    "/week/freshness",
    "/week/undo/{id}",
];

/// Every address that stands in an attribute of a page: of links, forms, buttons that send elsewhere, pictures.
fn addresses(html: &str) -> impl Iterator<Item = String> {
    html.split("=\"/")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .map(|path| format!("/{}", path.replace("&amp;", "&")))
}

/// Whether a handler answers at a path, if only to say that it has no such row: not "nothing is registered here".
async fn is_answered(visitor: &Visitor, path: &str) -> bool {
    for method in ["GET", "POST"] {
        let answer = match method {
            "GET" => visitor.get(path).await,
            _ => visitor.post(path, &[]).await,
        };
        let status = answer.status().as_u16();
        let page = answer.text().await.unwrap();
        if status < 500 && status != 405 && !page.contains("We cannot find this page") {
            return true;
        }
    }
    false
}

/// The patterns of all routes in the order they are registered in.
pub async fn table() -> Vec<String> {
    let app = App::new()
        .configure(borewright::web::routes)
        .default_service(web::to(|req: HttpRequest| async move {
            format!("{:?}", req.resource_map())
        }));
    let app = test::init_service(app).await;
    let asked = test::TestRequest::get().uri("/no/such/page").to_request();
    let body = test::call_and_read_body(&app, asked).await;
    let debug = String::from_utf8(body.to_vec()).unwrap();
    let mut patterns: Vec<String> = debug
        .split("patterns: Single(\"")
        .skip(1)
        .filter_map(|rest| rest.split_once("\")"))
        .map(|(pattern, _)| pattern.to_owned())
        .filter(|pattern| !pattern.is_empty())
        .collect();
    patterns.dedup();
    patterns
}

/// A path that a route is for: a key in place of each parameter.
fn sample(pattern: &str) -> String {
    let mut path = String::new();
    let mut rest = pattern;
    while let Some((before, after)) = rest.split_once('{') {
        let (name, after) = after.split_once('}').unwrap();
        path.push_str(before);
        path.push_str(match name {
            "place" => "0",
            "paper" => "a4",
            _ => "01890a5d-ac96-774b-bcce-b302099a8057",
        });
        rest = after;
    }
    path + rest
}

/// A pattern whatever its parameters are called: two routes of one shape differ in their methods.
fn shape(pattern: &str) -> String {
    let mut shape = String::new();
    let mut inside = false;
    for c in pattern.chars() {
        inside = c == '{' || inside && c != '}';
        if !inside {
            shape.push(c);
        }
    }
    shape
}

/// Routes behind one registered before them that takes their requests: each with that one.
fn hidden(table: &[String]) -> Vec<String> {
    let mut hidden = Vec::new();
    for (at, pattern) in table.iter().enumerate() {
        let path = sample(pattern);
        let before = table[..at]
            .iter()
            .filter(|earlier| shape(earlier) != shape(pattern))
            .find(|earlier| ResourceDef::new(earlier.as_str()).is_match(&path));
        hidden.extend(before.map(|earlier| format!("{pattern} is behind {earlier}")));
    }
    hidden
}

#[actix_web::test]
async fn no_route_is_hidden_behind_one_before_it() {
    let table = table().await;
    assert!(table.len() > 100, "only {} routes: {table:#?}", table.len());
    assert_eq!(hidden(&table), [""; 0]);
    // The check itself: the order that once hid the page for a new pattern.
    let wrong = [
        "/castings/{id}",
        "/castings/new",
        "/jobs/{id}/needs/{need}",
        "/jobs/{id}/needs/new",
    ];
    let wrong: Vec<String> = wrong.map(str::to_owned).to_vec();
    assert_eq!(
        hidden(&wrong),
        [
            "/castings/new is behind /castings/{id}",
            "/jobs/{id}/needs/new is behind /jobs/{id}/needs/{need}"
        ]
    );
}

/// Something of everything that pages link to: a bench device, a call, a quick call, a quote, a cancelled job.
async fn something_of_everything(site: &TestSite, owner: &Visitor) -> Vec<String> {
    let mut tx = site.shop.begin().await;
    let names = castings::variant_names(&mut tx).await.unwrap();
    let marine = names.iter().find(|v| v.name == "Tarn 4/90 marine").unwrap();
    let details = EnquiryDetails {
        caller: "Asa Pemberly".to_owned(),
        wanted_variant_id: Some(marine.id),
        ..EnquiryDetails::default()
    };
    enquiries::create(&mut tx, &details).await.unwrap();
    let measured: uuid::Uuid =
        sqlx::query_scalar("select casting_id from measured_record where shop_id = $1 limit 1")
            .bind(site.shop.id)
            .fetch_one(tx.conn())
            .await
            .unwrap();
    devices::register(&mut tx, "Mill tablet", None, &[7; 32], Utc::now())
        .await
        .unwrap();
    tx.commit().await.unwrap();
    let opened = owner.post("/enquiries/quick", &[]).await;
    let quick = header(opened.headers(), "location").to_owned();
    let work = [("work", "DECK-FACE"), ("count", "1"), ("version", "1")];
    assert_eq!(owner.post(&quick, &work).await.status(), 303);
    let page = owner.get(&quick).await.text().await.unwrap();
    let form = forms(&page, &quick)
        .into_iter()
        .find(|form| form.action.ends_with("/quotes"))
        .unwrap();
    let fields: Vec<(&str, &str)> = form
        .fields
        .iter()
        .map(|f| (f.name.as_str(), f.value.as_str()))
        .collect();
    let quoted = owner.post_bare(&form.action, &fields).await;
    assert_eq!(quoted.status(), 303, "{}", quoted.text().await.unwrap());
    let quote = header(quoted.headers(), "location").to_owned();
    let due = [("due_on", "2199-01-01"), ("due_confirmed", "yes")];
    let job = [&due[..], &work[..2]].concat();
    let mut jobs = Vec::new();
    for _ in 0..2 {
        let opened = owner.post("/jobs/new", &job).await;
        assert_eq!(opened.status(), 303, "{}", opened.text().await.unwrap());
        jobs.push(header(opened.headers(), "location").to_owned());
    }
    let cancel = [("version", "1"), ("reason", "Not wanted")];
    let cancelled = owner.post(&format!("{}/cancel", jobs[1]), &cancel).await;
    assert_eq!(cancelled.status(), 303);
    let call = [
        ("kind", "help"),
        ("came_on", "2026-01-05"),
        ("said", "How tight?"),
        ("cause", "not_known"),
        ("cost", "0"),
        ("paid_by", "nobody"),
    ];
    let noted = owner.post(&format!("{}/aftercare", jobs[0]), &call).await;
    assert_eq!(noted.status(), 303);
    // A job that waits for something, and one that was begun long ago.
    jobs.push(first_job(owner, "/jobs?view=waiting").await);
    jobs.push(first_job(owner, "/jobs?sort=number").await);
    // A casting that was measured.
    jobs.push(format!("/castings/shelf/{measured}"));
    [vec!["/enquiries".to_owned(), quick, quote], jobs].concat()
}

#[tokio::test]
async fn every_route_is_reached_from_some_page_and_none_says_not_found() {
    let table = table().await;
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let starts = something_of_everything(&site, &owner).await;
    let starts: Vec<&str> = starts.iter().map(String::as_str).collect();
    let reached = every_page(&owner, &starts, 6).await;
    let lost: Vec<String> = reached
        .iter()
        .filter(|page| page.status == 404 || page.status >= 500)
        .map(|page| format!("{} on {}: {}", page.path, page.from, page.status))
        .collect();
    assert_eq!(lost, [""; 0]);
    let mut asked: Vec<String> = reached.iter().map(|page| page.path.clone()).collect();
    for page in &reached {
        asked.extend(addresses(&page.html));
        asked.extend(
            forms(&page.html, &page.path)
                .into_iter()
                .map(|form| form.action),
        );
    }
    // One address of a kind is enough, and there are thousands.
    let asked: BTreeSet<String> = asked
        .iter()
        .map(|path| kind_of(path.split(['?', '#']).next().unwrap_or_default()).replace('?', ""))
        .collect();
    let routes: Vec<(&String, ResourceDef)> = table
        .iter()
        .map(|pattern| (pattern, ResourceDef::new(pattern.as_str())))
        .collect();
    let met: BTreeSet<String> = asked
        .iter()
        .filter_map(|path| routes.iter().find(|(_, route)| route.is_match(path)))
        .map(|(pattern, _)| shape(pattern))
        .collect();
    let never: Vec<&str> = table
        .iter()
        .filter(|pattern| !met.contains(&shape(pattern)))
        .filter(|pattern| {
            !ASKED_OTHERWISE
                .iter()
                .any(|known| pattern.starts_with(known))
        })
        .map(String::as_str)
        .collect();
    let unknown: Vec<&&str> = never
        .iter()
        .filter(|pattern| !IN_SOME_STATE.contains(pattern))
        .collect();
    assert_eq!(unknown, [&""; 0], "of {} routes", table.len());
    let mut unanswered = Vec::new();
    for pattern in never {
        if !is_answered(&owner, &sample(pattern)).await {
            unanswered.push(pattern);
        }
    }
    assert_eq!(unanswered, [""; 0]);
    // A form that leads nowhere is answered as a page that is not there.
    let nowhere: Vec<&String> = asked
        .iter()
        .filter(|path| !routes.iter().any(|(_, route)| route.is_match(path)))
        .collect();
    assert_eq!(nowhere, [""; 0]);
}
