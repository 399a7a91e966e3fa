//! One error type at the edge: a page with words for people, a problem document (RFC 9457) for machines.

use super::prepare::is_late;
use crate::app::{self, AppError};
use crate::db::people::Role;
use crate::db::{DbError, Needed, Unique};
use actix_web::http::StatusCode;
use actix_web::http::header::{ACCEPT, RETRY_AFTER};
use actix_web::{HttpRequest, HttpResponse, ResponseError};

const SIGNED_OUT: &str = "You were signed out, so nothing was saved. Sign in, then send it again.";
const SIGNED_IN_ANEW: &str = "You have signed in again since this page was opened, so nothing was saved. Load the page again and send it once more.";

const UNSURE: &str = "The database stopped while this was being saved. Check whether it was saved before you send it again.";
/// After how many seconds whoever finds the service busy or the database away may come again.
const BUSY_SECONDS: u64 = 2;

/// Why a request was not answered as asked.
#[derive(Debug, thiserror::Error)]
pub enum WebError {
    /// From the store.
    #[error(transparent)]
    Store(#[from] DbError),
    /// A use case cannot be carried out as things are; the words are [`crate::web::ui::words`]'s.
    #[error("{0}")]
    Refused(app::Refusal),
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
    /// A form arrived that no present sign-in sent: signed out since, or signed in anew.
    #[error("{}", if *.signed_in { SIGNED_IN_ANEW } else { SIGNED_OUT })]
    FromEarlierSignIn {
        /// Whether someone is signed in now.
        signed_in: bool,
    },
    /// The request does not read; a sentence saying why.
    #[error("{0}")]
    BadRequest(String),
    /// The request reads, but cannot be done as it stands; a sentence saying why.
    #[error("{0}")]
    Unprocessable(String),
    /// What was typed is not right, field by field, for clients of the JSON interface.
    #[error("Correct the fields listed.")]
    Invalid(Vec<(String, String)>),
    /// Who changes something over the JSON interface must say which version they saw.
    #[error("Send the ETag of the version you saw as If-Match.")]
    VersionNeeded,
    /// The version that was seen is not the present one.
    #[error(
        "Someone else changed it since the version you saw. Read it again and make your change on top of theirs."
    )]
    VersionPassed,
    /// The body is not of a kind we read.
    #[error("{0}")]
    UnsupportedMedia(String),
    /// The body is larger than we read.
    #[error("That is more than can be sent at once.")]
    TooLarge,
    /// The body did not arrive in the time it has.
    #[error("The connection was too slow, so nothing was saved. Send it again.")]
    TooSlow,
    /// As much is being done as can be done at once.
    #[error("Too much is going on just now. Try again in a moment.")]
    Busy,
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
                DbError::NotFound(_) => StatusCode::NOT_FOUND,
                DbError::Stale(_) | DbError::InUse(_) => StatusCode::CONFLICT,
                DbError::Duplicate(_) | DbError::Refused(_) => StatusCode::UNPROCESSABLE_ENTITY,
                DbError::Database(_) | DbError::Unsure(_) if error.is_passing() => {
                    StatusCode::SERVICE_UNAVAILABLE
                }
                DbError::Corrupt { .. } | DbError::Database(_) | DbError::Unsure(_) => {
                    StatusCode::INTERNAL_SERVER_ERROR
                }
            },
            Self::NotFound(_) => StatusCode::NOT_FOUND,
            Self::Forbidden(_) => StatusCode::FORBIDDEN,
            Self::FromEarlierSignIn { signed_in: true } => StatusCode::FORBIDDEN,
            Self::SignInNeeded
            | Self::DeviceUnknown
            | Self::FromEarlierSignIn { signed_in: false } => StatusCode::UNAUTHORIZED,
            Self::BadRequest(_) => StatusCode::BAD_REQUEST,
            // Asked again with a confirmation, it can be done.
            Self::Refused(app::Refusal::Doubts(_) | app::Refusal::DueDate(_)) => {
                StatusCode::CONFLICT
            }
            Self::Refused(_) | Self::Unprocessable(_) | Self::Invalid(_) => {
                StatusCode::UNPROCESSABLE_ENTITY
            }
            Self::VersionNeeded => StatusCode::PRECONDITION_REQUIRED,
            Self::VersionPassed => StatusCode::PRECONDITION_FAILED,
            Self::UnsupportedMedia(_) => StatusCode::UNSUPPORTED_MEDIA_TYPE,
            Self::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
            Self::TooSlow => StatusCode::REQUEST_TIMEOUT,
            Self::Busy => StatusCode::SERVICE_UNAVAILABLE,
            Self::TooMany { .. } => StatusCode::TOO_MANY_REQUESTS,
            Self::Internal(_) => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    /// Bare: `ui::error_page::render` knows the request and gives it its page or problem document.
    fn error_response(&self) -> HttpResponse {
        let mut response = HttpResponse::build(self.status_code());
        match self {
            // What is left of the body is not waited for.
            Self::TooSlow => {
                response.force_close();
            }
            Self::TooMany { retry_after, .. } => {
                response.insert_header((RETRY_AFTER, *retry_after));
            }
            _ if self.status_code() == StatusCode::SERVICE_UNAVAILABLE => {
                response.insert_header((RETRY_AFTER, BUSY_SECONDS));
            }
            _ => {}
        }
        let response = response.finish();
        match self.refusal() {
            Some(refusal) => {
                let mut response = response;
                response.extensions_mut().insert(refusal);
                response
            }
            None => response,
        }
    }
}

