//! Long lists: views, words, order and pages in the address, the same rows as a file, and no page that grows with the years.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{PASSWORD, TestSite, Visitor};
use sqlx::{AssertSqlSafe, raw_sql};

/// The most a page of a list may weigh before compression, in bytes.
const PAGE: usize = 200_000;

/// What a shop has after years, at once: keys are made of a kind and a number.
fn years(shop: uuid::Uuid) -> String {
    format!(
        "
create function pg_temp.k(kind int, n bigint) returns uuid language sql immutable as
    $$ select (lpad(to_hex(kind), 8, '0') || '-0000-7000-8000-' || lpad(to_hex(n), 12, '0'))::uuid $$;
set session_replication_role = replica;
insert into pattern (shop_id, id, name, cylinders, mains, marks)
    select '{shop}', pg_temp.k(1, n), 'Pattern ' || lpad(n::text, 4, '0'), 4, 5, '' from generate_series(1, 300) n;
insert into variant (shop_id, id, pattern_id, name, gearbox_under, note)
    select '{shop}', pg_temp.k(2, n), pg_temp.k(1, 1 + n % 300), 'Variant ' || lpad(n::text, 4, '0'), false, ''
    from generate_series(1, 1500) n;
insert into sighting (shop_id, id, variant_id, seen_on, place, asked, currency, condition, acceptable, fate)
    select '{shop}', pg_temp.k(3, n), pg_temp.k(2, 1), current_date - (n % 900)::int, 'Yard ' || n % 20, 100 + n, 'GBP',
           'bore worn to the limit', n % 3 > 0, case when n % 200 = 0 then 'open' else 'sold_elsewhere' end
    from generate_series(1, 1000) n;
insert into enquiry (shop_id, id, number, caller, contact, wanted_variant_id, brings_note, note, state)
    select '{shop}', pg_temp.k(4, n), n, 'Caller ' || n, '', pg_temp.k(2, 1), '', '', 'won' from generate_series(1, 3000) n;
insert into quote (shop_id, id, number, enquiry_id, option_kind, title, valid_until, currency, net, tax, gross, line_count,
                   state, decided_at, lost_why)
    select '{shop}', pg_temp.k(5, n), n, pg_temp.k(4, n), 'convert', 'Convert ' || n, current_date, 'GBP', 7 * n % 1000 + 1, 20,
           7 * n % 1000 + 21, 1,
           case when n % 5 = 0 then 'sent' when n % 3 = 0 then 'won' else 'lost' end,
           case when n % 5 <> 0 then now() end, case when n % 5 <> 0 and n % 3 <> 0 then 'price' end
    from generate_series(1, 3000) n;
insert into casting (shop_id, id, number, variant_id, ownership, cost, currency, condition, state)
    select '{shop}', pg_temp.k(6, n), n, pg_temp.k(2, 1 + n % 1500), 'shop', 100 + n % 7, 'GBP', 'light rust',
           case when n % 2 = 0 then 'on_shelf' else 'scrapped' end from generate_series(1, 3000) n;
insert into stock_item (shop_id, id, name, unit, kept_at, supplier, minimum, on_hand)
    select '{shop}', pg_temp.k(7, n), 'Item ' || lpad(n::text, 4, '0'), 'each', 'Bin ' || n, 'Supplier', case when n % 2 = 0 then 5 end, n % 10
    from generate_series(1, 1500) n;
insert into tool (shop_id, id, name, kept_at)
    select '{shop}', pg_temp.k(8, n), 'Mandrel ' || lpad(n::text, 4, '0'), 'Rack' from generate_series(1, 800) n;
insert into customer (shop_id, id, name)
    select '{shop}', pg_temp.k(9, n), 'Customer ' || n from generate_series(1, 2000) n;
insert into job (shop_id, id, number, title, state, due_on)
    select '{shop}', pg_temp.k(10, n), n, 'Job ' || n, 'done', current_date from generate_series(1, 2000) n;
insert into history (shop_id, table_name, row_id, action, before, after)
    select '{shop}', 'customer', pg_temp.k(9, 1), 'update', jsonb_build_object('note', 'was ' || n),
           jsonb_build_object('note', 'is ' || n) from generate_series(1, 1200) n;
set session_replication_role = origin;
"
    )
}

async fn text(visitor: &Visitor, path: &str) -> String {
    let answer = visitor.get(path).await;
    let status = answer.status();
    let text = answer.text().await.unwrap();
    assert_eq!(status, 200, "{path}: {text}");
    text
}

/// The fields of a file's first column without its head.
async fn first_column(visitor: &Visitor, path: &str) -> Vec<String> {
    let file = text(visitor, path).await;
    let lines = file.lines().skip(1);
    lines
        .map(|line| line.split(',').next().unwrap().to_owned())
        .collect()
}

