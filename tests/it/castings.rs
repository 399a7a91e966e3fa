//! Castings on a real database: what is kept, who sees it, and what the forms say to bad input.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between};
use crate::support::{TestDatabase, TestShop};
use borewright::castings::{
    Action, Boss, Face, Feature, FeatureKind, Outline, Pattern, Place, RemedyRule, Variant, When,
};
use borewright::db::people::Role;
use borewright::db::{DbError, Needed, Unique, castings as db, remedy_rules};
use borewright::units::{Code, Length, LengthUnit, Thread};
use serde_json::Value;
use uuid::Uuid;

fn length(text: &str) -> Length {
    Length::parse(text, LengthUnit::Mm).unwrap()
}

/// A feature written short: face, label, kind or thread, across, up, size, depth.
fn feature(face: Face, label: &str, what: &str, x: &str, y: &str, depth: &str) -> Feature {
    let (kind, rest) = what.split_once(' ').unwrap();
    let kind = FeatureKind::from_code(kind).unwrap();
    let thread: Option<Thread> = (kind == FeatureKind::TappedHole).then(|| rest.parse().unwrap());
    let (size, fit) = rest.split_once(' ').unwrap_or((rest, ""));
    Feature {
        place: Place::new(face, label),
        kind,
        at: Some(borewright::castings::Point {
            x: length(x),
            y: length(y),
        }),
        size: thread
            .as_ref()
            .map_or_else(|| length(size), Thread::major_diameter),
        depth: (depth != "through").then(|| length(depth)),
        fit: (thread.is_none() && !fit.is_empty()).then(|| fit.parse().unwrap()),
        thread,
        count: 1,
        note: String::new(),
    }
}

fn pattern() -> Pattern {
    let outline = |face, width, height| Outline {
        face,
        width: length(width),
        height: length(height),
    };
    let boss = |face, label: &str, largest: &str, deepest: Option<&str>| Boss {
        place: Place::new(face, label),
        largest: length(largest),
        deepest: deepest.map(length),
        through: deepest.is_none(),
    };
    let mut bosses = vec![
        boss(Face::Sump, "S5", "16", Some("40")),
        boss(Face::Sump, "S6", "16", Some("40")),
        boss(Face::Rear, "D1", "1 in", Some("1 1/4 in")),
        boss(Face::Rear, "D2", "1 in", Some("1 1/4 in")),
    ];
    bosses.extend(["R7", "R8", "R9"].map(|label| boss(Face::Rear, label, "14", None)));
    Pattern {
        id: Uuid::now_v7(),
        name: "Tarn 4/90".to_owned(),
        cylinders: 4,
        mains: 5,
        outlines: vec![
            outline(Face::Sump, "520", "240"),
            outline(Face::Rear, "380", "320"),
        ],
        bosses,
        marks: "TARN cast under the mounting pad".to_owned(),
        metal: borewright::castings::Metal::Aluminium,
        weight_kg: Some(rust_decimal::dec!(92.5)),
        sizes: borewright::castings::measured::Sizes::default(),
        version: 1,
    }
}

