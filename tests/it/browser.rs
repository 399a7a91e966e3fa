//! Signing in and out in a real browser, by keyboard, at both widths.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{PASSWORD, TestSite};
use borewright::db::people::Role;
use fantoccini::key::Key;

#[tokio::test]
async fn sign_in_and_out_by_keyboard() {
    let site = TestSite::new().await;
    for screen in Screen::ALL {
        let browser = Browser::open(&site, screen).await;
        browser.goto("/shop").await;
        assert_eq!(browser.path().await, "/sign-in?next=%2Fshop");
        browser.picture("sign-in").await;

        browser.type_text("EDDA").await;
        browser.press(Key::Tab).await;
        browser.type_text("not this one").await;
        browser.press(Key::Enter).await;
        browser
            .wait_for_text("[role=alert]", "do not belong together")
            .await;
        browser.picture("sign-in-wrong").await;

        // The name is kept and the keyboard is in the password.
        browser.type_text(PASSWORD).await;
        browser.press(Key::Enter).await;
        browser.wait_for("header.head").await;
        assert_eq!(browser.path().await, "/shop");
        browser.picture("shop").await;
        browser.dark().await;
        browser.picture("shop-dark").await;

        browser.tab_to("form[action='/sign-out'] button").await;
        browser.press(Key::Enter).await;
        browser.wait_for(".sign-in").await;
        browser.goto("/shop").await;
        assert_eq!(browser.path().await, "/sign-in?next=%2Fshop");
        browser.close().await;
    }
}

#[tokio::test]
async fn people_are_added_and_edited_by_keyboard() {
    let site = TestSite::new().await;
    for screen in Screen::ALL {
        let browser = Browser::signed_in(&site, screen, "edda").await;
        browser.goto("/shop/people").await;
        browser.type_text("n").await;
        browser.wait_for("input[name=sign_in]").await;
        browser.tab_to("#name").await;
        browser
            .press_with(&[Key::Control], char::from(Key::Enter))
            .await;
        browser.wait_for(".notice.bad").await;
        browser.picture("person-wrong").await;

        // The summary has the keyboard; its first link leads to the field.
        browser.press(Key::Tab).await;
        browser.press(Key::Enter).await;
        browser.tab_to("#name").await;
        let name = format!("Wyn Tarrant {screen:?}");
        browser.type_text(&name).await;
        browser.press(Key::Tab).await;
        browser.type_text(&format!("wyn-{screen:?}")).await;
        browser.press(Key::Tab).await;
        browser.press(Key::Down).await;
        browser.press(Key::Tab).await;
        browser.type_text("Milling, line boring").await;
        browser.press(Key::Tab).await;
        browser.type_text("graphite and swarf").await;
        browser.picture("person-new").await;
        browser.press(Key::Enter).await;
        browser
            .wait_for_text("[role=status]", &format!("{name} can sign in now."))
            .await;
        browser.wait_for_text("table", "milling, line boring").await;
        browser.wait_for_text("table", "Office").await;
        browser.picture("people").await;
        browser.tab_to("table a").await;
        browser.press(Key::Enter).await;
        browser.wait_for("input[name=active]").await;
        browser.picture("person").await;
        browser.goto("/no-such-page").await;
        browser.picture("not-found").await;
        browser.goto("/password").await;
        browser.picture("password").await;
        browser.close().await;
    }
}

#[tokio::test]
async fn keys_are_listed_and_lead_about() {
    let site = TestSite::new().await;
    site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let browser = Browser::signed_in(&site, Screen::Desktop, "wyn").await;
    browser.press(Key::Escape).await;
    browser
        .script("document.activeElement.blur()", vec![])
        .await;
    browser.type_text("?").await;
    browser.wait_for_text("dialog", "g then s").await;
    browser.picture("keys").await;
    browser.press(Key::Escape).await;
    browser.type_text("gs").await;
    browser.wait_for(".doors").await;
    assert_eq!(browser.path().await, "/shop");
    // A machinist is not shown, and may not open, what is the owner's.
    assert!(!browser.text(".doors").await.contains("People"));
    browser.goto("/shop/people").await;
    browser
        .wait_for_text("main", "This is for the owner of the shop.")
        .await;
    browser.picture("forbidden").await;
    browser.close().await;
}

/// A page made live: the new-person form, which answers with its complaints, swaps its whole main part.
#[tokio::test]
async fn a_live_form_keeps_the_keyboard_and_drops_stale_answers() {
    let site = TestSite::new().await;
    let browser = Browser::signed_in(&site, Screen::Phone, "edda").await;
    browser.goto("/shop/people/new").await;
    let make_live = "document.querySelector('main form').dataset.live = 'main'; window.sent = [];
        const real = window.fetch;
        window.fetch = async (url, options) => {
            const one = { aborted: false };
            window.sent.push(one);
            options.signal.addEventListener('abort', () => { one.aborted = true; });
            // The first answer comes late.
            if (window.sent.length === 1) await new Promise((come) => { window.come = come; });
            const answer = await real(url, options);
            const html = (await answer.text()).replace('<form class=\"grid\"', '<form class=\"grid\" data-live=\"main\"');
            return new Response(html, { status: answer.status });
        };";
    browser.script(make_live, vec![]).await;

    browser.tab_to("#name").await;
    browser.type_text("Wyn Tarant").await;
    for _ in 0..3 {
        browser.press(Key::Left).await;
    }
    browser
        .wait_for_text(".live-status", "Working it out …")
        .await;
    browser.type_text("r").await;
    // One save at a time: an earlier one must not overtake a later one.
    tokio::time::sleep(std::time::Duration::from_millis(600)).await;
    let count = "return window.sent.length";
    assert_eq!(browser.script(count, vec![]).await, 1);
    browser.script("window.come()", vec![]).await;
    browser
        .wait_for_text(".notice.bad", "Enter the sign-in name")
        .await;
    browser.wait_for_text(".live-status", "Up to date").await;
    browser.type_text("!").await;
    let at = browser
        .script("const a = document.activeElement; return [a.id, a.value, a.selectionStart, location.pathname]", vec![])
        .await;
    assert_eq!(
        at,
        serde_json::json!(["name", "Wyn Tarr!ant", 9, "/shop/people/new"])
    );
    let sent = browser
        .script("return window.sent.map((one) => one.aborted)", vec![])
        .await;
    assert_eq!(sent[0], false, "{sent}");
    assert_eq!(sent[1], false, "{sent}");
    browser.picture("live").await;

    // Signed out elsewhere: told in words, and what was typed stays.
    sqlx::raw_sql("delete from session")
        .execute(&mut site.database.owner().await)
        .await
        .unwrap();
    browser.type_text("?").await;
    browser
        .wait_for_text(".live-status.failed", "You have been signed out")
        .await;
    let value = browser
        .script("return document.activeElement.value", vec![])
        .await;
    assert_eq!(value, "Wyn Tarr!?ant");
    browser.close().await;
}
