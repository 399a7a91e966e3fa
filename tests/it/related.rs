//! Related patterns: said on the pattern's page, compared, offered by purpose, told on the quote.

use crate::enquiry_api::{fetch, send, variant};
use crate::paper::text_of;
use crate::support::site::{TestSite, Visitor, between, header};
use borewright::db::people::Role;
use lopdf::Document;
use serde_json::{Value, json};
use uuid::Uuid;

/// The answer to a new enquiry for the marine block, with the path of the enquiry.
async fn asked(visitor: &Visitor, wanted: Uuid, purpose: &str) -> (String, Value) {
    let body = json!({"caller": "A. Caller", "wanted_variant_id": wanted, "purpose": purpose});
    let made = send(visitor, "/api/v1/enquiries", &body).await;
    assert_eq!(made.status(), 201);
    let path = header(made.headers(), "location").to_owned();
    let answer = fetch(visitor, &format!("{path}/answer")).await;
    (path, answer)
}

fn option<'a>(answer: &'a Value, key: &str) -> Option<&'a Value> {
    let mut options = answer["options"].as_array().unwrap().iter();
    options.find(|option| option["key"] == key)
}

/// The key of a pattern of the demo, from what the program sends of its variants.
async fn pattern_of(visitor: &Visitor, name: &str) -> String {
    let variants = fetch(visitor, "/api/v1/variants").await;
    let mut variants = variants.as_array().unwrap().iter();
    let variant = variants.find(|v| v["name"] == name).unwrap();
    variant["pattern_id"].as_str().unwrap().to_owned()
}

#[tokio::test]
async fn a_donor_of_a_related_pattern_is_offered_by_purpose_and_the_quote_says_what_stays_different()
 {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let marine = variant(&site, "Tarn 4/90 marine").await;
    let fell = variant(&site, "Fell 4/90 compressor").await;
    let key = format!("convert-bought:{fell}");

    let (path, answer) = asked(&office, marine, "working").await;
    let offered = option(&answer, &key).unwrap();
    assert_eq!(offered["outcome"]["outcome"], "possible", "{offered}");
    let related = &offered["outcome"]["related"];
    assert_eq!(related["name"], "Fell 4/90");
    assert_eq!(related["lasting"].as_array().unwrap().len(), 3);
    let said = offered["sentence"].as_str().unwrap();
    assert!(
        said.contains("It stays different for good: ignition"),
        "{said}"
    );
    let (_, original) = asked(&office, marine, "original").await;
    let refused = &option(&original, &key).unwrap()["outcome"];
    assert_eq!(refused["outcome"], "impossible");
    let why = refused["reasons"].to_string();
    assert!(
        why.contains("Not for a restoration to original: ignition"),
        "{why}"
    );

    let body = json!({"option": key, "answer": answer["id"], "confirmed": true});
    let given = send(&office, &format!("{path}/quotes"), &body).await;
    assert_eq!(given.status(), 201);
    let quote: Value = given.json().await.unwrap();
    let address = quote["address"].as_str().unwrap();
    let page = office.get(address).await.text().await.unwrap();
    let paper = between(&page, "Stays different for good", "</ul>");
    assert!(
        paper.contains("the Fell 4/90") && paper.contains("oil filter upright"),
        "{paper}"
    );
    let won = [
        ("version", "1"),
        ("due_on", "2199-01-01"),
        ("confirmed", "yes"),
    ];
    let job = office.post(&format!("{address}/won"), &won).await;
    assert_eq!(job.status(), 303);
    let job = header(job.headers(), "location").to_owned();
    let page = office.get(&job).await.text().await.unwrap();
    assert!(
        page.contains("every place is 6 mm higher than"),
        "the job says so at the machine"
    );
    // R2 is at 45, 165 on the drawing of the Tarn, and 6 mm higher on a Fell.
    let card = office.get(&format!("{job}/card/a4")).await;
    let card = text_of(&Document::load_mem(&card.bytes().await.unwrap()).unwrap());
    assert!(card.contains("R2 dowel hole 45 171"), "{card}");
    assert!(page.contains(&format!("{job}/points/rear.csv")), "{page}");
    let points = office.get(&format!("{job}/points/rear.csv")).await;
    let points = points.text().await.unwrap();
    let row = points.lines().find(|line| line.starts_with("R2,")).unwrap();
    assert!(row.contains(",45,171,"), "{row}");

    let differences = |donor, wanted| format!("/api/v1/differences?donor={donor}&wanted={wanted}");
    let told = fetch(&office, &differences(fell, marine)).await;
    assert_eq!(told["possible"], true);
    assert_eq!(told["related"]["places"]["shifts"][0]["up"], "6");
    let other_way = office.get(&differences(marine, fell)).await;
    assert_eq!(other_way.status(), 422, "they are related one way");
    let page = office
        .get(&format!("/castings/compare?donor={fell}&wanted={marine}"))
        .await;
    assert!(page.text().await.unwrap().contains("Two related patterns"));
}

