//! Rows from a spreadsheet: pasted, looked at with what is wrong by row, taken in, undone.

use crate::app::imports::{self, Fault, Kind, Looked, MOST, Sent};
use crate::db::imports as db;
use crate::db::people::Role;
use crate::units::{Code, Currency, DateOrder};
use crate::web::ui::forms::Choice;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    once_field, show,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

/// Rows of the table that are shown before it is taken in.
const SHOWN: usize = 10;
/// Faults that are told.
const TOLD: usize = 50;

/// `/import/{kind}`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/import/{kind}")
            .route(web::get().to(start))
            .route(web::post().to(send)),
    )
    .route("/import/{kind}/{id}/undo", web::post().to(take_out));
}

/// The words of one kind of table.
struct Words {
    title: &'static str,
    one: &'static str,
    many: &'static str,
    list: &'static str,
    list_words: &'static str,
    nav: Section,
    hint: &'static str,
    example: &'static str,
    dated: bool,
}

fn words(kind: Kind) -> Words {
    match kind {
        Kind::Customers => Words {
            title: "Customers from a spreadsheet",
            one: "customer",
            many: "customers",
            list: "/customers",
            list_words: "Customers",
            nav: Section::Enquiries,
            hint: "Each row needs a name.",
            example: "Name; Phone; Email; Address",
            dated: false,
        },
        Kind::Castings => Words {
            title: "Castings from a spreadsheet",
            one: "casting",
            many: "castings",
            list: "/castings/shelf",
            list_words: "On the shelf",
            nav: Section::Castings,
            hint: "Each row needs the name of a variant, and what the casting cost (0 if nothing) or which customer owns it. Each gets a number for its tag.",
            example: "Variant; Cost; Supplier; Condition; Inspection; Inspected on",
            dated: true,
        },
        Kind::Stock => Words {
            title: "Stock from a spreadsheet",
            one: "item",
            many: "items",
            list: "/stock",
            list_words: "Stock",
            nav: Section::Stock,
            hint: "Each row needs a name. What is on hand is booked as counted today.",
            example: "Name; Unit; On hand; Minimum; Location; Supplier",
            dated: false,
        },
        Kind::Sightings => Words {
            title: "Sightings from a spreadsheet",
            one: "sighting",
            many: "sightings",
            list: "/market",
            list_words: "Market",
            nav: Section::Market,
            hint: "Each row needs the name of a variant and the day it was seen for sale.",
            example: "Seen on; Variant; Asking price; Place; Condition; What became of it",
            dated: true,
        },
        Kind::PastWork => Words {
            title: "Past hours from a spreadsheet",
            one: "row of past work",
            many: "rows of past work",
            list: "/review/standards",
            list_words: "Standard times",
            nav: Section::Review,
            hint: "Each row needs the day, the work (the name or code of a standard time), and the hours it took with setting up. A figure without a unit is hours. They count beside your own bookings when standard times are compared.",
            example: "Date; Job; Customer; Work; How many; Hours",
            dated: true,
        },
    }
}

fn column_words(code: &str) -> &'static str {
    match code {
        "name" => "Name",
        "phone" => "Phone",
        "email" => "Email",
        "address" => "Address",
        "terms" => "Terms of payment",
        "note" => "Notes",
        "contact" => "Person there",
        "variant" => "Variant",
        "owner" => "Customer’s own: whose",
        "cost" => "Cost",
        "came_from" => "Supplier",
        "condition" => "Condition",
        "outcome" => "Inspection: good or failed",
        "inspected_on" => "Inspected on",
        "unit" => "Unit",
        "on_hand" => "On hand",
        "minimum" => "Order below",
        "kept_at" => "Where it lies",
        "supplier" => "Supplier",
        "seen_on" => "Seen on",
        "asked" => "Asking price",
        "acceptable" => "Usable at that price: yes or no",
        "fate" => "What became of it",
        "place" => "Place",
        "done_on" => "Day it was done",
        "hours" => "Hours",
        "count" => "How many",
        "customer" => "Customer",
        "job" => "Job",
        "work" => "Work",
        _ => "Column",
    }
}

/// A table as it was pasted, with its headings in the first row.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(default)]
pub(in crate::web) struct ImportForm {
    table: String,
    /// What each column holds; where it says nothing, the headings are guessed at.
    column: Vec<String>,
    /// `day_first` or `month_first`.
    dates: String,
    /// Sent by the button that takes it in.
    #[schema(ignore)]
    take: String,
}

