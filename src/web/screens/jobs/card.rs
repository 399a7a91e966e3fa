//! The route card of a job, as a PDF to print.

use crate::db::jobs::{self, OperationState};
use crate::db::needs::Source;
use crate::db::{checks, needs};
use crate::documents::{CardJob, CardOperation, Paper, route_card};
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, SignedIn, WebError, show};
use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION};
use actix_web::{HttpRequest, HttpResponse, web};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/jobs/{id}/card/{paper}", web::get().to(card));
}

async fn card(
    who: SignedIn,
    site: web::Data<Site>,
    req: HttpRequest,
    path: web::Path<(Uuid, String)>,
) -> Answer {
    let (job_id, paper) = path.into_inner();
    let paper = match paper.as_str() {
        "a4" => Paper::A4,
        "a5" => Paper::A5,
        _ => return Err(WebError::NotFound("a card of this size")),
    };
    let mut tx = who.begin().await?;
    let job = jobs::get(&mut tx, job_id).await?;
    let operations = jobs::operations(&mut tx, job_id).await?;
    let needs = needs::of_job(&mut tx, job_id).await?;
    let holds = checks::holds(&mut tx, Some(job_id)).await?;
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
            .filter_map(|need| match &need.source {
                Source::Casting(casting) if casting.ours => Some(casting.number),
                _ => None,
            })
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
            operation: o.planned,
        })
        .collect();
    let pdf = route_card(&card, &operations, paper)
        .map_err(|error| WebError::Unprocessable(format!("No card can be printed: {error}.")))?;
    let name = format!("inline; filename=\"job-{}.pdf\"", job.number);
    Ok(HttpResponse::Ok()
        .content_type("application/pdf")
        .insert_header((CONTENT_DISPOSITION, name))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(pdf)
        .into())
}
