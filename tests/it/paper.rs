//! What is printed: route cards and labels, read back, and their codes decoded and opened.

use crate::bench_store::{checked_job, person};
use crate::support::browser::{Browser, Screen};
use crate::support::operation;
use crate::support::site::{TestSite, between};
use borewright::app::password;
use borewright::castings::{
    Face, Feature, FeatureKind, Metal, Outline, Pattern, Place, Point, Variant,
};
use borewright::db::castings_on_shelf::{self as shelf, CastingDetails, Ownership};
use borewright::db::{devices, machines};
use borewright::documents::{CardFace, CardJob, CardOperation, Paper, route_card};
use borewright::estimating::{Check, Gauge, Machine, MachineRate, Step, TimeSource};
use borewright::units::{Currency, LengthUnit, Minutes, Money, Spread};
use chrono::Utc;
use fantoccini::key::Key;
use lopdf::Document;
use lopdf::content::Content;
use rust_decimal::dec;
use std::collections::BTreeSet;
use uuid::Uuid;

/// Reads a code (ISO/IEC 18004) by its dark modules, as a decoder of pictures does it, four pixels a module.
fn decoded(dark: &BTreeSet<(usize, usize)>) -> String {
    let size = dark.iter().map(|(x, y)| x.max(y) + 1).max().unwrap();
    let pixels = (size + 8) * 4;
    let mut image = rqrr::PreparedImage::prepare_from_greyscale(pixels, pixels, |x, y| {
        let module = |p: usize| (p / 4).checked_sub(4);
        match (module(x), module(y)) {
            (Some(x), Some(y)) if dark.contains(&(x, y)) => 0,
            _ => 255,
        }
    });
    let grids = image.detect_grids();
    assert_eq!(grids.len(), 1);
    grids[0].decode().unwrap().1
}

/// The codes of a page of a PDF: filled paths of squares, each begun at its left top corner.
fn codes_of_page(page: &[u8]) -> Vec<String> {
    let mut corners: Vec<[f32; 2]> = Vec::new();
    let mut side = None;
    let mut found = Vec::new();
    for operation in Content::decode(page).unwrap().operations {
        let number = |at: usize| operation.operands[at].as_float().unwrap();
        match operation.operator.as_str() {
            "m" => corners.push([number(0), number(1)]),
            "l" if side.is_none() => side = Some(number(0) - corners[0][0]),
            "f" => {
                let corners = std::mem::take(&mut corners);
                let side = side.take().unwrap();
                let left = corners.iter().map(|c| c[0]).fold(f32::MAX, f32::min);
                let top = corners.iter().map(|c| c[1]).fold(f32::MAX, f32::min);
                let module = |length: f32| (length / side).round() as usize;
                let dark = corners
                    .iter()
                    .map(|c| (module(c[0] - left), module(c[1] - top)));
                found.push(decoded(&dark.collect()));
            }
            "S" => {
                corners.clear();
                side = None;
            }
            _ => {}
        }
    }
    found
}

/// Every code of a PDF, page by page.
fn codes_of(document: &Document) -> Vec<Vec<String>> {
    let pages = document.get_pages();
    pages
        .values()
        .map(|page| codes_of_page(&document.get_page_content(*page)))
        .collect()
}

