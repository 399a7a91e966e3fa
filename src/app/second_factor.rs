//! A second factor for owners: a code by the clock from a telephone, after the password.
//!
//! Codes are those of RFC 6238 (TOTP) with its defaults: HMAC-SHA-1 of the count of 30-second steps since 1970, truncated to
//! six digits as RFC 4226, 5.3, says. One step before and after is taken too, for clocks that differ and fingers that are
//! slow (RFC 6238, 5.2), and no code is taken twice. Each recovery code is taken once.

use super::password::Hashing;
use super::sign_in::{Begun, Browser, begin_session};
use super::token::{Token, random};
use super::{Actor, AppError, credentials};
use crate::db::attempts::{self, Attempt, From, Try};
use crate::db::people::Role;
use crate::db::{Scope, ShopTx, second_factor, sessions};
use chrono::{DateTime, TimeDelta, Utc};
use hmac::{Hmac, KeyInit, Mac};
use sha1::Sha1;
use sha2::{Digest, Sha256};
use sqlx::PgPool;
use subtle::ConstantTimeEq;
use uuid::Uuid;

/// Seconds of a time step.
const STEP: i64 = 30;
/// Bytes of a secret: as long as the digest of the hash (RFC 4226, 4, R6).
const SECRET: usize = 20;
/// Recovery codes made at once.
const CODES: usize = 10;
/// The alphabet of RFC 4648, 6.
const BASE32: &[u8; 32] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";

/// A code of a step with so many digits, at most nine.
fn code(secret: &[u8], step: i64, digits: u32) -> Result<u32, AppError> {
    let mut mac = Hmac::<Sha1>::new_from_slice(secret)
        .map_err(|why| AppError::failed("making a code", why))?;
    mac.update(&step.to_be_bytes());
    let digest = mac.finalize().into_bytes();
    let offset = usize::from(digest.last().copied().unwrap_or_default() & 0x0f);
    let mut word = [0_u8; 4];
    word.iter_mut()
        .zip(digest.iter().skip(offset))
        .for_each(|(to, from)| *to = *from);
    Ok((u32::from_be_bytes(word) & 0x7fff_ffff) % 10_u32.pow(digits))
}

/// The step that a typed code belongs to, if it is one of now.
fn step_of(secret: &[u8], typed: &str, now: DateTime<Utc>) -> Result<Option<i64>, AppError> {
    let typed: String = typed.chars().filter(|c| !c.is_whitespace()).collect();
    let mut found = None;
    let this = now.timestamp().div_euclid(STEP);
    for step in [this - 1, this, this + 1] {
        let right = format!("{:06}", code(secret, step, 6)?);
        if bool::from(right.as_bytes().ct_eq(typed.as_bytes())) {
            found = Some(step);
        }
    }
    Ok(found)
}

/// Bytes in base 32 without padding (RFC 4648, 6), as telephones take a secret.
fn base32(bytes: &[u8]) -> String {
    let (mut bits, mut count, mut text) = (0_u32, 0, String::new());
    let letter = |index: u32| char::from(BASE32[(index & 31) as usize]);
    for byte in bytes {
        bits = bits << 8 | u32::from(*byte);
        count += 8;
        while count >= 5 {
            count -= 5;
            text.push(letter(bits >> count));
        }
        bits &= (1 << count) - 1;
    }
    if count > 0 {
        text.push(letter(bits << (5 - count)));
    }
    text
}

/// A recovery code's hash, however it is typed: capitals, spaces and hyphens do not matter.
fn recovery_hash(typed: &str) -> [u8; 32] {
    let plain: String = typed.chars().filter(char::is_ascii_alphanumeric).collect();
    Sha256::digest(plain.to_ascii_uppercase()).into()
}

/// What a telephone has to be told.
pub struct Setup {
    /// The secret as it is typed.
    pub secret: String,
    /// The same as an address in a QR code (the `otpauth` format of authenticator programs, from memory).
    pub address: String,
}

