//! Gives every refusal its words: a page for people, a problem document (RFC 9457) for programs.

use super::forms::spoken;
use super::page::Page;
use crate::web::shell::error::{Refusal, Why, is_for_machines};
use crate::web::shell::gate::SignedIn;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::StatusCode;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::middleware::Next;
use actix_web::{HttpMessage, HttpResponse, Responder};
use maud::html;
use serde_json::{Map, Value, json};
use tracing_actix_web::RequestId;

/// The middleware that gives every refusal its words, whoever refused: ours, or the framework.
pub(in crate::web) async fn render(
    req: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, actix_web::Error> {
    let response = next.call(req).await?.map_into_boxed_body();
    let status = response.status();
    let complete = response
        .headers()
        .get(CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|kind| kind.starts_with("text/html") || kind.contains("json"));
    if complete || !(status.is_client_error() || status.is_server_error()) {
        return Ok(response);
    }
    let refusal = response.response().extensions().get::<Refusal>().cloned();
    let id = response
        .request()
        .extensions()
        .get::<RequestId>()
        .map(ToString::to_string);
    if status.is_server_error() {
        let cause = response
            .response()
            .error()
            .map(|error| format!("{error:?}"))
            .unwrap_or_default();
        tracing::error!(
            request_id = id,
            cause,
            "a request failed by a fault of ours"
        );
    }
    let words = words(status, refusal, id);
    let (request, bare) = response.into_parts();
    let mut response = if is_for_machines(&request) {
        problem(status, &words)
    } else {
        let who = request.extensions().get::<SignedIn>().cloned();
        page(status, &words, who.as_ref())
            .respond_to(&request)
            .map_into_boxed_body()
    };
    for (name, value) in bare.headers() {
        if *name != CONTENT_TYPE {
            response.headers_mut().append(name.clone(), value.clone());
        }
    }
    Ok(ServiceResponse::new(request, response))
}

struct Words {
    title: &'static str,
    refusal: Refusal,
    id: Option<String>,
}

fn words(status: StatusCode, refusal: Option<Refusal>, id: Option<String>) -> Words {
    let (title, otherwise) = match status {
        StatusCode::BAD_REQUEST => ("Not understood", "The request could not be read."),
        StatusCode::UNAUTHORIZED => ("Sign in", "Sign in, then try again."),
        StatusCode::FORBIDDEN => (
            "You don’t have access to this",
            "Ask the owner of the shop.",
        ),
        StatusCode::NOT_FOUND => (
            "Page not found",
            "Check the address. The page may have been deleted.",
        ),
        StatusCode::METHOD_NOT_ALLOWED => (
            "Not allowed here",
            "This address does not take that kind of request.",
        ),
        StatusCode::CONFLICT => (
            "Someone else changed this",
            "Your changes are not saved. Load the page again and make them on top.",
        ),
        StatusCode::PAYLOAD_TOO_LARGE => ("Too large", "That is more than can be sent at once."),
        StatusCode::UNSUPPORTED_MEDIA_TYPE => {
            ("Not understood", "This kind of content is not read here.")
        }
        StatusCode::UNPROCESSABLE_ENTITY => (
            "That can’t be done yet",
            "Correct what is wrong and send it again.",
        ),
        StatusCode::TOO_MANY_REQUESTS => ("Wait a moment", "Too many tries. Wait, then try again."),
        other if other.is_server_error() => (
            "Something went wrong",
            "Nothing was saved. Try again. If it happens again, tell whoever looks after this program and give them the number below.",
        ),
        _ => ("That did not work", "The request was refused."),
    };
    let mut refusal = refusal.unwrap_or_else(|| Refusal {
        why: None,
        detail: otherwise.to_owned(),
        fields: Vec::new(),
        typed: Vec::new(),
    });
    match &refusal.why {
        Some(Why::Refused(why)) => refusal.detail = super::words::refusal(why),
        Some(Why::Needed(by)) => refusal.detail = super::words::needed(by),
        Some(Why::Taken(what)) => {
            let (field, message) = super::words::taken(*what);
            message.clone_into(&mut refusal.detail);
            refusal.fields.push((field.to_owned(), message.to_owned()));
        }
        None => {}
    }
    Words {
        title,
        refusal,
        id: id.filter(|_| status.is_server_error()),
    }
}

/// A problem document, RFC 9457: `type` is left out and so means `about:blank`.
fn problem(status: StatusCode, words: &Words) -> HttpResponse {
    let mut document = Map::new();
    document.insert("title".to_owned(), json!(words.title));
    document.insert("status".to_owned(), json!(status.as_u16()));
    document.insert("detail".to_owned(), json!(words.refusal.detail));
    if !words.refusal.fields.is_empty() {
        let errors: Vec<Value> = words
            .refusal
            .fields
            .iter()
            .map(|(field, message)| json!({"field": field, "detail": message}))
            .collect();
        document.insert("errors".to_owned(), Value::Array(errors));
    }
    if let Some(id) = &words.id {
        document.insert("instance".to_owned(), json!(format!("urn:uuid:{id}")));
    }
    HttpResponse::build(status)
        .content_type("application/problem+json")
        .body(Value::Object(document).to_string())
}

fn page(status: StatusCode, words: &Words, who: Option<&SignedIn>) -> Page {
    let body = html! {
        div.narrow {
            h1 { (words.title) }
            p.lead { (words.refusal.detail) }
            @if !words.refusal.fields.is_empty() {
                ul { @for (_, message) in &words.refusal.fields { li { (message) } } }
            }
            @if let Some(id) = &words.id {
                p.muted { "Number in the log: " code { (id) } "." }
            }
            @if !words.refusal.typed.is_empty() {
                section.card aria-labelledby="typed" {
                    h2 #typed { "What you typed, ready to copy" }
                    dl.typed {
                        @for (field, value) in &words.refusal.typed { dt { (spoken(field)) } dd { (value) } }
                    }
                }
            }
            p {
                @if status == StatusCode::UNAUTHORIZED {
                    // In a tab of its own, so that what was typed stays in sight.
                    a.button href="/sign-in" target="_blank" { "Sign in" }
                } @else if words.refusal.typed.is_empty() {
                    a.button href="/" { "Home" }
                }
            }
        }
    };
    let page = match who {
        Some(who) => Page::new(who, words.title),
        None => Page::open(words.title),
    };
    page.status(status).body(body)
}
