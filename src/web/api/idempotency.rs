//! `Idempotency-Key`: a request that makes something may carry a key of the sender's own; sent again with it, it makes
//! nothing twice and is answered as it was (the IETF draft "The Idempotency-Key HTTP Header Field").

use crate::db::api_requests::Keyed;
use crate::web::ui::{FormErrors, SignedIn, WebError};
use actix_web::HttpRequest;
use sha2::{Digest, Sha256};
use std::fmt::Debug;
use uuid::Uuid;

/// The name of the header, as the draft has it.
pub(super) const HEADER: &str = "idempotency-key";
/// The longest key, in characters.
pub(super) const LONGEST: usize = 200;
/// What a key is, as a pattern: printable ASCII characters without space at either end.
pub(super) const PATTERN: &str = "^[!-~]([ -~]*[!-~])?$";

/// The key of a request, if it carries one, with the digest of what is asked.
pub(super) fn keyed(
    req: &HttpRequest,
    who: &SignedIn,
    asked: &impl Debug,
) -> Result<Option<Keyed>, WebError> {
    let Some(key) = req.headers().get(HEADER) else {
        return Ok(None);
    };
    let key = key.to_str().unwrap_or_default().trim();
    if key.is_empty() || key.len() > LONGEST {
        let mut errors = FormErrors::default();
        errors.add(
            HEADER,
            format!("Send an Idempotency-Key of 1 to {LONGEST} printable ASCII characters"),
        );
        return Err(errors.into());
    }
    Ok(Some(Keyed {
        person_id: who.person_id,
        key_hash: Sha256::digest(key).into(),
        // With the key, of which only a hash is kept: what was asked cannot be guessed at from its digest alone.
        digest: Sha256::digest(format!("{key} {} {asked:?}", req.path())).into(),
    }))
}

/// The key of a request as a UUID of the sender's, for what keeps such keys itself.
pub(super) fn as_uuid(keyed: &Keyed) -> Uuid {
    let mut sum = Sha256::new();
    sum.update(keyed.person_id.as_bytes());
    sum.update(keyed.key_hash);
    let sum = sum.finalize();
    let mut bytes = [0; 16];
    for (to, from) in bytes.iter_mut().zip(sum) {
        *to = from;
    }
    uuid::Builder::from_custom_bytes(bytes).into_uuid()
}
