//! Sets the first shop of a database up, with its owner: once, and only while there is none.

use super::AppError;
use super::password::Hashing;
use super::token::random;
use crate::db::people::{self, NewPerson, Role};
use crate::db::settings::{self, Promised};
use crate::db::shops::{self, NewShop};
use sqlx::PgPool;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use subtle::ConstantTimeEq;
use uuid::Uuid;

/// Wrong codes after which no code opens the page any more, until the service is started again.
const TRIES: u32 = 20;
/// Letters and digits of a code, without those that are read as another.
const LETTERS: &[u8; 32] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";
/// Characters of a code: 5 bits each.
const LENGTH: usize = 12;

/// The code that lets somebody at another machine set up the first shop. It is made anew at each start of the service and
/// shown in its log alone. Clones share the count of wrong tries.
#[derive(Debug, Clone, Default)]
pub struct SetUpCode {
    code: Option<Arc<str>>,
    wrong: Arc<AtomicU32>,
}

impl SetUpCode {
    /// A new code.
    ///
    /// # Errors
    /// [`AppError::Failed`] when the operating system gives no randomness.
    pub fn new() -> Result<Self, AppError> {
        let code: String = random()?
            .iter()
            .take(LENGTH)
            .filter_map(|byte| LETTERS.get(usize::from(byte % 32)))
            .map(|letter| char::from(*letter))
            .collect();
        Ok(Self {
            code: Some(code.into()),
            wrong: Arc::default(),
        })
    }

    /// The code, to be shown in the log.
    #[must_use]
    pub fn text(&self) -> Option<&str> {
        self.code.as_deref()
    }

    /// Whether this is it; capitals, spaces and hyphens do not matter. After too many wrong ones nothing is.
    #[must_use]
    pub fn opens(&self, typed: &str) -> bool {
        let typed: String = typed
            .chars()
            .filter(|c| !c.is_whitespace() && *c != '-')
            .flat_map(char::to_uppercase)
            .collect();
        let Some(code) = self.text() else {
            return false;
        };
        let right = bool::from(code.as_bytes().ct_eq(typed.as_bytes()));
        if !right {
            self.wrong.fetch_add(1, Ordering::Relaxed);
        }
        right && self.wrong.load(Ordering::Relaxed) < TRIES
    }
}

/// The first shop and its owner.
#[derive(Debug, Clone)]
pub struct FirstShop {
    /// The shop.
    pub shop: NewShop,
    /// The owner's name.
    pub owner: String,
    /// The name they sign in with.
    pub sign_in: String,
    /// Their password.
    pub password: String,
}

/// Whether a shop stands, so that there is nothing to set up.
///
/// # Errors
/// [`AppError::Db`].
pub async fn shop_stands(pool: &PgPool) -> Result<bool, AppError> {
    Ok(shops::any(pool).await?)
}

/// Sets the first shop up, all of it or nothing. Whoever may call this is the caller's to know: there is nobody yet to ask.
///
/// # Errors
/// [`crate::db::Refusal::ShopStands`] when there is a shop, also one that another request has just set up;
/// [`crate::db::Refusal::ShortName`]; [`AppError::Db`], [`AppError::Failed`].
pub async fn set_up_shop(
    pool: &PgPool,
    hashing: &Hashing,
    first: &FirstShop,
) -> Result<Uuid, AppError> {
    let password_hash = hashing.hash(&first.password).await?;
    let mut tx = shops::found_first(pool, &first.shop).await?;
    let owner = NewPerson {
        name: first.owner.clone(),
        sign_in: first.sign_in.clone(),
        role: Role::Owner,
        skills: Vec::new(),
        password_hash,
    };
    people::insert(&mut tx, &owner).await?;
    // Without it days given as 80 % sure hold a little too seldom (docs/certainty.md); the owner may take it back.
    let settings = settings::get(&mut tx).await?;
    settings::follow_record(&mut tx, Promised::Day, true, settings.version).await?;
    let shop_id = tx.shop_id();
    tx.commit().await?;
    Ok(shop_id)
}

/// A short name made of a shop's name: small letters and digits, the rest as hyphens.
#[must_use]
pub fn short_name(name: &str) -> String {
    let mut short = String::new();
    for c in name.to_lowercase().chars() {
        if c.is_ascii_alphanumeric() {
            short.push(c);
        } else if !short.is_empty() && !short.ends_with('-') {
            short.push('-');
        }
    }
    let short: String = short.chars().take(40).collect();
    match short.trim_matches('-') {
        short if short.len() < 2 => "shop".to_owned(),
        short => short.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_opens_however_it_is_typed_and_never_after_many_wrong_ones() {
        let code = SetUpCode::new().unwrap();
        let text = code.text().unwrap().to_owned();
        assert_eq!(text.len(), LENGTH);
        assert!(
            code.opens(&text)
                && code.opens(&format!(" {}-{} ", &text[..4].to_lowercase(), &text[4..]))
        );
        assert!(!code.clone().opens("") && !SetUpCode::default().opens(""));
        for _ in 0..TRIES {
            assert!(!code.opens("WRONG"));
        }
        assert!(!code.opens(&text));
        assert_ne!(
            SetUpCode::new().unwrap().text(),
            SetUpCode::new().unwrap().text()
        );
    }

    #[test]
    fn a_short_name_is_made_of_any_name() {
        assert_eq!(
            short_name("Harrow Quay Engine Works Ltd."),
            "harrow-quay-engine-works-ltd"
        );
        assert_eq!(short_name("Łoś & Syn"), "o-syn");
        assert_eq!(short_name("機械"), "shop");
        assert!(short_name(&"long ".repeat(30)).len() <= 40);
    }
}
