//! Exact money: a decimal amount with its currency.

use super::Minutes;
use iso_currency::Currency as Iso;
use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::fmt;
use std::sync::LazyLock;

/// An ISO 4217 currency that money is kept in: every one with a minor unit, but no fund, metal or test code.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Currency(Iso);

/// Of currencies that share a sign, those that are meant when nothing more is said.
const FOREMOST: [Iso; 3] = [Iso::GBP, Iso::USD, Iso::KRW];

/// The sign each currency is printed with, for those that have one nobody takes for another currency's.
static SIGNS: LazyLock<HashMap<Iso, char>> = LazyLock::new(|| {
    let all: Vec<(Iso, char)> = (0..1_000)
        .filter_map(Iso::from_numeric)
        .filter_map(|iso| Some((iso, sign(iso)?)))
        .collect();
    let alone = |sign| all.iter().filter(|(_, other)| *other == sign).count() == 1;
    all.iter()
        .copied()
        .filter(|(iso, sign)| FOREMOST.contains(iso) || alone(*sign))
        .collect()
});

/// The sign of a currency, whether or not others share it; `None` where letters stand for it, as in `zł`.
fn sign(iso: Iso) -> Option<char> {
    let symbol = iso.symbol().symbol;
    let mut chars = symbol.chars();
    let sign = chars.next().filter(|c| is_sign(*c))?;
    chars.next().is_none().then_some(sign)
}

/// Whether a character is the sign of a currency: `$`, `£`, `¥` or of Unicode's block of currency symbols.
fn is_sign(c: char) -> bool {
    matches!(c, '$' | '£' | '¥' | '\u{20a0}'..='\u{20cf}')
}

impl Currency {
    /// Looks a currency up by its ISO 4217 alphabetic code, in any case.
    ///
    /// # Errors
    /// [`MoneyError::UnknownCurrency`] for a code that is not in the list.
    pub fn from_code(code: &str) -> Result<Self, MoneyError> {
        let code = code.trim();
        Iso::from_code(&code.to_ascii_uppercase())
            .filter(|iso| iso.exponent().is_some() && !iso.is_fund() && !iso.is_special())
            .map(Self)
            .ok_or_else(|| MoneyError::UnknownCurrency(code.to_owned()))
    }

    /// The ISO 4217 alphabetic code.
    #[must_use]
    pub fn code(&self) -> &str {
        self.0.code()
    }

    /// The sign it is printed with, where that cannot be taken for another currency: `£`, `€`, `$` for US dollars alone.
    #[must_use]
    pub fn symbol(&self) -> Option<char> {
        SIGNS.get(&self.0).copied()
    }

    /// Digits of the minor unit: 2 for pence and cents.
    #[must_use]
    pub fn minor_digits(&self) -> u32 {
        self.0.exponent().map_or(2, u32::from)
    }
}

impl TryFrom<String> for Currency {
    type Error = MoneyError;
    fn try_from(code: String) -> Result<Self, MoneyError> {
        Self::from_code(&code)
    }
}

impl From<Currency> for String {
    fn from(currency: Currency) -> Self {
        currency.code().to_owned()
    }
}

/// What can go wrong with money.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MoneyError {
    /// The currency code is not one this program knows.
    #[error("“{0}” is not a currency code we know; use an ISO 4217 code such as GBP or EUR")]
    UnknownCurrency(String),
    /// Two currencies met in one sum.
    #[error("{0} cannot be added to {1}")]
    MixedCurrencies(String, String),
    /// The sum is larger than an exact decimal holds.
    #[error("the amount is too large")]
    Overflow,
    /// The text is not an amount.
    #[error("“{0}” is not an amount of money; write it like 1250.00")]
    NotAnAmount(String),
    /// The text has a fraction of a penny.
    #[error(
        "“{text}” has more than {digits} digits after the point, and {code} has no smaller coin"
    )]
    TooFine {
        /// What was typed.
        text: String,
        /// Digits of the minor unit.
        digits: u32,
        /// The currency.
        code: String,
    },
    /// The text names another currency than the shop's.
    #[error("“{text}” is not in {code}")]
    OtherCurrency {
        /// What was typed.
        text: String,
        /// The currency asked for.
        code: String,
    },
}

/// The largest amount that text may ask for: a billion. Sums and products of such amounts stay far inside an exact decimal.
const LARGEST_TYPED: Decimal = Decimal::from_parts(1_000_000_000, 0, 0, false, 0);

/// An exact amount of one currency. It may hold more digits than the minor unit until [`Money::rounded`].
///
/// ```
/// use borewright::units::{Currency, Minutes, Money};
/// let gbp = Currency::from_code("GBP")?;
/// let rate = Money::parse("42.50", gbp)?;
/// let cost = rate.for_time(Minutes::parse("1h30")?)?;
/// assert_eq!(cost.to_string(), "£63.75");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Money {
    amount: Decimal,
    currency: Currency,
}