/// The farm and the marine variant, which differ in every way there is.
fn variants(pattern: &Pattern) -> [Variant; 2] {
    use Face::{Rear, Sump};
    let variant = |name: &str, gearbox_under, features| Variant {
        id: Uuid::now_v7(),
        pattern_id: pattern.id,
        name: name.to_owned(),
        gearbox_under,
        features,
        note: String::new(),
        version: 1,
    };
    let ring: Vec<Feature> = [
        ("R1", "60", "40"),
        ("R2", "320", "40"),
        ("R3", "40", "150"),
        ("R4", "340", "150"),
        ("R5", "100", "280"),
        ("R6", "280", "280"),
    ]
    .iter()
    .map(|(label, x, y)| feature(Rear, label, "tapped_hole M10", x, y, "25"))
    .collect();
    let rail = |label: &str, x: &str, y: &str| feature(Sump, label, "tapped_hole M8", x, y, "20");
    let rails = [
        rail("S1", "30", "20"),
        rail("S2", "490", "20"),
        rail("S3", "30", "220"),
        rail("S4", "490", "220"),
    ];
    let mut farm = ring.clone();
    farm.extend(rails.clone());
    farm.extend([
        feature(Rear, "SEAL", "register 110 H7", "190", "120", "12"),
        feature(Rear, "OIL", "plain_hole 8", "250", "190", "through"),
        feature(Rear, "R10", "tapped_hole M12", "190", "240", "25"),
        feature(Rear, "R11", "plain_hole 14", "130", "230", "30"),
    ]);
    let mut marine = ring;
    marine.extend(rails);
    marine.extend([
        feature(Rear, "SEAL", "register 120 H7", "190", "120", "12"),
        feature(Rear, "OIL", "tapped_hole G 1/4", "250", "190", "14"),
        feature(Rear, "D1", "dowel_hole 1/2\" H7", "20", "60", "1 in"),
        feature(Rear, "D2", "dowel_hole 1/2\" H7", "360", "60", "1 in"),
        feature(Rear, "R7", "tapped_hole M10", "150", "30", "25"),
        feature(Rear, "R8", "tapped_hole M10", "230", "30", "25"),
        feature(Rear, "R9", "tapped_hole M16", "330", "250", "25"),
        feature(Rear, "R11", "plain_hole 10", "130", "230", "30"),
        feature(Sump, "S5", "tapped_hole M10", "180", "120", "25"),
        feature(Sump, "S6", "tapped_hole M10", "340", "120", "25"),
    ]);
    [
        variant("Tarn 4/90 farm", false, farm),
        variant("Tarn 4/90 marine", true, marine),
    ]
}

fn rule(
    priority: i32,
    name: &str,
    when: When,
    action: Action,
    element: &str,
    say: &str,
) -> RemedyRule {
    RemedyRule {
        id: Uuid::now_v7(),
        priority,
        name: name.to_owned(),
        when,
        kind: None,
        face: None,
        smallest: None,
        largest: None,
        gearbox_under: None,
        action,
        elements: element.split_whitespace().map(str::to_owned).collect(),
        say: say.to_owned(),
        version: 1,
    }
}

fn rules() -> Vec<RemedyRule> {
    vec![
        RemedyRule {
            kind: Some(FeatureKind::DowelHole),
            face: Some(Face::Rear),
            smallest: Some(length("6")),
            largest: Some(length("20")),
            ..rule(
                10,
                "Fitted dowel in sound metal",
                When::MissingWithMetal,
                Action::Machine,
                "DOWEL-DIAL DOWEL-REAM",
                "",
            )
        },
        rule(
            20,
            "Hole in sound metal",
            When::MissingWithMetal,
            Action::Machine,
            "DRILL-TAP",
            "",
        ),
        rule(
            30,
            "Open out",
            When::ChangedClears,
            Action::Rework,
            "OPEN-OUT",
            "",
        ),
        rule(
            40,
            "Plug and make anew",
            When::ChangedDoesNotClear,
            Action::PlugAndRedo,
            "PLUG DRILL-TAP",
            "",
        ),
        RemedyRule {
            kind: Some(FeatureKind::TappedHole),
            ..rule(
                50,
                "Spare thread",
                When::Extra,
                Action::Caution,
                "",
                "One tapped hole more than yours had; it stays open",
            )
        },
    ]
}

async fn fill(shop: &TestShop) -> (Pattern, [Variant; 2]) {
    let pattern = pattern();
    let variants = variants(&pattern);
    let mut tx = shop.begin().await;
    db::insert_pattern(&mut tx, &pattern).await.unwrap();
    for variant in &variants {
        assert_eq!(variant.faults(&pattern), [], "{}", variant.name);
        db::insert_variant(&mut tx, variant).await.unwrap();
    }
    for rule in rules() {
        remedy_rules::insert(&mut tx, &rule).await.unwrap();
    }
    tx.commit().await.unwrap();
    (pattern, variants)
}

