//! The first shop of an empty database: set up in the browser at the machine itself or with the code from the log, once.

use crate::support::TestDatabase;
use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, header};
use borewright::app::password::Hashing;
use borewright::app::set_up_shop::{FirstShop, SetUpCode, set_up_shop};
use borewright::db::shops::{self, NewShop};
use borewright::units::Currency;
use borewright::web::server::Config;
use rust_decimal::Decimal;

async fn text(response: reqwest::Response) -> (u16, String) {
    (response.status().as_u16(), response.text().await.unwrap())
}

pub const TYPED: [(&str, &str); 11] = [
    ("name", "Harrow Quay Engine Works"),
    ("currency", "gbp"),
    ("time_zone", "Europe/London"),
    ("length_unit", "mm"),
    ("overhead_percent", "15"),
    ("margin_percent", "20"),
    ("tax_name", "VAT"),
    ("tax_percent", "20"),
    ("owner", "Edda Marsh"),
    ("sign_in", "edda"),
    ("password", "cast iron and cutting oil"),
];

/// A request that a proxy has passed on: it may come from anywhere.
async fn from_elsewhere(visitor: &Visitor, fields: &[(&str, &str)]) -> (u16, String) {
    let body = form_urlencoded::Serializer::new(String::new())
        .extend_pairs(fields)
        .finish();
    let request = visitor
        .request("POST", "/set-up")
        .header("content-type", "application/x-www-form-urlencoded")
        .header("x-forwarded-for", "203.0.113.9");
    text(request.body(body).send().await.unwrap()).await
}

