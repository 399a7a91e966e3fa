//! The database of a verb: a server named by URL, the private one, or the private one of a running `serve`.

use super::settings::DatabaseSettings;
use anyhow::{Context, bail};
use borewright::db::backup::Server;
use borewright::db::cluster::ServerSocket;
use borewright::db::migrate;
use borewright::db::watch::WatchedCluster;
use sqlx::PgPool;
use sqlx::postgres::PgConnectOptions;

/// The name of our database on the private server.
pub(super) const NAME: &str = "borewright";

/// A database to work with. The private server, when it is one, runs until [`Database::close`].
pub(super) struct Database {
    cluster: Option<WatchedCluster>,
    owner: Option<PgConnectOptions>,
    service: PgConnectOptions,
    /// The database as its owner reaches it, for programs of PostgreSQL.
    server: Option<Server>,
    pool_size: u32,
}

impl Database {
    /// Opens the database for the service, which wants a private server of its own. Blocks while that starts.
    pub(super) fn for_service(settings: &DatabaseSettings) -> anyhow::Result<Self> {
        Self::open(settings, false)
    }

    /// Opens the database for a verb that may work beside a running service.
    pub(super) fn beside_service(settings: &DatabaseSettings) -> anyhow::Result<Self> {
        Self::open(settings, true)
    }

    fn open(settings: &DatabaseSettings, beside: bool) -> anyhow::Result<Self> {
        let options = |name, url: &String| {
            migrate::options_of(url).with_context(|| format!("{name} does not read"))
        };
        let owner = settings
            .database_url
            .as_ref()
            .map(|url| options("DATABASE_URL", url))
            .transpose()?;
        let service = match (&settings.service_database_url, &owner) {
            (Some(url), _) => Some(options("SERVICE_DATABASE_URL", url)?),
            (None, Some(owner)) => Some(migrate::as_service(owner)),
            (None, None) => None,
        };
        if let Some(service) = service {
            let server = settings
                .database_url
                .as_deref()
                .map(Server::of_url)
                .transpose()
                .context("DATABASE_URL does not read")?;
            return Ok(Self {
                cluster: None,
                owner,
                service,
                server,
                pool_size: settings.pool_size,
            });
        }
        let Some(dir) = settings.data_dir() else {
            bail!("there is no home directory to keep data in; name one with --data-dir");
        };
        let running = beside.then(|| ServerSocket::of_running(&dir)).flatten();
        let (cluster, socket) = if let Some(socket) = running {
            (None, socket)
        } else {
            let cluster = WatchedCluster::start(&dir, settings.postgres_bin.as_deref())?;
            tracing::info!(data = %dir.display(), "the private PostgreSQL server is running");
            let socket = cluster.socket().clone();
            (Some(cluster), socket)
        };
        Ok(Self {
            cluster,
            owner: Some(socket.owner_options(NAME)),
            service: socket.service_options(NAME),
            server: Some(Server::of_socket(&socket, NAME)),
            pool_size: settings.pool_size,
        })
    }

    /// The database as its owner reaches it, where we come as its owner.
    pub(super) fn server(&self) -> Option<&Server> {
        self.server.as_ref()
    }

    /// Brings the schema up to date where we come as its owner; says whether we do.
    pub(super) async fn migrate(&self) -> anyhow::Result<bool> {
        let Some(owner) = &self.owner else {
            return Ok(false);
        };
        migrate::create_database(owner).await?;
        migrate::migrate(owner).await?;
        Ok(true)
    }

    /// The service's connections.
    pub(super) async fn pool(&self) -> anyhow::Result<PgPool> {
        Ok(migrate::service_pool(self.service.clone(), self.pool_size).await?)
    }

    /// Stops the private server, if this is one of ours, and waits for it.
    pub(super) fn close(self) -> anyhow::Result<()> {
        if let Some(cluster) = self.cluster {
            cluster.stop()?;
            tracing::info!("the private PostgreSQL server has stopped");
        }
        Ok(())
    }
}

/// The verb `migrate`.
pub(super) fn migrate(settings: &DatabaseSettings) -> anyhow::Result<()> {
    let database = Database::beside_service(settings)?;
    let done = super::runtime()?.block_on(database.migrate());
    database.close()?;
    if !done? {
        bail!(
            "migrating needs DATABASE_URL, the owner's; SERVICE_DATABASE_URL alone is not enough"
        );
    }
    say!("The database schema is up to date.");
    Ok(())
}
