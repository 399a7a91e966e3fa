//! Gives every refusal its words: a page for people, a problem document (RFC 9457) for programs.

use super::forms::spoken;
use super::page::Page;
use crate::app;
use crate::web::shell::body::TypedBody;
use crate::web::shell::error::{Refusal, WebError, Why, is_for_machines};
use crate::web::shell::gate::SignedIn;
use crate::web::shell::site::Site;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::StatusCode;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::middleware::Next;
use actix_web::{HttpMessage, HttpRequest, HttpResponse, Responder, web};
use chrono::Utc;
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
    if let Some(error) = response
        .response()
        .error()
        .filter(|_| status.is_server_error())
    {
        log(response.request(), status, error, id.as_deref());
    }
    let (request, bare) = response.into_parts();
    let kept = Kept::of(&request);
    let words = words(status, refusal, id, &kept);
    let mut response = if is_for_machines(&request) {
        problem(status, &words)
    } else {
        page(status, &words, &kept)
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

/// A fault of ours is an error; a database that is away or busy is told by its own look at it, and worth a line here.
fn log(request: &HttpRequest, status: StatusCode, error: &actix_web::Error, id: Option<&str>) {
    if status == StatusCode::SERVICE_UNAVAILABLE {
        tracing::warn!(request_id = id, %error, "a request could not be answered now");
    } else {
        tracing::error!(request_id = id, cause = ?error, "a request failed by a fault of ours");
    }
    if let (Some(WebError::Store(error)), Some(site)) =
        (error.as_error(), request.app_data::<web::Data<Site>>())
    {
        site.readiness.note(error, Utc::now());
    }
}

/// Who sent the refused request, and what they typed.
struct Kept {
    who: Option<SignedIn>,
    /// Whether it was to change something.
    writes: bool,
    typed: Vec<(String, String)>,
    /// Where it was sent, and with what it can be sent again.
    again: Option<(String, Vec<(String, String)>)>,
}

impl Kept {
    fn of(request: &HttpRequest) -> Self {
        let who = request.extensions().get::<SignedIn>().cloned();
        let body = request.extensions().get::<TypedBody>().cloned();
        let csrf = who.as_ref().map(|who| who.csrf_token.as_str());
        let again = body.as_ref().and_then(|body| body.again(csrf));
        let place = request
            .uri()
            .path_and_query()
            .map_or("/", |place| place.as_str());
        Self {
            writes: !request.method().is_safe(),
            typed: body.map(|body| body.typed()).unwrap_or_default(),
            again: again.map(|fields| (place.to_owned(), fields)),
            who,
        }
    }
}

struct Words {
    title: &'static str,
    refusal: Refusal,
    id: Option<String>,
}

fn words(status: StatusCode, refusal: Option<Refusal>, id: Option<String>, kept: &Kept) -> Words {
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
        StatusCode::REQUEST_TIMEOUT => ("Too slow", "The request did not arrive in time."),
        StatusCode::PAYLOAD_TOO_LARGE => ("Too large", "That is more than can be sent at once."),
        StatusCode::UNSUPPORTED_MEDIA_TYPE => {
            ("Not understood", "This kind of content is not read here.")
        }
        StatusCode::UNPROCESSABLE_ENTITY => (
            "That can’t be done yet",
            "Correct what is wrong and send it again.",
        ),
        StatusCode::TOO_MANY_REQUESTS => ("Wait a moment", "Too many tries. Wait, then try again."),
        StatusCode::SERVICE_UNAVAILABLE => match (kept.writes, kept.typed.is_empty()) {
            (false, _) => (
                "Not available now",
                "The database does not answer. Try again in a moment.",
            ),
            (true, true) => (
                "Cannot save now",
                "The database does not answer. Try again in a moment.",
            ),
            (true, false) => (
                "Cannot save now",
                "The database does not answer. Your text is kept below: send it again in a moment.",
            ),
        },
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
        send_again: false,
    });
    refusal.send_again |= status.is_server_error() || status == StatusCode::TOO_MANY_REQUESTS;
    match &refusal.why {
        Some(Why::Refused(why)) => {
            refusal.detail = super::words::refusal(why, Utc::now().date_naive())
        }
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
    if let Some(Why::Refused(app::Refusal::Doubts(doubts))) = &words.refusal.why {
        document.insert("doubts".to_owned(), json!(doubts));
    }
    if let Some(id) = &words.id {
        document.insert("instance".to_owned(), json!(format!("urn:uuid:{id}")));
    }
    HttpResponse::build(status)
        .content_type("application/problem+json")
        .body(Value::Object(document).to_string())
}

fn page(status: StatusCode, words: &Words, kept: &Kept) -> Page {
    let again = kept
        .again
        .as_ref()
        .filter(|_| words.refusal.send_again && kept.writes);
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
            @if !kept.typed.is_empty() {
                section.card aria-labelledby="typed" {
                    h2 #typed { "What you typed, ready to copy" }
                    dl.typed {
                        @for (field, value) in &kept.typed { dt { (spoken(field)) } dd { (value) } }
                    }
                }
            }
            @if status == StatusCode::UNAUTHORIZED {
                // In a tab of its own, so that what was typed stays in sight.
                p { a.button href="/sign-in" target="_blank" { "Sign in" } }
            } @else if kept.typed.is_empty() && again.is_none() {
                p { a.button href="/" { "Home" } }
            }
            @if let Some((place, fields)) = again {
                form method="post" action=(place) {
                    @for (name, value) in fields { input type="hidden" name=(name) value=(value); }
                    div.actions { button type="submit" { "Send again" } }
                }
            }
        }
    };
    let page = match &kept.who {
        Some(who) => Page::new(who, words.title),
        None => Page::open(words.title),
    };
    page.status(status).body(body)
}
