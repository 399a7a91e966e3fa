//! The points of the faces that a job machines, from the datums of the block it machines them into.

use crate::app::block_of_job::as_on_the_block;
use crate::castings::Face;
use crate::db::jobs::JobOperation;
use crate::web::ui::{Answer, SignedIn, WebError, face_points};
use actix_web::web;
use maud::{Markup, html};
use std::collections::BTreeSet;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/jobs/{id}/points/{file}", web::get().to(file));
}

async fn file(who: SignedIn, asked: web::Path<(Uuid, String)>) -> Answer {
    let (job_id, name) = asked.into_inner();
    let mut tx = who.begin().await?;
    let (pattern, variant) = as_on_the_block(&mut tx, job_id)
        .await?
        .ok_or(WebError::NotFound("this file"))?;
    face_points::file(&name, (&pattern, &variant), who.shop.length_unit)
}

/// Links to them; nothing where no operation is at a place of the block.
pub(super) fn links(job_id: Uuid, operations: &[JobOperation]) -> Markup {
    let steps = operations.iter().flat_map(|o| &o.planned.steps);
    let faces: BTreeSet<Face> = steps
        .filter_map(|step| step.place.as_ref())
        .map(|place| place.face)
        .collect();
    let path = format!("/jobs/{job_id}/points");
    html! {
        @if !faces.is_empty() {
            p.small { "Points from the datum of the block:" }
            ul.small { @for face in faces { li { (face) ": " (face_points::links(&path, face)) } } }
        }
    }
}
