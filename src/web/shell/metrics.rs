//! `/metrics` for Prometheus (OpenMetrics text): requests and their times by part of the program, the pool, the queue of
//! plans, whether the database takes what it is given, memory. Nothing in it names a shop or a person.

use super::error::WebError;
use super::site::Site;
use crate::app::token;
use crate::db::planner_queue::{self, Queue};
use actix_web::http::header::{AUTHORIZATION, CONTENT_TYPE, FORWARDED};
use actix_web::{HttpRequest, HttpResponse, web};
use prometheus_client::encoding::{EncodeLabelSet, text};
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::registry::{Registry, Unit};
use std::sync::atomic::AtomicU64;

/// Where they are.
pub(in crate::web) const PATH: &str = "/metrics";
/// The content type of OpenMetrics text.
const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";
/// Upper ends of the classes of times, in seconds: the targets of pages (50 ms), of the answer (150 and 300 ms), and beyond.
const SECONDS: [f64; 10] = [0.005, 0.01, 0.025, 0.05, 0.1, 0.15, 0.3, 1.0, 3.0, 10.0];

/// `/metrics`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(show));
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Answered {
    method: String,
    part: String,
    status: u16,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Part {
    part: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct State {
    state: &'static str,
}

type Figure = Gauge<f64, AtomicU64>;

/// What is counted while the service runs.
#[derive(Debug)]
pub struct Metrics {
    registry: Registry,
    requests: Family<Answered, Counter>,
    seconds: Family<Part, Histogram, fn() -> Histogram>,
    connections: Family<State, Figure>,
    ready: Figure,
    plans: Family<State, Figure>,
    plan_wait: Figure,
    resident: Figure,
}

fn classes() -> Histogram {
    Histogram::new(SECONDS)
}

impl Default for Metrics {
    fn default() -> Self {
        let mut registry = Registry::with_prefix("borewright");
        let requests = Family::default();
        let seconds = Family::new_with_constructor(classes as fn() -> Histogram);
        let connections = Family::default();
        let (ready, plan_wait, resident) = <(Figure, Figure, Figure)>::default();
        let plans = Family::default();
        registry.register(
            "requests",
            "Requests answered, by method, part of the program and status",
            Family::clone(&requests),
        );
        registry.register_with_unit(
            "request",
            "Time to answer, by part of the program",
            Unit::Seconds,
            Family::clone(&seconds),
        );
        registry.register(
            "pool_connections",
            "Connections of the pool to the database: in use, idle, and the most there may be",
            Family::clone(&connections),
        );
        registry.register(
            "database_ready",
            "Whether the database takes what it is given: 1 or 0",
            ready.clone(),
        );
        registry.register(
            "plan_runs",
            "Planning runs of all shops: waiting, under way, and failed for good",
            Family::clone(&plans),
        );
        registry.register_with_unit(
            "plan_oldest_wait",
            "For how long the run that has waited longest is due",
            Unit::Seconds,
            plan_wait.clone(),
        );
        registry.register_with_unit(
            "resident_memory",
            "Memory of the process in use",
            Unit::Bytes,
            resident.clone(),
        );
        Self {
            registry,
            requests,
            seconds,
            connections,
            ready,
            plans,
            plan_wait,
            resident,
        }
    }
}

/// The part of the program that a path belongs to: the first segment of the route that took it, so that nobody makes new
/// series by asking for what is not there.
fn part(pattern: Option<&str>) -> String {
    let pattern = pattern.unwrap_or("/nothing");
    let first = pattern.trim_start_matches('/').split('/').next();
    match first {
        None | Some("") => "start".to_owned(),
        Some(first) => {
            let end = first.find('.').unwrap_or(first.len());
            first.get(..end).unwrap_or(first).to_owned()
        }
    }
}

/// A method as it is counted: one that nobody needs makes no series of its own.
fn method(method: &str) -> String {
    let known = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"].contains(&method);
    if known { method } else { "other" }.to_owned()
}

impl Metrics {
    /// Counts an answer. `pattern` is that of the route that took the request.
    pub(super) fn count(&self, how: &str, pattern: Option<&str>, status: u16, seconds: f64) {
        let part = part(pattern);
        self.seconds
            .get_or_create(&Part { part: part.clone() })
            .observe(seconds);
        self.requests
            .get_or_create(&Answered {
                method: method(how),
                part,
                status,
            })
            .inc();
    }

    /// Everything as text, with the figures of now.
    fn text(&self, site: &Site, queue: Option<Queue>) -> Result<String, WebError> {
        let set = |family: &Family<State, Figure>, state, value: f64| {
            family.get_or_create(&State { state }).set(value);
        };
        let (all, idle) = (f64::from(site.pool.size()), site.pool.num_idle() as f64);
        set(&self.connections, "used", (all - idle).max(0.0));
        set(&self.connections, "idle", idle);
        let most = site.pool.options().get_max_connections();
        set(&self.connections, "most", f64::from(most));
        self.ready.set(if site.readiness.trouble().is_some() {
            0.0
        } else {
            1.0
        });
        if let Some(queue) = queue {
            set(&self.plans, "waiting", queue.waiting as f64);
            set(&self.plans, "running", queue.running as f64);
            set(&self.plans, "failed", queue.failed as f64);
            self.plan_wait.set(queue.oldest_wait_seconds);
        }
        if let Some(bytes) = resident() {
            self.resident.set(bytes);
        }
        let mut out = String::new();
        text::encode(&mut out, &self.registry)
            .map_err(|why| WebError::Internal(format!("the metrics cannot be written: {why}")))?;
        Ok(out)
    }
}

/// Memory of this process in use, in bytes; `None` where the system does not say. `VmRSS` of proc(5), in kB.
fn resident() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    let kilobytes: f64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kilobytes * 1024.0)
}

