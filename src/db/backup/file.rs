//! The file of a backup: one line of text, then the archive that `pg_dump` wrote, as it is or encrypted.
//!
//! The line says what the file is, when it was made, the schema's version, and `plain` or `encrypted` with two words
//! in base64. It is followed by
//!
//! - plain: the archive, then the SHA-256 of line and archive, 32 bytes. So `tail -n +2 FILE | head -c -32` is an archive
//!   that `pg_restore` reads;
//! - encrypted: the archive in chunks of 64 KiB, each with its tag of 16 bytes, by ChaCha20-Poly1305 (RFC 8439) in the
//!   STREAM construction (Hoang, Reyhanitabar, Rogaway and Vizár 2015), so that chunks can neither be changed, left out,
//!   reordered nor cut off at the end. The key is drawn from the key file and the salt by HKDF-SHA-256 (RFC 5869), so no
//!   two files share one and the nonce begins at zero. The line is authenticated with each chunk.

use super::BackupError;
use aead_stream::{DecryptorBE32, EncryptorBE32};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chacha20poly1305::ChaCha20Poly1305;
use chacha20poly1305::aead::Payload;
use chrono::{DateTime, SecondsFormat, Utc};
use hkdf::Hkdf;
use rand::TryRng;
use rand::rngs::SysRng;
use sha2::{Digest, Sha256};
use std::fmt;
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::path::Path;
use subtle::ConstantTimeEq;

/// How the line begins; the figure is the version of this format.
const KIND: &str = "borewright-backup-1";
/// A longer first line is none of ours, in bytes.
const LINE_MAX: u64 = 512;
/// What is encrypted at once, in bytes.
const CHUNK: usize = 64 * 1024;
/// The tag of a chunk, in bytes.
const TAG: usize = 16;
/// A SHA-256, in bytes.
const SUM: usize = 32;
/// The least a key file holds, in bytes: 32 random bytes are 44 characters in base64 and 64 in hexadecimal.
const KEY_MIN: usize = 32;

/// What a backup is encrypted with: the content of a key file without white space at its ends. It must be random, because
/// nothing slows guessing down.
#[derive(Clone)]
pub struct BackupKey(Vec<u8>);

impl fmt::Debug for BackupKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("BackupKey")
    }
}

impl BackupKey {
    /// Reads a key file.
    ///
    /// # Errors
    /// [`BackupError::File`], [`BackupError::ShortKey`].
    pub fn read(path: &Path) -> Result<Self, BackupError> {
        let bytes = std::fs::read(path).map_err(|why| BackupError::file(path, why))?;
        Self::of(bytes.trim_ascii()).ok_or_else(|| BackupError::ShortKey(path.to_owned()))
    }

    /// A key of these bytes, if there are enough of them.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Option<Self> {
        (bytes.len() >= KEY_MIN).then(|| Self(bytes.to_owned()))
    }

    /// The key of one file, and what tells whether a key file is the right one.
    fn of_file(&self, salt: &[u8; 32]) -> Result<([u8; 32], [u8; 16]), BackupError> {
        let drawn = Hkdf::<Sha256>::new(Some(salt), &self.0);
        let (mut key, mut check) = ([0; 32], [0; 16]);
        drawn
            .expand(b"borewright backup 1 key", &mut key)
            .and_then(|()| drawn.expand(b"borewright backup 1 check", &mut check))
            .map_err(|_| BackupError::Internal("a key of this length cannot be drawn"))?;
        Ok((key, check))
    }
}

/// The first line of a backup.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Heading {
    /// When it was made.
    pub(super) made_at: DateTime<Utc>,
    /// The newest migration in it.
    pub(super) schema: i64,
    seal: Option<Seal>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Seal {
    salt: [u8; 32],
    check: [u8; 16],
}

impl fmt::Display for Heading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let made_at = self.made_at.to_rfc3339_opts(SecondsFormat::Secs, true);
        write!(f, "{KIND}, made {made_at}, schema {}, ", self.schema)?;
        match &self.seal {
            None => f.write_str("plain"),
            Some(seal) => {
                let [salt, check] =
                    [&seal.salt[..], &seal.check].map(|it| URL_SAFE_NO_PAD.encode(it));
                write!(f, "encrypted {salt} {check}")
            }
        }
    }
}