impl ImportForm {
    /// What was sent; complains about a column and a way to write dates that are none.
    pub(in crate::web) fn read(
        &self,
        kind: Kind,
        currency: Currency,
        errors: &mut FormErrors,
    ) -> Sent<'_> {
        let dates = match self.dates.as_str() {
            "" => usual_dates(currency),
            code => errors
                .choice("dates", code, DateOrder::from_code)
                .unwrap_or_default(),
        };
        let known = imports::columns(kind);
        for (at, code) in self.column.iter().enumerate() {
            if !code.is_empty() && !known.iter().any(|column| column.code == code) {
                errors.add(&format!("column.{at}"), "Choose one, or leave it empty");
            }
        }
        Sent {
            text: &self.table,
            columns: &self.column,
            dates,
        }
    }
}

/// How dates are written where a currency is paid with.
fn usual_dates(currency: Currency) -> DateOrder {
    match currency.code() {
        "USD" => DateOrder::MonthFirst,
        _ => DateOrder::DayFirst,
    }
}

fn kind(code: &str) -> Result<Kind, WebError> {
    Kind::from_code(code).ok_or(WebError::NotFound("this kind of table"))
}

async fn start(who: SignedIn, code: web::Path<String>) -> Answer {
    who.require(Role::Office)?;
    let kind = kind(&code)?;
    let mut tx = who.begin().await?;
    let newest = db::newest(&mut tx, kind.code()).await?;
    let words = words(kind);
    let last = html! {
        @if let Some(import) = newest {
            form.notice method="post" action={ "/import/" (kind.code()) "/" (import.id) "/undo" } {
                (csrf_field(&who))
                p { "Last import: " (show::count(import.count, words.one, words.many)) ", " (show::moment(import.at, who.shop.time_zone, who.today())) "." }
                button.quiet type="submit" { "Undo the import" }
            }
        }
    };
    let form = ImportForm {
        dates: usual_dates(who.shop.currency).code().to_owned(),
        ..ImportForm::default()
    };
    Ok(page(&who, kind, &form, None, &last, &FormErrors::default()).into())
}

async fn send(who: SignedIn, code: web::Path<String>, form: CheckedForm<ImportForm>) -> Answer {
    who.require(Role::Office)?;
    let kind = kind(&code)?;
    let actor = who.actor();
    let mut errors = FormErrors::default();
    if form.table.trim().is_empty() {
        errors.add("table", "Paste a table with its headings in the first row");
        return Ok(page(&who, kind, &form, None, &html! {}, &errors)
            .invalid()
            .into());
    }
    let sent = form.read(kind, who.shop.currency, &mut errors);
    if !errors.is_empty() {
        return Ok(page(&who, kind, &form, None, &html! {}, &errors)
            .invalid()
            .into());
    }
    if form.take != "yes" {
        let looked = imports::look(&actor, kind, sent).await?;
        return Ok(page(&who, kind, &form, Some(&looked), &html! {}, &errors).into());
    }
    let (looked, taken) = imports::take(&actor, kind, sent, form.keyed()).await?;
    if taken.is_some() {
        let words = words(kind);
        let said = format!("{} added.", count(looked.rows.len(), &words));
        return Ok(Reply::see_other(words.list).flash(said));
    }
    errors.add(
        "table",
        "Nothing was added: correct the rows below, or leave them out",
    );
    Ok(page(&who, kind, &form, Some(&looked), &html! {}, &errors)
        .invalid()
        .into())
}

fn count(rows: usize, words: &Words) -> String {
    show::count(
        i64::try_from(rows).unwrap_or(i64::MAX),
        words.one,
        words.many,
    )
}