impl From<AppError> for WebError {
    fn from(error: AppError) -> Self {
        match error {
            AppError::Db(error) => Self::Store(error),
            AppError::NotAllowed(role) => Self::needs(role),
            AppError::Refused(why) => Self::Refused(why),
            AppError::Busy => Self::Busy,
            AppError::KeyUsed => Self::Invalid(vec![(
                "idempotency-key".to_owned(),
                "This Idempotency-Key was sent with another request; take a new one".to_owned(),
            )]),
            AppError::Failed { .. } => Self::Internal(error.to_string()),
        }
    }
}

/// What was refused, as a code; the words are [`crate::web::ui::words`]'s.
#[derive(Debug, Clone)]
pub(in crate::web) enum Why {
    /// A use case cannot be carried out as things are.
    Refused(app::Refusal),
    /// Something must be unique and would not be.
    Taken(Unique),
    /// Something else still needs it.
    Needed(Needed),
}

/// What an error page says, beyond its status.
#[derive(Debug, Clone)]
pub(in crate::web) struct Refusal {
    /// A code whose words take the place of `detail`.
    pub(in crate::web) why: Option<Why>,
    pub(in crate::web) detail: String,
    /// Complaints by field.
    pub(in crate::web) fields: Vec<(String, String)>,
    /// Whether the same form can be taken once it is sent by the present sign-in.
    pub(in crate::web) send_again: bool,
}

impl WebError {
    /// It takes this role.
    pub(in crate::web) fn needs(role: Role) -> Self {
        Self::Forbidden(match role {
            Role::Owner => "This is for the owner of the shop.".to_owned(),
            Role::Office | Role::Machinist => {
                "This is for the office and the owner of the shop.".to_owned()
            }
        })
    }

    fn refusal(&self) -> Option<Refusal> {
        let detail = match self {
            Self::Store(DbError::Unsure(_)) => UNSURE.to_owned(),
            Self::Store(DbError::Corrupt { .. } | DbError::Database(_)) | Self::Internal(_) => {
                return None;
            }
            Self::NotFound(what) | Self::Store(DbError::NotFound(what)) => {
                format!(
                    "We cannot find {what}. It may have been deleted, or the address may be wrong."
                )
            }
            Self::Store(DbError::Stale(what)) => format!(
                "Someone else changed {what} while you had it open, so your change is not saved. \
                 Go back, load it again and make your change on top of theirs."
            ),
            other => other.to_string(),
        };
        let fields = match self {
            Self::Invalid(complaints) => complaints.clone(),
            _ => Vec::new(),
        };
        let why = match self {
            Self::Refused(why) => Some(Why::Refused(why.clone())),
            Self::Store(DbError::Refused(why)) => Some(Why::Refused(why.clone().into())),
            Self::Store(DbError::Duplicate(what)) => Some(Why::Taken(*what)),
            Self::Store(DbError::InUse(by)) => Some(Why::Needed(by.clone())),
            _ => None,
        };
        Some(Refusal {
            why,
            detail,
            fields,
            send_again: matches!(self, Self::FromEarlierSignIn { .. }),
        })
    }
}

/// Whether the answer is for a program rather than a person.
pub(in crate::web) fn is_for_machines(req: &HttpRequest) -> bool {
    let accept = req
        .headers()
        .get(ACCEPT)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    req.path().starts_with("/api/") || (accept.contains("json") && !accept.contains("text/html"))
}

/// Where nothing is registered.
pub(in crate::web) async fn no_such_page() -> Result<HttpResponse, WebError> {
    Err(WebError::NotFound("this page"))
}

/// For a JSON body that does not read.
pub(in crate::web) fn json_error(
    error: actix_web::error::JsonPayloadError,
    _: &HttpRequest,
) -> actix_web::Error {
    use actix_web::error::JsonPayloadError as J;
    match error {
        J::OverflowKnownLength { .. } | J::Overflow { .. } => WebError::TooLarge,
        J::Payload(error) if is_late(&error) => WebError::TooSlow,
        J::ContentType => WebError::UnsupportedMedia("Send it as application/json.".to_owned()),
        J::Deserialize(why) => WebError::Unprocessable(format!("The JSON does not fit: {why}.")),
        other => WebError::BadRequest(format!("The body does not read: {other}.")),
    }
    .into()
}
