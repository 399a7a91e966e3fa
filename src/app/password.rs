//! Passwords as they are kept: Argon2id in PHC string form.

use super::AppError;
use argon2::{Argon2, PasswordHash, PasswordHasher, PasswordVerifier};
use std::sync::Arc;
use tokio::sync::Semaphore;

/// Hashes and compares passwords off the async workers, a few at a time. Clones share the turns.
#[derive(Debug, Clone)]
pub struct Hashing {
    turns: Arc<Semaphore>,
}

impl Hashing {
    /// So many at a time.
    #[must_use]
    pub fn new(turns: usize) -> Self {
        Self {
            turns: Arc::new(Semaphore::new(turns)),
        }
    }

    /// As [`hash`].
    ///
    /// # Errors
    /// [`AppError::Failed`].
    pub async fn hash(&self, password: &str) -> Result<String, AppError> {
        let password = password.to_owned();
        self.work(move || hash(&password)).await
    }

    /// As [`verify`].
    ///
    /// # Errors
    /// [`AppError::Failed`].
    pub async fn verify(&self, password: &str, stored: &str) -> Result<bool, AppError> {
        let (password, stored) = (password.to_owned(), stored.to_owned());
        self.work(move || verify(&password, &stored)).await
    }

    async fn work<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, PasswordError> + Send + 'static,
    ) -> Result<T, AppError> {
        const WHAT: &str = "hashing a password";
        let failed = |why: &dyn std::fmt::Display| AppError::failed(WHAT, why);
        let _turn = self.turns.acquire().await.map_err(|why| failed(&why))?;
        tokio::task::spawn_blocking(work)
            .await
            .map_err(|why| failed(&why))?
            .map_err(|why| failed(&why))
    }
}

/// Why a password could not be hashed or compared.
#[derive(Debug, thiserror::Error)]
#[error("password hashing failed: {0}")]
pub struct PasswordError(argon2::password_hash::Error);

/// A password shorter than this is refused (NIST SP 800-63B asks for at least eight characters, from memory).
pub const SHORTEST: usize = 10;
/// A longer one is refused: nobody types it, and hashing it costs.
pub const LONGEST: usize = 200;

/// Whether a new password may be used; else what to say beside it.
///
/// # Errors
/// The words.
pub fn acceptable(password: &str) -> Result<(), String> {
    match password.chars().count() {
        length if length < SHORTEST => Err(format!(
            "This has {length} of the {SHORTEST} characters it needs"
        )),
        length if length > LONGEST => Err(format!("Use at most {LONGEST} characters")),
        _ => Ok(()),
    }
}

/// Hashes a password with a random salt: Argon2id, 19 MiB, two passes, one lane. These are the defaults of the
/// `argon2` crate and the first choice of the OWASP Password Storage Cheat Sheet. It takes tens of
/// milliseconds, so call it off the async workers.
///
/// # Errors
/// When the operating system gives no randomness.
pub fn hash(password: &str) -> Result<String, PasswordError> {
    let hash = Argon2::default()
        .hash_password(password.as_bytes())
        .map_err(PasswordError)?;
    Ok(hash.to_string())
}

/// Whether a password is the one behind a stored hash. As slow as [`hash`].
///
/// # Errors
/// When the stored hash does not read.
pub fn verify(password: &str, stored: &str) -> Result<bool, PasswordError> {
    let stored = PasswordHash::new(stored).map_err(|error| PasswordError(error.into()))?;
    match Argon2::default().verify_password(password.as_bytes(), &stored) {
        Ok(()) => Ok(true),
        Err(argon2::password_hash::Error::PasswordInvalid) => Ok(false),
        Err(error) => Err(PasswordError(error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hash_is_salted_argon2id_and_verifies_only_its_own_password() {
        let one = hash("seal housing").unwrap();
        let two = hash("seal housing").unwrap();
        assert!(one.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{one}");
        assert_ne!(one, two);
        assert!(verify("seal housing", &one).unwrap());
        assert!(!verify("seal housinG", &one).unwrap());
        assert!(verify("x", "not a hash").is_err());
    }
}
