//! Setups to combine: work that needs the same on the table, with what doing it in one go saves and costs.

use super::effect::promises;
use super::preview::href;
use super::query::WeekQuery;
use super::sheet::{Stretch, today};
use super::words::long_number;
use crate::app::current_plan::CurrentPlan;
use crate::app::week::combined_setups;
use crate::db::people::Role;
use crate::planning::what_if::Combination;
use crate::planning::words::{hours, machine_name, moment};
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, FormErrors, Page, Section, SignedIn, show};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/week/combine", web::get().to(list));
}

async fn list(who: SignedIn, site: web::Data<Site>) -> Answer {
    let (plan, found) = combined_setups(&who.actor(), &site.plans, Utc::now()).await?;
    let stretch =
        WeekQuery::default().stretch(&mut FormErrors::default(), today(who.shop.time_zone));
    let may = who.may(Role::Office);
    let body = html! {
        div.bar { h1 { "Combine setups" } a.button.quiet href="/week" { "The week" } }
        p { "These operations need the same setup but have other work between them. Run one straight after the other and the second keeps a quarter of its setup time." }
        @if found.is_empty() { section.card { p { "Nothing to combine: another order would not save any setup." } } }
        @for t in &found { (card(&plan, stretch, t, may)) }
    };
    Ok(Page::new(&who, "Combine setups")
        .nav(Section::Week)
        .body(body)
        .into())
}

fn card(plan: &CurrentPlan, stretch: Stretch, t: &Combination, may: bool) -> Markup {
    let floor = &plan.floor;
    let effect = &t.tried.effect;
    let moves = effect.promises.len() as i64;
    let late = effect
        .promises
        .iter()
        .filter(|p| p.is_late() && !p.was_late())
        .count();
    let named = |id: Uuid| -> Markup {
        let slot = plan.timetable.slot(id);
        html! {
            @if let Some((job, operation)) = floor.operation(id) {
                a href={ "/week?" (stretch.query()) "&operation=" (id) "#operation" } { (long_number(job)) ", " (operation.number) " " (operation.what) }
                @if let Some(slot) = slot { span.muted { " (" (moment(slot.starts, floor.zone)) ")" } }
            }
        }
    };
    html! {
        section.card.week-together {
            h2 { "Saves " (hours(t.saves)) " of setup on " (machine_name(floor, t.machine)) }
            p { (named(t.first)) " and " (named(t.second)) " both need “" (t.setup_key) "”." }
            p {
                @if late == 0 { strong { "No other job goes late." } " " }
                @else { strong { (show::count(late as i64, "job goes", "jobs go")) " late." } " " }
                (effect.sentence)
            }
            @if moves > 0 {
                details { summary { (show::count(moves, "job moves", "jobs move")) } (promises(&t.tried.floor, &effect.promises)) }
            }
            @if may { p { a.button href=(href(&t.change, stretch)) { "Preview" } } }
        }
    }
}
