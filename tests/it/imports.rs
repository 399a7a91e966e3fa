//! Tables from a spreadsheet, one kind after the other: what is wrong is named by row, nothing is taken by halves, and what
//! came can be taken out again.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between};
use borewright::app::imports::Kind;
use borewright::db::castings_on_shelf::ShelfState;
use borewright::db::{castings, castings_on_shelf, past_work, sightings, stock};
use borewright::units::Code;
use chrono::NaiveDate;
use rust_decimal::Decimal;

async fn text(response: reqwest::Response) -> (u16, String) {
    (response.status().as_u16(), response.text().await.unwrap())
}

async fn send(office: &Visitor, kind: Kind, table: &str, take: bool) -> (u16, String) {
    let path = format!("/import/{}", kind.code());
    let mut fields = vec![("table", table), ("dates", "day_first")];
    if take {
        fields.push(("take", "yes"));
    }
    text(office.post(&path, &fields).await).await
}

/// Undoes the newest import of a kind; what the page says after it.
async fn undo(office: &Visitor, kind: Kind) -> String {
    let path = format!("/import/{}", kind.code());
    let (_, page) = text(office.get(&path).await).await;
    let action = between(&page, &format!("action=\"{path}/"), "\"").to_owned();
    let undo = format!("{path}/{action}");
    assert_eq!(office.post(&undo, &[]).await.status(), 303, "{page}");
    assert_eq!(office.post(&undo, &[]).await.status(), 404, "once");
    path
}

#[tokio::test]
async fn stock_comes_with_what_is_on_hand_and_goes_again_unless_it_was_used() {
    let site = TestSite::new().await;
    let office = site.owner().await;
    let table = "Item\tQty\tUnit\tMin\tBin\nCore plug 40 mm\t24\teach\t10\tB3\nGasket paper\t2.5\tm\t\t\nBlanking plate\t\t\t\t";
    let (status, page) = send(&office, Kind::Stock, table, false).await;
    assert!(status == 200 && page.contains("Add 3 items"), "{page}");
    let mut tx = site.shop.begin().await;
    assert!(
        stock::items(&mut tx, true).await.unwrap().is_empty(),
        "looking adds nothing"
    );
    drop(tx);
    assert_eq!(send(&office, Kind::Stock, table, true).await.0, 303);
    let (status, page) = send(
        &office,
        Kind::Stock,
        "Item\tQty\nCORE PLUG 40 mm\t1\nShim\tmany",
        true,
    )
    .await;
    assert_eq!(status, 422);
    assert!(
        page.contains("Row 2: on record already")
            && page.contains("Row 3: On hand: “many” is not a quantity"),
        "{page}"
    );
    let mut tx = site.shop.begin().await;
    let items = stock::items(&mut tx, true).await.unwrap();
    let told: Vec<_> = items
        .iter()
        .map(|i| {
            (
                i.details.name.as_str(),
                i.on_hand.to_string(),
                i.details.unit.as_str(),
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            ("Blanking plate", "0".to_owned(), "each"),
            ("Core plug 40 mm", "24".to_owned(), "each"),
            ("Gasket paper", "2.5".to_owned(), "m")
        ]
    );
    let paper = items[2].id;
    assert!(
        stock::count(
            &mut tx,
            paper,
            Decimal::new(25, 1),
            Decimal::TWO,
            "counted again"
        )
        .await
        .unwrap()
    );
    tx.commit().await.unwrap();
    undo(&office, Kind::Stock).await;
    let mut tx = site.shop.begin().await;
    let left = stock::items(&mut tx, false).await.unwrap();
    let ids: Vec<_> = left.iter().map(|i| i.id).collect();
    assert_eq!(ids, [paper], "what was counted since stays");
    drop(tx);
    // Corrected and sent again, it is there with the new figures.
    let table = "Item\tQty\nCore plug 40 mm\t20\nBlanking plate\t2";
    let (status, page) = send(&office, Kind::Stock, table, true).await;
    assert_eq!(status, 303, "{page}");
    let mut tx = site.shop.begin().await;
    let items = stock::items(&mut tx, false).await.unwrap();
    let told = items
        .iter()
        .map(|i| (i.details.name.clone(), i.on_hand.to_string()));
    let expected = [
        ("Blanking plate", "2"),
        ("Core plug 40 mm", "20"),
        ("Gasket paper", "2"),
    ];
    assert_eq!(
        told.collect::<Vec<_>>(),
        expected.map(|(name, on_hand)| (name.to_owned(), on_hand.to_owned()))
    );
}

#[tokio::test]
async fn castings_and_sightings_find_their_variant_by_name() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let mut tx = site.shop.begin().await;
    let names = castings::variant_names(&mut tx).await.unwrap();
    let variant = names[0].clone();
    let before = castings_on_shelf::list(&mut tx, ShelfState::ALL, None)
        .await
        .unwrap()
        .len();
    let seen_before = sightings::of_variant(&mut tx, variant.id)
        .await
        .unwrap()
        .len();
    drop(tx);
    let shouted = variant.name.to_uppercase();
    let table = format!(
        "Block;Cost;Result;Tested on;Supplier\n{shouted};£640;good;3/2/2026;Quay Salvage\n{shouted};80;cracked;04/02/26;\n"
    );
    let wrong = format!("{table}No Such Block;1;;;\n{shouted};1;good;;\n");
    let (status, page) = send(&office, Kind::Castings, &wrong, true).await;
    assert_eq!(status, 422);
    assert!(
        page.contains("Row 4: Variant: the shop has no “No Such Block”"),
        "{page}"
    );
    assert!(page.contains("Row 5: Inspected on: empty"), "{page}");
    assert_eq!(send(&office, Kind::Castings, &table, true).await.0, 303);
    let mut tx = site.shop.begin().await;
    let all = castings_on_shelf::list(&mut tx, ShelfState::ALL, None)
        .await
        .unwrap();
    assert_eq!(all.len(), before + 2);
    let new = &all[before..];
    let told: Vec<_> = new
        .iter()
        .map(|c| (c.details.cost.to_string(), c.state.code()))
        .collect();
    assert_eq!(
        told,
        [
            ("£640.00".to_owned(), "on_shelf"),
            ("£80.00".to_owned(), "scrapped")
        ]
    );
    drop(tx);
    undo(&office, Kind::Castings).await;
    let mut tx = site.shop.begin().await;
    assert_eq!(
        castings_on_shelf::list(&mut tx, ShelfState::ALL, None)
            .await
            .unwrap()
            .len(),
        before
    );
    drop(tx);

    let table = format!(
        "Date;Casting;Price;Where;Outcome\n2026-01-05;{};900;Dockside sale;sold\n5 Feb 2026;{};;Farm;\n",
        variant.name, variant.name
    );
    assert_eq!(send(&office, Kind::Sightings, &table, true).await.0, 303);
    let mut tx = site.shop.begin().await;
    assert_eq!(
        sightings::of_variant(&mut tx, variant.id)
            .await
            .unwrap()
            .len(),
        seen_before + 2
    );
    drop(tx);
    undo(&office, Kind::Sightings).await;
    let mut tx = site.shop.begin().await;
    assert_eq!(
        sightings::of_variant(&mut tx, variant.id)
            .await
            .unwrap()
            .len(),
        seen_before
    );
}

