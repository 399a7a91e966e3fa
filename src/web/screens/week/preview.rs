//! What would come of a change: shown first, then applied or discarded; and the last one undone.

use super::effect;
use super::query::WeekQuery;
use super::sheet::{Stretch, today};
use super::words::as_sentence;
use crate::app::change_plan::{self, Applied, Preview, Proposal, Tried};
use crate::app::week::{Week, week};
use crate::planning::changes::PlanChange;
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, CheckedForm, FormErrors, Reply, SignedIn, WebError};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Utc;
use maud::html;
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/week/preview", web::get().to(preview))
        .route("/week/apply", web::post().to(apply))
        .route("/week/undo/{id}", web::get().to(undo));
}

async fn preview(
    who: SignedIn,
    site: web::Data<Site>,
    query: web::Query<Vec<(String, String)>>,
) -> Answer {
    who.require(crate::db::people::Role::Office)?;
    let query = WeekQuery::new(query.into_inner());
    let Week { plan, age, newest } = week(&who.actor(), &site.plans, Utc::now()).await?;
    let query = query.with_keys_of(&plan.floor);
    let mut errors = FormErrors::default();
    let stretch = query.stretch(&mut errors, today(who.shop.time_zone));
    let change = query.change(&mut errors, &plan);
    let mut nearest = None;
    let plan = match change.filter(|_| errors.is_empty()) {
        None => plan,
        Some(change) => match change_plan::preview(&who.actor(), plan, change).await? {
            Tried::Works(preview) => {
                return Ok(effect::page(&who, stretch, &preview, &html! {}).into());
            }
            Tried::Cannot(no) => {
                query.refuse(&mut errors, &no.plan, no.why);
                nearest = no.nearest;
                no.plan
            }
        },
    };
    let week = Week { plan, age, newest };
    let page = super::page(&who, &week, stretch, (&query, &errors), nearest.as_ref());
    Ok(page.invalid().into())
}

/// A change as it is sent in a form and in an address.
pub(super) fn encoded(change: &PlanChange) -> String {
    serde_json::to_string(change).unwrap_or_default()
}

/// The address that previews a change.
pub(super) fn href(change: &PlanChange, stretch: Stretch) -> String {
    let change = encoded(change);
    let query = form_urlencoded::Serializer::new(String::new())
        .append_pair("change", &change)
        .finish();
    format!("/week/preview?{query}&{}", stretch.query())
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct ApplyForm {
    change: String,
    plan_seen: String,
    from: String,
    days: String,
    undoes: String,
}

async fn apply(who: SignedIn, site: web::Data<Site>, form: CheckedForm<ApplyForm>) -> Answer {
    let now = Utc::now();
    let query = WeekQuery::of_change(&form.from, &form.days, &form.change);
    let mut errors = FormErrors::default();
    let stretch = query.stretch(&mut errors, today(who.shop.time_zone));
    let proposal = match form.undoes.parse() {
        Ok(id) => Some(Proposal::Undo(id)),
        Err(_) => errors
            .parsed("change", &form.change, PlanChange::parse)
            .map(Proposal::Change),
    };
    let Some(proposal) = proposal else {
        let week = week(&who.actor(), &site.plans, now).await?;
        let page = super::page(&who, &week, stretch, (&query, &errors), None);
        return Ok(page.invalid().into());
    };
    // A form without what was seen is not of any plan.
    let seen = form.plan_seen.parse().unwrap_or(-1);
    match change_plan::apply(&who.actor(), proposal, seen, now).await? {
        Applied::Done(words) => {
            Ok(Reply::see_other(format!("/week?{}", stretch.query())).flash(as_sentence(&words)))
        }
        Applied::Overtaken(preview) => Ok(overtaken(&who, stretch, &preview)),
        Applied::Cannot(week, cannot, nearest) => {
            errors.add("change", cannot.why);
            let page = super::page(&who, &week, stretch, (&query, &errors), nearest.as_ref());
            Ok(page.invalid().into())
        }
    }
}

/// Somebody else was quicker, or the plan was worked out anew: what would come of the change now.
fn overtaken(who: &SignedIn, stretch: Stretch, preview: &Preview) -> Reply {
    let notice = html! {
        section.notice.warn role="alert" {
            h2 { span.sign aria-hidden="true" { "!" } " The plan has changed meanwhile" }
            p { "Nothing was saved. This is what your change does to the plan as it is now." }
        }
    };
    effect::page(who, stretch, preview, &notice)
        .status(StatusCode::CONFLICT)
        .into()
}

async fn undo(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let stretch =
        WeekQuery::default().stretch(&mut FormErrors::default(), today(who.shop.time_zone));
    match change_plan::preview_undo(&who.actor(), *id, Utc::now()).await? {
        Tried::Works(preview) => Ok(effect::page(&who, stretch, &preview, &html! {}).into()),
        Tried::Cannot(no) => Err(WebError::Unprocessable(format!("{}.", no.why))),
    }
}
