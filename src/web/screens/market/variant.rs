//! The market of one variant: what was seen, and what it says in pictures and words.

use super::words::{percent, roughly, within};
use super::{path, picture, today};
use crate::castings::Variant;
use crate::db::people::Role;
use crate::db::{castings, sightings};
use crate::sourcing::{Fate, Outlook, Sighting, Watch};
use crate::web::ui::{Answer, Page, Section, SignedIn, WebError, show};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/market/{variant_id}", web::get().to(page));
}

async fn page(who: SignedIn, variant_id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    let variant = castings::variant(&mut tx, *variant_id).await?;
    let seen = sightings::of_variant(&mut tx, *variant_id).await?;
    let kept = sightings::watch(&mut tx, *variant_id).await?;
    let today = today(&who);
    // A watch that begins tomorrow has no day yet: what it says is opinion alone.
    let watch = kept.clone().unwrap_or_else(|| {
        let tomorrow = today.succ_opt().unwrap_or(today);
        Watch::new(*variant_id, tomorrow, who.shop.currency)
    });
    let outlook =
        Outlook::new(&watch, &seen, today, who.shop.currency, None).map_err(|unusable| {
            WebError::Unprocessable(format!("The watch on it cannot be used: {unusable}."))
        })?;
    let body = body(&who, &variant, &seen, kept.as_ref(), &outlook);
    Ok(Page::new(&who, format!("Market: {}", variant.name))
        .nav(Section::Market)
        .body(body)
        .into())
}

fn body(
    who: &SignedIn,
    variant: &Variant,
    seen: &[Sighting],
    kept: Option<&Watch>,
    outlook: &Outlook,
) -> Markup {
    let here = path(variant.id);
    let office = who.may(Role::Office);
    let open = seen
        .iter()
        .filter(|s| s.acceptable && s.fate == Fate::Open)
        .count();
    html! {
        div.bar {
            h1 { (variant.name) }
            @if office {
                div.actions {
                    a.button href={ (here) "/new" } data-key="n" data-key-label="Record a sighting" { "Record a sighting" }
                    a.button.quiet href={ (here) "/watch" } data-key="w" data-key-label="The watch" {
                        @if kept.is_some() { "The watch" } @else { "Begin a watch" }
                    }
                }
            }
        }
        p.lead { (outlook.evidence.note) }
        @if kept.is_none() {
            p.notice.warn {
                "The opinions are the program's own, and mild. "
                @if office { a href={ (here) "/watch" } { "Begin a watch" } " to give the shop's." }
            }
        }
        @if open > 0 {
            p.notice.good {
                strong { @if open == 1 { "One worth having is" } @else { (open) " worth having are" } " still for sale" }
                " as far as is known. Ask before waiting for the next."
            }
        }
        div.columns.market {
            section.card aria-labelledby="wait-head" {
                h2 #wait-head { "How long" }
                (picture::wait(&outlook.wait))
                (wait_words(outlook))
            }
            section.card aria-labelledby="price-head" {
                h2 #price-head { "How dear" }
                (picture::price(outlook, seen))
                (price_words(outlook, seen))
            }
            section.card aria-labelledby="good-head" {
                h2 #good-head { "How good" }
                (picture::good(&outlook.good))
                (good_words(outlook))
            }
        }
        h2 { "Seen" }
        (table(seen, office, &here))
    }
}

fn wait_words(outlook: &Outlook) -> Markup {
    let (wait, evidence) = (&outlook.wait, &outlook.evidence);
    html! {
        p {
            "The next one worth having turns up " strong { (within(wait.quantile(0.5))) }
            " as likely as not, and " strong { (within(wait.quantile(0.8))) } " eight times in ten."
        }
        p.muted {
            @if evidence.days == 0 {
                "From opinion alone. "
            } @else {
                "From " (show::count(i64::from(evidence.acceptable), "acceptable sighting", "acceptable sightings"))
                " in " (show::count(i64::from(evidence.days), "day", "days")) " of watch. "
            }
            @if let Some(mean) = wait.mean() {
                "On average " (super::words::span(mean)) "; the long waits make that more than the likely one."
            } @else {
                "There is no average to give: with nothing seen, nobody knows when waiting must end."
            }
        }
    }
}

fn price_words(outlook: &Outlook, seen: &[Sighting]) -> Markup {
    let at = |p| outlook.price_at(p).map(roughly);
    let Some(((low, likely), high)) = at(0.1).zip(at(0.5)).zip(at(0.9)) else {
        return html! {
            p { "Nothing is known of the price yet: none was seen, and the watch gives no likely one." }
        };
    };
    let strange = seen
        .iter()
        .filter_map(|s| s.asked)
        .filter(|money| money.currency() != outlook.currency())
        .count();
    html! {
        p {
            "It is likely to cost about " strong { (likely) } ", and eight times in ten between "
            strong { (low) } " and " strong { (high) } "."
        }
        p.muted {
            @if outlook.evidence.priced == 0 {
                "From the shop's opinion alone. "
            } @else {
                "From " (show::count(i64::from(outlook.evidence.priced), "asked price", "asked prices"))
                " of those worth having: circles above the line; a cross is one that was not. "
            }
            @if strange > 0 {
                (show::count(strange as i64, "price in another currency is", "prices in other currencies are")) " left out."
            }
        }
    }
}

fn good_words(outlook: &Outlook) -> Markup {
    let good = &outlook.good;
    html! {
        p {
            "The next one bought is good with a chance of " strong { (percent(good.chance())) }
            "; of many bought, between " (percent(good.quantile(0.1))) " and " (percent(good.quantile(0.9)))
            " would be, eight times in ten."
        }
        p.muted {
            @if outlook.evidence.bought == 0 {
                "From opinion alone. "
            } @else {
                "From " (show::count(i64::from(outlook.evidence.bought), "bought one", "bought ones")) " and an opinion. "
            }
            @if let Some(purchases) = good.mean_purchases() {
                "On average " (format!("{purchases:.1}")) " are bought until one is good."
            } @else {
                "How many must be bought until one is good cannot be said yet."
            }
        }
    }
}

fn table(seen: &[Sighting], office: bool, here: &str) -> Markup {
    html! {
        @if seen.is_empty() {
            p {
                "None was written down yet. "
                @if office { a href={ (here) "/new" } { "Record the first" } ", even one that was not worth having." }
            }
        } @else {
            table.cells {
                thead {
                    tr {
                        th scope="col" { "Day" }
                        th scope="col" { "Where" }
                        th.number scope="col" { "Asked" }
                        th scope="col" { "Condition" }
                        th scope="col" { "Worth having" }
                        th scope="col" { "What became of it" }
                    }
                }
                tbody {
                    @for sighting in seen.iter().rev() {
                        tr {
                            th scope="row" {
                                @if office {
                                    a href={ "/market/sightings/" (sighting.id) } { (show::day(sighting.seen_on)) }
                                } @else { (show::day(sighting.seen_on)) }
                            }
                            td data-label="Where" { (sighting.place) }
                            td.number data-label="Asked" {
                                @if let Some(asked) = sighting.asked { (asked) } @else { span.muted { "not named" } }
                            }
                            td data-label="Condition" {
                                @if sighting.condition.is_empty() { span.muted { "not noted" } } @else { (sighting.condition) }
                            }
                            td data-label="Worth having" { @if sighting.acceptable { "Yes" } @else { "No" } }
                            td data-label="What became of it" { (sighting.fate.words()) }
                        }
                    }
                }
            }
        }
    }
}
