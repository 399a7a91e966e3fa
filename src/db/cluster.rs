//! A PostgreSQL server of the program's own, run from the installed binaries over a Unix socket.
//!
//! One mechanism keeps the server from outliving the program: it is the child of a small shell whose standard input is
//! a pipe that only this process holds. When the pipe closes (an orderly stop, a panic or SIGKILL alike) the shell asks
//! the server for a fast shutdown and waits for it. The shell has a process group of its own, so a Ctrl-C at the
//! terminal does not stop the database before the web server has finished.

pub use super::cluster_error::ClusterError;
use super::cluster_error::SOCKET_PATH_MAX;
use super::cluster_log::ServerLog;
use super::migrate::{SERVICE_ROLE, STATEMENTS};
use super::programs::{find_programs, is_move_unfinished, major_of_data, major_of_programs};
use sqlx::postgres::{PgConnectOptions, PgSslMode};
use std::fs::DirBuilder;
use std::io;
use std::os::unix::fs::{DirBuilderExt, MetadataExt, chown};
use std::os::unix::net::UnixStream;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// The role that owns the private cluster and every table in it.
pub const OWNER: &str = "borewright_owner";

const SOCKET_NAME: &str = ".s.PGSQL.5432";

/// How long a server that is still stopping may hold the data before we say that it is in use.
const PATIENCE: Duration = Duration::from_secs(5);

/// `$1` binaries, `$2` data, `$3` directory to remove at the end or nothing, `$4` initdb's options, or nothing where data
/// must be there already, then the server's options. The socket lies in the data directory itself, which PostgreSQL keeps at mode 0700. The lock is held
/// from before there are data until the server is gone.
const SHELL: &str = r#"
trap '' HUP INT QUIT TERM
exec 3<&0 </dev/null
bin=$1 data=$2 remove=$3 init=$4; shift 4
exec 9>"$data.lock" || exit
if ! flock -n 9; then echo in-use >&2; exit 1; fi
if [ -n "$remove" ]; then trap 'rm -rf -- "$remove"' EXIT; fi
if [ ! -e "$data" ]; then
    if [ -z "$init" ]; then echo "$data is gone" >&2; exit 1; fi
    rm -rf -- "$data.new" &&
    "$bin/initdb" -D "$data.new" $init >&2 3<&- 9>&- &&
    mv -T -- "$data.new" "$data" || exit
fi
"$bin/postgres" -D "$data" -p 5432 -k . "$@" 3<&- 9>&- & server=$!
( trap - EXIT; read -r _ <&3; kill -INT $server ) & watch=$!
wait $server; status=$?
kill -KILL $watch 2>/dev/null
exit $status
"#;

/// The directory of a private server's socket, which is that of its data too.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ServerSocket(PathBuf);

impl ServerSocket {
    /// The socket of a server that is running on the data in `dir` already, started by another process.
    #[must_use]
    pub fn of_running(dir: &Path) -> Option<Self> {
        let data = dir.canonicalize().ok()?.join("postgres");
        UnixStream::connect(data.join(SOCKET_NAME)).ok()?;
        Some(Self(data))
    }

    /// How the service connects to one of its databases: as a role that owns nothing.
    #[must_use]
    pub fn service_options(&self, database: &str) -> PgConnectOptions {
        self.owner_options(database).username(SERVICE_ROLE)
    }

    /// How its owner connects to one of its databases.
    #[must_use]
    pub fn owner_options(&self, database: &str) -> PgConnectOptions {
        PgConnectOptions::new_without_pgpass()
            .socket(&self.0)
            .port(5432)
            .ssl_mode(PgSslMode::Disable)
            .statement_cache_capacity(STATEMENTS)
            .username(OWNER)
            .database(database)
    }

    /// The directory.
    #[must_use]
    pub fn directory(&self) -> &Path {
        &self.0
    }
}

/// A running private server. Dropping it stops the server and waits; [`Cluster::stop`] does so and says how it went.
#[derive(Debug)]
pub struct Cluster {
    socket: ServerSocket,
    shell: Child,
    pipe: Option<ChildStdin>,
    log: ServerLog,
}

/// What a server is started for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Purpose {
    /// Data that are kept, made and initialised when they are new.
    Keep,
    /// Data that were there a moment ago: never made anew, or an empty database would take the place of a full one.
    Again,
    /// Data that are removed when it stops.
    Throwaway,
}