impl Heading {
    /// Reads a line without its end.
    fn read(line: &str) -> Option<Self> {
        let rest = line.strip_prefix(KIND)?.strip_prefix(", made ")?;
        let (made_at, rest) = rest.split_once(", schema ")?;
        let (schema, cover) = rest.split_once(", ")?;
        let seal = if cover == "plain" {
            None
        } else {
            let (salt, check) = cover.strip_prefix("encrypted ")?.split_once(' ')?;
            Some(Seal {
                salt: URL_SAFE_NO_PAD.decode(salt).ok()?.try_into().ok()?,
                check: URL_SAFE_NO_PAD.decode(check).ok()?.try_into().ok()?,
            })
        };
        Some(Self {
            made_at: DateTime::parse_from_rfc3339(made_at).ok()?.to_utc(),
            schema: schema.parse().ok()?,
            seal,
        })
    }
}

/// Writes a backup: what is written into it is the archive.
pub(super) struct Writer<W> {
    out: W,
    cover: Cover,
}

enum Cover {
    Plain(Sha256),
    Encrypted {
        stream: EncryptorBE32<ChaCha20Poly1305>,
        line: Vec<u8>,
        waiting: Vec<u8>,
    },
}

impl<W: Write> Writer<W> {
    /// Begins a backup with its first line.
    pub(super) fn new(
        mut out: W,
        made_at: DateTime<Utc>,
        schema: i64,
        key: Option<&BackupKey>,
    ) -> Result<Self, BackupError> {
        let mut heading = Heading {
            made_at,
            schema,
            seal: None,
        };
        let mut drawn = None;
        if let Some(key) = key {
            let mut salt = [0; 32];
            SysRng
                .try_fill_bytes(&mut salt)
                .map_err(|_| BackupError::Internal("the operating system gives no randomness"))?;
            let (key, check) = key.of_file(&salt)?;
            heading.seal = Some(Seal { salt, check });
            drawn = Some(key);
        }
        let line = format!("{heading}\n").into_bytes();
        out.write_all(&line).map_err(BackupError::Handing)?;
        let cover = match drawn {
            None => Cover::Plain(Sha256::new_with_prefix(&line)),
            Some(key) => Cover::Encrypted {
                stream: EncryptorBE32::new(&key.into(), &Default::default()),
                line,
                waiting: Vec::with_capacity(2 * CHUNK),
            },
        };
        Ok(Self { out, cover })
    }

    /// Ends the backup; without this it does not open.
    pub(super) fn finish(mut self) -> io::Result<W> {
        match self.cover {
            Cover::Plain(sum) => self.out.write_all(&sum.finalize())?,
            Cover::Encrypted {
                stream,
                line,
                waiting,
            } => {
                let last = stream
                    .encrypt_last(payload(&waiting, &line))
                    .map_err(|_| io::Error::other("the last chunk cannot be encrypted"))?;
                self.out.write_all(&last)?;
            }
        }
        Ok(self.out)
    }
}

impl<W: Write> Write for Writer<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match &mut self.cover {
            Cover::Plain(sum) => {
                self.out.write_all(bytes)?;
                sum.update(bytes);
            }
            Cover::Encrypted {
                stream,
                line,
                waiting,
            } => {
                waiting.extend_from_slice(bytes);
                // The last chunk is marked as such, so a full one waits until something comes after it.
                while waiting.len() > CHUNK {
                    let rest = waiting.split_off(CHUNK);
                    let chunk = stream
                        .encrypt_next(payload(waiting, line))
                        .map_err(|_| io::Error::other("a backup holds 256 TiB at most"))?;
                    self.out.write_all(&chunk)?;
                    *waiting = rest;
                }
            }
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

fn payload<'a>(msg: &'a [u8], line: &'a [u8]) -> Payload<'a, 'a> {
    Payload { msg, aad: line }
}

