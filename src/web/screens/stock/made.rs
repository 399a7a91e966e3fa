//! What is made here of an item: how, what jobs are making of it, and some more for the shelf.

use super::item::{View, path};
use super::making;
use crate::app::enter_job::{HandJob, HandWork, enter_job};
use crate::app::{AppError, Refusal};
use crate::db::people::Role;
use crate::db::stock::{self, Batch, Item, ItemMaking};
use crate::db::{DbError, ShopTx, standards};
use crate::estimating::made::MOST_PIECES;
use crate::estimating::{Element, MakingStep};
use crate::units::Minutes;
use crate::web::screens::jobs::amount;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Reply, SignedIn, csrf_field, once_field, show, words,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/stock/items/{id}/make", web::post().to(make));
}

/// What is typed to make some for the shelf.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct MakeForm {
    make_pieces: String,
    make_due: String,
    due_confirmed: String,
}

/// How an item is made, as its page shows it.
pub(super) struct Made {
    making: Option<ItemMaking>,
    batches: Vec<Batch>,
    elements: Vec<Element>,
}

impl Made {
    pub(super) async fn load(tx: &mut ShopTx, item_id: Uuid) -> Result<Self, DbError> {
        let making = stock::making_of(tx, item_id).await?;
        let elements = match making {
            Some(_) => standards::list(tx).await?,
            None => Vec::new(),
        };
        Ok(Self {
            making,
            batches: stock::batches_of_item(tx, item_id).await?,
            elements,
        })
    }
}

/// How it is made, what is being made of it, and the form to make some.
pub(super) fn section(
    who: &SignedIn,
    item: &Item,
    made: &Made,
    form: &MakeForm,
    errors: &FormErrors,
) -> Markup {
    let office = who.may(Role::Office);
    let change = making::path(item.id);
    html! {
        @if made.making.is_none() && office {
            p { "Made here? " a href=(change) { "Say how it is made" } ", and the making goes into the price and the route of jobs that need it." }
        }
        @if made.making.is_some() || !made.batches.is_empty() {
            section.card aria-labelledby="made-title" {
                div.bar {
                    h2 #made-title { "Made here" }
                    @if office && made.making.is_some() { a.button.quiet href=(change) { "Change how it is made" } }
                }
                @if let Some(kept) = &made.making { (how(kept, &made.elements)) }
                @for batch in &made.batches { (being_made(who, batch)) }
                @if office && made.making.is_some() && item.details.active { (make_some(who, item, form, errors)) }
            }
        }
    }
}

/// Its operations and material in a list.
fn how(kept: &ItemMaking, elements: &[Element]) -> Markup {
    let element = |step: &MakingStep| {
        let code = step.code.as_ref()?;
        elements.iter().find(|element| element.code == *code)
    };
    let or = |own: &str, of_element: Option<&str>| {
        if own.is_empty() {
            of_element.unwrap_or("not known").to_owned()
        } else {
            own.to_owned()
        }
    };
    html! {
        ol {
            @for step in &kept.making.steps {
                @let of = element(step);
                li {
                    @if of.is_none() && step.code.is_some() && step.what.is_empty() {
                        "Its standard time is gone. Change how it is made."
                    } @else {
                        (or(&step.what, of.map(|e| e.name.as_str()))) span.muted {
                            ", " (or(&step.machine_kind, of.map(|e| e.machine_kind.as_str())))
                            @if let Some(setup) = step.setup.or(of.map(|e| e.setup)).filter(|setup| *setup > Minutes::ZERO) { ", setup " (setup) }
                            ", " @match step.each { Some(each) => { (each) " each" } None => "standard time each" }
                        }
                    }
                }
            }
        }
        @if !kept.making.materials.is_empty() {
            p { "Material of one: "
                @for (at, material) in kept.making.materials.iter().enumerate() {
                    @if at > 0 { ", " } (material.quantity.normalize()) " × " (material.name)
                }
                "."
            }
        }
    }
}

fn being_made(who: &SignedIn, batch: &Batch) -> Markup {
    html! {
        p {
            span.tag { "being made" } " "
            (batch.pieces) " in " a href={ "/jobs/" (batch.job_id) "#made" } { "job " (batch.job_number) }
            @if batch.for_job.is_zero() { ", for the shelf" } @else { ", " (amount(batch.for_job, &batch.unit)) " for the job" }
            ", due " (show::day(batch.due_on, who.today()))
        }
    }
}

fn make_some(who: &SignedIn, item: &Item, form: &MakeForm, errors: &FormErrors) -> Markup {
    let asked = errors.iter().any(|(field, _)| field.starts_with("make_"));
    let confirmed = form.due_confirmed == "yes";
    html! {
        details open[asked] {
            summary { "Make some for the shelf" }
            form.grid method="post" action={ (path(item.id)) "/make" } novalidate {
                (csrf_field(who))
                (once_field())
                (Field::int("make_pieces", "How many", &form.make_pieces).errors(errors))
                (Field::date("make_due", "Due date", &form.make_due).errors(errors))
                @if asked && (confirmed || errors.get("make_due").is_some()) {
                    (Field::checkbox("due_confirmed", "The due date is meant", confirmed))
                }
                div.actions { button type="submit" { "Open the job" } }
            }
        }
    }
}

/// Opens a job that makes some for the shelf.
async fn make(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<MakeForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    errors.label("make_pieces", "How many");
    errors.label("make_due", "Due date");
    let pieces = errors.int("make_pieces", &form.make_pieces, 1..=i64::from(MOST_PIECES));
    let due_on = errors.date("make_due", &form.make_due);
    if let (Some(Ok(pieces)), Some(due_on)) = (pieces.map(u32::try_from), due_on) {
        let job = HandJob {
            title: String::new(),
            customer: String::new(),
            work: HandWork::Made(*id, pieces),
            due_on,
            value: None,
            due_confirmed: form.due_confirmed == "yes",
        };
        match enter_job(&who.actor(), &job, who.today(), form.keyed()).await {
            Ok((job_id, number)) => {
                return Ok(Reply::see_other(format!("/jobs/{job_id}"))
                    .flash(format!("Job {number} opened.")));
            }
            Err(AppError::Refused(Refusal::DueDate(doubts))) => {
                errors.add("make_due", words::due_doubts(&doubts, who.today()));
            }
            Err(AppError::Refused(why)) => {
                errors.add("make_pieces", words::refusal(&why, who.today()));
            }
            Err(AppError::Db(DbError::NotFound("how this part is made"))) => {
                errors.add(
                    "make_pieces",
                    "It is no longer made here. Look at the item again",
                );
            }
            Err(error) => return Err(error.into()),
        }
    }
    let mut view = View::load(&mut who.begin().await?, *id).await?;
    view.make = form.into_inner();
    view.errors = errors;
    Ok(view.page(&who).invalid().into())
}
