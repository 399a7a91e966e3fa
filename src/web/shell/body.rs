//! Request bodies: form bodies are read only with the session's token, and what was typed into a refused one is kept.

use super::error::WebError;
use super::gate::SignedIn;
use super::prepare::is_late;
use crate::db::api_requests::Keyed;
use actix_web::dev::Payload;
use actix_web::error::PayloadError;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::{FromRequest, HttpMessage, HttpRequest, web};
use futures_util::StreamExt;
use futures_util::future::LocalBoxFuture;
use maud::{Markup, html};
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};
use std::ops::Deref;
use subtle::ConstantTimeEq;
use uuid::Uuid;

/// Largest form body, in bytes.
pub const FORM_LIMIT: usize = 256 * 1024;
/// The same of someone who need not have signed in.
const OPEN_LIMIT: usize = 64 * 1024;

/// The name of the hidden field with the session's token.
pub(super) const CSRF_FIELD: &str = "csrf";

/// The hidden field every form of a signed-in person carries.
#[must_use]
pub fn csrf_field(who: &SignedIn) -> Markup {
    html! { input type="hidden" name=(CSRF_FIELD) value=(who.csrf_token); }
}

/// The name of the hidden field by which a form that makes something is known when it arrives twice.
const ONCE_FIELD: &str = "once";

/// The hidden field of a form that makes something each time it is sent: pressed twice, it is the same press.
#[must_use]
pub fn once_field() -> Markup {
    html! { input type="hidden" name=(ONCE_FIELD) value=(Uuid::now_v7()); }
}

/// A form body whose token is that of the session (a synchroniser token, compared in constant time). Without it the
/// handler does not run.
#[derive(Debug, Clone)]
pub struct CheckedForm<T> {
    form: T,
    keyed: Option<Keyed>,
}

impl<T> CheckedForm<T> {
    /// The form itself.
    pub fn into_inner(self) -> T {
        self.form
    }

    /// The key under which it makes something, when it was shown with one ([`once_field`]). What was changed before it was sent
    /// again is another request.
    pub fn keyed(&self) -> Option<&Keyed> {
        self.keyed.as_ref()
    }
}

/// The key under which a form makes something, when it was shown with one: all that was sent, and the file beside it.
pub(super) fn key_of(req: &HttpRequest, who: &SignedIn, body: &[u8], file: &[u8]) -> Option<Keyed> {
    field_of(body, ONCE_FIELD).filter(|key| !key.is_empty())?;
    let mut all = Sha256::new();
    for part in [req.path().as_bytes(), body, file] {
        all.update(Sha256::digest(part));
    }
    let digest = all.finalize().into();
    Some(Keyed {
        person_id: who.person_id,
        key_hash: digest,
        digest,
    })
}

fn field_of(body: &[u8], name: &str) -> Option<String> {
    let mut fields = form_urlencoded::parse(body);
    let (_, value) = fields.find(|(field, _)| field == name)?;
    Some(value.into_owned())
}

impl<T> Deref for CheckedForm<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.form
    }
}

impl<T: DeserializeOwned + 'static> FromRequest for CheckedForm<T> {
    type Error = WebError;
    type Future = LocalBoxFuture<'static, Result<Self, WebError>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let who = req.extensions().get::<SignedIn>().cloned();
        let req = req.clone();
        let payload = payload.take();
        Box::pin(async move {
            let who = who.ok_or(WebError::SignInNeeded)?;
            let body = read_body(&req, payload, FORM_LIMIT).await?;
            req.extensions_mut().insert(TypedBody::form(body.clone()));
            let sent = field_of(&body, CSRF_FIELD).unwrap_or_default();
            if !bool::from(sent.as_bytes().ct_eq(who.csrf_token.as_bytes())) {
                return Err(WebError::FromEarlierSignIn { signed_in: true });
            }
            let keyed = key_of(&req, &who, &body, &[]);
            deserialize(&body).map(|form| Self { form, keyed })
        })
    }
}

/// A form body of someone who holds no token: at sign-in, and at a bench device. Both rely on the gate's check of the
/// sending site, and on a cookie that no other site's form carries (`SameSite`).
#[derive(Debug)]
pub(in crate::web) struct OpenForm<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for OpenForm<T> {
    type Error = WebError;
    type Future = LocalBoxFuture<'static, Result<Self, WebError>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let req = req.clone();
        let payload = payload.take();
        Box::pin(async move {
            let body = read_body(&req, payload, OPEN_LIMIT).await?;
            req.extensions_mut().insert(TypedBody::form(body.clone()));
            deserialize(&body).map(Self)
        })
    }
}

/// The form that a request brought, kept beside it until it is answered, so that what was typed can be given back with
/// whatever refusal there is.
#[derive(Debug, Clone)]
pub(in crate::web) struct TypedBody {
    /// As `application/x-www-form-urlencoded`.
    body: web::Bytes,
    /// Whether that is all of it, as it was sent, so that it can be sent again.
    whole: bool,
}

impl TypedBody {
    fn form(body: web::Bytes) -> Self {
        Self { body, whole: true }
    }

    /// The text fields of a form that also holds a file, or that is too large to be read to its end.
    pub(super) fn part(body: web::Bytes) -> Self {
        Self { body, whole: false }
    }

