//! `ETag` and `If-Match` (RFC 9110, 8.8.3 and 13.1.1): whoever changes something says which version they saw.

use crate::db::DbError;
use crate::web::ui::{Reply, WebError};
use actix_web::http::header::{ETAG, IF_MATCH, LOCATION};
use actix_web::{HttpRequest, HttpResponse};
use serde::Serialize;
use std::fmt::Display;
use std::str::FromStr;

/// What a tag is, as a pattern.
pub(super) const PATTERN: &str = "^\"[0-9]{1,9}\"$";

/// The tag of a version.
fn tag(version: impl Display) -> String {
    format!("\"{version}\"")
}

/// Something as it is now, its version in the tag.
pub(super) fn tagged(version: impl Display, shown: impl Serialize) -> Reply {
    HttpResponse::Ok()
        .insert_header((ETAG, tag(version)))
        .json(shown)
        .into()
}

/// Something that was made, where it is found, its version in the tag.
pub(super) fn created(address: String, version: impl Display, shown: impl Serialize) -> Reply {
    HttpResponse::Created()
        .insert_header((LOCATION, address))
        .insert_header((ETAG, tag(version)))
        .json(shown)
        .into()
}

/// The version that a request says it saw.
///
/// # Errors
/// [`WebError::VersionNeeded`] without one, [`WebError::VersionPassed`] for what is no version of ours.
pub(super) fn seen<V: FromStr>(req: &HttpRequest) -> Result<V, WebError> {
    let tag = req.headers().get(IF_MATCH).ok_or(WebError::VersionNeeded)?;
    tag.to_str()
        .ok()
        .and_then(|tag| {
            tag.trim()
                .strip_prefix('"')?
                .strip_suffix('"')?
                .parse()
                .ok()
        })
        .ok_or(WebError::VersionPassed)
}

/// A stale version is a precondition that does not hold.
pub(super) fn passed(error: impl Into<WebError>) -> WebError {
    match error.into() {
        WebError::Store(DbError::Stale(_)) => WebError::VersionPassed,
        other => other,
    }
}
