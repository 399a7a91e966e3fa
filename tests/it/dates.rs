//! Dates and times no shop ever types, at every form that takes one: whatever they are, they are answered in words.

use crate::support::crawl::{Form, Reached, every_page, first_job, forms, kind_of};
use crate::support::site::{TestSite, Visitor, encoded};
use borewright::db::castings;
use borewright::db::enquiries::{self, EnquiryDetails};
use borewright::db::people::Role;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use uuid::Uuid;

/// The ends of the program's calendar and of the database's, of what is taken, and what is no date.
const DAYS: [&str; 12] = [
    "-262143-01-01",
    "+262142-12-31",
    "262142-12-31",
    "-4713-01-01",
    "0000-00-00",
    "9999-12-31",
    "1899-12-31",
    "1900-01-01",
    "2199-12-31",
    "2026-02-30",
    "2026-11-29T08:00",
    "soon",
];
const TIMES: [&str; 5] = ["24:00", "-1:00", "00:00", "23:59", "99999:99"];

/// What it says of a form that is answered at all.
async fn sent(visitor: &Visitor, form: &Form, field: usize, value: &str) -> Result<u16, String> {
    let pairs: Vec<(&str, &str)> = form
        .fields
        .iter()
        .enumerate()
        .map(|(i, f)| (f.name.as_str(), if i == field { value } else { &f.value }))
        .collect();
    let request = if form.post {
        visitor
            .request("POST", &form.action)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(encoded(&pairs))
    } else {
        let path = form.action.split('?').next().unwrap_or_default();
        visitor.request("GET", &format!("{path}?{}", encoded(&pairs)))
    };
    match request.send().await {
        Ok(answer) if answer.status().as_u16() < 500 => Ok(answer.status().as_u16()),
        Ok(answer) => Err(answer.status().to_string()),
        Err(why) => Err(why.to_string()),
    }
}

/// The forms of these pages that take a date or a time, one of a kind.
fn dated(pages: &[Reached]) -> Vec<Form> {
    let mut seen = BTreeSet::new();
    pages
        .iter()
        .flat_map(|page| forms(&page.html, &page.path))
        .filter(|form| form.fields.iter().any(|f| is_dated(&f.kind)))
        .filter(|form| {
            let names: Vec<&str> = form.fields.iter().map(|f| f.name.as_str()).collect();
            let kind = form.fields.iter().find(|f| f.name == "kind");
            seen.insert((
                kind_of(&form.action),
                names.join(","),
                kind.map(|f| f.value.clone()),
            ))
        })
        .collect()
}

fn is_dated(kind: &str) -> bool {
    matches!(kind, "date" | "time" | "datetime-local")
}

/// Quotes the best option of an enquiry. Returns the path of the quote.
async fn a_quote(owner: &Visitor, enquiry: &str) -> String {
    let path = format!("/api/v1/enquiries/{enquiry}");
    let answer = owner.get(&format!("{path}/answer")).await;
    let answer: Value = answer.json().await.unwrap();
    let quoted = owner
        .request("POST", &format!("{path}/quotes"))
        .json(&json!({ "option": answer["recommended"], "hold_until": "2199-12-31" }))
        .send()
        .await
        .unwrap();
    assert_eq!(quoted.status(), 201, "{}", quoted.text().await.unwrap());
    for day in DAYS.iter().filter(|day| day.contains("262")) {
        let refused = owner
            .request("POST", &format!("{path}/quotes"))
            .json(&json!({ "option": answer["recommended"], "hold_until": day }))
            .send()
            .await
            .unwrap();
        assert_eq!(refused.status(), 422, "{day}");
    }
    let given: Value = quoted.json().await.unwrap();
    given["address"].as_str().unwrap().to_owned()
}

