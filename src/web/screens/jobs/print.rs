//! What is printed of a job.

use crate::documents::Paper;
use crate::web::ui::{Reply, WebError};
use actix_web::HttpResponse;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION};

/// The size of paper that an address names.
///
/// # Errors
/// [`WebError::NotFound`].
pub(super) fn paper(named: &str) -> Result<Paper, WebError> {
    match named {
        "a4" => Ok(Paper::A4),
        "a5" => Ok(Paper::A5),
        _ => Err(WebError::NotFound("a sheet of this size")),
    }
}

/// A PDF to look at or keep under this name.
pub(super) fn pdf(name: &str, pdf: Vec<u8>) -> Reply {
    HttpResponse::Ok()
        .content_type("application/pdf")
        .insert_header((
            CONTENT_DISPOSITION,
            format!("inline; filename=\"{name}.pdf\""),
        ))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(pdf)
        .into()
}
