//! The list of quotes.

use super::promised;
use crate::db::lists::{self, ListedQuote, QuoteSort, QuoteView};
use crate::db::people::Role;
use crate::web::ui::{Answer, List, ListQuery, Page, Section, SignedIn, csv, show, words};
use actix_web::web;
use maud::{Markup, html};

const PATH: &str = "/quotes";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list))
        .route("/quotes.csv", web::get().to(file));
}

/// The quotes as they are asked for.
type Asked = List<QuoteView, QuoteSort>;

async fn list(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    who.require(Role::Office)?;
    let asked: Asked = query.read(PATH, true);
    let mut tx = who.begin().await?;
    let (quotes, all) =
        lists::quotes(&mut tx, asked.view, &asked.words, asked.sort, asked.part()).await?;
    let body = html! {
        div.bar {
            h1 { "Quotes" }
            div.actions { a.button.quiet href="/review/quotes" { "Won and lost" } }
        }
        (asked.views("Quotes", &[
            (QuoteView::Open, "Open"), (QuoteView::Accepted, "Accepted"), (QuoteView::NoSale, "Declined or expired"), (QuoteView::All, "All"),
        ]))
        (asked.filter("Number, offer or customer"))
        @if quotes.is_empty() {
            (asked.nothing("No quote waits for an answer. An option of an enquiry becomes a quote with Give quote."))
        } @else {
            (table(&who, &asked, &quotes))
        }
        (asked.pages(all, "quote", "quotes", Some("/quotes.csv")))
    };
    Ok(Page::new(&who, "Quotes")
        .nav(Section::Enquiries)
        .body(body)
        .into())
}

fn table(who: &SignedIn, asked: &Asked, quotes: &[ListedQuote]) -> Markup {
    html! {
        table.cells {
            thead { tr {
                (asked.falling_head(&[(QuoteSort::Number, "No.")], None))
                th scope="col" { "Offer" }
                (asked.head(&[(QuoteSort::Net, "Before tax")], Some("number")))
                (asked.head(&[(QuoteSort::Promised, "Promised")], None))
                (asked.head(&[(QuoteSort::ValidUntil, "Valid until")], None))
                th scope="col" { "Status" }
            } }
            tbody { @for ListedQuote { quote, caller } in quotes {
                tr {
                    th scope="row" { a href={ "/quotes/" (quote.id) } { (quote.number) } }
                    td data-label="Offer" {
                        (quote.title)
                        @if !caller.is_empty() { div.small.muted { (caller) } }
                    }
                    td.number data-label="Before tax" { (quote.net) }
                    td data-label="Promised" { (promised(quote, who.today())) }
                    td data-label="Valid until" { (show::day(quote.valid_until, who.today())) }
                    td data-label="Status" { span.tag { (words::quote_state(quote.state)) } }
                }
            } }
        }
    }
}

async fn file(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    who.require(Role::Office)?;
    let asked: Asked = query.read(PATH, true);
    let mut tx = who.begin().await?;
    let (quotes, _) =
        lists::quotes(&mut tx, asked.view, &asked.words, asked.sort, asked.whole()).await?;
    let head = [
        "Number",
        "Customer",
        "Offer",
        "Before tax",
        "Tax",
        "Total",
        "Currency",
        "Given",
        "Promised",
        "Valid until",
        "Status",
    ];
    let zone = who.shop.time_zone;
    let rows = quotes.into_iter().map(|ListedQuote { quote, caller }| {
        vec![
            quote.number.to_string(),
            caller,
            quote.title,
            quote.net.amount().to_string(),
            quote.tax.amount().to_string(),
            quote.gross.amount().to_string(),
            quote.net.currency().code().to_owned(),
            quote
                .created_at
                .with_timezone(&zone)
                .date_naive()
                .to_string(),
            csv::day(quote.promised_on),
            quote.valid_until.to_string(),
            words::quote_state(quote.state).to_owned(),
        ]
    });
    Ok(csv::download_under("quotes.csv", &head, rows).into())
}