#[tokio::test]
async fn what_is_stored_comes_back_the_same_to_the_last_thou() {
    let database = TestDatabase::new().await;
    let shop = database.shop("harrow-quay").await;
    let (mut pattern, mut variants) = fill(&shop).await;
    pattern.bosses.sort_by(|a, b| a.place.cmp(&b.place));
    let mut tx = shop.begin().await;
    assert_eq!(db::patterns(&mut tx).await.unwrap(), [pattern.clone()]);
    for variant in &mut variants {
        variant.features.sort_by(|a, b| a.place.cmp(&b.place));
        assert_eq!(db::variant(&mut tx, variant.id).await.unwrap(), *variant);
    }
    assert_eq!(
        db::variants_of(&mut tx, &[pattern.id]).await.unwrap(),
        variants
    );
    let stored = remedy_rules::list(&mut tx).await.unwrap();
    let named = |rules: &[RemedyRule]| -> Vec<String> {
        rules.iter().map(|rule| rule.name.clone()).collect()
    };
    assert_eq!(named(&stored), named(&rules()));
    assert_eq!(
        stored[0],
        RemedyRule {
            id: stored[0].id,
            ..rules().swap_remove(0)
        }
    );

    let copied = Uuid::now_v7();
    db::copy_variant(&mut tx, variants[1].id, copied, "Tarn 4/90 generator")
        .await
        .unwrap();
    let copy = db::variant(&mut tx, copied).await.unwrap();
    assert_eq!(copy.features, variants[1].features);
    let taken = db::copy_pattern(&mut tx, pattern.id, Uuid::now_v7(), "TARN 4/90").await;
    assert!(
        matches!(
            taken,
            Err(DbError::Duplicate(
                Unique::VariantName | Unique::PatternName
            ))
        ),
        "{taken:?}"
    );
}

#[tokio::test]
async fn a_stale_version_is_refused_and_changes_nothing() {
    let database = TestDatabase::new().await;
    let shop = database.shop("harrow-quay").await;
    let (pattern, [farm, _]) = fill(&shop).await;
    let mut tx = shop.begin().await;
    let renamed = Variant {
        name: "Tarn 4/90 tractor".to_owned(),
        ..farm.clone()
    };
    db::update_variant(&mut tx, &renamed).await.unwrap();
    assert_eq!(db::variant(&mut tx, farm.id).await.unwrap().version, 2);
    let emptied = Variant {
        features: Vec::new(),
        ..farm.clone()
    };
    assert!(matches!(
        db::update_variant(&mut tx, &emptied).await,
        Err(DbError::Stale(_))
    ));
    let now = db::variant(&mut tx, farm.id).await.unwrap();
    assert_eq!(
        (now.name.as_str(), now.features.len()),
        ("Tarn 4/90 tractor", farm.features.len())
    );

    db::update_pattern(&mut tx, &pattern).await.unwrap();
    assert!(matches!(
        db::update_pattern(&mut tx, &pattern).await,
        Err(DbError::Stale(_))
    ));
    let rule = remedy_rules::list(&mut tx).await.unwrap().swap_remove(0);
    remedy_rules::update(&mut tx, &rule).await.unwrap();
    assert!(matches!(
        remedy_rules::update(&mut tx, &rule).await,
        Err(DbError::Stale(_))
    ));
    let gone = Variant {
        id: Uuid::now_v7(),
        ..farm
    };
    assert!(matches!(
        db::update_variant(&mut tx, &gone).await,
        Err(DbError::NotFound(_))
    ));
}

