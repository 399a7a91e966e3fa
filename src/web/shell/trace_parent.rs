//! The trace that a proxy of ours began goes on in the span of the request (W3C Trace Context, recommendation of 2021,
//! `traceparent` and `tracestate`).

use actix_web::http::header::HeaderMap;
use opentelemetry::propagation::{Extractor, TextMapPropagator};
use opentelemetry::trace::TraceContextExt;
use opentelemetry_sdk::propagation::TraceContextPropagator;
use tracing::Span;
use tracing_opentelemetry::OpenTelemetrySpanExt;

struct Headers<'a>(&'a HeaderMap);

impl Extractor for Headers<'_> {
    fn get(&self, key: &str) -> Option<&str> {
        self.0.get(key).and_then(|value| value.to_str().ok())
    }

    fn keys(&self) -> Vec<&str> {
        self.0.keys().map(|name| name.as_str()).collect()
    }
}

/// Makes the span one of the trace that the headers name, if they name one.
pub(super) fn go_on(span: &Span, headers: &HeaderMap) {
    let began = TraceContextPropagator::new().extract(&Headers(headers));
    if began.span().span_context().is_valid() {
        // It fails where no collector is set, and then there is no trace to go on with.
        let _ = span.set_parent(began);
    }
}
