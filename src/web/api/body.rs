//! What is sent as JSON. Unlike in a form of the screens, a field that is not known is complained about.

use crate::web::ui::{FormErrors, WebError};
use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest, web};
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::future::Future;
use std::ops::Deref;
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
        complain_of_nul("", &sent, &mut errors);
        let unknown = |path: serde_ignored::Path<'_>| {
            errors.add(&path.to_string(), "There is no such field");
        };
        let form = serde_ignored::deserialize(&sent, unknown)
            .map_err(|why| WebError::Unprocessable(format!("The JSON does not fit: {why}.")))?;
        if errors.is_empty() {
            Ok(Self { form, sent })
        } else {
            Err(WebError::from(errors).into())
        }
    }
}

/// PostgreSQL text cannot hold the character 0, and no keyboard types it.
fn complain_of_nul(at: &str, sent: &Value, errors: &mut FormErrors) {
    let inside = |name: &str| match at {
        "" => name.to_owned(),
        _ => format!("{at}.{name}"),
    };
    match sent {
        Value::String(text) if text.contains('\0') => {
            errors.add(at, "This contains a character that cannot be stored");
        }
        Value::Array(all) => {
            for (n, one) in all.iter().enumerate() {
                complain_of_nul(&inside(&n.to_string()), one, errors);
            }
        }
        Value::Object(all) => {
            for (name, one) in all {
                complain_of_nul(&inside(name), one, errors);
            }
        }
        _ => {}
    }
}

impl<T> Deref for Body<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.form
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
