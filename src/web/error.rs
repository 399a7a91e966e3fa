//! One error type at the edge: a page with words for people, a problem document (RFC 9457) for machines.

use super::forms::spoken;
use super::gate::SignedIn;
use super::page::Page;
use crate::store::StoreError;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::StatusCode;
use actix_web::http::header::{ACCEPT, CONTENT_TYPE, RETRY_AFTER};
use actix_web::middleware::Next;
use actix_web::{HttpMessage, HttpRequest, HttpResponse, Responder, ResponseError};
use maud::{Markup, html};
use serde_json::{Map, Value, json};
use tracing_actix_web::RequestId;

const SIGNED_OUT: &str = "You were signed out meanwhile, so nothing was saved.";
const SIGNED_IN_ANEW: &str = "This form belongs to an earlier sign-in, so nothing was saved. Load its page again and send it once more.";

/// Why a request was not answered as asked.
#[derive(Debug, thiserror::Error)]
pub enum WebError {
    /// From the store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// There is no such thing here; the words follow "We cannot find".
    #[error("{0} was not found")]
    NotFound(&'static str),
    /// They may not; a sentence saying why.
    #[error("{0}")]
    Forbidden(String),
    /// Nobody is signed in.
    #[error("Sign in first.")]
    SignInNeeded,
    /// The bench was asked for by a device that is not known, or no longer.
    #[error(
        "The bench works on devices the owner has registered, and this is not one of them, or no longer. The owner signs \
         in on this device and registers it under Shop, Bench devices. Entries that wait on it are kept until then."
    )]
    DeviceUnknown,
    /// A form arrived that no present sign-in sent: signed out since, or signed in anew. What was typed is given back.
    #[error("{}", if *.signed_in { SIGNED_IN_ANEW } else { SIGNED_OUT })]
    FromEarlierSignIn {
        /// Whether someone is signed in now.
        signed_in: bool,
        /// Field and value, as typed, without secrets.
        typed: Vec<(String, String)>,
    },
    /// The request does not read; a sentence saying why.
    #[error("{0}")]
    BadRequest(String),
    /// The request reads, but cannot be done as it stands; a sentence saying why.
    #[error("{0}")]
    Unprocessable(String),
    /// What was typed is not right, field by field, for clients of the JSON interface.
    #[error("What was sent has mistakes in it.")]
    Invalid(super::FormErrors),
    /// The body is not of a kind we read.
    #[error("{0}")]
    UnsupportedMedia(String),
    /// The body is larger than we read.
    #[error("That is more than can be sent at once.")]
    TooLarge,
    /// Too often; a sentence, and the seconds to wait.
    #[error("{message}")]
    TooMany {
        /// What to say.
        message: String,
        /// Seconds.
        retry_after: u64,
    },
    /// A fault of ours; the words go to the log only.
    #[error("{0}")]
    Internal(String),
}

