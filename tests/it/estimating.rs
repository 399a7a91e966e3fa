//! Standards, machines, rates, settings and cutting data: kept, given back, guarded, and edited through the pages.

use crate::support::TestDatabase;
use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between};
use borewright::castings::{Action, RemedyRule, When};
use borewright::db::cutting::{self, CuttingLine};
use borewright::db::people::Role;
use borewright::db::{
    DbError, Needed, ShopTx, Unique, floor, history, machines, order_of_work, remedy_rules,
    settings, standards,
};
use borewright::estimating::{
    CuttingData, Element, LabourRate, Machine, MachineRate, OrderOfWork, Stage, cutting_data,
    starting,
};
use borewright::units::{Code, Currency, Length, Minutes, Money, Spread};
use chrono::Utc;
use fantoccini::key::Key;
use rust_decimal::{Decimal, dec};
use uuid::Uuid;

fn gbp(amount: Decimal) -> Money {
    Money::new(amount, Currency::from_code("GBP").unwrap())
}

fn mill() -> Machine {
    Machine {
        id: Uuid::now_v7(),
        kind: "mill".to_owned(),
        name: "Big mill".to_owned(),
        active: true,
        worksheet: MachineRate {
            capital: gbp(dec!(42000)),
            residual: gbp(dec!(6000)),
            life_years: dec!(12),
            interest_percent: dec!(6),
            power_kw: dec!(4.5),
            power_price: gbp(dec!(0.284)),
            maintenance_a_year: gbp(dec!(1850)),
            space_m2: dec!(14),
            space_price: gbp(dec!(65)),
            insurance_a_year: gbp(dec!(320)),
            hours_a_year: dec!(1100),
        },
        agreed_rate: None,
        version: 1,
    }
}

fn set() -> Vec<Element> {
    starting::elements(Currency::from_code("GBP").unwrap(), Uuid::now_v7).unwrap()
}

async fn keep(tx: &mut ShopTx, elements: &[Element]) {
    for element in elements {
        standards::insert(tx, element).await.unwrap();
    }
}

#[tokio::test]
async fn what_is_kept_comes_back_exactly() {
    let db = TestDatabase::new().await;
    let shop = db.shop("first").await;
    let mut tx = shop.begin().await;

    let mut kept = set();
    kept[0].spread = Spread::Cv { cv: dec!(0.25) };
    kept[0].revised = Some(Minutes(dec!(12.345)));
    keep(&mut tx, &kept).await;
    let mut back = standards::list(&mut tx).await.unwrap();
    assert!(back.is_sorted_by_key(|e| e.stage), "in the order of work");
    back.sort_by_key(|e| e.id);
    kept.sort_by_key(|e| e.id);
    assert_eq!(back, kept);

    let machine = mill();
    machines::insert(&mut tx, &machine).await.unwrap();
    assert_eq!(
        machines::machine(&mut tx, machine.id).await.unwrap(),
        machine
    );

    cutting::start(&mut tx, &cutting_data::starting_points())
        .await
        .unwrap();
    let sorted = |mut data: CuttingData| {
        data.tools
            .sort_by_key(|t| (t.process.code(), t.tool.clone(), t.smallest));
        data
    };
    let usual = cutting::usual(&mut tx).await.unwrap();
    let first = cutting_data::starting_points().remove(0);
    assert_eq!(sorted(usual), sorted(first));
}

#[tokio::test]
async fn rates_come_in_one_call_and_say_what_is_missing() {
    let db = TestDatabase::new().await;
    let shop = db.shop("first").await;
    let mut tx = shop.begin().await;
    machines::insert(&mut tx, &mill()).await.unwrap();
    let listed = machines::machines(&mut tx).await.unwrap();
    assert!(
        machines::rates(&mut tx, &listed)
            .await
            .unwrap()
            .unwrap_err()
            .to_string()
            .contains("no hourly rate for people")
    );
    let common = LabourRate {
        id: Uuid::now_v7(),
        skill: None,
        hourly: gbp(dec!(26.5)),
        version: 1,
    };
    machines::insert_labour_rate(&mut tx, &common)
        .await
        .unwrap();
    let rates = machines::rates(&mut tx, &listed).await.unwrap().unwrap();
    assert_eq!(rates.person("anything"), gbp(dec!(26.5)));
    assert_eq!(
        rates.machine["mill"],
        mill().worksheet.per_hour().unwrap().amount
    );
    let twice = machines::insert_labour_rate(
        &mut tx,
        &LabourRate {
            id: Uuid::now_v7(),
            ..common
        },
    )
    .await;
    assert!(matches!(
        twice,
        Err(DbError::Duplicate(Unique::LabourRateSkill))
    ));
}

