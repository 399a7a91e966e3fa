//! Request bodies: form bodies are read only with the session's token, and what was typed into a refused one is kept.

use super::error::WebError;
use super::gate::SignedIn;
use actix_web::dev::Payload;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::{FromRequest, HttpMessage, HttpRequest, web};
use futures_util::StreamExt;
use futures_util::future::LocalBoxFuture;
use maud::{Markup, html};
use serde::de::DeserializeOwned;
use std::ops::Deref;
use subtle::ConstantTimeEq;

/// Largest form body, in bytes.
pub const FORM_LIMIT: usize = 256 * 1024;

/// The name of the hidden field with the session's token.
pub(super) const CSRF_FIELD: &str = "csrf";

/// The hidden field every form of a signed-in person carries.
#[must_use]
pub fn csrf_field(who: &SignedIn) -> Markup {
    html! { input type="hidden" name=(CSRF_FIELD) value=(who.csrf_token); }
}

/// A form body whose token is that of the session (a synchroniser token, compared in constant time). Without it the
/// handler does not run.
#[derive(Debug, Clone)]
pub struct CheckedForm<T>(T);

impl<T> CheckedForm<T> {
    /// The form itself.
    pub fn into_inner(self) -> T {
        self.0
    }
}

impl<T> Deref for CheckedForm<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.0
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
            let body = read_body(&req, payload).await?;
            let sent = form_urlencoded::parse(&body)
                .find(|(name, _)| name == CSRF_FIELD)
                .map(|(_, value)| value.into_owned())
                .unwrap_or_default();
            if !bool::from(sent.as_bytes().ct_eq(who.csrf_token.as_bytes())) {
                return Err(WebError::FromEarlierSignIn {
                    signed_in: true,
                    typed: typed(&body),
                });
            }
            deserialize(&body).map(Self)
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
        Box::pin(async move { deserialize(&read_body(&req, payload).await?).map(Self) })
    }
}

/// What a person typed into a form that cannot be taken: field and value, without what they did not type and secrets.
fn typed(body: &[u8]) -> Vec<(String, String)> {
    form_urlencoded::parse(body)
        .filter(|(name, value)| {
            let secret = name.contains("password") || name == "current" || name == "pin";
            !secret && name != CSRF_FIELD && name != "version" && !value.trim().is_empty()
        })
        .map(|(name, value)| (name.into_owned(), value.into_owned()))
        .collect()
}

/// What was typed into a form that arrives when nobody is signed in any more; empty when the body is not one.
pub(in crate::web) async fn typed_without_session(
    req: &HttpRequest,
    payload: Payload,
) -> Vec<(String, String)> {
    read_body(req, payload)
        .await
        .map_or_else(|_| Vec::new(), |body| typed(&body))
}

async fn read_body(req: &HttpRequest, mut payload: Payload) -> Result<web::BytesMut, WebError> {
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
    while let Some(chunk) = payload.next().await {
        let chunk = chunk.map_err(|error| {
            WebError::BadRequest(format!("The form did not arrive whole: {error}."))
        })?;
        if body.len() + chunk.len() > FORM_LIMIT {
            return Err(WebError::TooLarge);
        }
        body.extend_from_slice(&chunk);
    }
    Ok(body)
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
