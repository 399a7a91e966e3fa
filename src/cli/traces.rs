//! Traces for a collector of OpenTelemetry, when the address of one is set: a span for every request and every planning run.
//!
//! What is sent has what the log has: numbers, shops by key, addresses; no names, prices or searches. A collector that is away
//! costs nobody time: spans are sent from a thread of their own, and are dropped when its queue is full.

use anyhow::Context;
use opentelemetry::trace::TracerProvider;
use opentelemetry_otlp::{Protocol, SpanExporter, WithExportConfig};
use opentelemetry_sdk::Resource;
use opentelemetry_sdk::trace::SdkTracerProvider;
use tracing::Subscriber;
use tracing_opentelemetry::OpenTelemetryLayer;
use tracing_subscriber::Layer;
use tracing_subscriber::registry::LookupSpan;

/// Sends what is left when it goes.
pub(super) struct Traces(SdkTracerProvider);

impl Traces {
    /// Sends to the collector at `endpoint`, `http://host:4318`, by OTLP over HTTP, as protobuf (OTLP 1.5, section OTLP/HTTP).
    ///
    /// # Errors
    /// When the address cannot be one.
    pub(super) fn to(endpoint: &str) -> anyhow::Result<Self> {
        let exporter = SpanExporter::builder()
            .with_http()
            .with_protocol(Protocol::HttpBinary)
            .with_endpoint(format!("{}/v1/traces", endpoint.trim_end_matches('/')))
            .build()
            .with_context(|| format!("traces cannot be sent to {endpoint}"))?;
        let resource = Resource::builder().with_service_name("borewright");
        let provider = SdkTracerProvider::builder()
            .with_batch_exporter(exporter)
            .with_resource(resource.build())
            .build();
        Ok(Self(provider))
    }

    /// What hands spans over.
    pub(super) fn layer<S>(&self) -> impl Layer<S> + use<S>
    where
        S: Subscriber + for<'a> LookupSpan<'a>,
    {
        OpenTelemetryLayer::new(self.0.tracer("borewright"))
    }
}

impl Drop for Traces {
    fn drop(&mut self) {
        if let Err(why) = self.0.shutdown() {
            tracing::warn!(%why, "the last traces were not sent");
        }
    }
}
