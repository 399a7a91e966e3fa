//! A form with a file in it (RFC 7578): its fields and one file, each read no further than its limit.

use super::body::{CSRF_FIELD, FORM_LIMIT, TypedBody, key_of};
use super::budget::Share;
use super::error::WebError;
use super::prepare::is_late;
use super::site::Site;
use crate::db::api_requests::Keyed;
use crate::web::shell::gate::SignedIn;
use actix_multipart::{Field, Multipart, MultipartError};
use actix_web::dev::Payload;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::{FromRequest, HttpMessage, HttpRequest, web};
use futures_util::StreamExt;
use futures_util::future::LocalBoxFuture;
use serde::de::DeserializeOwned;
use subtle::ConstantTimeEq;

/// Most parts in a form.
const PARTS: usize = 40;

/// A form with a file whose token is that of the session. A file of more than `LIMIT` bytes is read to its end and not
/// kept, so that the screen can say so beside its field with nothing typed lost.
#[derive(Debug)]
pub struct CheckedUpload<T, const LIMIT: usize> {
    /// The other fields.
    pub form: T,
    /// The file.
    pub file: Uploaded,
    /// The key under which it makes something, when it was shown with one.
    pub keyed: Option<Keyed>,
    /// The memory the file takes of what all uploads share, for as long as it is held.
    pub share: Share,
}

/// What came in a file's field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Uploaded {
    /// No file was chosen.
    Nothing,
    /// The file. What it calls itself and what kind it says it is are not believed and so not kept.
    File(Vec<u8>),
    /// More than is read.
    TooLarge,
}

impl<T: DeserializeOwned + 'static, const LIMIT: usize> FromRequest for CheckedUpload<T, LIMIT> {
    type Error = WebError;
    type Future = LocalBoxFuture<'static, Result<Self, WebError>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let req = req.clone();
        let payload = payload.take();
        Box::pin(async move {
            let who = req.extensions().get::<SignedIn>().cloned();
            let who = who.ok_or(WebError::SignInNeeded)?;
            let site = req
                .app_data::<web::Data<Site>>()
                .ok_or_else(|| WebError::Internal("the site is not configured".to_owned()))?;
            // What is read grows by doubling, so that at most twice its size is held.
            let share = site.uploads.share(2 * LIMIT as u64).await?;
            let mut fields = Vec::new();
            let file = read(&req, payload, LIMIT, &mut fields).await;
            // One way from typed text to a form: by way of what a form without a file would have sent.
            let body = form_urlencoded::Serializer::new(String::new())
                .extend_pairs(&fields)
                .finish();
            let body = web::Bytes::from(body);
            req.extensions_mut().insert(TypedBody::part(body.clone()));
            let file = file?;
            let sent = fields.iter().find(|(name, _)| name == CSRF_FIELD);
            let sent = sent.map_or("", |(_, value)| value.as_str());
            if !bool::from(sent.as_bytes().ct_eq(who.csrf_token.as_bytes())) {
                return Err(WebError::FromEarlierSignIn { signed_in: true });
            }
            let bytes = match &file {
                Uploaded::File(bytes) => bytes.as_slice(),
                Uploaded::Nothing | Uploaded::TooLarge => &[],
            };
            Ok(Self {
                keyed: key_of(&req, &who, &body, bytes),
                form: super::body::deserialize(&body)?,
                file,
                share,
            })
        })
    }
}

/// Reads the fields of a form by name, as far as it can be read, and its file.
async fn read(
    req: &HttpRequest,
    payload: Payload,
    limit: usize,
    fields: &mut Vec<(String, String)>,
) -> Result<Uploaded, WebError> {
    let kind = req
        .headers()
        .get(CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    if !kind.to_ascii_lowercase().starts_with("multipart/form-data") {
        return Err(WebError::UnsupportedMedia(
            "A form with a file is sent as multipart/form-data.".to_owned(),
        ));
    }
    let mut parts = Multipart::new(req.headers(), payload);
    let mut file = Uploaded::Nothing;
    let (mut count, mut text) = (0, 0);
    while let Some(part) = parts.next().await {
        let mut part = part.map_err(broken)?;
        count += 1;
        if count > PARTS {
            return Err(WebError::TooLarge);
        }
        let named = part.content_disposition();
        let is_file = named.is_some_and(|d| d.get_filename().is_some());
        let name = named
            .and_then(|d| d.get_name())
            .unwrap_or_default()
            .to_owned();
        if is_file {
            let (bytes, whole) = keep(&mut part, limit).await?;
            file = match (whole, bytes.is_empty()) {
                (false, _) => Uploaded::TooLarge,
                (true, true) => Uploaded::Nothing,
                (true, false) => Uploaded::File(bytes),
            };
        } else {
            let (bytes, whole) = keep(&mut part, FORM_LIMIT).await?;
            text += bytes.len();
            if !whole || text > FORM_LIMIT {
                return Err(WebError::TooLarge);
            }
            let value = String::from_utf8(bytes).map_err(|_| {
                WebError::BadRequest("The form holds text that does not read.".to_owned())
            })?;
            fields.push((name, value));
        }
    }
    Ok(file)
}

/// How much more than its limit of a part is read before the line is cut.
const PATIENCE: usize = 8;

/// The bytes of a part, and whether that is all of them. What goes past the limit is read, so that the browser comes to
/// hear the answer, and thrown away.
async fn keep(part: &mut Field, limit: usize) -> Result<(Vec<u8>, bool), WebError> {
    let mut bytes = Vec::new();
    let mut all: usize = 0;
    while let Some(chunk) = part.next().await {
        let chunk = chunk.map_err(broken)?;
        all = all.saturating_add(chunk.len());
        if all > limit.saturating_mul(PATIENCE) {
            return Err(WebError::TooLarge);
        }
        if all <= limit {
            bytes.extend_from_slice(&chunk);
        }
    }
    Ok((bytes, all <= limit))
}

fn broken(error: MultipartError) -> WebError {
    if matches!(&error, MultipartError::Payload(error) if is_late(error)) {
        return WebError::TooSlow;
    }
    WebError::BadRequest(format!("The form did not arrive whole: {error}."))
}
