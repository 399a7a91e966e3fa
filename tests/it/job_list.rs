//! The list of jobs: views, filter, order and pages in the address; and what becomes of a job after it is done.

use crate::support::browser::{Browser, Screen};
use crate::support::site::{TestSite, Visitor, between};
use rust_decimal::Decimal;

async fn text(visitor: &Visitor, path: &str) -> String {
    let answer = visitor.get(path).await;
    assert_eq!(answer.status(), 200, "{path}");
    answer.text().await.unwrap()
}

/// The rows of the file, each field by its head. No field of the demo's jobs has a comma in it that would be in quotes.
async fn rows(visitor: &Visitor, query: &str) -> Vec<Vec<String>> {
    let file = text(visitor, &format!("/jobs.csv{query}")).await;
    let mut reader = csv_fields(&file);
    reader.remove(0);
    reader
}

fn csv_fields(file: &str) -> Vec<Vec<String>> {
    file.lines()
        .map(|line| {
            let (mut fields, mut field, mut quoted) = (Vec::new(), String::new(), false);
            for c in line.chars() {
                match c {
                    '"' => quoted = !quoted,
                    ',' if !quoted => fields.push(std::mem::take(&mut field)),
                    c => field.push(c),
                }
            }
            fields.push(field);
            fields
        })
        .collect()
}

const CUSTOMER: usize = 2;
const DUE: usize = 6;
const PROMISED: usize = 7;
const READY: usize = 8;
const STATUS: usize = 9;
const VALUE: usize = 12;

#[tokio::test]
async fn jobs_are_found_sorted_and_paged_by_their_address() {
    let site = TestSite::demo().await;
    let owner = site.signed_in("owner").await;
    let open = rows(&owner, "").await;
    let number = |row: &Vec<String>| row[0].parse::<i64>().unwrap();
    assert!(open.len() > 20);
    assert!(
        open.windows(2)
            .all(|pair| number(&pair[0]) > number(&pair[1]))
    );
    let due = |row: &Vec<String>| {
        let day = if row[PROMISED].is_empty() {
            DUE
        } else {
            PROMISED
        };
        row[day].clone()
    };
    let by_due = rows(&owner, "?sort=due").await;
    assert_eq!(by_due.len(), open.len());
    assert!(by_due.windows(2).all(|pair| due(&pair[0]) <= due(&pair[1])));
    let by_value = rows(&owner, "?sort=value&desc=1&view=all").await;
    let value = |row: &Vec<String>| row[VALUE].parse::<Decimal>().ok();
    let values: Vec<_> = by_value.iter().map(value).collect();
    let known = values.iter().take_while(|v| v.is_some()).count();
    assert!(known > 50 && values[known..].iter().all(Option::is_none));
    assert!(values[..known].windows(2).all(|pair| pair[0] >= pair[1]));

    // Late is what the plan has ready after its day, or what is past it; the others are not.
    let today = chrono::Utc::now().date_naive().to_string();
    let is_late = |row: &Vec<String>| {
        let ready = row[READY].clone().max(today.clone());
        ready > due(row)
    };
    let late = rows(&owner, "?view=late").await;
    assert_eq!(late.len(), open.iter().filter(|row| is_late(row)).count());
    assert!(late.iter().all(is_late));
    let waiting = rows(&owner, "?view=waiting").await;
    assert!(!waiting.is_empty() && waiting.len() < open.len());

    // Found by number, by title and by customer; what a pattern would take for itself is a letter here.
    let named = open.iter().find(|row| !row[CUSTOMER].is_empty()).unwrap();
    let customer = named[CUSTOMER].to_uppercase().replace(' ', "+");
    let theirs = rows(&owner, &format!("?q={customer}")).await;
    assert!(theirs.iter().any(|row| row[0] == named[0]));
    assert!(theirs.len() < open.len());
    let one = rows(&owner, &format!("?q={}", named[0])).await;
    assert!(one.iter().any(|row| row[0] == named[0]));
    assert_eq!(rows(&owner, "?q=%25").await.len(), 0);

    // Pages keep what was asked for; the last one has no next.
    let first = text(&owner, "/jobs?view=all&sort=due").await;
    let next = between(&first, "href=\"", "\" rel=\"next\"");
    let next = next.rsplit("href=\"").next().unwrap().replace("&amp;", "&");
    assert_eq!(next, "/jobs?view=all&sort=due&page=2");
    assert!(text(&owner, &next).await.contains("rel=\"prev\""));
    for nonsense in ["?page=99999", "?sort=x&view=y&page=-1&desc=z", "?q=%00"] {
        let answer = owner.get(&format!("/jobs{nonsense}")).await;
        assert!(answer.status().as_u16() < 500, "{nonsense}");
    }

    // The bench sees no money.
    let bench = site.signed_in("machinist").await;
    assert_eq!(rows(&bench, "").await[0].len(), VALUE);
    let page = text(&bench, "/jobs").await;
    assert!(!page.contains("Value") && !page.contains("To invoice"));
}

