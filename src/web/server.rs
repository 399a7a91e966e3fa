//! Builds the whole web application from a configuration; `serve` starts it, and so does every test, on a free port.

use super::routes;
use super::shell::error::{self, WebError};
use super::shell::gate;
pub use super::shell::site::Config;
use super::shell::site::Site;
use super::ui::error_page;
use crate::app::answer_enquiry::Simulator;
use crate::app::learn::Lessons;
use crate::app::password::Hashing;
use crate::app::shared_facts::SharedFacts;
use crate::app::shared_plans::SharedPlans;
use crate::db::clusters::Clusters;
use crate::db::readiness::Readiness;
use crate::web::shell::budget::Budget;
use crate::web::shell::log::RequestLog;
use crate::web::shell::prepare;
use actix_web::dev::Server;
use actix_web::middleware::{Compress, Condition, DefaultHeaders, from_fn};
use actix_web::{App, HttpServer, web};
use sqlx::PgPool;
use std::io;
use std::net::TcpListener;
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;

use tracing_actix_web::TracingLogger;

/// Largest body of any request, in bytes.
pub const BODY_LIMIT: usize = 1024 * 1024;
/// Password hashes computed at once: each takes 19 MiB and a core for some tens of milliseconds.
const HASHES_AT_ONCE: usize = 2;
/// Megabytes for files as they arrive.
const UPLOADS: u32 = 128;
/// Megabytes for photographs as they are read: one of the most pixels in the hungriest format, or four of a telephone.
const PICTURES: u32 = 480;

/// Only our own style sheet, scripts, pictures and addresses; no inline style or script; framed by nobody.
const CONTENT_SECURITY_POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; \
     connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// The web application, bound and ready to run.
pub struct Application {
    port: u16,
    server: Server,
    pool: PgPool,
    readiness: Arc<Readiness>,
}

impl Application {
    /// Binds and builds, inside a tokio runtime; nothing is answered before [`Self::run_until`].
    ///
    /// # Errors
    /// When the address cannot be bound.
    pub fn build(pool: PgPool, config: &Config) -> io::Result<Self> {
        let listener = TcpListener::bind(&config.bind)?;
        let port = listener.local_addr()?.port();
        let readiness = Arc::<Readiness>::default();
        let site = web::Data::new(Site {
            pool: pool.clone(),
            clusters: Clusters::new(pool.clone(), config.clusters.clone()),
            readiness: readiness.clone(),
            secure_cookies: config.secure_cookies,
            proxies: config.proxies.clone(),
            body_time: config.body_time,
            uploads: Budget::new(UPLOADS),
            pictures: Budget::new(PICTURES),
            simulator: Simulator::new(config.futures),
            lessons: Lessons::default(),
            plans: SharedPlans::default(),
            facts: SharedFacts::default(),
            photos: config.photos.clone(),
            base_url: config.base_url.clone(),
            set_up_code: config.set_up_code.clone(),
            metrics_token: config.metrics_token.clone(),
            metrics: Arc::default(),
            hashing: Hashing::new(HASHES_AT_ONCE),
            feed_brake: Arc::default(),
        });
        let secure = config.secure_cookies;
        let server = HttpServer::new(move || {
            App::new()
                .app_data(site.clone())
                .app_data(web::PayloadConfig::new(BODY_LIMIT))
                .app_data(
                    web::PathConfig::default()
                        .error_handler(|_, _| WebError::NotFound("this page").into()),
                )
                .app_data(web::QueryConfig::default().error_handler(|error, _| {
                    WebError::BadRequest(format!("The address does not read: {error}")).into()
                }))
                .app_data(
                    web::JsonConfig::default()
                        .limit(BODY_LIMIT)
                        .error_handler(error::json_error),
                )
                .configure(routes)
                .default_service(web::to(error::no_such_page))
                // The last one wrapped is the first one met.
                .wrap(from_fn(gate::gate))
                .wrap(from_fn(prepare::prepare))
                .wrap(from_fn(error_page::render))
                .wrap(Compress::default())
                .wrap(Condition::new(
                    secure,
                    DefaultHeaders::new().add(("strict-transport-security", "max-age=31536000")),
                ))
                .wrap(
                    DefaultHeaders::new()
                        .add(("content-security-policy", CONTENT_SECURITY_POLICY))
                        .add(("x-content-type-options", "nosniff"))
                        .add(("x-frame-options", "DENY"))
                        .add(("referrer-policy", "same-origin"))
                        .add(("cross-origin-opener-policy", "same-origin"))
                        .add(("cross-origin-resource-policy", "same-origin"))
                        .add((
                            "permissions-policy",
                            "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
                        )),
                )
                .wrap(TracingLogger::<RequestLog>::new())
        })
        .workers(config.workers)
        .max_connections(config.connections.div_ceil(config.workers.max(1)))
        .disable_signals()
        .shutdown_timeout(10)
        .client_request_timeout(Duration::from_secs(15))
        // A compressed page leaves in several small writes. With Nagle's algorithm the last of them waits for the
        // acknowledgement of the one before, which the other side delays by some 40 ms.
        .tcp_nodelay(true)
        .listen(listener)?
        .run();
        Ok(Self {
            port,
            server,
            pool,
            readiness,
        })
    }

    /// The port it is bound to.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Runs until `stop` resolves or the server fails; requests under way are finished first. Signals are the caller's
    /// to listen for, so that what the server needs can be stopped after it.
    ///
    /// # Errors
    /// When the server fails.
    pub async fn run_until(self, stop: impl Future<Output = ()>) -> io::Result<()> {
        let handle = self.server.handle();
        let mut server = pin!(self.server);
        tokio::select! {
            result = &mut server => result,
            () = self.readiness.keep_looking(&self.pool) => Ok(()),
            () = stop => tokio::join!(server, handle.stop(true)).0,
        }
    }
}