/// Reads a backup and hands its archive to `out`, to its end. Nothing of a chunk is handed on before it is known to be as
/// it was written; of a plain file that is known only at the end.
///
/// # Errors
/// [`BackupError`]; [`BackupError::Handing`] when `out` takes no more.
pub(super) fn read(
    path: &Path,
    key: Option<&BackupKey>,
    out: &mut dyn Write,
) -> Result<Heading, BackupError> {
    let failed = |why| BackupError::file(path, why);
    let file = File::open(path).map_err(failed)?;
    let length = file.metadata().map_err(failed)?.len();
    let mut file = BufReader::with_capacity(CHUNK, file);
    let mut line = Vec::new();
    file.by_ref()
        .take(LINE_MAX)
        .read_until(b'\n', &mut line)
        .map_err(failed)?;
    let heading = std::str::from_utf8(&line)
        .ok()
        .and_then(|text| Heading::read(text.strip_suffix('\n')?))
        .ok_or_else(|| BackupError::NotABackup(path.to_owned()))?;
    let source = Source { path, file, line };
    match (&heading.seal, key) {
        (None, None) => source.copy_plain(length, out)?,
        (Some(seal), Some(key)) => source.copy_encrypted(seal, key, out)?,
        (Some(_), None) => return Err(BackupError::NeedsKey(path.to_owned())),
        (None, Some(_)) => return Err(BackupError::NotEncrypted(path.to_owned())),
    }
    Ok(heading)
}

/// A backup after its first line.
struct Source<'a> {
    path: &'a Path,
    file: BufReader<File>,
    line: Vec<u8>,
}