#[tokio::test]
async fn a_done_job_is_collected_and_invoiced_once_and_opened_again_it_is_neither() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let before = rows(&office, "?view=to_invoice").await;
    let waiting = before.iter().find(|row| row[STATUS] == "done").unwrap();
    let number = waiting[0].clone();
    let list = text(&office, &format!("/jobs?view=to_invoice&q={number}")).await;
    let named = format!(">{number}</a>");
    let mut rows_of_list = list.split("<tr").skip(2);
    let row = rows_of_list.find(|row| row.contains(&named)).unwrap();
    let path = format!("/jobs/{}", between(row, "href=\"/jobs/", "\""));
    let version = async || {
        let page = text(&office, &path).await;
        between(&page, "name=\"version\" value=\"", "\"").to_owned()
    };
    let seen = version().await;
    let collected = format!("{path}/collected");
    let bench = site.signed_in("machinist").await;
    let fields = [("version", seen.as_str())];
    assert_eq!(bench.post(&collected, &fields).await.status(), 403);
    assert_eq!(office.post(&collected, &fields).await.status(), 303);
    assert_eq!(office.post(&collected, &fields).await.status(), 409);
    let found = async |view: &str| {
        let rows = rows(&office, &format!("?view={view}&q={number}")).await;
        rows.into_iter().find(|row| row[0] == number)
    };
    assert_eq!(found("to_invoice").await.unwrap()[STATUS], "collected");
    let seen = version().await;
    let fields = [("version", seen.as_str())];
    let invoiced = format!("{path}/invoiced");
    assert_eq!(office.post(&invoiced, &fields).await.status(), 303);
    assert!(found("to_invoice").await.is_none());
    assert_eq!(found("done").await.unwrap()[STATUS], "closed");
    let page = text(&office, &path).await;
    assert!(page.contains("closed") && page.contains("Invoiced"));

    let form = text(&office, &format!("{path}/reopen")).await;
    let seen = between(&form, "name=\"version\" value=\"", "\"").to_owned();
    let fields = [("version", seen.as_str()), ("reason", "The seal weeps")];
    let reopened = office.post(&format!("{path}/reopen"), &fields).await;
    assert_eq!(reopened.status(), 303);
    let row = found("open").await.unwrap();
    assert_eq!((row[10].as_str(), row[11].as_str()), ("", ""));
    assert_eq!(row[STATUS], "running");
}

#[tokio::test]
async fn the_list_fits_three_screens() {
    let site = TestSite::demo().await;
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        let browser = Browser::signed_in(&site, screen, "owner").await;
        for (name, path) in [("jobs-list", "/jobs"), ("jobs-late", "/jobs?view=late")] {
            browser.goto(path).await;
            browser.wait_for("h1").await;
            browser.picture(name).await;
        }
        browser.close().await;
    }
}
