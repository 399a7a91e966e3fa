//! Setups together: work that needs the same on the table, with what doing it in one go saves and costs.

use super::asked::Asked;
use super::sheet::long_number;
use super::try_out::{href, promises};
use crate::db::people::Role;
use crate::planning::what_if::{Settings, Together, hours, moment, together};
use crate::web::ui::{Answer, FormErrors, Page, Section, SignedIn, WebError, show};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/week/together", web::get().to(list));
}

/// Pairs that are tried: each takes a plan of its own.
const TRIED: usize = 10;

async fn list(who: SignedIn) -> Answer {
    let mut tx = who.begin().await?;
    let standing = super::stand(&mut tx).await?;
    drop(tx);
    let (standing, found) = web::block(move || {
        // No search and no chances: what is shown is what the new order alone does to the days.
        let settings = Settings {
            moves: 0,
            futures: 0,
            ..Settings::default()
        };
        let found = together(&standing.floor, &standing.timetable, TRIED, settings);
        (standing, found)
    })
    .await
    .map_err(|why| WebError::Internal(why.to_string()))?;
    let found = found.map_err(|why| WebError::Internal(why.to_string()))?;
    let stretch =
        Asked::default().stretch(&mut FormErrors::default(), super::today(who.shop.time_zone));
    let floor = &standing.floor;
    let named = |id: Uuid| -> Markup {
        let slot = standing.timetable.slot(id);
        html! {
            @if let Some((job, operation)) = floor.operation(id) {
                a href={ "/week?" (stretch.query()) "&operation=" (id) "#operation" } { (long_number(job)) ", " (operation.number) " " (operation.what) }
                @if let Some(slot) = slot { span.muted { " (" (moment(slot.starts, floor.zone)) ")" } }
            }
        }
    };
    let row = |t: &Together| {
        let late = t
            .tried
            .effect
            .promises
            .iter()
            .filter(|p| p.is_late() && !p.was_late())
            .count();
        let machine = floor.machine(t.machine).map_or("", |m| m.name.as_str());
        html! {
            section.card.week-together {
                h2 { "Saves " (hours(t.saves)) " of setup on " (machine) }
                p { (named(t.first)) " and " (named(t.second)) " both need “" (t.setup_key) "” on the table." }
                p {
                    @if late == 0 { strong { "No promise is broken." } " " }
                    @else { strong { (show::count(late as i64, "promise becomes", "promises become")) " late." } " " }
                    (t.tried.effect.sentence)
                }
                @if !t.tried.effect.promises.is_empty() {
                    details { summary { (show::count(t.tried.effect.promises.len() as i64, "promise moves", "promises move")) } (promises(&t.tried.floor, &t.tried.effect.promises)) }
                }
                @if who.may(Role::Office) { p { a.button href=(href(&t.change, stretch)) { "Try it" } } }
            }
        }
    };
    let body = html! {
        div.bar { h1 { "Setups together" } a.button.quiet href="/week" { "The week" } }
        p { "Operations that need the same on the table and have other work between them. Done one after the other, the second keeps a quarter of its setup." }
        @if found.is_empty() { section.card { p { "None found: nothing would be saved by another order." } } }
        @for t in &found { (row(t)) }
    };
    Ok(Page::new(&who, "Setups together")
        .nav(Section::Week)
        .body(body)
        .into())
}