    /// What a person typed: field and value, without secrets and what the page filled in (token, version, keys of rows).
    pub(in crate::web) fn typed(&self) -> Vec<(String, String)> {
        self.fields()
            .filter(|(name, value)| {
                let hidden = [CSRF_FIELD, ONCE_FIELD, "version", "next"].contains(&name.as_str());
                !hidden && !value.trim().is_empty() && Uuid::try_parse(value).is_err()
            })
            .collect()
    }

    /// All fields of a form in which it can be sent again, without secrets and with the token of the present session;
    /// when nobody is known to be signed in, with its own. `None` when it cannot be sent again as it was.
    pub(in crate::web) fn again(&self, csrf: Option<&str>) -> Option<Vec<(String, String)>> {
        let again = self.fields().map(|(name, value)| match csrf {
            Some(csrf) if name == CSRF_FIELD => (name, csrf.to_owned()),
            _ => (name, value),
        });
        self.whole.then(|| again.collect())
    }

    fn fields(&self) -> impl Iterator<Item = (String, String)> {
        form_urlencoded::parse(&self.body)
            .filter(|(name, _)| !is_secret(name))
            .map(|(name, value)| (name.into_owned(), value.into_owned()))
    }
}

fn is_secret(name: &str) -> bool {
    name.contains("password") || name.contains("one_time") || name == "current" || name == "pin"
}

/// Reads and keeps the form of a request that no handler will answer; a body that is no form is left.
pub(in crate::web) async fn keep_typed(req: &HttpRequest, payload: Payload) {
    if let Ok(body) = read_body(req, payload, FORM_LIMIT).await {
        req.extensions_mut().insert(TypedBody::form(body));
    }
}

/// How much more than is kept of a body is read before the line is cut, so that the browser comes to hear the answer.
const PATIENCE: usize = 8;

async fn read_body(
    req: &HttpRequest,
    mut payload: Payload,
    limit: usize,
) -> Result<web::Bytes, WebError> {
    let kind = req
        .headers()
        .get(CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    if !kind
        .to_ascii_lowercase()
        .starts_with("application/x-www-form-urlencoded")
    {
        return Err(WebError::UnsupportedMedia(
            "A form is sent as application/x-www-form-urlencoded.".to_owned(),
        ));
    }
    let mut body = web::BytesMut::new();
    let mut all: usize = 0;
    while let Some(chunk) = payload.next().await {
        let chunk = match chunk {
            Ok(chunk) => chunk,
            Err(error) => {
                keep_part(req, &body.freeze());
                return Err(broken(error));
            }
        };
        all = all.saturating_add(chunk.len());
        if all > limit * PATIENCE {
            break;
        }
        let room = limit - body.len();
        body.extend_from_slice(chunk.get(..room.min(chunk.len())).unwrap_or_default());
    }
    let body = body.freeze();
    if all <= limit {
        return Ok(body);
    }
    keep_part(req, &body);
    Err(WebError::TooLarge)
}

/// Keeps the fields of a form that did not arrive whole; the last one was cut off somewhere.
fn keep_part(req: &HttpRequest, body: &web::Bytes) {
    let end = body.iter().rposition(|byte| *byte == b'&').unwrap_or(0);
    req.extensions_mut()
        .insert(TypedBody::part(body.slice(..end)));
}

fn broken(error: PayloadError) -> WebError {
    if is_late(&error) {
        return WebError::TooSlow;
    }
    WebError::BadRequest(format!("The form did not arrive whole: {error}."))
}

pub(super) fn deserialize<T: DeserializeOwned>(body: &[u8]) -> Result<T, WebError> {
    // PostgreSQL text cannot hold it, and no keyboard types it.
    if form_urlencoded::parse(body).any(|(_, value)| value.contains('\0')) {
        return Err(WebError::BadRequest(
            "The form holds a character that cannot be kept.".to_owned(),
        ));
    }
    serde_html_form::from_bytes(body)
        .map_err(|error| WebError::BadRequest(format!("The form does not read: {error}.")))
}

/// Whether the request was made by `live.js` as someone types: answer the same page (or just its fragment) without
/// saving more than the screen promises.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Live(pub bool);

impl FromRequest for Live {
    type Error = WebError;
    type Future = std::future::Ready<Result<Self, WebError>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        std::future::ready(Ok(Self(req.headers().contains_key("x-live"))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde::Deserialize;

    #[derive(Debug, Default, Deserialize, PartialEq)]
    #[serde(default)]
    struct Sample {
        name: String,
        skills: Vec<String>,
    }

    #[test]
    fn repeated_fields_are_lists_and_missing_ones_are_empty() {
        let form: Sample = deserialize(b"skills=bore&skills=hone&other=1").unwrap();
        assert_eq!(form.name, "");
        assert_eq!(form.skills, ["bore", "hone"]);
        let one: Sample = deserialize(b"name=a+b%26c&skills=bore").unwrap();
        assert_eq!(one.skills, ["bore"]);
        assert_eq!(one.name, "a b&c");
    }

    #[test]
    fn malformed_bodies_are_refused_in_words() {
        for body in [&b"name=a%00b"[..], b"name=1&name=2"] {
            let error = deserialize::<Sample>(body).unwrap_err();
            assert!(matches!(error, WebError::BadRequest(_)), "{error:?}");
        }
        assert!(deserialize::<Sample>(b"%%%&=&\xff\xfe=&").is_ok());
    }
}
