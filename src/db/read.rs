//! From columns to types: codes, money, counts.

use super::DbError;
use crate::units::{Currency, Money};
use rust_decimal::Decimal;

/// An enumeration stored and sent under fixed words: `ALL`, `code` and `from_code`.
macro_rules! codes {
    ($(#[$meta:meta])* $name:ident { $($(#[$doc:meta])* $variant:ident = $code:literal,)+ }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum $name { $($(#[$doc])* $variant,)+ }

        impl $name {
            /// Every one of them.
            pub const ALL: &[Self] = &[$(Self::$variant,)+];

            /// The word it is stored and sent under.
            #[must_use]
            pub fn code(self) -> &'static str {
                match self { $(Self::$variant => $code,)+ }
            }

            /// From the word it is stored and sent under.
            #[must_use]
            pub fn from_code(code: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|one| one.code() == code)
            }
        }
    };
}
pub(super) use codes;

/// A stored word as one of its enumeration.
pub(super) fn word<T>(
    what: &'static str,
    code: &str,
    from_code: fn(&str) -> Option<T>,
) -> Result<T, DbError> {
    from_code(code).ok_or_else(|| corrupt(what, format!("“{code}” is none of ours")))
}

/// A stored amount with its stored currency.
pub(super) fn money(what: &'static str, amount: Decimal, currency: &str) -> Result<Money, DbError> {
    let currency = Currency::from_code(currency).map_err(|why| corrupt(what, why))?;
    Ok(Money::new(amount, currency))
}

/// A stored count.
pub(super) fn count(what: &'static str, stored: i32) -> Result<u32, DbError> {
    u32::try_from(stored).map_err(|_| corrupt(what, format!("{stored} is less than nothing")))
}

/// A count as it is stored.
pub(super) fn stored_count(what: &'static str, count: u32) -> Result<i32, DbError> {
    i32::try_from(count).map_err(|_| corrupt(what, format!("{count} is more than can be kept")))
}

/// Something stored that does not read.
pub(crate) fn corrupt(what: &'static str, why: impl std::fmt::Display) -> DbError {
    DbError::Corrupt {
        what,
        why: why.to_string(),
    }
}
