//! What the service was told at its start, and what every request may need.

use super::brake::Brake;
use super::budget::Budget;
use super::metrics::Metrics;
use super::proxies::{Network, is_ours};
use crate::app::answer_enquiry::Simulator;
use crate::app::learn::Lessons;
use crate::app::password::Hashing;
use crate::app::set_up_shop::SetUpCode;
use crate::app::shared_facts::SharedFacts;
use crate::app::shared_plans::SharedPlans;
use crate::db::casting_records::PhotoPlace;
use crate::db::clusters::Clusters;
use crate::db::readiness::Readiness;
use actix_web::HttpRequest;
use actix_web::http::header::HOST;
use sqlx::PgPool;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

/// What the web application is built from.
#[derive(Debug, Clone)]
pub struct Config {
    /// Address and port to listen on, e.g. `127.0.0.1:8080`; port 0 takes a free one.
    pub bind: String,
    /// Whether browsers reach it over HTTPS: cookies are then `Secure` with the `__Host-` prefix, and HSTS is sent.
    pub secure_cookies: bool,
    /// Proxies of ours in front, whose `X-Forwarded-For` names the caller's address and whose `X-Forwarded-Host` the name it
    /// was called by; from anybody else neither is believed.
    pub proxies: Vec<Network>,
    /// Connections at once; more wait to be taken.
    pub connections: usize,
    /// How long the body of a request may take; one that says it is large has more.
    pub body_time: Duration,
    /// Worker threads.
    pub workers: usize,
    /// Simulated futures behind each answer.
    pub futures: u32,
    /// Where photographs of castings are kept.
    pub photos: PhotoPlace,
    /// Where browsers reach it, such as `https://quotes.example`; `None`: where the one that asks has reached it.
    pub base_url: Option<String>,
    /// What lets another machine read `/metrics`; `None`: this machine alone may.
    pub metrics_token: Option<String>,
    /// The code with which the first shop is set up from another machine.
    pub set_up_code: SetUpCode,
    /// Further clusters that shops lie in, by name.
    pub clusters: BTreeMap<String, PgPool>,
}

impl Default for Config {
    fn default() -> Self {
        Self {
            bind: "127.0.0.1:8080".to_owned(),
            secure_cookies: false,
            proxies: Vec::new(),
            connections: 1_000,
            body_time: Duration::from_secs(20),
            workers: 2,
            futures: 1_000,
            photos: PhotoPlace::Database,
            base_url: None,
            metrics_token: None,
            set_up_code: SetUpCode::default(),
            clusters: BTreeMap::new(),
        }
    }
}

/// What every request may need: `web::Data<Site>`.
#[derive(Debug, Clone)]
pub struct Site {
    /// The database, as the role that owns nothing; where shops lie in several, the one with the directory.
    pub pool: PgPool,
    /// Where each shop lies.
    pub clusters: Clusters,
    /// See [`Config::secure_cookies`].
    pub secure_cookies: bool,
    /// See [`Config::proxies`].
    pub proxies: Vec<Network>,
    /// See [`Config::body_time`].
    pub body_time: Duration,
    /// See [`Config::photos`].
    pub photos: PhotoPlace,
    /// See [`Config::base_url`].
    pub base_url: Option<String>,
    /// How answers are simulated, with the futures of [`Config::futures`].
    pub simulator: Simulator,
    /// What bookings teach.
    pub lessons: Lessons,
    /// The current plans that pages show.
    pub plans: SharedPlans,
    /// What pages say of all the open work.
    pub facts: SharedFacts,
    /// See [`Config::set_up_code`].
    pub(in crate::web) set_up_code: SetUpCode,
    /// Whether the database answers and writes, as of the last second.
    pub readiness: Arc<Readiness>,
    /// See [`Config::metrics_token`].
    pub(in crate::web) metrics_token: Option<String>,
    /// What is counted.
    pub(in crate::web) metrics: Arc<Metrics>,
    pub(in crate::web) hashing: Hashing,
    /// Memory for files as they arrive.
    pub(in crate::web) uploads: Budget,
    /// Memory for photographs as they are read.
    pub(in crate::web) pictures: Budget,
    pub(in crate::web) feed_brake: Arc<Brake>,
}

impl Site {
    /// The address of a path of this service as it is printed on paper or given away: by the setting, or as this browser
    /// reaches it.
    #[must_use]
    pub fn address(&self, req: &HttpRequest, path: &str) -> String {
        match &self.base_url {
            Some(base) => format!("{base}{path}"),
            None => {
                let scheme = if self.secure_cookies { "https" } else { "http" };
                format!("{scheme}://{}{path}", self.host(req))
            }
        }
    }

    /// The name this browser reached the service by.
    fn host<'a>(&self, req: &'a HttpRequest) -> &'a str {
        let text = |name: &str| {
            req.headers()
                .get(name)
                .and_then(|value| value.to_str().ok())
        };
        let by_proxy = req
            .peer_addr()
            .filter(|peer| is_ours(&self.proxies, peer.ip()))
            .and_then(|_| text("x-forwarded-host"));
        let authority = || req.uri().authority().map(|name| name.as_str());
        by_proxy
            .or_else(|| text(HOST.as_str()))
            .or_else(authority)
            .unwrap_or("localhost")
    }
}
