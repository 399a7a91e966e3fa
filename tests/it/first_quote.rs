//! The first hour: from a shop that has just been set up to its first quote, by keyboard, with keys and fields counted.

use crate::support::browser::{Browser, Screen};
use crate::support::site::TestSite;
use borewright::app::set_up_shop::SetUpCode;
use borewright::units::{Currency, Money};
use fantoccini::key::Key;
use rust_decimal::Decimal;

/// Seconds a key: an average typist who does not do it for a living (Card, Moran and Newell, "The keystroke-level model for
/// user performance time with interactive systems", Communications of the ACM 23(7), 1980, table 1).
const KEY: f64 = 0.28;
/// Seconds to make up one's mind before a field (the same table, operator M).
const MIND: f64 = 1.35;
/// Ten minutes, in seconds.
const ALLOWED: f64 = 600.0;

const TABLE: &str = "Feature; Hill 4/80 farm; Hill 4/80 marine\n\
rear face, four of M10x22 deep; x; x\n\
rear D1, dowel 12 H7 x 15 deep; ; x\n\
rear D2, dowel 12 H7 x 15 deep; ; x\n\
rear face, M8 x 18 deep; x; M10 x 22 deep\n\
left side, plain 8 through; x; G 1/4\n\
sump face, ten of M8 x 20 deep; x; x\n\
crankcase, five bores 68 H7 through; x; x";

struct Counted<'a> {
    browser: &'a Browser,
    fields: usize,
}

impl Counted<'_> {
    async fn field(&mut self, css: &str, text: &str) {
        self.browser.tab_to(css).await;
        self.browser.type_text(text).await;
        self.fields += 1;
    }

    async fn press(&mut self, css: &str) {
        self.browser.tab_to(css).await;
        self.browser.press(Key::Enter).await;
        self.fields += 1;
    }
}

#[tokio::test]
async fn a_pattern_and_its_first_quote_take_less_than_ten_minutes_by_keyboard() {
    let site = TestSite::empty(SetUpCode::default()).await;
    let made = site
        .stranger()
        .post_bare("/set-up", &crate::set_up::TYPED)
        .await;
    assert_eq!(made.status(), 303, "{}", made.text().await.unwrap());
    let browser = Browser::open(&site, Screen::Desktop).await;
    browser.goto("/password").await;
    browser.type_text("edda").await;
    browser.press(Key::Tab).await;
    browser.type_text("cast iron and cutting oil").await;
    browser.press(Key::Enter).await;
    browser.wait_for("header.head").await;
    browser.goto("/").await;
    browser.wait_for_text("h1", "Today").await;
    let before = browser.keys();
    let mut by = Counted {
        browser: &browser,
        fields: 0,
    };

    // What a shop is worth an hour and how long things take: the starting set.
    by.press("form[action='/shop/starting-set'] button").await;
    browser.wait_for_text("[role=status]", "Added").await;

    browser.type_text("gc").await;
    browser.wait_for_text("h1", "Castings").await;
    browser.type_text("t").await;
    browser.wait_for("#table").await;
    by.field("#name", "Hill 4/80").await;
    by.field("#cylinders", "4").await;
    by.field("#mains", "5").await;
    by.field("#table", TABLE).await;
    by.press("main form button[type=submit]").await;
    browser.wait_for("button[name=add]").await;
    browser.picture("pattern-from-table").await;
    by.press("button[name=add]").await;
    browser
        .wait_for_text("[role=status]", "Added with 2 variants")
        .await;
    browser.picture("pattern-added").await;

    // A caller brings a farm block and wants it as the marine one.
    browser.type_text("ge").await;
    browser.wait_for_text("h1", "Enquiries").await;
    browser.type_text("n").await;
    browser.wait_for("#call").await;
    by.field("#caller", "Asa Pemberly").await;
    by.field("#wanted", "Hill 4/80 m").await;
    browser.wait_for_text(".live-status", "Up to date").await;
    by.field("#brings", "Hill 4/80 f").await;
    browser.wait_for_text(".sentence", "We can").await;
    browser.wait_for_text(".live-status", "Up to date").await;
    browser.picture("first-answer").await;
    by.press(".option.recommended form button").await;
    browser.wait_for(".paper").await;
    browser.picture("first-quote").await;

    let keys = browser.keys() - before;
    let fields = by.fields;
    let seconds = KEY * keys as f64 + MIND * fields as f64;
    assert!(
        seconds < ALLOWED,
        "{keys} keys and {fields} fields: {seconds:.0} s"
    );
    println!("{keys} keys and {fields} fields: {seconds:.0} s");
    // And it is a price one could say on the phone.
    let net = browser.text(".totals dd").await;
    let pounds = Currency::from_code("GBP").unwrap();
    let net = Money::parse(&net, pounds).unwrap().amount();
    assert!(
        net > Decimal::from(300) && net < Decimal::from(5000),
        "{net}"
    );
    browser.close().await;
}
