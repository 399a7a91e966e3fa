//! Machines and people's rates, and the rates in force that follow from them.

use super::rates::{MachineRate, RateError, Rates};
use crate::units::{Currency, Money};
use rust_decimal::Decimal;
use std::collections::BTreeMap;
use uuid::Uuid;

/// A machine of the shop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Machine {
    /// Key.
    pub id: Uuid,
    /// Its kind, as elements name it: `mill`, `line borer`, `bench` …
    pub kind: String,
    /// Its name, e.g. "Big mill".
    pub name: String,
    /// Whether it is in use; one that is not has no say in the rates.
    pub active: bool,
    /// The worksheet behind its hourly rate.
    pub worksheet: MachineRate,
    /// The owner's own hourly rate, in place of the worksheet's.
    pub agreed_rate: Option<Money>,
    /// Grows by one with every edit.
    pub version: i32,
}

impl Machine {
    /// What an hour of it is charged at: the agreed rate, or else the worksheet's.
    ///
    /// # Errors
    /// As [`MachineRate::per_hour`].
    pub fn hourly(&self) -> Result<Money, RateError> {
        match self.agreed_rate {
            Some(agreed) => Ok(agreed),
            None => Ok(self.worksheet.per_hour()?.amount),
        }
    }
}

/// What an hour of a person costs, by skill.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LabourRate {
    /// Key.
    pub id: Uuid,
    /// The skill; `None` for every skill that has no rate of its own.
    pub skill: Option<String>,
    /// Cost of an hour.
    pub hourly: Money,
    /// Grows by one with every edit.
    pub version: i32,
}

/// Why there are no rates to cost with.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RatesError {
    /// A worksheet that gives no rate.
    #[error("the worksheet of “{name}” gives no rate: {why}")]
    Worksheet {
        /// The machine's name.
        name: String,
        /// Why.
        why: RateError,
    },
    /// Nobody's hour has a rate.
    #[error("no hourly rate for people is set yet")]
    NoLabourRate,
}

impl Rates {
    /// What an hour of a person with this skill costs.
    #[must_use]
    pub fn person(&self, skill: &str) -> Money {
        self.people
            .get(skill)
            .copied()
            .unwrap_or(self.people_default)
    }

    /// The rates in force: for each kind of machine that of its dearest machine in use, so that a price holds
    /// whichever is free; for each skill its own, and for skills without one the common rate, or failing that the
    /// dearest.
    ///
    /// # Errors
    /// [`RatesError`].
    pub fn in_force(machines: &[Machine], labour: &[LabourRate]) -> Result<Self, RatesError> {
        let mut machine: BTreeMap<String, Money> = BTreeMap::new();
        for one in machines.iter().filter(|m| m.active) {
            let rate = one.hourly().map_err(|why| RatesError::Worksheet {
                name: one.name.clone(),
                why,
            })?;
            let dearest = machine.entry(one.kind.clone()).or_insert(rate);
            if rate.amount() > dearest.amount() {
                *dearest = rate;
            }
        }
        let common = labour.iter().find(|l| l.skill.is_none());
        let dearest = || labour.iter().max_by_key(|l| l.hourly.amount());
        Ok(Self {
            machine,
            people: labour
                .iter()
                .filter_map(|l| Some((l.skill.clone()?, l.hourly)))
                .collect(),
            people_default: common
                .or_else(dearest)
                .ok_or(RatesError::NoLabourRate)?
                .hourly,
        })
    }
}

impl MachineRate {
    /// A worksheet with nothing in it yet, for a machine whose rate is agreed or still to be worked out.
    #[must_use]
    pub fn blank(currency: Currency) -> Self {
        let nothing = Money::zero(currency);
        Self {
            capital: nothing,
            residual: nothing,
            life_years: Decimal::TEN,
            interest_percent: Decimal::ZERO,
            power_kw: Decimal::ZERO,
            power_price: nothing,
            maintenance_a_year: nothing,
            space_m2: Decimal::ZERO,
            space_price: nothing,
            insurance_a_year: nothing,
            hours_a_year: Decimal::ONE_THOUSAND,
        }
    }
}