impl Money {
    /// An amount in a currency, as it stands; nothing has no sign.
    #[must_use]
    pub fn new(mut amount: Decimal, currency: Currency) -> Self {
        if amount.is_zero() {
            amount.set_sign_positive(true);
        }
        Self { amount, currency }
    }

    /// Nothing, in a currency.
    #[must_use]
    pub fn zero(currency: Currency) -> Self {
        Self::new(Decimal::ZERO, currency)
    }

    /// From whole minor units: pence, cents.
    #[must_use]
    pub fn from_minor(minor: i64, currency: Currency) -> Self {
        Self::new(Decimal::new(minor, currency.minor_digits()), currency)
    }

    /// In whole minor units, rounded as [`Money::rounded`] does.
    ///
    /// # Errors
    /// [`MoneyError::Overflow`] beyond what an `i64` counts.
    pub fn to_minor(self) -> Result<i64, MoneyError> {
        let coins = Decimal::from(10_u64.pow(self.currency.minor_digits()));
        self.rounded()
            .amount
            .checked_mul(coins)
            .and_then(|minor| minor.to_i64())
            .ok_or(MoneyError::Overflow)
    }

    /// Reads an amount as people type it: `1250`, `1250.5`, `1,250.00`, `£1,250.00`, `GBP 1,250`, `-20`.
    ///
    /// # Errors
    /// [`MoneyError::NotAnAmount`], [`MoneyError::TooFine`] for a fraction of a penny,
    /// [`MoneyError::OtherCurrency`] when another currency is named, [`MoneyError::Overflow`] above a billion.
    pub fn parse(text: &str, currency: Currency) -> Result<Self, MoneyError> {
        let typed = text.trim();
        let not_an_amount = || MoneyError::NotAnAmount(typed.to_owned());
        let (negative, rest) = strip_sign(typed);
        let rest = strip_currency(rest, currency).ok_or_else(|| MoneyError::OtherCurrency {
            text: typed.to_owned(),
            code: currency.code().to_owned(),
        })?;
        // A second sign may follow the currency, as in "£-20".
        let (negative_inside, rest) = strip_sign(rest);
        if negative && negative_inside {
            return Err(not_an_amount());
        }
        let (whole, fraction) = rest.split_once('.').unwrap_or((rest, ""));
        if (whole.is_empty() && fraction.is_empty())
            || !fraction.bytes().all(|b| b.is_ascii_digit())
            || !grouped_digits(whole)
        {
            return Err(not_an_amount());
        }
        let digits = currency.minor_digits();
        if fraction.trim_end_matches('0').len() > digits as usize {
            return Err(MoneyError::TooFine {
                text: typed.to_owned(),
                digits,
                code: currency.code().to_owned(),
            });
        }
        let whole: String = whole.chars().filter(char::is_ascii_digit).collect();
        let significant = whole.trim_start_matches('0');
        if significant.len() > 10 {
            return Err(MoneyError::Overflow);
        }
        let fraction = fraction.trim_end_matches('0');
        let amount: Decimal = format!("0{significant}.{fraction}0")
            .parse()
            .map_err(|_| not_an_amount())?;
        if amount > LARGEST_TYPED {
            return Err(MoneyError::Overflow);
        }
        let signed = if negative || negative_inside {
            -amount
        } else {
            amount
        };
        Ok(Self::new(signed.normalize(), currency))
    }

    /// The amount in major units.
    #[must_use]
    pub fn amount(&self) -> Decimal {
        self.amount
    }

    /// The currency.
    #[must_use]
    pub fn currency(&self) -> Currency {
        self.currency
    }

    /// Rounded to the currency's minor unit, halves away from zero, as invoices are.
    #[must_use]
    pub fn rounded(&self) -> Self {
        let digits = self.currency.minor_digits();
        Self::new(
            self.amount
                .round_dp_with_strategy(digits, RoundingStrategy::MidpointAwayFromZero),
            self.currency,
        )
    }

    fn same_currency(self, other: Self) -> Result<(), MoneyError> {
        if self.currency == other.currency {
            return Ok(());
        }
        Err(MoneyError::MixedCurrencies(
            other.currency.code().to_owned(),
            self.currency.code().to_owned(),
        ))
    }

    /// The exact sum.
    ///
    /// # Errors
    /// [`MoneyError::MixedCurrencies`], [`MoneyError::Overflow`].
    pub fn plus(self, other: Self) -> Result<Self, MoneyError> {
        self.same_currency(other)?;
        let amount = self
            .amount
            .checked_add(other.amount)
            .ok_or(MoneyError::Overflow)?;
        Ok(Self::new(amount, self.currency))
    }

    /// The exact difference.
    ///
    /// # Errors
    /// [`MoneyError::MixedCurrencies`], [`MoneyError::Overflow`].
    pub fn minus(self, other: Self) -> Result<Self, MoneyError> {
        self.plus(Self::new(-other.amount, other.currency))
    }

