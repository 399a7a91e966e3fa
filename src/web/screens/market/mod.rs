//! The market: scarce castings seen for sale, and what they say about the next one.

mod past;
mod picture;
mod sighting;
mod variant;
mod watch;
pub mod words;

pub(in crate::web) use sighting::read as read_sighting;

use crate::db::sightings;
use crate::web::ui::{Answer, Page, Section, SignedIn, show};
use actix_web::web;
use maud::html;
use uuid::Uuid;

/// `/market` and what is under it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    sighting::routes(cfg);
    watch::routes(cfg);
    variant::routes(cfg);
    cfg.route(Section::Market.path(), web::get().to(list));
}

/// Where a variant's market is.
fn path(variant_id: Uuid) -> String {
    format!("/market/{variant_id}")
}

async fn list(who: SignedIn) -> Answer {
    let mut tx = who.begin().await?;
    let variants = sightings::overview(&mut tx).await?;
    let body = html! {
        h1 { "Market" }
        p.lead { "What was seen for sale: how soon the next one is likely, its price, and the chance it is sound." }
        @if variants.is_empty() {
            p { "There are no variants yet. " a href="/castings" { "Add a pattern and its variants" } " first. Sightings are recorded under a variant." }
        } @else {
            table.cells {
                thead {
                    tr {
                        th scope="col" { "Variant" }
                        th scope="col" { "Pattern" }
                        th.number scope="col" { "Seen" }
                        th scope="col" { "Last seen" }
                        th scope="col" { "For sale now" }
                        th scope="col" { "Tracked" }
                    }
                }
                tbody {
                    @for variant in &variants {
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
    };
    Ok(Page::new(&who, "Market")
        .nav(Section::Market)
        .body(body)
        .into())
}
