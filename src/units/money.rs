//! Exact money: a decimal amount with its currency.

use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};

/// An ISO 4217 currency: its alphabetic code and the number of digits of its minor unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Currency {
    code: [u8; 3],
    minor_digits: u8,
}

impl Currency {
    /// Looks a currency up by its ISO 4217 alphabetic code, in any case.
    ///
    /// # Errors
    /// [`MoneyError::UnknownCurrency`] for a code that is not in the list.
    pub fn from_code(code: &str) -> Result<Self, MoneyError> {
        let upper = code.trim().to_ascii_uppercase();
        let minor_digits = match upper.as_str() {
            "JPY" | "KRW" | "ISK" | "CLP" | "VND" => 0,
            "BHD" | "KWD" | "OMR" | "JOD" | "TND" => 3,
            "GBP" | "EUR" | "USD" | "AUD" | "NZD" | "CAD" | "CHF" | "SEK" | "NOK" | "DKK"
            | "PLN" | "CZK" | "HUF" | "RON" | "ZAR" | "INR" | "MXN" | "BRL" | "TRY" | "SGD"
            | "HKD" | "ILS" | "THB" | "MYR" | "PHP" | "CNY" => 2,
            _ => return Err(MoneyError::UnknownCurrency(code.trim().to_owned())),
        };
        let bytes = upper.as_bytes();
        Ok(Self {
            code: [bytes[0], bytes[1], bytes[2]],
            minor_digits,
        })
    }

    /// The ISO 4217 alphabetic code.
    #[must_use]
    pub fn code(&self) -> &str {
        std::str::from_utf8(&self.code).unwrap_or("???")
    }

    /// Digits of the minor unit: 2 for pence and cents.
    #[must_use]
    pub fn minor_digits(&self) -> u32 {
        u32::from(self.minor_digits)
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
}

/// An exact amount of one currency. It may hold more digits than the minor unit until [`Money::rounded`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Money {
    amount: Decimal,
    currency: Currency,
}

impl Money {
    /// An amount in a currency, as it stands.
    #[must_use]
    pub fn new(amount: Decimal, currency: Currency) -> Self {
        Self { amount, currency }
    }

    /// Nothing, in a currency.
    #[must_use]
    pub fn zero(currency: Currency) -> Self {
        Self::new(Decimal::ZERO, currency)
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

    /// The exact sum.
    ///
    /// # Errors
    /// [`MoneyError::MixedCurrencies`], [`MoneyError::Overflow`].
    pub fn plus(self, other: Self) -> Result<Self, MoneyError> {
        if self.currency != other.currency {
            return Err(MoneyError::MixedCurrencies(
                other.currency.code().to_owned(),
                self.currency.code().to_owned(),
            ));
        }
        let amount = self
            .amount
            .checked_add(other.amount)
            .ok_or(MoneyError::Overflow)?;
        Ok(Self::new(amount, self.currency))
    }

    /// The exact product with a plain number.
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
}
