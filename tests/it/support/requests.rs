//! Requests to the JSON interface and what they are answered with.

use super::site::Visitor;
use rust_decimal::Decimal;
use serde_json::Value;
use std::collections::BTreeSet;

/// An answer.
pub struct Answered {
    pub status: u16,
    /// The version, for `If-Match`; empty when it has none.
    pub tag: String,
    /// Null when it has none.
    pub body: Value,
}

/// Sends a request with the headers that are not empty; without a body when that is null.
pub async fn send(
    visitor: &Visitor,
    (method, path): (&str, &str),
    headers: &[(&str, &str)],
    body: Value,
) -> Answered {
    let mut request = visitor.request(method, path);
    for (name, value) in headers.iter().filter(|(_, value)| !value.is_empty()) {
        request = request.header(*name, *value);
    }
    if !body.is_null() {
        request = request.json(&body);
    }
    let answer = request.send().await.unwrap();
    let tag = answer.headers().get("etag");
    Answered {
        status: answer.status().as_u16(),
        tag: tag.map_or("", |tag| tag.to_str().unwrap()).to_owned(),
        body: answer.json().await.unwrap_or_default(),
    }
}

/// Asks for a change of the version that was seen.
pub async fn ask(visitor: &Visitor, method: &str, path: &str, tag: &str, body: Value) -> Answered {
    send(visitor, (method, path), &[("if-match", tag)], body).await
}

/// Changes some fields of the version that was seen.
pub async fn patch(visitor: &Visitor, path: &str, tag: &str, body: &Value) -> Answered {
    ask(visitor, "PATCH", path, tag, body.clone()).await
}

/// Makes something.
pub async fn post(visitor: &Visitor, path: &str, body: &Value) -> Answered {
    send(visitor, ("POST", path), &[], body.clone()).await
}

/// Makes something once under a key.
pub async fn keyed(visitor: &Visitor, path: &str, key: &str, body: Value) -> Answered {
    send(visitor, ("POST", path), &[("idempotency-key", key)], body).await
}

/// Reads what may or may not be there.
pub async fn look(visitor: &Visitor, path: &str) -> Answered {
    send(visitor, ("GET", path), &[], Value::Null).await
}

/// Reads what must be there.
pub async fn read(visitor: &Visitor, path: &str) -> Answered {
    let read = look(visitor, path).await;
    assert_eq!(read.status, 200, "{path}: {}", read.body);
    read
}

/// The key of what was answered.
pub fn id(of: &Value) -> &str {
    of["id"].as_str().unwrap()
}

/// A number that is sent as text.
pub fn number(text: &Value) -> Decimal {
    text.as_str().unwrap().parse().unwrap()
}

/// The fields that were complained about.
pub fn fields(refused: &Value) -> BTreeSet<&str> {
    let errors = refused["errors"].as_array().into_iter().flatten();
    errors
        .map(|error| error["field"].as_str().unwrap())
        .collect()
}
