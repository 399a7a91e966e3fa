//! Passwords as they are kept: Argon2id in PHC string form.

use super::AppError;
use argon2::{Algorithm, Argon2, Block, Params, PasswordHash, Version};
use base64::Engine;
use base64::engine::general_purpose::STANDARD_NO_PAD;
use rand::TryRng;
use rand::rngs::SysRng;
use std::sync::{Arc, Mutex, PoisonError};
use subtle::ConstantTimeEq;
use tokio::sync::Semaphore;

/// How many may wait for their turn; whoever comes then is told to come again.
const WAITING: usize = 64;

/// Hashes and compares passwords off the async workers, a few at a time, each in memory that is kept for the next. Clones
/// share the turns.
#[derive(Debug, Clone)]
pub struct Hashing {
    turns: Arc<Semaphore>,
    places: Arc<Semaphore>,
    memory: Arc<Mutex<Vec<Memory>>>,
}

/// The blocks that Argon2 works in, 19 MiB once it was used.
type Memory = Vec<Block>;

impl Hashing {
    /// So many at a time.
    #[must_use]
    pub fn new(turns: usize) -> Self {
        Self {
            turns: Arc::new(Semaphore::new(turns)),
            places: Arc::new(Semaphore::new(turns + WAITING)),
            memory: Arc::default(),
        }
    }

    /// As [`hash`].
    ///
    /// # Errors
    /// [`AppError::Busy`] when too many wait already, [`AppError::Failed`].
    pub async fn hash(&self, password: &str) -> Result<String, AppError> {
        let password = password.to_owned();
        self.work(move |memory| hash_in(&password, memory)).await
    }

    /// As [`verify`].
    ///
    /// # Errors
    /// [`AppError::Busy`] when too many wait already, [`AppError::Failed`].
    pub async fn verify(&self, password: &str, stored: &str) -> Result<bool, AppError> {
        let (password, stored) = (password.to_owned(), stored.to_owned());
        self.work(move |memory| verify_in(&password, &stored, memory))
            .await
    }

    async fn work<T: Send + 'static>(
        &self,
        work: impl FnOnce(&mut Memory) -> Result<T, PasswordError> + Send + 'static,
    ) -> Result<T, AppError> {
        const WHAT: &str = "hashing a password";
        let failed = |why: &dyn std::fmt::Display| AppError::failed(WHAT, why);
        let place = self
            .places
            .clone()
            .try_acquire_owned()
            .map_err(|_| AppError::Busy)?;
        let turn = self
            .turns
            .clone()
            .acquire_owned()
            .await
            .map_err(|why| failed(&why))?;
        let kept = self.memory.clone();
        // Turn and place go with the work: it is done even when nobody waits for it any more.
        let work = move || {
            let all = || kept.lock().unwrap_or_else(PoisonError::into_inner);
            let mut memory = all().pop().unwrap_or_default();
            let done = work(&mut memory);
            all().push(memory);
            drop((turn, place));
            done
        };
        tokio::task::spawn_blocking(work)
            .await
            .map_err(|why| failed(&why))?
            .map_err(|why| failed(&why))
    }
}

/// Why a password could not be hashed or compared.
#[derive(Debug, thiserror::Error)]
#[error("password hashing failed: {0}")]
pub struct PasswordError(String);

impl PasswordError {
    fn of(why: impl std::fmt::Display) -> Self {
        Self(why.to_string())
    }
}

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
    hash_in(password, &mut Vec::new())
}

fn hash_in(password: &str, memory: &mut Memory) -> Result<String, PasswordError> {
    let mut salt = [0_u8; 16];
    SysRng
        .try_fill_bytes(&mut salt)
        .map_err(PasswordError::of)?;
    let params = Params::default();
    let (m, t, p) = (params.m_cost(), params.t_cost(), params.p_cost());
    let out = fill(password, &salt, params, memory)?;
    let (salt, out) = (STANDARD_NO_PAD.encode(salt), STANDARD_NO_PAD.encode(out));
    Ok(format!("$argon2id$v=19$m={m},t={t},p={p}${salt}${out}"))
}

/// The 32 bytes of Argon2id, version 19.
fn fill(
    password: &str,
    salt: &[u8],
    params: Params,
    memory: &mut Memory,
) -> Result<[u8; 32], PasswordError> {
    memory.resize(params.block_count(), Block::default());
    let mut out = [0; 32];
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
        .hash_password_into_with_memory(password.as_bytes(), salt, &mut out, memory.as_mut_slice())
        .map_err(PasswordError::of)?;
    Ok(out)
}

/// Whether a password is the one behind a stored hash. As slow as [`hash`].
///
/// # Errors
/// When the stored hash does not read.
pub fn verify(password: &str, stored: &str) -> Result<bool, PasswordError> {
    verify_in(password, stored, &mut Vec::new())
}

fn verify_in(password: &str, stored: &str, memory: &mut Memory) -> Result<bool, PasswordError> {
    let stored = PasswordHash::new(stored).map_err(PasswordError::of)?;
    let params = Params::try_from(&stored).map_err(PasswordError::of)?;
    let (Some(salt), Some(hash)) = (&stored.salt, &stored.hash) else {
        return Err(PasswordError::of("it holds no salt or no hash"));
    };
    let out = fill(password, salt, params, memory)?;
    Ok(out.as_slice().ct_eq(hash.as_bytes()).into())
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

    /// The test vector of RFC 9106, 5.3 has a key and associated data, which nobody's password has; this one is of the
    /// reference implementation's own tests (argon2/src/test.c of P-H-C/phc-winner-argon2, from memory).
    #[test]
    fn a_hash_of_the_reference_implementation_verifies() {
        let stored =
            "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4";
        assert!(verify("password", stored).unwrap());
        assert!(!verify("differentpassword", stored).unwrap());
    }

    #[actix_web::test]
    async fn a_crowd_is_told_to_come_again_and_the_memory_is_that_of_the_turns() {
        let hashing = Hashing::new(2);
        let stored = hash("seal housing").unwrap();
        let tries = (0..WAITING + 12).map(|_| hashing.verify("seal housing", &stored));
        let came = futures_util::future::join_all(tries).await;
        let busy = came
            .iter()
            .filter(|one| matches!(one, Err(AppError::Busy)))
            .count();
        assert_eq!(busy, 10);
        assert!(
            came.iter()
                .filter_map(|one| one.as_ref().ok())
                .all(|right| *right)
        );
        let memory = hashing.memory.lock().unwrap();
        assert!(memory.len() <= 2 && memory.iter().all(|blocks| blocks.len() == 19_456));
    }
}