impl Cluster {
    /// Starts the server on the data in `dir`, which is made and initialised when it is new.
    /// Blocks until the server takes connections.
    ///
    /// # Errors
    /// [`ClusterError`]: everything a person can put right is said in words.
    pub fn start(dir: &Path, binaries: Option<&Path>) -> Result<Self, ClusterError> {
        make_directory(dir)?;
        let dir = dir.canonicalize().map_err(|why| directory(dir, why))?;
        let give_up = Instant::now() + PATIENCE;
        loop {
            match Self::launch(&dir, binaries, Purpose::Keep) {
                // The server of a program that was just killed may still be writing its last checkpoint.
                Err(ClusterError::InUse(_)) if Instant::now() < give_up => {
                    std::thread::sleep(Duration::from_millis(200));
                }
                other => return other,
            }
        }
    }

    /// Starts a new server in the system's temporary directory for tests and benchmarks. Its data are not kept safe
    /// from a power cut and are removed when it stops, however the program ends.
    ///
    /// # Errors
    /// [`ClusterError`].
    pub fn throwaway(binaries: Option<&Path>) -> Result<Self, ClusterError> {
        let name = Uuid::new_v4().simple().to_string();
        let short = name.get(..12).unwrap_or(&name);
        let dir = std::env::temp_dir().join(format!("borewright-{short}"));
        make_directory(&dir)?;
        Self::launch(&dir, binaries, Purpose::Throwaway)
    }

    /// Starts the server again on the data in `dir`, which must be there. Blocks until it takes connections, which
    /// includes the time it needs to recover.
    ///
    /// # Errors
    /// [`ClusterError`].
    pub(super) fn start_again(dir: &Path, binaries: Option<&Path>) -> Result<Self, ClusterError> {
        Self::launch(dir, binaries, Purpose::Again)
    }

    fn launch(dir: &Path, binaries: Option<&Path>, purpose: Purpose) -> Result<Self, ClusterError> {
        let throwaway = purpose == Purpose::Throwaway;
        let data = dir.join("postgres");
        if data.join(SOCKET_NAME).as_os_str().len() > SOCKET_PATH_MAX {
            return Err(ClusterError::PathTooLong(dir.to_owned()));
        }
        if is_move_unfinished(dir) {
            return Err(ClusterError::MoveUnfinished(dir.to_owned()));
        }
        let binaries = find_binaries(&data, binaries)?;
        check_major(dir, &data, &binaries)?;
        let owner = std::fs::metadata(dir).map_err(|why| directory(dir, why))?;
        let as_owner = |program: &str| {
            let mut command = Command::new(program);
            command.current_dir("/").env("LC_ALL", "C.UTF-8");
            if is_root() {
                // Also drops the supplementary groups.
                command.uid(owner.uid()).gid(owner.gid());
            }
            command
        };
        check_reachable(dir, as_owner("test"))?;

        const INIT: &str = "--encoding=UTF8 --locale=C.UTF-8 --auth-local=trust --auth-host=reject";
        let init = match purpose {
            Purpose::Keep => format!("--username={OWNER} {INIT}"),
            Purpose::Again => String::new(),
            Purpose::Throwaway => format!("--username={OWNER} {INIT} --no-sync"),
        };
        let mut command = as_owner("sh");
        command
            .args(["-c", SHELL, "borewright-postgres"])
            .arg(&binaries)
            .arg(&data)
            .arg(if throwaway {
                dir.as_os_str()
            } else {
                "".as_ref()
            })
            .arg(init);
        for setting in server_settings(throwaway) {
            command.args(["-c", setting]);
        }
        let mut shell = command
            .process_group(0)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|why| ClusterError::Program { program: "sh", why })?;
        let (log, said) = ServerLog::follow(&mut shell, purpose == Purpose::Again);
        let pipe = shell.stdin.take();
        let cluster = Self {
            socket: ServerSocket(data),
            shell,
            pipe,
            log,
        };

