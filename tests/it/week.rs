//! The week on a screen, driven at three widths.

use crate::support::browser::{Browser, Screen};
use crate::support::site::TestSite;

#[tokio::test]
async fn look() {
    let site = TestSite::demo().await;
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "owner").await;
        for (path, name) in [
            ("/week", "week"),
            ("/week?days=1", "week-day"),
            ("/week?days=14", "week-2"),
            ("/week?days=28", "week-4"),
            ("/week?days=84", "week-12"),
            ("/week/risk", "week-risk"),
            ("/week/together", "week-together"),
        ] {
            let t = std::time::Instant::now();
            browser.goto(path).await;
            eprintln!("{path} {:?}", t.elapsed());
            browser.picture(name).await;
        }
        browser.close().await;
    }
}