fn page(
    who: &SignedIn,
    kind: Kind,
    form: &ImportForm,
    looked: Option<&Looked>,
    last: &Markup,
    errors: &FormErrors,
) -> Page {
    let words = words(kind);
    let orders = vec![
        Choice::new(DateOrder::DayFirst.code(), "Day first: 31/12/2026"),
        Choice::new(DateOrder::MonthFirst.code(), "Month first: 12/31/2026"),
    ];
    let body = html! {
        p.back { a href=(words.list) { "‹ " (words.list_words) } }
        h1 { (words.title) }
        p.lead { (words.hint) }
        (last)
        (errors.summary())
        form.grid method="post" action={ "/import/" (kind.code()) } novalidate {
            (csrf_field(who))
            (once_field())
            (Field::textarea("table", "Table", &form.table, 8).autofocus(looked.is_none() && errors.is_empty())
                .hint(&format!("Copy the rows in the spreadsheet and paste them here, headings first, for example: {}. Commas and semicolons work too", words.example)).errors(errors))
            @if words.dated { (Field::select("dates", "Dates are written", &form.dates, orders).errors(errors)) }
            @if let Some(looked) = looked { (mapping(kind, looked)) }
            div.actions {
                button.quiet[looked.is_some_and(Looked::is_sound)] type="submit" { @if looked.is_some() { "Check again" } @else { "Check the table" } }
                @if let Some(looked) = looked.filter(|looked| looked.is_sound()) {
                    button type="submit" name="take" value="yes" { "Add " (count(looked.rows.len(), &words)) }
                }
                a.button.quiet href=(words.list) { "Cancel" }
            }
        }
        @if let Some(looked) = looked { (faults(looked)) (preview(looked)) }
    };
    Page::new(who, words.title).nav(words.nav).body(body)
}

fn mapping(kind: Kind, looked: &Looked) -> Markup {
    let choices = || {
        let none = std::iter::once(Choice::new("", "Leave out"));
        let all = imports::columns(kind).iter();
        none.chain(all.map(|column| Choice::new(column.code, column_words(column.code))))
            .collect()
    };
    html! {
        h2 { "What the columns hold" }
        @for (at, (heading, column)) in looked.headings.iter().zip(&looked.columns).enumerate() {
            @let label = if heading.is_empty() { format!("Column {}", at + 1) } else { format!("“{heading}”") };
            (Field::select("column", &label, column.unwrap_or_default(), choices()).id(&format!("column-{at}")).optional())
        }
    }
}

pub(in crate::web) fn fault_words(fault: &Fault) -> String {
    match fault {
        Fault::Missing(column) => format!("{}: empty", column_words(column)),
        Fault::Known => "on record already".to_owned(),
        Fault::Twice(row) => format!("the same as row {row}"),
        Fault::TooLong(column, longest) => {
            format!("{}: more than {longest} characters", column_words(column))
        }
        Fault::Unknown(column, said) => {
            format!("{}: the shop has no “{said}”", column_words(column))
        }
        Fault::Unread(column, why) => format!("{}: {why}", column_words(column)),
    }
}

fn faults(looked: &Looked) -> Markup {
    html! {
        @if looked.too_many { p.notice.warn { "At most " (MOST) " rows at once. Paste the rest after these." } }
        @if !looked.faults.is_empty() {
            section.card #faults {
                h2 { "Rows to correct" }
                ul.plain { @for (row, fault) in looked.faults.iter().take(TOLD) { li { "Row " (row) ": " (fault_words(fault)) } } }
                @if looked.faults.len() > TOLD { p.muted { "And " (looked.faults.len() - TOLD) " more." } }
            }
        }
    }
}

fn preview(looked: &Looked) -> Markup {
    let first = looked.rows.first().map_or(&[][..], |(_, cells)| cells);
    html! {
        @if !first.is_empty() {
            section.card {
                h2 { "As they will be added" }
                table.cells {
                    thead { tr { @for (code, _) in first { th scope="col" { (column_words(code)) } } } }
                    tbody { @for (_, cells) in looked.rows.iter().take(SHOWN) { tr {
                        @for (code, cell) in cells {
                            @if cell.is_empty() { td.none {} } @else { td data-label=(column_words(code)) { (cell) } }
                        }
                    } } }
                }
                @if looked.rows.len() > SHOWN { p.muted { "And " (looked.rows.len() - SHOWN) " more." } }
            }
        }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Nothing {}

async fn take_out(
    who: SignedIn,
    path: web::Path<(String, Uuid)>,
    _form: CheckedForm<Nothing>,
) -> Answer {
    let (code, id) = path.into_inner();
    let kind = kind(&code)?;
    let (out, stay) = imports::undo(&who.actor(), kind, id).await?;
    let words = words(kind);
    let mut said = format!("{} removed again.", show::count(out, words.one, words.many));
    if stay > 0 {
        said.push_str(&format!(" {stay} stay: they were used or changed since."));
    }
    Ok(Reply::see_other(words.list).flash(said))
}