#[tokio::test]
async fn another_shop_sees_nothing_and_touches_nothing() {
    let database = TestDatabase::new().await;
    let shop = database.shop("harrow-quay").await;
    let other = database.shop("another").await;
    let (pattern, [farm, _]) = fill(&shop).await;
    let mut tx = other.begin().await;
    assert_eq!(db::patterns(&mut tx).await.unwrap(), []);
    assert_eq!(db::variants(&mut tx).await.unwrap(), []);
    assert_eq!(remedy_rules::list(&mut tx).await.unwrap(), []);
    assert!(matches!(
        db::variant(&mut tx, farm.id).await,
        Err(DbError::NotFound(_))
    ));
    assert!(matches!(
        db::update_variant(&mut tx, &farm).await,
        Err(DbError::NotFound(_))
    ));
    assert!(matches!(
        db::delete_variant(&mut tx, farm.id, farm.version).await,
        Err(DbError::Stale(_))
    ));
    assert!(matches!(
        db::delete_pattern(&mut tx, pattern.id, pattern.version).await,
        Err(DbError::Stale(_))
    ));
    // A variant of another shop's pattern: the reference does not reach over the wall.
    let smuggled = Variant {
        id: Uuid::now_v7(),
        name: "smuggled".to_owned(),
        ..farm
    };
    assert!(db::insert_variant(&mut tx, &smuggled).await.is_err());
}

#[tokio::test]
async fn what_is_still_needed_is_kept_and_the_refusal_says_by_what() {
    let database = TestDatabase::new().await;
    let shop = database.shop("harrow-quay").await;
    let (pattern, [farm, marine]) = fill(&shop).await;
    let mut tx = shop.begin().await;
    let refused = db::delete_pattern(&mut tx, pattern.id, pattern.version).await;
    assert!(
        matches!(&refused, Err(DbError::InUse(Needed::By { table })) if table == "variant"),
        "{refused:?}"
    );
    drop(tx);
    let mut tx = shop.begin().await;
    let seen_before = db::delete_variant(&mut tx, farm.id, farm.version + 1).await;
    assert!(matches!(seen_before, Err(DbError::Stale(_))));
    for variant in [farm, marine] {
        let deleted = db::delete_variant(&mut tx, variant.id, variant.version).await;
        deleted.unwrap();
    }
    let deleted = db::delete_pattern(&mut tx, pattern.id, pattern.version).await;
    deleted.unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn a_stored_value_that_no_longer_reads_is_named() {
    let database = TestDatabase::new().await;
    let shop = database.shop("harrow-quay").await;
    let (_, [farm, _]) = fill(&shop).await;
    sqlx::query("update feature set thread = 'M10 or so' where label = 'R1'")
        .execute(&mut database.owner().await)
        .await
        .unwrap();
    let error = db::variant(&mut shop.begin().await, farm.id)
        .await
        .unwrap_err();
    assert!(
        matches!(error, DbError::Corrupt { what: "thread", .. }),
        "{error:?}"
    );
    assert!(error.to_string().contains("M10 or so"), "{error}");
}

#[tokio::test]
async fn rules_keep_the_order_they_are_put_in() {
    let database = TestDatabase::new().await;
    let shop = database.shop("harrow-quay").await;
    fill(&shop).await;
    let mut tx = shop.begin().await;
    let mut order: Vec<Uuid> = remedy_rules::list(&mut tx)
        .await
        .unwrap()
        .iter()
        .map(|rule| rule.id)
        .collect();
    order.reverse();
    remedy_rules::reorder(&mut tx, &order).await.unwrap();
    let stored = remedy_rules::list(&mut tx).await.unwrap();
    assert_eq!(stored.iter().map(|rule| rule.id).collect::<Vec<_>>(), order);
    assert_eq!(
        stored.iter().map(|rule| rule.priority).collect::<Vec<_>>(),
        [10, 20, 30, 40, 50]
    );
}

/// The points of a face are a file for the readout and one for a drawing program; of a face that does not exist, none.
#[tokio::test]
async fn the_points_of_a_face_are_files() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let (_, variants) = fill(&site.shop).await;
    let path = format!("/castings/variants/{}/points", variants[0].id);
    let table = owner.get(&format!("{path}/rear.csv")).await;
    assert_eq!(table.status(), 200);
    let text = table.text().await.unwrap();
    assert!(text.starts_with("Place,Feature,\"Across, mm\""), "{text}");
    let drawing = owner.get(&format!("{path}/rear.dxf")).await;
    assert_eq!(drawing.headers()["content-type"], "image/vnd.dxf");
    let text = drawing.text().await.unwrap();
    assert!(
        text.contains("CIRCLE") && text.ends_with("0\nEOF\n"),
        "{text}"
    );
    for wrong in ["rear.exe", "roof.csv", "rear"] {
        let answer = owner.get(&format!("{path}/{wrong}")).await;
        assert_eq!(answer.status(), 404, "{wrong}");
    }
}

