//! Moves the data of the private server to another major version of PostgreSQL, whose files are not those of the old one.
//!
//! The old server is started with its own programs, its database written to a backup, and that restored into a new server in
//! the directory `new` beside the data. When all is there, a file says so, and the directories change names; the old data are
//! kept. Whatever interrupts before that file is written leaves the old data as they are; after it, the same verb ends what
//! was begun, and no server starts until it has.

use super::backup::{self, BackupError, Server, Tools};
use super::cluster::{Cluster, ClusterError};
use super::programs::{NEW, WHOLE, find_programs, major_of_data, major_of_programs};
use chrono::{DateTime, Utc};
use std::fs::{File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

/// Why the data were not moved.
#[derive(Debug, thiserror::Error)]
pub enum MajorUpgradeError {
    /// There are no data.
    #[error("there is no data of a private PostgreSQL server in {}; name its directory with --data-dir", .0.display())]
    NoData(PathBuf),
    /// The data are of the newest version installed.
    #[error(
        "the data are of PostgreSQL {0} already, the newest that is installed; install a newer one first"
    )]
    Newest(u32),
    /// The programs that wrote the data are not installed.
    #[error(
        "the data are of PostgreSQL {0}, whose programs were not found. Install them too (Debian: apt-get install \
         postgresql-{0}), or name their directory with --old-postgres-bin"
    )]
    OldPrograms(u32),
    /// A server did not start or stop.
    #[error(transparent)]
    Cluster(#[from] ClusterError),
    /// The backup was not made, or not restored.
    #[error(transparent)]
    Backup(#[from] BackupError),
    /// A file or directory cannot be written.
    #[error("{}: {why}", .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        why: io::Error,
    },
}

fn file(path: &Path) -> impl FnOnce(io::Error) -> MajorUpgradeError {
    let path = path.to_owned();
    move |why| MajorUpgradeError::File { path, why }
}

/// What was moved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moved {
    /// The major version the data were of.
    pub from: u32,
    /// The major version they are of now.
    pub to: u32,
    /// Where the old data are kept.
    pub kept: PathBuf,
}

/// Data to be moved, and the programs of both versions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Move {
    /// The directory of the data.
    pub dir: PathBuf,
    /// The directory of the programs that wrote the data.
    pub from: PathBuf,
    /// The directory of the new programs.
    pub to: PathBuf,
}

impl Move {
    /// Looks for the programs of both versions: the old ones where named, else where Debian has that version; the new ones
    /// where named, else the newest.
    ///
    /// # Errors
    /// [`MajorUpgradeError::NoData`], [`MajorUpgradeError::Newest`], [`MajorUpgradeError::OldPrograms`],
    /// [`MajorUpgradeError::Cluster`].
    pub fn plan(
        dir: &Path,
        from: Option<&Path>,
        to: Option<&Path>,
    ) -> Result<Self, MajorUpgradeError> {
        const PROGRAMS: [&str; 2] = ["initdb", "postgres"];
        let data = dir.join("postgres");
        let old = major_of_data(&data).ok_or_else(|| MajorUpgradeError::NoData(dir.to_owned()))?;
        let to = find_programs(None, to, &PROGRAMS).ok_or(ClusterError::NoBinaries)?;
        let new = major_of_programs(&to)?;
        if new <= old {
            return Err(MajorUpgradeError::Newest(old));
        }
        // What is found without the data's own version is of another.
        let from = find_programs(Some(&data), from, &PROGRAMS)
            .filter(|from| major_of_programs(from).is_ok_and(|major| major == old))
            .ok_or(MajorUpgradeError::OldPrograms(old))?;
        Ok(Self {
            dir: dir.to_owned(),
            from,
            to,
        })
    }

    /// Moves this database of the server. Blocks while servers start and stop. Other databases of the server stay with the
    /// old data.
    ///
    /// # Errors
    /// [`MajorUpgradeError`]; the old data are then as they were.
    pub async fn run(
        &self,
        database: &str,
        now: DateTime<Utc>,
    ) -> Result<Moved, MajorUpgradeError> {
        let data = self.dir.join("postgres");
        let from =
            major_of_data(&data).ok_or_else(|| MajorUpgradeError::NoData(self.dir.clone()))?;
        // Said at once, and not after a new server was made.
        drop(lock(&self.dir)?);
        let new = self.dir.join(NEW);
        if new.exists() {
            // What an interrupted attempt left behind; nobody has worked with it.
            std::fs::remove_dir_all(&new).map_err(file(&new))?;
        }
        let tools = Tools::find(None, Some(&self.to))?;
        let written = Cluster::start(&new, Some(&self.to))?;
        let backup = new.join("backup");
        let old = Cluster::start(&self.dir, Some(&self.from))?;
        let server = Server::of_socket(old.socket(), database);
        backup::take(&server, &tools, &backup, None, now).await?;
        old.stop()?;
        // From here on nobody else starts a server on the old data.
        let _lock = lock(&self.dir)?;
        let server = Server::of_socket(written.socket(), database);
        backup::restore(&server, &tools, &backup, None, false, now).await?;
        written.stop()?;
        std::fs::remove_file(&backup).map_err(file(&backup))?;
        let whole = new.join(WHOLE);
        std::fs::write(&whole, format!("{from}\n")).map_err(file(&whole))?;
        File::open(&whole)
            .and_then(|file| file.sync_all())
            .map_err(file(&whole))?;
        change_places(&self.dir, from)
    }
}

/// Ends a move that was interrupted when everything was in place; `None` when there is none.
///
/// # Errors
/// [`MajorUpgradeError::File`], [`MajorUpgradeError::Cluster`] when a server is running on the data.
pub fn finish(dir: &Path) -> Result<Option<Moved>, MajorUpgradeError> {
    let whole = dir.join(NEW).join(WHOLE);
    let Ok(text) = std::fs::read_to_string(&whole) else {
        return Ok(None);
    };
    let from = text
        .trim()
        .parse()
        .map_err(|why| file(&whole)(io::Error::new(io::ErrorKind::InvalidData, why)))?;
    let _lock = lock(dir)?;
    change_places(dir, from).map(Some)
}

/// The lock that every server on the data holds, see `cluster.rs`.
fn lock(dir: &Path) -> Result<File, MajorUpgradeError> {
    let path = dir.join("postgres.lock");
    let lock = File::options()
        .write(true)
        .create(true)
        .truncate(false)
        .open(&path)
        .map_err(file(&path))?;
    match lock.try_lock() {
        Ok(()) => Ok(lock),
        Err(TryLockError::WouldBlock) => Err(ClusterError::InUse(dir.to_owned()).into()),
        Err(TryLockError::Error(why)) => Err(file(&path)(why)),
    }
}

/// Gives the old data another name and the new ones theirs. Each step that was done before is left out.
fn change_places(dir: &Path, from: u32) -> Result<Moved, MajorUpgradeError> {
    let (data, new) = (dir.join("postgres"), dir.join(NEW));
    let (fresh, kept) = (new.join("postgres"), dir.join(format!("postgres-{from}")));
    if fresh.exists() {
        if data.exists() {
            std::fs::rename(&data, &kept).map_err(file(&kept))?;
        }
        std::fs::rename(&fresh, &data).map_err(file(&data))?;
    }
    let to = major_of_data(&data).unwrap_or(from);
    std::fs::remove_dir_all(&new).map_err(file(&new))?;
    Ok(Moved { from, to, kept })
}
