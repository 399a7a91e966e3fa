//! A form of the screens sent as JSON: the same fields, read by the same code. Unlike in a form, a field that is not known is
//! complained about.

use crate::web::ui::{FormErrors, WebError};
use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest, web};
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::future::Future;
use std::pin::Pin;

/// What was sent, with its text for the digest of a key.
pub(super) struct Body<T> {
    /// As the form holds it.
    pub(super) form: T,
    /// As it was sent.
    pub(super) sent: Value,
}

impl<T: DeserializeOwned> Body<T> {
    fn read(sent: Value) -> Result<Self, actix_web::Error> {
        let mut errors = FormErrors::default();
        let unknown = |path: serde_ignored::Path<'_>| {
            errors.add(&path.to_string(), "There is no such field");
        };
        let form = serde_ignored::deserialize(&sent, unknown)
            .map_err(|why| WebError::BadRequest(format!("The body does not read: {why}.")))?;
        if errors.is_empty() {
            Ok(Self { form, sent })
        } else {
            Err(WebError::from(errors).into())
        }
    }
}

impl<T: DeserializeOwned + 'static> FromRequest for Body<T> {
    type Error = actix_web::Error;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Self::Error>>>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let json = web::Json::<Value>::from_request(req, payload);
        Box::pin(async move { Self::read(json.await?.into_inner()) })
    }
}
