//! Signs a person in to a shop with a password, and out. Tries are counted in PostgreSQL, so that the slow-down holds across
//! processes; a wrong name takes as long as a wrong password.

use super::password::Hashing;
use super::token::{Token, random};
use super::{Actor, AppError};
use crate::db::sessions::{self, Attempt};
use crate::db::{Scope, ShopTx, people};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, TimeDelta, Utc};
use sqlx::PgPool;
use uuid::Uuid;

/// Compared with when nobody signs in by the name given, so that an answer takes as long either way. It has the parameters of
/// [`super::password::hash`] and belongs to no password.
const NOBODYS_HASH: &str = "$argon2id$v=19$m=19456,t=2,p=1$Ym9yZXdyaWdodC1ub25l$a2VlcHMtdGhlLXRpbWUtdGhlLXNhbWUtZm9yLWV2ZXI";

/// Who wants to sign in.
pub struct SignIn<'a> {
    /// The shop; `None` when there is none of the name that was typed.
    pub shop_id: Option<Uuid>,
    /// The name they sign in with.
    pub name: &'a str,
    /// The password.
    pub password: &'a str,
    /// Where from, for the slow-down.
    pub address: &'a str,
    /// The session that the same browser had; it ends.
    pub earlier: Option<Token>,
}

/// What came of it.
pub enum SignedIn {
    /// A session, by its token.
    Begun(Token),
    /// Name and password do not belong together.
    Wrong,
    /// Tried too often: to be tried again after this time.
    TooSoon(TimeDelta),
}

/// Signs somebody in.
///
/// # Errors
/// [`AppError::Db`], [`AppError::Failed`].
pub async fn sign_in(
    pool: &PgPool,
    hashing: &Hashing,
    asked: SignIn<'_>,
    now: DateTime<Utc>,
) -> Result<SignedIn, AppError> {
    let Some(shop_id) = asked.shop_id else {
        hashing.verify(asked.password, NOBODYS_HASH).await?;
        return Ok(SignedIn::Wrong);
    };
    let scope = Scope {
        shop_id,
        person_id: None,
    };
    let mut tx = ShopTx::begin(pool, scope).await?;
    let attempt = sessions::attempt(&mut tx, asked.name, asked.address, now).await?;
    let credentials = people::credentials(&mut tx, asked.name).await?;
    tx.commit().await?;
    if let Attempt::Wait(wait) = attempt {
        return Ok(SignedIn::TooSoon(wait));
    }
    let stored = credentials
        .as_ref()
        .map_or(NOBODYS_HASH, |found| &found.password_hash);
    let right = hashing.verify(asked.password, stored).await?;
    let Some(found) = credentials.filter(|_| right) else {
        return Ok(SignedIn::Wrong);
    };
    let token = Token::new(shop_id)?;
    let csrf_token = URL_SAFE_NO_PAD.encode(random()?);
    let mut tx = ShopTx::begin(pool, scope).await?;
    sessions::forget_failures(&mut tx, asked.name).await?;
    if let Some(earlier) = asked.earlier.filter(|t| t.shop_id == shop_id) {
        sessions::end(&mut tx, &earlier.hash()).await?;
    }
    sessions::start(&mut tx, &token.hash(), found.person_id, &csrf_token, now).await?;
    tx.commit().await?;
    Ok(SignedIn::Begun(token))
}

/// Ends a session.
///
/// # Errors
/// [`AppError::Db`].
pub async fn sign_out(actor: &Actor, session: &Token) -> Result<(), AppError> {
    let mut tx = actor.begin().await?;
    sessions::end(&mut tx, &session.hash()).await?;
    tx.commit().await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::NOBODYS_HASH;
    use crate::app::password;

    #[test]
    fn nobodys_hash_costs_the_same_and_fits_nothing() {
        let real = password::hash("x").unwrap();
        let parameters = |hash: &str| hash.split('$').take(4).collect::<Vec<_>>().join("$");
        assert_eq!(parameters(NOBODYS_HASH), parameters(&real));
        assert!(!password::verify("x", NOBODYS_HASH).unwrap());
    }
}