/// For the machine itself, and for whoever has the token. A request that a proxy passed on is not the machine's own,
/// whoever the proxy is.
fn may_read(req: &HttpRequest, site: &Site) -> bool {
    let headers = req.headers();
    let token = headers
        .get(AUTHORIZATION)
        .and_then(|value| value.to_str().ok())
        .and_then(|text| text.strip_prefix("Bearer "));
    if let (Some(sent), Some(kept)) = (token, &site.metrics_token) {
        return token::same(sent.as_bytes(), kept.as_bytes());
    }
    let passed_on = headers.contains_key(FORWARDED) || headers.contains_key("x-forwarded-for");
    !passed_on && req.peer_addr().is_some_and(|peer| peer.ip().is_loopback())
}

async fn show(req: HttpRequest, site: web::Data<Site>) -> Result<HttpResponse, WebError> {
    if !may_read(&req, &site) {
        return Err(WebError::NotFound("this page"));
    }
    // Without the database there are no figures of the queue, and all the others are wanted the more.
    let queue = match planner_queue::queue(&site.pool).await {
        Ok(queue) => queue,
        Err(why) => {
            tracing::warn!(%why, "the queue of plans cannot be looked at");
            None
        }
    };
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, OPEN_METRICS))
        .body(site.metrics.text(&site, queue)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn series_are_as_many_as_there_are_parts() {
        assert_eq!(part(Some("/jobs/{id}/needs")), "jobs");
        assert_eq!(part(Some("/jobs.csv")), "jobs");
        assert_eq!(part(Some("/")), "start");
        assert_eq!(part(Some("/api/v1/sightings")), "api");
        assert_eq!(part(None), "nothing");
        assert_eq!(method("BREW"), "other");
        let metrics = Metrics::default();
        metrics.count("GET", Some("/jobs/{id}"), 200, 0.02);
        metrics.count("GET", Some("/jobs"), 200, 0.2);
        let mut out = String::new();
        text::encode(&mut out, &metrics.registry).unwrap();
        let counted = "borewright_requests_total{method=\"GET\",part=\"jobs\",status=\"200\"} 2";
        assert!(out.contains(counted), "{out}");
        let class = out.lines().find(|line| {
            line.starts_with("borewright_request_seconds_bucket")
                && line.contains("le=\"0.05\"")
                && line.contains("part=\"jobs\"")
        });
        assert!(class.unwrap().ends_with(" 1"), "{out}");
    }
}
