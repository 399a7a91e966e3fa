//! The verbs `serve` and `demo`: database up, web up; on a signal web down, database down.

use super::database::Database;
use super::settings::{DatabaseSettings, PlannerSettings};
use anyhow::Context;
use borewright::app::planner::keep_planning;
use borewright::app::set_up_shop::{SetUpCode, shop_stands};
use borewright::db::casting_records::PhotoPlace;
use borewright::db::migrate;
use borewright::demo::{self, Demo};
use borewright::units::Code;
use borewright::web::server::{Application, Config};
use borewright::web::shell::proxies::Network;
use chrono::Utc;
use clap::Args;
use sqlx::postgres::PgConnectOptions;
use std::collections::BTreeMap;
use std::io;
use std::net::{IpAddr, SocketAddr};
use tokio::signal::unix::{Signal, SignalKind, signal};

#[derive(Debug, Args)]
pub(super) struct ServeSettings {
    #[command(flatten)]
    database: DatabaseSettings,
    #[command(flatten)]
    web: WebSettings,
    #[command(flatten)]
    planner: PlannerSettings,
}

#[derive(Debug, Args)]
#[command(next_help_heading = "Web")]
struct WebSettings {
    /// The address to listen on; 0.0.0.0 or :: for every one of this machine.
    #[arg(long, env = "BOREWRIGHT_ADDRESS", default_value = "127.0.0.1")]
    address: IpAddr,
    /// The port to listen on; 0 takes a free one.
    #[arg(long, env = "BOREWRIGHT_PORT", default_value_t = 8080)]
    port: u16,
    /// Where browsers reach the service, such as https://quotes.example, when that is not the address and port above.
    #[arg(long, env = "BOREWRIGHT_BASE_URL", value_name = "URL", value_parser = base_url)]
    base_url: Option<String>,
    /// Send cookies over HTTPS only. Say false only in a network whose every member you trust
    /// [default: true, but for http:// on a loopback address].
    #[arg(long, env = "BOREWRIGHT_SECURE_COOKIES", value_name = "true|false")]
    secure_cookies: Option<bool>,
    /// The addresses of proxies of your own in front, separated by commas, such as 127.0.0.1,10.0.0.0/8. Their
    /// X-Forwarded-For names the caller; from anybody else it is not believed.
    #[arg(
        long,
        env = "BOREWRIGHT_BEHIND_PROXY",
        value_name = "ADDRESSES",
        value_delimiter = ','
    )]
    behind_proxy: Vec<Network>,
    /// The most connections at once; more wait until one is free.
    #[arg(
        long,
        env = "BOREWRIGHT_CONNECTIONS",
        default_value_t = 1_000,
        value_parser = clap::value_parser!(u32).range(10..=100_000)
    )]
    connections: u32,
    /// Threads that answer requests [default: one for each core].
    #[arg(long, env = "BOREWRIGHT_WORKERS", value_parser = clap::value_parser!(u16).range(1..=256))]
    workers: Option<u16>,
    /// Simulated futures behind each answer on the phone: more are smoother and slower.
    #[arg(
        long,
        env = "BOREWRIGHT_FUTURES",
        default_value_t = 1_000,
        value_parser = clap::value_parser!(u32).range(100..=100_000)
    )]
    futures: u32,
    /// A token of 16 characters or more that lets another machine read /metrics; without it this machine alone may.
    #[arg(
        long,
        env = "BOREWRIGHT_METRICS_TOKEN",
        hide_env_values = true,
        value_name = "TOKEN",
        value_parser = metrics_token
    )]
    metrics_token: Option<String>,
    /// A further cluster that shops lie in, as NAME=URL, of a role that owns nothing; as often as there are such. The directory
    /// of shops is in the database above. See the verb `shop move`.
    #[arg(
        long = "cluster",
        env = "BOREWRIGHT_CLUSTERS",
        hide_env_values = true,
        value_name = "NAME=URL",
        value_delimiter = ',',
        value_parser = super::settings::cluster
    )]
    clusters: Vec<(String, PgConnectOptions)>,
    /// A folder for photographs of castings, to be backed up besides the database [default: in the database].
    #[arg(long, env = "BOREWRIGHT_PHOTO_FOLDER", value_name = "FOLDER")]
    photo_folder: Option<std::path::PathBuf>,
}

fn metrics_token(text: &str) -> Result<String, String> {
    if text.len() >= 16 && text.chars().all(|c| c.is_ascii_graphic()) {
        Ok(text.to_owned())
    } else {
        Err("take 16 characters or more, without spaces".to_owned())
    }
}

fn base_url(text: &str) -> Result<String, String> {
    let host = text
        .strip_prefix("https://")
        .or_else(|| text.strip_prefix("http://"));
    match host {
        Some(host) if !host.is_empty() && !host.contains(char::is_whitespace) => {
            Ok(text.trim_end_matches('/').to_owned())
        }
        _ => Err("write it like https://quotes.example".to_owned()),
    }
}

impl WebSettings {
    fn config(&self) -> Config {
        let secure = self
            .base_url
            .as_ref()
            .map_or(!self.address.is_loopback(), |url| {
                url.starts_with("https://")
            });
        let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        Config {
            bind: SocketAddr::new(self.address, self.port).to_string(),
            secure_cookies: self.secure_cookies.unwrap_or(secure),
            proxies: self.behind_proxy.clone(),
            connections: usize::try_from(self.connections).unwrap_or(1_000),
            workers: self.workers.map_or(cores, usize::from),
            futures: self.futures,
            photos: self
                .photo_folder
                .clone()
                .map_or(PhotoPlace::Database, PhotoPlace::Folder),
            base_url: self.base_url.clone(),
            metrics_token: self.metrics_token.clone(),
            ..Config::default()
        }
    }