#[tokio::test]
async fn a_stale_edit_is_refused_and_every_change_is_in_the_history() {
    let db = TestDatabase::new().await;
    let shop = db.shop("first").await;
    let element = set().remove(0);
    let mut tx = shop.begin().await;
    standards::insert(&mut tx, &element).await.unwrap();
    let mut changed = element.clone();
    changed.owner_figure = Minutes(dec!(33));
    standards::update(&mut tx, &changed).await.unwrap();
    let stale = standards::update(&mut tx, &changed).await;
    assert!(matches!(stale, Err(DbError::Stale(_))), "{stale:?}");

    let past = history::of_row(&mut tx, "element", element.id)
        .await
        .unwrap();
    assert_eq!(past.len(), 2);
    let field = &past[0].fields[0];
    assert_eq!(
        (field.field.as_str(), field.after.as_deref()),
        ("owner_minutes", Some("33"))
    );

    let mut stored = settings::get(&mut tx).await.unwrap();
    stored.policy.margin_percent = dec!(31);
    settings::update(&mut tx, &stored).await.unwrap();
    assert!(matches!(
        settings::update(&mut tx, &stored).await,
        Err(DbError::Stale(_))
    ));

    let machine = mill();
    machines::insert(&mut tx, &machine).await.unwrap();
    machines::update(&mut tx, &machine).await.unwrap();
    assert!(matches!(
        machines::update(&mut tx, &machine).await,
        Err(DbError::Stale(_))
    ));
}

#[tokio::test]
async fn rules_follow_an_elements_code_and_keep_it_from_being_deleted() {
    let db = TestDatabase::new().await;
    let shop = db.shop("first").await;
    let mut tx = shop.begin().await;
    let elements = set();
    keep(&mut tx, &elements).await;
    let mut ream = standards::list(&mut tx)
        .await
        .unwrap()
        .into_iter()
        .find(|e| e.code == "DOWEL-REAM")
        .unwrap();
    let rule = RemedyRule {
        id: Uuid::now_v7(),
        priority: 10,
        name: "Fitted dowel in sound metal".to_owned(),
        when: When::MissingWithMetal,
        kind: None,
        face: None,
        smallest: None,
        largest: None,
        gearbox_under: None,
        action: Action::Machine,
        elements: vec!["DOWEL-REAM".to_owned(), "HOLE-DRILL".to_owned()],
        say: String::new(),
        version: 1,
    };
    remedy_rules::insert(&mut tx, &rule).await.unwrap();
    let refused = standards::delete(&mut tx, ream.id, ream.version)
        .await
        .unwrap_err();
    let rules = vec!["Fitted dowel in sound metal".to_owned()];
    let code = "DOWEL-REAM".to_owned();
    assert!(
        matches!(&refused, DbError::InUse(needed) if *needed == Needed::ByRules { code, rules }),
        "{refused}"
    );
    "DOWEL-FITTED".clone_into(&mut ream.code);
    standards::update(&mut tx, &ream).await.unwrap();
    let rule = remedy_rules::get(&mut tx, rule.id).await.unwrap();
    assert_eq!(rule.elements, ["DOWEL-FITTED", "HOLE-DRILL"]);
}