/// How far the actor's second factor is.
pub enum State {
    /// There is none.
    Off,
    /// It is being set up: a first code is awaited.
    Begun(Setup),
    /// It is asked for at sign-in.
    On {
        /// Recovery codes that are left.
        codes: i64,
    },
}

/// How far the actor's own second factor is, for an owner. `shop` and `name` are what a telephone shows of it.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn state(actor: &Actor, shop: &str, name: &str) -> Result<State, AppError> {
    let person = actor.person()?;
    actor
        .transact(Role::Owner, async |tx| {
            let Some(factor) = second_factor::get(tx, person).await? else {
                return Ok(State::Off);
            };
            if factor.confirmed_at.is_some() {
                let codes = second_factor::codes_left(tx, person).await?;
                return Ok(State::On { codes });
            }
            let secret = base32(&factor.secret);
            let label = format!("{shop}: {name}");
            let label: String = form_urlencoded::byte_serialize(label.as_bytes()).collect();
            let label = label.replace('+', "%20");
            Ok(State::Begun(Setup {
                address: format!("otpauth://totp/{label}?secret={secret}&issuer=Borewright"),
                secret,
            }))
        })
        .await
}

/// Makes a new secret for an owner, which is not asked for before [`confirm`].
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`], [`AppError::Failed`].
pub async fn begin(actor: &Actor) -> Result<(), AppError> {
    let secret = random()?;
    let secret = secret.get(..SECRET).unwrap_or(&secret);
    let person = actor.person()?;
    actor
        .transact(Role::Owner, async |tx| {
            Ok(second_factor::begin(tx, person, secret).await?)
        })
        .await
}

/// Turns the second factor on when the code shows that the telephone has it, and gives recovery codes, which are shown this
/// once; `None` for a wrong code.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`], [`AppError::Failed`].
pub async fn confirm(
    actor: &Actor,
    typed: &str,
    now: DateTime<Utc>,
) -> Result<Option<Vec<String>>, AppError> {
    let person = actor.person()?;
    let mut codes = Vec::new();
    for _ in 0..CODES {
        let text = base32(random()?.get(..10).unwrap_or_default());
        let parts: Vec<&str> = text
            .as_bytes()
            .chunks(4)
            .filter_map(|four| std::str::from_utf8(four).ok())
            .collect();
        codes.push(parts.join("-"));
    }
    let hashes: Vec<[u8; 32]> = codes.iter().map(|code| recovery_hash(code)).collect();
    let right = actor
        .transact(Role::Owner, async |tx| {
            let Some(factor) = second_factor::get(tx, person).await? else {
                return Ok(false);
            };
            let Some(step) = step_of(&factor.secret, typed, now)? else {
                return Ok(false);
            };
            second_factor::confirm(tx, person, step, &hashes, now).await?;
            Ok(true)
        })
        .await?;
    Ok(right.then_some(codes))
}

/// Turns the actor's own second factor off, for who knows the password; says whether it was right.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Busy`], [`AppError::Db`], [`AppError::Failed`].
pub async fn turn_off(actor: &Actor, hashing: &Hashing, password: &str) -> Result<bool, AppError> {
    let person = actor.person()?;
    if !credentials::is_own_password(actor, hashing, password).await? {
        return Ok(false);
    }
    actor
        .transact(Role::Owner, async |tx| {
            Ok(second_factor::remove(tx, person).await?)
        })
        .await?;
    Ok(true)
}

/// What came of a code at sign-in.
pub enum Finished {
    /// Signed in.
    Begun(Begun),
    /// It is not the code.
    Wrong,
    /// Tried too often: to be tried again after this time.
    TooSoon(TimeDelta),
    /// No sign-in waits for one any more.
    Late,
}

