//! The address of a feed: which shop, known before anything is looked up, and 256 random bits.

use super::error::WebError;
use crate::app::token::random;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};
use uuid::Uuid;

const BYTES: usize = 48;
/// 48 bytes in base64 without padding.
const LETTERS: usize = 64;

/// What an address holds.
pub(in crate::web) struct Token([u8; BYTES]);

impl Token {
    pub(in crate::web) fn new(shop_id: Uuid) -> Result<Self, WebError> {
        let mut bytes = [0; BYTES];
        let (shop, secret) = bytes.split_at_mut(16);
        shop.copy_from_slice(shop_id.as_bytes());
        secret.copy_from_slice(&random()?);
        Ok(Self(bytes))
    }

    /// From an address, if it is one.
    pub(in crate::web) fn read(text: &str) -> Option<Self> {
        let bytes = URL_SAFE_NO_PAD.decode(text).ok()?;
        bytes.try_into().ok().map(Self)
    }

    pub(in crate::web) fn shop_id(&self) -> Uuid {
        let mut shop = [0; 16];
        shop.iter_mut()
            .zip(&self.0)
            .for_each(|(to, from)| *to = *from);
        Uuid::from_bytes(shop)
    }

    /// What is stored in its place.
    pub(in crate::web) fn hash(&self) -> [u8; 32] {
        Sha256::digest(self.0).into()
    }

    pub(in crate::web) fn path(&self) -> String {
        format!("/feeds/{}.ics", URL_SAFE_NO_PAD.encode(self.0))
    }
}

/// Whether a path is that of a feed: exactly one secret of its length, and nothing after it.
pub(in crate::web) fn is_feed(path: &str) -> bool {
    path.strip_prefix("/feeds/")
        .and_then(|rest| rest.strip_suffix(".ics"))
        .is_some_and(|secret| {
            secret.len() == LETTERS
                && secret
                    .bytes()
                    .all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
        })
}

/// A path as it may stand in a log: a secret does not.
pub(in crate::web) fn loggable(path: &str) -> &str {
    if path.starts_with("/feeds/") && path.ends_with(".ics") {
        "/feeds/….ics"
    } else {
        path
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_read_back_and_nothing_else_is() {
        let shop = Uuid::now_v7();
        let token = Token::new(shop).unwrap();
        let path = token.path();
        assert!(is_feed(&path), "{path}");
        let text = path
            .trim_start_matches("/feeds/")
            .trim_end_matches(".ics")
            .to_owned();
        let read = Token::read(&text).unwrap();
        assert_eq!((read.shop_id(), read.hash()), (shop, token.hash()));
        assert_ne!(Token::new(shop).unwrap().hash(), token.hash());
        assert!(Token::read(&text[1..]).is_none());

        let secret = "a".repeat(64);
        for path in [
            "/feeds".to_owned(),
            "/feeds/".to_owned(),
            "/feeds/.ics".to_owned(),
            format!("/feeds/{secret}"),
            format!("/feeds/{secret}a.ics"),
            format!("/feeds/{}.ics", &secret[1..]),
            format!("/feeds/{secret}.ics/revoke"),
            format!("/feeds/{}/b.ics", &secret[2..]),
            format!("/feeds/{}%2F.ics", &secret[3..]),
            format!("//feeds/{secret}.ics"),
            format!("/x/feeds/{secret}.ics"),
        ] {
            assert!(!is_feed(&path), "{path}");
        }
        assert!(!loggable(&path).contains(&text));
        assert_eq!(loggable("/jobs"), "/jobs");
    }
}