/// Sends a form and gives the page that refuses it.
async fn refused(visitor: &Visitor, path: &str, fields: &[(&str, &str)]) -> String {
    let answer = visitor.post(path, fields).await;
    assert_eq!(answer.status(), 422, "{path}");
    answer.text().await.unwrap()
}

/// The complaint tied to a field, which must be marked invalid and described by it.
fn complaint<'a>(page: &'a str, field: &str) -> &'a str {
    let control = between(page, &format!(r#"id="{field}" name="{field}""#), ">");
    assert!(
        control.contains(r#"aria-invalid="true""#),
        "{field}: {control}"
    );
    assert!(
        control.contains(&format!("{field}-error")),
        "{field}: {control}"
    );
    between(page, &format!(r#"id="{field}-error">"#), "</p>")
}

#[tokio::test]
async fn a_features_form_keeps_what_was_typed_and_says_what_is_wrong_beside_it() {
    let site = TestSite::new().await;
    let (_, [farm, _]) = fill(&site.shop).await;
    let owner = site.owner().await;
    let path = format!("/castings/variants/{}/features/new", farm.id);
    let typed = [
        ("version", "1"),
        ("face", "rear"),
        ("label", "R1"),
        ("kind", "tapped_hole"),
        ("across", "15 furlongs"),
        ("up", "1 3/8 in"),
        ("thread", "M10x<9>"),
        ("depth", "-5"),
        ("count", "0"),
    ];
    let page = refused(&owner, &path, &typed).await;
    assert!(complaint(&page, "across").contains("furlongs"));
    assert!(complaint(&page, "thread").contains("M10x&lt;9&gt;"));
    assert!(complaint(&page, "count").contains("1 to 200"));
    for (field, value) in [
        ("across", "15 furlongs"),
        ("up", "1 3/8 in"),
        ("thread", "M10x&lt;9&gt;"),
        ("depth", "-5"),
    ] {
        assert!(page.contains(&format!(r#"value="{value}""#)), "{field}");
    }
    assert!(page.contains(r#"<option value="tapped_hole" selected>"#));

    let mut typed = typed;
    for (field, value) in [("across", "15"), ("thread", "M10"), ("count", "1")] {
        typed.iter_mut().find(|(name, _)| *name == field).unwrap().1 = value;
    }
    let page = refused(&owner, &path, &typed).await;
    assert!(complaint(&page, "depth").contains("more than nothing"));
    assert!(complaint(&page, "label").contains("rear face, R1 already"));
    for (field, value) in [("depth", "1/2 in"), ("label", "R12"), ("across", "16 in")] {
        typed.iter_mut().find(|(name, _)| *name == field).unwrap().1 = value;
    }
    let page = refused(&owner, &path, &typed).await;
    assert!(
        complaint(&page, "across").contains("380 mm across"),
        "16 in is off the face"
    );

    typed
        .iter_mut()
        .find(|(name, _)| *name == "across")
        .unwrap()
        .1 = "5 thou";
    let answer = owner.post(&path, &typed).await;
    assert_eq!(answer.status(), 303, "{}", answer.text().await.unwrap());
    let stored = db::variant(&mut site.shop.begin().await, farm.id)
        .await
        .unwrap();
    let saved = stored.feature(&Place::new(Face::Rear, "R12")).unwrap();
    assert_eq!(saved.at.unwrap().x, length("0.127"));
    assert_eq!(saved.at.unwrap().y, length("34.925"));
    assert_eq!(saved.depth, Some(length("12.7")));
    assert_eq!(saved.size, length("10"), "the thread says the size");
    assert_eq!(stored.version, 2);

    // The same form again is stale: both values are shown, and the version now stored is in the form.
    let edit = format!(
        "/castings/variants/{}/features/edit?face=rear&label=R12",
        farm.id
    );
    typed
        .iter_mut()
        .find(|(name, _)| *name == "depth")
        .unwrap()
        .1 = "18";
    let answer = owner.post(&edit, &typed).await;
    assert_eq!(answer.status(), 409);
    let page = answer.text().await.unwrap();
    let notice = between(&page, "stale-title", "</section>");
    let differing = notice.matches(r#"<th scope="row">"#).count();
    assert_eq!(differing, 1, "only the depth differs: {notice}");
    assert!(
        notice.contains(">12.7<") && notice.contains(">18<"),
        "{notice}"
    );
    assert!(page.contains(r#"name="version" value="2""#), "{page}");
}

#[tokio::test]
async fn the_other_forms_refuse_what_cannot_be() {
    let site = TestSite::new().await;
    let (pattern, [farm, marine]) = fill(&site.shop).await;
    let owner = site.owner().await;
    let blank = refused(
        &owner,
        "/castings/patterns",
        &[
            ("name", ""),
            ("cylinders", "four"),
            ("mains", "99"),
            ("width-rear", "300"),
        ],
    )
    .await;
    for (field, words) in [
        ("name", "Enter the name"),
        ("cylinders", "whole number"),
        ("mains", "1 to 25"),
        ("height-rear", "missing"),
    ] {
        assert!(complaint(&blank, field).contains(words), "{field}");
    }
    assert!(blank.contains(r#"value="four""#) && blank.contains(r#"value="300""#));

    // A face that shrinks under what stands on it.
    let edit = format!("/castings/patterns/{}/edit", pattern.id);
    let shrunk = [
        ("version", "1"),
        ("name", "Tarn 4/90"),
        ("cylinders", "4"),
        ("mains", "5"),
        ("width-sump", "520"),
        ("height-sump", "240"),
        ("width-rear", "330"),
        ("height-rear", "320"),
    ];
    let page = refused(&owner, &edit, &shrunk).await;
    assert!(complaint(&page, "width-rear").contains("would be off it"));

    let taken = refused(
        &owner,
        "/castings/variants",
        &[
            ("pattern", &pattern.id.to_string()),
            ("name", "tarn 4/90 FARM"),
        ],
    )
    .await;
    assert!(complaint(&taken, "name").contains("already"));
    let nowhere = refused(
        &owner,
        "/castings/variants",
        &[("pattern", "no such key"), ("name", "x")],
    )
    .await;
    assert!(complaint(&nowhere, "pattern").contains("Choose one"));

    let rule = [
        ("name", "Dowels"),
        ("when", "missing_with_metal"),
        ("action", "machine"),
        ("smallest", "12"),
        ("largest", "1/4 in"),
        ("elements", "dowel ream!"),
    ];
    let page = refused(&owner, "/castings/rules", &rule).await;
    assert!(complaint(&page, "smallest").contains("larger than the largest"));
    assert!(complaint(&page, "elements").contains("REAM!"));
    let unknown = [
        ("name", "Dowels"),
        ("when", "missing_with_metal"),
        ("action", "machine"),
        ("elements", "no-such-code"),
    ];
    let page = refused(&owner, "/castings/rules", &unknown).await;
    assert!(complaint(&page, "elements").contains("no element “NO-SUCH-CODE”"));

    let boss = format!("/castings/patterns/{}/bosses/new", pattern.id);
    let page = refused(
        &owner,
        &boss,
        &[
            ("version", "1"),
            ("face", "rear"),
            ("label", "D1"),
            ("largest", "0"),
        ],
    )
    .await;
    assert!(complaint(&page, "label").contains("already"));
    assert!(complaint(&page, "largest").contains("more than nothing"));

    let copy = refused(
        &owner,
        &format!("/castings/variants/{}/copy", farm.id),
        &[("name", "Tarn 4/90 marine")],
    )
    .await;
    assert!(complaint(&copy, "name").contains("already"));

    let answer = owner
        .get(&format!(
            "/castings/compare?donor={}&wanted={}",
            farm.id,
            Uuid::now_v7()
        ))
        .await;
    assert_eq!(answer.status(), 422);
    assert!(complaint(&answer.text().await.unwrap(), "wanted").contains("no such variant"));
    let delete = owner
        .post(&format!("/castings/patterns/{}/delete", pattern.id), &[])
        .await;
    assert!(delete.status().is_client_error());
    assert!(
        delete
            .text()
            .await
            .unwrap()
            .contains("still needed by at least one variant")
    );
    let gone = owner
        .post(&format!("/castings/variants/{}/delete", marine.id), &[])
        .await;
    assert_eq!(gone.status(), 303);
}

#[tokio::test]
async fn a_machinist_looks_and_does_not_change() {
    let site = TestSite::new().await;
    let (pattern, [farm, marine]) = fill(&site.shop).await;
    site.person("Wyn Tarrant", "wyn", Role::Machinist).await;
    let wyn = site.signed_in("wyn").await;
    let compare = format!("/castings/compare?donor={}&wanted={}", farm.id, marine.id);
    for path in ["/castings", "/castings/rules", &compare] {
        let page = wyn.get(path).await;
        assert_eq!(page.status(), 200, "{path}");
        assert!(!page.text().await.unwrap().contains("/edit"), "{path}");
    }
    for path in [
        format!(
            "/castings/variants/{}/features/delete?face=rear&label=R1",
            farm.id
        ),
        format!("/castings/patterns/{}/edit", pattern.id),
        "/castings/rules".to_owned(),
    ] {
        assert_eq!(
            wyn.post(&path, &[("version", "1")]).await.status(),
            403,
            "{path}"
        );
    }
}

#[tokio::test]
async fn the_json_interface_tells_variants_and_differences() {
    let site = TestSite::new().await;
    let (_, [farm, marine]) = fill(&site.shop).await;
    let owner = site.owner().await;
    let variants: Value = owner.get("/api/v1/variants").await.json().await.unwrap();
    assert_eq!(variants.as_array().unwrap().len(), 2);
    let path = |donor, wanted| format!("/api/v1/differences?donor={donor}&wanted={wanted}");
    let told: Value = owner
        .get(&path(farm.id, marine.id))
        .await
        .json()
        .await
        .unwrap();
    assert_eq!(told["possible"], false);
    let action = |label: &str| {
        let remedies = told["conversion"]["remedies"].as_array().unwrap();
        let of = |part: &str, remedy: &Value| remedy["difference"][part]["place"]["label"] == label;
        let remedy = remedies
            .iter()
            .find(|remedy| of("wanted", remedy) || of("donor", remedy))
            .unwrap();
        (
            remedy["action"].as_str().unwrap().to_owned(),
            remedy["say"].as_str().unwrap().to_owned(),
        )
    };
    assert_eq!(action("D1").0, "machine");
    assert_eq!(
        action("OIL").0,
        "rework",
        "an oil passage opened out and tapped"
    );
    assert_eq!(action("SEAL").0, "rework");
    assert_eq!(action("R11").0, "plug_and_redo");
    assert_eq!(action("R10").0, "caution");
    assert!(
        action("R9")
            .1
            .contains("takes 14 mm at most, and 16 mm is wanted"),
        "{told}"
    );
    let none = owner
        .get(&path(farm.id, farm.id))
        .await
        .json::<Value>()
        .await
        .unwrap();
    assert_eq!(none["conversion"]["remedies"], Value::Array(Vec::new()));

    let answer = owner.get("/api/v1/differences?donor=x").await;
    assert_eq!(answer.status(), 422);
    let problem: Value = answer.json().await.unwrap();
    let fields: Vec<&str> = problem["errors"]
        .as_array()
        .unwrap()
        .iter()
        .map(|e| e["field"].as_str().unwrap())
        .collect();
    assert_eq!(fields, ["donor", "wanted"]);
}

#[tokio::test]
async fn every_castings_page_works_on_a_desk_and_on_a_phone() {
    let site = TestSite::new().await;
    let (pattern, [farm, marine]) = fill(&site.shop).await;
    let rule = remedy_rules::list(&mut site.shop.begin().await)
        .await
        .unwrap()[0]
        .id;
    let pages = [
        ("castings", "/castings".to_owned()),
        (
            "castings-compare",
            format!("/castings/compare?donor={}&wanted={}", farm.id, marine.id),
        ),
        (
            "castings-variant",
            format!("/castings/variants/{}", marine.id),
        ),
        (
            "castings-variant-edit",
            format!("/castings/variants/{}/edit", marine.id),
        ),
        (
            "castings-variant-copy",
            format!("/castings/variants/{}/copy", marine.id),
        ),
        (
            "castings-feature",
            format!(
                "/castings/variants/{}/features/edit?face=rear&label=D1",
                marine.id
            ),
        ),
        (
            "castings-feature-delete",
            format!(
                "/castings/variants/{}/features/delete?face=rear&label=D1",
                marine.id
            ),
        ),
        (
            "castings-pattern",
            format!("/castings/patterns/{}", pattern.id),
        ),
        (
            "castings-pattern-edit",
            format!("/castings/patterns/{}/edit", pattern.id),
        ),
        (
            "castings-boss",
            format!(
                "/castings/patterns/{}/bosses/edit?face=rear&label=D1",
                pattern.id
            ),
        ),
        ("castings-rules", "/castings/rules".to_owned()),
        ("castings-rule", format!("/castings/rules/{rule}/edit")),
    ];
    for screen in Screen::ALL {
        let browser = Browser::signed_in(&site, screen, "edda").await;
        for (name, path) in &pages {
            browser.goto(path).await;
            browser.picture(name).await;
        }
        browser.close().await;
    }
}

/// From the list to a saved feature and a compared pair, with keys alone.
#[tokio::test]
async fn a_feature_is_added_and_two_variants_compared_with_keys_alone() {
    let site = TestSite::new().await;
    let (_, [farm, marine]) = fill(&site.shop).await;
    use fantoccini::key::Key;
    let browser = Browser::signed_in(&site, Screen::Desktop, "edda").await;
    browser
        .goto(&format!("/castings/variants/{}", farm.id))
        .await;
    browser.type_text("n").await;
    browser.wait_for("#label").await;
    browser.type_text("R20").await;
    browser.tab_to("#kind").await;
    browser.type_text("tapped").await;
    for (field, text) in [
        ("#across", "1 1/2 in"),
        ("#up", "200"),
        ("#thread", "3/8 BSW"),
        ("#depth", "750 thou"),
    ] {
        browser.tab_to(field).await;
        browser.type_text(text).await;
    }
    browser.tab_to("#face").await;
    browser.type_text("rear").await;
    browser.press(Key::Enter).await;
    browser.tab_to("main button[type=submit]").await;
    browser.press(Key::Enter).await;
    browser.wait_for_text("main", "Saved: rear face, R20").await;
    browser.goto("/castings").await;
    browser.tab_to("#donor").await;
    browser.type_text("Tarn 4/90 farm").await;
    browser.tab_to("#wanted").await;
    browser.type_text("Tarn 4/90 marine").await;
    browser.tab_to("main button[type=submit]").await;
    browser.press(Key::Enter).await;
    browser
        .wait_for_text("h1", "Tarn 4/90 farm to Tarn 4/90 marine")
        .await;
    browser.wait_for_text("#rear-R20", "3/8-16 BSW").await;
    assert!(browser.path().await.contains(&marine.id.to_string()));
    browser.close().await;
}
