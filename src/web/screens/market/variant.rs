//! The market of one variant: what was seen, and what it says in pictures and words.

use super::words::{percent, roughly, within};
use super::{past, path, picture};
use crate::castings::Variant;
use crate::db::lists::{self, SightingSort, SightingView};
use crate::db::people::Role;
use crate::db::{castings, castings_on_shelf, sightings};
use crate::sourcing::hunt::GIVE_UP_AFTER;
use crate::sourcing::{Fate, Outlook, Sighting, Watch};
use crate::web::ui::{Answer, List, ListQuery, Page, Section, SignedIn, WebError, csv, show};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/market/{variant_id}", web::get().to(page))
        .route("/market/{variant_id}/sightings.csv", web::get().to(file));
}

/// The sightings of a variant as they are asked for.
type Asked = List<SightingView, SightingSort>;

async fn page(who: SignedIn, variant_id: web::Path<Uuid>, query: web::Query<ListQuery>) -> Answer {
    let asked: Asked = query.read(&path(*variant_id), true);
    let mut tx = who.begin().await?;
    let variant = castings::variant(&mut tx, *variant_id).await?;
    let seen = sightings::of_variant(&mut tx, *variant_id).await?;
    let kept = sightings::watch(&mut tx, *variant_id).await?;
    let inspected = castings_on_shelf::inspected(&mut tx, *variant_id).await?;
    let today = who.today();
    // A watch that begins tomorrow has no day yet: what it says is opinion alone.
    let watch = kept.clone().unwrap_or_else(|| {
        let tomorrow = today.succ_opt().unwrap_or(today);
        Watch::new(*variant_id, tomorrow, who.shop.currency)
    });
    let outlook =
        Outlook::new(&watch, &seen, today, who.shop.currency, inspected).map_err(|unusable| {
            WebError::Unprocessable(format!("The tracking of it cannot be used: {unusable}."))
        })?;
    let listed = if seen.is_empty() {
        html! {
            p {
                "None recorded yet. "
                @if who.may(Role::Office) { a href={ (path(variant.id)) "/new" } { "Record the first" } ", even one that was not usable." }
            }
        }
    } else {
        let (rows, all) = lists::sightings(
            &mut tx,
            variant.id,
            asked.view,
            &asked.words,
            asked.sort,
            asked.part(),
        )
        .await?;
        listed(&who, &asked, &rows, all)
    };
    let body = body(&who, &variant, &seen, kept.as_ref(), &outlook, &listed);
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
    listed: &Markup,
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
                    a.button.quiet href={ (here) "/watch" } data-key="w" data-key-label="Tracking" {
                        @if kept.is_some() { "Tracking" } @else { "Start tracking" }
                    }
                }
            }
        }
        p.lead { (outlook.evidence.note) }
        @if kept.is_none() {
            p.notice.warn {
                "These estimates are built in, not your own. "
                @if office { a href={ (here) "/watch" } { "Start tracking" } " to enter yours." }
            }
        }
        @if open > 0 {
            p.notice.good {
                strong { @if open == 1 { "One usable is" } @else { (open) " usable are" } " still for sale" }
                " as far as we know. Ask about it before waiting for the next."
            }
        }
        div.columns.market {
            section.card aria-labelledby="wait-head" {
                h2 #wait-head { "How long" }
                (picture::wait(&outlook.wait))
                (wait_words(outlook))
            }
            section.card aria-labelledby="price-head" {
                h2 #price-head { "Price" }
                (picture::price(outlook, seen))
                (price_words(outlook, seen))
            }
            section.card aria-labelledby="good-head" {
                h2 #good-head { "Chance it is sound" }
                (picture::good(&outlook.good))
                (good_words(outlook))
            }
        }
        (past::section(kept, seen, outlook.currency(), who.today()))
        h2 #seen { "Seen" }
        (listed)
    }
}

fn wait_words(outlook: &Outlook) -> Markup {
    let (wait, evidence) = (&outlook.wait, &outlook.evidence);
    html! {
        p {
            "The next usable one turns up " strong { (within(wait.quantile(0.5))) }
            " half of the time, and " strong { (within(wait.quantile(0.8))) } " 80 % of the time."
        }
        p.muted {
            @if evidence.days == 0 {
                "From your estimate only. "
            } @else {
                "From " (show::count(i64::from(evidence.acceptable), "usable sighting", "usable sightings"))
                " in " (show::count(i64::from(evidence.days), "day", "days")) " of tracking. "
            }
            @if let Some(mean) = wait.mean() {
                "On average " (super::words::span(mean)) "; a few long waits pull the average up."
            } @else {
                "No average yet: nothing has been seen."
            }
        }
    }
}

