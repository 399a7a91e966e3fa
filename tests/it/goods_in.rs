//! Goods in, marks, measurements and photographs of castings; whose casting may go into whose job.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between, header};
use crate::support::{TestDatabase, TestShop, operation};
use borewright::castings::Variant;
use borewright::db::casting_records::{self, Origin, PhotoPlace, Source};
use borewright::db::castings_on_shelf::{self as shelf, CastingDetails, Ownership, ShelfState};
use borewright::db::jobs::{self, NewJob};
use borewright::db::people::Role;
use borewright::db::{DbError, Refusal, castings};
use borewright::estimating::Route;
use borewright::units::{Code, Currency, Money};
use borewright::web::server::Config;
use chrono::NaiveDate;
use image::{DynamicImage, ImageFormat, RgbImage};
use sqlx::query;
use std::io::Cursor;
use uuid::Uuid;

async fn job(shop: &TestShop, customer: &str) -> Uuid {
    let mut tx = shop.begin().await;
    let job = NewJob {
        quote_id: None,
        title: "Hone".to_owned(),
        due_on: NaiveDate::from_ymd_opt(2026, 12, 1).unwrap(),
        promised_on: None,
    };
    let route = Route {
        operations: vec![operation(10, "hone", 30, 90)],
    };
    let (id, _) = jobs::create(&mut tx, &job, &route).await.unwrap();
    casting_records::set_customer_of_job(&mut tx, id, customer)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    id
}

async fn casting_of(shop: &TestShop, owner: &str) -> Uuid {
    let details = CastingDetails {
        variant_id: shop.variant(&format!("Block of {owner}")).await,
        ownership: Ownership::Customer,
        cost: Money::zero(Currency::from_code("GBP").unwrap()),
        condition: String::new(),
    };
    let mut tx = shop.begin().await;
    let (id, _) = shelf::create(&mut tx, &details).await.unwrap();
    let origin = Origin {
        source: Source::Customer,
        sighting: None,
        came_from: String::new(),
        owner: owner.to_owned(),
    };
    casting_records::set_origin(&mut tx, id, &origin)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    id
}

#[tokio::test]
async fn a_customers_casting_goes_into_that_customers_jobs_and_no_other() {
    let db = TestDatabase::new().await;
    let shop = db.shop("a-shop").await;
    let block = casting_of(&shop, "Pellow's Boatyard").await;
    let (theirs, anothers, nobodys) = (
        job(&shop, " pellow's boatyard").await,
        job(&shop, "J. Hartle").await,
        job(&shop, "").await,
    );
    for (job, whose) in [(anothers, "J. Hartle"), (nobodys, "")] {
        let mut tx = shop.begin().await;
        let refused = shelf::reserve(&mut tx, block, job).await;
        assert!(
            matches!(&refused, Err(DbError::Refused(Refusal::CastingOfAnother { owner, customer, .. })) if owner == "Pellow's Boatyard" && customer == whose),
            "{refused:?}"
        );
    }
    // Past every check of the program, the database refuses.
    let mut owner = db.owner().await;
    for job in [anothers, nobodys] {
        let forced = query("update casting set state = 'reserved', job_id = $2 where id = $1")
            .bind(block)
            .bind(job)
            .execute(&mut owner)
            .await;
        let why = forced.unwrap_err().to_string();
        assert!(why.contains("customers_casting_for_their_job"), "{why}");
    }
    // One that belongs to nobody named goes into no job at all.
    let unnamed = casting_of(&shop, " ").await;
    let mut tx = shop.begin().await;
    assert!(shelf::reserve(&mut tx, unnamed, nobodys).await.is_err());
    drop(tx);

    let mut tx = shop.begin().await;
    shelf::reserve(&mut tx, block, theirs).await.unwrap();
    tx.commit().await.unwrap();
    // While the job has it, neither of the two may become somebody else's.
    let mut tx = shop.begin().await;
    let moved = casting_records::set_customer_of_job(&mut tx, theirs, "J. Hartle").await;
    assert!(
        matches!(moved, Err(DbError::Refused(Refusal::CustomersCasting))),
        "{moved:?}"
    );
    drop(tx);
    let mut tx = shop.begin().await;
    let casting = shelf::get(&mut tx, block).await.unwrap();
    let mut origin = casting_records::origin(&mut tx, block).await.unwrap();
    origin.owner = "J. Hartle".to_owned();
    let moved = shelf::update(&mut tx, block, casting.version, &casting.details, &origin).await;
    assert!(
        matches!(moved, Err(DbError::Refused(Refusal::CustomersCasting))),
        "{moved:?}"
    );
    drop(tx);
    // The shop's own goes into anybody's.
    let mut tx = shop.begin().await;
    let own = CastingDetails {
        ownership: Ownership::Shop,
        ..casting.details
    };
    let (own, _) = shelf::create(&mut tx, &own).await.unwrap();
    shelf::reserve(&mut tx, own, nobodys).await.unwrap();
}

