//! Signs a person in to a shop with a password, and out. Tries are counted in PostgreSQL, so that the slow-down holds across
//! processes; a wrong name takes as long as a wrong password.

use super::password::Hashing;
use super::token::{Token, random};
use super::{Actor, AppError};
use crate::db::attempts::{self, Attempt, From, Try};
use crate::db::people::Role;
use crate::db::sessions::{self, NewSession};
use crate::db::{Scope, ShopTx, people, second_factor};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, TimeDelta, Utc};
use sha2::{Digest, Sha256};
use sqlx::PgPool;
use uuid::Uuid;

/// Compared with when nobody signs in by the name given, so that an answer takes as long either way. It has the parameters of
/// [`super::password::hash`] and belongs to no password.
const NOBODYS_HASH: &str = "$argon2id$v=19$m=19456,t=2,p=1$Ym9yZXdyaWdodC1ub25l$a2VlcHMtdGhlLXRpbWUtdGhlLXNhbWUtZm9yLWV2ZXI";

/// Who wants to sign in.
pub struct SignIn<'a> {
    /// The shop, or a key of none from [`no_shop`].
    pub shop_id: Uuid,
    /// The name they sign in with.
    pub name: &'a str,
    /// The password.
    pub password: &'a str,
    /// What they sign in from.
    pub browser: Browser<'a>,
    /// The session that the same browser had; it ends.
    pub earlier: Option<Token>,
}

/// What somebody signs in from.
pub struct Browser<'a> {
    /// Where from, for the slow-down and the list of sessions.
    pub address: &'a str,
    /// What it calls itself.
    pub name: &'a str,
    /// The token by which it is known, if it brings one.
    pub known: Option<Token>,
}

/// A session that has begun.
pub struct Begun {
    /// Its token.
    pub session: Token,
    /// The token by which the browser is known from now on.
    pub known: Token,
}

/// What came of it.
pub enum SignedIn {
    /// A session.
    Begun(Begun),
    /// The password was right, and a code of the second factor is awaited, by this token.
    CodeNeeded(Token),
    /// Name and password do not belong together.
    Wrong,
    /// Tried too often: to be tried again after this time.
    TooSoon(TimeDelta),
}

/// The key under which tries at a shop that does not exist are counted, so that they go the same way, wait the same and cost
/// the same as tries at one that does. There are 256 such keys, so that what is counted stays bounded.
#[must_use]
pub fn no_shop(short_name: &str) -> Uuid {
    let digest = Sha256::digest(short_name.trim().to_lowercase());
    let first = digest.first().copied().unwrap_or_default();
    Uuid::from_u128(u128::from(first))
}

/// Signs somebody in.
///
/// # Errors
/// [`AppError::Busy`], [`AppError::Db`], [`AppError::Failed`].
pub async fn sign_in(
    pool: &PgPool,
    hashing: &Hashing,
    asked: SignIn<'_>,
    now: DateTime<Utc>,
) -> Result<SignedIn, AppError> {
    let shop_id = asked.shop_id;
    let mut scope = Scope {
        shop_id,
        person_id: None,
    };
    let brought = asked.browser.known.as_ref();
    let brought = brought
        .filter(|token| token.shop_id == shop_id)
        .map(Token::hash);
    let mut tx = ShopTx::begin(pool, scope).await?;
    let known = match &brought {
        Some(hash) => attempts::is_known(&mut tx, hash, asked.name, now).await?,
        None => false,
    };
    let tried = Try {
        sign_in: asked.name,
        from: match &brought {
            Some(hash) if known => From::Known(hash),
            _ => From::Address(asked.browser.address),
        },
    };
    let attempt = attempts::attempt(&mut tx, tried, now).await?;
    let credentials = people::credentials(&mut tx, asked.name).await?;
    tx.commit().await?;
    if let Attempt::Wait(wait) = attempt {
        tracing::warn!(shop = %shop_id, known, seconds = wait.num_seconds(), "a sign-in has to wait");
        return Ok(SignedIn::TooSoon(wait));
    }
    let stored = credentials
        .as_ref()
        .map_or(NOBODYS_HASH, |found| &found.password_hash);
    let right = hashing.verify(asked.password, stored).await?;
    let Some(found) = credentials.filter(|_| right) else {
        tracing::warn!(shop = %shop_id, known, "a sign-in failed");
        return Ok(SignedIn::Wrong);
    };
    scope.person_id = Some(found.person_id);
    let mut tx = ShopTx::begin(pool, scope).await?;
    attempts::forget_failures(&mut tx, tried).await?;
    if let Some(earlier) = asked.earlier.filter(|t| t.shop_id == shop_id) {
        sessions::end(&mut tx, &earlier.hash()).await?;
    }
    if second_factor::is_on(&mut tx, found.person_id).await? {
        let waiting = start(&mut tx, found.person_id, &asked.browser, true, now).await?;
        tx.commit().await?;
        return Ok(SignedIn::CodeNeeded(waiting));
    }
    let begun = begin_session(&mut tx, found.person_id, asked.browser, now).await?;
    tx.commit().await?;
    tracing::info!(shop = %shop_id, person = %found.person_id, known, "signed in");
    Ok(SignedIn::Begun(begun))
}

/// Begins a session, and knows the browser from then on.
pub(super) async fn begin_session(
    tx: &mut ShopTx,
    person_id: Uuid,
    browser: Browser<'_>,
    now: DateTime<Utc>,
) -> Result<Begun, AppError> {
    let session = start(tx, person_id, &browser, false, now).await?;
    // A token that is not known in this shop may be anybody's make.
    let keeps = match browser.known {
        Some(token) if token.shop_id == tx.shop_id() => {
            attempts::is_known_at_all(tx, &token.hash(), now)
                .await?
                .then_some(token)
        }
        _ => None,
    };
    let known = keeps.map_or_else(|| Token::new(tx.shop_id()), Ok)?;
    attempts::know(tx, &known.hash(), person_id, now).await?;
    Ok(Begun { session, known })
}

async fn start(
    tx: &mut ShopTx,
    person_id: Uuid,
    browser: &Browser<'_>,
    awaits_code: bool,
    now: DateTime<Utc>,
) -> Result<Token, AppError> {
    let token = Token::new(tx.shop_id())?;
    let new = NewSession {
        token_hash: &token.hash(),
        person_id,
        csrf_token: &URL_SAFE_NO_PAD.encode(random()?),
        address: browser.address,
        browser: browser.name,
        awaits_code,
    };
    sessions::start(tx, &new, now).await?;
    Ok(token)
}

/// Ends a session of anybody's, for the owner.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn end_session(actor: &Actor, id: Uuid) -> Result<(), AppError> {
    actor
        .transact(Role::Owner, async |tx| {
            Ok(sessions::end_by_key(tx, id).await?)
        })
        .await
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