    /// Where a person points a browser.
    fn url(&self, port: u16) -> String {
        self.base_url
            .clone()
            .unwrap_or_else(|| format!("http://{}", SocketAddr::new(self.address, port)))
    }
}

/// Starts everything, answers until a signal, and stops everything in order.
pub(super) fn serve(settings: &ServeSettings) -> anyhow::Result<()> {
    start(settings, false)
}

/// The same with the invented demo shop in the database, made if it is not there.
pub(super) fn demo(settings: &ServeSettings) -> anyhow::Result<()> {
    start(settings, true)
}

fn start(settings: &ServeSettings, with_demo: bool) -> anyhow::Result<()> {
    let database = Database::for_service(&settings.database)?;
    let served = super::runtime()
        .map_err(Into::into)
        .and_then(|runtime| runtime.block_on(answer(&database, settings, with_demo)));
    // Whatever became of the web, the database is stopped in good order; the first complaint is the one to read.
    let closed = database.close();
    served.and(closed)
}

async fn answer(
    database: &Database,
    settings: &ServeSettings,
    with_demo: bool,
) -> anyhow::Result<()> {
    let web = &settings.web;
    database.migrate().await?;
    let pool = database.pool().await?;
    let demo = if with_demo {
        Some(demo::run(&pool, Utc::now()).await?)
    } else {
        None
    };
    let empty = !shop_stands(&pool).await?;
    let mut clusters = BTreeMap::new();
    for (name, options) in &web.clusters {
        let size = settings.database.pool_size;
        let pool = migrate::service_pool(options.clone(), size).await?;
        clusters.insert(name.clone(), pool);
    }
    let config = Config {
        clusters,
        set_up_code: if empty {
            SetUpCode::new()?
        } else {
            SetUpCode::default()
        },
        ..web.config()
    };
    let application =
        Application::build(pool.clone(), &config).map_err(|why| in_words(why, web))?;
    if config.secure_cookies && !web.url(0).starts_with("https://") {
        tracing::warn!(
            "cookies are sent over HTTPS only, so people can sign in only through an HTTPS proxy; see --base-url and \
             --secure-cookies"
        );
    }
    // Before anybody can know that it answers: a signal that comes then is an orderly stop.
    let stop = stop()?;
    say!("Borewright answers at {}", web.url(application.port()));
    if let Some(code) = config.set_up_code.text() {
        say!(
            "There is no shop yet: set one up at {}/set-up. From another machine that takes the code {code}.",
            web.url(application.port())
        );
    }
    if let Some(demo) = demo {
        say!("{}", sign_ins(&demo));
    }
    say!("Stop it with Ctrl-C.");
    // The planner ends when the web has: a request under way may still ask for a plan.
    let (open, closed) = tokio::sync::oneshot::channel::<()>();
    let serving = async {
        let served = application.run_until(stop).await;
        drop(open);
        served
    };
    let at_once = usize::from(settings.planner.planners);
    let planning = async {
        if at_once > 0 {
            let closed = async { closed.await.unwrap_or(()) };
            keep_planning(&pool, at_once, settings.planner.settings(), closed).await;
        }
    };
    let (served, ()) = tokio::join!(serving, planning);
    pool.close().await;
    Ok(served?)
}

/// Who can sign in to the demo, and how.
fn sign_ins(demo: &Demo) -> String {
    let mut text = format!(
        "{} (invented, as everything in it) {}.\nSign in to the shop “{}” with the password “{}” as:\n",
        demo.shop,
        if demo.made {
            "was made"
        } else {
            "was there already and is left as it was"
        },
        demo.short_name,
        demo.password,
    );
    for person in &demo.sign_ins {
        let pin = match &person.pin {
            Some(pin) => format!("; PIN at the bench {pin}"),
            None => String::new(),
        };
        text.push_str(&format!(
            "  {:<8} {}, {}{pin}\n",
            person.sign_in,
            person.name,
            person.role.code()
        ));
    }
    text
}

fn in_words(why: io::Error, web: &WebSettings) -> anyhow::Error {
    let at = SocketAddr::new(web.address, web.port);
    let words = match why.kind() {
        io::ErrorKind::AddrInUse => {
            format!("{at} is in use by another program; choose another port with --port")
        }
        io::ErrorKind::PermissionDenied => {
            format!("this user may not listen on {at}; choose a port above 1023 with --port")
        }
        io::ErrorKind::AddrNotAvailable => {
            format!("this machine has no address {}; see --address", web.address)
        }
        _ => format!("{at} cannot be listened on"),
    };
    anyhow::Error::new(why).context(words)
}

/// Resolves at Ctrl-C or SIGTERM, which are listened for from now on. A second signal ends the program without waiting for
/// requests under way.
///
/// # Errors
/// When they cannot be listened for.
pub(super) fn stop() -> anyhow::Result<impl Future<Output = ()>> {
    let mut signals = Signals::listen()?;
    Ok(async move {
        signals.next().await;
        say!("Stopping; requests under way are finished first. Once more to stop at once.");
        tokio::spawn(async move {
            signals.next().await;
            std::process::exit(130);
        });
    })
}

struct Signals {
    interrupt: Signal,
    terminate: Signal,
}

impl Signals {
    fn listen() -> anyhow::Result<Self> {
        Ok(Self {
            interrupt: signal(SignalKind::interrupt()).context("SIGINT")?,
            terminate: signal(SignalKind::terminate()).context("SIGTERM")?,
        })
    }

    async fn next(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
        }
    }
}
