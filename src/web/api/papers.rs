//! Papers of a job to print: the route card and the fitting sheet, as PDF.

use crate::web::screens::jobs::{fitting_sheet, route_card};
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, SignedIn};
use actix_web::{HttpRequest, web};
use utoipa::OpenApi;
use uuid::Uuid;

/// Under `/api/v1/jobs/{id}`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/jobs/{id}/card/{paper}").get(card))
        .service(web::resource("/api/v1/jobs/{id}/fitting-sheet/{paper}").get(sheet));
}

#[derive(OpenApi)]
#[openapi(paths(card, sheet))]
pub(super) struct Doc;

/// The route card of a job.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/card/{paper}", operation_id = "print_route_card", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("paper" = String, Path, description = "`a4` or `a5`")),
    responses((status = 200, description = "The card", body = Vec<u8>, content_type = "application/pdf")))]
async fn card(
    who: SignedIn,
    site: web::Data<Site>,
    req: HttpRequest,
    path: web::Path<(Uuid, String)>,
) -> Answer {
    route_card(who, site, req, path).await
}

/// What goes with the finished work: how it is fitted and run in.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/fitting-sheet/{paper}", operation_id = "print_fitting_sheet", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("paper" = String, Path, description = "`a4` or `a5`")),
    responses((status = 200, description = "The sheet", body = Vec<u8>, content_type = "application/pdf")))]
async fn sheet(who: SignedIn, at: web::Path<(Uuid, String)>) -> Answer {
    fitting_sheet(who, at).await
}
