//! Every page that can be reached by a link, as the owner sees it, in the demo shop and in an empty one. Over HTTP every
//! link must lead somewhere; of addresses that differ in keys and values alone some are followed, since the week alone has
//! no end. In a browser, at both widths, one page of each kind: it opens, nothing scrolls sideways, everything has a name,
//! and its picture is taken. The README's pictures come from here.

use crate::support::browser::{Browser, Screen};
use crate::support::crawl::{Reached, every_page, kind_of};
use crate::support::site::TestSite;
use borewright::db::castings;
use borewright::db::enquiries::{self, EnquiryDetails};
use std::collections::{BTreeSet, VecDeque};

/// A file name for the picture of a page.
fn picture_name(tour: &str, kind: &str) -> String {
    let path = kind
        .split('?')
        .next()
        .unwrap_or_default()
        .replace('*', "one");
    format!("{tour}{}", path.trim_end_matches('/').replace('/', "-"))
}

/// The demo shop with an open call, and the page of its scarce block.
async fn demo() -> (TestSite, String) {
    let site = TestSite::demo().await;
    let mut tx = site.shop.begin().await;
    let names = castings::variant_names(&mut tx).await.unwrap();
    let key = |name: &str| names.iter().find(|v| v.name == name).unwrap().id;
    let details = EnquiryDetails {
        caller: "Asa Pemberly".to_owned(),
        wanted_variant_id: Some(key("Tarn 4/90 marine")),
        ..EnquiryDetails::default()
    };
    enquiries::create(&mut tx, &details).await.unwrap();
    tx.commit().await.unwrap();
    // The scarce block is looked at rather than whichever comes first.
    let marine = format!("/market/{}", key("Tarn 4/90 marine"));
    (site, marine)
}

/// What did not open, and where it is linked. A form that only asks may say what is missing in its empty fields.
fn broken(reached: &[Reached]) -> Vec<String> {
    reached
        .iter()
        .filter(|page| {
            !matches!(
                (page.status, page.asked),
                (200 | 302 | 303, _) | (422, true)
            )
        })
        .map(|page| format!("{} on {}: {}", page.path, page.from, page.status))
        .collect()
}

/// The most bytes of a page before compression.
const PAGE: usize = 200_000;

/// Kinds of pages that may be longer than four screens on a phone: forms with more fields than that has room for.
const LONG_FORMS: [&str; 4] = [
    "/castings/shelf/*/measure/cam_and_lifters",
    "/castings/shelf/*/measure/crankshaft",
    "/castings/shelf/*/measure/cylinders",
    "/enquiries/*",
];

/// Looks at one page of each kind that is linked to. Returns how many.
async fn tour(site: &TestSite, screen: Screen, owner: &str, name: &str, starts: &[&str]) -> usize {
    let browser = Browser::signed_in(site, screen, owner).await;
    let mut queue: VecDeque<String> = starts.iter().map(|&path| path.to_owned()).collect();
    let mut seen: BTreeSet<String> = queue.iter().map(|path| kind_of(path)).collect();
    let mut pages = 0;
    while let Some(path) = queue.pop_front() {
        browser.goto(&path).await;
        browser.wait_for("h1").await;
        // A page that says there is nothing here has a heading too.
        let status = "return performance.getEntriesByType('navigation')[0].responseStatus";
        let status = browser.script(status, vec![]).await;
        assert_eq!(status, 200, "{path}");
        let stayed = "return location.pathname + location.search !== arguments[0]
             && performance.getEntriesByType('navigation')[0].redirectCount === 0";
        let stayed = browser.script(stayed, vec![path.clone().into()]).await;
        assert_eq!(
            stayed, false,
            "{path} is not a page: its link must name its type"
        );
        browser.picture(&picture_name(name, &kind_of(&path))).await;
        if screen == Screen::Phone {
            let height = "return document.documentElement.scrollHeight";
            let height = browser.script(height, vec![]).await;
            // What is open or wrong is not put away, so that a page may be a little longer than four screens.
            let long = height.as_i64().is_none_or(|pixels| pixels > 4 * 844 + 200);
            let form = LONG_FORMS.contains(&kind_of(&path).split('?').next().unwrap_or_default());
            assert!(!long || form, "{path} is {height} pixels on a phone");
        }
        pages += 1;
        // A link that names its type leads to a document, not to a page.
        let links = browser
            .script(
                "return [...document.links].filter((a) => !a.type && a.origin === location.origin)
                 .map((a) => a.pathname + a.search)",
                vec![],
            )
            .await;
        for link in links.as_array().unwrap() {
            let link = link.as_str().unwrap();
            if !link.starts_with("/static/") && seen.insert(kind_of(link)) {
                queue.push_back(link.to_owned());
            }
        }
    }
    browser.close().await;
    pages
}

#[tokio::test]
async fn every_link_of_the_demo_shop_leads_somewhere() {
    let (site, marine) = demo().await;
    let owner = site.signed_in("owner").await;
    let starts = ["/enquiries", &marine, "/week?days=28", "/week?days=84"];
    let reached = every_page(&owner, &starts, 4).await;
    assert_eq!(broken(&reached), [""; 0], "of {} pages", reached.len());
    // A preview draws the plan twice, as it is and as it would be.
    let most = |path: &str| match path.starts_with("/week/preview") {
        true => 2 * PAGE,
        false => PAGE,
    };
    let large = (reached.iter()).filter(|page| page.html.len() > most(&page.path));
    let large: Vec<String> = large
        .map(|page| format!("{}: {} bytes", page.path, page.html.len()))
        .collect();
    assert_eq!(large, [""; 0]);
    let kinds: BTreeSet<String> = reached.iter().map(|page| kind_of(&page.path)).collect();
    for new in [
        "/castings/patterns/new?",
        "/castings/rules/new?",
        "/stock/items/new?",
    ] {
        assert!(kinds.contains(new), "{new} is not among {kinds:#?}");
    }
}

#[tokio::test]
async fn every_link_of_an_empty_shop_leads_somewhere() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let reached = every_page(&owner, &["/enquiries"], 12).await;
    assert_eq!(broken(&reached), [""; 0], "of {} pages", reached.len());
    assert!(reached.len() > 25, "only {} pages", reached.len());
}

#[tokio::test]
async fn every_page_that_is_linked_to_opens_at_both_widths() {
    let (site, marine) = demo().await;
    for screen in Screen::ALL {
        let pages = tour(&site, screen, "owner", "tour", &["/enquiries", &marine]).await;
        assert!(pages > 25, "only {pages} pages were reached");
    }
}

#[tokio::test]
async fn every_page_of_an_empty_shop_opens_at_both_widths() {
    let site = TestSite::new().await;
    for screen in Screen::ALL {
        let pages = tour(&site, screen, "edda", "empty", &["/enquiries"]).await;
        assert!(pages > 25, "only {pages} pages were reached");
    }
}
