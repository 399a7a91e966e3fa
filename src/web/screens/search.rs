//! Search from every page: what was found, grouped by what it is.

use crate::app::search::{Found, Group, search};
use crate::db::search::{Hit, Kind};
use crate::web::ui::{Answer, Field, Page, SignedIn};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// The longest search, in characters.
const LONGEST: usize = 120;

/// `/search`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/search", web::get().to(page));
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Asked {
    q: String,
}

async fn page(who: SignedIn, asked: web::Query<Asked>) -> Answer {
    let typed: String = asked.q.trim().chars().take(LONGEST).collect();
    let found = match typed.is_empty() {
        true => Found::default(),
        false => search(&who.actor(), &typed).await?,
    };
    let title = if typed.is_empty() {
        "Search".to_owned()
    } else {
        format!("Search: {typed}")
    };
    let body = html! {
        h1 { "Search" }
        form.grid.narrow method="get" action="/search" role="search" aria-label="This shop" {
            (Field::text("q", "Number, name, mark or part", &typed).id("search-for").autofocus(found.groups.is_empty()))
            div.actions { button type="submit" { "Search" } }
        }
        @if !found.near.is_empty() {
            p.notice { "Nothing has " (found.near.join(", ")) ". This is spelt like it." }
        }
        @if found.groups.is_empty() && !typed.is_empty() {
            section.card { p { "Nothing found. Try fewer words, a number, or part of a mark." } }
        }
        @for (place, group) in found.groups.iter().enumerate() { (section(group, place == 0)) }
    };
    Ok(Page::new(&who, title).body(body).into())
}

fn section(group: &Group, first: bool) -> Markup {
    html! {
        section.card.found {
            h2 { (heading(group.kind)) }
            ul.plain {
                @for (place, hit) in group.hits.iter().enumerate() { li { (line(hit, first && place == 0)) } }
            }
            @if group.more > 0 { p.muted { "And " (group.more) " more. Type another word to narrow it down." } }
        }
    }
}

fn line(hit: &Hit, focus: bool) -> Markup {
    html! {
        a href=(path(hit.kind, hit.id)) autofocus[focus] {
            @match hit.number {
                Some(number) => { (noun(hit.kind)) " " (number) }
                None => (hit.name),
            }
        }
        @if hit.number.is_some() && !hit.name.is_empty() { ": " (hit.name) }
        @if !hit.more.is_empty() { span.muted { " · " (hit.more) } }
        @if hit.over { " " span.tag { (over(hit.kind)) } }
    }
}

fn path(kind: Kind, id: Uuid) -> String {
    let folder = match kind {
        Kind::Job => "/jobs",
        Kind::Quote => "/quotes",
        Kind::Enquiry => "/enquiries",
        Kind::Customer => "/customers",
        Kind::Casting => "/castings/shelf",
        Kind::Pattern => "/castings/patterns",
        Kind::Variant => "/castings/variants",
        Kind::Item => "/stock/items",
        Kind::Tool => "/stock/tools",
    };
    format!("{folder}/{id}")
}

fn noun(kind: Kind) -> &'static str {
    match kind {
        Kind::Job => "Job",
        Kind::Quote => "Quote",
        Kind::Enquiry => "Enquiry",
        Kind::Customer => "Customer",
        Kind::Casting => "Casting",
        Kind::Pattern => "Pattern",
        Kind::Variant => "Variant",
        Kind::Item => "Item",
        Kind::Tool => "Tooling",
    }
}

fn heading(kind: Kind) -> &'static str {
    match kind {
        Kind::Job => "Jobs",
        Kind::Quote => "Quotes",
        Kind::Enquiry => "Enquiries",
        Kind::Customer => "Customers",
        Kind::Casting => "Castings",
        Kind::Pattern => "Patterns",
        Kind::Variant => "Variants",
        Kind::Item => "Parts and materials",
        Kind::Tool => "Tooling",
    }
}

fn over(kind: Kind) -> &'static str {
    match kind {
        Kind::Quote => "decided",
        Kind::Casting => "gone",
        Kind::Item | Kind::Tool => "not in use",
        _ => "closed",
    }
}
