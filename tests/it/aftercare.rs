//! What goes out with a job and what comes back; everyday work that quotes and jobs start from.

use crate::support::browser::{Browser, Screen};
use crate::support::crawl::first_job;
use crate::support::site::{TestSite, Visitor, between, header};
use chrono::Utc;
use lopdf::Document;
use sqlx::query_scalar;
use uuid::Uuid;

async fn text(visitor: &Visitor, path: &str) -> String {
    let answer = visitor.get(path).await;
    assert_eq!(answer.status(), 200, "{path}");
    answer.text().await.unwrap()
}

/// The words of a PDF, one space between them.
async fn pdf(visitor: &Visitor, path: &str) -> String {
    let answer = visitor.get(path).await;
    assert_eq!(answer.status(), 200, "{path}");
    let bytes = answer.bytes().await.unwrap();
    let document = Document::load_mem(&bytes).unwrap();
    let pages: Vec<u32> = document.get_pages().keys().copied().collect();
    let words = document.extract_text(&pages).unwrap();
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn today() -> String {
    let now = Utc::now().with_timezone(&chrono_tz::Europe::London);
    now.date_naive().to_string()
}

/// A job of listed work.
async fn job_of(office: &Visitor, work: &str) -> String {
    let fields = [
        ("work", work),
        ("count", "1"),
        ("due_on", "2199-01-01"),
        ("due_confirmed", "yes"),
    ];
    let opened = office.post("/jobs/new", &fields).await;
    assert_eq!(opened.status(), 303, "{}", opened.text().await.unwrap());
    header(opened.headers(), "location").to_owned()
}

#[tokio::test]
async fn a_fitting_sheet_says_what_goes_with_the_work_as_the_shop_has_it() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let job = job_of(&office, "SEAL-SPLIT-FIT").await;
    assert!(
        text(&office, &job)
            .await
            .contains(&format!("{job}/fitting-sheet/a4"))
    );
    let sheet = pdf(&office, &format!("{job}/fitting-sheet/a4")).await;
    for said in [
        "Fitting sheet",
        "Two-piece rear seal housing",
        "After the first run",
        "must not enter",
    ] {
        assert!(sheet.contains(said), "{said}: {sheet}");
    }
    assert!(!sheet.contains("Scroll-type rear seal"));
    assert_eq!(
        office
            .get(&format!("{job}/fitting-sheet/a3"))
            .await
            .status(),
        404
    );

    // The shop's own words are what is printed next.
    let list = text(&office, "/shop/fitting").await;
    let row = list.split("Two-piece rear seal housing").next().unwrap();
    let id = row
        .rsplit("/shop/fitting/")
        .next()
        .unwrap()
        .split('"')
        .next()
        .unwrap();
    let own = [
        ("code", "SEAL-SPLIT-FIT"),
        ("heading", "Two-piece rear seal housing"),
        ("fit", "Our own jig goes on first."),
        ("first_run", ""),
        ("version", "1"),
    ];
    let path = format!("/shop/fitting/{id}");
    assert_eq!(office.post(&path, &own).await.status(), 303);
    assert_eq!(office.post(&path, &own).await.status(), 409);
    let sheet = pdf(&office, &format!("{job}/fitting-sheet/a5")).await;
    assert!(sheet.contains("Our own jig goes on first."), "{sheet}");
    let taken = office.post("/shop/fitting", &own).await;
    assert_eq!(taken.status(), 422);
    assert!(
        taken
            .text()
            .await
            .unwrap()
            .contains("There is a text for this work already")
    );
    let machinist = site.signed_in("machinist").await;
    assert_eq!(machinist.get("/shop/fitting").await.status(), 403);
}

