//! From columns to types: codes, money, counts.

use super::DbError;
use crate::estimating::Operation;
use crate::units::{Code, Currency, Money};
use rust_decimal::Decimal;

/// A stored word as one of its enumeration.
pub(super) fn word<T: Code>(what: &'static str, code: &str) -> Result<T, DbError> {
    T::from_code(code).ok_or_else(|| corrupt(what, format!("“{code}” is none of ours")))
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

/// A stored operation of a route, as text: read once, and not first as a tree of values.
pub(super) fn planned(stored: &str) -> Result<Operation, DbError> {
    serde_json::from_str(stored).map_err(|why| corrupt("planned operation", why))
}

/// Something stored that does not read.
pub(crate) fn corrupt(what: &'static str, why: impl std::fmt::Display) -> DbError {
    DbError::Corrupt {
        what,
        why: why.to_string(),
    }
}
