//! Where the programs of PostgreSQL are, and of which major version: a major version reads its own files only.

use super::cluster_error::ClusterError;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// In the directory of the data: the new server until it takes the old one's place.
pub(super) const NEW: &str = "new";
/// In [`NEW`]: everything is there. Its text is the major version that the data come from.
pub(super) const WHOLE: &str = "whole";

/// Whether a move of the data to another major version has everything in place but the names of the directories.
pub(super) fn is_move_unfinished(dir: &Path) -> bool {
    dir.join(NEW).join(WHOLE).exists()
}

/// The major version that wrote the data; `None` when there are none.
pub(super) fn major_of_data(data: &Path) -> Option<u32> {
    let version = std::fs::read_to_string(data.join("PG_VERSION")).ok()?;
    version.trim().parse().ok()
}

/// The major version of the server in a directory of programs, from what it says of itself: `postgres (PostgreSQL) 15.8
/// (Debian 15.8-0)`.
pub(super) fn major_of_programs(binaries: &Path) -> Result<u32, ClusterError> {
    let output = Command::new(binaries.join("postgres"))
        .arg("--version")
        .output()
        .map_err(|why| ClusterError::Program {
            program: "postgres",
            why,
        })?;
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    said.split_whitespace()
        .nth(2)
        .and_then(|version| version.split(|c: char| !c.is_ascii_digit()).next())
        .and_then(|major| major.parse().ok())
        .ok_or(ClusterError::Refused(said))
}

/// The directory of these programs of PostgreSQL: the one named, else the version that wrote the data, else what
/// `pg_config` names, else the newest of Debian's, else the system's own.
pub(super) fn find_programs(
    data: Option<&Path>,
    named: Option<&Path>,
    programs: &[&str],
) -> Option<PathBuf> {
    let debian = Path::new("/usr/lib/postgresql");
    let complete = |dir: &PathBuf| programs.iter().all(|name| dir.join(name).is_file());
    if let Some(named) = named {
        return Some(named.to_owned()).filter(complete);
    }
    let of_data = data
        .and_then(|data| std::fs::read_to_string(data.join("PG_VERSION")).ok())
        .map(|version| debian.join(version.trim()).join("bin"));
    let configured = Command::new("pg_config")
        .arg("--bindir")
        .stderr(Stdio::null())
        .output()
        .ok()
        .and_then(|output| String::from_utf8(output.stdout).ok())
        .map(|dir| PathBuf::from(dir.trim()));
    let newest = std::fs::read_dir(debian)
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| entry.file_name().to_str()?.parse::<u32>().ok())
        .max()
        .map(|version| debian.join(version.to_string()).join("bin"));
    let system = Some(PathBuf::from("/usr/bin"));
    [of_data, configured, newest, system]
        .into_iter()
        .flatten()
        .find(complete)
}