fn price_words(outlook: &Outlook, seen: &[Sighting]) -> Markup {
    let at = |p| outlook.price_at(p).map(roughly);
    let Some(((low, likely), high)) = at(0.1).zip(at(0.5)).zip(at(0.9)) else {
        return html! {
            p { "No price yet: none was seen, and the tracking gives no likely price." }
        };
    };
    let strange = seen
        .iter()
        .filter_map(|s| s.asked)
        .filter(|money| money.currency() != outlook.currency())
        .count();
    html! {
        p {
            "It is likely to cost about " strong { (likely) } ", and 80 % of the time between "
            strong { (low) } " and " strong { (high) } "."
        }
        p.muted {
            @if outlook.evidence.priced == 0 {
                "From your estimate only. "
            } @else {
                "From " (show::count(i64::from(outlook.evidence.priced), "asking price", "asking prices"))
                " of usable ones: circles above the line. A cross is one that was not usable. "
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
            "The next one bought is sound with a chance of " strong { (percent(good.chance())) }
            ". Of many bought, between " (percent(good.quantile(0.1))) " and " (percent(good.quantile(0.9)))
            " would be, 80 % of the time."
        }
        p.muted {
            @if outlook.evidence.bought == 0 {
                "From your estimate only. "
            } @else {
                "From " (show::count(i64::from(outlook.evidence.bought), "casting whose worth is known", "castings whose worth is known")) " and your estimate. "
            }
            @let bad = good.expected_failures(GIVE_UP_AFTER);
            "On average " (format!("{:.1}", bad + 1.0)) " are bought until one is sound; a search is given up after "
            (GIVE_UP_AFTER) " bad ones."
        }
    }
}

/// A page of the sightings, with the ways to the others.
fn listed(who: &SignedIn, asked: &Asked, rows: &[Sighting], all: i64) -> Markup {
    let file = asked.beside("/sightings.csv");
    html! {
        (asked.views("Sightings", &[(SightingView::All, "All"), (SightingView::Usable, "Usable"), (SightingView::ForSale, "For sale now")]))
        (asked.filter("Place or condition"))
        @if rows.is_empty() { (asked.nothing("None recorded yet.")) } @else { (table(who, asked, rows)) }
        (asked.pages(all, "sighting", "sightings", Some(&file)))
    }
}

fn table(who: &SignedIn, asked: &Asked, rows: &[Sighting]) -> Markup {
    let (office, today) = (who.may(Role::Office), who.today());
    html! {
        table.cells {
            thead {
                tr {
                    (asked.falling_head(&[(SightingSort::Day, "Day")], None))
                    (asked.head(&[(SightingSort::Place, "Place")], None))
                    (asked.head(&[(SightingSort::Price, "Asking price")], Some("number")))
                    th scope="col" { "Condition" }
                    th scope="col" { "Usable" }
                    th scope="col" { "What became of it" }
                }
            }
            tbody {
                @for sighting in rows {
                    tr {
                        th scope="row" {
                            @if office {
                                a href={ "/market/sightings/" (sighting.id) } { (show::day(sighting.seen_on, today)) }
                            } @else { (show::day(sighting.seen_on, today)) }
                        }
                        td data-label="Place" { (sighting.place) }
                        td.number data-label="Asking price" {
                            @if let Some(asked) = sighting.asked { (asked) } @else { span.muted { "none named" } }
                        }
                        td data-label="Condition" {
                            @if sighting.condition.is_empty() { span.muted { "none" } } @else { (sighting.condition) }
                        }
                        td data-label="Usable" { @if sighting.acceptable { "Yes" } @else { "No" } }
                        td data-label="What became of it" { (sighting.fate.words()) }
                    }
                }
            }
        }
    }
}

async fn file(who: SignedIn, variant_id: web::Path<Uuid>, query: web::Query<ListQuery>) -> Answer {
    let asked: Asked = query.read(&path(*variant_id), true);
    let mut tx = who.begin().await?;
    let variant = castings::variant(&mut tx, *variant_id).await?;
    let (rows, _) = lists::sightings(
        &mut tx,
        variant.id,
        asked.view,
        &asked.words,
        asked.sort,
        asked.whole(),
    )
    .await?;
    let head = [
        "Day",
        "Place",
        "Asking price",
        "Currency",
        "Condition",
        "Usable",
        "What became of it",
    ];
    let rows = rows.into_iter().map(|sighting| {
        vec![
            sighting.seen_on.to_string(),
            sighting.place,
            sighting
                .asked
                .map(|m| m.amount().to_string())
                .unwrap_or_default(),
            sighting
                .asked
                .map(|m| m.currency().code().to_owned())
                .unwrap_or_default(),
            sighting.condition,
            csv::yes(sighting.acceptable),
            sighting.fate.words().to_owned(),
        ]
    });
    Ok(csv::download_under("sightings.csv", &head, rows).into())
}