/// The words of a PDF.
pub fn text_of(document: &Document) -> String {
    let numbers: Vec<u32> = document.get_pages().keys().copied().collect();
    let text = document.extract_text(&numbers).unwrap();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn address(n: u32) -> String {
    format!("https://quay.example/bench/op/0192f0c1-7a00-7000-8000-0000000000{n:02}")
}

fn card(count: u32, paper: Paper) -> Vec<u8> {
    let operations: Vec<CardOperation> = (1..=count)
        .map(|n| {
            let mut operation = operation(n * 10, "mill", 30, 60);
            operation.title = format!("Operation {}", n * 10);
            operation.checks = vec![Check {
                nominal: Some(dec!(12)),
                fit: "H7".to_owned(),
                gauge: Gauge::Plug,
                ..Check::range(
                    "dowel hole at rear A1",
                    dec!(12.000),
                    dec!(12.018),
                    "plug gauge",
                )
            }];
            CardOperation {
                operation,
                done: n == 1,
                address: address(n),
                face: None,
            }
        })
        .collect();
    let job = CardJob {
        shop: "Harrow Quay Engine Works".to_owned(),
        number: 17,
        title: "Tarn 4/90 farm converted to Tarn 4/90 marine".to_owned(),
        days: "Work to Mon 30 Nov 2026".to_owned(),
        castings: vec![4],
        held: None,
    };
    route_card(&job, &operations, paper).unwrap()
}

#[test]
fn the_card_reads_back_and_its_codes_open_each_operation() {
    for (paper, wide) in [(Paper::A4, 595.0_f32), (Paper::A5, 420.0)] {
        let document = Document::load_mem(&card(9, paper)).unwrap();
        let pages = document.get_pages();
        assert!(pages.len() > 1, "{paper:?} has {} pages", pages.len());
        for page in pages.values() {
            let media = document.get_dictionary(*page).unwrap();
            let media = media.get(b"MediaBox").unwrap().as_array().unwrap();
            let right = media[2].as_float().unwrap();
            assert!((right - wide).abs() < 1.0, "{right}");
        }
        let text = text_of(&document);
        for words in [
            "Route card: job 17",
            "Harrow Quay Engine Works",
            "Casting 4",
            "90 Operation 90",
            "10 Operation 10 – done",
            "12 H7: 12.000 to 12.018 mm (plug gauge)",
            "no-go 12.0165 to 12.0195 mm",
            "CAUTION: Guards closed",
        ] {
            assert!(text.contains(words), "{words} is not in {text}");
        }
        let codes = codes_of(&document);
        let expected: Vec<String> = (1..=9).map(address).collect();
        assert_eq!(codes.concat(), expected);
        // An operation is not torn in two: a page has as many headings as codes, and ends with a caution.
        for ((number, _), codes) in pages.iter().zip(&codes) {
            let text = document.extract_text(&[*number]).unwrap();
            assert_eq!(text.matches("CAUTION").count(), codes.len(), "{text}");
        }
    }
}

/// The holes of the operation's own face stand on the card with their positions, and nothing of another face.
#[test]
fn the_card_shows_the_face_with_the_positions_of_its_holes() {
    let hole = |face, label: &str, x: &str, y: &str| Feature {
        place: Place::new(face, label),
        kind: FeatureKind::PlainHole,
        at: Some(Point {
            x: x.parse().unwrap(),
            y: y.parse().unwrap(),
        }),
        size: "12".parse().unwrap(),
        depth: None,
        thread: None,
        fit: None,
        count: 1,
        note: String::new(),
    };
    let pattern = Pattern {
        id: Uuid::nil(),
        name: "Tarn 4/90".to_owned(),
        cylinders: 4,
        mains: 5,
        outlines: vec![Outline {
            face: Face::Rear,
            width: "380".parse().unwrap(),
            height: "320".parse().unwrap(),
        }],
        bosses: vec![],
        marks: String::new(),
        metal: Metal::GreyIron,
        weight_kg: None,
        sizes: borewright::castings::measured::Sizes::default(),
        version: 1,
    };
    let wanted = Variant {
        id: Uuid::nil(),
        pattern_id: Uuid::nil(),
        name: "marine".to_owned(),
        gearbox_under: false,
        features: vec![
            hole(Face::Rear, "R1", "40", "61.5"),
            hole(Face::Rear, "R2", "340", "61.5"),
            hole(Face::Rear, "R3", "190", "300"),
        ],
        note: String::new(),
        version: 1,
    };
    let mut work = operation(10, "mill", 30, 60);
    let step = Step {
        code: "HOLE-DRILL".to_owned(),
        name: "Drill".to_owned(),
        place: None,
        count: 1,
        each: Minutes(dec!(10)),
        source: TimeSource::Owner,
        how: String::new(),
        spread: Spread::NONE,
        sizes: String::new(),
        settings: vec!["HSS drill 8: 995 rev/min, 0.15 mm/rev".to_owned()],
        left_out: String::new(),
        calculated_percent: dec!(100),
        setup: None,
    };
    let at = |label: &str| Step {
        place: Some(Place::new(Face::Rear, label)),
        ..step.clone()
    };
    work.steps = vec![at("R1"), at("R2")];
    let face = CardFace::of(&work, &pattern, &wanted, LengthUnit::Mm);
    let job = CardJob {
        shop: "Harrow Quay Engine Works".to_owned(),
        number: 19,
        title: "Tarn".to_owned(),
        days: String::new(),
        castings: vec![],
        held: None,
    };
    let one = CardOperation {
        operation: work.clone(),
        done: false,
        address: address(1),
        face,
    };
    let pdf = route_card(&job, &[one], Paper::A5).unwrap();
    let text = text_of(&Document::load_mem(&pdf).unwrap());
    for said in [
        "Rear face: mm across and up from the datum at its lower left.",
        "Place Feature Across Up Size Depth Count",
        "R1 plain hole 40 61.5 12 through 1",
        "R2 plain hole 340 61.5 12 through 1",
    ] {
        assert!(text.contains(said), "{said} is not in {text}");
    }
    assert!(text.contains("995 rev/min, 0.15 mm/rev"), "{text}");
    assert!(!text.contains("R3"), "{text}");
    work.steps.push(Step {
        place: Some(Place::new(Face::Deck, "D1")),
        ..step
    });
    assert_eq!(CardFace::of(&work, &pattern, &wanted, LengthUnit::Mm), None);
}

#[test]
fn names_and_sums_of_any_alphabet_read_back() {
    let mut work = operation(10, "mill", 30, 60);
    work.title = "Drill ⌀12 H7, ±0.01 mm".to_owned();
    work.cautions = vec!["Deposit: £40, €50, 60 zł, ₹900, ₺700".to_owned()];
    let job = CardJob {
        shop: "Łukasz Żółć, Ærø".to_owned(),
        number: 18,
        title: "Block of Дмитро Їжак".to_owned(),
        days: "Work to Mon 30 Nov 2026".to_owned(),
        castings: vec![],
        held: Some("ask Γιώργος Παπαδόπουλος".to_owned()),
    };
    let operation = CardOperation {
        operation: work.clone(),
        done: false,
        address: address(1),
        face: None,
    };
    let pdf = route_card(&job, &[operation], Paper::A5).unwrap();
    // The fonts hold 5,000 characters and 1.3 MB; those shown take a few kilobytes.
    assert!(pdf.len() < 60_000, "{} bytes", pdf.len());
    let text = text_of(&Document::load_mem(&pdf).unwrap());
    for words in [
        &job.shop,
        &job.title,
        "ask Γιώργος Παπαδόπουλος",
        &work.title,
        &work.cautions[0],
    ] {
        assert!(text.contains(words), "{words} is not in {text}");
    }
}

#[tokio::test]
async fn the_code_of_the_card_leads_to_the_operation_by_way_of_the_pin() {
    let site = TestSite::new().await;
    let gbp = Currency::from_code("GBP").unwrap();
    let mut tx = site.shop.begin().await;
    for kind in ["hone", "mill"] {
        let machine = Machine {
            id: Uuid::now_v7(),
            kind: kind.to_owned(),
            name: format!("Big {kind}"),
            active: true,
            worksheet: MachineRate::blank(gbp),
            agreed_rate: Some(Money::new(40.into(), gbp)),
            version: 1,
        };
        machines::insert(&mut tx, &machine).await.unwrap();
    }
    let col = person(&mut tx, "Col Brannick").await;
    let hash = password::hash("4071").unwrap();
    devices::set_pin(&mut tx, col, &hash, Utc::now())
        .await
        .unwrap();
    let (job, [mill, _]) = checked_job(&mut tx).await;
    tx.commit().await.unwrap();

    let owner = site.owner().await;
    let pdf = owner.get(&format!("/jobs/{job}/card/a5")).await;
    assert_eq!(pdf.headers()["content-type"], "application/pdf");
    let document = Document::load_mem(&pdf.bytes().await.unwrap()).unwrap();
    let codes = codes_of(&document).concat();
    assert_eq!(codes.len(), 2);
    let path = codes[0].strip_prefix(&site.address).unwrap();

    // A phone that the shop does not know is told what to do, and shown nothing of the job.
    let stranger = site.stranger().get(path).await;
    assert_eq!(stranger.status(), 401);
    let told = stranger.text().await.unwrap();
    assert!(
        told.contains("device") && !told.contains("dowels"),
        "{told}"
    );

    let browser = Browser::signed_in(&site, Screen::Phone, "edda").await;
    browser.goto("/shop/devices").await;
    browser.tap("#name").await;
    browser.type_text("Mill phone").await;
    browser.tap("form[action='/shop/devices'] button").await;
    browser.wait_for(".bench-people").await;
    browser.goto(path).await;
    browser.wait_for(".bench-people").await;
    browser.tap(".bench-people a").await;
    browser.wait_for("#pin").await;
    browser.type_text("4071").await;
    browser.press(Key::Enter).await;
    browser.wait_for_text("#bench", "From the route card").await;
    let first = "return document.querySelector('.bench-card').dataset.op";
    assert_eq!(browser.script(first, vec![]).await, mill.to_string());
    assert!(browser.text("h1").await.contains("Big mill"));
    browser.picture("bench-from-card").await;
    // Signed on already, the next code opens at once.
    browser
        .goto(codes[1].strip_prefix(&site.address).unwrap())
        .await;
    browser
        .wait_for_text("#bench", "waits for operation 10")
        .await;
    browser.close().await;
}

#[tokio::test]
async fn the_code_of_a_label_opens_the_casting_after_sign_in() {
    let site = TestSite::new().await;
    let details = CastingDetails {
        variant_id: site.shop.variant("Tarn 4/90 farm").await,
        ownership: Ownership::Shop,
        cost: Money::zero(Currency::from_code("GBP").unwrap()),
        condition: String::new(),
    };
    let mut tx = site.shop.begin().await;
    let (id, number) = shelf::create(&mut tx, &details).await.unwrap();
    tx.commit().await.unwrap();
    let owner = site.owner().await;
    let page = format!("/castings/shelf/{id}");
    let html = owner
        .get(&format!("{page}/label"))
        .await
        .text()
        .await
        .unwrap();
    let code = between(&html, "<svg class=\"code\"", "</svg>");
    let drawn = between(code, "<path d=\"", "\"");
    let dark = drawn.split('M').filter(|module| !module.is_empty());
    let dark = dark.map(|module| {
        let (x, rest) = module.split_once(' ').unwrap();
        let (y, _) = rest.split_once('h').unwrap();
        (x.parse().unwrap(), y.parse().unwrap())
    });
    let opened = decoded(&dark.collect());
    assert_eq!(opened, format!("{}{page}", site.address));

    let browser = Browser::open(&site, Screen::Phone).await;
    browser.goto(&page).await;
    browser.wait_for("[name=sign_in]").await;
    browser.type_text("edda").await;
    browser.press(Key::Tab).await;
    browser.type_text(crate::support::site::PASSWORD).await;
    browser.press(Key::Enter).await;
    browser
        .wait_for_text("h1", &format!("Casting {number}"))
        .await;
    browser.goto(&format!("{page}/label")).await;
    browser.wait_for(".casting-label .code").await;
    browser.picture("casting-label-code").await;
    browser.close().await;
}
