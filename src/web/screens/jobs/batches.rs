//! Parts that a job makes: for itself and for the shelf, with what came out.

use crate::app::make_part::{self, SeenBatch};
use crate::app::{AppError, job_overview::JobOverview};
use crate::db::DbError;
use crate::db::jobs::OperationState;
use crate::db::stock::{self, Batch};
use crate::estimating::made::MOST_PIECES;
use crate::web::screens::castings::version;
use crate::web::screens::jobs::amount;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/jobs/{id}/made/{batch}", web::post().to(came_out));
}

/// What is typed of what came out.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct CameForm {
    came: String,
    version: String,
}

/// The parts of a job on its page; nothing where it makes none.
pub(super) fn section(who: &SignedIn, all: &JobOverview) -> Markup {
    html! {
        @if !all.batches.is_empty() {
            section.card #made aria-labelledby="made-title" {
                h2 #made-title { "Made in this job" }
                @for batch in &all.batches { (one(who, batch, &batch.pieces.to_string(), &FormErrors::default())) }
            }
        }
    }
}

fn one(who: &SignedIn, batch: &Batch, came: &str, errors: &FormErrors) -> Markup {
    let id = format!("came-{}", batch.id);
    html! {
        div.order {
            h3 {
                a href={ "/stock/items/" (batch.item_id) } { (batch.item) } " × " (batch.pieces) " "
                span.tag.hole[batch.came.is_none() && batch.finished_by.is_none()] { (status(batch)) }
            }
            @match batch.came {
                Some(came) => p.muted { (amount(came, &batch.unit)) " came out." },
                None => {
                    p.muted {
                        @if batch.for_job.is_zero() { "For the shelf." }
                        @else { (amount(batch.for_job, &batch.unit)) " for this job; any more goes to the shelf." }
                    }
                    form.grid method="post" action={ "/jobs/" (batch.job_id) "/made/" (batch.id) } novalidate {
                        (csrf_field(who))
                        input type="hidden" name="version" value=(batch.version);
                        (Field::decimal("came", "Good pieces", came).id(&id).unit(&batch.unit).errors(errors))
                        div.actions { button type="submit" { "Book in" span.visually-hidden { ": " (batch.item) } } }
                    }
                }
            }
        }
    }
}

fn status(batch: &Batch) -> String {
    match (batch.came, batch.finished_by) {
        (Some(_), _) => "booked in".to_owned(),
        (None, None) => "left out of the route".to_owned(),
        (None, Some((_, OperationState::Done))) => "made, to be counted".to_owned(),
        (None, Some((number, _))) => format!("ready after operation {number}"),
    }
}

/// Books in what came out. Whoever made it may say so.
async fn came_out(
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    form: CheckedForm<CameForm>,
) -> Answer {
    let (job_id, id) = ids.into_inner();
    let field = format!("came-{id}");
    let mut errors = FormErrors::default();
    errors.label(&field, "Good pieces");
    let most = Decimal::ZERO..=Decimal::from(MOST_PIECES);
    if let Some(came) = errors.decimal(&field, &form.came, most) {
        let seen = SeenBatch {
            job_id,
            id,
            version: version(&form.version)?,
        };
        let batch = match make_part::came_out(&who.actor(), seen, came).await {
            Ok(batch) => batch,
            Err(AppError::Db(DbError::Stale(_))) => return stale(&who, (job_id, id), &form).await,
            Err(error) => return Err(error.into()),
        };
        let words = if batch.for_job.is_zero() {
            "Booked in."
        } else {
            "Booked in. It is not enough for this job: make more, or order some."
        };
        return Ok(Reply::see_other(format!("/jobs/{job_id}#made")).flash(words));
    }
    let batch = stock::batch(&mut who.begin().await?, job_id, id).await?;
    Ok(page(&who, &batch, &form.came, &errors, &html! {})
        .invalid()
        .into())
}

/// Somebody else has counted it, or the route was changed: as it is now.
async fn stale(who: &SignedIn, (job_id, id): (Uuid, Uuid), form: &CameForm) -> Answer {
    let batch = stock::batch(&mut who.begin().await?, job_id, id).await?;
    let now = match batch.came {
        Some(came) => amount(came, &batch.unit),
        None => "not counted".to_owned(),
    };
    let changed = Changed::if_differs("Good pieces", &now, form.came.trim());
    let notice = stale_notice("This batch", &Vec::from_iter(changed));
    let page = page(who, &batch, &form.came, &FormErrors::default(), &notice);
    Ok(page.status(StatusCode::CONFLICT).into())
}

fn page(who: &SignedIn, batch: &Batch, came: &str, errors: &FormErrors, notice: &Markup) -> Page {
    let title = format!("Made in job {}", batch.job_number);
    let body = html! {
        p.back { a href={ "/jobs/" (batch.job_id) "#made" } { "‹ Job " (batch.job_number) } }
        h1 { (title) }
        (notice)
        (errors.summary())
        section.card { (one(who, batch, came, errors)) }
    };
    Page::new(who, title).nav(Section::Jobs).body(body)
}
