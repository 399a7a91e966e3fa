//! The market: scarce castings seen for sale, and what they say about the next one.

mod past;
mod picture;
mod sighting;
mod variant;
mod watch;
pub mod words;

pub(in crate::web) use sighting::read as read_sighting;

use crate::db::lists::{self, MarketSort, MarketView};
use crate::db::people::Role;
use crate::db::sightings::Watched;
use crate::web::ui::record::Each;
use crate::web::ui::{Answer, List, ListQuery, Page, Section, SignedIn, csv, show};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

/// `/market` and what is under it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    sighting::routes(cfg);
    watch::routes(cfg);
    variant::routes(cfg);
    cfg.route(Section::Market.path(), web::get().to(list))
        .route("/market.csv", web::get().to(file));
}

/// The records that are kept here.
pub(in crate::web) fn records(each: &mut impl Each) {
    each.record::<watch::WatchSheet>();
}

/// Where a variant's market is.
fn path(variant_id: Uuid) -> String {
    format!("/market/{variant_id}")
}

/// The variants as they are asked for.
type Asked = List<MarketView, MarketSort>;

async fn list(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    let asked: Asked = query.read(Section::Market.path(), true);
    let mut tx = who.begin().await?;
    let (variants, all) =
        lists::market(&mut tx, asked.view, &asked.words, asked.sort, asked.part()).await?;
    let body = html! {
        div.bar {
            h1 { "Market" }
            @if who.may(Role::Office) { div.actions { a.button.quiet href="/import/sightings" { "From a spreadsheet" } } }
        }
        p.lead { "What was seen for sale: how soon the next one is likely, its price, and the chance it is sound." }
        (asked.views("Market", &[(MarketView::All, "All"), (MarketView::ForSale, "For sale now"), (MarketView::Tracked, "Tracked")]))
        (asked.filter("Variant or pattern"))
        @if variants.is_empty() && asked.is_unfiltered() {
            p { "There are no variants yet. " a href="/castings" { "Add a pattern and its variants" } " first. Sightings are recorded under a variant." }
        } @else if variants.is_empty() {
            (asked.nothing(""))
        } @else {
            (table(&who, &asked, &variants))
        }
        (asked.pages(all, "variant", "variants", Some("/market.csv")))
    };
    Ok(Page::new(&who, "Market")
        .nav(Section::Market)
        .body(body)
        .into())
}

fn table(who: &SignedIn, asked: &Asked, variants: &[Watched]) -> Markup {
    html! {
        table.cells {
            thead {
                tr {
                    (asked.head(&[(MarketSort::Name, "Variant")], None))
                    (asked.head(&[(MarketSort::Pattern, "Pattern")], None))
                    (asked.falling_head(&[(MarketSort::Seen, "Seen")], Some("number")))
                    (asked.falling_head(&[(MarketSort::LastSeen, "Last seen")], None))
                    th scope="col" { "For sale now" }
                    th scope="col" { "Tracked" }
                }
            }
            tbody {
                @for variant in variants {
                    tr {
                        th scope="row" { a href=(path(variant.variant_id)) { (variant.name) } }
                        td data-label="Pattern" { (variant.pattern) }
                        td.number data-label="Seen" { (variant.sightings) }
                        td data-label="Last seen" {
                            @if let Some(day) = variant.last_seen { (show::day(day, who.today())) } @else { span.muted { "never" } }
                        }
                        td data-label="For sale now" {
                            @if variant.open > 0 { span.tag { (show::count(variant.open, "usable", "usable")) } }
                            @else { span.muted { "none known" } }
                        }
                        td data-label="Tracked" { @if variant.watched { "Yes" } @else { span.muted { "No" } } }
                    }
                }
            }
        }
    }
}

async fn file(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    let asked: Asked = query.read(Section::Market.path(), true);
    let mut tx = who.begin().await?;
    let (variants, _) =
        lists::market(&mut tx, asked.view, &asked.words, asked.sort, asked.whole()).await?;
    let head = [
        "Variant",
        "Pattern",
        "Seen",
        "Last seen",
        "For sale now",
        "Tracked",
    ];
    let rows = variants.into_iter().map(|variant| {
        vec![
            variant.name,
            variant.pattern,
            variant.sightings.to_string(),
            csv::day(variant.last_seen),
            variant.open.to_string(),
            csv::yes(variant.watched),
        ]
    });
    Ok(csv::download_under("market.csv", &head, rows).into())
}
