//! What the service was told at its start, and what every request may need.

use super::brake::Brake;
use crate::app::answer_enquiry::Simulator;
use crate::app::learn::Lessons;
use crate::app::password::Hashing;
use crate::app::set_up_shop::SetUpCode;
use crate::app::shared_plans::SharedPlans;
use crate::db::casting_records::PhotoPlace;
use crate::db::readiness::Readiness;
use actix_web::HttpRequest;
use sqlx::PgPool;
use std::sync::Arc;

/// What the web application is built from.
#[derive(Debug, Clone)]
pub struct Config {
    /// Address and port to listen on, e.g. `127.0.0.1:8080`; port 0 takes a free one.
    pub bind: String,
    /// Whether browsers reach it over HTTPS: cookies are then `Secure` with the `__Host-` prefix, and HSTS is sent.
    pub secure_cookies: bool,
    /// Whether a proxy of ours sits in front, whose `X-Forwarded-For` names the caller's address.
    pub behind_proxy: bool,
    /// Worker threads.
    pub workers: usize,
    /// Simulated futures behind each answer.
    pub futures: u32,
    /// Where photographs of castings are kept.
    pub photos: PhotoPlace,
    /// Where browsers reach it, such as `https://quotes.example`; `None`: where the one that asks has reached it.
    pub base_url: Option<String>,
    /// The code with which the first shop is set up from another machine.
    pub set_up_code: SetUpCode,
}

impl Default for Config {
    fn default() -> Self {
        Self {
            bind: "127.0.0.1:8080".to_owned(),
            secure_cookies: false,
            behind_proxy: false,
            workers: 2,
            futures: 1_000,
            photos: PhotoPlace::Database,
            base_url: None,
            set_up_code: SetUpCode::default(),
        }
    }
}

/// What every request may need: `web::Data<Site>`.
#[derive(Debug, Clone)]
pub struct Site {
    /// The database, as the role that owns nothing.
    pub pool: PgPool,
    /// See [`Config::secure_cookies`].
    pub secure_cookies: bool,
    /// See [`Config::behind_proxy`].
    pub behind_proxy: bool,
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
    /// See [`Config::set_up_code`].
    pub(in crate::web) set_up_code: SetUpCode,
    /// Whether the database answers and writes, as of the last second.
    pub readiness: Arc<Readiness>,
    pub(in crate::web) hashing: Hashing,
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
                let connection = req.connection_info();
                format!("{scheme}://{}{path}", connection.host())
            }
        }
    }
}
