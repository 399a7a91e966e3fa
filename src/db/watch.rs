//! Watches the private server and starts it again when it ends by itself: killed by the system, broken by a full disk.
//!
//! A thread looks ten times a second. The data are never made anew, and the server is tried again for as long as the
//! program runs: at first after a quarter of a second, later every two seconds, so that it comes back by itself as soon
//! as what hindered it is gone.

use super::cluster::{Cluster, ClusterError, ServerSocket};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How often the server is looked at.
const LOOK: Duration = Duration::from_millis(100);
/// The wait before a second try; it doubles with each.
const FIRST_WAIT: Duration = Duration::from_millis(250);
/// The longest wait between tries.
const LONGEST_WAIT: Duration = Duration::from_secs(2);
/// How often the same complaint is written to the log again.
const SAY_AGAIN: Duration = Duration::from_secs(60);

/// A private server that is started again when it ends by itself. Dropping it stops the server.
#[derive(Debug)]
pub struct WatchedCluster {
    socket: ServerSocket,
    /// Closed to stop; the thread listens at the other end.
    stop: Option<Sender<()>>,
    watch: Option<JoinHandle<Result<(), ClusterError>>>,
}

impl WatchedCluster {
    /// Starts the server as [`Cluster::start`] does, and watches it from then on.
    ///
    /// # Errors
    /// [`ClusterError`], when it does not start the first time.
    pub fn start(dir: &Path, binaries: Option<&Path>) -> Result<Self, ClusterError> {
        let cluster = Cluster::start(dir, binaries)?;
        let socket = cluster.socket().clone();
        let (stop, stopped) = channel();
        let again = Again {
            // The socket's directory is that of the data, made canonical.
            dir: socket.directory().parent().unwrap_or(dir).to_owned(),
            binaries: binaries.map(Path::to_owned),
            stopped,
        };
        let watch = std::thread::Builder::new()
            .name("postgres-watch".to_owned())
            .spawn(move || again.watch(cluster))
            .map_err(|why| ClusterError::Program {
                program: "the watch over PostgreSQL",
                why,
            })?;
        Ok(Self {
            socket,
            stop: Some(stop),
            watch: Some(watch),
        })
    }

    /// Where it is reached.
    #[must_use]
    pub fn socket(&self) -> &ServerSocket {
        &self.socket
    }

    /// Stops the server in good order and waits until it has written everything.
    ///
    /// # Errors
    /// [`ClusterError`] when it did not end well.
    pub fn stop(mut self) -> Result<(), ClusterError> {
        self.end()
    }

    fn end(&mut self) -> Result<(), ClusterError> {
        self.stop.take();
        match self.watch.take().map(JoinHandle::join) {
            None => Ok(()),
            Some(Ok(ended)) => ended,
            Some(Err(_)) => Err(ClusterError::Refused("its watch failed".to_owned())),
        }
    }
}

impl Drop for WatchedCluster {
    fn drop(&mut self) {
        if let Err(why) = self.end() {
            tracing::error!(%why, "the private PostgreSQL server did not stop well");
        }
    }
}

struct Again {
    dir: PathBuf,
    binaries: Option<PathBuf>,
    stopped: Receiver<()>,
}

impl Again {
    fn watch(self, mut cluster: Cluster) -> Result<(), ClusterError> {
        while !self.is_stopped(LOOK) {
            let Some(status) = cluster.ended()? else {
                continue;
            };
            tracing::error!(%status, "the private PostgreSQL server has ended; it is started again");
            // Closes the pipe too, so that whatever is left of it goes.
            drop(cluster);
            match self.start() {
                Some(running) => cluster = running,
                None => return Ok(()),
            }
        }
        cluster.stop()
    }

    /// Whether the watch is over, after waiting for that so long.
    fn is_stopped(&self, wait: Duration) -> bool {
        !matches!(
            self.stopped.recv_timeout(wait),
            Err(RecvTimeoutError::Timeout)
        )
    }

    /// Tries until the server runs; `None` when the watch is over before.
    fn start(&self) -> Option<Cluster> {
        let since = Instant::now();
        let mut wait = FIRST_WAIT;
        let mut said: Option<(String, Instant)> = None;
        loop {
            match Cluster::start_again(&self.dir, self.binaries.as_deref()) {
                Ok(cluster) => {
                    let seconds = since.elapsed().as_secs_f64();
                    tracing::info!(seconds, "the private PostgreSQL server is running again");
                    return Some(cluster);
                }
                Err(why) => {
                    let why = why.to_string();
                    let is_new = said
                        .as_ref()
                        .is_none_or(|(before, at)| *before != why || at.elapsed() >= SAY_AGAIN);
                    if is_new {
                        tracing::error!(%why, "the private PostgreSQL server cannot be started; it is tried again until it can");
                        said = Some((why, Instant::now()));
                    }
                }
            }
            if self.is_stopped(wait) {
                return None;
            }
            wait = (wait * 2).min(LONGEST_WAIT);
        }
    }
}
