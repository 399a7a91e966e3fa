//! Passwords as they are kept: Argon2id in PHC string form.

use argon2::{Argon2, PasswordHash, PasswordHasher, PasswordVerifier};

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
