//! One line in the log for every request: what, how it went and how long it took. Faults are logged where they are
//! found, inside the same span, so the request's id finds both.

use super::feed_address::loggable;
use super::health::is_health;
use super::metrics;
use super::session;
use super::site::Site;
use super::trace_parent;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::{HttpMessage, web};
use std::time::Instant;
use tracing::{Span, field};
use tracing_actix_web::{RequestId, RootSpanBuilder};
use tracing_opentelemetry::OpenTelemetrySpanExt;

/// For [`tracing_actix_web::TracingLogger`]. The query is left out: it may hold what people searched for.
pub(in crate::web) struct RequestLog;

struct Started(Instant);

impl RootSpanBuilder for RequestLog {
    fn on_request_start(request: &ServiceRequest) -> Span {
        let id = request
            .extensions()
            .get::<RequestId>()
            .map(ToString::to_string);
        request.extensions_mut().insert(Started(Instant::now()));
        let site = request.app_data::<web::Data<Site>>();
        let address = site.map(|site| session::address(request.request(), site));
        // Who it is comes to be known at the gate.
        let span = tracing::info_span!(
            "request",
            id,
            method = %request.method(),
            path = loggable(request.path()),
            address,
            shop = field::Empty,
            person = field::Empty,
            device = field::Empty,
        );
        if site.is_some_and(|site| session::is_passed_on(request.request(), site)) {
            trace_parent::go_on(&span, request.headers());
        }
        span
    }

    fn on_request_end<B: MessageBody>(
        span: Span,
        outcome: &Result<ServiceResponse<B>, actix_web::Error>,
    ) {
        // For a trace, by the names that OpenTelemetry has for them (semantic conventions for HTTP spans, 1.23).
        if let Ok(response) = outcome {
            let status = i64::from(response.status().as_u16());
            span.set_attribute("http.response.status_code", status);
            if let Some(pattern) = response.request().match_pattern() {
                span.set_attribute("http.route", pattern);
            }
        }
        span.in_scope(|| match outcome {
            Ok(response) => {
                let status = response.status().as_u16();
                let ms = response
                    .request()
                    .extensions()
                    .get::<Started>()
                    .map(|started| started.0.elapsed().as_secs_f64() * 1_000.0);
                let request = response.request();
                if let Some(site) = request.app_data::<web::Data<Site>>() {
                    let seconds = ms.unwrap_or(0.0) / 1_000.0;
                    let pattern = request.match_pattern();
                    let method = request.method().as_str();
                    site.metrics
                        .count(method, pattern.as_deref(), status, seconds);
                }
                let path = response.request().path();
                if is_health(path) || path == metrics::PATH || path.starts_with("/static/") {
                    tracing::debug!(status, ms, "answered");
                } else {
                    tracing::info!(status, ms, "answered");
                }
            }
            Err(error) => tracing::error!(%error, "not answered"),
        });
    }
}