#[tokio::test]
async fn a_complaint_stands_on_its_job_and_counts_in_the_month() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let job = first_job(&office, "/jobs?sort=number").await;
    let now = today();
    let call = [
        ("kind", "complaint"),
        ("came_on", now.as_str()),
        ("said", "Weeps at the rear seal"),
        ("cause", "our_work"),
        ("done", "Seal fitted again"),
        ("cost", "140"),
        ("paid_by", "shop"),
        ("settled_on", now.as_str()),
    ];
    let month = format!("/review/month?month={}", &now[..7]);
    let before = text(&office, &month).await;
    assert!(!before.contains("1 call"));

    let path = format!("{job}/aftercare");
    let mut unpaid = call.to_vec();
    unpaid.retain(|(name, _)| *name != "paid_by");
    unpaid.push(("paid_by", "nobody"));
    let refused = office.post(&path, &unpaid).await;
    assert_eq!(refused.status(), 422);
    let html = refused.text().await.unwrap();
    assert!(html.contains("Choose who paid the cost") && html.contains("Weeps at the rear seal"));
    assert_eq!(office.post(&path, &call).await.status(), 303);
    let page = text(&office, &job).await;
    for said in [
        "Weeps at the rear seal",
        "£140.00, paid by the shop",
        "our work",
    ] {
        assert!(page.contains(said), "{said}");
    }
    assert!(
        text(&office, &month).await.contains("1 call"),
        "it counts in the month"
    );

    // What the customer paid is a call, and no cost of the shop's.
    let link = between(&page, &format!("href=\"{path}/"), "\"");
    assert_ne!(link, "new");
    let edit = format!("{path}/{link}");
    let mut paid = call.to_vec();
    paid.retain(|(name, _)| *name != "paid_by");
    paid.extend([("paid_by", "customer"), ("version", "1")]);
    assert_eq!(office.post(&edit, &paid).await.status(), 303);
    let mut tx = site.shop.begin().await;
    let borne: i64 = query_scalar("select count(*) from aftercare where paid_by = 'shop'")
        .fetch_one(tx.conn())
        .await
        .unwrap();
    assert_eq!(borne, 0);
    drop(tx);
    let machinist = site.signed_in("machinist").await;
    assert_eq!(machinist.get(&edit).await.status(), 403);
    assert!(
        !text(&machinist, &job)
            .await
            .contains("Weeps at the rear seal")
    );
}

#[tokio::test]
async fn everyday_work_is_added_to_a_quick_quote_and_to_a_job() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let list = text(&office, "/shop/templates").await;
    assert!(list.contains("Grind a crankshaft") && list.contains("Grind big-end pin"));
    // The demo has no boring bar, so nothing that needs one is offered.
    assert!(!list.contains("Rebore and hone"));
    let row = list.split("Grind a crankshaft").next().unwrap();
    let id = row
        .rsplit("/shop/templates/")
        .next()
        .unwrap()
        .split('"')
        .next()
        .unwrap();
    id.parse::<Uuid>().unwrap();

    let opened = office.post("/enquiries/quick", &[]).await;
    let call = header(opened.headers(), "location").to_owned();
    let page = text(&office, &call).await;
    assert!(page.contains(&format!("value=\"{id}\"")));
    let add = [
        ("work", "WASH-FINAL"),
        ("count", "1"),
        ("mains", "5"),
        ("cylinders", "4"),
        ("template", id),
        ("add", "yes"),
        ("version", "1"),
    ];
    assert_eq!(office.post(&call, &add).await.status(), 303);
    let page = text(&office, &call).await;
    for code in [
        "WASH-FINAL",
        "CRACK-TEST",
        "CRANK-GRIND",
        "CRANK-PIN-GRIND",
        "CRANK-POLISH",
    ] {
        assert!(
            page.contains(&format!("<option value=\"{code}\" selected")),
            "{code}"
        );
    }
    let job = office.post("/jobs/new", &add).await;
    assert_eq!(job.status(), 200);
    let page = job.text().await.unwrap();
    assert!(page.contains("<option value=\"CRANK-PIN-GRIND\" selected"));

    // A shop changes it, and may not take a name twice.
    let edit = format!("/shop/templates/{id}");
    let own = [
        ("name", "Crank, full grind"),
        ("part", "Crankshaft"),
        ("work", "CRANK-GRIND"),
        ("count", "1"),
        ("ask", ""),
        ("version", "1"),
    ];
    assert_eq!(office.post(&edit, &own).await.status(), 303);
    assert!(
        text(&office, "/shop/templates")
            .await
            .contains("Crank, full grind")
    );
    let again = office.post("/shop/templates", &own).await;
    assert_eq!(again.status(), 422);
    let nothing = office.post("/shop/templates", &[("name", "Nothing")]).await;
    assert_eq!(nothing.status(), 422);
}

#[tokio::test]
async fn aftercare_and_everyday_work_are_looked_at() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let job = first_job(&office, "/jobs?sort=number").await;
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "office").await;
        for (name, path) in [
            ("aftercare", format!("{job}/aftercare/new")),
            ("everyday-work", "/shop/templates".to_owned()),
            ("everyday-work-new", "/shop/templates/new".to_owned()),
            ("fitting-texts", "/shop/fitting".to_owned()),
            ("fitting-text-new", "/shop/fitting/new".to_owned()),
        ] {
            browser.goto(&path).await;
            browser.wait_for("h1").await;
            browser.picture(name).await;
        }
        browser.close().await;
    }
}