#[tokio::test]
async fn one_shop_sees_and_changes_nothing_of_another() {
    let db = TestDatabase::new().await;
    let (first, second) = (db.shop("first").await, db.shop("second").await);
    let element = set().remove(0);
    let machine = mill();
    let mut tx = first.begin().await;
    standards::insert(&mut tx, &element).await.unwrap();
    machines::insert(&mut tx, &machine).await.unwrap();
    cutting::start(&mut tx, &cutting_data::starting_points())
        .await
        .unwrap();
    let material = cutting::materials(&mut tx).await.unwrap().remove(0);
    tx.commit().await.unwrap();

    let mut tx = second.begin().await;
    assert_eq!(standards::list(&mut tx).await.unwrap(), vec![]);
    assert_eq!(machines::machines(&mut tx).await.unwrap(), vec![]);
    assert_eq!(cutting::usual(&mut tx).await.unwrap().tools, vec![]);
    assert!(matches!(
        standards::get(&mut tx, element.id).await,
        Err(DbError::NotFound(_))
    ));
    assert!(matches!(
        standards::update(&mut tx, &element).await,
        Err(DbError::NotFound(_))
    ));
    assert!(matches!(
        machines::update(&mut tx, &machine).await,
        Err(DbError::NotFound(_))
    ));
    assert!(matches!(
        cutting::update_material(&mut tx, &material).await,
        Err(DbError::NotFound(_))
    ));
    assert_eq!(
        history::of_row(&mut tx, "machine", machine.id)
            .await
            .unwrap(),
        vec![]
    );
    // A line cannot be hung under another shop's material.
    let line = CuttingLine {
        id: Uuid::now_v7(),
        work_material_id: material.id,
        data: cutting_data::starting_points().remove(0).tools.remove(0),
        version: 1,
    };
    assert!(matches!(
        cutting::insert_line(&mut tx, &line).await,
        Err(DbError::Database(_))
    ));
}

const MACHINE: [(&str, &str); 14] = [
    ("name", "Big mill"),
    ("kind", "Mill"),
    ("active", "yes"),
    ("capital", "42000"),
    ("residual", "6000"),
    ("life_years", "12"),
    ("interest_percent", "6"),
    ("power_kw", "4.5"),
    ("power_price", "0.284"),
    ("maintenance_a_year", "1850"),
    ("space_m2", "14"),
    ("space_price", "65"),
    ("insurance_a_year", "320"),
    ("hours_a_year", "1100"),
];

fn with<'a>(
    fields: &[(&'a str, &'a str)],
    changes: &[(&'a str, &'a str)],
) -> Vec<(&'a str, &'a str)> {
    let mut all: Vec<_> = fields
        .iter()
        .filter(|(name, _)| !changes.iter().any(|(changed, _)| changed == name))
        .copied()
        .collect();
    all.extend(changes);
    all
}

