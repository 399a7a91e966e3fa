//! Customers: names that become records, records found while a call is typed, merged and parted; the list and its file.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between, header};
use crate::support::{TestDatabase, TestShop};
use borewright::app::enter_job::{HandJob, HandWork, enter_job};
use borewright::app::merge_customers::{merge_customers, part_customers};
use borewright::app::name_customers::name_customers;
use borewright::app::{Actor, AppError};
use borewright::db::casting_records::{self, Origin, Source};
use borewright::db::castings_on_shelf::{self as shelf, CastingDetails, Ownership};
use borewright::db::customers::{self, Asked, Contact, Customer, Order};
use borewright::db::enquiries::{self, EnquiryDetails};
use borewright::db::lists::Part;
use borewright::db::{DbError, Unique, customer_links};
use borewright::db::{jobs, people::Role};
use borewright::enquiry::EnquiryState;
use borewright::estimating::Route;
use borewright::units::{Currency, Money};
use chrono::{Days, Utc};
use fantoccini::key::Key;
use rust_decimal::Decimal;
use serde_json::Value;
use sqlx::{AssertSqlSafe, PgConnection, Row, query, query_scalar, raw_sql};
use uuid::Uuid;

async fn text(response: reqwest::Response) -> (u16, String) {
    (response.status().as_u16(), response.text().await.unwrap())
}

async fn call_from(shop: &TestShop, caller: &str, contact: &str) -> Uuid {
    let mut tx = shop.begin().await;
    let details = EnquiryDetails {
        caller: caller.to_owned(),
        contact: contact.to_owned(),
        ..EnquiryDetails::default()
    };
    let (id, _) = enquiries::create(&mut tx, &details).await.unwrap();
    tx.commit().await.unwrap();
    id
}

async fn job_for(shop: &TestShop, customer: &str) -> Uuid {
    let mut tx = shop.begin().await;
    let new = jobs::NewJob {
        quote_id: None,
        title: "Deck".to_owned(),
        due_on: Utc::now().date_naive() + Days::new(20),
        promised_on: None,
    };
    let route = Route {
        operations: vec![crate::support::operation(10, "mill", 20, 60)],
    };
    let (id, _) = jobs::create(&mut tx, &new, &route).await.unwrap();
    casting_records::set_customer_of_job(&mut tx, id, customer)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    id
}