/// Thirty facings that took half as long again as the standard says: the standard is proposed half as long again, though
/// nothing was ever booked here.
#[tokio::test]
async fn hours_of_the_past_teach_the_standards() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    assert_eq!(owner.post("/shop/starting-set", &[]).await.status(), 303);
    let mut tx = site.shop.begin().await;
    let elements = borewright::db::standards::list(&mut tx).await.unwrap();
    drop(tx);
    let face = elements.iter().find(|e| e.code == "DECK-FACE").unwrap();
    let minutes = (face.setup.0 + face.owner_figure.0) * Decimal::new(15, 1);
    let mut table = "Date;Job;Work;Hours\n".to_owned();
    let today = chrono::Utc::now().date_naive();
    for job in 0..30_u32 {
        let day = today - chrono::Days::new(u64::from(300 - 9 * job));
        // Some a little quicker, some slower, as hours are.
        let scatter = Decimal::new(92 + i64::from(job * 7 % 17), 2);
        let hours = (minutes * scatter / Decimal::from(60)).round_dp(2);
        table.push_str(&format!("{day};J{job};{};{hours}\n", face.name));
    }
    assert_eq!(send(&owner, Kind::PastWork, &table, true).await.0, 303);
    let (status, page) = text(owner.get("/review/standards").await).await;
    assert_eq!(status, 200);
    assert!(page.contains("30 rows of past work count too"), "{page}");
    assert!(page.contains(&face.name), "{page}");
    let actor = borewright::app::Actor::new(
        site.database.pool.clone(),
        borewright::db::Scope {
            shop_id: site.shop.id,
            person_id: None,
        },
        borewright::db::people::Role::Owner,
    );
    let lessons = borewright::app::learn::Lessons::default();
    let lesson = borewright::app::learn::lesson(&actor, &lessons, chrono::Utc::now())
        .await
        .unwrap();
    let findings = lesson.findings.as_ref().unwrap();
    let proposal = lesson
        .proposal(face.id, borewright::review::ratios::Part::Run)
        .unwrap();
    let change = &proposal.changes[0];
    let share = change.after / change.before;
    assert!(
        share > Decimal::new(13, 1) && share < Decimal::new(17, 1),
        "{share}: {findings:?}"
    );
    undo(&owner, Kind::PastWork).await;
    let mut tx = site.shop.begin().await;
    let ever = NaiveDate::from_ymd_opt(1900, 1, 1).unwrap();
    assert!(past_work::since(&mut tx, ever).await.unwrap().is_empty());
}

#[tokio::test]
async fn the_pages_at_every_width() {
    let site = TestSite::demo().await;
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "office").await;
        for kind in Kind::ALL {
            browser.goto(&format!("/import/{}", kind.code())).await;
            browser.picture(&format!("import-{}", kind.code())).await;
        }
        browser.close().await;
    }
}
