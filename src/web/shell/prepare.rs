//! What is done to every request before anything reads it: its body has a time limit, and HEAD is answered as GET is.

use super::site::Site;
use actix_web::body::MessageBody;
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::error::PayloadError;
use actix_web::http::Method;
use actix_web::http::header::CONTENT_LENGTH;
use actix_web::middleware::Next;
use actix_web::{HttpMessage, web};
use futures_util::{StreamExt, stream};
use std::io;
use std::time::Duration;
use tokio::time::{Instant, timeout_at};

/// How fast a large body has to be beyond the time that any has, in bytes in a second: a bad connection of a telephone.
const BYTES_A_SECOND: u64 = 64 * 1024;
/// How long the largest one may take.
const AT_MOST: Duration = Duration::from_secs(240);

/// The middleware.
pub(in crate::web) async fn prepare(
    mut req: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<impl MessageBody>, actix_web::Error> {
    if *req.method() == Method::HEAD {
        // The protocol layer sends no body to a HEAD, whatever a handler answers (RFC 9110, 9.3.2).
        req.head_mut().method = Method::GET;
    }
    let deadline = Instant::now() + allowed(&req);
    let payload = match req.take_payload() {
        Payload::None => Payload::None,
        payload => in_time(payload, deadline),
    };
    req.set_payload(payload);
    next.call(req).await
}

fn allowed(req: &ServiceRequest) -> Duration {
    let length = req.headers().get(CONTENT_LENGTH);
    let length = length.and_then(|length| length.to_str().ok()?.parse::<u64>().ok());
    let at_that_speed = Duration::from_secs(length.unwrap_or(0) / BYTES_A_SECOND);
    let site = req.app_data::<web::Data<Site>>();
    let any = site.map_or(AT_MOST, |site| site.body_time);
    (any + at_that_speed).min(AT_MOST)
}

/// A body that fails when its deadline passes.
fn in_time(payload: Payload, deadline: Instant) -> Payload {
    let parts = stream::unfold(Some(payload), move |payload| async move {
        let mut payload = payload?;
        match timeout_at(deadline, payload.next()).await {
            Ok(part) => part.map(|part| (part, Some(payload))),
            Err(_) => Some((Err(PayloadError::Io(io::ErrorKind::TimedOut.into())), None)),
        }
    });
    Payload::Stream {
        // Readers of forms with files ask once more after the end.
        payload: Box::pin(parts.fuse()),
    }
}

/// Whether a body failed because its deadline passed.
pub(in crate::web) fn is_late(error: &PayloadError) -> bool {
    matches!(error, PayloadError::Io(error) if error.kind() == io::ErrorKind::TimedOut)
}