/// The marine block of the demo and a place that only it has machined.
async fn marine(site: &TestSite) -> (Variant, String) {
    let mut tx = site.shop.begin().await;
    let all = castings::variants(&mut tx).await.unwrap();
    let named = |name: &str| all.iter().find(|v| v.name == name).unwrap().clone();
    let (marine, farm) = (named("Tarn 4/90 marine"), named("Tarn 4/90 farm"));
    let only = marine
        .features
        .iter()
        .find(|f| farm.feature(&f.place).is_none())
        .unwrap();
    let place = format!("{} {}", only.place.face.code(), only.place.label);
    (marine, place)
}

#[tokio::test]
async fn goods_in_tells_what_a_casting_is_and_puts_it_on_the_shelf() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let (marine, place) = marine(&site).await;
    let found = |text: &'static str| {
        vec![
            ("mark_kind", "cast"),
            ("mark_place", "left side"),
            ("mark_text", text),
            ("mark_kind", "stamped"),
            ("mark_place", "deck"),
            ("mark_text", "HQ 7"),
            ("at", place.as_str()),
            ("found", "there"),
            ("size", ""),
        ]
    };
    let looked = office
        .post("/castings/shelf/goods-in", &found("TARN K"))
        .await;
    assert_eq!(looked.status(), 200);
    let html = looked.text().await.unwrap();
    let told = between(&html, "id=\"candidates\"", "</section>");
    assert!(told.contains("Most likely a Tarn 4/90 marine"), "{told}");
    let first = between(told, "<details class=\"candidate\" open", "</details>");
    assert!(
        first.contains("2 agree, 0 disagree, 1 say nothing"),
        "{first}"
    );
    assert!(first.contains("stamped marks tell one block"), "{first}");
    assert!(
        told.contains("disagrees") && told.contains("nothing machined there"),
        "{told}"
    );
    // The likeliest stands chosen; another may be.
    let chosen = format!("value=\"{}\" selected", marine.id);
    assert!(html.contains(&chosen));

    // What is missing is said beside its field and nothing is lost; then it goes on the shelf with all that was found.
    let key = marine.id.to_string();
    let mut put = found("TARN K");
    put.extend([
        ("variant", key.as_str()),
        ("ownership", "customer"),
        ("cost", ""),
        ("source", "customer"),
        ("condition", "As it came"),
    ]);
    let path = "/castings/shelf/goods-in/put";
    let wrong = office.post(path, &put).await;
    assert_eq!(wrong.status(), 422);
    let html = wrong.text().await.unwrap();
    for field in ["owner", "instrument"] {
        assert!(html.contains(&format!("id=\"{field}-error\"")), "{field}");
    }
    assert!(html.contains("value=\"HQ 7\""));
    put.extend([("owner", "J. Hartle"), ("instrument", "calliper")]);
    let made = office.post(path, &put).await;
    assert_eq!(made.status(), 303, "{}", made.text().await.unwrap());
    let page = header(made.headers(), "location").to_owned();
    let html = office.get(&page).await.text().await.unwrap();
    for said in [
        "J. Hartle",
        "TARN K",
        "HQ 7",
        "calliper",
        "brought by its owner",
        "As it came",
    ] {
        assert!(html.contains(said), "{said}");
    }
    let label = office.get(&format!("{page}/label")).await;
    assert_eq!(label.status(), 200);
    let html = label.text().await.unwrap();
    assert!(html.contains("J. Hartle") && html.contains("Tarn 4/90 marine"));

    let nothing = office.post("/castings/shelf/goods-in", &[]).await;
    assert_eq!(nothing.status(), 422);
    for (field, value) in [("size", "-2"), ("size", "wide"), ("at", "moon R1")] {
        let mut typed = vec![("at", place.as_str()), ("found", "there"), ("size", "")];
        typed.retain(|(name, _)| *name != field);
        typed.push((field, value));
        let answer = office.post("/castings/shelf/goods-in", &typed).await;
        assert_eq!(answer.status(), 422, "{field} {value}");
        let html = answer.text().await.unwrap();
        assert!(
            html.contains(&format!("id=\"{field}-0-error\"")),
            "{field} {value}"
        );
    }
}

fn photograph(width: u32, height: u32) -> Vec<u8> {
    let picture = RgbImage::from_fn(width, height, |x, y| {
        image::Rgb([(x % 256) as u8, (y % 256) as u8, 90])
    });
    let mut bytes = Cursor::new(Vec::new());
    DynamicImage::from(picture)
        .write_to(&mut bytes, ImageFormat::Jpeg)
        .unwrap();
    bytes.into_inner()
}

