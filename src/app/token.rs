//! What opens something to whoever holds it: the shop, known before anything is looked up, and 256 random bits. Only its hash
//! is stored.

use super::AppError;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use rand::TryRng;
use rand::rngs::SysRng;
use sha2::{Digest, Sha256};
use subtle::ConstantTimeEq;
use uuid::Uuid;

/// A token of a session, a device.
pub struct Token {
    /// The shop it opens something of.
    pub shop_id: Uuid,
    secret: [u8; 32],
}

impl Token {
    /// A new one.
    ///
    /// # Errors
    /// [`AppError::Failed`] when the operating system gives no randomness.
    pub fn new(shop_id: Uuid) -> Result<Self, AppError> {
        Ok(Self {
            shop_id,
            secret: random()?,
        })
    }

    /// From its text; `None` for what is none.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let (shop_id, secret) = text.split_once('.')?;
        Some(Self {
            shop_id: Uuid::try_parse(shop_id).ok()?,
            secret: URL_SAFE_NO_PAD.decode(secret).ok()?.try_into().ok()?,
        })
    }

    /// What is stored in its place.
    #[must_use]
    pub fn hash(&self) -> [u8; 32] {
        Sha256::digest(self.secret).into()
    }

    /// As it is handed out.
    #[must_use]
    pub fn text(&self) -> String {
        format!(
            "{}.{}",
            self.shop_id.simple(),
            URL_SAFE_NO_PAD.encode(self.secret)
        )
    }
}

/// Whether a secret that was sent is the one that is kept, in a time that does not tell how much of it agrees.
#[must_use]
pub fn same(sent: &[u8], kept: &[u8]) -> bool {
    // Digests have one length, so that not even the length is told.
    Sha256::digest(sent)
        .as_slice()
        .ct_eq(Sha256::digest(kept).as_slice())
        .into()
}

/// Random bits that nobody can guess.
///
/// # Errors
/// [`AppError::Failed`] when the operating system gives none.
pub fn random() -> Result<[u8; 32], AppError> {
    let mut bytes = [0; 32];
    SysRng
        .try_fill_bytes(&mut bytes)
        .map_err(|why| AppError::failed("finding randomness", why))?;
    Ok(bytes)
}