    /// The product with a plain number, exact to the 28 digits a decimal holds.
    ///
    /// # Errors
    /// [`MoneyError::Overflow`].
    pub fn times(self, factor: Decimal) -> Result<Self, MoneyError> {
        let amount = self
            .amount
            .checked_mul(factor)
            .ok_or(MoneyError::Overflow)?;
        Ok(Self::new(amount, self.currency))
    }

    /// The quotient by a plain number, to the 28 digits a decimal holds.
    ///
    /// # Errors
    /// [`MoneyError::Overflow`], also when `divisor` is zero.
    pub fn over(self, divisor: Decimal) -> Result<Self, MoneyError> {
        let amount = self
            .amount
            .checked_div(divisor)
            .ok_or(MoneyError::Overflow)?;
        Ok(Self::new(amount, self.currency))
    }

    /// This many per cent of it: `12.5` means 12.5 %.
    ///
    /// # Errors
    /// [`MoneyError::Overflow`].
    pub fn percent(self, percent: Decimal) -> Result<Self, MoneyError> {
        self.times(percent)?.over(Decimal::ONE_HUNDRED)
    }

    /// What a time costs when this is the rate of one hour. Multiplied before divided, so that 20 minutes of £30 is £10 sharp.
    ///
    /// # Errors
    /// [`MoneyError::Overflow`].
    pub fn for_time(self, time: Minutes) -> Result<Self, MoneyError> {
        self.times(time.0)?.over(Decimal::from(60))
    }

    /// The exact sum of many, zero of `currency` when there are none.
    ///
    /// # Errors
    /// [`MoneyError::MixedCurrencies`], [`MoneyError::Overflow`].
    pub fn sum(
        currency: Currency,
        amounts: impl IntoIterator<Item = Self>,
    ) -> Result<Self, MoneyError> {
        amounts
            .into_iter()
            .try_fold(Self::zero(currency), Self::plus)
    }
}

/// Rounded to the minor unit, thousands apart: `£1,250.00`, `CHF 1,250.00`, `−£20.00`.
impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = self.currency.minor_digits() as usize;
        let rounded = self.rounded().amount;
        let plain = format!("{:.digits$}", rounded.abs());
        let (whole, fraction) = plain.split_once('.').unwrap_or((&plain, ""));
        let mut grouped = String::with_capacity(plain.len() + plain.len() / 3);
        for (i, digit) in whole.chars().enumerate() {
            if i > 0 && (whole.len() - i) % 3 == 0 {
                grouped.push(',');
            }
            grouped.push(digit);
        }
        let sign = if rounded < Decimal::ZERO { "−" } else { "" };
        match self.currency.symbol() {
            Some(symbol) => write!(f, "{sign}{symbol}{grouped}")?,
            None => write!(f, "{sign}{}\u{a0}{grouped}", self.currency.code())?,
        }
        if !fraction.is_empty() {
            write!(f, ".{fraction}")?;
        }
        Ok(())
    }
}

/// Takes a leading minus or plus off.
fn strip_sign(text: &str) -> (bool, &str) {
    match text.strip_prefix(['-', '−']) {
        Some(rest) => (true, rest.trim_start()),
        None => (false, text.strip_prefix('+').unwrap_or(text).trim_start()),
    }
}

/// Takes the currency's sign or code off either end; `None` when another currency is named. A sign that several
/// currencies share is taken as the one asked for.
fn strip_currency(text: &str, currency: Currency) -> Option<&str> {
    let mut rest = text;
    if let Some(sign) = sign(currency.0) {
        rest = rest
            .strip_prefix(sign)
            .or_else(|| rest.strip_suffix(sign))
            .unwrap_or(rest);
    }
    let code = |part: &str| part.eq_ignore_ascii_case(currency.code());
    if rest.len() > 3 {
        if rest.get(..3).is_some_and(code) {
            rest = rest.get(3..)?;
        } else if rest.get(rest.len() - 3..).is_some_and(code) {
            rest = rest.get(..rest.len() - 3)?;
        }
    }
    let rest = rest.trim_matches([' ', '\u{a0}']);
    let names_another = rest.chars().any(is_sign)
        || (rest.chars().filter(|c| c.is_ascii_alphabetic()).count() == 3
            && rest
                .split(|c: char| !c.is_ascii_alphabetic())
                .any(|word| Currency::from_code(word).is_ok()));
    (!names_another).then_some(rest)
}

/// Whether text is digits, plain or with a comma before every group of three.
fn grouped_digits(text: &str) -> bool {
    if !text.contains(',') {
        return text.bytes().all(|b| b.is_ascii_digit());
    }
    text.split(',').enumerate().all(|(i, group)| {
        group.bytes().all(|b| b.is_ascii_digit())
            && if i == 0 {
                (1..=3).contains(&group.len())
            } else {
                group.len() == 3
            }
    })
}

#[cfg(test)]
mod tests;