async fn old_site() -> TestSite {
    let site = TestSite::new().await;
    let mut owner = site.database.owner().await;
    raw_sql(AssertSqlSafe(years(site.shop.id)))
        .execute(&mut owner)
        .await
        .unwrap();
    site
}

/// The key of a kind and a number, as [`years`] makes it.
fn key(kind: u32, n: u64) -> String {
    format!("{kind:08x}-0000-7000-8000-{n:012x}")
}

#[tokio::test]
async fn no_list_grows_with_the_years_and_each_has_all_of_it_in_its_file() {
    let site = old_site().await;
    let owner = site.owner().await;
    let market = format!("/market/{}", key(2, 1));
    let history = format!("/history/customer/{}", key(9, 1));
    let lists = [
        ("/market".to_owned(), "/market.csv".to_owned(), 1500),
        (market.clone(), format!("{market}/sightings.csv"), 1000),
        ("/stock?view=all".to_owned(), "/stock.csv".to_owned(), 1500),
        (
            "/stock/tools".to_owned(),
            "/stock/tools.csv".to_owned(),
            800,
        ),
        ("/castings".to_owned(), "/castings.csv".to_owned(), 1500),
        (
            "/castings/shelf?view=all".to_owned(),
            "/castings/shelf.csv?view=all".to_owned(),
            3000,
        ),
        (
            "/quotes?view=all".to_owned(),
            "/quotes.csv?view=all".to_owned(),
            3000,
        ),
        (
            "/customers".to_owned(),
            "/customers/list.csv".to_owned(),
            2000,
        ),
        (
            "/jobs?view=all".to_owned(),
            "/jobs.csv?view=all".to_owned(),
            2000,
        ),
        (history.clone(), format!("{history}/changes.csv"), 1200),
    ];
    for (page, file, rows) in lists {
        let shown = text(&owner, &page).await;
        assert!(shown.len() < PAGE, "{page}: {} bytes", shown.len());
        assert!(shown.contains("rel=\"next\""), "{page} has no second page");
        let path = file.split('?').next().unwrap();
        assert!(shown.contains(path), "{page} does not lead to {path}");
        assert_eq!(first_column(&owner, &file).await.len(), rows, "{file}");
        let next = if page.contains('?') {
            format!("{page}&page=2")
        } else {
            format!("{page}?page=2")
        };
        let second = text(&owner, &next).await;
        assert!(
            second.contains("rel=\"prev\"") && second.len() < PAGE,
            "{next}"
        );
        for nonsense in ["?page=999999", "?sort=x&view=y&page=-1&desc=z", "?q=%00%25"] {
            let path = page.split('?').next().unwrap();
            let status = owner.get(&format!("{path}{nonsense}")).await.status();
            assert!(status.as_u16() < 500, "{path}{nonsense}: {status}");
        }
    }
    for page in [
        "/stock",
        "/enquiries",
        &format!("/customers/{}", key(9, 1)),
        "/",
    ] {
        let shown = text(&owner, page).await;
        assert!(shown.len() < PAGE, "{page}: {} bytes", shown.len());
    }
}