async fn send(visitor: &Visitor, path: &str, caption: &str, bytes: &[u8]) -> reqwest::Response {
    let part = |name: &str, value: &str| {
        format!("--mark\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n")
    };
    let mut body = part("csrf", &visitor.csrf) + &part("caption", caption);
    // It lies about its name and its kind.
    body += "--mark\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"x.html\"\r\nContent-Type: text/html\r\n\r\n";
    let mut body = body.into_bytes();
    body.extend_from_slice(bytes);
    body.extend_from_slice(b"\r\n--mark--\r\n");
    visitor
        .request("POST", path)
        .header("content-type", "multipart/form-data; boundary=mark")
        .body(body)
        .send()
        .await
        .unwrap()
}

async fn photographs_are_kept(site: &TestSite, folder: Option<&std::path::Path>) {
    let block = casting_of(&site.shop, "J. Hartle").await;
    site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let wyn = site.signed_in("wyn").await;
    let owner = site.owner().await;
    let page = format!("/castings/shelf/{block}");
    let photos = format!("{page}/photos");
    let sent = send(&wyn, &photos, "Left <side>", &photograph(900, 600)).await;
    assert_eq!(sent.status(), 303, "{}", sent.text().await.unwrap());
    let html = wyn.get(&page).await.text().await.unwrap();
    assert!(html.contains("alt=\"Left &lt;side&gt;\""));
    let small = format!(
        "{photos}/{}",
        between(&html, "<img src=\"", "\"")
            .rsplit_once("/photos/")
            .unwrap()
            .1
    );
    let large = small.replace("/small.jpg", ".jpg");
    for (path, width) in [(&small, 320), (&large, 900)] {
        let answer = wyn.get(path).await;
        assert_eq!(answer.status(), 200);
        assert_eq!(header(answer.headers(), "content-type"), "image/jpeg");
        assert_eq!(
            header(answer.headers(), "x-content-type-options"),
            "nosniff"
        );
        let bytes = answer.bytes().await.unwrap();
        assert_eq!(image::load_from_memory(&bytes).unwrap().width(), width);
    }
    let here: i64 = sqlx::query_scalar("select count(*) from casting_photo where body is not null")
        .fetch_one(&mut site.database.owner().await)
        .await
        .unwrap();
    assert_eq!(here, i64::from(folder.is_none()));
    if let Some(folder) = folder {
        let shop = folder.join(site.shop.id.simple().to_string());
        assert_eq!(std::fs::read_dir(shop).unwrap().count(), 2);
    }
    assert_eq!(site.stranger().get(&large).await.status(), 303);

    let svg = b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>";
    for (caption, bytes, field, said) in [
        ("A drawing", &svg[..], "photo", "not a photograph"),
        ("Nothing", &b""[..], "photo", "Choose a photograph"),
        ("", &photograph(20, 20)[..], "caption", "Required"),
        ("Torn", &photograph(200, 200)[..90], "photo", "damaged"),
    ] {
        let answer = send(&wyn, &photos, caption, bytes).await;
        assert_eq!(answer.status(), 422, "{caption}");
        let html = answer.text().await.unwrap();
        let complaint = between(&html, &format!("id=\"{field}-error\""), "</p>");
        assert!(complaint.contains(said), "{caption}: {complaint}");
        let typed = between(&html, "<input id=\"caption\"", ">");
        assert!(typed.contains(&format!("value=\"{caption}\"")), "{typed}");
    }
    let remove = large.replace(".jpg", "/remove");
    assert_eq!(wyn.post(&remove, &[]).await.status(), 403);
    assert_eq!(owner.post(&remove, &[]).await.status(), 303);
    assert_eq!(wyn.get(&large).await.status(), 404);
    if let Some(folder) = folder {
        let shop = folder.join(site.shop.id.simple().to_string());
        assert_eq!(std::fs::read_dir(&shop).unwrap().count(), 0);
        // A file that cannot be removed is told of: in its place stands a folder with something in it.
        let sent = send(&wyn, &photos, "Right side", &photograph(90, 60)).await;
        assert_eq!(sent.status(), 303);
        for entry in std::fs::read_dir(&shop).unwrap() {
            let file = entry.unwrap().path();
            std::fs::remove_file(&file).unwrap();
            std::fs::create_dir_all(file.join("in the way")).unwrap();
        }
        let html = owner.get(&page).await.text().await.unwrap();
        let id = between(&html, &format!("action=\"{photos}/"), "/remove");
        let removed = owner.post(&format!("{photos}/{id}/remove"), &[]).await;
        assert_eq!(removed.status(), 303);
        let html = owner.get(&page).await.text().await.unwrap();
        assert!(!html.contains("Right side"));
        assert!(
            html.contains("its file is still in the folder"),
            "a failed removal is told of"
        );
    }
}