        let mut words = Vec::new();
        for line in said {
            if line.ends_with("database system is ready to accept connections") {
                cluster.log.is_news(true);
                return Ok(cluster);
            }
            words.push(line);
        }
        if words
            .iter()
            .any(|w| w == "in-use" || w.contains("\"postmaster.pid\""))
        {
            return Err(ClusterError::InUse(dir.to_owned()));
        }
        let last = words.split_off(words.len().saturating_sub(12));
        Err(ClusterError::Refused(last.join("\n")))
    }

    /// Where it is reached.
    #[must_use]
    pub fn socket(&self) -> &ServerSocket {
        &self.socket
    }

    /// Stops the server in good order and waits until it has written everything.
    ///
    /// # Errors
    /// [`ClusterError::BadEnd`] when it did not end well.
    pub fn stop(mut self) -> Result<(), ClusterError> {
        self.log.is_news(false);
        self.pipe.take();
        let status = self.shell.wait().map_err(|why| ClusterError::Program {
            program: "wait",
            why,
        })?;
        if status.success() {
            Ok(())
        } else {
            Err(ClusterError::BadEnd(status))
        }
    }
}

impl Cluster {
    /// How the server ended, if it has.
    ///
    /// # Errors
    /// [`ClusterError::Program`] when the system does not say.
    pub(super) fn ended(&mut self) -> Result<Option<ExitStatus>, ClusterError> {
        self.shell.try_wait().map_err(|why| ClusterError::Program {
            program: "wait",
            why,
        })
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        self.log.is_news(false);
        self.pipe.take();
        if let Err(why) = self.shell.wait() {
            tracing::error!(%why, "the private PostgreSQL server could not be waited for");
        }
    }
}

/// Settings of the private server; a throwaway one may lose what it holds.
fn server_settings(throwaway: bool) -> Vec<&'static str> {
    let mut settings = vec![
        "listen_addresses=",
        "unix_socket_permissions=0700",
        "logging_collector=off",
        "log_destination=stderr",
        "log_line_prefix=%e ",
        "log_checkpoints=off",
        "lc_messages=C",
        // Compiling a query takes longer than running it does here.
        "jit=off",
    ];
    if throwaway {
        settings.extend([
            "fsync=off",
            "synchronous_commit=off",
            "full_page_writes=off",
            "autovacuum=off",
            "max_connections=200",
        ]);
    }
    settings
}

/// Whether the server can read the data that are there.
fn check_major(dir: &Path, data: &Path, binaries: &Path) -> Result<(), ClusterError> {
    let Some(of_data) = major_of_data(data) else {
        return Ok(());
    };
    let found = major_of_programs(binaries)?;
    if found == of_data {
        return Ok(());
    }
    Err(ClusterError::OtherMajor {
        dir: dir.to_owned(),
        of_data,
        found,
    })
}

/// Whether the user that owns a directory can work in it: one above it may be closed to them.
fn check_reachable(dir: &Path, mut test: Command) -> Result<(), ClusterError> {
    let reached = test
        .arg("-w")
        .arg(dir)
        .arg("-a")
        .arg("-x")
        .arg(dir)
        .status()
        .map_err(|why| ClusterError::Program {
            program: "test",
            why,
        })?;
    if reached.success() {
        Ok(())
    } else {
        Err(ClusterError::Unreachable(dir.to_owned()))
    }
}

/// Makes the directory, for the user the server will run as where we are root.
fn make_directory(dir: &Path) -> Result<(), ClusterError> {
    DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(dir)
        .map_err(|why| directory(dir, why))?;
    let owner = std::fs::metadata(dir).map_err(|why| directory(dir, why))?;
    if is_root() && owner.uid() == 0 {
        let name = if id(&["-u", "postgres"]).is_some() {
            "postgres"
        } else {
            "nobody"
        };
        let (uid, gid) = (id(&["-u", name]), id(&["-g", name]));
        chown(dir, uid, gid).map_err(|why| directory(dir, why))?;
    }
    Ok(())
}

fn directory(path: &Path, why: io::Error) -> ClusterError {
    ClusterError::Directory {
        path: path.to_owned(),
        why,
    }
}

/// Whether this process is root.
#[must_use]
pub fn is_root() -> bool {
    id(&["-u"]) == Some(0)
}

fn id(args: &[&str]) -> Option<u32> {
    let output = Command::new("id")
        .args(args)
        .stderr(Stdio::null())
        .output()
        .ok()?;
    String::from_utf8(output.stdout).ok()?.trim().parse().ok()
}

/// The directory of `initdb` and `postgres`.
fn find_binaries(data: &Path, named: Option<&Path>) -> Result<PathBuf, ClusterError> {
    find_programs(Some(data), named, &["initdb", "postgres"]).ok_or(ClusterError::NoBinaries)
}