#[tokio::test]
async fn lists_are_narrowed_and_sorted_by_their_address() {
    let site = old_site().await;
    let owner = site.owner().await;
    let numbers = async |path: &str| -> Vec<i64> {
        let column = first_column(&owner, path).await;
        column.iter().map(|text| text.parse().unwrap()).collect()
    };
    // Quotes: the newest first unless asked otherwise; by net; by words; by state.
    let open = numbers("/quotes.csv").await;
    assert_eq!((open.len(), open[0]), (600, 3000));
    assert!(open.windows(2).all(|pair| pair[0] > pair[1]));
    let rising = numbers("/quotes.csv?sort=number").await;
    assert!(rising.windows(2).all(|pair| pair[0] < pair[1]));
    let net = |number: i64| 7 * number % 1000;
    let by_net = numbers("/quotes.csv?view=all&sort=net&desc=1").await;
    assert_eq!(by_net.len(), 3000);
    assert!(by_net.windows(2).all(|pair| net(pair[0]) >= net(pair[1])));
    assert_eq!(numbers("/quotes.csv?view=all&q=caller+2999").await, [2999]);
    assert_eq!(numbers("/quotes.csv?view=all&q=2999").await, [2999]);
    assert!(numbers("/quotes.csv?view=all&q=%25%25").await.is_empty());
    let accepted = numbers("/quotes.csv?view=accepted").await;
    assert!(accepted.iter().all(|n| n % 5 != 0 && n % 3 == 0));
    // The shelf: what is gone only when asked for; one variant.
    let here = numbers("/castings/shelf.csv").await;
    assert_eq!((here.len(), here[0]), (1500, 2));
    let one = format!("/castings/shelf.csv?view=all&variant={}", key(2, 8));
    assert_eq!(numbers(&one).await, [7, 1507]);
    let page = text(
        &owner,
        &format!("/castings/shelf?variant={}&sort=cost", key(2, 8)),
    )
    .await;
    assert!(
        page.contains(&format!(
            "/castings/shelf?variant={}&amp;view=all&amp;sort=cost",
            key(2, 8)
        )),
        "{page}"
    );
    // What is to be ordered is what the rule of stock says.
    let short = first_column(&owner, "/stock.csv?view=to_order").await;
    assert_eq!(short.len(), 450, "even items with 0, 2 or 4 of the least 5");
    let file = text(&owner, "/stock.csv?view=all").await;
    let by_rule = file.lines().skip(1).filter(|line| {
        let fields: Vec<&str> = line.split(',').collect();
        !fields[8].is_empty()
    });
    assert_eq!(by_rule.count(), short.len());
    // The market: what is for sale; what was seen most.
    assert_eq!(
        first_column(&owner, "/market.csv?view=for_sale").await,
        ["Variant 0001"]
    );
    let seen = first_column(&owner, "/market.csv?sort=seen&desc=1").await;
    assert_eq!(seen[0], "Variant 0001");
    let market = format!("/market/{}/sightings.csv", key(2, 1));
    assert_eq!(
        first_column(&owner, &format!("{market}?view=usable"))
            .await
            .len(),
        667
    );
    assert_eq!(
        first_column(&owner, &format!("{market}?q=yard+7"))
            .await
            .len(),
        50
    );
    // A pattern by the name of a variant of its own.
    let found = first_column(&owner, "/castings.csv?q=variant+0007").await;
    assert_eq!(found.len(), 5);
    assert!(found.iter().all(|name| name == "Pattern 0008"));
}

#[tokio::test]
async fn the_bench_sees_no_costs_and_no_history_and_another_shop_sees_nothing() {
    let site = old_site().await;
    site.person(
        "Bram Tully",
        "bram",
        borewright::db::people::Role::Machinist,
    )
    .await;
    let bench = site.signed_in("bram").await;
    let shelf = text(&bench, "/castings/shelf.csv").await;
    assert!(!shelf.lines().next().unwrap().contains("Cost"), "{shelf}");
    let history = format!("/history/customer/{}", key(9, 1));
    for path in [
        "/quotes.csv",
        "/customers/list.csv",
        &history,
        &format!("{history}/changes.csv"),
    ] {
        assert_eq!(bench.get(path).await.status(), 403, "{path}");
    }
    let owner = site.owner().await;
    for nothing in ["/history/person/", "/history/quote/", "/history/"] {
        let path = format!("{nothing}{}", key(9, 1));
        assert_eq!(owner.get(&path).await.status(), 404, "{path}");
    }
    let elsewhere = TestSite::of_shop(&site.database.pool, "elsewhere").await;
    // With a second shop here, whoever signs in must say which.
    let stranger = Visitor::at(&elsewhere);
    let fields = [
        ("shop", "elsewhere"),
        ("sign_in", "edda"),
        ("password", PASSWORD),
    ];
    assert_eq!(stranger.post_bare("/sign-in", &fields).await.status(), 303);
    for path in [
        "/market.csv",
        "/stock.csv?view=all",
        "/stock/tools.csv",
        "/castings.csv",
        "/castings/shelf.csv?view=all",
        "/quotes.csv?view=all",
        "/customers/list.csv",
        "/jobs.csv?view=all",
    ] {
        assert_eq!(first_column(&stranger, path).await.len(), 0, "{path}");
    }
    assert_eq!(stranger.get(&history).await.status(), 404);
    let seen = format!("/market/{}/sightings.csv", key(2, 1));
    assert_eq!(stranger.get(&seen).await.status(), 404);
}

#[tokio::test]
async fn the_lists_at_every_width() {
    let site = TestSite::demo().await;
    for screen in Screen::ALL {
        let browser = Browser::signed_in(&site, screen, "office").await;
        for (name, path) in [
            ("lists-market", "/market"),
            ("lists-stock", "/stock"),
            ("lists-tools", "/stock/tools"),
            ("lists-shelf", "/castings/shelf?view=all"),
            ("lists-quotes", "/quotes?view=all"),
            ("lists-customers", "/customers"),
        ] {
            browser.goto(path).await;
            browser.wait_for("table").await;
            browser.picture(name).await;
        }
    }
}