impl ResponseError for WebError {
    fn status_code(&self) -> StatusCode {
        match self {
            Self::Store(error) => match error {
                StoreError::NotFound(_) => StatusCode::NOT_FOUND,
                StoreError::Stale(_) | StoreError::InUse(_) => StatusCode::CONFLICT,
                StoreError::Duplicate { .. } | StoreError::Refused(_) => {
                    StatusCode::UNPROCESSABLE_ENTITY
                }
                StoreError::Corrupt { .. } | StoreError::Database(_) => {
                    StatusCode::INTERNAL_SERVER_ERROR
                }
            },
            Self::NotFound(_) => StatusCode::NOT_FOUND,
            Self::Forbidden(_) => StatusCode::FORBIDDEN,
            Self::FromEarlierSignIn {
                signed_in: true, ..
            } => StatusCode::FORBIDDEN,
            Self::SignInNeeded | Self::DeviceUnknown | Self::FromEarlierSignIn { .. } => {
                StatusCode::UNAUTHORIZED
            }
            Self::BadRequest(_) => StatusCode::BAD_REQUEST,
            Self::Unprocessable(_) | Self::Invalid(_) => StatusCode::UNPROCESSABLE_ENTITY,
            Self::UnsupportedMedia(_) => StatusCode::UNSUPPORTED_MEDIA_TYPE,
            Self::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
            Self::TooMany { .. } => StatusCode::TOO_MANY_REQUESTS,
            Self::Internal(_) => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    /// Bare: `dress` knows the request and gives it its page or problem document.
    fn error_response(&self) -> HttpResponse {
        let mut response = HttpResponse::build(self.status_code());
        if let Self::TooMany { retry_after, .. } = self {
            response.insert_header((RETRY_AFTER, *retry_after));
        }
        let response = response.finish();
        match self.told() {
            Some(told) => {
                let mut response = response;
                response.extensions_mut().insert(told);
                response
            }
            None => response,
        }
    }
}

/// What is told of an error, beyond its status.
#[derive(Debug, Clone)]
struct Told {
    detail: String,
    /// Complaints by field.
    fields: Vec<(String, String)>,
    /// What was typed, given back to copy from.
    typed: Vec<(String, String)>,
}

impl WebError {
    fn told(&self) -> Option<Told> {
        let detail = match self {
            Self::Store(StoreError::Corrupt { .. } | StoreError::Database(_))
            | Self::Internal(_) => return None,
            Self::NotFound(what) | Self::Store(StoreError::NotFound(what)) => {
                format!(
                    "We cannot find {what}. It may have been removed, or the address may be mistyped."
                )
            }
            Self::Store(StoreError::Stale(what)) => format!(
                "{what} was changed by someone else while you were looking at it, so nothing was saved. \
                 Go back, load it again, and make your change on top of theirs."
            ),
            other => other.to_string(),
        };
        let fields = match self {
            Self::Invalid(errors) => errors
                .iter()
                .map(|(field, message)| (field.to_owned(), message.to_owned()))
                .collect(),
            Self::Store(StoreError::Duplicate { field, message }) => {
                vec![((*field).to_owned(), message.clone())]
            }
            _ => Vec::new(),
        };
        let typed = match self {
            Self::FromEarlierSignIn { typed, .. } => typed.clone(),
            _ => Vec::new(),
        };
        Some(Told {
            detail,
            fields,
            typed,
        })
    }
}

/// Whether the answer is for a program rather than a person.
pub(super) fn is_for_machines(req: &HttpRequest) -> bool {
    let accept = req
        .headers()
        .get(ACCEPT)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    req.path().starts_with("/api/") || (accept.contains("json") && !accept.contains("text/html"))
}

/// The middleware that gives every refusal its words, whoever refused: ours, or the framework.
pub(super) async fn dress(
    req: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, actix_web::Error> {
    let response = next.call(req).await?.map_into_boxed_body();
    let status = response.status();
    let dressed = response
        .headers()
        .get(CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|kind| kind.starts_with("text/html") || kind.contains("json"));
    if dressed || !(status.is_client_error() || status.is_server_error()) {
        return Ok(response);
    }
    let told = response.response().extensions().get::<Told>().cloned();
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
    let words = words(status, told, id);
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
    told: Told,
    id: Option<String>,
}

fn words(status: StatusCode, told: Option<Told>, id: Option<String>) -> Words {
    let (title, otherwise) = match status {
        StatusCode::BAD_REQUEST => ("That did not read", "What was sent could not be read."),
        StatusCode::UNAUTHORIZED => ("You are not signed in", "Sign in, then try again."),
        StatusCode::FORBIDDEN => ("Not for you to do", "Ask the owner of the shop."),
        StatusCode::NOT_FOUND => (
            "Nothing here",
            "We cannot find this page. It may have been removed, or the address may be mistyped.",
        ),
        StatusCode::METHOD_NOT_ALLOWED => (
            "Not in that way",
            "This address does not take that kind of request.",
        ),
        StatusCode::CONFLICT => (
            "Changed meanwhile",
            "It was changed by someone else, so nothing was saved.",
        ),
        StatusCode::PAYLOAD_TOO_LARGE => {
            ("Too much at once", "That is more than can be sent at once.")
        }
        StatusCode::UNSUPPORTED_MEDIA_TYPE => (
            "That did not read",
            "This kind of content is not read here.",
        ),
        StatusCode::UNPROCESSABLE_ENTITY => {
            ("That cannot be done yet", "Something in it is not right.")
        }
        StatusCode::TOO_MANY_REQUESTS => ("Wait a moment", "That was tried too often."),
        other if other.is_server_error() => (
            "Something broke on our side",
            "Nothing was saved. It is not your doing; try once more, and if it happens again tell whoever looks after this program.",
        ),
        _ => ("That did not work", "The request was refused."),
    };
    let told = told.unwrap_or_else(|| Told {
        detail: otherwise.to_owned(),
        fields: Vec::new(),
        typed: Vec::new(),
    });
    Words {
        title,
        told,
        id: id.filter(|_| status.is_server_error()),
    }
}

/// A problem document, RFC 9457: `type` is left out and so means `about:blank`.
fn problem(status: StatusCode, words: &Words) -> HttpResponse {
    let mut document = Map::new();
    document.insert("title".to_owned(), json!(words.title));
    document.insert("status".to_owned(), json!(status.as_u16()));
    document.insert("detail".to_owned(), json!(words.told.detail));
    if !words.told.fields.is_empty() {
        let errors: Vec<Value> = words
            .told
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
            p.lead { (words.told.detail) }
            @if !words.told.fields.is_empty() {
                ul { @for (_, message) in &words.told.fields { li { (message) } } }
            }
            @if let Some(id) = &words.id {
                p.muted { "Written in the log as " code { (id) } "." }
            }
            @if !words.told.typed.is_empty() {
                section.card aria-labelledby="typed" {
                    h2 #typed { "What you typed, to copy from" }
                    dl.typed {
                        @for (field, value) in &words.told.typed { dt { (spoken(field)) } dd { (value) } }
                    }
                }
            }
            p {
                @if status == StatusCode::UNAUTHORIZED {
                    // In a tab of its own, so that what was typed stays in sight.
                    a.button href="/sign-in" target="_blank" { "Sign in" }
                } @else if words.told.typed.is_empty() {
                    a.button href="/" { "To the first page" }
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

/// Where nothing is registered.
pub(super) async fn nothing_here() -> Result<HttpResponse, WebError> {
    Err(WebError::NotFound("this page"))
}

/// For a JSON body that does not read.
pub(super) fn json_error(
    error: actix_web::error::JsonPayloadError,
    _: &HttpRequest,
) -> actix_web::Error {
    use actix_web::error::JsonPayloadError as J;
    match error {
        J::OverflowKnownLength { .. } | J::Overflow { .. } => WebError::TooLarge,
        J::ContentType => WebError::UnsupportedMedia("Send it as application/json.".to_owned()),
        J::Deserialize(why) => WebError::Unprocessable(format!("The JSON does not fit: {why}.")),
        other => WebError::BadRequest(format!("The body does not read: {other}.")),
    }
    .into()
}

/// One value that two people set differently.
#[derive(Debug, Clone)]
pub struct Changed {
    /// The field's label.
    pub label: String,
    /// As it is stored now.
    pub stored: String,
    /// As this person wanted it.
    pub wanted: String,
}

impl Changed {
    /// A value, unless both are the same.
    #[must_use]
    pub fn if_differs(label: &str, stored: &str, wanted: &str) -> Option<Self> {
        (stored != wanted).then(|| Self {
            label: label.to_owned(),
            stored: stored.to_owned(),
            wanted: wanted.to_owned(),
        })
    }
}

/// Tells of a stale edit, with both values of what differs. Show it above the form, which keeps what was typed and
/// carries the version now stored, so that saving again is a decision: `page.status(StatusCode::CONFLICT)`.
#[must_use]
pub fn stale_notice(what: &str, changed: &[Changed]) -> Markup {
    html! {
        section.notice.warn role="alert" aria-labelledby="stale-title" tabindex="-1" {
            h2 #stale-title { (what) " was changed by someone else meanwhile" }
            p { "Nothing is saved yet. Your values are still in the form: save again to keep yours, or change them first." }
            @if !changed.is_empty() {
                table.cells {
                    thead { tr { th scope="col" { "What" } th scope="col" { "Stored now" } th scope="col" { "Yours" } } }
                    tbody {
                        @for change in changed {
                            tr {
                                th scope="row" { (change.label) }
                                td data-label="Stored now" { (change.stored) }
                                td data-label="Yours" { (change.wanted) }
                            }
                        }
                    }
                }
            }
        }
    }
}
