//! Why a PostgreSQL server of the program's own did not start or stop.

use std::io;
use std::path::PathBuf;

/// A Unix socket's path holds 107 bytes and its closing zero on Linux (`sun_path`, unix(7)).
pub(super) const SOCKET_PATH_MAX: usize = 107;

/// Why the private server did not start or stop.
#[derive(Debug, thiserror::Error)]
pub enum ClusterError {
    /// PostgreSQL is not installed where we look.
    #[error(
        "no PostgreSQL server was found; install it (Debian: apt-get install postgresql), name its binaries with \
         --postgres-bin, or set DATABASE_URL to use a server that runs elsewhere"
    )]
    NoBinaries,
    /// The data directory is too deep for a Unix socket inside it.
    #[error(
        "the data directory {} is too long a path for a Unix socket ({SOCKET_PATH_MAX} bytes with the socket's name); \
         choose a shorter one with --data-dir",
        .0.display()
    )]
    PathTooLong(PathBuf),
    /// The data directory cannot be made or entered.
    #[error("the data directory {} cannot be used: {why}", .path.display())]
    Directory {
        /// The directory.
        path: PathBuf,
        /// What the system said.
        why: io::Error,
    },
    /// PostgreSQL refuses to run as root, and the user it would run as cannot reach the data.
    #[error(
        "the data directory {} cannot be reached by the user the database runs as (PostgreSQL refuses root); \
         choose one outside root's home with --data-dir",
        .0.display()
    )]
    Unreachable(PathBuf),
    /// Another server runs on the same data.
    #[error(
        "the data directory {} is in use by another running server; stop that one, or choose another with --data-dir",
        .0.display()
    )]
    InUse(PathBuf),
    /// The data are of another major version than the server.
    #[error(
        "the data directory {} is of PostgreSQL {of_data}, and the server that was found is PostgreSQL {found}, which cannot \
         read it. Install PostgreSQL {of_data} beside it (Debian: apt-get install postgresql-{of_data}), which is then used; \
         `borewright upgrade-postgres` moves the data to a newer version. Nothing was changed",
        .dir.display()
    )]
    OtherMajor {
        /// The directory.
        dir: PathBuf,
        /// The major version that wrote the data.
        of_data: u32,
        /// The major version of the server.
        found: u32,
    },
    /// The data were being moved to another major version when something interrupted.
    #[error(
        "the data in {} were being moved to another version of PostgreSQL when something interrupted; end it with \
         `borewright upgrade-postgres`",
        .0.display()
    )]
    MoveUnfinished(PathBuf),
    /// A helper program of the system could not be run.
    #[error("{program} could not be run: {why}")]
    Program {
        /// Its name.
        program: &'static str,
        /// What the system said.
        why: io::Error,
    },
    /// The server said no.
    #[error("the private PostgreSQL server did not start. It said:\n{0}")]
    Refused(String),
    /// The server did not stop in good order.
    #[error("the private PostgreSQL server ended with {0}")]
    BadEnd(std::process::ExitStatus),
}
