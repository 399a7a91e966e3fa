//! Customers from a spreadsheet: pasted, looked at with what is wrong by row, taken in, undone.

use crate::app::import_customers::{Column, Fault, Looked, MOST, look, take, undo};
use crate::db::customer_imports;
use crate::db::people::Role;
use crate::units::Code;
use crate::web::ui::{
    Answer, CheckedForm, Choice, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
    show,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// Rows of the table that are shown before it is taken in.
const SHOWN: usize = 10;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/customers/import")
            .route(web::get().to(start))
            .route(web::post().to(send)),
    )
    .route("/customers/import/{id}/undo", web::post().to(take_out));
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct ImportForm {
    table: String,
    column: Vec<String>,
    /// Sent by the button that takes it in.
    take: String,
}

async fn start(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let newest = customer_imports::newest(&mut tx).await?;
    let last = html! {
        @if let Some(import) = newest {
            form.notice method="post" action={ "/customers/import/" (import.id) "/undo" } {
                (csrf_field(&who))
                p { "Last import: " (show::count(import.count, "customer", "customers")) ", " (show::moment(import.at, who.shop.time_zone, who.today())) "." }
                button.quiet type="submit" { "Undo the import" }
            }
        }
    };
    Ok(page(
        &who,
        &ImportForm::default(),
        None,
        &last,
        &FormErrors::default(),
    )
    .into())
}

async fn send(who: SignedIn, form: CheckedForm<ImportForm>) -> Answer {
    who.require(Role::Office)?;
    let actor = who.actor();
    let columns: Vec<Column> = form
        .column
        .iter()
        .map(|code| Column::from_code(code).unwrap_or(Column::Ignore))
        .collect();
    let mut errors = FormErrors::default();
    if form.table.trim().is_empty() {
        errors.add("table", "Paste a table with its headings in the first row");
        return Ok(page(&who, &form, None, &html! {}, &errors).invalid().into());
    }
    if form.take != "yes" {
        let looked = look(&actor, &form.table, &columns).await?;
        return Ok(page(&who, &form, Some(&looked), &html! {}, &errors).into());
    }
    let looked = take(&actor, &form.table, &columns).await?;
    if looked.is_sound() {
        let count = i64::try_from(looked.customers.len()).unwrap_or(i64::MAX);
        let words = show::count(count, "customer added.", "customers added.");
        return Ok(Reply::see_other("/customers").flash(words));
    }
    errors.add(
        "table",
        "Nothing was added: correct the rows below, or leave them out",
    );
    Ok(page(&who, &form, Some(&looked), &html! {}, &errors)
        .invalid()
        .into())
}

fn page(
    who: &SignedIn,
    form: &ImportForm,
    looked: Option<&Looked>,
    last: &Markup,
    errors: &FormErrors,
) -> Page {
    const TITLE: &str = "Customers from a spreadsheet";
    let body = html! {
        p.back { a href="/customers" { "‹ Customers" } }
        h1 { (TITLE) }
        (last)
        (errors.summary())
        form.grid method="post" action="/customers/import" novalidate {
            (csrf_field(who))
            (Field::textarea("table", "Table", &form.table, 8).autofocus(looked.is_none() && errors.is_empty())
                .hint("Copy the rows in the spreadsheet and paste them here, headings first. Commas and semicolons work too").errors(errors))
            @if let Some(looked) = looked { (mapping(looked)) }
            div.actions {
                button.quiet[looked.is_some_and(Looked::is_sound)] type="submit" { @if looked.is_some() { "Look again" } @else { "Look at it" } }
                @if let Some(looked) = looked.filter(|looked| looked.is_sound()) {
                    button type="submit" name="take" value="yes" { "Add " (show::count(i64::try_from(looked.customers.len()).unwrap_or(i64::MAX), "customer", "customers")) }
                }
                a.button.quiet href="/customers" { "Cancel" }
            }
        }
        @if let Some(looked) = looked { (faults(looked)) (preview(looked)) }
    };
    Page::new(who, TITLE).nav(Section::Enquiries).body(body)
}

fn column_words(column: Column) -> &'static str {
    match column {
        Column::Name => "Name",
        Column::Phone => "Phone",
        Column::Email => "Email",
        Column::Address => "Address",
        Column::Terms => "Terms of payment",
        Column::Note => "Notes",
        Column::Contact => "Person there",
        Column::Ignore => "Leave out",
    }
}

fn mapping(looked: &Looked) -> Markup {
    let choices = || {
        let all = Column::ALL.iter();
        all.map(|column| Choice::new(column.code(), column_words(*column)))
            .collect()
    };
    html! {
        h2 { "What the columns hold" }
        @for (at, (heading, column)) in looked.headings.iter().zip(&looked.columns).enumerate() {
            @let label = if heading.is_empty() { format!("Column {}", at + 1) } else { format!("“{heading}”") };
            (Field::select("column", &label, column.code(), choices()).id(&format!("column-{at}")))
        }
    }
}

fn fault_words(fault: Fault) -> String {
    match fault {
        Fault::NoName => "no name".to_owned(),
        Fault::Known => "this customer is on record already".to_owned(),
        Fault::Twice(row) => format!("the same name as in row {row}"),
        Fault::TooLong(column) => format!(
            "{}: more than {} characters",
            column_words(column),
            column.longest()
        ),
    }
}

fn faults(looked: &Looked) -> Markup {
    html! {
        @if looked.too_many { p.notice.warn { "At most " (MOST) " rows at once. Paste the rest after these." } }
        @if !looked.faults.is_empty() {
            section.card #faults {
                h2 { "Rows to correct" }
                ul.plain { @for (row, fault) in looked.faults.iter().take(50) { li { "Row " (row) ": " (fault_words(*fault)) } } }
                @if looked.faults.len() > 50 { p.muted { "And " (looked.faults.len() - 50) " more." } }
            }
        }
    }
}

fn preview(looked: &Looked) -> Markup {
    html! {
        @if !looked.customers.is_empty() {
            section.card {
                h2 { "As they will be added" }
                table.cells {
                    thead { tr { th scope="col" { "Name" } th scope="col" { "Phone" } th scope="col" { "Email" } th scope="col" { "Address" } } }
                    tbody { @for (_, customer) in looked.customers.iter().take(SHOWN) { tr {
                        th scope="row" { (customer.name) }
                        td data-label="Phone" { (customer.phone) }
                        td data-label="Email" { (customer.email) }
                        td data-label="Address" { (customer.address) }
                    } } }
                }
                @if looked.customers.len() > SHOWN { p.muted { "And " (looked.customers.len() - SHOWN) " more." } }
            }
        }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Nothing {}

async fn take_out(who: SignedIn, id: web::Path<Uuid>, _form: CheckedForm<Nothing>) -> Answer {
    let (out, stay) = undo(&who.actor(), *id).await?;
    let mut words = show::count(out, "customer is out again.", "customers are out again.");
    if stay > 0 {
        words.push_str(&format!(" {stay} stay: they were used or changed since."));
    }
    Ok(Reply::see_other("/customers").flash(words))
}