impl Source<'_> {
    fn damaged(&self) -> BackupError {
        BackupError::Damaged(self.path.to_owned())
    }

    /// Up to `most` bytes; fewer only at the end of the file.
    fn chunk(&mut self, most: usize) -> Result<Vec<u8>, BackupError> {
        let mut chunk = Vec::with_capacity(most);
        let most = u64::try_from(most).unwrap_or(u64::MAX);
        self.file
            .by_ref()
            .take(most)
            .read_to_end(&mut chunk)
            .map_err(|why| BackupError::file(self.path, why))?;
        Ok(chunk)
    }

    fn copy_plain(mut self, length: u64, out: &mut dyn Write) -> Result<(), BackupError> {
        let around = u64::try_from(self.line.len() + SUM).unwrap_or(u64::MAX);
        let Some(mut left) = length.checked_sub(around) else {
            return Err(self.damaged());
        };
        let mut sum = Sha256::new_with_prefix(&self.line);
        while left > 0 {
            let chunk = self.chunk(usize::try_from(left).map_or(CHUNK, |left| left.min(CHUNK)))?;
            if chunk.is_empty() {
                return Err(self.damaged());
            }
            sum.update(&chunk);
            out.write_all(&chunk).map_err(BackupError::Handing)?;
            left = left.saturating_sub(u64::try_from(chunk.len()).unwrap_or(left));
        }
        if self.chunk(SUM + 1)? == sum.finalize().as_slice() {
            Ok(())
        } else {
            Err(self.damaged())
        }
    }

    fn copy_encrypted(
        mut self,
        seal: &Seal,
        key: &BackupKey,
        out: &mut dyn Write,
    ) -> Result<(), BackupError> {
        let (key, check) = key.of_file(&seal.salt)?;
        if !bool::from(check.ct_eq(&seal.check)) {
            return Err(BackupError::WrongKey(self.path.to_owned()));
        }
        let mut stream = DecryptorBE32::<ChaCha20Poly1305>::new(&key.into(), &Default::default());
        loop {
            let chunk = self.chunk(CHUNK + TAG)?;
            let ended = self
                .file
                .fill_buf()
                .map_err(|why| BackupError::file(self.path, why))?
                .is_empty();
            if ended {
                let last = stream
                    .decrypt_last(payload(&chunk, &self.line))
                    .map_err(|_| self.damaged())?;
                return out.write_all(&last).map_err(BackupError::Handing);
            }
            let opened = stream
                .decrypt_next(payload(&chunk, &self.line))
                .map_err(|_| self.damaged())?;
            out.write_all(&opened).map_err(BackupError::Handing)?;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::PathBuf;

    fn made_at() -> DateTime<Utc> {
        DateTime::from_timestamp(1_795_000_000, 0).unwrap()
    }

    fn key(text: &str) -> BackupKey {
        BackupKey::of(text.as_bytes()).unwrap()
    }

    fn written(archive: &[u8], key: Option<&BackupKey>) -> Vec<u8> {
        let mut writer = Writer::new(Vec::new(), made_at(), 39, key).unwrap();
        // In pieces that do not agree with the chunks.
        for piece in archive.chunks(10_000) {
            writer.write_all(piece).unwrap();
        }
        writer.finish().unwrap()
    }

    fn opened(bytes: &[u8], key: Option<&BackupKey>) -> Result<Vec<u8>, BackupError> {
        let dir = tempfile::tempdir().unwrap();
        let path: PathBuf = dir.path().join("it");
        std::fs::write(&path, bytes).unwrap();
        let mut out = Vec::new();
        read(&path, key, &mut out).map(|heading| {
            assert_eq!((heading.made_at, heading.schema), (made_at(), 39));
            out
        })
    }

    #[test]
    fn what_was_written_is_read_whatever_its_length() {
        let right = key("0123456789abcdef0123456789abcdef");
        for length in [0, 1, CHUNK - 1, CHUNK, CHUNK + 1, 3 * CHUNK, 200_000] {
            let archive: Vec<u8> = (0..length).map(|at| (at % 251) as u8).collect();
            for key in [None, Some(&right)] {
                let bytes = written(&archive, key);
                assert_eq!(opened(&bytes, key).unwrap(), archive, "{length} {key:?}");
            }
        }
    }

    #[test]
    fn one_changed_byte_anywhere_or_a_missing_end_is_damage() {
        let right = key("0123456789abcdef0123456789abcdef");
        let archive = vec![7; 2 * CHUNK + 100];
        for key in [None, Some(&right)] {
            let bytes = written(&archive, key);
            let line = bytes.iter().position(|b| *b == b'\n').unwrap();
            let places = [line + 1, line + CHUNK, bytes.len() / 2, bytes.len() - 1];
            // The minute it was made at, which only the sum or the tags cover.
            let made = 39;
            assert_eq!(
                bytes[made],
                b':',
                "{:?}",
                std::str::from_utf8(&bytes[..line])
            );
            for at in places.into_iter().chain([made + 1]) {
                let mut damaged = bytes.clone();
                damaged[at] ^= 1;
                let dir = tempfile::tempdir().unwrap();
                let path = dir.path().join("it");
                std::fs::write(&path, &damaged).unwrap();
                let read = read(&path, key, &mut io::sink());
                assert!(
                    matches!(read, Err(BackupError::Damaged(_))),
                    "{at} {key:?} {read:?}"
                );
            }
            // Cut off between two chunks, and cut off anywhere.
            for end in [line + 1 + CHUNK + TAG, line + 1, bytes.len() - 1] {
                let cut = opened(&bytes[..end], key);
                assert!(
                    matches!(cut, Err(BackupError::Damaged(_))),
                    "{end} {key:?} {cut:?}"
                );
            }
        }
    }

    #[test]
    fn only_the_key_it_was_made_with_opens_it() {
        let right = key("0123456789abcdef0123456789abcdef");
        let wrong = key("0123456789abcdef0123456789abcdeg");
        let sealed = written(b"archive", Some(&right));
        assert!(!sealed.windows(7).any(|bytes| bytes == b"archive"));
        assert_ne!(sealed, written(b"archive", Some(&right)), "the salt is new");
        let refused = opened(&sealed, Some(&wrong));
        assert!(matches!(refused, Err(BackupError::WrongKey(_))));
        let refused = opened(&sealed, None);
        assert!(matches!(refused, Err(BackupError::NeedsKey(_))));
        // Somebody who swaps it for a plain one is not believed.
        let refused = opened(&written(b"archive", None), Some(&right));
        assert!(matches!(refused, Err(BackupError::NotEncrypted(_))));
        let refused = opened(b"PGDMP, not one of ours\n", None);
        assert!(matches!(refused, Err(BackupError::NotABackup(_))));
        assert!(BackupKey::of(b"too short to be random").is_none());
    }
}