#[tokio::test]
async fn photographs_are_kept_in_the_database() {
    let site = TestSite::new().await;
    photographs_are_kept(&site, None).await;
}

#[tokio::test]
async fn photographs_are_kept_in_a_folder() {
    let folder = tempfile::tempdir().unwrap();
    let site = TestSite::with(Config {
        photos: PhotoPlace::Folder(folder.path().to_owned()),
        ..Config::default()
    })
    .await;
    photographs_are_kept(&site, Some(folder.path())).await;
}

#[tokio::test]
async fn marks_and_measurements_are_noted_at_the_shelf() {
    let site = TestSite::new().await;
    let block = casting_of(&site.shop, "J. Hartle").await;
    site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let wyn = site.signed_in("wyn").await;
    let page = format!("/castings/shelf/{block}");
    let mark = [
        ("mark_kind", "cast"),
        ("mark_place", "left"),
        ("mark_text", "TARN Q"),
    ];
    assert_eq!(
        wyn.post(&format!("{page}/marks"), &mark).await.status(),
        303
    );
    let unsaid = wyn.post(&format!("{page}/marks"), &mark[..2]).await;
    assert_eq!(unsaid.status(), 422);
    let html = unsaid.text().await.unwrap();
    let kept = between(&html, "<input id=\"mark_place\"", ">");
    assert!(kept.contains("value=\"left\""), "{kept}");
    let measured = [
        ("measured_what", "bore 2"),
        ("measured_value", "90.0254"),
        ("measured_with", "bore gauge"),
    ];
    let to = format!("{page}/measurements");
    assert_eq!(wyn.post(&to, &measured).await.status(), 303);
    for (field, value) in [
        ("measured_value", "0"),
        ("measured_value", "tight"),
        ("measured_with", ""),
    ] {
        let mut typed = measured.to_vec();
        typed.retain(|(name, _)| *name != field);
        typed.push((field, value));
        let answer = wyn.post(&to, &typed).await;
        assert_eq!(answer.status(), 422, "{field} {value}");
        let html = answer.text().await.unwrap();
        assert!(html.contains(&format!("id=\"{field}-error\"")));
        for (name, value) in typed {
            let kept = between(&html, &format!("<input id=\"{name}\""), ">");
            assert!(
                value.is_empty() || kept.contains(&format!("value=\"{value}\"")),
                "{kept}"
            );
        }
    }
    let html = wyn.get(&page).await.text().await.unwrap();
    for said in ["TARN Q", "bore 2", "90.0254", "bore gauge", "Wyn Tarrant"] {
        assert!(html.contains(said), "{said}");
    }
    let remove = between(&html, &format!("action=\"{page}/marks/"), "\"");
    let gone = wyn.post(&format!("{page}/marks/{remove}"), &[]).await;
    assert_eq!(gone.status(), 303);
    let html = wyn.get(&page).await.text().await.unwrap();
    assert!(!html.contains("TARN Q"));
    // What was measured stays as it was written.
    let mut tx = site.shop.begin().await;
    let edited = query("update casting_measurement set value_mm = 1")
        .execute(tx.conn())
        .await;
    assert!(edited.is_err());
}

#[tokio::test]
async fn a_casting_and_goods_in_are_looked_at() {
    let site = TestSite::demo().await;
    let (_, place) = marine(&site).await;
    let mut tx = site.shop.begin().await;
    let all = shelf::list(&mut tx, &[ShelfState::OnShelf], None)
        .await
        .unwrap();
    let customers = all
        .iter()
        .find(|c| c.details.ownership == Ownership::Customer)
        .unwrap()
        .id;
    drop(tx);
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "office").await;
        browser.goto(&format!("/castings/shelf/{customers}")).await;
        browser.wait_for("ul.photos img").await;
        browser.picture("casting-records").await;
        browser
            .goto(&format!("/castings/shelf/{customers}/label"))
            .await;
        browser.wait_for(".casting-label").await;
        browser.picture("casting-label").await;
        browser.goto("/castings/shelf/goods-in").await;
        browser.wait_for("#at-0").await;
        browser
            .script(
                "document.getElementById('mark_kind-0').value = 'cast';
                 document.getElementById('mark_place-0').value = 'left side';
                 document.getElementById('mark_text-0').value = 'TARN K';
                 document.getElementById('at-0').value = arguments[0];
                 document.getElementById('found-0').value = 'there';",
                vec![place.clone().into()],
            )
            .await;
        browser.tab_to("main form button").await;
        browser.press(fantoccini::key::Key::Enter).await;
        browser.wait_for("#candidates").await;
        browser.picture("goods-in").await;
        browser.close().await;
    }
}
