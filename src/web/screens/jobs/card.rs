//! The route card of a job, as a PDF to print.

use super::print;
use crate::app::block_of_job::as_on_the_block;
use crate::db::jobs::{self, OperationState};
use crate::db::{checks, needs};
use crate::documents::{CardFace, CardJob, CardOperation, route_card};
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, SignedIn, WebError, show};
use actix_web::{HttpRequest, web};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/jobs/{id}/card/{paper}", web::get().to(card));
}

pub(in crate::web) async fn card(
    who: SignedIn,
    site: web::Data<Site>,
    req: HttpRequest,
    path: web::Path<(Uuid, String)>,
) -> Answer {
    let (job_id, paper) = path.into_inner();
    let paper = print::paper(&paper)?;
    let mut tx = who.begin().await?;
    let job = jobs::get(&mut tx, job_id).await?;
    let operations = jobs::operations(&mut tx, job_id).await?;
    let needs = needs::of_job(&mut tx, job_id).await?;
    let holds = checks::holds(&mut tx, Some(job_id)).await?;
    let wanted = as_on_the_block(&mut tx, job_id).await?;
    let promised = match job.promised_on {
        Some(day) => format!(", promised for {}", show::day(day, who.today())),
        None => String::new(),
    };
    let card = CardJob {
        shop: who.shop.name.clone(),
        number: job.number,
        title: job.title,
        days: format!("Due {}{promised}", show::day(job.due_on, who.today())),
        castings: needs
            .iter()
            .filter_map(|need| need.source.our_casting())
            .collect(),
        held: holds
            .into_iter()
            .find(|h| h.decision.is_none())
            .map(|h| h.why),
    };
    let operations: Vec<CardOperation> = operations
        .into_iter()
        .map(|o| CardOperation {
            address: site.address(&req, &format!("/bench/op/{}", o.id)),
            done: o.state == OperationState::Done,
            face: wanted.as_ref().and_then(|(pattern, variant)| {
                CardFace::of(&o.planned, pattern, variant, who.shop.length_unit)
            }),
            operation: o.planned,
        })
        .collect();
    let pdf = route_card(&card, &operations, paper)
        .map_err(|error| WebError::Unprocessable(format!("No card can be printed: {error}.")))?;
    Ok(print::pdf(&format!("job-{}", job.number), pdf))
}