/// Sends a form that must be refused: 422, the complaint tied to its field, what was typed kept.
async fn refused(visitor: &Visitor, path: &str, fields: &[(&str, &str)], wrong: (&str, &str)) {
    let answer = visitor.post(path, fields).await;
    assert_eq!(answer.status(), 422, "{path}");
    let page = answer.text().await.unwrap();
    let (field, typed) = wrong;
    assert!(
        page.contains(&format!(r#"id="{field}-error""#)),
        "no complaint beside {field}: {page}"
    );
    let control = between(&page, &format!(r#"<input id="{field}""#), ">");
    assert!(control.contains(r#"aria-invalid="true""#), "{control}");
    assert!(
        control.contains(&format!(r#"value="{typed}""#)),
        "{control}"
    );
    for (name, value) in fields.iter().filter(|(name, _)| *name != field) {
        if ["name", "code", "tool"].contains(name) {
            assert!(page.contains(&format!(r#"value="{value}""#)), "{name} lost");
        }
    }
}

#[tokio::test]
async fn a_machine_is_entered_with_its_worksheet_and_complaints_stand_beside_their_fields() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    for wrong in [
        ("hours_a_year", "0"),
        ("hours_a_year", "lots"),
        ("residual", "42000.01"),
        ("capital", "-1"),
        ("capital", "99999999999999999999999999999999999"),
        ("life_years", ""),
        ("power_kw", "4,5"),
    ] {
        refused(&owner, "/shop/machines", &with(&MACHINE, &[wrong]), wrong).await;
    }
    let answer = owner.post("/shop/machines", &MACHINE).await;
    assert_eq!(answer.status(), 303);
    let path = answer.headers()["location"].to_str().unwrap().to_owned();
    let page = owner.get(&path).await.text().await.unwrap();
    let rate = mill().worksheet.per_hour().unwrap();
    for line in rate.lines.iter().chain([&rate]) {
        assert!(page.contains(&line.amount.to_string()), "{}", line.label);
    }
    // The same name again is a complaint beside the name.
    let again = ("name", "big mill");
    refused(&owner, "/shop/machines", &with(&MACHINE, &[again]), again).await;

    // As one types, the worksheet answers and nothing is saved.
    let live = owner
        .request("POST", &path)
        .header("x-live", "1")
        .header("content-type", "application/x-www-form-urlencoded")
        .body(crate::support::site::encoded(&with(
            &MACHINE,
            &[
                ("hours_a_year", "550"),
                ("version", "1"),
                ("csrf", &owner.csrf),
            ],
        )))
        .send()
        .await
        .unwrap();
    assert_eq!(live.status(), 200);
    let mut half = mill().worksheet;
    half.hours_a_year = dec!(550);
    assert!(
        live.text()
            .await
            .unwrap()
            .contains(&half.per_hour().unwrap().amount.to_string())
    );
    let mut tx = site.shop.begin().await;
    let kept = machines::machines(&mut tx).await.unwrap().remove(0);
    assert_eq!((kept.version, kept.worksheet.hours_a_year), (1, dec!(1100)));
}

#[tokio::test]
async fn a_stale_form_shows_both_values_and_saves_on_the_second_press() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let answer = owner.post("/shop/machines", &MACHINE).await;
    let path = answer.headers()["location"].to_str().unwrap().to_owned();
    let theirs = with(&MACHINE, &[("power_kw", "5.5"), ("version", "1")]);
    assert_eq!(owner.post(&path, &theirs).await.status(), 303);
    let mine = with(&MACHINE, &[("power_kw", "7.25"), ("version", "1")]);
    let answer = owner.post(&path, &mine).await;
    assert_eq!(answer.status(), 409);
    let page = answer.text().await.unwrap();
    assert!(page.contains("5.5") && page.contains("7.25"), "{page}");
    let version = between(&page, r#"name="version" value=""#, "\"");
    let again = with(&mine, &[("version", version)]);
    assert_eq!(owner.post(&path, &again).await.status(), 303);
    let page = owner.get(&path).await.text().await.unwrap();
    let past = between(&page, "<details class=\"history\">", "</details>");
    assert!(
        past.contains("Edda Marsh") && past.contains("power kw") && past.contains("7.25"),
        "{past}"
    );
}

const ELEMENT: [(&str, &str); 33] = [
    ("code", "dowel-ream"),
    ("name", "Dial in, drill and ream"),
    ("stage", "dowel"),
    ("machine_kind", "mill"),
    ("skill", "milling"),
    ("basis", "per_feature"),
    ("standing", "asked"),
    ("setup", "45"),
    ("handling", "0:16"),
    ("calculated_percent", "100"),
    ("owner_figure", "20"),
    ("attended_share", "62.5"),
    ("spread", "points"),
    ("low", "0.8"),
    ("likely", "1"),
    ("high", "2"),
    ("cut_process", "drill"),
    ("cut_tool", "HSS drill"),
    ("cut_passes", ""),
    ("cut_diameter", "1/2\""),
    ("cautions", "Guards on.\r\n\r\nBrush, not fingers."),
    ("check_what", "Bore"),
    ("check_kind", "fit"),
    ("check_nominal", ""),
    ("check_lower", ""),
    ("check_upper", ""),
    ("check_unit", ""),
    ("check_gauge", "plug"),
    ("check_instrument", "plug gauge"),
    ("material_name", "Dowel"),
    ("material_quantity", "1"),
    ("material_price", "1.80"),
    ("check_what", ""),
];

#[tokio::test]
async fn an_element_is_entered_read_back_and_complained_about_field_by_field() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    for wrong in [
        ("code", "Ä?"),
        ("setup", "-5"),
        ("handling", "soon"),
        ("attended_share", "101"),
        ("owner_figure", ""),
        ("outside_price", "12"),
        ("outside_days", "400"),
    ] {
        let fields = with(&ELEMENT, &[wrong]);
        refused(&owner, "/shop/standards", &fields, wrong).await;
    }
    // Rows of a list complain each for itself; three points that cross complain as a spread.
    for (change, error) in [
        (("material_price", "cheap"), "material_price-0-error"),
        (("cut_diameter", "-1"), "cut_diameter-0-error"),
        (("low", "1.5"), "spread-error"),
        (("check_lower", "0.1"), "check_lower-0-error"),
        (("check_kind", "range"), "check_upper-0-error"),
    ] {
        let answer = owner
            .post("/shop/standards", &with(&ELEMENT, &[change]))
            .await;
        assert_eq!(answer.status(), 422);
        let page = answer.text().await.unwrap();
        assert!(page.contains(&format!(r#"id="{error}""#)), "{error}");
    }

    assert_eq!(owner.post("/shop/standards", &ELEMENT).await.status(), 303);
    let mut tx = site.shop.begin().await;
    let kept = standards::list(&mut tx).await.unwrap().remove(0);
    assert_eq!(kept.code, "DOWEL-REAM");
    assert_eq!(kept.handling, Minutes(dec!(16)));
    assert_eq!(kept.attended_share, dec!(0.625));
    assert_eq!(kept.cautions, ["Guards on.", "Brush, not fingers."]);
    assert_eq!(kept.checks.len(), 1);
    let cut = &kept.recipe.as_ref().unwrap().cuts[0];
    assert_eq!(
        (cut.passes, cut.diameter),
        (1, Some(Length::from_mm(dec!(12.7))))
    );
    assert_eq!(kept.materials[0].price, gbp(dec!(1.80)));
    drop(tx);

    // What the page shows, sent back unchanged, changes nothing; and the code is taken now.
    let path = format!("/shop/standards/{}", kept.id);
    let copy = owner
        .get(&format!("/shop/standards/new?copy={}", kept.id))
        .await;
    assert!(
        copy.text()
            .await
            .unwrap()
            .contains("Dial in, drill and ream")
    );
    let taken = ("code", "dowel-ream");
    refused(&owner, "/shop/standards", &ELEMENT, taken).await;
    let saved = with(&ELEMENT, &[("version", "1"), ("owner_figure", "22")]);
    assert_eq!(owner.post(&path, &saved).await.status(), 303);
    assert_eq!(owner.post(&path, &saved).await.status(), 409);
    assert_eq!(
        owner.post(&format!("{path}/delete"), &[]).await.status(),
        303
    );
    assert_eq!(owner.get(&path).await.status(), 404);
}

/// The usual order is shown, a rule that makes a circle is refused beside its field, and one that does not moves the work.
#[tokio::test]
async fn a_shop_changes_its_order_of_work() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let add = |first: &'static str, then: &'static str| {
        [
            ("change", "add"),
            ("first", first),
            ("then", then),
            ("why", "so we do it"),
        ]
    };
    let page = owner.get("/shop/order").await.text().await.unwrap();
    assert!(page.contains("dowels are dialled in from the main line"));
    let answer = owner.post("/shop/order", &add("dowel", "line_bore")).await;
    assert_eq!(answer.status(), 422);
    let page = answer.text().await.unwrap();
    assert!(page.contains("these would wait for one another: main line, fitted dowels"));
    let same = owner.post("/shop/order", &add("dowel", "dowel")).await;
    assert_eq!(same.status(), 422);

    let gone = [
        ("change", "remove"),
        ("first", "line_bore"),
        ("then", "dowel"),
    ];
    assert_eq!(owner.post("/shop/order", &gone).await.status(), 303);
    let moved = owner.post("/shop/order", &add("dowel", "line_bore")).await;
    assert_eq!(moved.status(), 303);
    let mut tx = site.shop.begin().await;
    let (rules, order) = order_of_work::get(&mut tx).await.unwrap();
    assert!(order.rank(Stage::Dowel) < order.rank(Stage::LineBore));
    assert_eq!(rules.last().unwrap().why, "so we do it");
    drop(tx);
    let usual = owner.post("/shop/order", &[("change", "usual")]).await;
    assert_eq!(usual.status(), 303);
    let mut tx = site.shop.begin().await;
    let (_, order) = order_of_work::get(&mut tx).await.unwrap();
    assert_eq!(order, OrderOfWork::default());
}

#[tokio::test]
async fn settings_rates_and_cutting_data_are_saved_or_complained_about() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let fields = [
        ("name", "Harrow Quay Engine Works"),
        ("time_zone", "Europe/London"),
        ("length_unit", "mm"),
        ("overhead_percent", "17.5"),
        ("margin_percent", "22.5 %"),
        ("tax_percent", "20"),
        ("tax_name", "VAT"),
        ("confidence_percent", "80"),
        ("quote_valid_days", "30"),
        ("version", "1"),
    ];
    for wrong in [
        ("margin_percent", "100"),
        ("overhead_percent", "-1"),
        ("confidence_percent", "49"),
        ("confidence_percent", "80.5"),
        ("quote_valid_days", "0"),
        ("time_zone", "Mars/Olympus"),
        ("tax_name", ""),
    ] {
        refused(&owner, "/shop/settings", &with(&fields, &[wrong]), wrong).await;
    }
    assert_eq!(owner.post("/shop/settings", &fields).await.status(), 303);
    assert_eq!(owner.post("/shop/settings", &fields).await.status(), 409);
    let page = owner.get("/shop/settings").await.text().await.unwrap();
    // 1000 + 17.5 % is 1175; at 22.5 % margin the price is 1175 / 0.775 = 1516.13.
    assert!(page.contains("1,516.13"), "{page}");

    let rate = [("skill", "Milling"), ("hourly", "31.25")];
    refused(
        &owner,
        "/shop/rates",
        &with(&rate, &[("hourly", "x")]),
        ("hourly", "x"),
    )
    .await;
    assert_eq!(owner.post("/shop/rates", &rate).await.status(), 303);
    refused(&owner, "/shop/rates", &rate, ("skill", "Milling")).await;
    let mut tx = site.shop.begin().await;
    let kept = machines::labour_rates(&mut tx).await.unwrap().remove(0);
    assert_eq!(kept.skill.as_deref(), Some("milling"));
    drop(tx);
    let path = format!("/shop/rates/{}", kept.id);
    let changed = [("skill", "milling"), ("hourly", "32"), ("version", "1")];
    assert_eq!(owner.post(&path, &changed).await.status(), 303);
    let answer = owner
        .post(&path, &with(&changed, &[("hourly", "33")]))
        .await;
    assert_eq!(answer.status(), 409);
    let page = answer.text().await.unwrap();
    assert!(page.contains("32.00") && page.contains("33"));

    let varies = [
        ("level_percent", "110"),
        ("shop_percent", "5"),
        ("person_percent", "8"),
        ("element_percent", "8"),
        ("job_percent", "15.5 %"),
        ("outside_percent", "25"),
        ("absence_percent", "4"),
        ("breakdown_hours", "0"),
        ("repair_hours", "6"),
        ("rework_percent", "3"),
        ("rework_share_percent", "50"),
        ("version", "2"),
    ];
    for wrong in [
        ("level_percent", "20"),
        ("job_percent", "-3"),
        ("breakdown_hours", "5"),
        ("absence_percent", "often"),
    ] {
        refused(&owner, "/shop/variation", &with(&varies, &[wrong]), wrong).await;
    }
    assert_eq!(owner.post("/shop/variation", &varies).await.status(), 303);
    assert_eq!(owner.post("/shop/variation", &varies).await.status(), 409);
    let mut tx = site.shop.begin().await;
    let kept = settings::get(&mut tx).await.unwrap();
    assert_eq!(kept.variation.job_percent, dec!(15.5));
    // The plan is made with what work takes, not with the standards.
    let (floor, _) = floor::read(&mut tx, Utc::now()).await.unwrap();
    assert_eq!(floor.variation, kept.variation);
    drop(tx);

    assert_eq!(owner.post("/shop/cutting/start", &[]).await.status(), 303);
    let mut tx = site.shop.begin().await;
    let materials = cutting::materials(&mut tx).await.unwrap();
    let line = cutting::lines(&mut tx, materials[0].id)
        .await
        .unwrap()
        .remove(0);
    drop(tx);
    let path = format!("/shop/cutting/{}/lines/{}", materials[0].id, line.id);
    let fields = [
        ("process", "bore"),
        ("tool", "boring bar, carbide"),
        ("smallest", "20"),
        ("largest", ""),
        ("speed", "65"),
        ("feed", "0.1"),
        ("teeth", "1"),
        ("approach", "3"),
        ("overrun", "3"),
        ("source", "our own trials"),
        ("version", "1"),
    ];
    for wrong in [
        ("largest", "19"),
        ("speed", "0"),
        ("teeth", "0"),
        ("source", ""),
    ] {
        refused(&owner, &path, &with(&fields, &[wrong]), wrong).await;
    }
    assert_eq!(owner.post(&path, &fields).await.status(), 303);
    assert_eq!(owner.post(&path, &fields).await.status(), 409);
    // Making another material the usual one stands the first down.
    let other = format!("/shop/cutting/{}", materials[1].id);
    let usual = [
        ("name", "aluminium alloy"),
        ("top_speed", "2500"),
        ("usual", "yes"),
        ("version", "1"),
    ];
    assert_eq!(owner.post(&other, &usual).await.status(), 303);
    let mut tx = site.shop.begin().await;
    assert_eq!(
        cutting::usual(&mut tx).await.unwrap().work,
        "aluminium alloy"
    );
}

#[tokio::test]
async fn the_office_reads_the_machinist_sees_no_money_and_only_the_owner_changes() {
    let site = TestSite::new().await;
    site.person("Ines Okell", "ines", Role::Office).await;
    site.person("Col Brannick", "col", Role::Machinist).await;
    let owner = site.owner().await;
    assert_eq!(owner.post("/shop/standards/start", &[]).await.status(), 303);
    assert_eq!(owner.post("/shop/cutting/start", &[]).await.status(), 303);
    let answer = owner.post("/shop/machines", &MACHINE).await;
    let machine = answer.headers()["location"].to_str().unwrap().to_owned();
    let mut tx = site.shop.begin().await;
    let elements = standards::list(&mut tx).await.unwrap();
    let priced = elements.iter().find(|e| !e.materials.is_empty()).unwrap();
    let element = format!("/shop/standards/{}", priced.id);
    drop(tx);

    let office = site.signed_in("ines").await;
    let machinist = site.signed_in("col").await;
    for path in [&machine, "/shop/machines", "/shop/rates", "/shop/settings"] {
        assert_eq!(office.get(path).await.status(), 200, "{path}");
        assert_eq!(machinist.get(path).await.status(), 403, "{path}");
    }
    for path in [&element, "/shop/standards", "/shop/cutting"] {
        assert_eq!(office.get(path).await.status(), 200, "{path}");
        let page = machinist.get(path).await.text().await.unwrap();
        assert!(!page.contains('£') && !page.contains("GBP"), "{path}");
        assert!(!page.contains("Price"), "{path}");
    }
    assert!(
        office
            .get(&element)
            .await
            .text()
            .await
            .unwrap()
            .contains("GBP")
    );
    for visitor in [&office, &machinist] {
        for path in [
            "/shop/machines",
            &machine,
            "/shop/rates",
            "/shop/settings",
            "/shop/standards",
            "/shop/standards/start",
            &element,
            "/shop/cutting",
            "/shop/cutting/start",
        ] {
            assert_eq!(visitor.post(path, &MACHINE).await.status(), 403, "{path}");
        }
        assert_eq!(visitor.get("/shop/machines/new").await.status(), 403);
    }
}

#[tokio::test]
async fn the_shops_screens_at_both_widths() {
    let site = TestSite::new().await;
    for screen in Screen::ALL {
        let browser = Browser::signed_in(&site, screen, "edda").await;
        browser.goto("/shop").await;
        browser.picture("shop-home").await;
        if screen == Screen::Desktop {
            browser.goto("/shop/standards").await;
            browser.picture("standards-none").await;
            browser
                .tab_to("form[action='/shop/standards/start'] button")
                .await;
            browser.press(Key::Enter).await;
            browser.wait_for_text("[role=status]", "starting set").await;
            browser.goto("/shop/cutting").await;
            browser
                .tab_to("form[action='/shop/cutting/start'] button")
                .await;
            browser.press(Key::Enter).await;
            browser
                .wait_for_text("[role=status]", "guide figures")
                .await;
            let owner = site.owner().await;
            owner.post("/shop/machines", &MACHINE).await;
            owner
                .post("/shop/rates", &[("skill", ""), ("hourly", "26.50")])
                .await;
            owner
                .post("/shop/rates", &[("skill", "milling"), ("hourly", "31")])
                .await;
        }
        browser.goto("/shop/standards").await;
        browser.picture("standards").await;
        browser.goto("/shop/cutting").await;
        browser.picture("cutting-data").await;
        browser.goto("/shop/machines").await;
        browser.picture("machines").await;
        browser.tab_to("table a").await;
        browser.press(Key::Enter).await;
        browser.wait_for("#worksheet").await;
        browser.tab_to("#hours_a_year").await;
        browser.type_text("2200").await;
        browser.picture("machine").await;
        browser.goto("/shop/rates").await;
        browser.picture("rates").await;
        browser.goto("/shop/settings").await;
        browser.picture("settings").await;
        let mut tx = site.shop.begin().await;
        let elements = standards::list(&mut tx).await.unwrap();
        let ream = elements.iter().find(|e| e.code == "DOWEL-REAM").unwrap().id;
        drop(tx);
        browser.goto(&format!("/shop/standards/{ream}")).await;
        browser.picture("element").await;
        browser.tab_to("#code").await;
        browser.type_text("no such?").await;
        browser
            .press_with(&[Key::Control], char::from(Key::Enter))
            .await;
        browser.wait_for(".notice.bad").await;
        browser.picture("element-wrong").await;
        browser.close().await;
    }
}
