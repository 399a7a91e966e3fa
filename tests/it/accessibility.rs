//! Every kind of page held against the Web Content Accessibility Guidelines 2.1, levels A and AA, by an independent checker
//! (axe-core, from npm) in a real browser.

use crate::support::browser::{Browser, Screen};
use crate::support::crawl::{kind_of, links};
use crate::support::site::{TestSite, Visitor};
use serde_json::Value;
use std::collections::{BTreeSet, VecDeque};
use std::path::Path;

/// How grave a finding must be to count.
const GRAVE: [&str; 2] = ["serious", "critical"];

const RUN: &str = "
    const done = arguments[arguments.length - 1];
    // Parts that are being fetched anew are dimmed for a moment.
    const settled = () => document.querySelector('[data-busy]') ? setTimeout(settled, 50) : setTimeout(check, 200);
    const check = () => axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa'], resultTypes: ['violations'] })
        .then(result => done(result.violations.map(v => ({
            id: v.id, impact: v.impact, help: v.help, at: v.nodes.slice(0, 3).map(n => n.html.slice(0, 160)),
        }))), error => done(String(error)));
    settled();
";

fn checker() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("node_modules/axe-core/axe.min.js");
    std::fs::read_to_string(&path)
        .unwrap_or_else(|why| panic!("{}: {why}; `npm ci` installs it", path.display()))
}

/// What is gravely wrong with the page that is open.
async fn findings(browser: &Browser, checker: &str) -> Vec<String> {
    browser.script(checker, vec![]).await;
    let found = browser.script_later(RUN, vec![]).await;
    let Value::Array(found) = found else {
        panic!("the checker failed: {found}");
    };
    let grave = found
        .iter()
        .filter(|f| GRAVE.iter().any(|grave| f["impact"] == *grave));
    grave
        .map(|f| format!("{}: {} {}", f["id"], f["help"], f["at"]))
        .collect()
}

/// The last parts of addresses of plain forms, which are all made of the same fields: one of each is looked at.
const PLAIN_FORMS: [&str; 4] = ["new", "edit", "copy", "delete"];

/// One page of each kind, whatever its query, as far as links lead.
async fn pages(owner: &Visitor) -> Vec<String> {
    let mut queue = VecDeque::from(["/".to_owned()]);
    let (mut kinds, mut forms) = (BTreeSet::new(), BTreeSet::new());
    let mut pages = Vec::new();
    while let Some(path) = queue.pop_front() {
        let bare = path.split(['?', '#']).next().unwrap_or_default();
        let last = bare.rsplit('/').next().unwrap_or_default().to_owned();
        let plain = PLAIN_FORMS.contains(&last.as_str());
        if !kinds.insert(kind_of(bare)) || (plain && !forms.insert(last)) {
            continue;
        }
        let html = owner.get(&path).await.text().await.unwrap_or_default();
        if html.contains("<main") {
            let next = links(&html, &path).into_iter().filter(|l| !l.document);
            queue.extend(next.map(|link| link.path));
            pages.push(path);
        }
    }
    pages
}

#[tokio::test]
async fn no_kind_of_page_has_a_grave_finding() {
    let checker = checker();
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let pages = pages(&owner).await;
    assert!(pages.len() > 50, "{pages:?}");
    let mut wrong = Vec::new();
    // Every page on a desktop, and every sixth on a phone, whose pages are laid out by the same few rules.
    for (screen, every) in [(Screen::Desktop, 1), (Screen::Phone, 6)] {
        let browser = Browser::signed_in(&site, screen, "owner").await;
        for path in pages.iter().step_by(every) {
            browser.goto(path).await;
            for finding in findings(&browser, &checker).await {
                wrong.push(format!("{path} ({screen:?}): {finding}"));
            }
        }
        browser.close().await;
    }
    assert!(
        wrong.is_empty(),
        "{} findings:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}
