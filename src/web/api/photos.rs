//! Photographs of a casting, sent and fetched as they are.

use super::idempotency::keyed;
use super::nothing;
use crate::app::put_photo;
use crate::db::casting_records::{self, Photo};
use crate::db::castings_on_shelf;
use crate::db::people::Role;
use crate::web::screens::shelf::{LARGEST, made_of};
use crate::web::shell::prepare::is_late;
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, Utc};
use futures_util::StreamExt;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/castings/{id}/photos`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/api/v1/castings/{id}/photos")
            .get(list)
            .post(add),
    )
    .service(
        web::resource("/api/v1/castings/{id}/photos/{photo}")
            .get(one)
            .delete(remove),
    );
}

#[derive(OpenApi)]
#[openapi(paths(list, add, one, remove))]
pub(super) struct Doc;

/// A photograph.
#[derive(Debug, Serialize, ToSchema)]
struct PhotoShown {
    id: Uuid,
    caption: String,
    added_at: DateTime<Utc>,
    by: Option<String>,
}

impl From<Photo> for PhotoShown {
    fn from(photo: Photo) -> Self {
        Self {
            id: photo.id,
            caption: photo.caption,
            added_at: photo.added_at,
            by: photo.person,
        }
    }
}

/// The photographs of a casting.
#[utoipa::path(get, path = "/api/v1/castings/{id}/photos", operation_id = "list_photos", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting")),
    responses((status = 200, description = "The photographs, the oldest first", body = Vec<PhotoShown>)))]
async fn list(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    castings_on_shelf::get(&mut tx, *id).await?;
    let photos = casting_records::photos(&mut tx, *id).await?;
    let shown: Vec<PhotoShown> = photos.into_iter().map(PhotoShown::from).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}

/// What a photograph shows.
#[derive(Debug, Deserialize)]
struct Caption {
    caption: String,
}

/// The bytes that come, no more than are read of a photograph.
async fn bytes_of(mut payload: web::Payload) -> Result<Vec<u8>, WebError> {
    let mut bytes = Vec::new();
    while let Some(chunk) = payload.next().await {
        let chunk = chunk.map_err(|error| match is_late(&error) {
            true => WebError::TooSlow,
            false => WebError::BadRequest(format!("The photograph did not arrive whole: {error}.")),
        })?;
        if bytes.len() + chunk.len() > LARGEST {
            return Err(WebError::TooLarge);
        }
        bytes.extend_from_slice(&chunk);
    }
    Ok(bytes)
}

/// Adds a photograph: JPEG, PNG or WebP, up to 12 MB. Place and camera are removed from it.
#[utoipa::path(post, path = "/api/v1/castings/{id}/photos", operation_id = "add_photo", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("caption" = String, Query, description = "What it shows"),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses((status = 201, description = "Its address in Location", body = PhotoShown)))]
async fn add(
    req: HttpRequest,
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    asked: web::Query<Caption>,
    payload: web::Payload,
) -> Answer {
    // What is read grows by doubling, so that at most twice its size is held.
    let share = site.uploads.share(2 * LARGEST as u64).await?;
    let bytes = bytes_of(payload).await?;
    let mut errors = FormErrors::default();
    let Some(caption) = errors.required_text("caption", &asked.caption, 120) else {
        return Err(errors.into());
    };
    let keyed = keyed(&req, &who, &(&caption, Sha256::digest(&bytes)))?;
    let photo = match made_of(&site, bytes, caption).await? {
        Ok(photo) => photo,
        Err(why) => {
            errors.add("photo", why);
            return Err(errors.into());
        }
    };
    drop(share);
    let photo_id = put_photo::put(&who.actor(), &site.photos, *id, &photo, keyed.as_ref()).await?;
    let kept = casting_records::photos(&mut who.begin().await?, *id).await?;
    let kept = kept.into_iter().find(|photo| photo.id == photo_id);
    let shown = PhotoShown::from(kept.ok_or(WebError::NotFound("this photograph"))?);
    Ok(HttpResponse::Created()
        .insert_header((LOCATION, format!("/api/v1/castings/{id}/photos/{photo_id}")))
        .json(shown)
        .into())
}

/// One photograph, as JPEG.
#[utoipa::path(get, path = "/api/v1/castings/{id}/photos/{photo}", operation_id = "read_photo", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("photo" = Uuid, Path, description = "The photograph")),
    responses((status = 200, description = "The picture", body = Vec<u8>, content_type = "image/jpeg")))]
async fn one(who: SignedIn, site: web::Data<Site>, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    let (id, photo) = ids.into_inner();
    let bytes = put_photo::body(&who.actor(), &site.photos, id, photo, false).await?;
    Ok(HttpResponse::Ok()
        .content_type("image/jpeg")
        .body(bytes)
        .into())
}

/// Removes a photograph.
#[utoipa::path(delete, path = "/api/v1/castings/{id}/photos/{photo}", operation_id = "remove_photo", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("photo" = Uuid, Path, description = "The photograph")),
    responses((status = 204, description = "It is removed")))]
async fn remove(who: SignedIn, site: web::Data<Site>, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    who.require(Role::Office)?;
    let (id, photo) = ids.into_inner();
    let files = put_photo::remove(&who.actor(), &site.photos, id, photo).await?;
    if let Err(why) = put_photo::remove_files(&files).await {
        tracing::error!(%why, ?files, "a photograph's files could not be removed");
    }
    Ok(nothing())
}