async fn casting_of(shop: &TestShop, variant_id: Uuid, owner: &str) -> Uuid {
    let mut tx = shop.begin().await;
    let details = CastingDetails {
        variant_id,
        ownership: Ownership::Customer,
        cost: Money::zero(Currency::from_code("GBP").unwrap()),
        condition: String::new(),
    };
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

async fn insert(shop: &TestShop, customer: Customer) -> Result<Uuid, DbError> {
    let mut tx = shop.begin().await;
    let customer = Customer {
        id: Uuid::now_v7(),
        ..customer
    };
    customers::insert(&mut tx, &customer).await?;
    tx.commit().await?;
    Ok(customer.id)
}

fn named(name: &str) -> Customer {
    Customer {
        name: name.to_owned(),
        ..Customer::default()
    }
}

async fn caller_is(shop: &TestShop, enquiry: Uuid) -> Option<String> {
    let mut tx = shop.begin().await;
    let found = customer_links::of_enquiry(&mut tx, enquiry).await.unwrap();
    found.map(|(_, name)| name)
}

fn first(rows: i64) -> Part {
    Part {
        descending: false,
        skip: 0,
        rows,
    }
}

async fn listed(shop: &TestShop, words: &str) -> Vec<String> {
    let mut tx = shop.begin().await;
    let asked = Asked {
        words: words.to_owned(),
        ..Asked::default()
    };
    let (rows, in_all) = customers::list(&mut tx, &asked, first(50)).await.unwrap();
    assert_eq!(usize::try_from(in_all).unwrap(), rows.len());
    rows.into_iter().map(|row| row.name).collect()
}

/// A shop of the owner's own hand in a database of before there were customers.
async fn old_shop(owner: &mut PgConnection, short: &str) -> Uuid {
    let shop = Uuid::now_v7();
    let made = format!(
        "insert into shop_directory values ('{short}', '{shop}');
         insert into shop (shop_id, name, currency, time_zone, length_unit, overhead_percent, margin_percent, tax_percent,
                           tax_name, confidence_percent, quote_valid_days)
         values ('{shop}', '{short}', 'GBP', 'Europe/London', 'mm', 0, 0, 0, 'VAT', 80, 30);"
    );
    raw_sql(AssertSqlSafe(made)).execute(owner).await.unwrap();
    shop
}

#[tokio::test]
async fn names_that_are_there_already_become_one_customer_each_within_their_shop() {
    let mut owner = TestDatabase::without_schema().await;
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|f| f.unwrap().path())
        .collect();
    files.retain(|path| path.extension().is_some_and(|e| e == "sql"));
    files.sort();
    let at = |path: &std::path::PathBuf| path.to_string_lossy().contains("0034_customers");
    let split = files.iter().position(at).unwrap();
    for file in &files[..split] {
        let sql = std::fs::read_to_string(file).unwrap();
        raw_sql(AssertSqlSafe(sql))
            .execute(&mut owner)
            .await
            .unwrap();
    }
    // The plan's queue is not part of our migrations.
    raw_sql("create or replace function ask_for_a_plan(shop uuid, after interval default '0') returns void language sql as ''")
        .execute(&mut owner).await.unwrap();
    let (one, two) = (
        old_shop(&mut owner, "one").await,
        old_shop(&mut owner, "two").await,
    );
    let rows = format!(
        "insert into enquiry (shop_id, id, number, caller, contact, brings_note, note, created_at) values
            ('{one}', gen_random_uuid(), 1, 'HALE  Boats', '01304 1', '', '', '2026-01-01'),
            ('{one}', gen_random_uuid(), 2, 'Hale Boats.', 'office@hale.example', '', '', '2026-02-01'),
            ('{one}', gen_random_uuid(), 3, ' ', '', '', '', '2026-02-01'),
            ('{two}', gen_random_uuid(), 1, 'Hale Boats', '', '', '', '2026-01-01');
         insert into job (shop_id, id, number, title, customer, due_on, created_at) values
            ('{one}', gen_random_uuid(), 1, 'Deck', 'hale boats', '2026-03-01', '2026-01-15'),
            ('{one}', gen_random_uuid(), 2, 'Deck', '', '2026-03-01', '2026-01-15');
         insert into pattern (shop_id, id, name, cylinders, mains, marks) values ('{one}', '{one}', 'P', 4, 5, '');
         insert into variant (shop_id, id, pattern_id, name, gearbox_under, note) values ('{one}', '{one}', '{one}', 'V', false, '');
         insert into casting (shop_id, id, number, variant_id, ownership, cost, currency, condition, owner, job_id, state)
            select '{one}', gen_random_uuid(), 1, '{one}', 'customer', 0, 'GBP', '', 'Hale boats', id, 'reserved' from job where number = 1;"
    );
    raw_sql(AssertSqlSafe(rows))
        .execute(&mut owner)
        .await
        .unwrap();
    for file in &files[split..] {
        let sql = std::fs::read_to_string(file).unwrap();
        raw_sql(AssertSqlSafe(sql))
            .execute(&mut owner)
            .await
            .unwrap_or_else(|e| panic!("{e:?}"));
    }
    let found = query("select c.shop_id, c.name, c.phone, c.email,
                              (select count(*) from enquiry e where e.customer_id = c.id and e.shop_id = c.shop_id) as calls,
                              (select count(*) from job j where j.customer_id = c.id and j.shop_id = c.shop_id) as jobs,
                              (select count(*) from casting k where k.customer_id = c.id and k.shop_id = c.shop_id) as castings
                       from customer c order by calls desc")
        .fetch_all(&mut owner).await.unwrap();
    assert_eq!(found.len(), 2);
    let of = |row: &sqlx::postgres::PgRow| {
        (
            row.get::<Uuid, _>("shop_id"),
            row.get::<i64, _>("calls"),
            row.get::<i64, _>("jobs"),
            row.get::<i64, _>("castings"),
        )
    };
    assert_eq!(of(&found[0]), (one, 2, 1, 1));
    assert_eq!(found[0].get::<String, _>("name"), "Hale Boats.");
    assert_eq!(found[0].get::<String, _>("email"), "office@hale.example");
    assert_eq!(of(&found[1]), (two, 1, 0, 0));
    let changes: i64 = query_scalar("select count(*) from history where action = 'update'")
        .fetch_one(&mut owner)
        .await
        .unwrap();
    assert_eq!(changes, 0, "carrying names over is no edit of anyone's");
}

#[tokio::test]
async fn whoever_writes_a_name_it_points_to_the_customer_who_goes_by_it() {
    let database = TestDatabase::new().await;
    let shop = database.shop("harrow-quay").await;
    let before = call_from(&shop, "dunmore  engines", "").await;
    let other = database.shop("other").await;
    let elsewhere = call_from(&other, "Dunmore Engines", "").await;
    let id = insert(&shop, named("Dunmore Engines")).await.unwrap();
    assert_eq!(
        caller_is(&shop, before).await.as_deref(),
        Some("Dunmore Engines")
    );
    let after = call_from(&shop, "DUNMORE Engines.", "").await;
    assert_eq!(
        caller_is(&shop, after).await.as_deref(),
        Some("Dunmore Engines")
    );
    assert_eq!(caller_is(&other, elsewhere).await, None);
    assert_eq!(
        caller_is(&shop, call_from(&shop, "Dunmore", "").await).await,
        None
    );

    // Another name is another customer; the earlier name of one stays its own.
    let taken = insert(&shop, named("dunmore engines")).await;
    assert!(
        matches!(taken, Err(DbError::Duplicate(Unique::CustomerName))),
        "{taken:?}"
    );
    let mut tx = shop.begin().await;
    let mut customer = customers::get(&mut tx, id).await.unwrap();
    customer.name = "Dunmore Marine".to_owned();
    customers::update(&mut tx, &customer).await.unwrap();
    let stale = customers::update(&mut tx, &customer).await;
    assert!(matches!(stale, Err(DbError::Stale(_))), "{stale:?}");
    tx.commit().await.unwrap();
    let old_name = call_from(&shop, "Dunmore Engines", "").await;
    assert_eq!(
        caller_is(&shop, old_name).await.as_deref(),
        Some("Dunmore Marine")
    );

    // A call whose caller is corrected goes with the name.
    let mut tx = shop.begin().await;
    let said = EnquiryDetails {
        caller: "Somebody else".to_owned(),
        ..EnquiryDetails::default()
    };
    enquiries::update(&mut tx, after, 1, &said).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(caller_is(&shop, after).await, None);
}

#[tokio::test]
async fn two_customers_that_are_one_are_merged_with_their_castings_and_parted_again() {
    let database = TestDatabase::new().await;
    let shop = database.shop("harrow-quay").await;
    let actor = Actor::program(database.pool.clone(), shop.id);
    let variant = shop.variant("Tarn").await;
    let kept = insert(&shop, named("Hale Boats")).await.unwrap();
    let gone = insert(
        &shop,
        Customer {
            contacts: vec![Contact {
                name: "Moss".to_owned(),
                ..Contact::default()
            }],
            ..named("Hale & Son")
        },
    )
    .await
    .unwrap();
    let call = call_from(&shop, "Hale & Son", "").await;
    let job = job_for(&shop, "Hale & Son").await;
    let casting = casting_of(&shop, variant, "Hale & Son").await;
    let mut tx = shop.begin().await;
    shelf::reserve(&mut tx, casting, job).await.unwrap();
    tx.commit().await.unwrap();
    // Somebody else's casting does not go into this job, before and after.
    let foreign = casting_of(&shop, variant, "Somebody else").await;
    // One of the customer who stays does, once they are one.
    let theirs = casting_of(&shop, variant, "Hale Boats").await;
    for id in [foreign, theirs] {
        let mut tx = shop.begin().await;
        assert!(shelf::reserve(&mut tx, id, job).await.is_err());
    }

    let stale = merge_customers(&actor, gone, 7, kept).await;
    assert!(matches!(stale, Err(AppError::Db(DbError::Stale(_)))));
    merge_customers(&actor, gone, 1, kept).await.unwrap();
    assert_eq!(caller_is(&shop, call).await.as_deref(), Some("Hale Boats"));
    assert_eq!(listed(&shop, "").await, ["Hale Boats"]);
    assert_eq!(
        listed(&shop, "son").await,
        ["Hale Boats"],
        "found by the name it went by"
    );
    let mut tx = shop.begin().await;
    let links = customer_links::links(&mut tx, kept).await.unwrap();
    assert_eq!(
        (links.calls.len(), links.jobs.len(), links.castings.len()),
        (1, 1, 2)
    );
    assert_eq!(
        customers::get(&mut tx, kept).await.unwrap().contacts.len(),
        1
    );
    assert!(shelf::reserve(&mut tx, theirs, job).await.is_ok());
    drop(tx);
    let mut tx = shop.begin().await;
    assert!(shelf::reserve(&mut tx, foreign, job).await.is_err());
    drop(tx);
    let late = call_from(&shop, "Hale Boats", "").await;

    let mut tx = shop.begin().await;
    let merges = customer_links::merges(&mut tx, kept).await.unwrap();
    drop(tx);
    assert_eq!(
        part_customers(&actor, kept, merges[0].id).await.unwrap(),
        gone
    );
    assert!(
        part_customers(&actor, kept, merges[0].id).await.is_err(),
        "once"
    );
    assert_eq!(caller_is(&shop, call).await.as_deref(), Some("Hale & Son"));
    assert_eq!(caller_is(&shop, late).await.as_deref(), Some("Hale Boats"));
    assert_eq!(listed(&shop, "").await, ["Hale & Son", "Hale Boats"]);
    let mut tx = shop.begin().await;
    assert_eq!(
        customers::get(&mut tx, gone).await.unwrap().contacts.len(),
        1
    );
    let links = customer_links::links(&mut tx, gone).await.unwrap();
    assert_eq!(
        (links.calls.len(), links.jobs.len(), links.castings.len()),
        (1, 1, 1)
    );
}

#[tokio::test]
async fn names_that_belong_to_nobody_are_added_at_once_and_a_job_by_hand_adds_its_own() {
    let site = TestSite::demo().await;
    let actor = Actor::program(site.database.pool.clone(), site.shop.id);
    assert_eq!(
        name_customers(&actor).await.unwrap(),
        0,
        "the demo has its customers on record"
    );
    let before = listed_all(&site.shop).await;
    assert!(before > 10, "only {before}");
    call_from(&site.shop, "Asa Pemberly", "asa@pemberly.example").await;
    assert_eq!(name_customers(&actor).await.unwrap(), 1);
    let mut tx = site.shop.begin().await;
    let found = customers::find(&mut tx, "asa pem", 8).await.unwrap();
    assert_eq!(
        (found[0].name.as_str(), found[0].email.as_str()),
        ("Asa Pemberly", "asa@pemberly.example")
    );
    drop(tx);
    let elements = {
        let mut tx = site.shop.begin().await;
        borewright::db::standards::list(&mut tx).await.unwrap()
    };
    assert!(elements.iter().any(|e| e.code == "DECK-FACE"));
    let today = Utc::now().date_naive();
    let job = HandJob {
        title: String::new(),
        customer: "Lorn Ferries".to_owned(),
        work: HandWork::SameAs(1),
        due_on: today + Days::new(40),
        value: None,
        due_confirmed: true,
    };
    let (id, _) = enter_job(&actor, &job, today, None).await.unwrap();
    let mut tx = site.shop.begin().await;
    let customer = customer_links::of_job(&mut tx, id).await.unwrap().unwrap();
    assert_eq!(
        customers::get(&mut tx, customer).await.unwrap().name,
        "Lorn Ferries"
    );
}

async fn listed_all(shop: &TestShop) -> i64 {
    let mut tx = shop.begin().await;
    customers::list(&mut tx, &Asked::default(), first(1))
        .await
        .unwrap()
        .1
}

#[tokio::test]
async fn a_customer_is_found_by_name_by_number_and_by_the_people_there() {
    let site = TestSite::demo().await;
    site.person("Bran Roe", "roe", Role::Machinist).await;
    let office = site.signed_in("office").await;
    insert(
        &site.shop,
        Customer {
            phone: "+44 1304 555 010".to_owned(),
            contacts: vec![Contact {
                name: "Moss Quill".to_owned(),
                phone: "07700 900123".to_owned(),
                ..Contact::default()
            }],
            ..named("Xanthe 100% Boats")
        },
    )
    .await
    .unwrap();
    let found = async |visitor: &Visitor, words: &str| {
        let query = form_urlencoded::Serializer::new(String::new())
            .append_pair("q", words)
            .finish();
        let answer = visitor.get(&format!("/api/v1/customers?{query}")).await;
        let json: Value = answer.json().await.unwrap();
        json["customers"].as_array().cloned().unwrap_or_default()
    };
    for words in [
        "xanthe",
        "boats xan",
        "100%",
        "01304 555010",
        "(01304) 555-010",
        "moss",
        "7700 900 123",
    ] {
        let found = found(&office, words).await;
        let expected = words != "boats xan";
        assert_eq!(
            found.iter().any(|c| c["name"] == "Xanthe 100% Boats"),
            expected,
            "{words}: {found:?}"
        );
    }
    assert_eq!(found(&office, "moss").await[0]["contact"], "Moss Quill");
    assert_eq!(found(&office, "moss").await[0]["phone"], "07700 900123");
    assert!(found(&office, "  ").await.is_empty());
    let machinist = site.signed_in("roe").await;
    for path in [
        "/api/v1/customers?q=x",
        "/customers",
        "/customers/list.csv",
        "/customers/new",
    ] {
        assert_eq!(machinist.get(path).await.status(), 403, "{path}");
    }
}

#[tokio::test]
async fn the_list_is_sorted_filtered_paged_and_downloaded_as_its_address_says() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    insert(&site.shop, named("=SUM(A1)")).await.unwrap();
    let (status, page) = text(
        office
            .get("/customers?view=open_jobs&sort=won&desc=1")
            .await,
    )
    .await;
    assert_eq!(status, 200);
    assert!(page.contains(r#"aria-sort="descending""#), "{page}");
    assert!(
        page.contains("/customers?view=open_jobs&amp;sort=won\""),
        "{page}"
    );
    let (_, file) = text(office.get("/customers/list.csv?sort=name&desc=1").await).await;
    let lines: Vec<&str> = file.split("\r\n").collect();
    assert!(lines[0].starts_with("Customer,Phone,Email,Calls,"));
    assert!(file.contains("\r\n'=SUM(A1),"), "no formula gets out");
    let names: Vec<&str> = lines[1..]
        .iter()
        .filter_map(|line| line.split(',').next())
        .collect();
    let names: Vec<&str> = names.into_iter().filter(|name| !name.is_empty()).collect();
    assert!(names.len() > 10, "{names:?}");
    assert_eq!(*names.last().unwrap(), "'=SUM(A1)", "by name, backwards");
    let mut tx = site.shop.begin().await;
    let by_won = Asked {
        order: Order::Won,
        descending: true,
        ..Asked::default()
    };
    let (rows, _) = customers::list(&mut tx, &by_won, first(50)).await.unwrap();
    assert!(
        rows.windows(2)
            .all(|w| w[0].won.amount() >= w[1].won.amount())
    );
    assert!(rows[0].won.amount() > Decimal::ZERO);
    let (none, _) = text(office.get("/customers?q=nobody+of+that+name").await).await;
    assert_eq!(none, 200);
}

#[tokio::test]
async fn details_are_kept_complaints_stand_beside_their_fields_and_a_stale_edit_shows_both() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let typed = [
        ("name", "Lorn Ferries"),
        ("phone", "01631 555 020"),
        ("note", "Credit stop since March"),
        ("contact_name", ""),
        ("contact_role", "Engineer"),
        ("machine_what", "Ferry Ardal"),
        ("machine_serial", "T490-1187"),
        ("version", "1"),
    ];
    let (status, page) = text(office.post("/customers", &typed).await).await;
    assert_eq!(status, 422);
    assert!(
        page.contains("Enter the name of the person") && page.contains("Ferry Ardal"),
        "{page}"
    );
    let mut good = typed.to_vec();
    good[3] = ("contact_name", "Ada Roe");
    let added = office.post("/customers", &good).await;
    assert_eq!(added.status(), 303, "{}", added.text().await.unwrap());
    let path = header(added.headers(), "location").to_owned();
    let (_, page) = text(office.get(&path).await).await;
    for words in [
        "Credit stop since March",
        "Ada Roe",
        "Ferry Ardal",
        "T490-1187",
        "tel:01631555020",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    good.retain(|pair| pair.0 != "phone");
    good.push(("phone", "01631 555 021"));
    let edit = format!("{path}/edit");
    assert_eq!(office.post(&edit, &good).await.status(), 303);
    let (status, page) = text(office.post(&edit, &good).await).await;
    assert_eq!(status, 409, "{page}");
    // While a call is taken the note is in sight, and a name that is not on record is put there with one click.
    let call = call_from(&site.shop, "Lorn Ferries", "").await;
    let (_, page) = text(office.get(&format!("/enquiries/{call}")).await).await;
    assert!(page.contains("Credit stop since March"), "{page}");
    let call = call_from(&site.shop, "Nobody Yet", "0700").await;
    let (_, page) = text(office.get(&format!("/enquiries/{call}")).await).await;
    assert!(page.contains("Add Nobody Yet as a customer"), "{page}");
    assert_eq!(
        office
            .post(&format!("/enquiries/{call}/customer"), &[])
            .await
            .status(),
        303
    );
    assert_eq!(
        caller_is(&site.shop, call).await.as_deref(),
        Some("Nobody Yet")
    );
}

#[tokio::test]
async fn a_pasted_table_is_looked_at_taken_in_whole_or_not_at_all_and_taken_out_again() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let before = listed_all(&site.shop).await;
    let known = listed(&site.shop, "").await[0].clone();
    let table =
        format!("Company\tTel\tRef\nLorn Ferries\t01631 555\tA-1\n{known}\t\t\nLorn  ferries\t\t");
    let (status, page) = text(office.post("/import/customers", &[("table", &table)]).await).await;
    assert_eq!(status, 200);
    for words in ["Row 3: on record already", "Row 4: the same as row 2"] {
        assert!(page.contains(words), "{words}: {page}");
    }
    assert!(
        page.contains("“Ref”") && !page.contains("name=\"take\""),
        "{page}"
    );
    let all = [("table", table.as_str()), ("take", "yes")];
    assert_eq!(office.post("/import/customers", &all).await.status(), 422);
    assert_eq!(listed_all(&site.shop).await, before, "none of it");

    let table = "Company\tTel\tRef\nLorn Ferries\t01631 555\tA-1\nGrange Mill\t01631 556\tA-2\nUsed Ltd\t\t";
    let all = [
        ("table", table),
        ("column", "name"),
        ("column", "phone"),
        ("column", "note"),
        ("take", "yes"),
    ];
    let taken = office.post("/import/customers", &all).await;
    assert_eq!(taken.status(), 303, "{}", taken.text().await.unwrap());
    assert_eq!(listed_all(&site.shop).await, before + 3);
    let mut tx = site.shop.begin().await;
    let found = customers::find(&mut tx, "grange", 8).await.unwrap();
    assert_eq!(
        customers::get(&mut tx, found[0].id).await.unwrap().note,
        "A-2"
    );
    drop(tx);
    call_from(&site.shop, "Used Ltd", "").await;
    let (_, page) = text(office.get("/import/customers").await).await;
    let undo = between(&page, "action=\"/import/customers/", "\"").to_owned();
    assert!(undo.ends_with("/undo"), "{page}");
    let path = format!("/import/customers/{undo}");
    assert_eq!(office.post(&path, &[]).await.status(), 303);
    assert_eq!(office.post(&path, &[]).await.status(), 404, "once");
    assert_eq!(
        listed_all(&site.shop).await,
        before + 1,
        "what was used stays"
    );
    assert_eq!(listed(&site.shop, "Used").await, ["Used Ltd"]);
    let (_, page) = text(office.get("/search?q=grange").await).await;
    assert!(page.contains("Nothing found"), "{page}");
}

#[tokio::test]
async fn a_call_finds_its_customer_by_keyboard() {
    let site = TestSite::demo().await;
    insert(
        &site.shop,
        Customer {
            phone: "01304 555 010".to_owned(),
            ..named("Xanthe Boats")
        },
    )
    .await
    .unwrap();
    let browser = Browser::signed_in(&site, Screen::Desktop, "office").await;
    browser.goto("/enquiries").await;
    browser.type_text("n").await;
    browser.wait_for("#caller").await;
    browser.type_text("xan").await;
    browser.wait_for(".offers li").await;
    browser.check().await;
    browser.press(Key::Down).await;
    browser.press(Key::Enter).await;
    browser
        .wait_for_text("#known-customer", "Customer on record: Xanthe Boats")
        .await;
    let value = |id: &str| format!("return document.getElementById('{id}').value");
    assert_eq!(
        browser.script(&value("caller"), vec![]).await,
        "Xanthe Boats"
    );
    assert_eq!(
        browser.script(&value("contact"), vec![]).await,
        "01304 555 010"
    );
    browser.close().await;
    let mut tx = site.shop.begin().await;
    let calls = enquiries::list(&mut tx, &[EnquiryState::Open], None, 1)
        .await
        .unwrap();
    assert_eq!(calls[0].details.caller, "Xanthe Boats");
}

#[tokio::test]
async fn the_pages_of_customers_at_every_width() {
    let site = TestSite::demo().await;
    let mut tx = site.shop.begin().await;
    let by_won = Asked {
        order: Order::Won,
        descending: true,
        ..Asked::default()
    };
    let most = customers::list(&mut tx, &by_won, first(2)).await.unwrap().0;
    drop(tx);
    let path = format!("/customers/{}", most[0].id);
    let into: String = form_urlencoded::Serializer::new(String::new())
        .append_pair("into", &most[1].name)
        .finish();
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "office").await;
        for (name, path) in [
            ("customers", "/customers".to_owned()),
            ("customer", path.clone()),
            ("customer-edit", format!("{path}/edit")),
            ("customer-merge", format!("{path}/merge?{into}")),
            ("customer-import", "/import/customers".to_owned()),
        ] {
            browser.goto(&path).await;
            browser.picture(name).await;
        }
        browser.close().await;
    }
}