#[tokio::test]
async fn an_empty_database_leads_to_the_page_and_a_shop_closes_it_for_good() {
    let site = TestSite::empty(SetUpCode::default()).await;
    let stranger = site.stranger();
    let asked = stranger.get("/").await;
    assert_eq!(header(asked.headers(), "location"), "/sign-in");
    let asked = stranger.get("/sign-in").await;
    assert_eq!(header(asked.headers(), "location"), "/set-up");
    let (status, page) = text(stranger.get("/set-up").await).await;
    assert_eq!(status, 200);
    assert!(
        !page.contains("Set-up code"),
        "no code is needed at the machine itself"
    );

    let mut wrong = TYPED;
    wrong[1] = ("currency", "XYZ");
    wrong[10] = ("password", "short");
    let (status, page) = text(stranger.post_bare("/set-up", &wrong).await).await;
    assert_eq!(status, 422);
    assert!(
        page.contains("currency-error") && page.contains("password-error"),
        "{page}"
    );
    assert!(
        page.contains(r#"value="Harrow Quay Engine Works""#) && !page.contains("short\""),
        "{page}"
    );

    let made = stranger.post_bare("/set-up", &TYPED).await;
    assert_eq!(made.status(), 303, "{}", made.text().await.unwrap());
    assert_eq!(header(made.headers(), "location"), "/");
    let (status, page) = text(stranger.get("/").await).await;
    assert_eq!(status, 200, "the owner is signed in");
    assert!(
        page.contains("Harrow Quay Engine Works") && page.contains("Set up the shop"),
        "{page}"
    );
    let (_, page) = text(stranger.get("/review/promises").await).await;
    assert!(
        page.contains("Stop: days as the futures have them"),
        "days given as so sure hold so often from the first day on: {page}"
    );
    for path in ["/set-up"] {
        let closed = site.stranger().get(path).await;
        assert_eq!(header(closed.headers(), "location"), "/sign-in");
    }
    let mut second = TYPED;
    second[0] = ("name", "Another");
    let closed = site.stranger().post_bare("/set-up", &second).await;
    assert_eq!(header(closed.headers(), "location"), "/sign-in");
    let all = shops::list(&site.database.pool).await.unwrap();
    assert_eq!(all.len(), 1);
    assert_eq!(all[0].0, "harrow-quay-engine-works");
}

#[tokio::test]
async fn from_elsewhere_only_the_code_opens_it() {
    let code = SetUpCode::new().unwrap();
    let text_of = code.text().unwrap().to_owned();
    let site = TestSite::empty(code).await;
    let stranger = site.stranger();
    let rebound = stranger
        .request("GET", "/set-up")
        .header("host", "harmless.example");
    let (_, page) = text(rebound.send().await.unwrap()).await;
    assert!(
        page.contains("Set-up code"),
        "a page of another name is not this machine"
    );
    for wrong in ["", "AAAAAAAAAAAA"] {
        let mut typed = TYPED.to_vec();
        typed.push(("code", wrong));
        let (status, page) = from_elsewhere(&stranger, &typed).await;
        assert_eq!(status, 422);
        assert!(page.contains("code-error"), "{page}");
        assert!(shops::list(&site.database.pool).await.unwrap().is_empty());
    }
    let mut typed = TYPED.to_vec();
    let spaced = format!("{} {}", &text_of[..6], text_of[6..].to_lowercase());
    typed.push(("code", &spaced));
    assert_eq!(from_elsewhere(&stranger, &typed).await.0, 303);
    assert_eq!(shops::list(&site.database.pool).await.unwrap().len(), 1);

    // Without a code, as with several processes of which another printed it, nothing opens it from elsewhere.
    let site = TestSite::empty(SetUpCode::default()).await;
    let mut typed = TYPED.to_vec();
    typed.push(("code", ""));
    assert_eq!(from_elsewhere(&site.stranger(), &typed).await.0, 422);
    let behind = Config {
        proxies: vec!["127.0.0.0/8".parse().unwrap()],
        ..Config::default()
    };
    let site = TestSite::empty_with(behind).await;
    let (_, page) = text(site.stranger().get("/set-up").await).await;
    assert!(
        page.contains("Set-up code"),
        "behind a proxy everybody comes from a loopback address"
    );
}

#[tokio::test]
async fn of_many_at_once_one_sets_the_shop_up() {
    let database = TestDatabase::new().await;
    let hashing = Hashing::new(2);
    let first = |name: &str| FirstShop {
        shop: NewShop {
            name: name.to_owned(),
            short_name: name.to_owned(),
            currency: Currency::from_code("GBP").unwrap(),
            time_zone: chrono_tz::Europe::London,
            length_unit: "mm".to_owned(),
            overhead_percent: Decimal::TEN,
            margin_percent: Decimal::TEN,
            tax_percent: Decimal::ZERO,
            tax_name: "Tax".to_owned(),
            confidence_percent: 80,
            quote_valid_days: 30,
        },
        owner: "Edda Marsh".to_owned(),
        sign_in: "edda".to_owned(),
        password: "cast iron and cutting oil".to_owned(),
    };
    let all: Vec<FirstShop> = (0..6).map(|n| first(&format!("shop-{n}"))).collect();
    let tries = all
        .iter()
        .map(|one| set_up_shop(&database.pool, &hashing, one));
    let done = futures_util::future::join_all(tries).await;
    assert_eq!(done.iter().filter(|one| one.is_ok()).count(), 1, "{done:?}");
    let standing = shops::list(&database.pool).await.unwrap();
    assert_eq!(standing.len(), 1);
    // A half-made one leaves nothing behind.
    let database = TestDatabase::new().await;
    let mut twice = first("shop");
    twice.shop.short_name = "NOT A SHORT NAME".to_owned();
    assert!(set_up_shop(&database.pool, &hashing, &twice).await.is_err());
    assert!(
        set_up_shop(&database.pool, &hashing, &first("shop"))
            .await
            .is_ok()
    );
}

#[tokio::test]
async fn a_shop_is_set_up_by_keyboard_at_every_width() {
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let site = TestSite::empty(SetUpCode::default()).await;
        let browser = Browser::open(&site, screen).await;
        browser.goto("/").await;
        browser.wait_for("#currency").await;
        browser.picture("set-up").await;
        for (field, value) in TYPED {
            if field == "length_unit" {
                continue;
            }
            browser
                .script(
                    "const f = document.getElementById(arguments[0]); f.focus(); f.select();",
                    vec![field.into()],
                )
                .await;
            browser.type_text(value).await;
        }
        browser.press(fantoccini::key::Key::Enter).await;
        browser.wait_for_text("h1", "Today").await;
        browser.close().await;
    }
}
