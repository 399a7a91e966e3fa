//! Parts that are made in a job, and what came out.

use super::body::Body;
use super::versions;
use crate::app::make_part::{self, SeenBatch};
use crate::db::jobs;
use crate::db::stock::{self, Batch};
use crate::estimating::made::MOST_PIECES;
use crate::web::ui::{Answer, FormErrors, SignedIn};
use actix_web::{HttpRequest, HttpResponse, web};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/jobs/{id}/batches`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/jobs/{id}/batches").get(list))
        .service(
            web::resource("/api/v1/jobs/{id}/batches/{batch}")
                .get(one)
                .put(came_out),
        );
}

#[derive(OpenApi)]
#[openapi(paths(list, one, came_out))]
pub(super) struct Doc;

/// A batch.
#[derive(Debug, Serialize, ToSchema)]
struct BatchShown {
    id: Uuid,
    item_id: Uuid,
    item: String,
    unit: String,
    pieces: u32,
    /// What the job itself still waits for of them.
    #[schema(value_type = String)]
    for_job: Decimal,
    /// Good pieces that came out; none until somebody has counted.
    #[schema(value_type = Option<String>)]
    came: Option<Decimal>,
    version: i32,
}

impl From<Batch> for BatchShown {
    fn from(batch: Batch) -> Self {
        Self {
            id: batch.id,
            item_id: batch.item_id,
            item: batch.item,
            unit: batch.unit,
            pieces: batch.pieces,
            for_job: batch.for_job,
            came: batch.came,
            version: batch.version,
        }
    }
}

/// The batches of a job.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/batches", operation_id = "list_batches", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job")),
    responses((status = 200, description = "The batches", body = Vec<BatchShown>)))]
async fn list(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    jobs::get(&mut tx, *id).await?;
    let batches = stock::batches_of_job(&mut tx, *id).await?;
    let shown: Vec<BatchShown> = batches.into_iter().map(BatchShown::from).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}

/// One batch.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/batches/{batch}", operation_id = "read_batch", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("batch" = Uuid, Path, description = "The batch")),
    responses((status = 200, description = "The batch; its version in ETag", body = BatchShown)))]
async fn one(who: SignedIn, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    let (job_id, id) = ids.into_inner();
    let batch = stock::batch(&mut who.begin().await?, job_id, id).await?;
    Ok(versions::tagged(batch.version, BatchShown::from(batch)))
}

/// Good pieces that came out.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct PiecesMade {
    came: String,
}

/// Books the good pieces that came out: into stock, and of that what the job waits for straight to the job.
#[utoipa::path(put, path = "/api/v1/jobs/{id}/batches/{batch}", operation_id = "count_batch", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("batch" = Uuid, Path, description = "The batch"),
           ("If-Match" = String, Header)),
    request_body = PiecesMade,
    responses((status = 200, description = "The batch as it is now", body = BatchShown),
              (status = 412, description = "Somebody else counted it meanwhile")))]
async fn came_out(
    req: HttpRequest,
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    body: Body<PiecesMade>,
) -> Answer {
    let (job_id, id) = ids.into_inner();
    let seen = SeenBatch {
        job_id,
        id,
        version: versions::seen(&req)?,
    };
    let mut errors = FormErrors::default();
    let most = Decimal::ZERO..=Decimal::from(MOST_PIECES);
    let Some(came) = errors.decimal("came", &body.came, most) else {
        return Err(errors.into());
    };
    let counted = make_part::came_out(&who.actor(), seen, came).await;
    let batch = counted.map_err(versions::passed)?;
    Ok(versions::tagged(batch.version, BatchShown::from(batch)))
}