#[tokio::test]
async fn related_patterns_are_added_changed_and_removed_on_the_pattern() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let tarn = pattern_of(&office, "Tarn 4/90 marine").await;
    let fell = pattern_of(&office, "Fell 4/90 compressor").await;
    let twin = pattern_of(&office, "Ousel twin saildrive").await;
    let add = format!("/castings/patterns/{fell}/related");

    // Another engine, a face moved twice, a difference nobody described: each beside its field, and what was typed stays.
    let wrong = [
        ("donor", twin.as_str()),
        ("lasting_what", ""),
        ("lasting_refused", "original+competition"),
        ("lasting_caution", "Leave room"),
        ("shift_face", "rear"),
        ("shift_across", "-3"),
        ("shift_up", ""),
        ("shift_face", "rear"),
        ("shift_across", "1/2 in"),
        ("shift_up", "0"),
    ];
    let refused = office.post(&add, &wrong).await;
    assert_eq!(refused.status(), 422);
    let page = refused.text().await.unwrap();
    for (field, why) in [
        ("donor", "as many cylinders"),
        ("lasting_what-0", "Enter the difference"),
        ("shift_face-1", "one offset for the rear face"),
    ] {
        let said = between(&page, &format!(r#"id="{field}-error">"#), "</p>");
        assert!(said.contains(why), "{field}: {said}");
    }
    assert!(page.contains("Leave room") && page.contains("1/2 in"));
    // What is related already is changed, not added again.
    let again = office
        .post(
            &format!("/castings/patterns/{tarn}/related"),
            &[("donor", &fell)],
        )
        .await;
    assert_eq!(again.status(), 422);

    let right = [
        ("donor", tarn.as_str()),
        ("lasting_what", "No compressor bracket"),
        ("lasting_refused", "working"),
        ("lasting_caution", ""),
        ("shift_face", "rear"),
        ("shift_across", "0"),
        ("shift_up", "-6"),
        ("spot_face", "left"),
        ("spot_wanted", "L3"),
        ("spot_donor", "L1"),
    ];
    let added = office.post(&add, &right).await;
    assert_eq!(added.status(), 303);
    let page = office.get(&format!("/castings/patterns/{fell}")).await;
    let page = page.text().await.unwrap();
    let section = between(&page, "Donors of the", "</section>");
    assert!(section.contains("No compressor bracket"), "{section}");
    assert!(
        section.contains("Not for: a working boat or machine"),
        "{section}"
    );
    let edit = between(&page, "href=\"/castings/related/", "\"");
    let edit = format!("/castings/related/{edit}");
    assert!(
        office
            .get(&edit)
            .await
            .text()
            .await
            .unwrap()
            .contains("No compressor bracket")
    );

    let change = |version: &'static str, note: &'static str| {
        let mut fields = right.to_vec();
        fields.extend([("version", version), ("note", note)]);
        fields
    };
    assert_eq!(office.post(&edit, &change("1", "one")).await.status(), 303);
    let stale = office.post(&edit, &change("1", "two")).await;
    assert_eq!(stale.status(), 409, "somebody else was first");
    let page = office.get(&edit).await.text().await.unwrap();
    assert!(page.contains("History: 2 changes"));

    site.person("Bram Sallow", "bram", Role::Machinist).await;
    let bram = site.signed_in("bram").await;
    let page = bram.get(&format!("/castings/patterns/{fell}")).await;
    assert!(!page.text().await.unwrap().contains("/castings/related/"));
    let delete = edit.replace("/edit", "/delete");
    assert_eq!(bram.post(&delete, &[("version", "2")]).await.status(), 403);
    assert_eq!(
        office.post(&delete, &[("version", "2")]).await.status(),
        303
    );
    let left = fetch(&office, "/api/v1/related-patterns").await;
    assert_eq!(left.as_array().unwrap().len(), 1);
    assert_eq!(left[0]["donor"], fell);
}