#[tokio::test]
async fn no_date_that_is_typed_breaks_a_form() {
    let site = TestSite::demo().await;
    let mut tx = site.shop.begin().await;
    let names = castings::variant_names(&mut tx).await.unwrap();
    let details = EnquiryDetails {
        caller: "Asa Pemberly".to_owned(),
        wanted_variant_id: names.first().map(|v| v.id),
        ..EnquiryDetails::default()
    };
    let (enquiry, _) = enquiries::create(&mut tx, &details).await.unwrap();
    tx.commit().await.unwrap();
    let owner = site.signed_in("owner").await;
    let quote = a_quote(&owner, &enquiry.to_string()).await;
    // A job that waits for something, and one that was begun long ago.
    let waiting = first_job(&owner, "/jobs?view=waiting").await;
    let begun = first_job(&owner, "/jobs?sort=number").await;
    let starts = ["/enquiries", &quote, &waiting, &begun];
    let pages = every_page(&owner, &starts, 2).await;
    let forms = dated(&pages);
    let actions: BTreeSet<String> = forms
        .iter()
        .map(|form| kind_of(&form.action).replace('?', ""))
        .collect();
    let mut broken = Vec::new();
    for form in &forms {
        for (i, field) in form.fields.iter().enumerate() {
            let values: &[&str] = match field.kind.as_str() {
                "date" | "datetime-local" => &DAYS,
                "time" => &TIMES,
                _ => continue,
            };
            for value in values {
                if let Err(why) = sent(&owner, form, i, value).await {
                    let action = &form.action;
                    broken.push(format!("{action} with {} {value}: {why}", field.name));
                }
            }
        }
    }
    assert_eq!(broken, [""; 0]);
    for action in [
        "/enquiries/*",
        "/jobs/*/entries/new",
        "/jobs/*/needs/new",
        "/market/*",
        "/market/*/watch",
        "/quotes/*/slot",
        "/quotes/*/won",
        "/shop/hours/holidays/new",
        "/shop/hours/shifts/new",
        "/shop/hours/stops/new",
        "/week",
        "/week/preview",
    ] {
        assert!(
            actions.contains(action),
            "{action} is not among {actions:#?}"
        );
    }
}

/// A change of the plan as a button sends it, with times at the ends of the calendar.
#[tokio::test]
async fn no_time_in_a_change_of_the_plan_breaks_the_week() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let person = site.person("Col Brannick", "col", Role::Machinist).await;
    let whose = json!({ "person": person });
    let ends = [
        "-262143-01-01T00:00:00Z",
        "-262142-01-01T00:00:01Z",
        "0000-01-01T00:00:00Z",
        "1969-12-31T23:59:59Z",
        "2026-12-01T08:00:00Z",
        "2200-01-01T00:00:00Z",
        "+262142-12-31T23:59:59Z",
    ];
    let mut changes = Vec::new();
    for from in ends {
        changes.push(json!({ "change": "place", "operation": Uuid::now_v7(), "machine": null, "person": person, "starts": from }));
        for until in ends {
            let why = "";
            for kind in ["away", "back"] {
                changes.push(json!({ "change": kind, "whose": whose, "from": from, "until": until, "why": why }));
            }
            for kind in ["overtime", "no_overtime"] {
                changes.push(json!({ "change": kind, "whose": [whose], "from": from, "until": until, "why": why }));
            }
        }
    }
    let answered = async |change: &Value| {
        let change = change.to_string();
        let tried = owner
            .get(&format!(
                "/week/preview?{}",
                encoded(&[("change", &change)])
            ))
            .await
            .status();
        let fields = [("change", change.as_str()), ("plan_seen", "-1")];
        let taken = owner.post("/week/apply", &fields).await.status();
        assert!(
            tried.as_u16() < 500 && taken.as_u16() < 500,
            "{change}: {tried}, {taken}"
        );
        tried.as_u16()
    };
    for change in &changes {
        let in_reach = ["from", "until", "starts"]
            .iter()
            .filter_map(|name| change[*name].as_str())
            .all(|at| at.starts_with("2026"));
        let status = answered(change).await;
        assert!(in_reach || status == 422, "{change}: {status}");
    }
}