/// Finishes a sign-in with a code of the telephone or a recovery code.
///
/// # Errors
/// [`AppError::Db`], [`AppError::Failed`].
pub async fn finish(
    pool: &PgPool,
    waiting: &Token,
    typed: &str,
    browser: Browser<'_>,
    now: DateTime<Utc>,
) -> Result<Finished, AppError> {
    let shop_id = waiting.shop_id;
    let mut tx = ShopTx::begin(
        pool,
        Scope {
            shop_id,
            person_id: None,
        },
    )
    .await?;
    let Some(person) = sessions::awaiting(&mut tx, &waiting.hash(), now).await? else {
        return Ok(Finished::Late);
    };
    let name = format!("code {person}");
    let tried = Try {
        sign_in: &name,
        from: From::Address(browser.address),
    };
    if let Attempt::Wait(wait) = attempts::attempt(&mut tx, tried, now).await? {
        return Ok(Finished::TooSoon(wait));
    }
    tx.commit().await?;
    let mut tx = ShopTx::begin(
        pool,
        Scope {
            shop_id,
            person_id: Some(person),
        },
    )
    .await?;
    if !is_right(&mut tx, person, typed, now).await? {
        tracing::warn!(shop = %shop_id, %person, "a code of the second factor was wrong");
        return Ok(Finished::Wrong);
    }
    attempts::forget_failures(&mut tx, tried).await?;
    sessions::end(&mut tx, &waiting.hash()).await?;
    let begun = begin_session(&mut tx, person, browser, now).await?;
    tx.commit().await?;
    tracing::info!(shop = %shop_id, %person, "signed in with a second factor");
    Ok(Finished::Begun(begun))
}

async fn is_right(
    tx: &mut ShopTx,
    person: Uuid,
    typed: &str,
    now: DateTime<Utc>,
) -> Result<bool, AppError> {
    let Some(factor) = second_factor::get(tx, person).await? else {
        return Ok(false);
    };
    match step_of(&factor.secret, typed, now)? {
        Some(step) => Ok(second_factor::take_step(tx, person, step).await?),
        None => Ok(second_factor::spend(tx, person, &recovery_hash(typed), now).await?),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 6238, appendix B, SHA-1, and RFC 4226, appendix D.
    #[test]
    fn codes_are_those_of_the_standard() {
        let secret = b"12345678901234567890";
        for (time, right) in [
            (59, 94_287_082),
            (1_111_111_109, 7_081_804),
            (1_111_111_111, 14_050_471),
            (1_234_567_890, 89_005_924),
            (2_000_000_000, 69_279_037),
            (20_000_000_000_i64, 65_353_130),
        ] {
            assert_eq!(code(secret, time / STEP, 8).unwrap(), right, "{time}");
        }
        let first: Vec<u32> = (0..10).map(|step| code(secret, step, 6).unwrap()).collect();
        assert_eq!(
            first,
            [
                755_224, 287_082, 359_152, 969_429, 338_314, 254_676, 287_922, 162_583, 399_871,
                520_489
            ]
        );
    }

    #[test]
    fn a_code_holds_for_its_step_and_its_neighbours() {
        let secret = b"12345678901234567890";
        let at = |seconds| DateTime::from_timestamp(seconds, 0).unwrap();
        // 94287082 of the standard, with six digits.
        for (seconds, step) in [
            (29, None),
            (30, Some(1)),
            (59, Some(1)),
            (89, Some(1)),
            (90, None),
        ] {
            let typed = if seconds == 29 { "359 152" } else { "287 082" };
            assert_eq!(
                step_of(secret, typed, at(seconds)).unwrap(),
                step,
                "{seconds}"
            );
        }
        assert_eq!(step_of(secret, "", at(59)).unwrap(), None);
    }

    /// RFC 4648, 10, without its padding.
    #[test]
    fn base_32_is_that_of_the_standard() {
        for (plain, text) in [
            ("", ""),
            ("f", "MY"),
            ("fo", "MZXQ"),
            ("foo", "MZXW6"),
            ("foob", "MZXW6YQ"),
            ("fooba", "MZXW6YTB"),
            ("foobar", "MZXW6YTBOI"),
        ] {
            assert_eq!(base32(plain.as_bytes()), text);
        }
        assert_eq!(recovery_hash("mzxw 6ytb-OI"), recovery_hash("MZXW6YTBOI"));
    }
}
