//! Why a backup was not made, or not restored, in words for whoever runs the command.

use crate::db::migrate::SetupError;
use std::io;
use std::path::{Path, PathBuf};

/// Why a backup was not made, or not restored.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// `pg_dump` and `pg_restore` are not installed where we look.
    #[error(
        "pg_dump and pg_restore were not found; install them (Debian: apt-get install postgresql-client), or name their \
         directory with --postgres-bin"
    )]
    NoTools,
    /// A file cannot be read or written.
    #[error("{}: {why}", .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        why: io::Error,
    },
    /// A backup is never written over another file.
    #[error("{} exists already; name another file", .0.display())]
    Exists(PathBuf),
    /// The key file holds too little to be a random key.
    #[error(
        "{} holds less than 32 characters; make a random key with: head -c 32 /dev/urandom | base64 > FILE",
        .0.display()
    )]
    ShortKey(PathBuf),
    /// It is encrypted, and no key was named.
    #[error("{} is encrypted; name the file of its key with --key-file", .0.display())]
    NeedsKey(PathBuf),
    /// It is plain, and a key was named.
    #[error(
        "{} is not encrypted, so the key cannot tell whether it is yours; if you trust the file, leave --key-file out",
        .0.display()
    )]
    NotEncrypted(PathBuf),
    /// The key is not the one it was made with.
    #[error("{} was encrypted with another key than the one in --key-file", .0.display())]
    WrongKey(PathBuf),
    /// It is not as it was written.
    #[error(
        "{} is damaged: it is not as it was written. Nothing was restored; take another copy of it",
        .0.display()
    )]
    Damaged(PathBuf),
    /// It is some other file.
    #[error("{} is not a backup made by `borewright backup`", .0.display())]
    NotABackup(PathBuf),
    /// It was made by a newer program.
    #[error(
        "{} was made by a newer version of this program (schema {of_file}, this version knows {known}); \
         restore it with that version",
        .path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its schema.
        of_file: i64,
        /// The newest schema this program knows.
        known: i64,
    },
    /// There is nothing to back up.
    #[error("the database “{0}” has no tables of this program; there is nothing to back up")]
    Nothing(String),
    /// The role would see no rows.
    #[error(
        "the database role “{0}” is bound by row-level security and would miss rows. Let a superuser say: \
         alter role \"{0}\" bypassrls — or name another URL for the backup"
    )]
    BoundRole(String),
    /// There are shops in the database.
    #[error(
        "the database “{database}” has data in it (shops: {shops}). Restore into an empty one, or say --overwrite: it is \
         then kept beside under another name"
    )]
    Filled {
        /// The database.
        database: String,
        /// Shops in it.
        shops: i64,
    },
    /// Somebody is connected to the database that would change its name.
    #[error("the database “{0}” is in use; stop the service and its workers first")]
    InUse(String),
    /// A program of PostgreSQL could not be run.
    #[error("{0} could not be run: {1}")]
    Program(&'static str, io::Error),
    /// A program of PostgreSQL failed.
    #[error("{program} failed. It said:\n{words}")]
    Said {
        /// Which.
        program: &'static str,
        /// Its last lines.
        words: String,
    },
    /// What was read or made could not be handed on.
    #[error("writing failed: {0}")]
    Handing(io::Error),
    /// The database cannot be reached or refused something.
    #[error("the database said: {0}")]
    Database(#[from] sqlx::Error),
    /// The schema could not be brought up to date.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// Something that should not happen.
    #[error("{0}")]
    Internal(&'static str),
}

impl BackupError {
    pub(super) fn file(path: &Path, why: io::Error) -> Self {
        if why.kind() == io::ErrorKind::AlreadyExists {
            return Self::Exists(path.to_owned());
        }
        Self::File {
            path: path.to_owned(),
            why,
        }
    }
}
