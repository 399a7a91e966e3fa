//! Every page that can be reached by a link, in the demo shop, at both widths: it opens, nothing scrolls sideways,
//! everything has a name, and its picture is taken. The README's pictures come from here.

use crate::support::browser::{Browser, Screen};
use crate::support::site::TestSite;
use borewright::db::castings;
use borewright::db::enquiries::{self, EnquiryDetails};
use std::collections::{BTreeSet, VecDeque};

/// A path with each key as a star, so that one page of a kind is looked at and not every one.
fn kind_of(path: &str) -> String {
    let (path, query) = path.split_once('?').unwrap_or((path, ""));
    let parts: Vec<&str> = path
        .split('/')
        .map(|part| {
            if part.len() == 36 && part.matches('-').count() == 4 {
                "*"
            } else {
                part
            }
        })
        .collect();
    let names: Vec<&str> = query
        .split('&')
        .filter_map(|pair| pair.split('=').next())
        .collect();
    format!("{}?{}", parts.join("/"), names.join("&"))
}

/// A file name for the picture of a page.
fn picture_name(kind: &str) -> String {
    let path = kind
        .split('?')
        .next()
        .unwrap_or_default()
        .replace('*', "one");
    format!("tour{}", path.trim_end_matches('/').replace('/', "-"))
}

#[tokio::test]
async fn every_page_that_is_linked_to_opens_at_both_widths() {
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

    for screen in Screen::ALL {
        let browser = Browser::signed_in(&site, screen, "owner").await;
        let mut queue = VecDeque::from(["/enquiries".to_owned(), marine.clone()]);
        let mut seen: BTreeSet<String> = queue.iter().map(|path| kind_of(path)).collect();
        let mut pages = 0;
        while let Some(path) = queue.pop_front() {
            browser.goto(&path).await;
            browser.wait_for("h1").await;
            browser.picture(&picture_name(&kind_of(&path))).await;
            pages += 1;
            // A link that names its type leads to a document, not to a page.
            let links = browser
                .script(
                    "return [...document.links].filter((a) => !a.type).map((a) => a.getAttribute('href'))",
                    vec![],
                )
                .await;
            for link in links.as_array().unwrap() {
                let link = link.as_str().unwrap().split('#').next().unwrap();
                if link.starts_with('/')
                    && !link.starts_with("/static/")
                    && seen.insert(kind_of(link))
                {
                    queue.push_back(link.to_owned());
                }
            }
        }
        assert!(pages > 25, "only {pages} pages were reached: {seen:?}");
        browser.close().await;
    }
}
